/* SPDX-License-Identifier: MIT */
#ifndef LU_CLI_STANDING_H
#define LU_CLI_STANDING_H
/* How a job stands: what its newest results suspect, and what its readings have shown since. */
#include "cli/bench.h"
#include "reason/probe.h"

struct json_t;

typedef struct lu_standing {
  lu_bench *bench;
  lu_priors priors;
  lu_costs costs;
  lu_probe_query query;
  lu_probe *probe;
  size_t result_count;
  struct json_t **findings;  /* of the results that count, newest first; freed by lu_standing_free */
  size_t stale_count;        /* results that a later repair has overtaken */
  uint64_t repair;           /* the last repair's entry, 0 = none */
} lu_standing;

typedef struct lu_standing_args {
  const lu_texts *costs;     /* "turn=2"; NULL: the table's */
  double meter_error;        /* 0: the usual 0.02 */
  bool as_read;              /* results that a repair has overtaken count, too: what was suspected when the board was last read */
} lu_standing_args;

/* The bench's board must be loaded. Results are taken from new to old, each block's newest; results
 * of different blocks are put together as if their dumps were independent. */
LU_MUST_USE lu_status lu_standing_of(lu_bench *b, const lu_standing_args *a, lu_standing *out);
void lu_standing_free(lu_standing *s);

/* A reading's words, as in the history: "open", "joined", "doubtful", "toggling" ... */
const char *lu_seen_text(unsigned kind, unsigned seen);
/* Words that people use, to kind and outcome. False: none of them. */
bool lu_seen_named(const char *word, uint8_t *kind, uint8_t *seen);

#endif
