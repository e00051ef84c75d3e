/* SPDX-License-Identifier: MIT */
#include "report/waves.h"

#include "report/html.h"

#include <math.h>
#include <string.h>

typedef struct moment {
  int64_t time;
  uint64_t *value, *unknown;    /* [rows] */
} moment;

struct lu_wave {
  const lu_wave_row *rows;
  size_t row_count;
  int64_t around;
  unsigned before, after;
  moment *ring;                 /* [before + after]; the first `before` are used in turn */
  moment spare;                 /* where the next step is taken before it is kept */
  size_t early, late;           /* steps seen before and from the moment on */
};

lu_wave *lu_wave_open(const lu_wave_row *rows, size_t row_count, int64_t around, unsigned before,
                      unsigned after, lu_arena *mem)
{
  lu_wave *w = LU_NEW(mem, lu_wave, 1);
  size_t n = (size_t)before + after;
  if (!w || n > LU_WAVE_STEPS_MOST || !before || !after)
    return NULL;
  *w = (lu_wave){.rows = rows, .row_count = row_count, .around = around, .before = before,
                 .after = after};
  w->ring = LU_NEW(mem, moment, n);
  uint64_t *levels = LU_NEW(mem, uint64_t, (n + 1) * row_count * 2);
  if (!w->ring || !levels)
    return NULL;
  for (size_t i = 0; i < n; i++) {
    w->ring[i].value = levels + i * row_count * 2;
    w->ring[i].unknown = w->ring[i].value + row_count;
  }
  w->spare = (moment){.value = levels + n * row_count * 2,
                      .unknown = levels + n * row_count * 2 + row_count};
  return w;
}

static void take(const lu_wave *w, moment *m, const lu_cap_step *step)
{
  m->time = step->time;
  for (size_t r = 0; r < w->row_count; r++) {
    m->value[r] = m->unknown[r] = 0;
    for (unsigned i = 0; i < w->rows[r].bits; i++) {
      uint32_t h = w->rows[r].homes[i];
      m->value[r] |= (step->value[h / 64] >> (h % 64) & 1) << i;
      m->unknown[r] |= (step->unknown[h / 64] >> (h % 64) & 1) << i;
    }
  }
}

static bool same(const lu_wave *w, const moment *a, const moment *b)
{
  return !memcmp(a->value, b->value, w->row_count * sizeof *a->value) &&
         !memcmp(a->unknown, b->unknown, w->row_count * sizeof *a->unknown);
}

void lu_wave_step(lu_wave *w, const lu_cap_step *step)
{
  if (w->late == w->after)
    return;
  bool is_late = step->time >= w->around;
  moment *at = &w->ring[is_late ? w->before + w->late : w->early % w->before];
  const moment *last = w->late    ? &w->ring[w->before + w->late - 1]
                       : w->early ? &w->ring[(w->early - 1) % w->before]
                                  : NULL;
  take(w, &w->spare, step);
  if (last && same(w, last, &w->spare))
    return; /* nothing that is shown has changed */
  moment kept = *at;
  *at = w->spare;
  w->spare = kept;
  if (is_late)
    w->late++;
  else
    w->early++;
}

size_t lu_wave_steps(const lu_wave *w)
{
  return (w->early < w->before ? w->early : w->before) + w->late;
}

static const moment *nth(const lu_wave *w, size_t i)
{
  size_t held = w->early < w->before ? w->early : w->before;
  if (i >= held)
    return &w->ring[w->before + (i - held)];
  return &w->ring[(w->early - held + i) % w->before];
}

void lu_time_text(int64_t ticks, double tick_s, char *out, size_t room)
{
  static const struct {
    double least, scale;
    const char *unit;
  } units[] = {{1, 1, "s"}, {1e-3, 1e3, "ms"}, {1e-6, 1e6, "us"}, {1e-9, 1e9, "ns"}, {0, 1e12, "ps"}};
  if (!(tick_s > 0)) {
    snprintf(out, room, "sample %lld", (long long)ticks);
    return;
  }
  double t = (double)ticks * tick_s, size = fabs(t) * (1 + 1e-12);
  size_t i = 0;
  if (ticks == 0)
    i = 3;
  while (ticks && size < units[i].least)
    i++;
  snprintf(out, room, "%.9g %s", t * units[i].scale, units[i].unit);
}

