/* SPDX-License-Identifier: MIT */
#include "reason/joint.h"

#include "base/planes.h"

#include <math.h>
#include <string.h>

enum { BAD_SAMPLES = 128, GOOD_SAMPLES = 72, TRIES = 4096, STRETCH = 4096 };

static uint64_t shuffle(uint64_t x)
{
  /* the mixer of splitmix64 (Steele, Lea, Flood, OOPSLA 2014) */
  x += 0x9e3779b97f4a7c15u;
  x = (x ^ x >> 30) * 0xbf58476d1ce4e5b9u;
  x = (x ^ x >> 27) * 0x94d049bb133111ebu;
  return x ^ x >> 31;
}

/* --- nets and parts ----------------------------------------------------------------------------- */

static bool add_nets(lu_joint *j, size_t r, uint16_t *by_net)
{
  const lu_network *n = j->looks[r].evidence->network;
  for (size_t i = 0; i < n->net_count; i++) {
    const lu_nnet *x = &n->nets[i];
    uint16_t at = x->net == LU_NONE ? UINT16_MAX : by_net[x->net];
    if (at == UINT16_MAX) {
      if (j->net_count >= UINT16_MAX - 1)
        return false;
      at = (uint16_t)j->net_count++;
      j->nets[at] = (lu_jnet){.net = x->net, .constant = x->constant};
      memset(j->nets[at].local, 0xff, sizeof j->nets[at].local);
      if (x->net != LU_NONE)
        by_net[x->net] = at;
    }
    j->nets[at].local[r] = (uint16_t)i;
    j->nets[at].interest |= lu_net_pins_of_interest(n, (uint16_t)i);
    j->nets[at].drivers |= lu_net_drivers(n, (uint16_t)i);
    j->nets[at].carries |= x->carries;
  }
  return true;
}

static void add_parts(lu_joint *j, size_t r, uint16_t *by_part)
{
  const lu_network *n = j->looks[r].evidence->network;
  for (size_t i = 0; i < n->part_count; i++) {
    uint16_t *at = &by_part[n->parts[i]];
    if (*at == UINT16_MAX) {
      *at = (uint16_t)j->part_count++;
      j->parts[*at] = (lu_jpart){.part = n->parts[i]};
      memset(j->parts[*at].local, 0xff, sizeof j->parts[*at].local);
    }
    lu_jpart *p = &j->parts[*at];
    p->local[r] = (uint16_t)i;
    for (size_t c = 0; c < n->chip_count; c++)
      if (n->chips[c].npart == i) {
        p->chip = true;
        p->rom = n->chips[c].rom;
      }
    const lu_part_type *t = n->board->parts[n->parts[i]].type;
    for (size_t e = 0; e < n->elem_count; e++)
      p->drives |= n->elems[e].kind == LU_ELEM_CELL && n->elems[e].part == i && t && t->kind != LU_PART_PASSIVE;
  }
}

static bool make_union(lu_joint *j)
{
  size_t nets = 1, parts = 1;
  for (size_t r = 0; r < j->look_count; r++) {
    nets += j->looks[r].evidence->network->net_count;
    parts += j->looks[r].evidence->network->part_count;
  }
  uint16_t *by_net = LU_NEW(j->mem, uint16_t, j->board->net_count + 1);
  uint16_t *by_part = LU_NEW(j->mem, uint16_t, j->board->part_count + 1);
  j->nets = LU_NEW(j->mem, lu_jnet, nets);
  j->parts = LU_NEW(j->mem, lu_jpart, parts);
  if (!by_net || !by_part || !j->nets || !j->parts)
    return false;
  memset(by_net, 0xff, (j->board->net_count + 1) * sizeof *by_net);
  memset(by_part, 0xff, (j->board->part_count + 1) * sizeof *by_part);
  for (size_t r = 0; r < j->look_count; r++) {
    if (!add_nets(j, r, by_net))
      return false;
    add_parts(j, r, by_part);
  }
  return true;
}

/* --- lanes ----------------------------------------------------------------------------------------- */

static uint16_t lane_of(lu_joint *j, uint16_t net)
{
  while (j->nets[net].lane != net)
    net = j->nets[net].lane = j->nets[j->nets[net].lane].lane;
  return net;
}

