/* SPDX-License-Identifier: MIT */
/* Interconnect test theory through the program's own simulation: eight data lines of a board, a ROM that
 * holds the test vectors, every single fault of the lines put into the network and read through it.
 *
 * 156 faults: 16 stuck, 28 wired AND, 28 wired OR, 56 dominant bridges, 28 exchanges. What each set of
 * vectors detects and tells apart was worked out from the definitions by another program; the sets'
 * sources stand in pattern/vectors.h. A second test takes opens along, which at one level look like stucks. */
#include "cli/session.h"
#include "api/readings.h"
#include "pattern/vectors.h"
#include "reason/diagnose.h"
#include "reason/predict.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { LINES = 8, FAULTS_MOST = 200, VECTORS_MOST = 16 };

typedef struct bed {
  lu_arena mem;
  lu_run run;
  lu_session *s;
  lu_network *n;
  lu_sim *sim;
  lu_view *view;
  uint16_t nets[LINES];
  size_t fault_count;
  lu_fault faults[FAULTS_MOST];
  unsigned vectors;
  uint8_t *image;                        /* the ROM: vectors, then zeros */
  uint8_t sent[VECTORS_MOST], seen[FAULTS_MOST][VECTORS_MOST];
} bed;

static int set_up(void **state)
{
  bed *t = calloc(1, sizeof *t);
  if (!t)
    return -1;
  t->run = (lu_run){.out = stdout, .err = stderr, .columns = 80, .mem = &t->mem, .program = "test"};
  t->s = lu_session_new(&t->run);
  *state = t;
  if (!t->s || lu_session_board(t->s, LU_TOP "/tests/boards/buoy8.yaml") || lu_readings_network(t->s, "program ROM", NULL, 0, &t->n))
    return -1;
  t->sim = lu_sim_new(t->n, false, &t->mem);
  t->view = lu_view_new(&t->mem);
  t->image = LU_NEW(&t->mem, uint8_t, t->n->words);
  for (unsigned d = 0; d < LINES; d++)
    t->nets[d] = t->n->pins[t->n->data_pin[d]].net;
  return t->sim && t->view && t->image && t->n->data_bits == LINES ? 0 : -1;
}

static int tear_down(void **state)
{
  bed *t = *state;
  lu_session_end(t->s);
  lu_arena_free(&t->mem);
  free(t);
  return 0;
}

static void add(bed *t, lu_fault f)
{
  assert_true(t->fault_count < FAULTS_MOST);
  t->faults[t->fault_count++] = f;
}

static void add_faults(bed *t)
{
  uint16_t rom = t->n->chips[0].npart;
  for (unsigned a = 0; a < LINES; a++)
    for (uint8_t level = LU_LEVEL_LOW; level <= LU_LEVEL_HIGH; level++)
      add(t, (lu_fault){.kind = LU_FAULT_STUCK, .net = t->nets[a], .level = level});
  for (unsigned a = 0; a < LINES; a++)
    for (unsigned b = a + 1; b < LINES; b++) {
      for (uint8_t acts = LU_ACTS_AND; acts <= LU_ACTS_SECOND; acts++)
        add(t, (lu_fault){.kind = LU_FAULT_BRIDGE, .net = t->nets[a], .net2 = t->nets[b], .acts = acts});
      add(t, (lu_fault){.kind = LU_FAULT_SWAP, .net = t->nets[a], .net2 = t->nets[b], .part = rom});
    }
}

/* The vantage's own pin of line d cut off. */
static lu_fault open_at_reader(const bed *t, unsigned d, lu_level level)
{
  uint16_t place = t->n->pins[t->n->data_pin[d]].place;
  return (lu_fault){.kind = LU_FAULT_OPEN, .net = t->nets[d], .level = (uint8_t)level, .cut = UINT64_C(1) << place};
}

static void send(bed *t, lu_vectors set)
{
  for (unsigned v = 0; v < lu_vectors_count(set, LINES); v++)
    t->sent[t->vectors++] = (uint8_t)lu_vectors_word(set, LINES, v);
  memcpy(t->image, t->sent, t->vectors);
}

/* What each fault makes of the vectors, read from the ROM's first words. */
static void read_all(bed *t)
{
  lu_evidence e = {.network = t->n, .know = LU_KNOW_CONTENTS};
  e.known = (lu_words){.base = t->n->base_word, .count = t->n->words, .width = LINES, .bytes = 1, .at = t->image, .held_count = t->n->words};
  e.got = e.known;
  for (size_t f = 0; f < t->fault_count; f++) {
    lu_effect effect = lu_sim_run(t->sim, &t->faults[f], 1);
    lu_view_compile(t->view, t->n, LU_KNOW_CONTENTS, &effect, &t->faults[f], 1, LU_LEVEL_HIGH);
    assert_false(t->view->wide);
    for (unsigned v = 0; v < t->vectors; v++) {
      uint64_t value = 0, unknown = 0;
      lu_view_word(t->view, &e, v, &value, &unknown);
      assert_int_equal(unknown & t->view->changed, 0);
      t->seen[f][v] = (uint8_t)((value & t->view->changed) | (t->sent[v] & ~t->view->changed));
    }
  }
}

