/* SPDX-License-Identifier: MIT */
/* The report page's share of a job: readings to judge, worksheet, history. */
#include "cli/pagefill.h"
#include "cli/probewords.h"

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

/* The readings of one dump entry, from the job's own files. */
static lu_status read_entry(lu_bench *b, const lu_job_entry *dump, lu_reading **out, size_t *count)
{
  lu_session *s = b->s;
  json_error_t je;
  json_t *how = json_loads(dump->body, 0, &je), *names = json_object_get(how, "dumps");
  static const char *const keys[] = {"block", "vantage", "at", "expect", "wrote", "log", "byte_order", "signals", "run"};
  const char *value[9] = {0};
  lu_texts *t = LU_NEW(s->mem, lu_texts, 1);
  for (size_t i = 0; i < 9; i++) {
    const char *v = json_string_value(json_object_get(how, keys[i]));
    value[i] = v ? lu_arena_printf(s->mem, "%s", v) : NULL;
  }
  for (size_t i = 0; t && i < json_array_size(names) && i < LU_TEXTS_MOST; i++) {
    const char *v = json_string_value(json_array_get(names, i));
    t->at[t->count++] = lu_arena_printf(s->mem, "%s", v ? v : "");
  }
  lu_reading_args r = {.block = value[0], .vantage = value[1], .at = value[2], .expect = value[3], .wrote = value[4], .log = value[5],
                       .order = value[6], .signals = value[7], .width = (uint64_t)json_integer_value(json_object_get(how, "width"))};
  json_decref(how);
  if (!t)
    return no_room(s);
  b->focus = dump;
  *count = 1;
  return value[8] ? lu_readings_of_run(s, value[8], out, count) : lu_readings_of_args(s, &r, t, out);
}

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

static uint64_t last_repair(const lu_bench *b)
{
  for (size_t i = b->count; i-- > 0;)
    if (!strcmp(b->entries[i].kind, "repair"))
      return b->entries[i].id;
  return 0;
}

lu_status lu_page_job_state(lu_bench *b, lu_page_state *out)
{
  const lu_job_entry *dumps[RESULTS_MOST];
  uint64_t repair = last_repair(b);
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
    lu_status bad = read_entry(b, dumps[i], &some, &got);
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
  if (bad || w->plain || !w->reading_count)
    return bad;
  bad = lu_standing_of(b, &(lu_standing_args){0}, &st);
  if (!bad && st.query.story_count)
    bad = fill_sheet(w, &st);
  lu_standing_free(&st);
  return bad;
}
