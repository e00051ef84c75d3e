/* SPDX-License-Identifier: MIT */
#include "reason/symptoms.h"

#include "reason/symptoms_inner.h"

#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static const struct {
  const char *name, *summary;
} kinds[] = {
#define X(id, name, text) {name, text},
    LU_SYMPTOM_LIST(X)
#undef X
};

const char *lu_symptom_name(lu_symptom_id id)
{
  return kinds[id].name;
}

const char *lu_symptom_summary(lu_symptom_id id)
{
  return kinds[id].summary;
}

/* ---- putting symptoms down ---- */

bool lu_finder_add(lu_finder *f, lu_symptom s, const char *format, ...)
{
  char text[480];
  va_list args;
  va_start(args, format);
  vsnprintf(text, sizeof text, format, args);
  va_end(args);
  if (f->out->count == f->room) {
    lu_symptom *at =
        lu_arena_grow(f->mem, f->out->at, f->out->count, &f->room, sizeof *f->out->at);
    if (!at) {
      lu_fail(f->err, LU_ERR_NOMEM, 0, 0, "no room for another symptom");
      return false;
    }
    f->out->at = at;
  }
  s.kind = lu_symptom_name(s.id);
  s.text = lu_arena_text(f->mem, text, strlen(text));
  if (!s.text) {
    lu_fail(f->err, LU_ERR_NOMEM, 0, 0, "no room for another symptom");
    return false;
  }
  f->out->at[f->out->count++] = s;
  return true;
}

/* Runs of three or more as "D0 to D7", lists with "and" before the last. */
const char *lu_finder_bits(lu_finder *f, char letter, uint64_t bits)
{
  char text[400];
  size_t at = 0;
  text[0] = 0;
  for (unsigned b = 0; b < 64 && at < sizeof text - 32; b++) {
    unsigned last = b;
    if (!(bits >> b & 1))
      continue;
    while (last < 63 && bits >> (last + 1) & 1)
      last++;
    if (last < b + 2)
      last = b;
    uint64_t rest = last == 63 ? 0 : bits >> (last + 1);
    const char *join = at == 0 ? "" : rest ? ", " : " and ";
    at += last > b ? (size_t)snprintf(text + at, sizeof text - at, "%s%c%u to %c%u", join, letter,
                                      b, letter, last)
                   : (size_t)snprintf(text + at, sizeof text - at, "%s%c%u", join, letter, b);
    b = last;
  }
  const char *kept = lu_arena_text(f->mem, text, strlen(text));
  return kept ? kept : "?";
}

static int by_kind(const void *a, const void *b)
{
  const lu_symptom *x = a, *y = b;
  if (x->id != y->id)
    return x->id < y->id ? -1 : 1;
  if (x->addr_bits != y->addr_bits)
    return x->addr_bits < y->addr_bits ? -1 : 1;
  if (x->data_bits != y->data_bits)
    return x->data_bits < y->data_bits ? -1 : 1;
  if (x->first != y->first)
    return x->first < y->first ? -1 : 1;
  return x->data_other < y->data_other ? -1 : x->data_other > y->data_other;
}

/* ---- taking the readings in ---- */

static lu_status check_shapes(const lu_symptom_query *q, lu_err *err)
{
  const lu_words *w = &q->passes[0];
  for (size_t i = 0; i <= q->pass_count; i++) {
    const lu_words *x = i < q->pass_count ? &q->passes[i] : q->expected;
    if (x && (x->count != w->count || x->width != w->width || x->bytes != w->bytes ||
              x->base != w->base))
      return lu_fail(err, LU_ERR_VALUE, 0, 0,
                     "%s has %zu words of %u bits from 0x%llx, expected %zu of %u from 0x%llx",
                     i < q->pass_count ? "another pass" : "what is expected", x->count, x->width,
                     (unsigned long long)x->base, w->count, w->width,
                     (unsigned long long)w->base);
  }
  return LU_OK;
}

/* Index 0 must stand for a multiple of 2^lines, or index bits are not address bits: the front is
 * padded with words that were not read. */
