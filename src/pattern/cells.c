/* SPDX-License-Identifier: MIT */
#include "pattern/cells.h"

#include <stdio.h>
#include <string.h>

/* ---- models ---- */

enum { ANY = 2, KEEP = 3, INVERT = 2 };

/* How one primitive acts. Slots: 0 victim, 1 first aggressor, 2 second aggressor. */
typedef enum rule_kind {
  RULE_NONE,
  RULE_STATE,       /* while the aggressor is in its state, the victim turns and stays so */
  RULE_HELD,        /* as STATE, but the cell keeps its value: only reads are wrong */
  RULE_OP,          /* an operation on the victim goes wrong */
  RULE_DISTURB,     /* an operation on the aggressor changes the victim */
  RULE_OP_PAIR,     /* a write and the read straight after it, on the victim */
  RULE_DISTURB_PAIR,/* the same on the aggressor */
  RULE_LOSE         /* the victim loses its value in a delay */
} rule_kind;

typedef struct rule {
  rule_kind kind;
  uint8_t slot;    /* aggressor, 0 = none */
  uint8_t state;   /* aggressor's state, or ANY */
  uint8_t before;  /* value of the operated cell before (the first) operation */
  uint8_t write;   /* 1: sensitised by a write */
  uint8_t value;   /* written or read */
  uint8_t victim;  /* victim's value that is hit, or ANY */
  uint8_t effect;  /* 0, 1, INVERT or KEEP: what becomes of the victim */
  uint8_t returns; /* value that the read gives, or ANY: what the cell holds */
} rule;

/* Faults outside the cell: what an address reaches, what an undriven read gives. */
typedef enum path {
  PATH_GOOD,
  PATH_OPEN,   /* slot 0 reaches nothing */
  PATH_B,      /* slot 0 reaches nothing, slot 1 reaches both cells */
  PATH_C,      /* both reach the cell of slot 1 */
  PATH_D,      /* slot 1 reaches both cells, slot 0 its own */
  PATH_D2,     /* both reach both */
  PATH_DEAD    /* no word reaches anything */
} path;
typedef enum floating { FLOAT_0, FLOAT_1, FLOAT_READ, FLOAT_BUS } floating;

typedef struct fault {
  unsigned slots;   /* cells that are involved: 1, 2, 3 */
  uint8_t rank[3];  /* of the slots by word number: rank[slot] */
  rule rules[2];
  path path;
  floating floats;
  bool wired_or;
} fault;

typedef enum family {
  F_STATE, F_TRANSITION, F_WRITE, F_READ, F_DECEPTIVE, F_INCORRECT,
  F_OPEN_READ, F_OPEN_BUS, F_LOSE,
  F_A_CONST, F_A_READ, F_A_BUS, F_B, F_C, F_D, F_D2, F_DEAD_CONST, F_DEAD_BUS,
  F_CFIN, F_CFID, F_CFST, F_CFST_HELD, F_CFDS, F_CFTR, F_CFWD, F_CFRD, F_CFDRD, F_CFIR,
  F_TF_CFID, F_TF_CFIN, F_CFID_CFID_SAME, F_CFID_CFID, F_CFIN_CFID, F_CFIN_CFIN_SAME, F_CFIN_CFIN,
  F_DYN_READ, F_DYN_DECEPTIVE, F_DYN_INCORRECT,
  F_DYN_CFDS, F_DYN_CFDS_SAME, F_DYN_CFRD, F_DYN_CFDRD, F_DYN_CFIR
} family;

