/* SPDX-License-Identifier: MIT */
/* The symptom finder on contents that faults were put into by plain loops of this file. */
#include "reason/symptoms.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

enum { COUNT = 32768 };

static uint64_t seed;

static uint64_t next(void)
{
  /* splitmix64; Steele, Lea, Flood, "Fast splittable pseudorandom number generators" (2014) */
  uint64_t x = seed += 0x9e3779b97f4a7c15u;
  x = (x ^ (x >> 30)) * 0xbf58476d1ce4e5b9u;
  x = (x ^ (x >> 27)) * 0x94d049bb133111ebu;
  return x ^ (x >> 31);
}

typedef struct bench {
  lu_arena mem;
  uint16_t truth[COUNT], read[COUNT], second[COUNT];
  lu_words expected, observed[2];
  size_t passes;
  bool known, written;
  lu_symptoms got;
} bench;

enum contents { RANDOM, CODE, HALF, TEXT, DOUBLED, WALKING, ADDRESS };

/* Instructions of a made-up processor: few words, often repeated, some constants. */
static uint16_t code_word(unsigned i)
{
  static const uint16_t op[] = {0x4e71, 0x203c, 0x0001, 0x60fe, 0x4a40, 0x6604, 0x5288, 0x4e75};
  (void)i;
  return next() % 4 ? op[next() % 8] : (uint16_t)next();
}

static void fill(bench *b, enum contents what)
{
  for (unsigned i = 0; i < COUNT; i++)
    switch (what) {
    case RANDOM:
      b->truth[i] = (uint16_t)next();
      break;
    case CODE:
      b->truth[i] = code_word(i);
      break;
    case HALF: /* code in the lower half, blank above, with a table of equal rows between */
      b->truth[i] = i < COUNT / 2        ? code_word(i)
                    : i < COUNT / 2 + 512 ? (uint16_t)(0x1000 + i % 16)
                                          : 0xffff;
      break;
    case TEXT: /* two characters a word: D7 and D15 never set */
      b->truth[i] = (uint16_t)((0x20 + next() % 95) << 8 | (0x20 + next() % 95));
      break;
    case DOUBLED:
      b->truth[i] = i < COUNT / 2 ? code_word(i) : b->truth[i - COUNT / 2];
      break;
    case WALKING:
      b->truth[i] = (uint16_t)(1u << i % 16);
      break;
    case ADDRESS:
      b->truth[i] = (uint16_t)i;
      break;
    }
  memcpy(b->read, b->truth, sizeof b->read);
}

static bench *bench_new(enum contents what)
{
  bench *b = calloc(1, sizeof *b);
  assert_non_null(b);
  b->expected = (lu_words){.count = COUNT, .width = 16, .bytes = 2, .at = b->truth,
                           .held_count = COUNT};
  b->observed[0] = b->observed[1] = b->expected;
  b->observed[0].at = b->read;
  b->observed[1].at = b->second;
  b->passes = 1;
  b->known = true;
  fill(b, what);
  return b;
}

static void find(bench *b)
{
  lu_err err = {0};
  lu_symptom_query q = {.passes = b->observed, .pass_count = b->passes,
                        .expected = b->known ? &b->expected : NULL, .written = b->written};
  assert_int_equal(lu_symptoms_find(&q, &b->mem, &b->got, &err), LU_OK);
}

static void bench_free(bench *b)
{
  lu_arena_free(&b->mem);
  free(b);
}

static void show(const bench *b)
{
  for (size_t i = 0; i < b->got.count; i++)
    print_message("  %-28s chance %.2g strength %.2f: %s\n", b->got.at[i].kind,
                  b->got.at[i].chance, b->got.at[i].strength, b->got.at[i].text);
}

/* The n-th symptom of a kind, or NULL. */
static const lu_symptom *nth(const bench *b, lu_symptom_id id, unsigned n)
{
  for (size_t i = 0; i < b->got.count; i++)
    if (b->got.at[i].id == id && !n--)
      return &b->got.at[i];
  return NULL;
}

