/* SPDX-License-Identifier: MIT */
#include "reason/contrast.h"

#include <inttypes.h>
#include <string.h>

/* Words from..from+count of w; the bits that say which were read are moved along. */
static bool part_of(const lu_words *w, size_t from, size_t count, lu_arena *mem, lu_array *out)
{
  *out = (lu_array){.at = (const char *)w->at + from * w->bytes, .count = count, .bytes = w->bytes};
  if (!w->held)
    return true;
  if (from % 64 == 0) {
    out->held = w->held + from / 64;
    return true;
  }
  size_t last = (w->count + 63) / 64;
  uint64_t *held = lu_arena_array(mem, count / 64 + 1, sizeof *held);
  for (size_t i = 0; held && i <= count / 64; i++) {
    size_t at = from / 64 + i;
    uint64_t low = at < last ? w->held[at] >> (from % 64) : 0;
    held[i] = low | (at + 1 < last ? w->held[at + 1] << (64 - from % 64) : 0);
  }
  out->held = held;
  return held;
}

/* AND and OR of what was looked at so far. A bit that was seen to move needs no further look. */
typedef struct moves {
  uint64_t all_and, all_or, all;
  size_t words;
} moves;

static void look(const lu_kernels *k, const lu_array *a, moves *m)
{
  if (m->words && ((m->all_or ^ m->all_and) & m->all) == m->all)
    return;
  lu_fold fold;
  lu_fold_words(k, a, &fold);
  if (!fold.words)
    return;
  m->all_and &= fold.all_and;
  m->all_or |= fold.all_or;
  m->words += fold.words;
}

/* Pieces in which the two are known to be equal: one look serves both. */
static size_t look_at_same(const lu_kernels *k, const lu_array *b, size_t same, size_t piece, moves *before, moves *after, lu_diff *out)
{
  size_t end = same < b->count ? same - same % piece : b->count;
  for (size_t at = 0; at < end; at += piece) {
    size_t n = end - at < piece ? end - at : piece;
    lu_array x = {(const char *)b->at + at * b->bytes, n, b->bytes, NULL};
    look(k, &x, before);
  }
  *after = *before;
  out->words = end;
  return end;
}

/* Both arrays piece by piece, so that a piece is still in the cache when it is looked at again. */
static void look_at_both(const lu_kernels *k, const lu_array *b, const lu_array *a, size_t same, moves *before, moves *after, lu_diff *out)
{
  size_t piece = ((size_t)256 << 10) / b->bytes; /* words, a multiple of 64 */
  *out = (lu_diff){.first = SIZE_MAX};
  for (size_t at = look_at_same(k, b, same, piece, before, after, out); at < b->count; at += piece) {
    size_t n = b->count - at < piece ? b->count - at : piece;
    lu_array x = {(const char *)b->at + at * b->bytes, n, b->bytes, b->held ? b->held + at / 64 : NULL};
    lu_array y = {(const char *)a->at + at * a->bytes, n, a->bytes, a->held ? a->held + at / 64 : NULL};
    lu_diff d;
    lu_diff_words(k, &x, &y, &d);
    look(k, &x, before);
    look(k, &y, after);
    if (d.differ && out->first == SIZE_MAX)
      out->first = at + d.first;
    out->words += d.words;
    out->differ += d.differ;
    out->mask |= d.mask;
    for (unsigned i = 0; d.differ && i < 64; i++) {
      out->set[i] += d.set[i];
      out->cleared[i] += d.cleared[i];
    }
  }
}

static void texture_of(const lu_kernels *k, const lu_array *a, const moves *m, lu_texture *out)
{
  uint64_t moved = (m->all_or ^ m->all_and) & m->all, masks[LU_MAX_LINES];
  *out = (lu_texture){0};
  if (m->words < 2 || !moved) {
    out->blank = true;
    return;
  }
  out->stuck_low = m->all & ~m->all_or;
  out->stuck_high = m->all & m->all_and;
  unsigned lines = lu_index_lines(a->count);
  lu_alias_masks(k, a, lines, moved, masks);
  for (unsigned i = 0; i < lines && i < LU_MAX_LINES; i++)
    if (!masks[i] && lu_array_pairs_held(a, i))
      out->dead_lines |= (uint64_t)1 << i;
}

static uint64_t word(const lu_array *a, size_t i)
{
  lu_words w = {.at = a->at, .bytes = a->bytes};
  return lu_word(&w, i);
}

