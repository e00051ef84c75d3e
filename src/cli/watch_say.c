/* SPDX-License-Identifier: MIT */
#include "cli/watch.h"

#include <stdlib.h>
#include <string.h>

enum { SHOWN_MOST = 20 };

/* ---- the table of cycles ---- */

static void hex(uint64_t value, uint64_t unknown, unsigned bits, char *out)
{
  unsigned digits = (bits + 3) / 4;
  for (unsigned d = 0; d < digits; d++) {
    unsigned shift = (digits - 1 - d) * 4;
    out[d] = unknown >> shift & 15 ? 'x' : "0123456789abcdef"[value >> shift & 15];
  }
  out[digits] = '\0';
}

/* Times of the table: ns, or samples when the rate is not known. */
static double table_time(const lu_watch *w, int64_t ticks)
{
  return w->cap->tick_s > 0 ? (double)ticks * (w->cap->tick_s * 1e9) : (double)ticks;
}

void lu_watch_heading(lu_watch *w)
{
  const char *unit = w->cap->tick_s > 0 ? "ns" : "sample";
  fprintf(w->table, w->args->csv ? "begin_%s,end_%s,kind,address,data,written,lanes,waits,remarks\n"
                                 : "%14s %14s  %-12s %-10s %-8s %s\n",
          w->args->csv ? unit : "begin", w->args->csv ? unit : "end", "kind", "address", "data",
          "remarks");
}

static void remarks(const lu_cycle *c, const char *between, char *out, size_t room)
{
  static const struct {
    uint8_t flag;
    const char *text;
  } texts[] = {{LU_CYCLE_ADDRESS_LATE, "address late"},
               {LU_CYCLE_ADDRESS_MOVED, "address moved"},
               {LU_CYCLE_DATA_LATE, "data late"},
               {LU_CYCLE_BEGUN_BEFORE, "begun before the capture"}};
  size_t n = 0;
  out[0] = '\0';
  for (size_t i = 0; i < sizeof texts / sizeof *texts; i++)
    if (c->flags & texts[i].flag && n < room)
      n += (size_t)snprintf(out + n, room - n, "%s%s", n ? between : "", texts[i].text);
}

static bool is_refresh(const lu_cycle *c)
{
  return c->kind == LU_CYCLE_ROW_REFRESH || c->kind == LU_CYCLE_AUTO_REFRESH;
}

lu_status lu_watch_row(lu_watch *w, const lu_cycle *c)
{
  unsigned ab = lu_cycles_address_bits(w->bus), db = lu_cycles_data_bits(w->bus);
  char address[20], data[20], written[20], lanes[20], text[120];
  const char *kind = c->kind == LU_CYCLE_READ || c->kind == LU_CYCLE_WRITE
                         ? (w->map->strobe_count ? w->map->strobes[c->strobe].name : NULL)
                         : NULL;
  if (!kind)
    kind = lu_cycle_kind_name(c->kind);
  hex(c->address, c->address_unknown, ab, address);
  hex(c->data, c->data_unknown, db, data);
  hex(c->written, c->written_unknown, db, written);
  hex(c->lanes, 0, db, lanes);
  double begin = table_time(w, c->begin), end = table_time(w, c->end);
  remarks(c, "; ", text, sizeof text);
  int n;
  w->table_rows++;
  if (w->args->csv) {
    n = fprintf(w->table, "%.15g,%.15g,%s,%s,%s,%s,%s,%u,%s\n", begin, end, kind, address,
                is_refresh(c) ? "" : data, c->kind == LU_CYCLE_READ_WRITE ? written : "",
                is_refresh(c) ? "" : lanes, c->waits, text);
  } else {
    char both[48];
    snprintf(both, sizeof both, c->kind == LU_CYCLE_READ_WRITE ? "%s>%s" : "%s", is_refresh(c) ? "" : data,
             written);
    n = fprintf(w->table, "%14.12g %14.12g  %-12s %-10s %-8s %s", begin, end, kind, address, both, text);
    if (n >= 0 && c->waits)
      n = fprintf(w->table, "%s%u waits", *text ? "; " : "", c->waits);
    if (n >= 0)
      n = fputc('\n', w->table);
  }
  return n < 0 ? LU_ERR_IO : LU_OK;
}

/* ---- lines ---- */

