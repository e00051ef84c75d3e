/* SPDX-License-Identifier: MIT */
/* What the signals of a capture mean, from the board file's vantage. */
#include "api/capturereading.h"
#include "data/sigmap.h"
#include "reason/bind.h"

#include <string.h>

typedef struct mapper {
  lu_session *s;
  const lu_board *b;
  const lu_vantage *v;
  lu_sigmap *map;
} mapper;

static bool is_number(const char *text)
{
  return text[strspn(text, "0123456789")] == '\0';
}

/* A pin's function, and its net with and without the leading slash. */
static lu_sig_name name_of(mapper *m, uint32_t pin, uint32_t net)
{
  const char *function = pin == LU_NONE ? NULL : m->b->pins[pin].function;
  const char *of_net = net == LU_NONE ? NULL : m->b->nets[net].name, **also = LU_NEW(m->s->mem, const char *, 4);
  lu_sig_name out = {.name = of_net, .also = also};
  if (!also)
    return (lu_sig_name){0};
  if (of_net && of_net[0] == '/')
    also[out.also_count++] = of_net + 1;
  if (function && !is_number(function))
    also[out.also_count++] = function;
  if (function && strchr(function, '(')) /* "PHI2(out)" */
    also[out.also_count++] = lu_arena_text(m->s->mem, function, strcspn(function, "("));
  if (pin != LU_NONE)
    also[out.also_count++] = m->b->pins[pin].name;
  if (!out.name)
    out.name = function;
  return out;
}

static lu_status fill_bus(mapper *m, lu_sig_bus *bus, const uint32_t *pins, const uint32_t *nets, size_t count)
{
  bus->names = LU_NEW(m->s->mem, lu_sig_name, count + 1);
  if (!bus->names)
    return lu_fail(&m->s->err, LU_ERR_NOMEM, 0, 0, "no room for the signals");
  for (size_t i = 0; i < count; i++)
    bus->names[bus->count++] = name_of(m, pins[i], nets[i]);
  return LU_OK;
}

/* The pin of the vantage's part with that function, bars put aside; or LU_NONE. */
static uint32_t pin_named(const mapper *m, const char *function)
{
  if (m->v->part == LU_NONE)
    return LU_NONE;
  const lu_part *p = &m->b->parts[m->v->part];
  for (uint32_t i = 0; i < p->pin_count; i++) {
    uint32_t pin = m->b->part_pins[p->first_pin + i];
    const char *f = m->b->pins[pin].function;
    size_t n = strlen(function);
    if (f && (lu_bind_same(f, function) || (!strncmp(f, function, n) && f[n] == '(')))
      return pin;
  }
  return LU_NONE;
}

/* Adds the part's pin of that function to lines; false if it has none. */
static bool add_line(mapper *m, const char *function, bool active_high, lu_sig_line *lines, size_t *count)
{
  uint32_t pin = pin_named(m, function);
  if (pin == LU_NONE || *count == LU_SIG_ANY_MOST)
    return false;
  lines[(*count)++] = (lu_sig_line){name_of(m, pin, m->b->pins[pin].net), active_high};
  return true;
}

static lu_sig_strobe *new_strobe(mapper *m, bool writes)
{
  lu_sig_strobe *x = &m->map->strobes[m->map->strobe_count++];
  *x = (lu_sig_strobe){.name = writes ? "write" : "read", .writes = writes};
  return x;
}

/* The board file's own strobes. */
static void board_strobes(mapper *m)
{
  for (size_t i = 0; i < m->v->strobe_count && m->map->strobe_count < LU_SIG_STROBES_MOST; i++) {
    const lu_strobe *t = &m->v->strobes[i];
    bool writes = strstr(t->name, "write") || strstr(t->name, "wr");
    if (!writes && !strstr(t->name, "read") && !strstr(t->name, "fetch") && !strstr(t->name, "rd"))
      continue;
    lu_sig_strobe *x = new_strobe(m, writes);
    x->name = t->name;
    x->lines[x->line_count++] = (lu_sig_line){name_of(m, t->pin, t->net), !t->active_low};
  }
}

