/* SPDX-License-Identifier: MIT */
#ifndef LU_REASON_HOPS_H
#define LU_REASON_HOPS_H
/* One net as physical steps: points that a meter's tip can touch, and the hops between them.
 *
 * A pin of a chip in a socket has two points, leg and pad; any other pin has one. With places from
 * a layout the order along the net is taken from the minimum spanning tree over pads and vias
 * (copper is laid the short way; the true order may differ); without, the net is a star from its
 * driver. Hops that no reading can tell apart are one hop, with the sum of their priors. */
#include "reason/priors.h"

enum { LU_POINTS_MOST = 256, LU_HOPS_MOST = 384 };

typedef enum lu_at { LU_AT_PIN, LU_AT_LEG, LU_AT_PAD, LU_AT_VIA, LU_AT_NET } lu_at;

/* Where a tip goes. */
typedef struct lu_point {
  uint8_t at;       /* lu_at; PIN: a pin in no socket */
  uint32_t net;     /* board net */
  uint32_t pin;     /* board pin; LU_NONE for VIA and NET */
  uint32_t place;   /* VIA: index into the netlist's places; else LU_NONE */
} lu_point;

typedef struct lu_point_set {
  uint64_t w[LU_POINTS_MOST / 64];
} lu_point_set;

typedef enum lu_hop_kind { LU_HOP_CONTACT, LU_HOP_JOINT, LU_HOP_TRACK, LU_HOP_SEVERAL } lu_hop_kind;

typedef struct lu_hop {
  uint8_t kind;          /* SEVERAL: of different kinds, told apart by no reading */
  uint16_t a, b;         /* nearest points on either side */
  double prior;          /* chance of being broken before anything was read */
  lu_point_set cut;      /* points on b's side */
} lu_hop;

typedef struct lu_wire {
  uint32_t net;
  size_t point_count, hop_count, hop_room;
  lu_point *points;
  lu_hop *hops;
  lu_point_set drivers;  /* points of pins that drive the net */
  lu_point_set interest; /* points of pins that readings depended on: leg or only point */
  bool placed;           /* the order comes from a layout */
} lu_wire;

static inline bool lu_point_in(const lu_point_set *s, size_t i)
{
  return s->w[i / 64] >> (i % 64) & 1;
}

/* pins / drivers: board pins that readings depended on and that drive (empty: by the pins' roles).
 * ERR_LIMIT for a net of more points than LU_POINTS_MOST; ERR_NOMEM. */
LU_MUST_USE lu_status lu_wire_of(const lu_board *b, const lu_priors *p, uint32_t net, const uint32_t *pins, size_t pin_count,
                                 const uint32_t *drivers, size_t driver_count, lu_arena *mem, lu_wire *out, lu_err *err);

/* The point's index, or SIZE_MAX. */
size_t lu_wire_point(const lu_wire *w, const lu_point *p);

/* Adds a hop that cuts these board pins off, for a break where the tree has none; returns it. */
size_t lu_wire_cut(lu_wire *w, const lu_board *b, const uint32_t *pins, size_t count, double prior);

/* "U16.12:leg", "U2.7", "DRA3@12.5,33", "DRA3"; in mem, NULL if refused. */
const char *lu_point_name(const lu_board *b, const lu_point *p, lu_arena *mem);
/* The other way. ERR_MISSING with the nearest name; ERR_VALUE for :leg or :pad of a part in no
 * socket. Without :leg or :pad a socketed pin means its leg. */
LU_MUST_USE lu_status lu_point_named(const lu_board *b, const char *name, lu_point *out, lu_err *err);

#endif
