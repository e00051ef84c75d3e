/* SPDX-License-Identifier: MIT */
/* Pattern + block -> operations. The specification is docs/patterns.md, "Expansion". */
#include <string.h>

#include "pattern/pattern.h"

enum { BATCH = 256, WINDOW = 512 };

static uint64_t mask_of(unsigned width)
{
  return width >= 64 ? ~UINT64_C(0) : (UINT64_C(1) << width) - 1;
}

/* Address bits that number words words: ceil(log2). */
static unsigned address_bits(uint64_t words)
{
  return words > 1 ? 64 - (unsigned)__builtin_clzll(words - 1) : 0;
}

static unsigned lanes_of(const lu_pattern *pattern, const lu_memory *block)
{
  return pattern->by_lanes ? (block->width + 7) / 8 : 1;
}

static uint32_t order_passes(lu_order order, const lu_memory *block)
{
  unsigned bits = address_bits(block->words);
  return !bits ? 1 : order == LU_ORDER_LINES ? bits : order == LU_ORDER_TURNS ? 2 * bits : 1;
}

static uint32_t background_passes(const lu_background *background, const lu_memory *block)
{
  return background->contents ? 1 : lu_vectors_count(background->vectors, block->width);
}

/* A pass number taken apart. */
typedef struct pass_parts {
  lu_order order;
  unsigned line, lane;
  const lu_background *background;
  uint64_t constant; /* of a vector background */
  uint64_t mask;
} pass_parts;

static uint32_t count_orders(const lu_pattern *pattern, const lu_memory *block)
{
  uint32_t n = 0;
  for (size_t i = 0; i < pattern->order_count; i++)
    n += order_passes(pattern->orders[i], block);
  return n;
}

static uint32_t count_backgrounds(const lu_pattern *pattern, const lu_memory *block)
{
  uint32_t n = 0;
  for (size_t i = 0; i < pattern->background_count; i++)
    n += background_passes(&pattern->backgrounds[i], block);
  return n;
}

uint32_t lu_pattern_passes(const lu_pattern *pattern, const lu_memory *block)
{
  return count_orders(pattern, block) * lanes_of(pattern, block) *
         count_backgrounds(pattern, block);
}

/* Backgrounds turn fastest, then lanes, then orders. */
static pass_parts take_apart(const lu_pattern *pattern, const lu_memory *block, uint32_t pass)
{
  uint32_t backgrounds = count_backgrounds(pattern, block), lanes = lanes_of(pattern, block);
  uint32_t b = pass % backgrounds, order = pass / backgrounds / lanes;
  pass_parts parts = {.lane = pass / backgrounds % lanes, .mask = mask_of(block->width)};
  if (pattern->by_lanes)
    parts.mask &= UINT64_C(0xff) << (8 * parts.lane);
  size_t i = 0;
  while (order >= order_passes(pattern->orders[i], block))
    order -= order_passes(pattern->orders[i++], block);
  parts.order = pattern->orders[i];
  parts.line = order;
  for (i = 0; b >= background_passes(&pattern->backgrounds[i], block); i++)
    b -= background_passes(&pattern->backgrounds[i], block);
  parts.background = &pattern->backgrounds[i];
  if (!parts.background->contents)
    parts.constant = lu_vectors_word(parts.background->vectors, block->width, b);
  return parts;
}

lu_order lu_pattern_pass_order(const lu_pattern *pattern, const lu_memory *block, uint32_t pass, unsigned *line)
{
  pass_parts parts = take_apart(pattern, block, pass);
  if (line)
    *line = parts.line;
  return parts.order;
}

uint64_t lu_pattern_zero(const lu_pattern *pattern, const lu_memory *block, uint32_t pass,
                         uint64_t word, uint64_t *mask)
{
  pass_parts parts = take_apart(pattern, block, pass);
  if (mask)
    *mask = parts.mask;
  if (!parts.background->contents)
    return parts.constant;
  return lu_contents_word(parts.background->contents, 0, block->width, block->base_word,
                          block->bytes, word);
}

