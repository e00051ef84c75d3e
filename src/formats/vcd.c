/* SPDX-License-Identifier: MIT */
/* Value change dumps. Source: IEEE Std 1364-2001, clause 18.
 *
 * Two ways through the body give the same result: fast() takes the common shapes while at least
 * FAST_MARGIN bytes lie ahead, and body_word() takes any single word. */
#include "formats/vcd.h"

#include <stdarg.h>
#include <stdio.h>
#include <string.h>
#ifdef __SSE2__
#include <emmintrin.h>
#endif

/* fast() looks at most this far ahead: letter, 64 digits, 8 bytes at once, blank, code, blank. */
enum { FAST_MARGIN = 128 };

/* What fast() is made of must become one loop, or its state is in memory instead of in registers. */
#define INNER static inline __attribute__((always_inline))

/* What a word of the body begins with; levels are 4 | value | unknown << 1. */
enum { C_OTHER, C_BITS, C_TIME, C_BLANK, C_LOW = 4, C_HIGH, C_X, C_Z };

static const uint8_t class_of[256] = {
    ['0'] = C_LOW,   ['1'] = C_HIGH,   ['x'] = C_X,      ['X'] = C_X,      ['z'] = C_Z,
    ['Z'] = C_Z,     ['b'] = C_BITS,   ['B'] = C_BITS,   ['#'] = C_TIME,   [' '] = C_BLANK,
    ['\t'] = C_BLANK, ['\n'] = C_BLANK, ['\r'] = C_BLANK, ['\v'] = C_BLANK, ['\f'] = C_BLANK,
};

static bool blank(char c)
{
  return class_of[(unsigned char)c] == C_BLANK;
}

void lu_vcd_place(const lu_vcd *r, const char *at, uint32_t *line, uint32_t *column)
{
  size_t n = (size_t)(at - r->buf), start = 0;
  uint32_t lines = 0;
  for (size_t i = 0; i < n; i++)
    if (r->buf[i] == '\n') {
      lines++;
      start = i + 1;
    }
  *line = r->line + lines;
  *column = (uint32_t)(n - start) + (lines ? 1 : r->column);
}

lu_status lu_vcd_fail(const lu_vcd *r, lu_err *err, lu_status status, const char *at,
                      const char *format, ...)
{
  char text[240];
  va_list ap;
  va_start(ap, format);
  vsnprintf(text, sizeof text, format, ap);
  va_end(ap);
  lu_fail_at(err, status, r->buf, r->buf_len, (size_t)(at - r->buf), "%s", text);
  if (!err)
    return status;
  lu_vcd_place(r, at, &err->line, &err->column);
  size_t shown = strlen(err->excerpt);
  /* A line that began in an earlier piece cannot be shown whole. */
  if (err->column > shown + 1)
    err->excerpt[0] = '\0';
  return status;
}

static lu_status undeclared(const lu_vcd *r, lu_err *err, const char *code, size_t len)
{
  if (!len)
    return lu_vcd_fail(r, err, LU_ERR_SYNTAX, code, "expected an identifier code right after the value");
  return lu_vcd_fail(r, err, LU_ERR_SYNTAX, code,
                     "expected a declared identifier code, found '%.*s'",
                     (int)(len > 40 ? 40 : len), code);
}

/* Leftmost digit extends: 0 and 1 by 0, x by x, z by z (the standard's left-extension table). */
static char extension(char leftmost)
{
  return leftmost == '1' ? '0' : leftmost;
}

static lu_status put_digits(lu_vcd *r, const char *at, uint32_t entry, const char *digits,
                            size_t count, lu_err *err)
{
  const lu_cap_signal *s = &r->s.cap.signals[r->entry_signal[entry]];
  if (s->kind == LU_CAP_EVENT)
    return LU_OK;
  if (s->kind == LU_CAP_REAL)
    return lu_vcd_fail(r, err, LU_ERR_VALUE, at, "expected a real number for %s, found digits",
                       s->name);
  if (count > s->width)
    return lu_vcd_fail(r, err, LU_ERR_VALUE, at, "expected at most %u digits for %s, found %zu",
                       s->width, s->name, count);
  if (r->s.blind)
    return LU_OK;
  for (uint32_t i = 0; i < s->width; i++)
    lu_capstate_put_level(&r->s, s->home + i,
                          i < count ? digits[count - 1 - i] : extension(digits[0]));
  return LU_OK;
}

