/* SPDX-License-Identifier: MIT */
#include "reason/network.h"

#include "reason/sim.h"

#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>

enum { NETS_MOST = 4000, ELEMS_MOST = 8000, CHIPS_MOST = 128 };

/* A source whose level is found out by asking what a healthy board needs. */
typedef struct oracle {
  bool set[LU_MOMENTS], low;
  bool polarity_known;
  lu_fn active[LU_MOMENTS];
} oracle;

typedef struct builder {
  lu_network *n;
  const lu_board *b;
  const lu_block *block;
  const lu_vantage *v;
  lu_arena *mem;
  lu_err *err;
  uint16_t *net_of;    /* by board net */
  uint16_t *pin_of;    /* by board pin */
  uint16_t *part_of;   /* by board part */
  uint16_t *chip_of;   /* by board part: chip number */
  size_t net_room, pin_room, elem_room, part_room, note_room;
  uint16_t *queue;     /* nets in order of discovery = net index */
  oracle *oracles;     /* by element */
  lu_sim *sim;
  int *distance;       /* by net: steps from the vantage's data pins */
} builder;

static lu_status no_room(builder *k)
{
  return lu_fail(k->err, LU_ERR_NOMEM, 0, 0, "no room for the network");
}

static lu_status wrong(builder *k, const char *format, ...) __attribute__((format(printf, 2, 3)));
static lu_status wrong(builder *k, const char *format, ...)
{
  char text[220];
  va_list ap;
  va_start(ap, format);
  vsnprintf(text, sizeof text, format, ap);
  va_end(ap);
  uint32_t line = 0, column = 0;
  const lu_boardfile *f = k->b->file;
  for (size_t i = 0; f && i < f->block_count; i++)
    if (k->block && !strcmp(f->blocks[i].name.text, k->block->name)) {
      line = f->blocks[i].line;
      column = f->blocks[i].column;
    }
  lu_fail(k->err, LU_ERR_VALUE, line, column, "%s", text);
  return lu_fail_source(k->err, LU_ERR_VALUE, k->b->path);
}

static bool note(builder *k, char *text)
{
  const char **p = lu_arena_grow(k->mem, (void *)(uintptr_t)k->n->notes, k->n->note_count,
                                 &k->note_room, sizeof *p);
  if (!p || !text)
    return false;
  k->n->notes = p;
  for (size_t i = 0; i < k->n->note_count; i++)
    if (!strcmp(p[i], text))
      return true;
  p[k->n->note_count++] = text;
  return true;
}

const char *lu_network_pin_name(const lu_network *n, uint16_t npin)
{
  return n->pins[npin].pin == LU_NONE ? "the vantage" : n->board->pins[n->pins[npin].pin].name;
}

const char *lu_network_net_name(const lu_network *n, uint16_t net)
{
  const lu_nnet *x = &n->nets[net];
  if (x->net != LU_NONE)
    return n->board->nets[x->net].name;
  for (unsigned i = 0; i < x->pin_count; i++) {
    uint32_t pin = n->pins[n->net_pins[x->first_pin + i]].pin;
    if (pin != LU_NONE)
      return n->board->pins[pin].name;
  }
  return "?";
}

uint16_t lu_network_net(const lu_network *n, uint32_t board_net)
{
  for (size_t i = 0; i < n->net_count; i++)
    if (n->nets[i].net == board_net && board_net != LU_NONE)
      return (uint16_t)i;
  return UINT16_MAX;
}

uint16_t lu_network_part(const lu_network *n, uint32_t board_part)
{
  for (size_t i = 0; i < n->part_count; i++)
    if (n->parts[i] == board_part)
      return (uint16_t)i;
  return UINT16_MAX;
}

uint16_t lu_network_pin(const lu_network *n, uint32_t board_pin)
{
  for (size_t i = 0; i < n->pin_count; i++)
    if (n->pins[i].pin == board_pin)
      return (uint16_t)i;
  return UINT16_MAX;
}

/* --- scope ---------------------------------------------------------------------------------- */

static uint16_t add_part(builder *k, uint32_t part)
{
  if (part == LU_NONE)
    return UINT16_MAX;
  if (k->part_of[part] != UINT16_MAX)
    return k->part_of[part];
  uint32_t *p = lu_arena_grow(k->mem, k->n->parts, k->n->part_count, &k->part_room, sizeof *p);
  if (!p || k->n->part_count >= UINT16_MAX - 1)
    return UINT16_MAX;
  k->n->parts = p;
  p[k->n->part_count] = part;
  return k->part_of[part] = (uint16_t)k->n->part_count++;
}

static uint16_t new_net(builder *k, uint32_t net)
{
  lu_nnet *p = lu_arena_grow(k->mem, k->n->nets, k->n->net_count, &k->net_room, sizeof *p);
  if (!p || k->n->net_count >= NETS_MOST)
    return UINT16_MAX;
  k->n->nets = p;
  p[k->n->net_count] = (lu_nnet){.net = net};
  return (uint16_t)k->n->net_count++;
}

static uint16_t add_net(builder *k, uint32_t net)
{
  if (k->net_of[net] == UINT16_MAX)
    k->net_of[net] = new_net(k, net);
  return k->net_of[net];
}

static uint16_t add_npin(builder *k, uint32_t pin, uint16_t net)
{
  lu_npin *p = lu_arena_grow(k->mem, k->n->pins, k->n->pin_count, &k->pin_room, sizeof *p);
  if (!p || k->n->pin_count >= UINT16_MAX - 1)
    return UINT16_MAX;
  k->n->pins = p;
  uint16_t part = pin == LU_NONE ? UINT16_MAX : add_part(k, k->b->pins[pin].part);
  p[k->n->pin_count] = (lu_npin){.pin = pin,
                                 .net = net,
                                 .driver = UINT16_MAX,
                                 .part = part,
                                 .chip = UINT16_MAX,
                                 .same_as = UINT16_MAX,
                                 .column = UINT16_MAX};
  return (uint16_t)k->n->pin_count++;
}

static lu_elem *add_elem(builder *k, lu_elem_kind kind, uint16_t part)
{
  lu_elem *p = lu_arena_grow(k->mem, k->n->elems, k->n->elem_count, &k->elem_room, sizeof *p);
  if (!p || k->n->elem_count >= ELEMS_MOST)
    return NULL;
  k->n->elems = p;
  lu_elem *e = &p[k->n->elem_count++];
  *e = (lu_elem){.kind = (uint8_t)kind, .part = part == UINT16_MAX ? 0 : part, .bit2 = UINT16_MAX};
  for (size_t i = 0; i < sizeof e->pins / sizeof *e->pins; i++)
    e->pins[i] = UINT16_MAX;
  return e;
}

/* The board pin of a part by its type's pin index. */
static uint32_t board_pin(const lu_board *b, uint32_t part, uint16_t type_pin)
{
  const lu_part *p = &b->parts[part];
  for (uint32_t i = 0; i < p->pin_count; i++)
    if (b->pins[b->part_pins[p->first_pin + i]].type_pin == type_pin)
      return b->part_pins[p->first_pin + i];
  return LU_NONE;
}

static uint32_t net_at(const lu_board *b, uint32_t part, uint16_t type_pin)
{
  uint32_t pin = board_pin(b, part, type_pin);
  return pin == LU_NONE ? LU_NONE : b->pins[pin].net;
}

static bool want_net(builder *k, uint32_t part, uint16_t type_pin)
{
  uint32_t net = net_at(k->b, part, type_pin);
  return net == LU_NONE || add_net(k, net) != UINT16_MAX;
}

static bool is_constant(const lu_net *n)
{
  return n->supply || n->ground;
}

static bool both_ways(const lu_cell *c)
{
  return c->kind == LU_CELL_TRANSCEIVER || c->kind == LU_CELL_WIRE;
}

/* A resistor to a supply pulls; it is no way for a signal. True if it was one. */
static bool is_pull(builder *k, uint32_t part, const lu_cell *c, uint16_t net)
{
  const char *ref = k->b->parts[part].ref;
  if (c->kind != LU_CELL_WIRE || ref[0] != 'R')
    return false;
  uint32_t a = net_at(k->b, part, c->inputs[0]), b = net_at(k->b, part, c->outputs[0]);
  uint32_t far = a == k->n->nets[net].net ? b : a;
  if (far == LU_NONE || !is_constant(&k->b->nets[far]))
    return false;
  k->n->nets[net].pull = k->b->nets[far].ground ? 2 : 1;
  return true;
}

