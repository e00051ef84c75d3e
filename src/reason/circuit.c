/* SPDX-License-Identifier: MIT */
/* Building a circuit: chains of two-input links, readers, regions; and running it. */
#include "reason/circuit_in.h"

#include <string.h>

enum { KIND_AND, KIND_NAND, KIND_OR, KIND_NOR, KIND_XOR, KIND_XNOR };

#define ALL UINT64_MAX
const lu_link_kind lu_link_kinds[] = {
    [KIND_AND] = {0, 0, 0},       [KIND_NAND] = {0, 0, ALL}, [KIND_OR] = {ALL, 0, ALL},
    [KIND_NOR] = {ALL, 0, 0},     [KIND_XOR] = {0, ALL, 0},  [KIND_XNOR] = {0, ALL, ALL},
};

/* By lu_gate_op: links of the chain, its last link, inputs that it takes. */
static const struct {
  uint8_t inner, last;
  uint32_t least, most;
} shapes[] = {
    [LU_GATE_INPUT] = {0, 0, 0, 0},
    [LU_GATE_ZERO] = {0, 0, 0, 0},
    [LU_GATE_ONE] = {0, 0, 0, 0},
    [LU_GATE_BUF] = {KIND_AND, KIND_AND, 1, 1},
    [LU_GATE_NOT] = {KIND_AND, KIND_NAND, 1, 1},
    [LU_GATE_AND] = {KIND_AND, KIND_AND, 1, UINT32_MAX},
    [LU_GATE_NAND] = {KIND_AND, KIND_NAND, 1, UINT32_MAX},
    [LU_GATE_OR] = {KIND_OR, KIND_OR, 1, UINT32_MAX},
    [LU_GATE_NOR] = {KIND_OR, KIND_NOR, 1, UINT32_MAX},
    [LU_GATE_XOR] = {KIND_XOR, KIND_XOR, 2, UINT32_MAX},
    [LU_GATE_XNOR] = {KIND_XOR, KIND_XNOR, 2, UINT32_MAX},
};
enum { OPS = sizeof shapes / sizeof *shapes };

static lu_status check(const lu_gate *gates, size_t count, const uint32_t *pins, size_t pin_count, const uint32_t *outputs,
                       size_t output_count, lu_err *err)
{
  if (count > LU_CIRCUIT_GATES_MOST || pin_count > LU_CIRCUIT_PINS_MOST || output_count > LU_CIRCUIT_GATES_MOST)
    return lu_fail(err, LU_ERR_LIMIT, 0, 0, "a circuit of %zu gates, %zu inputs of gates, %zu outputs (limits %d, %d, %d)", count,
                   pin_count, output_count, LU_CIRCUIT_GATES_MOST, LU_CIRCUIT_PINS_MOST, LU_CIRCUIT_GATES_MOST);
  for (size_t g = 0; g < count; g++) {
    const lu_gate *x = &gates[g];
    if (x->op >= OPS || x->count < shapes[x->op].least || x->count > shapes[x->op].most)
      return lu_fail(err, LU_ERR_VALUE, 0, 0, "gate %zu, kind %u, has %u inputs", g, x->op, x->count);
    if (x->first > pin_count || x->count > pin_count - x->first)
      return lu_fail(err, LU_ERR_VALUE, 0, 0, "gate %zu has inputs past the list's end", g);
    for (uint32_t i = 0; i < x->count; i++)
      if (pins[x->first + i] >= g)
        return lu_fail(err, LU_ERR_VALUE, 0, 0, "gate %zu reads %u, which does not come before it", g, pins[x->first + i]);
  }
  for (size_t o = 0; o < output_count; o++)
    if (outputs[o] >= count)
      return lu_fail(err, LU_ERR_VALUE, 0, 0, "output %zu is signal %u of %zu", o, outputs[o], count);
  return LU_OK;
}

