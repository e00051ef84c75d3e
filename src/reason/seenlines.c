/* SPDX-License-Identifier: MIT */
#include "reason/seenlines.h"

#include <math.h>
#include <stdlib.h>

/* The bit of a bus that is a joint net; -1: none. */
static int bit_of(const lu_result *r, const lu_seen_bus *b, uint16_t net)
{
  uint32_t of_board = net == UINT16_MAX ? LU_NONE : r->joint->nets[net].net;
  for (unsigned i = 0; of_board != LU_NONE && i < b->lines->bits; i++)
    if (b->nets[i] == of_board)
      return (int)i;
  return -1;
}

static bool fault_refuted(const lu_result *r, const lu_fault *f, const lu_seen_bus *b)
{
  int i = f->kind == LU_FAULT_STUCK || f->kind == LU_FAULT_BRIDGE ? bit_of(r, b, f->net) : -1;
  if (i < 0)
    return false;
  if (f->kind == LU_FAULT_STUCK)
    return (f->level == LU_LEVEL_LOW ? b->lines->high : b->lines->low) >> i & 1;
  int k = bit_of(r, b, f->net2);
  return k >= 0 && b->lines->differ[i] >> k & 1;
}

/* Whether a net's driver can put that level out at all under the faults that the simulation holds. */
static bool possible(const lu_sim *sim, const lu_network *n, const lu_seen_level *l)
{
  uint16_t net = lu_network_net(n, l->net);
  if (net == UINT16_MAX || n->nets[net].driver_count != 1)
    return true;
  lu_fn level = lu_sim_pin(sim, n->net_drivers[n->nets[net].first_driver], l->moment);
  return !lu_fn_is(&level, !l->high);
}

typedef struct judge {
  const lu_result *r;
  const lu_sightings *seen;
  lu_sim *sim;            /* NULL: levels are not looked at */
  bool *healthy;          /* [level_count] the level is possible without a fault */
} judge;

static const lu_network *network_of(const judge *j)
{
  return j->r->joint->looks[j->seen->look].evidence->network;
}

static bool levels_refute(const judge *j, const lu_fault *faults, size_t count)
{
  lu_fault local[LU_FAULTS_MOST + 1];
  size_t n = 0;
  if (!j->sim || count > LU_FAULTS_MOST + 1)
    return false;
  for (size_t i = 0; i < count; i++)
    n += lu_joint_local(j->r->joint, j->seen->look, &faults[i], &local[n]);
  lu_effect e = lu_sim_run(j->sim, local, n);
  for (size_t i = 0; n && !e.wide && i < j->seen->level_count; i++)
    if (j->healthy[i] && !possible(j->sim, network_of(j), &j->seen->levels[i]))
      return true;
  return false;
}

static judge judge_of(const lu_result *r, const lu_sightings *seen)
{
  judge j = {.r = r, .seen = seen};
  if (!seen->level_count || seen->look >= r->joint->look_count)
    return j;
  j.healthy = LU_NEW(r->joint->mem, bool, seen->level_count);
  j.sim = j.healthy ? lu_sim_new(network_of(&j), true, r->joint->mem) : NULL;
  if (!j.sim)
    return j;
  lu_sim_run(j.sim, NULL, 0);
  for (size_t i = 0; i < seen->level_count; i++)
    j.healthy[i] = possible(j.sim, network_of(&j), &seen->levels[i]);
  return j;
}

static bool refuted(const judge *j, const lu_fault *faults, size_t count)
{
  for (size_t i = 0; i < count; i++)
    for (size_t k = 0; k < j->seen->bus_count; k++)
      if (fault_refuted(j->r, &faults[i], &j->seen->buses[k]))
        return true;
  return levels_refute(j, faults, count);
}

static bool touches(const lu_suspect *s, const lu_explanation *e)
{
  for (size_t i = 0; i < e->count; i++) {
    const lu_fault *f = &e->faults[i];
    bool pair = lu_fault_two_nets(f->kind), part = f->kind >= LU_FAULT_DEAD;
    if (s->net == UINT16_MAX ? part && f->part == s->part : !part && (f->net == s->net || (pair && f->net2 == s->net)))
      return true;
  }
  return false;
}

/* What is left of a suspect; false: nothing. */
static bool reduce(const judge *j, lu_suspect *s, const bool *out)
{
  const lu_result *r = j->r;
  double gone = 0, left = 0;
  const lu_explanation *best = NULL;
  for (size_t i = 0; i < r->explanation_count; i++) {
    const lu_explanation *e = &r->explanations[i];
    if (!touches(s, e))
      continue;
    *(out[i] ? &gone : &left) += e->probability;
    if (!out[i] && !best)
      best = e;
  }
  bool own = refuted(j, &s->fault, 1);
  if (own && !best)
    return false;
  s->probability = fmax(s->probability - gone, left);
  for (size_t i = 0; own && i < best->count; i++) {
    lu_explanation one = {.count = 1, .faults = {best->faults[i]}};
    if (touches(s, &one))
      s->fault = best->faults[i];
  }
  return true;
}

size_t lu_seenlines_refute(lu_result *r, const lu_sightings *seen)
{
  judge j = judge_of(r, seen);
  bool *out = LU_NEW(r->joint->mem, bool, r->explanation_count + 1);
  size_t gone = 0, to = 0;
  double sum = 0;
  for (size_t i = 0; out && i < r->explanation_count; i++) {
    out[i] = refuted(&j, r->explanations[i].faults, r->explanations[i].count);
    gone += out[i];
    sum += out[i] ? r->explanations[i].probability : 0;
  }
  if (!gone || gone == r->explanation_count || sum > 0.999999)
    return 0;
  for (size_t i = 0; i < r->suspect_count; i++)
    if (reduce(&j, &r->suspects[i], out)) {
      r->suspects[to] = r->suspects[i];
      r->suspects[to].probability = fmin(1, r->suspects[to].probability / (1 - sum));
      to++;
    }
  r->suspect_count = to;
  qsort(r->suspects, to, sizeof *r->suspects, lu_suspect_order);
  to = 0;
  for (size_t i = 0; i < r->explanation_count; i++)
    if (!out[i]) {
      r->explanations[to] = r->explanations[i];
      r->explanations[to++].probability = fmin(1, r->explanations[i].probability / (1 - sum));
    }
  r->explanation_count = to;
  return gone;
}
