/* SPDX-License-Identifier: MIT */
#include "cli/standing.h"

#include "base/tally.h"
#include <jansson.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { STORIES_MOST = 512, JOIN_MOST = 24, RESULTS_MOST = 64 };

/* A fault that two results both tell of was paid for twice: its prior, roughly. */
static const double shared_prior = 1e-3;

static const struct {
  const char *word;
  uint8_t kind, seen;
  bool main; /* the word that is shown */
} words[] = {
    {"open", LU_PROBE_CONTINUITY, LU_SEEN_OPEN, true},      {"joined", LU_PROBE_CONTINUITY, LU_SEEN_JOINED, true},
    {"doubtful", LU_PROBE_CONTINUITY, LU_SEEN_DOUBTFUL, true}, {"toggling", LU_PROBE_LEVEL, LU_SEEN_TOGGLING, true},
    {"floating", LU_PROBE_LEVEL, LU_SEEN_FLOATING, true},   {"low", LU_PROBE_LEVEL, LU_SEEN_LOW, true},
    {"high", LU_PROBE_LEVEL, LU_SEEN_HIGH, true},           {"clean", LU_PROBE_LOOK, LU_SEEN_SOUND, true},
    {"fitted", LU_PROBE_LOOK, LU_SEEN_SOUND, false},        {"corroded", LU_PROBE_LOOK, LU_SEEN_BAD, true},
    {"bent", LU_PROBE_LOOK, LU_SEEN_BAD, false},
};

const char *lu_seen_text(unsigned kind, unsigned seen)
{
  for (size_t i = 0; i < sizeof words / sizeof *words; i++)
    if (words[i].kind == kind && words[i].seen == seen && words[i].main)
      return words[i].word;
  return "?";
}

bool lu_seen_named(const char *word, uint8_t *kind, uint8_t *seen)
{
  for (size_t i = 0; word && i < sizeof words / sizeof *words; i++)
    if (!strcmp(words[i].word, word)) {
      *kind = words[i].kind;
      *seen = words[i].seen;
      return true;
    }
  return false;
}

/* --- results ------------------------------------------------------------------------------------------- */

static const char *text_of(const json_t *o, const char *key)
{
  return json_string_value(json_object_get(o, key));
}

static bool blocks_covered(json_t *blocks, json_t *covered)
{
  bool all = json_array_size(blocks) > 0;
  for (size_t i = 0; i < json_array_size(blocks); i++)
    all &= json_object_get(covered, json_string_value(json_array_get(blocks, i))) != NULL;
  for (size_t i = 0; i < json_array_size(blocks); i++)
    json_object_set_new(covered, json_string_value(json_array_get(blocks, i)), json_true());
  return all;
}

static uint32_t *pins_of(const lu_standing *s, const json_t *list, size_t *count)
{
  uint32_t *pins = LU_NEW(s->bench->s->mem, uint32_t, json_array_size(list) + 1);
  *count = 0;
  for (size_t i = 0; pins && i < json_array_size(list); i++) {
    const char *name = json_string_value(json_array_get(list, i));
    uint32_t pin = name ? lu_board_pin(s->bench->s->board, name) : LU_NONE;
    if (pin != LU_NONE)
      pins[(*count)++] = pin;
  }
  return pins;
}

