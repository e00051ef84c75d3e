/* SPDX-License-Identifier: MIT */
#define _GNU_SOURCE
/* The report page's drawings: the board from both sides, and the outlines of chips with suspect pins. */
#include "cli/boarddraw.h"
#include "cli/pagefill.h"
#include "cli/wireplan.h"
#include "report/outline.h"

#include <stdlib.h>
#include <string.h>

enum { PARTS_MOST = 6, NETS_MOST = 16, PINS_MOST = 256, POINTS_MOST = 20000, PICTURES_MOST = PARTS_MOST + 2 };
static const double drawn_share = 0.01;

/* Suspect nets and pins as the board numbers them. */
typedef struct marked {
  size_t net_count, pin_count;
  uint32_t nets[NETS_MOST], pins[PINS_MOST];
} marked;

static void take_marked(const lu_page_work *w, marked *m)
{
  const lu_finding *f = w->page.finding;
  const lu_board *b = w->s->board;
  for (size_t i = 0; i < f->suspect_count; i++) {
    const lu_said_suspect *x = &f->suspects[i];
    uint32_t net = x->net ? lu_board_net(b, x->net) : LU_NONE;
    if (x->probability < drawn_share)
      continue;
    if (net != LU_NONE && m->net_count < NETS_MOST)
      m->nets[m->net_count++] = net;
    for (size_t k = 0; k < x->pin_count && m->pin_count < PINS_MOST; k++) {
      uint32_t pin = lu_board_pin(b, x->pins[k].pin);
      if (pin != LU_NONE)
        m->pins[m->pin_count++] = pin;
    }
  }
}

static lu_status keep(lu_page_work *w, lu_page_picture *list, const char *title, FILE *f, char **text, bool ok)
{
  ok = fclose(f) == 0 && ok;
  char *svg = ok ? lu_arena_text(w->s->mem, *text, strlen(*text)) : NULL;
  free(*text);
  *text = NULL;
  if (!svg || !title)
    return lu_fail(&w->s->err, LU_ERR_NOMEM, 0, 0, "no room for a drawing");
  list[w->page.picture_count++] = (lu_page_picture){title, svg};
  return LU_OK;
}

static lu_status draw_side(lu_page_work *w, const marked *m, bool solder, lu_page_picture *list)
{
  lu_drawing d;
  lu_draw_choice what = {.solder_side = solder, .net_count = m->net_count, .pin_count = m->pin_count, .nets = m->nets, .pins = m->pins, .tags = w->net_number};
  char *text = NULL;
  size_t len;
  bool room = lu_draw_board(w->s->board, &what, w->s->mem, &d);
  if (room && w->plan) {
    d.wires = lu_wires_drawn(w->plan, solder);
    d.wire_count = w->plan->wire_count;
    room = d.wires;
  }
  FILE *f = room ? open_memstream(&text, &len) : NULL;
  if (!f)
    return lu_fail(&w->s->err, LU_ERR_NOMEM, 0, 0, "no room for a drawing");
  return keep(w, list, solder ? "The board from the solder side (mirrored)" : "The board from the component side", f, &text, lu_board_svg(f, &d));
}

static bool is_marked(const marked *m, uint32_t pin)
{
  for (size_t i = 0; i < m->pin_count; i++)
    if (m->pins[i] == pin)
      return true;
  return false;
}

static bool take_outline(lu_page_work *w, const marked *m, uint32_t part, lu_outline *o)
{
  const lu_board *b = w->s->board;
  const lu_part *p = &b->parts[part];
  lu_outline_pin *pins = LU_NEW(w->s->mem, lu_outline_pin, p->pin_count + 1);
  double (*at)[2] = lu_arena_array(w->s->mem, p->pin_count + 1, sizeof *at);
  bool placed = b->places != NULL;
  *o = (lu_outline){.ref = p->ref, .type = p->type ? p->type->name : p->value, .pins = pins};
  for (uint32_t i = 0; pins && at && i < p->pin_count; i++) {
    uint32_t pin = b->part_pins[p->first_pin + i];
    if (b->pins[pin].net == LU_NONE && !lu_pin_type(b, pin))
      continue;
    pins[o->pin_count] = (lu_outline_pin){b->pins[pin].number, b->pins[pin].function, is_marked(m, pin)};
    placed = placed && b->places->pin_point[pin] != LU_NONE;
    if (placed) {
      at[o->pin_count][0] = b->places->points[b->places->pin_point[pin]].x_mm;
      at[o->pin_count][1] = b->places->points[b->places->pin_point[pin]].y_mm;
    }
    o->pin_count++;
  }
  if (pins && at)
    o->body = lu_outline_guess(pins, o->pin_count, placed ? (const double (*)[2])at : NULL);
  return pins && at;
}

static lu_status draw_part(lu_page_work *w, const marked *m, uint32_t part, lu_page_picture *list)
{
  lu_outline o;
  char *text = NULL;
  size_t len;
  if (w->s->board->parts[part].pin_count > LU_OUTLINE_PINS_MOST)
    return LU_OK;
  FILE *f = take_outline(w, m, part, &o) ? open_memstream(&text, &len) : NULL;
  if (!f)
    return lu_fail(&w->s->err, LU_ERR_NOMEM, 0, 0, "no room for a drawing");
  const char *title = lu_arena_printf(w->s->mem, "%s from above, suspect pins marked *", w->s->board->parts[part].ref);
  return keep(w, list, title, f, &text, lu_outline_svg(f, &o));
}

lu_status lu_page_fill_pictures(lu_page_work *w)
{
  marked *m = LU_NEW(w->s->mem, marked, 1);
  lu_page_picture *list = LU_NEW(w->s->mem, lu_page_picture, PICTURES_MOST);
  if (w->plain || !w->s->board)
    return LU_OK;
  if (!m || !list)
    return lu_fail(&w->s->err, LU_ERR_NOMEM, 0, 0, "no room");
  const lu_board *b = w->s->board;
  take_marked(w, m);
  lu_status bad = LU_OK;
  for (int side = 0; !bad && b->places && b->places->point_count <= POINTS_MOST && side < 2; side++)
    bad = draw_side(w, m, side, list);
  w->page.side_count = w->page.picture_count;
  uint32_t drawn[PARTS_MOST];
  size_t count = 0;
  for (size_t i = 0; !bad && i < m->pin_count && count < PARTS_MOST; i++) {
    uint32_t part = b->pins[m->pins[i]].part;
    bool again = false;
    for (size_t k = 0; k < count; k++)
      again |= drawn[k] == part;
    if (again)
      continue;
    drawn[count++] = part;
    bad = draw_part(w, m, part, list);
  }
  w->page.pictures = list;
  return bad;
}
