/* SPDX-License-Identifier: MIT */
#include "reason/blind.h"

#include "reason/search.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { SHORTEST = 16, TELLING_LEAST = 6, HALF_LEAST = 64, PAIRS_MOST = 4096 };

#define BUSY 0.3 /* a bit of that share of the rarer level follows another, or an address bit, in every word: no contents do */

/* What contents like these look like without a fault. */
typedef struct look {
  unsigned address_bits;
  uint32_t telling[LU_SAMPLES_MOST]; /* samples whose neighbours mostly differ */
  unsigned telling_count;
  double minority[64]; /* of each data bit: share of the rarer level */
  bool constant;
} look;

static double rarer(uint64_t ones, uint64_t all)
{
  double p = all ? (double)ones / (double)all : 0;
  return p < 0.5 ? p : 1 - p;
}

static void study(const lu_joint *j, look *k)
{
  const lu_look *l = &j->looks[0];
  const lu_evidence *e = l->evidence;
  size_t n = e->got.count, step = n > 65536 ? n / 65536 : 1, seen = 0;
  uint64_t ones[64] = {0}, first = lu_word(&e->got, 0), other = 0;
  for (size_t i = 0; i < n; i += step) {
    if (!lu_word_held(&e->got, i))
      continue;
    uint64_t w = lu_word(&e->got, i);
    seen++;
    other |= w ^ first;
    for (unsigned b = 0; b < e->network->data_bits; b++)
      ones[b] += w >> b & 1;
  }
  for (size_t i = 0; !other && i < n; i++)
    other |= lu_word_held(&e->got, i) ? lu_word(&e->got, i) ^ first : 0;
  k->constant = !other;
  for (unsigned b = 0; b < e->network->data_bits; b++)
    k->minority[b] = rarer(ones[b], seen);
  k->address_bits = e->network->address_bits;
  for (unsigned s = 0; s < l->sample_count; s++) {
    unsigned differ = 0, asked = 0;
    for (unsigned b = 0; b < k->address_bits; b++) {
      uint64_t i = lu_index_of(e->network, lu_address_of(e->network, l->sample[s]) ^ (uint64_t)1 << b);
      if (i >= n || !lu_word_held(&e->got, i))
        continue;
      asked++;
      differ += lu_word(&e->got, i) != l->got[s];
    }
    if (asked && 2 * differ > asked)
      k->telling[k->telling_count++] = s;
  }
}

/* How often words at one address bit's distance agree on the columns, among the telling samples:
 * the middle of all address bits, so that the line in question does not count itself. */
static double chance_alike(const lu_look *l, const look *k, uint64_t columns)
{
  double rate[64];
  unsigned n = 0;
  for (unsigned b = 0; b < k->address_bits; b++) {
    unsigned same = 0, asked = 0;
    for (unsigned t = 0; t < k->telling_count; t++) {
      unsigned s = k->telling[t];
      const lu_evidence *e = l->evidence;
      uint64_t i = lu_index_of(e->network, lu_address_of(e->network, l->sample[s]) ^ (uint64_t)1 << b);
      if (i >= e->got.count || !lu_word_held(&e->got, i))
        continue;
      asked++;
      same += ((lu_word(&e->got, i) ^ l->got[s]) & columns) == 0;
    }
    if (asked)
      rate[n++] = (double)same / asked;
  }
  for (unsigned i = 1; i < n; i++)
    for (unsigned m = i; m > 0 && rate[m] < rate[m - 1]; m--) {
      double x = rate[m];
      rate[m] = rate[m - 1];
      rate[m - 1] = x;
    }
  return n ? fmin(rate[n / 2] + 0.02, 0.98) : 0.98;
}

/* ln of how surprising the equalities are that the compiled hypothesis forces. */
static double surprise(const lu_look *l, const look *k)
{
  const lu_evidence *e = l->evidence;
  uint64_t moved = 0, fixed = 0, away, here;
  unsigned tested = 0;
  for (unsigned t = 0; t < k->telling_count; t++) {
    lu_view_tests(l->view, e, l->sample[k->telling[t]], &away, &here);
    tested += away != 0;
    moved |= away;
    fixed |= here;
  }
  double x = 0;
  if (tested >= TELLING_LEAST)
    x += 0.5 * tested * -log(chance_alike(l, k, moved));
  for (uint64_t m = fixed; m && k->telling_count >= TELLING_LEAST; m &= m - 1) {
    unsigned b = (unsigned)__builtin_ctzll(m);
    double busy = 0;
    unsigned lane = b & ~7u, bits = 0;
    for (unsigned o = lane; o < lane + 8 && o < e->network->data_bits; o++)
      if (!(fixed >> o & 1)) {
        busy += k->minority[o];
        bits++;
      }
    busy = bits ? busy / bits : 0.25;
    /* a quiet lane can have a quiet bit; text leaves the top bit of each byte low */
    double per = k->minority[b] > BUSY && k->telling_count >= HALF_LEAST / 2 ? 22 : k->minority[b] > 0 ? 14 : (b & 7) == 7 ? 3 : 11;
    x += per * fmin(1, busy / 0.15);
  }
  return x;
}

