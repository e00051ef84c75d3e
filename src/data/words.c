/* SPDX-License-Identifier: MIT */
#include "data/words.h"

#include <inttypes.h>
#include <string.h>

#define SIZE_MOST ((uint64_t)4 << 30)

typedef struct extent {
  uint64_t base, size; /* bytes */
} extent;

static lu_status no_room(lu_err *err)
{
  return lu_fail(err, LU_ERR_NOMEM, 0, 0, "no room for the dump's words");
}

unsigned lu_word_dump_bytes(unsigned width)
{
  return (width + 7) / 8;
}

unsigned lu_word_held_bytes(unsigned width)
{
  return width <= 8 ? 1 : width <= 16 ? 2 : width <= 32 ? 4 : 8;
}

static bool host_is_little(void)
{
  const uint16_t one = 1;
  uint8_t first;
  memcpy(&first, &one, 1);
  return first == 1;
}

static uint64_t width_mask(unsigned width)
{
  return width >= 64 ? UINT64_MAX : ((uint64_t)1 << width) - 1;
}

/* ---- bytes to words ---- */

typedef struct turn {
  unsigned take; /* bytes a word in the dump */
  unsigned give; /* bytes a word in the result */
  bool swap;     /* take == give and the order is not the host's */
  bool big;
  uint64_t mask;
} turn;

#define TURN_SWAPPED(bits)                                                                         \
  static void turn_##bits(const uint8_t *from, size_t n, void *to, const turn *t)                  \
  {                                                                                                \
    uint##bits##_t *out = to, mask = (uint##bits##_t)t->mask;                                      \
    if (t->swap)                                                                                   \
      for (size_t i = 0; i < n; i++) {                                                             \
        uint##bits##_t v;                                                                          \
        memcpy(&v, from + i * sizeof v, sizeof v);                                                 \
        out[i] = __builtin_bswap##bits(v) & mask;                                                  \
      }                                                                                            \
    else                                                                                           \
      for (size_t i = 0; i < n; i++) {                                                             \
        uint##bits##_t v;                                                                          \
        memcpy(&v, from + i * sizeof v, sizeof v);                                                 \
        out[i] = v & mask;                                                                         \
      }                                                                                            \
  }
TURN_SWAPPED(16)
TURN_SWAPPED(32)
TURN_SWAPPED(64)

static void store(void *to, unsigned bytes, size_t i, uint64_t v)
{
  switch (bytes) {
  case 1:
    ((uint8_t *)to)[i] = (uint8_t)v;
    break;
  case 2:
    ((uint16_t *)to)[i] = (uint16_t)v;
    break;
  case 4:
    ((uint32_t *)to)[i] = (uint32_t)v;
    break;
  default:
    ((uint64_t *)to)[i] = v;
  }
}

/* Words of 3, 5, 6 or 7 bytes. */
static void turn_odd(const uint8_t *from, size_t n, void *to, const turn *t)
{
  for (size_t i = 0; i < n; i++, from += t->take) {
    uint64_t v = 0;
    for (unsigned k = 0; k < t->take; k++)
      v = v << 8 | from[t->big ? k : t->take - 1 - k];
    store(to, t->give, i, v & t->mask);
  }
}

static void turn_words(const uint8_t *from, size_t n, void *to, const turn *t)
{
  if (t->take != t->give) {
    turn_odd(from, n, to, t);
    return;
  }
  switch (t->give) {
  case 1: {
    uint8_t *out = to, mask = (uint8_t)t->mask;
    for (size_t i = 0; i < n; i++)
      out[i] = from[i] & mask;
    break;
  }
  case 2:
    turn_16(from, n, to, t);
    break;
  case 4:
    turn_32(from, n, to, t);
    break;
  default:
    turn_64(from, n, to, t);
  }
}

/* ---- where the block lies ---- */