static bool cause_of(const lu_standing *s, const json_t *f, lu_cause *c)
{
  static const char *const kinds[] = {"open", "stuck", "bridge", "swap", "dead", "cell", "row", "column"};
  const lu_board *b = s->bench->s->board;
  const char *kind = text_of(f, "kind"), *net = text_of(f, "net"), *level = text_of(f, "level");
  const char *part = text_of(f, "part") ? text_of(f, "part") : text_of(f, "at");
  json_t *nets = json_object_get(f, "nets");
  *c = (lu_cause){.kind = UINT8_MAX, .net = LU_NONE, .net2 = LU_NONE, .part = LU_NONE};
  for (uint8_t k = 0; kind && k < sizeof kinds / sizeof *kinds; k++)
    if (!strcmp(kinds[k], kind))
      c->kind = k;
  c->level = level && !strcmp(level, "low") ? LU_LEVEL_LOW : LU_LEVEL_HIGH;
  if (net)
    c->net = lu_board_net(b, net);
  if (json_array_size(nets) == 2) {
    const char *one = json_string_value(json_array_get(nets, 0)), *two = json_string_value(json_array_get(nets, 1));
    c->net = one ? lu_board_net(b, one) : LU_NONE;
    c->net2 = two ? lu_board_net(b, two) : LU_NONE;
  }
  if (part)
    c->part = lu_board_part(b, part);
  c->cut = pins_of(s, json_object_get(f, "cut_off"), &c->cut_count);
  if (c->kind == UINT8_MAX || !c->cut)
    return false;
  bool two_nets = lu_fault_two_nets(c->kind);
  return c->kind >= LU_FAULT_DEAD ? c->part != LU_NONE : c->net != LU_NONE && (!two_nets || c->net2 != LU_NONE);
}

static size_t stories_of(const lu_standing *s, const json_t *finding, lu_story *out)
{
  json_t *list = json_object_get(finding, "explanations");
  size_t n = 0;
  for (size_t i = 0; i < json_array_size(list) && n < STORIES_MOST; i++) {
    json_t *e = json_array_get(list, i), *faults = json_object_get(e, "faults");
    lu_cause *c = LU_NEW(s->bench->s->mem, lu_cause, json_array_size(faults) + 1);
    size_t count = 0;
    for (size_t k = 0; c && k < json_array_size(faults); k++)
      count += cause_of(s, json_array_get(faults, k), &c[count]);
    if (count)
      out[n++] = (lu_story){json_real_value(json_object_get(e, "probability")), count, c};
  }
  return n;
}

static bool same_cause(const lu_cause *a, const lu_cause *b)
{
  return a->kind == b->kind && a->net == b->net && a->net2 == b->net2 && a->part == b->part && a->cut_count == b->cut_count &&
         !memcmp(a->cut, b->cut, a->cut_count * sizeof *a->cut) && (a->kind != LU_FAULT_STUCK || a->level == b->level);
}

static lu_story join_two(lu_arena *mem, const lu_story *x, const lu_story *y)
{
  lu_cause *c = LU_NEW(mem, lu_cause, x->count + y->count);
  lu_story out = {.probability = x->probability * y->probability, .count = x->count, .causes = c};
  if (!c)
    return (lu_story){0};
  memcpy(c, x->causes, x->count * sizeof *c);
  for (size_t i = 0; i < y->count; i++) {
    bool shared = false;
    for (size_t k = 0; k < x->count && !shared; k++)
      shared = same_cause(&x->causes[k], &y->causes[i]);
    if (shared)
      out.probability /= shared_prior;
    else
      c[out.count++] = y->causes[i];
  }
  return out;
}

static int by_probability(const void *a, const void *b)
{
  const lu_story *x = a, *y = b;
  return (x->probability < y->probability) - (x->probability > y->probability);
}

/* Stories of two results that were judged apart: every pair, as if their dumps were independent. */
static size_t join(lu_arena *mem, lu_story *x, size_t n, const lu_story *y, size_t m)
{
  if (!n || !m) {
    memcpy(x + n, y, m * sizeof *y);
    return n + m;
  }
  n = n < JOIN_MOST ? n : JOIN_MOST;
  m = m < JOIN_MOST ? m : JOIN_MOST;
  lu_story *all = LU_NEW(mem, lu_story, n * m);
  for (size_t i = 0; all && i < n; i++)
    for (size_t k = 0; k < m; k++)
      all[i * m + k] = join_two(mem, &x[i], &y[k]);
  if (!all)
    return n;
  qsort(all, n * m, sizeof *all, by_probability);
  size_t keep = n * m < STORIES_MOST ? n * m : STORIES_MOST;
  memcpy(x, all, keep * sizeof *all);
  return keep;
}

