/* SPDX-License-Identifier: MIT */
/* The report page's share of a job: readings to judge, worksheet, history. */
#include "cli/pagefill.h"
#include "cli/probewords.h"
#include "cli/record.h"
#include "reason/contrast.h"

#include <inttypes.h>
#include <jansson.h>
#include <math.h>
#include <string.h>

enum { RESULTS_MOST = 64, READINGS_MOST = 256, GUESSES_SHOWN = 8, TASKS_SHOWN = 8 };
static const double worth_bits = 0.01, shown_share = 0.005;

static lu_status no_room(lu_session *s)
{
  return lu_fail(&s->err, LU_ERR_NOMEM, 0, 0, "no room");
}

/* --- readings --------------------------------------------------------------------------------------------- */

/* Dump entries behind the results that count, newest first: of each set of blocks the newest. *recorded: the
 * finding of the only one. */
static size_t dumps_that_count(const lu_bench *b, uint64_t from, uint64_t to, const lu_job_entry **list, lu_finding **recorded)
{
  json_t *covered = json_object();
  size_t count = 0;
  for (uint64_t id = to; id > from && count < RESULTS_MOST; id--) {
    const lu_job_entry *e = lu_bench_entry(b, id);
    json_error_t je;
    if (!e || strcmp(e->kind, "result"))
      continue;
    json_t *body = json_loads(e->body, 0, &je), *blocks = json_object_get(body, "blocks");
    bool fresh = false;
    for (size_t i = 0; i < json_array_size(blocks); i++) {
      const char *name = json_string_value(json_array_get(blocks, i));
      fresh |= name && !json_object_get(covered, name);
    }
    for (size_t i = 0; fresh && i < json_array_size(blocks); i++)
      if (json_string_value(json_array_get(blocks, i)))
        json_object_set_new(covered, json_string_value(json_array_get(blocks, i)), json_true());
    const lu_job_entry *dump = lu_bench_entry(b, (uint64_t)json_integer_value(json_object_get(body, "of")));
    if (fresh && dump) {
      list[count++] = dump;
      *recorded = count == 1 ? lu_page_finding(json_object_get(body, "finding"), b->s->mem) : NULL;
    }
    json_decref(body);
  }
  json_decref(covered);
  return count;
}

lu_status lu_page_job_state(lu_bench *b, lu_page_state *out)
{
  const lu_job_entry *dumps[RESULTS_MOST];
  uint64_t repair = lu_bench_last_repair(b);
  *out = (lu_page_state){0};
  size_t n = dumps_that_count(b, repair, b->count, dumps, &out->recorded);
  out->stale = !n && repair;
  if (out->stale)
    n = dumps_that_count(b, 0, repair, dumps, &out->recorded);
  if (n > 1 && !lu_bench_board_name(b))
    n = 1; /* without a board nothing ties two readings together */
  out->readings = LU_NEW(b->s->mem, lu_reading, READINGS_MOST);
  if (!out->readings)
    return no_room(b->s);
  for (size_t i = n; i-- > 0;) {
    lu_reading *some;
    size_t got;
    lu_status bad = lu_record_read(b, dumps[i], &some, &got);
    if (bad)
      return bad;
    for (size_t k = 0; k < got && out->count < READINGS_MOST; k++)
      out->readings[out->count++] = some[k];
  }
  return LU_OK;
}

/* --- history ---------------------------------------------------------------------------------------------- */

static lu_status fill_events(lu_page_work *w, const lu_bench *b)
{
  lu_page_event *list = LU_NEW(w->s->mem, lu_page_event, b->count + 1);
  if (!list)
    return no_room(w->s);
  for (size_t i = 0; i < b->count; i++) {
    const lu_job_entry *e = &b->entries[i];
    list[i] = (lu_page_event){.id = e->id, .at = e->at, .kind = e->kind, .text = e->text};
    if (strcmp(e->kind, "undo"))
      continue;
    json_error_t je;
    json_t *body = json_loads(e->body, 0, &je);
    json_int_t of = json_integer_value(json_object_get(body, "of"));
    json_decref(body);
    if (of >= 1 && of <= (json_int_t)i)
      list[of - 1].withdrawn = true;
  }
  w->page.events = list;
  w->page.event_count = b->count;
  return LU_OK;
}

/* --- before and after ------------------------------------------------------------------------------------- */

/* The first result that covers a block: the entry of its dump. NULL: none. */
/* A job notes "BLOCK from VANTAGE", older ones the block's name alone. */
static bool is_of_block(const char *noted, const char *block)
{
  size_t n = strlen(block);
  return noted && !strncmp(noted, block, n) && (!noted[n] || !strncmp(noted + n, " from ", 6));
}

