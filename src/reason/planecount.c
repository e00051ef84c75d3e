/* SPDX-License-Identifier: MIT */
#include "reason/planecount.h"

#include "base/planes.h"

#include <string.h>

enum {
  LANES = 64,
  LANE_BITS = 6,
  PATTERNS_MOST = 64,
  SOURCES_MOST = 4,
  PIECE = 64,              /* entries at a time, which stay in the first cache */
  WORDS_LEAST = 4096,
  BYTES_MOST = 1 << 30     /* of a reading; larger ones are not doubled in memory */
};

/* Part of an entry: bits `mask` of entry i come from entry i + word, moved up by `up` (or down). */
typedef struct move {
  uint64_t mask;
  int64_t word;
  int up;
} move;

/* Where entries find their data under one source, by the pattern of the source's address bits above
 * the entry. */
typedef struct moves {
  unsigned high_count, run; /* run: entries that surely share a pattern, a power of two */
  uint8_t high[LU_GROUPS_MOST * LU_GROUP_VARS_MOST];
  bool made[PATTERNS_MOST];
  uint8_t count[PATTERNS_MOST]; /* 0 = nothing is there */
  uint64_t there[PATTERNS_MOST];
  move *move[PATTERNS_MOST]; /* [LANES], NULL until the pattern is met */
} moves;

struct lu_plane_store {
  lu_arena *mem;
  const void *got_at, *known_at; /* of which reading; NULL = none */
  size_t count;
  uint64_t differ[64];           /* words in which the bit differs from what is known */
  uint64_t *got[64], *known[64]; /* NULL = not made */
  moves plan[SOURCES_MOST];
  bool refused;                  /* memory */
};

lu_plane_store *lu_plane_store_new(lu_arena *mem)
{
  lu_plane_store *s = LU_NEW(mem, lu_plane_store, 1);
  if (s)
    s->mem = mem;
  return s;
}

/* --- planes ----------------------------------------------------------------------------------------- */

static lu_array array_of(const lu_words *w)
{
  return (lu_array){w->at, w->count, w->bytes, NULL};
}

/* Another reading than the last: nothing is known of it but the differences, which are counted. */
static void begin(lu_plane_store *s, const lu_evidence *e)
{
  if (s->got_at == e->got.at && s->known_at == e->known.at && s->count == e->got.count)
    return;
  s->got_at = e->got.at;
  s->known_at = e->known.at;
  s->count = e->got.count;
  memset(s->got, 0, sizeof s->got);
  memset(s->known, 0, sizeof s->known);
  memset(s->differ, 0, sizeof s->differ);
  if (s->got_at == s->known_at)
    return;
  lu_diff d;
  lu_array a = array_of(&e->known), b = array_of(&e->got);
  lu_diff_words(lu_kernels_best(), &a, &b, &d);
  for (unsigned i = 0; i < 64; i++)
    s->differ[i] = d.set[i] + d.cleared[i];
}

static bool make(lu_plane_store *s, const lu_words *w, uint64_t **planes, uint64_t bits)
{
  size_t entries = w->count / LANES;
  uint64_t lacking = 0;
  for (uint64_t m = bits; m; m &= m - 1)
    if (!planes[__builtin_ctzll(m)])
      lacking |= m & -m;
  for (uint64_t m = lacking; m; m &= m - 1) {
    uint64_t *p = lu_arena_big(s->mem, entries * sizeof *p);
    if (!p) { /* none of them is filled yet */
      for (; lacking; lacking &= lacking - 1)
        planes[__builtin_ctzll(lacking)] = NULL;
      return false;
    }
    planes[__builtin_ctzll(m)] = p;
  }
  lu_array a = array_of(w);
  if (lacking)
    lu_planes_pick(lu_kernels_best(), &a, lacking, planes);
  return true;
}

static uint64_t data_vars(const lu_fn *f)
{
  uint64_t m = 0;
  for (unsigned k = 0; k < f->count; k++)
    m |= (uint64_t)1 << (f->var[k] - LU_VAR_DATA);
  return m;
}

