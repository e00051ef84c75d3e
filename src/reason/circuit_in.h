/* SPDX-License-Identifier: MIT */
#ifndef LU_REASON_CIRCUIT_IN_H
#define LU_REASON_CIRCUIT_IN_H
/* Inside of circuit.h: a circuit as gates of two inputs. Inputs and constants come first, then gates,
 * each behind what it reads; a gate of n inputs is a chain, whose last link is the gate. */
#include "reason/circuit.h"

/* (a ^ invert) & (b ^ invert), or a ^ b, then ^ output. All ones or zero. */
typedef struct lu_link_kind {
  uint64_t invert, differ, output;
} lu_link_kind;

typedef struct lu_link {
  uint32_t a, b; /* nodes; a is not deeper than b */
  uint32_t kind; /* index into lu_link_kinds */
} lu_link;

struct lu_circuit {
  uint32_t gate_count;    /* as the caller counts, inputs among them */
  uint32_t first_link;    /* nodes below are inputs and constants */
  uint32_t node_count;
  uint32_t input_count, output_count;
  uint32_t *node_of;      /* by gate */
  uint32_t *gate_of;      /* by node; UINT32_MAX: inner link of a chain */
  uint32_t *input;        /* node by input */
  uint32_t *output;       /* node by output */
  uint64_t *fixed;        /* by node below first_link: value of a constant */
  lu_link *link;          /* by node; those below first_link unused */
  uint32_t *region;       /* by node: the farthest node that dominates it (maybe itself), UINT32_MAX = no output */
  uint32_t *reader_first; /* by node [node_count + 1]: run of readers */
  uint32_t *reader;
  uint32_t *out_first;    /* by node [node_count + 1]: run of out_of */
  uint32_t *out_of;       /* outputs that show the node */
};

extern const lu_link_kind lu_link_kinds[];

static inline uint64_t lu_link_value(const lu_link *l, const uint64_t *value)
{
  const lu_link_kind *k = &lu_link_kinds[l->kind];
  uint64_t a = value[l->a], b = value[l->b];
  return ((((a ^ k->invert) & (b ^ k->invert)) & ~k->differ) | ((a ^ b) & k->differ)) ^ k->output;
}

/* Candidates of the search: gates, not inputs, that no other gate dominates. */
static inline bool lu_circuit_top(const lu_circuit *c, uint32_t node)
{
  return c->region[node] == node;
}

#endif