const char *lu_pattern_pass_text(const lu_pattern *pattern, const lu_memory *block, uint32_t pass,
                                 lu_arena *mem)
{
  static const char *const orders[] = {"linear order", "rows fastest", "columns fastest",
                                       "address line", "complemented addresses in turn",
                                       "address line"};
  pass_parts p = take_apart(pattern, block, pass);
  const char *order = orders[p.order];
  if (p.order == LU_ORDER_LINES)
    order = lu_arena_printf(mem, "address line %u fastest", p.line);
  if (p.order == LU_ORDER_TURNS)
    order = lu_arena_printf(mem, "address line %u slowest, the others %s", p.line / 2, p.line % 2 ? "down" : "up");
  const char *lane = pattern->by_lanes ? lu_arena_printf(mem, ", bits %u-%u", 8 * p.lane,
                                                         8 * p.lane + 7) : "";
  if (!order || !lane)
    return NULL;
  if (p.background->contents)
    return lu_arena_printf(mem, "%s%s, background %s", order, lane, p.background->contents->name);
  return lu_arena_printf(mem, "%s%s, background 0x%0*llx", order, lane,
                         (int)(block->width + 3) / 4, (unsigned long long)p.constant);
}

/* ---- where the k-th word of an order is ---- */

/* The bits of k into the places of mask, low first; *k keeps what is left. */
static uint64_t deposit(uint64_t *k, uint64_t mask)
{
  uint64_t out = 0;
  for (; mask; mask &= mask - 1, *k >>= 1)
    if (*k & 1)
      out |= mask & (~mask + 1);
  return out;
}

static uint64_t row_mask_of(const lu_memory *block)
{
  unsigned bits = address_bits(block->words);
  uint64_t all = bits ? mask_of(bits) : 0;
  return block->row_mask ? block->row_mask & all : all & ~mask_of(bits > 1 ? bits / 2 : 1);
}

static uint64_t place(const pass_parts *p, const lu_memory *block, uint64_t k, uint64_t rows)
{
  unsigned bits = address_bits(block->words);
  uint64_t all = bits ? mask_of(bits) : 0, word;
  switch (p->order) {
  case LU_ORDER_LINEAR:
    break;
  case LU_ORDER_ROWS:
    word = deposit(&k, rows);
    return word | deposit(&k, all & ~rows);
  case LU_ORDER_COLUMNS:
    word = deposit(&k, all & ~rows);
    return word | deposit(&k, rows);
  case LU_ORDER_LINES:
    word = deposit(&k, all & UINT64_C(1) << p->line);
    return word | deposit(&k, all & ~(UINT64_C(1) << p->line));
  case LU_ORDER_TURNS: {
    uint64_t slow = all & UINT64_C(1) << p->line / 2;
    word = deposit(&k, all & ~slow);
    return (p->line % 2 ? ~word & all & ~slow : word) | deposit(&k, slow);
  }
  case LU_ORDER_COMPLEMENT:
    return k & 1 ? all - (k >> 1) : k >> 1;
  }
  return k;
}

/* ---- making operations ---- */

typedef struct maker {
  const lu_pattern *pattern;
  const lu_memory *block;
  pass_parts parts;
  lu_take_ops take;
  void *user;
  bool stopped;
  uint32_t pass;
  uint16_t element;
  uint64_t window_at; /* first word of the window; UINT64_MAX: empty */
  size_t count;
  lu_operation ops[BATCH];
  uint64_t window[WINDOW]; /* background values of words window_at.. */
} maker;

static bool flush(maker *m)
{
  if (m->count && !m->stopped && !m->take(m->user, m->ops, m->count))
    m->stopped = true;
  m->count = 0;
  return !m->stopped;
}

static uint64_t zero_at(maker *m, uint64_t word)
{
  const lu_memory *b = m->block;
  if (!m->parts.background->contents)
    return m->parts.constant;
  if (m->window_at == UINT64_MAX || word - m->window_at >= WINDOW) {
    uint64_t left;
    m->window_at = word / WINDOW * WINDOW;
    left = b->words - m->window_at;
    lu_contents_fill(m->parts.background->contents, 0, b->width, b->base_word, 8, m->window_at,
                     left < WINDOW ? (size_t)left : WINDOW, m->window);
  }
  return m->window[word - m->window_at];
}

