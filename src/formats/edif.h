/* SPDX-License-Identifier: MIT */
#ifndef LU_FORMATS_EDIF_H
#define LU_FORMATS_EDIF_H
/* What edif.c reads and edif_flat.c lays flat: an EDIF 2 0 0 netlist as tables. Private to them.
 *
 * Identifiers are kept in lower case, for they are compared without case. */
#include "formats/netbuild.h"

/* A name where it is defined: its identifier, its real name, and how many it names. */
typedef struct lu_edif_name {
  uint32_t id, text; /* atoms */
  uint32_t width;    /* 0 = not an array */
  uint32_t offset;   /* in the input */
} lu_edif_name;

typedef struct lu_edif_port {
  lu_edif_name name;
  uint32_t bit; /* its first in bits */
} lu_edif_port;

/* One pin of a cell. */
typedef struct lu_edif_bit {
  uint32_t number, function; /* atoms; function may be LU_NONE */
} lu_edif_bit;

typedef struct lu_edif_instance {
  lu_edif_name name;
  uint32_t library, cell, view; /* atoms as referred to; view may be LU_NONE */
  uint32_t value;               /* atom or LU_NONE */
} lu_edif_instance;

/* What the joins need of an instance; apart from the rest so that it stays in the cache. */
typedef struct lu_edif_place {
  uint32_t target; /* index of the view, once resolved */
  uint32_t width;  /* as in its name */
  uint32_t slot;   /* while a view is laid out: its part; of an array: where its parts begin */
} lu_edif_place;

typedef struct lu_edif_join {
  uint32_t port;     /* atom, then index */
  uint32_t instance; /* index; LU_NONE: a port of the cell itself */
  uint32_t late;     /* atom of an instance that had not been read yet, or LU_NONE */
  uint32_t member, element; /* LU_NONE: all of the port, of the instance */
  uint32_t offset;
} lu_edif_join;

typedef struct lu_edif_net {
  lu_edif_name name;
  uint32_t first_join, join_count;
  uint32_t width; /* bits, at least 1, once resolved */
} lu_edif_net;

typedef struct lu_edif_view {
  uint32_t cell, id, next; /* next view of the cell or LU_NONE */
  bool netlist, late; /* late: some joins name instances behind them */
  uint32_t port_first, port_count, bit_first, bit_count;
  uint32_t inst_first, inst_count, net_first, net_count;
  uint8_t state; /* 0 not looked at, 1 being looked at, 2 resolved */
  uint64_t flat_parts, flat_pins; /* all below it, kept from overflow */
} lu_edif_view;

typedef struct lu_edif_cell {
  uint32_t library, id, text; /* atoms */
  uint32_t views;             /* first view or LU_NONE */
} lu_edif_cell;

typedef struct lu_edif {
  lu_netbuild b;
  lu_pile cells, views, ports, bits, insts, places, nets, joins; /* places: by instance */
  lu_keymap cell_at; /* library, identifier -> cell */
  lu_keymap port_at; /* view, identifier -> port */
  lu_keys inst_ids;  /* identifiers of instances, with the last instance so called as tag */
  lu_keymap number_at; /* instance, port's identifier -> atom of the pin's number there */
  uint32_t top_library, top_cell, top_view; /* atoms, LU_NONE when there is no design */
  uint32_t top_offset;
  bool unordered_noted;
} lu_edif;

static inline uint64_t lu_edif_key(uint32_t a, uint32_t b)
{
  return ((uint64_t)a << 32 | b) + 1;
}

/* For joins that come before their instances: the identifiers of a view's instances bear its mark
 * and the instance's index. The lower half of the marks belongs to lu_netbuild_done. */
static inline uint32_t lu_edif_mark(uint32_t view)
{
  return UINT32_C(0x80000000) | view;
}

/* Element index of an array as its name says: "D[3:0]" has D[3] first. Without a range an array of
 * bits counts down to 0, since member 0 is the leftmost (falls), one of instances counts up.
 * width 0: the name itself. */
LU_MUST_USE lu_status lu_edif_element(lu_netbuild *b, const lu_edif_name *name, bool falls,
                                      uint32_t index, uint32_t *atom);
/* True when the name ends in a range of that width: [a:b], (a:b) or <a:b>. */
bool lu_edif_range(const char *text, uint32_t width, size_t *base_len, long *first, long *step);

/* Fills the builder's parts, nets and pins from the tables, hierarchy undone. */
LU_MUST_USE lu_status lu_edif_flatten(lu_edif *e);

#endif
