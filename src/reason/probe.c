/* SPDX-License-Identifier: MIT */
#include "reason/probe.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { GUESSES_ROOM = 4096, READINGS_MOST = 20000, PAIR_POINTS_MOST = 48, LOOK_AHEAD_MOST = 256 };

/* Measuring the same again tells less than measuring elsewhere: what was wrong once may be again. */
static const double again_cost = 1.5;
/* Looking further ahead: hypotheses and readings in question, readings tried, and how deep before it is guessed. */
enum { AHEAD_MOST = 64, AHEAD_MASKS_MOST = 256, AHEAD_TRIED = 12, AHEAD_DEPTH = 20 };
#define AHEAD_SHARE 1e-4
/* A weight below this share is let go: it would take many contradicting readings to matter. */
static const double least_share = 1e-9;
/* How much less likely than its neighbour a hypothesis is that was made up for a surprising reading. */
static const double surprise_share = 1e-3;
static const double surprising = 0.1;

/* Levels: row = truth, column = seen: toggling, floating, low, high. A floating TTL input shows high on
 * many logic probes, and picks up its neighbours. Judgement, no source. */
static const double level_confusion[16] = {0.94, 0.02, 0.02, 0.02, 0.08, 0.60, 0.07, 0.25,
                                           0.03, 0.02, 0.93, 0.02, 0.03, 0.02, 0.02, 0.93};
/* Looks: sound, bad. Half of the bad contacts look sound. Judgement, no source. */
static const double look_confusion[4] = {0.95, 0.05, 0.50, 0.50};

typedef struct hypothesis {
  uint8_t count;
  uint16_t guess[LU_GUESSES_MOST]; /* ascending */
} hypothesis;

struct lu_probe {
  const lu_board *board;
  const lu_priors *priors;
  lu_costs costs;
  double meter_error;
  lu_arena *mem;
  size_t wire_count, guess_count, count;
  lu_wire wires[LU_WIRES_MOST];
  lu_suspicion *guesses;       /* by number; sorted[] is the order shown */
  lu_suspicion *sorted;
  hypothesis *h;
  double *p;               /* [count] */
  int8_t *predicts;        /* scratch [count] */
  int8_t *alone;           /* scratch [guess_count] */
  uint32_t *table;         /* hash -> hypothesis + 1 */
  const char **questions;
  size_t question_count, question_room;
  lu_reading_at last;      /* the last reading taken: where the tips are */
  bool have_last;
  size_t done_count, done_room;
  lu_reading_at *done;     /* readings taken */
  lu_reading_at *field;    /* [READINGS_MOST], those in question */
  uint32_t *part, *map;    /* scratch of lu_probe_next */
  double *scratch;
};

static const struct {
  const char *name;
  double value;
  const char *reason;
} cost_rows[] = {
#define LU_COST(name, value, reason) {#name, value, reason},
#include "reason/costs.def"
#undef LU_COST
};

void lu_costs_default(lu_costs *out)
{
  for (size_t i = 0; i < LU_COST_COUNT; i++)
    out->value[i] = cost_rows[i].value;
}

const char *lu_cost_text(lu_cost_name name)
{
  return cost_rows[name].name;
}

const char *lu_cost_reason(lu_cost_name name)
{
  return cost_rows[name].reason;
}

/* --- hypotheses -------------------------------------------------------------------------------------- */

static size_t find_guess(lu_probe *p, const lu_suspicion *g)
{
  for (size_t i = 0; i < p->guess_count; i++) {
    const lu_suspicion *x = &p->guesses[i];
    if (x->kind == g->kind && x->level == g->level && x->wire == g->wire && x->hop == g->hop && x->net == g->net &&
        x->net2 == g->net2 && x->part == g->part)
      return i;
  }
  if (p->guess_count == GUESSES_ROOM)
    return SIZE_MAX;
  p->guesses[p->guess_count] = *g;
  return p->guess_count++;
}

static void add_to(hypothesis *h, uint16_t guess)
{
  size_t at = h->count;
  for (size_t i = 0; i < h->count; i++)
    if (h->guess[i] == guess)
      return;
  if (h->count == LU_GUESSES_MOST)
    return;
  for (; at > 0 && h->guess[at - 1] > guess; at--)
    h->guess[at] = h->guess[at - 1];
  h->guess[at] = guess;
  h->count++;
}

static uint32_t hash_of(const hypothesis *h)
{
  uint32_t x = 2166136261u; /* FNV-1a */
  for (size_t i = 0; i < h->count; i++) {
    x = (x ^ (h->guess[i] & 0xff)) * 16777619u;
    x = (x ^ (h->guess[i] >> 8)) * 16777619u;
  }
  return x;
}

static void add_hypothesis(lu_probe *p, const hypothesis *h, double weight)
{
  uint32_t mask = 4 * LU_HYPOTHESES_MOST - 1, at = hash_of(h) & mask;
  for (; p->table[at]; at = (at + 1) & mask) {
    const hypothesis *x = &p->h[p->table[at] - 1];
    if (x->count == h->count && !memcmp(x->guess, h->guess, h->count * sizeof *h->guess)) {
      p->p[p->table[at] - 1] += weight;
      return;
    }
  }
  if (p->count == LU_HYPOTHESES_MOST)
    return;
  p->h[p->count] = *h;
  p->p[p->count++] = weight;
  p->table[at] = (uint32_t)p->count;
}

/* --- from causes to guesses ------------------------------------------------------------------------------ */

static lu_wire *wire_of(lu_probe *p, const lu_probe_query *q, uint32_t net, lu_err *err)
{
  for (size_t i = 0; i < p->wire_count; i++)
    if (p->wires[i].net == net)
      return &p->wires[i];
  lu_stake none = {.net = net};
  const lu_stake *s = &none;
  for (size_t i = 0; i < q->stake_count; i++)
    if (q->stakes[i].net == net)
      s = &q->stakes[i];
  if (p->wire_count == LU_WIRES_MOST ||
      lu_wire_of(p->board, p->priors, net, s->pins, s->pin_count, s->drivers, s->driver_count, p->mem, &p->wires[p->wire_count], err))
    return NULL;
  return &p->wires[p->wire_count++];
}

