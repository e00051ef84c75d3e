/* SPDX-License-Identifier: MIT */
#include "reason/march.h"

#include "reason/coverage.h"
#include "reason/inside.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { PROMISING_MOST = 40, LOOKED_UP_MOST = 4096, EXPLANATIONS_MOST = 64, MEMBERS_MOST = 4, HIDDEN_MOST = 2, CELLS_COUNTED_MOST = 65536 };
static const double other_prior = -14, unknown_cost = 0.693; /* as in explain.c */

/* --- the log ---------------------------------------------------------------------------------------------- */

static int compare_u64(uint64_t a, uint64_t b)
{
  return a < b ? -1 : a > b;
}

static int by_read(const void *a, const void *b)
{
  const lu_failure *x = a, *y = b;
  int c = compare_u64(x->word, y->word);
  c = c ? c : compare_u64(x->pass, y->pass);
  return c ? c : compare_u64(x->op, y->op);
}

static uint32_t element_of(const lu_pattern *p, uint32_t op)
{
  uint32_t e = 0;
  while (e + 1 < p->element_count && p->elements[e + 1].first_op <= op)
    e++;
  while (e && !p->elements[e].op_count) /* a wait */
    e--;
  return e;
}

/* Where the log ends: the last read that is listed. */
static void find_end(lu_march_log *log, const lu_memory *block)
{
  const lu_pattern *p = log->pattern;
  log->last_pass = log->last_element = 0;
  log->last_word = 0;
  for (size_t i = 0; i < log->count; i++) {
    const lu_failure *f = &log->at[i];
    uint32_t e = element_of(p, f->op);
    bool later = f->pass > log->last_pass || (f->pass == log->last_pass && e > log->last_element) || !i;
    if (!later && (f->pass < log->last_pass || e < log->last_element))
      continue;
    bool down = p->elements[e].direction == LU_DOWN;
    if (later || (down ? f->word < log->last_word : f->word > log->last_word))
      log->last_word = f->word;
    log->last_pass = f->pass;
    log->last_element = e;
    log->last_down = down;
  }
  log->last_linear = log->count && p->elements[log->last_element].kind == LU_ELEMENT_ALL &&
                     lu_pattern_pass_order(p, block, log->last_pass, NULL) == LU_ORDER_LINEAR;
}

void lu_march_sort(lu_march_log *log, const lu_memory *block)
{
  size_t n = 0;
  find_end(log, block);
  if (log->count)
    qsort(log->at, log->count, sizeof *log->at, by_read);
  for (size_t i = 0; i < log->count; i++)
    if (n && by_read(&log->at[n - 1], &log->at[i]) == 0)
      log->at[n - 1].wrong |= log->at[i].wrong;
    else
      log->at[n++] = log->at[i];
  log->count = n;
}

/* What the log says of a read: true, and the bits that were wrong; false: nothing. */
static bool says(const lu_march_log *log, uint64_t word, uint32_t pass, uint32_t op, uint64_t *wrong)
{
  const lu_failure key = {.word = word, .pass = pass, .op = op};
  size_t from = 0, to = log->count;
  while (from < to) {
    size_t mid = from + (to - from) / 2;
    if (by_read(&log->at[mid], &key) < 0)
      from = mid + 1;
    else
      to = mid;
  }
  *wrong = 0;
  if (from < log->count && by_read(&log->at[from], &key) == 0) {
    *wrong = log->at[from].wrong;
    return true;
  }
  if (log->whole || pass < log->last_pass)
    return true;
  uint32_t e = element_of(log->pattern, op);
  if (pass > log->last_pass || e != log->last_element)
    return pass == log->last_pass && e < log->last_element;
  return log->last_linear && (log->last_down ? word > log->last_word : word < log->last_word);
}

/* --- one hypothesis ------------------------------------------------------------------------------------------ */

