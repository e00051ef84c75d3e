/* SPDX-License-Identifier: MIT */
/* Choosing readings along the nets of the demo board and of the test boards: a hop is broken, a meter answers, the hop must be found
 * in about as few readings as the optimal decision tree (dynamic programming here, up to 8 hops) or
 * the entropy bound allow, and with a meter that is wrong in 2 % of its readings, too. */
#include "cli/session.h"
#include "reason/probe.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { NETS_TRIED = 24, HOPS_MOST = 24, DP_MOST = 8, READINGS_MOST = 40, PAIRS_MOST = 1500 };

typedef struct bench {
  lu_arena mem;
  lu_run run;
  lu_session *s;
  lu_priors priors;
  lu_costs flat;
} bench;

static const char *const boards[] = {"docs/demo/tide.yaml", "tests/boards/log8.yaml", "tests/boards/quay16.yaml", "tests/boards/buoy8.yaml"};
enum { BOARDS = sizeof boards / sizeof *boards };

static int open_bench(void **state, const char *board)
{
  char path[1024];
  snprintf(path, sizeof path, "%s/%s", LU_TOP, board);
  bench *b = calloc(1, sizeof *b);
  b->run = (lu_run){.out = stdout, .err = stderr, .mem = &b->mem, .program = "test"};
  b->s = lu_session_new(&b->run);
  if (lu_session_board(b->s, path) || lu_priors_of(b->s->board, &b->priors, &b->s->err))
    return -1;
  /* every reading costs the same: what is compared is their number */
  b->flat.value[LU_COST_continuity] = b->flat.value[LU_COST_level] = b->flat.value[LU_COST_look] = 1;
  *state = b;
  return 0;
}

static int set_up(void **state)
{
  return open_bench(state, boards[0]);
}

static int tear_down(void **state)
{
  bench *b = *state;
  lu_session_end(b->s);
  lu_arena_free(&b->mem);
  free(b);
  return 0;
}

/* Every hop of a net as a story of its own, by its prior. */
typedef struct trial {
  lu_wire wire;
  size_t count;
  lu_story stories[HOPS_MOST];
  lu_cause causes[HOPS_MOST];
  uint32_t cut[HOPS_MOST][LU_POINTS_MOST];
  double p[HOPS_MOST];
} trial;

/* Only hops with pins on both sides can be told as opens; hops of one cut share a story. */
static bool make_trial(bench *b, uint32_t net, lu_arena *mem, trial *t)
{
  const lu_net *n = &b->s->board->nets[net];
  memset(t, 0, sizeof *t);
  if (n->supply || n->ground || n->pin_count < 2 || n->pin_count > 20 ||
      lu_wire_of(b->s->board, &b->priors, net, NULL, 0, NULL, 0, mem, &t->wire, NULL) || t->wire.hop_count > HOPS_MOST)
    return false;
  double sum = 0;
  for (size_t h = 0; h < t->wire.hop_count; h++)
    sum += t->wire.hops[h].prior;
  for (size_t h = 0; h < t->wire.hop_count; h++) {
    size_t pins = 0, k;
    for (size_t i = 0; i < t->wire.point_count; i++)
      if (lu_point_in(&t->wire.interest, i) && lu_point_in(&t->wire.hops[h].cut, i))
        t->cut[t->count][pins++] = t->wire.points[i].pin;
    t->p[h] = t->wire.hops[h].prior / sum;
    if (!pins || pins == n->pin_count)
      return false; /* a hop to a via alone: no dump shows it */
    for (k = 0; k < t->count; k++)
      if (t->causes[k].cut_count == pins && !memcmp(t->cut[k], t->cut[t->count], pins * sizeof **t->cut))
        break;
    t->stories[k].probability += t->p[h];
    if (k < t->count)
      continue;
    t->causes[k] = (lu_cause){.kind = LU_FAULT_OPEN, .net = net, .net2 = LU_NONE, .part = LU_NONE, .cut_count = pins, .cut = t->cut[k]};
    t->stories[k].count = 1;
    t->stories[k].causes = &t->causes[k];
    t->count++;
  }
  return t->wire.hop_count >= 2;
}

static lu_probe *probe_of(bench *b, const trial *t, double error, lu_arena *mem)
{
  lu_probe_query q = {.board = b->s->board, .priors = &b->priors, .costs = &b->flat, .meter_error = error, .stories = t->stories, .story_count = t->count};
  lu_probe *p = NULL;
  assert_int_equal(lu_probe_new(&q, mem, &p, NULL), LU_OK);
  return p;
}