static uint16_t joint_net(const lu_joint *j, size_t r, uint16_t local)
{
  uint16_t i = 0;
  while (i < j->net_count && j->nets[i].local[r] != local)
    i++;
  return i;
}

/* A decoder's outputs are no part of the line of its inputs. */
static void join_lanes(lu_joint *j, size_t r)
{
  enum { WAYS_MOST = 2 };
  const lu_network *n = j->looks[r].evidence->network;
  for (size_t i = 0; i < n->elem_count; i++) {
    const lu_elem *e = &n->elems[i];
    if (e->kind != LU_ELEM_CELL || e->cell->input_count > WAYS_MOST || e->cell->output_count != 1 || e->pins[8] == UINT16_MAX)
      continue;
    uint16_t out = joint_net(j, r, n->pins[e->pins[8]].net);
    for (unsigned x = 0; x < e->cell->input_count; x++) {
      uint16_t in = e->pins[x] == UINT16_MAX ? UINT16_MAX : joint_net(j, r, n->pins[e->pins[x]].net);
      if (in < j->net_count && out < j->net_count && !j->nets[in].constant && !j->nets[out].constant)
        j->nets[lane_of(j, in)].lane = lane_of(j, out);
    }
  }
}

static void find_lanes(lu_joint *j)
{
  for (uint16_t i = 0; i < j->net_count; i++)
    j->nets[i].lane = i;
  for (size_t r = 0; r < j->look_count; r++)
    join_lanes(j, r);
  for (uint16_t i = 0; i < j->net_count; i++)
    j->nets[i].lane = lane_of(j, i);
}

/* --- samples ------------------------------------------------------------------------------------- */

static uint64_t wrong_bits(const lu_look *k, size_t i)
{
  const lu_evidence *e = k->evidence;
  if (!lu_word_held(&e->got, i) || !lu_word_held(&e->known, i))
    return 0;
  uint64_t steady = e->steady ? e->steady[i] : k->all;
  return (lu_word(&e->got, i) ^ lu_word(&e->known, i)) & steady & k->all;
}

static void take_sample(lu_look *k, size_t i)
{
  const lu_evidence *e = k->evidence;
  if (k->sample_count == LU_SAMPLES_MOST || !lu_word_held(&e->got, i))
    return;
  for (unsigned s = 0; s < k->sample_count; s++)
    if (k->sample[s] == i)
      return;
  unsigned s = k->sample_count++;
  k->sample[s] = (uint32_t)i;
  k->got[s] = lu_word(&e->got, i);
  k->steady[s] = e->steady ? e->steady[i] & k->all : k->all;
  k->healthy[s] = wrong_bits(k, i);
}

static void exchange(lu_look *k, unsigned a, unsigned b)
{
  uint32_t sample = k->sample[a];
  uint64_t got = k->got[a], steady = k->steady[a], healthy = k->healthy[a];
  k->sample[a] = k->sample[b], k->got[a] = k->got[b], k->steady[a] = k->steady[b], k->healthy[a] = k->healthy[b];
  k->sample[b] = sample, k->got[b] = got, k->steady[b] = steady, k->healthy[b] = healthy;
}

/* A fault that helps in few columns is not to be given up for the first words looked at: they hold all that are wrong. */
static void columns_first(lu_look *k)
{
  enum { FIRST = 6 };
  uint64_t lacking = k->columns;
  for (unsigned at = 0; at < FIRST && at < k->bad_count && lacking; at++) {
    unsigned best = at;
    for (unsigned s = at + 1; s < k->bad_count; s++)
      if (__builtin_popcountll(k->healthy[s] & lacking) > __builtin_popcountll(k->healthy[best] & lacking))
        best = s;
    exchange(k, at, best);
    lacking &= ~k->healthy[at];
  }
}