typedef struct seeker {
  lu_joint *joint;
  const lu_network *n;
  const lu_march_log *const *logs;
  size_t log_count;
  lu_coverage *all;
  lu_tester *tester;
  lu_sim *sim;
  lu_arena *mem;
  uint16_t *joint_net, *joint_part;
  uint64_t data;            /* bits of a word */
  bool *constant[LU_MARCH_LOGS_MOST]; /* by pass: every word has the same background */
  uint32_t passes[LU_MARCH_LOGS_MOST];
} seeker;

/* A read of a word that was run. */
typedef struct foreseen {
  uint64_t word, wrong, unknown;
  uint32_t log, pass, op;
} foreseen;

typedef struct match {
  const seeker *s;
  uint64_t hits, missed, extra; /* bits: foretold and seen; foretold and not seen; seen and not foretold */
  uint64_t missed_in;           /* columns of the missed ones */
  uint32_t log;                 /* that is run now */
  foreseen *kept;
  size_t count, room;
  lu_arena *mem;                /* NULL: only counted */
} match;

static uint64_t bits(uint64_t x)
{
  return (uint64_t)__builtin_popcountll(x);
}

/* A bus that keeps its level is followed for the words that are run only: a few may be off. A second fault
 * may hide what this one does in a column or two. */
static bool given_all(const match *m)
{
  return m->missed <= 2 + m->hits / 50;
}

static bool stands(const match *m)
{
  return given_all(m) || bits(m->missed_in) <= HIDDEN_MOST;
}

static bool compare(void *user, const lu_watched *r)
{
  match *m = user;
  uint64_t wrong = (r->value ^ r->expected) & r->changed & ~r->unknown & m->s->data, seen;
  if (m->mem) {
    foreseen *p = lu_arena_grow(m->mem, m->kept, m->count, &m->room, sizeof *p);
    if (!p)
      return false;
    m->kept = p;
    p[m->count++] = (foreseen){r->word, wrong, r->unknown, m->log, r->pass, r->op};
  }
  if (!says(m->s->logs[m->log], r->word, r->pass, r->op, &seen))
    return true;
  m->hits += bits(wrong & seen);
  m->missed += bits(wrong & ~seen & ~r->unknown);
  m->missed_in |= wrong & ~seen & ~r->unknown;
  m->extra += bits(seen & ~wrong & ~r->unknown);
  return stands(m);
}

static bool runs(const seeker *s, const lu_fault *faults, size_t count, lu_level undriven, match *m, uint64_t *mask)
{
  lu_outcome out;
  lu_effect e = lu_sim_run(s->sim, faults, count);
  if ((!e.count && !e.wide) || !lu_tester_mask(s->tester, &e, mask))
    return false;
  lu_tester_undriven(s->tester, undriven);
  for (m->log = 0; m->log < s->log_count; m->log++)
    if (!lu_tester_watch(s->tester, m->log, &e, faults, count, compare, m, &out) || !stands(m))
      return false;
  return true;
}

static int by_foreseen(const void *a, const void *b)
{
  const foreseen *x = a, *y = b;
  int c = compare_u64(x->log, y->log);
  c = c ? c : compare_u64(x->word, y->word);
  c = c ? c : compare_u64(x->pass, y->pass);
  return c ? c : compare_u64(x->op, y->op);
}

/* What is foretold of a read of the log: of that word, or where every word has the same background, of the
 * word that has the same bits of the mask. */
static const foreseen *foretold(const seeker *s, const match *m, uint32_t log, const lu_failure *f, uint64_t mask)
{
  uint64_t word = f->word;
  if (f->pass < s->passes[log] && s->constant[log][f->pass])
    word = lu_index_of(s->n, lu_address_of(s->n, word) & mask);
  const foreseen key = {.log = log, .word = word, .pass = f->pass, .op = f->op};
  return bsearch(&key, m->kept, m->count, sizeof key, by_foreseen);
}

typedef struct score {
  double share;         /* of the log's wrong bits that are foretold, among those that can be judged */
  uint64_t hidden;      /* columns in which more is foretold than seen */
  bool exact;
} score;

