/* SPDX-License-Identifier: MIT */
#include "reason/search.h"

#include "base/tally.h"
#include "reason/cost.h"
#include "reason/seeds.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum {
  BEAM = 32, VAGUE_BEAM = 8,     /* sets of one level that go on */
  PAIRS_MOST = 160,              /* classes that pairs start from, best first */
  PARTNERS_MOST = 500,           /* classes that they are tried with */
  HIDDEN_BASES = 4, SETS_MOST = 300, TELLING = 30,
  AFTER_FOUND = 8000, DEPTH_BUDGET = 24000, /* hypotheses */
  VAGUE_MOST = 8,                /* bits of the samples left open */
  MEMBERS_MOST = 6, RETRIES_MOST = 100
};

static const double likely_fault = -5.3; /* ln of the prior of the likeliest faults */
static const double unlikely = 2;      /* once a set is found, others that are less likely by so much are not looked for */
static const double rival = 1;           /* by so much less likely sets still count */
static const double swings_most = 0.5; /* unknown bits, as a share of the wrong ones, of a set that tells all */

/* A verified set with the very same effect, or NULL. */
static const lu_set *same_effect(const lu_search *s, const lu_set *x)
{
  for (size_t i = 0; i < s->set_count; i++)
    if (s->sets[i].hash == x->hash)
      return &s->sets[i];
  return NULL;
}

uint64_t lu_search_effect(const lu_search *s, const lu_set *x)
{
  uint64_t all = 0;
  for (size_t r = 0; r < s->joint->look_count; r++) {
    uint64_t hash;
    bool wide, floats;
    bool compiled = lu_joint_compile(s->joint, r, x->faults, x->count, x->undriven, &hash, &wide, &floats);
    all = (all ^ (compiled ? hash : 0)) * 0x9e3779b97f4a7c15u + r + 1;
  }
  return all;
}

void lu_search_count(const lu_search *s, lu_set *x, uint64_t limit)
{
  lu_joint *j = s->joint;
  x->wrong = x->unknown = 0;
  for (size_t r = 0; r < j->look_count && x->wrong <= limit; r++) {
    uint64_t hash, wrong = 0, unknown = 0, columns;
    bool wide, floats;
    const lu_look *k = &j->looks[r];
    if (lu_joint_compile(j, r, x->faults, x->count, x->undriven, &hash, &wide, &floats) && !wide)
      lu_view_count(k->view, k->evidence, limit - x->wrong, &wrong, &unknown, &columns);
    else
      wrong = k->wrong;
    x->wrong += wrong;
    x->unknown += unknown;
  }
}

/* Compares a set with every word and keeps it when it is right. */
static bool verify(lu_search *s, lu_set *x)
{
  x->hash = lu_search_effect(s, x);
  const lu_set *twin = same_effect(s, x);
  if (twin) {
    x->wrong = twin->wrong;
    x->unknown = twin->unknown;
  } else {
    lu_search_count(s, x, (uint64_t)s->joint->noise_most);
  }
  x->exact = (double)x->wrong <= s->joint->noise_most;
  if (!x->exact)
    return true;
  for (size_t i = 0; i < s->set_count; i++) {
    const lu_set *y = &s->sets[i];
    if (y->count == x->count && y->hash == x->hash && !memcmp(y->classes, x->classes, x->count * sizeof *x->classes))
      return true;
  }
  lu_set *p = lu_arena_grow(s->joint->mem, s->sets, s->set_count, &s->set_room, sizeof *p);
  if (!p)
    return false;
  s->sets = p;
  p[s->set_count++] = *x;
  if ((double)x->unknown * lu_unknown_cost < TELLING && x->cost < s->clear_cost)
    s->clear_cost = x->cost;
  return true;
}

/* Not worth a look at every word: right on the samples, but they leave more unknown than a set that is known to be
 * right. Over the whole reading that weighs many times as much. */
static bool too_vague(const lu_search *s, const lu_set *x)
{
  return x->cost > s->clear_cost + VAGUE_MOST * lu_unknown_share * s->joint->wrong_cost;
}

