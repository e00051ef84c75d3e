/* SPDX-License-Identifier: MIT */
#include "formats/sexp.h"

#include <string.h>
#ifdef __SSE2__
#  include <emmintrin.h>
#endif

enum { PLAIN, BLANK, OPENS, CLOSES, QUOTE };

static const uint8_t kind_of[256] = {
    [' '] = BLANK, ['\t'] = BLANK, ['\n'] = BLANK,  ['\r'] = BLANK, ['\f'] = BLANK,
    ['\v'] = BLANK, ['('] = OPENS, [')'] = CLOSES, ['"'] = QUOTE,
};

static lu_status no_end(lu_netbuild *b, const char *start)
{
  return lu_netbuild_fail(b, LU_ERR_SYNTAX, start,
                          "expected a closing quote for this string, found the end of the file");
}

static lu_status too_deep(lu_netbuild *b, const char *at)
{
  return lu_netbuild_fail(b, LU_ERR_LIMIT, at,
                          "expected at most %d brackets inside each other, found more",
                          LU_SEXP_DEEPEST);
}

/* ---- where something ends: sixteen bytes at a time, for a loop over the bytes of a short word is
 * one wrong guess of the processor for each word ---- */

#ifdef __SSE2__
static inline __m128i load16(const char *at)
{
  return _mm_loadu_si128((const __m128i *)(const void *)at);
}

static inline __m128i equal16(__m128i v, char c)
{
  return _mm_cmpeq_epi8(v, _mm_set1_epi8(c));
}

static inline __m128i blank16(__m128i v)
{
  __m128i from_tab = _mm_sub_epi8(v, _mm_set1_epi8('\t'));
  return _mm_or_si128(equal16(v, ' '),
                      _mm_cmpeq_epi8(_mm_min_epu8(from_tab, _mm_set1_epi8('\r' - '\t')), from_tab));
}

static inline unsigned bits16(__m128i v)
{
  return (unsigned)_mm_movemask_epi8(v);
}
#endif

static const char *blank_end(const char *at, const char *end)
{
#ifdef __SSE2__
  for (; end - at >= 16; at += 16) {
    unsigned other = bits16(blank16(load16(at))) ^ 0xffff;
    if (other)
      return at + __builtin_ctz(other);
  }
#endif
  while (at < end && kind_of[(uint8_t)*at] == BLANK)
    at++;
  return at;
}

static const char *plain_end(const char *at, const char *end)
{
#ifdef __SSE2__
  for (; end - at >= 16; at += 16) {
    __m128i v = load16(at);
    __m128i bracket = equal16(_mm_or_si128(v, _mm_set1_epi8(1)), ')'); /* either */
    unsigned other = bits16(_mm_or_si128(_mm_or_si128(blank16(v), bracket), equal16(v, '"')));
    if (other)
      return at + __builtin_ctz(other);
  }
#endif
  while (at < end && kind_of[(uint8_t)*at] == PLAIN)
    at++;
  return at;
}

/* at is behind the opening quote; returns the closing quote, or NULL. */
static const char *string_end(const lu_sexp *s, const char *at, bool *escaped)
{
  while (at < s->end) {
#ifdef __SSE2__
    if (s->end - at >= 16) {
      __m128i v = load16(at);
      unsigned stop = bits16(equal16(v, '"'));
      if (!s->edif)
        stop |= bits16(equal16(v, '\\'));
      at += stop ? __builtin_ctz(stop) : 16;
      if (!stop)
        continue;
    }
#endif
    if (*at == '"')
      return at;
    if (*at == '\\' && !s->edif) {
      *escaped = true;
      at++;
    }
    at++;
  }
  return NULL;
}

/* ---- tokens ---- */

lu_status lu_sexp_next(lu_sexp *s, lu_netbuild *b, lu_token *token)
{
  const char *at = s->at;
  if (at < s->end && kind_of[(uint8_t)*at] == BLANK)
    at = blank_end(at, s->end);
  s->text = at;
  s->len = 0;
  if (at == s->end) {
    s->at = at;
    *token = LU_TOKEN_END;
    return LU_OK;
  }
  switch (kind_of[(uint8_t)*at]) {
  case OPENS:
    s->at = at + 1;
    *token = LU_TOKEN_OPEN;
    return ++s->depth > LU_SEXP_DEEPEST ? too_deep(b, at) : LU_OK;
  case CLOSES:
    s->at = at + 1;
    s->depth -= s->depth > 0;
    *token = LU_TOKEN_CLOSE;
    return LU_OK;
  case QUOTE: {
    s->escaped = false;
    const char *stop = string_end(s, at + 1, &s->escaped);
    if (!stop)
      return no_end(b, at);
    s->text = at + 1;
    s->len = (size_t)(stop - s->text);
    s->quoted = true;
    s->at = stop + 1;
    *token = LU_TOKEN_ATOM;
    return LU_OK;
  }
  default:
    at = plain_end(at, s->end);
    s->len = (size_t)(at - s->text);
    s->quoted = s->escaped = false;
    s->at = at;
    *token = LU_TOKEN_ATOM;
    return LU_OK;
  }
}

