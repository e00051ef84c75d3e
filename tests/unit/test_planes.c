/* SPDX-License-Identifier: MIT */
/* The bit-plane kernels against plain loops, for every instruction set of this processor. */
#include "base/planes.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

static uint64_t seed;

static uint64_t next(void)
{
  /* splitmix64; Steele, Lea, Flood, "Fast splittable pseudorandom number generators" (2014) */
  uint64_t x = seed += 0x9e3779b97f4a7c15u;
  x = (x ^ (x >> 30)) * 0xbf58476d1ce4e5b9u;
  x = (x ^ (x >> 27)) * 0x94d049bb133111ebu;
  return x ^ (x >> 31);
}

static uint64_t word(const lu_array *a, size_t i)
{
  uint64_t w = 0; /* by single bytes, low first or last by the host's order */
  const unsigned char *p = (const unsigned char *)a->at + i * a->bytes;
  const uint16_t probe = 1;
  bool little = *(const unsigned char *)&probe;
  for (unsigned b = 0; b < a->bytes; b++)
    w |= (uint64_t)p[b] << 8 * (little ? b : a->bytes - 1 - b);
  return w;
}

static bool held(const lu_array *a, size_t i)
{
  return !a->held || (a->held[i / 64] >> i % 64 & 1);
}

/* Two arrays that agree in most words, at odd addresses, with repeats and blank stretches. */
typedef struct sample {
  unsigned char *block[2];
  uint64_t *gaps[2];
  lu_array a, b;
} sample;

static void sample_make(sample *s, size_t count, unsigned bytes, bool gaps)
{
  size_t len = count * bytes;
  for (int i = 0; i < 2; i++) {
    s->block[i] = malloc(len + 1);
    s->gaps[i] = calloc(count / 64 + 1, 8);
    assert_non_null(s->block[i]);
    assert_non_null(s->gaps[i]);
  }
  unsigned char *a = s->block[0] + 1, *b = s->block[1] + 1;
  for (size_t i = 0; i < len; i++)
    a[i] = (unsigned char)next();
  for (size_t i = 0; i + 512 < len; i += 512) {
    unsigned kind = next() % 4;
    if (kind == 0)
      memset(a + i, 0xff, 512);
    if (kind == 1 && i >= 512)
      memcpy(a + i, a + i - 512, 512);
  }
  memcpy(b, a, len);
  for (size_t i = 0; i < len / 50 + 1 && len; i++)
    b[next() % len] ^= (unsigned char)(1u << next() % 8);
  for (size_t i = 0; i < count; i++)
    for (int g = 0; g < 2; g++)
      s->gaps[g][i / 64] |= (uint64_t)(next() % 8 != 0) << i % 64;
  s->a = (lu_array){a, count, bytes, gaps ? s->gaps[0] : NULL};
  s->b = (lu_array){b, count, bytes, gaps ? s->gaps[1] : NULL};
}

static void sample_free(sample *s)
{
  for (int i = 0; i < 2; i++) {
    free(s->block[i]);
    free(s->gaps[i]);
  }
}

static void check_fold(const lu_kernels *k, const sample *s)
{
  lu_fold got, want = {.all_and = UINT64_MAX >> (64 - 8 * s->a.bytes)};
  lu_fold_words(k, &s->a, &got);
  for (size_t i = 0; i < s->a.count; i++)
    if (held(&s->a, i)) {
      uint64_t w = word(&s->a, i);
      want.words++;
      want.all_and &= w;
      want.all_or |= w;
      for (unsigned b = 0; b < 8 * s->a.bytes; b++)
        want.ones[b] += w >> b & 1;
    }
  assert_int_equal(got.words, want.words);
  assert_int_equal(got.all_and, want.all_and);
  assert_int_equal(got.all_or, want.all_or);
  assert_memory_equal(got.ones, want.ones, sizeof want.ones);
}