static lu_status raw_extent(const lu_dump *d, const lu_block_shape *shape, extent *x, lu_err *err)
{
  uint64_t len = d->spans[0].len;
  unsigned take = lu_word_dump_bytes(shape->width);
  if (shape->size && len != shape->size)
    return lu_fail(err, LU_ERR_VALUE, 0, 0,
                   "the dump is %s than the block: expected %" PRIu64 " bytes, found %" PRIu64,
                   len < shape->size ? "shorter" : "longer", shape->size, len);
  if (len % take)
    return lu_fail(err, LU_ERR_VALUE, 0, 0,
                   "expected a multiple of %u bytes (words of %u bits), found %" PRIu64 " bytes",
                   take, shape->width, len);
  *x = (extent){shape->base, len};
  return LU_OK;
}

static lu_status addressed_extent(const lu_dump *d, const lu_block_shape *shape, extent *x,
                                  lu_err *err)
{
  const lu_span *last = &d->spans[d->span_count - 1];
  uint64_t start = d->spans[0].base, end = last->base + last->len;
  unsigned take = lu_word_dump_bytes(shape->width);
  if (!shape->size) {
    uint64_t base = start - start % take, size = end - base;
    *x = (extent){base, size + (take - size % take) % take};
    return LU_OK;
  }
  if (start < shape->base || end - shape->base > shape->size)
    return lu_fail(
        err, LU_ERR_VALUE, 0, 0,
        "the dump reaches outside the block: expected addresses 0x%" PRIX64 " to 0x%" PRIX64
        " (%" PRIu64 " bytes), found 0x%" PRIX64 " to 0x%" PRIX64 " (%" PRIu64 " bytes)",
        shape->base, shape->base + shape->size - 1, shape->size, start, end - 1, end - start);
  *x = (extent){shape->base, shape->size};
  return LU_OK;
}

static lu_status find_extent(const lu_dump *d, const lu_block_shape *shape, extent *x, lu_err *err)
{
  if (shape->width < 1 || shape->width > LU_WIDTH_MOST)
    return lu_fail(err, LU_ERR_VALUE, 0, 0, "expected words of 1 to %d bits, found %u",
                   LU_WIDTH_MOST, shape->width);
  if (!d->span_count)
    return lu_fail(err, LU_ERR_VALUE, 0, 0, "expected a dump with at least one byte, found none");
  lu_status s =
      d->has_addresses ? addressed_extent(d, shape, x, err) : raw_extent(d, shape, x, err);
  if (s != LU_OK)
    return s;
  unsigned take = lu_word_dump_bytes(shape->width);
  if (x->base % take || x->size % take)
    return lu_fail(
        err, LU_ERR_VALUE, 0, 0,
        "expected a block at and of multiples of %u bytes (words of %u bits), found 0x%" PRIX64
        " and %" PRIu64,
        take, shape->width, x->base, x->size);
  if (x->size > SIZE_MOST)
    return lu_fail(err, LU_ERR_LIMIT, 0, 0,
                   "the block has %" PRIu64 " bytes, at most %" PRIu64 " are taken", x->size,
                   SIZE_MOST);
  return LU_OK;
}

/* ---- from a dump ---- */

static void set_run(uint64_t *bits, size_t from, size_t count)
{
  for (size_t i = from, end = from + count; i < end;) {
    if (i % 64 == 0 && end - i >= 64) {
      bits[i / 64] = UINT64_MAX;
      i += 64;
    } else {
      bits[i / 64] |= (uint64_t)1 << (i % 64);
      i++;
    }
  }
}

/* The dump's bytes serve as they are: one whole span, whole bytes, the host's order, aligned. */
static bool can_borrow(const lu_dump *d, const extent *x, const turn *t)
{
  const lu_span *s = &d->spans[0];
  return d->span_count == 1 && s->len == x->size && t->take == t->give && !t->swap &&
         t->mask == width_mask(8 * t->give) && (uintptr_t)s->at % t->give == 0;
}

/* Turns the whole words of each span; held (may be NULL) gets their bits. Returns their number. */
static size_t turn_spans(const lu_dump *d, const extent *x, const turn *t, uint8_t *to,
                         uint64_t *held)
{
  size_t n = 0;
  for (size_t i = 0; i < d->span_count; i++) {
    const lu_span *s = &d->spans[i];
    uint64_t from = d->has_addresses ? s->base - x->base : 0;
    uint64_t first = (from + t->take - 1) / t->take, end = (from + s->len) / t->take;
    if (end <= first)
      continue;
    size_t count = (size_t)(end - first);
    turn_words(s->at + (first * t->take - from), count, to + first * t->give, t);
    if (held)
      set_run(held, (size_t)first, count);
    n += count;
  }
  return n;
}

