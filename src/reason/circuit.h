/* SPDX-License-Identifier: MIT */
#ifndef LU_REASON_CIRCUIT_H
#define LU_REASON_CIRCUIT_H
/* Diagnosis of gate circuits: the fast form of model.h for components of one bit.
 *
 * Components are gates; inputs and outputs were observed once or many times. Two questions are
 * answered: which gate stuck at which level explains how many of the observations (each gate's output
 * taken as stuck), and which smallest sets of gates, if nothing is assumed of what they do when they
 * are broken (the weak fault model), explain all of them. Both simulate 64 cases a word; nothing is
 * guessed, so the answers are exact.
 *
 * Sources: conflicts and hitting sets: R. Reiter, Artificial Intelligence 32 (1987). Regions that one
 * gate dominates are one component in the search: S. Siddiqi, J. Huang, "Hierarchical diagnosis of
 * multiple faults", IJCAI-07 [abstract]. Circuits of that literature: F. Brglez, H. Fujiwara, ISCAS
 * 1985. Dominators: K. Cooper, T. Harvey, K. Kennedy, "A simple, fast dominance algorithm" (2001)
 * [from memory]. */
#include "base/arena.h"
#include "base/err.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

enum {
  LU_CIRCUIT_GATES_MOST = 1 << 20,
  LU_CIRCUIT_PINS_MOST = 1 << 22,
  LU_CIRCUIT_FAULTS_MOST = 6
};

typedef enum lu_gate_op {
  LU_GATE_INPUT, LU_GATE_ZERO, LU_GATE_ONE, LU_GATE_BUF, LU_GATE_NOT, LU_GATE_AND, LU_GATE_NAND, LU_GATE_OR,
  LU_GATE_NOR, LU_GATE_XOR, LU_GATE_XNOR
} lu_gate_op;

/* One gate; its number is the number of the signal that it drives. */
typedef struct lu_gate {
  uint8_t op;            /* lu_gate_op */
  uint32_t first, count; /* its inputs: run of pins[], each the number of an earlier gate */
} lu_gate;

typedef struct lu_circuit lu_circuit;

/* gates[count] in an order in which each comes after those it reads; outputs[output_count]: signals
 * that were observed (as are the inputs, in the order of gates[]). Everything is copied.
 * ERR_VALUE a gate reads one that does not come before it, or has too few or too many inputs, or an
 * output is no signal; ERR_LIMIT; ERR_NOMEM. Cost: O(gates + pins), regions O(gates * depth) at worst. */
LU_MUST_USE lu_status lu_circuit_new(const lu_gate *gates, size_t count, const uint32_t *pins, size_t pin_count,
                                     const uint32_t *outputs, size_t output_count, lu_arena *mem, lu_circuit **out,
                                     lu_err *err);

size_t lu_circuit_inputs(const lu_circuit *c);
/* The gate through which everything passes that a gate does to the outputs: itself, or the farthest
 * such gate. UINT32_MAX: it reaches no output. */
uint32_t lu_circuit_region(const lu_circuit *c, uint32_t gate);

/* What was observed. Observation n is bit n % 64 of in[n / 64 * inputs + i] for the i-th input and of
 * out[n / 64 * outputs + o] for the o-th output. */
typedef struct lu_circuit_seen {
  size_t count;
  const uint64_t *in, *out;
} lu_circuit_seen;

/* What the circuit gives when nothing is broken: out as above. */
LU_MUST_USE lu_status lu_circuit_run(const lu_circuit *c, const lu_circuit_seen *seen, uint64_t *out, lu_arena *mem,
                                     lu_err *err);

typedef struct lu_circuit_single {
  uint32_t gate;
  uint8_t level;         /* stuck at */
  uint32_t explained;    /* observations in which every output is as seen */
} lu_circuit_single;

typedef struct lu_circuit_ranking {
  uint32_t healthy;      /* observations that the healthy circuit explains */
  size_t hypotheses;     /* that can reach a wrong output; the others explain no more than the healthy circuit */
  size_t count;
  lu_circuit_single *rows; /* those that explain more than the healthy circuit, the most first, then by gate */
} lu_circuit_ranking;

/* Every gate stuck at either level against all observations. ERR_VALUE no observation; ERR_NOMEM.
 * Cost: by block of 64 observations, gates times what changes behind each up to the first gate that
 * carries the whole change. */
LU_MUST_USE lu_status lu_circuit_singles(const lu_circuit *c, const lu_circuit_seen *seen, lu_arena *mem,
                                         lu_circuit_ranking *out, lu_err *err);

typedef struct lu_circuit_query {
  unsigned most;         /* faults, up to LU_CIRCUIT_FAULTS_MOST */
  size_t sets_most;      /* stop when so many sets are known; 1: any */
  uint64_t steps_most;   /* gate evaluations (of 64 cases) after which the search ends; 0 = no limit */
} lu_circuit_query;

typedef struct lu_circuit_least {
  unsigned size;         /* of the smallest sets; most + 1 when none of up to most explains everything */
  bool proved;           /* that there is none smaller (and none of that size, if count is 0) */
  bool all;              /* sets holds every one of that size */
  size_t count;
  uint32_t *sets;        /* [count * size] gates, ascending in each; only gates that are a region of their
                            own: each stands for the gates of its region, see lu_circuit_instead */
  uint64_t steps;
} lu_circuit_least;

/* Smallest sets of gates which, giving whatever they like in each observation, explain all of them.
 * ERR_VALUE; ERR_NOMEM. Cost: a tree of conflicts of depth size - 1, each leaf 64 cases at once;
 * docs/engine.md has measurements. */
LU_MUST_USE lu_status lu_circuit_smallest(const lu_circuit *c, const lu_circuit_seen *seen, const lu_circuit_query *q,
                                          lu_arena *mem, lu_circuit_least *out, lu_err *err);

/* Does the set explain all observations? ERR_NOMEM; size up to LU_CIRCUIT_FAULTS_MOST. */
LU_MUST_USE lu_status lu_circuit_explains(const lu_circuit *c, const lu_circuit_seen *seen, const uint32_t *set,
                                          unsigned size, lu_arena *mem, bool *out, lu_err *err);

/* The gates that set[which] may be exchanged for, itself among them, so that the set still explains
 * everything: out[*count] in mem, ascending. Sound and complete for one observation; of several, a gate
 * is offered when the set with it explains all. ERR_NOMEM. */
LU_MUST_USE lu_status lu_circuit_instead(const lu_circuit *c, const lu_circuit_seen *seen, const uint32_t *set,
                                         unsigned size, unsigned which, lu_arena *mem, uint32_t **out, size_t *count,
                                         lu_err *err);

#endif
