/* SPDX-License-Identifier: MIT */
#ifndef LU_REASON_DRIVE_H
#define LU_REASON_DRIVE_H
/* Test patterns run against the effect of a fault: which reads fail.
 *
 * A block is far too large to be run whole for every fault. The effect's functions hang on a few
 * address bits only; with the others held, those bits (and the lowest ones) span a sub-cube of words
 * that share cells among themselves and with nobody else. Patterns run on sub-cubes, their operations
 * in the order that the whole block would have: on one where every word gets the same, on some thirty
 * where what is written hangs on the address. What a bus keeps is the value driven last on the words
 * that are run; as the lowest address bits always vary, that is the true neighbour's for most. */
#include "pattern/pattern.h"
#include "reason/sim.h"

/* What one pattern shows of one fault. */
typedef struct lu_outcome {
  uint64_t syndrome; /* of which reads fail, where, in which bits; equal syndromes look alike; 0: none */
  bool detected;     /* some read is wrong whatever the memory held before */
  bool chance;       /* some read hangs on what the memory held before */
} lu_outcome;

/* A read, for who wants to watch. */
typedef struct lu_watched {
  uint64_t word;     /* number in the block */
  uint32_t pass, op; /* op: number in the pattern's ops */
  uint64_t expected, changed; /* bits that the effect can change; the others are as expected */
  uint64_t value, unknown;    /* of the changed ones: value, and those that hang on what the memory held before */
} lu_watched;

/* False: seen enough; the rest of the pattern is not run. */
typedef bool (*lu_watch_read)(void *user, const lu_watched *read);

typedef struct lu_tester lu_tester;

/* The block that a network's words are, for patterns: rows as its first chip has them. */
lu_memory lu_drive_block(const lu_network *n);

/* Makes patterns[count] ready. undriven: what a bus without driver reads, where no open says.
 * ERR_VALUE: a pattern does not fit the block; ERR_LIMIT; ERR_NOMEM. All is borrowed. */
LU_MUST_USE lu_status lu_tester_new(const lu_network *n, const lu_pattern *const *patterns, size_t count,
                                    lu_level undriven, lu_arena *mem, lu_tester **out, lu_err *err);

void lu_tester_undriven(lu_tester *t, lu_level level);
/* More address bits for every sub-cube: results should not hang on it, which is how to find out. */
void lu_tester_widen(lu_tester *t, uint64_t address_bits);

/* Address bits that an effect hangs on, with the lowest ones; effects of equal masks run fastest one
 * after another. False: it cannot be judged (wide, or address lines hang on data). */
bool lu_tester_mask(const lu_tester *t, const lu_effect *effect, uint64_t *mask);

/* Columns that read differently, or from chips that do. */
uint64_t lu_effect_columns(const lu_network *n, const lu_effect *effect);

/* Columns that float somewhere under the effect: there an open's level counts. */
uint64_t lu_effect_floats(const lu_network *n, const lu_effect *effect);

/* Runs every pattern against the effect of faults[fault_count]: out[count]. False: not judged.
 * Cost: some hundred microseconds for sixty patterns. */
bool lu_tester_run(lu_tester *t, const lu_effect *effect, const lu_fault *faults, size_t fault_count, lu_outcome *out);

/* The same for one pattern, with a look at every read. */
bool lu_tester_watch(lu_tester *t, size_t pattern, const lu_effect *effect, const lu_fault *faults, size_t fault_count,
                     lu_watch_read watch, void *user, lu_outcome *out);

/* Expected gain in bits of a pattern's result: outcomes of weight[count] (sum over all is 1 or less;
 * what is missing counts as told already), outcome i being syndromes[i * stride]. */
double lu_pattern_gain(const uint64_t *syndromes, size_t stride, const double *weight, size_t count, lu_arena *mem);

#endif
