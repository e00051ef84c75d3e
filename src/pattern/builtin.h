/* SPDX-License-Identifier: MIT */
#ifndef LU_PATTERN_BUILTIN_H
#define LU_PATTERN_BUILTIN_H
/* The files of patterns/, put into the program when it is built, so that it works anywhere. */
#include "base/text.h"

typedef struct lu_pattern_file {
  const char *name; /* file name without ".pattern" */
  lu_bytes text;
} lu_pattern_file;

/* Sorted by name; made by src/pattern/embed.cmake. */
extern const lu_pattern_file lu_pattern_files[];
extern const size_t lu_pattern_file_count;

#endif