/* Holds a hypothesis against reads of the whole log, evenly chosen. */
static score hold(seeker *s, const lu_fault *faults, size_t count, lu_level undriven)
{
  lu_arena mem = {0};
  match m = {.s = s, .mem = &mem};
  uint64_t mask, total = 0, given = 0, over = 0;
  score out = {0};
  if (runs(s, faults, count, undriven, &m, &mask) && m.count) {
    qsort(m.kept, m.count, sizeof *m.kept, by_foreseen);
    for (uint32_t k = 0; k < s->log_count; k++) {
      size_t step = s->logs[k]->count / LOOKED_UP_MOST + 1;
      for (size_t i = 0; i < s->logs[k]->count; i += step) {
        const lu_failure *f = &s->logs[k]->at[i];
        const foreseen *x = foretold(s, &m, k, f, mask);
        if (!x)
          continue;
        total += bits(f->wrong & ~x->unknown);
        given += bits(f->wrong & x->wrong);
        over += bits(x->wrong & ~f->wrong);
      }
    }
    out.share = total ? (double)given / (double)total : 0;
    out.exact = total && given + total / 50 >= total && over <= 2 + total / 50 && m.extra <= 2 + m.hits / 50 && given_all(&m);
    out.hidden = given_all(&m) ? 0 : m.missed_in;
  }
  lu_arena_free(&mem);
  return out;
}

/* --- candidates ------------------------------------------------------------------------------------------------ */

typedef struct promising {
  uint32_t effect;
  lu_level undriven;
  double share;
  uint64_t hidden;
} promising;

/* An explanation before it is normalised. */
typedef struct row {
  lu_explanation e;
  double log;
  uint32_t effect;      /* of the first fault, for groups */
} row;

typedef struct found {
  row *rows;
  size_t count, room;
  promising list[PROMISING_MOST];
  size_t listed;
} found;

static lu_fault joint_fault(const seeker *s, const lu_fault *local)
{
  lu_fault f = *local;
  if (f.kind != LU_FAULT_DEAD)
    f.net = s->joint_net[f.net];
  if (f.kind == LU_FAULT_BRIDGE || f.kind == LU_FAULT_SWAP)
    f.net2 = s->joint_net[f.net2];
  if (f.kind == LU_FAULT_SWAP || f.kind == LU_FAULT_DEAD)
    f.part = s->joint_part[f.part];
  return f;
}

static bool add_row(seeker *s, found *x, const lu_explanation *e, uint32_t effect)
{
  row *p = lu_arena_grow(s->mem, x->rows, x->count, &x->room, sizeof *p);
  if (!p)
    return false;
  x->rows = p;
  double log = 0;
  for (size_t i = 0; i < e->count; i++)
    log += lu_joint_prior(s->joint, &e->faults[i]);
  p[x->count++] = (row){*e, log, effect};
  return true;
}

/* Every fault of an effect that explains the log is an explanation. */
static bool add_effect(seeker *s, found *x, uint32_t effect, lu_level undriven)
{
  for (size_t i = 0; i < s->all->fault_count; i++) {
    if (s->all->faults[i].effect != effect)
      continue;
    lu_explanation e = {.count = 1, .undriven = undriven, .explained = 1, .twins = s->all->effects[effect].faults};
    e.faults[0] = joint_fault(s, &s->all->faults[i].fault);
    if (!add_row(s, x, &e, effect))
      return false;
  }
  return true;
}

static void promise(found *x, promising p)
{
  size_t at = x->listed < PROMISING_MOST ? x->listed++ : PROMISING_MOST - 1;
  if (at == PROMISING_MOST - 1 && x->list[at].share >= p.share && x->listed == PROMISING_MOST && x->list[at].share > 0)
    return;
  for (; at && x->list[at - 1].share < p.share; at--)
    x->list[at] = x->list[at - 1];
  x->list[at] = p;
}

