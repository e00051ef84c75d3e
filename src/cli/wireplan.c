/* SPDX-License-Identifier: MIT */
#include "cli/wireplan.h"

#include "cli/boardview.h"
#include "report/boardsvg.h"

#include <jansson.h>
#include <string.h>

bool lu_pin_in(const uint32_t *list, size_t count, uint32_t pin)
{
  for (size_t i = 0; i < count; i++)
    if (list[i] == pin)
      return true;
  return false;
}

lu_status lu_wire_plan_net(lu_wire_plan *w, uint32_t net, lu_broken_net **out)
{
  for (size_t i = 0; i < w->count; i++)
    if (w->nets[i]->net == net) {
      *out = w->nets[i];
      return LU_OK;
    }
  if (w->count == LU_CUT_NETS_MOST)
    return lu_fail(&w->s->err, LU_ERR_LIMIT, 0, 0, "more than %d cut nets", LU_CUT_NETS_MOST);
  if (w->s->board->nets[net].pin_count > LU_CUT_PINS_MOST)
    return lu_fail(&w->s->err, LU_ERR_LIMIT, 0, 0, "net %s has more than %d pins", w->s->board->nets[net].name, LU_CUT_PINS_MOST);
  lu_broken_net *k = LU_NEW(w->s->mem, lu_broken_net, 1);
  if (!k)
    return lu_fail(&w->s->err, LU_ERR_NOMEM, 0, 0, "no room");
  k->net = net;
  w->nets[w->count++] = *out = k;
  return LU_OK;
}

static void take_pins(const lu_board *b, uint32_t net, const json_t *names, const lu_broken_net *but, uint32_t *list, size_t *count)
{
  size_t i;
  const json_t *name;
  json_array_foreach((json_t *)(uintptr_t)names, i, name) {
    uint32_t pin = json_is_string(name) ? lu_board_pin(b, json_string_value(name)) : LU_NONE;
    if (pin != LU_NONE && b->pins[pin].net == net && *count < LU_CUT_PINS_MOST && !lu_pin_in(list, *count, pin) &&
        !(but && lu_pin_in(but->cut, but->cut_count, pin)))
      list[(*count)++] = pin;
  }
}

static const json_t *pins_that_matter(const json_t *result, const char *net)
{
  size_t i;
  const json_t *x;
  json_array_foreach(json_object_get(result, "nets"), i, x)
    if (json_is_string(json_object_get(x, "net")) && !strcmp(json_string_value(json_object_get(x, "net")), net))
      return json_object_get(x, "pins");
  return NULL;
}

static lu_status take_fault(lu_wire_plan *w, const json_t *result, const json_t *fault)
{
  const lu_board *b = w->s->board;
  const char *kind = json_string_value(json_object_get(fault, "kind")), *name = json_string_value(json_object_get(fault, "net"));
  if (!kind || !name || strcmp(kind, "open"))
    return LU_OK;
  uint32_t net = lu_board_net(b, name);
  if (net == LU_NONE)
    return lu_fail(&w->s->err, LU_ERR_MISSING, 0, 0, "the job's result names net '%s', which its board does not have", name);
  lu_broken_net *k;
  lu_status bad = lu_wire_plan_net(w, net, &k);
  if (bad)
    return bad;
  take_pins(b, net, json_object_get(fault, "cut_off"), NULL, k->cut, &k->cut_count);
  const json_t *all = pins_that_matter(result, name);
  take_pins(b, net, all ? all : json_object_get(fault, "from"), k, k->rest, &k->rest_count);
  return LU_OK;
}

lu_status lu_wire_plan_job(lu_wire_plan *w, const lu_bench *b)
{
  const lu_job_entry *last = NULL;
  for (size_t i = 0; i < b->count; i++)
    if (!strcmp(b->entries[i].kind, "result"))
      last = &b->entries[i];
  if (!last)
    return lu_fail_source(&w->s->err, lu_fail(&w->s->err, LU_ERR_MISSING, 0, 0, "the job has no result yet; lineup decode --job makes one"), b->path);
  json_error_t je;
  json_t *body = json_loads(last->body, 0, &je);
  json_t *best = json_array_get(json_object_get(json_object_get(body, "finding"), "explanations"), 0);
  size_t i;
  const json_t *fault;
  lu_status bad = LU_OK;
  json_array_foreach(json_object_get(best, "faults"), i, fault)
    if (!bad)
      bad = take_fault(w, body, fault);
  json_decref(body);
  return bad;
}

