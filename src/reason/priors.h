/* SPDX-License-Identifier: MIT */
#ifndef LU_REASON_PRIORS_H
#define LU_REASON_PRIORS_H
/* Probabilities before anything was read (priors.def), with a board file's
 * overrides. */
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

/* Pins of a net that matter for an open: drivers and receivers in the network, as place bits. */
uint64_t lu_net_pins_of_interest(const lu_network *n, uint16_t net);
/* Of those, the pins that drive it on a healthy board (in some moment), as place bits. */
uint64_t lu_net_drivers(const lu_network *n, uint16_t net);

#endif
