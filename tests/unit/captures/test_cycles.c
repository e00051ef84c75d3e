/* SPDX-License-Identifier: MIT */
/* Bus cycles. The shapes are drawn after the makers' data sheets, from memory of their timing
 * diagrams (order of edges, not the figures in ns):
 *   Zilog, Z80 CPU User Manual (UM0080), "Memory Read or Write", "Input or Output Cycles" [memory]
 *   MOS Technology, MCS6500 Microcomputer Family Hardware Manual, "System Timing" [memory]
 *   Motorola, MC68000 User's Manual, "Data Transfer Operations" (read, write, byte, TAS) [memory]
 *   Texas Instruments, TMS4164 data sheet: read, early write, read-modify-write, page mode, RAS-only
 *   refresh; Hitachi HM50256: CAS before RAS refresh, hidden refresh [memory] */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>

#include <cmocka.h>

#include "formats/capform.h"
#include "formats/sigmap.h"
#include "reason/cycles.h"
#include "reason/refresh.h"
#include "reason/shadow.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

typedef struct bench {
  lu_arena mem;
  lu_sigmap *map;
  lu_cycles *cycles;
  lu_shadow *shadow;
  char *text;
  size_t len;
  FILE *out;
  lu_status status;
  lu_err err;
} bench;

static void put_hex(FILE *f, uint64_t v, uint64_t u, unsigned bits)
{
  for (unsigned d = (bits + 3) / 4; d-- > 0;)
    fputc(u >> d * 4 & 15 ? 'x' : "0123456789abcdef"[v >> d * 4 & 15], f);
}

static lu_status take(void *to, const lu_cycle *c, lu_err *err)
{
  bench *b = to;
  unsigned bits = lu_cycles_data_bits(b->cycles);
  fprintf(b->out, "%lld %s ", (long long)c->end, lu_cycle_kind_name(c->kind));
  put_hex(b->out, c->address, c->address_unknown, lu_cycles_address_bits(b->cycles));
  fputc(' ', b->out);
  put_hex(b->out, c->data, c->data_unknown, bits);
  if (c->kind == LU_CYCLE_READ_WRITE) {
    fputc('>', b->out);
    put_hex(b->out, c->written, c->written_unknown, bits);
  }
  if (c->waits)
    fprintf(b->out, " w%u", c->waits);
  if (c->flags)
    fprintf(b->out, " f%u", c->flags);
  fputc('\n', b->out);
  return lu_shadow_cycle(b->shadow, c, err);
}

static lu_status begin(void *to, const lu_cap *cap, lu_err *err)
{
  bench *b = to;
  lu_bind bind = {cap, b->map, "map"};
  return lu_cycles_open(&bind, take, b, &b->mem, &b->cycles, err);
}

static lu_status step(void *to, const lu_cap_step *s, lu_err *err)
{
  return lu_cycles_step(((bench *)to)->cycles, s, err);
}

static lu_status end(void *to, int64_t time, lu_err *err)
{
  (void)time;
  (void)err;
  lu_cycles_end(((bench *)to)->cycles);
  return LU_OK;
}

static void run(bench *b, const char *map, const char *capture)
{
  *b = (bench){0};
  b->out = open_memstream(&b->text, &b->len);
  b->status = lu_sigmap_read((lu_bytes){(const uint8_t *)map, strlen(map)}, &b->mem, &b->map, &b->err);
  b->shadow = lu_shadow_open(NULL, &b->mem);
  lu_capreader r = {.mem = &b->mem, .options = {1e9}, .sink = {begin, step, end, b, NULL}};
  if (b->status == LU_OK)
    b->status = lu_capreader_feed(&r, (lu_bytes){(const uint8_t *)capture, strlen(capture)}, &b->err);
  if (b->status == LU_OK)
    b->status = lu_capreader_end(&r, &b->err);
  fclose(b->out);
}

static void done(bench *b)
{
  free(b->text);
  lu_arena_free(&b->mem);
}

