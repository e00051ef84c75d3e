/* SPDX-License-Identifier: MIT */
#include "api/readings.h"

#include "base/yaml.h"
#include "api/capturereading.h"
#include "api/doubt.h"
#include "api/logreading.h"
#include "api/misread.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

/* --- networks --------------------------------------------------------------------------------------- */

static lu_status chip_vantage(lu_session *s, const char *name, uint32_t *vantage)
{
  uint32_t part = lu_board_part(s->board, name + 5);
  if (part == LU_NONE) {
    const char *near = lu_board_nearest_part(s->board, name + 5);
    return lu_fail(&s->err, LU_ERR_MISSING, 0, 0, "vantage %s: no such part%s%s", name, near ? "; the nearest is " : "",
                   near ? near : "");
  }
  return lu_board_chip_vantage(s->board, part, s->mem, vantage, &s->err);
}

lu_status lu_readings_network(lu_session *s, const char *block, const char *vantage, uint64_t size_hint,
                              lu_network **out)
{
  uint32_t b = LU_NONE, v = LU_NONE;
  lu_status bad = LU_OK;
  if (vantage && !strncmp(vantage, "chip:", 5)) {
    bad = chip_vantage(s, vantage, &v);
  } else {
    bad = lu_session_block(s, block, size_hint, &b);
    if (!bad)
      v = s->board->blocks[b].vantage;
    if (!bad && vantage && (v = lu_board_vantage(s->board, vantage)) == LU_NONE)
      bad = lu_fail(&s->err, LU_ERR_MISSING, 0, 0, "the board file has no vantage '%s'", vantage);
  }
  return bad ? bad : lu_network_build(s->board, b, v, s->mem, out, &s->err);
}

/* --- passes ------------------------------------------------------------------------------------------ */

/* Bitwise majority of the passes, the bits on which they agree, and how many do not. */
static lu_status merge_passes(lu_session *s, lu_reading *r)
{
  const lu_words *p = r->passes;
  r->evidence.got = p[0];
  r->evidence.passes = NULL;
  r->unsteady_bits = 0;
  if (r->pass_count < 2)
    return LU_OK;
  size_t n = p[0].count;
  uint64_t *steady = LU_NEW(s->mem, uint64_t, n + 1);
  char *at = lu_arena_big(s->mem, n * p[0].bytes);
  if (!steady || !at)
    return lu_fail(&s->err, LU_ERR_NOMEM, 0, 0, "no room for the passes");
  for (size_t i = 0; i < n; i++) {
    uint64_t all = ~(uint64_t)0, any = 0, word = 0;
    for (size_t k = 0; k < r->pass_count; k++) {
      all &= lu_word(&p[k], i);
      any |= lu_word(&p[k], i);
    }
    uint64_t differ = all ^ any;
    word = all;
    for (uint64_t m = differ; m; m &= m - 1) {
      unsigned b = (unsigned)__builtin_ctzll(m), ones = 0;
      for (size_t k = 0; k < r->pass_count; k++)
        ones += lu_word(&p[k], i) >> b & 1;
      word |= (uint64_t)(2 * ones > r->pass_count) << b;
    }
    steady[i] = ~differ;
    r->unsteady_bits += (uint64_t)__builtin_popcountll(differ);
    memcpy(at + i * p[0].bytes, &word, p[0].bytes);
  }
  r->evidence.got.at = at;
  if (!r->unsteady_bits)
    return LU_OK;
  r->evidence.steady = steady;
  r->evidence.passes = p;
  r->evidence.pass_count = r->pass_count;
  double rate = (double)r->unsteady_bits / ((double)n * r->evidence.network->data_bits * (double)r->pass_count);
  r->noise = fmin(0.2, pow(rate, (double)r->pass_count) + 1e-9);
  return LU_OK;
}

static lu_status read_passes(lu_session *s, const lu_texts *dumps, const lu_block_shape *shape, uint64_t at,
                             lu_reading *r)
{
  r->passes = LU_NEW(s->mem, lu_words, dumps->count + 1);
  if (!r->passes)
    return lu_fail(&s->err, LU_ERR_NOMEM, 0, 0, "no room");
  for (size_t i = 0; i < dumps->count; i++) {
    lu_status bad = lu_session_words(s, dumps->at[i], shape, at, &r->passes[i]);
    if (bad)
      return bad;
    r->pass_count++;
    if (r->passes[i].count != r->passes[0].count)
      return lu_fail_source(&s->err,
                            lu_fail(&s->err, LU_ERR_VALUE, 0, 0,
                                    "passes of one reading must be equally long: this one has %zu words, the first %zu",
                                    r->passes[i].count, r->passes[0].count),
                            dumps->at[i]);
  }
  return LU_OK;
}