static void put(maker *m, size_t op, uint64_t word)
{
  const lu_pattern_op *o = &m->pattern->ops[op];
  uint64_t zero = zero_at(m, word);
  lu_operation made = {.kind = o->kind,
                       .element = m->element,
                       .op = (uint16_t)op,
                       .pass = m->pass,
                       .word = word,
                       .value = (o->value ? ~zero : zero) & m->parts.mask,
                       .mask = m->parts.mask};
  for (uint32_t i = 0; i < o->repeat && !m->stopped; i++) {
    m->ops[m->count++] = made;
    if (m->count == BATCH)
      flush(m);
  }
}

/* The i-th word of an element's set, and how many tries there are; false where that try falls
 * outside the block. */
static uint64_t tries(const maker *m, const lu_element *e)
{
  unsigned bits = address_bits(m->block->words);
  if (e->kind == LU_ELEMENT_AT)
    return 1;
  if (e->kind == LU_ELEMENT_POWERS)
    return (uint64_t)bits + 1;
  if (m->parts.order == LU_ORDER_LINEAR || bits >= 64)
    return m->block->words;
  return UINT64_C(1) << bits;
}

static bool word_of(const maker *m, const lu_element *e, uint64_t i, uint64_t rows, uint64_t *word)
{
  if (e->kind == LU_ELEMENT_AT)
    *word = e->at;
  else if (e->kind == LU_ELEMENT_POWERS)
    *word = i ? UINT64_C(1) << (i - 1) : 0;
  else
    *word = place(&m->parts, m->block, i, rows);
  return *word < m->block->words;
}

static void run_rest(maker *m, const lu_element *e, size_t op, uint64_t home, uint64_t rows)
{
  uint64_t count = tries(m, e), word;
  for (uint64_t i = 0; i < count && !m->stopped; i++) {
    if (!word_of(m, e, i, rows, &word) || word == home)
      continue;
    for (size_t n = 1; n <= m->pattern->ops[op].nested; n++)
      put(m, op + n, word);
  }
}

static void run_element(maker *m, size_t element, bool down)
{
  const lu_element *e = &m->pattern->elements[element];
  m->element = (uint16_t)element;
  if (e->kind == LU_ELEMENT_WAIT) {
    m->ops[m->count++] = (lu_operation){.kind = LU_OP_WAIT, .element = m->element, .pass = m->pass,
                                        .value = e->wait_us};
    flush(m);
    return;
  }
  uint64_t count = tries(m, e), rows = row_mask_of(m->block), word;
  for (uint64_t i = 0; i < count && !m->stopped; i++) {
    if (!word_of(m, e, down ? count - 1 - i : i, rows, &word))
      continue;
    for (size_t n = 0; n < e->op_count; n++) {
      size_t op = e->first_op + n;
      if (m->pattern->ops[op].kind != LU_OP_REST) {
        put(m, op, word);
        continue;
      }
      run_rest(m, e, op, word, rows);
      n += m->pattern->ops[op].nested;
    }
  }
}

static maker maker_for(const lu_pattern *pattern, const lu_memory *block, uint32_t pass,
                       lu_take_ops take, void *user)
{
  return (maker){.pattern = pattern,
                 .block = block,
                 .parts = take_apart(pattern, block, pass),
                 .take = take,
                 .user = user,
                 .pass = pass,
                 .window_at = UINT64_MAX};
}

bool lu_pattern_expand_element(const lu_pattern *pattern, const lu_memory *block, uint32_t pass,
                               size_t element, lu_direction direction, lu_take_ops take,
                               void *user)
{
  maker m = maker_for(pattern, block, pass, take, user);
  lu_direction own = pattern->elements[element].direction;
  run_element(&m, element, (direction == LU_ANY ? own : direction) == LU_DOWN);
  return flush(&m);
}

