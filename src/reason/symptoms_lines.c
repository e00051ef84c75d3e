/* SPDX-License-Identifier: MIT */
/* Symptoms of address bits: without effect, joined, data from elsewhere, repeats. */
#include "reason/symptoms_inner.h"

#include <math.h>
#include <string.h>

static double unlikely(uint64_t n)
{
  return n > 1000 ? 0.0 : exp2(-(double)n);
}

/* ---- an address bit without effect ---- */

/* The level that a dead bit seems to have: what is read where it should differ tells. -1 = both
 * or neither fit (or the contents were written through the same lines). */
static int dead_level(const lu_finder *f, unsigned line, uint64_t bits)
{
  const uint64_t half = (uint64_t)1 << line, pairs = f->o.count >> 1;
  const uint64_t step = pairs / 4096 + 1;
  uint64_t votes[2] = {0, 0};
  if (!f->known || f->written)
    return -1;
  for (uint64_t p = 0; p < pairs; p += step) {
    const size_t i = (size_t)lu_finder_insert(p, half), j = (size_t)(i | half);
    if (j >= f->o.count || !lu_array_held(&f->o, i) || !lu_array_held(&f->e, i) ||
        !lu_array_held(&f->e, j))
      continue;
    uint64_t low = lu_finder_word(&f->e, i) & bits, high = lu_finder_word(&f->e, j) & bits;
    uint64_t read = lu_finder_word(&f->o, i) & bits;
    votes[0] += read == low && low != high;
    votes[1] += read == high && low != high;
  }
  if (votes[0] > 4 * votes[1])
    return 0;
  return votes[1] > 4 * votes[0] ? 1 : -1;
}

static bool add_dead(lu_finder *f, unsigned line, lu_symptom_id id, uint64_t bits, double chance)
{
  lu_symptom s = lu_finder_blank(id);
  s.data_bits = bits;
  s.addr_bits = (uint64_t)1 << line;
  s.level = dead_level(f, line, bits);
  s.count = f->out->words / 2;
  s.chance = chance;
  const char *as = s.level == 0   ? "; it reads as if the bit were always 0"
                   : s.level == 1 ? "; it reads as if the bit were always 1"
                                  : "";
  if (id == LU_SYMPTOM_DEAD_ADDRESS_BIT)
    return lu_finder_add(f, s, "A%u has no effect: both halves of it read the same%s.", line, as);
  return lu_finder_add(f, s, "A%u has no effect on %s, while it has on other data bits%s.", line,
                       lu_finder_bits(f, 'D', bits), as);
}

/* Whole words first, then whole byte lanes, then what is left. */
static bool add_dead_parts(lu_finder *f, unsigned line, uint64_t bits, uint64_t want)
{
  double chance[9];
  uint64_t part[9], left = bits;
  lu_symptom_id id[9];
  unsigned n = 0;
  if (bits == want) {
    part[n] = bits;
    id[n++] = LU_SYMPTOM_DEAD_ADDRESS_BIT;
    left = 0;
  }
  for (unsigned lane = 0; left && f->width > 8 && lane < f->width; lane += 8) {
    const uint64_t mask = ((uint64_t)0xff << lane) & want;
    if (mask & (mask - 1) && (left & mask) == mask) {
      part[n] = mask;
      id[n++] = LU_SYMPTOM_DEAD_ADDRESS_LANE;
      left &= ~mask;
    }
  }
  if (left) {
    part[n] = left;
    id[n++] = LU_SYMPTOM_DEAD_ADDRESS_DATA;
  }
  for (unsigned i = 0; i < n; i++) {
    const double tests = id[i] == LU_SYMPTOM_DEAD_ADDRESS_DATA ? f->lines * f->width : f->lines;
    chance[i] = 0.0;
    if (!f->known) {
      chance[i] = tests * lu_finder_still_chance(f, (uint64_t)1 << line, part[i]);
      if (id[i] == LU_SYMPTOM_DEAD_ADDRESS_DATA) /* the least telling of the bits decides */
        for (uint64_t m = part[i]; m; m &= m - 1) {
          double one = tests * lu_finder_still_chance(f, (uint64_t)1 << line, m & -m);
          if (one >= LU_CHANCE_MAX)
            part[i] &= ~(m & -m);
          else if (one > chance[i])
            chance[i] = one;
        }
      if (!part[i] || chance[i] >= LU_CHANCE_MAX)
        continue;
    }
    if (!add_dead(f, line, id[i], part[i], chance[i]))
      return false;
  }
  return true;
}