static const lu_job_entry *first_dump(const lu_bench *b, const char *block, const lu_job_entry **result)
{
  const lu_job_entry *found = NULL;
  for (size_t i = 0; i < b->count && !found; i++) {
    const lu_job_entry *e = &b->entries[i];
    json_error_t je;
    if (strcmp(e->kind, "result"))
      continue;
    json_t *body = json_loads(e->body, 0, &je), *blocks = json_object_get(body, "blocks");
    for (size_t k = 0; k < json_array_size(blocks) && !found; k++) {
      const char *name = json_string_value(json_array_get(blocks, k));
      if (is_of_block(name, block))
        found = lu_bench_entry(b, (uint64_t)json_integer_value(json_object_get(body, "of")));
    }
    *result = e;
    json_decref(body);
  }
  return found;
}

static const char *entry_words(lu_page_work *w, const lu_job_entry *e)
{
  return lu_arena_printf(w->s->mem, "entry %" PRIu64 ", %.10s", e->id, e->at);
}

static bool same_known(const lu_evidence *a, const lu_evidence *b)
{
  if (!a->known.at || !b->known.at || a->known.count != b->known.count || a->known.bytes != b->known.bytes)
    return false;
  return a->known.at == b->known.at || !memcmp(a->known.at, b->known.at, a->known.count * a->known.bytes);
}

static lu_status compare_block(lu_page_work *w, const lu_reading *then, const lu_reading *now, lu_page_change *c)
{
  const lu_evidence *x = &then->evidence, *y = &now->evidence;
  lu_contrast k;
  if (x->got.width != y->got.width || x->got.base != y->got.base || x->got.count != y->got.count)
    return LU_OK; /* another part of the block: not compared */
  c->known = same_known(x, y);
  lu_status bad = lu_contrast_of(&x->got, &y->got, c->known ? &y->known : NULL, w->s->mem, &k, &w->s->err);
  if (bad)
    return bad;
  c->words = k.words;
  c->changed = k.diff.differ;
  c->wrong_before = k.wrong_before;
  c->wrong_after = k.wrong_after;
  c->cured = k.cured;
  c->spoilt = k.spoilt;
  w->page.change_count++;
  return LU_OK;
}

static lu_status change_of(lu_page_work *w, lu_bench *b, const lu_reading *now, const lu_job_entry *last, lu_page_change *c)
{
  const lu_job_entry *result = NULL, *dump = first_dump(b, now->name, &result);
  lu_reading *then = NULL;
  size_t count = 0;
  if (!dump || result->id >= last->id)
    return LU_OK;
  lu_status bad = lu_record_read(b, dump, &then, &count);
  for (size_t i = 0; !bad && i < count; i++) {
    if (strcmp(then[i].name, now->name))
      continue;
    *c = (lu_page_change){.block = now->name, .before = entry_words(w, result), .after = entry_words(w, last)};
    return c->before && c->after ? compare_block(w, &then[i], now, c) : no_room(w->s);
  }
  return bad;
}

/* The newest result that covers a block. */
static const lu_job_entry *last_result(const lu_bench *b, const char *block)
{
  const lu_job_entry *found = NULL;
  for (size_t i = b->count; i-- > 0 && !found;) {
    json_error_t je;
    if (strcmp(b->entries[i].kind, "result"))
      continue;
    json_t *body = json_loads(b->entries[i].body, 0, &je), *blocks = json_object_get(body, "blocks");
    for (size_t k = 0; k < json_array_size(blocks); k++) {
      const char *name = json_string_value(json_array_get(blocks, k));
      if (is_of_block(name, block))
        found = &b->entries[i];
    }
    json_decref(body);
  }
  return found;
}

static const char *suspect_called(const lu_said_suspect *s)
{
  return s->net ? s->net : s->part;
}

/* Names of suspects of at least 5 % that `here` has, and that the other has (both) or has not. NULL: none. */
static const char *suspects_of(lu_page_work *w, const lu_finding *here, const lu_finding *other, bool both)
{
  static const double share = 0.05;
  const char *text = NULL;
  for (size_t i = 0; i < here->suspect_count; i++) {
    const lu_said_suspect *s = &here->suspects[i];
    bool there = false;
    for (size_t k = 0; k < other->suspect_count; k++)
      there |= other->suspects[k].probability >= share && suspect_called(s) && suspect_called(&other->suspects[k]) &&
               !strcmp(suspect_called(&other->suspects[k]), suspect_called(s));
    if (s->probability >= share && suspect_called(s) && there == both)
      text = lu_arena_printf(w->s->mem, "%s%s%s", text ? text : "", text ? ", " : "", suspect_called(s));
  }
  return text;
}