/* The best of those that are not right everywhere. */
static void keep_near(lu_search *s, lu_set *x)
{
  const lu_joint *j = s->joint;
  double best = (double)s->best.wrong * j->wrong_cost + (double)s->best.unknown * lu_unknown_cost - s->best.prior;
  double most = s->have_best && j->wrong_cost > 0 ? (best + x->prior) / j->wrong_cost : INFINITY; /* with more wrong it cannot be better */
  lu_search_count(s, x, most < 1e18 ? (uint64_t)fmax(0, most) + 1 : UINT64_MAX);
  double now = (double)x->wrong * j->wrong_cost + (double)x->unknown * lu_unknown_cost - x->prior;
  if (!s->have_best || now < best) {
    s->best = *x;
    s->have_best = true;
  }
}

static lu_set extend(const lu_search *s, const lu_set *base, uint32_t class)
{
  lu_set x = *base;
  const lu_class *c = &s->classes[class];
  if (!x.count || c->floats)
    x.undriven = c->undriven;
  size_t at = x.count++;
  for (; at > 0 && x.classes[at - 1] > class; at--) {
    x.classes[at] = x.classes[at - 1];
    x.faults[at] = x.faults[at - 1];
  }
  x.classes[at] = class;
  x.faults[at] = c->fault;
  x.prior += c->prior;
  x.exact = false;
  return x;
}

static bool has_class(const lu_set *x, uint32_t class)
{
  for (size_t i = 0; i < x->count; i++)
    if (x->classes[i] == class)
      return true;
  return false;
}

static int by_cost(const void *a, const void *b)
{
  const lu_set *x = a, *y = b;
  if (x->cost != y->cost)
    return x->cost < y->cost ? -1 : 1;
  if (x->prior != y->prior)
    return x->prior > y->prior ? -1 : 1;
  return memcmp(x->classes, y->classes, sizeof x->classes);
}

/* What a base set leaves wrong, sample by sample, so that extensions of it can be judged early. */
typedef struct rest {
  double cost[LU_READINGS_MOST][LU_SAMPLES_MOST];
  uint64_t columns;
  unsigned count;                  /* samples, those that are wrong first */
  uint8_t look[LU_READINGS_MOST * LU_SAMPLES_MOST];
  uint16_t sample[LU_READINGS_MOST * LU_SAMPLES_MOST];
} rest;

static void order_rest(const lu_joint *j, rest *r)
{
  unsigned wrong = 0, right = 0, n = 0;
  static const double none = 0;
  for (int pass = 0; pass < 2; pass++)
    for (size_t k = 0; k < j->look_count; k++)
      for (unsigned i = 0; i < j->looks[k].sample_count; i++)
        if ((r->cost[k][i] > none) == (pass == 0)) {
          r->look[n] = (uint8_t)k;
          r->sample[n++] = (uint16_t)i;
          pass ? right++ : wrong++;
        }
  /* one that is right after each two that are wrong, as far as they go */
  uint8_t look[LU_READINGS_MOST * LU_SAMPLES_MOST];
  uint16_t sample[LU_READINGS_MOST * LU_SAMPLES_MOST];
  for (unsigned at = 0, w = 0, g = wrong; at < n; at++) {
    bool take_right = w == wrong || (at % 3 == 2 && g < n);
    unsigned from = take_right ? g++ : w++;
    look[at] = r->look[from];
    sample[at] = r->sample[from];
  }
  memcpy(r->look, look, n * sizeof *look);
  memcpy(r->sample, sample, n * sizeof *sample);
  r->count = n;
}

static bool leave(lu_search *s, const lu_set *x, rest *r)
{
  lu_joint *j = s->joint;
  r->columns = 0;
  for (size_t k = 0; k < j->look_count; k++) {
    uint64_t hash;
    bool wide, floats;
    const lu_look *l = &j->looks[k];
    bool compiled = lu_joint_compile(j, k, x->faults, x->count, x->undriven, &hash, &wide, &floats);
    if (wide)
      return false;
    for (unsigned i = 0; i < l->sample_count; i++) {
      lu_cost c = {0};
      lu_cost_samples(j, l, i, i + 1, compiled, &c);
      r->cost[k][i] = c.total;
      uint64_t value = 0, unknown = 0, bad = l->healthy[i];
      if (compiled) {
        lu_view_word(l->view, l->evidence, l->sample[i], &value, &unknown);
        bad = (l->healthy[i] & ~l->view->changed) | ((value ^ l->got[i]) & l->view->changed & l->steady[i]) | unknown;
      }
      r->columns |= bad;
    }
  }
  order_rest(j, r);
  return true;
}

