/* SPDX-License-Identifier: MIT */
#include "reason/explain.h"

#include "reason/blind.h"
#include "reason/flicker.h"
#include "reason/inside.h"
#include "reason/standins.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { EXPLANATIONS_MOST = 64 };

/* A fault set with its weight, before it is normalised. */
typedef struct weighed {
  lu_explanation e;
  double log;
} weighed;

typedef struct tableau {
  lu_result *r;
  lu_search *s;
  weighed *rows;
  size_t count, room;
  double *net, *part;        /* suspicion by joint net, part */
  uint64_t *cut;
  double *best;
  lu_fault *fault;           /* by net, then by part */
  uint32_t *group, current;  /* the class that speaks most for it; the one being spread */
} tableau;

static uint64_t wrong_bits(const lu_joint *j)
{
  uint64_t n = 0;
  for (size_t r = 0; r < j->look_count; r++)
    n += j->looks[r].wrong;
  return n;
}

static bool add_row(tableau *t, const lu_set *set, double log, double explained, uint32_t twins)
{
  weighed *p = lu_arena_grow(t->r->joint->mem, t->rows, t->count, &t->room, sizeof *p);
  if (!p)
    return false;
  t->rows = p;
  weighed *w = &p[t->count++];
  *w = (weighed){.log = log};
  w->e.count = set->count;
  memcpy(w->e.faults, set->faults, sizeof set->faults);
  w->e.undriven = set->undriven;
  w->e.explained = explained;
  w->e.wrong = set->wrong;
  w->e.unknown = set->unknown;
  w->e.twins = twins;
  return true;
}

static void suspect_net(tableau *t, uint16_t net, double p, const lu_fault *f)
{
  t->net[net] += p;
  if (f->kind == LU_FAULT_OPEN)
    t->cut[net] |= p > 0.02 ? f->cut : 0;
  if (p > t->best[net]) {
    t->best[net] = p;
    t->fault[net] = *f;
    t->group[net] = t->current;
  }
}

static void suspect(tableau *t, const lu_fault *f, double p)
{
  size_t nets = t->r->joint->net_count;
  if (f->kind >= LU_FAULT_DEAD) {
    t->part[f->part] += p;
    if (p > t->best[nets + f->part]) {
      t->best[nets + f->part] = p;
      t->fault[nets + f->part] = *f;
      t->group[nets + f->part] = t->current;
    }
    return;
  }
  suspect_net(t, f->net, p, f);
  if (lu_fault_two_nets(f->kind))
    suspect_net(t, f->net2, p, f);
}

/* A set of one: each member of its class is an explanation of its own. */
static bool spread_one(tableau *t, const lu_set *set, double p, double log, double explained)
{
  const lu_class *c = &t->s->classes[set->classes[0]];
  t->current = set->classes[0] + 1;
  for (uint32_t m = c->first_member; m != UINT32_MAX; m = t->s->members[m].next) {
    const lu_member *x = &t->s->members[m];
    lu_set one = *set;
    one.faults[0] = x->fault;
    suspect(t, &x->fault, p * exp(x->prior - c->prior));
    if (!add_row(t, &one, log + x->prior - c->prior, explained, c->member_count))
      return false;
  }
  return true;
}

enum { VARIANTS_MOST = 4 };

/* Each combination of the likeliest, as far as it reads alike. */
static bool list_combinations(tableau *t, const lu_set *set, const lu_place *places, double log, double explained)
{
  size_t combinations = 1, count[LU_FAULTS_MOST];
  for (size_t k = 0; k < set->count; k++) {
    size_t n = places[k].count;
    count[k] = !n ? 1 : n < VARIANTS_MOST ? n : VARIANTS_MOST;
    combinations *= count[k];
  }
  for (size_t i = 0; i < combinations; i++) {
    lu_set one = *set;
    double share = log;
    size_t rest = i;
    for (size_t k = 0; k < set->count; rest /= count[k], k++) {
      if (!places[k].count)
        continue;
      const lu_standin *x = &places[k].list[rest % count[k]];
      one.faults[k] = x->fault;
      share += x->weight - places[k].sum;
    }
    if (share > -20 && !add_row(t, &one, share, explained, (uint32_t)combinations))
      return false;
  }
  return true;
}