#ifdef __SSE2__
#  define INLINE __attribute__((always_inline)) static inline

/* Which of 64 bytes are quotes, brackets, backslashes; bit 0 is the first byte. */
typedef struct marks {
  uint64_t quotes, opens, closes, slashes;
} marks;

INLINE marks marks_of(const char *at)
{
  marks m = {0};
  for (unsigned i = 0; i < 64; i += 16) {
    __m128i v = load16(at + i);
    m.quotes |= (uint64_t)bits16(equal16(v, '"')) << i;
    m.opens |= (uint64_t)bits16(equal16(v, '(')) << i;
    m.closes |= (uint64_t)bits16(equal16(v, ')')) << i;
    m.slashes |= (uint64_t)bits16(equal16(v, '\\')) << i;
  }
  return m;
}

/* The same at the end of the text, where 64 bytes may not be read. */
static marks marks_of_rest(const char *at, size_t len)
{
  char rest[64] = {0};
  memcpy(rest, at, len);
  return marks_of(rest);
}

/* Each bit: whether the number of ones up to it, itself included, is odd. */
INLINE uint64_t odd_so_far(uint64_t x)
{
  for (unsigned k = 1; k < 64; k *= 2)
    x ^= x << k;
  return x;
}

/* Quotes behind a backslash are none. carry: the first byte stands behind a backslash. */
static void unescape(marks *m, uint64_t *carry)
{
  uint64_t left = m->slashes & ~*carry, escaped = *carry;
  *carry = 0;
  while (left) {
    uint64_t slash = left & -left;
    if (slash >> 63)
      *carry = 1;
    escaped |= slash << 1;
    left &= ~(slash | slash << 1);
  }
  m->quotes &= ~escaped;
}

/* The byte behind the bracket that closes the open list. NULL: there is none, it is too deep, or odd
 * in some way, for the careful way to see. */
INLINE const char *skip_body(const lu_sexp *s, unsigned most)
{
  uint64_t inside = 0, carry = 0; /* inside: all ones within a string */
  unsigned level = 1;
  for (const char *at = s->at; at < s->end; at += 64) {
    marks m = s->end - at >= 64 ? marks_of(at) : marks_of_rest(at, (size_t)(s->end - at));
    if ((m.slashes | carry) && !s->edif)
      unescape(&m, &carry);
    uint64_t quoted = odd_so_far(m.quotes) ^ inside;
    if (m.slashes & ~quoted && !s->edif)
      return NULL; /* outside of strings it is a letter like others */
    inside = -(quoted >> 63);
    uint64_t opens = m.opens & ~quoted, closes = m.closes & ~quoted;
    unsigned before = level, closing = (unsigned)__builtin_popcountll(closes);
    level += (unsigned)__builtin_popcountll(opens);
    if (level > most)
      return NULL;
    if (before > closing) { /* it cannot end here */
      level -= closing;
      continue;
    }
    for (; closes; closes &= closes - 1) {
      uint64_t close = closes & -closes;
      /* those that open behind it do not count yet */
      if (level - 1 == (unsigned)__builtin_popcountll(opens & ~(close - 1)))
        return at + __builtin_ctzll(close) + 1;
      level--;
    }
  }
  return NULL;
}

/* Counting bits is one instruction on nearly every processor, but not on all that have SSE2. */
#  if defined(__x86_64__)
__attribute__((target("avx2,popcnt,bmi"))) static const char *skip_fast(const lu_sexp *s,
                                                                        unsigned most)
{
  return skip_body(s, most);
}
#  endif

static const char *skip_blocks(const lu_sexp *s, unsigned most)
{
#  if defined(__x86_64__)
  if (__builtin_cpu_supports("avx2") && __builtin_cpu_supports("popcnt") &&
      __builtin_cpu_supports("bmi"))
    return skip_fast(s, most);
#  endif
  return skip_body(s, most);
}
#endif

static lu_status skip_bytes(lu_sexp *s, lu_netbuild *b, unsigned most)
{
  const char *at = s->at, *end = s->end;
  unsigned level = 1;
  bool escaped;
  for (; at < end; at++) {
    uint8_t kind = kind_of[(uint8_t)*at];
    if (kind <= BLANK)
      continue;
    if (kind == QUOTE) {
      const char *start = at;
      at = string_end(s, at + 1, &escaped);
      if (!at)
        return no_end(b, start);
    } else if (kind == OPENS) {
      if (++level > most)
        return too_deep(b, at);
    } else if (!--level) {
      s->at = at + 1;
      s->depth--;
      return LU_OK;
    }
  }
  return lu_netbuild_fail(b, LU_ERR_SYNTAX, end,
                          "expected %u closing brackets, found the end of the file",
                          level + s->depth - 1);
}

