/* SPDX-License-Identifier: MIT */
/* The host's side of the protocol against the firmware's own core, over a line that loses, doubles,
 * flips and delays bytes in simulated time. */
#include "link/codes.h"
#include "link/reader.h"
#include "simpeer.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

static const lu_reader_memory sram = {.kind = LU_WIRE_SRAM, .address_bits = 16, .data_bits = 8};
static const lu_reader_memory wide = {.kind = LU_WIRE_SRAM, .address_bits = 16, .data_bits = 16};

static lu_reader *open_with(const lu_reader_memory *m)
{
  lu_reader *r = NULL;
  lu_err err = {0};
  if (lu_reader_open(sim_transport(), NULL, &r, &err) != LU_OK)
    fail_msg("%s", err.message);
  if (m && lu_reader_setup(r, m, NULL, &err) != LU_OK)
    fail_msg("%s", err.message);
  return r;
}

static void says_who_it_is(void **state)
{
  (void)state;
  sim_start();
  lu_reader *r = open_with(NULL);
  const lu_reader_identity *w = lu_reader_who(r);
  assert_int_equal(w->protocol, LU_WIRE_VERSION);
  assert_string_equal(w->name, "lineup reader");
  assert_int_equal(w->address_bits, 24);
  assert_int_equal(w->data_bits, 16);
  assert_int_equal(w->clock_khz, 16000);
  assert_false(sim.driving);
  lu_reader_close(r);
}

static void reads_and_writes(void **state)
{
  (void)state;
  static uint16_t there[SIM_WORDS], back[SIM_WORDS];
  const lu_reader_memory *kinds[] = {&sram, &wide};
  for (unsigned k = 0; k < 2; k++) {
    sim_start();
    uint32_t seed = 7 + k, done = 0;
    for (size_t i = 0; i < SIM_WORDS; i++) /* many zeros, to exercise the framing */
      there[i] = sim_random(&seed, 3) ? (uint16_t)sim_random(&seed, k ? 65536 : 256) : 0;
    lu_reader *r = open_with(kinds[k]);
    assert_int_equal(lu_reader_write(r, 0, SIM_WORDS, there, &done, NULL), LU_OK);
    assert_int_equal(done, SIM_WORDS);
    assert_int_equal(lu_reader_read(r, 0, SIM_WORDS, back, &done, NULL), LU_OK);
    assert_memory_equal(there, back, sizeof there);
    assert_int_equal(lu_reader_read(r, 12345, 1, back, &done, NULL), LU_OK);
    assert_int_equal(back[0], there[12345]);
    assert_int_equal(lu_reader_counted(r)->retries, 0);
    lu_reader_close(r);
    assert_false(sim.driving);
  }
}

/* Bytes of data over bytes that the line could have carried in the simulated time. */
static void reads_at_the_line_rate(void **state)
{
  (void)state;
  static uint16_t back[SIM_WORDS];
  uint32_t done;
  sim_start();
  for (size_t i = 0; i < SIM_WORDS; i++)
    sim.memory[i] = (uint8_t)(i ^ i >> 8);
  lu_reader *r = open_with(&sram);
  uint64_t before = sim.now_us;
  assert_int_equal(lu_reader_read(r, 0, SIM_WORDS, back, &done, NULL), LU_OK);
  double line = SIM_WORDS * 10.0 / 115200, took = (double)(sim.now_us - before) / 1e6;
  print_message("64 KiB at 115200: %.3f s, %.1f %% of the line\n", took, 100 * line / took);
  assert_true(line / took > 0.95);
  lu_reader_close(r);
}

static lu_march_failure seen[256];
static size_t seen_count;

static bool note_failure(void *to, const lu_march_failure *f)
{
  (void)to;
  if (seen_count < 256)
    seen[seen_count] = *f;
  seen_count++;
  return true;
}

