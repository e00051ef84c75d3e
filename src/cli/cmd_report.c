/* SPDX-License-Identifier: MIT */
#define _GNU_SOURCE
/* lineup report: one HTML page to look at, to print and to keep. */
#include "cli/bench.h"
#include "cli/session.h"
#include "api/judge.h"
#include "cli/pagefill.h"
#include "cli/readingoptions.h"

#include <stdlib.h>
#include <string.h>

typedef struct args {
  lu_reading_args reading;
  const char *board, *run, *output, *png, *audience, *chip;
  lu_texts operands;
} args;

typedef struct work {
  const args *a;
  lu_page_work w;
  lu_bench *bench;
  bool recorded;          /* the finding is that of the job's last result */
} work;

/* A job is an SQLite database: its first bytes say so (https://www.sqlite.org/fileformat.html, 1.3). */
static bool is_job(const char *path)
{
  static const char magic[16] = "SQLite format 3";
  char head[sizeof magic] = "";
  FILE *f = strcmp(path, "-") ? fopen(path, "rb") : NULL;
  bool same = f && fread(head, 1, sizeof head, f) == sizeof head && !memcmp(head, magic, sizeof magic);
  if (f)
    fclose(f);
  return same;
}

static const char *source_words(work *k)
{
  const lu_texts *t = &k->a->operands;
  const char *names = k->a->run ? k->a->run : k->a->reading.log ? k->a->reading.log : NULL;
  if (names)
    return names;
  if (t->count > 4)
    return lu_arena_printf(k->w.s->mem, "%s and %zu more files", t->at[0], t->count - 1);
  for (size_t i = 0; i < t->count; i++)
    names = lu_arena_printf(k->w.s->mem, "%s%s%s", names ? names : "", names ? ", " : "", t->at[i]);
  return names ? names : "?";
}

static lu_status read_dumps(work *k, lu_reading **readings, size_t *count)
{
  lu_session *s = k->w.s;
  lu_status bad = k->a->board ? lu_session_board(s, k->a->board) : LU_OK;
  k->w.plain = !k->a->board;
  *count = 1;
  if (bad)
    return bad;
  return k->a->run ? lu_readings_of_run(s, k->a->run, readings, count) : lu_readings_of_args(s, &k->a->reading, &k->a->operands, readings);
}

static lu_status read_job(work *k, lu_page_state *st)
{
  lu_status bad = lu_bench_open(k->w.s, k->a->operands.at[0], LU_JOB_READ, &k->bench);
  if (bad)
    return bad;
  k->w.plain = !lu_bench_board_name(k->bench);
  if (!k->w.plain)
    bad = lu_bench_board(k->bench);
  if (!bad)
    bad = lu_page_job_state(k->bench, st);
  if (!bad && st->stale)
    k->w.page.stale = "The board was repaired after it was last read: read it again before you trust this page.";
  return bad;
}

static lu_status judge(work *k, const lu_page_state *st)
{
  static const lu_finding nothing = {.verdict = "unknown", .reason = "nothing was decoded in this job yet"};
  lu_finding *f = st->recorded;
  k->recorded = f != NULL;
  k->w.readings = st->readings;
  k->w.reading_count = st->count;
  lu_status bad = st->count && !f ? lu_judge(k->w.s, st->readings, st->count, k->w.plain, NULL, &f) : LU_OK;
  if (!bad && !f) {
    f = LU_NEW(k->w.s->mem, lu_finding, 1);
    if (!f)
      return lu_fail(&k->w.s->err, LU_ERR_NOMEM, 0, 0, "no room");
    *f = nothing;
  }
  if (!bad && !f->title && k->w.s->board && !k->w.plain)
    f->title = k->w.s->board->title;
  if (!bad && !f->block && st->count == 1 && !k->w.plain)
    f->block = st->readings[0].name;
  k->w.page.finding = f;
  return bad;
}

static lu_status fill(work *k)
{
  lu_page_work *w = &k->w;
  w->page.source = source_words(k);
  w->page.owner = k->a->audience && !strcmp(k->a->audience, "owner");
  lu_status bad = lu_page_fill_nets(w);
  if (!bad)
    bad = lu_page_fill_maps(w);
  if (!bad && !w->page.owner)
    bad = lu_page_fill_lines(w);
  if (!bad && !w->page.owner)
    bad = lu_page_fill_waves(w);
  if (!bad && !w->page.owner && w->page.finding->explanation_count)
    bad = lu_page_fill_wires(w, k->recorded ? k->bench : NULL);
  if (!bad && !w->page.owner)
    bad = lu_page_fill_pictures(w);
  if (!bad)
    bad = k->bench ? lu_page_fill_job(w, k->bench) : lu_page_fill_tasks(w);
  return bad;
}

static lu_status write_page(work *k)
{
  char *text = NULL;
  size_t len = 0;
  lu_err *err = &k->w.s->err;
  FILE *f = open_memstream(&text, &len);
  bool ok = f && lu_report_html(f, &k->w.page);
  ok = f && fclose(f) == 0 && ok;
  lu_status bad = ok ? lu_file_write(k->a->output, text, len, err) : lu_fail(err, LU_ERR_NOMEM, 0, 0, "no room for the page");
  free(text);
  return bad ? lu_fail_source(err, bad, k->a->output) : LU_OK;
}

