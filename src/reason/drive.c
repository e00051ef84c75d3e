/* SPDX-License-Identifier: MIT */
#include "reason/drive.h"
#include "reason/evidence.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum {
  CUBE_BITS_MOST = 10,  /* address bits of a sub-cube */
  CELL_EXTRA = 2,       /* cell bits that can come to life beyond the address bits */
  STORES_MOST = 24,
  COSETS_MOST = 160,
  POINTS_MOST = COSETS_MOST << 5,
  RANDOM_COSETS = 8,
  ORDERS_MOST = 160,
  VALUES_MOST = 64,
  TABLE_WORDS_MOST = 1 << 20,
  REPEATS = 2           /* a third read in a row shows nothing that the second does not */
};

static uint64_t mix(uint64_t h, uint64_t x)
{
  /* the mixer of splitmix64 (Steele, Lea, Flood, OOPSLA 2014) */
  x = (h ^ x) + 0x9e3779b97f4a7c15u;
  x = (x ^ x >> 30) * 0xbf58476d1ce4e5b9u;
  x = (x ^ x >> 27) * 0x94d049bb133111ebu;
  return x ^ x >> 31;
}

/* --- patterns made ready --------------------------------------------------------------------------- */

/* How much of the memory a pass needs. */
typedef enum span { SPAN_ONE, SPAN_TWO, SPAN_SOME, SPAN_ALL, SPANS } span;

typedef struct order_key {
  lu_order order;
  unsigned line;
} order_key;

typedef struct pass {
  uint16_t order, value; /* numbers among the distinct ones; value UINT16_MAX: constant */
  uint8_t span;
  uint64_t constant, mask;
} pass;

typedef struct prepared {
  const lu_pattern *pattern;
  size_t pass_count;
  pass *passes;
} prepared;

/* Words on which patterns are run, for one set of address bits. */
typedef struct stage {
  bool ready;
  uint64_t mask;
  unsigned bits;
  uint8_t var[CUBE_BITS_MOST];
  size_t coset_count, span_cosets[SPANS];
  uint64_t coset[COSETS_MOST];
  uint64_t *address, *word;             /* by point: coset << bits | place in the cube */
  uint64_t *weight[2];                  /* what a point counts for: one coset for all; each its own */
  bool sorted[SPANS][ORDERS_MOST], valued[VALUES_MOST];
  uint32_t *points[SPANS][ORDERS_MOST]; /* in order; words of the block only */
  size_t point_count[SPANS][ORDERS_MOST];
  uint64_t *values[VALUES_MOST];
} stage;

/* Chips that share one way from addresses to cells. */
typedef struct store {
  uint16_t *get, *put; /* by place in the cube */
  uint8_t *takes;
  uint64_t *from;      /* columns that a read takes from here as they are */
  uint64_t *cell;      /* by coset and cell */
  uint32_t *stamp;     /* run in which the cell was written */
  const lu_change *in; /* inputs that differ, or NULL */
  unsigned in_count, chip;
} store;

/* A column that is more than one chip's output. */
typedef struct odd_column {
  uint8_t bit;
  lu_fn hi, lo;
} odd_column;

typedef struct ranked {
  uint64_t rank;
  uint32_t point;
} ranked;

/* Most reads of an operation fail in the same bits as the one before. */
typedef struct shown {
  uint64_t wrong, unknown, part;
} shown;

struct lu_tester {
  const lu_network *n;
  lu_memory block;
  lu_level undriven;
  size_t count, order_count, value_count, seed_count, probe_count, at_count;
  prepared *patterns;
  order_key orders[ORDERS_MOST];
  const lu_contents *values[VALUES_MOST];
  void *tables[VALUES_MOST]; /* contents of the whole block, where it is small enough */
  uint64_t wider;            /* address bits that every sub-cube has besides */
  uint64_t probe[64], at[64]; /* addresses: where syndromes are taken; that patterns name */
  stage stage;
  ranked *ranked;
  lu_arena *mem;
  /* the effect: */
  unsigned store_count, odd_count;
  store stores[STORES_MOST];
  uint8_t chip_store[128]; /* 0xff: none */
  odd_column odd[64];
  uint64_t *ones, *floats, *odds; /* by place in the cube */
  uint64_t changed, float_high, float_keep, float_address;
  /* a run: */
  uint32_t epoch;
  uint64_t bus, bus_unknown;
  uint64_t *rest_wrong, *rest_unknown, *held;
  shown *last;               /* by operation: what the last failing read of it was worth */
  lu_watch_read watch;
  void *user;
  bool stop;                 /* whoever watches has seen enough */
};

lu_memory lu_drive_block(const lu_network *n)
{
  lu_memory b = {.base_word = n->base_word, .words = n->words, .width = n->data_bits,
                .bytes = n->board->vantages[n->vantage].bytes};
  if (b.bytes != 1 && b.bytes != 2 && b.bytes != 4 && b.bytes != 8)
    b.bytes = b.width <= 8 ? 1 : b.width <= 16 ? 2 : b.width <= 32 ? 4 : 8;
  const lu_chip *c = n->chip_count ? &n->chips[0] : NULL;
  for (unsigned i = 0; c && c->multiplexed && i < c->row_bits && i < c->cell_bits; i++)
    if (c->cell[i].count == 1 && c->cell[i].var[0] < n->address_bits)
      b.row_mask |= (uint64_t)1 << c->cell[i].var[0];
  return b;
}

static unsigned block_bits(const lu_memory *b)
{
  return b->words > 1 ? 64 - (unsigned)__builtin_clzll(b->words - 1) : 0;
}

static uint64_t low_mask(unsigned bits)
{
  return bits >= 64 ? ~(uint64_t)0 : ((uint64_t)1 << bits) - 1;
}

static bool order_number(lu_tester *t, lu_order order, unsigned line, uint16_t *out)
{
  for (size_t i = 0; i < t->order_count; i++)
    if (t->orders[i].order == order && t->orders[i].line == line)
      return *out = (uint16_t)i, true;
  if (t->order_count == ORDERS_MOST)
    return false;
  *out = (uint16_t)t->order_count;
  t->orders[t->order_count++] = (order_key){order, line};
  return true;
}

static bool value_number(lu_tester *t, const lu_contents *c, uint16_t *out)
{
  for (size_t i = 0; i < t->value_count; i++)
    if (t->values[i] == c)
      return *out = (uint16_t)i, true;
  if (t->value_count == VALUES_MOST)
    return false;
  *out = (uint16_t)t->value_count;
  t->values[t->value_count++] = c;
  return true;
}

