/* SPDX-License-Identifier: MIT */
#include "reason/lines.h"

#include <stdlib.h>
#include <string.h>

enum { TRAIL_DEEP = 12, FEEDS_MOST = 64, FEED_DEEP = 8, TRAIL_MOST = 4096 };

/* --- trails ------------------------------------------------------------------------------------------- */

/* One bit goes in and the same bit, or its inverse, comes out. */
static bool passes_a_bit(const lu_cell *c)
{
  switch (c->kind) {
  case LU_CELL_AND:
  case LU_CELL_OR:
    return c->input_count == 1;
  case LU_CELL_XOR:
  case LU_CELL_DECODER:
    return false;
  case LU_CELL_MUX:
  case LU_CELL_LATCH:
  case LU_CELL_REGISTER:
  case LU_CELL_TRANSCEIVER:
  case LU_CELL_WIRE:
    return true;
  }
  return false;
}

static uint32_t pin_of_type(const lu_board *b, uint32_t part, uint16_t type_pin)
{
  const lu_part *p = &b->parts[part];
  for (uint32_t i = 0; i < p->pin_count; i++)
    if (b->pins[b->part_pins[p->first_pin + i]].type_pin == type_pin)
      return b->part_pins[p->first_pin + i];
  return LU_NONE;
}

typedef struct search {
  const lu_board *b;
  lu_trail *steps;
  size_t count, room;
  lu_arena *mem;
  uint8_t *seen; /* by board net */
} search;

static bool step_to(search *k, uint32_t before, uint32_t in, uint32_t part, uint16_t type_pin, const lu_cell *c)
{
  uint32_t out = pin_of_type(k->b, part, type_pin);
  uint32_t net = out == LU_NONE ? LU_NONE : k->b->pins[out].net;
  if (net == LU_NONE || k->seen[net] || k->b->nets[net].supply || k->b->nets[net].ground || k->count == TRAIL_MOST)
    return true;
  lu_trail *at = lu_arena_grow(k->mem, k->steps, k->count, &k->room, sizeof *at);
  if (!at)
    return false;
  k->steps = at;
  k->seen[net] = 1;
  at[k->count++] = (lu_trail){net, before, in, out, c, (uint16_t)(at[before].depth + 1)};
  return true;
}

/* A resistor from a line to a supply is no way on. */
static bool pull_only(const lu_board *b, uint32_t part, const lu_cell *c)
{
  if (c->kind != LU_CELL_WIRE)
    return false;
  uint32_t x = pin_of_type(b, part, c->inputs[0]), y = pin_of_type(b, part, c->outputs[0]);
  return x == LU_NONE || y == LU_NONE;
}

static bool leave_by(search *k, uint32_t at, uint32_t pin, lu_line_kind kind)
{
  const lu_pin *q = &k->b->pins[pin];
  const lu_part_type *t = k->b->parts[q->part].type;
  bool ok = true;
  for (uint16_t i = 0; ok && t && q->type_pin != UINT16_MAX && !t->memory.is_memory && i < t->cell_count; i++) {
    const lu_cell *c = &t->cells[i];
    if (!passes_a_bit(c) || pull_only(k->b, q->part, c))
      continue;
    bool both = c->kind == LU_CELL_WIRE || c->kind == LU_CELL_TRANSCEIVER || kind == LU_LINE_DATA;
    for (unsigned x = 0; ok && x < c->input_count; x++)
      if (c->inputs[x] == q->type_pin && c->output_count)
        ok = step_to(k, at, pin, q->part, c->outputs[0], c);
      else if (both && c->output_count && c->outputs[0] == q->type_pin)
        ok = step_to(k, at, pin, q->part, c->inputs[x], c);
  }
  return ok;
}

static bool trail(search *k, uint32_t net, lu_line_kind kind)
{
  k->count = k->room = 0;
  k->steps = NULL;
  memset(k->seen, 0, k->b->net_count);
  k->steps = lu_arena_grow(k->mem, NULL, 0, &k->room, sizeof *k->steps);
  if (!k->steps)
    return false;
  k->steps[k->count++] = (lu_trail){net, LU_NONE, LU_NONE, LU_NONE, NULL, 0};
  k->seen[net] = 1;
  for (size_t i = 0; i < k->count && k->steps[i].depth < TRAIL_DEEP; i++) {
    const lu_net *n = &k->b->nets[k->steps[i].net];
    for (uint32_t j = 0; j < n->pin_count; j++)
      if (!leave_by(k, (uint32_t)i, k->b->net_pins[n->first_pin + j], kind))
        return false;
  }
  return true;
}

