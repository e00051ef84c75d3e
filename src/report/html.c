/* SPDX-License-Identifier: MIT */
#include "report/html.h"

#include "report/htmlstyle.h"

#include <inttypes.h>
#include <math.h>
#include <string.h>

/* The owner's page is one page of paper: what of each kind it holds. */
enum { OWNER_SUSPECTS = 3, OWNER_SHARE_PERCENT = 5, OWNER_MAPS = 3, OWNER_CHECKS = 2, OWNER_EVENTS = 5, OWNER_TEXT = 240, OWNER_EVENT_TEXT = 130, ROWS_LEAST = 3 };
static const double row_share = 0.01; /* what is below it gets no row of its own */

typedef struct pen {
  FILE *out;
  const lu_page *p;
} pen;

static void raw(const pen *w, const char *markup)
{
  fputs(markup, w->out);
}

static void text(const pen *w, const char *t)
{
  lu_html_text(w->out, t);
}

/* As much as the owner's page has room for. */
static void brief(const pen *w, const char *t, size_t most)
{
  bool all = strlen(t) <= most;
  lu_html_text_most(w->out, t, all ? SIZE_MAX : most - 3);
  raw(w, all ? "" : " ...");
}

/* <tag>text</tag> */
static void tagged(const pen *w, const char *tag, const char *t)
{
  fprintf(w->out, "<%s>", tag);
  text(w, t);
  fprintf(w->out, "</%.*s>", (int)strcspn(tag, " "), tag);
}

static unsigned net_number(const lu_page *p, const char *name)
{
  for (size_t i = 0; name && i < p->net_count; i++)
    if (!strcmp(p->nets[i], name))
      return (unsigned)i + 1;
  return 0;
}

static size_t rank_of(const lu_page *p, const char *net)
{
  for (size_t i = 0; net && i < p->finding->suspect_count; i++)
    if (p->finding->suspects[i].net && !strcmp(p->finding->suspects[i].net, net))
      return i + 1;
  return 0;
}

/* A net's name; one that is suspect leads to its row, so that the keyboard reaches it. */
static void net(const pen *w, const char *name)
{
  unsigned n = net_number(w->p, name);
  size_t rank = rank_of(w->p, name);
  if (rank && n)
    fprintf(w->out, "<a class=\"net\" href=\"#s%zu\" data-n=\"%u\">", rank, n);
  else if (n)
    fprintf(w->out, "<span class=\"net\" data-n=\"%u\">", n);
  else
    raw(w, "<span class=\"net\">");
  text(w, name);
  raw(w, rank && n ? "</a>" : "</span>");
}

static void percent(double p, char *out, size_t room)
{
  snprintf(out, room, p > 0.995 && p < 1 ? "over 99 %%" : p > 0 && p < 0.005 ? "under 1 %%" : "%.0f %%", 100 * p);
}

/* A bar with its number; the number is what a reader without eyes for the bar gets. */
static void share(const pen *w, double p)
{
  char words[24];
  percent(p, words, sizeof words);
  fprintf(w->out,
          "<span class=\"share\"><svg viewBox=\"0 0 100 10\" preserveAspectRatio=\"none\" aria-hidden=\"true\" focusable=\"false\">"
          "<rect class=\"t\" x=\"0\" y=\"0\" width=\"100\" height=\"10\"/><rect class=\"b\" x=\"0\" y=\"0\" width=\"%.1f\" height=\"10\"/></svg> "
          "<span class=\"n\">%s</span></span>",
          fmax(0.5, 100 * p), words);
}

/* ranked: a table whose rows become blocks in a narrow window. */
static void open_table_as(const pen *w, const char *class, const char *caption, const char *const *heads)
{
  fprintf(w->out, "<div class=\"%s\"", class);
  raw(w, " tabindex=\"0\" role=\"group\" aria-label=\"");
  text(w, caption);
  raw(w, "\"><table><caption>");
  text(w, caption);
  raw(w, "</caption><thead><tr>");
  for (; *heads; heads++) {
    bool number = **heads == '#'; /* a column of numbers */
    fprintf(w->out, "<th scope=\"col\"%s>", number ? " class=\"n\"" : "");
    text(w, *heads + number);
    raw(w, "</th>");
  }
  raw(w, "</tr></thead><tbody>\n");
}

static void open_table(const pen *w, const char *caption, const char *const *heads)
{
  open_table_as(w, "wide", caption, heads);
}

static void close_table(const pen *w)
{
  raw(w, "</tbody></table></div>\n");
}

static void open_section(const pen *w, const char *id, const char *title)
{
  fprintf(w->out, "<section aria-labelledby=\"%s\"><h2 id=\"%s\">%s</h2>\n", id, id, title);
}

static void close_section(const pen *w)
{
  raw(w, "</section>\n");
}

/* --- the verdict ------------------------------------------------------------------------------------------ */

static const char *verdict_word(const lu_finding *f)
{
  return f->verdict[0] == 'c' ? "Nothing wrong was found" : f->verdict[0] == 'f' ? "There are faults" : "This cannot be judged";
}

