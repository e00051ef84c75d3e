/* SPDX-License-Identifier: MIT */
#include "board/boardfile.h"

#include <ctype.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <yaml.h>

enum { ITEMS_MOST = 100000, RANGE_MOST = 64, BYTES_MOST = 16 << 20 };

/* What a reading function needs: the document, the arena, and where to complain. */
typedef struct reader {
  yaml_document_t doc;
  lu_arena *mem;
  lu_err *err;
} reader;

typedef yaml_node_t node;

static lu_status bad(reader *r, const node *n, lu_status s, const char *format, ...)
    __attribute__((format(printf, 4, 5)));
static lu_status bad(reader *r, const node *n, lu_status s, const char *format, ...)
{
  char text[200];
  va_list ap;
  va_start(ap, format);
  vsnprintf(text, sizeof text, format, ap);
  va_end(ap);
  return lu_fail(r->err, s, (uint32_t)n->start_mark.line + 1, (uint32_t)n->start_mark.column + 1,
                 "%s", text);
}

static node *at(reader *r, int index)
{
  return yaml_document_get_node(&r->doc, index);
}

static const char *kind_name(const node *n)
{
  return n->type == YAML_MAPPING_NODE ? "a mapping"
         : n->type == YAML_SEQUENCE_NODE ? "a list"
                                         : "a plain value";
}

static const char *scalar(const node *n)
{
  return (const char *)n->data.scalar.value;
}

static lu_status read_spot(reader *r, const node *n, const char *what, lu_spot *out)
{
  if (n->type != YAML_SCALAR_NODE)
    return bad(r, n, LU_ERR_SYNTAX, "%s: expected a plain value, found %s", what, kind_name(n));
  if (!n->data.scalar.length || n->data.scalar.length > 200)
    return bad(r, n, LU_ERR_SYNTAX, "%s: expected a text of 1 to 200 characters", what);
  if (strlen(scalar(n)) != n->data.scalar.length)
    return bad(r, n, LU_ERR_SYNTAX, "%s: a NUL character stands in the text", what);
  char *text = lu_arena_text(r->mem, scalar(n), n->data.scalar.length);
  if (!text)
    return bad(r, n, LU_ERR_NOMEM, "no room");
  *out = (lu_spot){text, (uint32_t)n->start_mark.line + 1, (uint32_t)n->start_mark.column + 1};
  return LU_OK;
}

static bool push(lu_spots *list, lu_spot spot, lu_arena *mem)
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
    return push(list, spot, mem);
  long step = first <= last ? 1 : -1;
  if (labs(last - first) >= RANGE_MOST)
    return false;
  for (long i = first;; i += step) {
    lu_spot one = spot;
    one.text = lu_arena_printf(mem, "%.*s%ld", (int)stem, spot.text, i);
    if (!one.text || !push(list, one, mem))
      return false;
    if (i == last)
      return true;
  }
}

static lu_status read_spots(reader *r, const node *n, const char *what, bool ranges, lu_spots *out)
{
  if (n->type == YAML_SCALAR_NODE) {
    lu_spot one;
    lu_status s = read_spot(r, n, what, &one);
    if (s)
      return s;
    return (ranges ? lu_range_expand(one, r->mem, out) : push(out, one, r->mem))
               ? LU_OK
               : bad(r, n, LU_ERR_LIMIT, "%s: a range of more than %d", what, RANGE_MOST);
  }
  if (n->type != YAML_SEQUENCE_NODE)
    return bad(r, n, LU_ERR_SYNTAX, "%s: expected a list, found %s", what, kind_name(n));
  for (yaml_node_item_t *i = n->data.sequence.items.start; i < n->data.sequence.items.top; i++) {
    lu_spot one;
    lu_status s = read_spot(r, at(r, *i), what, &one);
    if (s)
      return s;
    if (!(ranges ? lu_range_expand(one, r->mem, out) : push(out, one, r->mem)))
      return bad(r, at(r, *i), LU_ERR_LIMIT, "%s: too many items", what);
  }
  return LU_OK;
}

