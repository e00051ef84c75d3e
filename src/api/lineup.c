/* SPDX-License-Identifier: MIT */
/* The public library: api/session, readings and judge behind a header that needs nothing else. */
#include "api/lineup.h"

#include "api/judge.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

typedef struct given {
  const char *name;
  lu_bytes bytes;
} given;

struct lineup {
  lu_arena mem;          /* board and names */
  lu_session *s;
  size_t given_count, given_room;
  given *given;
  char error[600];
};

/* A result, and what it points to. */
typedef struct held_result {
  lineup_result r;       /* first: the caller holds its address */
  lu_arena mem;
} held_result;

const char *lineup_version(void)
{
  return LU_VERSION;
}

/* --- handle ------------------------------------------------------------------------------------------- */

static bool find_given(void *from, const char *path, lu_bytes *out)
{
  const lineup *l = from;
  for (size_t i = 0; i < l->given_count; i++)
    if (!strcmp(l->given[i].name, path)) {
      *out = l->given[i].bytes;
      return true;
    }
  return false;
}

lineup *lineup_new(void)
{
  lineup *l = calloc(1, sizeof *l);
  if (!l)
    return NULL;
  l->s = lu_session_begin(&l->mem);
  if (!l->s) {
    lu_arena_free(&l->mem);
    free(l);
    return NULL;
  }
  l->s->kept = find_given;
  l->s->kept_from = l;
  return l;
}

void lineup_free(lineup *l)
{
  if (!l)
    return;
  lu_session_end(l->s);
  lu_arena_free(&l->mem);
  free(l);
}

const char *lineup_error(const lineup *l)
{
  return l->error;
}

static void begin_call(lineup *l)
{
  l->error[0] = '\0';
  l->s->err = (lu_err){0};
}

/* "file:line:column: message", as far as known. */
static lineup_status tell(lineup *l, lu_status bad)
{
  const lu_err *e = &l->s->err;
  char place[40] = "";
  if (!bad)
    return LINEUP_OK;
  if (e->line && e->column)
    snprintf(place, sizeof place, ":%u:%u", e->line, e->column);
  else if (e->line)
    snprintf(place, sizeof place, ":%u", e->line);
  snprintf(l->error, sizeof l->error, "%.250s%s%s%s", e->source ? e->source : "", e->source ? place : "", e->source ? ": " : "",
           e->message[0] ? e->message : lu_status_text(bad));
  return lu_status_exit(bad) == 2 ? LINEUP_BAD_INPUT : LINEUP_SYSTEM;
}

lineup_status lineup_give(lineup *l, const char *name, const void *data, size_t len)
{
  begin_call(l);
  if (!name || !name[0] || (!data && len))
    return tell(l, lu_fail(&l->s->err, LU_ERR_USAGE, 0, 0, "a file in memory needs a name and data"));
  const lu_bytes bytes = {data, len};
  for (size_t i = 0; i < l->given_count; i++)
    if (!strcmp(l->given[i].name, name)) {
      l->given[i].bytes = bytes;
      return LINEUP_OK;
    }
  const char *own = lu_arena_text(&l->mem, name, strlen(name));
  given *more = own ? lu_arena_grow(&l->mem, l->given, l->given_count, &l->given_room, sizeof *more) : NULL;
  if (!more)
    return tell(l, lu_fail(&l->s->err, LU_ERR_NOMEM, 0, 0, "no room for a file's name"));
  l->given = more;
  more[l->given_count++] = (given){own, bytes};
  return LINEUP_OK;
}

lineup_status lineup_board(lineup *l, const char *path)
{
  begin_call(l);
  const char *own = path ? lu_arena_text(&l->mem, path, strlen(path)) : NULL;
  if (!path)
    return tell(l, lu_fail(&l->s->err, LU_ERR_USAGE, 0, 0, "a board file is needed"));
  if (!own)
    return tell(l, lu_fail(&l->s->err, LU_ERR_NOMEM, 0, 0, "no room for a path"));
  lu_board *before = l->s->board;
  size_t notes = l->s->note_count;
  l->s->board = NULL;
  l->s->note_count = 0; /* those of a board before */
  lu_status bad = lu_session_board(l->s, own);
  if (bad) {
    l->s->board = before;
    l->s->note_count = notes;
  }
  return tell(l, bad);
}

/* --- results ------------------------------------------------------------------------------------------ */

/* Copies what a finding says; every failure to get memory is remembered and told once. */
typedef struct copier {
  lu_arena *mem;
  bool refused;
} copier;

static const char *text(copier *c, const char *from)
{
  const char *out = from ? lu_arena_text(c->mem, from, strlen(from)) : NULL;
  c->refused |= from && !out;
  return out;
}

static void *room(copier *c, size_t count, size_t size)
{
  void *out = lu_arena_array(c->mem, count ? count : 1, size);
  c->refused |= !out;
  return out;
}

