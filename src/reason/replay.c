/* SPDX-License-Identifier: MIT */
#include "reason/replay.h"

#include <stdlib.h>

enum {
  BLOCKS_MOST = LU_REPLAY_SAMPLES / LU_LANES,
  INVOLVED_MOST = 4,                /* address bits that may lead a write elsewhere */
  FLIPS_MOST = 1 << INVOLVED_MOST,
  STAGES_MOST = 160,                /* kept for one block of samples */
  TURNS_MOST = 6                    /* of address, data, address ... */
};

#define STALE UINT64_MAX /* the flip of a stage that has to be filled anew */

/* The healthy board over 64 accesses: the words of a block, their addresses with some bits flipped. */
typedef struct stage {
  uint64_t flip;
  lu_lanes levels;
  uint64_t address[LU_LANES], index[LU_LANES];
  uint64_t inside; /* lanes whose access exists */
  lu_sim *sim;
} stage;

typedef struct block {
  unsigned count;
  uint32_t word[LU_LANES];
  uint64_t number;      /* of 64 neighbours; samples: not used */
  uint64_t done;        /* the hypothesis that the results belong to */
  stage *read;
  uint64_t *healthy_out;
  uint64_t known_out;   /* lanes whose healthy_out holds */
  size_t write_count;
  stage *write[STAGES_MOST];
  uint64_t hi[LU_LANES], lo[LU_LANES], unknown[LU_LANES];
} block;

/* What one chip took in the writes of a stage. */
typedef struct taken {
  uint64_t writes, cell[LU_CELL_BITS_MOST], in[LU_CHIP_DATA_MOST];
} taken;

struct lu_replay {
  const lu_evidence *e;
  const lu_network *n;
  lu_arena *mem;
  bool failed; /* memory was refused */
  size_t block_count;
  block samples[BLOCKS_MOST], neighbours;
  uint32_t place_of[2 * LU_REPLAY_SAMPLES]; /* hash: sample word -> block * 64 + lane + 1 */
  uint64_t hypothesis;
  size_t fault_count;
  lu_fault faults[LU_FAULTS_MOST + 1];
  size_t chip_count;
  uint16_t chips[128];  /* those that the hypothesis reaches */
  bool stored[128];     /* what they hold differs, too */
  size_t flip_count;
  uint64_t flips[FLIPS_MOST];
  taken *taken;         /* [chip in chips * FLIPS_MOST + flip] */
};

/* --- samples --------------------------------------------------------------------------------------- */

static uint32_t *place_for(lu_replay *r, uint32_t word)
{
  uint32_t at = word * 0x9e3779b1u >> 23;
  for (;; at = (at + 1) % (2 * LU_REPLAY_SAMPLES)) {
    uint32_t p = r->place_of[at];
    if (!p || r->samples[(p - 1) / LU_LANES].word[(p - 1) % LU_LANES] == word)
      return &r->place_of[at];
  }
}

lu_replay *lu_replay_new(const lu_evidence *e, const uint32_t *samples, size_t count, lu_arena *mem)
{
  lu_replay *r = LU_NEW(mem, lu_replay, 1);
  if (!r)
    return NULL;
  r->e = e;
  r->n = e->network;
  r->mem = mem;
  r->neighbours.number = UINT64_MAX;
  r->taken = LU_NEW(mem, taken, (r->n->chip_count + 1) * FLIPS_MOST);
  for (size_t i = 0; i < count && i < LU_REPLAY_SAMPLES; i++) {
    uint32_t *p = place_for(r, samples[i]);
    if (*p)
      continue;
    block *b = &r->samples[r->block_count ? r->block_count - 1 : 0];
    if (!r->block_count || b->count == LU_LANES)
      b = &r->samples[r->block_count++];
    b->word[b->count] = samples[i];
    *p = (uint32_t)((size_t)(b - r->samples) * LU_LANES + b->count++ + 1);
  }
  return r->taken ? r : NULL;
}

/* --- stages ------------------------------------------------------------------------------------------ */

static void fill_stage(const lu_replay *r, const block *b, stage *s)
{
  const lu_network *n = r->n;
  memset(s->levels.address, 0, sizeof s->levels.address);
  memset(s->levels.data, 0, sizeof s->levels.data);
  s->inside = 0;
  for (unsigned l = 0; l < LU_LANES; l++) {
    uint64_t a = lu_address_of(n, b->word[l < b->count ? l : 0]) ^ s->flip, i = lu_index_of(n, a), word = 0;
    s->address[l] = a;
    s->index[l] = i;
    if (i < r->e->known.count && lu_word_held(&r->e->known, i)) {
      word = lu_word(&r->e->known, i);
      s->inside |= UINT64_C(1) << l;
    }
    for (unsigned k = 0; k < n->address_bits; k++)
      s->levels.address[k] |= (a >> k & 1) << l;
    for (unsigned k = 0; k < n->data_bits; k++)
      s->levels.data[k] |= (word >> k & 1) << l;
  }
}

