/* SPDX-License-Identifier: MIT */
#include "reason/diagnose.h"

#include <math.h>
#include <string.h>

enum { QUANTITIES_MOST = 64 };

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

/* --- systems ------------------------------------------------------------------------------------- */

bool lu_system_propagate(const lu_system *s, uint32_t healthy, int64_t *value, uint64_t *known)
{
  for (bool changed = true; changed;) {
    changed = false;
    for (unsigned c = 0; c < s->component_count; c++)
      if ((healthy >> c & 1) && !s->component(s->of, c, value, known, &changed))
        return false;
  }
  return true;
}

static bool consistent(const lu_system *s, uint32_t healthy, const lu_measured *all, size_t count)
{
  int64_t value[QUANTITIES_MOST] = {0};
  uint64_t known = 0;
  for (size_t i = 0; i < count; i++) {
    value[all[i].quantity] = all[i].value;
    known |= (uint64_t)1 << all[i].quantity;
  }
  return lu_system_propagate(s, healthy, value, &known);
}

/* Minimal sets for which the healthy ones (the set itself, or all others) are consistent or not. */
static size_t minimal_sets(const lu_system *s, const lu_measured *all, size_t count, bool conflicts, uint32_t *out, size_t most)
{
  size_t found = 0;
  uint32_t every = ((uint32_t)1 << s->component_count) - 1;
  for (unsigned size = 0; size <= s->component_count; size++)
    for (uint32_t set = 0; set <= every; set++) {
      if ((unsigned)__builtin_popcount(set) != size)
        continue;
      bool covered = false;
      for (size_t i = 0; i < found && i < most && !covered; i++)
        covered = (out[i] & set) == out[i];
      if (covered || consistent(s, conflicts ? set : every & ~set, all, count) == conflicts)
        continue;
      if (found < most)
        out[found] = set;
      found++;
    }
  return found;
}

size_t lu_system_conflicts(const lu_system *s, const lu_measured *all, size_t count, uint32_t *out, size_t most)
{
  return minimal_sets(s, all, count, true, out, most);
}

size_t lu_system_diagnoses(const lu_system *s, const lu_measured *all, size_t count, uint32_t *out, size_t most)
{
  return minimal_sets(s, all, count, false, out, most);
}

/* Likelihood of the measured values when exactly `healthy` are; 0 = contradicted. */
static double likelihood(const lu_system *s, uint32_t healthy, const lu_measured *all, size_t given, size_t count, unsigned m)
{
  int64_t value[QUANTITIES_MOST] = {0};
  uint64_t known = 0;
  double w = 1;
  for (size_t i = 0; i < count; i++) {
    uint64_t bit = (uint64_t)1 << all[i].quantity;
    if (i >= given && !lu_system_propagate(s, healthy, value, &known))
      return 0;
    if (known & bit) {
      if (value[all[i].quantity] != all[i].value)
        return 0;
    } else if (i >= given && m) {
      w /= m;
    }
    value[all[i].quantity] = all[i].value;
    known |= bit;
  }
  return lu_system_propagate(s, healthy, value, &known) ? w : 0;
}

size_t lu_system_candidates(const lu_system *s, const lu_measured *all, size_t given, size_t count, const double *prior, unsigned m,
                            uint32_t *sets, double *p)
{
  uint32_t every = ((uint32_t)1 << s->component_count) - 1;
  size_t n = 0;
  double sum = 0;
  for (uint32_t faulty = 0; faulty <= every; faulty++) {
    double w = likelihood(s, every & ~faulty, all, given, count, m);
    for (unsigned c = 0; c < s->component_count; c++)
      w *= faulty >> c & 1 ? prior[c] : 1 - prior[c];
    if (w <= 0)
      continue;
    sets[n] = faulty;
    p[n++] = w;
    sum += w;
  }
  for (size_t i = 0; i < n; i++)
    p[i] /= sum;
  return n;
}