/* Words that differ, spread over the reading and over the columns in which words differ. */
static void take_bad(lu_look *k, const uint32_t *bad_in, size_t stretches)
{
  size_t count = k->evidence->got.count;
  uint64_t covered[64] = {0}, seed = 1;
  unsigned tries = 0;
  while (k->sample_count < BAD_SAMPLES && tries++ < 4 * BAD_SAMPLES) {
    seed = shuffle(seed);
    size_t s = (size_t)(seed % stretches);
    for (size_t step = 0; step < stretches && !bad_in[s]; step++)
      s = s + 1 == stretches ? 0 : s + 1;
    size_t from = s * STRETCH, len = count - from < STRETCH ? count - from : STRETCH;
    size_t i = (size_t)(shuffle(seed) % len);
    for (size_t step = 0; step < len && !wrong_bits(k, from + i); step++)
      i = i + 1 == len ? 0 : i + 1;
    take_sample(k, from + i);
  }
  for (unsigned s = 0; s < k->sample_count; s++)
    for (uint64_t m = k->healthy[s]; m; m &= m - 1)
      covered[__builtin_ctzll(m)]++;
  uint64_t lacking = 0;
  for (uint64_t m = k->columns; m; m &= m - 1)
    if (covered[__builtin_ctzll(m)] < 4)
      lacking |= m & -m;
  for (size_t s = 0; lacking && s < stretches; s++)
    for (size_t i = s * STRETCH; bad_in[s] && i < count && i < (s + 1) * STRETCH; i++) {
      bool lacks = false;
      for (uint64_t m = wrong_bits(k, i); m && !lacks; m &= m - 1)
        lacks = covered[__builtin_ctzll(m)] < 4;
      if (!lacks || k->sample_count >= BAD_SAMPLES + 48)
        continue;
      unsigned before = k->sample_count;
      take_sample(k, i);
      for (uint64_t m = k->healthy[before]; k->sample_count > before && m; m &= m - 1)
        covered[__builtin_ctzll(m)]++;
    }
  k->bad_count = k->sample_count;
  columns_first(k);
}

static void take_good(lu_look *k)
{
  size_t count = k->evidence->got.count;
  uint64_t seed = 77;
  unsigned right = 0;
  for (unsigned t = 0; t < TRIES && right < GOOD_SAMPLES && k->sample_count < LU_SAMPLES_MOST - 48; t++) {
    seed = shuffle(seed);
    size_t i = (size_t)(seed % count);
    bool good = !wrong_bits(k, i);
    right += good;
    if (good || t < GOOD_SAMPLES / 4) /* words that read right tell most about what is not broken */
      take_sample(k, i);
  }
  take_sample(k, 0);
  take_sample(k, count - 1);
  for (size_t i = 1; i < count; i <<= 1)
    take_sample(k, i);
}

/* Words of a stretch that differ, all bits counting. */
static uint32_t count_plain(lu_look *k, const void *got, const void *known, size_t len)
{
  lu_array a = {.at = got, .count = len, .bytes = k->evidence->got.bytes}, b = a;
  lu_diff d;
  b.at = known;
  if (!memcmp(got, known, len * a.bytes))
    return 0;
  lu_diff_words(lu_kernels_best(), &a, &b, &d);
  for (unsigned bit = 0; bit < k->evidence->network->data_bits; bit++)
    k->wrong += d.set[bit] + d.cleared[bit];
  k->columns |= d.mask & k->all;
  return d.mask & k->all ? (uint32_t)d.differ : 0;
}

static lu_status sample_all(lu_joint *j, lu_look *k, lu_err *err)
{
  const lu_evidence *e = k->evidence;
  size_t stretches = (e->got.count + STRETCH - 1) / STRETCH;
  uint32_t *bad_in = LU_NEW(j->mem, uint32_t, stretches + 1);
  if (!bad_in)
    return lu_fail(err, LU_ERR_NOMEM, 0, 0, "no room");
  bool any = false;
  for (size_t s = 0; s < stretches; s++) {
    size_t from = s * STRETCH, len = e->got.count - from < STRETCH ? e->got.count - from : STRETCH;
    const char *a = (const char *)e->got.at + from * e->got.bytes, *b = (const char *)e->known.at + from * e->got.bytes;
    if (!e->got.held && !e->known.held && !e->steady) {
      bad_in[s] = count_plain(k, a, b, len);
      any |= bad_in[s] > 0;
      continue;
    }
    for (size_t i = from; i < from + len; i++) {
      uint64_t w = wrong_bits(k, i);
      if (!w)
        continue;
      k->wrong += (uint64_t)__builtin_popcountll(w);
      k->columns |= w;
      bad_in[s]++;
    }
    any |= bad_in[s] > 0;
  }
  if (any)
    take_bad(k, bad_in, stretches);
  take_good(k);
  return LU_OK;
}

