/* SPDX-License-Identifier: MIT */
/* Hex digits as people and tools print them: lines of byte groups, with or without an address in
 * front and a text column behind. docs/formats-dumps.md lists the layouts and rules. */
#include "formats/dumpform.h"
#include "formats/hexout.h"
#include "formats/hexrun.h"
#include "formats/image.h"

#include <inttypes.h>
#include <string.h>

enum {
  SAMPLE_LINES = 64, /* looked at to learn the layout */
  SAMPLE_CHARS = 64 * 1024,
  LINE_BYTES_MOST = 4096, /* data bytes on one line of a form with addresses */
  GAPS = 64,
  REPEAT_MOST = 256 << 20 /* bytes that all '*' lines together may stand for */
};

/* What the first lines teach. Columns count from the end of the address (or the line's start). */
typedef struct layout {
  bool addressed;
  size_t text_column; /* where the text column begins; 0 = there is none */
  uint64_t gap_after; /* bit i: two blanks may stand behind byte i of a line */
} layout;

/* A token that may be a number: [0x|$] digits [h]. */
typedef struct token {
  const uint8_t *at;     /* its first character */
  const uint8_t *digits; /* its first digit */
  const uint8_t *after;
  size_t count; /* digits */
  bool marked;  /* has 0x, $ or h */
} token;

typedef struct reader {
  lu_bytes in;
  lu_image *img;
  lu_err *err;
  layout look;
  const uint8_t *at, *end;
  bool quick;
  const uint8_t *star;    /* a '*' line that waits for the address behind it */
  size_t row_at, row_len; /* the last line's bytes in img->buf */
  uint64_t repeated;
} reader;

static bool is_blank(int c)
{
  return c == ' ' || c == '\t';
}

/* Characters that begin a text column or a remark. */
static bool is_fence(int c)
{
  return c && strchr("|;\"'#*<>[/", c);
}

static const uint8_t *skip_blanks(const uint8_t *p, const uint8_t *end)
{
  while (p < end && is_blank(*p))
    p++;
  return p;
}

static const uint8_t *line_end(const uint8_t *p, const uint8_t *end)
{
  while (p < end && *p != '\n' && *p != '\r')
    p++;
  return p;
}

static token take_token(const uint8_t *p, const uint8_t *end)
{
  token t = {.at = p, .digits = p};
  if (end - p > 2 && p[0] == '0' && (p[1] | 0x20) == 'x')
    t.digits = p + 2;
  else if (end - p > 1 && p[0] == '$')
    t.digits = p + 1;
  t.after = t.digits;
  while (t.after < end && lu_hex_table[*t.after] < 16)
    t.after++;
  t.count = (size_t)(t.after - t.digits);
  t.marked = t.digits > t.at;
  if (t.count && !t.marked && t.after < end && (*t.after | 0x20) == 'h') {
    t.marked = true;
    t.after++;
  }
  return t;
}

static uint64_t token_value(const token *t)
{
  uint64_t v = 0;
  for (size_t i = 0; i < t->count; i++)
    v = v << 4 | lu_hex_table[t->digits[i]];
  return v;
}

/* Steps over an address's colon, which blanks may precede. */
static const uint8_t *skip_colon(const uint8_t *p, const uint8_t *end)
{
  const uint8_t *q = skip_blanks(p, end);
  return q < end && *q == ':' ? q + 1 : p;
}

/* ---- learning the layout ---- */

typedef struct sample {
  uint64_t value;        /* of the first token */
  size_t digits, second; /* digits of the first two tokens; 0 = none */
  bool colon, marked, second_marked;
  size_t count[2]; /* data bytes: [0] two blanks end them, [1] two blanks may stand among them */
  size_t text_column[2];
  uint64_t gap_after[2];
  bool fenced;
} sample;

/* Counts the data bytes from p (an address ends there) to where they seem to end. */
static void measure(const uint8_t *p, const uint8_t *end, bool gaps, sample *s)
{
  const uint8_t *from = p, *q = skip_blanks(p, end);
  size_t n = 0;
  while (q < end) {
    token t = take_token(q, end);
    size_t blanks = (size_t)(q - p);
    if (is_fence(*q) || (n && blanks > 2) || (n && blanks == 2 && (!gaps || !t.count))) {
      s->text_column[gaps] = (size_t)(q - from);
      s->fenced = is_fence(*q);
      break;
    }
    if (!t.count || t.count & 1)
      break;
    if (n && blanks >= 2 && n <= GAPS)
      s->gap_after[gaps] |= (uint64_t)1 << (n - 1);
    n += t.count / 2;
    p = t.after;
    if (p < end && (*p == ',' || *p == '-'))
      p++;
    q = skip_blanks(p, end);
  }
  s->count[gaps] = n;
}