/* "most likely DRA3 open: ... (97 %)" */
static void likeliest(const pen *w, const lu_said_explanation *e)
{
  char words[24];
  raw(w, "most likely ");
  for (size_t k = 0; k < e->fault_count; k++) {
    raw(w, k ? "; and " : "");
    text(w, e->faults[k].text ? e->faults[k].text : e->faults[k].kind);
  }
  percent(e->probability, words, sizeof words);
  fprintf(w->out, " (%s)", words);
}

static void verdict(const pen *w)
{
  const lu_finding *f = w->p->finding;
  open_section(w, "verdict", "Verdict");
  fprintf(w->out, "<p class=\"verdict\"><strong>%s</strong>", verdict_word(f));
  if (f->block) {
    raw(w, " in ");
    text(w, f->block);
  }
  raw(w, ": ");
  if (f->verdict[0] == 'f' && f->explanation_count)
    likeliest(w, &f->explanations[0]);
  else
    text(w, f->reason ? f->reason : "no reason is known");
  raw(w, ".</p>\n");
  if (w->p->stale) {
    raw(w, "<p class=\"warn\">");
    text(w, w->p->stale);
    raw(w, "</p>\n");
  }
  fprintf(w->out, "<p>%" PRIu64 " words of %u bits were read%s", f->words, f->width, f->passes > 1 ? " in several passes" : "");
  uint64_t wrong = 0;
  for (size_t i = 0; i < w->p->reading_count; i++)
    wrong += w->p->readings[i].known ? w->p->readings[i].map->wrong_words : 0;
  if (wrong)
    fprintf(w->out, "; %" PRIu64 " of them are not what they should be", wrong);
  raw(w, ".");
  if (f->unsteady_bits)
    fprintf(w->out, " %" PRIu64 " bits differ from pass to pass.", f->unsteady_bits);
  raw(w, "</p>\n");
  if (f->next && !w->p->owner) {
    raw(w, "<p><strong>First:</strong> ");
    text(w, f->next);
    raw(w, "</p>\n");
  }
  if (f->next_test && f->next_test->text && !w->p->owner) {
    raw(w, "<p><strong>Test to run next:</strong> ");
    text(w, f->next_test->text);
    raw(w, "</p>\n");
  }
  close_section(w);
}

/* --- suspects --------------------------------------------------------------------------------------------- */

static bool same_function(const lu_said_pin *a, const lu_said_pin *b)
{
  return a->function == b->function || (a->function && b->function && !strcmp(a->function, b->function));
}

/* Pins of one function together: "A3: U16.12, U17.12". */
static void pins(const pen *w, const lu_said_suspect *s)
{
  for (size_t i = 0; i < s->pin_count; i++) {
    bool first = !i || !same_function(&s->pins[i - 1], &s->pins[i]);
    if (first && i)
      raw(w, "<br>");
    if (first && s->pins[i].function) {
      text(w, s->pins[i].function);
      raw(w, ": ");
    }
    raw(w, first ? "<span class=\"pin\">" : ", <span class=\"pin\">");
    text(w, s->pins[i].pin);
    raw(w, "</span>");
  }
}

static void suspect_name(const pen *w, const lu_said_suspect *s)
{
  if (s->net)
    net(w, s->net);
  else
    tagged(w, "strong class=\"pin\"", s->part ? s->part : "?");
}

static void suspect_row(const pen *w, size_t i)
{
  const lu_said_suspect *s = &w->p->finding->suspects[i];
  fprintf(w->out, "<tr id=\"s%zu\"><td class=\"n\">%zu</td><th scope=\"row\">", i + 1, i + 1);
  suspect_name(w, s);
  raw(w, "</th><td>");
  share(w, s->probability);
  raw(w, "</td><td>");
  pins(w, s);
  raw(w, "</td><td>");
  text(w, s->why);
  if (s->where) {
    raw(w, "<br>Where: ");
    text(w, s->where);
  }
  raw(w, "</td><td>");
  text(w, s->settle ? s->settle : "");
  raw(w, "</td></tr>\n");
}

static void less_likely(const pen *w, size_t from)
{
  const lu_finding *f = w->p->finding;
  if (from < f->suspect_count)
    raw(w, "<h3>Less likely, under 1 % each</h3><ul class=\"run\">\n");
  for (size_t i = from; i < f->suspect_count; i++) {
    fprintf(w->out, "<li id=\"s%zu\">", i + 1);
    suspect_name(w, &f->suspects[i]);
    raw(w, "</li>\n");
  }
  raw(w, from < f->suspect_count ? "</ul>\n" : "");
}

