/* SPDX-License-Identifier: MIT */
#include "reason/sim.h"

#include <stdlib.h>

enum { CHANGES_MOST = 4096, BUILD_ROUNDS = 400, ROUNDS_MOST = 32, SWING_ROUNDS = 6 };

/* What the current hypothesis does to one net. */
typedef struct net_fault {
  uint64_t cut;
  uint16_t partner; /* bridged with, or UINT16_MAX */
  uint8_t acts;
  bool second;      /* this net is the bridge's second */
  int8_t stuck;     /* -1 no, 0 low, 1 high */
  int8_t floats;    /* level of a group without driver: -1 as healthy, 0, 1 */
} net_fault;

static const net_fault sound = {.partner = UINT16_MAX, .stuck = -1, .floats = -1};

typedef struct saved_net {
  uint16_t net;
  lu_net_state state[LU_MOMENTS];
} saved_net;
typedef struct saved_pin {
  uint16_t pin;
  lu_drive drive[LU_MOMENTS];
} saved_pin;
typedef struct moved {
  uint16_t pin, net;
} moved;

struct lu_sim {
  const lu_network *n;
  lu_drive *drive;
  lu_net_state *state;
  net_fault *fault;       /* by net */
  uint8_t *dead;          /* by part: 1 outputs, 2 writes */
  uint32_t *net_seen, *pin_seen;
  uint32_t epoch;
  uint64_t *dirty_nets, *dirty_elems;
  size_t net_words, elem_words;
  uint8_t *chip_touched;
  uint64_t column_touched;
  size_t saved_net_count, saved_pin_count, moved_count, faulted_count, dead_count, touched_count;
  saved_net *saved_nets;
  saved_pin *saved_pins;
  moved moves[64];
  uint16_t faulted[16], dead_parts[8], *touched;
  lu_change *changes;
  size_t change_count;
  bool building;
  uint8_t moments;        /* those that matter, bits */
  uint8_t *elem_moments;  /* by element */
  const lu_chip *forced; /* while the network is built: only this chip drives */
  const lu_lanes *lanes; /* levels in the place of functions; NULL: functions */
  bool watching;         /* lanes that still change are noted */
  uint64_t swinging;     /* these */
};

/* What only matters while data move: what the bus goes through, unless an address latch listens. */
static bool data_only(const lu_network *n, const lu_elem *e)
{
  if (e->kind != LU_ELEM_CELL || (e->cell->kind != LU_CELL_TRANSCEIVER && e->cell->kind != LU_CELL_WIRE))
    return false;
  for (int k = 0; k <= 8; k += 8)
    if (e->pins[k] == UINT16_MAX || n->nets[n->pins[e->pins[k]].net].carries != LU_CARRIES_DATA)
      return false;
  return true;
}

static bool set_moments(lu_sim *s, bool writes, lu_arena *mem)
{
  const lu_network *n = s->n;
  bool early = false, rows = false, shared = false;
  for (size_t i = 0; i < n->chip_count; i++)
    early |= n->chips[i].multiplexed, rows |= n->chips[i].multiplexed;
  for (size_t i = 0; i < n->elem_count; i++) {
    const lu_elem *e = &n->elems[i];
    early |= e->kind == LU_ELEM_CELL && (e->cell->kind == LU_CELL_LATCH || e->cell->kind == LU_CELL_REGISTER);
    shared |= e->kind == LU_ELEM_ADDRESS && e->bit2 < 64;
  }
  s->moments = (uint8_t)(1u << LU_READ | (writes ? 1u << LU_WRITE : 0) | (early ? 1u << LU_IDLE : 0) |
                         (rows ? 1u << LU_ROW : 0));
  s->elem_moments = LU_NEW(mem, uint8_t, n->elem_count + 1);
  for (size_t i = 0; s->elem_moments && i < n->elem_count; i++)
    s->elem_moments[i] = (uint8_t)(s->moments & (!shared && data_only(n, &n->elems[i]) ? 1u << LU_READ | 1u << LU_WRITE : 0xffu));
  return s->elem_moments;
}

static bool take_room(lu_sim *s, lu_arena *mem)
{
  const lu_network *n = s->n;
  s->net_words = n->net_count / 64 + 1;
  s->elem_words = n->elem_count / 64 + 1;
  s->drive = LU_NEW(mem, lu_drive, LU_MOMENTS * n->pin_count + 1);
  s->state = LU_NEW(mem, lu_net_state, LU_MOMENTS * n->net_count + 1);
  s->fault = LU_NEW(mem, net_fault, n->net_count + 1);
  s->dead = LU_NEW(mem, uint8_t, n->part_count + 1);
  s->net_seen = LU_NEW(mem, uint32_t, n->net_count + 1);
  s->pin_seen = LU_NEW(mem, uint32_t, n->pin_count + 1);
  s->dirty_nets = LU_NEW(mem, uint64_t, s->net_words);
  s->dirty_elems = LU_NEW(mem, uint64_t, s->elem_words);
  s->chip_touched = LU_NEW(mem, uint8_t, n->chip_count + n->foreign_count + 1);
  s->touched = LU_NEW(mem, uint16_t, n->chip_count + n->foreign_count + 1);
  s->saved_nets = LU_NEW(mem, saved_net, n->net_count + 1);
  s->saved_pins = LU_NEW(mem, saved_pin, n->pin_count + 1);
  s->changes = LU_NEW(mem, lu_change, CHANGES_MOST);
  if (!s->drive || !s->state || !s->fault || !s->dead || !s->net_seen || !s->pin_seen ||
      !s->dirty_nets || !s->dirty_elems || !s->chip_touched || !s->touched || !s->saved_nets ||
      !s->saved_pins || !s->changes)
    return false;
  for (size_t i = 0; i < n->net_count; i++)
    s->fault[i] = sound;
  return true;
}

lu_sim *lu_sim_new(const lu_network *n, bool writes, lu_arena *mem)
{
  lu_sim *s = LU_NEW(mem, lu_sim, 1);
  if (!s)
    return NULL;
  s->n = n;
  if (!set_moments(s, writes, mem) || !take_room(s, mem))
    return NULL;
  if (!n->drive) { /* the network is being built: everything matters */
    s->moments = 0xf;
    memset(s->elem_moments, 0xf, n->elem_count);
  }
  if (n->drive) {
    memcpy(s->drive, n->drive, LU_MOMENTS * n->pin_count * sizeof *s->drive);
    memcpy(s->state, n->state, LU_MOMENTS * n->net_count * sizeof *s->state);
  }
  return s;
}

