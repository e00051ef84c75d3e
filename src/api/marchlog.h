/* SPDX-License-Identifier: MIT */
#ifndef LU_API_MARCHLOG_H
#define LU_API_MARCHLOG_H
/* A failure log whose lines say which read of which test pattern failed: judged by simulating the patterns. */
#include "api/readings.h"
#include "data/finding.h"
#include "formats/faillog.h"
#include "pattern/failures.h"
#include "reason/march.h"

typedef struct lu_march_reading lu_march_reading;

/* How the log's addresses and values stand in the block's words. */
typedef struct lu_march_counting {
  uint64_t subtract, divide; /* word = (address - subtract) / divide */
  bool lanes;                /* a value is one byte of its word: */
  unsigned (*shift)(const void *of, uint64_t address); /* and stands so many bits up */
  const void *of;
} lu_march_counting;

/* Sorts a log's lines by pattern. pattern: what --pattern says, or NULL. *out is NULL when no line can be
 * placed: then the log is one of words only. ERR_VALUE: lines expect what the pattern does not; ERR_MISSING. */
LU_MUST_USE lu_status lu_marchlog_of(lu_session *s, const char *path, const lu_faillog *log, const char *pattern,
                                     const lu_network *n, const lu_march_counting *c, lu_march_reading **out);

/* Explains readings of which some have failing reads (->march), together: ERR_VALUE, ERR_NOMEM, ERR_LIMIT. */
LU_MUST_USE lu_status lu_marchlog_explain(lu_session *s, const lu_reading *readings, size_t count, const lu_priors *priors, double noise,
                                          lu_march_result **out);
/* Adds to a finding made of the result what the failing reads show: symptoms, kinds of cells, how many words. */
LU_MUST_USE lu_status lu_marchlog_describe(lu_session *s, const lu_reading *readings, size_t count, const lu_march_result *x,
                                           lu_finding *f);

/* "all words with A3 = 1", "words 0x12, 0x14 and 3 more"; "01010". Never NULL. */
const char *lu_marchlog_reach(const lu_syndrome_group *g, const lu_memory *block, lu_arena *mem);
const char *lu_marchlog_syndrome(uint64_t syndrome, unsigned reads, lu_arena *mem);

#endif