typedef struct shape {
  const char *name, *map, *capture, *cycles;
} shape;

#define Z80                                                                                        \
  "address: A\ndata: D\nclock: CLK\nwait: {pin: WAIT, active: low}\nstrobes:\n"                    \
  "  read: {pin: RD, active: low, when: {MREQ: low}}\n"                                            \
  "  write: {pin: WR, active: low, when: {MREQ: low}}\n"                                           \
  "  io read: {pin: RD, active: low, when: {IORQ: low}}\n"                                         \
  "  io write: {pin: WR, active: low, when: {IORQ: low}}\n"

#define P6502                                                                                      \
  "address: A\ndata: D\nstrobes:\n  read: {pin: PHI2, active: high, when: {RW: high}}\n"           \
  "  write: {pin: PHI2, active: high, when: {RW: low}}\n"

#define M68000                                                                                     \
  "address: [A1-A7]\ndata: D\nstrobes:\n  read: {pin: [UDS, LDS], active: low, when: {RW: high}}\n" \
  "  write: {pin: [UDS, LDS], active: low, when: {RW: low}}\n"                                     \
  "lanes:\n  D0-D7: {pin: LDS, active: low}\n  D8-D15: {pin: UDS, active: low}\n"

#define DRAM                                                                                       \
  "address: {row: MA, column: MA}\ndata: {in: DIN, out: DOUT}\ndram:\n"                            \
  "  ras: {pin: RAS, active: low}\n  cas: {pin: CAS, active: low}\n  write: {pin: WE, active: low}\n"