static size_t take_samples(lu_bytes in, sample *samples)
{
  size_t n = 0;
  const uint8_t *p = in.at, *end = in.at + (in.len < SAMPLE_CHARS ? in.len : SAMPLE_CHARS);
  while (p < end && n < SAMPLE_LINES) {
    const uint8_t *e = line_end(p, end), *q = skip_blanks(p, e);
    p = e + 1;
    if (q == e || is_fence(*q))
      continue;
    sample *s = &samples[n];
    *s = (sample){0};
    token t = take_token(q, e);
    if (!t.count)
      continue;
    const uint8_t *after = skip_colon(t.after, e);
    s->colon = after > t.after && after[-1] == ':';
    s->digits = t.count;
    s->marked = t.marked;
    s->value = token_value(&t);
    token second = take_token(skip_blanks(after, e), e);
    s->second = second.count;
    s->second_marked = second.marked;
    measure(after, e, false, s);
    measure(after, e, true, s);
    n++;
  }
  return n;
}

/* Lines whose first token steps by the number of bytes on the line: then it is an address. */
static size_t steps(const sample *s, size_t n, int gaps)
{
  size_t k = 0;
  for (size_t i = 0; i + 1 < n; i++)
    k += s[i].count[gaps] && s[i + 1].value - s[i].value == s[i].count[gaps];
  return k;
}

static bool has_addresses(const sample *s, size_t n)
{
  size_t colons = 0, marks = 0, uneven = 0, step = steps(s, n, 0), step_gaps = steps(s, n, 1);
  for (size_t i = 0; i < n; i++) {
    colons += s[i].colon;
    marks += s[i].marked && s[i].second && !s[i].second_marked;
    uneven += s[i].second && s[i].digits != s[i].second && s[i].digits > 2;
  }
  if (step_gaps > step)
    step = step_gaps;
  return colons * 2 > n || marks * 2 > n || uneven * 2 > n || (n > 1 && step * 2 > n - 1);
}

static layout learn(lu_bytes in)
{
  sample s[SAMPLE_LINES];
  layout l = {0};
  size_t n = take_samples(in, s);
  l.addressed = n && has_addresses(s, n);
  if (!l.addressed)
    return l;
  size_t plain = steps(s, n, 0), gapped = steps(s, n, 1);
  int gaps = gapped > plain;
  if (gapped == plain) {
    const sample *f = &s[0];
    gaps = f->count[0] == f->count[1] || f->fenced || f->count[1] == 2 * f->count[0];
  }
  const sample *best = &s[0];
  for (size_t i = 0; i + 1 < n; i++)
    if (s[i + 1].value - s[i].value == s[i].count[gaps] && s[i].count[gaps]) {
      best = &s[i];
      break;
    }
  l.text_column = best->text_column[gaps];
  l.gap_after = best->gap_after[gaps];
  return l;
}

/* ---- reading ---- */

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
  token t = take_token(*p, e);
  if (!t.count)
    return wrong(r, t.digits, "an address in hex");
  if (t.count > 16 || (t.count == 16 && lu_hex_table[t.digits[0]] > 7))
    return lu_fail_at(r->err, LU_ERR_SYNTAX, (const char *)r->in.at, r->in.len,
                      (size_t)(t.at - r->in.at), "expected an address below 2^63, found %zu digits",
                      t.count);
  const uint8_t *after = skip_colon(t.after, e);
  if (after == t.after && after < e && !is_blank(*after))
    return wrong(r, after, "a hex digit, a blank or ':'");
  *addr = token_value(&t);
  *p = after;
  return LU_OK;
}

typedef enum part { MORE, ENDED, BROKEN } part;

/* What stands at q, blanks characters behind the n-th byte of a line: data, or the end of the data.
 */
static part what_follows(const layout *l, const uint8_t *from, const uint8_t *q, const uint8_t *e,
                         size_t blanks, size_t n)
{
  if (q == e || is_fence(*q))
    return ENDED;
  if (!n || blanks < 2)
    return MORE;
  if (l->text_column && (size_t)(q - from) >= l->text_column)
    return ENDED;
  if (n <= GAPS && l->gap_after >> (n - 1) & 1)
    return MORE;
  if (!l->text_column)
    return MORE;
  return blanks == 2 ? ENDED : BROKEN;
}