static void check_diff(const lu_kernels *k, const sample *s)
{
  lu_diff got, want = {.first = SIZE_MAX};
  lu_diff_words(k, &s->a, &s->b, &got);
  for (size_t i = 0; i < s->a.count; i++)
    if (held(&s->a, i) && held(&s->b, i)) {
      uint64_t x = word(&s->a, i), y = word(&s->b, i);
      want.words++;
      want.differ += x != y;
      want.mask |= x ^ y;
      if (x != y && want.first == SIZE_MAX)
        want.first = i;
      for (unsigned b = 0; x != y && b < 8 * s->a.bytes; b++) {
        want.set[b] += (~x & y) >> b & 1;
        want.cleared[b] += (x & ~y) >> b & 1;
      }
    }
  assert_int_equal(got.words, want.words);
  assert_int_equal(got.differ, want.differ);
  assert_int_equal(got.first, want.first);
  assert_int_equal(got.mask, want.mask);
  assert_memory_equal(got.set, want.set, sizeof want.set);
  assert_memory_equal(got.cleared, want.cleared, sizeof want.cleared);
  assert_int_equal(lu_words_equal(k, &s->a, &s->b), want.differ == 0);
  assert_true(lu_words_equal(k, &s->a, &s->a));
}

static void check_fold_diff(const lu_kernels *k, const sample *s)
{
  lu_fold a, b, want_a, want_b;
  lu_diff d, want;
  lu_fold_words(k, &s->a, &want_a);
  lu_fold_words(k, &s->b, &want_b);
  lu_diff_words(k, &s->a, &s->b, &want);
  lu_fold_diff_words(k, &s->a, &s->b, &a, &b, &d);
  assert_int_equal(a.words, want_a.words);
  assert_int_equal(b.words, want_b.words);
  assert_int_equal(a.all_and, want_a.all_and);
  assert_int_equal(b.all_and, want_b.all_and);
  assert_int_equal(a.all_or, want_a.all_or);
  assert_int_equal(b.all_or, want_b.all_or);
  assert_memory_equal(a.ones, want_a.ones, sizeof a.ones);
  assert_memory_equal(b.ones, want_b.ones, sizeof b.ones);
  assert_int_equal(d.words, want.words);
  assert_int_equal(d.differ, want.differ);
  assert_int_equal(d.first, want.first);
  assert_int_equal(d.mask, want.mask);
  assert_memory_equal(d.set, want.set, sizeof want.set);
  assert_memory_equal(d.cleared, want.cleared, sizeof want.cleared);
}

static void check_cooc(const lu_kernels *k, const sample *s, const lu_array *b, unsigned width)
{
  lu_arena mem = {0};
  uint64_t *got = LU_NEW(&mem, uint64_t, (size_t)width * width);
  uint64_t *want = LU_NEW(&mem, uint64_t, (size_t)width * width);
  size_t words = 0, counted = 0;
  assert_int_equal(lu_cooc_words(k, &s->a, b, width, 1, &mem, got, &words, NULL), LU_OK);
  for (size_t i = 0; i < s->a.count; i++)
    if (held(&s->a, i) && held(b, i)) {
      uint64_t x = word(&s->a, i), y = word(b, i);
      counted++;
      for (unsigned p = 0; p < width; p++)
        for (unsigned q = 0; (x >> p & 1) && q < width; q++)
          want[p * width + q] += y >> q & 1;
    }
  assert_int_equal(words, counted);
  assert_memory_equal(got, want, (size_t)width * width * sizeof *want);
  lu_bit_pair pairs[3] = {{0, 0}, {(uint8_t)(width - 1), 0}, {0, (uint8_t)(width - 1)}};
  uint64_t some[3];
  assert_int_equal(lu_cooc_pairs(k, &s->a, b, pairs, 3, 1, &mem, some, NULL, NULL), LU_OK);
  for (unsigned i = 0; i < 3; i++)
    assert_int_equal(some[i], want[pairs[i].a * width + pairs[i].b]);
  lu_arena_free(&mem);
}