static const char *const *texts(copier *c, const char *const *from, size_t count)
{
  const char **out = room(c, count, sizeof *out);
  for (size_t i = 0; out && i < count; i++)
    out[i] = text(c, from[i]);
  return out;
}

static const lineup_suspect *suspect(copier *c, const lu_said_suspect *from)
{
  lineup_suspect *out = room(c, 1, sizeof *out);
  const lineup_pin **pins = room(c, from->pin_count, sizeof *pins);
  if (!out || !pins)
    return NULL;
  for (size_t i = 0; i < from->pin_count; i++) {
    lineup_pin *p = room(c, 1, sizeof *p);
    if (p)
      *p = (lineup_pin){.pin = text(c, from->pins[i].pin), .function = text(c, from->pins[i].function)};
    pins[i] = p;
  }
  *out = (lineup_suspect){.net = text(c, from->net), .part = text(c, from->part), .probability = from->probability,
                          .group = from->group, .pin_count = from->pin_count, .pins = pins, .why = text(c, from->why),
                          .settle = text(c, from->settle)};
  return out;
}

static const lineup_fault *fault(copier *c, const lu_said_fault *from)
{
  lineup_fault *out = room(c, 1, sizeof *out);
  if (!out)
    return NULL;
  *out = (lineup_fault){.kind = text(c, from->kind), .text = text(c, from->text),
                        .net = text(c, from->net ? from->net : from->nets[0]), .other_net = text(c, from->nets[1]),
                        .part = text(c, from->part), .level = text(c, from->level), .cut_count = from->cut_count,
                        .cut_off = texts(c, from->cut_off, from->cut_count)};
  return out;
}

static const lineup_explanation *explanation(copier *c, const lu_said_explanation *from)
{
  lineup_explanation *out = room(c, 1, sizeof *out);
  const lineup_fault **faults = room(c, from->fault_count, sizeof *faults);
  if (!out || !faults)
    return NULL;
  for (size_t i = 0; i < from->fault_count; i++)
    faults[i] = fault(c, &from->faults[i]);
  *out = (lineup_explanation){.probability = from->probability, .explained = from->explained, .fault_count = from->fault_count,
                              .faults = faults};
  return out;
}

static void copy_lists(copier *c, const lu_finding *f, lineup_result *r)
{
  const lineup_suspect **suspects = room(c, f->suspect_count, sizeof *suspects);
  const lineup_explanation **explanations = room(c, f->explanation_count, sizeof *explanations);
  const lineup_symptom **symptoms = room(c, f->symptom_count, sizeof *symptoms);
  if (c->refused)
    return;
  for (size_t i = 0; i < f->suspect_count; i++)
    suspects[i] = suspect(c, &f->suspects[i]);
  for (size_t i = 0; i < f->explanation_count; i++)
    explanations[i] = explanation(c, &f->explanations[i]);
  for (size_t i = 0; i < f->symptom_count; i++) {
    lineup_symptom *s = room(c, 1, sizeof *s);
    if (s)
      *s = (lineup_symptom){.kind = text(c, f->symptoms[i].kind), .text = text(c, f->symptoms[i].text)};
    symptoms[i] = s;
  }
  r->suspects = suspects;
  r->explanations = explanations;
  r->symptoms = symptoms;
  r->notes = texts(c, f->notes, f->note_count);
}

static lu_status result_of(lineup *l, const lu_finding *f, lineup_result **out)
{
  held_result *h = calloc(1, sizeof *h);
  if (!h)
    return lu_fail(&l->s->err, LU_ERR_NOMEM, 0, 0, "no room for a result");
  copier c = {.mem = &h->mem};
  h->r = (lineup_result){.verdict = f->verdict[0] == 'c' ? LINEUP_CLEAN : f->verdict[0] == 'f' ? LINEUP_FAULTY : LINEUP_UNKNOWN,
                         .reason = text(&c, f->reason),
                         .words = f->words,
                         .width = f->width,
                         .passes = f->passes,
                         .unsteady_bits = f->unsteady_bits,
                         .suspect_count = f->suspect_count,
                         .explanation_count = f->explanation_count,
                         .symptom_count = f->symptom_count,
                         .note_count = f->note_count,
                         .singles_done = f->singles_done,
                         .pairs_done = f->pairs_done,
                         .next = text(&c, f->next)};
  copy_lists(&c, f, &h->r);
  if (c.refused) {
    lu_arena_free(&h->mem);
    free(h);
    return lu_fail(&l->s->err, LU_ERR_NOMEM, 0, 0, "no room for a result");
  }
  *out = &h->r;
  return LU_OK;
}

void lineup_result_free(lineup_result *r)
{
  held_result *h = (held_result *)r;
  if (!h)
    return;
  lu_arena_free(&h->mem);
  free(h);
}

/* --- decoding ----------------------------------------------------------------------------------------- */