static const lu_cell_model models[LU_CELL_MODELS] = {
  {"SAF", "cell stuck at 0 or at 1", 2},
  {"TF", "cell does not change when written", 2},
  {"SF", "cell falls back to one state", 2},
  {"WDF", "writing the value a cell has turns it", 2},
  {"RDF", "reading turns the cell and gives the wrong value", 2},
  {"DRDF", "reading turns the cell but still gives the right value", 2},
  {"IRF", "reading gives the wrong value, the cell keeps", 2},
  {"SOF-read-latch", "cell cut off; a read gives the last value read", 1},
  {"SOF-rw-latch", "cell cut off; a read gives the last value read or written", 1},
  {"DRF", "cell loses its value in a delay", 2},
  {"AF-A float-const", "address reaches no cell; reads are constant", 2},
  {"AF-A float-last-read", "address reaches no cell; reads give the last value read", 1},
  {"AF-A float-last-bus", "address reaches no cell; reads give the last value on the bus", 1},
  {"AF-B", "one address reaches no cell, another reaches both", 8},
  {"AF-C", "two addresses reach one cell", 2},
  {"AF-D", "one address reaches its cell and another's", 4},
  {"AF-D2", "two addresses reach both cells", 2},
  {"dead-CS float-const", "chip never selected; reads are constant", 2},
  {"dead-CS float-last-bus", "chip never selected; reads give the last value on the bus", 1},
  {"CFin", "a change of the aggressor inverts the victim", 4},
  {"CFid", "a change of the aggressor forces the victim", 8},
  {"CFst", "a state of the aggressor forces the victim, which stays so", 8},
  {"CFst-held", "a state of the aggressor forces the victim while it lasts", 8},
  {"CFds", "an operation on the aggressor turns the victim", 24},
  {"CFtr", "the victim does not change while the aggressor is in a state", 8},
  {"CFwd", "a write of the same value turns the victim in a state of the aggressor", 8},
  {"CFrd", "a read turns the victim and is wrong, in a state of the aggressor", 8},
  {"CFdrd", "a read turns the victim but is right, in a state of the aggressor", 8},
  {"CFir", "a read is wrong in a state of the aggressor", 8},
  {"linked TF-CFid", "transition fault and forcing aggressor on one victim", 16},
  {"linked TF-CFin", "transition fault and inverting aggressor on one victim", 8},
  {"linked CFid-CFid same-aggr", "both changes of one aggressor force one victim", 4},
  {"linked CFid-CFid 2-aggr", "two aggressors force one victim to 0 and to 1", 24},
  {"linked CFin-CFid 2-aggr", "one aggressor inverts, another forces one victim", 48},
  {"linked CFin-CFin same-aggr", "both changes of one aggressor invert one victim", 2},
  {"linked CFin-CFin 2-aggr", "two aggressors invert one victim", 12},
  {"dRDF", "a read straight after a write turns the cell and is wrong", 4},
  {"dDRDF", "a read straight after a write turns the cell but is right", 4},
  {"dIRF", "a read straight after a write is wrong, the cell keeps", 4},
  {"dCFds-transition", "a changing write and a read of the aggressor turn the victim", 8},
  {"dCFds-nontransition", "a write of the same value and a read of the aggressor turn the victim", 8},
  {"dCFrd", "dRDF in a state of the aggressor", 16},
  {"dCFdrd", "dDRDF in a state of the aggressor", 16},
  {"dCFir", "dIRF in a state of the aggressor", 16},
};

/* family of each model: SAF and SF are one. */
static family family_of(unsigned model)
{
  return model == 0 ? F_STATE : model == 1 ? F_TRANSITION : model == 2 ? F_STATE
                                                          : (family)(model - 1);
}

const lu_cell_model *lu_cell_models(void)
{
  return models;
}

/* Takes the next digit of a mixed-radix fault number. */
static uint8_t digit(unsigned *number, unsigned radix)
{
  uint8_t d = (uint8_t)(*number % radix);
  *number /= radix;
  return d;
}

static void order_two(fault *f, bool aggressor_above)
{
  f->slots = 2;
  f->rank[0] = !aggressor_above;
  f->rank[1] = aggressor_above;
}

/* The six orders of victim, first and second aggressor. */
static void order_three(fault *f, unsigned which)
{
  static const uint8_t ranks[6][3] = {{0, 1, 2}, {1, 0, 2}, {2, 0, 1},
                                      {0, 2, 1}, {1, 2, 0}, {2, 1, 0}};
  f->slots = 3;
  memcpy(f->rank, ranks[which], 3);
}

/* A change of the aggressor in `slot` to `to` has an effect on the victim. */
static rule change(unsigned slot, unsigned to, unsigned effect)
{
  return (rule){.kind = RULE_DISTURB, .slot = (uint8_t)slot, .state = ANY, .before = !to,
                .write = 1, .value = (uint8_t)to, .victim = ANY, .effect = (uint8_t)effect,
                .returns = ANY};
}

static rule transition(unsigned to)
{
  return (rule){.kind = RULE_OP, .state = ANY, .before = !to, .write = 1, .value = (uint8_t)to,
                .victim = ANY, .effect = !to, .returns = ANY};
}

/* Write and read faults of the victim; x: its value, slot and state: the aggressor's. */
static rule on_victim(family kind, unsigned x, unsigned slot, unsigned state)
{
  rule r = {.kind = RULE_OP, .slot = (uint8_t)slot, .state = (uint8_t)state, .before = (uint8_t)x,
            .value = (uint8_t)x, .victim = ANY, .effect = !x, .returns = ANY};
  if (kind == F_WRITE) {
    r.write = 1;
  } else if (kind == F_READ) {
    r.returns = !x;
  } else if (kind == F_DECEPTIVE) {
    r.returns = (uint8_t)x;
  } else {
    r.effect = KEEP;
    r.returns = !x;
  }
  return r;
}

static rule pair_on_victim(family kind, unsigned x, unsigned y, unsigned slot, unsigned state)
{
  rule r = on_victim(kind, y, slot, state);
  r.kind = RULE_OP_PAIR;
  r.before = (uint8_t)x;
  return r;
}