/* The cost of an extension, looked at only as far as it promises to be better than its base. */
static bool improves(lu_search *s, lu_set *x, const rest *r, double base)
{
  lu_joint *j = s->joint;
  bool compiled[LU_READINGS_MOST];
  for (size_t k = 0; k < j->look_count; k++) {
    uint64_t hash;
    bool wide, floats;
    compiled[k] = lu_joint_compile(j, k, x->faults, x->count, x->undriven, &hash, &wide, &floats);
    if (wide)
      return false;
  }
  s->hypotheses++;
  lu_cost c = {0};
  double was = 0;
  x->vague = false;
  for (unsigned at = 0; at < r->count; at++) {
    const lu_look *l = &j->looks[r->look[at]];
    lu_cost_samples(j, l, r->sample[at], r->sample[at] + 1u, compiled[r->look[at]], &c);
    was += r->cost[r->look[at]][r->sample[at]];
    if (((at == 14 && c.total > 1.05 * was) || (at == 44 && c.total >= was)) && c.wrong) {
      x->cost = base * (was > 0 ? c.total / was : 2);
      return false;
    }
  }
  x->cost = c.total;
  x->exact = !c.wrong;
  x->vague = c.open > VAGUE_MOST;
  return c.total < base;
}

/* Holds the classes from this one on that are right on the samples against every word. */
static bool verify_singles(lu_search *s, size_t from)
{
  uint64_t exact = 0;
  for (size_t i = from; i < s->class_count; i++)
    exact += s->classes[i].exact;
  lu_tally_begin("kinds of fault held against every word", exact);
  for (size_t i = from; i < s->class_count; i++) {
    if (!s->classes[i].exact)
      continue;
    lu_tally_add(1);
    lu_set none = {.undriven = LU_LEVEL_HIGH}, x = extend(s, &none, (uint32_t)i);
    x.cost = s->classes[i].cost;
    if (!too_vague(s, &x) && !verify(s, &x))
      return false;
  }
  return true;
}

/* Of classes that look alike only the likeliest goes on: the first time a face is met, its likeliest
 * class is looked for; the others are tried in its place when it proves right (look_around). */
static bool fairest(const lu_search *s, uint32_t *seen, size_t room, uint32_t class)
{
  const lu_class *c = &s->classes[class];
  size_t at = c->face & (room - 1);
  while (seen[at] && s->classes[seen[at] - 1].face != c->face)
    at = (at + 1) & (room - 1);
  if (seen[at])
    return seen[at] - 1 == class;
  uint32_t best = class;
  for (size_t i = class + 1; i < s->class_count; i++)
    if (s->classes[i].face == c->face && s->classes[i].gain > s->classes[i].harm && !s->classes[i].wide &&
        s->classes[i].prior > s->classes[best].prior)
      best = (uint32_t)i;
  seen[at] = best + 1;
  return best == class;
}

/* Classes that help by themselves, best first. */
static size_t helpers(const lu_search *s, lu_set *out, size_t most)
{
  size_t n = 0, room = 1;
  while (room < 4 * s->class_count)
    room *= 2;
  uint32_t *seen = LU_NEW(s->joint->mem, uint32_t, room);
  for (size_t i = 0; seen && i < s->class_count; i++) {
    const lu_class *c = &s->classes[i];
    if (c->wide || c->gain <= c->harm || !fairest(s, seen, room, (uint32_t)i))
      continue;
    lu_set none = {.undriven = LU_LEVEL_HIGH};
    lu_set x = extend(s, &none, (uint32_t)i);
    x.cost = c->cost;
    if (n < most) {
      out[n++] = x;
      if (n == most)
        qsort(out, n, sizeof *out, by_cost);
    } else if (by_cost(&x, &out[n - 1]) < 0) {
      out[n - 1] = x;
      for (size_t k = n - 1; k > 0 && by_cost(&out[k], &out[k - 1]) < 0; k--) {
        lu_set t = out[k];
        out[k] = out[k - 1];
        out[k - 1] = t;
      }
    }
  }
  qsort(out, n, sizeof *out, by_cost);
  return n;
}

