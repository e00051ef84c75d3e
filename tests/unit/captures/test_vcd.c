/* SPDX-License-Identifier: MIT */
/* Value change dumps. The grammar's example is the one that IEEE Std 1364-2001, clause 18, prints (as
 * it stands in public parsers' tests); the expected levels follow from the standard's table of left
 * extension and were worked out by hand. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>

#include <cmocka.h>

#include "caplog.h"

#define DECLARED                                                                                   \
  "$date June 26, 1989 10:05:41\n$end\n$version VERILOG-SIMULATOR 1.0a\n$end\n$timescale 1 ns\n$end\n" \
  "$scope module top $end\n$scope module m1 $end\n"                                                \
  "$var trireg 1 *@ net1 $end\n$var trireg 1 *# net2 $end\n$var trireg 1 *$ net3 $end\n"           \
  "$upscope $end\n$scope task t1 $end\n$var reg 32 (k accumulator[31:0] $end\n"                    \
  "$var integer 32 {2 index $end\n$upscope $end\n$upscope $end\n$enddefinitions $end\n"

static const char standard[] =
    DECLARED "#500\n$dumpvars\nx*@\nx*#\nx*$\nbx (k\nbx {2\n$end\n#505\n0*@\n1*#\n1*$\n"
             "b10zx1110x11100 (k\nb1111000101z01x {2\n#510\n0*$\n#520\n1*$\n#530\n0*$\nbz (k\n#535\n"
             "$dumpall   0*@   1*#   0*$\nbz (k\nb1111000101z01x {2\n$end\n#540\n1*$\n#1000\n"
             "$dumpoff\nx*@\nx*#\nx*$\nbx (k\nbx {2\n$end\n#2000\n$dumpon\nz*@\n1*#\n0*$\nb0 (k\nbx {2\n"
             "$end\n#2010\n1*$\n";

#define X32 "xxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxx"
#define Z32 "zzzzzzzzzzzzzzzzzzzzzzzzzzzzzzzz"
#define ACC "00000000000000000010zx1110x11100"
#define IDX "0000000000000000001111000101z01x"

/* #500 changes nothing: a capture starts from x everywhere. */
static const char standard_steps[] =
    "505 net1=0 net2=1 net3=1 accumulator=" ACC " index=" IDX "\n"
    "510 net1=0 net2=1 net3=0 accumulator=" ACC " index=" IDX "\n"
    "520 net1=0 net2=1 net3=1 accumulator=" ACC " index=" IDX "\n"
    "530 net1=0 net2=1 net3=0 accumulator=" Z32 " index=" IDX "\n"
    "540 net1=0 net2=1 net3=1 accumulator=" Z32 " index=" IDX "\n"
    "1000 blind net1=x net2=x net3=x accumulator=" X32 " index=" X32 "\n"
    "2000 net1=z net2=1 net3=0 accumulator=00000000000000000000000000000000 index=" X32 "\n"
    "2010 net1=z net2=1 net3=1 accumulator=00000000000000000000000000000000 index=" X32 "\n";

static void the_standards_example(void **state)
{
  (void)state;
  for (size_t piece = 0; piece < 40; piece++) {
    caplog l;
    caplog_read(&l, standard, sizeof standard - 1, piece, 0);
    assert_int_equal(l.status, LU_OK);
    assert_string_equal(l.text, standard_steps);
    assert_int_equal(l.end, 2010);
    assert_int_equal(l.reader.notes.count, 0);
    assert_string_equal(l.cap->signals[0].path, "top.m1.net1");
    assert_string_equal(l.cap->signals[3].path, "top.t1.accumulator");
    assert_int_equal(l.cap->signals[3].msb, 31);
    assert_true(l.cap->tick_s == 1e-9);
    caplog_free(&l);
  }
}

/* A cut capture gives the same steps as the whole one, as far as it goes; only the last may lack
 * changes. A cut head is an error. */
