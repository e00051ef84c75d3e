/* SPDX-License-Identifier: MIT */
#include "base/yaml.h"

#include <ctype.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { ITEMS_MOST = 100000, RANGE_MOST = 64, BYTES_MOST = 16 << 20, DEPTH_MOST = 64 };

lu_status lu_yaml_bad(lu_yaml *r, const lu_yaml_node *n, lu_status s, const char *format, ...)
{
  char text[200];
  va_list ap;
  va_start(ap, format);
  vsnprintf(text, sizeof text, format, ap);
  va_end(ap);
  return lu_fail(r->err, s, (uint32_t)n->start_mark.line + 1, (uint32_t)n->start_mark.column + 1,
                 "%s", text);
}

lu_yaml_node *lu_yaml_at(lu_yaml *r, int index)
{
  return yaml_document_get_node(&r->doc, index);
}

const char *lu_yaml_kind(const lu_yaml_node *n)
{
  return n->type == YAML_MAPPING_NODE ? "a mapping"
         : n->type == YAML_SEQUENCE_NODE ? "a list"
                                         : "a plain value";
}

const char *lu_yaml_text(const lu_yaml_node *n)
{
  return (const char *)n->data.scalar.value;
}

lu_status lu_yaml_spot(lu_yaml *r, const lu_yaml_node *n, const char *what, lu_spot *out)
{
  if (n->type != YAML_SCALAR_NODE)
    return lu_yaml_bad(r, n, LU_ERR_SYNTAX, "%s: expected a plain value, found %s", what, lu_yaml_kind(n));
  if (!n->data.scalar.length || n->data.scalar.length > 200)
    return lu_yaml_bad(r, n, LU_ERR_SYNTAX, "%s: expected a text of 1 to 200 characters", what);
  if (strlen(lu_yaml_text(n)) != n->data.scalar.length)
    return lu_yaml_bad(r, n, LU_ERR_SYNTAX, "%s: a NUL character stands in the text", what);
  char *text = lu_arena_text(r->mem, lu_yaml_text(n), n->data.scalar.length);
  if (!text)
    return lu_yaml_bad(r, n, LU_ERR_NOMEM, "no room");
  *out = (lu_spot){text, (uint32_t)n->start_mark.line + 1, (uint32_t)n->start_mark.column + 1};
  return LU_OK;
}

bool lu_spots_add(lu_spots *list, lu_spot spot, lu_arena *mem)
{
  if (list->count >= ITEMS_MOST)
    return false;
  if (list->count == 0 || (list->count >= 8 && !(list->count & (list->count - 1)))) {
    size_t more = list->count ? list->count * 2 : 8;
    lu_spot *p = LU_NEW(mem, lu_spot, more);
    if (!p)
      return false;
    if (list->count)
      memcpy(p, list->at, list->count * sizeof *p);
    list->at = p;
  }
  list->at[list->count++] = spot;
  return true;
}

/* "A1-A16": the same name before two numbers. Returns the place of '-' or NULL. */
static const char *range_dash(const char *text, long *first, long *last, size_t *stem)
{
  const char *dash = strchr(text, '-');
  if (!dash || dash == text || !strncmp(text, "net:", 4))
    return NULL;
  size_t s = (size_t)(dash - text);
  while (s && isdigit((unsigned char)text[s - 1]))
    s--;
  if (s == (size_t)(dash - text))
    return NULL;
  const char *right = dash + 1;
  if (strncmp(right, text, s) || !isdigit((unsigned char)right[s]))
    return NULL;
  char *end;
  *first = strtol(text + s, &end, 10);
  if (end != dash)
    return NULL;
  *last = strtol(right + s, &end, 10);
  *stem = s;
  return *end ? NULL : dash;
}

