/* SPDX-License-Identifier: MIT */
#ifndef LU_DATA_NETLIST_H
#define LU_DATA_NETLIST_H
/* A netlist and a layout as plain values: what a drawing or an export says, before any meaning
 * is given to it. Texts are ended by NUL and live in the arena that the reader was given. */
#include <stddef.h>
#include <stdint.h>

typedef struct lu_net_pin {
  uint32_t part;        /* index into parts */
  uint32_t net;         /* index into nets */
  const char *number;   /* pin number as printed on the drawing, "12", "A3" */
  const char *function; /* pin name from the netlist, or NULL */
} lu_net_pin;

typedef struct lu_net_part {
  const char *ref;      /* "U16" */
  const char *value;    /* "HM62256LP-10", or NULL */
  const char *library;  /* library symbol name, or NULL */
} lu_net_part;

typedef struct lu_net_name {
  const char *name;
  uint32_t first_pin, pin_count; /* a run of pins[] */
} lu_net_name;

/* A place on the board, from a layout. */
typedef struct lu_net_place {
  uint32_t net;         /* index into nets */
  uint32_t part;        /* index into parts, or UINT32_MAX for a via or a free point */
  const char *number;   /* pin, or NULL */
  double x_mm, y_mm;    /* y grows upwards, as in IPC-D-356A */
  double hole_mm;       /* 0 = surface pad */
  double width_mm, height_mm; /* pad; height 0 = round */
  uint8_t access;       /* 0 both sides, 1 component side, 2.. layer; highest = solder side */
  uint8_t mid;          /* 1 = a middle point of the net, not an end */
  uint8_t via;          /* 1 = a via */
} lu_net_place;

/* A straight piece of copper or of the board's edge, from a layout. */
typedef struct lu_net_line {
  uint32_t net;         /* index into nets; UINT32_MAX for an edge */
  uint8_t layer;        /* 1 component side, 2.. inner, highest = solder side; 0 for an edge */
  double width_mm;      /* 0 for an edge */
  double x1_mm, y1_mm, x2_mm, y2_mm;
} lu_net_line;

typedef struct lu_netlist {
  const char *format;   /* name of the format, a constant */
  size_t part_count;
  lu_net_part *parts;   /* in the order of the file */
  size_t net_count;
  lu_net_name *nets;
  size_t pin_count;
  lu_net_pin *pins;     /* grouped by net */
  size_t place_count;
  lu_net_place *places; /* layout formats only */
  size_t note_count;
  const char **notes;   /* things accepted with a remark, one line each */
  size_t track_count;
  lu_net_line *tracks;  /* layout formats only, where the writer gives conductors */
  size_t edge_count;
  lu_net_line *edges;   /* the board's outline */
} lu_netlist;

#endif
