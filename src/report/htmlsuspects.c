/* SPDX-License-Identifier: MIT */
/* Of the page: verdict, suspects, explanations, symptoms. */
#include "report/htmlpen.h"

#include <inttypes.h>
#include <string.h>

/* The owner's page is one page of paper: what of each kind it holds. */
enum { OWNER_SUSPECTS = 3, OWNER_SHARE_PERCENT = 5, OWNER_TEXT = 240, ROWS_LEAST = 3 };
static const double row_share = 0.01; /* what is below it gets no row of its own */

/* --- the verdict ------------------------------------------------------------------------------------------ */

static const char *verdict_word(const lu_finding *f)
{
  return f->verdict[0] == 'c' ? "Nothing wrong was found" : f->verdict[0] == 'f' ? "There are faults" : "This cannot be judged";
}

/* "most likely DRA3 open: ... (97 %)" */
static void likeliest(const lu_pen *w, const lu_said_explanation *e)
{
  char words[24];
  lu_pen_raw(w, "most likely ");
  for (size_t k = 0; k < e->fault_count; k++) {
    lu_pen_raw(w, k ? "; and " : "");
    lu_pen_text(w, e->faults[k].text ? e->faults[k].text : e->faults[k].kind);
  }
  lu_pen_percent(e->probability, words, sizeof words);
  fprintf(w->out, " (%s)", words);
}

void lu_html_verdict(const lu_pen *w)
{
  const lu_finding *f = w->p->finding;
  lu_pen_open_section(w, "verdict", "Verdict");
  fprintf(w->out, "<p class=\"verdict\"><strong>%s</strong>", verdict_word(f));
  if (f->block) {
    lu_pen_raw(w, " in ");
    lu_pen_text(w, f->block);
  }
  lu_pen_raw(w, ": ");
  if (f->verdict[0] == 'f' && f->explanation_count)
    likeliest(w, &f->explanations[0]);
  else
    lu_pen_text(w, f->reason ? f->reason : "no reason is known");
  lu_pen_raw(w, ".</p>\n");
  if (w->p->stale) {
    lu_pen_raw(w, "<p class=\"warn\">");
    lu_pen_text(w, w->p->stale);
    lu_pen_raw(w, "</p>\n");
  }
  fprintf(w->out, "<p>%" PRIu64 " words of %u bits were read%s", f->words, f->width, f->passes > 1 ? " in several passes" : "");
  uint64_t wrong = 0;
  for (size_t i = 0; i < w->p->reading_count; i++)
    wrong += w->p->readings[i].known ? w->p->readings[i].map->wrong_words : 0;
  if (wrong)
    fprintf(w->out, "; %" PRIu64 " of them are not what they should be", wrong);
  lu_pen_raw(w, ".");
  if (f->unsteady_bits)
    fprintf(w->out, " %" PRIu64 " bits differ from pass to pass.", f->unsteady_bits);
  lu_pen_raw(w, "</p>\n");
  if (f->next && !w->p->owner) {
    lu_pen_raw(w, "<p><strong>First:</strong> ");
    lu_pen_text(w, f->next);
    lu_pen_raw(w, "</p>\n");
  }
  if (f->next_test && f->next_test->text && !w->p->owner) {
    lu_pen_raw(w, "<p><strong>Test to run next:</strong> ");
    lu_pen_text(w, f->next_test->text);
    lu_pen_raw(w, "</p>\n");
  }
  lu_pen_close_section(w);
}

/* --- suspects --------------------------------------------------------------------------------------------- */

static bool same_function(const lu_said_pin *a, const lu_said_pin *b)
{
  return a->function == b->function || (a->function && b->function && !strcmp(a->function, b->function));
}