/* --- chips read one by one ------------------------------------------------------------------------------ */

/* "U3=file": a chip out of circuit. */
static const char *chip_operand(const lu_session *s, const char *text, char *ref, size_t len)
{
  const char *eq = strchr(text, '=');
  if (!s->board || !eq || (size_t)(eq - text) >= len)
    return NULL;
  memcpy(ref, text, (size_t)(eq - text));
  ref[eq - text] = '\0';
  return lu_board_part(s->board, ref) == LU_NONE ? NULL : eq + 1;
}

static bool fn_bit(const lu_fn *f, uint64_t address)
{
  unsigned index = 0;
  for (unsigned k = 0; k < f->count; k++)
    index |= (unsigned)(address >> f->var[k] & 1) << k;
  return lu_fn_at(f, index);
}

/* Word of the chip that a block address is served from, as a reader of the chip counts: columns
 * first, then rows. */
static uint64_t chip_word(const lu_chip *c, uint64_t address)
{
  uint64_t w = 0;
  unsigned columns = c->multiplexed ? (unsigned)c->cell_bits - c->row_bits : 0;
  for (unsigned b = 0; b < c->cell_bits; b++) {
    unsigned to = !c->multiplexed ? b : b < c->row_bits ? b + columns : b - c->row_bits;
    w |= (uint64_t)fn_bit(&c->cell[b], address) << to;
  }
  return w;
}

/* Puts a chip's own words where the block's vantage would see them on a healthy board. */
static void place_chip(const lu_network *n, const lu_chip *c, const lu_words *from, lu_words *to, uint64_t *given)
{
  for (size_t i = 0; i < to->count; i++) {
    uint64_t address = lu_address_of(n, i), value = lu_word(to, i);
    if (!fn_bit(&c->serves, address))
      continue;
    uint64_t w = chip_word(c, address);
    if (w >= from->count || !lu_word_held(from, w))
      continue;
    uint64_t x = lu_word(from, w);
    for (unsigned d = 0; d < c->out_count; d++) {
      if (c->column[d] == UINT16_MAX)
        continue;
      uint64_t bit = (uint64_t)1 << c->column[d];
      value = (value & ~bit) | ((x >> d & 1) ^ c->column_inverted[d] ? bit : 0);
      given[i] |= bit;
    }
    memcpy((char *)(uintptr_t)to->at + i * to->bytes, &value, to->bytes);
  }
}

static lu_status read_chips(lu_session *s, const lu_texts *dumps, lu_reading *r)
{
  const lu_network *n = r->evidence.network;
  unsigned bytes = n->board->vantages[n->vantage].bytes;
  size_t words = (size_t)n->words;
  char *at = lu_arena_big(s->mem, words * bytes);
  uint64_t *given = LU_NEW(s->mem, uint64_t, words), *held = LU_NEW(s->mem, uint64_t, words / 64 + 1);
  r->passes = LU_NEW(s->mem, lu_words, 1);
  if (!at || !given || !held || !r->passes)
    return lu_fail(&s->err, LU_ERR_NOMEM, 0, 0, "no room");
  r->pass_count = 1;
  r->passes[0] = (lu_words){.base = n->base_word, .count = words, .width = n->data_bits, .bytes = bytes, .at = at, .held = held};
  for (size_t i = 0; i < dumps->count; i++) {
    char ref[64];
    const char *path = chip_operand(s, dumps->at[i], ref, sizeof ref);
    if (!path)
      return lu_fail(&s->err, LU_ERR_USAGE, 0, 0, "'%s': expected CHIP=FILE like the other dumps", dumps->at[i]);
    uint32_t part = lu_board_part(s->board, ref);
    const lu_chip *c = NULL;
    for (size_t k = 0; k < n->chip_count; k++)
      if (n->chips[k].part == part)
        c = &n->chips[k];
    if (!c)
      return lu_fail(&s->err, LU_ERR_VALUE, 0, 0, "%s is no chip of block '%s'", ref, r->name);
    lu_block_shape shape = {.size = ((uint64_t)1 << c->cell_bits) * (c->out_count > 8 ? 2 : 1), .width = c->out_count, .order = LU_ORDER_LITTLE};
    lu_words w;
    lu_status bad = lu_session_words(s, path, &shape, UINT64_MAX, &w);
    if (bad)
      return bad;
    place_chip(n, c, &w, &r->passes[0], given);
  }
  uint64_t all = n->data_bits >= 64 ? ~(uint64_t)0 : ((uint64_t)1 << n->data_bits) - 1;
  for (size_t i = 0; i < words; i++)
    if (given[i]) {
      held[i / 64] |= (uint64_t)1 << (i % 64);
      r->passes[0].held_count++;
      given[i] |= ~all;
    }
  r->evidence.steady = given; /* bits of chips that were not read are not judged */
  return LU_OK;
}

