/* SPDX-License-Identifier: MIT */
#ifndef LU_REASON_STANDINS_H
#define LU_REASON_STANDINS_H
/* Who else could be one of the faults of a set. With the other faults as they are, many faults read as this one does:
 * the members of its class as far as nothing else is broken on their nets, faults that differ from it only where the
 * others hide it, and faults whose difference this reading cannot show. All combinations would be too many to list, so
 * each place of a set has its own stand-ins. */
#include "reason/search.h"

typedef struct lu_standin {
  lu_fault fault;
  uint32_t class;  /* it is of, or UINT32_MAX */
  double weight;   /* ln of its prior, less what the bits cost of which the set would then say less */
} lu_standin;

typedef struct lu_place {
  lu_standin *list; /* likeliest first; empty: the fault belongs to no class */
  size_t count;
  double sum;       /* ln of the sum of their weights' exponentials */
} lu_place;

/* The stand-ins for each fault of a verified set of two or more: places[set->count]. Without wide only members of the
 * classes themselves are tried. With one fault exchanged the set may say more than it did: it then becomes the best of
 * these. Cost: some microseconds a class that touches the same lines, and one count of all words for each that reads
 * alike on the samples. False: no memory. */
LU_MUST_USE bool lu_standins(lu_search *s, lu_set *set, bool wide, lu_place *places);

/* One of the places has a stand-in for each fault of x: the two sets are one. */
bool lu_standins_cover(const lu_place *places, size_t count, const lu_set *x);

#endif
