/* SPDX-License-Identifier: MIT */
#include "board/boardfile.h"

#include <string.h>

static lu_status key_kind(lu_yaml *r, const lu_yaml_node *v, const char *k, void *to)
{
  return lu_yaml_one_of(r, v, k, "ram", "rom", to);
}

static lu_status key_order(lu_yaml *r, const lu_yaml_node *v, const char *k, void *to)
{
  return lu_yaml_one_of(r, v, k, "little", "big", to);
}

static lu_status key_active(lu_yaml *r, const lu_yaml_node *v, const char *k, void *to)
{
  return lu_yaml_one_of(r, v, k, "high", "low", to);
}

static lu_status key_truth(lu_yaml *r, const lu_yaml_node *v, const char *k, void *to)
{
  return lu_yaml_one_of(r, v, k, "false", "true", to);
}

static lu_status key_direction(lu_yaml *r, const lu_yaml_node *v, const char *k, void *to)
{
  return lu_yaml_one_of(r, v, k, "forward", "both", to);
}

/* --- the sections ------------------------------------------------------------------------- */

static lu_status net_value(lu_yaml *r, const lu_yaml_node *v, const char *k, void *to)
{
  return lu_yaml_spots(r, v, k, false, &((lu_file_net *)to)->pins);
}

static lu_status key_nets(lu_yaml *r, const lu_yaml_node *v, const char *k, void *to)
{
  lu_boardfile *f = to;
  void *items = NULL;
  lu_status s = lu_yaml_named(r, v, k, net_value, sizeof *f->nets, &items, &f->net_count);
  if (!s)
    f->nets = items;
  return s;
}

static lu_status pin_value(lu_yaml *r, const lu_yaml_node *v, const char *k, void *to)
{
  return lu_yaml_spot(r, v, k, &((lu_file_pin *)to)->number);
}

static lu_status key_pins(lu_yaml *r, const lu_yaml_node *v, const char *k, void *to)
{
  lu_file_part *p = to;
  void *items = NULL;
  lu_status s = lu_yaml_named(r, v, k, pin_value, sizeof *p->pins, &items, &p->pin_count);
  if (!s)
    p->pins = items;
  return s;
}

static lu_status key_passes(lu_yaml *r, const lu_yaml_node *v, const char *k, void *to)
{
  static const lu_yaml_key keys[] = {
      {"from", lu_yaml_key_spot, offsetof(lu_file_pass, from)},
      {"to", lu_yaml_key_spot, offsetof(lu_file_pass, to)},
      {"phase", lu_yaml_key_spot, offsetof(lu_file_pass, phase)},
      {"inverted", key_truth, offsetof(lu_file_pass, inverted)},
      {"direction", key_direction, offsetof(lu_file_pass, both_ways)},
      {0},
  };
  lu_file_part *p = to;
  void *items = NULL;
  lu_status s = lu_yaml_items(r, v, k, keys, sizeof *p->passes, &items, &p->pass_count);
  if (s)
    return s;
  p->passes = items;
  for (size_t i = 0; i < p->pass_count; i++) {
    const lu_file_pass *q = &p->passes[i];
    const lu_yaml_node *n = lu_yaml_at(r, v->data.sequence.items.start[i]);
    if (!q->from.text || !q->to.text)
      return lu_yaml_bad(r, n, LU_ERR_SYNTAX, "passes: expected both from and to");
    if (q->phase.text && strcmp(q->phase.text, "row") && strcmp(q->phase.text, "column"))
      return lu_fail(r->err, LU_ERR_SYNTAX, q->phase.line, q->phase.column,
                     "phase: expected row or column, found '%.40s'", q->phase.text);
  }
  return LU_OK;
}

static lu_status part_value(lu_yaml *r, const lu_yaml_node *v, const char *k, void *to)
{
  static const lu_yaml_key keys[] = {
      {"type", lu_yaml_key_spot, offsetof(lu_file_part, type)},
      {"pins", key_pins, 0},
      {"passes", key_passes, 0},
      {0},
  };
  (void)k;
  return lu_yaml_keys(r, v, "parts", keys, to);
}

static lu_status key_parts(lu_yaml *r, const lu_yaml_node *v, const char *k, void *to)
{
  lu_boardfile *f = to;
  void *items = NULL;
  lu_status s = lu_yaml_named(r, v, k, part_value, sizeof *f->parts, &items, &f->part_count);
  if (!s)
    f->parts = items;
  return s;
}

