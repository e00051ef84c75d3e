/* SPDX-License-Identifier: MIT */
/* lineup pattern list|show|expand|check|choose|next */
#include <inttypes.h>
#include <jansson.h>
#include <stdlib.h>
#include <string.h>

#include "base/io.h"
#include "cli/cmd.h"
#include "api/marchlog.h"
#include "cli/patboard.h"
#include "api/patterns.h"
#include "pattern/cells.h"
#include "pattern/csource.h"
#include "pattern/failures.h"

typedef struct args {
  lu_texts operands;
  uint64_t size, width, bytes, base, rows, pass, rate;
  const char *image, *c, *ops, *syndrome, *byte_order, *failures;
  bool json, missed, down;
  lu_patboard_args on_board;
  lu_memory block; /* the board's, and its byte order */
  bool big;
} args;

/* ---- the block ---- */

static int make_block(lu_run *run, const args *a, lu_memory *out)
{
  if (a->on_board.board) {
    *out = a->block;
    return 0;
  }
  unsigned width = a->width ? (unsigned)a->width : 8, bytes = (unsigned)a->bytes;
  if (!bytes)
    bytes = width <= 8 ? 1 : width <= 16 ? 2 : width <= 32 ? 4 : 8;
  uint64_t size = a->size ? a->size : 65536;
  if (bytes != 1 && bytes != 2 && bytes != 4 && bytes != 8)
    return lu_say_usage(run, "pattern: --bytes expects 1, 2, 4 or 8, found %u", bytes);
  if (width > 8 * bytes)
    return lu_say_usage(run, "pattern: %u bits do not fit %u bytes", width, bytes);
  if (size % bytes || a->base % bytes)
    return lu_say_usage(run, "pattern: --size and --base must be multiples of the word's %u bytes",
                        bytes);
  *out = (lu_memory){.base_word = a->base / bytes, .words = size / bytes, .width = width,
                    .bytes = bytes, .row_mask = a->rows};
  return 0;
}

static bool is_big(const args *a)
{
  return a->byte_order ? !strcmp(a->byte_order, "big") : a->big;
}

/* ---- list ---- */

static const char *length_text(const lu_pattern *p, lu_arena *mem)
{
  uint64_t k, wait_us;
  bool linear = lu_pattern_length(p, &k, &wait_us);
  bool rest = false;
  for (size_t i = 0; i < p->op_count; i++)
    rest |= p->ops[i].kind == LU_OP_REST;
  const char *text = linear ? lu_arena_printf(mem, "%" PRIu64 "n%s", k, wait_us ? " + wait" : "")
                     : rest ? "squared" : "fixed";
  return text ? text : "";
}

static json_t *pattern_json(const lu_pattern *p, const char *path, lu_arena *mem)
{
  return json_pack("{s:s,s:s,s:s,s:s,s:s,s:s,s:s*}", "name", p->name, "title", p->title, "length",
                   length_text(p, mem), "march", p->march, "about", p->about, "source", p->source,
                   "file", path);
}

static int put_json(lu_run *run, json_t *value)
{
  if (!value || json_dumpf(value, run->out, JSON_INDENT(1) | JSON_ENSURE_ASCII)) {
    json_decref(value);
    return lu_say_usage(run, "pattern: cannot write JSON"), LU_EXIT_SYSTEM;
  }
  fputc('\n', run->out);
  json_decref(value);
  return LU_EXIT_CLEAN;
}

static int list(lu_run *run, const args *a)
{
  lu_err err = {0};
  lu_pattern_place *places;
  size_t count;
  if (lu_patterns_list(run->mem, &places, &count, &err))
    return lu_say_error(run, &err);
  int exit_status = LU_EXIT_CLEAN;
  json_t *all = a->json ? json_array() : NULL;
  for (size_t i = 0; i < count; i++) {
    lu_pattern *p;
    err = (lu_err){0};
    if (lu_patterns_read(&places[i], run->mem, &p, &err)) {
      exit_status = lu_say_error(run, &err);
      continue;
    }
    if (a->json)
      json_array_append_new(all, pattern_json(p, places[i].path, run->mem));
    else
      fprintf(run->out, "%-22s %-10s %s%s\n", p->name, length_text(p, run->mem), p->title,
              places[i].path ? "  (own file)" : "");
  }
  int status = a->json ? put_json(run, all) : LU_EXIT_CLEAN;
  return status ? status : exit_status;
}

/* ---- show ---- */