static void every_prefix(void **state)
{
  (void)state;
  size_t head = sizeof DECLARED - 1;
  for (size_t len = 0; len < sizeof standard - 1; len++) {
    caplog l;
    caplog_read(&l, standard, len, len % 7, 0);
    if (len < head - 1) {
      assert_int_equal(l.status, LU_ERR_SYNTAX);
      assert_true(len == 0 || l.err.line > 0);
    } else {
      assert_int_equal(l.status, LU_OK);
      const char *last = l.text + l.len;
      while (last > l.text && (last == l.text + l.len || last[-1] != '\n'))
        last--;
      assert_memory_equal(l.text, standard_steps, (size_t)(last - l.text));
    }
    caplog_free(&l);
  }
}

typedef struct row {
  const char *name, *body, *steps;
} row;

#define HEAD                                                                                       \
  "$timescale 1ns $end $scope module t $end $var wire 1 ! a $end $var wire 4 \" v [3:0] $end "     \
  "$var real 64 r r $end $var event 1 e e $end $var wire 65 w w [64:0] $end $upscope $end "        \
  "$enddefinitions $end\n"
#define W0 "00000000000000000000000000000000000000000000000000000000000000000"
#define WX "xxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxx"

/* Left extension: the standard's own four rules, on four bits. */
static const row good[] = {
    {"b10 extends by 0", "#0 b10 \"\n", "0 a=x v=0010 w=" WX "\n"},
    {"bx10 extends by x", "#0 bx10 \"\n", "0 a=x v=xx10 w=" WX "\n"},
    {"bzx0 extends by z", "#0 bzx0 \"\n", "0 a=x v=zzx0 w=" WX "\n"},
    {"b0x10 extends by 0", "#0 b0x10 \"\n", "0 a=x v=0x10 w=" WX "\n"},
    {"capitals", "#0 BX1Z0 \" Z!\n", "0 a=z v=x1z0 w=" WX "\n"},
    {"several changes on the time's line", "#5 1! b1 \"\n#6 0!\n",
     "5 a=1 v=0001 w=" WX "\n6 a=0 v=0001 w=" WX "\n"},
    {"reals and events are skipped", "#0 r1.5e3 r 1e 1!\n", "0 a=1 v=xxxx w=" WX "\n"},
    {"values before the first time are at 0", "$dumpvars 1! $end #3 0!\n",
     "0 a=1 v=xxxx w=" WX "\n3 a=0 v=xxxx w=" WX "\n"},
    {"no blank between value and code", "#0 b101\"\n", "0 a=x v=0101 w=" WX "\n"},
    {"the same time twice is one moment", "#4 1!\n#4 b1 \"\n", "4 a=1 v=0001 w=" WX "\n"},
    {"a change and back within a moment is none", "#1 0!\n#2 1!\n0!\n", "1 a=0 v=xxxx w=" WX "\n"},
    {"comments in the body", "#0 $comment 1! #9 $end 0!\n", "0 a=0 v=xxxx w=" WX "\n"},
    {"a comment whose end is glued", "#0 $comment late$end 1!\n", "0 a=1 v=xxxx w=" WX "\n"},
    {"a vector of more than 64 bits", "#0 b0 w b1 \"\n", "0 a=x v=0001 w=" W0 "\n"},
};

static void check_good(void **state)
{
  const row *r = *state;
  /* Long enough a tail that the fast way is taken as well. */
  char text[4096];
  for (int tail = 0; tail < 2; tail++) {
    int n = snprintf(text, sizeof text, "%s%s%s%*s", HEAD, r->body, tail ? "$comment" : "", tail ? 300 : 0, "");
    n += snprintf(text + n, sizeof text - (size_t)n, tail ? " $end\n" : "");
    for (size_t piece = 0; piece < 20; piece++) {
      caplog l;
      caplog_read(&l, text, (size_t)n, piece, 0);
      assert_int_equal(l.status, LU_OK);
      assert_string_equal(l.text, r->steps);
      caplog_free(&l);
    }
  }
}

typedef struct bad {
  const char *name, *text;
  lu_status status;
  uint32_t line, column;
  const char *part; /* of the message */
} bad;

