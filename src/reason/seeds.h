/* SPDX-License-Identifier: MIT */
#ifndef LU_REASON_SEEDS_H
#define LU_REASON_SEEDS_H
/* What a reading says of itself, whatever else is broken: with address line 0 dead, words whose addresses differ in
 * bit 0 alone are equal, and they stay equal when further lines are dead; a stuck data bit never changes. Such
 * regularities are not masked by other faults, as single wrong words are, and so they start sets of several faults. */
#include "reason/search.h"

enum { LU_SEEDS_MOST = 96, LU_SEED_VARIANTS_MOST = 24 };

/* Classes that say one regularity, which the readings have: they differ in what is read where, not in what is equal. */
typedef struct lu_seed {
  uint64_t turns;   /* address bits that do not matter; 0: columns that do not change */
  uint64_t columns; /* data bits for which that holds */
  size_t count;
  uint32_t classes[LU_SEED_VARIANTS_MOST]; /* likeliest first, each with a face of its own */
} lu_seed;

/* The regularities of all readings, as s's classes say them. Cost: some microseconds a class. */
size_t lu_seeds(lu_search *s, lu_seed *out);

/* The fewest of them that say all, at most LU_FAULTS_MOST: those that say most (wide), or those that say least (a bridge
 * of two lines says less than both lines dead). Returns their number, indexes in chosen. */
size_t lu_seeds_cover(const lu_seed *seeds, size_t count, bool wide, size_t *chosen);

#endif