/* A flip-flop of a control circuit is not followed; a register on a bus (more than 14 pins) is. */
static bool followed(const lu_part_type *t, const lu_cell *c)
{
  return c->kind != LU_CELL_REGISTER || t->pin_count > 14;
}

static bool have_cell(const builder *k, uint32_t part, const lu_cell *c)
{
  for (size_t i = 0; i < k->n->elem_count; i++)
    if (k->n->elems[i].kind == LU_ELEM_CELL && k->n->elems[i].cell == c &&
        k->n->parts[k->n->elems[i].part] == part)
      return true;
  return false;
}

static bool add_cell(builder *k, uint32_t part, const lu_cell *c)
{
  if (have_cell(k, part, c))
    return true;
  lu_elem *e = add_elem(k, LU_ELEM_CELL, add_part(k, part));
  if (!e)
    return false;
  e->cell = c;
  bool ok = true;
  for (unsigned i = 0; i < c->input_count; i++)
    ok &= want_net(k, part, c->inputs[i]);
  for (unsigned i = 0; i < c->select_count; i++)
    ok &= want_net(k, part, c->select[i]);
  for (unsigned i = 0; i < c->enable_count; i++)
    ok &= want_net(k, part, c->enables[i].pin);
  if (c->kind == LU_CELL_LATCH || (c->kind == LU_CELL_TRANSCEIVER && c->has_gate))
    ok &= want_net(k, part, c->gate.pin);
  if (both_ways(c))
    ok &= want_net(k, part, c->outputs[0]);
  return ok;
}

/* Everything that drives a net joins the network. */
static bool follow_net(builder *k, uint16_t net)
{
  if (k->n->nets[net].net == LU_NONE)
    return true;
  const lu_net *bn = &k->b->nets[k->n->nets[net].net];
  if (is_constant(bn))
    return true;
  for (uint32_t i = 0; i < bn->pin_count; i++) {
    const lu_pin *p = &k->b->pins[k->b->net_pins[bn->first_pin + i]];
    const lu_part_type *t = k->b->parts[p->part].type;
    if (!t || p->type_pin == UINT16_MAX || k->chip_of[p->part] != UINT16_MAX)
      continue;
    for (uint16_t c = 0; c < t->cell_count; c++) {
      const lu_cell *x = &t->cells[c];
      bool drives = both_ways(x) && x->inputs[0] == p->type_pin;
      for (unsigned o = 0; o < x->output_count; o++)
        drives |= x->outputs[o] == p->type_pin;
      if (!drives || !followed(t, x) || is_pull(k, p->part, x, net))
        continue;
      if (!add_cell(k, p->part, x))
        return false;
    }
  }
  return true;
}

static bool follow_all(builder *k)
{
  for (size_t i = 0; i < k->n->net_count; i++)
    if (!follow_net(k, (uint16_t)i))
      return false;
  return true;
}

/* --- chips ---------------------------------------------------------------------------------- */

static void chip_pin(lu_chip *c, const lu_part_pin *t, uint16_t type_pin)
{
  switch (t->role) {
  case LU_ROLE_ADDRESS:
    if (t->index >= 0 && t->index < LU_CHIP_ADDRESS_MOST) {
      c->address[t->index] = type_pin;
      if (t->index >= c->address_count)
        c->address_count = (uint8_t)(t->index + 1);
    }
    break;
  case LU_ROLE_DATA:
  case LU_ROLE_DATA_IN:
  case LU_ROLE_DATA_OUT:
    if (t->index < 0 || t->index >= LU_CHIP_DATA_MOST)
      break;
    if (t->role != LU_ROLE_DATA_OUT) {
      c->in[t->index] = type_pin;
      c->in_count = (uint8_t)(t->index >= c->in_count ? t->index + 1 : c->in_count);
    }
    if (t->role != LU_ROLE_DATA_IN) {
      c->out[t->index] = type_pin;
      c->out_count = (uint8_t)(t->index >= c->out_count ? t->index + 1 : c->out_count);
    }
    break;
  case LU_ROLE_SELECT:
  case LU_ROLE_OUTPUT_ENABLE:
  case LU_ROLE_WRITE:
  case LU_ROLE_RAS:
  case LU_ROLE_CAS:
    if (c->control_count < LU_CHIP_CONTROL_MOST) {
      c->control[c->control_count] = type_pin;
      c->control_role[c->control_count] = (uint8_t)t->role;
      c->control_low[c->control_count++] = t->active_low;
    }
    break;
  default:
    break;
  }
}

static lu_status add_chip(builder *k, uint32_t part)
{
  lu_network *n = k->n;
  const lu_part_type *t = k->b->parts[part].type;
  lu_chip *c = &n->chips[n->chip_count + n->foreign_count];
  *c = (lu_chip){.part = part};
  for (unsigned i = 0; i < LU_CHIP_ADDRESS_MOST; i++)
    c->address[i] = UINT16_MAX;
  for (unsigned i = 0; i < LU_CHIP_DATA_MOST; i++)
    c->in[i] = c->out[i] = c->column[i] = UINT16_MAX;
  for (uint16_t i = 0; i < t->pin_count; i++)
    chip_pin(c, &t->pins[i], i);
  c->multiplexed = t->memory.multiplexed;
  c->row_bits = c->multiplexed ? t->memory.row_bits : 0;
  c->cell_bits = c->multiplexed ? (uint8_t)(t->memory.row_bits + t->memory.column_bits) : c->address_count;
  c->rom = k->block->rom || t->memory.rom;
  c->npart = add_part(k, part);
  if (c->npart == UINT16_MAX || c->cell_bits > LU_CELL_BITS_MOST)
    return no_room(k);
  k->chip_of[part] = (uint16_t)n->chip_count++;
  return LU_OK;
}

/* Chips of other blocks that can drive a data line of this one when a select is wrong. */
static lu_status add_foreign(builder *k)
{
  for (size_t b = 0; b < k->b->block_count; b++)
    for (size_t i = 0; i < k->b->blocks[b].chip_count; i++) {
      uint32_t part = k->b->blocks[b].chips[i];
      const lu_part_type *t = k->b->parts[part].type;
      bool meets = false;
      if (k->chip_of[part] != UINT16_MAX || k->n->chip_count + k->n->foreign_count >= CHIPS_MOST)
        continue;
      for (uint16_t p = 0; p < t->pin_count; p++) {
        uint32_t net = t->pins[p].role == LU_ROLE_DATA || t->pins[p].role == LU_ROLE_DATA_OUT ? net_at(k->b, part, p) : LU_NONE;
        meets |= net != LU_NONE && k->net_of[net] != UINT16_MAX;
      }
      if (!meets)
        continue;
      lu_status bad = add_chip(k, part);
      if (bad)
        return bad;
      k->n->chip_count--; /* add_chip counted it as one of the block's */
      lu_chip *c = &k->n->chips[k->n->chip_count + k->n->foreign_count++];
      c->foreign = true;
      c->rom = true;
      c->serves = lu_fn_const(false);
      memset(c->address, 0xff, sizeof c->address);
      memset(c->in, 0xff, sizeof c->in);
      c->address_count = c->in_count = c->cell_bits = 0;
      k->chip_of[part] = (uint16_t)(k->n->chip_count + k->n->foreign_count - 1);
      for (unsigned j = 0; j < c->control_count; j++)
        if (!want_net(k, part, c->control[j]))
          return no_room(k);
    }
  return LU_OK;
}

/* type pin -> network pin, for every pin that a chip uses; missing nets give UINT16_MAX */
static uint16_t chip_npin(builder *k, const lu_chip *c, uint16_t type_pin)
{
  if (type_pin == UINT16_MAX)
    return UINT16_MAX;
  uint32_t pin = board_pin(k->b, c->part, type_pin);
  return pin == LU_NONE ? UINT16_MAX : k->pin_of[pin];
}

static bool chip_nets(builder *k, const lu_chip *c)
{
  bool ok = true;
  for (unsigned i = 0; i < c->address_count; i++)
    ok &= c->address[i] == UINT16_MAX || want_net(k, c->part, c->address[i]);
  for (unsigned i = 0; i < c->in_count; i++)
    ok &= c->in[i] == UINT16_MAX || want_net(k, c->part, c->in[i]);
  for (unsigned i = 0; i < c->out_count; i++)
    ok &= c->out[i] == UINT16_MAX || want_net(k, c->part, c->out[i]);
  for (unsigned i = 0; i < c->control_count; i++)
    ok &= want_net(k, c->part, c->control[i]);
  return ok;
}

