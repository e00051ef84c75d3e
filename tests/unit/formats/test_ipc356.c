/* SPDX-License-Identifier: MIT */
/* IPC-D-356A: records, units, aliases, and what writers get wrong. */
#include "formats/netform.h"
#include "netlist_text.h"

#include <setjmp.h>
#include <stdarg.h>
#include <string.h>
#include <cmocka.h>

#define CUST0 "P  UNITS CUST 0\n"
#define CUST1 "P  UNITS CUST 1\n"

typedef struct row {
  const char *name, *input;
  lu_status status;
  uint32_t line, column;
  const char *nets;   /* status LU_OK; else words of the message */
  const char *places; /* "net ref.pin x,y hole width height access flags; ..." in mm */
  unsigned notes;
} row;

static const row rows[] = {
    /* The next five records stand in public documents of the format and in exports of two EDA
     * tools; expected values are the columns of IPC-D-356A taken by hand, 0.0001 in = 0.00254 mm. */
    {"a plated through hole", CUST0
     "317+3.3V            J13   -2    D0400PA00X+043550Y+006480\n999\n",
     LU_OK, 0, 0, "+3.3V=J13.2", "+3.3V J13.2 110.6170,16.4592 1.0160 0.0000 0.0000 A0", 0},
    {"a surface point on an inner or far layer", CUST0
     "327GND              C215  -2          A08X+050850Y+047799\n999\n",
     LU_OK, 0, 0, "GND=C215.2", "GND C215.2 129.1590,121.4095 0.0000 0.0000 0.0000 A8", 0},
    {"millimetres, blank signs, S in column 73", CUST1
     "3273V3              C1    -2         PA01X 095430Y 058420X1800Y1300R090 S0\n999\n",
     LU_OK, 0, 0, "3V3=C1.2", "3V3 C1.2 95.4300,58.4200 0.0000 1.8000 1.3000 A1", 0},
    {"S in column 72", CUST0
     "327+5V              U14   -1          A01X+020421Y-028518X0522Y0236R090S1\n999\n",
     LU_OK, 0, 0, "+5V=U14.1", "+5V U14.1 51.8693,-72.4357 0.0000 1.3259 0.5994 A1", 0},
    {"a via as middle point", CUST0
     "317NET-(D381-A)     VIA        MD0079PA00X+036506Y-028140X0138Y0000R000S3\n999\n",
     LU_OK, 0, 0, "NET-(D381-A)=", "NET-(D381-A) - 92.7252,-71.4756 0.2007 0.3505 0.0000 A0 mid via",
     0},
    /* Alias line as in the public description of the parameter; the records made for this test. */
    {"a net's full name from NNAME", "P  UNITS SI\nP  NNAME1     A LIM\n"
     "317NNAME1           U1    -1    D0800PA00X+001000Y+002000\n"
     "327NNAME1           U2    -12         A01X+003000Y-002000X0600Y0600\n999\n",
     LU_OK, 0, 0, "A LIM=U1.1 U2.12",
     "A LIM U1.1 1.0000,2.0000 0.8000 0.0000 0.0000 A0; "
     "A LIM U2.12 3.0000,-2.0000 0.0000 0.6000 0.6000 A1", 0},
    {"CUST without number, and radians (CUST 2)", "P  UNITS CUST\n"
     "317A                U1    -1    D0800PA00X+001000Y+002000\nP  UNITS CUST 2\n"
     "317A                U1    -2    D0800PA00X+001000Y+002000\n999\n",
     LU_OK, 0, 0, "A=U1.1 U1.2",
     "A U1.1 2.5400,5.0800 2.0320 0.0000 0.0000 A0; A U1.2 2.5400,5.0800 2.0320 0.0000 0.0000 A0",
     0},
    {"continuation records", CUST1
     "317A                U1    -1    D0800PA00X+001000Y+002000\n"
     "017                                    A02X+001000Y+002000X0900Y0900\n"
     "017                                    A03\n999\n",
     LU_OK, 0, 0, "A=U1.1",
     "A U1.1 1.0000,2.0000 0.8000 0.0000 0.0000 A0; A U1.1 1.0000,2.0000 0.0000 0.9000 0.9000 A2; "
     "A U1.1 1.0000,2.0000 0.0000 0.9000 0.9000 A2", 2},
    {"unconnected pins get nets of their own; tooling holes none", CUST1
     "317N/C              U1    -1    D0800PA00X+001000Y+002000\n"
     "317N/C              U1    -2    D0800PA00X+002000Y+002000\n"
     "317N/C              H1          D3200UA00X+002000Y+002000\n"
     "367N/C              H2          D3200UA00X+003000Y+002000\n999\n",
     LU_OK, 0, 0, "N/C U1.1=U1.1; N/C U1.2=U1.2",
     "N/C U1.1 U1.1 1.0000,2.0000 0.8000 0.0000 0.0000 A0; "
     "N/C U1.2 U1.2 2.0000,2.0000 0.8000 0.0000 0.0000 A0", 0},
    {"two pads of a pin are one pin and two places", CUST1
     "327A                J1    -S1         A01X+001000Y+002000\n"
     "327A                J1    -S1         A01X+003000Y+002000\n999\n",
     LU_OK, 0, 0, "A=J1.S1",
     "A J1.S1 1.0000,2.0000 0.0000 0.0000 0.0000 A1; A J1.S1 3.0000,2.0000 0.0000 0.0000 0.0000 A1",
     0},
    {"a blind via", CUST1
     "307A                VIA         D0300PA01X+001000Y+002000X0600Y0000R000 S3L01L02\n999\n",
     LU_OK, 0, 0, "A=", "A - 1.0000,2.0000 0.3000 0.6000 0.0000 A1 via", 0},
    {"no units: tenths of a mil, with a note",
     "317A                U1    -1    D0800PA00X+001000Y+002000\n999\n", LU_OK, 0, 0, "A=U1.1",
     "A U1.1 2.5400,5.0800 2.0320 0.0000 0.0000 A0", 1},
    {"a long name ran into the blank columns", CUST1
     "317LONG_NET_NAME_16 U1    -1    D0800PA00X+001000Y+002000\n999\n",
     LU_OK, 0, 0, "LONG_NET_NAME_16=U1.1", "LONG_NET_NAME_16 U1.1 1.0000,2.0000 0.8000 0.0000 0.0000 A0",
     1},
    {"a long name pushed everything to the right", CUST1
     "317LONG_NET_NAME_OF_25_BYTES   U1    -1   MD0800PA00X+001000Y+002000X0900Y0900\n999\n",
     LU_OK, 0, 0, "LONG_NET_NAME_OF_25_BYTES=U1.1",
     "LONG_NET_NAME_OF_25_BYTES U1.1 1.0000,2.0000 0.8000 0.9000 0.9000 A0 mid", 1},
    {"a long reference pushed everything to the right", CUST1
     "327A                ABRT_SW101-12          A01X+001000Y+002000\n999\n", LU_OK, 0, 0,
     "A=ABRT_SW101.12", "A ABRT_SW101.12 1.0000,2.0000 0.0000 0.0000 0.0000 A1", 1},
    {"one column is missing", CUST1
     "317A                U1    -1   D0800PA00X+001000Y+002000\n999\n", LU_OK, 0, 0, "A=U1.1",
     "A U1.1 1.0000,2.0000 0.8000 0.0000 0.0000 A0", 1},
    {"a pin whose reference may be cut stands on two nets", CUST1
     "327A                ABRT_S-1          A01X+001000Y+002000\n"
     "327B                ABRT_S-1          A01X+001000Y+002000\n999\n", LU_OK, 0, 0,
     "A=ABRT_S.1; B=",
     "A ABRT_S.1 1.0000,2.0000 0.0000 0.0000 0.0000 A1; "
     "B ABRT_S.1 1.0000,2.0000 0.0000 0.0000 0.0000 A1", 1},
    {"comments, other parameters, records of no use, CR LF, text behind 999",
     "C a remark\r\nP  JOB   tide\r\n" CUST1 "379A             B\r\n"
     "317A                U1    -1    D0800PA00X+001000Y+002000\r\n999\r\nrubbish\r\n",
     LU_OK, 0, 0, "A=U1.1", "A U1.1 1.0000,2.0000 0.8000 0.0000 0.0000 A0", 1},

    {"no 999", CUST1 "317A                U1    -1    D0800PA00X+001000Y+002000\n", LU_ERR_SYNTAX, 3,
     1, "999 record", NULL, 0},
    {"unknown units", "P  UNITS CUST 7\n999\n", LU_ERR_VALUE, 1, 10, "found \"CUST 7\"", NULL, 0},
    {"no coordinates", CUST1 "317A                U1    -1    D0800PA00\n999\n", LU_ERR_SYNTAX, 2,
     42, "coordinates X and Y", NULL, 0},
    {"letters in a coordinate", CUST1
     "317A                U1    -1    D0800PA00X+00l000Y+002000\n999\n", LU_ERR_SYNTAX, 2, 42,
     "coordinates X and Y", NULL, 0},
    {"a coordinate out of range", CUST1
     "317A                U1    -1    D0800PA00X+1234567Y+002000\n999\n", LU_ERR_VALUE, 2, 42,
     "at most 6 digits, found 7", NULL, 0},
    {"not a record", CUST1 "hello\n999\n", LU_ERR_SYNTAX, 2, 1, "three digits", NULL, 0},
    {"an alias twice", "P  NNAME1     A\nP  NNAME1     B\n999\n", LU_ERR_VALUE, 2, 4,
     "NNAME1 again", NULL, 0},
    {"an alias without name", "P  NNAME1     \n999\n", LU_ERR_SYNTAX, 1, 10, "net's name", NULL, 0},
    {"a pin on two nets", CUST1
     "317A                U1    -1    D0800PA00X+001000Y+002000\n"
     "317B                U1    -1    D0800PA00X+001000Y+002000\n999\n", LU_ERR_VALUE, 3, 1,
     "U1.1 on net A and on net B", NULL, 0},
    {"a chain without beginning", CUST1 "078   X+001000Y+002000\n999\n", LU_ERR_SYNTAX, 2, 1,
     "378 or 389", NULL, 0},
    {"a conductor without layer", CUST1 "378A               X0100 X+1Y+1\n999\n", LU_ERR_SYNTAX, 2,
     19, "layer", NULL, 0},
};

