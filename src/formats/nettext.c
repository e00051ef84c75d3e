/* SPDX-License-Identifier: MIT */
/* A net list as people type it: "NET: U1.2 U3.4", further pins on lines that begin with a blank. */
#include "formats/forms.h"
#include "formats/netbuild.h"

#include <string.h>

static bool blank(char c)
{
  return c == ' ' || c == '\t';
}

static bool is_remark(const char *line, size_t len)
{
  while (len && blank(*line))
    line++, len--;
  return !len || (*line == '#' && (len == 1 || blank(line[1])));
}

/* The colon behind the net's name: the first with a blank or the line's end behind it. */
static const char *colon_of(const char *line, size_t len)
{
  for (size_t i = 0; i < len; i++)
    if (line[i] == ':' && (i + 1 == len || blank(line[i + 1])))
      return line + i;
  return NULL;
}

static lu_status open_net(lu_netbuild *b, const char *line, const char *colon, uint32_t *net)
{
  size_t len = (size_t)(colon - line);
  while (len && blank(line[len - 1]))
    len--;
  if (!len)
    return lu_netbuild_fail(b, LU_ERR_SYNTAX, line, "expected a net's name before the colon, "
                                                    "found none");
  uint32_t name;
  lu_status st = lu_netbuild_atom(b, line, len, line, &name);
  if (st)
    return st;
  *net = lu_netbuild_net(b, name);
  return *net == LU_NONE ? lu_netbuild_nomem(b) : LU_OK;
}

static lu_status read_lines(lu_netbuild *b, lu_bytes in)
{
  const char *at = (const char *)in.at, *end = at + in.len, *line;
  size_t len;
  uint32_t net = LU_NONE;
  lu_status st = LU_OK;
  if (in.len >= 3 && !memcmp(at, "\xef\xbb\xbf", 3))
    at += 3;
  while (!st && lu_text_line(&at, end, &line, &len)) {
    if (is_remark(line, len))
      continue;
    const char *pins = line;
    if (!blank(*line)) {
      const char *colon = colon_of(line, len);
      if (!colon)
        return lu_netbuild_fail(b, LU_ERR_SYNTAX, line, "expected NET: REF.PIN ..., found no colon");
      st = open_net(b, line, colon, &net);
      pins = colon + 1;
    } else if (net == LU_NONE) {
      return lu_netbuild_fail(b, LU_ERR_SYNTAX, line,
                              "expected a net's name before the first pins, found none");
    }
    if (!st)
      st = lu_netform_pins(b, net, pins, len - (size_t)(pins - line), NULL);
  }
  if (!st && net == LU_NONE)
    st = lu_netbuild_fail(b, LU_ERR_MISSING, end, "expected NET: REF.PIN lines, found none");
  return st;
}

static lu_status nettext_read(lu_bytes in, lu_arena *mem, lu_netlist **out, lu_err *err)
{
  lu_netbuild b;
  lu_status st = lu_netbuild_begin(&b, "nettext", in, mem, err);
  if (!st)
    st = read_lines(&b, in);
  if (!st)
    st = lu_netbuild_done(&b, LU_TWICE_NOTED, NULL, out);
  lu_netbuild_end(&b);
  return st;
}

/* A colon, and behind it nothing or something with a dot or hyphen in it. */
static int nettext_recognise(lu_bytes in)
{
  const char *at = (const char *)in.at, *end = at + (in.len < 65536 ? in.len : 65536), *line;
  size_t len, ref, pin;
  if (in.len >= 3 && !memcmp(at, "\xef\xbb\xbf", 3))
    at += 3;
  while (lu_text_line(&at, end, &line, &len)) {
    if (is_remark(line, len))
      continue;
    const char *colon = blank(*line) ? NULL : colon_of(line, len);
    if (!colon || memchr(line, 0, len) || *line == '(')
      return 0;
    const char *p = colon + 1, *stop = line + len;
    while (p < stop && blank(*p))
      p++;
    const char *word = p;
    while (p < stop && !blank(*p) && *p != ',')
      p++;
    if (p == word)
      return 20;
    return lu_netform_split_pin(word, (size_t)(p - word), &ref, &pin) ? 60 : 10;
  }
  return 0;
}

const lu_netform lu_netform_nettext = {
    .name = "nettext",
    .summary = "lines NET: REF.PIN REF.PIN ...",
    .recognise = nettext_recognise,
    .read = nettext_read,
};
