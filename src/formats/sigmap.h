/* SPDX-License-Identifier: MIT */
#ifndef LU_FORMATS_SIGMAP_H
#define LU_FORMATS_SIGMAP_H
/* Reads a signal map, YAML: docs/captures.md has every key. */
#include "base/arena.h"
#include "base/err.h"
#include "base/text.h"
#include "data/sigmap.h"

/* in       the whole text, borrowed
 * mem      owns everything reachable from *out
 * ERR_SYNTAX, ERR_VALUE, ERR_LIMIT with line and column; ERR_NOMEM */
LU_MUST_USE lu_status lu_sigmap_read(lu_bytes in, lu_arena *mem, lu_sigmap **out, lu_err *err);

/* "A1-A16", "A15-A0": how many names, 0 if text is no range (one name); name i into out. */
size_t lu_sig_range(const char *text, size_t most);
char *lu_sig_range_name(const char *text, size_t i, lu_arena *mem);

#endif
