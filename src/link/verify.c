/* SPDX-License-Identifier: MIT */
#include "link/verify.h"

#include <string.h>

enum { PIECE = 8192, LIST = 1024 };

typedef struct job {
  const lu_verify *v;
  const lu_pattern *p;
  lu_memory block;
  lu_verify_counts *counts;
  lu_err *err;
  lu_status status;
  uint32_t pass;
  uint16_t element;
  /* cycles that wait to be carried out */
  lu_cycle list[LIST];
  uint16_t mask[LIST], of[LIST], op[LIST];
  size_t listed;
} job;

static bool ends(job *j)
{
  if (lu_hooks_stop(j->v->hooks))
    j->counts->ended_early = true;
  return j->status != LU_OK || j->counts->ended_early;
}

static void tell(job *j, uint32_t address, uint16_t expected, uint16_t got, uint16_t element, uint16_t op)
{
  lu_failure f = {address, expected, got, j->p ? j->p->name : NULL, element, op, j->pass};
  j->counts->failures++;
  if (j->v->on_failure && !j->v->on_failure(j->v->to, &f))
    j->counts->ended_early = true;
}

/* ---- cycle by cycle ---- */
static void flush(job *j)
{
  if (j->status == LU_OK && j->listed)
    j->status = j->v->memory->cycles(j->v->memory->self, j->list, j->listed, j->err);
  for (size_t i = 0; j->status == LU_OK && i < j->listed && !j->counts->ended_early; i++) {
    const lu_cycle *c = &j->list[i];
    *(c->write ? &j->counts->writes : &j->counts->reads) += 1;
    if (!c->write && ((c->got ^ c->data) & j->mask[i]))
      tell(j, c->address, c->data & j->mask[i], c->got & j->mask[i], j->of[i], j->op[i]);
  }
  j->listed = 0;
}

static void add(job *j, uint32_t address, bool write, uint16_t data, uint16_t mask, uint16_t element, uint16_t op)
{
  if (j->listed == LIST)
    flush(j);
  j->list[j->listed] = (lu_cycle){address, write, data, 0};
  j->mask[j->listed] = mask;
  j->op[j->listed] = op;
  j->of[j->listed++] = element;
}

static bool take_ops(void *user, const lu_operation *ops, size_t count)
{
  job *j = user;
  for (size_t i = 0; i < count && !ends(j); i++) {
    if (ops[i].kind == LU_OP_WAIT) {
      flush(j);
      if (j->v->pause)
        j->v->pause(j->v->pause_to, ops[i].value);
      continue;
    }
    add(j, (uint32_t)(j->block.base_word + ops[i].word), ops[i].kind == LU_OP_WRITE,
        (uint16_t)ops[i].value, (uint16_t)ops[i].mask, ops[i].element, ops[i].op);
  }
  return !ends(j);
}

/* ---- elements that the device runs itself ---- */
/* Finds the device's background that gives every word of the pass the pattern's value. */
static bool background_of(const job *j, uint8_t *background, uint16_t *seed)
{
  uint64_t full = (UINT64_C(1) << j->block.width) - 1, mask = 0;
  if (j->p->by_lanes || j->p->order_count > 1 || (j->p->order_count && j->p->orders[0] != LU_ORDER_LINEAR))
    return false;
  uint16_t first = (uint16_t)lu_pattern_zero(j->p, &j->block, j->pass, 0, &mask);
  if (mask != full)
    return false;
  for (uint8_t b = 0; b < LU_WIRE_BACKGROUNDS; b++) {
    uint32_t base = (uint32_t)j->block.base_word;
    /* of each kind the seed is what makes the first word right */
    uint16_t s = b == LU_WIRE_ADDRESS   ? (uint16_t)(first ^ base)
                 : b == LU_WIRE_CHECKER ? (uint16_t)(lu_wire_word(b, first, base) == first ? first : ~first)
                                        : first;
    uint64_t w = 0;
    while (w < j->block.words &&
           ((lu_wire_word(b, s, base + (uint32_t)w) ^
             lu_pattern_zero(j->p, &j->block, j->pass, w, &mask)) & full) == 0)
      w++;
    if (w == j->block.words) {
      *background = b;
      *seed = s;
      return true;
    }
  }
  return false;
}