static lu_status time_word(lu_vcd *r, const char *word, size_t len, lu_err *err)
{
  size_t n = 1;
  while (n < len && word[n] >= '0' && word[n] <= '9')
    n++;
  uint64_t t;
  if (n == 1 || n != len || !lu_text_u64(word + 1, n - 1, 10, INT64_MAX, &t))
    return lu_vcd_fail(r, err, LU_ERR_SYNTAX, word, "expected a time below 2^63 after #, found '%.*s'",
                       (int)(len > 40 ? 40 : len), word);
  if (r->s.has_time && (int64_t)t < r->s.time)
    return lu_vcd_fail(r, err, LU_ERR_VALUE, word, "time goes backwards: %llu after %lld",
                       (unsigned long long)t, (long long)r->s.time);
  lu_status s = LU_OK;
  if ((int64_t)t != r->s.time)
    s = lu_capstate_emit(&r->s, err);
  r->s.time = (int64_t)t;
  r->s.has_time = true;
  return s;
}

static bool is_digit(char c)
{
  return class_of[(unsigned char)c] >= C_LOW;
}

/* b, r or s: the value is kept until its code comes. */
static lu_status value_word(lu_vcd *r, const char *word, size_t len, lu_err *err)
{
  size_t n = 1;
  r->held_len = 0;
  r->in = LU_VCD_CODE;
  if (class_of[(unsigned char)*word] != C_BITS)
    return LU_OK; /* a real or a text: only its code is checked */
  while (n < len && is_digit(word[n]))
    n++;
  if (n == 1)
    return lu_vcd_fail(r, err, LU_ERR_SYNTAX, word, "expected digits 0, 1, x or z after %c", *word);
  if (n - 1 > r->widest)
    return lu_vcd_fail(r, err, LU_ERR_VALUE, word,
                       "expected at most the %u digits of the widest signal, found %zu", r->widest,
                       n - 1);
  memcpy(r->held, word + 1, n - 1);
  r->held_len = n - 1;
  if (n == len)
    return LU_OK;
  /* "b1010!": no blank before the code. */
  uint32_t entry = lu_vcd_find(r, word + n, len - n);
  if (!entry)
    return lu_vcd_fail(r, err, LU_ERR_SYNTAX, word + n, "expected a digit or a blank, found '%c'",
                       word[n]);
  r->in = LU_VCD_BODY;
  return put_digits(r, word, entry, r->held, r->held_len, err);
}

static lu_status code_word(lu_vcd *r, const char *word, size_t len, lu_err *err)
{
  uint32_t entry = lu_vcd_find(r, word, len);
  if (!entry)
    return undeclared(r, err, word, len);
  r->in = LU_VCD_BODY;
  if (!r->held_len) {
    const lu_cap_signal *s = &r->s.cap.signals[r->entry_signal[entry]];
    if (s->kind == LU_CAP_LEVEL)
      return lu_vcd_fail(r, err, LU_ERR_VALUE, word, "expected digits for %s, found a real number",
                         s->name);
    return LU_OK;
  }
  return put_digits(r, word, entry, r->held, r->held_len, err);
}

static lu_status body_command(lu_vcd *r, const char *word, size_t len, lu_err *err)
{
  static const char *const skipped[] = {"$comment", "$date", "$version"};
  static const char *const dumps[] = {"$dumpvars", "$dumpall", "$dumpoff", "$dumpon"};
  if (lu_vcd_is(word, len, "$end")) {
    if (!r->in_dump)
      return lu_vcd_fail(r, err, LU_ERR_SYNTAX, word, "$end without a command before it");
    r->in_dump = false;
    return LU_OK;
  }
  for (size_t i = 0; i < sizeof skipped / sizeof *skipped; i++)
    if (lu_vcd_is(word, len, skipped[i])) {
      r->text_back = LU_VCD_BODY;
      r->in = LU_VCD_TEXT;
      return LU_OK;
    }
  for (size_t i = 0; i < sizeof dumps / sizeof *dumps; i++) {
    if (!lu_vcd_is(word, len, dumps[i]))
      continue;
    uint32_t column;
    lu_vcd_place(r, word, &r->dump_line, &column);
    r->in_dump = true;
    if (i == 2) {
      lu_capstate_forget(&r->s);
      r->s.blind = true;
    } else if (i == 3) {
      r->s.blind = false;
    }
    return LU_OK;
  }
  return lu_vcd_fail(r, err, LU_ERR_SYNTAX, word,
                     "expected $dumpvars, $dumpall, $dumpoff, $dumpon or $comment, found '%.*s'",
                     (int)(len > 40 ? 40 : len), word);
}

