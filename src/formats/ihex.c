/* SPDX-License-Identifier: MIT */
/* Intel HEX.
 * Source: Intel, Hexadecimal Object File Format Specification, Revision A, January 6, 1988;
 * docs/formats-dumps.md says how its open corners are taken. */
#include "formats/dumpform.h"
#include "formats/hexout.h"
#include "formats/hexrun.h"
#include "formats/image.h"

#include <inttypes.h>
#include <string.h>

enum { DATA, END, SEGMENT, START_SEGMENT, LINEAR, START_LINEAR };
enum { HEAD = 4, SEGMENT_BYTES = 0x10000 };

typedef struct reader {
  lu_bytes in;
  lu_image *img;
  lu_err *err;
  uint64_t base; /* added to each record's offset */
  bool linear;   /* base came from a 04 record: addresses wrap at 2^32, not at 64 KiB */
  bool ended;
  const uint8_t *at, *end;
} reader;

static lu_status fail(reader *r, const uint8_t *at, const char *expected, unsigned want,
                      unsigned found)
{
  return lu_fail_at(r->err, LU_ERR_SYNTAX, (const char *)r->in.at, r->in.len,
                    (size_t)(at - r->in.at), "%s: expected 0x%02X, found 0x%02X", expected, want,
                    found);
}

#if LU_HEX_AVX2
/* Takes data records as long as they follow each other; stops before the first that needs more
 * care. */
LU_TARGET_AVX2 static void fast(reader *r)
{
  lu_image *img = r->img;
  const uint8_t *p = r->at, *end = r->end;
  uint8_t *out = img->buf + img->used;
  uint64_t next = img->next;
  while (end - p >= 1 + 2 * (HEAD + 256) + 64) {
    uint32_t bad;
    __builtin_prefetch(p + LU_READ_AHEAD);
    if (p[0] != ':')
      break;
    uint64_t head = lu_hex_16(_mm_loadu_si128((const __m128i *)(const void *)(p + 1)), &bad);
    unsigned size = (unsigned)head & 0xFF, sum = 0;
    unsigned offset = (unsigned)(head >> 8 & 0xFF) << 8 | (unsigned)(head >> 16 & 0xFF);
    const uint8_t *after = p + 1 + 2 * (HEAD + size + 1);
    if (!size || (head >> 24 & 0xFF) != DATA || r->base + offset != next ||
        offset + size > SEGMENT_BYTES)
      break;
    if (bad & 0xFF || (size == 16 && bad & 0x3FF) ||
        !lu_hex_record(p + 1, HEAD, size, head, out, &sum) || (sum & 0xFF))
      break;
    if (*after == '\n')
      after++;
    else if (after[0] == '\r' && after[1] == '\n')
      after += 2;
    else
      break;
    p = after;
    out += size;
    next += size;
  }
  r->at = p;
  img->used = (size_t)(out - img->buf);
  img->next = next;
}
#else
static void fast(reader *r)
{
  (void)r;
}
#endif

/* Says what is wrong with the digits of a record that begins behind the mark. */
static lu_status bad_record(reader *r, const uint8_t *p, size_t bytes)
{
  for (size_t i = 0; i < 2 * bytes; i++) {
    if (p + i == r->end || p[i] == '\r' || p[i] == '\n')
      return lu_fail_at(
          r->err, LU_ERR_SYNTAX, (const char *)r->in.at, r->in.len, (size_t)(p + i - r->in.at),
          "the record is cut short: expected %zu digits after ':', found %zu", 2 * bytes, i);
    if (lu_hex_table[p[i]] > 15)
      return lu_fail_at(r->err, LU_ERR_SYNTAX, (const char *)r->in.at, r->in.len,
                        (size_t)(p + i - r->in.at),
                        p[i] > 0x20 && p[i] < 0x7F ? "expected a hex digit, found '%c'"
                                                   : "expected a hex digit, found 0x%02X",
                        p[i]);
  }
  return LU_OK;
}

static lu_status put(reader *r, uint64_t addr, const uint8_t *text, const uint8_t *bytes,
                     size_t size)
{
  uint8_t *to = lu_image_put(r->img, addr, size, (size_t)(text - r->in.at), 2);
  if (!to)
    return LU_ERR_NOMEM;
  memcpy(to, bytes, size);
  return LU_OK;
}

/* A record may run over the end of its segment (02: back to the segment's start) or of the 32-bit
 * space (04: to 0). */