static void keep_best(lu_set *beam, size_t *count, size_t most, const lu_set *x)
{
  for (size_t i = 0; i < *count; i++)
    if (beam[i].count == x->count && beam[i].cost == x->cost && !memcmp(beam[i].classes, x->classes, x->count * sizeof *x->classes))
      return;
  size_t at = *count < most ? (*count)++ : most;
  if (at == most && by_cost(x, &beam[most - 1]) >= 0)
    return;
  if (at == most)
    at = most - 1;
  for (; at > 0 && by_cost(x, &beam[at - 1]) < 0; at--)
    beam[at] = beam[at - 1];
  beam[at] = *x;
}

/* ln of the prior of the likeliest set found that leaves next to nothing unknown. */
static double clear_prior(const lu_search *s)
{
  double best = -INFINITY;
  for (size_t i = 0; i < s->set_count; i++)
    if ((double)s->sets[i].unknown * lu_unknown_cost < TELLING)
      best = fmax(best, s->sets[i].prior);
  return best;
}

/* The search may end at this number of faults: some verified set says what nearly every bit is (sets
 * that only say "anything can be there" do not count), and it is no less likely than sets of one
 * fault more usually are. */
static bool told_all(const lu_search *s, size_t depth)
{
  return clear_prior(s) > -9.0 * (double)(depth + 1);
}

/* The sets of one level, growing: those that leave bits of the samples open look better than they are while others
 * are still half right, so the two kinds do not compete. */
typedef struct level {
  lu_set *sets;
  size_t count, vague_count;
  lu_set vague[VAGUE_BEAM];
  uint64_t until; /* number of hypotheses at which it ends, once something was found */
  bool found;
  size_t retry_count;
  struct retry {
    const lu_set *base;
    uint32_t class;
    size_t rank;
  } retry[RETRIES_MOST]; /* pairs that touch the same nets, best first */
} level;

static bool try_set(lu_search *s, lu_set *x, double base, const rest *r, level *l)
{
  if (!improves(s, x, r, base))
    return true;
  if (x->exact && !too_vague(s, x) && s->set_count < SETS_MOST) {
    size_t before = s->set_count;
    if (!verify(s, x))
      return false;
    l->found |= s->set_count > before && (double)x->unknown * lu_unknown_cost < TELLING;
    s->least = fmax(s->least, clear_prior(s) - unlikely);
  }
  if (x->vague)
    keep_best(l->vague, &l->vague_count, VAGUE_BEAM, x);
  else
    keep_best(l->sets, &l->count, BEAM, x);
  return true;
}

/* Members of one class do the same only as long as nothing else is broken on their nets: the set with each of the
 * members of this class, which is in it. */
static bool try_members(lu_search *s, const lu_set *x, uint32_t class, double base, const rest *r, level *l)
{
  size_t at = 0;
  while (x->classes[at] != class)
    at++;
  unsigned tried = 0;
  for (uint32_t m = s->classes[class].first_member; m != UINT32_MAX && tried < MEMBERS_MOST; m = s->members[m].next, tried++) {
    lu_set y = *x;
    y.faults[at] = s->members[m].fault;
    if (!try_set(s, &y, base, r, l))
      return false;
  }
  return true;
}

static uint64_t set_nets(const lu_search *s, const lu_set *x)
{
  uint64_t nets = 0;
  for (size_t i = 0; i < x->count; i++)
    nets |= s->classes[x->classes[i]].nets;
  return nets;
}