static lu_status body_word(lu_vcd *r, const char *word, size_t len, lu_err *err)
{
  switch (class_of[(unsigned char)*word]) {
  case C_LOW:
  case C_HIGH:
  case C_X:
  case C_Z: {
    uint32_t entry = lu_vcd_find(r, word + 1, len - 1);
    return entry ? put_digits(r, word, entry, word, 1, err) : undeclared(r, err, word + 1, len - 1);
  }
  case C_BITS:
    return value_word(r, word, len, err);
  case C_TIME:
    return time_word(r, word, len, err);
  default:
    break;
  }
  if (*word == 'r' || *word == 'R' || *word == 's' || *word == 'S')
    return value_word(r, word, len, err);
  if (*word == '$')
    return body_command(r, word, len, err);
  return lu_vcd_fail(r, err, LU_ERR_SYNTAX, word, "expected a time, a value or a command, found '%.*s'",
                     (int)(len > 40 ? 40 : len), word);
}

static lu_status any_word(lu_vcd *r, const char *word, size_t len, lu_err *err)
{
  switch (r->in) {
  case LU_VCD_HEAD:
    return lu_vcd_head_word(r, word, len, err);
  case LU_VCD_TEXT:
    if (lu_vcd_ends(word, len))
      r->in = r->text_back;
    return LU_OK;
  case LU_VCD_ARGS:
    return lu_vcd_args_word(r, word, len, err);
  case LU_VCD_BODY:
    return body_word(r, word, len, err);
  case LU_VCD_CODE:
    return code_word(r, word, len, err);
  }
  return LU_OK;
}

static uint64_t load8(const char *p)
{
  uint64_t w;
  memcpy(&w, p, 8);
#if __BYTE_ORDER__ == __ORDER_BIG_ENDIAN__
  w = __builtin_bswap64(w);
#endif
  return w;
}

/* The low bits of eight bytes, the first byte's highest. */
static uint64_t gather(uint64_t w)
{
  return (w & 0x0101010101010101u) * 0x8040201008040201u >> 56;
}

/* Digits 0 and 1 at p, eight at a time, behind the *count digits that value already holds; *count ends at most at 72. */
static uint64_t binary_on(const char *p, uint64_t value, unsigned *count)
{
  unsigned n = *count;
  for (;;) {
    uint64_t w = load8(p + n), odd = (w ^ 0x3030303030303030u) & 0xfefefefefefefefeu;
    if (odd) {
      unsigned k = (unsigned)__builtin_ctzll(odd) / 8;
      if (k)
        value = value << k | gather(w << (8 - k) * 8);
      *count = n + k;
      return value;
    }
    value = value << 8 | gather(w);
    n += 8;
    if (n > 64) {
      *count = n;
      return value;
    }
  }
}

#ifdef __SSE2__
/* The first 32 digits without a branch on how many there are: their number is as random as the data. */
INNER uint64_t binary(const char *p, unsigned *count)
{
  const __m128i even = _mm_set1_epi8((char)0xfe), zero = _mm_set1_epi8('0');
  __m128i a = _mm_loadu_si128((const void *)p), b = _mm_loadu_si128((const void *)(p + 16));
  uint32_t is = (uint32_t)_mm_movemask_epi8(_mm_cmpeq_epi8(_mm_and_si128(a, even), zero)) |
                (uint32_t)_mm_movemask_epi8(_mm_cmpeq_epi8(_mm_and_si128(b, even), zero)) << 16;
  uint32_t v = (uint32_t)_mm_movemask_epi8(_mm_slli_epi16(a, 7)) | (uint32_t)_mm_movemask_epi8(_mm_slli_epi16(b, 7)) << 16;
  /* The first digit is the lowest bit: turned round. */
  v = __builtin_bswap32(v);
  v = (v >> 4 & 0x0f0f0f0fu) | (v & 0x0f0f0f0fu) << 4;
  v = (v >> 2 & 0x33333333u) | (v & 0x33333333u) << 2;
  v = (v >> 1 & 0x55555555u) | (v & 0x55555555u) << 1;
  *count = (unsigned)__builtin_ctzll(~(uint64_t)is);
  return *count < 32 ? (uint64_t)v >> (32 - *count) : binary_on(p, v, count);
}
#else
INNER uint64_t binary(const char *p, unsigned *count)
{
  *count = 0;
  return binary_on(p, 0, count);
}
#endif

/* Any digits at p, at most 64, extended to the left as far as the slot goes. */
static __attribute__((noinline)) uint64_t mixed(const char *p, unsigned *count, uint64_t *unknown)
{
  uint64_t v = 0, u = 0;
  unsigned n = 0, c;
  unsigned first = class_of[(unsigned char)p[0]];
  if (first == C_X || first == C_Z) {
    u = UINT64_MAX;
    v = first == C_Z ? UINT64_MAX : 0;
  }
  while (n <= 64 && (c = class_of[(unsigned char)p[n]]) >= C_LOW) {
    v = v << 1 | (c & 1);
    u = u << 1 | (c >> 1 & 1);
    n++;
  }
  *count = n;
  *unknown = u;
  return v;
}