/* Suspicion is spread over all stand-ins of each fault; the likeliest combinations are listed. */
static bool spread(tableau *t, const lu_set *set, const lu_place *places, double p, double log, double explained)
{
  if (set->count == 1 && set->classes[0] != UINT32_MAX)
    return spread_one(t, set, p, log, explained);
  for (size_t k = 0; k < set->count; k++) {
    const lu_place *at = &places[k];
    t->current = at->count ? set->classes[k] + 1 : 0;
    if (!at->count)
      suspect(t, &set->faults[k], p);
    for (size_t m = 0; m < at->count; m++)
      suspect(t, &at->list[m].fault, p * exp(at->list[m].weight - at->sum));
  }
  return list_combinations(t, set, places, log, explained);
}

static int by_log(const void *a, const void *b)
{
  const weighed *x = a, *y = b;
  if (x->log != y->log)
    return x->log > y->log ? -1 : 1;
  return memcmp(x->e.faults, y->e.faults, sizeof x->e.faults);
}

int lu_suspect_order(const void *a, const void *b)
{
  const lu_suspect *x = a, *y = b;
  if (x->probability != y->probability)
    return x->probability > y->probability ? -1 : 1;
  return x->net != y->net ? (x->net > y->net) - (x->net < y->net) : (x->part > y->part) - (x->part < y->part);
}

static int by_faults(const void *a, const void *b)
{
  const weighed *x = a, *y = b;
  if (x->e.count != y->e.count)
    return x->e.count < y->e.count ? -1 : 1;
  return memcmp(x->e.faults, y->e.faults, x->e.count * sizeof *x->e.faults);
}

/* The same faults can stand in several rows (with other levels of an undriven bus): one is enough. */
static void merge_rows(tableau *t)
{
  if (!t->count)
    return;
  qsort(t->rows, t->count, sizeof *t->rows, by_faults);
  size_t n = 0;
  for (size_t i = 1; i < t->count; i++) {
    weighed *a = &t->rows[n], *b = &t->rows[i];
    if (by_faults(a, b)) {
      t->rows[++n] = *b;
      continue;
    }
    double both = fmax(a->log, b->log) + log1p(exp(fmin(a->log, b->log) - fmax(a->log, b->log)));
    if (b->log > a->log)
      *a = *b;
    a->log = both;
  }
  t->count = n + 1;
}

static double set_log(const lu_joint *j, const lu_set *x)
{
  return x->prior - j->wrong_cost * (double)x->wrong - lu_unknown_cost * (double)x->unknown;
}

/* Groups count from 1 in the order of the suspects; one without a class stands alone. */
static void number_groups(lu_result *r)
{
  unsigned *number = LU_NEW(r->joint->mem, unsigned, r->suspect_count + 1), next = 0;
  for (size_t i = 0; number && i < r->suspect_count; i++) {
    unsigned class = r->suspects[i].group;
    size_t k = 0;
    while (class && k < i && r->suspects[k].group != class)
      k++;
    number[i] = class && k < i ? number[k] : ++next;
  }
  for (size_t i = 0; number && i < r->suspect_count; i++)
    r->suspects[i].group = number[i];
}

static bool list_suspects(tableau *t)
{
  lu_result *r = t->r;
  size_t nets = r->joint->net_count;
  r->suspects = LU_NEW(r->joint->mem, lu_suspect, nets + r->joint->part_count + 1);
  if (!r->suspects)
    return false;
  for (size_t i = 0; i < nets; i++)
    if (t->net[i] > 0 && !r->joint->nets[i].constant)
      r->suspects[r->suspect_count++] = (lu_suspect){.net = (uint16_t)i,
                                                     .part = UINT16_MAX,
                                                     .probability = fmin(t->net[i], 1),
                                                     .cut = t->cut[i],
                                                     .group = t->group[i],
                                                     .fault = t->fault[i]};
  for (size_t i = 0; i < r->joint->part_count; i++)
    if (t->part[i] > 0)
      r->suspects[r->suspect_count++] = (lu_suspect){.net = UINT16_MAX,
                                                     .part = (uint16_t)i,
                                                     .group = t->group[nets + i],
                                                     .probability = fmin(t->part[i], 1),
                                                     .fault = t->fault[nets + i]};
  qsort(r->suspects, r->suspect_count, sizeof *r->suspects, lu_suspect_order);
  number_groups(r);
  return true;
}

static bool new_tableau(tableau *t, lu_result *r, lu_search *s)
{
  size_t n = r->joint->net_count, p = r->joint->part_count;
  *t = (tableau){.r = r, .s = s};
  t->net = LU_NEW(r->joint->mem, double, n + 1);
  t->part = LU_NEW(r->joint->mem, double, p + 1);
  t->cut = LU_NEW(r->joint->mem, uint64_t, n + 1);
  t->best = LU_NEW(r->joint->mem, double, n + p + 1);
  t->fault = LU_NEW(r->joint->mem, lu_fault, n + p + 1);
  t->group = LU_NEW(r->joint->mem, uint32_t, n + p + 1);
  return t->group && t->net && t->part && t->cut && t->best && t->fault;
}

