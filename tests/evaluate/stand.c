/* SPDX-License-Identifier: MIT */
#include "cli/session.h"
#include "stand.h"

#include "cli/faultwords.h"

#include "base/io.h"
#include "api/findings.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

/* Single faults are told apart by this many words, spread over the block: what two of them do differently, they do in
 * a 64th of the words at least. */
enum { LOOK_WORDS = 2048 };

uint64_t ev_random(uint64_t *state)
{
  uint64_t x = *state += 0x9e3779b97f4a7c15u;
  x = (x ^ x >> 30) * 0xbf58476d1ce4e5b9u;
  x = (x ^ x >> 27) * 0x94d049bb133111ebu;
  return x ^ x >> 31;
}

/* --- loading --------------------------------------------------------------------------------- */

static bool make_joint(ev_stand *t)
{
  lu_network *n;
  lu_status bad = lu_session_board(t->s, t->board);
  if (!bad)
    bad = lu_readings_network(t->s, t->block, NULL, 0, &n);
  if (bad)
    return false;
  t->e = (lu_evidence){.network = n, .know = t->how[0] == 'w' ? LU_KNOW_WRITTEN : LU_KNOW_CONTENTS};
  bad = lu_session_contents(t->s, t->contents, n, NULL, &t->e.known);
  if (bad)
    return false;
  t->e.got = t->e.known;
  t->dump = lu_arena_big(&t->mem, t->e.got.count * t->e.got.bytes + 8);
  if (!t->dump || lu_priors_of(n->board, &t->priors, &t->s->err))
    return false;
  return !lu_joint_new(&t->e, 1, &t->priors, 0, &t->mem, &t->j, &t->s->err);
}

bool ev_stand_open(ev_stand *t)
{
  t->run = (lu_run){.out = stdout, .err = stderr, .columns = 80, .mem = &t->mem, .program = "evaluate"};
  t->s = lu_session_new(&t->run);
  if (t->s && make_joint(t)) {
    t->e.got.at = t->dump;
    return true;
  }
  if (t->s)
    lu_say_error(&t->run, &t->s->err);
  return false;
}

void ev_stand_close(ev_stand *t)
{
  lu_session_end(t->s);
  lu_arena_free(&t->mem);
}

/* --- simulating ------------------------------------------------------------------------------- */

static uint64_t noise_word(uint64_t seed, uint64_t i)
{
  uint64_t state = seed * 0x100000001b3u + i;
  return ev_random(&state);
}

static uint64_t mix(uint64_t h, uint64_t x)
{
  h = (h ^ x) * 0xff51afd7ed558ccdu;
  return h ^ h >> 29;
}

/* One word; h takes it in, and the bits that nothing is known of. */
static bool one_word(ev_stand *t, size_t i, uint64_t seed, uint64_t *h)
{
  const lu_view *v = t->j->looks[0].view;
  uint64_t value = 0, unknown = 0, healthy = lu_word(&t->e.known, i);
  lu_view_word(v, &t->e, i, &value, &unknown);
  value = (value & v->changed) | (healthy & ~v->changed);
  unknown &= v->changed;
  value &= ~unknown;
  *h = mix(mix(*h, value), unknown);
  bool same = value == healthy && !unknown;
  value |= noise_word(seed, i) & unknown;
  memcpy(t->dump + i * t->e.got.bytes, &value, t->e.got.bytes);
  return same;
}

static uint64_t all_words(ev_stand *t, uint64_t seed)
{
  uint64_t h = 7;
  bool same = true;
  for (size_t i = 0; i < t->e.got.count; i++)
    same &= one_word(t, i, seed, &h);
  return same ? 0 : h | 2;
}

uint64_t ev_look(ev_stand *t, lu_level undriven)
{
  size_t n = t->e.got.count;
  if (n <= LOOK_WORDS)
    return all_words(t, 0);
  /* what a bus keeps hangs on the word before, so that all have to be there */
  if (t->j->looks[0].view->floats && (undriven == LU_LEVEL_KEEP || t->j->looks[0].view->open_level[1]))
    (void)all_words(t, 0);
  uint64_t h = 7, random = 99;
  bool same = true;
  for (size_t k = 0; k < LOOK_WORDS; k++)
    same &= one_word(t, ev_random(&random) % n, 0, &h);
  return same ? 0 : h | 2;
}

