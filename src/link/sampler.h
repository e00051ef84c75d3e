/* SPDX-License-Identifier: MIT */
#ifndef LU_LINK_SAMPLER_H
#define LU_LINK_SAMPLER_H
/* Samples of eight lines, one byte each, as a value change dump (IEEE 1364-2005, clause 18). */
#include "base/text.h"
#include "link/inflow.h"

/* names[count]: of lines 0, 1, ...; the rest are called line2 and so on. Time in nanoseconds. */
LU_MUST_USE lu_status lu_sampler_vcd(lu_bytes samples, uint32_t rate_hz, const char *const *names,
                                     size_t count, lu_inflow *out, lu_err *err);

#endif
