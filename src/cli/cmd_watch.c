/* SPDX-License-Identifier: MIT */
#include "cli/watch.h"

#include "base/stream.h"
#include "data/words.h"
#include "formats/dumpform.h"
#include "formats/sigmap.h"

#include <errno.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { STEPS_BEFORE = 100, STEPS_AFTER = 200 };

/* ---- buses: which lines belong together ---- */

typedef struct member {
  uint32_t line;
  const char *path;
  size_t stem;
  int32_t index;
} member;

static int by_stem_and_index(const void *a, const void *b)
{
  const member *x = a, *y = b;
  size_t n = x->stem < y->stem ? x->stem : y->stem;
  int c = memcmp(x->path, y->path, n);
  if (c || x->stem != y->stem)
    return c ? c : x->stem < y->stem ? -1 : 1;
  if (x->index != y->index)
    return x->index < y->index ? -1 : 1;
  return x->line < y->line ? -1 : x->line > y->line;
}

/* A line with a number belongs to the bus of its stem: "A3", "addr[3]". */
static bool member_of(const lu_watch *w, uint32_t i, member *out)
{
  const lu_activity_line *l = &w->lines[i];
  const char *path = w->cap->signals[l->signal].path;
  size_t len = strlen(path), stem = len;
  if (l->index >= 0) {
    *out = (member){i, path, len, l->index};
    return true;
  }
  while (stem && path[stem - 1] >= '0' && path[stem - 1] <= '9')
    stem--;
  if (stem == len || !stem || len - stem > 6)
    return false;
  *out = (member){i, path, stem, atoi(path + stem)};
  return true;
}

/* With a map only what it names is looked at, unless all is asked for. */
static void hide_others(lu_watch *w)
{
  enum { HOMES = 1024 };
  uint32_t homes[HOMES];
  if (!w->bus || w->args->all)
    return;
  size_t n = lu_cycles_homes(w->bus, homes, HOMES);
  for (size_t i = 0; i < w->line_count; i++) {
    w->hidden[i] = true;
    for (size_t k = 0; k < n && w->hidden[i]; k++)
      w->hidden[i] = homes[k] != w->lines[i].home;
  }
}

/* Signs of lines by the bus that they belong to; buses of fewer than four lines tell nothing. */
static lu_status find_signs(lu_watch *w, lu_err *err)
{
  lu_arena *mem = w->run->mem;
  size_t n = w->line_count, members = 0;
  member *all = LU_NEW(mem, member, n ? n : 1);
  uint32_t *bus = LU_NEW(mem, uint32_t, n ? n : 1);
  lu_activity_sign *signs = LU_NEW(mem, lu_activity_sign, n ? n : 1);
  w->signs = LU_NEW(mem, lu_activity_sign, n ? n : 1);
  w->hidden = LU_NEW(mem, bool, n ? n : 1);
  if (!all || !bus || !signs || !w->signs || !w->hidden)
    return lu_fail(err, LU_ERR_NOMEM, 0, 0, "no room for %zu lines", n);
  hide_others(w);
  for (uint32_t i = 0; i < n; i++)
    members += !w->hidden[i] && member_of(w, i, &all[members]);
  if (members)
    qsort(all, members, sizeof *all, by_stem_and_index);
  for (size_t from = 0; from < members;) {
    size_t to = from;
    while (to < members && all[to].stem == all[from].stem &&
           !memcmp(all[to].path, all[from].path, all[from].stem)) {
      bus[to - from] = all[to].line;
      to++;
    }
    if (to - from >= 4) {
      lu_activity_signs(w->lines, bus, to - from, signs);
      for (size_t i = from; i < to; i++)
        w->signs[all[i].line] = signs[i - from];
    }
    from = to;
  }
  return LU_OK;
}

/* ---- time from the command line ---- */

