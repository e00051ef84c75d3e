/* SPDX-License-Identifier: MIT */
#ifndef LU_FORMATS_MOULD_H
#define LU_FORMATS_MOULD_H
/* Lists that a program wrote are written alike: (node (ref "U7") (pin "4")) differs from the next
 * one in its values only. A mould is such a list with holes for the values, made from one that the
 * reader has read the careful way. What fits it byte for byte needs no tokens: it would be read just
 * as the first one was, with other values. Whatever fits no mould is read the careful way. */
#include "formats/sexp.h"

enum { LU_MOULD_HOLES = 7, LU_MOULD_PIECE = 32, LU_MOULDS = 4 };

typedef struct lu_hole {
  const char *text; /* without quotes */
  size_t len;
} lu_hole;

typedef struct lu_mould {
  unsigned holes; /* 0: nothing made yet */
  unsigned head;  /* the list's keyword stands so far behind where the item begins */
  struct lu_mould_piece {
    char text[LU_MOULD_PIECE];
    uint32_t need; /* a bit for each byte that counts */
    uint8_t len;
    bool quoted;   /* the hole behind it is in quotes */
  } piece[LU_MOULD_HOLES + 1];
  int role[LU_MOULD_HOLES]; /* what the reader takes each hole for; its own numbers */
} lu_mould;

/* The moulds of one kind of list, the one that fitted last first to be tried. */
typedef struct lu_moulds {
  lu_mould mould[LU_MOULDS];
  unsigned last, made;
} lu_moulds;

/* The list that begins at s->at, blanks before it included: fits a mould: its values in hole[], s->at
 * behind it, and the mould is returned. Else NULL, and nothing is changed. */
const lu_mould *lu_moulds_fit(lu_moulds *m, lu_sexp *s, lu_hole hole[LU_MOULD_HOLES]);

/* Makes a mould of the list text..end that s has just read. values[] are the texts that the reader
 * took from it (or places in them), NULL where it took none, and become roles 0, 1, ...; all other
 * holes get role -1.
 * Nothing is made when the list cannot be one (too many values, too long between them). */
void lu_moulds_make(lu_moulds *m, const lu_sexp *s, const char *text, const char *const *values,
                    int count);

#endif
