/* SPDX-License-Identifier: MIT */
#ifndef LU_REASON_PASSAGES_H
#define LU_REASON_PASSAGES_H
/* Passages of bus cycles in which a memory test can be recognised: addresses in even steps (or one
 * address again and again) with data that follow a rule. Pure, constant memory. */
#include "base/arena.h"
#include "reason/cycles.h"

typedef enum lu_passage_rule {
  LU_PASSAGE_ADDRESS,         /* data = low bits of the address */
  LU_PASSAGE_ADDRESS_INVERSE,
  LU_PASSAGE_WALKING_ONES,    /* one bit set, going up by one and round */
  LU_PASSAGE_WALKING_ZEROS,
  LU_PASSAGE_CHECKERBOARD,    /* 5..5 and a..a in turn */
  LU_PASSAGE_SOLID,           /* the same word everywhere */
  LU_PASSAGE_RULES
} lu_passage_rule;

const char *lu_passage_rule_name(lu_passage_rule rule);

typedef struct lu_passage {
  bool writes;
  lu_passage_rule rule;       /* the first in the list that fits */
  uint64_t first, last;       /* addresses, in the order of time */
  int64_t step;               /* words; 0: one address again and again */
  uint64_t count;             /* cycles */
  int64_t begin, end;         /* ticks */
} lu_passage;

typedef struct lu_passages lu_passages;
enum { LU_PASSAGES_MOST = 1024, LU_PASSAGE_LEAST = 8 };

/* Data of width bits. NULL if refused. */
lu_passages *lu_passages_open(unsigned width, lu_arena *mem);
void lu_passages_cycle(lu_passages *p, const lu_cycle *c);
/* Passages of at least LU_PASSAGE_LEAST cycles, the first LU_PASSAGES_MOST. */
const lu_passage *lu_passages_end(lu_passages *p, size_t *count);

#endif
