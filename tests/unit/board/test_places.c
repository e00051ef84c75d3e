/* SPDX-License-Identifier: MIT */
#include "board/damage.h"
#include "board/places.h"
#include "demo_board.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <cmocka.h>

static double tree_length(const lu_places *p, uint32_t net)
{
  double sum = 0;
  for (uint32_t i = 0; i < p->nets[net].piece_count; i++)
    sum += p->pieces[p->nets[net].first_piece + i].length_mm;
  return sum;
}

/* --- hand-worked trees ------------------------------------------------------------------------------ */

static void spanning_trees_of_known_length(void **state)
{
  (void)state;
  /* worked by hand: a square with its middle; a 3-4-5 triangle; points on a line out of order; one point twice */
  static const double square[][2] = {{0, 0}, {2, 0}, {2, 2}, {0, 2}, {1, 1}};
  static const double triangle[][2] = {{0, 0}, {3, 0}, {3, 4}};
  static const double line[][2] = {{0, 0}, {10, 0}, {1, 0}, {7, 0}, {3, 0}};
  static const double twice[][2] = {{5, 5}, {5, 5}, {5, 9}};
  static const struct {
    const double (*at)[2];
    size_t count;
    double length;
  } rows[] = {{square, 5, 4 * 1.4142135623730951}, {triangle, 3, 7}, {line, 5, 10}, {twice, 3, 4}};
  for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
    lu_arena mem = {0};
    lu_board *b = demo_build("title: points\n", points_netlist(rows[i].at, rows[i].count, &mem), &mem);
    assert_non_null(b->places);
    assert_int_equal(b->places->nets[0].piece_count, rows[i].count - 1);
    assert_true(fabs(tree_length(b->places, 0) - rows[i].length) < 1e-9);
    lu_arena_free(&mem);
  }
}

/* --- tracks ----------------------------------------------------------------------------------------- */

static lu_board *with_tracks(const lu_net_line *lines, size_t count, lu_arena *mem)
{
  static const double at[][2] = {{0, 0}, {10, 0}, {10, 10}, {0, 10}};
  lu_netlist *n = points_netlist(at, 4, mem);
  n->tracks = LU_NEW(mem, lu_net_line, count);
  memcpy(n->tracks, lines, count * sizeof *lines);
  n->track_count = count;
  return demo_build("title: tracks\n", n, mem);
}

static void given_tracks_replace_the_guess(void **state)
{
  (void)state;
  lu_arena mem = {0};
  /* P.1 -> P.3 by a bend at 0,5 / 10,5 ... and a branch that meets the middle of it; P.4 is left to the guess */
  static const lu_net_line lines[] = {{0, 1, 0.3, 0, 0, 5, 5}, {0, 1, 0.3, 5, 5, 10, 10}, {0, 1, 0.3, 10, 0, 7, 7}};
  lu_board *b = with_tracks(lines, 3, &mem);
  const lu_places *p = b->places;
  assert_int_equal(p->nets[0].point_count, 6); /* four pins, two bends */
  assert_int_equal(p->nets[0].piece_count, 5);
  unsigned given = 0;
  for (uint32_t i = 0; i < 5; i++)
    given += p->pieces[i].given;
  assert_int_equal(given, 4);
  uint32_t cut = lu_board_pin(b, "P.2"), rest[] = {lu_board_pin(b, "P.1"), lu_board_pin(b, "P.3")};
  lu_stretch *s;
  size_t count;
  assert_int_equal(lu_places_stretches(p, 0, &cut, 1, rest, 2, &mem, &s, &count, NULL), LU_OK);
  assert_int_equal(count, 1);
  assert_true(fabs(s->length_mm - hypot(3, 7)) < 1e-9);
  assert_string_equal(lu_stretch_text(b, s, &mem), "between the bend at 7.0, 7.0 mm and P.2, 7.6 mm, component side");
  lu_arena_free(&mem);
}

static void a_ring_of_tracks_is_still_a_tree(void **state)
{
  (void)state;
  lu_arena mem = {0};
  static const lu_net_line lines[] = {
      {0, 2, 0.3, 0, 0, 10, 0}, {0, 2, 0.3, 10, 0, 10, 10}, {0, 2, 0.3, 10, 10, 0, 10}, {0, 2, 0.3, 0, 10, 0, 0}};
  lu_board *b = with_tracks(lines, 4, &mem);
  assert_int_equal(b->places->nets[0].piece_count, 3);
  lu_arena_free(&mem);
}

