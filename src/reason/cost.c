/* SPDX-License-Identifier: MIT */
#include "reason/cost.h"

#include "base/tally.h"

/* A part of what is broken explains less than all of it, but hardly ever makes wrong what reads right: HARM_WEIGHT. */
enum { HARM_WEIGHT = 3, FIRST_LOOK = 12, SECOND_LOOK = 56 };

/* Wrong bits, and as much again for each byte that is not right altogether: data from a wrong address
 * have half of their bits right, so whole bytes tell a right address from a lucky one. */
static double wrongness(uint64_t bad)
{
  if (!bad)
    return 0;
  uint64_t any = bad | bad >> 4;
  any |= any >> 2;
  any |= any >> 1;
  any &= 0x0101010101010101u;
  return __builtin_popcountll(bad) + 3.0 * __builtin_popcountll(any);
}

void lu_cost_samples(const lu_joint *j, const lu_look *k, unsigned from, unsigned to, bool compiled, lu_cost *c)
{
  for (unsigned s = from; s < to; s++) {
    uint64_t value = 0, unknown = 0, bad = k->healthy[s];
    if (compiled) {
      lu_view_word(k->view, k->evidence, k->sample[s], &value, &unknown);
      uint64_t changed = k->view->changed;
      bad = (k->healthy[s] & ~changed) | ((value ^ k->got[s]) & changed & ~unknown & k->steady[s]);
      unknown &= changed & k->steady[s];
      uint64_t whole = (value & changed) | (lu_word(&k->evidence->known, k->sample[s]) & ~changed);
      c->face = (c->face ^ ((whole & ~unknown) + 0x9e3779b97f4a7c15u * unknown + s)) * 0xbf58476d1ce4e5b9u;
      c->face ^= c->face >> 29;
    }
    double was = j->wrong_cost * wrongness(k->healthy[s]);
    double now = j->wrong_cost * wrongness(bad) + lu_unknown_share * j->wrong_cost * __builtin_popcountll(unknown);
    c->total += now > was ? now + HARM_WEIGHT * (now - was) : now;
    c->bits += (uint64_t)__builtin_popcountll(bad);
    c->open += (uint64_t)__builtin_popcountll(unknown);
    c->wrong = (double)c->bits > j->sample_noise;
    if (now < was)
      c->gain += was - now;
    else
      c->harm += now - was;
  }
}

static unsigned look_count(const lu_search *s, unsigned to)
{
  unsigned n = 0;
  for (size_t r = 0; r < s->joint->look_count; r++) {
    unsigned c = s->joint->looks[r].sample_count;
    n += c < to ? c : to;
  }
  return n;
}

static void look_range(lu_search *s, const bool *compiled, unsigned from, unsigned to, lu_cost *c)
{
  lu_joint *j = s->joint;
  for (size_t r = 0; r < j->look_count; r++) {
    const lu_look *k = &j->looks[r];
    for (unsigned at = from; at < to && at < k->sample_count; at++) {
      unsigned x = lu_look_sample(k, at);
      lu_cost_samples(j, k, x, x + 1, compiled[r], c);
    }
  }
}

bool lu_cost_set(lu_search *s, const lu_fault *faults, size_t count, lu_level undriven, bool quick, lu_cost *c,
                     uint64_t *hash, bool *wide, bool *floats)
{
  lu_joint *j = s->joint;
  uint64_t h = 0;
  bool any = false, compiled[LU_READINGS_MOST];
  *wide = *floats = false;
  *c = (lu_cost){0};
  for (size_t r = 0; r < j->look_count; r++) {
    uint64_t one;
    bool w, f;
    compiled[r] = lu_joint_compile(j, r, faults, count, undriven, &one, &w, &f);
    *wide |= w;
    *floats |= f;
    any |= compiled[r];
    h = (h ^ (compiled[r] ? one : 0)) * 0x9e3779b97f4a7c15u + r;
  }
  *hash = any ? h | 1 : 0;
  s->hypotheses++;
  lu_tally_add(1);
  if (!any || *wide)
    return false;
  look_range(s, compiled, 0, FIRST_LOOK, c);
  if (quick && c->gain == 0 && s->healthy_cost > 0)
    return false;
  /* one that is wrong somewhere and does not help is judged by part of the samples */
  look_range(s, compiled, FIRST_LOOK, SECOND_LOOK, c);
  if (c->wrong && quick && c->gain <= c->harm) {
    unsigned all = 0, base = look_count(s, SECOND_LOOK);
    for (size_t r = 0; r < j->look_count; r++)
      all += j->looks[r].sample_count;
    double scale = base ? (double)all / base : 1;
    c->total = s->healthy_cost - (c->gain - c->harm) * scale;
    c->gain *= scale;
    c->harm *= scale;
    return true;
  }
  look_range(s, compiled, SECOND_LOOK, LU_SAMPLES_MOST, c);
  return true;
}

double lu_cost_healthy(const lu_joint *j)
{
  lu_cost c = {0};
  for (size_t r = 0; r < j->look_count; r++)
    lu_cost_samples(j, &j->looks[r], 0, j->looks[r].sample_count, false, &c);
  return c.total;
}
