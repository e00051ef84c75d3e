/* SPDX-License-Identifier: MIT */
/* Of the page: the board drawn, repair wires, lines hop by hop. */
#include "report/htmlpen.h"

#include <math.h>

/* --- the board -------------------------------------------------------------------------------------------- */

static void picture(const lu_pen *w, const lu_page_picture *x)
{
  lu_pen_raw(w, "<figure><div class=\"draw\" tabindex=\"0\" role=\"group\" aria-label=\"");
  lu_pen_text(w, x->title);
  lu_pen_raw(w, "\">");
  lu_pen_raw(w, x->svg);
  lu_pen_raw(w, "</div><figcaption>");
  lu_pen_text(w, x->title);
  lu_pen_raw(w, "</figcaption></figure>\n");
}

void lu_html_pictures(const lu_pen *w)
{
  const lu_page *p = w->p;
  if (!p->picture_count)
    return;
  lu_pen_open_section(w, "board", "The board");
  lu_pen_raw(w, "<p class=\"soft\">Suspect pins are framed. A dotted track is a guess: the shortest way. Thick lines with a number are the repair wires "
         "listed below; a broken one lies on the other side.</p>\n");
  for (size_t i = 0; i < p->side_count; i++)
    picture(w, &p->pictures[i]);
  if (p->picture_count > p->side_count)
    lu_pen_raw(w, "<div class=\"chips\">\n");
  for (size_t i = p->side_count; i < p->picture_count; i++)
    picture(w, &p->pictures[i]);
  if (p->picture_count > p->side_count)
    lu_pen_raw(w, "</div>\n");
  lu_pen_close_section(w);
}

/* --- wires ------------------------------------------------------------------------------------------------ */

static void wire_row(const lu_pen *w, size_t i)
{
  const lu_page_wire *x = &w->p->wires[i];
  fprintf(w->out, "<tr><td class=\"n\">%zu</td><th scope=\"row\">", i + 1);
  lu_pen_net(w, x->net ? w->p->nets[x->net - 1] : "?");
  lu_pen_raw(w, "</th><td>");
  lu_pen_text(w, x->from);
  lu_pen_raw(w, "</td><td>");
  lu_pen_text(w, x->to);
  if (x->length_mm > 0)
    fprintf(w->out, "</td><td class=\"n\">%.1f</td><td>", x->length_mm);
  else
    lu_pen_raw(w, "</td><td class=\"n\">not known</td><td>");
  lu_pen_text(w, x->side ? x->side : "");
  if (x->note) {
    lu_pen_raw(w, x->side ? "; " : "");
    lu_pen_text(w, x->note);
  }
  lu_pen_raw(w, "</td></tr>\n");
}

void lu_html_wires(const lu_pen *w)
{
  static const char *const heads[] = {"#Wire", "Net", "From", "To", "#Straight, mm", "Side, remarks", NULL};
  const lu_page *p = w->p;
  if (!p->wire_count && !p->wire_note_count)
    return;
  lu_pen_open_section(w, "wires", "Repair wires");
  lu_pen_raw(w, "<p>Only where a measurement has shown that the copper is broken, not a contact. Power off, battery out.</p>\n");
  if (p->wire_note_count)
    lu_pen_raw(w, "<ul>\n");
  for (size_t i = 0; i < p->wire_note_count; i++)
    lu_pen_tagged(w, "li", p->wire_notes[i]);
  if (p->wire_note_count)
    lu_pen_raw(w, "</ul>\n");
  if (p->wire_count)
    lu_pen_open_table(w, "Wires, numbered as in the drawing", heads);
  for (size_t i = 0; i < p->wire_count; i++)
    wire_row(w, i);
  if (p->wire_count) {
    lu_pen_close_table(w);
    lu_pen_raw(w, "<p>Cut each wire some 15 mm longer than straight: it is looped around a pin at both ends. Measure each net from leg to leg "
           "afterwards.</p>\n");
  }
  lu_pen_close_section(w);
}

/* --- lines ------------------------------------------------------------------------------------------------ */

static void step(const lu_pen *w, const lu_page_step *s)
{
  lu_pen_raw(w, "<li>");
  if (s->net) {
    lu_pen_net(w, s->text);
    if (s->suspicion > 0) {
      char words[24];
      lu_pen_percent(s->suspicion, words, sizeof words);
      fprintf(w->out, " <span class=\"flag\">suspect, %s</span>", words);
    }
  } else {
    lu_pen_tagged(w, "span class=\"pin\"", s->text);
  }
  lu_pen_raw(w, "</li>");
}

static void line_table(const lu_pen *w, const char *caption, bool suspect)
{
  static const char *const broken[] = {"Line", "Block", "Way, from where it was read to the chips", "Broken", NULL},
                    *const sound[] = {"Line", "Block", "Way, from where it was read to the chips", NULL};
  size_t shown = 0;
  for (size_t i = 0; i < w->p->line_count; i++) {
    const lu_page_line *l = &w->p->lines[i];
    if (l->suspect != suspect)
      continue;
    if (!shown++)
      lu_pen_open_table(w, caption, suspect ? broken : sound);
    lu_pen_raw(w, "<tr><th scope=\"row\">");
    lu_pen_text(w, l->name);
    lu_pen_raw(w, "</th><td>");
    lu_pen_text(w, l->block);
    lu_pen_raw(w, "</td><td><ol class=\"way\">");
    for (size_t k = 0; k < l->step_count; k++)
      step(w, &l->steps[k]);
    lu_pen_raw(w, suspect ? "</ol></td><td>" : "</ol>");
    lu_pen_text(w, suspect && l->broken ? l->broken : "");
    lu_pen_raw(w, "</td></tr>\n");
  }
  if (shown)
    lu_pen_close_table(w);
}

void lu_html_lines(const lu_pen *w)
{
  if (!w->p->line_count)
    return;
  lu_pen_open_section(w, "lines", "The lines, hop by hop");
  line_table(w, "Lines that run over a suspect net", true);
  line_table(w, "The other lines", false);
  lu_pen_close_section(w);
}
