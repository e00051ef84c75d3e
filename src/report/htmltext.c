/* SPDX-License-Identifier: MIT */
#include "report/html.h"

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

void lu_html_text(FILE *out, const char *text)
{
  lu_html_text_most(out, text, SIZE_MAX);
}

void lu_html_text_most(FILE *out, const char *text, size_t most)
{
  const unsigned char *s = (const unsigned char *)text;
  for (; s && *s && most; most--) {
    unsigned len = *s < 0x80 ? 1 : utf8_len(s);
    if (*s == '<')
      fputs("&lt;", out);
    else if (*s == '>')
      fputs("&gt;", out);
    else if (*s == '&')
      fputs("&amp;", out);
    else if (*s == '"')
      fputs("&quot;", out);
    else if (*s == '\'')
      fputs("&#39;", out);
    else if (!len || *s < 0x20 || *s == 0x7f)
      fputc('?', out);
    else
      fwrite(s, 1, len, out);
    s += len ? len : 1;
  }
}
