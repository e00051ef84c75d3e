/* SPDX-License-Identifier: MIT */
#ifndef LU_REASON_SYMPTOMS_INNER_H
#define LU_REASON_SYMPTOMS_INNER_H
/* Shared by the symptom finder's files only. */
#include "base/planes.h"
#include "reason/symptoms.h"

typedef struct lu_finder {
  const lu_kernels *k;
  lu_arena *mem;
  lu_err *err;
  lu_symptoms *out;
  size_t room;          /* of out->at */
  lu_array o, e;        /* observed, expected; index i is word address base + i */
  uint64_t base;        /* a multiple of 2^lines */
  bool known, written;
  unsigned width, lines;
  uint64_t all;         /* the data bits there are */
  lu_fold fo, fe;
  lu_diff d;            /* expected to observed; only if known */
  uint64_t constant;    /* data bits that never change in o */
  uint64_t claimed;     /* wrong data bits that a bit symptom covers */
  uint64_t dead[LU_MAX_LINES]; /* data bits that address bit k does not move, by fault */
  uint64_t explained_addr;     /* words covered by address symptoms (an estimate) */
  lu_array distinct;    /* different words of a sample, no blanks counted twice */
  lu_fold fd;
  uint64_t *agree;      /* width x width both-set counts of distinct */
} lu_finder;

/* Appends a symptom with its text; false when memory is refused (err is filled). */
bool lu_finder_add(lu_finder *f, lu_symptom s, const char *format, ...)
    __attribute__((format(printf, 3, 4)));
/* "D1", "D0 and D3", "D0 to D7 and D9"; "?" when memory is refused. */
const char *lu_finder_bits(lu_finder *f, char letter, uint64_t bits);

static inline uint64_t lu_finder_word(const lu_array *a, size_t i)
{
  switch (a->bytes) {
  case 1:
    return ((const uint8_t *)a->at)[i];
  case 2:
    return ((const uint16_t *)a->at)[i];
  case 4:
    return ((const uint32_t *)a->at)[i];
  default:
    return ((const uint64_t *)a->at)[i];
  }
}

/* i with clear bits inserted at the positions set in lines. */
static inline uint64_t lu_finder_insert(uint64_t i, uint64_t lines)
{
  for (; lines; lines &= lines - 1) {
    uint64_t low = (lines & -lines) - 1;
    i = (i & ~low) << 1 | (i & low);
  }
  return i;
}

static inline lu_symptom lu_finder_blank(lu_symptom_id id)
{
  return (lu_symptom){.id = id, .level = -1, .first = 1, .last = 0, .strength = 1.0};
}

/* symptoms_texture.c: what the contents look like */
LU_MUST_USE lu_status lu_finder_texture(lu_finder *f);
/* Chance that one data bit of contents like these never changes. */
double lu_finder_constant_chance(const lu_finder *f, unsigned bit);
/* Chance that two data bits of contents like these always agree (or never). */
double lu_finder_agree_chance(const lu_finder *f, unsigned a, unsigned b, bool opposite);
/* Chance that contents like these do not move in `bits` when the address bits in `lines` change. */
double lu_finder_still_chance(const lu_finder *f, uint64_t lines, uint64_t bits);

/* symptoms_bits.c, symptoms_lines.c, symptoms_areas.c: the finders */
LU_MUST_USE lu_status lu_finder_bits_find(lu_finder *f);
LU_MUST_USE lu_status lu_finder_walking(lu_finder *f);
LU_MUST_USE lu_status lu_finder_lines_find(lu_finder *f);
LU_MUST_USE lu_status lu_finder_areas(lu_finder *f);

#endif
