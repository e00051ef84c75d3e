/* SPDX-License-Identifier: MIT */
#include "reason/wires.h"

#include <math.h>
#include <string.h>

enum { CHOICES_MOST = 48 };
static const double LONGER = 1.5, LONGER_MM = 5; /* how much longer a wire may be to stay clear of others */

/* --- groups -------------------------------------------------------------------------------------------- */

static uint32_t root(uint32_t *up, uint32_t i)
{
  while (up[i] != i)
    i = up[i] = up[up[i]];
  return i;
}

/* Joins the net's points by its pieces, but for those where it must be broken. */
static uint32_t *join_points(const lu_places *p, uint32_t net, const lu_stretch *s, size_t breaks, lu_arena *mem)
{
  const lu_net_points *w = &p->nets[net];
  uint32_t *up = LU_NEW(mem, uint32_t, w->point_count + 1);
  bool *broken = LU_NEW(mem, bool, w->piece_count + 1);
  if (!up || !broken)
    return NULL;
  for (uint32_t i = 0; i < w->point_count; i++)
    up[i] = i;
  for (size_t i = 0; i < breaks; i++)
    for (size_t j = 0; j < s[i].piece_count; j++)
      broken[s[i].pieces[j] - w->first_piece] = true;
  for (uint32_t i = 0; i < w->piece_count; i++)
    if (!broken[i]) {
      const lu_piece *q = &p->pieces[w->first_piece + i];
      up[root(up, q->a - w->first_point)] = root(up, q->b - w->first_point);
    }
  return up;
}

typedef struct grouping {
  lu_cut_net *out;
  uint32_t key[LU_CUT_GROUPS_MOST]; /* root of the points, or LU_NONE - 1, - 2 for pins without a place */
  uint32_t *pins[LU_CUT_GROUPS_MOST];
  size_t room;                      /* of each list */
} grouping;

static lu_status put_pin(grouping *g, uint32_t key, uint32_t pin, lu_arena *mem, lu_err *err)
{
  size_t i = 0;
  while (i < g->out->group_count && g->key[i] != key)
    i++;
  if (i == LU_CUT_GROUPS_MOST)
    return lu_fail(err, LU_ERR_LIMIT, 0, 0, "a net in more than %d pieces", LU_CUT_GROUPS_MOST);
  if (i == g->out->group_count) {
    g->pins[i] = LU_NEW(mem, uint32_t, g->room);
    if (!g->pins[i])
      return lu_fail(err, LU_ERR_NOMEM, 0, 0, "no room for the groups");
    g->key[i] = key;
    g->out->groups[i] = (lu_pin_group){0, g->pins[i]};
    g->out->group_count++;
  }
  g->pins[i][g->out->groups[i].count++] = pin;
  return LU_OK;
}

static lu_status put_all(grouping *g, const lu_board *b, uint32_t *up, const uint32_t *pins, size_t count, bool cut, lu_arena *mem,
                         lu_err *err)
{
  lu_status bad = LU_OK;
  for (size_t i = 0; !bad && i < count; i++) {
    uint32_t point = up && b->places ? b->places->pin_point[pins[i]] : LU_NONE, key = LU_NONE - 1 - cut;
    if (point != LU_NONE && b->places->points[point].net == g->out->net)
      key = root(up, point - b->places->nets[g->out->net].first_point);
    bad = put_pin(g, key, pins[i], mem, err);
  }
  return bad;
}

lu_status lu_wires_groups(const lu_board *b, uint32_t net, const uint32_t *cut, size_t cut_count, const uint32_t *rest,
                          size_t rest_count, lu_arena *mem, lu_cut_net *out, lu_err *err)
{
  lu_stretch *s = NULL;
  size_t breaks = 0;
  uint32_t *up = NULL;
  lu_status bad = LU_OK;
  if (b->places)
    bad = lu_places_stretches(b->places, net, cut, cut_count, rest, rest_count, mem, &s, &breaks, err);
  if (bad)
    return bad;
  if (breaks && !(up = join_points(b->places, net, s, breaks, mem)))
    return lu_fail(err, LU_ERR_NOMEM, 0, 0, "no room for the groups");
  grouping g = {.out = out, .room = cut_count + rest_count + 1};
  *out = (lu_cut_net){.net = net, .groups = LU_NEW(mem, lu_pin_group, LU_CUT_GROUPS_MOST)};
  if (!out->groups)
    return lu_fail(err, LU_ERR_NOMEM, 0, 0, "no room for the groups");
  bad = put_all(&g, b, up, rest, rest_count, false, mem, err);
  return bad ? bad : put_all(&g, b, up, cut, cut_count, true, mem, err);
}