static void single_cell(family kind, unsigned n, fault *f)
{
  unsigned x = digit(&n, 2);
  f->slots = 1;
  switch (kind) {
  case F_STATE:
    f->rules[0] = (rule){.kind = RULE_STATE, .state = ANY, .victim = !x};
    break;
  case F_TRANSITION:
    f->rules[0] = transition(x);
    break;
  case F_LOSE:
    f->rules[0] = (rule){.kind = RULE_LOSE, .state = ANY, .victim = (uint8_t)x};
    break;
  case F_DYN_READ:
  case F_DYN_DECEPTIVE:
  case F_DYN_INCORRECT:
    f->rules[0] = pair_on_victim((family)(F_READ + (kind - F_DYN_READ)), x, digit(&n, 2), 0, ANY);
    break;
  default:
    f->rules[0] = on_victim(kind, x, 0, ANY);
  }
}

static void path_fault(family kind, unsigned n, fault *f)
{
  bool two = kind == F_B || kind == F_C || kind == F_D || kind == F_D2;
  f->slots = 1;
  if (two)
    order_two(f, kind == F_D2 ? 0 : digit(&n, 2));
  switch (kind) {
  case F_OPEN_READ:
  case F_A_READ:
    f->path = PATH_OPEN;
    f->floats = FLOAT_READ;
    return;
  case F_OPEN_BUS:
  case F_A_BUS:
    f->path = PATH_OPEN;
    f->floats = FLOAT_BUS;
    return;
  case F_A_CONST:
    f->path = PATH_OPEN;
    f->floats = (floating)n;
    return;
  case F_DEAD_CONST:
    f->path = PATH_DEAD;
    f->floats = (floating)n;
    return;
  case F_DEAD_BUS:
    f->path = PATH_DEAD;
    f->floats = FLOAT_BUS;
    return;
  default:
    f->path = (path)(PATH_B + (kind - F_B));
    f->wired_or = digit(&n, 2);
    f->floats = (floating)n;
  }
}

static void two_cells(family kind, unsigned n, fault *f)
{
  order_two(f, digit(&n, 2));
  unsigned a = digit(&n, 2), b = digit(&n, 2);
  switch (kind) {
  case F_CFIN:
    f->rules[0] = change(1, a, INVERT);
    break;
  case F_CFID:
    f->rules[0] = change(1, a, b);
    break;
  case F_CFST:
  case F_CFST_HELD:
    f->rules[0] = (rule){.kind = kind == F_CFST ? RULE_STATE : RULE_HELD, .slot = 1,
                         .state = (uint8_t)a, .victim = (uint8_t)b};
    break;
  case F_CFDS: /* n: 0 = read, 1 and 2 = write 0, 1; a: value before; b: victim */
    f->rules[0] = (rule){.kind = RULE_DISTURB, .slot = 1, .state = ANY, .before = (uint8_t)a,
                         .write = n > 0, .value = (uint8_t)(n ? n - 1 : a), .victim = (uint8_t)b,
                         .effect = INVERT, .returns = ANY};
    break;
  case F_CFTR:
    f->rules[0] = transition(b);
    f->rules[0].slot = 1;
    f->rules[0].state = (uint8_t)a;
    break;
  case F_DYN_CFDS:
  case F_DYN_CFDS_SAME:
    f->rules[0] = (rule){.kind = RULE_DISTURB_PAIR, .slot = 1, .state = ANY,
                         .before = kind == F_DYN_CFDS ? !a : (uint8_t)a, .value = (uint8_t)a,
                         .victim = (uint8_t)b, .effect = INVERT, .returns = ANY};
    break;
  case F_DYN_CFRD:
  case F_DYN_CFDRD:
  case F_DYN_CFIR:
    f->rules[0] = pair_on_victim((family)(F_READ + (kind - F_DYN_CFRD)), b, n, 1, a);
    break;
  default:
    f->rules[0] = on_victim((family)(F_WRITE + (kind - F_CFWD)), b, 1, a);
  }
}

static void linked(family kind, unsigned n, fault *f)
{
  bool three = kind == F_CFID_CFID || kind == F_CFIN_CFID || kind == F_CFIN_CFIN;
  if (!three)
    order_two(f, digit(&n, 2));
  else /* two alike aggressors: only the orders with the first below the second */
    order_three(f, digit(&n, kind == F_CFIN_CFIN ? 3 : 6));
  unsigned a = digit(&n, 2), b = digit(&n, 2);
  switch (kind) {
  case F_TF_CFID:
    f->rules[0] = transition(a);
    f->rules[1] = change(1, b, n);
    break;
  case F_TF_CFIN:
    f->rules[0] = transition(a);
    f->rules[1] = change(1, b, INVERT);
    break;
  case F_CFID_CFID_SAME:
    f->rules[0] = change(1, 1, a);
    f->rules[1] = change(1, 0, !a);
    break;
  case F_CFID_CFID:
    f->rules[0] = change(1, a, 0);
    f->rules[1] = change(2, b, 1);
    break;
  case F_CFIN_CFID:
    f->rules[0] = change(1, a, INVERT);
    f->rules[1] = change(2, b, n);
    break;
  case F_CFIN_CFIN_SAME:
    f->rules[0] = change(1, 1, INVERT);
    f->rules[1] = change(1, 0, INVERT);
    break;
  default:
    f->rules[0] = change(1, a, INVERT);
    f->rules[1] = change(2, b, INVERT);
  }
}