/* The hop leaves exactly these pins of interest on one side. */
static bool hop_fits(const lu_wire *w, const lu_hop *h, const lu_cause *c)
{
  bool as_said = true, other_way = true;
  for (size_t i = 0; i < w->point_count; i++) {
    if (!lu_point_in(&w->interest, i))
      continue;
    bool off = false, behind = lu_point_in(&h->cut, i);
    for (size_t k = 0; k < c->cut_count; k++)
      off |= c->cut[k] == w->points[i].pin;
    as_said &= behind == off;
    other_way &= behind != off;
  }
  return as_said || other_way;
}

typedef struct choice {
  size_t count;
  uint16_t guess[LU_HOPS_MOST];
  double share[LU_HOPS_MOST];
} choice;

static void open_choices(lu_probe *p, const lu_probe_query *q, const lu_cause *c, choice *out)
{
  double sum = 0;
  lu_wire *w = wire_of(p, q, c->net, NULL);
  if (!w)
    return;
  for (size_t pass = 0; pass < 2 && !out->count; pass++) {
    if (pass && lu_wire_cut(w, p->board, c->cut, c->cut_count, p->priors->value[LU_PRIOR_track]) == SIZE_MAX)
      return;
    for (size_t k = 0; k < w->hop_count; k++) {
      if (!hop_fits(w, &w->hops[k], c))
        continue;
      lu_suspicion g = {.kind = LU_FAULT_OPEN, .wire = (uint16_t)(w - p->wires), .hop = (uint16_t)k, .net = c->net, .net2 = LU_NONE, .part = LU_NONE};
      size_t at = find_guess(p, &g);
      if (at == SIZE_MAX)
        continue;
      out->guess[out->count] = (uint16_t)at;
      out->share[out->count++] = w->hops[k].prior;
      sum += w->hops[k].prior;
    }
  }
  for (size_t i = 0; i < out->count; i++)
    out->share[i] /= sum;
}

static void choices_of(lu_probe *p, const lu_probe_query *q, const lu_cause *c, choice *out)
{
  out->count = 0;
  if (c->kind == LU_FAULT_OPEN) {
    open_choices(p, q, c, out);
    if (out->count)
      return;
  }
  lu_suspicion g = {.kind = c->kind, .level = c->level, .wire = UINT16_MAX, .hop = UINT16_MAX, .net = c->net, .net2 = c->net2, .part = c->part};
  if (c->kind == LU_FAULT_BRIDGE && g.net > g.net2) {
    g.net = c->net2;
    g.net2 = c->net;
  }
  if (c->kind == LU_FAULT_STUCK || c->kind == LU_FAULT_BRIDGE)
    (void)wire_of(p, q, c->net, NULL);
  if (c->kind == LU_FAULT_BRIDGE)
    (void)wire_of(p, q, c->net2, NULL);
  size_t at = find_guess(p, &g);
  if (at == SIZE_MAX)
    return;
  out->guess[0] = (uint16_t)at;
  out->share[0] = 1;
  out->count = 1;
}

static void spread(lu_probe *p, const choice *all, size_t count, size_t at, hypothesis *so_far, double weight)
{
  if (weight < least_share)
    return;
  if (at == count) {
    if (so_far->count)
      add_hypothesis(p, so_far, weight);
    return;
  }
  if (!all[at].count)
    spread(p, all, count, at + 1, so_far, weight);
  for (size_t i = 0; i < all[at].count; i++) {
    hypothesis next = *so_far;
    add_to(&next, all[at].guess[i]);
    spread(p, all, count, at + 1, &next, weight * all[at].share[i]);
  }
}

static bool tell_stories(lu_probe *p, const lu_probe_query *q)
{
  choice *all = LU_NEW(p->mem, choice, LU_GUESSES_MOST);
  if (!all)
    return false;
  for (size_t s = 0; s < q->story_count; s++) {
    const lu_story *story = &q->stories[s];
    size_t n = story->count < LU_GUESSES_MOST ? story->count : LU_GUESSES_MOST;
    for (size_t i = 0; i < n; i++)
      choices_of(p, q, &story->causes[i], &all[i]);
    hypothesis none = {0};
    spread(p, all, n, 0, &none, story->probability);
  }
  return true;
}

/* --- what a hypothesis predicts ------------------------------------------------------------------------- */

static bool has_pin(const lu_board *b, const lu_point *x, uint32_t part)
{
  return x->pin != LU_NONE && b->pins[x->pin].part == part;
}

/* The net that a point is really on: an exchange at a part moves its pins. */
static uint32_t real_net(const lu_probe *p, const hypothesis *h, const lu_point *x)
{
  for (size_t i = 0; i < h->count; i++) {
    const lu_suspicion *g = &p->guesses[h->guess[i]];
    if (g->kind == LU_FAULT_SWAP && has_pin(p->board, x, g->part) && (x->net == g->net || x->net == g->net2))
      return x->net == g->net ? g->net2 : g->net;
  }
  return x->net;
}

static bool supply_of(const lu_board *b, uint32_t net, unsigned level)
{
  return level == LU_LEVEL_LOW ? b->nets[net].ground : b->nets[net].supply;
}

static bool joins(const lu_probe *p, const lu_suspicion *g, uint32_t a, uint32_t b)
{
  if (g->kind == LU_FAULT_BRIDGE)
    return (g->net == a && g->net2 == b) || (g->net == b && g->net2 == a);
  if (g->kind == LU_FAULT_STUCK)
    return (g->net == a && supply_of(p->board, b, g->level)) || (g->net == b && supply_of(p->board, a, g->level));
  return false;
}

static int joined(const lu_probe *p, const hypothesis *h, const lu_point *x, const lu_point *y)
{
  uint32_t a = real_net(p, h, x), b = real_net(p, h, y);
  if (a != b) {
    for (size_t i = 0; i < h->count; i++)
      if (joins(p, &p->guesses[h->guess[i]], a, b))
        return LU_SEEN_JOINED;
    return LU_SEEN_OPEN;
  }
  for (size_t i = 0; i < h->count; i++) {
    const lu_suspicion *g = &p->guesses[h->guess[i]];
    if (g->kind != LU_FAULT_OPEN || g->net != x->net || x->net != y->net)
      continue;
    if (g->wire == UINT16_MAX)
      continue; /* a net that is not followed hop by hop: the reading says nothing of it */
    const lu_wire *w = &p->wires[g->wire];
    size_t i1 = lu_wire_point(w, x), i2 = lu_wire_point(w, y);
    if (i1 == SIZE_MAX || i2 == SIZE_MAX)
      continue;
    if (lu_point_in(&w->hops[g->hop].cut, i1) != lu_point_in(&w->hops[g->hop].cut, i2))
      return LU_SEEN_OPEN;
  }
  return LU_SEEN_JOINED;
}

