/* SPDX-License-Identifier: MIT */
#ifndef LU_BASE_STREAM_H
#define LU_BASE_STREAM_H
/* Input that may be larger than memory: read in pieces, each handed on before the next. */
#include "base/err.h"
#include "base/text.h"

/* Reads path ("-": standard input) to its end in pieces of at most 256 KiB; take gets each one
 * (borrowed, overwritten afterwards). A status of take other than LU_OK stops and is returned.
 * ERR_MISSING no such file, ERR_IO the system refused, ERR_NOMEM. Cost: 256 KiB. */
LU_MUST_USE lu_status lu_stream_read(const char *path,
                                     lu_status (*take)(void *to, lu_bytes piece, lu_err *err),
                                     void *to, lu_err *err);

#endif
