/* SPDX-License-Identifier: MIT */
#ifndef LU_REPORT_HTMLPEN_H
#define LU_REPORT_HTMLPEN_H
/* Inside the report page (html.h): what its parts write with, and the parts. Errors stay in the stream. */
#include "report/html.h"

typedef struct lu_pen {
  FILE *out;
  const lu_page *p;
} lu_pen;

void lu_pen_raw(const lu_pen *w, const char *markup);
/* Untrusted text, escaped. */
void lu_pen_text(const lu_pen *w, const char *t);
/* As much of it as the owner's page has room for: at most so many characters. */
void lu_pen_brief(const lu_pen *w, const char *t, size_t most);
/* <tag>text</tag>; tag may have attributes. */
void lu_pen_tagged(const lu_pen *w, const char *tag, const char *t);
/* The number by which a net is marked everywhere; 0: none. */
unsigned lu_pen_net_number(const lu_page *p, const char *name);
/* A net's place among the suspects, from 1; 0: none. */
size_t lu_pen_rank_of(const lu_page *p, const char *net);
/* A net's name; one that is suspect leads to its row, so that the keyboard reaches it. */
void lu_pen_net(const lu_pen *w, const char *name);
void lu_pen_percent(double p, char *out, size_t room);
/* A bar with its number; the number is what a reader without eyes for the bar gets. */
void lu_pen_share(const lu_pen *w, double p);
/* heads end with NULL; one that begins with # is of a column of numbers. Class ranked: rows become blocks in a narrow window. */
void lu_pen_open_table_as(const lu_pen *w, const char *class, const char *caption, const char *const *heads);
void lu_pen_open_table(const lu_pen *w, const char *caption, const char *const *heads);
void lu_pen_close_table(const lu_pen *w);
void lu_pen_open_section(const lu_pen *w, const char *id, const char *title);
void lu_pen_close_section(const lu_pen *w);

/* The parts. Those with owner in their names are of the short page. */
void lu_html_verdict(const lu_pen *w);
void lu_html_suspects(const lu_pen *w);
void lu_html_owner_suspects(const lu_pen *w);
void lu_html_explanations(const lu_pen *w);
void lu_html_symptoms(const lu_pen *w);
void lu_html_maps(const lu_pen *w);
void lu_html_owner_maps(const lu_pen *w);
void lu_html_waves(const lu_pen *w);
void lu_html_pictures(const lu_pen *w);
void lu_html_wires(const lu_pen *w);
void lu_html_lines(const lu_pen *w);
void lu_html_changes(const lu_pen *w);
void lu_html_checks(const lu_pen *w);
void lu_html_worksheet(const lu_pen *w);
/* Entries of one kind (NULL: all) of the job's history; none: what is said when there are none. */
void lu_html_events(const lu_pen *w, const char *id, const char *title, const char *kind, const char *none);

#endif