static bool broken_between(const lu_wire *w, size_t hop, const lu_reading_at *r)
{
  size_t a = lu_wire_point(w, &r->from), b = lu_wire_point(w, &r->to);
  assert_true(a != SIZE_MAX && b != SIZE_MAX);
  return lu_point_in(&w->hops[hop].cut, a) != lu_point_in(&w->hops[hop].cut, b);
}

static uint64_t seed = 3;

static double chance(void)
{
  /* splitmix64; Steele, Lea, Flood, "Fast splittable pseudorandom number generators" (2014) */
  uint64_t x = seed += 0x9e3779b97f4a7c15u;
  x = (x ^ (x >> 30)) * 0xbf58476d1ce4e5b9u;
  x = (x ^ (x >> 27)) * 0x94d049bb133111ebu;
  return (double)((x ^ (x >> 31)) >> 11) / 9007199254740992.0;
}

/* Readings until a hop holds 0.95; *right: it is the broken one. */
static unsigned search(bench *b, const trial *t, size_t hop, double model_error, double real_error, bool *right)
{
  lu_arena mem = {0};
  lu_probe *p = probe_of(b, t, model_error, &mem);
  unsigned n = 0;
  size_t count;
  const lu_suspicion *g = lu_probe_guesses(p, &count);
  while (g[0].probability < LU_LOCATED && n < READINGS_MOST) {
    lu_proposal next;
    if (!lu_probe_next(p, 1u << LU_PROBE_CONTINUITY, 1, &next))
      break;
    bool open = broken_between(&t->wire, hop, &next.reading);
    if (real_error > 0 && chance() < real_error)
      open = !open;
    next.reading.seen = open ? LU_SEEN_OPEN : LU_SEEN_JOINED;
    lu_probe_take(p, &next.reading);
    g = lu_probe_guesses(p, &count);
    n++;
  }
  *right = g[0].kind == LU_FAULT_OPEN && g[0].hop == hop;
  lu_arena_free(&mem);
  return n;
}

/* --- the optimal tree ------------------------------------------------------------------------------------- */

static double mass(const trial *t, uint32_t set, double *most)
{
  double sum = 0;
  *most = 0;
  for (size_t h = 0; h < t->wire.hop_count; h++)
    if (set >> h & 1) {
      sum += t->p[h];
      *most = fmax(*most, t->p[h]);
    }
  return sum;
}

static double optimal(const trial *t)
{
  static double best[1 << DP_MOST];
  static uint32_t pairs[PAIRS_MOST];
  const lu_wire *w = &t->wire;
  size_t n = 0;
  for (size_t i = 0; i < w->point_count; i++)
    for (size_t j = i + 1; j < w->point_count && n < PAIRS_MOST; j++) {
      pairs[n] = 0;
      for (size_t h = 0; h < w->hop_count; h++)
        pairs[n] |= (uint32_t)(lu_point_in(&w->hops[h].cut, i) != lu_point_in(&w->hops[h].cut, j)) << h;
      n++;
    }
  for (uint32_t set = 1; set < 1u << w->hop_count; set++) {
    double most, sum = mass(t, set, &most);
    best[set] = 0;
    if (most / sum >= LU_LOCATED)
      continue;
    best[set] = 1e300;
    for (size_t k = 0; k < n; k++)
      if ((set & pairs[k]) && (set & ~pairs[k]))
        best[set] = fmin(best[set], sum + best[set & pairs[k]] + best[set & ~pairs[k]]);
  }
  return best[(1u << w->hop_count) - 1];
}

static void few_readings(bench *b, const char *name)
{
  double ours = 0, tree = 0, ours_long = 0, bound = 0, usual = 0;
  unsigned tried = 0, longer = 0;
  for (uint32_t net = 0; net < b->s->board->net_count && tried < NETS_TRIED; net++) {
    lu_arena mem = {0};
    trial *t = LU_NEW(&mem, trial, 1);
    bool small = make_trial(b, net, &mem, t) && t->wire.hop_count <= DP_MOST;
    if (t->count && (small || (t->wire.hop_count >= 9 && longer < 4))) {
      double sum = 0, sum_usual = 0;
      for (size_t h = 0; h < t->wire.hop_count; h++) {
        bool right;
        sum += t->p[h] * search(b, t, h, 1e-9, 0, &right);
        sum_usual += small ? t->p[h] * search(b, t, h, 0.02, 0, &right) : 0;
      }
      tried++;
      if (small) {
        ours += sum;
        usual += sum_usual;
        tree += optimal(t);
      } else {
        longer++;
        ours_long += sum;
        bound += lu_diagnosis_entropy(t->p, t->wire.hop_count);
      }
    }
    lu_arena_free(&mem);
  }
  assert_true(tried >= 10);
  print_message("%s: %u nets of up to %d hops: %.2f readings, the optimal tree %.2f (ratio %.3f); allowing for 2 %% wrong ones %.2f\n", name, tried - longer,
                DP_MOST, ours / (tried - longer), tree / (tried - longer), ours / tree, usual / (tried - longer));
  assert_true(ours / tree <= 1.1);
  if (longer) {
    print_message("%s: %u longer nets: %.2f readings, entropy %.2f bits (ratio %.3f)\n", name, longer, ours_long / longer, bound / longer, ours_long / bound);
    assert_true(ours_long / bound <= 1.3);
  }
}

