/* SPDX-License-Identifier: MIT */
#include "formats/hexlayout.h"

#include <string.h>

enum {
  SAMPLE_LINES = 64, /* looked at to learn the layout */
  SAMPLE_CHARS = 64 * 1024,
  GAPS = 64
};

/* ---- learning the layout ---- */

typedef struct sample {
  uint64_t value;        /* of the first token */
  size_t digits, second; /* digits of the first two tokens; 0 = none */
  bool colon, marked, second_marked;
  size_t count[2]; /* data bytes: [0] two blanks end them, [1] two blanks may stand among them */
  size_t data_end[2], text_column[2];
  uint64_t gap_after[2];
  bool fenced;
} sample;

/* Counts the data bytes from p (an address ends there) to where they seem to end. */
static void measure(const uint8_t *p, const uint8_t *end, bool gaps, sample *s)
{
  const uint8_t *from = p, *q = lu_hex_skip(p, end);
  size_t n = 0;
  while (q < end) {
    lu_hex_token t = lu_hex_token_at(q, end);
    size_t blanks = (size_t)(q - p);
    if (lu_hex_fence(*q) || (n && blanks > 2) || (n && blanks == 2 && (!gaps || !t.count))) {
      s->text_column[gaps] = (size_t)(q - from);
      s->fenced = lu_hex_fence(*q);
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
    q = lu_hex_skip(p, end);
  }
  s->count[gaps] = n;
  s->data_end[gaps] = (size_t)(p - from);
}

static size_t take_samples(lu_bytes in, sample *samples)
{
  size_t n = 0;
  const uint8_t *p = in.at, *end = in.at + (in.len < SAMPLE_CHARS ? in.len : SAMPLE_CHARS);
  while (p < end && n < SAMPLE_LINES) {
    const uint8_t *e = lu_hex_line_end(p, end), *q = lu_hex_skip(p, e);
    p = e + 1;
    if (q == e || lu_hex_fence(*q))
      continue;
    sample *s = &samples[n];
    *s = (sample){0};
    lu_hex_token t = lu_hex_token_at(q, e);
    if (!t.count)
      continue;
    const uint8_t *after = lu_hex_skip_colon(t.after, e);
    s->colon = after > t.after && after[-1] == ':';
    s->digits = t.count;
    s->marked = t.marked;
    s->value = lu_hex_token_value(&t);
    lu_hex_token second = lu_hex_token_at(lu_hex_skip(after, e), e);
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

lu_hex_layout lu_hex_learn(lu_bytes in)
{
  sample s[SAMPLE_LINES];
  lu_hex_layout l = {0};
  size_t n = take_samples(in, s);
  l.addressed = n && has_addresses(s, n);
  if (!l.addressed)
    return l;
  size_t plain = steps(s, n, 0), gapped = steps(s, n, 1);
  int gaps = gapped > plain;
  if (gapped == plain) {
    const sample *f = &s[0];
    gaps = f->count[0] == f->count[1] || f->fenced ||
           (f->count[1] == 2 * f->count[0] && f->count[1] >= 16);
  }
  const sample *best = &s[0];
  for (size_t i = 0; i + 1 < n; i++)
    if (s[i + 1].value - s[i].value == s[i].count[gaps] && s[i].count[gaps]) {
      best = &s[i];
      break;
    }
  /* A text that begins with blanks would put the column too far to the right: the leftmost counts.
   */
  for (size_t i = 0; i < n; i++) {
    size_t c = s[i].text_column[gaps];
    if (c > best->data_end[gaps] && (!l.text_column || c < l.text_column))
      l.text_column = c;
  }
  l.gap_after = best->gap_after[gaps];
  return l;
}

lu_hex_part lu_hex_follows(const lu_hex_layout *l, const uint8_t *from, const uint8_t *q,
                           const uint8_t *e, size_t blanks, size_t n)
{
  if (q == e || lu_hex_fence(*q))
    return LU_HEX_ENDED;
  if (!n || blanks < 2)
    return LU_HEX_MORE;
  if (l->text_column && (size_t)(q - from) >= l->text_column)
    return LU_HEX_ENDED;
  if (n <= GAPS && l->gap_after >> (n - 1) & 1)
    return LU_HEX_MORE;
  if (!l->text_column)
    return LU_HEX_MORE;
  return blanks == 2 ? LU_HEX_ENDED : LU_HEX_BROKEN;
}
