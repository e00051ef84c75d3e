/* SPDX-License-Identifier: MIT */
#ifndef LU_API_CAPTUREHOPS_H
#define LU_API_CAPTUREHOPS_H
/* A capture that holds a line at two places, at the processor and behind a buffer say: where do the two differ?
 *
 * Places are pins by name ("U3.10", also through the map's renames) and, behind the first net, nets by name, which
 * count as seen at their driver. Each line of the block is followed from the vantage; neighbouring places are compared
 * just before each strobe of the block ends, when levels have settled. Places with a latch, a register, a multiplexer
 * or a gate of several inputs between them are not compared: they may differ rightly. */
#include "api/readings.h"
#include "reason/bind.h"

typedef struct lu_capture_hops lu_capture_hops;

/* homes: of the vantage's address and data bits, least significant first. *out NULL when no line is seen twice.
 * ERR_NOMEM. Cost: a look at each signal for each pin on the block's lines. */
LU_MUST_USE lu_status lu_capture_hops_open(lu_session *s, const lu_network *n, const lu_bind *bind, const uint32_t *address, size_t address_bits,
                                           const uint32_t *data, size_t data_bits, lu_capture_hops **out);

/* At the end of a strobe: step's levels before its changes. A data line through a buffer that drives one way counts only
 * in reads, or only in writes. */
void lu_capture_hops_see(lu_capture_hops *h, const lu_cap_step *step, bool reads, bool writes);

/* Puts what differs into r->between, and says what was compared in a note. */
LU_MUST_USE lu_status lu_capture_hops_end(lu_session *s, const lu_capture_hops *h, lu_reading *r);

#endif
