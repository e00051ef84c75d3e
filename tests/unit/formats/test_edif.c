/* SPDX-License-Identifier: MIT */
/* EDIF 2 0 0: names, arrays, hierarchy, and what is refused. */
#include "formats/netform.h"
#include "netlist_text.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stdlib.h>
#include <string.h>
#include <cmocka.h>

#define HEAD "(edif t (edifVersion 2 0 0) (edifLevel 0) (keywordMap (keywordLevel 0))\n"
#define NAND                                                                                       \
  " (external p (edifLevel 0) (technology (numberDefinition))\n"                                   \
  "  (cell NAND (cellType GENERIC) (view v (viewType NETLIST) (interface (port A) (port B) (port "  \
  "Y)))))\n"
#define TOP " (library w (edifLevel 0) (technology) (cell top (view v (viewType NETLIST) (interface "

typedef struct row {
  const char *name, *input;
  lu_status status;
  uint32_t line, column;
  const char *nets;
  unsigned notes;
} row;

static const row rows[] = {
    /* Made for this test after the grammar of EIA-548 (from memory of the document). */
    {"arrays, members, rename, ports of the design, case of identifiers",
     "(edif demo (edifVersion 2 0 0) (edifLevel 0) (keywordMap (keywordLevel 0))\n"
     " (library parts (edifLevel 0) (technology (numberDefinition))\n"
     "  (cell RAM (cellType GENERIC) (view v (viewType NETLIST)\n"
     "   (interface (port (array (rename D \"D[3:0]\") 4) (direction INOUT))\n"
     "              (port (rename CS_n \"/CS\") (direction INPUT))))))\n"
     " (library work (edifLevel 0) (technology (numberDefinition))\n"
     "  (cell TOP (cellType GENERIC) (view v (viewType NETLIST)\n"
     "   (interface (port SEL (direction INPUT)))\n   (contents\n"
     "    (instance U1 (viewRef v (cellRef RAM (libraryRef parts))))\n"
     "    (instance (rename U2_ \"U2\") (viewRef v (cellRef RAM (libraryRef parts))))\n"
     "    (net (rename N1 \"/CS0\") (joined (portRef SEL) (portRef CS_n (instanceRef U1)) (portRef "
     "cs_N (instanceRef U2_))))\n"
     "    (net D0 (joined (portRef (member D 3) (instanceRef U1)) (portRef (member D 3) (instanceRef "
     "U2_))))))))\n (design root (cellRef TOP (libraryRef work))))\n",
     LU_OK, 0, 0, "/CS0=TOP.SEL(SEL) U1./CS(/CS) U2./CS(/CS); D0=U1.D[0](D[0]) U2.D[0](D[0])", 1},
    {"numeric ports, codes in strings, value property", HEAD
     " (external p (cell (rename &00 \"74%76%S00\") (view v (viewType NETLIST) (interface (port &1) "
     "(port &2)))))\n" TOP ") (contents (instance U1 (viewRef v (cellRef &00 (libraryRef p))) "
     "(property VALUE (string \"x\")))\n"
     "  (net (rename n \"A%32 33%%34%\") (joined (portRef &1 (instanceRef U1)) (portRef &2 "
     "(instanceRef u1)))))))))",
     LU_OK, 0, 0, "A !\"=U1.1 U1.2", 1},
    {"hierarchy: nets go through, inner nets carry their path", HEAD NAND
     " (library w (cell gate (view v (viewType NETLIST) (interface (port I) (port O))\n"
     "   (contents (instance N1 (viewRef v (cellRef NAND (libraryRef p)))) (instance N2 (viewRef v "
     "(cellRef NAND (libraryRef p))))\n"
     "    (net in (joined (portRef I) (portRef A (instanceRef N1)) (portRef B (instanceRef N1))))\n"
     "    (net mid (joined (portRef Y (instanceRef N1)) (portRef A (instanceRef N2))))\n"
     "    (net out (joined (portRef Y (instanceRef N2)) (portRef O))))))\n"
     "  (cell top (view v (viewType NETLIST) (interface) (contents\n"
     "   (instance X (viewRef v (cellRef gate))) (instance Y (viewRef v (cellRef gate)))\n"
     "   (net a (joined (portRef O (instanceRef X)) (portRef I (instanceRef Y))))))))\n"
     " (design d (cellRef top (libraryRef w))))",
     LU_OK, 0, 0,
     "a=X/N2.Y(Y) Y/N1.A(A) Y/N1.B(B); X/in=X/N1.A(A) X/N1.B(B); "
     "X/mid=X/N1.Y(Y) X/N2.A(A); Y/mid=Y/N1.Y(Y) Y/N2.A(A); Y/out=Y/N2.Y(Y)",
     0},
    {"a cell that only joins two of its ports", HEAD NAND
     " (library w (cell link (view v (viewType NETLIST) (interface (port P) (port Q)) (contents (net "
     "n (joined (portRef P) (portRef Q))))))\n"
     "  (cell top (view v (viewType NETLIST) (interface) (contents (instance L (viewRef v (cellRef "
     "link)))\n   (instance N (viewRef v (cellRef NAND (libraryRef p))))\n"
     "   (net b (joined (portRef Q (instanceRef L)) (portRef B (instanceRef N))))\n"
     "   (net a (joined (portRef P (instanceRef L)) (portRef A (instanceRef N))))))))\n"
     " (design d (cellRef top (libraryRef w))))",
     LU_OK, 0, 0, "b=N.B(B) N.A(A)", 0},
    {"pin numbers from designators", HEAD
     " (external p (cell C (view v (viewType NETLIST) (interface (port A (designator \"3\")) (port "
     "B)))))\n" TOP ") (contents (instance i (viewRef v (cellRef C (libraryRef p))) (designator "
     "\"U7\") (portInstance B (designator \"9\")))\n"
     "  (net n (joined (portRef A (instanceRef i)) (portRef B (instanceRef i))))))))"
     " (design d (cellRef top (libraryRef w))))",
     LU_OK, 0, 0, "n=U7.3(A) U7.9(B)", 0},
    {"arrays of nets and instances", HEAD NAND TOP
     ") (contents (instance (array N 2) (viewRef v (cellRef NAND (libraryRef p))))\n"
     "  (net (array (rename b \"b[1:0]\") 2) (joined (portRef A (instanceRef N))))\n"
     "  (net y (joined (portRef Y (instanceRef (member N 1)))))))))"
     " (design d (cellRef top (libraryRef w))))",
     LU_OK, 0, 0, "b[1]=N[0].A(A); b[0]=N[1].A(A); y=N[1].Y(Y)", 0},
    {"two nets of one name", HEAD NAND TOP
     ") (contents (instance N (viewRef v (cellRef NAND (libraryRef p))))\n"
     "  (net (rename x \"n\") (joined (portRef A (instanceRef N)))) (net n (joined (portRef B "
     "(instanceRef N))))))))"
     " (design d (cellRef top (libraryRef w))))",
     LU_OK, 0, 0, "n=N.A(A); n#2=N.B(B)", 0},
    {"an array without range", HEAD
     " (external p (cell C (view v (viewType NETLIST) (interface (port (array D 2))))))\n" TOP
     ") (contents (instance U (viewRef v (cellRef C (libraryRef p))))\n"
     "  (net n (joined (portRef (member D 1) (instanceRef U))))))))"
     " (design d (cellRef top (libraryRef w))))",
     LU_OK, 0, 0, "n=U.D[0](D[0])", 1},

    {"a cell inside itself", HEAD
     " (library w (cell a (view v (viewType NETLIST) (interface) (contents\n"
     "  (instance b (viewRef v (cellRef a))))))) (design d (cellRef a (libraryRef w))))",
     LU_ERR_VALUE, 3, 13, "inside itself", 0},
    {"an unknown cell", HEAD TOP
     ") (contents\n  (instance U (viewRef v (cellRef nix)))))))"
     " (design d (cellRef top (libraryRef w))))",
     LU_ERR_MISSING, 3, 13, "cell \"nix\" in library \"w\"", 0},
    {"an unknown instance", HEAD TOP
     ") (contents (net n (joined\n  (portRef A (instanceRef U))))))))"
     " (design d (cellRef top (libraryRef w))))",
     LU_ERR_MISSING, 3, 4, "instance \"u\"", 0},
    {"an unknown port", HEAD TOP
     ") (contents (net n (joined\n  (portRef A)))))))"
     " (design d (cellRef top (libraryRef w))))",
     LU_ERR_MISSING, 3, 4, "port \"a\"", 0},
    {"a member past the end", HEAD
     " (external p (cell C (view v (viewType NETLIST) (interface (port (array D 2))))))\n" TOP
     ") (contents (instance U (viewRef v (cellRef C (libraryRef p))))\n"
     "  (net n (joined (portRef (member D 2) (instanceRef U))))))))"
     " (design d (cellRef top (libraryRef w))))",
     LU_ERR_VALUE, 4, 19, "below 2, found 2", 0},
    {"nets of two widths", HEAD
     " (external p (cell C (view v (viewType NETLIST) (interface (port (array D 2)) (port A)))))\n" TOP
     ") (contents (instance U (viewRef v (cellRef C (libraryRef p))))\n"
     "  (net n (joined (portRef D (instanceRef U)) (portRef A (instanceRef U))))))))"
     " (design d (cellRef top (libraryRef w))))",
     LU_ERR_VALUE, 4, 47, "2 bits", 0},
    {"an instance twice", HEAD NAND TOP
     ") (contents (instance N (viewRef v (cellRef NAND (libraryRef p))))\n"
     "  (instance n (viewRef v (cellRef NAND (libraryRef p))))))))"
     " (design d (cellRef top (libraryRef w))))",
     LU_ERR_VALUE, 5, 13, "second \"n\"", 0},
    {"a pin on two nets", HEAD NAND TOP
     ") (contents (instance N (viewRef v (cellRef NAND (libraryRef p))))\n"
     "  (net a (joined (portRef A (instanceRef N))))\n"
     "  (net b (joined (portRef A (instanceRef N))))))))"
     " (design d (cellRef top (libraryRef w))))",
     LU_ERR_VALUE, 6, 19, "N.A on net a and on net b", 0},
    {"another version", "(edif t (edifVersion 3 0 0))", LU_ERR_VALUE, 1, 22, "2 0 0", 0},
    {"truncated", HEAD NAND, LU_ERR_SYNTAX, 4, 1, "1 closing brackets", 0},
    {"nothing in it", "(edif t)", LU_ERR_MISSING, 1, 9, "design", 0},
};

