/* SPDX-License-Identifier: MIT */
/* What the contents look like, and what that makes of a regularity.
 *
 * Blank areas and repeated code hold many words but little evidence. So everything here is judged
 * on different words, or on different stretches of words, of an evenly spread sample. The figures
 * marked "prior" are our own judgement of how often contents are made so; no source. */
#include "reason/symptoms_inner.h"

#include <math.h>
#include <string.h>

#define PRIOR_TOP_OF_BYTE 0.06 /* text and small numbers never set the top bit of a byte */
#define PRIOR_SIGN 0.02        /* sign extension makes upper neighbours equal */
#define PRIOR_DOUBLED 0.3      /* an image written twice (or more) to fill a larger chip */

enum { SAMPLE_WORDS = 4096, SAMPLE_RUN = 16, TABLE = 16384 };

static uint64_t mix(uint64_t x)
{
  x = (x ^ (x >> 30)) * 0xbf58476d1ce4e5b9u; /* finaliser of splitmix64 */
  x = (x ^ (x >> 27)) * 0x94d049bb133111ebu;
  return x ^ (x >> 31);
}

/* A set of 64-bit keys with counts; room for TABLE / 2 keys. */
typedef struct key_set {
  uint64_t *key;
  uint32_t *times; /* 0 = free slot */
  size_t count;
} key_set;

static bool key_set_make(key_set *s, lu_arena *mem)
{
  s->key = LU_NEW(mem, uint64_t, TABLE);
  s->times = LU_NEW(mem, uint32_t, TABLE);
  s->count = 0;
  return s->key && s->times;
}

/* True if the key is new. */
static bool key_set_add(key_set *s, uint64_t key)
{
  size_t i = mix(key + 0x9e3779b97f4a7c15u) % TABLE;
  while (s->times[i] && s->key[i] != key)
    i = (i + 1) % TABLE;
  s->key[i] = key;
  s->count += !s->times[i];
  return s->times[i]++ == 0;
}

static void put_word(void *at, size_t i, unsigned bytes, uint64_t w)
{
  switch (bytes) {
  case 1:
    ((uint8_t *)at)[i] = (uint8_t)w;
    break;
  case 2:
    ((uint16_t *)at)[i] = (uint16_t)w;
    break;
  case 4:
    ((uint32_t *)at)[i] = (uint32_t)w;
    break;
  default:
    ((uint64_t *)at)[i] = w;
    break;
  }
}

/* Different words among short runs that are spread evenly. */
static lu_status sample_words(lu_finder *f)
{
  key_set seen;
  void *words = lu_arena_take(f->mem, (size_t)SAMPLE_WORDS * f->o.bytes);
  if (!key_set_make(&seen, f->mem) || !words)
    return lu_fail(f->err, LU_ERR_NOMEM, 0, 0, "no room for a sample of the words");
  size_t runs = f->o.count / SAMPLE_RUN + 1, step = 1, n = 0;
  if (runs > SAMPLE_WORDS / SAMPLE_RUN)
    step = runs / (SAMPLE_WORDS / SAMPLE_RUN) | 1; /* odd: not in step with any address bit */
  for (size_t run = 0; run < runs && n + SAMPLE_RUN < SAMPLE_WORDS; run += step)
    for (size_t i = run * SAMPLE_RUN; i < (run + 1) * SAMPLE_RUN && i < f->o.count; i++)
      if (lu_array_held(&f->o, i) && key_set_add(&seen, lu_finder_word(&f->o, i)))
        put_word(words, n++, f->o.bytes, lu_finder_word(&f->o, i));
  f->distinct = (lu_array){words, n, f->o.bytes, NULL};
  return LU_OK;
}

lu_status lu_finder_texture(lu_finder *f)
{
  lu_status status = sample_words(f);
  f->agree = LU_NEW(f->mem, uint64_t, (size_t)f->width * f->width);
  if (status != LU_OK)
    return status;
  if (!f->agree)
    return lu_fail(f->err, LU_ERR_NOMEM, 0, 0, "no room for %u data bits", f->width);
  lu_fold_words(f->k, &f->distinct, &f->fd);
  return lu_cooc_words(f->k, &f->distinct, &f->distinct, f->width, 1, f->mem, f->agree, NULL,
                       f->err);
}

