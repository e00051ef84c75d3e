/* SPDX-License-Identifier: MIT */
#include "reason/coverage.h"

#include "reason/priors.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

static uint64_t mix(uint64_t h, uint64_t x)
{
  /* the mixer of splitmix64 (Steele, Lea, Flood, OOPSLA 2014) */
  x = (h ^ x) + 0x9e3779b97f4a7c15u;
  x = (x ^ x >> 30) * 0xbf58476d1ce4e5b9u;
  x = (x ^ x >> 27) * 0x94d049bb133111ebu;
  return x ^ x >> 31;
}

/* --- every single fault ------------------------------------------------------------------------------- */

typedef struct maker {
  lu_coverage *c;
  const lu_network *n;
  lu_sim *sim;
  lu_tester *tester;
  lu_arena *mem;
  size_t fault_room, effect_room, table_room;
  uint32_t *table; /* hash -> effect + 1 */
  uint32_t *stuck; /* effect of a net stuck: [2 * net + level] */
} maker;

static bool grow_table(maker *m)
{
  size_t room = m->table_room ? m->table_room * 2 : 8192;
  uint32_t *t = LU_NEW(m->mem, uint32_t, room);
  if (!t)
    return false;
  for (size_t i = 0; i < m->c->effect_count; i++) {
    size_t at = m->c->effects[i].hash & (room - 1);
    while (t[at])
      at = (at + 1) & (room - 1);
    t[at] = (uint32_t)i + 1;
  }
  m->table = t;
  m->table_room = room;
  return true;
}

/* The effect of that hash, new or known; UINT32_MAX: no memory. */
static uint32_t effect_number(maker *m, uint64_t hash, uint64_t mask, const lu_fault *f)
{
  lu_coverage *c = m->c;
  if (c->effect_count * 2 >= m->table_room && !grow_table(m))
    return UINT32_MAX;
  size_t at = hash & (m->table_room - 1);
  while (m->table[at] && c->effects[m->table[at] - 1].hash != hash)
    at = (at + 1) & (m->table_room - 1);
  if (m->table[at])
    return m->table[at] - 1;
  lu_cover_effect *p = lu_arena_grow(m->mem, c->effects, c->effect_count, &m->effect_room, sizeof *p);
  if (!p)
    return UINT32_MAX;
  c->effects = p;
  p[c->effect_count] = (lu_cover_effect){.hash = hash, .mask = mask, .fault = *f};
  m->table[at] = (uint32_t)c->effect_count + 1;
  return (uint32_t)c->effect_count++;
}

static bool keep_fault(maker *m, const lu_fault *f, uint32_t effect)
{
  lu_coverage *c = m->c;
  lu_cover_fault *p = lu_arena_grow(m->mem, c->faults, c->fault_count, &m->fault_room, sizeof *p);
  if (!p)
    return false;
  c->faults = p;
  p[c->fault_count++] = (lu_cover_fault){*f, effect};
  if (effect < LU_COVER_UNJUDGED)
    c->effects[effect].faults++;
  return true;
}

/* Where an open decides what a column without driver reads, its level is part of the effect. */
static uint64_t open_levels(const maker *m, const lu_effect *e, const lu_fault *f)
{
  uint64_t h = 0;
  if (f->kind != LU_FAULT_OPEN)
    return 0;
  for (uint64_t b = lu_effect_floats(m->n, e); b; b &= b - 1) {
    unsigned bit = (unsigned)__builtin_ctzll(b);
    if (m->n->pins[m->n->data_pin[bit]].net == f->net)
      h = mix(h, (uint64_t)bit << 8 | f->level | 0x80);
  }
  return h;
}

static bool add_fault(maker *m, const lu_fault *f)
{
  lu_effect e = lu_sim_run(m->sim, f, 1);
  uint64_t mask;
  if (!e.count && !e.wide)
    return keep_fault(m, f, LU_COVER_NOTHING);
  if (!lu_tester_mask(m->tester, &e, &mask))
    return keep_fault(m, f, LU_COVER_UNJUDGED);
  uint32_t effect = effect_number(m, e.hash ^ open_levels(m, &e, f), mask, f);
  if (effect == UINT32_MAX)
    return false;
  if (f->kind == LU_FAULT_STUCK)
    m->stuck[2 * f->net + (f->level != LU_LEVEL_LOW)] = effect;
  return keep_fault(m, f, effect);
}