/* Some driver stands on the point's side of the hop. */
static bool driven(const lu_wire *w, const lu_hop *h, size_t point)
{
  bool side = lu_point_in(&h->cut, point), known = false;
  for (size_t i = 0; i < w->point_count; i++) {
    known |= lu_point_in(&w->drivers, i);
    if (lu_point_in(&w->drivers, i) && lu_point_in(&h->cut, i) == side)
      return true;
  }
  return !known;
}

static int level_at(const lu_probe *p, const hypothesis *h, const lu_point *x)
{
  const lu_net *n = &p->board->nets[x->net];
  int level = n->ground ? LU_SEEN_LOW : n->supply ? LU_SEEN_HIGH : LU_SEEN_TOGGLING;
  for (size_t i = 0; i < h->count; i++) {
    const lu_suspicion *g = &p->guesses[h->guess[i]];
    if (g->net != x->net && g->net2 != x->net)
      continue;
    if (g->kind == LU_FAULT_STUCK)
      return g->level == LU_LEVEL_LOW ? LU_SEEN_LOW : LU_SEEN_HIGH;
    if (g->kind == LU_FAULT_OPEN && g->wire != UINT16_MAX) {
      size_t at = lu_wire_point(&p->wires[g->wire], x);
      if (at != SIZE_MAX && !driven(&p->wires[g->wire], &p->wires[g->wire].hops[g->hop], at))
        return LU_SEEN_FLOATING;
    } /* bridged or exchanged nets still move */
  }
  return level;
}

static int looks(const lu_probe *p, const hypothesis *h, const lu_point *x)
{
  for (size_t i = 0; i < h->count; i++) {
    const lu_suspicion *g = &p->guesses[h->guess[i]];
    if (g->kind != LU_FAULT_OPEN || g->wire == UINT16_MAX || g->net != x->net)
      continue;
    const lu_wire *w = &p->wires[g->wire];
    const lu_hop *hop = &w->hops[g->hop];
    if (hop->kind != LU_HOP_TRACK && (w->points[hop->a].pin == x->pin || w->points[hop->b].pin == x->pin))
      return LU_SEEN_BAD;
  }
  return LU_SEEN_SOUND;
}

/* What a reading has nothing to do with is predicted as on a sound board. */
static int predict(const lu_probe *p, const hypothesis *h, const lu_reading_at *r)
{
  switch ((lu_probe_kind)r->kind) {
  case LU_PROBE_CONTINUITY:
    return joined(p, h, &r->from, &r->to);
  case LU_PROBE_LEVEL:
    return level_at(p, h, &r->from);
  case LU_PROBE_LOOK:
    return looks(p, h, &r->from);
  }
  return 0;
}

int lu_probe_predicts(const lu_probe *p, const lu_suspicion *g, const lu_reading_at *r)
{
  hypothesis h = {.count = 1};
  for (size_t i = 0; i < p->guess_count; i++) {
    const lu_suspicion *x = &p->guesses[i];
    if (x->kind == g->kind && x->level == g->level && x->wire == g->wire && x->hop == g->hop && x->net == g->net && x->net2 == g->net2 && x->part == g->part)
      h.guess[0] = (uint16_t)i;
  }
  return predict(p, &h, r);
}

/* Each guess alone, then hypotheses as what their guesses do: whatever departs from a sound board
 * shows. */
static lu_observation observe(lu_probe *p, const lu_reading_at *r)
{
  hypothesis h = {.count = 0};
  int sound = predict(p, &h, r);
  h.count = 1;
  for (size_t g = 0; g < p->guess_count; g++) {
    const lu_suspicion *x = &p->guesses[g];
    bool near = x->net == r->from.net || x->net2 == r->from.net || x->net == r->to.net || x->net2 == r->to.net;
    h.guess[0] = (uint16_t)g;
    p->alone[g] = (int8_t)(near ? predict(p, &h, r) : sound);
  }
  for (size_t i = 0; i < p->count; i++) {
    int8_t shows = (int8_t)sound;
    for (size_t k = 0; k < p->h[i].count; k++) {
      int8_t one = p->alone[p->h[i].guess[k]];
      shows = one != sound ? one : shows;
    }
    p->predicts[i] = shows;
  }
  lu_observation o = {.outcomes = 2, .error = p->meter_error, .predicts = p->predicts, .cost = 1};
  if (r->kind == LU_PROBE_LEVEL) {
    o.outcomes = 4;
    o.confusion = level_confusion;
  } else if (r->kind == LU_PROBE_LOOK) {
    o.confusion = look_confusion;
  }
  return o;
}

/* --- readings taken ---------------------------------------------------------------------------------------- */

static void marginals(lu_probe *p)
{
  double sum = 0;
  for (size_t i = 0; i < p->guess_count; i++)
    p->guesses[i].probability = 0;
  for (size_t i = 0; i < p->count; i++)
    sum += p->p[i];
  for (size_t i = 0; sum > 0 && i < p->count; i++) {
    p->p[i] /= sum;
    for (size_t k = 0; k < p->h[i].count; k++)
      p->guesses[p->h[i].guess[k]].probability += p->p[i];
  }
}

static void ask(lu_probe *p, const char *text)
{
  const char **q = lu_arena_grow(p->mem, (void *)(uintptr_t)p->questions, p->question_count, &p->question_room, sizeof *q);
  if (!q || !text)
    return;
  p->questions = q;
  q[p->question_count++] = text;
}