static fault fault_of(unsigned model, unsigned number)
{
  family kind = family_of(model);
  fault f = {.slots = 1};
  if (kind >= F_TF_CFID && kind <= F_CFIN_CFIN)
    linked(kind, number, &f);
  else if ((kind >= F_CFIN && kind <= F_CFIR) || kind >= F_DYN_CFDS)
    two_cells(kind, number, &f);
  else if (kind >= F_OPEN_READ && kind <= F_DEAD_BUS && kind != F_LOSE)
    path_fault(kind, number, &f);
  else
    single_cell(kind, number, &f);
  return f;
}

/* ---- words for a fault ---- */

static void rule_text(const rule *r, char *text, size_t len)
{
  static const char *const effects[] = {"0", "1", "inverts", "keeps"};
  char condition[16] = "";
  if (r->slot && r->state != ANY)
    snprintf(condition, sizeof condition, "%u; ", r->state);
  switch (r->kind) {
  case RULE_NONE:
    text[0] = '\0';
    break;
  case RULE_STATE:
  case RULE_HELD:
    snprintf(text, len, "<%s%u/%u/->", condition, r->victim, !r->victim);
    break;
  case RULE_LOSE:
    snprintf(text, len, "loses a %u", r->victim);
    break;
  case RULE_OP:
  case RULE_OP_PAIR: {
    char op[16], back[4] = "-";
    if (r->kind == RULE_OP_PAIR)
      snprintf(op, sizeof op, "%uw%ur%u", r->before, r->value, r->value);
    else
      snprintf(op, sizeof op, "%u%c%u", r->before, r->write ? 'w' : 'r', r->value);
    if (r->returns != ANY)
      snprintf(back, sizeof back, "%u", r->returns);
    snprintf(text, len, "<%s%s/%u/%s>", condition, op, r->effect == KEEP ? r->value : r->effect,
             back);
    break;
  }
  case RULE_DISTURB:
    if (r->victim == ANY)
      snprintf(text, len, "<%s; %s>", r->value ? "up" : "down", effects[r->effect]);
    else
      snprintf(text, len, "<%u%c%u; %u/%u/->", r->before, r->write ? 'w' : 'r', r->value,
               r->victim, !r->victim);
    break;
  case RULE_DISTURB_PAIR:
    snprintf(text, len, "<%uw%ur%u; %u/%u/->", r->before, r->value, r->value, r->victim,
             !r->victim);
    break;
  }
}

/* Where one of two aggressors stands, seen from the victim. */
static const char *side(const fault *f, unsigned slot)
{
  int mine = f->rank[slot] - f->rank[0], other = f->rank[3 - slot] - f->rank[0];
  bool further = mine * other > 0 && mine * mine > other * other;
  if (mine > 0)
    return further ? "further above" : "above";
  return further ? "further below" : "below";
}

void lu_cell_fault_text(unsigned model, unsigned number, char *text, size_t len)
{
  static const char *const floats[] = {"reads 0", "reads 1", "reads the last value read",
                                       "reads the last value on the bus"};
  fault f = fault_of(model, number);
  char one[40], two[40];
  rule_text(&f.rules[0], one, sizeof one);
  rule_text(&f.rules[1], two, sizeof two);
  if (f.path == PATH_OPEN || f.path == PATH_DEAD)
    snprintf(text, len, "%s", floats[f.floats]);
  else if (f.path != PATH_GOOD)
    snprintf(text, len, "%s, %s%s%s", f.wired_or ? "wired or" : "wired and",
             f.path == PATH_D2 ? "both alike" : f.rank[1] > f.rank[0] ? "second address above"
                                                                     : "second address below",
             f.path == PATH_B ? ", " : "", f.path == PATH_B ? floats[f.floats] : "");
  else if (f.slots == 1)
    snprintf(text, len, "%s", one);
  else if (f.slots == 2)
    snprintf(text, len, "%s%s%s, aggressor %s", one, two[0] ? " with " : "", two,
             f.rank[1] > f.rank[0] ? "above" : "below");
  else
    snprintf(text, len, "%s from %s with %s from %s", one, side(&f, 1), two, side(&f, 2));
}

/* ---- the pattern as events ---- */

typedef struct event {
  uint8_t kind; /* lu_op_kind */
  uint8_t word;
  uint8_t value;
  uint8_t read; /* number of the read operation for syndromes, 255 = none */
} event;

typedef struct step {
  event *events[2]; /* run up, run down; the same where the direction is fixed */
  size_t count[2];
  bool either;      /* an `any` element */
} step;

typedef struct program {
  unsigned words;
  size_t step_count;
  step *steps;
  size_t choices;   /* steps that are `either` */
} program;