/* The request as the readings want it; refuses what a program would not mean. */
static lu_status check(lineup *l, const lineup_request *given_q, lineup_request *q, lu_texts *dumps)
{
  lu_err *err = &l->s->err;
  if (!given_q || given_q->size < offsetof(lineup_request, block) || given_q->size > sizeof *q)
    return lu_fail(err, LU_ERR_USAGE, 0, 0, "the request's size is not that of a lineup_request of version %s or before", LU_VERSION);
  memset(q, 0, sizeof *q);
  memcpy(q, given_q, given_q->size);
  if (q->dump_count > LU_TEXTS_MOST)
    return lu_fail(err, LU_ERR_LIMIT, 0, 0, "%zu dumps, at most %d", q->dump_count, LU_TEXTS_MOST);
  if (!q->dump_count == !q->log)
    return lu_fail(err, LU_ERR_USAGE, 0, 0, "a request takes either dumps or a log");
  if (q->expect && q->wrote)
    return lu_fail(err, LU_ERR_USAGE, 0, 0, "a request takes either contents that are expected or contents that were written");
  if (q->width > 64)
    return lu_fail(err, LU_ERR_USAGE, 0, 0, "a word of %u bits, at most 64", q->width);
  for (size_t i = 0; i < q->dump_count; i++) {
    if (!q->dumps[i])
      return lu_fail(err, LU_ERR_USAGE, 0, 0, "dump %zu of %zu has no name", i + 1, q->dump_count);
    dumps->at[dumps->count++] = q->dumps[i];
  }
  return LU_OK;
}

/* A call's own memory and files; what was there before stays. */
typedef struct scratch {
  lu_arena mem;
  lu_session before;
} scratch;

static void enter(lineup *l, scratch *x)
{
  lu_session *s = l->s;
  x->before.mem = s->mem;
  x->before.board = s->board;
  x->before.file_count = s->file_count;
  x->before.note_count = s->note_count;
  x->before.note_room = s->note_room;
  x->before.notes = s->notes;
  s->mem = &x->mem;
  s->note_room = s->note_count; /* a note more is a new list, in the call's memory */
}

static void leave(lineup *l, scratch *x)
{
  lu_session *s = l->s;
  for (; s->file_count > x->before.file_count; s->file_count--)
    lu_file_close(&s->files[s->file_count - 1]);
  s->mem = x->before.mem;
  s->board = x->before.board;
  s->note_count = x->before.note_count;
  s->note_room = x->before.note_room;
  s->notes = x->before.notes;
  lu_arena_free(&x->mem);
}

/* Reads and judges: a request, or a run file. */
static lu_status decode(lineup *l, const lineup_request *q, const lu_texts *dumps, const char *run_file, lineup_result **out)
{
  lu_session *s = l->s;
  lu_reading *readings = NULL;
  lu_finding *f = NULL;
  size_t count = 1;
  bool plain = !s->board;
  lu_status bad;
  if (run_file) {
    bad = lu_readings_of_run(s, run_file, &readings, &count);
  } else {
    const lu_reading_args a = {.block = q->block, .at = q->at, .vantage = q->vantage, .expect = q->expect, .wrote = q->wrote,
                               .log = q->log, .order = q->big_endian ? "big" : NULL, .signals = q->signals, .width = q->width};
    bad = lu_readings_of_args(s, &a, dumps, &readings);
  }
  if (!bad)
    bad = lu_judge(s, readings, count, plain, NULL, &f);
  return bad ? bad : result_of(l, f, out);
}

/* In memory of its own, as sessions are large. */
static lineup_status decode_apart(lineup *l, const lineup_request *q, const char *run_file, lineup_result **out)
{
  lineup_request own = {0};
  lu_texts *dumps = calloc(1, sizeof *dumps);
  scratch *x = calloc(1, sizeof *x);
  lu_status bad = LU_OK;
  lineup_status told;
  if (!dumps || !x)
    bad = lu_fail(&l->s->err, LU_ERR_NOMEM, 0, 0, "no room to decode");
  if (!bad && !run_file)
    bad = check(l, q, &own, dumps);
  if (bad) {
    told = tell(l, bad);
  } else {
    enter(l, x);
    told = tell(l, decode(l, &own, dumps, run_file, out)); /* the message may name a place in the call's memory */
    leave(l, x);
  }
  free(dumps);
  free(x);
  return told;
}

lineup_status lineup_decode(lineup *l, const lineup_request *q, lineup_result **out)
{
  begin_call(l);
  return decode_apart(l, q, NULL, out);
}

lineup_status lineup_decode_run(lineup *l, const char *run_file, lineup_result **out)
{
  begin_call(l);
  if (!run_file)
    return tell(l, lu_fail(&l->s->err, LU_ERR_USAGE, 0, 0, "a run file is needed"));
  if (!l->s->board)
    return tell(l, lu_fail(&l->s->err, LU_ERR_USAGE, 0, 0, "a run file needs a board"));
  return decode_apart(l, NULL, run_file, out);
}
