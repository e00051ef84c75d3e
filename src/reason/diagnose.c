/* SPDX-License-Identifier: MIT */
#include "reason/diagnose.h"

#include <math.h>
#include <string.h>

static double plogp(double p)
{
  return p > 0 ? -p * log2(p) : 0;
}

double lu_diagnosis_entropy(const double *p, size_t n)
{
  double sum = 0, h = 0;
  for (size_t i = 0; i < n; i++)
    sum += p[i];
  for (size_t i = 0; sum > 0 && i < n; i++)
    h += plogp(p[i] / sum);
  return h;
}

/* Chance that `seen` shows when `truth` holds. */
static double chance(const lu_observation *o, int truth, unsigned seen)
{
  if (truth < 0)
    return 1.0 / o->outcomes;
  if (o->confusion)
    return o->confusion[(unsigned)truth * o->outcomes + seen];
  return (unsigned)truth == seen ? 1 - o->error : o->error / (o->outcomes - 1);
}

/* Mass of the candidates by what they predict; mass[0] is of those that predict nothing. */
static double masses(const double *p, size_t n, const lu_observation *o, double mass[LU_OUTCOMES_MOST + 1])
{
  double sum = 0;
  memset(mass, 0, (LU_OUTCOMES_MOST + 1) * sizeof *mass);
  for (size_t i = 0; i < n; i++) {
    mass[o->predicts[i] + 1] += p[i];
    sum += p[i];
  }
  for (unsigned k = 0; sum > 0 && k <= o->outcomes; k++)
    mass[k] /= sum;
  return sum;
}

static void outcomes_of(const double mass[LU_OUTCOMES_MOST + 1], const lu_observation *o, double *out)
{
  for (unsigned seen = 0; seen < o->outcomes; seen++) {
    out[seen] = 0;
    for (int t = -1; t < (int)o->outcomes; t++)
      out[seen] += mass[t + 1] * chance(o, t, seen);
  }
}

void lu_diagnosis_outcomes(const double *p, size_t n, const lu_observation *o, double *out)
{
  double mass[LU_OUTCOMES_MOST + 1];
  masses(p, n, o, mass);
  outcomes_of(mass, o, out);
}

/* Entropy of what shows, less that which stays when the candidate is known. */
double lu_diagnosis_gain(const double *p, size_t n, const lu_observation *o)
{
  double mass[LU_OUTCOMES_MOST + 1], seen[LU_OUTCOMES_MOST], gain = 0;
  if (masses(p, n, o, mass) <= 0)
    return 0;
  outcomes_of(mass, o, seen);
  for (unsigned k = 0; k < o->outcomes; k++)
    gain += plogp(seen[k]);
  for (int t = -1; t < (int)o->outcomes; t++)
    for (unsigned k = 0; mass[t + 1] > 0 && k < o->outcomes; k++)
      gain -= mass[t + 1] * plogp(chance(o, t, k));
  return gain > 0 ? gain : 0;
}

double lu_diagnosis_update(double *p, size_t n, const lu_observation *o, unsigned outcome)
{
  double before = 0, after = 0;
  for (size_t i = 0; i < n; i++) {
    before += p[i];
    p[i] *= chance(o, o->predicts[i], outcome);
    after += p[i];
  }
  for (size_t i = 0; after > 0 && i < n; i++)
    p[i] /= after;
  return before > 0 ? after / before : 0;
}

size_t lu_diagnosis_best(const double *p, size_t n, const lu_observation *all, size_t count, double *gain)
{
  size_t best = SIZE_MAX;
  double most = 1e-9, its_gain = 0;
  for (size_t i = 0; i < count; i++) {
    double g = lu_diagnosis_gain(p, n, &all[i]);
    if (g / all[i].cost > most * (1 + 1e-9)) {
      most = g / all[i].cost;
      its_gain = g;
      best = i;
    }
  }
  if (gain)
    *gain = its_gain;
  return best;
}
