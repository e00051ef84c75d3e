/* SPDX-License-Identifier: MIT */
#include "api/judge.h"

#include "api/findings.h"
#include "api/marchlog.h"
#include "api/nexttest.h"
#include "reason/symptoms.h"

#include <math.h>

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

lu_status lu_judge(lu_session *s, const lu_reading *readings, size_t count, bool plain, lu_result **result_out, lu_finding **out)
{
  if (count == 1 && readings[0].march)
    return lu_marchlog_judge(s, &readings[0], plain, result_out, out);
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
  for (size_t i = 0; i < count; i++)
    if (readings[i].seen)
      lu_seenlines_refute(result, readings[i].seen, 2);
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
    if (readings[i].doubt && (f->verdict[0] == 'c' || (f->verdict[0] == 'u' && !f->suspect_count))) {
      f->verdict = "unknown";
      f->reason = readings[i].doubt;
    }
    if (readings[i].line_count && f->verdict[0] == 'u' && !f->suspect_count) {
      f->suspects = readings[i].lines;
      f->suspect_count = readings[i].line_count;
    }
    for (size_t k = 0; k < e->network->note_count; k++)
      lu_session_note(s, e->network->notes[k]);
  }
  bad = lu_next_test_say(s, readings, count, plain, result, f);
  if (!bad)
    bad = add_symptoms(s, readings, count, f);
  f->notes = s->notes;
  f->note_count = s->note_count;
  *out = f;
  if (result_out)
    *result_out = result;
  return bad;
}