static void suspects(const pen *w)
{
  static const char *const heads[] = {"#Rank", "Net or part", "Probability", "Pins", "Why", "What would settle it", NULL};
  const lu_finding *f = w->p->finding;
  open_section(w, "suspects", "Suspects");
  if (!f->suspect_count)
    raw(w, "<p>Nothing is suspected.</p>\n");
  else {
    open_table_as(w, "wide ranked", "Nets and parts to measure, most probable first", heads);
    size_t shown = 0;
    while (shown < f->suspect_count && (shown < ROWS_LEAST || f->suspects[shown].probability >= row_share))
      suspect_row(w, shown++);
    close_table(w);
    less_likely(w, shown);
  }
  if (f->alike) {
    raw(w, "<p>");
    text(w, f->alike);
    raw(w, "</p>\n");
  }
  if (w->p->guess_count) {
    static const char *const guess_heads[] = {"What may be broken", "Probability", NULL};
    raw(w, "<h3>With the readings taken so far</h3>\n");
    open_table(w, "What dumps and readings together leave", guess_heads);
    for (size_t i = 0; i < w->p->guess_count; i++) {
      raw(w, "<tr><td>");
      text(w, w->p->guesses[i].text);
      raw(w, "</td><td>");
      share(w, w->p->guesses[i].probability);
      raw(w, "</td></tr>\n");
    }
    close_table(w);
  }
  close_section(w);
}

static void owner_suspects(const pen *w)
{
  const lu_finding *f = w->p->finding;
  size_t shown = 0;
  open_section(w, "suspects", "What is most likely broken");
  raw(w, "<ol>\n");
  for (size_t i = 0; i < f->suspect_count && shown < OWNER_SUSPECTS; i++) {
    const lu_said_suspect *s = &f->suspects[i];
    char words[24];
    if (100 * s->probability < OWNER_SHARE_PERCENT)
      continue;
    percent(s->probability, words, sizeof words);
    fprintf(w->out, "<li id=\"s%zu\">", i + 1);
    raw(w, s->net ? "the connection " : "the chip ");
    suspect_name(w, s);
    fprintf(w->out, ", %s: ", words);
    brief(w, s->why, OWNER_TEXT);
    raw(w, "</li>\n");
    shown++;
  }
  raw(w, shown ? "</ol>\n" : "<li>nothing in particular</li></ol>\n");
  close_section(w);
}

/* --- explanations and symptoms ---------------------------------------------------------------------------- */

static void explanations(const pen *w)
{
  static const char *const heads[] = {"#Rank", "Faults", "Probability", "#Explains", NULL};
  const lu_finding *f = w->p->finding;
  open_section(w, "explanations", "Explanations");
  if (!f->explanation_count)
    raw(w, "<p>None: nothing has to be explained, or no fault of the model does.</p>\n");
  else
    open_table(w, "Faults that together would give what was read, each checked against every word", heads);
  size_t shown = 0;
  for (size_t i = 0; i < f->explanation_count && (i < ROWS_LEAST || f->explanations[i].probability >= row_share); i++, shown++) {
    const lu_said_explanation *e = &f->explanations[i];
    fprintf(w->out, "<tr><td class=\"n\">%zu</td><td>", i + 1);
    for (size_t k = 0; k < e->fault_count; k++) {
      raw(w, k ? "<br>" : "");
      text(w, e->faults[k].text ? e->faults[k].text : e->faults[k].kind);
    }
    raw(w, "</td><td>");
    share(w, e->probability);
    char words[24];
    percent(e->explained, words, sizeof words);
    fprintf(w->out, "</td><td class=\"n\">%s</td></tr>\n", words);
  }
  if (f->explanation_count)
    close_table(w);
  if (shown < f->explanation_count)
    fprintf(w->out, "<p>%zu more, under 1 %% each, are left out.</p>\n", f->explanation_count - shown);
  if (f->masked) {
    raw(w, "<p>");
    text(w, f->masked);
    raw(w, "</p>\n");
  }
  if (f->hypotheses)
    fprintf(w->out, "<p class=\"soft\">%" PRIu64 " hypotheses were compared with what was read. Single faults: %s. Pairs: %s.</p>\n", f->hypotheses,
            f->singles_done ? "all" : "not all", f->pairs_done ? "all" : "not all");
  close_section(w);
}

static void symptoms(const pen *w)
{
  const lu_finding *f = w->p->finding;
  open_section(w, "symptoms", "Symptoms");
  raw(w, f->symptom_count ? "<ul>\n" : "<p>No regularity was seen.</p>\n");
  for (size_t i = 0; i < f->symptom_count; i++)
    tagged(w, "li", f->symptoms[i].text);
  raw(w, f->symptom_count ? "</ul>\n" : "");
  if (f->note_count) {
    raw(w, "<h3>Remarks</h3><ul>\n");
    for (size_t i = 0; i < f->note_count; i++)
      tagged(w, "li", f->notes[i]);
    raw(w, "</ul>\n");
  }
  close_section(w);
}

/* --- fail maps -------------------------------------------------------------------------------------------- */

static void base64(FILE *out, const unsigned char *at, size_t len)
{
  static const char digits[] = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/"; /* RFC 4648, 4 */
  for (size_t i = 0; i < len; i += 3) {
    uint32_t v = (uint32_t)at[i] << 16 | (i + 1 < len ? (uint32_t)at[i + 1] << 8 : 0) | (i + 2 < len ? at[i + 2] : 0);
    fputc(digits[v >> 18], out);
    fputc(digits[v >> 12 & 63], out);
    fputc(i + 1 < len ? digits[v >> 6 & 63] : '=', out);
    fputc(i + 2 < len ? digits[v & 63] : '=', out);
  }
}

