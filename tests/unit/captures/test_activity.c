/* SPDX-License-Identifier: MIT */
/* Line activity, passages and pictures. Expected values worked out by hand. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>

#include <cmocka.h>

#include "formats/capform.h"
#include "reason/activity.h"
#include "reason/passages.h"
#include "report/waves.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

typedef struct bench {
  lu_arena mem;
  lu_activity *activity;
  lu_wave *wave;
  lu_wave_row rows[2];
  uint32_t homes[8];
  lu_activity_line *lines;
  size_t count;
  int64_t glitch;
  const lu_cap *cap;
} bench;

static lu_status begin(void *to, const lu_cap *cap, lu_err *err)
{
  bench *b = to;
  (void)err;
  b->cap = cap;
  b->activity = lu_activity_open(cap, b->glitch, &b->mem);
  for (uint32_t i = 0; i < 8; i++)
    b->homes[i] = i;
  b->rows[0] = (lu_wave_row){"RD", 1, b->homes};
  b->rows[1] = (lu_wave_row){"<D>", 4, b->homes + 1};
  b->wave = lu_wave_open(b->rows, 2, 30, 2, 3, &b->mem);
  return LU_OK;
}

static lu_status step(void *to, const lu_cap_step *s, lu_err *err)
{
  lu_wave_step(((bench *)to)->wave, s);
  return lu_activity_step(((bench *)to)->activity, s, err);
}

static lu_status end(void *to, int64_t time, lu_err *err)
{
  bench *b = to;
  return lu_activity_end(b->activity, time, &b->lines, &b->count, err);
}

static void run(bench *b, int64_t glitch, const char *capture)
{
  lu_err err = {0};
  *b = (bench){.glitch = glitch};
  lu_capreader r = {.mem = &b->mem, .sink = {begin, step, end, b, NULL}};
  assert_int_equal(lu_capreader_feed(&r, (lu_bytes){(const uint8_t *)capture, strlen(capture)}, &err), LU_OK);
  assert_int_equal(lu_capreader_end(&r, &err), LU_OK);
}

static void levels_toggles_and_shares(void **state)
{
  (void)state;
  bench b;
  /*                  a goes 0 1 0 1, b stands, c floats at first, d is x once */
  run(&b, 0, "sample,a,b,c,d\n0,0,1,z,0\n10,1,1,z,x\n20,0,1,z,1\n30,1,1,0,0\n40,1,1,0,0\n");
  assert_int_equal(b.count, 4);
  assert_int_equal(b.lines[0].toggles, 3);
  assert_true(b.lines[0].moves);
  assert_int_equal(b.lines[0].low, 20);
  assert_int_equal(b.lines[0].high, 20);
  assert_false(b.lines[1].moves);
  assert_int_equal(b.lines[1].level, '1');
  assert_int_equal(b.lines[2].z, 30);
  assert_false(b.lines[2].moves);
  assert_int_equal(b.lines[3].x, 10);
  assert_int_equal(b.lines[3].toggles, 2);
  assert_int_equal(lu_activity_ticks(b.activity), 40);
  lu_arena_free(&b.mem);
}

static void equal_opposite_and_glitches(void **state)
{
  (void)state;
  bench b;
  /* b follows a two ticks later; c is a inverted; d has a spike of two ticks */
  static const char text[] = "sample,a,b,c,d\n0,0,0,1,0\n100,1,0,0,0\n102,1,1,0,1\n200,1,1,0,0\n202,0,1,1,0\n204,0,0,1,1\n"
                             "206,0,0,1,0\n300,1,0,0,0\n302,1,1,0,0\n400,1,1,0,0\n";
  run(&b, 0, text);
  assert_int_equal(b.lines[1].same, -1);
  assert_int_equal(b.lines[2].opposite, 0);
  assert_int_equal(b.lines[3].glitches, 0);
  lu_arena_free(&b.mem);
  run(&b, 5, text);
  assert_int_equal(b.lines[1].same, 0);
  assert_int_equal(b.lines[2].opposite, 0);
  assert_int_equal(b.lines[3].glitches, 2);
  assert_int_equal(b.lines[3].first_glitch, 204);
  assert_int_equal(b.lines[0].glitches, 0);
  lu_arena_free(&b.mem);
}

static void a_blind_stretch_counts_for_nothing(void **state)
{
  (void)state;
  bench b;
  run(&b, 0,
      "$timescale 1ns $end $var wire 1 ! a $end $var wire 4 v v $end $enddefinitions $end\n#0 0! #10 1! #20 $dumpoff x! $end\n"
      "#50 $dumpon 0! $end #60 1!\n#70\n");
  assert_int_equal(b.lines[0].toggles, 2);
  assert_int_equal(b.lines[0].low, 20);
  assert_int_equal(b.lines[0].high, 20);
  assert_int_equal(b.lines[0].x, 0);
  assert_int_equal(lu_activity_ticks(b.activity), 40);
  lu_arena_free(&b.mem);
}

