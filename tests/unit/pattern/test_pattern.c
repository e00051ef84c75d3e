/* SPDX-License-Identifier: MIT */
/* The grammar of pattern files and what expansion makes of them. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#include "pattern/builtin.h"
#include "pattern/pattern.h"

static lu_bytes bytes_of(const char *text)
{
  return (lu_bytes){(const uint8_t *)text, strlen(text)};
}

#define HEAD "name: x\nsource: here\n"

typedef struct row {
  const char *name, *text;
  lu_status status;
  unsigned line, column;
  const char *says;
} row;

static const row rows[] = {
  {"reads the smallest pattern", HEAD "march: { any(w0) }\n", LU_OK, 0, 0, ""},
  {"comments, continuation, repeats and waits",
   "# top\n" HEAD "about: one\n  two\nmarch: {\n  up(w0);  # first\n  wait 5ms;\n  up(r0*3,w1)\n  }\n",
   LU_OK, 0, 0, ""},
  {"nothing at all", "", LU_ERR_SYNTAX, 1, 1, "no \"name\""},
  {"no march", HEAD, LU_ERR_SYNTAX, 3, 1, "no \"march\""},
  {"unknown key offers the nearest", HEAD "marsh: { any(w0) }\n", LU_ERR_SYNTAX, 3, 1, "\"march\""},
  {"key twice", HEAD "name: y\nmarch: { any(w0) }\n", LU_ERR_SYNTAX, 3, 1, "second"},
  {"line without colon", HEAD "hello\n", LU_ERR_SYNTAX, 3, 1, "key: value"},
  {"bad name", "name: X\nsource: s\nmarch: { any(w0) }\n", LU_ERR_SYNTAX, 1, 7, "lower-case"},
  {"unknown direction", HEAD "march: { over(w0) }\n", LU_ERR_SYNTAX, 3, 10, "expected up, down, any, at or wait, found 'over'"},
  {"unknown operation", HEAD "march: { any(x0) }\n", LU_ERR_SYNTAX, 3, 14, "expected an operation"},
  {"unknown value", HEAD "march: { any(w2) }\n", LU_ERR_SYNTAX, 3, 15, "expected 0"},
  {"element without operations", HEAD "march: { any() }\n", LU_ERR_VALUE, 3, 10, "without"},
  {"open bracket missing", HEAD "march: any(w0)\n", LU_ERR_SYNTAX, 3, 8, "expected '{'"},
  {"end missing", HEAD "march: { any(w0)\n", LU_ERR_SYNTAX, 3, 17, "';' or '}'"},
  {"text after the end", HEAD "march: { any(w0) } more\n", LU_ERR_SYNTAX, 3, 20, "nothing after"},
  {"delay of nothing", HEAD "march: { any(w0); wait 0s }\n", LU_ERR_VALUE, 3, 24, "1us to 600s"},
  {"delay too long", HEAD "march: { any(w0); wait 601s }\n", LU_ERR_VALUE, 3, 24, "1us to 600s, found 601s"},
  {"delay beyond all numbers", HEAD "march: { any(w0); wait 99999999999999999999s }\n", LU_ERR_VALUE, 3, 24, "1us to 600s, found 9999"},
  {"delay without number", HEAD "march: { any(w0); wait long }\n", LU_ERR_SYNTAX, 3, 24, "found 'long'"},
  {"delay without unit", HEAD "march: { any(w0); wait 5 }\n", LU_ERR_SYNTAX, 3, 26, "us, ms or s"},
  {"repeat of nothing", HEAD "march: { any(w0*0) }\n", LU_ERR_VALUE, 3, 17, "repeat"},
  {"word number too high", HEAD "march: { at 9999 (w0) }\n", LU_ERR_VALUE, 3, 13, "word number"},
  {"unknown background", HEAD "backgrounds: chess\nmarch: { any(w0) }\n", LU_ERR_MISSING, 3, 14,
   "unknown background"},
  {"unknown vectors", HEAD "backgrounds: solid, vectors odd\nmarch: { any(w0) }\n", LU_ERR_MISSING,
   3, 29, "unknown vectors \"odd\""},
  {"unknown order", HEAD "orders: linear, zigzag\nmarch: { any(w0) }\n", LU_ERR_VALUE, 3, 17,
   "unknown order \"zigzag\""},
  {"unknown lanes", HEAD "lanes: nibbles\nmarch: { any(w0) }\n", LU_ERR_VALUE, 3, 8, "bytes"},
  {"read before any write", HEAD "march: { any(r0,w1) }\n", LU_ERR_VALUE, 3, 14,
   "element 1, operation 1 expects 0 where nothing was written"},
  {"read of what is not there", HEAD "march: { any(w0); up(r0,w1); up(r0) }\n", LU_ERR_VALUE, 3, 33,
   "element 3, operation 1 expects 0 where 1 was written"},
  {"contradiction in one direction only", HEAD "march: { up(w0); any(rest(r0), w1) }\n",
   LU_ERR_VALUE, 3, 27, "element 2, operation 2"},
  {"read of a word that only powers miss", HEAD "march: { up powers(w0); up(r0) }\n", LU_ERR_VALUE,
   3, 28, "nothing was written (word 3)"},
  {"a byte that is not text", HEAD "march: { any(w0); \xe2\x87\x91(r0) }\n", LU_ERR_SYNTAX, 3, 19,
   "expected up"},
};

static void check_row(void **state)
{
  const row *r = *state;
  lu_arena mem = {0};
  lu_pattern *p = NULL;
  lu_err err = {0};
  lu_status status = lu_pattern_read(bytes_of(r->text), &mem, &p, &err);
  if (status != r->status || err.line != r->line || err.column != r->column ||
      !strstr(err.message, r->says))
    fail_msg("status %d at %u:%u: %s", status, err.line, err.column, err.message);
  assert_int_equal(p != NULL, status == LU_OK);
  lu_arena_free(&mem);
}

/* Every built-in pattern: file name and name agree, a source stands in it, and its march written
 * again reads the same. */
