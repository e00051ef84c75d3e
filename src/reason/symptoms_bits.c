/* SPDX-License-Identifier: MIT */
/* Symptoms of data bits: constant, inverted, copied, exchanged, dependent, equal. */
#include "reason/symptoms_inner.h"

#include <math.h>
#include <string.h>

enum { MOST_MISFIT = 10 }; /* per cent of a bit's wrong reads that a claim may leave over */

static const char *level_name(int level)
{
  return level ? "1" : "0";
}

/* 2^-n, for n as large as it likes. */
static double unlikely(uint64_t n)
{
  return n > 1000 ? 0.0 : exp2(-(double)n);
}

static uint64_t wrong_count(const lu_finder *f, unsigned b)
{
  return f->d.set[b] + f->d.cleared[b];
}

/* ---- constant ---- */

static double lane_chance(const lu_finder *f, uint64_t lane, int level)
{
  double chance = level == 1 ? 0.01 : 0.04; /* prior: small numbers leave the upper lane at zero */
  for (unsigned b = 0; b < f->width; b++)
    if (lane >> b & 1 && b % 8 != 7) {
      double one = lu_finder_constant_chance(f, b);
      chance = one > chance ? one : chance;
      break;
    }
  return chance;
}

static bool add_lane(lu_finder *f, uint64_t lane)
{
  const uint64_t ones = f->fo.all_and & lane;
  lu_symptom s = lu_finder_blank(LU_SYMPTOM_LANE_MISSING);
  s.data_bits = lane;
  s.level = ones == lane ? 1 : ones ? -1 : 0;
  s.count = f->out->words;
  s.chance = f->known ? 0.0 : lane_chance(f, lane, s.level);
  if (!f->known && s.chance >= LU_CHANCE_MAX)
    return true;
  f->claimed |= lane;
  return lu_finder_add(f, s, "The byte lane %s reads %s at every location%s.",
                       lu_finder_bits(f, 'D', lane),
                       s.level == 1 ? "all ones" : s.level == 0 ? "all zeros" : "one value",
                       f->known ? ", and should not" : "");
}

static bool add_constant(lu_finder *f, unsigned b)
{
  const bool varies = f->known && f->fe.ones[b] && f->fe.ones[b] < f->fe.words;
  lu_symptom s = lu_finder_blank(LU_SYMPTOM_CONSTANT_BIT);
  s.data_bits = (uint64_t)1 << b;
  s.level = f->fo.all_and >> b & 1;
  s.count = f->out->words;
  s.chance = f->known ? 0.0 : lu_finder_constant_chance(f, b);
  if (f->known ? !wrong_count(f, b) : s.chance >= LU_CHANCE_MAX)
    return true;
  f->claimed |= s.data_bits;
  return lu_finder_add(f, s, "D%u always reads %s%s.", b, level_name(s.level),
                       !f->known ? ", while the other bits change"
                       : varies  ? ", and should read both levels"
                                 : ", and should always read the other level");
}

static lu_status find_constant_bits(lu_finder *f)
{
  for (unsigned lane = 0; f->width > 8 && lane < f->width; lane += 8) {
    uint64_t bits = ((uint64_t)0xff << lane) & f->all;
    bool wrong = !f->known || f->d.mask & bits;
    if ((f->constant & bits) == bits && bits & (bits - 1) && wrong && !add_lane(f, bits))
      return LU_ERR_NOMEM;
  }
  for (unsigned b = 0; b < f->width; b++)
    if ((f->constant & ~f->claimed) >> b & 1 && !add_constant(f, b))
      return LU_ERR_NOMEM;
  return LU_OK;
}

static lu_status find_inverted(lu_finder *f)
{
  for (unsigned b = 0; b < f->width; b++) {
    lu_symptom s = lu_finder_blank(LU_SYMPTOM_INVERTED_BIT);
    uint64_t wrong = wrong_count(f, b);
    if (f->claimed >> b & 1 || wrong * 100 < f->d.words * 95 || !wrong)
      continue;
    s.data_bits = (uint64_t)1 << b;
    s.count = wrong;
    s.strength = (double)wrong / (double)f->d.words;
    s.chance = unlikely(wrong);
    f->claimed |= s.data_bits;
    if (!lu_finder_add(f, s, "D%u reads the opposite of what it should.", b))
      return LU_ERR_NOMEM;
  }
  return LU_OK;
}