/* The entry of the code at p, which ends at a blank; *end is that blank. Entry 0: not the fast way. */
INNER const lu_vcd_entry *short_code(const lu_vcd *r, const char *p, const char **end)
{
  unsigned char a = (unsigned char)p[0], b = (unsigned char)p[1], c = (unsigned char)p[2];
  if (class_of[b] == C_BLANK) {
    *end = p + 1;
    return &r->entries[r->one[a]];
  }
  if (class_of[c] == C_BLANK) {
    *end = p + 2;
    return &r->entries[r->two[(unsigned)a << 8 | b]];
  }
  unsigned i = a - 33u, j = b - 33u, k = c - 33u;
  if (!r->three || class_of[(unsigned char)p[3]] != C_BLANK || i > 93 || j > 93 || k > 93)
    return &r->entries[0];
  *end = p + 3;
  return &r->entries[r->three[(i * 94 + j) * 94 + k]];
}

/* How the levels are kept while fast() runs: with a single slot in registers. A time is made a number
 * only when somebody wants to hear of its moment. */
/* What a time mark with as many digits as the last one looks like, and behind it a level of one bit with a code of one
 * character that ends its line, which is all that most moments have. */
enum { NEVER = 1 << 16 };
typedef struct shape {
#ifdef __SSE2__
  __m128i base, most;   /* each character is one of base ^ 0 .. base ^ most */
#endif
  unsigned time_len;    /* digits, 1..15 */
  char behind;          /* the blank behind them */
  unsigned head, whole; /* bits of characters of the time mark; and of the level */
} shape;

typedef enum way { ONE_SLOT, FEW_SLOTS, MANY_SLOTS } way;
typedef struct hot {
  uint64_t value, unknown, was_value, was_unknown, wanted;
  uint64_t two;      /* two_digits() of the blank that is usual */
  /* The last time mark here, as text: its last eight digits, the first in the highest byte (fewer: 0 before
   * them), and the digits before those, the last in the highest byte. */
  uint64_t time, time_head;
  unsigned past, shift; /* where the last eight begin; by how much fewer are shifted */
  uint64_t zeros;    /* '0' for each of them */
  shape like;        /* time_len 0: no time mark here yet, r->s.time holds it */
} hot;

INNER void store(lu_vcd *r, hot *h, const lu_vcd_entry *e, uint64_t value, uint64_t unknown,
                         way how)
{
  if (how == ONE_SLOT) {
    h->value = (h->value & ~e->mask) | (value & e->mask);
    h->unknown = (h->unknown & ~e->mask) | (unknown & e->mask);
    return;
  }
  uint64_t *v = &r->s.value[e->slot], *u = &r->s.unknown[e->slot];
  *v = (*v & ~e->mask) | (value & e->mask);
  *u = (*u & ~e->mask) | (unknown & e->mask);
  if (how == FEW_SLOTS)
    r->s.low[0] |= (uint64_t)1 << e->slot;
  else
    lu_capstate_touch(&r->s, e->slot);
}

/* Eight digits, the first in the lowest byte, as a number. */
static inline uint64_t eight_digits(uint64_t w)
{
  w = (w * 10 + (w >> 8)) & 0x00ff00ff00ff00ffu;
  w = (w * 100 + (w >> 16)) & 0x0000ffff0000ffffu;
  return (w * 10000 + (w >> 32)) & 0xffffffffu;
}

/* The last time mark as a number. */
static inline int64_t time_of(const hot *h)
{
  uint64_t low = eight_digits(__builtin_bswap64(h->time) ^ h->zeros);
  if (!h->past)
    return (int64_t)low;
  uint64_t high = (h->time_head ^ 0x3030303030303030u) & UINT64_MAX << (8 - h->past) * 8;
  return (int64_t)(eight_digits(high) * 100000000u + low);
}

INNER void heat(const lu_vcd *r, hot *h)
{
  const lu_capstate *s = &r->s;
  *h = (hot){.value = s->value[0], .unknown = s->unknown[0], .was_value = s->was_value[0], .was_unknown = s->was_unknown[0],
             .wanted = s->wanted[0],
             .like = {.head = NEVER, .whole = NEVER}};
}

static inline void cool(lu_vcd *r, const hot *h, way how)
{
  lu_capstate *s = &r->s;
  if (h->like.time_len)
    s->time = time_of(h);
  if (how != ONE_SLOT)
    return;
  s->value[0] = h->value;
  s->unknown[0] = h->unknown;
  s->was_value[0] = h->was_value;
  s->was_unknown[0] = h->was_unknown;
  s->low[0] = 1;
}

