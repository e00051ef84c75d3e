/* SPDX-License-Identifier: MIT */
#include "board/board.h"

#include "base/map.h"
#include "board/damage.h"
#include "board/places.h"

#include <ctype.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* While a board is put together: growing lists and name maps. */
typedef struct builder {
  lu_board *b;
  const lu_boardfile *file;
  lu_arena *mem;
  lu_err *err;
  size_t part_room, net_room, pin_room, note_room;
  lu_map parts, nets, pins; /* by ref, name, "REF.PIN" */
  const char **pin_function; /* from the netlist, by pin; parallel to b->pins */
  uint32_t *part_first, *by_part; /* pins in order of their parts, while types are settled */
} builder;

static lu_status no_room(builder *k)
{
  return lu_fail(k->err, LU_ERR_NOMEM, 0, 0, "no room for the board");
}

static lu_status bad_spot(builder *k, lu_status s, lu_spot at, const char *format, const char *a,
                          const char *b)
{
  char text[220];
  /* the format is one of ours; a and b are cut to keep the message readable */
  char a2[80], b2[80];
  snprintf(a2, sizeof a2, "%.70s", a ? a : "");
  snprintf(b2, sizeof b2, "%.70s", b ? b : "");
#pragma GCC diagnostic push
#pragma GCC diagnostic ignored "-Wformat-nonliteral"
  snprintf(text, sizeof text, format, a2, b2);
#pragma GCC diagnostic pop
  lu_fail(k->err, s, at.line, at.column, "%s", text);
  return lu_fail_source(k->err, s, k->file->path);
}

static lu_status not_there(builder *k, lu_spot at, const char *what, const char *near)
{
  char format[120];
  snprintf(format, sizeof format, near ? "%s '%%s' is not on this board; the nearest is '%%s'"
                                       : "%s '%%s' is not on this board%%s",
           what);
  return bad_spot(k, LU_ERR_MISSING, at, format, at.text, near);
}

static bool note(builder *k, char *text)
{
  lu_board *b = k->b;
  const char **p = lu_arena_grow(k->mem, (void *)(uintptr_t)b->notes, b->note_count, &k->note_room,
                                 sizeof *p);
  if (!p || !text)
    return false;
  b->notes = p;
  b->notes[b->note_count++] = text;
  return true;
}

static bool add_part(builder *k, const char *ref, uint32_t *out)
{
  lu_board *b = k->b;
  lu_part *p = lu_arena_grow(k->mem, b->parts, b->part_count, &k->part_room, sizeof *p);
  if (!p || !lu_map_add(&k->parts, ref, (uint32_t)b->part_count, out))
    return false;
  b->parts = p;
  if (*out == b->part_count)
    b->parts[b->part_count++] = (lu_part){.ref = ref};
  return true;
}

static bool add_net(builder *k, const char *name, uint32_t *out)
{
  lu_board *b = k->b;
  lu_net *p = lu_arena_grow(k->mem, b->nets, b->net_count, &k->net_room, sizeof *p);
  if (!p || !lu_map_add(&k->nets, name, (uint32_t)b->net_count, out))
    return false;
  b->nets = p;
  if (*out == b->net_count)
    b->nets[b->net_count++] = (lu_net){.name = name};
  return true;
}

/* The pin REF.NUMBER; made if new. */
static bool add_pin(builder *k, uint32_t part, const char *number, uint32_t *out)
{
  lu_board *b = k->b;
  const char *name = lu_arena_printf(k->mem, "%s.%s", b->parts[part].ref, number);
  size_t room = k->pin_room;
  lu_pin *p = lu_arena_grow(k->mem, b->pins, b->pin_count, &k->pin_room, sizeof *p);
  const char **f = lu_arena_grow(k->mem, (void *)(uintptr_t)k->pin_function, b->pin_count, &room,
                                 sizeof *f);
  if (!name || !p || !f || !lu_map_add(&k->pins, name, (uint32_t)b->pin_count, out))
    return false;
  b->pins = p;
  k->pin_function = f;
  if (*out == b->pin_count)
    b->pins[b->pin_count++] = (lu_pin){
        .part = part, .net = LU_NONE, .type_pin = UINT16_MAX, .number = number, .name = name};
  return true;
}

static lu_status take_netlist(builder *k, const lu_netlist *n)
{
  for (size_t i = 0; i < n->part_count; i++) {
    uint32_t part;
    if (!add_part(k, n->parts[i].ref, &part))
      return no_room(k);
    k->b->parts[part].value = n->parts[i].value ? n->parts[i].value : n->parts[i].library;
  }
  for (size_t i = 0; i < n->net_count; i++) {
    uint32_t net, pin, part;
    if (!add_net(k, n->nets[i].name, &net))
      return no_room(k);
    for (uint32_t j = 0; j < n->nets[i].pin_count; j++) {
      const lu_net_pin *q = &n->pins[n->nets[i].first_pin + j];
      if (!add_part(k, n->parts[q->part].ref, &part) || !add_pin(k, part, q->number, &pin))
        return no_room(k);
      k->b->pins[pin].net = net;
      if (q->function && *q->function)
        k->pin_function[pin] = q->function;
    }
  }
  return LU_OK;
}