static size_t stakes_of(const lu_standing *s, const json_t *nets, lu_stake *out, size_t count, size_t most)
{
  const lu_board *b = s->bench->s->board;
  for (size_t i = 0; i < json_array_size(nets) && count < most; i++) {
    json_t *n = json_array_get(nets, i);
    const char *name = text_of(n, "net");
    lu_stake k = {.net = name ? lu_board_net(b, name) : LU_NONE};
    k.pins = pins_of(s, json_object_get(n, "pins"), &k.pin_count);
    k.drivers = pins_of(s, json_object_get(n, "drivers"), &k.driver_count);
    size_t at = 0;
    while (at < count && out[at].net != k.net)
      at++;
    if (k.net == LU_NONE || !k.pins || !k.drivers)
      continue;
    if (at == count)
      out[count++] = k;
    else if (out[at].pin_count < k.pin_count)
      out[at] = k;
  }
  return count;
}

static lu_status take_results(lu_standing *s, bool as_read)
{
  lu_arena *mem = s->bench->s->mem;
  enum { STAKES_MOST = 4096 };
  json_t *covered = json_object();
  lu_story *all = LU_NEW(mem, lu_story, 2 * STORIES_MOST), *one = LU_NEW(mem, lu_story, STORIES_MOST);
  lu_stake *stakes = LU_NEW(mem, lu_stake, STAKES_MOST);
  s->findings = LU_NEW(mem, json_t *, RESULTS_MOST);
  size_t n = 0;
  if (!all || !one || !stakes || !s->findings)
    return lu_fail(&s->bench->s->err, LU_ERR_NOMEM, 0, 0, "no room");
  s->repair = lu_bench_last_repair(s->bench);
  for (size_t i = s->bench->count; i-- > 0 && s->result_count < RESULTS_MOST;) {
    const lu_job_entry *e = &s->bench->entries[i];
    json_error_t je;
    if (strcmp(e->kind, "result"))
      continue;
    json_t *body = json_loads(e->body, 0, &je), *finding = json_object_get(body, "finding");
    if (finding && !blocks_covered(json_object_get(body, "blocks"), covered)) {
      if (e->id < s->repair && !as_read) {
        s->stale_count++;
      } else {
        s->findings[s->result_count++] = json_incref(finding);
        n = join(mem, all, n, one, stories_of(s, finding, one));
        s->query.stake_count = stakes_of(s, json_object_get(body, "nets"), stakes, s->query.stake_count, STAKES_MOST);
      }
    }
    json_decref(body);
  }
  json_decref(covered);
  s->query.stories = all;
  s->query.story_count = n;
  s->query.stakes = stakes;
  return LU_OK;
}

/* --- readings ------------------------------------------------------------------------------------------- */

static bool taken_back(const lu_bench *b, uint64_t id)
{
  bool back = false;
  for (size_t i = id; i < b->count && !back; i++) {
    json_error_t je;
    if (strcmp(b->entries[i].kind, "undo"))
      continue;
    json_t *body = json_loads(b->entries[i].body, 0, &je);
    back = json_integer_value(json_object_get(body, "of")) == (json_int_t)id;
    json_decref(body);
  }
  return back;
}

/* A later repair worked on one of the reading's nets. */
static bool overtaken(const lu_bench *b, uint64_t id, const lu_reading_at *r)
{
  bool hit = false;
  for (size_t i = id; i < b->count && !hit; i++) {
    json_error_t je;
    if (strcmp(b->entries[i].kind, "repair"))
      continue;
    json_t *body = json_loads(b->entries[i].body, 0, &je), *nets = json_object_get(body, "nets");
    for (size_t k = 0; k < json_array_size(nets) && !hit; k++) {
      const char *name = json_string_value(json_array_get(nets, k));
      uint32_t net = name ? lu_board_net(b->s->board, name) : LU_NONE;
      hit = net == r->from.net || net == r->to.net;
    }
    json_decref(body);
  }
  return hit;
}

