/* SPDX-License-Identifier: MIT */
/* Components with modes. Address decoder faults A to D of the literature (A. van de Goor, Testing
 * Semiconductor Memories, 1991, from memory: A address x reaches no cell; B x reaches none and y reaches
 * cells x and y; C x and y both reach cell y; D y reaches cells x and y besides x its own) put into a small
 * memory, and what the engine makes of the readings: here each address's decoder is a component, so that
 * A, C and D are one faulty component and B is two. And hitting sets against brute force. */
#include "reason/model.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <string.h>

enum { CELLS = 8, STEPS = 4 * CELLS };

/* Fill upwards, read upwards, fill downwards with the complement, read downwards. */
typedef struct step {
  bool write;
  uint8_t address, data;
} step;

/* No code covers another, so that two cells read together are told from either. */
static const uint8_t codes[CELLS] = {0x0f, 0x33, 0x3c, 0x55, 0x5a, 0x66, 0x69, 0x96};

static void make_steps(step *s)
{
  for (unsigned i = 0; i < CELLS; i++) {
    unsigned down = CELLS - 1 - i;
    s[i] = (step){true, (uint8_t)i, codes[i]};
    s[CELLS + i] = (step){false, (uint8_t)i, 0};
    s[2 * CELLS + i] = (step){true, (uint8_t)down, (uint8_t)~codes[down]};
    s[3 * CELLS + i] = (step){false, (uint8_t)down, 0};
  }
}

/* --- the literature's side: which cells each address reaches ------------------------------------------- */

typedef struct literature {
  char kind;
  unsigned x, y;
} literature;

static void reached(literature f, uint8_t *cells)
{
  for (unsigned a = 0; a < CELLS; a++)
    cells[a] = (uint8_t)(1u << a);
  if (f.kind == 'A' || f.kind == 'B')
    cells[f.x] = 0;
  if (f.kind == 'C')
    cells[f.x] = (uint8_t)(1u << f.y);
  if (f.kind == 'B' || f.kind == 'D')
    cells[f.y] = (uint8_t)(1u << f.x | 1u << f.y);
}

/* Reads: all ones without a cell (pull-ups), several cells wired AND (as TTL and NMOS outputs do). */
static void simulate(const step *s, const uint8_t *cells, uint8_t *got)
{
  uint8_t memory[CELLS];
  memset(memory, 0xa7, sizeof memory);
  for (unsigned i = 0; i < STEPS; i++) {
    got[i] = 0xff;
    for (unsigned c = 0; c < CELLS; c++) {
      if (!(cells[s[i].address] >> c & 1))
        continue;
      if (s[i].write)
        memory[c] = s[i].data;
      else
        got[i] &= memory[c];
    }
  }
}

/* --- the engine's side: decoders and their modes -------------------------------------------------------- */

/* Mode 0: its own cell; 1: none; 2..: another cell alone; then: its own and another. */
enum { ALONE = 2, BOTH = ALONE + CELLS - 1, MODES = BOTH + CELLS - 1 };

static uint8_t mode_cells(unsigned address, unsigned mode)
{
  if (mode < ALONE)
    return mode ? 0 : (uint8_t)(1u << address);
  unsigned other = (mode - ALONE) % (CELLS - 1);
  other += other >= address;
  return (uint8_t)(1u << other | (mode >= BOTH ? 1u << address : 0));
}

static unsigned mode_of(unsigned address, uint8_t cells)
{
  unsigned mode = 0;
  while (mode_cells(address, mode) != cells)
    mode++;
  return mode;
}

typedef struct memory_seen {
  step steps[STEPS];
  uint8_t got[STEPS];
} memory_seen;

/* The last write before step i that reaches the cell; all decoders that were used since then are named. */
static int last_write(const memory_seen *m, const uint8_t *mode, unsigned i, unsigned cell, uint64_t *blame)
{
  for (unsigned k = i; k-- > 0;) {
    const step *s = &m->steps[k];
    if (!s->write)
      continue;
    *blame |= UINT64_C(1) << s->address;
    if (mode_cells(s->address, mode[s->address]) >> cell & 1)
      return s->data;
  }
  return -1;
}

static bool agrees(const void *of, const uint8_t *mode, uint64_t *conflict)
{
  const memory_seen *m = of;
  for (unsigned i = 0; i < STEPS; i++) {
    const step *s = &m->steps[i];
    uint64_t blame = UINT64_C(1) << s->address;
    uint8_t cells = mode_cells(s->address, mode[s->address]), low = 0, open = 0;
    for (unsigned c = 0; c < CELLS && !s->write; c++) {
      int data = cells >> c & 1 ? last_write(m, mode, i, c, &blame) : 0xff;
      low |= data < 0 ? 0 : (uint8_t)~data;
      open |= data < 0 ? 0xff : 0;
    }
    if (s->write || !((uint8_t)(~low ^ m->got[i]) & (uint8_t)~(open & ~low)))
      continue;
    *conflict = blame;
    return false;
  }
  return true;
}