/* Pins of one function together: "A3: U16.12, U17.12". */
static void pins(const lu_pen *w, const lu_said_suspect *s)
{
  for (size_t i = 0; i < s->pin_count; i++) {
    bool first = !i || !same_function(&s->pins[i - 1], &s->pins[i]);
    if (first && i)
      lu_pen_raw(w, "<br>");
    if (first && s->pins[i].function) {
      lu_pen_text(w, s->pins[i].function);
      lu_pen_raw(w, ": ");
    }
    lu_pen_raw(w, first ? "<span class=\"pin\">" : ", <span class=\"pin\">");
    lu_pen_text(w, s->pins[i].pin);
    lu_pen_raw(w, "</span>");
  }
}

static void suspect_name(const lu_pen *w, const lu_said_suspect *s)
{
  if (s->net)
    lu_pen_net(w, s->net);
  else
    lu_pen_tagged(w, "strong class=\"pin\"", s->part ? s->part : "?");
}

static void suspect_row(const lu_pen *w, size_t i)
{
  const lu_said_suspect *s = &w->p->finding->suspects[i];
  fprintf(w->out, "<tr id=\"s%zu\"><td class=\"n\">%zu</td><th scope=\"row\">", i + 1, i + 1);
  suspect_name(w, s);
  lu_pen_raw(w, "</th><td>");
  lu_pen_share(w, s->probability);
  lu_pen_raw(w, "</td><td>");
  pins(w, s);
  lu_pen_raw(w, "</td><td>");
  lu_pen_text(w, s->why);
  if (s->where) {
    lu_pen_raw(w, "<br>Where: ");
    lu_pen_text(w, s->where);
  }
  lu_pen_raw(w, "</td><td>");
  lu_pen_text(w, s->settle ? s->settle : "");
  lu_pen_raw(w, "</td></tr>\n");
}

static void less_likely(const lu_pen *w, size_t from)
{
  const lu_finding *f = w->p->finding;
  if (from < f->suspect_count)
    lu_pen_raw(w, "<h3>Less likely, under 1 % each</h3><ul class=\"run\">\n");
  for (size_t i = from; i < f->suspect_count; i++) {
    fprintf(w->out, "<li id=\"s%zu\">", i + 1);
    suspect_name(w, &f->suspects[i]);
    lu_pen_raw(w, "</li>\n");
  }
  lu_pen_raw(w, from < f->suspect_count ? "</ul>\n" : "");
}

void lu_html_suspects(const lu_pen *w)
{
  static const char *const heads[] = {"#Rank", "Net or part", "Probability", "Pins", "Why", "What would settle it", NULL};
  const lu_finding *f = w->p->finding;
  lu_pen_open_section(w, "suspects", "Suspects");
  if (!f->suspect_count)
    lu_pen_raw(w, "<p>Nothing is suspected.</p>\n");
  else {
    lu_pen_open_table_as(w, "wide ranked", "Nets and parts to measure, most probable first", heads);
    size_t shown = 0;
    while (shown < f->suspect_count && (shown < ROWS_LEAST || f->suspects[shown].probability >= row_share))
      suspect_row(w, shown++);
    lu_pen_close_table(w);
    less_likely(w, shown);
  }
  if (f->alike) {
    lu_pen_raw(w, "<p>");
    lu_pen_text(w, f->alike);
    lu_pen_raw(w, "</p>\n");
  }
  if (w->p->guess_count) {
    static const char *const guess_heads[] = {"What may be broken", "Probability", NULL};
    lu_pen_raw(w, "<h3>With the readings taken so far</h3>\n");
    lu_pen_open_table(w, "What dumps and readings together leave", guess_heads);
    for (size_t i = 0; i < w->p->guess_count; i++) {
      lu_pen_raw(w, "<tr><td>");
      lu_pen_text(w, w->p->guesses[i].text);
      lu_pen_raw(w, "</td><td>");
      lu_pen_share(w, w->p->guesses[i].probability);
      lu_pen_raw(w, "</td></tr>\n");
    }
    lu_pen_close_table(w);
  }
  lu_pen_close_section(w);
}