static void built_in_patterns_are_sound(void **state)
{
  (void)state;
  assert_true(lu_pattern_file_count > 50);
  for (size_t i = 0; i < lu_pattern_file_count; i++) {
    lu_arena mem = {0};
    lu_pattern *p = NULL, *again = NULL;
    lu_err err = {0};
    if (lu_pattern_read(lu_pattern_files[i].text, &mem, &p, &err))
      fail_msg("%s:%u:%u: %s", lu_pattern_files[i].name, err.line, err.column, err.message);
    assert_string_equal(p->name, lu_pattern_files[i].name);
    assert_true(p->about[0] && p->source[0]);
    const char *text = lu_arena_printf(&mem, "name: x\nsource: y\nmarch: %s\n", p->march);
    assert_int_equal(lu_pattern_read(bytes_of(text), &mem, &again, &err), LU_OK);
    assert_string_equal(again->march, p->march);
    assert_int_equal(again->op_count, p->op_count);
    lu_arena_free(&mem);
  }
}

/* Names that scripts may rely on are patterns as well as contents. */
static void promised_names_are_there(void **state)
{
  (void)state;
  static const char *const names[] = {"walking-ones", "walking-zeros", "address", "address-inverse",
                                      "checkerboard"};
  for (size_t n = 0; n < 5; n++) {
    bool found = false;
    for (size_t i = 0; i < lu_pattern_file_count; i++)
      found |= !strcmp(lu_pattern_files[i].name, names[n]);
    assert_true(found);
  }
}

/* Any prefix and any changed byte of a good file is refused or read, never more. */
static void broken_files_do_no_harm(void **state)
{
  (void)state;
  for (size_t i = 0; i < lu_pattern_file_count; i += 7) {
    lu_bytes whole = lu_pattern_files[i].text;
    for (size_t len = 0; len < whole.len; len++) {
      lu_arena mem = {0};
      lu_pattern *p = NULL;
      char *copy = malloc(len + 1);
      assert_non_null(copy);
      memcpy(copy, whole.at, len);
      (void)!lu_pattern_read((lu_bytes){(uint8_t *)copy, len}, &mem, &p, NULL);
      if (len)
        copy[len / 2] ^= (char)(1 + len % 255);
      (void)!lu_pattern_read((lu_bytes){(uint8_t *)copy, len}, &mem, &p, NULL);
      free(copy);
      lu_arena_free(&mem);
    }
  }
}

static void refuses_when_memory_is_short(void **state)
{
  (void)state;
  for (size_t n = 1;; n++) {
    lu_arena mem = {.fail_from = n};
    lu_pattern *p = NULL;
    lu_status status = lu_pattern_read(bytes_of(HEAD "march: { any(w0) }\n"), &mem, &p, NULL);
    lu_arena_free(&mem);
    if (status == LU_OK)
      break;
    assert_int_equal(status, LU_ERR_NOMEM);
    assert_true(n < 50);
  }
}

/* ---- expansion ---- */

typedef struct log {
  char text[4096];
  size_t len, count;
} log_text;