static void places_text(const lu_netlist *n, char *to, size_t room)
{
  size_t at = 0;
  to[0] = 0;
  for (size_t i = 0; i < n->place_count && at < room; i++) {
    const lu_net_place *p = &n->places[i];
    char pin[80] = "-";
    if (p->part != UINT32_MAX)
      snprintf(pin, sizeof pin, "%s.%s", n->parts[p->part].ref, p->number ? p->number : "");
    at += (size_t)snprintf(to + at, room - at, "%s%s %s %.4f,%.4f %.4f %.4f %.4f A%u%s%s",
                           i ? "; " : "", n->nets[p->net].name, pin, p->x_mm, p->y_mm, p->hole_mm,
                           p->width_mm, p->height_mm, p->access, p->mid ? " mid" : "",
                           p->via ? " via" : "");
  }
}

static const lu_netform *ipc(void)
{
  for (size_t i = 0; i < lu_netform_count; i++)
    if (!strcmp(lu_netforms[i]->name, "ipc356"))
      return lu_netforms[i];
  return NULL;
}

static void check_row(void **state)
{
  const row *r = *state;
  lu_bytes in = {(const uint8_t *)r->input, strlen(r->input)};
  if (r->status == LU_OK)
    assert_ptr_equal(lu_netform_guess(in), ipc());
  lu_arena mem = {0};
  lu_err err = {0};
  lu_netlist *n = NULL;
  lu_status status = ipc()->read(in, &mem, &n, &err);
  if (status)
    print_message("%u:%u: %s\n", err.line, err.column, err.message);
  assert_int_equal(status, r->status);
  if (status == LU_OK) {
    char text[2000];
    netlist_text(n, text, sizeof text);
    assert_string_equal(text, r->nets);
    places_text(n, text, sizeof text);
    assert_string_equal(text, r->places);
    assert_int_equal(n->note_count, r->notes);
  } else {
    assert_null(n);
    assert_int_equal(err.line, r->line);
    assert_int_equal(err.column, r->column);
    assert_non_null(strstr(err.message, r->nets));
  }
  lu_arena_free(&mem);
}

