/* SPDX-License-Identifier: MIT */
#include "reason/predict.h"

#include "reason/planecount.h"

enum { TABLE_ROOM = 1 << 16, NOTHING = 0xffff };

lu_view *lu_view_new(lu_arena *mem)
{
  lu_view *v = LU_NEW(mem, lu_view, 1);
  if (v) {
    v->tables = LU_NEW(mem, uint16_t, TABLE_ROOM);
    v->planes = lu_plane_store_new(mem);
  }
  if (!v || !v->tables || !v->planes)
    return NULL;
  v->table_room = TABLE_ROOM;
  return v;
}

/* --- where a chip's data come from ----------------------------------------------------------- */

/* The cell functions of one chip under the hypothesis. */
typedef struct chip_now {
  const lu_chip *chip;
  const lu_fn *read[LU_CELL_BITS_MOST], *write[LU_CELL_BITS_MOST];
  const lu_fn *writes;
} chip_now;

static uint64_t address_vars(const lu_fn *f, bool *other)
{
  uint64_t m = 0;
  for (unsigned i = 0; i < f->count; i++)
    if (f->var[i] < 64)
      m |= (uint64_t)1 << f->var[i];
    else
      *other = true;
  return m;
}

/* Value of f where the variables vars[n] have the bits of pattern; others do not occur. */
static bool value_at(const lu_fn *f, const uint8_t *vars, unsigned n, unsigned pattern)
{
  unsigned index = 0;
  for (unsigned i = 0; i < f->count; i++)
    for (unsigned k = 0; k < n; k++)
      if (vars[k] == f->var[i])
        index |= (pattern >> k & 1) << i;
  return lu_fn_at(f, index);
}

static const lu_change *chip_changes_of(const lu_effect *e, unsigned chip, const lu_change **end)
{
  const lu_change *c = e->changes, *stop = e->changes + e->count;
  while (c < stop && c->chip != chip)
    c++;
  const lu_change *d = c;
  while (d < stop && d->chip == chip)
    d++;
  *end = d;
  return c;
}

static void load_chip(chip_now *k, const lu_network *n, const lu_effect *e, unsigned chip)
{
  const lu_chip *c = &n->chips[chip];
  k->chip = c;
  for (unsigned b = 0; b < c->cell_bits; b++)
    k->read[b] = k->write[b] = &c->cell[b];
  k->writes = &c->serves;
  const lu_change *end;
  for (const lu_change *x = chip_changes_of(e, chip, &end); x < end; x++) {
    if (x->slot < LU_EFFECT_WRITE_CELL)
      k->read[x->slot] = &x->fn;
    else if (x->slot < LU_EFFECT_WRITES)
      k->write[x->slot - LU_EFFECT_WRITE_CELL] = &x->fn;
    else if (x->slot == LU_EFFECT_WRITES)
      k->writes = &x->fn;
  }
}

/* Sets of address bits that hang together: bits of one changed cell bit, and every cell bit that
 * shares a variable with the set. Returns their number; false in *fits when a set is too large. */
static unsigned find_groups(const chip_now *k, bool writes_matter, uint64_t *groups, bool *fits)
{
  unsigned n = 0;
  bool data = false;
  uint64_t seeds[LU_CELL_BITS_MOST + 1];
  unsigned seed_count = 0;
  for (unsigned b = 0; b < k->chip->cell_bits; b++) {
    const lu_fn *h = &k->chip->cell[b];
    bool changed = k->read[b] != h || (writes_matter && k->write[b] != h);
    if (!changed)
      continue;
    uint64_t m = address_vars(h, &data) | address_vars(k->read[b], &data);
    if (writes_matter)
      m |= address_vars(k->write[b], &data);
    if (m)
      seeds[seed_count++] = m;
  }
  uint64_t gate = address_vars(&k->chip->serves, &data);
  if (writes_matter)
    gate |= address_vars(k->writes, &data);
  if (gate)
    seeds[seed_count++] = gate;
  for (unsigned i = 0; i < seed_count; i++) {
    uint64_t m = seeds[i];
    for (unsigned g = 0; g < n;)
      if (groups[g] & m) {
        m |= groups[g];
        groups[g] = groups[--n];
        g = 0;
      } else {
        g++;
      }
    if (n == LU_GROUPS_MOST) {
      *fits = false;
      return 0;
    }
    groups[n++] = m;
  }
  /* unchanged cell bits that share a variable need no merging: each has one variable of its own,
   * and it is in the set already */
  for (unsigned g = 0; g < n; g++)
    if (__builtin_popcountll(groups[g]) > LU_GROUP_VARS_MOST)
      *fits = false;
  if (data)
    *fits = false;
  return n;
}

