/* SPDX-License-Identifier: MIT */
#ifndef LU_LINK_INFLOW_H
#define LU_LINK_INFLOW_H
/* What comes in over a link, kept whole, and the hooks that long transfers call. */
#include "base/err.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

typedef struct lu_inflow {
  uint8_t *at; /* malloc; freed by lu_inflow_free */
  size_t len, room;
  size_t most; /* bytes; 0: LU_INFLOW_MOST */
} lu_inflow;

enum { LU_INFLOW_MOST = 256 << 20 };

/* ERR_LIMIT past the most, ERR_NOMEM; the flow stays as it was. */
LU_MUST_USE lu_status lu_inflow_add(lu_inflow *flow, const void *at, size_t len, lu_err *err);
void lu_inflow_free(lu_inflow *flow);

typedef struct lu_hooks {
  void *to;
  bool (*stop)(void *to);                              /* NULL: never; true: end at once, keep what came */
  void (*progress)(void *to, uint64_t done, uint64_t whole); /* NULL: none; whole 0 = unknown */
} lu_hooks;

static inline bool lu_hooks_stop(const lu_hooks *h)
{
  return h && h->stop && h->stop(h->to);
}

static inline void lu_hooks_progress(const lu_hooks *h, uint64_t done, uint64_t whole)
{
  if (h && h->progress)
    h->progress(h->to, done, whole);
}

#endif