/* "U8.40" -> part and number. */
static lu_status split_pin(builder *k, lu_spot s, const char **ref, const char **number)
{
  const char *dot = strrchr(s.text, '.');
  if (!dot || dot == s.text || !dot[1])
    return bad_spot(k, LU_ERR_SYNTAX, s, "expected a pin such as U8.40, found '%s'%s", s.text, "");
  *ref = lu_arena_text(k->mem, s.text, (size_t)(dot - s.text));
  *number = dot + 1;
  return *ref ? LU_OK : no_room(k);
}

static lu_status take_typed_nets(builder *k)
{
  for (size_t i = 0; i < k->file->net_count; i++) {
    const lu_file_net *n = &k->file->nets[i];
    uint32_t net, part, pin;
    if (!add_net(k, n->name.text, &net))
      return no_room(k);
    for (size_t j = 0; j < n->pins.count; j++) {
      const char *ref = NULL, *number = NULL;
      lu_status s = split_pin(k, n->pins.at[j], &ref, &number);
      if (s)
        return s;
      if (!add_part(k, ref, &part) || !add_pin(k, part, number, &pin))
        return no_room(k);
      lu_pin *p = &k->b->pins[pin];
      if (p->typed && p->net != net)
        return bad_spot(k, LU_ERR_VALUE, n->pins.at[j], "nets: the pin %s already stands on net %s", p->name,
                        k->b->nets[p->net].name);
      p->typed = true;
      if (p->net != LU_NONE && p->net != net &&
          !note(k, lu_arena_printf(k->mem, "%s: net %s of the board file replaces %s of the netlist",
                                   p->name, n->name.text, k->b->nets[p->net].name)))
        return no_room(k);
      p->net = net;
    }
  }
  return LU_OK;
}

/* --- types -------------------------------------------------------------------------------- */

static const lu_file_part *file_part(const lu_boardfile *f, const char *ref)
{
  for (size_t i = 0; i < f->part_count; i++)
    if (!strcmp(f->parts[i].ref.text, ref))
      return &f->parts[i];
  return NULL;
}

static int custom_pin(const lu_part_pin *pins, size_t count, const char *text)
{
  for (size_t i = 0; i < count; i++)
    if (!strcmp(pins[i].number, text) || lu_function_same(pins[i].function, text))
      return (int)i;
  return -1;
}

/* A pass names a pin by function or by number; a number that was not declared is a pin too. */
static lu_status pass_pin(builder *k, lu_part_pin *pins, size_t *count, lu_spot s, uint16_t *out)
{
  int i = custom_pin(pins, *count, s.text);
  if (i < 0 && !isdigit((unsigned char)s.text[0]))
    return bad_spot(k, LU_ERR_MISSING, s, "passes: no pin '%s' was declared for this part%s", s.text,
                    "");
  if (i < 0) {
    i = (int)*count;
    pins[(*count)++] = (lu_part_pin){.number = s.text, .function = s.text};
  }
  *out = (uint16_t)i;
  return LU_OK;
}

static lu_status custom_type(builder *k, const lu_file_part *fp, const lu_part_type *base,
                             const lu_part_type **out)
{
  size_t most = (base ? base->pin_count : 0) + fp->pin_count + 2 * fp->pass_count;
  size_t cells_most = (base ? base->cell_count : 0) + fp->pass_count;
  lu_part_type *t = LU_NEW(k->mem, lu_part_type, 1);
  lu_part_pin *pins = LU_NEW(k->mem, lu_part_pin, most ? most : 1);
  lu_cell *cells = LU_NEW(k->mem, lu_cell, cells_most ? cells_most : 1);
  if (!t || !pins || !cells)
    return no_room(k);
  if (most > UINT16_MAX)
    return bad_spot(k, LU_ERR_LIMIT, fp->ref, "%s: too many pins%s", fp->ref.text, "");
  size_t count = 0, cell_count = 0;
  if (base) {
    *t = *base;
    memcpy(pins, base->pins, base->pin_count * sizeof *pins);
    count = base->pin_count;
    if (base->cell_count)
      memcpy(cells, base->cells, base->cell_count * sizeof *cells);
    cell_count = base->cell_count;
  } else {
    *t = (lu_part_type){.name = fp->type.text ? fp->type.text : fp->ref.text,
                        .summary = "declared in the board file",
                        .source = "board file",
                        .kind = LU_PART_CUSTOM};
  }
  for (size_t i = 0; i < fp->pin_count; i++) {
    lu_part_pin p = {.number = fp->pins[i].number.text};
    lu_role_of_function(fp->pins[i].function.text, &p);
    p.function = fp->pins[i].function.text;
    if (!base)
      p.role = p.role == LU_ROLE_SUPPLY || p.role == LU_ROLE_GROUND ? p.role : LU_ROLE_NONE;
    pins[count++] = p;
  }
  for (size_t i = 0; i < fp->pass_count; i++) {
    const lu_file_pass *q = &fp->passes[i];
    lu_cell *c = &cells[cell_count++];
    /* without a phase it may serve a data line: then it goes the way of the access */
    *c = (lu_cell){.kind = q->both_ways   ? LU_CELL_WIRE
                           : q->phase.text ? LU_CELL_AND
                                           : LU_CELL_TRANSCEIVER,
                   .inverted = q->inverted,
                   .input_count = 1,
                   .output_count = 1,
                   .off = LU_OFF_FLOATS};
    if (q->phase.text)
      c->phase = q->phase.text[0] == 'r' ? LU_PHASE_ROW : LU_PHASE_COLUMN;
    lu_status s = pass_pin(k, pins, &count, q->from, &c->inputs[0]);
    if (!s)
      s = pass_pin(k, pins, &count, q->to, &c->outputs[0]);
    if (s)
      return s;
  }
  t->pins = pins;
  t->pin_count = (uint16_t)count;
  t->cells = cells;
  t->cell_count = (uint16_t)cell_count;
  *out = t;
  return LU_OK;
}

