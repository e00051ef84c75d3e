/* SPDX-License-Identifier: MIT */
#ifndef LU_BASE_PLANES_H
#define LU_BASE_PLANES_H
/* Bit planes: counting over arrays of words, for each bit of the word and of the index.
 *
 * Everything here is exact unless its name says "sampled", and every instruction set gives the
 * same result (tests/unit/test_planes.c holds them against each other and against plain loops).
 *
 * Method. Ones per bit: carry-save adders standing upright over whole vectors (one adder cell is
 * five logic operations for as many bits as the vector has), no transposition. Co-occurrence:
 * blocks are turned into bit planes by masked swaps, planes are ANDed in pairs, the results run
 * through the same adders. Index bits: three at a time from eight loads, blocked for the caches.
 * Background: R. W. Floyd's and H. S. Warren's swaps as in "Hacker's Delight", 2nd ed., sections
 * 5-1 (carry-save counting) and 7-3 (transposing a bit matrix) [section numbers from memory]. */
#include "base/arena.h"
#include "base/err.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

/* count words of `bytes` bytes each (1, 2, 4 or 8), host byte order, any alignment; borrowed.
 * held: bit i set = word i counts; NULL = all count. Words that do not count are left out
 * everywhere; a pair of words counts where both do. With gaps everything is slower. */
typedef struct lu_array {
  const void *at;
  size_t count;
  unsigned bytes;
  const uint64_t *held;
} lu_array;

/* Word i was read. */
static inline bool lu_array_held(const lu_array *a, size_t i)
{
  return !a->held || (a->held[i / 64] >> (i % 64) & 1);
}

/* Enough pairs of words that were read, one index line apart, to say whether the line has an effect; always, where all
 * words were read. */
bool lu_array_pairs_held(const lu_array *a, unsigned line);

/* So many pairs agree by chance in one of 256 cases where the words are of one bit. */
enum { LU_PAIRS_LEAST = 8 };

/* One instruction set's kernels; opaque. */
typedef struct lu_kernels lu_kernels;

/* The best that this processor runs; never NULL. No state is kept. */
const lu_kernels *lu_kernels_best(void);
/* The n-th that this processor runs, from 0 = plain C; NULL past the last. */
const lu_kernels *lu_kernels_nth(unsigned n);
/* "plain", "v2" (SSE4.2 with POPCNT), "avx2". */
const char *lu_kernels_name(const lu_kernels *k);

/* ---- one array ---- */

typedef struct lu_fold {
  size_t words;      /* words counted */
  uint64_t all_and;  /* AND of the words; all ones (of the word) if there is none */
  uint64_t all_or;   /* OR of the words */
  uint64_t ones[64]; /* words with bit b set */
} lu_fold;

/* AND, OR and ones per bit. Cost: one pass at memory speed. */
void lu_fold_words(const lu_kernels *k, const lu_array *a, lu_fold *out);

/* ---- two arrays of the same count and bytes; a's held and b's held are ANDed ---- */

typedef struct lu_diff {
  size_t words;         /* words compared */
  size_t differ;        /* words that differ */
  size_t first;         /* index of the first that differs; SIZE_MAX = none */
  uint64_t mask;        /* OR of all differences */
  uint64_t set[64];     /* bit b is 0 in a and 1 in b */
  uint64_t cleared[64]; /* bit b is 1 in a and 0 in b */
} lu_diff;

/* Cost: one pass over both at memory speed; equal stretches cost only the reading. */
void lu_diff_words(const lu_kernels *k, const lu_array *a, const lu_array *b, lu_diff *out);

/* All three at once: *of_a and *of_b as lu_fold_words, *out as lu_diff_words. Without gaps the cost is
 * that of lu_diff_words alone, since b's fold follows from a's and the differences. */
void lu_fold_diff_words(const lu_kernels *k, const lu_array *a, const lu_array *b, lu_fold *of_a,
                        lu_fold *of_b, lu_diff *out);

/* True if no counted word differs. Stops at the first difference. */
bool lu_words_equal(const lu_kernels *k, const lu_array *a, const lu_array *b);

typedef struct lu_bit_pair {
  uint8_t a, b; /* bit of the first array, bit of the second */
} lu_bit_pair;

/* both[i] = words in which bit pairs[i].a of a and bit pairs[i].b of b are both set, for i below
 * pair_count; the order that walks .a outermost is the fastest. a and b may be the same array.
 * *words: words looked at (NULL is fine). Scratch of 512 bytes a pair and up to 256 KiB comes from
 * mem, which is left to the caller to free.
 * every: look at one stretch of 8 KiB in `every` (1 = all, exact); the first and last are included.
 * ERR_NOMEM. Cost: about 7 vector operations a pair for each 8 * vector bytes words. */
LU_MUST_USE lu_status lu_cooc_pairs(const lu_kernels *k, const lu_array *a, const lu_array *b,
                                    const lu_bit_pair *pairs, size_t pair_count, unsigned every,
                                    lu_arena *mem, uint64_t *both, size_t *words, lu_err *err);

/* How thin to look, so that all pairs of bits of a large array cost little beside reading it once: 1
 * (everything) up to 2 MiB, else about 1 MiB in all, half of that for words of 64 bits. */
unsigned lu_cooc_every(const lu_array *a);

/* The whole matrix: both[i * width + j], bit i of a, bit j of b, i and j below width. */
LU_MUST_USE lu_status lu_cooc_words(const lu_kernels *k, const lu_array *a, const lu_array *b,
                                    unsigned width, unsigned every, lu_arena *mem, uint64_t *both,
                                    size_t *words, lu_err *err);

/* ---- bits of the index ("lines"); line k pairs word i (bit k of i clear) with word i + 2^k ---- */

enum { LU_MAX_LINES = 40 };

typedef struct lu_alias {
  uint64_t pairs;  /* pairs in which both words exist and count */
  uint64_t differ; /* of these, pairs whose words differ */
  uint64_t mask;   /* OR of the differences: a clear bit is a data bit that the line never moves */
} lu_alias;

/* out[0..lines): exact, all lines. Lines whose partner never exists get pairs 0.
 * Cost: two sweeps over the array however many lines there are (up to about 24). */
void lu_alias_lines(const lu_kernels *k, const lu_array *a, unsigned lines, lu_alias *out);

/* One line, exact; also differ per data bit if bits (64 entries) is not NULL.
 * Cost: one pass. */
void lu_alias_line(const lu_kernels *k, const lu_array *a, unsigned line, lu_alias *out,
                   uint64_t *bits);

/* out[0..lines): OR of the differences under each line, but a line is left as soon as all bits of
 * `want` were seen to differ (then out has at least those bits). Bits of want that stay clear are
 * exact: no pair differs in them. A healthy array costs microseconds, a dead line one pass. */
void lu_alias_masks(const lu_kernels *k, const lu_array *a, unsigned lines, uint64_t want,
                    uint64_t *out);

/* Bits of the index that a array of `count` words has: smallest n with 2^n >= count. */
unsigned lu_index_lines(size_t count);

/* ---- words to planes ---- */

/* For each bit b of `bits`: bit i % 64 of planes[b][i / 64] = bit b of word i. planes[b] has room for
 * (count + 63) / 64 entries; bits past count are zero. Entries of other bits are not looked at. held
 * is ignored: all words are converted. Cost: one pass at memory speed for up to eight bits of one
 * byte of the word, some more for each further byte. */
void lu_planes_pick(const lu_kernels *k, const lu_array *a, uint64_t bits, uint64_t *const *planes);

#endif