static void note_at(lu_tester *t, uint64_t word)
{
  uint64_t a = lu_address_of(t->n, word);
  for (size_t i = 0; i < t->at_count; i++)
    if (t->at[i] == a)
      return;
  if (t->at_count < 64)
    t->at[t->at_count++] = a;
}

static span span_of(lu_tester *t, const lu_pattern *p, lu_order order, bool solid)
{
  span s = !solid ? SPAN_SOME : order == LU_ORDER_COMPLEMENT ? SPAN_TWO : SPAN_ONE;
  for (size_t i = 0; i < p->element_count; i++) {
    const lu_element *e = &p->elements[i];
    if (e->kind == LU_ELEMENT_AT) {
      note_at(t, e->at);
      s = s < SPAN_SOME ? SPAN_SOME : s;
    }
    if (e->kind == LU_ELEMENT_POWERS)
      s = SPAN_ALL;
  }
  return s;
}

static bool same_everywhere(const lu_background *b)
{
  return !b->contents;
}

/* The passes of one background under one order and lane. */
static bool add_background(lu_tester *t, prepared *q, const lu_background *b, pass base, lu_order order)
{
  unsigned count = b->contents ? 1 : lu_vectors_count(b->vectors, t->block.width);
  base.span = (uint8_t)span_of(t, q->pattern, order, same_everywhere(b));
  for (unsigned v = 0; v < count; v++) {
    base.value = UINT16_MAX;
    if (b->contents) {
      if (!value_number(t, b->contents, &base.value))
        return false;
    } else {
      base.constant = lu_vectors_word(b->vectors, t->block.width, v);
    }
    q->passes[q->pass_count++] = base;
  }
  return true;
}

/* Passes in the order of docs/patterns.md: backgrounds turn fastest, then lanes, then orders. */
static lu_status prepare(lu_tester *t, prepared *q, lu_err *err)
{
  const lu_pattern *p = q->pattern;
  unsigned lanes = p->by_lanes ? (t->block.width + 7) / 8 : 1, bits = block_bits(&t->block);
  lu_status bad = lu_pattern_fits(p, &t->block, err);
  if (bad)
    return bad;
  q->passes = LU_NEW(t->mem, pass, lu_pattern_passes(p, &t->block) + 1);
  if (!q->passes)
    return lu_fail(err, LU_ERR_NOMEM, 0, 0, "no room for the passes of %s", p->name);
  for (size_t o = 0; o < p->order_count; o++) {
    unsigned lines = !bits ? 1 : p->orders[o] == LU_ORDER_LINES ? bits : p->orders[o] == LU_ORDER_TURNS ? 2 * bits : 1;
    for (unsigned line = 0; line < lines; line++)
      for (unsigned lane = 0; lane < lanes; lane++) {
        pass base = {.mask = low_mask(t->block.width)};
        if (p->by_lanes)
          base.mask &= (uint64_t)0xff << (8 * lane);
        bool ok = order_number(t, p->orders[o], line, &base.order);
        for (size_t b = 0; ok && b < p->background_count; b++)
          ok = add_background(t, q, &p->backgrounds[b], base, p->orders[o]);
        if (!ok)
          return lu_fail(err, LU_ERR_LIMIT, 0, 0, "too many different orders or backgrounds at once");
      }
  }
  return LU_OK;
}

/* Addresses at which syndromes are taken: none and all lines high; by the counting code (Kautz, 1974),
 * true and complement, so that any two lines are met in all four ways; and some at random. The two
 * lowest bits differ in most, so that the word before was run too. */
static void choose_probes(lu_tester *t)
{
  unsigned bits = t->n->address_bits;
  uint64_t all = low_mask(bits);
  t->probe[t->probe_count++] = 0;
  t->probe[t->probe_count++] = all;
  for (unsigned v = 0; (1u << v) < bits; v++) {
    uint64_t a = 0;
    for (unsigned i = 0; i < bits; i++)
      a |= (uint64_t)(i >> v & 1) << i;
    t->probe[t->probe_count] = ((a & ~(uint64_t)3) | 1) & all;
    t->probe[t->probe_count + 1] = ((~a & ~(uint64_t)3) | 2) & all;
    t->probe_count += 2;
  }
  for (unsigned i = 0; i < RANDOM_COSETS; i++)
    t->probe[t->probe_count++] = ((mix(i, 1) & ~(uint64_t)3) | (1 + i % 2)) & all;
}

static bool make_room(lu_tester *t)
{
  size_t cube = (size_t)1 << CUBE_BITS_MOST;
  stage *s = &t->stage;
  s->address = LU_NEW(t->mem, uint64_t, POINTS_MOST);
  s->word = LU_NEW(t->mem, uint64_t, POINTS_MOST);
  s->weight[0] = LU_NEW(t->mem, uint64_t, POINTS_MOST);
  s->weight[1] = LU_NEW(t->mem, uint64_t, POINTS_MOST);
  t->rest_wrong = LU_NEW(t->mem, uint64_t, POINTS_MOST);
  t->rest_unknown = LU_NEW(t->mem, uint64_t, POINTS_MOST);
  t->held = LU_NEW(t->mem, uint64_t, POINTS_MOST);
  t->ranked = LU_NEW(t->mem, ranked, POINTS_MOST);
  t->last = LU_NEW(t->mem, shown, LU_PATTERN_OPS_MOST + 1);
  t->ones = LU_NEW(t->mem, uint64_t, cube);
  t->floats = LU_NEW(t->mem, uint64_t, cube);
  t->odds = LU_NEW(t->mem, uint64_t, cube);
  return s->address && s->word && s->weight[0] && s->weight[1] && t->rest_wrong && t->rest_unknown && t->held &&
         t->last && t->ranked && t->ones && t->floats && t->odds;
}

static bool store_room(lu_tester *t, store *s)
{
  size_t cube = (size_t)1 << CUBE_BITS_MOST;
  if (s->get)
    return true;
  s->get = LU_NEW(t->mem, uint16_t, cube);
  s->put = LU_NEW(t->mem, uint16_t, cube);
  s->takes = LU_NEW(t->mem, uint8_t, cube);
  s->from = LU_NEW(t->mem, uint64_t, cube);
  s->cell = LU_NEW(t->mem, uint64_t, POINTS_MOST << CELL_EXTRA);
  s->stamp = LU_NEW(t->mem, uint32_t, POINTS_MOST << CELL_EXTRA);
  return s->get && s->put && s->takes && s->from && s->cell && s->stamp;
}

