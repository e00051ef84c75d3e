/* SPDX-License-Identifier: MIT */
/* The circuit engine against brute force that shares no code with it: every stuck gate and every set of
 * gates, tried by plain loops of this file over c17, a small multiplier and random circuits. */
#include "benchtext.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { SETS_MOST = 5000 };

typedef struct bed {
  lu_arena mem;
  lu_err err;
  bench_circuit b;
  bench_seen seen;
  lu_circuit *c;
  uint8_t value[4096];
} bed;

static int set_up(void **state)
{
  *state = calloc(1, sizeof(bed));
  return *state ? 0 : -1;
}

static int tear_down(void **state)
{
  bed *t = *state;
  lu_arena_free(&t->mem);
  free(t);
  return 0;
}

static void build(bed *t)
{
  assert_int_equal(lu_circuit_new(t->b.gates, t->b.count, t->b.pins, t->b.pin_count, t->b.outputs, t->b.output_count, &t->mem, &t->c, &t->err),
                   LU_OK);
  assert_int_equal(lu_circuit_inputs(t->c), t->b.input_count);
}

static void make(bed *t, const char *name, uint64_t seed)
{
  lu_arena_free(&t->mem);
  if (!strcmp(name, "c17")) {
    char text[2000];
    FILE *f = fopen(LU_TOP "/tests/circuits/c17.bench", "rb");
    assert_non_null(f);
    size_t len = fread(text, 1, sizeof text, f);
    fclose(f);
    assert_int_equal(bench_read(text, len, &t->mem, &t->b, &t->err), LU_OK);
  } else {
    assert_true(bench_make(name, seed, &t->mem, &t->b));
  }
  build(t);
}

/* --- by brute force ----------------------------------------------------------------------------------- */

/* Outputs are as seen when gate set[i] gives bit i of pattern, whatever it reads. */
static bool agrees(bed *t, size_t observation, const uint32_t *set, unsigned size, unsigned pattern)
{
  const bench_circuit *b = &t->b;
  for (uint32_t g = 0; g < b->count; g++) {
    t->value[g] = g < b->input_count ? t->seen.in[observation * b->input_count + g] : bench_gate(b, g, t->value);
    for (unsigned i = 0; i < size; i++)
      if (set[i] == g)
        t->value[g] = pattern >> i & 1;
  }
  for (size_t o = 0; o < b->output_count; o++)
    if (t->value[b->outputs[o]] != t->seen.out[observation * b->output_count + o])
      return false;
  return true;
}

static bool explains(bed *t, const uint32_t *set, unsigned size)
{
  for (size_t n = 0; n < t->seen.count; n++) {
    bool any = false;
    for (unsigned pattern = 0; pattern < 1u << size && !any; pattern++)
      any = agrees(t, n, set, size, pattern);
    if (!any)
      return false;
  }
  return true;
}

/* All explaining sets of that size, of any gates; returns how many, at most `most` are stored. */
static size_t all_sets(bed *t, unsigned size, uint32_t *out, size_t most)
{
  uint32_t set[3], first = (uint32_t)t->b.input_count, end = (uint32_t)t->b.count;
  size_t count = 0;
  for (unsigned i = 0; i < size; i++)
    set[i] = first + i;
  if (size > end - first)
    return 0;
  for (;;) {
    if (explains(t, set, size)) {
      if (count < most)
        memcpy(out + count * size, set, size * sizeof *set);
      count++;
    }
    unsigned i = size;
    while (i > 0 && set[i - 1] == end - size + i - 1)
      i--;
    if (!i)
      return count;
    set[i - 1]++;
    for (; i < size; i++)
      set[i] = set[i - 1] + 1;
  }
}

/* --- ranking ------------------------------------------------------------------------------------------ */

static uint32_t stuck_explains(bed *t, uint32_t gate, unsigned level)
{
  uint32_t right = 0;
  for (size_t n = 0; n < t->seen.count; n++)
    right += agrees(t, n, &gate, 1, level);
  return right;
}

