/* SPDX-License-Identifier: MIT */
/* The report page's repair wires: what lineup wires says. */
#include "board/damage.h"
#include "cli/boardview.h"
#include "cli/pagefill.h"
#include "cli/wireplan.h"

static const char *joined(lu_page_work *w, const char *a, const char *b)
{
  return !a ? b : lu_arena_printf(w->s->mem, "%s; %s", a, b);
}

static const char *damage_note(lu_page_work *w, const char *note, uint32_t pin)
{
  char text[120];
  if (pin == LU_NONE || !lu_damage_pin(w->s->board, pin, text, sizeof text))
    return note;
  return joined(w, note, lu_arena_printf(w->s->mem, "%s %s: solder may no longer take there", w->s->board->pins[pin].name, text));
}

static bool take_wires(lu_page_work *w, const lu_wire_plan *p)
{
  static const char *const sides[] = {"solder side", "component side", "from one side to the other"};
  lu_page_wire *list = LU_NEW(w->s->mem, lu_page_wire, p->wire_count + 1);
  for (size_t i = 0; list && i < p->wire_count; i++) {
    const lu_wire *x = &p->wires[i];
    const char *note = x->crosses == LU_NONE ? NULL : lu_arena_printf(w->s->mem, "crosses wire %u: insulated, or led around", x->crosses + 1);
    note = damage_note(w, damage_note(w, note, x->from_pin), x->to_pin);
    list[i] = (lu_page_wire){.net = lu_page_net(w, x->net), .from = lu_wire_end_text(p, x->from, x->from_pin), .to = lu_wire_end_text(p, x->to, x->to_pin),
                             .length_mm = x->length_mm, .side = x->from == LU_NONE ? NULL : sides[x->side], .note = note};
  }
  w->page.wires = list;
  w->page.wire_count = list ? p->wire_count : 0;
  return list;
}

/* Where the copper must be broken, and what speaks against a wire. */
static bool take_notes(lu_page_work *w, const lu_wire_plan *p)
{
  enum { NOTES_MOST = 64 };
  const lu_board *b = w->s->board;
  const char **list = LU_NEW(w->s->mem, const char *, NOTES_MOST);
  size_t n = 0;
  for (size_t i = 0; list && i < p->count; i++) {
    const lu_broken_net *k = p->nets[i];
    lu_stretch *s;
    size_t count = 0;
    if (b->places && lu_places_stretches(b->places, k->net, k->cut, k->cut_count, k->rest, k->rest_count, w->s->mem, &s, &count, NULL))
      count = 0;
    for (size_t j = 0; j < count && n < NOTES_MOST; j++)
      list[n++] = lu_arena_printf(w->s->mem, "%s: if it is the copper, it is broken %s", b->nets[k->net].name, lu_stretch_text(b, &s[j], w->s->mem));
    if (k->note && n < NOTES_MOST)
      list[n++] = k->note;
  }
  w->page.wire_notes = list;
  w->page.wire_note_count = n;
  return list;
}

lu_status lu_page_fill_wires(lu_page_work *w, const lu_bench *b)
{
  lu_wire_plan *p = w->plain || !w->s->board ? NULL : LU_NEW(w->s->mem, lu_wire_plan, 1);
  if (!p)
    return w->plain || !w->s->board ? LU_OK : lu_fail(&w->s->err, LU_ERR_NOMEM, 0, 0, "no room");
  p->s = w->s;
  lu_status bad = b ? lu_wire_plan_job(p, b) : lu_wire_plan_finding(p, w->page.finding);
  if (!bad && p->count)
    bad = lu_wire_plan_make(p);
  if (bad)
    return bad;
  w->plan = p->wire_count ? p : NULL;
  return take_wires(w, p) && take_notes(w, p) ? LU_OK : lu_fail(&w->s->err, LU_ERR_NOMEM, 0, 0, "no room");
}