lu_status lu_tester_new(const lu_network *n, const lu_pattern *const *patterns, size_t count, lu_level undriven,
                        lu_arena *mem, lu_tester **out, lu_err *err)
{
  lu_tester *t = LU_NEW(mem, lu_tester, 1);
  if (!t || !(t->patterns = LU_NEW(mem, prepared, count + 1)))
    return lu_fail(err, LU_ERR_NOMEM, 0, 0, "no room for patterns");
  t->n = n;
  t->block = lu_drive_block(n);
  t->undriven = undriven;
  t->mem = mem;
  t->count = count;
  if (!make_room(t))
    return lu_fail(err, LU_ERR_NOMEM, 0, 0, "no room for patterns");
  for (size_t i = 0; i < count; i++) {
    t->patterns[i].pattern = patterns[i];
    lu_status bad = prepare(t, &t->patterns[i], err);
    if (bad)
      return bad;
  }
  choose_probes(t);
  *out = t;
  return LU_OK;
}

/* --- the words that are run -------------------------------------------------------------------------- */

static uint64_t extract(uint64_t x, uint64_t mask)
{
  uint64_t out = 0;
  for (unsigned i = 0; mask; mask &= mask - 1, i++)
    out |= (x >> __builtin_ctzll(mask) & 1) << i;
  return out;
}

static uint64_t spread(const stage *s, unsigned place)
{
  uint64_t a = 0;
  for (unsigned i = 0; i < s->bits; i++)
    a |= (uint64_t)(place >> i & 1) << s->var[i];
  return a;
}

static void add_coset(stage *s, uint64_t address)
{
  uint64_t c = address & ~s->mask;
  for (size_t i = 0; i < s->coset_count; i++)
    if (s->coset[i] == c)
      return;
  if (s->coset_count < COSETS_MOST && (s->coset_count + 1) << s->bits <= POINTS_MOST)
    s->coset[s->coset_count++] = c;
}

static uint32_t point_of(const stage *s, uint64_t address)
{
  for (size_t i = 0; i < s->coset_count; i++)
    if (s->coset[i] == (address & ~s->mask))
      return (uint32_t)(i << s->bits | extract(address, s->mask));
  return UINT32_MAX;
}

static void set_stage(lu_tester *t, uint64_t mask)
{
  stage *s = &t->stage;
  if (s->ready && s->mask == mask)
    return;
  s->ready = true;
  s->mask = mask;
  s->bits = 0;
  s->coset_count = 0;
  for (uint64_t m = mask; m; m &= m - 1)
    s->var[s->bits++] = (uint8_t)__builtin_ctzll(m);
  memset(s->sorted, 0, sizeof s->sorted);
  memset(s->valued, 0, sizeof s->valued);
  add_coset(s, 0);
  s->span_cosets[SPAN_ONE] = s->coset_count;
  add_coset(s, low_mask(t->n->address_bits));
  s->span_cosets[SPAN_TWO] = s->coset_count;
  for (size_t i = 0; i < t->probe_count; i++)
    add_coset(s, t->probe[i]);
  for (size_t i = 0; i < t->at_count; i++)
    add_coset(s, t->at[i]);
  s->span_cosets[SPAN_SOME] = s->coset_count;
  for (unsigned b = 0; b < block_bits(&t->block); b++)
    add_coset(s, lu_address_of(t->n, (uint64_t)1 << b));
  s->span_cosets[SPAN_ALL] = s->coset_count;
  for (size_t i = 0; i < s->coset_count << s->bits; i++) {
    s->address[i] = s->coset[i >> s->bits] | spread(s, (unsigned)(i & (((size_t)1 << s->bits) - 1)));
    s->word[i] = lu_index_of(t->n, s->address[i]);
    s->weight[0][i] = s->weight[1][i] = 0;
  }
  for (size_t i = 0; i < t->probe_count; i++) {
    if (lu_index_of(t->n, t->probe[i]) >= t->block.words)
      continue;
    s->weight[0][extract(t->probe[i], mask)] += mix(i, 7) | 1;
    uint32_t p = point_of(s, t->probe[i]);
    if (p != UINT32_MAX)
      s->weight[1][p] += mix(i, 7) | 1;
  }
}

static uint64_t rank_of(const lu_tester *t, order_key o, uint64_t word)
{
  uint64_t all = low_mask(block_bits(&t->block)), rows = t->block.row_mask & all, first;
  unsigned bits = block_bits(&t->block);
  if (!t->block.row_mask)
    rows = all & ~low_mask(bits > 1 ? bits / 2 : 1);
  switch (o.order) {
  case LU_ORDER_ROWS:
    first = rows;
    break;
  case LU_ORDER_COLUMNS:
    first = all & ~rows;
    break;
  case LU_ORDER_LINES:
    first = (uint64_t)1 << o.line & all;
    break;
  case LU_ORDER_TURNS: {
    uint64_t slow = (uint64_t)1 << o.line / 2 & all;
    return extract(o.line % 2 ? ~word : word, all & ~slow) | extract(word, slow) << __builtin_popcountll(all & ~slow);
  }
  case LU_ORDER_COMPLEMENT:
    return word <= all / 2 ? 2 * word : 2 * (all - word) + 1;
  default:
    return word;
  }
  return extract(word, first) | extract(word, all & ~first) << __builtin_popcountll(first);
}

static int by_rank(const void *a, const void *b)
{
  const ranked *x = a, *y = b;
  return x->rank < y->rank ? -1 : x->rank > y->rank;
}

static const uint32_t *points_of(lu_tester *t, unsigned wide, unsigned order, size_t *count)
{
  stage *s = &t->stage;
  if (!s->sorted[wide][order]) {
    ranked *list = t->ranked;
    size_t n = 0;
    for (uint32_t i = 0; i < s->span_cosets[wide] << s->bits; i++)
      if (s->word[i] < t->block.words)
        list[n++] = (ranked){rank_of(t, t->orders[order], s->word[i]), i};
    qsort(list, n, sizeof *list, by_rank);
    if (!s->points[wide][order])
      s->points[wide][order] = LU_NEW(t->mem, uint32_t, POINTS_MOST);
    if (!s->points[wide][order])
      n = 0;
    for (size_t i = 0; i < n; i++)
      s->points[wide][order][i] = list[i].point;
    s->point_count[wide][order] = n;
    s->sorted[wide][order] = true;
  }
  *count = s->point_count[wide][order];
  return s->points[wide][order];
}

