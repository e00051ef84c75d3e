/* SPDX-License-Identifier: MIT */
#include "reason/cycles_in.h"

#include <math.h>
#include <string.h>

const char *lu_cycle_kind_name(lu_cycle_kind kind)
{
  switch (kind) {
  case LU_CYCLE_READ:
    return "read";
  case LU_CYCLE_WRITE:
    return "write";
  case LU_CYCLE_LATE_WRITE:
    return "late write";
  case LU_CYCLE_READ_WRITE:
    return "read-write";
  case LU_CYCLE_ROW_REFRESH:
    return "row refresh";
  case LU_CYCLE_AUTO_REFRESH:
    return "auto refresh";
  case LU_CYCLE_KINDS:
    break;
  }
  return "?";
}

/* ---- binding ---- */

static void mark(uint64_t *masks, uint32_t home)
{
  masks[home / 64] |= (uint64_t)1 << (home % 64);
}

static void build_runs(lu_cyc_field *f)
{
  for (unsigned i = 0; i < f->bits;) {
    unsigned n = 1;
    uint32_t h = f->homes[i];
    while (i + n < f->bits && f->homes[i + n] == h + n && (h + n) / 64 == h / 64)
      n++;
    f->runs[f->run_count++] = (lu_cyc_run){.mask = UINT64_MAX >> (64 - n),
                                           .slot = h / 64,
                                           .down = (uint8_t)(h % 64),
                                           .up = (uint8_t)i};
    i += n;
  }
}

static lu_status bind_bus(const lu_bind *b, const lu_sig_bus *bus, uint64_t *masks, lu_cyc_field *f,
                          lu_err *err)
{
  for (size_t i = 0; i < bus->count; i++) {
    size_t n = 0;
    lu_status s = lu_bind_name(b, &bus->names[i], f->homes + f->bits, LU_SIG_BITS_MOST - f->bits, &n,
                               err);
    if (s != LU_OK)
      return s;
    f->bits += (unsigned)n;
  }
  for (unsigned i = 0; i < f->bits; i++)
    mark(masks, f->homes[i]);
  build_runs(f);
  return LU_OK;
}

static lu_status bind_one(const lu_bind *b, const lu_sig_name *name, lu_cyc_line *out,
                          uint64_t *control, lu_err *err)
{
  uint32_t home;
  size_t n;
  if (!name->name)
    return LU_OK;
  lu_status s = lu_bind_name(b, name, &home, 1, &n, err);
  if (s != LU_OK)
    return s;
  out->slot = home / 64;
  out->bit = (uint64_t)1 << (home % 64);
  mark(control, home);
  return LU_OK;
}

static lu_status bind_line(const lu_bind *b, const lu_sig_line *line, lu_cyc_line *out,
                           uint64_t *control, lu_err *err)
{
  out->active_high = line->active_high;
  return bind_one(b, &line->signal, out, control, err);
}

static lu_status bind_lanes(const lu_bind *b, const lu_sig_lane *at, size_t count, lu_cyc_lane *out,
                            uint64_t *control, lu_err *err)
{
  lu_status s = LU_OK;
  for (size_t i = 0; s == LU_OK && i < count; i++) {
    s = bind_line(b, &at[i].line, &out[i].line, control, err);
    out[i].mask = at[i].bits ? UINT64_MAX >> (64 - at[i].bits) << at[i].first : UINT64_MAX;
  }
  return s;
}

static lu_status bind_group(const lu_bind *b, const lu_sig_line *from, size_t count,
                            lu_cyc_lines *to, uint64_t *control, lu_err *err)
{
  for (size_t i = 0; i < count; i++) {
    lu_cyc_line line = {0};
    lu_status s = bind_line(b, &from[i], &line, control, err);
    if (s != LU_OK)
      return s;
    size_t g = 0;
    while (g < to->count && to->groups[g].slot != line.slot)
      g++;
    if (g == to->count)
      to->groups[to->count++] = (lu_cyc_group){.slot = line.slot};
    to->groups[g].mask |= line.bit;
    to->groups[g].active |= line.active_high ? line.bit : 0;
  }
  return LU_OK;
}

static lu_status bind_strobe(const lu_bind *b, const lu_sig_strobe *from, lu_cyc_strobe *to,
                             uint64_t *control, lu_err *err)
{
  to->writes = from->writes;
  to->was = LU_LINE_ODD;
  lu_status s = bind_group(b, from->lines, from->line_count, &to->lines, control, err);
  return s == LU_OK ? bind_group(b, from->when, from->when_count, &to->when, control, err) : s;
}