/* --- one reading -------------------------------------------------------------------------------------------- */

static lu_status address_option(lu_session *s, const char *text, uint64_t *at)
{
  *at = UINT64_MAX;
  if (text && !lu_text_size(text, strlen(text), UINT64_MAX - 1, at) &&
      !lu_text_u64(text, strlen(text), 16, UINT64_MAX - 1, at))
    return lu_fail(&s->err, LU_ERR_USAGE, 0, 0, "--at expects a byte address, found '%s'", text);
  return LU_OK;
}

/* Without a board: one memory as large as the dump. */
static lu_status plain_network(lu_session *s, const lu_reading_args *a, const lu_texts *dumps, lu_network **out)
{
  unsigned width = a->width ? (unsigned)a->width : 8, bits = 0;
  bool big = a->order && !strcmp(a->order, "big");
  if (a->order && !big && strcmp(a->order, "little"))
    return lu_fail(&s->err, LU_ERR_USAGE, 0, 0, "--byte-order expects big or little, found '%s'", a->order);
  lu_block_shape shape = {.width = width, .order = big ? LU_ORDER_BIG : LU_ORDER_LITTLE};
  lu_words w;
  lu_status bad = lu_session_words(s, dumps->at[0], &shape, UINT64_MAX, &w);
  if (bad)
    return bad;
  while (bits < 40 && (uint64_t)1 << bits < w.count)
    bits++;
  bad = lu_board_plain(bits ? bits : 1, width, s->mem, &s->board, &s->err);
  if (bad)
    return bad;
  lu_block *b = &s->board->blocks[0];
  lu_vantage *v = &s->board->vantages[0];
  b->base = w.base * v->bytes;
  b->size = (uint64_t)w.count * v->bytes;
  v->big_endian = big;
  if (b->base & (((uint64_t)1 << bits) * v->bytes - 1))
    b->base = 0; /* not aligned: addresses are counted from the start of what was read */
  return lu_network_build(s->board, 0, 0, s->mem, out, &s->err);
}

static uint64_t size_of(lu_session *s, const lu_texts *dumps)
{
  lu_bytes in;
  if (!dumps->count || lu_session_file(s, dumps->at[0], &in))
    return 0;
  return in.len;
}

static lu_status add_contents(lu_session *s, const char *expect, const char *wrote, lu_reading *r)
{
  const char *what = expect ? expect : wrote;
  r->filled = expect ? NULL : wrote;
  r->evidence.know = expect ? LU_KNOW_CONTENTS : wrote ? LU_KNOW_WRITTEN : LU_KNOW_NOTHING;
  return what ? lu_session_contents(s, what, r->evidence.network, &r->evidence.got, &r->evidence.known) : LU_OK;
}

/* A dump that was read the wrong way round is no fault of the board. */
static lu_status mend_misread(lu_session *s, lu_reading *r)
{
  bool turned;
  lu_status bad = lu_misread_mend(s, r, &turned);
  return bad || !turned ? bad : merge_passes(s, r);
}

