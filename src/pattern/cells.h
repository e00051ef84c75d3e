/* SPDX-License-Identifier: MIT */
#ifndef LU_PATTERN_CELLS_H
#define LU_PATTERN_CELLS_H
/* Cell faults of the literature as models that can be simulated, and what a pattern sees of them.
 *
 * Sources (from memory unless marked): classical models: A. J. van de Goor, Testing Semiconductor
 * Memories, 1991; fault primitives <S/F/R>: van de Goor, Al-Ars, VTS 2000, tabulated in Al-Ars,
 * Hamdioui, van de Goor, DATE 2006 (read); dynamic ones: Hamdioui, Al-Ars, van de Goor, VTS 2002
 * (read). The readings that counts depend on (sticky or held states, floating reads, power-up
 * contents) are written down in docs/patterns.md. */
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "base/arena.h"
#include "base/err.h"
#include "pattern/pattern.h"

enum { LU_CELL_MODELS = 44, LU_CELL_FAULTS_MOST = 48, LU_CELL_WORDS_MOST = 16 };

typedef struct lu_cell_model {
  const char *name;    /* "CFid" */
  const char *summary; /* one line */
  unsigned faults;     /* primitives, counted for the aggressor below and above */
} lu_cell_model;

/* models[LU_CELL_MODELS] */
const lu_cell_model *lu_cell_models(void);
/* "up;0, aggressor below"; text[len]. */
void lu_cell_fault_text(unsigned model, unsigned fault, char *text, size_t len);

typedef struct lu_cell_coverage {
  unsigned detected;   /* faults that show for every place, every start content, every direction
                          of the `any` elements */
  unsigned best;       /* faults that show if the directions are chosen to suit the fault; equal to
                          detected where a pattern has more than 10 such elements */
  unsigned total;
  uint64_t seen;       /* bit f: fault f is among the detected */
} lu_cell_coverage;

/* Coverage of every model: out[LU_CELL_MODELS]. A memory of 3 words of one bit where that is
 * enough (solid backgrounds, linear order), else 8 to 16 words, of which bit 0 is looked at.
 * ERR_LIMIT the pattern needs more words. Simulates; some 10 ms for a march test. */
LU_MUST_USE lu_status lu_cells_coverage(const lu_pattern *pattern, lu_arena *mem,
                                        lu_cell_coverage *out, lu_err *err);

/* Syndrome: bit r = the pattern's r-th read operation (in the order of the file, all passes
 * together) gave a wrong value at some word. `any` elements run up. */
enum { LU_SYNDROMES_MOST = 64 };
/* Reads among the first op operations: the bit of a read at op in a syndrome. */
unsigned lu_pattern_reads_before(const lu_pattern *pattern, size_t op);
/* Reads that have a bit in a syndrome, at most 64. */
unsigned lu_cells_reads(const lu_pattern *pattern);
/* Distinct syndromes of a fault over all places and start contents, ascending; 0 among them when
 * it can go unseen. Returns their count in out[LU_SYNDROMES_MOST]. */
LU_MUST_USE lu_status lu_cells_syndromes(const lu_pattern *pattern, unsigned model, unsigned fault,
                                         lu_arena *mem, uint64_t *out, size_t *count, lu_err *err);

/* All faults, as bits by model, whose syndromes contain the given one: out[LU_CELL_MODELS]. */
LU_MUST_USE lu_status lu_cells_explain(const lu_pattern *pattern, uint64_t syndrome, lu_arena *mem,
                                       uint64_t *out, lu_err *err);

#endif