bool lu_range_expand(lu_spot spot, lu_arena *mem, lu_spots *list)
{
  long first, last;
  size_t stem;
  if (!range_dash(spot.text, &first, &last, &stem))
    return lu_spots_add(list, spot, mem);
  long step = first <= last ? 1 : -1;
  if (labs(last - first) >= RANGE_MOST)
    return false;
  for (long i = first;; i += step) {
    lu_spot one = spot;
    one.text = lu_arena_printf(mem, "%.*s%ld", (int)stem, spot.text, i);
    if (!one.text || !lu_spots_add(list, one, mem))
      return false;
    if (i == last)
      return true;
  }
}

lu_status lu_yaml_spots(lu_yaml *r, const lu_yaml_node *n, const char *what, bool ranges, lu_spots *out)
{
  if (n->type == YAML_SCALAR_NODE) {
    lu_spot one;
    lu_status s = lu_yaml_spot(r, n, what, &one);
    if (s)
      return s;
    return (ranges ? lu_range_expand(one, r->mem, out) : lu_spots_add(out, one, r->mem))
               ? LU_OK
               : lu_yaml_bad(r, n, LU_ERR_LIMIT, "%s: a range of more than %d", what, RANGE_MOST);
  }
  if (n->type != YAML_SEQUENCE_NODE)
    return lu_yaml_bad(r, n, LU_ERR_SYNTAX, "%s: expected a list, found %s", what, lu_yaml_kind(n));
  for (yaml_node_item_t *i = n->data.sequence.items.start; i < n->data.sequence.items.top; i++) {
    lu_spot one;
    lu_status s = lu_yaml_spot(r, lu_yaml_at(r, *i), what, &one);
    if (s)
      return s;
    if (!(ranges ? lu_range_expand(one, r->mem, out) : lu_spots_add(out, one, r->mem)))
      return lu_yaml_bad(r, lu_yaml_at(r, *i), LU_ERR_LIMIT, "%s: too many items", what);
  }
  return LU_OK;
}

/* --- mappings by table -------------------------------------------------------------------- */

enum { KEYS_MOST = 32 };

static lu_status unknown_key(lu_yaml *r, const lu_yaml_node *k, const char *what, const lu_yaml_key *keys)
{
  const char *names[KEYS_MOST];
  size_t n = 0;
  for (; keys[n].name; n++)
    names[n] = keys[n].name;
  const char *near = lu_text_nearest(lu_yaml_text(k), names, n);
  return near ? lu_yaml_bad(r, k, LU_ERR_SYNTAX, "%s: unknown key '%.60s'; the nearest known key is '%s'", what,
                    lu_yaml_text(k), near)
              : lu_yaml_bad(r, k, LU_ERR_SYNTAX, "%s: unknown key '%.60s'; known keys start with '%s'", what,
                    lu_yaml_text(k), keys[0].name);
}

lu_status lu_yaml_keys(lu_yaml *r, const lu_yaml_node *n, const char *what, const lu_yaml_key *keys, void *to)
{
  if (n->type != YAML_MAPPING_NODE)
    return lu_yaml_bad(r, n, LU_ERR_SYNTAX, "%s: expected a mapping, found %s", what, lu_yaml_kind(n));
  bool seen[KEYS_MOST] = {false};
  for (yaml_node_pair_t *p = n->data.mapping.pairs.start; p < n->data.mapping.pairs.top; p++) {
    const lu_yaml_node *k = lu_yaml_at(r, p->key), *v = lu_yaml_at(r, p->value);
    if (k->type != YAML_SCALAR_NODE)
      return lu_yaml_bad(r, k, LU_ERR_SYNTAX, "%s: expected a key, found %s", what, lu_yaml_kind(k));
    size_t i = 0;
    while (keys[i].name && strcmp(keys[i].name, lu_yaml_text(k)))
      i++;
    if (!keys[i].name)
      return unknown_key(r, k, what, keys);
    if (seen[i])
      return lu_yaml_bad(r, k, LU_ERR_SYNTAX, "%s: the key '%s' stands twice", what, keys[i].name);
    seen[i] = true;
    lu_status s = keys[i].read(r, v, keys[i].name, (char *)to + keys[i].offset);
    if (s)
      return s;
  }
  return LU_OK;
}