/* --- mappings by table -------------------------------------------------------------------- */

typedef lu_status (*key_fn)(reader *r, const node *value, const char *key, void *to);
typedef struct key {
  const char *name;
  key_fn read;
  size_t offset;
} key;

enum { KEYS_MOST = 32 };

static lu_status unknown_key(reader *r, const node *k, const char *what, const key *keys)
{
  const char *names[KEYS_MOST];
  size_t n = 0;
  for (; keys[n].name; n++)
    names[n] = keys[n].name;
  const char *near = lu_text_nearest(scalar(k), names, n);
  return near ? bad(r, k, LU_ERR_SYNTAX, "%s: unknown key '%.60s'; the nearest known key is '%s'", what,
                    scalar(k), near)
              : bad(r, k, LU_ERR_SYNTAX, "%s: unknown key '%.60s'; known keys start with '%s'", what,
                    scalar(k), keys[0].name);
}

static lu_status read_keys(reader *r, const node *n, const char *what, const key *keys, void *to)
{
  if (n->type != YAML_MAPPING_NODE)
    return bad(r, n, LU_ERR_SYNTAX, "%s: expected a mapping, found %s", what, kind_name(n));
  bool seen[KEYS_MOST] = {false};
  for (yaml_node_pair_t *p = n->data.mapping.pairs.start; p < n->data.mapping.pairs.top; p++) {
    const node *k = at(r, p->key), *v = at(r, p->value);
    if (k->type != YAML_SCALAR_NODE)
      return bad(r, k, LU_ERR_SYNTAX, "%s: expected a key, found %s", what, kind_name(k));
    size_t i = 0;
    while (keys[i].name && strcmp(keys[i].name, scalar(k)))
      i++;
    if (!keys[i].name)
      return unknown_key(r, k, what, keys);
    if (seen[i])
      return bad(r, k, LU_ERR_SYNTAX, "%s: the key '%s' stands twice", what, keys[i].name);
    seen[i] = true;
    lu_status s = keys[i].read(r, v, keys[i].name, (char *)to + keys[i].offset);
    if (s)
      return s;
  }
  return LU_OK;
}

static lu_status key_spot(reader *r, const node *v, const char *k, void *to)
{
  return read_spot(r, v, k, to);
}

static lu_status key_spots(reader *r, const node *v, const char *k, void *to)
{
  return read_spots(r, v, k, false, to);
}

static lu_status key_ranges(reader *r, const node *v, const char *k, void *to)
{
  return read_spots(r, v, k, true, to);
}

static lu_status key_bytes(reader *r, const node *v, const char *k, void *to)
{
  if (v->type != YAML_SCALAR_NODE ||
      !lu_text_size(scalar(v), v->data.scalar.length, UINT64_MAX >> 8, to))
    return bad(r, v, LU_ERR_SYNTAX, "%s: expected a number of bytes such as 0x10000 or 64k, found %.40s",
               k, v->type == YAML_SCALAR_NODE ? scalar(v) : kind_name(v));
  return LU_OK;
}

static lu_status key_real(reader *r, const node *v, const char *k, void *to)
{
  char *end = NULL;
  double d = v->type == YAML_SCALAR_NODE ? strtod(scalar(v), &end) : 0;
  if (!end || end == scalar(v) || *end || !(d > -1e9 && d < 1e9))
    return bad(r, v, LU_ERR_SYNTAX, "%s: expected a number, found %.40s", k,
               v->type == YAML_SCALAR_NODE ? scalar(v) : kind_name(v));
  *(double *)to = d;
  return LU_OK;
}

/* One of two words; *to says whether it was the second. */
static lu_status one_of(reader *r, const node *v, const char *k, const char *no, const char *yes,
                        void *to)
{
  const char *t = v->type == YAML_SCALAR_NODE ? scalar(v) : kind_name(v);
  if (!strcmp(t, yes))
    *(bool *)to = true;
  else if (!strcmp(t, no))
    *(bool *)to = false;
  else
    return bad(r, v, LU_ERR_SYNTAX, "%s: expected %s or %s, found '%.40s'", k, no, yes, t);
  return LU_OK;
}

