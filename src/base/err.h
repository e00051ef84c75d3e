/* SPDX-License-Identifier: MIT */
#ifndef LU_BASE_ERR_H
#define LU_BASE_ERR_H
/* Status codes and one-line messages.
 *
 * A function that can fail returns lu_status and fills the caller's lu_err (which may be NULL).
 * Results go through out parameters, untouched on failure. Whoever detects the fault writes the
 * message; callers only add the source name. */
#include <stddef.h>
#include <stdint.h>

#define LU_MUST_USE __attribute__((warn_unused_result))

/* id, exit status of the program, text */
#define LU_STATUS_LIST(X)                                                                          \
  X(OK, 0, "fine")                                                                                 \
  X(ERR_USAGE, 2, "the command line is wrong")                                                     \
  X(ERR_SYNTAX, 2, "the input breaks its format")                                                  \
  X(ERR_VALUE, 2, "a value does not fit")                                                          \
  X(ERR_LIMIT, 2, "a limit was passed")                                                            \
  X(ERR_MISSING, 2, "something named is not there")                                                \
  X(ERR_IO, 3, "the system refused")                                                               \
  X(ERR_DEVICE, 3, "a device failed")                                                              \
  X(ERR_NOMEM, 3, "out of memory")

typedef enum lu_status {
#define X(id, code, text) LU_##id,
  LU_STATUS_LIST(X)
#undef X
} lu_status;

typedef struct lu_err {
  lu_status status;     /* LU_OK, or what went wrong */
  const char *source;   /* borrowed name of the input, or NULL */
  uint32_t line;        /* from 1; 0 where the input is not text */
  uint32_t column;      /* from 1, in bytes; 0 = unknown */
  char message[240];    /* one line: what was expected and what stood there */
  char excerpt[160];    /* the offending line, or empty; control characters already replaced */
} lu_err;

/* Fills err (may be NULL) and returns status. line 0 = no place. */
lu_status lu_fail(lu_err *err, lu_status status, uint32_t line, uint32_t column,
                  const char *format, ...) __attribute__((format(printf, 5, 6)));

/* As lu_fail; line, column and excerpt are counted from the byte offset in text[len]. */
lu_status lu_fail_at(lu_err *err, lu_status status, const char *text, size_t len, size_t offset,
                     const char *format, ...) __attribute__((format(printf, 6, 7)));

/* Sets err->source if it is still NULL. Returns status. */
lu_status lu_fail_source(lu_err *err, lu_status status, const char *source);

const char *lu_status_text(lu_status status);
int lu_status_exit(lu_status status); /* 0, 2 or 3 */

#endif
