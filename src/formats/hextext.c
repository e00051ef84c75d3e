/* SPDX-License-Identifier: MIT */
/* Hex digits as people and tools print them: lines of byte groups, with or without an address in
 * front and a text column behind. docs/formats-dumps.md lists the layouts and rules. */
#include "formats/dumpform.h"
#include "formats/hexlayout.h"
#include "formats/hexout.h"
#include "formats/hexplan.h"
#include "formats/hexrun.h"
#include "formats/image.h"

#include <inttypes.h>
#include <string.h>

enum { REPEAT_MOST = 256 << 20 }; /* bytes that all '*' lines together may stand for */

typedef struct reader {
  lu_bytes in;
  lu_image *img;
  lu_err *err;
  lu_hex_layout look;
  const uint8_t *at, *end;
  bool quick;
  const uint8_t *star;    /* a '*' line that waits for the address behind it */
  size_t row_at, row_len; /* the last line's bytes in img->buf */
  uint64_t repeated;
  lu_hex_plan plan;
  size_t slow; /* lines since one fitted the plan */
} reader;

static lu_status wrong(reader *r, const uint8_t *at, const char *expected)
{
  const char *text = (const char *)r->in.at;
  size_t offset = (size_t)(at - r->in.at);
  if (at == r->end || *at == '\r' || *at == '\n')
    return lu_fail_at(r->err, LU_ERR_SYNTAX, text, r->in.len, offset,
                      "expected %s, found the end of the line", expected);
  if (*at > 0x20 && *at < 0x7F)
    return lu_fail_at(r->err, LU_ERR_SYNTAX, text, r->in.len, offset, "expected %s, found '%c'",
                      expected, *at);
  return lu_fail_at(r->err, LU_ERR_SYNTAX, text, r->in.len, offset, "expected %s, found 0x%02X",
                    expected, *at);
}

/* The address in front of a line; *p moves behind it and its colon. */
static lu_status read_address(reader *r, const uint8_t **p, const uint8_t *e, uint64_t *addr)
{
  lu_hex_token t = lu_hex_token_at(*p, e);
  if (!t.count)
    return wrong(r, t.digits, "an address in hex");
  if (t.count > 16 || (t.count == 16 && lu_hex_table[t.digits[0]] > 7))
    return lu_fail_at(r->err, LU_ERR_SYNTAX, (const char *)r->in.at, r->in.len,
                      (size_t)(t.at - r->in.at), "expected an address below 2^63, found %zu digits",
                      t.count);
  const uint8_t *after = lu_hex_skip_colon(t.after, e);
  if (after == t.after && after < e && !lu_hex_blank(*after))
    return wrong(r, after, "a hex digit, a blank or ':'");
  *addr = lu_hex_token_value(&t);
  *p = after;
  return LU_OK;
}

/* A group must be whole bytes and end at a blank; all groups of a line are alike, but the last may
 * be shorter. */
static lu_status check_group(reader *r, const lu_hex_token *t, const uint8_t *e, size_t width,
                             bool shorter)
{
  size_t offset = (size_t)(t->at - r->in.at);
  const uint8_t *after = t->after;
  if (after < e && *after != ',' && *after != '-' && !lu_hex_blank(*after) && !lu_hex_fence(*after))
    return wrong(r, after, "a hex digit");
  if (!t->count)
    return wrong(r, t->digits, "a hex digit");
  if (t->count & 1)
    return lu_fail_at(r->err, LU_ERR_SYNTAX, (const char *)r->in.at, r->in.len, offset,
                      "expected hex digits in pairs, found a group of %zu", t->count);
  if (width && (t->count > width || shorter))
    return lu_fail_at(r->err, LU_ERR_SYNTAX, (const char *)r->in.at, r->in.len, offset,
                      "expected groups of %zu digits as before on this line, found %zu", width,
                      t->count);
  return LU_OK;
}

