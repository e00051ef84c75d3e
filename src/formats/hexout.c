/* SPDX-License-Identifier: MIT */
#include "formats/hexout.h"

bool lu_hexout_flush(lu_hexout *o)
{
  if (o->ok && o->len)
    o->ok = o->sink.put(o->sink.to, o->text, o->len);
  o->len = 0;
  return o->ok;
}

void lu_hexout_char(lu_hexout *o, char c)
{
  if (o->len == sizeof o->text)
    lu_hexout_flush(o);
  o->text[o->len++] = c;
}

void lu_hexout_text(lu_hexout *o, const char *text)
{
  while (*text)
    lu_hexout_char(o, *text++);
}

void lu_hexout_byte(lu_hexout *o, unsigned byte)
{
  static const char digits[] = "0123456789ABCDEF";
  lu_hexout_char(o, digits[byte >> 4 & 15]);
  lu_hexout_char(o, digits[byte & 15]);
  o->sum += byte & 0xFF;
}

void lu_hexout_number(lu_hexout *o, uint64_t value, unsigned bytes)
{
  while (bytes--)
    lu_hexout_byte(o, (unsigned)(value >> 8 * bytes) & 0xFF);
}