static bool control_side(const lu_joint *j, const lu_fault *f)
{
  if (f->kind == LU_FAULT_DEAD)
    return true;
  return (f->kind == LU_FAULT_OPEN || f->kind == LU_FAULT_STUCK) && j->nets[f->net].carries & LU_CARRIES_CONTROL;
}

static bool covers_all(const lu_look *l)
{
  uint64_t away, here;
  lu_view_tests(l->view, l->evidence, l->sample[0], &away, &here);
  return (here & l->all) == l->all;
}

/* Every class that the reading does not contradict, weighed by its surprise. */
static bool weigh(lu_search *s, const look *k, lu_set *sets, size_t most, size_t *count)
{
  lu_joint *j = s->joint;
  *count = 0;
  for (size_t i = 0; i < s->class_count && *count < most; i++) {
    const lu_class *c = &s->classes[i];
    if (!c->exact)
      continue;
    lu_set x = {.count = 1, .undriven = c->undriven, .prior = c->prior, .exact = true};
    x.classes[0] = (uint32_t)i;
    x.faults[0] = c->fault;
    uint64_t hash, columns;
    bool wide, floats;
    if (!lu_joint_compile(j, 0, x.faults, 1, x.undriven, &hash, &wide, &floats) || wide)
      continue;
    if (k->constant ? !(control_side(j, &c->fault) && covers_all(&j->looks[0])) : false)
      continue;
    double more = k->constant ? 12 : surprise(&j->looks[0], k);
    if (more <= 0)
      continue;
    lu_view_count(j->looks[0].view, j->looks[0].evidence, 0, &x.wrong, &x.unknown, &columns);
    if (x.wrong || x.unknown)
      continue;
    x.prior += more;
    sets[(*count)++] = x;
  }
  return true;
}

/* --- address lines joined with data lines ---------------------------------------------------------------- */

/* For each address bit and its level: data bits that are ever 0, ever 1 there, and how many words were seen. */
typedef struct halves {
  uint64_t zero[64][2], one[64][2];
  size_t words[64][2];
} halves;

static void see_halves(const lu_evidence *e, halves *h)
{
  const lu_network *n = e->network;
  for (size_t i = 0; i < e->got.count; i++) {
    if (!lu_word_held(&e->got, i))
      continue;
    uint64_t w = lu_word(&e->got, i), address = lu_address_of(n, i);
    for (unsigned b = 0; b < n->address_bits && b < 64; b++) {
      unsigned level = address >> b & 1;
      h->zero[b][level] |= ~w;
      h->one[b][level] |= w;
      h->words[b][level]++;
    }
  }
}

/* The address bit that a net carries while memory is read; the data bit that it reaches. False: neither one nor the other. */
static bool address_bit_of(const lu_joint *j, uint16_t net, unsigned *bit)
{
  const lu_network *n = j->looks[0].evidence->network;
  uint16_t local = j->nets[net].local[0];
  if (local == UINT16_MAX)
    return false;
  const lu_fn *f = &n->state[(size_t)LU_READ * n->net_count + local].value[0];
  *bit = f->var[0];
  return !f->wide && f->count == 1 && f->var[0] < n->address_bits && f->var[0] < 64 && lu_fn_at(f, 1);
}

static bool data_bit_of(const lu_search *s, uint16_t net, unsigned *bit)
{
  uint64_t columns = s->reach[net * s->joint->look_count];
  if (!(s->joint->nets[net].carries & LU_CARRIES_DATA) || !columns || columns & (columns - 1))
    return false;
  *bit = (unsigned)__builtin_ctzll(columns);
  return true;
}

/* Where the address line holds the data line down (or up), its bit must be that level in all words of this half, and busy in the other,
 * as its neighbours are in both. Returns ln of the surprise, 0: not so. */
static double held_there(const halves *h, const look *k, unsigned address, unsigned data, bool high, uint64_t all)
{
  uint64_t bit = UINT64_C(1) << data;
  uint64_t steady = ~(h->zero[address][high] & h->one[address][high]) & all;
  if (h->words[address][high] < HALF_LEAST || h->words[address][!high] < HALF_LEAST || steady != bit || k->minority[data] < 0.05)
    return 0;
  if (high ? h->zero[address][1] & bit : h->one[address][0] & bit)
    return 0;
  return 22 * fmin(1, k->minority[data] / 0.15);
}