/* The byte groups of a line, from p to its end e, stored from addr on. */
static lu_status read_groups(reader *r, const uint8_t *p, const uint8_t *e, uint64_t addr)
{
  const uint8_t *from = p, *q = lu_hex_skip(p, e);
  size_t n = 0, width = 0;
  bool shorter = false;
  for (;;) {
    lu_hex_part what = lu_hex_follows(&r->look, from, q, e, (size_t)(q - p), n);
    if (what == LU_HEX_BROKEN)
      return wrong(r, p, "a group of hex digits in the columns of the data");
    if (what == LU_HEX_ENDED)
      break;
    lu_hex_token t = lu_hex_token_at(q, e);
    lu_status s = check_group(r, &t, e, width, shorter);
    if (s != LU_OK)
      return s;
    shorter = width && t.count < width;
    if (!width)
      width = t.count;
    uint8_t *to = lu_image_more(r->img, addr, t.count / 2, (size_t)(t.digits - r->in.at), 2);
    unsigned sum = 0;
    if (!to)
      return LU_ERR_NOMEM;
    (void)lu_hex_pairs(t.digits, t.count / 2, to, &sum);
    n += t.count / 2;
    addr += t.count / 2;
    p = t.after;
    if (p < e && (*p == ',' || *p == '-'))
      p++;
    q = lu_hex_skip(p, e);
  }
  r->row_len = n;
  r->row_at = r->img->used - n;
  return LU_OK;
}

/* '*' stands for lines equal to the one before, up to the next address. */
static lu_status repeat(reader *r, uint64_t until)
{
  const char *text = (const char *)r->in.at;
  size_t offset = (size_t)(r->star - r->in.at);
  uint64_t next = r->img->next;
  if (until < next || (until - next) > REPEAT_MOST || r->repeated + (until - next) > REPEAT_MOST)
    return lu_fail_at(r->err, until < next ? LU_ERR_SYNTAX : LU_ERR_LIMIT, text, r->in.len, offset,
                      "the lines that '*' stands for: expected an address from 0x%" PRIX64
                      " to 0x%" PRIX64 " behind it, found 0x%" PRIX64,
                      next, next + (REPEAT_MOST - r->repeated), until);
  size_t len = (size_t)(until - next);
  if (!len) {
    r->star = NULL;
    return LU_OK;
  }
  r->repeated += len;
  if (!lu_image_reserve(r->img, len + (size_t)(r->end - r->star) / 2))
    return LU_ERR_NOMEM;
  uint8_t *to = lu_image_put(r->img, next, len, offset, 0);
  if (!to)
    return LU_ERR_NOMEM;
  const uint8_t *row = r->img->buf + r->row_at;
  for (size_t i = 0; i < len; i++)
    to[i] = row[i % r->row_len];
  r->star = NULL;
  return LU_OK;
}

static lu_status read_line(reader *r, const uint8_t *p, const uint8_t *e)
{
  p = lu_hex_skip(p, e);
  if (p == e)
    return LU_OK;
  if (*p == '*' && lu_hex_skip(p + 1, e) == e && r->look.addressed && r->row_len) {
    r->star = p;
    return LU_OK;
  }
  if (*p == '#' || *p == ';' || (*p == '/' && e - p > 1 && p[1] == '/'))
    return LU_OK;
  uint64_t addr = r->img->count ? r->img->next : 0;
  if (r->look.addressed) {
    lu_status s = read_address(r, &p, e, &addr);
    if (s == LU_OK && r->star)
      s = repeat(r, addr);
    if (s != LU_OK)
      return s;
  } else if (lu_hex_fence(*p)) {
    return wrong(r, p, "a hex digit");
  }
  return read_groups(r, p, e, addr);
}

/* Runs over the lines that look like the one just read. A line that did not fit may be the first of
 * another kind, so new plans are made, ever more seldom as long as they do not help. */
static void run_ahead(reader *r, const uint8_t *line, const uint8_t *e)
{
  if (!r->quick || r->star || !r->row_len || r->at == r->end)
    return;
  if (*r->at == '\n' && *e == '\r')
    r->at++;
  if (!(r->slow & (r->slow + 1)))
    lu_hex_plan_make(&r->look, line, e, &r->plan);
  r->slow++;
  if (!r->plan.bytes)
    return;
  size_t used = r->img->used;
  r->at = lu_hex_plan_run(&r->plan, r->img, r->at, r->end);
  if (r->img->used == used)
    return;
  r->slow = 0;
  r->row_len = r->plan.bytes;
  r->row_at = r->img->used - r->row_len;
}

