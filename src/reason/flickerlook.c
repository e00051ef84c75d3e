/* SPDX-License-Identifier: MIT */
#include "reason/flickerlook.h"

#include <math.h>
#include <string.h>

/* NOT_APART: where the contents are not certain, a word that differs from what the open contact gives in no more than one bit of so many is
 * taken for the same with noise: else noise would look like a contact on a line that is dead altogether. */
enum { PASSES_MOST = 16, NOT_APART = 8, BURST_GAP = 4 };
static const double open_price = 1.6; /* -ln of the share of reads with the contact open, about: only to choose what was closed */
static const double noise_price = 4.6;

static unsigned bits_of(uint64_t x)
{
  return (unsigned)__builtin_popcountll(x);
}

static size_t passes_of(const lu_flicker_look *k)
{
  return k->given->pass_count < PASSES_MOST ? k->given->pass_count : PASSES_MOST;
}

/* --- words ------------------------------------------------------------------------------------------ */

bool lu_flicker_look_new(lu_flicker_look *k, const lu_evidence *given, lu_arena *mem)
{
  const lu_words *got = &given->got;
  char *at = lu_arena_big(mem, got->count * got->bytes + 8);
  uint64_t *held = LU_NEW(mem, uint64_t, got->count / 64 + 1);
  *k = (lu_flicker_look){.given = given, .reads = *given};
  k->fit = LU_NEW(mem, lu_fit, 1);
  if (!at || !held || !k->fit)
    return false;
  k->all = got->width >= 64 ? ~UINT64_C(0) : (UINT64_C(1) << got->width) - 1;
  k->reads.know = LU_KNOW_CONTENTS;
  k->reads.steady = NULL;
  k->reads.passes = NULL;
  k->reads.known = *got;
  k->reads.known.at = at;
  k->reads.known.held = held;
  k->reads.known.held_count = 0;
  for (size_t i = 0; i < got->count; i++) {
    bool known = given->known.at && lu_word_held(&given->known, i);
    uint64_t word = lu_word_held(got, i) ? lu_word(got, i) : known ? lu_word(&given->known, i) : 0;
    memcpy(at + i * got->bytes, &word, got->bytes);
    if (lu_word_held(got, i) || known) {
      held[i / 64] |= UINT64_C(1) << (i % 64);
      k->reads.known.held_count++;
    }
  }
  return true;
}

void lu_flicker_base(lu_flicker_look *k, size_t i, uint64_t value)
{
  lu_words *w = &k->reads.known;
  uint64_t *held = (uint64_t *)(uintptr_t)w->held;
  memcpy((char *)(uintptr_t)w->at + i * w->bytes, &value, w->bytes);
  w->held_count += !lu_word_held(w, i);
  held[i / 64] |= UINT64_C(1) << (i % 64);
}

static bool odd(const lu_flicker_look *k, size_t i)
{
  uint64_t any = 0, base = lu_word(&k->reads.known, i);
  for (size_t p = 0; p < passes_of(k); p++)
    any |= lu_word(&k->given->passes[p], i) ^ base;
  return any & k->all;
}

/* The mixer of splitmix64 (Steele, Lea, Flood, OOPSLA 2014). */
static uint64_t shuffle(uint64_t x)
{
  x += 0x9e3779b97f4a7c15u;
  x = (x ^ x >> 30) * 0xbf58476d1ce4e5b9u;
  x = (x ^ x >> 27) * 0x94d049bb133111ebu;
  return x ^ x >> 31;
}

void lu_flicker_unbase(lu_flicker_look *k)
{
  for (size_t i = 0; i < k->given->got.count; i++)
    if (lu_word_held(&k->given->got, i))
      lu_flicker_base(k, i, lu_word(&k->given->got, i));
  k->certain = false;
}

/* Odd reads of one pass no further apart than BURST_GAP are one burst. */
static double bursts(const lu_flicker_look *k)
{
  double runs = 0, reads = 0;
  for (size_t p = 0; p < passes_of(k); p++) {
    size_t since = BURST_GAP;
    for (size_t i = 0; i < k->given->got.count; i++) {
      if (!lu_word_held(&k->given->got, i))
        continue;
      bool is = (lu_word(&k->given->passes[p], i) ^ lu_word(&k->reads.known, i)) & k->all;
      runs += is && since >= BURST_GAP;
      reads += is;
      since = is ? 0 : since + 1;
    }
  }
  return reads > 0 ? runs / reads : 1;
}

