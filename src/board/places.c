/* SPDX-License-Identifier: MIT */
#include "board/places.h"

#include "base/map.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

enum { NAME_MOST = 300 };
static const double SAME_MM = 0.03; /* two ends so near are one point: ten steps of the finest unit */

typedef struct builder {
  const lu_board *b;
  const lu_netlist *n;
  lu_arena *mem;
  lu_places *p;
  size_t point_room, piece_room;
  uint32_t *place_net, *place_pin;   /* by place: board net, board pin */
  uint32_t *place_first, *place_of;  /* places in order of nets */
  uint32_t *track_first, *track_of;  /* tracks in order of nets */
  uint32_t *net_of;                  /* netlist net -> board net */
} builder;

double lu_distance_to_piece(double x, double y, double ax, double ay, double bx, double by)
{
  double dx = bx - ax, dy = by - ay, len2 = dx * dx + dy * dy;
  double t = len2 > 0 ? ((x - ax) * dx + (y - ay) * dy) / len2 : 0;
  t = t < 0 ? 0 : t > 1 ? 1 : t;
  return hypot(x - (ax + t * dx), y - (ay + t * dy));
}

/* --- names to indexes ------------------------------------------------------------------------------- */

static bool find_nets(builder *k)
{
  k->net_of = LU_NEW(k->mem, uint32_t, k->n->net_count + 1);
  for (uint32_t i = 0; k->net_of && i < k->n->net_count; i++) {
    const char *name = k->n->nets[i].name;
    k->net_of[i] = i < k->b->net_count && !strcmp(k->b->nets[i].name, name) ? i : lu_board_net(k->b, name);
  }
  return k->net_of;
}

static bool find_pins(builder *k)
{
  lu_map pins = {.mem = k->mem};
  uint32_t there;
  for (uint32_t i = 0; i < k->b->pin_count; i++)
    if (!lu_map_add(&pins, k->b->pins[i].name, i, &there))
      return false;
  k->place_net = LU_NEW(k->mem, uint32_t, k->n->place_count + 1);
  k->place_pin = LU_NEW(k->mem, uint32_t, k->n->place_count + 1);
  if (!k->place_net || !k->place_pin)
    return false;
  for (size_t i = 0; i < k->n->place_count; i++) {
    const lu_net_place *q = &k->n->places[i];
    char name[NAME_MOST];
    k->place_pin[i] = LU_NONE;
    k->place_net[i] = q->net < k->n->net_count ? k->net_of[q->net] : LU_NONE;
    if (q->part == UINT32_MAX || !q->number)
      continue;
    int len = snprintf(name, sizeof name, "%s.%s", k->n->parts[q->part].ref, q->number);
    if (len > 0 && len < NAME_MOST)
      k->place_pin[i] = lu_map_get(&pins, name);
    if (k->place_pin[i] != LU_NONE) /* the board file may have moved it */
      k->place_net[i] = k->b->pins[k->place_pin[i]].net;
  }
  return true;
}

/* Items in order of their nets: of_net[i] -> first[net_count + 1], order. */
static bool by_net(builder *k, const uint32_t *of_net, size_t count, uint32_t **first, uint32_t **order)
{
  uint32_t *f = LU_NEW(k->mem, uint32_t, k->b->net_count + 2), *o = LU_NEW(k->mem, uint32_t, count + 1);
  if (!f || !o)
    return false;
  for (size_t i = 0; i < count; i++)
    if (of_net[i] != LU_NONE)
      f[of_net[i] + 2]++;
  for (size_t i = 2; i < k->b->net_count + 2; i++)
    f[i] += f[i - 1];
  for (uint32_t i = 0; i < count; i++)
    if (of_net[i] != LU_NONE)
      o[f[of_net[i] + 1]++] = i;
  *first = f;
  *order = o;
  return true;
}

static bool sort_tracks(builder *k)
{
  uint32_t *net = LU_NEW(k->mem, uint32_t, k->n->track_count + 1);
  for (size_t i = 0; net && i < k->n->track_count; i++)
    net[i] = k->n->tracks[i].net < k->n->net_count ? k->net_of[k->n->tracks[i].net] : LU_NONE;
  return net && by_net(k, net, k->n->track_count, &k->track_first, &k->track_of);
}

/* --- points ----------------------------------------------------------------------------------------- */