static void question(lu_probe *p, const lu_reading_at *r)
{
  const char *a = lu_point_name(p->board, &r->from, p->mem);
  if (r->kind != LU_PROBE_CONTINUITY) {
    ask(p, lu_arena_printf(p->mem, "Reading %llu at %s is not what any suspect would give: was it the right pin?", (unsigned long long)r->id, a));
    return;
  }
  const char *b = lu_point_name(p->board, &r->to, p->mem);
  if (r->seen == LU_SEEN_JOINED && r->from.net != r->to.net)
    ask(p, lu_arena_printf(p->mem, "Reading %llu: %s (%s) and %s (%s) are joined, and nothing read so far suspects that. A bridge between the "
                                   "two nets, a part that joins them, or a tip on the wrong pin?",
                           (unsigned long long)r->id, a, p->board->nets[r->from.net].name, b, p->board->nets[r->to.net].name));
  else if (r->seen == LU_SEEN_OPEN)
    ask(p, lu_arena_printf(p->mem, "Reading %llu: %s and %s are not joined, and nothing read so far suspects a break there. A second fault, or a "
                                   "tip on the wrong pin?",
                           (unsigned long long)r->id, a, b));
  else
    ask(p, lu_arena_printf(p->mem, "Reading %llu: %s and %s are joined, though every explanation has a break between them. An intermittent "
                                   "contact, or a tip on the wrong pin?",
                           (unsigned long long)r->id, a, b));
}

/* Hypotheses with one more fault, which would give a reading that nothing foresaw. */
static void widen(lu_probe *p, const lu_probe_query *q, const lu_reading_at *r)
{
  if (r->kind != LU_PROBE_CONTINUITY)
    return;
  choice *c = LU_NEW(p->mem, choice, 1);
  if (!c)
    return;
  if (r->seen == LU_SEEN_JOINED && r->from.net != r->to.net) {
    lu_cause cause = {.kind = LU_FAULT_BRIDGE, .net = r->from.net, .net2 = r->to.net, .part = LU_NONE};
    choices_of(p, q, &cause, c);
  } else if (r->seen == LU_SEEN_OPEN && r->from.net == r->to.net) {
    lu_wire *w = wire_of(p, q, r->from.net, NULL);
    size_t a = w ? lu_wire_point(w, &r->from) : SIZE_MAX, b = w ? lu_wire_point(w, &r->to) : SIZE_MAX;
    double sum = 0;
    for (size_t k = 0; a != SIZE_MAX && b != SIZE_MAX && k < w->hop_count; k++) {
      if (lu_point_in(&w->hops[k].cut, a) == lu_point_in(&w->hops[k].cut, b))
        continue;
      lu_suspicion g = {.kind = LU_FAULT_OPEN, .wire = (uint16_t)(w - p->wires), .hop = (uint16_t)k, .net = r->from.net, .net2 = LU_NONE, .part = LU_NONE};
      size_t at = find_guess(p, &g);
      if (at == SIZE_MAX)
        continue;
      c->guess[c->count] = (uint16_t)at;
      c->share[c->count++] = w->hops[k].prior;
      sum += w->hops[k].prior;
    }
    for (size_t i = 0; i < c->count; i++)
      c->share[i] /= sum;
  }
  size_t before = p->count;
  for (size_t i = 0; i < before; i++)
    if (p->p[i] > 1e-4)
      for (size_t k = 0; k < c->count; k++) {
        hypothesis more = p->h[i];
        add_to(&more, c->guess[k]);
        add_hypothesis(p, &more, p->p[i] * surprise_share * c->share[k]);
      }
}

/* DOUBTFUL: eight to one for a break in between. */
static double take_doubtful(lu_probe *p, const lu_reading_at *r)
{
  (void)observe(p, r);
  for (size_t i = 0; i < p->count; i++)
    p->p[i] *= p->predicts[i] == LU_SEEN_OPEN ? 0.08 : 0.01;
  return 1;
}

double lu_probe_take(lu_probe *p, const lu_reading_at *r)
{
  double chance = 1;
  if (r->kind == LU_PROBE_CONTINUITY && r->seen == LU_SEEN_DOUBTFUL) {
    chance = take_doubtful(p, r);
  } else {
    lu_observation o = observe(p, r);
    chance = lu_diagnosis_update(p->p, p->count, &o, r->seen);
  }
  marginals(p);
  p->last = *r;
  p->have_last = true;
  lu_reading_at *done = lu_arena_grow(p->mem, p->done, p->done_count, &p->done_room, sizeof *done);
  if (done) {
    p->done = done;
    done[p->done_count++] = *r;
  }
  return chance;
}

bool lu_probe_would(lu_probe *p, const lu_reading_at *r, unsigned seen, lu_suspicion *out)
{
  double *kept = LU_NEW(p->mem, double, p->count + 1);
  if (!kept || !p->count)
    return false;
  memcpy(kept, p->p, p->count * sizeof *kept);
  lu_observation o = observe(p, r);
  lu_diagnosis_update(p->p, p->count, &o, seen);
  marginals(p);
  size_t best = SIZE_MAX;
  for (size_t g = 0; g < p->guess_count; g++) {
    const lu_suspicion *x = &p->guesses[g];
    bool near = x->net == r->from.net || x->net2 == r->from.net || x->net == r->to.net || x->net2 == r->to.net;
    if (near && (best == SIZE_MAX || x->probability > p->guesses[best].probability))
      best = g;
  }
  *out = p->guesses[best == SIZE_MAX ? 0 : best];
  memcpy(p->p, kept, p->count * sizeof *kept);
  marginals(p);
  return true;
}

static void take_all(lu_probe *p, const lu_probe_query *q)
{
  for (size_t i = 0; i < q->taken_count; i++) {
    const lu_reading_at *r = &q->taken[i];
    if (r->kind == LU_PROBE_CONTINUITY && r->seen == LU_SEEN_DOUBTFUL) {
      lu_probe_take(p, r);
      continue;
    }
    lu_observation o = observe(p, r);
    double out[LU_OUTCOMES_MOST];
    lu_diagnosis_outcomes(p->p, p->count, &o, out);
    bool odd = p->count && out[r->seen] < surprising;
    if (odd) {
      question(p, r);
      widen(p, q, r);
    }
    lu_probe_take(p, r);
  }
}

static int by_probability(const void *a, const void *b)
{
  const lu_suspicion *x = a, *y = b;
  if (x->probability != y->probability)
    return x->probability > y->probability ? -1 : 1;
  if (x->net != y->net)
    return x->net < y->net ? -1 : 1;
  return (x->hop > y->hop) - (x->hop < y->hop);
}