/* --- pins and readers ----------------------------------------------------------------------- */

/* Pins of the element that look at a level. */
static unsigned elem_readers(const lu_elem *e, uint16_t *out)
{
  unsigned n = 0;
  if (e->kind != LU_ELEM_CELL)
    return 0;
  const lu_cell *c = e->cell;
  for (unsigned i = 0; i < c->input_count; i++)
    out[n++] = e->pins[i];
  if (both_ways(c))
    out[n++] = e->pins[8];
  for (unsigned i = 0; i < c->select_count; i++)
    out[n++] = e->pins[16 + i];
  for (unsigned i = 0; i < c->enable_count; i++)
    out[n++] = e->pins[20 + i];
  out[n++] = e->pins[24];
  return n;
}

static bool list_net_pins(builder *k)
{
  lu_network *n = k->n;
  size_t total = 0;
  for (size_t i = 0; i < n->net_count; i++)
    total += n->nets[i].net == LU_NONE ? 2 : k->b->nets[n->nets[i].net].pin_count + 2;
  n->net_pins = LU_NEW(k->mem, uint16_t, total + 1);
  n->net_drivers = LU_NEW(k->mem, uint16_t, total + 1);
  return n->net_pins && n->net_drivers;
}

/* Network pins for every board pin on a net in scope. */
static bool make_npins(builder *k)
{
  for (size_t i = 0; i < k->n->net_count; i++) {
    uint32_t net = k->n->nets[i].net;
    if (net == LU_NONE)
      continue;
    const lu_net *bn = &k->b->nets[net];
    if (is_constant(bn)) {
      k->n->nets[i].constant = bn->ground ? 2 : 1;
    }
    for (uint32_t j = 0; j < bn->pin_count; j++) {
      uint32_t pin = k->b->net_pins[bn->first_pin + j];
      if (k->n->nets[i].constant && k->part_of[k->b->pins[pin].part] == UINT16_MAX)
        continue;
      if ((k->pin_of[pin] = add_npin(k, pin, (uint16_t)i)) == UINT16_MAX)
        return false;
    }
  }
  return true;
}

static uint16_t npin_of(const builder *k, uint32_t part, uint16_t type_pin)
{
  uint32_t pin = board_pin(k->b, part, type_pin);
  return pin == LU_NONE ? UINT16_MAX : k->pin_of[pin];
}

/* The element drives the pin. A pin that another element drives too (a row and a column way to one
 * pin) gets a twin. */
static bool claim(builder *k, uint16_t *pin, uint16_t elem)
{
  if (k->n->pins[*pin].driver != UINT16_MAX) {
    uint16_t first = *pin;
    *pin = add_npin(k, k->n->pins[first].pin, k->n->pins[first].net);
    if (*pin == UINT16_MAX)
      return false;
    k->n->pins[*pin].same_as = first;
  }
  k->n->pins[*pin].driver = elem;
  return true;
}

static bool bind_cells(builder *k)
{
  for (size_t i = 0; i < k->n->elem_count; i++) {
    lu_elem *e = &k->n->elems[i];
    if (e->kind != LU_ELEM_CELL)
      continue;
    const lu_cell *c = e->cell;
    uint32_t part = k->n->parts[e->part];
    for (unsigned j = 0; j < c->input_count; j++)
      e->pins[j] = npin_of(k, part, c->inputs[j]);
    for (unsigned j = 0; j < c->output_count; j++)
      e->pins[8 + j] = npin_of(k, part, c->outputs[j]);
    for (unsigned j = 0; j < c->select_count; j++)
      e->pins[16 + j] = npin_of(k, part, c->select[j]);
    for (unsigned j = 0; j < c->enable_count; j++)
      e->pins[20 + j] = npin_of(k, part, c->enables[j].pin);
    if (c->kind == LU_CELL_LATCH || (c->kind == LU_CELL_TRANSCEIVER && c->has_gate))
      e->pins[24] = npin_of(k, part, c->gate.pin);
    for (unsigned j = 0; j < c->output_count; j++)
      if (e->pins[8 + j] != UINT16_MAX && !claim(k, &e->pins[8 + j], (uint16_t)i))
        return false;
    if (both_ways(c) && e->pins[0] != UINT16_MAX && !claim(k, &e->pins[0], (uint16_t)i))
      return false;
  }
  return true;
}

static bool bind_chips(builder *k)
{
  for (size_t i = 0; i < k->n->chip_count + k->n->foreign_count; i++) {
    lu_chip *c = &k->n->chips[i];
    lu_elem *e = add_elem(k, LU_ELEM_CHIP, c->npart);
    if (!e)
      return false;
    e->index = (uint16_t)i;
    c->elem = (uint16_t)(k->n->elem_count - 1);
    for (unsigned j = 0; j < c->address_count; j++)
      if ((c->address[j] = chip_npin(k, c, c->address[j])) != UINT16_MAX)
        k->n->pins[c->address[j]].chip = (uint16_t)i;
    for (unsigned j = 0; j < c->in_count; j++)
      if ((c->in[j] = chip_npin(k, c, c->in[j])) != UINT16_MAX)
        k->n->pins[c->in[j]].chip = (uint16_t)i;
    for (unsigned j = 0; j < c->out_count; j++)
      if ((c->out[j] = chip_npin(k, c, c->out[j])) != UINT16_MAX)
        k->n->pins[c->out[j]].driver = c->elem;
    unsigned kept = 0;
    for (unsigned j = 0; j < c->control_count; j++) {
      uint16_t p = chip_npin(k, c, c->control[j]);
      if (p == UINT16_MAX)
        continue; /* not on the drawing: taken as sound */
      c->control[kept] = p;
      c->control_role[kept] = c->control_role[j];
      c->control_low[kept++] = c->control_low[j];
    }
    c->control_count = (uint8_t)kept;
  }
  return true;
}

/* --- sources -------------------------------------------------------------------------------- */

static lu_fn address_fn(const builder *k, unsigned bit)
{
  return bit < k->n->address_bits ? lu_fn_var(LU_VAR_ADDRESS + bit)
                                  : lu_fn_const(bit < 64 && (k->n->base_word >> bit & 1));
}

/* The network pin of a vantage bit: its own pin, or a made one where only the net is known. */
static uint16_t vantage_npin(builder *k, uint32_t pin, uint32_t net)
{
  if (pin != LU_NONE)
    return k->pin_of[pin];
  return add_npin(k, LU_NONE, k->net_of[net]);
}

static bool add_address_sources(builder *k)
{
  const lu_vantage *v = k->v;
  for (unsigned i = 0; i < v->address_bits; i++) {
    if (v->multiplexed && i >= v->column_bits)
      break;
    uint16_t p = vantage_npin(k, v->address_pin[i], v->address_net[i]);
    lu_elem *e = p == UINT16_MAX ? NULL : add_elem(k, LU_ELEM_ADDRESS, k->n->pins[p].part);
    if (!e)
      return false;
    e->index = (uint16_t)i;
    e->pins[0] = p;
    k->n->address_pin[i] = p;
    for (int m = 0; m < LU_MOMENTS; m++)
      e->level[m] = address_fn(k, i);
    if (v->multiplexed && i < v->row_bits) {
      e->level[LU_ROW] = address_fn(k, v->column_bits + i);
      k->n->address_pin[v->column_bits + i] = p;
    }
    for (unsigned d = 0; d < v->data_bits; d++)
      if (v->data_net[d] == v->address_net[i] && v->data_net[d] != LU_NONE)
        e->bit2 = (uint16_t)d;
    k->n->pins[p].driver = (uint16_t)(k->n->elem_count - 1);
  }
  return true;
}

static bool add_data_sources(builder *k)
{
  const lu_vantage *v = k->v;
  for (unsigned i = 0; i < v->data_bits; i++) {
    uint16_t shared = UINT16_MAX;
    for (unsigned a = 0; a < v->address_bits; a++)
      if (v->data_net[i] == v->address_net[a] && v->data_net[i] != LU_NONE)
        shared = k->n->address_pin[a];
    uint16_t p = shared != UINT16_MAX ? shared : vantage_npin(k, v->data_pin[i], v->data_net[i]);
    if (p == UINT16_MAX)
      return false;
    k->n->data_pin[i] = p;
    k->n->pins[p].column = (uint16_t)i;
    if (shared != UINT16_MAX)
      continue;
    lu_elem *e = add_elem(k, LU_ELEM_DATA, k->n->pins[p].part);
    if (!e)
      return false;
    e->index = (uint16_t)i;
    e->pins[0] = p;
    k->n->pins[p].driver = (uint16_t)(k->n->elem_count - 1);
  }
  return true;
}

