/* SPDX-License-Identifier: MIT */
#include "reason/flicker.h"

#include "reason/flickerlook.h"
#include "reason/search.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { FIRST_ODD = 640, FIRST_CALM = 192, LAST_ODD = 3000, LAST_CALM = 1000, SHORT_LIST = 64, TOGETHER_LEAST = 3, STEADY_MOST = 8, TRIED_MOST = 3 };

/* By how much (natural log) a contact must beat noise alone: two figures are fitted to thousands of reads, for thousands of contacts. */
static const double proof = 14;
static const double near = 25;      /* contacts by so much less likely than the best are not listed */
static const double together = 8;   /* a pin that gains so much by itself may be one of several behind one break */
static const double always = 0.9, mostly_open = 0.55;
static const double much = 0.25;
static const double mostly = 0.75;  /* with noise, the right faults do not give every wrong bit */
static const double may_be = 40;    /* gains of the first look that far behind the best are not looked at again */

typedef struct flicker {
  const lu_evidence *readings;
  size_t count;
  const lu_priors *priors;
  double noise;
  lu_arena *mem;
  lu_err *err;
  lu_joint *joint, *low;   /* reads over what the memory holds; low: a second workspace, for lines that keep their level */
  lu_evidence *reads;      /* of the joints */
  lu_flicker_look *looks;  /* given: passes differ; else sample_count is 0 */
  lu_contact *all;
  size_t all_count, all_room;
  bool on[LU_READINGS_MOST];
  bool filled;             /* the contact was open at times while the memory was filled */
} flicker;

static bool differs(const lu_evidence *e)
{
  return e->pass_count > 1 && e->passes && e->steady;
}

/* --- one contact -------------------------------------------------------------------------------------- */

/* Simulates it. False: it changes nothing, or more than can be said. */
static bool open_it(flicker *f, lu_contact *c, bool *floats)
{
  uint64_t hash = 0;
  bool any = false;
  lu_fault high = c->fault, low = c->fault;
  *floats = false;
  if (c->follows) {
    high.level = LU_LEVEL_HIGH;
    low.level = LU_LEVEL_LOW;
  }
  for (size_t r = 0; r < f->count; r++) {
    uint64_t one, two = 0;
    bool wide, float1, float2 = false, wide2 = false;
    f->on[r] = lu_joint_compile(f->joint, r, &high, 1, c->undriven, &one, &wide, &float1);
    if (c->follows)
      f->on[r] |= lu_joint_compile(f->low, r, &low, 1, c->undriven, &two, &wide2, &float2);
    if (wide || wide2)
      return false;
    *floats |= float1 || float2;
    any |= f->on[r];
    hash = (hash ^ (f->on[r] ? one ^ two * 0x94d049bb133111ebu : 0)) * 0x9e3779b97f4a7c15u + r;
  }
  c->hash = hash | 1;
  return any;
}

static const lu_view *low_view(const flicker *f, const lu_contact *c, size_t r)
{
  return c->follows ? f->low->looks[r].view : NULL;
}

static void weigh(flicker *f, lu_contact *c)
{
  bool certain = true;
  c->gain = c->rank = c->foretold = c->open_bits = 0;
  c->open = 1;
  for (size_t r = 0; r < f->count; r++)
    if (f->on[r] && f->looks[r].sample_count) {
      lu_flicker_gain(&f->looks[r], c, f->joint->looks[r].view, low_view(f, c, r));
      certain &= f->looks[r].certain;
    }
  if (c->open > (certain ? always : mostly_open))
    c->gain = c->rank = 0; /* broken for good; or what is taken for the contents was read with it open */
}

/* --- all contacts ------------------------------------------------------------------------------------------ */

/* An address line that carries one address bit in every moment of an access. */
static bool carries_bit(const flicker *f, uint16_t net, lu_contact *c)
{
  bool found = false;
  for (size_t r = 0; r < f->count; r++) {
    const lu_network *n = f->readings[r].network;
    uint16_t local = f->joint->nets[net].local[r];
    if (local == UINT16_MAX)
      continue;
    const lu_fn *x = &n->state[(size_t)LU_ROW * n->net_count + local].value[0], *y = &n->state[(size_t)LU_READ * n->net_count + local].value[0];
    if (x->wide || x->count != 1 || x->var[0] >= LU_VAR_DATA || !lu_fn_same(x, y))
      return false;
    c->bit = (uint8_t)x->var[0];
    c->inverted = !lu_fn_at(x, 1);
    found = true;
  }
  return found;
}

