/* SPDX-License-Identifier: MIT */
#include "reason/hops.h"

#include "base/text.h"
#include "board/damage.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* The net as a tree: nodes that can be touched (the points) and copper that cannot. */
enum { NODES_MOST = 2 * LU_POINTS_MOST + 2, EDGES_MOST = NODES_MOST };

typedef struct edge {
  uint16_t a, b;
  uint8_t kind;
  double prior;
} edge;

typedef struct tree {
  const lu_board *board;
  const lu_priors *p;
  lu_wire *w;
  uint16_t node_count, edge_count;
  uint16_t point_of[NODES_MOST]; /* point, or UINT16_MAX: copper inside */
  uint16_t copper[LU_POINTS_MOST]; /* of a pin's pad or via: the node that tracks end at */
  double x[NODES_MOST], y[NODES_MOST];
  bool placed[NODES_MOST], ends[NODES_MOST]; /* has a place; a track can end there */
  uint32_t pin[NODES_MOST];
  edge edges[EDGES_MOST];
  lu_point_set below[EDGES_MOST]; /* points on b's side */
} tree;

static void put(lu_point_set *s, size_t i)
{
  s->w[i / 64] |= (uint64_t)1 << (i % 64);
}

static double damaged(const lu_priors *p, double prior, bool hit)
{
  return hit ? fmin(prior / (1 - p->value[LU_PRIOR_damage_factor]), 0.5) : prior;
}

static uint16_t add_node(tree *t, size_t point, uint32_t pin)
{
  t->point_of[t->node_count] = point == SIZE_MAX ? UINT16_MAX : (uint16_t)point;
  t->pin[t->node_count] = pin;
  return t->node_count++;
}

static void add_edge(tree *t, uint16_t a, uint16_t b, lu_hop_kind kind, double prior)
{
  t->edges[t->edge_count++] = (edge){a, b, (uint8_t)kind, prior};
}

static size_t add_point(lu_wire *w, lu_at at, uint32_t pin, uint32_t place)
{
  w->points[w->point_count] = (lu_point){(uint8_t)at, w->net, pin, place};
  return w->point_count++;
}

static bool drives(const lu_board *b, uint32_t pin)
{
  const lu_part_pin *p = lu_pin_type(b, pin);
  return p && (p->role == LU_ROLE_OUTPUT || p->role == LU_ROLE_DATA_OUT || p->role == LU_ROLE_STROBE ||
               (p->role == LU_ROLE_ADDRESS && b->parts[b->pins[pin].part].type->kind == LU_PART_PROCESSOR));
}

static bool among(const uint32_t *list, size_t count, uint32_t pin)
{
  for (size_t i = 0; i < count; i++)
    if (list[i] == pin)
      return true;
  return false;
}

/* The points of one pin, the hop between leg and pad or pin and copper, and the node for tracks. */
static void add_pin(tree *t, uint32_t pin, bool is_interest, bool is_driver)
{
  lu_wire *w = t->w;
  const lu_board *b = t->board;
  bool hit = lu_damage_pin(b, pin, NULL, 0), socketed = b->parts[b->pins[pin].part].socketed;
  size_t point = add_point(w, socketed ? LU_AT_LEG : LU_AT_PIN, pin, LU_NONE);
  uint16_t leg = add_node(t, point, pin), end;
  if (is_interest)
    put(&w->interest, point);
  if (is_driver)
    put(&w->drivers, point);
  if (socketed) {
    size_t pad = add_point(w, LU_AT_PAD, pin, LU_NONE);
    end = add_node(t, pad, pin);
    t->copper[point] = end;
    add_edge(t, leg, end, LU_HOP_CONTACT, damaged(t->p, t->p->value[LU_PRIOR_contact], hit));
  } else {
    end = add_node(t, SIZE_MAX, pin);
    t->copper[point] = end;
    add_edge(t, leg, end, LU_HOP_JOINT, damaged(t->p, t->p->value[LU_PRIOR_joint], hit));
  }
  t->ends[end] = true;
}

