/* SPDX-License-Identifier: MIT */
#ifndef LU_DATA_CAPTURE_H
#define LU_DATA_CAPTURE_H
/* A logic capture: levels of lines by time. A capture may be far larger than memory, so only its
 * head (which signals there are) is a value; what happens is told step by step to a sink.
 *
 * Every declared code has its bits at "homes": positions in a row of 64-bit slots, home h being
 * bit h % 64 of slot h / 64. A level needs two bits:
 *
 *     value unknown  level
 *       0      0     low
 *       1      0     high
 *       0      1     x: no certain level
 *       1      1     z: nobody drives it */
#include "base/err.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

typedef enum lu_cap_kind {
  LU_CAP_LEVEL, /* has bits */
  LU_CAP_EVENT, /* happens, has no level: no bits */
  LU_CAP_REAL   /* a number; skipped: no bits */
} lu_cap_kind;

#define LU_CAP_NO_HOME UINT32_MAX

typedef struct lu_cap_signal {
  const char *path;    /* with scopes, "top.m1.net1"; without the range */
  const char *name;    /* the last part of path, "net1" */
  lu_cap_kind kind;
  uint32_t width;      /* bits, at least 1 */
  int32_t msb, lsb;    /* indexes as declared; both -1 when none was given */
  uint32_t home;       /* home of the rightmost bit (lsb); the others follow. LU_CAP_NO_HOME: none */
  uint32_t twin;       /* first signal with the same code, the own index if it is the first */
  uint32_t line;       /* where it was declared, from 1 */
  bool is_variable;    /* an integer, a parameter or a time of a simulation: no line of a board */
} lu_cap_signal;

typedef struct lu_cap {
  const char *format;  /* a constant */
  size_t signal_count;
  lu_cap_signal *signals; /* in the order of the file */
  size_t slot_count;
  double tick_s;       /* seconds of one tick; 0: ticks count samples and the rate is not known */
  bool sampled;        /* true: fixed rate; false: on change */
} lu_cap;

/* What one moment changed. Pointers are borrowed and hold during the call only. */
typedef struct lu_cap_step {
  int64_t time;                           /* ticks */
  const uint64_t *value, *unknown;        /* [slot_count], after all changes of this moment */
  const uint64_t *was_value, *was_unknown; /* before them */
  const uint32_t *slots;                  /* slots in which something changed, ascending */
  size_t slot_count;
  bool blind;          /* nothing was recorded since this moment: every level is x until a step that
                          is not blind */
} lu_cap_step;

/* Takes a capture. Each function may be NULL. A status other than LU_OK stops the reading. */
typedef struct lu_cap_sink {
  /* Once, before the first step. cap lives as long as the reader's arena. */
  lu_status (*begin)(void *to, const lu_cap *cap, lu_err *err);
  /* Times ascend strictly. The first step starts from x everywhere. */
  lu_status (*step)(void *to, const lu_cap_step *step, lu_err *err);
  /* Once, after the last step; time = last moment that the capture knows of. */
  lu_status (*end)(void *to, int64_t time, lu_err *err);
  void *to;
  /* Bits by home that the sink wants to hear of, [slot_count], looked at after begin: steps in which
   * none of them changes are left out. NULL, or pointing to NULL: all. */
  const uint64_t *const *wanted;
} lu_cap_sink;

/* Level at a home: '0', '1', 'x' or 'z'. */
static inline char lu_cap_level(const uint64_t *value, const uint64_t *unknown, uint32_t home)
{
  unsigned v = value[home / 64] >> (home % 64) & 1, u = unknown[home / 64] >> (home % 64) & 1;
  return "01xz"[u * 2 + v];
}

#endif