/* A set that counts, and who can stand in for each of its faults. */
typedef struct stand {
  lu_set set;
  double log; /* its weight as found */
  lu_place places[LU_FAULTS_MOST];
} stand;

enum { WIDE_MOST = 8 };
static const double light = 18; /* a set that is lighter than the heaviest by so much need not be looked around */

static bool covered(const stand *stands, size_t count, const lu_set *x)
{
  for (size_t i = 0; i < count && i < WIDE_MOST; i++)
    if (x->count > 1 && lu_standins_cover(stands[i].places, stands[i].set.count, x))
      return true;
  return false;
}

static int by_set_weight(const void *a, const void *b)
{
  const stand *x = a, *y = b;
  if (x->log != y->log)
    return x->log > y->log ? -1 : 1;
  return memcmp(x->set.faults, y->set.faults, sizeof x->set.faults);
}

/* The sets that are no stand-ins of a heavier one; their priors become those of all who can stand in. */
static bool take_stands(tableau *t, const lu_set *given, size_t count, stand *stands, size_t *out)
{
  for (size_t i = 0; i < count; i++)
    stands[i] = (stand){.set = given[i], .log = set_log(t->r->joint, &given[i])};
  if (count)
    qsort(stands, count, sizeof *stands, by_set_weight);
  double most = count ? stands[0].log : 0;
  for (size_t i = 0; i < count; i++) {
    if (covered(stands, *out, &stands[i].set))
      continue;
    stand *x = &stands[*out];
    *x = stands[i];
    if (x->set.count > 1) {
      bool wide = *out < WIDE_MOST && x->log > most - light;
      if (!lu_standins(t->s, &x->set, wide, x->places))
        return false;
      for (size_t k = 0; k < x->set.count; k++)
        if (x->places[k].count)
          x->set.prior += x->places[k].sum - t->s->classes[x->set.classes[k]].prior;
    }
    ++*out;
  }
  return true;
}

/* A set of several faults that leaves much unknown agrees with a reading because it says little of it: the right set may
 * be one that the search did not meet. ln of what is left for those that it met; docs/accuracy.md has the shares. */
static double met(const stand *heaviest)
{
  static const double telling = 30, share = 0.9;
  return heaviest->set.count > 1 && (double)heaviest->set.unknown * lu_unknown_cost > telling ? log(share) : 0;
}

/* The sets with their weights; healthy_log: nothing being broken. Their sum is 1, or less where the right one may not be
 * among them. */
static bool weigh(tableau *t, const lu_set *given, size_t count, double healthy_log)
{
  const lu_joint *j = t->r->joint;
  stand *stands = LU_NEW(j->mem, stand, count + 1);
  size_t n = 0;
  if (!stands || !take_stands(t, given, count, stands, &n))
    return false;
  double most = healthy_log, sum = 0, total = (double)wrong_bits(j), share = 0;
  for (size_t i = 0; i < n; i++) {
    double log_x = set_log(j, &stands[i].set);
    share = log_x > most ? met(&stands[i]) : share;
    most = fmax(most, log_x);
  }
  for (size_t i = 0; i < n; i++)
    sum += exp(set_log(j, &stands[i].set) - most);
  sum += exp(healthy_log - most);
  for (size_t i = 0; i < n; i++) {
    const lu_set *x = &stands[i].set;
    double log_p = set_log(j, x) - most - log(sum) + share;
    /* bits of which it says nothing are half explained: it would be right in every second one */
    double missed = (double)x->wrong + 0.5 * fmin((double)x->unknown, total);
    if (!spread(t, x, stands[i].places, exp(log_p), log_p, total > 0 ? fmax(0, 1 - missed / total) : 1))
      return false;
  }
  return true;
}

bool lu_conclude(lu_result *r, lu_search *s, const lu_set *sets, size_t count, double healthy_log)
{
  tableau t;
  if (!new_tableau(&t, r, s) || !weigh(&t, sets, count, healthy_log))
    return false;
  merge_rows(&t);
  if (t.count)
    qsort(t.rows, t.count, sizeof *t.rows, by_log);
  r->explanation_count = t.count < EXPLANATIONS_MOST ? t.count : EXPLANATIONS_MOST;
  r->explanations = LU_NEW(r->joint->mem, lu_explanation, r->explanation_count + 1);
  if (!r->explanations)
    return false;
  size_t kept = 0;
  for (size_t i = 0; i < r->explanation_count; i++) {
    r->explanations[i] = t.rows[i].e;
    r->explanations[i].probability = exp(t.rows[i].log);
    kept += r->explanations[i].probability > 1e-9 || !i;
  }
  r->explanation_count = kept;
  return list_suspects(&t);
}