static bool sort_by_part(builder *k)
{
  const lu_board *b = k->b;
  k->part_first = LU_NEW(k->mem, uint32_t, b->part_count + 2);
  k->by_part = LU_NEW(k->mem, uint32_t, b->pin_count + 1);
  if (!k->part_first || !k->by_part)
    return false;
  for (size_t i = 0; i < b->pin_count; i++)
    k->part_first[b->pins[i].part + 2]++;
  for (size_t i = 2; i < b->part_count + 2; i++)
    k->part_first[i] += k->part_first[i - 1];
  for (uint32_t i = 0; i < b->pin_count; i++)
    k->by_part[k->part_first[b->pins[i].part + 1]++] = i;
  return true;
}

/* The pins of a part that stand on nets, as parallel lists. */
static lu_status list_pins(builder *k, uint32_t part, const char ***numbers, const char ***functions,
                           size_t *count)
{
  size_t n = k->part_first[part + 1] - k->part_first[part];
  const char **a = lu_arena_array(k->mem, n + 1, sizeof *a), **f = lu_arena_array(k->mem, n + 1, sizeof *f);
  if (!a || !f)
    return no_room(k);
  for (size_t i = 0; i < n; i++) {
    uint32_t pin = k->by_part[k->part_first[part] + i];
    a[i] = k->b->pins[pin].number;
    f[i] = k->pin_function[pin] ? k->pin_function[pin] : "";
  }
  *numbers = a;
  *functions = f;
  *count = n;
  return LU_OK;
}

static bool is_chip(const lu_boardfile *f, const char *ref, lu_spot *at)
{
  for (size_t i = 0; i < f->block_count; i++)
    for (size_t j = 0; j < f->blocks[i].chips.count; j++)
      if (!strcmp(f->blocks[i].chips.at[j].text, ref)) {
        *at = f->blocks[i].chips.at[j];
        return true;
      }
  return false;
}

/* A memory that is not built in: roles from the functions of the file or of the netlist. */
static lu_status memory_type(builder *k, uint32_t part, const lu_file_part *fp, lu_spot at,
                             const lu_part_type **out)
{
  const char **numbers, **functions;
  size_t count;
  lu_status s;
  if (fp && fp->pin_count) {
    count = fp->pin_count;
    numbers = lu_arena_array(k->mem, count, sizeof *numbers);
    functions = lu_arena_array(k->mem, count, sizeof *functions);
    if (!numbers || !functions)
      return no_room(k);
    for (size_t i = 0; i < count; i++) {
      numbers[i] = fp->pins[i].number.text;
      functions[i] = fp->pins[i].function.text;
    }
  } else if ((s = list_pins(k, part, &numbers, &functions, &count))) {
    return s;
  }
  lu_part_type *t;
  lu_err inner = {0};
  s = lu_memory_from_functions(k->b->parts[part].ref, numbers, functions, count, k->mem, &t, &inner);
  if (s == LU_ERR_NOMEM)
    return no_room(k);
  if (s)
    return bad_spot(k, LU_ERR_VALUE, at, "%s is listed as a memory chip, but its type is not known: %s",
                    k->b->parts[part].ref, inner.message);
  *out = t;
  return LU_OK;
}

