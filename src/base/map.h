/* SPDX-License-Identifier: MIT */
#ifndef LU_BASE_MAP_H
#define LU_BASE_MAP_H
/* Texts to numbers. Keys are borrowed and must outlive the map. */
#include "base/arena.h"

#include <stdint.h>

typedef struct lu_map {
  lu_arena *mem;
  size_t count, room; /* room is a power of two */
  const char **keys;
  uint32_t *values;
} lu_map;

/* The value of key, or UINT32_MAX. */
uint32_t lu_map_get(const lu_map *map, const char *key);
/* Adds key if it is new. *value receives the value that stands there now. False: no memory. */
bool lu_map_add(lu_map *map, const char *key, uint32_t fresh, uint32_t *value);

#endif
