/* SPDX-License-Identifier: MIT */
/* The report page's lines, hop by hop. */
#include "cli/boardview.h"
#include "cli/pagefill.h"
#include "reason/lines.h"

#include <string.h>

enum { LINES_MOST = 1024, DEPTH_MOST = 32 };
static const double flagged_share = 0.01;

typedef struct pen {
  lu_page_work *w;
  const lu_board *b;
  const char *block;
  size_t room;
} pen;

static lu_page_line *new_line(pen *k, const char *name, size_t steps)
{
  lu_page *p = &k->w->page;
  if (p->line_count == LINES_MOST)
    return NULL;
  lu_page_line *list = lu_arena_grow(k->w->s->mem, (void *)(uintptr_t)p->lines, p->line_count, &k->room, sizeof *list);
  lu_page_step *at = LU_NEW(k->w->s->mem, lu_page_step, steps + 1);
  if (!list || !at || !name)
    return NULL;
  p->lines = list;
  list[p->line_count] = (lu_page_line){.name = name, .block = k->block, .steps = at};
  return &list[p->line_count++];
}

static void put_text(lu_page_line *l, const char *text)
{
  lu_page_step *at = (lu_page_step *)(uintptr_t)l->steps;
  at[l->step_count++] = (lu_page_step){.text = text ? text : "?"};
}

static void put_pin(pen *k, lu_page_line *l, uint32_t pin)
{
  if (pin == LU_NONE)
    return;
  const lu_pin *p = &k->b->pins[pin];
  put_text(l, strcmp(p->function, p->number) ? lu_arena_printf(k->w->s->mem, "%s (%s)", p->name, p->function) : p->name);
}

/* What the first explanation says of a net. */
static const char *fault_of(const lu_finding *f, const char *net)
{
  for (size_t i = 0; f->explanation_count && i < f->explanations[0].fault_count; i++) {
    const lu_said_fault *x = &f->explanations[0].faults[i];
    const char *names[] = {x->net, x->nets[0], x->nets[1]};
    for (size_t n = 0; n < 3; n++)
      if (names[n] && !strcmp(names[n], net))
        return x->text;
  }
  return NULL;
}

static void put_net(pen *k, lu_page_line *l, uint32_t net)
{
  if (net == LU_NONE)
    return;
  const char *name = k->b->nets[net].name, *fault = fault_of(k->w->page.finding, name);
  double p = lu_page_suspicion(k->w, name);
  lu_page_step *at = (lu_page_step *)(uintptr_t)l->steps;
  bool suspect = p >= flagged_share;
  at[l->step_count++] = (lu_page_step){.text = name, .net = lu_page_net(k->w, net), .suspicion = suspect ? p : 0};
  l->suspect |= suspect;
  if (fault)
    l->broken = fault;
}

static void put_ends(pen *k, lu_page_line *l, const uint32_t *pins, size_t count)
{
  enum { PINS_SHOWN = 8 };
  const char *text = NULL;
  for (size_t i = 0; i < count && i < PINS_SHOWN; i++)
    text = lu_arena_printf(k->w->s->mem, "%s%s%s", text ? text : "", text ? ", " : "", k->b->pins[pins[i]].name);
  if (text && count > PINS_SHOWN)
    text = lu_arena_printf(k->w->s->mem, "%s and %zu more", text, count - PINS_SHOWN);
  if (text)
    put_text(l, text);
}

static const char *bit_words(const pen *k, const lu_lines *t, const lu_line *l)
{
  static const char *const phases[] = {"", ", as row", ", as column"};
  const lu_vantage *v = &k->b->vantages[t->vantage];
  uint32_t pin = l->kind == LU_LINE_ADDRESS ? v->address_pin[l->bit] : v->data_pin[l->bit];
  uint32_t net = l->kind == LU_LINE_ADDRESS ? v->address_net[l->bit] : v->data_net[l->bit];
  const char *name = pin != LU_NONE ? k->b->pins[pin].function : net != LU_NONE ? k->b->nets[net].name : "?";
  return lu_arena_printf(k->w->s->mem, "%s%s%s", name, phases[l->phase <= LU_PHASE_COLUMN ? l->phase : 0], l->inverted ? ", inverted" : "");
}

static bool take_line(pen *k, const lu_lines *t, const lu_line *l)
{
  lu_page_line *p = new_line(k, bit_words(k, t, l), 2 * l->hop_count + 2);
  if (!p)
    return false;
  put_pin(k, p, l->hops[0].from);
  for (size_t i = 0; i < l->hop_count; i++) {
    const lu_hop *h = &l->hops[i];
    if (h->part == LU_NONE) {
      put_net(k, p, h->net);
      if (i + 1 < l->hop_count)
        put_pin(k, p, h->to);
    } else {
      const lu_part *x = &k->b->parts[h->part];
      bool typed = x->type && strcmp(x->type->name, x->ref); /* a custom part's type is called as itself */
      put_text(p, lu_arena_printf(k->w->s->mem, "through %s%s%s", x->ref, typed ? " " : "", typed ? x->type->name : ""));
      put_pin(k, p, h->to);
    }
  }
  put_ends(k, p, l->ends, l->end_count);
  return true;
}

/* One way for each thing that a control line depends on: from there to the chips. */
static bool take_control(pen *k, const lu_control *c)
{
  size_t path[DEPTH_MOST];
  for (size_t i = 0; i < c->feed_count; i++) {
    const lu_feed *f = &c->feeds[i];
    if (f->depth >= DEPTH_MOST)
      continue;
    path[f->depth] = i;
    if (f->end == LU_FEED_GOES_ON || f->end == LU_FEED_CONSTANT || f->end == LU_FEED_SEEN)
      continue;
    lu_page_line *p = new_line(k, lu_role_name((lu_pin_role)c->role), 2 * (size_t)f->depth + 4);
    if (!p)
      return false;
    for (size_t d = f->depth + 1u; d-- > 0;) {
      put_pin(k, p, c->feeds[path[d]].driver);
      put_net(k, p, c->feeds[path[d]].net);
    }
    put_ends(k, p, c->pins, c->pin_count);
  }
  return true;
}

lu_status lu_page_fill_lines(lu_page_work *w)
{
  pen k = {.w = w, .b = w->s->board};
  for (size_t i = 0; !w->plain && i < w->reading_count; i++) {
    const lu_network *n = w->readings[i].evidence.network;
    bool again = n->board->vantages[n->vantage].chip;
    for (size_t j = 0; j < i; j++)
      again |= w->readings[j].evidence.network->block == n->block;
    lu_lines *t;
    if (again || n->board != k.b)
      continue;
    lu_status bad = lu_lines_trace(k.b, n->block, n->vantage, n, w->s->mem, &t, &w->s->err);
    if (bad)
      return bad;
    k.block = k.b->blocks[n->block].name;
    bool ok = true;
    for (size_t j = 0; ok && j < t->line_count; j++)
      ok = take_line(&k, t, &t->lines[j]);
    for (size_t j = 0; ok && j < t->control_count; j++)
      ok = take_control(&k, &t->controls[j]);
    if (!ok && w->page.line_count < LINES_MOST)
      return lu_fail(&w->s->err, LU_ERR_NOMEM, 0, 0, "no room");
  }
  return LU_OK;
}
