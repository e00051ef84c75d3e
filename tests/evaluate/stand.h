/* SPDX-License-Identifier: MIT */
#ifndef LU_TESTS_EVALUATE_STAND_H
#define LU_TESTS_EVALUATE_STAND_H
/* One memory block of one board, with contents and a way of knowing them, on which faults are
 * simulated; and every single fault of the model with the dump that it gives. */
#include "cli/session.h"
#include "api/readings.h"
#include "reason/joint.h"

#include <stdio.h>

/* How the faults are counted in the table. */
typedef enum ev_row { EV_OPEN_PIN, EV_OPEN_ALL, EV_OPEN_SOME, EV_STUCK, EV_BRIDGE, EV_SWAP, EV_DEAD, EV_ROWS } ev_row;

typedef struct ev_single {
  lu_fault fault;
  uint8_t row, undriven;
  uint64_t dump;   /* hash of what is read; 0 = as undamaged, 1 = cannot be simulated */
  double prior;    /* ln */
} ev_single;

typedef struct ev_stand {
  const char *board, *block, *how, *contents; /* how: "expect" or "wrote"; contents: file or pattern */
  bool random;                /* contents are random */
  lu_arena mem;
  lu_run run;
  lu_session *s;
  lu_evidence e;
  lu_joint *j;
  lu_priors priors;
  char *dump;                 /* words of the last simulation */
  size_t single_count, single_room;
  ev_single *singles;
  size_t *by_dump;            /* indexes of singles, ordered by dump */
  double simulate_seconds;
} ev_stand;

/* splitmix64 (Steele, Lea, Flood, OOPSLA 2014). */
uint64_t ev_random(uint64_t *state);

/* Loads board, block and contents. False: said on standard error. */
bool ev_stand_open(ev_stand *t);
void ev_stand_close(ev_stand *t);

/* Simulates the faults into t->dump; returns its hash as in ev_single. Bits that nothing is known of are filled by
 * seed, the way `lineup simulate --seed` does. */
uint64_t ev_simulate(ev_stand *t, const lu_fault *faults, size_t count, lu_level undriven, uint64_t seed);

/* Hash of what was last simulated as ev_single has it, of some of the words only; does not leave a dump. */
uint64_t ev_look(ev_stand *t, lu_level undriven);

/* Every single fault of the model with its dump: opens of each pin, of all receivers, of runs of receivers, each
 * with each level; stucks; bridges of all net pairs; swaps; dead parts. */
bool ev_singles(ev_stand *t);

/* How many nets, and how many parts, have a single fault that gives this dump. */
size_t ev_group(const ev_stand *t, uint64_t dump, size_t *parts);

/* Names of the nets or the part that a fault is on: at most 2. */
size_t ev_names(const ev_stand *t, const lu_fault *f, const char *names[2]);
/* Faults in words, as `lineup simulate --fault` takes them. False: one is not of this board. */
bool ev_parse(ev_stand *t, const char *const *words, size_t count, lu_fault *out);
/* The fault as `lineup simulate --fault` takes it. */
void ev_print_fault(const ev_stand *t, const lu_fault *f, FILE *out);

/* Writes t->dump as a raw file with one more thing: each bit turned over with probability noise. */
bool ev_write(const ev_stand *t, const char *path, double noise, uint64_t *state);

#endif