/* The cell bits that a group's address bits have to do with. */
static unsigned group_cells(const chip_now *k, uint64_t mask, uint8_t *bits)
{
  unsigned n = 0;
  bool other = false;
  for (unsigned b = 0; b < k->chip->cell_bits; b++) {
    uint64_t vars = address_vars(&k->chip->cell[b], &other) | address_vars(k->read[b], &other) |
                    address_vars(k->write[b], &other);
    if (vars & mask)
      bits[n++] = (uint8_t)b;
  }
  return n;
}

/* For each pattern of the group's bits: the pattern whose data a read finds. */
static bool make_table(lu_view *v, const chip_now *k, lu_group *g, bool written)
{
  unsigned n = 1u << g->count;
  if (v->table_used + n > v->table_room)
    return false;
  uint16_t *t = v->tables + v->table_used;
  v->table_used += n;
  uint8_t bits[LU_CELL_BITS_MOST];
  unsigned cells = group_cells(k, g->mask, bits);
  bool other = false;
  const lu_fn *takes = written ? k->writes : &k->chip->serves;
  bool gated = address_vars(takes, &other) & g->mask;
  uint32_t put[1 << LU_GROUP_VARS_MOST], get[1 << LU_GROUP_VARS_MOST];
  for (unsigned p = 0; p < n; p++) {
    put[p] = get[p] = 0;
    for (unsigned i = 0; i < cells; i++) {
      const lu_fn *to = written ? k->write[bits[i]] : &k->chip->cell[bits[i]];
      put[p] |= (uint32_t)value_at(to, g->var, g->count, p) << i;
      get[p] |= (uint32_t)value_at(k->read[bits[i]], g->var, g->count, p) << i;
    }
    if (gated && !value_at(takes, g->var, g->count, p))
      put[p] = UINT32_MAX;
  }
  for (unsigned p = 0; p < n; p++) {
    unsigned q = n;
    while (q > 0 && put[q - 1] != get[p])
      q--;
    t[p] = q ? (uint16_t)(q - 1) : NOTHING;
  }
  g->table = t;
  return true;
}

static void make_source(lu_view *v, const chip_now *k, lu_source *s)
{
  bool written = v->know != LU_KNOW_CONTENTS, fits = true;
  uint64_t groups[LU_GROUPS_MOST];
  *s = (lu_source){0};
  if (written && lu_fn_is(k->writes, false)) {
    s->nothing = true;
    return;
  }
  unsigned n = find_groups(k, written, groups, &fits);
  if (!fits) {
    v->wide = true;
    return;
  }
  s->group_count = (uint8_t)n;
  for (unsigned i = 0; i < n; i++) {
    lu_group *g = &s->group[i];
    g->mask = groups[i];
    for (uint64_t m = groups[i]; m; m &= m - 1)
      g->var[g->count++] = (uint8_t)__builtin_ctzll(m);
    if (!make_table(v, k, g, written)) {
      v->wide = true;
      return;
    }
  }
}

static bool same_source(const lu_source *a, const lu_source *b)
{
  if (a->nothing != b->nothing || a->group_count != b->group_count)
    return false;
  for (unsigned i = 0; i < a->group_count; i++)
    if (a->group[i].mask != b->group[i].mask ||
        memcmp(a->group[i].table, b->group[i].table, sizeof(uint16_t) << a->group[i].count))
      return false;
  return true;
}