static bool try_single(seeker *s, found *x, uint32_t effect, lu_level undriven, bool *exact)
{
  const lu_fault *f = &s->all->effects[effect].fault;
  match m = {.s = s};
  uint64_t mask;
  if (!runs(s, f, 1, undriven, &m, &mask) || !m.hits)
    return true;
  score got = hold(s, f, 1, undriven);
  *exact = got.exact;
  if (got.exact)
    return add_effect(s, x, effect, undriven);
  if (got.share > 0)
    promise(x, (promising){effect, undriven, got.share, got.hidden});
  return true;
}

static bool try_singles(seeker *s, found *x)
{
  static const lu_level levels[] = {LU_LEVEL_HIGH, LU_LEVEL_KEEP, LU_LEVEL_LOW};
  for (uint32_t i = 0; i < s->all->effect_count; i++) {
    const lu_cover_effect *e = &s->all->effects[i];
    if (!e->faults)
      continue;
    lu_effect now = lu_sim_run(s->sim, &e->fault, 1);
    bool floats = e->fault.kind != LU_FAULT_OPEN && lu_effect_floats(s->n, &now), exact = false;
    for (size_t k = 0; k < (floats ? 3u : 1u) && !exact; k++)
      if (!try_single(s, x, i, levels[k], &exact))
        return false;
  }
  return true;
}

/* The likeliest faults of an effect, in the joint's terms. */
static size_t members(const seeker *s, uint32_t effect, lu_fault out[MEMBERS_MOST])
{
  double log[MEMBERS_MOST];
  size_t n = 0;
  for (size_t i = 0; i < s->all->fault_count; i++) {
    if (s->all->faults[i].effect != effect)
      continue;
    lu_fault f = joint_fault(s, &s->all->faults[i].fault);
    double prior = lu_joint_prior(s->joint, &f);
    size_t at = n < MEMBERS_MOST ? n++ : MEMBERS_MOST;
    if (at == MEMBERS_MOST && prior <= log[MEMBERS_MOST - 1])
      continue;
    at = at == MEMBERS_MOST ? at - 1 : at;
    for (; at && log[at - 1] < prior; at--) {
      log[at] = log[at - 1];
      out[at] = out[at - 1];
    }
    log[at] = prior;
    out[at] = f;
  }
  return n;
}

static bool add_pair(seeker *s, found *x, const promising *a, const promising *b)
{
  lu_fault one[MEMBERS_MOST], two[MEMBERS_MOST];
  size_t n = members(s, a->effect, one), m = members(s, b->effect, two);
  for (size_t i = 0; i < n; i++)
    for (size_t k = 0; k < m; k++) {
      lu_explanation e = {.count = 2, .undriven = a->undriven, .explained = 1, .twins = (uint32_t)(n * m)};
      e.faults[0] = one[i];
      e.faults[1] = two[k];
      if (!add_row(s, x, &e, a->effect))
        return false;
    }
  return true;
}

/* What a fault foretells in columns where nothing is seen, a second one there may hide. */
static bool try_hiding(seeker *s, found *x, const promising *a)
{
  for (uint32_t i = 0; i < s->all->effect_count; i++) {
    const lu_cover_effect *e = &s->all->effects[i];
    if (!e->faults)
      continue;
    lu_effect now = lu_sim_run(s->sim, &e->fault, 1);
    if (lu_effect_columns(s->n, &now) != a->hidden)
      continue;
    promising b = {.effect = i, .undriven = a->undriven};
    lu_fault both[2] = {s->all->effects[a->effect].fault, e->fault};
    if (hold(s, both, 2, a->undriven).exact && !add_pair(s, x, a, &b))
      return false;
  }
  return true;
}

static bool try_pairs(seeker *s, found *x)
{
  for (size_t a = 0; a < x->listed; a++)
    if (x->list[a].hidden && x->list[a].share > 0.9 && !try_hiding(s, x, &x->list[a]))
      return false;
  for (size_t a = 0; a < x->listed; a++)
    for (size_t b = a + 1; b < x->listed; b++) {
      const promising *p = &x->list[a], *q = &x->list[b];
      if (p->share + q->share < 0.9)
        continue;
      lu_fault both[2] = {s->all->effects[p->effect].fault, s->all->effects[q->effect].fault};
      if (hold(s, both, 2, p->undriven).exact && !add_pair(s, x, p, q))
        return false;
    }
  return true;
}