static void right_hop(bench *b, const char *name)
{
  unsigned right = 0, all = 0, readings = 0;
  for (unsigned round = 0; all < 600; round++)
    for (uint32_t net = 0; net < b->s->board->net_count && all < 600; net += 5) {
      lu_arena mem = {0};
      trial *t = LU_NEW(&mem, trial, 1);
      if (make_trial(b, net, &mem, t) && t->wire.hop_count <= DP_MOST) {
        double at = chance();
        size_t h = 0;
        while (h + 1 < t->wire.hop_count && (at -= t->p[h]) > 0)
          h++;
        bool ok;
        readings += search(b, t, h, 0.02, 0.02, &ok);
        right += ok;
        all++;
      }
      lu_arena_free(&mem);
      assert_true(round < 200);
    }
  print_message("%s: 2 %% of the readings wrong: %u of %u right (%.1f %%), %.2f readings each\n", name, right, all, 100.0 * right / all, (double)readings / all);
  assert_true(right >= 0.97 * all);
}

static void on_every_board(void (*test)(bench *b, const char *name))
{
  for (size_t i = 0; i < BOARDS; i++) {
    void *own = NULL;
    assert_int_equal(open_bench(&own, boards[i]), 0);
    test(own, boards[i]);
    tear_down(&own);
  }
}

static void test_few_readings_with_a_truthful_meter(void **state)
{
  (void)state;
  on_every_board(few_readings);
}

static void test_right_hop_despite_wrong_readings(void **state)
{
  (void)state;
  on_every_board(right_hop);
}

static void test_leg_and_pad_are_two_points(void **state)
{
  bench *b = *state;
  lu_point leg, pad, pin;
  lu_err err = {0};
  assert_int_equal(lu_point_named(b->s->board, "U8.21:leg", &leg, &err), LU_OK);
  assert_int_equal(lu_point_named(b->s->board, "U8.21:pad", &pad, &err), LU_OK);
  assert_int_equal(lu_point_named(b->s->board, "U16.12", &pin, &err), LU_OK);
  assert_int_equal(lu_point_named(b->s->board, "U8.21", &pin, &err), LU_OK);
  assert_int_equal(pin.at, LU_AT_LEG);
  assert_string_equal(lu_point_name(b->s->board, &pad, &b->mem), "U8.21:pad");
  assert_int_equal(lu_point_named(b->s->board, "U16.12:pad", &pin, &err), LU_ERR_VALUE);
  assert_int_equal(lu_point_named(b->s->board, "U8.210", &pin, &err), LU_ERR_MISSING);
  assert_int_equal(lu_point_named(b->s->board, "U99.1", &pin, &err), LU_ERR_MISSING);
  assert_non_null(strstr(err.message, "nearest"));
  assert_int_equal(lu_point_named(b->s->board, "DRA3", &pin, &err), LU_OK);
  assert_int_equal(pin.at, LU_AT_NET);
}

static lu_reading_at between(bench *b, const char *from, const char *to, unsigned seen)
{
  lu_reading_at r = {.kind = LU_PROBE_CONTINUITY, .seen = (uint8_t)seen};
  assert_int_equal(lu_point_named(b->s->board, from, &r.from, NULL), LU_OK);
  assert_int_equal(lu_point_named(b->s->board, to, &r.to, NULL), LU_OK);
  return r;
}