/* What processors' control outputs do during an idle bus, the row phase, a write and a read of
 * memory (common practice of the makers' bus timing; docs/lines.md). */
static const struct {
  const char *name;
  const char levels[5]; /* idle, row, write, read */
} strobe_rows[] = {
    {"RD#", "HHHL"},   {"WR#", "HHLH"},    {"R/W#", "HHLH"},   {"MREQ#", "HLLL"}, {"AS#", "HLLL"},
    {"UDS#", "HLLL"},  {"LDS#", "HLLL"},   {"DS#", "HLLL"},    {"IO/M#", "LLLL"}, {"DT/R#", "HHHL"},
    {"DEN#", "HHLL"},  {"ALE", "HLLL"},    {"E", "LHHH"},      {"E(out)", "LHHH"}, {"PHI2(out)", "LHHH"},
    {"PHI2", "LHHH"},  {"IORQ#", "HHHH"},  {"M1#", "HHHH"},    {"RFSH#", "HHHH"}, {"BUSAK#", "HHHH"},
    {"HALT#", "HHHH"}, {"MEMR#", "HHHL"},  {"MEMW#", "HHLH"},  {"OE#", "HHHL"},   {"WE#", "HHLH"},
    {"SYNC", "LLLL"},  {"M/IO#", "HHHH"},  {"BHE#", "LLLL"},
};

static bool strobe_levels(const builder *k, uint32_t pin, lu_fn level[LU_MOMENTS])
{
  bool found = false;
  for (size_t i = 0; i < k->v->strobe_count; i++) {
    const lu_strobe *s = &k->v->strobes[i];
    if (s->pin != pin)
      continue;
    bool read = lu_text_same(s->name, "read"), write = lu_text_same(s->name, "write");
    if (!read && !write)
      continue;
    if (!found)
      for (int m = 0; m < LU_MOMENTS; m++)
        level[m] = lu_fn_const(s->active_low);
    level[read ? LU_READ : LU_WRITE] = lu_fn_const(!s->active_low);
    found = true;
  }
  const char *f = k->b->pins[pin].function;
  for (size_t i = 0; !found && i < sizeof strobe_rows / sizeof *strobe_rows; i++)
    if (lu_function_same(strobe_rows[i].name, f)) {
      for (int m = 0; m < LU_MOMENTS; m++)
        level[m] = lu_fn_const(strobe_rows[i].levels[m] == 'H');
      found = true;
    }
  return found;
}

/* Address pins of the vantage's part above the listed ones carry bits of the base. */
static bool upper_address(const builder *k, uint32_t pin, lu_fn *level)
{
  const lu_part_pin *t = lu_pin_type(k->b, pin);
  if (!t || t->role != LU_ROLE_ADDRESS || k->v->multiplexed)
    return false;
  const lu_part_pin *first = k->v->address_pin[0] == LU_NONE ? NULL : lu_pin_type(k->b, k->v->address_pin[0]);
  if (!first || (first->role != LU_ROLE_ADDRESS && first->role != LU_ROLE_DATA) || t->index < first->index)
    return false;
  *level = address_fn(k, (unsigned)(t->index - first->index));
  return true;
}

static bool add_strobes(builder *k)
{
  if (k->v->part == LU_NONE || k->v->chip)
    return true;
  const lu_part *p = &k->b->parts[k->v->part];
  for (uint32_t i = 0; i < p->pin_count; i++) {
    uint32_t pin = k->b->part_pins[p->first_pin + i];
    uint16_t np = k->pin_of[pin];
    lu_fn level[LU_MOMENTS], one;
    if (np == UINT16_MAX || k->n->pins[np].driver != UINT16_MAX || k->n->nets[k->n->pins[np].net].constant)
      continue;
    if (upper_address(k, pin, &one)) {
      for (int m = 0; m < LU_MOMENTS; m++)
        level[m] = one;
    } else if (!strobe_levels(k, pin, level)) {
      continue;
    }
    lu_elem *e = add_elem(k, LU_ELEM_STROBE, k->n->pins[np].part);
    if (!e)
      return false;
    e->pins[0] = np;
    memcpy(e->level, level, sizeof level);
    k->n->pins[np].driver = (uint16_t)(k->n->elem_count - 1);
  }
  return true;
}

static bool is_wire(const lu_elem *e)
{
  return e->kind == LU_ELEM_CELL && e->cell->kind == LU_CELL_WIRE;
}

/* A declared pass: from inputs[0] to outputs[0]; on a data line also back, as the access goes. */
static bool is_pass(const lu_elem *e)
{
  return e->kind == LU_ELEM_CELL && e->cell->kind == LU_CELL_TRANSCEIVER && !e->cell->has_gate;
}

/* Something other than a wire (resistor, jumper) drives the net. */
static bool net_driven(const builder *k, uint16_t net)
{
  for (size_t i = 0; i < k->n->pin_count; i++) {
    const lu_npin *p = &k->n->pins[i];
    if (p->net != net || p->driver == UINT16_MAX)
      continue;
    const lu_elem *e = &k->n->elems[p->driver];
    if (!is_wire(e) && !(is_pass(e) && e->pins[0] == i))
      return true;
  }
  return false;
}

/* Nets joined by wires count as one when a driver is looked for: group[net] = lowest net of it. */
static void join_wired(const builder *k, uint16_t *group)
{
  for (size_t i = 0; i < k->n->net_count; i++)
    group[i] = (uint16_t)i;
  for (bool more = true; more;) {
    more = false;
    for (size_t i = 0; i < k->n->elem_count; i++) {
      const lu_elem *e = &k->n->elems[i];
      if (!is_wire(e) || e->pins[0] == UINT16_MAX || e->pins[8] == UINT16_MAX)
        continue;
      uint16_t *a = &group[k->n->pins[e->pins[0]].net], *b = &group[k->n->pins[e->pins[8]].net];
      if (*a != *b) {
        *a = *b = *a < *b ? *a : *b;
        more = true;
      }
    }
  }
}

/* A pin that could be the unknown driver of a net: not one that is known to be an input. */
static int source_rank(const builder *k, uint16_t npin)
{
  uint32_t pin = k->n->pins[npin].pin;
  if (pin == LU_NONE)
    return 0;
  const lu_part *p = &k->b->parts[k->b->pins[pin].part];
  const lu_part_pin *t = lu_pin_type(k->b, pin);
  if (p->type && p->type->memory.is_memory)
    return 0;
  if (!p->type || !t)
    return 3;
  switch (t->role) {
  case LU_ROLE_OUTPUT:
  case LU_ROLE_STROBE:
    return 5;
  case LU_ROLE_ADDRESS:
  case LU_ROLE_DATA:
    return p->type->kind == LU_PART_PROCESSOR ? 4 : 3;
  case LU_ROLE_NONE:
    return p->type->kind == LU_PART_CUSTOM || p->type->kind == LU_PART_UNKNOWN ? 4 : 1;
  case LU_ROLE_PASSIVE:
    return 2; /* a connector: the signal comes from outside */
  default:
    return 0;
  }
}

static bool add_constants(builder *k)
{
  for (size_t i = 0; i < k->n->net_count; i++) {
    lu_nnet *net = &k->n->nets[i];
    if (net->constant) {
      uint16_t p = add_npin(k, LU_NONE, (uint16_t)i);
      lu_elem *e = p == UINT16_MAX ? NULL : add_elem(k, LU_ELEM_CONST, UINT16_MAX);
      if (!e)
        return false;
      e->part = UINT16_MAX;
      e->pins[0] = p;
      for (int m = 0; m < LU_MOMENTS; m++)
        e->level[m] = lu_fn_const(net->constant == 1);
      k->n->pins[p].driver = (uint16_t)(k->n->elem_count - 1);
    }
  }
  return true;
}