static lu_status key_kind(reader *r, const node *v, const char *k, void *to)
{
  return one_of(r, v, k, "ram", "rom", to);
}

static lu_status key_order(reader *r, const node *v, const char *k, void *to)
{
  return one_of(r, v, k, "little", "big", to);
}

static lu_status key_active(reader *r, const node *v, const char *k, void *to)
{
  return one_of(r, v, k, "high", "low", to);
}

static lu_status key_truth(reader *r, const node *v, const char *k, void *to)
{
  return one_of(r, v, k, "false", "true", to);
}

static lu_status key_direction(reader *r, const node *v, const char *k, void *to)
{
  return one_of(r, v, k, "forward", "both", to);
}

/* A list of mappings, each read by keys into an item of the given size. */
static lu_status read_items(reader *r, const node *n, const char *what, const key *keys, size_t size,
                            void **items, size_t *count)
{
  if (n->type != YAML_SEQUENCE_NODE)
    return bad(r, n, LU_ERR_SYNTAX, "%s: expected a list, found %s", what, kind_name(n));
  size_t most = (size_t)(n->data.sequence.items.top - n->data.sequence.items.start);
  char *p = lu_arena_array(r->mem, most, size);
  if (!p)
    return bad(r, n, LU_ERR_NOMEM, "no room");
  for (size_t i = 0; i < most; i++) {
    lu_status s = read_keys(r, at(r, n->data.sequence.items.start[i]), what, keys, p + i * size);
    if (s)
      return s;
  }
  *items = p;
  *count = most;
  return LU_OK;
}

/* A mapping of names to values; each value is read by fn into an item whose first member is the
 * name's lu_spot. */
static lu_status read_named(reader *r, const node *n, const char *what, key_fn fn, size_t size,
                            void **items, size_t *count)
{
  if (n->type != YAML_MAPPING_NODE)
    return bad(r, n, LU_ERR_SYNTAX, "%s: expected a mapping, found %s", what, kind_name(n));
  size_t most = (size_t)(n->data.mapping.pairs.top - n->data.mapping.pairs.start);
  char *p = lu_arena_array(r->mem, most, size);
  if (!p)
    return bad(r, n, LU_ERR_NOMEM, "no room");
  for (size_t i = 0; i < most; i++) {
    yaml_node_pair_t *pair = n->data.mapping.pairs.start + i;
    lu_spot *name = (lu_spot *)(void *)(p + i * size);
    lu_status s = read_spot(r, at(r, pair->key), what, name);
    if (s)
      return s;
    for (size_t j = 0; j < i && i < 1000; j++)
      if (!strcmp(((lu_spot *)(void *)(p + j * size))->text, name->text))
        return bad(r, at(r, pair->key), LU_ERR_SYNTAX, "%s: '%s' stands twice", what, name->text);
    s = fn(r, at(r, pair->value), name->text, p + i * size);
    if (s)
      return s;
  }
  *items = p;
  *count = most;
  return LU_OK;
}

/* --- the sections ------------------------------------------------------------------------- */

static lu_status net_value(reader *r, const node *v, const char *k, void *to)
{
  return read_spots(r, v, k, false, &((lu_file_net *)to)->pins);
}

static lu_status key_nets(reader *r, const node *v, const char *k, void *to)
{
  lu_boardfile *f = to;
  void *items = NULL;
  lu_status s = read_named(r, v, k, net_value, sizeof *f->nets, &items, &f->net_count);
  if (!s)
    f->nets = items;
  return s;
}

static lu_status pin_value(reader *r, const node *v, const char *k, void *to)
{
  return read_spot(r, v, k, &((lu_file_pin *)to)->number);
}

