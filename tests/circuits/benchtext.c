/* SPDX-License-Identifier: MIT */
#include "benchtext.h"

#include <ctype.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { PINS_A_GATE = 64, NAME_MOST = 64 };

uint64_t bench_random(uint64_t *state)
{
  /* splitmix64; Steele, Lea, Flood, "Fast splittable pseudorandom number generators" (2014) */
  uint64_t x = *state += 0x9e3779b97f4a7c15u;
  x = (x ^ (x >> 30)) * 0xbf58476d1ce4e5b9u;
  x = (x ^ (x >> 27)) * 0x94d049bb133111ebu;
  return x ^ (x >> 31);
}

static const char *const op_names[] = {"INPUT", "ZERO", "ONE", "BUFF", "NOT", "AND", "NAND", "OR", "NOR", "XOR", "XNOR"};
enum { OPS = sizeof op_names / sizeof *op_names };

/* --- reading ------------------------------------------------------------------------------------------ */

typedef struct line {
  const char *name;
  uint8_t op;
  uint32_t first, count; /* names read: run of reads[] */
  uint32_t number;       /* of the gate, once placed; UINT32_MAX before */
  bool open;             /* being placed */
} line;

typedef struct reader {
  const char *text;
  size_t len, at;
  lu_arena *mem;
  lu_err *err;
  size_t line_count, line_room, read_count, read_room, output_count, output_room;
  line *lines;
  const char **reads, **outputs;
  uint32_t *by_name;     /* hash -> line + 1 */
  size_t table;
  bench_circuit *out;
} reader;

static void skip(reader *r)
{
  while (r->at < r->len && (isspace((unsigned char)r->text[r->at]) || r->text[r->at] == '#')) {
    if (r->text[r->at] == '#')
      while (r->at < r->len && r->text[r->at] != '\n')
        r->at++;
    else
      r->at++;
  }
}

static lu_status unexpected(reader *r, const char *expected)
{
  return lu_fail_at(r->err, LU_ERR_SYNTAX, r->text, r->len, r->at, "expected %s", expected);
}

static lu_status word(reader *r, const char **out)
{
  skip(r);
  size_t from = r->at;
  while (r->at < r->len && (isalnum((unsigned char)r->text[r->at]) || strchr("_.[]", r->text[r->at])))
    r->at++;
  if (r->at == from || r->at - from > NAME_MOST)
    return unexpected(r, "a name");
  *out = lu_arena_text(r->mem, r->text + from, r->at - from);
  return *out ? LU_OK : lu_fail(r->err, LU_ERR_NOMEM, 0, 0, "no room");
}

static lu_status sign(reader *r, char c)
{
  char what[] = {'\'', c, '\'', 0};
  skip(r);
  if (r->at == r->len || r->text[r->at] != c)
    return unexpected(r, what);
  r->at++;
  return LU_OK;
}

static bool push_name(reader *r, const char ***at, size_t *count, size_t *room, const char *name)
{
  const char **more = lu_arena_grow(r->mem, (void *)*at, *count, room, sizeof *more);
  if (!more)
    return false;
  *at = more;
  more[(*count)++] = name;
  return true;
}

static lu_status gate_line(reader *r, const char *name)
{
  const char *op;
  line l = {.name = name, .op = OPS, .first = (uint32_t)r->read_count, .number = UINT32_MAX};
  lu_status bad = sign(r, '=');
  if (!bad)
    bad = word(r, &op);
  for (unsigned k = LU_GATE_BUF; !bad && k < OPS; k++)
    if (!strcmp(op_names[k], op) || (k == LU_GATE_BUF && !strcmp(op, "BUF")))
      l.op = (uint8_t)k;
  if (!bad && l.op == OPS)
    return unexpected(r, "a gate before this");
  if (!bad)
    bad = sign(r, '(');
  for (; !bad; l.count++) {
    const char *in;
    bad = word(r, &in);
    if (!bad && !push_name(r, &r->reads, &r->read_count, &r->read_room, in))
      return lu_fail(r->err, LU_ERR_NOMEM, 0, 0, "no room");
    skip(r);
    if (bad || r->at == r->len || r->text[r->at] != ',') {
      l.count++;
      break;
    }
    r->at++;
  }
  if (!bad)
    bad = sign(r, ')');
  line *more = bad ? NULL : lu_arena_grow(r->mem, r->lines, r->line_count, &r->line_room, sizeof *more);
  if (bad || !more)
    return bad ? bad : lu_fail(r->err, LU_ERR_NOMEM, 0, 0, "no room");
  r->lines = more;
  more[r->line_count++] = l;
  return LU_OK;
}