static bool add_oracles(builder *k)
{
  uint16_t *group = LU_NEW(k->mem, uint16_t, k->n->net_count + 1);
  if (!group || !add_constants(k))
    return false;
  join_wired(k, group);
  for (size_t g = 0; g < k->n->net_count; g++) {
    bool driven = group[g] != g;
    for (size_t i = g; i < k->n->net_count && !driven; i++)
      driven = group[i] == g && net_driven(k, (uint16_t)i);
    if (driven)
      continue;
    int best = 0;
    uint16_t at = UINT16_MAX;
    for (size_t p = 0; p < k->n->pin_count; p++)
      if (group[k->n->pins[p].net] == g && source_rank(k, (uint16_t)p) > best &&
          k->n->pins[p].driver == UINT16_MAX) {
        best = source_rank(k, (uint16_t)p);
        at = (uint16_t)p;
      }
    if (at == UINT16_MAX)
      continue;
    lu_elem *e = add_elem(k, LU_ELEM_ORACLE, k->n->pins[at].part);
    if (!e)
      return false;
    e->pins[0] = at;
    for (int m = 0; m < LU_MOMENTS; m++)
      e->level[m] = lu_fn_wide();
    k->n->pins[at].driver = (uint16_t)(k->n->elem_count - 1);
  }
  return true;
}

static bool index_all(builder *k)
{
  lu_network *n = k->n;
  if (!list_net_pins(k))
    return false;
  uint16_t at = 0, drivers = 0;
  for (size_t i = 0; i < n->net_count; i++) {
    lu_nnet *net = &n->nets[i];
    net->first_pin = at;
    net->first_driver = drivers;
    for (size_t p = 0; p < n->pin_count; p++) {
      if (n->pins[p].net != i)
        continue;
      if (n->pins[p].same_as != UINT16_MAX)
        n->pins[p].place = n->pins[n->pins[p].same_as].place;
      else if (net->pin_count < LU_NET_PINS_MOST || n->pins[p].driver != UINT16_MAX) {
        n->pins[p].place = net->pin_count < LU_NET_PINS_MOST ? net->pin_count : LU_NET_PINS_MOST - 1;
        n->net_pins[at++] = (uint16_t)p;
        net->pin_count++;
      }
      if (n->pins[p].driver != UINT16_MAX) {
        n->net_drivers[drivers++] = (uint16_t)p;
        net->driver_count++;
      }
    }
  }
  uint16_t pins[32];
  size_t total = 0;
  for (size_t i = 0; i < n->elem_count; i++)
    total += elem_readers(&n->elems[i], pins);
  for (size_t i = 0; i < n->chip_count + n->foreign_count; i++)
    total += n->chips[i].control_count;
  n->readers = LU_NEW(k->mem, uint16_t, total + 1);
  if (!n->readers)
    return false;
  for (int pass = 0; pass < 2; pass++) {
    for (size_t i = 0; i < n->elem_count; i++) {
      unsigned c = elem_readers(&n->elems[i], pins);
      const uint16_t *list = pins;
      if (n->elems[i].kind == LU_ELEM_CHIP) {
        list = n->chips[n->elems[i].index].control;
        c = n->chips[n->elems[i].index].control_count;
      }
      for (unsigned j = 0; j < c; j++) {
        if (list[j] == UINT16_MAX)
          continue;
        lu_npin *p = &n->pins[list[j]];
        if (pass)
          n->readers[p->first_reader + p->reader_count] = (uint16_t)i;
        p->reader_count++;
      }
    }
    uint16_t first = 0;
    for (size_t p = 0; !pass && p < n->pin_count; p++) {
      n->pins[p].first_reader = first;
      first = (uint16_t)(first + n->pins[p].reader_count);
      n->pins[p].reader_count = 0;
    }
  }
  return true;
}

/* --- what unknown sources must do ------------------------------------------------------------ */

static const lu_net_state *healthy(const builder *k, uint16_t net, lu_moment m)
{
  return &k->n->state[(size_t)m * k->n->net_count + net];
}

static void justify(builder *k, uint16_t pin, lu_moment m, const lu_fn *active, bool low, int depth);

static void set_oracle(builder *k, uint16_t elem, lu_moment m, const lu_fn *active, bool low)
{
  oracle *o = &k->oracles[elem];
  if (!o->polarity_known) {
    o->polarity_known = true;
    o->low = low;
  }
  lu_fn a = o->low == low ? *active : lu_fn_not(*active);
  o->active[m] = o->set[m] ? lu_fn_or(&o->active[m], &a) : a;
  o->set[m] = true;
  lu_fn v = o->active[m];
  k->n->elems[elem].level[m] = o->low ? lu_fn_not(v) : v;
}

static void justify_cell(builder *k, const lu_elem *e, uint16_t out, lu_moment m, const lu_fn *active,
                         bool low, int depth)
{
  const lu_cell *c = e->cell;
  bool in_low = low != c->inverted;
  lu_fn yes = lu_fn_const(true);
  for (unsigned i = 0; i < c->enable_count; i++)
    justify(k, e->pins[20 + i], m, c->kind == LU_CELL_DECODER ? active : &yes, !c->enables[i].high, depth);
  switch (c->kind) {
  case LU_CELL_DECODER:
    for (unsigned o = 0; o < c->output_count; o++)
      for (unsigned b = 0; e->pins[8 + o] == out && b < c->select_count; b++) {
        lu_fn bit = o >> b & 1 ? *active : lu_fn_const(false);
        justify(k, e->pins[16 + b], m, &bit, false, depth);
      }
    break;
  case LU_CELL_TRANSCEIVER:
  case LU_CELL_WIRE:
    justify(k, e->pins[0] == out ? e->pins[8] : e->pins[0], m, active, in_low, depth);
    break;
  case LU_CELL_MUX:
  case LU_CELL_LATCH:
  case LU_CELL_REGISTER:
    break;
  default:
    for (unsigned i = 0; i < c->input_count; i++)
      justify(k, e->pins[i], m, active, in_low, depth);
    break;
  }
}

/* The pin must be at its active level exactly where active holds. Sources not yet known take it;
 * what is known stays. */
static void justify(builder *k, uint16_t pin, lu_moment m, const lu_fn *active, bool low, int depth)
{
  if (pin == UINT16_MAX || depth > 12)
    return;
  uint16_t net = k->n->pins[pin].net;
  const lu_nnet *n = &k->n->nets[net];
  for (unsigned i = 0; i < n->driver_count; i++) {
    uint16_t d = k->n->net_drivers[n->first_driver + i];
    const lu_elem *e = &k->n->elems[k->n->pins[d].driver];
    if (d == pin)
      continue;
    if (e->kind == LU_ELEM_ORACLE)
      set_oracle(k, k->n->pins[d].driver, m, active, low);
    else if (e->kind == LU_ELEM_CELL && healthy(k, net, m)->value[0].wide)
      justify_cell(k, e, d, m, active, low, depth + 1);
  }
}

static void refresh(builder *k)
{
  lu_sim_settle_all(k->sim);
}

/* Steps from the vantage's data pins; a pass that no data line uses goes one way only. */
static void measure_distance(builder *k)
{
  lu_network *n = k->n;
  for (size_t i = 0; i < n->net_count; i++)
    k->distance[i] = -1;
  for (unsigned d = 0; d < n->data_bits; d++)
    k->distance[n->pins[n->data_pin[d]].net] = 0;
  for (bool more = true; more;) {
    more = false;
    for (size_t i = 0; i < n->elem_count; i++) {
      const lu_elem *e = &n->elems[i];
      if (e->kind != LU_ELEM_CELL || e->pins[0] == UINT16_MAX || e->pins[8] == UINT16_MAX ||
          (e->cell->kind != LU_CELL_TRANSCEIVER && e->cell->kind != LU_CELL_WIRE && e->cell->kind != LU_CELL_AND))
        continue;
      int *a = &k->distance[n->pins[e->pins[0]].net], *b = &k->distance[n->pins[e->pins[8]].net];
      if (*a >= 0 && (*b < 0 || *b > *a + 1))
        *b = *a + 1, more = true;
      else if (*b >= 0 && (*a < 0 || *a > *b + 1))
        *a = *b + 1, more = true;
    }
  }
}

