/* SPDX-License-Identifier: MIT */
#ifndef LU_REASON_FLICKER_H
#define LU_REASON_FLICKER_H
/* Passes that differ: which contact opens now and then?
 *
 * Every open of the model is simulated over what the memory holds; each word of each pass is then a draw between what is read
 * with that contact closed and with it open (flickerlook.h). First without any belief about the contents but what the passes
 * themselves read, so that steady faults do not matter; these are looked for in the passes in which the likeliest contact
 * was closed. Evenly spread noise makes no contact likely. Pure. */
#include "reason/explain.h"

/* *told: some contact explains how the passes differ, *out is the whole result, with steady faults beside it; else nothing
 * was done. noise as for lu_explain. Cost: some hundred us a contact; with steady faults, two searches. */
LU_MUST_USE lu_status lu_explain_flicker(const lu_evidence *readings, size_t count, const lu_priors *priors, double noise, lu_arena *mem,
                                         lu_result **out, bool *told, lu_err *err);

#endif
