/* SPDX-License-Identifier: MIT */
#include "reason/cost.h"

#include <math.h>
#include <string.h>

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
  c->lanes |= lu_joint_lanes(j, f);
  if (f->kind < LU_FAULT_DEAD)
    c->nets |= UINT64_C(1) << f->net % 64 | (lu_fault_two_nets(f->kind) ? UINT64_C(1) << f->net2 % 64 : 0);
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
bool lu_search_add(lu_search *s, const lu_fault *f)
{
  lu_cost c;
  uint64_t hash;
  bool wide, floats, fresh;
  for (unsigned level = LU_LEVEL_LOW; level <= LU_LEVEL_ADDRESS; level++) {
    static const uint8_t order[] = {LU_LEVEL_HIGH, LU_LEVEL_LOW, LU_LEVEL_KEEP, LU_LEVEL_ADDRESS};
    lu_level undriven = (lu_level)order[level];
    bool useful = lu_cost_set(s, f, 1, undriven, true, &c, &hash, &wide, &floats);
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
    if (!lu_search_add(s, &f))
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
    if (!lu_search_add(s, &f))
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
      if (sense && !lu_search_add(s, &f))
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
    return s->joint->replays ? lu_search_add(s, f) : add_later(s, f);
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
  return lu_search_add(s, f);
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
        !lu_search_add(s, &f))
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
      lu_cost c;
      uint64_t hash;
      bool wide, floats;
      if (lu_cost_set(s, &f, 1, LU_LEVEL_HIGH, true, &c, &hash, &wide, &floats) && c.gain > 4 * c.harm)
        cut |= f.cut;
    }
    lu_fault f = {.kind = LU_FAULT_OPEN, .net = net, .cut = cut, .level = (uint8_t)level};
    if ((cut & (cut - 1)) && cut != receivers && !lu_search_add(s, &f))
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
  s->healthy_cost = lu_cost_healthy(j);
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
