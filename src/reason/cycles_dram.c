/* SPDX-License-Identifier: MIT */
/* Row and column strobes. Cycle shapes as data sheets of 64K and 256K x 1 parts draw them [memory:
 * "read", "early write", "read-write/read-modify-write", "page mode", "RAS-only refresh", "CAS before
 * RAS refresh", "hidden refresh"]. */
#include "reason/cycles_in.h"

static lu_line_is any_cas(const lu_cyc_dram *d, lu_cyc_levels at, uint64_t *lanes)
{
  lu_line_is is = LU_LINE_OFF;
  *lanes = 0;
  for (size_t i = 0; i < d->cas_count; i++) {
    lu_line_is one = lu_cyc_is(&d->cas[i].line, at);
    if (one == LU_LINE_ON) {
      is = LU_LINE_ON;
      *lanes |= d->cas[i].mask;
    } else if (one == LU_LINE_ODD && is == LU_LINE_OFF) {
      is = LU_LINE_ODD;
    }
  }
  return is;
}

static void row_begins(lu_cycles *c, const lu_cap_step *step)
{
  lu_cyc_dram *d = &c->dram;
  d->by_itself = d->cas_was == LU_LINE_ON;
  d->row_known = d->ras_was == LU_LINE_OFF;
  d->columns = 0;
  d->row_begin = step->time;
  d->row = lu_cyc_get(&c->row, (lu_cyc_levels){step->value, step->unknown}, &d->row_unknown);
}

static void take_written(lu_cycles *c, const lu_cap_step *step, bool data_now)
{
  lu_cycle *y = &c->dram.now;
  y->written = lu_cyc_get(&c->data_in, (lu_cyc_levels){step->value, step->unknown},
                          &y->written_unknown);
  y->flags |= lu_cyc_data_late(c, step->time, data_now);
}

static void column_begins(lu_cycles *c, const lu_cap_step *step, bool data_now)
{
  lu_cyc_dram *d = &c->dram;
  lu_cyc_levels now = {step->value, step->unknown};
  uint64_t odd, column = lu_cyc_get(&c->column, now, &odd);
  d->in_column = true;
  d->columns++;
  d->now = (lu_cycle){.begin = d->columns == 1 ? d->row_begin : step->time,
                      .kind = LU_CYCLE_READ,
                      .address = d->row << c->column.bits | column,
                      .address_unknown = d->row_unknown << c->column.bits | odd,
                      .row = d->row,
                      .flags = lu_cyc_address_late(c, step->time)};
  lu_line_is write = d->write.bit ? lu_cyc_is(&d->write, now) : LU_LINE_OFF;
  if (write == LU_LINE_ODD)
    lu_cyc_odd(c, step->time);
  if (write != LU_LINE_ON)
    return;
  d->now.kind = LU_CYCLE_WRITE;
  take_written(c, step, data_now);
}

/* The write line falls while the column strobe is active. With an output enable, or with separate
 * outputs that drive, the word was read first; else that cannot be seen. */
static void write_begins(lu_cycles *c, const lu_cap_step *step, bool data_now)
{
  lu_cyc_dram *d = &c->dram;
  lu_cyc_levels before = {step->was_value, step->was_unknown};
  bool separate = c->data_in.bits && c->data_out.bits && c->data_in.homes[0] != c->data_out.homes[0];
  d->now.data = lu_cyc_get(&c->data_out, before, &d->now.data_unknown);
  bool drives = (d->now.data_unknown & c->data_mask) != c->data_mask;
  bool read = d->output.bit ? lu_cyc_is(&d->output, before) == LU_LINE_ON : separate && drives;
  d->now.kind = read ? LU_CYCLE_READ_WRITE : LU_CYCLE_LATE_WRITE;
  take_written(c, step, data_now);
}

static lu_status column_ends(lu_cycles *c, const lu_cap_step *step, lu_err *err)
{
  lu_cycle y = c->dram.now;
  c->dram.in_column = false;
  y.end = step->time;
  y.lanes &= c->data_mask;
  if (y.kind == LU_CYCLE_READ) {
    y.data = lu_cyc_get(&c->data_out, (lu_cyc_levels){step->was_value, step->was_unknown},
                        &y.data_unknown);
  } else if (y.kind != LU_CYCLE_READ_WRITE) {
    y.data = y.written;
    y.data_unknown = y.written_unknown;
  }
  y.data_unknown |= c->data_mask & ~y.lanes;
  y.data &= ~y.data_unknown;
  if (y.kind == LU_CYCLE_READ) {
    y.written = y.data;
    y.written_unknown = y.data_unknown;
  }
  y.written_unknown |= c->data_mask & ~y.lanes;
  y.written &= ~y.written_unknown;
  return lu_cyc_emit(c, &y, err);
}

static lu_status row_ends(lu_cycles *c, const lu_cap_step *step, lu_err *err)
{
  lu_cyc_dram *d = &c->dram;
  if (!d->row_known || (!d->by_itself && d->columns))
    return LU_OK;
  lu_cycle y = {.begin = d->row_begin,
                .end = step->time,
                .kind = d->by_itself ? LU_CYCLE_AUTO_REFRESH : LU_CYCLE_ROW_REFRESH,
                .data_unknown = c->data_mask,
                .written_unknown = c->data_mask};
  uint64_t all = lu_cycles_address_bits(c) < 64 ? ((uint64_t)1 << lu_cycles_address_bits(c)) - 1
                                                : UINT64_MAX;
  y.address_unknown = all;
  if (!d->by_itself) {
    y.row = d->row;
    y.address = d->row << c->column.bits;
    y.address_unknown = d->row_unknown << c->column.bits | (((uint64_t)1 << c->column.bits) - 1);
  }
  return lu_cyc_emit(c, &y, err);
}

lu_status lu_cyc_dram_step(lu_cycles *c, const lu_cap_step *step, bool data_now, lu_err *err)
{
  lu_cyc_dram *d = &c->dram;
  lu_cyc_levels now = {step->value, step->unknown};
  uint64_t lanes;
  lu_line_is ras = lu_cyc_is(&d->ras, now), cas = any_cas(d, now, &lanes);
  lu_line_is write = d->write.bit ? lu_cyc_is(&d->write, now) : LU_LINE_OFF;
  lu_status s = LU_OK;
  if (d->in_column && cas != LU_LINE_ON) {
    if (cas == LU_LINE_OFF)
      s = column_ends(c, step, err);
    else
      lu_cyc_odd(c, step->time);
    d->in_column = false;
  }
  if (s == LU_OK && d->ras_was == LU_LINE_ON && ras != LU_LINE_ON) {
    if (ras == LU_LINE_OFF)
      s = row_ends(c, step, err);
    else
      lu_cyc_odd(c, step->time);
  }
  if (ras == LU_LINE_ON && d->ras_was != LU_LINE_ON)
    row_begins(c, step);
  if (cas == LU_LINE_ON && d->cas_was != LU_LINE_ON && ras == LU_LINE_ON && !d->by_itself &&
      d->row_known)
    column_begins(c, step, data_now);
  else if (d->in_column && d->now.kind == LU_CYCLE_READ && write == LU_LINE_ON &&
           d->write_was == LU_LINE_OFF)
    write_begins(c, step, data_now);
  if (d->in_column)
    d->now.lanes |= lanes;
  d->ras_was = ras;
  d->cas_was = cas;
  d->write_was = write;
  return s;
}
