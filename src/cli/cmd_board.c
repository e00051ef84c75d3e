/* SPDX-License-Identifier: MIT */
#define _GNU_SOURCE
/* lineup board: does a board file hold, how do lines run, what is on a chip's pins, and a first board file. */
#include "board/places.h"
#include "cli/session.h"
#include "cli/boardview.h"
#include "base/text.h"
#include "cli/guess.h"
#include "report/outline.h"

#include <stdlib.h>
#include <string.h>

typedef struct args {
  const char *block, *layout, *view, *body, *svg, *output;
  lu_texts marks;
  bool json;
  lu_texts operands;
} args;

static int put_json(lu_run *run, json_t *o, int status)
{
  bool ok = o && json_dumpf(o, run->out, JSON_INDENT(2) | JSON_REAL_PRECISION(9)) == 0 && fputc('\n', run->out) != EOF;
  json_decref(o);
  return ok ? status : LU_EXIT_SYSTEM;
}

/* The board of the second operand; NULL after saying why not. */
static bool load(lu_run *run, lu_session *s, const args *a, int *status)
{
  if (lu_session_board(s, a->operands.at[1])) {
    *status = lu_say_error(run, &s->err);
    return false;
  }
  return true;
}

static int board_check(lu_run *run, lu_session *s, const args *a)
{
  int status;
  lu_block_view *v;
  size_t count;
  bool holds;
  if (!load(run, s, a, &status))
    return status;
  if (lu_view_blocks(s, NULL, &v, &count))
    return lu_say_error(run, &s->err);
  if (a->json) {
    json_t *o = lu_view_check_json(s, v, count, &holds);
    return put_json(run, o, holds ? LU_EXIT_CLEAN : LU_EXIT_FAULTS);
  }
  return lu_view_check_text(s, v, count) ? LU_EXIT_CLEAN : LU_EXIT_FAULTS;
}

static int board_show(lu_run *run, lu_session *s, const args *a)
{
  int status;
  lu_block_view *v;
  size_t count;
  if (!load(run, s, a, &status))
    return status;
  if (lu_view_blocks(s, a->block, &v, &count))
    return lu_say_error(run, &s->err);
  if (a->json)
    return put_json(run, lu_view_lines_json(s, v, count), LU_EXIT_CLEAN);
  lu_view_lines_text(s, v, count);
  return LU_EXIT_CLEAN;
}

/* --- pins ----------------------------------------------------------------------------------------------- */

static bool is_marked(const lu_board *b, uint32_t pin, const lu_texts *marks)
{
  for (size_t i = 0; i < marks->count; i++)
    if (!strcmp(marks->at[i], b->pins[pin].number) || lu_function_same(marks->at[i], b->pins[pin].function) ||
        !strcmp(marks->at[i], b->pins[pin].name))
      return true;
  return false;
}

/* Every mark must be a pin of the part. */
static bool marks_are_pins(lu_run *run, const lu_board *b, uint32_t part, const lu_texts *marks)
{
  const lu_part *p = &b->parts[part];
  for (size_t i = 0; i < marks->count; i++) {
    lu_texts one = {.count = 1, .at = {marks->at[i]}};
    bool found = false;
    for (uint32_t k = 0; k < p->pin_count && !found; k++)
      found = is_marked(b, b->part_pins[p->first_pin + k], &one);
    if (!found) {
      lu_say_usage(run, "board pins: %s has no pin '%s'", p->ref, marks->at[i]);
      return false;
    }
  }
  return true;
}

static bool take_outline(lu_session *s, const args *a, uint32_t part, lu_outline *o)
{
  const lu_board *b = s->board;
  const lu_part *p = &b->parts[part];
  lu_outline_pin *pins = LU_NEW(s->mem, lu_outline_pin, p->pin_count + 1);
  double (*at)[2] = lu_arena_array(s->mem, p->pin_count + 1, sizeof *at);
  if (!pins || !at)
    return false;
  bool placed = b->places != NULL;
  *o = (lu_outline){.ref = p->ref, .type = p->type ? p->type->name : p->value, .pins = pins};
  for (uint32_t i = 0; i < p->pin_count; i++) {
    uint32_t pin = b->part_pins[p->first_pin + i];
    if (b->pins[pin].net == LU_NONE && !lu_pin_type(b, pin))
      continue;
    pins[o->pin_count] = (lu_outline_pin){b->pins[pin].number, b->pins[pin].function, is_marked(b, pin, &a->marks)};
    placed = placed && b->places->pin_point[pin] != LU_NONE;
    if (placed) {
      at[o->pin_count][0] = b->places->points[b->places->pin_point[pin]].x_mm;
      at[o->pin_count][1] = b->places->points[b->places->pin_point[pin]].y_mm;
    }
    o->pin_count++;
  }
  o->body = lu_outline_guess(pins, o->pin_count, placed ? (const double (*)[2])at : NULL);
  return true;
}