static lu_status set_type(builder *k, uint32_t part)
{
  lu_part *p = &k->b->parts[part];
  const lu_file_part *fp = file_part(k->file, p->ref);
  const char *type = fp && fp->type.text ? fp->type.text : p->value;
  const lu_part_type *t = type ? lu_part_named(type) : NULL;
  lu_status s = LU_OK;
  if (!t && type)
    t = lu_part_recognise(type);
  lu_spot chip_at = {0};
  bool chip = is_chip(k->file, p->ref, &chip_at);
  if (chip && !(t && t->memory.is_memory))
    s = memory_type(k, part, fp, chip_at, &t);
  else if (fp && (fp->pin_count || fp->pass_count))
    s = custom_type(k, fp, t, &t);
  if (s)
    return s;
  if (!t && !fp) {
    const char **numbers, **functions;
    size_t count;
    if ((s = list_pins(k, part, &numbers, &functions, &count)))
      return s;
    if (lu_passive_type(p->ref, p->value ? p->value : "", numbers, count, k->mem, &t))
      return no_room(k);
  }
  p->type = t;
  return LU_OK;
}

static const char *pin_number_of(const lu_board *b, uint32_t part, const char *text);

/* nets: lines may name a pin by function (U8.MA0); such pins become the numbered pin. */
static lu_status settle_functions(builder *k)
{
  lu_board *b = k->b;
  size_t n = b->pin_count;
  for (size_t i = 0; i < n; i++) {
    lu_pin *p = &b->pins[i];
    const char *number = pin_number_of(b, p->part, p->number);
    if (!number || !strcmp(number, p->number))
      continue;
    uint32_t real;
    uint32_t net = p->net;
    if (!add_pin(k, p->part, number, &real))
      return no_room(k);
    if (b->pins[real].net == LU_NONE)
      b->pins[real].net = net;
    b->pins[i].net = LU_NONE;
  }
  return LU_OK;
}

/* A number that the type does not have, but which is a function of it: the pin's number. */
static const char *pin_number_of(const lu_board *b, uint32_t part, const char *text)
{
  const lu_part_type *t = b->parts[part].type;
  if (!t || lu_part_pin_by_number(t, text) >= 0)
    return NULL;
  int i = lu_part_pin_by_function(t, text);
  return i < 0 ? NULL : t->pins[i].number;
}

static lu_status add_type_pins(builder *k)
{
  lu_board *b = k->b;
  for (uint32_t i = 0; i < b->part_count; i++) {
    const lu_part_type *t = b->parts[i].type;
    for (uint16_t j = 0; t && j < t->pin_count; j++) {
      uint32_t pin;
      if (!add_pin(k, i, t->pins[j].number, &pin))
        return no_room(k);
      b->pins[pin].type_pin = j;
    }
  }
  return LU_OK;
}

static bool supply_name(const char *n, bool *ground)
{
  static const char *const low[] = {"GND", "VSS", "AGND", "DGND", "0V", "GNDD", "EARTH", "VSSA"};
  static const char *const high[] = {"VCC", "VDD", "+5V", "5V", "+3V3", "+12V", "-5V", "-12V", "VBAT", "VPP", "+3.3V", "VBB"};
  const char *tail = strrchr(n, '/');
  tail = tail ? tail + 1 : n;
  for (size_t i = 0; i < sizeof low / sizeof *low; i++)
    if (lu_text_same(tail, low[i]))
      return *ground = true;
  for (size_t i = 0; i < sizeof high / sizeof *high; i++)
    if (lu_text_same(tail, high[i]))
      return *ground = false, true;
  return false;
}

/* A pin typed in under nets must be one that its part has, where the part is known. */
static lu_status check_typed(builder *k)
{
  for (size_t i = 0; i < k->file->net_count; i++)
    for (size_t j = 0; j < k->file->nets[i].pins.count; j++) {
      lu_spot spot = k->file->nets[i].pins.at[j];
      uint32_t pin = lu_map_get(&k->pins, spot.text);
      if (pin == LU_NONE)
        continue;
      const lu_part *p = &k->b->parts[k->b->pins[pin].part];
      if (p->type && p->type->kind != LU_PART_CUSTOM && p->type->kind != LU_PART_PASSIVE &&
          lu_part_named(p->type->name) == p->type && k->b->pins[pin].type_pin == UINT16_MAX && k->b->pins[pin].net != LU_NONE)
        return bad_spot(k, LU_ERR_MISSING, spot, "nets: '%s' is no pin of a %s", spot.text, p->type->name);
    }
  return LU_OK;
}

static bool index_pins(builder *k)
{
  lu_board *b = k->b;
  b->part_pins = LU_NEW(k->mem, uint32_t, b->pin_count + 1);
  b->net_pins = LU_NEW(k->mem, uint32_t, b->pin_count + 1);
  if (!b->part_pins || !b->net_pins)
    return false;
  for (size_t i = 0; i < b->pin_count; i++) {
    b->parts[b->pins[i].part].pin_count++;
    if (b->pins[i].net != LU_NONE)
      b->nets[b->pins[i].net].pin_count++;
  }
  uint32_t at = 0;
  for (size_t i = 0; i < b->part_count; i++) {
    b->parts[i].first_pin = at;
    at += b->parts[i].pin_count;
    b->parts[i].pin_count = 0;
  }
  at = 0;
  for (size_t i = 0; i < b->net_count; i++) {
    b->nets[i].first_pin = at;
    at += b->nets[i].pin_count;
    b->nets[i].pin_count = 0;
  }
  for (uint32_t i = 0; i < b->pin_count; i++) {
    lu_part *p = &b->parts[b->pins[i].part];
    b->part_pins[p->first_pin + p->pin_count++] = i;
    if (b->pins[i].net != LU_NONE) {
      lu_net *n = &b->nets[b->pins[i].net];
      b->net_pins[n->first_pin + n->pin_count++] = i;
    }
  }
  return true;
}