static void signs_on_a_bus(void **state)
{
  (void)state;
  bench b;
  /* A0 counts, A1 stands low, A2 counts, A3 is equal to A2, A4 floats, A5 stands: nothing above it moves */
  run(&b, 0, "sample,A0,A1,A2,A3,A4,A5\n0,0,0,0,0,z,0\n1,1,0,0,0,z,0\n2,0,0,1,1,z,0\n3,1,0,1,1,z,0\n4,0,0,0,0,z,0\n5,0,0,0,0,z,0\n");
  uint32_t bus[] = {0, 1, 2, 3, 4, 5};
  lu_activity_sign signs[6];
  lu_activity_signs(b.lines, bus, 6, signs);
  assert_int_equal(signs[0], LU_SIGN_NONE);
  assert_int_equal(signs[1], LU_SIGN_STILL);
  assert_int_equal(signs[2], LU_SIGN_NONE);
  assert_int_equal(signs[3], LU_SIGN_SAME);
  assert_int_equal(signs[4], LU_SIGN_FLOATS);
  assert_int_equal(signs[5], LU_SIGN_NONE);
  lu_arena_free(&b.mem);
}

static void feed_passage(lu_passages *p, bool writes, uint64_t address, uint64_t data)
{
  lu_cycle c = {.kind = writes ? LU_CYCLE_WRITE : LU_CYCLE_READ, .address = address, .data = data, .written = data};
  lu_passages_cycle(p, &c);
}

static void passages_are_recognised(void **state)
{
  (void)state;
  lu_arena mem = {0};
  lu_passages *p = lu_passages_open(8, &mem);
  for (uint64_t a = 0x100; a < 0x120; a++)
    feed_passage(p, true, a, a & 0xff);
  for (int i = 0; i < 16; i++)
    feed_passage(p, true, 0x40, (uint64_t)1 << (i % 8));
  for (uint64_t a = 0; a < 10; a++)
    feed_passage(p, true, a * 2, a & 1 ? 0xaa : 0x55);
  for (uint64_t a = 0; a < 5; a++)
    feed_passage(p, true, a * 7 % 5, a * 37);
  for (uint64_t a = 20; a > 0; a--)
    feed_passage(p, false, a, ~a & 0xff);
  size_t n;
  const lu_passage *f = lu_passages_end(p, &n);
  assert_int_equal(n, 4);
  assert_int_equal(f[0].rule, LU_PASSAGE_ADDRESS);
  assert_int_equal(f[0].first, 0x100);
  assert_int_equal(f[0].count, 32);
  assert_int_equal(f[1].rule, LU_PASSAGE_WALKING_ONES);
  assert_int_equal(f[1].step, 0);
  assert_int_equal(f[1].count, 16);
  assert_int_equal(f[2].rule, LU_PASSAGE_CHECKERBOARD);
  assert_int_equal(f[2].step, 2);
  assert_int_equal(f[3].rule, LU_PASSAGE_ADDRESS_INVERSE);
  assert_int_equal(f[3].step, -1);
  assert_false(f[3].writes);
  lu_arena_free(&mem);
}

static char *drawn(const bench *b, bool svg)
{
  char *text;
  size_t len;
  FILE *f = open_memstream(&text, &len);
  lu_wave_style style = {.columns = 60, .tick_s = 1e-9, .has_mark = true, .mark = 30, .title = "a & b"};
  if (svg)
    lu_wave_svg(b->wave, &style, f);
  else
    lu_wave_text(b->wave, &style, f);
  fclose(f);
  return text;
}

static void a_window_is_drawn(void **state)
{
  (void)state;
  bench b;
  run(&b, 0, "sample,RD,D[3:0]\n0,0,1\n10,1,1\n20,1,a\n25,1,a\n30,0,a\n40,0,z\n50,1,x\n60,0,3\n");
  assert_int_equal(lu_wave_steps(b.wave), 5);
  char *text = drawn(&b, false);
  /* Two steps before the moment, three from it on: at 10, 20, 30, 40, 50. */
  assert_string_equal(text, "RD    ----\\___/-\n"
                            "<D>   |1|a  |z|x\n"
                            "          ^     \n"
                            "from 10 ns to 50 ns; a column is a change, not to scale; ^ 30 ns\n");
  free(text);
  lu_arena_free(&b.mem);
}

static void the_svg_is_closed_and_escaped(void **state)
{
  (void)state;
  bench b;
  run(&b, 0, "sample,RD,D[3:0]\n0,0,1\n10,1,1\n20,1,a\n30,0,a\n40,0,z\n");
  char *text = drawn(&b, true);
  assert_non_null(strstr(text, "a &amp; b"));
  assert_non_null(strstr(text, "&lt;D&gt;"));
  assert_non_null(strstr(text, "</svg>\n"));
  assert_null(strstr(text, "nan"));
  free(text);
  lu_arena_free(&b.mem);
}

static void times_are_short(void **state)
{
  (void)state;
  static const struct {
    int64_t ticks;
    double tick_s;
    const char *text;
  } rows[] = {{1500, 1e-9, "1.5 us"}, {0, 1e-9, "0 ns"}, {1000, 1e-12, "1 ns"}, {-2, 1e-3, "-2 ms"},
              {17, 0, "sample 17"},   {5, 1, "5 s"},     {12345678, 1e-9, "12.345678 ms"}};
  for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
    char out[48];
    lu_time_text(rows[i].ticks, rows[i].tick_s, out, sizeof out);
    assert_string_equal(out, rows[i].text);
  }
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(levels_toggles_and_shares),  cmocka_unit_test(equal_opposite_and_glitches),
      cmocka_unit_test(a_blind_stretch_counts_for_nothing), cmocka_unit_test(signs_on_a_bus),
      cmocka_unit_test(passages_are_recognised),    cmocka_unit_test(a_window_is_drawn),
      cmocka_unit_test(the_svg_is_closed_and_escaped), cmocka_unit_test(times_are_short),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
