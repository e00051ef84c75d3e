/* SPDX-License-Identifier: MIT */
#ifndef LU_BOARD_PLACES_H
#define LU_BOARD_PLACES_H
/* Where a board's copper lies: the points of each net (pins, vias, middle points, bends of tracks) and the
 * pieces of copper between neighbouring points.
 *
 * Pieces are the tracks that the layout gives (IPC-D-356A records 378); what they leave apart is joined by
 * the shortest pieces that make one tree of the net: a Euclidean minimum spanning tree over its points, the
 * likeliest guess at a track's way that pads and vias alone allow (docs/places.md says how good it is). */
#include "board/board.h"

typedef enum lu_point_kind { LU_POINT_PIN, LU_POINT_VIA, LU_POINT_MID, LU_POINT_BEND } lu_point_kind;

typedef struct lu_point {
  double x_mm, y_mm;   /* y grows upwards; seen from the component side */
  double reach_mm;     /* half the pad: a track that ends so near ends on it */
  uint32_t net;        /* board net */
  uint32_t pin;        /* board pin; LU_NONE for a via, a middle point, a bend */
  uint8_t kind;        /* lu_point_kind */
  uint8_t layer;       /* 0 = all; 1 component side, 2.. inner, places->solder_layer */
  bool through;        /* can be soldered from either side */
} lu_point;

/* Copper between two neighbouring points, a straight line. */
typedef struct lu_piece {
  uint32_t a, b;       /* points */
  double length_mm;
  uint8_t layer;       /* 0 = not known */
  bool given;          /* by the layout; else assumed */
} lu_piece;

typedef struct lu_net_points {
  uint32_t first_point, point_count; /* a run of points */
  uint32_t first_piece, piece_count; /* a run of pieces; they form one tree */
} lu_net_points;

typedef struct lu_places {
  size_t point_count, piece_count;
  lu_point *points;
  lu_piece *pieces;
  lu_net_points *nets;   /* by board net */
  uint32_t *pin_point;   /* by board pin: its first point, or LU_NONE */
  double (*part_at)[2];  /* by board part: middle of its pins */
  uint32_t *part_points; /* by board part: how many; 0 = its place is not known */
  uint8_t solder_layer;  /* highest layer that was seen; 2 if none */
  double least_mm[2], most_mm[2]; /* all points and edges: x, y */
  size_t bare_nets;      /* nets with too many points for a tree (planes): no pieces */
} lu_places;

enum { LU_TREE_POINTS_MOST = 8192 }; /* points of a net that gets pieces */

/* *out = NULL when the board has no layout. ERR_NOMEM. Cost O(sum of n * (n + tracks)) over nets of n points. */
LU_MUST_USE lu_status lu_places_build(const lu_board *b, lu_arena *mem, const lu_places **out, lu_err *err);

/* The part of a net that separates pins that are cut off from pins that are not. */
typedef struct lu_stretch {
  uint32_t net;
  uint32_t from, to;     /* points: the last that surely belongs to the rest, the first that is surely cut off */
  double length_mm;      /* along the pieces */
  uint8_t layer;         /* 0 = not known, or more than one */
  bool given;            /* all of it from the layout's tracks */
  size_t piece_count;
  uint32_t *pieces;      /* in order from -> to */
} lu_stretch;

/* One stretch when one break explains the two groups, else one for each break of the fewest that do. Pins
 * without a place and pins in neither list do not matter. *count = 0 when a group has no place on the net's
 * tree. cut[cut_count], rest[rest_count]: board pins. ERR_NOMEM. Cost O(points of the net). */
LU_MUST_USE lu_status lu_places_stretches(const lu_places *p, uint32_t net, const uint32_t *cut, size_t cut_count,
                                          const uint32_t *rest, size_t rest_count, lu_arena *mem, lu_stretch **out,
                                          size_t *count, lu_err *err);

/* "between U8.21 and U16.12, 31 mm, component side"; NULL if memory is refused. */
const char *lu_stretch_text(const lu_board *b, const lu_stretch *s, lu_arena *mem);
/* "U8.21", or "the via at 12.3, 45.6 mm". NULL if memory is refused. */
const char *lu_point_text(const lu_board *b, uint32_t point, lu_arena *mem);
/* "component side", "solder side", "layer 3", or NULL for 0. */
const char *lu_layer_text(const lu_places *p, uint8_t layer, lu_arena *mem);

/* Points that surely hang together with one group of pins when the net is broken between the groups: those of
 * the pins and those that lie between them on the tree. group[i] (by point of the net, from 0) receives 1 + the
 * index of the group, or 0. groups[group_count] are lists of pins. False if memory is refused. */
typedef struct lu_pin_group {
  size_t count;
  const uint32_t *pins;
} lu_pin_group;
bool lu_places_groups(const lu_places *p, uint32_t net, const lu_pin_group *groups, size_t group_count, lu_arena *mem,
                      uint16_t *group);

/* Distance from a point to the straight line between a and b. */
double lu_distance_to_piece(double x, double y, double ax, double ay, double bx, double by);

#endif