static bool name_is_clear(const lu_watch *w, const lu_activity_line *l)
{
  const lu_cap_signal *s = &w->cap->signals[l->signal];
  if (w->cap->signal_count > 4096)
    return false;
  for (size_t i = 0; i < w->cap->signal_count; i++)
    if (w->cap->signals[i].twin != l->signal && !strcmp(w->cap->signals[i].name, s->name) &&
        w->cap->signals[i].lsb == s->lsb && w->cap->signals[i].home != LU_CAP_NO_HOME)
      return false;
  return true;
}

const char *lu_watch_line_name(const lu_watch *w, const lu_activity_line *l)
{
  const lu_cap_signal *s = &w->cap->signals[l->signal];
  const char *name = name_is_clear(w, l) ? s->name : s->path;
  /* A map's word for the whole signal is the one that the person uses. */
  for (size_t i = 0; w->map && i < w->map->rename_count; i++)
    if (!strcmp(w->map->renames[i].from, s->name) || !strcmp(w->map->renames[i].from, s->path))
      name = w->map->renames[i].to;
  if (l->index < 0)
    return name;
  const char *text = lu_arena_printf(w->run->mem, "%s[%d]", name, l->index);
  return text ? text : name;
}

const char *lu_watch_sign_name(lu_activity_sign sign)
{
  static const char *const names[] = {"none", "still",    "still-lowest", "floats",  "no-level",
                                      "same", "opposite", "x",            "glitches"};
  return names[sign];
}

void lu_watch_sign_text(const lu_watch *w, size_t line, char *out, size_t room)
{
  const lu_activity_line *l = &w->lines[line];
  out[0] = '\0';
  switch (w->signs[line]) {
  case LU_SIGN_NONE:
    break;
  case LU_SIGN_STILL:
    snprintf(out, room, "stands still while bits above and below it move");
    break;
  case LU_SIGN_STILL_LOWEST:
    snprintf(out, room, "lowest bit stands still while others move");
    break;
  case LU_SIGN_FLOATS:
    snprintf(out, room, "floats while its neighbours are driven");
    break;
  case LU_SIGN_NEVER_LEVEL:
    snprintf(out, room, "never low nor high while its neighbours are");
    break;
  case LU_SIGN_SAME:
    snprintf(out, room, "always equal to %s: joined?", lu_watch_line_name(w, &w->lines[l->same]));
    break;
  case LU_SIGN_OPPOSITE:
    snprintf(out, room, "always opposite to %s",
             lu_watch_line_name(w, &w->lines[l->opposite]));
    break;
  case LU_SIGN_X:
    snprintf(out, room, "at times no certain level: two drivers?");
    break;
  case LU_SIGN_GLITCHES:
    snprintf(out, room, "glitches that its neighbours do not have");
    break;
  }
}

static void rate_text(const lu_watch *w, const lu_activity_line *l, char *out, size_t room)
{
  static const struct {
    double least, scale;
    const char *unit;
  } units[] = {{1e9, 1e-9, "GHz"}, {1e6, 1e-6, "MHz"}, {1e3, 1e-3, "kHz"}, {0, 1, "Hz"}};
  double seconds = lu_activity_seconds(w->activity);
  out[0] = '\0';
  if (!(seconds > 0) || !l->toggles)
    return;
  /* Two toggles are one period. */
  double hz = (double)l->toggles / 2 / seconds;
  size_t i = 0;
  while (hz < units[i].least)
    i++;
  snprintf(out, room, "%.3g %s", hz * units[i].scale, units[i].unit);
}

/* What a line does that is worth a word but no suspicion. */
static void plain_text(const lu_watch *w, size_t line, char *out, size_t room)
{
  const lu_activity_line *l = &w->lines[line];
  size_t n = 0;
  out[0] = '\0';
  if (l->same >= 0)
    n += (size_t)snprintf(out + n, room - n, "equal to %s", lu_watch_line_name(w, &w->lines[l->same]));
  else if (l->opposite >= 0)
    n += (size_t)snprintf(out + n, room - n, "opposite to %s",
                          lu_watch_line_name(w, &w->lines[l->opposite]));
  if (n < room && l->glitches)
    snprintf(out + n, room - n, "%s%llu glitches", n ? "; " : "", (unsigned long long)l->glitches);
}

