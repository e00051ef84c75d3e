/* SPDX-License-Identifier: MIT */
#ifndef LU_FORMATS_HEXRUN_H
#define LU_FORMATS_HEXRUN_H
/* Hex digits to bytes, many at a time. Private to the dump forms.
 *
 * The AVX2 parts only ever shorten the way: what they cannot take (an odd record, a wrong digit,
 * the end of the text) they leave to the plain reader, which alone writes messages. */
#include "base/text.h"

/* Value of a digit, or 0xFF. */
extern const uint8_t lu_hex_table[256];

/* bytes pairs of digits at text to out; *sum gets their sum. False if any is no digit. */
static inline bool lu_hex_pairs(const uint8_t *text, size_t bytes, uint8_t *out, unsigned *sum)
{
  unsigned bad = 0, total = 0;
  for (size_t i = 0; i < bytes; i++) {
    unsigned h = lu_hex_table[text[2 * i]], l = lu_hex_table[text[2 * i + 1]];
    bad |= h | l;
    unsigned v = (h << 4 | l) & 0xFF;
    out[i] = (uint8_t)v;
    total += v;
  }
  *sum += total;
  return !(bad & 0xF0);
}

enum { LU_READ_AHEAD = 3072 }; /* bytes of text that are asked for before they are needed */

#if defined(__x86_64__) && (defined(__GNUC__) || defined(__clang__))
#  define LU_HEX_AVX2 1
#  include <immintrin.h>
#  define LU_TARGET_AVX2 __attribute__((target("avx2")))

static inline bool lu_hex_fast(bool plain)
{
  return !plain && __builtin_cpu_supports("avx2");
}

/* Both steps are after W. Mula, "Parsing hex numbers with validation": digits and letters are moved
 * to 0..15 by saturating arithmetic, everything else lands above 15 and shows in the sign bit of
 * *bad. */
LU_TARGET_AVX2 static inline __m256i lu_hex_nibbles(__m256i x, __m256i *bad)
{
  __m256i d = _mm256_add_epi8(x, _mm256_set1_epi8((char)(0xFF - '9')));
  d = _mm256_sub_epi8(_mm256_subs_epu8(d, _mm256_set1_epi8(6)), _mm256_set1_epi8((char)0xF0));
  __m256i l =
      _mm256_sub_epi8(_mm256_and_si256(x, _mm256_set1_epi8((char)0xDF)), _mm256_set1_epi8('A'));
  __m256i v = _mm256_min_epu8(d, _mm256_adds_epu8(l, _mm256_set1_epi8(10)));
  *bad = _mm256_adds_epu8(v, _mm256_set1_epi8(112));
  return v;
}

/* 32 digits to 16 bytes; bit i of *bad is set if character i is no digit. */
LU_TARGET_AVX2 static inline __m128i lu_hex_32(__m256i x, uint32_t *bad)
{
  __m256i sign, v = lu_hex_nibbles(x, &sign);
  *bad = (uint32_t)_mm256_movemask_epi8(sign);
  v = _mm256_maddubs_epi16(v, _mm256_set1_epi16(0x0110));
  return _mm_packus_epi16(_mm256_castsi256_si128(v), _mm256_extracti128_si256(v, 1));
}

/* 16 digits to 8 bytes, the first in the low byte. */
LU_TARGET_AVX2 static inline uint64_t lu_hex_16(__m128i x, uint32_t *bad)
{
  uint32_t b;
  __m128i v = lu_hex_32(_mm256_castsi128_si256(x), &b);
  *bad = b & 0xFFFF;
  return (uint64_t)_mm_cvtsi128_si64(v);
}

LU_TARGET_AVX2 static inline unsigned lu_sum_16(__m128i v)
{
  __m128i s = _mm_sad_epu8(v, _mm_setzero_si128());
  return (unsigned)(_mm_cvtsi128_si32(s) + _mm_extract_epi16(s, 4));
}

/* bytes (1..256) pairs at text to out, with their sum; reads up to 32 characters past them and
 * writes up to 15 bytes past. False if any is no digit. */
LU_TARGET_AVX2 static inline bool lu_hex_run(const uint8_t *text, size_t bytes, uint8_t *out,
                                             unsigned *sum)
{
  uint32_t bad = 0;
  unsigned total = 0;
  const __m128i index = _mm_setr_epi8(0, 1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12, 13, 14, 15);
  for (size_t i = 0; i < bytes; i += 16) {
    size_t n = bytes - i < 16 ? bytes - i : 16;
    uint32_t b;
    __m128i v = lu_hex_32(_mm256_loadu_si256((const __m256i *)(const void *)(text + 2 * i)), &b);
    bad |= b & (uint32_t)(((uint64_t)1 << 2 * n) - 1);
    v = _mm_and_si128(v, _mm_cmpgt_epi8(_mm_set1_epi8((char)n), index));
    total += lu_sum_16(v);
    _mm_storeu_si128((__m128i *)(void *)(out + i), v);
  }
  *sum += total;
  return !bad;
}

/* One record of head bytes, size data bytes and a checksum, all in digits at text.
 * first: the head and the first data byte as lu_hex_16 gave them. *sum gets the sum of all of it.
 */
LU_TARGET_AVX2 static inline bool lu_hex_record(const uint8_t *text, unsigned head, unsigned size,
                                                uint64_t first, uint8_t *out, unsigned *sum)
{
  uint64_t kept = first & (((uint64_t)1 << 8 * (head + 1)) - 1);
  if (size == 16) { /* the first byte stands in the head's load; 15 and the checksum in one more */
    uint32_t bad;
    __m128i v =
        lu_hex_32(_mm256_loadu_si256((const __m256i *)(const void *)(text + 2 * head + 2)), &bad);
    out[0] = (uint8_t)(first >> 8 * head);
    _mm_storeu_si128((__m128i *)(void *)(out + 1), v);
    *sum = lu_sum_16(v) + lu_sum_16(_mm_cvtsi64_si128((long long)kept));
    return !bad;
  }
  *sum = lu_sum_16(_mm_cvtsi64_si128((long long)(kept & (((uint64_t)1 << 8 * head) - 1))));
  return lu_hex_run(text + 2 * head, (size_t)size + 1, out, sum);
}
#else
#  define LU_HEX_AVX2 0
static inline bool lu_hex_fast(bool plain)
{
  (void)plain;
  return false;
}
#endif

/* Readers with the choice of instructions left to the caller; tests hold both against each other.
 */
#include "base/arena.h"
#include "base/err.h"
#include "data/dump.h"
LU_MUST_USE lu_status lu_ihex_read(lu_bytes in, bool plain, lu_arena *mem, lu_dump **out,
                                   lu_err *err);
LU_MUST_USE lu_status lu_srec_read(lu_bytes in, bool plain, lu_arena *mem, lu_dump **out,
                                   lu_err *err);
LU_MUST_USE lu_status lu_hextext_read(lu_bytes in, bool plain, lu_arena *mem, lu_dump **out,
                                      lu_err *err);

#endif
