/* SPDX-License-Identifier: MIT */
#include "formats/sexp.h"

#include <string.h>

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

/* at is behind the opening quote; returns the closing quote, or NULL. */
static const char *string_end(const lu_sexp *s, const char *at, bool *escaped)
{
  for (; at < s->end; at++) {
    if (*at == '"')
      return at;
    if (*at == '\\' && !s->edif) {
      *escaped = true;
      at++;
    }
  }
  return NULL;
}

lu_status lu_sexp_next(lu_sexp *s, lu_netbuild *b, lu_token *token)
{
  const char *at = s->at;
  while (at < s->end && kind_of[(uint8_t)*at] == BLANK)
    at++;
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
    while (at < s->end && kind_of[(uint8_t)*at] == PLAIN)
      at++;
    s->len = (size_t)(at - s->text);
    s->quoted = s->escaped = false;
    s->at = at;
    *token = LU_TOKEN_ATOM;
    return LU_OK;
  }
}

lu_status lu_sexp_skip(lu_sexp *s, lu_netbuild *b)
{
  const char *at = s->at, *end = s->end;
  if (at < end && *at == ')') { /* the usual case behind a value */
    s->at = at + 1;
    s->depth--;
    return LU_OK;
  }
  unsigned level = 1, most = LU_SEXP_DEEPEST - s->depth + 1;
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

/* Behind an opening bracket: the list's keyword; false if it has none. */
static bool keyword(lu_sexp *s)
{
  const char *at = s->at;
  while (at < s->end && kind_of[(uint8_t)*at] == BLANK)
    at++;
  s->text = at;
  while (at < s->end && kind_of[(uint8_t)*at] == PLAIN)
    at++;
  s->len = (size_t)(at - s->text);
  s->quoted = s->escaped = false;
  if (!s->len)
    return false;
  s->at = at;
  return true;
}

lu_status lu_sexp_item(lu_sexp *s, lu_netbuild *b, lu_token *token)
{
  for (;;) {
    lu_status st = lu_sexp_next(s, b, token);
    if (st)
      return st;
    if (*token == LU_TOKEN_END && !s->depth)
      return lu_sexp_fail(s, b, *token, "an opening bracket");
    if (*token == LU_TOKEN_END)
      return lu_netbuild_fail(b, LU_ERR_SYNTAX, s->end,
                              "expected %u closing brackets, found the end of the file", s->depth);
    if (*token != LU_TOKEN_OPEN || keyword(s))
      return LU_OK;
    st = lu_sexp_skip(s, b);
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