static bool add_open(maker *m, uint16_t net, uint64_t cut)
{
  lu_fault f = {.kind = LU_FAULT_OPEN, .net = net, .cut = cut};
  bool data = m->n->nets[net].carries & LU_CARRIES_DATA;
  for (unsigned level = LU_LEVEL_LOW; level <= (data ? LU_LEVEL_KEEP : LU_LEVEL_HIGH); level++) {
    f.level = (uint8_t)level;
    if (!add_fault(m, &f))
      return false;
  }
  return true;
}

static bool add_net(maker *m, uint16_t net)
{
  lu_fault f = {.kind = LU_FAULT_STUCK, .net = net};
  for (unsigned level = LU_LEVEL_LOW; level <= LU_LEVEL_HIGH; level++) {
    f.level = (uint8_t)level;
    if (!add_fault(m, &f))
      return false;
  }
  uint64_t all = lu_net_pins_of_interest(m->n, net), drivers = lu_net_drivers(m->n, net), receivers = all & ~drivers;
  if (!(all & (all - 1)))
    return true;
  for (uint64_t p = all; p; p &= p - 1)
    if ((p & -p) != drivers && !add_open(m, net, p & -p))
      return false;
  bool one_driver = drivers && !(drivers & (drivers - 1));
  return !one_driver || !(receivers & (receivers - 1)) || add_open(m, net, receivers);
}

static bool add_bridge(maker *m, const lu_fault *f)
{
  uint16_t net;
  bool high;
  switch (lu_sim_bridge(m->sim, f, &net, &high)) {
  case LU_BRIDGE_NOTHING:
    return keep_fault(m, f, LU_COVER_NOTHING);
  case LU_BRIDGE_LOOP:
    return keep_fault(m, f, LU_COVER_UNJUDGED);
  case LU_BRIDGE_STUCK:
    return keep_fault(m, f, m->stuck[2 * net + high]);
  default:
    return add_fault(m, f);
  }
}

static bool part_on(const lu_network *n, uint16_t net, uint16_t part)
{
  const lu_nnet *x = &n->nets[net];
  for (unsigned i = 0; i < x->pin_count; i++)
    if (n->pins[n->net_pins[x->first_pin + i]].part == part)
      return true;
  return false;
}

static bool add_pair(maker *m, uint16_t a, uint16_t b)
{
  lu_fault f = {.kind = LU_FAULT_BRIDGE, .net = a, .net2 = b};
  for (unsigned acts = LU_ACTS_AND; acts <= LU_ACTS_SECOND; acts++) {
    f.acts = (uint8_t)acts;
    if (!add_bridge(m, &f))
      return false;
  }
  f.kind = LU_FAULT_SWAP;
  f.acts = 0;
  const lu_nnet *x = &m->n->nets[a];
  for (unsigned i = 0; i < x->pin_count; i++) {
    f.part = m->n->pins[m->n->net_pins[x->first_pin + i]].part;
    bool before = false; /* a part with two pins on the net counts once */
    for (unsigned k = 0; k < i; k++)
      before |= m->n->pins[m->n->net_pins[x->first_pin + k]].part == f.part;
    if (f.part < m->n->part_count && !before && part_on(m->n, b, f.part) && !add_fault(m, &f))
      return false;
  }
  return true;
}

static bool add_dead(maker *m, uint16_t part)
{
  const lu_network *n = m->n;
  bool chip = false, rom = false, drives = false;
  for (size_t c = 0; c < n->chip_count; c++)
    if (n->chips[c].npart == part) {
      chip = true;
      rom = n->chips[c].rom;
    }
  const lu_part_type *t = n->board->parts[n->parts[part]].type;
  for (size_t e = 0; e < n->elem_count; e++)
    drives |= n->elems[e].kind == LU_ELEM_CELL && n->elems[e].part == part && t && t->kind != LU_PART_PASSIVE;
  lu_fault f = {.kind = LU_FAULT_DEAD, .part = part};
  for (unsigned lost = LU_LOST_OUTPUTS; lost <= LU_LOST_ALL; lost++) {
    f.lost = (uint8_t)lost;
    bool sense = chip ? !rom || lost == LU_LOST_OUTPUTS : drives && lost == LU_LOST_OUTPUTS;
    if (sense && !add_fault(m, &f))
      return false;
  }
  return true;
}

