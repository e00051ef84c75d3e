/* SPDX-License-Identifier: MIT */
#include "reason/search.h"

#include "reason/seeds.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/* A part of what is broken explains less than all of it, but hardly ever makes wrong what reads right: HARM_WEIGHT. */
enum { HARM_WEIGHT = 3, FIRST_LOOK = 12, SECOND_LOOK = 56, BEAM = 32, VAGUE_BEAM = 8, HIDDEN_BASES = 4, PAIRS_MOST = 160, PARTNERS_MOST = 500, SETS_MOST = 300, TELLING = 30, AFTER_FOUND = 8000, DEPTH_BUDGET = 24000, VAGUE_MOST = 8, MEMBERS_MOST = 6, RETRIES_MOST = 100 };

static const double unknown_cost = 0.693; /* ln 2: a bit of which nothing is known */
/* While the search goes, such a bit counts nearly as much as a guess that is wrong half the time:
 * "anything can be there" must not beat a fault that gives half of what is wrong. */
static const double unknown_share = 0.42;
static const double likely_fault = -5.3; /* ln of the prior of the likeliest faults */
static const double unlikely = 2;      /* once a set is found, others that are less likely by so much are not looked for */
static const double rival = 1;           /* by so much less likely sets still count */
static const double swings_most = 0.5; /* unknown bits, as a share of the wrong ones, of a set that tells all */

/* --- what a hypothesis costs on the samples -------------------------------------------------------- */

typedef struct cost {
  double total, gain, harm;
  uint64_t bits; /* steady bits that are wrong */
  uint64_t open; /* bits of which nothing is known */
  bool wrong;    /* more of them than noise makes */
  uint64_t face; /* of the predictions */
} cost;

/* Wrong bits, and as much again for each byte that is not right altogether: data from a wrong address
 * have half of their bits right, so whole bytes tell a right address from a lucky one. */
static double wrongness(uint64_t bad)
{
  if (!bad)
    return 0;
  uint64_t any = bad | bad >> 4;
  any |= any >> 2;
  any |= any >> 1;
  any &= 0x0101010101010101u;
  return __builtin_popcountll(bad) + 3.0 * __builtin_popcountll(any);
}

static void sample_cost(const lu_joint *j, const lu_look *k, unsigned from, unsigned to, bool compiled, cost *c)
{
  for (unsigned s = from; s < to; s++) {
    uint64_t value = 0, unknown = 0, bad = k->healthy[s];
    if (compiled) {
      lu_view_word(k->view, k->evidence, k->sample[s], &value, &unknown);
      uint64_t changed = k->view->changed;
      bad = (k->healthy[s] & ~changed) | ((value ^ k->got[s]) & changed & ~unknown & k->steady[s]);
      unknown &= changed & k->steady[s];
      uint64_t whole = (value & changed) | (lu_word(&k->evidence->known, k->sample[s]) & ~changed);
      c->face = (c->face ^ ((whole & ~unknown) + 0x9e3779b97f4a7c15u * unknown + s)) * 0xbf58476d1ce4e5b9u;
      c->face ^= c->face >> 29;
    }
    double was = j->wrong_cost * wrongness(k->healthy[s]);
    double now = j->wrong_cost * wrongness(bad) + unknown_share * j->wrong_cost * __builtin_popcountll(unknown);
    c->total += now > was ? now + HARM_WEIGHT * (now - was) : now;
    c->bits += (uint64_t)__builtin_popcountll(bad);
    c->open += (uint64_t)__builtin_popcountll(unknown);
    c->wrong = (double)c->bits > j->sample_noise;
    if (now < was)
      c->gain += was - now;
    else
      c->harm += now - was;
  }
}

static unsigned look_count(const lu_search *s, unsigned to)
{
  unsigned n = 0;
  for (size_t r = 0; r < s->joint->look_count; r++) {
    unsigned c = s->joint->looks[r].sample_count;
    n += c < to ? c : to;
  }
  return n;
}

static void look_range(lu_search *s, const bool *compiled, unsigned from, unsigned to, cost *c)
{
  lu_joint *j = s->joint;
  for (size_t r = 0; r < j->look_count; r++) {
    const lu_look *k = &j->looks[r];
    for (unsigned at = from; at < to && at < k->sample_count; at++) {
      unsigned x = lu_look_sample(k, at);
      sample_cost(j, k, x, x + 1, compiled[r], c);
    }
  }
}

/* Costs of a fault set over all readings. With quick, gives up (returns false) when a first look at
 * words that differ shows no gain at all. */