static void check_lines(const lu_kernels *k, const sample *s)
{
  unsigned lines = lu_index_lines(s->a.count) + 1;
  lu_alias got[LU_MAX_LINES], one;
  uint64_t masks[LU_MAX_LINES], bits[64], most = UINT64_MAX >> (64 - 8 * s->a.bytes);
  uint64_t want_bits = most & next();
  lu_alias_lines(k, &s->a, lines, got);
  lu_alias_masks(k, &s->a, lines, want_bits, masks);
  for (unsigned l = 0; l < lines; l++) {
    lu_alias want = {0};
    uint64_t each[64] = {0};
    for (size_t i = 0; i < s->a.count; i++) {
      size_t j = i | (size_t)1 << l;
      if (j == i || j >= s->a.count || !held(&s->a, i) || !held(&s->a, j))
        continue;
      uint64_t x = word(&s->a, i) ^ word(&s->a, j);
      want.pairs++;
      want.differ += x != 0;
      want.mask |= x;
      for (unsigned b = 0; x && b < 8 * s->a.bytes; b++)
        each[b] += x >> b & 1;
    }
    assert_int_equal(got[l].pairs, want.pairs);
    assert_int_equal(got[l].differ, want.differ);
    assert_int_equal(got[l].mask, want.mask);
    assert_int_equal(masks[l] & want_bits, want.mask & want_bits);
    assert_int_equal(masks[l] & ~want.mask, 0);
    lu_alias_line(k, &s->a, l, &one, bits);
    assert_int_equal(one.pairs, want.pairs);
    assert_int_equal(one.differ, want.differ);
    assert_int_equal(one.mask, want.mask);
    assert_memory_equal(bits, each, sizeof each);
  }
}

static void check_all(const lu_kernels *k, size_t count, unsigned bytes, bool gaps)
{
  sample s;
  sample_make(&s, count, bytes, gaps);
  check_fold(k, &s);
  check_diff(k, &s);
  check_fold_diff(k, &s);
  unsigned width = 8 * bytes - (unsigned)(next() % 4);
  if (count < 4100 || bytes < 4) {
    check_cooc(k, &s, &s.b, width);
    check_cooc(k, &s, &s.a, width);
  }
  check_lines(k, &s);
  sample_free(&s);
}

static void test_kernels_agree_with_plain_loops(void **state)
{
  static const size_t counts[] = {0, 1, 2, 31, 64, 100, 513, 4099, 9000};
  const lu_kernels *k;
  (void)state;
  for (unsigned n = 0; (k = lu_kernels_nth(n)); n++) {
    print_message("kernels: %s\n", lu_kernels_name(k));
    for (unsigned bytes = 1; bytes <= 8; bytes *= 2)
      for (size_t c = 0; c < sizeof counts / sizeof *counts; c++)
        for (int gaps = 0; gaps < 2; gaps++)
          check_all(k, counts[c], bytes, gaps);
  }
}

/* Sizes beyond one block of the line kernels, and two sweeps of rows. */
static void test_lines_of_large_arrays(void **state)
{
  static const size_t lens[] = {1 << 19, (1 << 19) + (1 << 18) + 4104};
  const lu_kernels *k;
  (void)state;
  for (unsigned n = 0; (k = lu_kernels_nth(n)); n++)
    for (unsigned i = 0; i < 2; i++) {
      sample s;
      sample_make(&s, lens[i] / 2, 2, false);
      check_lines(k, &s);
      sample_free(&s);
    }
}

/* All sets give the same for long arrays, where counters carry far. */
static void test_sets_agree_on_long_arrays(void **state)
{
  const lu_kernels *plain = lu_kernels_nth(0), *k;
  lu_arena mem = {0};
  (void)state;
  for (unsigned bytes = 1; bytes <= 8; bytes *= 2) {
    sample s;
    sample_make(&s, ((size_t)3 << 20) / bytes + 5, bytes, false);
    lu_fold f0, f;
    lu_diff d0, d;
    lu_alias l0[24], l[24];
    uint64_t c0[64], c[64];
    size_t w0, w;
    lu_fold_words(plain, &s.a, &f0);
    lu_diff_words(plain, &s.a, &s.b, &d0);
    lu_alias_lines(plain, &s.a, 24, l0);
    assert_int_equal(lu_cooc_words(plain, &s.a, &s.b, 8, 1, &mem, c0, &w0, NULL), LU_OK);
    for (unsigned n = 1; (k = lu_kernels_nth(n)); n++) {
      lu_fold_words(k, &s.a, &f);
      lu_diff_words(k, &s.a, &s.b, &d);
      lu_alias_lines(k, &s.a, 24, l);
      assert_int_equal(lu_cooc_words(k, &s.a, &s.b, 8, 1, &mem, c, &w, NULL), LU_OK);
      check_fold_diff(k, &s);
      assert_memory_equal(&f, &f0, sizeof f);
      assert_memory_equal(&d, &d0, sizeof d);
      assert_memory_equal(l, l0, sizeof l);
      assert_memory_equal(c, c0, sizeof c);
      assert_int_equal(w, w0);
      for (unsigned b = 0; b < 8; b++)
        assert_int_equal(lu_cooc_words(k, &s.a, &s.a, 8, 1, &mem, c, &w, NULL), LU_OK);
      for (unsigned b = 0; b < 8; b++)
        assert_int_equal(c[b * 8 + b], f0.ones[b]);
    }
    sample_free(&s);
  }
  lu_arena_free(&mem);
}