/* The open with each level that what floats can read, and that an undriven bus can. */
static bool add(flicker *f, uint16_t net, uint64_t cut, double *best)
{
  static const uint8_t order[] = {LU_LEVEL_HIGH, LU_LEVEL_LOW, LU_LEVEL_KEEP, LU_LEVEL_ADDRESS};
  bool data = f->joint->nets[net].carries & LU_CARRIES_DATA;
  for (unsigned level = LU_LEVEL_LOW; level <= LU_LEVEL_KEEP; level++) {
    lu_contact c = {.fault = {.kind = LU_FAULT_OPEN, .net = net, .cut = cut, .level = (uint8_t)level, .unsteady = 1}};
    c.follows = level == LU_LEVEL_KEEP && !data;
    if (c.follows && !carries_bit(f, net, &c))
      continue;
    c.prior = lu_joint_prior(f->joint, &c.fault) + log(f->priors->value[LU_PRIOR_now_and_then]);
    for (unsigned u = 0; u < sizeof order; u++) {
      bool floats;
      c.undriven = (lu_level)order[u];
      if (!open_it(f, &c, &floats))
        break;
      weigh(f, &c);
      lu_contact *p = lu_arena_grow(f->mem, f->all, f->all_count, &f->all_room, sizeof *p);
      if (!p)
        return false;
      f->all = p;
      p[f->all_count++] = c;
      *best = fmax(*best, c.gain);
      if (!floats || data)
        break;
    }
  }
  return true;
}

/* Each pin, all receivers, and those that gain by themselves together. */
static bool add_net(flicker *f, uint16_t net)
{
  const lu_jnet *n = &f->joint->nets[net];
  uint64_t all = n->interest, receivers = all & ~n->drivers, some = 0;
  if (n->constant || !(all & (all - 1)))
    return true;
  for (uint64_t m = all; m; m &= m - 1) {
    uint64_t one = m & -m;
    double gain = 0;
    if (one != n->drivers && !add(f, net, one, &gain))
      return false;
    some |= gain > together && (one & receivers) ? one : 0;
  }
  bool one_driver = n->drivers && !(n->drivers & (n->drivers - 1)), several = receivers & (receivers - 1);
  double ignored = 0;
  if (one_driver && several && !add(f, net, receivers, &ignored))
    return false;
  if ((some & (some - 1)) && (some != receivers || !one_driver) && !add(f, net, some, &ignored))
    return false;
  return true;
}

static int by_gain(const void *a, const void *b)
{
  const lu_contact *x = a, *y = b;
  double p = x->rank + x->prior, q = y->rank + y->prior;
  if (p != q)
    return p > q ? -1 : 1;
  return memcmp(&x->fault, &y->fault, sizeof x->fault);
}

static void sort(flicker *f)
{
  if (f->all_count)
    qsort(f->all, f->all_count, sizeof *f->all, by_gain);
}

/* Again, over more words or another base; of contacts of one effect one is asked. */
static bool weigh_again(flicker *f)
{
  size_t kept = 0, effects = 0;
  double least = f->all[0].rank - may_be;
  for (size_t i = 0; i < f->all_count; i++) {
    lu_contact *c = &f->all[i];
    bool floats;
    size_t k = 0;
    while (k < kept && f->all[k].hash != c->hash)
      k++;
    if (k == kept && (c->rank < least || effects == SHORT_LIST || !open_it(f, c, &floats)))
      continue;
    if (k == kept) {
      effects++;
      weigh(f, c);
    } else {
      c->gain = f->all[k].gain;
      c->rank = f->all[k].rank;
    }
    f->all[kept++] = *c;
  }
  f->all_count = kept;
  sort(f);
  return kept > 0;
}

static bool vague(const lu_contact *c)
{
  return c->foretold < 0.5 * c->open_bits;
}

/* A contact with which anything can be read (another memory answers) explains whatever is odd: it is out of question where one that
 * foretells explains much of it. */
