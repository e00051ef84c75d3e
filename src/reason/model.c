/* SPDX-License-Identifier: MIT */
#include "reason/model.h"

#include <string.h>

enum { QUANTITIES_MOST = 64 };

/* --- modes, best first -------------------------------------------------------------------------------- */

typedef struct state {
  double cost;
  uint64_t faulty;
  uint32_t modes;      /* its run in store[] */
} state;

typedef struct search {
  const lu_model *m;
  const lu_model_query *q;
  lu_arena *mem;
  size_t states_most;
  size_t heap_count, heap_room;
  state *heap;         /* cheapest first; of equals, the one that was put in first */
  size_t store_count, store_room;
  uint8_t *store;      /* modes of states, component_count each */
  uint32_t *table;     /* hash -> state in store + 1 */
  size_t table_mask;
  size_t out_count, out_room;
  lu_explained *out;
  bool full, no_memory;
} search;

static bool before(const state *a, const state *b)
{
  return a->cost < b->cost || (a->cost <= b->cost && a->modes < b->modes);
}

static void swap(state *a, state *b)
{
  state x = *a;
  *a = *b;
  *b = x;
}

static bool push(search *s, state x)
{
  state *more = lu_arena_grow(s->mem, s->heap, s->heap_count, &s->heap_room, sizeof *more);
  if (!more)
    return false;
  s->heap = more;
  size_t at = s->heap_count++;
  for (more[at] = x; at && before(&more[at], &more[(at - 1) / 2]); at = (at - 1) / 2)
    swap(&more[at], &more[(at - 1) / 2]);
  return true;
}

static state pop(search *s)
{
  state out = s->heap[0];
  s->heap[0] = s->heap[--s->heap_count];
  for (size_t at = 0;;) {
    size_t best = at;
    for (size_t k = 2 * at + 1; k <= 2 * at + 2 && k < s->heap_count; k++)
      best = before(&s->heap[k], &s->heap[best]) ? k : best;
    if (best == at)
      return out;
    swap(&s->heap[at], &s->heap[best]);
    at = best;
  }
}

/* The table's slot of an assignment: its own, or an empty one. */
static size_t slot(const search *s, const uint8_t *mode)
{
  uint64_t h = 14695981039346656037u; /* FNV-1a */
  for (unsigned c = 0; c < s->m->component_count; c++)
    h = (h ^ mode[c]) * 1099511628211u;
  size_t at = (size_t)(h ^ h >> 32) & s->table_mask;
  while (s->table[at] && memcmp(s->store + (size_t)(s->table[at] - 1) * s->m->component_count, mode, s->m->component_count))
    at = (at + 1) & s->table_mask;
  return at;
}

/* Puts an assignment into the queue unless it was there before. */
static bool offer(search *s, const uint8_t *mode, uint64_t faulty, double cost)
{
  size_t at = slot(s, mode), width = s->m->component_count;
  if (s->table[at])
    return true;
  if (s->store_count == s->states_most) {
    s->full = true;
    return true;
  }
  memcpy(s->store + s->store_count * width, mode, width);
  s->table[at] = (uint32_t)++s->store_count;
  return push(s, (state){.cost = cost, .faulty = faulty, .modes = (uint32_t)(s->store_count - 1)});
}

static unsigned modes_of(const lu_model *m, unsigned component)
{
  return m->mode_count ? m->mode_count[component] : 2;
}

/* One of the conflict's components is not in the mode assumed. Those already faulty need no other mode
 * here: that assignment comes by way of its own part. */
static bool branch(search *s, const state *x, uint64_t conflict)
{
  const lu_model *m = s->m;
  uint8_t mode[LU_COMPONENTS_MOST];
  memcpy(mode, s->store + (size_t)x->modes * m->component_count, m->component_count);
  for (uint64_t left = conflict & ~x->faulty; left; left &= left - 1) {
    unsigned c = (unsigned)__builtin_ctzll(left);
    for (unsigned k = 1; k < modes_of(m, c); k++) {
      mode[c] = (uint8_t)k;
      if (!offer(s, mode, x->faulty | UINT64_C(1) << c, x->cost + (m->cost ? m->cost(m->of, c, k) : 1)))
        return false;
    }
    mode[c] = 0;
  }
  return true;
}

/* Is a part of it, its other faults healthy, an explanation already? */
static bool contains_explained(const search *s, const state *x)
{
  const uint8_t *mode = s->store + (size_t)x->modes * s->m->component_count;
  for (size_t i = 0; i < s->out_count; i++) {
    const lu_explained *e = &s->out[i];
    if (e->faulty & ~x->faulty)
      continue;
    bool part = true;
    for (uint64_t left = e->faulty; left && part && !s->q->weak; left &= left - 1)
      part = mode[__builtin_ctzll(left)] == e->mode[__builtin_ctzll(left)];
    if (part)
      return true;
  }
  return false;
}

