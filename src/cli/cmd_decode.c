/* SPDX-License-Identifier: MIT */
/* lineup decode: a dump goes in, suspect nets and pins come out. */
#include "cli/findings.h"
#include "cli/readings.h"
#include "cli/session.h"
#include "reason/symptoms.h"
#include "report/report.h"

#include <math.h>
#include <string.h>

typedef struct args {
  lu_reading_args reading;
  const char *board, *run;
  bool json;
  lu_texts operands;
} args;

static int show(lu_run *run, const lu_finding *f, bool json)
{
  if (json) {
    if (!lu_report_json(run->out, f))
      return LU_EXIT_SYSTEM;
  } else {
    lu_text_style style = {.color = run->color, .utf8 = run->utf8, .columns = run->columns};
    lu_report_text(run->out, f, &style);
  }
  return f->verdict[0] == 'f' ? LU_EXIT_FAULTS : LU_EXIT_CLEAN;
}

/* The symptoms of each reading, told one after the other. */
static lu_status add_symptoms(lu_session *s, const lu_reading *readings, size_t count, lu_finding *f)
{
  size_t room = 0;
  for (size_t r = 0; r < count; r++) {
    lu_symptoms found;
    const lu_reading *x = &readings[r];
    lu_symptom_query q = {.passes = x->passes,
                          .pass_count = x->pass_count,
                          .expected = x->evidence.known.at ? &x->evidence.known : NULL,
                          .written = x->evidence.know == LU_KNOW_WRITTEN};
    lu_status bad = lu_symptoms_find(&q, s->mem, &found, &s->err);
    if (bad)
      return bad;
    f->wrong_words += found.wrong_words;
    for (size_t i = 0; i < found.count; i++) {
      lu_said_symptom *p = lu_arena_grow(s->mem, f->symptoms, f->symptom_count, &room, sizeof *p);
      if (!p)
        return lu_fail(&s->err, LU_ERR_NOMEM, 0, 0, "no room");
      f->symptoms = p;
      const char *text = count > 1 ? lu_arena_printf(s->mem, "%s: %s", x->name, found.at[i].text) : found.at[i].text;
      p[f->symptom_count++] = (lu_said_symptom){found.at[i].kind, text};
    }
  }
  return LU_OK;
}

static lu_status explain(lu_session *s, const lu_reading *readings, size_t count, bool plain, lu_finding **out)
{
  lu_priors priors;
  lu_evidence *evidence = LU_NEW(s->mem, lu_evidence, count);
  lu_result *result;
  double noise = 0;
  lu_status bad = lu_priors_of(readings[0].evidence.network->board, &priors, &s->err);
  if (!bad && !evidence)
    bad = lu_fail(&s->err, LU_ERR_NOMEM, 0, 0, "no room");
  for (size_t i = 0; !bad && i < count; i++) {
    evidence[i] = readings[i].evidence;
    noise = fmax(noise, readings[i].noise);
  }
  if (!bad)
    bad = lu_explain(evidence, count, &priors, noise, s->mem, &result, &s->err);
  if (bad)
    return bad;
  lu_finding *f = lu_findings_of(result, plain, s->mem);
  if (!f)
    return lu_fail(&s->err, LU_ERR_NOMEM, 0, 0, "no room");
  for (size_t i = 0; i < count; i++) {
    const lu_evidence *e = &readings[i].evidence;
    f->words += e->got.held_count;
    f->width = e->network->data_bits > f->width ? e->network->data_bits : f->width;
    f->passes = (unsigned)readings[i].pass_count > f->passes ? (unsigned)readings[i].pass_count : f->passes;
    f->unsteady_bits += readings[i].unsteady_bits;
    if (!plain && count == 1)
      f->block = readings[i].name;
    for (size_t k = 0; k < e->network->note_count; k++)
      lu_session_note(s, e->network->notes[k]);
  }
  bad = add_symptoms(s, readings, count, f);
  f->notes = s->notes;
  f->note_count = s->note_count;
  *out = f;
  return bad;
}

static lu_status decode_all(lu_session *s, const args *a, lu_finding **out)
{
  lu_reading *readings = NULL;
  size_t count = 0;
  lu_status bad = LU_OK;
  if (a->board)
    bad = lu_session_board(s, a->board);
  if (!bad && a->run)
    bad = lu_readings_of_run(s, a->run, &readings, &count);
  else if (!bad) {
    count = 1;
    bad = lu_readings_of_args(s, &a->reading, &a->operands, &readings);
  }
  return bad ? bad : explain(s, readings, count, !a->board, out);
}

static int decode(lu_run *run, void *opaque)
{
  args *a = opaque;
  if (!a->run && !a->operands.count && !a->reading.log)
    return lu_say_usage(run, "decode: expects a DUMP, --log FILE or --run FILE");
  if (a->run && !a->board)
    return lu_say_usage(run, "decode: --run needs --board");
  if (a->reading.expect && a->reading.wrote)
    return lu_say_usage(run, "decode: give either --expect or --wrote, not both");
  lu_session *s = lu_session_new(run);
  if (!s)
    return lu_say_usage(run, "out of memory"), LU_EXIT_SYSTEM;
  lu_finding *f = NULL;
  lu_status bad = decode_all(s, a, &f);
  int code = bad ? lu_say_error(run, &s->err) : show(run, f, a->json);
  lu_session_end(s);
  return code;
}

#define AT(field) offsetof(args, field)
static const lu_option options[] = {
    {"board", 'b', LU_OPT_TEXT, AT(board), 0, 0, "FILE", "board file; without: address and data bits only"},
    {"block", 0, LU_OPT_TEXT, AT(reading.block), 0, 0, "NAME", "the memory block that was read"},
    {"at", 0, LU_OPT_TEXT, AT(reading.at), 0, 0, "ADDR", "byte address where a raw dump starts"},
    {"vantage", 0, LU_OPT_TEXT, AT(reading.vantage), 0, 0, "NAME", "read from there; chip:U3 = out of circuit"},
    {"expect", 'e', LU_OPT_TEXT, AT(reading.expect), 0, 0, "WHAT", "known contents: a file or a pattern"},
    {"wrote", 'w', LU_OPT_TEXT, AT(reading.wrote), 0, 0, "WHAT", "written through the same lines, then read"},
    {"run", 0, LU_OPT_TEXT, AT(run), 0, 0, "FILE", "several readings of one fault state (YAML)"},
    {"log", 0, LU_OPT_TEXT, AT(reading.log), 0, 0, "FILE", "failures that a memory test printed"},
    {"width", 0, LU_OPT_NUMBER, AT(reading.width), 1, 64, "BITS", "without a board: data bits (default 8)"},
    {"byte-order", 0, LU_OPT_TEXT, AT(reading.order), 0, 0, "ORDER", "without a board: big or little (default)"},
    {"json", 'j', LU_OPT_FLAG, AT(json), 0, 0, NULL, "the result as JSON"},
    {0},
};

static const char *const examples[] = {
    "lineup decode --board docs/demo/tide.yaml --block 'boot ROM' --expect docs/demo/tide-rom.bin docs/demo/rom-found.bin",
    "lineup decode --width 16 --wrote address docs/demo/work-found.bin",
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