static uint64_t value_at(const lu_tester *t, unsigned value, uint64_t word)
{
  const lu_words w = {.at = t->tables[value], .bytes = t->block.bytes, .count = t->block.words};
  if (word >= t->block.words)
    return 0;
  if (w.at)
    return lu_word(&w, word);
  return lu_contents_word(t->values[value], 0, t->block.width, t->block.base_word, t->block.bytes, word);
}

/* Pseudo-random words cost a good deal one by one, and the same ones are met again and again. */
static void make_table(lu_tester *t, unsigned value)
{
  if (t->block.words > TABLE_WORDS_MOST || t->tables[value])
    return;
  t->tables[value] = lu_arena_big(t->mem, t->block.words * t->block.bytes + 8);
  if (t->tables[value])
    lu_contents_fill(t->values[value], 0, t->block.width, t->block.base_word, t->block.bytes, 0,
                     (size_t)t->block.words, t->tables[value]);
}

static const uint64_t *values_of(lu_tester *t, unsigned value)
{
  stage *s = &t->stage;
  if (!s->valued[value]) {
    if (!s->values[value])
      s->values[value] = LU_NEW(t->mem, uint64_t, POINTS_MOST);
    if (!s->values[value])
      return NULL;
    make_table(t, value);
    for (size_t i = 0; i < s->coset_count << s->bits; i++)
      s->values[value][i] = value_at(t, value, s->word[i]);
    s->valued[value] = true;
  }
  return s->values[value];
}

/* --- an effect made ready ----------------------------------------------------------------------------- */

static uint64_t address_vars(const lu_fn *f)
{
  uint64_t m = 0;
  for (unsigned i = 0; i < f->count && f->var[i] < LU_VAR_DATA; i++)
    m |= (uint64_t)1 << f->var[i];
  return m;
}

/* Some variable of f is from..: data, or a chip's output. */
static bool hangs_on(const lu_fn *f, unsigned from)
{
  return f->wide || (f->count && f->var[f->count - 1] >= from);
}

static void healthy_column(const lu_network *n, unsigned bit, lu_fn *hi, lu_fn *lo)
{
  const lu_net_state *st = &n->state[(size_t)LU_READ * n->net_count + n->pins[n->data_pin[bit]].net];
  lu_fn no = lu_fn_not(st->lo[0]);
  *hi = lu_fn_and(&st->hi[0], &no);
  *lo = st->lo[0];
}

static const lu_change *column_change(const lu_effect *e, unsigned bit)
{
  for (size_t i = 0; i + 1 < e->count; i++)
    if (e->changes[i].chip == 0xffff && e->changes[i].slot == LU_EFFECT_COLUMN_HI + bit)
      return &e->changes[i];
  return NULL;
}

static void column_now(const lu_network *n, const lu_effect *e, unsigned bit, lu_fn *hi, lu_fn *lo)
{
  /* both halves are noted, but not side by side when several columns change */
  const lu_change *h = column_change(e, bit);
  if (!h) {
    healthy_column(n, bit, hi, lo);
    return;
  }
  *hi = h->fn;
  *lo = lu_fn_const(false);
  for (const lu_change *c = h; c < e->changes + e->count; c++)
    if (c->slot == LU_EFFECT_COLUMN_LO + bit) {
      *lo = c->fn;
      return;
    }
}

uint64_t lu_effect_columns(const lu_network *n, const lu_effect *e)
{
  uint64_t columns = 0;
  for (size_t i = 0; i < e->count; i++) {
    const lu_change *x = &e->changes[i];
    if (x->chip == 0xffff) {
      if (x->slot < LU_EFFECT_COLUMN_LO)
        columns |= (uint64_t)1 << (x->slot - LU_EFFECT_COLUMN_HI);
      continue;
    }
    const lu_chip *c = &n->chips[x->chip];
    for (unsigned d = 0; d < c->out_count; d++)
      if (c->column[d] != UINT16_MAX && (x->slot < LU_EFFECT_IN || x->slot == LU_EFFECT_IN + d))
        columns |= (uint64_t)1 << c->column[d];
  }
  return columns;
}

uint64_t lu_effect_floats(const lu_network *n, const lu_effect *e)
{
  uint64_t out = 0;
  for (uint64_t m = lu_effect_columns(n, e); m; m &= m - 1) {
    lu_fn hi, lo;
    column_now(n, e, (unsigned)__builtin_ctzll(m), &hi, &lo);
    lu_fn any = lu_fn_or(&hi, &lo);
    if (!lu_fn_is(&any, true))
      out |= m & -m;
  }
  return out;
}

/* Address bits that a chip's changed functions, and those they take the place of, hang on. */
static bool chip_vars(const lu_network *n, const lu_change *x, uint64_t *mask)
{
  const lu_chip *c = &n->chips[x->chip];
  bool data = x->slot >= LU_EFFECT_IN;
  *mask |= address_vars(&x->fn) | address_vars(&c->serves);
  if (x->slot < LU_EFFECT_WRITE_CELL)
    *mask |= address_vars(&c->cell[x->slot]);
  else if (x->slot < LU_EFFECT_WRITES)
    *mask |= address_vars(&c->cell[x->slot - LU_EFFECT_WRITE_CELL]);
  return !hangs_on(&x->fn, data ? LU_VAR_CHIP : LU_VAR_DATA);
}

bool lu_tester_mask(const lu_tester *t, const lu_effect *e, uint64_t *out)
{
  const lu_network *n = t->n;
  unsigned spare = 2;
  while ((4u << spare) < n->data_bits)
    spare++;
  uint64_t mask = low_mask(spare < n->address_bits ? spare : n->address_bits) | t->wider;
  if (e->wide)
    return false;
  for (size_t i = 0; i < e->count; i++)
    if (e->changes[i].chip != 0xffff && !chip_vars(n, &e->changes[i], &mask))
      return false;
  for (uint64_t m = lu_effect_columns(n, e); m; m &= m - 1) {
    lu_fn hi, lo;
    column_now(n, e, (unsigned)__builtin_ctzll(m), &hi, &lo);
    if (hi.wide || lo.wide)
      return false;
    mask |= address_vars(&hi) | address_vars(&lo);
    for (unsigned k = 0; k < hi.count + lo.count; k++) {
      unsigned var = k < hi.count ? hi.var[k] : lo.var[k - hi.count];
      if (var >= LU_VAR_CHIP && (var - LU_VAR_CHIP) / 16 < n->chip_count)
        mask |= address_vars(&n->chips[(var - LU_VAR_CHIP) / 16].serves);
    }
  }
  *out = mask;
  return (unsigned)__builtin_popcountll(mask) <= CUBE_BITS_MOST;
}

