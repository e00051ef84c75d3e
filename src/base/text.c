/* SPDX-License-Identifier: MIT */
#include "base/text.h"

#include <ctype.h>
#include <string.h>

int lu_hex_digit(int c)
{
  if (c >= '0' && c <= '9')
    return c - '0';
  c |= 0x20;
  return c >= 'a' && c <= 'f' ? c - 'a' + 10 : -1;
}

bool lu_text_u64(const char *text, size_t len, unsigned base, uint64_t max, uint64_t *value)
{
  size_t i = 0;
  if (base == 0) {
    base = 10;
    if (len > 2 && text[0] == '0' && (text[1] | 0x20) == 'x')
      base = 16, i = 2;
    else if (len > 2 && text[0] == '0' && (text[1] | 0x20) == 'b')
      base = 2, i = 2;
  }
  if (i == len)
    return false;
  uint64_t v = 0;
  for (; i < len; i++) {
    int d = lu_hex_digit((unsigned char)text[i]);
    if (d < 0 || (unsigned)d >= base)
      return false;
    if (v > (max - (uint64_t)d) / base || (uint64_t)d > max)
      return false;
    v = v * base + (uint64_t)d;
  }
  *value = v;
  return true;
}

bool lu_text_size(const char *text, size_t len, uint64_t max, uint64_t *value)
{
  uint64_t scale = 1, v;
  bool hex = len > 2 && text[0] == '0' && (text[1] | 0x20) == 'x';
  if (len > 1 && !hex) {
    int c = text[len - 1] | 0x20;
    scale = c == 'k' ? 1024u : c == 'm' ? 1024u * 1024u : c == 'g' ? 1024u * 1024u * 1024u : 1;
    if (scale > 1)
      len--;
  }
  if (!lu_text_u64(text, len, 0, max / scale, &v))
    return false;
  *value = v * scale;
  return true;
}

bool lu_text_same(const char *a, const char *b)
{
  while (*a && tolower((unsigned char)*a) == tolower((unsigned char)*b))
    a++, b++;
  return tolower((unsigned char)*a) == tolower((unsigned char)*b);
}

unsigned lu_text_distance(const char *a, const char *b, unsigned limit)
{
  enum { MOST = 64 };
  size_t la = strlen(a), lb = strlen(b);
  if (la > MOST || lb > MOST)
    return lu_text_same(a, b) ? 0 : limit + 1;
  unsigned row[MOST + 1];
  for (size_t j = 0; j <= lb; j++)
    row[j] = (unsigned)j;
  for (size_t i = 1; i <= la; i++) {
    unsigned diag = row[0];
    row[0] = (unsigned)i;
    for (size_t j = 1; j <= lb; j++) {
      bool same = tolower((unsigned char)a[i - 1]) == tolower((unsigned char)b[j - 1]);
      unsigned best = diag + (same ? 0 : 1);
      diag = row[j];
      if (row[j] + 1 < best)
        best = row[j] + 1;
      if (row[j - 1] + 1 < best)
        best = row[j - 1] + 1;
      row[j] = best;
    }
  }
  return row[lb] > limit ? limit + 1 : row[lb];
}

const char *lu_text_nearest(const char *wanted, const char *const *names, size_t count)
{
  const char *best = NULL;
  unsigned limit = (unsigned)strlen(wanted) / 2 + 1;
  for (size_t i = 0; i < count; i++) {
    unsigned d = lu_text_distance(wanted, names[i], limit);
    if (d <= limit && (d < limit || !best)) {
      best = names[i];
      if (d == 0)
        break;
      limit = d;
    }
  }
  return best;
}

static size_t digits(const char *p)
{
  size_t n = 0;
  while (isdigit((unsigned char)p[n]))
    n++;
  return n;
}

int lu_text_order(const char *a, const char *b)
{
  while (*a && *b) {
    size_t na = digits(a), nb = digits(b);
    if (na && nb) {
      while (na > 1 && *a == '0')
        a++, na--;
      while (nb > 1 && *b == '0')
        b++, nb--;
      if (na != nb)
        return na < nb ? -1 : 1;
      int c = memcmp(a, b, na);
      if (c)
        return c;
      a += na;
      b += nb;
      continue;
    }
    if (*a != *b)
      return (unsigned char)*a < (unsigned char)*b ? -1 : 1;
    a++, b++;
  }
  return *a ? 1 : *b ? -1 : 0;
}

bool lu_text_line(const char **at, const char *end, const char **line, size_t *line_len)
{
  if (*at >= end)
    return false;
  const char *start = *at;
  const char *nl = memchr(start, '\n', (size_t)(end - start));
  const char *stop = nl ? nl : end;
  *at = nl ? nl + 1 : end;
  if (stop > start && stop[-1] == '\r')
    stop--;
  *line = start;
  *line_len = (size_t)(stop - start);
  return true;
}

/* Bytes of a well-formed UTF-8 character at s (Unicode 15, table 3-7), or 0. C1 controls and the characters that
 * turn the direction of writing count as not well-formed: names from files must not rearrange a page. */
static unsigned utf8_len(const unsigned char *s)
{
  uint32_t c;
  unsigned len = s[0] < 0xc2 ? 0 : s[0] < 0xe0 ? 2 : s[0] < 0xf0 ? 3 : s[0] < 0xf5 ? 4 : 0;
  if (!len)
    return 0;
  c = s[0] & (0x7fu >> len);
  for (unsigned k = 1; k < len; k++) {
    if ((s[k] & 0xc0) != 0x80)
      return 0;
    c = c << 6 | (s[k] & 0x3f);
  }
  bool fits = len == 2 ? c >= 0xa0 : len == 3 ? c >= 0x800 && (c < 0xd800 || c > 0xdfff) && c < 0xfffe : c >= 0x10000 && c <= 0x10ffff;
  bool turns = (c >= 0x202a && c <= 0x202e) || (c >= 0x2066 && c <= 0x2069) || c == 0x200e || c == 0x200f || c == 0x2028 || c == 0x2029;
  return fits && !turns ? len : 0;
}

unsigned lu_text_shown(const char *text)
{
  const unsigned char *s = (const unsigned char *)text;
  return *s >= 0x80 ? utf8_len(s) : *s >= 0x20 && *s != 0x7f;
}

void lu_text_tidy(char *text)
{
  while (*text) {
    unsigned len = lu_text_shown(text);
    if (!len)
      *text = '?';
    text += len ? len : 1;
  }
}

void lu_text_put(FILE *out, const char *text)
{
  while (text && *text) {
    unsigned len = lu_text_shown(text);
    fwrite(len ? text : "?", 1, len ? len : 1, out);
    text += len ? len : 1;
  }
}
