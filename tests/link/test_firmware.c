/* SPDX-License-Identifier: MIT */
/* The built firmware on a simulated chip, with memories and faults on its pins. Times are the chip's. */
#include "avrbed.h"
#include "link/reader.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

enum { K64 = 65536 };
static uint16_t words[K64];

static lu_reader *open_bed(bed_kind kind, const lu_reader_memory *m, uint32_t rate)
{
  lu_reader *r = NULL;
  lu_err err = {0};
  if (!bed_start(LU_FIRMWARE, kind))
    fail_msg("the firmware does not load");
  if (lu_reader_open(bed_transport(), NULL, &r, &err) != LU_OK ||
      (rate && lu_reader_rate(r, rate, &err) != LU_OK) || lu_reader_setup(r, m, NULL, &err) != LU_OK)
    fail_msg("%s", err.message);
  return r;
}

static void done_with(lu_reader *r)
{
  lu_reader_close(r);
  bed_end();
}

static double read_all(lu_reader *r, uint32_t count)
{
  lu_err err = {0};
  uint32_t done = 0;
  uint64_t before = bed_cycles();
  if (lu_reader_read(r, 0, count, words, &done, &err) != LU_OK)
    fail_msg("%s", err.message);
  assert_int_equal(done, count);
  return (double)(bed_cycles() - before) / 16e6;
}

static const lu_reader_memory sram8 = {.kind = LU_WIRE_SRAM, .address_bits = 16, .data_bits = 8};
static const lu_reader_memory sram16 = {.kind = LU_WIRE_SRAM, .address_bits = 16, .data_bits = 16};
static const lu_reader_memory rom8 = {.kind = LU_WIRE_ROM, .address_bits = 16, .data_bits = 8};
static const lu_reader_memory dram1 = {.kind = LU_WIRE_DRAM, .address_bits = 16, .data_bits = 1,
                                       .row_bits = 8, .column_bits = 8, .refresh_bits = 8};

/* The chip's divider really makes 117647 for 115200; the share is of that line, 10 bits a byte. */
static void reads_a_rom_at_the_line_rate(void **state)
{
  (void)state;
  lu_reader *r = open_bed(BED_ROM, &rom8, 0);
  for (uint32_t i = 0; i < K64; i++)
    bed.memory[i] = (uint8_t)(i * 31 + (i >> 8));
  double took = read_all(r, K64);
  for (uint32_t i = 0; i < K64; i++)
    assert_int_equal(words[i], (uint8_t)(i * 31 + (i >> 8)));
  double share = K64 * 10.0 / 117647 / took;
  print_message("64 KiB at 115200: %.3f s of the chip's time, %.1f %% of its line\n", took, 100 * share);
  assert_true(share >= 0.95);
  assert_int_equal(bed.contentions, 0);
  lu_err err = {0};
  assert_int_equal(lu_reader_fill(r, 0, 16, LU_WIRE_SOLID, 0, &err), LU_ERR_VALUE); /* a ROM */
  done_with(r);
}

/* libsimavr's transmitter has no second buffer, so a byte that is not ready in time costs more there than on
 * the chip. At 2 Mbaud not the line but the chip's program sets the pace. */
static void reads_fast_at_a_megabaud(void **state)
{
  (void)state;
  for (uint32_t rate = 1000000; rate <= 2000000; rate += 1000000) {
    lu_reader *r = open_bed(BED_SRAM, &sram8, rate);
    for (uint32_t i = 0; i < K64; i++)
      bed.memory[i] = (uint8_t)(i ^ i >> 8);
    double took = read_all(r, K64);
    for (uint32_t i = 0; i < K64; i++)
      assert_int_equal(words[i], (uint8_t)(i ^ i >> 8));
    print_message("64 KiB at %u: %.3f s of the chip's time, %.1f %% of its line, %.0f bytes a second\n",
                  (unsigned)rate, took, 100 * K64 * 10.0 / rate / took, K64 / took);
    assert_true(K64 / took >= 80000);
    assert_int_equal(lu_reader_counted(r)->bad_frames, 0);
    done_with(r);
  }
}

