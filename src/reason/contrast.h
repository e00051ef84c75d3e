/* SPDX-License-Identifier: MIT */
#ifndef LU_REASON_CONTRAST_H
#define LU_REASON_CONTRAST_H
/* Two readings of one memory held against each other: words, bits, lines. Pure. */
#include "base/planes.h"
#include "data/dump.h"

/* What the index and the data of one reading show by themselves, less what known contents show. */
typedef struct lu_texture {
  uint64_t stuck_low, stuck_high; /* data bits that never change; both 0 when the whole is one value */
  uint64_t dead_lines;            /* address bits without any effect; 0 when the whole is one value */
  bool blank;                     /* every word reads the same */
} lu_texture;

typedef struct lu_contrast {
  uint64_t base;                /* word address of the first word compared */
  size_t words;                 /* compared: held in both */
  size_t only_before, only_after; /* words outside the overlap, or not read in the other */
  lu_diff diff;                 /* before -> after; first counts from base */
  lu_texture before, after;
  bool known;                   /* contents are known; else the rest is 0 */
  size_t wrong_before, wrong_after, wrong_both; /* words */
  size_t cured, spoilt;         /* words that were wrong and are right, that were right and are wrong */
  uint64_t bits_before[64], bits_after[64]; /* wrong words per data bit */
} lu_contrast;

/* before and after need one width; where their addresses do not overlap, ERR_VALUE. known (NULL:
 * nothing is known) covers what is compared. Scratch from mem.
 * Cost: one pass over both at memory speed, one more for each dead address line or constant bit;
 * with known contents three more and, where both readings are wrong somewhere, one word by word. */
LU_MUST_USE lu_status lu_contrast_of(const lu_words *before, const lu_words *after, const lu_words *known, lu_arena *mem,
                                   lu_contrast *out, lu_err *err);

/* The same, where it is known that the first `same` words of both arrays are equal and held: they are not
 * looked at again, but for what moves in them. */
LU_MUST_USE lu_status lu_contrast_after(const lu_words *before, const lu_words *after, size_t same, const lu_words *known,
                                        lu_arena *mem, lu_contrast *out, lu_err *err);

#endif
