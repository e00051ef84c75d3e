/* SPDX-License-Identifier: MIT */
#ifndef LU_PATTERN_VECTORS_H
#define LU_PATTERN_VECTORS_H
/* Sets of parallel test vectors for n lines: vector v gives line i one bit. A line's bits over all
 * vectors are its code.
 *
 * Sources (from memory; the numbers of vectors were worked out): counting: W. Kautz, IEEE Trans.
 * Computers C-23(4), 1974; modified counting: P. Goel, M. McMahon, ITC 1982; true/complement:
 * P. Wagner, ITC 1987; walking ones: A. Hassan, J. Rajski, V. Agarwal, ITC 1988; constant weight
 * (independent codes): W.-T. Cheng, J. Lewandowski, E. Wu, ITC 1990; data backgrounds of word
 * memories: A. van de Goor, 1991. */
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

/* id, name, summary */
#define LU_VECTORS_LIST(X)                                                                         \
  X(SOLID, "solid", "all zeros")                                                                   \
  X(BACKGROUNDS, "words", "log2 W + 1 data backgrounds: 0000, 0101, 0011, ...")                    \
  X(COUNTING, "counting", "line i gets the number i in binary")                                    \
  X(MODIFIED, "modified-counting", "line i gets i + 1: no code all zeros or all ones")             \
  X(TRUE_COMPLEMENT, "true-complement", "counting, then every vector's complement")                \
  X(CONSTANT_WEIGHT, "constant-weight", "codes of equal weight, none covers another")              \
  X(WALKING_ONES, "walking-ones", "one line high at a time")                                       \
  X(WALKING_ZEROS, "walking-zeros", "one line low at a time")

typedef enum lu_vectors {
#define X(id, name, summary) LU_VECTORS_##id,
  LU_VECTORS_LIST(X)
#undef X
    LU_VECTORS_COUNT
} lu_vectors;

const char *lu_vectors_name(lu_vectors set);
const char *lu_vectors_summary(lu_vectors set);
/* False when no set has that name. */
bool lu_vectors_named(const char *name, size_t len, lu_vectors *out);

/* Vectors in the set for lines lines, 1 or more (any number, not only a word's worth). */
unsigned lu_vectors_count(lu_vectors set, unsigned lines);
/* The bit that vector v (< count) gives line i (< lines). O(lines) at worst. */
bool lu_vectors_bit(lu_vectors set, unsigned lines, unsigned v, unsigned i);
/* The vector as a word, line i = bit i; lines 1..64. */
uint64_t lu_vectors_word(lu_vectors set, unsigned lines, unsigned v);

#endif
