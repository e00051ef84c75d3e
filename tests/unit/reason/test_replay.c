/* SPDX-License-Identifier: MIT */
/* Accesses that are played through with levels, against the same faults as functions of the address: two ways of
 * working out what is read that share the elements' behaviour but neither where data come from nor how loops end.
 * Loops themselves are held against a model by hand (address line and data line joined, in a few lines of C). */
#include "cli/session.h"
#include "api/readings.h"
#include "reason/predict.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <stdlib.h>
#include <string.h>

enum { SAMPLES = 192, FAULTS = 260 };

typedef struct bench {
  lu_arena mem;
  lu_run run;
  lu_session *s;
  lu_network *n;
  lu_evidence e;
  uint32_t sample[SAMPLES];
  lu_replay *replay;
  lu_sim *sim;
  lu_view *plain, *played;
} bench;

static uint64_t seed = 12345;

static uint64_t draw(uint64_t below)
{
  seed += 0x9e3779b97f4a7c15u; /* splitmix64 (Steele, Lea, Flood, OOPSLA 2014) */
  uint64_t x = (seed ^ seed >> 30) * 0xbf58476d1ce4e5b9u;
  x = (x ^ x >> 27) * 0x94d049bb133111ebu;
  return (x ^ x >> 31) % below;
}

static void begin(bench *b, const char *board, const char *block, lu_know know)
{
  memset(b, 0, sizeof *b);
  b->run = (lu_run){.out = stdout, .err = stderr, .columns = 80, .mem = &b->mem, .program = "test"};
  b->s = lu_session_new(&b->run);
  assert_non_null(b->s);
  assert_int_equal(lu_session_board(b->s, board), LU_OK);
  assert_int_equal(lu_readings_network(b->s, block, NULL, 0, &b->n), LU_OK);
  size_t count = (size_t)b->n->words, bytes = b->n->board->vantages[b->n->vantage].bytes;
  char *at = lu_arena_big(&b->mem, count * bytes);
  assert_non_null(at);
  for (size_t i = 0; i < count * bytes; i++)
    at[i] = (char)draw(256);
  b->e = (lu_evidence){.network = b->n, .know = know};
  b->e.known = (lu_words){.base = b->n->base_word, .count = count, .width = b->n->data_bits, .bytes = (unsigned)bytes, .at = at, .held_count = count};
  b->e.got = b->e.known;
  for (size_t i = 0; i < SAMPLES; i++)
    b->sample[i] = (uint32_t)draw(count);
  /* only half of them are told beforehand: the others come from blocks of neighbours */
  b->replay = lu_replay_new(&b->e, b->sample, SAMPLES / 2, &b->mem);
  b->sim = lu_sim_new(b->n, know != LU_KNOW_CONTENTS, &b->mem);
  b->plain = lu_view_new(&b->mem);
  b->played = lu_view_new(&b->mem);
  assert_true(b->replay && b->sim && b->plain && b->played);
}

static void end(bench *b)
{
  lu_session_end(b->s);
  lu_arena_free(&b->mem);
}

static lu_fault some_fault(const bench *b)
{
  for (;;) {
    lu_fault f = {.kind = (uint8_t)(draw(4) == 0 ? LU_FAULT_STUCK : draw(3) == 0 ? LU_FAULT_OPEN : LU_FAULT_BRIDGE),
                  .net = (uint16_t)draw(b->n->net_count),
                  .level = (uint8_t)draw(2)};
    if (b->n->nets[f.net].constant)
      continue;
    if (f.kind == LU_FAULT_OPEN) {
      f.cut = UINT64_C(1) << draw(b->n->nets[f.net].pin_count);
      return f;
    }
    f.net2 = (uint16_t)draw(b->n->net_count);
    f.acts = (uint8_t)draw(4);
    if (f.kind == LU_FAULT_STUCK || (f.net2 != f.net && !b->n->nets[f.net2].constant))
      return f;
  }
}

/* Words that both say differently; both must be sure. */
static unsigned words_apart(bench *b, unsigned *compared)
{
  uint64_t all = b->n->data_bits >= 64 ? ~UINT64_C(0) : (UINT64_C(1) << b->n->data_bits) - 1;
  unsigned apart = 0;
  for (size_t i = 0; i < SAMPLES; i += i < SAMPLES / 2 ? 1 : 24) {
    uint64_t x = 0, xu = 0, y, yu, known = lu_word(&b->e.known, b->sample[i]);
    if (b->plain->changed)
      lu_view_word(b->plain, &b->e, b->sample[i], &x, &xu);
    x = (x & b->plain->changed) | (known & all & ~b->plain->changed);
    lu_view_word(b->played, &b->e, b->sample[i], &y, &yu);
    apart += ((x ^ y) & ~xu & ~yu & all) != 0;
    *compared += (all & ~xu & ~yu) != 0;
  }
  return apart;
}