/* --- one net ------------------------------------------------------------------------------------------- */

typedef struct choice {
  uint32_t from, to; /* points */
  double length_mm;
  uint8_t side;
} choice;

/* The best ways between two groups, best first. */
typedef struct choices {
  size_t count;
  choice at[CHOICES_MOST];
} choices;

typedef struct planner {
  const lu_board *b;
  const lu_places *p;
  lu_arena *mem;
  lu_err *err;
  lu_wire *wires;
  choices *others; /* by wire: what else could be taken */
  size_t count, room, other_room;
} planner;

static bool better(const choice *a, const choice *b)
{
  if (a->side != b->side)
    return a->side < b->side;
  if (a->length_mm != b->length_mm)
    return a->length_mm < b->length_mm;
  return a->from != b->from ? a->from < b->from : a->to < b->to;
}

static void keep(choices *k, choice c)
{
  if (k->count == CHOICES_MOST && !better(&c, &k->at[k->count - 1]))
    return;
  size_t at = k->count < CHOICES_MOST ? k->count++ : k->count - 1;
  for (; at && better(&c, &k->at[at - 1]); at--)
    k->at[at] = k->at[at - 1];
  k->at[at] = c;
}

static bool reachable(const lu_point *q)
{
  return q->kind == LU_POINT_PIN || q->kind == LU_POINT_VIA || (q->kind == LU_POINT_MID && q->through);
}

static lu_wire_side side_of(const lu_places *p, const lu_point *a, const lu_point *b)
{
  if ((a->through || a->layer == p->solder_layer) && (b->through || b->layer == p->solder_layer))
    return LU_WIRE_SOLDER;
  if ((a->through || a->layer == 1) && (b->through || b->layer == 1))
    return LU_WIRE_COMPONENT;
  return LU_WIRE_BOTH;
}

/* All pairs of points of groups g and h (numbered from 1). */
static void find_choices(const planner *k, uint32_t net, const uint16_t *group, unsigned g, unsigned h, choices *out)
{
  const lu_net_points *w = &k->p->nets[net];
  out->count = 0;
  for (uint32_t i = 0; i < w->point_count; i++) {
    const lu_point *a = &k->p->points[w->first_point + i];
    if (group[i] != g || !reachable(a))
      continue;
    for (uint32_t j = 0; j < w->point_count; j++) {
      const lu_point *b = &k->p->points[w->first_point + j];
      if (group[j] == h && reachable(b))
        keep(out, (choice){w->first_point + i, w->first_point + j, hypot(a->x_mm - b->x_mm, a->y_mm - b->y_mm),
                           (uint8_t)side_of(k->p, a, b)});
    }
  }
}

static lu_status add_wire(planner *k, uint32_t net, const choices *c)
{
  lu_wire *w = lu_arena_grow(k->mem, k->wires, k->count, &k->room, sizeof *w);
  choices *o = lu_arena_grow(k->mem, k->others, k->count, &k->other_room, sizeof *o);
  if (!w || !o)
    return lu_fail(k->err, LU_ERR_NOMEM, 0, 0, "no room for the wires");
  k->wires = w;
  k->others = o;
  w[k->count] = (lu_wire){.net = net, .from = LU_NONE, .to = LU_NONE, .from_pin = LU_NONE, .to_pin = LU_NONE, .crosses = LU_NONE};
  o[k->count] = *c;
  k->count++;
  return LU_OK;
}