bool lu_pattern_expand(const lu_pattern *pattern, const lu_memory *block, lu_direction any,
                       lu_take_ops take, void *user)
{
  uint32_t passes = lu_pattern_passes(pattern, block);
  for (uint32_t pass = 0; pass < passes; pass++) {
    maker m = maker_for(pattern, block, pass, take, user);
    for (size_t e = 0; e < pattern->element_count; e++) {
      lu_direction own = pattern->elements[e].direction;
      run_element(&m, e, (own == LU_ANY ? any : own) == LU_DOWN);
    }
    if (!flush(&m))
      return false;
  }
  return true;
}

/* ---- counting ---- */

static uint64_t plus(uint64_t a, uint64_t b)
{
  return a > UINT64_MAX - b ? UINT64_MAX : a + b;
}

static uint64_t times(uint64_t a, uint64_t b)
{
  return b && a > UINT64_MAX / b ? UINT64_MAX : a * b;
}

/* Operations of one element over a set of n words. */
static uint64_t element_operations(const lu_pattern *pattern, const lu_element *e, uint64_t n)
{
  uint64_t own = 0, nested = 0;
  for (size_t i = 0; i < e->op_count; i++) {
    const lu_pattern_op *op = &pattern->ops[e->first_op + i];
    if (op->kind != LU_OP_REST) {
      own += op->repeat;
      continue;
    }
    for (size_t k = 1; k <= op->nested; k++)
      nested += op[k].repeat;
    i += op->nested;
  }
  return plus(times(own, n), times(times(nested, n), n - 1));
}

uint64_t lu_pattern_operations(const lu_pattern *pattern, const lu_memory *block, uint64_t *wait_us)
{
  uint64_t sum = 0, wait = 0, passes = lu_pattern_passes(pattern, block);
  for (size_t i = 0; i < pattern->element_count; i++) {
    const lu_element *e = &pattern->elements[i];
    uint64_t n = e->kind == LU_ELEMENT_AT ? 1
                 : e->kind == LU_ELEMENT_POWERS ? (uint64_t)address_bits(block->words) + 1
                                                : block->words;
    if (e->kind == LU_ELEMENT_WAIT)
      wait = plus(wait, e->wait_us);
    else
      sum = plus(sum, element_operations(pattern, e, n));
  }
  if (wait_us)
    *wait_us = times(wait, passes);
  return times(sum, passes);
}

bool lu_pattern_length(const lu_pattern *pattern, uint64_t *per_word, uint64_t *wait_us)
{
  bool linear = true;
  *per_word = *wait_us = 0;
  for (size_t i = 0; i < pattern->element_count; i++) {
    const lu_element *e = &pattern->elements[i];
    for (size_t k = 0; k < e->op_count; k++) {
      linear &= pattern->ops[e->first_op + k].kind != LU_OP_REST;
      *per_word += pattern->ops[e->first_op + k].repeat;
    }
    linear &= e->kind == LU_ELEMENT_ALL || e->kind == LU_ELEMENT_WAIT;
    *wait_us += e->kind == LU_ELEMENT_WAIT ? e->wait_us : 0;
  }
  return linear;
}

lu_status lu_pattern_fits(const lu_pattern *pattern, const lu_memory *block, lu_err *err)
{
  if (!block->words || block->words > UINT64_C(1) << 40)
    return lu_fail(err, LU_ERR_VALUE, 0, 0, "a block has 1 to 2^40 words");
  if (!block->width || block->width > 64 || block->width > 8 * block->bytes ||
      (block->bytes != 1 && block->bytes != 2 && block->bytes != 4 && block->bytes != 8))
    return lu_fail(err, LU_ERR_VALUE, 0, 0,
                   "a word has 1 to 64 bits in 1, 2, 4 or 8 bytes, not %u in %u", block->width,
                   block->bytes);
  for (size_t i = 0; i < pattern->element_count; i++)
    if (pattern->elements[i].kind == LU_ELEMENT_AT && pattern->elements[i].at >= block->words)
      return lu_fail(err, LU_ERR_VALUE, 0, 0, "%s uses word %u; the block has %llu words",
                     pattern->name, (unsigned)pattern->elements[i].at,
                     (unsigned long long)block->words);
  return LU_OK;
}