static void put_wrapped(lu_run *run, const char *label, const char *text)
{
  unsigned column = 14, most = run->columns > 40 ? run->columns : 80;
  fprintf(run->out, "%-14s", label);
  while (*text) {
    unsigned len = (unsigned)strcspn(text, " ");
    if (column > 14 && column + 1 + len > most) {
      fprintf(run->out, "\n%14s", "");
      column = 14;
    }
    fprintf(run->out, "%s%.*s", column > 14 ? " " : "", (int)len, text);
    column += len + (column > 14);
    text += len + (text[len] == ' ');
  }
  fputc('\n', run->out);
}

static const char *list_text(const lu_pattern *p, bool orders, lu_arena *mem)
{
  static const char *const names[] = {"linear", "rows", "columns", "lines", "complement", "turns"};
  const char *text = "";
  size_t count = orders ? p->order_count : p->background_count;
  for (size_t i = 0; i < count && text; i++) {
    const lu_background *b = &p->backgrounds[i];
    const char *item = orders ? names[p->orders[i]]
                       : b->contents ? b->contents->name : lu_vectors_name(b->vectors);
    text = lu_arena_printf(mem, "%s%s%s%s", text, i ? ", " : "",
                           !orders && !b->contents && b->vectors > LU_VECTORS_BACKGROUNDS
                             ? "vectors " : "", item);
  }
  return text ? text : "";
}

static void put_time(FILE *out, double seconds)
{
  if (seconds < 120)
    fprintf(out, "%.3g s", seconds);
  else if (seconds < 7200)
    fprintf(out, "%.1f min", seconds / 60);
  else if (seconds < 172800)
    fprintf(out, "%.1f h", seconds / 3600);
  else
    fprintf(out, "%.0f days", seconds / 86400);
}

static int show_one(lu_run *run, const args *a, const char *name)
{
  lu_err err = {0};
  lu_pattern *p;
  lu_memory block;
  int bad = make_block(run, a, &block);
  if (bad)
    return bad;
  if (lu_patterns_open(name, run->mem, &p, &err) || lu_pattern_fits(p, &block, &err))
    return lu_say_error(run, &err);
  uint64_t wait_us, operations = lu_pattern_operations(p, &block, &wait_us);
  uint32_t passes = lu_pattern_passes(p, &block);
  if (a->json) {
    json_t *o = pattern_json(p, NULL, run->mem);
    json_object_set_new(o, "words", json_integer((json_int_t)block.words));
    json_object_set_new(o, "width", json_integer(block.width));
    json_object_set_new(o, "passes", json_integer(passes));
    json_object_set_new(o, "operations", json_integer((json_int_t)(operations & INT64_MAX)));
    json_object_set_new(o, "wait_us", json_integer((json_int_t)wait_us));
    return put_json(run, o);
  }
  fprintf(run->out, "%s\n\n", p->title);
  if (p->about[0])
    put_wrapped(run, "what it does", p->about);
  put_wrapped(run, "march", p->march);
  put_wrapped(run, "backgrounds", list_text(p, false, run->mem));
  put_wrapped(run, "orders", list_text(p, true, run->mem));
  if (p->by_lanes)
    put_wrapped(run, "lanes", "every byte lane in turn");
  put_wrapped(run, "length", length_text(p, run->mem));
  put_wrapped(run, "source", p->source);
  fprintf(run->out, "%-14s%" PRIu64 " words of %u bits: %u pass%s, %" PRIu64 " operations",
          "on a block", block.words, block.width, (unsigned)passes, passes == 1 ? "" : "es",
          operations);
  if (wait_us) {
    fputs(", waits ", run->out);
    put_time(run->out, (double)wait_us / 1e6);
  }
  if (a->rate) {
    fputs(", about ", run->out);
    put_time(run->out, (double)operations / (double)a->rate + (double)wait_us / 1e6);
    fprintf(run->out, " at %" PRIu64 " operations/s", a->rate);
  }
  fputc('\n', run->out);
  return LU_EXIT_CLEAN;
}

/* ---- expand ---- */

typedef struct ops_writer {
  FILE *out;
  const lu_pattern *pattern;
  const lu_memory *block;
  lu_arena *mem;
  uint32_t pass;
  uint16_t element;
  bool started;
  unsigned digits;
} ops_writer;