static const char *bit_name(const lu_page_reading *r, size_t bit, char *room)
{
  snprintf(room, 24, "D%zu", bit);
  return bit < r->bit_count && r->bits[bit].name ? r->bits[bit].name : room;
}

static void worst_words(const pen *w, const lu_page_reading *r)
{
  const lu_fail_map *m = r->map;
  if (m->worst == SIZE_MAX)
    return;
  size_t row = m->worst / m->columns, column = m->worst % m->columns;
  uint64_t first = m->base + row * m->row_span, last = first + m->row_span - 1;
  char name[24];
  fprintf(w->out, "Most wrong bits: <code>0x%" PRIx64 "</code>", first * r->address_scale);
  if (last != first)
    fprintf(w->out, " to <code>0x%" PRIx64 "</code>", last * r->address_scale + r->address_scale - 1);
  raw(w, ", bit ");
  text(w, bit_name(r, column, name));
  fprintf(w->out, ", %" PRIu64 " of %" PRIu64 " wrong.", m->cells[m->worst].wrong, m->cells[m->worst].seen);
}

static void key(const pen *w)
{
  raw(w, "<ul class=\"key\" aria-label=\"Shades\">\n");
  for (int s = 0; s < LU_SHADE_COUNT; s++)
    fprintf(w->out,
            "<li><svg viewBox=\"0 0 10 10\" aria-hidden=\"true\" focusable=\"false\"><rect width=\"10\" height=\"10\" fill=\"#%06" PRIx32
            "\"/></svg>%s</li>\n",
            lu_map_shade_color((lu_map_shade)s), lu_map_shade_text((lu_map_shade)s));
  raw(w, "</ul>\n");
}

static void png(const pen *w, const unsigned char *at, size_t len)
{
  raw(w, "\" src=\"data:image/png;base64,");
  base64(w->out, at, len);
  raw(w, "\">\n");
}

static void map_figure(const pen *w, const lu_page_reading *r)
{
  const lu_fail_map *m = r->map;
  raw(w, "<figure>");
  if (r->png) {
    raw(w, "<img alt=\"Fail map of ");
    text(w, r->title);
    fprintf(w->out, ": %" PRIu64 " wrong bits in %" PRIu64 " of %" PRIu64 " words", m->wrong_bits, m->wrong_words, m->words);
    raw(w, w->p->owner ? "" : "; the table of bits tells them one by one");
    png(w, r->png, r->png_len);
  } else {
    raw(w, "<p>No picture: libpng was not at hand.</p>");
  }
  raw(w, "<figcaption>");
  if (w->p->owner) {
    fprintf(w->out, "%" PRIu64 " of %" PRIu64 " words are wrong.</figcaption></figure>\n", m->wrong_words, m->words);
    return;
  }
  fprintf(w->out, "Addresses downwards from <code>0x%" PRIx64 "</code>, %" PRIu64 " word%s a row; bits across, D0 at the right. ",
          m->base * r->address_scale, m->row_span, m->row_span == 1 ? "" : "s");
  worst_words(w, r);
  raw(w, "</figcaption></figure>\n");
}

static void chip_figure(const pen *w, const lu_page_chip_map *c)
{
  const lu_fail_map *m = c->map;
  raw(w, "<figure><img alt=\"Rows and columns of ");
  text(w, c->ref);
  fprintf(w->out, ": %" PRIu64 " wrong bits", m->wrong_bits);
  png(w, c->png, c->png_len);
  raw(w, "<figcaption><strong>");
  text(w, c->ref);
  raw(w, "</strong> ");
  text(w, c->type ? c->type : "");
  fprintf(w->out, "<br>%" PRIu64 " wrong bits", m->wrong_bits);
  if (m->worst != SIZE_MAX) {
    size_t row = m->worst / m->columns, column = m->worst % m->columns;
    fprintf(w->out, "; most in row %" PRIu64, row * m->row_span);
    if (m->row_span > 1)
      fprintf(w->out, "&#8239;to&#8239;%" PRIu64, (row + 1) * m->row_span - 1);
    fprintf(w->out, ", column %" PRIu64, column * m->column_span);
    if (m->column_span > 1)
      fprintf(w->out, "&#8239;to&#8239;%" PRIu64, (column + 1) * m->column_span - 1);
  }
  raw(w, "</figcaption></figure>\n");
}

static void chip_maps(const pen *w, const lu_page_reading *r)
{
  if (!r->chip_count)
    return;
  raw(w, "<h4>Inside the chips of ");
  text(w, r->title);
  raw(w, "</h4>\n<p class=\"soft\">The chip's own rows downwards and columns across, row 0 and column 0 at the top left. A bad row lies across, a bad "
         "column stands upright.</p>\n<div class=\"chips\">\n");
  for (size_t i = 0; i < r->chip_count; i++)
    chip_figure(w, &r->chips[i]);
  raw(w, "</div>\n");
  if (r->chips_left_out)
    fprintf(w->out, "<p>%zu more chips hold wrong bits; <code>--chip</code> draws one alone.</p>\n", r->chips_left_out);
}