enum { REPEAT_KEPT = 4, EVENTS_MOST = 1 << 22, STEPS_MOST = 4096, CHOICES_MOST = 10 };

typedef struct gather {
  const lu_pattern *pattern;
  event *events;
  size_t count, room;
  bool measure;
} gather;

unsigned lu_pattern_reads_before(const lu_pattern *pattern, size_t op)
{
  unsigned n = 0;
  for (size_t i = 0; i < op; i++)
    n += pattern->ops[i].kind == LU_OP_READ;
  return n;
}

unsigned lu_cells_reads(const lu_pattern *pattern)
{
  unsigned n = lu_pattern_reads_before(pattern, pattern->op_count);
  return n < 64 ? n : 64;
}

static bool gather_ops(void *user, const lu_operation *ops, size_t count)
{
  gather *g = user;
  for (size_t i = 0; i < count; i++) {
    bool wait = ops[i].kind == LU_OP_WAIT;
    if (!wait && !(ops[i].mask & 1))
      continue;
    if (!g->measure) {
      unsigned read = ops[i].kind == LU_OP_READ ? lu_pattern_reads_before(g->pattern, ops[i].op) : 255;
      g->events[g->count] = (event){.kind = (uint8_t)ops[i].kind, .word = (uint8_t)ops[i].word,
                                    .value = ops[i].value & 1,
                                    .read = (uint8_t)(read < 255 ? read : 255)};
    }
    g->count++;
    if (g->count >= EVENTS_MOST)
      return false;
  }
  return true;
}

/* A word-oriented or order-dependent pattern needs more words than three to show what it does. */
static unsigned words_needed(const lu_pattern *pattern)
{
  bool plain = true;
  unsigned most = 8;
  for (size_t i = 0; i < pattern->order_count; i++)
    plain &= pattern->orders[i] == LU_ORDER_LINEAR;
  for (size_t i = 0; i < pattern->background_count; i++)
    plain &= !pattern->backgrounds[i].contents;
  for (size_t i = 0; i < pattern->element_count; i++) {
    const lu_element *e = &pattern->elements[i];
    plain &= e->kind == LU_ELEMENT_ALL || e->kind == LU_ELEMENT_WAIT;
    if (e->kind == LU_ELEMENT_AT && e->at + 1 > most)
      most = e->at + 1;
  }
  return plain ? 3 : most;
}

static lu_status make_step(const lu_pattern *pattern, const lu_memory *block, uint32_t pass,
                           size_t element, lu_arena *mem, step *out, lu_err *err)
{
  out->either = pattern->elements[element].direction == LU_ANY &&
                pattern->elements[element].kind != LU_ELEMENT_WAIT &&
                pattern->elements[element].kind != LU_ELEMENT_AT;
  for (int down = 0; down < 2; down++) {
    if (down && !out->either) {
      out->events[1] = out->events[0];
      out->count[1] = out->count[0];
      break;
    }
    lu_direction direction = out->either && down ? LU_DOWN : LU_ANY;
    gather g = {.pattern = pattern, .measure = true};
    if (!lu_pattern_expand_element(pattern, block, pass, element, direction, gather_ops, &g))
      return lu_fail(err, LU_ERR_LIMIT, 0, 0, "element %zu is too long to simulate", element + 1);
    size_t count = g.count;
    g = (gather){.pattern = pattern, .events = LU_NEW(mem, event, count + 1)};
    if (!g.events)
      return lu_fail(err, LU_ERR_NOMEM, 0, 0, "no room for a pattern's events");
    lu_pattern_expand_element(pattern, block, pass, element, direction, gather_ops, &g);
    out->events[down] = g.events;
    out->count[down] = count;
  }
  return LU_OK;
}

static lu_status make_program(const lu_pattern *given, lu_arena *mem, program *out, lu_err *err)
{
  lu_pattern pattern = *given;
  lu_memory block = {.words = words_needed(given), .width = 1, .bytes = 1};
  if (block.words > LU_CELL_WORDS_MOST)
    return lu_fail(err, LU_ERR_LIMIT, 0, 0, "%s needs %llu words; cells are simulated on %d",
                   given->name, (unsigned long long)block.words, LU_CELL_WORDS_MOST);
  if (block.words > 3)
    block.width = 8;
  pattern.by_lanes = false; /* a cell is in one lane */
  pattern.ops = LU_NEW(mem, lu_pattern_op, pattern.op_count + 1);
  uint32_t passes = lu_pattern_passes(&pattern, &block);
  *out = (program){.words = (unsigned)block.words, .step_count = passes * pattern.element_count};
  if (out->step_count > STEPS_MOST)
    return lu_fail(err, LU_ERR_LIMIT, 0, 0, "%s has too many passes to simulate", given->name);
  out->steps = LU_NEW(mem, step, out->step_count);
  if (!pattern.ops || !out->steps)
    return lu_fail(err, LU_ERR_NOMEM, 0, 0, "no room for a pattern's events");
  memcpy(pattern.ops, given->ops, pattern.op_count * sizeof *pattern.ops);
  for (size_t i = 0; i < pattern.op_count; i++)
    if (pattern.ops[i].repeat > REPEAT_KEPT) /* no model counts further than two */
      pattern.ops[i].repeat = REPEAT_KEPT;
  for (size_t i = 0; i < out->step_count; i++) {
    lu_status status = make_step(&pattern, &block, (uint32_t)(i / pattern.element_count),
                                 i % pattern.element_count, mem, &out->steps[i], err);
    if (status)
      return status;
    out->choices += out->steps[i].either;
  }
  return LU_OK;
}