lu_status lu_lines_trail(const lu_board *b, uint32_t net, lu_line_kind kind, lu_arena *mem, lu_trail **steps, size_t *count,
                         lu_err *err)
{
  search k = {.b = b, .mem = mem, .seen = LU_NEW(mem, uint8_t, b->net_count + 1)};
  if (!k.seen || !trail(&k, net, kind))
    return lu_fail(err, LU_ERR_NOMEM, 0, 0, "no room for a line");
  *steps = k.steps;
  *count = k.count;
  return LU_OK;
}

/* --- lines -------------------------------------------------------------------------------------------- */

typedef struct builder {
  const lu_board *b;
  const lu_network *n;
  const lu_block *block;
  const lu_vantage *v;
  lu_lines *out;
  lu_arena *mem;
  search s;
  size_t line_room, lost_room, control_room;
} builder;

static const lu_chip *chip_of(const builder *k, uint32_t part)
{
  for (size_t i = 0; k->n && i < k->n->chip_count; i++)
    if (k->n->chips[i].part == part)
      return &k->n->chips[i];
  return NULL;
}

static bool in_block(const builder *k, uint32_t part)
{
  for (size_t i = 0; i < k->block->chip_count; i++)
    if (k->block->chips[i] == part)
      return true;
  return false;
}

static bool is_var(const lu_fn *f, unsigned bit)
{
  return !f->wide && f->count == 1 && f->var[0] == bit;
}

/* The pin takes this address bit; phases has bit LU_PHASE_x set for each half of the access. */
static bool takes_address(const builder *k, const lu_part_pin *t, uint32_t part, unsigned bit, unsigned *phases)
{
  const lu_memory_shape *m = &k->b->parts[part].type->memory;
  const lu_chip *c = chip_of(k, part);
  *phases = 0;
  if (t->role != LU_ROLE_ADDRESS)
    return false;
  if (!c) {
    *phases = 1u << LU_PHASE_ALWAYS;
    return true;
  }
  for (unsigned cell = 0; cell < c->cell_bits && cell < LU_CELL_BITS_MOST; cell++) {
    bool column = c->multiplexed && cell >= c->row_bits;
    int pin = column ? (int)(cell - c->row_bits + m->column_first) : (int)cell;
    if (pin == t->index && is_var(&c->cell[cell], bit))
      *phases |= 1u << (!c->multiplexed ? LU_PHASE_ALWAYS : column ? LU_PHASE_COLUMN : LU_PHASE_ROW);
  }
  return *phases;
}

static bool takes_data(const builder *k, const lu_part_pin *t, uint32_t part, unsigned bit)
{
  if (t->role != LU_ROLE_DATA && t->role != LU_ROLE_DATA_IN && t->role != LU_ROLE_DATA_OUT)
    return false;
  const lu_chip *c = chip_of(k, part);
  if (!c || t->index < 0 || t->index >= LU_CHIP_DATA_MOST)
    return true;
  if (t->role == LU_ROLE_DATA_IN)
    return is_var(&c->in_fn[t->index], LU_VAR_DATA + bit);
  return c->column[t->index] == bit;
}

/* Pins of the block's chips on a net that take the bit in this phase. */
static size_t ends_on(const builder *k, uint32_t net, lu_line_kind kind, unsigned bit, lu_phase phase, uint32_t *out)
{
  const lu_net *n = &k->b->nets[net];
  size_t count = 0;
  for (uint32_t i = 0; i < n->pin_count; i++) {
    uint32_t pin = k->b->net_pins[n->first_pin + i], part = k->b->pins[pin].part;
    const lu_part_pin *t = lu_pin_type(k->b, pin);
    unsigned phases = 1u << LU_PHASE_ALWAYS;
    if (!t || !in_block(k, part))
      continue;
    bool hit = kind == LU_LINE_ADDRESS ? takes_address(k, t, part, bit, &phases) : takes_data(k, t, part, bit);
    if (hit && phases >> phase & 1)
      out[count++] = pin;
  }
  return count;
}

