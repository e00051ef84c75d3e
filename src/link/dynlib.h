/* SPDX-License-Identifier: MIT */
#ifndef LU_LINK_DYNLIB_H
#define LU_LINK_DYNLIB_H
/* Libraries that are loaded when a link needs them, so that no other command pays for them. */
#include "base/err.h"

#include <stddef.h>

typedef struct lu_symbol {
  const char *name;
  size_t offset; /* of the function pointer in the table */
} lu_symbol;

/* Loads file and fills the pointers of table. The library stays loaded until the program ends.
 * ERR_DEVICE when it is not installed (message names the file and the package) or too old. */
LU_MUST_USE lu_status lu_dynlib_load(const char *file, const char *package, const lu_symbol *symbols,
                                     size_t count, void *table, lu_err *err);

#endif