/* Shape of the chains after the open description of the record; the board is made up. */
static const char drawn[] =
    CUST1 "378A              L02 X0200 X+001000Y+001000X+005000*X+005000Y+002000X+006000\n"
          "078   X+007000Y+003000\n"
          "389BOARD_EDGE      X+000000Y+000000X+050000 Y+040000\n"
          "089   X+000000\n999\n";

static void check_lines(void **state)
{
  (void)state;
  lu_arena mem = {0};
  lu_err err = {0};
  lu_netlist *n = NULL;
  assert_int_equal(ipc()->read((lu_bytes){(const uint8_t *)drawn, strlen(drawn)}, &mem, &n, &err),
                   LU_OK);
  assert_int_equal(n->track_count, 3); /* one before the *, one after, one continued */
  assert_int_equal(n->edge_count, 3);
  assert_int_equal(n->tracks[0].layer, 2);
  assert_string_equal(n->nets[n->tracks[0].net].name, "A");
  assert_float_equal(n->tracks[0].width_mm, 0.2, 1e-9);
  assert_float_equal(n->tracks[0].x2_mm, 5, 1e-9);
  assert_float_equal(n->tracks[0].y2_mm, 1, 1e-9);
  assert_float_equal(n->tracks[1].x1_mm, 5, 1e-9);
  assert_float_equal(n->tracks[1].y2_mm, 2, 1e-9);
  assert_float_equal(n->tracks[2].y1_mm, 2, 1e-9);
  assert_float_equal(n->tracks[2].x2_mm, 7, 1e-9);
  assert_float_equal(n->tracks[2].y2_mm, 3, 1e-9);
  assert_float_equal(n->edges[1].x1_mm, 50, 1e-9);
  assert_float_equal(n->edges[1].x2_mm, 50, 1e-9); /* X alone and Y alone are two points */
  assert_float_equal(n->edges[2].x2_mm, 0, 1e-9);
  assert_float_equal(n->edges[1].y2_mm, 40, 1e-9);
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
    lu_status status = ipc()->read((lu_bytes){copy, len}, &mem, &n, &err);
    assert_int_equal(status == LU_OK, n != NULL);
    assert_int_equal(status, err.status);
    (void)lu_netform_guess((lu_bytes){copy, len});
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
    lu_status status = ipc()->read(in, &mem, &got, &err);
    lu_arena_free(&mem);
    if (status == LU_OK)
      break;
    assert_int_equal(status, LU_ERR_NOMEM);
    assert_null(got);
  }
}

int main(void)
{
  enum { ROWS = sizeof rows / sizeof *rows };
  static const row lines_row = {"lines", drawn, LU_OK, 0, 0, NULL, NULL, 0};
  static struct CMUnitTest tests[3 * ROWS + 3];
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
  tests[n++] = (struct CMUnitTest){.name = "conductors and edges", .test_func = check_lines};
  tests[n++] = (struct CMUnitTest){.name = "conductors and edges: every prefix",
                                   .test_func = check_prefixes,
                                   .initial_state = (void *)&lines_row};
  tests[n++] = (struct CMUnitTest){.name = "conductors and edges: n-th request for memory fails",
                                   .test_func = check_no_memory,
                                   .initial_state = (void *)&lines_row};
  return _cmocka_run_group_tests("ipc356", tests, n, NULL, NULL);
}
