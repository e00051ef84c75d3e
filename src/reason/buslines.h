/* SPDX-License-Identifier: MIT */
#ifndef LU_REASON_BUSLINES_H
#define LU_REASON_BUSLINES_H
/* What the lines of a bus did in the cycles of a capture: a line that is held, or two that are joined, where the probe
 * sits make no word read wrong, because the probe sees what the memory sees. They show here. Pure. */
#include <stddef.h>
#include <stdint.h>

typedef struct lu_buslines {
  unsigned bits;          /* at most 64 */
  uint64_t words;
  uint64_t high, low;     /* lines that were ever so */
  uint64_t differ[64];    /* [line] lines that ever were at the other level */
} lu_buslines;

/* One word that stood on the bus; certain: bits that had a level. */
void lu_buslines_see(lu_buslines *b, uint64_t word, uint64_t certain);

enum { LU_BUSLINES_LEAST = 16 }; /* fewer words say nothing */

/* Lines that never moved while others did: below the highest line that moved (count up), or any of them. */
uint64_t lu_buslines_still(const lu_buslines *b, int only_below_highest);
/* The lowest line above line that always was at its level, both moving; or -1. */
int lu_buslines_twin(const lu_buslines *b, unsigned line);

#endif