/* ---- simulation ---- */

/* State of the involved cells: bit s = cell of slot s; bit 3 = the value that a floating read
 * gives. All other cells are good and hold what they should. */
enum { LATCH = 8, STATES = 16, SHOWN = 0x80 };

typedef struct place {
  uint8_t slot[LU_CELL_WORDS_MOST]; /* slot of a word, 3 = not involved */
} place;

typedef struct last_op {
  uint8_t slot, wrote, before, value;
} last_op;

static unsigned bit(unsigned state, unsigned slot)
{
  return state >> slot & 1;
}

static unsigned set_bit(unsigned state, unsigned slot, unsigned value)
{
  return (state & ~(1u << slot)) | value << slot;
}

static unsigned settle(const fault *f, unsigned state)
{
  const rule *r = &f->rules[0];
  if (r->kind == RULE_STATE && bit(state, 0) == r->victim &&
      (!r->slot || bit(state, r->slot) == r->state))
    state ^= 1;
  return state;
}

static unsigned apply_effect(unsigned state, unsigned effect)
{
  return effect == KEEP ? state : effect == INVERT ? state ^ 1 : set_bit(state, 0, effect);
}

/* Does the rule answer to this operation? state: before it. */
static bool sensitised(const rule *r, unsigned state, unsigned slot, const event *e,
                       const last_op *last)
{
  bool write = e->kind == LU_OP_WRITE;
  unsigned mine = r->kind == RULE_DISTURB || r->kind == RULE_DISTURB_PAIR ? r->slot : 0;
  if (slot != mine)
    return false;
  if (r->slot && r->state != ANY && bit(state, r->slot) != r->state)
    return false;
  if (r->victim != ANY && bit(state, 0) != r->victim)
    return false;
  if (r->kind == RULE_OP_PAIR || r->kind == RULE_DISTURB_PAIR)
    return !write && last->slot == slot && last->wrote && last->before == r->before &&
           last->value == r->value && bit(state, slot) == r->value;
  if (r->kind != RULE_OP && r->kind != RULE_DISTURB)
    return false;
  if (bit(state, slot) != r->before || write != r->write)
    return false;
  return !write || e->value == r->value;
}

/* One operation on an involved cell whose path is good. Returns the state; *got: what a read
 * gives. */
static unsigned operate_cell(const fault *f, unsigned state, unsigned slot, const event *e,
                             last_op *last, unsigned *got)
{
  unsigned before = state, stored = bit(state, slot);
  *got = stored;
  if (e->kind == LU_OP_WRITE)
    state = set_bit(state, slot, e->value);
  for (int i = 0; i < 2; i++) {
    const rule *r = &f->rules[i];
    if (r->kind == RULE_HELD && e->kind == LU_OP_READ && slot == 0 && stored == r->victim &&
        bit(state, r->slot) == r->state)
      *got = !stored;
    if (r->kind == RULE_NONE || !sensitised(r, before, slot, e, last))
      continue;
    state = apply_effect(state, r->effect);
    if (e->kind == LU_OP_READ && r->returns != ANY)
      *got = r->returns;
  }
  *last = (last_op){.slot = (uint8_t)slot, .wrote = e->kind == LU_OP_WRITE,
                    .before = (uint8_t)stored, .value = e->value};
  return settle(f, state);
}

/* Cells (bits by slot) that an address reaches. */
static unsigned reached(const fault *f, unsigned slot)
{
  switch (f->path) {
  case PATH_GOOD:
    break;
  case PATH_OPEN:
  case PATH_DEAD:
    return 0;
  case PATH_B:
    return slot ? 3 : 0;
  case PATH_C:
    return 2;
  case PATH_D:
    return slot ? 3 : 1;
  case PATH_D2:
    return 3;
  }
  return 1u << slot;
}

static unsigned operate_path(const fault *f, unsigned state, unsigned slot, const event *e,
                             unsigned *got)
{
  unsigned cells = reached(f, slot);
  if (e->kind == LU_OP_WRITE)
    return e->value ? state | cells : state & ~cells;
  unsigned held = state & cells;
  if (cells)
    *got = f->wired_or ? held != 0 : held == cells;
  else if (f->floats == FLOAT_0 || f->floats == FLOAT_1)
    *got = f->floats == FLOAT_1;
  else
    *got = bit(state, 3);
  return state;
}

