/* SPDX-License-Identifier: MIT */
#include "report/outline.h"

#include "base/arena.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stdlib.h>
#include <string.h>
#include <cmocka.h>

typedef struct row {
  const char *name;
  lu_body body;
  unsigned pins;
  bool solder_side;
  const char *pin;
  char side;
  unsigned slot;
} row;

/* DIP: down the left side, up the right one, seen from above. PLCC: pin 1 in the middle of the top side, then
 * against the clock; corners of 28, 32, 44, 68 and 84 pins: from memory of JEDEC MO-047 and MO-052. */
static const row rows[] = {
    {"DIP-28 pin 1 is top left", LU_BODY_DIP, 28, false, "1", 'L', 0},
    {"DIP-28 pin 14 is bottom left", LU_BODY_DIP, 28, false, "14", 'L', 13},
    {"DIP-28 pin 15 is bottom right", LU_BODY_DIP, 28, false, "15", 'R', 13},
    {"DIP-28 pin 28 is top right", LU_BODY_DIP, 28, false, "28", 'R', 0},
    {"DIP-28 pin 1 is top right from below", LU_BODY_DIP, 28, true, "1", 'R', 0},
    {"DIP-28 pin 15 is bottom left from below", LU_BODY_DIP, 28, true, "15", 'L', 13},
    {"SOJ-26 pin 9 stands in its slot though 6 to 8 are missing", LU_BODY_SOJ, 26, false, "9", 'L', 8},
    {"SOJ-26 pin 18 is across from 9", LU_BODY_SOJ, 26, false, "18", 'R', 8},
    {"SIP-8 in a row", LU_BODY_SIP, 8, false, "5", 'L', 4},
    {"ZIP-20 odd pins in one row", LU_BODY_ZIP, 20, false, "7", 'L', 6},
    {"ZIP-20 even pins in the other", LU_BODY_ZIP, 20, false, "8", 'R', 7},
    {"ZIP-20 rows change places from below", LU_BODY_ZIP, 20, true, "7", 'R', 6},
    {"PLCC-20 pin 1 is in the middle of the top", LU_BODY_PLCC, 20, false, "1", 'T', 2},
    {"PLCC-28 pin 1", LU_BODY_PLCC, 28, false, "1", 'T', 3},
    {"PLCC-28 pin 5 begins the left side", LU_BODY_PLCC, 28, false, "5", 'L', 0},
    {"PLCC-28 pin 12 begins the bottom", LU_BODY_PLCC, 28, false, "12", 'B', 0},
    {"PLCC-28 pin 19 begins the right side at the bottom", LU_BODY_PLCC, 28, false, "19", 'R', 6},
    {"PLCC-28 pin 26 is top right", LU_BODY_PLCC, 28, false, "26", 'T', 6},
    {"PLCC-32 pin 5 begins the left side of nine", LU_BODY_PLCC, 32, false, "5", 'L', 0},
    {"PLCC-32 pin 13 ends it", LU_BODY_PLCC, 32, false, "13", 'L', 8},
    {"PLCC-32 pin 14 begins the bottom", LU_BODY_PLCC, 32, false, "14", 'B', 0},
    {"PLCC-32 pin 30 is top right", LU_BODY_PLCC, 32, false, "30", 'T', 6},
    {"PLCC-44 pin 7 begins the left side", LU_BODY_PLCC, 44, false, "7", 'L', 0},
    {"PLCC-44 pin 40 is top right", LU_BODY_PLCC, 44, false, "40", 'T', 10},
    {"PLCC-68 pin 10 begins the left side", LU_BODY_PLCC, 68, false, "10", 'L', 0},
    {"PLCC-68 pin 61 is top right", LU_BODY_PLCC, 68, false, "61", 'T', 16},
    {"PLCC-84 pin 12 begins the left side", LU_BODY_PLCC, 84, false, "12", 'L', 0},
    {"PLCC-28 from below the left side is right", LU_BODY_PLCC, 28, true, "5", 'R', 0},
    {"PLCC-28 from below the top runs the other way", LU_BODY_PLCC, 28, true, "26", 'T', 0},
};
enum { ROWS = sizeof rows / sizeof *rows };

static size_t number_all(unsigned pins, lu_outline_pin *out, lu_arena *mem)
{
  for (unsigned i = 0; i < pins; i++)
    out[i] = (lu_outline_pin){lu_arena_printf(mem, "%u", i + 1), "F", false};
  return pins;
}

static void check_row(void **state)
{
  const row *r = *state;
  lu_arena mem = {0};
  lu_outline_pin pins[128];
  lu_outline o = {.ref = "U1", .body = r->body, .solder_side = r->solder_side, .pins = pins};
  o.pin_count = number_all(r->pins, pins, &mem);
  char side;
  unsigned slot, slots;
  assert_true(lu_outline_spot(&o, (size_t)atoi(r->pin) - 1, &side, &slot, &slots));
  assert_int_equal(side, r->side);
  assert_int_equal(slot, r->slot);
  lu_arena_free(&mem);
}