static void bit_row(const pen *w, const lu_page_reading *r, size_t bit)
{
  const lu_fail_map *m = r->map;
  const lu_page_bit *b = bit < r->bit_count ? &r->bits[bit] : NULL;
  char name[24];
  raw(w, "<tr><th scope=\"row\">");
  text(w, bit_name(r, bit, name));
  raw(w, "</th><td>");
  if (b && b->net)
    net(w, w->p->nets[b->net - 1]);
  raw(w, "</td><td class=\"pin\">");
  text(w, b && b->chips ? b->chips : "");
  fprintf(w->out, "</td><td class=\"n\">%" PRIu64 "</td>", m->by_column[bit]);
  if (r->known)
    fprintf(w->out, "<td class=\"n\">%" PRIu64 "</td><td class=\"n\">%" PRIu64 "</td>", m->high[bit], m->low[bit]);
  raw(w, "</tr>\n");
}

static void bit_table(const pen *w, const lu_page_reading *r)
{
  static const char *const known[] = {"Bit", "Net", "Chips' pins", "#Wrong", "#1 read for 0", "#0 read for 1", NULL};
  static const char *const passes[] = {"Bit", "Net", "Chips' pins", "#Differs between passes", NULL};
  char caption[160];
  snprintf(caption, sizeof caption, "Bits of %.100s against chips", r->title);
  open_table(w, caption, r->known ? known : passes);
  for (size_t bit = 0; bit < r->map->columns; bit++)
    bit_row(w, r, bit);
  close_table(w);
}

static void one_map(const pen *w, const lu_page_reading *r)
{
  tagged(w, "h3", r->title);
  if (!r->map || (!r->known && !r->map->wrong_bits)) {
    raw(w, "<p>No map: nothing is known of the contents, so no bit can be called wrong by itself.</p>\n");
    return;
  }
  if (!r->map->wrong_bits) {
    fprintf(w->out, "<p>All %" PRIu64 " words are right.</p>\n", r->map->words);
    return;
  }
  raw(w, "<div class=\"map\">\n");
  map_figure(w, r);
  bit_table(w, r);
  raw(w, "</div>\n");
  chip_maps(w, r);
}

static bool any_picture(const lu_page *p)
{
  for (size_t i = 0; i < p->reading_count; i++)
    if (p->readings[i].png)
      return true;
  return false;
}

static void maps(const pen *w)
{
  open_section(w, "maps", "Where the wrong bits stand");
  if (any_picture(w->p))
    key(w);
  for (size_t i = 0; i < w->p->reading_count; i++)
    one_map(w, &w->p->readings[i]);
  if (!w->p->reading_count)
    raw(w, "<p>Nothing was read yet.</p>\n");
  close_section(w);
}

/* The owner's page: a few small maps in a row. */
static void owner_maps(const pen *w)
{
  size_t shown = 0, left = 0;
  if (!any_picture(w->p))
    return;
  open_section(w, "maps", "Where the wrong bits stand");
  raw(w, "<p class=\"soft\">Each picture is one memory, addresses downwards, bits across: the darker, the more bits are wrong; blue, the most.</p>\n"
         "<div class=\"chips\">\n");
  for (size_t i = 0; i < w->p->reading_count; i++) {
    const lu_page_reading *r = &w->p->readings[i];
    if (!r->map || !r->map->wrong_bits || !r->png)
      continue;
    if (shown == OWNER_MAPS) {
      left++;
      continue;
    }
    shown++;
    raw(w, "<div>");
    tagged(w, "h3", r->title);
    map_figure(w, r);
    raw(w, "</div>\n");
  }
  raw(w, "</div>\n");
  if (left)
    fprintf(w->out, "<p>%zu more memories have wrong bits.</p>\n", left);
  close_section(w);
}

/* --- the board -------------------------------------------------------------------------------------------- */

static void picture(const pen *w, const lu_page_picture *x)
{
  raw(w, "<figure><div class=\"draw\" tabindex=\"0\" role=\"group\" aria-label=\"");
  text(w, x->title);
  raw(w, "\">");
  raw(w, x->svg);
  raw(w, "</div><figcaption>");
  text(w, x->title);
  raw(w, "</figcaption></figure>\n");
}

static void pictures(const pen *w)
{
  const lu_page *p = w->p;
  if (!p->picture_count)
    return;
  open_section(w, "board", "The board");
  raw(w, "<p class=\"soft\">Suspect pins are framed. A dotted track is a guess: the shortest way. Thick lines with a number are the repair wires "
         "listed below; a broken one lies on the other side.</p>\n");
  for (size_t i = 0; i < p->side_count; i++)
    picture(w, &p->pictures[i]);
  if (p->picture_count > p->side_count)
    raw(w, "<div class=\"chips\">\n");
  for (size_t i = p->side_count; i < p->picture_count; i++)
    picture(w, &p->pictures[i]);
  if (p->picture_count > p->side_count)
    raw(w, "</div>\n");
  close_section(w);
}