/* --- cells ------------------------------------------------------------------------------------------------------ */

typedef struct spot {
  uint64_t word;
  unsigned bit;
} spot;

static bool fn_at(const lu_fn *f, uint64_t address)
{
  unsigned index = 0;
  for (unsigned k = 0; k < f->count; k++)
    index |= (unsigned)(address >> f->var[k] & 1) << k;
  return lu_fn_at(f, index);
}

static bool cell_fault(const seeker *s, spot at, lu_fault *out, bool *rows)
{
  uint64_t address = lu_address_of(s->n, at.word);
  for (unsigned c = 0; c < s->n->chip_count; c++)
    for (unsigned d = 0; d < s->n->chips[c].out_count; d++) {
      const lu_chip *chip = &s->n->chips[c];
      if (chip->foreign || chip->column[d] != at.bit || !fn_at(&chip->serves, address))
        continue;
      *out = (lu_fault){.kind = LU_FAULT_CELL, .part = s->joint_part[chip->npart], .data_bit = (uint16_t)d};
      lu_inside_place(s->n, c, address, &out->row, &out->column);
      *rows = chip->row_bits != 0;
      return out->part != UINT16_MAX;
    }
  return false;
}

typedef struct spots {
  spot *at;
  size_t count;
  bool too_many;
} spots;

static void add_spot(spots *x, uint64_t word, uint64_t wrong)
{
  for (; wrong && !x->too_many; wrong &= wrong - 1) {
    spot here = {word, (unsigned)__builtin_ctzll(wrong)};
    bool before = false;
    /* the words come in order, but for each log anew */
    for (size_t k = x->count; k-- > 0 && !before && (x->at[k].word == word || x->count <= 64);)
      before = x->at[k].word == word && x->at[k].bit == here.bit;
    if (before)
      continue;
    x->too_many = x->count == CELLS_COUNTED_MOST;
    if (!x->too_many)
      x->at[x->count++] = here;
  }
}

/* Cells that fail and that the faults do not foretell. */
static void left_over(seeker *s, const lu_fault *faults, size_t count, lu_level undriven, spots *out)
{
  lu_arena mem = {0};
  match m = {.s = s, .mem = &mem};
  uint64_t mask = 0;
  out->count = 0;
  out->too_many = false;
  if (count && runs(s, faults, count, undriven, &m, &mask) && m.count)
    qsort(m.kept, m.count, sizeof *m.kept, by_foreseen);
  for (uint32_t k = 0; k < s->log_count; k++)
    for (size_t i = 0; i < s->logs[k]->count && !out->too_many; i++) {
      const lu_failure *f = &s->logs[k]->at[i];
      const foreseen *x = m.count ? foretold(s, &m, k, f, mask) : NULL;
      add_spot(out, f->word, f->wrong & ~(x ? x->wrong | x->unknown : 0));
    }
  lu_arena_free(&mem);
}

/* All in one row or one column of one chip? */
static bool as_array(const seeker *s, const spot *list, size_t n, lu_fault *out)
{
  bool one_row = true, one_column = true, rows = false;
  for (size_t i = 0; i < n; i++) {
    lu_fault f;
    if (!cell_fault(s, list[i], &f, &rows) || (i && f.part != out->part))
      return false;
    if (!i)
      *out = f;
    one_row &= f.row == out->row;
    one_column &= f.column == out->column && f.data_bit == out->data_bit;
  }
  out->kind = one_row ? LU_FAULT_ROW : LU_FAULT_COLUMN;
  return rows && (one_row || one_column);
}

static void keep_cell(lu_march_result *r, const spot *at, const lu_fault *f)
{
  for (size_t k = 0; k < r->cell_count; k++)
    if (r->cells[k].word == at->word && r->cells[k].bit == at->bit)
      return;
  if (r->cell_count < LU_MARCH_CELLS_MOST)
    r->cells[r->cell_count++] = (lu_march_cell){at->word, at->bit, *f};
}