static bool write_ops(void *user, const lu_operation *ops, size_t count)
{
  ops_writer *w = user;
  for (size_t i = 0; i < count; i++) {
    const lu_operation *o = &ops[i];
    if (!w->started || o->pass != w->pass) {
      const char *text = lu_pattern_pass_text(w->pattern, w->block, o->pass, w->mem);
      fprintf(w->out, "# pass %u: %s\n", (unsigned)o->pass + 1, text ? text : "");
    }
    if (!w->started || o->pass != w->pass || o->element != w->element)
      fprintf(w->out, "# element %u\n", o->element + 1u);
    w->started = true;
    w->pass = o->pass;
    w->element = o->element;
    if (o->kind == LU_OP_WAIT)
      fprintf(w->out, "wait %" PRIu64 "us\n", o->value);
    else if (w->pattern->by_lanes)
      fprintf(w->out, "%c 0x%" PRIx64 " 0x%0*" PRIx64 " mask 0x%" PRIx64 "\n",
              o->kind == LU_OP_READ ? 'r' : 'w', (w->block->base_word + o->word) * w->block->bytes,
              (int)w->digits, o->value, o->mask);
    else
      fprintf(w->out, "%c 0x%" PRIx64 " 0x%0*" PRIx64 "\n", o->kind == LU_OP_READ ? 'r' : 'w',
              (w->block->base_word + o->word) * w->block->bytes, (int)w->digits, o->value);
  }
  return !ferror(w->out);
}

static int expand_ops(lu_run *run, const args *a, const lu_pattern *p, const lu_memory *block)
{
  bool to_out = !a->ops || !strcmp(a->ops, "-");
  FILE *out = to_out ? run->out : fopen(a->ops, "w");
  lu_err err = {0};
  if (!out) {
    lu_fail(&err, LU_ERR_IO, 0, 0, "cannot be written");
    err.source = a->ops;
    return lu_say_error(run, &err);
  }
  ops_writer w = {.out = out, .pattern = p, .block = block, .mem = run->mem,
                  .digits = (block->width + 3) / 4};
  bool done = lu_pattern_expand(p, block, a->down ? LU_DOWN : LU_UP, write_ops, &w);
  if (!to_out && (fclose(out) || !done)) {
    remove(a->ops);
    lu_fail(&err, LU_ERR_IO, 0, 0, "cannot be written");
    err.source = a->ops;
    return lu_say_error(run, &err);
  }
  return LU_EXIT_CLEAN;
}

/* Words in host order to the byte order of the machine. */
static void order_bytes(void *words, size_t count, unsigned bytes, bool big)
{
  if (big == (__BYTE_ORDER__ == __ORDER_BIG_ENDIAN__))
    return;
  for (size_t i = 0; i < count; i++) {
    if (bytes == 2)
      ((uint16_t *)words)[i] = __builtin_bswap16(((uint16_t *)words)[i]);
    else if (bytes == 4)
      ((uint32_t *)words)[i] = __builtin_bswap32(((uint32_t *)words)[i]);
    else if (bytes == 8)
      ((uint64_t *)words)[i] = __builtin_bswap64(((uint64_t *)words)[i]);
  }
}

/* An image in the making. Parts that stay in the processor's cache are written faster than one that does not. */
typedef struct image_writer {
  const lu_pattern *pattern;
  const lu_memory *block;
  uint32_t pass;
  bool big;
  uint64_t at, step; /* words */
  void *words;
} image_writer;

enum { IMAGE_PART_WORDS = 1 << 18 };

static lu_bytes image_part(void *user)
{
  image_writer *w = user;
  uint64_t left = w->block->words - w->at, count = left < w->step ? left : w->step;
  if (!count)
    return (lu_bytes){0};
  lu_pattern_image(w->pattern, w->block, w->pass, w->at, count, w->words);
  order_bytes(w->words, count, w->block->bytes, w->big);
  w->at += count;
  return (lu_bytes){w->words, count * w->block->bytes};
}

static int expand_image(lu_run *run, const args *a, const lu_pattern *p, const lu_memory *block)
{
  lu_err err = {0};
  uint32_t passes = lu_pattern_passes(p, block);
  uint32_t pass = a->pass ? (uint32_t)a->pass - 1 : passes - 1;
  if (a->pass > passes)
    return lu_say_usage(run, "pattern: --pass expects 1 to %u, found %" PRIu64, (unsigned)passes,
                        a->pass);
  if (block->words > (UINT64_C(1) << 32) / block->bytes)
    return lu_say_usage(run, "pattern: an image has at most 4 GiB");
  uint64_t k, wait_us;
  image_writer w = {.pattern = p, .block = block, .pass = pass, .big = is_big(a), .step = block->words};
  /* a pattern that writes single words is run for every part anew: then there is one only */
  if (lu_pattern_length(p, &k, &wait_us) && w.step > IMAGE_PART_WORDS)
    w.step = IMAGE_PART_WORDS;
  w.words = lu_arena_big(run->mem, w.step * block->bytes);
  if (!w.words) {
    lu_fail(&err, LU_ERR_NOMEM, 0, 0, "no room for the image");
    return lu_say_error(run, &err);
  }
  if (lu_file_write_parts(a->image, image_part, &w, &err)) {
    lu_fail_source(&err, err.status, a->image);
    return lu_say_error(run, &err);
  }
  return LU_EXIT_CLEAN;
}