static void check_ranking(bed *t)
{
  lu_circuit_ranking got;
  assert_int_equal(lu_circuit_singles(t->c, &t->seen.packed, &t->mem, &got, &t->err), LU_OK);
  uint32_t healthy = 0;
  size_t better = 0;
  for (size_t n = 0; n < t->seen.count; n++)
    healthy += agrees(t, n, NULL, 0, 0);
  assert_int_equal(got.healthy, healthy);
  for (uint32_t g = (uint32_t)t->b.input_count; g < t->b.count; g++)
    for (unsigned level = 0; level < 2; level++) {
      uint32_t want = stuck_explains(t, g, level), have = 0;
      for (size_t i = 0; i < got.count; i++)
        if (got.rows[i].gate == g && got.rows[i].level == level)
          have = got.rows[i].explained;
      better += want > healthy;
      assert_int_equal(have, want > healthy ? want : 0);
    }
  assert_int_equal(got.count, better);
  for (size_t i = 1; i < got.count; i++)
    assert_true(got.rows[i].explained <= got.rows[i - 1].explained);
}

static void test_ranking_of_stuck_gates_is_that_of_brute_force(void **state)
{
  bed *t = *state;
  static const char *const names[] = {"c17", "mult3", "rand12", "rand40", "rand160"};
  static const size_t counts[] = {1, 7, 64, 65, 130};
  for (uint64_t seed = 1; seed <= 25; seed++) {
    make(t, names[seed % 5], seed);
    if (bench_observe(&t->b, 1 + seed % 3, counts[seed / 5 % 5], seed, &t->mem, &t->seen, NULL))
      check_ranking(t);
  }
}

/* Observations that the healthy circuit explains too: a gate stuck, seen under any inputs. */
static void test_ranking_names_the_stuck_gate(void **state)
{
  bed *t = *state;
  make(t, "mult4", 1);
  const bench_circuit *b = &t->b;
  uint64_t seed = 5;
  uint32_t gate = (uint32_t)b->input_count + 20;
  t->seen = (bench_seen){.count = 100, .in = LU_NEW(&t->mem, uint8_t, 800), .out = LU_NEW(&t->mem, uint8_t, 800)};
  assert_int_equal(b->input_count, 8);
  assert_int_equal(b->output_count, 8);
  for (size_t n = 0; n < 100; n++) {
    for (size_t i = 0; i < 8; i++)
      t->seen.in[8 * n + i] = bench_random(&seed) & 1;
    (void)agrees(t, n, &gate, 1, 1);
    for (size_t o = 0; o < 8; o++)
      t->seen.out[8 * n + o] = t->value[b->outputs[o]];
  }
  assert_true(bench_pack(b, &t->mem, &t->seen));
  check_ranking(t);
  lu_circuit_ranking got;
  assert_int_equal(lu_circuit_singles(t->c, &t->seen.packed, &t->mem, &got, &t->err), LU_OK);
  assert_int_equal(got.rows[0].explained, 100);
  bool found = false;
  for (size_t i = 0; i < got.count && got.rows[i].explained == 100; i++)
    found |= got.rows[i].gate == gate && got.rows[i].level == 1;
  assert_true(found);
}

/* --- smallest sets ------------------------------------------------------------------------------------ */

static bool holds(const uint32_t *sets, size_t count, const uint32_t *set, unsigned size)
{
  for (size_t i = 0; i < count; i++)
    if (!memcmp(sets + i * size, set, size * sizeof *set))
      return true;
  return false;
}

/* The size is right; the sets are those of brute force in which every gate is its own region; and what
 * may stand instead of a gate is so by brute force. */
static void check_smallest(bed *t, unsigned most)
{
  lu_circuit_query q = {.most = most, .sets_most = SETS_MOST};
  lu_circuit_least got;
  assert_int_equal(lu_circuit_smallest(t->c, &t->seen.packed, &q, &t->mem, &got, &t->err), LU_OK);
  assert_true(got.proved && (got.all || got.size > most));
  uint32_t *want = LU_NEW(&t->mem, uint32_t, 3 * SETS_MOST);
  for (unsigned size = 1; size < got.size; size++)
    assert_int_equal(all_sets(t, size, want, SETS_MOST), 0);
  if (got.size > most)
    return;
  assert_true(got.size > 0);
  size_t count = all_sets(t, got.size, want, SETS_MOST), own = 0;
  assert_true(count && count <= SETS_MOST);
  for (size_t i = 0; i < count; i++) {
    bool regions = true;
    for (unsigned k = 0; k < got.size; k++)
      regions &= lu_circuit_region(t->c, want[i * got.size + k]) == want[i * got.size + k];
    own += regions;
    if (regions)
      assert_true(holds(got.sets, got.count, want + i * got.size, got.size));
  }
  assert_int_equal(own, got.count);
  for (unsigned k = 0; k < got.size; k++) {
    uint32_t set[3], *instead;
    size_t n;
    memcpy(set, got.sets, got.size * sizeof *set);
    assert_int_equal(lu_circuit_instead(t->c, &t->seen.packed, set, got.size, k, &t->mem, &instead, &n, &t->err), LU_OK);
    assert_true(n >= 1);
    for (size_t i = 0; i < n; i++) {
      set[k] = instead[i];
      assert_true(explains(t, set, got.size));
      bool yes;
      assert_int_equal(lu_circuit_explains(t->c, &t->seen.packed, set, got.size, &t->mem, &yes, &t->err), LU_OK);
      assert_true(yes);
    }
  }
}