static lu_status key_pins(reader *r, const node *v, const char *k, void *to)
{
  lu_file_part *p = to;
  void *items = NULL;
  lu_status s = read_named(r, v, k, pin_value, sizeof *p->pins, &items, &p->pin_count);
  if (!s)
    p->pins = items;
  return s;
}

static lu_status key_passes(reader *r, const node *v, const char *k, void *to)
{
  static const key keys[] = {
      {"from", key_spot, offsetof(lu_file_pass, from)},
      {"to", key_spot, offsetof(lu_file_pass, to)},
      {"phase", key_spot, offsetof(lu_file_pass, phase)},
      {"inverted", key_truth, offsetof(lu_file_pass, inverted)},
      {"direction", key_direction, offsetof(lu_file_pass, both_ways)},
      {0},
  };
  lu_file_part *p = to;
  void *items = NULL;
  lu_status s = read_items(r, v, k, keys, sizeof *p->passes, &items, &p->pass_count);
  if (s)
    return s;
  p->passes = items;
  for (size_t i = 0; i < p->pass_count; i++) {
    const lu_file_pass *q = &p->passes[i];
    const node *n = at(r, v->data.sequence.items.start[i]);
    if (!q->from.text || !q->to.text)
      return bad(r, n, LU_ERR_SYNTAX, "passes: expected both from and to");
    if (q->phase.text && strcmp(q->phase.text, "row") && strcmp(q->phase.text, "column"))
      return lu_fail(r->err, LU_ERR_SYNTAX, q->phase.line, q->phase.column,
                     "phase: expected row or column, found '%.40s'", q->phase.text);
  }
  return LU_OK;
}

static lu_status part_value(reader *r, const node *v, const char *k, void *to)
{
  static const key keys[] = {
      {"type", key_spot, offsetof(lu_file_part, type)},
      {"pins", key_pins, 0},
      {"passes", key_passes, 0},
      {0},
  };
  (void)k;
  return read_keys(r, v, "parts", keys, to);
}

static lu_status key_parts(reader *r, const node *v, const char *k, void *to)
{
  lu_boardfile *f = to;
  void *items = NULL;
  lu_status s = read_named(r, v, k, part_value, sizeof *f->parts, &items, &f->part_count);
  if (!s)
    f->parts = items;
  return s;
}

static lu_status strobe_value(reader *r, const node *v, const char *k, void *to)
{
  static const key keys[] = {
      {"pin", key_spot, offsetof(lu_file_strobe, pin)},
      {"active", key_active, offsetof(lu_file_strobe, active_low)},
      {0},
  };
  lu_status s = read_keys(r, v, k, keys, to);
  if (!s && !((lu_file_strobe *)to)->pin.text)
    s = bad(r, v, LU_ERR_SYNTAX, "strobe %s: expected a pin", k);
  return s;
}

static lu_status key_strobes(reader *r, const node *v, const char *k, void *to)
{
  lu_file_vantage *p = to;
  void *items = NULL;
  lu_status s = read_named(r, v, k, strobe_value, sizeof *p->strobes, &items, &p->strobe_count);
  if (!s)
    p->strobes = items;
  return s;
}

static lu_status key_address(reader *r, const node *v, const char *k, void *to)
{
  static const key keys[] = {
      {"row", key_ranges, offsetof(lu_file_vantage, row)},
      {"column", key_ranges, offsetof(lu_file_vantage, column)},
      {0},
  };
  lu_file_vantage *p = to;
  if (v->type == YAML_MAPPING_NODE)
    return read_keys(r, v, k, keys, p);
  return read_spots(r, v, k, true, &p->address);
}