static int expand_c(lu_run *run, const args *a, const lu_pattern *p, const lu_memory *block)
{
  lu_err err = {0};
  const char *text;
  const lu_c_options options = {.base = block->base_word * block->bytes, .big_endian = is_big(a)};
  if (lu_pattern_c_source(p, block, &options, run->mem, &text, &err))
    return lu_say_error(run, &err);
  if (!strcmp(a->c, "-")) {
    fputs(text, run->out);
    return LU_EXIT_CLEAN;
  }
  if (lu_file_write(a->c, text, strlen(text), &err)) {
    lu_fail_source(&err, err.status, a->c);
    return lu_say_error(run, &err);
  }
  return LU_EXIT_CLEAN;
}

static int expand_one(lu_run *run, const args *a, const char *name)
{
  lu_err err = {0};
  lu_pattern *p;
  lu_memory block;
  int bad = make_block(run, a, &block);
  if (bad)
    return bad;
  if (lu_patterns_open(name, run->mem, &p, &err) || lu_pattern_fits(p, &block, &err))
    return lu_say_error(run, &err);
  int status = a->image ? expand_image(run, a, p, &block) : LU_EXIT_CLEAN;
  if (!status && a->c)
    status = expand_c(run, a, p, &block);
  if (!status && (a->ops || (!a->image && !a->c)))
    status = expand_ops(run, a, p, &block);
  return status;
}

/* ---- check ---- */

typedef struct checked {
  const lu_pattern *pattern;
  lu_cell_coverage models[LU_CELL_MODELS];
} checked;

static unsigned count_bits(uint64_t v)
{
  return (unsigned)__builtin_popcountll(v);
}

static uint64_t seen_by_set(const checked *all, size_t count, unsigned model)
{
  uint64_t seen = 0;
  for (size_t i = 0; i < count; i++)
    seen |= all[i].models[model].seen;
  return seen;
}

static void put_missed(lu_run *run, unsigned model, uint64_t seen)
{
  char text[160];
  for (unsigned f = 0; f < lu_cell_models()[model].faults; f++)
    if (!(seen >> f & 1)) {
      lu_cell_fault_text(model, f, text, sizeof text);
      fprintf(run->out, "    misses %s\n", text);
    }
}

static int put_coverage(lu_run *run, const args *a, const checked *all, size_t count)
{
  fprintf(run->out, "%-28s", "fault model");
  for (size_t i = 0; i < count; i++)
    fprintf(run->out, " %14s", all[i].pattern->name);
  fprintf(run->out, "%s\n", count > 1 ? "       together" : "");
  for (unsigned m = 0; m < LU_CELL_MODELS; m++) {
    fprintf(run->out, "%-28s", lu_cell_models()[m].name);
    for (size_t i = 0; i < count; i++) {
      const lu_cell_coverage *c = &all[i].models[m];
      char cell[40];
      if (c->best > c->detected)
        snprintf(cell, sizeof cell, "%u/%u (%u)", c->detected, c->total, c->best);
      else
        snprintf(cell, sizeof cell, "%u/%u", c->detected, c->total);
      fprintf(run->out, " %*s", (int)(strlen(all[i].pattern->name) > 14
                                        ? strlen(all[i].pattern->name) : 14), cell);
    }
    uint64_t seen = seen_by_set(all, count, m);
    if (count > 1)
      fprintf(run->out, " %10u/%u", count_bits(seen), lu_cell_models()[m].faults);
    fputc('\n', run->out);
    if (a->missed)
      put_missed(run, m, seen);
  }
  fputs("\nFound for certain, of how many; in brackets: if the direction of the `any` elements is "
        "chosen to suit.\n", run->out);
  return LU_EXIT_CLEAN;
}

static json_t *missed_json(unsigned model, uint64_t seen)
{
  char text[160];
  json_t *missed = json_array();
  for (unsigned f = 0; f < lu_cell_models()[model].faults; f++)
    if (!(seen >> f & 1)) {
      lu_cell_fault_text(model, f, text, sizeof text);
      json_array_append_new(missed, json_string(text));
    }
  return missed;
}

