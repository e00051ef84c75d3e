/* SPDX-License-Identifier: MIT */
#ifndef LU_API_FINDINGS_H
#define LU_API_FINDINGS_H
/* From the reasoning's result to words. */
#include "data/finding.h"
#include "reason/explain.h"

/* The result in names and sentences; NULL if memory is refused. plain: no board is known, nets are
 * address and data bits. */
lu_finding *lu_findings_of(const lu_result *r, bool plain, lu_arena *mem);

/* "open", "stuck" ... and the fault as half a sentence. */
lu_said_fault lu_findings_fault(const lu_joint *j, const lu_fault *f, lu_arena *mem);

#endif