static uint8_t mode_counts[CELLS];

static void explain(const memory_seen *m, unsigned most, lu_arena *mem, lu_explained **out, size_t *count)
{
  const lu_model model = {.component_count = CELLS, .mode_count = mode_counts, .agrees = agrees, .of = m};
  const lu_model_query q = {.most_faults = most, .most = 1000};
  lu_err err;
  bool whole = false;
  assert_int_equal(lu_model_explain(&model, &q, mem, out, count, &whole, &err), LU_OK);
  assert_true(whole);
}

/* Every explanation gives the same readings; returns the place of the one that is the truth. */
static size_t find_truth(const memory_seen *m, literature f, const lu_explained *e, size_t count)
{
  uint8_t truth[CELLS], cells[CELLS], got[STEPS];
  size_t place = SIZE_MAX;
  reached(f, truth);
  for (size_t i = 0; i < count; i++) {
    bool same = true;
    for (unsigned a = 0; a < CELLS; a++) {
      cells[a] = mode_cells(a, e[i].mode[a]);
      same &= e[i].mode[a] == mode_of(a, truth[a]);
    }
    simulate(m->steps, cells, got);
    assert_memory_equal(got, m->got, STEPS);
    place = same ? i : place;
  }
  return place;
}

static void test_decoder_faults_are_explained(void **state)
{
  (void)state;
  static const char kinds[] = "ABCD";
  memory_seen m;
  make_steps(m.steps);
  memset(mode_counts, MODES, sizeof mode_counts);
  unsigned alone = 0, total = 0;
  for (unsigned k = 0; k < 4; k++)
    for (unsigned x = 0; x < CELLS; x++)
      for (unsigned y = 0; y < CELLS; y++) {
        literature f = {.kind = kinds[k], .x = x, .y = y};
        if (x == y || (f.kind == 'A' && y != (x + 1) % CELLS))
          continue;
        lu_arena mem = {0};
        lu_explained *e = NULL;
        size_t count = 0;
        uint8_t cells[CELLS];
        reached(f, cells);
        simulate(m.steps, cells, m.got);
        explain(&m, 2, &mem, &e, &count);
        size_t place = find_truth(&m, f, e, count);
        if (f.kind == 'B') { /* y writes both its cells alike, so B reads as A does; A is the smaller: y's part is masked */
          assert_true(place == SIZE_MAX);
          assert_int_equal(e[0].faulty, 1u << x);
          assert_int_equal(e[0].mode[x], 1);
        } else { /* nothing cheaper explains it, and what is as cheap the readings cannot tell from it */
          assert_true(place != SIZE_MAX);
          assert_int_equal(__builtin_popcountll(e[0].faulty), 1);
          assert_true(e[place].cost <= e[0].cost);
        }
        /* C x, y and C y, x: two addresses share a cell, and nothing outside tells which of the two cells */
        size_t equal = 1;
        while (equal < count && e[equal].cost <= e[0].cost)
          equal++;
        assert_int_equal(equal, f.kind == 'C' ? 2 : 1);
        alone += equal == 1;
        total++;
        lu_arena_free(&mem);
      }
  assert_int_equal(total, CELLS + 3 * CELLS * (CELLS - 1));
  print_message("%u of %u decoder faults are the only explanation of their size\n", alone, total);
}

/* Nothing is missed: the explanations of up to two decoders are all assignments that give the readings
 * and of which no part does, found by trying every one. */
