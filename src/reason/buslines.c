/* SPDX-License-Identifier: MIT */
#include "reason/buslines.h"

static uint64_t all_of(const lu_buslines *b)
{
  return b->bits >= 64 ? UINT64_MAX : ((uint64_t)1 << b->bits) - 1;
}

void lu_buslines_see(lu_buslines *b, uint64_t word, uint64_t certain)
{
  b->words++;
  b->high |= word & certain;
  b->low |= ~word & certain;
  for (unsigned i = 0; i < b->bits; i++)
    if (certain >> i & 1)
      b->differ[i] |= (word >> i & 1 ? ~word : word) & certain;
}

uint64_t lu_buslines_still(const lu_buslines *b, int only_below_highest)
{
  uint64_t moved = b->high & b->low & all_of(b), still = (b->high ^ b->low) & all_of(b);
  if (b->words < LU_BUSLINES_LEAST || !moved)
    return 0;
  return only_below_highest ? still & (((uint64_t)2 << (63 - __builtin_clzll(moved))) - 1) : still;
}

int lu_buslines_twin(const lu_buslines *b, unsigned line)
{
  uint64_t moved = b->high & b->low & all_of(b);
  if (b->words < LU_BUSLINES_LEAST || !(moved >> line & 1))
    return -1;
  uint64_t same = moved & ~b->differ[line] & ~(((uint64_t)2 << line) - 1);
  return same ? (int)__builtin_ctzll(same) : -1;
}
