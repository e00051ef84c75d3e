/* SPDX-License-Identifier: MIT */
/* Captures, whole and in pieces; what both read must be the same. */
#include "formats/capform.h"
#include "reason/activity.h"

#include <stdlib.h>
#include <string.h>

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

typedef struct seen {
  lu_arena mem;
  lu_activity *activity;
  const lu_cap *cap;
  uint64_t steps, hash;
} seen;

static lu_status begin(void *to, const lu_cap *cap, lu_err *err)
{
  seen *s = to;
  s->cap = cap;
  s->activity = lu_activity_open(cap, 3, &s->mem);
  return s->activity ? LU_OK : lu_fail(err, LU_ERR_NOMEM, 0, 0, "no room");
}

static lu_status step(void *to, const lu_cap_step *st, lu_err *err)
{
  seen *s = to;
  s->steps++;
  s->hash = s->hash * 31 + (uint64_t)st->time;
  for (size_t i = 0; i < s->cap->slot_count; i++)
    s->hash = s->hash * 31 + st->value[i] * 7 + st->unknown[i];
  return lu_activity_step(s->activity, st, err);
}

static lu_status end(void *to, int64_t time, lu_err *err)
{
  seen *s = to;
  lu_activity_line *lines;
  size_t count;
  return lu_activity_end(s->activity, time, &lines, &count, err);
}

static lu_status read(const uint8_t *data, size_t size, size_t piece, seen *s)
{
  lu_err err = {0};
  s->mem.max = (size_t)64 << 20;
  lu_capreader r = {.mem = &s->mem, .options = {1e6}, .sink = {begin, step, end, s, NULL}};
  lu_status status = LU_OK;
  for (size_t i = 0; i < size && status == LU_OK; i += piece)
    status = lu_capreader_feed(&r, (lu_bytes){data + i, size - i < piece ? size - i : piece}, &err);
  if (status == LU_OK)
    status = lu_capreader_end(&r, &err);
  if (status != err.status)
    abort();
  if (status != LU_OK && status != LU_ERR_NOMEM && !err.line)
    abort();
  lu_arena_free(&s->mem);
  return status;
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
  seen whole = {0}, pieces = {0};
  lu_status a = read(data, size, size ? size : 1, &whole);
  lu_status b = read(data, size, 5, &pieces);
  if (a == LU_ERR_NOMEM || b == LU_ERR_NOMEM)
    return 0;
  if (a != b || whole.steps != pieces.steps || whole.hash != pieces.hash)
    abort();
  return 0;
}
