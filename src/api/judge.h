/* SPDX-License-Identifier: MIT */
#ifndef LU_API_JUDGE_H
#define LU_API_JUDGE_H
/* From readings to a finding: explanations, suspects, symptoms. */
#include "api/readings.h"
#include "data/finding.h"
#include "reason/explain.h"

/* Readings of one fault state, judged together. plain: no board is known. *result may be NULL. */
LU_MUST_USE lu_status lu_judge(lu_session *s, const lu_reading *readings, size_t count, bool plain, lu_result **result,
                               lu_finding **out);

#endif
