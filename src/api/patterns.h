/* SPDX-License-Identifier: MIT */
#ifndef LU_API_PATTERNS_H
#define LU_API_PATTERNS_H
/* Where patterns are found: the folders of $LINEUP_PATTERNS (colons between), the user's own (lineup/patterns in
 * $XDG_DATA_HOME, by default ~/.local/share), the installed folder, then the ones built into the program. The first
 * with a name wins. */
#include "base/arena.h"
#include "base/err.h"
#include "pattern/pattern.h"

typedef struct lu_pattern_place {
  const char *name; /* of the pattern's file, without ".pattern" */
  const char *path; /* NULL: built in */
} lu_pattern_place;

/* All names, sorted, each once; at most 4096. Lives in mem. */
LU_MUST_USE lu_status lu_patterns_list(lu_arena *mem, lu_pattern_place **out, size_t *count,
                                       lu_err *err);
/* Reads one. */
LU_MUST_USE lu_status lu_patterns_read(const lu_pattern_place *place, lu_arena *mem,
                                       lu_pattern **out, lu_err *err);
/* name: a pattern's name, or a path (with a slash, or ending in ".pattern").
 * ERR_MISSING with the nearest name. */
LU_MUST_USE lu_status lu_patterns_open(const char *name, lu_arena *mem, lu_pattern **out,
                                       lu_err *err);

/* The same, by a pattern's name or, whatever the case of its letters, its title ("March C-"). */
LU_MUST_USE lu_status lu_patterns_called(const char *what, lu_arena *mem, lu_pattern **out, lu_err *err);

#endif
