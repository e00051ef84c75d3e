/* SPDX-License-Identifier: MIT */
#ifndef LU_FORMATS_HEXLAYOUT_H
#define LU_FORMATS_HEXLAYOUT_H
/* Lines of hex digits: their tokens, and what the first lines teach about the columns. Private to
 * the hex text form. */
#include "formats/hexrun.h"

/* Columns count from the end of the address (or the line's start). */
typedef struct lu_hex_layout {
  bool addressed;
  size_t text_column; /* where the text column begins; 0 = there is none */
  uint64_t gap_after; /* bit i: two blanks may stand behind byte i of a line */
} lu_hex_layout;

/* A token that may be a number: [0x|$] digits [h]. */
typedef struct lu_hex_token {
  const uint8_t *at;     /* its first character */
  const uint8_t *digits; /* its first digit */
  const uint8_t *after;
  size_t count; /* digits */
  bool marked;  /* has 0x, $ or h */
} lu_hex_token;

typedef enum lu_hex_part { LU_HEX_MORE, LU_HEX_ENDED, LU_HEX_BROKEN } lu_hex_part;

/* Looks at the first lines only. Cost: at most 64 KiB of in. */
lu_hex_layout lu_hex_learn(lu_bytes in);

/* What stands at q, blanks characters behind the n-th byte of a line that ends at e: data, or the
 * end of the data. from: the end of the address. BROKEN: blanks where data should stand. */
lu_hex_part lu_hex_follows(const lu_hex_layout *l, const uint8_t *from, const uint8_t *q,
                           const uint8_t *e, size_t blanks, size_t n);

static inline bool lu_hex_blank(int c)
{
  return c == ' ' || c == '\t';
}

/* Characters that begin a text column or a remark. */
static inline bool lu_hex_fence(int c)
{
  switch (c) {
  case '|':
  case ';':
  case '"':
  case '\'':
  case '#':
  case '*':
  case '<':
  case '>':
  case '[':
  case '/':
    return true;
  }
  return false;
}

static inline const uint8_t *lu_hex_skip(const uint8_t *p, const uint8_t *end)
{
  while (p < end && lu_hex_blank(*p))
    p++;
  return p;
}

static inline const uint8_t *lu_hex_line_end(const uint8_t *p, const uint8_t *end)
{
  while (p < end && *p != '\n' && *p != '\r')
    p++;
  return p;
}

static inline lu_hex_token lu_hex_token_at(const uint8_t *p, const uint8_t *end)
{
  lu_hex_token t = {.at = p, .digits = p};
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

static inline uint64_t lu_hex_token_value(const lu_hex_token *t)
{
  uint64_t v = 0;
  for (size_t i = 0; i < t->count; i++)
    v = v << 4 | lu_hex_table[t->digits[i]];
  return v;
}

/* Steps over an address's colon, which blanks may precede. */
static inline const uint8_t *lu_hex_skip_colon(const uint8_t *p, const uint8_t *end)
{
  const uint8_t *q = lu_hex_skip(p, end);
  return q < end && *q == ':' ? q + 1 : p;
}

#endif