static void settle_pins(builder *k)
{
  lu_board *b = k->b;
  for (uint32_t i = 0; i < b->pin_count; i++) {
    const lu_part_pin *t = lu_pin_type(b, i);
    b->pins[i].function = t && strcmp(t->function, t->number) ? t->function
                          : k->pin_function[i] ? k->pin_function[i]
                                               : b->pins[i].number;
    if (b->pins[i].net == LU_NONE || !t)
      continue;
    lu_net *n = &b->nets[b->pins[i].net];
    n->ground |= t->role == LU_ROLE_GROUND;
    n->supply |= t->role == LU_ROLE_SUPPLY;
  }
  for (size_t i = 0; i < b->net_count; i++) {
    bool ground;
    if (!supply_name(b->nets[i].name, &ground))
      continue;
    b->nets[i].ground = ground;
    b->nets[i].supply = !ground;
  }
}

/* --- vantages and blocks ------------------------------------------------------------------- */

/* A pin that carries several functions: "AD3" is A3 and D3, "A16/S3" is A16 and S3. */
static bool shared_name(const char *function, const char *text)
{
  if (function[0] == 'A' && function[1] == 'D' && isdigit((unsigned char)function[2]))
    return (text[0] == 'A' || text[0] == 'D') && !strcmp(function + 2, text + 1);
  const char *slash = strchr(function, '/');
  size_t n = strlen(text);
  return slash && slash > function &&
         ((n == (size_t)(slash - function) && !strncmp(function, text, n)) || !strcmp(slash + 1, text));
}

/* One bit of a vantage: "net:NAME", a pin function or a pin number of its part. */
static lu_status vantage_bit(builder *k, const lu_vantage *v, lu_spot s, uint32_t *pin, uint32_t *net)
{
  lu_board *b = k->b;
  *pin = LU_NONE;
  if (!strncmp(s.text, "net:", 4)) {
    *net = lu_board_net(b, s.text + 4);
    if (*net == LU_NONE) {
      lu_spot t = s;
      t.text += 4;
      return not_there(k, t, "the net", lu_board_nearest_net(b, t.text));
    }
    for (uint32_t i = 0; v->part != LU_NONE && i < b->nets[*net].pin_count; i++)
      if (b->pins[b->net_pins[b->nets[*net].first_pin + i]].part == v->part)
        *pin = b->net_pins[b->nets[*net].first_pin + i];
    return LU_OK;
  }
  if (v->part == LU_NONE)
    return bad_spot(k, LU_ERR_VALUE, s, "'%s' is a pin, but the vantage has no 'at'%s", s.text, "");
  const lu_part *p = &b->parts[v->part];
  const char *names[512];
  size_t n = 0;
  for (int pass = 0; pass < 2 && *pin == LU_NONE; pass++)
    for (uint32_t i = 0; i < p->pin_count && *pin == LU_NONE; i++) {
      const lu_pin *q = &b->pins[b->part_pins[p->first_pin + i]];
      const lu_part_pin *t = lu_pin_type(b, b->part_pins[p->first_pin + i]);
      bool hit = pass ? !strcmp(q->number, s.text)
                      : lu_function_same(q->function, s.text) || (t && shared_name(q->function, s.text));
      if (hit)
        *pin = b->part_pins[p->first_pin + i];
      if (n < 512 && !pass)
        names[n++] = q->function;
    }
  if (*pin == LU_NONE) {
    const char *near = lu_text_nearest(s.text, names, n);
    return bad_spot(k, LU_ERR_MISSING, s,
                    near ? "the vantage's part has no pin '%s'; the nearest is '%s'"
                         : "the vantage's part has no pin '%s'%s",
                    s.text, near);
  }
  *net = b->pins[*pin].net;
  if (*net == LU_NONE)
    return bad_spot(k, LU_ERR_VALUE, s, "the pin %s (%s) is on no net", b->pins[*pin].name, s.text);
  return LU_OK;
}

static lu_status vantage_bits(builder *k, lu_vantage *v, const lu_spots *from, uint32_t *pins,
                              uint32_t *nets, uint16_t first)
{
  for (size_t i = 0; i < from->count; i++) {
    lu_status s = vantage_bit(k, v, from->at[i], &pins[first + i], &nets[first + i]);
    if (s)
      return s;
    for (size_t j = 0; j < i; j++)
      if (nets[first + i] == nets[first + j])
        return bad_spot(k, LU_ERR_VALUE, from->at[i], "two bits of one vantage on one net: '%s' stands on %s",
                        from->at[i].text, k->b->nets[nets[first + i]].name);
  }
  return LU_OK;
}