static inline lu_drive *drive_of(const lu_sim *s, lu_moment m, uint16_t pin)
{
  return &s->drive[(size_t)m * s->n->pin_count + pin];
}

static inline lu_net_state *state_of(const lu_sim *s, lu_moment m, uint16_t net)
{
  return &s->state[(size_t)m * s->n->net_count + net];
}

static uint16_t net_of(const lu_sim *s, uint16_t pin)
{
  for (size_t i = 0; i < s->moved_count; i++)
    if (s->moves[i].pin == pin)
      return s->moves[i].net;
  return s->n->pins[pin].net;
}

static inline unsigned group_of(const lu_sim *s, uint16_t net, uint16_t pin)
{
  const lu_npin *p = &s->n->pins[pin];
  return p->net == net ? (unsigned)(s->fault[net].cut >> p->place & 1) : 0;
}

static void join_drive(lu_fn *hi, lu_fn *lo, const lu_drive *d)
{
  *hi = lu_fn_or(hi, &d->hi);
  *lo = lu_fn_or(lo, &d->lo);
}

/* What the drivers of one group do, leaving out one pin (UINT16_MAX: none). */
static void gather(const lu_sim *s, uint16_t net, unsigned group, lu_moment m, uint16_t leave_out,
                   lu_fn *hi, lu_fn *lo)
{
  const lu_nnet *n = &s->n->nets[net];
  const uint16_t *list = s->n->net_drivers + n->first_driver;
  *hi = *lo = lu_fn_const(false);
  if (!s->moved_count && !s->fault[net].cut) {
    for (unsigned i = 0, first = 1; i < n->driver_count; i++) {
      const lu_drive *d = drive_of(s, m, list[i]);
      bool idle = !(d->hi.count | d->hi.wide | d->lo.count | d->lo.wide) && !(d->hi.table | d->lo.table);
      if (list[i] == leave_out || idle)
        continue;
      if (first) {
        *hi = d->hi;
        *lo = d->lo;
        first = 0;
      } else {
        join_drive(hi, lo, d);
      }
    }
    return;
  }
  for (unsigned i = 0; i < n->driver_count; i++) {
    uint16_t pin = list[i];
    if (pin == leave_out || (s->moved_count && net_of(s, pin) != net) ||
        group_of(s, net, pin) != group)
      continue;
    join_drive(hi, lo, drive_of(s, m, pin));
  }
  for (size_t i = 0; i < s->moved_count; i++)
    if (s->moves[i].net == net && group == 0 && s->moves[i].pin != leave_out &&
        s->n->pins[s->moves[i].pin].driver != UINT16_MAX)
      join_drive(hi, lo, drive_of(s, m, s->moves[i].pin));
}

/* Two nets in contact; a is the bridge's first net. */
static void touch(lu_acts acts, lu_fn *ah, lu_fn *al, const lu_fn *bh, const lu_fn *bl)
{
  lu_fn hi = lu_fn_or(ah, bh), lo = lu_fn_or(al, bl), no, driven;
  switch (acts) {
  case LU_ACTS_AND:
    break;
  case LU_ACTS_OR:
    no = lu_fn_not(hi);
    lo = lu_fn_and(&lo, &no);
    break;
  case LU_ACTS_FIRST:
    driven = lu_fn_or(ah, al);
    no = lu_fn_not(driven);
    hi = lu_fn_and(bh, &no);
    lo = lu_fn_and(bl, &no);
    hi = lu_fn_or(ah, &hi);
    lo = lu_fn_or(al, &lo);
    break;
  case LU_ACTS_SECOND:
    driven = lu_fn_or(bh, bl);
    no = lu_fn_not(driven);
    hi = lu_fn_and(ah, &no);
    lo = lu_fn_and(al, &no);
    hi = lu_fn_or(bh, &hi);
    lo = lu_fn_or(bl, &lo);
    break;
  }
  *ah = hi;
  *al = lo;
}

/* A low driver wins; without any, the point floats to a level. */
static lu_fn resolve(const lu_fn *hi, const lu_fn *lo, bool floats_high)
{
  lu_fn no = lu_fn_not(*lo);
  if (lu_fn_same(hi, &no))
    return *hi;
  return floats_high ? no : lu_fn_and(hi, &no);
}

/* resolve above: floating high means "not pulled low"; but a pin that is driven both ways reads
 * low, so "not low" is right for every case. */

static void drives_on(const lu_sim *s, uint16_t net, unsigned group, lu_moment m, uint16_t leave_out,
                      lu_fn *hi, lu_fn *lo)
{
  const net_fault *f = &s->fault[net];
  if (f->stuck >= 0) {
    *hi = lu_fn_const(f->stuck == 1);
    *lo = lu_fn_const(f->stuck == 0);
    return;
  }
  gather(s, net, group, m, leave_out, hi, lo);
  if (f->partner == UINT16_MAX || group)
    return;
  lu_fn ph, pl;
  const net_fault *g = &s->fault[f->partner];
  if (g->stuck >= 0) {
    ph = lu_fn_const(g->stuck == 1);
    pl = lu_fn_const(g->stuck == 0);
  } else {
    gather(s, f->partner, 0, m, UINT16_MAX, &ph, &pl);
  }
  if (f->second) {
    touch((lu_acts)f->acts, &ph, &pl, hi, lo);
    *hi = ph;
    *lo = pl;
  } else {
    touch((lu_acts)f->acts, hi, lo, &ph, &pl);
  }
}

static bool floats_high(const lu_sim *s, uint16_t net)
{
  const net_fault *f = &s->fault[net];
  if (f->floats >= 0)
    return f->floats;
  return s->n->nets[net].pull != 2;
}

static void mark_net(lu_sim *s, uint16_t net)
{
  s->dirty_nets[net / 64] |= (uint64_t)1 << (net % 64);
}

static void mark_elem(lu_sim *s, uint16_t elem)
{
  s->dirty_elems[elem / 64] |= (uint64_t)1 << (elem % 64);
}

static void save_net(lu_sim *s, uint16_t net)
{
  if (s->building || s->net_seen[net] == s->epoch)
    return;
  s->net_seen[net] = s->epoch;
  saved_net *k = &s->saved_nets[s->saved_net_count++];
  k->net = net;
  for (int m = 0; m < LU_MOMENTS; m++)
    k->state[m] = *state_of(s, (lu_moment)m, net);
}