static lu_status port_line(reader *r, bool input)
{
  const char *name = NULL;
  lu_status bad = sign(r, '(');
  if (!bad)
    bad = word(r, &name);
  if (!bad)
    bad = sign(r, ')');
  if (bad)
    return bad;
  if (!input)
    return push_name(r, &r->outputs, &r->output_count, &r->output_room, name) ? LU_OK : lu_fail(r->err, LU_ERR_NOMEM, 0, 0, "no room");
  line *more = lu_arena_grow(r->mem, r->lines, r->line_count, &r->line_room, sizeof *more);
  if (!more)
    return lu_fail(r->err, LU_ERR_NOMEM, 0, 0, "no room");
  r->lines = more;
  more[r->line_count++] = (line){.name = name, .op = LU_GATE_INPUT, .number = UINT32_MAX};
  return LU_OK;
}

static size_t slot(const reader *r, const char *name)
{
  uint32_t h = 2166136261u;
  for (const char *p = name; *p; p++)
    h = (h ^ (uint8_t)*p) * 16777619u;
  size_t at = h % r->table;
  while (r->by_name[at] && strcmp(r->lines[r->by_name[at] - 1].name, name))
    at = (at + 1) % r->table;
  return at;
}

/* Places a line behind those that it reads. */
static lu_status place(reader *r, uint32_t at)
{
  line *l = &r->lines[at];
  bench_circuit *c = r->out;
  if (l->number != UINT32_MAX)
    return LU_OK;
  if (l->open)
    return lu_fail(r->err, LU_ERR_VALUE, 0, 0, "%s follows from itself", l->name);
  l->open = true;
  for (uint32_t i = 0; i < l->count; i++) {
    const char *name = r->reads[l->first + i];
    uint32_t from = r->by_name[slot(r, name)];
    lu_status bad = from ? place(r, from - 1) : lu_fail(r->err, LU_ERR_VALUE, 0, 0, "nothing drives %s, which %s reads", name, l->name);
    if (bad)
      return bad;
  }
  l->number = (uint32_t)c->count;
  c->names[c->count] = l->name;
  c->gates[c->count++] = (lu_gate){.op = l->op, .first = (uint32_t)c->pin_count, .count = l->count};
  for (uint32_t i = 0; i < l->count; i++)
    c->pins[c->pin_count++] = r->lines[r->by_name[slot(r, r->reads[l->first + i])] - 1].number;
  return LU_OK;
}

static lu_status put_in_order(reader *r)
{
  bench_circuit *c = r->out;
  r->table = 2 * r->line_count + 1;
  r->by_name = LU_NEW(r->mem, uint32_t, r->table);
  c->gates = LU_NEW(r->mem, lu_gate, r->line_count + 1);
  c->names = LU_NEW(r->mem, const char *, r->line_count + 1);
  c->pins = LU_NEW(r->mem, uint32_t, r->read_count + 1);
  c->outputs = LU_NEW(r->mem, uint32_t, r->output_count + 1);
  if (!r->by_name || !c->gates || !c->names || !c->pins || !c->outputs)
    return lu_fail(r->err, LU_ERR_NOMEM, 0, 0, "no room");
  for (uint32_t i = 0; i < r->line_count; i++) {
    size_t at = slot(r, r->lines[i].name);
    if (r->by_name[at])
      return lu_fail(r->err, LU_ERR_VALUE, 0, 0, "%s is driven twice", r->lines[i].name);
    r->by_name[at] = i + 1;
  }
  for (unsigned pass = 0; pass < 2; pass++) /* inputs first, in the order of the file */
    for (uint32_t i = 0; i < r->line_count; i++) {
      lu_status bad = pass == (r->lines[i].op != LU_GATE_INPUT) ? place(r, i) : LU_OK;
      if (bad)
        return bad;
      if (!pass)
        c->input_count = c->count;
    }
  for (size_t i = 0; i < r->output_count; i++) {
    uint32_t from = r->by_name[slot(r, r->outputs[i])];
    if (!from)
      return lu_fail(r->err, LU_ERR_VALUE, 0, 0, "nothing drives the output %s", r->outputs[i]);
    c->outputs[c->output_count++] = r->lines[from - 1].number;
  }
  return LU_OK;
}