static lu_status build_strobes(builder *k, lu_vantage *v, const lu_file_vantage *f)
{
  v->strobes = LU_NEW(k->mem, lu_strobe, f->strobe_count + 1);
  if (!v->strobes)
    return no_room(k);
  v->strobe_count = f->strobe_count;
  for (size_t i = 0; i < f->strobe_count; i++) {
    lu_strobe *s = &v->strobes[i];
    *s = (lu_strobe){.name = f->strobes[i].name.text, .active_low = f->strobes[i].active_low};
    lu_status bad = vantage_bit(k, v, f->strobes[i].pin, &s->pin, &s->net);
    if (bad)
      return bad;
  }
  return LU_OK;
}

static lu_status build_vantage(builder *k, const lu_file_vantage *f, lu_vantage *v)
{
  *v = (lu_vantage){.name = f->name.text, .part = LU_NONE, .big_endian = f->big_endian};
  if (f->at.text) {
    v->part = lu_board_part(k->b, f->at.text);
    if (v->part == LU_NONE)
      return not_there(k, f->at, "the part", lu_board_nearest_part(k->b, f->at.text));
  }
  lu_status s;
  if (f->row.count) {
    v->multiplexed = true;
    v->row_bits = (uint16_t)f->row.count;
    v->column_bits = (uint16_t)f->column.count;
    v->address_bits = (uint16_t)(v->row_bits + v->column_bits);
    s = vantage_bits(k, v, &f->column, v->address_pin, v->address_net, 0);
    if (!s)
      s = vantage_bits(k, v, &f->row, v->address_pin, v->address_net, v->column_bits);
  } else {
    v->address_bits = (uint16_t)f->address.count;
    s = vantage_bits(k, v, &f->address, v->address_pin, v->address_net, 0);
  }
  v->data_bits = (uint16_t)f->data.count;
  v->bytes = v->data_bits <= 8 ? 1 : v->data_bits <= 16 ? 2 : v->data_bits <= 32 ? 4 : 8;
  if (!s)
    s = vantage_bits(k, v, &f->data, v->data_pin, v->data_net, 0);
  return s ? s : build_strobes(k, v, f);
}

static lu_status build_block(builder *k, const lu_file_block *f, lu_block *out)
{
  lu_board *b = k->b;
  *out = (lu_block){.name = f->name.text, .base = f->base, .size = f->size, .rom = f->rom};
  out->vantage = lu_board_vantage(b, f->seen_from.text);
  if (out->vantage == LU_NONE)
    return not_there(k, f->seen_from, "the vantage", NULL);
  unsigned bytes = b->vantages[out->vantage].bytes;
  if (f->size % bytes || f->base % bytes)
    return bad_spot(k, LU_ERR_VALUE, f->name, "block '%s': base and size must be whole words%s",
                    f->name.text, "");
  out->chip_count = f->chips.count;
  out->chips = LU_NEW(k->mem, uint32_t, f->chips.count);
  if (!out->chips)
    return no_room(k);
  for (size_t i = 0; i < f->chips.count; i++) {
    out->chips[i] = lu_board_part(b, f->chips.at[i].text);
    if (out->chips[i] == LU_NONE)
      return not_there(k, f->chips.at[i], "the part", lu_board_nearest_part(b, f->chips.at[i].text));
    for (size_t j = 0; j < i; j++)
      if (out->chips[j] == out->chips[i])
        return bad_spot(k, LU_ERR_VALUE, f->chips.at[i], "the chip '%s' stands twice%s",
                        f->chips.at[i].text, "");
  }
  return LU_OK;
}

