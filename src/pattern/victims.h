/* SPDX-License-Identifier: MIT */
#ifndef LU_PATTERN_VICTIMS_H
#define LU_PATTERN_VICTIMS_H
/* What is wrong with one cell, from the reads of it that failed: stuck, slow to change, disturbed by another
 * one; and which other one.
 *
 * A cell's syndrome in each pass is held against those of every fault primitive (cells.h). Where the
 * pattern has the order `turns` (pattern.h), the side on which the aggressor lies in each pass gives its
 * address, bit by bit: a bit in which aggressor and victim differ, counting slowest, keeps the aggressor on
 * one side however the other bits count; one in which they do not lets it change sides. Phases of locating
 * as in J.-F. Li, K.-L. Cheng, C.-T. Huang, C.-W. Wu, ITC 2001 (from memory); the order is our own. */
#include "pattern/failures.h"

typedef enum lu_victim_kind {
  LU_VICTIM_UNKNOWN,  /* no primitive gives its syndromes */
  LU_VICTIM_ALONE,    /* a fault of the cell itself does */
  LU_VICTIM_COUPLED,  /* only a fault with an aggressor does */
  LU_VICTIM_OTHER     /* only linked faults, or an address decoder's */
} lu_victim_kind;

typedef struct lu_victim {
  lu_victim_kind kind;
  uint64_t found[LU_CELL_MODELS]; /* faults of that kind that give its syndromes in every pass, as bits */
  const char *text;     /* the first few of them: "SAF <1/0/->, TF <0w1/0/->"; "" when unknown */
  const char *model;    /* the first one's model: "SAF"; NULL when unknown */
  int side;             /* of the aggressor: -1 below, 1 above the victim, 0 either or none */
  bool located;
  uint64_t aggressor;   /* word number, when located */
} lu_victim;

/* at[count]: the failing reads of the word, each once. whole: reads of it that are not listed were right;
 * else last_pass is not judged, as the log ends in it. Lives in mem. ERR_NOMEM. Patterns that cannot be
 * simulated on a few cells give UNKNOWN. Cost: some ms for each different syndrome. */
LU_MUST_USE lu_status lu_victim_of(const lu_pattern *pattern, const lu_memory *block, uint64_t word, unsigned bit,
                                   const lu_failure *at, size_t count, bool whole, uint32_t last_pass, lu_arena *mem,
                                   lu_victim *out, lu_err *err);

#endif