/* ---- images ---- */

/* Does the element leave one value in every word? *value: 0 or 1. */
static bool fills(const lu_pattern *pattern, const lu_element *e, unsigned *value)
{
  bool found = false;
  for (size_t i = 0; e->kind == LU_ELEMENT_ALL && i < e->op_count; i++) {
    const lu_pattern_op *op = &pattern->ops[e->first_op + i];
    if (op->kind == LU_OP_REST)
      return false;
    if (op->kind == LU_OP_WRITE) {
      *value = op->value;
      found = true;
    }
  }
  return found;
}

static bool writes(const lu_pattern *pattern, const lu_element *e)
{
  for (size_t i = 0; i < e->op_count; i++)
    if (pattern->ops[e->first_op + i].kind == LU_OP_WRITE)
      return true;
  return false;
}

static void flip(unsigned bytes, uint64_t mask, size_t count, void *words)
{
#define FLIP(type)                                                                                 \
  do {                                                                                             \
    type *at = words;                                                                              \
    for (size_t i = 0; i < count; i++)                                                             \
      at[i] ^= (type)mask;                                                                         \
  } while (0)
  switch (bytes) {
  case 1:
    FLIP(uint8_t);
    break;
  case 2:
    FLIP(uint16_t);
    break;
  case 4:
    FLIP(uint32_t);
    break;
  default:
    FLIP(uint64_t);
  }
#undef FLIP
}

static void fill_value(const lu_memory *block, const pass_parts *parts, unsigned value,
                       uint64_t first, size_t count, void *words)
{
  enum { PART = 4096 };
  const lu_contents *contents = parts->background->contents;
  uint64_t mask = mask_of(block->width);
  for (size_t done = 0; done < count; done += PART) {
    size_t part = count - done < PART ? count - done : PART;
    void *at = (uint8_t *)words + done * block->bytes;
    if (contents)
      lu_contents_fill(contents, 0, block->width, block->base_word, block->bytes, first + done,
                       part, at);
    else {
      memset(at, 0, part * block->bytes);
      flip(block->bytes, parts->constant, part, at);
    }
    if (value)
      flip(block->bytes, mask, part, at);
  }
}

typedef struct image {
  uint64_t first;
  size_t count;
  unsigned bytes;
  void *words;
} image;

static bool store(void *user, const lu_operation *ops, size_t count)
{
  image *im = user;
  for (size_t i = 0; i < count; i++) {
    uint64_t at = ops[i].word - im->first;
    if (ops[i].kind != LU_OP_WRITE || at >= im->count)
      continue;
    uint8_t *to = (uint8_t *)im->words + at * im->bytes;
    memset(to, 0, im->bytes);
    flip(im->bytes, ops[i].value, 1, to);
  }
  return true;
}

void lu_pattern_image(const lu_pattern *pattern, const lu_memory *block, uint32_t pass,
                      uint64_t first, size_t count, void *words)
{
  pass_parts parts = take_apart(pattern, block, pass);
  uint32_t backgrounds = count_backgrounds(pattern, block);
  uint32_t order = pass / backgrounds / lanes_of(pattern, block);
  lu_pattern whole = *pattern; /* all lanes at once: the others hold the same after their passes */
  whole.by_lanes = false;
  pass = order * backgrounds + pass % backgrounds;
  image im = {first, count, block->bytes, words};
  size_t start = 0;
  unsigned value = 0;
  bool filled = false;
  for (size_t e = pattern->element_count; e-- > 0 && !filled;)
    if (fills(pattern, &pattern->elements[e], &value)) {
      filled = true;
      start = e + 1;
    }
  if (filled)
    fill_value(block, &parts, value, first, count, words);
  else
    memset(words, 0, count * block->bytes);
  for (size_t e = start; e < pattern->element_count; e++)
    if (writes(pattern, &pattern->elements[e]))
      lu_pattern_expand_element(&whole, block, pass, e, LU_ANY, store, &im);
}
