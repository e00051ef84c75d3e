/* SPDX-License-Identifier: MIT */
#include "api/nexttest.h"

#include "api/patterns.h"
#include "reason/drive.h"
#include "reason/nexttest.h"

#include <inttypes.h>
#include <string.h>

/* Contents that decode --wrote takes, the plainest first. */
static const char *const fills[] = {"address", "address-inverse", "prbs23", "walking-ones", "checkerboard"};
enum { FILLS = sizeof fills / sizeof *fills, FILLS_ELSEWHERE = 3, LIKE_A_PROGRAM = 2, NAMES_SHOWN = 4 };

/* A trial in words. */
typedef struct plan {
  const char *block, *fill, *pattern; /* fill, or the pattern's name; neither: read only */
  uint64_t operations, wait_us;
} plan;

typedef struct planner {
  lu_session *s;
  const lu_pattern *fill[FILLS];
  const lu_pattern **files; /* the patterns of patterns/ and of the user's folders */
  size_t file_count;
  lu_trial trials[LU_TRIALS_MOST];
  plan plans[LU_TRIALS_MOST];
  size_t count;
} planner;

static lu_status make_fills(planner *p)
{
  lu_session *s = p->s;
  for (size_t i = 0; i < FILLS; i++) {
    const char *text = lu_arena_printf(s->mem, "name: fill\nsource: made here\nbackgrounds: %s\nmarch: { up(w0); up(r0) }\n", fills[i]);
    lu_pattern *made;
    if (!text)
      return lu_fail(&s->err, LU_ERR_NOMEM, 0, 0, "no room");
    lu_status bad = lu_pattern_read((lu_bytes){(const uint8_t *)text, strlen(text)}, s->mem, &made, &s->err);
    if (bad)
      return bad;
    p->fill[i] = made;
  }
  return LU_OK;
}

/* A file that says just what a fill does. */
static bool is_fill(const lu_pattern *x)
{
  for (size_t i = 0; i < FILLS; i++)
    if (!strcmp(x->march, "{ up(w0); up(r0) }") && x->background_count == 1 && x->backgrounds[0].contents && x->order_count == 1 &&
        x->orders[0] == LU_ORDER_LINEAR && !x->by_lanes && !strcmp(x->backgrounds[0].contents->name, fills[i]))
      return true;
  return false;
}

/* A file that cannot be read is no pattern to run; whoever asks for it by name is told why. */
static lu_status read_files(planner *p)
{
  lu_session *s = p->s;
  lu_pattern_place *places;
  size_t count;
  lu_status bad = lu_patterns_list(s->mem, &places, &count, &s->err);
  if (bad)
    return bad;
  p->files = LU_NEW(s->mem, const lu_pattern *, count + 1);
  if (!p->files)
    return lu_fail(&s->err, LU_ERR_NOMEM, 0, 0, "no room");
  for (size_t i = 0; i < count; i++) {
    lu_pattern *x;
    lu_err ignored = {0};
    if (!lu_patterns_read(&places[i], s->mem, &x, &ignored) && !is_fill(x))
      p->files[p->file_count++] = x;
  }
  return LU_OK;
}

static void add(planner *p, const lu_network *n, const lu_pattern *pattern, const char *block, const char *fill, bool read_only)
{
  lu_memory m = lu_drive_block(n);
  lu_err ignored = {0};
  if (p->count == LU_TRIALS_MOST || lu_pattern_fits(pattern, &m, &ignored))
    return;
  plan x = {.block = block, .fill = fill, .pattern = fill || read_only ? NULL : pattern->name};
  x.operations = read_only ? m.words : lu_pattern_operations(pattern, &m, &x.wait_us);
  x.wait_us = read_only ? 0 : x.wait_us;
  /* a microsecond's wait counts as an operation: about what a machine's own processor takes for one (common practice,
     no source) */
  p->trials[p->count] = (lu_trial){n, pattern, read_only, x.operations > UINT64_MAX - x.wait_us ? UINT64_MAX : x.operations + x.wait_us};
  p->plans[p->count++] = x;
}

static void add_files(planner *p, const lu_network *n, const char *block)
{
  for (size_t i = 0; i < p->file_count; i++)
    add(p, n, p->files[i], block, NULL, false);
}

static bool is_rom(const lu_network *n)
{
  for (size_t i = 0; i < n->chip_count; i++)
    if (n->chips[i].rom && n->chips[i].control_count)
      return true;
  return n->block != LU_NONE && n->board->blocks[n->block].rom;
}