/* The suspects when the board came: of each block's first result. */
static lu_finding *as_found(lu_page_work *w, const lu_bench *b)
{
  lu_finding *all = LU_NEW(w->s->mem, lu_finding, 1);
  size_t room = 0;
  uint64_t seen = 0;
  for (size_t i = 0; all && i < w->reading_count; i++) {
    const lu_job_entry *result = NULL;
    json_error_t je;
    if (!first_dump(b, w->readings[i].name, &result) || result->id <= seen)
      continue;
    seen = result->id;
    json_t *body = json_loads(result->body, 0, &je);
    lu_finding *f = lu_page_finding(json_object_get(body, "finding"), w->s->mem);
    json_decref(body);
    for (size_t k = 0; f && k < f->suspect_count; k++) {
      lu_said_suspect *list = lu_arena_grow(w->s->mem, all->suspects, all->suspect_count, &room, sizeof *list);
      if (!list)
        return NULL;
      all->suspects = list;
      list[all->suspect_count++] = f->suspects[k];
    }
  }
  return all;
}

static lu_status fill_changes(lu_page_work *w, lu_bench *b)
{
  lu_page_change *list = LU_NEW(w->s->mem, lu_page_change, w->reading_count + 1);
  lu_status bad = list ? LU_OK : no_room(w->s);
  for (size_t i = 0; !bad && i < w->reading_count; i++) {
    const lu_job_entry *last = last_result(b, w->readings[i].name);
    if (last)
      bad = change_of(w, b, &w->readings[i], last, &list[w->page.change_count]);
  }
  w->page.changes = list;
  if (bad || !w->page.change_count)
    return bad;
  lu_finding *then = as_found(w, b);
  if (!then)
    return no_room(w->s);
  w->page.cleared = suspects_of(w, then, w->page.finding, false);
  w->page.remaining = suspects_of(w, w->page.finding, then, true);
  w->page.fresh = suspects_of(w, w->page.finding, then, false);
  return LU_OK;
}

/* --- verification ----------------------------------------------------------------------------------------- */

static const char *names_of(lu_page_work *w, const json_t *list)
{
  const char *text = NULL;
  for (size_t i = 0; i < json_array_size(list); i++)
    if (json_is_string(json_array_get(list, i)))
      text = lu_arena_printf(w->s->mem, "%s%s%s", text ? text : "", text ? ", " : "", json_string_value(json_array_get(list, i)));
  return text;
}

/* "open 120 of 124, stuck 60 of 60" */
static const char *lines_of(lu_page_work *w, const json_t *lines)
{
  const char *text = NULL, *kind;
  json_t *x;
  json_object_foreach((json_t *)(uintptr_t)lines, kind, x) {
    json_int_t of = json_integer_value(json_object_get(x, "of"));
    if (of)
      text = lu_arena_printf(w->s->mem, "%s%s%s %" JSON_INTEGER_FORMAT " of %" JSON_INTEGER_FORMAT, text ? text : "", text ? ", " : "", kind,
                             json_integer_value(json_object_get(x, "detected")), of);
  }
  return text;
}

static int64_t figure(const json_t *body, const char *key)
{
  return (int64_t)json_integer_value(json_object_get(body, key));
}

static bool check_of(lu_page_work *w, const lu_job_entry *e, bool before_repair, lu_page_check *c)
{
  json_error_t je;
  json_t *body = json_loads(e->body, 0, &je), *coverage = json_object_get(body, "coverage");
  const char *block = json_string_value(json_object_get(body, "block")), *verdict = json_string_value(json_object_get(body, "verdict"));
  lu_arena *mem = w->s->mem;
  *c = (lu_page_check){.id = e->id, .at = e->at, .before_repair = before_repair};
  c->block = lu_arena_printf(mem, "%s", block ? block : "the memory");
  c->verdict = lu_arena_printf(mem, "%s", verdict ? verdict : "no verdict");
  bool ram = figure(body, "writes") > 0, passed = verdict && !strcmp(verdict, "pass");
  c->figures = lu_arena_printf(mem, "%" PRId64 " words, %" PRId64 " reads, %" PRId64 " writes, %" PRId64 " errors, %" PRId64 " rounds, %.0f seconds",
                               figure(body, "words"), figure(body, "reads"), figure(body, "writes"), figure(body, "errors"), figure(body, "rounds"),
                               json_number_value(json_object_get(body, "seconds")));
  c->patterns = names_of(w, json_object_get(coverage, "patterns"));
  const char *lines = lines_of(w, json_object_get(coverage, "lines")), *cells = names_of(w, json_object_get(coverage, "cells"));
  if (passed && ram)
    c->proves = lu_arena_printf(mem, "This proves that the cells kept what the patterns wrote, and that the lines to them carried it, at the speed, supply and "
                                     "temperature of that hour.%s%s%s%s%s%s", lines ? " Single line faults that would have shown: " : "", lines ? lines : "",
                                lines ? "." : "", cells ? " Cell faults that would have shown: " : "", cells ? cells : "", cells ? "." : "");
  else if (passed)
    c->proves = "This proves that the contents came out as they must be, every bit, at that speed.";
  if (passed)
    c->left = "It does not prove other speeds and temperatures, a contact that fails when the board is moved, or what the patterns do not reach.";
  json_decref(body);
  return c->block && c->verdict && c->figures;
}

