/* SPDX-License-Identifier: MIT */
/* Lines that memory tests print. No standard fixes the form (common practice, no source): rows by hand
 * from docs/evidence.md. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>

#include <cmocka.h>

#include "formats/faillog.h"

#include <inttypes.h>
#include <stdio.h>
#include <string.h>

typedef struct row {
  const char *name, *text, *want; /* "address expected got;" each, then marks */
} row;

static const row good[] = {
    {"three columns", "1000 55 AA\n1002 0f ff f0\n", "1000 55 aa;1002 f ff;"},
    {"prefixes", "0x1000: $55 != 0XAA\n", "1000 55 aa;"},
    {"suffixes", "01000h 55h 0AAh\n1000H FFH 00H\n", "1000 55 aa;1000 ff 0;"},
    {"keywords in another order", "FAIL got AA expected 55 at 1000\n", "1000 55 aa;"},
    {"wrote and read", "addr=8000 wrote=FF read=FE\n", "8000 ff fe;"},
    {"should be", "error at $8000, was 00, should be AD\n", "8000 ad 0;"},
    {"should be be", "error at $8000, was 00, should be BE\n", "8000 be 0;"},
    {"keywords behind", "8000: 55 expected, AA read\n", "8000 55 aa;"},
    {"act and exp with a difference", "adr 1F00 act 01 exp 03 xor 02\n", "1f00 3 1;"},
    {"address without a word", "1F00: exp 03 act 01 diff 02\n", "1f00 3 1;"},
    {"a word that looks like hex", "dead cell 1F00 03 01\nBad word: 1F02 03 01\n", "1f00 3 1;1f02 3 1;"},
    {"data that look like a word", "1F00 DEAD BEEF\n1f02 be ff 41\n", "1f00 dead beef;1f02 be ff;"},
    {"letters only", "FACE AA FF\n", "face aa ff;"},
    {"each is no number", "each 1F00 03 01\n", "1f00 3 1;"},
    {"counters", "error #12 1F00 03 01\npass 3 1F00 03 01\n", "1f00 3 1;1f00 3 1;"},
    {"clock and date", "2026-11-25 12:34:56.789 1F00 03 01\n12:34:56 starting\n", "1f00 3 1;"},
    {"three with colons", "10:55:44\n", "10 55 44;"},
    {"marked numbers before bare ones", "12 0x1F00 0x03 0x01\n", "1f00 3 1;"},
    {"a counter before marked ones by keywords", "17 $1F00 expected $03 got $01\n", "1f00 3 1;"},
    {"heading", "Addr Got Exp\n8000 00 FF\n", "8000 ff 0;"},
    {"64 bits", "ffffffff00 0123456789abcdef fedcba9876543210\n", "ffffffff00 123456789abcdef fedcba9876543210;"},
    {"up to", "8000 1 2\ntested up to 0x8fff\npassed to 9fff\n", "8000 1 2;..8fff..9fff"},
    {"letters in a mark", "tested 0-ffff\n", "0..ffff"},
    {"from to", "tested 8000-8fff\npassed 0x9000 to 0x9FFF, 3 errors\n", "8000..8fff9000..9fffcut"},
    {"complete", "8000 1 2\nTest complete.\n", "8000 1 2;complete"},
    {"complete, all listed", "8000 1 2\ndone, 1 errors\n", "8000 1 2;complete"},
    {"complete, but more than it lists", "8000 1 2\ndone: 20 errors\n", "8000 1 2;cut"},
    {"stopped", "8000 1 2\nstopped: too many errors\n", "8000 1 2;cut"},
    {"lines not read", "8000 1 2\n8001 1\nhello\n7\n", "8000 1 2;unread 2 2:8001 1 4:7"},
    {"line ends of two characters, no last one", "8000 1 2\r\n8001 3 4", "8000 1 2;8001 3 4;"},
};

static void say(const lu_faillog *g, char *out, size_t len)
{
  FILE *f = fmemopen(out, len, "w");
  for (size_t i = 0; i < g->count; i++)
    fprintf(f, "%" PRIx64 " %" PRIx64 " %" PRIx64 ";", g->at[i].address, g->at[i].expected, g->at[i].got);
  for (size_t i = 0; i < g->span_count; i++) {
    if (!g->spans[i].from_start)
      fprintf(f, "%" PRIx64, g->spans[i].first);
    fprintf(f, "..%" PRIx64, g->spans[i].last);
  }
  fputs(g->complete ? "complete" : g->cut ? "cut" : "", f);
  if (g->unread)
    fprintf(f, "unread %zu", g->unread);
  for (size_t i = 0; i < g->unread && i < LU_FAILLOG_SHOWN; i++)
    fprintf(f, " %u:%s", g->shown[i].line, g->shown[i].text);
  fclose(f);
}

static void check_good(void **state)
{
  const row *r = *state;
  lu_arena mem = {0};
  lu_err err = {0};
  lu_faillog *g = NULL;
  char text[512] = "";
  assert_int_equal(lu_faillog_read((lu_bytes){(const uint8_t *)r->text, strlen(r->text)}, &mem, &g, &err), LU_OK);
  say(g, text, sizeof text);
  assert_string_equal(text, r->want);
  lu_arena_free(&mem);
}

static const row bad[] = {
    {"no failure at all", "hello\n\nchip 7 of 8\n", "3 expected lines of address, expected and got in hex; no line of this log gives them"},
    {"text alone", "hello\n", "1 expected lines of address, expected and got in hex; no line of this log gives them"},
    {"more than 64 bits", "123456789abcdef01 1 2\n", "1 expected lines of address, expected and got in hex; no line of this log gives them"},
};

static void check_bad(void **state)
{
  const row *r = *state;
  lu_arena mem = {0};
  lu_err err = {0};
  lu_faillog *g = NULL;
  char text[300];
  assert_int_equal(lu_faillog_read((lu_bytes){(const uint8_t *)r->text, strlen(r->text)}, &mem, &g, &err), LU_ERR_SYNTAX);
  assert_null(g);
  snprintf(text, sizeof text, "%u %s", err.line, err.message);
  assert_string_equal(text, r->want);
  lu_arena_free(&mem);
}

static void check_memory(void **state)
{
  (void)state;
  static const char text[] = "8000 1 2\n8001\ntested up to 8fff\n";
  for (size_t n = 1;; n++) {
    lu_arena mem = {.fail_from = n};
    lu_err err = {0};
    lu_faillog *g = NULL;
    lu_status s = lu_faillog_read((lu_bytes){(const uint8_t *)text, sizeof text - 1}, &mem, &g, &err);
    lu_arena_free(&mem);
    if (s == LU_OK)
      return;
    assert_int_equal(s, LU_ERR_NOMEM);
  }
}

int main(void)
{
  enum { GOOD = sizeof good / sizeof *good, BAD = sizeof bad / sizeof *bad };
  struct CMUnitTest tests[GOOD + BAD + 1];
  size_t n = 0;
  for (size_t i = 0; i < GOOD; i++)
    tests[n++] = (struct CMUnitTest){.name = good[i].name, .test_func = check_good, .initial_state = (void *)(uintptr_t)&good[i]};
  for (size_t i = 0; i < BAD; i++)
    tests[n++] = (struct CMUnitTest){.name = bad[i].name, .test_func = check_bad, .initial_state = (void *)(uintptr_t)&bad[i]};
  tests[n++] = (struct CMUnitTest){.name = "memory refused", .test_func = check_memory};
  return _cmocka_run_group_tests("faillog", tests, n, NULL, NULL);
}