static const lu_netform *edif(void)
{
  for (size_t i = 0; i < lu_netform_count; i++)
    if (!strcmp(lu_netforms[i]->name, "edif"))
      return lu_netforms[i];
  return NULL;
}

static void check_row(void **state)
{
  const row *r = *state;
  lu_bytes in = {(const uint8_t *)r->input, strlen(r->input)};
  assert_ptr_equal(lu_netform_guess(in), edif());
  lu_arena mem = {0};
  lu_err err = {0};
  lu_netlist *n = NULL;
  lu_status status = edif()->read(in, &mem, &n, &err);
  if (status)
    print_message("%u:%u: %s\n", err.line, err.column, err.message);
  assert_int_equal(status, r->status);
  if (status == LU_OK) {
    char text[2000];
    netlist_text(n, text, sizeof text);
    assert_string_equal(text, r->nets);
    assert_int_equal(n->note_count, r->notes);
  } else {
    assert_null(n);
    assert_int_equal(err.line, r->line);
    assert_int_equal(err.column, r->column);
    assert_non_null(strstr(err.message, r->nets));
  }
  lu_arena_free(&mem);
}

static void check_prefixes(void **state)
{
  const row *r = *state;
  for (size_t len = 0; len < strlen(r->input); len++) {
    lu_arena mem = {0};
    lu_err err = {0};
    lu_netlist *n = NULL;
    uint8_t *copy = test_malloc(len + !len);
    memcpy(copy, r->input, len);
    lu_status status = edif()->read((lu_bytes){copy, len}, &mem, &n, &err);
    assert_int_equal(status == LU_OK, n != NULL);
    assert_int_equal(status, err.status);
    test_free(copy);
    lu_arena_free(&mem);
  }
}