lu_status bench_read(const char *text, size_t len, lu_arena *mem, bench_circuit *out, lu_err *err)
{
  reader r = {.text = text, .len = len, .mem = mem, .err = err, .out = out};
  *out = (bench_circuit){0};
  for (skip(&r); r.at < len; skip(&r)) {
    const char *name;
    lu_status bad = word(&r, &name);
    if (!bad)
      bad = !strcmp(name, "INPUT") ? port_line(&r, true) : !strcmp(name, "OUTPUT") ? port_line(&r, false) : gate_line(&r, name);
    if (bad)
      return bad;
  }
  return put_in_order(&r);
}

void bench_write(const bench_circuit *c, void *stream)
{
  FILE *f = stream;
  for (size_t g = 0; g < c->input_count; g++)
    fprintf(f, "INPUT(%s)\n", c->names[g]);
  for (size_t o = 0; o < c->output_count; o++)
    fprintf(f, "OUTPUT(%s)\n", c->names[c->outputs[o]]);
  for (size_t g = c->input_count; g < c->count; g++) {
    fprintf(f, "%s = %s(", c->names[g], op_names[c->gates[g].op]);
    for (uint32_t i = 0; i < c->gates[g].count; i++)
      fprintf(f, "%s%s", i ? ", " : "", c->names[c->pins[c->gates[g].first + i]]);
    fprintf(f, ")\n");
  }
}

/* --- circuits by rule --------------------------------------------------------------------------------- */

typedef struct maker {
  bench_circuit *c;
  lu_arena *mem;
} maker;

static bool make_room(maker *m, size_t gates, size_t inputs)
{
  bench_circuit *c = m->c;
  *c = (bench_circuit){0};
  c->gates = LU_NEW(m->mem, lu_gate, gates + inputs);
  c->names = LU_NEW(m->mem, const char *, gates + inputs);
  c->pins = LU_NEW(m->mem, uint32_t, 2 * gates + 1);
  c->outputs = LU_NEW(m->mem, uint32_t, gates + inputs);
  if (!c->gates || !c->names || !c->pins || !c->outputs)
    return false;
  for (; c->count < inputs; c->count++)
    c->names[c->count] = lu_arena_printf(m->mem, "i%zu", c->count);
  c->input_count = inputs;
  return true;
}

static uint32_t gate(maker *m, lu_gate_op op, uint32_t a, uint32_t b)
{
  bench_circuit *c = m->c;
  c->names[c->count] = lu_arena_printf(m->mem, "g%zu", c->count);
  c->gates[c->count] = (lu_gate){.op = (uint8_t)op, .first = (uint32_t)c->pin_count, .count = 2};
  c->pins[c->pin_count++] = a;
  c->pins[c->pin_count++] = b;
  return (uint32_t)c->count++;
}

/* Adds three bits, or two (UINT32_MAX: none); returns the sum, *carry. */
static uint32_t add(maker *m, uint32_t a, uint32_t b, uint32_t *carry)
{
  if (*carry == UINT32_MAX) {
    *carry = gate(m, LU_GATE_AND, a, b);
    return gate(m, LU_GATE_XOR, a, b);
  }
  uint32_t half = gate(m, LU_GATE_XOR, a, b), c = *carry;
  uint32_t both = gate(m, LU_GATE_AND, a, b), one = gate(m, LU_GATE_AND, half, c);
  *carry = gate(m, LU_GATE_OR, both, one);
  return gate(m, LU_GATE_XOR, half, c);
}

/* Rows of partial products, each added with rippling carries to the sum of those before it. */
static bool make_mult(maker *m, unsigned n)
{
  uint32_t sum[65];
  if (n < 2 || n > 64 || !make_room(m, 7 * (size_t)n * n, 2 * (size_t)n))
    return false;
  for (unsigned i = 0; i < n; i++)
    sum[i] = gate(m, LU_GATE_AND, i, n);
  sum[n] = UINT32_MAX;
  for (unsigned j = 1; j < n; j++) {
    m->c->outputs[m->c->output_count++] = sum[0];
    uint32_t carry = UINT32_MAX;
    for (unsigned i = 0; i < n; i++) {
      uint32_t product = gate(m, LU_GATE_AND, i, n + j);
      if (sum[i + 1] == UINT32_MAX && i + 1 == n && carry == UINT32_MAX)
        sum[i] = product;
      else if (sum[i + 1] == UINT32_MAX) {
        uint32_t in = carry;
        carry = UINT32_MAX;
        sum[i] = add(m, product, in, &carry);
      } else
        sum[i] = add(m, product, sum[i + 1], &carry);
    }
    sum[n] = carry;
  }
  for (unsigned i = 0; i <= n; i++)
    if (sum[i] != UINT32_MAX)
      m->c->outputs[m->c->output_count++] = sum[i];
  return true;
}