static void test_smallest_sets_are_those_of_brute_force(void **state)
{
  bed *t = *state;
  static const char *const names[] = {"c17", "mult3", "rand12", "rand24", "mult2"};
  for (uint64_t seed = 1; seed <= 60; seed++) {
    make(t, names[seed % 5], seed);
    if (bench_observe(&t->b, 1 + (unsigned)(seed / 5) % 3, 1 + seed / 15, seed, &t->mem, &t->seen, NULL))
      check_smallest(t, 3);
  }
}

/* Outputs at random: mostly nothing small explains them, and often nothing at all. */
static void test_smallest_sets_of_arbitrary_outputs(void **state)
{
  bed *t = *state;
  unsigned none = 0;
  for (uint64_t seed = 100; seed < 140; seed++) {
    make(t, seed % 2 ? "rand20" : "c17", seed);
    if (!bench_observe(&t->b, 1, 2, seed, &t->mem, &t->seen, NULL))
      continue;
    uint64_t r = seed;
    for (size_t i = 0; i < t->seen.count * t->b.output_count; i++)
      t->seen.out[i] = bench_random(&r) & 1;
    assert_true(bench_pack(&t->b, &t->mem, &t->seen));
    lu_circuit_query q = {.most = 3, .sets_most = SETS_MOST};
    lu_circuit_least got;
    assert_int_equal(lu_circuit_smallest(t->c, &t->seen.packed, &q, &t->mem, &got, &t->err), LU_OK);
    none += got.size > 3;
    if (got.size)
      check_smallest(t, 3);
  }
  assert_true(none > 0);
}

static void test_nothing_wrong_needs_no_gate(void **state)
{
  bed *t = *state;
  make(t, "rand40", 3);
  assert_true(bench_observe(&t->b, 0, 5, 3, &t->mem, &t->seen, NULL));
  lu_circuit_query q = {.most = 3, .sets_most = 1};
  lu_circuit_least got;
  lu_circuit_ranking rank;
  assert_int_equal(lu_circuit_smallest(t->c, &t->seen.packed, &q, &t->mem, &got, &t->err), LU_OK);
  assert_int_equal(got.size, 0);
  assert_int_equal(lu_circuit_singles(t->c, &t->seen.packed, &t->mem, &rank, &t->err), LU_OK);
  assert_int_equal(rank.healthy, 5);
  assert_int_equal(rank.count, 0);
  uint64_t out[64];
  assert_true(t->b.output_count <= 64);
  assert_int_equal(lu_circuit_run(t->c, &t->seen.packed, out, &t->mem, &t->err), LU_OK);
  assert_memory_equal(out, t->seen.packed.out, t->b.output_count * sizeof *out);
}

/* A search that may take few steps says that it proved nothing. */
static void test_the_step_limit_is_kept(void **state)
{
  bed *t = *state;
  make(t, "rand900", 1);
  assert_true(bench_observe(&t->b, 3, 1, 1, &t->mem, &t->seen, NULL));
  lu_circuit_query q = {.most = 3, .sets_most = 1, .steps_most = 5000};
  lu_circuit_least got;
  assert_int_equal(lu_circuit_smallest(t->c, &t->seen.packed, &q, &t->mem, &got, &t->err), LU_OK);
  assert_int_equal(got.count, 0);
  assert_false(got.proved);
  assert_true(got.size <= 2);
}

