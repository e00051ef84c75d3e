/* SPDX-License-Identifier: MIT */
#ifndef LU_REASON_PLANECOUNT_H
#define LU_REASON_PLANECOUNT_H
/* A compiled hypothesis held against a whole reading by bit planes: 64 words of one data bit at a time.
 *
 * A data bit that reads another place's contents is that bit's plane with its entries exchanged and
 * the bits in them shifted; a data bit that is a function of others is that function of their planes.
 * Data bits that the hypothesis leaves alone were counted once, when the reading was first seen. */
#include "reason/predict.h"

/* What is kept of a reading from one hypothesis to the next. Opaque. */
typedef struct lu_plane_store lu_plane_store;

/* mem keeps the planes, too: up to the size of got and known together. NULL if it is refused. */
lu_plane_store *lu_plane_store_new(lu_arena *mem);

/* As lu_view_count. False if the reading or the hypothesis is none for this way (gaps, unsteady bits, a
 * block that is no power of two, data bits that depend on the address by themselves) or memory is
 * refused; the results are not touched then. Cost: once for each data bit concerned a pass over the
 * words; then some operations for 64 words and data bit. */
bool lu_planes_count(lu_plane_store *store, const lu_view *v, const lu_evidence *e, uint64_t limit,
                     uint64_t *wrong, uint64_t *unknown, uint64_t *columns);

#endif
