/* SPDX-License-Identifier: MIT */
#include "api/capturehops.h"

#include "reason/lines.h"

#include <string.h>

enum { PAIRS_MOST = 1024, SAID_MOST = 16, ONE_IN = 500 };

/* Two neighbouring places of a line. */
typedef struct pair {
  const lu_line *line;
  size_t from_hop, to_hop;   /* from_hop: the first that lies between */
  uint32_t a, b;             /* board pins */
  uint32_t home_a, home_b;
  bool inverted, in_reads, in_writes; /* cycles in which what is between drives that way */
  uint64_t compared, differ, floats; /* floats: nobody drove just one of them */
} pair;

struct lu_capture_hops {
  const lu_board *board;
  size_t count;
  pair pairs[PAIRS_MOST];
};

/* Where a line was seen last, while it is followed. */
typedef struct place {
  size_t hop;
  uint32_t pin, home;
  bool inverted, lost;       /* since then; lost: it went through what may hold another level */
  bool no_reads, no_writes;  /* since then: a buffer that drives data one way */
} place;

typedef struct opener {
  lu_session *s;
  const lu_bind *bind;
  lu_capture_hops *h;
} opener;

/* A signal of which the map says that it is something else is not meant by its own name. */
static bool said_otherwise(const opener *o, const char *name, uint32_t home)
{
  const lu_cap_signal *g = lu_bind_home_signal(o->bind->cap, home);
  const lu_sigmap *m = o->bind->map;
  bool other = false;
  for (size_t i = 0; m && g && i < m->rename_count; i++) {
    if (!strcmp(m->renames[i].to, name))
      return false;
    other |= !strcmp(m->renames[i].from, g->name) || !strcmp(m->renames[i].from, g->path);
  }
  return other;
}

static bool home_named(const opener *o, const char *name, uint32_t *home)
{
  lu_err ignored = {0};
  lu_sig_name wanted = {.name = name};
  size_t count;
  return name && lu_bind_name(o->bind, &wanted, home, 1, &count, &ignored) == LU_OK && count == 1 && !said_otherwise(o, name, *home);
}

static void add_pair(opener *o, const lu_line *line, const place *from, size_t hop, uint32_t pin, uint32_t home)
{
  lu_capture_hops *h = o->h;
  if (from->lost || from->home == home || from->pin == pin || h->count == PAIRS_MOST)
    return;
  for (size_t i = 0; i < h->count; i++)
    if (h->pairs[i].home_a == from->home && h->pairs[i].home_b == home)
      return; /* lines to several chips share their beginning */
  h->pairs[h->count++] = (pair){.line = line, .from_hop = from->hop, .to_hop = hop, .a = from->pin, .b = pin, .home_a = from->home,
                                .home_b = home, .inverted = from->inverted, .in_reads = !from->no_reads,
                                .in_writes = !from->no_writes};
}

/* The line may be seen at this pin, or (net) by the net's name. */
static void look_at(opener *o, const lu_line *line, size_t hop, uint32_t pin, const char *net, place *last, bool goes_on)
{
  const lu_board *b = o->h->board;
  uint32_t home;
  if (pin == LU_NONE || (!home_named(o, b->pins[pin].name, &home) && !home_named(o, net, &home)))
    return;
  add_pair(o, line, last, hop, pin, home);
  if (goes_on)
    *last = (place){.hop = hop, .pin = pin, .home = home};
}

static bool passes_level(const lu_cell *c)
{
  if (!c || c->phase != LU_PHASE_ALWAYS)
    return false;
  return c->kind == LU_CELL_WIRE || c->kind == LU_CELL_TRANSCEIVER ||
         ((c->kind == LU_CELL_AND || c->kind == LU_CELL_OR) && c->input_count == 1);
}

/* A buffer on a data line is on only while it is to drive: towards the vantage in reads, away from it in writes. */
static void one_way(const lu_board *b, const lu_line *line, const lu_hop *hop, place *last)
{
  const lu_cell *c = hop->cell;
  if (line->kind != LU_LINE_DATA || !c || c->kind == LU_CELL_WIRE || c->kind == LU_CELL_TRANSCEIVER || !c->output_count)
    return;
  bool towards = b->pins[hop->from].type_pin == c->outputs[0];
  last->no_writes |= towards;
  last->no_reads |= !towards;
}