static bool set_cost(lu_search *s, const lu_fault *faults, size_t count, lu_level undriven, bool quick, cost *c,
                     uint64_t *hash, bool *wide, bool *floats)
{
  lu_joint *j = s->joint;
  uint64_t h = 0;
  bool any = false, compiled[LU_READINGS_MOST];
  *wide = *floats = false;
  *c = (cost){0};
  for (size_t r = 0; r < j->look_count; r++) {
    uint64_t one;
    bool w, f;
    compiled[r] = lu_joint_compile(j, r, faults, count, undriven, &one, &w, &f);
    *wide |= w;
    *floats |= f;
    any |= compiled[r];
    h = (h ^ (compiled[r] ? one : 0)) * 0x9e3779b97f4a7c15u + r;
  }
  *hash = any ? h | 1 : 0;
  s->hypotheses++;
  if (!any || *wide)
    return false;
  look_range(s, compiled, 0, FIRST_LOOK, c);
  if (quick && c->gain == 0 && s->healthy_cost > 0)
    return false;
  /* one that is wrong somewhere is judged by part of the samples */
  look_range(s, compiled, FIRST_LOOK, SECOND_LOOK, c);
  if (c->wrong && quick) {
    unsigned all = 0, base = look_count(s, SECOND_LOOK);
    for (size_t r = 0; r < j->look_count; r++)
      all += j->looks[r].sample_count;
    double scale = base ? (double)all / base : 1;
    c->total = s->healthy_cost - (c->gain - c->harm) * scale;
    c->gain *= scale;
    c->harm *= scale;
    return true;
  }
  look_range(s, compiled, SECOND_LOOK, LU_SAMPLES_MOST, c);
  return true;
}

static double healthy_cost(const lu_joint *j)
{
  cost c = {0};
  for (size_t r = 0; r < j->look_count; r++)
    sample_cost(j, &j->looks[r], 0, j->looks[r].sample_count, false, &c);
  return c.total;
}

/* --- classes ------------------------------------------------------------------------------------------ */

static bool grow_table(lu_search *s)
{
  size_t room = s->table_room ? s->table_room * 2 : 4096;
  uint32_t *t = LU_NEW(s->joint->mem, uint32_t, room);
  if (!t)
    return false;
  for (size_t i = 0; i < s->class_count; i++) {
    size_t at = s->classes[i].hash & (room - 1);
    while (t[at])
      at = (at + 1) & (room - 1);
    t[at] = (uint32_t)i + 1;
  }
  s->table = t;
  s->table_room = room;
  return true;
}

static lu_class *class_of(lu_search *s, uint64_t hash, bool *fresh)
{
  if (s->class_count * 2 >= s->table_room && !grow_table(s))
    return NULL;
  size_t at = hash & (s->table_room - 1);
  while (s->table[at] && s->classes[s->table[at] - 1].hash != hash)
    at = (at + 1) & (s->table_room - 1);
  *fresh = !s->table[at];
  if (!*fresh)
    return &s->classes[s->table[at] - 1];
  lu_class *p = lu_arena_grow(s->joint->mem, s->classes, s->class_count, &s->class_room, sizeof *p);
  if (!p)
    return NULL;
  s->classes = p;
  s->table[at] = (uint32_t)s->class_count + 1;
  p[s->class_count] = (lu_class){.hash = hash, .first_member = UINT32_MAX};
  return &p[s->class_count++];
}

static double log_add(double a, double b)
{
  double m = a > b ? a : b;
  return m + log(exp(a - m) + exp(b - m));
}

static void mark_nets(const lu_joint *j, lu_class *c, const lu_fault *f)
{
  if (f->kind >= LU_FAULT_DEAD) {
    c->lanes = UINT64_MAX;
    return;
  }
  bool two = f->kind == LU_FAULT_BRIDGE || f->kind == LU_FAULT_SWAP;
  c->nets |= UINT64_C(1) << f->net % 64 | (two ? UINT64_C(1) << f->net2 % 64 : 0);
  c->lanes |= UINT64_C(1) << j->nets[f->net].lane % 64 | (two ? UINT64_C(1) << j->nets[f->net2].lane % 64 : 0);
}

static bool add_member(lu_search *s, lu_class *c, const lu_fault *f)
{
  lu_member *p = lu_arena_grow(s->joint->mem, s->members, s->member_count, &s->member_room, sizeof *p);
  if (!p)
    return false;
  s->members = p;
  double prior = lu_joint_prior(s->joint, f);
  p[s->member_count] = (lu_member){*f, prior, c->first_member};
  if (!c->member_count || prior > c->best) {
    c->fault = *f;
    c->best = prior;
  }
  c->prior = c->member_count ? log_add(c->prior, prior) : prior;
  c->first_member = (uint32_t)s->member_count++;
  c->member_count++;
  mark_nets(s->joint, c, f);
  return true;
}

