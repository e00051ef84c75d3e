/* SPDX-License-Identifier: MIT */
/* The general engine against the polybox of de Kleer and Williams, "Diagnosing multiple faults" (1987):
 * conflicts and minimal diagnoses as the paper gives them; the posteriors and scores were derived by
 * enumeration outside this program (independent prior 0.01, m = 16). And greedy choice of readings
 * along a chain of hops against the optimal decision tree, found here by dynamic programming. */
#include "reason/diagnose.h"
#include "reason/model.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <math.h>
#include <stdio.h>
#include <string.h>

enum { A1, A2, M1, M2, M3, COMPONENTS };
enum { A, B, C, D, E, X, Y, Z, F, G, QUANTITIES };
#define ONE(c) ((uint64_t)1 << (c))

static bool set(int64_t *value, uint64_t *known, unsigned q, int64_t v, bool *changed)
{
  if (*known >> q & 1)
    return value[q] == v;
  value[q] = v;
  *known |= (uint64_t)1 << q;
  *changed = true;
  return true;
}

static bool has(uint64_t known, unsigned a, unsigned b)
{
  return (known >> a & 1) && (known >> b & 1);
}

static bool adder(unsigned a, unsigned b, unsigned sum, int64_t *v, uint64_t *known, bool *changed)
{
  bool ok = true;
  if (has(*known, a, b))
    ok = ok && set(v, known, sum, v[a] + v[b], changed);
  if (has(*known, sum, a))
    ok = ok && set(v, known, b, v[sum] - v[a], changed);
  if (has(*known, sum, b))
    ok = ok && set(v, known, a, v[sum] - v[b], changed);
  return ok;
}

static bool component(const void *of, unsigned c, int64_t *v, uint64_t *known, bool *changed)
{
  static const unsigned in[][3] = {{X, Y, F}, {Y, Z, G}, {A, C, X}, {B, D, Y}, {C, E, Z}};
  (void)of;
  const unsigned *p = in[c];
  if (c <= A2)
    return adder(p[0], p[1], p[2], v, known, changed);
  return !has(*known, p[0], p[1]) || set(v, known, p[2], v[p[0]] * v[p[1]], changed);
}

static const lu_system box = {.component_count = COMPONENTS, .quantity_count = QUANTITIES, .component = component};
static const lu_measured seen[] = {{A, 3}, {B, 2}, {C, 2}, {D, 3}, {E, 3}, {F, 10}, {G, 12}};
enum { GIVEN = 5, ALL = 7 };
static const double priors[COMPONENTS] = {0.01, 0.01, 0.01, 0.01, 0.01};

static bool holds(const uint64_t *sets, size_t n, uint64_t set)
{
  for (size_t i = 0; i < n; i++)
    if (sets[i] == set)
      return true;
  return false;
}

static void test_polybox_conflicts(void **state)
{
  (void)state;
  lu_arena mem = {0};
  uint64_t *sets;
  size_t n;
  lu_err err;
  assert_int_equal(lu_system_conflicts(&box, seen, ALL, &mem, &sets, &n, &err), LU_OK);
  assert_int_equal(n, 2);
  assert_true(holds(sets, 2, ONE(A1) | ONE(M1) | ONE(M2)));
  assert_true(holds(sets, 2, ONE(A1) | ONE(A2) | ONE(M1) | ONE(M3)));
  lu_arena_free(&mem);
}

static void test_polybox_minimal_diagnoses(void **state)
{
  (void)state;
  lu_arena mem = {0};
  uint64_t *sets;
  size_t n;
  lu_err err;
  assert_int_equal(lu_system_diagnoses(&box, seen, ALL, &mem, &sets, &n, &err), LU_OK);
  assert_int_equal(n, 4);
  assert_true(holds(sets, 4, ONE(A1)));
  assert_true(holds(sets, 4, ONE(M1)));
  assert_true(holds(sets, 4, ONE(A2) | ONE(M2)));
  assert_true(holds(sets, 4, ONE(M2) | ONE(M3)));
  lu_arena_free(&mem);
}

static double of(const uint64_t *sets, const double *p, size_t n, uint64_t set)
{
  for (size_t i = 0; i < n; i++)
    if (sets[i] == set)
      return p[i];
  return -1;
}

static void near(double got, double want, double within)
{
  if (!(fabs(got - want) <= within)) {
    print_error("got %.6f, expected %.6f\n", got, want);
    fail();
  }
}

