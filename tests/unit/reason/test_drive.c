/* SPDX-License-Identifier: MIT */
/* Patterns run on sub-cubes against the reasoning's own prediction of whole readings, over every
 * different single fault of the demo board's record RAM. */
#include "cli/session.h"
#include "api/readings.h"
#include "reason/coverage.h"
#include "reason/predict.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <stdlib.h>
#include <string.h>

typedef struct bench {
  lu_arena mem;
  lu_run run;
  lu_session *s;
  lu_network *n;
  lu_err err;
  lu_evidence e;
  lu_view *view;
  uint64_t *held;
  char *got;
  /* of one fault: */
  uint64_t words, agree, differ, only_view, only_drive;
} bench;

static int set_up(void **state)
{
  bench *b = calloc(1, sizeof *b);
  if (!b)
    return -1;
  b->run = (lu_run){.out = stdout, .err = stderr, .columns = 80, .mem = &b->mem, .program = "test"};
  b->s = lu_session_new(&b->run);
  *state = b;
  if (!b->s || lu_session_board(b->s, LU_TOP "/docs/demo/tide.yaml") ||
      lu_readings_network(b->s, "record RAM", NULL, 0, &b->n))
    return -1;
  b->view = lu_view_new(&b->mem);
  return b->view ? 0 : -1;
}

static int tear_down(void **state)
{
  bench *b = *state;
  lu_session_end(b->s);
  lu_arena_free(&b->mem);
  free(b);
  return 0;
}

static lu_pattern *pattern(bench *b, const char *rest)
{
  lu_pattern *p = NULL;
  const char *text = lu_arena_printf(&b->mem, "name: tried\nsource: this test\n%s\n", rest);
  assert_non_null(text);
  assert_int_equal(lu_pattern_read((lu_bytes){(const uint8_t *)text, strlen(text)}, &b->mem, &p, &b->err), LU_OK);
  return p;
}

/* What the prediction of the whole reading says of a word that was run. */
static bool hold_against(void *user, const lu_watched *read)
{
  bench *b = user;
  uint64_t word = read->word, changed = read->changed, value = read->value, unknown = read->unknown;
  uint64_t v = 0, u = 0, known = lu_word(&b->e.known, word), all = ((uint64_t)1 << b->n->data_bits) - 1;
  if (b->view->changed)
    lu_view_word(b->view, &b->e, word, &v, &u);
  v = (v & b->view->changed) | (known & ~b->view->changed);
  value = (value & changed) | (known & ~changed);
  b->words++;
  b->differ += ((v ^ value) & ~u & ~unknown & all) != 0;
  b->only_view += (u & ~unknown) != 0;
  b->only_drive += (unknown & ~u & all) != 0;
  memcpy(b->got + word * b->e.got.bytes, &value, b->e.got.bytes); /* what a bus keeps comes from here */
  b->held[word / 64] |= (uint64_t)1 << word % 64;
  return true;
}