/* --- places ---------------------------------------------------------------------------------------- */

static uint32_t layout_net(const lu_board *b, uint32_t net)
{
  const lu_netlist *n = b->netlist;
  for (uint32_t i = 0; n && i < n->net_count; i++)
    if (!strcmp(n->nets[i].name, b->nets[net].name))
      return i;
  return LU_NONE;
}

static void place_pin(tree *t, const lu_net_place *q)
{
  const lu_board *b = t->board;
  const char *ref = b->netlist->parts[q->part].ref;
  for (uint16_t i = 0; i < t->node_count; i++) {
    if (!t->ends[i] || t->pin[i] == LU_NONE || t->placed[i])
      continue;
    const lu_pin *p = &b->pins[t->pin[i]];
    if (!strcmp(b->parts[p->part].ref, ref) && q->number && !strcmp(p->number, q->number)) {
      t->x[i] = q->x_mm;
      t->y[i] = q->y_mm;
      t->placed[i] = true;
    }
  }
}

static void find_places(tree *t)
{
  const lu_netlist *n = t->board->netlist;
  uint32_t net = layout_net(t->board, t->w->net);
  for (size_t i = 0; net != LU_NONE && i < n->place_count; i++) {
    const lu_net_place *q = &n->places[i];
    if (q->net != net)
      continue;
    if (q->part != UINT32_MAX) {
      place_pin(t, q);
    } else if (q->via && t->w->point_count < LU_POINTS_MOST) {
      size_t point = add_point(t->w, LU_AT_VIA, LU_NONE, (uint32_t)i);
      uint16_t node = add_node(t, point, LU_NONE);
      t->copper[point] = node;
      t->x[node] = q->x_mm;
      t->y[node] = q->y_mm;
      t->placed[node] = t->ends[node] = true;
    }
  }
}

/* --- tracks --------------------------------------------------------------------------------------- */

static double track_prior(const tree *t, uint16_t a, uint16_t b, unsigned ways)
{
  bool hit = false;
  uint16_t n[2] = {a, b};
  for (int i = 0; i < 2; i++)
    hit |= t->pin[n[i]] != LU_NONE && lu_damage_pin(t->board, t->pin[n[i]], NULL, 0);
  return damaged(t->p, t->p->value[LU_PRIOR_track] / ways, hit);
}

static double distance(const tree *t, uint16_t a, uint16_t b)
{
  return hypot(t->x[a] - t->x[b], t->y[a] - t->y[b]);
}

/* Prim's minimum spanning tree over what has a place. */
static void span_places(tree *t, unsigned ways)
{
  bool in[NODES_MOST] = {false};
  uint16_t near[NODES_MOST], first = UINT16_MAX;
  double best[NODES_MOST];
  for (uint16_t i = 0; i < t->node_count; i++)
    if (t->placed[i] && t->ends[i] && first == UINT16_MAX)
      first = i;
  if (first == UINT16_MAX)
    return;
  in[first] = true;
  for (uint16_t i = 0; i < t->node_count; i++) {
    near[i] = first;
    best[i] = t->placed[i] ? distance(t, i, first) : INFINITY;
  }
  for (;;) {
    uint16_t next = UINT16_MAX;
    for (uint16_t i = 0; i < t->node_count; i++)
      if (t->placed[i] && t->ends[i] && !in[i] && (next == UINT16_MAX || best[i] < best[next]))
        next = i;
    if (next == UINT16_MAX)
      return;
    in[next] = true;
    add_edge(t, near[next], next, LU_HOP_TRACK, track_prior(t, near[next], next, ways));
    for (uint16_t i = 0; i < t->node_count; i++)
      if (t->placed[i] && !in[i] && distance(t, i, next) < best[i]) {
        best[i] = distance(t, i, next);
        near[i] = next;
      }
  }
}

