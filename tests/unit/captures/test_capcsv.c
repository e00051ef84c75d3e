/* SPDX-License-Identifier: MIT */
/* Captures as tables. No standard fixes the form: expected values by hand from docs/captures.md. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>

#include <cmocka.h>

#include "caplog.h"

typedef struct row {
  const char *name, *text, *steps;
  double tick_s;
} row;

static const row good[] = {
    {"seconds, on change", "Time [s],A0,A1\n0,0,1\n1e-6,1,\n0.0000025,,0\n",
     "0 A0=0 A1=1\n1000000 A0=1 A1=1\n2500000 A0=1 A1=0\n", 1e-12},
    {"nanoseconds after a semicolon", "time_ns;RD;WR\n10;1;1\n20.5;0;1\n", "10000 RD=1 WR=1\n20500 RD=0 WR=1\n", 1e-12},
    {"times before a trigger", "t (us)\tRD\n-1.5\t1\n0\t0\n", "-1500000 RD=1\n0 RD=0\n", 1e-12},
    {"samples without a rate", "sample,RD\n0,1\n1,1\n2,0\n", "0 RD=1\n2 RD=0\n", 0},
    {"a bus in hex", "n,D[7:0],A[3]\n0,1f,0\n1,0xA5,1\n2,0b00000110,x\n3,z1,1\n",
     "0 D=00011111 A=0\n1 D=10100101 A=1\n2 D=00000110 A=x\n3 D=zzzz0001 A=1\n", 0},
    {"quotes, blanks, line ends of two characters", "\"time (ms)\" , \"RD\" \r\n 0 , 1 \r\n1, 0,\r\n", "0 RD=1\n1000000000 RD=0\n", 1e-12},
    {"remarks and blank lines before the header", "# tide recorder\n\nsample,a\n0,1\n\n1,0\n", "0 a=1\n1 a=0\n", 0},
};

static void check_good(void **state)
{
  const row *r = *state;
  for (size_t piece = 0; piece < 12; piece++) {
    caplog l;
    caplog_read(&l, r->text, strlen(r->text), piece, 0);
    assert_int_equal(l.status, LU_OK);
    assert_string_equal(l.text, r->steps);
    assert_true(l.cap->tick_s == r->tick_s);
    assert_int_equal(l.reader.notes.count, 0);
    caplog_free(&l);
  }
}

typedef struct bad {
  const char *name, *text;
  lu_status status;
  uint32_t line, column;
  const char *part;
} bad;

static const bad bads[] = {
    {"no time first", "RD,WR\n1,1\n", LU_ERR_SYNTAX, 1, 1, "found 'RD'"},
    {"no signals", "time\n1\n", LU_ERR_SYNTAX, 1, 1, "expected signals"},
    {"a level that is none", "time,a\n0,2\n", LU_ERR_VALUE, 2, 3, "found '2'"},
    {"too wide a value", "time,a[3:0]\n0,1f\n", LU_ERR_VALUE, 2, 3, "fits the range"},
    {"too few columns", "time,a,b\n0,1\n", LU_ERR_SYNTAX, 2, 4, "expected 3 columns, found 2"},
    {"too many columns", "time,a\n0,1,1\n", LU_ERR_SYNTAX, 2, 5, "found more"},
    {"time going backwards", "time,a\n5,1\n4,0\n", LU_ERR_VALUE, 3, 1, "backwards"},
    {"a time that is no number", "time,a\nx5,1\n", LU_ERR_SYNTAX, 2, 1, "expected a time, found 'x5'"},
    {"a time that does not fit", "time,a\n99999999999,1\n", LU_ERR_SYNTAX, 2, 1, "expected a time"},
    {"two columns of one name", "time,a,a\n0,1,1\n", LU_ERR_VALUE, 1, 8, "titled 'a'"},
    {"a title left out", "time,,a\n0,1,1\n", LU_ERR_SYNTAX, 1, 6, "column 2"},
    {"a unit that is none", "time [fortnights],a\n0,1\n", LU_ERR_SYNTAX, 1, 1, "first column titled time"},
    {"nothing but a remark", "# time,\n", LU_ERR_SYNTAX, 1, 1, ""},
};

static void check_bad(void **state)
{
  const bad *b = *state;
  for (size_t piece = 0; piece < 12; piece++) {
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

static void a_rate_gives_samples_a_length(void **state)
{
  (void)state;
  caplog l;
  caplog_read(&l, "sample,a\n0,1\n", 13, 0, 24e6);
  assert_int_equal(l.status, LU_OK);
  assert_true(l.cap->tick_s > 41.66e-9 && l.cap->tick_s < 41.67e-9);
  assert_true(l.cap->sampled);
  caplog_free(&l);
}

static void a_cut_line_is_left_out(void **state)
{
  (void)state;
  caplog l;
  caplog_read(&l, "sample,a\n0,1\n1,0", 16, 0, 0);
  assert_int_equal(l.status, LU_OK);
  assert_string_equal(l.text, "0 a=1\n");
  assert_int_equal(l.reader.notes.count, 1);
  assert_int_equal(l.reader.notes.at[0].line, 3);
  caplog_free(&l);
}

int main(void)
{
  enum { GOOD = sizeof good / sizeof *good, BAD = sizeof bads / sizeof *bads };
  struct CMUnitTest tests[GOOD + BAD + 2];
  size_t n = 0;
  for (size_t i = 0; i < GOOD; i++)
    tests[n++] = (struct CMUnitTest){.name = good[i].name, .test_func = check_good, .initial_state = (void *)&good[i]};
  for (size_t i = 0; i < BAD; i++)
    tests[n++] = (struct CMUnitTest){.name = bads[i].name, .test_func = check_bad, .initial_state = (void *)&bads[i]};
  tests[n++] = (struct CMUnitTest)cmocka_unit_test(a_rate_gives_samples_a_length);
  tests[n++] = (struct CMUnitTest)cmocka_unit_test(a_cut_line_is_left_out);
  return _cmocka_run_group_tests("capcsv", tests, n, NULL, NULL);
}
