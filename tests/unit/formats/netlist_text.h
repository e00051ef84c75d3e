/* SPDX-License-Identifier: MIT */
#ifndef LU_TESTS_NETLIST_TEXT_H
#define LU_TESTS_NETLIST_TEXT_H
/* A netlist as one line of text, so that a test row can state what it expects:
 * "NET=U1.11(D0) U2.2; NET2=..." in the order of the netlist. */
#include "base/text.h"
#include "data/netlist.h"

#include <stdio.h>

static inline void netlist_text(const lu_netlist *n, char *to, size_t room)
{
  size_t at = 0;
  to[0] = 0;
  for (size_t i = 0; i < n->net_count && at < room; i++) {
    at += (size_t)snprintf(to + at, room - at, "%s%s=", i ? "; " : "", n->nets[i].name);
    for (uint32_t k = 0; k < n->nets[i].pin_count && at < room; k++) {
      const lu_net_pin *p = &n->pins[n->nets[i].first_pin + k];
      at += (size_t)snprintf(to + at, room - at, "%s%s.%s", k ? " " : "", n->parts[p->part].ref,
                             p->number);
      if (p->function && at < room)
        at += (size_t)snprintf(to + at, room - at, "(%s)", p->function);
    }
  }
}

#endif
