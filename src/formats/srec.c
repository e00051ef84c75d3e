/* SPDX-License-Identifier: MIT */
/* Motorola S-records.
 * Source: Motorola, MC68000 Family Programmer's Reference Manual, appendix on S-records;
 * docs/formats-dumps.md says how its open corners are taken. */
#include "formats/dumpform.h"
#include "formats/hexout.h"
#include "formats/hexrun.h"
#include "formats/image.h"

#include <inttypes.h>
#include <string.h>

/* Address bytes by type; 0 = reserved. */
static const uint8_t addr_bytes[10] = {2, 2, 3, 4, 0, 2, 3, 4, 3, 2};

typedef struct reader {
  lu_bytes in;
  lu_image *img;
  lu_err *err;
  uint64_t records; /* S1, S2 and S3 so far */
  bool ended;
  const uint8_t *at, *end;
} reader;

#if LU_HEX_AVX2
/* Takes data records as long as they follow each other; stops before the first that needs more
 * care. */
LU_TARGET_AVX2 static void fast(reader *r)
{
  lu_image *img = r->img;
  const uint8_t *p = r->at, *end = r->end;
  uint8_t *out = img->buf + img->used;
  uint64_t next = img->next;
  while (end - p >= 2 + 2 * 256 + 64) {
    uint32_t bad;
    __builtin_prefetch(p + LU_READ_AHEAD);
    unsigned type = p[1] - (unsigned)'0';
    if (p[0] != 'S' || type < 1 || type > 3)
      break;
    unsigned head = type + 2;
    uint64_t first = lu_hex_16(_mm_loadu_si128((const __m128i *)(const void *)(p + 2)), &bad);
    unsigned count = (unsigned)first & 0xFF, sum = 0;
    uint64_t addr = __builtin_bswap64(first) << 8 >> (64 - 8 * (head - 1));
    if (count <= head || addr != next)
      break;
    unsigned size = count - head;
    const uint8_t *after = p + 2 + 2 * ((size_t)count + 1);
    if (bad & ((1u << 2 * (head + 1)) - 1) || !lu_hex_record(p + 2, head, size, first, out, &sum) ||
        (sum & 0xFF) != 0xFF)
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
    r->records++;
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

static lu_status bad_char(reader *r, const uint8_t *at, const char *expected)
{
  size_t offset = (size_t)(at - r->in.at);
  const char *text = (const char *)r->in.at;
  if (*at > 0x20 && *at < 0x7F)
    return lu_fail_at(r->err, LU_ERR_SYNTAX, text, r->in.len, offset, "expected %s, found '%c'",
                      expected, *at);
  return lu_fail_at(r->err, LU_ERR_SYNTAX, text, r->in.len, offset, "expected %s, found 0x%02X",
                    expected, *at);
}

/* Says what is wrong with the digits of a record that begins behind the type. */
static lu_status bad_record(reader *r, const uint8_t *p, size_t bytes)
{
  for (size_t i = 0; i < 2 * bytes; i++) {
    if (p + i == r->end || p[i] == '\r' || p[i] == '\n')
      return lu_fail_at(
          r->err, LU_ERR_SYNTAX, (const char *)r->in.at, r->in.len, (size_t)(p + i - r->in.at),
          "the record is cut short: expected %zu digits after its type, found %zu", 2 * bytes, i);
    if (lu_hex_table[p[i]] > 15)
      return bad_char(r, p + i, "a hex digit");
  }
  return LU_OK;
}

static lu_status check_count(reader *r, const uint8_t *mark, uint64_t said, unsigned bytes)
{
  uint64_t mask = ((uint64_t)1 << 8 * bytes) - 1;
  if (said == (r->records & mask))
    return LU_OK;
  return lu_fail_at(r->err, LU_ERR_SYNTAX, (const char *)r->in.at, r->in.len,
                    (size_t)(mark + 4 - r->in.at),
                    "count of data records: expected %" PRIu64 " as read so far, found %" PRIu64,
                    r->records & mask, said);
}

/* A record with right digits and checksum: b is count, address, data, checksum. */
static lu_status take(reader *r, const uint8_t *mark, unsigned type, const uint8_t *b)
{
  unsigned width = addr_bytes[type], size = b[0] - width - 1;
  uint64_t addr = 0;
  for (unsigned i = 1; i <= width; i++)
    addr = addr << 8 | b[i];
  if (type == 5 || type == 6)
    return check_count(r, mark, addr, width);
  if (type >= 7)
    r->ended = true;
  if (type < 1 || type > 3)
    return LU_OK;
  r->records++;
  uint64_t room = ((uint64_t)1 << 8 * width) - addr;
  const uint8_t *text = mark + 4 + 2 * width;
  if (size > room)
    return lu_fail_at(r->err, LU_ERR_SYNTAX, (const char *)r->in.at, r->in.len,
                      (size_t)(mark + 4 - r->in.at),
                      "the record runs past its %u-byte address: expected at most %" PRIu64
                      " data bytes, found %u",
                      width, room, size);
  if (!size)
    return LU_OK;
  uint8_t *to = lu_image_put(r->img, addr, size, (size_t)(text - r->in.at), 2);
  if (!to)
    return LU_ERR_NOMEM;
  memcpy(to, b + 1 + width, size);
  return LU_OK;
}

/* One record; r->at stands on its first character. */
static lu_status record(reader *r)
{
  const uint8_t *mark = r->at, *p = mark + 2;
  uint8_t bytes[256];
  unsigned sum = 0;
  if (*mark != 'S' && *mark != 's')
    return bad_char(r, mark, "a record beginning with 'S'");
  if (r->end - mark < 2)
    return bad_record(r, r->end, 1);
  if (mark[1] < '0' || mark[1] > '9' || !addr_bytes[mark[1] - '0'])
    return bad_char(r, mark + 1, "a record type 0 to 3 or 5 to 9");
  unsigned type = mark[1] - (unsigned)'0', least = addr_bytes[type] + 1u;
  lu_status s = bad_record(r, p, 1);
  if (s != LU_OK)
    return s;
  (void)lu_hex_pairs(p, 1, bytes, &sum);
  size_t count = bytes[0];
  bool bare = type >= 5; /* these carry no data */
  if (count < least || (bare && count > least))
    return lu_fail_at(r->err, LU_ERR_SYNTAX, (const char *)r->in.at, r->in.len,
                      (size_t)(p - r->in.at),
                      "count of an S%u record: expected %s0x%02X, found 0x%02zX", type,
                      bare ? "" : "at least ", least, count);
  if ((size_t)(r->end - p) < 2 * (count + 1) || !lu_hex_pairs(p + 2, count, bytes + 1, &sum))
    return bad_record(r, p, count + 1);
  const uint8_t *after = p + 2 * (count + 1), *tail = after;
  while (tail < r->end && (*tail == ' ' || *tail == '\t'))
    tail++;
  if (tail < r->end && *tail != '\r' && *tail != '\n')
    return bad_char(r, tail, "the end of the line after the checksum");
  if ((sum & 0xFF) != 0xFF) {
    unsigned found = bytes[count];
    return lu_fail_at(r->err, LU_ERR_SYNTAX, (const char *)r->in.at, r->in.len,
                      (size_t)(after - 2 - r->in.at), "checksum: expected 0x%02X, found 0x%02X",
                      ~(sum - found) & 0xFF, found);
  }
  r->at = tail;
  return take(r, mark, type, bytes);
}

static void skip_space(reader *r)
{
  while (r->at < r->end && (*r->at == '\r' || *r->at == '\n' || *r->at == ' ' || *r->at == '\t'))
    r->at++;
  if (r->end - r->at == 1 && *r->at == 0x1A) /* CP/M's end mark */
    r->at = r->end;
}

static lu_status parse(lu_bytes in, lu_image *img, bool plain, lu_err *err)
{
  reader r = {.in = in, .img = img, .err = err, .at = in.at, .end = in.at + in.len};
  bool quick = lu_hex_fast(plain), ok = true;
  for (;;) {
    skip_space(&r);
    if (quick && img->count && !r.ended)
      fast(&r);
    skip_space(&r);
    if (r.at == r.end || r.ended)
      break;
    lu_status s = record(&r);
    if (s != LU_OK)
      return s;
  }
  if (!r.ended) {
    ok = lu_image_note(img, "no end record (S7, S8 or S9): the file may have been cut");
  } else if (r.at < r.end) {
    uint32_t line, column;
    lu_image_place(in, (size_t)(r.at - in.at), &line, &column);
    ok = lu_image_note(img, "line %" PRIu32 ": what follows the end record is left out", line);
  }
  return ok ? LU_OK : LU_ERR_NOMEM;
}

lu_status lu_srec_read(lu_bytes in, bool plain, lu_arena *mem, lu_dump **out, lu_err *err)
{
  return lu_image_read(in, mem, "srec", "S-records", parse, plain, out, err);
}

static lu_status srec_read(lu_bytes in, lu_arena *mem, lu_dump **out, lu_err *err)
{
  return lu_srec_read(in, false, mem, out, err);
}

/* Judged by shape: 'S', a type, a count and an address in digits. */
static int recognise(lu_bytes in)
{
  size_t i = 0, digits = 0;
  while (i < in.len &&
         (in.at[i] == ' ' || in.at[i] == '\t' || in.at[i] == '\r' || in.at[i] == '\n'))
    i++;
  if (in.len - i < 4 || (in.at[i] != 'S' && in.at[i] != 's') || in.at[i + 1] < '0' ||
      in.at[i + 1] > '9')
    return 0;
  while (i + 2 + digits < in.len && lu_hex_table[in.at[i + 2 + digits]] < 16)
    digits++;
  return digits >= 6 ? 100 : digits >= 2 ? 60 : 0;
}

static void put_record(lu_hexout *o, unsigned type, uint64_t addr, const uint8_t *at, unsigned size)
{
  unsigned width = addr_bytes[type];
  o->sum = 0;
  lu_hexout_char(o, 'S');
  lu_hexout_char(o, (char)('0' + type));
  lu_hexout_byte(o, width + size + 1);
  lu_hexout_number(o, addr, width);
  for (unsigned i = 0; i < size; i++)
    lu_hexout_byte(o, at[i]);
  lu_hexout_byte(o, ~o->sum & 0xFF);
  lu_hexout_char(o, '\n');
}

static bool srec_write(const lu_dump *dump, lu_sink sink)
{
  lu_hexout o = {.sink = sink, .ok = true};
  const lu_span *last = dump->span_count ? &dump->spans[dump->span_count - 1] : NULL;
  uint64_t end = last ? last->base + last->len : 0, records = 0;
  if (end > (uint64_t)1 << 32)
    return false;
  unsigned type = end > (uint64_t)1 << 24 ? 3 : end > (uint64_t)1 << 16 ? 2 : 1;
  put_record(&o, 0, 0, NULL, 0);
  for (size_t i = 0; i < dump->span_count; i++) {
    const lu_span *s = &dump->spans[i];
    for (uint64_t k = 0; k < s->len && o.ok; records++) {
      unsigned size = 16 - (unsigned)((s->base + k) & 15);
      if (size > s->len - k)
        size = (unsigned)(s->len - k);
      put_record(&o, type, s->base + k, s->at + k, size);
      k += size;
    }
  }
  if (records < 1u << 24)
    put_record(&o, records < 1u << 16 ? 5 : 6, records, NULL, 0);
  put_record(&o, 10 - type, 0, NULL, 0);
  return lu_hexout_flush(&o);
}

const lu_dumpform lu_dumpform_srec = {
    .name = "srec",
    .summary = "Motorola S-records, 16, 24 or 32-bit addresses",
    .ending = "srec",
    .recognise = recognise,
    .read = srec_read,
    .write = srec_write,
};
