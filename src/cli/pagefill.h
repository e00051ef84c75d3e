/* SPDX-License-Identifier: MIT */
#ifndef LU_CLI_PAGEFILL_H
#define LU_CLI_PAGEFILL_H
/* From readings, board and job to what the report page shows (report/html.h). One file fills one part, because the
 * rooms below name different things alike. */
#include "api/readings.h"
#include "report/html.h"

struct lu_bench;
struct lu_wire_plan;

typedef struct lu_page_work {
  lu_session *s;
  bool plain;                 /* no board file */
  const lu_reading *readings;
  size_t reading_count;
  struct lu_wire_plan *plan;  /* repair wires, or NULL: no board, nothing cut */
  unsigned *net_number;       /* by board net: 1 + position in page.nets, 0 = not on the page */
  size_t net_room;
  lu_page page;
} lu_page_work;

/* The page's number of a board's net, given out at the first call. 0: LU_NONE, or memory is refused. */
unsigned lu_page_net(lu_page_work *w, uint32_t net);
/* Suspicion of a net by its name, 0..1. */
double lu_page_suspicion(const lu_page_work *w, const char *net);

/* Each returns LU_OK or fills s->err. page.finding must be set. */
LU_MUST_USE lu_status lu_page_fill_nets(lu_page_work *w);
LU_MUST_USE lu_status lu_page_fill_maps(lu_page_work *w);
LU_MUST_USE lu_status lu_page_fill_lines(lu_page_work *w);
/* b: the job whose recorded result says what is cut; NULL: the finding does. Before the pictures, which show them. */
LU_MUST_USE lu_status lu_page_fill_wires(lu_page_work *w, const struct lu_bench *b);
/* Each capture in which a read is wrong, around the first such read. */
LU_MUST_USE lu_status lu_page_fill_waves(lu_page_work *w);
LU_MUST_USE lu_status lu_page_fill_pictures(lu_page_work *w);
LU_MUST_USE lu_status lu_page_fill_tasks(lu_page_work *w); /* without a job: what would settle the suspects */

struct json_t;
/* A recorded finding (what decode --json prints) as values, in mem. NULL: memory is refused, or it is none. */
lu_finding *lu_page_finding(const struct json_t *recorded, lu_arena *mem);

/* The job's newest fault state. */
typedef struct lu_page_state {
  lu_reading *readings;  /* of every block that was read since the last repair (if none was: before it) */
  size_t count;          /* 0: nothing was decoded yet */
  lu_finding *recorded;  /* the result's, when one result covers all of them; NULL: judge the readings together */
  bool stale;            /* repaired since */
} lu_page_state;
LU_MUST_USE lu_status lu_page_job_state(struct lu_bench *b, lu_page_state *out);
/* History, before and after, verification, worksheet, what the readings leave. */
LU_MUST_USE lu_status lu_page_fill_job(lu_page_work *w, struct lu_bench *b);

/* The map of one reading; *known: against known contents. False if memory is refused. */
bool lu_page_map(lu_session *s, const lu_reading *r, lu_fail_map *out, bool *known);
/* Each reading's map for the terminal. ERR_NOMEM. */
/* One chip's rows and columns, of the first reading that it serves. ERR_MISSING: it serves none; ERR_VALUE: nothing is
 * known, or its address lines are no plain ones. */
LU_MUST_USE lu_status lu_page_one_chip(lu_session *s, const lu_reading *readings, size_t count, const char *ref, lu_fail_map *out);
void lu_page_print_chip(lu_session *s, const char *ref, const lu_fail_map *map);
LU_MUST_USE lu_status lu_page_print_maps(lu_session *s, const lu_reading *readings, size_t count);

#endif