static void against_known(const lu_kernels *k, const lu_array *b, const lu_array *a, const lu_array *known, lu_contrast *out)
{
  lu_diff before, after;
  lu_diff_words(k, known, b, &before);
  lu_diff_words(k, known, a, &after);
  out->known = true;
  out->wrong_before = before.differ;
  out->wrong_after = after.differ;
  for (unsigned i = 0; i < 64; i++) {
    out->bits_before[i] = before.set[i] + before.cleared[i];
    out->bits_after[i] = after.set[i] + after.cleared[i];
  }
  for (size_t i = 0; before.differ && after.differ && i < b->count; i++)
    out->wrong_both += lu_array_held(b, i) && lu_array_held(a, i) && word(b, i) != word(known, i) && word(a, i) != word(known, i);
  out->cured = out->wrong_before - out->wrong_both;
  out->spoilt = out->wrong_after - out->wrong_both;
}

/* What the known contents do by themselves is no change and no fault. */
static void as_meant(const lu_kernels *k, const lu_array *known, uint64_t all, lu_contrast *out)
{
  moves m = {.all_and = ~(uint64_t)0, .all = all};
  lu_texture meant, *sides[] = {&out->before, &out->after};
  size_t piece = ((size_t)256 << 10) / known->bytes;
  for (size_t at = 0; at < known->count; at += piece) {
    size_t n = known->count - at < piece ? known->count - at : piece;
    lu_array x = {(const char *)known->at + at * known->bytes, n, known->bytes, known->held ? known->held + at / 64 : NULL};
    look(k, &x, &m);
  }
  texture_of(k, known, &m, &meant);
  for (int i = 0; i < 2; i++) {
    sides[i]->dead_lines &= ~meant.dead_lines;
    sides[i]->stuck_low &= ~meant.stuck_low;
    sides[i]->stuck_high &= ~meant.stuck_high;
    sides[i]->blank &= !meant.blank;
  }
}

lu_status lu_contrast_of(const lu_words *before, const lu_words *after, const lu_words *known, lu_arena *mem, lu_contrast *out,
                       lu_err *err)
{
  return lu_contrast_after(before, after, 0, known, mem, out, err);
}

lu_status lu_contrast_after(const lu_words *before, const lu_words *after, size_t same, const lu_words *known, lu_arena *mem,
                            lu_contrast *out, lu_err *err)
{
  *out = (lu_contrast){0};
  uint64_t from = before->base > after->base ? before->base : after->base;
  uint64_t before_end = before->base + before->count, after_end = after->base + after->count;
  uint64_t end = before_end < after_end ? before_end : after_end;
  if (before->width != after->width || before->bytes != after->bytes)
    return lu_fail(err, LU_ERR_VALUE, 0, 0, "words of %u bits cannot be held against words of %u bits", before->width, after->width);
  if (from >= end)
    return lu_fail(err, LU_ERR_VALUE, 0, 0,
                   "the two have no address in common: words 0x%" PRIx64 " to 0x%" PRIx64 " and 0x%" PRIx64 " to 0x%" PRIx64,
                   before->base, before_end - 1, after->base, after_end - 1);
  const lu_kernels *k = lu_kernels_best();
  lu_array b, a, e;
  size_t count = (size_t)(end - from);
  if (!part_of(before, (size_t)(from - before->base), count, mem, &b) ||
      !part_of(after, (size_t)(from - after->base), count, mem, &a))
    return lu_fail(err, LU_ERR_NOMEM, 0, 0, "no room to compare");
  out->base = from;
  uint64_t all = before->width >= 64 ? ~(uint64_t)0 : ((uint64_t)1 << before->width) - 1;
  moves was = {.all_and = ~(uint64_t)0, .all = all}, is = was;
  look_at_both(k, &b, &a, before->base == after->base && !b.held && !a.held ? same : 0, &was, &is, &out->diff);
  out->words = out->diff.words;
  out->only_before = before->held_count - out->words;
  out->only_after = after->held_count - out->words;
  texture_of(k, &b, &was, &out->before);
  if (out->diff.differ || out->only_before || out->only_after)
    texture_of(k, &a, &is, &out->after);
  else
    out->after = out->before;
  if (known && known->at && known->base <= from && known->base + known->count >= end) {
    if (!part_of(known, (size_t)(from - known->base), count, mem, &e))
      return lu_fail(err, LU_ERR_NOMEM, 0, 0, "no room to compare");
    against_known(k, &b, &a, &e, out);
    as_meant(k, &e, all, out);
  }
  return LU_OK;
}
