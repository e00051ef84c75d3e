/* SPDX-License-Identifier: MIT */
/* Smallest sets of gates that explain all observations.
 *
 * A tree of conflicts, deepened set size by set size. At a node some gates are assumed broken and, in
 * the observation looked at, to give certain values. If an output is still wrong, the gates that its
 * value follows from are a conflict: one of them must be broken too, and at least one that is gives the
 * opposite of what it gives now (if all of them kept their values, so would the output). So each branch
 * inverts one gate of the smallest conflict; what a branch has tried, its later siblings leave out.
 *
 * The last two levels are done 64 branches at once, a branch a bit: the values behind each are
 * simulated together, and a gate that could be the last one must be in the conflicts of all outputs
 * that are wrong in that branch. Only gates that no other gate dominates are tried: what a gate does
 * inside a region, the region's last gate can do as well. */
#include "reason/circuit_in.h"

#include <stdlib.h>
#include <string.h>

enum { LANES = 64, WRONG_MOST = 16 };

typedef struct assumed {
  unsigned count;
  uint32_t node[LU_CIRCUIT_FAULTS_MOST]; /* in the order in which they were assumed */
  bool value[LU_CIRCUIT_FAULTS_MOST];    /* in the observation looked at */
} assumed;

/* Workspace of a node of the tree, by its depth. */
typedef struct level {
  uint64_t *value;     /* by node: all ones or none */
  uint32_t *conflict;  /* nodes */
  size_t conflict_count;
  uint8_t *barred;     /* see search */
} level;

typedef struct search {
  const lu_circuit *c;
  const lu_circuit_seen *seen;
  const lu_circuit_query *q;
  lu_arena *mem;
  unsigned size;             /* sets of that many are looked for */
  level level[LU_CIRCUIT_FAULTS_MOST];
  uint64_t *force, *forced;  /* by node: lanes in which it is assumed to be broken, and its value there */
  uint64_t *critical;        /* by node */
  uint64_t *lanes, *check;   /* values by node, of 64 branches; of sets to be checked */
  uint64_t *may;             /* by node: lanes in which it could be the last one */
  uint32_t *open;            /* nodes with such lanes */
  uint32_t *order;           /* by node: place in the conflict at hand, from 1 */
  uint8_t *barred;           /* by node: bit v = it must not be assumed to give v: a sibling has tried that */
  uint32_t *by_cone;         /* outputs, those that follow from few gates first */
  unsigned try_count;
  assumed tries[LANES];      /* sets to be checked, of one observation */
  size_t set_count, set_room;
  uint32_t *sets;            /* found */
  uint64_t steps;
  bool stop, spent, no_memory;
} search;

/* --- simulation ----------------------------------------------------------------------------------- */

static void put_inputs(const search *s, size_t observation, uint64_t *value)
{
  const lu_circuit *c = s->c;
  const uint64_t *in = s->seen->in + observation / 64 * c->input_count;
  memcpy(value, c->fixed, c->first_link * sizeof *value);
  for (uint32_t i = 0; i < c->input_count; i++)
    value[c->input[i]] = in[i] >> observation % 64 & 1 ? UINT64_MAX : 0;
}

static uint64_t wanted(const search *s, size_t observation, uint32_t output)
{
  return s->seen->out[observation / 64 * s->c->output_count + output] >> observation % 64 & 1 ? UINT64_MAX : 0;
}

static void count_steps(search *s)
{
  s->steps += s->c->node_count - s->c->first_link;
  if (s->q->steps_most && s->steps > s->q->steps_most)
    s->stop = s->spent = true;
}

static void forward(search *s, uint64_t *value)
{
  const lu_circuit *c = s->c;
  for (uint32_t n = c->first_link; n < c->node_count; n++)
    value[n] = (lu_link_value(&c->link[n], value) & ~s->force[n]) | (s->forced[n] & s->force[n]);
  count_steps(s);
}

/* From the marks on outputs to those on everything that their values follow from. A broken gate's value
 * follows from nothing. Where both inputs of a gate would do alone, the one less deep is taken. */
