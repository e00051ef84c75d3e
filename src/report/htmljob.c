/* SPDX-License-Identifier: MIT */
/* Of the page: before and after, verification, worksheet, what the job holds. */
#include "report/htmlpen.h"

#include <inttypes.h>
#include <string.h>

/* What the one page of the owner has room for. */
enum { OWNER_CHECKS = 2, OWNER_EVENTS = 5, OWNER_EVENT_TEXT = 130 };

/* --- before and after ------------------------------------------------------------------------------------- */

static void change_row(const lu_pen *w, const lu_page_change *c)
{
  lu_pen_raw(w, "<tr><th scope=\"row\">");
  lu_pen_text(w, c->block);
  lu_pen_raw(w, "</th><td>");
  lu_pen_text(w, c->before);
  lu_pen_raw(w, "</td><td>");
  lu_pen_text(w, c->after);
  fprintf(w->out, "</td><td class=\"n\">%" PRIu64 "</td><td class=\"n\">%" PRIu64 "</td>", c->words, c->changed);
  if (c->known)
    fprintf(w->out, "<td class=\"n\">%" PRIu64 "</td><td class=\"n\">%" PRIu64 "</td><td class=\"n\">%" PRIu64 "</td><td class=\"n\">%" PRIu64 "</td></tr>\n",
            c->wrong_before, c->wrong_after, c->cured, c->spoilt);
  else
    lu_pen_raw(w, "<td colspan=\"4\">nothing is known of the contents</td></tr>\n");
}

static void suspects_then(const lu_pen *w, const char *title, const char *names)
{
  lu_pen_raw(w, "<dt>");
  lu_pen_raw(w, title);
  lu_pen_raw(w, "</dt><dd>");
  lu_pen_text(w, names ? names : "none");
  lu_pen_raw(w, "</dd>\n");
}

void lu_html_changes(const lu_pen *w)
{
  static const char *const heads[] = {"Block", "As found", "Now", "#Words", "#Changed", "#Wrong before", "#Wrong now", "#Cured", "#Newly wrong", NULL};
  const lu_page *p = w->p;
  if (!w->p->has_job)
    return;
  lu_pen_open_section(w, "changes", "Before and after");
  if (!p->change_count) {
    lu_pen_raw(w, "<p>No block was read a second time yet.</p>\n");
  } else {
    lu_pen_open_table(w, "Words of each block, as it was found first and as it was read last", heads);
    for (size_t i = 0; i < p->change_count; i++)
      change_row(w, &p->changes[i]);
    lu_pen_close_table(w);
    lu_pen_raw(w, "<dl>\n");
    suspects_then(w, "Suspects that are cleared", p->cleared);
    suspects_then(w, "That remain", p->remaining);
    suspects_then(w, "That are new", p->fresh);
    lu_pen_raw(w, "</dl>\n");
  }
  lu_pen_close_section(w);
}

/* --- verification ----------------------------------------------------------------------------------------- */

static void check(const lu_pen *w, const lu_page_check *c)
{
  lu_pen_raw(w, "<h3>");
  lu_pen_text(w, c->block);
  lu_pen_raw(w, ": ");
  lu_pen_text(w, c->verdict);
  lu_pen_raw(w, "</h3>\n<p>");
  fprintf(w->out, "Entry %" PRIu64 ", ", c->id);
  lu_pen_tagged(w, "time", c->at);
  lu_pen_raw(w, ": ");
  lu_pen_text(w, c->figures);
  lu_pen_raw(w, ".");
  if (c->before_repair)
    lu_pen_raw(w, " <strong>The board was repaired after this test: run it again.</strong>");
  lu_pen_raw(w, "</p>\n");
  if (c->patterns && !w->p->owner) {
    lu_pen_raw(w, "<p>Patterns: ");
    lu_pen_text(w, c->patterns);
    lu_pen_raw(w, ".</p>\n");
  }
  if (c->proves) {
    lu_pen_raw(w, "<p>");
    lu_pen_text(w, c->proves);
    lu_pen_raw(w, " ");
    lu_pen_text(w, c->left);
    lu_pen_raw(w, "</p>\n");
  }
}