static lu_status put_data(reader *r, unsigned offset, const uint8_t *text, const uint8_t *bytes,
                          unsigned size)
{
  uint64_t addr = r->base + offset;
  uint64_t room = r->linear ? ((uint64_t)1 << 32) - addr : SEGMENT_BYTES - offset;
  unsigned first = size < room ? size : (unsigned)room;
  lu_status s = first ? put(r, addr, text, bytes, first) : LU_OK;
  if (s == LU_OK && size > first)
    s = put(r, r->linear ? 0 : r->base, text + 2 * (size_t)first, bytes + first, size - first);
  return s;
}

/* Records other than data: head is length, offset, offset, type; b the bytes after it. */
static lu_status control(reader *r, const uint8_t *mark, const uint8_t *head, const uint8_t *b)
{
  static const uint8_t size_of[] = {0, 0, 2, 4, 2, 4};
  unsigned type = head[3];
  if (type > START_LINEAR)
    return lu_fail_at(r->err, LU_ERR_SYNTAX, (const char *)r->in.at, r->in.len,
                      (size_t)(mark + 7 - r->in.at), "expected a record type 00 to 05, found %02X",
                      type);
  if (head[0] != size_of[type])
    return fail(r, mark + 1, "length of this type of record", size_of[type], head[0]);
  bool ok = true;
  if (head[1] | head[2]) {
    uint32_t line, column;
    lu_image_place(r->in, (size_t)(mark - r->in.at), &line, &column);
    ok = lu_image_note(r->img,
                       "line %" PRIu32 ": the offset %02X%02X of a type %02X record has no meaning",
                       line, head[1], head[2], type);
  }
  unsigned value = (unsigned)b[0] << 8 | b[1];
  if (type == END)
    r->ended = true;
  if (type == SEGMENT || type == LINEAR) {
    r->linear = type == LINEAR;
    r->base = (uint64_t)value << (r->linear ? 16 : 4);
  }
  return ok ? LU_OK : LU_ERR_NOMEM;
}

/* One record whose mark stands at r->at. */
static lu_status record(reader *r)
{
  const uint8_t *mark = r->at, *p = mark + 1;
  uint8_t head[HEAD], bytes[256];
  unsigned sum = 0;
  if (r->end - p < 2 * (HEAD + 1) || !lu_hex_pairs(p, HEAD, head, &sum))
    return bad_record(r, p, HEAD + 1);
  unsigned size = head[0];
  size_t left = (size_t)(r->end - p);
  if (left < 2 * (HEAD + (size_t)size + 1) || !lu_hex_pairs(p + 2 * HEAD, size + 1, bytes, &sum))
    return bad_record(r, p, HEAD + (size_t)size + 1);
  const uint8_t *after = p + 2 * (HEAD + (size_t)size + 1);
  const uint8_t *tail = after;
  while (tail < r->end && (*tail == ' ' || *tail == '\t'))
    tail++;
  if (tail < r->end && *tail != '\r' && *tail != '\n')
    return lu_fail_at(
        r->err, LU_ERR_SYNTAX, (const char *)r->in.at, r->in.len, (size_t)(tail - r->in.at),
        "expected the end of the line after %u data bytes and the checksum, found '%c'", size,
        *tail > 0x20 && *tail < 0x7F ? *tail : '?');
  if (sum & 0xFF)
    return fail(r, after - 2, "checksum", (bytes[size] - sum) & 0xFF, bytes[size]);
  r->at = tail;
  unsigned offset = (unsigned)head[1] << 8 | head[2];
  if (head[3] == DATA)
    return put_data(r, offset, p + 2 * HEAD, bytes, size);
  return control(r, mark, head, bytes);
}

static void skip_space(reader *r)
{
  while (r->at < r->end && (*r->at == '\r' || *r->at == '\n' || *r->at == ' ' || *r->at == '\t'))
    r->at++;
}

/* To the next record's mark; what stands before it on a line is no part of the format. */
static lu_status seek_mark(reader *r)
{
  skip_space(r);
  const uint8_t *p = r->at;
  while (p < r->end && *p != ':' && *p != '\r' && *p != '\n')
    p++;
  if (p < r->end && *p == ':') {
    r->at = p;
    return LU_OK;
  }
  if (r->at == r->end || (p == r->end && p - r->at == 1 && *r->at == 0x1A)) { /* CP/M's end mark */
    r->at = r->end;
    return LU_OK;
  }
  return lu_fail_at(r->err, LU_ERR_SYNTAX, (const char *)r->in.at, r->in.len,
                    (size_t)(r->at - r->in.at), "expected a record beginning with ':', found '%c'",
                    *r->at > 0x20 && *r->at < 0x7F ? *r->at : '?');
}

