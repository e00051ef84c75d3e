/* SPDX-License-Identifier: MIT */
#include "reason/march.h"

#include "reason/drive.h"
#include "reason/inside.h"
#include "reason/search.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { PROMISING_MOST = 40, LOOKED_UP_MOST = 4096, EXPLANATIONS_MOST = 64, MEMBERS_MOST = 4, HIDDEN_MOST = 2, CELLS_COUNTED_MOST = 65536 };

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

/* What a reading of the joint says, and what is needed to foretell it. */
typedef struct field {
  const lu_network *n;
  const lu_march_log *const *logs;
  size_t log_count;         /* 0: a reading of words */
  lu_tester *tester;
  uint64_t data;            /* bits of a word */
  bool wrong;               /* something in it is */
  bool *constant[LU_MARCH_LOGS_MOST]; /* by pass: every word has the same background */
  uint32_t passes[LU_MARCH_LOGS_MOST];
} field;

typedef struct seeker {
  lu_joint *joint;
  field *fields;            /* by reading */
  size_t wrong_fields;
  lu_search *classes;
  lu_arena *mem;
} seeker;

/* A read of a word that was run. */
typedef struct foreseen {
  uint64_t word, wrong, unknown;
  uint32_t log, pass, op;
} foreseen;

typedef struct match {
  const field *f;
  uint64_t hits, missed, extra; /* bits: foretold and seen; foretold and not seen; seen and not foretold */
  uint64_t missed_in;           /* columns of the missed ones */
  uint32_t log;                 /* that is run now */
  bool keeps;                   /* something keeps the level that was driven last */
  foreseen *kept;
  size_t count, room;
  lu_arena *mem;                /* NULL: only counted */
} match;

static uint64_t bits(uint64_t x)
{
  return (uint64_t)__builtin_popcountll(x);
}

/* A bus that keeps its level is followed for the words that are run only: a few may be off. */
static uint64_t off_most(const match *m, uint64_t of)
{
  return (m->keeps ? 2 : 0) + of / 50;
}

/* A second fault may hide what this one does in a column or two. */
static bool given_all(const match *m)
{
  return m->missed <= off_most(m, m->hits);
}

static bool stands(const match *m)
{
  return given_all(m) || bits(m->missed_in) <= HIDDEN_MOST;
}

static bool compare(void *user, const lu_watched *r)
{
  match *m = user;
  uint64_t wrong = (r->value ^ r->expected) & r->changed & ~r->unknown & m->f->data, seen;
  if (m->mem) {
    foreseen *p = lu_arena_grow(m->mem, m->kept, m->count, &m->room, sizeof *p);
    if (!p)
      return false;
    m->kept = p;
    p[m->count++] = (foreseen){r->word, wrong, r->unknown, m->log, r->pass, r->op};
  }
  if (!says(m->f->logs[m->log], r->word, r->pass, r->op, &seen))
    return true;
  m->hits += bits(wrong & seen);
  m->missed += bits(wrong & ~seen & ~r->unknown);
  m->missed_in |= wrong & ~seen & ~r->unknown;
  m->extra += bits(seen & ~wrong & ~r->unknown);
  return stands(m);
}

/* A set of faults, in the joint's terms. */
typedef struct hypothesis {
  size_t count;
  lu_fault faults[LU_FAULTS_MOST + 1];
  lu_level undriven;
} hypothesis;

typedef enum touch { TOUCHES, TOUCHES_NOT, CANNOT_TELL } touch;

/* Runs the patterns of a field against the hypothesis. TOUCHES_NOT: it does nothing there; CANNOT_TELL: it is not
 * simulated, or foretells what is not seen. */