lu_status lu_words_from_dump(const lu_dump *dump, const lu_block_shape *shape, lu_arena *mem,
                             lu_words *out, lu_err *err)
{
  extent x = {0};
  lu_status s = find_extent(dump, shape, &x, err);
  if (s != LU_OK)
    return s;
  turn t = {.take = lu_word_dump_bytes(shape->width),
            .give = lu_word_held_bytes(shape->width),
            .big = shape->order == LU_ORDER_BIG,
            .mask = width_mask(shape->width)};
  t.swap = t.give > 1 && t.big == host_is_little();
  size_t count = (size_t)(x.size / t.take);
  lu_words w = {.base = x.base / t.take,
                .count = count,
                .width = shape->width,
                .bytes = t.give,
                .held_count = count};
  if (can_borrow(dump, &x, &t)) {
    w.at = dump->spans[0].at;
    *out = w;
    return LU_OK;
  }
  bool whole = dump->span_count == 1 && dump->spans[0].len == x.size;
  uint8_t *to = lu_arena_big(mem, count * t.give); /* fresh memory is zero */
  uint64_t *held = whole ? NULL : LU_NEW(mem, uint64_t, count / 64 + 1);
  if (!to || (!whole && !held))
    return no_room(err);
  w.held_count = turn_spans(dump, &x, &t, to, held);
  if (!w.held_count)
    return lu_fail(err, LU_ERR_VALUE, 0, 0,
                   "expected at least one whole word of %u bytes in the dump, found none", t.take);
  w.at = to;
  w.held = w.held_count == count ? NULL : held;
  *out = w;
  return LU_OK;
}

/* ---- several chips ---- */

static unsigned lane_bit(const lu_lane *l, unsigned i)
{
  return l->bits ? l->bits[i] : l->first_bit + i;
}

static lu_status check_lane(const lu_lane *lanes, size_t k, unsigned width, uint64_t *seen,
                            lu_err *err)
{
  const lu_words *w = lanes[k].words, *first = lanes[0].words;
  if (w->count != first->count)
    return lu_fail(err, LU_ERR_VALUE, 0, 0,
                   "chip %zu of the block: expected %zu bytes as the first chip has, found %zu",
                   k + 1, first->count * lu_word_dump_bytes(first->width),
                   w->count * lu_word_dump_bytes(w->width));
  if (w->base != first->base)
    return lu_fail(err, LU_ERR_VALUE, 0, 0,
                   "chip %zu of the block: expected to begin at word 0x%" PRIX64
                   " as the first chip does, found 0x%" PRIX64,
                   k + 1, first->base, w->base);
  for (unsigned i = 0; i < w->width; i++) {
    unsigned b = lane_bit(&lanes[k], i);
    if (b >= width)
      return lu_fail(err, LU_ERR_VALUE, 0, 0,
                     "chip %zu of the block: expected bits below %u, found bit %u", k + 1, width,
                     b);
    if (*seen >> b & 1)
      return lu_fail(err, LU_ERR_VALUE, 0, 0,
                     "chip %zu of the block: expected each bit once, found bit %u again", k + 1, b);
    *seen |= (uint64_t)1 << b;
  }
  return LU_OK;
}

enum { STRIP = 1024 }; /* words gathered at a time, so that the sums stay in the first cache */

/* Ors words [from, from + n) of a lane, moved to their bits, into to[]. */
static void or_shifted(const lu_lane *l, size_t from, size_t n, uint64_t *to)
{
  const lu_words *w = l->words;
  unsigned by = l->first_bit;
  switch (w->bytes) {
  case 1:
    for (size_t i = 0; i < n; i++)
      to[i] |= (uint64_t)((const uint8_t *)w->at)[from + i] << by;
    break;
  case 2:
    for (size_t i = 0; i < n; i++)
      to[i] |= (uint64_t)((const uint16_t *)w->at)[from + i] << by;
    break;
  default:
    for (size_t i = 0; i < n; i++)
      to[i] |= lu_word(w, from + i) << by;
  }
}