uint64_t ev_simulate(ev_stand *t, const lu_fault *faults, size_t count, lu_level undriven, uint64_t seed)
{
  uint64_t hash;
  bool wide, floats;
  bool changed = lu_joint_compile(t->j, 0, faults, count, undriven, &hash, &wide, &floats);
  if (wide)
    return 1;
  if (changed)
    return all_words(t, seed);
  memcpy(t->dump, t->e.known.at, t->e.got.count * t->e.got.bytes);
  return 0;
}

/* --- every single fault ------------------------------------------------------------------------- */

/* Effects whose dump is known already. */
typedef struct effects {
  size_t room, count, checked;
  uint64_t *key, *dump;
} effects;

static bool new_effects(effects *x, lu_arena *mem, size_t room)
{
  x->room = room;
  x->key = LU_NEW(mem, uint64_t, room);
  x->dump = LU_NEW(mem, uint64_t, room);
  return x->key && x->dump;
}

/* Faults of one effect give one dump, says the reasoning; every 16th time that is checked. */
static uint64_t dump_of(ev_stand *t, effects *x, const lu_fault *f, lu_level undriven, bool *floats)
{
  uint64_t hash;
  bool wide;
  if (!lu_joint_compile(t->j, 0, f, 1, undriven, &hash, &wide, floats))
    return wide ? 1 : 0;
  if (wide)
    return 1;
  hash |= 1;
  size_t at = hash & (x->room - 1);
  while (x->key[at] && x->key[at] != hash)
    at = (at + 1) & (x->room - 1);
  bool known = x->key[at];
  if (known && x->checked++ % 16)
    return x->dump[at];
  uint64_t dump = ev_look(t, undriven);
  if (known && dump != x->dump[at]) {
    fprintf(stderr, "evaluate: %s: two faults of one effect give two dumps: ", t->block);
    ev_print_fault(t, f, stderr);
    fputc('\n', stderr);
  }
  if (!known && 2 * ++x->count < x->room) {
    x->key[at] = hash;
    x->dump[at] = dump;
  }
  return dump;
}

static bool add(ev_stand *t, effects *x, ev_row row, const lu_fault *f)
{
  static const uint8_t levels[] = {LU_LEVEL_HIGH, LU_LEVEL_LOW, LU_LEVEL_KEEP, LU_LEVEL_ADDRESS};
  for (unsigned k = 0; k < 4; k++) {
    bool floats = false;
    uint64_t dump = dump_of(t, x, f, (lu_level)levels[k], &floats);
    ev_single *p = lu_arena_grow(&t->mem, t->singles, t->single_count, &t->single_room, sizeof *p);
    if (!p)
      return false;
    t->singles = p;
    p[t->single_count++] =
        (ev_single){.fault = *f, .row = (uint8_t)row, .undriven = levels[k], .dump = dump, .prior = lu_joint_prior(t->j, f)};
    if (!floats)
      break;
  }
  return true;
}

static bool add_open(ev_stand *t, effects *x, ev_row row, uint16_t net, uint64_t cut)
{
  lu_fault f = {.kind = LU_FAULT_OPEN, .net = net, .cut = cut};
  for (unsigned level = LU_LEVEL_LOW; level <= LU_LEVEL_KEEP; level++) {
    f.level = (uint8_t)level;
    /* what a floating address or control input keeps from the access before is not simulated */
    if (level == LU_LEVEL_KEEP && !(t->j->nets[net].carries & LU_CARRIES_DATA))
      continue;
    if (!add(t, x, row, &f))
      return false;
  }
  return true;
}

