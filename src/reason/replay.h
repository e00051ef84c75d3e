/* SPDX-License-Identifier: MIT */
#ifndef LU_REASON_REPLAY_H
#define LU_REASON_REPLAY_H
/* What a reading gives under faults by which data decide about addresses or controls: a bridge of an
 * address line with a data line, two such lines exchanged, a select that follows a data bit. No
 * function of the address holds that; the accesses are played through with levels, 64 at once
 * (sim.h, lanes), until what the chips put out and where they are asked agree.
 *
 * A read starts from the address that the vantage drives (memory answers later than addresses
 * stand). Where address and data never agree, the line swings and the word is unknown. */
#include "reason/evidence.h"
#include "reason/sim.h"

enum { LU_REPLAY_SAMPLES = 256 };

typedef struct lu_replay lu_replay;

/* samples: words that will be asked for often, borrowed. NULL if memory is refused. */
lu_replay *lu_replay_new(const lu_evidence *e, const uint32_t *samples, size_t count, lu_arena *mem);

/* Takes up a hypothesis (local faults, effect of lu_sim_run over them). False: too many address bits
 * hang together, nothing can be said. */
bool lu_replay_take(lu_replay *r, const lu_fault *faults, size_t count, const lu_effect *effect);

/* Word i: bits pulled high, bits pulled low (neither: without driver), bits that nothing is known of.
 * Cost: some hundred us for the first word of 64 (of the samples, or neighbours), then nothing. */
void lu_replay_word(lu_replay *r, uint64_t i, uint64_t *hi, uint64_t *lo, uint64_t *unknown);

/* Some bit of the first samples is without driver. */
bool lu_replay_floats(lu_replay *r);

#endif