/* ---- one bit as a function of itself and another ---- */

/* Counts over (a sample of) the words, W = width:
 * ee[i*W+j] exp i and exp j; ce: cleared i and exp j; se: set i and exp j. */
typedef struct tables {
  uint64_t *ee, *ce, *se;
  uint64_t ones[64], set[64], cleared[64], words;
} tables;

static void copy_word(unsigned char *to, size_t i, unsigned bytes, uint64_t w)
{
  const uint8_t w8 = (uint8_t)w;
  const uint16_t w16 = (uint16_t)w;
  const uint32_t w32 = (uint32_t)w;
  memcpy(to + i * bytes,
         bytes == 1   ? (const void *)&w8
         : bytes == 2 ? (const void *)&w16
         : bytes == 4 ? (const void *)&w32
                      : (const void *)&w,
         bytes);
}

/* The wrong words among every `every`-th stretch: expected, cleared, set. */
static lu_status wrong_words(lu_finder *f, unsigned every, lu_array *e, lu_array *c, lu_array *s)
{
  const unsigned bytes = f->o.bytes;
  const size_t piece = 8192 / bytes, last = f->o.count ? (f->o.count - 1) / piece : 0;
  size_t room = f->d.differ < f->o.count / every + 2 * piece ? (size_t)f->d.differ
                                                              : f->o.count / every + 2 * piece;
  unsigned char *at[3];
  size_t n = 0;
  for (unsigned i = 0; i < 3; i++)
    if (!(at[i] = lu_arena_big(f->mem, (room + 1) * bytes)))
      return lu_fail(f->err, LU_ERR_NOMEM, 0, 0, "no room for %zu words", room);
  for (size_t i = 0; i < f->o.count; i++) {
    if (i % piece == 0 && i / piece % every && i / piece != last) {
      i += piece - 1;
      continue;
    }
    uint64_t o = lu_finder_word(&f->o, i), x = lu_finder_word(&f->e, i);
    if (o == x || !lu_array_held(&f->o, i) || !lu_array_held(&f->e, i))
      continue;
    copy_word(at[0], n, bytes, x);
    copy_word(at[1], n, bytes, x & ~o);
    copy_word(at[2], n, bytes, o & ~x);
    n++;
  }
  *e = (lu_array){at[0], n, bytes, NULL};
  *c = (lu_array){at[1], n, bytes, NULL};
  *s = (lu_array){at[2], n, bytes, NULL};
  return LU_OK;
}

static lu_status make_tables(lu_finder *f, unsigned every, tables *t)
{
  const size_t cells = (size_t)f->width * f->width;
  lu_array e, c, s;
  lu_fold fold;
  size_t words = 0;
  t->ee = LU_NEW(f->mem, uint64_t, cells);
  t->ce = LU_NEW(f->mem, uint64_t, cells);
  t->se = LU_NEW(f->mem, uint64_t, cells);
  if (!t->ee || !t->ce || !t->se)
    return lu_fail(f->err, LU_ERR_NOMEM, 0, 0, "no room for %u x %u bits", f->width, f->width);
  lu_status status = wrong_words(f, every, &e, &c, &s);
  lu_array both = f->e; /* what is expected, where both are there */
  if (status == LU_OK && (f->o.held || f->e.held)) {
    uint64_t *held = LU_NEW(f->mem, uint64_t, f->o.count / 64 + 1);
    for (size_t i = 0; held && i <= f->o.count / 64 && i * 64 < f->o.count; i++)
      held[i] = (f->o.held ? f->o.held[i] : UINT64_MAX) & (f->e.held ? f->e.held[i] : UINT64_MAX);
    if (!held)
      return lu_fail(f->err, LU_ERR_NOMEM, 0, 0, "no room for %zu words", f->o.count);
    both.held = held;
  }
  if (status == LU_OK)
    status = lu_cooc_words(f->k, &both, &both, f->width, every, f->mem, t->ee, &words, f->err);
  if (status == LU_OK)
    status = lu_cooc_words(f->k, &c, &e, f->width, 1, f->mem, t->ce, NULL, f->err);
  if (status == LU_OK)
    status = lu_cooc_words(f->k, &s, &e, f->width, 1, f->mem, t->se, NULL, f->err);
  if (status != LU_OK)
    return status;
  t->words = words;
  for (unsigned b = 0; b < f->width; b++)
    t->ones[b] = t->ee[b * f->width + b];
  lu_fold_words(f->k, &c, &fold);
  memcpy(t->cleared, fold.ones, sizeof t->cleared);
  lu_fold_words(f->k, &s, &fold);
  memcpy(t->set, fold.ones, sizeof t->set);
  return LU_OK;
}