/* One vector at p ("b0101 !"); its end, or NULL when it needs the other way. */
INNER const char *fast_vector(lu_vcd *r, hot *h, const char *p, way how)
{
  unsigned n;
  uint64_t unknown = 0, value = binary(p + 1, &n);
  const char *q = p + 1 + n;
  if (!blank(*q)) {
    value = mixed(p + 1, &n, &unknown);
    q = p + 1 + n;
    if (!blank(*q))
      return NULL;
  }
  const char *end = q;
  const lu_vcd_entry *e = n ? short_code(r, q + 1, &end) : &r->entries[0];
  if (!e->mask || n > e->width)
    return NULL;
  store(r, h, e, value << e->shift, unknown << e->shift, how);
  return end + 1;
}

static __attribute__((noinline)) unsigned count_digits(const char *p)
{
  unsigned n = 0;
  while (n < 16 && p[n] >= '0' && p[n] <= '9')
    n++;
  return n;
}

/* Which of the characters at p are as the shape has them, a bit each. */
INNER unsigned alike(const shape *like, const char *p)
{
#ifdef __SSE2__
  __m128i x = _mm_xor_si128(_mm_loadu_si128((const void *)p), like->base);
  return (unsigned)_mm_movemask_epi8(_mm_cmpeq_epi8(_mm_subs_epu8(x, like->most), _mm_setzero_si128()));
#else
  unsigned n = 1;
  while (n <= like->time_len && p[n] >= '0' && p[n] <= '9')
    n++;
  return p[0] == '#' && n == like->time_len + 1 && p[n] == like->behind ? like->head : 0;
#endif
}

static shape shape_of(unsigned time_len, char behind)
{
  shape s = {.time_len = time_len, .behind = behind, .head = NEVER, .whole = NEVER};
  enum { ALL = 16 };
  char base[ALL] = "#", most[ALL] = "";
  memset(base + 1, '0', time_len);
  memset(most + 1, 9, time_len);
  memset(most + 1 + time_len, -1, ALL - 1 - time_len);
  if (time_len > ALL - 2)
    return s;
  s.head = (1u << (time_len + 2)) - 1;
  base[time_len + 1] = behind;
  most[time_len + 1] = 0;
#ifdef __SSE2__
  if (time_len <= ALL - 5) {
    s.whole = (1u << (time_len + 5)) - 1;
    base[time_len + 2] = '0';
    most[time_len + 2] = 1;
    base[time_len + 4] = '\n';
    most[time_len + 4] = 0;
  }
  s.base = _mm_loadu_si128((const void *)base);
  s.most = _mm_loadu_si128((const void *)most);
#endif
  return s;
}

/* Whether the digits at p, as many as the last time had, are later; *text then holds them as h->time does. As text,
 * since times of as many digits compare as numbers do. */
INNER bool later(const hot *h, const char *p, uint64_t *text)
{
  *text = __builtin_bswap64(load8(p + h->past) << h->shift);
  return *text > h->time && (!h->past || load8(p) << (8 - h->past) * 8 == h->time_head);
}

/* A time mark at p that has not the shape of the last one, put into next; false when it needs the other way. */
static __attribute__((noinline)) bool odd_time(const lu_vcd *r, const hot *h, const char *p, hot *next)
{
  unsigned len = count_digits(p + 1);
  if (!len || len > 15 || !blank(p[1 + len]))
    return false;
  next->like = shape_of(len, p[1 + len]);
  next->past = len > 8 ? len - 8 : 0;
  next->shift = len < 8 ? (8 - len) * 8 : 0;
  next->zeros = 0x3030303030303030u << next->shift;
  next->time = __builtin_bswap64(load8(p + 1 + next->past) << next->shift);
  next->time_head = next->past ? load8(p + 1) << (8 - next->past) * 8 : 0;
  return time_of(next) > (h->like.time_len ? time_of(h) : r->s.time);
}

/* Ends the moment before the next time mark. Most moments of a bus change one slot, and often nothing in it
 * that is wanted. */
INNER lu_status end_moment(lu_vcd *r, hot *h, way how, lu_err *err)
{
  lu_capstate *s = &r->s;
  lu_status status = LU_OK;
  if (how != ONE_SLOT) {
    cool(r, h, how);
    return lu_capstate_emit(s, err);
  }
  uint64_t diff = (h->value ^ h->was_value) | (h->unknown ^ h->was_unknown);
  if (diff & h->wanted && s->sink.step) {
    static const uint32_t first_slot = 0;
    cool(r, h, how);
    lu_cap_step step = {s->time, s->value, s->unknown, s->was_value, s->was_unknown, &first_slot, 1, false};
    status = s->sink.step(s->sink.to, &step, err);
  }
  h->was_value = h->value;
  h->was_unknown = h->unknown;
  return status;
}