static void test_polybox_posteriors(void **state)
{
  (void)state;
  uint64_t sets[32];
  double p[32], a1 = 0, m2 = 0;
  size_t n = lu_system_candidates(&box, seen, GIVEN, ALL, priors, 0, sets, p);
  assert_int_equal(n, 27);
  near(of(sets, p, n, ONE(A1)), 0.47803, 1e-5);
  near(of(sets, p, n, ONE(M1)), 0.47803, 1e-5);
  near(of(sets, p, n, ONE(M2) | ONE(M3)), 0.00483, 1e-5);
  near(lu_diagnosis_entropy(p, n), 1.3594, 1e-4);
  for (size_t i = 0; i < n; i++) {
    a1 += sets[i] & ONE(A1) ? p[i] : 0;
    m2 += sets[i] & ONE(M2) ? p[i] : 0;
  }
  near(a1, 0.4976, 1e-4);
  near(m2, 0.0196, 1e-4);
  n = lu_system_candidates(&box, seen, GIVEN, ALL, priors, 16, sets, p);
  near(of(sets, p, n, ONE(A1)), 0.49622, 1e-5);
  near(of(sets, p, n, ONE(A1) | ONE(M1)), 0.00501, 1e-5);
  near(of(sets, p, n, ONE(M2) | ONE(M3)), 0.00031, 1e-5);
  near(lu_diagnosis_entropy(p, n), 1.0714, 1e-4);
}

/* What each candidate predicts of a quantity, values numbered as they turn up. */
static unsigned predictions(unsigned q, const uint64_t *sets, size_t n, int8_t *out)
{
  int64_t values[16];
  unsigned count = 0;
  for (size_t i = 0; i < n; i++) {
    int64_t v[QUANTITIES] = {0};
    uint64_t known = 0;
    for (size_t k = 0; k < ALL; k++) {
      v[seen[k].quantity] = seen[k].value;
      known |= (uint64_t)1 << seen[k].quantity;
    }
    assert_true(lu_system_propagate(&box, 31u & ~sets[i], v, &known));
    out[i] = -1;
    for (unsigned k = 0; (known >> q & 1) && k < count; k++)
      if (values[k] == v[q])
        out[i] = (int8_t)k;
    if ((known >> q & 1) && out[i] < 0) {
      values[count] = v[q];
      out[i] = (int8_t)count++;
    }
  }
  return count;
}

/* The paper's score: sum of p ln p over predicted values, plus U ln m. */
static double score(const double *p, size_t n, const lu_observation *o, unsigned predicted)
{
  double out[16], s = 0, u = 0;
  lu_diagnosis_outcomes(p, n, o, out);
  for (size_t i = 0; i < n; i++)
    u += o->predicts[i] < 0 ? p[i] : 0;
  for (unsigned k = 0; k < predicted; k++)
    s += out[k] * log(out[k]);
  return s + u * log(o->outcomes);
}

static void test_polybox_best_probe_is_x(void **state)
{
  (void)state;
  static const double want[2][3] = {{-0.680, -0.054, -0.030}, {-0.681, -0.005, -0.003}};
  for (int likelihood = 0; likelihood < 2; likelihood++) {
    uint64_t sets[32];
    double p[32], gain;
    int8_t predicts[3][32];
    lu_observation o[3];
    size_t n = lu_system_candidates(&box, seen, GIVEN, ALL, priors, likelihood ? 16 : 0, sets, p);
    for (unsigned q = 0; q < 3; q++) {
      unsigned values = predictions(X + q, sets, n, predicts[q]);
      o[q] = (lu_observation){.outcomes = 16, .predicts = predicts[q], .cost = 1};
      near(score(p, n, &o[q], values), want[likelihood][q], 0.001);
    }
    assert_int_equal(lu_diagnosis_best(p, n, o, 3, &gain), 0);
    assert_true(gain > 0.9 && gain < 1.1);
  }
}

static void test_update_follows_bayes(void **state)
{
  (void)state;
  /* two candidates, "joined" and "open" predicted, meter error 2 %: 0.5 -> 0.98 */
  double p[2] = {0.5, 0.5};
  int8_t predicts[2] = {0, 1};
  lu_observation o = {.outcomes = 2, .error = 0.02, .predicts = predicts, .cost = 1};
  near(lu_diagnosis_gain(p, 2, &o), 1 - 0.1414405, 1e-6); /* one bit less the binary entropy of 0.02 */
  near(lu_diagnosis_update(p, 2, &o, 0), 0.5, 1e-12);
  near(p[0], 0.98, 1e-12);
  near(lu_diagnosis_update(p, 2, &o, 1), 0.02 * 0.98 + 0.98 * 0.02, 1e-12);
  near(p[0], 0.5, 1e-12);
}