lu_status lu_yaml_key_spot(lu_yaml *r, const lu_yaml_node *v, const char *k, void *to)
{
  return lu_yaml_spot(r, v, k, to);
}

lu_status lu_yaml_key_spots(lu_yaml *r, const lu_yaml_node *v, const char *k, void *to)
{
  return lu_yaml_spots(r, v, k, false, to);
}

lu_status lu_yaml_key_ranges(lu_yaml *r, const lu_yaml_node *v, const char *k, void *to)
{
  return lu_yaml_spots(r, v, k, true, to);
}

lu_status lu_yaml_key_bytes(lu_yaml *r, const lu_yaml_node *v, const char *k, void *to)
{
  if (v->type != YAML_SCALAR_NODE ||
      !lu_text_size(lu_yaml_text(v), v->data.scalar.length, UINT64_MAX >> 8, to))
    return lu_yaml_bad(r, v, LU_ERR_SYNTAX, "%s: expected a number of bytes such as 0x10000 or 64k, found %.40s",
               k, v->type == YAML_SCALAR_NODE ? lu_yaml_text(v) : lu_yaml_kind(v));
  return LU_OK;
}

lu_status lu_yaml_key_real(lu_yaml *r, const lu_yaml_node *v, const char *k, void *to)
{
  char *end = NULL;
  double d = v->type == YAML_SCALAR_NODE ? strtod(lu_yaml_text(v), &end) : 0;
  if (!end || end == lu_yaml_text(v) || *end || !(d > -1e9 && d < 1e9))
    return lu_yaml_bad(r, v, LU_ERR_SYNTAX, "%s: expected a number, found %.40s", k,
               v->type == YAML_SCALAR_NODE ? lu_yaml_text(v) : lu_yaml_kind(v));
  *(double *)to = d;
  return LU_OK;
}

/* One of two words; *to says whether it was the second. */
lu_status lu_yaml_one_of(lu_yaml *r, const lu_yaml_node *v, const char *k, const char *no, const char *yes,
                        void *to)
{
  const char *t = v->type == YAML_SCALAR_NODE ? lu_yaml_text(v) : lu_yaml_kind(v);
  if (!strcmp(t, yes))
    *(bool *)to = true;
  else if (!strcmp(t, no))
    *(bool *)to = false;
  else
    return lu_yaml_bad(r, v, LU_ERR_SYNTAX, "%s: expected %s or %s, found '%.40s'", k, no, yes, t);
  return LU_OK;
}

/* A list of mappings, each read by keys into an item of the given size. */
lu_status lu_yaml_items(lu_yaml *r, const lu_yaml_node *n, const char *what, const lu_yaml_key *keys, size_t size,
                            void **items, size_t *count)
{
  if (n->type != YAML_SEQUENCE_NODE)
    return lu_yaml_bad(r, n, LU_ERR_SYNTAX, "%s: expected a list, found %s", what, lu_yaml_kind(n));
  size_t most = (size_t)(n->data.sequence.items.top - n->data.sequence.items.start);
  char *p = lu_arena_array(r->mem, most, size);
  if (!p)
    return lu_yaml_bad(r, n, LU_ERR_NOMEM, "no room");
  for (size_t i = 0; i < most; i++) {
    lu_status s = lu_yaml_keys(r, lu_yaml_at(r, n->data.sequence.items.start[i]), what, keys, p + i * size);
    if (s)
      return s;
  }
  *items = p;
  *count = most;
  return LU_OK;
}

/* A mapping of names to values; each value is read by fn into an item whose first member is the
 * name's lu_spot. */