static void say_line(const lu_watch *w, size_t i)
{
  const lu_activity_line *l = &w->lines[i];
  char rate[24], text[200];
  double all = (double)(l->low + l->high + l->x + l->z);
  rate_text(w, l, rate, sizeof rate);
  lu_watch_sign_text(w, i, text, sizeof text);
  bool sign = text[0];
  if (!sign)
    plain_text(w, i, text, sizeof text);
  const char *does = l->moves ? "moves" : l->low + l->high == 0 && l->level != '0' && l->level != '1'
                                              ? (l->z > l->x ? "floats" : "x")
                                          : l->level == '1' || (l->level != '0' && l->high) ? "high"
                                                                                            : "low";
  /* That a bus counts in larger steps is as likely as a fault. */
  char mark = !sign ? ' ' : w->signs[i] == LU_SIGN_STILL_LOWEST ? '?' : '!';
  fprintf(w->run->out, "%c %-18s %-6s %10llu %10s", mark, lu_watch_line_name(w, l), does,
          (unsigned long long)l->toggles, rate);
  if (all > 0)
    fprintf(w->run->out, " %4.0f%%", 100 * (double)l->high / all);
  else
    fputs("     -", w->run->out);
  if (l->x + l->z && all > 0)
    fprintf(w->run->out, "  %.0f%% %s", 100 * (double)(l->x + l->z) / all,
            l->z > l->x ? "floating" : "unknown");
  fprintf(w->run->out, "%s%s\n", text[0] ? "  " : "", text);
}

/* How many lines from i on are the whole of a wide signal that does nothing; 0: tell them apart. */
static size_t still_from(const lu_watch *w, size_t i)
{
  const lu_cap_signal *s = &w->cap->signals[w->lines[i].signal];
  if (s->width < 2 || w->lines[i].home != s->home)
    return 0;
  for (size_t k = i; k < i + s->width; k++)
    if (w->lines[k].moves || w->signs[k] != LU_SIGN_NONE || w->hidden[k] ||
        w->lines[k].level != w->lines[i].level)
      return 0;
  return s->width;
}

static void say_still(const lu_watch *w, size_t i, size_t many)
{
  const lu_cap_signal *s = &w->cap->signals[w->lines[i].signal];
  char name[64];
  snprintf(name, sizeof name, "%s[%d:%d]", s->name, lu_bind_index(s, s->width - 1),
           lu_bind_index(s, 0));
  char level = w->lines[i].level;
  fprintf(w->run->out, "  %-18s %-6s %10d            %zu lines that stand still\n", name,
          level == '0' ? "low" : level == '1' ? "high" : level == 'z' ? "floats" : "x", 0, many);
}

static void say_lines(const lu_watch *w)
{
  if (!w->activity)
    return;
  fprintf(w->run->out, "  %-18s %-6s %10s %10s %5s  %s\n", "line", "does", "toggles", "rate", "high",
          "remarks");
  size_t hidden = 0;
  for (size_t i = 0; i < w->line_count;) {
    size_t many = still_from(w, i);
    if (w->hidden[i])
      hidden++;
    else if (many)
      say_still(w, i, many);
    else
      say_line(w, i);
    i += many && !w->hidden[i] ? many : 1;
  }
  if (hidden)
    fprintf(w->run->out, "  %zu lines more that the map does not name (--all lists them)\n", hidden);
  if (!lu_activity_has_pairs(w->activity))
    fprintf(w->run->out, "lines were not compared with each other: more than %d\n",
            LU_ACTIVITY_PAIRS_MOST);
}

/* ---- cycles ---- */

static void say_first(const lu_watch *w, uint64_t count, int64_t first, const char *what)
{
  char at[48];
  if (!count)
    return;
  lu_time_text(first, w->cap->tick_s, at, sizeof at);
  fprintf(w->run->out, "! %llu x %s, first at %s\n", (unsigned long long)count, what, at);
}

static void say_cycles(const lu_watch *w)
{
  const lu_cycle_counts *n = lu_cycles_counts(w->bus);
  FILE *out = w->run->out;
  const char *between = "cycles: ";
  for (int k = 0; k < LU_CYCLE_KINDS; k++)
    if (n->kinds[k]) {
      fprintf(out, "%s%llu %s", between, (unsigned long long)n->kinds[k],
              lu_cycle_kind_name((lu_cycle_kind)k));
      between = ", ";
    }
  fputs(*between == ',' ? "\n" : "cycles: none\n", out);
  say_first(w, n->both, n->first_both, "read and write strobes active at once");
  say_first(w, n->address_moved, n->first_address_moved, "address changed during a strobe");
  say_first(w, n->address_late, n->first_address_late, "address later than its setup time");
  say_first(w, n->data_late, n->first_data_late, "data later than their setup time");
  say_first(w, n->undecided, n->first_undecided, "strobe without a certain level");
  if (n->unfinished)
    fprintf(out, "  %llu cycles are not finished when the capture ends\n",
            (unsigned long long)n->unfinished);
}