static void backward(search *s, const uint64_t *value, uint32_t from)
{
  const lu_circuit *c = s->c;
  uint64_t *critical = s->critical;
  for (uint32_t n = from + 1; n-- > c->first_link;) {
    uint64_t mark = critical[n] &= ~s->force[n];
    if (!mark)
      continue;
    const lu_link *l = &c->link[n];
    const lu_link_kind *k = &lu_link_kinds[l->kind];
    uint64_t a = value[l->a] ^ k->invert, b = value[l->b] ^ k->invert;
    critical[l->a] |= mark & (b | ~a | k->differ);
    critical[l->b] |= mark & (a | k->differ);
  }
  count_steps(s);
}

static void assume(search *s, const assumed *a, uint64_t lanes)
{
  for (unsigned i = 0; i < a->count; i++) {
    s->force[a->node[i]] |= lanes;
    s->forced[a->node[i]] = (s->forced[a->node[i]] & ~lanes) | (a->value[i] ? lanes : 0);
  }
}

static void forget(search *s, const assumed *a)
{
  for (unsigned i = 0; i < a->count; i++)
    s->force[a->node[i]] = s->forced[a->node[i]] = 0;
}

/* --- sets ----------------------------------------------------------------------------------------- */

/* Is there, for each observation, an assignment to the set under which every output is right? Lanes
 * are the assignments. Returns the first observation for which there is none, or their count. */
static size_t first_unexplained(search *s, const uint32_t *node, unsigned size)
{
  static const uint64_t columns[6] = {0xaaaaaaaaaaaaaaaau, 0xccccccccccccccccu, 0xf0f0f0f0f0f0f0f0u,
                                      0xff00ff00ff00ff00u, 0xffff0000ffff0000u, 0xffffffff00000000u};
  const lu_circuit *c = s->c;
  size_t observation = 0;
  for (unsigned i = 0; i < size; i++) {
    s->force[node[i]] = UINT64_MAX;
    s->forced[node[i]] = columns[i];
  }
  for (; observation < s->seen->count; observation++) {
    uint64_t right = UINT64_MAX;
    put_inputs(s, observation, s->check);
    forward(s, s->check);
    for (uint32_t o = 0; o < c->output_count && right; o++)
      right &= ~(s->check[c->output[o]] ^ wanted(s, observation, o));
    if (!right)
      break;
  }
  for (unsigned i = 0; i < size; i++)
    s->force[node[i]] = s->forced[node[i]] = 0;
  return observation;
}

static void sort_set(uint32_t *set, unsigned size)
{
  for (unsigned i = 1; i < size; i++)
    for (unsigned k = i; k > 0 && set[k - 1] > set[k]; k--) {
      uint32_t x = set[k];
      set[k] = set[k - 1];
      set[k - 1] = x;
    }
}

static void keep_set(search *s, const uint32_t *node, unsigned size)
{
  uint32_t set[LU_CIRCUIT_FAULTS_MOST];
  for (unsigned i = 0; i < size; i++)
    set[i] = s->c->gate_of[node[i]];
  sort_set(set, size);
  for (size_t i = 0; i < s->set_count; i++)
    if (!memcmp(s->sets + i * size, set, size * sizeof *set))
      return;
  uint32_t *at = lu_arena_grow(s->mem, s->sets, s->set_count, &s->set_room, size * sizeof *set);
  if (!at) {
    s->stop = s->no_memory = true;
    return;
  }
  s->sets = at;
  memcpy(s->sets + s->set_count++ * size, set, size * sizeof *set);
  s->stop |= s->set_count >= s->q->sets_most;
}

/* The sets waiting that explain this observation, with the values that they were to give, are checked
 * against all. */
static void check_tries(search *s, size_t observation)
{
  const lu_circuit *c = s->c;
  uint64_t right = s->try_count < LANES ? (UINT64_C(1) << s->try_count) - 1 : UINT64_MAX;
  if (!right)
    return;
  for (unsigned i = 0; i < s->try_count; i++)
    assume(s, &s->tries[i], UINT64_C(1) << i);
  put_inputs(s, observation, s->check);
  forward(s, s->check);
  for (unsigned i = 0; i < s->try_count; i++)
    forget(s, &s->tries[i]);
  for (uint32_t o = 0; o < c->output_count && right; o++)
    right &= ~(s->check[c->output[o]] ^ wanted(s, observation, o));
  for (; right && !s->stop; right &= right - 1) {
    const assumed *a = &s->tries[__builtin_ctzll(right)];
    if (s->seen->count == 1 || first_unexplained(s, a->node, a->count) == s->seen->count)
      keep_set(s, a->node, a->count);
  }
  s->try_count = 0;
}

