/* SPDX-License-Identifier: MIT */
#ifndef LU_PATTERN_CSOURCE_H
#define LU_PATTERN_CSOURCE_H
/* A pattern as C source for the machine whose memory is to be tested. */
#include "pattern/pattern.h"

typedef struct lu_c_options {
  uint64_t base;    /* byte address of word 0 there */
  bool big_endian;  /* byte lanes: the top lane has the lowest address */
} lu_c_options;

/* One freestanding C99 function without calls, arrays or statics: what it works with fits the
 * registers of most processors, so that the memory under test is not needed to run it. Access,
 * delays and what to do at a failure are macros that the user may define before.
 * *out: text ended by NUL in mem. ERR_VALUE what cannot be had in that form (pseudo-random
 * backgrounds in any order but straight up and down; blocks beyond 4 GiB); ERR_NOMEM. */
LU_MUST_USE lu_status lu_pattern_c_source(const lu_pattern *pattern, const lu_memory *block,
                                          const lu_c_options *options, lu_arena *mem,
                                          const char **out, lu_err *err);

#endif