static bool add_net(ev_stand *t, effects *x, uint16_t net)
{
  const lu_jnet *n = &t->j->nets[net];
  uint64_t receivers = n->interest & ~n->drivers;
  lu_fault f = {.kind = LU_FAULT_STUCK, .net = net};
  for (unsigned level = LU_LEVEL_LOW; level <= LU_LEVEL_HIGH; level++) {
    f.level = (uint8_t)level;
    if (!add(t, x, EV_STUCK, &f))
      return false;
  }
  if (!(n->interest & (n->interest - 1)))
    return true;
  for (uint64_t m = n->interest; m; m &= m - 1)
    if (!add_open(t, x, EV_OPEN_PIN, net, m & -m))
      return false;
  if ((receivers & (receivers - 1)) && receivers != n->interest && !add_open(t, x, EV_OPEN_ALL, net, receivers))
    return false;
  /* a track from receiver to receiver that breaks between two of them */
  uint64_t cut = 0;
  for (uint64_t m = receivers; m; m &= m - 1) {
    uint64_t one = m & -m;
    if ((cut & (cut - 1)) && !add_open(t, x, EV_OPEN_SOME, net, cut))
      return false;
    cut |= one;
  }
  return true;
}

static bool add_parts(ev_stand *t, effects *x)
{
  for (size_t i = 0; i < t->j->part_count; i++) {
    const lu_jpart *p = &t->j->parts[i];
    lu_fault f = {.kind = LU_FAULT_DEAD, .part = (uint16_t)i};
    for (unsigned lost = LU_LOST_OUTPUTS; lost <= LU_LOST_ALL; lost++) {
      f.lost = (uint8_t)lost;
      bool sense = p->chip ? !p->rom || lost == LU_LOST_OUTPUTS : p->drives && lost == LU_LOST_OUTPUTS;
      if (sense && !add(t, x, EV_DEAD, &f))
        return false;
    }
  }
  return true;
}

static bool meets(const ev_stand *t, uint16_t net, uint32_t part)
{
  const lu_board *b = t->j->board;
  uint32_t bn = t->j->nets[net].net;
  for (uint32_t i = 0; bn != LU_NONE && i < b->nets[bn].pin_count; i++)
    if (b->pins[b->net_pins[b->nets[bn].first_pin + i]].part == part)
      return true;
  return false;
}

static bool add_pair(ev_stand *t, effects *x, uint16_t a, uint16_t b)
{
  lu_fault f = {.kind = LU_FAULT_BRIDGE, .net = a, .net2 = b};
  for (unsigned acts = LU_ACTS_AND; acts <= LU_ACTS_SECOND; acts++) {
    f.acts = (uint8_t)acts;
    if (!add(t, x, EV_BRIDGE, &f))
      return false;
  }
  f = (lu_fault){.kind = LU_FAULT_SWAP, .net = a, .net2 = b};
  for (uint16_t p = 0; p < t->j->part_count; p++) {
    f.part = p;
    if (meets(t, a, t->j->parts[p].part) && meets(t, b, t->j->parts[p].part) && !add(t, x, EV_SWAP, &f))
      return false;
  }
  return true;
}

static const ev_single *sorted;
static int by_dump(const void *a, const void *b)
{
  const size_t *x = a, *y = b;
  uint64_t p = sorted[*x].dump, q = sorted[*y].dump;
  return p != q ? (p > q) - (p < q) : (*x > *y) - (*x < *y);
}

static bool sort_singles(ev_stand *t)
{
  t->by_dump = LU_NEW(&t->mem, size_t, t->single_count + 1);
  if (!t->by_dump)
    return false;
  for (size_t i = 0; i < t->single_count; i++)
    t->by_dump[i] = i;
  sorted = t->singles;
  qsort(t->by_dump, t->single_count, sizeof *t->by_dump, by_dump);
  return true;
}

bool ev_singles(ev_stand *t)
{
  effects x = {0};
  clock_t start = clock();
  size_t nets = t->j->net_count;
  if (!new_effects(&x, &t->mem, (size_t)1 << 19))
    return false;
  for (uint16_t i = 0; i < nets; i++)
    if (!t->j->nets[i].constant && !add_net(t, &x, i))
      return false;
  if (!add_parts(t, &x))
    return false;
  for (uint16_t a = 0; a < nets; a++)
    for (uint16_t b = (uint16_t)(a + 1); b < nets; b++)
      if (!t->j->nets[a].constant && !t->j->nets[b].constant && !add_pair(t, &x, a, b))
        return false;
  t->simulate_seconds = (double)(clock() - start) / CLOCKS_PER_SEC;
  return sort_singles(t);
}

