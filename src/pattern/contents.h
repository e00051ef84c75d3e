/* SPDX-License-Identifier: MIT */
#ifndef LU_PATTERN_CONTENTS_H
#define LU_PATTERN_CONTENTS_H
/* What a memory holds after a named pattern was written to it: a value for every word.
 *
 * A name such as "address" has several honest readings (offsets or absolute addresses, words or
 * bytes, cut or folded where the address is wider than the word). Each reading is a variant; who
 * reads a dump tries them all and keeps the one that fits best. Variant 0 is the reading that our
 * own writer uses.
 *
 * width 1..64 bits, low bit = D0; bytes: bytes a word takes in memory and in the buffer, 1, 2, 4
 * or 8, with 8 * bytes >= width. Word i of a block stands at word address base_word + i. */
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "base/err.h"

typedef struct lu_contents {
  const char *name;            /* "walking-ones" */
  const char *summary;         /* one line */
  const char *source;          /* where the pattern is from, or "common practice" */
  const char *const *variants; /* variants[variant_count]: one line each */
  unsigned variant_count;      /* at least 1 */
  unsigned kind, parameter;    /* private */
} lu_contents;

/* All of them, sorted by name. */
const lu_contents *lu_contents_all(size_t *count);

/* *out: the contents of that name (case ignored). ERR_MISSING with the nearest name. */
LU_MUST_USE lu_status lu_contents_named(const char *name, const lu_contents **out, lu_err *err);

/* Word i of the block (i from 0). variant < variant_count. O(1); pseudo-random ones O(log i). */
uint64_t lu_contents_word(const lu_contents *contents, unsigned variant, unsigned width,
                          uint64_t base_word, unsigned bytes, uint64_t i);

/* Words first .. first + count - 1 of the block into words[count], an array of 8 * bytes bit
 * numbers in host byte order, unused high bits zero. Memory speed for all but pseudo-random and
 * folded addresses; measured figures in docs/patterns.md. */
void lu_contents_fill(const lu_contents *contents, unsigned variant, unsigned width,
                      uint64_t base_word, unsigned bytes, uint64_t first, size_t count,
                      void *words);

/* The value of variant 0 as a C expression of an unsigned index i (uint32_t or wider), for programs
 * that run elsewhere: text[len]. False for pseudo-random contents, which need a register. The value
 * may have bits above width set and speaks of a type lu_value for whole words. */
bool lu_contents_expression(const lu_contents *contents, unsigned width, char *text, size_t len);
/* The sequence of pseudo-random contents, else NULL. */
const struct lu_prbs *lu_contents_sequence(const lu_contents *contents);

#endif
