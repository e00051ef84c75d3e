/* SPDX-License-Identifier: MIT */
#ifndef LU_REPORT_WAVES_H
#define LU_REPORT_WAVES_H
/* A window of a capture as a picture: text for a terminal, SVG for a page.
 *
 * The keeper is fed the capture's steps and holds those around one moment: a few before it, a few
 * from it on. Memory: steps * rows * 16 bytes. */
#include "base/arena.h"
#include "data/capture.h"

#include <stdio.h>

typedef struct lu_wave_row {
  const char *name;
  unsigned bits;               /* 1: drawn as a line; more, up to 64: as a value */
  const uint32_t *homes;       /* [bits] least significant first */
} lu_wave_row;

typedef struct lu_wave lu_wave;

enum { LU_WAVE_ROWS_MOST = 256, LU_WAVE_STEPS_MOST = 512, LU_WAVE_NAME_MOST = 19 };

/* rows[row_count] is borrowed. before + after steps at most LU_WAVE_STEPS_MOST. NULL if refused. */
lu_wave *lu_wave_open(const lu_wave_row *rows, size_t row_count, int64_t around, unsigned before,
                      unsigned after, lu_arena *mem);
void lu_wave_step(lu_wave *w, const lu_cap_step *step);
/* How many steps are held. */
size_t lu_wave_steps(const lu_wave *w);

typedef struct lu_wave_style {
  unsigned columns;            /* width of the terminal */
  bool utf8;
  double tick_s;               /* 0: ticks are samples */
  bool has_mark;
  int64_t mark;                /* the deciding moment, marked */
  /* SVG alone: */
  const char *title;           /* what is seen, for those who do not see it; may be NULL */
  const char *description;     /* the same at length; NULL: none */
  const char *id;              /* what its ids begin with, where a page has several; NULL: "wave" */
  const char *mark_label;      /* stands above the mark; NULL: nothing does */
  bool has_span;
  int64_t span;                /* from there to the mark it is shaded: the deciding cycle */
  bool has_window;
  int64_t from, to;            /* what is drawn of the steps held; else all of them */
} lu_wave_style;

/* Each column is a moment at which something changed; not to scale. */
void lu_wave_text(const lu_wave *w, const lu_wave_style *style, FILE *out);
/* To scale in time, with title and description; no script, no colours but black, grey and one red. Its style holds in
 * class "wave" alone, so that it can stand in a page. Names are cut after LU_WAVE_NAME_MOST characters. */
void lu_wave_svg(const lu_wave *w, const lu_wave_style *style, FILE *out);

/* A time with a unit that keeps it short: "12.5 us"; "sample 17" without a tick length. */
void lu_time_text(int64_t ticks, double tick_s, char *out, size_t room);

#endif