static void compare(const char *board, const char *block, lu_know know)
{
  bench b;
  unsigned judged = 0, compared = 0, wrong = 0;
  begin(&b, board, block, know);
  for (unsigned i = 0; i < FAULTS; i++) {
    lu_fault f = some_fault(&b);
    lu_effect e = lu_sim_run(b.sim, &f, 1);
    lu_view_compile(b.plain, b.n, know, &e, &f, 1, LU_LEVEL_HIGH);
    lu_view_compile(b.played, b.n, know, &e, &f, 1, LU_LEVEL_HIGH);
    if (b.plain->wide || !lu_replay_take(b.replay, &f, 1, &e))
      continue;
    lu_view_replay(b.played, b.replay, &f, 1);
    judged++;
    unsigned apart = words_apart(&b, &compared);
    if (apart)
      print_message("%s %s: kind %u net %s net2 %s level %u acts %u cut %llx: %u words apart\n", board, block, f.kind,
                    lu_network_net_name(b.n, f.net), lu_network_net_name(b.n, f.net2), f.level, f.acts,
                    (unsigned long long)f.cut, apart);
    wrong += apart != 0;
  }
  print_message("%s, %s: %u of %u faults judged both ways, %u words compared\n", board, block, judged, FAULTS, compared);
  assert_int_equal(wrong, 0);
  assert_true(judged > FAULTS / 3 && compared > 20 * judged);
  end(&b);
}

static void test_contents(void **state)
{
  (void)state;
  compare(LU_TOP "/docs/demo/tide.yaml", "boot ROM", LU_KNOW_CONTENTS);
  compare(LU_TOP "/tests/boards/log8.yaml", "program ROM", LU_KNOW_CONTENTS);
  compare(LU_TOP "/tests/boards/buoy8.yaml", "program ROM", LU_KNOW_CONTENTS);
  compare(LU_TOP "/tests/boards/quay16.yaml", "program ROM", LU_KNOW_CONTENTS);
}

static void test_written(void **state)
{
  (void)state;
  compare(LU_TOP "/docs/demo/tide.yaml", "work RAM", LU_KNOW_WRITTEN);
  compare(LU_TOP "/docs/demo/tide.yaml", "record RAM", LU_KNOW_WRITTEN);
  compare(LU_TOP "/tests/boards/log8.yaml", "log RAM", LU_KNOW_WRITTEN);
  compare(LU_TOP "/tests/boards/buoy8.yaml", "log RAM", LU_KNOW_WRITTEN);
  compare(LU_TOP "/tests/boards/quay16.yaml", "load RAM", LU_KNOW_WRITTEN);
}

/* --- address bit 2 and data bit 2 of the demo board's memories as one node ------------------------------------- */

static unsigned node(lu_acts acts, unsigned address, unsigned data)
{
  return acts == LU_ACTS_AND ? address & data : acts == LU_ACTS_OR ? address | data : acts == LU_ACTS_FIRST ? address : data;
}

/* What a read gives; false where the node swings or nothing was ever written. */
static bool by_hand(const uint32_t *memory, lu_acts acts, uint32_t a, uint32_t *word)
{
  unsigned level = a >> 2 & 1;
  for (unsigned turn = 0; turn < 4; turn++) {
    uint32_t w = memory[(a & ~4u) | level << 2];
    if (w == UINT32_MAX)
      return false;
    unsigned now = node(acts, a >> 2 & 1, w >> 2 & 1);
    *word = (w & ~4u) | now << 2;
    if (now == level)
      return true;
    level = now;
  }
  return false;
}

static void hold(bench *b, lu_acts acts)
{
  lu_fault f = {.kind = LU_FAULT_BRIDGE, .acts = (uint8_t)acts};
  f.net = lu_network_net(b->n, lu_board_net(b->n->board, "A3"));
  f.net2 = lu_network_net(b->n, lu_board_net(b->n->board, "D2"));
  uint32_t *memory = malloc(b->e.known.count * sizeof *memory);
  assert_non_null(memory);
  memset(memory, 0xff, b->e.known.count * sizeof *memory);
  for (uint32_t a = 0; a < b->e.known.count; a++) {
    uint32_t w = (uint32_t)lu_word(&b->e.known, a), level = node(acts, a >> 2 & 1, w >> 2 & 1);
    if (b->e.know == LU_KNOW_WRITTEN)
      memory[(a & ~4u) | level << 2] = (w & ~4u) | level << 2;
    else
      memory[a] = w;
  }
  lu_effect e = lu_sim_run(b->sim, &f, 1);
  lu_view_compile(b->played, b->n, b->e.know, &e, &f, 1, LU_LEVEL_HIGH);
  assert_true(acts == LU_ACTS_FIRST || b->played->wide);
  assert_true(lu_replay_take(b->replay, &f, 1, &e));
  lu_view_replay(b->played, b->replay, &f, 1);
  unsigned held = 0;
  for (size_t i = 0; i < SAMPLES; i++) {
    uint64_t value, unknown;
    uint32_t want;
    lu_view_word(b->played, &b->e, b->sample[i], &value, &unknown);
    if (!by_hand(memory, acts, b->sample[i], &want))
      continue;
    assert_int_equal(unknown, 0);
    assert_int_equal(value, want);
    held++;
  }
  assert_true(held > SAMPLES / 4);
  free(memory);
}

static void test_loops(void **state)
{
  (void)state;
  for (int written = 0; written < 2; written++) {
    bench b;
    begin(&b, LU_TOP "/docs/demo/tide.yaml", written ? "work RAM" : "boot ROM", written ? LU_KNOW_WRITTEN : LU_KNOW_CONTENTS);
    for (int acts = LU_ACTS_AND; acts <= LU_ACTS_SECOND; acts++)
      hold(&b, (lu_acts)acts);
    end(&b);
  }
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(test_contents),
      cmocka_unit_test(test_written),
      cmocka_unit_test(test_loops),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
