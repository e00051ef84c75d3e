/* SPDX-License-Identifier: MIT */
#ifndef LU_API_READINGS_H
#define LU_API_READINGS_H
/* From what the command line or a run file names to readings that can be explained. */
#include "api/session.h"
#include "data/finding.h"
#include "reason/seenlines.h"

typedef struct lu_reading_args {
  const char *block, *at, *vantage, *expect, *wrote, *log, *pattern, *order, *signals;
  uint64_t width;
} lu_reading_args;

struct lu_march_reading;
struct lu_sigmap;

/* The capture that a reading comes from, for its picture, and the read that decides: the first that is wrong. */
typedef struct lu_capture_seen {
  const char *path;
  lu_bytes in;             /* the session's */
  const struct lu_sigmap *map;
  bool wrong;              /* whether there is such a read; the rest is of it */
  int64_t begin, end;      /* ticks: its strobe's */
  uint64_t word;           /* of the block */
  uint64_t got, expected;  /* 0 where not judged */
  uint64_t judged;         /* bits that had a level and of which it is known what they should be */
} lu_capture_seen;

typedef struct lu_reading {
  const char *name;        /* of the block */
  lu_evidence evidence;
  lu_words *passes;
  size_t pass_count;
  uint64_t unsteady_bits;  /* bits that differ between passes */
  const char *filled;      /* contents by name that were written; or NULL */
  struct lu_march_reading *march; /* reads of test patterns that failed (api/marchlog.h), which are judged, and not
                              evidence's words; or NULL */
  const char *doubt;       /* why nothing wrong does not mean that all is well; or NULL */
  lu_said_suspect *lines;  /* the lines that doubt is about, as suspects */
  size_t line_count;
  lu_said_suspect *between; /* nets between two places of a line that a capture saw differ; the fault is there */
  size_t between_count;
  lu_seen_bus *seen;       /* what a capture saw of its own lines, [2]; or NULL */
  lu_seen_level *levels;   /* and of its strobes */
  size_t level_count;
  const lu_capture_seen *capture; /* of a capture; else NULL */
  double noise;            /* chance that a bit that agrees in all passes is wrong */
} lu_reading;

/* One reading, of dumps, a log (args) or one capture (api/logreading.h, api/capturereading.h); dumps are passes of it, or REF=FILE each a chip read out of circuit. Without a board
 * in the session, a plain one is made. */
LU_MUST_USE lu_status lu_readings_of_args(lu_session *s, const lu_reading_args *a, const lu_texts *dumps,
                                          lu_reading **out);
/* The readings that a run file lists. */
LU_MUST_USE lu_status lu_readings_of_run(lu_session *s, const char *path, lu_reading **out, size_t *count);

/* The network of a block, seen from a vantage (NULL: the block's own). */
LU_MUST_USE lu_status lu_readings_network(lu_session *s, const char *block, const char *vantage, uint64_t size_hint,
                                          lu_network **out);

#endif