/* The map of the reading with the most wrong bits. */
static lu_status write_png(work *k)
{
  lu_session *s = k->w.s;
  const lu_fail_map *worst = NULL;
  lu_fail_map chip;
  if (k->a->chip) {
    lu_status bad = lu_page_one_chip(s, k->w.readings, k->w.reading_count, k->a->chip, &chip);
    if (bad)
      return bad;
    worst = &chip;
  }
  for (size_t i = 0; !k->a->chip && i < k->w.page.reading_count; i++) {
    const lu_fail_map *m = k->w.page.readings[i].map;
    if (!worst || m->wrong_bits > worst->wrong_bits)
      worst = m;
  }
  const unsigned char *at;
  size_t len;
  if (!worst)
    return lu_fail(&s->err, LU_ERR_MISSING, 0, 0, "--png: nothing was read yet, there is no map");
  lu_status bad = lu_fail_map_png(worst, s->mem, &at, &len, &s->err);
  return bad ? bad : lu_fail_source(&s->err, lu_file_write(k->a->png, at, len, &s->err), k->a->png);
}

static lu_status make(work *k)
{
  lu_page_state st = {.count = 0};
  const args *a = k->a;
  bool job = !a->run && a->operands.count == 1 && is_job(a->operands.at[0]);
  lu_err *err = &k->w.s->err;
  if (job && (a->board || a->reading.block || a->reading.expect || a->reading.wrote || a->reading.log))
    return lu_fail(err, LU_ERR_USAGE, 0, 0, "%.100s is a job and says itself what was read; leave out the options of dumps", a->operands.at[0]);
  lu_status bad = job ? read_job(k, &st) : read_dumps(k, &st.readings, &st.count);
  if (!bad)
    bad = judge(k, &st);
  if (!bad)
    bad = fill(k);
  if (!bad && a->png)
    bad = write_png(k);
  return bad || !a->output ? bad : write_page(k);
}

static const char *usage_fault(const args *a, char *room, size_t len)
{
  if (!a->run && !a->operands.count && !a->reading.log)
    return "expects a JOB, a DUMP, --log FILE or --run FILE";
  if (a->run && !a->board)
    return "--run needs --board";
  if (a->chip && !a->png)
    return "--chip goes with --png; the page shows every chip with wrong bits";
  if (!a->output && !a->png)
    return "expects -o FILE for the page, or --png FILE for the map alone";
  return lu_reading_misuse(&a->reading, a->run, &a->operands, room, len);
}

static int report(lu_run *run, void *opaque)
{
  work k = {.a = opaque};
  char room[LU_MISUSE_ROOM];
  const char *wrong = usage_fault(k.a, room, sizeof room), *who = k.a->audience;
  if (wrong)
    return lu_say_usage(run, "report: %s", wrong);
  if (who && strcmp(who, "bench") && strcmp(who, "owner"))
    return lu_say_usage(run, "report: --for expects bench or owner, found '%.40s'", who);
  k.w.s = lu_session_new(run);
  if (!k.w.s)
    return lu_say_usage(run, "out of memory"), LU_EXIT_SYSTEM;
  int code = make(&k) ? lu_say_error(run, &k.w.s->err) : LU_EXIT_CLEAN;
  lu_bench_close(k.bench);
  lu_session_end(k.w.s);
  return code;
}

#define AT(field) offsetof(args, field)
static const lu_option options[] = {
    {"output", 'o', LU_OPT_TEXT, AT(output), 0, 0, "FILE", "where the page goes (- for standard output)"},
    {"png", 0, LU_OPT_TEXT, AT(png), 0, 0, "FILE", "the fail map alone, as a picture"},
    {"chip", 0, LU_OPT_TEXT, AT(chip), 0, 0, "REF", "with --png: rows and columns of this chip"},
    {"for", 'f', LU_OPT_TEXT, AT(audience), 0, 0, "WHOM", "bench (everything, default) or owner (one page)"},
    {"board", 'b', LU_OPT_TEXT, AT(board), 0, 0, "FILE", "board file; a job has its own"},
    LU_DUMP_OPTIONS(AT(reading)),
    LU_EVIDENCE_OPTIONS(AT(reading), AT(run)),
    {0},
};

static const char *const examples[] = {
    "lineup report bench.job -o bench.html",
    "lineup report bench.job --for owner -o owner.html",
    "lineup report --board docs/demo/tide.yaml --run docs/demo/as-found.yaml -o page.html --png map.png",
    "lineup report --board docs/demo/tide.yaml --block 'record RAM' --wrote address docs/demo/found-record.bin --png chip.png --chip U19",
    NULL,
};

const lu_command lu_command_report = {
    .name = "report",
    .summary = "one page with everything, to look at, to print and to keep",
    .usage = "[OPTION ...] -o FILE JOB|DUMP...",
    .options = options,
    .args_size = sizeof(args),
    .operands_offset = AT(operands),
    .least_operands = 0,
    .most_operands = LU_TEXTS_MOST,
    .examples = examples,
    .run = report,
};