lu_status lu_joint_new(const lu_evidence *readings, size_t count, const lu_priors *priors, double noise,
                       lu_arena *mem, lu_joint **out, lu_err *err)
{
  lu_joint *j = LU_NEW(mem, lu_joint, 1);
  if (count > LU_READINGS_MOST)
    return lu_fail(err, LU_ERR_LIMIT, 0, 0, "%zu readings; at most %d are taken together", count, LU_READINGS_MOST);
  if (!j || !(j->looks = LU_NEW(mem, lu_look, count)))
    return lu_fail(err, LU_ERR_NOMEM, 0, 0, "no room");
  j->look_count = count;
  j->board = readings[0].network->board;
  j->priors = priors;
  j->mem = mem;
  j->wrong_cost = -log(noise > 1e-9 ? noise : 1e-9);
  for (size_t r = 0; r < count; r++) {
    lu_look *k = &j->looks[r];
    k->evidence = &readings[r];
    unsigned w = readings[r].network->data_bits;
    k->all = w >= 64 ? ~(uint64_t)0 : ((uint64_t)1 << w) - 1;
    k->sim = lu_sim_new(readings[r].network, readings[r].know != LU_KNOW_CONTENTS, mem);
    k->view = lu_view_new(mem);
    if (!k->sim || !k->view)
      return lu_fail(err, LU_ERR_NOMEM, 0, 0, "no room");
    lu_status s = sample_all(j, k, err);
    if (s)
      return s;
  }
  if (!make_union(j))
    return lu_fail(err, LU_ERR_NOMEM, 0, 0, "no room");
  find_lanes(j);
  for (size_t r = 0; r < count; r++) {
    double width = __builtin_popcountll(j->looks[r].all);
    j->noise_most += (double)readings[r].got.held_count * width;
    j->sample_noise += j->looks[r].sample_count * width;
  }
  j->noise_most = lu_noise_most(j->noise_most * noise);
  j->sample_noise = lu_noise_most(j->sample_noise * noise);
  *out = j;
  return LU_OK;
}

/* --- faults --------------------------------------------------------------------------------------- */

bool lu_joint_local(const lu_joint *j, size_t r, const lu_fault *f, lu_fault *out)
{
  *out = *f;
  if (f->kind >= LU_FAULT_DEAD) {
    out->part = j->parts[f->part].local[r];
    return out->part != UINT16_MAX;
  }
  out->net = j->nets[f->net].local[r];
  if (out->net == UINT16_MAX)
    return false;
  if (lu_fault_two_nets(f->kind)) {
    out->net2 = j->nets[f->net2].local[r];
    if (out->net2 == UINT16_MAX)
      return false;
  }
  if (f->kind == LU_FAULT_SWAP) {
    out->part = j->parts[f->part].local[r];
    return out->part != UINT16_MAX;
  }
  return true;
}

lu_bridge_kind lu_joint_bridge(const lu_joint *j, const lu_fault *f, lu_fault *like)
{
  lu_bridge_kind all = LU_BRIDGE_NOTHING;
  for (size_t r = 0; r < j->look_count; r++) {
    lu_fault local;
    uint16_t net;
    bool high;
    if (!lu_joint_local(j, r, f, &local)) {
      if (j->nets[f->net].local[r] != UINT16_MAX || j->nets[f->net2].local[r] != UINT16_MAX)
        return LU_BRIDGE_OTHER;
      continue;
    }
    lu_bridge_kind k = lu_sim_bridge(j->looks[r].sim, &local, &net, &high);
    if (k == LU_BRIDGE_LOOP)
      return LU_BRIDGE_LOOP;
    if (k == LU_BRIDGE_OTHER || (r && k != all))
      return LU_BRIDGE_OTHER;
    if (k == LU_BRIDGE_STUCK) {
      lu_fault x = {.kind = LU_FAULT_STUCK,
                    .level = high ? LU_LEVEL_HIGH : LU_LEVEL_LOW,
                    .net = net == local.net ? f->net : f->net2};
      if (r && (x.net != like->net || x.level != like->level))
        return LU_BRIDGE_OTHER;
      *like = x;
    }
    all = k;
  }
  return all;
}

