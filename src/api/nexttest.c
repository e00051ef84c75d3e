/* SPDX-License-Identifier: MIT */
#include "api/nexttest.h"

#include "reason/nexttest.h"

#include <string.h>

/* Contents that decode --wrote takes, the plainest first. Few: each costs time at every decoding. */
static const char *const fills[] = {"address", "address-inverse", "prbs23", "walking-ones", "checkerboard"};
enum { FILLS = sizeof fills / sizeof *fills, FILLS_ELSEWHERE = 3, LIKE_A_PROGRAM = 2, NAMES_SHOWN = 4 };

/* A trial in words. */
typedef struct plan {
  const char *block, *fill; /* fill NULL: read only */
} plan;

typedef struct planner {
  lu_session *s;
  const lu_pattern *fill[FILLS];
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

static void add(planner *p, const lu_network *n, const lu_pattern *pattern, const char *block, const char *fill)
{
  if (p->count == LU_TRIALS_MOST)
    return;
  p->trials[p->count] = (lu_trial){n, pattern, fill == NULL};
  p->plans[p->count++] = (plan){block, fill};
}

static bool is_rom(const lu_network *n)
{
  for (size_t i = 0; i < n->chip_count; i++)
    if (n->chips[i].rom && n->chips[i].control_count)
      return true;
  return n->block != LU_NONE && n->board->blocks[n->block].rom;
}

/* Fills of the blocks that were read. Without a board, contents from outside mean that it may be a ROM. */
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
        add(p, e->network, p->fill[i], plain ? NULL : readings[r].name, fills[i]);
  }
}

/* Blocks of the board that no reading is of: a ROM against its image, a RAM filled. */
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
    for (size_t k = 0; k < (b->blocks[i].rom ? 1 : FILLS_ELSEWHERE); k++)
      add(p, n, b->blocks[i].rom ? p->fill[LIKE_A_PROGRAM] : p->fill[k], b->blocks[i].name, b->blocks[i].rom ? NULL : fills[k]);
  }
}

static const char *deed(const plan *x, lu_arena *mem)
{
  if (!x->fill)
    return lu_arena_printf(mem, "read %s and compare it with a good image", x->block);
  return lu_arena_printf(mem, "write `%s` to %s and read it back", x->fill, x->block ? x->block : "the memory");
}

static lu_status say_test(planner *p, const lu_next_test *x, lu_finding *f)
{
  lu_arena *mem = p->s->mem;
  lu_said_test *t = LU_NEW(mem, lu_said_test, 1);
  const plan *best = &p->plans[x->best];
  const char *what = deed(best, mem);
  if (!t || !what)
    return lu_fail(&p->s->err, LU_ERR_NOMEM, 0, 0, "no room");
  *t = (lu_said_test){.kind = best->fill ? "write" : "read", .block = best->block, .pattern = best->fill, .gain = x->gain[x->best],
                      .doubt = x->doubt};
  t->text = lu_arena_printf(mem, "%c%s (%s); expected gain %.2f of %.2f bits of doubt between the suspects.", what[0] - 'a' + 'A', what + 1,
                            best->fill ? lu_arena_printf(mem, "decode --wrote %s", best->fill) : "decode --expect IMAGE", t->gain, t->doubt);
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
