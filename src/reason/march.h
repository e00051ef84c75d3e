/* SPDX-License-Identifier: MIT */
#ifndef LU_REASON_MARCH_H
#define LU_REASON_MARCH_H
/* From the reads of test patterns that failed to explanations, alone or together with words that were read.
 *
 * The patterns are simulated with every single fault of the board's lines (search.h's classes), and with pairs of
 * those that promise something, read by read; a fault whose failing reads are just those of the logs, and whose
 * words just those that were read, explains them. What no line fault explains and few cells show is put down to the cells (pattern/victims.h
 * tells of what kind), a row or a column. Syndromes as in J.-F. Li, K.-L. Cheng, C.-T. Huang, C.-W. Wu,
 * "March-based RAM diagnosis algorithms for stuck-at and coupling faults", ITC 2001 (from memory). */
#include "pattern/failures.h"
#include "reason/explain.h"

enum { LU_MARCH_CELLS_MOST = 4, LU_MARCH_LOGS_MOST = 8 };

typedef struct lu_march_log {
  const lu_pattern *pattern;
  size_t count;
  lu_failure *at;             /* sorted by lu_march_sort: each read once */
  bool whole;                 /* every read that is not listed was right; */
  uint32_t last_pass, last_element; /* else only those before the last one that is: in elements before this */
  uint64_t last_word;         /* one, and in it, where words come in linear order (last_linear), before this */
  bool last_linear, last_down; /* word, the way the element goes */
} lu_march_log;

/* Sorts, and joins what was listed twice. Sets all that begins with last_. O(n log n). */
void lu_march_sort(lu_march_log *log, const lu_memory *block);

/* A bad cell: where, and in which explanations' terms. */
typedef struct lu_march_cell {
  uint64_t word;
  unsigned bit;               /* of the vantage's word */
  uint32_t reading;           /* where it was seen first: number in the joint */
  lu_fault fault;             /* CELL in the joint's parts */
} lu_march_cell;

typedef struct lu_march_result {
  lu_result result;           /* as lu_explain gives it */
  size_t cell_count;          /* cells that explanations blame */
  lu_march_cell cells[LU_MARCH_CELLS_MOST];
} lu_march_result;

/* One reading of the joint: the failures of up to LU_MARCH_LOGS_MOST patterns; none: its words count. */
typedef struct lu_march_look {
  const lu_march_log *const *logs;
  size_t count;
} lu_march_look;

/* All of one fault state, looks[joint->look_count]. Of a reading with logs the joint's evidence gives the network only:
 * no word of it may be held, know is WRITTEN; in its look the columns that fail are noted. What a bus without driver
 * reads is tried in all ways. ERR_VALUE: a pattern does not fit; ERR_NOMEM, ERR_LIMIT. No explanations: neither one
 * fault nor two nor a few cells give what was read. Cost: some 0.3 s for one pattern and the demo board's DRAM. */
LU_MUST_USE lu_status lu_march_explain(lu_joint *joint, const lu_march_look *looks, lu_arena *mem, lu_march_result **out,
                                       lu_err *err);

#endif
