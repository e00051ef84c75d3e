/* SPDX-License-Identifier: MIT */
#ifndef LU_REASON_NEXTTEST_H
#define LU_REASON_NEXTTEST_H
/* Which test, run next, would split what is left after decoding.
 *
 * A test is a pattern run over a block, a fill that is read back being the simplest, or a read of a block
 * whose contents are known. For every explanation that is left its result is worked out; the expected gain
 * is the mutual information, in bits, between the result and the nets and parts that are blamed (J. de Kleer,
 * B. Williams, Artificial Intelligence 32(1), 1987: one-step look-ahead by entropy; from memory).
 * Explanations that blame the same gain nothing by being told apart. Of the tests that gain (nearly) as much
 * as the best one, the cheapest is the one to run. */
#include "pattern/pattern.h"
#include "reason/explain.h"

enum { LU_TRIALS_MOST = 192, LU_TRIAL_EXPLANATIONS_MOST = 24, LU_TRIAL_GROUPS_MOST = 8 };

#define LU_NEXT_NEARLY 0.95

typedef struct lu_trial {
  const lu_network *network; /* of the block that is tested */
  const lu_pattern *pattern; /* what is written and read back */
  bool known;                /* it is in there already and only read: stands for contents known from outside */
  uint64_t cost;             /* operations, and a microsecond's wait as one */
} lu_trial;

/* Suspects that the readings so far cannot tell apart, whoever of them is to blame. */
typedef struct lu_trial_group {
  unsigned group;      /* lu_suspect's */
  size_t trial;        /* the cheapest of those that split it best; SIZE_MAX: none does */
  double doubt, gain;  /* bits */
} lu_trial_group;

typedef struct lu_next_test {
  double doubt;        /* entropy of what is blamed, in bits, among the explanations looked at */
  size_t best;         /* the cheapest trial of (nearly) the largest gain; SIZE_MAX: none gains anything */
  double gain[LU_TRIALS_MOST];
  size_t group_count;
  lu_trial_group groups[LU_TRIAL_GROUPS_MOST];
} lu_next_test;

/* Entropy in bits of what the explanations blame, and whether it is worth anything to look further:
 * cheap, needs no trial. */
double lu_next_doubt(const lu_result *r);

/* The cheapest trial whose gain is at least LU_NEXT_NEARLY of the largest among gain[count]; the first of equals.
 * SIZE_MAX: none gains 0.05 bits. skip (may be NULL): trials that do not count. */
size_t lu_next_cheapest(const lu_trial *trials, const double *gain, const bool *skip, size_t count);

/* trials[count], those of one network and kind one after another; all is borrowed. Looks at the likeliest
 * explanations that give every bit. ERR_NOMEM; trials whose pattern does not fit are left out. Cost: some
 * 10 microseconds for an explanation and a trial. */
LU_MUST_USE lu_status lu_next_test_of(const lu_result *r, const lu_trial *trials, size_t count, lu_arena *mem,
                                      lu_next_test *out, lu_err *err);

#endif