static const shape shapes[] = {
    {"Z80: memory read, refresh, memory write", Z80,
     "time_ns,A[15:0],D[7:0],MREQ,IORQ,RD,WR,RFSH,WAIT,CLK\n"
     "0,1234,zz,1,1,1,1,1,1,1\n10,,,0,,0,,,,0\n30,,5a,,,,,,,\n50,,,1,,1,,,,\n55,0042,zz,,,,,0,,\n"
     "60,,,0,,,,,,\n70,,,1,,,,1,,\n80,8000,a5,,,,,,,\n90,,,0,,,,,,\n100,,,,,,0,,,\n120,,,1,,,1,,,\n",
     "50000 read 1234 5a\n120000 write 8000 a5\n"},
    {"Z80: input and output go to their own strobes, the address stays", Z80,
     "time_ns,A[15:0],D[7:0],MREQ,IORQ,RD,WR,RFSH,WAIT,CLK\n0,0010,zz,1,1,1,1,1,1,1\n20,,,,0,0,,,,\n40,,77,,,,,,,\n"
     "60,,,,1,1,,,,\n80,0011,88,,,,,,,\n90,,,,0,,0,,,\n110,,,,1,,1,,,\n",
     "60000 read 0010 77\n110000 write 0011 88\n"},
    {"Z80: two wait states are counted by the clock", Z80,
     "time_ns,A[15:0],D[7:0],MREQ,IORQ,RD,WR,RFSH,WAIT,CLK\n0,1234,zz,1,1,1,1,1,1,0\n10,,,0,,0,,,0,1\n20,,,,,,,,,0\n"
     "30,,,,,,,,,1\n40,,,,,,,,,0\n50,,,,,,,,,1\n60,,5a,,,,,,1,0\n70,,,,,,,,,1\n80,,,1,,1,,,,0\n",
     "80000 read 1234 5a w2\n"},
    {"6502: read, write, read; data go away with the clock", P6502,
     "time_ns,A[15:0],D[7:0],RW,PHI2\n0,fffc,zz,1,0\n500,,,,1\n900,,34,,\n1000,,,,0\n1010,0200,zz,0,\n1500,,,,1\n1600,,9f,,\n"
     "2000,,,,0\n2010,0201,zz,1,\n2500,,,,1\n2900,,55,,\n3000,0202,zz,1,0\n",
     "1000000 read fffc 34\n2000000 write 0200 9f\n3000000 read 0201 55\n"},
    {"68000: word read, byte write to each half", M68000,
     "time_ns,A[7:1],D[15:0],AS,UDS,LDS,RW\n0,08,zzzz,1,1,1,1\n10,,,0,0,0,\n60,,beef,,,,\n90,,,1,1,1,\n100,09,zzzz,,,,0\n"
     "110,,41zz,0,,,\n130,,,,0,,\n190,,,1,1,,\n200,0a,zz42,,,,\n210,,,0,,,\n230,,,,,0,\n290,,,1,,1,1\n",
     "90000 read 08 beef\n190000 write 09 41xx\n290000 write 0a xx42\n"},
    {"68000: test and set keeps the address strobe and makes two cycles", M68000,
     "time_ns,A[7:1],D[15:0],AS,UDS,LDS,RW\n0,10,zzzz,1,1,1,1\n10,,,0,0,,\n60,,00zz,,,,\n90,,zzzz,,1,,\n110,,80zz,,,,0\n130,,,,0,,\n"
     "190,,,1,1,,1\n",
     "90000 read 10 00xx\n190000 write 10 80xx\n"},
    {"DRAM: read, early write", DRAM,
     "time_ns,MA[7:0],DIN,DOUT,RAS,CAS,WE\n0,12,0,z,1,1,1\n10,,,,0,,\n30,34,,,,,\n40,,,,,0,\n100,,,1,,,\n150,,,z,,1,\n160,,,,1,,\n"
     "200,56,1,z,,,\n210,,,,0,,\n230,78,,,,,0\n240,,,,,0,\n300,,,,1,1,1\n",
     "150000 read 1234 1\n300000 write 5678 1\n"},
    {"DRAM: read-modify-write in one access", DRAM,
     "time_ns,MA[7:0],DIN,DOUT,RAS,CAS,WE\n0,12,x,z,1,1,1\n10,,,,0,,\n30,34,,,,,\n40,,,,,0,\n100,,,0,,,\n120,,1,,,,0\n180,,,,1,1,1\n",
     "180000 read-write 1234 0>1\n"},
    {"DRAM: late write, the output never drove", DRAM,
     "time_ns,MA[7:0],DIN,DOUT,RAS,CAS,WE\n0,12,x,z,1,1,1\n10,,,,0,,\n30,34,,,,,\n40,,,,,0,\n50,,1,,,,0\n180,,,,1,1,1\n",
     "180000 late write 1234 1\n"},
    {"DRAM: page mode keeps the row", DRAM,
     "time_ns,MA[7:0],DIN,DOUT,RAS,CAS,WE\n0,12,0,z,1,1,1\n10,,,,0,,\n30,01,,,,,\n40,,,1,,0,\n60,,,z,,1,\n70,02,,,,,\n80,,,0,,0,\n"
     "100,,,z,,1,\n110,,,,1,,\n",
     "60000 read 1201 1\n100000 read 1202 0\n"},
    {"DRAM: row refresh, column before row, hidden refresh", DRAM,
     "time_ns,MA[7:0],DIN,DOUT,RAS,CAS,WE\n0,21,0,z,1,1,1\n10,,,,0,,\n60,,,,1,,\n100,,,,,0,\n110,,,,0,,\n160,,,,1,1,\n"
     "200,12,,,,,\n210,,,,0,,\n230,34,,,,,\n240,,,1,,0,\n260,,,,1,,\n280,,,,0,,\n300,,,,1,,\n310,,,z,,1,\n",
     "60000 row refresh 21xx x\n160000 auto refresh xxxx x\n300000 auto refresh xxxx x\n310000 read 1234 1\n"},
    {"DRAM: everything in one moment, as a simulation without delays writes it", DRAM,
     "time_ns,MA[7:0],DIN,DOUT,RAS,CAS,WE\n0,12,1,z,1,1,1\n10,12,1,,0,1,1\n20,34,1,,0,0,0\n30,00,x,z,1,1,1\n",
     "30000 write 1234 1\n"},
};

