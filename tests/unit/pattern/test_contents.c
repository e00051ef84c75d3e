/* SPDX-License-Identifier: MIT */
/* The contents that a named pattern leaves in memory. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#include "base/text.h"
#include "pattern/contents.h"
#include "pattern/prbs.h"

static const lu_contents *named(const char *name)
{
  const lu_contents *c = NULL;
  assert_int_equal(lu_contents_named(name, &c, NULL), LU_OK);
  return c;
}

static void names_are_sorted_and_described(void **state)
{
  (void)state;
  size_t count;
  const lu_contents *all = lu_contents_all(&count);
  for (size_t i = 0; i < count; i++) {
    assert_true(all[i].summary && all[i].source && all[i].variant_count);
    for (unsigned v = 0; v < all[i].variant_count; v++)
      assert_non_null(all[i].variants[v]);
    if (i)
      assert_true(lu_text_order(all[i - 1].name, all[i].name) < 0);
    assert_ptr_equal(named(all[i].name), &all[i]);
  }
}

static void unknown_name_offers_the_nearest(void **state)
{
  (void)state;
  const lu_contents *c = NULL;
  lu_err err = {0};
  assert_int_equal(lu_contents_named("walking-one", &c, &err), LU_ERR_MISSING);
  assert_null(c);
  assert_non_null(strstr(err.message, "walking-ones"));
}

/* Values that the names promise (the project's contract with scripts). */
static void promised_values(void **state)
{
  (void)state;
  for (unsigned i = 0; i < 40; i++) {
    assert_int_equal(lu_contents_word(named("walking-ones"), 0, 16, 0x8000, 2, i), 1u << i % 16);
    assert_int_equal(lu_contents_word(named("walking-zeros"), 0, 8, 0, 1, i),
                     0xff ^ 1u << i % 8);
    assert_int_equal(lu_contents_word(named("address"), 0, 16, 0x8000, 2, i), i);
    assert_int_equal(lu_contents_word(named("address-inverse"), 0, 16, 0x8000, 2, i), 0xffff ^ i);
    assert_int_equal(lu_contents_word(named("checkerboard"), 0, 8, 0, 1, i), i & 1 ? 0xaa : 0x55);
  }
  const lu_contents *a = named("address");
  assert_int_equal(lu_contents_word(a, 1, 16, 0x8000, 2, 3), 0x8003);
  assert_int_equal(lu_contents_word(a, 2, 16, 0x8000, 2, 3), 6);
  assert_int_equal(lu_contents_word(a, 3, 16, 0x4000, 2, 3), 0x8006);
  assert_int_equal(lu_contents_word(a, 4, 8, 0, 1, 0x1234), 0x12 ^ 0x34);
  assert_int_equal(lu_contents_word(a, 5, 8, 0x5600, 1, 0x34), 0x56 ^ 0x34);
  assert_int_equal(lu_contents_word(a, 8, 16, 0, 2, 1), 0x0302);
  assert_int_equal(lu_contents_word(a, 9, 16, 0, 2, 1), 0x0203);
}

/* Filling and asking word by word share no loop; every contents, variant and word size agrees. */
static void fill_agrees_with_word(void **state)
{
  (void)state;
  static const struct {
    unsigned width, bytes;
  } shapes[] = {{1, 1}, {4, 1}, {8, 1}, {9, 2}, {12, 2}, {16, 2}, {24, 4}, {32, 4}, {36, 8}, {64, 8}};
  enum { COUNT = 700 };
  static union {
    uint8_t b[COUNT * 8 + 8];
    uint64_t align;
  } buffer;
  size_t count;
  const lu_contents *all = lu_contents_all(&count);
  for (size_t c = 0; c < count; c++)
    for (unsigned v = 0; v < all[c].variant_count; v++)
      for (size_t s = 0; s < sizeof shapes / sizeof shapes[0]; s++) {
        unsigned bytes = shapes[s].bytes, width = shapes[s].width;
        uint64_t first = s % 2 ? 65413 : 0, base = v % 2 ? 0x123456 : 0;
        memset(buffer.b, 0xc3, sizeof buffer.b);
        lu_contents_fill(&all[c], v, width, base, bytes, first, COUNT, buffer.b);
        for (size_t i = 0; i < COUNT; i++) {
          uint64_t got = 0;
          memcpy(&got, buffer.b + i * bytes, bytes); /* little-endian hosts */
          if (__BYTE_ORDER__ == __ORDER_BIG_ENDIAN__)
            got >>= 64 - 8 * bytes;
          uint64_t want = lu_contents_word(&all[c], v, width, base, bytes, first + i);
          if (got != want)
            fail_msg("%s variant %u width %u word %zu: %llx, expected %llx", all[c].name, v, width,
                     i, (unsigned long long)got, (unsigned long long)want);
        }
        assert_int_equal(buffer.b[(size_t)COUNT * bytes], 0xc3);
      }
}

/* First 64 bits. PRBS7, 15 and 23: the recursions of ITU-T O.150 as data-converter data sheets
 * print them, worked out by hand-stepping the register; the others with taps from memory. */
