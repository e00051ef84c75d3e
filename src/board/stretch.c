/* SPDX-License-Identifier: MIT */
/* Which pieces of a net's tree separate two groups of its pins. */
#include "board/places.h"

#include <math.h>
#include <string.h>

enum { FREE = 0, REST = 1, CUT = 2, BOTH = 3 };

/* The tree of one net, points counted from 0, in an order in which parents come first. */
typedef struct walk {
  const lu_places *p;
  const lu_net_points *w;
  uint32_t n;
  uint32_t *first, *links;     /* neighbours: links[first[i]..] = piece numbers from 0 */
  uint32_t *order, *up, *by;   /* parents, and the piece to them */
  uint8_t *label;
} walk;

static uint32_t other_end(const walk *k, uint32_t piece, uint32_t i)
{
  const lu_piece *q = &k->p->pieces[k->w->first_piece + piece];
  uint32_t a = q->a - k->w->first_point, b = q->b - k->w->first_point;
  return a == i ? b : a;
}

static bool link_up(walk *k, lu_arena *mem)
{
  uint32_t n = k->n, m = k->w->piece_count;
  k->first = LU_NEW(mem, uint32_t, n + 2);
  k->links = LU_NEW(mem, uint32_t, 2 * (size_t)m + 1);
  k->order = LU_NEW(mem, uint32_t, n + 1);
  k->up = LU_NEW(mem, uint32_t, n + 1);
  k->by = LU_NEW(mem, uint32_t, n + 1);
  k->label = LU_NEW(mem, uint8_t, n + 1);
  if (!k->first || !k->links || !k->order || !k->up || !k->by || !k->label)
    return false;
  const lu_piece *q = k->p->pieces + k->w->first_piece;
  for (uint32_t i = 0; i < m; i++) {
    k->first[q[i].a - k->w->first_point + 1]++;
    k->first[q[i].b - k->w->first_point + 1]++;
  }
  for (uint32_t i = 0; i < n; i++)
    k->first[i + 1] += k->first[i];
  uint32_t *fill = k->order; /* not in use yet */
  memcpy(fill, k->first, n * sizeof *fill);
  for (uint32_t i = 0; i < m; i++) {
    k->links[fill[q[i].a - k->w->first_point]++] = i;
    k->links[fill[q[i].b - k->w->first_point]++] = i;
  }
  return true;
}

static void visit(walk *k)
{
  uint32_t count = 0;
  k->order[count++] = 0;
  k->up[0] = k->by[0] = LU_NONE;
  for (uint32_t at = 0; at < count; at++) {
    uint32_t i = k->order[at];
    for (uint32_t l = k->first[i]; l < k->first[i + 1]; l++)
      if (k->links[l] != k->by[i]) {
        uint32_t j = other_end(k, k->links[l], i);
        k->up[j] = i;
        k->by[j] = k->links[l];
        k->order[count++] = j;
      }
  }
}

static bool start(walk *k, const lu_places *p, uint32_t net, lu_arena *mem)
{
  *k = (walk){.p = p, .w = &p->nets[net]};
  k->n = k->w->point_count;
  if (!link_up(k, mem))
    return false;
  visit(k);
  return true;
}

static bool has_tree(const lu_places *p, uint32_t net)
{
  const lu_net_points *w = &p->nets[net];
  return w->point_count > 1 && w->piece_count + 1 == w->point_count;
}

static size_t mark(walk *k, const uint32_t *pins, size_t count, uint8_t label)
{
  size_t found = 0;
  for (uint32_t i = 0; i < k->n; i++) {
    uint32_t pin = k->p->points[k->w->first_point + i].pin;
    for (size_t j = 0; pin != LU_NONE && j < count; j++)
      if (pins[j] == pin) {
        k->label[i] |= label;
        found++;
        break;
      }
  }
  return found;
}

/* Fewest breaks: colour each point so that as few pieces as possible join two colours. */
static bool color(walk *k, uint8_t *is_cut, uint32_t (*cost)[2])
{
  for (uint32_t at = k->n; at-- > 0;) {
    uint32_t i = k->order[at];
    for (int c = 0; c < 2; c++) {
      bool allowed = k->label[i] == FREE || k->label[i] == BOTH || k->label[i] == (c ? CUT : REST);
      cost[i][c] = allowed ? cost[i][c] : UINT32_MAX / 2;
    }
    if (k->up[i] == LU_NONE)
      continue;
    uint32_t *to = cost[k->up[i]];
    for (int c = 0; c < 2; c++)
      to[c] += cost[i][c] < cost[i][!c] + 1 ? cost[i][c] : cost[i][!c] + 1;
  }
  for (uint32_t at = 0; at < k->n; at++) {
    uint32_t i = k->order[at];
    if (k->up[i] == LU_NONE) {
      is_cut[i] = cost[i][1] < cost[i][0];
      continue;
    }
    uint8_t c = is_cut[k->up[i]];
    is_cut[i] = cost[i][c] <= cost[i][!c] + 1 ? c : !c;
  }
  return true;
}