/* Without a layout any pin of a group does: the first of each. */
static lu_status wires_by_name(planner *k, const lu_cut_net *cut)
{
  static const choices none = {0};
  for (size_t g = 1; g < cut->group_count; g++) {
    lu_status bad = add_wire(k, cut->net, &none);
    if (bad)
      return bad;
    k->wires[k->count - 1].from_pin = cut->groups[0].pins[0];
    k->wires[k->count - 1].to_pin = cut->groups[g].pins[0];
  }
  return LU_OK;
}

/* Prim over the groups: the next wire is the best one from what is joined to what is not. */
static lu_status span_groups(planner *k, const lu_cut_net *cut, const uint16_t *group)
{
  size_t n = cut->group_count;
  bool in[LU_CUT_GROUPS_MOST] = {false};
  choices *now = LU_NEW(k->mem, choices, n + 1), *spare = LU_NEW(k->mem, choices, 1); /* by group: ways to what is joined */
  if (!now || !spare)
    return lu_fail(k->err, LU_ERR_NOMEM, 0, 0, "no room for the wires");
  size_t last = 0;
  in[0] = true;
  for (size_t step = 1; step < n; step++) {
    size_t next = SIZE_MAX;
    for (size_t g = 0; g < n; g++) {
      if (in[g])
        continue;
      find_choices(k, cut->net, group, (unsigned)last + 1, (unsigned)g + 1, spare);
      if (spare->count && (!now[g].count || better(&spare->at[0], &now[g].at[0])))
        now[g] = *spare;
      if (now[g].count && (next == SIZE_MAX || better(&now[g].at[0], &now[next].at[0])))
        next = g;
    }
    if (next == SIZE_MAX)
      return LU_OK; /* the rest has no place */
    lu_status bad = add_wire(k, cut->net, &now[next]);
    if (bad)
      return bad;
    in[next] = true;
    last = next;
  }
  return LU_OK;
}

static bool has_place(const lu_net_points *w, const uint16_t *group, size_t number)
{
  for (uint32_t i = 0; i < w->point_count; i++)
    if (group[i] == number)
      return true;
  return false;
}

static lu_status plan_net(planner *k, const lu_cut_net *cut)
{
  if (cut->group_count > LU_CUT_GROUPS_MOST)
    return lu_fail(k->err, LU_ERR_LIMIT, 0, 0, "a net in more than %d pieces", LU_CUT_GROUPS_MOST);
  if (!k->p)
    return wires_by_name(k, cut);
  const lu_net_points *w = &k->p->nets[cut->net];
  uint16_t *group = LU_NEW(k->mem, uint16_t, w->point_count + 1);
  lu_pin_group *placed = LU_NEW(k->mem, lu_pin_group, cut->group_count + 1);
  if (!group || !placed || !lu_places_groups(k->p, cut->net, cut->groups, cut->group_count, k->mem, group))
    return lu_fail(k->err, LU_ERR_NOMEM, 0, 0, "no room for the wires");
  lu_cut_net known = {.net = cut->net, .groups = placed};
  for (size_t g = 0; g < cut->group_count; g++)
    if (has_place(w, group, g + 1)) {
      for (uint32_t i = 0; i < w->point_count; i++)
        if (group[i] == g + 1)
          group[i] = (uint16_t)(known.group_count + 1);
      placed[known.group_count++] = cut->groups[g];
    }
  return known.group_count < 2 ? LU_OK : span_groups(k, &known, group);
}

/* --- all nets together ---------------------------------------------------------------------------------- */

static double turn(const lu_point *a, const lu_point *b, const lu_point *c)
{
  return (b->x_mm - a->x_mm) * (c->y_mm - a->y_mm) - (b->y_mm - a->y_mm) * (c->x_mm - a->x_mm);
}

static bool cross(const lu_places *p, uint32_t a, uint32_t b, uint32_t c, uint32_t d)
{
  const lu_point *q = p->points;
  return turn(&q[a], &q[b], &q[c]) * turn(&q[a], &q[b], &q[d]) < 0 && turn(&q[c], &q[d], &q[a]) * turn(&q[c], &q[d], &q[b]) < 0;
}