static bool any_pin_fits(const lu_outline *o)
{
  char side;
  unsigned slot, slots;
  size_t i = 0;
  while (i < o->pin_count && !lu_outline_spot(o, i, &side, &slot, &slots))
    i++;
  return i < o->pin_count;
}

/* Writes the SVG whole or not at all. */
static lu_status write_svg(lu_session *s, const lu_outline *o, const char *path)
{
  char *at = NULL;
  size_t len = 0;
  FILE *f = open_memstream(&at, &len);
  if (!f)
    return lu_fail(&s->err, LU_ERR_NOMEM, 0, 0, "no room");
  bool ok = lu_outline_svg(f, o) && !fflush(f);
  fclose(f);
  lu_status bad = ok ? lu_file_write(path, at, len, &s->err) : lu_fail(&s->err, LU_ERR_NOMEM, 0, 0, "no room for the drawing");
  free(at);
  return bad ? lu_fail_source(&s->err, bad, path) : LU_OK;
}

static int board_pins(lu_run *run, lu_session *s, const args *a)
{
  int status;
  lu_outline o;
  if (a->operands.count < 3)
    return lu_say_usage(run, "board pins: expected a board file and a part, such as U8");
  if (a->view && strcmp(a->view, "above") && strcmp(a->view, "solder"))
    return lu_say_usage(run, "board pins: --view expects above or solder, found '%s'", a->view);
  if (!load(run, s, a, &status))
    return status;
  const char *ref = a->operands.at[2];
  uint32_t part = lu_board_part(s->board, ref);
  if (part == LU_NONE) {
    const char *near = lu_board_nearest_part(s->board, ref);
    return near ? lu_say_usage(run, "board pins: no part '%s' on this board; the nearest is '%s'", ref, near)
                : lu_say_usage(run, "board pins: no part '%s' on this board", ref);
  }
  if (!marks_are_pins(run, s->board, part, &a->marks))
    return LU_EXIT_INPUT;
  if (!take_outline(s, a, part, &o))
    return lu_say_usage(run, "out of memory"), LU_EXIT_SYSTEM;
  if (a->body && !lu_body_named(a->body, &o.body))
    return lu_say_usage(run, "board pins: --body expects dip, sip, zip, plcc, soj or pga, found '%s'", a->body);
  if (a->body && !any_pin_fits(&o))
    return lu_say_usage(run, "board pins: --body %s: no pin of %s has a place there%s", a->body, ref,
                        o.body == LU_BODY_PGA ? ", its pins are called by letter and number, A1" : "");
  o.solder_side = a->view && !strcmp(a->view, "solder");
  if (a->svg && write_svg(s, &o, a->svg))
    return lu_say_error(run, &s->err);
  if (a->svg && !strcmp(a->svg, "-"))
    return LU_EXIT_CLEAN;
  if (a->json)
    return put_json(run, lu_view_pins_json(s, part), LU_EXIT_CLEAN);
  lu_view_pins_text(s, part);
  fputc('\n', run->out);
  return lu_outline_text(run->out, &o) ? LU_EXIT_CLEAN : LU_EXIT_SYSTEM;
}

/* --- guess ---------------------------------------------------------------------------------------------- */