static void save_pin(lu_sim *s, uint16_t pin)
{
  if (s->building || s->pin_seen[pin] == s->epoch)
    return;
  s->pin_seen[pin] = s->epoch;
  saved_pin *k = &s->saved_pins[s->saved_pin_count++];
  k->pin = pin;
  for (int m = 0; m < LU_MOMENTS; m++)
    k->drive[m] = *drive_of(s, (lu_moment)m, pin);
}

static void touch_chip(lu_sim *s, unsigned chip)
{
  if (!s->chip_touched[chip]) {
    s->chip_touched[chip] = 1;
    s->touched[s->touched_count++] = (uint16_t)chip;
  }
}

/* Every element that looks at this pin must be redone. */
static void wake_pin(lu_sim *s, uint16_t pin)
{
  const lu_npin *p = &s->n->pins[pin];
  if (p->chip != UINT16_MAX)
    touch_chip(s, p->chip);
  if (p->column != UINT16_MAX)
    s->column_touched |= (uint64_t)1 << p->column;
  for (unsigned i = 0; i < p->reader_count; i++) {
    uint16_t e = s->n->readers[p->first_reader + i];
    if (s->n->elems[e].kind == LU_ELEM_CHIP)
      touch_chip(s, s->n->elems[e].index);
    mark_elem(s, e);
  }
}

static void wake_net(lu_sim *s, uint16_t net, unsigned groups)
{
  const lu_nnet *n = &s->n->nets[net];
  for (unsigned i = 0; i < n->pin_count; i++) {
    uint16_t pin = s->n->net_pins[n->first_pin + i];
    if (s->moved_count && net_of(s, pin) != net)
      continue;
    if (groups >> group_of(s, net, pin) & 1)
      wake_pin(s, pin);
  }
  for (size_t i = 0; i < s->moved_count; i++)
    if (s->moves[i].net == net)
      wake_pin(s, s->moves[i].pin);
}

/* force: a fault was just put on the net; pins that a cut separates saw the whole net before. */
static void do_net(lu_sim *s, uint16_t net, bool force)
{
  unsigned groups = s->fault[net].cut ? 2 : 1, changed = s->building ? 3 : 0;
  bool high = floats_high(s, net);
  for (int m = 0; m < LU_MOMENTS; m++) {
    if (!(s->moments >> m & 1))
      continue;
    lu_net_state *st = state_of(s, (lu_moment)m, net);
    lu_fn hi[2], lo[2];
    for (unsigned g = 0; g < groups; g++)
      drives_on(s, net, g, (lu_moment)m, UINT16_MAX, &hi[g], &lo[g]);
    lu_fn was_hi = st->hi[0], was_lo = st->lo[0], was = st->value[0];
    for (unsigned g = 0; g < groups; g++) {
      const lu_fn *before_hi = force ? &was_hi : &st->hi[g], *before_lo = force ? &was_lo : &st->lo[g];
      if (lu_fn_same(&hi[g], before_hi) && lu_fn_same(&lo[g], before_lo) && !force)
        continue;
      save_net(s, net);
      lu_fn value = resolve(&hi[g], &lo[g], high);
      bool same = lu_fn_same(&hi[g], before_hi) && lu_fn_same(&lo[g], before_lo) &&
                  lu_fn_same(&value, force ? &was : &st->value[g]);
      st->hi[g] = hi[g];
      st->lo[g] = lo[g];
      st->value[g] = value;
      changed |= same ? 0 : 1u << g;
    }
  }
  if (!changed)
    return;
  wake_net(s, net, changed);
  if (s->fault[net].partner != UINT16_MAX && !force)
    mark_net(s, s->fault[net].partner);
}

/* Pins that were moved to another net look anew. */
static void wake_moved(lu_sim *s)
{
  for (size_t i = 0; i < s->moved_count; i++)
    wake_pin(s, s->moves[i].pin);
}

lu_fn lu_sim_pin(const lu_sim *s, uint16_t pin, lu_moment m)
{
  uint16_t net = s->moved_count ? net_of(s, pin) : s->n->pins[pin].net;
  return state_of(s, m, net)->value[group_of(s, net, pin)];
}

/* What a pin sees of the others on its net (for a part that drives both ways). */
static void others(const lu_sim *s, uint16_t pin, lu_moment m, lu_fn *hi, lu_fn *lo)
{
  uint16_t net = s->moved_count ? net_of(s, pin) : s->n->pins[pin].net;
  drives_on(s, net, group_of(s, net, pin), m, pin, hi, lo);
}

static void set_drive(lu_sim *s, uint16_t pin, lu_moment m, lu_fn hi, lu_fn lo)
{
  lu_drive *d = drive_of(s, m, pin);
  if (lu_fn_same(&d->hi, &hi) && lu_fn_same(&d->lo, &lo))
    return;
  save_pin(s, pin);
  if (s->watching)
    s->swinging |= (lu_fn_lane_levels(&d->hi) ^ lu_fn_lane_levels(&hi)) | (lu_fn_lane_levels(&d->lo) ^ lu_fn_lane_levels(&lo));
  d->hi = hi;
  d->lo = lo;
  mark_net(s, s->moved_count ? net_of(s, pin) : s->n->pins[pin].net);
}

/* --- elements ------------------------------------------------------------------------------ */

static inline const uint16_t *cell_inputs(const lu_elem *e)
{
  return e->pins;
}
static inline const uint16_t *cell_outputs(const lu_elem *e)
{
  return e->pins + 8;
}
static inline const uint16_t *cell_selects(const lu_elem *e)
{
  return e->pins + 16;
}
static inline const uint16_t *cell_enables(const lu_elem *e)
{
  return e->pins + 20;
}
static inline uint16_t cell_gate(const lu_elem *e)
{
  return e->pins[24];
}

static lu_fn pin_value(const lu_sim *s, uint16_t pin, lu_moment m)
{
  /* a pin on no net floats: high, as TTL does */
  return pin == UINT16_MAX ? lu_fn_const(true) : lu_sim_pin(s, pin, m);
}

static lu_fn at_level(const lu_sim *s, uint16_t pin, bool high, lu_moment m)
{
  lu_fn f = pin_value(s, pin, m);
  return high ? f : lu_fn_not(f);
}