/* The planes that the hypothesis asks for. */
static bool make_all(lu_plane_store *s, const lu_view *v, const lu_evidence *e)
{
  uint64_t got = 0, known = 0;
  for (unsigned i = 1; i < v->source_count; i++)
    known |= v->plain_mask[i];
  got = known;
  for (unsigned c = 0; c < v->column_count; c++) {
    known |= data_vars(&v->column[c].hi) | data_vars(&v->column[c].lo);
    got |= (uint64_t)1 << v->column[c].bit;
  }
  if (s->got_at != s->known_at)
    return make(s, &e->got, s->got, got) && make(s, &e->known, s->known, known);
  if (!make(s, &e->got, s->got, got | known))
    return false;
  memcpy(s->known, s->got, sizeof s->known);
  return true;
}

/* --- where entries come from ------------------------------------------------------------------------ */

static bool plan(const lu_source *s, moves *p)
{
  unsigned low = 31;
  p->high_count = 0;
  memset(p->made, 0, sizeof p->made);
  for (unsigned g = 0; g < s->group_count; g++)
    for (unsigned k = 0; k < s->group[g].count; k++)
      if (s->group[g].var[k] >= LANE_BITS) {
        low = s->group[g].var[k] < low ? s->group[g].var[k] : low;
        p->high[p->high_count++] = s->group[g].var[k];
      }
  p->run = 1u << (low - LANE_BITS);
  return p->high_count <= LANE_BITS;
}

/* Adds one lane to the moves; lanes that go the same way share one. from: where its word is found,
 * counted from the entry's first word. */
static void add_lane(moves *p, unsigned pattern, unsigned lane, int64_t from)
{
  int64_t word = from >= 0 ? from / LANES : -((LANES - 1 - from) / LANES);
  int up = (int)((int64_t)lane - (from - word * LANES));
  unsigned m = 0;
  while (m < p->count[pattern] && (p->move[pattern][m].word != word || p->move[pattern][m].up != up))
    m++;
  if (m == p->count[pattern])
    p->move[pattern][p->count[pattern]++] = (move){0, word, up};
  p->move[pattern][m].mask |= (uint64_t)1 << lane;
  p->there[pattern] |= (uint64_t)1 << lane;
}

/* The pattern of the entry that starts with word `first`. */
static unsigned pattern_at(lu_plane_store *store, const lu_source *s, const lu_evidence *e, moves *p, uint64_t first)
{
  uint64_t address = lu_address_of(e->network, first);
  unsigned pattern = 0;
  for (unsigned k = 0; k < p->high_count; k++)
    pattern |= (unsigned)(address >> p->high[k] & 1) << k;
  if (p->made[pattern])
    return pattern;
  p->made[pattern] = true;
  p->count[pattern] = 0;
  p->there[pattern] = 0;
  if (!p->move[pattern])
    p->move[pattern] = LU_NEW(store->mem, move, LANES);
  if (!p->move[pattern]) {
    store->refused = true;
    return pattern;
  }
  for (unsigned l = 0; l < LANES; l++) {
    uint64_t j;
    if (lu_view_source(s, e, address + l, &j))
      add_lane(p, pattern, l, (int64_t)j - (int64_t)first);
  }
  return pattern;
}

/* out[n] = entries [from, from + n) of a plane as the source moves them; all of one pattern. */
static void move_entries(const moves *p, unsigned pattern, const uint64_t *plane, size_t from, size_t n,
                         uint64_t *out)
{
  memset(out, 0, n * sizeof *out);
  for (unsigned m = 0; m < p->count[pattern]; m++) {
    const move *x = &p->move[pattern][m];
    const uint64_t *in = plane + ((int64_t)from + x->word);
    if (x->up >= 0)
      for (size_t i = 0; i < n; i++)
        out[i] |= in[i] << x->up & x->mask;
    else
      for (size_t i = 0; i < n; i++)
        out[i] |= in[i] >> -x->up & x->mask;
  }
}

/* A stretch of at most PIECE entries under one source: out, and what is there of it. */
static void fetch(lu_plane_store *s, const lu_view *v, const lu_evidence *e, unsigned source, const uint64_t *plane,
                  size_t from, size_t n, uint64_t *out)
{
  moves *p = &s->plan[source];
  if (!source) {
    memcpy(out, plane + from, n * sizeof *out);
    return;
  }
  if (v->source[source].nothing) {
    memset(out, 0, n * sizeof *out);
    return;
  }
  for (size_t i = 0, run; i < n; i += run) {
    run = p->run < n - i ? p->run : n - i; /* stretches start at multiples of PIECE, runs are powers of two */
    move_entries(p, pattern_at(s, &v->source[source], e, p, (from + i) * LANES), plane, from + i, run, out + i);
  }
}

