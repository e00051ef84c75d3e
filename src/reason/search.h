/* SPDX-License-Identifier: MIT */
#ifndef LU_REASON_SEARCH_H
#define LU_REASON_SEARCH_H
/* The search behind explain.h: classes of faults with equal effect (classes.c), and sets of them (search.c). */
#include "reason/explain.h"

/* Faults of one effect. */
typedef struct lu_class {
  uint64_t hash;
  uint32_t first_member, member_count; /* a list through members[] */
  lu_fault fault;         /* one of them, the likeliest */
  double best;            /* ln of its prior */
  double prior;           /* ln of the sum of the members' priors */
  lu_level undriven;
  bool floats, wide;
  double cost;            /* on the samples */
  double gain;            /* cost of the healthy board less cost */
  double harm;            /* cost where the healthy board was right */
  bool exact;             /* nothing wrong on the samples */
  uint64_t face;          /* of what it predicts for the first samples: classes of one face look alike */
  uint64_t columns;       /* data bits that it can change, of all readings */
  uint64_t nets;          /* of all members, each as one of 64 bits: classes without a common bit have no common net */
  uint64_t lanes;         /* the same for the lines that the nets belong to; a dead part: all */
} lu_class;

typedef struct lu_member {
  lu_fault fault;
  double prior;
  uint32_t next;          /* UINT32_MAX ends */
} lu_member;

/* A set of classes. */
typedef struct lu_set {
  size_t count;
  uint32_t classes[LU_FAULTS_MOST];
  lu_fault faults[LU_FAULTS_MOST + 1];
  lu_level undriven;
  double cost;
  double prior;
  bool exact;
  bool vague;              /* leaves bits of the samples open */
  uint64_t hash;           /* of its effect, once verified */
  uint64_t wrong, unknown; /* over the whole readings, once verified */
} lu_set;

typedef struct lu_search {
  lu_joint *joint;
  size_t class_count, class_room, member_count, member_room;
  lu_class *classes;
  lu_member *members;
  bool *hot;              /* by net: it reaches a column in which something is wrong */
  uint64_t *reach;        /* by net and reading: the columns it reaches */
  uint32_t *stuck;        /* class + 1 of each net stuck: [4 * (2 * net + level) + undriven level] */
  size_t later_count, later_room;
  lu_fault *later;        /* faults that have to be played through (replay.h): tried when no other single one tells all */
  uint32_t *table;        /* hash -> class + 1 */
  size_t table_room;
  double healthy_cost;
  size_t set_count, set_room;
  lu_set *sets;           /* verified, exact ones */
  lu_set best;            /* the best of those that are not exact */
  bool have_best, pairs_done;
  double least;           /* sets of less prior (natural log) are not looked at */
  double clear_cost;      /* on the samples, of the best verified set that leaves next to nothing unknown; else infinite */
  uint64_t hypotheses;
  uint64_t budget;        /* number of hypotheses at which the search for sets ends */
} lu_search;

LU_MUST_USE bool lu_search_classes(lu_search *s);
/* Those bridges and swaps, too, that cannot be all there is: parts of larger sets. After lu_search_classes, once. */
LU_MUST_USE bool lu_search_more_classes(lu_search *s);
/* One fault more joins the class of its effect; a class that is new gets its cost. */
LU_MUST_USE bool lu_search_add(lu_search *s, const lu_fault *f);
LU_MUST_USE bool lu_search_sets(lu_search *s);
/* A number for the very effect of a set over all readings: equal for sets that read alike. */
uint64_t lu_search_effect(const lu_search *s, const lu_set *x);
/* x->wrong and x->unknown over every word of every reading; given up when more than limit bits are wrong. */
void lu_search_count(const lu_search *s, lu_set *x, uint64_t limit);

/* Turns weighed sets into explanations and suspects of r. healthy_log: ln of the weight of nothing
 * being broken (-1e300: impossible). False: no memory. */
LU_MUST_USE bool lu_conclude(lu_result *r, lu_search *s, const lu_set *sets, size_t count, double healthy_log);

#endif
