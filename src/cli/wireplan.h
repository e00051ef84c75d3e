/* SPDX-License-Identifier: MIT */
#ifndef LU_CLI_WIREPLAN_H
#define LU_CLI_WIREPLAN_H
/* Which nets are cut, and the wires that mend them: what lineup wires and the report page share. */
#include "cli/bench.h"
#include "data/finding.h"
#include "reason/wires.h"

enum { LU_CUT_NETS_MOST = 64, LU_CUT_PINS_MOST = 1024 };

/* A net and what is known of its pins. */
typedef struct lu_broken_net {
  uint32_t net;
  size_t cut_count, rest_count;
  uint32_t cut[LU_CUT_PINS_MOST], rest[LU_CUT_PINS_MOST];
  const char *note;
} lu_broken_net;

typedef struct lu_wire_plan {
  lu_session *s;        /* set by the caller; its board is loaded */
  size_t count;
  lu_broken_net *nets[LU_CUT_NETS_MOST];
  lu_wire *wires;
  size_t wire_count;
} lu_wire_plan;

/* The entry of that net, made at the first call. ERR_LIMIT, ERR_NOMEM in s->err, as below. */
LU_MUST_USE lu_status lu_wire_plan_net(lu_wire_plan *w, uint32_t net, lu_broken_net **out);
/* Nets that the first explanation of a job's last result cuts. ERR_MISSING: no result yet. */
LU_MUST_USE lu_status lu_wire_plan_job(lu_wire_plan *w, const lu_bench *b);
/* The same of a finding that is in no job. */
LU_MUST_USE lu_status lu_wire_plan_finding(lu_wire_plan *w, const lu_finding *f);
/* Plans the wires for the nets that are there. */
LU_MUST_USE lu_status lu_wire_plan_make(lu_wire_plan *w);

bool lu_pin_in(const uint32_t *list, size_t count, uint32_t pin);
/* "solder", "component", "both" (sides) */
const char *lu_wire_side_name(uint8_t side);
/* One end of a wire: "U8.21 (MA3) at 150.0, 84.2 mm". NULL: memory is refused. */
const char *lu_wire_end_text(const lu_wire_plan *w, uint32_t point, uint32_t pin);
/* A drawing's wires, as the side that is seen asks; in mem of the session. NULL: memory is refused. The board must have places. */
struct lu_drawn_wire;
struct lu_drawn_wire *lu_wires_drawn(const lu_wire_plan *w, bool solder_side);

#endif