static void add_link(lu_circuit *c, uint32_t *depth, uint32_t a, uint32_t b, uint32_t kind)
{
  uint32_t n = c->node_count++;
  bool swap = depth[a] > depth[b];
  c->link[n] = (lu_link){.a = swap ? b : a, .b = swap ? a : b, .kind = kind};
  depth[n] = depth[swap ? a : b] + 1;
}

/* Inputs and constants first, then the links. depth: scratch by node. */
static void build_links(lu_circuit *c, const lu_gate *gates, const uint32_t *pins, uint32_t *depth)
{
  for (uint32_t g = 0; g < c->gate_count; g++)
    if (!shapes[gates[g].op].most) {
      c->node_of[g] = c->node_count;
      c->gate_of[c->node_count] = g;
      if (gates[g].op == LU_GATE_INPUT)
        c->input[c->input_count++] = c->node_count;
      c->fixed[c->node_count++] = gates[g].op == LU_GATE_ONE ? ALL : 0;
    }
  c->first_link = c->node_count;
  for (uint32_t g = 0; g < c->gate_count; g++) {
    const lu_gate *x = &gates[g];
    if (!shapes[x->op].most)
      continue;
    uint32_t so_far = c->node_of[pins[x->first]];
    for (uint32_t i = 1; i + 1 < x->count; i++) {
      add_link(c, depth, so_far, c->node_of[pins[x->first + i]], shapes[x->op].inner);
      so_far = c->node_count - 1;
      c->gate_of[so_far] = UINT32_MAX;
    }
    add_link(c, depth, so_far, x->count > 1 ? c->node_of[pins[x->first + x->count - 1]] : so_far, shapes[x->op].last);
    c->node_of[g] = c->node_count - 1;
    c->gate_of[c->node_count - 1] = g;
  }
}

/* Runs by node: first[n] .. first[n + 1]; count[n + 1] holds the length of n's run and becomes its end. */
static void sum_up(uint32_t *first, uint32_t nodes)
{
  for (uint32_t n = 0; n < nodes; n++)
    first[n + 1] += first[n];
}

static void build_readers(lu_circuit *c, uint32_t *at)
{
  for (uint32_t n = c->first_link; n < c->node_count; n++) {
    c->reader_first[c->link[n].a + 1]++;
    if (c->link[n].b != c->link[n].a)
      c->reader_first[c->link[n].b + 1]++;
  }
  sum_up(c->reader_first, c->node_count);
  memcpy(at, c->reader_first, c->node_count * sizeof *at);
  for (uint32_t n = c->first_link; n < c->node_count; n++) {
    c->reader[at[c->link[n].a]++] = n;
    if (c->link[n].b != c->link[n].a)
      c->reader[at[c->link[n].b]++] = n;
  }
  for (uint32_t o = 0; o < c->output_count; o++)
    c->out_first[c->output[o] + 1]++;
  sum_up(c->out_first, c->node_count);
  memcpy(at, c->out_first, c->node_count * sizeof *at);
  for (uint32_t o = 0; o < c->output_count; o++)
    c->out_of[at[c->output[o]]++] = o;
}

/* Nearest dominators towards a sink behind all outputs, from the back: one pass, for what a node reads
 * comes before it. Then the farthest one below the sink. idom: scratch by node. */
static void build_regions(lu_circuit *c, uint32_t *idom)
{
  const uint32_t sink = c->node_count;
  for (uint32_t n = c->node_count; n-- > 0;) {
    uint32_t at = c->out_first[n + 1] > c->out_first[n] ? sink : UINT32_MAX;
    for (uint32_t r = c->reader_first[n]; r < c->reader_first[n + 1]; r++) {
      uint32_t x = c->reader[r];
      if (c->region[x] == UINT32_MAX)
        continue;
      if (at == UINT32_MAX)
        at = x;
      while (at != x) {
        uint32_t *nearer = at < x ? &at : &x;
        *nearer = idom[*nearer];
      }
    }
    idom[n] = at;
    c->region[n] = at == UINT32_MAX ? UINT32_MAX : at == sink ? n : c->region[at];
  }
}