static void check_no_memory(void **state)
{
  const row *r = *state;
  for (size_t n = 1;; n++) {
    assert_true(n < 2000);
    lu_arena mem = {.fail_from = n};
    lu_err err = {0};
    lu_netlist *got = NULL;
    lu_bytes in = {(const uint8_t *)r->input, strlen(r->input)};
    lu_status status = edif()->read(in, &mem, &got, &err);
    lu_arena_free(&mem);
    if (status == LU_OK)
      break;
    assert_int_equal(status, LU_ERR_NOMEM);
    assert_null(got);
  }
}

/* depth cells, each with one instance of the one before it (twice: two). */
static lu_status nested(unsigned depth, bool twice, lu_arena *mem, lu_netlist **n, lu_err *err)
{
  size_t room = 1000 + (size_t)depth * 400, at = 0;
  char *text = test_malloc(room);
  at += (size_t)snprintf(text, room, HEAD NAND " (library w\n");
  for (unsigned i = 0; i < depth; i++) {
    const char *cell = "NAND (libraryRef p)", *port = "A";
    char name[20];
    if (i) {
      snprintf(name, sizeof name, "c%u", i - 1);
      cell = name;
      port = "I";
    }
    at += (size_t)snprintf(text + at, room - at,
                           "(cell c%u (view v (viewType NETLIST) (interface (port I)) (contents "
                           "(instance u (viewRef v (cellRef %s)))%s%s%s\n"
                           "(net n (joined (portRef I) (portRef %s (instanceRef u)))))))\n",
                           i, cell, twice ? "(instance t (viewRef v (cellRef " : "",
                           twice ? cell : "", twice ? ")))" : "", port);
  }
  snprintf(text + at, room - at, ") (design d (cellRef c%u (libraryRef w))))", depth - 1);
  lu_status st = edif()->read((lu_bytes){(uint8_t *)text, strlen(text)}, mem, n, err);
  test_free(text);
  return st;
}