static stage *new_stage(lu_replay *r, lu_moment access)
{
  const lu_network *n = r->n;
  stage *s = LU_NEW(r->mem, stage, 1);
  if (!s || !(s->levels.out = LU_NEW(r->mem, uint64_t, (n->chip_count + n->foreign_count + 1) * 16)) ||
      !(s->sim = lu_sim_new_lanes(n, &s->levels, access, r->mem))) {
    r->failed = true;
    return NULL;
  }
  return s;
}

static bool fn_at_address(const lu_fn *f, uint64_t address)
{
  unsigned index = 0;
  for (unsigned k = 0; k < f->count; k++)
    index |= (unsigned)(address >> f->var[k] & 1) << k;
  return lu_fn_at(f, index);
}

/* Makes address one that chip c answers, without touching the bits that its cells hang on; the last one. */
static bool into_reach(const lu_chip *c, uint64_t *address)
{
  if (fn_at_address(&c->serves, *address))
    return true;
  uint64_t cells = 0;
  for (unsigned b = 0; b < c->cell_bits; b++)
    cells |= c->cell[b].count ? UINT64_C(1) << c->cell[b].var[0] : 0;
  for (unsigned p = 1u << c->serves.count; p-- > 0;) {
    uint64_t a = *address;
    bool free = lu_fn_at(&c->serves, p);
    for (unsigned k = 0; k < c->serves.count; k++) {
      uint64_t bit = UINT64_C(1) << c->serves.var[k], want = p >> k & 1 ? bit : 0;
      free &= !(cells & bit) || (a & bit) == want;
      a = (a & ~bit) | want;
    }
    if (free) {
      *address = a;
      return true;
    }
  }
  return false;
}

/* The word that a healthy chip keeps in the cell which lane l asks for; false: none is known. */
static bool word_in_cell(const lu_replay *r, const lu_chip *c, const uint64_t *cell, unsigned l, uint64_t near, uint64_t *word)
{
  uint64_t a = near;
  for (unsigned b = 0; b < c->cell_bits; b++) {
    const lu_fn *f = &c->cell[b];
    bool level = cell[b] >> l & 1;
    if (!f->count && lu_fn_at(f, 0) != level)
      return false;
    if (f->count != 1)
      continue;
    uint64_t bit = UINT64_C(1) << f->var[0];
    a = level == lu_fn_at(f, 1) ? a | bit : a & ~bit;
  }
  if (!into_reach(c, &a))
    return false;
  uint64_t i = lu_index_of(r->n, a);
  if (i >= r->e->known.count || !lu_word_held(&r->e->known, i))
    return false;
  *word = lu_word(&r->e->known, i);
  return true;
}

static bool pin_of_word(const lu_chip *c, unsigned pin, uint64_t word)
{
  return (c->column[pin] == UINT16_MAX ? 0 : word >> c->column[pin] & 1) ^ c->column_inverted[pin];
}

/* The lanes in which lane_word gives a word for the chip: its outputs there. */
static void put_word(const lu_chip *c, uint64_t *out, unsigned l, uint64_t word)
{
  for (unsigned d = 0; d < c->out_count; d++)
    out[d] = (out[d] & ~(UINT64_C(1) << l)) | (uint64_t)pin_of_word(c, d, word) << l;
}

static void read_cell(const lu_sim *s, const lu_chip *c, lu_moment access, uint64_t *cell)
{
  for (unsigned b = 0; b < c->cell_bits; b++) {
    lu_fn f = lu_sim_chip_cell(s, c, b, access);
    cell[b] = lu_fn_lane_levels(&f);
  }
}

static void begin_read(lu_replay *r, block *b)
{
  const lu_network *n = r->n;
  stage *s = b->read;
  fill_stage(r, b, s);
  memset(s->levels.out, 0, (n->chip_count + n->foreign_count) * 16 * sizeof *s->levels.out);
  for (size_t i = 0; i < n->chip_count; i++) {
    const lu_chip *c = &n->chips[i];
    uint64_t cell[LU_CELL_BITS_MOST] = {0}, word;
    for (unsigned l = 0; l < LU_LANES; l++) {
      for (unsigned k = 0; k < c->cell_bits; k++)
        cell[k] = fn_at_address(&c->cell[k], s->address[l]) ? ~UINT64_C(0) : 0;
      if (word_in_cell(r, c, cell, l, s->address[l], &word))
        put_word(c, s->levels.out + i * 16, l, word);
    }
  }
  memcpy(b->healthy_out, s->levels.out, n->chip_count * 16 * sizeof *b->healthy_out);
  lu_sim_lanes_begin(s->sim);
}

