/* SPDX-License-Identifier: MIT */
#ifndef LU_REASON_EXPLAIN_H
#define LU_REASON_EXPLAIN_H
/* From readings to explanations and suspects.
 *
 * Every single fault of the model is simulated; those of equal effect form one class. When no single
 * one reproduces the readings, sets of up to four are built from classes, best first. Each
 * explanation that is offered was compared with every word read. */
#include "reason/joint.h"

typedef enum lu_verdict { LU_VERDICT_CLEAN, LU_VERDICT_FAULTY, LU_VERDICT_UNKNOWN } lu_verdict;

typedef struct lu_explanation {
  size_t count;
  lu_fault faults[LU_FAULTS_MOST + 1];
  lu_level undriven;         /* what an undriven bus was taken to read */
  double probability;
  double explained;          /* share of the bits that differ from a healthy board's, 0..1 */
  uint64_t wrong, unknown;   /* bits it gets wrong; bits it says nothing of */
  uint32_t twins;            /* how many fault sets have the very same effect */
} lu_explanation;

typedef struct lu_suspect {
  uint16_t net;              /* joint net, or UINT16_MAX: a part alone */
  uint16_t part;             /* joint part, when net is UINT16_MAX */
  double probability;
  uint64_t cut;              /* pins that most probable opens cut off, place bits */
  unsigned group;            /* suspects of one group come from faults of one and the same effect */
  lu_fault fault;            /* its fault there */
} lu_suspect;

/* qsort's order of suspects: most probable first, then nets before parts, by number. */
int lu_suspect_order(const void *a, const void *b);

typedef struct lu_result {
  lu_joint *joint;
  lu_verdict verdict;
  const char *reason;        /* why the verdict is what it is, one sentence; constant or in mem */
  size_t explanation_count;
  lu_explanation *explanations; /* most probable first */
  size_t suspect_count;
  lu_suspect *suspects;      /* most probable first */
  bool singles_done, pairs_done; /* every one was tried */
  bool exact;                /* some explanation gives every bit */
  uint64_t hypotheses, classes;
} lu_result;

/* noise: chance that a steady bit is wrong although nothing is broken (0: none). Results live in
 * mem. ERR_NOMEM, ERR_LIMIT. */
LU_MUST_USE lu_status lu_explain(const lu_evidence *readings, size_t count, const lu_priors *priors, double noise,
                                 lu_arena *mem, lu_result **out, lu_err *err);

#endif
