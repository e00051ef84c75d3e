/* SPDX-License-Identifier: MIT */
#ifndef LU_PATTERN_FAILURES_H
#define LU_PATTERN_FAILURES_H
/* From the reads of a pattern that failed to syndromes by cell, and how far each one reaches: a
 * cell fault stands alone, a line fault takes all words, or all with some address bits. */
#include "pattern/cells.h"

enum { LU_FAILURES_MOST = 1 << 24, LU_FAILURE_WORDS_SHOWN = 4 };

typedef struct lu_failure {
  uint64_t word;  /* number in the block */
  uint64_t wrong; /* data bits that differed */
  uint32_t op;    /* number of the operation in the march, from 0; groups do not tell passes apart */
  uint32_t pass;  /* from 0 */
} lu_failure;

/* Cells with the same bit and the same syndrome. */
typedef struct lu_syndrome_group {
  unsigned bit;
  uint64_t syndrome;     /* bit r: the r-th read operation failed (cells.h) */
  uint64_t words;        /* how many words */
  uint64_t fixed, value; /* address bits that are alike in all of them, and how they stand */
  bool complete;         /* all words of the block with those address bits are in the group, and
                            they are four at least, or the whole block */
  uint64_t first[LU_FAILURE_WORDS_SHOWN]; /* the lowest of the words */
} lu_syndrome_group;

/* Groups, most words first. ERR_VALUE: an operation that is no read,
 * a word or bit outside the block; ERR_NOMEM. O(b log b), b = failing bits in all, at most
 * LU_FAILURES_MOST (ERR_LIMIT). */
LU_MUST_USE lu_status lu_failures_group(const lu_pattern *pattern, const lu_memory *block,
                                        const lu_failure *at, size_t count, lu_arena *mem,
                                        lu_syndrome_group **out, size_t *out_count, lu_err *err);

#endif
