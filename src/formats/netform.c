/* SPDX-License-Identifier: MIT */
#include "formats/netform.h"
#include "formats/forms.h"

#include <string.h>

#define LU_NETFORM(id) extern const lu_netform lu_netform_##id;
#include "formats/netforms.def"
#undef LU_NETFORM

const lu_netform *const lu_netforms[] = {
#define LU_NETFORM(id) &lu_netform_##id,
#include "formats/netforms.def"
#undef LU_NETFORM
};
const size_t lu_netform_count = sizeof lu_netforms / sizeof *lu_netforms;

const lu_netform *lu_netform_guess(lu_bytes in)
{
  const lu_netform *best = NULL;
  int most = 0;
  for (size_t i = 0; i < lu_netform_count; i++) {
    int score = lu_netforms[i]->recognise(in);
    if (score > most) {
      most = score;
      best = lu_netforms[i];
    }
  }
  return best;
}

lu_status lu_netform_read(lu_bytes in, lu_arena *mem, lu_netlist **out, lu_err *err)
{
  const lu_netform *form = lu_netform_guess(in);
  if (form)
    return form->read(in, mem, out, err);
  return lu_fail_at(err, LU_ERR_SYNTAX, (const char *)in.at, in.len, 0,
                    "expected a netlist (KiCad, IPC-D-356A, EDIF, CSV or NET: REF.PIN lines), "
                    "found none of these%s",
                    in.len ? "" : "; the file is empty");
}

bool lu_netform_opens(lu_bytes in, const char *word)
{
  const char *at = (const char *)in.at, *end = at + in.len;
  if (in.len >= 3 && !memcmp(at, "\xef\xbb\xbf", 3))
    at += 3;
  while (at < end && strchr(" \t\r\n\f\v", *at) && *at)
    at++;
  if (at == end || *at++ != '(')
    return false;
  while (at < end && strchr(" \t\r\n", *at) && *at)
    at++;
  for (; *word; word++, at++)
    if (at == end || ((unsigned char)*at | 0x20) != (unsigned char)*word)
      return false;
  return at == end || strchr(" \t\r\n()\"", *at);
}

bool lu_netform_split_pin(const char *text, size_t len, size_t *ref_len, size_t *pin_at)
{
  const char *dot = NULL; /* the last one, as in board files */
  for (size_t i = len; i-- > 0 && !dot;)
    if (text[i] == '.')
      dot = text + i;
  for (size_t i = len; i-- > 0 && !dot;)
    if (text[i] == '-')
      dot = text + i;
  if (!dot || dot == text || dot + 1 == text + len)
    return false;
  *ref_len = (size_t)(dot - text);
  *pin_at = *ref_len + 1;
  return true;
}

lu_status lu_netform_pin(lu_netbuild *b, uint32_t net, const char *text, size_t len,
                         const char *place)
{
  size_t ref_len, pin_at;
  uint32_t part, pin;
  if (!lu_netform_split_pin(text, len, &ref_len, &pin_at))
    return lu_netbuild_fail(b, LU_ERR_SYNTAX, place, "expected REF.PIN, found \"%.*s\"",
                            len < 40 ? (int)len : 40, text);
  lu_status st = lu_netbuild_part_of(b, text, ref_len, place, &part);
  if (!st)
    st = lu_netbuild_atom(b, text + pin_at, len - pin_at, place, &pin);
  if (st)
    return st;
  return lu_netbuild_pin(b, part, net, pin, LU_NONE, place) ? LU_OK : lu_netbuild_nomem(b);
}

lu_status lu_netform_pins(lu_netbuild *b, uint32_t net, const char *text, size_t len,
                          const char *place)
{
  size_t i = 0;
  while (i < len) {
    if (strchr(" \t,;", text[i]) && text[i]) {
      i++;
      continue;
    }
    size_t start = i;
    while (i < len && (!text[i] || !strchr(" \t,;", text[i])))
      i++;
    lu_status st = lu_netform_pin(b, net, text + start, i - start,
                                  place ? place : text + start);
    if (st)
      return st;
  }
  return LU_OK;
}
