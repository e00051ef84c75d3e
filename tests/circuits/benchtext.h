/* SPDX-License-Identifier: MIT */
#ifndef LU_TESTS_BENCHTEXT_H
#define LU_TESTS_BENCHTEXT_H
/* Circuits for the tests of reason/circuit: the text form of the ISCAS suites ("INPUT(1)", "OUTPUT(22)",
 * "22 = NAND(10, 16)"; F. Brglez, H. Fujiwara 1985, form from memory), circuits made by rule, and
 * observations of them. */
#include "base/arena.h"
#include "base/err.h"
#include "reason/circuit.h"

typedef struct bench_circuit {
  size_t count, pin_count, output_count, input_count;
  lu_gate *gates;
  uint32_t *pins, *outputs;
  const char **names; /* by gate */
} bench_circuit;

lu_status bench_read(const char *text, size_t len, lu_arena *mem, bench_circuit *out, lu_err *err);
void bench_write(const bench_circuit *c, void *stream);

/* "mult16": array multiplier of two 16-bit numbers, of AND, XOR and OR gates; "rand900": 900 gates of two
 * inputs at random from the latest signals. Anything else: false. */
bool bench_make(const char *name, uint64_t seed, lu_arena *mem, bench_circuit *out);

/* One gate's value; n-ary. By plain loops, shares nothing with reason/circuit. value: by gate, 0 or 1. */
uint8_t bench_gate(const bench_circuit *c, uint32_t gate, const uint8_t *value);

/* Observations: random inputs for which `faults` random gates that are inverted make an output wrong,
 * the same gates in all. in, out: by observation, one byte a bit. bad[faults] may be NULL. False: none
 * found in many tries. */
typedef struct bench_seen {
  size_t count;
  uint8_t *in, *out;       /* [count * inputs], [count * outputs] */
  lu_circuit_seen packed;  /* the same as words */
} bench_seen;
bool bench_observe(const bench_circuit *c, unsigned faults, size_t count, uint64_t seed, lu_arena *mem, bench_seen *out, uint32_t *bad);
bool bench_pack(const bench_circuit *c, lu_arena *mem, bench_seen *s);

/* DIMACS: at most `bound` gates are broken (their outputs free), everything is as observed. Gate g (from
 * 0, inputs counted) broken is variable g + 1. */
void bench_cnf(const bench_circuit *c, const bench_seen *s, unsigned bound, void *stream);

uint64_t bench_random(uint64_t *state);

#endif
