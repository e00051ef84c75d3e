/* SPDX-License-Identifier: MIT */
#ifndef LU_TESTS_CAPLOG_H
#define LU_TESTS_CAPLOG_H
/* Reads a capture in pieces of any size and writes down every step as text, so that two ways of
 * reading can be compared. */
#include "formats/capform.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

typedef struct caplog {
  lu_arena mem;
  lu_capreader reader;
  const lu_cap *cap;
  lu_err err;
  lu_status status;
  char *text; /* a line a step: time, then NAME=LEVELS of every signal with a level */
  size_t len;
  FILE *out;
  size_t steps;
  int64_t end;
} caplog;

static lu_status caplog_begin(void *to, const lu_cap *cap, lu_err *err)
{
  (void)err;
  ((caplog *)to)->cap = cap;
  return LU_OK;
}

static lu_status caplog_step(void *to, const lu_cap_step *s, lu_err *err)
{
  caplog *l = to;
  (void)err;
  l->steps++;
  fprintf(l->out, "%lld%s", (long long)s->time, s->blind ? " blind" : "");
  for (size_t i = 0; i < l->cap->signal_count; i++) {
    const lu_cap_signal *g = &l->cap->signals[i];
    if (g->home == LU_CAP_NO_HOME)
      continue;
    fprintf(l->out, " %s=", g->name);
    for (uint32_t b = g->width; b-- > 0;)
      fputc(lu_cap_level(s->value, s->unknown, g->home + b), l->out);
  }
  fputc('\n', l->out);
  return LU_OK;
}

static lu_status caplog_end(void *to, int64_t time, lu_err *err)
{
  (void)err;
  ((caplog *)to)->end = time;
  return LU_OK;
}

/* piece 0: the whole at once. Each piece lies in a block of its own, so that an over-read is seen. */
static void caplog_read(caplog *l, const char *text, size_t len, size_t piece, double rate_hz)
{
  *l = (caplog){0};
  l->out = open_memstream(&l->text, &l->len);
  l->reader = (lu_capreader){.mem = &l->mem,
                             .options = {.rate_hz = rate_hz},
                             .sink = {caplog_begin, caplog_step, caplog_end, l, NULL}};
  for (size_t i = 0; i < len && l->status == LU_OK;) {
    size_t n = piece && len - i > piece ? piece : len - i;
    uint8_t *block = malloc(n ? n : 1);
    memcpy(block, text + i, n);
    l->status = lu_capreader_feed(&l->reader, (lu_bytes){block, n}, &l->err);
    free(block);
    i += n;
  }
  if (l->status == LU_OK)
    l->status = lu_capreader_end(&l->reader, &l->err);
  fclose(l->out);
}

static void caplog_free(caplog *l)
{
  free(l->text);
  lu_arena_free(&l->mem);
}

#endif