/* How many pieces of a point lead to labelled points. leads: 1 = some in its subtree, 2 = some outside. */
enum { BELOW = 1, ABOVE = 2 };
static void count_ways(const walk *k, uint32_t *ways, uint8_t *leads)
{
  for (uint32_t at = k->n; at-- > 0;) {
    uint32_t i = k->order[at];
    if (k->label[i] != FREE)
      leads[i] = BELOW;
    if (k->up[i] != LU_NONE && leads[i]) {
      leads[k->up[i]] = BELOW;
      ways[k->up[i]]++;
    }
  }
  for (uint32_t at = 0; at < k->n; at++) { /* upwards: is there a label outside the subtree? */
    uint32_t i = k->order[at], u = k->up[i];
    if (u != LU_NONE && (k->label[u] != FREE || ways[u] > (leads[i] & BELOW ? 1u : 0u))) {
      leads[i] |= ABOVE;
      ways[i]++;
    }
  }
}

/* From point i away from the piece it was reached by, as far as the way neither forks nor meets a label.
 * Writes the pieces; returns how many. *end = the last point. */
static size_t follow(const walk *k, const uint32_t *ways, const uint8_t *leads, uint32_t i, uint32_t piece,
                     uint32_t *out, uint32_t *end)
{
  size_t count = 0;
  while (k->label[i] == FREE && ways[i] == 2) {
    uint32_t next = LU_NONE;
    for (uint32_t l = k->first[i]; l < k->first[i + 1]; l++) {
      uint32_t q = k->links[l], j = other_end(k, q, i);
      bool leads_on = q == k->by[i] ? leads[i] & ABOVE : leads[j] & BELOW;
      if (q != piece && leads_on)
        next = q;
    }
    if (next == LU_NONE)
      break;
    out[count++] = next;
    i = other_end(k, next, i);
    piece = next;
  }
  *end = i;
  return count;
}

static bool one_stretch(const walk *k, const uint32_t *ways, const uint8_t *leads, const uint8_t *is_cut, uint32_t piece,
                        lu_arena *mem, lu_stretch *s)
{
  const lu_piece *q = &k->p->pieces[k->w->first_piece + piece];
  uint32_t a = q->a - k->w->first_point, b = q->b - k->w->first_point;
  if (is_cut[a]) {
    uint32_t t = a;
    a = b;
    b = t;
  }
  uint32_t *list = LU_NEW(mem, uint32_t, k->w->piece_count + 1), *back = LU_NEW(mem, uint32_t, k->w->piece_count + 1);
  if (!list || !back)
    return false;
  uint32_t from, to;
  size_t n = 0, before = follow(k, ways, leads, a, piece, back, &from);
  while (before)
    list[n++] = back[--before];
  list[n++] = piece;
  n += follow(k, ways, leads, b, piece, list + n, &to);
  *s = (lu_stretch){.net = k->p->points[k->w->first_point].net,
                    .from = k->w->first_point + from,
                    .to = k->w->first_point + to,
                    .given = true,
                    .piece_count = n,
                    .pieces = list};
  for (size_t i = 0; i < n; i++) {
    list[i] += k->w->first_piece;
    const lu_piece *x = &k->p->pieces[list[i]];
    s->length_mm += x->length_mm;
    s->given &= x->given;
    s->layer = !i || s->layer == x->layer ? x->layer : 0;
  }
  return true;
}

static bool find(walk *k, lu_arena *mem, lu_stretch **out, size_t *count)
{
  uint32_t (*cost)[2] = lu_arena_array(mem, k->n + 1, sizeof *cost);
  uint8_t *is_cut = LU_NEW(mem, uint8_t, k->n + 1), *leads = LU_NEW(mem, uint8_t, k->n + 1);
  uint32_t *ways = LU_NEW(mem, uint32_t, k->n + 1);
  if (!cost || !is_cut || !leads || !ways)
    return false;
  color(k, is_cut, cost);
  count_ways(k, ways, leads);
  size_t n = 0;
  for (uint32_t i = 0; i < k->n; i++)
    n += k->up[i] != LU_NONE && is_cut[i] != is_cut[k->up[i]];
  lu_stretch *list = LU_NEW(mem, lu_stretch, n + 1);
  if (!list)
    return false;
  *count = 0;
  for (uint32_t at = 0; at < k->n; at++) {
    uint32_t i = k->order[at];
    if (k->up[i] != LU_NONE && is_cut[i] != is_cut[k->up[i]] &&
        !one_stretch(k, ways, leads, is_cut, k->by[i], mem, &list[(*count)++]))
      return false;
  }
  *out = list;
  return true;
}