static bool write_log(void *user, const lu_operation *ops, size_t count)
{
  log_text *l = user;
  for (size_t i = 0; i < count; i++) {
    l->count++;
    int n = ops[i].kind == LU_OP_WAIT
              ? snprintf(l->text + l->len, sizeof l->text - l->len, "wait%llu ",
                         (unsigned long long)ops[i].value)
              : snprintf(l->text + l->len, sizeof l->text - l->len, "%c%llu=%llx ",
                         ops[i].kind == LU_OP_READ ? 'r' : 'w', (unsigned long long)ops[i].word,
                         (unsigned long long)ops[i].value);
    l->len = l->len + (size_t)n < sizeof l->text ? l->len + (size_t)n : sizeof l->text - 1;
  }
  return true;
}

typedef struct expansion {
  const char *name, *lines, *march;
  lu_memory block;
  const char *ops;
} expansion;

static const expansion expansions[] = {
  {"up and down, background and complement", "", "{ up(w0); down(r0,w1) }",
   {.words = 3, .width = 4, .bytes = 1}, "w0=0 w1=0 w2=0 r2=0 w2=f r1=0 w1=f r0=0 w0=f "},
  {"a wait stands once", "", "{ any(w1); wait 2ms; any(r1) }",
   {.words = 2, .width = 1, .bytes = 1}, "w0=1 w1=1 wait2000 r0=1 r1=1 "},
  {"repeats", "", "{ any(w0*2) }", {.words = 2, .width = 1, .bytes = 1}, "w0=0 w0=0 w1=0 w1=0 "},
  {"log2 W + 1 backgrounds, a pass each", "backgrounds: words\n", "{ any(w0) }",
   {.words = 1, .width = 4, .bytes = 1}, "w0=0 w0=5 w0=3 "},
  {"address as background", "backgrounds: address\n", "{ up(w0); up(w1) }",
   {.words = 3, .width = 8, .bytes = 1}, "w0=0 w1=1 w2=2 w0=ff w1=fe w2=fd "},
  {"byte lanes", "lanes: bytes\n", "{ any(w1) }", {.words = 1, .width = 12, .bytes = 2},
   "w0=ff w0=f00 "},
  {"rows fastest", "orders: rows\n", "{ up(w0) }", {.words = 8, .width = 1, .bytes = 1},
   "w0=0 w2=0 w4=0 w6=0 w1=0 w3=0 w5=0 w7=0 "},
  {"columns fastest, given row bits", "orders: columns\n", "{ up(w0) }",
   {.words = 4, .width = 1, .bytes = 1, .row_mask = 1}, "w0=0 w2=0 w1=0 w3=0 "},
  {"a pass for each address line", "orders: lines\n", "{ down(w0) }",
   {.words = 4, .width = 1, .bytes = 1}, "w3=0 w2=0 w1=0 w0=0 w3=0 w1=0 w2=0 w0=0 "},
  {"complemented addresses, words that are not there left out", "orders: complement\n",
   "{ up(w0) }", {.words = 3, .width = 1, .bytes = 1}, "w0=0 w1=0 w2=0 "},
  {"complemented addresses", "orders: complement\n", "{ up(w0) }",
   {.words = 4, .width = 1, .bytes = 1}, "w0=0 w3=0 w1=0 w2=0 "},
  {"powers and rest", "", "{ up powers(w0); down powers(w1, rest(r0), w0) }",
   {.words = 4, .width = 1, .bytes = 1},
   "w0=0 w1=0 w2=0 w2=1 r0=0 r1=0 w2=0 w1=1 r0=0 r2=0 w1=0 w0=1 r1=0 r2=0 w0=0 "},
  {"one word", "backgrounds: vectors walking-ones\n", "{ at 2 (w0); at 1 (w1); at 2 (r0) }",
   {.words = 4, .width = 2, .bytes = 1}, "w2=1 w1=2 r2=1 w2=2 w1=1 r2=2 "},
};

static lu_pattern *make(lu_arena *mem, const char *lines, const char *march)
{
  lu_pattern *p = NULL;
  const char *text = lu_arena_printf(mem, HEAD "%smarch: %s\n", lines, march);
  assert_int_equal(lu_pattern_read(bytes_of(text), mem, &p, NULL), LU_OK);
  return p;
}

static void check_expansion(void **state)
{
  const expansion *x = *state;
  lu_arena mem = {0};
  log_text l = {.len = 0};
  lu_pattern *p = make(&mem, x->lines, x->march);
  assert_int_equal(lu_pattern_fits(p, &x->block, NULL), LU_OK);
  assert_true(lu_pattern_expand(p, &x->block, LU_UP, write_log, &l));
  assert_string_equal(l.text, x->ops);
  uint64_t wait_us, waits = strstr(x->ops, "wait") ? 1 : 0;
  assert_int_equal(lu_pattern_operations(p, &x->block, &wait_us), l.count - waits);
  lu_arena_free(&mem);
}