size_t ev_group(const ev_stand *t, uint64_t dump, size_t *parts)
{
  size_t nets = 0, low = 0, high = t->single_count;
  *parts = 0;
  while (low < high) {
    size_t middle = (low + high) / 2;
    if (t->singles[t->by_dump[middle]].dump < dump)
      low = middle + 1;
    else
      high = middle;
  }
  uint8_t *seen = calloc(t->j->net_count + t->j->part_count + 1, 1);
  for (; seen && low < t->single_count && t->singles[t->by_dump[low]].dump == dump; low++) {
    const lu_fault *f = &t->singles[t->by_dump[low]].fault;
    size_t at[2] = {f->kind == LU_FAULT_DEAD ? t->j->net_count + f->part : f->net, 0};
    unsigned n = 1;
    if (lu_fault_two_nets(f->kind))
      at[n++] = f->net2;
    for (unsigned i = 0; i < n; i++) {
      nets += !seen[at[i]] && at[i] < t->j->net_count;
      *parts += !seen[at[i]] && at[i] >= t->j->net_count;
      seen[at[i]] = 1;
    }
  }
  free(seen);
  return nets;
}

/* --- words and files ------------------------------------------------------------------------------ */

size_t ev_names(const ev_stand *t, const lu_fault *f, const char *names[2])
{
  lu_arena mem = {0};
  lu_said_fault s = lu_findings_fault(t->j, f, &mem);
  size_t n = 0;
  /* names of nets and parts belong to the board, not to mem */
  if (s.net)
    names[n++] = s.net;
  for (unsigned i = 0; i < 2 && s.nets[i]; i++)
    names[n++] = s.nets[i];
  if (!n)
    names[n++] = s.part;
  lu_arena_free(&mem);
  return n;
}

bool ev_parse(ev_stand *t, const char *const *words, size_t count, lu_fault *out)
{
  lu_texts list = {.count = count};
  memcpy(list.at, words, count * sizeof *words);
  return !lu_fault_words(t->s, &t->e, &list, out);
}

void ev_print_fault(const ev_stand *t, const lu_fault *f, FILE *out)
{
  lu_arena mem = {0};
  lu_said_fault s = lu_findings_fault(t->j, f, &mem);
  fprintf(out, "%s", s.kind);
  if (s.net)
    fprintf(out, " %s", s.net);
  for (unsigned i = 0; i < 2 && s.nets[i]; i++)
    fprintf(out, " %s", s.nets[i]);
  if (s.part)
    fprintf(out, " %s", s.part);
  for (size_t i = 0; i < s.cut_count; i++)
    fprintf(out, "%c%s", i ? ',' : ' ', s.cut_off[i]);
  if (s.level || s.acts || s.lost)
    fprintf(out, " %s", s.level ? s.level : s.acts ? s.acts : s.lost);
  lu_arena_free(&mem);
}

bool ev_write(const ev_stand *t, const char *path, double noise, uint64_t *state)
{
  const lu_vantage *v = &t->e.network->board->vantages[t->e.network->vantage];
  size_t bytes = lu_word_dump_bytes(v->data_bits), count = t->e.got.count;
  uint8_t *raw = malloc(count * bytes + 1);
  lu_err err = {0};
  if (!raw)
    return false;
  for (size_t i = 0; i < count; i++) {
    uint64_t word = lu_word(&t->e.got, i);
    for (unsigned b = 0; noise > 0 && b < v->data_bits; b++)
      word ^= (uint64_t)((double)(ev_random(state) >> 11) * 0x1p-53 < noise) << b;
    for (size_t b = 0; b < bytes; b++)
      raw[i * bytes + (v->big_endian ? bytes - 1 - b : b)] = (uint8_t)(word >> (8 * b));
  }
  bool ok = !lu_file_write(path, raw, count * bytes, &err);
  free(raw);
  return ok;
}
