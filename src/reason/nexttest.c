/* SPDX-License-Identifier: MIT */
#include "reason/nexttest.h"

#include "reason/drive.h"

#include <math.h>
#include <string.h>

static const double least_gain = 0.05, least_share = 0.002;

static uint64_t mix(uint64_t h, uint64_t x)
{
  /* the mixer of splitmix64 (Steele, Lea, Flood, OOPSLA 2014) */
  x = (h * 0x9e3779b97f4a7c15u ^ x) + 0x9e3779b97f4a7c15u;
  x = (x ^ x >> 30) * 0xbf58476d1ce4e5b9u;
  x = (x ^ x >> 27) * 0x94d049bb133111ebu;
  return x ^ x >> 31;
}

/* --- what is blamed ------------------------------------------------------------------------------------ */

enum { NAMED_MOST = 2 * (LU_FAULTS_MOST + 1) };

/* Nets, and parts from 0x10000 on, that an explanation blames. */
static size_t named(const lu_explanation *x, uint32_t out[NAMED_MOST])
{
  size_t n = 0;
  for (size_t k = 0; k < x->count; k++) {
    const lu_fault *f = &x->faults[k];
    out[n++] = f->kind >= LU_FAULT_DEAD ? 0x10000u + f->part : f->net;
    if (lu_fault_two_nets(f->kind))
      out[n++] = f->net2;
  }
  return n;
}

/* The same for the same set, in whatever order. */
static uint64_t blame(const lu_explanation *x)
{
  uint32_t list[NAMED_MOST];
  uint64_t sum = 1;
  size_t n = named(x, list);
  for (size_t i = 0; i < n; i++) {
    bool before = false;
    for (size_t k = 0; k < i; k++)
      before |= list[k] == list[i];
    sum += before ? 0 : mix(3, list[i]);
  }
  return sum;
}

/* An explanation; under a trial of another block, perhaps one of two readings of it (see split_rows). */
typedef struct row {
  const lu_explanation *x;
  double share;
  uint64_t blamed, shown;
  bool extended;
} row;

enum { ROWS_MOST = 2 * LU_TRIAL_EXPLANATIONS_MOST };

/* The explanations that count, with shares of 1 among them. */
static size_t rows_of(const lu_result *r, row *rows)
{
  size_t n = 0;
  double all = 0;
  for (size_t i = 0; i < r->explanation_count && n < LU_TRIAL_EXPLANATIONS_MOST; i++) {
    const lu_explanation *x = &r->explanations[i];
    if (x->explained < 0.999 || x->probability < least_share)
      continue;
    rows[n++] = (row){.x = x, .share = x->probability, .blamed = blame(x)};
    all += x->probability;
  }
  for (size_t i = 0; i < n; i++)
    rows[i].share /= all;
  return n;
}

static double entropy(const row *rows, size_t n, bool blamed, bool shown)
{
  double bits = 0, all = 0;
  bool done[ROWS_MOST] = {false};
  for (size_t i = 0; i < n; i++)
    all += rows[i].share;
  for (size_t i = 0; i < n; i++) {
    double p = 0;
    for (size_t k = i; k < n; k++)
      if (!done[k] && (!blamed || rows[k].blamed == rows[i].blamed) && (!shown || rows[k].shown == rows[i].shown)) {
        done[k] = true;
        p += rows[k].share / all;
      }
    bits -= p > 0 ? p * log2(p) : 0;
  }
  return bits;
}

/* Of the result about what is blamed. */
static double information(const row *rows, size_t n)
{
  double bits = entropy(rows, n, true, false) + entropy(rows, n, false, true) - entropy(rows, n, true, true);
  return bits > 1e-9 ? bits : 0;
}

double lu_next_doubt(const lu_result *r)
{
  row rows[LU_TRIAL_EXPLANATIONS_MOST];
  size_t n = rows_of(r, rows);
  return n > 1 ? entropy(rows, n, true, false) : 0;
}

/* --- what a trial shows ---------------------------------------------------------------------------------- */

static bool read_already(const lu_joint *j, const lu_network *n, size_t *which)
{
  for (*which = 0; *which < j->look_count; ++*which)
    if (j->looks[*which].evidence->network == n)
      return true;
  return false;
}

static uint16_t net_over(const lu_joint *j, const lu_network *n, uint16_t net)
{
  return j->nets[net].net == LU_NONE ? UINT16_MAX : lu_network_net(n, j->nets[net].net);
}

