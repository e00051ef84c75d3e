/* SPDX-License-Identifier: MIT */
#include "report/report.h"

#include "base/text.h"
#include <inttypes.h>
#include <stdarg.h>
#include <string.h>

enum { SUSPECTS_SHOWN = 8, EXPLANATIONS_SHOWN = 3, SYMPTOMS_SHOWN = 10, PINS_SHOWN = 6, BAR = 10 };

typedef struct page {
  FILE *out;
  const lu_text_style *style;
  unsigned width;
} page;

static void paint(const page *p, const char *code)
{
  if (p->style->color)
    fprintf(p->out, "\033[%sm", code);
}

/* Prints words, broken at blanks, with a hanging indent. Control characters become '?'. */
static void flow(const page *p, unsigned indent, unsigned at, const char *text)
{
  bool blank = false; /* stood before the word: printed unless the line is broken there */
  while (*text) {
    size_t len = strcspn(text, " ");
    if (at + blank + len > p->width && at > indent) {
      fprintf(p->out, "\n%*s", (int)indent, "");
      at = indent;
    } else if (blank) {
      fputc(' ', p->out);
      at++;
    }
    for (size_t i = 0; i < len;) {
      unsigned shown = lu_text_shown(text + i);
      fwrite(shown ? text + i : "?", 1, shown ? shown : 1, p->out);
      i += shown ? shown : 1;
    }
    at += (unsigned)len;
    text += len;
    blank = *text == ' ';
    text += blank;
  }
  fputc('\n', p->out);
}

static void say(const page *p, unsigned indent, const char *format, ...) __attribute__((format(printf, 3, 4)));
static void say(const page *p, unsigned indent, const char *format, ...)
{
  char text[1200];
  va_list ap;
  va_start(ap, format);
  vsnprintf(text, sizeof text, format, ap);
  va_end(ap);
  fprintf(p->out, "%*s", (int)indent, "");
  flow(p, indent, indent, text);
}

static void heading(const page *p, const char *text)
{
  fputc('\n', p->out);
  paint(p, "1");
  fputs(text, p->out);
  paint(p, "0");
  fputc('\n', p->out);
}

static void verdict(const page *p, const lu_finding *f)
{
  const char *color = f->verdict[0] == 'c' ? "1;32" : f->verdict[0] == 'f' ? "1;31" : "1;33";
  const char *word = f->verdict[0] == 'c' ? "Nothing wrong" : f->verdict[0] == 'f' ? "Faults found" : "Cannot be judged";
  paint(p, color);
  fputs(word, p->out);
  paint(p, "0");
  char text[1200];
  snprintf(text, sizeof text, "%s%.120s: %.1000s.", f->block ? " in " : "", f->block ? f->block : "", f->reason);
  flow(p, 0, (unsigned)strlen(word), text);
  if (f->wrong_words)
    say(p, 0, "%" PRIu64 " words of %u bits read, %" PRIu64 " of them differ.", f->words, f->width, f->wrong_words);
  else
    say(p, 0, "%" PRIu64 " words of %u bits read.", f->words, f->width);
}

static void bar(const page *p, double share)
{
  unsigned full = (unsigned)(share * BAR + 0.5);
  for (unsigned i = 0; i < BAR; i++)
    fputs(i < full ? (p->style->utf8 ? "\xe2\x96\xa0" : "#") : (p->style->utf8 ? "\xc2\xb7" : "."), p->out);
}

static void suspect(const page *p, const lu_said_suspect *s, size_t rank)
{
  char pins[400] = "";
  for (size_t i = 0; i < s->pin_count && i < PINS_SHOWN; i++) {
    size_t n = strlen(pins);
    snprintf(pins + n, sizeof pins - n, "%s%s (%s)", i ? ", " : "", s->pins[i].pin, s->pins[i].function);
  }
  if (s->pin_count > PINS_SHOWN) {
    size_t n = strlen(pins);
    snprintf(pins + n, sizeof pins - n, " and %zu more", s->pin_count - PINS_SHOWN);
  }
  fprintf(p->out, "%2zu. ", rank);
  bar(p, s->probability);
  fprintf(p->out, " %3.0f %%  ", s->probability * 100);
  paint(p, "1");
  char name[160];
  snprintf(name, sizeof name, "%.150s", s->net ? s->net : s->part);
  lu_text_tidy(name);
  fputs(name, p->out);
  paint(p, "0");
  if (pins[0]) {
    fputs("  ", p->out);
    flow(p, 22, 24 + (unsigned)strlen(name), pins);
  } else {
    fputc('\n', p->out);
  }
  if (s->why)
    say(p, 22, "%s", s->why);
  if (s->where)
    say(p, 22, "If it is the copper: %s.", s->where);
}

void lu_report_text(FILE *out, const lu_finding *f, const lu_text_style *style)
{
  page p = {out, style, style->columns > 40 && style->columns < 400 ? style->columns : 80};
  verdict(&p, f);
  if (f->suspect_count) {
    heading(&p, "Suspects");
    for (size_t i = 0; i < f->suspect_count && i < SUSPECTS_SHOWN; i++)
      suspect(&p, &f->suspects[i], i + 1);
    if (f->suspect_count > SUSPECTS_SHOWN)
      say(&p, 4, "and %zu less likely ones (--json lists all)", f->suspect_count - SUSPECTS_SHOWN);
  }
  if (f->alike)
    say(&p, 4, "%s", f->alike);
  if (f->masked)
    say(&p, 4, "%s", f->masked);
  if (f->next) {
    heading(&p, "Measure first");
    say(&p, 2, "%s", f->next);
  }
  if (f->next_test) {
    heading(&p, "Test to run next");
    say(&p, 2, "%s", f->next_test->text);
  }
  if (f->explanation_count) {
    heading(&p, "What would read exactly so");
    for (size_t i = 0; i < f->explanation_count && i < EXPLANATIONS_SHOWN; i++) {
      const lu_said_explanation *e = &f->explanations[i];
      char text[1000] = "";
      for (size_t k = 0; k < e->fault_count; k++) {
        size_t n = strlen(text);
        snprintf(text + n, sizeof text - n, "%s%s", k ? "; and " : "", e->faults[k].text);
      }
      say(&p, 2, "%.0f %% (gives %.4g %% of the wrong bits): %s", e->probability * 100, e->explained * 100, text);
    }
    say(&p, 2, "Tried: every single fault%s.", f->pairs_done ? " and every pair that can matter" : "");
  }
  if (f->symptom_count) {
    heading(&p, "Seen in the data");
    for (size_t i = 0; i < f->symptom_count && i < SYMPTOMS_SHOWN; i++)
      say(&p, 2, "%s: %s", f->symptoms[i].kind, f->symptoms[i].text);
    if (f->symptom_count > SYMPTOMS_SHOWN)
      say(&p, 2, "and %zu more (--json lists all)", f->symptom_count - SYMPTOMS_SHOWN);
  }
  for (size_t i = 0; i < f->note_count; i++) {
    if (!i)
      heading(&p, "Notes");
    say(&p, 2, "%s", f->notes[i]);
  }
}
