/* SPDX-License-Identifier: MIT */
/* Faults put into a simulated memory, found again through the reads that failed. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#include "pattern/builtin.h"
#include "pattern/failures.h"

enum { WORDS_MOST = 256, FAILURES_MOST = 20000 };

typedef enum kind { CELL_0, COUPLED, DATA_1, ADDRESS_0, TWO_CELLS } kind;

typedef struct memory {
  kind kind;
  uint64_t cells[WORDS_MOST];
  lu_failure failures[FAILURES_MOST];
  size_t count;
} memory;

static uint64_t read_word(const memory *m, uint64_t word)
{
  uint64_t v = m->cells[m->kind == ADDRESS_0 ? word & ~UINT64_C(4) : word];
  if ((m->kind == CELL_0 && word == 0x12) || (m->kind == TWO_CELLS && (word & ~UINT64_C(1)) == 6))
    v &= ~UINT64_C(8);
  return m->kind == DATA_1 ? v | 2 : v;
}

static void write_word(memory *m, uint64_t word, uint64_t value)
{
  uint64_t *cell = &m->cells[m->kind == ADDRESS_0 ? word & ~UINT64_C(4) : word];
  bool rises = word == 0x21 && !(*cell & 1) && (value & 1);
  *cell = value;
  if (m->kind == COUPLED && rises) /* <up; 0> on word 0x40, from below */
    m->cells[0x40] &= ~UINT64_C(1);
}

static bool take(void *user, const lu_operation *ops, size_t count)
{
  memory *m = user;
  for (size_t i = 0; i < count; i++)
    if (ops[i].kind == LU_OP_WRITE) {
      write_word(m, ops[i].word, ops[i].value);
    } else if (ops[i].kind == LU_OP_READ) {
      uint64_t wrong = read_word(m, ops[i].word) ^ ops[i].value;
      if (wrong)
        m->failures[m->count++] = (lu_failure){ops[i].word, wrong, ops[i].op, ops[i].pass};
      assert_true(m->count < FAILURES_MOST);
    }
  return true;
}

static lu_arena mem;
static memory m;
static lu_syndrome_group *groups;
static size_t group_count;
static const lu_pattern *march;

static void run_with(kind k, uint64_t words)
{
  const lu_memory block = {.words = words, .width = 8, .bytes = 1};
  for (size_t i = 0; i < lu_pattern_file_count; i++)
    if (!strcmp(lu_pattern_files[i].name, "march-c-minus")) {
      lu_pattern *p = NULL;
      assert_int_equal(lu_pattern_read(lu_pattern_files[i].text, &mem, &p, NULL), LU_OK);
      march = p;
    }
  m = (memory){.kind = k};
  lu_pattern_expand(march, &block, LU_UP, take, &m);
  assert_int_equal(
    lu_failures_group(march, &block, m.failures, m.count, &mem, &groups, &group_count, NULL), LU_OK);
}

static bool explains(uint64_t syndrome, const char *model, const char *fault)
{
  uint64_t found[LU_CELL_MODELS];
  char text[160];
  assert_int_equal(lu_cells_explain(march, syndrome, &mem, found, NULL), LU_OK);
  for (unsigned i = 0; i < LU_CELL_MODELS; i++)
    for (unsigned f = 0; f < lu_cell_models()[i].faults; f++) {
      lu_cell_fault_text(i, f, text, sizeof text);
      if (!strcmp(lu_cell_models()[i].name, model) && !strcmp(text, fault))
        return found[i] >> f & 1;
    }
  fail_msg("no fault %s %s", model, fault);
  return false;
}

static void one_stuck_cell(void **state)
{
  (void)state;
  run_with(CELL_0, 200);
  assert_int_equal(group_count, 1);
  assert_int_equal(groups[0].bit, 3);
  assert_int_equal(groups[0].words, 1);
  assert_int_equal(groups[0].first[0], 0x12);
  assert_false(groups[0].complete);
  assert_true(explains(groups[0].syndrome, "SAF", "<1/0/->"));
  assert_false(explains(groups[0].syndrome, "SAF", "<0/1/->"));
}

static void coupled_cell_names_the_side(void **state)
{
  (void)state;
  run_with(COUPLED, 256);
  assert_int_equal(group_count, 1);
  assert_int_equal(groups[0].first[0], 0x40);
  assert_true(explains(groups[0].syndrome, "CFid", "<up; 0>, aggressor below"));
  assert_false(explains(groups[0].syndrome, "CFid", "<up; 0>, aggressor above"));
  assert_false(explains(groups[0].syndrome, "SAF", "<1/0/->"));
}

static void data_line_takes_every_word(void **state)
{
  (void)state;
  for (uint64_t words = 200; words <= 256; words += 56) { /* not only powers of two */
    run_with(DATA_1, words);
    assert_int_equal(group_count, 1);
    assert_int_equal(groups[0].bit, 1);
    assert_int_equal(groups[0].words, words);
    assert_true(groups[0].complete);
    assert_int_equal(groups[0].fixed, 0);
  }
}

static void address_line_takes_a_half(void **state)
{
  (void)state;
  for (uint64_t words = 200; words <= 256; words += 56) {
    run_with(ADDRESS_0, words);
    assert_true(group_count > 0);
    for (size_t i = 0; i < group_count; i++) {
      assert_true(groups[i].complete);
      assert_int_equal(groups[i].fixed, 4);
    }
  }
}

static void neighbours_are_no_line(void **state)
{
  (void)state;
  run_with(TWO_CELLS, 256);
  assert_int_equal(group_count, 1);
  assert_int_equal(groups[0].words, 2);
  assert_false(groups[0].complete);
}

static void refuses_what_cannot_be(void **state)
{
  (void)state;
  const lu_memory block = {.words = 16, .width = 8, .bytes = 1};
  const lu_failure bad[] = {{0, 1, 0, 0}, {0, 1, 999, 0}, {16, 1, 1, 0}, {0, 256, 1, 0}};
  run_with(CELL_0, 64);
  for (size_t i = 0; i < 4; i++)
    assert_int_equal(lu_failures_group(march, &block, &bad[i], 1, &mem, &groups, &group_count, NULL),
                     LU_ERR_VALUE);
}

static int free_memory(void **state)
{
  (void)state;
  lu_arena_free(&mem);
  return 0;
}

int main(void)
{
  const struct CMUnitTest tests[] = {
    cmocka_unit_test(one_stuck_cell),
    cmocka_unit_test(coupled_cell_names_the_side),
    cmocka_unit_test(data_line_takes_every_word),
    cmocka_unit_test(address_line_takes_a_half),
    cmocka_unit_test(neighbours_are_no_line),
    cmocka_unit_test(refuses_what_cannot_be),
  };
  return cmocka_run_group_tests(tests, NULL, free_memory);
}