/* --- wires ------------------------------------------------------------------------------------------------ */

static void wire_row(const pen *w, size_t i)
{
  const lu_page_wire *x = &w->p->wires[i];
  fprintf(w->out, "<tr><td class=\"n\">%zu</td><th scope=\"row\">", i + 1);
  net(w, x->net ? w->p->nets[x->net - 1] : "?");
  raw(w, "</th><td>");
  text(w, x->from);
  raw(w, "</td><td>");
  text(w, x->to);
  if (x->length_mm > 0)
    fprintf(w->out, "</td><td class=\"n\">%.1f</td><td>", x->length_mm);
  else
    raw(w, "</td><td class=\"n\">not known</td><td>");
  text(w, x->side ? x->side : "");
  if (x->note) {
    raw(w, x->side ? "; " : "");
    text(w, x->note);
  }
  raw(w, "</td></tr>\n");
}

static void wires(const pen *w)
{
  static const char *const heads[] = {"#Wire", "Net", "From", "To", "#Straight, mm", "Side, remarks", NULL};
  const lu_page *p = w->p;
  if (!p->wire_count && !p->wire_note_count)
    return;
  open_section(w, "wires", "Repair wires");
  raw(w, "<p>Only where a measurement has shown that the copper is broken, not a contact. Power off, battery out.</p>\n");
  if (p->wire_note_count)
    raw(w, "<ul>\n");
  for (size_t i = 0; i < p->wire_note_count; i++)
    tagged(w, "li", p->wire_notes[i]);
  if (p->wire_note_count)
    raw(w, "</ul>\n");
  if (p->wire_count)
    open_table(w, "Wires, numbered as in the drawing", heads);
  for (size_t i = 0; i < p->wire_count; i++)
    wire_row(w, i);
  if (p->wire_count) {
    close_table(w);
    raw(w, "<p>Cut each wire some 15 mm longer than straight: it is looped around a pin at both ends. Measure each net from leg to leg "
           "afterwards.</p>\n");
  }
  close_section(w);
}

/* --- before and after ------------------------------------------------------------------------------------- */

static void change_row(const pen *w, const lu_page_change *c)
{
  raw(w, "<tr><th scope=\"row\">");
  text(w, c->block);
  raw(w, "</th><td>");
  text(w, c->before);
  raw(w, "</td><td>");
  text(w, c->after);
  fprintf(w->out, "</td><td class=\"n\">%" PRIu64 "</td><td class=\"n\">%" PRIu64 "</td>", c->words, c->changed);
  if (c->known)
    fprintf(w->out, "<td class=\"n\">%" PRIu64 "</td><td class=\"n\">%" PRIu64 "</td><td class=\"n\">%" PRIu64 "</td><td class=\"n\">%" PRIu64 "</td></tr>\n",
            c->wrong_before, c->wrong_after, c->cured, c->spoilt);
  else
    raw(w, "<td colspan=\"4\">nothing is known of the contents</td></tr>\n");
}

static void suspects_then(const pen *w, const char *title, const char *names)
{
  raw(w, "<dt>");
  raw(w, title);
  raw(w, "</dt><dd>");
  text(w, names ? names : "none");
  raw(w, "</dd>\n");
}

static void changes(const pen *w)
{
  static const char *const heads[] = {"Block", "As found", "Now", "#Words", "#Changed", "#Wrong before", "#Wrong now", "#Cured", "#Newly wrong", NULL};
  const lu_page *p = w->p;
  if (!w->p->has_job)
    return;
  open_section(w, "changes", "Before and after");
  if (!p->change_count) {
    raw(w, "<p>No block was read a second time yet.</p>\n");
  } else {
    open_table(w, "Words of each block, as it was found first and as it was read last", heads);
    for (size_t i = 0; i < p->change_count; i++)
      change_row(w, &p->changes[i]);
    close_table(w);
    raw(w, "<dl>\n");
    suspects_then(w, "Suspects that are cleared", p->cleared);
    suspects_then(w, "That remain", p->remaining);
    suspects_then(w, "That are new", p->fresh);
    raw(w, "</dl>\n");
  }
  close_section(w);
}

/* --- verification ----------------------------------------------------------------------------------------- */

static void check(const pen *w, const lu_page_check *c)
{
  raw(w, "<h3>");
  text(w, c->block);
  raw(w, ": ");
  text(w, c->verdict);
  raw(w, "</h3>\n<p>");
  fprintf(w->out, "Entry %" PRIu64 ", ", c->id);
  tagged(w, "time", c->at);
  raw(w, ": ");
  text(w, c->figures);
  raw(w, ".");
  if (c->before_repair)
    raw(w, " <strong>The board was repaired after this test: run it again.</strong>");
  raw(w, "</p>\n");
  if (c->patterns && !w->p->owner) {
    raw(w, "<p>Patterns: ");
    text(w, c->patterns);
    raw(w, ".</p>\n");
  }
  if (c->proves) {
    raw(w, "<p>");
    text(w, c->proves);
    raw(w, " ");
    text(w, c->left);
    raw(w, "</p>\n");
  }
}