static bool take_hops(builder *k, uint32_t step, uint32_t start_pin, lu_line *l)
{
  const lu_trail *s = k->s.steps;
  size_t parts = s[step].depth;
  l->hop_count = 2 * parts + 1;
  l->hops = LU_NEW(k->mem, lu_hop, l->hop_count);
  if (!l->hops)
    return false;
  uint32_t to = l->ends[0];
  for (size_t i = l->hop_count; i > 0;) {
    const lu_trail *x = &s[step];
    l->hops[--i] = (lu_hop){x->net, LU_NONE, x->before == LU_NONE ? start_pin : x->out, to, NULL};
    if (x->before == LU_NONE)
      break;
    l->hops[--i] = (lu_hop){LU_NONE, k->b->pins[x->in].part, x->in, x->out, x->cell};
    l->inverted ^= x->cell->inverted;
    if (x->cell->phase != LU_PHASE_ALWAYS && l->phase == LU_PHASE_ALWAYS)
      l->phase = (uint8_t)x->cell->phase;
    to = x->in;
    step = x->before;
  }
  return true;
}

/* A way on through a pass of the other half of the access does not carry this one. */
static bool fits_phase(const builder *k, uint32_t step, lu_phase phase)
{
  const lu_trail *s = k->s.steps;
  for (; s[step].before != LU_NONE; step = s[step].before)
    if (phase != LU_PHASE_ALWAYS && s[step].cell->phase != LU_PHASE_ALWAYS && s[step].cell->phase != phase)
      return false;
  return true;
}

static bool add_line(builder *k, lu_line_kind kind, unsigned bit, lu_phase phase, uint32_t step, uint32_t start_pin,
                     const uint32_t *ends, size_t count)
{
  lu_lines *o = k->out;
  lu_line *at = lu_arena_grow(k->mem, o->lines, o->line_count, &k->line_room, sizeof *at);
  if (!at)
    return false;
  o->lines = at;
  lu_line *l = &at[o->line_count];
  *l = (lu_line){.kind = (uint8_t)kind, .phase = (uint8_t)phase, .bit = (uint16_t)bit, .end_count = count};
  l->ends = LU_NEW(k->mem, uint32_t, count);
  if (!l->ends)
    return false;
  memcpy(l->ends, ends, count * sizeof *ends);
  o->line_count++;
  return take_hops(k, step, start_pin, l);
}

/* A pin on the net of a part that may pass the bit on in a way that nobody has told. */
static uint32_t opaque_pin(const builder *k, uint32_t net)
{
  const lu_net *n = &k->b->nets[net];
  for (uint32_t i = 0; i < n->pin_count; i++) {
    uint32_t pin = k->b->net_pins[n->first_pin + i], part = k->b->pins[pin].part;
    const lu_part_type *t = k->b->parts[part].type;
    bool unknown = t ? t->kind == LU_PART_CUSTOM || t->kind == LU_PART_UNKNOWN : k->b->parts[part].pin_count > 2;
    if (unknown && part != k->v->part)
      return pin;
  }
  return LU_NONE;
}

static bool trace_bit(builder *k, lu_line_kind kind, unsigned bit, bool needed)
{
  bool address = kind == LU_LINE_ADDRESS, any = false;
  uint32_t net = address ? k->v->address_net[bit] : k->v->data_net[bit];
  uint32_t pin = address ? k->v->address_pin[bit] : k->v->data_pin[bit];
  if (net == LU_NONE)
    return true;
  if (!trail(&k->s, net, kind))
    return false;
  for (uint32_t i = 0; i < k->s.count; i++)
    for (int phase = LU_PHASE_ALWAYS; phase <= LU_PHASE_COLUMN; phase++) {
      uint32_t *ends = LU_NEW(k->mem, uint32_t, k->b->nets[k->s.steps[i].net].pin_count + 1);
      size_t count = ends ? ends_on(k, k->s.steps[i].net, kind, bit, (lu_phase)phase, ends) : 0;
      if (!ends)
        return false;
      if (!count || !fits_phase(k, i, (lu_phase)phase))
        continue;
      any = true;
      if (!add_line(k, kind, bit, (lu_phase)phase, i, pin, ends, count))
        return false;
    }
  if (any || !needed)
    return true;
  lu_lost_line *at = lu_arena_grow(k->mem, k->out->lost, k->out->lost_count, &k->lost_room, sizeof *at);
  if (!at)
    return false;
  k->out->lost = at;
  lu_lost_line lost = {(uint8_t)kind, (uint16_t)bit, k->s.steps[k->s.count - 1].net, LU_NONE};
  for (size_t i = k->s.count; i > 0 && lost.pin == LU_NONE; i--) {
    lost.pin = opaque_pin(k, k->s.steps[i - 1].net);
    if (lost.pin != LU_NONE)
      lost.net = k->s.steps[i - 1].net;
  }
  at[k->out->lost_count++] = lost;
  return true;
}