static bool keep(search *s, const state *x)
{
  lu_explained *more = lu_arena_grow(s->mem, s->out, s->out_count, &s->out_room, sizeof *more);
  if (!more)
    return false;
  s->out = more;
  more[s->out_count++] = (lu_explained){.cost = x->cost, .faulty = x->faulty, .mode = s->store + (size_t)x->modes * s->m->component_count};
  return true;
}

static bool run(search *s)
{
  uint8_t healthy[LU_COMPONENTS_MOST] = {0};
  if (!offer(s, healthy, 0, 0))
    return false;
  while (s->heap_count && s->out_count < s->q->most) {
    state x = pop(s);
    uint64_t conflict = 0;
    if (contains_explained(s, &x))
      continue;
    if (s->m->agrees(s->m->of, s->store + (size_t)x.modes * s->m->component_count, &conflict)) {
      if (!keep(s, &x))
        return false;
    } else if ((unsigned)__builtin_popcountll(x.faulty) < s->q->most_faults && !branch(s, &x, conflict)) {
      return false;
    }
  }
  return true;
}

lu_status lu_model_explain(const lu_model *m, const lu_model_query *q, lu_arena *mem, lu_explained **out, size_t *count, bool *whole,
                           lu_err *err)
{
  search s = {.m = m, .q = q, .mem = mem, .states_most = q->states_most ? q->states_most : LU_MODEL_STATES};
  if (!m->component_count || m->component_count > LU_COMPONENTS_MOST || s.states_most >= UINT32_MAX / 4)
    return lu_fail(err, LU_ERR_VALUE, 0, 0, "a model of %u components (1 to %d), %zu states", m->component_count, LU_COMPONENTS_MOST,
                   s.states_most);
  for (s.table_mask = 1; s.table_mask < 2 * s.states_most; s.table_mask *= 2)
    ;
  s.store = lu_arena_big(mem, s.states_most * m->component_count);
  s.table = LU_NEW(mem, uint32_t, s.table_mask);
  s.table_mask--;
  if (!s.store || !s.table || !run(&s))
    return lu_fail(err, LU_ERR_NOMEM, 0, 0, "no room for %zu assignments", s.store_count);
  *out = s.out;
  *count = s.out_count;
  *whole = !s.full && !s.heap_count;
  return LU_OK;
}

/* --- hitting sets ------------------------------------------------------------------------------------- */

/* Drops what contains another set of all[count]. */
static size_t minimal(uint64_t *all, size_t count)
{
  size_t kept = 0;
  for (size_t i = 0; i < count; i++) {
    bool needed = true;
    for (size_t k = 0; k < count && needed; k++)
      needed = !((all[k] & ~all[i]) == 0 && (all[k] != all[i] || k < i));
    if (needed)
      all[kept++] = all[i];
  }
  return kept;
}

/* The conflict's components added one at a time to those sets that do not hit it yet. */
size_t lu_hitting_sets(const uint64_t *conflicts, size_t count, uint64_t *out, size_t most)
{
  size_t sets = 1;
  if (!most)
    return 1;
  out[0] = 0;
  for (size_t i = 0; i < count; i++) {
    size_t hit = 0, end;
    for (size_t k = 0; k < sets; k++)
      if (out[k] & conflicts[i]) {
        uint64_t x = out[k];
        out[k] = out[hit];
        out[hit++] = x;
      }
    end = sets;
    for (size_t k = hit; k < sets; k++) {
      uint64_t base = out[k], left = conflicts[i];
      for (bool first = true; left; left &= left - 1, first = false) {
        uint64_t bigger = base | (left & -left);
        bool covered = false;
        for (size_t h = 0; h < hit && !covered; h++)
          covered = !(out[h] & ~bigger);
        if (covered)
          bigger = UINT64_MAX; /* of no use; goes with minimal() */
        if (first)
          out[k] = bigger;
        else if (!covered && end == most)
          return most + 1;
        else if (!covered)
          out[end++] = bigger;
      }
      if (!conflicts[i])
        return 0;
    }
    size_t kept = 0;
    for (size_t k = 0; k < end; k++)
      if (out[k] != UINT64_MAX)
        out[kept++] = out[k];
    sets = minimal(out, kept);
  }
  return sets;
}

/* --- systems ------------------------------------------------------------------------------------------ */

bool lu_system_propagate(const lu_system *s, uint64_t healthy, int64_t *value, uint64_t *known)
{
  for (bool changed = true; changed;) {
    changed = false;
    for (unsigned c = 0; c < s->component_count; c++)
      if ((healthy >> c & 1) && !s->component(s->of, c, value, known, &changed))
        return false;
  }
  return true;
}

typedef struct measured_system {
  const lu_system *s;
  const lu_measured *all;
  size_t count;
} measured_system;

