/* SPDX-License-Identifier: MIT */
/* Words out of dumps: widths, byte orders, gaps, lengths that do not match, chips interleaved. The
 * expected words follow from the definition of the byte orders; nothing outside is needed. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>

#include <cmocka.h>

#include "data/words.h"

#include <string.h>

static const uint8_t eight[8] = {0x01, 0x23, 0x45, 0x67, 0x89, 0xAB, 0xCD, 0xEF};

typedef struct row {
  const char *name;
  unsigned width;
  lu_byte_order order;
  uint64_t size;
  lu_status status;
  size_t count;
  uint64_t first, last;
} row;

static const row rows[] = {
    {"8 bits: bytes as they are",                     8,  LU_ORDER_BIG,    8,  LU_OK,        8, 0x01,               0xEF              },
    {"4 bits: the high half of each byte is dropped", 4,  LU_ORDER_BIG,    8,  LU_OK,        8, 0x1,                0xF               },
    {"1 bit",                                         1,  LU_ORDER_LITTLE, 8,  LU_OK,        8, 1,                  1                 },
    {"16 bits, big",                                  16, LU_ORDER_BIG,    8,  LU_OK,        4, 0x0123,             0xCDEF            },
    {"16 bits, little",                               16, LU_ORDER_LITTLE, 8,  LU_OK,        4, 0x2301,             0xEFCD            },
    {"12 bits, big",                                  12, LU_ORDER_BIG,    8,  LU_OK,        4, 0x123,              0xDEF             },
    {"12 bits, little",                               12, LU_ORDER_LITTLE, 8,  LU_OK,        4, 0x301,              0xFCD             },
    {"32 bits, big",                                  32, LU_ORDER_BIG,    8,  LU_OK,        2, 0x01234567,         0x89ABCDEF        },
    {"32 bits, little",                               32, LU_ORDER_LITTLE, 8,  LU_OK,        2, 0x67452301,         0xEFCDAB89        },
    {"64 bits, big",                                  64, LU_ORDER_BIG,    8,  LU_OK,        1, 0x0123456789ABCDEF, 0x0123456789ABCDEF},
    {"64 bits, little",                               64, LU_ORDER_LITTLE, 8,  LU_OK,        1, 0xEFCDAB8967452301, 0xEFCDAB8967452301},
    {"any size is taken when none is asked for",      16, LU_ORDER_BIG,    0,  LU_OK,        4, 0x0123,             0xCDEF            },
    {"shorter than the block",                        8,  LU_ORDER_BIG,    16, LU_ERR_VALUE, 0, 0,                  0                 },
    {"longer than the block",                         8,  LU_ORDER_BIG,    4,  LU_ERR_VALUE, 0, 0,                  0                 },
    {"not a whole number of words",                   24, LU_ORDER_BIG,    0,  LU_ERR_VALUE, 0, 0,                  0                 },
    {"no width",                                      0,  LU_ORDER_BIG,    8,  LU_ERR_VALUE, 0, 0,                  0                 },
    {"too wide",                                      65, LU_ORDER_BIG,    8,  LU_ERR_VALUE, 0, 0,                  0                 },
};

static void check_row(void **state)
{
  const row *r = *state;
  for (size_t shift = 0; shift < 2; shift++) { /* aligned and not */
    uint64_t store[3];
    uint8_t *at = (uint8_t *)store + shift;
    memcpy(at, eight, sizeof eight);
    lu_span span = {.len = 8, .at = at};
    lu_dump dump = {.span_count = 1, .spans = &span};
    lu_arena mem = {0};
    lu_words w = {0};
    lu_err err = {0};
    lu_block_shape shape = {.base = 0x1000, .size = r->size, .width = r->width, .order = r->order};
    assert_int_equal(lu_words_from_dump(&dump, &shape, &mem, &w, &err), r->status);
    assert_int_equal(err.status, r->status);
    assert_int_equal(w.count, r->count);
    if (r->count) {
      assert_true(lu_word(&w, 0) == r->first);
      assert_true(lu_word(&w, w.count - 1) == r->last);
      assert_true(w.base == 0x1000 / lu_word_dump_bytes(r->width));
      assert_true(w.held_count == w.count && !w.held);
    }
    lu_arena_free(&mem);
  }
}

