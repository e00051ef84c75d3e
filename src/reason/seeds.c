/* SPDX-License-Identifier: MIT */
#include "reason/seeds.h"

#include <string.h>

enum { FIRST = 32, TELLING_BITS = 24 };

/* What the samples say of one class. */
typedef struct trial {
  uint64_t turns, columns, bad;
  unsigned telling, seen, misses[64];
} trial;

/* A word against the word from which, says the class, it came, both as they were read; telling where the contents
 * would have made them differ. */
static void try_sample(const lu_look *l, const lu_evidence *self, uint64_t varying, unsigned s, unsigned tolerate, trial *t)
{
  const lu_evidence *e = l->evidence;
  const lu_view *v = l->view;
  uint64_t i = l->sample[s], address = lu_address_of(e->network, i), from, away, here;
  uint64_t own, known, none, unknown;
  lu_view_tests(v, self, i, &away, &here);
  lu_view_word(v, self, i, &own, &none);
  lu_view_word(v, e, i, &known, &unknown);
  uint64_t mask = v->changed & ~none & l->steady[s] & ((away & varying) | here);
  for (uint64_t m = (own ^ l->got[s]) & mask; m; m &= m - 1) {
    unsigned b = (unsigned)__builtin_ctzll(m);
    if (++t->misses[b] > tolerate)
      t->bad |= (uint64_t)1 << b;
  }
  t->columns |= mask;
  t->telling += (unsigned)__builtin_popcountll((known ^ lu_word(&e->known, i)) & mask & ~unknown & ~t->bad);
  for (unsigned k = 1; k < v->source_count; k++)
    if (v->plain_mask[k] & mask & ~t->bad && lu_view_source(&v->source[k], e, address, &from))
      t->turns |= address ^ lu_address_of(e->network, from);
}

/* A column may be bad, for a fault of its own. */
static bool fails(const trial *t)
{
  return 4 * __builtin_popcountll(t->bad) > __builtin_popcountll(t->columns);
}

/* Columns that change: one that does not is equal everywhere, whatever any address line does. */
static uint64_t varying_columns(const lu_look *l)
{
  uint64_t other = 0;
  for (unsigned i = 1; i < l->sample_count; i++)
    other |= (l->got[i] ^ l->got[0]) & l->steady[i] & l->steady[0];
  return other;
}

static bool try_class(lu_search *s, const lu_class *c, trial *t)
{
  const lu_joint *j = s->joint;
  *t = (trial){0};
  for (size_t r = 0; r < j->look_count; r++) {
    const lu_look *l = &j->looks[r];
    uint64_t hash;
    bool wide, floats;
    if (!lu_joint_compile(j, r, &c->fault, 1, c->undriven, &hash, &wide, &floats))
      continue;
    if (wide)
      return false;
    lu_evidence self = *l->evidence;
    self.known = self.got;
    uint64_t varying = varying_columns(l);
    for (unsigned i = 0; i < l->sample_count; i++) {
      try_sample(l, &self, varying, lu_look_sample(l, i), (unsigned)j->sample_noise, t);
      if (i == FIRST && fails(t))
        return false;
    }
  }
  t->columns &= ~t->bad;
  return t->telling >= TELLING_BITS && t->columns && !fails(t);
}

/* Joins the seed that says the same, or starts one. */
static void place(const lu_search *s, lu_seed *seeds, size_t *count, uint32_t class, const trial *t)
{
  size_t k = 0;
  while (k < *count && (seeds[k].turns != t->turns || seeds[k].columns != t->columns))
    k++;
  if (k == LU_SEEDS_MOST)
    return;
  if (k == *count)
    seeds[(*count)++] = (lu_seed){.turns = t->turns, .columns = t->columns};
  lu_seed *x = &seeds[k];
  const lu_class *c = &s->classes[class];
  size_t at = 0, end;
  for (; at < x->count && s->classes[x->classes[at]].prior >= c->prior; at++)
    if (s->classes[x->classes[at]].face == c->face)
      return;
  for (end = at; end < x->count && s->classes[x->classes[end]].face != c->face; end++)
    ;
  if (end == x->count && x->count < LU_SEED_VARIANTS_MOST)
    x->count++;
  if (end == LU_SEED_VARIANTS_MOST)
    end--;
  if (at > end)
    return;
  memmove(&x->classes[at + 1], &x->classes[at], (end - at) * sizeof *x->classes);
  x->classes[at] = class;
}

/* A regularity of some columns says nothing beside the same one of more columns. */
static bool outdone(const lu_seed *seeds, size_t count, size_t k)
{
  for (size_t i = 0; i < count; i++)
    if (i != k && seeds[i].turns == seeds[k].turns && seeds[i].columns != seeds[k].columns &&
        !(seeds[k].columns & ~seeds[i].columns))
      return true;
  return false;
}

/* A swap makes nothing equal, and a bus that keeps its level agrees with itself whatever it is. */
static bool can_seed(const lu_class *c)
{
  return !c->wide && c->fault.kind != LU_FAULT_SWAP && !(c->floats && c->undriven == LU_LEVEL_KEEP);
}

size_t lu_seeds(lu_search *s, lu_seed *out)
{
  lu_seed all[LU_SEEDS_MOST];
  size_t count = 0, kept = 0;
  trial t;
  for (size_t i = 0; i < s->class_count; i++)
    if (can_seed(&s->classes[i]) && try_class(s, &s->classes[i], &t))
      place(s, all, &count, (uint32_t)i, &t);
  for (size_t k = 0; k < count; k++)
    if (!outdone(all, count, k))
      out[kept++] = all[k];
  return kept;
}

static bool adds(const lu_seed *seeds, const size_t *chosen, size_t count, const lu_seed *x)
{
  if (!x->turns) {
    uint64_t still = x->columns;
    for (size_t i = 0; i < count; i++)
      still &= seeds[chosen[i]].turns ? still : ~seeds[chosen[i]].columns;
    return still;
  }
  for (uint64_t m = x->turns; m; m &= m - 1) {
    uint64_t left = x->columns;
    for (size_t i = 0; i < count; i++)
      left &= seeds[chosen[i]].turns & m & -m ? ~seeds[chosen[i]].columns : left;
    if (left)
      return true;
  }
  return false;
}

static int says(const lu_seed *x)
{
  return 64 * __builtin_popcountll(x->turns) + __builtin_popcountll(x->columns);
}

size_t lu_seeds_cover(const lu_seed *seeds, size_t count, bool wide, size_t *chosen)
{
  size_t n = 0;
  while (n < LU_FAULTS_MOST) {
    size_t best = count;
    for (size_t k = 0; k < count; k++) {
      if (!adds(seeds, chosen, n, &seeds[k]))
        continue;
      bool fewer = best < count && __builtin_popcountll(seeds[k].turns) < __builtin_popcountll(seeds[best].turns);
      bool more = best < count && says(&seeds[k]) > says(&seeds[best]);
      bool same = best < count && __builtin_popcountll(seeds[k].turns) == __builtin_popcountll(seeds[best].turns);
      if (best == count || (wide ? more : fewer || (same && more)))
        best = k;
    }
    if (best == count)
      break;
    chosen[n++] = best;
  }
  return n;
}
