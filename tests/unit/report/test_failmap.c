/* SPDX-License-Identifier: MIT */
/* Fail maps: counts, aggregation, the worst square; text that is escaped for HTML. */
#define _GNU_SOURCE
#include "report/failmap.h"
#include "report/html.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

static lu_words words_of(const uint16_t *at, size_t count)
{
  return (lu_words){.base = 0x100, .count = count, .width = 16, .bytes = 2, .at = at, .held_count = count};
}

static void test_counts_each_bit(void **state)
{
  (void)state;
  static const uint16_t known[4] = {0, 0xffff, 0x00ff, 0}, got[4] = {0, 0xfffe, 0x01ff, 0x0100};
  lu_words g = words_of(got, 4), k = words_of(known, 4);
  lu_arena mem = {0};
  lu_fail_map m;
  assert_true(lu_fail_map_words(&g, &k, NULL, &mem, &m));
  assert_int_equal(m.rows, 4);
  assert_int_equal(m.columns, 16);
  assert_int_equal(m.wrong_bits, 3);
  assert_int_equal(m.wrong_words, 3);
  assert_int_equal(m.low[0], 1);
  assert_int_equal(m.high[8], 2);
  assert_int_equal(m.by_column[8], 2);
  assert_int_equal(m.worst, 16); /* row 1, D0: the first of equals */
  assert_int_equal(lu_fail_map_shade(&m, 16), LU_SHADE_WORST);
  assert_int_equal(lu_fail_map_shade(&m, 2 * 16 + 8), LU_SHADE_ALL);
  assert_int_equal(lu_fail_map_shade(&m, 0), LU_SHADE_NONE);
  lu_arena_free(&mem);
}

static void test_one_bit_of_many_words_shows(void **state)
{
  (void)state;
  const size_t count = (size_t)1 << 20;
  uint16_t *got = calloc(count, sizeof *got), *known = calloc(count, sizeof *known);
  assert_non_null(got);
  assert_non_null(known);
  got[777777] = 0x0400;
  got[5] = got[6] = 0x8000;
  lu_words g = words_of(got, count), k = words_of(known, count);
  lu_arena mem = {0};
  lu_fail_map m;
  assert_true(lu_fail_map_words(&g, &k, NULL, &mem, &m));
  assert_int_equal(m.rows, 256);
  assert_int_equal(m.row_span, 4096);
  assert_int_equal(lu_fail_map_shade(&m, 777777 / 4096 * 16 + 10), LU_SHADE_FEW);
  assert_int_equal(m.worst, 15);
  lu_arena_free(&mem);
  free(got);
  free(known);
}

static void test_what_was_not_read_is_not_wrong(void **state)
{
  (void)state;
  static const uint16_t known[2] = {0, 0}, got[2] = {0xffff, 0};
  static const uint64_t held = 2;
  lu_words g = words_of(got, 2), k = words_of(known, 2);
  g.held = &held;
  g.held_count = 1;
  lu_arena mem = {0};
  lu_fail_map m;
  assert_true(lu_fail_map_words(&g, &k, NULL, &mem, &m));
  assert_int_equal(m.wrong_bits, 0);
  assert_int_equal(m.worst, SIZE_MAX);
  assert_int_equal(lu_fail_map_shade(&m, 0), LU_SHADE_UNREAD);
  assert_int_equal(lu_fail_map_shade(&m, 16), LU_SHADE_NONE);
  lu_arena_free(&mem);
}

static void test_passes_that_differ(void **state)
{
  (void)state;
  static const uint16_t got[2] = {0x5555, 0x5555};
  static const uint64_t steady[2] = {~(uint64_t)0, ~(uint64_t)2};
  lu_words g = words_of(got, 2);
  lu_arena mem = {0};
  lu_fail_map m;
  assert_true(lu_fail_map_words(&g, NULL, steady, &mem, &m));
  assert_int_equal(m.wrong_bits, 1);
  assert_int_equal(m.by_column[1], 1);
  lu_arena_free(&mem);
}

static void test_a_chip_by_rows_and_columns(void **state)
{
  (void)state;
  lu_arena mem = {0};
  lu_fail_map m;
  assert_true(lu_fail_map_open(512, 512, &mem, &m));
  assert_int_equal(m.row_span, 2);
  for (uint64_t column = 0; column < 512; column++)
    lu_fail_map_add(&m, 300, column, true);
  lu_fail_map_add(&m, 512, 0, true); /* outside: left alone */
  lu_fail_map_close(&m);
  assert_int_equal(m.wrong_bits, 512);
  assert_int_equal(m.worst, 150 * 256);
  lu_arena_free(&mem);
}

static void test_refused_memory(void **state)
{
  (void)state;
  static const uint16_t got[2] = {1, 2};
  lu_words g = words_of(got, 2);
  for (size_t n = 1; n <= 4; n++) {
    lu_arena mem = {.fail_from = n};
    lu_fail_map m;
    assert_false(lu_fail_map_words(&g, &g, NULL, &mem, &m));
    lu_arena_free(&mem);
  }
}

static void check_text(void **state)
{
  static const char *const rows[][2] = {
      {"plain A1", "plain A1"},
      {"<b>&\"'", "&lt;b&gt;&amp;&quot;&#39;"},
      {"\033[31m\x7f\n", "?[31m??"},
      {"\xc3\xa4 \xe2\x82\xac \xf0\x9f\x8e\x89", "\xc3\xa4 \xe2\x82\xac \xf0\x9f\x8e\x89"},
      {"\xff\xc0\xaf\xed\xa0\x80", "??????"}, /* no UTF-8: a stray byte, an overlong '/', a surrogate (RFC 3629, 3) */
      {"\xc2\x9b" "31m", "??31m"},            /* the C1 form of an escape sequence */
      {"a\xe2\x80\xae" "b", "a???b"},         /* right-to-left override */
      {"\xe2\x82", "??"},
  };
  (void)state;
  for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
    char *text = NULL;
    size_t len;
    FILE *f = open_memstream(&text, &len);
    assert_non_null(f);
    lu_html_text(f, rows[i][0]);
    fclose(f);
    assert_string_equal(text, rows[i][1]);
    free(text);
  }
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(test_counts_each_bit),          cmocka_unit_test(test_one_bit_of_many_words_shows),
      cmocka_unit_test(test_what_was_not_read_is_not_wrong), cmocka_unit_test(test_passes_that_differ),
      cmocka_unit_test(test_a_chip_by_rows_and_columns), cmocka_unit_test(test_refused_memory),
      cmocka_unit_test(check_text),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