static bool add_later(lu_search *s, const lu_fault *f)
{
  lu_fault *p = lu_arena_grow(s->joint->mem, s->later, s->later_count, &s->later_room, sizeof *p);
  if (!p)
    return false;
  s->later = p;
  p[s->later_count++] = *f;
  return true;
}

/* The fault joins the class of its effect; the class's cost is worked out when it is new. A fault
 * that leaves a bus undriven is tried with each level that such a bus can read. */
static bool add_fault(lu_search *s, const lu_fault *f)
{
  cost c;
  uint64_t hash;
  bool wide, floats, fresh;
  for (unsigned level = LU_LEVEL_LOW; level <= LU_LEVEL_ADDRESS; level++) {
    static const uint8_t order[] = {LU_LEVEL_HIGH, LU_LEVEL_LOW, LU_LEVEL_KEEP, LU_LEVEL_ADDRESS};
    lu_level undriven = (lu_level)order[level];
    bool useful = set_cost(s, f, 1, undriven, true, &c, &hash, &wide, &floats);
    if (!hash && !wide)
      return true;
    if (wide && !s->joint->replays)
      return add_later(s, f);
    lu_class *k = class_of(s, hash, &fresh);
    if (!k)
      return false;
    if (fresh) {
      k->undriven = undriven;
      k->floats = floats;
      k->wide = wide || s->joint->replays; /* no part of larger sets */
      k->cost = useful ? c.total : s->healthy_cost + c.harm;
      k->gain = useful ? c.gain : 0;
      k->harm = c.harm;
      k->exact = useful && !c.wrong;
      k->face = c.face;
      for (size_t r = 0; r < s->joint->look_count; r++)
        k->columns |= s->joint->looks[r].view->changed;
    }
    if (!add_member(s, k, f))
      return false;
    if (f->kind == LU_FAULT_STUCK)
      s->stuck[4 * (2 * f->net + f->level) + level] = (uint32_t)(k - s->classes) + 1;
    bool own_level = f->kind == LU_FAULT_OPEN && (s->joint->nets[f->net].carries & LU_CARRIES_DATA);
    if (!floats || own_level)
      return true;
  }
  return true;
}

/* --- all single faults ----------------------------------------------------------------------------------- */

static bool add_open(lu_search *s, uint16_t net, uint64_t cut)
{
  lu_fault f = {.kind = LU_FAULT_OPEN, .net = net, .cut = cut};
  bool data = s->joint->nets[net].carries & LU_CARRIES_DATA;
  for (unsigned level = LU_LEVEL_LOW; level <= (data ? LU_LEVEL_KEEP : LU_LEVEL_HIGH); level++) {
    f.level = (uint8_t)level;
    if (!add_fault(s, &f))
      return false;
  }
  return true;
}

static bool add_net_faults(lu_search *s, uint16_t net)
{
  const lu_jnet *n = &s->joint->nets[net];
  lu_fault f = {.kind = LU_FAULT_STUCK, .net = net};
  for (unsigned level = LU_LEVEL_LOW; level <= LU_LEVEL_HIGH; level++) {
    f.level = (uint8_t)level;
    if (!add_fault(s, &f))
      return false;
  }
  uint64_t all = n->interest, receivers = all & ~n->drivers;
  if (!(all & (all - 1)))
    return true;
  for (uint64_t m = all; m; m &= m - 1) {
    uint64_t one = m & -m;
    if (one != n->drivers && !add_open(s, net, one))
      return false;
  }
  bool one_driver = n->drivers && !(n->drivers & (n->drivers - 1));
  if (one_driver && (receivers & (receivers - 1)) && !add_open(s, net, receivers))
    return false;
  return true;
}

static bool add_dead_parts(lu_search *s)
{
  for (size_t i = 0; i < s->joint->part_count; i++) {
    const lu_jpart *p = &s->joint->parts[i];
    lu_fault f = {.kind = LU_FAULT_DEAD, .part = (uint16_t)i};
    for (unsigned lost = LU_LOST_OUTPUTS; lost <= LU_LOST_ALL; lost++) {
      f.lost = (uint8_t)lost;
      bool sense = p->chip ? !p->rom || lost == LU_LOST_OUTPUTS : p->drives && lost == LU_LOST_OUTPUTS;
      if (sense && !add_fault(s, &f))
        return false;
    }
  }
  return true;
}