static void check_shape(void **state)
{
  const shape *s = *state;
  bench b;
  run(&b, s->map, s->capture);
  if (b.status != LU_OK)
    fail_msg("%u:%u: %s", b.err.line, b.err.column, b.err.message);
  assert_string_equal(b.text, s->cycles);
  assert_int_equal(lu_cycles_counts(b.cycles)->both, 0);
  done(&b);
}

#define PLAIN                                                                                      \
  "address: A\ndata: D\nstrobes:\n  read: {pin: RD, active: low}\n  write: {pin: WR, active: low}\n"

static void both_strobes_at_once(void **state)
{
  (void)state;
  bench b;
  run(&b, PLAIN, "time_ns,A[3:0],D[7:0],RD,WR\n0,1,00,1,1\n10,,,0,\n20,,,,0\n30,,,1,\n40,,,,1\n50,,,0,0\n60,,,1,1\n");
  assert_int_equal(b.status, LU_OK);
  assert_int_equal(lu_cycles_counts(b.cycles)->both, 2);
  assert_int_equal(lu_cycles_counts(b.cycles)->first_both, 20000);
  done(&b);
}

static void setup_times_and_moving_addresses(void **state)
{
  (void)state;
  bench b;
  run(&b, PLAIN "setup_ns: {address: 5, data: 20}\n",
      "time_ns,A[3:0],D[7:0],RD,WR\n0,0,00,1,1\n100,1,,,\n103,,,0,\n150,,,1,\n200,2,,,\n210,,,0,\n220,3,,,\n250,,,1,\n"
      "300,4,,,\n310,,,,0\n335,,11,,\n350,,,,1\n400,,,,0\n450,,,,1\n");
  assert_int_equal(b.status, LU_OK);
  assert_string_equal(b.text, "150000 read 1 00 f1\n250000 read 3 00 f2\n350000 write 4 11 f4\n450000 write 4 11\n");
  const lu_cycle_counts *n = lu_cycles_counts(b.cycles);
  assert_int_equal(n->address_late, 1);
  assert_int_equal(n->first_address_late, 103000);
  assert_int_equal(n->address_moved, 1);
  assert_int_equal(n->data_late, 1);
  done(&b);
}

static void unknown_strobes_make_no_cycle(void **state)
{
  (void)state;
  bench b;
  run(&b, PLAIN, "time_ns,A[3:0],D[7:0],RD,WR\n0,0,00,1,1\n10,,,0,\n20,,,x,\n30,,,1,\n40,,,0,\n50,x,z0,,\n60,,,1,\n");
  assert_int_equal(b.status, LU_OK);
  assert_string_equal(b.text, "60000 read x x0 f2\n");
  assert_int_equal(lu_cycles_counts(b.cycles)->undecided, 1);
  done(&b);
}

static void memory_remembers(void **state)
{
  (void)state;
  bench b;
  /* 5 written to 1, 9 to 2; 1 reads 5, 2 reads 8, 3 was never written. */
  run(&b, PLAIN,
      "sample,A[3:0],D[7:0],RD,WR\n0,1,05,1,1\n1,,,,0\n2,,,,1\n3,2,09,,\n4,,,,0\n5,,,,1\n6,1,05,,\n7,,,0,\n8,,,1,\n"
      "9,2,08,,\n10,,,0,\n11,,,1,\n12,3,77,,\n13,,,0,\n14,,,1,\n");
  assert_int_equal(b.status, LU_OK);
  const lu_shadow_counts *n = lu_shadow_counted(b.shadow);
  assert_int_equal(n->reads, 3);
  assert_int_equal(n->checked, 2);
  assert_int_equal(n->differed, 1);
  size_t count;
  const lu_shadow_miss *e = lu_shadow_misses(b.shadow, &count);
  assert_int_equal(count, 1);
  assert_int_equal(e->address, 2);
  assert_int_equal(e->expected, 9);
  assert_int_equal(e->got, 8);
  assert_int_equal(e->known, 0xff);
  done(&b);
}