static void say_refresh(const lu_watch *w)
{
  const lu_refresh_report *r = &w->refreshed;
  char worst[48], watched[48];
  if (!w->refresh)
    return;
  lu_time_text(r->worst, w->cap->tick_s, worst, sizeof worst);
  lu_time_text(r->watched, w->cap->tick_s, watched, sizeof watched);
  fprintf(w->run->out, "%c refresh: %u of %u rows late, %u never refreshed in %s; row %u waited longest, %s\n",
          r->late ? '!' : ' ', r->late, r->rows, r->never, watched, r->worst_row, worst);
  if ((double)r->watched * w->cap->tick_s * 1e3 < w->map->refresh_ms)
    fprintf(w->run->out, "  the capture is shorter than the %g ms of the refresh period\n",
            w->map->refresh_ms);
}

static void say_passages(const lu_watch *w)
{
  size_t n;
  const lu_passage *p = lu_passages_end(w->passages, &n);
  for (size_t i = 0; i < n && i < SHOWN_MOST; i++) {
    char at[48];
    lu_time_text(p[i].begin, w->cap->tick_s, at, sizeof at);
    fprintf(w->run->out, "  %s %s: %llu words from %llx to %llx, at %s\n",
            p[i].writes ? "writes" : "reads", lu_passage_rule_name(p[i].rule),
            (unsigned long long)p[i].count, (unsigned long long)p[i].first,
            (unsigned long long)p[i].last, at);
  }
  if (n > SHOWN_MOST)
    fprintf(w->run->out, "  and %zu passages more\n", n - SHOWN_MOST);
}

static void say_shadow(const lu_watch *w)
{
  if (!w->shadow)
    return;
  const lu_shadow_counts *n = lu_shadow_counted(w->shadow);
  unsigned ab = lu_cycles_address_bits(w->bus), db = lu_cycles_data_bits(w->bus);
  size_t count;
  const lu_shadow_miss *e = lu_shadow_misses(w->shadow, &count);
  fprintf(w->run->out, "%c memory: %llu of %llu reads could be checked, %llu differ from what %s\n",
          n->differed ? '!' : ' ', (unsigned long long)n->checked, (unsigned long long)n->reads,
          (unsigned long long)n->differed, w->args->expect ? "was expected" : "was written");
  for (size_t i = 0; i < count && i < SHOWN_MOST; i++) {
    char address[20], expected[20], got[20], at[48];
    hex(e[i].address, 0, ab, address);
    hex(e[i].expected, ~e[i].known, db, expected);
    hex(e[i].got, ~e[i].known, db, got);
    lu_time_text(e[i].time, w->cap->tick_s, at, sizeof at);
    fprintf(w->run->out, "    address %s expected %s got %s at %s\n", address, expected, got, at);
  }
  if (n->differed > SHOWN_MOST)
    fprintf(w->run->out, "    and %llu more\n", (unsigned long long)(n->differed - SHOWN_MOST));
  say_passages(w);
}

bool lu_watch_trouble(const lu_watch *w)
{
  for (size_t i = 0; w->signs && i < w->line_count; i++)
    if (w->signs[i] != LU_SIGN_NONE && w->signs[i] != LU_SIGN_STILL_LOWEST)
      return true;
  if (w->bus) {
    const lu_cycle_counts *n = lu_cycles_counts(w->bus);
    if (n->both || n->address_moved || n->address_late || n->data_late || n->undecided)
      return true;
  }
  if (w->refresh && w->refreshed.late)
    return true;
  return w->shadow && lu_shadow_counted(w->shadow)->differed;
}

void lu_watch_say(lu_watch *w)
{
  char span[48];
  lu_time_text(w->last - w->first, w->cap->tick_s, span, sizeof span);
  if (w->cap->tick_s > 0)
    fprintf(w->run->out, "%s: %s, %zu signals, %s\n", w->path, w->cap->format, w->cap->signal_count, span);
  else
    fprintf(w->run->out, "%s: %s, %zu signals, %lld samples\n", w->path, w->cap->format,
            w->cap->signal_count, (long long)(w->last - w->first + 1));
  say_lines(w);
  if (w->bus)
    say_cycles(w);
  say_refresh(w);
  say_shadow(w);
}
