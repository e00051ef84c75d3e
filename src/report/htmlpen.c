/* SPDX-License-Identifier: MIT */
#include "report/htmlpen.h"

#include <math.h>
#include <string.h>

void lu_pen_raw(const lu_pen *w, const char *markup)
{
  fputs(markup, w->out);
}

void lu_pen_text(const lu_pen *w, const char *t)
{
  lu_html_text(w->out, t);
}

void lu_pen_brief(const lu_pen *w, const char *t, size_t most)
{
  bool all = strlen(t) <= most;
  lu_html_text_most(w->out, t, all ? SIZE_MAX : most - 3);
  lu_pen_raw(w, all ? "" : " ...");
}

void lu_pen_tagged(const lu_pen *w, const char *tag, const char *t)
{
  fprintf(w->out, "<%s>", tag);
  lu_pen_text(w, t);
  fprintf(w->out, "</%.*s>", (int)strcspn(tag, " "), tag);
}

unsigned lu_pen_net_number(const lu_page *p, const char *name)
{
  for (size_t i = 0; name && i < p->net_count; i++)
    if (!strcmp(p->nets[i], name))
      return (unsigned)i + 1;
  return 0;
}

size_t lu_pen_rank_of(const lu_page *p, const char *net)
{
  for (size_t i = 0; net && i < p->finding->suspect_count; i++)
    if (p->finding->suspects[i].net && !strcmp(p->finding->suspects[i].net, net))
      return i + 1;
  return 0;
}

void lu_pen_net(const lu_pen *w, const char *name)
{
  unsigned n = lu_pen_net_number(w->p, name);
  size_t rank = lu_pen_rank_of(w->p, name);
  if (rank && n)
    fprintf(w->out, "<a class=\"net\" href=\"#s%zu\" data-n=\"%u\">", rank, n);
  else if (n)
    fprintf(w->out, "<span class=\"net\" data-n=\"%u\">", n);
  else
    lu_pen_raw(w, "<span class=\"net\">");
  lu_pen_text(w, name);
  lu_pen_raw(w, rank && n ? "</a>" : "</span>");
}

void lu_pen_percent(double p, char *out, size_t room)
{
  snprintf(out, room, p > 0.995 && p < 1 ? "over 99 %%" : p > 0 && p < 0.005 ? "under 1 %%" : "%.0f %%", 100 * p);
}

void lu_pen_share(const lu_pen *w, double p)
{
  char words[24];
  lu_pen_percent(p, words, sizeof words);
  fprintf(w->out,
          "<span class=\"share\"><svg viewBox=\"0 0 100 10\" preserveAspectRatio=\"none\" aria-hidden=\"true\" focusable=\"false\">"
          "<rect class=\"t\" x=\"0\" y=\"0\" width=\"100\" height=\"10\"/><rect class=\"b\" x=\"0\" y=\"0\" width=\"%.1f\" height=\"10\"/></svg> "
          "<span class=\"n\">%s</span></span>",
          fmax(0.5, 100 * p), words);
}

void lu_pen_open_table_as(const lu_pen *w, const char *class, const char *caption, const char *const *heads)
{
  fprintf(w->out, "<div class=\"%s\"", class);
  lu_pen_raw(w, " tabindex=\"0\" role=\"group\" aria-label=\"");
  lu_pen_text(w, caption);
  lu_pen_raw(w, "\"><table><caption>");
  lu_pen_text(w, caption);
  lu_pen_raw(w, "</caption><thead><tr>");
  for (; *heads; heads++) {
    bool number = **heads == '#'; /* a column of numbers */
    fprintf(w->out, "<th scope=\"col\"%s>", number ? " class=\"n\"" : "");
    lu_pen_text(w, *heads + number);
    lu_pen_raw(w, "</th>");
  }
  lu_pen_raw(w, "</tr></thead><tbody>\n");
}

void lu_pen_open_table(const lu_pen *w, const char *caption, const char *const *heads)
{
  lu_pen_open_table_as(w, "wide", caption, heads);
}

void lu_pen_close_table(const lu_pen *w)
{
  lu_pen_raw(w, "</tbody></table></div>\n");
}

void lu_pen_open_section(const lu_pen *w, const char *id, const char *title)
{
  fprintf(w->out, "<section aria-labelledby=\"%s\"><h2 id=\"%s\">%s</h2>\n", id, id, title);
}

void lu_pen_close_section(const lu_pen *w)
{
  lu_pen_raw(w, "</section>\n");
}
