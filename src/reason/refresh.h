/* SPDX-License-Identifier: MIT */
#ifndef LU_REASON_REFRESH_H
#define LU_REASON_REFRESH_H
/* Whether each row of a dynamic memory was refreshed often enough. Pure. */
#include "base/arena.h"
#include "reason/cycles.h"

typedef struct lu_refresh_report {
  uint32_t rows;
  uint64_t strobes;       /* row strobes with a known row */
  uint64_t by_itself;     /* column-before-row refreshes; the chip counts those rows itself */
  uint32_t never;         /* rows without any refresh while watched */
  uint32_t late;          /* rows that once waited longer than the period, those of never included */
  uint32_t worst_row;
  int64_t worst;          /* ticks that it waited */
  int64_t worst_end;      /* when that wait ended */
  int64_t watched;        /* ticks; nothing can be said below the period */
  const int64_t *waits;   /* [rows] longest wait of each, ticks */
} lu_refresh_report;

typedef struct lu_refresh lu_refresh;

/* rows: how many the part needs (a row address counts modulo rows); period: ticks in which each must
 * come. NULL if refused. */
lu_refresh *lu_refresh_open(uint32_t rows, int64_t period, lu_arena *mem);
void lu_refresh_begin(lu_refresh *r, int64_t time);
void lu_refresh_cycle(lu_refresh *r, const lu_cycle *c, unsigned column_bits);
/* A wait that the end of the capture cut off counts as far as it was seen. */
void lu_refresh_end(lu_refresh *r, int64_t time, lu_refresh_report *out);

#endif