static int put_coverage_json(lu_run *run, const checked *all, size_t count)
{
  json_t *patterns = json_array(), *models = json_array();
  for (size_t i = 0; i < count; i++)
    json_array_append_new(patterns, json_string(all[i].pattern->name));
  for (unsigned m = 0; m < LU_CELL_MODELS; m++) {
    json_t *detected = json_array(), *best = json_array();
    for (size_t i = 0; i < count; i++) {
      json_array_append_new(detected, json_integer(all[i].models[m].detected));
      json_array_append_new(best, json_integer(all[i].models[m].best));
    }
    uint64_t seen = seen_by_set(all, count, m);
    json_array_append_new(
      models, json_pack("{s:s,s:s,s:i,s:o,s:o,s:i,s:o}", "model", lu_cell_models()[m].name,
                        "summary", lu_cell_models()[m].summary, "faults",
                        (int)lu_cell_models()[m].faults, "detected", detected, "best_directions",
                        best, "together", (int)count_bits(seen), "missed", missed_json(m, seen)));
  }
  return put_json(run, json_pack("{s:o,s:o}", "patterns", patterns, "models", models));
}

/* Which cell faults give the reads that failed: "01010", the first read first. */
static int explain(lu_run *run, const args *a, const lu_pattern *p)
{
  unsigned reads = lu_cells_reads(p);
  uint64_t syndrome = 0, found[LU_CELL_MODELS];
  lu_err err = {0};
  if (strlen(a->syndrome) != reads || strspn(a->syndrome, "01") != reads)
    return lu_say_usage(run, "pattern: --syndrome expects a 0 (right) or 1 (wrong) for each of the "
                             "%u reads of %s, found '%s'", reads, p->name, a->syndrome);
  for (unsigned i = 0; i < reads; i++)
    syndrome |= (uint64_t)(a->syndrome[i] == '1') << i;
  if (lu_cells_explain(p, syndrome, run->mem, found, &err))
    return lu_say_error(run, &err);
  json_t *faults = json_array();
  char text[160];
  for (unsigned m = 0; m < LU_CELL_MODELS; m++)
    for (unsigned f = 0; f < lu_cell_models()[m].faults; f++) {
      if (!(found[m] >> f & 1))
        continue;
      lu_cell_fault_text(m, f, text, sizeof text);
      if (a->json)
        json_array_append_new(faults, json_pack("{s:s,s:s}", "model", lu_cell_models()[m].name,
                                                "fault", text));
      else
        fprintf(run->out, "%-28s %s\n", lu_cell_models()[m].name, text);
    }
  if (a->json)
    return put_json(run, json_pack("{s:s,s:s,s:o}", "pattern", p->name, "syndrome", a->syndrome,
                                   "faults", faults));
  json_decref(faults);
  return LU_EXIT_CLEAN;
}

/* ---- check --failures: what a run of the C source printed ---- */

/* Next number of the line; *at moves behind it. False: *at is where one was expected. */
static bool next_number(const char *line, size_t len, size_t *at, uint64_t *value)
{
  while (*at < len && strchr(" \t,;", line[*at]))
    ++*at;
  size_t start = *at;
  while (*at < len && !strchr(" \t,;", line[*at]))
    ++*at;
  if (*at > start && lu_text_u64(line + start, *at - start, 0, UINT64_MAX, value))
    return true;
  *at = start;
  return false;
}

static lu_status read_failures(lu_bytes in, lu_arena *mem, lu_failure **out, size_t *count,
                               lu_err *err)
{
  const char *at = (const char *)in.at, *start = at, *end = at + in.len, *line;
  size_t len, room = 0, n = 0;
  lu_failure *list = NULL;
  while (lu_text_line(&at, end, &line, &len)) {
    uint64_t v[4];
    size_t place = 0;
    if (!len || *line == '#')
      continue;
    for (int i = 0; i < 4; i++)
      if (!next_number(line, len, &place, &v[i]) || (i == 0 && v[0] > UINT32_MAX))
        return lu_fail_at(err, LU_ERR_SYNTAX, start, in.len, (size_t)(line - start) + place,
                          "expected four numbers: operation, word, expected, got (hex with 0x)");
    if (n == LU_FAILURES_MOST)
      return lu_fail(err, LU_ERR_LIMIT, 0, 0, "more than %d failures", LU_FAILURES_MOST);
    if (n == room)
      list = lu_arena_grow(mem, list, n, &room, sizeof *list);
    if (!list)
      return lu_fail(err, LU_ERR_NOMEM, 0, 0, "no room for the failures");
    list[n++] = (lu_failure){.word = v[1], .wrong = v[2] ^ v[3], .op = (uint32_t)v[0]};
  }
  *out = list;
  *count = n;
  return LU_OK;
}