static uint32_t crossed_by(const planner *k, const choice *c, const bool *laid)
{
  for (uint32_t i = 0; i < k->count; i++) {
    const lu_wire *w = &k->wires[i];
    bool one_side = w->side == LU_WIRE_BOTH || c->side == LU_WIRE_BOTH || w->side == c->side;
    if (laid[i] && one_side && cross(k->p, c->from, c->to, w->from, w->to))
      return i;
  }
  return LU_NONE;
}

static bool carries_one(const planner *k, const choice *c, const bool *laid)
{
  for (size_t i = 0; i < k->count; i++) {
    const lu_wire *w = &k->wires[i];
    if (laid[i] && (c->from == w->from || c->from == w->to || c->to == w->from || c->to == w->to))
      return true;
  }
  return false;
}

static void lay(planner *k, size_t wire, const bool *laid)
{
  const choices *c = &k->others[wire];
  const choice *best = NULL, *clear = NULL;
  for (size_t i = 0; i < c->count && !best; i++) {
    const choice *x = &c->at[i];
    if (x->side != c->at[0].side || x->length_mm > c->at[0].length_mm * LONGER + LONGER_MM)
      break;
    if (crossed_by(k, x, laid) != LU_NONE)
      continue;
    if (!clear)
      clear = x;
    if (!carries_one(k, x, laid))
      best = x;
  }
  if (!best)
    best = clear ? clear : &c->at[0];
  lu_wire *w = &k->wires[wire];
  w->from = best->from;
  w->to = best->to;
  w->from_pin = k->p->points[best->from].pin;
  w->to_pin = k->p->points[best->to].pin;
  w->length_mm = best->length_mm;
  w->side = best->side;
  w->crosses = crossed_by(k, best, laid);
}

static uint32_t crossing_of(const planner *k, size_t wire, bool *laid)
{
  choice c = {k->wires[wire].from, k->wires[wire].to, 0, k->wires[wire].side};
  laid[wire] = false;
  uint32_t other = crossed_by(k, &c, laid);
  laid[wire] = true;
  return other;
}

/* Those that cross once more with all others in place: one that came early may give way to one that came late. */
static void lay_again(planner *k, bool *laid)
{
  enum { ROUNDS = 4 };
  bool crossed = true;
  for (int round = 0; round < ROUNDS && crossed; round++) {
    crossed = false;
    for (size_t i = 0; i < k->count; i++) {
      if (crossing_of(k, i, laid) == LU_NONE)
        continue;
      laid[i] = false;
      lay(k, i, laid);
      laid[i] = true;
      crossed = true;
    }
  }
  for (size_t i = 0; i < k->count; i++) { /* told once: at the later of two wires */
    uint32_t other = crossing_of(k, i, laid);
    k->wires[i].crosses = other < i ? other : LU_NONE;
  }
}

/* Short wires first. */
static lu_status lay_all(planner *k)
{
  bool *laid = LU_NEW(k->mem, bool, k->count + 1);
  if (!laid)
    return lu_fail(k->err, LU_ERR_NOMEM, 0, 0, "no room for the wires");
  for (size_t n = 0; n < k->count; n++) {
    size_t next = SIZE_MAX;
    for (size_t i = 0; i < k->count; i++)
      if (!laid[i] && (next == SIZE_MAX || k->others[i].at[0].length_mm < k->others[next].at[0].length_mm))
        next = i;
    lay(k, next, laid);
    laid[next] = true;
  }
  lay_again(k, laid);
  return LU_OK;
}

lu_status lu_wires_plan(const lu_board *b, const lu_cut_net *cuts, size_t cut_count, lu_arena *mem, lu_wire **wires,
                        size_t *wire_count, lu_err *err)
{
  planner k = {.b = b, .p = b->places, .mem = mem, .err = err};
  lu_status bad = LU_OK;
  for (size_t i = 0; !bad && i < cut_count; i++)
    bad = plan_net(&k, &cuts[i]);
  if (!bad && k.p)
    bad = lay_all(&k);
  if (bad)
    return bad;
  *wires = k.wires;
  *wire_count = k.count;
  return LU_OK;
}