static void drop_vague(flicker *f)
{
  double most = 0, clear = 0;
  size_t kept = 0;
  for (size_t i = 0; i < f->all_count; i++) {
    most = fmax(most, f->all[i].gain);
    clear = fmax(clear, vague(&f->all[i]) ? 0 : f->all[i].gain);
  }
  if (clear < proof || clear < much * most)
    return;
  for (size_t i = 0; i < f->all_count; i++)
    if (!vague(&f->all[i]))
      f->all[kept++] = f->all[i];
  f->all_count = kept;
}

static bool sample(flicker *f, size_t odd, size_t calm)
{
  for (size_t r = 0; r < f->count; r++)
    if (differs(&f->readings[r]) && !lu_flicker_sample(&f->looks[r], odd, calm, f->mem))
      return false;
  return true;
}

/* --- steady faults -------------------------------------------------------------------------------------- */

/* The reading as it would have been with the contact closed. */
static bool close_it(flicker *f, const lu_contact *c, size_t r, lu_evidence *out)
{
  const lu_evidence *e = &f->readings[r];
  size_t n = e->got.count;
  char *at = lu_arena_big(f->mem, n * e->got.bytes + 8);
  uint64_t *steady = LU_NEW(f->mem, uint64_t, n + 1);
  *out = *e;
  out->passes = NULL;
  out->pass_count = 0;
  if (!at || !steady)
    return false;
  for (size_t i = 0; i < n; i++) {
    uint64_t sure = 0, word = lu_word_held(&e->got, i)
                                  ? lu_flicker_closed(&f->looks[r], c, f->joint->looks[r].view, low_view(f, c, r), i, &sure)
                                  : lu_word(&e->got, i);
    memcpy(at + i * e->got.bytes, &word, e->got.bytes);
    steady[i] = sure;
  }
  out->got.at = at;
  out->steady = steady;
  return true;
}

/* Looks for steady faults in the passes in which the contact was closed. closed[count]: these readings. */
static lu_status steady_faults(flicker *f, lu_contact *c, lu_evidence *closed, lu_result **out)
{
  bool floats;
  double noise = f->noise;
  if (!open_it(f, c, &floats))
    return lu_fail(f->err, LU_ERR_NOMEM, 0, 0, "no room to reason");
  for (size_t r = 0; r < f->count; r++) {
    closed[r] = f->readings[r];
    if (!f->looks[r].given)
      continue;
    if (!close_it(f, c, r, &closed[r]))
      return lu_fail(f->err, LU_ERR_NOMEM, 0, 0, "no room to reason");
    noise = fmax(noise, f->looks[r].noise > 2e-6 ? f->looks[r].noise : 1e-9);
  }
  return lu_explain(closed, f->count, f->priors, noise, f->mem, out, f->err);
}

/* What a closed contact reads while these steady faults stay: by simulation, where that is known, else as read. */
static void base_of(flicker *f, const lu_result *s, const lu_evidence *closed)
{
  bool told = s && s->verdict == LU_VERDICT_FAULTY && s->explanation_count && s->explanations[0].explained > mostly;
  const lu_explanation *x = told ? &s->explanations[0] : NULL;
  for (size_t r = 0; r < f->count; r++) {
    lu_flicker_look *k = &f->looks[r];
    uint64_t hash;
    bool wide = false, floats, known = closed[r].known.at;
    if (!k->given)
      continue;
    bool on = x && known && lu_joint_compile(s->joint, r, x->faults, x->count, x->undriven, &hash, &wide, &floats);
    const lu_view *v = on ? s->joint->looks[r].view : NULL;
    for (size_t i = 0; i < closed[r].got.count; i++) {
      bool held = lu_word_held(&closed[r].got, i), there = known && lu_word_held(&closed[r].known, i);
      uint64_t read = held ? lu_word(&closed[r].got, i) : 0, value = there ? lu_word(&closed[r].known, i) : read, unknown = there ? 0 : k->all;
      if (v) {
        uint64_t seen = 0, open = 0;
        lu_view_word(v, &closed[r], i, &seen, &open);
        value = (value & ~v->changed) | (seen & v->changed);
        unknown = (unknown & ~v->changed) | (open & v->changed);
      } else if (s && s->verdict == LU_VERDICT_FAULTY && held) {
        value = read; /* faults of which there is no telling */
      }
      if (held || there)
        lu_flicker_base(k, i, held ? (value & ~unknown) | (read & unknown) : value);
    }
    k->certain = true;
  }
}

