/* SPDX-License-Identifier: MIT */
#include "pattern/victims.h"

#include <string.h>

enum { KNOWN_MOST = 256, TOLD = 3, TEXT_MOST = 160 };

/* Faults that give a syndrome, worked out once. */
typedef struct answer {
  uint64_t syndrome;
  bool flipped;
  uint64_t found[LU_CELL_MODELS];
} answer;

typedef struct asker {
  const lu_pattern *pattern;
  const lu_memory *block;
  lu_pattern plain[2];   /* the march alone, in linear order; the second with 0 and 1 exchanged */
  answer *known[KNOWN_MOST];
  size_t known_count;
  lu_arena *mem;
  lu_err *err;
} asker;

static bool asker_new(asker *a)
{
  lu_pattern_op *ops = LU_NEW(a->mem, lu_pattern_op, a->pattern->op_count + 1);
  if (!ops)
    return false;
  for (size_t i = 0; i < a->pattern->op_count; i++) {
    ops[i] = a->pattern->ops[i];
    ops[i].value ^= ops[i].kind == LU_OP_READ || ops[i].kind == LU_OP_WRITE;
  }
  for (int k = 0; k < 2; k++) {
    a->plain[k] = *a->pattern;
    a->plain[k].background_count = a->plain[k].order_count = 1;
    a->plain[k].backgrounds[0] = (lu_background){.vectors = LU_VECTORS_SOLID};
    a->plain[k].orders[0] = LU_ORDER_LINEAR;
    a->plain[k].by_lanes = false;
  }
  a->plain[1].ops = ops;
  return true;
}

/* NULL: cannot be simulated, or no memory. */
static const uint64_t *ask(asker *a, uint64_t syndrome, bool flipped)
{
  for (size_t i = 0; i < a->known_count; i++)
    if (a->known[i]->syndrome == syndrome && a->known[i]->flipped == flipped)
      return a->known[i]->found;
  answer *x = LU_NEW(a->mem, answer, 1);
  lu_err ignored = {0};
  if (!x || a->known_count == KNOWN_MOST || lu_cells_explain(&a->plain[flipped], syndrome, a->mem, x->found, &ignored))
    return NULL;
  x->syndrome = syndrome;
  x->flipped = flipped;
  a->known[a->known_count++] = x;
  return x->found;
}

/* ---- the cell's passes ---- */

typedef struct seen {
  uint64_t syndrome;
  bool flipped, judged;
  lu_order order;
  unsigned line;
  const uint64_t *found;
} seen;

static lu_status look(asker *a, uint64_t word, unsigned bit, const lu_failure *at, size_t count, bool whole, uint32_t last_pass,
                      seen **out, uint32_t *passes)
{
  *passes = lu_pattern_passes(a->pattern, a->block);
  seen *list = LU_NEW(a->mem, seen, *passes + 1);
  if (!list)
    return lu_fail(a->err, LU_ERR_NOMEM, 0, 0, "no room");
  for (size_t i = 0; i < count; i++) {
    unsigned r = lu_pattern_reads_before(a->pattern, at[i].op);
    if (at[i].word == word && (at[i].wrong >> bit & 1) && at[i].pass < *passes && r < 64)
      list[at[i].pass].syndrome |= (uint64_t)1 << r;
  }
  for (uint32_t p = 0; p < *passes; p++) {
    uint64_t mask;
    list[p].flipped = lu_pattern_zero(a->pattern, a->block, p, word, &mask) >> bit & 1;
    list[p].judged = (mask >> bit & 1) && (whole || p < last_pass);
    list[p].order = lu_pattern_pass_order(a->pattern, a->block, p, &list[p].line);
    list[p].found = list[p].judged ? ask(a, list[p].syndrome, list[p].flipped) : NULL;
    list[p].judged = list[p].found != NULL;
  }
  *out = list;
  return LU_OK;
}

/* ---- primitives ---- */

static bool is_linked(unsigned model)
{
  return !strncmp(lu_cell_models()[model].name, "linked", 6);
}