static void fetch_there(lu_plane_store *s, const lu_view *v, const lu_evidence *e, unsigned source, size_t from,
                        size_t n, uint64_t *there)
{
  moves *p = &s->plan[source];
  for (size_t i = 0; i < n; i++)
    there[i] = !source ? ~(uint64_t)0
               : v->source[source].nothing
                   ? 0
                   : p->there[pattern_at(s, &v->source[source], e, p, (from + i) * LANES)];
}

/* --- values ------------------------------------------------------------------------------------------ */

/* out[n] = f of its variables' entries in[k][n]. The table is halved variable by variable from the
 * last one on; each half is a constant in the end. */
static void evaluate(uint64_t table, unsigned vars, const uint64_t (*in)[PIECE], size_t n, uint64_t *out)
{
  uint64_t low[PIECE], high[PIECE];
  if (!vars) {
    memset(out, table & 1 ? 0xff : 0, n * sizeof *out);
    return;
  }
  evaluate(table, vars - 1, in, n, low);
  evaluate(table >> (1u << (vars - 1)), vars - 1, in, n, high);
  for (size_t i = 0; i < n; i++)
    out[i] = (high[i] & in[vars - 1][i]) | (low[i] & ~in[vars - 1][i]);
}

static void evaluate_fn(lu_plane_store *s, const lu_view *v, const lu_evidence *e, const lu_fn *f, unsigned source,
                        size_t from, size_t n, uint64_t *out)
{
  uint64_t in[LU_FN_VARS][PIECE];
  for (unsigned k = 0; k < f->count; k++)
    fetch(s, v, e, source, s->known[f->var[k] - LU_VAR_DATA], from, n, in[k]);
  evaluate(f->table, f->count, (const uint64_t (*)[PIECE])in, n, out);
}

/* What the bus showed one word earlier. At the very first word that is what was written last, or
 * something that nobody knows, which is then taken to be what was read. */
static void before(const lu_plane_store *s, const lu_view *v, const lu_evidence *e, unsigned bit, size_t from,
                   size_t n, uint64_t *out)
{
  const uint64_t *got = s->got[bit];
  uint64_t last = from ? got[from - 1] >> (LANES - 1)
                       : lu_word(v->know == LU_KNOW_WRITTEN ? &e->known : &e->got,
                                 v->know == LU_KNOW_WRITTEN ? e->known.count - 1 : 0) >> bit & 1;
  for (size_t i = 0; i < n; i++) {
    out[i] = got[from + i] << 1 | last;
    last = got[from + i] >> (LANES - 1);
  }
}

static void column_value(lu_plane_store *s, const lu_view *v, const lu_evidence *e, const lu_column *x, size_t from,
                         size_t n, uint64_t *out)
{
  uint64_t low[PIECE], idle[PIECE], one = (uint64_t)1 << x->bit;
  evaluate_fn(s, v, e, &x->hi, x->source, from, n, out);
  if (x->pushed)
    return;
  evaluate_fn(s, v, e, &x->lo, x->source, from, n, low);
  bool open = v->open_columns & one;
  if (open ? v->open_level[1] & one : v->undriven == LU_LEVEL_KEEP)
    before(s, v, e, x->bit, from, n, idle);
  else
    memset(idle, (open ? (v->open_level[0] & one) != 0 : v->undriven == LU_LEVEL_HIGH) ? 0xff : 0, sizeof idle);
  for (size_t i = 0; i < n; i++)
    out[i] |= ~low[i] & idle[i];
}

/* --- counting ---------------------------------------------------------------------------------------- */

/* Without an instruction for it, as the program has to run on any processor ("Hacker's Delight", 2nd
 * ed., section 5-1). */
static unsigned ones(uint64_t x)
{
  x -= x >> 1 & 0x5555555555555555u;
  x = (x & 0x3333333333333333u) + (x >> 2 & 0x3333333333333333u);
  x = (x + (x >> 4)) & 0x0f0f0f0f0f0f0f0fu;
  return (unsigned)(x * 0x0101010101010101u >> 56);
}