static lu_fn enabled(const lu_sim *s, const lu_elem *e, lu_moment m)
{
  lu_fn f = lu_fn_const(true);
  for (unsigned i = 0; i < e->cell->enable_count; i++) {
    lu_fn g = at_level(s, cell_enables(e)[i], e->cell->enables[i].high, m);
    f = lu_fn_and(&f, &g);
  }
  const lu_cell *c = e->cell;
  if ((c->phase == LU_PHASE_ROW && m != LU_ROW) ||
      (c->phase == LU_PHASE_COLUMN && m != LU_WRITE && m != LU_READ))
    return lu_fn_const(false);
  return f;
}

/* Puts a level on an output pin while en holds; otherwise as the cell says. */
static void put(lu_sim *s, const lu_elem *e, uint16_t pin, lu_moment m, const lu_fn *en, lu_fn out)
{
  if (pin == UINT16_MAX)
    return;
  lu_fn not_out = lu_fn_not(out), off = lu_fn_not(*en);
  lu_fn hi = lu_fn_and(en, &out), lo = lu_fn_and(en, &not_out);
  if (e->cell->off == LU_OFF_HIGH)
    hi = lu_fn_or(&hi, &off);
  else if (e->cell->off == LU_OFF_LOW)
    lo = lu_fn_or(&lo, &off);
  if (s->dead[e->part] & 1)
    hi = lo = lu_fn_const(false);
  set_drive(s, pin, m, hi, lo);
}

static lu_fn gate_output(const lu_sim *s, const lu_elem *e, lu_moment m)
{
  const lu_cell *c = e->cell;
  lu_fn f = pin_value(s, cell_inputs(e)[0], m);
  for (unsigned i = 1; i < c->input_count; i++) {
    lu_fn g = pin_value(s, cell_inputs(e)[i], m);
    f = c->kind == LU_CELL_AND  ? lu_fn_and(&f, &g)
        : c->kind == LU_CELL_OR ? lu_fn_or(&f, &g)
                                : lu_fn_xor(&f, &g);
  }
  return c->inverted ? lu_fn_not(f) : f;
}

static lu_fn mux_output(const lu_sim *s, const lu_elem *e, lu_moment m)
{
  lu_fn in[8];
  unsigned n = e->cell->input_count;
  for (unsigned i = 0; i < n; i++)
    in[i] = pin_value(s, cell_inputs(e)[i], m);
  for (unsigned k = 0; k < e->cell->select_count; k++) {
    lu_fn sel = pin_value(s, cell_selects(e)[k], m);
    for (unsigned i = 0; 2 * i < n; i++)
      in[i] = 2 * i + 1 < n ? lu_fn_choose(&sel, &in[2 * i + 1], &in[2 * i]) : in[2 * i];
    n = (n + 1) / 2;
  }
  return e->cell->inverted ? lu_fn_not(in[0]) : in[0];
}

static void do_decoder(lu_sim *s, const lu_elem *e, lu_moment m)
{
  const lu_cell *c = e->cell;
  lu_fn en = enabled(s, e, m), always = lu_fn_const(true), sel[4];
  for (unsigned k = 0; k < c->select_count; k++)
    sel[k] = pin_value(s, cell_selects(e)[k], m);
  for (unsigned i = 0; i < c->output_count; i++) {
    if (cell_outputs(e)[i] == UINT16_MAX)
      continue;
    lu_fn on = en;
    for (unsigned k = 0; k < c->select_count; k++) {
      lu_fn v = i >> k & 1 ? sel[k] : lu_fn_not(sel[k]);
      on = lu_fn_and(&on, &v);
    }
    put(s, e, cell_outputs(e)[i], m, &always, c->inverted ? lu_fn_not(on) : on);
  }
}

/* A latch or register took its input while the strobes were idle. One whose gate never opens
 * holds something unknown (taken as high); one that never closes lets the rest of the access
 * through. */
static void do_latch(lu_sim *s, const lu_elem *e, lu_moment m)
{
  const lu_cell *c = e->cell;
  lu_fn en = enabled(s, e, m), taken = pin_value(s, cell_inputs(e)[0], LU_IDLE), high = lu_fn_const(true);
  if (c->kind == LU_CELL_LATCH && cell_gate(e) != UINT16_MAX) {
    lu_fn open_idle = at_level(s, cell_gate(e), c->gate.high, LU_IDLE);
    lu_fn open_now = at_level(s, cell_gate(e), c->gate.high, m);
    lu_fn now = pin_value(s, cell_inputs(e)[0], m);
    taken = lu_fn_choose(&open_idle, &taken, &high);
    taken = lu_fn_choose(&open_now, &now, &taken);
  }
  put(s, e, cell_outputs(e)[0], m, &en, c->inverted ? lu_fn_not(taken) : taken);
}

static void pass_on(lu_sim *s, const lu_elem *e, uint16_t from, uint16_t to, lu_moment m, const lu_fn *en)
{
  if (from == UINT16_MAX || to == UINT16_MAX)
    return;
  lu_fn hi, lo, no;
  others(s, from, m, &hi, &lo);
  if (e->cell->kind == LU_CELL_TRANSCEIVER && e->cell->has_gate) { /* active: what floats is a level */
    hi = resolve(&hi, &lo, floats_high(s, net_of(s, from)));
    lo = lu_fn_not(hi);
  } else {
    no = lu_fn_not(lo);
    hi = lu_fn_and(&hi, &no);
  }
  if (e->cell->inverted) {
    lu_fn t = hi;
    hi = lo;
    lo = t;
  }
  hi = lu_fn_and(&hi, en);
  lo = lu_fn_and(&lo, en);
  if (s->dead[e->part] & 1)
    hi = lo = lu_fn_const(false);
  set_drive(s, to, m, hi, lo);
}

static void do_transceiver(lu_sim *s, const lu_elem *e, lu_moment m)
{
  const lu_cell *c = e->cell;
  lu_fn en = enabled(s, e, m), to_b;
  if (c->has_gate)
    to_b = at_level(s, cell_gate(e), c->gate.high, m);
  else
    to_b = lu_fn_const(e->one_way || (m == LU_READ) == (e->reversed != 0));
  lu_fn to_a = lu_fn_not(to_b);
  to_a = lu_fn_and(&to_a, &en);
  to_b = lu_fn_and(&to_b, &en);
  pass_on(s, e, cell_inputs(e)[0], cell_outputs(e)[0], m, &to_b);
  pass_on(s, e, cell_outputs(e)[0], cell_inputs(e)[0], m, &to_a);
}

