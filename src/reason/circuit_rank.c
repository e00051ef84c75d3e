/* SPDX-License-Identifier: MIT */
/* Every gate stuck at either level against many observations, 64 a word.
 *
 * Inverting a gate in all observations of a word at once tells both stuck values: a gate stuck at v is
 * inverted just where it was not v. Gates are taken from the outputs backwards, and a change is
 * followed until a single gate carries all of it: what inverting that one does is known already. So
 * most gates cost the way to the end of their region, not the way to the outputs. */
#include "reason/circuit_in.h"

#include <stdlib.h>
#include <string.h>

typedef struct rank {
  const lu_circuit *c;
  uint64_t *value;      /* healthy, by node */
  uint64_t *now;        /* the same but for nodes in touched[] */
  uint64_t *differs;    /* by output: observed is not what the healthy circuit gives */
  uint64_t *shown;      /* by output: changed by the gate at hand */
  uint64_t *right;      /* by node: observations explained when it is inverted in all */
  uint64_t *pending;    /* bit set of nodes */
  bool *worth;          /* by node: it reaches an output that is wrong in some observation */
  uint32_t *touched, *shown_at, *wrong_at;
  size_t touched_count, shown_count, wrong_count;
  uint64_t healthy;     /* observations that the healthy circuit explains */
} rank;

static void settle(rank *r, const uint64_t *in)
{
  const lu_circuit *c = r->c;
  memcpy(r->value, c->fixed, c->first_link * sizeof *r->value);
  for (uint32_t i = 0; i < c->input_count; i++)
    r->value[c->input[i]] = in[i];
  for (uint32_t n = c->first_link; n < c->node_count; n++)
    r->value[n] = lu_link_value(&c->link[n], r->value);
}

/* Outputs that differ from what was seen. */
static void see(rank *r, const uint64_t *out, uint64_t lanes)
{
  r->healthy = lanes;
  r->wrong_count = 0;
  for (uint32_t o = 0; o < r->c->output_count; o++) {
    r->differs[o] = (r->value[r->c->output[o]] ^ out[o]) & lanes;
    r->healthy &= ~r->differs[o];
    if (r->differs[o])
      r->wrong_at[r->wrong_count++] = o;
  }
}

static uint64_t lanes_of(const lu_circuit_seen *seen, size_t block)
{
  size_t left = seen->count - block * 64;
  return left < 64 ? (UINT64_C(1) << left) - 1 : UINT64_MAX;
}

/* Marks what reaches an output that is wrong in any observation. Nothing else can explain more than
 * the healthy circuit does. */
static void find_worth(rank *r, const lu_circuit_seen *seen)
{
  const lu_circuit *c = r->c;
  for (size_t block = 0; block * 64 < seen->count; block++) {
    settle(r, seen->in + block * c->input_count);
    see(r, seen->out + block * c->output_count, lanes_of(seen, block));
    for (size_t i = 0; i < r->wrong_count; i++)
      r->worth[c->output[r->wrong_at[i]]] = true;
  }
  for (uint32_t n = c->node_count; n-- > c->first_link;)
    if (r->worth[n])
      r->worth[c->link[n].a] = r->worth[c->link[n].b] = true;
}

/* Puts a change on a node; returns how many nodes wait that did not. */
static unsigned touch(rank *r, uint32_t n, uint64_t change)
{
  const lu_circuit *c = r->c;
  unsigned more = 0;
  r->now[n] = r->value[n] ^ change;
  r->touched[r->touched_count++] = n;
  for (uint32_t i = c->out_first[n]; i < c->out_first[n + 1]; i++) {
    r->shown[c->out_of[i]] = change;
    r->shown_at[r->shown_count++] = c->out_of[i];
  }
  for (uint32_t i = c->reader_first[n]; i < c->reader_first[n + 1]; i++) {
    uint32_t x = c->reader[i];
    uint64_t bit = UINT64_C(1) << x % 64;
    more += !(r->pending[x / 64] & bit);
    r->pending[x / 64] |= bit;
  }
  return more;
}

static uint32_t first_pending(rank *r, uint32_t from)
{
  size_t w = from / 64;
  while (!r->pending[w])
    w++;
  uint32_t n = (uint32_t)(w * 64) + (uint32_t)__builtin_ctzll(r->pending[w]);
  r->pending[w] &= r->pending[w] - 1;
  return n;
}

/* Observations that are explained when the outputs change as shown. */
static uint64_t judge(rank *r, uint64_t lanes)
{
  uint64_t bad = 0;
  for (size_t i = 0; i < r->shown_count; i++)
    bad |= r->shown[r->shown_at[i]] ^ r->differs[r->shown_at[i]];
  for (size_t i = 0; i < r->wrong_count && (~bad & lanes); i++)
    bad |= r->differs[r->wrong_at[i]] & ~r->shown[r->wrong_at[i]];
  return lanes & ~bad;
}

