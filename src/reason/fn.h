/* SPDX-License-Identifier: MIT */
#ifndef LU_REASON_FN_H
#define LU_REASON_FN_H
/* Boolean functions of at most six variables, as truth tables in one 64-bit word.
 *
 * What a pin carries during an access is such a function: of bits of the address, of bits of the
 * word being written, of what memory chips put out. Always canonical: variables ascending and
 * none without effect, so that equal functions are equal structs. A function of more than six
 * variables is "wide": nothing is known of its value. Cost of each operation: some tens of ns. */
#include <stdbool.h>
#include <stdint.h>
#include <string.h>

enum { LU_FN_VARS = 6 };

typedef struct lu_fn {
  uint64_t table; /* bit i = value when variable k has bit k of i; unused variables don't matter */
  uint16_t var[LU_FN_VARS];
  uint8_t count;
  uint8_t wide;
  uint16_t tag; /* 0; no padding is left, so that equal functions are equal bytes */
} lu_fn;

/* variable numbers; six of them are the bits of a lane's number (lu_fn_lanes) */
enum { LU_VAR_ADDRESS = 0, LU_VAR_DATA = 64, LU_VAR_CHIP = 128, LU_VAR_LANE = 4096, LU_LANES = 64 };

static inline lu_fn lu_fn_const(bool value)
{
  lu_fn f = {.table = value ? ~(uint64_t)0 : 0};
  return f;
}

static inline lu_fn lu_fn_var(unsigned var)
{
  lu_fn f = {.table = 0xaaaaaaaaaaaaaaaau, .count = 1};
  f.var[0] = (uint16_t)var;
  return f;
}

static inline lu_fn lu_fn_wide(void)
{
  lu_fn f = {.wide = 1};
  return f;
}

static inline lu_fn lu_fn_not(lu_fn f)
{
  if (!f.wide)
    f.table = ~f.table;
  return f;
}

lu_fn lu_fn_and(const lu_fn *a, const lu_fn *b);
lu_fn lu_fn_or(const lu_fn *a, const lu_fn *b);
lu_fn lu_fn_xor(const lu_fn *a, const lu_fn *b);
/* c ? a : b */
lu_fn lu_fn_choose(const lu_fn *c, const lu_fn *a, const lu_fn *b);
/* f with variable var fixed at value. */
lu_fn lu_fn_fix(const lu_fn *f, unsigned var, bool value);

/* 64 levels as one function of the lane's number, and back; those of a wide function are not known. */
lu_fn lu_fn_lanes(uint64_t levels);
uint64_t lu_fn_lane_levels(const lu_fn *f);

static inline bool lu_fn_same(const lu_fn *a, const lu_fn *b)
{
  return memcmp(a, b, sizeof *a) == 0;
}

static inline bool lu_fn_is(const lu_fn *f, bool value)
{
  return !f->wide && f->count == 0 && (f->table & 1) == value;
}

/* Value where variable v has the value get(ctx, v). */
static inline bool lu_fn_at(const lu_fn *f, unsigned index)
{
  return f->table >> index & 1;
}

#endif