lu_status lu_probe_new(const lu_probe_query *q, lu_arena *mem, lu_probe **out, lu_err *err)
{
  lu_probe *p = LU_NEW(mem, lu_probe, 1);
  if (!p)
    return lu_fail(err, LU_ERR_NOMEM, 0, 0, "no room to choose readings");
  p->board = q->board;
  p->priors = q->priors;
  p->costs = *q->costs;
  p->meter_error = q->meter_error;
  p->mem = mem;
  p->guesses = LU_NEW(mem, lu_suspicion, GUESSES_ROOM);
  p->sorted = LU_NEW(mem, lu_suspicion, GUESSES_ROOM);
  p->h = LU_NEW(mem, hypothesis, LU_HYPOTHESES_MOST);
  p->p = LU_NEW(mem, double, LU_HYPOTHESES_MOST);
  p->predicts = LU_NEW(mem, int8_t, LU_HYPOTHESES_MOST);
  p->alone = LU_NEW(mem, int8_t, GUESSES_ROOM);
  p->table = LU_NEW(mem, uint32_t, 4 * LU_HYPOTHESES_MOST);
  if (!p->guesses || !p->sorted || !p->h || !p->p || !p->predicts || !p->alone || !p->table || !tell_stories(p, q))
    return lu_fail(err, LU_ERR_NOMEM, 0, 0, "no room to choose readings");
  marginals(p);
  take_all(p, q);
  *out = p;
  return LU_OK;
}

const lu_suspicion *lu_probe_guesses(const lu_probe *p, size_t *count)
{
  memcpy(p->sorted, p->guesses, p->guess_count * sizeof *p->guesses);
  qsort(p->sorted, p->guess_count, sizeof *p->sorted, by_probability);
  *count = p->guess_count;
  return p->sorted;
}

const lu_wire *lu_probe_wire(const lu_probe *p, size_t wire)
{
  return wire < p->wire_count ? &p->wires[wire] : NULL;
}

const char *const *lu_probe_questions(const lu_probe *p, size_t *count)
{
  *count = p->question_count;
  return p->questions;
}

double lu_probe_entropy(const lu_probe *p)
{
  return lu_diagnosis_entropy(p->p, p->count);
}

size_t lu_probe_hypotheses(const lu_probe *p)
{
  return p->count;
}

size_t lu_probe_hypothesis(const lu_probe *p, size_t i, lu_suspicion out[LU_GUESSES_MOST], double *probability)
{
  const hypothesis *h = &p->h[i];
  for (size_t k = 0; k < h->count; k++)
    out[k] = p->guesses[h->guess[k]];
  *probability = p->p[i];
  return h->count;
}

void lu_probe_ends(const lu_probe *p, const lu_suspicion *g, lu_point *a, lu_point *b)
{
  *a = (lu_point){LU_AT_NET, g->net, LU_NONE, LU_NONE};
  *b = (lu_point){LU_AT_NET, g->net2 == LU_NONE ? g->net : g->net2, LU_NONE, LU_NONE};
  if (g->kind == LU_FAULT_OPEN && g->wire != UINT16_MAX) {
    const lu_wire *w = &p->wires[g->wire];
    *a = w->points[w->hops[g->hop].a];
    *b = w->points[w->hops[g->hop].b];
  }
}

/* --- costs ------------------------------------------------------------------------------------------------ */

enum { SIDE_ANY, SIDE_COMPONENT, SIDE_SOLDER };

static int side_of(const lu_point *x)
{
  return x->at == LU_AT_LEG ? SIDE_COMPONENT : x->at == LU_AT_PAD ? SIDE_SOLDER : SIDE_ANY;
}

static uint32_t part_of(const lu_board *b, const lu_point *x)
{
  return x->pin == LU_NONE ? LU_NONE : b->pins[x->pin].part;
}

static bool touched(const lu_probe *p, const lu_point *x)
{
  uint32_t part = part_of(p->board, x);
  return part != LU_NONE && p->have_last &&
         (part == part_of(p->board, &p->last.from) || (p->last.kind == LU_PROBE_CONTINUITY && part == part_of(p->board, &p->last.to)));
}

static bool same_point(const lu_point *a, const lu_point *b)
{
  return a->at == b->at && a->net == b->net && a->pin == b->pin && a->place == b->place;
}

static bool same_reading(const lu_reading_at *a, const lu_reading_at *b)
{
  if (a->kind != b->kind)
    return false;
  if (a->kind != LU_PROBE_CONTINUITY)
    return same_point(&a->from, &b->from);
  return (same_point(&a->from, &b->from) && same_point(&a->to, &b->to)) || (same_point(&a->from, &b->to) && same_point(&a->to, &b->from));
}

static bool was_taken(const lu_probe *p, const lu_reading_at *r)
{
  for (size_t i = 0; i < p->done_count; i++)
    if (same_reading(&p->done[i], r))
      return true;
  return false;
}

static double cost_of(const lu_probe *p, const lu_reading_at *r)
{
  const double *v = p->costs.value;
  static const uint8_t base[] = {LU_COST_continuity, LU_COST_level, LU_COST_look};
  double cost = v[base[r->kind]];
  bool powered = r->kind == LU_PROBE_LEVEL, was = p->have_last && p->last.kind == LU_PROBE_LEVEL;
  int from = side_of(&r->from), to = r->kind == LU_PROBE_CONTINUITY ? side_of(&r->to) : SIDE_ANY, last = SIDE_COMPONENT;
  if (p->have_last && side_of(&p->last.from) == SIDE_SOLDER)
    last = SIDE_SOLDER;
  cost += powered != was ? v[LU_COST_power] : 0;
  if (r->kind == LU_PROBE_LOOK)
    return cost + (r->from.at == LU_AT_LEG || r->from.at == LU_AT_PAD ? v[LU_COST_pull] : 0);
  cost += (r->from.at == LU_AT_VIA ? v[LU_COST_via] : 0) + (r->kind == LU_PROBE_CONTINUITY && r->to.at == LU_AT_VIA ? v[LU_COST_via] : 0);
  cost += touched(p, &r->from) ? 0 : v[LU_COST_chip];
  if (r->kind == LU_PROBE_CONTINUITY && part_of(p->board, &r->to) != part_of(p->board, &r->from))
    cost += touched(p, &r->to) ? 0 : v[LU_COST_chip];
  /* leg to pad wants the board on edge; another side than the last wants it turned */
  if ((from != SIDE_ANY && to != SIDE_ANY && from != to) || (from != SIDE_ANY && from != last) || (to != SIDE_ANY && to != last))
    cost += v[LU_COST_turn];
  return cost;
}

