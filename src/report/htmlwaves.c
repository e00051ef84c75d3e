/* SPDX-License-Identifier: MIT */
/* Of the page: what a capture shows around the read that decides. */
#include "report/htmlpen.h"

static void told(const lu_pen *w, const char *what, const char *value)
{
  lu_pen_tagged(w, "dt", what);
  lu_pen_tagged(w, "dd", value);
}

static void wave(const lu_pen *w, const lu_page_wave *x)
{
  lu_pen_raw(w, "<h3>");
  lu_pen_text(w, x->block);
  lu_pen_raw(w, ", in ");
  lu_pen_text(w, x->source);
  lu_pen_raw(w, "</h3>\n<figure><div class=\"draw\" tabindex=\"0\" role=\"group\" aria-label=\"A window of the capture\">");
  lu_pen_raw(w, x->svg);
  lu_pen_raw(w, "</div><figcaption>Drawn, to scale in time: ");
  lu_pen_text(w, x->lines);
  lu_pen_raw(w, ". The deciding cycle is shaded; the upright line is where it ends.</figcaption></figure>\n<p>");
  if (x->net) {
    lu_pen_raw(w, "Lines that run over the first suspect, ");
    lu_pen_net(w, x->net);
    lu_pen_raw(w, ", and the strobes.");
  } else {
    lu_pen_raw(w, "No line of the first suspect is in the capture: drawn are the data bits that are wrong, and the strobes.");
  }
  lu_pen_raw(w, "</p>\n<dl>\n");
  told(w, "Deciding cycle", "the first read that is wrong");
  told(w, "Time", x->when);
  told(w, "Address", x->address);
  told(w, "Got", x->got);
  told(w, "Expected", x->expected);
  told(w, "Wrong bits", x->bits);
  lu_pen_raw(w, "</dl>\n");
}

void lu_html_waves(const lu_pen *w)
{
  if (!w->p->wave_count)
    return;
  lu_pen_open_section(w, "capture", "The capture around the first wrong read");
  for (size_t i = 0; i < w->p->wave_count; i++)
    wave(w, &w->p->waves[i]);
  lu_pen_close_section(w);
}
