/* SPDX-License-Identifier: MIT */
#ifndef LU_REASON_PROBE_H
#define LU_REASON_PROBE_H
/* Which hop is to blame, and which reading tells most. Pure.
 *
 * Explanations of dumps (stories) are spread over the physical hops that would have that effect, by
 * the hops' priors; readings then weigh the hypotheses by Bayes with a meter's error rate; the
 * reading proposed is the one with the largest expected gain of information per cost. */
#include "reason/diagnose.h"
#include "reason/fault.h"
#include "reason/hops.h"

enum { LU_WIRES_MOST = 64, LU_GUESSES_MOST = 6, LU_HYPOTHESES_MOST = 8192, LU_SHEET_MOST = 32 };

#define LU_LOCATED 0.95

typedef enum lu_cost_name {
#define LU_COST(name, value, reason) LU_COST_##name,
#include "reason/costs.def"
#undef LU_COST
  LU_COST_COUNT
} lu_cost_name;

typedef struct lu_costs {
  double value[LU_COST_COUNT];
} lu_costs;

void lu_costs_default(lu_costs *out);
const char *lu_cost_text(lu_cost_name name);
const char *lu_cost_reason(lu_cost_name name);

/* One fault of an explanation, in the board's terms. */
typedef struct lu_cause {
  uint8_t kind, level;    /* lu_fault_kind; lu_level of a stuck net */
  uint32_t net, net2;     /* board nets */
  uint32_t part;          /* board part: swap, dead, cell, row, column */
  size_t cut_count;
  const uint32_t *cut;    /* open: board pins cut off, of those that mattered */
} lu_cause;

typedef struct lu_story {
  double probability;
  size_t count;
  const lu_cause *causes;
} lu_story;

/* What the readings depended on, of one net. */
typedef struct lu_stake {
  uint32_t net;
  size_t pin_count, driver_count;
  const uint32_t *pins, *drivers; /* board pins */
} lu_stake;

typedef enum lu_probe_kind { LU_PROBE_CONTINUITY, LU_PROBE_LEVEL, LU_PROBE_LOOK } lu_probe_kind;

/* Outcomes by kind. DOUBTFUL is what a meter may show, never what is predicted. */
typedef enum lu_seen {
  LU_SEEN_OPEN = 0, LU_SEEN_JOINED = 1, LU_SEEN_DOUBTFUL = 2,                       /* continuity */
  LU_SEEN_TOGGLING = 0, LU_SEEN_FLOATING = 1, LU_SEEN_LOW = 2, LU_SEEN_HIGH = 3,    /* level */
  LU_SEEN_SOUND = 0, LU_SEEN_BAD = 1                                               /* look */
} lu_seen;

/* A reading that can be or was taken. */
typedef struct lu_reading_at {
  uint8_t kind;           /* lu_probe_kind */
  uint8_t seen;           /* taken: lu_seen */
  lu_point from, to;      /* LEVEL and LOOK: to is not used */
  uint64_t id;            /* taken: its entry in the history, for messages */
} lu_reading_at;

typedef struct lu_proposal {
  lu_reading_at reading;
  double gain_bits, cost;
  double chance[4];       /* of the outcomes */
  unsigned outcomes;
} lu_proposal;

/* One thing that may be wrong. */
typedef struct lu_suspicion {
  uint8_t kind;           /* lu_fault_kind */
  uint8_t level;
  uint16_t wire, hop;     /* open: which wire of the probe, which of its hops */
  uint32_t net, net2, part;
  double probability;     /* over all hypotheses */
} lu_suspicion;

typedef struct lu_probe lu_probe;

typedef struct lu_probe_query {
  const lu_board *board;
  const lu_priors *priors;
  const lu_costs *costs;
  double meter_error;     /* of continuity readings; 0.02 is the usual */
  size_t story_count, stake_count, taken_count;
  const lu_story *stories;
  const lu_stake *stakes;
  const lu_reading_at *taken; /* in the order in which they were taken */
} lu_probe_query;

/* Everything in mem. No stories: nothing is suspected, every proposal fails. ERR_NOMEM. */
LU_MUST_USE lu_status lu_probe_new(const lu_probe_query *q, lu_arena *mem, lu_probe **out, lu_err *err);

/* Most probable first. */
const lu_suspicion *lu_probe_guesses(const lu_probe *p, size_t *count);
const lu_wire *lu_probe_wire(const lu_probe *p, size_t wire);
/* Readings that nothing suspected foresaw: one sentence each. */
const char *const *lu_probe_questions(const lu_probe *p, size_t *count);
double lu_probe_entropy(const lu_probe *p);
size_t lu_probe_hypotheses(const lu_probe *p);
/* What hypothesis i says is wrong, all of it together, into out; returns how many, and its probability. */
size_t lu_probe_hypothesis(const lu_probe *p, size_t i, lu_suspicion out[LU_GUESSES_MOST], double *probability);

/* The best readings to take next, chosen together: each is the best once the others' results are
 * known, whatever they are. kinds: bit mask of 1 << lu_probe_kind. Returns how many (0: nothing can
 * be gained). Cost: readings in question * hypotheses. */
size_t lu_probe_next(lu_probe *p, unsigned kinds, size_t most, lu_proposal *out);

/* The two ends of a guess, for people: of an open its hop, of a bridge the two nets. */
void lu_probe_ends(const lu_probe *p, const lu_suspicion *g, lu_point *a, lu_point *b);
/* What a guess alone would make this reading show. */
int lu_probe_predicts(const lu_probe *p, const lu_suspicion *g, const lu_reading_at *r);
/* What would be the most probable guess on the nets of this reading if this reading showed `seen`, and how probable. False: none. */
bool lu_probe_would(lu_probe *p, const lu_reading_at *r, unsigned seen, lu_suspicion *out);
/* Takes one more reading into account. Returns the chance that its outcome had. */
double lu_probe_take(lu_probe *p, const lu_reading_at *r);

#endif