/* The source of a chip; equal ones are kept once. Source 0 is the healthy one. */
static unsigned source_of(lu_view *v, const lu_effect *e, unsigned chip)
{
  chip_now k;
  load_chip(&k, v->network, e, chip);
  lu_source *s = &v->source[v->source_count];
  size_t used = v->table_used;
  make_source(v, &k, s);
  if (v->wide)
    return 0;
  for (unsigned i = 1; i < v->source_count; i++)
    if (same_source(s, &v->source[i])) {
      v->table_used = used;
      return i;
    }
  if (v->source_count + 1 >= LU_SOURCES_MOST) {
    v->wide = true;
    return 0;
  }
  return v->source_count++;
}

/* --- columns --------------------------------------------------------------------------------- */

static bool input_changed(const lu_view *v, unsigned chip, unsigned pin)
{
  for (unsigned i = 0; i < v->in_count[chip]; i++)
    if (v->in_change[chip][i].slot == LU_EFFECT_IN + pin)
      return true;
  return false;
}

static void load_changes(lu_view *v, const lu_effect *e, uint64_t *columns)
{
  const lu_network *n = v->network;
  for (size_t c = 0; c < n->chip_count; c++) {
    const lu_change *end, *x = chip_changes_of(e, (unsigned)c, &end);
    v->chip_source[c] = 0;
    v->in_change[c] = NULL;
    v->in_count[c] = 0;
    if (x == end)
      continue;
    bool moved = false;
    for (; x < end; x++) {
      if (x->slot >= LU_EFFECT_IN) {
        if (!v->in_change[c])
          v->in_change[c] = x;
        v->in_count[c]++;
      } else if (x->slot < LU_EFFECT_WRITE_CELL || v->know != LU_KNOW_CONTENTS) {
        moved = true;
      }
    }
    if (v->know == LU_KNOW_CONTENTS) {
      v->in_count[c] = 0;
      v->in_change[c] = NULL;
    }
    if (moved)
      v->chip_source[c] = (uint8_t)source_of(v, e, (unsigned)c);
    for (unsigned d = 0; d < n->chips[c].out_count; d++)
      if (n->chips[c].column[d] != UINT16_MAX && (v->chip_source[c] || input_changed(v, (unsigned)c, d)))
        *columns |= (uint64_t)1 << n->chips[c].column[d];
  }
}

/* The healthy read functions of a column. */
static void healthy_column(const lu_network *n, unsigned bit, lu_fn *hi, lu_fn *lo)
{
  const lu_net_state *st = &n->state[(size_t)LU_READ * n->net_count + n->pins[n->data_pin[bit]].net];
  lu_fn no = lu_fn_not(st->lo[0]);
  *hi = lu_fn_and(&st->hi[0], &no);
  *lo = st->lo[0];
}

static bool plain_column(const lu_view *v, const lu_fn *hi, const lu_fn *lo, unsigned bit, unsigned *chip)
{
  if (hi->count != 1 || hi->var[0] < LU_VAR_CHIP || lo->count != 1 || lo->var[0] != hi->var[0] ||
      hi->table != ~lo->table)
    return false;
  unsigned c = (hi->var[0] - LU_VAR_CHIP) / 16, pin = (hi->var[0] - LU_VAR_CHIP) % 16;
  const lu_chip *x = &v->network->chips[c];
  if (c >= v->network->chip_count)
    return false;
  *chip = c;
  return x->column[pin] == bit && !input_changed(v, c, pin) && lu_fn_at(hi, 1) == !x->column_inverted[pin];
}