static bool reading_of(lu_bench *b, const lu_job_entry *e, lu_reading_at *r)
{
  json_error_t je;
  json_t *body = json_loads(e->body, 0, &je);
  const char *from = text_of(body, "from"), *to = text_of(body, "to"), *seen = text_of(body, "seen");
  *r = (lu_reading_at){.id = e->id};
  bool ok = from && lu_seen_named(seen, &r->kind, &r->seen) && lu_point_named(b->s->board, from, &r->from, NULL) == LU_OK;
  r->to = r->from;
  ok = ok && (!to || lu_point_named(b->s->board, to, &r->to, NULL) == LU_OK);
  json_decref(body);
  return ok;
}

static lu_status take_readings(lu_standing *s)
{
  lu_bench *b = s->bench;
  lu_reading_at *list = LU_NEW(b->s->mem, lu_reading_at, b->count + 1);
  size_t n = 0;
  if (!list)
    return lu_fail(&b->s->err, LU_ERR_NOMEM, 0, 0, "no room");
  for (size_t i = 0; i < b->count; i++)
    if (!strcmp(b->entries[i].kind, "reading") && !taken_back(b, i + 1) && reading_of(b, &b->entries[i], &list[n]) &&
        !overtaken(b, i + 1, &list[n]))
      n++;
  s->query.taken = list;
  s->query.taken_count = n;
  return LU_OK;
}

static lu_status set_costs(lu_standing *s, const lu_texts *given)
{
  const char *names[LU_COST_COUNT];
  lu_costs_default(&s->costs);
  for (size_t i = 0; i < LU_COST_COUNT; i++)
    names[i] = lu_cost_text((lu_cost_name)i);
  for (size_t i = 0; given && i < given->count; i++) {
    char name[64];
    const char *eq = strchr(given->at[i], '=');
    char *end = NULL;
    double v = eq ? strtod(eq + 1, &end) : NAN;
    size_t len = eq ? (size_t)(eq - given->at[i]) : 0, k = 0;
    if (!eq || !eq[1] || *end || !(v >= 0 && v <= 1e6) || len >= sizeof name)
      return lu_fail(&s->bench->s->err, LU_ERR_USAGE, 0, 0, "--cost expects NAME=NUMBER, found '%.60s'", given->at[i]);
    memcpy(name, given->at[i], len);
    name[len] = '\0';
    while (k < LU_COST_COUNT && strcmp(names[k], name))
      k++;
    if (k == LU_COST_COUNT) {
      const char *near = lu_text_nearest(name, names, LU_COST_COUNT);
      return lu_fail(&s->bench->s->err, LU_ERR_USAGE, 0, 0, "no cost '%.60s'%s%s; they are continuity, level, look, chip, via, turn, power, pull",
                     name, near ? "; the nearest is " : "", near ? near : "");
    }
    if (k <= LU_COST_look && v < 0.01)
      return lu_fail(&s->bench->s->err, LU_ERR_USAGE, 0, 0, "--cost %s: a reading costs at least 0.01", names[k]);
    s->costs.value[k] = v;
  }
  return LU_OK;
}

lu_status lu_standing_of(lu_bench *b, const lu_standing_args *a, lu_standing *out)
{
  *out = (lu_standing){.bench = b};
  lu_status bad = set_costs(out, a->costs);
  if (!bad)
    bad = lu_priors_of(b->s->board, &out->priors, &b->s->err);
  if (!bad)
    bad = take_results(out, a->as_read);
  if (!bad)
    bad = take_readings(out);
  out->query.board = b->s->board;
  out->query.priors = &out->priors;
  out->query.costs = &out->costs;
  out->query.meter_error = a->meter_error > 0 ? a->meter_error : 0.02;
  lu_tally_begin("readings weighed", 0);
  if (!bad)
    bad = lu_probe_new(&out->query, b->s->mem, &out->probe, &b->s->err);
  lu_tally_end();
  return bad;
}

void lu_standing_free(lu_standing *s)
{
  for (size_t i = 0; i < s->result_count; i++)
    json_decref(s->findings[i]);
  s->result_count = 0;
}