static lu_status strobe_value(lu_yaml *r, const lu_yaml_node *v, const char *k, void *to)
{
  static const lu_yaml_key keys[] = {
      {"pin", lu_yaml_key_spot, offsetof(lu_file_strobe, pin)},
      {"active", key_active, offsetof(lu_file_strobe, active_low)},
      {0},
  };
  lu_status s = lu_yaml_keys(r, v, k, keys, to);
  if (!s && !((lu_file_strobe *)to)->pin.text)
    s = lu_yaml_bad(r, v, LU_ERR_SYNTAX, "strobe %s: expected a pin", k);
  return s;
}

static lu_status key_strobes(lu_yaml *r, const lu_yaml_node *v, const char *k, void *to)
{
  lu_file_vantage *p = to;
  void *items = NULL;
  lu_status s = lu_yaml_named(r, v, k, strobe_value, sizeof *p->strobes, &items, &p->strobe_count);
  if (!s)
    p->strobes = items;
  return s;
}

static lu_status key_address(lu_yaml *r, const lu_yaml_node *v, const char *k, void *to)
{
  static const lu_yaml_key keys[] = {
      {"row", lu_yaml_key_ranges, offsetof(lu_file_vantage, row)},
      {"column", lu_yaml_key_ranges, offsetof(lu_file_vantage, column)},
      {0},
  };
  lu_file_vantage *p = to;
  if (v->type == YAML_MAPPING_NODE)
    return lu_yaml_keys(r, v, k, keys, p);
  return lu_yaml_spots(r, v, k, true, &p->address);
}

static lu_status vantage_value(lu_yaml *r, const lu_yaml_node *v, const char *k, void *to)
{
  static const lu_yaml_key keys[] = {
      {"at", lu_yaml_key_spot, offsetof(lu_file_vantage, at)},
      {"address", key_address, 0},
      {"data", lu_yaml_key_ranges, offsetof(lu_file_vantage, data)},
      {"byte_order", key_order, offsetof(lu_file_vantage, big_endian)},
      {"strobes", key_strobes, 0},
      {0},
  };
  lu_file_vantage *p = to;
  lu_status s = lu_yaml_keys(r, v, "vantages", keys, to);
  if (s)
    return s;
  if (!p->data.count)
    return lu_yaml_bad(r, v, LU_ERR_SYNTAX, "vantage %s: expected data pins", k);
  if (!p->address.count && !(p->row.count && p->column.count))
    return lu_yaml_bad(r, v, LU_ERR_SYNTAX, "vantage %s: expected address pins", k);
  if (p->data.count > 64 || p->address.count > 40 || p->row.count + p->column.count > 40)
    return lu_yaml_bad(r, v, LU_ERR_LIMIT, "vantage %s: at most 64 data and 40 address lines", k);
  return LU_OK;
}

static lu_status key_vantages(lu_yaml *r, const lu_yaml_node *v, const char *k, void *to)
{
  lu_boardfile *f = to;
  void *items = NULL;
  lu_status s = lu_yaml_named(r, v, k, vantage_value, sizeof *f->vantages, &items, &f->vantage_count);
  if (!s)
    f->vantages = items;
  return s;
}

static lu_status key_memory(lu_yaml *r, const lu_yaml_node *v, const char *k, void *to)
{
  static const lu_yaml_key keys[] = {
      {"name", lu_yaml_key_spot, offsetof(lu_file_block, name)},
      {"seen_from", lu_yaml_key_spot, offsetof(lu_file_block, seen_from)},
      {"base", lu_yaml_key_bytes, offsetof(lu_file_block, base)},
      {"size", lu_yaml_key_bytes, offsetof(lu_file_block, size)},
      {"kind", key_kind, offsetof(lu_file_block, rom)},
      {"chips", lu_yaml_key_spots, offsetof(lu_file_block, chips)},
      {0},
  };
  lu_boardfile *f = to;
  void *items = NULL;
  lu_status s = lu_yaml_items(r, v, k, keys, sizeof *f->blocks, &items, &f->block_count);
  if (s)
    return s;
  f->blocks = items;
  for (size_t i = 0; i < f->block_count; i++) {
    lu_file_block *b = &f->blocks[i];
    const lu_yaml_node *n = lu_yaml_at(r, v->data.sequence.items.start[i]);
    b->line = (uint32_t)n->start_mark.line + 1;
    b->column = (uint32_t)n->start_mark.column + 1;
    if (!b->name.text || !b->seen_from.text || !b->size || !b->chips.count)
      return lu_yaml_bad(r, n, LU_ERR_SYNTAX, "memory: expected name, seen_from, size and chips");
    for (size_t j = 0; j < i; j++)
      if (!strcmp(f->blocks[j].name.text, b->name.text))
        return lu_yaml_bad(r, n, LU_ERR_SYNTAX, "memory: the block '%s' stands twice", b->name.text);
  }
  return LU_OK;
}