/* Enables, directions and selects of what the bus goes through. */
static void justify_ways(builder *k)
{
  lu_fn yes = lu_fn_const(true), no = lu_fn_const(false);
  for (size_t i = 0; i < k->n->elem_count; i++) {
    lu_elem *e = &k->n->elems[i];
    if (e->kind != LU_ELEM_CELL || e->cell->kind == LU_CELL_DECODER)
      continue;
    const lu_cell *c = e->cell;
    bool data = c->kind == LU_CELL_TRANSCEIVER;
    for (int m = 0; m < LU_MOMENTS; m++)
      for (unsigned j = 0; j < c->enable_count; j++)
        if (!data || m == LU_READ || m == LU_WRITE)
          justify(k, e->pins[20 + j], (lu_moment)m, &yes, !c->enables[j].high, 0);
    if (data && e->pins[0] != UINT16_MAX && e->pins[8] != UINT16_MAX) {
      e->one_way = is_pass(e) && (k->distance[k->n->pins[e->pins[8]].net] < 0 ||
                                  k->distance[k->n->pins[e->pins[0]].net] < 0);
      e->reversed = k->distance[k->n->pins[e->pins[8]].net] < k->distance[k->n->pins[e->pins[0]].net];
      for (int m = LU_WRITE; c->has_gate && m <= LU_READ; m++) {
        lu_fn to_b = lu_fn_const((m == LU_READ) == (e->reversed != 0));
        justify(k, e->pins[24], (lu_moment)m, &to_b, !c->gate.high, 0);
      }
    }
    for (int m = 0; m < LU_MOMENTS; m++) {
      bool late = m == LU_WRITE || m == LU_READ;
      for (unsigned j = 0; c->kind == LU_CELL_MUX && j < c->select_count; j++)
        justify(k, e->pins[16 + j], (lu_moment)m, late ? &yes : &no, false, 0);
      if (c->kind == LU_CELL_LATCH)
        justify(k, e->pins[24], (lu_moment)m, m == LU_IDLE ? &yes : &no, !c->gate.high, 0);
    }
  }
}

/* --- what the healthy board does --------------------------------------------------------------- */

static bool single_var(const lu_fn *f)
{
  return !f->wide && f->count == 1;
}

static lu_status chip_lines(builder *k, lu_chip *c)
{
  for (unsigned b = 0; b < c->cell_bits; b++) {
    lu_fn f = lu_sim_chip_cell(k->sim, c, b, LU_READ);
    const char *ref = k->b->parts[c->part].ref;
    unsigned pin = c->multiplexed && b >= c->row_bits
                       ? b - c->row_bits + k->b->parts[c->part].type->memory.column_first
                       : b;
    uint16_t np = c->address[pin];
    const char *net = np == UINT16_MAX ? "none" : lu_network_net_name(k->n, k->n->pins[np].net);
    if (f.wide || f.count > 1)
      return wrong(k, "the line to %s address pin A%u cannot be followed: its trail ends at net %s", ref,
                   pin, net);
    if (np == UINT16_MAX && c->cell_bits)
      f = lu_fn_const(false);
    c->cell[b] = f;
    for (unsigned o = 0; o < b; o++)
      if (single_var(&f) && c->cell[o].count && c->cell[o].var[0] == f.var[0])
        return wrong(k, "address bit %u reaches two address pins of %s (net %s)", f.var[0], ref, net);
  }
  return LU_OK;
}

static void chip_columns(builder *k, unsigned chip)
{
  lu_chip *c = &k->n->chips[chip];
  lu_sim_force(k->sim, c);
  for (unsigned j = 0; j < k->n->data_bits; j++) {
    lu_drive d = lu_sim_column(k->sim, j);
    lu_fn no = lu_fn_not(d.lo), f = lu_fn_and(&d.hi, &no);
    for (unsigned v = 0; !f.wide && v < f.count; v++) {
      if (f.var[v] < LU_VAR_CHIP)
        continue;
      unsigned pin = (f.var[v] - LU_VAR_CHIP) % 16;
      lu_fn at_one = lu_fn_fix(&f, f.var[v], true);
      c->column[pin] = (uint16_t)j;
      c->column_inverted[pin] = lu_fn_is(&at_one, false);
    }
  }
}

static bool same_columns(const lu_chip *a, const lu_chip *b)
{
  bool any = false;
  for (unsigned i = 0; i < LU_CHIP_DATA_MOST; i++)
    for (unsigned j = 0; j < LU_CHIP_DATA_MOST; j++)
      any |= a->column[i] != UINT16_MAX && a->column[i] == b->column[j];
  return any;
}

static uint64_t chip_vars(const lu_chip *c)
{
  uint64_t m = 0;
  for (unsigned b = 0; b < c->cell_bits; b++)
    if (c->cell[b].count && c->cell[b].var[0] < 64)
      m |= (uint64_t)1 << c->cell[b].var[0];
  return m;
}

static lu_status missing_bit(builder *k, uint64_t missing)
{
  unsigned bit = (unsigned)__builtin_ctzll(missing);
  uint16_t pin = k->n->address_pin[bit];
  const char *net = bit < k->v->address_bits && pin != UINT16_MAX
                        ? lu_network_net_name(k->n, k->n->pins[pin].net)
                        : "none (the vantage lists too few address lines)";
  return wrong(k, "block '%s' needs address bit %u, but it reaches no chip: its trail ends at net %s",
               k->block->name, bit, net);
}

/* Which chips answer where: by their own select logic where it is known, else the chips of one
 * set of data lines in the order of the board file. */
static lu_status chip_banks(builder *k)
{
  lu_network *n = k->n;
  uint64_t all = n->address_bits >= 64 ? ~(uint64_t)0 : ((uint64_t)1 << n->address_bits) - 1;
  for (size_t i = 0; i < n->chip_count; i++) {
    lu_chip *c = &n->chips[i];
    uint64_t missing = all & ~chip_vars(c);
    unsigned bits = (unsigned)__builtin_popcountll(missing), index = 0, count = 0;
    for (size_t j = 0; j < n->chip_count; j++)
      if (same_columns(c, &n->chips[j])) {
        index += j < i;
        count++;
      }
    if (!count)
      return wrong(k, "no data line of chip %s reaches the vantage", k->b->parts[c->part].ref);
    lu_fn known = lu_sim_chip_known(k->sim, c);
    c->serves = lu_fn_const(true);
    if (!missing && count > 1 && !known.count)
      return wrong(k, "chips on the same data lines (%s is one) are told apart by no address line",
                   k->b->parts[c->part].ref);
    if (known.count) {
      c->serves = known;
      continue;
    }
    if (bits > 6 || ((size_t)1 << bits) != count)
      return missing_bit(k, missing);
    for (unsigned b = 0; missing; b++, missing &= missing - 1) {
      lu_fn v = lu_fn_var((unsigned)__builtin_ctzll(missing));
      if (!(index >> b & 1))
        v = lu_fn_not(v);
      c->serves = lu_fn_and(&c->serves, &v);
    }
  }
  return LU_OK;
}

static void justify_chips(builder *k)
{
  lu_fn no = lu_fn_const(false), yes = lu_fn_const(true);
  for (size_t i = 0; i < k->n->chip_count; i++) {
    const lu_chip *c = &k->n->chips[i];
    for (unsigned j = 0; j < c->control_count; j++)
      for (int m = 0; m < LU_MOMENTS; m++) {
        const lu_fn *want = &c->serves;
        bool late = m == LU_WRITE || m == LU_READ;
        switch (c->control_role[j]) {
        case LU_ROLE_SELECT:
          want = late ? want : &no;
          break;
        case LU_ROLE_RAS:
          want = m == LU_IDLE ? &no : want;
          break;
        case LU_ROLE_CAS:
          want = late ? want : &no;
          break;
        case LU_ROLE_OUTPUT_ENABLE:
          want = m == LU_READ ? &yes : &no;
          break;
        default:
          want = m == LU_WRITE ? &yes : &no;
          break;
        }
        justify(k, c->control[j], (lu_moment)m, want, c->control_low[j], 0);
      }
  }
}

/* Chips of other blocks stay unselected. */
static void justify_foreign(builder *k)
{
  lu_fn no = lu_fn_const(false);
  for (size_t i = k->n->chip_count; i < k->n->chip_count + k->n->foreign_count; i++) {
    const lu_chip *c = &k->n->chips[i];
    for (unsigned j = 0; j < c->control_count; j++)
      for (int m = 0; m < LU_MOMENTS; m++)
        if (c->control_role[j] == LU_ROLE_SELECT || c->control_role[j] == LU_ROLE_RAS || c->control_role[j] == LU_ROLE_CAS)
          justify(k, c->control[j], (lu_moment)m, &no, c->control_low[j], 0);
  }
}

