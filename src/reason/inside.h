/* SPDX-License-Identifier: MIT */
#ifndef LU_REASON_INSIDE_H
#define LU_REASON_INSIDE_H
/* Defects inside memory chips: what is left wrong lies in one cell, row or column of a chip. */
#include "reason/search.h"

/* Adds cell, row and column faults to the set so that they cover every bit it gets wrong. False
 * when at most LU_FAULTS_MOST faults in all do not. The bits of a whole row or column count as
 * unknown. */
bool lu_inside_cover(lu_search *s, lu_set *set);

/* Row and column of a chip's cell for a word address, as the chip counts them on a healthy board;
 * row 0 for chips without. */
void lu_inside_place(const lu_network *n, unsigned chip, uint64_t address, uint32_t *row, uint32_t *column);

#endif