static bool add_all(maker *m)
{
  const lu_network *n = m->n;
  for (uint16_t i = 0; i < n->net_count; i++)
    if (!n->nets[i].constant && !add_net(m, i))
      return false;
  for (uint16_t a = 0; a < n->net_count; a++)
    for (uint16_t b = (uint16_t)(a + 1); b < n->net_count; b++)
      if (!n->nets[a].constant && !n->nets[b].constant && !add_pair(m, a, b))
        return false;
  for (uint16_t p = 0; p < n->part_count; p++)
    if (!add_dead(m, p))
      return false;
  return true;
}

/* --- outcomes ------------------------------------------------------------------------------------------- */

typedef struct by_mask {
  uint64_t mask;
  uint32_t effect;
} by_mask;

static int compare_masks(const void *a, const void *b)
{
  const by_mask *x = a, *y = b;
  if (x->mask != y->mask)
    return x->mask < y->mask ? -1 : 1;
  return x->effect < y->effect ? -1 : 1;
}

/* Effects of equal address bits one after another: their words are laid out once. */
static bool run_all(maker *m)
{
  lu_coverage *c = m->c;
  by_mask *list = LU_NEW(m->mem, by_mask, c->effect_count + 1);
  bool *failed = LU_NEW(m->mem, bool, c->effect_count + 1);
  c->outcomes = LU_NEW(m->mem, lu_outcome, c->effect_count * c->pattern_count + 1);
  if (!list || !failed || !c->outcomes)
    return false;
  for (size_t i = 0; i < c->effect_count; i++)
    list[i] = (by_mask){c->effects[i].mask, (uint32_t)i};
  qsort(list, c->effect_count, sizeof *list, compare_masks);
  for (size_t i = 0; i < c->effect_count; i++) {
    const lu_fault *f = &c->effects[list[i].effect].fault;
    lu_effect e = lu_sim_run(m->sim, f, 1);
    failed[list[i].effect] = !lu_tester_run(m->tester, &e, f, 1, &c->outcomes[list[i].effect * c->pattern_count]);
  }
  for (size_t i = 0; i < c->fault_count; i++)
    if (c->faults[i].effect < LU_COVER_UNJUDGED && failed[c->faults[i].effect]) {
      c->effects[c->faults[i].effect].faults = 0;
      c->faults[i].effect = LU_COVER_UNJUDGED;
    }
  return true;
}

lu_status lu_coverage_of(const lu_network *n, const lu_pattern *const *patterns, size_t count, lu_level undriven,
                         lu_arena *mem, lu_coverage **out, lu_err *err)
{
  lu_coverage *c = LU_NEW(mem, lu_coverage, 1);
  maker m = {.c = c, .n = n, .mem = mem, .sim = lu_sim_new(n, true, mem), .stuck = LU_NEW(mem, uint32_t, 2 * n->net_count + 2)};
  if (!c || !m.sim || !m.stuck || !(c->operations = LU_NEW(mem, uint64_t, count + 1)))
    return lu_fail(err, LU_ERR_NOMEM, 0, 0, "no room for the faults");
  if (count > LU_COVER_PATTERNS_MOST)
    return lu_fail(err, LU_ERR_LIMIT, 0, 0, "%zu patterns; at most %d are taken together", count, LU_COVER_PATTERNS_MOST);
  /* a memory of which only address and data lines are known counts as read only among the parts */
  for (size_t i = 0; i < n->chip_count; i++)
    if (n->chips[i].rom && (n->block == LU_NONE || n->board->blocks[n->block].rom || n->chips[i].control_count))
      return lu_fail(err, LU_ERR_VALUE, 0, 0, "a block of ROM cannot be written: test patterns are for memories");
  memset(m.stuck, 0xff, (2 * n->net_count + 2) * sizeof *m.stuck);
  lu_status bad = lu_tester_new(n, patterns, count, undriven, mem, &m.tester, err);
  if (bad)
    return bad;
  lu_memory block = lu_drive_block(n);
  for (size_t i = 0; i < count; i++)
    c->operations[i] = lu_pattern_operations(patterns[i], &block, NULL);
  c->network = n;
  c->patterns = patterns;
  c->pattern_count = count;
  if (!add_all(&m) || !run_all(&m))
    return lu_fail(err, LU_ERR_NOMEM, 0, 0, "no room for the faults");
  *out = c;
  return LU_OK;
}

/* --- sums ------------------------------------------------------------------------------------------------- */