/* Address bits that differ within the block: the lowest ones, up to the size of one chip's cells. */
static unsigned needed_bits(const builder *k)
{
  unsigned words = 0, most = 0;
  for (uint64_t w = k->block->size / k->v->bytes; w > 1; w >>= 1)
    words++;
  for (size_t i = 0; i < k->block->chip_count; i++) {
    const lu_part_type *t = k->b->parts[k->block->chips[i]].type;
    unsigned bits = !t ? 0 : t->memory.multiplexed ? t->memory.row_bits + t->memory.column_bits : t->memory.address_pins;
    most = bits > most ? bits : most;
  }
  return words < most ? words : most;
}

/* --- control lines ------------------------------------------------------------------------------------ */

static bool is_control(const lu_part_pin *t)
{
  return t->role == LU_ROLE_SELECT || t->role == LU_ROLE_OUTPUT_ENABLE || t->role == LU_ROLE_WRITE ||
         t->role == LU_ROLE_RAS || t->role == LU_ROLE_CAS;
}

static bool drives(const lu_cell *c, uint16_t type_pin)
{
  for (unsigned i = 0; i < c->output_count; i++)
    if (c->outputs[i] == type_pin)
      return true;
  return (c->kind == LU_CELL_WIRE || c->kind == LU_CELL_TRANSCEIVER) && c->inputs[0] == type_pin;
}

static const lu_cell *driving_cell(const lu_board *b, uint32_t pin, const lu_cell *not_by)
{
  const lu_pin *q = &b->pins[pin];
  const lu_part_type *t = b->parts[q->part].type;
  for (uint16_t i = 0; t && q->type_pin != UINT16_MAX && i < t->cell_count; i++)
    if (&t->cells[i] != not_by && drives(&t->cells[i], q->type_pin) && !pull_only(b, q->part, &t->cells[i]))
      return &t->cells[i];
  return NULL;
}

/* A pin that may drive, of a part of which the inside is not known. */
static bool may_drive(const lu_board *b, uint32_t pin)
{
  const lu_part_pin *t = lu_pin_type(b, pin);
  const lu_part_type *type = b->parts[b->pins[pin].part].type;
  if (type && type->memory.is_memory)
    return false;
  if (!t)
    return true;
  return t->role == LU_ROLE_OUTPUT || t->role == LU_ROLE_STROBE || t->role == LU_ROLE_ADDRESS ||
         (t->role == LU_ROLE_NONE && type->kind == LU_PART_CUSTOM) ||
         (t->role == LU_ROLE_PASSIVE && type->cell_count == 0);
}

typedef struct feeding {
  const builder *k;
  lu_feed feeds[FEEDS_MOST];
  size_t count;
} feeding;

static bool told(const feeding *f, uint32_t net)
{
  for (size_t i = 0; i < f->count; i++)
    if (f->feeds[i].net == net)
      return true;
  return false;
}

static void feed(feeding *f, uint32_t net, unsigned depth, const lu_cell *from);

static void feed_pins(feeding *f, uint32_t part, const uint16_t *pins, unsigned count, unsigned depth, const lu_cell *from)
{
  for (unsigned i = 0; i < count; i++) {
    uint32_t pin = pin_of_type(f->k->b, part, pins[i]);
    if (pin != LU_NONE && f->k->b->pins[pin].net != LU_NONE)
      feed(f, f->k->b->pins[pin].net, depth, from);
  }
}

static void feed_cell(feeding *f, uint32_t driver, const lu_cell *c, unsigned depth)
{
  uint32_t part = f->k->b->pins[driver].part;
  if (c->kind == LU_CELL_WIRE || c->kind == LU_CELL_TRANSCEIVER) {
    uint16_t other = c->outputs[0] == f->k->b->pins[driver].type_pin ? c->inputs[0] : c->outputs[0];
    feed_pins(f, part, &other, 1, depth, c);
  } else {
    feed_pins(f, part, c->inputs, c->input_count, depth, NULL);
  }
  feed_pins(f, part, c->select, c->select_count, depth, NULL);
  for (unsigned i = 0; i < c->enable_count; i++)
    feed_pins(f, part, &c->enables[i].pin, 1, depth, NULL);
  if (c->kind == LU_CELL_LATCH || c->kind == LU_CELL_REGISTER)
    feed_pins(f, part, &c->gate.pin, 1, depth, NULL);
}

