/* SPDX-License-Identifier: MIT */
#include "reason/refresh.h"

typedef struct row {
  int64_t last, worst, worst_end;
  bool any;
} row;

struct lu_refresh {
  uint32_t rows;
  int64_t period, begun;
  row *by_address;    /* [rows] */
  row *by_turn;       /* [rows] column-before-row: the chip's counter visits every row once in rows
                         turns, whatever row it began with */
  int64_t *waits;
  uint64_t strobes, turns;
};

lu_refresh *lu_refresh_open(uint32_t rows, int64_t period, lu_arena *mem)
{
  lu_refresh *r = LU_NEW(mem, lu_refresh, 1);
  if (!r)
    return NULL;
  r->rows = rows;
  r->period = period;
  r->by_address = LU_NEW(mem, row, rows);
  r->by_turn = LU_NEW(mem, row, rows);
  r->waits = LU_NEW(mem, int64_t, rows);
  return r->by_address && r->by_turn && r->waits ? r : NULL;
}

void lu_refresh_begin(lu_refresh *r, int64_t time)
{
  r->begun = time;
  for (uint32_t i = 0; i < r->rows; i++)
    r->by_address[i].last = r->by_turn[i].last = time;
}

static void visit(row *at, int64_t time)
{
  if (time - at->last > at->worst) {
    at->worst = time - at->last;
    at->worst_end = time;
  }
  at->last = time;
}

void lu_refresh_cycle(lu_refresh *r, const lu_cycle *c, unsigned column_bits)
{
  if (c->kind == LU_CYCLE_AUTO_REFRESH) {
    row *at = &r->by_turn[r->turns++ % r->rows];
    visit(at, c->begin);
    at->any = true;
    return;
  }
  if (column_bits < 64 && c->address_unknown >> column_bits)
    return;
  row *at = &r->by_address[c->row % r->rows];
  r->strobes++;
  visit(at, c->begin);
  at->any = true;
}

void lu_refresh_end(lu_refresh *r, int64_t time, lu_refresh_report *out)
{
  int64_t turn = 0;
  bool all_turns = r->turns >= r->rows;
  *out = (lu_refresh_report){.rows = r->rows, .strobes = r->strobes, .by_itself = r->turns,
                             .watched = time - r->begun, .waits = r->waits};
  for (uint32_t i = 0; i < r->rows; i++) {
    visit(&r->by_turn[i], time);
    if (r->by_turn[i].worst > turn)
      turn = r->by_turn[i].worst;
  }
  for (uint32_t i = 0; i < r->rows; i++) {
    row *at = &r->by_address[i];
    visit(at, time);
    r->waits[i] = r->turns && turn < at->worst ? turn : at->worst;
    out->never += !at->any && !all_turns;
    out->late += r->waits[i] > r->period;
    if (r->waits[i] > out->worst) {
      out->worst = r->waits[i];
      out->worst_row = i;
      out->worst_end = at->worst_end;
    }
  }
}
