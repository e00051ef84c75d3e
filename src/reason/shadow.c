/* SPDX-License-Identifier: MIT */
#include "reason/shadow.h"

#include <string.h>

typedef struct word {
  uint64_t address;
  uint64_t value, known;      /* written last */
  uint64_t got, got_known;    /* read last, and what was expected then */
  uint64_t expected;
  uint8_t used, checked;
} word;

struct lu_shadow {
  lu_arena *mem;
  const lu_words *image;
  word *words;                /* open addressing */
  size_t room, count;
  lu_evidence *evidence;
  size_t evidence_count, evidence_room;
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
    w->used = 1;
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

static lu_status differs(lu_shadow *s, const lu_cycle *c, const word *w, lu_err *err)
{
  s->counts.differed++;
  if (s->evidence_count == LU_EVIDENCE_MOST)
    return LU_OK;
  lu_evidence *more =
      lu_arena_grow(s->mem, s->evidence, s->evidence_count, &s->evidence_room, sizeof *more);
  if (!more)
    return lu_fail(err, LU_ERR_NOMEM, 0, 0, "no room for evidence");
  s->evidence = more;
  more[s->evidence_count++] = (lu_evidence){c->end, c->address, w->expected, w->got, w->got_known};
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
  w->checked = 1;
  w->got = c->data & known;
  w->got_known = known;
  w->expected = expected & known;
  return w->got == w->expected ? LU_OK : differs(s, c, w, err);
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

const lu_evidence *lu_shadow_evidence(const lu_shadow *s, size_t *count)
{
  *count = s->evidence_count;
  return s->evidence;
}

bool lu_shadow_span(const lu_shadow *s, uint64_t *first, uint64_t *last)
{
  bool any = false;
  for (size_t i = 0; i < s->room; i++) {
    const word *w = &s->words[i];
    if (!w->used || !w->checked)
      continue;
    if (!any || w->address < *first)
      *first = w->address;
    if (!any || w->address > *last)
      *last = w->address;
    any = true;
  }
  return any;
}

static void put(void *at, unsigned bytes, size_t i, uint64_t v)
{
  switch (bytes) {
  case 1:
    ((uint8_t *)at)[i] = (uint8_t)v;
    break;
  case 2:
    ((uint16_t *)at)[i] = (uint16_t)v;
    break;
  case 4:
    ((uint32_t *)at)[i] = (uint32_t)v;
    break;
  default:
    ((uint64_t *)at)[i] = v;
  }
}

lu_status lu_shadow_words(const lu_shadow *s, uint64_t base, size_t count, unsigned width,
                          lu_arena *mem, lu_words *got, lu_words *expected, lu_err *err)
{
  unsigned bytes = width <= 8 ? 1 : width <= 16 ? 2 : width <= 32 ? 4 : 8;
  void *g = lu_arena_array(mem, count ? count : 1, bytes);
  void *e = lu_arena_array(mem, count ? count : 1, bytes);
  uint64_t *held = LU_NEW(mem, uint64_t, count / 64 + 1);
  if (!g || !e || !held)
    return lu_fail(err, LU_ERR_NOMEM, 0, 0, "no room for %zu words", count);
  size_t n = 0;
  for (size_t i = 0; i < s->room; i++) {
    const word *w = &s->words[i];
    if (!w->used || !w->checked || w->address < base || w->address - base >= count)
      continue;
    size_t k = (size_t)(w->address - base);
    put(g, bytes, k, w->got);
    put(e, bytes, k, w->expected);
    held[k / 64] |= (uint64_t)1 << (k % 64);
    n++;
  }
  *got = (lu_words){base, count, width, bytes, g, held, n};
  *expected = (lu_words){base, count, width, bytes, e, held, n};
  return LU_OK;
}