/* One that seems to answer all the same is left out: its logic is not understood. */
static void quiet_foreign(builder *k)
{
  for (size_t i = k->n->chip_count; i < k->n->chip_count + k->n->foreign_count; i++) {
    lu_chip *c = &k->n->chips[i];
    lu_fn drives = lu_sim_chip_answers(k->sim, c, false);
    if (lu_fn_is(&drives, false))
      continue;
    for (unsigned d = 0; d < c->out_count; d++)
      c->out[d] = UINT16_MAX;
  }
}

/* The control net of a chip whose logic cannot be followed becomes a source of its own. */
static void sever(builder *k, uint16_t pin)
{
  lu_network *n = k->n;
  lu_nnet *net = &n->nets[n->pins[pin].net];
  if (net->constant || !net->driver_count)
    return;
  uint16_t d = n->net_drivers[net->first_driver];
  net->driver_count = 1;
  uint16_t elem = n->pins[d].driver;
  if (n->elems[elem].kind == LU_ELEM_ORACLE)
    return;
  lu_elem *e = add_elem(k, LU_ELEM_ORACLE, n->pins[d].part);
  if (!e)
    return;
  for (unsigned i = 0; i < 25; i++)
    if (n->elems[elem].kind == LU_ELEM_CELL && n->elems[elem].pins[i] == d)
      n->elems[elem].pins[i] = UINT16_MAX;
  e->pins[0] = d;
  for (int m = 0; m < LU_MOMENTS; m++)
    e->level[m] = lu_fn_wide();
  n->pins[d].driver = (uint16_t)(n->elem_count - 1);
  note(k, lu_arena_printf(k->mem, "the control line at %s is followed only to net %s",
                          lu_network_pin_name(n, pin), lu_network_net_name(n, n->pins[pin].net)));
}

static bool chip_right(const builder *k, const lu_chip *c)
{
  lu_fn read = lu_sim_chip_answers(k->sim, c, false), write = lu_sim_chip_answers(k->sim, c, true);
  return lu_fn_same(&read, &c->serves) && (c->rom || lu_fn_same(&write, &c->serves));
}

static bool sever_wrong(builder *k)
{
  bool any = false;
  for (size_t i = 0; i < k->n->chip_count; i++) {
    const lu_chip *c = &k->n->chips[i];
    if (chip_right(k, c))
      continue;
    any = true;
    for (unsigned j = 0; j < c->control_count; j++)
      sever(k, c->control[j]);
  }
  return any;
}

/* Sources that nothing asked for rest high. */
static void settle_oracles(builder *k)
{
  for (size_t i = 0; i < k->n->elem_count; i++)
    for (int m = 0; m < LU_MOMENTS; m++)
      if (k->n->elems[i].kind == LU_ELEM_ORACLE && !k->oracles[i].set[m])
        k->n->elems[i].level[m] = lu_fn_const(true);
}

static lu_status check_reads(builder *k)
{
  for (size_t i = 0; i < k->n->chip_count; i++)
    if (!chip_right(k, &k->n->chips[i]))
      return wrong(k, "chip %s would not answer on a healthy board: its select, enable and strobe lines "
                      "do not fit the block's address",
                   k->b->parts[k->n->chips[i].part].ref);
  for (size_t i = 0; i < k->n->chip_count; i++) {
    lu_chip *c = &k->n->chips[i];
    for (unsigned d = 0; d < c->in_count; d++)
      c->in_fn[d] = c->in[d] == UINT16_MAX ? lu_fn_const(true) : lu_sim_pin(k->sim, c->in[d], LU_WRITE);
  }
  for (unsigned j = 0; j < k->n->data_bits; j++) {
    bool fed = false;
    for (size_t i = 0; i < k->n->chip_count; i++)
      for (unsigned d = 0; d < k->n->chips[i].out_count; d++)
        fed |= k->n->chips[i].column[d] == j;
    if (!fed)
      return wrong(k, "data bit %u of the vantage reaches no chip of block '%s': its trail ends at net %s", j,
                   k->block->name, lu_network_net_name(k->n, k->n->pins[k->n->data_pin[j]].net));
  }
  return LU_OK;
}

/* Which nets carry what, and which chips they reach: backwards from each chip's pins. */
static void mark_back(builder *k, uint16_t net, uint8_t carries, uint64_t chip, int depth)
{
  lu_nnet *n = &k->n->nets[net];
  if (n->constant || depth > 24 || ((n->carries & carries) == carries && (n->chips & chip) == chip))
    return;
  n->carries |= carries;
  n->chips |= chip;
  for (unsigned i = 0; i < n->driver_count; i++) {
    uint16_t d = k->n->net_drivers[n->first_driver + i];
    const lu_elem *e = &k->n->elems[k->n->pins[d].driver];
    uint16_t pins[32];
    unsigned c = elem_readers(e, pins);
    for (unsigned j = 0; j < c; j++) {
      if (pins[j] == UINT16_MAX)
        continue;
      bool way = false;
      for (unsigned x = 0; x < e->cell->input_count; x++)
        way |= pins[j] == e->pins[x];
      way |= pins[j] == e->pins[8] && both_ways(e->cell);
      mark_back(k, k->n->pins[pins[j]].net, way ? carries : LU_CARRIES_CONTROL, chip, depth + 1);
    }
  }
}

static void mark_nets(builder *k)
{
  lu_network *n = k->n;
  for (size_t i = 0; i < n->chip_count; i++) {
    const lu_chip *c = &n->chips[i];
    uint64_t bit = i < 64 ? (uint64_t)1 << i : 0;
    for (unsigned j = 0; j < c->address_count; j++)
      if (c->address[j] != UINT16_MAX)
        mark_back(k, n->pins[c->address[j]].net, LU_CARRIES_ADDRESS, bit, 0);
    for (unsigned j = 0; j < c->control_count; j++)
      mark_back(k, n->pins[c->control[j]].net, LU_CARRIES_CONTROL, bit, 0);
    for (unsigned j = 0; j < LU_CHIP_DATA_MOST; j++) {
      if (c->in[j] != UINT16_MAX)
        mark_back(k, n->pins[c->in[j]].net, LU_CARRIES_DATA, 0, 0);
      if (c->out[j] != UINT16_MAX)
        mark_back(k, n->pins[c->out[j]].net, LU_CARRIES_DATA, 0, 0);
    }
  }
  for (unsigned j = 0; j < n->data_bits; j++)
    mark_back(k, n->pins[n->data_pin[j]].net, LU_CARRIES_DATA, 0, 0);
}

static lu_status learn(builder *k)
{
  lu_network *n = k->n;
  n->drive = LU_NEW(k->mem, lu_drive, LU_MOMENTS * n->pin_count + 1);
  n->state = LU_NEW(k->mem, lu_net_state, LU_MOMENTS * n->net_count + 1);
  k->oracles = LU_NEW(k->mem, oracle, n->elem_count + 4 * n->chip_count * LU_CHIP_CONTROL_MOST + 1);
  k->distance = LU_NEW(k->mem, int, n->net_count + 1);
  if (!n->drive || !n->state || !k->oracles || !k->distance)
    return no_room(k);
  lu_drive *drive = n->drive;
  lu_net_state *state = n->state;
  n->drive = NULL;
  n->state = NULL;
  k->sim = lu_sim_new(n, true, k->mem);
  n->drive = drive;
  n->state = state;
  if (!k->sim)
    return no_room(k);
  measure_distance(k);
  justify_ways(k); /* directions first, so that nothing stale goes round */
  refresh(k);
  justify_ways(k);
  refresh(k);
  lu_status s = LU_OK;
  for (size_t i = 0; !s && i < n->chip_count; i++)
    s = chip_lines(k, &n->chips[i]);
  for (size_t i = 0; !s && i < n->chip_count; i++)
    chip_columns(k, (unsigned)i);
  lu_sim_force(k->sim, NULL);
  if (!s)
    s = chip_banks(k);
  if (s)
    return s;
  justify_chips(k);
  justify_foreign(k);
  settle_oracles(k);
  refresh(k);
  if (sever_wrong(k)) {
    k->sim = lu_sim_new(n, true, k->mem);
    if (!k->sim)
      return no_room(k);
    justify_chips(k);
    justify_foreign(k);
    settle_oracles(k);
    refresh(k);
  }
  quiet_foreign(k);
  k->sim = lu_sim_new(n, true, k->mem); /* from nothing, so that nothing stale is left */
  if (!k->sim)
    return no_room(k);
  refresh(k);
  if ((s = check_reads(k)))
    return s;
  mark_nets(k);
  return LU_OK;
}

