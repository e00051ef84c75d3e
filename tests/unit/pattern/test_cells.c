/* SPDX-License-Identifier: MIT */
/* Cell fault models against published figures. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#include "pattern/builtin.h"
#include "pattern/cells.h"
#include "coverage_table.h"

static lu_arena mem;

static const lu_pattern *pattern(const char *name)
{
  for (size_t i = 0; i < lu_pattern_file_count; i++)
    if (!strcmp(lu_pattern_files[i].name, name)) {
      lu_pattern *p = NULL;
      assert_int_equal(lu_pattern_read(lu_pattern_files[i].text, &mem, &p, NULL), LU_OK);
      return p;
    }
  fail_msg("no pattern %s", name);
  return NULL;
}

static unsigned model(const char *name)
{
  for (unsigned m = 0; m < LU_CELL_MODELS; m++)
    if (!strcmp(lu_cell_models()[m].name, name))
      return m;
  fail_msg("no model %s", name);
  return 0;
}

static lu_cell_coverage cover(const char *test, const char *name)
{
  lu_cell_coverage all[LU_CELL_MODELS];
  assert_int_equal(lu_cells_coverage(pattern(test), &mem, all, NULL), LU_OK);
  lu_cell_coverage c = all[model(name)];
  assert_int_equal(c.total, lu_cell_models()[model(name)].faults);
  return c;
}

static int free_memory(void **state)
{
  (void)state;
  lu_arena_free(&mem);
  return 0;
}

/* Hamdioui, Al-Ars, van de Goor, "Testing static and dynamic faults in random access memories",
 * VTS 2002, Table 4, percent (as later documents quote it). */
static void dynamic_coverage_of_vts_2002(void **state)
{
  (void)state;
  static const char *const tests[] = {"mats-plus", "march-c-minus", "march-b",  "pmovi",
                                      "march-u",   "march-sr",      "march-la", "march-lr"};
  static const struct {
    const char *model;
    double percent[8];
  } rows[] = {
    {"dRDF", {0, 0, 50, 50, 50, 50, 50, 50}},
    {"dDRDF", {0, 0, 0, 50, 0, 0, 50, 0}},
    {"dIRF", {0, 0, 50, 50, 50, 50, 50, 50}},
    {"dCFds-transition", {0, 0, 50, 87.5, 50, 50, 100, 50}},
    {"dCFds-nontransition", {0, 0, 0, 0, 0, 0, 0, 0}},
    {"dCFrd", {0, 0, 25, 50, 25, 25, 50, 25}},
    {"dCFdrd", {0, 0, 0, 37.5, 0, 0, 50, 0}},
    {"dCFir", {0, 0, 25, 50, 25, 25, 50, 25}},
  };
  for (size_t t = 0; t < 8; t++)
    for (size_t r = 0; r < 8; r++) {
      lu_cell_coverage c = cover(tests[t], rows[r].model);
      assert_true(c.detected * 100.0 / c.total == rows[r].percent[t]);
    }
}

/* March SS: "detects all static simple faults", MTDT 2002, abstract; March MSS: the same in 18n,
 * VTS 2005 (from memory); March RAW: VTS 2002. 12 one-cell and 72 two-cell primitives. */
static void complete_tests_are_complete(void **state)
{
  (void)state;
  static const char *const statics[] = {"SF",   "TF",   "WDF",  "RDF",   "DRDF",  "IRF",  "CFst",
                                        "CFds", "CFtr", "CFwd", "CFrd",  "CFdrd", "CFir"};
  static const char *const tests[] = {"march-ss", "march-mss", "march-raw", "march-ab", "march-sl"};
  for (size_t t = 0; t < 5; t++) {
    unsigned detected = 0, total = 0;
    for (size_t m = 0; m < 13; m++) {
      lu_cell_coverage c = cover(tests[t], statics[m]);
      detected += c.detected;
      total += c.total;
    }
    assert_int_equal(total, 84);
    assert_int_equal(detected, 84);
  }
  static const char *const dynamic[] = {"dRDF", "dDRDF", "dIRF", "dCFds-transition",
                                        "dCFds-nontransition", "dCFrd", "dCFdrd", "dCFir"};
  for (size_t m = 0; m < 8; m++) {
    lu_cell_coverage c = cover("march-raw", dynamic[m]);
    assert_int_equal(c.detected, c.total);
  }
}