/* --- the result ---------------------------------------------------------------------------------------------- */

static double log_add(double a, double b)
{
  double m = fmax(a, b);
  return m + log(exp(a - m) + exp(b - m));
}

/* A class for each effect among the contacts; gains[class]. */
static bool classes_of(flicker *f, lu_search *s, double *gains)
{
  s->joint = f->joint;
  s->classes = LU_NEW(f->mem, lu_class, f->all_count + 1);
  s->members = LU_NEW(f->mem, lu_member, f->all_count + 1);
  if (!s->classes || !s->members)
    return false;
  double best = f->all[0].rank + f->all[0].prior;
  for (size_t i = 0; i < f->all_count; i++) {
    const lu_contact *c = &f->all[i];
    size_t k = 0;
    while (k < s->class_count && s->classes[k].hash != c->hash)
      k++;
    if (k == s->class_count && c->rank + c->prior < best - near)
      continue;
    lu_class *x = &s->classes[k];
    if (k == s->class_count) {
      *x = (lu_class){.hash = c->hash, .fault = c->fault, .best = c->prior, .prior = c->prior, .undriven = c->undriven, .first_member = UINT32_MAX};
      gains[s->class_count++] = c->rank;
    } else {
      x->prior = log_add(x->prior, c->prior);
    }
    s->members[s->member_count] = (lu_member){c->fault, c->prior, x->first_member};
    x->first_member = (uint32_t)s->member_count++;
    x->member_count++;
  }
  return true;
}

/* Contacts by steady sets, each set with its own probability. */
static size_t combine(const lu_search *s, const double *gains, const lu_result *steady, lu_set *sets)
{
  size_t count = 0, rows = steady ? steady->explanation_count : 0;
  for (size_t c = 0; c < s->class_count; c++)
    for (size_t i = 0; i < (rows ? rows : 1) && i < STEADY_MOST; i++) {
      lu_set x = {.undriven = s->classes[c].undriven, .exact = true, .prior = s->classes[c].prior + gains[c]};
      const lu_explanation *e = rows ? &steady->explanations[i] : NULL;
      for (size_t k = 0; e && k < e->count && x.count < LU_FAULTS_MOST - 1; k++) {
        x.classes[x.count] = UINT32_MAX;
        x.faults[x.count++] = e->faults[k];
      }
      x.prior += e ? log(fmax(e->probability, 1e-12)) : 0;
      x.classes[x.count] = (uint32_t)c;
      x.faults[x.count++] = s->classes[c].fault;
      sets[count++] = x;
    }
  return count;
}

static lu_status conclude(flicker *f, const lu_result *steady, lu_result **out)
{
  lu_result *r = LU_NEW(f->mem, lu_result, 1);
  lu_search *s = LU_NEW(f->mem, lu_search, 1);
  double *gains = LU_NEW(f->mem, double, f->all_count + 1);
  const lu_result *with = steady && steady->verdict == LU_VERDICT_FAULTY && steady->explanation_count ? steady : NULL;
  if (!r || !s || !gains || !classes_of(f, s, gains))
    return lu_fail(f->err, LU_ERR_NOMEM, 0, 0, "no room to reason");
  lu_set *sets = LU_NEW(f->mem, lu_set, s->class_count * STEADY_MOST + 1);
  r->joint = f->joint;
  if (!sets || !lu_conclude(r, s, sets, combine(s, gains, with, sets), f->all[0].rank - f->all[0].gain + proof))
    return lu_fail(f->err, LU_ERR_NOMEM, 0, 0, "no room to reason");
  for (size_t i = 0; with && i < r->explanation_count; i++)
    r->explanations[i].explained = fmin(r->explanations[i].explained, with->explanations[0].explained);
  r->verdict = LU_VERDICT_FAULTY;
  r->reason = with ? "words differ, some from pass to pass: as they would with a contact that opens now and then, and steady faults beside it"
              : f->filled ? "words differ from pass to pass as they would with a contact that opens now and then, while the memory was filled, too"
                          : "words differ from pass to pass as they would with a contact that opens now and then";
  r->singles_done = true;
  r->pairs_done = with && with->pairs_done;
  r->exact = !with || with->exact;
  r->hypotheses = f->all_count + (with ? with->hypotheses : 0);
  r->classes = s->class_count;
  *out = r;
  return LU_OK;
}