static const lu_outcome *outcome(const lu_coverage *c, size_t effect, size_t pattern)
{
  return &c->outcomes[effect * c->pattern_count + pattern];
}

static bool detected(const lu_coverage *c, size_t effect, const size_t *set, size_t count)
{
  for (size_t i = 0; i < count; i++)
    if (outcome(c, effect, set[i])->detected)
      return true;
  return false;
}

lu_cover_verdict lu_coverage_verdict(const lu_coverage *c, const lu_cover_fault *f, const size_t *set, size_t count)
{
  bool chance = false;
  if (f->effect == LU_COVER_NOTHING)
    return LU_COVER_IS_NOTHING;
  if (f->effect == LU_COVER_UNJUDGED)
    return LU_COVER_IS_UNJUDGED;
  if (detected(c, f->effect, set, count))
    return LU_COVER_IS_DETECTED;
  for (size_t i = 0; i < count; i++)
    chance |= outcome(c, f->effect, set[i])->chance;
  return chance ? LU_COVER_IS_CHANCE : LU_COVER_IS_MISSED;
}

static int by_number(const void *a, const void *b)
{
  const uint64_t *x = a, *y = b;
  return *x < *y ? -1 : *x > *y;
}

/* Syndromes under the whole set, of detected effects, sorted; their count. */
static size_t syndromes(const lu_coverage *c, const size_t *set, size_t count, uint64_t *list)
{
  size_t n = 0;
  for (size_t e = 0; e < c->effect_count; e++) {
    uint64_t h = 0;
    if (!c->effects[e].faults || !detected(c, e, set, count))
      continue;
    for (size_t i = 0; i < count; i++)
      h += mix(mix(1, outcome(c, e, set[i])->syndrome), set[i]);
    list[n++] = h;
  }
  qsort(list, n, sizeof *list, by_number);
  return n;
}

static size_t count_groups(const uint64_t *sorted, size_t n)
{
  size_t groups = 0;
  for (size_t i = 0; i < n; i++)
    groups += !i || sorted[i] != sorted[i - 1];
  return groups;
}

bool lu_coverage_sum(const lu_coverage *c, const size_t *set, size_t count, lu_arena *mem, lu_cover_sum *out)
{
  uint64_t *list = LU_NEW(mem, uint64_t, c->effect_count + 1);
  double squares = 0;
  *out = (lu_cover_sum){0};
  if (!list)
    return false;
  for (size_t i = 0; i < c->fault_count; i++) {
    lu_cover_kind *k = &out->kind[c->faults[i].fault.kind];
    lu_cover_verdict v = lu_coverage_verdict(c, &c->faults[i], set, count);
    k->total++;
    k->detected += v == LU_COVER_IS_DETECTED;
    k->chance += v == LU_COVER_IS_CHANCE;
    k->missed += v == LU_COVER_IS_MISSED;
    k->nothing += v == LU_COVER_IS_NOTHING;
    k->unjudged += v == LU_COVER_IS_UNJUDGED;
  }
  size_t n = syndromes(c, set, count, list);
  for (size_t i = 0; i < n;) {
    size_t from = i;
    while (i < n && list[i] == list[from])
      i++;
    uint32_t size = (uint32_t)(i - from);
    out->groups++;
    out->alone += size == 1;
    out->largest = size > out->largest ? size : out->largest;
    squares += (double)size * size;
  }
  out->effects = (uint32_t)n;
  out->mean = n ? squares / (double)n : 0;
  for (size_t i = 0; i < count; i++)
    out->operations += c->operations[set[i]];
  return true;
}

/* --- choosing ------------------------------------------------------------------------------------------------ */

typedef struct chooser {
  const lu_coverage *c;
  size_t words;         /* of a bit set over effects */
  uint64_t *shows;      /* [pattern * words] */
  uint64_t *all;        /* what any pattern detects */
  uint32_t *group;      /* of each effect, under the patterns taken so far */
  uint32_t *slot;       /* table for regrouping: [2 * room] */
  uint64_t *key;
  size_t room;
  uint64_t *list;
  size_t groups_wanted; /* 0: only detection counts */
} chooser;

