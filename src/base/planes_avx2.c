/* SPDX-License-Identifier: MIT */
/* Kernels for AVX2: 32-byte vectors. Compiled with that set's flags (room.cmake). */
#include "base/planes_kernels.h"

#ifdef LU_HAVE_X86_KERNELS
#include <immintrin.h>
#include <string.h>

#define FORCE static inline __attribute__((always_inline))
#define KERNELS lu_kernels_avx2
#define KERNELS_NAME "avx2"
#define VB 32

typedef uint64_t vec __attribute__((vector_size(VB)));
typedef uint8_t vec8 __attribute__((vector_size(VB)));
typedef uint16_t vec16 __attribute__((vector_size(VB)));
typedef uint32_t vec32 __attribute__((vector_size(VB)));

FORCE vec v_equal(unsigned bits, vec a, vec b)
{
  switch (bits) {
  case 8:
    return (vec)((vec8)a == (vec8)b);
  case 16:
    return (vec)((vec16)a == (vec16)b);
  case 32:
    return (vec)((vec32)a == (vec32)b);
  default:
    return (vec)(a == b);
  }
}

/* A marked lane is all ones, that is -1. */
FORCE vec v_count(unsigned bits, vec acc, vec mark)
{
  switch (bits) {
  case 8:
    return (vec)((vec8)acc - (vec8)mark);
  case 16:
    return (vec)((vec16)acc - (vec16)mark);
  case 32:
    return (vec)((vec32)acc - (vec32)mark);
  default:
    return acc - mark;
  }
}

FORCE void v_swap64(vec *a, vec *b)
{
  __m256i x = (__m256i)*a, y = (__m256i)*b;
  *a = (vec)_mm256_unpacklo_epi64(x, y);
  *b = (vec)_mm256_unpackhi_epi64(x, y);
}

FORCE void v_swap128(vec *a, vec *b)
{
  __m256i x = (__m256i)*a, y = (__m256i)*b;
  *a = (vec)_mm256_permute2x128_si256(x, y, 0x20);
  *b = (vec)_mm256_permute2x128_si256(x, y, 0x31);
}

FORCE uint64_t byte_bits(const unsigned char *at, unsigned bit)
{
  const __m128i up = _mm_cvtsi32_si128(7 - (int)bit); /* that bit becomes each byte's sign */
  uint64_t out = 0;
  for (unsigned i = 0; i < 64; i += VB) {
    __m256i x = _mm256_sll_epi64(_mm256_loadu_si256((const __m256i *)(const void *)(at + i)), up);
    out |= (uint64_t)(uint32_t)_mm256_movemask_epi8(x) << i;
  }
  return out;
}

#include "base/planes_body.inc"
#endif
