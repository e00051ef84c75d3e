/* SPDX-License-Identifier: MIT */
#ifndef LU_REASON_MASKED_H
#define LU_REASON_MASKED_H
/* What an explanation hides. */
#include "reason/explain.h"

/* masked[net_count]: a fault there would show in these readings on an otherwise sound board, but
 * changes nothing while the explanation holds. Cost: a few simulations a net. */
void lu_masked_nets(const lu_joint *j, const lu_explanation *e, bool *masked);

#endif
