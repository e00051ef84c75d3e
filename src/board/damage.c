/* SPDX-License-Identifier: MIT */
#include "board/damage.h"

#include "board/places.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

bool lu_damage_centre(const lu_board *b, const lu_file_damage *d, double at_mm[2])
{
  memcpy(at_mm, d->at_mm, sizeof d->at_mm);
  if (!d->around.text)
    return d->has_at;
  uint32_t part = lu_board_part(b, d->around.text);
  if (part == LU_NONE || !b->places || !b->places->part_points[part])
    return false;
  memcpy(at_mm, b->places->part_at[part], sizeof d->at_mm);
  return true;
}

/* --- geometry --------------------------------------------------------------------------------------- */

static bool in_polygon(const lu_file_damage *d, double x, double y)
{
  bool in = false;
  for (size_t i = 0, j = d->corner_count - 1; i < d->corner_count; j = i++) {
    const double *a = d->corners_mm[i], *c = d->corners_mm[j];
    if ((a[1] > y) != (c[1] > y) && x < (c[0] - a[0]) * (y - a[1]) / (c[1] - a[1]) + a[0])
      in = !in;
  }
  return in;
}

static double side_of(const double a[2], const double b[2], double x, double y)
{
  return (b[0] - a[0]) * (y - a[1]) - (b[1] - a[1]) * (x - a[0]);
}

static bool cross(const double a[2], const double b[2], const double c[2], const double d[2])
{
  return side_of(a, b, c[0], c[1]) * side_of(a, b, d[0], d[1]) < 0 &&
         side_of(c, d, a[0], a[1]) * side_of(c, d, b[0], b[1]) < 0;
}

static bool meets_polygon(const lu_file_damage *d, const double a[2], const double b[2])
{
  if (in_polygon(d, a[0], a[1]) || in_polygon(d, b[0], b[1]))
    return true;
  for (size_t i = 0, j = d->corner_count - 1; i < d->corner_count; j = i++)
    if (cross(a, b, d->corners_mm[j], d->corners_mm[i]))
      return true;
  return false;
}

/* The straight line from a to b (a point: both the same) lies in the area. */
static lu_harm harm_of(const lu_file_damage *d, uint16_t area, bool has_centre, const double centre[2],
                       const double a[2], const double b[2])
{
  lu_harm h = {.area = area};
  if (has_centre) {
    double r = lu_distance_to_piece(centre[0], centre[1], a[0], a[1], b[0], b[1]);
    if (r <= d->radius_mm) {
      h.kind = LU_HARM_CIRCLE;
      h.distance_mm = (float)r;
    }
  } else if (d->corner_count && meets_polygon(d, a, b)) {
    h.kind = LU_HARM_POLYGON;
  }
  return h;
}

/* Names weigh more than places, inside of an area more than a distance, near more than far. */
static bool worse(const lu_harm *a, const lu_harm *b)
{
  static const uint8_t rank[] = {0, 4, 3, 1, 2};
  if (rank[a->kind] != rank[b->kind])
    return rank[a->kind] > rank[b->kind];
  return a->kind == LU_HARM_CIRCLE && a->distance_mm < b->distance_mm;
}

static void take(lu_harm *to, lu_harm h)
{
  if (h.kind != LU_HARM_NONE && worse(&h, to))
    *to = h;
}

/* --- the table -------------------------------------------------------------------------------------- */

static void take_names(const lu_board *b, const lu_file_damage *d, uint16_t area, lu_damage *t)
{
  for (size_t i = 0; i < d->parts.count; i++) {
    uint32_t part = lu_board_part(b, d->parts.at[i].text);
    for (uint32_t j = 0; part != LU_NONE && j < b->parts[part].pin_count; j++)
      take(&t->pins[b->part_pins[b->parts[part].first_pin + j]], (lu_harm){LU_HARM_NAMED_PART, false, area, 0});
  }
  for (size_t i = 0; i < d->nets.count; i++) {
    uint32_t net = lu_board_net(b, d->nets.at[i].text);
    if (net != LU_NONE)
      take(&t->nets[net], (lu_harm){LU_HARM_NAMED_NET, false, area, 0});
  }
}