/* --- the next reading ---------------------------------------------------------------------------------------- */

typedef struct field {
  lu_reading_at *at;
  size_t count;
} field;

static void may(field *f, lu_probe_kind kind, const lu_point *a, const lu_point *b)
{
  if (f->count == READINGS_MOST)
    return;
  f->at[f->count++] = (lu_reading_at){.kind = (uint8_t)kind, .from = *a, .to = b ? *b : *a};
}

/* Points of a wire that matter: all, or where there are many, those at the ends of suspected hops. */
static size_t points_in_play(const lu_probe *p, const lu_wire *w, uint16_t *out)
{
  size_t n = 0;
  bool all = w->point_count <= PAIR_POINTS_MOST;
  for (size_t i = 0; i < w->point_count && n < PAIR_POINTS_MOST; i++) {
    bool take = all || lu_point_in(&w->drivers, i);
    for (size_t g = 0; !take && g < p->guess_count; g++) {
      const lu_suspicion *x = &p->guesses[g];
      if (x->kind == LU_FAULT_OPEN && x->wire != UINT16_MAX && &p->wires[x->wire] == w && x->probability > 1e-4)
        take = w->hops[x->hop].a == i || w->hops[x->hop].b == i;
    }
    if (take)
      out[n++] = (uint16_t)i;
  }
  return n;
}

static bool wire_suspect(const lu_probe *p, const lu_wire *w)
{
  for (size_t i = 0; i < p->guess_count; i++)
    if ((p->guesses[i].net == w->net || p->guesses[i].net2 == w->net) && p->guesses[i].probability > 1e-3)
      return true;
  return false;
}

static void along_wires(const lu_probe *p, unsigned kinds, field *f)
{
  for (size_t k = 0; k < p->wire_count; k++) {
    const lu_wire *w = &p->wires[k];
    uint16_t at[PAIR_POINTS_MOST];
    if (!wire_suspect(p, w))
      continue;
    size_t n = points_in_play(p, w, at);
    for (size_t i = 0; i < n; i++) {
      const lu_point *a = &w->points[at[i]];
      for (size_t j = i + 1; (kinds >> LU_PROBE_CONTINUITY & 1) && j < n; j++)
        may(f, LU_PROBE_CONTINUITY, a, &w->points[at[j]]);
      if (kinds >> LU_PROBE_LEVEL & 1)
        may(f, LU_PROBE_LEVEL, a, NULL);
      if ((kinds >> LU_PROBE_LOOK & 1) && (a->at == LU_AT_LEG || a->at == LU_AT_PIN))
        may(f, LU_PROBE_LOOK, a, NULL);
    }
  }
}

static lu_point pin_as_point(const lu_board *b, uint32_t pin)
{
  return (lu_point){b->parts[b->pins[pin].part].socketed ? LU_AT_LEG : LU_AT_PIN, b->pins[pin].net, pin, LU_NONE};
}

/* Two pins of two nets, on one part if any carries both. */
static bool nearest_pins(const lu_board *b, uint32_t net1, uint32_t net2, lu_point *out1, lu_point *out2)
{
  const lu_net *x = &b->nets[net1], *y = &b->nets[net2];
  if (!x->pin_count || !y->pin_count)
    return false;
  uint32_t best1 = b->net_pins[x->first_pin], best2 = b->net_pins[y->first_pin];
  int best = 1000000;
  for (uint32_t i = 0; i < x->pin_count && i < 64; i++)
    for (uint32_t j = 0; j < y->pin_count && j < 256; j++) {
      uint32_t p = b->net_pins[x->first_pin + i], q = b->net_pins[y->first_pin + j];
      int d = b->pins[p].part == b->pins[q].part ? abs(atoi(b->pins[p].number) - atoi(b->pins[q].number)) : 100000;
      if (d < best) {
        best = d;
        best1 = p;
        best2 = q;
      }
    }
  *out1 = pin_as_point(b, best1);
  *out2 = pin_as_point(b, best2);
  return true;
}

/* Pins that an exchange at a part would have moved: to where they should go, and to where they do. */
static void at_swaps(const lu_probe *p, const lu_suspicion *g, field *f)
{
  const lu_board *b = p->board;
  for (int turn = 0; turn < 2; turn++) {
    const lu_net *n = &b->nets[turn ? g->net2 : g->net];
    uint32_t here = LU_NONE, there = LU_NONE;
    for (uint32_t i = 0; i < n->pin_count; i++) {
      uint32_t pin = b->net_pins[n->first_pin + i];
      if (b->pins[pin].part == g->part)
        here = pin;
      else if (there == LU_NONE)
        there = pin;
    }
    if (here == LU_NONE || there == LU_NONE)
      continue;
    lu_point x = pin_as_point(b, here), y = pin_as_point(b, there);
    may(f, LU_PROBE_CONTINUITY, &x, &y);
  }
}

static uint32_t rail(const lu_board *b, unsigned level)
{
  for (uint32_t i = 0; i < b->net_count; i++)
    if (supply_of(b, i, level) && b->nets[i].pin_count)
      return i;
  return LU_NONE;
}

static void between_nets(const lu_probe *p, field *f)
{
  for (size_t i = 0; i < p->guess_count; i++) {
    const lu_suspicion *g = &p->guesses[i];
    lu_point a, b;
    if (g->probability < 1e-3)
      continue;
    uint32_t other = g->kind == LU_FAULT_STUCK ? rail(p->board, g->level) : g->net2;
    if ((g->kind == LU_FAULT_BRIDGE || g->kind == LU_FAULT_STUCK) && other != LU_NONE && nearest_pins(p->board, g->net, other, &a, &b))
      may(f, LU_PROBE_CONTINUITY, &a, &b);
    if (g->kind == LU_FAULT_SWAP)
      at_swaps(p, g, f);
  }
}

/* Hypotheses split by the outcomes of the readings already on the sheet, as if each were truthful:
 * the information of the next is counted within each part. */
