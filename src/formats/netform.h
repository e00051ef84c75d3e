/* SPDX-License-Identifier: MIT */
#ifndef LU_FORMATS_NETFORM_H
#define LU_FORMATS_NETFORM_H
/* Forms that a netlist or a layout comes in. One file a form, one row in netforms.def. */
#include "base/arena.h"
#include "base/err.h"
#include "base/text.h"
#include "data/netlist.h"

typedef struct lu_netform {
  const char *name;
  const char *summary;
  int (*recognise)(lu_bytes in); /* 0..100 as for dumps */
  lu_status (*read)(lu_bytes in, lu_arena *mem, lu_netlist **out, lu_err *err);
} lu_netform;

extern const lu_netform *const lu_netforms[];
extern const size_t lu_netform_count;

/* NULL when no form recognises the content. */
const lu_netform *lu_netform_guess(lu_bytes in);

/* Guesses and reads. ERR_SYNTAX, ERR_VALUE, ERR_LIMIT or ERR_MISSING with line and column;
 * ERR_NOMEM. The netlist holds nothing of in. */
LU_MUST_USE lu_status lu_netform_read(lu_bytes in, lu_arena *mem, lu_netlist **out, lu_err *err);

#endif