/* Receivers of a net that only the other network's block has. */
static uint64_t beyond(const lu_joint *j, const lu_network *n, uint16_t net)
{
  uint16_t local = net_over(j, n, net);
  return local == UINT16_MAX ? 0 : lu_net_pins_of_interest(n, local) & ~lu_net_drivers(n, local) & ~j->nets[net].interest;
}

/* The joint's fault in a network that need not be one of its readings'. */
static bool over(const lu_joint *j, const lu_network *n, const lu_fault *f, bool extended, lu_fault *out)
{
  size_t r;
  if (read_already(j, n, &r))
    return lu_joint_local(j, r, f, out);
  *out = *f;
  if (f->kind >= LU_FAULT_DEAD) {
    out->part = lu_network_part(n, j->parts[f->part].part);
    return out->part != UINT16_MAX;
  }
  out->net = net_over(j, n, f->net);
  if (out->net == UINT16_MAX)
    return false;
  if (f->kind == LU_FAULT_OPEN) {
    out->cut |= extended ? beyond(j, n, f->net) : 0;
    return (out->cut & lu_net_pins_of_interest(n, out->net)) != 0;
  }
  if (f->kind == LU_FAULT_STUCK)
    return true;
  out->net2 = net_over(j, n, f->net2);
  out->part = f->kind == LU_FAULT_SWAP ? lu_network_part(n, j->parts[f->part].part) : f->part;
  return out->net2 != UINT16_MAX && (f->kind != LU_FAULT_SWAP || out->part != UINT16_MAX);
}

/* What the readings so far say of an open leaves out pins of other blocks' chips: the break may be before
 * them or behind. For a trial there, each such explanation stands for both, by halves. */
static size_t split_rows(const lu_joint *j, const lu_network *n, const row *rows, size_t count, row *out)
{
  size_t k = 0, r;
  bool foreign = !read_already(j, n, &r);
  for (size_t i = 0; i < count; i++) {
    uint64_t more = 0;
    for (size_t f = 0; foreign && f < rows[i].x->count; f++)
      if (rows[i].x->faults[f].kind == LU_FAULT_OPEN)
        more |= beyond(j, n, rows[i].x->faults[f].net);
    out[k++] = rows[i];
    if (!more)
      continue;
    out[k - 1].share /= 2;
    out[k] = out[k - 1];
    out[k++].extended = true;
  }
  return k;
}

/* Trials of one network, [first, first + count): results by explanation go to shown[explanation * count
 * + trial]. False: one does not fit, or there is no room. */
static bool show(const lu_joint *j, const lu_trial *trials, size_t count, const row *rows, size_t n, lu_arena *mem, uint64_t *shown)
{
  const lu_network *network = trials->network;
  const lu_pattern *patterns[LU_TRIALS_MOST];
  lu_outcome outcomes[LU_TRIALS_MOST];
  lu_tester *tester = NULL;
  lu_sim *sim = lu_sim_new(network, !trials->known, mem);
  lu_err ignored = {0};
  for (size_t t = 0; t < count; t++)
    patterns[t] = trials[t].pattern;
  if (!sim || lu_tester_new(network, patterns, count, LU_LEVEL_KEEP, mem, &tester, &ignored))
    return false;
  memset(shown, 0, n * count * sizeof *shown);
  for (size_t i = 0; i < n; i++) {
    const lu_explanation *x = rows[i].x;
    lu_fault local[LU_FAULTS_MOST + 1];
    size_t faults = 0;
    for (size_t k = 0; k < x->count; k++)
      faults += over(j, network, &x->faults[k], rows[i].extended, &local[faults]);
    if (!faults)
      continue;
    lu_effect e = lu_sim_run(sim, local, faults);
    if (!e.count && !e.wide)
      continue;
    lu_tester_undriven(tester, x->undriven);
    /* what cannot be simulated is taken to look like nothing: it must not promise a gain */
    if (lu_tester_run(tester, &e, local, faults, outcomes))
      for (size_t t = 0; t < count; t++)
        shown[i * count + t] = outcomes[t].syndrome;
  }
  return true;
}

/* --- groups ------------------------------------------------------------------------------------------------ */

static bool blames_group(const lu_result *r, const lu_explanation *x, unsigned group)
{
  uint32_t list[NAMED_MOST];
  size_t n = named(x, list);
  for (size_t i = 0; i < r->suspect_count; i++) {
    const lu_suspect *s = &r->suspects[i];
    uint32_t name = s->net == UINT16_MAX ? 0x10000u + s->part : s->net;
    for (size_t k = 0; s->group == group && s->probability > 0.01 && k < n; k++)
      if (list[k] == name)
        return true;
  }
  return false;
}