/* What a chip's data pin holds, as a function of the word known for that address. */
static lu_fn stored_fn(const lu_view *v, unsigned chip, unsigned pin)
{
  const lu_chip *c = &v->network->chips[chip];
  for (unsigned i = 0; i < v->in_count[chip]; i++)
    if (v->in_change[chip][i].slot == LU_EFFECT_IN + pin)
      return v->in_change[chip][i].fn;
  if (c->column[pin] == UINT16_MAX)
    return lu_fn_wide();
  lu_fn f = lu_fn_var(LU_VAR_DATA + c->column[pin]);
  return c->column_inverted[pin] ? lu_fn_not(f) : f;
}

static bool has_address(const lu_fn *f)
{
  return f->count && f->var[0] < LU_VAR_DATA;
}

/* Puts stored words in the place of chips' outputs where every chip is read at one and the same
 * place. *source: -1 while none was met. */
static bool compose(const lu_view *v, lu_fn *f, int *source)
{
  for (bool more = true; more;) {
    more = false;
    for (unsigned k = 0; k < f->count; k++) {
      if (f->var[k] < LU_VAR_CHIP)
        continue;
      unsigned chip = (f->var[k] - LU_VAR_CHIP) / 16, pin = (f->var[k] - LU_VAR_CHIP) % 16;
      if (chip >= v->network->chip_count || (*source >= 0 && *source != v->chip_source[chip]))
        return false;
      *source = v->chip_source[chip];
      lu_fn one = lu_fn_fix(f, f->var[k], true), zero = lu_fn_fix(f, f->var[k], false);
      lu_fn s = stored_fn(v, chip, pin);
      if (*source > 0 && (has_address(&s) || has_address(f)))
        return false; /* address bits would be those of another place */
      *f = lu_fn_choose(&s, &one, &zero);
      if (f->wide)
        return false;
      more = true;
      break;
    }
  }
  return true;
}

static void add_column(lu_view *v, unsigned bit, const lu_fn *hi, const lu_fn *lo)
{
  unsigned chip = 0;
  v->changed |= (uint64_t)1 << bit;
  if (plain_column(v, hi, lo, bit, &chip)) {
    v->plain_mask[v->chip_source[chip]] |= (uint64_t)1 << bit;
    return;
  }
  lu_fn any = lu_fn_or(hi, lo);
  if (!lu_fn_is(&any, true))
    v->floats = true;
  v->wide |= hi->wide || lo->wide;
  lu_column *c = &v->column[v->column_count++];
  *c = (lu_column){.bit = (uint8_t)bit, .hi = *hi, .lo = *lo};
  int source = -1;
  c->direct = compose(v, &c->hi, &source) && compose(v, &c->lo, &source);
  c->source = (uint8_t)(source > 0 ? source : 0);
  if (!c->direct) {
    c->hi = *hi;
    c->lo = *lo;
  }
  lu_fn no = lu_fn_not(c->hi);
  c->pushed = lu_fn_same(&no, &c->lo);
}

static void load_open_levels(lu_view *v, const lu_fault *faults, size_t count)
{
  v->open_columns = v->open_level[0] = v->open_level[1] = 0;
  for (size_t i = 0; i < count; i++) {
    if (faults[i].kind != LU_FAULT_OPEN)
      continue;
    for (unsigned d = 0; d < v->network->data_bits; d++) {
      const lu_npin *p = &v->network->pins[v->network->data_pin[d]];
      if (p->net != faults[i].net)
        continue;
      uint64_t bit = (uint64_t)1 << d;
      v->open_columns |= bit;
      if (faults[i].level == LU_LEVEL_HIGH)
        v->open_level[0] |= bit;
      if (faults[i].level == LU_LEVEL_KEEP)
        v->open_level[1] |= bit;
    }
  }
}