/* A value in hex: x or z for a digit that is so throughout or in part. */
static void hex(uint64_t value, uint64_t unknown, unsigned bits, char *out)
{
  unsigned digits = (bits + 3) / 4;
  for (unsigned d = 0; d < digits; d++) {
    unsigned shift = (digits - 1 - d) * 4, left = bits - shift < 4 ? bits - shift : 4;
    unsigned all = (1u << left) - 1, v = (unsigned)(value >> shift) & all,
             u = (unsigned)(unknown >> shift) & all;
    out[d] = !u ? "0123456789abcdef"[v] : u == all && v == all ? 'z' : 'x';
  }
  out[digits] = '\0';
}

/* ---- text ---- */

static bool row_changes(const moment *a, const moment *b, size_t r)
{
  return !a || a->value[r] != b->value[r] || a->unknown[r] != b->unknown[r];
}

static unsigned column_width(const lu_wave *w, const moment *before, const moment *m)
{
  unsigned width = 2;
  for (size_t r = 0; r < w->row_count; r++)
    if (w->rows[r].bits > 1 && row_changes(before, m, r)) {
      unsigned need = (w->rows[r].bits + 3) / 4 + 1;
      if (need > width)
        width = need;
    }
  return width;
}

static void put_line(FILE *out, char level, bool rises, bool falls, unsigned width, bool utf8)
{
  const char *low = "_", *high = utf8 ? "\xe2\x80\xbe" : "-";
  const char *body = level == '0' ? low : level == '1' ? high : level == 'z' ? "." : "x";
  fputs(rises ? "/" : falls ? "\\" : body, out);
  for (unsigned i = 1; i < width; i++)
    fputs(body, out);
}

static void put_value(FILE *out, const lu_wave *w, const moment *before, const moment *m, size_t r,
                      unsigned width)
{
  char text[20];
  if (!row_changes(before, m, r)) {
    for (unsigned i = 0; i < width; i++)
      fputc(' ', out);
    return;
  }
  hex(m->value[r], m->unknown[r], w->rows[r].bits, text);
  fprintf(out, "|%-*s", (int)width - 1, text);
}

static char level_of(const moment *m, size_t r)
{
  return "01xz"[(m->value[r] & 1) | (m->unknown[r] & 1) << 1];
}

static size_t name_width(const lu_wave *w)
{
  size_t n = 4;
  for (size_t r = 0; r < w->row_count; r++)
    if (strlen(w->rows[r].name) > n)
      n = strlen(w->rows[r].name);
  return n > 24 ? 24 : n;
}

typedef struct view {
  size_t from, to;      /* steps shown */
  unsigned names;
} view;

/* As many steps around the moment as the width holds, two thirds of them from it on. */
static view choose(const lu_wave *w, unsigned columns)
{
  size_t n = lu_wave_steps(w), first_late = n - w->late;
  view v = {first_late, first_late, (unsigned)name_width(w)};
  unsigned used = v.names + 2;
  for (;;) {
    size_t from = v.from, to = v.to;
    bool left = to >= n || (from && first_late - from < (to - first_late) / 2);
    if (left && from) {
      unsigned need = column_width(w, from > 1 ? nth(w, from - 2) : NULL, nth(w, from - 1));
      if (used + need > columns)
        break;
      used += need;
      v.from--;
    } else if (to < n) {
      unsigned need = column_width(w, to ? nth(w, to - 1) : NULL, nth(w, to));
      if (used + need > columns)
        break;
      used += need;
      v.to++;
    } else {
      break;
    }
  }
  return v;
}

static void put_row(const lu_wave *w, const lu_wave_style *style, view v, size_t r, FILE *out)
{
  fprintf(out, "%-*.*s  ", (int)v.names, (int)v.names, w->rows[r].name);
  for (size_t i = v.from; i < v.to; i++) {
    const moment *before = i > v.from ? nth(w, i - 1) : NULL, *m = nth(w, i);
    unsigned width = column_width(w, before, m);
    if (w->rows[r].bits > 1) {
      put_value(out, w, before, m, r, width);
      continue;
    }
    char is = level_of(m, r), was = before ? level_of(before, r) : is;
    put_line(out, is, was == '0' && is == '1', was == '1' && is == '0', width, style->utf8);
  }
  fputc('\n', out);
}