/* --- stretches -------------------------------------------------------------------------------------- */

static void two_breaks_give_two_stretches(void **state)
{
  (void)state;
  lu_arena mem = {0};
  static const double line[][2] = {{0, 0}, {10, 0}, {20, 0}, {30, 0}, {40, 0}};
  lu_board *b = demo_build("title: points\n", points_netlist(line, 5, &mem), &mem);
  uint32_t pin[5];
  for (int i = 0; i < 5; i++)
    pin[i] = lu_board_pin(b, lu_arena_printf(&mem, "P.%d", i + 1));
  lu_stretch *s;
  size_t count;
  /* 1 | 3 | 5: the middle one is cut off, and nothing is known of 2 and 4 */
  uint32_t rest[] = {pin[0], pin[4]};
  assert_int_equal(lu_places_stretches(b->places, 0, &pin[2], 1, rest, 2, &mem, &s, &count, NULL), LU_OK);
  assert_int_equal(count, 2);
  for (size_t i = 0; i < 2; i++) {
    assert_true(fabs(s[i].length_mm - 20) < 1e-9);
    assert_int_equal(b->places->points[s[i].to].pin, pin[2]);
  }
  /* nobody knows where a group without place is */
  assert_int_equal(lu_places_stretches(b->places, 0, &pin[2], 0, rest, 2, &mem, &s, &count, NULL), LU_OK);
  assert_int_equal(count, 0);
  lu_arena_free(&mem);
}

/* --- the demo board: every single open between two neighbouring points --------------------------------- */

typedef struct ends {
  const lu_netlist *n;
  uint32_t net;           /* of the netlist */
  size_t count;           /* spots: places of the net, then both ends of its tracks */
  double at[512][2];
  uint32_t place[512], up[512];
} ends;

static uint32_t top(ends *e, uint32_t i)
{
  while (e->up[i] != i)
    i = e->up[i];
  return i;
}

/* A track between neighbouring spots of its net: one that runs over a pad of its net ends there. */
typedef struct bit {
  uint32_t a, b; /* spots */
} bit;

static size_t bits_of_net(ends *e, bit *bits, size_t most)
{
  const lu_netlist *n = e->n;
  size_t count = 0;
  e->count = 0;
  for (size_t i = 0; i < n->place_count; i++)
    if (n->places[i].net == e->net) {
      assert_true(e->count < 500);
      e->at[e->count][0] = n->places[i].x_mm;
      e->at[e->count][1] = n->places[i].y_mm;
      e->place[e->count++] = (uint32_t)i;
    }
  for (size_t t = 0; t < n->track_count; t++) {
    const lu_net_line *l = &n->tracks[t];
    if (l->net != e->net)
      continue;
    for (uint32_t i = 0; i < e->count; i++) { /* spots in order along the track, from its beginning */
      double away = hypot(e->at[i][0] - l->x1_mm, e->at[i][1] - l->y1_mm), nearest = 1e9;
      uint32_t next = LU_NONE;
      if (lu_distance_to_piece(e->at[i][0], e->at[i][1], l->x1_mm, l->y1_mm, l->x2_mm, l->y2_mm) > n->places[e->place[i]].width_mm / 2)
        continue;
      for (uint32_t j = 0; j < e->count; j++) {
        double far = hypot(e->at[j][0] - l->x1_mm, e->at[j][1] - l->y1_mm);
        if (far > away && far < nearest &&
            lu_distance_to_piece(e->at[j][0], e->at[j][1], l->x1_mm, l->y1_mm, l->x2_mm, l->y2_mm) <= n->places[e->place[j]].width_mm / 2) {
          nearest = far;
          next = j;
        }
      }
      if (next != LU_NONE) {
        assert_true(count < most);
        bits[count++] = (bit){i, next};
      }
    }
  }
  return count;
}

/* Which spots hang together with one bit taken away: apart from what places.c does. */
static void join_spots(ends *e, const bit *bits, size_t count, size_t without)
{
  for (uint32_t i = 0; i < e->count; i++)
    e->up[i] = i;
  for (size_t i = 0; i < count; i++)
    if (i != without)
      e->up[top(e, bits[i].a)] = top(e, bits[i].b);
}