static bool chooser_new(chooser *x, const lu_coverage *c, bool apart, lu_arena *mem)
{
  *x = (chooser){.c = c, .words = (c->effect_count + 63) / 64, .room = 1024};
  while (x->room < 3 * c->effect_count)
    x->room *= 2;
  x->shows = LU_NEW(mem, uint64_t, x->words * c->pattern_count + 1);
  x->all = LU_NEW(mem, uint64_t, x->words + 1);
  x->group = LU_NEW(mem, uint32_t, c->effect_count + 1);
  x->slot = LU_NEW(mem, uint32_t, x->room);
  x->key = LU_NEW(mem, uint64_t, x->room);
  x->list = LU_NEW(mem, uint64_t, c->effect_count + 1);
  size_t *every = LU_NEW(mem, size_t, c->pattern_count + 1);
  if (!x->shows || !x->all || !x->group || !x->slot || !x->key || !x->list || !every)
    return false;
  for (size_t p = 0; p < c->pattern_count; p++) {
    every[p] = p;
    for (size_t e = 0; e < c->effect_count; e++)
      if (c->effects[e].faults && outcome(c, e, p)->detected) {
        x->shows[p * x->words + e / 64] |= (uint64_t)1 << e % 64;
        x->all[e / 64] |= (uint64_t)1 << e % 64;
      }
  }
  if (apart)
    x->groups_wanted = count_groups(x->list, syndromes(c, every, c->pattern_count, x->list));
  return true;
}

/* Splits the groups of detectable effects by one more pattern; returns how many there are then. With
 * keep, the split stays. */
static size_t split(chooser *x, size_t pattern, bool keep)
{
  size_t groups = 0;
  memset(x->slot, 0, x->room * sizeof *x->slot);
  for (size_t e = 0; e < x->c->effect_count; e++) {
    if (!(x->all[e / 64] >> e % 64 & 1))
      continue;
    uint64_t h = mix(mix(1, outcome(x->c, e, pattern)->syndrome), x->group[e]);
    size_t at = h & (x->room - 1);
    while (x->slot[at] && x->key[at] != h)
      at = (at + 1) & (x->room - 1);
    if (!x->slot[at]) {
      x->slot[at] = (uint32_t)++groups;
      x->key[at] = h;
    }
    if (keep)
      x->group[e] = x->slot[at];
  }
  return groups;
}

static uint32_t newly_shown(const chooser *x, size_t pattern, const uint64_t *seen)
{
  uint32_t faults = 0;
  for (size_t w = 0; w < x->words; w++)
    for (uint64_t m = x->shows[pattern * x->words + w] & ~seen[w]; m; m &= m - 1)
      faults += x->c->effects[w * 64 + (unsigned)__builtin_ctzll(m)].faults;
  return faults;
}

/* What a pattern adds, for the logarithm of its length: a test ten times as long must add a good deal. */
static double worth(const chooser *x, size_t pattern, double adds)
{
  return adds / log2(4 + (double)x->c->operations[pattern]);
}

/* Takes patterns until all is shown, then until all is told apart that can be. */
static bool greedy(chooser *x, size_t *set, size_t *count, lu_arena *mem)
{
  uint64_t *seen = LU_NEW(mem, uint64_t, x->words + 1);
  bool *taken = LU_NEW(mem, bool, x->c->pattern_count + 1);
  if (!seen || !taken)
    return false;
  size_t groups = 1;
  for (*count = 0; *count < x->c->pattern_count;) {
    double best = 0;
    size_t pick = 0;
    for (size_t p = 0; p < x->c->pattern_count; p++) {
      double w = taken[p] ? 0 : worth(x, p, newly_shown(x, p, seen));
      if (w > best) {
        best = w;
        pick = p;
      }
    }
    for (size_t p = 0; x->groups_wanted && best == 0 && p < x->c->pattern_count; p++) {
      double more = taken[p] ? 0 : (double)split(x, p, false) - (double)groups;
      if (more > 0 && (best == 0 || worth(x, p, more) > worth(x, pick, best))) {
        best = more;
        pick = p;
      }
    }
    if (best == 0)
      return true;
    taken[pick] = true;
    set[(*count)++] = pick;
    groups = split(x, pick, true);
    for (size_t w = 0; w < x->words; w++)
      seen[w] |= x->shows[pick * x->words + w];
  }
  return true;
}

static bool does_all(chooser *x, const size_t *set, size_t count)
{
  for (size_t w = 0; w < x->words; w++) {
    uint64_t seen = 0;
    for (size_t i = 0; i < count; i++)
      seen |= x->shows[set[i] * x->words + w];
    if (seen != x->all[w])
      return false;
  }
  return !x->groups_wanted || count_groups(x->list, syndromes(x->c, set, count, x->list)) == x->groups_wanted;
}