static double gain_within(const lu_probe *p, const lu_observation *o, const uint32_t *part, size_t parts, double *scratch)
{
  if (parts == 1)
    return lu_diagnosis_gain(p->p, p->count, o);
  double gain = 0;
  for (size_t k = 0; k < parts; k++) {
    double mass = 0;
    for (size_t i = 0; i < p->count; i++) {
      scratch[i] = part[i] == k ? p->p[i] : 0;
      mass += scratch[i];
    }
    if (mass > 1e-6)
      gain += mass * lu_diagnosis_gain(scratch, p->count, o);
  }
  return gain;
}

/* What is still to be found out: nothing once one hypothesis holds what is called located, and a
 * meter's error more, so that a wrong reading less often ends the search in the wrong place. */
static double left_after(const lu_probe *p, const lu_observation *o, double *scratch)
{
  double chance[LU_OUTCOMES_MOST], left = 0;
  lu_diagnosis_outcomes(p->p, p->count, o, chance);
  for (unsigned k = 0; k < o->outcomes; k++) {
    double most = 0;
    if (chance[k] < 1e-9)
      continue;
    memcpy(scratch, p->p, p->count * sizeof *scratch);
    lu_diagnosis_update(scratch, p->count, o, k);
    for (size_t i = 0; i < p->count; i++)
      most = fmax(most, scratch[i]);
    /* where the hop is not located yet, one more reading is the least that it takes */
    left += most >= LU_LOCATED + p->meter_error ? 0 : chance[k] * fmax(1, lu_diagnosis_entropy(scratch, p->count));
  }
  return left;
}

static bool on_sheet(const lu_proposal *sheet, size_t count, const lu_reading_at *r)
{
  for (size_t i = 0; i < count; i++)
    if (same_reading(&sheet[i].reading, r))
      return true;
  return false;
}

/* --- looking further ahead --------------------------------------------------------------------------------------- */

/* The likeliest hypotheses as bits, and each reading as the set of them under which it departs from what a sound
 * board shows: whole trees of readings are then cheap to follow, as if the meter never erred. */
typedef struct ahead {
  size_t count, mask_count;
  double p[AHEAD_MOST], plogp[AHEAD_MOST], enough;
  uint16_t number[AHEAD_MOST];
  uint64_t masks[AHEAD_MASKS_MOST];
  double cost[AHEAD_MASKS_MOST]; /* of the cheapest reading of that mask, from where the tips are now */
} ahead;

static double sum_over(const double *of, uint64_t set)
{
  double sum = 0;
  for (; set; set &= set - 1)
    sum += of[__builtin_ctzll(set)];
  return sum;
}

/* What is to be found out in a set, times its probability: nothing once one of them holds enough. */
static double left_in(const ahead *a, uint64_t set)
{
  double all = sum_over(a->p, set), most = 0;
  for (uint64_t x = set; x; x &= x - 1)
    most = fmax(most, a->p[__builtin_ctzll(x)]);
  return all <= 0 || most >= a->enough * all ? 0 : fmax(all, all * log2(all) - sum_over(a->plogp, set));
}

/* False: more matter than there are bits, or nothing is left to be found out. */
static bool look_at_hypotheses(const lu_probe *p, ahead *a)
{
  *a = (ahead){.enough = LU_LOCATED + p->meter_error};
  for (size_t i = 0; i < p->count; i++) {
    if (p->p[i] < AHEAD_SHARE)
      continue;
    if (a->count == AHEAD_MOST)
      return false;
    a->number[a->count] = (uint16_t)i;
    a->p[a->count] = p->p[i];
    a->plogp[a->count++] = p->p[i] * log2(p->p[i]);
  }
  return a->count > 2 && left_in(a, a->count == 64 ? UINT64_MAX : ((uint64_t)1 << a->count) - 1) > 0;
}

/* Of the reading that observe() was last asked about. */
static uint64_t departing(const lu_probe *p, const ahead *a, const lu_reading_at *r)
{
  int sound = r->from.net == r->to.net ? LU_SEEN_JOINED : LU_SEEN_OPEN;
  uint64_t mask = 0;
  for (size_t i = 0; i < a->count; i++)
    mask |= (uint64_t)(p->predicts[a->number[i]] != sound) << i;
  return mask;
}

static void add_departing(ahead *a, uint64_t mask, double cost)
{
  size_t i = 0;
  while (i < a->mask_count && a->masks[i] != mask)
    i++;
  if (i == AHEAD_MASKS_MOST)
    return;
  a->cost[i] = i == a->mask_count ? cost : fmin(a->cost[i], cost);
  a->masks[i] = mask;
  a->mask_count += i == a->mask_count;
}

/* What the readings cost that it takes in a set, times its probability, when each is the one that gains most by
 * left_in() for its cost. */
static double cost_in(const ahead *a, uint64_t set, unsigned depth)
{
  size_t best = SIZE_MAX;
  double most = 0, all = left_in(a, set), rest = 0;
  for (size_t k = 0; all > 0 && k < a->mask_count; k++) {
    uint64_t in = set & a->masks[k], out = set & ~a->masks[k];
    if (!in || !out)
      continue;
    double left = left_in(a, in) + left_in(a, out), worth = fmax(all - left, 1e-9) / a->cost[k];
    if (worth > most) {
      most = worth;
      rest = left;
      best = k;
    }
  }
  if (best == SIZE_MAX)
    return 0; /* nothing more can be gained */
  double here = a->cost[best] * sum_over(a->p, set);
  return depth ? here + cost_in(a, set & a->masks[best], depth - 1) + cost_in(a, set & ~a->masks[best], depth - 1) : here + rest;
}

/* Candidates, best first. */
typedef struct short_list {
  size_t count;
  struct {
    lu_proposal of;
    double worth;
    uint64_t mask;
  } at[AHEAD_TRIED];
} short_list;

static void enter(short_list *l, const lu_proposal *x, double worth, uint64_t mask)
{
  size_t at = l->count;
  for (size_t i = 0; i < l->count; i++)
    if (l->at[i].mask == mask && mask) { /* the same in every way but its cost */
      if (l->at[i].worth >= worth)
        return;
      memmove(&l->at[i], &l->at[i + 1], (l->count - i - 1) * sizeof *l->at);
      at = --l->count;
      break;
    }
  while (at > 0 && l->at[at - 1].worth < worth)
    at--;
  if (at == AHEAD_TRIED)
    return;
  size_t kept = l->count < AHEAD_TRIED ? l->count : AHEAD_TRIED - 1;
  memmove(&l->at[at + 1], &l->at[at], (kept - at) * sizeof *l->at);
  l->at[at].of = *x;
  l->at[at].worth = worth;
  l->at[at].mask = mask;
  l->count = kept + 1;
}

