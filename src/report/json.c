/* SPDX-License-Identifier: MIT */
#include "report/report.h"

#include "base/text.h"
#include <jansson.h>
#include <math.h>

static json_t *text(const char *s)
{
  char kept[400];
  json_t *j = s ? json_string(s) : json_null();
  if (j)
    return j;
  snprintf(kept, sizeof kept, "%s", s); /* not UTF-8 */
  lu_text_tidy(kept);
  return json_string(kept);
}

static json_t *share(double p)
{
  return json_real(round(p * 1e6) / 1e6);
}

static json_t *texts(const char *const *list, size_t count)
{
  json_t *a = json_array();
  for (size_t i = 0; i < count; i++)
    json_array_append_new(a, text(list[i]));
  return a;
}

static json_t *fault(const lu_said_fault *f)
{
  json_t *o = json_object();
  json_object_set_new(o, "kind", text(f->kind));
  if (f->net)
    json_object_set_new(o, "net", text(f->net));
  if (f->nets[0])
    json_object_set_new(o, "nets", texts(f->nets, 2));
  if (f->cut_off) {
    json_object_set_new(o, "cut_off", texts(f->cut_off, f->cut_count));
    json_object_set_new(o, "from", texts(f->from, f->from_count));
    if (f->unsteady)
      json_object_set_new(o, "unsteady", json_true());
  }
  if (f->level)
    json_object_set_new(o, "level", text(f->level));
  if (f->acts)
    json_object_set_new(o, "acts", text(f->acts));
  if (f->nets[0] && f->part)
    json_object_set_new(o, "at", text(f->part));
  else if (f->part)
    json_object_set_new(o, "part", text(f->part));
  if (f->lost)
    json_object_set_new(o, "lost", text(f->lost));
  if (f->model) {
    json_object_set_new(o, "model", text(f->model));
    json_object_set_new(o, "models", text(f->models));
  }
  if (f->aggressor)
    json_object_set_new(o, "aggressor", text(f->aggressor));
  if (f->kind[0] == 'r' || f->kind[0] == 'c') {
    if (f->row != UINT32_MAX)
      json_object_set_new(o, "row", json_integer(f->row));
    if (f->column != UINT32_MAX)
      json_object_set_new(o, "column", json_integer(f->column));
  }
  return o;
}

static json_t *explanations(const lu_finding *f)
{
  json_t *a = json_array();
  for (size_t i = 0; i < f->explanation_count; i++) {
    const lu_said_explanation *e = &f->explanations[i];
    json_t *faults = json_array(), *o = json_object();
    for (size_t k = 0; k < e->fault_count; k++)
      json_array_append_new(faults, fault(&e->faults[k]));
    json_object_set_new(o, "rank", json_integer((json_int_t)i + 1));
    json_object_set_new(o, "probability", share(e->probability));
    json_object_set_new(o, "explained", share(e->explained));
    json_object_set_new(o, "faults", faults);
    json_array_append_new(a, o);
  }
  return a;
}

static json_t *suspects(const lu_finding *f)
{
  json_t *a = json_array();
  for (size_t i = 0; i < f->suspect_count; i++) {
    const lu_said_suspect *s = &f->suspects[i];
    json_t *pins = json_array(), *o = json_object();
    for (size_t k = 0; k < s->pin_count; k++)
      json_array_append_new(pins, json_pack("{s:o,s:o}", "pin", text(s->pins[k].pin), "function",
                                            text(s->pins[k].function)));
    json_object_set_new(o, "rank", json_integer((json_int_t)i + 1));
    json_object_set_new(o, "net", text(s->net));
    if (s->part)
      json_object_set_new(o, "part", text(s->part));
    json_object_set_new(o, "probability", share(s->probability));
    json_object_set_new(o, "pins", pins);
    json_object_set_new(o, "group", json_integer((json_int_t)s->group));
    json_object_set_new(o, "why", text(s->why));
    if (s->where)
      json_object_set_new(o, "where", text(s->where));
    if (s->settle)
      json_object_set_new(o, "settle", text(s->settle));
    json_array_append_new(a, o);
  }
  return a;
}

static json_t *test_json(const lu_said_test *t)
{
  return json_pack("{s:o,s:o,s:o,s:I,s:I,s:o}", "kind", text(t->kind), "block", text(t->block), "pattern", text(t->pattern), "operations",
                   (json_int_t)(t->operations & INT64_MAX), "wait_us", (json_int_t)(t->wait_us & INT64_MAX), "gain_bits", share(t->gain));
}

bool lu_report_json(FILE *out, const lu_finding *f)
{
  json_t *o = json_object(), *symptoms = json_array();
  for (size_t i = 0; i < f->symptom_count; i++)
    json_array_append_new(symptoms, json_pack("{s:o,s:o}", "kind", text(f->symptoms[i].kind), "text",
                                              text(f->symptoms[i].text)));
  json_object_set_new(o, "lineup", text(LU_VERSION));
  json_object_set_new(o, "verdict", text(f->verdict));
  json_object_set_new(o, "reason", text(f->reason));
  json_object_set_new(o, "read", json_pack("{s:I,s:i,s:i,s:I}", "words", (json_int_t)f->words, "width",
                                           (int)f->width, "passes", (int)f->passes, "unsteady_bits",
                                           (json_int_t)f->unsteady_bits));
  json_object_set_new(o, "symptoms", symptoms);
  json_object_set_new(o, "explanations", explanations(f));
  json_object_set_new(o, "exhaustive", json_pack("{s:b,s:b}", "singles", (int)f->singles_done, "pairs",
                                                 (int)f->pairs_done));
  json_object_set_new(o, "suspects", suspects(f));
  if (f->next)
    json_object_set_new(o, "next", text(f->next));
  if (f->next_test) {
    json_t *t = test_json(f->next_test);
    json_object_set_new(t, "doubt_bits", share(f->next_test->doubt));
    json_object_set_new(t, "text", text(f->next_test->text));
    if (f->next_test->other)
      json_object_set_new(t, f->next_test->kind[0] == 'p' ? "by_dump" : "by_pattern", test_json(f->next_test->other));
    json_object_set_new(o, "next_test", t);
  }
  if (f->alike)
    json_object_set_new(o, "alike", text(f->alike));
  if (f->masked)
    json_object_set_new(o, "masked", text(f->masked));
  json_object_set_new(o, "notes", texts(f->notes, f->note_count));
  bool ok = json_dumpf(o, out, JSON_INDENT(2) | JSON_REAL_PRECISION(7)) == 0 && fputc('\n', out) != EOF;
  json_decref(o);
  return ok;
}