static uint64_t length(const lu_coverage *c, const size_t *set, size_t count)
{
  uint64_t sum = 0;
  for (size_t i = 0; i < count; i++)
    sum += c->operations[set[i]] > UINT64_MAX - sum ? UINT64_MAX - sum : c->operations[set[i]];
  return sum;
}

/* The longest first: whatever can be left out is. */
static void prune(chooser *x, size_t *set, size_t *count)
{
  size_t trial[LU_COVER_PATTERNS_MOST];
  bool kept[LU_COVER_PATTERNS_MOST] = {false};
  for (size_t round = *count; round > 0; round--) {
    size_t at = SIZE_MAX, n = 0;
    for (size_t i = 0; i < *count; i++)
      if (!kept[set[i]] && (at == SIZE_MAX || x->c->operations[set[i]] > x->c->operations[set[at]]))
        at = i;
    if (at == SIZE_MAX)
      return;
    for (size_t i = 0; i < *count; i++)
      if (i != at)
        trial[n++] = set[i];
    if (!does_all(x, trial, n)) {
      kept[set[at]] = true;
      continue;
    }
    memcpy(set, trial, n * sizeof *set);
    *count = n;
  }
}

/* --- the shortest of all sets ------------------------------------------------------------------------------------

 * Branch and bound. Whatever is not done yet is something that some pattern of the set must do: an effect
 * to detect, or two effects to tell apart. The one that fewest patterns can do is taken, and each of those
 * patterns tried in turn; what was tried is not tried again in the later branches. A branch whose length
 * comes to the best one known ends. What is left unfinished when the steps run out is told. */
enum { STEPS_MOST = 6000, PAIRS_LOOKED_AT = 24, HUNT_DEPTH_MOST = 12 };

typedef struct hunt {
  chooser *x;
  uint32_t *full;        /* class of each effect under all patterns */
  uint32_t *levels;      /* groups by depth: [depth * effects + effect] */
  uint32_t *first;       /* by group: an effect of it */
  uint64_t *seen;        /* detected by depth: [depth * words + word] */
  bool *barred;          /* patterns that earlier branches have tried */
  size_t *path, *best, best_count;
  uint64_t best_length, steps;
  bool cut_short;
} hunt;

static bool hunt_new(hunt *h, chooser *x, size_t *set, size_t count, lu_arena *mem)
{
  const lu_coverage *c = x->c;
  size_t depths = c->pattern_count + 2;
  *h = (hunt){.x = x, .best = set, .best_count = count, .best_length = length(c, set, count)};
  /* no better set has more patterns than the shortest ones that fit its length */
  depths = depths > HUNT_DEPTH_MOST + 2 ? HUNT_DEPTH_MOST + 2 : depths;
  h->full = LU_NEW(mem, uint32_t, c->effect_count + 1);
  h->levels = LU_NEW(mem, uint32_t, c->effect_count * depths + 1);
  h->first = LU_NEW(mem, uint32_t, c->effect_count + 2);
  h->seen = LU_NEW(mem, uint64_t, x->words * depths + 1);
  h->barred = LU_NEW(mem, bool, c->pattern_count + 1);
  h->path = LU_NEW(mem, size_t, depths);
  if (!h->full || !h->levels || !h->first || !h->seen || !h->barred || !h->path)
    return false;
  memset(x->group, 0, c->effect_count * sizeof *x->group);
  for (size_t p = 0; p < c->pattern_count; p++)
    (void)split(x, p, true);
  memcpy(h->full, x->group, c->effect_count * sizeof *h->full);
  return true;
}

static bool allowed(const hunt *h, size_t p, uint64_t spent)
{
  uint64_t o = h->x->c->operations[p];
  return !h->barred[p] && o < h->best_length && spent < h->best_length - o;
}

/* Patterns that may still be taken and do it: detect effect a, or (b not UINT32_MAX) tell it from b. */
static size_t able(const hunt *h, uint32_t a, uint32_t b, uint64_t spent, size_t *out)
{
  const chooser *x = h->x;
  size_t n = 0;
  for (size_t p = 0; p < x->c->pattern_count; p++) {
    bool does = b == UINT32_MAX ? (x->shows[p * x->words + a / 64] >> a % 64 & 1) != 0
                                : outcome(x->c, a, p)->syndrome != outcome(x->c, b, p)->syndrome;
    if (does && allowed(h, p, spent))
      out[n++] = p;
  }
  return n;
}

