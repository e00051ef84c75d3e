/* SPDX-License-Identifier: MIT */
#include "report/boardsvg.h"

#include "board/damage.h"
#include "board/places.h"

#include <math.h>
#include <string.h>

static const double EDGE_MM = 6; /* room around the board */

typedef struct page {
  FILE *out;
  const lu_drawing *d;
  const lu_places *p;
  double width, height; /* mm */
} page;

static double at_x(const page *g, double x)
{
  return EDGE_MM + (g->d->solder_side ? g->p->most_mm[0] - x : x - g->p->least_mm[0]);
}

static double at_y(const page *g, double y)
{
  return EDGE_MM + g->p->most_mm[1] - y;
}

static void xml(FILE *out, const char *text)
{
  for (int n = 0; text && *text && n < 60; text++, n++)
    switch (*text) {
    case '<':
      fputs("&lt;", out);
      break;
    case '>':
      fputs("&gt;", out);
      break;
    case '&':
      fputs("&amp;", out);
      break;
    case '"':
      fputs("&quot;", out);
      break;
    default:
      fputc((unsigned char)*text < 0x20 || *text == 0x7f ? '?' : *text, out);
    }
}

static void line(const page *g, const double a[2], const double b[2], const char *style)
{
  fprintf(g->out, "<line x1=\"%.2f\" y1=\"%.2f\" x2=\"%.2f\" y2=\"%.2f\" %s/>\n", at_x(g, a[0]), at_y(g, a[1]), at_x(g, b[0]),
          at_y(g, b[1]), style);
}

static void head(const page *g)
{
  const char *side = g->d->solder_side ? "seen from the solder side (mirrored)" : "seen from the component side";
  fprintf(g->out,
          "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 %.1f %.1f\" width=\"%.0f\" height=\"%.0f\" font-family=\"sans-serif\" "
          "role=\"img\">\n<title>",
          g->width, g->height, g->width * 4, g->height * 4);
  xml(g->out, g->d->board->title ? g->d->board->title : "Board");
  fprintf(g->out, ", %s</title>\n<desc>%zu wires, %zu marked pins. One unit is a millimetre.</desc>\n", side, g->d->wire_count,
          g->d->pin_count);
  fprintf(g->out, "<rect width=\"100%%\" height=\"100%%\" fill=\"#fff\"/>\n<text x=\"%.1f\" y=\"4\" font-size=\"3.2\">", EDGE_MM);
  xml(g->out, g->d->board->title ? g->d->board->title : "Board");
  fprintf(g->out, ", %s</text>\n", side);
}

static void outline(const page *g)
{
  const lu_netlist *n = g->d->board->netlist;
  for (size_t i = 0; i < n->edge_count; i++) {
    double a[2] = {n->edges[i].x1_mm, n->edges[i].y1_mm}, b[2] = {n->edges[i].x2_mm, n->edges[i].y2_mm};
    line(g, a, b, "stroke=\"#000\" stroke-width=\"0.4\"");
  }
  if (!n->edge_count)
    fprintf(g->out, "<rect x=\"%.2f\" y=\"%.2f\" width=\"%.2f\" height=\"%.2f\" fill=\"none\" stroke=\"#999\" stroke-width=\"0.2\"/>\n",
            EDGE_MM - 3, EDGE_MM - 3, g->width - 2 * EDGE_MM + 6, g->height - 2 * EDGE_MM + 6);
}

static void damage(const page *g)
{
  const lu_boardfile *f = g->d->board->file;
  for (size_t i = 0; f && i < f->damage_count; i++) {
    const lu_file_damage *d = &f->damage[i];
    double at[2];
    if (lu_damage_centre(g->d->board, d, at)) {
      fprintf(g->out,
              "<circle cx=\"%.2f\" cy=\"%.2f\" r=\"%.2f\" fill=\"#f4e4c8\" stroke=\"#a60\" stroke-width=\"0.3\" stroke-dasharray=\"1.5 1\">"
              "<title>damage</title></circle>\n",
              at_x(g, at[0]), at_y(g, at[1]), d->radius_mm);
    } else if (d->corner_count) {
      fputs("<polygon points=\"", g->out);
      for (size_t k = 0; k < d->corner_count; k++)
        fprintf(g->out, "%.2f,%.2f ", at_x(g, d->corners_mm[k][0]), at_y(g, d->corners_mm[k][1]));
      fputs("\" fill=\"#f4e4c8\" stroke=\"#a60\" stroke-width=\"0.3\" stroke-dasharray=\"1.5 1\"><title>damage</title></polygon>\n", g->out);
    }
  }
}

static void parts(const page *g)
{
  const lu_board *b = g->d->board;
  for (size_t i = 0; i < b->part_count; i++) {
    double least[2] = {INFINITY, INFINITY}, most[2] = {-INFINITY, -INFINITY};
    const lu_part *p = &b->parts[i];
    for (uint32_t k = 0; k < p->pin_count; k++) {
      uint32_t point = g->p->pin_point[b->part_pins[p->first_pin + k]];
      if (point == LU_NONE)
        continue;
      const double at[2] = {at_x(g, g->p->points[point].x_mm), at_y(g, g->p->points[point].y_mm)};
      for (int a = 0; a < 2; a++) {
        least[a] = fmin(least[a], at[a]);
        most[a] = fmax(most[a], at[a]);
      }
    }
    if (!(least[0] <= most[0]))
      continue;
    fprintf(g->out, "<rect x=\"%.2f\" y=\"%.2f\" width=\"%.2f\" height=\"%.2f\" fill=\"none\" stroke=\"#888\" stroke-width=\"0.2\"%s/>\n",
            least[0] - 1.2, least[1] - 1.2, most[0] - least[0] + 2.4, most[1] - least[1] + 2.4,
            g->d->solder_side ? " stroke-dasharray=\"0.8 0.6\"" : "");
    fprintf(g->out, "<text x=\"%.2f\" y=\"%.2f\" font-size=\"2.6\" text-anchor=\"middle\" fill=\"#555\">", (least[0] + most[0]) / 2,
            (least[1] + most[1]) / 2 + 0.9);
    xml(g->out, p->ref);
    fputs("</text>\n", g->out);
  }
}

