/* SPDX-License-Identifier: MIT */
#include "reason/shadow.h"

#include <string.h>

typedef struct word {
  uint64_t address;
  uint64_t value, known;      /* written last */
  bool used;
} word;

struct lu_shadow {
  lu_arena *mem;
  const lu_words *image;
  word *words;                /* open addressing */
  size_t room, count;
  lu_shadow_miss *misses;
  size_t miss_count, miss_room;
  lu_shadow_counts counts;
};

lu_shadow *lu_shadow_open(const lu_words *image, lu_arena *mem)
{
  lu_shadow *s = LU_NEW(mem, lu_shadow, 1);
  if (!s)
    return NULL;
  s->mem = mem;
  s->image = image;
  s->room = 1024;
  s->words = LU_NEW(mem, word, s->room);
  return s->words ? s : NULL;
}

static word *place(word *at, size_t room, uint64_t address)
{
  size_t i = (size_t)(address * 0x9e3779b97f4a7c15u >> 20) & (room - 1);
  while (at[i].used && at[i].address != address)
    i = (i + 1) & (room - 1);
  return &at[i];
}

static lu_status grow(lu_shadow *s, lu_err *err)
{
  word *more = LU_NEW(s->mem, word, s->room * 2);
  if (!more)
    return lu_fail(err, LU_ERR_NOMEM, 0, 0, "no room for %zu words of memory", s->room);
  for (size_t i = 0; i < s->room; i++)
    if (s->words[i].used)
      *place(more, s->room * 2, s->words[i].address) = s->words[i];
  s->words = more;
  s->room *= 2;
  return LU_OK;
}

/* The word's record; NULL in *out when the limit is reached. */
static lu_status record(lu_shadow *s, uint64_t address, word **out, lu_err *err)
{
  *out = NULL;
  word *w = place(s->words, s->room, address);
  if (!w->used) {
    if (s->count == LU_SHADOW_WORDS_MOST) {
      s->counts.lost++;
      return LU_OK;
    }
    if (s->count * 2 >= s->room) {
      lu_status status = grow(s, err);
      if (status != LU_OK)
        return status;
      w = place(s->words, s->room, address);
    }
    w->used = true;
    w->address = address;
    s->count++;
  }
  *out = w;
  return LU_OK;
}

/* What should be there: what was written, else what the image says. */
static uint64_t expectation(const lu_shadow *s, const word *w, uint64_t *known)
{
  const lu_words *m = s->image;
  uint64_t value = w->value & w->known;
  *known = w->known;
  if (!m || w->address < m->base || w->address - m->base >= m->count ||
      !lu_word_held(m, (size_t)(w->address - m->base)))
    return value;
  uint64_t all = m->width < 64 ? ((uint64_t)1 << m->width) - 1 : UINT64_MAX;
  value |= lu_word(m, (size_t)(w->address - m->base)) & all & ~w->known;
  *known |= all;
  return value;
}

static lu_status differs(lu_shadow *s, lu_shadow_miss miss, lu_err *err)
{
  s->counts.differed++;
  if (s->miss_count == LU_SHADOW_MISSES_MOST)
    return LU_OK;
  lu_shadow_miss *more =
      lu_arena_grow(s->mem, s->misses, s->miss_count, &s->miss_room, sizeof *more);
  if (!more)
    return lu_fail(err, LU_ERR_NOMEM, 0, 0, "no room for what differs");
  s->misses = more;
  more[s->miss_count++] = miss;
  return LU_OK;
}

static lu_status read_word(lu_shadow *s, const lu_cycle *c, lu_err *err)
{
  word *w;
  lu_status status = record(s, c->address, &w, err);
  s->counts.reads++;
  if (status != LU_OK || !w)
    return status;
  uint64_t known, expected = expectation(s, w, &known);
  known &= ~c->data_unknown;
  if (!known)
    return LU_OK;
  s->counts.checked++;
  lu_shadow_miss miss = {c->end, c->address, expected & known, c->data & known, known};
  return miss.got == miss.expected ? LU_OK : differs(s, miss, err);
}

static lu_status write_word(lu_shadow *s, const lu_cycle *c, lu_err *err)
{
  word *w;
  lu_status status = record(s, c->address, &w, err);
  s->counts.writes++;
  if (status != LU_OK || !w)
    return status;
  /* In an active lane an unknown bit makes what is there unknown; other lanes keep theirs. */
  uint64_t certain = c->lanes & ~c->written_unknown;
  w->value = (w->value & ~c->lanes) | (c->written & certain);
  w->known = (w->known & ~c->lanes) | certain;
  return LU_OK;
}

static void forget(lu_shadow *s)
{
  s->counts.blind_writes++;
  for (size_t i = 0; i < s->room; i++)
    s->words[i].known = 0;
}

lu_status lu_shadow_cycle(lu_shadow *s, const lu_cycle *c, lu_err *err)
{
  bool reads = c->kind == LU_CYCLE_READ || c->kind == LU_CYCLE_READ_WRITE;
  bool writes = c->kind == LU_CYCLE_WRITE || c->kind == LU_CYCLE_LATE_WRITE ||
                c->kind == LU_CYCLE_READ_WRITE;
  lu_status status = LU_OK;
  if (c->address_unknown) {
    if (writes)
      forget(s);
    return LU_OK;
  }
  if (reads)
    status = read_word(s, c, err);
  if (status == LU_OK && writes)
    status = write_word(s, c, err);
  return status;
}

const lu_shadow_counts *lu_shadow_counted(const lu_shadow *s)
{
  return &s->counts;
}

const lu_shadow_miss *lu_shadow_misses(const lu_shadow *s, size_t *count)
{
  *count = s->miss_count;
  return s->misses;
}
