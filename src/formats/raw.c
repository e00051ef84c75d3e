/* SPDX-License-Identifier: MIT */
/* Raw binary: the bytes as they are, without addresses. */
#include "formats/dumpform.h"

#include <string.h>

enum { RAW_MOST_GAP = 256 << 20 };

static lu_status raw_read(lu_bytes in, lu_arena *mem, lu_dump **out, lu_err *err)
{
  if (!in.len)
    return lu_fail(err, LU_ERR_SYNTAX, 0, 0, "expected at least one byte, found an empty file");
  lu_dump *d = LU_NEW(mem, lu_dump, 1);
  lu_span *span = LU_NEW(mem, lu_span, 1);
  if (!d || !span)
    return lu_fail(err, LU_ERR_NOMEM, 0, 0, "no room for the dump");
  *span = (lu_span){.base = 0, .len = in.len, .at = in.at};
  *d = (lu_dump){.format = "raw", .span_count = 1, .spans = span};
  *out = d;
  return LU_OK;
}

static bool put_gap(lu_sink sink, uint64_t len)
{
  uint8_t fill[4096];
  memset(fill, 0xFF, sizeof fill);
  while (len) {
    size_t n = len < sizeof fill ? (size_t)len : sizeof fill;
    if (!sink.put(sink.to, fill, n))
      return false;
    len -= n;
  }
  return true;
}

/* The form has no gaps: they are written as FF, what an erased EPROM and an undriven bus with
 * pull-ups read. Addresses below the first span are not written. */
static bool raw_write(const lu_dump *dump, lu_sink sink)
{
  uint64_t gaps = 0;
  for (size_t i = 1; i < dump->span_count; i++) {
    const lu_span *s = &dump->spans[i];
    uint64_t gap = s->base - (s[-1].base + s[-1].len);
    if (gap > RAW_MOST_GAP || (gaps += gap) > RAW_MOST_GAP)
      return false;
  }
  for (size_t i = 0; i < dump->span_count; i++) {
    const lu_span *s = &dump->spans[i];
    if (i && !put_gap(sink, s->base - (s[-1].base + s[-1].len)))
      return false;
    if (!sink.put(sink.to, s->at, (size_t)s->len))
      return false;
  }
  return true;
}

const lu_dumpform lu_dumpform_raw = {
    .name = "raw",
    .summary = "raw binary, no addresses",
    .ending = "bin",
    .read = raw_read,
    .write = raw_write,
};