/* Whether a line must be at different levels for the two, so that they never hold at once. */
static bool exclude(const lu_cyc_lines *a, const lu_cyc_lines *b)
{
  for (size_t i = 0; i < a->count; i++)
    for (size_t k = 0; k < b->count; k++)
      if (a->groups[i].slot == b->groups[k].slot &&
          (a->groups[i].active ^ b->groups[k].active) & a->groups[i].mask & b->groups[k].mask)
        return true;
  return false;
}

static bool any_may_meet(const lu_cycles *c)
{
  for (size_t i = 0; i < c->strobe_count; i++)
    for (size_t k = 0; k < i; k++)
      if (c->strobes[i].writes != c->strobes[k].writes && !exclude(&c->strobes[i].when, &c->strobes[k].when))
        return true;
  return false;
}

static lu_status bind_dram(const lu_bind *b, lu_cycles *c, lu_err *err)
{
  const lu_sigmap *m = b->map;
  lu_cyc_dram *d = &c->dram;
  if (!m->ras.signal.name)
    return LU_OK;
  c->is_dram = true;
  d->ras_was = d->cas_was = d->write_was = LU_LINE_ODD;
  d->cas_count = m->cas_count;
  lu_status s = bind_line(b, &m->ras, &d->ras, c->control, err);
  if (s == LU_OK)
    s = bind_lanes(b, m->cas, m->cas_count, d->cas, c->control, err);
  if (s == LU_OK)
    s = bind_line(b, &m->write, &d->write, c->control, err);
  if (s == LU_OK)
    s = bind_line(b, &m->output, &d->output, c->control, err);
  if (s == LU_OK)
    s = bind_bus(b, &m->row, c->address_bits, &c->row, err);
  if (s == LU_OK)
    s = bind_bus(b, &m->column, c->address_bits, &c->column, err);
  if (s == LU_OK && c->row.bits + c->column.bits > 64)
    s = lu_fail(err, LU_ERR_LIMIT, 0, 0, "more than 64 address bits");
  return s;
}

static lu_status bind_all(const lu_bind *b, lu_cycles *c, lu_err *err)
{
  const lu_sigmap *m = b->map;
  lu_status s = bind_bus(b, &m->address, c->address_bits, &c->address, err);
  if (s == LU_OK)
    s = bind_bus(b, &m->data, c->data_bits, &c->data, err);
  if (s == LU_OK)
    s = bind_bus(b, m->data_in.count ? &m->data_in : &m->data, c->data_bits, &c->data_in, err);
  if (s == LU_OK)
    s = bind_bus(b, m->data_out.count ? &m->data_out : &m->data, c->data_bits, &c->data_out, err);
  c->strobe_count = m->strobe_count;
  for (size_t i = 0; s == LU_OK && i < m->strobe_count; i++)
    s = bind_strobe(b, &m->strobes[i], &c->strobes[i], c->control, err);
  c->may_meet = any_may_meet(c);
  c->lane_count = m->lane_count;
  if (s == LU_OK)
    s = bind_lanes(b, m->lanes, m->lane_count, c->lanes, c->control, err);
  if (s == LU_OK)
    s = bind_line(b, &m->wait, &c->wait, c->control, err);
  c->clock.active_high = true;
  if (s == LU_OK)
    s = bind_one(b, &m->clock, &c->clock, c->control, err);
  return s == LU_OK ? bind_dram(b, c, err) : s;
}

static void list_uses(lu_cycles *c)
{
  for (size_t k = 0; k < c->slot_count; k++)
    c->uses[k] = (lu_cyc_use){c->control[k], c->address_bits[k], c->data_bits[k], 0};
  for (size_t i = 0; i < c->strobe_count; i++)
    for (size_t g = 0; g < c->strobes[i].lines.count; g++)
      c->uses[c->strobes[i].lines.groups[g].slot].strobes |= c->strobes[i].lines.groups[g].mask;
}

static int64_t ticks(double ns, const lu_cap *cap)
{
  return cap->tick_s > 0 ? (int64_t)ceil(ns * 1e-9 / cap->tick_s - 1e-6) : 0;
}

