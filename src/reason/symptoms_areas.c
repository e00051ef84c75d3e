/* SPDX-License-Identifier: MIT */
/* Blank areas, and differences that nothing above covers. */
#include "reason/symptoms_inner.h"

#include <string.h>

enum { PIECE = 64, MOST_AREAS = 8 };

typedef struct area {
  size_t from, count;
  uint64_t value;
} area;

/* All words from i equal word i: the stretch equals itself moved by one word. */
static bool is_flat(const lu_array *a, size_t i, size_t count)
{
  const unsigned char *at = (const unsigned char *)a->at + i * a->bytes;
  return count < 2 || !memcmp(at, at + a->bytes, (count - 1) * a->bytes);
}

static bool all_held(const lu_array *a, size_t i, size_t count)
{
  for (size_t k = i; a->held && k < i + count; k++)
    if (!lu_array_held(a, k))
      return false;
  return true;
}

/* Keeps the largest, in the order of their size. */
static void keep_area(area *best, area new)
{
  for (unsigned k = 0; k < MOST_AREAS; k++)
    if (new.count > best[k].count) {
      area old = best[k];
      best[k] = new;
      new = old;
    }
}

/* The value of the piece of words that starts at i if it is blank. */
static bool blank_piece(const lu_array *a, uint64_t all, size_t i, uint64_t *value)
{
  const size_t n = a->count - i < PIECE ? a->count - i : PIECE;
  *value = lu_finder_word(a, i);
  return (*value == all || *value == 0) && is_flat(a, i, n) && all_held(a, i, n);
}

/* Areas of at least `least` words are made of whole pieces, so one piece in least / PIECE is enough
 * to hit each of them; from there it is followed both ways. */
static void flat_areas(const lu_array *a, uint64_t all, size_t least, area *best)
{
  const size_t step = least / PIECE * PIECE;
  uint64_t value, other;
  size_t done = 0; /* up to here no area reaches further back */
  for (size_t i = 0; i < a->count; i = i < done ? (done + step - 1) / step * step : i + step) {
    if (!blank_piece(a, all, i, &value))
      continue;
    size_t from = i, end = i + PIECE;
    while (from > done && blank_piece(a, all, from - PIECE, &other) && other == value)
      from -= PIECE;
    while (end < a->count && blank_piece(a, all, end, &other) && other == value)
      end += PIECE;
    done = end;
    end = end < a->count ? end : a->count;
    if (end - from >= least)
      keep_area(best, (area){from, end - from, value});
  }
}

/* Words of the area that should be something else. */
static uint64_t wrong_in(const lu_finder *f, const area *a)
{
  uint64_t n = 0;
  for (size_t i = a->from; f->known && i < a->from + a->count; i++)
    n += lu_array_held(&f->e, i) && lu_finder_word(&f->e, i) != a->value;
  return n;
}

static bool add_area(lu_finder *f, const area *a)
{
  const uint64_t wrong = wrong_in(f, a);
  lu_symptom s = lu_finder_blank(LU_SYMPTOM_BLANK_AREA);
  if (f->known && wrong * 2 < a->count)
    return true; /* blank as it should be, mostly */
  s.data_bits = f->all;
  s.level = a->value != 0;
  s.first = f->base + a->from;
  s.last = s.first + a->count - 1;
  s.count = a->count;
  s.strength = (double)a->count / (double)f->out->words;
  s.chance = f->known ? 0.0 : 1.0; /* unused parts of a memory are blank: proves nothing */
  return lu_finder_add(f, s, "0x%llx to 0x%llx (%.0f %%) read all %s%s.",
                       (unsigned long long)s.first, (unsigned long long)s.last,
                       100.0 * s.strength, s.level ? "ones" : "zeros",
                       f->known ? ", and should not" : "");
}

/* Wrong data bits with no other symptom: how much is wrong, and where. */
static bool add_scattered(lu_finder *f)
{
  for (size_t i = 0; i < f->out->count; i++)
    if (f->out->at[i].addr_bits && f->out->at[i].id != LU_SYMPTOM_UNSTEADY_BITS)
      return true; /* address symptoms cover whole words */
  const uint64_t open = f->known ? f->d.mask & ~f->claimed : 0;
  uint64_t first = 0, last = 0, words = 0, n = 0;
  if (open && open == f->d.mask) { /* counted already; the last one is looked for from the end */
    size_t i = f->o.count;
    words = f->d.differ;
    first = f->base + f->d.first;
    while (i-- > 0 && !(lu_array_held(&f->o, i) && lu_array_held(&f->e, i) &&
                        lu_finder_word(&f->o, i) != lu_finder_word(&f->e, i)))
      ;
    last = f->base + i;
  }
  for (size_t i = 0; open && !words && i < f->o.count; i++)
    if (lu_array_held(&f->o, i) && lu_array_held(&f->e, i) &&
        (lu_finder_word(&f->o, i) ^ lu_finder_word(&f->e, i)) & open) {
      first = n ? first : f->base + i;
      last = f->base + i;
      n++;
    }
  words += n;
  if (!words)
    return true;
  lu_symptom s = lu_finder_blank(LU_SYMPTOM_SCATTERED);
  s.data_bits = open;
  s.first = first;
  s.last = last;
  s.count = words;
  s.strength = (double)words / (double)f->out->words;
  return lu_finder_add(f, s, "%llu words (%.2g %%) from 0x%llx to 0x%llx differ in %s with no regularity found.",
                       (unsigned long long)words, 100.0 * s.strength, (unsigned long long)first,
                       (unsigned long long)last, lu_finder_bits(f, 'D', open));
}

lu_status lu_finder_areas(lu_finder *f)
{
  area best[MOST_AREAS];
  memset(best, 0, sizeof best);
  const size_t least = f->o.count / 64 > PIECE ? f->o.count / 64 : PIECE;
  flat_areas(&f->o, f->all, least, best);
  for (unsigned k = 0; k < MOST_AREAS && best[k].count; k++)
    if (!add_area(f, &best[k]))
      return LU_ERR_NOMEM;
  return add_scattered(f) ? LU_OK : LU_ERR_NOMEM;
}