/* Tells what drives a net, then what drives that. from: the wire it was reached by, not to go back. */
static void feed(feeding *f, uint32_t net, unsigned depth, const lu_cell *from)
{
  const lu_board *b = f->k->b;
  const lu_net *n = &b->nets[net];
  if (f->count == FEEDS_MOST)
    return;
  bool seen = told(f, net) || depth > FEED_DEEP;
  lu_feed *at = &f->feeds[f->count++];
  *at = (lu_feed){(uint16_t)depth, LU_FEED_NONE, net, LU_NONE};
  if (n->supply || n->ground || seen) {
    at->end = n->supply || n->ground ? LU_FEED_CONSTANT : LU_FEED_SEEN;
    return;
  }
  const lu_cell *cell = NULL;
  for (uint32_t i = 0; i < n->pin_count && !cell; i++) {
    uint32_t pin = b->net_pins[n->first_pin + i];
    if (f->k->v->part != LU_NONE && b->pins[pin].part == f->k->v->part) {
      at->end = LU_FEED_VANTAGE;
      at->driver = pin;
      return;
    }
    if ((cell = driving_cell(b, pin, from))) {
      at->end = LU_FEED_GOES_ON;
      at->driver = pin;
    } else if (at->end == LU_FEED_NONE && may_drive(b, pin)) {
      at->end = LU_FEED_UNKNOWN;
      at->driver = pin;
    }
  }
  if (cell)
    feed_cell(f, at->driver, cell, depth + 1);
}

static bool add_control(builder *k, uint32_t net, uint32_t pin, uint8_t role)
{
  lu_lines *o = k->out;
  lu_control *c = NULL;
  for (size_t i = 0; i < o->control_count && !c; i++)
    if (o->controls[i].net == net && o->controls[i].role == role)
      c = &o->controls[i];
  if (!c) {
    lu_control *at = lu_arena_grow(k->mem, o->controls, o->control_count, &k->control_room, sizeof *at);
    if (!at)
      return false;
    o->controls = at;
    c = &at[o->control_count++];
    *c = (lu_control){.net = net, .role = role};
    c->pins = LU_NEW(k->mem, uint32_t, k->b->nets[net].pin_count + 1);
    feeding *f = LU_NEW(k->mem, feeding, 1);
    if (!c->pins || !f)
      return false;
    f->k = k;
    feed(f, net, 0, NULL);
    c->feeds = f->feeds;
    c->feed_count = f->count;
  }
  c->pins[c->pin_count++] = pin;
  return true;
}

static bool trace_controls(builder *k)
{
  for (size_t i = 0; i < k->block->chip_count; i++) {
    const lu_part *p = &k->b->parts[k->block->chips[i]];
    for (uint32_t j = 0; j < p->pin_count; j++) {
      uint32_t pin = k->b->part_pins[p->first_pin + j], net = k->b->pins[pin].net;
      const lu_part_pin *t = lu_pin_type(k->b, pin);
      if (t && net != LU_NONE && is_control(t) && !add_control(k, net, pin, (uint8_t)t->role))
        return false;
    }
  }
  return true;
}

lu_status lu_lines_trace(const lu_board *b, uint32_t block, uint32_t vantage, const lu_network *network, lu_arena *mem,
                         lu_lines **out, lu_err *err)
{
  builder k = {.b = b, .n = network, .block = &b->blocks[block], .v = &b->vantages[vantage], .mem = mem};
  k.s = (search){.b = b, .mem = mem, .seen = LU_NEW(mem, uint8_t, b->net_count + 1)};
  k.out = LU_NEW(mem, lu_lines, 1);
  bool ok = k.s.seen && k.out;
  if (ok) {
    k.out->block = block;
    k.out->vantage = vantage;
  }
  unsigned needed = needed_bits(&k);
  for (unsigned i = 0; ok && i < k.v->address_bits; i++)
    ok = trace_bit(&k, LU_LINE_ADDRESS, i, i < needed);
  for (unsigned i = 0; ok && i < k.v->data_bits; i++)
    ok = trace_bit(&k, LU_LINE_DATA, i, true);
  if (!ok || !trace_controls(&k))
    return lu_fail(err, LU_ERR_NOMEM, 0, 0, "no room for the lines");
  *out = k.out;
  return LU_OK;
}
