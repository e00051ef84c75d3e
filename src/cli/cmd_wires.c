/* SPDX-License-Identifier: MIT */
#define _GNU_SOURCE
/* lineup wires: where repair wires go, as a list to work from and as a drawing of the board. */
#include "reason/wires.h"

#include "board/damage.h"
#include "cli/bench.h"
#include "cli/boarddraw.h"
#include "cli/boardview.h"

#include <stdlib.h>
#include <string.h>

typedef struct args {
  const char *board, *svg, *view;
  lu_texts nets, cuts;
  bool json;
  lu_texts operands;
} args;

enum { CUTS_MOST = 64, PINS_MOST = 1024 };

/* A net and what is known of its pins. */
typedef struct broken {
  uint32_t net;
  size_t cut_count, rest_count;
  uint32_t cut[PINS_MOST], rest[PINS_MOST];
  const char *note;
} broken;

typedef struct work {
  lu_session *s;
  size_t count;
  broken *nets[CUTS_MOST];
  lu_wire *wires;
  size_t wire_count;
} work;

static bool in_list(const uint32_t *list, size_t count, uint32_t pin)
{
  for (size_t i = 0; i < count; i++)
    if (list[i] == pin)
      return true;
  return false;
}

static lu_status broken_net(work *w, uint32_t net, broken **out)
{
  for (size_t i = 0; i < w->count; i++)
    if (w->nets[i]->net == net) {
      *out = w->nets[i];
      return LU_OK;
    }
  if (w->count == CUTS_MOST)
    return lu_fail(&w->s->err, LU_ERR_LIMIT, 0, 0, "more than %d cut nets", CUTS_MOST);
  if (w->s->board->nets[net].pin_count > PINS_MOST)
    return lu_fail(&w->s->err, LU_ERR_LIMIT, 0, 0, "net %s has more than %d pins", w->s->board->nets[net].name, PINS_MOST);
  broken *k = LU_NEW(w->s->mem, broken, 1);
  if (!k)
    return lu_fail(&w->s->err, LU_ERR_NOMEM, 0, 0, "no room");
  k->net = net;
  w->nets[w->count++] = *out = k;
  return LU_OK;
}

/* --- from the command line ------------------------------------------------------------------------------- */

static lu_status cut_pin(work *w, const char *name)
{
  const lu_board *b = w->s->board;
  uint32_t pin = lu_board_pin(b, name);
  if (pin == LU_NONE)
    return lu_fail(&w->s->err, LU_ERR_MISSING, 0, 0, "--cut: no pin '%s' on this board; expected one such as U16.12", name);
  if (b->pins[pin].net == LU_NONE)
    return lu_fail(&w->s->err, LU_ERR_VALUE, 0, 0, "--cut: the pin %s is on no net", name);
  broken *k;
  lu_status bad = broken_net(w, b->pins[pin].net, &k);
  if (!bad && !in_list(k->cut, k->cut_count, pin))
    k->cut[k->cut_count++] = pin;
  return bad;
}

static lu_status cut_pins(work *w, const char *list)
{
  lu_status bad = LU_OK;
  while (!bad && *list) {
    size_t n = strcspn(list, ", ");
    const char *name = lu_arena_text(w->s->mem, list, n);
    if (!name)
      return lu_fail(&w->s->err, LU_ERR_NOMEM, 0, 0, "no room");
    if (n)
      bad = cut_pin(w, name);
    list += n + (list[n] != 0);
  }
  return bad;
}

/* Each --net must have pins that are cut off, and no others may. */
static lu_status nets_fit(work *w, const lu_texts *nets)
{
  const lu_board *b = w->s->board;
  for (size_t i = 0; i < nets->count; i++) {
    uint32_t net = lu_board_net(b, nets->at[i]);
    if (net == LU_NONE) {
      const char *near = lu_board_nearest_net(b, nets->at[i]);
      return near ? lu_fail(&w->s->err, LU_ERR_MISSING, 0, 0, "--net: no net '%s' on this board; the nearest is '%s'", nets->at[i], near)
                  : lu_fail(&w->s->err, LU_ERR_MISSING, 0, 0, "--net: no net '%s' on this board", nets->at[i]);
    }
    bool has = false;
    for (size_t k = 0; k < w->count; k++)
      has |= w->nets[k]->net == net;
    if (!has)
      return lu_fail(&w->s->err, LU_ERR_USAGE, 0, 0, "--net %s: say which of its pins are cut off, with --cut", nets->at[i]);
  }
  for (size_t k = 0; nets->count && k < w->count; k++) {
    bool named = false;
    for (size_t i = 0; i < nets->count; i++)
      named |= lu_board_net(b, nets->at[i]) == w->nets[k]->net;
    if (!named)
      return lu_fail(&w->s->err, LU_ERR_VALUE, 0, 0, "--cut: %s is on net %s, which no --net names", b->pins[w->nets[k]->cut[0]].name,
                     b->nets[w->nets[k]->net].name);
  }
  return LU_OK;
}

