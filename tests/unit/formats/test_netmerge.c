/* SPDX-License-Identifier: MIT */
/* A netlist and a layout of one board together; what they disagree about. */
#include "formats/netform.h"
#include "formats/netmerge.h"
#include "netlist_text.h"

#include <setjmp.h>
#include <stdarg.h>
#include <string.h>
#include <cmocka.h>

#define HEAD "P  UNITS CUST 1\n"
#define POINT(net14, ref6, pin4) "317" net14 "   " ref6 "-" pin4 " D0800PA00X+001000Y+002000\n"

typedef struct row {
  const char *name, *names, *layout;
  const char *nets;        /* of the result */
  const char *place_nets;  /* net of each place, "A A B" */
  const char *differences; /* joined by "; " */
} row;

static const row rows[] = {
    {"names and functions stay, places come", "A,U1,1,CLK\nA,U2,2\n",
     HEAD POINT("A             ", "U1    ", "1   ") POINT("A             ", "U2    ", "2   ")
         POINT("A             ", "VIA   ", "    ") "999\n",
     "A=U1.1(CLK) U2.2", "A A A", ""},
    {"a net goes by its pins, whatever the layout calls it", "/sheet/long_name/D0,U1,1\n"
     "/sheet/long_name/D0,U2,2\n/sheet/long_name/D1,U2,3\n",
     HEAD POINT("ONG_NAME/D0#1 ", "U1    ", "1   ") POINT("ONG_NAME/D0#1 ", "U2    ", "2   ")
         POINT("ONG_NAME/D0#1 ", "VIA   ", "    ") POINT("T/LONG_NAME/D1", "VIA   ", "    ")
             POINT("T/LONG_NAME/D1", "U2    ", "3   ") "999\n",
     "/sheet/long_name/D0=U1.1 U2.2; /sheet/long_name/D1=U2.3",
     "/sheet/long_name/D0 /sheet/long_name/D0 /sheet/long_name/D0 /sheet/long_name/D1 "
     "/sheet/long_name/D1",
     ""},
    {"a net of vias alone goes by the end of its name", "/sheet/long_name/D0,U1,1\n",
     HEAD POINT("T/LONG_NAME/D0", "VIA   ", "    ") "999\n", "/sheet/long_name/D0=U1.1",
     "/sheet/long_name/D0", "U1 is not in the layout"},
    {"cut references are told apart by pins, then by nets",
     "A,SWITCH1,1\nB,SWITCH2,1\nB,SWITCH2,22222\n",
     HEAD POINT("B             ", "SWITCH", "1   ") POINT("B             ", "SWITCH", "2222")
         "999\n",
     "A=SWITCH1.1; B=SWITCH2.1 SWITCH2.22222", "B B", "SWITCH1 is not in the layout"},
    {"a pin on another net", "A,U1,1\nA,U2,1\nB,U1,2\nB,U2,2\nB,U3,1\n",
     HEAD POINT("A             ", "U1    ", "1   ") POINT("A             ", "U2    ", "1   ")
         POINT("B             ", "U1    ", "2   ") POINT("B             ", "U2    ", "2   ")
             POINT("A             ", "U3    ", "1   ") "999\n",
     "A=U1.1 U2.1; B=U1.2 U2.2 U3.1", "A A B B B",
     "U3.1 is on net B in the netlist and on net A in the layout"},
    {"a net in pieces", "A,U1,1\nA,U2,1\nA,U3,1\n",
     HEAD POINT("A             ", "U1    ", "1   ") POINT("A             ", "U2    ", "1   ")
         POINT("Z             ", "U3    ", "1   ") "999\n",
     "A=U1.1 U2.1 U3.1", "A A A", "net A of the netlist is in pieces in the layout: A and Z"},
    {"unconnected in one of them", "A,U1,1\nA,U2,1\nB,U2,9\n",
     HEAD POINT("A             ", "U1    ", "1   ") POINT("N/C           ", "U2    ", "1   ")
         POINT("N/C           ", "U2    ", "9   ") "999\n",
     "A=U1.1 U2.1; B=U2.9", "A A B",
     "U2.1 is on net A in the netlist and unconnected in the layout"},
    {"more in the layout, less in the layout", "A,U1,1\nA,U1,2\nA,U2,1\n",
     HEAD POINT("A             ", "U1    ", "1   ") POINT("A             ", "TP1   ", "1   ")
         POINT("A             ", "TP1   ", "1   ") "999\n",
     "A=U1.1 U1.2 U2.1 TP1.1", "A A A",
     "TP1.1 on net A of the layout is not in the netlist; U1.2 on net A has no place in the "
     "layout; U2 is not in the layout"},
};

static lu_netlist *must_read(const char *text, lu_arena *mem)
{
  lu_netlist *n = NULL;
  lu_err err = {0};
  lu_bytes in = {(const uint8_t *)text, strlen(text)};
  assert_int_equal(lu_netform_read(in, mem, &n, &err), LU_OK);
  return n;
}

static void check_row(void **state)
{
  const row *r = *state;
  lu_arena inputs = {0}, mem = {0};
  lu_err err = {0};
  lu_netmerge m = {0};
  assert_int_equal(lu_netmerge_join(must_read(r->names, &inputs), must_read(r->layout, &inputs),
                                    &mem, &m, &err),
                   LU_OK);
  lu_arena_free(&inputs); /* nothing is borrowed */
  char text[2000] = "";
  netlist_text(m.netlist, text, sizeof text);
  assert_string_equal(text, r->nets);
  *text = 0;
  for (size_t i = 0; i < m.netlist->place_count; i++) {
    strcat(text, i ? " " : "");
    strcat(text, m.netlist->nets[m.netlist->places[i].net].name);
  }
  assert_string_equal(text, r->place_nets);
  *text = 0;
  for (size_t i = 0; i < m.difference_count; i++) {
    strcat(text, i ? "; " : "");
    strcat(text, m.differences[i]);
  }
  assert_string_equal(text, r->differences);
  lu_arena_free(&mem);
}

static void check_no_memory(void **state)
{
  const row *r = *state;
  lu_arena inputs = {0};
  lu_netlist *names = must_read(r->names, &inputs), *layout = must_read(r->layout, &inputs);
  for (size_t n = 1;; n++) {
    assert_true(n < 2000);
    lu_arena mem = {.fail_from = n};
    lu_err err = {0};
    lu_netmerge m = {0};
    lu_status status = lu_netmerge_join(names, layout, &mem, &m, &err);
    lu_arena_free(&mem);
    if (status == LU_OK)
      break;
    assert_int_equal(status, LU_ERR_NOMEM);
    assert_null(m.netlist);
  }
  lu_arena_free(&inputs);
}

int main(void)
{
  enum { ROWS = sizeof rows / sizeof *rows };
  static struct CMUnitTest tests[2 * ROWS];
  static char names[ROWS][120];
  for (size_t i = 0; i < ROWS; i++) {
    tests[i] = (struct CMUnitTest){
        .name = rows[i].name, .test_func = check_row, .initial_state = (void *)&rows[i]};
    snprintf(names[i], sizeof names[i], "%s: n-th request for memory fails", rows[i].name);
    tests[ROWS + i] = (struct CMUnitTest){
        .name = names[i], .test_func = check_no_memory, .initial_state = (void *)&rows[i]};
  }
  return _cmocka_run_group_tests("netmerge", tests, 2 * ROWS, NULL, NULL);
}
