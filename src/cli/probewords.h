/* SPDX-License-Identifier: MIT */
#ifndef LU_CLI_PROBEWORDS_H
#define LU_CLI_PROBEWORDS_H
/* Points and guesses of a job's standing in words; everything in the job's memory. */
#include "cli/standing.h"

/* "U8.21:leg"; "?" if memory is refused. */
const char *lu_point_short(const lu_standing *s, const lu_point *x);
/* "the leg of U8 pin 21 (MA3)". NULL if memory is refused. */
const char *lu_point_words(const lu_standing *s, const lu_point *x);
/* "DRA3: the contact between U8.21:leg and U8.21:pad is broken". NULL if memory is refused. */
const char *lu_hop_words(const lu_standing *s, const lu_suspicion *g);

#endif