/* Every different effect: filled upwards with the contents, then read upwards. */
static void compare_all(bench *b, const char *contents, lu_level undriven)
{
  const lu_pattern *p = pattern(b, lu_arena_printf(&b->mem, "backgrounds: %s\nmarch: { up(w0); up(r0) }", contents));
  lu_sim *sim = lu_sim_new(b->n, true, &b->mem);
  lu_tester *t;
  lu_coverage *c;
  assert_int_equal(lu_coverage_of(b->n, &p, 1, undriven, &b->mem, &c, &b->err), LU_OK);
  assert_int_equal(lu_tester_new(b->n, &p, 1, undriven, &b->mem, &t, &b->err), LU_OK);
  b->e = (lu_evidence){.network = b->n, .know = LU_KNOW_WRITTEN};
  assert_int_equal(lu_session_contents(b->s, contents, b->n, NULL, &b->e.known), LU_OK);
  b->e.got = b->e.known;
  b->got = lu_arena_big(&b->mem, b->e.got.count * b->e.got.bytes + 8);
  b->held = LU_NEW(&b->mem, uint64_t, b->e.got.count / 64 + 1);
  b->e.got.at = b->got;
  b->e.got.held = b->held;
  size_t compared = 0, wide = 0, wrong = 0, looser = 0, tighter = 0;
  for (size_t i = 0; i < c->effect_count; i++) {
    const lu_fault *f = &c->effects[i].fault;
    lu_outcome o;
    if (!c->effects[i].faults)
      continue;
    lu_effect e = lu_sim_run(sim, f, 1);
    lu_view_compile(b->view, b->n, LU_KNOW_WRITTEN, &e, f, 1, undriven);
    if (b->view->wide) {
      wide++;
      continue;
    }
    memset(b->held, 0, (b->e.got.count / 64 + 1) * sizeof *b->held);
    b->words = b->differ = b->only_view = b->only_drive = 0;
    assert_true(lu_tester_watch(t, 0, &e, f, 1, hold_against, b, &o));
    assert_true(b->words > 0);
    compared++;
    wrong += b->differ != 0;
    looser += b->only_drive != 0;
    tighter += b->only_view != 0;
    if (b->differ && wrong <= 5)
      print_message("fault kind %d nets %s %s acts %d level %d lost %d: %llu of %llu words differ\n", f->kind,
                    lu_network_net_name(b->n, f->net), lu_network_net_name(b->n, f->net2), f->acts, f->level, f->lost,
                    (unsigned long long)b->differ, (unsigned long long)b->words);
  }
  print_message("%zu effects compared, %zu wide, %zu differ; unknown only here %zu, only there %zu\n", compared, wide,
                wrong, looser, tighter);
  assert_true(compared > 1000);
  assert_int_equal(wrong, 0);
}

static void test_addresses_read_back_as_predicted(void **state)
{
  compare_all(*state, "address", LU_LEVEL_HIGH);
}

static void test_random_contents_read_back_as_predicted(void **state)
{
  compare_all(*state, "prbs15", LU_LEVEL_LOW);
}

static void test_a_bus_that_keeps_reads_back_as_predicted(void **state)
{
  compare_all(*state, "prbs23", LU_LEVEL_KEEP);
}

/* Results do not hang on which further address bits the sub-cubes have. */
static void test_wider_cubes_show_the_same(void **state)
{
  bench *b = *state;
  static const char *const texts[] = {
      "march: { any(w0); up(r0,w1); up(r1,w0); down(r0,w1); down(r1,w0); any(r0) }",
      "backgrounds: vectors counting\nmarch: { at 0 (w0); at 1 (w1); at 0 (r0) }",
      "backgrounds: address\nmarch: { up(w0); up(r0) }",
      "backgrounds: background-1\nmarch: { up powers(w0); up powers(w1, rest(r0), r1, w0) }",
      "orders: rows, columns\nmarch: { any(w0); up(r0,w1); down(r1,w0) }",
  };
  enum { COUNT = sizeof texts / sizeof *texts };
  const lu_pattern *p[COUNT];
  lu_outcome narrow[COUNT], wide[COUNT];
  lu_sim *sim = lu_sim_new(b->n, true, &b->mem);
  lu_tester *t;
  lu_coverage *c;
  for (size_t i = 0; i < COUNT; i++)
    p[i] = pattern(b, texts[i]);
  assert_int_equal(lu_coverage_of(b->n, p, COUNT, LU_LEVEL_HIGH, &b->mem, &c, &b->err), LU_OK);
  assert_int_equal(lu_tester_new(b->n, p, COUNT, LU_LEVEL_HIGH, &b->mem, &t, &b->err), LU_OK);
  size_t verdicts[COUNT] = {0}, syndromes[COUNT] = {0}, compared = 0;
  for (size_t i = 0; i < c->effect_count; i += 3) {
    const lu_fault *f = &c->effects[i].fault;
    lu_effect e = lu_sim_run(sim, f, 1);
    lu_tester_widen(t, 0);
    if (!lu_tester_run(t, &e, f, 1, narrow))
      continue;
    lu_tester_widen(t, 0x840);
    if (!lu_tester_run(t, &e, f, 1, wide))
      continue;
    compared++;
    for (size_t k = 0; k < COUNT; k++) {
      verdicts[k] += narrow[k].detected != wide[k].detected || narrow[k].chance != wide[k].chance;
      syndromes[k] += narrow[k].syndrome != wide[k].syndrome;
    }
  }
  for (size_t k = 0; k < COUNT; k++)
    print_message("pattern %zu: of %zu effects %zu other verdicts, %zu other syndromes\n", k, compared, verdicts[k],
                  syndromes[k]);
  for (size_t k = 0; k < COUNT; k++) {
    assert_int_equal(verdicts[k], 0);
    assert_int_equal(syndromes[k], 0);
  }
}