/* Runs a step from a state. wrong: NULL, or gets a bit for every read operation that fails;
 * without it, SHOWN is returned at the first wrong read. */
static unsigned run_step(const fault *f, const place *p, const event *events, size_t count,
                         unsigned state, uint64_t *wrong)
{
  last_op last = {.slot = 255};
  for (const event *e = events; e < events + count; e++) {
    if (e->kind == LU_OP_WAIT) {
      const rule *r = &f->rules[0];
      if (r->kind == RULE_LOSE && bit(state, 0) == r->victim)
        state ^= 1;
      continue;
    }
    unsigned slot = p->slot[e->word], got = e->value;
    if (f->path == PATH_DEAD)
      state = operate_path(f, state, 0, e, &got);
    else if (slot == 3)
      last.slot = 255;
    else if (f->path == PATH_GOOD)
      state = operate_cell(f, state, slot, e, &last, &got);
    else
      state = operate_path(f, state, slot, e, &got);
    if (e->kind == LU_OP_READ && got != e->value) {
      if (!wrong)
        return SHOWN;
      if (e->read < 64)
        *wrong |= UINT64_C(1) << e->read;
    }
    if (e->kind == LU_OP_READ || f->floats == FLOAT_BUS)
      state = set_bit(state, 3, got);
  }
  return state;
}

/* ---- places ---- */

enum { PLACES_MOST = 560 }; /* 16 over 3 */

static size_t make_places(const fault *f, unsigned words, place *out)
{
  size_t count = 0;
  unsigned at[3] = {0, 1, 2}, k = f->path == PATH_DEAD ? 1 : f->slots;
  for (;;) {
    place *p = &out[count++];
    memset(p->slot, 3, sizeof p->slot);
    for (unsigned s = 0; s < k; s++)
      p->slot[at[f->rank[s]]] = (uint8_t)s;
    unsigned i = k; /* the next ascending choice of k words */
    while (i && at[i - 1] == words - k + i - 1)
      i--;
    if (!i || f->path == PATH_DEAD)
      return count;
    at[i - 1]++;
    for (; i < k; i++)
      at[i] = at[i - 1] + 1;
  }
}

/* Start contents: every value of the involved cells and of a floating bus. */
static uint16_t start_states(const fault *f)
{
  uint16_t set = 0;
  for (unsigned s = 0; s < STATES; s++) {
    bool floats = f->floats == FLOAT_READ || f->floats == FLOAT_BUS;
    bool used = (s & 7u) >> f->slots == 0;
    if (used && (floats || !(s & LATCH)))
      set |= (uint16_t)(1u << settle(f, s));
  }
  return set;
}

/* ---- coverage ---- */

/* One fault: for every place, where each step takes each state (0xff: not yet known). */
typedef struct search {
  const program *program;
  const fault *fault;
  size_t place_count;
  const place *places;
  uint8_t *next;        /* [place][step][down][state] */
  uint8_t *shows;       /* [choice]: seen with those directions */
} search;

static uint16_t move_set(search *s, size_t place_idx, size_t step_idx, int down, uint16_t set)
{
  const step *st = &s->program->steps[step_idx];
  uint8_t *next =
    s->next + ((place_idx * s->program->step_count + step_idx) * 2 + (size_t)down) * STATES;
  uint16_t out = 0;
  for (; set; set &= (uint16_t)(set - 1)) {
    unsigned state = (unsigned)__builtin_ctz(set);
    if (next[state] == 0xff)
      next[state] = (uint8_t)run_step(s->fault, &s->places[place_idx], st->events[down],
                                      st->count[down], state, NULL);
    if (next[state] != SHOWN)
      out |= (uint16_t)(1u << next[state]);
  }
  return out;
}

/* Every direction of every `any` element, all at once: what can stay unseen. */
static bool always_shows(search *s)
{
  uint16_t start = start_states(s->fault);
  for (size_t p = 0; p < s->place_count; p++) {
    uint16_t set = start;
    for (size_t i = 0; i < s->program->step_count && set; i++) {
      uint16_t up = move_set(s, p, i, 0, set);
      set = s->program->steps[i].either ? up | move_set(s, p, i, 1, set) : up;
    }
    if (set)
      return false;
  }
  return true;
}

/* Marks the choices of directions, as numbers with one bit an `any` element, with which the fault
 * shows at one place. shows[] starts all true. */
static void mark_choices(search *s, size_t place_idx, size_t i, uint16_t set, size_t choice,
                         size_t choice_bit)
{
  if (!set)
    return; /* seen whatever comes after */
  while (i < s->program->step_count && !s->program->steps[i].either && set)
    set = move_set(s, place_idx, i++, 0, set);
  if (!set)
    return;
  if (i == s->program->step_count) {
    s->shows[choice] = 0;
    return;
  }
  mark_choices(s, place_idx, i + 1, move_set(s, place_idx, i, 0, set), choice, choice_bit << 1);
  mark_choices(s, place_idx, i + 1, move_set(s, place_idx, i, 1, set), choice | choice_bit,
               choice_bit << 1);
}