static bool part_on(const lu_board *b, uint32_t net, uint32_t part)
{
  for (uint32_t i = 0; net != LU_NONE && i < b->nets[net].pin_count; i++)
    if (b->pins[b->net_pins[b->nets[net].first_pin + i]].part == part)
      return true;
  return false;
}

static bool share_network(const lu_joint *j, const lu_jnet *a, const lu_jnet *b)
{
  for (size_t r = 0; r < j->look_count; r++)
    if (a->local[r] != UINT16_MAX && b->local[r] != UINT16_MAX)
      return true;
  return false;
}

/* Many bridges come to nothing or to one net held at a level: these need no run of their own. */
static bool add_bridge(lu_search *s, const lu_fault *f)
{
  lu_fault like;
  switch (lu_joint_bridge(s->joint, f, &like)) {
  case LU_BRIDGE_NOTHING:
    return true;
  case LU_BRIDGE_LOOP:
    return s->joint->replays ? add_fault(s, f) : add_later(s, f);
  case LU_BRIDGE_STUCK:
    for (unsigned k = 0; k < 4; k++) {
      uint32_t c = s->stuck[4 * (2 * like.net + like.level) + k];
      if (c && !add_member(s, &s->classes[c - 1], f))
        return false;
    }
    return true;
  case LU_BRIDGE_OTHER:
    break;
  }
  return add_fault(s, f);
}

static bool add_pairs_of(lu_search *s, uint16_t a, uint16_t b)
{
  const lu_joint *j = s->joint;
  lu_fault f = {.kind = LU_FAULT_BRIDGE, .net = a, .net2 = b};
  for (unsigned acts = LU_ACTS_AND; acts <= LU_ACTS_SECOND; acts++) {
    f.acts = (uint8_t)acts;
    if (!add_bridge(s, &f))
      return false;
  }
  f.kind = LU_FAULT_SWAP;
  f.acts = 0;
  for (uint16_t p = 0; p < j->part_count; p++) {
    f.part = p;
    if (part_on(j->board, j->nets[a].net, j->parts[p].part) && part_on(j->board, j->nets[b].net, j->parts[p].part) &&
        !add_fault(s, &f))
      return false;
  }
  return true;
}

/* The columns that a disturbance of the net reaches, of each reading; true if something is wrong in
 * one of them. */
static bool reach(lu_search *s, uint16_t net)
{
  const lu_joint *j = s->joint;
  bool any = false;
  for (size_t r = 0; r < j->look_count; r++) {
    uint16_t local = j->nets[net].local[r];
    uint64_t *columns = &s->reach[net * j->look_count + r];
    if (local == UINT16_MAX)
      continue;
    lu_fault f = {.kind = LU_FAULT_STUCK, .net = local};
    for (unsigned level = LU_LEVEL_LOW; level <= LU_LEVEL_HIGH; level++) {
      f.level = (uint8_t)level;
      lu_effect e = lu_sim_run(j->looks[r].sim, &f, 1);
      lu_view *v = j->looks[r].view;
      lu_view_compile(v, j->looks[r].evidence->network, j->looks[r].evidence->know, &e, &f, 1, LU_LEVEL_HIGH);
      *columns |= v->wide ? j->looks[r].all : v->changed;
    }
    any |= (*columns & j->looks[r].columns) != 0;
  }
  return any;
}

/* The two nets together reach everything that is wrong: only then can one bridge or swap of them
 * be all there is. */
static bool reach_all(const lu_search *s, uint16_t a, uint16_t b)
{
  const lu_joint *j = s->joint;
  for (size_t r = 0; r < j->look_count; r++)
    if (j->looks[r].columns & ~(s->reach[a * j->look_count + r] | s->reach[b * j->look_count + r]))
      return false;
  return true;
}

/* Opens that cut off just those receivers whose own chips say so: where several single pins each
 * help, the break may lie before all of them. */
static bool add_groups(lu_search *s, uint16_t net)
{
  const lu_jnet *n = &s->joint->nets[net];
  uint64_t receivers = n->interest & ~n->drivers;
  if (__builtin_popcountll(receivers) < 3)
    return true;
  for (unsigned level = LU_LEVEL_LOW; level <= LU_LEVEL_HIGH; level++) {
    uint64_t cut = 0;
    for (uint64_t m = receivers; m; m &= m - 1) {
      lu_fault f = {.kind = LU_FAULT_OPEN, .net = net, .cut = m & -m, .level = (uint8_t)level};
      cost c;
      uint64_t hash;
      bool wide, floats;
      if (set_cost(s, &f, 1, LU_LEVEL_HIGH, true, &c, &hash, &wide, &floats) && c.gain > 4 * c.harm)
        cut |= f.cut;
    }
    lu_fault f = {.kind = LU_FAULT_OPEN, .net = net, .cut = cut, .level = (uint8_t)level};
    if ((cut & (cut - 1)) && cut != receivers && !add_fault(s, &f))
      return false;
  }
  return true;
}

