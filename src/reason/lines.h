/* SPDX-License-Identifier: MIT */
#ifndef LU_REASON_LINES_H
#define LU_REASON_LINES_H
/* A block's lines as a person follows them with a probe: vantage pin, net, pin, part, pin, net ... chip pin.
 *
 * Address and data bits are followed from the vantage through everything that passes one bit on (buffers,
 * latches, multiplexers, transceivers, resistors, declared passes), by the fewest parts. Control lines are
 * followed from the chips' pins back to what drives them, through gates and decoders. Pure; names come later. */
#include "base/arena.h"
#include "base/err.h"
#include "board/board.h"
#include "reason/network.h"

typedef enum lu_line_kind { LU_LINE_ADDRESS, LU_LINE_DATA } lu_line_kind;

/* One step: along a net (part = LU_NONE) or through a part (net = LU_NONE). */
typedef struct lu_hop {
  uint32_t net, part;
  uint32_t from, to;     /* board pins; from = LU_NONE where a vantage bit is a net without a pin */
  const lu_cell *cell;   /* of a part: what the bit goes through */
} lu_hop;

/* A bit's way to the pins of chips on one net. */
typedef struct lu_line {
  uint8_t kind;          /* lu_line_kind */
  uint8_t phase;         /* lu_phase: in which half of a multiplexed address it arrives */
  bool inverted;
  uint16_t bit;          /* of the vantage */
  size_t hop_count;
  lu_hop *hops;          /* the last is a net and leads to ends[0] */
  size_t end_count;
  uint32_t *ends;        /* the chips' pins */
} lu_line;

/* A bit that reaches no chip. */
typedef struct lu_lost_line {
  uint8_t kind;
  uint16_t bit;
  uint32_t net;          /* where the trail ends: the farthest net that was reached, those first that stand at a
                            part of which the inside is not known */
  uint32_t pin;          /* that part's pin, or LU_NONE */
} lu_lost_line;

typedef enum lu_feed_end {
  LU_FEED_GOES_ON,       /* the driver's inputs follow, one level deeper */
  LU_FEED_VANTAGE,       /* the vantage's part drives it */
  LU_FEED_UNKNOWN,       /* a pin of a part whose inside is not known */
  LU_FEED_NONE,          /* nothing on the net can drive it */
  LU_FEED_CONSTANT,      /* a supply or ground */
  LU_FEED_SEEN           /* told above already, or too deep */
} lu_feed_end;

typedef struct lu_feed {
  uint16_t depth;        /* 0: the control net itself */
  uint8_t end;           /* lu_feed_end */
  uint32_t net;
  uint32_t driver;       /* board pin, or LU_NONE */
} lu_feed;

typedef struct lu_control {
  uint32_t net;
  uint8_t role;          /* lu_pin_role of the first pin */
  size_t pin_count, feed_count;
  uint32_t *pins;        /* the chips' pins on it */
  lu_feed *feeds;        /* depth first */
} lu_control;

typedef struct lu_lines {
  uint32_t block, vantage;
  size_t line_count, lost_count, control_count;
  lu_line *lines;        /* by kind, bit, then fewest hops first */
  lu_lost_line *lost;
  lu_control *controls;
} lu_lines;

/* network: of the same block and vantage, or NULL when it could not be built. With it, only lines that carry
 * the bit on a healthy board are told, and phases of multiplexers are known. ERR_NOMEM. The vantage is not a
 * chip out of circuit. Cost: about bits times nets on the way. */
LU_MUST_USE lu_status lu_lines_trace(const lu_board *b, uint32_t block, uint32_t vantage, const lu_network *network,
                                     lu_arena *mem, lu_lines **out, lu_err *err);

/* The nets that one bit reaches, nearest first: for who looks for memories before there is a block. steps[count]
 * lives in mem; step 0 is the start. */
typedef struct lu_trail {
  uint32_t net;
  uint32_t before;       /* step it was reached from, LU_NONE for the first */
  uint32_t in, out;      /* pins of the part between */
  const lu_cell *cell;
  uint16_t depth;
} lu_trail;
LU_MUST_USE lu_status lu_lines_trail(const lu_board *b, uint32_t net, lu_line_kind kind, lu_arena *mem, lu_trail **steps,
                                     size_t *count, lu_err *err);

#endif