static uint64_t failures, wrong_bits, first_address;

static bool note(void *to, const lu_march_failure *f)
{
  (void)to;
  if (!failures++)
    first_address = f->address;
  wrong_bits |= f->expected ^ f->got;
  return true;
}

static lu_march_result element(lu_reader *r, bool down, uint32_t count, uint8_t background, const char *ops)
{
  lu_march e = {.words = count, .down = down, .background = background};
  for (; *ops; ops += 2)
    e.ops[e.op_count++] = (lu_march_op){ops[0] == 'w', ops[1] == '1'};
  lu_march_result out;
  lu_err err = {0};
  failures = wrong_bits = 0;
  if (lu_reader_march(r, &e, &out, note, NULL, &err) != LU_OK)
    fail_msg("%s", err.message);
  return out;
}

/* March C- (Marinescu 1982; van de Goor 1991) on 16 bits */
static void marches_on_sound_memory(void **state)
{
  (void)state;
  static const struct {
    bool down;
    const char *ops;
  } march_c_minus[] = {{false, "w0"}, {false, "r0w1"}, {false, "r1w0"},
                       {true, "r0w1"}, {true, "r1w0"}, {false, "r0"}};
  lu_reader *r = open_bed(BED_SRAM, &sram16, 1000000);
  uint64_t before = bed_cycles();
  for (unsigned i = 0; i < 6; i++)
    assert_int_equal(element(r, march_c_minus[i].down, K64 / 8, LU_WIRE_SOLID, march_c_minus[i].ops).failures, 0);
  print_message("March C- on 8 Ki words of 16: %.2f s of the chip's time\n",
                (double)(bed_cycles() - before) / 16e6);
  assert_int_equal(bed.writes, 5 * K64 / 8);
  assert_int_equal(bed.contentions, 0);
  done_with(r);
}

static void finds_faults_on_the_pins(void **state)
{
  (void)state;
  lu_reader *r = open_bed(BED_SRAM, &sram8, 1000000);
  assert_true(bed_fault("D2=1"));
  element(r, false, 4096, LU_WIRE_SOLID, "w0");
  assert_int_equal(element(r, false, 4096, LU_WIRE_SOLID, "r0").failures, 4096);
  assert_int_equal(wrong_bits, 4);
  done_with(r);
  /* an address line stuck: a fill with the address shows the later of two */
  r = open_bed(BED_SRAM, &sram8, 1000000);
  assert_true(bed_fault("A3=0"));
  element(r, false, 256, LU_WIRE_ADDRESS, "w0");
  assert_int_equal(element(r, false, 256, LU_WIRE_ADDRESS, "r0").failures, 128);
  assert_int_equal(wrong_bits, 8);
  assert_int_equal(first_address, 0);
  done_with(r);
  r = open_bed(BED_SRAM, &sram8, 1000000);
  assert_true(bed_fault("D6~D7"));
  element(r, false, 256, LU_WIRE_ADDRESS, "w0");
  assert_int_equal(element(r, false, 256, LU_WIRE_ADDRESS, "r0").failures, 128);
  assert_int_equal(wrong_bits, 0xC0);
  done_with(r);
}

static void keeps_a_dynamic_memory_alive(void **state)
{
  (void)state;
  lu_reader *r = open_bed(BED_DRAM, &dram1, 1000000);
  bed.row_bits = bed.column_bits = 8;
  bed.keep_ms = 4;
  assert_int_equal(element(r, false, K64, LU_WIRE_MIXED, "w0").failures, 0);
  bed_transport().pause(NULL, 300);
  uint64_t before = bed_cycles(), refreshes = bed.refreshes;
  bed_transport().pause(NULL, 100);
  double per_256 = (double)(bed_cycles() - before) / 16e3 / ((double)(bed.refreshes - refreshes) / 256);
  print_message("256 rows are refreshed in %.2f ms\n", per_256);
  assert_true(per_256 < 4.0);
  assert_int_equal(bed.decayed, 0);
  read_all(r, K64);
  for (uint32_t i = 0; i < K64; i++)
    assert_int_equal(words[i], lu_wire_word(LU_WIRE_MIXED, 0, i) & 1);
  /* let go: refresh stops, and the content with it */
  lu_err err = {0};
  assert_int_equal(lu_reader_release(r, &err), LU_OK);
  bed_transport().pause(NULL, 50);
  assert_int_equal(lu_reader_setup(r, &dram1, NULL, &err), LU_OK);
  bed_transport().pause(NULL, 10);
  assert_true(bed.decayed > 0);
  done_with(r);
}