static bool stretch_has(const lu_places *p, const lu_stretch *s, double x, double y)
{
  for (size_t i = 0; i < s->piece_count; i++) {
    const lu_point *a = &p->points[p->pieces[s->pieces[i]].a], *b = &p->points[p->pieces[s->pieces[i]].b];
    if (lu_distance_to_piece(x, y, a->x_mm, a->y_mm, b->x_mm, b->y_mm) < 0.01)
      return true;
  }
  return false;
}

static uint32_t board_pin_of(const lu_board *b, uint32_t place)
{
  const lu_net_place *q = &b->netlist->places[place];
  char name[80];
  if (q->part == UINT32_MAX || !q->number)
    return LU_NONE;
  snprintf(name, sizeof name, "%s.%s", b->netlist->parts[q->part].ref, q->number);
  return lu_board_pin(b, name);
}

/* Cuts one bit; true when the stretch named has its middle. *parted: the cut parts some pins at all. */
static bool cut_one(const lu_board *b, ends *e, const bit *bits, size_t count, size_t at, bool *parted, lu_arena *mem)
{
  uint32_t cut[64], rest[64];
  size_t cut_count = 0, rest_count = 0, stretches;
  join_spots(e, bits, count, at);
  for (uint32_t i = 0; i < e->count; i++) {
    uint32_t pin = board_pin_of(b, e->place[i]);
    assert_true(cut_count < 64 && rest_count < 64);
    if (pin != LU_NONE && top(e, i) == top(e, bits[at].a))
      rest[rest_count++] = pin;
    else if (pin != LU_NONE)
      cut[cut_count++] = pin;
  }
  *parted = cut_count && rest_count && top(e, bits[at].a) != top(e, bits[at].b);
  lu_stretch *s;
  uint32_t net = lu_board_net(b, e->n->nets[e->net].name);
  assert_int_equal(lu_places_stretches(b->places, net, cut, cut_count, rest, rest_count, mem, &s, &stretches, NULL), LU_OK);
  return stretches == 1 && stretch_has(b->places, s, (e->at[bits[at].a][0] + e->at[bits[at].b][0]) / 2,
                                       (e->at[bits[at].a][1] + e->at[bits[at].b][1]) / 2);
}

static void every_true_break_lies_in_its_stretch(void **state)
{
  (void)state;
  lu_arena mem = {0};
  lu_board *b = demo_board(&mem, true);
  static ends e;
  unsigned breaks = 0, found = 0, rings = 0;
  e.n = b->netlist;
  for (e.net = 0; e.net < e.n->net_count; e.net++) {
    bit bits[128];
    size_t count = bits_of_net(&e, bits, 128);
    for (size_t i = 0; i < count; i++) {
      bool parted, has = cut_one(b, &e, bits, count, i, &parted, &mem);
      rings += !parted;
      breaks += parted;
      found += parted && has;
      if (parted && !has)
        print_message("%s: a break is not in its stretch\n", e.n->nets[e.net].name);
    }
  }
  print_message("breaks of the layout's tracks: %u of %u in the stretch named; %u in rings part nothing\n", found, breaks, rings);
  assert_true(breaks > 600);
  assert_int_equal(found, breaks);
  lu_arena_free(&mem);
}

/* The same breaks judged by pads and vias alone: how good the guess at the tracks' ways is. On this board tracks
 * run from pin to pin in the order of the references, which is far from the shortest. */