static void names_both_lengths(void **state)
{
  (void)state;
  lu_span span = {.len = 8, .at = eight};
  lu_dump dump = {.span_count = 1, .spans = &span};
  lu_arena mem = {0};
  lu_words w;
  lu_err err = {0};
  lu_block_shape shape = {.size = 65536, .width = 8};
  assert_int_equal(lu_words_from_dump(&dump, &shape, &mem, &w, &err), LU_ERR_VALUE);
  assert_non_null(strstr(err.message, "shorter"));
  assert_non_null(strstr(err.message, "expected 65536 bytes, found 8"));
  lu_arena_free(&mem);
}

static void keeps_gaps(void **state)
{
  (void)state;
  /* bytes 1003..1005 and 1008..100A of a block 1000..100F, 16 bits: only 1004 and 1008 are whole */
  lu_span spans[2] = {
      {.base = 0x1003, .len = 3, .at = eight},
      {.base = 0x1008, .len = 3, .at = eight}
  };
  lu_dump dump = {.has_addresses = true, .span_count = 2, .spans = spans};
  lu_arena mem = {0};
  lu_words w;
  lu_block_shape shape = {.base = 0x1000, .size = 16, .width = 16, .order = LU_ORDER_BIG};
  assert_int_equal(lu_words_from_dump(&dump, &shape, &mem, &w, NULL), LU_OK);
  assert_int_equal(w.count, 8);
  assert_int_equal(w.held_count, 2);
  for (size_t i = 0; i < 8; i++)
    assert_int_equal(lu_word_held(&w, i), i == 2 || i == 4);
  assert_true(lu_word(&w, 2) == 0x2345 && lu_word(&w, 4) == 0x0123 && lu_word(&w, 5) == 0);
  lu_block_shape open = {.width = 16, .order = LU_ORDER_LITTLE};
  assert_int_equal(lu_words_from_dump(&dump, &open, &mem, &w, NULL), LU_OK);
  assert_true(w.base == 0x1002 / 2 && w.count == 5 && w.held_count == 2 &&
              lu_word(&w, 1) == 0x4523);
  lu_err err = {0};
  lu_block_shape small = {.base = 0x1000, .size = 8, .width = 16};
  assert_int_equal(lu_words_from_dump(&dump, &small, &mem, &w, &err), LU_ERR_VALUE);
  assert_non_null(strstr(err.message, "0x1003 to 0x100A"));
  lu_block_shape later = {.base = 0x1004, .size = 64, .width = 16};
  assert_int_equal(lu_words_from_dump(&dump, &later, &mem, &w, NULL), LU_ERR_VALUE);
  lu_block_shape odd = {.base = 0x1001, .size = 16, .width = 16};
  assert_int_equal(lu_words_from_dump(&dump, &odd, &mem, &w, NULL), LU_ERR_VALUE);
  lu_span one = {.base = 1, .len = 2, .at = eight};
  lu_dump bits = {.has_addresses = true, .span_count = 1, .spans = &one};
  lu_block_shape tiny = {.size = 4, .width = 16};
  assert_int_equal(lu_words_from_dump(&bits, &tiny, &mem, &w, NULL), LU_ERR_VALUE);
  lu_arena_free(&mem);
}

static void keeps_long_gaps(void **state)
{
  (void)state;
  static uint8_t bytes[1000];
  memset(bytes, 0x5A, sizeof bytes);
  lu_span spans[2] = {
      {.base = 3,   .len = 500, .at = bytes},
      {.base = 600, .len = 399, .at = bytes}
  };
  lu_dump dump = {.has_addresses = true, .span_count = 2, .spans = spans};
  lu_arena mem = {0};
  lu_words w;
  lu_block_shape shape = {.size = 1024, .width = 8};
  assert_int_equal(lu_words_from_dump(&dump, &shape, &mem, &w, NULL), LU_OK);
  assert_int_equal(w.held_count, 899);
  for (size_t i = 0; i < 1024; i++) {
    bool in = (i >= 3 && i < 503) || (i >= 600 && i < 999);
    assert_int_equal(lu_word_held(&w, i), in);
    assert_int_equal(lu_word(&w, i), in ? 0x5A : 0);
  }
  lu_arena_free(&mem);
}