/* Two gates in a row have one region; a gate with two readers that meet again too. */
static void test_regions(void **state)
{
  bed *t = *state;
  static const char text[] = "INPUT(a)\nINPUT(b)\nINPUT(c)\nOUTPUT(z)\nOUTPUT(y)\n"
                             "n = NOT(a)\np = AND(n, b)\nq = OR(n, c)\nm = XOR(p, q, b)\nz = NOT(m)\ny = AND(c, a, b, c)\n";
  assert_int_equal(bench_read(text, sizeof text - 1, &t->mem, &t->b, &t->err), LU_OK);
  build(t);
  for (uint32_t g = 3; g < t->b.count; g++) {
    const char *of = t->b.names[lu_circuit_region(t->c, g)];
    assert_string_equal(of, !strcmp(t->b.names[g], "y") ? "y" : "z");
  }
}

static void test_bad_circuits_are_refused(void **state)
{
  bed *t = *state;
  uint32_t pins[] = {0, 2}, zero = 0, nine = 9;
  lu_gate gates[] = {{.op = LU_GATE_INPUT}, {.op = LU_GATE_AND, .first = 0, .count = 2}};
  assert_int_equal(lu_circuit_new(gates, 2, pins, 2, &zero, 1, &t->mem, &t->c, &t->err), LU_ERR_VALUE);
  assert_string_equal(t->err.message, "gate 1 reads 2, which does not come before it");
  pins[1] = 0;
  assert_int_equal(lu_circuit_new(gates, 2, pins, 2, &nine, 1, &t->mem, &t->c, &t->err), LU_ERR_VALUE);
  assert_int_equal(lu_circuit_new(gates, 2, pins, 1, &zero, 1, &t->mem, &t->c, &t->err), LU_ERR_VALUE);
  gates[1].op = LU_GATE_NOT;
  assert_int_equal(lu_circuit_new(gates, 2, pins, 2, &zero, 1, &t->mem, &t->c, &t->err), LU_ERR_VALUE);
  assert_string_equal(t->err.message, "gate 1, kind 4, has 2 inputs");
  gates[1].count = 1;
  assert_int_equal(lu_circuit_new(gates, 2, pins, 2, &zero, 1, &t->mem, &t->c, &t->err), LU_OK);
}

/* The n-th request for memory refused: an error each time, then an answer. */
static void test_every_refused_request_is_an_error(void **state)
{
  bed *t = *state;
  make(t, "mult3", 2);
  assert_true(bench_observe(&t->b, 2, 3, 2, &t->mem, &t->seen, NULL));
  bool done = false;
  for (size_t n = 1; !done && n < 200; n++) {
    lu_arena mem = {.fail_from = n};
    lu_circuit *c;
    lu_circuit_query q = {.most = 3, .sets_most = 100};
    lu_circuit_least got;
    lu_circuit_ranking rank;
    lu_status s = lu_circuit_new(t->b.gates, t->b.count, t->b.pins, t->b.pin_count, t->b.outputs, t->b.output_count, &mem, &c, &t->err);
    if (!s)
      s = lu_circuit_singles(c, &t->seen.packed, &mem, &rank, &t->err);
    if (!s)
      s = lu_circuit_smallest(c, &t->seen.packed, &q, &mem, &got, &t->err);
    assert_true(s == LU_OK || s == LU_ERR_NOMEM);
    done = s == LU_OK;
    lu_arena_free(&mem);
  }
  assert_true(done);
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test_setup_teardown(test_ranking_of_stuck_gates_is_that_of_brute_force, set_up, tear_down),
      cmocka_unit_test_setup_teardown(test_ranking_names_the_stuck_gate, set_up, tear_down),
      cmocka_unit_test_setup_teardown(test_smallest_sets_are_those_of_brute_force, set_up, tear_down),
      cmocka_unit_test_setup_teardown(test_smallest_sets_of_arbitrary_outputs, set_up, tear_down),
      cmocka_unit_test_setup_teardown(test_nothing_wrong_needs_no_gate, set_up, tear_down),
      cmocka_unit_test_setup_teardown(test_the_step_limit_is_kept, set_up, tear_down),
      cmocka_unit_test_setup_teardown(test_regions, set_up, tear_down),
      cmocka_unit_test_setup_teardown(test_bad_circuits_are_refused, set_up, tear_down),
      cmocka_unit_test_setup_teardown(test_every_refused_request_is_an_error, set_up, tear_down),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