/* Which side the aggressor of a fault is on, and the fault's text without it. */
static int side_of(unsigned model, unsigned fault, char text[TEXT_MOST])
{
  lu_cell_fault_text(model, fault, text, TEXT_MOST);
  char *at = strstr(text, ", aggressor ");
  if (!at)
    return 0;
  *at = 0;
  return at[12] == 'a' ? 1 : -1;
}

static lu_victim_kind kind_of(unsigned model, unsigned fault)
{
  char text[TEXT_MOST];
  const char *name = lu_cell_models()[model].name;
  if (is_linked(model) || !strncmp(name, "AF", 2) || !strncmp(name, "dead", 4))
    return LU_VICTIM_OTHER;
  return side_of(model, fault, text) ? LU_VICTIM_COUPLED : LU_VICTIM_ALONE;
}

/* The same primitive with the aggressor on the other side; SIZE_MAX: none. */
static unsigned mirrored(unsigned model, unsigned fault)
{
  char text[TEXT_MOST], other[TEXT_MOST];
  int side = side_of(model, fault, text);
  for (unsigned f = 0; f < lu_cell_models()[model].faults; f++)
    if (side_of(model, f, other) == -side && !strcmp(text, other))
      return f;
  return fault;
}

/* ---- where the aggressor is ---- */

/* Sides on which the primitive's aggressor can be in a pass: 1 below, 2 above. */
static unsigned sides_in(const seen *p, unsigned model, unsigned below, unsigned above)
{
  return (unsigned)(p->found[model] >> below & 1) | (unsigned)(p->found[model] >> above & 1) << 1;
}

/* How a word counts in a pass of `turns`: bit line / 2 slowest, the others up or (odd) down. */
static uint64_t rank_in(const seen *p, unsigned bits, uint64_t word)
{
  uint64_t slow = (uint64_t)1 << p->line / 2, rest = (((uint64_t)1 << bits) - 1) & ~slow;
  return (word & slow ? (uint64_t)1 << 63 : 0) | ((p->line % 2 ? ~word : word) & rest);
}

/* True: the primitive fits all passes with the aggressor at just one word. */
static bool locate(const seen *list, uint32_t passes, const lu_memory *block, uint64_t victim, unsigned model, unsigned below,
                   unsigned above, uint64_t *out)
{
  unsigned bits = 0, turns = 0;
  uint64_t differ = 0;
  while (bits < 40 && (block->words - 1) >> bits)
    bits++;
  unsigned sides[128] = {0};
  for (uint32_t p = 0; p < passes; p++) {
    if (list[p].order != LU_ORDER_TURNS || !list[p].judged || list[p].line >= 128)
      continue;
    unsigned s = sides_in(&list[p], model, below, above);
    sides[list[p].line] = turns && sides[list[p].line] ? sides[list[p].line] & s : s;
    turns++;
  }
  for (unsigned b = 0; turns && b < bits; b++) {
    unsigned s = sides[2 * b], t = sides[2 * b + 1];
    if ((s != 1 && s != 2) || (t != 1 && t != 2))
      return false;
    differ |= (uint64_t)(s == t) << b;
  }
  *out = victim ^ differ;
  if (!turns || !differ || *out >= block->words)
    return false;
  for (uint32_t p = 0; p < passes; p++)
    if (list[p].order == LU_ORDER_TURNS && list[p].judged &&
        sides_in(&list[p], model, below, above) != (rank_in(&list[p], bits, *out) < rank_in(&list[p], bits, victim) ? 1u : 2u))
      return false;
  return true;
}

/* ---- together ---- */

/* A fault fits when it gives every pass's syndrome; under orders that are not linear the aggressor may be on
 * either side. */
static bool fits(const seen *list, uint32_t passes, unsigned model, unsigned fault)
{
  unsigned other = mirrored(model, fault);
  bool any = false;
  for (uint32_t p = 0; p < passes; p++) {
    if (!list[p].judged)
      continue;
    any = true;
    bool same = list[p].found[model] >> fault & 1, turned = list[p].found[model] >> other & 1;
    if (!same && !(turned && list[p].order != LU_ORDER_LINEAR))
      return false;
  }
  return any;
}