static void rows_that_wait_too_long(void **state)
{
  (void)state;
  lu_arena mem = {0};
  lu_refresh *r = lu_refresh_open(4, 100, &mem);
  lu_refresh_report p;
  lu_refresh_begin(r, 0);
  for (int64_t t = 0; t < 1000; t += 10) {
    lu_cycle c = {.kind = LU_CYCLE_ROW_REFRESH, .begin = t, .end = t + 5, .row = (uint64_t)(t / 10) % 4};
    /* Row 2 is left out for a while, row 3 always. */
    if (c.row == 3 || (c.row == 2 && t > 300 && t < 600))
      continue;
    lu_refresh_cycle(r, &c, 0);
  }
  lu_refresh_end(r, 1000, &p);
  assert_int_equal(p.never, 1);
  assert_int_equal(p.late, 2);
  assert_int_equal(p.worst_row, 3);
  assert_int_equal(p.worst, 1000);
  assert_int_equal(p.waits[0], 40);
  assert_int_equal(p.waits[2], 320);
  lu_arena_free(&mem);
}

typedef struct bad {
  const char *name, *map, *capture;
  lu_status status;
  uint32_t line, column;
  const char *part;
} bad;

#define RD_WR "time,A[3:0],D[7:0],RD,WR\n0,0,00,1,1\n"

static const bad bads[] = {
    {"a signal that the capture lacks, the nearest shown", "address: A\ndata: D\nstrobes:\n  read: {pin: RDD, active: low}\n",
     RD_WR, LU_ERR_MISSING, 4, 15, "found 'RDD'; the nearest is 'RD'"},
    {"no strobe", "address: A\ndata: D\n", RD_WR, LU_ERR_MISSING, 1, 1, "no strobe is defined"},
    {"a strobe that says neither read nor write", "strobes:\n  raed: {pin: RD}\n", RD_WR, LU_ERR_VALUE, 2, 3, "found 'raed'"},
    {"a key that is none", "strobes:\n  read: {pn: RD}\n", RD_WR, LU_ERR_SYNTAX, 2, 10, "the nearest is 'pin'"},
    {"a level that is none", "strobes:\n  read: {pin: RD, active: lo}\n", RD_WR, LU_ERR_VALUE, 2, 27, "found lo"},
    {"an empty list", "address: []\n", RD_WR, LU_ERR_VALUE, 1, 10, "empty list"},
    {"YAML that is none", "address: [A\n", RD_WR, LU_ERR_SYNTAX, 2, 1, "expected YAML"},
    {"an empty map", "", RD_WR, LU_ERR_SYNTAX, 1, 1, "empty"},
    {"a range that is too long", "address: [A0-A9999]\n", RD_WR, LU_ERR_LIMIT, 1, 11, "more than 256"},
    {"dram without columns", "dram: {ras: {pin: RD}}\n", RD_WR, LU_ERR_SYNTAX, 1, 7, "ras: and cas:"},
    {"dram without a row address", "dram: {ras: {pin: RD}, cas: {pin: WR}}\n", RD_WR, LU_ERR_SYNTAX, 1, 1, "row: [...]"},
};

static void check_bad(void **state)
{
  const bad *x = *state;
  bench b;
  run(&b, x->map, x->capture);
  assert_int_equal(b.status, x->status);
  assert_int_equal(b.err.line, x->line);
  assert_int_equal(b.err.column, x->column);
  if (!strstr(b.err.message, x->part))
    fail_msg("'%s' lacks '%s'", b.err.message, x->part);
  done(&b);
}