/* Each pattern on a good memory: no read fails, every count agrees, the image is what the memory
 * holds after the pass. */
typedef struct good {
  uint64_t word[70];
  uint64_t operations;
} good;

static bool on_good_memory(void *user, const lu_operation *ops, size_t count)
{
  good *g = user;
  for (size_t i = 0; i < count; i++) {
    uint64_t *w = &g->word[ops[i].word];
    g->operations += ops[i].kind != LU_OP_WAIT;
    if (ops[i].kind == LU_OP_WRITE)
      *w = (*w & ~ops[i].mask) | ops[i].value;
    else if (ops[i].kind == LU_OP_READ && (*w & ops[i].mask) != ops[i].value)
      fail_msg("element %u op %u word %llu", ops[i].element, ops[i].op,
               (unsigned long long)ops[i].word);
  }
  return true;
}

static void good_memory_passes_everything(void **state)
{
  (void)state;
  static const lu_memory blocks[] = {
    {.words = 64, .width = 8, .bytes = 1},
    {.words = 70, .width = 12, .bytes = 2, .base_word = 0x4000},
    {.words = 33, .width = 32, .bytes = 4},
    {.words = 5, .width = 64, .bytes = 8},
  };
  for (size_t i = 0; i < lu_pattern_file_count; i++)
    for (size_t b = 0; b < 4; b++) {
      lu_arena mem = {0};
      lu_pattern *p = NULL;
      assert_int_equal(lu_pattern_read(lu_pattern_files[i].text, &mem, &p, NULL), LU_OK);
      for (int any = 0; any < 2; any++) {
        good g = {.operations = 0};
        assert_true(lu_pattern_expand(p, &blocks[b], any ? LU_DOWN : LU_UP, on_good_memory, &g));
        assert_int_equal(g.operations, lu_pattern_operations(p, &blocks[b], NULL));
        uint8_t image[70 * 8];
        uint32_t last = lu_pattern_passes(p, &blocks[b]) - 1;
        lu_pattern_image(p, &blocks[b], last, 0, blocks[b].words, image);
        for (size_t w = 0; w < blocks[b].words && p->elements[0].kind == LU_ELEMENT_ALL; w++) {
          uint64_t v = 0;
          memcpy(&v, image + w * blocks[b].bytes, blocks[b].bytes);
          if (__BYTE_ORDER__ == __ORDER_BIG_ENDIAN__)
            v >>= 64 - 8 * blocks[b].bytes;
          if (v != g.word[w])
            fail_msg("%s word %zu: image %llx, memory %llx", p->name, w, (unsigned long long)v,
                     (unsigned long long)g.word[w]);
        }
      }
      lu_arena_free(&mem);
    }
}

static void blocks_that_do_not_fit(void **state)
{
  (void)state;
  lu_arena mem = {0};
  lu_err err = {0};
  lu_pattern *p = make(&mem, "", "{ at 4 (w0) }");
  lu_memory small = {.words = 4, .width = 8, .bytes = 1}, wide = {.words = 8, .width = 9, .bytes = 1};
  assert_int_equal(lu_pattern_fits(p, &small, &err), LU_ERR_VALUE);
  assert_non_null(strstr(err.message, "uses word 4"));
  assert_int_equal(lu_pattern_fits(p, &wide, &err), LU_ERR_VALUE);
  lu_arena_free(&mem);
}

#define COUNT(list) (sizeof(list) / sizeof((list)[0]))

int main(void)
{
  const struct CMUnitTest fixed[] = {
    cmocka_unit_test(built_in_patterns_are_sound),
    cmocka_unit_test(promised_names_are_there),
    cmocka_unit_test(broken_files_do_no_harm),
    cmocka_unit_test(refuses_when_memory_is_short),
    cmocka_unit_test(good_memory_passes_everything),
    cmocka_unit_test(blocks_that_do_not_fit),
  };
  struct CMUnitTest tests[COUNT(rows) + COUNT(expansions) + COUNT(fixed)];
  size_t n = 0;
  for (size_t i = 0; i < COUNT(rows); i++)
    tests[n++] = (struct CMUnitTest){.name = rows[i].name, .test_func = check_row,
                                     .initial_state = (void *)(uintptr_t)&rows[i]};
  for (size_t i = 0; i < COUNT(expansions); i++)
    tests[n++] = (struct CMUnitTest){.name = expansions[i].name, .test_func = check_expansion,
                                     .initial_state = (void *)(uintptr_t)&expansions[i]};
  memcpy(tests + n, fixed, sizeof fixed);
  return cmocka_run_group_tests(tests, NULL, NULL);
}