/* Claims of the literature, with the place they are from. */
static void published_claims(void **state)
{
  (void)state;
  static const struct {
    const char *test, *model;
    unsigned detected;
  } rows[] = {
    /* van de Goor, IEEE Design and Test 10(1), 1993: March C- */
    {"march-c-minus", "SAF", 2}, {"march-c-minus", "TF", 2}, {"march-c-minus", "CFin", 4},
    {"march-c-minus", "CFid", 8}, {"march-c-minus", "CFst", 8}, {"march-c-minus", "AF-B", 8},
    {"march-c-minus", "AF-C", 2}, {"march-c-minus", "AF-D", 4}, {"march-c-minus", "AF-D2", 2},
    {"march-c-minus", "SOF-read-latch", 0}, {"march-c-minus", "WDF", 0}, {"march-c-minus", "DRDF", 0},
    /* the same work, from memory: who sees stuck-open cells */
    {"mats-plus-plus", "SOF-read-latch", 1}, {"march-y", "SOF-read-latch", 1},
    {"march-b", "SOF-read-latch", 1}, {"march-x", "SOF-read-latch", 0},
    {"march-a", "SOF-read-latch", 0},
    /* van de Goor 1991, from memory: MATS+ sees all address faults */
    {"mats-plus", "AF-A float-const", 2}, {"mats-plus", "AF-B", 8}, {"mats-plus", "AF-C", 2},
    {"mats-plus", "AF-D", 4}, {"mats-plus", "AF-D2", 2},
    /* Nair 1979, from memory: MATS must match the memory's wiring */
    {"mats-or", "AF-D", 2}, {"mats-and", "AF-D", 2},
    /* Suk, Reddy 1981, from memory: A sees linked CFid, B also TF linked with CFin */
    {"march-a", "linked CFid-CFid 2-aggr", 24}, {"march-b", "linked CFid-CFid 2-aggr", 24},
    {"march-a", "linked TF-CFin", 7}, {"march-b", "linked TF-CFin", 8},
    /* VTS 1996, abstract: March LR sees realistic linked faults */
    {"march-lr", "linked CFid-CFid 2-aggr", 24}, {"march-lr", "linked CFin-CFid 2-aggr", 48},
    {"march-lr", "linked TF-CFid", 16}, {"march-lr", "linked TF-CFin", 8},
    /* tables list PMOVI as not complete for CFid */
    {"pmovi", "CFid", 7},
    /* March G adds leaks and open cells to March B (van de Goor 1991, from memory) */
    {"march-g", "DRF", 2}, {"march-g", "SOF-read-latch", 1}, {"ifa-9", "DRF", 2},
    {"ifa-13", "DRF", 2}, {"ifa-13", "SOF-read-latch", 1}, {"march-ud", "DRF", 2},
    /* van de Goor, Gaydadjiev, MTDT 1997: widely used tests that miss address faults */
    {"march-sr", "AF-C", 0}, {"march-raw1", "AF-C", 0}, {"march-ab1", "AF-C", 0},
  };
  for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
    lu_cell_coverage c = cover(rows[i].test, rows[i].model);
    if (c.detected != rows[i].detected)
      fail_msg("%s %s: %u of %u, published %u", rows[i].test, rows[i].model, c.detected, c.total,
               rows[i].detected);
  }
}

/* No march test sees all linked inversion faults (van de Goor 1991, from memory): march elements
 * in one address order, that is; two orders do see more. */
static void nobody_sees_all_linked_inversions(void **state)
{
  (void)state;
  for (size_t i = 0; i < lu_pattern_file_count; i++) {
    lu_arena here = {0};
    lu_pattern *p = NULL;
    lu_cell_coverage all[LU_CELL_MODELS];
    assert_int_equal(lu_pattern_read(lu_pattern_files[i].text, &here, &p, NULL), LU_OK);
    assert_int_equal(lu_cells_coverage(p, &here, all, NULL), LU_OK);
    uint64_t k, wait_us;
    bool march = lu_pattern_length(p, &k, &wait_us);
    for (size_t o = 0; o < p->order_count; o++)
      march &= p->orders[o] == LU_ORDER_LINEAR;
    if (march && all[model("linked CFin-CFin 2-aggr")].detected > 8)
      fail_msg("%s", p->name);
    lu_arena_free(&here);
  }
}