static bool fn_at(const lu_fn *f, uint64_t address, uint64_t data)
{
  unsigned index = 0;
  for (unsigned k = 0; k < f->count; k++)
    index |= (unsigned)((f->var[k] < LU_VAR_DATA ? address >> f->var[k] : data >> (f->var[k] - LU_VAR_DATA)) & 1) << k;
  return lu_fn_at(f, index);
}

/* A chip's ways to its cells, over the sub-cube. */
static bool fill_store(lu_tester *t, store *s, const lu_effect *e, unsigned chip)
{
  const lu_chip *c = &t->n->chips[chip];
  const lu_fn *read[LU_CELL_BITS_MOST], *write[LU_CELL_BITS_MOST], *takes = &c->serves;
  s->in = NULL;
  s->in_count = 0;
  s->chip = chip;
  for (unsigned b = 0; b < c->cell_bits; b++)
    read[b] = write[b] = &c->cell[b];
  for (size_t i = 0; i < e->count; i++) {
    const lu_change *x = &e->changes[i];
    if (x->chip != chip)
      continue;
    if (x->slot < LU_EFFECT_WRITE_CELL)
      read[x->slot] = &x->fn;
    else if (x->slot < LU_EFFECT_WRITES)
      write[x->slot - LU_EFFECT_WRITE_CELL] = &x->fn;
    else if (x->slot == LU_EFFECT_WRITES)
      takes = &x->fn;
    else if (!s->in_count++)
      s->in = x;
  }
  uint8_t bits[LU_CELL_BITS_MOST];
  unsigned count = 0;
  for (unsigned b = 0; b < c->cell_bits; b++)
    if ((address_vars(read[b]) | address_vars(write[b])) & t->stage.mask)
      bits[count++] = (uint8_t)b;
    else if (read[b] != write[b] && !lu_fn_same(read[b], write[b]))
      bits[count++] = (uint8_t)b;
  if (count > t->stage.bits + CELL_EXTRA)
    return false;
  for (unsigned p = 0; p < 1u << t->stage.bits; p++) {
    uint64_t a = spread(&t->stage, p);
    unsigned put = 0, get = 0;
    for (unsigned i = 0; i < count; i++) {
      put |= (unsigned)fn_at(write[bits[i]], a, 0) << i;
      get |= (unsigned)fn_at(read[bits[i]], a, 0) << i;
    }
    s->put[p] = (uint16_t)put;
    s->get[p] = (uint16_t)get;
    s->takes[p] = fn_at(takes, a, 0);
    s->from[p] = 0;
  }
  return true;
}

static bool same_store(const lu_tester *t, const store *a, const store *b)
{
  size_t n = (size_t)1 << t->stage.bits;
  return !a->in && !b->in && !memcmp(a->get, b->get, n * sizeof *a->get) &&
         !memcmp(a->put, b->put, n * sizeof *a->put) && !memcmp(a->takes, b->takes, n);
}

static bool add_store(lu_tester *t, const lu_effect *e, unsigned chip)
{
  if (chip >= 128 || t->chip_store[chip] != 0xff)
    return chip < 128;
  if (t->store_count == STORES_MOST || !store_room(t, &t->stores[t->store_count]))
    return false;
  store *s = &t->stores[t->store_count];
  if (!fill_store(t, s, e, chip))
    return false;
  for (unsigned i = 0; i < t->store_count; i++)
    if (same_store(t, s, &t->stores[i])) {
      t->chip_store[chip] = (uint8_t)i;
      return true;
    }
  t->chip_store[chip] = (uint8_t)t->store_count++;
  return true;
}

/* f where the address bits are those of a. */
static lu_fn at_address(const lu_fn *f, uint64_t a)
{
  lu_fn g = *f;
  while (g.count && g.var[0] < LU_VAR_DATA)
    g = lu_fn_fix(&g, g.var[0], a >> g.var[0] & 1);
  return g;
}

/* At one place of the cube: where the column's level comes from. True: it must be worked out. */
static bool settle_column(lu_tester *t, unsigned bit, unsigned p, const lu_fn *hi, const lu_fn *lo)
{
  uint64_t one = (uint64_t)1 << bit;
  if (lu_fn_is(hi, true)) {
    t->ones[p] |= one;
    return false;
  }
  if (lu_fn_is(hi, false) && (lu_fn_is(lo, true) || lu_fn_is(lo, false))) {
    t->floats[p] |= lu_fn_is(lo, false) ? one : 0;
    return false;
  }
  lu_fn no = lu_fn_not(*lo);
  if (hi->count == 1 && hi->var[0] >= LU_VAR_CHIP && lu_fn_same(hi, &no)) {
    unsigned chip = (hi->var[0] - LU_VAR_CHIP) / 16, pin = (hi->var[0] - LU_VAR_CHIP) % 16;
    const lu_chip *c = chip < t->n->chip_count ? &t->n->chips[chip] : NULL;
    if (c && c->column[pin] == bit && lu_fn_at(hi, 1) != c->column_inverted[pin]) {
      t->stores[t->chip_store[chip]].from[p] |= one;
      return false;
    }
  }
  t->odds[p] |= one;
  return true;
}

static bool load_column(lu_tester *t, const lu_effect *e, unsigned bit)
{
  lu_fn hi, lo;
  column_now(t->n, e, bit, &hi, &lo);
  for (unsigned k = 0; k < hi.count + lo.count; k++) {
    unsigned var = k < hi.count ? hi.var[k] : lo.var[k - hi.count];
    if (var >= LU_VAR_CHIP && (var - LU_VAR_CHIP) / 16 < t->n->chip_count &&
        !add_store(t, e, (var - LU_VAR_CHIP) / 16))
      return false;
  }
  bool odd = false, still = !address_vars(&hi) && !address_vars(&lo);
  lu_fn h = hi, l = lo;
  for (unsigned p = 0; p < 1u << t->stage.bits; p++) {
    if (!still) {
      uint64_t a = spread(&t->stage, p);
      h = at_address(&hi, a);
      l = at_address(&lo, a);
    }
    odd |= settle_column(t, bit, p, &h, &l);
  }
  if (odd)
    t->odd[t->odd_count++] = (odd_column){(uint8_t)bit, hi, lo};
  return true;
}