static void keep_retry(level *l, const lu_set *base, uint32_t class, size_t rank)
{
  size_t at = l->retry_count < RETRIES_MOST ? l->retry_count++ : RETRIES_MOST;
  if (at == RETRIES_MOST && rank >= l->retry[at - 1].rank)
    return;
  at -= at == RETRIES_MOST;
  for (; at > 0 && rank < l->retry[at - 1].rank; at--)
    l->retry[at] = l->retry[at - 1];
  l->retry[at] = (struct retry){base, class, rank};
}

/* The base with one class more, kept where that is better. rank: how far down the lists they stand. False: no memory. */
static bool try_extension(lu_search *s, const lu_set *base, uint32_t class, size_t rank, const rest *r, level *l)
{
  if (has_class(base, class) || base->prior + s->classes[class].prior < s->least || !(s->classes[class].columns & r->columns))
    return true;
  lu_set x = extend(s, base, class);
  if (!try_set(s, &x, base->cost, r, l))
    return false;
  if (set_nets(s, base) & s->classes[class].nets && !x.exact)
    keep_retry(l, base, class, rank);
  return true;
}

/* A pair again, with the other members of its classes. */
static bool try_again(lu_search *s, const lu_set *base, uint32_t class, const rest *r, level *l)
{
  lu_set x = extend(s, base, class);
  if (base->count > 1)
    return try_members(s, &x, class, base->cost, r, l);
  size_t at = x.classes[0] == class;
  unsigned tried = 0;
  for (uint32_t m = s->classes[base->classes[0]].first_member; m != UINT32_MAX && tried < MEMBERS_MOST; m = s->members[m].next, tried++) {
    x.faults[at] = s->members[m].fault;
    if (!try_members(s, &x, class, base->cost, r, l))
      return false;
  }
  return true;
}

static bool try_retries(lu_search *s, rest *r, level *l)
{
  struct retry list[RETRIES_MOST];
  size_t count = l->retry_count;
  memcpy(list, l->retry, sizeof list);
  for (size_t i = 0; i < count; i++)
    if (leave(s, list[i].base, r) && !try_again(s, list[i].base, list[i].class, r, l))
      return false;
  return true;
}

static bool spent(const lu_search *s, const level *l)
{
  return (l->found && s->hypotheses > l->until) || s->hypotheses > s->budget;
}

/* The best bases with every class that does not help by itself: what others hide shows only once they are out of
 * the way. */
static bool try_hidden(lu_search *s, const lu_set *beam, size_t count, rest *r, level *l)
{
  for (size_t b = 0; b < count && b < HIDDEN_BASES; b++) {
    if (!leave(s, &beam[b], r))
      continue;
    for (uint32_t c = 0; c < s->class_count; c++)
      if (!s->classes[c].wide && s->classes[c].gain <= s->classes[c].harm && !try_extension(s, &beam[b], c, c, r, l))
        return false;
  }
  return true;
}

/* One level deeper: each set of the beam with each helper that reaches what it leaves wrong. */
static bool deepen(lu_search *s, const lu_set *beam, size_t count, const lu_set *partners, size_t partner_count,
                   lu_set *next, size_t *next_count, bool *found)
{
  rest *r = LU_NEW(s->joint->mem, rest, 1);
  if (!r)
    return false;
  level l = {.sets = next, .until = s->hypotheses + AFTER_FOUND, .found = *found};
  for (size_t b = 0; b < count && !spent(s, &l); b++) {
    if (!leave(s, &beam[b], r))
      continue;
    for (size_t p = beam[b].count == 1 ? b + 1 : 0; p < partner_count; p++)
      if (!try_extension(s, &beam[b], partners[p].classes[0], b + p, r, &l))
        return false;
  }
  s->pairs_done &= !spent(s, &l);
  if (!told_all(s, count ? beam[0].count + 1 : 1) && !try_retries(s, r, &l))
    return false;
  if (isinf(s->least) && !told_all(s, count ? beam[0].count + 1 : 1) && !try_hidden(s, beam, count, r, &l))
    return false;
  memcpy(next + l.count, l.vague, l.vague_count * sizeof *l.vague);
  *next_count = l.count + l.vague_count;
  *found = l.found;
  return true;
}