static int board_guess(lu_run *run, lu_session *s, const args *a)
{
  lu_guess g;
  if (lu_guess_board(s, a->operands.at[1], a->layout, a->output, &g))
    return lu_say_error(run, &s->err);
  if (a->json) {
    json_t *list = json_array();
    for (size_t i = 0; i < g.assumed_count; i++)
      json_array_append_new(list, lu_json_text(g.assumed[i]));
    return put_json(run, json_pack("{s:s,s:I,s:I,s:o,s:o}", "lineup", LU_VERSION, "vantages", (json_int_t)g.vantage_count, "blocks",
                                   (json_int_t)g.block_count, "assumed", list, "board_file", lu_json_text(g.yaml)),
                    LU_EXIT_CLEAN);
  }
  if (lu_file_write(a->output ? a->output : "-", g.yaml, strlen(g.yaml), &s->err))
    return lu_say_error(run, &s->err);
  return LU_EXIT_CLEAN;
}

static const struct {
  const char *name;
  size_t least, most;
  int (*run)(lu_run *run, lu_session *s, const args *a);
} jobs[] = {{"check", 2, 2, board_check}, {"show", 2, 2, board_show}, {"pins", 2, 3, board_pins}, {"guess", 2, 2, board_guess}};

static int run_board(lu_run *run, void *at)
{
  const args *a = at;
  for (size_t i = 0; i < sizeof jobs / sizeof *jobs; i++) {
    if (strcmp(jobs[i].name, a->operands.at[0]))
      continue;
    if (a->operands.count < jobs[i].least)
      return lu_say_usage(run, "board %s: expected a file", jobs[i].name);
    if (a->operands.count > jobs[i].most)
      return lu_say_usage(run, "board %s: one operand too many: '%s'", jobs[i].name, a->operands.at[jobs[i].most]);
    lu_session *s = lu_session_new(run);
    if (!s)
      return lu_say_usage(run, "out of memory"), LU_EXIT_SYSTEM;
    int status = jobs[i].run(run, s, a);
    lu_session_end(s);
    return status;
  }
  const char *names[sizeof jobs / sizeof *jobs];
  for (size_t i = 0; i < sizeof jobs / sizeof *jobs; i++)
    names[i] = jobs[i].name;
  const char *near = lu_text_nearest(a->operands.at[0], names, sizeof jobs / sizeof *jobs);
  return lu_say_usage(run, "board: expected check, show, pins or guess, found '%s'%s%s", a->operands.at[0], near ? "; the nearest is " : "", near ? near : "");
}

static const lu_option options[] = {
    {"block", 0, LU_OPT_TEXT, offsetof(args, block), 0, 0, "NAME", "show: only this block's lines"},
    {"layout", 0, LU_OPT_TEXT, offsetof(args, layout), 0, 0, "FILE", "guess: a layout beside the netlist"},
    {"output", 'o', LU_OPT_TEXT, offsetof(args, output), 0, 0, "FILE", "guess: where the board file goes"},
    {"mark", 0, LU_OPT_LIST, offsetof(args, marks), 0, 0, "PIN", "pins: mark this pin in the drawing; may be repeated"},
    {"view", 0, LU_OPT_TEXT, offsetof(args, view), 0, 0, "SIDE", "pins: drawn from above (default) or from the solder side"},
    {"body", 0, LU_OPT_TEXT, offsetof(args, body), 0, 0, "BODY", "pins: dip, sip, zip, plcc, soj or pga (default: by places)"},
    {"svg", 0, LU_OPT_TEXT, offsetof(args, svg), 0, 0, "FILE", "pins: the drawing as SVG"},
    {"json", 'j', LU_OPT_FLAG, offsetof(args, json), 0, 0, NULL, "one JSON object"},
    {0},
};

static const char *const examples[] = {
    "lineup board check docs/demo/tide.yaml",
    "lineup board show docs/demo/tide.yaml --block \"record RAM\"",
    "lineup board pins docs/demo/tide.yaml U8 --mark 21 --view solder",
    "lineup board guess tests/boards/log8.net",
    NULL,
};

const lu_command lu_command_board = {
    .name = "board",
    .summary = "check a board file, show its lines and pins, guess a first one",
    .usage = "check FILE | show FILE | pins FILE PART | guess NETLIST [OPTION ...]",
    .options = options,
    .args_size = sizeof(args),
    .operands_offset = offsetof(args, operands),
    .least_operands = 1,
    .most_operands = 3,
    .examples = examples,
    .run = run_board,
};