static bool add_point(builder *k, const lu_point *q)
{
  lu_point *at = lu_arena_grow(k->mem, k->p->points, k->p->point_count, &k->point_room, sizeof *at);
  if (!at)
    return false;
  k->p->points = at;
  at[k->p->point_count++] = *q;
  k->p->nets[q->net].point_count++;
  return true;
}

static bool add_place(builder *k, uint32_t net, uint32_t place)
{
  const lu_net_place *q = &k->n->places[place];
  lu_net_points *w = &k->p->nets[net];
  bool through = q->hole_mm > 0 || q->access == 0 || q->via;
  lu_point x = {.x_mm = q->x_mm,
                .y_mm = q->y_mm,
                .reach_mm = fmax(q->width_mm, q->height_mm) / 2,
                .net = net,
                .pin = k->place_pin[place],
                .kind = k->place_pin[place] != LU_NONE ? LU_POINT_PIN : q->via ? LU_POINT_VIA : LU_POINT_MID,
                .layer = through ? 0 : q->access,
                .through = through};
  for (uint32_t i = 0; x.pin != LU_NONE && i < w->point_count; i++) { /* both sides of one pad, told apart */
    lu_point *o = &k->p->points[w->first_point + i];
    if (o->pin != x.pin || hypot(o->x_mm - x.x_mm, o->y_mm - x.y_mm) > SAME_MM)
      continue;
    if (o->layer != x.layer) {
      o->layer = 0;
      o->through = true;
    }
    return true;
  }
  uint32_t *first = x.pin == LU_NONE ? NULL : &k->p->pin_point[x.pin];
  if (first && *first == LU_NONE)
    *first = (uint32_t)k->p->point_count;
  return add_point(k, &x);
}

static bool on_layer(const lu_point *x, uint8_t layer)
{
  return !x->layer || !layer || x->layer == layer;
}

/* The end of a track: a point that is there, or a bend. */
static bool add_end(builder *k, uint32_t net, double x, double y, uint8_t layer)
{
  const lu_net_points *w = &k->p->nets[net];
  for (uint32_t i = 0; i < w->point_count; i++) {
    const lu_point *o = &k->p->points[w->first_point + i];
    double reach = o->kind == LU_POINT_BEND ? SAME_MM : fmax(o->reach_mm, SAME_MM);
    if (on_layer(o, layer) && hypot(o->x_mm - x, o->y_mm - y) <= reach)
      return true;
  }
  lu_point bend = {.x_mm = x, .y_mm = y, .net = net, .pin = LU_NONE, .kind = LU_POINT_BEND, .layer = layer};
  return add_point(k, &bend);
}

/* --- pieces ----------------------------------------------------------------------------------------- */

static uint32_t root(uint32_t *up, uint32_t i)
{
  while (up[i] != i)
    i = up[i] = up[up[i]];
  return i;
}

static bool add_piece(builder *k, uint32_t a, uint32_t b, uint8_t layer, bool given)
{
  lu_places *p = k->p;
  lu_piece *at = lu_arena_grow(k->mem, p->pieces, p->piece_count, &k->piece_room, sizeof *at);
  if (!at)
    return false;
  const lu_point *x = &p->points[a], *y = &p->points[b];
  if (!layer && x->layer == y->layer)
    layer = x->layer; /* two surface pads of one side */
  p->pieces = at;
  at[p->piece_count++] = (lu_piece){a, b, hypot(x->x_mm - y->x_mm, x->y_mm - y->y_mm), layer, given};
  p->nets[x->net].piece_count++;
  return true;
}

typedef struct on_track {
  double t;
  uint32_t point;
} on_track;

static size_t points_on(const lu_places *p, const lu_net_points *w, const lu_net_line *l, on_track *out)
{
  size_t count = 0;
  double dx = l->x2_mm - l->x1_mm, dy = l->y2_mm - l->y1_mm, len2 = dx * dx + dy * dy;
  for (uint32_t i = 0; i < w->point_count; i++) {
    const lu_point *q = &p->points[w->first_point + i];
    double reach = q->kind == LU_POINT_BEND ? fmax(SAME_MM, l->width_mm / 2) : fmax(q->reach_mm, SAME_MM);
    if (!on_layer(q, l->layer) ||
        lu_distance_to_piece(q->x_mm, q->y_mm, l->x1_mm, l->y1_mm, l->x2_mm, l->y2_mm) > reach)
      continue;
    on_track x = {len2 > 0 ? ((q->x_mm - l->x1_mm) * dx + (q->y_mm - l->y1_mm) * dy) / len2 : 0, w->first_point + i};
    size_t at = count++;
    for (; at && out[at - 1].t > x.t; at--)
      out[at] = out[at - 1];
    out[at] = x;
  }
  return count;
}