static bool ready_read(lu_replay *r, block *b)
{
  if (b->read)
    return true;
  b->read = new_stage(r, LU_READ);
  b->healthy_out = LU_NEW(r->mem, uint64_t, r->n->chip_count * 16 + 1);
  if (!b->read || !b->healthy_out)
    return false;
  begin_read(r, b);
  return true;
}

/* The stage of a block's writes with these address bits flipped. */
static stage *write_stage(lu_replay *r, block *b, uint64_t flip)
{
  stage *s = NULL;
  for (size_t i = 0; i < b->write_count; i++) {
    if (b->write[i]->flip == flip)
      return b->write[i];
    if (b->write[i]->flip == STALE)
      s = b->write[i];
  }
  if (!s && b->write_count == STAGES_MOST)
    s = b->write[r->hypothesis % STAGES_MOST];
  if (!s) {
    if (!(s = new_stage(r, LU_WRITE)))
      return NULL;
    b->write[b->write_count++] = s;
  }
  s->flip = flip;
  fill_stage(r, b, s);
  lu_sim_lanes_begin(s->sim);
  return s;
}

/* --- the hypothesis ------------------------------------------------------------------------------------ */

static uint64_t vars_of(const lu_fn *f)
{
  uint64_t m = 0;
  for (unsigned k = 0; k < f->count; k++)
    m |= f->var[k] < 64 ? UINT64_C(1) << f->var[k] : 0;
  return m;
}

/* Address bits by which a write that ends in the same cell may differ from the read. */
static uint64_t involved(const lu_replay *r, const lu_change *x)
{
  const lu_chip *c = &r->n->chips[x->chip];
  uint64_t m = vars_of(&x->fn);
  if (x->slot < LU_EFFECT_WRITE_CELL)
    m |= vars_of(&c->cell[x->slot]);
  else if (x->slot < LU_EFFECT_WRITES)
    m |= vars_of(&c->cell[x->slot - LU_EFFECT_WRITE_CELL]);
  else if (x->slot == LU_EFFECT_WRITES)
    m |= vars_of(&c->serves);
  else
    m = 0;
  return m;
}

static bool list_flips(lu_replay *r, uint64_t bits)
{
  unsigned n = (unsigned)__builtin_popcountll(bits);
  if (n > INVOLVED_MOST)
    return false;
  r->flip_count = (size_t)1 << n;
  for (unsigned p = 0; p < r->flip_count; p++) {
    uint64_t flip = 0;
    unsigned k = 0;
    for (uint64_t m = bits; m; m &= m - 1, k++)
      flip |= p >> k & 1 ? m & -m : 0;
    r->flips[p] = flip;
  }
  return true;
}

bool lu_replay_take(lu_replay *r, const lu_fault *faults, size_t count, const lu_effect *effect)
{
  uint64_t bits = 0;
  bool written = r->e->know != LU_KNOW_CONTENTS;
  r->hypothesis++;
  r->chip_count = 0;
  if (count > LU_FAULTS_MOST + 1 || r->failed)
    return false;
  r->fault_count = count;
  memcpy(r->faults, faults, count * sizeof *faults);
  for (size_t i = 0; i < effect->count; i++) {
    const lu_change *x = &effect->changes[i];
    if (x->chip == 0xffff || x->chip >= r->n->chip_count)
      continue;
    if (!r->chip_count || r->chips[r->chip_count - 1] != x->chip) {
      r->stored[r->chip_count] = false;
      r->chips[r->chip_count++] = x->chip;
    }
    if (written) {
      bits |= involved(r, x);
      r->stored[r->chip_count - 1] |= x->slot >= LU_EFFECT_WRITE_CELL;
    }
    if (r->chip_count == 128)
      return false;
  }
  return list_flips(r, bits);
}

/* --- one block -------------------------------------------------------------------------------------------- */