/* What should stand in the words that were read: a part of a block tells nothing of the rest. NULL: no memory. */
static const lu_array *asked_for(lu_finder *f)
{
  if (!f->o.held || !f->known)
    return &f->e;
  size_t words = (f->e.count + 63) / 64;
  lu_array *a = LU_NEW(f->mem, lu_array, 1);
  uint64_t *held = LU_NEW(f->mem, uint64_t, words + 1);
  if (!a || !held)
    return NULL;
  for (size_t i = 0; i < words; i++)
    held[i] = (i < (f->o.count + 63) / 64 ? f->o.held[i] : 0) & (f->e.held ? f->e.held[i] : ~UINT64_C(0));
  *a = f->e;
  a->held = held;
  return a;
}

/* ---- two address bits that act as one ---- */

/* Where a pattern of levels of bits k and l leads, 256 words at most, or all. */
typedef struct corner {
  uint64_t lines, a, b; /* the two bits; their levels in the words that are compared */
} corner;

/* Data bits that differ between the corners a and b; stops when all of want do. */
static uint64_t corner_mask(const lu_finder *f, const lu_array *x, corner c, uint64_t want,
                            uint64_t step, uint64_t *compared)
{
  const uint64_t count = f->o.count >> 2;
  uint64_t mask = 0, pairs = 0;
  for (uint64_t p = 0; p < count && (mask & want) != want; p += step) {
    const uint64_t i = lu_finder_insert(p, c.lines);
    if ((i | c.lines) >= x->count || !lu_array_held(x, (size_t)(i | c.a)) ||
        !lu_array_held(x, (size_t)(i | c.b)))
      continue;
    pairs++;
    mask |= lu_finder_word(x, (size_t)(i | c.a)) ^ lu_finder_word(x, (size_t)(i | c.b));
  }
  *compared = pairs;
  return mask;
}

/* Data bits of want that never differ between the corners; none, where too few of them were read. */
static uint64_t corner_equal(const lu_finder *f, const lu_array *x, corner c, uint64_t want)
{
  const uint64_t count = f->o.count >> 2;
  uint64_t pairs, mask = corner_mask(f, x, c, want, (count / 256) | 1, &pairs);
  if ((mask & want) != want && count > 256)
    mask |= corner_mask(f, x, c, want & ~mask, 1, &pairs);
  return x->held && pairs < LU_PAIRS_LEAST ? 0 : want & ~mask;
}

static bool add_joined(lu_finder *f, unsigned k, unsigned l, uint64_t bits, lu_symptom_how how,
                       double chance)
{
  lu_symptom s = lu_finder_blank(LU_SYMPTOM_JOINED_ADDRESS);
  s.data_bits = bits;
  s.addr_bits = (uint64_t)1 << k | (uint64_t)1 << l;
  s.how = how;
  s.count = f->out->words / 2;
  s.chance = chance;
  return lu_finder_add(f, s, "A%u and A%u act as one%s%s: where they differ, %s is read.", k, l,
                       bits == (f->all & ~f->constant) ? "" : " for ",
                       bits == (f->all & ~f->constant) ? "" : lu_finder_bits(f, 'D', bits),
                       how == LU_HOW_AND  ? "what stands where both are 0"
                       : how == LU_HOW_OR ? "what stands where both are 1"
                                          : "the same both ways");
}