void lu_view_compile(lu_view *v, const lu_network *n, lu_know know, const lu_effect *effect,
                     const lu_fault *faults, size_t fault_count, lu_level undriven)
{
  v->network = n;
  v->know = know;
  v->wide = effect->wide || effect->loops;
  v->replay = NULL;
  v->floats = false;
  v->undriven = (uint8_t)undriven;
  v->changed = 0;
  v->source_count = 1;
  v->column_count = 0;
  v->table_used = 0;
  v->source[0].group_count = 0;
  v->source[0].nothing = false;
  if (v->wide)
    return;
  uint64_t columns = 0, done = 0;
  load_changes(v, effect, &columns);
  if (v->wide)
    return;
  for (unsigned s = 0; s < v->source_count; s++)
    v->plain_mask[s] = 0;
  for (size_t i = 0; i + 1 < effect->count; i++) {
    const lu_change *c = &effect->changes[i];
    if (c->chip != 0xffff || c->slot >= LU_EFFECT_COLUMN_LO)
      continue;
    unsigned bit = (unsigned)c->slot - LU_EFFECT_COLUMN_HI;
    done |= (uint64_t)1 << bit;
    add_column(v, bit, &c->fn, &effect->changes[i + 1].fn);
  }
  for (uint64_t m = columns & ~done; m; m &= m - 1) {
    unsigned bit = (unsigned)__builtin_ctzll(m);
    lu_fn hi, lo;
    healthy_column(n, bit, &hi, &lo);
    add_column(v, bit, &hi, &lo);
  }
  load_open_levels(v, faults, fault_count);
}

void lu_view_replay(lu_view *v, lu_replay *r, const lu_fault *faults, size_t fault_count)
{
  unsigned w = v->network->data_bits;
  v->wide = false;
  v->replay = r;
  v->source_count = 1;
  v->column_count = 0;
  v->plain_mask[0] = 0;
  v->changed = w >= 64 ? ~(uint64_t)0 : ((uint64_t)1 << w) - 1;
  v->floats = lu_replay_floats(r);
  load_open_levels(v, faults, fault_count);
}

/* --- one word --------------------------------------------------------------------------------- */

static bool in_range(const lu_evidence *e, uint64_t address, uint64_t *i)
{
  *i = lu_index_of(e->network, address);
  return *i < e->known.count;
}

/* Tries smaller writers than the last when that one lies outside a block that is no power of two. */
static bool last_inside(const lu_source *s, const lu_evidence *e, uint64_t address, uint64_t *i)
{
  for (unsigned g = 0; g < s->group_count; g++) {
    const lu_group *x = &s->group[g];
    unsigned n = 1u << x->count, read = 0;
    for (unsigned k = 0; k < x->count; k++)
      read |= (unsigned)(address >> x->var[k] & 1) << k;
    for (unsigned q = x->table[read]; q-- > 0;) {
      uint64_t a = address & ~x->mask;
      if (x->table[q] != x->table[read] || q >= n)
        continue;
      for (unsigned k = 0; k < x->count; k++)
        a |= (uint64_t)(q >> k & 1) << x->var[k];
      if (in_range(e, a, i))
        return true;
    }
  }
  return false;
}

/* The word index whose data a read at address finds; false = nothing known is there. */
static bool find_source(const lu_source *s, const lu_evidence *e, uint64_t address, uint64_t *i)
{
  if (s->nothing)
    return false;
  uint64_t a = address;
  for (unsigned g = 0; g < s->group_count; g++) {
    const lu_group *x = &s->group[g];
    unsigned p = 0;
    for (unsigned k = 0; k < x->count; k++)
      p |= (unsigned)(address >> x->var[k] & 1) << k;
    unsigned q = x->table[p];
    if (q == NOTHING)
      return false;
    a &= ~x->mask;
    for (unsigned k = 0; k < x->count; k++)
      a |= (uint64_t)(q >> k & 1) << x->var[k];
  }
  return in_range(e, a, i) || last_inside(s, e, address, i);
}

bool lu_view_source(const lu_source *s, const lu_evidence *e, uint64_t address, uint64_t *i)
{
  return find_source(s, e, address, i);
}

typedef struct word_at {
  bool known;
  uint64_t address, word;
} word_at;

static bool data_fn_at(const lu_fn *f, const word_at *w)
{
  unsigned index = 0;
  for (unsigned k = 0; k < f->count; k++) {
    unsigned var = f->var[k];
    uint64_t bit = var < 64 ? w->address >> var : w->word >> (var - LU_VAR_DATA);
    index |= (unsigned)(bit & 1) << k;
  }
  return lu_fn_at(f, index);
}