static lu_march_result run_element(lu_reader *r, bool down, const char *ops)
{
  lu_march e = {.at = 0, .words = SIM_WORDS, .down = down, .background = LU_WIRE_SOLID};
  for (; *ops; ops += 2)
    e.ops[e.op_count++] = (lu_march_op){ops[0] == 'w', ops[1] == '1'};
  lu_march_result out;
  lu_err err = {0};
  seen_count = 0;
  if (lu_reader_march(r, &e, &out, note_failure, NULL, &err) != LU_OK)
    fail_msg("%s", err.message);
  assert_int_equal(out.done, SIM_WORDS);
  assert_int_equal(out.failures, seen_count);
  return out;
}

/* MATS+ (Abadir and Reghbati 1983): {any(w0); up(r0,w1); down(r1,w0)} */
static void marches_in_the_reader(void **state)
{
  (void)state;
  sim_start();
  lu_reader *r = open_with(&sram);
  run_element(r, false, "w0");
  assert_int_equal(run_element(r, false, "r0w1").failures, 0);
  lu_march_result last_one = run_element(r, true, "r1w0");
  assert_int_equal(last_one.failures, 0);
  assert_int_equal(last_one.reads, SIM_WORDS);
  assert_int_equal(last_one.sum, 255u * SIM_WORDS);
  /* the fill of 65536 bytes FF has a CRC from another program, test_codes.c has its source */
  assert_int_equal(last_one.crc, 0x0000);
  /* an address line stuck low: the second half finds what the first has left */
  sim.address_low = 0x0400;
  run_element(r, false, "w0");
  assert_int_equal(run_element(r, false, "r0w1").failures, SIM_WORDS / 2);
  assert_int_equal(seen[0].address, 0x0400);
  assert_int_equal(seen[0].op, 0);
  assert_int_equal(seen[0].expected, 0);
  assert_int_equal(seen[0].got, 0xFF);
  sim.address_low = 0;
  sim.data_high = 0x20;
  run_element(r, false, "w0");
  assert_int_equal(run_element(r, true, "r0").failures, SIM_WORDS);
  assert_int_equal(seen[0].address, SIM_WORDS - 1);
  assert_int_equal(seen[0].got, 0x20);
  lu_reader_close(r);
}

static void fills_with_backgrounds(void **state)
{
  (void)state;
  sim_start();
  lu_reader *r = open_with(&wide);
  for (uint8_t b = 0; b < LU_WIRE_BACKGROUNDS; b++) {
    assert_int_equal(lu_reader_fill(r, 0, SIM_WORDS, b, 0x1234, NULL), LU_OK);
    for (uint32_t i = 0; i < SIM_WORDS; i++)
      assert_int_equal(sim.memory[i], lu_wire_word(b, 0x1234, i));
  }
  lu_reader_close(r);
}

static void says_what_holds_the_lines(void **state)
{
  (void)state;
  lu_err err = {0};
  uint64_t held = 0;
  sim_start();
  sim.held_low = 1 << 3;
  sim.held_high = (uint64_t)1 << (LU_WIRE_PIN_DATA + 1);
  lu_reader *r = open_with(NULL);
  assert_int_equal(lu_reader_setup(r, &sram, &held, &err), LU_ERR_DEVICE);
  assert_true(held == (sim.held_low | sim.held_high));
  assert_non_null(strstr(err.message, "A3 D1"));
  assert_false(sim.driving);
  lu_reader_memory anyway = sram;
  anyway.drive_anyway = true;
  assert_int_equal(lu_reader_setup(r, &anyway, &held, &err), LU_OK);
  assert_true(sim.driving);
  sim.no_supply = true;
  assert_int_equal(lu_reader_setup(r, &anyway, &held, &err), LU_ERR_DEVICE);
  assert_non_null(strstr(err.message, "5 V"));
  assert_false(sim.driving);
  lu_reader_close(r);
}