static lu_status parse(lu_bytes in, lu_image *img, bool plain, lu_err *err)
{
  reader r = {.in = in, .img = img, .err = err, .at = in.at, .end = in.at + in.len};
  bool quick = lu_hex_fast(plain);
  while (!r.ended) {
    skip_space(&r);
    if (quick && img->count)
      fast(&r);
    lu_status s = seek_mark(&r);
    if (s == LU_OK && r.at == r.end)
      break;
    if (s == LU_OK)
      s = record(&r);
    if (s != LU_OK)
      return s;
  }
  const uint8_t *p = r.at;
  while (p < r.end && (*p <= 0x20))
    p++;
  bool ok = true;
  if (!r.ended)
    ok = lu_image_note(img, "no end record (type 01): the file may have been cut");
  else if (p < r.end) {
    uint32_t line, column;
    lu_image_place(in, (size_t)(p - in.at), &line, &column);
    ok = lu_image_note(img, "line %" PRIu32 ": what follows the end record is left out", line);
  }
  return ok ? LU_OK : LU_ERR_NOMEM;
}

lu_status lu_ihex_read(lu_bytes in, bool plain, lu_arena *mem, lu_dump **out, lu_err *err)
{
  return lu_image_read(in, mem, "ihex", "Intel HEX records", parse, plain, out, err);
}

static lu_status ihex_read(lu_bytes in, lu_arena *mem, lu_dump **out, lu_err *err)
{
  return lu_ihex_read(in, false, mem, out, err);
}

/* A whole record with the right checksum behind the mark at at. */
static bool is_record(lu_bytes in, size_t at)
{
  uint8_t bytes[HEAD + 256 + 1];
  unsigned sum = 0;
  size_t left = (in.len - at - 1) / 2;
  if (left < HEAD + 1 || !lu_hex_pairs(in.at + at + 1, 1, bytes, &sum))
    return false;
  size_t size = HEAD + bytes[0] + 1u;
  sum = 0;
  return left >= size && lu_hex_pairs(in.at + at + 1, size, bytes, &sum) && !(sum & 0xFF);
}

/* Judged by the shape of the first record, so that a wrong digit or checksum in it is still
 * reported as one of this form. With something before its mark it must be right, as "1000:2233" is
 * no record. */
static int recognise(lu_bytes in)
{
  size_t i = 0, mark, digits = 0;
  while (i < in.len && in.at[i] <= ' ' && in.at[i])
    i++;
  for (mark = i; mark < in.len && in.at[mark] != ':' && in.at[mark] >= ' ' && in.at[mark] < 0x7F;)
    mark++;
  if (mark >= in.len || in.at[mark] != ':')
    return 0;
  if (mark > i)
    return is_record(in, mark) ? 90 : 0;
  while (i + 1 + digits < in.len && lu_hex_table[in.at[i + 1 + digits]] < 16)
    digits++;
  return digits >= 10 ? 100 : digits >= 2 ? 60 : 0;
}

static void put_record(lu_hexout *o, unsigned type, unsigned offset, const uint8_t *at,
                       unsigned size)
{
  o->sum = 0;
  lu_hexout_char(o, ':');
  lu_hexout_byte(o, size);
  lu_hexout_number(o, offset, 2);
  lu_hexout_byte(o, type);
  for (unsigned i = 0; i < size; i++)
    lu_hexout_byte(o, at[i]);
  lu_hexout_byte(o, -o->sum & 0xFF);
  lu_hexout_char(o, '\n');
}

static bool ihex_write(const lu_dump *dump, lu_sink sink)
{
  lu_hexout o = {.sink = sink, .ok = true};
  uint64_t high = 0;
  for (size_t i = 0; i < dump->span_count; i++) {
    const lu_span *s = &dump->spans[i];
    if (s->base + s->len > (uint64_t)1 << 32)
      return false;
    for (uint64_t k = 0; k < s->len && o.ok;) {
      uint64_t addr = s->base + k, left = s->len - k;
      unsigned size = 16 - (unsigned)(addr & 15);
      if (size > left)
        size = (unsigned)left;
      if (addr >> 16 != high) {
        uint8_t b[2] = {(uint8_t)(addr >> 24), (uint8_t)(addr >> 16)};
        high = addr >> 16;
        put_record(&o, LINEAR, 0, b, 2);
      }
      put_record(&o, DATA, (unsigned)addr & 0xFFFF, s->at + k, size);
      k += size;
    }
  }
  put_record(&o, END, 0, NULL, 0);
  return lu_hexout_flush(&o);
}

const lu_dumpform lu_dumpform_ihex = {
    .name = "ihex",
    .summary = "Intel HEX, 16-bit, segmented or linear addresses",
    .ending = "hex",
    .recognise = recognise,
    .read = ihex_read,
    .write = ihex_write,
};