static lu_status parse(lu_bytes in, lu_image *img, bool plain, lu_err *err)
{
  reader r = {.in = in, .img = img, .err = err, .at = in.at, .end = in.at + in.len};
  r.quick = lu_hex_fast(plain);
  r.look = lu_hex_learn(in);
  img->has_addresses = r.look.addressed;
  while (r.at < r.end) {
    const uint8_t *e = lu_hex_line_end(r.at, r.end), *p = r.at;
    if (r.end - p == 1 && *p == 0x1A) /* CP/M's end mark */
      break;
    r.at = e < r.end ? e + 1 : e;
    lu_status s = read_line(&r, p, e);
    if (s != LU_OK)
      return s;
    run_ahead(&r, p, e);
  }
  if (r.star)
    return wrong(&r, r.star, "an address behind the line of '*'");
  return LU_OK;
}

lu_status lu_hextext_read(lu_bytes in, bool plain, lu_arena *mem, lu_dump **out, lu_err *err)
{
  return lu_image_read(in, mem, "hextext", "lines of hex digits", parse, plain, out, err);
}

static lu_status hextext_read(lu_bytes in, lu_arena *mem, lu_dump **out, lu_err *err)
{
  return lu_hextext_read(in, false, mem, out, err);
}

/* Text only, and at least half of the first lines begin with a number that data follows. */
static int recognise(lu_bytes in)
{
  size_t look = in.len < 4096 ? in.len : 4096, lines = 0, good = 0;
  for (size_t i = 0; i < look; i++)
    if ((in.at[i] < 0x20 || in.at[i] > 0x7E) && !memchr("\t\r\n\x1A", in.at[i], 4))
      return 0;
  for (const uint8_t *p = in.at, *end = in.at + look; p < end && lines < 16;) {
    const uint8_t *e = lu_hex_line_end(p, end), *q = lu_hex_skip(p, e);
    p = e + 1;
    if (q == e || lu_hex_fence(*q))
      continue;
    lu_hex_token t = lu_hex_token_at(q, e);
    const uint8_t *after = lu_hex_skip_colon(t.after, e);
    bool colon = after > t.after;
    lu_hex_token second = lu_hex_token_at(lu_hex_skip(after, e), e);
    lines++;
    good += t.count && (after == e || colon || lu_hex_blank(*after) || *after == ',') &&
            (second.count ? !(second.count & 1) : t.count >= 2 && !(t.count & 1));
  }
  return good && good * 2 >= lines ? 50 : 0;
}

static void put_row(lu_hexout *o, uint64_t addr, unsigned digits, const uint8_t *at, unsigned size)
{
  lu_hexout_number(o, addr, digits / 2);
  lu_hexout_char(o, ':');
  for (unsigned i = 0; i < 16; i++) {
    if (!(i & 1))
      lu_hexout_char(o, ' ');
    if (i < size)
      lu_hexout_byte(o, at[i]);
    else
      lu_hexout_text(o, "  ");
  }
  lu_hexout_text(o, "  ");
  for (unsigned i = 0; i < size; i++)
    lu_hexout_char(o, at[i] >= 0x20 && at[i] < 0x7F ? (char)at[i] : '.');
  lu_hexout_char(o, '\n');
}

/* With addresses: rows of 16 bytes in pairs, with a text column. Without: plain pairs, 32 a line.
 */
static bool hextext_write(const lu_dump *dump, lu_sink sink)
{
  lu_hexout o = {.sink = sink, .ok = true};
  for (size_t i = 0; i < dump->span_count; i++) {
    const lu_span *s = &dump->spans[i];
    if (!dump->has_addresses) {
      for (uint64_t k = 0; k < s->len && o.ok; k++) {
        lu_hexout_byte(&o, s->at[k]);
        lu_hexout_char(&o, k % 32 == 31 || k + 1 == s->len ? '\n' : ' ');
      }
      continue;
    }
    for (uint64_t k = 0; k < s->len && o.ok; k += 16)
      put_row(&o, s->base + k, s->base + s->len > (uint64_t)1 << 32 ? 16 : 8, s->at + k,
              s->len - k < 16 ? (unsigned)(s->len - k) : 16);
  }
  return lu_hexout_flush(&o);
}

const lu_dumpform lu_dumpform_hextext = {
    .name = "hextext",
    .summary = "hex digits in lines, with or without addresses and a text column",
    .ending = "txt",
    .recognise = recognise,
    .read = hextext_read,
    .write = hextext_write,
};
