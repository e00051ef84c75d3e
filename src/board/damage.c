/* SPDX-License-Identifier: MIT */
#include "board/damage.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

static bool named(const lu_spots *list, const char *name)
{
  for (size_t i = 0; i < list->count; i++)
    if (!strcmp(list->at[i].text, name))
      return true;
  return false;
}

static const lu_net_place *place_of(const lu_board *b, uint32_t pin)
{
  const lu_netlist *n = b->netlist;
  for (size_t i = 0; n && i < n->place_count; i++) {
    const lu_net_place *p = &n->places[i];
    if (p->part != UINT32_MAX && p->number && !strcmp(p->number, b->pins[pin].number) &&
        !strcmp(n->parts[p->part].ref, b->parts[b->pins[pin].part].ref))
      return p;
  }
  return NULL;
}

/* Middle of a part's pins; false without places. */
static bool part_centre(const lu_board *b, const char *ref, double *x, double *y)
{
  const lu_netlist *n = b->netlist;
  size_t count = 0;
  double sx = 0, sy = 0;
  for (size_t i = 0; n && i < n->place_count; i++) {
    const lu_net_place *p = &n->places[i];
    if (p->part == UINT32_MAX || strcmp(n->parts[p->part].ref, ref))
      continue;
    sx += p->x_mm;
    sy += p->y_mm;
    count++;
  }
  if (!count)
    return false;
  *x = sx / (double)count;
  *y = sy / (double)count;
  return true;
}

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

static bool point_in(const lu_board *b, const lu_file_damage *d, double x, double y, char *buf, size_t len)
{
  double cx = d->at_mm[0], cy = d->at_mm[1];
  if (d->around.text ? part_centre(b, d->around.text, &cx, &cy) : d->has_at) {
    double r = hypot(x - cx, y - cy);
    if (r > d->radius_mm)
      return false;
    if (buf)
      snprintf(buf, len, "%.0f mm from %s", r, d->around.text ? d->around.text : "the damage");
    return true;
  }
  if (d->corner_count && in_polygon(d, x, y)) {
    if (buf)
      snprintf(buf, len, "inside the damaged area");
    return true;
  }
  return false;
}

bool lu_damage_pin(const lu_board *b, uint32_t pin, char *buf, size_t len)
{
  const lu_boardfile *f = b->file;
  const lu_net_place *p = b->netlist && f && f->damage_count ? place_of(b, pin) : NULL;
  for (size_t i = 0; f && i < f->damage_count; i++) {
    const lu_file_damage *d = &f->damage[i];
    if (named(&d->parts, b->parts[b->pins[pin].part].ref)) {
      if (buf)
        snprintf(buf, len, "%s is named as damaged", b->parts[b->pins[pin].part].ref);
      return true;
    }
    if (p && point_in(b, d, p->x_mm, p->y_mm, buf, len))
      return true;
  }
  return false;
}

bool lu_damage_net(const lu_board *b, uint32_t net, char *buf, size_t len)
{
  const lu_boardfile *f = b->file;
  for (size_t i = 0; f && i < f->damage_count; i++)
    if (named(&f->damage[i].nets, b->nets[net].name)) {
      if (buf)
        snprintf(buf, len, "%s is named as damaged", b->nets[net].name);
      return true;
    }
  for (uint32_t i = 0; f && f->damage_count && i < b->nets[net].pin_count; i++)
    if (lu_damage_pin(b, b->net_pins[b->nets[net].first_pin + i], buf, len))
      return true;
  return false;
}
