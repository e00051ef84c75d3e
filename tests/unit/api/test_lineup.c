/* SPDX-License-Identifier: MIT */
/* The public library: files on the disk and in memory, with and without a board, errors as texts. */
#include "api/lineup.h"
#include "base/io.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <stdio.h>
#include <string.h>

#define DEMO LU_TOP "/docs/demo/"

static int set_up(void **state)
{
  *state = lineup_new();
  return *state ? 0 : -1;
}

static int tear_down(void **state)
{
  lineup_free(*state);
  return 0;
}

static void fine(lineup *l, lineup_status s)
{
  if (s)
    print_error("%s\n", lineup_error(l));
  assert_int_equal(s, LINEUP_OK);
  assert_string_equal(lineup_error(l), "");
}

static void bad(lineup *l, lineup_status got, lineup_status want, const char *part)
{
  assert_int_equal(got, want);
  if (!strstr(lineup_error(l), part))
    print_error("'%s' is not in: %s\n", part, lineup_error(l));
  assert_non_null(strstr(lineup_error(l), part));
}

static lineup_request request(const char *const *dump, const char *block, const char *expect)
{
  return (lineup_request){.size = sizeof(lineup_request), .dumps = dump, .dump_count = 1, .block = block, .expect = expect};
}

/* The demo's boot ROM: a leg of U2 out of its contact, known from the Verilog model that made the dump. */
static void check_boot(const lineup_result *r)
{
  assert_int_equal(r->verdict, LINEUP_FAULTY);
  assert_int_equal(r->words, 32768);
  assert_int_equal(r->width, 16);
  assert_int_equal(r->passes, 1);
  assert_true(r->singles_done);
  assert_string_equal(r->suspects[0]->net, "BA10");
  assert_null(r->suspects[0]->part);
  assert_true(r->suspects[0]->probability > 0.9);
  assert_string_equal(r->suspects[0]->pins[0]->pin, "U2.24");
  assert_true(strlen(r->suspects[0]->why) > 0 && strlen(r->reason) > 0);
  assert_string_equal(r->explanations[0]->faults[0]->kind, "open");
  assert_string_equal(r->explanations[0]->faults[0]->cut_off[0], "U2.24");
  assert_true(r->explanations[0]->explained > 0.999);
  assert_true(r->symptom_count > 0);
}

static void test_files(void **state)
{
  lineup *l = *state;
  static const char *const dump[] = {DEMO "found-boot.bin"}, *const good[] = {DEMO "tide-rom.bin"};
  lineup_request q = request(dump, "boot ROM", DEMO "tide-rom.bin");
  lineup_result *r, *again;
  fine(l, lineup_board(l, DEMO "tide.yaml"));
  fine(l, lineup_decode(l, &q, &r));
  check_boot(r);
  q.dumps = good;
  fine(l, lineup_decode(l, &q, &again));
  assert_int_equal(again->verdict, LINEUP_CLEAN);
  assert_int_equal(again->suspect_count, 0);
  lineup_result_free(again);
  q.dumps = dump;
  fine(l, lineup_decode(l, &q, &again));
  check_boot(again);
  assert_int_equal(again->note_count, r->note_count); /* a call leaves nothing behind */
  lineup_result_free(again);
  lineup_free(l);
  *state = NULL;
  check_boot(r); /* a result outlives its handle */
  lineup_result_free(r);
}

static void test_many_calls_open_no_more_files(void **state)
{
  lineup *l = *state;
  static const char *const dump[] = {DEMO "found-boot.bin"};
  lineup_request q = request(dump, "boot ROM", "address");
  fine(l, lineup_board(l, DEMO "tide.yaml"));
  for (unsigned i = 0; i < 700; i++) { /* more than a session has files */
    lineup_result *r;
    q.block = "no such block";
    bad(l, lineup_decode(l, &q, &r), LINEUP_BAD_INPUT, "no block 'no such block'");
  }
}

static void test_memory(void **state)
{
  lineup *l = *state;
  static const char *const names[] = {"tide.yaml", "tide.net", "tide.d356", "tide-rom.bin", "found-boot.bin"};
  lu_file files[5];
  char name[40];
  lu_err err;
  for (size_t i = 0; i < 5; i++) {
    char path[400];
    snprintf(path, sizeof path, DEMO "%s", names[i]);
    assert_int_equal(lu_file_open(path, 0, &files[i], &err), LU_OK);
    snprintf(name, sizeof name, "nowhere/%s", names[i]);
    fine(l, lineup_give(l, name, files[i].bytes.at, files[i].bytes.len));
  }
  fine(l, lineup_board(l, "nowhere/tide.yaml"));
  static const char *const dump[] = {"nowhere/found-boot.bin"};
  lineup_request q = request(dump, "boot ROM", "nowhere/tide-rom.bin");
  lineup_result *r;
  fine(l, lineup_decode(l, &q, &r));
  check_boot(r);
  lineup_result_free(r);
  fine(l, lineup_give(l, "nowhere/found-boot.bin", files[3].bytes.at, files[3].bytes.len));
  fine(l, lineup_decode(l, &q, &r));
  assert_int_equal(r->verdict, LINEUP_CLEAN);
  lineup_result_free(r);
  for (size_t i = 0; i < 5; i++)
    lu_file_close(&files[i]);
}