static lu_status take_open(lu_wire_plan *w, const lu_said_fault *f)
{
  const lu_board *b = w->s->board;
  uint32_t net = f->net && !strcmp(f->kind, "open") ? lu_board_net(b, f->net) : LU_NONE;
  lu_broken_net *k;
  if (net == LU_NONE)
    return LU_OK;
  lu_status bad = lu_wire_plan_net(w, net, &k);
  if (bad)
    return bad;
  for (size_t i = 0; i < f->cut_count && k->cut_count < LU_CUT_PINS_MOST; i++) {
    uint32_t pin = lu_board_pin(b, f->cut_off[i]);
    if (pin != LU_NONE && b->pins[pin].net == net && !lu_pin_in(k->cut, k->cut_count, pin))
      k->cut[k->cut_count++] = pin;
  }
  for (uint32_t i = 0; i < b->nets[net].pin_count; i++) {
    uint32_t pin = b->net_pins[b->nets[net].first_pin + i];
    if (!lu_pin_in(k->cut, k->cut_count, pin) && !lu_pin_in(k->rest, k->rest_count, pin))
      k->rest[k->rest_count++] = pin;
  }
  return LU_OK;
}

lu_status lu_wire_plan_finding(lu_wire_plan *w, const lu_finding *f)
{
  lu_status bad = LU_OK;
  for (size_t i = 0; !bad && f->explanation_count && i < f->explanations[0].fault_count; i++)
    bad = take_open(w, &f->explanations[0].faults[i]);
  return bad;
}

lu_status lu_wire_plan_make(lu_wire_plan *w)
{
  lu_session *s = w->s;
  lu_cut_net *cuts = LU_NEW(s->mem, lu_cut_net, w->count + 1);
  if (!cuts)
    return lu_fail(&s->err, LU_ERR_NOMEM, 0, 0, "no room");
  lu_status bad = LU_OK;
  for (size_t i = 0; !bad && i < w->count; i++) {
    lu_broken_net *k = w->nets[i];
    bad = lu_wires_groups(s->board, k->net, k->cut, k->cut_count, k->rest, k->rest_count, s->mem, &cuts[i], &s->err);
    uint32_t alone = k->cut_count == 1 ? k->cut[0] : k->rest_count == 1 ? k->rest[0] : LU_NONE;
    if (alone != LU_NONE && s->board->parts[s->board->pins[alone].part].socketed)
      k->note = lu_arena_printf(s->mem, "%s: only %s stands alone, and it sits in a socket: measure to the leg first; if its contact is at "
                                        "fault a wire between pads does not help",
                                s->board->nets[k->net].name, s->board->pins[alone].name);
  }
  return bad ? bad : lu_wires_plan(s->board, cuts, w->count, s->mem, &w->wires, &w->wire_count, &s->err);
}

const char *lu_wire_side_name(uint8_t side)
{
  static const char *const names[] = {"solder", "component", "both"};
  return names[side];
}

const char *lu_wire_end_text(const lu_wire_plan *w, uint32_t point, uint32_t pin)
{
  const lu_board *b = w->s->board;
  const lu_point *q = point == LU_NONE ? NULL : &b->places->points[point];
  if (!q)
    return b->pins[pin].name;
  if (pin == LU_NONE)
    return lu_point_text(b, point, w->s->mem);
  return lu_arena_printf(w->s->mem, "%s (%s) at %.1f, %.1f mm", b->pins[pin].name, b->pins[pin].function, q->x_mm, q->y_mm);
}

lu_drawn_wire *lu_wires_drawn(const lu_wire_plan *w, bool solder)
{
  const lu_board *b = w->s->board;
  lu_drawn_wire *drawn = LU_NEW(w->s->mem, lu_drawn_wire, w->wire_count + 1);
  for (size_t i = 0; drawn && i < w->wire_count; i++) {
    const lu_wire *x = &w->wires[i];
    const lu_point *f = &b->places->points[x->from], *t = &b->places->points[x->to];
    drawn[i] = (lu_drawn_wire){{f->x_mm, f->y_mm}, {t->x_mm, t->y_mm}, lu_arena_printf(w->s->mem, "%zu", i + 1),
                               x->from_pin == LU_NONE ? "via" : b->pins[x->from_pin].name,
                               x->to_pin == LU_NONE ? "via" : b->pins[x->to_pin].name, x->side != (solder ? LU_WIRE_SOLDER : LU_WIRE_COMPONENT)};
  }
  return drawn;
}