static void do_cell(lu_sim *s, const lu_elem *e, lu_moment m)
{
  lu_fn en, always = lu_fn_const(true);
  switch (e->cell->kind) {
  case LU_CELL_AND:
  case LU_CELL_OR:
  case LU_CELL_XOR:
    en = enabled(s, e, m);
    put(s, e, cell_outputs(e)[0], m, &en, gate_output(s, e, m));
    break;
  case LU_CELL_MUX:
    en = enabled(s, e, m);
    put(s, e, cell_outputs(e)[0], m, &en, mux_output(s, e, m));
    break;
  case LU_CELL_DECODER:
    do_decoder(s, e, m);
    break;
  case LU_CELL_LATCH:
  case LU_CELL_REGISTER:
    do_latch(s, e, m);
    break;
  case LU_CELL_TRANSCEIVER:
    do_transceiver(s, e, m);
    break;
  case LU_CELL_WIRE:
    pass_on(s, e, cell_inputs(e)[0], cell_outputs(e)[0], m, &always);
    pass_on(s, e, cell_outputs(e)[0], cell_inputs(e)[0], m, &always);
    break;
  }
}

static lu_fn control_active(const lu_sim *s, const lu_chip *c, unsigned i, lu_moment m)
{
  lu_fn f = pin_value(s, c->control[i], m);
  return c->control_low[i] ? lu_fn_not(f) : f;
}

/* The chip is addressed at this moment: selects, and for multiplexed chips both strobes falling
 * in order. A strobe that never rises gives no edge. */
static lu_fn chip_selected(const lu_sim *s, const lu_chip *c, lu_moment m)
{
  lu_fn f = lu_fn_const(true);
  for (unsigned i = 0; i < c->control_count; i++) {
    lu_fn now = control_active(s, c, i, m), before;
    switch (c->control_role[i]) {
    case LU_ROLE_SELECT:
      break;
    case LU_ROLE_RAS:
      before = lu_fn_not(control_active(s, c, i, LU_IDLE));
      now = control_active(s, c, i, LU_ROW);
      now = lu_fn_and(&now, &before);
      break;
    case LU_ROLE_CAS:
      before = lu_fn_not(control_active(s, c, i, LU_ROW));
      now = lu_fn_and(&now, &before);
      break;
    default:
      continue;
    }
    f = lu_fn_and(&f, &now);
  }
  return f;
}

static lu_fn chip_role_active(const lu_sim *s, const lu_chip *c, lu_pin_role role, lu_moment m, bool none)
{
  lu_fn f = lu_fn_const(none);
  bool seen = false;
  for (unsigned i = 0; i < c->control_count; i++)
    if (c->control_role[i] == role) {
      lu_fn g = control_active(s, c, i, m);
      f = seen ? lu_fn_and(&f, &g) : g;
      seen = true;
    }
  return f;
}

static lu_fn chip_writes(const lu_sim *s, const lu_chip *c)
{
  if (c->rom || s->dead[c->npart] & 2)
    return lu_fn_const(false);
  lu_fn sel = chip_selected(s, c, LU_WRITE);
  lu_fn we = chip_role_active(s, c, LU_ROLE_WRITE, LU_WRITE, true);
  return lu_fn_and(&sel, &we);
}

static lu_fn chip_drives(const lu_sim *s, const lu_chip *c, lu_moment m)
{
  if (s->dead[c->npart] & 1 || (m != LU_READ && m != LU_WRITE))
    return lu_fn_const(false);
  if (s->forced)
    return lu_fn_const(s->forced == c);
  lu_fn sel = chip_selected(s, c, m);
  lu_fn oe = chip_role_active(s, c, LU_ROLE_OUTPUT_ENABLE, m, true);
  lu_fn we = lu_fn_not(chip_role_active(s, c, LU_ROLE_WRITE, m, false));
  lu_fn f = lu_fn_and(&sel, &oe);
  return lu_fn_and(&f, &we);
}

static uint64_t lane_levels(const lu_lanes *l, unsigned var)
{
  return var >= LU_VAR_CHIP ? l->out[var - LU_VAR_CHIP] : var >= LU_VAR_DATA ? l->data[var - LU_VAR_DATA] : l->address[var];
}

/* What a source puts out: a function, or its levels in each lane. */
static lu_fn source_fn(const lu_sim *s, lu_fn f)
{
  if (!s->lanes || !f.count)
    return f;
  uint64_t levels = 0;
  for (unsigned index = 0; index < 1u << f.count; index++) {
    uint64_t here = lu_fn_at(&f, index) ? ~UINT64_C(0) : 0;
    for (unsigned k = 0; k < f.count && here; k++)
      here &= index >> k & 1 ? lane_levels(s->lanes, f.var[k]) : ~lane_levels(s->lanes, f.var[k]);
    levels |= here;
  }
  return lu_fn_lanes(levels);
}

static void do_chip(lu_sim *s, const lu_elem *e, lu_moment m)
{
  const lu_chip *c = &s->n->chips[e->index];
  /* during a write the outputs are off on a healthy board; a chip that answers a write with old
   * contents would fight the writer, who wins on a shared pin: not modelled */
  lu_fn on = m == LU_READ ? chip_drives(s, c, m) : lu_fn_const(false);
  for (unsigned d = 0; d < c->out_count; d++) {
    if (c->out[d] == UINT16_MAX)
      continue;
    lu_fn q = source_fn(s, lu_fn_var(LU_VAR_CHIP + (unsigned)e->index * 16 + d)), nq = lu_fn_not(q);
    set_drive(s, c->out[d], m, lu_fn_and(&on, &q), lu_fn_and(&on, &nq));
  }
}

