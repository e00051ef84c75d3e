/* SPDX-License-Identifier: MIT */
/* One fuzz target a dump form: both code paths must say the same, and a dump must be well formed and
 * survive being written and read again. The includer sets FORM (a string) and READ. */
#include "formats/dumpform.h"
#include "formats/hexrun.h"

#include <stdlib.h>
#include <string.h>

enum { MEMORY_MOST = 16 << 20 };

typedef struct text {
  uint8_t *at;
  size_t len, room;
} text;

static bool put(void *to, const void *at, size_t len)
{
  text *t = to;
  if (t->len + len > t->room)
    return false;
  memcpy(t->at + t->len, at, len);
  t->len += len;
  return true;
}

static void demand(bool truth)
{
  if (!truth)
    __builtin_trap();
}

static void check_dump(const lu_dump *d)
{
  demand(d->span_count > 0);
  for (size_t i = 0; i < d->span_count; i++) {
    const lu_span *s = &d->spans[i];
    demand(s->len > 0 && s->base + s->len > s->base);
    demand(!i || s->base > s[-1].base + s[-1].len);
  }
}

static void check_same(const lu_dump *a, const lu_dump *b)
{
  demand(a->span_count == b->span_count);
  for (size_t i = 0; i < a->span_count; i++) {
    const lu_span *s = &a->spans[i], *t = &b->spans[i];
    demand(s->base == t->base && s->len == t->len && !memcmp(s->at, t->at, s->len));
  }
}

static void write_and_read(const lu_dump *d)
{
  text t = {.room = 4 << 20};
  t.at = malloc(t.room);
  demand(t.at != NULL);
  lu_arena mem = {.max = MEMORY_MOST};
  lu_dump *again = NULL;
  if (d->has_addresses && lu_dumpform_named(FORM)->write(d, (lu_sink){put, &t})) {
    lu_status s = READ((lu_bytes){t.at, t.len}, false, &mem, &again, NULL);
    demand(s == LU_OK || s == LU_ERR_NOMEM);
    if (s == LU_OK)
      check_same(d, again);
  }
  lu_arena_free(&mem);
  free(t.at);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);
int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
  lu_bytes in = {data, size};
  lu_arena mem[2] = {{.max = MEMORY_MOST}, {.max = MEMORY_MOST}};
  lu_dump *d[2] = {NULL, NULL};
  lu_err err[2] = {{0}, {0}};
  lu_status s[2];
  for (int plain = 0; plain < 2; plain++) {
    s[plain] = READ(in, plain, &mem[plain], &d[plain], &err[plain]);
    demand((s[plain] == LU_OK) == (d[plain] != NULL) && err[plain].status == s[plain]);
  }
  if (s[0] != LU_ERR_NOMEM && s[1] != LU_ERR_NOMEM) {
    demand(s[0] == s[1] && err[0].line == err[1].line && err[0].column == err[1].column);
    demand(!strcmp(err[0].message, err[1].message));
    if (s[0] == LU_OK) {
      check_dump(d[0]);
      check_same(d[0], d[1]);
      write_and_read(d[0]);
    }
  }
  (void)lu_dumpform_guess(in);
  lu_arena_free(&mem[0]);
  lu_arena_free(&mem[1]);
  return 0;
}
