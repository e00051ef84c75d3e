/* SPDX-License-Identifier: MIT */
#ifndef LU_REASON_FLICKERFIT_H
#define LU_REASON_FLICKERFIT_H
/* How well reads agree with a contact that is closed in some of them and open in the others, noise besides.
 *
 * Each read of a word is a draw: with chance q what is read with the contact open, else what is read with it closed; then each
 * bit turns over with chance e. q and e are those that make the reads likeliest, found by expectation and maximisation
 * (A. Dempster, N. Laird, D. Rubin, J. R. Statist. Soc. B 39, 1977; from memory). */
#include <stddef.h>
#include <stdint.h>

enum { LU_FIT_BITS = 17, LU_FIT_UNKNOWN = 65 };

/* Reads counted by their distances; further ones count as the furthest. Zeroed: empty. */
typedef struct lu_fit {
  double weight[LU_FIT_BITS][LU_FIT_BITS][LU_FIT_UNKNOWN];
  uint16_t used[LU_FIT_BITS * LU_FIT_BITS * LU_FIT_UNKNOWN];
  size_t used_count;
} lu_fit;

typedef struct lu_fitted {
  double open, noise; /* q, e */
  double log;         /* ln of the likelihood */
  double which;       /* part of it: ln of the chance that it was open in just these reads, of those that show it */
} lu_fitted;

/* A read closed bits away from what the closed contact gives, open bits from what the open one does, which leaves unknown bits
 * open. */
void lu_fit_add(lu_fit *f, unsigned closed, unsigned open, unsigned unknown, double weight);

/* With the contact (open) or with noise alone. width: bits of a word. Empties f. Cost: some tens of us. */
lu_fitted lu_fit_end(lu_fit *f, unsigned width, int open);

#endif