/* --- all together --------------------------------------------------------------------------------------------- */

static lu_status begin(flicker *f)
{
  f->reads = LU_NEW(f->mem, lu_evidence, f->count);
  f->looks = LU_NEW(f->mem, lu_flicker_look, f->count);
  if (!f->reads || !f->looks)
    return lu_fail(f->err, LU_ERR_NOMEM, 0, 0, "no room to reason");
  for (size_t r = 0; r < f->count; r++) {
    lu_flicker_look *k = &f->looks[r];
    lu_flicker_look still;
    bool made = lu_flicker_look_new(differs(&f->readings[r]) ? k : &still, &f->readings[r], f->mem);
    if (!made)
      return lu_fail(f->err, LU_ERR_NOMEM, 0, 0, "no room to reason");
    f->reads[r] = differs(&f->readings[r]) ? k->reads : still.reads;
  }
  lu_status bad = lu_joint_new(f->reads, f->count, f->priors, 0, f->mem, &f->joint, f->err);
  return bad ? bad : lu_joint_new(f->reads, f->count, f->priors, 0, f->mem, &f->low, f->err);
}

/* Something is wrong in every pass that neither the contact (NULL: none) nor noise makes so. */
static bool steadily_wrong(flicker *f, lu_contact *c)
{
  bool floats;
  if (c && !open_it(f, c, &floats))
    return false;
  for (size_t r = 0; r < f->count; r++)
    if (f->looks[r].sample_count && lu_flicker_steady(&f->looks[r], c, f->joint->looks[r].view, c ? low_view(f, c, r) : NULL))
      return true;
  return false;
}

/* The contacts that explain how the passes differ, most likely first; none: all_count is 0. */
static bool find(flicker *f)
{
  f->all_count = 0;
  if (!sample(f, FIRST_ODD, FIRST_CALM))
    return false;
  for (uint16_t n = 0; n < f->joint->net_count; n++)
    if (!add_net(f, n))
      return false;
  drop_vague(f);
  sort(f);
  if (!f->all_count || f->all[0].gain < proof / 2) {
    f->all_count = 0;
    return true;
  }
  if (!sample(f, LAST_ODD, LAST_CALM))
    return false;
  if (!weigh_again(f) || f->all[0].gain + f->all[0].prior < proof)
    f->all_count = 0;
  return true;
}

/* What is wrong though the contact was closed lies where it can do harm: it was open at times while the memory was filled, too. */
static bool harmed_fill(flicker *f, lu_contact *c, const lu_evidence *closed)
{
  bool floats;
  if (!open_it(f, c, &floats))
    return false;
  for (size_t r = 0; r < f->count; r++) {
    const lu_evidence *e = &closed[r];
    uint64_t reach = f->on[r] ? f->joint->looks[r].view->changed : 0, wrong = 0, strays = 0;
    if (e->know != LU_KNOW_WRITTEN)
      return false;
    for (size_t i = 0; i < e->got.count; i++)
      if (lu_word_held(&e->got, i) && lu_word_held(&e->known, i)) {
        uint64_t bad = (lu_word(&e->got, i) ^ lu_word(&e->known, i)) & (e->steady ? e->steady[i] : UINT64_MAX);
        wrong += (uint64_t)__builtin_popcountll(bad);
        strays += (uint64_t)__builtin_popcountll(bad & ~reach);
      }
    if ((double)strays > 0.05 * (double)wrong)
      return false;
  }
  return true;
}

/* With nothing else broken. *over: a contact was found, or there is nothing to find. False: no memory. */
static bool alone_broken(flicker *f, bool *over)
{
  *over = false;
  for (size_t r = 0; r < f->count; r++)
    if (!f->readings[r].known.at)
      return true;
  base_of(f, NULL, f->readings);
  if (!find(f))
    return false;
  *over = f->all_count ? !steadily_wrong(f, &f->all[0]) : !steadily_wrong(f, NULL);
  return true;
}