/* The hardest of some effects that are not detected at this depth. False: all are. */
static bool hardest_effect(const hunt *h, size_t depth, uint64_t spent, size_t *out, size_t *count)
{
  const chooser *x = h->x;
  size_t list[LU_COVER_PATTERNS_MOST], looked = 0;
  for (size_t w = 0; w < x->words; w++)
    for (uint64_t m = x->all[w] & ~h->seen[depth * x->words + w]; m; m &= m - 1) {
      size_t n = able(h, (uint32_t)(w * 64 + (unsigned)__builtin_ctzll(m)), UINT32_MAX, spent, list);
      if (!looked || n < *count) {
        memcpy(out, list, n * sizeof *list);
        *count = n;
      }
      if (++looked == PAIRS_LOOKED_AT || !n)
        return true;
    }
  return looked > 0;
}

/* The same for two effects of one group that could be told apart. */
static bool hardest_pair(const hunt *h, size_t depth, uint64_t spent, size_t *out, size_t *count)
{
  const chooser *x = h->x;
  const uint32_t *group = h->levels + depth * x->c->effect_count;
  size_t list[LU_COVER_PATTERNS_MOST], looked = 0;
  memset(h->first, 0xff, (x->c->effect_count + 2) * sizeof *h->first);
  for (uint32_t e = 0; e < x->c->effect_count; e++) {
    if (!(x->all[e / 64] >> e % 64 & 1))
      continue;
    uint32_t *f = &h->first[group[e]];
    if (*f == UINT32_MAX)
      *f = e;
    if (h->full[*f] == h->full[e])
      continue;
    size_t n = able(h, *f, e, spent, list);
    if (!looked || n < *count) {
      memcpy(out, list, n * sizeof *list);
      *count = n;
    }
    if (++looked == PAIRS_LOOKED_AT || !n)
      return true;
  }
  return looked > 0;
}

static void step_down(hunt *h, size_t depth, size_t pattern)
{
  chooser *x = h->x;
  size_t n = x->c->effect_count;
  for (size_t w = 0; w < x->words; w++)
    h->seen[(depth + 1) * x->words + w] = h->seen[depth * x->words + w] | x->shows[pattern * x->words + w];
  if (!x->groups_wanted)
    return;
  memcpy(x->group, h->levels + depth * n, n * sizeof *x->group);
  (void)split(x, pattern, true);
  memcpy(h->levels + (depth + 1) * n, x->group, n * sizeof *x->group);
}

static void hunt_on(hunt *h, size_t depth, uint64_t spent)
{
  size_t choice[LU_COVER_PATTERNS_MOST], count = 0;
  if (++h->steps > STEPS_MOST) {
    h->cut_short = true;
    return;
  }
  bool lacks = hardest_effect(h, depth, spent, choice, &count) ||
               (h->x->groups_wanted && hardest_pair(h, depth, spent, choice, &count));
  if (!lacks) {
    memcpy(h->best, h->path, depth * sizeof *h->best);
    h->best_count = depth;
    h->best_length = spent;
    return;
  }
  if (depth == HUNT_DEPTH_MOST) {
    h->cut_short |= count > 0;
    return;
  }
  for (size_t i = 0; i < count && !h->cut_short; i++) {
    if (!allowed(h, choice[i], spent))
      continue;
    h->path[depth] = choice[i];
    step_down(h, depth, choice[i]);
    hunt_on(h, depth + 1, spent + h->x->c->operations[choice[i]]);
    h->barred[choice[i]] = true;
  }
  for (size_t i = 0; i < count; i++)
    h->barred[choice[i]] = false;
}

bool lu_coverage_choose(const lu_coverage *c, bool apart, lu_arena *mem, lu_choice *out)
{
  chooser x;
  *out = (lu_choice){0};
  out->set = LU_NEW(mem, size_t, c->pattern_count + 16);
  if (!out->set || !chooser_new(&x, c, apart, mem) || !greedy(&x, out->set, &out->count, mem))
    return false;
  prune(&x, out->set, &out->count);
  hunt h;
  if (!hunt_new(&h, &x, out->set, out->count, mem))
    return false;
  hunt_on(&h, 0, 0);
  out->count = h.best_count;
  out->exact = !h.cut_short;
  out->steps = h.steps;
  return lu_coverage_sum(c, out->set, out->count, mem, &out->sum);
}