/* Data bits of want that depend on address bit `line` in what is known: looked for until all of want are found. */
static uint64_t line_effect(const lu_finder *f, unsigned line, uint64_t want)
{
  const uint64_t half = (uint64_t)1 << line;
  uint64_t mask = 0;
  for (uint64_t p = 0; p < f->o.count >> 1 && (mask & want) != want; p++) {
    const uint64_t i = lu_finder_insert(p, half);
    if ((i | half) < f->e.count && lu_array_held(&f->e, (size_t)i) && lu_array_held(&f->e, (size_t)(i | half)))
      mask |= lu_finder_word(&f->e, (size_t)i) ^ lu_finder_word(&f->e, (size_t)(i | half));
  }
  return mask & want;
}

static bool find_pair(lu_finder *f, const lu_array *e, unsigned k, unsigned l, uint64_t live)
{
  const uint64_t bk = (uint64_t)1 << k, bl = (uint64_t)1 << l;
  const corner cross = {bk | bl, bk, bl}, low = {bk | bl, bk, 0}, high = {bk | bl, bk, bk | bl};
  const uint64_t want = live & ~f->dead[k] & ~f->dead[l];
  uint64_t same = want ? corner_equal(f, &f->o, cross, want) : 0;
  if (same && f->known) /* only where it should make a difference */
    same &= ~corner_equal(f, e, cross, same);
  if (!same)
    return true;
  const uint64_t is_and = corner_equal(f, &f->o, low, same);
  const uint64_t is_or = corner_equal(f, &f->o, high, same) & ~is_and;
  const uint64_t groups[3] = {is_and, is_or, same & ~is_and & ~is_or};
  const lu_symptom_how hows[3] = {LU_HOW_AND, LU_HOW_OR, LU_HOW_EITHER};
  for (unsigned g = 0; g < 3; g++) {
    double chance = 0.0;
    if (!groups[g])
      continue;
    if (!f->known)
      chance = f->lines * f->lines / 2.0 * lu_finder_still_chance(f, bk | bl, groups[g]);
    if (chance < LU_CHANCE_MAX && !add_joined(f, k, l, groups[g], hows[g], chance))
      return false;
  }
  return true;
}

/* ---- where the data really comes from ---- */

enum { VOTERS = 256, SOURCES = 1024 };

typedef struct ballot {
  uint64_t x[SOURCES];     /* XOR of the address */
  uint32_t votes[SOURCES]; /* wrong words that it explains */
  uint64_t at_and[SOURCES], at_or[SOURCES]; /* their addresses */
  unsigned count;
  uint64_t lane;           /* data bits that have to agree */
  uint64_t voters;
  size_t voter[VOTERS];
  bool settled[VOTERS];
} ballot;

static void ballot_sources(const lu_finder *f, ballot *b)
{
  for (unsigned k = 0; k < f->lines; k++)
    b->x[b->count++] = (uint64_t)1 << k;
  for (unsigned k = 0; k < f->lines; k++)
    for (unsigned l = k + 1; l < f->lines && b->count < SOURCES; l++)
      b->x[b->count++] = (uint64_t)1 << k | (uint64_t)1 << l;
}

/* Wrong words from all over: from each of VOTERS stretches, the first. */
static void ballot_voters(const lu_finder *f, ballot *b)
{
  const size_t step = f->o.count / VOTERS + 1;
  for (size_t from = 0; from < f->o.count; from += step) {
    const size_t end = from + step < f->o.count ? from + step : f->o.count;
    /* not always at a stretch's start: that would fix the low address bits */
    const size_t turn = (from / step * 0x9e3779b1u) % step;
    for (size_t n = 0; n < end - from && n < 4096; n++) {
      const size_t i = from + (turn + n) % (end - from);
      if (!lu_array_held(&f->o, i) || !lu_array_held(&f->e, i) ||
          !((lu_finder_word(&f->o, i) ^ lu_finder_word(&f->e, i)) & b->lane))
        continue;
      b->voter[b->voters++] = i;
      break;
    }
  }
}