static void smaller_commands(void **state)
{
  (void)state;
  sim_start();
  lu_reader *r = open_with(&sram);
  uint16_t got = 0;
  sim.memory[5] = 0x5A;
  assert_int_equal(lu_reader_strobe(r, 5, false, 0, LU_WIRE_CS | LU_WIRE_OE, 16, &got, NULL), LU_OK);
  assert_int_equal(got, 0x5A);
  uint8_t set[4], want[4] = {3, 4, 200, 2};
  assert_int_equal(lu_reader_timing(r, want, set, NULL), LU_OK);
  assert_int_equal(set[2], 100);
  lu_reader_watch w;
  assert_int_equal(lu_reader_watch_pin(r, 3, 100, &w, NULL), LU_OK);
  assert_in_range(w.changes, 45, 55);
  assert_int_equal(lu_reader_watch_pin(r, 4, 100, &w, NULL), LU_OK);
  assert_int_equal(w.changes, 0);
  lu_reader_levels l;
  sim.held_low = 1;
  assert_int_equal(lu_reader_levels_now(r, &l, NULL), LU_OK);
  assert_false(l.driven_high & 1);
  assert_false(l.driven_low & 1);
  assert_true(l.driven_high >> 45 & 1);
  uint32_t done;
  lu_err err = {0};
  assert_int_equal(lu_reader_read(r, 0, 1, &got, &done, &err), LU_ERR_VALUE); /* levels let go */
  lu_reader_close(r);
}

static void changes_the_rate_and_comes_back(void **state)
{
  (void)state;
  static uint16_t back[SIM_WORDS];
  uint32_t done;
  sim_start();
  lu_reader *r = open_with(&sram);
  assert_int_equal(lu_reader_rate(r, 1000000, NULL), LU_OK);
  assert_int_equal(sim.device_baud, 1000000);
  uint64_t before = sim.now_us;
  assert_int_equal(lu_reader_read(r, 0, SIM_WORDS, back, &done, NULL), LU_OK);
  assert_true(sim.now_us - before < 720000);
  lu_err err = {0};
  assert_int_equal(lu_reader_rate(r, 31250, &err), LU_ERR_VALUE);
  lu_reader_close(r);
  /* the reader falls back when it hears nothing at the new rate */
  sim_start();
  r = open_with(&sram);
  sim.faults.lose = 0;
  lu_transport t = sim_transport();
  lu_reader_close(r);
  sim_start();
  t.rate = NULL;
  assert_int_equal(lu_reader_open(t, NULL, &r, &err), LU_OK);
  assert_int_equal(lu_reader_rate(r, 1000000, &err), LU_ERR_VALUE);
  lu_reader_close(r);
}

static void goes_on_after_a_restart(void **state)
{
  (void)state;
  uint16_t back[16], one = 1;
  uint32_t done;
  lu_err err = {0};
  sim_start();
  sim.memory[3] = 9;
  lu_reader *r = open_with(&sram);
  sim_restart_device();
  if (lu_reader_read(r, 0, 16, back, &done, &err) != LU_OK)
    fail_msg("%s", err.message);
  assert_int_equal(back[3], 9);
  sim_restart_device();
  assert_int_equal(lu_reader_write(r, 0, 1, &one, &done, &err), LU_ERR_DEVICE);
  assert_non_null(strstr(err.message, "started again"));
  lu_reader_close(r);
}

/* An element whose answer was lost must not be carried out again. */
static void never_marches_twice(void **state)
{
  (void)state;
  sim_start();
  lu_reader *r = open_with(&sram);
  run_element(r, false, "w0");
  sim.faults = (sim_faults){.lose = 3000};
  for (unsigned i = 0; i < 40; i++) {
    assert_int_equal(run_element(r, i & 1, "r0w1").failures, 0);
    assert_int_equal(run_element(r, i & 1, "r1w0").failures, 0);
  }
  assert_true(lu_reader_counted(r)->retries > 50);
  sim.faults = (sim_faults){0};
  lu_reader_close(r);
}