/* All arrays, and a scratch one by node; NULL if memory is refused. */
static uint32_t *take_room(lu_circuit *c, const lu_gate *gates, lu_arena *mem)
{
  size_t nodes = 1;
  for (uint32_t g = 0; g < c->gate_count; g++)
    nodes += gates[g].count > 2 ? gates[g].count - 1 : 1;
  c->node_of = LU_NEW(mem, uint32_t, c->gate_count + 1);
  c->gate_of = LU_NEW(mem, uint32_t, nodes);
  c->input = LU_NEW(mem, uint32_t, nodes);
  c->output = LU_NEW(mem, uint32_t, c->output_count + 1);
  c->fixed = LU_NEW(mem, uint64_t, nodes);
  c->link = LU_NEW(mem, lu_link, nodes);
  c->region = LU_NEW(mem, uint32_t, nodes);
  c->reader_first = LU_NEW(mem, uint32_t, nodes + 1);
  c->reader = LU_NEW(mem, uint32_t, 2 * nodes);
  c->out_first = LU_NEW(mem, uint32_t, nodes + 1);
  c->out_of = LU_NEW(mem, uint32_t, c->output_count + 1);
  uint32_t *scratch = LU_NEW(mem, uint32_t, nodes);
  if (!c->node_of || !c->gate_of || !c->input || !c->output || !c->fixed || !c->link || !c->region || !c->reader_first ||
      !c->reader || !c->out_first || !c->out_of)
    return NULL;
  return scratch;
}

lu_status lu_circuit_new(const lu_gate *gates, size_t count, const uint32_t *pins, size_t pin_count, const uint32_t *outputs,
                         size_t output_count, lu_arena *mem, lu_circuit **out, lu_err *err)
{
  lu_status bad = check(gates, count, pins, pin_count, outputs, output_count, err);
  if (bad)
    return bad;
  if (!count || !output_count)
    return lu_fail(err, LU_ERR_VALUE, 0, 0, "a circuit needs a gate and an output");
  lu_circuit *c = LU_NEW(mem, lu_circuit, 1);
  if (!c)
    return lu_fail(err, LU_ERR_NOMEM, 0, 0, "no room for a circuit");
  c->gate_count = (uint32_t)count;
  c->output_count = (uint32_t)output_count;
  uint32_t *scratch = take_room(c, gates, mem);
  if (!scratch)
    return lu_fail(err, LU_ERR_NOMEM, 0, 0, "no room for a circuit of %zu gates", count);
  build_links(c, gates, pins, scratch);
  for (uint32_t o = 0; o < c->output_count; o++)
    c->output[o] = c->node_of[outputs[o]];
  build_readers(c, scratch);
  build_regions(c, scratch);
  *out = c;
  return LU_OK;
}

size_t lu_circuit_inputs(const lu_circuit *c)
{
  return c->input_count;
}

uint32_t lu_circuit_region(const lu_circuit *c, uint32_t gate)
{
  uint32_t n = c->region[c->node_of[gate]];
  return n == UINT32_MAX ? n : c->gate_of[n];
}

lu_status lu_circuit_run(const lu_circuit *c, const lu_circuit_seen *seen, uint64_t *out, lu_arena *mem, lu_err *err)
{
  uint64_t *value = LU_NEW(mem, uint64_t, c->node_count);
  if (!value)
    return lu_fail(err, LU_ERR_NOMEM, 0, 0, "no room to run a circuit");
  memcpy(value, c->fixed, c->first_link * sizeof *value);
  for (size_t block = 0; block * 64 < seen->count; block++) {
    for (uint32_t i = 0; i < c->input_count; i++)
      value[c->input[i]] = seen->in[block * c->input_count + i];
    for (uint32_t n = c->first_link; n < c->node_count; n++)
      value[n] = lu_link_value(&c->link[n], value);
    size_t left = seen->count - block * 64;
    uint64_t lanes = left < 64 ? (UINT64_C(1) << left) - 1 : ALL;
    for (uint32_t o = 0; o < c->output_count; o++)
      out[block * c->output_count + o] = value[c->output[o]] & lanes;
  }
  return LU_OK;
}