/* spread[k][v]: where the bits of value v in byte k of a lane's word go. */
typedef uint64_t spread[8][256];

static void make_spread(const lu_lane *l, spread to)
{
  for (unsigned v = 0; v < 256; v++)
    for (unsigned k = 0; k < l->words->bytes; k++) {
      uint64_t bits = 0;
      for (unsigned b = 0; b < 8 && 8 * k + b < l->words->width; b++)
        bits |= (uint64_t)(v >> b & 1) << l->bits[8 * k + b];
      to[k][v] = bits;
    }
}

static void or_spread(const lu_words *w, spread by, size_t from, size_t n, uint64_t *to)
{
  for (size_t i = 0; i < n; i++) {
    uint64_t v = lu_word(w, from + i);
    for (unsigned k = 0; k < w->bytes; k++)
      to[i] |= by[k][v >> 8 * k & 0xFF];
  }
}

static lu_status join_held(const lu_lane *lanes, size_t count, lu_arena *mem, lu_words *w,
                           lu_err *err)
{
  size_t cells = w->count / 64 + 1;
  uint64_t *held = NULL;
  w->held_count = w->count;
  for (size_t k = 0; k < count; k++) {
    const uint64_t *from = lanes[k].words->held;
    if (!from)
      continue;
    size_t used = (w->count + 63) / 64; /* a lane need not have the cell behind its last word */
    if (held) {
      for (size_t i = 0; i < used; i++)
        held[i] &= from[i];
      continue;
    }
    held = LU_NEW(mem, uint64_t, cells);
    if (!held)
      return no_room(err);
    memcpy(held, from, used * sizeof *held);
  }
  if (held) {
    w->held_count = 0;
    for (size_t i = 0; i < w->count; i++)
      w->held_count += held[i / 64] >> (i % 64) & 1;
    w->held = held;
  }
  return LU_OK;
}

lu_status lu_words_interleave(const lu_lane *lanes, size_t count, unsigned width, lu_arena *mem,
                              lu_words *out, uint64_t *bits_read, lu_err *err)
{
  uint64_t seen = 0;
  if (count < 1 || count > LU_WIDTH_MOST || width < 1 || width > LU_WIDTH_MOST)
    return lu_fail(err, LU_ERR_VALUE, 0, 0,
                   "expected 1 to %d chips and 1 to %d bits, found %zu and %u", LU_WIDTH_MOST,
                   LU_WIDTH_MOST, count, width);
  for (size_t k = 0; k < count; k++) {
    lu_status s = check_lane(lanes, k, width, &seen, err);
    if (s != LU_OK)
      return s;
  }
  lu_words w = {.base = lanes[0].words->base,
                .count = lanes[0].words->count,
                .width = width,
                .bytes = lu_word_held_bytes(width)};
  spread *tables = LU_NEW(mem, spread, count);
  uint8_t *to = lu_arena_big(mem, w.count * w.bytes);
  if (!tables || !to)
    return no_room(err);
  for (size_t k = 0; k < count; k++)
    if (lanes[k].bits)
      make_spread(&lanes[k], tables[k]);
  for (size_t from = 0; from < w.count; from += STRIP) {
    uint64_t strip[STRIP] = {0};
    size_t n = w.count - from < STRIP ? w.count - from : STRIP;
    for (size_t k = 0; k < count; k++) {
      if (lanes[k].bits)
        or_spread(lanes[k].words, tables[k], from, n, strip);
      else
        or_shifted(&lanes[k], from, n, strip);
    }
    for (size_t i = 0; i < n; i++)
      store(to + from * w.bytes, w.bytes, i, strip[i]);
  }
  lu_status s = join_held(lanes, count, mem, &w, err);
  if (s != LU_OK)
    return s;
  w.at = to;
  *out = w;
  if (bits_read)
    *bits_read = seen;
  return LU_OK;
}