void lu_html_checks(const lu_pen *w)
{
  const lu_page *p = w->p;
  size_t most = p->owner ? OWNER_CHECKS : p->check_count;
  if (!p->has_job)
    return;
  lu_pen_open_section(w, "checks", "Verification");
  for (size_t i = 0; i < p->check_count && i < most; i++)
    check(w, &p->checks[i]);
  if (!p->check_count)
    lu_pen_raw(w, p->owner ? "<p>The board was not tested over time yet.</p>\n"
                    : "<p>Nothing was verified yet. A pass of <code>lineup verify --job</code> stands here with its figures and with what it "
                      "proves.</p>\n");
  lu_pen_close_section(w);
}

/* --- worksheet -------------------------------------------------------------------------------------------- */

static void task(const lu_pen *w, size_t i)
{
  const lu_page_task *t = &w->p->tasks[i];
  fprintf(w->out, "<tr><td class=\"n\">%zu</td><td>", i + 1);
  lu_pen_text(w, t->what);
  if (t->reason) {
    lu_pen_raw(w, "<br><span class=\"soft\">");
    lu_pen_text(w, t->reason);
    lu_pen_raw(w, "</span>");
  }
  lu_pen_raw(w, "</td><td>");
  for (size_t k = 0; k < 4 && t->boxes[k]; k++) {
    lu_pen_raw(w, "<span class=\"opt\"><span class=\"box\" aria-hidden=\"true\"></span>");
    lu_pen_text(w, t->boxes[k]);
    lu_pen_raw(w, "</span>");
  }
  if (t->unit) {
    lu_pen_raw(w, "<span class=\"opt\"><span class=\"line\" aria-hidden=\"true\"></span> ");
    lu_pen_text(w, t->unit);
    lu_pen_raw(w, "</span>");
  }
  lu_pen_raw(w, "</td></tr>\n");
}

void lu_html_worksheet(const lu_pen *w)
{
  static const char *const heads[] = {"#No.", "Measure", "It read", NULL};
  lu_pen_open_section(w, "worksheet", "Worksheet");
  if (!w->p->task_count) {
    lu_pen_raw(w, "<p>No reading is asked for.</p>\n");
  } else {
    lu_pen_raw(w, "<p>Leg means the chip's own leg above its socket, not the solder pad below: a contact may be the break.</p>\n");
    lu_pen_open_table(w, "Readings to take, in this order; tick or fill in", heads);
    for (size_t i = 0; i < w->p->task_count; i++)
      task(w, i);
    lu_pen_close_table(w);
  }
  lu_pen_close_section(w);
}

/* --- the job ---------------------------------------------------------------------------------------------- */

static void event_row(const lu_pen *w, const lu_page_event *e, bool with_kind)
{
  fprintf(w->out, "<tr><td class=\"n\">%" PRIu64 "</td><td>", e->id);
  lu_pen_tagged(w, "time", e->at);
  lu_pen_raw(w, "</td><td>");
  if (with_kind) {
    lu_pen_text(w, e->kind);
    lu_pen_raw(w, "</td><td>");
  }
  lu_pen_raw(w, e->withdrawn ? "<s>" : "<span>");
  if (w->p->owner)
    lu_pen_brief(w, e->text, OWNER_EVENT_TEXT);
  else
    lu_pen_text(w, e->text);
  lu_pen_raw(w, e->withdrawn ? "</s> (taken back)</td></tr>\n" : "</span></td></tr>\n");
}

static size_t count_events(const lu_page *p, const char *kind)
{
  size_t n = 0;
  for (size_t i = 0; i < p->event_count; i++)
    n += !kind || !strcmp(kind, p->events[i].kind);
  return n;
}

void lu_html_events(const lu_pen *w, const char *id, const char *title, const char *kind, const char *none)
{
  static const char *const heads[] = {"#Entry", "When (UTC)", "What", NULL}, *const all[] = {"#Entry", "When (UTC)", "Kind", "What", NULL};
  size_t count = count_events(w->p, kind), skip = w->p->owner && count > OWNER_EVENTS ? count - OWNER_EVENTS : 0, at = 0;
  lu_pen_open_section(w, id, title);
  if (skip)
    fprintf(w->out, "<p>%zu earlier ones are left out here.</p>\n", skip);
  if (count)
    lu_pen_open_table(w, kind ? "Entries of the job, oldest first" : "All entries of the job, oldest first", kind ? heads : all);
  for (size_t i = 0; i < w->p->event_count; i++)
    if ((!kind || !strcmp(kind, w->p->events[i].kind)) && at++ >= skip)
      event_row(w, &w->p->events[i], !kind);
  if (count)
    lu_pen_close_table(w);
  else
    fprintf(w->out, "<p>%s</p>\n", none);
  lu_pen_close_section(w);
}