/* The ones of all entries. Usually there are none. */
static uint64_t total(const uint64_t *x, size_t n)
{
  uint64_t any = 0, sum = 0;
  for (size_t i = 0; i < n; i++)
    any |= x[i];
  for (size_t i = 0; any && i < n; i++)
    sum += ones(x[i]);
  return sum;
}

typedef struct sums {
  uint64_t wrong, unknown, columns;
} sums;

static void tally(const lu_plane_store *s, unsigned bit, const uint64_t *value, const uint64_t *there, size_t from,
                  size_t n, sums *t)
{
  uint64_t bad[PIECE], gone[PIECE];
  const uint64_t *got = s->got[bit] + from;
  for (size_t i = 0; i < n; i++) {
    bad[i] = (value[i] ^ got[i]) & there[i];
    gone[i] = ~there[i];
  }
  uint64_t wrong = total(bad, n);
  t->wrong += wrong;
  t->unknown += total(gone, n);
  t->columns |= wrong ? (uint64_t)1 << bit : 0;
}

static void count_piece(lu_plane_store *s, const lu_view *v, const lu_evidence *e, size_t from, size_t n, sums *t)
{
  uint64_t there[SOURCES_MOST][PIECE], all[PIECE], value[PIECE];
  memset(all, 0xff, sizeof all);
  for (unsigned i = 1; i < v->source_count; i++) {
    fetch_there(s, v, e, i, from, n, there[i]);
    for (uint64_t m = v->plain_mask[i]; m; m &= m - 1) {
      unsigned bit = (unsigned)__builtin_ctzll(m);
      fetch(s, v, e, i, s->known[bit], from, n, value);
      tally(s, bit, value, there[i], from, n, t);
    }
  }
  for (unsigned c = 0; c < v->column_count; c++) {
    const lu_column *x = &v->column[c];
    bool hangs = x->source && (x->hi.count || x->lo.count);
    column_value(s, v, e, x, from, n, value);
    tally(s, x->bit, value, hangs ? there[x->source] : all, from, n, t);
  }
}

/* The reading is whole, aligned, and every column a function of words found by a source. */
static bool suits(const lu_view *v, const lu_evidence *e)
{
  size_t n = e->got.count;
  if (v->replay || e->got.held || e->known.held || e->steady || n < WORDS_LEAST || (n & (n - 1)) || e->network->base_word % n ||
      v->source_count > SOURCES_MOST || e->known.bytes != e->got.bytes || n > BYTES_MOST / e->got.bytes)
    return false;
  for (unsigned c = 0; c < v->column_count; c++) {
    const lu_column *x = &v->column[c];
    bool settled = x->pushed || v->open_columns >> x->bit & 1 || v->undriven != LU_LEVEL_ADDRESS;
    if (!x->direct || !settled || (x->hi.count && x->hi.var[0] < LU_VAR_DATA) || (x->lo.count && x->lo.var[0] < LU_VAR_DATA))
      return false;
  }
  return true;
}

bool lu_planes_count(lu_plane_store *s, const lu_view *v, const lu_evidence *e, uint64_t limit, uint64_t *wrong,
                     uint64_t *unknown, uint64_t *columns)
{
  unsigned w = e->network->data_bits;
  uint64_t all = w >= 64 ? ~(uint64_t)0 : ((uint64_t)1 << w) - 1;
  sums t = {0};
  if (!suits(v, e))
    return false;
  for (unsigned i = 1; i < v->source_count; i++)
    if (!v->source[i].nothing && !plan(&v->source[i], &s->plan[i]))
      return false;
  begin(s, e);
  if (!make_all(s, v, e))
    return false;
  for (uint64_t m = v->plain_mask[0] | (all & ~v->changed); m; m &= m - 1) {
    t.wrong += s->differ[__builtin_ctzll(m)];
    t.columns |= s->differ[__builtin_ctzll(m)] ? m & -m : 0;
  }
  size_t entries = e->got.count / LANES;
  for (size_t from = 0; from < entries && t.wrong <= limit; from += PIECE)
    count_piece(s, v, e, from, entries - from < PIECE ? entries - from : PIECE, &t);
  if (s->refused)
    return s->refused = false;
  *wrong = t.wrong;
  *unknown = t.unknown;
  *columns = t.columns;
  return true;
}