/* Patterns over the blocks that were read. Without a board, contents from outside mean that it may be a ROM. */
static void plan_here(planner *p, const lu_reading *readings, size_t count, bool plain)
{
  for (size_t r = 0; r < count; r++) {
    const lu_evidence *e = &readings[r].evidence;
    bool before = false;
    for (size_t k = 0; k < r; k++)
      before |= readings[k].evidence.network == e->network;
    if (before || is_rom(e->network) || (plain && e->know != LU_KNOW_WRITTEN))
      continue;
    for (size_t i = 0; i < FILLS; i++)
      if (!readings[r].filled || strcmp(readings[r].filled, fills[i]))
        add(p, e->network, p->fill[i], plain ? NULL : readings[r].name, fills[i], false);
    add_files(p, e->network, plain ? NULL : readings[r].name);
  }
}

/* Blocks of the board that no reading is of: a ROM against its image, patterns over a RAM. */
static void plan_elsewhere(planner *p, const lu_reading *readings, size_t count)
{
  const lu_board *b = p->s->board;
  for (uint32_t i = 0; i < b->block_count && p->count < LU_TRIALS_MOST; i++) {
    bool read = false;
    lu_network *n;
    lu_err ignored = {0};
    for (size_t r = 0; r < count; r++)
      read |= readings[r].evidence.network->block == i;
    /* a block that cannot be followed is none to test */
    if (read || lu_network_build(b, i, b->blocks[i].vantage, p->s->mem, &n, &ignored))
      continue;
    if (b->blocks[i].rom) {
      add(p, n, p->fill[LIKE_A_PROGRAM], b->blocks[i].name, NULL, true);
      continue;
    }
    for (size_t k = 0; k < FILLS_ELSEWHERE; k++)
      add(p, n, p->fill[k], b->blocks[i].name, fills[k], false);
    add_files(p, n, b->blocks[i].name);
  }
}

static const char *deed(const plan *x, lu_arena *mem)
{
  if (x->pattern)
    return lu_arena_printf(mem, "run the pattern `%s` over %s", x->pattern, x->block ? x->block : "the memory");
  if (!x->fill)
    return lu_arena_printf(mem, "read %s and compare it with a good image", x->block);
  return lu_arena_printf(mem, "write `%s` to %s and read it back", x->fill, x->block ? x->block : "the memory");
}

/* How it is done, and what it costs. */
static const char *means(const plan *x, lu_arena *mem)
{
  const char *how = x->pattern ? lu_arena_printf(mem, "verify --pattern %s --log LOG, then decode --log LOG", x->pattern)
                    : x->fill  ? lu_arena_printf(mem, "decode --wrote %s", x->fill)
                               : "decode --expect IMAGE";
  const char *wait = x->wait_us ? lu_arena_printf(mem, " and %.3g s of waiting", (double)x->wait_us / 1e6) : "";
  return how && wait ? lu_arena_printf(mem, "%s; %" PRIu64 " operations%s", how, x->operations, wait) : NULL;
}

static lu_said_test *test_of(planner *p, const lu_next_test *x, size_t trial)
{
  lu_said_test *t = LU_NEW(p->s->mem, lu_said_test, 1);
  const plan *a = &p->plans[trial];
  if (t)
    *t = (lu_said_test){.kind = a->pattern ? "pattern" : a->fill ? "write" : "read",
                        .block = a->block,
                        .pattern = a->pattern ? a->pattern : a->fill,
                        .operations = a->operations,
                        .wait_us = a->wait_us,
                        .gain = x->gain[trial],
                        .doubt = x->doubt};
  return t;
}

/* Where the best test is a pattern, which something has to run step by step: the best that whole dumps allow. Where it
 * is not: the best pattern, if that costs less. *said: a sentence, or "". */
static bool other_way(planner *p, const lu_next_test *x, lu_said_test *t, const char **said)
{
  lu_arena *mem = p->s->mem;
  bool *skip = LU_NEW(mem, bool, p->count + 1), stepwise = p->plans[x->best].pattern != NULL;
  *said = "";
  for (size_t i = 0; skip && i < p->count; i++)
    skip[i] = (p->plans[i].pattern != NULL) == stepwise;
  size_t best = skip ? lu_next_cheapest(p->trials, x->gain, skip, p->count) : SIZE_MAX;
  if (best == SIZE_MAX || (!stepwise && p->trials[best].cost >= p->trials[x->best].cost))
    return skip;
  t->other = test_of(p, x, best);
  const char *what = deed(&p->plans[best], mem), *how = means(&p->plans[best], mem);
  *said = what && how ? lu_arena_printf(mem, " %s: %s (%s), %.2f bits.", stepwise ? "With dumps alone" : "Cheaper", what, how, x->gain[best]) : NULL;
  return *said && t->other;
}

