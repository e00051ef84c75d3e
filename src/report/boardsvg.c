/* SPDX-License-Identifier: MIT */
#include "report/boardsvg.h"

#include "report/html.h"

#include <math.h>

static const double EDGE_MM = 6; /* room around the board */

typedef struct page {
  FILE *out;
  const lu_drawing *d;
  double width, height; /* mm */
} page;

static double at_x(const page *g, double x)
{
  return EDGE_MM + (g->d->solder_side ? g->d->most_mm[0] - x : x - g->d->least_mm[0]);
}

static double at_y(const page *g, double y)
{
  return EDGE_MM + g->d->most_mm[1] - y;
}

static void xml(FILE *out, const char *text)
{
  lu_html_text_most(out, text, 60);
}

static void tag(const page *g, unsigned n)
{
  if (n)
    fprintf(g->out, "data-n=\"%u\" ", n);
}

static void line(const page *g, const double a[2], const double b[2], const char *style, unsigned n)
{
  fputs("<line ", g->out);
  tag(g, n);
  fprintf(g->out, "x1=\"%.2f\" y1=\"%.2f\" x2=\"%.2f\" y2=\"%.2f\" %s/>\n", at_x(g, a[0]), at_y(g, a[1]), at_x(g, b[0]),
          at_y(g, b[1]), style);
}

static void head(const page *g)
{
  const char *side = g->d->solder_side ? "seen from the solder side (mirrored)" : "seen from the component side";
  fprintf(g->out,
          "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 %.1f %.1f\" width=\"%.0f\" height=\"%.0f\" font-family=\"sans-serif\" "
          "role=\"img\">\n<title>",
          g->width, g->height, g->width * 4, g->height * 4);
  xml(g->out, g->d->title ? g->d->title : "Board");
  fprintf(g->out, ", %s</title>\n<desc>%zu wires, %zu marked pins. One unit is a millimetre.</desc>\n", side, g->d->wire_count,
          g->d->mark_count);
  fprintf(g->out, "<rect width=\"100%%\" height=\"100%%\" fill=\"#fff\"/>\n<text x=\"%.1f\" y=\"4\" font-size=\"3.2\">", EDGE_MM);
  xml(g->out, g->d->title ? g->d->title : "Board");
  fprintf(g->out, ", %s</text>\n", side);
}

static void outline(const page *g)
{
  for (size_t i = 0; i < g->d->edge_count; i++)
    line(g, g->d->edges[i].from_mm, g->d->edges[i].to_mm, "stroke=\"#000\" stroke-width=\"0.4\"", 0);
  if (!g->d->edge_count)
    fprintf(g->out, "<rect x=\"%.2f\" y=\"%.2f\" width=\"%.2f\" height=\"%.2f\" fill=\"none\" stroke=\"#999\" stroke-width=\"0.2\"/>\n",
            EDGE_MM - 3, EDGE_MM - 3, g->width - 2 * EDGE_MM + 6, g->height - 2 * EDGE_MM + 6);
}

static void damage(const page *g)
{
  static const char style[] = "fill=\"#f4e4c8\" stroke=\"#a60\" stroke-width=\"0.3\" stroke-dasharray=\"1.5 1\"><title>damage</title>";
  for (size_t i = 0; i < g->d->area_count; i++) {
    const lu_drawn_area *a = &g->d->areas[i];
    if (!a->corner_count) {
      fprintf(g->out, "<circle cx=\"%.2f\" cy=\"%.2f\" r=\"%.2f\" %s</circle>\n", at_x(g, a->at_mm[0]), at_y(g, a->at_mm[1]), a->radius_mm,
              style);
      continue;
    }
    fputs("<polygon points=\"", g->out);
    for (size_t k = 0; k < a->corner_count; k++)
      fprintf(g->out, "%.2f,%.2f ", at_x(g, a->corners_mm[k][0]), at_y(g, a->corners_mm[k][1]));
    fprintf(g->out, "\" %s</polygon>\n", style);
  }
}

static void parts(const page *g)
{
  for (size_t i = 0; i < g->d->part_count; i++) {
    const lu_drawn_part *p = &g->d->parts[i];
    double x1 = at_x(g, p->least_mm[0]), x2 = at_x(g, p->most_mm[0]), y = at_y(g, p->most_mm[1]);
    double left = fmin(x1, x2), width = fabs(x2 - x1), height = p->most_mm[1] - p->least_mm[1];
    fprintf(g->out, "<rect x=\"%.2f\" y=\"%.2f\" width=\"%.2f\" height=\"%.2f\" fill=\"none\" stroke=\"#888\" stroke-width=\"0.2\"%s/>\n", left - 1.2,
            y - 1.2, width + 2.4, height + 2.4, g->d->solder_side ? " stroke-dasharray=\"0.8 0.6\"" : "");
    fprintf(g->out, "<text x=\"%.2f\" y=\"%.2f\" font-size=\"2.6\" text-anchor=\"middle\" fill=\"#555\">", left + width / 2, y + height / 2 + 0.9);
    xml(g->out, p->ref);
    fputs("</text>\n", g->out);
  }
}

static void pads(const page *g)
{
  fputs("<g fill=\"#bbb\">\n", g->out);
  for (size_t i = 0; i < g->d->pad_count; i++)
    fprintf(g->out, "<circle cx=\"%.2f\" cy=\"%.2f\" r=\"%.2f\"/>\n", at_x(g, g->d->pads[i].at_mm[0]), at_y(g, g->d->pads[i].at_mm[1]),
            g->d->pads[i].radius_mm);
  fputs("</g>\n", g->out);
}

static void tracks(const page *g)
{
  for (size_t i = 0; i < g->d->track_count; i++)
    line(g, g->d->tracks[i].from_mm, g->d->tracks[i].to_mm,
         g->d->tracks[i].sure ? "stroke=\"#27a\" stroke-width=\"0.3\"" : "stroke=\"#27a\" stroke-width=\"0.2\" stroke-dasharray=\"0.5 0.8\"", g->d->tracks[i].tag);
}

static void marks(const page *g)
{
  for (size_t i = 0; i < g->d->mark_count; i++) {
    const lu_drawn_spot *q = &g->d->marks[i];
    fputs("<rect ", g->out);
    tag(g, q->tag);
    fprintf(g->out, "x=\"%.2f\" y=\"%.2f\" width=\"2\" height=\"2\" fill=\"none\" stroke=\"#d00\" stroke-width=\"0.4\"><title>", at_x(g, q->at_mm[0]) - 1,
            at_y(g, q->at_mm[1]) - 1);
    xml(g->out, q->name);
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
                     : "stroke=\"#d00\" stroke-width=\"0.8\" stroke-linecap=\"round\"",
         0);
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
  page g = {out, d, d->most_mm[0] - d->least_mm[0] + 2 * EDGE_MM, d->most_mm[1] - d->least_mm[1] + 2 * EDGE_MM};
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
