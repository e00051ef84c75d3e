/* SPDX-License-Identifier: MIT */
#ifndef LU_REASON_EVIDENCE_H
#define LU_REASON_EVIDENCE_H
/* One reading: what was read, what is known of the contents, over which network. */
#include "data/dump.h"
#include "reason/network.h"

typedef enum lu_know {
  LU_KNOW_NOTHING,  /* self-consistency alone */
  LU_KNOW_CONTENTS, /* these contents are in the memory (a ROM image) */
  LU_KNOW_WRITTEN   /* written in ascending order through the same lines, then read back */
} lu_know;

typedef struct lu_evidence {
  const lu_network *network;
  lu_know know;
  lu_words got;          /* count = the block's words; held: which were read */
  lu_words known;        /* same count and width; at = NULL with LU_KNOW_NOTHING */
  const uint64_t *steady; /* by word: bits that read the same in every pass; NULL = all */
  const lu_words *passes; /* [pass_count] of which got is the majority; NULL: not kept apart */
  size_t pass_count;
} lu_evidence;

/* Word address (low address_bits bits) of word i, and back. */
static inline uint64_t lu_address_of(const lu_network *n, uint64_t i)
{
  uint64_t mask = n->address_bits >= 64 ? ~(uint64_t)0 : ((uint64_t)1 << n->address_bits) - 1;
  return (n->base_word + i) & mask;
}

static inline uint64_t lu_index_of(const lu_network *n, uint64_t address)
{
  uint64_t mask = n->address_bits >= 64 ? ~(uint64_t)0 : ((uint64_t)1 << n->address_bits) - 1;
  return (address - n->base_word) & mask;
}

#endif