static void load_levels(lu_tester *t, const lu_fault *faults, size_t count)
{
  uint64_t open = 0;
  t->float_high = t->float_keep = t->float_address = 0;
  for (size_t i = 0; i < count; i++)
    for (unsigned d = 0; faults[i].kind == LU_FAULT_OPEN && d < t->n->data_bits; d++) {
      uint64_t one = (uint64_t)1 << d;
      if (t->n->pins[t->n->data_pin[d]].net != faults[i].net)
        continue;
      open |= one;
      t->float_high |= faults[i].level == LU_LEVEL_HIGH ? one : 0;
      t->float_keep |= faults[i].level == LU_LEVEL_KEEP ? one : 0;
    }
  t->float_high |= t->undriven == LU_LEVEL_HIGH ? ~open : 0;
  t->float_keep |= t->undriven == LU_LEVEL_KEEP ? ~open : 0;
  t->float_address |= t->undriven == LU_LEVEL_ADDRESS ? ~open & 0xff : 0;
}

static bool load(lu_tester *t, const lu_effect *e, const lu_fault *faults, size_t count)
{
  uint64_t mask;
  if (!lu_tester_mask(t, e, &mask))
    return false;
  set_stage(t, mask);
  t->store_count = t->odd_count = 0;
  memset(t->chip_store, 0xff, sizeof t->chip_store);
  for (unsigned p = 0; p < 1u << t->stage.bits; p++)
    t->ones[p] = t->floats[p] = t->odds[p] = 0;
  t->changed = lu_effect_columns(t->n, e);
  for (uint64_t m = t->changed; m; m &= m - 1)
    if (!load_column(t, e, (unsigned)__builtin_ctzll(m)))
      return false;
  load_levels(t, faults, count);
  return true;
}

/* --- operations ------------------------------------------------------------------------------------------ */

static uint64_t stored_word(const lu_tester *t, const store *s, uint64_t value, uint64_t address)
{
  const lu_chip *c = &t->n->chips[s->chip];
  uint64_t w = value;
  for (unsigned i = 0; i < s->in_count; i++) {
    unsigned pin = (unsigned)s->in[i].slot - LU_EFFECT_IN;
    if (c->column[pin] == UINT16_MAX)
      continue;
    uint64_t one = (uint64_t)1 << c->column[pin];
    w = fn_at(&s->in[i].fn, address, value) != c->column_inverted[pin] ? w | one : w & ~one;
  }
  return w;
}

static size_t cell_at(const lu_tester *t, uint32_t point, unsigned cell)
{
  return (size_t)(point >> t->stage.bits) << (t->stage.bits + CELL_EXTRA) | cell;
}

static inline void write_point(lu_tester *t, uint32_t point, uint64_t value)
{
  unsigned p = point & ((1u << t->stage.bits) - 1);
  for (unsigned i = 0; i < t->store_count; i++) {
    store *s = &t->stores[i];
    if (!s->takes[p])
      continue;
    size_t at = cell_at(t, point, s->put[p]);
    s->cell[at] = s->in ? stored_word(t, s, value, t->stage.address[point]) : value;
    s->stamp[at] = t->epoch;
  }
  t->bus = value;
  t->bus_unknown = 0;
}

/* Level of a function of chips' outputs; *unknown when it hangs on what was there before. */
static bool odd_fn(const lu_tester *t, const lu_fn *f, uint32_t point, bool *unknown)
{
  unsigned index = 0, open = 0, p = point & ((1u << t->stage.bits) - 1);
  for (unsigned k = 0; k < f->count; k++) {
    unsigned var = f->var[k];
    if (var < LU_VAR_DATA) {
      index |= (unsigned)(t->stage.address[point] >> var & 1) << k;
      continue;
    }
    unsigned chip = (var - LU_VAR_CHIP) / 16, pin = (var - LU_VAR_CHIP) % 16;
    const lu_chip *c = chip < t->n->chip_count ? &t->n->chips[chip] : NULL;
    const store *s = c ? &t->stores[t->chip_store[chip]] : NULL;
    size_t at = s ? cell_at(t, point, s->get[p]) : 0;
    if (!s || s->stamp[at] != t->epoch || c->column[pin] == UINT16_MAX)
      open |= 1u << k;
    else
      index |= ((unsigned)(s->cell[at] >> c->column[pin] & 1) ^ c->column_inverted[pin]) << k;
  }
  bool value = lu_fn_at(f, index);
  for (unsigned sub = open; sub; sub = (sub - 1) & open)
    *unknown |= lu_fn_at(f, index | sub) != value;
  return value;
}

static void read_odd(const lu_tester *t, uint32_t point, uint64_t bits, uint64_t *value, uint64_t *unknown,
                     uint64_t *floats)
{
  for (unsigned i = 0; i < t->odd_count; i++) {
    const odd_column *o = &t->odd[i];
    uint64_t one = (uint64_t)1 << o->bit;
    bool u = false;
    if (!(bits & one))
      continue;
    bool hi = odd_fn(t, &o->hi, point, &u), lo = odd_fn(t, &o->lo, point, &u);
    *unknown |= u ? one : 0;
    *value |= hi && !u ? one : 0;
    *floats |= !hi && !lo && !u ? one : 0;
  }
}

static uint64_t read_point(lu_tester *t, uint32_t point, uint64_t expected, uint64_t *unknown)
{
  unsigned p = point & ((1u << t->stage.bits) - 1);
  uint64_t value = t->ones[p], unk = 0, floats = t->floats[p];
  for (unsigned i = 0; i < t->store_count; i++) {
    const store *s = &t->stores[i];
    if (!s->from[p])
      continue;
    size_t at = cell_at(t, point, s->get[p]);
    if (s->stamp[at] == t->epoch)
      value |= s->cell[at] & s->from[p];
    else
      unk |= s->from[p];
  }
  if (t->odds[p])
    read_odd(t, point, t->odds[p], &value, &unk, &floats);
  if (floats) {
    value |= floats & (t->float_high | (t->float_keep & t->bus & ~t->bus_unknown));
    unk |= floats & t->float_keep & t->bus_unknown;
    if (floats & t->float_address)
      value |= floats & t->float_address & (t->block.base_word + t->stage.word[point]) * t->block.bytes;
  }
  t->bus = (value & t->changed) | (expected & ~t->changed);
  t->bus_unknown = unk;
  *unknown = unk;
  return value;
}