static void do_source(lu_sim *s, const lu_elem *e, lu_moment m)
{
  lu_fn none = lu_fn_const(false), v;
  switch (e->kind) {
  case LU_ELEM_ADDRESS:
    v = source_fn(s, e->level[m]);
    if (e->bit2 < 64 && m == LU_WRITE)
      v = source_fn(s, lu_fn_var(LU_VAR_DATA + e->bit2));
    if (e->bit2 < 64 && m == LU_READ)
      set_drive(s, e->pins[0], m, none, none);
    else
      set_drive(s, e->pins[0], m, v, lu_fn_not(v));
    break;
  case LU_ELEM_DATA:
    if (m == LU_WRITE) {
      v = source_fn(s, lu_fn_var(LU_VAR_DATA + e->index));
      set_drive(s, e->pins[0], m, v, lu_fn_not(v));
    } else {
      set_drive(s, e->pins[0], m, none, none);
    }
    break;
  default:
    v = source_fn(s, e->level[m]);
    set_drive(s, e->pins[0], m, v, lu_fn_not(v));
    break;
  }
}

static void do_elem(lu_sim *s, uint16_t i)
{
  const lu_elem *e = &s->n->elems[i];
  for (int m = 0; m < LU_MOMENTS; m++) {
    if (!(s->elem_moments[i] >> m & 1))
      continue;
    switch (e->kind) {
    case LU_ELEM_CELL:
      do_cell(s, e, (lu_moment)m);
      break;
    case LU_ELEM_CHIP:
      do_chip(s, e, (lu_moment)m);
      break;
    default:
      do_source(s, e, (lu_moment)m);
      break;
    }
  }
}

/* Works off what is dirty, elements in order, until nothing changes. */
static bool settle(lu_sim *s)
{
  const int most = s->building ? BUILD_ROUNDS : ROUNDS_MOST;
  s->swinging = 0;
  for (int round = 0; round < most; round++) {
    s->watching = s->lanes && round + SWING_ROUNDS >= most;
    bool any = false;
    for (size_t w = 0; w < s->net_words; w++)
      while (s->dirty_nets[w]) {
        unsigned b = (unsigned)__builtin_ctzll(s->dirty_nets[w]);
        s->dirty_nets[w] &= s->dirty_nets[w] - 1;
        do_net(s, (uint16_t)(w * 64 + b), false);
        any = true;
      }
    for (size_t w = 0; w < s->elem_words; w++) {
      uint64_t now = s->dirty_elems[w];
      s->dirty_elems[w] = 0;
      while (now) {
        unsigned b = (unsigned)__builtin_ctzll(now);
        now &= now - 1;
        do_elem(s, (uint16_t)(w * 64 + b));
        any = true;
      }
    }
    if (!any) {
      s->watching = false;
      s->swinging = 0;
      return true;
    }
  }
  s->watching = false;
  memset(s->dirty_nets, 0, s->net_words * sizeof *s->dirty_nets);
  memset(s->dirty_elems, 0, s->elem_words * sizeof *s->dirty_elems);
  return false;
}

void lu_sim_settle_all(lu_sim *s)
{
  const lu_network *n = s->n;
  s->building = true;
  for (size_t i = 0; i < n->elem_count; i++)
    mark_elem(s, (uint16_t)i);
  for (size_t i = 0; i < n->net_count; i++)
    do_net(s, (uint16_t)i, true);
  settle(s);
  memcpy(n->drive, s->drive, LU_MOMENTS * n->pin_count * sizeof *s->drive);
  memcpy(n->state, s->state, LU_MOMENTS * n->net_count * sizeof *s->state);
  s->building = false;
}

/* The moment at which a cell bit is taken in, and the address pin that carries it. */
static lu_moment cell_moment(const lu_network *n, const lu_chip *c, unsigned bit, lu_moment access,
                             unsigned *pin)
{
  if (!c->multiplexed) {
    *pin = bit;
    return access;
  }
  if (bit < c->row_bits) {
    *pin = bit;
    return LU_ROW;
  }
  const lu_part_type *t = n->board->parts[c->part].type;
  *pin = bit - c->row_bits + t->memory.column_first;
  return access;
}

/* --- while the network is built --------------------------------------------------------------- */

void lu_sim_force(lu_sim *s, const lu_chip *only)
{
  s->building = true;
  s->forced = only;
  for (size_t i = 0; i < s->n->chip_count + s->n->foreign_count; i++)
    mark_elem(s, s->n->chips[i].elem);
  settle(s);
  s->building = false;
}

lu_drive lu_sim_column(const lu_sim *s, unsigned bit)
{
  const lu_net_state *st = state_of(s, LU_READ, s->n->pins[s->n->data_pin[bit]].net);
  return (lu_drive){st->hi[0], st->lo[0]};
}

lu_fn lu_sim_chip_cell(const lu_sim *s, const lu_chip *c, unsigned bit, lu_moment access)
{
  unsigned pin;
  lu_moment m = cell_moment(s->n, c, bit, access, &pin);
  return pin_value(s, c->address[pin], m);
}

lu_fn lu_sim_chip_known(const lu_sim *s, const lu_chip *c)
{
  lu_fn f = lu_fn_const(true);
  for (unsigned i = 0; i < c->control_count; i++) {
    uint8_t r = c->control_role[i];
    lu_fn g = control_active(s, c, i, LU_READ);
    if (!g.wide && (r == LU_ROLE_SELECT || r == LU_ROLE_RAS || r == LU_ROLE_CAS))
      f = lu_fn_and(&f, &g);
  }
  return f.wide ? lu_fn_const(true) : f;
}

lu_fn lu_sim_chip_answers(const lu_sim *s, const lu_chip *c, bool write)
{
  return write ? chip_writes(s, c) : chip_drives(s, c, LU_READ);
}

lu_fn lu_sim_chip_in(const lu_sim *s, const lu_chip *c, unsigned pin)
{
  return pin_value(s, c->in[pin], LU_WRITE);
}

/* --- one hypothesis ------------------------------------------------------------------------- */

static void undo(lu_sim *s)
{
  for (size_t i = 0; i < s->saved_net_count; i++)
    for (int m = 0; m < LU_MOMENTS; m++)
      *state_of(s, (lu_moment)m, s->saved_nets[i].net) = s->saved_nets[i].state[m];
  for (size_t i = 0; i < s->saved_pin_count; i++)
    for (int m = 0; m < LU_MOMENTS; m++)
      *drive_of(s, (lu_moment)m, s->saved_pins[i].pin) = s->saved_pins[i].drive[m];
  for (size_t i = 0; i < s->faulted_count; i++)
    s->fault[s->faulted[i]] = sound;
  for (size_t i = 0; i < s->dead_count; i++)
    s->dead[s->dead_parts[i]] = 0;
  for (size_t i = 0; i < s->touched_count; i++)
    s->chip_touched[s->touched[i]] = 0;
  s->saved_net_count = s->saved_pin_count = s->moved_count = s->faulted_count = s->dead_count =
      s->touched_count = s->change_count = 0;
  s->column_touched = 0;
  s->epoch++;
}