static bool parse_time(const char *text, double tick_s, int64_t *ticks)
{
  static const struct {
    const char *unit;
    double s;
  } units[] = {{"", 1e-9}, {"s", 1}, {"ms", 1e-3}, {"us", 1e-6}, {"ns", 1e-9}, {"ps", 1e-12}};
  char *end;
  double v = strtod(text, &end);
  if (end == text || !(fabs(v) < 1e18))
    return false;
  while (*end == ' ')
    end++;
  for (size_t i = 0; i < sizeof units / sizeof *units; i++)
    if (!strcmp(end, units[i].unit)) {
      double t = tick_s > 0 ? v * units[i].s / tick_s : v;
      if (fabs(t) > 9e18)
        return false;
      *ticks = llround(t);
      return true;
    }
  return false;
}

/* ---- the window's rows ---- */

typedef struct rows {
  lu_wave_row *at;
  uint32_t *homes;
  size_t count, home_count;
} rows;

static lu_status add_row(lu_watch *w, rows *r, const char *name, const uint32_t *homes, size_t bits,
                         lu_err *err)
{
  if (r->count == LU_WAVE_ROWS_MOST || bits > 64)
    return lu_fail(err, LU_ERR_LIMIT, 0, 0, "a picture holds %d signals of at most 64 bits; choose with --show",
                   LU_WAVE_ROWS_MOST);
  uint32_t *kept = LU_NEW(w->run->mem, uint32_t, bits);
  if (!kept)
    return lu_fail(err, LU_ERR_NOMEM, 0, 0, "no room for the picture");
  memcpy(kept, homes, bits * sizeof *kept);
  r->at[r->count++] = (lu_wave_row){name, (unsigned)bits, kept};
  return LU_OK;
}

/* --show A,B,C: names as in a map. */
static lu_status shown_rows(lu_watch *w, rows *r, lu_err *err)
{
  lu_bind bind = {w->cap, w->map, NULL};
  const char *p = w->args->show;
  while (*p) {
    size_t n = strcspn(p, ",");
    char *name = lu_arena_text(w->run->mem, p, n);
    if (!name)
      return lu_fail(err, LU_ERR_NOMEM, 0, 0, "no room for the picture");
    p += n + (p[n] == ',');
    if (!*name)
      continue;
    size_t many = lu_sig_range(name, 64), bits = 0, got;
    uint32_t homes[64];
    for (size_t i = 0; i < (many ? many : 1); i++) {
      lu_sig_name one = {.name = many ? lu_sig_range_name(name, i, w->run->mem) : name};
      lu_status s = bits < 64 ? lu_bind_name(&bind, &one, homes + bits, 64 - bits, &got, err)
                              : lu_fail(err, LU_ERR_LIMIT, 0, 0, "more than 64 bits in %s", name);
      if (s != LU_OK)
        return s;
      bits += got;
    }
    lu_status s = add_row(w, r, name, homes, bits, err);
    if (s != LU_OK)
      return s;
  }
  return LU_OK;
}

static lu_status all_rows(lu_watch *w, rows *r, lu_err *err)
{
  for (size_t i = 0; i < w->cap->signal_count; i++) {
    const lu_cap_signal *g = &w->cap->signals[i];
    uint32_t homes[64];
    if (g->home == LU_CAP_NO_HOME || g->twin != i || g->width > 64)
      continue;
    for (uint32_t b = 0; b < g->width; b++)
      homes[b] = g->home + b;
    lu_status s = add_row(w, r, g->name, homes, g->width, err);
    if (s != LU_OK)
      return s;
  }
  return LU_OK;
}

static lu_status bus_row(lu_watch *w, rows *r, const lu_sig_bus *bus, const char *name, lu_err *err)
{
  lu_bind bind = {w->cap, w->map, w->args->signals};
  uint32_t homes[64];
  size_t bits = 0, got;
  for (size_t i = 0; i < bus->count; i++) {
    lu_status s = lu_bind_name(&bind, &bus->names[i], homes + bits, 64 - bits, &got, err);
    if (s != LU_OK)
      return s;
    bits += got;
  }
  return bits ? add_row(w, r, name, homes, bits, err) : LU_OK;
}