/* Without places: from the driver to the middle, from there to each other pin. */
static void star(tree *t, uint16_t hub, unsigned ways)
{
  if (hub == UINT16_MAX) {
    hub = add_node(t, SIZE_MAX, LU_NONE);
    for (size_t i = 0; i < t->w->point_count; i++)
      if (lu_point_in(&t->w->drivers, i) && t->edge_count < EDGES_MOST) {
        uint16_t end = t->copper[i];
        add_edge(t, end, hub, LU_HOP_TRACK, track_prior(t, end, end, ways));
        t->ends[end] = false;
        break;
      }
  }
  for (uint16_t i = 0; i < t->node_count; i++)
    if (t->ends[i] && !t->placed[i] && i != hub)
      add_edge(t, hub, i, LU_HOP_TRACK, track_prior(t, i, i, ways));
}

static void lay_tracks(tree *t)
{
  unsigned ends = 0, placed = 0;
  uint16_t hub = UINT16_MAX;
  for (uint16_t i = 0; i < t->node_count; i++) {
    ends += t->ends[i];
    placed += t->ends[i] && t->placed[i];
    if (t->ends[i] && t->placed[i] && hub == UINT16_MAX)
      hub = i;
  }
  if (placed == 1) { /* one place says nothing of the order */
    t->placed[hub] = false;
    placed = 0;
  }
  unsigned ways = ends > 1 ? ends - 1 : 1;
  t->w->placed = placed > 1;
  if (placed > 1)
    span_places(t, ways);
  if (placed < ends)
    star(t, placed > 1 ? hub : UINT16_MAX, ways);
}

/* --- from edges to hops ----------------------------------------------------------------------------- */

/* Points behind an edge, seen from its a side: a walk from b that does not use the edge. */
static void walk_behind(tree *t, uint16_t skip)
{
  bool seen[NODES_MOST] = {false};
  uint16_t stack[NODES_MOST], depth = 0;
  lu_point_set *set = &t->below[skip];
  memset(set, 0, sizeof *set);
  stack[depth++] = t->edges[skip].b;
  seen[t->edges[skip].b] = true;
  while (depth) {
    uint16_t n = stack[--depth];
    if (t->point_of[n] != UINT16_MAX)
      put(set, t->point_of[n]);
    for (uint16_t e = 0; e < t->edge_count; e++) {
      const edge *x = &t->edges[e];
      uint16_t to = x->a == n ? x->b : x->b == n ? x->a : UINT16_MAX;
      if (e != skip && to != UINT16_MAX && !seen[to]) {
        seen[to] = true;
        stack[depth++] = to;
      }
    }
  }
}

static bool same_cut(const lu_wire *w, const lu_point_set *a, const lu_point_set *b)
{
  bool same = true, opposite = true;
  for (size_t i = 0; i < w->point_count; i++) {
    bool x = lu_point_in(a, i), y = lu_point_in(b, i);
    same &= x == y;
    opposite &= x != y;
  }
  return same || opposite;
}

/* The nearest point to a node without crossing the edge; drivers first among equals. */
static uint16_t nearest_point(const tree *t, uint16_t from, uint16_t skip)
{
  uint16_t queue[NODES_MOST], depth[NODES_MOST], count = 0, best = UINT16_MAX, best_depth = UINT16_MAX;
  bool seen[NODES_MOST] = {false};
  queue[count] = from;
  depth[count++] = 0;
  seen[from] = true;
  for (uint16_t i = 0; i < count && depth[i] <= best_depth; i++) {
    uint16_t p = t->point_of[queue[i]];
    if (p != UINT16_MAX && (best == UINT16_MAX || (lu_point_in(&t->w->drivers, p) && !lu_point_in(&t->w->drivers, best)))) {
      best = p;
      best_depth = depth[i];
    }
    for (uint16_t e = 0; e < t->edge_count; e++) {
      const edge *x = &t->edges[e];
      uint16_t to = x->a == queue[i] ? x->b : x->b == queue[i] ? x->a : UINT16_MAX;
      if (e != skip && to != UINT16_MAX && !seen[to]) {
        seen[to] = true;
        queue[count] = to;
        depth[count++] = (uint16_t)(depth[i] + 1);
      }
    }
  }
  return best;
}