void lu_wave_text(const lu_wave *w, const lu_wave_style *style, FILE *out)
{
  view v = choose(w, style->columns);
  char text[48];
  if (v.from == v.to) {
    fputs("nothing changes there\n", out);
    return;
  }
  for (size_t r = 0; r < w->row_count; r++)
    put_row(w, style, v, r, out);
  fprintf(out, "%*s", (int)v.names + 2, "");
  bool marked = false;
  for (size_t i = v.from; i < v.to; i++) {
    unsigned width = column_width(w, i > v.from ? nth(w, i - 1) : NULL, nth(w, i));
    bool here = style->has_mark && !marked && nth(w, i)->time >= style->mark;
    marked |= here;
    fprintf(out, "%-*s", (int)width, here ? "^" : "");
  }
  lu_time_text(nth(w, v.from)->time, style->tick_s, text, sizeof text);
  fprintf(out, "\nfrom %s", text);
  lu_time_text(nth(w, v.to - 1)->time, style->tick_s, text, sizeof text);
  fprintf(out, " to %s; a column is a change, not to scale", text);
  if (style->has_mark) {
    lu_time_text(style->mark, style->tick_s, text, sizeof text);
    fprintf(out, "; ^ %s", text);
  }
  fputc('\n', out);
}

/* ---- SVG ---- */

enum { LEFT = 150, WIDE = 800, ROW = 26, HIGH = 16, TOP = 30 };

static void put_xml(FILE *out, const char *text)
{
  lu_html_text(out, text);
}

typedef struct scale {
  int64_t first, last;
  size_t from, to;              /* steps drawn */
} scale;

static double x_of(scale s, int64_t time)
{
  double span = (double)s.last - (double)s.first, at = (double)time - (double)s.first;
  double share = span > 0 ? at / span : 0;
  return LEFT + WIDE * (share < 0 ? 0 : share > 1 ? 1 : share);
}

/* All steps, with some room behind the last change, or its level would not be seen; or those of the window, with the
 * last one before it, whose levels it begins with. */
static scale scale_of(const lu_wave *w, const lu_wave_style *style)
{
  size_t n = lu_wave_steps(w);
  int64_t last = nth(w, n - 1)->time, first = nth(w, 0)->time;
  scale s = {first, last + (last - first) / 16 + 1, 0, n};
  if (!style->has_window)
    return s;
  s.first = style->from;
  s.last = style->to;
  while (s.from + 1 < n && nth(w, s.from + 1)->time <= s.first)
    s.from++;
  while (s.to > s.from + 1 && nth(w, s.to - 1)->time > s.last)
    s.to--;
  return s;
}

static double y_of(char level, size_t row)
{
  double base = TOP + (double)row * ROW;
  return level == '1' ? base : level == '0' ? base + HIGH : base + HIGH / 2.0;
}

static void svg_line(const lu_wave *w, scale s, size_t r, FILE *out)
{
  fputs("<path class=\"w\" d=\"", out);
  for (size_t i = s.from; i < s.to; i++) {
    double x = x_of(s, nth(w, i)->time), y = y_of(level_of(nth(w, i), r), r);
    fprintf(out, i > s.from ? "H%.1fV%.1f" : "M%.1f %.1f", x, y);
  }
  fprintf(out, "H%d\"/>\n", LEFT + WIDE);
}

static void svg_value(const lu_wave *w, scale s, size_t r, FILE *out)
{
  size_t n = s.to;
  double y = TOP + (double)r * ROW;
  for (size_t i = s.from; i < n;) {
    size_t k = i + 1;
    while (k < n && !row_changes(nth(w, i), nth(w, k), r))
      k++;
    double from = x_of(s, nth(w, i)->time), to = k < n ? x_of(s, nth(w, k)->time) : LEFT + WIDE;
    char text[20];
    hex(nth(w, i)->value[r], nth(w, i)->unknown[r], w->rows[r].bits, text);
    fprintf(out, "<rect class=\"w\" x=\"%.1f\" y=\"%.1f\" width=\"%.1f\" height=\"%d\"/>\n", from, y,
            to - from, HIGH);
    if (to - from > 7.0 * (double)strlen(text) + 4)
      fprintf(out, "<text x=\"%.1f\" y=\"%.1f\">%s</text>\n", from + 3, y + 12, text);
    i = k;
  }
}