/* The tracks of the layout, cut at each point that lies on them; what closes a ring is left out. */
static bool take_tracks(builder *k, uint32_t net, uint32_t *up, on_track *room)
{
  const lu_net_points *w = &k->p->nets[net];
  for (uint32_t t = k->track_first[net]; t < k->track_first[net + 1]; t++) {
    const lu_net_line *l = &k->n->tracks[k->track_of[t]];
    size_t n = points_on(k->p, w, l, room);
    for (size_t i = 1; i < n; i++) {
      uint32_t a = room[i - 1].point - w->first_point, b = room[i].point - w->first_point;
      uint32_t ra = root(up, a), rb = root(up, b);
      if (ra == rb)
        continue;
      up[rb] = ra;
      if (!add_piece(k, room[i - 1].point, room[i].point, l->layer, true))
        return false;
    }
  }
  return true;
}

typedef struct tree {
  double *best;       /* distance to the tree so far */
  uint32_t *from;     /* and the point of it that is so near */
  uint32_t *chain;    /* points joined by tracks: a ring each */
  bool *in;
} tree;

static void take_in(const builder *k, const lu_net_points *w, tree *t, uint32_t start)
{
  const lu_point *at = k->p->points + w->first_point;
  uint32_t i = start;
  do {
    t->in[i] = true;
    for (uint32_t j = 0; j < w->point_count; j++) {
      double dx = at[i].x_mm - at[j].x_mm, dy = at[i].y_mm - at[j].y_mm, d = dx * dx + dy * dy;
      if (d < t->best[j]) {
        t->best[j] = d;
        t->from[j] = i;
      }
    }
    i = t->chain[i];
  } while (i != start);
}

/* Prim's algorithm, with whole groups of joined points taken in at once. */
static bool join_rest(builder *k, uint32_t net, uint32_t *up, tree *t)
{
  const lu_net_points *w = &k->p->nets[net];
  uint32_t n = w->point_count;
  for (uint32_t i = 0; i < n; i++) {
    t->best[i] = INFINITY;
    t->in[i] = false;
    t->chain[i] = i;
  }
  for (uint32_t i = 0; i < n; i++) {
    uint32_t r = root(up, i), next = t->chain[r];
    if (r != i) {
      t->chain[r] = i;
      t->chain[i] = next;
    }
  }
  take_in(k, w, t, 0);
  for (;;) {
    uint32_t near = LU_NONE;
    for (uint32_t i = 0; i < n; i++)
      if (!t->in[i] && (near == LU_NONE || t->best[i] < t->best[near]))
        near = i;
    if (near == LU_NONE)
      return true;
    if (!add_piece(k, w->first_point + t->from[near], w->first_point + near, 0, false))
      return false;
    take_in(k, w, t, near);
  }
}

typedef struct scratch {
  uint32_t room;
  uint32_t *up;
  on_track *on;
  tree t;
} scratch;

static bool scratch_for(builder *k, scratch *s, uint32_t n)
{
  if (n <= s->room)
    return true;
  s->room = n > 2 * s->room ? n : 2 * s->room;
  s->up = LU_NEW(k->mem, uint32_t, s->room);
  s->on = LU_NEW(k->mem, on_track, s->room);
  s->t = (tree){LU_NEW(k->mem, double, s->room), LU_NEW(k->mem, uint32_t, s->room), LU_NEW(k->mem, uint32_t, s->room),
                LU_NEW(k->mem, bool, s->room)};
  return s->up && s->on && s->t.best && s->t.from && s->t.chain && s->t.in;
}

