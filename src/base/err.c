/* SPDX-License-Identifier: MIT */
#include "base/err.h"

#include "base/text.h"
#include <stdarg.h>
#include <stdio.h>
#include <string.h>

static void fill(lu_err *err, lu_status status, uint32_t line, uint32_t column, const char *format,
                 va_list ap)
{
  if (!err)
    return;
  err->status = status;
  err->line = line;
  err->column = column;
  err->excerpt[0] = '\0';
  vsnprintf(err->message, sizeof err->message, format, ap);
  lu_text_tidy(err->message);
}

lu_status lu_fail(lu_err *err, lu_status status, uint32_t line, uint32_t column,
                  const char *format, ...)
{
  va_list ap;
  va_start(ap, format);
  fill(err, status, line, column, format, ap);
  va_end(ap);
  return status;
}

static void take_excerpt(lu_err *err, const char *text, size_t len, size_t start)
{
  size_t n = 0;
  while (start + n < len && n + 1 < sizeof err->excerpt && text[start + n] != '\n' &&
         text[start + n] != '\r') {
    unsigned char c = (unsigned char)text[start + n];
    err->excerpt[n] = (char)(c < 0x20 || c >= 0x7f ? (c == '\t' ? ' ' : '?') : c);
    n++;
  }
  err->excerpt[n] = '\0';
}

lu_status lu_fail_at(lu_err *err, lu_status status, const char *text, size_t len, size_t offset,
                     const char *format, ...)
{
  uint32_t line = 1;
  size_t start = 0;
  if (offset > len)
    offset = len;
  for (size_t i = 0; i < offset; i++)
    if (text[i] == '\n' || (text[i] == '\r' && !(i + 1 < len && text[i + 1] == '\n'))) {
      line++;
      start = i + 1;
    }
  va_list ap;
  va_start(ap, format);
  fill(err, status, line, (uint32_t)(offset - start + 1), format, ap);
  va_end(ap);
  if (err)
    take_excerpt(err, text, len, start);
  return status;
}

lu_status lu_fail_source(lu_err *err, lu_status status, const char *source)
{
  if (err && !err->source)
    err->source = source;
  return status;
}

const char *lu_status_text(lu_status status)
{
  switch (status) {
#define X(id, code, text)                                                                          \
  case LU_##id:                                                                                    \
    return text;
    LU_STATUS_LIST(X)
#undef X
  }
  return "unknown status";
}

int lu_status_exit(lu_status status)
{
  switch (status) {
#define X(id, code, text)                                                                          \
  case LU_##id:                                                                                    \
    return code;
    LU_STATUS_LIST(X)
#undef X
  }
  return 3;
}