/* A time mark at p; its end, or NULL when it needs the other way. */
INNER const char *fast_time(lu_vcd *r, hot *h, const char *p, way how, lu_status *status, lu_err *err)
{
  hot next = {0}, was = *h;
  if (!odd_time(r, &was, p, &next))
    return NULL;
  *status = end_moment(r, h, how, err);
  h->time = next.time;
  h->time_head = next.time_head;
  h->past = next.past;
  h->shift = next.shift;
  h->zeros = next.zeros;
  h->like = next.like;
  return p + 2 + h->like.time_len;
}

/* A single level at p, of any kind and with a code of up to three characters; NULL as above. */
INNER const char *fast_level(lu_vcd *r, hot *h, const char *p, way how)
{
  unsigned c = class_of[(unsigned char)*p];
  const char *end = p;
  const lu_vcd_entry *e = short_code(r, p + 1, &end);
  if (e->width != 1)
    return NULL;
  store(r, h, e, -(uint64_t)(c & 1), -(uint64_t)(c >> 1 & 1), how);
  return end + 1;
}

/* A level (value | unknown << 1) of a signal of one bit with a code of one character. */
INNER bool fast_bit(lu_vcd *r, hot *h, const lu_vcd_quick *quick, unsigned level, unsigned code, way how)
{
  uint64_t keep = quick->keep[code], value = quick->set[level & 1][code], unknown = level & 2 ? ~keep : 0;
  if (keep == UINT64_MAX)
    return false;
  if (how == ONE_SLOT) {
    h->value = (h->value & keep) | value;
    h->unknown = (h->unknown & keep) | unknown;
    return true;
  }
  uint32_t slot = quick->slot[code];
  r->s.value[slot] = (r->s.value[slot] & keep) | value;
  r->s.unknown[slot] = (r->s.unknown[slot] & keep) | unknown;
  if (how == FEW_SLOTS)
    r->s.low[0] |= (uint64_t)1 << slot;
  else
    lu_capstate_touch(&r->s, slot);
  return true;
}

/* Two words of three characters as one number, the first character lowest, can be looked at together: both are levels
 * 0 or 1, or both z, and have the blank behind them that is usual in this capture. */
enum { FIRST_BLANK = 16, SECOND = 24, SECOND_BLANK = 40 };
#define BLANKS ((uint64_t)0xff << FIRST_BLANK | (uint64_t)0xff << SECOND_BLANK)
#define TWO(x) ((uint64_t)(x) | (uint64_t)(x) << SECOND)

INNER uint64_t two_digits(uint64_t blank_as)
{
  return TWO('0') | blank_as << FIRST_BLANK | blank_as << SECOND_BLANK;
}

/* Levels z of signals of one bit with a code of one character, two by two: a bus that is let go. */
INNER const char *fast_floats(lu_vcd *r, hot *h, const char *p, const char *stop, way how)
{
  while (p < stop) {
    uint64_t w = load8(p);
    if ((w ^ h->two ^ TWO('z' ^ '0')) & (BLANKS | TWO(0xff)) || !fast_bit(r, h, &r->quick, 3, w >> 8 & 0xff, how))
      break;
    p += 3;
    if (!fast_bit(r, h, &r->quick, 3, w >> (SECOND + 8) & 0xff, how))
      break;
    p += 3;
  }
  return p;
}

/* Levels of signals of one bit with a code of one character, one after the other; where they end. */
INNER const char *fast_levels(lu_vcd *r, hot *h, const char *p, const char *stop, way how)
{
  const lu_vcd_quick *quick = &r->quick;
  while (p < stop) {
    uint64_t w = load8(p);
    if (!((w ^ h->two) & (BLANKS | TWO(0xfe)))) {
      if (!fast_bit(r, h, quick, w & 1, w >> 8 & 0xff, how))
        break;
      p += 3;
      if (!fast_bit(r, h, quick, w >> SECOND & 1, w >> (SECOND + 8) & 0xff, how))
        break;
      p += 3;
      continue;
    }
    if (!blank(p[2]))
      break;
    if ((w & 0xfe) == '0') {
      if (!fast_bit(r, h, quick, w & 1, w >> 8 & 0xff, how))
        break;
      p += 3;
      if (*p == '#')
        break;
      h->two = two_digits((unsigned char)p[-1]);
      continue;
    }
    unsigned level = class_of[w & 0xff];
    if (level < C_LOW || !fast_bit(r, h, quick, level & 3, w >> 8 & 0xff, how))
      break;
    p = fast_floats(r, h, p + 3, stop, how);
  }
  return p;
}

/* One word of the common shapes, no time; its end, or NULL when it needs the other way. */
INNER const char *fast_word(lu_vcd *r, hot *h, const char *p, way how)
{
  unsigned c = class_of[(unsigned char)*p];
  if (c == C_BITS)
    return fast_vector(r, h, p, how);
  if (c == C_BLANK)
    return p + 1;
  return c >= C_LOW ? fast_level(r, h, p, how) : NULL;
}