static lu_status look_up_all(builder *k)
{
  lu_board *b = k->b;
  const lu_boardfile *f = k->file;
  for (size_t i = 0; i < f->part_count; i++)
    if (lu_map_get(&k->parts, f->parts[i].ref.text) == LU_NONE)
      return not_there(k, f->parts[i].ref, "the part", lu_board_nearest_part(b, f->parts[i].ref.text));
  for (size_t i = 0; i < f->sockets.count; i++) {
    uint32_t p = lu_board_part(b, f->sockets.at[i].text);
    if (p == LU_NONE)
      return not_there(k, f->sockets.at[i], "the part", lu_board_nearest_part(b, f->sockets.at[i].text));
    b->parts[p].socketed = true;
  }
  b->vantages = LU_NEW(k->mem, lu_vantage, f->vantage_count + 1);
  b->blocks = LU_NEW(k->mem, lu_block, f->block_count + 1);
  if (!b->vantages || !b->blocks)
    return no_room(k);
  for (size_t i = 0; i < f->vantage_count; i++) {
    lu_status s = build_vantage(k, &f->vantages[i], &b->vantages[i]);
    if (s)
      return s;
    b->vantage_count++;
  }
  for (size_t i = 0; i < f->block_count; i++) {
    lu_status s = build_block(k, &f->blocks[i], &b->blocks[i]);
    if (s)
      return s;
    b->block_count++;
  }
  for (size_t i = 0; i < f->damage_count; i++) {
    const lu_file_damage *d = &f->damage[i];
    if (d->around.text && lu_board_part(b, d->around.text) == LU_NONE)
      return not_there(k, d->around, "the part", lu_board_nearest_part(b, d->around.text));
    for (size_t j = 0; j < d->parts.count; j++)
      if (lu_board_part(b, d->parts.at[j].text) == LU_NONE)
        return not_there(k, d->parts.at[j], "the part", lu_board_nearest_part(b, d->parts.at[j].text));
    for (size_t j = 0; j < d->nets.count; j++)
      if (lu_board_net(b, d->nets.at[j].text) == LU_NONE)
        return not_there(k, d->nets.at[j], "the net", lu_board_nearest_net(b, d->nets.at[j].text));
  }
  return LU_OK;
}

lu_status lu_board_build(const lu_boardfile *file, const lu_netlist *netlist, lu_arena *mem,
                         lu_board **out, lu_err *err)
{
  builder k = {.file = file, .mem = mem, .err = err};
  k.parts.mem = k.nets.mem = k.pins.mem = mem;
  k.b = LU_NEW(mem, lu_board, 1);
  if (!k.b)
    return no_room(&k);
  k.b->title = file->title.text;
  k.b->path = file->path;
  k.b->file = file;
  k.b->netlist = netlist;
  lu_status s = netlist ? take_netlist(&k, netlist) : LU_OK;
  if (!s)
    s = take_typed_nets(&k);
  if (!s && !sort_by_part(&k))
    s = no_room(&k);
  for (uint32_t i = 0; !s && i < k.b->part_count; i++)
    s = set_type(&k, i);
  if (!s)
    s = settle_functions(&k);
  if (!s)
    s = add_type_pins(&k);
  if (!s)
    s = check_typed(&k);
  if (!s && !index_pins(&k))
    s = no_room(&k);
  if (!s) {
    settle_pins(&k);
    s = look_up_all(&k);
  }
  if (!s)
    s = lu_places_build(k.b, mem, &k.b->places, err);
  if (!s)
    s = lu_damage_build(k.b, mem, &k.b->damage, err);
  if (s)
    return s;
  *out = k.b;
  return LU_OK;
}

/* --- looking things up ---------------------------------------------------------------------- */

uint32_t lu_board_part(const lu_board *b, const char *ref)
{
  for (uint32_t i = 0; i < b->part_count; i++)
    if (!strcmp(b->parts[i].ref, ref))
      return i;
  return LU_NONE;
}

uint32_t lu_board_net(const lu_board *b, const char *name)
{
  for (uint32_t i = 0; i < b->net_count; i++)
    if (!strcmp(b->nets[i].name, name))
      return i;
  for (uint32_t i = 0; i < b->net_count; i++)
    if (b->nets[i].name[0] == '/' && !strcmp(b->nets[i].name + 1, name))
      return i;
  return LU_NONE;
}

uint32_t lu_board_pin(const lu_board *b, const char *name)
{
  const char *dot = strrchr(name, '.');
  for (uint32_t i = 0; i < b->pin_count; i++)
    if (!strcmp(b->pins[i].name, name))
      return i;
  for (uint32_t i = 0; dot && i < b->pin_count; i++) {
    const char *ref = b->parts[b->pins[i].part].ref;
    if (!strncmp(ref, name, (size_t)(dot - name)) && !ref[dot - name] &&
        lu_function_same(b->pins[i].function, dot + 1))
      return i;
  }
  return LU_NONE;
}

uint32_t lu_board_vantage(const lu_board *b, const char *name)
{
  for (uint32_t i = 0; i < b->vantage_count; i++)
    if (!strcmp(b->vantages[i].name, name))
      return i;
  return LU_NONE;
}

uint32_t lu_board_block(const lu_board *b, const char *name)
{
  for (uint32_t i = 0; i < b->block_count; i++)
    if (lu_text_same(b->blocks[i].name, name))
      return i;
  return LU_NONE;
}

enum { OFFER_MOST = 2048 };

const char *lu_board_nearest_part(const lu_board *b, const char *ref)
{
  const char *names[OFFER_MOST];
  size_t n = 0;
  for (; n < b->part_count && n < OFFER_MOST; n++)
    names[n] = b->parts[n].ref;
  return lu_text_nearest(ref, names, n);
}

const char *lu_board_nearest_net(const lu_board *b, const char *name)
{
  const char *names[OFFER_MOST];
  size_t n = 0;
  for (; n < b->net_count && n < OFFER_MOST; n++)
    names[n] = b->nets[n].name;
  return lu_text_nearest(name, names, n);
}