static bool make_random(maker *m, size_t gates, uint64_t seed)
{
  static const lu_gate_op ops[] = {LU_GATE_AND, LU_GATE_OR, LU_GATE_NAND, LU_GATE_NOR, LU_GATE_XOR, LU_GATE_NAND};
  size_t inputs = gates < 20 ? 5 : gates < 500 ? 36 : gates < 2000 ? 60 : 200;
  bool *read = LU_NEW(m->mem, bool, gates + inputs);
  if (!read || !gates || !make_room(m, gates, inputs))
    return false;
  for (size_t k = 0; k < gates; k++) {
    size_t most = inputs + k, window = 3 * inputs < most ? 3 * inputs : most;
    uint32_t a = (uint32_t)(most - 1 - bench_random(&seed) % window), b = (uint32_t)(most - 1 - bench_random(&seed) % window);
    gate(m, ops[bench_random(&seed) % 6], a, b);
    read[a] = read[b] = true;
  }
  for (size_t k = inputs; k < inputs + gates; k++)
    if (!read[k])
      m->c->outputs[m->c->output_count++] = (uint32_t)k;
  return true;
}

bool bench_make(const char *name, uint64_t seed, lu_arena *mem, bench_circuit *out)
{
  maker m = {.c = out, .mem = mem};
  if (!strncmp(name, "mult", 4))
    return make_mult(&m, (unsigned)strtoul(name + 4, NULL, 10));
  return !strncmp(name, "rand", 4) && make_random(&m, strtoul(name + 4, NULL, 10), seed);
}

/* --- observations ------------------------------------------------------------------------------------- */

uint8_t bench_gate(const bench_circuit *c, uint32_t g, const uint8_t *value)
{
  const lu_gate *x = &c->gates[g];
  uint8_t all = 1, any = 0, odd = 0;
  for (uint32_t i = 0; i < x->count; i++) {
    uint8_t v = value[c->pins[x->first + i]];
    all &= v;
    any |= v;
    odd ^= v;
  }
  switch (x->op) {
  case LU_GATE_ZERO: return 0;
  case LU_GATE_ONE: return 1;
  case LU_GATE_NOT:
  case LU_GATE_NAND: return !all;
  case LU_GATE_OR: return any;
  case LU_GATE_NOR: return !any;
  case LU_GATE_XOR: return odd;
  case LU_GATE_XNOR: return !odd;
  default: return all;
  }
}

static void run(const bench_circuit *c, const uint8_t *in, const bool *bad, uint8_t *value)
{
  for (uint32_t g = 0; g < c->count; g++)
    value[g] = g < c->input_count ? in[g] : bench_gate(c, g, value) ^ (bad && bad[g]);
}

bool bench_pack(const bench_circuit *c, lu_arena *mem, bench_seen *s)
{
  size_t blocks = (s->count + 63) / 64;
  uint64_t *in = LU_NEW(mem, uint64_t, blocks * c->input_count + 1), *out = LU_NEW(mem, uint64_t, blocks * c->output_count + 1);
  if (!in || !out)
    return false;
  for (size_t n = 0; n < s->count; n++) {
    for (size_t i = 0; i < c->input_count; i++)
      in[n / 64 * c->input_count + i] |= (uint64_t)s->in[n * c->input_count + i] << n % 64;
    for (size_t o = 0; o < c->output_count; o++)
      out[n / 64 * c->output_count + o] |= (uint64_t)s->out[n * c->output_count + o] << n % 64;
  }
  s->packed = (lu_circuit_seen){.count = s->count, .in = in, .out = out};
  return true;
}

bool bench_observe(const bench_circuit *c, unsigned faults, size_t count, uint64_t seed, lu_arena *mem, bench_seen *out, uint32_t *bad_out)
{
  bool *bad = LU_NEW(mem, bool, c->count);
  uint8_t *good = LU_NEW(mem, uint8_t, c->count), *seen = LU_NEW(mem, uint8_t, c->count);
  *out = (bench_seen){.in = LU_NEW(mem, uint8_t, count * c->input_count + 1), .out = LU_NEW(mem, uint8_t, count * c->output_count + 1)};
  if (!bad || !good || !seen || !out->in || !out->out)
    return false;
  for (unsigned f = 0; f < faults;) {
    size_t g = c->input_count + bench_random(&seed) % (c->count - c->input_count);
    if (bad[g])
      continue;
    bad[g] = true;
    if (bad_out)
      bad_out[f] = (uint32_t)g;
    f++;
  }
  for (unsigned tries = 0; out->count < count && tries < 100000; tries++) {
    uint8_t *in = out->in + out->count * c->input_count;
    bool wrong = !faults;
    for (size_t i = 0; i < c->input_count; i++)
      in[i] = bench_random(&seed) >> 32 & 1;
    run(c, in, NULL, good);
    run(c, in, bad, seen);
    for (size_t o = 0; o < c->output_count; o++) {
      out->out[out->count * c->output_count + o] = seen[c->outputs[o]];
      wrong |= seen[c->outputs[o]] != good[c->outputs[o]];
    }
    out->count += wrong;
  }
  return out->count == count && bench_pack(c, mem, out);
}

