/* SPDX-License-Identifier: MIT */
#ifndef LU_FORMATS_FAILLOG_H
#define LU_FORMATS_FAILLOG_H
/* Failures that a memory test printed: address, expected, got, in hex, in any text. docs/evidence.md
 * says what is taken for what. */
#include "base/arena.h"
#include "base/err.h"
#include "base/text.h"

#include <stdbool.h>

enum { LU_FAILLOG_MOST = 1 << 22, LU_FAILLOG_SHOWN = 3, LU_FAILLOG_SPANS_MOST = 4096 };

typedef struct lu_failure_line {
  uint64_t address, expected, got; /* as printed: nothing is known yet of bytes or words */
  uint32_t line;                   /* from 1 */
  uint8_t digits;                  /* hex digits that the wider of expected and got was written with */
  /* "march-c-minus, pass 1, element 2, operation 1": which read of a test pattern it was, from 1; 0: not said */
  uint32_t pass, element, operation;
  const char *pattern;             /* as written, or NULL; lines of one pattern share it */
} lu_failure_line;

/* Addresses that the log says were gone through, first and last included. */
typedef struct lu_tested_span {
  uint64_t first, last;
  bool from_start;                 /* "up to": first is not known, wherever the test began */
} lu_tested_span;

typedef struct lu_faillog {
  size_t count;
  lu_failure_line *at;             /* in the order of the file */
  size_t span_count;
  lu_tested_span *spans;
  size_t marched;                  /* failures that say which operation it was */
  bool complete;                   /* it says that the test came to its end, and lists as many as it counted */
  bool cut;                        /* it says that it stopped, or counted more than it lists */
  size_t unread;                   /* lines with numbers that are neither failure nor mark */
  struct {
    uint32_t line;
    const char *text;              /* its begin, control characters replaced */
  } shown[LU_FAILLOG_SHOWN];
} lu_faillog;

/* in: borrowed. *out and all it holds live in mem. A log of which no line can be used is an error:
 * ERR_SYNTAX at its first line with numbers. ERR_LIMIT, ERR_NOMEM. One pass. */
LU_MUST_USE lu_status lu_faillog_read(lu_bytes in, lu_arena *mem, lu_faillog **out, lu_err *err);

#endif
