/* SPDX-License-Identifier: MIT */
#include "base/map.h"

#include <string.h>

/* FNV-1a, 64 bit: offset basis and prime as published by its authors (draft-eastlake-fnv). */
static uint64_t hash(const char *key)
{
  uint64_t h = 0xcbf29ce484222325u;
  for (; *key; key++)
    h = (h ^ (unsigned char)*key) * 0x100000001b3u;
  return h ^ h >> 29;
}

static size_t slot(const lu_map *map, const char *key)
{
  size_t i = hash(key) & (map->room - 1);
  while (map->keys[i] && strcmp(map->keys[i], key))
    i = (i + 1) & (map->room - 1);
  return i;
}

uint32_t lu_map_get(const lu_map *map, const char *key)
{
  if (!map->room)
    return UINT32_MAX;
  size_t i = slot(map, key);
  return map->keys[i] ? map->values[i] : UINT32_MAX;
}

static bool grow(lu_map *map)
{
  lu_map more = {.mem = map->mem, .room = map->room ? map->room * 2 : 64};
  more.keys = lu_arena_array(map->mem, more.room, sizeof *more.keys);
  more.values = LU_NEW(map->mem, uint32_t, more.room);
  if (!more.keys || !more.values)
    return false;
  for (size_t i = 0; i < map->room; i++)
    if (map->keys[i]) {
      size_t j = slot(&more, map->keys[i]);
      more.keys[j] = map->keys[i];
      more.values[j] = map->values[i];
    }
  more.count = map->count;
  *map = more;
  return true;
}

bool lu_map_add(lu_map *map, const char *key, uint32_t fresh, uint32_t *value)
{
  if (map->count * 2 >= map->room && !grow(map))
    return false;
  size_t i = slot(map, key);
  if (!map->keys[i]) {
    map->keys[i] = key;
    map->values[i] = fresh;
    map->count++;
  }
  *value = map->values[i];
  return true;
}