lu_status lu_cycles_open(const lu_bind *bind, lu_cycle_taker taker, void *to, lu_arena *mem,
                         lu_cycles **out, lu_err *err)
{
  const lu_cap *cap = bind->cap;
  const lu_sigmap *m = bind->map;
  if (!m || (!m->strobe_count && !m->ras.signal.name))
    return lu_fail_source(err,
                          lu_fail(err, LU_ERR_MISSING, 1, 1,
                                  "no strobe is defined: bus cycles need strobes: or dram: in the map"),
                          bind->map_name);
  lu_cycles *c = LU_NEW(mem, lu_cycles, 1);
  uint64_t *masks = LU_NEW(mem, uint64_t, (cap->slot_count ? cap->slot_count : 1) * 4);
  if (!c || !masks)
    return lu_fail(err, LU_ERR_NOMEM, 0, 0, "no room for bus cycles");
  c->taker = taker;
  c->to = to;
  c->slot_count = cap->slot_count;
  c->control = masks;
  c->address_bits = masks + cap->slot_count;
  c->data_bits = masks + cap->slot_count * 2;
  c->wanted = masks + cap->slot_count * 3;
  c->uses = LU_NEW(mem, lu_cyc_use, cap->slot_count ? cap->slot_count : 1);
  c->live = true;
  c->setup_address = ticks(m->setup_address_ns, cap);
  c->setup_data = ticks(m->setup_data_ns, cap);
  c->address_at = c->data_at = INT64_MIN / 2;
  lu_status s = c->uses ? bind_all(bind, c, err) : lu_fail(err, LU_ERR_NOMEM, 0, 0, "no room for bus cycles");
  if (s != LU_OK)
    return s;
  list_uses(c);
  for (size_t k = 0; k < cap->slot_count; k++)
    /* When data changed matters only if there is a setup time to hold it against. */
    c->wanted[k] = c->control[k] | c->address_bits[k] |
                   (c->setup_data || c->setup_address ? c->data_bits[k] : 0);
  unsigned bits = lu_cycles_data_bits(c);
  c->data_mask = bits ? UINT64_MAX >> (64 - bits) : 0;
  *out = c;
  return LU_OK;
}

/* ---- levels ---- */

uint64_t lu_cyc_get(const lu_cyc_field *f, lu_cyc_levels at, uint64_t *unknown)
{
  uint64_t v = 0, u = 0;
  for (unsigned i = 0; i < f->run_count; i++) {
    const lu_cyc_run *r = &f->runs[i];
    v |= (at.value[r->slot] >> r->down & r->mask) << r->up;
    u |= (at.unknown[r->slot] >> r->down & r->mask) << r->up;
  }
  *unknown = u;
  return v & ~u;
}

/* Lines of a group that are active, and those whose level is not certain. */
static inline uint64_t group_on(const lu_cyc_group *g, lu_cyc_levels at, uint64_t *odd)
{
  uint64_t unknown = at.unknown[g->slot] & g->mask;
  *odd |= unknown;
  return ~(at.value[g->slot] ^ g->active) & g->mask & ~unknown;
}

static inline lu_line_is any_on(const lu_cyc_lines *l, lu_cyc_levels at)
{
  uint64_t on = 0, odd = 0;
  for (size_t i = 0; i < l->count; i++)
    on |= group_on(&l->groups[i], at, &odd);
  return on ? LU_LINE_ON : odd ? LU_LINE_ODD : LU_LINE_OFF;
}

static inline lu_line_is all_on(const lu_cyc_lines *l, lu_cyc_levels at)
{
  uint64_t off = 0, odd = 0;
  for (size_t i = 0; i < l->count; i++) {
    uint64_t unknown = 0, on = group_on(&l->groups[i], at, &unknown);
    off |= l->groups[i].mask & ~on & ~unknown;
    odd |= unknown;
  }
  return off ? LU_LINE_OFF : odd ? LU_LINE_ODD : LU_LINE_ON;
}

static inline uint64_t active_lanes(const lu_cyc_lane *lanes, size_t count, lu_cyc_levels at)
{
  uint64_t mask = 0;
  for (size_t i = 0; i < count; i++)
    if (lu_cyc_is(&lanes[i].line, at) == LU_LINE_ON)
      mask |= lanes[i].mask;
  return mask;
}

/* ---- what is told ---- */

void lu_cyc_odd(lu_cycles *c, int64_t time)
{
  if (!c->counts.undecided++)
    c->counts.first_undecided = time;
}

uint8_t lu_cyc_address_late(lu_cycles *c, int64_t time)
{
  int64_t at = c->address_now ? time : c->address_at;
  if (time - at >= c->setup_address)
    return 0;
  if (!c->counts.address_late++)
    c->counts.first_address_late = time;
  return LU_CYCLE_ADDRESS_LATE;
}

uint8_t lu_cyc_data_late(lu_cycles *c, int64_t time, bool changed_now)
{
  int64_t at = changed_now ? time : c->data_at;
  if (time - at >= c->setup_data)
    return 0;
  if (!c->counts.data_late++)
    c->counts.first_data_late = time;
  return LU_CYCLE_DATA_LATE;
}

