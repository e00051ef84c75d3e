/* SPDX-License-Identifier: MIT */
#include "reason/inside.h"

#include <string.h>

/* What is wrong at one chip. */
typedef struct tally {
  uint64_t count;
  uint32_t row, column;
  uint16_t bit;
  bool one_row, one_column, one_bit;
} tally;

static bool fn_bit(const lu_fn *f, uint64_t address)
{
  unsigned index = 0;
  for (unsigned k = 0; k < f->count; k++)
    index |= (unsigned)(address >> f->var[k] & 1) << k;
  return lu_fn_at(f, index);
}

void lu_inside_place(const lu_network *n, unsigned chip, uint64_t address, uint32_t *row, uint32_t *column)
{
  const lu_chip *c = &n->chips[chip];
  *row = *column = 0;
  for (unsigned b = 0; b < c->cell_bits; b++) {
    uint32_t bit = fn_bit(&c->cell[b], address);
    if (b < c->row_bits)
      *row |= bit << b;
    else
      *column |= bit << (b - c->row_bits);
  }
}

static bool serving_chip(const lu_network *n, unsigned data_bit, uint64_t address, unsigned *chip, unsigned *pin)
{
  for (unsigned c = 0; c < n->chip_count; c++)
    for (unsigned d = 0; d < n->chips[c].out_count; d++)
      if (n->chips[c].column[d] == data_bit && fn_bit(&n->chips[c].serves, address)) {
        *chip = c;
        *pin = d;
        return true;
      }
  return false;
}

static void note_wrong(tally *t, uint32_t row, uint32_t column, unsigned pin)
{
  if (!t->count++) {
    *t = (tally){1, row, column, (uint16_t)pin, true, true, true};
    return;
  }
  t->one_row &= t->row == row;
  t->one_column &= t->column == column;
  t->one_bit &= t->bit == pin;
}

/* Whether all of it can lie in one cell, row or column. */
static bool one_place(const tally *t)
{
  return t->one_row || (t->one_column && t->one_bit);
}

static bool tally_up(lu_search *s, const lu_set *set, size_t r, tally *t)
{
  const lu_look *k = &s->joint->looks[r];
  const lu_evidence *e = k->evidence;
  uint64_t hash;
  bool wide, floats;
  bool compiled = lu_joint_compile(s->joint, r, set->faults, set->count, set->undriven, &hash, &wide, &floats) && !wide;
  for (size_t i = 0; i < e->got.count; i++) {
    if (!lu_word_held(&e->got, i) || !lu_word_held(&e->known, i))
      continue;
    uint64_t value = 0, unknown = 0, changed = compiled ? k->view->changed : 0;
    if (changed)
      lu_view_word(k->view, e, i, &value, &unknown);
    value = (value & changed) | (lu_word(&e->known, i) & ~changed);
    uint64_t bad = (value ^ lu_word(&e->got, i)) & k->all & ~unknown & (e->steady ? e->steady[i] : k->all);
    for (; bad; bad &= bad - 1) {
      unsigned chip, pin;
      uint64_t address = lu_address_of(e->network, i);
      if (!serving_chip(e->network, (unsigned)__builtin_ctzll(bad), address, &chip, &pin))
        return false;
      uint32_t row, column;
      lu_inside_place(e->network, chip, address, &row, &column);
      note_wrong(&t[chip], row, column, pin);
      if (!one_place(&t[chip]))
        return false; /* nothing that is still to come mends that */
    }
  }
  return true;
}

static uint16_t joint_part(const lu_joint *j, uint32_t part)
{
  for (size_t i = 0; i < j->part_count; i++)
    if (j->parts[i].part == part)
      return (uint16_t)i;
  return UINT16_MAX;
}

static bool blame(lu_search *s, lu_set *set, const lu_network *n, unsigned chip, const tally *t)
{
  const lu_chip *c = &n->chips[chip];
  lu_fault f = {.part = joint_part(s->joint, c->part), .row = t->row, .column = t->column, .data_bit = t->bit};
  if (set->count >= LU_FAULTS_MOST)
    return false;
  if (t->one_row && t->one_column && t->one_bit)
    f.kind = LU_FAULT_CELL;
  else if (t->one_row && c->row_bits)
    f.kind = LU_FAULT_ROW;
  else if (t->one_column && c->row_bits && t->one_bit)
    f.kind = LU_FAULT_COLUMN;
  else
    return false;
  set->prior += lu_joint_prior(s->joint, &f);
  set->unknown += f.kind == LU_FAULT_CELL ? 1 : (uint64_t)1 << (f.kind == LU_FAULT_ROW ? c->cell_bits - c->row_bits : c->row_bits);
  set->classes[set->count] = UINT32_MAX;
  set->faults[set->count++] = f;
  return true;
}

bool lu_inside_cover(lu_search *s, lu_set *set)
{
  lu_set x = *set;
  for (size_t r = 0; r < s->joint->look_count; r++) {
    const lu_network *n = s->joint->looks[r].evidence->network;
    tally *t = LU_NEW(s->joint->mem, tally, n->chip_count + 1);
    if (!t || !tally_up(s, set, r, t))
      return false;
    for (unsigned c = 0; c < n->chip_count; c++)
      if (t[c].count && !blame(s, &x, n, c, &t[c]))
        return false;
  }
  x.wrong = 0;
  x.exact = true;
  *set = x;
  return true;
}
