/* SPDX-License-Identifier: MIT */
#include "reason/standins.h"

#include "reason/cost.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { MEMBERS_MOST = 8, PLAYED_MOST = 400, OPEN_MOST = 8, CLIMBS_MOST = 4, PLAYED_COST = 16 };

static const uint64_t words_most = 4u << 20;    /* to be counted for one set */

typedef struct bench {
  lu_search *s;
  const lu_set *set;
  size_t at;          /* the place */
  uint64_t effect;    /* of the set */
  uint64_t open;      /* bits of the samples of which the set says nothing */
  uint64_t words;     /* counted so far */
  bool wide;
  unsigned played;
  lu_place *place;
  size_t room;
  lu_set better;      /* the set with one fault exchanged that says most */
  double gain;        /* by so much more than the set; 0: none does */
  double prior;       /* of that set */
} bench;

/* The set on the samples; given up (false) when it is wrong there, or leaves more bits open than allowed. */
static bool fits_samples(const lu_search *s, const lu_set *x, uint64_t open_most, uint64_t *open)
{
  const lu_joint *j = s->joint;
  lu_cost c = {0};
  for (size_t r = 0; r < j->look_count; r++) {
    uint64_t hash;
    bool wide, floats, compiled = lu_joint_compile(j, r, x->faults, x->count, x->undriven, &hash, &wide, &floats);
    if (wide)
      return false;
    for (unsigned at = 0; at < j->looks[r].sample_count; at++) {
      unsigned i = lu_look_sample(&j->looks[r], at);
      lu_cost_samples(j, &j->looks[r], i, i + 1, compiled, &c);
      if (c.wrong || c.open > open_most)
        return false;
    }
  }
  *open = c.open;
  return true;
}

static bool add(bench *b, const lu_fault *f, uint32_t class, double weight)
{
  lu_standin *p = lu_arena_grow(b->s->joint->mem, b->place->list, b->place->count, &b->room, sizeof *p);
  if (!p)
    return false;
  b->place->list = p;
  p[b->place->count++] = (lu_standin){*f, class, weight};
  return true;
}

/* What the bits weigh that the set gets wrong or leaves open with this fault in it; infinite: it does not stand. */
static double burden(bench *b, const lu_fault *f, uint32_t class, lu_level undriven)
{
  lu_set x = *b->set;
  x.faults[b->at] = *f;
  x.classes[b->at] = class;
  x.undriven = undriven;
  if (class != UINT32_MAX && lu_search_effect(b->s, &x) == b->effect)
    return 0;
  uint64_t open;
  if (!b->wide || !fits_samples(b->s, &x, b->open + OPEN_MOST, &open))
    return INFINITY;
  const lu_joint *j = b->s->joint;
  if (b->words < words_most) {
    for (size_t r = 0; r < j->look_count; r++)
      b->words += j->looks[r].evidence->got.held_count * (class == UINT32_MAX ? PLAYED_COST : 1);
    lu_search_count(b->s, &x, (uint64_t)j->noise_most);
  }
  if ((double)x.wrong > j->noise_most)
    return INFINITY;
  double cost = j->wrong_cost * ((double)x.wrong - (double)b->set->wrong) +
                lu_unknown_cost * ((double)x.unknown - (double)b->set->unknown);
  if (class != UINT32_MAX && -cost > b->gain) {
    b->gain = -cost;
    b->prior = b->set->prior + b->s->classes[class].prior - b->s->classes[b->set->classes[b->at]].prior;
    b->better = x;
  }
  return fmax(cost, 0);
}

static bool try_member(bench *b, const lu_member *m, uint32_t class, lu_level undriven, bool *stands)
{
  double cost = burden(b, &m->fault, class, undriven);
  *stands = cost < 30;
  return !*stands || add(b, &m->fault, class, m->prior - cost);
}

static uint64_t other_nets(const bench *b)
{
  uint64_t nets = 0;
  for (size_t i = 0; i < b->set->count; i++)
    if (i != b->at && b->set->classes[i] != UINT32_MAX)
      nets |= b->s->classes[b->set->classes[i]].nets;
  return nets;
}