lu_status lu_places_stretches(const lu_places *p, uint32_t net, const uint32_t *cut, size_t cut_count,
                              const uint32_t *rest, size_t rest_count, lu_arena *mem, lu_stretch **out, size_t *count,
                              lu_err *err)
{
  *count = 0;
  *out = NULL;
  if (!p || !has_tree(p, net))
    return LU_OK;
  walk k;
  if (!start(&k, p, net, mem))
    return lu_fail(err, LU_ERR_NOMEM, 0, 0, "no room for a net's tree");
  size_t c = mark(&k, cut, cut_count, CUT), r = mark(&k, rest, rest_count, REST);
  if (!c || !r)
    return LU_OK;
  if (!find(&k, mem, out, count))
    return lu_fail(err, LU_ERR_NOMEM, 0, 0, "no room for a stretch");
  return LU_OK;
}

/* --- what hangs together ---------------------------------------------------------------------------- */

/* Points of the smallest subtree that holds all of a group's pins. */
static void mark_group(const walk *k, const lu_pin_group *g, uint16_t number, uint16_t *below, uint16_t *group)
{
  uint16_t total = 0;
  memset(below, 0, k->n * sizeof *below);
  for (uint32_t i = 0; i < k->n; i++) {
    uint32_t pin = k->p->points[k->w->first_point + i].pin;
    for (size_t j = 0; pin != LU_NONE && j < g->count; j++)
      if (g->pins[j] == pin) {
        below[i]++;
        total++;
        break;
      }
  }
  for (uint32_t at = k->n; at-- > 0;) {
    uint32_t i = k->order[at];
    if (k->up[i] != LU_NONE)
      below[k->up[i]] = (uint16_t)(below[k->up[i]] + below[i]);
  }
  for (uint32_t i = 0; i < k->n; i++) { /* in it: a pin of the group, or ways to it in two directions */
    uint32_t ways = below[i] < total;
    uint16_t own = below[i];
    for (uint32_t l = k->first[i]; l < k->first[i + 1]; l++) {
      uint32_t j = other_end(k, k->links[l], i);
      if (k->links[l] == k->by[i])
        continue;
      ways += below[j] > 0;
      own = (uint16_t)(own - below[j]);
    }
    if (total && (own || ways > 1))
      group[i] = group[i] && group[i] != number ? UINT16_MAX : number;
  }
}

bool lu_places_groups(const lu_places *p, uint32_t net, const lu_pin_group *groups, size_t group_count, lu_arena *mem,
                      uint16_t *group)
{
  const lu_net_points *w = &p->nets[net];
  memset(group, 0, w->point_count * sizeof *group);
  if (has_tree(p, net)) {
    walk k;
    uint16_t *below = LU_NEW(mem, uint16_t, w->point_count + 1);
    if (!below || !start(&k, p, net, mem))
      return false;
    for (size_t g = 0; g < group_count; g++)
      mark_group(&k, &groups[g], (uint16_t)(g + 1), below, group);
  }
  for (uint32_t i = 0; i < w->point_count; i++) {
    if (group[i] == UINT16_MAX)
      group[i] = 0; /* claimed by two: either may be right */
    uint32_t pin = p->points[w->first_point + i].pin;
    for (size_t g = 0; pin != LU_NONE && g < group_count; g++)
      for (size_t j = 0; j < groups[g].count; j++)
        if (groups[g].pins[j] == pin)
          group[i] = (uint16_t)(g + 1);
  }
  return true;
}

/* --- words ------------------------------------------------------------------------------------------ */

const char *lu_point_text(const lu_board *b, uint32_t point, lu_arena *mem)
{
  static const char *const kinds[] = {"the pin", "the via", "the middle point", "the bend"};
  const lu_point *q = &b->places->points[point];
  if (q->pin != LU_NONE)
    return b->pins[q->pin].name;
  return lu_arena_printf(mem, "%s at %.1f, %.1f mm", kinds[q->kind], q->x_mm, q->y_mm);
}

const char *lu_layer_text(const lu_places *p, uint8_t layer, lu_arena *mem)
{
  return layer == 0                 ? NULL
         : layer == 1               ? "component side"
         : layer == p->solder_layer ? "solder side"
                                    : lu_arena_printf(mem, "layer %u", layer);
}

/* Outer layers only: a break on an inner one is not to be found by looking. */
static bool several_layers(const lu_places *p, const lu_stretch *s)
{
  bool top = false, bottom = false, other = false;
  for (size_t i = 0; i < s->piece_count; i++) {
    uint8_t layer = p->pieces[s->pieces[i]].layer;
    top |= layer == 1;
    bottom |= layer == p->solder_layer;
    other |= layer != 1 && layer != p->solder_layer;
  }
  return top && bottom && !other;
}

const char *lu_stretch_text(const lu_board *b, const lu_stretch *s, lu_arena *mem)
{
  const char *from = lu_point_text(b, s->from, mem), *to = lu_point_text(b, s->to, mem);
  const char *side = lu_layer_text(b->places, s->layer, mem);
  if (!from || !to)
    return NULL;
  if (!side && several_layers(b->places, s))
    side = "both sides";
  return lu_arena_printf(mem, s->length_mm < 9.95 ? "between %s and %s, %.1f mm%s%s" : "between %s and %s, %.0f mm%s%s",
                         from, to, s->length_mm, side ? ", " : "", side ? side : "");
}