/* With no set that gives every bit: the best one, and what is left inside chips. */
static bool settle_rest(lu_search *s, lu_set *out, size_t *count)
{
  lu_set none = {.undriven = LU_LEVEL_HIGH, .wrong = wrong_bits(s->joint)};
  *count = 0;
  if (s->have_best) {
    lu_set x = s->best;
    (void)lu_inside_cover(s, &x);
    out[(*count)++] = x;
  } else if (lu_inside_cover(s, &none)) {
    out[(*count)++] = none;
  }
  return true;
}

/* The weight of "something else": the contents are not what is said, or more is broken than was
 * tried. It says nothing of any bit. */
static double otherwise(const lu_joint *j)
{
  double bits = 0;
  for (size_t r = 0; r < j->look_count; r++)
    bits += (double)j->looks[r].evidence->got.held_count * __builtin_popcountll(j->looks[r].all);
  return lu_other_prior - lu_unknown_cost * bits;
}

static bool search_all(lu_result *r, lu_search *s)
{
  if (!lu_search_classes(s))
    return false;
  r->singles_done = true;
  lu_set rest[2], inside = {.undriven = LU_LEVEL_HIGH};
  size_t count = 0;
  bool single = false;
  for (size_t i = 0; i < s->class_count; i++)
    single |= s->classes[i].exact;
  if (!single && wrong_bits(r->joint) < 100000 && lu_inside_cover(s, &inside) && inside.count <= 2) {
    r->exact = true;
    return lu_conclude(r, s, &inside, 1, otherwise(r->joint));
  }
  if (!lu_search_sets(s))
    return false;
  r->pairs_done = s->pairs_done;
  r->exact = s->set_count > 0;
  if (s->set_count)
    return lu_conclude(r, s, s->sets, s->set_count, otherwise(r->joint));
  if (!settle_rest(s, rest, &count))
    return false;
  r->exact = count && rest[0].exact;
  return lu_conclude(r, s, rest, count, otherwise(r->joint));
}

lu_status lu_explain(const lu_evidence *readings, size_t count, const lu_priors *priors, double noise,
                     lu_arena *mem, lu_result **out, lu_err *err)
{
  bool told;
  lu_status flicker = lu_explain_flicker(readings, count, priors, noise, mem, out, &told, err);
  if (flicker || told)
    return flicker;
  if (count == 1 && readings[0].know == LU_KNOW_NOTHING)
    return lu_explain_blind(&readings[0], priors, mem, out, err);
  lu_result *r = LU_NEW(mem, lu_result, 1);
  lu_search *s = LU_NEW(mem, lu_search, 1);
  if (!r || !s)
    return lu_fail(err, LU_ERR_NOMEM, 0, 0, "no room to reason");
  lu_status bad = lu_joint_new(readings, count, priors, noise, mem, &r->joint, err);
  if (bad)
    return bad;
  *out = r;
  uint64_t bits = 0, wrong = wrong_bits(r->joint);
  for (size_t i = 0; i < count; i++)
    bits += readings[i].got.held_count * (uint64_t)readings[i].network->data_bits;
  if ((double)wrong <= lu_noise_most(noise * (double)bits)) {
    r->verdict = LU_VERDICT_CLEAN;
    r->reason = "every word reads as it should";
    return LU_OK;
  }
  s->joint = r->joint;
  if (!search_all(r, s))
    return lu_fail(err, LU_ERR_NOMEM, 0, 0, "no room to reason");
  r->hypotheses = s->hypotheses;
  r->classes = s->class_count;
  r->verdict = LU_VERDICT_FAULTY;
  if (r->explanation_count && r->explanations[0].explained > 0.999)
    r->reason = "words differ, and the explanations give every bit of it";
  else if (r->explanation_count && r->explanations[0].explained > 0.4 && r->explanations[0].unknown)
    r->reason = "words differ; the likeliest explanations leave contents that cannot be foretold";
  else
    r->reason = "words differ, and no set of up to four faults gives it: are the contents the right ones?";
  r->exact = r->explanation_count && r->explanations[0].explained > 0.999;
  return LU_OK;
}
