/* SPDX-License-Identifier: MIT */
#include "reason/fn.h"

/* Bits whose index has a 1 at position k. */
static const uint64_t ones_at[LU_FN_VARS] = {0xaaaaaaaaaaaaaaaau, 0xccccccccccccccccu,
                                             0xf0f0f0f0f0f0f0f0u, 0xff00ff00ff00ff00u,
                                             0xffff0000ffff0000u, 0xffffffff00000000u};

/* The table with variables k and k + 1 exchanged. */
static uint64_t exchange(uint64_t t, unsigned k)
{
  unsigned s = 1u << k;
  uint64_t up = ones_at[k] & ~ones_at[k + 1]; /* k is 1, k + 1 is 0 */
  return (t & ~(up | up << s)) | (t & up) << s | (t >> s & up);
}

static bool matters(uint64_t t, unsigned k)
{
  return ((t >> (1u << k)) ^ t) & ~ones_at[k];
}

/* Drops variables without effect. */
static lu_fn reduce(lu_fn f)
{
  for (unsigned k = 0; k < f.count;) {
    if (matters(f.table, k)) {
      k++;
      continue;
    }
    for (unsigned j = k; j + 1 < f.count; j++) {
      f.table = exchange(f.table, j);
      f.var[j] = f.var[j + 1];
    }
    f.var[--f.count] = 0;
  }
  return f;
}

/* The table of f over the variables vars[n], which contain those of f in order. */
static uint64_t spread(const lu_fn *f, const uint16_t *vars, unsigned n)
{
  unsigned place[LU_FN_VARS];
  for (unsigned i = 0, j = 0; i < f->count; i++) {
    while (j < n && vars[j] != f->var[i])
      j++;
    place[i] = j++;
  }
  uint64_t t = f->table;
  for (unsigned i = f->count; i-- > 0;)
    for (unsigned k = i; k < place[i]; k++)
      t = exchange(t, k);
  return t;
}

/* Joint variables of a and b; false when more than six. */
static bool join(const lu_fn *a, const lu_fn *b, uint16_t *vars, unsigned *n)
{
  unsigned i = 0, j = 0, k = 0;
  while (i < a->count || j < b->count) {
    if (k == LU_FN_VARS)
      return false;
    bool left = j == b->count || (i < a->count && a->var[i] <= b->var[j]);
    bool right = i == a->count || (j < b->count && b->var[j] <= a->var[i]);
    vars[k++] = left ? a->var[i] : b->var[j];
    i += left;
    j += right;
  }
  *n = k;
  return true;
}

typedef enum op { OP_AND, OP_OR, OP_XOR } op;

static lu_fn combine(const lu_fn *a, const lu_fn *b, op o)
{
  lu_fn f = {0};
  unsigned n;
  if (a->wide || b->wide || !join(a, b, f.var, &n))
    return lu_fn_wide();
  for (unsigned k = n; k < LU_FN_VARS; k++)
    f.var[k] = 0;
  f.count = (uint8_t)n;
  uint64_t x = spread(a, f.var, n), y = spread(b, f.var, n);
  f.table = o == OP_AND ? x & y : o == OP_OR ? x | y : x ^ y;
  return reduce(f);
}

lu_fn lu_fn_and(const lu_fn *a, const lu_fn *b)
{
  if (lu_fn_is(a, false) || lu_fn_is(b, true))
    return *a;
  if (lu_fn_is(b, false) || lu_fn_is(a, true))
    return *b;
  return combine(a, b, OP_AND);
}

lu_fn lu_fn_or(const lu_fn *a, const lu_fn *b)
{
  if (lu_fn_is(a, true) || lu_fn_is(b, false))
    return *a;
  if (lu_fn_is(b, true) || lu_fn_is(a, false))
    return *b;
  return combine(a, b, OP_OR);
}

lu_fn lu_fn_xor(const lu_fn *a, const lu_fn *b)
{
  return combine(a, b, OP_XOR);
}

lu_fn lu_fn_choose(const lu_fn *c, const lu_fn *a, const lu_fn *b)
{
  if (lu_fn_same(a, b))
    return *a;
  if (lu_fn_is(c, true))
    return *a;
  if (lu_fn_is(c, false))
    return *b;
  lu_fn n = lu_fn_not(*c), x = lu_fn_and(c, a), y = lu_fn_and(&n, b);
  return lu_fn_or(&x, &y);
}

lu_fn lu_fn_fix(const lu_fn *f, unsigned var, bool value)
{
  for (unsigned k = 0; k < f->count; k++)
    if (f->var[k] == var) {
      lu_fn g = *f;
      uint64_t part = value ? g.table & ones_at[k] : g.table & ~ones_at[k];
      g.table = value ? part | part >> (1u << k) : part | part << (1u << k);
      return reduce(g);
    }
  return *f;
}

lu_fn lu_fn_lanes(uint64_t levels)
{
  lu_fn f = {.table = levels, .count = LU_FN_VARS};
  for (unsigned k = 0; k < LU_FN_VARS; k++)
    f.var[k] = (uint16_t)(LU_VAR_LANE + k);
  return reduce(f);
}

uint64_t lu_fn_lane_levels(const lu_fn *f)
{
  static const uint16_t all[LU_FN_VARS] = {LU_VAR_LANE,     LU_VAR_LANE + 1, LU_VAR_LANE + 2,
                                           LU_VAR_LANE + 3, LU_VAR_LANE + 4, LU_VAR_LANE + 5};
  return spread(f, all, LU_FN_VARS);
}