/* 30 tests, 44 models: every figure. */
static void every_test_and_model(void **state)
{
  (void)state;
  size_t figures = 0;
  assert_int_equal(sizeof table_models / sizeof *table_models, LU_CELL_MODELS);
  assert_int_equal(sizeof table_tests / sizeof *table_tests, 30);
  for (size_t t = 0; t < sizeof table_tests / sizeof *table_tests; t++) {
    char test[64];
    int at = 0, used;
    lu_cell_coverage all[LU_CELL_MODELS];
    assert_int_equal(sscanf(table_tests[t], "%63[^:]:%n", test, &at), 1);
    assert_int_equal(lu_cells_coverage(pattern(test), &mem, all, NULL), LU_OK);
    for (size_t m = 0; m < LU_CELL_MODELS; m++) {
      unsigned detected, best, total;
      char name[64];
      assert_int_equal(sscanf(table_tests[t] + at, " %u%n", &detected, &used), 1);
      at += used;
      best = detected;
      if (table_tests[t][at] == '(') {
        assert_int_equal(sscanf(table_tests[t] + at, "(%u)%n", &best, &used), 1);
        at += used;
      }
      size_t len = strlen(table_models[m]);
      while (table_models[m][len] != ' ')
        len--;
      snprintf(name, sizeof name, "%.*s", (int)len, table_models[m]);
      total = (unsigned)atoi(table_models[m] + len);
      lu_cell_coverage c = all[model(name)];
      if (c.detected != detected || c.total != total || c.best != best)
        fail_msg("%s %s: %u (%u) of %u, expected %u (%u) of %u", test, name, c.detected, c.best, c.total, detected, best, total);
      figures++;
    }
    assert_int_equal(table_tests[t][at], 0);
  }
  assert_int_equal(figures, 1320);
}

/* The k of kn (and the delays) as published with each test; sources in the pattern files. */
static void published_lengths(void **state)
{
  (void)state;
  static const struct {
    const char *name;
    unsigned k, delays;
  } rows[] = {
    {"mats-or", 4, 0},       {"mats-and", 4, 0},     {"mats-plus", 5, 0},  {"mats-plus-plus", 6, 0},
    {"march-x", 6, 0},       {"march-y", 8, 0},      {"march-c", 11, 0},   {"march-c-minus", 10, 0},
    {"march-c-plus", 14, 0}, {"march-a", 15, 0},     {"march-b", 17, 0},   {"algorithm-b", 17, 0},
    {"pmovi", 13, 0},        {"march-1-0", 14, 0},   {"ifa-9", 12, 2},     {"ifa-13", 16, 2},
    {"march-g", 23, 2},      {"march-u", 13, 0},     {"march-ud", 13, 2},  {"march-lr", 14, 0},
    {"march-sr", 14, 0},     {"march-la", 22, 0},    {"march-m", 16, 0},   {"march-ss", 22, 0},
    {"march-mss", 18, 0},    {"march-raw1", 13, 0},  {"march-raw", 26, 0}, {"march-ab", 22, 0},
    {"march-ab1", 11, 0},    {"march-sl", 41, 0},
  };
  for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
    uint64_t k, wait_us;
    assert_true(lu_pattern_length(pattern(rows[i].name), &k, &wait_us));
    assert_int_equal(k, rows[i].k);
    assert_int_equal(wait_us, rows[i].delays * LU_PATTERN_WAIT_USUAL_US);
  }
}

/* Syndromes of March C-: the reads up r0, up r1, down r0, down r1, any r0 (run up), worked out by
 * hand from the definitions; first read = first character. Where two are given, the power-up
 * content decides. */
