/* SPDX-License-Identifier: MIT */
#ifndef LU_DATA_FINDING_H
#define LU_DATA_FINDING_H
/* The result of decoding in words, ready to be shown: names instead of indexes. Plain values, all
 * texts borrowed. */
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

typedef struct lu_said_symptom {
  const char *kind, *text;
} lu_said_symptom;

typedef struct lu_said_fault {
  const char *kind;              /* "open", "stuck", "bridge", "swap", "dead", "cell", "row", "column" */
  const char *net;               /* open, stuck */
  const char *nets[2];           /* bridge, swap */
  const char *part;              /* dead, cell, row, column; swap: where */
  const char *level;             /* open, stuck: "low", "high", "keep" */
  const char *acts, *lost;
  size_t cut_count, from_count;
  const char **cut_off, **from;  /* open: pins */
  bool unsteady;                 /* open: now and then, closed at other times */
  uint32_t row, column;
  const char *model;             /* cell: kind of defect by its failing reads ("SAF", "CFid"), or NULL */
  const char *models;            /* cell: the primitives that fail so, or NULL */
  const char *aggressor;         /* cell: where what disturbs it is: "below", "above", an address, or NULL */
  const char *text;              /* the fault as half a sentence */
} lu_said_fault;

typedef struct lu_said_explanation {
  double probability, explained;
  size_t fault_count;
  lu_said_fault *faults;
} lu_said_explanation;

typedef struct lu_said_pin {
  const char *pin, *function;
} lu_said_pin;

typedef struct lu_said_suspect {
  const char *net;               /* NULL: a part alone */
  const char *part;
  double probability;
  unsigned group;                /* suspects of one group: no dump of this kind tells them apart */
  size_t pin_count;
  lu_said_pin *pins;
  const char *why;               /* what speaks for it, one sentence */
  const char *where;             /* the stretch of copper that must hold the break, or NULL */
  const char *settle;            /* what would settle it: a measurement, or NULL */
} lu_said_suspect;

/* A test whose result would split the suspects. */
typedef struct lu_said_test {
  const char *kind;              /* "pattern": a pattern file run over the block; "write": a fill, read back;
                                    "read": against known contents */
  const char *block;             /* or NULL: the only memory there is */
  const char *pattern;           /* its name, or contents by name; NULL with "read" */
  uint64_t operations, wait_us;  /* what it costs */
  double gain, doubt;            /* bits */
  const char *text;
  const struct lu_said_test *other; /* with kind "pattern": the best one that needs whole dumps only; else the best pattern, where
                                       it is cheaper; without text; or NULL */
} lu_said_test;

typedef struct lu_finding {
  const char *verdict;           /* "clean", "faulty", "unknown" */
  const char *reason;
  const char *title, *block;     /* or NULL */
  uint64_t words, unsteady_bits, wrong_words;
  unsigned width, passes;
  size_t symptom_count, explanation_count, suspect_count, note_count;
  lu_said_symptom *symptoms;
  lu_said_explanation *explanations;
  lu_said_suspect *suspects;
  const char **notes;
  bool singles_done, pairs_done, exact;
  uint64_t hypotheses;
  const char *next;              /* what to measure first, or NULL */
  const lu_said_test *next_test; /* the test to run next, or NULL */
  const char *alike;             /* which suspects no dump of this kind tells apart, or NULL */
  const char *masked;            /* what the first explanation hides, or NULL */
} lu_finding;

#endif
