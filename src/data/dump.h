/* SPDX-License-Identifier: MIT */
#ifndef LU_DATA_DUMP_H
#define LU_DATA_DUMP_H
/* What was read from a memory: bytes by byte address, with gaps kept as gaps. Plain values. */
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

typedef struct lu_span {
  uint64_t base;      /* byte address of at[0] */
  uint64_t len;       /* bytes, at least 1 */
  const uint8_t *at;  /* borrowed: the file's mapping or the arena */
} lu_span;

typedef struct lu_dump {
  const char *format;   /* the name of the format it came in, a constant */
  bool has_addresses;   /* false: raw bytes; spans[0].base is 0 and means "from the start" */
  size_t span_count;
  lu_span *spans;       /* ascending by base, disjoint, never touching each other */
  size_t note_count;
  const char **notes;   /* things accepted with a remark, one line each */
} lu_dump;

/* Words as a vantage sees them. Word i belongs to word address base + i. */
typedef struct lu_words {
  uint64_t base;        /* word address of the first word */
  size_t count;         /* words */
  unsigned width;       /* bits used, 1..64; low bit = D0 */
  unsigned bytes;       /* bytes a word in at: 1, 2, 4 or 8 */
  const void *at;       /* count words, host byte order, unused high bits zero */
  const uint64_t *held; /* bit i set = word i was read; NULL = all were */
  size_t held_count;    /* words that were read */
} lu_words;

static inline uint64_t lu_word(const lu_words *w, size_t i)
{
  switch (w->bytes) {
  case 1:
    return ((const uint8_t *)w->at)[i];
  case 2:
    return ((const uint16_t *)w->at)[i];
  case 4:
    return ((const uint32_t *)w->at)[i];
  default:
    return ((const uint64_t *)w->at)[i];
  }
}

static inline bool lu_word_held(const lu_words *w, size_t i)
{
  return !w->held || (w->held[i / 64] >> (i % 64) & 1);
}

#endif