/* Separate read and write lines; a third says that memory is meant. */
static void two_lines(mapper *m)
{
  for (int writes = 0; writes < 2; writes++) {
    lu_sig_strobe *x = new_strobe(m, writes);
    add_line(m, writes ? "WR" : "RD", false, x->lines, &x->line_count);
    add_line(m, "MREQ", false, x->when, &x->when_count);
    add_line(m, "IO/M", false, x->when, &x->when_count);
  }
}

/* Two data strobes, one a byte, and a direction. */
static void byte_strobes(mapper *m)
{
  for (int writes = 0; writes < 2; writes++) {
    lu_sig_strobe *x = new_strobe(m, writes);
    add_line(m, "UDS", false, x->lines, &x->line_count);
    add_line(m, "LDS", false, x->lines, &x->line_count);
    add_line(m, "R/W", !writes, x->when, &x->when_count);
  }
  if (m->map->lane_count)
    return;
  for (unsigned k = 0; k < 2; k++) {
    uint32_t pin = pin_named(m, k ? "UDS" : "LDS");
    m->map->lanes[m->map->lane_count++] = (lu_sig_lane){.line = {name_of(m, pin, m->b->pins[pin].net), false}, .first = 8 * k, .bits = 8};
  }
}

/* A clock phase and a direction. */
static void by_clock(mapper *m, const char *clock)
{
  for (int writes = 0; writes < 2; writes++) {
    lu_sig_strobe *x = new_strobe(m, writes);
    add_line(m, clock, true, x->lines, &x->line_count);
    add_line(m, "R/W", !writes, x->when, &x->when_count);
  }
}

/* A memory chip's own pins by their roles. */
static void chip_strobes(mapper *m)
{
  const lu_part *p = &m->b->parts[m->v->part];
  lu_sig_line enable[LU_SIG_ANY_MOST], output = {{0}, false}, write = {{0}, false};
  size_t enables = 0;
  for (uint32_t i = 0; i < p->pin_count; i++) {
    uint32_t pin = m->b->part_pins[p->first_pin + i];
    const lu_part_pin *t = lu_pin_type(m->b, pin);
    if (!t || (t->role != LU_ROLE_SELECT && t->role != LU_ROLE_OUTPUT_ENABLE && t->role != LU_ROLE_WRITE))
      continue;
    lu_sig_line x = {name_of(m, pin, m->b->pins[pin].net), !t->active_low};
    if (t->role == LU_ROLE_SELECT && enables < LU_SIG_ANY_MOST)
      enable[enables++] = x;
    else if (t->role == LU_ROLE_OUTPUT_ENABLE)
      output = x;
    else if (t->role == LU_ROLE_WRITE)
      write = x;
  }
  for (int writes = 0; writes < 2; writes++) {
    lu_sig_line by = writes ? write : output.signal.name ? output : enables ? enable[0] : output;
    if (!by.signal.name)
      continue;
    lu_sig_strobe *x = new_strobe(m, writes);
    x->lines[x->line_count++] = by;
    memcpy(x->when, enable, enables * sizeof *enable);
    x->when_count = enables;
  }
}

static const lu_strobe *strobe_named(const mapper *m, const char *name)
{
  for (size_t i = 0; i < m->v->strobe_count; i++)
    if (lu_text_same(m->v->strobes[i].name, name))
      return &m->v->strobes[i];
  return NULL;
}

/* A multiplexed vantage: row, column and write, as strobes of the board file or by the pins' functions. */
static void dynamic_lines(mapper *m)
{
  static const char *const names[3][3] = {{"ras", "RAS", "RE"}, {"cas", "CAS", "CE"}, {"write", "WE", "W"}};
  for (int k = 0; k < 3; k++) {
    const lu_strobe *t = strobe_named(m, names[k][0]);
    lu_sig_line x = {{0}, t && !t->active_low};
    uint32_t pin = pin_named(m, names[k][1]);
    if (pin == LU_NONE)
      pin = pin_named(m, names[k][2]);
    if (t)
      x.signal = name_of(m, t->pin, t->net);
    else if (pin != LU_NONE)
      x.signal = name_of(m, pin, m->b->pins[pin].net);
    if (!x.signal.name)
      continue;
    if (k == 1)
      m->map->cas[m->map->cas_count++] = (lu_sig_lane){.line = x};
    else
      *(k ? &m->map->write : &m->map->ras) = x;
  }
}