static lu_status take_array(lu_finder *f, const lu_words *w, lu_array *out)
{
  const size_t pad = (size_t)(w->base - f->base);
  *out = (lu_array){w->at, w->count, w->bytes, w->held};
  if (!pad)
    return LU_OK;
  const size_t count = pad + w->count;
  unsigned char *at = lu_arena_big(f->mem, count * w->bytes);
  uint64_t *held = LU_NEW(f->mem, uint64_t, count / 64 + 1);
  if (!at || !held)
    return lu_fail(f->err, LU_ERR_NOMEM, 0, 0, "no room for %zu words", count);
  memset(at, 0, pad * w->bytes);
  memcpy(at + pad * w->bytes, w->at, w->count * w->bytes);
  for (size_t i = 0; i < w->count; i++)
    if (lu_word_held(w, i))
      held[(pad + i) / 64] |= (uint64_t)1 << (pad + i) % 64;
  *out = (lu_array){at, count, w->bytes, held};
  return LU_OK;
}

/* As few lines as cover first to last word from an aligned base; at most twice the words or so. */
static void take_base(lu_finder *f, const lu_words *w)
{
  unsigned lines = lu_index_lines(w->count);
  f->base = w->base >> lines << lines;
  if (w->base - f->base + w->count > (uint64_t)1 << lines)
    f->base = w->base >> (lines + 1) << (lines + 1), lines++;
  if (w->base - f->base > 3 * (uint64_t)w->count) { /* far off in an aligned block: not padded */
    lines = lu_index_lines(w->count);
    f->base = w->base;
  }
  f->lines = lines;
}

/* ---- unsteady bits ---- */

typedef struct unsteady {
  uint64_t words, bits, mask, addr_and, addr_or, first, last;
  uint64_t each[64];
} unsteady;

static void unsteady_count(const lu_finder *f, const lu_array *pass, size_t count, unsteady *u)
{
  *u = (unsteady){.addr_and = UINT64_MAX};
  for (size_t i = 0; i < f->o.count; i++) {
    uint64_t x = 0;
    if (!lu_array_held(&pass[0], i))
      continue;
    for (size_t p = 1; p < count; p++)
      x |= lu_finder_word(&pass[0], i) ^ lu_finder_word(&pass[p], i);
    if (!x)
      continue;
    uint64_t addr = f->base + i;
    u->first = u->words ? u->first : addr;
    u->last = addr;
    u->words++;
    u->bits += (unsigned)__builtin_popcountll(x);
    u->mask |= x;
    u->addr_and &= addr;
    u->addr_or |= addr;
    for (; x; x &= x - 1)
      u->each[__builtin_ctzll(x)]++;
  }
}

/* Bitwise majority over the passes; ties go to the first pass. */
static lu_status majority(lu_finder *f, const lu_array *pass, size_t count)
{
  unsigned char *at = lu_arena_big(f->mem, f->o.count * f->o.bytes + 8);
  if (!at)
    return lu_fail(f->err, LU_ERR_NOMEM, 0, 0, "no room for %zu words", f->o.count);
  for (size_t i = 0; i < f->o.count; i++) {
    uint64_t w = lu_finder_word(&pass[0], i), out = w, differ = 0;
    for (size_t p = 1; p < count; p++)
      differ |= w ^ lu_finder_word(&pass[p], i);
    for (; differ; differ &= differ - 1) {
      const unsigned b = (unsigned)__builtin_ctzll(differ);
      size_t same = 0;
      for (size_t p = 0; p < count; p++)
        same += (lu_finder_word(&pass[p], i) >> b & 1) == (w >> b & 1);
      if (2 * same < count)
        out ^= (uint64_t)1 << b;
    }
    switch (f->o.bytes) {
    case 1:
      at[i] = (uint8_t)out;
      break;
    case 2:
      ((uint16_t *)(void *)at)[i] = (uint16_t)out;
      break;
    case 4:
      ((uint32_t *)(void *)at)[i] = (uint32_t)out;
      break;
    default:
      ((uint64_t *)(void *)at)[i] = out;
      break;
    }
  }
  f->o.at = at;
  return LU_OK;
}

