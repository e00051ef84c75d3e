/* SPDX-License-Identifier: MIT */
/* Netlist forms that carry no places: what is read, and where bad input is told. */
#include "formats/netform.h"
#include "netlist_text.h"

#include <setjmp.h>
#include <stdarg.h>
#include <string.h>
#include <cmocka.h>

typedef struct row {
  const char *name, *form, *input;
  lu_status status;
  uint32_t line, column;
  const char *nets; /* status LU_OK; else words of the message */
  unsigned notes;
} row;

static const row rows[] = {
    /* Tree of the exporter's source; versions and facts: schematic editor's manual, "Intermediate
     * netlist structure". The two-part example was made for this test. */
    {"kicad: two parts on one net, newest pin functions", "kicad",
     "(export (version \"E\")\n  (design (source \"t.kicad_sch\"))\n  (components\n"
     "    (comp (ref \"U1\") (value \"62256\") (libsource (lib \"Memory_RAM\") (part \"62256\") "
     "(description \"\")))\n"
     "    (comp (ref \"U2\") (value \"74LS245\") (libsource (lib \"74xx\") (part \"74LS245\") "
     "(description \"\"))))\n"
     "  (nets\n    (net (code \"1\") (name \"/D0\") (class \"Default\")\n"
     "      (node (ref \"U1\") (pin \"11\") (pinfunction \"D0_11\") (pintype \"tri_state\"))\n"
     "      (node (ref \"U2\") (pin \"2\") (pinfunction \"A0_2\") (pintype \"tri_state\")))))\n",
     LU_OK, 0, 0, "/D0=U1.11(D0) U2.2(A0)", 0},
    {"kicad: version D, bare atoms", "kicad",
     "(export (version D)\n (components (comp (ref R1) (value 10k)))\n"
     " (nets (net (code 1) (name /A0) (node (ref R1) (pin 1)) (node (ref U1) (pin A12)))))",
     LU_OK, 0, 0, "/A0=R1.1 U1.A12", 0},
    {"kicad: escapes and brackets inside strings", "kicad",
     "(export (version \"E\") (design (x \"a ) \\\" ( b\\\\\"))\n"
     " (nets (net (code \"1\") (name \"/~{RD\\\"(\") (node (ref \"U 1\") (pin \"1\")))))",
     LU_OK, 0, 0, "/~{RD\"(=U 1.1", 0},
    {"kicad: pin names from the symbol where a node has none", "kicad",
     "(export (version \"E\") (components (comp (ref \"U1\") (value \"~\") (libsource (lib \"L\") "
     "(part \"P\"))))\n (libparts (libpart (lib \"L\") (part \"P\") (pins (pin (num \"1\") (name "
     "\"A0\") (type \"input\")) (pin (num \"2\") (name \"X_2\") (type \"input\")) (pin (num \"3\") "
     "(name \"\")))))\n (nets (net (code \"1\") (name \"N\") (node (ref \"U1\") (pin \"1\")) (node "
     "(ref \"U1\") (pin \"2\") (pinfunction \"X_2\")) (node (ref \"U1\") (pin \"3\")))))",
     LU_OK, 0, 0, "N=U1.1(A0) U1.2(X_2) U1.3", 0},
    {"kicad: units of one part", "kicad",
     "(export (version E) (components (comp (ref U1) (value 74LS00)) (comp (ref U1) (value "
     "74LS00)))\n (nets (net (name N) (node (ref U1) (pin 1)))))",
     LU_OK, 0, 0, "N=U1.1", 1},
    {"kicad: a net without name is called by its code", "kicad",
     "(export (version D) (nets (net (code 7) (name \"\") (node (ref U1) (pin 1)))))", LU_OK, 0, 0,
     "net-7=U1.1", 0},
    {"kicad: an unknown version is noted", "kicad",
     "(export (version F) (nets (net (name N) (node (ref U1) (pin 1)))))", LU_OK, 0, 0, "N=U1.1",
     1},
    {"kicad: a pin listed twice on its net", "kicad",
     "(export (version E) (nets (net (name N) (node (ref U1) (pin 1)) (node (ref U1) (pin 1)))))",
     LU_OK, 0, 0, "N=U1.1", 1},
    {"kicad: a pin on two nets", "kicad",
     "(export (version E) (nets\n (net (name N) (node (ref U1) (pin 1)))\n (net (name M) (node (ref "
     "U1) (pin 1)))))",
     LU_ERR_VALUE, 3, 17, "U1.1 on net N and on net M", 0},
    {"kicad: two parts of one reference", "kicad",
     "(export (version E) (components (comp (ref U1) (value A))\n (comp (ref U1) (value B))) (nets))",
     LU_ERR_VALUE, 2, 3, "second \"U1\"", 0},
    {"kicad: a bracket too few", "kicad", "(export (version E) (nets (net (name N))", LU_ERR_SYNTAX,
     1, 41, "2 closing brackets", 0},
    {"kicad: a bracket too many", "kicad", "(export (version E) (nets))\n )", LU_ERR_SYNTAX, 2, 2,
     "end of the file", 0},
    {"kicad: a string without end", "kicad", "(export (version E)\n (nets (net (name \"N)))))",
     LU_ERR_SYNTAX, 2, 19, "closing quote", 0},
    {"kicad: a node without pin", "kicad",
     "(export (version E) (nets (net (name N) (node (ref U1)))))", LU_ERR_SYNTAX, 1, 42, "no pin",
     0},
    {"kicad: no nets at all", "kicad", "(export (version E))", LU_ERR_MISSING, 1, 21, "nets", 0},
    {"kicad: components without nets are empty", "kicad", "(export (nets))", LU_OK, 0, 0, "", 0},

    {"csv: no header", "csv", "A0,U1,12\nA0,U2,3,D4\n", LU_OK, 0, 0, "A0=U1.12 U2.3(D4)", 0},
    {"csv: columns named in another order", "csv",
     "Pin;Net Name;RefDes;Pin_Name\n12;A0;U1;\n3;A0;U2;D4\n", LU_OK, 0, 0, "A0=U1.12 U2.3(D4)", 0},
    {"csv: tabs, quotes (RFC 4180), CR LF, byte order mark", "csv",
     "\xef\xbb\xbf\"net\"\tref\tpin\r\n\"A \"\"0\"\"\"\tU1\t12\r\n", LU_OK, 0, 0,
     "A \"0\"=U1.12", 0},
    {"csv: one row a net", "csv", "A0,U1.12,U2.3\nA1,U1.13 U2.4,U3.5\n", LU_OK, 0, 0,
     "A0=U1.12 U2.3; A1=U1.13 U2.4 U3.5", 0},
    {"csv: one row a net under a header", "csv", "net;pins\nA0;U1-12, U2-3\n", LU_OK, 0, 0,
     "A0=U1.12 U2.3", 0},
    {"csv: a net name that begins with #", "csv", "# remark\n#RAS,U1,4\n", LU_OK, 0, 0,
     "#RAS=U1.4", 0},
    {"csv: a cell is missing", "csv", "A0,U1,12\nA0,U2\n", LU_ERR_SYNTAX, 2, 1, "fewer cells", 0},
    {"csv: an empty cell", "csv", "A0,U1,12\nA0,,3\n", LU_ERR_SYNTAX, 2, 4, "empty cell", 0},
    {"csv: a quote without end", "csv", "A0,U1,12\n\"A0,U1,13\n", LU_ERR_SYNTAX, 2, 1,
     "closing quote", 0},
    {"csv: text behind a quoted cell", "csv", "\"A0\"x,U1,12\n", LU_ERR_SYNTAX, 1, 5, "separator",
     0},
    {"csv: a pin on two nets", "csv", "A0,U1,12\nA1,U1,12\n", LU_ERR_VALUE, 2, 1,
     "net A0 and on net A1", 0},
    {"csv: no REF.PIN in a net's row", "csv", "A0,U1.12,U2.3\nA1,U1\n", LU_ERR_SYNTAX, 2, 4,
     "REF.PIN, found \"U1\"", 0},
    {"csv: a header and nothing else", "csv", "net,ref,pin\n", LU_OK, 0, 0, "", 0},

    {"nettext: nets on lines, going on in the next", "nettext",
     "# tide recorder\nMA0: U8.40, U16.5\n   U17.5\n\nMA1: U8-41\n", LU_OK, 0, 0,
     "MA0=U8.40 U16.5 U17.5; MA1=U8.41", 0},
    {"nettext: a net named with a colon", "nettext", "CPU:A0 : U1.1\n", LU_OK, 0, 0,
     "CPU:A0=U1.1", 0},
    {"nettext: no colon", "nettext", "MA0: U8.40\nMA1 U8.41\n", LU_ERR_SYNTAX, 2, 1, "no colon", 0},
    {"nettext: no pin", "nettext", "MA0: U8.40\nMA1: U8.41 U9\n", LU_ERR_SYNTAX, 2, 12,
     "REF.PIN, found \"U9\"", 0},
    {"nettext: pins before a net", "nettext", "# x\n U8.40\nMA0: U1.1\n", LU_ERR_SYNTAX, 2, 1,
     "before the first pins", 0},
    {"nettext: no name before the colon", "nettext", "MA0: U8.40\n: U8.41\n", LU_ERR_SYNTAX, 2, 1,
     "name before the colon", 0},
    {"nettext: a pin on two nets", "nettext", "MA0: U8.40\nMA1: U8.40\n", LU_ERR_VALUE, 2, 6,
     "U8.40 on net MA0", 0},
};

