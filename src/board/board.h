/* SPDX-License-Identifier: MIT */
#ifndef LU_BOARD_BOARD_H
#define LU_BOARD_BOARD_H
/* A board: netlist, part types and board file brought together, every name looked up.
 * Indexes are positions in the arrays of lu_board; UINT32_MAX = none. */
#include "board/boardfile.h"
#include "board/part.h"
#include "data/netlist.h"

#define LU_NONE UINT32_MAX

typedef struct lu_pin {
  uint32_t part, net;
  uint16_t type_pin;     /* index into the part's type->pins, or UINT16_MAX */
  const char *number;
  const char *function;  /* from the type, else the netlist, else the number */
  const char *name;      /* "U16.12" */
  bool typed;            /* its net was typed in under nets */
} lu_pin;

typedef struct lu_part {
  const char *ref, *value;
  const lu_part_type *type; /* NULL = not known */
  bool socketed;
  uint32_t first_pin, pin_count; /* a run of part_pins */
} lu_part;

typedef struct lu_net {
  const char *name;
  uint32_t first_pin, pin_count; /* a run of net_pins */
  bool supply, ground;           /* by name or by the pins on it */
} lu_net;

typedef struct lu_strobe {
  const char *name;      /* "read", "write" ... */
  uint32_t pin;          /* pin index, or LU_NONE */
  uint32_t net;
  bool active_low;
} lu_strobe;

typedef struct lu_vantage {
  const char *name;
  uint32_t part;         /* or LU_NONE when all bits are nets */
  bool chip;             /* a memory chip out of circuit ("chip:U3") */
  bool multiplexed;
  uint16_t address_bits; /* bits of the word address; multiplexed: columns first, then rows */
  uint16_t row_bits, column_bits;
  uint16_t data_bits;
  uint32_t address_net[64], data_net[64];
  uint32_t address_pin[64], data_pin[64]; /* pin, or LU_NONE where a net was given */
  bool big_endian;
  uint8_t bytes;         /* a word in a dump file: 1, 2, 4, 8 */
  size_t strobe_count;
  lu_strobe *strobes;
} lu_vantage;

typedef struct lu_block {
  const char *name;
  uint32_t vantage;
  uint64_t base, size;   /* bytes */
  bool rom;
  size_t chip_count;
  uint32_t *chips;       /* part indexes */
} lu_block;

typedef struct lu_board {
  const char *title, *path;
  size_t part_count, net_count, pin_count, vantage_count, block_count;
  lu_part *parts;
  lu_net *nets;
  lu_pin *pins;
  uint32_t *part_pins, *net_pins;
  lu_vantage *vantages;
  lu_block *blocks;
  const lu_boardfile *file;   /* damage and priors are taken from it */
  const lu_netlist *netlist;  /* or NULL */
  const struct lu_places *places; /* of its layout (board/places.h), or NULL */
  const struct lu_damage *damage; /* what lies in the damage (board/damage.h), or NULL */
  size_t note_count;
  const char **notes;         /* what was assumed or could not be used, one line each */
} lu_board;

/* Brings board file and netlist (NULL: none) together. ERR_VALUE / ERR_MISSING at the board
 * file's line and column for a part, pin or net that is not there (with the nearest name), for
 * two vantage bits on one net, for a chip that is no memory. */
LU_MUST_USE lu_status lu_board_build(const lu_boardfile *file, const lu_netlist *netlist,
                                     lu_arena *mem, lu_board **out, lu_err *err);

/* A board of one memory with an address bus of address_bits and a data bus of data_bits, nets A0..
 * and D0..: what is judged when no board is known. */
LU_MUST_USE lu_status lu_board_plain(unsigned address_bits, unsigned data_bits, lu_arena *mem,
                                     lu_board **out, lu_err *err);

uint32_t lu_board_part(const lu_board *b, const char *ref);
uint32_t lu_board_net(const lu_board *b, const char *name);  /* also without a leading slash */
uint32_t lu_board_pin(const lu_board *b, const char *name);  /* "U16.12" or "U16.A3" */
uint32_t lu_board_vantage(const lu_board *b, const char *name);
uint32_t lu_board_block(const lu_board *b, const char *name);
/* Nearest names for a message, or NULL. */
const char *lu_board_nearest_part(const lu_board *b, const char *ref);
const char *lu_board_nearest_net(const lu_board *b, const char *name);
const char *lu_board_nearest_block(const lu_board *b, const char *name);

/* The vantage "chip:REF" made for a memory part: its own address and data pins, in order.
 * Adds it to the board (arena mem). */
LU_MUST_USE lu_status lu_board_chip_vantage(lu_board *b, uint32_t part, lu_arena *mem,
                                            uint32_t *vantage, lu_err *err);

static inline const lu_part_pin *lu_pin_type(const lu_board *b, uint32_t pin)
{
  const lu_pin *p = &b->pins[pin];
  const lu_part_type *t = b->parts[p->part].type;
  return t && p->type_pin != UINT16_MAX ? &t->pins[p->type_pin] : NULL;
}

#endif