bool lu_flicker_sample(lu_flicker_look *k, size_t odd_most, size_t calm_most, lu_arena *mem)
{
  size_t count[2] = {0, 0}, most[2] = {calm_most, odd_most}, taken[2] = {0, 0};
  for (size_t i = 0; i < k->given->got.count; i++)
    if (lu_word_held(&k->given->got, i))
      count[odd(k, i)]++;
  k->sample = LU_NEW(mem, uint32_t, 2 * (odd_most + calm_most) + 64);
  k->weight = LU_NEW(mem, double, 2 * (odd_most + calm_most) + 64);
  if (!k->sample || !k->weight)
    return false;
  k->sample_count = 0;
  k->alone = 0;
  k->apart = bursts(k);
  for (size_t i = 0; i < k->given->got.count; i++) {
    if (!lu_word_held(&k->given->got, i))
      continue;
    bool is = odd(k, i);
    bool take = count[is] <= most[is] || shuffle(i) % count[is] < most[is];
    if (!take || taken[is] >= 2 * most[is])
      continue;
    taken[is]++;
    k->sample[k->sample_count] = (uint32_t)i;
    k->weight[k->sample_count++] = is;
  }
  /* odd words count once each, so that the evidence is no more than was looked at; the others in their true proportion */
  double each = taken[0] && taken[1] ? (double)count[0] / (double)taken[0] * (double)taken[1] / (double)count[1] : 1;
  for (size_t s = 0; s < k->sample_count; s++)
    k->weight[s] = k->weight[s] > 0 ? 1 : each;
  return true;
}

/* --- with the contact open ----------------------------------------------------------------------------- */

/* The level of a line that keeps what it had, from the access before this one. */
static bool kept(const lu_flicker_look *k, const lu_contact *c, size_t i, bool *high)
{
  const lu_network *n = k->given->network;
  size_t before = i;
  while (before > 0 && !lu_word_held(&k->given->got, before - 1))
    before--;
  if (!before)
    return false;
  *high = (lu_address_of(n, before - 1) >> c->bit & 1) ^ c->inverted;
  return true;
}

uint64_t lu_flicker_open(const lu_flicker_look *k, const lu_contact *c, const lu_view *view, const lu_view *low, size_t i, size_t p,
                         uint64_t *changed, uint64_t *unknown)
{
  uint64_t value = 0;
  lu_evidence pass = k->reads;
  pass.got = k->given->passes[p];
  *changed = *unknown = 0;
  bool high = true;
  if (low && !kept(k, c, i, &high))
    return 0;
  const lu_view *v = low && !high ? low : view;
  if (!v->changed)
    return 0;
  lu_view_word(v, &pass, i, &value, unknown);
  uint64_t elsewhere, here;
  lu_view_tests(v, &k->reads, i, &elsewhere, &here); /* where the right place is read all the same, the contact says nothing */
  *changed = (elsewhere | here) & v->changed & k->all;
  *unknown &= *changed;
  return value & *changed & ~*unknown;
}

/* --- reads -------------------------------------------------------------------------------------------- */

/* A word with all its reads. */
typedef struct reads {
  size_t count;
  uint64_t word[PASSES_MOST], open[PASSES_MOST], changed[PASSES_MOST], unknown[PASSES_MOST];
  uint64_t closed; /* what the closed contact gives */
} reads;

static unsigned from_open(const reads *x, size_t p)
{
  return bits_of((x->word[p] ^ x->open[p]) & x->changed[p] & ~x->unknown[p]) + bits_of((x->word[p] ^ x->closed) & ~x->changed[p]);
}

static double price(const reads *x)
{
  double sum = 0;
  for (size_t p = 0; p < x->count; p++)
    sum += fmin(noise_price * bits_of(x->word[p] ^ x->closed), open_price + noise_price * from_open(x, p) + 0.7 * bits_of(x->unknown[p]));
  return sum;
}

/* What the open contact makes of each pass, if the closed one gives this. */
static void open_reads(lu_flicker_look *k, const lu_contact *c, const lu_view *view, const lu_view *low, size_t i, uint64_t closed, reads *x)
{
  bool each = low || view->floats || view->open_level[1]; /* what floats may hang on the pass */
  uint64_t was = lu_word(&k->reads.known, i);
  if (closed != was)
    lu_flicker_base(k, i, closed);
  x->closed = closed;
  for (size_t p = 0; p < x->count; p++) {
    if (p && !each) {
      x->open[p] = x->open[0];
      x->changed[p] = x->changed[0];
      x->unknown[p] = x->unknown[0];
      continue;
    }
    x->open[p] = lu_flicker_open(k, c, view, low, i, p, &x->changed[p], &x->unknown[p]);
    unsigned apart = bits_of((x->open[p] ^ closed) & x->changed[p] & ~x->unknown[p]);
    if (!k->certain && apart && apart * NOT_APART <= bits_of(x->changed[p]))
      x->changed[p] = x->unknown[p] = 0;
  }
  if (closed != was)
    lu_flicker_base(k, i, was);
}