static bool splits(const lu_wire *w, const lu_point_set *s)
{
  size_t in = 0;
  for (size_t i = 0; i < w->point_count; i++)
    in += lu_point_in(s, i);
  return in && in < w->point_count;
}

static void gather_hops(tree *t)
{
  lu_wire *w = t->w;
  for (uint16_t e = 0; e < t->edge_count; e++) {
    walk_behind(t, e);
    if (!splits(w, &t->below[e]))
      continue;
    size_t k = 0;
    while (k < w->hop_count && !same_cut(w, &w->hops[k].cut, &t->below[e]))
      k++;
    if (k < w->hop_count) {
      w->hops[k].prior += t->edges[e].prior;
      if (w->hops[k].kind != t->edges[e].kind)
        w->hops[k].kind = LU_HOP_SEVERAL;
      continue;
    }
    if (w->hop_count == w->hop_room)
      return;
    uint16_t a = nearest_point(t, t->edges[e].a, e), b = nearest_point(t, t->edges[e].b, e);
    w->hops[w->hop_count++] = (lu_hop){.kind = t->edges[e].kind, .a = a, .b = b, .prior = t->edges[e].prior, .cut = t->below[e]};
  }
}

lu_status lu_wire_of(const lu_board *b, const lu_priors *p, uint32_t net, const uint32_t *pins, size_t pin_count,
                     const uint32_t *drivers, size_t driver_count, lu_arena *mem, lu_wire *out, lu_err *err)
{
  const lu_net *n = &b->nets[net];
  if (2 * n->pin_count > LU_POINTS_MOST)
    return lu_fail(err, LU_ERR_LIMIT, 0, 0, "net %.80s has %u pins; at most %d are followed hop by hop", n->name, n->pin_count,
                   LU_POINTS_MOST / 2);
  tree *t = LU_NEW(mem, tree, 1);
  *out = (lu_wire){.net = net, .hop_room = LU_HOPS_MOST};
  out->points = LU_NEW(mem, lu_point, LU_POINTS_MOST);
  out->hops = LU_NEW(mem, lu_hop, LU_HOPS_MOST);
  if (!t || !out->points || !out->hops)
    return lu_fail(err, LU_ERR_NOMEM, 0, 0, "no room for the hops of a net");
  *t = (tree){.board = b, .p = p, .w = out};
  for (uint32_t i = 0; i < n->pin_count; i++) {
    uint32_t pin = b->net_pins[n->first_pin + i];
    add_pin(t, pin, !pin_count || among(pins, pin_count, pin),
            driver_count ? among(drivers, driver_count, pin) : drives(b, pin));
  }
  find_places(t);
  lay_tracks(t);
  gather_hops(t);
  return LU_OK;
}

size_t lu_wire_point(const lu_wire *w, const lu_point *p)
{
  for (size_t i = 0; i < w->point_count; i++)
    if (w->points[i].at == p->at && w->points[i].pin == p->pin && w->points[i].place == p->place)
      return i;
  return SIZE_MAX;
}

size_t lu_wire_cut(lu_wire *w, const lu_board *b, const uint32_t *pins, size_t count, double prior)
{
  (void)b;
  lu_hop h = {.kind = LU_HOP_TRACK, .a = UINT16_MAX, .b = UINT16_MAX, .prior = prior};
  for (size_t i = 0; i < w->point_count; i++) {
    bool off = w->points[i].pin != LU_NONE && among(pins, count, w->points[i].pin);
    if (off)
      put(&h.cut, i);
    uint16_t *end = off ? &h.b : &h.a;
    if (*end == UINT16_MAX || (!off && lu_point_in(&w->drivers, i) && !lu_point_in(&w->drivers, *end)))
      *end = (uint16_t)i;
  }
  for (size_t k = 0; k < w->hop_count; k++)
    if (same_cut(w, &w->hops[k].cut, &h.cut))
      return k;
  if (w->hop_count == w->hop_room || h.a == UINT16_MAX || h.b == UINT16_MAX)
    return SIZE_MAX;
  w->hops[w->hop_count] = h;
  return w->hop_count++;
}

