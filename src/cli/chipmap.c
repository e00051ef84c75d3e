/* SPDX-License-Identifier: MIT */
#include "cli/chipmap.h"

#include <string.h>

enum { ABSENT_MOST = 1 << 20, BYTES = 8 };

/* A cell's number is linear in the address on a sound board (each bit of it is one address bit, or its opposite, or
 * fixed): the number of address 0, and what each byte of the address turns over in it. */
typedef struct way {
  uint32_t zero;
  uint32_t turn[BYTES][256];
  uint32_t moves;      /* bits of the number that some address bit moves */
  unsigned row_bits, cell_bits;
  uint64_t share;      /* words that meet in one cell */
} way;

static bool serves(const lu_chip *c, uint64_t address)
{
  unsigned index = 0;
  for (unsigned k = 0; k < c->serves.count; k++)
    index |= (unsigned)(address >> c->serves.var[k] & 1) << k;
  return lu_fn_at(&c->serves, index);
}

static bool way_of(const lu_network *n, const lu_chip *c, way *w)
{
  uint32_t turn[64] = {0};
  *w = (way){.cell_bits = c->cell_bits, .row_bits = c->multiplexed && c->row_bits ? c->row_bits : 0, .share = 1};
  uint64_t used = 0;
  for (unsigned b = 0; b < c->cell_bits; b++) {
    const lu_fn *f = &c->cell[b];
    if (f->wide || f->count > 1 || (f->count && f->var[0] >= 64) || b >= 32)
      return false;
    w->zero |= (uint32_t)lu_fn_at(f, 0) << b;
    if (f->count) {
      turn[f->var[0]] |= (uint32_t)1 << b;
      used |= (uint64_t)1 << f->var[0];
      w->moves |= (uint32_t)1 << b;
    }
  }
  for (unsigned k = 0; k < c->serves.count; k++)
    used |= c->serves.var[k] < 64 ? (uint64_t)1 << c->serves.var[k] : 0;
  for (unsigned a = 0; a < n->address_bits && a < 64; a++)
    w->share *= used >> a & 1 ? 1 : 2;
  for (unsigned i = 0; i < BYTES; i++)
    for (unsigned v = 1; v < 256; v++)
      w->turn[i][v] = w->turn[i][v & (v - 1)] ^ turn[8 * i + (unsigned)__builtin_ctz(v)];
  return !c->serves.wide;
}

static uint32_t cell_of(const way *w, uint64_t address)
{
  uint32_t cell = w->zero;
  for (unsigned i = 0; address; i++, address >>= 8)
    cell ^= w->turn[i][address & 255];
  return cell;
}

/* Row and column of a cell: the row's bits come first where a chip has two halves, else last. */
static void place(const way *w, uint32_t cell, uint64_t *row, uint64_t *column)
{
  unsigned low = w->row_bits ? w->row_bits : w->cell_bits / 2;
  uint32_t lower = cell & (((uint32_t)1 << low) - 1), upper = cell >> low;
  *row = w->row_bits ? lower : upper;
  *column = w->row_bits ? upper : lower;
}

static uint64_t mask_of(const lu_chip *c)
{
  uint64_t m = 0;
  for (unsigned d = 0; d < c->out_count; d++)
    if (c->column[d] < 64)
      m |= (uint64_t)1 << c->column[d];
  return m;
}

bool lu_chip_is_wrong(const lu_reading *r, const lu_fail_map *words, size_t chip)
{
  const lu_chip *c = &r->evidence.network->chips[chip];
  uint64_t mask = mask_of(c);
  for (unsigned bit = 0; bit < words->columns && bit < 64; bit++)
    if (mask >> bit & 1 && words->by_column[bit])
      return !c->foreign;
  return false;
}

size_t lu_chip_named(const lu_network *n, const char *ref)
{
  for (size_t i = 0; i < n->chip_count; i++)
    if (!n->chips[i].foreign && n->chips[i].part < n->board->part_count && !strcmp(n->board->parts[n->chips[i].part].ref, ref))
      return i;
  return SIZE_MAX;
}