static void test_sampled_counts_are_counts_of_the_sample(void **state)
{
  const lu_kernels *k;
  (void)state;
  for (unsigned n = 0; (k = lu_kernels_nth(n)); n++) {
    lu_arena mem = {0};
    sample s;
    uint64_t got[16 * 16], want[16 * 16] = {0};
    size_t words = 0, counted = 0;
    const size_t piece = 4096, count = 20 * piece + 77;
    sample_make(&s, count, 2, false);
    assert_int_equal(lu_cooc_words(k, &s.a, &s.b, 16, 7, &mem, got, &words, NULL), LU_OK);
    for (size_t i = 0; i < count; i++)
      if (i / piece % 7 == 0 || i / piece == 20) {
        counted++;
        for (unsigned p = 0; p < 256; p++)
          want[p] += word(&s.a, i) >> p / 16 & word(&s.b, i) >> p % 16 & 1;
      }
    assert_int_equal(words, counted);
    assert_memory_equal(got, want, sizeof want);
    sample_free(&s);
    lu_arena_free(&mem);
  }
}

static void test_planes_hold_the_words_bits(void **state)
{
  const lu_kernels *k;
  (void)state;
  for (unsigned n = 0; (k = lu_kernels_nth(n)); n++)
    for (unsigned bytes = 1; bytes <= 8; bytes *= 2)
      for (size_t count = 0; count < 300; count += 37) {
        sample s;
        uint64_t plane[64][6], *planes[64], want = next() | 1;
        sample_make(&s, count, bytes, false);
        memset(plane, 0xa5, sizeof plane);
        if (bytes < 8)
          want &= ((uint64_t)1 << 8 * bytes) - 1;
        for (unsigned b = 0; b < 64; b++)
          planes[b] = want >> b & 1 ? plane[b] : NULL;
        lu_planes_pick(k, &s.a, want, planes);
        for (unsigned b = 0; b < 64; b++)
          for (size_t i = 0; want >> b & 1 && i < (count + 63) / 64 * 64; i++)
            assert_int_equal(plane[b][i / 64] >> i % 64 & 1, i < count ? word(&s.a, i) >> b & 1 : 0);
        for (unsigned b = 0; b < 64; b++)
          assert_int_equal(plane[b][(count + 63) / 64], 0xa5a5a5a5a5a5a5a5u); /* nothing past the end */
        sample_free(&s);
      }
}

static void test_refused_memory_is_an_error(void **state)
{
  (void)state;
  sample s;
  sample_make(&s, 1000, 2, false);
  for (size_t n = 1; n < 10; n++) {
    lu_arena mem = {.fail_from = n};
    uint64_t both[256];
    lu_err err = {0};
    lu_status status = lu_cooc_words(lu_kernels_best(), &s.a, &s.b, 16, 1, &mem, both, NULL, &err);
    assert_true(status == LU_OK || status == LU_ERR_NOMEM);
    assert_int_equal(status, err.status);
    lu_arena_free(&mem);
  }
  sample_free(&s);
}

int main(void)
{
  const char *given = getenv("LU_SEED");
  seed = given ? strtoull(given, NULL, 0) : (uint64_t)time(NULL);
  printf("LU_SEED=%llu\n", (unsigned long long)seed);
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(test_kernels_agree_with_plain_loops),
      cmocka_unit_test(test_lines_of_large_arrays),
      cmocka_unit_test(test_sets_agree_on_long_arrays),
      cmocka_unit_test(test_sampled_counts_are_counts_of_the_sample),
      cmocka_unit_test(test_planes_hold_the_words_bits),
      cmocka_unit_test(test_refused_memory_is_an_error),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
