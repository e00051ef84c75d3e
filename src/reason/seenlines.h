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

/* Takes the explanations out of r that the buses contradict, and what they gave to suspects; the others share the
 * probability. Leaves r as it is when nothing would be left. Returns how many went. */
size_t lu_seenlines_refute(lu_result *r, const lu_seen_bus *buses, size_t count);

#endif