/* --- CNF ---------------------------------------------------------------------------------------------- */

typedef struct cnf {
  FILE *f;            /* NULL: only count */
  size_t clauses, variables;
} cnf;

static void clause(cnf *k, const long *literal, unsigned count)
{
  k->clauses++;
  for (unsigned i = 0; i < count && k->f; i++)
    fprintf(k->f, "%ld ", literal[i]);
  if (k->f)
    fprintf(k->f, "0\n");
}

/* One row of each gate's truth table is a clause; gates of two inputs at most, as all made circuits are. */
static void gate_clauses(cnf *k, const bench_circuit *c, size_t base, uint32_t g)
{
  const lu_gate *x = &c->gates[g];
  uint8_t value[2];
  bench_circuit one = *c;
  uint32_t pins[2] = {0, 1};
  lu_gate alone = {.op = x->op, .count = x->count};
  one.gates = &alone;
  one.pins = pins;
  for (unsigned row = 0; row < 1u << x->count; row++) {
    long l[4] = {(long)g + 1};
    for (uint32_t i = 0; i < x->count; i++) {
      value[i] = row >> i & 1;
      long v = (long)(base + c->pins[x->first + i] + 1);
      l[1 + i] = value[i] ? -v : v;
    }
    long z = (long)(base + g + 1);
    l[1 + x->count] = bench_gate(&one, 0, value) ? z : -z;
    clause(k, l, 2 + x->count);
  }
}

/* At most bound of the gates: sequential counter (C. Sinz, CP 2005; from memory). */
static void counter(cnf *k, const bench_circuit *c, unsigned bound)
{
  size_t first = k->variables;
  for (size_t g = c->input_count; g < c->count; g++) {
    size_t row = g - c->input_count;
    long x = (long)g + 1;
#define S(r, j) ((long)(first + (r) * bound + (j) + 1))
    if (!bound) {
      clause(k, (long[]){-x}, 1);
      continue;
    }
    clause(k, (long[]){-x, S(row, 0)}, 2);
    for (unsigned j = 0; j < bound && row; j++) {
      clause(k, (long[]){-S(row - 1, j), S(row, j)}, 2);
      if (j)
        clause(k, (long[]){-x, -S(row - 1, j - 1), S(row, j)}, 3);
    }
    if (row)
      clause(k, (long[]){-x, -S(row - 1, bound - 1)}, 2);
    for (unsigned j = 1; j < bound && !row; j++)
      clause(k, (long[]){-S(0, j)}, 1);
#undef S
  }
  k->variables += (c->count - c->input_count) * bound;
}

static void all_clauses(cnf *k, const bench_circuit *c, const bench_seen *s, unsigned bound)
{
  k->variables = c->count;
  for (size_t n = 0; n < s->count; n++) {
    size_t base = k->variables;
    k->variables += c->count;
    for (size_t g = c->input_count; g < c->count; g++)
      gate_clauses(k, c, base, (uint32_t)g);
    for (size_t i = 0; i < c->input_count; i++)
      clause(k, (long[]){s->in[n * c->input_count + i] ? (long)(base + i + 1) : -(long)(base + i + 1)}, 1);
    for (size_t o = 0; o < c->output_count; o++) {
      long v = (long)(base + c->outputs[o] + 1);
      clause(k, (long[]){s->out[n * c->output_count + o] ? v : -v}, 1);
    }
  }
  counter(k, c, bound);
}

void bench_cnf(const bench_circuit *c, const bench_seen *s, unsigned bound, void *stream)
{
  cnf count = {0}, write = {.f = stream};
  all_clauses(&count, c, s, bound);
  fprintf(write.f, "p cnf %zu %zu\n", count.variables, count.clauses);
  all_clauses(&write, c, s, bound);
}