static void nothing_drives_before_setup(void **state)
{
  (void)state;
  lu_err err = {0};
  lu_reader *r = NULL;
  assert_true(bed_start(LU_FIRMWARE, BED_SRAM));
  assert_int_equal(lu_reader_open(bed_transport(), NULL, &r, &err), LU_OK);
  bed_transport().pause(NULL, 200);
  assert_int_equal(bed.reads + bed.writes, 0);
  assert_false(bed_drives());
  uint16_t w = 0;
  uint32_t done;
  assert_int_equal(lu_reader_read(r, 0, 1, &w, &done, &err), LU_ERR_VALUE);
  done_with(r);
}

/* Lets go after release, and when something holds lines or the board has no 5 V. */
static void drives_only_what_it_may(void **state)
{
  (void)state;
  lu_err err = {0};
  uint64_t held = 0;
  lu_reader *r = open_bed(BED_SRAM, &sram8, 0);
  assert_true(bed_drives());
  assert_int_equal(lu_reader_release(r, &err), LU_OK);
  assert_false(bed_drives());
  assert_true(bed_fault("!A2=1") && bed_fault("!D3=0") && bed_fault("!A20=1")); /* A20 is not used */
  assert_int_equal(lu_reader_setup(r, &sram8, &held, &err), LU_ERR_DEVICE);
  assert_non_null(strstr(err.message, "shorted: A2 D3; "));
  assert_false(bed_drives());
  assert_true(bed_fault("dead"));
  err = (lu_err){0};
  assert_int_equal(lu_reader_setup(r, &sram8, NULL, &err), LU_ERR_DEVICE);
  assert_non_null(strstr(err.message, "no 5 V"));
  assert_false(bed_drives());
  assert_int_equal(bed.reads + bed.writes, 0);
  done_with(r);
}

/* A program that hangs is reset after 2 s, lets go of all lines, and a read of static memory goes on. */
static void the_watchdog_lets_go(void **state)
{
  (void)state;
  lu_reader *r = open_bed(BED_SRAM, &sram8, 0);
  for (uint32_t i = 0; i < 64; i++)
    bed.memory[i] = (uint8_t)(i * 3);
  bed_hang();
  bed_transport().pause(NULL, 1500);
  assert_true(bed_drives());
  bed_transport().pause(NULL, 1000);
  assert_false(bed_drives());
  read_all(r, 64);
  for (uint32_t i = 0; i < 64; i++)
    assert_int_equal(words[i], (uint8_t)(i * 3));
  assert_true(bed_drives());
  done_with(r);
}

static void survives_garbage_on_its_line(void **state)
{
  (void)state;
  lu_reader *r = open_bed(BED_SRAM, &sram8, 0);
  uint32_t x = 12345;
  for (unsigned i = 0; i < 3000; i++) {
    x = x * 1664525 + 1013904223;
    bed_hear((uint8_t)(x >> 24));
  }
  bed_transport().pause(NULL, 400);
  bed.memory[7] = 0x77;
  assert_int_equal(read_all(r, 16) > 0, 1);
  assert_int_equal(words[7], 0x77);
  done_with(r);
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(nothing_drives_before_setup),
      cmocka_unit_test(reads_a_rom_at_the_line_rate),
      cmocka_unit_test(reads_fast_at_a_megabaud),
      cmocka_unit_test(marches_on_sound_memory),
      cmocka_unit_test(finds_faults_on_the_pins),
      cmocka_unit_test(keeps_a_dynamic_memory_alive),
      cmocka_unit_test(drives_only_what_it_may),
      cmocka_unit_test(the_watchdog_lets_go),
      cmocka_unit_test(survives_garbage_on_its_line),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