static const lu_symptom *only(const bench *b, lu_symptom_id id)
{
  const lu_symptom *s = nth(b, id, 0);
  if (!s || nth(b, id, 1)) {
    show(b);
    fail_msg("expected one %s", lu_symptom_name(id));
  }
  assert_string_equal(s->kind, lu_symptom_name(id));
  assert_true(strlen(s->text) > 10);
  return s;
}

static void none_below(const bench *b, double chance)
{
  for (size_t i = 0; i < b->got.count; i++)
    if (b->got.at[i].chance < chance) {
      show(b);
      fail_msg("%s was found in a sound reading", b->got.at[i].kind);
    }
}

static unsigned bit_of(unsigned w, unsigned b)
{
  return w >> b & 1;
}

/* ---- sound readings ---- */

static void test_sound_readings_say_nothing(void **state)
{
  (void)state;
  for (int what = RANDOM; what <= ADDRESS; what++)
    for (int known = 0; known < 2; known++) {
      bench *b = bench_new(what);
      b->known = known;
      find(b);
      if (known)
        assert_int_equal(b->got.count, 0);
      else if (what == RANDOM || what == CODE || what == HALF || what == TEXT || what == DOUBLED)
        none_below(b, LU_CHANCE_MAX);
      bench_free(b);
    }
}

/* ---- data bits ---- */

static void test_constant_bit(void **state)
{
  (void)state;
  for (unsigned known = 0; known < 2; known++)
    for (unsigned bit = 0; bit < 16; bit++) {
      bench *b = bench_new(bit % 2 ? CODE : RANDOM);
      const unsigned level = next() & 1;
      b->known = known;
      for (unsigned i = 0; i < COUNT; i++)
        b->read[i] = (uint16_t)((b->read[i] & ~(1u << bit)) | level << bit);
      find(b);
      if (!known && bit % 8 == 7) { /* text would look the same */
        none_below(b, LU_CHANCE_MAX);
      } else {
        const lu_symptom *s = only(b, LU_SYMPTOM_CONSTANT_BIT);
        assert_int_equal(s->data_bits, 1u << bit);
        assert_int_equal(s->level, level);
        assert_int_equal(b->got.count, 1);
      }
      bench_free(b);
    }
}

static void test_bridged_bits(void **state)
{
  (void)state;
  for (unsigned known = 0; known < 2; known++)
    for (unsigned turn = 0; turn < 12; turn++) {
      bench *b = bench_new(turn % 2 ? CODE : RANDOM);
      const unsigned x = next() % 16, y = (x + 2 + next() % 13) % 16, how = turn % 3;
      const uint64_t both = 1u << x | 1u << y;
      b->known = known;
      for (unsigned i = 0; i < COUNT; i++) {
        unsigned p = bit_of(b->read[i], x), q = bit_of(b->read[i], y);
        unsigned v = how == 0 ? p & q : how == 1 ? p | q : q;
        b->read[i] = (uint16_t)((b->read[i] & ~both) | v << x | v << y);
      }
      find(b);
      assert_int_equal(only(b, LU_SYMPTOM_EQUAL_BITS)->data_bits, both);
      if (known && how < 2) {
        const lu_symptom *s = only(b, LU_SYMPTOM_DEPENDENT_BIT);
        assert_int_equal(s->data_bits, both);
        assert_int_equal(s->how, how ? LU_HOW_OR : LU_HOW_AND);
        assert_true(s->strength > 0.999);
      } else if (known) {
        const lu_symptom *s = only(b, LU_SYMPTOM_COPIED_BIT);
        assert_int_equal(s->data_bits, 1u << x);
        assert_int_equal(s->data_other, 1u << y);
      }
      bench_free(b);
    }
}

static void test_exchanged_and_inverted_bits(void **state)
{
  (void)state;
  bench *b = bench_new(CODE);
  for (unsigned i = 0; i < COUNT; i++) {
    unsigned w = b->read[i];
    w = (w & ~0x0208u) | bit_of(w, 3) << 9 | bit_of(w, 9) << 3;
    b->read[i] = (uint16_t)(w ^ 0x1000);
  }
  find(b);
  const lu_symptom *s = only(b, LU_SYMPTOM_SWAPPED_BITS);
  assert_int_equal(s->data_bits, 0x0208);
  assert_string_equal(s->text, "D3 and D9 are exchanged.");
  assert_int_equal(only(b, LU_SYMPTOM_INVERTED_BIT)->data_bits, 0x1000);
  assert_int_equal(b->got.count, 2);
  bench_free(b);
}

