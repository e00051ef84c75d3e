/* SPDX-License-Identifier: MIT */
#ifndef LU_REASON_COVERAGE_H
#define LU_REASON_COVERAGE_H
/* What test patterns show of every single fault of a block's lines, and which of them to take. */
#include "reason/drive.h"

enum { LU_COVER_KINDS = 5, LU_COVER_PATTERNS_MOST = 256 };
#define LU_COVER_NOTHING UINT32_MAX         /* the fault changes nothing that could be seen */
#define LU_COVER_UNJUDGED (UINT32_MAX - 1u) /* its effect is not simulated */

typedef struct lu_cover_fault {
  lu_fault fault;         /* in the network's own nets and parts */
  uint32_t effect;        /* number, or LU_COVER_ */
} lu_cover_fault;

/* Faults that nothing can tell apart from outside. */
typedef struct lu_cover_effect {
  uint64_t hash, mask;
  lu_fault fault;         /* one of them */
  uint32_t faults;        /* how many */
} lu_cover_effect;

typedef struct lu_coverage {
  const lu_network *network;
  size_t pattern_count, fault_count, effect_count;
  const lu_pattern *const *patterns;
  uint64_t *operations;   /* by pattern, on this block */
  lu_cover_fault *faults; /* in the order: opens and stucks by net, bridges and swaps by pair, dead parts */
  lu_cover_effect *effects;
  lu_outcome *outcomes;   /* [effect * pattern_count + pattern] */
} lu_coverage;

/* Every single fault of the network: opens (each pin, all receivers, low, high, on data lines also
 * keep), stucks, bridges of all pairs of nets in four ways, swaps at a part, dead parts; and what
 * patterns[count] (borrowed) show of each effect. undriven: what a bus without driver reads.
 * ERR_VALUE, ERR_LIMIT, ERR_NOMEM. Cost: see docs/patterns.md, Measured. */
LU_MUST_USE lu_status lu_coverage_of(const lu_network *n, const lu_pattern *const *patterns, size_t count,
                                     lu_level undriven, lu_arena *mem, lu_coverage **out, lu_err *err);

typedef struct lu_cover_kind {
  uint32_t total, nothing, unjudged, detected, chance, missed; /* total = the others' sum; chance: a read hangs
                                                                  on what the memory held before, never surely */
} lu_cover_kind;

/* Of a set of patterns together. */
typedef struct lu_cover_sum {
  lu_cover_kind kind[LU_COVER_KINDS]; /* by lu_fault_kind, up to DEAD */
  uint32_t effects, groups;  /* effects that are detected, and sets of them that look alike */
  uint32_t alone;            /* groups of one effect */
  uint32_t largest;          /* effects in the largest group */
  double mean;               /* effects that the group of a detected effect has, on average */
  uint64_t operations;
} lu_cover_sum;

/* set[count]: numbers of patterns. False: no memory. */
bool lu_coverage_sum(const lu_coverage *c, const size_t *set, size_t count, lu_arena *mem, lu_cover_sum *out);

/* A fault under a set of patterns. */
typedef enum lu_cover_verdict { LU_COVER_IS_DETECTED, LU_COVER_IS_CHANCE, LU_COVER_IS_MISSED, LU_COVER_IS_NOTHING,
                                LU_COVER_IS_UNJUDGED } lu_cover_verdict;
lu_cover_verdict lu_coverage_verdict(const lu_coverage *c, const lu_cover_fault *f, const size_t *set, size_t count);

typedef struct lu_choice {
  size_t count, *set;      /* in the order in which they are worth running */
  bool exact;              /* no set that does the same is shorter */
  uint64_t steps;          /* that the search for a shorter one took */
  lu_cover_sum sum;
} lu_choice;

/* The shortest set that detects what any pattern detects; with apart, that also tells apart what all
 * patterns together tell apart. Greedy by gain for the operations, what became superfluous taken out;
 * then branch and bound for a shorter set, which proves that there is none unless it runs out of
 * steps (some 6000): then exact is false. False: no memory. */
bool lu_coverage_choose(const lu_coverage *c, bool apart, lu_arena *mem, lu_choice *out);

#endif
