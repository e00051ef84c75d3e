/* SPDX-License-Identifier: MIT */
/* Lines hop by hop: against the demo's own wiring (docs/demo/README.md tells it in words). */
#include "../board/demo_board.h"
#include "reason/lines.h"

#include <setjmp.h>
#include <stdarg.h>
#include <cmocka.h>

static lu_lines *trace(const lu_board *b, const char *block, bool with_network, lu_arena *mem)
{
  lu_err err = {0};
  lu_network *n = NULL;
  lu_lines *l = NULL;
  uint32_t k = lu_board_block(b, block);
  if (with_network)
    assert_int_equal(lu_network_build(b, k, b->blocks[k].vantage, mem, &n, &err), LU_OK);
  assert_int_equal(lu_lines_trace(b, k, b->blocks[k].vantage, n, mem, &l, &err), LU_OK);
  return l;
}

/* Hops join: each begins where the last ended, nets hold both of their pins, parts too. */
static void hops_hang_together(void **state)
{
  (void)state;
  lu_arena mem = {0};
  const lu_board *b = demo_board(&mem, true);
  for (uint32_t k = 0; k < b->block_count; k++) {
    lu_lines *l = trace(b, b->blocks[k].name, true, &mem);
    assert_true(l->line_count >= 16 + 15 && l->lost_count == 0 && l->control_count >= 2);
    for (size_t i = 0; i < l->line_count; i++) {
      const lu_line *x = &l->lines[i];
      assert_true(x->hop_count % 2 == 1 && x->end_count);
      assert_int_equal(b->pins[x->hops[0].from].part, b->vantages[l->vantage].part);
      assert_int_equal(x->hops[x->hop_count - 1].to, x->ends[0]);
      for (size_t h = 0; h < x->hop_count; h++) {
        const lu_hop *q = &x->hops[h];
        assert_true(h == 0 || q->from == x->hops[h - 1].to);
        if (h % 2 == 0) {
          assert_int_equal(b->pins[q->from].net, q->net);
          assert_int_equal(b->pins[q->to].net, q->net);
        } else {
          assert_int_equal(b->pins[q->from].part, q->part);
          assert_int_equal(b->pins[q->to].part, q->part);
        }
      }
    }
  }
  lu_arena_free(&mem);
}

/* U8 puts A1-A9 on DRA0-DRA8 as the row and A10-A18 as the column; all 16 chips hang on each. */
static void rows_and_columns_of_the_demo(void **state)
{
  (void)state;
  lu_arena mem = {0};
  const lu_board *b = demo_board(&mem, true);
  for (int with_network = 0; with_network < 2; with_network++) {
    lu_lines *l = trace(b, "record RAM", with_network, &mem);
    unsigned address = 0;
    for (size_t i = 0; i < l->line_count; i++) {
      const lu_line *x = &l->lines[i];
      if (x->kind != LU_LINE_ADDRESS)
        continue;
      char net[16];
      address++;
      snprintf(net, sizeof net, "DRA%u", x->bit % 9);
      assert_string_equal(b->nets[x->hops[2].net].name, net);
      assert_int_equal(x->phase, x->bit < 9 ? LU_PHASE_ROW : LU_PHASE_COLUMN);
      assert_int_equal(x->end_count, 16);
    }
    assert_int_equal(address, 18);
  }
  lu_arena_free(&mem);
}

/* Two multiplexers: only the network knows which half is the row. */
static void multiplexers_have_phases(void **state)
{
  (void)state;
  lu_arena mem = {0};
  lu_file file;
  lu_err err = {0};
  assert_int_equal(lu_file_open(LU_TOP "/tests/boards/buoy8.yaml", 0, &file, &err), LU_OK);
  const lu_board *b = demo_build(lu_arena_text(&mem, (const char *)file.bytes.at, file.bytes.len), NULL, &mem);
  lu_lines *l = trace(b, "log RAM", true, &mem);
  unsigned rows = 0, columns = 0, inputs = 0, outputs = 0;
  for (size_t i = 0; i < l->line_count; i++) {
    rows += l->lines[i].phase == LU_PHASE_ROW;
    columns += l->lines[i].phase == LU_PHASE_COLUMN;
    inputs += l->lines[i].kind == LU_LINE_DATA && l->lines[i].hop_count == 1;
    outputs += l->lines[i].kind == LU_LINE_DATA && l->lines[i].hop_count == 3;
  }
  assert_true(rows == 8 && columns == 8 && inputs == 8 && outputs == 8);
  lu_file_close(&file);
  lu_arena_free(&mem);
}

/* A pass taken away from the board file: the bit is lost at the part that nobody knows. */
static void a_lost_line_names_its_end(void **state)
{
  (void)state;
  lu_arena mem = {0};
  const char *text = "parts: {U2: {type: '6116'}, U9: {pins: {IN: 1, OUT: 2}}}\n"
                     "nets:\n  A0: [U1.1, U9.1]\n  B0: [U9.2, U2.8]\n  A1: [U1.2, U2.7]\n  D0: [U1.3, U2.9]\n"
                     "vantages: {cpu: {at: U1, address: ['net:A0', 'net:A1'], data: ['net:D0']}}\n"
                     "memory:\n  - {name: m, seen_from: cpu, base: 0, size: 4, kind: ram, chips: [U2]}\n";
  const lu_board *b = demo_build(text, NULL, &mem);
  lu_lines *l = trace(b, "m", false, &mem);
  assert_int_equal(l->lost_count, 1);
  assert_string_equal(b->nets[l->lost[0].net].name, "A0");
  assert_string_equal(b->pins[l->lost[0].pin].name, "U9.1");
  assert_int_equal(l->lost[0].bit, 0);
  lu_arena_free(&mem);
}

static void refused_memory_is_only_that(void **state)
{
  (void)state;
  lu_arena good = {0};
  const lu_board *b = demo_board(&good, true);
  for (size_t from = 1; from < 3000; from += 1 + from / 8) {
    lu_arena mem = {.fail_from = from};
    lu_lines *l = NULL;
    lu_status bad = lu_lines_trace(b, 0, b->blocks[0].vantage, NULL, &mem, &l, NULL);
    assert_true(bad == LU_ERR_NOMEM || (bad == LU_OK && l));
    lu_arena_free(&mem);
  }
  lu_arena_free(&good);
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(hops_hang_together),
      cmocka_unit_test(rows_and_columns_of_the_demo),
      cmocka_unit_test(multiplexers_have_phases),
      cmocka_unit_test(a_lost_line_names_its_end),
      cmocka_unit_test(refused_memory_is_only_that),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