static net_fault *fault_on(lu_sim *s, uint16_t net)
{
  for (size_t i = 0; i < s->faulted_count; i++)
    if (s->faulted[i] == net)
      return &s->fault[net];
  s->faulted[s->faulted_count++] = net;
  return &s->fault[net];
}

static void move_pins(lu_sim *s, const lu_fault *f)
{
  const uint16_t nets[2] = {f->net, f->net2};
  for (int k = 0; k < 2; k++) {
    const lu_nnet *n = &s->n->nets[nets[k]];
    for (unsigned i = 0; i < n->pin_count; i++) {
      uint16_t pin = s->n->net_pins[n->first_pin + i];
      if (s->n->pins[pin].part == f->part && s->moved_count < 64)
        s->moves[s->moved_count++] = (moved){pin, nets[1 - k]};
    }
    for (unsigned i = 0; i < n->driver_count; i++) {
      uint16_t pin = s->n->net_drivers[n->first_driver + i];
      if (s->n->pins[pin].part == f->part && s->n->pins[pin].same_as != UINT16_MAX && s->moved_count < 64)
        s->moves[s->moved_count++] = (moved){pin, nets[1 - k]};
    }
  }
}

static void kill_part(lu_sim *s, const lu_fault *f)
{
  s->dead[f->part] |= f->lost == LU_LOST_OUTPUTS ? 1 : f->lost == LU_LOST_WRITES ? 2 : 3;
  s->dead_parts[s->dead_count++] = f->part;
  for (size_t i = 0; i < s->n->elem_count; i++) {
    const lu_elem *e = &s->n->elems[i];
    if (e->part != f->part)
      continue;
    if (e->kind == LU_ELEM_CHIP)
      touch_chip(s, e->index);
    mark_elem(s, (uint16_t)i);
  }
}

static void apply(lu_sim *s, const lu_fault *f)
{
  net_fault *a;
  switch (f->kind) {
  case LU_FAULT_OPEN:
    a = fault_on(s, f->net);
    a->cut |= f->cut;
    a->floats = f->level != LU_LEVEL_LOW;
    break;
  case LU_FAULT_STUCK:
    fault_on(s, f->net)->stuck = f->level != LU_LEVEL_LOW;
    break;
  case LU_FAULT_BRIDGE:
    a = fault_on(s, f->net);
    a->partner = f->net2;
    a->acts = f->acts;
    a->second = false;
    a = fault_on(s, f->net2);
    a->partner = f->net;
    a->acts = f->acts;
    a->second = true;
    break;
  case LU_FAULT_SWAP:
    fault_on(s, f->net);
    fault_on(s, f->net2);
    move_pins(s, f);
    break;
  case LU_FAULT_DEAD:
    kill_part(s, f);
    break;
  default:
    break;
  }
}

static void note_change(lu_sim *s, unsigned chip, unsigned slot, const lu_fn *now, const lu_fn *healthy)
{
  if (lu_fn_same(now, healthy) || s->change_count == CHANGES_MOST)
    return;
  s->changes[s->change_count++] = (lu_change){(uint16_t)chip, (uint16_t)slot, *now};
}

static lu_fn chip_address(const lu_sim *s, const lu_chip *c, unsigned index, lu_moment m)
{
  return pin_value(s, c->address[index], m);
}

static void chip_changes(lu_sim *s, unsigned chip)
{
  const lu_chip *c = &s->n->chips[chip];
  bool writes = s->moments >> LU_WRITE & 1;
  for (int k = 0; k < 1 + writes; k++) {
    lu_moment access = k ? LU_WRITE : LU_READ;
    for (unsigned b = 0; b < c->cell_bits; b++) {
      unsigned pin;
      lu_moment m = cell_moment(s->n, c, b, access, &pin);
      lu_fn now = chip_address(s, c, pin, m);
      note_change(s, chip, (k ? LU_EFFECT_WRITE_CELL : LU_EFFECT_READ_CELL) + b, &now, &c->cell[b]);
    }
  }
  if (!c->rom && writes) {
    lu_fn w = chip_writes(s, c);
    note_change(s, chip, LU_EFFECT_WRITES, &w, &c->serves);
    for (unsigned d = 0; d < c->in_count; d++) {
      lu_fn now = pin_value(s, c->in[d], LU_WRITE);
      note_change(s, chip, LU_EFFECT_IN + d, &now, &c->in_fn[d]);
    }
  }
}

static void column_changes(lu_sim *s, unsigned bit)
{
  uint16_t pin = s->n->data_pin[bit];
  uint16_t net = s->moved_count ? net_of(s, pin) : s->n->pins[pin].net, home = s->n->pins[pin].net;
  const lu_net_state *now = state_of(s, LU_READ, net);
  const lu_net_state *was = &s->n->state[(size_t)LU_READ * s->n->net_count + home];
  unsigned g = group_of(s, net, pin);
  lu_fn no = lu_fn_not(now->lo[g]), hi = lu_fn_and(&now->hi[g], &no), lo = now->lo[g];
  lu_fn wno = lu_fn_not(was->lo[0]), whi = lu_fn_and(&was->hi[0], &wno);
  if (lu_fn_same(&hi, &whi) && lu_fn_same(&lo, &was->lo[0]))
    return;
  lu_fn other = lu_fn_wide(); /* differs from both: the pair is always noted whole */
  other.tag = 1;
  note_change(s, 0xffff, LU_EFFECT_COLUMN_HI + bit, &hi, &other);
  note_change(s, 0xffff, LU_EFFECT_COLUMN_LO + bit, &lo, &other);
}

static uint64_t mix(uint64_t h, uint64_t x)
{
  h = (h ^ x) * 0x9e3779b97f4a7c15u;
  return h ^ h >> 29;
}

/* Puts faults on the healthy state; false: never at rest. */
static bool put_faults(lu_sim *s, const lu_fault *faults, size_t count)
{
  undo(s);
  for (size_t i = 0; i < count; i++)
    apply(s, &faults[i]);
  for (size_t i = 0; i < s->faulted_count; i++)
    do_net(s, s->faulted[i], true);
  wake_moved(s);
  return settle(s);
}