/* Members of one class do the same as long as nothing else is broken on their nets; else each is tried. */
static bool try_class(bench *b, uint32_t class)
{
  lu_search *s = b->s;
  const lu_class *c = &s->classes[class];
  lu_level undriven = c->floats ? c->undriven : b->set->undriven;
  bool alone = class != b->set->classes[b->at] && !(c->nets & other_nets(b)), stands = true;
  double cost = alone ? burden(b, &c->fault, class, undriven) : 0;
  if (cost > 30)
    return true;
  unsigned tried = 0;
  for (uint32_t m = c->first_member; m != UINT32_MAX; m = s->members[m].next) {
    if (alone ? !add(b, &s->members[m].fault, class, s->members[m].prior - cost)
              : !try_member(b, &s->members[m], class, undriven, &stands))
      return false;
    if (!alone && class != b->set->classes[b->at] && ++tried == MEMBERS_MOST)
      break;
  }
  return true;
}

/* Faults that have to be played through, on the lines of this place. */
static bool try_later(bench *b, uint64_t lanes)
{
  lu_search *s = b->s;
  size_t was = s->joint->replays;
  bool ok = true;
  s->joint->replays = b->set->count;
  for (size_t i = 0; ok && i < s->later_count && b->played < PLAYED_MOST; i++) {
    const lu_fault *f = &s->later[i];
    if (!(lu_joint_lanes(s->joint, f) & lanes))
      continue;
    b->played++;
    double cost = burden(b, f, UINT32_MAX, b->set->undriven);
    ok = cost > 30 || add(b, f, UINT32_MAX, lu_joint_prior(s->joint, f) - cost);
  }
  s->joint->replays = was;
  return ok;
}

static int by_weight(const void *a, const void *b)
{
  const lu_standin *x = a, *y = b;
  if (x->weight != y->weight)
    return x->weight > y->weight ? -1 : 1;
  return memcmp(&x->fault, &y->fault, sizeof x->fault);
}

static void close_place(lu_place *p)
{
  if (!p->count)
    return;
  qsort(p->list, p->count, sizeof *p->list, by_weight);
  double sum = 0;
  for (size_t i = 0; i < p->count; i++)
    sum += exp(p->list[i].weight - p->list[0].weight);
  p->sum = p->list[0].weight + log(sum);
}

static bool fill(bench *b)
{
  const lu_search *s = b->s;
  const lu_class *own = &s->classes[b->set->classes[b->at]];
  for (size_t i = 0; i < s->class_count; i++) {
    const lu_class *c = &s->classes[i];
    bool near = c == own || (b->wide && !c->wide && (c->lanes & own->lanes || c->face == own->face));
    if (near && !try_class(b, (uint32_t)i))
      return false;
  }
  if (!b->place->count && !add(b, &b->set->faults[b->at], b->set->classes[b->at], own->prior))
    return false;
  return !b->wide || try_later(b, own->lanes);
}

static bool fill_all(bench *b, lu_place *places)
{
  for (size_t k = 0; k < b->set->count; k++) {
    places[k] = (lu_place){0};
    if (b->set->classes[k] == UINT32_MAX)
      continue;
    b->at = k;
    b->place = &places[k];
    b->room = 0;
    if (!fill(b))
      return false;
    close_place(&places[k]);
  }
  return true;
}

bool lu_standins(lu_search *s, lu_set *set, bool wide, lu_place *places)
{
  enum { TELLING = 10 };
  bool exact = set->exact;
  for (unsigned i = 0;; i++) {
    bench b = {.s = s, .set = set, .effect = lu_search_effect(s, set), .wide = wide && exact};
    b.wide = b.wide && fits_samples(s, set, UINT64_MAX, &b.open);
    if (!fill_all(&b, places))
      return false;
    if (b.gain < TELLING || i == CLIMBS_MOST)
      return true;
    *set = b.better;
    set->prior = b.prior;
  }
}

static bool holds(const lu_place *p, const lu_fault *f)
{
  for (size_t i = 0; i < p->count; i++)
    if (!memcmp(&p->list[i].fault, f, sizeof *f))
      return true;
  return false;
}

static bool match(const lu_place *places, size_t count, const lu_set *x, unsigned used, size_t at)
{
  if (at == count)
    return true;
  for (size_t k = 0; k < count; k++)
    if (!(used >> k & 1) && holds(&places[at], &x->faults[k]) && match(places, count, x, used | 1u << k, at + 1))
      return true;
  return false;
}

bool lu_standins_cover(const lu_place *places, size_t count, const lu_set *x)
{
  return x->count == count && match(places, count, x, 0, 0);
}
