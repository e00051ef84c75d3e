/* SPDX-License-Identifier: MIT */
#ifndef LU_API_DOUBT_H
#define LU_API_DOUBT_H
/* Why a reading without a wrong word does not prove that all is well, and the lines that this is about. */
#include "api/readings.h"

enum { LU_DOUBT_LINES_MOST = 16 };

/* Room for the lines; before any is added. */
LU_MUST_USE lu_status lu_doubt_begin(lu_session *s, lu_reading *r);

/* Adds a sentence; borrowed. */
void lu_doubt_add(lu_session *s, lu_reading *r, const char *text);

/* Adds a net (LU_NONE: nothing is done; nor for one that is there) with its pin at the vantage (LU_NONE: not known).
 * Lines of one group cannot be told apart. why, settle: sentences, borrowed. */
void lu_doubt_line(lu_session *s, lu_reading *r, uint32_t net, uint32_t pin, unsigned group, const char *why, const char *settle);

/* Each line is as likely as the others, and all together as likely as no fault. (Common practice, no source.) */
void lu_doubt_share(lu_reading *r);

/* Several passes: bits that differ from pass to pass and do not lie as noise would (evenly over data bits and words)
 * come from a contact that opens now and then, or a line that floats. Names the data lines on which they gather, and address lines by
 * which the odd word is that of a neighbour. evidence.got: the majority of the passes. Cost: one walk over the passes. */
LU_MUST_USE lu_status lu_doubt_flicker(lu_session *s, lu_reading *r);

#endif