/* Bridges and swaps of those pairs of nets that can be (whole) or cannot be the only fault. */
static bool add_pairs(lu_search *s, bool whole)
{
  const lu_joint *j = s->joint;
  for (uint16_t a = 0; a < j->net_count; a++)
    for (uint16_t b = (uint16_t)(a + 1); b < j->net_count; b++)
      if (!j->nets[a].constant && !j->nets[b].constant && (s->hot[a] || s->hot[b]) && reach_all(s, a, b) == whole &&
          share_network(j, &j->nets[a], &j->nets[b]) && !add_pairs_of(s, a, b))
        return false;
  return true;
}

bool lu_search_classes(lu_search *s)
{
  lu_joint *j = s->joint;
  s->healthy_cost = healthy_cost(j);
  s->clear_cost = INFINITY;
  s->least = -INFINITY;
  s->hot = LU_NEW(j->mem, bool, j->net_count + 1);
  s->reach = LU_NEW(j->mem, uint64_t, j->net_count * j->look_count + 1);
  s->stuck = LU_NEW(j->mem, uint32_t, 8 * j->net_count + 8);
  if (!s->hot || !s->reach || !s->stuck)
    return false;
  for (uint16_t i = 0; i < j->net_count; i++) {
    if (j->nets[i].constant)
      continue;
    if (!add_net_faults(s, i) || !add_groups(s, i))
      return false;
    s->hot[i] = reach(s, i);
  }
  return add_dead_parts(s) && add_pairs(s, true);
}

bool lu_search_more_classes(lu_search *s)
{
  return add_pairs(s, false);
}

/* --- sets ----------------------------------------------------------------------------------------------------- */

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
  if ((double)x->unknown * unknown_cost < TELLING && x->cost < s->clear_cost)
    s->clear_cost = x->cost;
  return true;
}

/* Not worth a look at every word: right on the samples, but they leave more unknown than a set that is known to be
 * right. Over the whole reading that weighs many times as much. */
static bool too_vague(const lu_search *s, const lu_set *x)
{
  return x->cost > s->clear_cost + VAGUE_MOST * unknown_share * s->joint->wrong_cost;
}

/* The best of those that are not right everywhere. */
static void keep_near(lu_search *s, lu_set *x)
{
  const lu_joint *j = s->joint;
  lu_search_count(s, x, UINT64_MAX);
  double now = (double)x->wrong * j->wrong_cost + (double)x->unknown * unknown_cost - x->prior;
  double best = (double)s->best.wrong * j->wrong_cost + (double)s->best.unknown * unknown_cost - s->best.prior;
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
      cost c = {0};
      sample_cost(j, l, i, i + 1, compiled, &c);
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
  cost c = {0};
  double was = 0;
  x->vague = false;
  for (unsigned at = 0; at < r->count; at++) {
    const lu_look *l = &j->looks[r->look[at]];
    sample_cost(j, l, r->sample[at], r->sample[at] + 1u, compiled[r->look[at]], &c);
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
  for (size_t i = from; i < s->class_count; i++) {
    if (!s->classes[i].exact)
      continue;
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
    if ((double)s->sets[i].unknown * unknown_cost < TELLING)
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
    l->found |= s->set_count > before;
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
  double p = x->prior - unknown_cost * (double)x->unknown, q = y->prior - unknown_cost * (double)y->unknown;
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
  s->joint->replays = 1; /* from here on: pairs of such faults are not tried */
  for (size_t i = 0; i < s->later_count; i++)
    if (!add_fault(s, &s->later[i]))
      return false;
  if (!verify_singles(s, from))
    return false;
  for (size_t i = known; i < s->set_count; i++)
    *told |= (double)s->sets[i].unknown < swings_most * wrong_bits(s->joint);
  return true;
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
  cost c;
  uint64_t hash;
  bool wide, floats;
  if (!set_cost(s, x.faults, x.count, x.undriven, false, &c, &hash, &wide, &floats))
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
  lu_arena *mem = s->joint->mem;
  lu_set *partners = LU_NEW(mem, lu_set, PARTNERS_MOST), *beam = LU_NEW(mem, lu_set, PAIRS_MOST),
         *next = LU_NEW(mem, lu_set, PAIRS_MOST);
  bed *sown = LU_NEW(mem, bed, 1);
  if (!partners || !beam || !next || !sown)
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
  s->pairs_done = partner_count <= PAIRS_MOST;
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