lu_status lu_yaml_named(lu_yaml *r, const lu_yaml_node *n, const char *what, lu_yaml_fn fn, size_t size,
                            void **items, size_t *count)
{
  if (n->type != YAML_MAPPING_NODE)
    return lu_yaml_bad(r, n, LU_ERR_SYNTAX, "%s: expected a mapping, found %s", what, lu_yaml_kind(n));
  size_t most = (size_t)(n->data.mapping.pairs.top - n->data.mapping.pairs.start);
  char *p = lu_arena_array(r->mem, most, size);
  if (!p)
    return lu_yaml_bad(r, n, LU_ERR_NOMEM, "no room");
  for (size_t i = 0; i < most; i++) {
    yaml_node_pair_t *pair = n->data.mapping.pairs.start + i;
    lu_spot *name = (lu_spot *)(void *)(p + i * size);
    lu_status s = lu_yaml_spot(r, lu_yaml_at(r, pair->key), what, name);
    if (s)
      return s;
    for (size_t j = 0; j < i && i < 1000; j++)
      if (!strcmp(((lu_spot *)(void *)(p + j * size))->text, name->text))
        return lu_yaml_bad(r, lu_yaml_at(r, pair->key), LU_ERR_SYNTAX, "%s: '%s' stands twice", what, name->text);
    s = fn(r, lu_yaml_at(r, pair->value), name->text, p + i * size);
    if (s)
      return s;
  }
  *items = p;
  *count = most;
  return LU_OK;
}

/* Brackets open at once, roughly: quotes are not looked at. The library's own nesting costs time that
 * grows with its square. Returns the offset where the limit is passed, or len. */
static size_t too_deep(lu_bytes in)
{
  unsigned depth = 0;
  for (size_t i = 0; i < in.len; i++) {
    uint8_t c = in.at[i];
    if (c == '[' || c == '{') {
      if (++depth > DEPTH_MOST)
        return i;
    } else if ((c == ']' || c == '}') && depth) {
      depth--;
    } else if (c == '\n' && i + 1 < in.len && in.at[i + 1] != ' ' && in.at[i + 1] != '\n') {
      depth = depth > DEPTH_MOST / 2 ? depth : 0; /* a key in the first column: brackets in texts do not add up */
    }
  }
  return in.len;
}

lu_status lu_yaml_read(lu_bytes in, const char *path, const char *what, lu_yaml_fn root, void *to, lu_arena *mem,
                       lu_err *err)
{
  lu_yaml r = {.mem = mem, .err = err};
  yaml_parser_t parser;
  if (!yaml_parser_initialize(&parser))
    return lu_fail(err, LU_ERR_NOMEM, 0, 0, "no room for the %s", what);
  lu_status s;
  if (in.len > BYTES_MOST) {
    s = lu_fail(err, LU_ERR_LIMIT, 0, 0, "a %s of %zu bytes; at most %d are taken", what, in.len, BYTES_MOST);
  } else if (too_deep(in) < in.len) {
    s = lu_fail_at(err, LU_ERR_LIMIT, (const char *)in.at, in.len, too_deep(in), "more than %d brackets inside each other",
                   DEPTH_MOST);
  } else {
    yaml_parser_set_input_string(&parser, in.at, in.len);
    if (yaml_parser_load(&parser, &r.doc)) {
      lu_yaml_node *top = yaml_document_get_root_node(&r.doc);
      s = top ? root(&r, top, what, to) : lu_fail(err, LU_ERR_SYNTAX, 1, 1, "the %s is empty", what);
      yaml_document_delete(&r.doc);
    } else {
      bool memory = parser.error == YAML_MEMORY_ERROR;
      s = lu_fail(err, memory ? LU_ERR_NOMEM : LU_ERR_SYNTAX, (uint32_t)parser.problem_mark.line + 1,
                  (uint32_t)parser.problem_mark.column + 1, "not YAML: %s",
                  parser.problem ? parser.problem : "cannot be read");
    }
  }
  yaml_parser_delete(&parser);
  return s ? lu_fail_source(err, s, path) : LU_OK;
}
