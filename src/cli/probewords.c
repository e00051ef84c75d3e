/* SPDX-License-Identifier: MIT */
#include "cli/probewords.h"

#include <string.h>

const char *lu_point_short(const lu_standing *s, const lu_point *x)
{
  const char *n = lu_point_name(s->query.board, x, s->bench->s->mem);
  return n ? n : "?";
}

const char *lu_point_words(const lu_standing *s, const lu_point *x)
{
  const lu_board *b = s->query.board;
  lu_arena *mem = s->bench->s->mem;
  if (x->at == LU_AT_VIA)
    return lu_arena_printf(mem, "the via of %s at %g, %g mm", b->nets[x->net].name, b->netlist->places[x->place].x_mm,
                           b->netlist->places[x->place].y_mm);
  if (x->pin == LU_NONE)
    return lu_arena_printf(mem, "net %s", b->nets[x->net].name);
  const lu_pin *p = &b->pins[x->pin];
  const char *what = x->at == LU_AT_LEG ? "the leg of " : x->at == LU_AT_PAD ? "the solder pad of " : "";
  bool plain = !strcmp(p->function, p->number);
  return lu_arena_printf(mem, "%s%s pin %s%s%s%s", what, b->parts[p->part].ref, p->number, plain ? "" : " (", plain ? "" : p->function,
                         plain ? "" : ")");
}

const char *lu_hop_words(const lu_standing *s, const lu_suspicion *g)
{
  const lu_board *b = s->query.board;
  lu_arena *mem = s->bench->s->mem;
  lu_point x, y;
  lu_probe_ends(s->probe, g, &x, &y);
  switch ((lu_fault_kind)g->kind) {
  case LU_FAULT_OPEN: {
    const lu_wire *w = lu_probe_wire(s->probe, g->wire);
    static const char *const hops[] = {"the contact", "the joint", "the track", "joint or track"};
    return lu_arena_printf(mem, "%s: %s between %s and %s is broken", b->nets[g->net].name, w ? hops[w->hops[g->hop].kind] : "the way", lu_point_short(s, &x),
                           lu_point_short(s, &y));
  }
  case LU_FAULT_STUCK:
    return lu_arena_printf(mem, "%s is joined to %s", b->nets[g->net].name, g->level == LU_LEVEL_LOW ? "ground" : "the supply");
  case LU_FAULT_BRIDGE:
    return lu_arena_printf(mem, "%s and %s are joined", b->nets[g->net].name, b->nets[g->net2].name);
  case LU_FAULT_SWAP:
    return lu_arena_printf(mem, "%s and %s are exchanged at %s", b->nets[g->net].name, b->nets[g->net2].name, b->parts[g->part].ref);
  default:
    return lu_arena_printf(mem, "%s itself is bad", b->parts[g->part].ref);
  }
}