typedef struct workshop {
  program program;
  place places[PLACES_MOST];
  uint8_t *next;
  uint8_t shows[1 << CHOICES_MOST];
} workshop;

static lu_status open_workshop(const lu_pattern *pattern, lu_arena *mem, workshop **out,
                               lu_err *err)
{
  workshop *w = LU_NEW(mem, workshop, 1);
  if (!w)
    return lu_fail(err, LU_ERR_NOMEM, 0, 0, "no room for a simulation");
  lu_status status = make_program(pattern, mem, &w->program, err);
  if (status)
    return status;
  size_t n = w->program.words, places = n == 3 ? 3 : n * (n - 1) * (n - 2) / 6;
  w->next = lu_arena_array(mem, places * w->program.step_count, 2 * STATES);
  if (!w->next)
    return lu_fail(err, LU_ERR_NOMEM, 0, 0, "no room for a simulation");
  *out = w;
  return LU_OK;
}

/* Is there a choice of directions with which the fault shows at every place? */
static bool can_show(search *s, size_t choices)
{
  uint16_t start = start_states(s->fault);
  memset(s->shows, 1, choices);
  for (size_t p = 0; p < s->place_count; p++)
    mark_choices(s, p, 0, start, 0, 1);
  return memchr(s->shows, 1, choices);
}

static void cover_model(workshop *w, unsigned model, lu_cell_coverage *out)
{
  bool choose = w->program.choices && w->program.choices <= CHOICES_MOST;
  *out = (lu_cell_coverage){.total = models[model].faults};
  for (unsigned n = 0; n < models[model].faults; n++) {
    fault f = fault_of(model, n);
    search s = {.program = &w->program, .fault = &f, .places = w->places, .next = w->next,
                .shows = w->shows};
    s.place_count = make_places(&f, w->program.words, w->places);
    memset(w->next, 0xff, s.place_count * w->program.step_count * 2 * STATES);
    bool always = always_shows(&s);
    out->seen |= (uint64_t)always << n;
    out->detected += always;
    out->best += always || (choose && can_show(&s, (size_t)1 << w->program.choices));
  }
}

lu_status lu_cells_coverage(const lu_pattern *pattern, lu_arena *mem, lu_cell_coverage *out,
                            lu_err *err)
{
  workshop *w = NULL;
  lu_status status = open_workshop(pattern, mem, &w, err);
  if (status)
    return status;
  for (unsigned m = 0; m < LU_CELL_MODELS; m++)
    cover_model(w, m, &out[m]);
  return LU_OK;
}

/* ---- syndromes ---- */

static void add_syndrome(uint64_t syndrome, uint64_t *out, size_t *count)
{
  size_t i = 0;
  while (i < *count && out[i] < syndrome)
    i++;
  if ((i < *count && out[i] == syndrome) || *count == LU_SYNDROMES_MOST)
    return;
  memmove(out + i + 1, out + i, (*count - i) * sizeof *out);
  out[i] = syndrome;
  ++*count;
}

static void find_syndromes(workshop *w, unsigned model, unsigned number, uint64_t *out,
                           size_t *count)
{
  fault f = fault_of(model, number);
  size_t places = make_places(&f, w->program.words, w->places);
  *count = 0;
  for (size_t p = 0; p < places; p++)
    for (uint16_t set = start_states(&f); set; set &= (uint16_t)(set - 1)) {
      unsigned state = (unsigned)__builtin_ctz(set);
      uint64_t wrong = 0;
      for (size_t i = 0; i < w->program.step_count; i++)
        state = run_step(&f, &w->places[p], w->program.steps[i].events[0],
                         w->program.steps[i].count[0], state, &wrong);
      add_syndrome(wrong, out, count);
    }
}

lu_status lu_cells_syndromes(const lu_pattern *pattern, unsigned model, unsigned number,
                             lu_arena *mem, uint64_t *out, size_t *count, lu_err *err)
{
  workshop *w = NULL;
  lu_status status = open_workshop(pattern, mem, &w, err);
  if (status == LU_OK)
    find_syndromes(w, model, number, out, count);
  return status;
}

lu_status lu_cells_explain(const lu_pattern *pattern, uint64_t syndrome, lu_arena *mem,
                           uint64_t *out, lu_err *err)
{
  workshop *w = NULL;
  lu_status status = open_workshop(pattern, mem, &w, err);
  if (status)
    return status;
  for (unsigned m = 0; m < LU_CELL_MODELS; m++) {
    out[m] = 0;
    for (unsigned n = 0; n < models[m].faults; n++) {
      uint64_t found[LU_SYNDROMES_MOST];
      size_t count;
      find_syndromes(w, m, n, found, &count);
      for (size_t i = 0; i < count; i++)
        out[m] |= (uint64_t)(found[i] == syndrome) << n;
    }
  }
  return LU_OK;
}