lu_status lu_cyc_emit(lu_cycles *c, const lu_cycle *cycle, lu_err *err)
{
  c->counts.kinds[cycle->kind]++;
  return c->taker ? c->taker(c->to, cycle, err) : LU_OK;
}

/* ---- strobes ---- */

static __attribute__((noinline)) lu_status finish(lu_cycles *c, lu_cyc_strobe *s, const lu_cap_step *step, lu_err *err)
{
  lu_cyc_levels before = {step->was_value, step->was_unknown};
  lu_line_is holds = all_on(&s->when, before);
  if (holds == LU_LINE_ODD)
    lu_cyc_odd(c, step->time);
  if (holds != LU_LINE_ON)
    return LU_OK;
  uint8_t flags = s->flags;
  if (flags & LU_CYCLE_ADDRESS_LATE && !c->counts.address_late++)
    c->counts.first_address_late = s->begin;
  if (c->address_at > s->begin) {
    flags |= LU_CYCLE_ADDRESS_MOVED;
    if (!c->counts.address_moved++)
      c->counts.first_address_moved = step->time;
  }
  if (s->writes)
    flags |= lu_cyc_data_late(c, step->time, false);
  if (!c->taker) { /* only counted: what it says is not looked at */
    c->counts.kinds[s->writes ? LU_CYCLE_WRITE : LU_CYCLE_READ]++;
    return LU_OK;
  }
  lu_cycle y = {.begin = s->begin,
                .end = step->time,
                .kind = s->writes ? LU_CYCLE_WRITE : LU_CYCLE_READ,
                .strobe = (uint8_t)(s - c->strobes),
                .flags = flags,
                .waits = s->waits,
                .lanes = s->lanes & c->data_mask};
  y.address = lu_cyc_get(&c->address, before, &y.address_unknown);
  y.data = lu_cyc_get(s->writes ? &c->data_in : &c->data_out, before, &y.data_unknown);
  y.data_unknown |= c->data_mask & ~y.lanes;
  y.data &= ~y.data_unknown;
  y.written = y.data;
  y.written_unknown = y.data_unknown;
  return lu_cyc_emit(c, &y, err);
}

static void start(lu_cycles *c, lu_cyc_strobe *s, int64_t time)
{
  s->begin = time;
  s->lanes = 0;
  s->waits = 0;
  s->flags = s->was == LU_LINE_ODD ? LU_CYCLE_BEGUN_BEFORE : 0;
  if (time - (c->address_now ? time : c->address_at) < c->setup_address)
    s->flags |= LU_CYCLE_ADDRESS_LATE;
}

static inline lu_status step_strobe(lu_cycles *c, lu_cyc_strobe *s, const lu_cap_step *step, bool held_up,
                             lu_err *err)
{
  lu_cyc_levels now = {step->value, step->unknown};
  lu_line_is is = any_on(&s->lines, now);
  lu_status status = LU_OK;
  if (is == LU_LINE_ON && s->was != LU_LINE_ON)
    start(c, s, step->time);
  if (is == LU_LINE_ON && c->taker)
    s->lanes |= c->lane_count ? active_lanes(c->lanes, c->lane_count, now) : UINT64_MAX;
  if (s->was == LU_LINE_ON && held_up)
    s->waits++;
  if (s->was == LU_LINE_ON && is == LU_LINE_OFF)
    status = finish(c, s, step, err);
  else if (s->was == LU_LINE_ON && is == LU_LINE_ODD)
    lu_cyc_odd(c, step->time);
  s->was = is;
  return status;
}

/* A read and a write that go on at the same time. */
static void check_both(lu_cycles *c, const lu_cap_step *step)
{
  lu_cyc_levels now = {step->value, step->unknown};
  bool on[2] = {false, false};
  for (size_t i = 0; i < c->strobe_count; i++) {
    const lu_cyc_strobe *s = &c->strobes[i];
    if (!on[s->writes] && s->was == LU_LINE_ON)
      on[s->writes] = all_on(&s->when, now) == LU_LINE_ON;
  }
  bool both = on[0] && on[1];
  if (both && !c->both_was && !c->counts.both++)
    c->counts.first_both = step->time;
  c->both_was = both;
}

/* Whether this moment is one at which the wait line held a cycle up: a rising clock edge while it
 * is active, or without a clock the end of its being active. */
static bool held_up(const lu_cycles *c, const lu_cap_step *step)
{
  lu_cyc_levels now = {step->value, step->unknown}, before = {step->was_value, step->was_unknown};
  if (lu_cyc_is(&c->wait, before) != LU_LINE_ON)
    return false;
  if (!c->clock.bit)
    return lu_cyc_is(&c->wait, now) == LU_LINE_OFF;
  return lu_cyc_is(&c->clock, before) == LU_LINE_OFF && lu_cyc_is(&c->clock, now) == LU_LINE_ON;
}