/* Takes words of the common shapes from p on while p < stop. Returns where it could not go on. */
INNER const char *
fast_words(lu_vcd *r, const char *p, const char *stop, way how, lu_status *status, lu_err *err)
{
  hot h;
  lu_status s = LU_OK;
  heat(r, &h);
  h.two = two_digits('\n');
  while (p < stop) {
    unsigned like = alike(&h.like, p);
    uint64_t text;
    if ((like & h.like.head) == h.like.head && later(&h, p + 1, &text)) {
      s = end_moment(r, &h, how, err);
      h.time = text;
      p += h.like.time_len + 2;
      if (s != LU_OK)
        break;
      if ((like & h.like.whole) == h.like.whole &&
          fast_bit(r, &h, &r->quick, p[0] & 1, (unsigned char)p[1], how)) {
        p += 3;
        continue;
      }
    } else if (*p == '#') {
      const char *q = fast_time(r, &h, p, how, &s, err);
      if (!q || s != LU_OK)
        break;
      p = q;
    }
    p = fast_levels(r, &h, p, stop, how);
    if (*p == '#')
      continue;
    const char *q = p < stop ? fast_word(r, &h, p, how) : NULL;
    if (!q)
      break;
    p = q;
  }
  cool(r, &h, how);
  *status = s;
  return p;
}

static const char *fast(lu_vcd *r, const char *p, const char *end, lu_status *status, lu_err *err)
{
  const lu_capstate *s = &r->s;
  if (end - p <= FAST_MARGIN || !s->has_time || s->blind || s->was_blind)
    return p;
  const char *stop = end - FAST_MARGIN;
  if (s->cap.slot_count == 1)
    return fast_words(r, p, stop, ONE_SLOT, status, err);
  return s->few ? fast_words(r, p, stop, FEW_SLOTS, status, err)
                : fast_words(r, p, stop, MANY_SLOTS, status, err);
}

/* Everything in buf, which ends at the end of a word. */
static lu_status words(lu_vcd *r, const char *buf, size_t len, lu_err *err)
{
  const char *p = buf, *end = buf + len;
  lu_status s = LU_OK;
  r->buf = buf;
  r->buf_len = len;
  while (p < end && s == LU_OK) {
    if (r->in == LU_VCD_BODY)
      p = fast(r, p, end, &s, err);
    while (p < end && blank(*p))
      p++;
    if (p >= end || s != LU_OK)
      break;
    const char *word = p;
    while (p < end && !blank(*p))
      p++;
    s = p - word > LU_VCD_WORD_MOST && r->in != LU_VCD_TEXT
            ? lu_vcd_fail(r, err, LU_ERR_LIMIT, word, "a word of more than %d characters",
                          LU_VCD_WORD_MOST)
            : any_word(r, word, (size_t)(p - word), err);
  }
  return s;
}

/* Line ends in a text, 16 characters at a time, in sums of bytes that cannot run over. */
static size_t line_ends(const char *at, size_t len)
{
  size_t lines = 0, i = 0;
#ifdef __SSE2__
  const __m128i end = _mm_set1_epi8('\n'), zero = _mm_setzero_si128();
  while (len - i >= 64) {
    __m128i sum = zero;
    for (unsigned k = 0; k < 60 && len - i >= 64; k++, i += 64)
      for (unsigned n = 0; n < 64; n += 16)
        sum = _mm_sub_epi8(sum, _mm_cmpeq_epi8(_mm_loadu_si128((const void *)(at + i + n)), end));
    __m128i both = _mm_sad_epu8(sum, zero);
    lines += (size_t)_mm_cvtsi128_si32(both) + (size_t)_mm_extract_epi16(both, 4);
  }
#endif
  for (; i < len; i++)
    lines += at[i] == '\n';
  return lines;
}

static void advance(lu_vcd *r, const char *at, size_t len)
{
  size_t lines = line_ends(at, len), tail = 0;
  while (tail < len && at[len - 1 - tail] != '\n')
    tail++;
  r->line += (uint32_t)lines;
  r->column = (uint32_t)tail + (lines ? 1 : r->column);
}

static lu_status carry_more(lu_vcd *r, const char *at, size_t len, lu_err *err)
{
  size_t room = LU_VCD_WORD_MOST + 8 - r->carry_len;
  if (len <= room) {
    memcpy(r->carry + r->carry_len, at, len);
    r->carry_len += len;
    return LU_OK;
  }
  r->buf = r->carry;
  r->buf_len = r->carry_len;
  return lu_vcd_fail(r, err, LU_ERR_LIMIT, r->carry, "a word of more than %d characters",
                     LU_VCD_WORD_MOST);
}

