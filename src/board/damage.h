/* SPDX-License-Identifier: MIT */
#ifndef LU_BOARD_DAMAGE_H
#define LU_BOARD_DAMAGE_H
/* What lies where the leak was: pins, vias and tracks in circles and polygons, and what is named outright.
 * Worked out once for a board, so that asking costs one look into a table. */
#include "board/board.h"

typedef enum lu_harm_kind {
  LU_HARM_NONE,
  LU_HARM_NAMED_NET,
  LU_HARM_NAMED_PART,
  LU_HARM_CIRCLE,      /* distance_mm from its middle */
  LU_HARM_POLYGON
} lu_harm_kind;

typedef struct lu_harm {
  uint8_t kind;        /* lu_harm_kind */
  bool track;          /* of a net: no pin of it is nearer than this piece of track or via */
  uint16_t area;       /* index into the board file's damage */
  float distance_mm;   /* CIRCLE: of the nearest point */
} lu_harm;

typedef struct lu_damage {
  lu_harm *pins, *nets; /* by board pin, by board net */
} lu_damage;

/* *out = NULL when the board file names no damage. A circle around a part counts from the middle of its pins.
 * Tracks are the pieces of places.h: straight lines between the ends. ERR_NOMEM. */
LU_MUST_USE lu_status lu_damage_build(const lu_board *b, lu_arena *mem, const lu_damage **out, lu_err *err);

/* The pin stands in damage: of a named part, or its place lies in a circle or polygon. reason (may
 * be NULL) receives a text such as "stands 4 mm from BT1" in buf[len]. Cost: constant. */
bool lu_damage_pin(const lu_board *b, uint32_t pin, char *buf, size_t len);
/* The net is named, or some pin, via or track of it lies in damage: "passes 4 mm from BT1". Cost: constant. */
bool lu_damage_net(const lu_board *b, uint32_t net, char *buf, size_t len);

/* The middle of a circle; false when it has none (a part without place, a polygon, names only). */
bool lu_damage_centre(const lu_board *b, const lu_file_damage *d, double at_mm[2]);

#endif