static __attribute__((noinline, cold)) void go_blind(lu_cycles *c)
{
  for (size_t i = 0; i < c->strobe_count; i++)
    c->strobes[i].was = LU_LINE_ODD;
  c->live = true;
  c->dram.ras_was = c->dram.cas_was = c->dram.write_was = LU_LINE_ODD;
  c->dram.in_column = c->dram.row_known = c->both_was = false;
}

static __attribute__((noinline)) lu_status control_step(lu_cycles *c, const lu_cap_step *step,
                                                        bool data, lu_err *err)
{
  lu_status s = LU_OK;
  bool held = c->wait.bit && held_up(c, step);
  c->live = c->is_dram;
  for (size_t i = 0; s == LU_OK && i < c->strobe_count; i++) {
    s = step_strobe(c, &c->strobes[i], step, held, err);
    c->live |= c->strobes[i].was != LU_LINE_OFF;
  }
  if (c->may_meet)
    check_both(c, step);
  return s == LU_OK && c->is_dram ? lu_cyc_dram_step(c, step, data, err) : s;
}

lu_status lu_cycles_step(lu_cycles *c, const lu_cap_step *step, lu_err *err)
{
  if (step->blind) {
    go_blind(c);
    return LU_OK;
  }
  lu_cyc_use changed = {0};
  for (const uint32_t *k = step->slots, *end = k + step->slot_count; k < end; k++) {
    const lu_cyc_use *use = &c->uses[*k];
    uint64_t diff = (step->value[*k] ^ step->was_value[*k]) | (step->unknown[*k] ^ step->was_unknown[*k]);
    changed.control |= diff & use->control;
    changed.strobes |= diff & use->strobes;
    changed.address |= diff & use->address;
    changed.data |= diff & use->data;
  }
  lu_status s = LU_OK;
  /* While no strobe is active only a strobe's own line can begin something. */
  if (changed.strobes || (c->live && changed.control)) {
    c->address_now = changed.address;
    s = control_step(c, step, changed.data, err);
  }
  if (changed.address)
    c->address_at = step->time;
  if (changed.data)
    c->data_at = step->time;
  return s;
}

void lu_cycles_end(lu_cycles *c)
{
  for (size_t i = 0; i < c->strobe_count; i++)
    c->counts.unfinished += c->strobes[i].was == LU_LINE_ON;
  c->counts.unfinished += c->dram.in_column;
}

const uint64_t *lu_cycles_wanted(const lu_cycles *c)
{
  return c->wanted;
}

const lu_cycle_counts *lu_cycles_counts(const lu_cycles *c)
{
  return &c->counts;
}

unsigned lu_cycles_address_bits(const lu_cycles *c)
{
  return c->is_dram ? c->row.bits + c->column.bits : c->address.bits;
}

unsigned lu_cycles_data_bits(const lu_cycles *c)
{
  return c->data_in.bits > c->data_out.bits ? c->data_in.bits : c->data_out.bits;
}

static size_t add_home(uint32_t *homes, size_t n, size_t room, uint32_t home)
{
  for (size_t i = 0; i < n; i++)
    if (homes[i] == home)
      return n;
  if (n < room)
    homes[n++] = home;
  return n;
}

static size_t bus_homes(const lu_cycles *c, uint32_t *homes, size_t room)
{
  const lu_cyc_field *fields[] = {&c->address, &c->row, &c->column, &c->data_in, &c->data_out};
  size_t n = 0;
  for (size_t f = 0; f < sizeof fields / sizeof *fields; f++)
    for (unsigned i = 0; i < fields[f]->bits; i++)
      n = add_home(homes, n, room, fields[f]->homes[i]);
  return n;
}

size_t lu_cycles_homes(const lu_cycles *c, uint32_t *homes, size_t room)
{
  size_t n = bus_homes(c, homes, room);
  for (size_t k = 0; k < c->slot_count; k++)
    for (uint64_t left = c->control[k]; left; left &= left - 1)
      n = add_home(homes, n, room, (uint32_t)(k * 64) + (uint32_t)__builtin_ctzll(left));
  return n;
}

size_t lu_cycles_bus_bits(const lu_cycles *c)
{
  uint32_t homes[5 * LU_SIG_BITS_MOST];
  return bus_homes(c, homes, sizeof homes / sizeof *homes);
}

unsigned lu_cycles_column_bits(const lu_cycles *c)
{
  return c->column.bits;
}