/* An element with an id, that tells those who do not see the picture. */
static void svg_words(const lu_wave_style *style, const char *tag, const char *text, FILE *out)
{
  fprintf(out, "<%s id=\"%s-%s\">", tag, style->id ? style->id : "wave", tag);
  put_xml(out, text);
  fprintf(out, "</%s>\n", tag);
}

static void svg_head(const lu_wave *w, const lu_wave_style *style, FILE *out)
{
  int height = TOP + (int)w->row_count * ROW + 30;
  const char *id = style->id ? style->id : "wave";
  fprintf(out,
          "<svg xmlns=\"http://www.w3.org/2000/svg\" class=\"wave\" viewBox=\"0 0 %d %d\" role=\"img\" "
          "aria-labelledby=\"%s-title\"",
          LEFT + WIDE + 10, height, id);
  if (style->description)
    fprintf(out, " aria-describedby=\"%s-desc\"", id);
  fputs(">\n", out);
  svg_words(style, "title", style->title ? style->title : "a window of the capture", out);
  if (style->description)
    svg_words(style, "desc", style->description, out);
  fputs("<style>.wave text{font:12px monospace;fill:#000}.wave .w{fill:none;stroke:#000;stroke-width:1.2}"
        ".wave .g{stroke:#bbb}.wave .m{stroke:#c00;stroke-width:2}.wave .s{fill:#e0e0e0}</style>\n",
        out);
  fprintf(out, "<rect width=\"%d\" height=\"%d\" fill=\"#fff\"/>\n", LEFT + WIDE + 10, height);
}

/* The moment's line, the cycle before it, and what stands above them: it is not told by colour alone. */
static void svg_mark(const lu_wave_style *style, scale s, double bottom, FILE *out)
{
  if (!style->has_mark || style->mark < s.first || style->mark > s.last)
    return;
  double at = x_of(s, style->mark);
  if (style->has_span) {
    double begin = x_of(s, style->span);
    fprintf(out, "<rect class=\"s\" x=\"%.1f\" y=\"%d\" width=\"%.1f\" height=\"%.1f\"/>\n", begin, TOP - 6, at - begin,
            bottom - TOP + 6);
  }
  fprintf(out, "<path class=\"m\" d=\"M%.1f %dV%.1f\"/>\n", at, TOP - 10, bottom);
  if (!style->mark_label)
    return;
  bool ahead = at < LEFT + WIDE / 2.0;
  fprintf(out, "<text x=\"%.1f\" y=\"%d\" text-anchor=\"%s\">", at, TOP - 14, ahead ? "start" : "end");
  put_xml(out, style->mark_label);
  fputs("</text>\n", out);
}

static void svg_axis(const lu_wave *w, const lu_wave_style *style, scale s, FILE *out)
{
  double bottom = TOP + (double)w->row_count * ROW;
  char text[48];
  svg_mark(style, s, bottom, out);
  for (int i = 0; i <= 4; i++) {
    int64_t t = s.first + (s.last - s.first) * i / 4;
    lu_time_text(t, style->tick_s, text, sizeof text);
    fprintf(out, "<path class=\"g\" d=\"M%.1f %dV%.1f\"/>\n<text x=\"%.1f\" y=\"%.1f\" text-anchor=\"%s\">%s</text>\n",
            x_of(s, t), TOP - 6, bottom, x_of(s, t), bottom + 16,
            i == 0 ? "start" : i == 4 ? "end" : "middle", text);
  }
}

void lu_wave_svg(const lu_wave *w, const lu_wave_style *style, FILE *out)
{
  svg_head(w, style, out);
  if (lu_wave_steps(w)) {
    scale s = scale_of(w, style);
    svg_axis(w, style, s, out);
    for (size_t r = 0; r < w->row_count; r++) {
      fprintf(out, "<text x=\"%d\" y=\"%d\" text-anchor=\"end\">", LEFT - 8, TOP + (int)r * ROW + 13);
      lu_html_text_most(out, w->rows[r].name, LU_WAVE_NAME_MOST);
      fputs("</text>\n", out);
      if (w->rows[r].bits > 1)
        svg_value(w, s, r, out);
      else
        svg_line(w, s, r, out);
    }
  }
  fputs("</svg>\n", out);
}
