/* SPDX-License-Identifier: MIT */
#ifndef LU_CLI_CHIPMAP_H
#define LU_CLI_CHIPMAP_H
/* Where a reading's wrong bits stand inside a memory chip: the chip's own rows and columns.
 *
 * A chip that is given its address in two halves has the rows and columns that its strobes name. Of others the upper
 * half of the address inputs is taken as the row: what is inside is not told by their pins. Addresses are followed
 * as on a sound board. */
#include "api/readings.h"
#include "report/failmap.h"

/* True if the chip of that number in the reading's network holds some of its wrong bits. */
bool lu_chip_is_wrong(const lu_reading *r, const lu_fail_map *words, size_t chip);
/* The maps of some chips, out[count]; false if memory is refused. A map has no rows where the chip's address lines are no
 * plain ones. known: wrong against known contents, else what differs between passes. Cost: one pass over the words, and
 * words that were not read times chips. */
bool lu_chip_maps(lu_session *s, const lu_reading *r, bool known, const size_t *chips, size_t count, lu_fail_map *out);
/* Chip of the network by its reference, or SIZE_MAX. */
size_t lu_chip_named(const lu_network *n, const char *ref);

#endif
