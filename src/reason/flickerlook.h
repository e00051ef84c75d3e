/* SPDX-License-Identifier: MIT */
#ifndef LU_REASON_FLICKERLOOK_H
#define LU_REASON_FLICKERLOOK_H
/* One reading of several passes, asked about contacts that open now and then (flicker.h).
 *
 * The contact was closed when the contents came about, so reads are compared with what the memory holds: what is read with the
 * contact closed (base), and what a simulation of the open contact makes of these contents. */
#include "reason/flickerfit.h"
#include "reason/joint.h"

/* A contact that opens. */
typedef struct lu_contact {
  lu_fault fault;
  lu_level undriven;
  bool follows, inverted;  /* an address line that keeps the level of the access before: that of this address bit */
  uint8_t bit;
  uint64_t hash;           /* of its effect */
  double prior;            /* ln */
  double gain;             /* ln of the likelihood, less that of noise alone */
  double rank;             /* the same, bursts counted as one: to tell contacts from each other */
  double open;             /* share of the reads in which it was open; of several readings, the least */
  double foretold, open_bits; /* of the bits that it changes: those of which something is known; all */
} lu_contact;

typedef struct lu_flicker_look {
  lu_evidence reads;       /* contents known: of the simulation */
  const lu_evidence *given;
  uint64_t all;            /* bits of a word */
  bool certain;            /* base is what a closed contact reads; else it is only the majority of the passes */
  size_t sample_count;
  uint32_t *sample;
  double *weight;
  double alone;            /* ln of the likelihood of noise alone */
  double apart;            /* bursts of odd reads, as a share of the odd reads */
  double noise;            /* chance of a wrong bit, by the best contact */
  lu_fit *fit;
} lu_flicker_look;

/* Makes the look; given->passes differ. base: majority of the passes, else known contents. False: no memory. */
LU_MUST_USE bool lu_flicker_look_new(lu_flicker_look *k, const lu_evidence *given, lu_arena *mem);

/* Puts value in the place of word i of the base; only before lu_flicker_sample. */
void lu_flicker_base(lu_flicker_look *k, size_t i, uint64_t value);

/* Back to the majority of the passes where they were read. */
void lu_flicker_unbase(lu_flicker_look *k);

/* Draws the words that are looked at, evenly among those that are odd (in some pass unlike the base, or unlike each other) and those that are
 * not: at most so many of each. */
LU_MUST_USE bool lu_flicker_sample(lu_flicker_look *k, size_t odd, size_t calm, lu_arena *mem);

/* What pass p reads at word i with the contact open, on the bits of *changed, bits of which nothing is known aside. view: compiled
 * for the contact; low: for the same at the other level, with contacts that follow, else NULL. */
uint64_t lu_flicker_open(const lu_flicker_look *k, const lu_contact *c, const lu_view *view, const lu_view *low, size_t i, size_t p,
                         uint64_t *changed, uint64_t *unknown);

/* Adds the sample's share to the contact's gain and rank. A contact stays open for a while: reads of one burst are no evidence of their
 * own of how often it opens and at which addresses: in the rank that counts by bursts. */
void lu_flicker_gain(lu_flicker_look *k, lu_contact *c, const lu_view *view, const lu_view *low);

/* Some bits of the sample are wrong in every pass, more than noise makes so, whether the contact (NULL: none) was open or closed. */
bool lu_flicker_steady(lu_flicker_look *k, const lu_contact *c, const lu_view *view, const lu_view *low);

/* Word i as read in those passes in which the contact was closed; *sure = bits of which that is known. */
uint64_t lu_flicker_closed(lu_flicker_look *k, const lu_contact *c, const lu_view *view, const lu_view *low, size_t i, uint64_t *sure);

#endif