/* Around each explanation found: the same with one fault exchanged, by another helper or by a class
 * that looks like it. */
static bool exchange_one(lu_search *s, const lu_set *base, const rest *r, uint32_t class)
{
  if (has_class(base, class) || !(s->classes[class].columns & r->columns) || s->set_count >= SETS_MOST)
    return true;
  lu_set x = extend(s, base, class);
  if (x.prior < s->least)
    return true;
  return !improves(s, &x, r, 1e300) || !x.exact || too_vague(s, &x) || verify(s, &x);
}

static int by_weight(const void *a, const void *b)
{
  const lu_set *x = a, *y = b;
  double p = x->prior - lu_unknown_cost * (double)x->unknown, q = y->prior - lu_unknown_cost * (double)y->unknown;
  if (p != q)
    return p > q ? -1 : 1;
  return memcmp(x->classes, y->classes, sizeof x->classes);
}

/* The heaviest first; of many that leave everything open a few are enough. */
static void sort_sets(lu_search *s, size_t most)
{
  if (s->set_count)
    qsort(s->sets, s->set_count, sizeof *s->sets, by_weight);
  if (s->set_count > most)
    s->set_count = most;
}

static bool look_around(lu_search *s, const lu_set *partners, size_t partner_count)
{
  sort_sets(s, SETS_MOST / 2);
  rest *r = LU_NEW(s->joint->mem, rest, 1);
  size_t found = s->set_count < 8 ? s->set_count : 8;
  for (size_t i = 0; r && i < found; i++)
    for (size_t k = 0; k < s->sets[i].count; k++) {
      lu_set base = {.undriven = LU_LEVEL_HIGH};
      uint32_t out = s->sets[i].classes[k];
      for (size_t m = 0; m < s->sets[i].count; m++)
        if (m != k)
          base = extend(s, &base, s->sets[i].classes[m]);
      if (!leave(s, &base, r))
        continue;
      for (uint32_t c = 0; c < s->class_count; c++)
        if (c != out && s->classes[c].face == s->classes[out].face && !s->classes[c].wide && !exchange_one(s, &base, r, c))
          return false;
      for (size_t p = 0; p < partner_count; p++)
        if (!exchange_one(s, &base, r, partners[p].classes[0]))
          return false;
    }
  return r;
}

static double wrong_bits(const lu_joint *j)
{
  double n = 0;
  for (size_t r = 0; r < j->look_count; r++)
    n += (double)j->looks[r].wrong;
  return n;
}

/* Single faults by which data decide about addresses. Where lines swing, words stay unknown; so such a set tells all
 * when it is right about most of what is wrong. */
static bool replay_singles(lu_search *s, bool *told)
{
  size_t from = s->class_count, known = s->set_count;
  s->joint->replays = 1;
  for (size_t i = 0; i < s->later_count; i++)
    if (!lu_search_add(s, &s->later[i]))
      return false;
  if (!verify_singles(s, from))
    return false;
  for (size_t i = known; i < s->set_count; i++)
    *told |= (double)s->sets[i].unknown < swings_most * wrong_bits(s->joint);
  return true;
}

/* Those of them that help by themselves, best first. */
static size_t played_helpers(const lu_search *s, lu_set *out, size_t most)
{
  size_t n = 0;
  for (size_t i = 0; i < s->class_count; i++) {
    const lu_class *c = &s->classes[i];
    lu_set none = {.undriven = LU_LEVEL_HIGH};
    if (!c->wide || c->gain <= c->harm)
      continue;
    lu_set x = extend(s, &none, (uint32_t)i);
    x.cost = c->cost;
    keep_best(out, &n, most, &x);
  }
  return n;
}

