/* SPDX-License-Identifier: MIT */
#ifndef LU_REASON_NETWORK_H
#define LU_REASON_NETWORK_H
/* The part of a board that one block's accesses run through, ready to be simulated symbolically.
 *
 * Everything is evaluated at four moments of an access. At each, a net carries a Boolean function
 * (fn.h) of address bits (LU_VAR_ADDRESS + i), bits of the word written (LU_VAR_DATA + i) and
 * chips' outputs (LU_VAR_CHIP + chip * 16 + pin).  Lines that the model cannot follow (a timing
 * generator, a programmed part) are sources that do what a healthy board needs. */
#include "base/arena.h"
#include "base/err.h"
#include "board/board.h"
#include "reason/fault.h"
#include "reason/fn.h"

typedef enum lu_moment { LU_IDLE, LU_ROW, LU_WRITE, LU_READ, LU_MOMENTS } lu_moment;

enum {
  LU_CHIP_ADDRESS_MOST = 30, /* address pins of a chip; without a board one chip holds all that was read */
  LU_CHIP_DATA_MOST = 16,
  LU_CHIP_CONTROL_MOST = 8,
  LU_NET_PINS_MOST = 64,
  LU_CELL_BITS_MOST = 40
};

typedef struct lu_drive {
  lu_fn hi, lo; /* something pulls up / pulls down */
} lu_drive;

typedef struct lu_npin {
  uint32_t pin;      /* board pin, or LU_NONE: the vantage itself, a supply */
  uint16_t net;      /* network net */
  uint16_t place;    /* position in the net's list */
  uint16_t driver;   /* element that drives it, or UINT16_MAX */
  uint16_t part;     /* network part */
  uint16_t first_reader, reader_count; /* run of readers: elements to redo when its level changes */
  uint16_t chip;     /* chip that takes an address bit or data in here, or UINT16_MAX */
  uint16_t same_as;  /* the same pin, driven by a second element; or UINT16_MAX */
  uint16_t column;   /* vantage data bit that is read here, or UINT16_MAX */
} lu_npin;

typedef struct lu_nnet {
  uint32_t net;      /* board net */
  uint16_t first_pin, pin_count;   /* run of net_pins */
  uint16_t first_driver, driver_count; /* run of net_drivers: pins with a driver */
  uint8_t pull;      /* 0 none, 1 up, 2 down */
  uint8_t constant;  /* 1 supply, 2 ground: never suspect */
  uint8_t carries;   /* LU_CARRIES_ bits */
  uint64_t chips;    /* chips (first 64) that it reaches by address or control */
} lu_nnet;

enum { LU_CARRIES_ADDRESS = 1, LU_CARRIES_DATA = 2, LU_CARRIES_CONTROL = 4 };

typedef enum lu_elem_kind {
  LU_ELEM_ADDRESS, LU_ELEM_DATA, LU_ELEM_STROBE, LU_ELEM_CONST, LU_ELEM_ORACLE, LU_ELEM_CELL, LU_ELEM_CHIP
} lu_elem_kind;

typedef struct lu_elem {
  uint8_t kind;
  uint8_t reversed;        /* transceiver: the B side is the vantage's side */
  uint8_t one_way;         /* declared pass that no data line uses: always A to B */
  uint16_t part;           /* network part */
  uint16_t index;          /* chip number; bit number; -; oracle number */
  uint16_t bit2;           /* ADDRESS: data bit on the same pin, or UINT16_MAX; multiplexed: column bit */
  const lu_cell *cell;
  uint16_t pins[8 + 8 + 4 + 4 + 1]; /* inputs, outputs, selects, enables, gate: network pins */
  lu_fn level[LU_MOMENTS]; /* STROBE, CONST, ORACLE */
} lu_elem;

typedef struct lu_chip {
  uint32_t part;           /* board part */
  uint16_t npart, elem;
  uint8_t address_count, in_count, out_count, control_count;
  uint8_t cell_bits, row_bits;
  bool multiplexed, rom;
  bool foreign;            /* of another block: on a healthy board it does not answer here, and what
                              it holds is not known */
  uint16_t address[LU_CHIP_ADDRESS_MOST]; /* network pin or UINT16_MAX, by address index */
  uint16_t in[LU_CHIP_DATA_MOST], out[LU_CHIP_DATA_MOST];
  uint16_t control[LU_CHIP_CONTROL_MOST];
  uint8_t control_role[LU_CHIP_CONTROL_MOST];
  bool control_low[LU_CHIP_CONTROL_MOST];
  /* healthy: */
  lu_fn serves;            /* of address bits: this chip answers */
  lu_fn cell[LU_CELL_BITS_MOST];        /* of one address bit each, or fixed */
  lu_fn in_fn[LU_CHIP_DATA_MOST];       /* what is written: of one data bit */
  uint16_t column[LU_CHIP_DATA_MOST];   /* vantage data bit of each output; UINT16_MAX = none */
  bool column_inverted[LU_CHIP_DATA_MOST];
} lu_chip;

typedef struct lu_net_state {
  lu_fn hi[2], lo[2], value[2]; /* by group: 0 the rest, 1 what an open cuts off */
} lu_net_state;

typedef struct lu_network {
  const lu_board *board;
  uint32_t vantage, block;
  unsigned address_bits;   /* that vary within the block; address = word address, those low bits */
  unsigned data_bits;
  uint64_t words, base_word;
  size_t pin_count, net_count, elem_count, chip_count, part_count;
  size_t foreign_count;    /* chips of other blocks on the same data lines, behind the others in chips */
  lu_npin *pins;
  lu_nnet *nets;
  lu_elem *elems;
  lu_chip *chips;
  uint32_t *parts;         /* board parts */
  uint16_t *net_pins, *net_drivers, *readers;
  uint16_t address_pin[64], data_pin[64]; /* network pins of the vantage */
  lu_drive *drive;         /* healthy, [moment * pin_count + pin] */
  lu_net_state *state;     /* healthy, [moment * net_count + net] */
  size_t note_count;
  const char **notes;
} lu_network;

/* Builds the network of a block. Errors at the board file's place: a line whose trail ends (the
 * net where it ends is named), a vantage bit that reaches no chip. */
LU_MUST_USE lu_status lu_network_build(const lu_board *board, uint32_t block, uint32_t vantage,
                                       lu_arena *mem, lu_network **out, lu_err *err);

/* Names for messages; never NULL. */
const char *lu_network_net_name(const lu_network *n, uint16_t net);
const char *lu_network_pin_name(const lu_network *n, uint16_t npin);

/* The network's net of a board net, or UINT16_MAX. */
uint16_t lu_network_net(const lu_network *n, uint32_t board_net);
uint16_t lu_network_part(const lu_network *n, uint32_t board_part);
uint16_t lu_network_pin(const lu_network *n, uint32_t board_pin);

#endif