/* Simple faults that give the syndrome; linked ones only where no simple one does. */
static json_t *explaining(const lu_pattern *p, uint64_t syndrome, lu_arena *mem, lu_err *err)
{
  uint64_t found[LU_CELL_MODELS];
  json_t *simple = json_array(), *linked = json_array();
  if (lu_cells_explain(p, syndrome, mem, found, err) == LU_OK)
    for (unsigned m = 0; m < LU_CELL_MODELS; m++)
      for (unsigned f = 0; f < lu_cell_models()[m].faults; f++) {
        char text[160];
        if (!(found[m] >> f & 1))
          continue;
        lu_cell_fault_text(m, f, text, sizeof text);
        bool is_linked = !strncmp(lu_cell_models()[m].name, "linked", 6);
        json_array_append_new(is_linked ? linked : simple,
                              json_sprintf("%s %s", lu_cell_models()[m].name, text));
      }
  bool use_linked = !json_array_size(simple);
  json_decref(use_linked ? simple : linked);
  return use_linked ? linked : simple;
}

static int put_groups(lu_run *run, const args *a, const lu_pattern *p, const lu_memory *block,
                      const lu_syndrome_group *groups, size_t count)
{
  enum { SHOWN = 32 };
  unsigned reads = lu_cells_reads(p);
  json_t *all = json_array();
  for (size_t i = 0; i < count && i < SHOWN; i++) {
    const lu_syndrome_group *g = &groups[i];
    lu_err err = {0};
    bool line = g->complete && g->words > 1;
    json_t *faults = line ? json_array() : explaining(p, g->syndrome, run->mem, &err);
    const char *reach = lu_marchlog_reach(g, block, run->mem);
    const char *syndrome = lu_marchlog_syndrome(g->syndrome, reads, run->mem);
    if (!a->json) {
      fprintf(run->out, "bit %u fails reads %s at %s\n", g->bit, syndrome, reach);
      if (line)
        fputs("    a line or a whole chip, not a cell\n", run->out);
      size_t n;
      json_t *fault;
      json_array_foreach(faults, n, fault)
        fprintf(run->out, "    %s\n", json_string_value(fault));
    }
    json_array_append_new(all, json_pack("{s:i,s:s,s:I,s:s,s:b,s:o}", "bit", (int)g->bit,
                                         "syndrome", syndrome, "words", (json_int_t)g->words, "at",
                                         reach, "line", (int)line, "cell_faults", faults));
  }
  if (!a->json && count > SHOWN)
    fprintf(run->out, "and %zu more kinds of failure\n", count - SHOWN);
  int status = LU_EXIT_CLEAN;
  if (a->json)
    status = put_json(run, json_pack("{s:s,s:i,s:o}", "pattern", p->name, "kinds", (int)count,
                                     "groups", json_incref(all)));
  json_decref(all);
  return status ? status : count ? LU_EXIT_FAULTS : LU_EXIT_CLEAN;
}

static int check_failures(lu_run *run, const args *a, const lu_pattern *p)
{
  lu_err err = {0};
  lu_file file;
  lu_memory block;
  lu_failure *list = NULL;
  lu_syndrome_group *groups = NULL;
  size_t count = 0, group_count = 0;
  int bad = make_block(run, a, &block);
  if (bad)
    return bad;
  lu_status status = lu_file_open(a->failures, 0, &file, &err);
  if (status == LU_OK) {
    status = read_failures(file.bytes, run->mem, &list, &count, &err);
    if (status == LU_OK)
      status = lu_failures_group(p, &block, list, count, run->mem, &groups, &group_count, &err);
    lu_file_close(&file);
  }
  if (status) {
    lu_fail_source(&err, status, a->failures);
    return lu_say_error(run, &err);
  }
  return put_groups(run, a, p, &block, groups, group_count);
}

static int check(lu_run *run, const args *a)
{
  size_t count = a->operands.count - 1;
  checked *all = LU_NEW(run->mem, checked, count);
  lu_err err = {0};
  if (!all)
    return lu_say_usage(run, "out of memory"), LU_EXIT_SYSTEM;
  if ((a->syndrome || a->failures) && count > 1)
    return lu_say_usage(run, "pattern: --syndrome and --failures belong to one pattern");
  for (size_t i = 0; i < count; i++) {
    lu_pattern *p;
    if (lu_patterns_open(a->operands.at[i + 1], run->mem, &p, &err))
      return lu_say_error(run, &err);
    all[i].pattern = p;
    if (a->syndrome)
      return explain(run, a, p);
    if (a->failures)
      return check_failures(run, a, p);
    if (lu_cells_coverage(p, run->mem, all[i].models, &err))
      return lu_say_error(run, &err);
  }
  return a->json ? put_coverage_json(run, all, count) : put_coverage(run, a, all, count);
}