/* Pairs of one such fault and one that is not, of those that help most. next: room for sets. */
static bool replay_pairs(lu_search *s, const lu_set *partners, size_t partner_count, lu_set *next, bool *told)
{
  enum { PLAYED_MOST = 40, WITH_MOST = 24, VERIFIED_MOST = 2 }; /* to hold one against every word costs much */
  lu_set played[PLAYED_MOST];
  size_t before = s->set_count;
  size_t count = played_helpers(s, played, PLAYED_MOST);
  rest *r = LU_NEW(s->joint->mem, rest, 1);
  level l = {.sets = next};
  s->joint->replays = 2;
  for (size_t b = 0; r && b < partner_count && b < WITH_MOST; b++) {
    if (!leave(s, &partners[b], r))
      continue;
    for (size_t i = 0; i < count && !l.found && s->set_count < before + VERIFIED_MOST; i++) {
      lu_set x = extend(s, &partners[b], played[i].classes[0]);
      if (!try_set(s, &x, partners[b].cost, r, &l))
        return false;
    }
  }
  *told = l.found && told_all(s, 2);
  return r;
}

/* --- sets from what the reading says of itself -------------------------------------------------------- */

enum { SOWN_MOST = 12, COMBINATIONS_MOST = 200 };

typedef struct bed {
  lu_set sets[SOWN_MOST]; /* best first */
  size_t count;
  bool found;
} bed;

static bool sow_one(lu_search *s, bed *b, const uint32_t *classes, size_t count)
{
  lu_set x = {.undriven = LU_LEVEL_HIGH};
  for (size_t i = 0; i < count; i++) {
    if (has_class(&x, classes[i]))
      return true;
    x = extend(s, &x, classes[i]);
  }
  lu_cost c;
  uint64_t hash;
  bool wide, floats;
  if (!lu_cost_set(s, x.faults, x.count, x.undriven, false, &c, &hash, &wide, &floats))
    return true;
  x.cost = c.total;
  x.exact = !c.wrong;
  if (x.exact && s->set_count < SETS_MOST) {
    size_t before = s->set_count;
    if (!verify(s, &x))
      return false;
    b->found |= s->set_count > before;
  }
  keep_best(b->sets, &b->count, SOWN_MOST, &x);
  return true;
}

/* Each of the chosen seeds in its likeliest variants, in all combinations. */
static bool sow_cover(lu_search *s, bed *b, const lu_seed *seeds, const size_t *chosen, size_t count)
{
  uint32_t classes[LU_FAULTS_MOST];
  size_t each = 1, all = 1;
  for (size_t n = 2; n <= LU_SEED_VARIANTS_MOST; n++) {
    size_t product = 1;
    for (size_t i = 0; i < count; i++)
      product *= n;
    each = product <= COMBINATIONS_MOST ? n : each;
  }
  for (size_t i = 0; i < count; i++)
    all *= each;
  for (size_t i = 0; i < all; i++) {
    bool there = true;
    for (size_t k = 0, left = i; k < count; k++, left /= each) {
      there &= left % each < seeds[chosen[k]].count;
      classes[k] = seeds[chosen[k]].classes[there ? left % each : 0];
    }
    if (there && !sow_one(s, b, classes, count))
      return false;
  }
  return true;
}

/* Around the best sets: each member in all variants of its seed. */
static bool tend(lu_search *s, bed *b, const lu_seed *seeds, size_t seed_count)
{
  bed first = *b;
  for (size_t i = 0; i < first.count && i < 3; i++)
    for (size_t k = 0; k < first.sets[i].count; k++) {
      uint32_t classes[LU_FAULTS_MOST];
      memcpy(classes, first.sets[i].classes, sizeof classes);
      const lu_seed *x = NULL;
      for (size_t m = 0; !x && m < seed_count; m++)
        for (size_t v = 0; !x && v < seeds[m].count; v++)
          x = seeds[m].classes[v] == classes[k] ? &seeds[m] : NULL;
      for (size_t v = 0; x && v < x->count; v++) {
        classes[k] = x->classes[v];
        if (!sow_one(s, b, classes, first.sets[i].count))
          return false;
      }
    }
  return true;
}

static bool sow(lu_search *s, bed *b)
{
  lu_seed seeds[LU_SEEDS_MOST];
  size_t count = lu_seeds(s, seeds), chosen[2][LU_FAULTS_MOST], n[2];
  for (int wide = 1; wide >= 0; wide--) {
    n[wide] = lu_seeds_cover(seeds, count, wide, chosen[wide]);
    if (n[wide] < 2 || (!wide && n[0] == n[1] && !memcmp(chosen[0], chosen[1], n[0] * sizeof **chosen)))
      continue;
    if (!sow_cover(s, b, seeds, chosen[wide], n[wide]))
      return false;
  }
  return tend(s, b, seeds, count);
}