/* The element's operations as the device takes them; false if it cannot. */
static bool march_of(const job *j, const lu_element *e, lu_march *m)
{
  if (e->kind != LU_ELEMENT_ALL)
    return false;
  m->op_count = 0;
  m->down = e->direction == LU_DOWN;
  for (uint32_t i = 0; i < e->op_count; i++) {
    const lu_pattern_op *o = &j->p->ops[e->first_op + i];
    if (o->kind != LU_OP_READ && o->kind != LU_OP_WRITE)
      return false;
    for (uint32_t k = 0; k < o->repeat; k++) {
      if (m->op_count == LU_WIRE_OPERATIONS_MOST)
        return false;
      m->ops[m->op_count++] = (lu_march_op){o->kind == LU_OP_WRITE, o->value == 1};
    }
  }
  return m->op_count > 0;
}

/* The device counts repeated operations one by one. */
static uint16_t op_of(const job *j, unsigned counted)
{
  const lu_element *e = &j->p->elements[j->element];
  uint32_t i = 0;
  while (i + 1 < e->op_count && counted >= j->p->ops[e->first_op + i].repeat)
    counted -= j->p->ops[e->first_op + i++].repeat;
  return (uint16_t)(e->first_op + i);
}

static bool march_failed(void *to, const lu_march_failure *f)
{
  job *j = to;
  tell(j, f->address, f->expected, f->got, j->element, op_of(j, f->op));
  return !j->counts->ended_early;
}

static void run_march(job *j, lu_march m)
{
  uint32_t done = 0, words = (uint32_t)j->block.words, base = (uint32_t)j->block.base_word;
  size_t writes = 0;
  for (size_t i = 0; i < m.op_count; i++)
    writes += m.ops[i].write;
  while (done < words && !ends(j)) {
    lu_march_result r;
    m.words = words - done < PIECE ? words - done : PIECE;
    m.at = m.down ? base + words - done - m.words : base + done;
    j->status = j->v->memory->march(j->v->memory->self, &m, &r, march_failed, j, j->err);
    j->counts->reads += r.reads;
    j->counts->writes += (uint64_t)r.done * writes;
    done += m.words;
    lu_hooks_progress(j->v->hooks, j->counts->reads + j->counts->writes, 0);
  }
}

static void run_pass(job *j)
{
  uint8_t background = 0;
  uint16_t seed = 0;
  bool plain = background_of(j, &background, &seed);
  for (size_t e = 0; e < j->p->element_count && !ends(j); e++) {
    lu_march m = {.background = background, .seed = seed};
    j->element = (uint16_t)e;
    if (plain && march_of(j, &j->p->elements[e], &m)) {
      run_march(j, m);
    } else {
      lu_pattern_expand_element(j->p, &j->block, j->pass, e, LU_ANY, take_ops, j);
      flush(j);
      lu_hooks_progress(j->v->hooks, j->counts->reads + j->counts->writes, 0);
    }
    j->counts->elements += !ends(j);
  }
}

lu_status lu_verify_pattern(const lu_verify *v, const lu_pattern *p, lu_verify_counts *counts,
                            lu_err *err)
{
  job j = {.v = v, .p = p, .counts = counts, .err = err,
           .block = {.base_word = v->from, .words = v->words, .width = v->memory->data_bits,
                     .bytes = v->memory->data_bits > 8 ? 2 : 1}};
  j.status = lu_pattern_fits(p, &j.block, err);
  uint32_t passes = j.status == LU_OK ? lu_pattern_passes(p, &j.block) : 0;
  for (j.pass = 0; j.pass < passes && !ends(&j); j.pass++)
    run_pass(&j);
  return j.status;
}

lu_status lu_verify_addresses(const lu_verify *v, const uint32_t *addresses, size_t count,
                              lu_verify_counts *counts, lu_err *err)
{
  static const uint16_t values[] = {0x5555, 0xAAAA, 0x0000, 0xFFFF};
  job j = {.v = v, .counts = counts, .err = err};
  uint16_t mask = v->memory->data_bits >= 16 ? 0xFFFF : (uint16_t)((1u << v->memory->data_bits) - 1);
  for (size_t i = 0; i < count && !ends(&j); i++)
    for (size_t k = 0; k < 4; k++) {
      add(&j, addresses[i], true, values[k] & mask, mask, 0, 0);
      add(&j, addresses[i], false, values[k] & mask, mask, 0, 0);
    }
  flush(&j);
  return j.status;
}