/* A beep from pad to pad leaves the contact as suspect as it was. */
static void test_pad_to_pad_does_not_clear_the_contact(void **state)
{
  bench *b = *state;
  uint32_t cut = lu_board_pin(b->s->board, "U2.24"), net = b->s->board->pins[cut].net;
  lu_cause c = {.kind = LU_FAULT_OPEN, .net = net, .net2 = LU_NONE, .part = LU_NONE, .cut_count = 1, .cut = &cut};
  lu_story story = {1, 1, &c};
  lu_probe_query q = {.board = b->s->board, .priors = &b->priors, .costs = &b->flat, .meter_error = 0.02, .stories = &story, .story_count = 1};
  lu_probe *p;
  size_t n;
  lu_point a, z;
  assert_int_equal(lu_probe_new(&q, &b->mem, &p, NULL), LU_OK);
  const lu_suspicion *g = lu_probe_guesses(p, &n);
  lu_probe_ends(p, &g[0], &a, &z);
  assert_int_equal(a.pin, cut);
  assert_int_equal(z.pin, cut);
  double before = g[0].probability;
  lu_reading_at r = between(b, "U2.24:pad", "U3.24:pad", LU_SEEN_JOINED);
  lu_probe_take(p, &r);
  g = lu_probe_guesses(p, &n);
  assert_true(g[0].probability > before);
  r = between(b, "U2.24:leg", "U2.24:pad", LU_SEEN_JOINED);
  lu_probe_take(p, &r);
  lu_probe_take(p, &r);
  g = lu_probe_guesses(p, &n);
  lu_probe_ends(p, &g[0], &a, &z);
  assert_true(a.at != LU_AT_LEG || z.at != LU_AT_PAD || g[0].probability < before);
}

static void test_a_joined_pair_of_strangers_is_asked_about(void **state)
{
  bench *b = *state;
  uint32_t cut = lu_board_pin(b->s->board, "U2.24"), net = b->s->board->pins[cut].net;
  lu_cause c = {.kind = LU_FAULT_OPEN, .net = net, .net2 = LU_NONE, .part = LU_NONE, .cut_count = 1, .cut = &cut};
  lu_story story = {1, 1, &c};
  lu_reading_at taken[3] = {between(b, "U8.20", "U16.12", LU_SEEN_JOINED), between(b, "U8.20", "U17.12", LU_SEEN_JOINED),
                            between(b, "U8.20", "U18.12", LU_SEEN_JOINED)};
  lu_probe_query q = {.board = b->s->board, .priors = &b->priors, .costs = &b->flat, .meter_error = 0.02, .stories = &story, .story_count = 1,
                      .taken = taken, .taken_count = 3};
  lu_probe *p;
  size_t n, count;
  assert_int_equal(lu_probe_new(&q, &b->mem, &p, NULL), LU_OK);
  assert_true(lu_probe_questions(p, &n) && n >= 1);
  /* three such readings: a bridge is believed */
  const lu_suspicion *g = lu_probe_guesses(p, &count);
  bool bridge = false;
  for (size_t i = 0; i < count; i++)
    bridge |= g[i].kind == LU_FAULT_BRIDGE && g[i].probability > 0.9;
  assert_true(bridge);
}

static void test_a_sheet_repeats_nothing(void **state)
{
  bench *b = *state;
  trial *t = LU_NEW(&b->mem, trial, 1);
  uint32_t net = lu_board_net(b->s->board, "BA10");
  if (!make_trial(b, net, &b->mem, t))
    skip();
  lu_probe *p = probe_of(b, t, 0.02, &b->mem);
  lu_proposal sheet[5];
  size_t n = lu_probe_next(p, 7, 5, sheet);
  assert_true(n >= 2);
  for (size_t i = 0; i < n; i++)
    for (size_t k = i + 1; k < n; k++)
      assert_false(sheet[i].reading.kind == sheet[k].reading.kind && sheet[i].reading.from.pin == sheet[k].reading.from.pin &&
                   sheet[i].reading.from.at == sheet[k].reading.from.at && sheet[i].reading.to.pin == sheet[k].reading.to.pin &&
                   sheet[i].reading.to.at == sheet[k].reading.to.at && sheet[i].reading.from.place == sheet[k].reading.from.place &&
                   sheet[i].reading.to.place == sheet[k].reading.to.place);
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(test_leg_and_pad_are_two_points),
      cmocka_unit_test(test_pad_to_pad_does_not_clear_the_contact),
      cmocka_unit_test(test_a_joined_pair_of_strangers_is_asked_about),
      cmocka_unit_test(test_a_sheet_repeats_nothing),
      cmocka_unit_test(test_few_readings_with_a_truthful_meter),
      cmocka_unit_test(test_right_hop_despite_wrong_readings),
  };
  return cmocka_run_group_tests(tests, set_up, tear_down);
}
