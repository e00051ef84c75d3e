/* SPDX-License-Identifier: MIT */
#ifndef LU_REASON_SIM_H
#define LU_REASON_SIM_H
/* What a set of faults makes of a network, symbolically.
 *
 * A workspace is made once for a network and asked for thousands of hypotheses; each run starts
 * from the healthy state and touches only what the faults reach. */
#include "reason/network.h"

/* Where an effect entry applies. */
enum {
  LU_EFFECT_READ_CELL = 0,   /* + cell bit: where a read finds its cell */
  LU_EFFECT_WRITE_CELL = 40, /* + cell bit: where a write puts it */
  LU_EFFECT_WRITES = 80,     /* the chip takes a write */
  LU_EFFECT_IN = 81,         /* + data pin: level that is written */
  LU_EFFECT_COLUMN_HI = 100, /* chip field = 0xffff: vantage data bit index in slot - 100 ... */
  LU_EFFECT_COLUMN_LO = 164
};

/* One function that differs from the healthy board's. */
typedef struct lu_change {
  uint16_t chip; /* chip number, or 0xffff for a vantage data bit */
  uint16_t slot; /* LU_EFFECT_ */
  lu_fn fn;
} lu_change;

typedef struct lu_effect {
  size_t count;
  const lu_change *changes; /* sorted by chip, slot; valid until the next run */
  uint64_t hash;
  bool wide;                /* something grew past six variables: not judged */
  bool keeps;               /* some fault's level is KEEP */
  bool loops;               /* data decide about an address or control line that they leave alone on a healthy board */
} lu_effect;

typedef struct lu_sim lu_sim;

/* writes: what is written matters (not only contents that are known). NULL if memory is refused. */
lu_sim *lu_sim_new(const lu_network *n, bool writes, lu_arena *mem);

/* Evaluates everything from nothing (used while the network is built); writes n->drive and
 * n->state. */
void lu_sim_settle_all(lu_sim *s);

/* The effect of faults[count] (opens, stucks, bridges, swaps, dead parts; others change nothing).
 * Cost: about the number of pins that see something else. */
lu_effect lu_sim_run(lu_sim *s, const lu_fault *faults, size_t count);

/* What a bridge comes to where that is plain from the two nets alone. STUCK: *net is held at *high
 * and the other net is as on a healthy board. LOOP: data would decide where they go or come
 * from; played through (replay.h). */
typedef enum lu_bridge_kind { LU_BRIDGE_NOTHING, LU_BRIDGE_STUCK, LU_BRIDGE_OTHER, LU_BRIDGE_LOOP } lu_bridge_kind;
lu_bridge_kind lu_sim_bridge(lu_sim *s, const lu_fault *f, uint16_t *net, bool *high);

/* --- 64 accesses at once, levels in the place of functions ---
 *
 * What data decide about addresses cannot be told as a function of the address alone. Such faults are
 * played through: every function is one of the lane's number (lu_fn_lanes), the sources drive the
 * levels of lu_lanes. What chips put out is the caller's to look up, and to change until all is
 * stable. */
typedef struct lu_lanes {
  uint64_t address[64]; /* by address bit: bit k = its level in access k */
  uint64_t data[64];    /* by data bit: what is written */
  uint64_t *out;        /* by chip * 16 + data pin: what it puts out when it is read */
} lu_lanes;

/* access: LU_READ or LU_WRITE. lanes is borrowed. NULL if memory is refused. */
lu_sim *lu_sim_new_lanes(const lu_network *n, const lu_lanes *lanes, lu_moment access, lu_arena *mem);
/* Works out the healthy levels; after that, and whenever the lanes were filled anew. */
void lu_sim_lanes_begin(lu_sim *s);
/* Puts faults on the healthy state. Returns the lanes in which something swings and never comes to rest. */
uint64_t lu_sim_lanes_run(lu_sim *s, const lu_fault *faults, size_t count);
/* What this chip puts out has changed since; lu_sim_lanes_settle follows when all are told. */
void lu_sim_lanes_put(lu_sim *s, unsigned chip);
uint64_t lu_sim_lanes_settle(lu_sim *s);
/* A vantage data bit during a read, where its pin sits now: pulled high (and not low), pulled low. */
void lu_sim_lanes_column(const lu_sim *s, unsigned bit, uint64_t *hi, uint64_t *lo);

/* After a run: hi, lo, level of a pin as its part sees it. */
lu_fn lu_sim_pin(const lu_sim *s, uint16_t npin, lu_moment m);

/* For network.c, while it finds out what the healthy board does: only one chip drives (NULL: as
 * its controls say); what a vantage data bit reads; a chip's cell bit; whether it answers. */
void lu_sim_force(lu_sim *s, const lu_chip *only);
lu_drive lu_sim_column(const lu_sim *s, unsigned bit);
lu_fn lu_sim_chip_cell(const lu_sim *s, const lu_chip *c, unsigned bit, lu_moment access);
/* The address bits for which those selects and strobes that can be followed are active. */
lu_fn lu_sim_chip_known(const lu_sim *s, const lu_chip *c);
lu_fn lu_sim_chip_answers(const lu_sim *s, const lu_chip *c, bool write);
/* What a chip's data pin takes in during a write. */
lu_fn lu_sim_chip_in(const lu_sim *s, const lu_chip *c, unsigned pin);

#endif