static void first_bits_are_those_of_the_recommendation(void **state)
{
  (void)state;
  static const struct {
    const char *name;
    uint64_t msb_first;
  } rows[] = {
    {"prbs7", 0xFE041851E459D4FA},  {"prbs9", 0xFF83DF1732094ED1},  {"prbs11", 0xFFE00C078331FEC0},
    {"prbs15", 0xFFFE000400180050}, {"prbs20", 0xFFFFF1C71C8DC8D2}, {"prbs23", 0xFFFFFE00007C001F},
    {"prbs31", 0xFFFFFFFE0000001C},
  };
  for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++)
    assert_true(lu_contents_word(named(rows[i].name), 1, 64, 0, 8, 0) == rows[i].msb_first);
  assert_true(lu_contents_word(named("qrss"), 3, 64, 0, 8, 0) == 0xFFFFF000070003F0);
}

/* A plain register against the word-wise generator, from the start and from far inside. */
static void register_agrees_with_words(void **state)
{
  (void)state;
  for (size_t p = 0; p < LU_PRBS_COUNT; p++) {
    const lu_prbs *prbs = &lu_prbs_table[p];
    static uint8_t bit[64 * 200];
    for (size_t k = 0; k < sizeof bit; k++)
      bit[k] = k < prbs->n ? 1 : bit[k - prbs->n] ^ bit[k - prbs->m];
    for (uint64_t from = 0; from < 3000; from += 997) {
      lu_prbs_run run;
      lu_prbs_start(&run, prbs, from + 5 * lu_prbs_period(prbs));
      for (size_t w = 0; w < 140; w++) {
        uint64_t word, want = 0;
        lu_prbs_take(&run, false, &word, 1);
        for (unsigned i = 0; i < 64; i++)
          want |= (uint64_t)bit[from + 64 * w + i] << i;
        assert_true(word == want);
      }
    }
  }
}

/* Every sequence has the full period: back at the start after 2^n - 1 bits and not after
 * (2^n - 1) / q for any prime q (factors of Mersenne numbers, any table of them). */
static void periods_are_full(void **state)
{
  (void)state;
  static const struct {
    unsigned n, factors[5];
  } rows[] = {{7, {127}},        {9, {7, 73}},          {11, {23, 89}},
              {15, {7, 31, 151}}, {20, {3, 5, 11, 31, 41}}, {23, {47, 178481}},
              {29, {233, 1103, 2089}}, {31, {2147483647}}};
  for (size_t p = 0; p < LU_PRBS_COUNT; p++)
    for (size_t r = 0; r < sizeof rows / sizeof rows[0]; r++)
      for (size_t f = 0; f < 5 && rows[r].n == lu_prbs_table[p].n && rows[r].factors[f]; f++) {
        uint64_t a, b, period = lu_prbs_period(&lu_prbs_table[p]);
        lu_prbs_run run;
        assert_int_equal(period % rows[r].factors[f], 0);
        lu_prbs_start(&run, &lu_prbs_table[p], 0);
        lu_prbs_take(&run, false, &a, 1);
        if (period / rows[r].factors[f] == 1)
          continue;
        lu_prbs_start(&run, &lu_prbs_table[p], period / rows[r].factors[f]);
        lu_prbs_take(&run, false, &b, 1);
        assert_true(a != b);
      }
}

/* Ones in a period: 2^(n-1). QRSS never shows more than 14 zeros in a row and does show 14. */
static void ones_and_zero_runs(void **state)
{
  (void)state;
  for (size_t p = 0; p < LU_PRBS_COUNT; p++) {
    const lu_prbs *prbs = &lu_prbs_table[p];
    if (prbs->n > 20)
      continue;
    uint64_t ones = 0, word = 0, period = lu_prbs_period(prbs);
    unsigned zeros = 0, most = 0;
    lu_prbs_run run, limited;
    lu_prbs_start(&run, prbs, 0);
    lu_prbs_start(&limited, prbs, 0);
    uint64_t held = 0;
    for (uint64_t k = 0; k < period; k++) {
      if (k % 64 == 0) {
        lu_prbs_take(&run, false, &word, 1);
        lu_prbs_take(&limited, true, &held, 1);
      }
      ones += word >> k % 64 & 1;
      zeros = held >> k % 64 & 1 ? 0 : zeros + 1;
      most = zeros > most ? zeros : most;
    }
    assert_int_equal(ones, (period + 1) / 2);
    assert_int_equal(most, prbs->limit ? prbs->limit : prbs->n - 1);
  }
}

int main(void)
{
  const struct CMUnitTest tests[] = {
    cmocka_unit_test(names_are_sorted_and_described),
    cmocka_unit_test(unknown_name_offers_the_nearest),
    cmocka_unit_test(promised_values),
    cmocka_unit_test(fill_agrees_with_word),
    cmocka_unit_test(first_bits_are_those_of_the_recommendation),
    cmocka_unit_test(register_agrees_with_words),
    cmocka_unit_test(periods_are_full),
    cmocka_unit_test(ones_and_zero_runs),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
