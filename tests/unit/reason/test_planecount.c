/* SPDX-License-Identifier: MIT */
/* Counting by bit planes against counting word by word, over faults of several blocks and pairs of
 * them. The two share the compiled hypothesis, but not what is made of it. */
#include "api/readings.h"
#include "cli/session.h"
#include "reason/planecount.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <stdlib.h>
#include <string.h>

enum { FAULTS_MOST = 60 };

typedef struct bench {
  lu_arena mem;
  lu_run run;
  lu_session *s;
  lu_network *n;
  lu_err err;
  lu_evidence e;
  lu_sim *sim;
  lu_view *view;
  lu_plane_store *store;
  size_t counted, refused;
} bench;

typedef struct sums {
  uint64_t wrong, unknown, columns;
} sums;

static uint64_t mix(uint64_t x)
{
  /* the mixer of splitmix64 (Steele, Lea, Flood, OOPSLA 2014) */
  x += 0x9e3779b97f4a7c15u;
  x = (x ^ x >> 30) * 0xbf58476d1ce4e5b9u;
  x = (x ^ x >> 27) * 0x94d049bb133111ebu;
  return x ^ x >> 31;
}

static void begin(bench *b, const char *board, const char *block)
{
  memset(b, 0, sizeof *b);
  b->run = (lu_run){.out = stdout, .err = stderr, .columns = 80, .mem = &b->mem, .program = "test"};
  b->s = lu_session_new(&b->run);
  assert_non_null(b->s);
  assert_int_equal(lu_session_board(b->s, board), LU_OK);
  assert_int_equal(lu_readings_network(b->s, block, NULL, 0, &b->n), LU_OK);
  b->view = lu_view_new(&b->mem);
  b->store = lu_plane_store_new(&b->mem);
  assert_non_null(b->view);
  assert_non_null(b->store);
}

static void end(bench *b)
{
  lu_session_end(b->s);
  lu_arena_free(&b->mem);
}

/* Random contents, read back with some words wrong: few enough, or most. */
static void fill(bench *b, lu_know know, unsigned wrong_of_256)
{
  unsigned bytes = b->n->board->vantages[b->n->vantage].bytes;
  size_t count = (size_t)b->n->words;
  uint64_t all = b->n->data_bits >= 64 ? UINT64_MAX : ((uint64_t)1 << b->n->data_bits) - 1;
  char *known = lu_arena_big(&b->mem, count * bytes), *got = lu_arena_big(&b->mem, count * bytes);
  assert_non_null(known);
  assert_non_null(got);
  assert_true(bytes <= 2); /* stored below as the host does */
  for (size_t i = 0; i < count; i++) {
    uint64_t w = mix(i + 7) & all, x = mix(i + 1000000007) % 256 < wrong_of_256 ? w ^ (mix(i + 99) & all) : w;
    uint16_t w16 = (uint16_t)w, x16 = (uint16_t)x;
    uint8_t w8 = (uint8_t)w, x8 = (uint8_t)x;
    memcpy(known + i * bytes, bytes == 1 ? (const void *)&w8 : (const void *)&w16, bytes);
    memcpy(got + i * bytes, bytes == 1 ? (const void *)&x8 : (const void *)&x16, bytes);
  }
  lu_words words = {.base = b->n->base_word, .count = count, .width = b->n->data_bits, .bytes = bytes, .held_count = count};
  b->e = (lu_evidence){.network = b->n, .know = know, .got = words, .known = words};
  b->e.got.at = got;
  b->e.known.at = known;
}

static sums word_by_word(const bench *b)
{
  uint64_t all = b->n->data_bits >= 64 ? UINT64_MAX : ((uint64_t)1 << b->n->data_bits) - 1;
  sums t = {0};
  for (size_t i = 0; i < b->e.got.count; i++) {
    uint64_t value = 0, unknown = 0, changed = b->view->changed;
    if (changed)
      lu_view_word(b->view, &b->e, i, &value, &unknown);
    value = (value & changed) | (lu_word(&b->e.known, i) & ~changed);
    uint64_t bad = (value ^ lu_word(&b->e.got, i)) & all & ~unknown;
    t.wrong += (uint64_t)__builtin_popcountll(bad);
    t.unknown += (uint64_t)__builtin_popcountll(unknown & all);
    t.columns |= bad;
  }
  return t;
}

static void count_both(bench *b, const lu_fault *f, size_t count, lu_level undriven)
{
  lu_effect e = lu_sim_run(b->sim, f, count);
  sums got = {0};
  lu_view_compile(b->view, b->n, b->e.know, &e, f, count, undriven);
  if (b->view->wide)
    return;
  if (!lu_planes_count(b->store, b->view, &b->e, UINT64_MAX, &got.wrong, &got.unknown, &got.columns)) {
    b->refused++;
    return;
  }
  sums want = word_by_word(b);
  b->counted++;
  if (got.wrong != want.wrong || got.unknown != want.unknown || got.columns != want.columns)
    print_message("%zu faults, the first of kind %d on %s: wrong %llu, should be %llu; unknown %llu, should be %llu\n", count,
                  f->kind, f->kind < LU_FAULT_DEAD ? lu_network_net_name(b->n, f->net) : "a part",
                  (unsigned long long)got.wrong, (unsigned long long)want.wrong, (unsigned long long)got.unknown,
                  (unsigned long long)want.unknown);
  assert_int_equal(got.wrong, want.wrong);
  assert_int_equal(got.unknown, want.unknown);
  assert_int_equal(got.columns, want.columns);
  uint64_t some = want.wrong / 2; /* given up early, the result only has to be past the limit */
  assert_true(lu_planes_count(b->store, b->view, &b->e, some, &got.wrong, &got.unknown, &got.columns));
  assert_true(want.wrong ? got.wrong > some : got.wrong == 0);
}