static void borrows_where_it_can(void **state)
{
  (void)state;
  lu_span span = {.len = 8, .at = eight};
  lu_dump dump = {.span_count = 1, .spans = &span};
  lu_arena mem = {0};
  lu_words w;
  lu_block_shape shape = {.size = 8, .width = 8};
  assert_int_equal(lu_words_from_dump(&dump, &shape, &mem, &w, NULL), LU_OK);
  assert_ptr_equal(w.at, eight);
  assert_int_equal(mem.requests, 0);
  lu_arena_free(&mem);
}

static lu_words as_words(const void *at, size_t count, unsigned width)
{
  return (lu_words){.count = count,
                    .width = width,
                    .bytes = lu_word_held_bytes(width),
                    .at = at,
                    .held_count = count};
}

static void joins_two_bytes(void **state)
{
  (void)state;
  static const uint8_t high[3] = {0x12, 0x56, 0x9A}, low[3] = {0x34, 0x78, 0xBC};
  lu_words h = as_words(high, 3, 8), l = as_words(low, 3, 8), w;
  lu_lane lanes[2] = {
      {.words = &h, .first_bit = 8},
      {.words = &l          }
  };
  lu_arena mem = {0};
  uint64_t read = 0;
  assert_int_equal(lu_words_interleave(lanes, 2, 16, &mem, &w, &read, NULL), LU_OK);
  assert_true(w.count == 3 && w.bytes == 2 && read == 0xFFFF);
  assert_true(lu_word(&w, 0) == 0x1234 && lu_word(&w, 1) == 0x5678 && lu_word(&w, 2) == 0x9ABC);
  assert_int_equal(lu_words_interleave(lanes, 1, 16, &mem, &w, &read, NULL), LU_OK);
  assert_true(read == 0xFF00 && lu_word(&w, 0) == 0x1200);
  lu_arena_free(&mem);
}

static void joins_single_bits(void **state)
{
  (void)state;
  uint8_t bit[16][2000];
  lu_words chips[16], w;
  lu_lane lanes[16];
  uint8_t map[16];
  for (unsigned k = 0; k < 16; k++) {
    for (unsigned i = 0; i < 2000; i++)
      bit[k][i] = (i * 37 >> k) & 1;
    chips[k] = as_words(bit[k], 2000, 1);
    map[k] = (uint8_t)k;
    lanes[k] = (lu_lane){.words = &chips[k], .first_bit = k, .bits = k & 1 ? &map[k] : NULL};
  }
  lu_arena mem = {0};
  assert_int_equal(lu_words_interleave(lanes, 16, 16, &mem, &w, NULL, NULL), LU_OK);
  for (unsigned i = 0; i < 2000; i++)
    assert_true(lu_word(&w, i) == ((i * 37) & 0xFFFF));
  lu_arena_free(&mem);
}

static void follows_a_bit_map(void **state)
{
  (void)state;
  static const uint16_t at[2] = {0x8001, 0x0F00};
  static const uint8_t turned[16] = {15, 14, 13, 12, 11, 10, 9, 8, 7, 6, 5, 4, 3, 2, 1, 0};
  lu_words in = as_words(at, 2, 16), w;
  lu_lane lane = {.words = &in, .bits = turned};
  lu_arena mem = {0};
  assert_int_equal(lu_words_interleave(&lane, 1, 32, &mem, &w, NULL, NULL), LU_OK);
  assert_true(w.bytes == 4 && lu_word(&w, 0) == 0x8001 && lu_word(&w, 1) == 0x00F0);
  lu_arena_free(&mem);
}