static bool consistent(const measured_system *x, uint64_t healthy)
{
  int64_t value[QUANTITIES_MOST] = {0};
  uint64_t known = 0;
  for (size_t i = 0; i < x->count; i++) {
    value[x->all[i].quantity] = x->all[i].value;
    known |= UINT64_C(1) << x->all[i].quantity;
  }
  return lu_system_propagate(x->s, healthy, value, &known);
}

/* A minimal conflict: whatever can be taken out of the healthy ones with the contradiction staying. */
static bool system_agrees(const void *of, const uint8_t *mode, uint64_t *conflict)
{
  const measured_system *x = of;
  uint64_t healthy = 0;
  for (unsigned c = 0; c < x->s->component_count; c++)
    healthy |= (uint64_t)!mode[c] << c;
  if (consistent(x, healthy))
    return true;
  for (unsigned c = 0; c < x->s->component_count; c++)
    if ((healthy >> c & 1) && !consistent(x, healthy & ~(UINT64_C(1) << c)))
      healthy &= ~(UINT64_C(1) << c);
  *conflict = healthy;
  return false;
}

lu_status lu_system_diagnoses(const lu_system *s, const lu_measured *all, size_t count, lu_arena *mem, uint64_t **out, size_t *found,
                              lu_err *err)
{
  const measured_system x = {.s = s, .all = all, .count = count};
  const lu_model m = {.component_count = s->component_count, .agrees = system_agrees, .of = &x};
  const lu_model_query q = {.most_faults = s->component_count, .most = LU_SYSTEM_SETS_MOST, .weak = true};
  lu_explained *sets = NULL;
  bool whole = false;
  lu_status bad = lu_model_explain(&m, &q, mem, &sets, found, &whole, err);
  if (bad)
    return bad;
  if (!whole)
    return lu_fail(err, LU_ERR_LIMIT, 0, 0, "more than %d diagnoses", LU_SYSTEM_SETS_MOST);
  *out = LU_NEW(mem, uint64_t, *found + 1);
  if (!*out)
    return lu_fail(err, LU_ERR_NOMEM, 0, 0, "no room for %zu diagnoses", *found);
  for (size_t i = 0; i < *found; i++)
    (*out)[i] = sets[i].faulty;
  return LU_OK;
}

lu_status lu_system_conflicts(const lu_system *s, const lu_measured *all, size_t count, lu_arena *mem, uint64_t **out, size_t *found,
                              lu_err *err)
{
  uint64_t *diagnoses = NULL;
  size_t n = 0;
  lu_status bad = lu_system_diagnoses(s, all, count, mem, &diagnoses, &n, err);
  if (bad)
    return bad;
  *out = LU_NEW(mem, uint64_t, LU_SYSTEM_SETS_MOST);
  if (!*out)
    return lu_fail(err, LU_ERR_NOMEM, 0, 0, "no room for conflicts");
  *found = lu_hitting_sets(diagnoses, n, *out, LU_SYSTEM_SETS_MOST);
  return *found > LU_SYSTEM_SETS_MOST ? lu_fail(err, LU_ERR_LIMIT, 0, 0, "more than %d conflicts", LU_SYSTEM_SETS_MOST) : LU_OK;
}

/* Likelihood of the measured values when exactly `healthy` are; 0 = contradicted. */
static double likelihood(const lu_system *s, uint64_t healthy, const lu_measured *all, size_t given, size_t count, unsigned m)
{
  int64_t value[QUANTITIES_MOST] = {0};
  uint64_t known = 0;
  double w = 1;
  for (size_t i = 0; i < count; i++) {
    uint64_t bit = (uint64_t)1 << all[i].quantity;
    if (i >= given && !lu_system_propagate(s, healthy, value, &known))
      return 0;
    if (known & bit) {
      if (value[all[i].quantity] != all[i].value)
        return 0;
    } else if (i >= given && m) {
      w /= m;
    }
    value[all[i].quantity] = all[i].value;
    known |= bit;
  }
  return lu_system_propagate(s, healthy, value, &known) ? w : 0;
}

size_t lu_system_candidates(const lu_system *s, const lu_measured *all, size_t given, size_t count, const double *prior, unsigned m,
                            uint64_t *sets, double *p)
{
  uint64_t every = (UINT64_C(1) << s->component_count) - 1;
  size_t n = 0;
  double sum = 0;
  for (uint64_t faulty = 0; faulty <= every; faulty++) {
    double w = likelihood(s, every & ~faulty, all, given, count, m);
    for (unsigned c = 0; c < s->component_count; c++)
      w *= faulty >> c & 1 ? prior[c] : 1 - prior[c];
    if (w <= 0)
      continue;
    sets[n] = faulty;
    p[n++] = w;
    sum += w;
  }
  for (size_t i = 0; i < n; i++)
    p[i] /= sum;
  return n;
}
