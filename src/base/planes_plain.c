/* SPDX-License-Identifier: MIT */
/* Kernels in plain C: the "vector" is one 64-bit word. */
#include "base/planes_kernels.h"

#include <string.h>

#define FORCE static inline __attribute__((always_inline))
#define KERNELS lu_kernels_plain
#define KERNELS_NAME "plain"
#define VB 8

typedef uint64_t vec;

/* The lowest bit of each lane in which a and b agree. Adding all ones below the lane's top bit
 * carries into it unless the rest of the lane is zero; nothing crosses into the next lane. */
FORCE vec v_equal(unsigned bits, vec a, vec b)
{
  const uint64_t top = bits == 8    ? 0x8080808080808080u
                       : bits == 16 ? 0x8000800080008000u
                       : bits == 32 ? 0x8000000080000000u
                                    : 0x8000000000000000u;
  const uint64_t x = a ^ b;
  return (~(((x & ~top) + ~top) | x) & top) >> (bits - 1);
}

FORCE vec v_count(unsigned bits, vec acc, vec mark)
{
  (void)bits; /* no lane runs over, so one addition serves all */
  return acc + mark;
}

/* One part only: nothing to exchange. */
FORCE void v_swap64(vec *a, vec *b)
{
  (void)a;
  (void)b;
}
FORCE void v_swap128(vec *a, vec *b)
{
  (void)a;
  (void)b;
}

/* Eight bytes at a time: the multiplication moves bit 8 n to bit 56 + n, and no two of its products
 * meet ("Hacker's Delight", 2nd ed., section 7-3, gathers bits like this [section from memory]). */
FORCE uint64_t byte_bits(const unsigned char *at, unsigned bit)
{
  uint64_t out = 0;
  for (unsigned i = 0; i < 64; i += 8) {
    uint64_t x = 0;
    for (unsigned n = 0; n < 8; n++)
      x |= (uint64_t)at[i + n] << 8 * n;
    out |= ((x >> bit & 0x0101010101010101u) * 0x0102040810204080u >> 56) << i;
  }
  return out;
}

#include "base/planes_body.inc"