static lu_status bad_group(reader *r, const token *t, size_t width)
{
  size_t offset = (size_t)(t->at - r->in.at);
  if (!t->count)
    return wrong(r, t->digits, "a hex digit");
  if (t->count & 1)
    return lu_fail_at(r->err, LU_ERR_SYNTAX, (const char *)r->in.at, r->in.len, offset,
                      "expected hex digits in pairs, found a group of %zu", t->count);
  return lu_fail_at(r->err, LU_ERR_SYNTAX, (const char *)r->in.at, r->in.len, offset,
                    "expected groups of %zu digits as before on this line, found %zu", width,
                    t->count);
}

/* The byte groups of a line, from p to its end e, stored from addr on. */
static lu_status read_groups(reader *r, const uint8_t *p, const uint8_t *e, uint64_t addr)
{
  const uint8_t *from = p, *q = skip_blanks(p, e);
  size_t n = 0, width = 0, shorter = 0;
  for (;;) {
    part what = what_follows(&r->look, from, q, e, (size_t)(q - p), n);
    if (what == BROKEN)
      return wrong(r, p, "a group of hex digits in the columns of the data");
    if (what == ENDED)
      break;
    token t = take_token(q, e);
    if (!t.count || t.count & 1 || (width && (t.count > width || shorter)))
      return bad_group(r, &t, shorter ? shorter : width);
    if (!width)
      width = t.count;
    else if (t.count < width)
      shorter = width;
    uint8_t *to = lu_image_put(r->img, addr, t.count / 2, (size_t)(t.digits - r->in.at), 2);
    unsigned sum = 0;
    if (!to)
      return LU_ERR_NOMEM;
    (void)lu_hex_pairs(t.digits, t.count / 2, to, &sum);
    n += t.count / 2;
    addr += t.count / 2;
    p = t.after;
    if (p < e && (*p == ',' || (*p == '-' && e - p > 1)))
      p++;
    else if (p < e && !is_blank(*p) && !is_fence(*p))
      return wrong(r, p, "a hex digit or a blank");
    q = skip_blanks(p, e);
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
  r->star = NULL;
  if (until < next || (until - next) > REPEAT_MOST || r->repeated + (until - next) > REPEAT_MOST)
    return lu_fail_at(r->err, until < next ? LU_ERR_SYNTAX : LU_ERR_LIMIT, text, r->in.len, offset,
                      "the lines that '*' stands for: expected an address from 0x%" PRIX64
                      " to 0x%" PRIX64 " behind it, found 0x%" PRIX64,
                      next, next + (REPEAT_MOST - r->repeated), until);
  size_t len = (size_t)(until - next);
  if (!len)
    return LU_OK;
  r->repeated += len;
  if (!lu_image_reserve(r->img, len + (size_t)(r->end - r->at) / 2))
    return LU_ERR_NOMEM;
  uint8_t *to = lu_image_put(r->img, next, len, offset, 0);
  if (!to)
    return LU_ERR_NOMEM;
  const uint8_t *row = r->img->buf + r->row_at;
  for (size_t i = 0; i < len; i++)
    to[i] = row[i % r->row_len];
  return LU_OK;
}

static lu_status read_line(reader *r, const uint8_t *p, const uint8_t *e)
{
  p = skip_blanks(p, e);
  if (p == e)
    return LU_OK;
  if (*p == '*' && skip_blanks(p + 1, e) == e && r->look.addressed && r->row_len) {
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
  } else if (is_fence(*p)) {
    return wrong(r, p, "a hex digit");
  }
  return read_groups(r, p, e, addr);
}

static lu_status parse(lu_bytes in, lu_image *img, bool plain, lu_err *err)
{
  reader r = {.in = in, .img = img, .err = err, .at = in.at, .end = in.at + in.len};
  r.quick = lu_hex_fast(plain);
  r.look = learn(in);
  img->has_addresses = r.look.addressed;
  while (r.at < r.end) {
    const uint8_t *e = line_end(r.at, r.end), *p = r.at;
    if (r.end - p == 1 && *p == 0x1A) /* CP/M's end mark */
      break;
    r.at = e < r.end ? e + 1 : e;
    lu_status s = read_line(&r, p, e);
    if (s != LU_OK)
      return s;
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
    const uint8_t *e = line_end(p, end), *q = skip_blanks(p, e);
    p = e + 1;
    if (q == e || is_fence(*q))
      continue;
    token t = take_token(q, e);
    const uint8_t *after = skip_colon(t.after, e);
    bool colon = after > t.after;
    token second = take_token(skip_blanks(after, e), e);
    lines++;
    good += t.count && (after == e || colon || is_blank(*after) || *after == ',') &&
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
