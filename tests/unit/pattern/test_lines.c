/* SPDX-License-Identifier: MIT */
/* What patterns see of faults on the lines between the tester and a memory of 16 words of 4 bits:
 * detected for every start content, of how many. The figures were worked out from the same
 * definitions by another program; the sentences that they stand for are in docs/patterns.md. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#include "pattern/builtin.h"
#include "pattern/pattern.h"

enum { WORDS = 16, BITS = 4, STARTS = 8 };

typedef enum kind {
  ADDRESS_STUCK, ADDRESS_AND, ADDRESS_OR, ADDRESS_SWAP, ADDRESS_DOMINANT,
  DATA_STUCK, DATA_HOLDS, DATA_AND, DATA_OR, DATA_SWAP,
  SELECT_CONST, SELECT_HOLDS, OUTPUT_CONST, OUTPUT_HOLDS, WRITE_DEAD, KINDS
} kind;

/* Faults of each kind: lines x levels, or pairs. */
static const unsigned totals[KINDS] = {8, 6, 6, 6, 12, 8, 8, 6, 6, 6, 2, 1, 2, 1, 1};

typedef struct board {
  kind kind;
  unsigned a, b, level;
  unsigned cells[WORDS];
  unsigned bus;     /* last value on the data lines at the tester */
  unsigned held[2]; /* an open line's last level at the tester and at the memory */
  bool wrong;
} board;

static void pair_of(unsigned number, unsigned *a, unsigned *b)
{
  *a = 0;
  *b = 1;
  for (; number; number--)
    if (++*b == BITS) {
      ++*a;
      *b = *a + 1;
    }
}

static unsigned two_lines(const board *m, kind and_kind, unsigned v)
{
  unsigned x = v >> m->a & 1, y = v >> m->b & 1;
  unsigned both = m->kind == and_kind ? x & y : x | y;
  return (v & ~(1u << m->a | 1u << m->b)) | both << m->a | both << m->b;
}

static unsigned swapped(const board *m, unsigned v)
{
  unsigned x = v >> m->a & 1, y = v >> m->b & 1;
  return (v & ~(1u << m->a | 1u << m->b)) | y << m->a | x << m->b;
}

static unsigned address_lines(const board *m, unsigned v)
{
  switch (m->kind) {
  case ADDRESS_STUCK:
    return m->level ? v | 1u << m->a : v & ~(1u << m->a);
  case ADDRESS_AND:
  case ADDRESS_OR:
    return two_lines(m, ADDRESS_AND, v);
  case ADDRESS_SWAP:
    return swapped(m, v);
  case ADDRESS_DOMINANT: /* a drives b, or b drives a */
    return m->level ? (v & ~(1u << m->a)) | (v >> m->b & 1) << m->a
                    : (v & ~(1u << m->b)) | (v >> m->a & 1) << m->b;
  default:
    return v;
  }
}

/* to_memory: which side receives. */
static unsigned data_lines(board *m, unsigned v, bool to_memory)
{
  switch (m->kind) {
  case DATA_STUCK:
    return m->level ? v | 1u << m->a : v & ~(1u << m->a);
  case DATA_HOLDS: /* open; the memory's side floats to a constant, the tester's side keeps */
    if (to_memory)
      return m->level ? v | 1u << m->a : v & ~(1u << m->a);
    return (v & ~(1u << m->a)) | (m->bus >> m->a & 1) << m->a;
  case DATA_AND:
  case DATA_OR:
    return two_lines(m, DATA_AND, v);
  case DATA_SWAP:
    return swapped(m, v);
  default:
    return v;
  }
}

static unsigned read_word(board *m, unsigned word)
{
  if (m->kind == SELECT_CONST || m->kind == OUTPUT_CONST)
    return m->level ? 15 : 0;
  if (m->kind == SELECT_HOLDS || m->kind == OUTPUT_HOLDS)
    return m->bus;
  return data_lines(m, m->cells[address_lines(m, word)], false);
}

static void write_word(board *m, unsigned word, unsigned value)
{
  if (m->kind != SELECT_CONST && m->kind != SELECT_HOLDS && m->kind != WRITE_DEAD)
    m->cells[address_lines(m, word)] = data_lines(m, value, true);
}

