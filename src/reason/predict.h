/* SPDX-License-Identifier: MIT */
#ifndef LU_REASON_PREDICT_H
#define LU_REASON_PREDICT_H
/* From an effect (sim.h) to the bits that a reading would have given. */
#include "reason/evidence.h"
#include "reason/replay.h"
#include "reason/sim.h"

enum {
  LU_GROUP_VARS_MOST = 12, /* address bits that hang together in one fault */
  LU_GROUPS_MOST = 12,
  LU_SOURCES_MOST = 66
};

typedef struct lu_group {
  uint8_t count;
  uint8_t var[LU_GROUP_VARS_MOST];
  uint64_t mask;
  const uint16_t *table; /* pattern read -> pattern whose data is found; 0xffff = nothing */
} lu_group;

/* Where a chip's reads find their data. */
typedef struct lu_source {
  uint8_t group_count;
  bool nothing;          /* nothing was ever stored: unknown contents */
  lu_group group[LU_GROUPS_MOST];
} lu_source;

typedef struct lu_column {
  uint8_t bit;     /* vantage data bit */
  bool direct;     /* hi and lo are functions of the known word that source finds */
  bool pushed;     /* lo is just the opposite of hi: never without driver */
  uint8_t source;
  lu_fn hi, lo;
} lu_column;

/* A compiled hypothesis. */
typedef struct lu_view {
  const lu_network *network;
  lu_know know;
  bool wide;                /* cannot be judged */
  bool floats;              /* some column is without driver somewhere */
  uint8_t undriven;         /* lu_level of columns without driver */
  uint64_t changed;         /* columns that can read differently */
  uint64_t open_columns;    /* columns whose level without driver is given by an open at the vantage */
  uint64_t open_level[2];   /* their level: [0] high, [1] keep */
  uint8_t source_count;
  lu_source source[LU_SOURCES_MOST];
  uint64_t plain_mask[LU_SOURCES_MOST]; /* plain columns by source */
  uint8_t column_count;
  lu_column column[64];     /* those that are not plain */
  uint8_t chip_source[128]; /* source of each chip; 0 = as healthy */
  const lu_change *in_change[128]; /* first change of a chip's inputs, or NULL */
  uint8_t in_count[128];
  lu_replay *replay;        /* what is read is played through instead; or NULL */
  uint16_t *tables;         /* workspace */
  size_t table_room, table_used;
  struct lu_plane_store *planes; /* of the reading that was counted last (planecount.h) */
} lu_view;

/* A workspace; NULL if memory is refused. */
lu_view *lu_view_new(lu_arena *mem);

/* Compiles an effect for readings of one kind. effect must stay valid while view is used. */
void lu_view_compile(lu_view *v, const lu_network *n, lu_know know, const lu_effect *effect,
                     const lu_fault *faults, size_t fault_count, lu_level undriven);

/* Makes a view that cannot be judged one that is played through: r has taken up the same faults. */
void lu_view_replay(lu_view *v, lu_replay *r, const lu_fault *faults, size_t fault_count);

/* Bits of held, steady words that differ from the prediction, and bits of which nothing is known,
 * counted over the whole reading. Cost: memory speed where whole stretches move together, else some
 * tens of ns a word. Stops when *wrong passes limit. columns receives the columns that differ. */
void lu_view_count(const lu_view *v, const lu_evidence *e, uint64_t limit, uint64_t *wrong,
                   uint64_t *unknown, uint64_t *columns);

/* The word index whose data a read at address finds under a source; false = nothing known is there. */
bool lu_view_source(const lu_source *s, const lu_evidence *e, uint64_t address, uint64_t *i);

/* When the known contents are the reading itself: bits of word i whose prediction can fail at all,
 * split into those taken from another address and the rest. */
void lu_view_tests(const lu_view *v, const lu_evidence *e, uint64_t i, uint64_t *elsewhere, uint64_t *here);

/* What word i reads: *value on the columns in v->changed; *unknown = bits that nothing is known of. */
void lu_view_word(const lu_view *v, const lu_evidence *e, uint64_t i, uint64_t *value, uint64_t *unknown);

#endif
