/* SPDX-License-Identifier: MIT */
#include "cli/boarddraw.h"

#include "board/damage.h"

#include <math.h>
#include <string.h>

static bool take_edges(const lu_board *b, lu_arena *mem, lu_drawing *out)
{
  const lu_netlist *n = b->netlist;
  lu_drawn_line *list = LU_NEW(mem, lu_drawn_line, n->edge_count + 1);
  for (size_t i = 0; list && i < n->edge_count; i++)
    list[i] = (lu_drawn_line){{n->edges[i].x1_mm, n->edges[i].y1_mm}, {n->edges[i].x2_mm, n->edges[i].y2_mm}, true, 0};
  out->edges = list;
  out->edge_count = n->edge_count;
  return list;
}

static bool take_tracks(const lu_board *b, const lu_draw_choice *what, lu_arena *mem, lu_drawing *out)
{
  const lu_places *p = b->places;
  size_t room = 1;
  for (size_t i = 0; i < what->net_count; i++)
    room += p->nets[what->nets[i]].piece_count;
  lu_drawn_line *list = LU_NEW(mem, lu_drawn_line, room);
  for (size_t i = 0; list && i < what->net_count; i++) {
    const lu_net_points *w = &p->nets[what->nets[i]];
    for (uint32_t k = 0; k < w->piece_count; k++) {
      const lu_piece *q = &p->pieces[w->first_piece + k];
      const lu_point *x = &p->points[q->a], *y = &p->points[q->b];
      list[out->track_count++] = (lu_drawn_line){{x->x_mm, x->y_mm}, {y->x_mm, y->y_mm}, q->given,
                                                        what->tags ? what->tags[what->nets[i]] : 0};
    }
  }
  out->tracks = list;
  return list;
}

static bool take_pads(const lu_board *b, const lu_draw_choice *what, lu_arena *mem, lu_drawing *out)
{
  const lu_places *p = b->places;
  lu_drawn_spot *pads = LU_NEW(mem, lu_drawn_spot, p->point_count + 1), *marks = LU_NEW(mem, lu_drawn_spot, what->pin_count + 1);
  if (!pads || !marks)
    return false;
  for (size_t i = 0; i < p->point_count; i++) {
    const lu_point *q = &p->points[i];
    bool seen = q->through || q->layer == (what->solder_side ? p->solder_layer : 1);
    if (q->kind != LU_POINT_BEND && seen)
      pads[out->pad_count++] = (lu_drawn_spot){{q->x_mm, q->y_mm}, q->kind == LU_POINT_PIN ? 0.6 : 0.35, NULL, 0};
  }
  for (size_t i = 0; i < what->pin_count; i++) {
    uint32_t point = p->pin_point[what->pins[i]];
    if (point != LU_NONE)
      marks[out->mark_count++] = (lu_drawn_spot){{p->points[point].x_mm, p->points[point].y_mm}, 0, b->pins[what->pins[i]].name,
                                                        what->tags && b->pins[what->pins[i]].net != LU_NONE ? what->tags[b->pins[what->pins[i]].net] : 0};
  }
  out->pads = pads;
  out->marks = marks;
  return true;
}

static bool take_parts(const lu_board *b, lu_arena *mem, lu_drawing *out)
{
  const lu_places *p = b->places;
  lu_drawn_part *list = LU_NEW(mem, lu_drawn_part, b->part_count + 1);
  for (size_t i = 0; list && i < b->part_count; i++) {
    lu_drawn_part *d = &list[out->part_count];
    if (!p->part_points[i])
      continue;
    *d = (lu_drawn_part){b->parts[i].ref, {INFINITY, INFINITY}, {-INFINITY, -INFINITY}};
    for (uint32_t k = 0; k < b->parts[i].pin_count; k++) {
      uint32_t point = p->pin_point[b->part_pins[b->parts[i].first_pin + k]];
      if (point == LU_NONE)
        continue;
      double at[2] = {p->points[point].x_mm, p->points[point].y_mm};
      for (int a = 0; a < 2; a++) {
        d->least_mm[a] = fmin(d->least_mm[a], at[a]);
        d->most_mm[a] = fmax(d->most_mm[a], at[a]);
      }
    }
    out->part_count++;
  }
  out->parts = list;
  return list;
}

static bool take_damage(const lu_board *b, lu_arena *mem, lu_drawing *out)
{
  size_t count = b->file ? b->file->damage_count : 0;
  lu_drawn_area *list = LU_NEW(mem, lu_drawn_area, count + 1);
  for (size_t i = 0; list && i < count; i++) {
    const lu_file_damage *d = &b->file->damage[i];
    lu_drawn_area *a = &list[out->area_count];
    *a = (lu_drawn_area){.radius_mm = d->radius_mm};
    if (!lu_damage_centre(b, d, a->at_mm)) {
      a->corner_count = d->corner_count;
      a->corners_mm = (const double (*)[2])d->corners_mm;
      if (!a->corner_count)
        continue;
    }
    out->area_count++;
  }
  out->areas = list;
  return list;
}

bool lu_draw_board(const lu_board *b, const lu_draw_choice *what, lu_arena *mem, lu_drawing *out)
{
  *out = (lu_drawing){.title = b->title, .solder_side = what->solder_side};
  memcpy(out->least_mm, b->places->least_mm, sizeof out->least_mm);
  memcpy(out->most_mm, b->places->most_mm, sizeof out->most_mm);
  return take_edges(b, mem, out) && take_tracks(b, what, mem, out) && take_pads(b, what, mem, out) && take_parts(b, mem, out) &&
         take_damage(b, mem, out);
}
