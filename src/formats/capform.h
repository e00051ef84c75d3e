/* SPDX-License-Identifier: MIT */
#ifndef LU_FORMATS_CAPFORM_H
#define LU_FORMATS_CAPFORM_H
/* Forms that a logic capture comes in. One file a form, one row in capforms.def.
 *
 * Readers are fed pieces of any size and keep no more than their state, so a capture of any length
 * goes through a pipe in constant memory. */
#include "base/arena.h"
#include "base/err.h"
#include "base/text.h"
#include "data/capture.h"

typedef struct lu_cap_options {
  double rate_hz;       /* samples a second for forms that count samples; 0 = not known */
} lu_cap_options;

enum { LU_CAP_NOTES_MOST = 8 };

/* What a reader remarks without refusing; texts live in the arena. */
typedef struct lu_cap_notes {
  size_t count;
  struct {
    uint32_t line, column;
    const char *text;
  } at[LU_CAP_NOTES_MOST];
} lu_cap_notes;

typedef struct lu_capform {
  const char *name;     /* as given on the command line */
  const char *summary;  /* one line */
  const char *ending;   /* usual file name ending, without dot */
  /* 0 = surely not; 100 = surely. Looks at the first bytes only. */
  int (*recognise)(lu_bytes in);
  /* A reader's state, in mem; NULL if refused. sink and notes are borrowed. */
  void *(*open)(lu_arena *mem, const lu_cap_options *options, lu_cap_sink sink,
                lu_cap_notes *notes);
  /* The next bytes. ERR_SYNTAX, ERR_VALUE, ERR_LIMIT with line and column; or what the sink said. */
  lu_status (*feed)(void *reader, lu_bytes piece, lu_err *err);
  /* The input has ended. A capture cut off in its body ends with a note, one cut in its head is
   * an error. */
  lu_status (*end)(void *reader, lu_err *err);
} lu_capform;

extern const lu_capform *const lu_capforms[];
extern const size_t lu_capform_count;

const lu_capform *lu_capform_named(const char *name);
/* The form that recognises the first bytes (64 KiB are plenty) best, or NULL. */
const lu_capform *lu_capform_guess(lu_bytes in);

/* Any form: guesses from the first bytes unless form is given. The caller sets form (or NULL), mem,
 * options and sink, the rest zero. */
typedef struct lu_capreader {
  const lu_capform *form; /* NULL until the first line */
  void *state;
  lu_arena *mem;
  lu_cap_options options;
  lu_cap_sink sink;
  lu_cap_notes notes;
  size_t head_len;
  uint8_t head[512];      /* the first bytes, until a form can be told */
} lu_capreader;

LU_MUST_USE lu_status lu_capreader_feed(lu_capreader *r, lu_bytes piece, lu_err *err);
LU_MUST_USE lu_status lu_capreader_end(lu_capreader *r, lu_err *err);

#endif