typedef struct claim {
  lu_symptom_how how;  /* AND, OR, or NONE = plain copy */
  int other;           /* -1 = none */
  uint64_t misfit;     /* words in which the claim is wrong */
  uint64_t predicted;  /* wrong reads that the claim asks for */
} claim;

/* Reads exp i AND exp j: all words with exp i, without exp j, are cleared, nothing else is. */
static void try_other(const tables *t, unsigned width, unsigned i, unsigned j, claim *best)
{
  const uint64_t ee = t->ee[i * width + j], ce = t->ce[i * width + j], se = t->se[i * width + j];
  const uint64_t p_and = t->ones[i] - ee, hit_and = t->cleared[i] - ce;
  const uint64_t p_or = t->ones[j] - ee, hit_or = se;
  const uint64_t miss_and = (p_and - hit_and) + ce, miss_or = (p_or - hit_or) + (t->set[i] - se);
  const claim tries[3] = {
      {LU_HOW_AND, (int)j, miss_and + t->set[i], p_and},
      {LU_HOW_OR, (int)j, miss_or + t->cleared[i], p_or},
      {LU_HOW_NONE, (int)j, miss_and + miss_or, p_and + p_or},
  };
  for (unsigned k = 0; k < 3; k++)
    if (best->other < 0 || tries[k].misfit < best->misfit)
      *best = tries[k];
}

static uint64_t table_wrong(const tables *t, unsigned b)
{
  return t->set[b] + t->cleared[b];
}

static bool holds(const tables *t, const claim *c, unsigned b)
{
  return c->other >= 0 && c->predicted && c->misfit * 100 <= MOST_MISFIT * table_wrong(t, b);
}

static bool add_claim(lu_finder *f, const tables *t, const claim *c, unsigned b, bool mutual)
{
  const unsigned j = (unsigned)c->other;
  const bool copy = c->how == LU_HOW_NONE;
  lu_symptom s = lu_finder_blank(!copy    ? LU_SYMPTOM_DEPENDENT_BIT
                                 : mutual ? LU_SYMPTOM_SWAPPED_BITS
                                          : LU_SYMPTOM_COPIED_BIT);
  s.data_bits = (uint64_t)1 << b | (mutual ? (uint64_t)1 << j : 0);
  s.data_other = mutual ? s.data_bits : (uint64_t)1 << j;
  s.how = c->how;
  s.count = wrong_count(f, b);
  s.strength = 1.0 - (double)c->misfit / (double)table_wrong(t, b);
  s.chance = unlikely(c->predicted);
  f->claimed |= s.data_bits;
  if (copy && mutual)
    return lu_finder_add(f, s, "D%u and D%u are exchanged.", b < j ? b : j, b < j ? j : b);
  if (copy)
    return lu_finder_add(f, s, "D%u shows the level of D%u.", b, j);
  const char *op = c->how == LU_HOW_AND ? "AND" : "OR";
  return mutual ? lu_finder_add(f, s, "D%u and D%u both read D%u %s D%u.", b, j, b, op, j)
                : lu_finder_add(f, s, "D%u reads D%u %s D%u.", b, b, op, j);
}

static lu_status find_claims(lu_finder *f, const tables *t)
{
  claim best[64];
  const uint64_t open = f->d.mask & ~f->claimed;
  for (unsigned i = 0; i < f->width; i++) {
    best[i].other = -1;
    for (unsigned j = 0; open >> i & 1 && j < f->width; j++)
      if (j != i)
        try_other(t, f->width, i, j, &best[i]);
    if (!(open >> i & 1) || !table_wrong(t, i) || !holds(t, &best[i], i))
      best[i].other = -1;
  }
  for (unsigned i = 0; i < f->width; i++) {
    if (best[i].other < 0)
      continue;
    const unsigned j = (unsigned)best[i].other;
    const bool mutual = best[j].other == (int)i && best[j].how == best[i].how;
    if (mutual && j < i)
      continue; /* said already */
    if (!add_claim(f, t, &best[i], i, mutual))
      return LU_ERR_NOMEM;
  }
  return LU_OK;
}

