/* SPDX-License-Identifier: MIT */
#ifndef LU_REASON_CYCLES_H
#define LU_REASON_CYCLES_H
/* Bus cycles from a capture's levels. Pure; fed step by step, constant memory.
 *
 * What a chip takes when a line becomes active (row, column, data of an early write) is read after
 * that moment's changes; what is taken when a strobe ends (data, address) is read before them. So a
 * capture without delays, where data go in the same moment as the strobe, gives the same cycles. */
#include "base/arena.h"
#include "data/capture.h"
#include "reason/bind.h"

typedef enum lu_cycle_kind {
  LU_CYCLE_READ,
  LU_CYCLE_WRITE,        /* static memory; dynamic: early write, the write line before the column */
  LU_CYCLE_LATE_WRITE,   /* the write line after the column strobe */
  LU_CYCLE_READ_WRITE,   /* read-modify-write in one row and column access */
  LU_CYCLE_ROW_REFRESH,  /* row strobe without column strobe */
  LU_CYCLE_AUTO_REFRESH, /* column before row: the chip counts rows by itself */
  LU_CYCLE_KINDS
} lu_cycle_kind;

const char *lu_cycle_kind_name(lu_cycle_kind kind);

enum {
  LU_CYCLE_ADDRESS_LATE = 1,  /* the address changed less than the setup time before the strobe */
  LU_CYCLE_ADDRESS_MOVED = 2, /* ... or while the strobe was active */
  LU_CYCLE_DATA_LATE = 4,     /* written data changed less than the setup time before the end */
  LU_CYCLE_BEGUN_BEFORE = 8   /* the strobe was active when the capture began */
};

typedef struct lu_cycle {
  int64_t begin, end;         /* ticks */
  lu_cycle_kind kind;
  uint8_t strobe;             /* index into the map's strobes; dynamic memory: 0 */
  uint8_t flags;
  uint32_t waits;             /* clock edges that the wait line held up */
  uint64_t address, address_unknown;
  uint64_t data, data_unknown; /* read; or written. unknown covers x, z and lanes not active */
  uint64_t written, written_unknown; /* READ_WRITE: what was written; else as data */
  uint64_t lanes;             /* data bits whose lane was active; all of them without lanes */
  uint64_t row;               /* dynamic memory: the row, for refresh */
} lu_cycle;

typedef struct lu_cycle_counts {
  uint64_t kinds[LU_CYCLE_KINDS];
  uint64_t both;              /* a read and a write strobe were active at once ... */
  int64_t first_both;         /* ... for the first time */
  uint64_t address_late, address_moved, data_late;
  int64_t first_address_late, first_address_moved, first_data_late;
  uint64_t undecided;         /* a strobe or a condition was x or z where it mattered */
  int64_t first_undecided;
  uint64_t unfinished;        /* active when the capture ended */
} lu_cycle_counts;

typedef struct lu_cycles lu_cycles;
typedef lu_status (*lu_cycle_taker)(void *to, const lu_cycle *c, lu_err *err);

/* Binds the map to the capture. taker is called at the end of each cycle (may be NULL: counting
 * only). ERR_MISSING: a name that the capture lacks, or no strobe at all; ERR_VALUE, ERR_NOMEM. */
LU_MUST_USE lu_status lu_cycles_open(const lu_bind *bind, lu_cycle_taker taker, void *to,
                                     lu_arena *mem, lu_cycles **out, lu_err *err);
lu_status lu_cycles_step(lu_cycles *c, const lu_cap_step *step, lu_err *err);
void lu_cycles_end(lu_cycles *c);
/* Bits by home that cycles depend on, [slot_count]: for lu_cap_sink.wanted if nothing else listens. */
const uint64_t *lu_cycles_wanted(const lu_cycles *c);
const lu_cycle_counts *lu_cycles_counts(const lu_cycles *c);

/* Widths in bits of the whole address and of the data. */
unsigned lu_cycles_address_bits(const lu_cycles *c);
unsigned lu_cycles_data_bits(const lu_cycles *c);
unsigned lu_cycles_column_bits(const lu_cycles *c); /* of the address, 0 unless multiplexed */

/* The homes that the map names: address (row, column), data, then control, at most room. */
size_t lu_cycles_homes(const lu_cycles *c, uint32_t *homes, size_t room);
/* How many of those are address and data. */
size_t lu_cycles_bus_bits(const lu_cycles *c);

#endif
