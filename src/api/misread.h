/* SPDX-License-Identifier: MIT */
#ifndef LU_API_MISREAD_H
#define LU_API_MISREAD_H
/* Mistakes of whoever or whatever read the dump, which are no faults of the board: the bytes of each word exchanged,
 * every bit the other way round. Common practice, no source. */
#include "api/readings.h"

/* Where known contents fit the dump of `r` far better once it is turned so, turns all passes of the reading and says so in a
 * note of the session; r->evidence.got is then to be made anew from them. Cost: a sample of 4096 words. */
LU_MUST_USE lu_status lu_misread_mend(lu_session *s, lu_reading *r, bool *turned);

#endif