/* --- names -------------------------------------------------------------------------------------------- */

const char *lu_point_name(const lu_board *b, const lu_point *p, lu_arena *mem)
{
  switch ((lu_at)p->at) {
  case LU_AT_PIN:
    return b->pins[p->pin].name;
  case LU_AT_LEG:
    return lu_arena_printf(mem, "%s:leg", b->pins[p->pin].name);
  case LU_AT_PAD:
    return lu_arena_printf(mem, "%s:pad", b->pins[p->pin].name);
  case LU_AT_VIA:
    return lu_arena_printf(mem, "%s@%g,%g", b->nets[p->net].name, b->netlist->places[p->place].x_mm, b->netlist->places[p->place].y_mm);
  case LU_AT_NET:
    return b->nets[p->net].name;
  }
  return "?";
}

static lu_status pin_point(const lu_board *b, uint32_t pin, const char *side, lu_point *out, lu_err *err)
{
  const lu_part *part = &b->parts[b->pins[pin].part];
  if (side && !part->socketed)
    return lu_fail(err, LU_ERR_VALUE, 0, 0, "%s sits in no socket: %s has one point, without :%s", part->ref, b->pins[pin].name, side);
  if (b->pins[pin].net == LU_NONE)
    return lu_fail(err, LU_ERR_VALUE, 0, 0, "%s is on no net", b->pins[pin].name);
  lu_at at = !part->socketed ? LU_AT_PIN : side && !strcmp(side, "pad") ? LU_AT_PAD : LU_AT_LEG;
  *out = (lu_point){(uint8_t)at, b->pins[pin].net, pin, LU_NONE};
  return LU_OK;
}

/* "NET@x,y": the via of the net at that place, to a tenth of a millimetre. */
static lu_status via_point(const lu_board *b, const char *name, const char *sign, lu_point *out, lu_err *err)
{
  char net[256], *end = NULL;
  if ((size_t)(sign - name) >= sizeof net)
    return lu_fail(err, LU_ERR_MISSING, 0, 0, "no net of so long a name");
  memcpy(net, name, (size_t)(sign - name));
  net[sign - name] = '\0';
  uint32_t n = lu_board_net(b, net);
  double x = strtod(sign + 1, &end), y = *end == ',' ? strtod(end + 1, &end) : NAN;
  if (n == LU_NONE || *end || !(x == x) || !(y == y))
    return lu_fail(err, LU_ERR_MISSING, 0, 0, "'%.80s': expected a via as NET@X,Y in millimetres", name);
  uint32_t in_layout = layout_net(b, n);
  double least = INFINITY;
  const lu_net_place *near = NULL;
  for (size_t i = 0; in_layout != LU_NONE && i < b->netlist->place_count; i++) {
    const lu_net_place *q = &b->netlist->places[i];
    if (q->net != in_layout || !q->via)
      continue;
    if (fabs(q->x_mm - x) < 0.1 && fabs(q->y_mm - y) < 0.1) {
      *out = (lu_point){LU_AT_VIA, n, LU_NONE, (uint32_t)i};
      return LU_OK;
    }
    if (hypot(q->x_mm - x, q->y_mm - y) < least) {
      least = hypot(q->x_mm - x, q->y_mm - y);
      near = q;
    }
  }
  return near ? lu_fail(err, LU_ERR_MISSING, 0, 0, "net %.80s has no via at %g, %g mm; the nearest is %.80s@%g,%g", net, x, y, net, near->x_mm, near->y_mm)
              : lu_fail(err, LU_ERR_MISSING, 0, 0, "net %.80s has no via at %g, %g mm, nor any other that the layout knows", net, x, y);
}