static lu_status one_reading(lu_session *s, const lu_reading_args *a, const lu_texts *dumps, lu_network *n, lu_reading *r)
{
  uint64_t at;
  char ref[64];
  r->evidence.network = n;
  r->name = n->block == LU_NONE ? n->board->vantages[n->vantage].name : n->board->blocks[n->block].name;
  lu_status bad = address_option(s, a->at, &at);
  lu_block_shape shape = lu_session_shape(n);
  if (!bad && lu_capturereading_is(s, dumps->at[0]))
    return dumps->count == 1 ? lu_capturereading(s, a, dumps->at[0], r)
                             : lu_fail(&s->err, LU_ERR_USAGE, 0, 0, "a capture is a reading of its own: list each in a run file");
  if (!bad && chip_operand(s, dumps->at[0], ref, sizeof ref)) {
    bad = read_chips(s, dumps, r);
    r->evidence.got = r->passes ? r->passes[0] : (lu_words){0};
    return bad ? bad : add_contents(s, a->expect, a->wrote, r);
  }
  if (!bad)
    bad = read_passes(s, dumps, &shape, at, r);
  if (!bad)
    bad = merge_passes(s, r);
  if (!bad)
    bad = add_contents(s, a->expect, a->wrote, r);
  if (!bad)
    bad = mend_misread(s, r);
  return bad ? bad : lu_doubt_flicker(s, r);
}

lu_status lu_readings_of_args(lu_session *s, const lu_reading_args *a, const lu_texts *dumps, lu_reading **out)
{
  lu_reading *r = LU_NEW(s->mem, lu_reading, 1);
  lu_network *n = NULL;
  if (!r)
    return lu_fail(&s->err, LU_ERR_NOMEM, 0, 0, "no room");
  *out = r;
  if (a->log)
    return lu_logreading(s, a, r);
  if (!s->board && lu_capturereading_is(s, dumps->at[0]))
    return lu_fail_source(&s->err, lu_fail(&s->err, LU_ERR_USAGE, 0, 0, "a capture needs --board, which says where the bus is"), dumps->at[0]);
  lu_status bad = s->board ? lu_readings_network(s, a->block, a->vantage, a->block ? 0 : size_of(s, dumps), &n)
                           : plain_network(s, a, dumps, &n);
  if (!bad && s->err.status)
    s->err = (lu_err){0};
  if (!bad)
    bad = one_reading(s, a, dumps, n, r);
  return bad;
}

/* --- run files ------------------------------------------------------------------------------------------------ */

typedef struct run_item {
  lu_spot block, vantage, wrote, expect, at, log, pattern, signals;
  lu_spots dumps;
} run_item;

typedef struct run_file {
  size_t count;
  run_item *items;
} run_file;

static lu_status run_items(lu_yaml *r, const lu_yaml_node *v, const char *k, void *to)
{
  static const lu_yaml_key keys[] = {
      {"block", lu_yaml_key_spot, offsetof(run_item, block)},
      {"vantage", lu_yaml_key_spot, offsetof(run_item, vantage)},
      {"wrote", lu_yaml_key_spot, offsetof(run_item, wrote)},
      {"expect", lu_yaml_key_spot, offsetof(run_item, expect)},
      {"at", lu_yaml_key_spot, offsetof(run_item, at)},
      {"log", lu_yaml_key_spot, offsetof(run_item, log)},
      {"pattern", lu_yaml_key_spot, offsetof(run_item, pattern)},
      {"signals", lu_yaml_key_spot, offsetof(run_item, signals)},
      {"dump", lu_yaml_key_spots, offsetof(run_item, dumps)},
      {0},
  };
  run_file *f = to;
  void *items = NULL;
  lu_status s = lu_yaml_items(r, v, k, keys, sizeof *f->items, &items, &f->count);
  f->items = items;
  for (size_t i = 0; !s && i < f->count; i++) {
    const run_item *x = &f->items[i];
    const lu_yaml_node *n = lu_yaml_at(r, v->data.sequence.items.start[i]);
    if (!x->dumps.count == !x->log.text)
      return lu_yaml_bad(r, n, LU_ERR_SYNTAX, x->log.text ? "runs: expected either dump or log, found both" : "runs: expected a dump or a log");
    if (!x->block.text && !x->vantage.text)
      return lu_yaml_bad(r, n, LU_ERR_SYNTAX, "runs: expected a block or a vantage");
    if (x->pattern.text && !x->log.text)
      return lu_yaml_bad(r, n, LU_ERR_SYNTAX, "runs: pattern belongs to a log, found a dump");
    if (x->wrote.text && x->expect.text)
      return lu_yaml_bad(r, n, LU_ERR_SYNTAX, "runs: expected either wrote or expect, found both");
  }
  return s;
}