/* ---- on a board ---- */

/* The patterns named, or all there are. */
static int open_patterns(lu_run *run, const args *a, const lu_pattern ***out, size_t *count)
{
  lu_err err = {0};
  size_t names = a->operands.count - 1;
  lu_pattern_place *places = NULL;
  *count = names;
  if (!names && lu_patterns_list(run->mem, &places, count, &err))
    return lu_say_error(run, &err);
  const lu_pattern **list = LU_NEW(run->mem, const lu_pattern *, *count + 1);
  if (!list)
    return lu_say_usage(run, "out of memory"), LU_EXIT_SYSTEM;
  for (size_t i = 0; i < *count; i++) {
    lu_pattern *p;
    if (names ? lu_patterns_open(a->operands.at[i + 1], run->mem, &p, &err)
              : lu_patterns_read(&places[i], run->mem, &p, &err))
      return lu_say_error(run, &err);
    list[i] = p;
  }
  *out = list;
  return 0;
}

static int on_board(lu_run *run, const args *a, const char *verb)
{
  lu_patboard_args b = a->on_board;
  const lu_pattern **patterns = NULL;
  size_t count;
  b.json = a->json;
  b.missed = a->missed;
  int bad = open_patterns(run, a, &patterns, &count);
  if (bad)
    return bad;
  return *verb == 'n'             ? lu_patboard_next(run, &b, patterns, count)
         : !strcmp(verb, "check") ? lu_patboard_check(run, &b, patterns, count)
                                  : lu_patboard_choose(run, &b, patterns, count);
}

/* ---- the command ---- */

static int pattern(lu_run *run, void *opaque)
{
  args *a = opaque;
  const char *verb = a->operands.at[0];
  size_t names = a->operands.count - 1;
  static const char *const verbs[] = {"list", "show", "expand", "check", "choose", "next"};
  if (a->byte_order && strcmp(a->byte_order, "big") && strcmp(a->byte_order, "little"))
    return lu_say_usage(run, "pattern: --byte-order expects big or little, found '%s'",
                        a->byte_order);
  bool failures = !strcmp(verb, "check") && a->failures;
  if (a->on_board.board && (failures || ((*verb == 's' || *verb == 'e') && names == 1))) {
    if (a->size || a->width || a->bytes || a->base || a->rows)
      return lu_say_usage(run, "pattern: the board file says what the block is; leave out --size, --width, --bytes, --base and --rows");
    int bad = lu_patboard_block(run, &a->on_board, &a->block, &a->big);
    if (bad)
      return bad;
  }
  if (!strcmp(verb, "list"))
    return names ? lu_say_usage(run, "pattern list takes no names") : list(run, a);
  if (a->on_board.board && (!strcmp(verb, "check") ? names > 0 && !failures : !strcmp(verb, "choose") || !strcmp(verb, "next")))
    return on_board(run, a, verb);
  if (!strcmp(verb, "check") && names)
    return check(run, a);
  if (!strcmp(verb, "choose") || !strcmp(verb, "next"))
    return lu_say_usage(run, "pattern %s: expects --board FILE", verb);
  if ((!strcmp(verb, "show") || !strcmp(verb, "expand")) && names == 1)
    return *verb == 's' ? show_one(run, a, a->operands.at[1]) : expand_one(run, a, a->operands.at[1]);
  for (size_t i = 0; i < 4; i++)
    if (!strcmp(verb, verbs[i])) /* list, show, expand, check */
      return lu_say_usage(run, "pattern %s expects %s", verb,
                          i == 3 ? "the names of patterns" : "the name of one pattern");
  const char *near = lu_text_nearest(verb, verbs, 6);
  return lu_say_usage(run, "pattern: expected list, show, expand, check, choose or next, found '%s'%s%s%s", verb,
                      near ? "; the nearest is '" : "", near ? near : "", near ? "'" : "");
}