/* What would have been read if all words had been: every cell that address bits reach. */
static void fill_seen(lu_fail_map *m, const way *w, uint64_t bits)
{
  uint64_t row_moves, column_moves, row_zero, column_zero;
  place(w, w->moves, &row_moves, &column_moves);
  place(w, w->zero, &row_zero, &column_zero);
  for (size_t r = 0; r < m->rows; r++)
    for (size_t c = 0; c < m->columns; c++) {
      /* spans are powers of two: bits inside a square are free, those above must be reachable */
      uint64_t row = r * m->row_span, column = c * m->column_span;
      bool reached = !((row ^ row_zero) & ~row_moves & ~(m->row_span - 1)) && !((column ^ column_zero) & ~column_moves & ~(m->column_span - 1));
      unsigned free = (unsigned)__builtin_popcountll(row_moves & (m->row_span - 1)) + (unsigned)__builtin_popcountll(column_moves & (m->column_span - 1));
      m->cells[r * m->columns + c].seen = reached ? (bits * w->share) << free : 0;
    }
}

static void one_word(lu_fail_map *m, const way *w, uint64_t address, uint64_t wrong, bool absent, uint64_t bits)
{
  uint64_t row, column, n = absent ? bits : (uint64_t)__builtin_popcountll(wrong);
  place(w, cell_of(w, address), &row, &column);
  lu_map_cell *x = &m->cells[row / m->row_span * m->columns + column / m->column_span];
  if (absent) {
    x->seen -= x->seen < n ? x->seen : n;
    return;
  }
  x->wrong += n;
  m->by_column[column / m->column_span] += n;
  m->wrong_bits += n;
  m->wrong_words++;
}

/* Words that were not read, behind the end or in gaps: taken off again. */
static void take_absent(lu_fail_map *m, const lu_network *n, const lu_words *got, const lu_chip *c, const way *w, uint64_t bits)
{
  uint64_t whole = n->address_bits < 40 ? (uint64_t)1 << n->address_bits : got->count, held = got->held ? got->held_count : got->count;
  if (whole - held > ABSENT_MOST || whole < held)
    return;
  for (uint64_t i = got->held ? 0 : got->count; i < whole; i++) {
    uint64_t address = lu_address_of(n, i);
    if ((i >= got->count || !lu_word_held(got, (size_t)i)) && serves(c, address))
      one_word(m, w, address, 0, true, bits);
  }
}

/* One chip of those that are drawn. */
typedef struct drawn {
  way w;
  uint64_t mask;
  const lu_chip *chip;
  lu_fail_map *map;
} drawn;

static bool begin(lu_session *s, const lu_reading *r, size_t chip, drawn *d, lu_fail_map *out)
{
  const lu_network *n = r->evidence.network;
  const lu_chip *c = &n->chips[chip];
  uint64_t rows, columns;
  *out = (lu_fail_map){.worst = SIZE_MAX};
  d->chip = c;
  d->map = out;
  if (!way_of(n, c, &d->w) || !c->cell_bits || c->cell_bits > 30)
    return true;
  d->mask = mask_of(c);
  unsigned bits = (unsigned)__builtin_popcountll(d->mask);
  place(&d->w, ((uint32_t)1 << d->w.cell_bits) - 1, &rows, &columns);
  if (!lu_fail_map_open(rows + 1, columns + 1, s->mem, out))
    return false;
  out->words = r->evidence.got.count;
  fill_seen(out, &d->w, bits);
  take_absent(out, n, &r->evidence.got, c, &d->w, bits);
  return true;
}

bool lu_chip_maps(lu_session *s, const lu_reading *r, bool known, const size_t *chips, size_t count, lu_fail_map *out)
{
  const lu_evidence *e = &r->evidence;
  drawn *list = LU_NEW(s->mem, drawn, count + 1);
  uint64_t all = 0;
  for (size_t k = 0; list && k < count; k++) {
    if (!begin(s, r, chips[k], &list[k], &out[k]))
      return false;
    all |= list[k].mask;
  }
  for (size_t i = 0; list && all && i < e->got.count; i++) {
    uint64_t wrong = (known ? lu_word(&e->got, i) ^ lu_word(&e->known, i) : e->steady ? ~e->steady[i] : 0) & all;
    if (!wrong || !lu_word_held(&e->got, i))
      continue;
    uint64_t address = lu_address_of(e->network, i);
    for (size_t k = 0; k < count; k++)
      if (wrong & list[k].mask && serves(list[k].chip, address))
        one_word(list[k].map, &list[k].w, address, wrong & list[k].mask, false, 0);
  }
  for (size_t k = 0; list && k < count; k++)
    lu_fail_map_close(&out[k]);
  return list;
}