/* --- a pattern ----------------------------------------------------------------------------------------------- */

typedef struct going {
  lu_tester *t;
  const lu_pattern *pattern;
  const pass *pass;
  const uint64_t *values, *weight;
  const uint32_t *points;
  size_t point_count;
  uint32_t number;  /* of the pass */
  bool plain;       /* whole words, no `rest`, nobody watches */
  lu_outcome *out;
} going;

static uint64_t syndrome_part(const going *g, unsigned op, uint64_t wrong, uint64_t unknown)
{
  shown *s = &g->t->last[op];
  if (s->wrong != wrong || s->unknown != unknown)
    *s = (shown){wrong, unknown, mix(mix(mix((uint64_t)g->number << 16 | op, wrong), unknown), 3)};
  return s->part;
}

static void do_op(const going *g, unsigned op, uint32_t point, uint64_t weight, bool rest)
{
  lu_tester *t = g->t;
  const lu_pattern_op *o = &g->pattern->ops[op];
  uint64_t zero = g->values ? g->values[point] : g->pass->constant, unk;
  uint64_t whole = low_mask(t->block.width), mask = g->pass->mask, word = (o->value ? ~zero : zero) & whole;
  if (mask != whole) /* a byte lane alone: the others carry what the word holds already */
    word = (word & mask) | (t->held[point] & ~mask);
  if (o->kind == LU_OP_WRITE) {
    if (mask != whole)
      t->held[point] = word;
    write_point(t, point, word);
    return;
  }
  for (unsigned i = 0; i < o->repeat && i < REPEATS; i++) {
    uint64_t value = read_point(t, point, word, &unk);
    uint64_t wrong = (value ^ word) & t->changed & ~unk & mask;
    unk &= mask;
    if (t->watch && !t->watch(t->user, &(lu_watched){t->stage.word[point], g->number, op, word & mask, t->changed & mask, value, unk}))
      t->stop = true;
    if (!(wrong | unk))
      continue;
    g->out->detected |= wrong != 0;
    g->out->chance |= unk != 0;
    if (rest) {
      t->rest_wrong[point] |= wrong;
      t->rest_unknown[point] |= unk;
    } else {
      g->out->syndrome += weight * syndrome_part(g, op, wrong, unk);
    }
  }
}

/* The words of an element that are run; a lone word when it is AT or POWERS. */
static uint32_t element_point(const going *g, const lu_element *e, size_t i)
{
  const lu_tester *t = g->t;
  if (e->kind == LU_ELEMENT_ALL)
    return g->points[i];
  uint64_t word = e->kind == LU_ELEMENT_AT ? e->at : i ? (uint64_t)1 << (i - 1) : 0;
  return word < t->block.words ? point_of(&t->stage, lu_address_of(t->n, word)) : UINT32_MAX;
}

static size_t element_size(const going *g, const lu_element *e)
{
  if (e->kind == LU_ELEMENT_ALL)
    return g->point_count;
  return e->kind == LU_ELEMENT_AT ? 1 : (size_t)block_bits(&g->t->block) + 1;
}

static uint64_t weight_of(const going *g, const lu_element *e, uint32_t point)
{
  return e->kind == LU_ELEMENT_ALL ? g->weight[point] : mix(g->t->stage.address[point], 11) | 1;
}

static void do_rest(const going *g, const lu_element *e, unsigned op, uint32_t home)
{
  for (size_t i = 0, n = element_size(g, e); i < n; i++) {
    uint32_t point = element_point(g, e, i);
    if (point == home || point == UINT32_MAX)
      continue;
    for (unsigned k = 1; k <= g->pattern->ops[op].nested; k++)
      do_op(g, op + k, point, 0, true);
  }
}

static void fold_rest(const going *g, const lu_element *e)
{
  lu_tester *t = g->t;
  for (size_t i = 0, n = element_size(g, e); i < n; i++) {
    uint32_t point = element_point(g, e, i);
    if (point == UINT32_MAX || !(t->rest_wrong[point] | t->rest_unknown[point]))
      continue;
    g->out->syndrome += weight_of(g, e, point) *
                        syndrome_part(g, e->first_op, t->rest_wrong[point], mix(t->rest_unknown[point], 5));
    t->rest_wrong[point] = t->rest_unknown[point] = 0;
  }
}

/* What the bus carries while do_plain runs. */
typedef struct bus_state {
  uint64_t value, unknown;
} bus_state;

static inline void plain_write(lu_tester *t, uint32_t point, unsigned p, size_t row, uint64_t word)
{
  for (unsigned i = 0; i < t->store_count; i++) {
    store *s = &t->stores[i];
    if (!s->takes[p])
      continue;
    size_t at = row | s->put[p];
    s->cell[at] = s->in ? stored_word(t, s, word, t->stage.address[point]) : word;
    s->stamp[at] = t->epoch;
  }
}

static inline uint64_t plain_read(const lu_tester *t, uint32_t point, unsigned p, size_t row, const bus_state *bus, uint64_t *unknown)
{
  uint64_t value = t->ones[p], floats = t->floats[p], unk = 0;
  for (unsigned i = 0; i < t->store_count; i++) {
    const store *s = &t->stores[i];
    uint64_t from = s->from[p];
    size_t at = row | s->get[p];
    bool known = s->stamp[at] == t->epoch;
    value |= known ? s->cell[at] & from : 0;
    unk |= known ? 0 : from;
  }
  if (t->odds[p])
    read_odd(t, point, t->odds[p], &value, &unk, &floats);
  if (floats) {
    value |= floats & (t->float_high | (t->float_keep & bus->value & ~bus->unknown));
    unk |= floats & t->float_keep & bus->unknown;
    if (floats & t->float_address)
      value |= floats & t->float_address & (t->block.base_word + t->stage.word[point]) * t->block.bytes;
  }
  *unknown = unk;
  return value;
}

/* Every word of an element without `rest`, whole words, nobody watching: what do_op does, with all that
 * stays the same from word to word held outside. Most of the time of lu_tester_run is spent here. */