static void breaks_by_pads_and_vias_alone(void **state)
{
  (void)state;
  lu_arena mem = {0};
  lu_board *b = demo_board(&mem, true), *blind = demo_board(&mem, false);
  static ends e;
  unsigned breaks = 0, one = 0, near = 0;
  e.n = b->netlist;
  for (e.net = 0; e.net < e.n->net_count; e.net++) {
    bit bits[128];
    size_t count = bits_of_net(&e, bits, 128);
    for (size_t i = 0; i < count; i++) {
      uint32_t cut[64], rest[64];
      size_t cut_count = 0, rest_count = 0, stretches;
      join_spots(&e, bits, count, i);
      for (uint32_t k = 0; k < e.count; k++) {
        uint32_t pin = board_pin_of(b, e.place[k]);
        if (pin != LU_NONE && top(&e, k) == top(&e, bits[i].a))
          rest[rest_count++] = pin;
        else if (pin != LU_NONE)
          cut[cut_count++] = pin;
      }
      if (!cut_count || !rest_count)
        continue;
      lu_stretch *s;
      uint32_t net = lu_board_net(blind, e.n->nets[e.net].name);
      assert_int_equal(lu_places_stretches(blind->places, net, cut, cut_count, rest, rest_count, &mem, &s, &stretches, NULL), LU_OK);
      breaks++;
      one += stretches == 1;
      double x = (e.at[bits[i].a][0] + e.at[bits[i].b][0]) / 2, y = (e.at[bits[i].a][1] + e.at[bits[i].b][1]) / 2, away = 1e9;
      for (size_t k = 0; k < stretches; k++)
        for (size_t q = 0; q < s[k].piece_count; q++) {
          const lu_piece *w = &blind->places->pieces[s[k].pieces[q]];
          const lu_point *c = &blind->places->points[w->a], *d = &blind->places->points[w->b];
          away = fmin(away, lu_distance_to_piece(x, y, c->x_mm, c->y_mm, d->x_mm, d->y_mm));
        }
      near += away <= 5;
    }
  }
  print_message("without tracks: %u of %u breaks give one stretch, %u lie within 5 mm of what is named\n", one, breaks, near);
  assert_true(breaks > 600 && one * 2 > breaks);
  lu_arena_free(&mem);
}

/* Each piece of each net's tree cut in turn: pads and vias alone, and with tracks. */
static void every_piece_lies_in_its_stretch(bool tracks)
{
  lu_arena mem = {0};
  lu_board *b = demo_board(&mem, tracks);
  const lu_places *p = b->places;
  unsigned pieces = 0;
  for (uint32_t net = 0; net < b->net_count; net++) {
    const lu_net_points *w = &p->nets[net];
    for (uint32_t x = 0; x < w->piece_count; x++) {
      static uint32_t up[4096], cut[4096], rest[4096];
      size_t cut_count = 0, rest_count = 0;
      assert_true(w->point_count < 4096);
      for (uint32_t i = 0; i < w->point_count; i++)
        up[i] = i;
      bool more = true; /* colours spread over the pieces that are left until nothing changes */
      while (more) {
        more = false;
        for (uint32_t y = 0; y < w->piece_count; y++) {
          uint32_t a = p->pieces[w->first_piece + y].a - w->first_point, c = p->pieces[w->first_piece + y].b - w->first_point;
          if (y == x || up[a] == up[c])
            continue;
          up[a] = up[c] = up[a] < up[c] ? up[a] : up[c];
          more = true;
        }
      }
      for (uint32_t i = 0; i < w->point_count; i++) {
        uint32_t pin = p->points[w->first_point + i].pin;
        if (pin != LU_NONE && up[i] == up[0])
          rest[rest_count++] = pin;
        else if (pin != LU_NONE)
          cut[cut_count++] = pin;
      }
      lu_stretch *s;
      size_t count;
      assert_int_equal(lu_places_stretches(p, net, cut, cut_count, rest, rest_count, &mem, &s, &count, NULL), LU_OK);
      if (!cut_count || !rest_count) /* a via at the end of a track: no pin tells */
        continue;
      pieces++;
      assert_int_equal(count, 1);
      bool has = false;
      for (size_t i = 0; i < s->piece_count; i++)
        has |= s->pieces[i] == w->first_piece + x;
      assert_true(has);
    }
  }
  print_message("pieces cut one by one: %u\n", pieces);
  lu_arena_free(&mem);
}

static void every_piece_of_the_guess(void **state)
{
  (void)state;
  every_piece_lies_in_its_stretch(false);
}

static void every_piece_with_tracks(void **state)
{
  (void)state;
  every_piece_lies_in_its_stretch(true);
}

/* --- damage ----------------------------------------------------------------------------------------- */

