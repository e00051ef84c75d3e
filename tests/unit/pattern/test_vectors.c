/* SPDX-License-Identifier: MIT */
/* Interconnect vector sets: numbers of vectors and power of diagnosis. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#include "pattern/vectors.h"

/* Formulas of the works named in vectors.h, worked out by hand: ceil(log2 n), ceil(log2(n+2)),
 * 2 ceil(log2 n), smallest p with p over p/2 >= n (binomials of any table). */
static void numbers_of_vectors(void **state)
{
  (void)state;
  static const unsigned rows[][5] = {
    {2, 1, 2, 2, 2},     {4, 2, 3, 4, 4},     {7, 3, 4, 6, 5},     {8, 3, 4, 6, 5},
    {14, 4, 4, 8, 6},    {15, 4, 5, 8, 6},    {16, 4, 5, 8, 6},    {20, 5, 5, 10, 6},
    {23, 5, 5, 10, 7},   {24, 5, 5, 10, 7},   {28, 5, 5, 10, 7},   {30, 5, 5, 10, 7},
    {32, 5, 6, 10, 7},   {40, 6, 6, 12, 8},   {64, 6, 7, 12, 8},   {100, 7, 7, 14, 9},
    {128, 7, 8, 14, 10}, {1000, 10, 10, 20, 13},
  };
  for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
    unsigned n = rows[i][0];
    assert_int_equal(lu_vectors_count(LU_VECTORS_COUNTING, n), rows[i][1]);
    assert_int_equal(lu_vectors_count(LU_VECTORS_MODIFIED, n), rows[i][2]);
    assert_int_equal(lu_vectors_count(LU_VECTORS_TRUE_COMPLEMENT, n), rows[i][3]);
    assert_int_equal(lu_vectors_count(LU_VECTORS_CONSTANT_WEIGHT, n), rows[i][4]);
    assert_int_equal(lu_vectors_count(LU_VECTORS_WALKING_ONES, n), n);
    assert_int_equal(lu_vectors_count(LU_VECTORS_WALKING_ZEROS, n), n);
  }
}

static uint64_t code(lu_vectors set, unsigned lines, unsigned i)
{
  uint64_t c = 0;
  for (unsigned v = 0; v < lu_vectors_count(set, lines); v++)
    c |= (uint64_t)lu_vectors_bit(set, lines, v, i) << v;
  return c;
}

/* What each set promises of its codes. */
static void codes_keep_their_promise(void **state)
{
  (void)state;
  for (unsigned n = 1; n <= 64; n++)
    for (unsigned a = 0; a < n; a++) {
      uint64_t modified = code(LU_VECTORS_MODIFIED, n, a);
      assert_true(modified != 0);
      assert_true(modified != (UINT64_C(1) << lu_vectors_count(LU_VECTORS_MODIFIED, n)) - 1);
      for (unsigned b = 0; b < n; b++) {
        uint64_t x = code(LU_VECTORS_CONSTANT_WEIGHT, n, a), y = code(LU_VECTORS_CONSTANT_WEIGHT, n, b);
        assert_true(a == b || (x & ~y)); /* no code covers another */
        assert_true(a == b || code(LU_VECTORS_COUNTING, n, a) != code(LU_VECTORS_COUNTING, n, b));
        assert_true(a == b || code(LU_VECTORS_BACKGROUNDS, n, a) != code(LU_VECTORS_BACKGROUNDS, n, b));
      }
    }
  assert_int_equal(lu_vectors_word(LU_VECTORS_BACKGROUNDS, 16, 0), 0);
  assert_int_equal(lu_vectors_word(LU_VECTORS_BACKGROUNDS, 16, 1), 0x5555);
  assert_int_equal(lu_vectors_word(LU_VECTORS_BACKGROUNDS, 16, 4), 0x00ff);
  assert_int_equal(lu_vectors_count(LU_VECTORS_BACKGROUNDS, 16), 5);
}

enum { LINES = 8, FAULTS = 156, VECTORS_MOST = 16 };

/* What eight lines show under fault f of: 16 stuck, 28 AND, 28 OR, 56 dominant bridges, 28
 * swaps. */