static void do_plain(const going *g, const lu_element *e)
{
  lu_tester *t = g->t;
  const lu_pattern_op *ops = g->pattern->ops + e->first_op;
  const uint64_t whole = low_mask(t->block.width), changed = t->changed, constant = g->pass->constant;
  const uint64_t *values = g->values, *weights = g->weight;
  const uint32_t *points = g->points;
  const unsigned bits = t->stage.bits, cube = (1u << bits) - 1, count = e->op_count;
  const size_t n = g->point_count;
  bus_state bus = {t->bus, t->bus_unknown};
  uint64_t syndrome = 0, any_wrong = 0, any_unknown = 0;
  const bool down = e->direction == LU_DOWN;
  for (size_t i = 0; i < n; i++) {
    uint32_t point = points[down ? n - 1 - i : i];
    unsigned p = point & cube;
    size_t row = (size_t)(point >> bits) << (bits + CELL_EXTRA);
    uint64_t zero = values ? values[point] : constant, weight = weights[point], sum = 0;
    for (unsigned k = 0; k < count; k++) {
      uint64_t word = (ops[k].value ? ~zero : zero) & whole, unk;
      if (ops[k].kind == LU_OP_WRITE) {
        plain_write(t, point, p, row, word);
        bus = (bus_state){word, 0};
        continue;
      }
      for (unsigned r = 0; r < ops[k].repeat && r < REPEATS; r++) {
        uint64_t value = plain_read(t, point, p, row, &bus, &unk), wrong = (value ^ word) & changed & ~unk & whole;
        bus = (bus_state){(value & changed) | (word & ~changed), unk};
        unk &= whole;
        any_wrong |= wrong;
        any_unknown |= unk;
        if (weight && (wrong | unk))
          sum += syndrome_part(g, e->first_op + k, wrong, unk);
      }
    }
    syndrome += weight * sum;
  }
  t->bus = bus.value;
  t->bus_unknown = bus.unknown;
  g->out->syndrome += syndrome;
  g->out->detected |= any_wrong != 0;
  g->out->chance |= any_unknown != 0;
}

static void do_element(const going *g, const lu_element *e)
{
  bool rest = false;
  size_t n = element_size(g, e);
  if (e->kind == LU_ELEMENT_WAIT)
    return;
  if (g->plain && e->kind == LU_ELEMENT_ALL) {
    do_plain(g, e);
    return;
  }
  for (size_t i = 0; i < n && !g->t->stop; i++) {
    uint32_t point = element_point(g, e, e->direction == LU_DOWN ? n - 1 - i : i);
    if (point == UINT32_MAX)
      continue;
    uint64_t weight = weight_of(g, e, point);
    for (unsigned k = 0; k < e->op_count; k++) {
      unsigned op = e->first_op + k;
      if (g->pattern->ops[op].kind != LU_OP_REST) {
        do_op(g, op, point, weight, false);
        continue;
      }
      do_rest(g, e, op, point);
      k += g->pattern->ops[op].nested;
      rest = true;
    }
  }
  if (rest)
    fold_rest(g, e);
}

static bool run_pattern(lu_tester *t, const prepared *q, lu_outcome *out)
{
  *out = (lu_outcome){0};
  t->epoch++;
  t->bus_unknown = ~(uint64_t)0;
  bool plain = !q->pattern->by_lanes && !t->watch;
  for (size_t i = 0; i < q->pattern->op_count; i++)
    plain &= q->pattern->ops[i].kind != LU_OP_REST;
  if (q->pattern->by_lanes)
    memset(t->held, 0, POINTS_MOST * sizeof *t->held);
  for (size_t i = 0; i < q->pass_count && !t->stop; i++) {
    const pass *x = &q->passes[i];
    going g = {.t = t, .pattern = q->pattern, .pass = x, .number = (uint32_t)i, .plain = plain, .out = out};
    g.weight = t->stage.weight[x->span > SPAN_TWO];
    g.points = points_of(t, x->span, x->order, &g.point_count);
    if (x->value != UINT16_MAX && !(g.values = values_of(t, x->value)))
      return false;
    if (!g.points)
      return false;
    memset(t->last, 0, q->pattern->op_count * sizeof *t->last);
    for (size_t e = 0; e < q->pattern->element_count; e++)
      do_element(&g, &q->pattern->elements[e]);
  }
  return true;
}

void lu_tester_widen(lu_tester *t, uint64_t address_bits)
{
  t->wider = address_bits & low_mask(t->n->address_bits);
}

void lu_tester_undriven(lu_tester *t, lu_level level)
{
  t->undriven = level;
}

bool lu_tester_run(lu_tester *t, const lu_effect *effect, const lu_fault *faults, size_t fault_count, lu_outcome *out)
{
  bool ok = load(t, effect, faults, fault_count);
  t->watch = NULL;
  t->stop = false;
  for (size_t i = 0; ok && i < t->count; i++)
    ok = run_pattern(t, &t->patterns[i], &out[i]);
  return ok;
}

bool lu_tester_watch(lu_tester *t, size_t pattern, const lu_effect *effect, const lu_fault *faults, size_t fault_count,
                     lu_watch_read watch, void *user, lu_outcome *out)
{
  t->watch = watch;
  t->user = user;
  t->stop = false;
  return load(t, effect, faults, fault_count) && run_pattern(t, &t->patterns[pattern], out);
}

/* --- gain ------------------------------------------------------------------------------------------------------ */

typedef struct weighed {
  uint64_t syndrome;
  double weight;
} weighed;

static int by_syndrome(const void *a, const void *b)
{
  const weighed *x = a, *y = b;
  return x->syndrome < y->syndrome ? -1 : x->syndrome > y->syndrome;
}

double lu_pattern_gain(const uint64_t *syndromes, size_t stride, const double *weight, size_t count, lu_arena *mem)
{
  weighed *list = LU_NEW(mem, weighed, count + 1);
  double all = 0, bits = 0;
  if (!list)
    return 0;
  for (size_t i = 0; i < count; i++) {
    list[i] = (weighed){syndromes[i * stride], weight[i]};
    all += weight[i];
  }
  qsort(list, count, sizeof *list, by_syndrome);
  for (size_t i = 0; i < count;) {
    double sum = 0;
    size_t from = i;
    while (i < count && list[i].syndrome == list[from].syndrome)
      sum += list[i++].weight;
    if (sum > 0)
      bits -= sum * log2(sum / all);
  }
  return bits;
}
