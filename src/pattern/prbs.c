/* SPDX-License-Identifier: MIT */
#include "pattern/prbs.h"

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

void lu_prbs_start(lu_prbs_run *run, const lu_prbs *prbs, uint64_t bit)
{
  /* Squaring the recursion doubles both distances (characteristic 2); with the nearer one at
   * least 64, a whole word depends on earlier words only. */
  unsigned stretch = 1;
  while (prbs->m * stretch < 64)
    stretch *= 2;
  *run = (lu_prbs_run){.prbs = prbs, .far_bits = prbs->n * stretch, .near_bits = prbs->m * stretch};
  run->made = (run->far_bits + 63) / 64 + 1;
  uint64_t r = power_of_x(prbs, bit % lu_prbs_period(prbs));
  for (uint64_t word = 0; word < run->made; word++)
    for (unsigned i = 0; i < 64; i++, r = times_x(prbs, r))
      run->ring[word] |= (uint64_t)parity(r) << i;
}

/* The 64 bits that stand `back` bits before word `word`. */
static inline uint64_t earlier(const lu_prbs_run *run, uint64_t word, unsigned back)
{
  uint64_t at = word - (back + 63) / 64;
  unsigned shift = (64 - back % 64) % 64;
  uint64_t low = run->ring[at % 64] >> shift;
  return shift ? low | run->ring[(at + 1) % 64] << (64 - shift) : low;
}

static void make(lu_prbs_run *run)
{
  run->ring[run->made % 64] =
    earlier(run, run->made, run->far_bits) ^ earlier(run, run->made, run->near_bits);
  run->made++;
}

/* A bit is forced to one where the next `limit` bits are all zero. */
static uint64_t limit_zeros(uint64_t word, uint64_t after, unsigned limit)
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
  for (size_t i = 0; i < count; i++) {
    while (run->made < run->next + 2)
      make(run);
    uint64_t word = run->ring[run->next % 64];
    words[i] = limit ? limit_zeros(word, run->ring[(run->next + 1) % 64], limit) : word;
    run->next++;
  }
}
