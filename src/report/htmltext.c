/* SPDX-License-Identifier: MIT */
#include "report/html.h"

#include "base/text.h"

void lu_html_text(FILE *out, const char *text)
{
  lu_html_text_most(out, text, SIZE_MAX);
}

void lu_html_text_most(FILE *out, const char *text, size_t most)
{
  const unsigned char *s = (const unsigned char *)text;
  for (; s && *s && most; most--) {
    unsigned len = lu_text_shown((const char *)s);
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
    else if (!len)
      fputc('?', out);
    else
      fwrite(s, 1, len, out);
    s += len ? len : 1;
  }
}
