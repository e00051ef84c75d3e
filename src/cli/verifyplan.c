/* SPDX-License-Identifier: MIT */
#include "cli/verifyplan.h"

#include "api/patterns.h"

#include <inttypes.h>
#include <jansson.h>
#include <string.h>

static const char *const kinds[LU_COVER_KINDS] = {"open", "stuck", "bridge", "swap", "dead"};

static lu_status no_room(lu_link_block *b)
{
  return lu_fail(&b->s->err, LU_ERR_NOMEM, 0, 0, "no room for the patterns");
}

static lu_status open_named(lu_link_block *b, const char *const *names, size_t count, lu_verify_plan *p)
{
  p->patterns = LU_NEW(b->s->mem, const lu_pattern *, count + 1);
  if (!p->patterns)
    return no_room(b);
  for (; p->count < count; p->count++) {
    lu_pattern *one;
    lu_status bad = lu_patterns_open(names[p->count], b->s->mem, &one, &b->s->err);
    if (bad)
      return bad;
    p->patterns[p->count] = one;
  }
  return LU_OK;
}

/* All patterns that the block has room for. */
static lu_status open_fitting(lu_link_block *b, lu_verify_plan *p)
{
  lu_pattern_place *places;
  size_t count;
  lu_memory block = lu_drive_block(b->n);
  lu_status bad = lu_patterns_list(b->s->mem, &places, &count, &b->s->err);
  if (bad)
    return bad;
  p->patterns = LU_NEW(b->s->mem, const lu_pattern *, count + 1);
  if (!p->patterns)
    return no_room(b);
  for (size_t i = 0; i < count; i++) {
    lu_pattern *one;
    bad = lu_patterns_read(&places[i], b->s->mem, &one, &b->s->err);
    if (bad)
      return bad;
    if (p->count < LU_COVER_PATTERNS_MOST && lu_pattern_fits(one, &block, NULL) == LU_OK)
      p->patterns[p->count++] = one;
  }
  return LU_OK;
}

/* The faults of a board include cells, and a set that is shortest for the lines may hardly touch them. */
static const char for_cells[] = "march-c-minus";

static bool shows_cells(lu_link_block *b, const lu_verify_plan *p, const size_t *set, size_t count)
{
  uint64_t need[2] = {0}, seen[2] = {0}; /* SAF and TF: stuck, or not taking a transition */
  const lu_cell_model *m = lu_cell_models();
  for (size_t k = 0; k < 2; k++)
    need[k] = (UINT64_C(1) << m[k].faults) - 1;
  for (size_t i = 0; i < count; i++) {
    lu_cell_coverage one[LU_CELL_MODELS];
    if (lu_cells_coverage(p->patterns[set[i]], b->s->mem, one, NULL) == LU_OK)
      for (size_t k = 0; k < 2; k++)
        seen[k] |= one[k].seen;
  }
  return seen[0] == need[0] && seen[1] == need[1];
}

/* Adds the pattern for cells to a set that does not show them. */
static void add_cells(lu_link_block *b, lu_verify_plan *p, lu_choice *best)
{
  size_t *more = LU_NEW(b->s->mem, size_t, best->count + 1);
  if (!more || shows_cells(b, p, best->set, best->count))
    return;
  memcpy(more, best->set, best->count * sizeof *more);
  for (size_t i = 0; i < p->count; i++)
    if (!strcmp(p->patterns[i]->name, for_cells)) {
      more[best->count++] = i;
      best->set = more;
      p->cells_added = true;
      return;
    }
}

static bool shows_as_much(const lu_cover_sum *a, const lu_cover_sum *b)
{
  for (size_t k = 0; k < LU_COVER_KINDS; k++)
    if (a->kind[k].detected < b->kind[k].detected)
      return false;
  return true;
}

/* Takes out what the pattern for cells, the last one, has made superfluous. */
static bool without_idle(lu_link_block *b, const lu_coverage *c, lu_choice *best)
{
  size_t *fewer = LU_NEW(b->s->mem, size_t, best->count + 1);
  lu_cover_sum all, rest;
  if (!fewer || !lu_coverage_sum(c, best->set, best->count, b->s->mem, &all))
    return false;
  for (size_t i = best->count - 1; i-- > 0;) {
    memcpy(fewer, best->set, i * sizeof *fewer);
    memcpy(fewer + i, best->set + i + 1, (best->count - i - 1) * sizeof *fewer);
    if (!lu_coverage_sum(c, fewer, best->count - 1, b->s->mem, &rest))
      return false;
    if (shows_as_much(&rest, &all))
      memcpy(best->set, fewer, --best->count * sizeof *fewer);
  }
  return true;
}

