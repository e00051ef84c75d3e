/* SPDX-License-Identifier: MIT */
#ifndef LU_REPORT_BOARDSVG_H
#define LU_REPORT_BOARDSVG_H
/* A board drawn to scale from its layout: outline, parts, pads, the damage, tracks of some nets, wires and marked
 * pins. Seen from the solder side it is mirrored, as the person sees it. One SVG, no script; what is
 * marked is told by shape and number, not by colour alone. */
#include "board/board.h"

#include <stdio.h>

typedef struct lu_drawn_wire {
  double from_mm[2], to_mm[2];
  const char *label;          /* short: a number in the list */
  const char *from, *to;      /* names of the ends, or NULL */
  bool over_top;              /* lies on the other side than the one that is drawn: dashed */
} lu_drawn_wire;

typedef struct lu_drawing {
  const lu_board *board;      /* with places */
  bool solder_side;
  size_t net_count, pin_count, wire_count;
  const uint32_t *nets;       /* whose tracks are shown */
  const uint32_t *pins;       /* marked */
  const lu_drawn_wire *wires;
} lu_drawing;

/* False when the board has no layout or the stream fails. */
bool lu_board_svg(FILE *out, const lu_drawing *d);

#endif