static lu_status tell(asker *a, lu_victim *v)
{
  unsigned told = 0, all = 0;
  v->text = "";
  for (unsigned m = 0; m < LU_CELL_MODELS; m++)
    for (unsigned f = 0; f < lu_cell_models()[m].faults; f++) {
      char text[TEXT_MOST];
      if (!(v->found[m] >> f & 1))
        continue;
      int side = side_of(m, f, text);
      bool twice = side > 0 && mirrored(m, f) != f && (v->found[m] >> mirrored(m, f) & 1);
      all += !twice;
      if (twice || told == TOLD)
        continue;
      v->model = v->model ? v->model : lu_cell_models()[m].name;
      v->text = lu_arena_printf(a->mem, "%s%s%s %s", v->text, told++ ? ", " : "", lu_cell_models()[m].name, text);
      if (!v->text)
        return lu_fail(a->err, LU_ERR_NOMEM, 0, 0, "no room");
    }
  if (all > told)
    v->text = lu_arena_printf(a->mem, "%s and %u more", v->text, all - told);
  return v->text ? LU_OK : lu_fail(a->err, LU_ERR_NOMEM, 0, 0, "no room");
}

static void find_aggressor(const asker *a, const seen *list, uint32_t passes, uint64_t word, lu_victim *v)
{
  bool below = false, above = false, clash = false;
  for (unsigned m = 0; m < LU_CELL_MODELS; m++)
    for (uint64_t f = v->found[m]; f; f &= f - 1) {
      char text[TEXT_MOST];
      unsigned one = (unsigned)__builtin_ctzll(f), two = mirrored(m, one);
      int side = side_of(m, one, text);
      uint64_t at;
      below |= side < 0;
      above |= side > 0;
      if (!locate(list, passes, a->block, word, m, side < 0 ? one : two, side < 0 ? two : one, &at))
        continue;
      clash |= v->located && v->aggressor != at;
      v->located = true;
      v->aggressor = at;
    }
  v->located &= !clash;
  for (unsigned m = 0; v->located && m < LU_CELL_MODELS; m++)
    for (uint64_t f = v->found[m]; f; f &= f - 1) {
      char text[TEXT_MOST];
      unsigned one = (unsigned)__builtin_ctzll(f), two = mirrored(m, one);
      int side = side_of(m, one, text);
      uint64_t at;
      if (!locate(list, passes, a->block, word, m, side < 0 ? one : two, side < 0 ? two : one, &at))
        v->found[m] &= ~((uint64_t)1 << one);
    }
  v->side = v->located ? (v->aggressor < word ? -1 : 1) : below == above ? 0 : below ? -1 : 1;
}

lu_status lu_victim_of(const lu_pattern *pattern, const lu_memory *block, uint64_t word, unsigned bit, const lu_failure *at, size_t count,
                       bool whole, uint32_t last_pass, lu_arena *mem, lu_victim *out, lu_err *err)
{
  asker *a = LU_NEW(mem, asker, 1);
  seen *list = NULL;
  uint32_t passes = 0;
  *out = (lu_victim){.text = ""};
  if (!a)
    return lu_fail(err, LU_ERR_NOMEM, 0, 0, "no room");
  *a = (asker){.pattern = pattern, .block = block, .mem = mem, .err = err};
  if (!asker_new(a))
    return lu_fail(err, LU_ERR_NOMEM, 0, 0, "no room");
  lu_status bad = look(a, word, bit, at, count, whole, last_pass, &list, &passes);
  if (bad)
    return bad;
  for (lu_victim_kind k = LU_VICTIM_ALONE; k <= LU_VICTIM_OTHER && !out->kind; k++)
    for (unsigned m = 0; m < LU_CELL_MODELS; m++)
      for (unsigned f = 0; f < lu_cell_models()[m].faults; f++)
        if (kind_of(m, f) == k && fits(list, passes, m, f)) {
          out->found[m] |= (uint64_t)1 << f;
          out->kind = k;
        }
  if (out->kind == LU_VICTIM_COUPLED)
    find_aggressor(a, list, passes, word, out);
  return tell(a, out);
}