/* Observations explained when gate n is inverted in all of them. Everything behind n is done. */
static uint64_t invert(rank *r, uint32_t n, uint64_t lanes)
{
  const lu_circuit *c = r->c;
  uint64_t right = 0;
  bool told = false;
  r->touched_count = r->shown_count = 0;
  for (unsigned waiting = touch(r, n, lanes); waiting;) {
    uint32_t x = first_pending(r, n);
    waiting--;
    uint64_t change = (lu_link_value(&c->link[x], r->now) ^ r->value[x]) & lanes;
    if (!change)
      continue;
    if (!waiting && !r->shown_count && c->gate_of[x] != UINT32_MAX && r->worth[x]) {
      right = (change & r->right[x]) | (~change & r->healthy);
      told = true;
      break;
    }
    waiting += touch(r, x, change);
  }
  if (!told)
    right = judge(r, lanes);
  for (size_t i = 0; i < r->touched_count; i++)
    r->now[r->touched[i]] = r->value[r->touched[i]];
  for (size_t i = 0; i < r->shown_count; i++)
    r->shown[r->shown_at[i]] = 0;
  return right & lanes;
}

static int by_explained(const void *a, const void *b)
{
  const lu_circuit_single *x = a, *y = b;
  if (x->explained != y->explained)
    return x->explained < y->explained ? 1 : -1;
  if (x->gate != y->gate)
    return x->gate < y->gate ? -1 : 1;
  return (int)x->level - (int)y->level;
}

static bool take_room(rank *r, lu_arena *mem)
{
  size_t nodes = r->c->node_count, outputs = r->c->output_count;
  r->value = LU_NEW(mem, uint64_t, nodes);
  r->now = LU_NEW(mem, uint64_t, nodes);
  r->right = LU_NEW(mem, uint64_t, nodes);
  r->pending = LU_NEW(mem, uint64_t, nodes / 64 + 1);
  r->worth = LU_NEW(mem, bool, nodes);
  r->touched = LU_NEW(mem, uint32_t, nodes);
  r->differs = LU_NEW(mem, uint64_t, outputs);
  r->shown = LU_NEW(mem, uint64_t, outputs);
  r->shown_at = LU_NEW(mem, uint32_t, outputs);
  r->wrong_at = LU_NEW(mem, uint32_t, outputs);
  return r->value && r->now && r->right && r->pending && r->worth && r->touched && r->differs && r->shown && r->shown_at && r->wrong_at;
}

/* One word of observations: adds up how many of them each gate stuck at 0 and at 1 explains. */
static void rank_block(rank *r, const uint64_t *in, const uint64_t *out, uint64_t lanes, uint32_t *explained)
{
  const lu_circuit *c = r->c;
  settle(r, in);
  memcpy(r->now, r->value, c->node_count * sizeof *r->now);
  see(r, out, lanes);
  for (uint32_t n = c->node_count; n-- > c->first_link;) {
    if (c->gate_of[n] == UINT32_MAX || !r->worth[n])
      continue;
    r->right[n] = invert(r, n, lanes);
    explained[2 * n] += (uint32_t)__builtin_popcountll((r->value[n] & r->right[n]) | (~r->value[n] & r->healthy));
    explained[2 * n + 1] += (uint32_t)__builtin_popcountll((~r->value[n] & r->right[n]) | (r->value[n] & r->healthy));
  }
}

lu_status lu_circuit_singles(const lu_circuit *c, const lu_circuit_seen *seen, lu_arena *mem, lu_circuit_ranking *out, lu_err *err)
{
  rank r = {.c = c};
  lu_circuit_ranking got = {0};
  if (!seen->count || seen->count > UINT32_MAX)
    return lu_fail(err, LU_ERR_VALUE, 0, 0, "a ranking needs observations, here are %zu", seen->count);
  uint32_t *explained = LU_NEW(mem, uint32_t, 2 * (size_t)c->node_count);
  if (!explained || !take_room(&r, mem))
    return lu_fail(err, LU_ERR_NOMEM, 0, 0, "no room to rank the faults of %u gates", c->gate_count);
  find_worth(&r, seen);
  for (size_t block = 0; block * 64 < seen->count; block++) {
    rank_block(&r, seen->in + block * c->input_count, seen->out + block * c->output_count, lanes_of(seen, block), explained);
    got.healthy += (uint32_t)__builtin_popcountll(r.healthy);
  }
  for (uint32_t n = c->first_link; n < c->node_count; n++) {
    got.hypotheses += r.worth[n] && c->gate_of[n] != UINT32_MAX ? 2 : 0;
    got.count += (explained[2 * n] > got.healthy) + (explained[2 * n + 1] > got.healthy);
  }
  got.rows = LU_NEW(mem, lu_circuit_single, got.count + 1);
  if (!got.rows)
    return lu_fail(err, LU_ERR_NOMEM, 0, 0, "no room for %zu faults", got.count);
  got.count = 0;
  for (uint32_t n = c->first_link; n < c->node_count; n++)
    for (unsigned level = 0; level < 2; level++)
      if (explained[2 * n + level] > got.healthy)
        got.rows[got.count++] = (lu_circuit_single){.gate = c->gate_of[n], .level = (uint8_t)level, .explained = explained[2 * n + level]};
  qsort(got.rows, got.count, sizeof *got.rows, by_explained);
  *out = got;
  return LU_OK;
}