static void bad_devices_are_told(void **state)
{
  (void)state;
  lu_err err = {0};
  lu_reader *r;
  sim_start();
  sim.faults.lose = 1000000;
  uint64_t before = sim.now_us;
  assert_int_equal(lu_reader_open(sim_transport(), NULL, &r, &err), LU_ERR_DEVICE);
  assert_non_null(strstr(err.message, "nothing answers"));
  assert_true(sim.now_us - before < 10000000);
  /* a device that prints text: an echo of its banner, planted on the line */
  sim_start();
  for (const char *p = "READY\r\n> "; *p; p++)
    sim_plant((uint8_t)*p);
  sim.faults.lose = 1000000;
  assert_int_equal(lu_reader_open(sim_transport(), NULL, &r, &err), LU_ERR_DEVICE);
  assert_non_null(strstr(err.message, "52 45 41 44 59 0d 0a"));
  /* another version: a sound frame whose first byte is 2 */
  sim_start();
  sim.now_us = 7 * 99;
  const uint8_t other[] = {2, 0x81, 0, 100, 8, 0, 0, 0};
  uint8_t coded[32];
  uint8_t plain[16];
  memcpy(plain, other, sizeof other);
  uint16_t crc = lu_crc16(LU_CRC16_FRAME, other, sizeof other);
  plain[8] = (uint8_t)(crc >> 8);
  plain[9] = (uint8_t)crc;
  size_t n = lu_cobs_encode(plain, 10, coded);
  coded[n++] = 0;
  for (size_t i = 0; i < n; i++)
    sim_plant(coded[i]);
  assert_int_equal(lu_reader_open(sim_transport(), NULL, &r, &err), LU_ERR_DEVICE);
  assert_non_null(strstr(err.message, "version 2"));
}

static void unplugged_in_mid_read_keeps_what_came(void **state)
{
  (void)state;
  static uint16_t back[SIM_WORDS];
  uint32_t done = 0;
  lu_err err = {0};
  sim_start();
  for (size_t i = 0; i < SIM_WORDS; i++)
    sim.memory[i] = (uint8_t)(i * 7);
  lu_reader *r = open_with(&sram);
  sim.faults.unplug_after = sim.bytes + 20000;
  assert_int_equal(lu_reader_read(r, 0, SIM_WORDS, back, &done, &err), LU_ERR_DEVICE);
  assert_in_range(done, 15000, 20000);
  for (size_t i = 0; i < done; i++)
    assert_int_equal(back[i], (uint8_t)(i * 7));
  lu_reader_close(r);
}

/* 10,000 faults of the line and more. Whatever happens, a word that is handed over is right, and no
 * call takes longer than it says. */
static void survives_ten_thousand_faults(void **state)
{
  (void)state;
  static uint16_t there[SIM_WORDS], back[SIM_WORDS];
  uint64_t faults = 0, calls = 0, given_up = 0, unplugs = 0, longest = 0;
  for (uint32_t round = 1; faults < 12000 && round < 4000; round++) {
    uint32_t seed = round * 2654435761u, done = 0;
    sim_start();
    sim.seed = seed;
    for (size_t i = 0; i < SIM_WORDS; i++)
      there[i] = sim.memory[i] = (uint16_t)(sim_random(&seed, 4) ? sim_random(&seed, 65536) : 0);
    lu_reader *r = open_with(round & 1 ? &sram : &wide);
    uint16_t mask = round & 1 ? 0xFF : 0xFFFF;
    unsigned rate = 50 + sim_random(&seed, 600);
    sim.faults = (sim_faults){rate, rate, rate, rate / 4, 900, 0};
    if (round % 8 == 0)
      sim.faults.unplug_after = sim.bytes + 1 + sim_random(&seed, 30000);
    for (unsigned k = 0; k < 8 && !sim.unplugged; k++) {
      uint32_t at = sim_random(&seed, SIM_WORDS - 3000), n = 1 + sim_random(&seed, 3000);
      uint64_t before = sim.now_us, limit = lu_reader_limit_ms(r, n);
      lu_status s;
      if (k & 1) {
        for (uint32_t i = 0; i < n; i++)
          there[at + i] = (uint16_t)sim_random(&seed, mask + 1u);
        s = lu_reader_write(r, at, n, there + at, &done, NULL);
        for (uint32_t i = 0; i < done; i++)
          assert_int_equal(sim.memory[at + i] & mask, there[at + i] & mask);
        for (uint32_t i = 0; i < n; i++) /* the piece under way when it gave up may be there or not */
          there[at + i] = sim.memory[at + i];
      } else {
        s = lu_reader_read(r, at, n, back, &done, NULL);
        for (uint32_t i = 0; i < done; i++)
          assert_int_equal(back[i], there[at + i] & mask);
      }
      assert_true(s == LU_OK ? done == n : s == LU_ERR_DEVICE);
      uint64_t took = (sim.now_us - before) / 1000;
      assert_true(took <= limit);
      longest = took > longest ? took : longest;
      given_up += s != LU_OK;
      calls++;
    }
    unplugs += sim.unplugged;
    for (unsigned i = 0; i < 4; i++)
      faults += sim.injected[i];
    sim.faults = (sim_faults){0};
    lu_reader_close(r);
  }
  print_message("%llu faults and %llu unplugs in %llu calls: %llu gave up, the longest took %llu ms\n",
                (unsigned long long)faults, (unsigned long long)unplugs, (unsigned long long)calls,
                (unsigned long long)given_up, (unsigned long long)longest);
  assert_true(faults >= 10000);
  /* up to two thousand faults in a million bytes are more than a line that one would use */
  assert_true(given_up <= unplugs + calls / 20);
}