/* Plays the writes that may have filled the cells which the block's reads ask for. */
static bool play_writes(lu_replay *r, block *b)
{
  bool any = false;
  for (size_t k = 0; k < r->chip_count; k++)
    any |= r->stored[k];
  for (size_t f = 0; any && f < r->flip_count; f++) {
    stage *s = write_stage(r, b, r->flips[f]);
    if (!s)
      return false;
    uint64_t swinging = lu_sim_lanes_run(s->sim, r->faults, r->fault_count);
    for (size_t k = 0; k < r->chip_count; k++) {
      const lu_chip *c = &r->n->chips[r->chips[k]];
      taken *t = &r->taken[k * FLIPS_MOST + f];
      lu_fn w = lu_sim_chip_answers(s->sim, c, true);
      t->writes = lu_fn_lane_levels(&w) & s->inside & ~swinging;
      read_cell(s->sim, c, LU_WRITE, t->cell);
      for (unsigned d = 0; d < c->in_count; d++) {
        lu_fn in = lu_sim_chip_in(s->sim, c, d);
        t->in[d] = lu_fn_lane_levels(&in);
      }
    }
  }
  return true;
}

/* What chip k put out where it is asked for these cells: the last write to each. Returns the lanes known. */
static uint64_t last_written(const lu_replay *r, const block *b, size_t k, const uint64_t *cell, uint64_t *out)
{
  const lu_chip *c = &r->n->chips[r->chips[k]];
  uint64_t hit[FLIPS_MOST], known = 0;
  for (size_t f = 0; f < r->flip_count; f++) {
    const taken *t = &r->taken[k * FLIPS_MOST + f];
    hit[f] = t->writes;
    for (unsigned i = 0; i < c->cell_bits; i++)
      hit[f] &= ~(t->cell[i] ^ cell[i]);
    known |= hit[f];
  }
  for (unsigned l = 0; l < b->count; l++) {
    uint64_t last = 0;
    size_t from = r->flip_count;
    for (size_t f = 0; f < r->flip_count; f++) {
      uint64_t i = lu_index_of(r->n, b->read->address[l] ^ r->flips[f]);
      if (hit[f] >> l & 1 && (from == r->flip_count || i > last)) {
        last = i;
        from = f;
      }
    }
    for (unsigned d = 0; from < r->flip_count && d < c->out_count; d++)
      out[d] = (out[d] & ~(UINT64_C(1) << l)) | (r->taken[k * FLIPS_MOST + from].in[d] >> l & 1) << l;
  }
  return known;
}

static uint64_t held_word(const lu_replay *r, const block *b, const lu_chip *c, const uint64_t *cell, uint64_t *out)
{
  uint64_t known = 0, word;
  for (unsigned l = 0; l < b->count; l++)
    if (word_in_cell(r, c, cell, l, b->read->address[l], &word)) {
      put_word(c, out, l, word);
      known |= UINT64_C(1) << l;
    }
  return known;
}

static void healthy_cell(const stage *s, const lu_chip *c, uint64_t *cell)
{
  for (unsigned k = 0; k < c->cell_bits; k++) {
    cell[k] = 0;
    for (unsigned l = 0; l < LU_LANES; l++)
      cell[k] |= (uint64_t)fn_at_address(&c->cell[k], s->address[l]) << l;
  }
}

/* The chips put out what they hold where they are asked now (first: where the vantage asks, before any
 * of them answers). Returns the lanes in which that is news; lacking: those in which it is not known. */
static uint64_t answer(lu_replay *r, block *b, bool first, uint64_t *lacking)
{
  stage *s = b->read;
  uint64_t news = 0;
  for (size_t k = 0; k < r->chip_count; k++) {
    const lu_chip *c = &r->n->chips[r->chips[k]];
    uint64_t cell[LU_CELL_BITS_MOST], *out = s->levels.out + r->chips[k] * 16u, was[LU_CHIP_DATA_MOST], moved = 0;
    memcpy(was, out, sizeof was);
    if (first)
      healthy_cell(s, c, cell);
    else
      read_cell(s->sim, c, LU_READ, cell);
    lacking[k] = ~(r->stored[k] ? last_written(r, b, k, cell, out) : held_word(r, b, c, cell, out));
    for (unsigned d = 0; d < c->out_count; d++)
      moved |= was[d] ^ out[d];
    news |= moved;
    if (moved)
      lu_sim_lanes_put(s->sim, r->chips[k]);
  }
  return news;
}

/* Lanes of which nothing can be told: what answers there is not known. */
static uint64_t nobody_knows(const lu_replay *r, const stage *s, const uint64_t *lacking)
{
  uint64_t lost = 0;
  for (size_t k = 0; k < r->chip_count; k++) {
    lu_fn f = lu_sim_chip_answers(s->sim, &r->n->chips[r->chips[k]], false);
    lost |= lacking[k] & lu_fn_lane_levels(&f);
  }
  for (size_t k = 0; k < r->n->foreign_count; k++) {
    lu_fn f = lu_sim_chip_answers(s->sim, &r->n->chips[r->n->chip_count + k], false);
    lost |= lu_fn_lane_levels(&f);
  }
  return lost;
}

