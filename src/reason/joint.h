/* SPDX-License-Identifier: MIT */
#ifndef LU_REASON_JOINT_H
#define LU_REASON_JOINT_H
/* Several readings of one fault state, over the networks of several blocks, seen as one.
 *
 * Faults are told in joint nets and parts; each reading has its own network and knows which of its
 * nets they are. A net's pins have the same places in every network, so cuts carry over. */
#include "reason/evidence.h"
#include "reason/predict.h"
#include "reason/priors.h"
#include "reason/sim.h"

enum { LU_READINGS_MOST = 16, LU_SAMPLES_MOST = 256 };

typedef struct lu_jnet {
  uint32_t net;                     /* board net, or LU_NONE */
  uint16_t local[LU_READINGS_MOST]; /* UINT16_MAX = not in that network */
  uint64_t interest, drivers;       /* place bits over all networks */
  uint16_t lane;                    /* nets of one lane are one line: buffers, multiplexers, resistors lie between them */
  uint8_t carries;
  bool constant;
} lu_jnet;

typedef struct lu_jpart {
  uint32_t part; /* board part */
  uint16_t local[LU_READINGS_MOST];
  bool chip, drives, rom;
} lu_jpart;

/* One reading while it is being explained. */
typedef struct lu_look {
  const lu_evidence *evidence;
  lu_sim *sim;
  lu_view *view;
  lu_replay *replay;              /* made when it is first needed */
  uint64_t all;                   /* bits of a word */
  uint64_t wrong, unknown;        /* bits that differ from a healthy board's */
  uint64_t columns;               /* data bits in which they do */
  unsigned sample_count, bad_count; /* the first bad_count samples differ */
  uint32_t sample[LU_SAMPLES_MOST];
  uint64_t got[LU_SAMPLES_MOST], steady[LU_SAMPLES_MOST], healthy[LU_SAMPLES_MOST]; /* last: bits wrong when healthy */
} lu_look;

typedef struct lu_joint {
  size_t look_count, net_count, part_count;
  lu_look *looks;
  lu_jnet *nets;
  lu_jpart *parts;
  const lu_board *board;
  const lu_priors *priors;
  lu_arena *mem;
  size_t replays;                 /* sets of up to so many faults that no function can hold are played through; others are wide */
  double noise_most;              /* wrong bits in all readings that noise may make */
  double sample_noise;            /* the same for the samples */
  double wrong_cost;              /* -ln of the chance that a bit reads wrong for no reason */
} lu_joint;

static const double lu_unknown_cost = 0.693; /* ln 2: what a bit weighs of which nothing is known */
static const double lu_other_prior = -14;    /* ln of the prior of something that is not in the model */

/* Readings are borrowed. noise: chance that a bit of got is wrong although nothing is broken. */
LU_MUST_USE lu_status lu_joint_new(const lu_evidence *readings, size_t count, const lu_priors *priors,
                                   double noise, lu_arena *mem, lu_joint **out, lu_err *err);

/* The joint fault as network r's; false when it does nothing there. */
bool lu_joint_local(const lu_joint *j, size_t r, const lu_fault *f, lu_fault *out);
/* What a bridge comes to in all readings together; STUCK: *like is the stuck fault. */
lu_bridge_kind lu_joint_bridge(const lu_joint *j, const lu_fault *f, lu_fault *like);
/* The lines that a joint fault is on, each as one of 64 bits; of one in a part: all. */
uint64_t lu_joint_lanes(const lu_joint *j, const lu_fault *f);
/* Prior of a joint fault, natural log. */
double lu_joint_prior(const lu_joint *j, const lu_fault *f);

/* Compiles the hypothesis for reading r into its view; false when it changes nothing there. */
bool lu_joint_compile(const lu_joint *j, size_t r, const lu_fault *faults, size_t count, lu_level undriven,
                      uint64_t *hash, bool *wide, bool *floats);

/* Samples in the order in which they are looked at: from both ends, those that differ first and then
 * those that do not by turns, so that any part of them is a fair one. */
unsigned lu_look_sample(const lu_look *k, unsigned at);

/* The most bits that noise makes wrong, when it is expected to make that many wrong (five standard
 * deviations of a Poisson count, and a few). */
double lu_noise_most(double expected);

#endif