/* Sets of so many of the likeliest faults may outweigh what was found. */
static bool outweighed(const lu_search *s, size_t count)
{
  return clear_prior(s) < likely_fault * (double)count;
}

/* What was found gives the reading, but is unlikely: sets of one fault more, all of them likely, that give it, too. */
static bool likelier_sets(lu_search *s, const lu_set *beam, size_t count, const lu_set *partners, size_t partner_count,
                          lu_set *next)
{
  bool found = false;
  size_t next_count;
  s->least = clear_prior(s) - rival;
  return deepen(s, beam, count, partners, partner_count, next, &next_count, &found);
}

/* After the last level: what else gives the same, nearby. */
static bool finish(lu_search *s, const lu_set *partners, size_t partner_count)
{
  bool done = s->set_count >= SETS_MOST || look_around(s, partners, partner_count);
  s->least = -INFINITY;
  return done;
}

bool lu_search_sets(lu_search *s)
{
  if (!verify_singles(s, 0))
    return false;
  s->budget = s->hypotheses + DEPTH_BUDGET;
  lu_tally_begin("sets of faults tried", 0);
  lu_arena *mem = s->joint->mem;
  lu_set *partners = LU_NEW(mem, lu_set, PARTNERS_MOST), *beam = LU_NEW(mem, lu_set, PAIRS_MOST),
         *next = LU_NEW(mem, lu_set, PAIRS_MOST), *spare = LU_NEW(mem, lu_set, PAIRS_MOST);
  bed *sown = LU_NEW(mem, bed, 1);
  if (!partners || !beam || !next || !spare || !sown)
    return false;
  if (told_all(s, 1) && !outweighed(s, 2))
    return true;
  if (told_all(s, 1)) {
    size_t n = helpers(s, partners, PARTNERS_MOST);
    return likelier_sets(s, partners, n < PAIRS_MOST ? n : PAIRS_MOST, partners, n, next) && finish(s, partners, n);
  }
  sort_sets(s, 16);
  if (!lu_search_more_classes(s) || !sow(s, sown))
    return false;
  s->least = clear_prior(s) - unlikely;
  size_t partner_count = helpers(s, partners, PARTNERS_MOST), next_count;
  size_t count = partner_count < PAIRS_MOST ? partner_count : PAIRS_MOST;
  memcpy(beam, partners, count * sizeof *beam);
  s->pairs_done = partner_count <= PAIRS_MOST && !s->later_count;
  for (size_t depth = 2; depth <= LU_FAULTS_MOST && count; depth++) {
    bool found = sown->found;
    s->budget = s->hypotheses + DEPTH_BUDGET;
    if (!deepen(s, beam, count, partners, partner_count, next, &next_count, &found))
      return false;
    for (size_t i = 0; i < sown->count; i++)
      if (sown->sets[i].count == depth)
        keep_best(next, &next_count, BEAM, &sown->sets[i]);
    if (found && told_all(s, depth)) {
      bool more = depth < LU_FAULTS_MOST && outweighed(s, depth + 1);
      return (!more || likelier_sets(s, next, next_count, partners, partner_count, beam)) && finish(s, partners, partner_count);
    }
    bool told = false;
    if (depth == 2 && !sown->found && !replay_singles(s, &told))
      return false;
    if (told)
      return true;
    if (depth == 2 && !sown->found && !replay_pairs(s, partners, partner_count, spare, &told))
      return false;
    if (told)
      return finish(s, partners, partner_count);
    lu_set *t = beam;
    beam = next;
    next = t;
    count = next_count;
  }
  if (s->set_count)
    return finish(s, partners, partner_count);
  for (size_t i = 0; i < count && i < 4; i++)
    keep_near(s, &beam[i]);
  for (size_t i = 0; i < partner_count && i < 4; i++)
    keep_near(s, &partners[i]);
  return true;
}