static lu_status vantage_value(reader *r, const node *v, const char *k, void *to)
{
  static const key keys[] = {
      {"at", key_spot, offsetof(lu_file_vantage, at)},
      {"address", key_address, 0},
      {"data", key_ranges, offsetof(lu_file_vantage, data)},
      {"byte_order", key_order, offsetof(lu_file_vantage, big_endian)},
      {"strobes", key_strobes, 0},
      {0},
  };
  lu_file_vantage *p = to;
  lu_status s = read_keys(r, v, "vantages", keys, to);
  if (s)
    return s;
  if (!p->data.count)
    return bad(r, v, LU_ERR_SYNTAX, "vantage %s: expected data pins", k);
  if (!p->address.count && !(p->row.count && p->column.count))
    return bad(r, v, LU_ERR_SYNTAX, "vantage %s: expected address pins", k);
  if (p->data.count > 64 || p->address.count > 40 || p->row.count + p->column.count > 40)
    return bad(r, v, LU_ERR_LIMIT, "vantage %s: at most 64 data and 40 address lines", k);
  return LU_OK;
}

static lu_status key_vantages(reader *r, const node *v, const char *k, void *to)
{
  lu_boardfile *f = to;
  void *items = NULL;
  lu_status s = read_named(r, v, k, vantage_value, sizeof *f->vantages, &items, &f->vantage_count);
  if (!s)
    f->vantages = items;
  return s;
}

static lu_status key_memory(reader *r, const node *v, const char *k, void *to)
{
  static const key keys[] = {
      {"name", key_spot, offsetof(lu_file_block, name)},
      {"seen_from", key_spot, offsetof(lu_file_block, seen_from)},
      {"base", key_bytes, offsetof(lu_file_block, base)},
      {"size", key_bytes, offsetof(lu_file_block, size)},
      {"kind", key_kind, offsetof(lu_file_block, rom)},
      {"chips", key_spots, offsetof(lu_file_block, chips)},
      {0},
  };
  lu_boardfile *f = to;
  void *items = NULL;
  lu_status s = read_items(r, v, k, keys, sizeof *f->blocks, &items, &f->block_count);
  if (s)
    return s;
  f->blocks = items;
  for (size_t i = 0; i < f->block_count; i++) {
    lu_file_block *b = &f->blocks[i];
    const node *n = at(r, v->data.sequence.items.start[i]);
    b->line = (uint32_t)n->start_mark.line + 1;
    b->column = (uint32_t)n->start_mark.column + 1;
    if (!b->name.text || !b->seen_from.text || !b->size || !b->chips.count)
      return bad(r, n, LU_ERR_SYNTAX, "memory: expected name, seen_from, size and chips");
    for (size_t j = 0; j < i; j++)
      if (!strcmp(f->blocks[j].name.text, b->name.text))
        return bad(r, n, LU_ERR_SYNTAX, "memory: the block '%s' stands twice", b->name.text);
  }
  return LU_OK;
}

static lu_status read_pair(reader *r, const node *n, double out[2])
{
  if (n->type != YAML_SEQUENCE_NODE ||
      n->data.sequence.items.top - n->data.sequence.items.start != 2)
    return bad(r, n, LU_ERR_SYNTAX, "expected two numbers [x, y] in mm");
  for (int i = 0; i < 2; i++) {
    lu_status s = key_real(r, at(r, n->data.sequence.items.start[i]), "mm", &out[i]);
    if (s)
      return s;
  }
  return LU_OK;
}

static lu_status key_centre(reader *r, const node *v, const char *k, void *to)
{
  (void)k;
  lu_file_damage *d = to;
  d->has_at = true;
  return read_pair(r, v, d->at_mm);
}

static lu_status key_polygon(reader *r, const node *v, const char *k, void *to)
{
  lu_file_damage *d = to;
  if (v->type != YAML_SEQUENCE_NODE || v->data.sequence.items.top - v->data.sequence.items.start < 3)
    return bad(r, v, LU_ERR_SYNTAX, "%s: expected at least three corners [x, y]", k);
  size_t n = (size_t)(v->data.sequence.items.top - v->data.sequence.items.start);
  d->corners_mm = lu_arena_array(r->mem, n, sizeof *d->corners_mm);
  if (!d->corners_mm)
    return bad(r, v, LU_ERR_NOMEM, "no room");
  d->corner_count = n;
  for (size_t i = 0; i < n; i++) {
    lu_status s = read_pair(r, at(r, v->data.sequence.items.start[i]), d->corners_mm[i]);
    if (s)
      return s;
  }
  return LU_OK;
}