static const bad bads[] = {
    {"an undeclared code", HEAD "#0\n1?\n", LU_ERR_SYNTAX, 3, 2, "declared identifier code, found '?'"},
    {"an undeclared vector's code", HEAD "#0\nb1 ?\n", LU_ERR_SYNTAX, 3, 4, "found '?'"},
    {"a value without a code", HEAD "#0\n1 !\n", LU_ERR_SYNTAX, 3, 2, "right after the value"},
    {"time going backwards", HEAD "#7\n1!\n#6\n", LU_ERR_VALUE, 4, 1, "6 after 7"},
    {"a vector wider than declared", HEAD "#0\nb10101 \"\n", LU_ERR_VALUE, 3, 8, "at most 4 digits for v, found 5"},
    {"a vector wider than any", HEAD "#0\nb" W0 "00 \"\n", LU_ERR_VALUE, 3, 1, "found 67"},
    {"no $enddefinitions", "$var wire 1 ! a $end\n#0\n1!\n", LU_ERR_SYNTAX, 2, 1, "expected $enddefinitions"},
    {"the end instead of $enddefinitions", "$var wire 1 ! a $end\n", LU_ERR_SYNTAX, 2, 1, "the end of the capture"},
    {"binary in the body", HEAD "#0\n\x01\x02\x80\n", LU_ERR_SYNTAX, 3, 1, "expected a time, a value"},
    {"a control character after a code", HEAD "#0\n1!\x01\n", LU_ERR_SYNTAX, 3, 2, "declared"},
    {"a declaration in the body", HEAD "#0\n$var wire 1 % b $end\n", LU_ERR_SYNTAX, 3, 1, "$dumpvars"},
    {"a $end without its command", HEAD "#0\n$end\n", LU_ERR_SYNTAX, 3, 1, "without a command"},
    {"a time that is no number", HEAD "#1x\n", LU_ERR_SYNTAX, 2, 1, "time below 2^63"},
    {"a time past 2^63", HEAD "#9223372036854775808\n", LU_ERR_SYNTAX, 2, 1, "below 2^63"},
    {"digits for a real", HEAD "#0\nb1 r\n", LU_ERR_VALUE, 3, 4, "real number"},
    {"a real for digits", HEAD "#0\nr1 !\n", LU_ERR_VALUE, 3, 4, "expected digits for a"},
    {"a type that is none", "$var wier 1 ! a $end\n", LU_ERR_SYNTAX, 1, 17, "found 'wier'"},
    {"no width", "$var wire 0 ! a $end\n", LU_ERR_VALUE, 1, 17, "size of 1 to"},
    {"too few words", "$var wire 1 $end\n", LU_ERR_SYNTAX, 1, 13, "found 2 words"},
    {"an upscope too many", "$upscope $end\n", LU_ERR_SYNTAX, 1, 10, "without an open"},
    {"a code with two widths", "$var wire 1 ! a $end\n$var wire 2 ! b $end\n", LU_ERR_VALUE, 2, 17, "line 1"},
    {"a timescale of 7", "$timescale 7ns $end\n", LU_ERR_SYNTAX, 1, 16, "1, 10 or 100"},
    {"a declaration that is not closed", "$scope module t\n$var wire 1 ! a $end\n", LU_ERR_SYNTAX, 2, 1, "$end for the $scope"},
};

static void check_bad(void **state)
{
  const bad *b = *state;
  for (size_t piece = 0; piece < 30; piece++) {
    caplog l;
    caplog_read(&l, b->text, strlen(b->text), piece, 0);
    assert_int_equal(l.status, b->status);
    assert_int_equal(l.err.line, b->line);
    assert_int_equal(l.err.column, b->column);
    if (!strstr(l.err.message, b->part))
      fail_msg("'%s' lacks '%s'", l.err.message, b->part);
    caplog_free(&l);
  }
}

static uint64_t draw(uint64_t *seed)
{
  *seed = *seed * 6364136223846793005u + 1442695040888963407u;
  return *seed >> 33;
}

