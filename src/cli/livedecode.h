/* SPDX-License-Identifier: MIT */
#ifndef LU_CLI_LIVEDECODE_H
#define LU_CLI_LIVEDECODE_H
/* An error of a live memory, judged while the memory is still at hand: the same way as decode goes. */
#include "cli/linkblock.h"
#include "link/inflow.h"

typedef struct lu_live {
  lu_run *run;
  lu_link_block *b;
  const lu_memio *memory;
  const lu_hooks *hooks;
  unsigned asked;          /* times that something was judged */
  const char *said;        /* what the last judgement named, to say a thing once */
} lu_live;

/* The named contents, word by word of the range in the reader's order; NULL: no memory. */
uint16_t *lu_live_contents(const lu_live *l, const char *name);
/* Writes words[b->count] and reads them back, waiting us in between (wait may be NULL). *done words are in got. */
LU_MUST_USE lu_status lu_live_hold(const lu_live *l, const uint16_t *words, uint16_t *got, uint32_t *done,
                                   void (*wait)(void *to, uint64_t us), void *to, uint64_t us, lu_err *err);

/* A RAM failed. It is filled with pseudo-random contents and read back, and the dump is judged; if it reads
 * right now, the failures themselves are (log: address, expected, got in lines). What is found is
 * printed, unless it was before, and goes into the job. Failures of this are told on run->err. */
void lu_live_judge_ram(lu_live *l, lu_bytes log);
/* A ROM gave words[b->count] and not what image (NULL: not known) holds. */
void lu_live_judge_rom(lu_live *l, const uint16_t *words, const char *image);

#endif