static void names_find_their_signals(void **state)
{
  (void)state;
  lu_cap_signal signals[] = {
      {"top.u1.A", "A", LU_CAP_LEVEL, 1, 3, 3, 0, 0, 1, false},      {"top.A", "A", LU_CAP_LEVEL, 8, 7, 0, 1, 1, 2, false},
      {"top.B", "B", LU_CAP_LEVEL, 4, 0, 3, 9, 2, 3, false},         {"top.rd_n", "rd_n", LU_CAP_LEVEL, 1, -1, -1, 13, 3, 4, false},
      {"top.u1.x", "x", LU_CAP_LEVEL, 1, -1, -1, 14, 4, 5, false},   {"top.u2.x", "x", LU_CAP_LEVEL, 1, -1, -1, 15, 5, 6, false},
      {"top.u2.y", "y", LU_CAP_LEVEL, 1, -1, -1, 14, 4, 7, false},   {"CH7", "CH7", LU_CAP_LEVEL, 1, -1, -1, 16, 7, 8, false}};
  lu_cap cap = {"vcd", 8, signals, 1, 1e-9, false};
  lu_sig_rename rename = {"CH7", "MA3", 1, 1};
  lu_sigmap map = {.rename_count = 1, .renames = &rename};
  lu_bind bind = {&cap, &map, NULL};
  static const char *const also[] = {"none", "A5"};
  static const struct {
    const char *name;
    size_t also, count;
    uint32_t home; /* UINT32_MAX: missing, UINT32_MAX - 1: ambiguous */
  } rows[] = {{"A", 0, 8, 1},        {"A3", 0, 1, 4},      {"A[0]", 0, 1, 1},      {"u1.A3", 0, 1, 0},
              {"top.A", 0, 8, 1},    {"B0", 0, 1, 12},     {"B[3]", 0, 1, 9},      {"RD#", 0, 1, 13},
              {"/RD", 0, 1, 13},     {"~{RD}", 0, 1, 13},  {"nRD", 0, 1, 13},      {"x", 0, 0, UINT32_MAX - 1},
              {"u2.x", 0, 1, 15},    {"y", 0, 1, 14},      {"A8", 0, 0, UINT32_MAX}, {"MA3", 0, 1, 16},
              {"D5", 2, 1, 6}};
  for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
    lu_sig_name name = {rows[i].name, also, rows[i].also, 3, 4};
    uint32_t homes[64];
    size_t count = 0;
    lu_err err = {0};
    lu_status s = lu_bind_name(&bind, &name, homes, 64, &count, &err);
    if (rows[i].home >= UINT32_MAX - 1) {
      assert_int_equal(s, rows[i].home == UINT32_MAX ? LU_ERR_MISSING : LU_ERR_VALUE);
      assert_int_equal(err.line, 3);
      continue;
    }
    if (s != LU_OK || count != rows[i].count || homes[0] != rows[i].home)
      fail_msg("%s: status %d, %zu bits from %u", rows[i].name, s, count, homes[0]);
  }
}

int main(void)
{
  enum { SHAPES = sizeof shapes / sizeof *shapes, BAD = sizeof bads / sizeof *bads };
  struct CMUnitTest tests[SHAPES + BAD + 6];
  size_t n = 0;
  for (size_t i = 0; i < SHAPES; i++)
    tests[n++] = (struct CMUnitTest){.name = shapes[i].name, .test_func = check_shape, .initial_state = (void *)&shapes[i]};
  for (size_t i = 0; i < BAD; i++)
    tests[n++] = (struct CMUnitTest){.name = bads[i].name, .test_func = check_bad, .initial_state = (void *)&bads[i]};
  tests[n++] = (struct CMUnitTest)cmocka_unit_test(both_strobes_at_once);
  tests[n++] = (struct CMUnitTest)cmocka_unit_test(setup_times_and_moving_addresses);
  tests[n++] = (struct CMUnitTest)cmocka_unit_test(unknown_strobes_make_no_cycle);
  tests[n++] = (struct CMUnitTest)cmocka_unit_test(memory_remembers);
  tests[n++] = (struct CMUnitTest)cmocka_unit_test(rows_that_wait_too_long);
  tests[n++] = (struct CMUnitTest)cmocka_unit_test(names_find_their_signals);
  return _cmocka_run_group_tests("cycles", tests, n, NULL, NULL);
}
