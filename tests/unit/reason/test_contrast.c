/* SPDX-License-Identifier: MIT */
/* Two readings held against each other: every count against plain loops of this file. */
#include "reason/contrast.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <stdlib.h>
#include <string.h>

enum { MOST = 300000 };

typedef struct bench {
  lu_arena mem;
  uint16_t before[MOST], after[MOST], truth[MOST];
  uint64_t held[MOST / 64 + 1];
  lu_contrast got;
  lu_err err;
} bench;

static uint64_t seed;

static uint64_t next(void)
{
  /* splitmix64; Steele, Lea, Flood, "Fast splittable pseudorandom number generators" (2014) */
  uint64_t x = seed += 0x9e3779b97f4a7c15u;
  x = (x ^ (x >> 30)) * 0xbf58476d1ce4e5b9u;
  x = (x ^ (x >> 27)) * 0x94d049bb133111ebu;
  return x ^ (x >> 31);
}

static int set_up(void **state)
{
  seed = 7;
  *state = calloc(1, sizeof(bench));
  return *state ? 0 : -1;
}

static int tear_down(void **state)
{
  bench *b = *state;
  lu_arena_free(&b->mem);
  free(b);
  return 0;
}

static lu_words words(const uint16_t *at, uint64_t base, size_t count)
{
  return (lu_words){.base = base, .count = count, .width = 16, .bytes = 2, .at = at, .held_count = count};
}

static void fill(bench *b, size_t count)
{
  for (size_t i = 0; i < count; i++)
    b->before[i] = b->after[i] = b->truth[i] = (uint16_t)next();
}

static void test_equal_readings_are_the_same(void **state)
{
  bench *b = *state;
  fill(b, MOST);
  lu_words x = words(b->before, 0, MOST), y = words(b->after, 0, MOST);
  assert_int_equal(lu_contrast_of(&x, &y, NULL, &b->mem, &b->got, &b->err), LU_OK);
  assert_int_equal(b->got.words, MOST);
  assert_int_equal(b->got.diff.differ, 0);
  assert_true(b->got.diff.first == SIZE_MAX);
  assert_int_equal(b->got.before.dead_lines | b->got.after.dead_lines, 0);
  assert_false(b->got.known);
}

static void test_counts_agree_with_plain_loops(void **state)
{
  bench *b = *state;
  size_t differ = 0, cured = 0, spoilt = 0, both = 0, set[16] = {0};
  fill(b, MOST);
  for (unsigned n = 0; n < 3000; n++) {
    b->before[next() % MOST] ^= (uint16_t)(1u << next() % 16);
    b->after[next() % MOST] ^= (uint16_t)(1u << next() % 16);
    size_t i = next() % MOST; /* wrong in both */
    b->before[i] ^= 0x0101;
    b->after[i] ^= 0x0101;
  }
  for (size_t i = 0; i < MOST; i++) {
    bool wb = b->before[i] != b->truth[i], wa = b->after[i] != b->truth[i];
    differ += b->before[i] != b->after[i];
    cured += wb && !wa;
    spoilt += wa && !wb;
    both += wa && wb;
    for (unsigned k = 0; k < 16; k++)
      set[k] += (b->after[i] & ~b->before[i]) >> k & 1;
  }
  lu_words x = words(b->before, 0, MOST), y = words(b->after, 0, MOST), t = words(b->truth, 0, MOST);
  assert_int_equal(lu_contrast_of(&x, &y, &t, &b->mem, &b->got, &b->err), LU_OK);
  assert_int_equal(b->got.diff.differ, differ);
  assert_int_equal(b->got.cured, cured);
  assert_int_equal(b->got.spoilt, spoilt);
  assert_int_equal(b->got.wrong_both, both);
  for (unsigned k = 0; k < 16; k++)
    assert_int_equal(b->got.diff.set[k], set[k]);
}

static void test_readings_are_aligned_by_address(void **state)
{
  bench *b = *state;
  fill(b, MOST);
  b->before[500] ^= 1;
  /* the second begins 137 words later and ends 1000 words earlier */
  lu_words x = words(b->before, 4096, MOST), y = words(b->after + 137, 4096 + 137, MOST - 1137);
  assert_int_equal(lu_contrast_of(&x, &y, NULL, &b->mem, &b->got, &b->err), LU_OK);
  assert_int_equal(b->got.base, 4096 + 137);
  assert_int_equal(b->got.words, MOST - 1137);
  assert_int_equal(b->got.only_before, 1137);
  assert_int_equal(b->got.only_after, 0);
  assert_int_equal(b->got.diff.differ, 1);
  assert_int_equal(b->got.base + b->got.diff.first, 4096 + 500);
}

