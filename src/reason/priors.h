/* SPDX-License-Identifier: MIT */
#ifndef LU_REASON_PRIORS_H
#define LU_REASON_PRIORS_H
/* Probabilities before anything was read (priors.def), with a board file's overrides, and the list
 * of all single faults of the electrical model on a network. */
#include "reason/network.h"

typedef enum lu_prior_name {
#define LU_PRIOR(name, value, reason) LU_PRIOR_##name,
#include "reason/priors.def"
#undef LU_PRIOR
  LU_PRIOR_COUNT
} lu_prior_name;

typedef struct lu_priors {
  double value[LU_PRIOR_COUNT];
} lu_priors;

/* ERR_VALUE at the board file's place for a name that is not in the table. */
LU_MUST_USE lu_status lu_priors_of(const lu_board *board, lu_priors *out, lu_err *err);
const char *lu_prior_reason(lu_prior_name name);
const char *lu_prior_text(lu_prior_name name);

/* Natural logarithm of the prior of one fault. */
double lu_prior_log(const lu_network *n, const lu_priors *p, const lu_fault *f);

typedef struct lu_fault_list {
  size_t count, room;
  lu_fault *at;
} lu_fault_list;

/* Every single fault of the model but bridges and swaps: opens of each pin and of all receivers at
 * both levels, stucks, dead parts. */
LU_MUST_USE bool lu_faults_local(const lu_network *n, lu_arena *mem, lu_fault_list *out);
/* Every bridge (all ways it can act) and swap of two nets of which want[] says so for at least
 * one. want[net_count]. */
LU_MUST_USE bool lu_faults_pairs(const lu_network *n, const bool *want, lu_arena *mem, lu_fault_list *out);
bool lu_faults_add(lu_fault_list *list, lu_arena *mem, lu_fault f);

/* Pins of a net that matter for an open: drivers and receivers in the network, as place bits. */
uint64_t lu_net_pins_of_interest(const lu_network *n, uint16_t net);
/* Of those, the pins that drive it on a healthy board (in some moment), as place bits. */
uint64_t lu_net_drivers(const lu_network *n, uint16_t net);

#endif
