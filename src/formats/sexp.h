/* SPDX-License-Identifier: MIT */
#ifndef LU_FORMATS_SEXP_H
#define LU_FORMATS_SEXP_H
/* Walking an s-expression text without building a tree: KiCad and EDIF netlists. What a reader
 * does not want it skips by counting brackets outside strings, so nothing here calls itself. */
#include "base/err.h"
#include "formats/netbuild.h"

#include <string.h>

enum {
  LU_SEXP_DEEPEST = 1000, /* brackets inside brackets */
  LU_SEXP_WORD = 16       /* bytes of a keyword that can be told apart */
};

typedef enum lu_token { LU_TOKEN_OPEN, LU_TOKEN_CLOSE, LU_TOKEN_ATOM, LU_TOKEN_END } lu_token;

typedef struct lu_sexp {
  const char *at, *end; /* the rest of the text */
  /* the token last taken */
  const char *text;     /* atom: its bytes, without quotes, escapes not undone */
  size_t len;
  bool quoted, escaped; /* escaped: has a backslash in it */
  bool edif;            /* strings have no backslash escapes */
  unsigned depth;       /* brackets open */
  char word[LU_SEXP_WORD]; /* the beginning of the keyword last taken; EDIF: in lower case */
} lu_sexp;

/* The next token. ERR_SYNTAX: a string without end; ERR_LIMIT: too deep. */
LU_MUST_USE lu_status lu_sexp_next(lu_sexp *s, lu_netbuild *b, lu_token *token);
/* Skips the rest of the list that is open, its closing bracket included. */
LU_MUST_USE lu_status lu_sexp_skip(lu_sexp *s, lu_netbuild *b);
/* Takes the next item of the open list and says what it is: OPEN (the list's keyword is then in
 * text, and a list without keyword is skipped and passed over), ATOM, or CLOSE. END is an error. */
LU_MUST_USE lu_status lu_sexp_item(lu_sexp *s, lu_netbuild *b, lu_token *token);
/* An atom is expected; what: its name in the message. */
LU_MUST_USE lu_status lu_sexp_atom(lu_sexp *s, lu_netbuild *b, const char *what);
/* Takes the atom behind a list's keyword and skips the rest of the list: (keyword atom ...). The atom
 * stays the token last taken. */
LU_MUST_USE lu_status lu_sexp_value(lu_sexp *s, lu_netbuild *b, const char *what);
/* The atom or keyword just taken, compared exactly or (EDIF) without case. */
static inline bool lu_sexp_is(const lu_sexp *s, const char *word, size_t len)
{
  if (s->len != len)
    return false;
  for (size_t i = 0; i < len; i++) {
    char c = s->text[i];
    if (s->edif && c >= 'A' && c <= 'Z')
      c = (char)(c | 0x20);
    if (c != word[i])
      return false;
  }
  return true;
}
#define LU_SEXP_IS(s, word) lu_sexp_is((s), "" word, sizeof(word) - 1)
/* The keyword just taken by lu_sexp_item, of at most LU_SEXP_WORD lower-case letters. */
#define LU_SEXP_KEY(s, name) \
  ((s)->len == sizeof(name) - 1 && !memcmp((s)->word, "" name, sizeof(name) - 1))
/* Message at the token last taken, with what stood there. */
lu_status lu_sexp_fail(const lu_sexp *s, lu_netbuild *b, lu_token token, const char *expected);

#endif