/* What the map names: buses as values, then each control line. */
static lu_status map_rows(lu_watch *w, rows *r, lu_err *err)
{
  const lu_sigmap *m = w->map;
  uint32_t homes[512];
  size_t n = lu_cycles_homes(w->bus, homes, 512);
  lu_status s = bus_row(w, r, &m->address, "address", err);
  if (s == LU_OK)
    s = bus_row(w, r, &m->row, "address", err);
  if (s == LU_OK)
    s = bus_row(w, r, &m->data, "data", err);
  if (s == LU_OK)
    s = bus_row(w, r, &m->data_in, "data in", err);
  if (s == LU_OK)
    s = bus_row(w, r, &m->data_out, "data out", err);
  for (size_t i = lu_cycles_bus_bits(w->bus); s == LU_OK && i < n; i++) {
    const char *name = lu_bind_home_name(w->cap, homes[i], false, w->run->mem);
    s = name ? add_row(w, r, name, &homes[i], 1, err)
             : lu_fail(err, LU_ERR_NOMEM, 0, 0, "no room for the picture");
  }
  return s;
}

static lu_status open_wave(lu_watch *w, lu_err *err)
{
  if (!parse_time(w->args->around, w->cap->tick_s, &w->around))
    return lu_fail(err, LU_ERR_USAGE, 0, 0,
                   "--around expects a time such as 12.5us (s, ms, us, ns, ps; none: ns), found '%s'",
                   w->args->around);
  rows r = {.at = LU_NEW(w->run->mem, lu_wave_row, LU_WAVE_ROWS_MOST)};
  if (!r.at)
    return lu_fail(err, LU_ERR_NOMEM, 0, 0, "no room for the picture");
  lu_status s = w->args->show ? shown_rows(w, &r, err)
                : w->bus      ? map_rows(w, &r, err)
                              : all_rows(w, &r, err);
  if (s != LU_OK)
    return s;
  if (!r.count)
    return lu_fail(err, LU_ERR_MISSING, 0, 0, "the capture has no signal to show");
  w->wave = lu_wave_open(r.at, r.count, w->around, STEPS_BEFORE, STEPS_AFTER, w->run->mem);
  return w->wave ? LU_OK : lu_fail(err, LU_ERR_NOMEM, 0, 0, "no room for the picture");
}

/* ---- the capture's events ---- */

static lu_status take_cycle(void *to, const lu_cycle *c, lu_err *err)
{
  lu_watch *w = to;
  lu_status s = LU_OK;
  if (w->table && lu_watch_row(w, c) != LU_OK)
    return lu_fail(err, LU_ERR_IO, 0, 0, "cannot write the table of cycles: %s", strerror(errno));
  if (w->shadow)
    s = lu_shadow_cycle(w->shadow, c, err);
  if (w->passages)
    lu_passages_cycle(w->passages, c);
  if (w->refresh)
    lu_refresh_cycle(w->refresh, c, (unsigned)lu_cycles_column_bits(w->bus));
  return s;
}

/* What --expect says is in the memory, in words of the bus. */
static lu_status read_image(lu_watch *w, lu_err *err)
{
  enum { IMAGE_MOST = 1 << 30 };
  lu_dump *dump;
  lu_block_shape shape = {.width = lu_cycles_data_bits(w->bus), .order = LU_ORDER_BIG};
  unsigned bytes = lu_word_dump_bytes(shape.width);
  if (!shape.width)
    return lu_fail(err, LU_ERR_MISSING, 0, 0, "--expect needs data: in the map");
  if (w->args->at % bytes)
    return lu_fail(err, LU_ERR_VALUE, 0, 0, "--at expects a multiple of %u, the bytes of a word", bytes);
  shape.base = w->args->at;
  lu_status s = lu_file_open(w->args->expect, IMAGE_MOST, &w->image_file, err);
  if (s == LU_OK)
    s = lu_dumpform_guess(w->image_file.bytes)->read(w->image_file.bytes, w->run->mem, &dump, err);
  if (s == LU_OK)
    s = lu_words_from_dump(dump, &shape, w->run->mem, &w->image, err);
  return s == LU_OK ? LU_OK : lu_fail_source(err, s, w->args->expect);
}