/* --- the last member: 64 branches at once ------------------------------------------------------------ */

/* The nodes that can be the last one to be inverted, as s->open with lanes s->may: those on which every
 * wrong output depends. live: lanes in which some output is wrong. */
static size_t narrow(search *s, const uint64_t *wrong, uint64_t live)
{
  const lu_circuit *c = s->c;
  size_t count = 0;
  for (uint32_t n = c->first_link; n < c->node_count; n++)
    if (lu_circuit_top(c, n)) {
      s->may[n] = live;
      s->open[count++] = n;
    }
  for (uint32_t i = 0; i < c->output_count && live; i++) {
    uint32_t o = s->by_cone[i];
    if (!(wrong[o] & live))
      continue;
    memset(s->critical, 0, (c->output[o] + 1) * sizeof *s->critical);
    s->critical[c->output[o]] = wrong[o] & live;
    backward(s, s->lanes, c->output[o]);
    size_t left = 0;
    live = 0;
    for (size_t k = 0; k < count; k++) {
      uint32_t n = s->open[k];
      uint64_t may = s->may[n] & ((n <= c->output[o] ? s->critical[n] : 0) | ~wrong[o]);
      s->may[n] = may;
      live |= may;
      s->open[left] = n;
      left += may != 0;
    }
    count = left;
  }
  return live ? count : 0;
}

/* Lanes in which node n was tried by a sibling: barred further up, or earlier in this conflict (of
 * which lane 0 is member `first`, from 1; 0: the lanes are no siblings). */
static uint64_t tried(const search *s, uint32_t n, const uint64_t *parent, size_t first)
{
  uint64_t now = s->lanes[n], out = 0;
  out |= s->barred[n] & 1 ? now : 0;  /* it would be made to give 0 */
  out |= s->barred[n] & 2 ? ~now : 0;
  if (first && s->order[n]) {
    uint64_t later = s->order[n] < first ? UINT64_MAX
                     : s->order[n] - first < LANES - 1 ? UINT64_MAX << (s->order[n] - first + 1) : 0;
    out |= later & ~(now ^ parent[n]);
  }
  return out;
}

/* Each lane has its own assumptions, one less than a set; finds the sets that one more gate makes.
 * Returns lanes in which no output is wrong as it is. */
static uint64_t last_member(search *s, const assumed *lane, unsigned count, size_t observation, const uint64_t *parent, size_t first)
{
  const lu_circuit *c = s->c;
  uint64_t all = count < LANES ? (UINT64_C(1) << count) - 1 : UINT64_MAX, live = 0;
  uint64_t *wrong = s->check; /* free until the tries are checked; no more outputs than nodes, see new_search */
  for (unsigned i = 0; i < count; i++)
    assume(s, &lane[i], UINT64_C(1) << i);
  put_inputs(s, observation, s->lanes);
  forward(s, s->lanes);
  for (uint32_t o = 0; o < c->output_count; o++)
    live |= wrong[o] = (s->lanes[c->output[o]] ^ wanted(s, observation, o)) & all;
  size_t open = live ? narrow(s, wrong, live) : 0;
  for (unsigned i = 0; i < count; i++)
    forget(s, &lane[i]);
  s->try_count = 0;
  for (size_t k = 0; k < open && !s->stop; k++) {
    uint32_t n = s->open[k];
    uint64_t may = s->may[n] & ~tried(s, n, parent, first);
    for (; may && !s->stop; may &= may - 1) {
      unsigned l = (unsigned)__builtin_ctzll(may);
      assumed *a = &s->tries[s->try_count++];
      *a = lane[l];
      a->node[a->count] = n;
      a->value[a->count++] = !(s->lanes[n] >> l & 1);
      if (s->try_count == LANES)
        check_tries(s, observation);
    }
  }
  check_tries(s, observation);
  return all & ~live;
}

/* --- the tree ----------------------------------------------------------------------------------------- */