/* ---- equal and opposite columns ---- */

typedef struct columns {
  uint64_t equal[64], opposite[64]; /* per bit: bits with that relation, above it */
} columns;

/* Pairs that fit in the first count, counted exactly. */
static lu_status exact_pairs(lu_finder *f, const columns *maybe, columns *out)
{
  lu_bit_pair pairs[64 * 32];
  uint64_t *both = LU_NEW(f->mem, uint64_t, 64 * 32);
  size_t n = 0;
  if (!both)
    return lu_fail(f->err, LU_ERR_NOMEM, 0, 0, "no room to count pairs of bits");
  for (unsigned i = 0; i < f->width; i++)
    for (uint64_t m = maybe->equal[i] | maybe->opposite[i]; m; m &= m - 1)
      pairs[n++] = (lu_bit_pair){(uint8_t)i, (uint8_t)__builtin_ctzll(m)};
  memset(out, 0, sizeof *out);
  if (!n)
    return LU_OK;
  lu_status status =
      lu_cooc_pairs(f->k, &f->o, &f->o, pairs, n, 1, f->mem, both, NULL, f->err);
  for (size_t p = 0; status == LU_OK && p < n; p++) {
    const unsigned i = pairs[p].a, j = pairs[p].b;
    const uint64_t sum = f->fo.ones[i] + f->fo.ones[j];
    if (sum == 2 * both[p])
      out->equal[i] |= (uint64_t)1 << j;
    if (sum - 2 * both[p] == f->fo.words)
      out->opposite[i] |= (uint64_t)1 << j;
  }
  return status;
}

static lu_status find_columns(lu_finder *f, columns *out)
{
  const unsigned w = f->width;
  const uint64_t live = f->all & ~f->constant;
  columns maybe = {{0}, {0}};
  /* the different words of the sample refute nearly all pairs; nothing else is counted then */
  bool any = false;
  for (unsigned i = 0; i < w; i++)
    for (unsigned j = i + 1; j < w; j++) {
      if (!(live >> i & live >> j & 1))
        continue;
      uint64_t sum = f->fd.ones[i] + f->fd.ones[j], n = f->agree[i * w + j];
      if (sum == 2 * n)
        maybe.equal[i] |= (uint64_t)1 << j, any = true;
      if (sum - 2 * n == f->fd.words)
        maybe.opposite[i] |= (uint64_t)1 << j, any = true;
    }
  memset(out, 0, sizeof *out);
  return any ? exact_pairs(f, &maybe, out) : LU_OK;
}

static bool should_agree(const tables *t, unsigned w, unsigned i, unsigned j, bool opposite)
{
  const uint64_t differ = t->ones[i] + t->ones[j] - 2 * t->ee[i * w + j];
  return differ == (opposite ? t->words : 0);
}

static bool add_group(lu_finder *f, uint64_t group, bool opposite, double chance)
{
  lu_symptom s = lu_finder_blank(opposite ? LU_SYMPTOM_OPPOSITE_BITS : LU_SYMPTOM_EQUAL_BITS);
  s.data_bits = group;
  s.count = f->fo.words;
  s.chance = chance;
  return lu_finder_add(f, s, "%s always read %s%s.", lu_finder_bits(f, 'D', group),
                       opposite ? "opposite levels" : "the same level",
                       f->known ? ", and should not" : "");
}