static void tracks_through_the_damage_are_seen(void **state)
{
  (void)state;
  lu_arena mem = {0};
  static const double at[][2] = {{0, 0}, {100, 0}};
  char text[120];
  lu_board *b = demo_build("title: x\ndamage:\n  - {at_mm: [50, 4], radius_mm: 5}\n", points_netlist(at, 2, &mem), &mem);
  assert_false(lu_damage_pin(b, 0, NULL, 0));
  assert_true(lu_damage_net(b, 0, text, sizeof text));
  assert_string_equal(text, "passes 4 mm from the middle of the damage");
  b = demo_build("title: x\ndamage:\n  - {at_mm: [50, 4], radius_mm: 3.9}\n", points_netlist(at, 2, &mem), &mem);
  assert_false(lu_damage_net(b, 0, NULL, 0));
  /* a polygon between the two ends, and one that does not reach the track */
  b = demo_build("title: x\ndamage:\n  - {polygon_mm: [[40, -5], [60, -5], [60, 5], [40, 5]]}\n", points_netlist(at, 2, &mem), &mem);
  assert_true(lu_damage_net(b, 0, text, sizeof text));
  assert_string_equal(text, "passes through the damaged area");
  b = demo_build("title: x\ndamage:\n  - {polygon_mm: [[40, 1], [60, 1], [60, 5], [40, 5]]}\n", points_netlist(at, 2, &mem), &mem);
  assert_false(lu_damage_net(b, 0, NULL, 0));
  b = demo_build("title: x\ndamage:\n  - {nets: [N]}\n", points_netlist(at, 2, &mem), &mem);
  assert_true(lu_damage_net(b, 0, text, sizeof text));
  assert_string_equal(text, "is named as damaged");
  b = demo_build("title: x\ndamage:\n  - {parts: [P]}\n", points_netlist(at, 2, &mem), &mem);
  assert_true(lu_damage_pin(b, 1, text, sizeof text));
  assert_string_equal(text, "is of P, which is named as damaged");
  lu_arena_free(&mem);
}

static void damage_of_the_demo(void **state)
{
  (void)state;
  lu_arena mem = {0};
  lu_board *b = demo_board(&mem, true);
  char text[120];
  unsigned pins = 0, nets = 0;
  for (uint32_t i = 0; i < b->pin_count; i++)
    pins += lu_damage_pin(b, i, text, sizeof text);
  for (uint32_t i = 0; i < b->net_count; i++)
    nets += lu_damage_net(b, i, text, sizeof text);
  assert_true(pins && nets && nets < b->net_count && pins < b->pin_count);
  for (uint32_t i = 0; i < b->pin_count; i++) /* what a pin has its net has */
    if (lu_damage_pin(b, i, NULL, 0) && b->pins[i].net != LU_NONE)
      assert_true(lu_damage_net(b, b->pins[i].net, NULL, 0));
  print_message("in the damage: %u pins, %u nets of %zu\n", pins, nets, b->net_count);
  lu_arena_free(&mem);
}

/* --- memory refused --------------------------------------------------------------------------------- */

static void refused_memory_is_only_that(void **state)
{
  (void)state;
  lu_arena good = {0};
  static const double at[][2] = {{0, 0}, {10, 0}, {20, 5}};
  lu_board *b = demo_build("title: x\ndamage:\n  - {at_mm: [1, 1], radius_mm: 5}\n", points_netlist(at, 3, &good), &good);
  for (size_t from = 1;; from++) {
    lu_arena mem = {.fail_from = from};
    lu_err err = {0};
    const lu_places *p = NULL;
    const lu_damage *d = NULL;
    lu_stretch *s;
    size_t count;
    uint32_t cut = 2, rest = 0;
    lu_status bad = lu_places_build(b, &mem, &p, &err);
    if (!bad)
      bad = lu_damage_build(b, &mem, &d, &err);
    if (!bad)
      bad = lu_places_stretches(p, 0, &cut, 1, &rest, 1, &mem, &s, &count, &err);
    lu_arena_free(&mem);
    if (!bad)
      break;
    assert_int_equal(bad, LU_ERR_NOMEM);
    assert_true(from < 200);
  }
  lu_arena_free(&good);
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(spanning_trees_of_known_length),
      cmocka_unit_test(given_tracks_replace_the_guess),
      cmocka_unit_test(a_ring_of_tracks_is_still_a_tree),
      cmocka_unit_test(two_breaks_give_two_stretches),
      cmocka_unit_test(every_true_break_lies_in_its_stretch),
      cmocka_unit_test(breaks_by_pads_and_vias_alone),
      cmocka_unit_test(every_piece_of_the_guess),
      cmocka_unit_test(every_piece_with_tracks),
      cmocka_unit_test(tracks_through_the_damage_are_seen),
      cmocka_unit_test(damage_of_the_demo),
      cmocka_unit_test(refused_memory_is_only_that),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