/* A long random capture with times of 1 to 15 digits. */
static char *random_capture(size_t signals, size_t *len)
{
  static const char *const codes[] = {"!", "ab", "~", "abc", "abcd", "#"};
  static const unsigned widths[] = {1, 1, 16, 40, 1, 64};
  uint64_t seed = 20260117 + signals, time = 0;
  char *text;
  FILE *f = open_memstream(&text, len);
  fprintf(f, "$timescale 10 ns $end\n");
  for (size_t i = 0; i < signals; i++)
    fprintf(f, "$var wire %u %s s%zu $end\n", widths[i], codes[i], i);
  fprintf(f, "$enddefinitions $end\n#0\n");
  for (int i = 0; i < 20000; i++) {
    unsigned r = (unsigned)draw(&seed), k = r % signals;
    if (r >> 8 & 1)
      fprintf(f, "#%llu%c", (unsigned long long)(time += (r >> 9 & 3) + (i % 1000 ? 0 : time + 1 < 100000000000000u ? time * 5 : 0)),
              " \n"[r >> 11 & 1]);
    if (widths[k] == 1) {
      fprintf(f, "%c%s%c", "0101xz01"[r >> 12 & 7], codes[k], " \n"[r >> 15 & 1]);
      continue;
    }
    fputc('b', f);
    unsigned n = 1 + (r >> 12) % widths[k];
    bool plain = draw(&seed) & 1;
    for (unsigned d = 0; d < n; d++)
      fputc(plain || draw(&seed) % 4 ? "01"[draw(&seed) & 1] : "01xz"[draw(&seed) & 3], f);
    fprintf(f, " %s\n", codes[k]);
  }
  fclose(f);
  return text;
}

/* The fast way and the other one give the same steps: whole, and in pieces that are too short for the fast way.
 * The first four signals fit into one slot. */
static void both_ways_agree(void **state)
{
  (void)state;
  for (size_t signals = 1; signals <= 6; signals++) {
    size_t len;
    char *text = random_capture(signals, &len);
    caplog whole, pieces;
    caplog_read(&whole, text, len, 0, 0);
    caplog_read(&pieces, text, len, 61, 0);
    assert_int_equal(whole.status, LU_OK);
    assert_int_equal(pieces.status, LU_OK);
    assert_true(whole.steps > 1000);
    assert_string_equal(whole.text, pieces.text);
    caplog_free(&whole);
    caplog_free(&pieces);
    free(text);
  }
}

/* What is wrong in the middle of a long capture is found at the same place by both. */
static void both_ways_refuse(void **state)
{
  (void)state;
  static const char *const wrong[] = {"#%llu\n", "#12a4\n", "#\n", "1?\n", "b0101010101010101010101010101010101010101010101010 ~\n",
                                      "b ~\n", "b01 %%\n", "b012 ~\n", "01!\n", "#99999999999999999999\n",
                                      "#90000000000001:\n", "#9000000000000\xca\n", "1!\x01\n", "1!1!\n", "z?\n", "z! z? z! z!\n",
                                      "2!\n", "#900000000000018 1? #900000000000019\n", "#900000000000018\n0!\n#900000000000018x\n"};
  for (size_t i = 0; i < sizeof wrong / sizeof *wrong; i++) {
    size_t len, full;
    char *text = random_capture(3, &len), *both;
    FILE *f = open_memstream(&both, &full);
    fwrite(text, 1, len, f);
    fprintf(f, "\n#%llu 1! 0! 1! 0! #%llu\n", 900000000000000ull, 900000000000017ull);
    fprintf(f, wrong[i], 900000000000016ull);
    for (int n = 0; n < 50; n++)
      fprintf(f, "1! 0!\n");
    fclose(f);
    caplog whole, pieces;
    caplog_read(&whole, both, full, 0, 0);
    caplog_read(&pieces, both, full, 61, 0);
    if (whole.status == LU_OK)
      fail_msg("accepted: %s", wrong[i]);
    assert_int_equal(whole.status, pieces.status);
    assert_int_equal(whole.err.line, pieces.err.line);
    assert_int_equal(whole.err.column, pieces.err.column);
    assert_string_equal(whole.err.message, pieces.err.message);
    assert_string_equal(whole.text, pieces.text);
    caplog_free(&whole);
    caplog_free(&pieces);
    free(text);
    free(both);
  }
}