static lu_status find_equal(lu_finder *f, const tables *t)
{
  columns c;
  uint64_t done = 0;
  lu_status status = find_columns(f, &c);
  if (status != LU_OK)
    return status;
  for (unsigned i = 0; i < f->width; i++) {
    uint64_t group = 0;
    double chance = 0.0;
    for (unsigned j = i + 1; j < f->width; j++) {
      const bool equal = c.equal[i] >> j & 1, opposite = c.opposite[i] >> j & 1;
      if ((!equal && !opposite) || (f->known && should_agree(t, f->width, i, j, opposite)))
        continue;
      const double one = f->known ? 0.0 : lu_finder_agree_chance(f, i, j, opposite);
      if (one >= LU_CHANCE_MAX)
        continue;
      if (opposite) {
        if (!add_group(f, (uint64_t)1 << i | (uint64_t)1 << j, true, one))
          return LU_ERR_NOMEM;
        continue;
      }
      group |= (uint64_t)1 << j;
      chance = one > chance ? one : chance;
    }
    if (!group || done >> i & 1)
      continue;
    group |= (uint64_t)1 << i;
    done |= group;
    if (!add_group(f, group, false, chance))
      return LU_ERR_NOMEM;
  }
  return LU_OK;
}

lu_status lu_finder_bits_find(lu_finder *f)
{
  const unsigned every = lu_cooc_every(&f->o); /* large ones are sampled first, survivors counted exactly */
  tables t;
  memset(&t, 0, sizeof t);
  lu_status status = find_constant_bits(f);
  if (status == LU_OK && f->known)
    status = find_inverted(f);
  if (status != LU_OK || (f->known && !(f->d.mask & ~f->claimed)))
    return status;
  if (f->known) {
    status = make_tables(f, every, &t);
    if (status == LU_OK)
      status = find_claims(f, &t);
  }
  return status == LU_OK ? find_equal(f, &t) : status;
}

/* ---- walking patterns ---- */

/* +1 walking ones, -1 walking zeros, 0 neither: one bit stands out in each word, not always the
 * same. */
static int walks(const lu_finder *f)
{
  const bool one = (f->fe.all_or & f->all) == f->all && f->width > 1;
  const bool zero = !(f->fe.all_and & f->all) && f->width > 1;
  bool ones = one, zeros = zero;
  for (size_t i = 0; i < f->e.count && (ones || zeros); i++) {
    uint64_t w = lu_finder_word(&f->e, i);
    if (!lu_array_held(&f->e, i))
      continue;
    ones &= w && !(w & (w - 1));
    w = ~w & f->all;
    zeros &= w && !(w & (w - 1));
  }
  return ones ? 1 : zeros ? -1 : 0;
}

static bool add_walk(lu_finder *f, unsigned b, uint64_t came, uint64_t times, uint64_t company,
                     int sign)
{
  const char *level = sign > 0 ? "one" : "zero";
  lu_symptom s = lu_finder_blank(LU_SYMPTOM_WALKING_RESULT);
  s.data_bits = (uint64_t)1 << b;
  s.data_other = company;
  s.level = sign > 0;
  s.count = times;
  s.strength = times ? 1.0 - (double)came / (double)times : 0.0;
  s.chance = 0.0;
  if (!came)
    return lu_finder_add(f, s, "With the %s on D%u, D%u never reads %s%s%s.", level, b, b, level,
                         company ? "; instead it shows on " : "",
                         company ? lu_finder_bits(f, 'D', company) : "");
  s.strength = 1.0;
  return lu_finder_add(f, s, "With the %s on D%u, %s reads %s as well.", level, b,
                       lu_finder_bits(f, 'D', company), level);
}

lu_status lu_finder_walking(lu_finder *f)
{
  uint64_t times[64] = {0}, came[64] = {0}, company[64];
  const int sign = walks(f);
  if (!sign)
    return LU_OK;
  memset(company, 0xff, sizeof company); /* bits that show it every time */
  for (size_t i = 0; i < f->o.count; i++) {
    if (!lu_array_held(&f->o, i) || !lu_array_held(&f->e, i))
      continue;
    const uint64_t flip = sign > 0 ? 0 : f->all;
    const uint64_t e = (lu_finder_word(&f->e, i) ^ flip) & f->all;
    const uint64_t o = (lu_finder_word(&f->o, i) ^ flip) & f->all;
    const unsigned b = (unsigned)__builtin_ctzll(e);
    times[b]++;
    came[b] += o >> b & 1;
    company[b] &= o & ~e;
  }
  for (unsigned b = 0; b < f->width; b++) {
    if (!times[b])
      continue;
    company[b] &= ~f->constant; /* a bit that never changes keeps everybody company */
    if ((!came[b] || company[b]) && !add_walk(f, b, came[b], times[b], company[b], sign))
      return LU_ERR_NOMEM;
  }
  return LU_OK;
}
