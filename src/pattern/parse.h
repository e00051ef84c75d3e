/* SPDX-License-Identifier: MIT */
#ifndef LU_PATTERN_PARSE_H
#define LU_PATTERN_PARSE_H
/* Private to the room: a cursor over a pattern file, shared by the file and the notation reader. */
#include "pattern/pattern.h"

typedef struct lu_pattern_cursor {
  const char *text; /* the whole file */
  size_t len, at;
  size_t end;       /* where the value being read ends */
  lu_arena *mem;
  lu_err *err;
} lu_pattern_cursor;

/* Reads "{ element; ... }" from cur->at up to cur->end into pattern. */
LU_MUST_USE lu_status lu_pattern_read_march(lu_pattern_cursor *cur, lu_pattern *pattern);
/* The notation again, in one line with one spelling; NULL if mem refused. */
const char *lu_pattern_write_march(const lu_pattern *pattern, lu_arena *mem);
/* Refuses a read that expects what the word does not hold. */
LU_MUST_USE lu_status lu_pattern_check_reads(const lu_pattern_cursor *cur,
                                             const lu_pattern *pattern);

#endif