/* Every frame printed in docs/reader-protocol.md is sound, and the answers are what the firmware gives. */
static void documented_frames_are_sound(void **state)
{
  (void)state;
  FILE *f = fopen(LU_TOP "/docs/reader-protocol.md", "r");
  char line[512];
  unsigned frames = 0;
  lu_transport t = sim_transport();
  assert_non_null(f);
  sim_start();
  memcpy(sim.memory + 0x100, (uint16_t[]){0xDE, 0xAD, 0x00, 0xEF}, 8);
  while (fgets(line, sizeof line, f)) {
    uint8_t b[200];
    size_t n = 0, len = 0;
    int used;
    unsigned v;
    if (strncmp(line, "    > ", 6) && strncmp(line, "    < ", 6))
      continue;
    for (const char *p = line + 6; n < sizeof b && sscanf(p, "%2x%n", &v, &used) == 1; p += used)
      b[n++] = (uint8_t)v;
    assert_true(n > 4 && b[n - 1] == 0);
    if (line[4] == '>') {
      assert_int_equal(t.write(t.self, b, n, 100, NULL), LU_OK);
    } else {
      uint8_t got[200];
      size_t have = 0, more = 1;
      while (have < n && more) {
        assert_int_equal(t.read(t.self, got + have, n - have, 100, &more, NULL), LU_OK);
        have += more;
      }
      assert_int_equal(have, n);
      assert_memory_equal(got, b, n);
    }
    assert_true(lu_cobs_decode(b, n - 1, b, &len));
    assert_int_equal(lu_crc16(LU_CRC16_FRAME, b, len - 2), b[len - 2] << 8 | b[len - 1]);
    assert_int_equal(b[0], LU_WIRE_VERSION);
    frames++;
  }
  fclose(f);
  assert_true(frames >= 7);
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(documented_frames_are_sound),
      cmocka_unit_test(says_who_it_is),
      cmocka_unit_test(reads_and_writes),
      cmocka_unit_test(reads_at_the_line_rate),
      cmocka_unit_test(marches_in_the_reader),
      cmocka_unit_test(fills_with_backgrounds),
      cmocka_unit_test(says_what_holds_the_lines),
      cmocka_unit_test(smaller_commands),
      cmocka_unit_test(changes_the_rate_and_comes_back),
      cmocka_unit_test(goes_on_after_a_restart),
      cmocka_unit_test(never_marches_twice),
      cmocka_unit_test(bad_devices_are_told),
      cmocka_unit_test(unplugged_in_mid_read_keeps_what_came),
      cmocka_unit_test(survives_ten_thousand_faults),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