static void test_lane_missing(void **state)
{
  (void)state;
  for (unsigned known = 0; known < 2; known++) {
    bench *b = bench_new(RANDOM);
    b->known = known;
    for (unsigned i = 0; i < COUNT; i++)
      b->read[i] |= 0xff00;
    find(b);
    const lu_symptom *s = only(b, LU_SYMPTOM_LANE_MISSING);
    assert_int_equal(s->data_bits, 0xff00);
    assert_int_equal(s->level, 1);
    assert_int_equal(b->got.count, 1);
    bench_free(b);
  }
}

static void test_constant_read_back(void **state)
{
  (void)state;
  bench *b = bench_new(CODE);
  memset(b->read, 0xff, sizeof b->read);
  find(b);
  assert_int_equal(only(b, LU_SYMPTOM_CONSTANT_READ_BACK)->how, LU_HOW_ALL_ONES);
  assert_int_equal(b->got.count, 1);
  assert_true(b->got.blank);
  b->written = true;
  for (unsigned i = 0; i < COUNT; i++)
    b->read[i] = b->truth[COUNT - 1];
  find(b);
  assert_int_equal(only(b, LU_SYMPTOM_CONSTANT_READ_BACK)->how, LU_HOW_LAST_WRITTEN);
  b->known = false;
  memset(b->read, 0xff, sizeof b->read);
  find(b);
  assert_true(only(b, LU_SYMPTOM_CONSTANT_READ_BACK)->chance > 0.2); /* or just empty */
  b->known = true;
  for (unsigned i = 0; i < COUNT; i++)
    b->read[i] = (uint16_t)((i & 0xff) * 0x0101u);
  find(b);
  assert_int_equal(only(b, LU_SYMPTOM_READS_ADDRESS)->data_bits, 0xffff);
  assert_int_equal(b->got.count, 1);
  bench_free(b);
}

/* ---- address bits ---- */

static void test_dead_address_bit(void **state)
{
  (void)state;
  for (unsigned known = 0; known < 2; known++)
    for (unsigned line = 0; line < 15; line++) {
      bench *b = bench_new(line % 2 ? CODE : RANDOM);
      const unsigned level = next() & 1;
      b->known = known;
      for (unsigned i = 0; i < COUNT; i++)
        b->read[i] = b->truth[(i & ~(1u << line)) | level << line];
      find(b);
      if (!known && line == 14) {
        const lu_symptom *r = only(b, LU_SYMPTOM_REPEATS);
        assert_true(r->chance > LU_CHANCE_MAX); /* an image written twice */
        none_below(b, LU_CHANCE_MAX);
      } else {
        const lu_symptom *s = only(b, LU_SYMPTOM_DEAD_ADDRESS_BIT);
        assert_int_equal(s->addr_bits, 1u << line);
        assert_int_equal(s->data_bits, 0xffff);
        assert_int_equal(s->level, known ? (int)level : -1);
        if (known) {
          s = only(b, LU_SYMPTOM_MOVED_DATA);
          assert_int_equal(s->addr_bits, 1u << line);
          assert_int_equal(s->level, level);
          assert_true(s->strength > 0.99);
        } else {
          assert_int_equal(b->got.count, 1);
        }
      }
      bench_free(b);
    }
}

static void test_dead_address_bit_of_some_data_bits(void **state)
{
  static const unsigned masks[] = {0x00ff, 0xff00, 0x0001, 0x0f00};
  (void)state;
  for (unsigned known = 0; known < 2; known++)
    for (unsigned m = 0; m < 4; m++)
      for (unsigned line = 0; line < 15; line += 3) {
        bench *b = bench_new(RANDOM);
        b->known = known;
        for (unsigned i = 0; i < COUNT; i++)
          b->read[i] = (uint16_t)((b->truth[i] & ~masks[m]) | (b->truth[i | 1u << line] & masks[m]));
        find(b);
        const lu_symptom *s =
            only(b, m < 2 ? LU_SYMPTOM_DEAD_ADDRESS_LANE : LU_SYMPTOM_DEAD_ADDRESS_DATA);
        assert_int_equal(s->addr_bits, 1u << line);
        assert_int_equal(s->data_bits, masks[m]);
        bench_free(b);
      }
}

