/* SPDX-License-Identifier: MIT */
#ifndef LU_REASON_CHIPDIFF_H
#define LU_REASON_CHIPDIFF_H
/* Where differing words stand in the memory chips, on a healthy board. Pure. */
#include "reason/network.h"
#include "data/dump.h"

enum { LU_CHIP_LINES_MOST = 1 << 14 };

typedef struct lu_chip_diff {
  uint16_t chip;             /* of the network */
  uint64_t changed;          /* bits that differ between the two readings */
  uint64_t wrong_before, wrong_after; /* bits, with known contents */
  uint32_t rows, columns;    /* distinct cell rows and columns with changed bits; 0: the chip has no rows of its own */
  uint32_t row, column;      /* the only one, where there is one */
} lu_chip_diff;

/* before, after and known (NULL: nothing known) are words of the network's block. out[n->chip_count], in
 * mem; NULL if memory is refused. Cost: words that differ times chips. */
lu_chip_diff *lu_chip_diffs(const lu_network *n, const lu_words *before, const lu_words *after, const lu_words *known, lu_arena *mem);

#endif
