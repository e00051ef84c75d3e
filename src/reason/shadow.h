/* SPDX-License-Identifier: MIT */
#ifndef LU_REASON_SHADOW_H
#define LU_REASON_SHADOW_H
/* What was written to an address and what came back later: bus cycles held against it as they come. Pure.
 * Memory: 32 bytes a word seen, doubled. */
#include "base/arena.h"
#include "data/dump.h"
#include "reason/cycles.h"

enum { LU_SHADOW_WORDS_MOST = 1 << 22, LU_SHADOW_MISSES_MOST = 65536 };

/* A word read although something else had been written, or was known to be there. */
typedef struct lu_shadow_miss {
  int64_t time;               /* of the read */
  uint64_t address;           /* as the bus gave it: counts words */
  uint64_t expected, got;
  uint64_t known;             /* bits that are certain in both; they differ in at least one */
} lu_shadow_miss;

typedef struct lu_shadow_counts {
  uint64_t reads, writes;     /* cycles with a known address */
  uint64_t checked;           /* reads of which at least one bit was known before */
  uint64_t differed;
  uint64_t blind_writes;      /* writes to an unknown address: all that was known is forgotten */
  uint64_t lost;              /* words not kept: over the limit */
} lu_shadow_counts;

typedef struct lu_shadow lu_shadow;

/* image: contents known to be there (a ROM), by word address, or NULL; borrowed. NULL if refused. */
lu_shadow *lu_shadow_open(const lu_words *image, lu_arena *mem);
LU_MUST_USE lu_status lu_shadow_cycle(lu_shadow *s, const lu_cycle *c, lu_err *err);
const lu_shadow_counts *lu_shadow_counted(const lu_shadow *s);

/* In the order of time; the first LU_SHADOW_MISSES_MOST. */
const lu_shadow_miss *lu_shadow_misses(const lu_shadow *s, size_t *count);

#endif
