/* SPDX-License-Identifier: MIT */
#ifndef LU_CLI_VERIFYPLAN_H
#define LU_CLI_VERIFYPLAN_H
/* Which patterns verify runs, and what a pass of them is worth. */
#include "cli/linkblock.h"
#include "pattern/cells.h"
#include "reason/coverage.h"

typedef struct lu_verify_plan {
  size_t count;
  const lu_pattern **patterns;
  bool chosen;             /* for this block, not named by the caller */
  bool cells_added;        /* the last one is there for the cells */
  bool exact;              /* it is proved that no shorter set shows as much of the lines */
  bool judged;             /* sum is filled: a board is known */
  size_t faults;           /* single faults that were judged for */
  lu_cover_sum sum;        /* of the patterns together */
  uint64_t cells;          /* bit m: cell model m is shown wholly by one or several of the patterns */
} lu_verify_plan;

/* names: patterns by name or file; none: the shortest set that shows every single fault of the block that any
 * pattern shows, and march-c-minus if cells do not show in it; without a board address and march-c-minus. Errors in b->s->err. Takes seconds with a board. */
LU_MUST_USE lu_status lu_verify_plan_make(lu_link_block *b, const lu_texts *names, lu_verify_plan *out);
/* What is run, and what it shows, for people: to run->out. */
void lu_verify_plan_say(lu_run *run, const lu_verify_plan *p);
void lu_verify_plan_say_coverage(lu_run *run, const lu_verify_plan *p);
struct json_t;
struct json_t *lu_verify_plan_json(const lu_verify_plan *p);

#endif
