/* SPDX-License-Identifier: MIT */
#ifndef LU_PATTERN_PRBS_H
#define LU_PATTERN_PRBS_H
/* Pseudo-random bit sequences s[k] = s[k-n] ^ s[k-m], register preset to ones; the preset is the
 * first n bits of the sequence.
 *
 * Source  ITU-T O.150 (1996) and O.151 (1992). Taps of PRBS7, 15 and 23 also stand in data sheets
 *         of data converters; those of PRBS9, 11, 20, 29 and 31 are from memory and were checked
 *         for the full period in tests/unit/pattern/test_contents.c. */
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

typedef struct lu_prbs {
  const char *name; /* "prbs7" */
  unsigned n, m;    /* taps, n > m */
  unsigned limit;   /* longest run of zeros let through (QRSS: 14); 0 = no limit */
} lu_prbs;

#define LU_PRBS_COUNT 9
extern const lu_prbs lu_prbs_table[LU_PRBS_COUNT];

/* A running sequence; bits come out 64 at a time, first bit lowest. */
typedef struct lu_prbs_run {
  const lu_prbs *prbs;
  unsigned far_words, near_words; /* the recursion stretched to whole words */
  uint64_t history[64];           /* the far_words words before the next one */
} lu_prbs_run;

/* Starts at bit `bit` of the sequence (from 0). O(n^2 log bit) small steps. */
void lu_prbs_start(lu_prbs_run *run, const lu_prbs *prbs, uint64_t bit);
/* The next count words. limited: hold the sequence's zero limit, if it has one. */
void lu_prbs_take(lu_prbs_run *run, bool limited, uint64_t *words, size_t count);
/* 64 bits from bit `bit` on, on their own. */
uint64_t lu_prbs_word(const lu_prbs *prbs, bool limited, uint64_t bit);
/* Bits in a period: 2^n - 1. */
uint64_t lu_prbs_period(const lu_prbs *prbs);

#endif