static void checks(const pen *w)
{
  const lu_page *p = w->p;
  size_t most = p->owner ? OWNER_CHECKS : p->check_count;
  if (!p->has_job)
    return;
  open_section(w, "checks", "Verification");
  for (size_t i = 0; i < p->check_count && i < most; i++)
    check(w, &p->checks[i]);
  if (!p->check_count)
    raw(w, p->owner ? "<p>The board was not tested over time yet.</p>\n"
                    : "<p>Nothing was verified yet. A pass of <code>lineup verify --job</code> stands here with its figures and with what it "
                      "proves.</p>\n");
  close_section(w);
}

/* --- lines ------------------------------------------------------------------------------------------------ */

static void step(const pen *w, const lu_page_step *s)
{
  raw(w, "<li>");
  if (s->net) {
    net(w, s->text);
    if (s->suspicion > 0) {
      char words[24];
      percent(s->suspicion, words, sizeof words);
      fprintf(w->out, " <span class=\"flag\">suspect, %s</span>", words);
    }
  } else {
    tagged(w, "span class=\"pin\"", s->text);
  }
  raw(w, "</li>");
}

static void line_table(const pen *w, const char *caption, bool suspect)
{
  static const char *const broken[] = {"Line", "Block", "Way, from where it was read to the chips", "Broken", NULL},
                    *const sound[] = {"Line", "Block", "Way, from where it was read to the chips", NULL};
  size_t shown = 0;
  for (size_t i = 0; i < w->p->line_count; i++) {
    const lu_page_line *l = &w->p->lines[i];
    if (l->suspect != suspect)
      continue;
    if (!shown++)
      open_table(w, caption, suspect ? broken : sound);
    raw(w, "<tr><th scope=\"row\">");
    text(w, l->name);
    raw(w, "</th><td>");
    text(w, l->block);
    raw(w, "</td><td><ol class=\"way\">");
    for (size_t k = 0; k < l->step_count; k++)
      step(w, &l->steps[k]);
    raw(w, suspect ? "</ol></td><td>" : "</ol>");
    text(w, suspect && l->broken ? l->broken : "");
    raw(w, "</td></tr>\n");
  }
  if (shown)
    close_table(w);
}

static void lines(const pen *w)
{
  if (!w->p->line_count)
    return;
  open_section(w, "lines", "The lines, hop by hop");
  line_table(w, "Lines that run over a suspect net", true);
  line_table(w, "The other lines", false);
  close_section(w);
}

/* --- worksheet -------------------------------------------------------------------------------------------- */

static void task(const pen *w, size_t i)
{
  const lu_page_task *t = &w->p->tasks[i];
  fprintf(w->out, "<tr><td class=\"n\">%zu</td><td>", i + 1);
  text(w, t->what);
  if (t->reason) {
    raw(w, "<br><span class=\"soft\">");
    text(w, t->reason);
    raw(w, "</span>");
  }
  raw(w, "</td><td>");
  for (size_t k = 0; k < 4 && t->boxes[k]; k++) {
    raw(w, "<span class=\"opt\"><span class=\"box\" aria-hidden=\"true\"></span>");
    text(w, t->boxes[k]);
    raw(w, "</span>");
  }
  if (t->unit) {
    raw(w, "<span class=\"opt\"><span class=\"line\" aria-hidden=\"true\"></span> ");
    text(w, t->unit);
    raw(w, "</span>");
  }
  raw(w, "</td></tr>\n");
}

static void worksheet(const pen *w)
{
  static const char *const heads[] = {"#No.", "Measure", "It read", NULL};
  open_section(w, "worksheet", "Worksheet");
  if (!w->p->task_count) {
    raw(w, "<p>No reading is asked for.</p>\n");
  } else {
    raw(w, "<p>Leg means the chip's own leg above its socket, not the solder pad below: a contact may be the break.</p>\n");
    open_table(w, "Readings to take, in this order; tick or fill in", heads);
    for (size_t i = 0; i < w->p->task_count; i++)
      task(w, i);
    close_table(w);
  }
  close_section(w);
}

/* --- the job ---------------------------------------------------------------------------------------------- */

static void event_row(const pen *w, const lu_page_event *e, bool with_kind)
{
  fprintf(w->out, "<tr><td class=\"n\">%" PRIu64 "</td><td>", e->id);
  tagged(w, "time", e->at);
  raw(w, "</td><td>");
  if (with_kind) {
    text(w, e->kind);
    raw(w, "</td><td>");
  }
  raw(w, e->withdrawn ? "<s>" : "<span>");
  if (w->p->owner)
    brief(w, e->text, OWNER_EVENT_TEXT);
  else
    text(w, e->text);
  raw(w, e->withdrawn ? "</s> (taken back)</td></tr>\n" : "</span></td></tr>\n");
}

static size_t count_events(const lu_page *p, const char *kind)
{
  size_t n = 0;
  for (size_t i = 0; i < p->event_count; i++)
    n += !kind || !strcmp(kind, p->events[i].kind);
  return n;
}

