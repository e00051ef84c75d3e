/* SPDX-License-Identifier: MIT */
#ifndef LU_FORMATS_NETMERGE_H
#define LU_FORMATS_NETMERGE_H
/* Two sources of one board: names and functions from a netlist, places from a layout.
 *
 * Layout formats cut names (IPC-D-356A: net 14, reference 6, pin 4 characters), so the two are
 * matched by part and pin; a net of the layout is the netlist's net that most of its pins are on,
 * and only a net without pins goes by its name, cut or whole. Where the two disagree the netlist
 * stands and a difference says so: either drawing may be wrong. */
#include "base/arena.h"
#include "base/err.h"
#include "data/netlist.h"

enum { LU_NETMERGE_MOST = 500 }; /* differences kept; the last says how many more */

typedef struct lu_netmerge {
  lu_netlist *netlist;      /* all of names, and what only the layout has; places of the layout */
  size_t difference_count;
  const char **differences; /* one line each */
} lu_netmerge;

/* Both inputs stay as they are; *out lives in mem and borrows nothing from them. ERR_NOMEM. */
LU_MUST_USE lu_status lu_netmerge_join(const lu_netlist *names, const lu_netlist *layout,
                                       lu_arena *mem, lu_netmerge *out, lu_err *err);

#endif