/* All other pins of the net are not cut off. */
static lu_status rest_of_nets(work *w)
{
  const lu_board *b = w->s->board;
  for (size_t k = 0; k < w->count; k++) {
    broken *x = w->nets[k];
    const lu_net *n = &b->nets[x->net];
    for (uint32_t i = 0; i < n->pin_count; i++) {
      uint32_t pin = b->net_pins[n->first_pin + i];
      if (!in_list(x->cut, x->cut_count, pin))
        x->rest[x->rest_count++] = pin;
    }
    if (!x->rest_count)
      return lu_fail(&w->s->err, LU_ERR_VALUE, 0, 0, "--cut: all pins of net %s are cut off; leave out those that its driver reaches", n->name);
  }
  return LU_OK;
}

static lu_status from_words(work *w, const args *a)
{
  lu_status bad = lu_session_board(w->s, a->board);
  for (size_t i = 0; !bad && i < a->cuts.count; i++)
    bad = cut_pins(w, a->cuts.at[i]);
  if (!bad && !w->count)
    bad = lu_fail(&w->s->err, LU_ERR_USAGE, 0, 0, "say which pins are cut off, with --cut");
  if (!bad)
    bad = nets_fit(w, &a->nets);
  return bad ? bad : rest_of_nets(w);
}

/* --- from a job ------------------------------------------------------------------------------------------- */