static bool follows_data(const lu_fn *f)
{
  return f->wide || (f->count && f->var[f->count - 1] >= LU_VAR_DATA);
}

/* Some address or control line now follows data, and did not before. */
static bool loops(const lu_sim *s)
{
  for (size_t i = 0; i < s->saved_net_count; i++) {
    const saved_net *k = &s->saved_nets[i];
    if (!(s->n->nets[k->net].carries & ~LU_CARRIES_DATA))
      continue;
    for (int m = 0; m < LU_MOMENTS; m++) {
      const lu_net_state *now = state_of(s, (lu_moment)m, k->net);
      for (int g = 0; s->moments >> m & 1 && g < 1 + (s->fault[k->net].cut != 0); g++)
        if (follows_data(&now->value[g]) && !follows_data(&k->state[m].value[0]))
          return true;
    }
  }
  return false;
}

lu_effect lu_sim_run(lu_sim *s, const lu_fault *faults, size_t count)
{
  lu_effect e = {.wide = !put_faults(s, faults, count)};
  for (size_t i = 0; i < count; i++)
    e.keeps |= faults[i].kind == LU_FAULT_OPEN && faults[i].level >= LU_LEVEL_KEEP;
  for (size_t c = 0; c < s->n->chip_count; c++)
    if (s->chip_touched[c])
      chip_changes(s, (unsigned)c);
  for (uint64_t t = s->column_touched; t; t &= t - 1)
    column_changes(s, (unsigned)__builtin_ctzll(t));
  uint64_t h = 1;
  for (size_t i = 0; i < s->change_count; i++) {
    const lu_change *c = &s->changes[i];
    e.wide |= c->fn.wide;
    h = mix(h, (uint64_t)c->chip << 16 | c->slot);
    uint64_t w[2] = {0};
    memcpy(w, c->fn.var, sizeof c->fn.var);
    h = mix(mix(mix(h, c->fn.table), w[0]), w[1] ^ c->fn.count);
  }
  e.loops = loops(s);
  e.count = s->change_count;
  e.changes = s->changes;
  e.hash = h;
  return e;
}

/* --- lanes ----------------------------------------------------------------------------------------- */

lu_sim *lu_sim_new_lanes(const lu_network *n, const lu_lanes *lanes, lu_moment access, lu_arena *mem)
{
  lu_sim *s = LU_NEW(mem, lu_sim, 1);
  if (!s)
    return NULL;
  s->n = n;
  s->lanes = lanes;
  if (!set_moments(s, access == LU_WRITE, mem) || !take_room(s, mem))
    return NULL;
  unsigned other = access == LU_WRITE ? 1u << LU_READ : 1u << LU_WRITE;
  s->moments &= (uint8_t)~other;
  for (size_t i = 0; i < n->elem_count; i++)
    s->elem_moments[i] &= (uint8_t)~other;
  s->building = true; /* nets without a driver take their level here, once */
  for (size_t i = 0; i < n->net_count; i++)
    do_net(s, (uint16_t)i, true);
  s->building = false;
  return s;
}

void lu_sim_lanes_begin(lu_sim *s)
{
  undo(s);
  s->building = true;
  for (size_t i = 0; i < s->n->elem_count; i++)
    mark_elem(s, (uint16_t)i);
  settle(s);
  s->building = false;
  undo(s);
}

uint64_t lu_sim_lanes_run(lu_sim *s, const lu_fault *faults, size_t count)
{
  put_faults(s, faults, count);
  return s->swinging;
}

void lu_sim_lanes_put(lu_sim *s, unsigned chip)
{
  mark_elem(s, s->n->chips[chip].elem);
}

uint64_t lu_sim_lanes_settle(lu_sim *s)
{
  settle(s);
  return s->swinging;
}

void lu_sim_lanes_column(const lu_sim *s, unsigned bit, uint64_t *hi, uint64_t *lo)
{
  uint16_t pin = s->n->data_pin[bit], net = s->moved_count ? net_of(s, pin) : s->n->pins[pin].net;
  const lu_net_state *st = state_of(s, LU_READ, net);
  unsigned g = group_of(s, net, pin);
  *lo = lu_fn_lane_levels(&st->lo[g]);
  *hi = lu_fn_lane_levels(&st->hi[g]) & ~*lo;
}

/* --- bridges that need no simulation --------------------------------------------------------------- */

static bool matters_at(const lu_sim *s, uint16_t net, int m)
{
  bool early = m == LU_IDLE || m == LU_ROW;
  return (s->moments >> m & 1) && !(early && s->n->nets[net].carries == LU_CARRIES_DATA);
}

lu_bridge_kind lu_sim_bridge(lu_sim *s, const lu_fault *f, uint16_t *net, bool *high)
{
  undo(s);
  const uint16_t nets[2] = {f->net, f->net2};
  bool changed[2] = {false, false}, constant[2] = {true, true};
  int level[2] = {-1, -1};
  for (int m = 0; m < LU_MOMENTS; m++) {
    lu_fn hi[2], lo[2], h, l;
    if (!(s->moments >> m & 1))
      continue;
    for (int k = 0; k < 2; k++)
      gather(s, nets[k], 0, (lu_moment)m, UINT16_MAX, &hi[k], &lo[k]);
    h = hi[0];
    l = lo[0];
    touch((lu_acts)f->acts, &h, &l, &hi[1], &lo[1]);
    for (int k = 0; k < 2; k++) {
      if (!matters_at(s, nets[k], m))
        continue;
      if (s->n->nets[nets[k]].carries & ~LU_CARRIES_DATA && (follows_data(&h) || follows_data(&l)))
        return LU_BRIDGE_LOOP;
      changed[k] |= !lu_fn_same(&h, &hi[k]) || !lu_fn_same(&l, &lo[k]);
      int now = lu_fn_is(&h, true) && lu_fn_is(&l, false) ? 1 : lu_fn_is(&l, true) ? 0 : -1;
      constant[k] &= now >= 0 && (level[k] < 0 || level[k] == now);
      level[k] = now;
    }
  }
  if (!changed[0] && !changed[1])
    return LU_BRIDGE_NOTHING;
  for (int k = 0; k < 2; k++)
    if (changed[k] && !changed[1 - k] && constant[k]) {
      *net = nets[k];
      *high = level[k] == 1;
      return LU_BRIDGE_STUCK;
    }
  return LU_BRIDGE_OTHER;
}