/* Does the source bring what was read at i? */
static bool brings(const lu_finder *f, const ballot *b, unsigned s, size_t i)
{
  const size_t from = (size_t)(i ^ b->x[s]);
  return from < f->e.count && lu_array_held(&f->e, from) &&
         !((lu_finder_word(&f->o, i) ^ lu_finder_word(&f->e, from)) & b->lane);
}

/* Counts, for each source, the voters that no accepted source explains yet. */
static void ballot_count(const lu_finder *f, ballot *b)
{
  for (unsigned s = 0; s < b->count; s++) {
    b->at_and[s] = UINT64_MAX;
    b->at_or[s] = b->votes[s] = 0;
    for (uint64_t v = 0; v < b->voters; v++) {
      const size_t i = b->voter[v];
      if (b->settled[v] || !brings(f, b, s, i))
        continue;
      b->votes[s]++;
      b->at_and[s] &= i;
      b->at_or[s] |= i;
    }
  }
}

static bool add_moved(lu_finder *f, const ballot *b, unsigned s)
{
  lu_symptom m = lu_finder_blank(LU_SYMPTOM_MOVED_DATA);
  const uint64_t x = b->x[s], steady = ~(b->at_and[s] ^ b->at_or[s]) & x;
  m.data_bits = b->lane;
  m.addr_bits = x;
  m.addr_value = b->at_and[s] & steady;
  m.level = steady == x && !(x & (x - 1)) ? !m.addr_value : -1; /* the level it seems to have */
  m.count = b->votes[s];
  m.strength = (double)b->votes[s] / (double)b->voters;
  m.chance = unlikely(b->votes[s]);
  const char *bits = lu_finder_bits(f, 'A', x);
  const char *data = b->lane == f->all ? "words" : lu_finder_bits(f, 'D', b->lane);
  return lu_finder_add(f, m, "Of the wrong %s, %.0f %% show what belongs to the address with %s turned over%s%s%s.",
                       data, 100.0 * m.strength, bits,
                       m.level >= 0 ? ", always where it is " : "",
                       m.level >= 0 ? (m.level ? "0" : "1") : "",
                       m.level >= 0 ? "" : "");
}

/* How often a wrong source would bring the right data anyway. */
static double match_by_chance(const lu_finder *f, const ballot *b)
{
  uint64_t same = 0, tried = 0;
  for (uint64_t v = 0; v + 1 < b->voters; v++) {
    tried++;
    same += !((lu_finder_word(&f->o, b->voter[v]) ^ lu_finder_word(&f->e, b->voter[v + 1])) & b->lane);
  }
  return tried ? ((double)same + 1.0) / ((double)tried + 1.0) : 1.0;
}

static lu_status find_moved(lu_finder *f, uint64_t lane, double *explained)
{
  ballot *b = LU_NEW(f->mem, ballot, 1);
  if (!b)
    return lu_fail(f->err, LU_ERR_NOMEM, 0, 0, "no room to look for moved data");
  b->lane = lane;
  ballot_sources(f, b);
  ballot_voters(f, b);
  if (b->voters < 4)
    return LU_OK;
  const double by_chance = match_by_chance(f, b);
  for (unsigned added = 0; added < 8; added++) { /* the strongest first, what it settles left out */
    unsigned best = 0;
    double open = 0.0;
    ballot_count(f, b);
    for (uint64_t v = 0; v < b->voters; v++)
      open += !b->settled[v];
    for (unsigned s = 1; s < b->count; s++)
      if (b->votes[s] > b->votes[best])
        best = s;
    /* all sources together will not do as much by accident: far above the mean of one */
    const double need = open * by_chance + 5.0 * sqrt(open * by_chance) + 4.0;
    if (!b->count || b->votes[best] < need || b->votes[best] < 0.06 * (double)b->voters)
      break;
    if (!add_moved(f, b, best))
      return LU_ERR_NOMEM;
    *explained += (double)b->votes[best] / (double)b->voters;
    for (uint64_t v = 0; v < b->voters; v++)
      b->settled[v] |= brings(f, b, best, b->voter[v]);
  }
  return LU_OK;
}