static lu_status run_root(lu_yaml *r, const lu_yaml_node *root, const char *what, void *to)
{
  static const lu_yaml_key keys[] = {{"runs", run_items, 0}, {0}};
  return lu_yaml_keys(r, root, what, keys, to);
}

/* Paths in a run file are meant from where it stands; a pattern's name is not a path. */
static const char *beside(lu_session *s, const char *file, const char *path)
{
  const char *slash = strrchr(file, '/');
  if (!path || path[0] == '/' || !slash)
    return path;
  const char *full = lu_arena_printf(s->mem, "%.*s/%s", (int)(slash - file), file, path);
  return full && lu_session_has(s, full) ? full : path;
}

static lu_status run_reading(lu_session *s, const char *path, const run_item *x, lu_reading *r)
{
  lu_texts *dumps = LU_NEW(s->mem, lu_texts, 1);
  if (!dumps)
    return lu_fail(&s->err, LU_ERR_NOMEM, 0, 0, "no room");
  for (size_t i = 0; i < x->dumps.count && i < LU_TEXTS_MOST; i++)
    dumps->at[dumps->count++] = beside(s, path, x->dumps.at[i].text);
  lu_reading_args a = {.block = x->block.text,
                       .vantage = x->vantage.text,
                       .at = x->at.text,
                       .expect = beside(s, path, x->expect.text),
                       .wrote = beside(s, path, x->wrote.text),
                       .log = beside(s, path, x->log.text),
                       .pattern = x->pattern.text,
                       .signals = beside(s, path, x->signals.text)};
  lu_network *n;
  if (a.log)
    return lu_logreading(s, &a, r);
  lu_status bad = lu_readings_network(s, a.block, a.vantage, 0, &n);
  return bad ? bad : one_reading(s, &a, dumps, n, r);
}

/* Two steady readings of one block with the same contents that differ are not one fault state. */
static lu_status check_agreement(lu_session *s, const char *path, const lu_reading *r, size_t count)
{
  for (size_t a = 0; a < count; a++)
    for (size_t b = a + 1; b < count; b++) {
      const lu_evidence *x = &r[a].evidence, *y = &r[b].evidence;
      if (r[a].march || r[b].march || x->network->block != y->network->block || x->network->vantage != y->network->vantage || x->know != y->know ||
          x->steady || y->steady || x->got.count != y->got.count || x->know == LU_KNOW_NOTHING)
        continue;
      size_t n = x->got.count, differ = 0, first = 0;
      bool same_known = true;
      for (size_t i = 0; i < n && same_known; i++)
        same_known = lu_word(&x->known, i) == lu_word(&y->known, i);
      for (size_t i = 0; same_known && i < n; i++)
        if (lu_word_held(&x->got, i) && lu_word_held(&y->got, i) && lu_word(&x->got, i) != lu_word(&y->got, i) && !differ++)
          first = i;
      if (differ) {
        unsigned bytes = x->network->board->vantages[x->network->vantage].bytes;
        lu_status bad = lu_fail(&s->err, LU_ERR_VALUE, 0, 0,
                                "not one fault state: readings %zu and %zu of '%s' have the same contents, but differ in "
                                "%zu words, first at 0x%llx",
                                a + 1, b + 1, r[a].name, differ, (unsigned long long)((x->network->base_word + first) * bytes));
        return lu_fail_source(&s->err, bad, path);
      }
    }
  return LU_OK;
}

lu_status lu_readings_of_run(lu_session *s, const char *path, lu_reading **out, size_t *count)
{
  lu_bytes in;
  run_file f = {0};
  lu_status bad = lu_session_file(s, path, &in);
  if (!bad)
    bad = lu_yaml_read(in, path, "run file", run_root, &f, s->mem, &s->err);
  if (!bad && !f.count)
    bad = lu_fail_source(&s->err, lu_fail(&s->err, LU_ERR_SYNTAX, 1, 1, "expected runs, found none"), path);
  if (bad)
    return bad;
  lu_reading *r = LU_NEW(s->mem, lu_reading, f.count);
  if (!r)
    return lu_fail(&s->err, LU_ERR_NOMEM, 0, 0, "no room");
  for (size_t i = 0; !bad && i < f.count; i++)
    bad = run_reading(s, path, &f.items[i], &r[i]);
  if (!bad)
    bad = check_agreement(s, path, r, f.count);
  *out = r;
  *count = f.count;
  return bad;
}