static bool stored_bit(const lu_view *v, unsigned chip, unsigned pin, const word_at *w)
{
  const lu_chip *c = &v->network->chips[chip];
  for (unsigned i = 0; i < v->in_count[chip]; i++)
    if (v->in_change[chip][i].slot == LU_EFFECT_IN + pin)
      return data_fn_at(&v->in_change[chip][i].fn, w);
  return (c->column[pin] == UINT16_MAX ? 0 : w->word >> c->column[pin] & 1) ^ c->column_inverted[pin];
}

/* Value of a read function; *unknown when it hangs on contents that are not known. */
static bool read_fn_at(const lu_view *v, const lu_fn *f, uint64_t address, const word_at *at, bool *unknown)
{
  unsigned index = 0, open = 0;
  for (unsigned k = 0; k < f->count; k++) {
    unsigned var = f->var[k];
    bool bit;
    if (var < 64) {
      bit = address >> var & 1;
    } else {
      unsigned chip = (var - LU_VAR_CHIP) / 16, pin = (var - LU_VAR_CHIP) % 16;
      const word_at *w = chip < v->network->chip_count ? &at[v->chip_source[chip]] : NULL;
      if (!w || !w->known)
        open |= 1u << k;
      bit = w && w->known && stored_bit(v, chip, pin, w);
    }
    index |= (unsigned)bit << k;
  }
  bool value = lu_fn_at(f, index);
  for (unsigned sub = open; sub; sub = (sub - 1) & open)
    if (lu_fn_at(f, index | sub) != value)
      *unknown = true;
  return value;
}

static bool undriven_level(const lu_view *v, const lu_evidence *e, unsigned bit, uint64_t i, uint64_t address,
                           bool *unknown)
{
  uint64_t one = (uint64_t)1 << bit;
  unsigned level = v->undriven;
  if (v->open_columns & one)
    level = v->open_level[1] & one ? LU_LEVEL_KEEP : v->open_level[0] & one ? LU_LEVEL_HIGH : LU_LEVEL_LOW;
  switch (level) {
  case LU_LEVEL_LOW:
    return false;
  case LU_LEVEL_ADDRESS:
    return (e->network->base_word + i) * e->network->board->vantages[e->network->vantage].bytes >> bit & 1 &&
           bit < 8;
  case LU_LEVEL_KEEP:
    (void)address;
    if (i > 0 && lu_word_held(&e->got, i - 1))
      return lu_word(&e->got, i - 1) >> bit & 1;
    if (v->know == LU_KNOW_WRITTEN && i == 0)
      return lu_word(&e->known, e->known.count - 1) >> bit & 1;
    *unknown = true;
    return false;
  default:
    return true;
  }
}

static void replayed_word(const lu_view *v, const lu_evidence *e, uint64_t i, uint64_t *value, uint64_t *unknown)
{
  uint64_t hi, lo;
  lu_replay_word(v->replay, i, &hi, &lo, unknown);
  *value = hi;
  for (uint64_t m = v->changed & ~(hi | lo | *unknown); m; m &= m - 1) {
    bool u = false;
    if (undriven_level(v, e, (unsigned)__builtin_ctzll(m), i, lu_address_of(e->network, i), &u))
      *value |= m & -m;
    *unknown |= u ? m & -m : 0;
  }
  *unknown &= v->changed;
}