static lu_status open_check(lu_watch *w, lu_err *err)
{
  lu_status s = w->args->expect ? read_image(w, err) : LU_OK;
  if (s != LU_OK)
    return s;
  w->shadow = lu_shadow_open(w->args->expect ? &w->image : NULL, w->run->mem);
  w->passages = lu_passages_open(lu_cycles_data_bits(w->bus), w->run->mem);
  return w->shadow && w->passages ? LU_OK : lu_fail(err, LU_ERR_NOMEM, 0, 0, "no room for the memory's contents");
}

static lu_status open_bus(lu_watch *w, lu_err *err)
{
  const lu_watch_args *a = w->args;
  bool known = w->map && (w->map->strobe_count || w->map->ras.signal.name);
  bool wanted = a->cycles || a->count || lu_watch_checks(a);
  if (!known && !wanted)
    return LU_OK;
  lu_bind bind = {w->cap, w->map, a->signals};
  bool taker = w->table || lu_watch_checks(a) || (w->map && w->map->refresh_rows);
  lu_status s = lu_cycles_open(&bind, taker ? take_cycle : NULL, w, w->run->mem, &w->bus, err);
  if (s != LU_OK)
    return s;
  s = lu_watch_checks(a) ? open_check(w, err) : LU_OK;
  if (s != LU_OK)
    return s;
  if (w->map->refresh_rows && w->cap->tick_s > 0) {
    w->refresh = lu_refresh_open(w->map->refresh_rows,
                                 (int64_t)(w->map->refresh_ms * 1e-3 / w->cap->tick_s), w->run->mem);
    if (!w->refresh)
      return lu_fail(err, LU_ERR_NOMEM, 0, 0, "no room for the rows");
  }
  if (w->table)
    lu_watch_heading(w);
  return LU_OK;
}

static lu_status begin(void *to, const lu_cap *cap, lu_err *err)
{
  lu_watch *w = to;
  const lu_watch_args *a = w->args;
  w->cap = cap;
  lu_status s = open_bus(w, err);
  if (s == LU_OK && a->around)
    s = open_wave(w, err);
  if (s == LU_OK && (a->count || lu_watch_checks(a)))
    w->wanted = lu_cycles_wanted(w->bus);
  if (s != LU_OK || a->cycles || a->count || lu_watch_checks(a) || a->around)
    return s;
  double glitch = cap->tick_s > 0 ? (double)a->glitch_ns * 1e-9 / cap->tick_s : 0;
  w->activity = lu_activity_open(cap, (int64_t)ceil(glitch - 1e-6), w->run->mem);
  return w->activity ? LU_OK : lu_fail(err, LU_ERR_NOMEM, 0, 0, "no room for the lines' records");
}

static lu_status step(void *to, const lu_cap_step *st, lu_err *err)
{
  lu_watch *w = to;
  lu_status s = LU_OK;
  if (w->only_cycles)
    return lu_cycles_step(w->bus, st, err);
  if (!w->started) {
    w->started = true;
    w->first = st->time;
    w->only_cycles = w->bus && !w->activity && !w->wave;
    if (w->refresh)
      lu_refresh_begin(w->refresh, st->time);
  }
  if (w->bus)
    s = lu_cycles_step(w->bus, st, err);
  if (s == LU_OK && w->activity)
    s = lu_activity_step(w->activity, st, err);
  if (w->wave)
    lu_wave_step(w->wave, st);
  return s;
}

static lu_status end(void *to, int64_t time, lu_err *err)
{
  lu_watch *w = to;
  w->last = time;
  if (!w->started)
    w->first = time;
  if (w->bus)
    lu_cycles_end(w->bus);
  if (w->refresh)
    lu_refresh_end(w->refresh, time, &w->refreshed);
  if (!w->activity)
    return LU_OK;
  lu_status s = lu_activity_end(w->activity, time, &w->lines, &w->line_count, err);
  return s == LU_OK ? find_signs(w, err) : s;
}

/* ---- the command ---- */