static lu_status find_unsteady(lu_finder *f, const lu_symptom_query *q)
{
  lu_array *pass = LU_NEW(f->mem, lu_array, q->pass_count);
  bool any = false;
  unsteady u;
  if (!pass)
    return lu_fail(f->err, LU_ERR_NOMEM, 0, 0, "no room for %zu passes", q->pass_count);
  pass[0] = f->o;
  for (size_t p = 1; p < q->pass_count; p++) {
    lu_status status = take_array(f, &q->passes[p], &pass[p]);
    if (status != LU_OK)
      return status;
    pass[p].held = pass[0].held;
    any |= !lu_words_equal(f->k, &pass[0], &pass[p]);
  }
  if (!any)
    return LU_OK;
  unsteady_count(f, pass, q->pass_count, &u);
  f->out->unsteady_words = u.words;
  f->out->unsteady_bits = u.bits;
  uint64_t span = f->lines ? ((uint64_t)1 << f->lines) - 1 : 0, fixed = span & ~(u.addr_and ^ u.addr_or);
  lu_symptom s = lu_finder_blank(LU_SYMPTOM_UNSTEADY_BITS);
  s.data_bits = u.mask;
  if (u.words >= 8) { /* a few words share address bits by chance */
    s.addr_bits = fixed;
    s.addr_value = fixed & u.addr_and;
  }
  s.first = u.first;
  s.last = u.last;
  s.count = u.words;
  s.strength = (double)u.bits / ((double)f->out->words * f->width);
  if (!lu_finder_add(f, s, "%s %s from pass to pass in %llu of %llu words (0x%llx to 0x%llx)%s%s%s",
                     lu_finder_bits(f, 'D', u.mask),
                     u.mask & (u.mask - 1) ? "differ" : "differs", (unsigned long long)u.words,
                     (unsigned long long)f->out->words, (unsigned long long)u.first,
                     (unsigned long long)u.last, s.addr_bits ? ", always with the same level of " : "",
                     s.addr_bits ? lu_finder_bits(f, 'A', s.addr_bits) : "", "."))
    return LU_ERR_NOMEM;
  return q->pass_count > 2 ? majority(f, pass, q->pass_count) : LU_OK;
}

/* ---- all alike, or the address ---- */

static bool reads_address(const lu_finder *f, uint64_t mask, unsigned lane)
{
  if (f->o.count < 16)
    return false;
  for (size_t i = 0; i < f->o.count; i++)
    if (lu_array_held(&f->o, i) &&
        ((lu_finder_word(&f->o, i) >> lane) & mask) != ((f->base + i) & mask))
      return false;
  return true;
}

/* The whole word, or each byte lane, follows the (low) address. */
static lu_status find_address_read(lu_finder *f, bool *found)
{
  uint64_t lanes = 0;
  const bool word = reads_address(f, f->all, 0);
  for (unsigned lane = 0; lane + 8 <= f->width; lane += 8)
    if (reads_address(f, 0xff, lane))
      lanes |= (uint64_t)0xff << lane;
  lu_symptom s = lu_finder_blank(LU_SYMPTOM_READS_ADDRESS);
  s.data_bits = word ? f->all : lanes;
  if (!s.data_bits || (f->known && !(f->d.mask & s.data_bits)))
    return LU_OK;
  if (!f->known && !word && f->width > 8 && lanes == 0xff && f->lines <= 8)
    return LU_OK;
  s.count = f->out->words;
  s.chance = f->known ? 0.0 : 0.04; /* prior: contents written as a test; nobody said so */
  *found = word || lanes == f->all;
  return lu_finder_add(f, s, "%s %s the low address at every location.",
                       lu_finder_bits(f, 'D', s.data_bits),
                       s.data_bits & (s.data_bits - 1) ? "read" : "reads")
             ? LU_OK
             : LU_ERR_NOMEM;
}

static uint64_t last_held(const lu_array *a)
{
  for (size_t i = a->count; i-- > 0;)
    if (lu_array_held(a, i))
      return lu_finder_word(a, i);
  return 0;
}

