/* SPDX-License-Identifier: MIT */
#ifndef LU_REASON_DIAGNOSE_H
#define LU_REASON_DIAGNOSE_H
/* Diagnosis in general: candidates with probabilities, observations that tell them apart, and
 * systems of components whose behaviour gives the candidates. Knows nothing of boards.
 *
 * Source: J. de Kleer, B. Williams, "Diagnosing multiple faults", Artificial Intelligence 32 (1987):
 * minimal conflicts and diagnoses, one-step look-ahead by expected entropy, likelihood 1/m for what
 * a candidate does not predict [formulas from memory; tests/unit/reason/test_diagnose.c holds the
 * engine against the paper's example]. */
#include "base/arena.h"
#include "base/err.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

enum { LU_OUTCOMES_MOST = 16, LU_COMPONENTS_MOST = 20 };

/* Something that can be measured. */
typedef struct lu_observation {
  unsigned outcomes;        /* m, 2..LU_OUTCOMES_MOST */
  double error;             /* chance that another outcome shows than the true one, spread evenly */
  const double *confusion;  /* or [m * m]: chance of outcome j (column) when i (row) is true; NULL: error */
  const int8_t *predicts;   /* by candidate: the outcome it predicts, -1 = it says nothing (1/m each) */
  double cost;              /* > 0 */
} lu_observation;

/* All sums are in bits. p[n] need not be normalised for gain and best. */
double lu_diagnosis_entropy(const double *p, size_t n);
/* Chances of the outcomes, out[o->outcomes]. */
void lu_diagnosis_outcomes(const double *p, size_t n, const lu_observation *o, double *out);
/* Expected information about the candidates. */
double lu_diagnosis_gain(const double *p, size_t n, const lu_observation *o);
/* Bayes; returns the chance that the outcome had. p is normalised. */
double lu_diagnosis_update(double *p, size_t n, const lu_observation *o, unsigned outcome);
/* The observation with the largest gain per cost (the first of equals), SIZE_MAX if none gains
 * anything. *gain may be NULL. */
size_t lu_diagnosis_best(const double *p, size_t n, const lu_observation *all, size_t count, double *gain);

/* --- systems ------------------------------------------------------------------------------------ */

/* Components (sets are bit masks) between quantities. */
typedef struct lu_system {
  unsigned component_count, quantity_count; /* at most LU_COMPONENTS_MOST, 64 */
  /* Derives what a healthy component says: fills values that follow, marks them known. False: the
   * known values contradict it. *changed is set when something was filled. */
  bool (*component)(const void *of, unsigned component, int64_t *value, uint64_t *known, bool *changed);
  const void *of;
} lu_system;

/* Runs the healthy components to a fixed point. False: contradiction. */
bool lu_system_propagate(const lu_system *s, uint32_t healthy, int64_t *value, uint64_t *known);

/* One measured value. */
typedef struct lu_measured {
  unsigned quantity;
  int64_t value;
} lu_measured;

/* Sets of components that cannot all be healthy, and sets whose being faulty explains everything;
 * none contains another. given[]: values known beforehand; measured[]: in order. Returns how many
 * (at most `most` are stored). Cost: 2^components propagations. */
size_t lu_system_conflicts(const lu_system *s, const lu_measured *all, size_t count, uint32_t *out, size_t most);
size_t lu_system_diagnoses(const lu_system *s, const lu_measured *all, size_t count, uint32_t *out, size_t most);

/* All consistent fault sets with their posterior. prior[component] = chance that it is faulty; m: a
 * measured value that a set does not predict has likelihood 1/m (0: 1). sets[] and p[] need room for
 * 2^components; returns how many. Values before `given` are known, not measured. */
size_t lu_system_candidates(const lu_system *s, const lu_measured *all, size_t given, size_t count, const double *prior, unsigned m,
                            uint32_t *sets, double *p);

#endif