/* More slots than one level of the record of changes holds. */
static void many_signals(void **state)
{
  (void)state;
  char *text;
  size_t len;
  FILE *f = open_memstream(&text, &len);
  for (int i = 0; i < 600; i++)
    fprintf(f, "$var wire 64 c%d s%d $end\n", i, i);
  fprintf(f, "$enddefinitions $end\n#0\n");
  for (int i = 0; i < 600; i++)
    fprintf(f, "#%d\nb%d%d%d c%d\n", i + 1, i % 2, i / 2 % 2, 1, i);
  fclose(f);
  caplog l;
  caplog_read(&l, text, len, 0, 0);
  assert_int_equal(l.status, LU_OK);
  assert_int_equal(l.steps, 600);
  assert_int_equal(l.end, 600);
  caplog_free(&l);
  free(text);
}

static void no_memory(void **state)
{
  (void)state;
  for (size_t n = 1; n < 200; n++) {
    lu_arena mem = {.fail_from = n};
    lu_err err = {0};
    lu_capreader r = {.mem = &mem};
    lu_status s = lu_capreader_feed(&r, (lu_bytes){(const uint8_t *)standard, sizeof standard - 1}, &err);
    if (s == LU_OK)
      s = lu_capreader_end(&r, &err);
    lu_arena_free(&mem);
    if (s == LU_OK)
      return;
    assert_int_equal(s, LU_ERR_NOMEM);
  }
  fail_msg("never succeeded");
}

static void cut_captures_say_so(void **state)
{
  (void)state;
  static const struct {
    const char *body, *part;
  } rows[] = {{"#0 1! #1 0", "last word '0' has no end"},
              {"#0 1! b101\n", "last value has no code"},
              {"#0 $dumpvars 1!\n", "inside the dump that begins on line 2"},
              {"#0 1! $comment abc\n", "inside a comment"}};
  for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
    char text[1024];
    int n = snprintf(text, sizeof text, "%s%s", HEAD, rows[i].body);
    caplog l;
    caplog_read(&l, text, (size_t)n, 0, 0);
    assert_int_equal(l.status, LU_OK);
    assert_int_equal(l.reader.notes.count, 1);
    assert_non_null(strstr(l.reader.notes.at[0].text, rows[i].part));
    assert_true(l.reader.notes.at[0].line >= 2);
    assert_non_null(strstr(l.text, "a=1"));
    caplog_free(&l);
  }
}

int main(void)
{
  enum { GOOD = sizeof good / sizeof *good, BAD = sizeof bads / sizeof *bads };
  struct CMUnitTest tests[GOOD + BAD + 8];
  size_t n = 0;
  for (size_t i = 0; i < GOOD; i++)
    tests[n++] = (struct CMUnitTest){.name = good[i].name, .test_func = check_good, .initial_state = (void *)&good[i]};
  for (size_t i = 0; i < BAD; i++)
    tests[n++] = (struct CMUnitTest){.name = bads[i].name, .test_func = check_bad, .initial_state = (void *)&bads[i]};
  tests[n++] = (struct CMUnitTest)cmocka_unit_test(the_standards_example);
  tests[n++] = (struct CMUnitTest)cmocka_unit_test(every_prefix);
  tests[n++] = (struct CMUnitTest)cmocka_unit_test(both_ways_agree);
  tests[n++] = (struct CMUnitTest)cmocka_unit_test(both_ways_refuse);
  tests[n++] = (struct CMUnitTest)cmocka_unit_test(many_signals);
  tests[n++] = (struct CMUnitTest)cmocka_unit_test(no_memory);
  tests[n++] = (struct CMUnitTest)cmocka_unit_test(cut_captures_say_so);
  return _cmocka_run_group_tests("vcd", tests, n, NULL, NULL);
}
