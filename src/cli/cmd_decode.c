/* SPDX-License-Identifier: MIT */
/* lineup decode: a dump goes in, suspect nets and pins come out. */
#include "cli/bench.h"
#include "api/judge.h"
#include "base/text.h"
#include "cli/pagefill.h"
#include "api/readings.h"
#include "cli/record.h"
#include "cli/session.h"
#include "cli/readingoptions.h"
#include "report/report.h"

#include <string.h>

typedef struct args {
  lu_reading_args reading;
  const char *board, *run, *job;
  bool json, map;
  lu_texts operands;
  const char *chip;
} args;

typedef struct answer {
  lu_finding *finding;
  lu_reading *readings;
  size_t count;
  lu_fail_map chip_map; /* of args.chip */
  const char *held;     /* lines on what repairs should have cured, or NULL */
} answer;

static int show(lu_run *run, const lu_finding *f, bool json)
{
  if (json) {
    if (!lu_report_json(run->out, f))
      return LU_EXIT_SYSTEM;
  } else {
    lu_text_style style = {.color = run->color, .utf8 = run->utf8, .columns = run->columns};
    lu_report_text(run->out, f, &style);
  }
  /* a reading that cannot be judged but has suspects is not "nothing wrong" */
  return f->verdict[0] == 'c' || (f->verdict[0] == 'u' && !f->suspect_count) ? LU_EXIT_CLEAN : LU_EXIT_FAULTS;
}

/* Everything that was named, the chip of the map as well: what is wrong with it shows before anything is kept or said. */
static lu_status read_all(lu_session *s, const args *a, answer *out)
{
  out->count = 1;
  lu_status bad = a->run ? lu_readings_of_run(s, a->run, &out->readings, &out->count)
                         : lu_readings_of_args(s, &a->reading, &a->operands, &out->readings);
  return bad || !a->chip ? bad : lu_page_one_chip(s, out->readings, out->count, a->chip, &out->chip_map);
}

static lu_status decode_all(lu_session *s, const args *a, answer *out)
{
  lu_status bad = a->board ? lu_session_board(s, a->board) : LU_OK;
  if (!bad)
    bad = read_all(s, a, out);
  return bad ? bad : lu_judge(s, out->readings, out->count, !a->board, NULL, &out->finding);
}

static lu_status decode_for_job(lu_session *s, const args *a, answer *out)
{
  lu_bench *b = NULL;
  lu_record r = {.args = &a->reading, .run = a->run, .dumps = &a->operands};
  lu_result *result;
  uint64_t id = 0;
  lu_status bad = lu_bench_open(s, a->job, LU_JOB_WRITE, &b);
  if (!bad)
    bad = lu_bench_choose_board(b, a->board);
  bool plain = !s->board;
  r.first_file = s->file_count;
  if (!bad && a->run && plain)
    bad = lu_fail(&s->err, LU_ERR_USAGE, 0, 0, "--run needs a board file: the job has none, give --board");
  if (!bad)
    bad = read_all(s, a, out);
  r.readings = out->readings;
  r.count = out->count;
  if (!bad)
    bad = lu_record_dump(b, &r, &id);
  if (!bad)
    bad = lu_judge(s, r.readings, r.count, plain, &result, &out->finding);
  if (!bad)
    bad = lu_record_result(b, &r, id, result, out->finding, &out->held);
  lu_bench_close(b);
  return bad;
}

static int decode(lu_run *run, void *opaque)
{
  args *a = opaque;
  if (!a->run && !a->operands.count && !a->reading.log)
    return lu_say_usage(run, "decode: expects a DUMP, --log FILE or --run FILE");
  char room[LU_MISUSE_ROOM];
  const char *wrong = lu_reading_misuse(&a->reading, a->run, &a->operands, room, sizeof room);
  if (wrong)
    return lu_say_usage(run, "decode: %s", wrong);
  if (a->run && !a->board && !a->job)
    return lu_say_usage(run, "decode: --run needs --board");
  if (a->json && a->map)
    return lu_say_usage(run, "decode: give either --json or --map, not both");
  if (a->chip && !a->map)
    return lu_say_usage(run, "decode: --chip goes with --map");
  lu_session *s = lu_session_new(run);
  if (!s)
    return lu_say_usage(run, "out of memory"), LU_EXIT_SYSTEM;
  answer got = {0};
  lu_status bad = a->job ? decode_for_job(s, a, &got) : decode_all(s, a, &got);
  int code = bad ? lu_say_error(run, &s->err) : show(run, got.finding, a->json);
  if (!bad && got.held && !a->json) {
    fputs("\nRepairs\n", run->out);
    for (const char *at = got.held; *at; at += strcspn(at, "\n") + 1) {
      lu_text_put(run->out, lu_arena_text(run->mem, at, strcspn(at, "\n")));
      fputc('\n', run->out);
    }
  }
  if (!bad && a->chip)
    lu_page_print_chip(s, a->chip, &got.chip_map);
  else if (!bad && a->map && lu_page_print_maps(s, got.readings, got.count))
    code = lu_say_error(run, &s->err);
  lu_session_end(s);
  return code;
}

#define AT(field) offsetof(args, field)
static const lu_option options[] = {
    {"board", 'b', LU_OPT_TEXT, AT(board), 0, 0, "FILE", "board file; without: address and data bits only"},
    LU_DUMP_OPTIONS(AT(reading)),
    LU_EVIDENCE_OPTIONS(AT(reading), AT(run)),
    {"job", 0, LU_OPT_TEXT, AT(job), 0, 0, "JOB", "keep dumps and result in this job, and use its board file"},
    {"map", 'm', LU_OPT_FLAG, AT(map), 0, 0, NULL, "show where the wrong bits stand, as a map"},
    {"chip", 0, LU_OPT_TEXT, AT(chip), 0, 0, "REF", "with --map: rows and columns of this chip"},
    {"json", 'j', LU_OPT_FLAG, AT(json), 0, 0, NULL, "the result as JSON"},
    {0},
};

static const char *const examples[] = {
    "lineup decode --board docs/demo/tide.yaml --block 'boot ROM' --expect docs/demo/tide-rom.bin docs/demo/found-boot.bin",
    "lineup decode --board docs/demo/tide.yaml --run docs/demo/as-found.yaml",
    "lineup decode --width 16 --byte-order big --wrote address docs/demo/found-work.bin",
    "lineup decode --job tide.job --block 'record RAM' --wrote address docs/demo/found-record.bin",
    NULL,
};

const lu_command lu_command_decode = {
    .name = "decode",
    .summary = "work out which nets and pins would give what was read",
    .usage = "[OPTION ...] DUMP...",
    .options = options,
    .args_size = sizeof(args),
    .operands_offset = AT(operands),
    .least_operands = 0,
    .most_operands = LU_TEXTS_MOST,
    .examples = examples,
    .run = decode,
};