static const lu_option options[] = {
  {"size", 's', LU_OPT_NUMBER, offsetof(args, size), 1, UINT64_C(1) << 40, "BYTES",
   "size of the block (default 64k)"},
  {"width", 0, LU_OPT_NUMBER, offsetof(args, width), 1, 64, "BITS",
   "data bits in a word (default 8)"},
  {"bytes", 0, LU_OPT_NUMBER, offsetof(args, bytes), 1, 8, "N",
   "bytes that a word takes (default: what the width needs)"},
  {"base", 0, LU_OPT_NUMBER, offsetof(args, base), 0, UINT64_MAX, "ADDR",
   "byte address of the block (default 0)"},
  {"rows", 0, LU_OPT_NUMBER, offsetof(args, rows), 1, UINT64_MAX, "MASK",
   "word-address bits that are the row (default: the upper half)"},
  {"byte-order", 0, LU_OPT_TEXT, offsetof(args, byte_order), 0, 0, "ORDER",
   "big or little, for --image and byte lanes in --c (default little)"},
  {"image", 'i', LU_OPT_TEXT, offsetof(args, image), 0, 0, "FILE",
   "expand: write what the block holds after a pass"},
  {"pass", 0, LU_OPT_NUMBER, offsetof(args, pass), 1, UINT32_MAX, "N",
   "expand --image: after which pass (default: the last)"},
  {"c", 'c', LU_OPT_TEXT, offsetof(args, c), 0, 0, "FILE",
   "expand: write C source that runs on the machine itself"},
  {"ops", 'o', LU_OPT_TEXT, offsetof(args, ops), 0, 0, "FILE",
   "expand: write the operations (default: to standard output)"},
  {"down", 0, LU_OPT_FLAG, offsetof(args, down), 0, 0, NULL,
   "expand: elements of any direction run down, not up"},
  {"rate", 'r', LU_OPT_NUMBER, offsetof(args, rate), 1, UINT64_MAX, "N",
   "show: time it takes at N operations a second"},
  {"missed", 'm', LU_OPT_FLAG, offsetof(args, missed), 0, 0, NULL,
   "check: name every fault that is missed"},
  {"syndrome", 0, LU_OPT_TEXT, offsetof(args, syndrome), 0, 0, "BITS",
   "check: cell faults for which just these reads fail"},
  {"failures", 'f', LU_OPT_TEXT, offsetof(args, failures), 0, 0, "FILE",
   "check: reads that failed: lines of operation, word, expected, got"},
  {"board", 'b', LU_OPT_TEXT, offsetof(args, on_board.board), 0, 0, "FILE",
   "check, choose, next: what the patterns tell here; else: the block"},
  {"block", 0, LU_OPT_TEXT, offsetof(args, on_board.reading.block), 0, 0, "NAME",
   "the board's memory block"},
  {"vantage", 0, LU_OPT_TEXT, offsetof(args, on_board.reading.vantage), 0, 0, "NAME",
   "tested from there (default: the block's own)"},
  {"undriven", 0, LU_OPT_TEXT, offsetof(args, on_board.undriven), 0, 0, "LEVEL",
   "what a bus without driver reads: high, low, keep, address (default keep)"},
  {"result", 0, LU_OPT_LIST, offsetof(args, on_board.results), 0, 0, "DUMP",
   "next: what was read so far; several are passes"},
  {"wrote", 'w', LU_OPT_TEXT, offsetof(args, on_board.reading.wrote), 0, 0, "WHAT",
   "next: written through the same lines before: a file or contents by name"},
  {"expect", 'e', LU_OPT_TEXT, offsetof(args, on_board.reading.expect), 0, 0, "WHAT",
   "next: contents that are in there"},
  {"json", 'j', LU_OPT_FLAG, offsetof(args, json), 0, 0, NULL, "JSON, for scripts"},
  {0},
};

static const char *const examples[] = {
  "lineup pattern list",
  "lineup pattern show march-c-minus --size 64k --rate 20000",
  "lineup pattern show march-c-minus --board docs/demo/tide.yaml --block 'work RAM' --rate 20000",
  "lineup pattern check march-c-minus --missed",
  "lineup pattern check mats-plus walking-ones",
  "lineup pattern check march-c-minus --syndrome 01010",
  "lineup pattern check --board docs/demo/tide.yaml --block 'record RAM' march-c-minus data-counting --missed",
  "lineup pattern choose --board docs/demo/tide.yaml --block 'record RAM'",
  "lineup pattern expand checkerboard --size 16",
  "lineup pattern expand word-march --size 8k --width 16 --base 0x10000 --c -",
  NULL,
};

static const char *const raw[] = {"expand", NULL};

const lu_command lu_command_pattern = {
  .raw = raw,
  .name = "pattern",
  .summary = "list, show and expand test patterns, and what each can find",
  .usage = "list|show|expand|check|choose|next [OPTION ...] [NAME|FILE ...]",
  .options = options,
  .args_size = sizeof(args),
  .operands_offset = offsetof(args, operands),
  .least_operands = 1,
  .most_operands = 16,
  .examples = examples,
  .run = pattern,
};