static void test_gain_is_entropy(void **state)
{
  bench *b = *state;
  const uint64_t syndromes[] = {1, 2, 3, 4, 7, 7, 7, 7};
  const double weight[] = {0.25, 0.25, 0.25, 0.25}, half[] = {0.5, 0.125, 0.125, 0.25};
  /* Shannon, Bell System Technical Journal 27 (1948): four alike give 2 bits, 1/2 1/4 1/8 1/8 give 1.75 */
  assert_float_equal(lu_pattern_gain(syndromes, 1, weight, 4, &b->mem), 2, 1e-9);
  assert_float_equal(lu_pattern_gain(syndromes, 1, half, 4, &b->mem), 1.75, 1e-9);
  assert_float_equal(lu_pattern_gain(syndromes + 4, 1, weight, 4, &b->mem), 0, 1e-9);
  assert_float_equal(lu_pattern_gain(syndromes, 2, weight, 4, &b->mem), 1.5, 1e-9); /* 1 3 7 7 */
}

/* Against every subset of a few patterns. */
static void test_the_shortest_set_is_chosen(void **state)
{
  bench *b = *state;
  static const char *const texts[] = {
      "march: { any(w0); up(r0,w1); up(r1,w0); down(r0,w1); down(r1,w0); any(r0) }",
      "march: { up(w0); up(r0) }",
      "backgrounds: vectors counting\nmarch: { at 0 (w0); at 1 (w1); at 0 (r0) }",
      "backgrounds: address\nmarch: { up(w0); up(r0) }",
      "backgrounds: words\nmarch: { any(w0); up(r0,w1); down(r1,w0); any(r0) }",
  };
  enum { COUNT = sizeof texts / sizeof *texts };
  const lu_pattern *p[COUNT];
  lu_coverage *c;
  lu_choice choice[2];
  size_t every[COUNT];
  for (size_t i = 0; i < COUNT; i++) {
    every[i] = i;
    p[i] = pattern(b, texts[i]);
  }
  assert_int_equal(lu_coverage_of(b->n, p, COUNT, LU_LEVEL_KEEP, &b->mem, &c, &b->err), LU_OK);
  lu_cover_sum all, sum;
  uint64_t least[2] = {UINT64_MAX, UINT64_MAX};
  assert_true(lu_coverage_sum(c, every, COUNT, &b->mem, &all));
  for (unsigned subset = 1; subset < 1u << COUNT; subset++) {
    size_t set[COUNT], n = 0;
    for (size_t i = 0; i < COUNT; i++)
      if (subset >> i & 1)
        set[n++] = i;
    assert_true(lu_coverage_sum(c, set, n, &b->mem, &sum));
    if (sum.effects != all.effects)
      continue;
    least[0] = sum.operations < least[0] ? sum.operations : least[0];
    if (sum.groups == all.groups)
      least[1] = sum.operations < least[1] ? sum.operations : least[1];
  }
  for (unsigned apart = 0; apart < 2; apart++) {
    assert_true(lu_coverage_choose(c, apart, &b->mem, &choice[apart]));
    assert_int_equal(choice[apart].sum.effects, all.effects);
    assert_int_equal(choice[apart].sum.operations, least[apart]);
  }
  assert_int_equal(choice[1].sum.groups, all.groups);
  for (size_t k = 0; k < LU_COVER_KINDS; k++) {
    const lu_cover_kind *x = &all.kind[k];
    assert_int_equal(x->total, x->detected + x->chance + x->missed + x->nothing + x->unjudged);
  }
}

