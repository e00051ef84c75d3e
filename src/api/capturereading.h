/* SPDX-License-Identifier: MIT */
#ifndef LU_API_CAPTUREREADING_H
#define LU_API_CAPTUREREADING_H
/* A logic capture of bus cycles as a reading: docs/evidence.md says what is concluded from it. */
#include "api/readings.h"

/* Whether the file is a capture, by its content. False as well if it cannot be read. */
bool lu_capturereading_is(lu_session *s, const char *path);

/* The cycles of n's block in the capture. a->signals, a->expect and a->wrote are used. r->evidence.network
 * and r->name are set by the caller. Memory: about 80 bytes a word of the block and 40 a read. */
LU_MUST_USE lu_status lu_capturereading(lu_session *s, const lu_reading_args *a, const char *path, lu_reading *r);

/* What signals mean as the network's vantage and the usual strobes of its part say, for names that the map
 * (from --signals; empty if there was none) leaves open. */
struct lu_sigmap;
LU_MUST_USE lu_status lu_capture_map(lu_session *s, const lu_network *n, struct lu_sigmap *map);

#endif