static touch runs(const seeker *s, size_t r, const hypothesis *h, match *m, uint64_t *mask)
{
  const field *f = m->f = &s->fields[r];
  lu_fault local[LU_FAULTS_MOST + 1];
  size_t n = 0;
  lu_outcome out;
  for (size_t i = 0; i < h->count; i++)
    n += lu_joint_local(s->joint, r, &h->faults[i], &local[n]);
  if (!n)
    return TOUCHES_NOT;
  lu_effect e = lu_sim_run(s->joint->looks[r].sim, local, n);
  if (!e.count && !e.wide)
    return TOUCHES_NOT;
  if (!lu_tester_mask(f->tester, &e, mask))
    return CANNOT_TELL;
  lu_tester_undriven(f->tester, h->undriven);
  m->keeps = h->undriven == LU_LEVEL_KEEP;
  for (size_t i = 0; i < n; i++)
    m->keeps |= local[i].kind == LU_FAULT_OPEN && local[i].level == LU_LEVEL_KEEP;
  for (m->log = 0; m->log < f->log_count; m->log++)
    if (!lu_tester_watch(f->tester, m->log, &e, local, n, compare, m, &out) || !stands(m))
      return CANNOT_TELL;
  return TOUCHES;
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
static const foreseen *foretold(const match *m, uint32_t log, const lu_failure *f, uint64_t mask)
{
  uint64_t word = f->word;
  if (f->pass < m->f->passes[log] && m->f->constant[log][f->pass])
    word = lu_index_of(m->f->n, lu_address_of(m->f->n, word) & mask);
  const foreseen key = {.log = log, .word = word, .pass = f->pass, .op = f->op};
  return bsearch(&key, m->kept, m->count, sizeof key, by_foreseen);
}

typedef struct score {
  double share;         /* of what is wrong that is foretold, among what can be judged; the mean over the readings */
  uint64_t hidden;      /* columns of reading hidden_in in which more is foretold than seen */
  size_t hidden_in;
  uint64_t wrong, unknown; /* bits of words */
  bool exact, refuted;
} score;

/* Holds a hypothesis against reads of the whole of a field's logs, evenly chosen. */
static void hold_reads(const seeker *s, size_t r, const hypothesis *h, score *out)
{
  const field *f = &s->fields[r];
  lu_arena mem = {0};
  match m = {.mem = &mem};
  uint64_t mask, total = 0, given = 0, over = 0;
  touch t = runs(s, r, h, &m, &mask);
  if (t == TOUCHES && m.count) {
    qsort(m.kept, m.count, sizeof *m.kept, by_foreseen);
    for (uint32_t k = 0; k < f->log_count; k++) {
      size_t step = f->logs[k]->count / LOOKED_UP_MOST + 1;
      for (size_t i = 0; i < f->logs[k]->count; i += step) {
        const lu_failure *x = &f->logs[k]->at[i];
        const foreseen *y = foretold(&m, k, x, mask);
        if (!y)
          continue;
        total += bits(x->wrong & ~y->unknown);
        given += bits(x->wrong & y->wrong);
        over += bits(y->wrong & ~x->wrong);
      }
    }
    if (!given_all(&m)) {
      out->hidden = m.missed_in;
      out->hidden_in = r;
    }
  }
  out->share += total ? (double)given / (double)total : 0;
  out->refuted |= t == CANNOT_TELL;
  out->exact &= t == TOUCHES_NOT || !f->wrong
                    ? !f->wrong && (t == TOUCHES_NOT || given_all(&m))
                    : total && given + total / 50 >= total && over <= off_most(&m, total) && m.extra <= 2 + m.hits / 50 && given_all(&m);
  lu_arena_free(&mem);
}

/* The same for a reading of words: by samples, and where those are right, by every word. */
static void hold_words(const seeker *s, size_t r, const hypothesis *h, score *out)
{
  const lu_look *k = &s->joint->looks[r];
  uint64_t hash, columns, wrong = 0, unknown = 0, gained = 0, was = 0, harmed = 0, harmed_in = 0;
  bool wide, floats, touched = lu_joint_compile(s->joint, r, h->faults, h->count, h->undriven, &hash, &wide, &floats);
  if (!touched || wide) {
    out->refuted |= wide;
    out->wrong += k->wrong;
    out->exact &= (double)out->wrong <= s->joint->noise_most;
    return;
  }
  for (unsigned i = 0; i < k->sample_count; i++) {
    uint64_t value, open, changed = k->view->changed;
    lu_view_word(k->view, k->evidence, k->sample[i], &value, &open);
    uint64_t bad = (k->healthy[i] & ~changed) | ((value ^ k->got[i]) & changed & ~open & k->steady[i]);
    was += bits(k->healthy[i]);
    gained += bits(k->healthy[i] & ~bad & ~open);
    harmed += bits(bad & ~k->healthy[i]);
    harmed_in |= bad & ~k->healthy[i];
  }
  out->share += was ? (double)gained / (double)was : 0;
  if (harmed) {
    out->refuted |= (double)harmed > s->joint->sample_noise && bits(harmed_in) > HIDDEN_MOST;
    out->hidden = harmed_in;
    out->hidden_in = r;
  }
  if (!out->exact || out->refuted)
    return;
  lu_view_count(k->view, k->evidence, (uint64_t)s->joint->noise_most, &wrong, &unknown, &columns);
  out->wrong += wrong;
  out->unknown += unknown;
  out->exact &= (double)out->wrong <= s->joint->noise_most;
}

/* Words first: they cost least. */
static score hold(const seeker *s, const hypothesis *h)
{
  score out = {.exact = true};
  for (int reads = 0; reads < 2; reads++)
    for (size_t r = 0; r < s->joint->look_count && !out.refuted; r++) {
      if (!s->fields[r].log_count == !reads)
        (reads ? hold_reads : hold_words)(s, r, h, &out);
    }
  out.share = out.refuted ? 0 : out.share / (double)s->wrong_fields;
  out.exact &= !out.refuted;
  return out;
}

/* A look that needs no table: can it be, and does it foretell anything that is wrong? */
static bool worthwhile(const seeker *s, const hypothesis *h)
{
  bool helps = false;
  for (size_t r = 0; r < s->joint->look_count; r++) {
    match m = {0};
    uint64_t mask;
    if (!s->fields[r].log_count) {
      score one = {0};
      hold_words(s, r, h, &one);
      if (one.refuted)
        return false;
      helps |= one.share > 0;
    } else if (runs(s, r, h, &m, &mask) == CANNOT_TELL) {
      return false;
    }
    helps |= m.hits > 0;
  }
  return helps;
}

/* --- candidates ------------------------------------------------------------------------------------------------ */

typedef struct promising {
  uint32_t class;
  double share;
  uint64_t hidden;
  size_t hidden_in;
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

static hypothesis single(const seeker *s, uint32_t class)
{
  const lu_class *c = &s->classes->classes[class];
  return (hypothesis){.count = 1, .faults = {c->fault}, .undriven = c->undriven};
}

static hypothesis both(const seeker *s, uint32_t a, uint32_t b)
{
  const lu_class *x = &s->classes->classes[a], *y = &s->classes->classes[b];
  return (hypothesis){.count = 2, .faults = {x->fault, y->fault}, .undriven = y->floats ? y->undriven : x->undriven};
}

static bool add_row(seeker *s, found *x, const lu_explanation *e, uint32_t effect)
{
  row *p = lu_arena_grow(s->mem, x->rows, x->count, &x->room, sizeof *p);
  if (!p)
    return false;
  x->rows = p;
  double log = -s->joint->wrong_cost * (double)e->wrong - lu_unknown_cost * (double)e->unknown;
  for (size_t i = 0; i < e->count; i++)
    log += lu_joint_prior(s->joint, &e->faults[i]);
  p[x->count++] = (row){*e, log, effect};
  return true;
}

/* Every fault of a class that explains what was read is an explanation. */
static bool add_class(seeker *s, found *x, uint32_t class, const score *got)
{
  const lu_class *c = &s->classes->classes[class];
  for (uint32_t m = c->first_member; m != UINT32_MAX; m = s->classes->members[m].next) {
    lu_explanation e = {.count = 1, .undriven = c->undriven, .explained = 1, .wrong = got->wrong, .unknown = got->unknown,
                        .twins = c->member_count};
    e.faults[0] = s->classes->members[m].fault;
    if (!add_row(s, x, &e, class))
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

/* Classes from this one on, each as the only fault. */
static bool try_singles(seeker *s, found *x, size_t from)
{
  for (size_t i = from; i < s->classes->class_count; i++) {
    hypothesis h = single(s, (uint32_t)i);
    if (!worthwhile(s, &h))
      continue;
    score got = hold(s, &h);
    if (got.exact && !add_class(s, x, (uint32_t)i, &got))
      return false;
    if (!got.exact && got.share > 0)
      promise(x, (promising){(uint32_t)i, got.share, got.hidden, got.hidden_in});
  }
  return true;
}

/* The likeliest faults of a class. */
static size_t members(const seeker *s, uint32_t class, lu_fault out[MEMBERS_MOST])
{
  double log[MEMBERS_MOST];
  size_t n = 0;
  for (uint32_t m = s->classes->classes[class].first_member; m != UINT32_MAX; m = s->classes->members[m].next) {
    const lu_member *x = &s->classes->members[m];
    size_t at = n < MEMBERS_MOST ? n++ : MEMBERS_MOST;
    if (at == MEMBERS_MOST && x->prior <= log[MEMBERS_MOST - 1])
      continue;
    at = at == MEMBERS_MOST ? at - 1 : at;
    for (; at && log[at - 1] < x->prior; at--) {
      log[at] = log[at - 1];
      out[at] = out[at - 1];
    }
    log[at] = x->prior;
    out[at] = x->fault;
  }
  return n;
}

/* Two classes together, if they are all there is. */
static bool try_pair(seeker *s, found *x, uint32_t a, uint32_t b)
{
  lu_fault one[MEMBERS_MOST], two[MEMBERS_MOST];
  hypothesis h = both(s, a, b);
  score got = hold(s, &h);
  if (!got.exact)
    return true;
  size_t n = members(s, a, one), m = members(s, b, two);
  for (size_t i = 0; i < n; i++)
    for (size_t k = 0; k < m; k++) {
      lu_explanation e = {.count = 2, .undriven = h.undriven, .explained = 1, .wrong = got.wrong, .unknown = got.unknown,
                          .twins = (uint32_t)(n * m)};
      e.faults[0] = one[i];
      e.faults[1] = two[k];
      if (!add_row(s, x, &e, a))
        return false;
    }
  return true;
}

/* What a fault foretells in columns where nothing is seen, a second one there may hide. */
static bool try_hiding(seeker *s, found *x, const promising *a)
{
  const lu_look *k = &s->joint->looks[a->hidden_in];
  for (uint32_t i = 0; i < s->classes->class_count; i++) {
    lu_fault local;
    if (!lu_joint_local(s->joint, a->hidden_in, &s->classes->classes[i].fault, &local))
      continue;
    lu_effect now = lu_sim_run(k->sim, &local, 1);
    if (lu_effect_columns(k->evidence->network, &now) == a->hidden && i != a->class && !try_pair(s, x, a->class, i))
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
    for (size_t b = a + 1; b < x->listed; b++)
      if (x->list[a].share + x->list[b].share >= 0.9 && !try_pair(s, x, x->list[a].class, x->list[b].class))
        return false;
  return true;
}

/* --- cells ------------------------------------------------------------------------------------------------------ */

typedef struct spot {
  uint64_t word;
  unsigned bit;
  uint32_t reading;
} spot;

static bool fn_at(const lu_fn *f, uint64_t address)
{
  unsigned index = 0;
  for (unsigned k = 0; k < f->count; k++)
    index |= (unsigned)(address >> f->var[k] & 1) << k;
  return lu_fn_at(f, index);
}

static uint16_t joint_part(const lu_joint *j, uint32_t reading, uint16_t local)
{
  for (size_t i = 0; i < j->part_count; i++)
    if (j->parts[i].local[reading] == local)
      return (uint16_t)i;
  return UINT16_MAX;
}

static bool cell_fault(const seeker *s, spot at, lu_fault *out, bool *rows)
{
  const lu_network *n = s->fields[at.reading].n;
  uint64_t address = lu_address_of(n, at.word);
  for (unsigned c = 0; c < n->chip_count; c++)
    for (unsigned d = 0; d < n->chips[c].out_count; d++) {
      const lu_chip *chip = &n->chips[c];
      if (chip->foreign || chip->column[d] != at.bit || !fn_at(&chip->serves, address))
        continue;
      *out = (lu_fault){.kind = LU_FAULT_CELL, .part = joint_part(s->joint, at.reading, chip->npart), .data_bit = (uint16_t)d};
      lu_inside_place(n, c, address, &out->row, &out->column);
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

static void add_spot(spots *x, uint32_t reading, uint64_t word, uint64_t wrong)
{
  for (; wrong && !x->too_many; wrong &= wrong - 1) {
    spot here = {word, (unsigned)__builtin_ctzll(wrong), reading};
    bool before = false;
    /* the words come in order, but for each log anew */
    for (size_t k = x->count; k-- > 0 && !before && ((x->at[k].word == word && x->at[k].reading == reading) || x->count <= 64);)
      before = x->at[k].word == word && x->at[k].bit == here.bit && x->at[k].reading == reading;
    if (before)
      continue;
    x->too_many = x->count == CELLS_COUNTED_MOST;
    if (!x->too_many)
      x->at[x->count++] = here;
  }
}

static void reads_left_over(const seeker *s, size_t r, const hypothesis *h, spots *out)
{
  const field *f = &s->fields[r];
  lu_arena mem = {0};
  match m = {.mem = &mem};
  uint64_t mask = 0;
  if (h->count && runs(s, r, h, &m, &mask) == TOUCHES && m.count)
    qsort(m.kept, m.count, sizeof *m.kept, by_foreseen);
  else
    m.count = 0;
  for (uint32_t k = 0; k < f->log_count; k++)
    for (size_t i = 0; i < f->logs[k]->count && !out->too_many; i++) {
      const lu_failure *x = &f->logs[k]->at[i];
      const foreseen *y = m.count ? foretold(&m, k, x, mask) : NULL;
      add_spot(out, (uint32_t)r, x->word, x->wrong & ~(y ? y->wrong | y->unknown : 0));
    }
  lu_arena_free(&mem);
}

static void words_left_over(const seeker *s, size_t r, const hypothesis *h, spots *out)
{
  const lu_look *k = &s->joint->looks[r];
  const lu_evidence *e = k->evidence;
  uint64_t hash;
  bool wide, floats;
  bool touched = h->count && lu_joint_compile(s->joint, r, h->faults, h->count, h->undriven, &hash, &wide, &floats) && !wide;
  if (!touched && !k->wrong)
    return;
  for (size_t i = 0; i < e->got.count && !out->too_many; i++) {
    if (!lu_word_held(&e->got, i) || !lu_word_held(&e->known, i))
      continue;
    uint64_t value = lu_word(&e->known, i), foretold_bits = 0, open = 0;
    if (touched)
      lu_view_word(k->view, e, i, &foretold_bits, &open);
    value = touched ? (value & ~k->view->changed) | (foretold_bits & k->view->changed) : value;
    open &= touched ? k->view->changed : 0;
    add_spot(out, (uint32_t)r, i, (value ^ lu_word(&e->got, i)) & k->all & ~open & (e->steady ? e->steady[i] : k->all));
  }
}

/* Cells that are wrong and that the faults do not foretell. */
static void left_over(const seeker *s, const hypothesis *h, spots *out)
{
  out->count = 0;
  out->too_many = false;
  for (size_t r = 0; r < s->joint->look_count; r++)
    (s->fields[r].log_count ? reads_left_over : words_left_over)(s, r, h, out);
}

/* All in one row or one column of one chip? */
static bool as_array(const seeker *s, const spots *left, lu_fault *out)
{
  bool one_row = true, one_column = true, rows = false;
  for (size_t i = 0; i < left->count; i++) {
    lu_fault f;
    if (!cell_fault(s, left->at[i], &f, &rows) || (i && f.part != out->part))
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
    if (!memcmp(&r->cells[k].fault, f, sizeof *f))
      return;
  if (r->cell_count < LU_MARCH_CELLS_MOST)
    r->cells[r->cell_count++] = (lu_march_cell){at->word, at->bit, at->reading, *f};
}

/* The cells of the spots, each once: where[] is the spot. False: more than a few, or a place that is none of a chip's. */
static bool cells_of(const seeker *s, const spots *left, lu_fault out[LU_MARCH_CELLS_MOST], const spot *where[LU_MARCH_CELLS_MOST],
                     size_t *count)
{
  bool rows;
  *count = 0;
  for (size_t i = 0; i < left->count; i++) {
    lu_fault f;
    bool before = false;
    if (!cell_fault(s, left->at[i], &f, &rows))
      return false;
    for (size_t k = 0; k < *count; k++)
      before |= !memcmp(&out[k], &f, sizeof f);
    if (before)
      continue;
    if (*count == LU_MARCH_CELLS_MOST)
      return false;
    where[*count] = &left->at[i];
    out[(*count)++] = f;
  }
  return true;
}

/* An explanation of line faults (may be none) and, for what they leave, cells. */
static bool try_cells(seeker *s, found *x, const promising *with, lu_march_result *r, spots *left)
{
  lu_explanation e = {.undriven = LU_LEVEL_HIGH, .explained = 1, .twins = 1};
  hypothesis h = {0};
  lu_fault cells[LU_MARCH_CELLS_MOST];
  const spot *where[LU_MARCH_CELLS_MOST];
  size_t n;
  if (with) {
    h = single(s, with->class);
    e.undriven = h.undriven;
    e.count = members(s, with->class, e.faults) != 0;
  }
  left_over(s, &h, left);
  if (!left->count || left->too_many)
    return true;
  if (!cells_of(s, left, cells, where, &n)) {
    if (left->count <= LU_MARCH_CELLS_MOST || !as_array(s, left, &e.faults[e.count]))
      return true;
    e.count++;
    return add_row(s, x, &e, UINT32_MAX);
  }
  for (size_t i = 0; i < n && e.count <= LU_FAULTS_MOST; i++) {
    e.faults[e.count++] = cells[i];
    keep_cell(r, where[i], &cells[i]);
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
    if (lu_fault_two_nets(f->kind))
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

static int by_faults(const void *a, const void *b)
{
  const row *x = a, *y = b;
  if (x->e.count != y->e.count)
    return x->e.count < y->e.count ? -1 : 1;
  int c = memcmp(x->e.faults, y->e.faults, x->e.count * sizeof *x->e.faults);
  return c ? c : compare_u64(x->effect, y->effect);
}

/* The same faults can stand in several rows (with other levels of an undriven bus): the likelier is enough. */
static void merge_rows(found *x)
{
  size_t n = 0;
  if (!x->count)
    return;
  qsort(x->rows, x->count, sizeof *x->rows, by_faults);
  for (size_t i = 1; i < x->count; i++) {
    row *a = &x->rows[n], *b = &x->rows[i];
    bool same = a->e.count == b->e.count && !memcmp(a->e.faults, b->e.faults, a->e.count * sizeof *a->e.faults);
    if (!same)
      x->rows[++n] = *b;
    else if (b->log > a->log)
      *a = *b;
  }
  x->count = n + 1;
  qsort(x->rows, x->count, sizeof *x->rows, by_log);
}

/* The weight of "something else": it says nothing of any bit that was read. */
static double otherwise(const seeker *s)
{
  double other = lu_other_prior;
  for (size_t r = 0; r < s->joint->look_count; r++) {
    const field *f = &s->fields[r];
    double width = (double)bits(f->data);
    for (size_t k = 0; k < f->log_count; k++)
      other -= lu_unknown_cost * width * (double)f->logs[k]->count;
    if (!f->log_count)
      other -= lu_unknown_cost * width * (double)s->joint->looks[r].evidence->got.held_count;
  }
  return other;
}

static bool conclude(seeker *s, found *x, lu_result *r)
{
  double other = otherwise(s), most = other, sum = 0;
  merge_rows(x);
  for (size_t i = 0; i < x->count; i++)
    most = fmax(most, x->rows[i].log);
  for (size_t i = 0; i < x->count; i++)
    sum += exp(x->rows[i].log - most);
  sum += exp(other - most);
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
  hypothesis h = {.count = first->e.count, .undriven = first->e.undriven};
  lu_fault cells[LU_MARCH_CELLS_MOST];
  const spot *where[LU_MARCH_CELLS_MOST];
  size_t n;
  memcpy(h.faults, first->e.faults, sizeof h.faults);
  left_over(s, &h, left);
  if (!left->count || left->too_many || !cells_of(s, left, cells, where, &n))
    return true;
  for (size_t i = 0; i < x->count; i++)
    for (size_t k = 0; k < n && x->rows[i].e.count < LU_FAULTS_MOST + 1; k++) {
      keep_cell(r, where[k], &cells[k]);
      x->rows[i].e.faults[x->rows[i].e.count++] = cells[k];
      x->rows[i].log += lu_joint_prior(s->joint, &cells[k]);
    }
  return true;
}

/* One fault; two; cells alone; a fault and cells. */
static bool seek(seeker *s, lu_march_result *r)
{
  found *x = LU_NEW(s->mem, found, 1);
  spots left = {.at = LU_NEW(s->mem, spot, CELLS_COUNTED_MOST)};
  if (!x || !left.at || !lu_search_classes(s->classes) || !try_singles(s, x, 0))
    return false;
  r->result.singles_done = true;
  if (x->count && !add_cells(s, x, r, &left))
    return false;
  size_t before = s->classes->class_count;
  if (!x->count && (!lu_search_more_classes(s->classes) || !try_singles(s, x, before) || !try_pairs(s, x)))
    return false;
  if (!try_cells(s, x, NULL, r, &left))
    return false;
  for (size_t i = 0; !x->count && i < x->listed && i < 3; i++)
    if (!try_cells(s, x, &x->list[i], r, &left))
      return false;
  r->result.exact = x->count > 0;
  r->result.hypotheses = s->classes->hypotheses;
  r->result.classes = s->classes->class_count;
  r->result.reason = x->count ? s->joint->look_count > 1 ? "the readings differ from what is right, and the explanations give all of them"
                                                         : "reads of the test pattern failed, and the explanations give each of them"
                              : "reads of the test pattern failed, and neither one or two line faults nor a few cells give just these";
  return conclude(s, x, &r->result);
}

/* Passes whose background is the same at every word. */
static bool backgrounds(field *f, size_t log, lu_arena *mem)
{
  const lu_pattern *p = f->logs[log]->pattern;
  lu_memory block = lu_drive_block(f->n);
  uint32_t passes = f->passes[log] = lu_pattern_passes(p, &block), turn = 0;
  bool *constant = f->constant[log] = LU_NEW(mem, bool, passes + 1), plain = constant != NULL;
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

/* What a reading says. The columns that fail in a log are those in which something is wrong, as with words. */
static lu_status take_field(seeker *s, size_t r, const lu_march_look *look, lu_err *err)
{
  lu_look *k = &s->joint->looks[r];
  field *f = &s->fields[r];
  const lu_pattern *patterns[LU_MARCH_LOGS_MOST];
  lu_status bad = LU_OK;
  if (look->count > LU_MARCH_LOGS_MOST)
    return lu_fail(err, LU_ERR_LIMIT, 0, 0, "failures of %zu patterns; at most %d are taken together", look->count, LU_MARCH_LOGS_MOST);
  *f = (field){.n = k->evidence->network, .logs = look->logs, .log_count = look->count, .data = k->all, .wrong = (double)k->wrong > s->joint->noise_most};
  for (size_t i = 0; i < look->count; i++) {
    patterns[i] = look->logs[i]->pattern;
    for (size_t m = 0; m < look->logs[i]->count; m++)
      k->columns |= look->logs[i]->at[m].wrong & k->all;
    f->wrong |= look->logs[i]->count > 0;
  }
  if (look->count)
    bad = lu_tester_new(f->n, patterns, look->count, LU_LEVEL_HIGH, s->mem, &f->tester, err);
  for (size_t i = 0; !bad && i < look->count; i++)
    if (!backgrounds(f, i, s->mem))
      bad = lu_fail(err, LU_ERR_NOMEM, 0, 0, "no room to reason");
  s->wrong_fields += f->wrong;
  return bad;
}

lu_status lu_march_explain(lu_joint *joint, const lu_march_look *looks, lu_arena *mem, lu_march_result **out, lu_err *err)
{
  lu_march_result *r = LU_NEW(mem, lu_march_result, 1);
  seeker s = {.joint = joint, .mem = mem, .fields = LU_NEW(mem, field, joint->look_count), .classes = LU_NEW(mem, lu_search, 1)};
  if (!r || !s.fields || !s.classes)
    return lu_fail(err, LU_ERR_NOMEM, 0, 0, "no room to reason");
  r->result.joint = s.classes->joint = joint;
  *out = r;
  for (size_t i = 0; i < joint->look_count; i++) {
    lu_status bad = take_field(&s, i, &looks[i], err);
    if (bad)
      return bad;
  }
  if (!s.wrong_fields) {
    r->result.verdict = LU_VERDICT_CLEAN;
    r->result.reason = joint->look_count > 1 ? "every word and every read of the test patterns is as it should be" : "no read of the test pattern failed";
    return LU_OK;
  }
  r->result.verdict = LU_VERDICT_FAULTY;
  return seek(&s, r) ? LU_OK : lu_fail(err, LU_ERR_NOMEM, 0, 0, "no room to reason");
}