static lu_status read_pair(lu_yaml *r, const lu_yaml_node *n, double out[2])
{
  if (n->type != YAML_SEQUENCE_NODE ||
      n->data.sequence.items.top - n->data.sequence.items.start != 2)
    return lu_yaml_bad(r, n, LU_ERR_SYNTAX, "expected two numbers [x, y] in mm");
  for (int i = 0; i < 2; i++) {
    lu_status s = lu_yaml_key_real(r, lu_yaml_at(r, n->data.sequence.items.start[i]), "mm", &out[i]);
    if (s)
      return s;
  }
  return LU_OK;
}

static lu_status key_centre(lu_yaml *r, const lu_yaml_node *v, const char *k, void *to)
{
  (void)k;
  lu_file_damage *d = to;
  d->has_at = true;
  return read_pair(r, v, d->at_mm);
}

static lu_status key_polygon(lu_yaml *r, const lu_yaml_node *v, const char *k, void *to)
{
  lu_file_damage *d = to;
  if (v->type != YAML_SEQUENCE_NODE || v->data.sequence.items.top - v->data.sequence.items.start < 3)
    return lu_yaml_bad(r, v, LU_ERR_SYNTAX, "%s: expected at least three corners [x, y]", k);
  size_t n = (size_t)(v->data.sequence.items.top - v->data.sequence.items.start);
  d->corners_mm = lu_arena_array(r->mem, n, sizeof *d->corners_mm);
  if (!d->corners_mm)
    return lu_yaml_bad(r, v, LU_ERR_NOMEM, "no room");
  d->corner_count = n;
  for (size_t i = 0; i < n; i++) {
    lu_status s = read_pair(r, lu_yaml_at(r, v->data.sequence.items.start[i]), d->corners_mm[i]);
    if (s)
      return s;
  }
  return LU_OK;
}

static lu_status key_damage(lu_yaml *r, const lu_yaml_node *v, const char *k, void *to)
{
  static const lu_yaml_key keys[] = {
      {"around", lu_yaml_key_spot, offsetof(lu_file_damage, around)},
      {"radius_mm", lu_yaml_key_real, offsetof(lu_file_damage, radius_mm)},
      {"at_mm", key_centre, 0},
      {"polygon_mm", key_polygon, 0},
      {"nets", lu_yaml_key_spots, offsetof(lu_file_damage, nets)},
      {"parts", lu_yaml_key_spots, offsetof(lu_file_damage, parts)},
      {0},
  };
  lu_boardfile *f = to;
  void *items = NULL;
  lu_status s = lu_yaml_items(r, v, k, keys, sizeof *f->damage, &items, &f->damage_count);
  if (!s)
    f->damage = items;
  return s;
}

static lu_status prior_value(lu_yaml *r, const lu_yaml_node *v, const char *k, void *to)
{
  lu_file_prior *p = to;
  lu_status s = lu_yaml_key_real(r, v, k, &p->value);
  if (!s && !(p->value > 0 && p->value < 1))
    s = lu_yaml_bad(r, v, LU_ERR_VALUE, "prior %s: expected a probability between 0 and 1", k);
  return s;
}

static lu_status key_priors(lu_yaml *r, const lu_yaml_node *v, const char *k, void *to)
{
  lu_boardfile *f = to;
  void *items = NULL;
  lu_status s = lu_yaml_named(r, v, k, prior_value, sizeof *f->priors, &items, &f->prior_count);
  if (!s)
    f->priors = items;
  return s;
}

static lu_status board_root(lu_yaml *r, const lu_yaml_node *root, const char *what, void *to)
{
  static const lu_yaml_key keys[] = {
      {"title", lu_yaml_key_spot, offsetof(lu_boardfile, title)},
      {"netlist", lu_yaml_key_spot, offsetof(lu_boardfile, netlist)},
      {"layout", lu_yaml_key_spot, offsetof(lu_boardfile, layout)},
      {"nets", key_nets, 0},
      {"parts", key_parts, 0},
      {"sockets", lu_yaml_key_spots, offsetof(lu_boardfile, sockets)},
      {"vantages", key_vantages, 0},
      {"memory", key_memory, 0},
      {"damage", key_damage, 0},
      {"priors", key_priors, 0},
      {0},
  };
  return lu_yaml_keys(r, root, what, keys, to);
}

lu_status lu_boardfile_read(lu_bytes in, const char *path, lu_arena *mem, lu_boardfile **out, lu_err *err)
{
  lu_boardfile *f = LU_NEW(mem, lu_boardfile, 1);
  if (!f)
    return lu_fail(err, LU_ERR_NOMEM, 0, 0, "no room for the board file");
  f->path = path;
  lu_status s = lu_yaml_read(in, path, "board file", board_root, f, mem, err);
  if (!s)
    *out = f;
  return s;
}
