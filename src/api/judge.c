/* SPDX-License-Identifier: MIT */
#include "api/judge.h"

#include "base/tally.h"
#include "api/findings.h"
#include "api/marchlog.h"
#include "api/nexttest.h"
#include "reason/symptoms.h"

#include <math.h>

/* The symptoms of each reading of words, told one after the other. */
static lu_status add_symptoms(lu_session *s, const lu_reading *readings, size_t count, bool march, lu_finding *f)
{
  size_t room = f->symptom_count; /* the list may be full of what failing reads showed */
  for (size_t r = 0; r < count; r++) {
    lu_symptoms found;
    const lu_reading *x = &readings[r];
    if (march && x->march)
      continue;
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

/* Failing reads with the rest; where neither one fault nor two nor a few cells give all, and there is a rest, words
 * alone. *march NULL: words were judged. */
static lu_status explain(lu_session *s, const lu_reading *readings, size_t count, const lu_priors *priors, lu_march_result **march,
                         lu_result **out)
{
  lu_evidence *evidence = LU_NEW(s->mem, lu_evidence, count);
  double noise = 0;
  bool reads = false;
  *march = NULL;
  if (!evidence)
    return lu_fail(&s->err, LU_ERR_NOMEM, 0, 0, "no room");
  for (size_t i = 0; i < count; i++) {
    evidence[i] = readings[i].evidence;
    noise = fmax(noise, readings[i].noise);
    reads |= readings[i].march != NULL;
  }
  if (reads) {
    lu_status bad = lu_marchlog_explain(s, readings, count, priors, noise, march);
    if (bad)
      return bad;
    *out = &(*march)->result;
    if (count == 1 || (*out)->verdict == LU_VERDICT_CLEAN || (*out)->explanation_count)
      return LU_OK;
    *march = NULL;
    lu_session_note(s, "No one or two line faults, and no few cells, give the failing reads together with the other readings; "
                       "of the failing reads only the words were judged.");
  }
  return lu_explain(evidence, count, priors, noise, s->mem, out, &s->err);
}

static const lu_said_suspect *said(const lu_said_suspect *at, size_t count, const char *net)
{
  for (size_t i = 0; net && i < count; i++)
    if (at[i].net && !strcmp(at[i].net, net))
      return &at[i];
  return NULL;
}

/* Two places of a line that a capture saw differ: the fault is between them, whatever else explains the words. */
static lu_status put_between_first(lu_session *s, const lu_reading *x, lu_finding *f)
{
  if (!x->between_count)
    return LU_OK;
  lu_said_suspect *all = LU_NEW(s->mem, lu_said_suspect, x->between_count + f->suspect_count);
  size_t n = x->between_count;
  double sum = 0;
  if (!all)
    return lu_fail(&s->err, LU_ERR_NOMEM, 0, 0, "no room");
  for (size_t i = 0; i < n; i++) {
    const lu_said_suspect *known = said(f->suspects, f->suspect_count, x->between[i].net);
    all[i] = x->between[i];
    sum += f->verdict[0] == 'f' && known ? known->probability : 0;
  }
  for (size_t i = 0; i < n && sum > 0.01; i++) { /* the words tell which of the nets between it is */
    const lu_said_suspect *known = said(f->suspects, f->suspect_count, all[i].net);
    all[i].probability = 0.97 * ((known ? known->probability : 0) + 0.001) / (sum + 0.001 * (double)n);
  }
  for (size_t i = 1; i < n; i++)
    for (size_t k = i; k && all[k].probability > all[k - 1].probability; k--) {
      lu_said_suspect swap = all[k];
      all[k] = all[k - 1];
      all[k - 1] = swap;
    }
  for (size_t i = 0; i < f->suspect_count; i++)
    if (!said(all, x->between_count, f->suspects[i].net)) {
      all[n] = f->suspects[i];
      all[n++].probability *= 0.03;
    }
  f->suspects = all;
  f->suspect_count = n;
  f->verdict = "faulty";
  f->reason = "a line differs between two places where the capture sees it";
  f->next = all[0].settle;
  return LU_OK;
}

/* What was read, and what else is known of it. */
static void add_reading(lu_session *s, const lu_reading *x, bool words, lu_finding *f)
{
  const lu_evidence *e = &x->evidence;
  if (words) {
    f->words += e->got.held_count;
    f->width = e->network->data_bits > f->width ? e->network->data_bits : f->width;
  }
  f->passes = (unsigned)x->pass_count > f->passes ? (unsigned)x->pass_count : f->passes;
  f->unsteady_bits += words ? x->unsteady_bits : 0;
  if (x->doubt && (f->verdict[0] == 'c' || (f->verdict[0] == 'u' && !f->suspect_count))) {
    f->verdict = "unknown";
    f->reason = x->doubt;
  }
  if (x->line_count && f->verdict[0] == 'u' && !f->suspect_count) {
    f->suspects = x->lines;
    f->suspect_count = x->line_count;
  }
  for (size_t k = 0; k < e->network->note_count; k++)
    lu_session_note(s, e->network->notes[k]);
}

static lu_status judge(lu_session *s, const lu_reading *readings, size_t count, bool plain, lu_result **result_out, lu_finding **out)
{
  lu_priors *priors = LU_NEW(s->mem, lu_priors, 1);
  lu_march_result *march;
  lu_result *result;
  if (!priors)
    return lu_fail(&s->err, LU_ERR_NOMEM, 0, 0, "no room");
  lu_status bad = lu_priors_of(readings[0].evidence.network->board, priors, &s->err);
  if (!bad)
    bad = explain(s, readings, count, priors, &march, &result);
  if (bad)
    return bad;
  for (size_t i = 0; i < count; i++)
    if (readings[i].seen) {
      lu_sightings seen = {2, readings[i].level_count, readings[i].seen, readings[i].levels, march ? SIZE_MAX : i};
      lu_seenlines_refute(result, &seen);
    }
  lu_finding *f = lu_findings_of(result, plain, s->mem);
  if (!f)
    return lu_fail(&s->err, LU_ERR_NOMEM, 0, 0, "no room");
  if (!plain && count == 1)
    f->block = readings[0].name;
  for (size_t i = 0; i < count; i++)
    add_reading(s, &readings[i], !march || !readings[i].march, f);
  for (size_t i = 0; i < count && !bad; i++)
    bad = put_between_first(s, &readings[i], f);
  if (bad)
    return bad;
  bad = lu_next_test_say(s, readings, count, plain, result, f);
  if (!bad && march)
    bad = lu_marchlog_describe(s, readings, count, march, f);
  if (!bad)
    bad = add_symptoms(s, readings, count, march != NULL, f);
  if (f->suspect_count && !plain && march)
    f->next = f->suspects[0].settle;
  f->notes = s->notes;
  f->note_count = s->note_count;
  *out = f;
  if (result_out)
    *result_out = result;
  return bad;
}

lu_status lu_judge(lu_session *s, const lu_reading *readings, size_t count, bool plain, lu_result **result_out, lu_finding **out)
{
  lu_tally_begin("single faults tried", 0);
  lu_status bad = judge(s, readings, count, plain, result_out, out);
  lu_tally_end();
  return bad;
}