static void test_joined_address_bits(void **state)
{
  (void)state;
  for (unsigned known = 0; known < 2; known++)
    for (unsigned turn = 0; turn < 12; turn++) {
      bench *b = bench_new(turn % 2 ? CODE : RANDOM);
      const unsigned k = next() % 15, l = (k + 1 + next() % 14) % 15, is_or = turn % 3 == 0;
      b->known = known;
      for (unsigned i = 0; i < COUNT; i++) {
        unsigned v = is_or ? bit_of(i, k) | bit_of(i, l) : bit_of(i, k) & bit_of(i, l);
        b->read[i] = b->truth[(i & ~(1u << k | 1u << l)) | v << k | v << l];
      }
      find(b);
      const lu_symptom *s = only(b, LU_SYMPTOM_JOINED_ADDRESS);
      assert_int_equal(s->addr_bits, 1u << k | 1u << l);
      assert_int_equal(s->how, is_or ? LU_HOW_OR : LU_HOW_AND);
      bench_free(b);
    }
}

static void test_exchanged_address_bits(void **state)
{
  (void)state;
  bench *b = bench_new(CODE);
  for (unsigned i = 0; i < COUNT; i++)
    b->read[i] = b->truth[(i & ~0x0104u) | bit_of(i, 2) << 8 | bit_of(i, 8) << 2];
  find(b);
  const lu_symptom *s = only(b, LU_SYMPTOM_MOVED_DATA);
  assert_int_equal(s->addr_bits, 0x0104);
  assert_true(s->strength > 0.99);
  bench_free(b);
}

static void test_half_empty_with_dead_bit(void **state)
{
  (void)state;
  for (unsigned line = 0; line < 13; line++) {
    bench *b = bench_new(HALF);
    b->known = false;
    for (unsigned i = 0; i < COUNT; i++)
      b->read[i] = b->truth[i & ~(1u << line)];
    find(b);
    assert_int_equal(only(b, LU_SYMPTOM_DEAD_ADDRESS_BIT)->addr_bits, 1u << line);
    bench_free(b);
  }
}

/* ---- passes, areas, patterns ---- */

static void test_unsteady_bits(void **state)
{
  (void)state;
  bench *b = bench_new(CODE);
  unsigned words = 0;
  b->passes = 2;
  memcpy(b->second, b->read, sizeof b->second);
  for (unsigned i = 0x100; i < COUNT; i += 0x200)
    b->second[i] ^= 0x0010, words++;
  find(b);
  const lu_symptom *s = only(b, LU_SYMPTOM_UNSTEADY_BITS);
  assert_int_equal(s->data_bits, 0x0010);
  assert_int_equal(s->count, words);
  assert_int_equal(b->got.unsteady_words, words);
  assert_int_equal(s->addr_bits & 0x1ff, 0x1ff);
  assert_int_equal(s->addr_value & 0x1ff, 0x100);
  assert_int_equal(b->got.count, 1);
  bench_free(b);
}

static void test_majority_of_three(void **state)
{
  (void)state;
  bench *b = bench_new(CODE);
  uint16_t *third = malloc(sizeof b->read);
  lu_words passes[3] = {b->observed[0], b->observed[1], b->observed[0]};
  assert_non_null(third);
  memcpy(third, b->read, sizeof b->read);
  memcpy(b->second, b->read, sizeof b->read);
  passes[2].at = third;
  for (unsigned i = 0; i < COUNT / 16; i++) {
    unsigned at = next() % COUNT, pass = next() % 3;
    (pass == 0 ? b->read : pass == 1 ? b->second : third)[at] = (uint16_t)(b->truth[at] ^ 0x8001);
  }
  lu_symptom_query q = {.passes = passes, .pass_count = 3, .expected = &b->expected};
  assert_int_equal(lu_symptoms_find(&q, &b->mem, &b->got, NULL), LU_OK);
  assert_int_equal(only(b, LU_SYMPTOM_UNSTEADY_BITS)->data_bits, 0x8001);
  assert_true(b->got.wrong_words * 20 < b->got.unsteady_words);
  free(third);
  bench_free(b);
}

