/* SPDX-License-Identifier: MIT */
#define _GNU_SOURCE
/* lineup wires: where repair wires go, as a list to work from and as a drawing of the board. */
#include "board/damage.h"
#include "cli/bench.h"
#include "cli/boarddraw.h"
#include "cli/session.h"
#include "cli/boardview.h"
#include "cli/wireplan.h"

#include <stdlib.h>
#include <string.h>

typedef struct args {
  const char *board, *svg, *view;
  lu_texts nets, cuts;
  bool json;
  lu_texts operands;
} args;

/* --- from the command line ------------------------------------------------------------------------------- */

static lu_status cut_pin(lu_wire_plan *w, const char *name)
{
  const lu_board *b = w->s->board;
  uint32_t pin = lu_board_pin(b, name);
  if (pin == LU_NONE)
    return lu_fail(&w->s->err, LU_ERR_MISSING, 0, 0, "--cut: no pin '%s' on this board; expected one such as U16.12", name);
  if (b->pins[pin].net == LU_NONE)
    return lu_fail(&w->s->err, LU_ERR_VALUE, 0, 0, "--cut: the pin %s is on no net", name);
  lu_broken_net *k;
  lu_status bad = lu_wire_plan_net(w, b->pins[pin].net, &k);
  if (!bad && !lu_pin_in(k->cut, k->cut_count, pin))
    k->cut[k->cut_count++] = pin;
  return bad;
}

static lu_status cut_pins(lu_wire_plan *w, const char *list)
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
static lu_status nets_fit(lu_wire_plan *w, const lu_texts *nets)
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
static lu_status rest_of_nets(lu_wire_plan *w)
{
  const lu_board *b = w->s->board;
  for (size_t k = 0; k < w->count; k++) {
    lu_broken_net *x = w->nets[k];
    const lu_net *n = &b->nets[x->net];
    for (uint32_t i = 0; i < n->pin_count; i++) {
      uint32_t pin = b->net_pins[n->first_pin + i];
      if (!lu_pin_in(x->cut, x->cut_count, pin))
        x->rest[x->rest_count++] = pin;
    }
    if (!x->rest_count)
      return lu_fail(&w->s->err, LU_ERR_VALUE, 0, 0, "--cut: all pins of net %s are cut off; leave out those that its driver reaches", n->name);
  }
  return LU_OK;
}

static lu_status from_words(lu_wire_plan *w, const args *a)
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

static lu_status from_job(lu_wire_plan *w, const args *a)
{
  lu_bench *b;
  lu_status bad = lu_bench_open(w->s, a->operands.at[0], LU_JOB_READ, &b);
  if (bad)
    return bad;
  bad = lu_bench_board(b);
  if (!bad)
    bad = lu_wire_plan_job(w, b);
  lu_bench_close(b);
  return bad;
}

/* --- text ------------------------------------------------------------------------------------------------- */

static void damage_text(lu_wire_plan *w, uint32_t pin)
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

static void say_breaks(lu_wire_plan *w)
{
  lu_session *s = w->s;
  for (size_t i = 0; i < w->count; i++) {
    lu_broken_net *k = w->nets[i];
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

static void say_wires(lu_wire_plan *w)
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
    lu_put_clean(out, lu_wire_end_text(w, x->from, x->from_pin));
    fputs(" to ", out);
    lu_put_clean(out, lu_wire_end_text(w, x->to, x->to_pin));
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

static json_t *wires_json(lu_wire_plan *w)
{
  const lu_board *b = w->s->board;
  json_t *list = json_array(), *notes = json_array();
  for (size_t i = 0; i < w->wire_count; i++) {
    const lu_wire *x = &w->wires[i];
    bool placed = x->from != LU_NONE;
    json_array_append_new(list, json_pack("{s:o,s:o,s:o,s:o,s:o,s:o}", "net", lu_json_text(b->nets[x->net].name), "from",
                                          end_json(b, x->from, x->from_pin), "to", end_json(b, x->to, x->to_pin), "length_mm",
                                          placed ? json_real(x->length_mm) : json_null(), "side",
                                          placed ? json_string(lu_wire_side_name(x->side)) : json_null(), "crosses",
                                          x->crosses == LU_NONE ? json_null() : json_integer((json_int_t)x->crosses + 1)));
  }
  for (size_t i = 0; i < w->count; i++)
    if (w->nets[i]->note)
      json_array_append_new(notes, lu_json_text(w->nets[i]->note));
  return json_pack("{s:s,s:o,s:o}", "lineup", LU_VERSION, "wires", list, "notes", notes);
}

/* --- the drawing --------------------------------------------------------------------------------------------- */

static lu_status draw(lu_wire_plan *w, const args *a)
{
  lu_session *s = w->s;
  const lu_board *b = s->board;
  bool solder = !a->view || !strcmp(a->view, "solder");
  uint32_t *nets = LU_NEW(s->mem, uint32_t, w->count + 1), *pins = LU_NEW(s->mem, uint32_t, (size_t)LU_CUT_NETS_MOST * LU_CUT_PINS_MOST);
  size_t pin_count = 0;
  if (!nets || !pins)
    return lu_fail(&s->err, LU_ERR_NOMEM, 0, 0, "no room for the drawing");
  if (!b->places)
    return lu_fail(&s->err, LU_ERR_MISSING, 0, 0, "--svg: the board has no layout, so nothing can be drawn");
  for (size_t i = 0; i < w->count; i++) {
    nets[i] = w->nets[i]->net;
    for (size_t k = 0; k < w->nets[i]->cut_count; k++)
      pins[pin_count++] = w->nets[i]->cut[k];
  }
  lu_draw_choice what = {solder, w->count, pin_count, nets, pins, NULL};
  lu_drawing d;
  if (!lu_draw_board(b, &what, s->mem, &d))
    return lu_fail(&s->err, LU_ERR_NOMEM, 0, 0, "no room for the drawing");
  d.wires = lu_wires_drawn(w, solder);
  if (!d.wires)
    return lu_fail(&s->err, LU_ERR_NOMEM, 0, 0, "no room for the drawing");
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
  lu_wire_plan w = {.s = lu_session_new(run)};
  if (!w.s)
    return lu_say_usage(run, "out of memory"), LU_EXIT_SYSTEM;
  lu_status bad = a->board ? from_words(&w, a) : from_job(&w, a);
  if (!bad)
    bad = lu_wire_plan_make(&w);
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
    {"board", 'b', LU_OPT_TEXT, offsetof(args, board), 0, 0, "FILE", "the board file, when there is no job"},
    {"net", 'n', LU_OPT_LIST, offsetof(args, nets), 0, 0, "NET", "a cut net; may be repeated (the cut pins tell it, too)"},
    {"cut", 0, LU_OPT_LIST, offsetof(args, cuts), 0, 0, "PINS", "pins cut off from the rest of their net: U16.12,U17.12"},
    {"svg", 0, LU_OPT_TEXT, offsetof(args, svg), 0, 0, "FILE", "a drawing of the board with the wires"},
    {"view", 0, LU_OPT_TEXT, offsetof(args, view), 0, 0, "SIDE", "the drawing from the solder side (default) or component"},
    {"json", 'j', LU_OPT_FLAG, offsetof(args, json), 0, 0, NULL, "one JSON object"},
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