/* The smallest conflict under these assumptions; its count is 0 when no output is wrong, and *hopeless is
 * set when an output is wrong that no gate can change. Leaves the values in the level. */
static void find_conflict(search *s, const assumed *a, size_t observation, level *l, bool *hopeless)
{
  const lu_circuit *c = s->c;
  uint32_t size[WRONG_MOST] = {0};
  unsigned marks = 0, best = 0;
  uint32_t last = 0;
  assume(s, a, UINT64_MAX);
  put_inputs(s, observation, l->value);
  forward(s, l->value);
  memset(s->critical, 0, c->node_count * sizeof *s->critical);
  for (uint32_t i = 0; i < c->output_count && marks < WRONG_MOST; i++) {
    uint32_t n = c->output[s->by_cone[i]];
    if (l->value[n] == wanted(s, observation, s->by_cone[i]))
      continue;
    s->critical[n] |= UINT64_C(1) << marks++;
    last = n > last ? n : last;
  }
  l->conflict_count = 0;
  *hopeless = false;
  if (marks) {
    backward(s, l->value, last);
    for (uint32_t n = c->first_link; n <= last; n++)
      for (uint64_t m = lu_circuit_top(c, n) ? s->critical[n] : 0; m; m &= m - 1)
        size[__builtin_ctzll(m)]++;
    for (unsigned i = 1; i < marks; i++)
      best = size[i] < size[best] ? i : best;
    for (uint32_t n = c->first_link; n <= last; n++)
      if (lu_circuit_top(c, n) && s->critical[n] >> best & 1)
        l->conflict[l->conflict_count++] = n;
    *hopeless = !l->conflict_count;
  }
  forget(s, a);
}

static void descend(search *s, const assumed *a, size_t observation);

/* The observation is explained by fewer than a full set: on to one that is not, with whatever the set's
 * gates may have given there. */
static void move_on(search *s, const assumed *a)
{
  size_t observation = first_unexplained(s, a->node, a->count);
  if (observation == s->seen->count)
    return; /* found when sets of that size were looked for */
  uint8_t *barred = s->barred;
  s->barred = s->level[a->count].barred; /* what siblings tried says nothing of another observation */
  for (unsigned pattern = 0; pattern < 1u << a->count && !s->stop; pattern++) {
    assumed b = *a;
    for (unsigned i = 0; i < a->count; i++)
      b.value[i] = pattern >> i & 1;
    descend(s, &b, observation);
  }
  s->barred = barred;
}

static assumed with(const assumed *a, uint32_t node, bool value)
{
  assumed b = *a;
  b.node[b.count] = node;
  b.value[b.count++] = value;
  return b;
}

/* Two members are missing: each of the conflict, 64 at a time, and the last one for each. */
static void last_two(search *s, const assumed *a, size_t observation, level *l)
{
  assumed lane[LANES];
  for (size_t i = 0; i < l->conflict_count; i++)
    s->order[l->conflict[i]] = (uint32_t)i + 1;
  for (size_t first = 0; first < l->conflict_count && !s->stop; first += LANES) {
    unsigned count = 0;
    for (; count < LANES && first + count < l->conflict_count; count++) {
      uint32_t n = l->conflict[first + count];
      lane[count] = with(a, n, !l->value[n]);
    }
    uint64_t done = last_member(s, lane, count, observation, l->value, first + 1);
    if (!done)
      continue;
    for (size_t i = 0; i < l->conflict_count; i++) /* order[] belongs to this conflict */
      s->order[l->conflict[i]] = 0;
    for (; done && !s->stop; done &= done - 1)
      move_on(s, &lane[__builtin_ctzll(done)]);
    for (size_t i = 0; i < l->conflict_count; i++)
      s->order[l->conflict[i]] = (uint32_t)i + 1;
  }
  for (size_t i = 0; i < l->conflict_count; i++)
    s->order[l->conflict[i]] = 0;
}