/* Faults that stay possible when the readings are those of fault f, each line in each vector an
 * observation for Bayes; checks that they stay equally likely. */
static size_t group_of(const bed *t, size_t f)
{
  double p[FAULTS_MOST];
  int8_t predicts[FAULTS_MOST];
  size_t left = 0;
  for (size_t i = 0; i < t->fault_count; i++)
    p[i] = 1;
  for (unsigned v = 0; v < t->vectors; v++)
    for (unsigned d = 0; d < LINES; d++) {
      for (size_t i = 0; i < t->fault_count; i++)
        predicts[i] = t->seen[i][v] >> d & 1;
      const lu_observation o = {.outcomes = 2, .predicts = predicts, .cost = 1};
      (void)lu_diagnosis_update(p, t->fault_count, &o, t->seen[f][v] >> d & 1);
    }
  for (size_t i = 0; i < t->fault_count; i++)
    left += p[i] > 0;
  for (size_t i = 0; i < t->fault_count; i++)
    assert_true(p[i] <= 0 || fabs(p[i] * (double)left - 1) < 1e-9);
  assert_true(fabs(lu_diagnosis_entropy(p, t->fault_count) - log2((double)left)) < 1e-9);
  return left;
}

static void test_vector_sets_tell_what_theory_says(void **state)
{
  bed *t = *state;
  static const struct {
    lu_vectors sets[2];
    unsigned vectors, detected, distinct, alone, largest;
  } rows[] = {
      {{LU_VECTORS_COUNTING, LU_VECTORS_COUNT}, 3, 154, 102, 64, 3},
      {{LU_VECTORS_MODIFIED, LU_VECTORS_COUNT}, 4, 156, 132, 108, 2},
      {{LU_VECTORS_TRUE_COMPLEMENT, LU_VECTORS_COUNT}, 6, 156, 156, 156, 1},
      {{LU_VECTORS_WALKING_ONES, LU_VECTORS_COUNT}, 8, 156, 156, 156, 1},
      {{LU_VECTORS_WALKING_ZEROS, LU_VECTORS_COUNT}, 8, 156, 156, 156, 1},
      {{LU_VECTORS_WALKING_ONES, LU_VECTORS_WALKING_ZEROS}, 16, 156, 156, 156, 1},
      {{LU_VECTORS_CONSTANT_WEIGHT, LU_VECTORS_COUNT}, 5, 156, 156, 156, 1},
  };
  add_faults(t);
  assert_int_equal(t->fault_count, 156);
  for (size_t r = 0; r < sizeof rows / sizeof *rows; r++) {
    unsigned detected = 0, alone = 0, largest = 0;
    double distinct = 0;
    t->vectors = 0;
    for (unsigned k = 0; k < 2 && rows[r].sets[k] != LU_VECTORS_COUNT; k++)
      send(t, rows[r].sets[k]);
    assert_int_equal(t->vectors, rows[r].vectors);
    read_all(t);
    for (size_t f = 0; f < t->fault_count; f++) {
      if (!memcmp(t->seen[f], t->sent, t->vectors))
        continue; /* not detected: no syndrome */
      size_t group = group_of(t, f);
      detected++;
      alone += group == 1;
      distinct += 1.0 / (double)group;
      largest = group > largest ? (unsigned)group : largest;
    }
    assert_int_equal(detected, rows[r].detected);
    assert_int_equal(lround(distinct), rows[r].distinct);
    assert_int_equal(alone, rows[r].alone);
    assert_int_equal(largest, rows[r].largest);
  }
}

/* An open at the reader's pin and the whole line stuck at the level that it floats to are one group of
 * two for every set that shows both; other faults stay apart from them as before. */
static void test_opens_look_like_stucks(void **state)
{
  bed *t = *state;
  add_faults(t);
  for (unsigned d = 0; d < LINES; d++)
    for (lu_level level = LU_LEVEL_LOW; level <= LU_LEVEL_HIGH; level++)
      add(t, open_at_reader(t, d, level));
  send(t, LU_VECTORS_TRUE_COMPLEMENT);
  read_all(t);
  for (unsigned d = 0; d < LINES; d++)
    for (unsigned level = 0; level < 2; level++) {
      size_t stuck = 2 * d + level, open = 156 + 2 * d + level;
      assert_memory_equal(t->seen[stuck], t->seen[open], t->vectors);
      assert_int_equal(group_of(t, open), 2);
    }
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test_setup_teardown(test_vector_sets_tell_what_theory_says, set_up, tear_down),
      cmocka_unit_test_setup_teardown(test_opens_look_like_stucks, set_up, tear_down),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