static void take_places(const lu_board *b, const lu_file_damage *d, uint16_t area, lu_damage *t)
{
  double centre[2];
  const lu_places *p = b->places;
  bool has_centre = lu_damage_centre(b, d, centre);
  if (!p || (!has_centre && !d->corner_count))
    return;
  for (size_t i = 0; i < p->point_count; i++) {
    const lu_point *q = &p->points[i];
    double at[2] = {q->x_mm, q->y_mm};
    lu_harm h = harm_of(d, area, has_centre, centre, at, at);
    if (q->pin != LU_NONE)
      take(&t->pins[q->pin], h);
    h.track = q->pin == LU_NONE;
    take(&t->nets[q->net], h);
  }
  for (size_t i = 0; i < p->piece_count; i++) {
    const lu_point *x = &p->points[p->pieces[i].a], *y = &p->points[p->pieces[i].b];
    double from[2] = {x->x_mm, x->y_mm}, to[2] = {y->x_mm, y->y_mm};
    lu_harm h = harm_of(d, area, has_centre, centre, from, to);
    h.track = true;
    take(&t->nets[x->net], h);
  }
}

lu_status lu_damage_build(const lu_board *b, lu_arena *mem, const lu_damage **out, lu_err *err)
{
  *out = NULL;
  if (!b->file || !b->file->damage_count)
    return LU_OK;
  lu_damage *t = LU_NEW(mem, lu_damage, 1);
  if (t) {
    t->pins = LU_NEW(mem, lu_harm, b->pin_count + 1);
    t->nets = LU_NEW(mem, lu_harm, b->net_count + 1);
  }
  if (!t || !t->pins || !t->nets)
    return lu_fail(err, LU_ERR_NOMEM, 0, 0, "no room for the damage");
  for (uint16_t i = 0; i < b->file->damage_count && i < UINT16_MAX; i++) {
    take_names(b, &b->file->damage[i], i, t);
    take_places(b, &b->file->damage[i], i, t);
  }
  for (uint32_t i = 0; i < b->pin_count; i++)
    if (b->pins[i].net != LU_NONE && t->pins[i].kind == LU_HARM_NAMED_PART)
      take(&t->nets[b->pins[i].net], t->pins[i]);
  *out = t;
  return LU_OK;
}

/* --- questions -------------------------------------------------------------------------------------- */

bool lu_damage_pin(const lu_board *b, uint32_t pin, char *buf, size_t len)
{
  const lu_harm *h = b->damage ? &b->damage->pins[pin] : NULL;
  if (!h || h->kind == LU_HARM_NONE)
    return false;
  if (!buf)
    return true;
  const lu_file_damage *d = &b->file->damage[h->area];
  const char *around = d->around.text ? d->around.text : "the middle of the damage";
  if (h->kind == LU_HARM_NAMED_PART)
    snprintf(buf, len, "is of %s, which is named as damaged", b->parts[b->pins[pin].part].ref);
  else if (h->kind == LU_HARM_CIRCLE)
    snprintf(buf, len, "stands %.0f mm from %s", h->distance_mm, around);
  else
    snprintf(buf, len, "stands in the damaged area");
  return true;
}

static const char *named_part(const lu_board *b, uint32_t net, uint16_t area)
{
  for (uint32_t i = 0; i < b->nets[net].pin_count; i++) {
    uint32_t pin = b->net_pins[b->nets[net].first_pin + i];
    if (b->damage->pins[pin].kind == LU_HARM_NAMED_PART && b->damage->pins[pin].area == area)
      return b->parts[b->pins[pin].part].ref;
  }
  return "a part";
}

bool lu_damage_net(const lu_board *b, uint32_t net, char *buf, size_t len)
{
  const lu_harm *h = b->damage ? &b->damage->nets[net] : NULL;
  if (!h || h->kind == LU_HARM_NONE)
    return false;
  if (!buf)
    return true;
  const lu_file_damage *d = &b->file->damage[h->area];
  const char *around = d->around.text ? d->around.text : "the middle of the damage";
  switch ((lu_harm_kind)h->kind) {
  case LU_HARM_NONE:
    break;
  case LU_HARM_NAMED_NET:
    snprintf(buf, len, "is named as damaged");
    break;
  case LU_HARM_NAMED_PART:
    snprintf(buf, len, "leads to %s, which is named as damaged", named_part(b, net, h->area));
    break;
  case LU_HARM_CIRCLE:
    snprintf(buf, len, "passes %.0f mm from %s", h->distance_mm, around);
    break;
  case LU_HARM_POLYGON:
    snprintf(buf, len, "passes through the damaged area");
    break;
  }
  return true;
}