static void events(const pen *w, const char *id, const char *title, const char *kind, const char *none)
{
  static const char *const heads[] = {"#Entry", "When (UTC)", "What", NULL}, *const all[] = {"#Entry", "When (UTC)", "Kind", "What", NULL};
  size_t count = count_events(w->p, kind), skip = w->p->owner && count > OWNER_EVENTS ? count - OWNER_EVENTS : 0, at = 0;
  open_section(w, id, title);
  if (skip)
    fprintf(w->out, "<p>%zu earlier ones are left out here.</p>\n", skip);
  if (count)
    open_table(w, kind ? "Entries of the job, oldest first" : "All entries of the job, oldest first", kind ? heads : all);
  for (size_t i = 0; i < w->p->event_count; i++)
    if ((!kind || !strcmp(kind, w->p->events[i].kind)) && at++ >= skip)
      event_row(w, &w->p->events[i], !kind);
  if (count)
    close_table(w);
  else
    fprintf(w->out, "<p>%s</p>\n", none);
  close_section(w);
}

/* --- cautions --------------------------------------------------------------------------------------------- */

static void cautions(const pen *w)
{
  open_section(w, "cautions", "Before you touch the board");
  raw(w, "<ul>\n"
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
  close_section(w);
}

static void owner_words(const pen *w)
{
  open_section(w, "means", "What this means");
  raw(w, w->p->finding->verdict[0] == 'c'
             ? "<p>Everything that was read is as it should be. That holds for what was read, and for the day it was read.</p>\n"
             : "<p>The memory of this board was read through its own wiring. The names above are the connections and chips that would, if broken, "
               "give exactly what was read. Percentages weigh them against each other; a measurement decides.</p>\n");
  close_section(w);
}

/* --- the page --------------------------------------------------------------------------------------------- */

static void page_title(const pen *w)
{
  text(w, w->p->finding->title ? w->p->finding->title : w->p->source);
}

static void head(const pen *w)
{
  raw(w, "<!DOCTYPE html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n<title>");
  page_title(w);
  raw(w, ": report</title>\n<meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n"
         "<meta http-equiv=\"Content-Security-Policy\" content=\"default-src 'none'; img-src data:; style-src 'unsafe-inline'; script-src "
         "'sha256-" LU_HTML_SCRIPT_SHA256 "'; base-uri 'none'; form-action 'none'\">\n"
         "<meta name=\"generator\" content=\"lineup " LU_VERSION "\">\n<style>\n");
  raw(w, lu_html_style);
  raw(w, lu_html_figure_style);
  raw(w, lu_html_print_style);
  raw(w, "</style>\n</head>\n");
  raw(w, w->p->owner ? "<body class=\"owner\">\n" : "<body>\n");
  raw(w, "<a class=\"skip\" href=\"#main\">To the verdict</a>\n<header><h1>");
  page_title(w);
  raw(w, "</h1>\n<p class=\"soft\">From ");
  text(w, w->p->source);
  raw(w, "</p></header>\n");
}

static void contents(const pen *w)
{
  const lu_page *p = w->p;
  const struct {
    const char *id, *title;
    bool there;
  } parts[] = {{"suspects", "Suspects", true},
               {"explanations", "Explanations", true},
               {"symptoms", "Symptoms", true},
               {"maps", "Maps", true},
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
  raw(w, "<nav aria-label=\"Parts of this page\"><ul>\n");
  for (size_t i = 0; i < sizeof parts / sizeof *parts; i++)
    if (parts[i].there)
      fprintf(w->out, "<li><a href=\"#%s\">%s</a></li>\n", parts[i].id, parts[i].title);
  raw(w, "</ul></nav>\n");
}

static void bench_page(const pen *w)
{
  suspects(w);
  explanations(w);
  symptoms(w);
  maps(w);
  pictures(w);
  wires(w);
  lines(w);
  worksheet(w);
  if (w->p->has_job) {
    events(w, "readings", "Readings taken", "reading", "None yet.");
    events(w, "repairs", "Repairs", "repair", "None yet.");
    changes(w);
    checks(w);
    events(w, "history", "History", NULL, "Nothing yet.");
  }
}

static void owner_page(const pen *w)
{
  owner_suspects(w);
  owner_words(w);
  if (w->p->has_job)
    events(w, "repairs", "What was done", "repair", "Nothing was repaired yet.");
  checks(w);
  owner_maps(w);
}

bool lu_report_html(FILE *out, const lu_page *p)
{
  const pen w = {out, p};
  head(&w);
  if (!p->owner)
    contents(&w);
  raw(&w, "<main id=\"main\">\n");
  verdict(&w);
  if (p->owner)
    owner_page(&w);
  else
    bench_page(&w);
  cautions(&w);
  raw(&w, "</main>\n<footer class=\"soft\"><p>Written by lineup " LU_VERSION ". Probabilities are those of its model of faults; a measurement "
          "decides.</p></footer>\n");
  if (!p->owner) {
    raw(&w, "<script>");
    raw(&w, lu_html_script);
    raw(&w, "</script>\n");
  }
  raw(&w, "</body>\n</html>\n");
  return !ferror(out);
}
