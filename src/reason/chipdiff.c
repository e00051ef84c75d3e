/* SPDX-License-Identifier: MIT */
#include "reason/chipdiff.h"

#include "reason/evidence.h"

typedef struct lines {
  uint64_t row[LU_CHIP_LINES_MOST / 64], column[LU_CHIP_LINES_MOST / 64];
} lines;

static bool bit_of(const lu_fn *f, uint64_t address)
{
  unsigned index = 0;
  for (unsigned k = 0; k < f->count; k++)
    index |= (unsigned)(address >> f->var[k] & 1) << k;
  return lu_fn_at(f, index);
}

static uint32_t cell_line(const lu_chip *c, uint64_t address, unsigned from, unsigned to)
{
  uint32_t line = 0;
  for (unsigned b = from; b < to; b++)
    line |= (uint32_t)bit_of(&c->cell[b], address) << (b - from);
  return line;
}

static void mark(uint64_t *set, uint32_t line, uint32_t *count, uint32_t *which)
{
  if (line >= LU_CHIP_LINES_MOST || (set[line / 64] >> (line % 64) & 1))
    return;
  set[line / 64] |= (uint64_t)1 << (line % 64);
  (*count)++;
  *which = line;
}

static uint64_t mask_of(const lu_chip *c)
{
  uint64_t m = 0;
  for (unsigned d = 0; d < c->out_count; d++)
    if (c->column[d] != UINT16_MAX)
      m |= (uint64_t)1 << c->column[d];
  return m;
}

lu_chip_diff *lu_chip_diffs(const lu_network *n, const lu_words *before, const lu_words *after, const lu_words *known, lu_arena *mem)
{
  lu_chip_diff *out = LU_NEW(mem, lu_chip_diff, n->chip_count + 1);
  lines *seen = LU_NEW(mem, lines, n->chip_count + 1);
  uint64_t *mask = LU_NEW(mem, uint64_t, n->chip_count + 1);
  if (!out || !seen || !mask)
    return NULL;
  for (size_t c = 0; c < n->chip_count; c++) {
    out[c].chip = (uint16_t)c;
    mask[c] = mask_of(&n->chips[c]);
  }
  for (size_t i = 0; i < before->count && i < after->count; i++) {
    if (!lu_word_held(before, i) || !lu_word_held(after, i))
      continue;
    uint64_t b = lu_word(before, i), a = lu_word(after, i), k = known ? lu_word(known, i) : b;
    if (a == b && b == k)
      continue;
    uint64_t address = lu_address_of(n, i);
    for (size_t c = 0; c < n->chip_count; c++) {
      const lu_chip *x = &n->chips[c];
      uint64_t moved = (a ^ b) & mask[c], off = ((a ^ k) | (b ^ k)) & mask[c];
      if (!(moved | off) || !bit_of(&x->serves, address))
        continue;
      out[c].changed += (uint64_t)__builtin_popcountll(moved);
      out[c].wrong_before += known ? (uint64_t)__builtin_popcountll((b ^ k) & mask[c]) : 0;
      out[c].wrong_after += known ? (uint64_t)__builtin_popcountll((a ^ k) & mask[c]) : 0;
      if (moved && x->multiplexed && x->row_bits) {
        mark(seen[c].row, cell_line(x, address, 0, x->row_bits), &out[c].rows, &out[c].row);
        mark(seen[c].column, cell_line(x, address, x->row_bits, x->cell_bits), &out[c].columns, &out[c].column);
      }
    }
  }
  return out;
}