/* What is still to come after a reading: each outcome by Bayes, what follows as if the meter never erred. */
static double to_come(lu_probe *p, const ahead *a, const lu_reading_at *r, double *scratch, ahead *then)
{
  lu_observation o = observe(p, r);
  double chance[LU_OUTCOMES_MOST], sum = 0;
  lu_diagnosis_outcomes(p->p, p->count, &o, chance);
  for (unsigned k = 0; k < o.outcomes; k++) {
    if (chance[k] < 1e-9)
      continue;
    memcpy(scratch, p->p, p->count * sizeof *scratch);
    lu_diagnosis_update(scratch, p->count, &o, k);
    uint64_t set = 0;
    for (size_t i = 0; i < a->count; i++) {
      double x = scratch[a->number[i]];
      then->p[i] = x;
      then->plogp[i] = x > 0 ? x * log2(x) : 0;
      set |= (uint64_t)(x >= AHEAD_SHARE) << i;
    }
    if (left_in(then, set) > 0)
      sum += chance[k] * cost_in(then, set, AHEAD_DEPTH);
  }
  return sum;
}

/* Among the best by one step, the one with the least cost to the end. */
static size_t best_to_the_end(lu_probe *p, const ahead *a, const short_list *l, double *scratch)
{
  size_t best = 0;
  double least = 0;
  ahead *then = LU_NEW(p->mem, ahead, 1);
  if (!then)
    return 0;
  *then = *a;
  for (size_t i = 0; i < l->count; i++) {
    if (i && !l->at[i].mask)
      continue;
    double total = l->at[i].of.cost + to_come(p, a, &l->at[i].of.reading, scratch, then);
    if (!i || total < least * (best ? 1 : 0.95)) { /* the best by one step gives way to a clear gain only */
      least = total;
      best = i;
    }
  }
  return best;
}

/* The best one into sheet[count]. */
static bool best_of(lu_probe *p, const field *f, const uint32_t *part, size_t parts, double *scratch, lu_proposal *sheet, size_t count)
{
  short_list list = {0};
  ahead *a = LU_NEW(p->mem, ahead, 1);
  double all = fmax(1, lu_probe_entropy(p));
  bool further = a && parts == 1 && p->count <= LOOK_AHEAD_MOST && look_at_hypotheses(p, a);
  for (size_t i = 0; i < f->count; i++) {
    const lu_reading_at *r = &f->at[i];
    if (on_sheet(sheet, count, r))
      continue;
    lu_observation o = observe(p, r);
    uint64_t mask = further && r->kind == LU_PROBE_CONTINUITY ? departing(p, a, r) : 0;
    double cost = cost_of(p, r) * (was_taken(p, r) ? again_cost : 1);
    if (mask)
      add_departing(a, mask, cost);
    double g = gain_within(p, &o, part, parts, scratch);
    if (g < 1e-3)
      continue;
    lu_proposal x = {.reading = *r, .gain_bits = g, .cost = cost, .outcomes = o.outcomes};
    double worth = parts == 1 && p->count <= LOOK_AHEAD_MOST ? fmax(all - left_after(p, &o, scratch), 1e-3 * g) : g;
    lu_diagnosis_outcomes(p->p, p->count, &o, x.chance);
    enter(&list, &x, worth / x.cost, mask);
  }
  if (!list.count)
    return false;
  bool beeps = further && list.at[0].of.reading.kind == LU_PROBE_CONTINUITY;
  sheet[count] = list.at[beeps ? best_to_the_end(p, a, &list, scratch) : 0].of;
  return true;
}

static size_t split(lu_probe *p, const lu_reading_at *r, uint32_t *part)
{
  lu_observation o = observe(p, r);
  uint32_t most = 0;
  for (size_t i = 0; i < p->count; i++) {
    part[i] = part[i] * o.outcomes + (uint32_t)(p->predicts[i] < 0 ? 0 : p->predicts[i]);
    most = part[i] > most ? part[i] : most;
  }
  return most + 1;
}

/* Renumbers parts without gaps, so that their number stays below that of the hypotheses. */
static size_t compact(uint32_t *part, size_t count, uint32_t *map, size_t room)
{
  size_t n = 0;
  memset(map, 0, room * sizeof *map);
  for (size_t i = 0; i < count; i++) {
    if (!map[part[i]])
      map[part[i]] = (uint32_t)++n;
    part[i] = map[part[i]] - 1;
  }
  return n ? n : 1;
}

static bool make_room(lu_probe *p)
{
  if (p->field)
    return true;
  p->part = LU_NEW(p->mem, uint32_t, LU_HYPOTHESES_MOST);
  p->map = LU_NEW(p->mem, uint32_t, 4 * LU_HYPOTHESES_MOST);
  p->scratch = LU_NEW(p->mem, double, LU_HYPOTHESES_MOST);
  p->field = LU_NEW(p->mem, lu_reading_at, READINGS_MOST);
  return p->part && p->map && p->scratch && p->field;
}

size_t lu_probe_next(lu_probe *p, unsigned kinds, size_t most, lu_proposal *out)
{
  size_t n = 0, parts = 1;
  if (!p->count || !make_room(p))
    return 0;
  field f = {.at = p->field};
  lu_reading_at last = p->last;
  bool have_last = p->have_last;
  memset(p->part, 0, p->count * sizeof *p->part);
  along_wires(p, kinds, &f);
  if (kinds >> LU_PROBE_CONTINUITY & 1)
    between_nets(p, &f);
  while (n < most && n < LU_SHEET_MOST) {
    if (!best_of(p, &f, p->part, parts, p->scratch, out, n))
      break;
    parts = split(p, &out[n].reading, p->part);
    parts = compact(p->part, p->count, p->map, parts);
    p->last = out[n].reading; /* the tips move on */
    p->have_last = true;
    n++;
  }
  p->last = last;
  p->have_last = have_last;
  return n;
}