/* ---- repeats ---- */

static bool add_repeats(lu_finder *f, uint64_t live)
{
  unsigned l = f->lines;
  while (l > 0 && f->dead[l - 1] == live)
    l--;
  if (l == f->lines)
    return true;
  lu_symptom s = lu_finder_blank(LU_SYMPTOM_REPEATS);
  s.addr_bits = (((uint64_t)1 << f->lines) - 1) & ~(((uint64_t)1 << l) - 1);
  s.data_bits = live;
  s.count = (uint64_t)1 << l;
  if (!f->known)
    s.chance = lu_finder_still_chance(f, s.addr_bits, live);
  return lu_finder_add(f, s, "The contents repeat every 0x%llx words%s.",
                       (unsigned long long)s.count,
                       f->known ? ""
                                : ", which a smaller image written several times would do as well");
}

static lu_status find_dead(lu_finder *f, const lu_array *e, uint64_t live)
{
  uint64_t seen[LU_MAX_LINES], should[LU_MAX_LINES];
  lu_alias_masks(f->k, &f->o, f->lines, live, seen);
  for (unsigned l = 0; l < f->lines; l++)
    f->dead[l] = lu_array_pairs_held(&f->o, l) ? live & ~seen[l] : 0;
  if (f->known) {
    uint64_t asked = 0;
    for (unsigned l = 0; l < f->lines; l++)
      asked |= f->dead[l];
    if (!asked)
      return LU_OK;
    lu_alias_masks(f->k, e, f->lines, asked, should);
    for (unsigned l = 0; l < f->lines; l++)
      f->dead[l] &= should[l]; /* bits that should move and do not */
  }
  for (unsigned l = 0; l < f->lines; l++) {
    uint64_t want = live;
    if (f->known) /* bits that should not move under this line say nothing */
      want = f->all & (f->dead[l] | seen[l]);
    if (f->dead[l] && !add_dead_parts(f, l, f->dead[l], want))
      return LU_ERR_NOMEM;
  }
  return add_repeats(f, live) ? LU_OK : LU_ERR_NOMEM;
}

static lu_status find_moved_all(lu_finder *f)
{
  const uint64_t wrong = f->d.mask & ~f->claimed;
  double explained = 0.0;
  if (!wrong)
    return LU_OK;
  /* bits that other symptoms account for would spoil the comparison */
  lu_status status = find_moved(f, f->all & ~f->claimed, &explained);
  for (unsigned lane = 0; f->width > 8 && lane < f->width && status == LU_OK; lane += 8) {
    uint64_t bits = ((uint64_t)0xff << lane) & f->all & ~f->claimed;
    if (explained < 0.5 && bits & wrong)
      status = find_moved(f, bits, &(double){0.0});
  }
  return status;
}

lu_status lu_finder_lines_find(lu_finder *f)
{
  uint64_t live = f->all & ~f->constant;
  if (f->lines > LU_MAX_LINES)
    f->lines = LU_MAX_LINES;
  if (f->known)
    live &= f->d.mask;
  if (!live || !f->lines)
    return LU_OK;
  const lu_array *e = asked_for(f);
  if (!e)
    return LU_ERR_NOMEM;
  lu_status status = find_dead(f, e, live);
  /* Two bits can seem to be joined only where at least one of them makes a difference to what is known: uniform contents
   * would else be looked through for each pair. Where there are holes, either half may be known only beside another one. */
  uint64_t effect[LU_MAX_LINES];
  bool told = f->known && f->e.count >= f->o.count && !f->e.held;
  for (unsigned k = 0; k < f->lines; k++)
    effect[k] = told ? line_effect(f, k, live) : live;
  for (unsigned k = 0; k < f->lines && status == LU_OK; k++)
    for (unsigned l = k + 1; l < f->lines && status == LU_OK; l++)
      if (!find_pair(f, e, k, l, live & (effect[k] | effect[l])))
        status = LU_ERR_NOMEM;
  return status == LU_OK && f->known ? find_moved_all(f) : status;
}