/* Address bit 3 dead after an ascending fill, 8 bits wide: the later of two addresses is in both. */
static void test_without_a_board(void **state)
{
  lineup *l = *state;
  uint8_t written[256], dump[256];
  uint32_t x = 1;
  for (unsigned i = 0; i < sizeof written; i++) {
    x = x * 1664525u + 1013904223u; /* Numerical Recipes' generator, from memory */
    written[i] = (uint8_t)(x >> 24);
  }
  for (unsigned i = 0; i < sizeof dump; i++)
    dump[i] = written[i | 8];
  fine(l, lineup_give(l, "dump", dump, sizeof dump));
  fine(l, lineup_give(l, "written", written, sizeof written));
  static const char *const names[] = {"dump"};
  lineup_request q = {.size = sizeof q, .dumps = names, .dump_count = 1, .wrote = "written"};
  lineup_result *r;
  fine(l, lineup_decode(l, &q, &r));
  assert_int_equal(r->verdict, LINEUP_FAULTY);
  assert_int_equal(r->words, 256);
  assert_string_equal(r->suspects[0]->net, "A3");
  lineup_result_free(r);
}

static void test_run_file(void **state)
{
  lineup *l = *state;
  lineup_result *r;
  bad(l, lineup_decode_run(l, DEMO "as-found.yaml", &r), LINEUP_BAD_INPUT, "needs a board");
  fine(l, lineup_board(l, DEMO "tide.yaml"));
  fine(l, lineup_decode_run(l, DEMO "as-found.yaml", &r));
  bool boot = false, record = false;
  for (size_t i = 0; i < r->suspect_count && i < 2; i++) {
    boot |= r->suspects[i]->net && !strcmp(r->suspects[i]->net, "BA10");
    record |= r->suspects[i]->net && !strcmp(r->suspects[i]->net, "DRA3");
  }
  assert_true(boot && record);
  lineup_result_free(r);
}

static void test_errors_are_texts(void **state)
{
  lineup *l = *state;
  static const char *const dump[] = {DEMO "found-boot.bin"}, *const none[] = {"no-such.bin"}, *const null[] = {NULL};
  static const char broken[] = "title: x\nnets: [\n";
  lineup_result *r = NULL;
  bad(l, lineup_board(l, NULL), LINEUP_BAD_INPUT, "a board file is needed");
  assert_true(lineup_board(l, "no-such.yaml") >= LINEUP_BAD_INPUT);
  assert_non_null(strstr(lineup_error(l), "no-such.yaml: "));
  fine(l, lineup_give(l, "b.yaml", broken, sizeof broken - 1));
  bad(l, lineup_board(l, "b.yaml"), LINEUP_BAD_INPUT, "b.yaml:");
  fine(l, lineup_board(l, DEMO "tide.yaml"));
  assert_true(lineup_board(l, "b.yaml") == LINEUP_BAD_INPUT); /* the board before stays */
  lineup_request q = request(dump, "boot ROM", DEMO "tide-rom.bin");
  fine(l, lineup_decode(l, &q, &r));
  check_boot(r);
  lineup_result_free(r);
  r = NULL;
  q.block = "boot RAM";
  bad(l, lineup_decode(l, &q, &r), LINEUP_BAD_INPUT, "the nearest is 'boot ROM'");
  q.block = "boot ROM";
  q.wrote = "address";
  bad(l, lineup_decode(l, &q, &r), LINEUP_BAD_INPUT, "either contents");
  q.wrote = NULL;
  q.expect = "no-such-pattern";
  bad(l, lineup_decode(l, &q, &r), LINEUP_BAD_INPUT, "neither a file nor a pattern");
  q.expect = NULL;
  q.dumps = none;
  assert_true(lineup_decode(l, &q, &r) >= LINEUP_BAD_INPUT);
  q.dumps = null;
  bad(l, lineup_decode(l, &q, &r), LINEUP_BAD_INPUT, "dump 1 of 1 has no name");
  q.dump_count = 0;
  bad(l, lineup_decode(l, &q, &r), LINEUP_BAD_INPUT, "either dumps or a log");
  q.dump_count = 1000;
  bad(l, lineup_decode(l, &q, &r), LINEUP_BAD_INPUT, "at most 256");
  q.size = 3;
  bad(l, lineup_decode(l, &q, &r), LINEUP_BAD_INPUT, "size");
  bad(l, lineup_decode(l, NULL, &r), LINEUP_BAD_INPUT, "size");
  bad(l, lineup_give(l, "", broken, 1), LINEUP_BAD_INPUT, "needs a name");
  assert_null(r);
  lineup_free(NULL);
  lineup_result_free(NULL);
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test_setup_teardown(test_files, set_up, tear_down),
      cmocka_unit_test_setup_teardown(test_many_calls_open_no_more_files, set_up, tear_down),
      cmocka_unit_test_setup_teardown(test_memory, set_up, tear_down),
      cmocka_unit_test_setup_teardown(test_without_a_board, set_up, tear_down),
      cmocka_unit_test_setup_teardown(test_run_file, set_up, tear_down),
      cmocka_unit_test_setup_teardown(test_errors_are_texts, set_up, tear_down),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
