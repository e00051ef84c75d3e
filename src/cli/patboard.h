/* SPDX-License-Identifier: MIT */
#ifndef LU_CLI_PATBOARD_H
#define LU_CLI_PATBOARD_H
/* lineup pattern check --board, choose and next: what patterns tell on one board. */
#include "api/readings.h"
#include "cli/session.h"
#include "pattern/pattern.h"

typedef struct lu_patboard_args {
  lu_reading_args reading;  /* block, vantage; for next also contents */
  const char *board, *undriven;
  lu_texts results;         /* dumps, for next */
  bool json, missed;
} lu_patboard_args;

/* The board's block as patterns see it; prints what is wrong and returns an exit status. */
int lu_patboard_block(lu_run *run, const lu_patboard_args *a, lu_memory *out, bool *big_endian);

/* Each prints to run->out and returns an exit status. patterns[count]: for choose and next, the ones
 * to choose from. */
int lu_patboard_check(lu_run *run, const lu_patboard_args *a, const lu_pattern *const *patterns, size_t count);
int lu_patboard_choose(lu_run *run, const lu_patboard_args *a, const lu_pattern *const *patterns, size_t count);
int lu_patboard_next(lu_run *run, const lu_patboard_args *a, const lu_pattern *const *patterns, size_t count);

#endif
