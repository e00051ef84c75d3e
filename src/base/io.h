/* SPDX-License-Identifier: MIT */
#ifndef LU_BASE_IO_H
#define LU_BASE_IO_H
/* Files, whole. Reading maps; writing is all or nothing (written beside, then renamed). */
#include "base/arena.h"
#include "base/err.h"
#include "base/text.h"

typedef struct lu_file {
  lu_bytes bytes;    /* the content; valid until lu_file_close */
  void *mapped;      /* private */
  size_t mapped_len; /* private */
} lu_file;

/* Maps path ("-": standard input, read whole). At most max bytes (0: 4 GiB).
 * ERR_MISSING no such file (exit 2), ERR_LIMIT too large, ERR_IO the system refused. */
LU_MUST_USE lu_status lu_file_open(const char *path, size_t max, lu_file *out, lu_err *err);
void lu_file_close(lu_file *file);

/* How many bytes two files have in common from their starts, counted in whole pieces of 64 KiB: read and
 * compared piece by piece up to the first that differs, without mapping, which costs less than the pages
 * of two mappings. 0 where one cannot be read; the last piece may be shorter. */
size_t lu_files_agree(const char *a, const char *b);

/* Writes len bytes to path so that either the old or the new content is there ("-": standard
 * output). ERR_IO on any failure, nothing left behind. */
LU_MUST_USE lu_status lu_file_write(const char *path, const void *at, size_t len, lu_err *err);

/* The next part of what is to be written, valid until the next call; an empty one ends. */
typedef lu_bytes (*lu_next_part)(void *user);
/* The same for content that is made part by part. */
LU_MUST_USE lu_status lu_file_write_parts(const char *path, lu_next_part next, void *user, lu_err *err);

#endif