/* The classics that docs/patterns.md names. */
static void test_the_classics(void **state)
{
  bench *b = *state;
  const lu_pattern *p[] = {pattern(b, "march: { any(w0); up(r0,w1); up(r1,w0); down(r0,w1); down(r1,w0); any(r0) }"),
                           pattern(b, "backgrounds: vectors walking-ones\nmarch: { at 0 (w0,r0) }"),
                           pattern(b, "backgrounds: vectors walking-ones\nmarch: { at 0 (w0); at 1 (w1); at 0 (r0) }")};
  const size_t solid = 0, straight = 1, between = 2;
  lu_coverage *c;
  size_t bridges = 0, keeps = 0, chips = 0;
  assert_int_equal(lu_coverage_of(b->n, p, 3, LU_LEVEL_KEEP, &b->mem, &c, &b->err), LU_OK);
  for (size_t i = 0; i < c->fault_count; i++) {
    const lu_cover_fault *f = &c->faults[i];
    const lu_nnet *nets = b->n->nets;
    if (f->effect >= LU_COVER_UNJUDGED)
      continue;
    if (f->fault.kind == LU_FAULT_BRIDGE && nets[f->fault.net].carries == LU_CARRIES_DATA &&
        nets[f->fault.net2].carries == LU_CARRIES_DATA && f->fault.acts <= LU_ACTS_OR) {
      bridges++;
      assert_int_not_equal(lu_coverage_verdict(c, f, &solid, 1), LU_COVER_IS_DETECTED);
      assert_int_equal(lu_coverage_verdict(c, f, &between, 1), LU_COVER_IS_DETECTED);
    }
    if (f->fault.kind == LU_FAULT_OPEN && f->fault.level == LU_LEVEL_KEEP &&
        lu_coverage_verdict(c, f, &straight, 1) == LU_COVER_IS_MISSED)
      keeps += lu_coverage_verdict(c, f, &between, 1) == LU_COVER_IS_DETECTED;
    if (f->fault.kind == LU_FAULT_DEAD && f->fault.lost == LU_LOST_OUTPUTS &&
        lu_coverage_verdict(c, f, &straight, 1) == LU_COVER_IS_MISSED)
      chips += lu_coverage_verdict(c, f, &between, 1) == LU_COVER_IS_DETECTED;
  }
  print_message("%zu bridges of data lines; held by the bus: %zu opens, %zu dead parts\n", bridges, keeps, chips);
  assert_true(bridges > 100);
  assert_true(keeps > 0);
  assert_true(chips > 0);
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test_setup_teardown(test_addresses_read_back_as_predicted, set_up, tear_down),
      cmocka_unit_test_setup_teardown(test_random_contents_read_back_as_predicted, set_up, tear_down),
      cmocka_unit_test_setup_teardown(test_a_bus_that_keeps_reads_back_as_predicted, set_up, tear_down),
      cmocka_unit_test_setup_teardown(test_wider_cubes_show_the_same, set_up, tear_down),
      cmocka_unit_test_setup_teardown(test_gain_is_entropy, set_up, tear_down),
      cmocka_unit_test_setup_teardown(test_the_shortest_set_is_chosen, set_up, tear_down),
      cmocka_unit_test_setup_teardown(test_the_classics, set_up, tear_down),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