static void test_words_not_read_do_not_count(void **state)
{
  bench *b = *state;
  size_t differ = 0, words_held = 0;
  fill(b, MOST);
  for (size_t i = 0; i < MOST; i++) {
    bool here = next() % 5;
    b->held[i / 64] |= (uint64_t)here << (i % 64);
    b->before[i] ^= (uint16_t)(next() % 3 == 0);
    if (i < 137) /* before the second begins */
      continue;
    words_held += here;
    differ += here && b->before[i] != b->after[i];
  }
  lu_words x = words(b->before, 0, MOST), y = words(b->after + 137, 137, MOST - 137);
  x.held = b->held;
  assert_int_equal(lu_contrast_of(&x, &y, NULL, &b->mem, &b->got, &b->err), LU_OK);
  assert_int_equal(b->got.words, words_held);
  assert_int_equal(b->got.diff.differ, differ);
}

static void test_dead_lines_and_constant_bits(void **state)
{
  bench *b = *state;
  fill(b, 65536);
  for (size_t i = 0; i < 65536; i++) {
    b->after[i] = b->truth[i & ~(size_t)(1u << 13)] & 0xfff7;
    b->before[i] = b->truth[i] | 0x8000;
  }
  lu_words x = words(b->before, 0, 65536), y = words(b->after, 0, 65536);
  assert_int_equal(lu_contrast_of(&x, &y, NULL, &b->mem, &b->got, &b->err), LU_OK);
  assert_int_equal(b->got.before.stuck_high, 0x8000);
  assert_int_equal(b->got.before.dead_lines, 0);
  assert_int_equal(b->got.after.stuck_low, 8);
  assert_int_equal(b->got.after.dead_lines, 1u << 13);
}

/* What is known to be equal is passed over: the same is found, wherever the first difference stands. */
static void test_a_known_start_changes_nothing(void **state)
{
  bench *b = *state;
  lu_contrast whole;
  for (size_t at = 100; at <= MOST; at += 59980) {
    fill(b, MOST);
    for (size_t i = 0; i < MOST; i++)
      b->before[i] = b->after[i] = b->before[i] | 0x0010;
    for (size_t i = at; i < MOST; i += 7)
      b->after[i] ^= 0x0210;
    lu_words x = words(b->before, 64, MOST), y = words(b->after, 64, MOST);
    assert_int_equal(lu_contrast_of(&x, &y, NULL, &b->mem, &whole, &b->err), LU_OK);
    assert_int_equal(lu_contrast_after(&x, &y, at < MOST ? at : MOST, NULL, &b->mem, &b->got, &b->err), LU_OK);
    assert_int_equal(b->got.words, whole.words);
    assert_int_equal(b->got.diff.differ, whole.diff.differ);
    assert_true(b->got.diff.first == whole.diff.first && b->got.diff.mask == whole.diff.mask);
    assert_memory_equal(b->got.diff.set, whole.diff.set, sizeof whole.diff.set);
    assert_memory_equal(b->got.diff.cleared, whole.diff.cleared, sizeof whole.diff.cleared);
    assert_int_equal(b->got.before.stuck_high, 0x10);
    assert_int_equal(b->got.after.stuck_high, whole.after.stuck_high);
    assert_int_equal(b->got.after.dead_lines, whole.after.dead_lines);
    assert_int_equal(b->got.only_before + b->got.only_after, 0);
  }
}

static void test_what_cannot_be_compared_is_refused(void **state)
{
  bench *b = *state;
  fill(b, 1000);
  lu_words x = words(b->before, 0, 100), y = words(b->after, 100, 100), z = x;
  assert_int_equal(lu_contrast_of(&x, &y, NULL, &b->mem, &b->got, &b->err), LU_ERR_VALUE);
  z.width = 8;
  z.bytes = 1;
  assert_int_equal(lu_contrast_of(&x, &z, NULL, &b->mem, &b->got, &b->err), LU_ERR_VALUE);
}

int main(void)
{
#define TEST(f) cmocka_unit_test_setup_teardown(f, set_up, tear_down)
  const struct CMUnitTest tests[] = {
      TEST(test_equal_readings_are_the_same),     TEST(test_counts_agree_with_plain_loops),
      TEST(test_readings_are_aligned_by_address), TEST(test_words_not_read_do_not_count),
      TEST(test_dead_lines_and_constant_bits),    TEST(test_what_cannot_be_compared_is_refused),
      TEST(test_a_known_start_changes_nothing),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
