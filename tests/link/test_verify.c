/* SPDX-License-Identifier: MIT */
/* All patterns of the program on the simulated peer: a sound memory must pass, and faults must show. */
#include "link/reader.h"
#include "link/verify.h"
#include "pattern/builtin.h"
#include "simpeer.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

typedef struct seen {
  uint64_t count, waited_us;
  uint32_t bits;
  lu_failure first;
  char pattern[40]; /* of the first: the failure's own text goes with its pattern */
} seen;

static bool note(void *to, const lu_failure *f)
{
  seen *s = to;
  if (!s->count++) {
    s->first = *f;
    snprintf(s->pattern, sizeof s->pattern, "%s", f->pattern);
  }
  s->bits |= f->expected ^ f->got;
  return true;
}

static void pause_us(void *to, uint64_t us)
{
  seen *s = to;
  s->waited_us += us;
}

static lu_verify_counts run_pattern(const char *name, unsigned width, uint32_t words, seen *s)
{
  lu_arena mem = {0};
  lu_pattern *p = NULL;
  lu_err err = {0};
  lu_reader *r = NULL;
  lu_verify_counts counts = {0};
  for (size_t i = 0; i < lu_pattern_file_count && !p; i++)
    if (!strcmp(lu_pattern_files[i].name, name))
      assert_int_equal(lu_pattern_read(lu_pattern_files[i].text, &mem, &p, &err), LU_OK);
  assert_non_null(p);
  const lu_reader_memory m = {.kind = LU_WIRE_SRAM, .address_bits = 16, .data_bits = width};
  if (lu_reader_open(sim_transport(), NULL, &r, &err) != LU_OK ||
      lu_reader_setup(r, &m, NULL, &err) != LU_OK)
    fail_msg("%s", err.message);
  lu_memio io = lu_reader_memio(r);
  lu_verify v = {.memory = &io, .from = 0x400, .words = words, .pause = pause_us, .pause_to = s,
                 .on_failure = note, .to = s};
  lu_status status = lu_verify_pattern(&v, p, &counts, &err);
  if (status != LU_OK)
    fail_msg("%s: %s", name, err.message);
  io.close(io.self);
  lu_arena_free(&mem);
  return counts;
}

static void sound_memory_passes_all_patterns(void **state)
{
  (void)state;
  for (unsigned width = 8; width <= 16; width += 8)
    for (size_t i = 0; i < lu_pattern_file_count; i++) {
      seen s = {0};
      sim_start();
      lu_verify_counts c = run_pattern(lu_pattern_files[i].name, width, 64, &s);
      if (c.failures || !c.reads)
        fail_msg("%s: %llu failures, %llu reads; first at 0x%x", lu_pattern_files[i].name,
                 (unsigned long long)c.failures, (unsigned long long)c.reads, s.first.address);
      /* the device carried out what was counted */
      assert_int_equal(sim.cycles_read, c.reads);
      assert_int_equal(sim.cycles_written, c.writes);
    }
}

static void faults_show(void **state)
{
  (void)state;
  seen s = {0};
  sim_start();
  sim.data_high = 0x10;
  assert_true(run_pattern("walking-ones", 8, 64, &s).failures > 0);
  assert_int_equal(s.bits, 0x10);
  s = (seen){0};
  sim_start();
  sim.address_low = 0x08;
  lu_verify_counts c = run_pattern("address", 8, 256, &s);
  assert_int_equal(c.failures, 128);
  assert_int_equal(s.first.address, 0x400);
  assert_int_equal(s.bits, 0x08);
  assert_string_equal(s.pattern, "address");
  s = (seen){0};
  sim_start();
  sim.address_low = 0x02;
  assert_true(run_pattern("march-c-minus", 16, 64, &s).failures > 0);
}

/* March G has two delays (van de Goor 1991). */
static void waits_are_kept(void **state)
{
  (void)state;
  seen s = {0};
  sim_start();
  run_pattern("march-g", 8, 64, &s);
  assert_true(s.waited_us >= 2 * LU_PATTERN_WAIT_USUAL_US);
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(sound_memory_passes_all_patterns),
      cmocka_unit_test(faults_show),
      cmocka_unit_test(waits_are_kept),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