static void test_blank_area(void **state)
{
  (void)state;
  bench *b = bench_new(CODE);
  memset(b->read + 0x4000, 0xff, 0x1000 * 2);
  find(b);
  const lu_symptom *s = only(b, LU_SYMPTOM_BLANK_AREA);
  assert_int_equal(s->first, 0x4000);
  assert_int_equal(s->last, 0x4fff);
  assert_int_equal(s->level, 1);
  assert_true(s->chance < 0.01);
  bench_free(b);
}

static void test_walking_ones_result(void **state)
{
  (void)state;
  bench *b = bench_new(WALKING);
  b->written = true;
  for (unsigned i = 0; i < COUNT; i++) { /* D3 stuck low, D6 and D7 joined by OR */
    unsigned w = b->truth[i] & ~8u;
    w |= w & 0xc0u ? 0xc0u : 0;
    b->read[i] = (uint16_t)w;
  }
  find(b);
  const lu_symptom *s = nth(b, LU_SYMPTOM_WALKING_RESULT, 0);
  assert_non_null(s);
  assert_int_equal(s->data_bits, 8);
  assert_string_equal(s->text, "With the one on D3, D3 never reads one.");
  s = nth(b, LU_SYMPTOM_WALKING_RESULT, 1);
  assert_non_null(s);
  assert_int_equal(s->data_bits, 0x40);
  assert_int_equal(s->data_other, 0x80);
  assert_int_equal(nth(b, LU_SYMPTOM_WALKING_RESULT, 2)->data_bits, 0x80);
  assert_null(nth(b, LU_SYMPTOM_WALKING_RESULT, 3));
  assert_int_equal(only(b, LU_SYMPTOM_CONSTANT_BIT)->data_bits, 8);
  bench_free(b);
}

static void test_scattered_differences(void **state)
{
  (void)state;
  bench *b = bench_new(CODE);
  b->read[5] ^= 2;
  b->read[0x777] ^= 0x40;
  find(b);
  const lu_symptom *s = only(b, LU_SYMPTOM_SCATTERED);
  assert_int_equal(s->first, 5);
  assert_int_equal(s->last, 0x777);
  assert_int_equal(s->count, 2);
  assert_int_equal(b->got.count, 1);
  bench_free(b);
}

/* Index bits are address bits even where the reading starts off a boundary. */
static void test_unaligned_base_and_gaps(void **state)
{
  (void)state;
  for (unsigned known = 0; known < 2; known++) {
    bench *b = bench_new(CODE);
    uint64_t held[COUNT / 64];
    const uint64_t base = 0x12340;
    memset(held, 0xff, sizeof held);
    held[7] = 0;
    held[9] = 0x5555;
    for (unsigned i = 0; i < COUNT; i++)
      b->read[i] = b->truth[((base + i) & 0x40) && i >= 0x40 ? i - 0x40 : i];
    b->known = known;
    b->observed[0].base = b->expected.base = base;
    b->observed[0].held = b->expected.held = held;
    find(b);
    const lu_symptom *s = only(b, LU_SYMPTOM_DEAD_ADDRESS_BIT);
    assert_int_equal(s->addr_bits, 0x40);
    bench_free(b);
  }
}

static void test_shapes_must_agree(void **state)
{
  (void)state;
  bench *b = bench_new(CODE);
  lu_err err = {0};
  b->expected.count = 5;
  lu_symptom_query q = {.passes = b->observed, .pass_count = 1, .expected = &b->expected};
  assert_int_equal(lu_symptoms_find(&q, &b->mem, &b->got, &err), LU_ERR_VALUE);
  assert_non_null(strstr(err.message, "5 words of 16 bits"));
  bench_free(b);
}