static void joins_what_was_read(void **state)
{
  (void)state;
  static const uint8_t at[70];
  static const uint64_t a_held[2] = {~(uint64_t)1, 0x3F}, b_held[2] = {~(uint64_t)2, 0x1F};
  lu_words a = as_words(at, 70, 8), b = as_words(at, 70, 8), w;
  a.held = a_held;
  b.held = b_held;
  lu_lane lanes[2] = {
      {.words = &a, .first_bit = 8},
      {.words = &b          }
  };
  lu_arena mem = {0};
  assert_int_equal(lu_words_interleave(lanes, 2, 16, &mem, &w, NULL, NULL), LU_OK);
  assert_int_equal(w.held_count, 67);
  assert_true(!lu_word_held(&w, 0) && !lu_word_held(&w, 1) && lu_word_held(&w, 2));
  assert_true(lu_word_held(&w, 68) && !lu_word_held(&w, 69));
  lu_arena_free(&mem);
}

static void refuses_lanes_that_do_not_fit(void **state)
{
  (void)state;
  static const uint8_t at[8];
  lu_words a = as_words(at, 8, 8), shorter = as_words(at, 4, 8), moved = a, w;
  moved.base = 1;
  lu_lane cases[][2] = {
      {{.words = &a}, {.words = &shorter, .first_bit = 8}},
      {{.words = &a}, {.words = &moved, .first_bit = 8}  },
      {{.words = &a}, {.words = &a, .first_bit = 7}      },
      {{.words = &a}, {.words = &a, .first_bit = 9}      },
  };
  static const char *const says[] = {"expected 8 bytes as the first chip has, found 4",
                                     "begin at word", "bit 7 again", "below 16"};
  for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
    lu_arena mem = {0};
    lu_err err = {0};
    assert_int_equal(lu_words_interleave(cases[i], 2, 16, &mem, &w, NULL, &err), LU_ERR_VALUE);
    assert_non_null(strstr(err.message, says[i]));
    lu_arena_free(&mem);
  }
}

static void reports_each_refused_request(void **state)
{
  (void)state;
  lu_span spans[2] = {
      {.base = 0, .len = 3, .at = eight},
      {.base = 8, .len = 4, .at = eight}
  };
  lu_dump dump = {.has_addresses = true, .span_count = 2, .spans = spans};
  lu_block_shape shape = {.size = 16, .width = 16};
  for (size_t n = 1;; n++) {
    assert_true(n < 20);
    lu_arena mem = {.fail_from = n};
    lu_words w, joined;
    lu_status s = lu_words_from_dump(&dump, &shape, &mem, &w, NULL);
    if (s == LU_OK) {
      lu_lane lane = {.words = &w};
      s = lu_words_interleave(&lane, 1, 16, &mem, &joined, NULL, NULL);
    }
    lu_arena_free(&mem);
    if (s == LU_OK)
      return;
    assert_int_equal(s, LU_ERR_NOMEM);
  }
}

int main(void)
{
  enum { ROWS = sizeof rows / sizeof *rows };
  static const struct CMUnitTest others[] = {
      cmocka_unit_test(names_both_lengths),
      cmocka_unit_test(keeps_gaps),
      cmocka_unit_test(keeps_long_gaps),
      cmocka_unit_test(borrows_where_it_can),
      cmocka_unit_test(joins_two_bytes),
      cmocka_unit_test(joins_single_bits),
      cmocka_unit_test(follows_a_bit_map),
      cmocka_unit_test(joins_what_was_read),
      cmocka_unit_test(refuses_lanes_that_do_not_fit),
      cmocka_unit_test(reports_each_refused_request),
  };
  struct CMUnitTest tests[ROWS];
  for (size_t i = 0; i < ROWS; i++)
    tests[i] = (struct CMUnitTest){
        .name = rows[i].name, .test_func = check_row, .initial_state = (void *)&rows[i]};
  int bad = cmocka_run_group_tests_name("rows", tests, NULL, NULL);
  return bad + cmocka_run_group_tests_name("words", others, NULL, NULL);
}