static lu_status key_damage(reader *r, const node *v, const char *k, void *to)
{
  static const key keys[] = {
      {"around", key_spot, offsetof(lu_file_damage, around)},
      {"radius_mm", key_real, offsetof(lu_file_damage, radius_mm)},
      {"at_mm", key_centre, 0},
      {"polygon_mm", key_polygon, 0},
      {"nets", key_spots, offsetof(lu_file_damage, nets)},
      {"parts", key_spots, offsetof(lu_file_damage, parts)},
      {0},
  };
  lu_boardfile *f = to;
  void *items = NULL;
  lu_status s = read_items(r, v, k, keys, sizeof *f->damage, &items, &f->damage_count);
  if (!s)
    f->damage = items;
  return s;
}

static lu_status prior_value(reader *r, const node *v, const char *k, void *to)
{
  lu_file_prior *p = to;
  lu_status s = key_real(r, v, k, &p->value);
  if (!s && !(p->value > 0 && p->value < 1))
    s = bad(r, v, LU_ERR_VALUE, "prior %s: expected a probability between 0 and 1", k);
  return s;
}

static lu_status key_priors(reader *r, const node *v, const char *k, void *to)
{
  lu_boardfile *f = to;
  void *items = NULL;
  lu_status s = read_named(r, v, k, prior_value, sizeof *f->priors, &items, &f->prior_count);
  if (!s)
    f->priors = items;
  return s;
}

static lu_status read_document(reader *r, lu_boardfile *f)
{
  static const key keys[] = {
      {"title", key_spot, offsetof(lu_boardfile, title)},
      {"netlist", key_spot, offsetof(lu_boardfile, netlist)},
      {"layout", key_spot, offsetof(lu_boardfile, layout)},
      {"nets", key_nets, 0},
      {"parts", key_parts, 0},
      {"sockets", key_spots, offsetof(lu_boardfile, sockets)},
      {"vantages", key_vantages, 0},
      {"memory", key_memory, 0},
      {"damage", key_damage, 0},
      {"priors", key_priors, 0},
      {0},
  };
  node *root = yaml_document_get_root_node(&r->doc);
  if (!root)
    return lu_fail(r->err, LU_ERR_SYNTAX, 1, 1, "the board file is empty");
  return read_keys(r, root, "board file", keys, f);
}

lu_status lu_boardfile_read(lu_bytes in, const char *path, lu_arena *mem, lu_boardfile **out,
                            lu_err *err)
{
  reader r = {.mem = mem, .err = err};
  lu_boardfile *f = LU_NEW(mem, lu_boardfile, 1);
  yaml_parser_t parser;
  if (!f || !yaml_parser_initialize(&parser))
    return lu_fail(err, LU_ERR_NOMEM, 0, 0, "no room for the board file");
  lu_status s;
  f->path = path;
  if (in.len > BYTES_MOST) {
    s = lu_fail(err, LU_ERR_LIMIT, 0, 0, "a board file of %zu bytes; at most %d are taken", in.len,
                BYTES_MOST);
  } else {
    yaml_parser_set_input_string(&parser, in.at, in.len);
    if (yaml_parser_load(&parser, &r.doc)) {
      s = read_document(&r, f);
      yaml_document_delete(&r.doc);
    } else {
      bool memory = parser.error == YAML_MEMORY_ERROR;
      s = lu_fail(err, memory ? LU_ERR_NOMEM : LU_ERR_SYNTAX, (uint32_t)parser.problem_mark.line + 1,
                  (uint32_t)parser.problem_mark.column + 1, "not YAML: %s",
                  parser.problem ? parser.problem : "cannot be read");
    }
  }
  yaml_parser_delete(&parser);
  if (s)
    return lu_fail_source(err, s, path);
  *out = f;
  return LU_OK;
}
