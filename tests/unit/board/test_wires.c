/* SPDX-License-Identifier: MIT */
#include "reason/wires.h"
#include "demo_board.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <cmocka.h>

/* A net typed in as points; via = a point without a pin. */
typedef struct spot {
  double x, y;
  char what; /* 'p' through-hole pin, 'c' surface pad of the component side, 's' of the solder side, 'v' via */
} spot;

static lu_board *spot_board(const spot *at, size_t count, lu_arena *mem)
{
  double xy[32][2];
  for (size_t i = 0; i < count; i++) {
    xy[i][0] = at[i].x;
    xy[i][1] = at[i].y;
  }
  lu_netlist *n = points_netlist((const double (*)[2])xy, count, mem);
  size_t pins = 0;
  for (size_t i = 0; i < count; i++) {
    lu_net_place *p = &n->places[i];
    if (at[i].what != 'v')
      n->pins[pins++].number = p->number;
    if (at[i].what == 'c' || at[i].what == 's') {
      p->hole_mm = 0;
      p->access = at[i].what == 'c' ? 1 : 2;
    }
    if (at[i].what == 'v') {
      p->part = UINT32_MAX;
      p->number = NULL;
      p->via = 1;
    }
  }
  n->nets[0].pin_count = (uint32_t)pins;
  n->pin_count = pins;
  return demo_build("title: spots\n", n, mem);
}

static uint32_t pin(const lu_board *b, unsigned number)
{
  char name[16];
  snprintf(name, sizeof name, "P.%u", number);
  return lu_board_pin(b, name);
}

static lu_wire *plan(const lu_board *b, const unsigned *cut, size_t cut_count, const unsigned *rest, size_t rest_count, size_t *count,
                     lu_arena *mem)
{
  uint32_t c[16], r[16];
  for (size_t i = 0; i < cut_count; i++)
    c[i] = pin(b, cut[i]);
  for (size_t i = 0; i < rest_count; i++)
    r[i] = pin(b, rest[i]);
  lu_cut_net net;
  lu_wire *w = NULL;
  assert_int_equal(lu_wires_groups(b, 0, c, cut_count, r, rest_count, mem, &net, NULL), LU_OK);
  assert_int_equal(lu_wires_plan(b, &net, 1, mem, &w, count, NULL), LU_OK);
  return w;
}

/* Pins 1 2 at x 0 and 10, pins 3 4 at 30 and 40: broken between 2 and 3 the wire is 2-3, 20 mm. */
static void the_two_nearest_points(void **state)
{
  (void)state;
  lu_arena mem = {0};
  static const spot at[] = {{0, 0, 'p'}, {10, 0, 'p'}, {30, 0, 'p'}, {40, 0, 'p'}};
  lu_board *b = spot_board(at, 4, &mem);
  size_t count;
  lu_wire *w = plan(b, (unsigned[]){3, 4}, 2, (unsigned[]){1, 2}, 2, &count, &mem);
  assert_int_equal(count, 1);
  assert_int_equal(w[0].from_pin, pin(b, 2));
  assert_int_equal(w[0].to_pin, pin(b, 3));
  assert_true(fabs(w[0].length_mm - 20) < 1e-9);
  assert_int_equal(w[0].side, LU_WIRE_SOLDER);
  lu_arena_free(&mem);
}

