/* SPDX-License-Identifier: MIT */
#include "reason/priors.h"

#include "board/damage.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

static const struct {
  const char *name;
  double value;
  const char *reason;
} rows[] = {
#define LU_PRIOR(name, value, reason) {#name, value, reason},
#include "reason/priors.def"
#undef LU_PRIOR
};

const char *lu_prior_reason(lu_prior_name name)
{
  return rows[name].reason;
}

const char *lu_prior_text(lu_prior_name name)
{
  return rows[name].name;
}

lu_status lu_priors_of(const lu_board *board, lu_priors *out, lu_err *err)
{
  const char *names[LU_PRIOR_COUNT];
  for (size_t i = 0; i < LU_PRIOR_COUNT; i++) {
    out->value[i] = rows[i].value;
    names[i] = rows[i].name;
  }
  const lu_boardfile *f = board->file;
  for (size_t i = 0; f && i < f->prior_count; i++) {
    size_t k = 0;
    while (k < LU_PRIOR_COUNT && strcmp(names[k], f->priors[i].name.text))
      k++;
    if (k == LU_PRIOR_COUNT) {
      const char *near = lu_text_nearest(f->priors[i].name.text, names, LU_PRIOR_COUNT);
      lu_fail(err, LU_ERR_VALUE, f->priors[i].name.line, f->priors[i].name.column,
              "priors: no prior '%.60s'; the nearest is '%s'", f->priors[i].name.text, near ? near : "contact");
      return lu_fail_source(err, LU_ERR_VALUE, f->path);
    }
    out->value[k] = f->priors[i].value;
  }
  return LU_OK;
}

static double damaged(const lu_priors *p, double prior, bool hit)
{
  if (!hit)
    return prior;
  double factor = 1 / (1 - p->value[LU_PRIOR_damage_factor]);
  return fmin(prior * factor, 0.5);
}

static double pin_prior(const lu_network *n, const lu_priors *p, uint16_t npin)
{
  uint32_t pin = n->pins[npin].pin;
  if (pin == LU_NONE)
    return p->value[LU_PRIOR_contact];
  const lu_part *part = &n->board->parts[n->board->pins[pin].part];
  double v = part->socketed ? p->value[LU_PRIOR_contact] : p->value[LU_PRIOR_joint];
  return damaged(p, v, lu_damage_pin(n->board, pin, NULL, 0));
}

static uint16_t pin_at(const lu_network *n, uint16_t net, unsigned place)
{
  return n->net_pins[n->nets[net].first_pin + place];
}

static double open_prior(const lu_network *n, const lu_priors *p, const lu_fault *f)
{
  uint64_t all = lu_net_pins_of_interest(n, f->net), cut = f->cut & all, rest = all & ~cut;
  uint32_t bn = n->nets[f->net].net;
  double track = damaged(p, p->value[LU_PRIOR_track], bn != LU_NONE && lu_damage_net(n->board, bn, NULL, 0));
  unsigned c = (unsigned)__builtin_popcountll(cut), r = (unsigned)__builtin_popcountll(rest);
  double v = 0;
  if (c == 1)
    v += pin_prior(n, p, pin_at(n, f->net, (unsigned)__builtin_ctzll(cut)));
  if (r == 1)
    v += pin_prior(n, p, pin_at(n, f->net, (unsigned)__builtin_ctzll(rest)));
  /* the copper can break in about as many places as there are pins; each splits them in two */
  double ways = c + r > 1 ? (double)(c + r - 1) : 1;
  v += track / ways * (c == 1 || r == 1 ? 1 : 0.25);
  lu_prior_name level = f->level == LU_LEVEL_HIGH  ? LU_PRIOR_float_high
                        : f->level == LU_LEVEL_LOW ? LU_PRIOR_float_low
                                                   : LU_PRIOR_float_keep;
  return v * p->value[level];
}

static bool neighbours(const lu_network *n, uint16_t a, uint16_t b, bool *one_part)
{
  const lu_nnet *x = &n->nets[a], *y = &n->nets[b];
  bool near = false;
  *one_part = false;
  for (unsigned i = 0; i < x->pin_count; i++)
    for (unsigned j = 0; j < y->pin_count; j++) {
      const lu_npin *p = &n->pins[n->net_pins[x->first_pin + i]], *q = &n->pins[n->net_pins[y->first_pin + j]];
      if (p->part != q->part || p->pin == LU_NONE || q->pin == LU_NONE)
        continue;
      *one_part = true;
      int d = atoi(n->board->pins[p->pin].number) - atoi(n->board->pins[q->pin].number);
      near |= d == 1 || d == -1;
    }
  return near;
}

double lu_prior_log(const lu_network *n, const lu_priors *p, const lu_fault *f)
{
  static const double acts[] = {0.7, 0.14, 0.08, 0.08};
  double v = 1e-9;
  bool one_part, near;
  switch (f->kind) {
  case LU_FAULT_OPEN:
    v = open_prior(n, p, f);
    break;
  case LU_FAULT_STUCK:
    v = p->value[f->level == LU_LEVEL_LOW ? LU_PRIOR_net_stuck_low : LU_PRIOR_net_stuck_high];
    break;
  case LU_FAULT_BRIDGE:
    near = neighbours(n, f->net, f->net2, &one_part);
    v = p->value[near ? LU_PRIOR_bridge_neighbours : one_part ? LU_PRIOR_bridge_part : LU_PRIOR_bridge_far] *
        acts[f->acts];
    break;
  case LU_FAULT_SWAP:
    near = neighbours(n, f->net, f->net2, &one_part);
    v = p->value[LU_PRIOR_swap] * (near ? 1 : n->nets[f->net].carries & n->nets[f->net2].carries ? 0.1 : 0.001);
    break;
  case LU_FAULT_DEAD:
    v = p->value[f->lost == LU_LOST_OUTPUTS  ? LU_PRIOR_chip_outputs
                 : f->lost == LU_LOST_WRITES ? LU_PRIOR_chip_writes
                                             : LU_PRIOR_chip_all];
    break;
  case LU_FAULT_CELL:
    v = p->value[LU_PRIOR_chip_cell];
    break;
  case LU_FAULT_ROW:
    v = p->value[LU_PRIOR_chip_row];
    break;
  case LU_FAULT_COLUMN:
    v = p->value[LU_PRIOR_chip_column];
    break;
  }
  return log(v);
}

/* --- pins that matter --------------------------------------------------------------------------- */

uint64_t lu_net_pins_of_interest(const lu_network *n, uint16_t net)
{
  const lu_nnet *x = &n->nets[net];
  uint64_t m = 0;
  for (unsigned i = 0; i < x->pin_count && i < LU_NET_PINS_MOST; i++) {
    const lu_npin *p = &n->pins[n->net_pins[x->first_pin + i]];
    if (p->driver != UINT16_MAX || p->reader_count || p->chip != UINT16_MAX || p->column != UINT16_MAX)
      m |= (uint64_t)1 << i;
  }
  return m;
}

uint64_t lu_net_drivers(const lu_network *n, uint16_t net)
{
  const lu_nnet *x = &n->nets[net];
  uint64_t m = 0;
  for (unsigned i = 0; i < x->driver_count; i++) {
    uint16_t pin = n->net_drivers[x->first_driver + i];
    for (int k = 0; k < LU_MOMENTS; k++) {
      const lu_drive *d = &n->drive[(size_t)k * n->pin_count + pin];
      if (!lu_fn_is(&d->hi, false) || !lu_fn_is(&d->lo, false))
        m |= (uint64_t)1 << n->pins[pin].place;
    }
  }
  return m;
}