void lu_view_word(const lu_view *v, const lu_evidence *e, uint64_t i, uint64_t *value, uint64_t *unknown)
{
  if (v->replay) {
    replayed_word(v, e, i, value, unknown);
    return;
  }
  uint64_t address = lu_address_of(e->network, i), val = 0, unk = 0;
  word_at at[LU_SOURCES_MOST];
  for (unsigned s = 0; s < v->source_count; s++) {
    if (s == 0 && !v->column_count && !v->plain_mask[0])
      continue;
    uint64_t j = i;
    at[s].known = s == 0 || find_source(&v->source[s], e, address, &j);
    if (at[s].known && !lu_word_held(&e->known, j))
      at[s].known = false;
    at[s].address = lu_address_of(e->network, j);
    at[s].word = at[s].known ? lu_word(&e->known, j) : 0;
    val |= at[s].word & v->plain_mask[s];
    if (!at[s].known)
      unk |= v->plain_mask[s];
  }
  for (unsigned c = 0; c < v->column_count; c++) {
    const lu_column *x = &v->column[c];
    bool u = false;
    bool hi, lo;
    if (x->direct) {
      const word_at *w = &at[x->source];
      u = !w->known && (x->hi.count || x->lo.count);
      hi = data_fn_at(&x->hi, w);
      lo = x->pushed ? !hi : data_fn_at(&x->lo, w);
    } else {
      hi = read_fn_at(v, &x->hi, address, at, &u);
      lo = x->pushed ? !hi : read_fn_at(v, &x->lo, address, at, &u);
    }
    bool level = hi ? true : lo ? false : undriven_level(v, e, x->bit, i, address, &u);
    val |= (uint64_t)level << x->bit;
    unk |= (uint64_t)u << x->bit;
  }
  *value = val;
  *unknown = unk;
}

static bool is_itself(const lu_column *x)
{
  return x->direct && !x->source && x->hi.count == 1 && x->hi.var[0] == LU_VAR_DATA + x->bit && lu_fn_at(&x->hi, 1);
}

/* Does what is read follow the word's own bit? at: what each source finds; own: which of them find the word itself. */
static bool follows_itself(const lu_view *v, const lu_column *x, uint64_t address, const word_at *at, const bool *own)
{
  word_at turned[LU_SOURCES_MOST];
  bool unknown = false;
  for (unsigned s = 0; s < v->source_count; s++) {
    turned[s] = at[s];
    turned[s].word ^= own[s] ? (uint64_t)1 << x->bit : 0;
  }
  if (x->direct)
    return data_fn_at(&x->hi, &at[x->source]) != data_fn_at(&x->hi, &turned[x->source]);
  return read_fn_at(v, &x->hi, address, at, &unknown) != read_fn_at(v, &x->hi, address, turned, &unknown);
}

void lu_view_tests(const lu_view *v, const lu_evidence *e, uint64_t i, uint64_t *elsewhere, uint64_t *here)
{
  word_at at[LU_SOURCES_MOST];
  bool own[LU_SOURCES_MOST];
  uint64_t address = lu_address_of(e->network, i);
  *elsewhere = *here = 0;
  for (unsigned s = 0; s < v->source_count; s++) {
    uint64_t j = i;
    at[s].known = (s == 0 || find_source(&v->source[s], e, address, &j)) && lu_word_held(&e->known, j);
    at[s].address = lu_address_of(e->network, j);
    at[s].word = at[s].known ? lu_word(&e->known, j) : 0;
    own[s] = at[s].known && j == i;
    if (s && at[s].known && j != i)
      *elsewhere |= v->plain_mask[s];
  }
  for (unsigned c = 0; c < v->column_count; c++)
    if (!is_itself(&v->column[c]) && !follows_itself(v, &v->column[c], address, at, own))
      *here |= (uint64_t)1 << v->column[c].bit;
}

/* --- whole readings ----------------------------------------------------------------------------- */

/* Stretches of words that every source moves as a whole: their length, 1 when there are none. */
static size_t stretch(const lu_view *v, const lu_evidence *e)
{
  if (v->replay || v->column_count || e->got.held || e->known.held || e->steady)
    return 1;
  unsigned low = 63;
  for (unsigned s = 1; s < v->source_count; s++) {
    for (unsigned g = 0; g < v->source[s].group_count; g++) {
      unsigned bit = (unsigned)__builtin_ctzll(v->source[s].group[g].mask);
      low = bit < low ? bit : low;
    }
  }
  size_t n = low < 40 ? (size_t)1 << low : (size_t)1 << 40;
  while (e->known.count % n || e->network->base_word % n)
    n /= 2;
  return n;
}