static void take_pins(const lu_board *b, uint32_t net, const json_t *names, const broken *but, uint32_t *list, size_t *count)
{
  size_t i;
  const json_t *name;
  json_array_foreach((json_t *)(uintptr_t)names, i, name) {
    uint32_t pin = json_is_string(name) ? lu_board_pin(b, json_string_value(name)) : LU_NONE;
    if (pin != LU_NONE && b->pins[pin].net == net && *count < PINS_MOST && !in_list(list, *count, pin) &&
        !(but && in_list(but->cut, but->cut_count, pin)))
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

static lu_status take_fault(work *w, const json_t *result, const json_t *fault)
{
  const lu_board *b = w->s->board;
  const char *kind = json_string_value(json_object_get(fault, "kind")), *name = json_string_value(json_object_get(fault, "net"));
  if (!kind || !name || strcmp(kind, "open"))
    return LU_OK;
  uint32_t net = lu_board_net(b, name);
  if (net == LU_NONE)
    return lu_fail(&w->s->err, LU_ERR_MISSING, 0, 0, "the job's result names net '%s', which its board does not have", name);
  broken *k;
  lu_status bad = broken_net(w, net, &k);
  if (bad)
    return bad;
  take_pins(b, net, json_object_get(fault, "cut_off"), NULL, k->cut, &k->cut_count);
  const json_t *all = pins_that_matter(result, name);
  take_pins(b, net, all ? all : json_object_get(fault, "from"), k, k->rest, &k->rest_count);
  return LU_OK;
}

static lu_status from_job(work *w, const args *a)
{
  lu_bench *b;
  const lu_job_entry *last = NULL;
  lu_status bad = lu_bench_open(w->s, a->operands.at[0], LU_JOB_READ, &b);
  if (bad)
    return bad;
  bad = lu_bench_board(b);
  for (size_t i = 0; i < b->count; i++)
    if (!strcmp(b->entries[i].kind, "result"))
      last = &b->entries[i];
  if (!bad && !last)
    bad = lu_fail_source(&w->s->err, lu_fail(&w->s->err, LU_ERR_MISSING, 0, 0, "the job has no result yet; lineup decode --job makes one"), b->path);
  json_error_t je;
  json_t *body = bad ? NULL : json_loads(last->body, 0, &je);
  json_t *best = json_array_get(json_object_get(json_object_get(body, "finding"), "explanations"), 0);
  size_t i;
  const json_t *fault;
  json_array_foreach(json_object_get(best, "faults"), i, fault)
    if (!bad)
      bad = take_fault(w, body, fault);
  json_decref(body);
  lu_bench_close(b);
  return bad;
}

/* --- the plan --------------------------------------------------------------------------------------------- */

static lu_status plan(work *w)
{
  lu_session *s = w->s;
  lu_cut_net *cuts = LU_NEW(s->mem, lu_cut_net, w->count + 1);
  if (!cuts)
    return lu_fail(&s->err, LU_ERR_NOMEM, 0, 0, "no room");
  lu_status bad = LU_OK;
  for (size_t i = 0; !bad && i < w->count; i++) {
    broken *k = w->nets[i];
    bad = lu_wires_groups(s->board, k->net, k->cut, k->cut_count, k->rest, k->rest_count, s->mem, &cuts[i], &s->err);
    uint32_t alone = k->cut_count == 1 ? k->cut[0] : k->rest_count == 1 ? k->rest[0] : LU_NONE;
    if (alone != LU_NONE && s->board->parts[s->board->pins[alone].part].socketed)
      k->note = lu_arena_printf(s->mem, "%s: only %s stands alone, and it sits in a socket: measure to the leg first; if its contact is at "
                                        "fault a wire between pads does not help",
                                s->board->nets[k->net].name, s->board->pins[alone].name);
  }
  return bad ? bad : lu_wires_plan(s->board, cuts, w->count, s->mem, &w->wires, &w->wire_count, &s->err);
}

static const char *side_name(uint8_t side)
{
  static const char *const names[] = {"solder", "component", "both"};
  return names[side];
}

/* --- text ------------------------------------------------------------------------------------------------- */

static const char *end_text(work *w, uint32_t point, uint32_t pin)
{
  const lu_board *b = w->s->board;
  const lu_point *q = point == LU_NONE ? NULL : &b->places->points[point];
  if (!q)
    return b->pins[pin].name;
  if (pin == LU_NONE)
    return lu_point_text(b, point, w->s->mem);
  return lu_arena_printf(w->s->mem, "%s (%s) at %.1f, %.1f mm", b->pins[pin].name, b->pins[pin].function, q->x_mm, q->y_mm);
}

static void damage_text(work *w, uint32_t pin)
{
  char text[120];
  if (pin == LU_NONE || !lu_damage_pin(w->s->board, pin, text, sizeof text))
    return;
  fputs("      ", w->s->run->out);
  lu_put_clean(w->s->run->out, w->s->board->pins[pin].name);
  fputc(' ', w->s->run->out);
  lu_put_clean(w->s->run->out, text);
  fputs(": solder may no longer take there; clean it to bright metal or go one point on\n", w->s->run->out);
}

static void say_breaks(work *w)
{
  lu_session *s = w->s;
  for (size_t i = 0; i < w->count; i++) {
    broken *k = w->nets[i];
    lu_stretch *list;
    size_t count = 0;
    if (s->board->places && lu_places_stretches(s->board->places, k->net, k->cut, k->cut_count, k->rest, k->rest_count, s->mem, &list, &count, NULL))
      count = 0;
    for (size_t j = 0; j < count; j++) {
      fputs("  ", s->run->out);
      lu_put_clean(s->run->out, s->board->nets[k->net].name);
      fputs(" is broken ", s->run->out);
      lu_put_clean(s->run->out, lu_stretch_text(s->board, &list[j], s->mem));
      fputc('\n', s->run->out);
    }
    if (k->note) {
      fputs("  ", s->run->out);
      lu_put_clean(s->run->out, k->note);
      fputc('\n', s->run->out);
    }
  }
}

static void say_wires(work *w)
{
  FILE *out = w->s->run->out;
  const lu_board *b = w->s->board;
  if (!w->count)
    fputs("No net is cut: nothing to wire.\n", out);
  say_breaks(w);
  for (size_t i = 0; i < w->wire_count; i++) {
    const lu_wire *x = &w->wires[i];
    fprintf(out, "%3zu  ", i + 1);
    lu_put_clean(out, b->nets[x->net].name);
    fputs(": ", out);
    lu_put_clean(out, end_text(w, x->from, x->from_pin));
    fputs(" to ", out);
    lu_put_clean(out, end_text(w, x->to, x->to_pin));
    if (x->from != LU_NONE)
      fprintf(out, ", %.1f mm straight, %s", x->length_mm, x->side == LU_WIRE_BOTH ? "from one side of the board to the other" : x->side == LU_WIRE_SOLDER ? "solder side" : "component side");
    fputc('\n', out);
    if (x->crosses != LU_NONE)
      fprintf(out, "      crosses wire %u: insulated wire, or led around\n", x->crosses + 1);
    damage_text(w, x->from_pin);
    damage_text(w, x->to_pin);
  }
  if (w->wire_count)
    fputs("Power off, battery out. Cut each wire some 15 mm longer than straight: it is looped around a pin at both ends.\n"
          "Measure each net from leg to leg afterwards.\n",
          out);
  if (w->wire_count && !b->places)
    fputs("The board has no layout: any pin of the two groups does; which are nearest is not known.\n", out);
}

/* --- JSON --------------------------------------------------------------------------------------------------- */

static json_t *end_json(const lu_board *b, uint32_t point, uint32_t pin)
{
  const lu_point *q = point == LU_NONE ? NULL : &b->places->points[point];
  return json_pack("{s:o,s:o,s:o,s:b}", "pin", lu_json_text(pin == LU_NONE ? NULL : b->pins[pin].name), "x_mm",
                   q ? json_real(q->x_mm) : json_null(), "y_mm", q ? json_real(q->y_mm) : json_null(), "via", pin == LU_NONE);
}

static json_t *wires_json(work *w)
{
  const lu_board *b = w->s->board;
  json_t *list = json_array(), *notes = json_array();
  for (size_t i = 0; i < w->wire_count; i++) {
    const lu_wire *x = &w->wires[i];
    bool placed = x->from != LU_NONE;
    json_array_append_new(list, json_pack("{s:o,s:o,s:o,s:o,s:o,s:o}", "net", lu_json_text(b->nets[x->net].name), "from",
                                          end_json(b, x->from, x->from_pin), "to", end_json(b, x->to, x->to_pin), "length_mm",
                                          placed ? json_real(x->length_mm) : json_null(), "side",
                                          placed ? json_string(side_name(x->side)) : json_null(), "crosses",
                                          x->crosses == LU_NONE ? json_null() : json_integer((json_int_t)x->crosses + 1)));
  }
  for (size_t i = 0; i < w->count; i++)
    if (w->nets[i]->note)
      json_array_append_new(notes, lu_json_text(w->nets[i]->note));
  return json_pack("{s:s,s:o,s:o}", "lineup", LU_VERSION, "wires", list, "notes", notes);
}

/* --- the drawing --------------------------------------------------------------------------------------------- */

static lu_status draw(work *w, const args *a)
{
  lu_session *s = w->s;
  const lu_board *b = s->board;
  bool solder = !a->view || !strcmp(a->view, "solder");
  lu_drawn_wire *drawn = LU_NEW(s->mem, lu_drawn_wire, w->wire_count + 1);
  uint32_t *nets = LU_NEW(s->mem, uint32_t, w->count + 1), *pins = LU_NEW(s->mem, uint32_t, (size_t)CUTS_MOST * PINS_MOST);
  size_t pin_count = 0;
  if (!drawn || !nets || !pins)
    return lu_fail(&s->err, LU_ERR_NOMEM, 0, 0, "no room for the drawing");
  if (!b->places)
    return lu_fail(&s->err, LU_ERR_MISSING, 0, 0, "--svg: the board has no layout, so nothing can be drawn");
  for (size_t i = 0; i < w->count; i++) {
    nets[i] = w->nets[i]->net;
    for (size_t k = 0; k < w->nets[i]->cut_count; k++)
      pins[pin_count++] = w->nets[i]->cut[k];
  }
  for (size_t i = 0; i < w->wire_count; i++) {
    const lu_point *f = &b->places->points[w->wires[i].from], *t = &b->places->points[w->wires[i].to];
    const lu_wire *x = &w->wires[i];
    drawn[i] = (lu_drawn_wire){{f->x_mm, f->y_mm}, {t->x_mm, t->y_mm}, lu_arena_printf(s->mem, "%zu", i + 1),
                               x->from_pin == LU_NONE ? "via" : b->pins[x->from_pin].name,
                               x->to_pin == LU_NONE ? "via" : b->pins[x->to_pin].name, x->side != (solder ? LU_WIRE_SOLDER : LU_WIRE_COMPONENT)};
  }
  lu_draw_choice what = {solder, w->count, pin_count, nets, pins, NULL};
  lu_drawing d;
  if (!lu_draw_board(b, &what, s->mem, &d))
    return lu_fail(&s->err, LU_ERR_NOMEM, 0, 0, "no room for the drawing");
  d.wires = drawn;
  d.wire_count = w->wire_count;
  char *at = NULL;
  size_t len = 0;
  FILE *f = open_memstream(&at, &len);
  bool ok = f && lu_board_svg(f, &d) && !fflush(f);
  if (f)
    fclose(f);
  lu_status bad = ok ? lu_file_write(a->svg, at, len, &s->err) : lu_fail(&s->err, LU_ERR_NOMEM, 0, 0, "no room for the drawing");
  free(at);
  return bad ? lu_fail_source(&s->err, bad, a->svg) : LU_OK;
}

static int run_wires(lu_run *run, void *at)
{
  const args *a = at;
  if (!a->operands.count == !a->board)
    return lu_say_usage(run, "wires: expected a job, or --board with --cut");
  if (a->operands.count && (a->cuts.count || a->nets.count))
    return lu_say_usage(run, "wires: --cut and --net go with --board; a job says itself what is cut");
  if (a->view && strcmp(a->view, "solder") && strcmp(a->view, "component"))
    return lu_say_usage(run, "wires: --view expects solder or component, found '%s'", a->view);
  work w = {.s = lu_session_new(run)};
  if (!w.s)
    return lu_say_usage(run, "out of memory"), LU_EXIT_SYSTEM;
  lu_status bad = a->board ? from_words(&w, a) : from_job(&w, a);
  if (!bad)
    bad = plan(&w);
  if (!bad && a->svg)
    bad = draw(&w, a);
  int status = LU_EXIT_CLEAN;
  if (bad) {
    status = lu_say_error(run, &w.s->err);
  } else if (a->json) {
    json_t *o = wires_json(&w);
    if (!o || json_dumpf(o, run->out, JSON_INDENT(2) | JSON_REAL_PRECISION(9)) || fputc('\n', run->out) == EOF)
      status = LU_EXIT_SYSTEM;
    json_decref(o);
  } else if (!a->svg || strcmp(a->svg, "-")) {
    say_wires(&w);
  }
  lu_session_end(w.s);
  return status;
}

static const lu_option options[] = {
    {"board", 0, LU_OPT_TEXT, offsetof(args, board), 0, 0, "FILE", "the board file, when there is no job"},
    {"net", 0, LU_OPT_LIST, offsetof(args, nets), 0, 0, "NET", "a cut net; may be repeated (the cut pins tell it, too)"},
    {"cut", 0, LU_OPT_LIST, offsetof(args, cuts), 0, 0, "PINS", "pins cut off from the rest of their net: U16.12,U17.12"},
    {"svg", 0, LU_OPT_TEXT, offsetof(args, svg), 0, 0, "FILE", "a drawing of the board with the wires"},
    {"view", 0, LU_OPT_TEXT, offsetof(args, view), 0, 0, "SIDE", "the drawing from the solder side (default) or component"},
    {"json", 0, LU_OPT_FLAG, offsetof(args, json), 0, 0, NULL, "one JSON object"},
    {0},
};

static const char *const examples[] = {
    "lineup wires --board docs/demo/tide.yaml --net DRA3 --cut U8.21",
    "lineup wires tide.job --svg wires.svg",
    NULL,
};

const lu_command lu_command_wires = {
    .name = "wires",
    .summary = "where repair wires go: a list to work from and a drawing",
    .usage = "[JOB | --board FILE --cut PINS] [OPTION ...]",
    .options = options,
    .args_size = sizeof(args),
    .operands_offset = offsetof(args, operands),
    .most_operands = 1,
    .examples = examples,
    .run = run_wires,
};
