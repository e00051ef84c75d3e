/* SPDX-License-Identifier: MIT */
#ifndef LU_API_NEXTTEST_H
#define LU_API_NEXTTEST_H
/* After decoding: the test to run next, and which test would split suspects that look alike so far. */
#include "api/readings.h"
#include "data/finding.h"
#include "reason/explain.h"

/* Fills finding->next_test and finding->alike. plain: no board is known. Does nothing where the suspects
 * are one already, or no test would split them. */
LU_MUST_USE lu_status lu_next_test_say(lu_session *s, const lu_reading *readings, size_t count, bool plain, const lu_result *r,
                                       lu_finding *finding);

#endif
