/* SPDX-License-Identifier: MIT */
#ifndef LU_REASON_BLIND_H
#define LU_REASON_BLIND_H
/* Judging a reading of which nothing is known, by what it repeats. */
#include "reason/explain.h"

/* A fault is told by the equalities it forces: two addresses that read the same, a bit that never
 * changes, two bits that are always alike. Each is weighed by how often it would come about in
 * contents like these without a fault. Contents that show too little give LU_VERDICT_UNKNOWN. */
LU_MUST_USE lu_status lu_explain_blind(const lu_evidence *reading, const lu_priors *priors, lu_arena *mem,
                                       lu_result **out, lu_err *err);

#endif