static void descend(search *s, const assumed *a, size_t observation)
{
  level *l = &s->level[a->count];
  unsigned missing = s->size - a->count;
  bool hopeless;
  if (missing == 1) {
    if (last_member(s, a, 1, observation, NULL, 0))
      move_on(s, a);
    return;
  }
  find_conflict(s, a, observation, l, &hopeless);
  if (hopeless)
    return;
  if (!l->conflict_count) {
    move_on(s, a);
    return;
  }
  if (missing == 2) {
    last_two(s, a, observation, l);
    return;
  }
  size_t done = 0;
  for (size_t i = 0; i < l->conflict_count && !s->stop; i++) {
    uint32_t n = l->conflict[i];
    bool value = !l->value[n];
    if (s->barred[n] >> value & 1)
      continue;
    assumed b = with(a, n, value);
    descend(s, &b, observation);
    s->barred[n] |= (uint8_t)(1u << value);
    l->conflict[done++] = n;
  }
  for (size_t i = 0; i < done; i++)
    s->barred[l->conflict[i]] &= (uint8_t)~(1u << !l->value[l->conflict[i]]);
}

/* --- the searches ------------------------------------------------------------------------------------- */

typedef struct output_size {
  double gates;
  uint32_t output;
} output_size;

static int by_gates(const void *a, const void *b)
{
  const output_size *x = a, *y = b;
  if (x->gates != y->gates)
    return x->gates < y->gates ? -1 : 1;
  return x->output < y->output ? -1 : 1;
}

/* Outputs by how many gates they follow from, counted as in a tree: only the order matters. */
static bool order_outputs(search *s)
{
  const lu_circuit *c = s->c;
  double *gates = LU_NEW(s->mem, double, c->node_count);
  output_size *size = LU_NEW(s->mem, output_size, c->output_count);
  if (!gates || !size)
    return false;
  for (uint32_t n = c->first_link; n < c->node_count; n++)
    gates[n] = 1 + gates[c->link[n].a] + gates[c->link[n].b];
  for (uint32_t o = 0; o < c->output_count; o++)
    size[o] = (output_size){.gates = gates[c->output[o]], .output = o};
  qsort(size, c->output_count, sizeof *size, by_gates);
  for (uint32_t o = 0; o < c->output_count; o++)
    s->by_cone[o] = size[o].output;
  return true;
}

static search *new_search(const lu_circuit *c, const lu_circuit_seen *seen, const lu_circuit_query *q, lu_arena *mem)
{
  search *s = LU_NEW(mem, search, 1);
  size_t nodes = c->node_count > c->output_count ? c->node_count : c->output_count;
  if (!s)
    return NULL;
  *s = (search){.c = c, .seen = seen, .q = q, .mem = mem};
  s->force = LU_NEW(mem, uint64_t, nodes);
  s->forced = LU_NEW(mem, uint64_t, nodes);
  s->critical = LU_NEW(mem, uint64_t, nodes);
  s->lanes = LU_NEW(mem, uint64_t, nodes);
  s->check = LU_NEW(mem, uint64_t, nodes);
  s->may = LU_NEW(mem, uint64_t, nodes);
  s->open = LU_NEW(mem, uint32_t, nodes);
  s->order = LU_NEW(mem, uint32_t, nodes);
  s->barred = LU_NEW(mem, uint8_t, nodes);
  s->by_cone = LU_NEW(mem, uint32_t, nodes);
  if (!s->force || !s->forced || !s->critical || !s->lanes || !s->check || !s->may || !s->open || !s->order || !s->barred ||
      !s->by_cone || !order_outputs(s))
    return NULL;
  for (unsigned d = 0; d < q->most && d < LU_CIRCUIT_FAULTS_MOST; d++) {
    level *l = &s->level[d];
    l->value = LU_NEW(mem, uint64_t, nodes);
    l->conflict = LU_NEW(mem, uint32_t, nodes);
    l->barred = LU_NEW(mem, uint8_t, nodes);
    if (!l->value || !l->conflict || !l->barred)
      return NULL;
  }
  return s;
}

/* The observation to start from: that of the smallest conflict; SIZE_MAX: all are explained as it is.
 * *hopeless: some output is wrong that no gate can change. */
static size_t first_observation(search *s, bool *hopeless)
{
  const assumed none = {0};
  size_t best = SIZE_MAX, least = SIZE_MAX;
  *hopeless = false;
  for (size_t i = 0; i < s->seen->count && !*hopeless; i++) {
    find_conflict(s, &none, i, &s->level[0], hopeless);
    size_t count = s->level[0].conflict_count;
    if (count && count < least) {
      least = count;
      best = i;
    }
  }
  return best;
}

