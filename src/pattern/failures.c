/* SPDX-License-Identifier: MIT */
#include "pattern/failures.h"

#include <stdlib.h>

/* One cell: sorted by cell at first, then by group. */
typedef struct cell {
  uint64_t word, syndrome;
  unsigned bit;
} cell;

static int order(uint64_t a, uint64_t b)
{
  return a < b ? -1 : a > b;
}

static int by_cell(const void *a, const void *b)
{
  const cell *x = a, *y = b;
  int c = order(x->word, y->word);
  return c ? c : order(x->bit, y->bit);
}

static int by_group(const void *a, const void *b)
{
  const cell *x = a, *y = b;
  int c = order(x->bit, y->bit);
  c = c ? c : order(x->syndrome, y->syndrome);
  return c ? c : order(x->word, y->word);
}

static int by_size(const void *a, const void *b)
{
  const lu_syndrome_group *x = a, *y = b;
  int c = order(y->words, x->words);
  c = c ? c : order(x->bit, y->bit);
  return c ? c : order(x->syndrome, y->syndrome);
}

static lu_status check(const lu_pattern *pattern, const lu_memory *block, const lu_failure *f,
                       lu_err *err)
{
  if (f->op >= pattern->op_count || pattern->ops[f->op].kind != LU_OP_READ)
    return lu_fail(err, LU_ERR_VALUE, 0, 0, "operation %u of %s is not a read (they count from 0)",
                   (unsigned)f->op, pattern->name);
  if (f->word >= block->words)
    return lu_fail(err, LU_ERR_VALUE, 0, 0, "word %llu is outside the block of %llu words",
                   (unsigned long long)f->word, (unsigned long long)block->words);
  if (block->width < 64 && f->wrong >> block->width)
    return lu_fail(err, LU_ERR_VALUE, 0, 0, "more than %u bits differ in a word of %u",
                   block->width, block->width);
  return LU_OK;
}

/* One entry a failing bit of a failing read, then one a cell. */
static lu_status collect(const lu_pattern *pattern, const lu_memory *block, const lu_failure *at,
                         size_t count, lu_arena *mem, cell **out, size_t *out_count, lu_err *err)
{
  size_t bits = 0, n = 0, kept = 0;
  for (size_t i = 0; i < count; i++) {
    lu_status status = check(pattern, block, &at[i], err);
    if (status)
      return status;
    bits += (size_t)__builtin_popcountll(at[i].wrong);
  }
  if (bits > LU_FAILURES_MOST)
    return lu_fail(err, LU_ERR_LIMIT, 0, 0, "more than %d failing bits", LU_FAILURES_MOST);
  cell *cells = LU_NEW(mem, cell, bits + 1);
  if (!cells)
    return lu_fail(err, LU_ERR_NOMEM, 0, 0, "no room for %zu failing bits", bits);
  for (size_t i = 0; i < count; i++) {
    unsigned read = lu_pattern_reads_before(pattern, at[i].op);
    for (uint64_t wrong = at[i].wrong; wrong; wrong &= wrong - 1)
      cells[n++] = (cell){at[i].word, read < 64 ? UINT64_C(1) << read : 0,
                          (unsigned)__builtin_ctzll(wrong)};
  }
  qsort(cells, n, sizeof *cells, by_cell);
  for (size_t i = 0; i < n; i++)
    if (kept && by_cell(&cells[kept - 1], &cells[i]) == 0)
      cells[kept - 1].syndrome |= cells[i].syndrome;
    else
      cells[kept++] = cells[i];
  qsort(cells, kept, sizeof *cells, by_group);
  *out = cells;
  *out_count = kept;
  return LU_OK;
}

/* Words of the block whose address bits under fixed stand as in value. */
static uint64_t words_with(const lu_memory *block, uint64_t all, uint64_t fixed, uint64_t value)
{
  if ((block->words & (block->words - 1)) == 0)
    return UINT64_C(1) << __builtin_popcountll(all & ~fixed);
  uint64_t n = 0;
  for (uint64_t w = value;; w = (((w | fixed) + 1) & ~fixed & all) | value) {
    n += w < block->words;
    if ((w & ~fixed) == (all & ~fixed))
      return n;
  }
}

static lu_syndrome_group describe(const lu_memory *block, const cell *cells, size_t count)
{
  lu_syndrome_group g = {.bit = cells->bit, .syndrome = cells->syndrome, .words = count};
  uint64_t all = 0, differ = 0;
  while (all < block->words - 1)
    all = all << 1 | 1;
  for (size_t i = 0; i < count; i++) {
    differ |= cells[i].word ^ cells->word;
    if (i < LU_FAILURE_WORDS_SHOWN)
      g.first[i] = cells[i].word;
  }
  g.fixed = all & ~differ;
  g.value = cells->word & g.fixed;
  /* at least half of the words that could be there: only then is counting worth the time */
  uint64_t could = UINT64_C(1) << __builtin_popcountll(all & differ);
  g.complete = (count >= LU_FAILURE_WORDS_SHOWN || count == block->words) && could / 2 <= count &&
               words_with(block, all, g.fixed, g.value) == count;
  return g;
}

lu_status lu_failures_group(const lu_pattern *pattern, const lu_memory *block, const lu_failure *at,
                            size_t count, lu_arena *mem, lu_syndrome_group **out,
                            size_t *out_count, lu_err *err)
{
  cell *cells = NULL;
  size_t n = 0, groups = 0;
  lu_status status = collect(pattern, block, at, count, mem, &cells, &n, err);
  if (status)
    return status;
  for (size_t i = 0; i < n; i++)
    groups += !i || cells[i].bit != cells[i - 1].bit || cells[i].syndrome != cells[i - 1].syndrome;
  lu_syndrome_group *list = LU_NEW(mem, lu_syndrome_group, groups + 1);
  if (!list)
    return lu_fail(err, LU_ERR_NOMEM, 0, 0, "no room for %zu syndromes", groups);
  groups = 0;
  for (size_t i = 0, end; i < n; i = end) {
    for (end = i + 1; end < n && cells[end].bit == cells[i].bit &&
                      cells[end].syndrome == cells[i].syndrome; end++)
      continue;
    list[groups++] = describe(block, cells + i, end - i);
  }
  qsort(list, groups, sizeof *list, by_size);
  *out = list;
  *out_count = groups;
  return LU_OK;
}