static lu_status fill_checks(lu_page_work *w, const lu_bench *b)
{
  lu_page_check *list = LU_NEW(w->s->mem, lu_page_check, b->count + 1);
  uint64_t repair = lu_bench_last_repair(b);
  for (size_t i = b->count; list && i-- > 0;) {
    if (strcmp(b->entries[i].kind, "verify"))
      continue;
    if (!check_of(w, &b->entries[i], b->entries[i].id < repair, &list[w->page.check_count++]))
      return no_room(w->s);
  }
  w->page.checks = list;
  return list ? LU_OK : no_room(w->s);
}

/* --- worksheet -------------------------------------------------------------------------------------------- */

static lu_page_task task_of(const lu_standing *st, const lu_proposal *p)
{
  static const lu_page_task blank[] = {{.boxes = {"joined", "open"}, .unit = "ohms"},
                                       {.boxes = {"toggling", "floating", "low", "high"}, .unit = "volts"},
                                       {.boxes = {"clean", "bent", "corroded"}}};
  static const char *const how[] = {"Power off, meter: ", "Power on, logic probe: ", "Look at "};
  const lu_reading_at *r = &p->reading;
  lu_arena *mem = st->bench->s->mem;
  lu_page_task t = blank[r->kind];
  const char *from = lu_point_words(st, &r->from), *to = r->kind == LU_PROBE_CONTINUITY ? lu_point_words(st, &r->to) : NULL;
  t.what = lu_arena_printf(mem, "%s%s%s%s", how[r->kind], from ? from : "?", to ? " to " : "", to ? to : "");
  const char *a = lu_point_short(st, &r->from), *b = to ? lu_point_short(st, &r->to) : NULL;
  t.reason = lu_arena_printf(mem, "%s%s%s", a, b ? " to " : "", b ? b : "");
  return t;
}

static lu_status fill_sheet(lu_page_work *w, lu_standing *st)
{
  lu_proposal p[LU_SHEET_MOST];
  size_t count = lu_probe_next(st->probe, 7, TASKS_SHOWN, p), n;
  while (count && p[count - 1].gain_bits < worth_bits)
    count--;
  lu_page_task *tasks = LU_NEW(w->s->mem, lu_page_task, count + 1);
  const lu_suspicion *g = lu_probe_guesses(st->probe, &n);
  lu_page_guess *guesses = LU_NEW(w->s->mem, lu_page_guess, GUESSES_SHOWN);
  if (!tasks || !guesses)
    return no_room(w->s);
  for (size_t i = 0; i < count; i++)
    tasks[i] = task_of(st, &p[i]);
  for (size_t i = 0; i < n && i < GUESSES_SHOWN && g[i].probability >= shown_share; i++)
    guesses[w->page.guess_count++] = (lu_page_guess){lu_hop_words(st, &g[i]), g[i].probability};
  w->page.tasks = tasks;
  w->page.task_count = count;
  w->page.guesses = guesses;
  return LU_OK;
}

lu_status lu_page_fill_job(lu_page_work *w, lu_bench *b)
{
  lu_status bad = fill_events(w, b);
  lu_standing st = {0};
  w->page.has_job = true;
  if (!bad)
    bad = fill_checks(w, b);
  if (!bad && !w->plain && !w->page.owner)
    bad = fill_changes(w, b);
  if (bad || w->plain || !w->reading_count)
    return bad;
  bad = lu_standing_of(b, &(lu_standing_args){0}, &st);
  if (!bad && st.query.story_count)
    bad = fill_sheet(w, &st);
  lu_standing_free(&st);
  return bad;
}