static void take_reads(lu_flicker_look *k, const lu_contact *c, const lu_view *view, const lu_view *low, size_t i, reads *x)
{
  uint64_t base = lu_word(&k->reads.known, i) & k->all;
  x->count = passes_of(k);
  for (size_t p = 0; p < x->count; p++)
    x->word[p] = lu_word(&k->given->passes[p], i) & k->all;
  open_reads(k, c, view, low, i, base, x);
  if (k->certain)
    return;
  double least = price(x);
  uint64_t best = base;
  for (size_t p = 0; p < x->count; p++) {
    if (x->word[p] == best)
      continue;
    open_reads(k, c, view, low, i, x->word[p], x); /* the word itself can have a part in what the open contact gives */
    double sum = price(x);
    if (sum < least) {
      least = sum;
      best = x->word[p];
    }
  }
  if (x->closed != best)
    open_reads(k, c, view, low, i, best, x);
}

static double alone(lu_flicker_look *k)
{
  for (size_t s = 0; s < k->sample_count; s++)
    for (size_t p = 0; p < passes_of(k); p++)
      lu_fit_add(k->fit, bits_of((lu_word(&k->given->passes[p], k->sample[s]) ^ lu_word(&k->reads.known, k->sample[s])) & k->all), 0, 0,
                 k->weight[s]);
  return lu_fit_end(k->fit, k->given->network->data_bits, 0).log;
}

void lu_flicker_gain(lu_flicker_look *k, lu_contact *c, const lu_view *view, const lu_view *low)
{
  if (!k->alone)
    k->alone = alone(k);
  for (size_t s = 0; s < k->sample_count; s++) {
    reads x;
    take_reads(k, c, view, low, k->sample[s], &x);
    for (size_t p = 0; p < x.count; p++) {
      lu_fit_add(k->fit, bits_of(x.word[p] ^ x.closed), from_open(&x, p), bits_of(x.unknown[p]), k->weight[s]);
      c->open_bits += bits_of(x.changed[p]);
      c->foretold += bits_of(x.changed[p] & ~x.unknown[p]);
    }
  }
  lu_fitted f = lu_fit_end(k->fit, k->given->network->data_bits, 1);
  k->noise = f.noise;
  c->gain += f.log - k->alone;
  c->rank += f.log - k->alone - (1 - k->apart) * f.which;
  c->open = fmin(c->open, f.open);
}

bool lu_flicker_steady(lu_flicker_look *k, const lu_contact *c, const lu_view *view, const lu_view *low)
{
  double steady = 0, any = 0, bits = 0;
  for (size_t s = 0; s < k->sample_count; s++) {
    reads x = {.count = passes_of(k)};
    uint64_t both = k->all;
    if (c)
      take_reads(k, c, view, low, k->sample[s], &x);
    for (size_t p = 0; p < x.count; p++) {
      uint64_t word = lu_word(&k->given->passes[p], k->sample[s]), shut = (word ^ lu_word(&k->reads.known, k->sample[s])) & k->all;
      uint64_t open = ((word ^ x.open[p]) & x.changed[p] & ~x.unknown[p]) | (shut & ~x.changed[p]);
      uint64_t left = !c || bits_of(shut) <= bits_of(open) ? shut : open;
      both &= left;
      any += bits_of(left) * k->weight[s] / (double)x.count;
    }
    steady += bits_of(both) * k->weight[s];
    bits += bits_of(k->all) * k->weight[s];
  }
  return steady > lu_noise_most(bits * pow(any / fmax(bits, 1), (double)passes_of(k)) + 0.01);
}

/* Bitwise majority of the passes in which the contact was closed; bits on which they do not agree are not sure. */
uint64_t lu_flicker_closed(lu_flicker_look *k, const lu_contact *c, const lu_view *view, const lu_view *low, size_t i, uint64_t *sure)
{
  reads x;
  uint64_t every = k->all, some = 0;
  size_t shut = 0;
  take_reads(k, c, view, low, i, &x);
  uint64_t forced = 0;
  for (size_t p = 0; p < x.count; p++) {
    unsigned open = from_open(&x, p), closed = bits_of(x.word[p] ^ x.closed);
    if (x.changed[p] && open <= closed) {
      forced |= x.changed[p];
      continue;
    }
    shut++;
    every &= x.word[p];
    some |= x.word[p];
  }
  *sure = shut ? k->all & ~(every ^ some) : k->all & ~forced;
  return shut ? every : x.closed;
}
