/* SPDX-License-Identifier: MIT */
#ifndef LU_FORMATS_DUMPFORM_H
#define LU_FORMATS_DUMPFORM_H
/* Forms that a memory dump comes in. One file a form, one row in dumpforms.def. */
#include "base/arena.h"
#include "base/err.h"
#include "base/text.h"
#include "data/dump.h"

/* Where written text goes; returns false when it cannot take more (the writer then stops). */
typedef struct lu_sink {
  bool (*put)(void *to, const void *at, size_t len);
  void *to;
} lu_sink;

typedef struct lu_dumpform {
  const char *name;     /* as given on the command line */
  const char *summary;  /* one line */
  const char *ending;   /* usual file name ending, without dot */
  /* 0 = surely not; 100 = surely. Looks at the first bytes only (at most 64 KiB). NULL: never guessed. */
  int (*recognise)(lu_bytes in);
  /* in: the whole input, borrowed and kept alive by the caller as long as the dump.
   * ERR_SYNTAX with line and column; ERR_LIMIT; ERR_NOMEM. Nothing is half-read. */
  lu_status (*read)(lu_bytes in, lu_arena *mem, lu_dump **out, lu_err *err);
  /* Writes the dump; false if the sink refused. */
  bool (*write)(const lu_dump *dump, lu_sink sink);
} lu_dumpform;

extern const lu_dumpform lu_dumpform_raw; /* what is read when nothing else recognises the content */
extern const lu_dumpform *const lu_dumpforms[];
extern const size_t lu_dumpform_count;

const lu_dumpform *lu_dumpform_named(const char *name);
/* The form that recognises the content best; raw binary when none does. Never NULL. */
const lu_dumpform *lu_dumpform_guess(lu_bytes in);

#endif