/* Such joints hang on what is read and have no class: each is weighed by what it forces upon the data line. */
static void weigh_joined(const lu_search *s, const look *k, lu_set *sets, size_t most, size_t *count)
{
  const lu_joint *j = s->joint;
  halves *h = LU_NEW(j->mem, halves, 1);
  if (!h || k->constant)
    return;
  see_halves(j->looks[0].evidence, h);
  for (size_t i = 0; i < s->later_count && *count < most; i++) {
    const lu_fault *f = &s->later[i];
    unsigned address, data;
    if (f->kind != LU_FAULT_BRIDGE)
      continue;
    bool first = address_bit_of(j, f->net, &address) && data_bit_of(s, f->net2, &data);
    if (!first && !(address_bit_of(j, f->net2, &address) && data_bit_of(s, f->net, &data)))
      continue;
    double low = held_there(h, k, address, data, false, j->looks[0].all), high = held_there(h, k, address, data, true, j->looks[0].all);
    bool address_wins = f->acts == (first ? LU_ACTS_FIRST : LU_ACTS_SECOND);
    double more = f->acts == LU_ACTS_AND && !high ? low : f->acts == LU_ACTS_OR && !low ? high : address_wins ? fmin(low, high) : 0;
    if (more <= 0)
      continue;
    lu_set x = {.count = 1, .undriven = LU_LEVEL_HIGH, .exact = true, .prior = lu_joint_prior(j, f) + more};
    x.classes[0] = UINT32_MAX;
    x.faults[0] = *f;
    sets[(*count)++] = x;
  }
}

static void judge(lu_result *r, const look *k)
{
  double faulty = 0;
  for (size_t i = 0; i < r->suspect_count; i++)
    faulty = fmax(faulty, r->suspects[i].probability);
  double sum = 0;
  for (size_t i = 0; i < r->explanation_count; i++)
    sum += r->explanations[i].probability;
  if (k->constant) {
    r->verdict = LU_VERDICT_UNKNOWN;
    r->reason = "every location reads the same and nothing is known of the contents: a blank memory, or a select, "
                "enable or strobe line that is dead";
  } else if (sum > 0.5) {
    r->verdict = LU_VERDICT_FAULTY;
    r->reason = "the reading repeats itself in a way that contents like these do not by chance";
  } else if (k->telling_count < TELLING_LEAST) {
    r->verdict = LU_VERDICT_UNKNOWN;
    r->reason = "too little of the reading differs from its neighbours to judge it without knowing the contents";
  } else {
    r->verdict = LU_VERDICT_CLEAN;
    r->reason = "no line is dead, joined or stuck as far as the contents can show";
  }
  if (r->verdict == LU_VERDICT_CLEAN)
    r->explanation_count = r->suspect_count = 0;
}

lu_status lu_explain_blind(const lu_evidence *reading, const lu_priors *priors, lu_arena *mem, lu_result **out,
                           lu_err *err)
{
  lu_result *r = LU_NEW(mem, lu_result, 1);
  lu_search *s = LU_NEW(mem, lu_search, 1);
  lu_evidence *self = LU_NEW(mem, lu_evidence, 1);
  look *k = LU_NEW(mem, look, 1);
  if (!r || !s || !self || !k)
    return lu_fail(err, LU_ERR_NOMEM, 0, 0, "no room to reason");
  *self = *reading;
  self->known = self->got;
  self->know = LU_KNOW_WRITTEN;
  lu_status bad = lu_joint_new(self, 1, priors, 0, mem, &r->joint, err);
  if (bad)
    return bad;
  *out = r;
  if (reading->got.held_count < SHORTEST) {
    r->verdict = LU_VERDICT_UNKNOWN;
    r->reason = "the reading is too short to judge it without knowing the contents";
    return LU_OK;
  }
  study(r->joint, k);
  s->joint = r->joint;
  for (size_t i = 0; i < r->joint->look_count; i++)
    r->joint->looks[i].columns = r->joint->looks[i].all; /* nothing is beyond suspicion */
  if (!lu_search_classes(s))
    return lu_fail(err, LU_ERR_NOMEM, 0, 0, "no room to reason");
  lu_set *sets = LU_NEW(mem, lu_set, s->class_count + PAIRS_MOST + 1);
  size_t count = 0;
  bool weighed = sets && weigh(s, k, sets, s->class_count, &count);
  if (weighed)
    weigh_joined(s, k, sets, s->class_count + PAIRS_MOST, &count);
  if (!weighed || !lu_conclude(r, s, sets, count, 0))
    return lu_fail(err, LU_ERR_NOMEM, 0, 0, "no room to reason");
  r->singles_done = true;
  r->exact = true;
  r->hypotheses = s->hypotheses;
  r->classes = s->class_count;
  judge(r, k);
  return LU_OK;
}