uint64_t lu_joint_lanes(const lu_joint *j, const lu_fault *f)
{
  if (f->kind >= LU_FAULT_DEAD)
    return UINT64_MAX;
  uint64_t lanes = UINT64_C(1) << j->nets[f->net].lane % 64;
  return lu_fault_two_nets(f->kind) ? lanes | UINT64_C(1) << j->nets[f->net2].lane % 64 : lanes;
}

double lu_joint_prior(const lu_joint *j, const lu_fault *f)
{
  for (size_t r = 0; r < j->look_count; r++) {
    lu_fault local;
    if (lu_joint_local(j, r, f, &local))
      return lu_prior_log(j->looks[r].evidence->network, j->priors, &local);
  }
  return -30;
}

static uint64_t fault_hash(const lu_fault *f, size_t count)
{
  uint64_t h = count;
  for (size_t i = 0; i < count; i++) {
    h = shuffle(h ^ ((uint64_t)f[i].kind | (uint64_t)f[i].level << 8 | (uint64_t)f[i].acts << 16 | (uint64_t)f[i].lost << 24 |
                     (uint64_t)f[i].net << 32 | (uint64_t)f[i].net2 << 48));
    h = shuffle(h ^ f[i].cut) + f[i].part;
  }
  return h;
}

/* Plays through what no function can hold. */
static void replay(const lu_joint *j, lu_look *k, const lu_fault *faults, size_t count, lu_effect *e)
{
  if (!k->replay) {
    uint32_t order[LU_SAMPLES_MOST];
    for (unsigned i = 0; i < k->sample_count; i++)
      order[i] = k->sample[lu_look_sample(k, i)];
    k->replay = lu_replay_new(k->evidence, order, k->sample_count, j->mem);
  }
  if (!k->replay || !lu_replay_take(k->replay, faults, count, e))
    return;
  lu_view_replay(k->view, k->replay, faults, count);
  e->hash ^= fault_hash(faults, count);
}

unsigned lu_look_sample(const lu_look *k, unsigned at)
{
  unsigned good = k->sample_count - k->bad_count, each = k->bad_count < good ? k->bad_count : good;
  if (at < 2 * each)
    return at % 2 ? k->bad_count + at / 2 : at / 2;
  return k->bad_count > good ? at - good : at;
}

bool lu_joint_compile(const lu_joint *j, size_t r, const lu_fault *faults, size_t count, lu_level undriven,
                      uint64_t *hash, bool *wide, bool *floats)
{
  lu_look *k = &j->looks[r];
  lu_fault local[LU_FAULTS_MOST + 1];
  size_t n = 0;
  for (size_t i = 0; i < count; i++)
    n += lu_joint_local(j, r, &faults[i], &local[n]);
  *wide = *floats = false;
  *hash = 0;
  if (!n)
    return false;
  lu_effect e = lu_sim_run(k->sim, local, n);
  if (!e.count && !e.wide)
    return false;
  lu_view_compile(k->view, k->evidence->network, k->evidence->know, &e, local, n, undriven);
  if (k->view->wide && n <= j->replays)
    replay(j, k, local, n, &e);
  *hash = e.hash;
  *wide = k->view->wide;
  *floats = k->view->floats;
  /* where an open decides what an undriven bit reads, its level is part of the effect */
  uint64_t open = 0;
  for (unsigned c = 0; c < k->view->column_count; c++)
    open |= (uint64_t)1 << k->view->column[c].bit;
  open &= k->view->open_columns;
  if (k->view->replay)
    open = k->view->open_columns;
  if (k->view->floats)
    *hash ^= shuffle(open + 3 * (k->view->open_level[0] & open) + 5 * (k->view->open_level[1] & open) +
                     ((uint64_t)undriven << 60));
  return k->view->changed || k->view->wide;
}

double lu_noise_most(double expected)
{
  return expected > 0 ? expected + 5 * sqrt(expected) + 4 : 0;
}
