/* SPDX-License-Identifier: MIT */
#include "api/misread.h"

#include <string.h>

typedef uint64_t turn(uint64_t word, unsigned bytes);

static uint64_t exchanged(uint64_t word, unsigned bytes)
{
  return __builtin_bswap64(word) >> (64 - 8 * bytes);
}

static uint64_t inverted(uint64_t word, unsigned bytes)
{
  return ~word & (~UINT64_C(0) >> (64 - 8 * bytes));
}

static const struct {
  turn *turned;
  unsigned least_bytes;
  const char *text;
} mistakes[] = {
    {exchanged, 2, "the dump fits only with the bytes of each word exchanged, and was taken so: see the reader's byte order, or the "
                   "vantage's in the board file"},
    {inverted, 1, "the dump fits only with every bit inverted, and was taken so: see the reader, and whether the board file lacks "
                  "inverting buffers"},
};

/* So many times as many words have to agree before a dump is turned; and so many at least. */
enum { BETTER = 8, LEAST = 64, SAMPLE = 4096 };

/* How many words of a spread sample agree with what is known; a blank word says nothing. */
static size_t agreement(const lu_evidence *e, turn *turned)
{
  size_t same = 0, step = (e->got.count > SAMPLE ? e->got.count / SAMPLE : 1) | 1;
  for (size_t i = 0; i < e->got.count && i < e->known.count; i += step) {
    uint64_t known = lu_word(&e->known, i), got = lu_word(&e->got, i);
    if (!lu_word_held(&e->got, i) || !lu_word_held(&e->known, i) || !known || known == inverted(0, e->got.bytes))
      continue;
    same += known == (turned ? turned(got, e->got.bytes) : got);
  }
  return same;
}

static lu_status turn_words(lu_session *s, lu_words *w, turn *turned)
{
  char *at = lu_arena_big(s->mem, w->count * w->bytes);
  if (!at)
    return lu_fail(&s->err, LU_ERR_NOMEM, 0, 0, "no room for the dump");
  for (size_t i = 0; i < w->count; i++) {
    uint64_t word = turned(lu_word(w, i), w->bytes);
    memcpy(at + i * w->bytes, &word, w->bytes);
  }
  w->at = at;
  return LU_OK;
}

lu_status lu_misread_mend(lu_session *s, lu_reading *r, bool *turned)
{
  const lu_evidence *e = &r->evidence;
  *turned = false;
  if (e->know == LU_KNOW_NOTHING)
    return LU_OK;
  size_t plain = agreement(e, NULL);
  for (size_t k = 0; k < sizeof mistakes / sizeof *mistakes; k++) {
    if (e->got.bytes < mistakes[k].least_bytes || e->got.width != 8 * e->got.bytes)
      continue;
    size_t same = agreement(e, mistakes[k].turned);
    if (same < LEAST || same < BETTER * plain)
      continue;
    lu_session_note(s, mistakes[k].text);
    *turned = true;
    lu_status bad = LU_OK;
    for (size_t i = 0; !bad && i < r->pass_count; i++)
      bad = turn_words(s, &r->passes[i], mistakes[k].turned);
    return bad;
  }
  return LU_OK;
}
