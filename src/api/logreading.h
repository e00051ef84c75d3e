/* SPDX-License-Identifier: MIT */
#ifndef LU_API_LOGREADING_H
#define LU_API_LOGREADING_H
/* A memory test's log of failures as a reading: docs/evidence.md says what is concluded from it. */
#include "api/readings.h"

/* a->log is read. Without a->block, the one block that the addresses fit; without a board in the
 * session, a plain one is made. Remarks become the session's notes. */
LU_MUST_USE lu_status lu_logreading(lu_session *s, const lu_reading_args *a, lu_reading *r);

#endif