void lu_html_owner_suspects(const lu_pen *w)
{
  const lu_finding *f = w->p->finding;
  size_t shown = 0;
  lu_pen_open_section(w, "suspects", "What is most likely broken");
  lu_pen_raw(w, "<ol>\n");
  for (size_t i = 0; i < f->suspect_count && shown < OWNER_SUSPECTS; i++) {
    const lu_said_suspect *s = &f->suspects[i];
    char words[24];
    if (100 * s->probability < OWNER_SHARE_PERCENT)
      continue;
    lu_pen_percent(s->probability, words, sizeof words);
    fprintf(w->out, "<li id=\"s%zu\">", i + 1);
    lu_pen_raw(w, s->net ? "the connection " : "the chip ");
    suspect_name(w, s);
    fprintf(w->out, ", %s: ", words);
    lu_pen_brief(w, s->why, OWNER_TEXT);
    lu_pen_raw(w, "</li>\n");
    shown++;
  }
  lu_pen_raw(w, shown ? "</ol>\n" : "<li>nothing in particular</li></ol>\n");
  lu_pen_close_section(w);
}

/* --- explanations and symptoms ---------------------------------------------------------------------------- */

void lu_html_explanations(const lu_pen *w)
{
  static const char *const heads[] = {"#Rank", "Faults", "Probability", "#Explains", NULL};
  const lu_finding *f = w->p->finding;
  lu_pen_open_section(w, "explanations", "Explanations");
  if (!f->explanation_count)
    lu_pen_raw(w, "<p>None: nothing has to be explained, or no fault of the model does.</p>\n");
  else
    lu_pen_open_table(w, "Faults that together would give what was read, each checked against every word", heads);
  size_t shown = 0;
  for (size_t i = 0; i < f->explanation_count && (i < ROWS_LEAST || f->explanations[i].probability >= row_share); i++, shown++) {
    const lu_said_explanation *e = &f->explanations[i];
    fprintf(w->out, "<tr><td class=\"n\">%zu</td><td>", i + 1);
    for (size_t k = 0; k < e->fault_count; k++) {
      lu_pen_raw(w, k ? "<br>" : "");
      lu_pen_text(w, e->faults[k].text ? e->faults[k].text : e->faults[k].kind);
    }
    lu_pen_raw(w, "</td><td>");
    lu_pen_share(w, e->probability);
    char words[24];
    lu_pen_percent(e->explained, words, sizeof words);
    fprintf(w->out, "</td><td class=\"n\">%s</td></tr>\n", words);
  }
  if (f->explanation_count)
    lu_pen_close_table(w);
  if (shown < f->explanation_count)
    fprintf(w->out, "<p>%zu more, under 1 %% each, are left out.</p>\n", f->explanation_count - shown);
  if (f->masked) {
    lu_pen_raw(w, "<p>");
    lu_pen_text(w, f->masked);
    lu_pen_raw(w, "</p>\n");
  }
  if (f->hypotheses)
    fprintf(w->out, "<p class=\"soft\">%" PRIu64 " hypotheses were compared with what was read. Single faults: %s. Pairs: %s.</p>\n", f->hypotheses,
            f->singles_done ? "all" : "not all", f->pairs_done ? "all" : "not all");
  lu_pen_close_section(w);
}

void lu_html_symptoms(const lu_pen *w)
{
  const lu_finding *f = w->p->finding;
  lu_pen_open_section(w, "symptoms", "Symptoms");
  lu_pen_raw(w, f->symptom_count ? "<ul>\n" : "<p>No regularity was seen.</p>\n");
  for (size_t i = 0; i < f->symptom_count; i++)
    lu_pen_tagged(w, "li", f->symptoms[i].text);
  lu_pen_raw(w, f->symptom_count ? "</ul>\n" : "");
  if (f->note_count) {
    lu_pen_raw(w, "<h3>Remarks</h3><ul>\n");
    for (size_t i = 0; i < f->note_count; i++)
      lu_pen_tagged(w, "li", f->notes[i]);
    lu_pen_raw(w, "</ul>\n");
  }
  lu_pen_close_section(w);
}
