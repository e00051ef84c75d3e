/* SPDX-License-Identifier: MIT */
#ifndef LU_REASON_ACTIVITY_H
#define LU_REASON_ACTIVITY_H
/* What each line of a capture does: stands still, toggles, floats, follows another. Pure; fed step
 * by step. Memory: a few words a line, and 16 bytes a pair of lines for at most
 * LU_ACTIVITY_PAIRS_MOST lines. */
#include "base/arena.h"
#include "data/capture.h"

enum { LU_ACTIVITY_PAIRS_MOST = 1024 };

typedef struct lu_activity_line {
  uint32_t home;
  uint32_t signal;          /* index; the first of its twins */
  int32_t index;            /* bit as declared; -1: a signal of one bit without a range */
  uint64_t toggles;         /* low to high and back */
  uint64_t glitches;        /* low or high for less than the glitch time, between toggles */
  int64_t first_glitch;     /* time at which the first one ended */
  int64_t low, high, x, z;  /* ticks spent so, blind stretches left out */
  char level;               /* the last level */
  bool moves;               /* was low and high; toggles > 0 */
  int32_t same, opposite;   /* a line of lower index in lines[] that was always equal or opposite
                               wherever both were known and settled; -1: none */
} lu_activity_line;

typedef struct lu_activity lu_activity;

/* glitch: ticks; 0 = none counted. States shorter than that are not held against two lines being
 * equal. NULL if refused. */
lu_activity *lu_activity_open(const lu_cap *cap, int64_t glitch, lu_arena *mem);
lu_status lu_activity_step(lu_activity *a, const lu_cap_step *step, lu_err *err);
/* Closes the book at the capture's end. lines[*count], in the order of the declarations,
 * rightmost bit first; variables of a simulation left out. */
LU_MUST_USE lu_status lu_activity_end(lu_activity *a, int64_t time, lu_activity_line **lines,
                                      size_t *count, lu_err *err);
/* Seconds watched (0 if ticks have no length); whether pairs were compared at all. */
double lu_activity_seconds(const lu_activity *a);
bool lu_activity_has_pairs(const lu_activity *a);
int64_t lu_activity_ticks(const lu_activity *a); /* watched, blind stretches left out */

/* What a line's behaviour suggests, from its neighbours of the same bus. */
typedef enum lu_activity_sign {
  LU_SIGN_NONE,
  LU_SIGN_STILL,        /* stands still while bits above and below it move */
  LU_SIGN_STILL_LOWEST, /* the lowest bit stands still while others move: or the bus counts in larger steps */
  LU_SIGN_FLOATS,       /* z at least half of the time while neighbours are driven */
  LU_SIGN_NEVER_LEVEL,  /* never low nor high while neighbours are */
  LU_SIGN_SAME,         /* always equal to another line of the bus, both moving */
  LU_SIGN_OPPOSITE,     /* always opposite to another line of the bus */
  LU_SIGN_X,            /* x (two drivers against each other, or mid-level) while neighbours are not */
  LU_SIGN_GLITCHES      /* glitches while most neighbours have none */
} lu_activity_sign;

/* A bus by the lines' indexes in lines[], least significant first. signs[count]. */
void lu_activity_signs(const lu_activity_line *lines, const uint32_t *bus, size_t count,
                       lu_activity_sign *signs);

#endif