static void check_depth(void **state)
{
  (void)state;
  lu_arena mem = {0};
  lu_err err = {0};
  lu_netlist *n = NULL;
  assert_int_equal(nested(20000, false, &mem, &n, &err), LU_OK);
  assert_int_equal(n->net_count, 1); /* one net from the design's port down to the gate */
  assert_int_equal(n->pin_count, 2);
  assert_int_equal(strlen(n->parts[n->pins[1].part].ref), 2 * 20000 - 1); /* u/u/.../u */
  lu_arena_free(&mem);
}

/* 2 to the power of 40 gates: refused at once. */
static void check_explosion(void **state)
{
  (void)state;
  lu_arena mem = {0};
  lu_err err = {0};
  lu_netlist *n = NULL;
  assert_int_equal(nested(40, true, &mem, &n, &err), LU_ERR_LIMIT);
  assert_true(mem.used < 1000000);
  lu_arena_free(&mem);
}

int main(void)
{
  enum { ROWS = sizeof rows / sizeof *rows };
  static struct CMUnitTest tests[3 * ROWS + 2];
  static char names[3 * ROWS][120];
  size_t n = 0;
  for (size_t i = 0; i < ROWS; i++) {
    tests[n++] = (struct CMUnitTest){
        .name = rows[i].name, .test_func = check_row, .initial_state = (void *)&rows[i]};
    if (rows[i].status != LU_OK)
      continue;
    snprintf(names[n], sizeof names[n], "%s: every prefix", rows[i].name);
    tests[n] = (struct CMUnitTest){
        .name = names[n], .test_func = check_prefixes, .initial_state = (void *)&rows[i]};
    n++;
    snprintf(names[n], sizeof names[n], "%s: n-th request for memory fails", rows[i].name);
    tests[n] = (struct CMUnitTest){
        .name = names[n], .test_func = check_no_memory, .initial_state = (void *)&rows[i]};
    n++;
  }
  tests[n++] = (struct CMUnitTest){.name = "20,000 cells inside each other", .test_func = check_depth};
  tests[n++] = (struct CMUnitTest){.name = "a design that doubles 40 times is refused",
                                   .test_func = check_explosion};
  return _cmocka_run_group_tests("edif", tests, n, NULL, NULL);
}