static void columns_to_words(const lu_replay *r, block *b)
{
  memset(b->hi, 0, sizeof b->hi);
  memset(b->lo, 0, sizeof b->lo);
  for (unsigned d = 0; d < r->n->data_bits; d++) {
    uint64_t hi, lo;
    lu_sim_lanes_column(b->read->sim, d, &hi, &lo);
    for (unsigned l = 0; l < b->count; l++) {
      b->hi[l] |= (hi >> l & 1) << d;
      b->lo[l] |= (lo >> l & 1) << d;
    }
  }
}

/* Turns until address and data agree. In lanes where they never do, bits that differ from turn to turn are unknown. */
static void play_reads(lu_replay *r, block *b)
{
  stage *s = b->read;
  uint64_t lacking[128] = {0}, moving = ~UINT64_C(0);
  uint64_t lost = lu_sim_lanes_run(s->sim, r->faults, r->fault_count);
  for (unsigned turn = 0; turn < TURNS_MOST && moving; turn++) {
    moving = answer(r, b, !turn, lacking) & ~lost;
    lost = lu_sim_lanes_settle(s->sim);
    moving |= turn ? 0 : ~UINT64_C(0);
  }
  lost |= nobody_knows(r, s, lacking);
  columns_to_words(r, b);
  for (unsigned l = 0; l < b->count; l++)
    b->unknown[l] = lost >> l & 1 ? ~UINT64_C(0) : 0;
  if (!moving)
    return;
  uint64_t hi[LU_LANES], lo[LU_LANES];
  memcpy(hi, b->hi, sizeof hi);
  memcpy(lo, b->lo, sizeof lo);
  answer(r, b, false, lacking);
  lost = lu_sim_lanes_settle(s->sim) | nobody_knows(r, s, lacking);
  columns_to_words(r, b);
  for (unsigned l = 0; l < b->count; l++)
    b->unknown[l] |= lost >> l & 1 ? ~UINT64_C(0) : (hi[l] ^ b->hi[l]) | (lo[l] ^ b->lo[l]);
}

static void play(lu_replay *r, block *b)
{
  b->done = r->hypothesis;
  if (!ready_read(r, b) || !play_writes(r, b)) {
    memset(b->unknown, 0xff, sizeof b->unknown);
    return;
  }
  play_reads(r, b);
  for (size_t k = 0; k < r->chip_count; k++)
    memcpy(b->read->levels.out + r->chips[k] * 16u, b->healthy_out + r->chips[k] * 16u, 16 * sizeof *b->healthy_out);
}

/* The 64 neighbours that word i is among. */
static block *neighbours(lu_replay *r, uint64_t i)
{
  block *b = &r->neighbours;
  if (b->number == i / LU_LANES)
    return b;
  b->number = i / LU_LANES;
  b->done = 0;
  b->count = 0;
  for (uint64_t w = i / LU_LANES * LU_LANES; b->count < LU_LANES && w < r->e->known.count; w++)
    b->word[b->count++] = (uint32_t)w;
  if (b->read)
    begin_read(r, b);
  for (size_t k = 0; k < b->write_count; k++)
    b->write[k]->flip = STALE;
  return b;
}

void lu_replay_word(lu_replay *r, uint64_t i, uint64_t *hi, uint64_t *lo, uint64_t *unknown)
{
  uint32_t place = *place_for(r, (uint32_t)i);
  block *b = place ? &r->samples[(place - 1) / LU_LANES] : neighbours(r, i);
  unsigned lane = place ? (place - 1) % LU_LANES : (unsigned)(i % LU_LANES);
  if (b->done != r->hypothesis)
    play(r, b);
  *hi = b->hi[lane];
  *lo = b->lo[lane];
  *unknown = b->unknown[lane];
}

bool lu_replay_floats(lu_replay *r)
{
  block *b = r->block_count ? &r->samples[0] : &r->neighbours;
  if (!r->block_count)
    neighbours(r, 0);
  if (b->done != r->hypothesis)
    play(r, b);
  uint64_t all = r->n->data_bits >= 64 ? ~UINT64_C(0) : (UINT64_C(1) << r->n->data_bits) - 1;
  for (unsigned l = 0; l < b->count; l++)
    if (all & ~(b->hi[l] | b->lo[l] | b->unknown[l]))
      return true;
  return false;
}
