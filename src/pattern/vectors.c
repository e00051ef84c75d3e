/* SPDX-License-Identifier: MIT */
#include "pattern/vectors.h"

#include <string.h>

static const char *const names[] = {
#define X(id, name, summary) name,
  LU_VECTORS_LIST(X)
#undef X
};
static const char *const summaries[] = {
#define X(id, name, summary) summary,
  LU_VECTORS_LIST(X)
#undef X
};

const char *lu_vectors_name(lu_vectors set)
{
  return names[set];
}

const char *lu_vectors_summary(lu_vectors set)
{
  return summaries[set];
}

bool lu_vectors_named(const char *name, size_t len, lu_vectors *out)
{
  for (size_t i = 0; i < LU_VECTORS_COUNT; i++)
    if (strlen(names[i]) == len && !memcmp(names[i], name, len)) {
      *out = (lu_vectors)i;
      return true;
    }
  return false;
}

/* ceil(log2 v), v at least 1. */
static unsigned log2_up(unsigned v)
{
  unsigned bits = 0;
  while (bits < 31 && 1u << bits < v)
    bits++;
  return bits;
}

/* n over k, or `most` when it is more. */
static uint64_t choose(unsigned n, unsigned k, uint64_t most)
{
  uint64_t c = 1;
  for (unsigned i = 1; i <= k; i++) {
    c = c * (n - k + i) / i;
    if (c >= most)
      return most;
  }
  return c;
}

/* Smallest p with p over floor(p/2) >= lines. */
static unsigned weight_bits(unsigned lines)
{
  unsigned p = 1;
  while (choose(p, p / 2, lines) < lines)
    p++;
  return p;
}

/* Bit v of the i-th code, in rising order, of p bits with p/2 ones (combinatorial number system:
 * going down from the top bit, a one is set where the codes below do not reach i). */
static bool weight_bit(unsigned p, unsigned v, uint64_t i)
{
  unsigned ones = p / 2;
  for (unsigned bit = p; bit-- > 0;) {
    uint64_t below = ones <= bit ? choose(bit, ones, UINT64_C(1) << 40) : 0;
    bool set = ones && i >= below;
    if (bit == v)
      return set;
    if (set) {
      i -= below;
      ones--;
    }
  }
  return false;
}

unsigned lu_vectors_count(lu_vectors set, unsigned lines)
{
  switch (set) {
  case LU_VECTORS_SOLID:
    return 1;
  case LU_VECTORS_BACKGROUNDS:
    return log2_up(lines) + 1;
  case LU_VECTORS_COUNTING:
    return lines > 1 ? log2_up(lines) : 1;
  case LU_VECTORS_MODIFIED:
    return log2_up(lines + 2);
  case LU_VECTORS_TRUE_COMPLEMENT:
    return 2 * (lines > 1 ? log2_up(lines) : 1);
  case LU_VECTORS_CONSTANT_WEIGHT:
    return weight_bits(lines);
  case LU_VECTORS_WALKING_ONES:
  case LU_VECTORS_WALKING_ZEROS:
  case LU_VECTORS_COUNT:
    break;
  }
  return lines;
}

bool lu_vectors_bit(lu_vectors set, unsigned lines, unsigned v, unsigned i)
{
  switch (set) {
  case LU_VECTORS_SOLID:
    return false;
  case LU_VECTORS_BACKGROUNDS:
    return v && !(i >> (v - 1) & 1);
  case LU_VECTORS_COUNTING:
    return i >> v & 1;
  case LU_VECTORS_MODIFIED:
    return (i + 1) >> v & 1;
  case LU_VECTORS_TRUE_COMPLEMENT: {
    unsigned half = lu_vectors_count(set, lines) / 2;
    return v < half ? i >> v & 1 : !(i >> (v - half) & 1);
  }
  case LU_VECTORS_CONSTANT_WEIGHT:
    return weight_bit(weight_bits(lines), v, i);
  case LU_VECTORS_WALKING_ONES:
    return v == i;
  case LU_VECTORS_WALKING_ZEROS:
  case LU_VECTORS_COUNT:
    break;
  }
  return v != i;
}

uint64_t lu_vectors_word(lu_vectors set, unsigned lines, unsigned v)
{
  uint64_t word = 0;
  for (unsigned i = 0; i < lines && i < 64; i++)
    word |= (uint64_t)lu_vectors_bit(set, lines, v, i) << i;
  return word;
}
