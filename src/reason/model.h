/* SPDX-License-Identifier: MIT */
#ifndef LU_REASON_MODEL_H
#define LU_REASON_MODEL_H
/* Diagnosis from first principles: components, each in one of several modes, whose modes predict what
 * is observed; where they contradict it, a conflict; explanations are what gets out of all conflicts.
 * Knows nothing of boards. circuit.h is the same for gates, 64 cases a word.
 *
 * Sources: R. Reiter, "A theory of diagnosis from first principles", Artificial Intelligence 32 (1987):
 * minimal diagnoses are the minimal hitting sets of the conflicts. J. de Kleer, B. Williams, "Diagnosing
 * multiple faults", the same volume; "Diagnosis with behavioral modes", IJCAI-89: modes, best first
 * [from memory; tests/unit/reason/test_diagnose.c holds the engine against the first paper's example]. */
#include "base/arena.h"
#include "base/err.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

enum { LU_COMPONENTS_MOST = 63, LU_CANDIDATE_COMPONENTS_MOST = 20, LU_MODES_MOST = 255 };

/* Sets of components are bit masks. */
typedef struct lu_model {
  unsigned component_count;  /* at most LU_COMPONENTS_MOST */
  const uint8_t *mode_count; /* by component; mode 0 = healthy. NULL: two each */
  /* What a mode costs, > 0 (say, -log2 of its prior to that of being healthy); NULL: 1 each. */
  double (*cost)(const void *of, unsigned component, unsigned mode);
  /* Do modes mode[component_count] agree with all that was observed? If not: *conflict = components
   * whose modes alone contradict it; naming too many is right too, and slower. */
  bool (*agrees)(const void *of, const uint8_t *mode, uint64_t *conflict);
  const void *of;
} lu_model;

typedef struct lu_model_query {
  unsigned most_faults;      /* components that are not healthy */
  size_t most;               /* explanations; the search ends when so many are known */
  size_t states_most;        /* assignments tried; 0 = LU_MODEL_STATES */
  bool weak;                 /* a faulty component may do anything: more faults explain no less, so
                                what contains an explanation is left out */
} lu_model_query;

enum { LU_MODEL_STATES = 1 << 16 };

typedef struct lu_explained {
  double cost;
  uint64_t faulty;
  const uint8_t *mode;       /* [component_count] */
} lu_explained;

/* Assignments that agree and of which no part (some of its faults, all else healthy) does, cheapest
 * first: out[*count] in mem. *whole: these are all with so many faults. ERR_VALUE, ERR_NOMEM.
 * Cost: one call of agrees for each assignment that the conflicts leave open. */
LU_MUST_USE lu_status lu_model_explain(const lu_model *m, const lu_model_query *q, lu_arena *mem, lu_explained **out,
                                       size_t *count, bool *whole, lu_err *err);

/* Minimal sets that share a component with each of conflicts[count]: out[] has room for most of them.
 * Returns how many there are, or most + 1 when more. A set without components can be shared by nothing:
 * 0. Cost: sets on the way times their number. */
size_t lu_hitting_sets(const uint64_t *conflicts, size_t count, uint64_t *out, size_t most);

/* --- systems of quantities ------------------------------------------------------------------------- */

/* Components between quantities; a component is healthy, or anything may be. */
typedef struct lu_system {
  unsigned component_count, quantity_count; /* at most LU_COMPONENTS_MOST, 64 */
  /* Derives what a healthy component says: fills values that follow, marks them known. False: the
   * known values contradict it. *changed is set when something was filled. */
  bool (*component)(const void *of, unsigned component, int64_t *value, uint64_t *known, bool *changed);
  const void *of;
} lu_system;

/* Runs the healthy components to a fixed point. False: contradiction. */
bool lu_system_propagate(const lu_system *s, uint64_t healthy, int64_t *value, uint64_t *known);

/* One measured value. */
typedef struct lu_measured {
  unsigned quantity;
  int64_t value;
} lu_measured;

/* Sets whose being faulty explains everything, and sets of components that cannot all be healthy; none
 * contains another. Diagnoses are found through conflicts, the smallest first; conflicts are the minimal
 * hitting sets of the diagnoses. out[*count] in mem. ERR_LIMIT more than LU_SYSTEM_SETS_MOST; ERR_NOMEM. */
enum { LU_SYSTEM_SETS_MOST = 4096 };
LU_MUST_USE lu_status lu_system_diagnoses(const lu_system *s, const lu_measured *all, size_t count, lu_arena *mem,
                                          uint64_t **out, size_t *found, lu_err *err);
LU_MUST_USE lu_status lu_system_conflicts(const lu_system *s, const lu_measured *all, size_t count, lu_arena *mem,
                                          uint64_t **out, size_t *found, lu_err *err);

/* All consistent fault sets with their posterior. prior[component] = chance that it is faulty; m: a
 * measured value that a set does not predict has likelihood 1/m (0: 1). At most
 * LU_CANDIDATE_COMPONENTS_MOST components; sets[] and p[] need room for 2^components; returns how many.
 * Values before `given` are known, not measured. */
size_t lu_system_candidates(const lu_system *s, const lu_measured *all, size_t given, size_t count, const double *prior, unsigned m,
                            uint64_t *sets, double *p);

#endif