static void follow(opener *o, const lu_line *line, uint32_t home)
{
  const lu_board *b = o->h->board;
  if (!line->hop_count || line->phase != LU_PHASE_ALWAYS)
    return;
  place last = {.pin = line->hops[0].from, .home = home};
  for (size_t k = 0; k < line->hop_count; k++) {
    const lu_hop *hop = &line->hops[k];
    if (hop->net == LU_NONE) {
      last.inverted ^= hop->cell && hop->cell->inverted;
      last.lost |= !passes_level(hop->cell);
      one_way(b, line, hop, &last);
      continue;
    }
    if (k)
      look_at(o, line, k, hop->from, b->nets[hop->net].name, &last, true);
    if (k + 1 < line->hop_count)
      look_at(o, line, k, hop->to, NULL, &last, true);
    for (size_t i = 0; k + 1 == line->hop_count && i < line->end_count; i++)
      look_at(o, line, k, line->ends[i], NULL, &last, false);
  }
}

lu_status lu_capture_hops_open(lu_session *s, const lu_network *n, const lu_bind *bind, const uint32_t *address, size_t address_bits,
                               const uint32_t *data, size_t data_bits, lu_capture_hops **out)
{
  lu_lines *lines;
  *out = NULL;
  if (n->block == LU_NONE || n->vantage >= s->board->vantage_count)
    return LU_OK;
  lu_status bad = lu_lines_trace(s->board, n->block, n->vantage, n, s->mem, &lines, &s->err);
  if (bad)
    return bad;
  opener o = {s, bind, LU_NEW(s->mem, lu_capture_hops, 1)};
  if (!o.h)
    return lu_fail(&s->err, LU_ERR_NOMEM, 0, 0, "no room for the places of lines");
  o.h->board = s->board;
  for (size_t i = 0; i < lines->line_count; i++) {
    const lu_line *l = &lines->lines[i];
    const uint32_t *homes = l->kind == LU_LINE_DATA ? data : address;
    if (l->bit < (l->kind == LU_LINE_DATA ? data_bits : address_bits))
      follow(&o, l, homes[l->bit]);
  }
  *out = o.h->count ? o.h : NULL;
  return LU_OK;
}

void lu_capture_hops_see(lu_capture_hops *h, const lu_cap_step *step, bool reads, bool writes)
{
  for (size_t i = 0; i < h->count; i++) {
    pair *p = &h->pairs[i];
    char a = lu_cap_level(step->was_value, step->was_unknown, p->home_a), b = lu_cap_level(step->was_value, step->was_unknown, p->home_b);
    if ((reads && !p->in_reads) || (writes && !p->in_writes))
      continue;
    if (a == 'x' || b == 'x' || (a == 'z' && b == 'z'))
      continue;
    bool floats = a == 'z' || b == 'z';
    p->compared++;
    p->floats += floats;
    p->differ += floats || (a != b) != p->inverted;
  }
}

/* "net /BA6 from U2.16 to U3.10, U2 from U2.4 to U2.16". */
static const char *hops_text(const lu_capture_hops *h, const pair *p, lu_arena *mem)
{
  const lu_board *b = h->board;
  const char *text = NULL;
  for (size_t k = p->from_hop; k <= p->to_hop; k++) {
    const lu_hop *hop = &p->line->hops[k];
    uint32_t from = k == p->from_hop && hop->net != LU_NONE ? p->a : hop->from, to = k == p->to_hop ? p->b : hop->to;
    if (from == to && hop->net != LU_NONE)
      continue;
    text = lu_arena_printf(mem, "%s%s%s %s from %s to %s", text ? text : "", text ? ", " : "", hop->net != LU_NONE ? "net" : "through",
                           hop->net != LU_NONE ? b->nets[hop->net].name : b->parts[hop->part].ref,
                           from != LU_NONE ? b->pins[from].name : "the vantage", b->pins[to].name);
  }
  return text ? text : "";
}