static lu_status feed(void *reader, lu_bytes piece, lu_err *err)
{
  lu_vcd *r = reader;
  const char *at = (const char *)piece.at;
  size_t len = piece.len, n = 0;
  if (r->carry_len) {
    while (n < len && !blank(at[n]))
      n++;
    lu_status s = carry_more(r, at, n, err);
    if (s != LU_OK || n == len)
      return s;
    s = words(r, r->carry, r->carry_len, err);
    if (s != LU_OK)
      return s;
    advance(r, r->carry, r->carry_len);
    r->carry_len = 0;
    at += n;
    len -= n;
  }
  n = len;
  while (n && !blank(at[n - 1]))
    n--;
  lu_status s = words(r, at, n, err);
  if (s != LU_OK)
    return s;
  advance(r, at, n);
  return carry_more(r, at + n, len - n, err);
}

/* The capture was cut in the middle: what came before is used. */
static void cut_notes(lu_vcd *r)
{
  if (r->carry_len && !lu_vcd_is(r->carry, r->carry_len, "$end"))
    lu_capstate_note(&r->s, r->line, r->column,
                     "the capture is cut off: its last word '%.*s' has no end and is left out",
                     (int)(r->carry_len > 40 ? 40 : r->carry_len), r->carry);
  else if (r->in == LU_VCD_CODE)
    lu_capstate_note(&r->s, r->line, r->column, "the capture is cut off: its last value has no code");
  else if (r->in == LU_VCD_TEXT)
    lu_capstate_note(&r->s, r->line, r->column, "the capture ends inside a comment");
  else if (r->in_dump && !r->carry_len)
    lu_capstate_note(&r->s, r->line, r->column,
                     "the capture is cut off inside the dump that begins on line %u", r->dump_line);
}

static lu_status end(void *reader, lu_err *err)
{
  lu_vcd *r = reader;
  bool body = r->in == LU_VCD_BODY || r->in == LU_VCD_CODE ||
              (r->in == LU_VCD_TEXT && r->text_back == LU_VCD_BODY);
  if (!body && r->in == LU_VCD_ARGS && !strcmp(r->command, "$enddefinitions") &&
      lu_vcd_is(r->carry, r->carry_len, "$end")) {
    /* The file has no more than a head, and no line end after it. */
    lu_status s = words(r, r->carry, r->carry_len, err);
    if (s != LU_OK)
      return s;
  } else if (!body) {
    r->buf = r->carry;
    r->buf_len = r->carry_len;
    return lu_vcd_fail(r, err, LU_ERR_SYNTAX, r->buf,
                       "expected $enddefinitions $end, found the end of the capture");
  }
  cut_notes(r);
  return lu_capstate_end(&r->s, err);
}

static void *open_vcd(lu_arena *mem, const lu_cap_options *options, lu_cap_sink sink,
                      lu_cap_notes *notes)
{
  (void)options; /* time stands in the file */
  lu_vcd *r = LU_NEW(mem, lu_vcd, 1);
  if (!r)
    return NULL;
  lu_capstate_init(&r->s, mem, sink, notes);
  r->s.cap.format = "vcd";
  r->s.cap.tick_s = 1e-9;
  r->line = r->column = 1;
  r->two = LU_NEW(mem, uint32_t, 1 << 16);
  r->carry = LU_NEW(mem, char, LU_VCD_WORD_MOST + 8);
  r->entry_room = r->entry_signal_room = 8;
  r->entries = LU_NEW(mem, lu_vcd_entry, r->entry_room);
  r->entry_signal = LU_NEW(mem, uint32_t, r->entry_signal_room);
  r->entry_count = 1; /* entry 0 is "not declared" */
  return r->two && r->carry && r->entries && r->entry_signal ? r : NULL;
}

static int recognise(lu_bytes in)
{
  const char *at = (const char *)in.at;
  size_t i = 0;
  while (i < in.len && blank(at[i]))
    i++;
  if (i == in.len || at[i] != '$')
    return 0;
  static const char *const first[] = {"$date",  "$version", "$comment", "$timescale",
                                      "$scope", "$var",     "$enddefinitions"};
  for (size_t k = 0; k < sizeof first / sizeof *first; k++)
    if (in.len - i >= strlen(first[k]) && !memcmp(at + i, first[k], strlen(first[k])))
      return 100;
  return 60;
}

const lu_capform lu_capform_vcd = {
    .name = "vcd",
    .summary = "value change dump, IEEE 1364",
    .ending = "vcd",
    .recognise = recognise,
    .open = open_vcd,
    .feed = feed,
    .end = end,
};