/* An explanation of line faults (may be none) and, for what they leave, cells. */
static bool try_cells(seeker *s, found *x, const promising *with, lu_march_result *r, spots *left)
{
  lu_explanation e = {.undriven = with ? with->undriven : LU_LEVEL_HIGH, .explained = 1, .twins = 1};
  lu_fault local = with ? s->all->effects[with->effect].fault : (lu_fault){0}, f;
  bool rows;
  left_over(s, &local, with != NULL, e.undriven, left);
  size_t n = left->count;
  if (with && members(s, with->effect, e.faults))
    e.count = 1;
  if (!n || left->too_many)
    return true;
  if (n > LU_MARCH_CELLS_MOST) {
    if (!as_array(s, left->at, n, &f))
      return true;
    e.faults[e.count++] = f;
    return add_row(s, x, &e, UINT32_MAX);
  }
  for (size_t i = 0; i < n; i++) {
    if (!cell_fault(s, left->at[i], &f, &rows))
      return true;
    e.faults[e.count++] = f;
    keep_cell(r, &left->at[i], &f);
  }
  return add_row(s, x, &e, UINT32_MAX);
}

/* --- the result -------------------------------------------------------------------------------------------------- */

static int by_log(const void *a, const void *b)
{
  const row *x = a, *y = b;
  if (x->log != y->log)
    return x->log > y->log ? -1 : 1;
  return memcmp(x->e.faults, y->e.faults, sizeof x->e.faults);
}

typedef struct listing {
  lu_result *r;
  double *best;         /* by suspect: the largest share of one explanation */
  size_t room;
} listing;

static void suspect(listing *l, uint16_t net, uint16_t part, const lu_fault *f, double p, uint32_t group)
{
  lu_result *r = l->r;
  size_t i = 0;
  while (i < r->suspect_count && (r->suspects[i].net != net || r->suspects[i].part != part))
    i++;
  if (i == l->room)
    return;
  if (i == r->suspect_count) {
    r->suspects[r->suspect_count++] = (lu_suspect){.net = net, .part = part};
    l->best[i] = -1;
  }
  lu_suspect *x = &r->suspects[i];
  x->probability = fmin(1, x->probability + p);
  x->cut |= f->kind == LU_FAULT_OPEN && p > 0.02 ? f->cut : 0;
  if (p > l->best[i]) {
    l->best[i] = p;
    x->fault = *f;
    x->group = group;
  }
}

static void suspects_of(listing *l, const row *w, double p)
{
  for (size_t k = 0; k < w->e.count; k++) {
    const lu_fault *f = &w->e.faults[k];
    uint32_t group = k || w->effect == UINT32_MAX ? UINT32_MAX : w->effect;
    if (f->kind >= LU_FAULT_DEAD) {
      suspect(l, UINT16_MAX, f->part, f, p, group);
      continue;
    }
    suspect(l, f->net, UINT16_MAX, f, p, group);
    if (f->kind == LU_FAULT_BRIDGE || f->kind == LU_FAULT_SWAP)
      suspect(l, f->net2, UINT16_MAX, f, p, group);
  }
}

/* Groups count from 1 in the order of the suspects; one without an effect stands alone. */
static bool number_groups(seeker *s, lu_result *r)
{
  unsigned next = 1, *was = LU_NEW(s->mem, unsigned, r->suspect_count + 1);
  for (size_t i = 0; was && i < r->suspect_count; i++) {
    unsigned number = 0;
    was[i] = r->suspects[i].group;
    for (size_t k = 0; k < i && was[i] != UINT32_MAX && !number; k++)
      number = was[k] == was[i] ? r->suspects[k].group : 0;
    r->suspects[i].group = number ? number : next++;
  }
  return was;
}

