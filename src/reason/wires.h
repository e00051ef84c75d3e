/* SPDX-License-Identifier: MIT */
#ifndef LU_REASON_WIRES_H
#define LU_REASON_WIRES_H
/* Where repair wires go: for a net that fell into groups of pins, the shortest wires that join them again.
 *
 * Points that can be soldered from the solder side (through-hole pins, vias, pads there) come first; surface pads
 * of the component side only where a group has no other. Only points that surely hang together with a
 * group's pins are used. Pure. */
#include "base/arena.h"
#include "base/err.h"
#include "board/places.h"

enum { LU_CUT_GROUPS_MOST = 64 };

/* A net in pieces: groups[group_count] of pins that still hang together. */
typedef struct lu_cut_net {
  uint32_t net;
  size_t group_count;
  lu_pin_group *groups;
} lu_cut_net;

typedef enum lu_wire_side { LU_WIRE_SOLDER, LU_WIRE_COMPONENT, LU_WIRE_BOTH } lu_wire_side;

typedef struct lu_wire {
  uint32_t net;
  uint32_t from, to;         /* points; LU_NONE without a layout */
  uint32_t from_pin, to_pin; /* board pins; LU_NONE for vias */
  double length_mm;          /* straight; 0 without a layout */
  uint8_t side;              /* lu_wire_side */
  uint32_t crosses;          /* another wire of the list that it cannot help crossing, or LU_NONE */
} lu_wire;

/* From pins that are cut off and pins that are not (as decode tells them): the groups they fall into, as the
 * layout has it. More than two when one break does not explain them. Without a layout: the two lists. ERR_NOMEM, ERR_LIMIT. */
LU_MUST_USE lu_status lu_wires_groups(const lu_board *b, uint32_t net, const uint32_t *cut, size_t cut_count,
                                      const uint32_t *rest, size_t rest_count, lu_arena *mem, lu_cut_net *out, lu_err *err);

/* The wires for all nets together: for each net a minimum spanning set over its groups, one fewer than there are
 * groups; where a wire would cross another or start from a point that carries one, a somewhat longer one (at
 * most half as long again and 5 mm) is taken if there is such. Groups without a place are left out when the board has a
 * layout. *wires in the order of the cuts. ERR_NOMEM, ERR_LIMIT. Cost: pairs of points of each net. */
LU_MUST_USE lu_status lu_wires_plan(const lu_board *b, const lu_cut_net *cuts, size_t cut_count, lu_arena *mem, lu_wire **wires,
                                    size_t *wire_count, lu_err *err);

#endif