/* Surface pads 2 and 3 are nearer, but the wire goes on the far side: from pin 1 to the via. */
static void holes_and_vias_first(void **state)
{
  (void)state;
  lu_arena mem = {0};
  static const spot at[] = {{0, 0, 'p'}, {10, 0, 'c'}, {14, 0, 'c'}, {20, 0, 'v'}, {30, 0, 'c'}};
  lu_board *b = spot_board(at, 5, &mem);
  size_t count;
  lu_wire *w = plan(b, (unsigned[]){3, 5}, 2, (unsigned[]){1, 2}, 2, &count, &mem);
  assert_int_equal(count, 1);
  assert_int_equal(w[0].from_pin, pin(b, 1));
  assert_int_equal(w[0].to_pin, LU_NONE); /* a via between two pins of the group is surely of it */
  assert_true(fabs(w[0].length_mm - 20) < 1e-9);
  assert_int_equal(w[0].side, LU_WIRE_SOLDER);
  /* a via at the end of the stretch belongs to nobody: then there are only surface pads on that side */
  w = plan(b, (unsigned[]){5}, 1, (unsigned[]){1, 2}, 2, &count, &mem);
  assert_int_equal(count, 1);
  assert_int_equal(w[0].to_pin, pin(b, 5));
  assert_int_equal(w[0].side, LU_WIRE_COMPONENT);
  lu_arena_free(&mem);
}

static void surface_pads_of_two_sides(void **state)
{
  (void)state;
  lu_arena mem = {0};
  static const spot at[] = {{0, 0, 'c'}, {10, 0, 's'}};
  lu_board *b = spot_board(at, 2, &mem);
  size_t count;
  lu_wire *w = plan(b, (unsigned[]){2}, 1, (unsigned[]){1}, 1, &count, &mem);
  assert_int_equal(count, 1);
  assert_int_equal(w[0].side, LU_WIRE_BOTH);
  lu_arena_free(&mem);
}

/* Worked by hand: the groups {1 2} {3} {4 5} on a line, breaks on both sides of 3: wires 2-3 (8) and 3-4 (12). */
static void two_breaks_need_two_wires(void **state)
{
  (void)state;
  lu_arena mem = {0};
  static const spot at[] = {{0, 0, 'p'}, {10, 0, 'p'}, {18, 0, 'p'}, {30, 0, 'p'}, {35, 0, 'p'}};
  lu_board *b = spot_board(at, 5, &mem);
  size_t count;
  lu_wire *w = plan(b, (unsigned[]){3}, 1, (unsigned[]){1, 2, 4, 5}, 4, &count, &mem);
  assert_int_equal(count, 2);
  assert_true(fabs(w[0].length_mm + w[1].length_mm - 20) < 1e-9);
  lu_arena_free(&mem);
}

/* Two nets whose shortest wires would cross: one takes the next point. */
static void wires_keep_clear_of_each_other(void **state)
{
  (void)state;
  lu_arena mem = {0};
  /* net A: 1 at (0,5) | 2 at (20,5); net B: 3 at (10,0) and 4 at (22,0) | 5 at (10,11) and 6 at (22,11) */
  static const double xy[][2] = {{0, 5}, {20, 5}, {10, 0}, {22, 0}, {10, 11}, {22, 11}};
  lu_netlist *n = points_netlist(xy, 6, &mem);
  n->nets = LU_NEW(&mem, lu_net_name, 2);
  n->nets[0] = (lu_net_name){"A", 0, 2};
  n->nets[1] = (lu_net_name){"B", 2, 4};
  n->net_count = 2;
  for (size_t i = 2; i < 6; i++)
    n->pins[i].net = n->places[i].net = 1;
  lu_board *b = demo_build("title: cross\n", n, &mem);
  uint32_t p[7];
  for (unsigned i = 1; i < 7; i++)
    p[i] = pin(b, i);
  lu_pin_group a[] = {{1, &p[1]}, {1, &p[2]}}, c[] = {{2, &p[3]}, {2, &p[5]}};
  lu_cut_net cuts[] = {{0, 2, a}, {1, 2, c}};
  lu_wire *w;
  size_t count;
  assert_int_equal(lu_wires_plan(b, cuts, 2, &mem, &w, &count, NULL), LU_OK);
  assert_int_equal(count, 2);
  assert_int_equal(w[0].crosses, LU_NONE);
  assert_int_equal(w[1].crosses, LU_NONE);
  double length = w[0].length_mm + w[1].length_mm;
  assert_true(fabs(length - 31) < 1e-9); /* 20 along A, 11 along the right pins of B, which A does not reach */
  lu_arena_free(&mem);
}