static lu_said_suspect *suspect(lu_session *s, lu_reading *r, uint32_t net, unsigned group)
{
  const char *name = s->board->nets[net].name;
  for (size_t i = 0; i < r->between_count; i++)
    if (r->between[i].net == name)
      return NULL;
  if (r->between_count == SAID_MOST)
    return NULL;
  lu_said_suspect *x = &r->between[r->between_count++];
  *x = (lu_said_suspect){.net = name, .group = group};
  return x;
}

/* What tells whether it is this net's copper. */
static const char *settle(lu_session *s, const lu_board *b, const uint32_t pins[2])
{
  if (pins[0] == LU_NONE || pins[1] == LU_NONE)
    return NULL;
  if (pins[0] == pins[1])
    return lu_arena_printf(s->mem, "Power off: measure %s against supply, ground and its neighbours", b->pins[pins[0]].name);
  return lu_arena_printf(s->mem, "Power off: measure continuity from %s to %s, leg to leg; on a sound board they are joined", b->pins[pins[0]].name,
                         b->pins[pins[1]].name);
}

static lu_status say_pair(lu_session *s, const lu_capture_hops *h, const pair *p, lu_reading *r)
{
  const lu_board *b = h->board;
  const char *hops = hops_text(h, p, s->mem), *a_name = p->a != LU_NONE ? b->pins[p->a].name : "the vantage", *b_name = b->pins[p->b].name;
  const char *what = lu_arena_printf(s->mem, "%s and %s differ at %llu of %llu strobes%s", a_name, b_name, (unsigned long long)p->differ,
                                     (unsigned long long)p->compared, p->floats ? ", one of them floating" : "");
  unsigned group = (unsigned)r->between_count;
  size_t first = r->between_count;
  for (size_t k = p->from_hop; k <= p->to_hop; k++) {
    const lu_hop *hop = &p->line->hops[k];
    lu_said_suspect *x = hop->net == LU_NONE || (k == p->from_hop && hop->to == p->a) ? NULL : suspect(s, r, hop->net, group);
    if (!x)
      continue;
    uint32_t pins[2] = {k == p->from_hop ? p->a : hop->from, k == p->to_hop ? p->b : hop->to};
    x->pins = LU_NEW(s->mem, lu_said_pin, 2);
    if (!x->pins)
      return lu_fail(&s->err, LU_ERR_NOMEM, 0, 0, "no room for what differs");
    for (int i = 0; i < 2; i++)
      if (pins[i] != LU_NONE && (!i || pins[i] != pins[0]))
        x->pins[x->pin_count++] = (lu_said_pin){b->pins[pins[i]].name, b->pins[pins[i]].function};
    x->why = lu_arena_printf(s->mem, "The capture sees the line at both ends: %s", what);
    x->where = hops;
    x->settle = settle(s, b, pins);
  }
  for (size_t i = first; i < r->between_count; i++)
    r->between[i].probability = 0.97 / (double)(r->between_count - first);
  lu_session_note(s, lu_arena_printf(s->mem, "%s: the fault lies between them: %s", what, hops));
  return LU_OK;
}

lu_status lu_capture_hops_end(lu_session *s, const lu_capture_hops *h, lu_reading *r)
{
  size_t differ = 0;
  r->between = LU_NEW(s->mem, lu_said_suspect, SAID_MOST);
  if (!r->between)
    return lu_fail(&s->err, LU_ERR_NOMEM, 0, 0, "no room for what differs");
  for (size_t i = 0; i < h->count; i++) {
    const pair *p = &h->pairs[i];
    if (p->differ <= p->compared / ONE_IN)
      continue;
    differ++;
    lu_status bad = say_pair(s, h, p, r);
    if (bad)
      return bad;
  }
  lu_session_note(s, lu_arena_printf(s->mem, "lines seen at more than one place: %zu pairs of places compared, %zu differ", h->count, differ));
  return LU_OK;
}
