/* SPDX-License-Identifier: MIT */
#ifndef LU_REASON_CYCLES_IN_H
#define LU_REASON_CYCLES_IN_H
/* Private to cycles.c (binding, strobes) and cycles_dram.c (row and column strobes). */
#include "reason/cycles.h"

typedef enum lu_line_is { LU_LINE_OFF, LU_LINE_ON, LU_LINE_ODD } lu_line_is;

typedef struct lu_cyc_line {
  uint64_t bit;          /* 0: not used */
  uint32_t slot;
  bool active_high;
} lu_cyc_line;

/* Bits of a bus that lie side by side in one slot. */
typedef struct lu_cyc_run {
  uint64_t mask;         /* before the shift up */
  uint32_t slot;
  uint8_t down, up;
} lu_cyc_run;

typedef struct lu_cyc_field {
  unsigned bits, run_count;
  uint32_t homes[LU_SIG_BITS_MOST];
  lu_cyc_run runs[LU_SIG_BITS_MOST];
} lu_cyc_field;

/* Lines that lie in one slot, looked at together. */
typedef struct lu_cyc_group {
  uint64_t mask, active;  /* level of each line when active */
  uint32_t slot;
} lu_cyc_group;

typedef struct lu_cyc_lines {
  size_t count;
  lu_cyc_group groups[LU_SIG_ANY_MOST];
} lu_cyc_lines;

typedef struct lu_cyc_strobe {
  bool writes;
  lu_cyc_lines lines, when;
  lu_line_is was;
  int64_t begin;
  uint64_t lanes;
  uint8_t flags;
  uint32_t waits;
} lu_cyc_strobe;

typedef struct lu_cyc_lane {
  lu_cyc_line line;
  uint64_t mask;
} lu_cyc_lane;

typedef struct lu_cyc_levels {
  const uint64_t *value, *unknown;
} lu_cyc_levels;

/* A dynamic memory's access in progress. */
typedef struct lu_cyc_dram {
  lu_cyc_line ras, write, output;
  size_t cas_count;
  lu_cyc_lane cas[LU_SIG_LANES_MOST];
  lu_line_is ras_was, cas_was, write_was;
  bool row_known;        /* the row strobe was seen to begin */
  bool by_itself;        /* column before row */
  unsigned columns;      /* column accesses in this row */
  int64_t row_begin;
  uint64_t row, row_unknown;
  bool in_column;
  lu_cycle now;          /* the column access */
} lu_cyc_dram;

/* What the homes of a slot are used for. */
typedef struct lu_cyc_use {
  uint64_t control, address, data;
  uint64_t strobes;      /* of control: the strobes' own lines */
} lu_cyc_use;

struct lu_cycles {
  lu_cycle_taker taker;
  void *to;
  lu_cycle_counts counts;
  size_t slot_count;
  uint64_t *control, *address_bits, *data_bits; /* [slot_count]: homes of that use */
  uint64_t *wanted;      /* [slot_count] any of them */
  lu_cyc_use *uses;      /* [slot_count] the same by slot */
  bool live;             /* a strobe is active or not known to be inactive */
  lu_cyc_field address, row, column, data, data_in, data_out;
  uint64_t data_mask;
  size_t strobe_count;
  lu_cyc_strobe strobes[LU_SIG_STROBES_MOST];
  size_t lane_count;
  lu_cyc_lane lanes[LU_SIG_LANES_MOST];
  lu_cyc_line wait, clock;
  bool is_dram;
  lu_cyc_dram dram;
  bool both_was;
  bool may_meet;         /* a read and a write strobe can hold at once */
  int64_t setup_address, setup_data; /* ticks */
  int64_t address_at, data_at;       /* last change before this moment */
  bool address_now;                  /* changes in this moment */
};

static inline lu_line_is lu_cyc_is(const lu_cyc_line *l, lu_cyc_levels at)
{
  if (at.unknown[l->slot] & l->bit)
    return LU_LINE_ODD;
  return ((at.value[l->slot] & l->bit) != 0) == l->active_high ? LU_LINE_ON : LU_LINE_OFF;
}

uint64_t lu_cyc_get(const lu_cyc_field *f, lu_cyc_levels at, uint64_t *unknown);
/* Counts it and hands it on. */
lu_status lu_cyc_emit(lu_cycles *c, const lu_cycle *cycle, lu_err *err);
void lu_cyc_odd(lu_cycles *c, int64_t time);
/* Marks and counts an address or data that came too late. */
uint8_t lu_cyc_address_late(lu_cycles *c, int64_t time);
uint8_t lu_cyc_data_late(lu_cycles *c, int64_t time, bool changed_now);

lu_status lu_cyc_dram_step(lu_cycles *c, const lu_cap_step *step, bool data_now, lu_err *err);

#endif