static lu_status read_map(lu_watch *w, lu_err *err)
{
  lu_file file;
  lu_status s = lu_file_open(w->args->signals, (size_t)1 << 20, &file, err);
  if (s != LU_OK)
    return s;
  s = lu_sigmap_read(file.bytes, w->run->mem, &w->map, err);
  lu_file_close(&file);
  return s == LU_OK ? LU_OK : lu_fail_source(err, s, w->args->signals);
}

static lu_status take_piece(void *to, lu_bytes piece, lu_err *err)
{
  return lu_capreader_feed(to, piece, err);
}

static lu_status write_svg(lu_watch *w, const lu_wave_style *style, lu_err *err)
{
  char *at = NULL;
  size_t len = 0;
  FILE *f = open_memstream(&at, &len);
  if (!f)
    return lu_fail(err, LU_ERR_NOMEM, 0, 0, "no room for the picture");
  lu_wave_svg(w->wave, style, f);
  lu_status s = fclose(f) ? lu_fail(err, LU_ERR_NOMEM, 0, 0, "no room for the picture")
                          : lu_file_write(w->args->svg, at, len, err);
  free(at);
  return s;
}

static lu_status picture(lu_watch *w, lu_err *err)
{
  char title[300];
  snprintf(title, sizeof title, "%s around %s", w->path, w->args->around);
  lu_wave_style style = {.columns = w->run->columns,
                         .utf8 = w->run->utf8,
                         .tick_s = w->cap->tick_s,
                         .has_mark = true,
                         .mark = w->around,
                         .title = title};
  if (w->args->svg)
    return write_svg(w, &style, err);
  lu_wave_text(w->wave, &style, w->run->out);
  return LU_OK;
}

static lu_status copy_table(lu_watch *w, lu_err *err)
{
  char piece[65536];
  rewind(w->table);
  for (size_t n; (n = fread(piece, 1, sizeof piece, w->table)) > 0;)
    fwrite(piece, 1, n, w->run->out);
  return ferror(w->table) ? lu_fail(err, LU_ERR_IO, 0, 0, "cannot read the table of cycles back")
                          : LU_OK;
}

static lu_status read_all(lu_watch *w, lu_err *err)
{
  lu_status s = w->args->signals ? read_map(w, err) : LU_OK;
  if (s == LU_OK && w->args->cycles && !w->args->json) {
    /* Kept aside until the whole capture is known to be fine: nothing half-written. */
    w->table = tmpfile();
    if (!w->table)
      s = lu_fail(err, LU_ERR_IO, 0, 0, "cannot keep the table of cycles: %s", strerror(errno));
  }
  if (s == LU_OK)
    s = lu_stream_read(w->path, take_piece, &w->reader, err);
  if (s == LU_OK)
    s = lu_fail_source(err, lu_capreader_end(&w->reader, err), w->path);
  return s;
}

static void say_notes(const lu_watch *w)
{
  const lu_cap_notes *n = &w->reader.notes;
  for (size_t i = 0; i < n->count; i++) {
    lu_err as = {.status = LU_OK, .source = w->path, .line = n->at[i].line, .column = n->at[i].column};
    snprintf(as.message, sizeof as.message, "warning: %s", n->at[i].text);
    lu_say_error(w->run, &as);
  }
}

