/* SPDX-License-Identifier: MIT */
#ifndef LU_REPORT_BOARDSVG_H
#define LU_REPORT_BOARDSVG_H
/* A board drawn to scale from its layout: outline, parts, pads, the damage, tracks of some nets, wires and marked
 * pins. Seen from the solder side it is mirrored, as the person sees it. One SVG, no script; what is
 * marked is told by shape and number, not by colour alone. */
#include <stdbool.h>
#include <stddef.h>
#include <stdio.h>

/* All lengths in mm; y grows upwards, x to the right as seen from the component side. */
typedef struct lu_drawn_line {
  double from_mm[2], to_mm[2];
  bool sure;                  /* a track that the layout gives; else a guess, dotted */
  unsigned tag;               /* of its net, written as data-n so that a page can mark it; 0 = none */
} lu_drawn_line;

typedef struct lu_drawn_spot {
  double at_mm[2], radius_mm;
  const char *name;           /* of a marked pin; NULL for pads */
  unsigned tag;               /* as of a line */
} lu_drawn_spot;

typedef struct lu_drawn_part {
  const char *ref;
  double least_mm[2], most_mm[2]; /* box around its pins */
} lu_drawn_part;

typedef struct lu_drawn_area {
  size_t corner_count;        /* 0: a circle */
  const double (*corners_mm)[2];
  double at_mm[2], radius_mm;
} lu_drawn_area;

typedef struct lu_drawn_wire {
  double from_mm[2], to_mm[2];
  const char *label;          /* short: a number in the list */
  const char *from, *to;      /* names of the ends, or NULL */
  bool over_top;              /* lies on the other side than the one that is drawn: dashed */
} lu_drawn_wire;

typedef struct lu_drawing {
  const char *title;          /* or NULL */
  bool solder_side;
  double least_mm[2], most_mm[2];
  size_t edge_count, track_count, pad_count, mark_count, part_count, area_count, wire_count;
  const lu_drawn_line *edges, *tracks;
  const lu_drawn_spot *pads, *marks;
  const lu_drawn_part *parts;
  const lu_drawn_area *areas; /* damage */
  const lu_drawn_wire *wires;
} lu_drawing;

/* False when the stream fails. */
bool lu_board_svg(FILE *out, const lu_drawing *d);

#endif