/* Groups of more than one suspect, of whom not all are blamed by every explanation. */
static void find_groups(const lu_result *r, const row *rows, size_t n, lu_next_test *out)
{
  for (size_t i = 0; i < r->suspect_count && out->group_count < LU_TRIAL_GROUPS_MOST; i++) {
    unsigned group = r->suspects[i].group;
    row some[ROWS_MOST];
    size_t count = 0, members = 0;
    bool known = r->suspects[i].probability <= 0.01;
    for (size_t g = 0; g < out->group_count; g++)
      known |= out->groups[g].group == group;
    for (size_t k = 0; k < r->suspect_count; k++)
      members += r->suspects[k].group == group && r->suspects[k].probability > 0.01;
    if (known || members < 2)
      continue;
    for (size_t k = 0; k < n; k++)
      if (blames_group(r, rows[k].x, group))
        some[count++] = rows[k];
    double doubt = count > 1 ? entropy(some, count, true, false) : 0;
    if (doubt > least_gain)
      out->groups[out->group_count++] = (lu_trial_group){.group = group, .trial = SIZE_MAX, .doubt = doubt};
  }
}

/* What each trial gains for each group, [group * LU_TRIALS_MOST + trial]. */
static void try_groups(const lu_result *r, const row *rows, size_t n, size_t trial, const lu_next_test *out, double *gains)
{
  for (size_t g = 0; g < out->group_count; g++) {
    row some[ROWS_MOST];
    size_t count = 0;
    for (size_t k = 0; k < n; k++)
      if (blames_group(r, rows[k].x, out->groups[g].group))
        some[count++] = rows[k];
    gains[g * LU_TRIALS_MOST + trial] = information(some, count);
  }
}

size_t lu_next_cheapest(const lu_trial *trials, const double *gain, const bool *skip, size_t count)
{
  double most = 0;
  size_t best = SIZE_MAX;
  for (size_t i = 0; i < count; i++)
    most = skip && skip[i] ? most : fmax(most, gain[i]);
  for (size_t i = 0; i < count && most >= least_gain; i++)
    if (!(skip && skip[i]) && gain[i] >= LU_NEXT_NEARLY * most && (best == SIZE_MAX || trials[i].cost < trials[best].cost))
      best = i;
  return best;
}

static void choose(const lu_trial *trials, size_t count, const double *gains, lu_next_test *out)
{
  out->best = lu_next_cheapest(trials, out->gain, NULL, count);
  for (size_t g = 0; g < out->group_count; g++) {
    lu_trial_group *q = &out->groups[g];
    const double *gain = &gains[g * LU_TRIALS_MOST];
    q->trial = lu_next_cheapest(trials, gain, NULL, count);
    q->gain = q->trial == SIZE_MAX ? 0 : gain[q->trial];
  }
}

lu_status lu_next_test_of(const lu_result *r, const lu_trial *trials, size_t count, lu_arena *mem, lu_next_test *out,
                          lu_err *err)
{
  row rows[LU_TRIAL_EXPLANATIONS_MOST], split[ROWS_MOST];
  uint64_t *shown = LU_NEW(mem, uint64_t, ROWS_MOST * LU_TRIALS_MOST);
  double *gains = LU_NEW(mem, double, LU_TRIAL_GROUPS_MOST * LU_TRIALS_MOST);
  size_t n = rows_of(r, rows), m = 0;
  *out = (lu_next_test){.best = SIZE_MAX, .doubt = lu_next_doubt(r)};
  if (count > LU_TRIALS_MOST)
    return lu_fail(err, LU_ERR_LIMIT, 0, 0, "%zu tests to choose from; at most %d", count, LU_TRIALS_MOST);
  if (!shown || !gains)
    return lu_fail(err, LU_ERR_NOMEM, 0, 0, "no room");
  if (n < 2)
    return LU_OK;
  find_groups(r, rows, n, out);
  for (size_t first = 0, many; first < count; first += many) {
    const lu_trial *t = &trials[first];
    for (many = 1; first + many < count && t[many].network == t->network && t[many].known == t->known;)
      many++;
    m = split_rows(r->joint, t->network, rows, n, split);
    if (!show(r->joint, t, many, split, m, mem, shown))
      continue;
    for (size_t k = 0; k < many; k++) {
      for (size_t i = 0; i < m; i++)
        split[i].shown = shown[i * many + k];
      out->gain[first + k] = information(split, m);
      try_groups(r, split, m, first + k, out, gains);
    }
  }
  choose(trials, count, gains, out);
  return LU_OK;
}