static bool take(void *user, const lu_operation *ops, size_t count)
{
  board *m = user;
  for (size_t i = 0; i < count && !m->wrong; i++) {
    unsigned word = (unsigned)ops[i].word, value = (unsigned)ops[i].value;
    if (ops[i].kind == LU_OP_WRITE) {
      write_word(m, word, value);
      m->bus = value;
    } else if (ops[i].kind == LU_OP_READ) {
      m->bus = read_word(m, word);
      m->wrong = m->bus != value;
    }
  }
  return !m->wrong;
}

static bool detected(const lu_pattern *p, kind k, unsigned number)
{
  const lu_memory block = {.words = WORDS, .width = BITS, .bytes = 1};
  for (unsigned start = 0; start < STARTS; start++) {
    board m = {.kind = k, .level = number & 1, .a = number / 2, .bus = start & 1 ? 15 : 0};
    if (totals[k] == 6)
      pair_of(number, &m.a, &m.b);
    if (k == ADDRESS_DOMINANT)
      pair_of(number / 2, &m.a, &m.b);
    for (unsigned w = 0; w < WORDS; w++)
      m.cells[w] = start < 2 ? start * 15 : (w * 7 + start * 5 + w / 3 * start) & 15;
    lu_pattern_expand(p, &block, LU_UP, take, &m);
    if (!m.wrong)
      return false;
  }
  return true;
}

typedef struct row {
  const char *pattern;
  unsigned detected[KINDS];
} row;

static const row rows[] = {
  /* address: stuck and or swap dominant; data: stuck holds and or swap; select const holds;
   * output const holds; write */
  {"mats-plus", {8, 6, 6, 0, 12, 8, 8, 0, 0, 0, 2, 1, 2, 1, 1}},
  {"march-c-minus", {8, 6, 6, 0, 12, 8, 8, 0, 0, 0, 2, 1, 2, 1, 1}},
  {"march-sr", {0, 0, 0, 0, 0, 8, 0, 0, 0, 0, 2, 0, 2, 0, 1}},
  {"march-ss", {8, 6, 6, 0, 12, 8, 8, 0, 0, 0, 2, 1, 2, 1, 1}},
  {"word-march", {8, 6, 6, 0, 12, 8, 8, 6, 6, 0, 2, 1, 2, 1, 1}},
  {"address", {8, 6, 6, 0, 12, 8, 8, 6, 6, 0, 2, 1, 2, 1, 1}},
  {"address-both", {8, 6, 6, 0, 12, 8, 8, 6, 6, 0, 2, 1, 2, 1, 1}},
  /* both levels are written here; with one pattern only, 4 of the 8 stuck data lines would show */
  {"address-powers", {8, 6, 6, 0, 12, 8, 8, 4, 4, 0, 2, 1, 2, 1, 1}},
};

static void check_row(void **state)
{
  const row *r = *state;
  for (size_t i = 0; i < lu_pattern_file_count; i++) {
    if (strcmp(lu_pattern_files[i].name, r->pattern))
      continue;
    lu_arena mem = {0};
    lu_pattern *p = NULL;
    assert_int_equal(lu_pattern_read(lu_pattern_files[i].text, &mem, &p, NULL), LU_OK);
    for (unsigned k = 0; k < KINDS; k++) {
      unsigned seen = 0;
      for (unsigned n = 0; n < totals[k]; n++)
        seen += detected(p, (kind)k, n);
      if (seen != r->detected[k])
        fail_msg("%s, fault kind %u: %u of %u, expected %u", r->pattern, k, seen, totals[k],
                 r->detected[k]);
    }
    lu_arena_free(&mem);
    return;
  }
  fail_msg("no pattern %s", r->pattern);
}

int main(void)
{
  enum { COUNT = sizeof rows / sizeof rows[0] };
  struct CMUnitTest tests[COUNT];
  for (size_t i = 0; i < COUNT; i++)
    tests[i] = (struct CMUnitTest){.name = rows[i].pattern, .test_func = check_row,
                                   .initial_state = (void *)(uintptr_t)&rows[i]};
  return cmocka_run_group_tests(tests, NULL, NULL);
}
