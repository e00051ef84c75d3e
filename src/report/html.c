/* SPDX-License-Identifier: MIT */
#include "report/html.h"

#include "report/htmlpen.h"
#include "report/htmlstyle.h"

/* --- cautions --------------------------------------------------------------------------------------------- */

static void cautions(const lu_pen *w)
{
  lu_pen_open_section(w, "cautions", "Before you touch the board");
  lu_pen_raw(w, "<ul>\n"
         "<li><strong>Mains:</strong> unplug before opening. Supplies and monitors hold voltages that kill; work on the mains side is for people "
         "who are trained and licensed for it.</li>\n"
         "<li><strong>Charged capacitors</strong> stay charged after the plug is out. Let them discharge through a fit resistor and measure that "
         "they are empty.</li>\n"
         "<li><strong>Leaked batteries and capacitors</strong> leave alkali or acid: gloves and eye protection, nothing in the mouth, wash off "
         "what touches skin with much water; see a doctor if it reached an eye.</li>\n"
         "<li><strong>Soldering:</strong> flux fumes and lead harm. Air out, do not eat at the bench, wash hands. Solvents are flammable: no flame, "
         "no hot iron beside them.</li>\n"
         "<li><strong>Static</strong> kills chips unseen: wrist strap, and power off before a chip goes in or out.</li>\n"
         "<li>Continuity and ohms only with power off and the battery out.</li>\n"
         "</ul><p>Local rules for electrical work, waste and workplaces come first. This page is no permission to do work that needs a licence.</p>\n");
  lu_pen_close_section(w);
}

static void owner_words(const lu_pen *w)
{
  lu_pen_open_section(w, "means", "What this means");
  lu_pen_raw(w, w->p->finding->verdict[0] == 'c'
             ? "<p>Everything that was read is as it should be. That holds for what was read, and for the day it was read.</p>\n"
             : "<p>The memory of this board was read through its own wiring. The names above are the connections and chips that would, if broken, "
               "give exactly what was read. Percentages weigh them against each other; a measurement decides.</p>\n");
  lu_pen_close_section(w);
}

/* --- the page --------------------------------------------------------------------------------------------- */

static void page_title(const lu_pen *w)
{
  lu_pen_text(w, w->p->finding->title ? w->p->finding->title : w->p->source);
}

static void head(const lu_pen *w)
{
  lu_pen_raw(w, "<!DOCTYPE html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n<title>");
  page_title(w);
  lu_pen_raw(w, ": report</title>\n<meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n"
         "<meta http-equiv=\"Content-Security-Policy\" content=\"default-src 'none'; img-src data:; style-src 'unsafe-inline'; script-src "
         "'sha256-" LU_HTML_SCRIPT_SHA256 "'; base-uri 'none'; form-action 'none'\">\n"
         "<meta name=\"generator\" content=\"lineup " LU_VERSION "\">\n<style>\n");
  lu_pen_raw(w, lu_html_style);
  lu_pen_raw(w, lu_html_figure_style);
  lu_pen_raw(w, lu_html_print_style);
  lu_pen_raw(w, "</style>\n</head>\n");
  lu_pen_raw(w, w->p->owner ? "<body class=\"owner\">\n" : "<body>\n");
  lu_pen_raw(w, "<a class=\"skip\" href=\"#main\">To the verdict</a>\n<header><h1>");
  page_title(w);
  lu_pen_raw(w, "</h1>\n<p class=\"soft\">From ");
  lu_pen_text(w, w->p->source);
  lu_pen_raw(w, "</p></header>\n");
}

static void contents(const lu_pen *w)
{
  const lu_page *p = w->p;
  const struct {
    const char *id, *title;
    bool there;
  } parts[] = {{"suspects", "Suspects", true},
               {"explanations", "Explanations", true},
               {"symptoms", "Symptoms", true},
               {"maps", "Maps", true},
               {"capture", "Capture", p->wave_count},
               {"board", "Board", p->picture_count},
               {"wires", "Wires", p->wire_count || p->wire_note_count},
               {"lines", "Lines", p->line_count},
               {"worksheet", "Worksheet", true},
               {"readings", "Readings", p->has_job},
               {"repairs", "Repairs", p->has_job},
               {"changes", "Before and after", p->has_job},
               {"checks", "Verification", p->has_job},
               {"history", "History", p->has_job},
               {"cautions", "Cautions", true}};
  lu_pen_raw(w, "<nav aria-label=\"Parts of this page\"><ul>\n");
  for (size_t i = 0; i < sizeof parts / sizeof *parts; i++)
    if (parts[i].there)
      fprintf(w->out, "<li><a href=\"#%s\">%s</a></li>\n", parts[i].id, parts[i].title);
  lu_pen_raw(w, "</ul></nav>\n");
}

static void bench_page(const lu_pen *w)
{
  lu_html_suspects(w);
  lu_html_explanations(w);
  lu_html_symptoms(w);
  lu_html_maps(w);
  lu_html_waves(w);
  lu_html_pictures(w);
  lu_html_wires(w);
  lu_html_lines(w);
  lu_html_worksheet(w);
  if (w->p->has_job) {
    lu_html_events(w, "readings", "Readings taken", "reading", "None yet.");
    lu_html_events(w, "repairs", "Repairs", "repair", "None yet.");
    lu_html_changes(w);
    lu_html_checks(w);
    lu_html_events(w, "history", "History", NULL, "Nothing yet.");
  }
}

static void owner_page(const lu_pen *w)
{
  lu_html_owner_suspects(w);
  owner_words(w);
  if (w->p->has_job)
    lu_html_events(w, "repairs", "What was done", "repair", "Nothing was repaired yet.");
  lu_html_checks(w);
  lu_html_owner_maps(w);
}

bool lu_report_html(FILE *out, const lu_page *p)
{
  const lu_pen w = {out, p};
  head(&w);
  if (!p->owner)
    contents(&w);
  lu_pen_raw(&w, "<main id=\"main\">\n");
  lu_html_verdict(&w);
  if (p->owner)
    owner_page(&w);
  else
    bench_page(&w);
  cautions(&w);
  lu_pen_raw(&w, "</main>\n<footer class=\"soft\"><p>Written by lineup " LU_VERSION ". Probabilities are those of its model of faults; a measurement "
          "decides.</p></footer>\n");
  if (!p->owner) {
    lu_pen_raw(&w, "<script>");
    lu_pen_raw(&w, lu_html_script);
    lu_pen_raw(&w, "</script>\n");
  }
  lu_pen_raw(&w, "</body>\n</html>\n");
  return !ferror(out);
}
