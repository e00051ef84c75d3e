/* SPDX-License-Identifier: MIT */
#ifndef LU_REASON_SYMPTOMS_H
#define LU_REASON_SYMPTOMS_H
/* Regularities in what was read, with the chance that they are a coincidence. Pure.
 *
 * A symptom is not yet a fault: it says what the data does, not which net. docs/symptoms.md says
 * what each means physically and what to look at first. */
#include "base/arena.h"
#include "base/err.h"
#include "data/dump.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

/* id, stable name, in a few words */
#define LU_SYMPTOM_LIST(X)                                                                         \
  X(CONSTANT_READ_BACK, "constant-read-back", "every location reads the same")                     \
  X(READS_ADDRESS, "reads-address", "every location reads its own (low) address")                  \
  X(LANE_MISSING, "lane-missing", "a whole byte lane never changes")                               \
  X(CONSTANT_BIT, "constant-bit", "a data bit never changes")                                      \
  X(INVERTED_BIT, "inverted-bit", "a data bit reads the opposite")                                 \
  X(SWAPPED_BITS, "swapped-bits", "two data bits are exchanged")                                   \
  X(COPIED_BIT, "copied-bit", "a data bit shows another one's level")                              \
  X(DEPENDENT_BIT, "dependent-bit", "a data bit reads itself AND or OR another")                   \
  X(EQUAL_BITS, "equal-bits", "data bits always read the same level")                              \
  X(OPPOSITE_BITS, "opposite-bits", "data bits always read opposite levels")                       \
  X(WALKING_RESULT, "walking-result", "which bits of a walking pattern came back")                 \
  X(DEAD_ADDRESS_BIT, "dead-address-bit", "an address bit has no effect")                          \
  X(DEAD_ADDRESS_LANE, "dead-address-bit-in-lane", "an address bit has no effect in a byte lane")  \
  X(DEAD_ADDRESS_DATA, "dead-address-bit-in-data-bit", "an address bit has no effect in data bits")\
  X(JOINED_ADDRESS, "joined-address-bits", "two address bits act as one")                          \
  X(MOVED_DATA, "moved-data", "data comes from another address")                                   \
  X(REPEATS, "repeats", "the contents repeat")                                                     \
  X(BLANK_AREA, "blank-area", "an area reads one value throughout")                                \
  X(UNSTEADY_BITS, "unsteady-bits", "bits differ from pass to pass")                               \
  X(SCATTERED, "scattered-differences", "differences that no regularity above covers")

typedef enum lu_symptom_id {
#define X(id, name, text) LU_SYMPTOM_##id,
  LU_SYMPTOM_LIST(X)
#undef X
  LU_SYMPTOM_COUNT
} lu_symptom_id;

typedef enum lu_symptom_how {
  LU_HOW_NONE,
  LU_HOW_AND,          /* reads the AND of the two */
  LU_HOW_OR,
  LU_HOW_EITHER,       /* AND or OR, the data does not tell which */
  LU_HOW_ALL_ONES,     /* constant read-back: what the value is */
  LU_HOW_ALL_ZEROS,
  LU_HOW_LAST_WRITTEN,
  LU_HOW_VALUE
} lu_symptom_how;

typedef struct lu_symptom {
  lu_symptom_id id;
  const char *kind;    /* the stable name */
  const char *text;    /* one plain sentence */
  uint64_t data_bits;  /* data bits concerned, bit 0 = D0 */
  uint64_t data_other; /* the bits that they are copied from, depend on, are read in company of */
  uint64_t addr_bits;  /* word address bits concerned, bit 0 = A0 */
  uint64_t addr_value; /* moved-data: level that these bits have where it happens */
  int level;           /* the level that is read, or that a dead address bit seems to have; -1 */
  lu_symptom_how how;
  uint64_t first, last; /* word addresses, where the symptom has a place; else first > last */
  uint64_t count;      /* words (or pairs of words) that show it */
  double strength;     /* share of the evidence that fits, 0..1 */
  double chance;       /* that sound hardware would read so with such contents, 0..1 */
} lu_symptom;

typedef struct lu_symptoms {
  size_t count;
  lu_symptom *at;        /* by kind in the order of the list, then by bits */
  uint64_t words;        /* words read */
  uint64_t wrong_words;  /* that differ from what is expected; 0 if nothing is known */
  uint64_t wrong_bits;   /* data bits that differ somewhere */
  uint64_t set[64], cleared[64]; /* per data bit: 0 became 1, 1 became 0 */
  uint64_t unsteady_words;
  uint64_t unsteady_bits; /* differing bits over all words, against the first pass */
  bool blank;            /* one value all over: nothing can be said of most lines */
} lu_symptoms;

typedef struct lu_symptom_query {
  const lu_words *passes; /* at least one; all of one base, count, width and bytes */
  size_t pass_count;
  const lu_words *expected; /* same shape; NULL = nothing is known */
  bool written; /* expected was written in ascending order through the same lines */
} lu_symptom_query;

/* Everything in *out lives in mem. With several passes, the bitwise majority is judged.
 * Nothing known: a regularity is listed only if its chance is below LU_CHANCE_MAX, except repeats
 * and blank areas, which are listed with whatever chance they have.
 * ERR_VALUE  passes or expected of different shape     ERR_NOMEM
 * Cost: a few passes over the data; 16 MiB of 16-bit words below 60 ms, 64 KiB below 3 ms
 * (tests/bench/bench_planes.c). */
#define LU_CHANCE_MAX 0.05
LU_MUST_USE lu_status lu_symptoms_find(const lu_symptom_query *q, lu_arena *mem, lu_symptoms *out,
                                       lu_err *err);

const char *lu_symptom_name(lu_symptom_id id);    /* "constant-bit" */
const char *lu_symptom_summary(lu_symptom_id id); /* "a data bit never changes" */

#endif
