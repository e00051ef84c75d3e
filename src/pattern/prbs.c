/* SPDX-License-Identifier: MIT */
#include "pattern/prbs.h"

#include <string.h>

const lu_prbs lu_prbs_table[LU_PRBS_COUNT] = {
  {"prbs7", 7, 6, 0},    {"prbs9", 9, 5, 0},    {"prbs11", 11, 9, 0},
  {"prbs15", 15, 14, 0}, {"prbs20", 20, 3, 0},  {"qrss", 20, 17, 14},
  {"prbs23", 23, 18, 0}, {"prbs29", 29, 27, 0}, {"prbs31", 31, 28, 0},
};

uint64_t lu_prbs_period(const lu_prbs *prbs)
{
  return (UINT64_C(1) << prbs->n) - 1;
}

/* Polynomials over GF(2) modulo x^n + x^(n-m) + 1, bit i = coefficient of x^i. With r = x^k
 * reduced, s[k] is the sum of the preset bits s[i] whose coefficient in r is set. */
static uint64_t times_x(const lu_prbs *prbs, uint64_t r)
{
  uint64_t carry = r >> (prbs->n - 1) & 1;
  r = (r << 1) & lu_prbs_period(prbs);
  return carry ? r ^ 1 ^ (UINT64_C(1) << (prbs->n - prbs->m)) : r;
}

static uint64_t product(const lu_prbs *prbs, uint64_t a, uint64_t b)
{
  uint64_t sum = 0;
  for (; b; b >>= 1, a = times_x(prbs, a))
    if (b & 1)
      sum ^= a;
  return sum;
}

static uint64_t power_of_x(const lu_prbs *prbs, uint64_t exponent)
{
  uint64_t result = 1, square = 2;
  for (; exponent; exponent >>= 1, square = product(prbs, square, square))
    if (exponent & 1)
      result = product(prbs, result, square);
  return result;
}

static unsigned parity(uint64_t v)
{
  return (unsigned)__builtin_parityll(v);
}

enum { STEP = 4, CHUNK = 256 };

void lu_prbs_start(lu_prbs_run *run, const lu_prbs *prbs, uint64_t bit)
{
  /* Squaring the recursion doubles both distances (characteristic 2): six times makes bits into
   * words. The nearer distance is kept at STEP words or more, so that they go in steps. */
  unsigned stretch = prbs->m < STEP ? 2 : 1;
  *run = (lu_prbs_run){.prbs = prbs, .far_words = prbs->n * stretch,
                       .near_words = prbs->m * stretch};
  uint64_t period = lu_prbs_period(prbs), back = 64 * (uint64_t)run->far_words % period;
  uint64_t r = power_of_x(prbs, (bit % period + period - back) % period);
  for (unsigned word = 0; word < run->far_words; word++)
    for (unsigned i = 0; i < 64; i++, r = times_x(prbs, r))
      run->history[word] |= (uint64_t)parity(r) << i;
}

/* buf[far..far + count) from buf[0..far); may write up to STEP - 1 words more. */
static void make_words(const lu_prbs_run *run, uint64_t *buf, size_t count)
{
  const uint64_t *far = buf, *near = buf + run->far_words - run->near_words;
  uint64_t *out = buf + run->far_words;
  for (size_t i = 0; i < count; i += STEP) {
    uint64_t made[STEP];
    for (unsigned k = 0; k < STEP; k++)
      made[k] = far[i + k] ^ near[i + k];
    for (unsigned k = 0; k < STEP; k++)
      out[i + k] = made[k];
  }
}

/* A bit is forced to one where the next `limit` bits are all zero. */
static inline __attribute__((always_inline)) uint64_t limit_zeros(uint64_t word, uint64_t after, unsigned limit)
{
  uint64_t low = word >> 1 | after << 63, high = after >> 1;
  for (unsigned seen = 1; seen < limit;) { /* bit i of low: any one among the next `seen` bits */
    unsigned more = seen < limit - seen ? seen : limit - seen;
    low |= low >> more | high << (64 - more);
    high |= high >> more;
    seen += more;
  }
  return word | ~low;
}

void lu_prbs_take(lu_prbs_run *run, bool limited, uint64_t *words, size_t count)
{
  unsigned limit = limited ? run->prbs->limit : 0;
  uint64_t buf[64 + CHUNK + 2 * STEP];
  for (size_t done = 0; done < count;) {
    size_t part = count - done < CHUNK ? count - done : CHUNK;
    const uint64_t *made = buf + run->far_words;
    memcpy(buf, run->history, run->far_words * sizeof *buf);
    make_words(run, buf, part + 1); /* one more: the limit looks ahead */
    for (size_t i = 0; limit && i < part; i++) /* the one limit that is in use, unrolled */
      words[done + i] = limit == 14 ? limit_zeros(made[i], made[i + 1], 14)
                                    : limit_zeros(made[i], made[i + 1], limit);
    if (!limit)
      memcpy(words + done, made, part * sizeof *words);
    memcpy(run->history, buf + part, run->far_words * sizeof *buf);
    done += part;
  }
}

uint64_t lu_prbs_word(const lu_prbs *prbs, bool limited, uint64_t bit)
{
  uint64_t words[2] = {0}, r = power_of_x(prbs, bit % lu_prbs_period(prbs));
  for (unsigned i = 0; i < 64 + prbs->limit; i++, r = times_x(prbs, r))
    words[i / 64] |= (uint64_t)parity(r) << i % 64;
  return limited && prbs->limit ? limit_zeros(words[0], words[1], prbs->limit) : words[0];
}