#define LU_DIFFER(bits)                                                                            \
  static uint64_t differ_##bits(const void *a, const void *b, size_t n, uint64_t mask, uint64_t *columns) \
  {                                                                                                \
    const uint##bits##_t *x = a, *y = b, m = (uint##bits##_t)mask;                                  \
    uint64_t wrong = 0;                                                                             \
    uint##bits##_t any = 0;                                                                         \
    for (size_t i = 0; i < n; i++)                                                                  \
      any |= (uint##bits##_t)((x[i] ^ y[i]) & m);                                                   \
    for (size_t i = 0; any && i < n; i++)                                                           \
      wrong += (uint64_t)__builtin_popcountll((uint64_t)((x[i] ^ y[i]) & m));                       \
    *columns |= any;                                                                                \
    return wrong;                                                                                   \
  }
LU_DIFFER(8)
LU_DIFFER(16)
LU_DIFFER(32)
LU_DIFFER(64)

static uint64_t differ(const lu_words *a, size_t i, const lu_words *b, size_t j, size_t n, uint64_t mask,
                       uint64_t *columns)
{
  const char *x = (const char *)a->at + i * a->bytes, *y = (const char *)b->at + j * b->bytes;
  switch (a->bytes) {
  case 1:
    return differ_8(x, y, n, mask, columns);
  case 2:
    return differ_16(x, y, n, mask, columns);
  case 4:
    return differ_32(x, y, n, mask, columns);
  default:
    return differ_64(x, y, n, mask, columns);
  }
}

static void count_stretches(const lu_view *v, const lu_evidence *e, size_t n, uint64_t limit, uint64_t *wrong,
                            uint64_t *unknown, uint64_t *columns, uint64_t all)
{
  for (size_t i = 0; i < e->got.count && *wrong <= limit; i += n) {
    uint64_t address = lu_address_of(e->network, i);
    for (unsigned s = 0; s < v->source_count; s++) {
      uint64_t j = i, mask = s ? v->plain_mask[s] : v->plain_mask[0] | (all & ~v->changed);
      if (!mask)
        continue;
      if (s && !find_source(&v->source[s], e, address, &j))
        *unknown += n * (uint64_t)__builtin_popcountll(mask);
      else
        *wrong += differ(&e->got, i, &e->known, j, n, mask, columns);
    }
  }
}

void lu_view_count(const lu_view *v, const lu_evidence *e, uint64_t limit, uint64_t *wrong, uint64_t *unknown,
                   uint64_t *columns)
{
  unsigned w = e->network->data_bits;
  uint64_t all = w >= 64 ? ~(uint64_t)0 : ((uint64_t)1 << w) - 1;
  *wrong = *unknown = *columns = 0;
  size_t n = stretch(v, e);
  if (n >= 64) {
    count_stretches(v, e, n, limit, wrong, unknown, columns, all);
    return;
  }
  if (lu_planes_count(v->planes, v, e, limit, wrong, unknown, columns))
    return;
  for (size_t i = 0; i < e->got.count && *wrong <= limit; i++) {
    if (!lu_word_held(&e->got, i))
      continue;
    uint64_t value = 0, unk = 0, got = lu_word(&e->got, i), steady = e->steady ? e->steady[i] : all;
    if (v->changed)
      lu_view_word(v, e, i, &value, &unk);
    uint64_t rest = all & ~v->changed;
    if (rest) {
      if (lu_word_held(&e->known, i))
        value = (value & v->changed) | (lu_word(&e->known, i) & rest);
      else
        unk |= rest;
    }
    uint64_t bad = (value ^ got) & steady & ~unk & all;
    *wrong += (uint64_t)__builtin_popcountll(bad);
    *unknown += (uint64_t)__builtin_popcountll(unk & steady & all);
    *columns |= bad;
  }
}