static unsigned faulty(unsigned f, unsigned word)
{
  if (f < 16)
    return f % 2 ? word | 1u << f / 2 : word & ~(1u << f / 2);
  f -= 16;
  bool dominant = f >= 56 && f < 112;
  unsigned kind = f < 56 ? f / 28 : dominant ? 2 + (f - 56) / 28 : 4, pair = f % 28, a = 0, b = 1;
  for (; pair; pair--)
    if (++b == LINES)
      b = ++a + 1;
  unsigned x = word >> a & 1, y = word >> b & 1, nx = x, ny = y;
  switch (kind) {
  case 0:
    nx = ny = x & y;
    break;
  case 1:
    nx = ny = x | y;
    break;
  case 2:
    ny = x;
    break;
  case 3:
    nx = y;
    break;
  default:
    nx = y;
    ny = x;
  }
  return (word & ~(1u << a | 1u << b)) | nx << a | ny << b;
}

/* Single faults on eight observable lines: detected, distinct syndromes, faults alone in theirs,
 * largest group. Worked out from the definitions by another program. */
static void power_of_diagnosis(void **state)
{
  (void)state;
  static const struct {
    lu_vectors sets[2];
    unsigned vectors, detected, distinct, alone, largest;
  } rows[] = {
    {{LU_VECTORS_COUNTING, LU_VECTORS_COUNT}, 3, 154, 102, 64, 3},
    {{LU_VECTORS_MODIFIED, LU_VECTORS_COUNT}, 4, 156, 132, 108, 2},
    {{LU_VECTORS_TRUE_COMPLEMENT, LU_VECTORS_COUNT}, 6, 156, 156, 156, 1},
    {{LU_VECTORS_WALKING_ONES, LU_VECTORS_COUNT}, 8, 156, 156, 156, 1},
    {{LU_VECTORS_WALKING_ZEROS, LU_VECTORS_COUNT}, 8, 156, 156, 156, 1},
    {{LU_VECTORS_WALKING_ONES, LU_VECTORS_WALKING_ZEROS}, 16, 156, 156, 156, 1},
    {{LU_VECTORS_CONSTANT_WEIGHT, LU_VECTORS_COUNT}, 5, 156, 156, 156, 1},
  };
  for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
    uint8_t seen[FAULTS][VECTORS_MOST] = {{0}}, sent[VECTORS_MOST] = {0};
    unsigned vectors = 0;
    for (int s = 0; s < 2 && rows[i].sets[s] != LU_VECTORS_COUNT; s++)
      for (unsigned v = 0; v < lu_vectors_count(rows[i].sets[s], LINES); v++)
        sent[vectors++] = (uint8_t)lu_vectors_word(rows[i].sets[s], LINES, v);
    assert_int_equal(vectors, rows[i].vectors);
    unsigned detected = 0, distinct = 0, alone = 0, largest = 0;
    for (unsigned f = 0; f < FAULTS; f++) {
      for (unsigned v = 0; v < vectors; v++)
        seen[f][v] = (uint8_t)faulty(f, sent[v]);
      detected += memcmp(seen[f], sent, vectors) != 0;
    }
    for (unsigned f = 0; f < FAULTS; f++) {
      unsigned group = 0;
      bool first = true;
      if (!memcmp(seen[f], sent, vectors))
        continue; /* not detected: no syndrome */
      for (unsigned g = 0; g < FAULTS; g++)
        if (!memcmp(seen[f], seen[g], vectors)) {
          group++;
          first &= g >= f;
        }
      distinct += first;
      alone += group == 1;
      largest = group > largest ? group : largest;
    }
    assert_int_equal(detected, rows[i].detected);
    assert_int_equal(distinct, rows[i].distinct);
    assert_int_equal(alone, rows[i].alone);
    assert_int_equal(largest, rows[i].largest);
  }
}

int main(void)
{
  const struct CMUnitTest tests[] = {
    cmocka_unit_test(numbers_of_vectors),
    cmocka_unit_test(codes_keep_their_promise),
    cmocka_unit_test(power_of_diagnosis),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
