/* SPDX-License-Identifier: MIT */
#ifndef LU_FORMATS_HEXOUT_H
#define LU_FORMATS_HEXOUT_H
/* Text of dump forms on its way out, gathered before it goes to the sink. Private to the forms. */
#include "formats/dumpform.h"

typedef struct lu_hexout {
  lu_sink sink;
  bool ok;      /* false once the sink refused */
  unsigned sum; /* of all bytes put as digits since it was cleared */
  size_t len;
  char text[8192];
} lu_hexout;

/* Passes on what was gathered; false if the sink refused any. */
bool lu_hexout_flush(lu_hexout *o);
void lu_hexout_char(lu_hexout *o, char c);
void lu_hexout_text(lu_hexout *o, const char *text);
/* Two upper case digits, added to sum. */
void lu_hexout_byte(lu_hexout *o, unsigned byte);
/* The low bytes of value, the most significant first, added to sum. */
void lu_hexout_number(lu_hexout *o, uint64_t value, unsigned bytes);

#endif
