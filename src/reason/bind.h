/* SPDX-License-Identifier: MIT */
#ifndef LU_REASON_BIND_H
#define LU_REASON_BIND_H
/* Finds the signals of a capture that wanted names mean. Pure.
 *
 * A wanted name fits, best first: the whole path ("top.m1.A3"); the end of a path after a scope
 * ("m1.A3", "A3"); the same with case and bar notation put aside (RD#, /RD, ~{RD}, RD_N). "A3" also
 * means bit 3 of a signal A that was declared with a range, and the signal A[3]. A map's renames
 * come before the capture's own names. Of several signals that fit equally well the one in the
 * fewest scopes wins; two in as many scopes that are not the same signal are refused. */
#include "base/arena.h"
#include "data/capture.h"
#include "data/sigmap.h"

typedef struct lu_bind {
  const lu_cap *cap;
  const lu_sigmap *map;  /* for its renames; may be NULL */
  const char *map_name;  /* where messages about the map point to; may be NULL */
} lu_bind;

/* Homes that one name stands for, least significant first: homes[room], *count. ERR_MISSING with the
 * nearest name; ERR_VALUE ambiguous; ERR_LIMIT more bits than room. Cost: one look at each signal. */
LU_MUST_USE lu_status lu_bind_name(const lu_bind *b, const lu_sig_name *wanted, uint32_t *homes,
                                   size_t room, size_t *count, lu_err *err);

/* Whether two names are the same but for case and bar notation. */
bool lu_bind_same(const char *a, const char *b);

/* The name of the line at a home for messages: "addr[3]", "RD"; with scopes if asked.
 * NULL only when mem is exhausted. */
const char *lu_bind_home_name(const lu_cap *cap, uint32_t home, bool scopes, lu_arena *mem);

/* The signal (first of its twins) that holds a home, or NULL. */
const lu_cap_signal *lu_bind_home_signal(const lu_cap *cap, uint32_t home);

/* Index as declared of bit i (0 = rightmost) of a signal. */
static inline int32_t lu_bind_index(const lu_cap_signal *s, uint32_t i)
{
  if (s->msb == -1 && s->lsb == -1)
    return (int32_t)i;
  return s->msb >= s->lsb ? s->lsb + (int32_t)i : s->lsb - (int32_t)i;
}

#endif
