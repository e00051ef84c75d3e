/* SPDX-License-Identifier: MIT */
/* The choice of patterns against the plain definition: every subset of nine patterns looked at, over made-up
 * outcomes. Nothing of the search is shared: detection and groups are counted here. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#include "reason/coverage.h"

enum { PATTERNS = 9, EFFECTS = 40 };

static uint32_t next_random(uint32_t *state)
{
  /* Numerical Recipes' linear congruential generator, constants from memory */
  return *state = *state * 1664525u + 1013904223u;
}

typedef struct bench {
  lu_coverage c;
  uint64_t operations[PATTERNS];
  lu_cover_effect effects[EFFECTS];
  lu_cover_fault faults[EFFECTS];
  lu_outcome outcomes[EFFECTS * PATTERNS];
} bench;

static void make(bench *b, uint32_t seed)
{
  uint32_t r = seed;
  memset(b, 0, sizeof *b);
  b->c = (lu_coverage){.pattern_count = PATTERNS, .fault_count = EFFECTS, .effect_count = EFFECTS, .operations = b->operations,
                       .faults = b->faults, .effects = b->effects, .outcomes = b->outcomes};
  for (size_t p = 0; p < PATTERNS; p++)
    b->operations[p] = 1 + (next_random(&r) >> 24) % 40;
  for (size_t e = 0; e < EFFECTS; e++) {
    b->effects[e].faults = 1;
    b->faults[e].effect = (uint32_t)e;
    for (size_t p = 0; p < PATTERNS; p++) {
      uint64_t s = (next_random(&r) >> 20) % 4; /* 0: the pattern sees nothing */
      b->outcomes[e * PATTERNS + p] = (lu_outcome){.syndrome = s, .detected = s != 0};
    }
  }
}

/* Effects that some pattern of the set (bits) detects, and, apart, classes among those that any does. */
static void count(const bench *b, unsigned set, unsigned *detected, unsigned *classes)
{
  *detected = *classes = 0;
  for (size_t e = 0; e < EFFECTS; e++) {
    bool seen = false, ever = false, fresh = true;
    for (size_t p = 0; p < PATTERNS; p++) {
      ever |= b->outcomes[e * PATTERNS + p].detected;
      seen |= (set >> p & 1) && b->outcomes[e * PATTERNS + p].detected;
    }
    *detected += seen;
    for (size_t f = 0; f < e && fresh; f++) {
      bool same = true, ever_f = false;
      for (size_t p = 0; p < PATTERNS; p++) {
        ever_f |= b->outcomes[f * PATTERNS + p].detected;
        same &= !(set >> p & 1) || b->outcomes[e * PATTERNS + p].syndrome == b->outcomes[f * PATTERNS + p].syndrome;
      }
      fresh = !(same && ever_f);
    }
    *classes += ever && fresh;
  }
}

static uint64_t shortest(const bench *b, bool apart)
{
  unsigned all_seen, all_classes, seen, classes;
  uint64_t best = UINT64_MAX;
  count(b, (1u << PATTERNS) - 1, &all_seen, &all_classes);
  for (unsigned set = 0; set < 1u << PATTERNS; set++) {
    uint64_t sum = 0;
    for (size_t p = 0; p < PATTERNS; p++)
      sum += set >> p & 1 ? b->operations[p] : 0;
    if (sum >= best)
      continue;
    count(b, set, &seen, &classes);
    if (seen == all_seen && (!apart || classes == all_classes))
      best = sum;
  }
  return best;
}

static void is_the_shortest(void **state)
{
  static bench b;
  (void)state;
  for (uint32_t seed = 1; seed <= 40; seed++)
    for (int apart = 0; apart < 2; apart++) {
      lu_arena mem = {0};
      lu_choice choice;
      make(&b, seed);
      assert_true(lu_coverage_choose(&b.c, apart, &mem, &choice));
      assert_true(choice.exact);
      assert_int_equal(choice.sum.operations, shortest(&b, apart));
      lu_arena_free(&mem);
    }
}

int main(void)
{
  const struct CMUnitTest tests[] = {cmocka_unit_test(is_the_shortest)};
  return cmocka_run_group_tests(tests, NULL, NULL);
}