/* A chip out of circuit: each of its pins on a net of its own, straight to the reader. */
static bool chip_alone(builder *k, lu_vantage *v, uint32_t part)
{
  const lu_part_type *t = k->b->parts[part].type;
  unsigned columns = v->multiplexed ? v->column_bits : 0;
  for (uint16_t i = 0; i < t->pin_count; i++) {
    const lu_part_pin *p = &t->pins[i];
    uint32_t pin = board_pin(k->b, part, i);
    if (pin == LU_NONE || p->role == LU_ROLE_NONE || p->role == LU_ROLE_SUPPLY || p->role == LU_ROLE_GROUND)
      continue;
    uint16_t net = new_net(k, LU_NONE);
    if (net == UINT16_MAX || (k->pin_of[pin] = add_npin(k, pin, net)) == UINT16_MAX)
      return false;
    if (p->role == LU_ROLE_ADDRESS && p->index >= 0 && p->index < 32) {
      unsigned first = t->memory.column_first;
      unsigned bit = columns ? (unsigned)p->index - first : (unsigned)p->index;
      if (columns && ((unsigned)p->index < first || bit >= columns))
        continue;
      k->n->address_pin[bit] = net; /* nets for now; made into pins below */
    } else if (p->role == LU_ROLE_DATA || p->role == LU_ROLE_DATA_OUT || p->role == LU_ROLE_DATA_IN) {
      if (p->role == LU_ROLE_DATA_IN)
        continue;
      k->n->data_pin[p->index] = net;
    }
  }
  return true;
}

static bool alone_sources(builder *k, const lu_vantage *v, uint32_t part)
{
  lu_network *n = k->n;
  unsigned bits = v->multiplexed ? v->column_bits : v->address_bits;
  const lu_part_type *t = k->b->parts[part].type;
  for (unsigned i = 0; i < bits + v->data_bits; i++) {
    bool address = i < bits;
    uint16_t net = address ? n->address_pin[i] : n->data_pin[i - bits];
    uint16_t p = add_npin(k, LU_NONE, net);
    lu_elem *e = p == UINT16_MAX ? NULL : add_elem(k, address ? LU_ELEM_ADDRESS : LU_ELEM_DATA, UINT16_MAX);
    if (!e)
      return false;
    e->index = (uint16_t)(address ? i : i - bits);
    e->pins[0] = p;
    e->part = UINT16_MAX;
    n->pins[p].driver = (uint16_t)(n->elem_count - 1);
    for (int m = 0; m < LU_MOMENTS && address; m++)
      e->level[m] = address_fn(k, i);
    if (address && v->multiplexed && i < v->row_bits)
      e->level[LU_ROW] = address_fn(k, v->column_bits + i);
    if (address) {
      n->address_pin[i] = p;
      if (v->multiplexed && i < v->row_bits)
        n->address_pin[v->column_bits + i] = p;
    } else {
      n->data_pin[i - bits] = p;
      n->pins[p].column = (uint16_t)(i - bits);
    }
  }
  (void)t;
  for (size_t i = 0; i < n->net_count; i++)
    if (!net_driven(k, (uint16_t)i)) {
      uint16_t p = add_npin(k, LU_NONE, (uint16_t)i);
      lu_elem *e = p == UINT16_MAX ? NULL : add_elem(k, LU_ELEM_ORACLE, UINT16_MAX);
      if (!e)
        return false;
      e->part = UINT16_MAX;
      e->pins[0] = p;
      for (int m = 0; m < LU_MOMENTS; m++)
        e->level[m] = lu_fn_wide();
      n->pins[p].driver = (uint16_t)(n->elem_count - 1);
    }
  return true;
}

static unsigned varying_bits(uint64_t first, uint64_t last)
{
  unsigned n = 0;
  for (uint64_t x = first ^ last; x; x >>= 1)
    n++;
  return n;
}

static lu_status set_up(builder *k, uint32_t block, uint32_t vantage)
{
  const lu_board *b = k->b;
  lu_network *n = k->n;
  k->net_of = LU_NEW(k->mem, uint16_t, b->net_count + 1);
  k->pin_of = LU_NEW(k->mem, uint16_t, b->pin_count + 1);
  k->part_of = LU_NEW(k->mem, uint16_t, b->part_count + 1);
  k->chip_of = LU_NEW(k->mem, uint16_t, b->part_count + 1);
  k->v = &b->vantages[vantage];
  k->block = block == LU_NONE ? NULL : &b->blocks[block];
  n->chips = LU_NEW(k->mem, lu_chip, k->v->chip ? 1 : CHIPS_MOST);
  if (!k->net_of || !k->pin_of || !k->part_of || !k->chip_of || !n->chips)
    return no_room(k);
  memset(k->net_of, 0xff, b->net_count * sizeof *k->net_of);
  memset(k->pin_of, 0xff, b->pin_count * sizeof *k->pin_of);
  memset(k->part_of, 0xff, b->part_count * sizeof *k->part_of);
  memset(k->chip_of, 0xff, b->part_count * sizeof *k->chip_of);
  memset(n->address_pin, 0xff, sizeof n->address_pin);
  memset(n->data_pin, 0xff, sizeof n->data_pin);
  n->board = b;
  n->vantage = vantage;
  n->block = block;
  n->data_bits = k->v->data_bits;
  if (k->v->chip) {
    n->address_bits = k->v->address_bits;
    n->words = (uint64_t)1 << n->address_bits;
  } else {
    n->words = k->block->size / k->v->bytes;
    n->base_word = k->block->base / k->v->bytes;
    n->address_bits = varying_bits(n->base_word, n->base_word + n->words - 1);
    if (n->address_bits > k->v->address_bits)
      return wrong(k, "block '%s' needs %u address lines, the vantage '%s' has %u", k->block->name,
                   n->address_bits, k->v->name, k->v->address_bits);
    if (k->block->chip_count > CHIPS_MOST)
      return wrong(k, "block '%s' has %zu chips; at most %d are taken", k->block->name,
                   k->block->chip_count, CHIPS_MOST);
  }
  return LU_OK;
}

lu_status lu_network_build(const lu_board *board, uint32_t block, uint32_t vantage, lu_arena *mem,
                           lu_network **out, lu_err *err)
{
  builder k = {.b = board, .mem = mem, .err = err};
  k.n = LU_NEW(mem, lu_network, 1);
  if (!k.n)
    return no_room(&k);
  lu_status s = set_up(&k, block, vantage);
  if (s)
    return s;
  lu_block alone = {.name = board->vantages[vantage].name};
  if (k.v->chip) {
    const lu_part_type *t = board->parts[k.v->part].type;
    alone.rom = t->memory.rom;
    k.block = &alone;
    s = add_chip(&k, k.v->part);
    if (!s && (!chip_alone(&k, (lu_vantage *)(uintptr_t)k.v, k.v->part) || !alone_sources(&k, k.v, k.v->part) ||
               !bind_chips(&k) || !index_all(&k)))
      s = no_room(&k);
  } else {
    for (size_t i = 0; !s && i < k.block->chip_count; i++)
      s = add_chip(&k, k.block->chips[i]);
    bool ok = !s;
    for (unsigned i = 0; ok && i < k.v->address_bits; i++)
      ok = add_net(&k, k.v->address_net[i]) != UINT16_MAX;
    for (unsigned i = 0; ok && i < k.v->data_bits; i++)
      ok = add_net(&k, k.v->data_net[i]) != UINT16_MAX;
    for (size_t i = 0; ok && i < k.n->chip_count; i++)
      ok = chip_nets(&k, &k.n->chips[i]);
    ok = ok && follow_all(&k);
    if (ok)
      s = add_foreign(&k);
    ok = ok && !s && follow_all(&k) && make_npins(&k);
    if (ok) {
      ok = bind_cells(&k) && bind_chips(&k) && add_address_sources(&k) && add_data_sources(&k) && add_strobes(&k) &&
           add_oracles(&k) && index_all(&k);
    }
    if (!ok && !s)
      s = no_room(&k);
  }
  if (!s)
    s = learn(&k);
  if (s)
    return s;
  *out = k.n;
  return LU_OK;
}