/* A pin that the part has not: its first and last, and what comes nearest among numbers and functions. */
static lu_status unknown_pin(const lu_board *b, uint32_t part, const char *pin, lu_err *err)
{
  enum { NAMES_MOST = 512 };
  const char *names[NAMES_MOST] = {0}, *first = NULL, *last = NULL;
  const lu_part *x = &b->parts[part];
  size_t n = 0;
  for (uint32_t i = 0; i < x->pin_count; i++) {
    const lu_pin *p = &b->pins[b->part_pins[x->first_pin + i]];
    first = !first || lu_text_order(p->number, first) < 0 ? p->number : first;
    last = !last || lu_text_order(p->number, last) > 0 ? p->number : last;
    if (n + 2 > NAMES_MOST)
      continue;
    names[n++] = p->number;
    if (p->function && strcmp(p->function, p->number))
      names[n++] = p->function;
  }
  const char *near = lu_text_nearest(pin, names, n);
  return lu_fail(err, LU_ERR_MISSING, 0, 0, "%s has no pin '%.60s'; its pins go from %s to %s%s%s%s%s", x->ref, pin, first ? first : "?", last ? last : "?",
                 near ? "; the nearest is " : "", near ? x->ref : "", near ? "." : "", near ? near : "");
}

static lu_status unknown_point(const lu_board *b, const char *name, lu_err *err)
{
  const char *dot = strchr(name, '.');
  char ref[64];
  if (dot && (size_t)(dot - name) < sizeof ref) {
    memcpy(ref, name, (size_t)(dot - name));
    ref[dot - name] = '\0';
    uint32_t part = lu_board_part(b, ref);
    const char *near = part == LU_NONE ? lu_board_nearest_part(b, ref) : NULL;
    if (part != LU_NONE)
      return unknown_pin(b, part, dot + 1, err);
    if (near)
      return lu_fail(err, LU_ERR_MISSING, 0, 0, "no part '%.60s'; the nearest is %s", ref, near);
  }
  const char *net = lu_board_nearest_net(b, name);
  return lu_fail(err, LU_ERR_MISSING, 0, 0, "no point '%.80s': expected REF.PIN, REF.PIN:leg, REF.PIN:pad, a net or NET@X,Y%s%s", name,
                 net ? "; the nearest net is " : "", net ? net : "");
}

lu_status lu_point_named(const lu_board *b, const char *name, lu_point *out, lu_err *err)
{
  char base[256];
  const char *colon = strrchr(name, ':'), *side = NULL;
  uint32_t net = lu_board_net(b, name);
  if (net != LU_NONE) {
    *out = (lu_point){LU_AT_NET, net, LU_NONE, LU_NONE};
    return LU_OK;
  }
  size_t len = strlen(name);
  if (colon && (!strcmp(colon, ":leg") || !strcmp(colon, ":pad"))) {
    side = colon + 1;
    len = (size_t)(colon - name);
  }
  if (len >= sizeof base)
    return lu_fail(err, LU_ERR_MISSING, 0, 0, "no point of so long a name");
  memcpy(base, name, len);
  base[len] = '\0';
  uint32_t pin = lu_board_pin(b, base);
  if (pin != LU_NONE)
    return pin_point(b, pin, side, out, err);
  if (colon && !side && (size_t)(colon - name) < sizeof base) {
    base[colon - name] = '\0';
    if (lu_board_pin(b, base) != LU_NONE)
      return lu_fail(err, LU_ERR_MISSING, 0, 0, "'%.80s': expected :leg or :pad after the pin, found '%.40s'", name, colon);
    base[colon - name] = ':';
  }
  const char *sign = strrchr(name, '@');
  return sign ? via_point(b, name, sign, out, err) : unknown_point(b, base, err);
}