static const lu_netform *form_named(const char *name)
{
  for (size_t i = 0; i < lu_netform_count; i++)
    if (!strcmp(lu_netforms[i]->name, name))
      return lu_netforms[i];
  return NULL;
}

static void check_row(void **state)
{
  const row *r = *state;
  lu_bytes in = {(const uint8_t *)r->input, strlen(r->input)};
  const lu_netform *form = form_named(r->form);
  assert_non_null(form);
  if (r->status == LU_OK)
    assert_ptr_equal(lu_netform_guess(in), form);
  lu_arena mem = {0};
  lu_err err = {0};
  lu_netlist *n = NULL;
  lu_status status = form->read(in, &mem, &n, &err);
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

/* Every prefix of a good input, in a block of exactly its size: no crash, no half result. */
static void check_prefixes(void **state)
{
  const row *r = *state;
  const lu_netform *form = form_named(r->form);
  for (size_t len = 0; len < strlen(r->input); len++) {
    lu_arena mem = {0};
    lu_err err = {0};
    lu_netlist *n = NULL;
    uint8_t *copy = test_malloc(len + !len);
    memcpy(copy, r->input, len);
    lu_status status = form->read((lu_bytes){copy, len}, &mem, &n, &err);
    assert_int_equal(status == LU_OK, n != NULL);
    assert_int_equal(status, err.status);
    (void)lu_netform_guess((lu_bytes){copy, len});
    test_free(copy);
    lu_arena_free(&mem);
  }
}

/* The n-th request for memory is refused, for every n until the reading succeeds. */
static void check_no_memory(void **state)
{
  const row *r = *state;
  const lu_netform *form = form_named(r->form);
  for (size_t n = 1;; n++) {
    assert_true(n < 2000);
    lu_arena mem = {.fail_from = n};
    lu_err err = {0};
    lu_netlist *got = NULL;
    lu_bytes in = {(const uint8_t *)r->input, strlen(r->input)};
    lu_status status = form->read(in, &mem, &got, &err);
    lu_arena_free(&mem);
    if (status == LU_OK)
      break;
    assert_int_equal(status, LU_ERR_NOMEM);
    assert_null(got);
  }
}

static void check_nothing(void **state)
{
  (void)state;
  lu_arena mem = {0};
  lu_err err = {0};
  lu_netlist *n = NULL;
  assert_int_equal(lu_netform_read((lu_bytes){(const uint8_t *)"", 0}, &mem, &n, &err),
                   LU_ERR_SYNTAX);
  assert_int_equal(lu_netform_read((lu_bytes){(const uint8_t *)"hello\n", 6}, &mem, &n, &err),
                   LU_ERR_SYNTAX);
  assert_null(n);
  lu_arena_free(&mem);
}

/* 10,000 brackets deep, wanted and unwanted; a name of 5,000 bytes. */
static void check_extremes(void **state)
{
  (void)state;
  static char text[30000];
  static const char *const heads[] = {"(export ", "(export (x ", "(export (nets (net (name N) "};
  for (size_t k = 0; k < 3; k++) {
    strcpy(text, heads[k]);
    memset(text + strlen(heads[k]), '(', 10000);
    strcpy(text + strlen(heads[k]) + 10000, "x");
    lu_arena mem = {0};
    lu_err err = {0};
    lu_netlist *n = NULL;
    assert_int_equal(lu_netform_read((lu_bytes){(uint8_t *)text, strlen(text)}, &mem, &n, &err),
                     LU_ERR_LIMIT);
    assert_int_equal(err.line, 1);
    assert_true(err.column > 900 && err.column < 1100);
    lu_arena_free(&mem);
  }
  strcpy(text, "(export (nets (net (name ");
  size_t at = strlen(text);
  memset(text + at, 'N', 5000);
  strcpy(text + at + 5000, ") (node (ref U1) (pin 1)))))");
  lu_arena mem = {0};
  lu_err err = {0};
  lu_netlist *n = NULL;
  assert_int_equal(lu_netform_read((lu_bytes){(uint8_t *)text, strlen(text)}, &mem, &n, &err),
                   LU_ERR_LIMIT);
  assert_int_equal(err.column, 26);
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
  tests[n++] = (struct CMUnitTest){.name = "nothing that is a netlist", .test_func = check_nothing};
  tests[n++] = (struct CMUnitTest){.name = "too deep, too long", .test_func = check_extremes};
  return _cmocka_run_group_tests("netforms", tests, n, NULL, NULL);
}