static lu_status cover(lu_link_block *b, lu_verify_plan *p, bool choose)
{
  lu_coverage *c;
  lu_choice best = {0};
  size_t every[LU_COVER_PATTERNS_MOST], count = p->count;
  lu_status bad = lu_coverage_of(b->n, p->patterns, p->count, LU_LEVEL_KEEP, b->s->mem, &c, &b->s->err);
  if (bad)
    return bad;
  for (size_t i = 0; i < count; i++)
    every[i] = i;
  if (choose && !lu_coverage_choose(c, false, b->s->mem, &best))
    return no_room(b);
  if (choose)
    add_cells(b, p, &best);
  if (p->cells_added && !without_idle(b, c, &best))
    return no_room(b);
  p->exact = best.exact;
  if (!lu_coverage_sum(c, choose ? best.set : every, choose ? best.count : count, b->s->mem, &p->sum))
    return no_room(b);
  p->faults = c->fault_count;
  p->judged = true;
  if (!choose)
    return LU_OK;
  const lu_pattern **set = LU_NEW(b->s->mem, const lu_pattern *, best.count + 1);
  if (!set)
    return no_room(b);
  for (size_t i = 0; i < best.count; i++)
    set[i] = p->patterns[best.set[i]];
  p->patterns = set;
  p->count = best.count;
  return LU_OK;
}

/* A model counts when each of its faults is shown by one of the patterns, whatever the place and start. */
static void cells_of(lu_link_block *b, lu_verify_plan *p)
{
  static const size_t all = LU_CELL_MODELS;
  uint64_t seen[LU_CELL_MODELS] = {0};
  const lu_cell_model *m = lu_cell_models();
  for (size_t i = 0; i < p->count; i++) {
    lu_cell_coverage one[LU_CELL_MODELS];
    if (lu_cells_coverage(p->patterns[i], b->s->mem, one, NULL) != LU_OK)
      continue; /* it needs more words than a model has: nothing is claimed for it */
    for (size_t k = 0; k < all; k++)
      seen[k] |= one[k].seen;
  }
  for (size_t k = 0; k < all; k++)
    if (seen[k] == (UINT64_C(1) << m[k].faults) - 1)
      p->cells |= UINT64_C(1) << k;
}

lu_status lu_verify_plan_make(lu_link_block *b, const lu_texts *names, lu_verify_plan *p)
{
  /* Without a board nothing is known of its lines: the address in every word finds address lines that
   * are stuck, open or bridged, March C- all stuck, transition and unlinked coupling faults. */
  static const char *const usual[] = {"address", "march-c-minus"};
  *p = (lu_verify_plan){.chosen = !names->count};
  lu_status bad = names->count ? open_named(b, names->at, names->count, p) : b->n ? open_fitting(b, p) : open_named(b, usual, 2, p);
  if (!bad && b->n && p->count)
    bad = cover(b, p, !names->count);
  if (!bad)
    cells_of(b, p);
  return bad;
}

void lu_verify_plan_say(lu_run *run, const lu_verify_plan *p)
{
  fputs("patterns: ", run->err);
  for (size_t i = 0; i < p->count; i++)
    fprintf(run->err, "%s%s", i ? ", " : "", p->patterns[i]->name);
  if (p->chosen && p->judged)
    fprintf(run->err, " (%s that shows all single faults of this block's lines that any pattern shows%s)",
            p->exact ? "the shortest set" : "the shortest set found", p->cells_added ? "; the last for the cells" : "");
  fputc('\n', run->err);
}

void lu_verify_plan_say_coverage(lu_run *run, const lu_verify_plan *p)
{
  uint32_t nothing = 0, unjudged = 0;
  if (p->judged) {
    fputs("coverage of the block's lines:", run->out);
    for (size_t k = 0; k < LU_COVER_KINDS; k++) {
      const lu_cover_kind *s = &p->sum.kind[k];
      fprintf(run->out, "%s %s %" PRIu32 " of %" PRIu32, k ? "," : "", kinds[k], s->detected, s->detected + s->chance + s->missed);
      nothing += s->nothing;
      unjudged += s->unjudged;
    }
    fprintf(run->out, " single faults\n  (%" PRIu32 " more change nothing that this block could show, %" PRIu32 " are not judged)\n", nothing, unjudged);
  }
  fputs("coverage of cells, wholly:", run->out);
  if (!p->cells)
    fputs(" none of the models", run->out);
  bool first = true;
  for (size_t k = 0; k < LU_CELL_MODELS; k++)
    if (p->cells >> k & 1) {
      fprintf(run->out, "%s %s", first ? "" : ",", lu_cell_models()[k].name);
      first = false;
    }
  fputc('\n', run->out);
}

json_t *lu_verify_plan_json(const lu_verify_plan *p)
{
  json_t *names = json_array(), *lines = p->judged ? json_object() : json_null(), *cells = json_array();
  for (size_t i = 0; i < p->count; i++)
    json_array_append_new(names, json_string(p->patterns[i]->name));
  for (size_t k = 0; p->judged && k < LU_COVER_KINDS; k++) {
    const lu_cover_kind *s = &p->sum.kind[k];
    json_object_set_new(lines, kinds[k], json_pack("{s:I,s:I}", "detected", (json_int_t)s->detected, "of",
                                                   (json_int_t)s->detected + (json_int_t)s->chance + (json_int_t)s->missed));
  }
  for (size_t k = 0; k < LU_CELL_MODELS; k++)
    if (p->cells >> k & 1)
      json_array_append_new(cells, json_string(lu_cell_models()[k].name));
  return json_pack("{s:o,s:o,s:o}", "patterns", names, "lines", lines, "cells", cells);
}