static int watch(lu_run *run, void *opaque)
{
  const lu_watch_args *a = opaque;
  lu_watch *w = LU_NEW(run->mem, lu_watch, 1);
  lu_err err = {0};
  if (!w)
    return lu_say_usage(run, "out of memory"), LU_EXIT_SYSTEM;
  *w = (lu_watch){.run = run, .args = a, .path = a->operands.at[0]};
  if ((a->svg || a->show) && !a->around)
    return lu_say_usage(run, "watch: --%s needs --around", a->svg ? "svg" : "show");
  if (a->csv && !a->cycles)
    return lu_say_usage(run, "watch: --csv needs --cycles");
  if (a->at && !a->expect)
    return lu_say_usage(run, "watch: --at needs --expect");
  if (a->rate_hz < 0)
    return lu_say_usage(run, "watch: --rate expects a frequency above 0");
  w->reader = (lu_capreader){.mem = run->mem,
                             .options = {.rate_hz = a->rate_hz},
                             .sink = {.begin = begin, .step = step, .end = end, .to = w, .wanted = &w->wanted}};
  lu_status s = read_all(w, &err);
  say_notes(w);
  if (s == LU_OK && a->json)
    s = lu_watch_json(w, &err);
  else if (s == LU_OK && w->table)
    s = copy_table(w, &err);
  else if (s == LU_OK && a->around)
    s = picture(w, &err);
  else if (s == LU_OK)
    lu_watch_say(w);
  if (w->table)
    fclose(w->table);
  lu_file_close(&w->image_file);
  if (s != LU_OK)
    return lu_say_error(run, &err);
  return lu_watch_trouble(w) ? LU_EXIT_FAULTS : LU_EXIT_CLEAN;
}

static const lu_option options[] = {
    {"signals", 's', LU_OPT_TEXT, offsetof(lu_watch_args, signals), 0, 0, "FILE",
     "what the signals mean (YAML)"},
    {"cycles", 'c', LU_OPT_FLAG, offsetof(lu_watch_args, cycles), 0, 0, NULL,
     "a table of the bus cycles"},
    {"csv", 0, LU_OPT_FLAG, offsetof(lu_watch_args, csv), 0, 0, NULL, "that table as CSV"},
    {"count", 0, LU_OPT_FLAG, offsetof(lu_watch_args, count), 0, 0, NULL,
     "only count the bus cycles"},
    {"check", 0, LU_OPT_FLAG, offsetof(lu_watch_args, check), 0, 0, NULL,
     "compare reads with what was written before"},
    {"expect", 'e', LU_OPT_TEXT, offsetof(lu_watch_args, expect), 0, 0, "FILE",
     "compare reads with this image of a memory too"},
    {"at", 0, LU_OPT_NUMBER, offsetof(lu_watch_args, at), 0, 0, "ADDR",
     "byte address where a raw image starts"},
    {"around", 'a', LU_OPT_TEXT, offsetof(lu_watch_args, around), 0, 0, "TIME",
     "draw the levels around this time"},
    {"show", 0, LU_OPT_TEXT, offsetof(lu_watch_args, show), 0, 0, "NAMES",
     "signals to draw, with commas between"},
    {"svg", 0, LU_OPT_TEXT, offsetof(lu_watch_args, svg), 0, 0, "FILE", "draw into an SVG file"},
    {"glitch-ns", 'g', LU_OPT_NUMBER, offsetof(lu_watch_args, glitch_ns), 0, 1000000000, "N",
     "count levels shorter than N ns as glitches"},
    {"rate", 'r', LU_OPT_REAL, offsetof(lu_watch_args, rate_hz), 0, 0, "HZ",
     "samples a second, where the capture counts samples"},
    {"all", 0, LU_OPT_FLAG, offsetof(lu_watch_args, all), 0, 0, NULL,
     "with a map: the lines it does not name as well"},
    {"json", 'j', LU_OPT_FLAG, offsetof(lu_watch_args, json), 0, 0, NULL, "one JSON object"},
    {0},
};

static const char *const examples[] = {
    "lineup watch docs/demo/work.vcd",
    "lineup watch docs/demo/work.vcd --signals docs/demo/work-bus.yaml --check",
    "lineup watch docs/demo/work.vcd --signals docs/demo/work-bus.yaml --cycles --csv",
    "lineup watch docs/demo/work.vcd --signals docs/demo/work-bus.yaml --around 1.2us",
    NULL,
};

const lu_command lu_command_watch = {
    .name = "watch",
    .summary = "line activity and bus cycles of a logic capture",
    .usage = "[OPTION ...] CAPTURE",
    .options = options,
    .args_size = sizeof(lu_watch_args),
    .operands_offset = offsetof(lu_watch_args, operands),
    .least_operands = 1,
    .most_operands = 1,
    .examples = examples,
    .run = watch,
};
