/* SPDX-License-Identifier: MIT */
/* A finding that a job keeps as JSON (cli/record.h), as values again: the page shows what was recorded and does not
 * search anew. */
#include "cli/pagefill.h"

#include <jansson.h>
#include <string.h>

typedef struct reader {
  lu_arena *mem;
  bool refused;
} reader;

static const char *text(reader *r, const json_t *o, const char *key)
{
  const char *v = json_string_value(json_object_get(o, key));
  const char *t = v ? lu_arena_text(r->mem, v, strlen(v)) : NULL;
  r->refused |= v && !t;
  return t;
}

static void *room(reader *r, size_t count, size_t size)
{
  void *at = lu_arena_array(r->mem, count + 1, size);
  r->refused |= !at;
  return at;
}

/* "U16.12, U17.12 and 14 more" */
static const char *listed(reader *r, const json_t *names)
{
  enum { SHOWN = 4 };
  size_t count = json_array_size(names);
  const char *s = "";
  for (size_t i = 0; i < count && i < SHOWN && s; i++) {
    const char *name = json_string_value(json_array_get(names, i));
    s = lu_arena_printf(r->mem, "%s%s%s", s, i ? ", " : "", name ? name : "?");
  }
  if (s && count > SHOWN)
    s = lu_arena_printf(r->mem, "%s and %zu more", s, count - SHOWN);
  r->refused |= !s;
  return s ? s : "";
}

static const char *fault_words(reader *r, const json_t *o, const lu_said_fault *f)
{
  const char *kind = f->kind ? f->kind : "?";
  if (!strcmp(kind, "open"))
    return lu_arena_printf(r->mem, "%s open%s: %s cut off from %s, what floats reads %s", f->net ? f->net : "?",
                           json_is_true(json_object_get(o, "unsteady")) ? " now and then" : "", listed(r, json_object_get(o, "cut_off")),
                           listed(r, json_object_get(o, "from")), !f->level ? "?" : !strcmp(f->level, "keep") ? "what was driven last" : f->level);
  if (!strcmp(kind, "stuck"))
    return lu_arena_printf(r->mem, "%s stuck %s as a whole", f->net ? f->net : "?", f->level ? f->level : "?");
  if (f->nets[0] && f->nets[1])
    return lu_arena_printf(r->mem, "%s and %s %s%s%s", f->nets[0], f->nets[1], !strcmp(kind, "swap") ? "exchanged" : "joined",
                           f->part ? " at " : "", f->part ? f->part : "");
  return lu_arena_printf(r->mem, "%s: %s%s%s", f->part ? f->part : "?", kind, f->lost ? ", lost: " : "", f->lost ? f->lost : "");
}

static lu_said_fault fault(reader *r, const json_t *o)
{
  lu_said_fault f = {.kind = text(r, o, "kind"), .net = text(r, o, "net"), .level = text(r, o, "level"), .acts = text(r, o, "acts"),
                     .lost = text(r, o, "lost"), .part = text(r, o, "part")};
  const json_t *nets = json_object_get(o, "nets");
  for (size_t i = 0; i < 2; i++) {
    const char *name = json_string_value(json_array_get(nets, i));
    f.nets[i] = name ? lu_arena_text(r->mem, name, strlen(name)) : NULL;
  }
  if (f.nets[0])
    f.part = text(r, o, "at");
  f.text = fault_words(r, o, &f);
  r->refused |= !f.text;
  return f;
}

static void explanations(reader *r, const json_t *list, lu_finding *f)
{
  f->explanations = room(r, json_array_size(list), sizeof *f->explanations);
  for (size_t i = 0; f->explanations && i < json_array_size(list); i++) {
    const json_t *o = json_array_get(list, i), *faults = json_object_get(o, "faults");
    lu_said_explanation *e = &f->explanations[f->explanation_count++];
    e->probability = json_number_value(json_object_get(o, "probability"));
    e->explained = json_number_value(json_object_get(o, "explained"));
    e->faults = room(r, json_array_size(faults), sizeof *e->faults);
    for (size_t k = 0; e->faults && k < json_array_size(faults); k++)
      e->faults[e->fault_count++] = fault(r, json_array_get(faults, k));
  }
}

static void suspects(reader *r, const json_t *list, lu_finding *f)
{
  f->suspects = room(r, json_array_size(list), sizeof *f->suspects);
  for (size_t i = 0; f->suspects && i < json_array_size(list); i++) {
    const json_t *o = json_array_get(list, i), *pins = json_object_get(o, "pins");
    lu_said_suspect *s = &f->suspects[f->suspect_count++];
    *s = (lu_said_suspect){.net = text(r, o, "net"), .part = text(r, o, "part"), .why = text(r, o, "why"), .where = text(r, o, "where"),
                           .settle = text(r, o, "settle"), .probability = json_number_value(json_object_get(o, "probability")),
                           .group = (unsigned)json_integer_value(json_object_get(o, "group"))};
    s->pins = room(r, json_array_size(pins), sizeof *s->pins);
    for (size_t k = 0; s->pins && k < json_array_size(pins); k++) {
      const json_t *p = json_array_get(pins, k);
      const char *name = text(r, p, "pin");
      s->pins[s->pin_count++] = (lu_said_pin){name ? name : "?", text(r, p, "function")};
    }
  }
}

static void symptoms(reader *r, const json_t *list, lu_finding *f)
{
  f->symptoms = room(r, json_array_size(list), sizeof *f->symptoms);
  for (size_t i = 0; f->symptoms && i < json_array_size(list); i++) {
    const json_t *o = json_array_get(list, i);
    f->symptoms[f->symptom_count++] = (lu_said_symptom){text(r, o, "kind"), text(r, o, "text")};
  }
}

static void notes(reader *r, const json_t *list, lu_finding *f)
{
  f->notes = room(r, json_array_size(list), sizeof *f->notes);
  for (size_t i = 0; f->notes && i < json_array_size(list); i++) {
    const char *v = json_string_value(json_array_get(list, i));
    if (v)
      f->notes[f->note_count++] = lu_arena_text(r->mem, v, strlen(v));
  }
}

lu_finding *lu_page_finding(const struct json_t *o, lu_arena *mem)
{
  reader r = {.mem = mem};
  lu_finding *f = LU_NEW(mem, lu_finding, 1);
  if (!f)
    return NULL;
  const json_t *read = json_object_get(o, "read"), *tried = json_object_get(o, "exhaustive");
  f->verdict = text(&r, o, "verdict");
  f->reason = text(&r, o, "reason");
  f->next = text(&r, o, "next");
  f->alike = text(&r, o, "alike");
  f->masked = text(&r, o, "masked");
  f->words = (uint64_t)json_integer_value(json_object_get(read, "words"));
  f->width = (unsigned)json_integer_value(json_object_get(read, "width"));
  f->passes = (unsigned)json_integer_value(json_object_get(read, "passes"));
  f->unsteady_bits = (uint64_t)json_integer_value(json_object_get(read, "unsteady_bits"));
  f->singles_done = json_is_true(json_object_get(tried, "singles"));
  f->pairs_done = json_is_true(json_object_get(tried, "pairs"));
  explanations(&r, json_object_get(o, "explanations"), f);
  suspects(&r, json_object_get(o, "suspects"), f);
  symptoms(&r, json_object_get(o, "symptoms"), f);
  notes(&r, json_object_get(o, "notes"), f);
  return r.refused || !f->verdict ? NULL : f;
}