static lu_status say_test(planner *p, const lu_next_test *x, lu_finding *f)
{
  lu_arena *mem = p->s->mem;
  lu_said_test *t = test_of(p, x, x->best);
  const char *what = deed(&p->plans[x->best], mem), *how = means(&p->plans[x->best], mem), *other;
  if (!t || !what || !how || !other_way(p, x, t, &other))
    return lu_fail(&p->s->err, LU_ERR_NOMEM, 0, 0, "no room");
  t->text = lu_arena_printf(mem, "%c%s (%s); expected gain %.2f of %.2f bits of doubt between the suspects.%s", what[0] - 'a' + 'A', what + 1,
                            how, t->gain, t->doubt, other);
  f->next_test = t;
  return t->text ? LU_OK : lu_fail(&p->s->err, LU_ERR_NOMEM, 0, 0, "no room");
}

/* The names of a group's suspects: "D3, D12 and 2 more". */
static const char *members(const lu_result *r, const lu_finding *f, unsigned group, lu_arena *mem)
{
  const char *text = "";
  size_t count = 0, shown = 0, all = 0;
  for (size_t i = 0; i < r->suspect_count; i++)
    all += r->suspects[i].group == group && r->suspects[i].probability > 0.01;
  for (size_t i = 0; text && i < r->suspect_count && i < f->suspect_count && shown < NAMES_SHOWN; i++) {
    if (r->suspects[i].group != group || r->suspects[i].probability <= 0.01)
      continue;
    const char *name = f->suspects[i].net ? f->suspects[i].net : f->suspects[i].part;
    text = lu_arena_printf(mem, "%s%s%s", text, !count ? "" : count + 1 == all ? " and " : ", ", name);
    count++;
    shown++;
  }
  return text && shown < all ? lu_arena_printf(mem, "%s and %zu more", text, all - shown) : text;
}

static const char *first_settle(const lu_result *r, const lu_finding *f, unsigned group)
{
  for (size_t i = 0; i < r->suspect_count && i < f->suspect_count; i++)
    if (r->suspects[i].group == group && f->suspects[i].settle)
      return f->suspects[i].settle;
  return NULL;
}

/* A sentence for each group: what would tell its suspects apart. */
static lu_status say_groups(planner *p, const lu_next_test *x, const lu_result *r, bool plain, lu_finding *f)
{
  lu_arena *mem = p->s->mem;
  const char *text = NULL;
  for (size_t g = 0; g < x->group_count; g++) {
    const lu_trial_group *q = &x->groups[g];
    const char *who = members(r, f, q->group, mem), *settle = plain ? NULL : first_settle(r, f, q->group), *how;
    if (q->trial != SIZE_MAX)
      how = lu_arena_printf(mem, "to tell them apart, %s, or measure", deed(&p->plans[q->trial], mem));
    else
      how = settle ? lu_arena_printf(mem, "a meter can. %s", settle) : "a meter can";
    size_t len = how ? strlen(how) : 0;
    const char *one = who && how ? lu_arena_printf(mem, "No dump of this kind can tell %s apart; %s%s", who, how, len && how[len - 1] == '.' ? "" : ".") : NULL;
    text = one && text ? lu_arena_printf(mem, "%s %s", text, one) : one;
    if (!text)
      return lu_fail(&p->s->err, LU_ERR_NOMEM, 0, 0, "no room");
  }
  f->alike = text;
  return LU_OK;
}

lu_status lu_next_test_say(lu_session *s, const lu_reading *readings, size_t count, bool plain, const lu_result *r, lu_finding *f)
{
  planner *p = LU_NEW(s->mem, planner, 1);
  lu_next_test x;
  f->alike = NULL;
  if (r->verdict == LU_VERDICT_CLEAN || lu_next_doubt(r) < 0.05)
    return LU_OK;
  if (!p)
    return lu_fail(&s->err, LU_ERR_NOMEM, 0, 0, "no room");
  p->s = s;
  lu_status bad = make_fills(p);
  if (!bad)
    bad = read_files(p);
  if (bad)
    return bad;
  plan_here(p, readings, count, plain);
  if (!plain)
    plan_elsewhere(p, readings, count);
  bad = lu_next_test_of(r, p->trials, p->count, s->mem, &x, &s->err);
  if (!bad && x.best != SIZE_MAX)
    bad = say_test(p, &x, f);
  return bad ? bad : say_groups(p, &x, r, plain, f);
}
