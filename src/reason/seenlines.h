/* SPDX-License-Identifier: MIT */
#ifndef LU_REASON_SEENLINES_H
#define LU_REASON_SEENLINES_H
/* What a capture saw of its own lines, held against an explanation: a line that moved is not held at a level, and two
 * that were at different levels are not joined. A dump cannot tell a line from its continuation behind a buffer; a
 * capture on one of the two sides can. Pure. */
#include "reason/buslines.h"
#include "reason/explain.h"

typedef struct lu_seen_bus {
  const lu_buslines *lines;
  const uint32_t *nets;   /* [lines->bits] the board's nets, LU_NONE: not known */
} lu_seen_bus;

/* A net that was at a level, as where the vantage's part or its driver puts it out, in accesses of one kind. */
typedef struct lu_seen_level {
  uint32_t net;           /* board net */
  bool high;
  lu_moment moment;       /* LU_READ, LU_WRITE */
} lu_seen_level;

typedef struct lu_sightings {
  size_t bus_count, level_count;
  const lu_seen_bus *buses;
  const lu_seen_level *levels;
  size_t look;            /* which of the joint readings the levels are of; SIZE_MAX: of none of them */
} lu_sightings;

/* Takes the explanations out of r that what was seen contradicts, and what they gave to suspects; the others share the
 * probability. Leaves r as it is when nothing would be left. Returns how many went. */
size_t lu_seenlines_refute(lu_result *r, const lu_sightings *seen);

#endif
