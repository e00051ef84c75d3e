/* SPDX-License-Identifier: MIT */
#ifndef LU_REASON_COST_H
#define LU_REASON_COST_H
/* What a hypothesis costs on the samples of all readings, while the search goes. */
#include "reason/search.h"

/* While the search goes, a bit of which nothing is known counts nearly as much as a guess that is wrong half the time:
 * "anything can be there" must not beat a fault that gives half of what is wrong. */
static const double lu_unknown_share = 0.42;

typedef struct lu_cost {
  double total, gain, harm;
  uint64_t bits; /* steady bits that are wrong */
  uint64_t open; /* bits of which nothing is known */
  bool wrong;    /* more of them than noise makes */
  uint64_t face; /* of the predictions */
} lu_cost;

/* Adds samples from .. to - 1 of one reading; compiled: its view holds the hypothesis, else the board is healthy. */
void lu_cost_samples(const lu_joint *j, const lu_look *k, unsigned from, unsigned to, bool compiled, lu_cost *c);

double lu_cost_healthy(const lu_joint *j);

/* Costs of a fault set over all readings. With quick, gives up (returns false) when a first look at
 * words that differ shows no gain at all. */
bool lu_cost_set(lu_search *s, const lu_fault *faults, size_t count, lu_level undriven, bool quick, lu_cost *c,
                 uint64_t *hash, bool *wide, bool *floats);

#endif