/* Each bit that does change shows how rare the rarer level may be in such contents. */
double lu_finder_constant_chance(const lu_finder *f, unsigned bit)
{
  const double n = (double)f->distinct.count;
  double sum = bit % 8 == 7 ? PRIOR_TOP_OF_BYTE : 0.0, others = 0.0;
  for (unsigned b = 0; b < f->width; b++) {
    double ones = (double)f->fd.ones[b], rare = ones < n - ones ? ones : n - ones;
    if (f->constant >> b & 1)
      continue;
    sum += n > 0 ? pow(1.0 - rare / n, n) / f->width : 1.0;
    others += 1.0;
  }
  if (others < 1.0)
    return 1.0;
  sum += exp2(-n); /* few different words: anything may be constant */
  return sum < 1.0 ? sum : 1.0;
}

double lu_finder_agree_chance(const lu_finder *f, unsigned a, unsigned b, bool opposite)
{
  const double n = (double)f->distinct.count;
  double sum = exp2(-n); /* summed over all pairs: as many chances to be misled */
  for (unsigned i = 0; i < f->width; i++)
    for (unsigned j = i + 1; j < f->width; j++) {
      if ((f->constant >> i & 1) || (f->constant >> j & 1))
        continue;
      double same = n - (double)(f->fd.ones[i] + f->fd.ones[j] - 2 * f->agree[i * f->width + j]);
      double rate = n > 0 ? (opposite ? n - same : same) / n : 1.0;
      if (rate < 1.0) /* pairs that always agree are what is being judged */
        sum += pow(rate, n);
    }
  unsigned high = a > b ? a : b, low = a > b ? b : a;
  if (!opposite && high == low + 1 && f->width - high <= 8)
    sum += PRIOR_SIGN;
  return sum < 1.0 ? sum : 1.0;
}

/* Stretches with the address bits `lines` left out: how many different ones are there, and how
 * often do two of them agree anyway? */
double lu_finder_still_chance(const lu_finder *f, uint64_t lines, uint64_t bits)
{
  enum { STRETCHES = 512 };
  const unsigned removed = (unsigned)__builtin_popcountll(lines);
  const uint64_t count = f->o.count >> removed, most = count / 64 ? count / 64 : 1;
  const uint64_t stretch = most < 32 ? most : 32, stretches = count / stretch;
  lu_arena own = {0};
  key_set seen;
  uint64_t looked = 0, different = 0, step = stretches / STRETCHES + 1;
  double collide = 0.0, top = 0.0;
  if (!key_set_make(&seen, &own)) {
    lu_arena_free(&own);
    return 1.0; /* nothing is claimed without evidence */
  }
  for (uint64_t s = 0; s < stretches; s += step) {
    uint64_t hash = 0, first = 0;
    bool flat = true;
    for (uint64_t j = 0; j < stretch; j++) {
      uint64_t i = lu_finder_insert(s * stretch + j, lines);
      uint64_t w = i < f->o.count ? lu_finder_word(&f->o, (size_t)i) & bits : 0;
      first = j ? first : w;
      flat &= w == first;
      hash = mix(hash * 31 + w + 1);
    }
    looked++;
    different += key_set_add(&seen, hash) && !flat;
  }
  for (size_t i = 0; i < TABLE; i++)
    collide += looked ? (double)seen.times[i] * seen.times[i] / (double)(looked * looked) : 0;
  lu_arena_free(&own);
  if (!looked)
    return 1.0;
  /* lines at the top together: the image may simply be there twice */
  for (unsigned l = f->lines; l-- > 0 && f->dead[l] == bits;)
    if (lines >> l & 1)
      top = PRIOR_DOUBLED;
  double chance = pow(collide, (double)different);
  if (chance < top)
    chance = top;
  return chance < 1.0 ? chance : 1.0;
}