/* Contact and faults give what was read; the faults leave much of it open; they do not. */
typedef enum fitting { FITS_NOT, FITS_VAGUELY, FITS } fitting;

/* With steady faults, looked for in the passes in which the contact was closed; then the contacts against what these faults
 * make of the contents. With nothing known, faults need not be found. */
static lu_status beside(flicker *f, const lu_contact *first, lu_evidence *closed, lu_result **steady, fitting *fits)
{
  lu_contact x = *first;
  bool blind = false;
  for (size_t r = 0; r < f->count; r++)
    blind |= f->readings[r].know == LU_KNOW_NOTHING;
  lu_status bad = steady_faults(f, &x, closed, steady);
  if (bad || (blind && (*steady)->verdict != LU_VERDICT_FAULTY)) {
    *fits = FITS;
    return bad;
  }
  base_of(f, *steady, closed);
  f->all = NULL;
  f->all_count = f->all_room = 0;
  if (!find(f))
    return lu_fail(f->err, LU_ERR_NOMEM, 0, 0, "no room to reason");
  bool told = (*steady)->verdict != LU_VERDICT_FAULTY || ((*steady)->explanation_count && (*steady)->explanations[0].explained > mostly);
  *fits = !f->all_count || steadily_wrong(f, &f->all[0]) ? FITS_NOT : told ? FITS : FITS_VAGUELY;
  return LU_OK;
}

static void unbase(flicker *f)
{
  for (size_t r = 0; r < f->count; r++)
    if (f->looks[r].given)
      lu_flicker_unbase(&f->looks[r]);
}

/* The first of the likeliest contacts, of different effects, beside which steady faults can be found, or which spoilt the fill; else
 * none. */
static lu_status with_faults(flicker *f, lu_result **steady)
{
  lu_contact *list = f->all;
  size_t count = f->all_count, tried = 0;
  fitting fits = FITS_NOT;
  flicker vaguely = {0};
  lu_result *vague_faults = NULL;
  bool fill = false;
  lu_evidence *closed = LU_NEW(f->mem, lu_evidence, f->count);
  if (!closed)
    return lu_fail(f->err, LU_ERR_NOMEM, 0, 0, "no room to reason");
  for (size_t i = 0; i < count && tried < TRIED_MOST && fits != FITS && !fill; i++) {
    size_t k = 0;
    while (list[k].hash != list[i].hash)
      k++;
    if (k < i)
      continue;
    unbase(f);
    lu_status bad = beside(f, &list[i], closed, steady, &fits);
    if (bad)
      return bad;
    if (fits == FITS_VAGUELY && !vague_faults) {
      vaguely = *f;
      vague_faults = *steady;
    }
    unbase(f);
    fill = fits != FITS && !i && harmed_fill(f, &list[0], closed);
    tried++;
  }
  if (fits == FITS)
    return LU_OK;
  if (vague_faults && !fill) {
    f->all = vaguely.all;
    f->all_count = vaguely.all_count;
    *steady = vague_faults;
    return LU_OK;
  }
  f->all = list;
  f->all_count = fill ? count : 0;
  f->filled = fill;
  *steady = NULL;
  return LU_OK;
}

lu_status lu_explain_flicker(const lu_evidence *readings, size_t count, const lu_priors *priors, double noise, lu_arena *mem,
                             lu_result **out, bool *told, lu_err *err)
{
  flicker f = {.readings = readings, .count = count, .priors = priors, .noise = noise, .mem = mem, .err = err};
  lu_result *steady;
  bool any = false;
  *told = false;
  for (size_t r = 0; r < count && count <= LU_READINGS_MOST; r++)
    any |= differs(&readings[r]);
  if (!any)
    return LU_OK;
  lu_status bad = begin(&f);
  bool over;
  steady = NULL;
  if (!bad && !alone_broken(&f, &over))
    bad = lu_fail(err, LU_ERR_NOMEM, 0, 0, "no room to reason");
  if (!bad && !over) {
    unbase(&f);
    if (!find(&f))
      bad = lu_fail(err, LU_ERR_NOMEM, 0, 0, "no room to reason");
    if (!bad && f.all_count)
      bad = with_faults(&f, &steady);
  }
  if (bad || !f.all_count)
    return bad;
  *told = true;
  return conclude(&f, steady, out);
}