static bool conclude(seeker *s, found *x, lu_result *r)
{
  /* "something else" says nothing of any bit that was read */
  double most = 0, sum = 0, other = other_prior;
  for (size_t i = 0; i < s->log_count; i++)
    for (size_t k = 0; k < s->logs[i]->count && other > -1000; k++)
      other -= unknown_cost * (double)__builtin_popcountll(s->data);
  most = other;
  for (size_t i = 0; i < x->count; i++)
    most = fmax(most, x->rows[i].log);
  for (size_t i = 0; i < x->count; i++)
    sum += exp(x->rows[i].log - most);
  sum += exp(other - most);
  if (x->count)
    qsort(x->rows, x->count, sizeof *x->rows, by_log);
  listing l = {.r = r, .room = s->joint->net_count + s->joint->part_count};
  r->explanations = LU_NEW(s->mem, lu_explanation, EXPLANATIONS_MOST + 1);
  r->suspects = LU_NEW(s->mem, lu_suspect, l.room + 1);
  l.best = LU_NEW(s->mem, double, l.room + 1);
  if (!r->explanations || !r->suspects || !l.best)
    return false;
  for (size_t i = 0; i < x->count; i++) {
    double p = exp(x->rows[i].log - most) / sum;
    suspects_of(&l, &x->rows[i], p);
    if (i >= EXPLANATIONS_MOST || (i && p < 1e-9))
      continue;
    r->explanations[r->explanation_count] = x->rows[i].e;
    r->explanations[r->explanation_count++].probability = p;
  }
  if (r->suspect_count)
    qsort(r->suspects, r->suspect_count, sizeof *r->suspects, lu_suspect_order);
  return number_groups(s, r);
}

/* A line fault may fail so often that a few bad cells besides hide in what was allowed for. */
static bool add_cells(seeker *s, found *x, lu_march_result *r, spots *left)
{
  const row *first = &x->rows[0];
  lu_fault cells[LU_MARCH_CELLS_MOST];
  bool rows;
  left_over(s, &s->all->effects[first->effect].fault, 1, first->e.undriven, left);
  if (!left->count || left->too_many || left->count > LU_MARCH_CELLS_MOST)
    return true;
  for (size_t k = 0; k < left->count; k++)
    if (!cell_fault(s, left->at[k], &cells[k], &rows))
      return true;
  for (size_t i = 0; i < x->count; i++)
    for (size_t k = 0; k < left->count && x->rows[i].e.count < LU_FAULTS_MOST + 1; k++) {
      keep_cell(r, &left->at[k], &cells[k]);
      x->rows[i].e.faults[x->rows[i].e.count++] = cells[k];
      x->rows[i].log += lu_joint_prior(s->joint, &cells[k]);
    }
  return true;
}

static bool seek(seeker *s, lu_march_result *r)
{
  found *x = LU_NEW(s->mem, found, 1);
  spots left = {.at = LU_NEW(s->mem, spot, CELLS_COUNTED_MOST)};
  if (!x || !left.at || !try_singles(s, x))
    return false;
  r->result.singles_done = true;
  if (x->count && !add_cells(s, x, r, &left))
    return false;
  if (!x->count && !try_pairs(s, x))
    return false;
  if (!try_cells(s, x, NULL, r, &left))
    return false;
  for (size_t i = 0; !x->count && i < x->listed && i < 3; i++)
    if (!try_cells(s, x, &x->list[i], r, &left))
      return false;
  r->result.exact = x->count > 0;
  r->result.hypotheses = s->all->fault_count;
  r->result.classes = s->all->effect_count;
  r->result.reason = x->count ? "reads of the test pattern failed, and the explanations give each of them"
                              : "reads of the test pattern failed, and neither one or two line faults nor a few cells give just these";
  return conclude(s, x, &r->result);
}