static void test_decoder_explanations_are_complete(void **state)
{
  (void)state;
  memory_seen m;
  make_steps(m.steps);
  memset(mode_counts, MODES, sizeof mode_counts);
  static const literature faults[] = {{'A', 3, 0}, {'B', 6, 1}, {'B', 0, 7}, {'C', 2, 5}, {'C', 5, 2}, {'D', 4, 0}, {'D', 1, 6}};
  for (size_t t = 0; t < sizeof faults / sizeof *faults; t++) {
    uint8_t cells[CELLS], got[STEPS];
    lu_arena mem = {0};
    lu_explained *e = NULL;
    size_t count = 0, want = 0;
    bool single[CELLS][MODES] = {{false}};
    reached(faults[t], cells);
    simulate(m.steps, cells, m.got);
    explain(&m, 2, &mem, &e, &count);
    for (unsigned a = 0; a < CELLS; a++)
      for (unsigned b = a; b < CELLS; b++)
        for (unsigned i = 1; i < MODES; i++)
          for (unsigned j = 1; j < (a == b ? 2 : MODES); j++) {
            for (unsigned x = 0; x < CELLS; x++)
              cells[x] = mode_cells(x, x == a ? i : x == b ? j : 0);
            simulate(m.steps, cells, got);
            bool same = !memcmp(got, m.got, STEPS);
            if (a == b)
              single[a][i] = same;
          }
    for (unsigned a = 0; a < CELLS; a++)
      for (unsigned i = 1; i < MODES; i++)
        want += single[a][i];
    for (unsigned a = 0; a < CELLS; a++)
      for (unsigned b = a + 1; b < CELLS; b++)
        for (unsigned i = 1; i < MODES; i++)
          for (unsigned j = 1; j < MODES; j++) {
            if (single[a][i] || single[b][j])
              continue;
            for (unsigned x = 0; x < CELLS; x++)
              cells[x] = mode_cells(x, x == a ? i : x == b ? j : 0);
            simulate(m.steps, cells, got);
            want += !memcmp(got, m.got, STEPS);
          }
    assert_int_equal(count, want);
    lu_arena_free(&mem);
  }
}

/* --- costs, limits ------------------------------------------------------------------------------------ */

static double dear_first(const void *of, unsigned component, unsigned mode)
{
  (void)of;
  return component ? 1 + mode : 10;
}

/* Component 0 alone in any mode, or 1 and 2 in mode 2 each. */
static bool either(const void *of, const uint8_t *mode, uint64_t *conflict)
{
  (void)of;
  if (mode[0] || (mode[1] == 2 && mode[2] == 2))
    return true;
  *conflict = mode[1] != 2 ? 3 : 5;
  return false;
}

static void test_cheapest_first(void **state)
{
  (void)state;
  static const uint8_t three[] = {3, 3, 3};
  lu_arena mem = {0};
  lu_explained *e = NULL;
  size_t count = 0;
  bool whole = false;
  lu_err err;
  lu_model m = {.component_count = 3, .mode_count = three, .cost = dear_first, .agrees = either};
  lu_model_query q = {.most_faults = 3, .most = 10};
  assert_int_equal(lu_model_explain(&m, &q, &mem, &e, &count, &whole, &err), LU_OK);
  assert_true(whole);
  assert_int_equal(count, 3); /* 1 and 2 in mode 2; 0 in mode 1; 0 in mode 2 */
  assert_int_equal(e[0].faulty, 6);
  assert_true(e[0].cost > 5.99 && e[0].cost < 6.01);
  assert_int_equal(e[1].faulty, 1);
  q.most_faults = 1;
  assert_int_equal(lu_model_explain(&m, &q, &mem, &e, &count, &whole, &err), LU_OK);
  assert_int_equal(count, 2);
  q.states_most = 2;
  assert_int_equal(lu_model_explain(&m, &q, &mem, &e, &count, &whole, &err), LU_OK);
  assert_false(whole);
  m.component_count = 0;
  assert_int_equal(lu_model_explain(&m, &q, &mem, &e, &count, &whole, &err), LU_ERR_VALUE);
  lu_arena_free(&mem);
}

static bool hits_all(const uint64_t *conflicts, size_t count, uint64_t set)
{
  for (size_t i = 0; i < count; i++)
    if (!(conflicts[i] & set))
      return false;
  return true;
}

static void test_hitting_sets_are_those_of_brute_force(void **state)
{
  (void)state;
  uint64_t seed = 1, conflicts[6], out[1024];
  for (unsigned t = 0; t < 300; t++) {
    size_t count = t % 7, want = 0;
    for (size_t i = 0; i < count; i++) {
      seed = seed * 6364136223846793005u + 1442695040888963407u;
      conflicts[i] = (seed >> 40 & seed >> 20 & 0x3ff) | (t % 50 ? 1u << (seed >> 60) % 10 : 0);
    }
    size_t got = lu_hitting_sets(conflicts, count, out, 1024);
    for (uint64_t set = 0; set < 1024; set++) {
      bool minimal = hits_all(conflicts, count, set);
      for (uint64_t left = set; left && minimal; left &= left - 1)
        minimal = !hits_all(conflicts, count, set & ~(left & -left));
      want += minimal;
      bool held = false;
      for (size_t i = 0; i < got && minimal; i++)
        held |= out[i] == set;
      assert_true(held == minimal);
    }
    assert_int_equal(got, want);
  }
  conflicts[0] = 7;
  assert_int_equal(lu_hitting_sets(conflicts, 1, out, 2), 3);
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(test_decoder_faults_are_explained),
      cmocka_unit_test(test_decoder_explanations_are_complete),
      cmocka_unit_test(test_cheapest_first),
      cmocka_unit_test(test_hitting_sets_are_those_of_brute_force),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