/* --- chains -------------------------------------------------------------------------------------------- */

enum { HOPS_MOST = 8 };

/* A reading between points i and j of a chain tells whether the broken hop lies between: hops i..j-1. */
static uint64_t between(unsigned i, unsigned j)
{
  return (ONE(j) - 1) & ~(ONE(i) - 1);
}

static double mass(const double *p, uint64_t set)
{
  double m = 0;
  for (unsigned k = 0; k < HOPS_MOST; k++)
    m += set >> k & 1 ? p[k] : 0;
  return m;
}

/* Sum over outcomes of probability * readings, best tree over every subset. */
static double optimal(const double *p, unsigned hops)
{
  static double best[1 << HOPS_MOST];
  for (uint64_t set = 1; set < ONE(hops); set++) {
    best[set] = 0;
    if (!(set & (set - 1)))
      continue;
    best[set] = 1e300;
    for (unsigned i = 0; i <= hops; i++)
      for (unsigned j = i + 1; j <= hops; j++) {
        uint64_t in = set & between(i, j), rest = set & ~in;
        if (in && rest)
          best[set] = fmin(best[set], mass(p, set) + best[in] + best[rest]);
      }
  }
  return best[ONE(hops) - 1];
}

static double greedy(const double *p, unsigned hops, uint64_t set)
{
  double q[HOPS_MOST] = {0};
  int8_t predicts[64][HOPS_MOST];
  lu_observation o[64];
  uint64_t cut[64];
  size_t n = 0;
  if (!(set & (set - 1)))
    return 0;
  for (unsigned k = 0; k < hops; k++)
    q[k] = set >> k & 1 ? p[k] : 0;
  for (unsigned i = 0; i <= hops; i++)
    for (unsigned j = i + 1; j <= hops; j++) {
      cut[n] = between(i, j);
      for (unsigned k = 0; k < hops; k++)
        predicts[n][k] = cut[n] >> k & 1;
      o[n] = (lu_observation){.outcomes = 2, .predicts = predicts[n], .cost = 1};
      n++;
    }
  size_t b = lu_diagnosis_best(q, hops, o, n, NULL);
  assert_true(b != SIZE_MAX);
  return mass(p, set) + greedy(p, hops, set & cut[b]) + greedy(p, hops, set & ~cut[b]);
}

static void test_chain_readings_near_optimal(void **state)
{
  (void)state;
  double sum_greedy = 0, sum_best = 0, worst = 1;
  uint64_t seed = 1;
  for (unsigned n = 0; n < 400; n++) {
    unsigned hops = 2 + n % (HOPS_MOST - 1);
    double p[HOPS_MOST] = {0}, total = 0;
    for (unsigned k = 0; k < hops; k++) {
      seed = seed * 6364136223846793005u + 1442695040888963407u; /* Knuth's MMIX generator [constants from memory] */
      double u = (double)(seed >> 11) / 9007199254740992.0;
      p[k] = n % 2 ? 1 : pow(10, -3 * u); /* every other chain has hops as unlike as contacts and tracks */
      total += p[k];
    }
    for (unsigned k = 0; k < hops; k++)
      p[k] /= total;
    double g = greedy(p, hops, ONE(hops) - 1), b = optimal(p, hops);
    assert_true(g >= b - 1e-9);
    assert_true(b >= lu_diagnosis_entropy(p, hops) - 1e-9);
    worst = fmax(worst, g / b);
    sum_greedy += g;
    sum_best += b;
  }
  print_message("readings, chains of 2 to %d hops: %.4f of the optimal tree on average, %.4f at worst\n", HOPS_MOST, sum_greedy / sum_best,
                worst);
  assert_true(sum_greedy / sum_best <= 1.1);
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(test_polybox_conflicts),      cmocka_unit_test(test_polybox_minimal_diagnoses),
      cmocka_unit_test(test_polybox_posteriors),     cmocka_unit_test(test_polybox_best_probe_is_x),
      cmocka_unit_test(test_update_follows_bayes),   cmocka_unit_test(test_chain_readings_near_optimal),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