static void crossing_is_said_when_there_is_no_other_way(void **state)
{
  (void)state;
  lu_arena mem = {0};
  static const double xy[][2] = {{0, 0}, {20, 20}, {0, 20}, {20, 0}};
  lu_netlist *n = points_netlist(xy, 4, &mem);
  n->nets = LU_NEW(&mem, lu_net_name, 2);
  n->nets[0] = (lu_net_name){"A", 0, 2};
  n->nets[1] = (lu_net_name){"B", 2, 2};
  n->net_count = 2;
  for (size_t i = 2; i < 4; i++)
    n->pins[i].net = n->places[i].net = 1;
  lu_board *b = demo_build("title: cross\n", n, &mem);
  uint32_t p[5];
  for (unsigned i = 1; i < 5; i++)
    p[i] = pin(b, i);
  lu_pin_group a[] = {{1, &p[1]}, {1, &p[2]}}, c[] = {{1, &p[3]}, {1, &p[4]}};
  lu_cut_net cuts[] = {{0, 2, a}, {1, 2, c}};
  lu_wire *w;
  size_t count;
  assert_int_equal(lu_wires_plan(b, cuts, 2, &mem, &w, &count, NULL), LU_OK);
  assert_int_equal(count, 2);
  assert_int_equal((w[0].crosses == LU_NONE) + (w[1].crosses == LU_NONE), 1);
  lu_arena_free(&mem);
}

/* Every net of the demo cut at each of its pins: one wire fewer than groups, and no shorter pair exists. */
static void no_shorter_wire_on_the_demo(void **state)
{
  (void)state;
  lu_arena mem = {0};
  lu_board *b = demo_board(&mem, true);
  unsigned wires = 0;
  for (uint32_t net = 0; net < b->net_count; net++) {
    const lu_net *n = &b->nets[net];
    if (n->supply || n->ground || n->pin_count < 2 || n->pin_count > 60 || !b->places->nets[net].point_count)
      continue;
    for (uint32_t k = 0; k < n->pin_count; k++) {
      uint32_t cut = b->net_pins[n->first_pin + k], rest[64];
      size_t rest_count = 0, count;
      for (uint32_t i = 0; i < n->pin_count; i++)
        if (i != k)
          rest[rest_count++] = b->net_pins[n->first_pin + i];
      lu_cut_net groups;
      lu_wire *w;
      assert_int_equal(lu_wires_groups(b, net, &cut, 1, rest, rest_count, &mem, &groups, NULL), LU_OK);
      assert_int_equal(lu_wires_plan(b, &groups, 1, &mem, &w, &count, NULL), LU_OK);
      assert_int_equal(count, groups.group_count - 1);
      double best = INFINITY; /* pin to pin; a via may be nearer still */
      const lu_point *c = &b->places->points[b->places->pin_point[cut]];
      for (size_t i = 0; i < rest_count; i++) {
        const lu_point *r = &b->places->points[b->places->pin_point[rest[i]]];
        best = fmin(best, hypot(c->x_mm - r->x_mm, c->y_mm - r->y_mm));
      }
      double shortest = INFINITY;
      for (size_t i = 0; i < count; i++)
        shortest = fmin(shortest, w[i].length_mm);
      assert_true(shortest <= best + 1e-9);
      wires += (unsigned)count;
    }
  }
  print_message("wires: %u\n", wires);
  assert_true(wires > 500);
  lu_arena_free(&mem);
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(the_two_nearest_points),
      cmocka_unit_test(holes_and_vias_first),
      cmocka_unit_test(surface_pads_of_two_sides),
      cmocka_unit_test(two_breaks_need_two_wires),
      cmocka_unit_test(wires_keep_clear_of_each_other),
      cmocka_unit_test(crossing_is_said_when_there_is_no_other_way),
      cmocka_unit_test(no_shorter_wire_on_the_demo),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