static bool names(seeker *s)
{
  s->joint_net = LU_NEW(s->mem, uint16_t, s->n->net_count + 1);
  s->joint_part = LU_NEW(s->mem, uint16_t, s->n->part_count + 1);
  if (!s->joint_net || !s->joint_part)
    return false;
  memset(s->joint_net, 0xff, (s->n->net_count + 1) * sizeof *s->joint_net);
  memset(s->joint_part, 0xff, (s->n->part_count + 1) * sizeof *s->joint_part);
  for (size_t i = 0; i < s->joint->net_count; i++)
    if (s->joint->nets[i].local[0] != UINT16_MAX)
      s->joint_net[s->joint->nets[i].local[0]] = (uint16_t)i;
  for (size_t i = 0; i < s->joint->part_count; i++)
    if (s->joint->parts[i].local[0] != UINT16_MAX)
      s->joint_part[s->joint->parts[i].local[0]] = (uint16_t)i;
  return true;
}

/* Passes whose background is the same at every word. */
static bool backgrounds(seeker *s, size_t log)
{
  const lu_pattern *p = s->logs[log]->pattern;
  lu_memory block = lu_drive_block(s->n);
  uint32_t passes = s->passes[log] = lu_pattern_passes(p, &block), turn = 0;
  bool *constant = s->constant[log] = LU_NEW(s->mem, bool, passes + 1), plain = constant != NULL;
  for (size_t i = 0; i < p->element_count; i++)
    plain &= p->elements[i].kind == LU_ELEMENT_ALL || p->elements[i].kind == LU_ELEMENT_WAIT;
  for (size_t i = 0; i < p->order_count; i++)
    plain &= p->orders[i] != LU_ORDER_COMPLEMENT;
  for (size_t b = 0; b < p->background_count; b++) {
    const lu_background *x = &p->backgrounds[b];
    uint32_t many = x->contents ? 1 : lu_vectors_count(x->vectors, block.width);
    for (uint32_t k = 0; k < many && plain && turn < passes; k++)
      constant[turn++] = !x->contents;
    turn += plain ? 0 : many;
  }
  for (uint32_t i = turn; plain && i < passes; i++) /* backgrounds turn fastest */
    constant[i] = constant[i - turn];
  return constant;
}

lu_status lu_march_explain(lu_joint *joint, const lu_march_log *const *logs, size_t count, lu_arena *mem, lu_march_result **out,
                           lu_err *err)
{
  const lu_network *n = joint->looks[0].evidence->network;
  const lu_pattern *patterns[LU_MARCH_LOGS_MOST];
  lu_march_result *r = LU_NEW(mem, lu_march_result, 1);
  seeker s = {.joint = joint, .n = n, .logs = logs, .log_count = count, .mem = mem,
              .data = n->data_bits >= 64 ? ~(uint64_t)0 : ((uint64_t)1 << n->data_bits) - 1};
  size_t failures = 0;
  if (count > LU_MARCH_LOGS_MOST)
    return lu_fail(err, LU_ERR_LIMIT, 0, 0, "failures of %zu patterns; at most %d are taken together", count, LU_MARCH_LOGS_MOST);
  if (!r || !(s.sim = lu_sim_new(n, true, mem)) || !names(&s))
    return lu_fail(err, LU_ERR_NOMEM, 0, 0, "no room to reason");
  r->result.joint = joint;
  *out = r;
  for (size_t i = 0; i < count; i++) {
    patterns[i] = logs[i]->pattern;
    failures += logs[i]->count;
  }
  if (!failures) {
    r->result.verdict = LU_VERDICT_CLEAN;
    r->result.reason = "no read of the test pattern failed";
    return LU_OK;
  }
  r->result.verdict = LU_VERDICT_FAULTY;
  lu_status bad = lu_coverage_of(n, NULL, 0, LU_LEVEL_HIGH, mem, &s.all, err);
  if (!bad)
    bad = lu_tester_new(n, patterns, count, LU_LEVEL_HIGH, mem, &s.tester, err);
  for (size_t i = 0; !bad && i < count; i++)
    if (!backgrounds(&s, i))
      bad = lu_fail(err, LU_ERR_NOMEM, 0, 0, "no room to reason");
  if (bad)
    return bad;
  return seek(&s, r) ? LU_OK : lu_fail(err, LU_ERR_NOMEM, 0, 0, "no room to reason");
}