lu_status lu_circuit_smallest(const lu_circuit *c, const lu_circuit_seen *seen, const lu_circuit_query *q, lu_arena *mem,
                              lu_circuit_least *out, lu_err *err)
{
  if (!seen->count || !q->most || q->most > LU_CIRCUIT_FAULTS_MOST || !q->sets_most)
    return lu_fail(err, LU_ERR_VALUE, 0, 0, "a search for up to %u faults, %zu sets, in %zu observations (faults 1 to %d)", q->most,
                   q->sets_most, seen->count, LU_CIRCUIT_FAULTS_MOST);
  search *s = new_search(c, seen, q, mem);
  if (!s)
    return lu_fail(err, LU_ERR_NOMEM, 0, 0, "no room to search a circuit of %u gates", c->gate_count);
  bool hopeless;
  size_t start = first_observation(s, &hopeless);
  lu_circuit_least got = {.size = q->most + 1, .proved = true};
  if (!hopeless && start == SIZE_MAX)
    got = (lu_circuit_least){.proved = true, .all = true};
  for (s->size = 1; !hopeless && start != SIZE_MAX && s->size <= q->most && !s->stop; s->size++) {
    const assumed none = {0};
    descend(s, &none, start);
    if (s->set_count) {
      got.size = s->size;
      break;
    }
  }
  if (s->no_memory)
    return lu_fail(err, LU_ERR_NOMEM, 0, 0, "no room for %zu sets", s->set_count);
  got.count = s->set_count;
  got.sets = s->sets;
  got.steps = s->steps;
  if (s->spent && !got.count) {
    got.size = s->size - 1;
    got.proved = false;
  }
  if (got.count)
    got.all = !s->stop;
  *out = got;
  return LU_OK;
}

static const lu_circuit_query plain = {.most = 1, .sets_most = 1};

lu_status lu_circuit_explains(const lu_circuit *c, const lu_circuit_seen *seen, const uint32_t *set, unsigned size, lu_arena *mem,
                              bool *out, lu_err *err)
{
  uint32_t node[LU_CIRCUIT_FAULTS_MOST];
  if (size > LU_CIRCUIT_FAULTS_MOST)
    return lu_fail(err, LU_ERR_VALUE, 0, 0, "a set of %u gates (at most %d)", size, LU_CIRCUIT_FAULTS_MOST);
  search *s = new_search(c, seen, &plain, mem);
  if (!s)
    return lu_fail(err, LU_ERR_NOMEM, 0, 0, "no room to check a set of gates");
  for (unsigned i = 0; i < size; i++)
    node[i] = c->node_of[set[i]];
  *out = first_unexplained(s, node, size) == seen->count;
  return LU_OK;
}

lu_status lu_circuit_instead(const lu_circuit *c, const lu_circuit_seen *seen, const uint32_t *set, unsigned size, unsigned which,
                             lu_arena *mem, uint32_t **out, size_t *count, lu_err *err)
{
  uint32_t node[LU_CIRCUIT_FAULTS_MOST];
  size_t found = 0;
  if (size > LU_CIRCUIT_FAULTS_MOST || which >= size)
    return lu_fail(err, LU_ERR_VALUE, 0, 0, "gate %u of a set of %u gates (at most %d)", which, size, LU_CIRCUIT_FAULTS_MOST);
  search *s = new_search(c, seen, &plain, mem);
  uint32_t *list = LU_NEW(mem, uint32_t, c->gate_count);
  if (!s || !list)
    return lu_fail(err, LU_ERR_NOMEM, 0, 0, "no room for a set's alternatives");
  for (unsigned i = 0; i < size; i++)
    node[i] = c->node_of[set[i]];
  uint32_t region = c->region[node[which]];
  for (uint32_t n = c->first_link; n < c->node_count; n++) {
    if (c->region[n] != region || c->gate_of[n] == UINT32_MAX)
      continue;
    node[which] = n;
    if (first_unexplained(s, node, size) == seen->count)
      list[found++] = c->gate_of[n];
  }
  *out = list;
  *count = found;
  return LU_OK;
}
