/* SPDX-License-Identifier: MIT */
#ifndef LU_REASON_DIAGNOSE_H
#define LU_REASON_DIAGNOSE_H
/* Diagnosis in general: candidates with probabilities, and observations that tell them apart. Knows
 * nothing of boards. Candidates of a system of components: model.h.
 *
 * Source: J. de Kleer, B. Williams, "Diagnosing multiple faults", Artificial Intelligence 32 (1987):
 * one-step look-ahead by expected entropy, likelihood 1/m for what a candidate does not predict
 * [formulas from memory; tests/unit/reason/test_diagnose.c holds them against the paper's example]. */
#include "base/arena.h"
#include "base/err.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

enum { LU_OUTCOMES_MOST = 16 };

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

#endif