static lu_status find_constant(lu_finder *f, bool *found)
{
  const uint64_t value = f->fo.all_and & f->all;
  if (f->out->words < 2 || f->constant != f->all)
    return LU_OK;
  *found = f->out->blank = true;
  if (f->known && !f->d.differ)
    return LU_OK; /* as it should be */
  lu_symptom s = lu_finder_blank(LU_SYMPTOM_CONSTANT_READ_BACK);
  const char *what = "";
  s.data_bits = f->all;
  s.count = f->out->words;
  s.how = LU_HOW_VALUE;
  if (value == f->all)
    s.how = LU_HOW_ALL_ONES, s.level = 1, what = ", all ones as from a bus that nobody drives";
  else if (!value)
    s.how = LU_HOW_ALL_ZEROS, s.level = 0, what = ", all zeros";
  else if (f->written && value == last_held(&f->e))
    s.how = LU_HOW_LAST_WRITTEN, what = ", the value that was written last";
  s.chance = f->known ? 0.0 : s.how == LU_HOW_VALUE ? 0.2 : 0.5; /* prior: blank or cleared memory */
  f->claimed = f->all;
  return lu_finder_add(f, s, "Every location reads 0x%0*llx%s.", (int)(f->width + 3) / 4,
                       (unsigned long long)value, what)
             ? LU_OK
             : LU_ERR_NOMEM;
}

/* ---- all together ---- */

static lu_status measure(lu_finder *f)
{
  if (f->known)
    lu_fold_diff_words(f->k, &f->e, &f->o, &f->fe, &f->fo, &f->d);
  else
    lu_fold_words(f->k, &f->o, &f->fo);
  f->constant = ~(f->fo.all_and ^ f->fo.all_or) & f->all;
  if (!f->fo.words)
    f->constant = f->all;
  f->out->words = f->fo.words;
  if (!f->known)
    return LU_OK;
  f->out->wrong_words = f->d.differ;
  f->out->wrong_bits = f->d.mask;
  memcpy(f->out->set, f->d.set, sizeof f->out->set);
  memcpy(f->out->cleared, f->d.cleared, sizeof f->out->cleared);
  return LU_OK;
}

static lu_status find_all(lu_finder *f, const lu_symptom_query *q)
{
  bool done = false;
  lu_status status = measure(f);
  if (status == LU_OK && q->pass_count > 1) {
    status = find_unsteady(f, q);
    if (status == LU_OK && f->out->unsteady_words && q->pass_count > 2)
      status = measure(f);
  }
  if (status != LU_OK || !f->out->words)
    return status;
  status = find_constant(f, &done);
  if (status == LU_OK && !done)
    status = find_address_read(f, &done);
  if (status != LU_OK || done || (f->known && !f->d.differ))
    return status;
  status = lu_finder_texture(f);
  if (status == LU_OK)
    status = lu_finder_bits_find(f);
  if (status == LU_OK && f->known)
    status = lu_finder_walking(f);
  if (status == LU_OK)
    status = lu_finder_lines_find(f);
  return status == LU_OK ? lu_finder_areas(f) : status;
}

lu_status lu_symptoms_find(const lu_symptom_query *q, lu_arena *mem, lu_symptoms *out, lu_err *err)
{
  lu_symptoms found = {0};
  lu_finder f = {.k = lu_kernels_best(), .mem = mem, .err = err, .out = &found};
  lu_status status = check_shapes(q, err);
  if (status != LU_OK)
    return status;
  const lu_words *w = &q->passes[0];
  f.width = w->width;
  f.all = w->width == 64 ? UINT64_MAX : ((uint64_t)1 << w->width) - 1;
  f.known = q->expected != NULL;
  f.written = f.known && q->written;
  take_base(&f, w);
  status = take_array(&f, w, &f.o);
  if (status == LU_OK && f.known)
    status = take_array(&f, q->expected, &f.e);
  if (status == LU_OK)
    status = find_all(&f, q);
  if (status != LU_OK)
    return status;
  if (found.count)
    qsort(found.at, found.count, sizeof *found.at, by_kind);
  *out = found;
  return LU_OK;
}