static bool build_net(builder *k, uint32_t net, scratch *s)
{
  lu_places *p = k->p;
  lu_net_points *w = &p->nets[net];
  w->first_point = (uint32_t)p->point_count;
  w->first_piece = (uint32_t)p->piece_count;
  for (uint32_t i = k->place_first[net]; i < k->place_first[net + 1]; i++)
    if (!add_place(k, net, k->place_of[i]))
      return false;
  uint32_t tracks = k->track_first[net + 1] - k->track_first[net];
  if (w->point_count + (uint64_t)tracks * 2 > LU_TREE_POINTS_MOST) {
    p->bare_nets++;
    return true;
  }
  for (uint32_t i = k->track_first[net]; i < k->track_first[net + 1]; i++) {
    const lu_net_line *l = &k->n->tracks[k->track_of[i]];
    if (!add_end(k, net, l->x1_mm, l->y1_mm, l->layer) || !add_end(k, net, l->x2_mm, l->y2_mm, l->layer))
      return false;
  }
  if (w->point_count < 2)
    return true;
  if (!scratch_for(k, s, w->point_count))
    return false;
  for (uint32_t i = 0; i < w->point_count; i++)
    s->up[i] = i;
  return take_tracks(k, net, s->up, s->on) && join_rest(k, net, s->up, &s->t);
}

/* --- the whole -------------------------------------------------------------------------------------- */

static void stretch_box(lu_places *p, double x, double y)
{
  p->least_mm[0] = fmin(p->least_mm[0], x);
  p->least_mm[1] = fmin(p->least_mm[1], y);
  p->most_mm[0] = fmax(p->most_mm[0], x);
  p->most_mm[1] = fmax(p->most_mm[1], y);
}

static void measure(builder *k)
{
  lu_places *p = k->p;
  p->least_mm[0] = p->least_mm[1] = INFINITY;
  p->most_mm[0] = p->most_mm[1] = -INFINITY;
  p->solder_layer = 2;
  for (size_t i = 0; i < p->point_count; i++) {
    const lu_point *q = &p->points[i];
    stretch_box(p, q->x_mm, q->y_mm);
    if (q->layer > p->solder_layer)
      p->solder_layer = q->layer;
    if (q->pin == LU_NONE)
      continue;
    uint32_t part = k->b->pins[q->pin].part;
    p->part_at[part][0] += q->x_mm;
    p->part_at[part][1] += q->y_mm;
    p->part_points[part]++;
  }
  for (size_t i = 0; i < k->n->track_count; i++)
    if (k->n->tracks[i].layer > p->solder_layer)
      p->solder_layer = k->n->tracks[i].layer;
  for (size_t i = 0; i < k->n->edge_count; i++) {
    stretch_box(p, k->n->edges[i].x1_mm, k->n->edges[i].y1_mm);
    stretch_box(p, k->n->edges[i].x2_mm, k->n->edges[i].y2_mm);
  }
  for (size_t i = 0; i < k->b->part_count; i++)
    for (int a = 0; p->part_points[i] && a < 2; a++)
      p->part_at[i][a] /= p->part_points[i];
}

static bool build(builder *k)
{
  lu_places *p = k->p = LU_NEW(k->mem, lu_places, 1);
  if (!p)
    return false;
  p->nets = LU_NEW(k->mem, lu_net_points, k->b->net_count + 1);
  p->pin_point = LU_NEW(k->mem, uint32_t, k->b->pin_count + 1);
  p->part_at = lu_arena_array(k->mem, k->b->part_count + 1, sizeof *p->part_at);
  p->part_points = LU_NEW(k->mem, uint32_t, k->b->part_count + 1);
  if (!p->nets || !p->pin_point || !p->part_at || !p->part_points)
    return false;
  memset(p->pin_point, 0xff, k->b->pin_count * sizeof *p->pin_point);
  if (!find_nets(k) || !find_pins(k) || !by_net(k, k->place_net, k->n->place_count, &k->place_first, &k->place_of) ||
      !sort_tracks(k))
    return false;
  scratch s = {0};
  for (uint32_t i = 0; i < k->b->net_count; i++)
    if (!build_net(k, i, &s))
      return false;
  measure(k);
  return true;
}

lu_status lu_places_build(const lu_board *b, lu_arena *mem, const lu_places **out, lu_err *err)
{
  builder k = {.b = b, .n = b->netlist, .mem = mem};
  *out = NULL;
  if (!b->netlist || !b->netlist->place_count)
    return LU_OK;
  if (!build(&k))
    return lu_fail(err, LU_ERR_NOMEM, 0, 0, "no room for the layout");
  *out = k.p;
  return LU_OK;
}