/* The n-th fault of the network: stuck, open and bridged nets in turn. */
static lu_fault nth_fault(const lu_network *n, uint64_t i)
{
  uint16_t net = (uint16_t)(mix(i) % n->net_count), other = (uint16_t)(mix(i + 5) % n->net_count);
  lu_fault f = {.net = net, .net2 = other == net ? (uint16_t)((net + 1) % n->net_count) : other};
  f.kind = (uint8_t)(i % 3 == 0 ? LU_FAULT_STUCK : i % 3 == 1 ? LU_FAULT_BRIDGE : LU_FAULT_OPEN);
  f.level = i / 3 % 2 ? LU_LEVEL_HIGH : LU_LEVEL_LOW;
  f.acts = (uint8_t)(i / 3 % 4);
  f.cut = (uint64_t)1 << mix(i + 9) % 3;
  return f;
}

/* Single faults and pairs of them. */
static void count_faults(bench *b, lu_level undriven)
{
  lu_fault f[2];
  b->sim = lu_sim_new(b->n, b->e.know != LU_KNOW_CONTENTS, &b->mem);
  assert_non_null(b->sim);
  for (uint64_t i = 0; i < FAULTS_MOST; i++) {
    f[0] = nth_fault(b->n, i);
    f[1] = nth_fault(b->n, 3 * i + 1);
    count_both(b, f, 1, undriven);
    count_both(b, f, 2, undriven);
  }
  print_message("%zu hypotheses counted both ways, %zu left to counting word by word\n", b->counted, b->refused);
}

static void test_demo_ram_written(void **state)
{
  bench b;
  (void)state;
  begin(&b, LU_TOP "/docs/demo/tide.yaml", "work RAM");
  fill(&b, LU_KNOW_WRITTEN, 3);
  count_faults(&b, LU_LEVEL_HIGH);
  fill(&b, LU_KNOW_WRITTEN, 200);
  count_faults(&b, LU_LEVEL_KEEP);
  assert_true(b.counted > 100);
  end(&b);
}

static void test_demo_rom_known(void **state)
{
  bench b;
  (void)state;
  begin(&b, LU_TOP "/docs/demo/tide.yaml", "boot ROM");
  fill(&b, LU_KNOW_CONTENTS, 3);
  count_faults(&b, LU_LEVEL_LOW);
  assert_true(b.counted > 50);
  end(&b);
}

static void test_eight_bits_wide(void **state)
{
  bench b;
  (void)state;
  begin(&b, LU_TOP "/tests/boards/log8.yaml", "log RAM");
  fill(&b, LU_KNOW_WRITTEN, 3);
  count_faults(&b, LU_LEVEL_HIGH);
  assert_true(b.counted > 40);
  end(&b);
}

/* Known from itself alone: the planes of what was read serve for both. */
static void test_reading_as_its_own_contents(void **state)
{
  bench b;
  (void)state;
  begin(&b, LU_TOP "/docs/demo/tide.yaml", "work RAM");
  fill(&b, LU_KNOW_WRITTEN, 0);
  b.e.known = b.e.got;
  count_faults(&b, LU_LEVEL_HIGH);
  assert_true(b.counted > 50);
  end(&b);
}

static void test_refused_memory_is_told(void **state)
{
  bench b;
  (void)state;
  begin(&b, LU_TOP "/docs/demo/tide.yaml", "work RAM");
  fill(&b, LU_KNOW_WRITTEN, 3);
  b.sim = lu_sim_new(b.n, true, &b.mem);
  lu_fault f = {.kind = LU_FAULT_STUCK, .level = LU_LEVEL_LOW};
  bool refused = false, counted = false;
  for (uint16_t net = 0; net < b.n->net_count; net++) {
    f.net = net;
    lu_effect e = lu_sim_run(b.sim, &f, 1);
    lu_view_compile(b.view, b.n, LU_KNOW_WRITTEN, &e, &f, 1, LU_LEVEL_HIGH);
    for (size_t n = 1; n < 4 && !b.view->wide && b.view->changed; n++) {
      lu_arena small = {.fail_from = n + 1};
      lu_plane_store *store = lu_plane_store_new(&small);
      uint64_t wrong, unknown, columns;
      assert_non_null(store);
      bool done = lu_planes_count(store, b.view, &b.e, UINT64_MAX, &wrong, &unknown, &columns);
      counted |= done;
      refused |= !done;
      assert_true(!done || wrong == word_by_word(&b).wrong);
      lu_arena_free(&small);
    }
  }
  assert_true(refused && counted);
  end(&b);
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(test_demo_ram_written),           cmocka_unit_test(test_demo_rom_known),
      cmocka_unit_test(test_eight_bits_wide),            cmocka_unit_test(test_reading_as_its_own_contents),
      cmocka_unit_test(test_refused_memory_is_told),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