/* Each pin of each body has a place of its own, and text and SVG name it. */
static void no_two_pins_in_one_place(void **state)
{
  (void)state;
  static const unsigned counts[] = {8, 14, 16, 18, 20, 28, 32, 44, 68, 84};
  for (int body = LU_BODY_DIP; body <= LU_BODY_SOJ; body++)
    for (size_t n = 0; n < sizeof counts / sizeof *counts; n++)
      for (int view = 0; view < 2; view++) {
        lu_arena mem = {0};
        lu_outline_pin pins[128];
        bool taken[256][128] = {{0}};
        lu_outline o = {.ref = "U1", .body = (lu_body)body, .solder_side = view, .pins = pins};
        o.pin_count = number_all(counts[n], pins, &mem);
        for (size_t i = 0; i < o.pin_count; i++) {
          char side;
          unsigned slot, slots;
          assert_true(lu_outline_spot(&o, i, &side, &slot, &slots));
          assert_true(slot < slots && !taken[(unsigned char)side][slot]);
          taken[(unsigned char)side][slot] = true;
        }
        lu_arena_free(&mem);
      }
}

static char *drawn(const lu_outline *o, bool svg)
{
  char *text = calloc(1, 200000);
  FILE *f = tmpfile();
  assert_true(svg ? lu_outline_svg(f, o) : lu_outline_text(f, o));
  rewind(f);
  assert_true(fread(text, 1, 199999, f) > 0);
  fclose(f);
  return text;
}

static void text_of_a_small_dip(void **state)
{
  (void)state;
  static const lu_outline_pin pins[] = {{"1", "1A", false}, {"2", "1B", true}, {"3", "GND", false}, {"4", "VCC", false}};
  lu_outline o = {.ref = "U9", .type = "test", .body = LU_BODY_DIP, .pins = pins, .pin_count = 4};
  char *text = drawn(&o, false);
  assert_string_equal(text, "U9 test, dip, seen from above; * = suspect\n"
                            "                     +------U------+\n"
                            "             1A     1 |             | 4     VCC\n"
                            "             1B *   2 |             | 3     GND\n"
                            "                     +-------------+\n");
  free(text);
  text = drawn(&o, true);
  assert_non_null(strstr(text, "Suspect pins: 2"));
  assert_non_null(strstr(text, "* 1B"));
  free(text);
}

static void grid_is_mirrored(void **state)
{
  (void)state;
  static const lu_outline_pin pins[] = {{"A1", "D0", false}, {"A2", "D1", true}, {"B1", "<&>", false}, {"B10", "X", false}};
  lu_outline o = {.ref = "U9", .body = LU_BODY_PGA, .pins = pins, .pin_count = 4};
  char side;
  unsigned slot, slots;
  assert_int_equal(lu_outline_guess(pins, 4, NULL), LU_BODY_PGA);
  assert_true(lu_outline_spot(&o, 1, &side, &slot, &slots) && side == 'G' && slot == 1 && slots == 10);
  o.solder_side = true;
  assert_true(lu_outline_spot(&o, 1, &side, &slot, &slots) && slot == 8);
  char *text = drawn(&o, true);
  assert_non_null(strstr(text, "&lt;&amp;&gt;"));
  free(text);
}

static void bodies_by_places(void **state)
{
  (void)state;
  lu_outline_pin pins[32];
  lu_arena mem = {0};
  number_all(32, pins, &mem);
  double dip[8][2], sip[8][2], zip[8][2], plcc[20][2];
  for (int i = 0; i < 8; i++) {
    dip[i][0] = i < 4 ? 0 : 7.62;
    dip[i][1] = 2.54 * (i < 4 ? 3 - i : i - 4);
    sip[i][0] = 2.54 * i;
    sip[i][1] = 0;
    zip[i][0] = 1.27 * i;
    zip[i][1] = i % 2 ? 2.54 : 0;
  }
  for (int i = 0; i < 20; i++) { /* five on each side of a square of 8.9 mm */
    double along = 1.9 + 1.27 * (i % 5);
    plcc[i][0] = i < 5 ? 0 : i < 10 ? along : i < 15 ? 8.9 : along;
    plcc[i][1] = i < 5 ? along : i < 10 ? 0 : i < 15 ? along : 8.9;
  }
  assert_int_equal(lu_outline_guess(pins, 8, (const double (*)[2])dip), LU_BODY_DIP);
  assert_int_equal(lu_outline_guess(pins, 8, (const double (*)[2])sip), LU_BODY_SIP);
  assert_int_equal(lu_outline_guess(pins, 8, (const double (*)[2])zip), LU_BODY_ZIP);
  assert_int_equal(lu_outline_guess(pins, 20, (const double (*)[2])plcc), LU_BODY_PLCC);
  lu_body b;
  assert_true(lu_body_named("PLCC", &b) && b == LU_BODY_PLCC && !lu_body_named("box", &b));
  lu_arena_free(&mem);
}

int main(void)
{
  struct CMUnitTest tests[ROWS + 4] = {{0}};
  for (size_t i = 0; i < ROWS; i++)
    tests[i] = (struct CMUnitTest){.name = rows[i].name, .test_func = check_row, .initial_state = (void *)(uintptr_t)&rows[i]};
  tests[ROWS] = (struct CMUnitTest)cmocka_unit_test(no_two_pins_in_one_place);
  tests[ROWS + 1] = (struct CMUnitTest)cmocka_unit_test(text_of_a_small_dip);
  tests[ROWS + 2] = (struct CMUnitTest)cmocka_unit_test(grid_is_mirrored);
  tests[ROWS + 3] = (struct CMUnitTest)cmocka_unit_test(bodies_by_places);
  return cmocka_run_group_tests(tests, NULL, NULL);
}