static void syndromes_of_march_c_minus(void **state)
{
  (void)state;
  static const struct {
    const char *model, *fault, *syndrome[2];
  } rows[] = {
    {"SAF", "<1/0/->", {"01010"}},
    {"SAF", "<0/1/->", {"10101"}},
    {"TF", "<0w1/0/->", {"01010"}},
    {"TF", "<1w0/1/->", {"00101", "10101"}},
    {"RDF", "<0r0/1/1>", {"10101"}},
    {"RDF", "<1r1/0/0>", {"01010"}},
    {"IRF", "<0r0/0/1>", {"10101"}},
    {"IRF", "<1r1/1/0>", {"01010"}},
    {"CFid", "<up; 0>, aggressor below", {"00010"}},
    {"CFid", "<up; 0>, aggressor above", {"01000"}},
    {"CFid", "<up; 1>, aggressor below", {"10000"}},
    {"CFid", "<up; 1>, aggressor above", {"00100"}},
    {"CFid", "<down; 0>, aggressor below", {"01000"}},
    {"CFid", "<down; 0>, aggressor above", {"00010"}},
    {"CFid", "<down; 1>, aggressor below", {"00001"}},
    {"CFid", "<down; 1>, aggressor above", {"00100", "10100"}},
    {"CFin", "<up; inverts>, aggressor below", {"10010"}},
    {"CFin", "<up; inverts>, aggressor above", {"01100"}},
    {"CFin", "<down; inverts>, aggressor below", {"01001"}},
    {"CFin", "<down; inverts>, aggressor above", {"00110", "10110"}},
  };
  const lu_pattern *p = pattern("march-c-minus");
  assert_int_equal(lu_cells_reads(p), 5);
  for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
    unsigned m = model(rows[i].model), n = 0;
    char text[128];
    for (; n < lu_cell_models()[m].faults; n++) {
      lu_cell_fault_text(m, n, text, sizeof text);
      if (!strcmp(text, rows[i].fault))
        break;
    }
    if (n == lu_cell_models()[m].faults)
      fail_msg("no fault %s %s", rows[i].model, rows[i].fault);
    uint64_t found[LU_SYNDROMES_MOST], explained[LU_CELL_MODELS];
    size_t count, expected = rows[i].syndrome[1] ? 2 : 1;
    assert_int_equal(lu_cells_syndromes(p, m, n, &mem, found, &count, NULL), LU_OK);
    assert_int_equal(count, expected);
    for (size_t s = 0; s < expected; s++) {
      uint64_t want = 0;
      for (unsigned b = 0; b < 5; b++)
        want |= (uint64_t)(rows[i].syndrome[s][b] == '1') << b;
      assert_true(found[0] == want || found[count - 1] == want);
      assert_int_equal(lu_cells_explain(p, want, &mem, explained, NULL), LU_OK);
      assert_true(explained[m] >> n & 1);
    }
  }
}

static void fault_texts_differ(void **state)
{
  (void)state;
  for (unsigned m = 0; m < LU_CELL_MODELS; m++)
    for (unsigned n = 0; n < lu_cell_models()[m].faults; n++) {
      char text[128], other[128];
      lu_cell_fault_text(m, n, text, sizeof text);
      assert_true(text[0]);
      for (unsigned k = 0; k < n; k++) {
        lu_cell_fault_text(m, k, other, sizeof other);
        if (!strcmp(text, other))
          fail_msg("%s: %u and %u are both %s", lu_cell_models()[m].name, k, n, text);
      }
    }
}

static void refuses_when_memory_is_short(void **state)
{
  (void)state;
  const lu_pattern *p = pattern("march-c-minus");
  lu_cell_coverage all[LU_CELL_MODELS];
  for (size_t n = 1;; n++) {
    lu_arena tight = {.fail_from = n};
    lu_status status = lu_cells_coverage(p, &tight, all, NULL);
    lu_arena_free(&tight);
    if (status == LU_OK)
      break;
    assert_int_equal(status, LU_ERR_NOMEM);
    assert_true(n < 100);
  }
}

int main(void)
{
  const struct CMUnitTest tests[] = {
    cmocka_unit_test(dynamic_coverage_of_vts_2002),
    cmocka_unit_test(complete_tests_are_complete),
    cmocka_unit_test(published_claims),
    cmocka_unit_test(nobody_sees_all_linked_inversions),
    cmocka_unit_test(every_test_and_model),
    cmocka_unit_test(published_lengths),
    cmocka_unit_test(syndromes_of_march_c_minus),
    cmocka_unit_test(fault_texts_differ),
    cmocka_unit_test(refuses_when_memory_is_short),
  };
  return cmocka_run_group_tests(tests, NULL, free_memory);
}