const char *lu_board_nearest_block(const lu_board *b, const char *name)
{
  const char *names[OFFER_MOST];
  size_t n = 0;
  for (; n < b->block_count && n < OFFER_MOST; n++)
    names[n] = b->blocks[n].name;
  return lu_text_nearest(name, names, n);
}

/* --- boards that are made, not read --------------------------------------------------------- */

static bool plain_net(lu_arena *mem, lu_file_net *net, lu_file_pin *pin, lu_spots *bus, char kind,
                      unsigned bit)
{
  const char *name = lu_arena_printf(mem, "%c%u", kind, bit);
  lu_spot *pins = LU_NEW(mem, lu_spot, 2);
  if (!name || !pins)
    return false;
  pins[0].text = lu_arena_printf(mem, "reader.%s", name);
  pins[1].text = lu_arena_printf(mem, "memory.%s", name);
  net->name.text = name;
  net->pins = (lu_spots){2, pins};
  pin->function.text = pin->number.text = name;
  bus->at[bus->count].text = lu_arena_printf(mem, "net:%s", name);
  return pins[0].text && pins[1].text && bus->at[bus->count++].text;
}

lu_status lu_board_plain(unsigned address_bits, unsigned data_bits, lu_arena *mem, lu_board **out,
                         lu_err *err)
{
  unsigned n = address_bits + data_bits;
  lu_boardfile *f = LU_NEW(mem, lu_boardfile, 1);
  lu_file_net *nets = LU_NEW(mem, lu_file_net, n);
  lu_file_pin *pins = LU_NEW(mem, lu_file_pin, n);
  lu_file_part *part = LU_NEW(mem, lu_file_part, 1);
  lu_file_vantage *v = LU_NEW(mem, lu_file_vantage, 1);
  lu_file_block *block = LU_NEW(mem, lu_file_block, 1);
  lu_spot *bits = LU_NEW(mem, lu_spot, n + 1);
  bool ok = f && nets && pins && part && v && block && bits;
  if (ok) {
    v->address.at = bits;
    v->data.at = bits + address_bits;
  }
  for (unsigned i = 0; ok && i < n; i++)
    ok = i < address_bits
             ? plain_net(mem, &nets[i], &pins[i], &v->address, 'A', i)
             : plain_net(mem, &nets[i], &pins[i], &v->data, 'D', i - address_bits);
  if (!ok)
    return lu_fail(err, LU_ERR_NOMEM, 0, 0, "no room for the board");
  part->ref.text = "memory";
  part->pin_count = n;
  part->pins = pins;
  v->name.text = v->at.text = "reader";
  bits[n].text = "memory";
  *block = (lu_file_block){.size = ((uint64_t)1 << address_bits) * (data_bits <= 8 ? 1 : data_bits <= 16 ? 2 : data_bits <= 32 ? 4 : 8),
                           .chips = {1, &bits[n]}};
  block->name.text = "memory";
  block->seen_from.text = "reader";
  *f = (lu_boardfile){.path = "no board",
                      .net_count = n,
                      .nets = nets,
                      .part_count = 1,
                      .parts = part,
                      .vantage_count = 1,
                      .vantages = v,
                      .block_count = 1,
                      .blocks = block};
  return lu_board_build(f, NULL, mem, out, err);
}

lu_status lu_board_chip_vantage(lu_board *b, uint32_t part, lu_arena *mem, uint32_t *vantage,
                                lu_err *err)
{
  const lu_part *p = &b->parts[part];
  lu_vantage *more = LU_NEW(mem, lu_vantage, b->vantage_count + 1);
  const char *name = lu_arena_printf(mem, "chip:%s", p->ref);
  if (!more || !name)
    return lu_fail(err, LU_ERR_NOMEM, 0, 0, "no room for a vantage");
  if (!p->type || !p->type->memory.is_memory)
    return lu_fail(err, LU_ERR_VALUE, 0, 0, "%s is no memory chip that is known", p->ref);
  memcpy(more, b->vantages, b->vantage_count * sizeof *more);
  lu_vantage *v = &more[b->vantage_count];
  const lu_memory_shape *m = &p->type->memory;
  *v = (lu_vantage){.name = name, .part = part, .chip = true};
  for (int i = 0; i < 64; i++)
    v->address_pin[i] = v->data_pin[i] = v->address_net[i] = v->data_net[i] = LU_NONE;
  v->multiplexed = m->multiplexed;
  v->row_bits = m->row_bits;
  v->column_bits = m->column_bits;
  v->address_bits = m->multiplexed ? (uint16_t)(m->row_bits + m->column_bits) : m->address_pins;
  v->data_bits = m->data_bits;
  v->bytes = v->data_bits <= 8 ? 1 : v->data_bits <= 16 ? 2 : v->data_bits <= 32 ? 4 : 8;
  b->vantages = more;
  *vantage = (uint32_t)b->vantage_count++;
  return LU_OK;
}
