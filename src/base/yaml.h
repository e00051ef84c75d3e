/* SPDX-License-Identifier: MIT */
#ifndef LU_BASE_YAML_H
#define LU_BASE_YAML_H
/* YAML files by tables of keys. Each text keeps its place, so that later stages can point at it;
 * unknown keys are refused by name with the nearest known one. */
#include "base/arena.h"
#include "base/err.h"
#include "base/text.h"

#include <yaml.h>

typedef struct lu_spot {
  const char *text; /* ended by NUL; NULL = not given */
  uint32_t line, column;
} lu_spot;

typedef struct lu_spots {
  size_t count;
  lu_spot *at;
} lu_spots;

/* What a reading function needs: the document, the arena, and where to complain. */
typedef struct lu_yaml {
  yaml_document_t doc;
  lu_arena *mem;
  lu_err *err;
} lu_yaml;

typedef yaml_node_t lu_yaml_node;

/* Reads the value of key into *to. */
typedef lu_status (*lu_yaml_fn)(lu_yaml *r, const lu_yaml_node *value, const char *key, void *to);
typedef struct lu_yaml_key {
  const char *name;
  lu_yaml_fn read;
  size_t offset; /* of *to in the struct that the mapping fills */
} lu_yaml_key;

/* Loads a document and hands its root to root(). Errors carry path, line and column. */
LU_MUST_USE lu_status lu_yaml_read(lu_bytes in, const char *path, const char *what, lu_yaml_fn root, void *to,
                                   lu_arena *mem, lu_err *err);

lu_status lu_yaml_bad(lu_yaml *r, const lu_yaml_node *n, lu_status s, const char *format, ...)
    __attribute__((format(printf, 4, 5)));
lu_yaml_node *lu_yaml_at(lu_yaml *r, int index);
const char *lu_yaml_kind(const lu_yaml_node *n); /* "a mapping" ... */
const char *lu_yaml_text(const lu_yaml_node *n); /* of a scalar */

/* A plain value; a list of them (or one), ranges such as A1-A16 expanded or not; a mapping by keys
 * (ended by a NULL name); a list of such mappings; a mapping of names, each value read by fn into an
 * item whose first member is the name's lu_spot. */
lu_status lu_yaml_spot(lu_yaml *r, const lu_yaml_node *n, const char *what, lu_spot *out);
lu_status lu_yaml_spots(lu_yaml *r, const lu_yaml_node *n, const char *what, bool ranges, lu_spots *out);
lu_status lu_yaml_keys(lu_yaml *r, const lu_yaml_node *n, const char *what, const lu_yaml_key *keys, void *to);
lu_status lu_yaml_items(lu_yaml *r, const lu_yaml_node *n, const char *what, const lu_yaml_key *keys, size_t size,
                        void **items, size_t *count);
lu_status lu_yaml_named(lu_yaml *r, const lu_yaml_node *n, const char *what, lu_yaml_fn fn, size_t size, void **items,
                        size_t *count);

/* Rows' reading functions: lu_spot, lu_spots, lu_spots with ranges, uint64_t bytes, double. */
lu_status lu_yaml_key_spot(lu_yaml *r, const lu_yaml_node *v, const char *k, void *to);
lu_status lu_yaml_key_spots(lu_yaml *r, const lu_yaml_node *v, const char *k, void *to);
lu_status lu_yaml_key_ranges(lu_yaml *r, const lu_yaml_node *v, const char *k, void *to);
lu_status lu_yaml_key_bytes(lu_yaml *r, const lu_yaml_node *v, const char *k, void *to);
lu_status lu_yaml_key_real(lu_yaml *r, const lu_yaml_node *v, const char *k, void *to);
/* One of two words; *to (bool) says whether it was the second. */
lu_status lu_yaml_one_of(lu_yaml *r, const lu_yaml_node *v, const char *k, const char *no, const char *yes, void *to);

/* Writes the items of "A1-A16" (or the text itself) behind list; false if refused or over 64. */
bool lu_range_expand(lu_spot spot, lu_arena *mem, lu_spots *list);
bool lu_spots_add(lu_spots *list, lu_spot spot, lu_arena *mem);

#endif
