/* SPDX-License-Identifier: MIT */
#ifndef LU_LINK_VERIFY_H
#define LU_LINK_VERIFY_H
/* Test patterns run on a live memory. What to make of a failure is the caller's: on_failure is called
 * for each one at once, with everything that is known, and may end the run. */
#include "link/inflow.h"
#include "link/memio.h"
#include "pattern/pattern.h"

typedef struct lu_failure {
  uint32_t address;        /* word address */
  uint16_t expected, got;  /* bits outside the memory's width are zero */
  const char *pattern;     /* its name, borrowed; NULL for addresses retried on their own */
  uint16_t element;        /* of the pattern, from 0 */
  uint16_t op;             /* number in the pattern's ops */
  uint32_t pass;
} lu_failure;

typedef bool (*lu_on_failure)(void *to, const lu_failure *failure); /* false: end the run */

typedef struct lu_verify_counts {
  uint64_t reads, writes, failures;
  uint64_t elements; /* carried out whole */
  bool ended_early;  /* by on_failure or the stop hook */
} lu_verify_counts;

typedef struct lu_verify {
  const lu_memio *memory;
  uint32_t from, words;
  const lu_hooks *hooks;                /* may be NULL */
  void (*pause)(void *to, uint64_t us); /* carries out waits; must look at the stop hook itself */
  void *pause_to;
  lu_on_failure on_failure;
  void *to;
} lu_verify;

/* All passes of a pattern. Elements of one background in address order run inside the device; the rest
 * goes cycle by cycle. Adds to *counts. ERR_VALUE when the pattern does not fit the range. */
LU_MUST_USE lu_status lu_verify_pattern(const lu_verify *v, const lu_pattern *p,
                                        lu_verify_counts *counts, lu_err *err);

/* Each of addresses[count] on its own, with 5555, AAAA, 0, FFFF: for those that failed before a repair. */
LU_MUST_USE lu_status lu_verify_addresses(const lu_verify *v, const uint32_t *addresses, size_t count,
                                          lu_verify_counts *counts, lu_err *err);

#endif