/* Words of every size, few of them: no crash, no claim. */
static void test_small_readings(void **state)
{
  (void)state;
  for (unsigned bytes = 1; bytes <= 8; bytes *= 2)
    for (size_t count = 0; count < 40; count++)
      for (int known = 0; known < 2; known++) {
        uint64_t room[2][40];
        for (unsigned i = 0; i < 40; i++)
          room[0][i] = room[1][i] = next();
        lu_words w[2];
        for (int i = 0; i < 2; i++)
          w[i] = (lu_words){.count = count, .width = 8 * bytes, .bytes = bytes, .at = room[i],
                            .held_count = count};
        lu_arena mem = {0};
        lu_symptoms got;
        lu_symptom_query q = {.passes = w, .pass_count = 1, .expected = known ? &w[1] : NULL};
        assert_int_equal(lu_symptoms_find(&q, &mem, &got, NULL), LU_OK);
        if (known)
          assert_int_equal(got.count, 0);
        lu_arena_free(&mem);
      }
}

static void test_refused_memory_is_an_error(void **state)
{
  (void)state;
  bench *b = bench_new(CODE);
  lu_status status = LU_ERR_NOMEM;
  for (unsigned i = 0; i < COUNT; i++)
    b->read[i] = (uint16_t)((b->truth[i & ~4u] & ~2u) | (b->truth[i] >> 8 & 2));
  for (size_t n = 1; status != LU_OK && n < 500; n++) {
    lu_arena mem = {.fail_from = n};
    lu_symptom_query q = {.passes = b->observed, .pass_count = 1, .expected = &b->expected};
    lu_err err = {0};
    status = lu_symptoms_find(&q, &mem, &b->got, &err);
    assert_true(status == LU_OK || (status == LU_ERR_NOMEM && err.status == LU_ERR_NOMEM));
    lu_arena_free(&mem);
  }
  assert_int_equal(status, LU_OK);
  bench_free(b);
}

static void test_every_kind_has_a_page_entry(void **state)
{
  (void)state;
  char text[65536];
  FILE *f = fopen(LU_TOP "/docs/symptoms.md", "r");
  assert_non_null(f);
  text[fread(text, 1, sizeof text - 1, f)] = 0;
  fclose(f);
  for (int id = 0; id < LU_SYMPTOM_COUNT; id++) {
    char head[80];
    snprintf(head, sizeof head, "\n### `%s`\n", lu_symptom_name(id));
    if (!strstr(text, head))
      fail_msg("docs/symptoms.md has no entry for %s", lu_symptom_name(id));
    assert_true(strlen(lu_symptom_summary(id)) > 5);
  }
}

int main(void)
{
  const char *given = getenv("LU_SEED");
  seed = given ? strtoull(given, NULL, 0) : (uint64_t)time(NULL);
  printf("LU_SEED=%llu\n", (unsigned long long)seed);
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(test_sound_readings_say_nothing),
      cmocka_unit_test(test_constant_bit),
      cmocka_unit_test(test_bridged_bits),
      cmocka_unit_test(test_exchanged_and_inverted_bits),
      cmocka_unit_test(test_lane_missing),
      cmocka_unit_test(test_constant_read_back),
      cmocka_unit_test(test_dead_address_bit),
      cmocka_unit_test(test_dead_address_bit_of_some_data_bits),
      cmocka_unit_test(test_joined_address_bits),
      cmocka_unit_test(test_exchanged_address_bits),
      cmocka_unit_test(test_half_empty_with_dead_bit),
      cmocka_unit_test(test_unsteady_bits),
      cmocka_unit_test(test_majority_of_three),
      cmocka_unit_test(test_blank_area),
      cmocka_unit_test(test_walking_ones_result),
      cmocka_unit_test(test_scattered_differences),
      cmocka_unit_test(test_unaligned_base_and_gaps),
      cmocka_unit_test(test_shapes_must_agree),
      cmocka_unit_test(test_small_readings),
      cmocka_unit_test(test_refused_memory_is_an_error),
      cmocka_unit_test(test_every_kind_has_a_page_entry),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
