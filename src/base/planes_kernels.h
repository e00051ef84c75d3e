/* SPDX-License-Identifier: MIT */
#ifndef LU_BASE_PLANES_KERNELS_H
#define LU_BASE_PLANES_KERNELS_H
/* The seam between planes.c and the instruction sets: private to these files and their tests.
 * No kernel knows of gaps; planes.c feeds it stretches without any. */
#include "base/planes.h"

#include <stdalign.h>

enum {
  LU_VECTOR_MAX = 32,  /* bytes of the widest vector */
  LU_TALLY_LEVELS = 44, /* upright counters reach 2^(4 + levels) */
  LU_COOC_GROUPS = 64, /* vectors a plane holds in one block */
  LU_COOC_SPACE = 64,  /* bytes between planes */
  LU_COOC_LOW = 6,     /* log2 of that: weights that do not leave the block */
  LU_COOC_LEVELS = 5,  /* blocks are counted out after 2^levels - 1 */
  LU_COOC_STATE = LU_COOC_LOW + 2 * LU_COOC_LEVELS, /* vectors a pair */
};

/* Upright counters for all bits of one vector. Opaque bytes: the kernel's own vectors. */
typedef struct lu_tally {
  alignas(64) unsigned char low[4 * LU_VECTOR_MAX];
  unsigned char acc[LU_TALLY_LEVELS * LU_VECTOR_MAX];
  unsigned char pend[LU_TALLY_LEVELS * LU_VECTOR_MAX];
  uint64_t blocks;
} lu_tally;

typedef struct lu_fold_state {
  lu_tally ones;
  lu_fold out; /* and, or, words are kept up to date; ones after the end */
} lu_fold_state;

typedef struct lu_diff_state {
  lu_tally set, cleared;
  lu_diff out;
} lu_diff_state;

typedef struct lu_cooc_state {
  const lu_bit_pair *pairs;
  size_t pair_count;
  unsigned bytes;
  bool same;                /* a and b are one array: planes_b is planes_a */
  void *planes_a, *planes_b; /* bits planes each, 64-byte aligned */
  void *counters;           /* LU_COOC_STATE * pair_count vectors, zeroed */
  uint64_t blocks;          /* since the counters were counted out */
  uint64_t *both;
} lu_cooc_state;

/* Equal words and OR of differences for the lines of one stretch. */
typedef struct lu_line_sum {
  uint64_t equal;
  uint64_t mask;
} lu_line_sum;

struct lu_kernels {
  const char *name;
  unsigned vector_bytes;
  void (*fold_add)(lu_fold_state *s, const void *at, size_t count, unsigned bytes);
  void (*fold_end)(lu_fold_state *s, unsigned bytes);
  void (*diff_add)(lu_diff_state *s, const void *a, const void *b, size_t count, unsigned bytes);
  void (*diff_end)(lu_diff_state *s, unsigned bytes);
  void (*cooc_add)(lu_cooc_state *s, const void *a, const void *b, size_t count);
  void (*cooc_end)(lu_cooc_state *s);
  /* words side by side: n words at a against n words at b; adds to sum */
  void (*pairs_sum)(const void *a, const void *b, size_t n, unsigned bytes, lu_line_sum *sum);
  /* OR of differences of len bytes (a multiple of 8), as a 64-bit pattern */
  uint64_t (*pairs_mask)(const void *a, const void *b, size_t len);
  /* all lines of a stretch of 2^lines words, at least 8 vectors; adds to sum[0..lines) */
  void (*block_lines)(const void *at, unsigned lines, unsigned bytes, lu_line_sum *sum);
  /* rows[2^lines] of len bytes (a multiple of the vector), stride bytes apart; adds to
   * sum[0..lines) */
  void (*row_lines)(const void *at, size_t stride, size_t len, unsigned lines, unsigned bytes,
                    lu_line_sum *sum);
  /* groups of 64 words to planes[b][from ..] for the bits b of `bits` */
  void (*pick)(const void *at, size_t groups, unsigned bytes, uint64_t bits, uint64_t *const *planes,
               size_t from);
};

extern const lu_kernels lu_kernels_plain;
#ifdef LU_HAVE_X86_KERNELS
extern const lu_kernels lu_kernels_v2;
extern const lu_kernels lu_kernels_avx2;
#endif

#endif
