/* SPDX-License-Identifier: MIT */
#ifndef LU_CLI_WATCH_H
#define LU_CLI_WATCH_H
/* Private to the watch command: cmd_watch.c reads, watch_say.c and watch_json.c tell. */
#include "base/io.h"
#include "cli/cmd.h"
#include "data/sigmap.h"
#include "formats/capform.h"
#include "reason/activity.h"
#include "reason/cycles.h"
#include "reason/passages.h"
#include "reason/refresh.h"
#include "reason/shadow.h"
#include "report/waves.h"

typedef struct lu_watch_args {
  lu_texts operands;
  const char *signals, *around, *svg, *show, *expect;
  uint64_t glitch_ns, at;
  double rate_hz;
  bool json, cycles, csv, count, check, all;
} lu_watch_args;

static inline bool lu_watch_checks(const lu_watch_args *a)
{
  return a->check || a->expect;
}

typedef struct lu_watch {
  lu_run *run;
  const lu_watch_args *args;
  const char *path;
  lu_sigmap *map;          /* NULL: none given */
  const lu_cap *cap;
  lu_capreader reader;
  lu_cycles *bus;          /* NULL: no strobes are known */
  lu_activity *activity;   /* NULL: not asked for */
  lu_shadow *shadow;
  lu_file image_file;      /* --expect */
  lu_words image;
  lu_passages *passages;
  lu_refresh *refresh;
  lu_refresh_report refreshed;
  lu_wave *wave;
  FILE *table;             /* the cycles' table until the capture has been read to its end */
  uint64_t table_rows;
  const uint64_t *wanted;  /* bits that matter; NULL: all */
  bool started, only_cycles;
  int64_t first, last;     /* ticks */
  int64_t around;
  lu_activity_line *lines;
  size_t line_count;
  lu_activity_sign *signs; /* [line_count] */
  bool *hidden;            /* [line_count] not in the map that was given */
} lu_watch;

/* A row of the table of cycles; the heading before the first one. */
void lu_watch_heading(lu_watch *w);
lu_status lu_watch_row(lu_watch *w, const lu_cycle *c);

/* The name of a line: without scopes where that is clear. */
const char *lu_watch_line_name(const lu_watch *w, const lu_activity_line *l);
/* What a sign says, in a sentence; buffer out[room]. Empty for LU_SIGN_NONE. */
void lu_watch_sign_text(const lu_watch *w, size_t line, char *out, size_t room);
const char *lu_watch_sign_name(lu_activity_sign sign);

/* Whether anything was found that should not be. */
bool lu_watch_trouble(const lu_watch *w);
void lu_watch_say(lu_watch *w);
lu_status lu_watch_json(lu_watch *w, lu_err *err);

#endif