lu_status lu_sexp_skip(lu_sexp *s, lu_netbuild *b)
{
  unsigned most = LU_SEXP_DEEPEST - s->depth + 1;
  const char *stop = s->at;
  if (stop < s->end && *stop == ')') /* the usual case behind a value */
    stop++;
#ifdef __SSE2__
  else
    stop = skip_blocks(s, most);
#else
  else
    stop = NULL;
#endif
  if (!stop)
    return skip_bytes(s, b, most);
  s->at = stop;
  s->depth--;
  return LU_OK;
}

/* Keeps the beginning of the word at text, in lower case if asked for: letters are what counts. */
static void keep_word(lu_sexp *s, const char *text)
{
  size_t left = (size_t)(s->end - text);
  memcpy(s->word, text, left < LU_SEXP_WORD ? left : LU_SEXP_WORD);
  for (size_t i = 0; s->edif && i < LU_SEXP_WORD; i++)
    s->word[i] |= 0x20;
}

/* Behind an opening bracket: the list's keyword; false if it has none. */
static bool keyword(lu_sexp *s)
{
  const char *at = s->at;
  if (at < s->end && kind_of[(uint8_t)*at] == BLANK)
    at = blank_end(at, s->end);
  s->text = at;
  keep_word(s, at);
  at = plain_end(at, s->end);
  s->len = (size_t)(at - s->text);
  s->quoted = s->escaped = false;
  if (!s->len)
    return false;
  s->at = at;
  return true;
}

static lu_status no_more(const lu_sexp *s, lu_netbuild *b)
{
  if (!s->depth)
    return lu_sexp_fail(s, b, LU_TOKEN_END, "an opening bracket");
  return lu_netbuild_fail(b, LU_ERR_SYNTAX, s->end,
                          "expected %u closing brackets, found the end of the file", s->depth);
}

lu_status lu_sexp_item(lu_sexp *s, lu_netbuild *b, lu_token *token)
{
  for (;;) {
    const char *at = s->at;
    if (at < s->end && kind_of[(uint8_t)*at] == BLANK)
      at = blank_end(at, s->end);
    s->at = at;
    uint8_t kind = at < s->end ? kind_of[(uint8_t)*at] : PLAIN;
    if (kind != OPENS && kind != CLOSES) {
      lu_status st = lu_sexp_next(s, b, token);
      return !st && *token == LU_TOKEN_END ? no_more(s, b) : st;
    }
    s->text = at;
    s->len = 0;
    s->at = at + 1;
    *token = kind == OPENS ? LU_TOKEN_OPEN : LU_TOKEN_CLOSE;
    if (kind == CLOSES) {
      s->depth -= s->depth > 0;
      return LU_OK;
    }
    if (++s->depth > LU_SEXP_DEEPEST)
      return too_deep(b, at);
    if (keyword(s))
      return LU_OK;
    lu_status st = lu_sexp_skip(s, b);
    if (st)
      return st;
  }
}

lu_status lu_sexp_atom(lu_sexp *s, lu_netbuild *b, const char *what)
{
  lu_token token = LU_TOKEN_END;
  lu_status st = lu_sexp_next(s, b, &token);
  return st || token == LU_TOKEN_ATOM ? st : lu_sexp_fail(s, b, token, what);
}

/* The rest of a list is ' "text")' with a text of at most 15 bytes: the usual case, in one step. */
static bool usual_value(lu_sexp *s)
{
#ifdef __SSE2__
  const char *at = s->at;
  if (s->end - at < 19 || at[0] != ' ' || at[1] != '"')
    return false;
  __m128i v = load16(at + 2);
  unsigned quotes = bits16(equal16(v, '"'));
  if (!quotes || (!s->edif && bits16(equal16(v, '\\'))))
    return false;
  size_t len = (size_t)__builtin_ctz(quotes);
  if (at[2 + len + 1] != ')')
    return false;
  s->text = at + 2;
  s->len = len;
  s->quoted = true;
  s->escaped = false;
  s->at = at + 2 + len + 2;
  s->depth--;
  return true;
#else
  (void)s;
  return false;
#endif
}

lu_status lu_sexp_value(lu_sexp *s, lu_netbuild *b, const char *what)
{
  if (usual_value(s))
    return LU_OK;
  lu_status st = lu_sexp_atom(s, b, what);
  return st ? st : lu_sexp_skip(s, b);
}

lu_status lu_sexp_fail(const lu_sexp *s, lu_netbuild *b, lu_token token, const char *expected)
{
  if (token == LU_TOKEN_ATOM)
    return lu_netbuild_fail(b, LU_ERR_SYNTAX, s->text, "expected %s, found \"%.*s\"", expected,
                            s->len < 40 ? (int)s->len : 40, s->text);
  return lu_netbuild_fail(b, LU_ERR_SYNTAX, s->text, "expected %s, found %s", expected,
                          token == LU_TOKEN_OPEN    ? "an opening bracket"
                          : token == LU_TOKEN_CLOSE ? "a closing bracket"
                                                    : "the end of the file");
}