static void usual_strobes(mapper *m)
{
  if (m->map->strobe_count + 2 > LU_SIG_STROBES_MOST)
    return;
  if (m->v->chip)
    chip_strobes(m);
  else if (pin_named(m, "UDS") != LU_NONE && pin_named(m, "LDS") != LU_NONE)
    byte_strobes(m);
  else if (pin_named(m, "RD") != LU_NONE && pin_named(m, "WR") != LU_NONE)
    two_lines(m);
  else if (pin_named(m, "R/W") != LU_NONE && (pin_named(m, "PHI2") != LU_NONE || pin_named(m, "E") != LU_NONE))
    by_clock(m, pin_named(m, "PHI2") != LU_NONE ? "PHI2" : "E");
}

/* A board file that gives reads only: writes as the part usually does them. */
static void usual_writes(mapper *m)
{
  size_t had = m->map->strobe_count, to = had;
  for (size_t i = 0; i < had; i++)
    if (m->map->strobes[i].writes)
      return;
  usual_strobes(m);
  for (size_t i = had; i < m->map->strobe_count; i++)
    if (m->map->strobes[i].writes)
      m->map->strobes[to++] = m->map->strobes[i];
  m->map->strobe_count = to;
}

/* A chip with separate inputs: they are what is written. */
static lu_status chip_inputs(mapper *m)
{
  uint32_t pins[64], nets[64];
  size_t count = 0;
  const lu_part *p = &m->b->parts[m->v->part];
  for (int16_t index = 0; index < 64; index++)
    for (uint32_t i = 0; i < p->pin_count; i++) {
      uint32_t pin = m->b->part_pins[p->first_pin + i];
      const lu_part_pin *t = lu_pin_type(m->b, pin);
      if (t && t->role == LU_ROLE_DATA_IN && t->index == index && count < 64) {
        pins[count] = pin;
        nets[count++] = m->b->pins[pin].net;
      }
    }
  if (!count)
    return LU_OK;
  m->map->data_out = m->map->data;
  m->map->data = (lu_sig_bus){0};
  return fill_bus(m, &m->map->data_in, pins, nets, count);
}

lu_status lu_capture_map(lu_session *s, const lu_network *n, struct lu_sigmap *map)
{
  const lu_vantage *v = &n->board->vantages[n->vantage];
  mapper m = {s, n->board, v, map};
  lu_status bad = LU_OK;
  if (!map->address.count && !map->row.count && v->multiplexed) {
    bad = fill_bus(&m, &map->column, v->address_pin, v->address_net, v->column_bits);
    if (!bad)
      bad = fill_bus(&m, &map->row, v->address_pin + v->column_bits, v->address_net + v->column_bits, v->row_bits);
  } else if (!map->address.count && !map->row.count) {
    bad = fill_bus(&m, &map->address, v->address_pin, v->address_net, v->address_bits);
  }
  if (!bad && !map->data.count && !map->data_in.count && !map->data_out.count) {
    bad = fill_bus(&m, &map->data, v->data_pin, v->data_net, v->data_bits);
    if (!bad && v->chip)
      bad = chip_inputs(&m);
  }
  if (bad || map->strobe_count || map->ras.signal.name)
    return bad;
  if (map->row.count)
    dynamic_lines(&m);
  else
    board_strobes(&m);
  if (!map->strobe_count && !map->ras.signal.name)
    usual_strobes(&m);
  else if (!map->row.count && (n->block == LU_NONE || !n->board->blocks[n->block].rom))
    usual_writes(&m);
  return LU_OK;
}