static void pads(const page *g)
{
  fputs("<g fill=\"#bbb\">\n", g->out);
  for (size_t i = 0; i < g->p->point_count; i++) {
    const lu_point *q = &g->p->points[i];
    bool seen = q->through || q->layer == (g->d->solder_side ? g->p->solder_layer : 1);
    if (q->kind != LU_POINT_BEND && seen)
      fprintf(g->out, "<circle cx=\"%.2f\" cy=\"%.2f\" r=\"%.2f\"/>\n", at_x(g, q->x_mm), at_y(g, q->y_mm), q->kind == LU_POINT_PIN ? 0.6 : 0.35);
  }
  fputs("</g>\n", g->out);
}

static void tracks(const page *g)
{
  for (size_t i = 0; i < g->d->net_count; i++) {
    const lu_net_points *w = &g->p->nets[g->d->nets[i]];
    for (uint32_t k = 0; k < w->piece_count; k++) {
      const lu_piece *q = &g->p->pieces[w->first_piece + k];
      const lu_point *x = &g->p->points[q->a], *y = &g->p->points[q->b];
      double a[2] = {x->x_mm, x->y_mm}, b[2] = {y->x_mm, y->y_mm};
      line(g, a, b, q->given ? "stroke=\"#27a\" stroke-width=\"0.3\"" : "stroke=\"#27a\" stroke-width=\"0.2\" stroke-dasharray=\"0.5 0.8\"");
    }
  }
}

static void marks(const page *g)
{
  for (size_t i = 0; i < g->d->pin_count; i++) {
    uint32_t point = g->p->pin_point[g->d->pins[i]];
    if (point == LU_NONE)
      continue;
    const lu_point *q = &g->p->points[point];
    fprintf(g->out, "<rect x=\"%.2f\" y=\"%.2f\" width=\"2\" height=\"2\" fill=\"none\" stroke=\"#d00\" stroke-width=\"0.4\"><title>", at_x(g, q->x_mm) - 1,
            at_y(g, q->y_mm) - 1);
    xml(g->out, g->d->board->pins[g->d->pins[i]].name);
    fputs("</title></rect>\n", g->out);
  }
}

static void wire_end(const page *g, const double at[2], const char *name)
{
  double x = at_x(g, at[0]), y = at_y(g, at[1]);
  fprintf(g->out, "<circle cx=\"%.2f\" cy=\"%.2f\" r=\"0.9\" fill=\"#d00\"/>\n", x, y);
  if (!name)
    return;
  fprintf(g->out, "<text x=\"%.2f\" y=\"%.2f\" font-size=\"2.2\" font-weight=\"bold\">", x + 1.2, y - 1.2);
  xml(g->out, name);
  fputs("</text>\n", g->out);
}

static void wires(const page *g)
{
  for (size_t i = 0; i < g->d->wire_count; i++) {
    const lu_drawn_wire *w = &g->d->wires[i];
    line(g, w->from_mm, w->to_mm,
         w->over_top ? "stroke=\"#d00\" stroke-width=\"0.8\" stroke-linecap=\"round\" stroke-dasharray=\"2 1.2\""
                     : "stroke=\"#d00\" stroke-width=\"0.8\" stroke-linecap=\"round\"");
    wire_end(g, w->from_mm, w->from);
    wire_end(g, w->to_mm, w->to);
    double x = (at_x(g, w->from_mm[0]) + at_x(g, w->to_mm[0])) / 2, y = (at_y(g, w->from_mm[1]) + at_y(g, w->to_mm[1])) / 2;
    fprintf(g->out, "<circle cx=\"%.2f\" cy=\"%.2f\" r=\"2\" fill=\"#fff\" stroke=\"#d00\" stroke-width=\"0.3\"/>\n", x, y);
    fprintf(g->out, "<text x=\"%.2f\" y=\"%.2f\" font-size=\"2.6\" text-anchor=\"middle\" fill=\"#000\">", x, y + 0.9);
    xml(g->out, w->label);
    fputs("</text>\n", g->out);
  }
}

bool lu_board_svg(FILE *out, const lu_drawing *d)
{
  const lu_places *p = d->board->places;
  if (!p || !p->point_count)
    return false;
  page g = {out, d, p, p->most_mm[0] - p->least_mm[0] + 2 * EDGE_MM, p->most_mm[1] - p->least_mm[1] + 2 * EDGE_MM};
  head(&g);
  damage(&g);
  outline(&g);
  parts(&g);
  tracks(&g);
  pads(&g);
  marks(&g);
  wires(&g);
  fputs("</svg>\n", out);
  return !ferror(out);
}
