/* SPDX-License-Identifier: MIT */
#include "base/planes.h"

#include "base/planes_kernels.h"

#include <string.h>

/* ---- choosing ---- */

const lu_kernels *lu_kernels_nth(unsigned n)
{
  const lu_kernels *have[3] = {&lu_kernels_plain};
  unsigned count = 1;
#ifdef LU_HAVE_X86_KERNELS
  __builtin_cpu_init();
  if (__builtin_cpu_supports("sse4.2") && __builtin_cpu_supports("popcnt"))
    have[count++] = &lu_kernels_v2;
  if (__builtin_cpu_supports("avx2") && __builtin_cpu_supports("bmi2") &&
      __builtin_cpu_supports("popcnt"))
    have[count++] = &lu_kernels_avx2;
#endif
  return n < count ? have[n] : NULL;
}

const lu_kernels *lu_kernels_best(void)
{
  const lu_kernels *best = NULL, *k;
  for (unsigned n = 0; (k = lu_kernels_nth(n)); n++)
    best = k;
  return best;
}

const char *lu_kernels_name(const lu_kernels *k)
{
  return k->name;
}

/* ---- words and gaps ---- */

static uint64_t word_at(const void *at, size_t i, unsigned bytes)
{
  uint64_t w64;
  uint32_t w32;
  uint16_t w16;
  const unsigned char *p = (const unsigned char *)at + i * bytes;
  switch (bytes) {
  case 1:
    return *p;
  case 2:
    memcpy(&w16, p, 2);
    return w16;
  case 4:
    memcpy(&w32, p, 4);
    return w32;
  default:
    memcpy(&w64, p, 8);
    return w64;
  }
}

static const unsigned char *at_word(const lu_array *a, size_t i)
{
  return (const unsigned char *)a->at + i * a->bytes;
}

static bool is_held(const lu_array *a, size_t i)
{
  return !a->held || (a->held[i / 64] >> (i % 64) & 1);
}

static uint64_t word_ones(unsigned bytes)
{
  return bytes == 8 ? UINT64_MAX : ((uint64_t)1 << (8 * bytes)) - 1;
}

/* Words picked one by one are collected into stretches before a kernel sees them. */
enum { PICK_BYTES = 8192 };
typedef struct picked {
  alignas(64) unsigned char a[PICK_BYTES], b[PICK_BYTES];
  size_t count;
} picked;

typedef void picked_fn(void *state, const void *a, const void *b, size_t count, unsigned bytes);

/* Calls fn with the words that both arrays hold, in stretches. b may be NULL. */
static void each_held(const lu_array *a, const lu_array *b, picked_fn *fn, void *state)
{
  picked p;
  if (!a->held && (!b || !b->held)) {
    fn(state, a->at, b ? b->at : NULL, a->count, a->bytes);
    return;
  }
  p.count = 0;
  for (size_t i = 0; i < a->count; i++) {
    if (!is_held(a, i) || (b && !is_held(b, i)))
      continue;
    memcpy(p.a + p.count * a->bytes, at_word(a, i), a->bytes);
    if (b)
      memcpy(p.b + p.count * a->bytes, at_word(b, i), a->bytes);
    if (++p.count == PICK_BYTES / a->bytes) {
      fn(state, p.a, p.b, p.count, a->bytes);
      p.count = 0;
    }
  }
  if (p.count)
    fn(state, p.a, p.b, p.count, a->bytes);
}

/* ---- one array, two arrays ---- */

typedef struct fold_run {
  const lu_kernels *k;
  lu_fold_state s;
} fold_run;

static void fold_some(void *state, const void *a, const void *b, size_t count, unsigned bytes)
{
  fold_run *run = state;
  (void)b;
  run->k->fold_add(&run->s, a, count, bytes);
}

static void fold_start(fold_run *run, const lu_kernels *k, unsigned bytes)
{
  memset(run, 0, sizeof *run);
  run->k = k;
  run->s.out.all_and = word_ones(bytes);
}

void lu_fold_words(const lu_kernels *k, const lu_array *a, lu_fold *out)
{
  fold_run run;
  fold_start(&run, k, a->bytes);
  each_held(a, NULL, fold_some, &run);
  k->fold_end(&run.s, a->bytes);
  *out = run.s.out;
}

typedef struct diff_run {
  const lu_kernels *k;
  lu_diff_state s;
} diff_run;

static void diff_some(void *state, const void *a, const void *b, size_t count, unsigned bytes)
{
  diff_run *run = state;
  run->k->diff_add(&run->s, a, b, count, bytes);
}

static void diff_start(diff_run *run, const lu_kernels *k)
{
  memset(run, 0, sizeof *run);
  run->k = k;
  run->s.out.first = SIZE_MAX;
}

void lu_diff_words(const lu_kernels *k, const lu_array *a, const lu_array *b, lu_diff *out)
{
  diff_run run;
  diff_start(&run, k);
  each_held(a, b, diff_some, &run);
  k->diff_end(&run.s, a->bytes);
  *out = run.s.out;
  if (out->differ && (a->held || b->held)) /* the kernel counted picked words only */
    for (out->first = 0;; out->first++)
      if (is_held(a, out->first) && is_held(b, out->first) &&
          word_at(a->at, out->first, a->bytes) != word_at(b->at, out->first, b->bytes))
        break;
}

/* b's words are a's with the set bits added and the cleared ones taken away. */
static void fold_moved(const lu_fold *a, const lu_diff *d, unsigned bytes, lu_fold *b)
{
  *b = (lu_fold){.words = a->words};
  for (unsigned i = 0; i < 8 * bytes; i++) {
    b->ones[i] = a->ones[i] + d->set[i] - d->cleared[i];
    b->all_or |= (uint64_t)(b->ones[i] != 0) << i;
    b->all_and |= (uint64_t)(b->ones[i] == b->words) << i;
  }
}

void lu_fold_diff_words(const lu_kernels *k, const lu_array *a, const lu_array *b, lu_fold *of_a,
                        lu_fold *of_b, lu_diff *out)
{
  const size_t piece = 65536 / a->bytes; /* both still lie in the cache for the fold */
  if (a->held || b->held) {
    lu_fold_words(k, a, of_a);
    lu_fold_words(k, b, of_b);
    lu_diff_words(k, a, b, out);
    return;
  }
  diff_run diff;
  fold_run fold;
  diff_start(&diff, k);
  fold_start(&fold, k, a->bytes);
  for (size_t at = 0; at < a->count; at += piece) {
    const size_t n = a->count - at < piece ? a->count - at : piece;
    k->diff_add(&diff.s, at_word(a, at), at_word(b, at), n, a->bytes);
    k->fold_add(&fold.s, at_word(a, at), n, a->bytes);
  }
  k->diff_end(&diff.s, a->bytes);
  k->fold_end(&fold.s, a->bytes);
  *out = diff.s.out;
  *of_a = fold.s.out;
  fold_moved(of_a, out, a->bytes, of_b);
}

bool lu_words_equal(const lu_kernels *k, const lu_array *a, const lu_array *b)
{
  (void)k; /* the C library's comparison is as fast as memory */
  if (!a->held && !b->held)
    return !a->count || !memcmp(a->at, b->at, a->count * a->bytes);
  for (size_t i = 0; i < a->count; i++)
    if (is_held(a, i) && is_held(b, i) &&
        word_at(a->at, i, a->bytes) != word_at(b->at, i, b->bytes))
      return false;
  return true;
}

/* ---- co-occurrence ---- */

typedef struct cooc_run {
  const lu_kernels *k;
  lu_cooc_state s;
  size_t words, every, piece;
} cooc_run;

static void cooc_some(void *state, const void *a, const void *b, size_t count, unsigned bytes)
{
  enum { PIECE = 8192 };
  cooc_run *run = state;
  const size_t piece = PIECE / bytes, pieces = (count + piece - 1) / piece;
  if (run->every <= 1) {
    run->k->cooc_add(&run->s, a, b, count);
    run->words += count;
    return;
  }
  for (size_t i = 0; i < pieces; i++)
    if (run->piece++ % run->every == 0 || i + 1 == pieces) {
      size_t n = count - i * piece < piece ? count - i * piece : piece;
      run->k->cooc_add(&run->s, (const unsigned char *)a + i * piece * bytes,
                       (const unsigned char *)b + i * piece * bytes, n);
      run->words += n;
    }
}

static void *aligned_take(lu_arena *mem, size_t size)
{
  unsigned char *p = lu_arena_take(mem, size + 63);
  return p ? p + (64 - (uintptr_t)p % 64) % 64 : NULL;
}

lu_status lu_cooc_pairs(const lu_kernels *k, const lu_array *a, const lu_array *b,
                        const lu_bit_pair *pairs, size_t pair_count, unsigned every, lu_arena *mem,
                        uint64_t *both, size_t *words, lu_err *err)
{
  cooc_run run = {.k = k, .every = every};
  const size_t planes = (size_t)8 * a->bytes * (LU_COOC_GROUPS * k->vector_bytes + LU_COOC_SPACE);
  run.s.pairs = pairs;
  run.s.pair_count = pair_count;
  run.s.bytes = a->bytes;
  run.s.both = both;
  run.s.same = a->at == b->at;
  run.s.planes_a = aligned_take(mem, planes);
  run.s.planes_b = run.s.same ? run.s.planes_a : aligned_take(mem, planes);
  run.s.counters = aligned_take(mem, pair_count * LU_COOC_STATE * k->vector_bytes);
  if (!run.s.planes_a || !run.s.planes_b || !run.s.counters)
    return lu_fail(err, LU_ERR_NOMEM, 0, 0, "no room to count %zu pairs of bits", pair_count);
  memset(both, 0, pair_count * sizeof *both);
  each_held(a, b, cooc_some, &run);
  k->cooc_end(&run.s);
  if (words)
    *words = run.words;
  return LU_OK;
}

unsigned lu_cooc_every(const lu_array *a)
{
  const size_t mib = a->count * a->bytes >> 20;
  return mib > 2 ? (unsigned)(a->bytes == 8 ? 2 * mib : mib) : 1;
}

/* The whole matrix. An array with itself is symmetric: the pairs on one side of the diagonal do. */
lu_status lu_cooc_words(const lu_kernels *k, const lu_array *a, const lu_array *b, unsigned width,
                        unsigned every, lu_arena *mem, uint64_t *both, size_t *words, lu_err *err)
{
  const bool same = a->at == b->at && a->held == b->held;
  lu_bit_pair *pairs = LU_NEW(mem, lu_bit_pair, (size_t)width * width);
  uint64_t *half = same ? LU_NEW(mem, uint64_t, (size_t)width * width) : both;
  size_t n = 0;
  if (!pairs || !half)
    return lu_fail(err, LU_ERR_NOMEM, 0, 0, "no room to count %u x %u bits", width, width);
  for (unsigned i = 0; i < width; i++)
    for (unsigned j = same ? i : 0; j < width; j++)
      pairs[n++] = (lu_bit_pair){(uint8_t)i, (uint8_t)j};
  lu_status status = lu_cooc_pairs(k, a, b, pairs, n, every, mem, half, words, err);
  for (size_t p = 0; same && status == LU_OK && p < n; p++)
    both[(size_t)pairs[p].a * width + pairs[p].b] = both[(size_t)pairs[p].b * width + pairs[p].a] = half[p];
  return status;
}

/* ---- lines ---- */

unsigned lu_index_lines(size_t count)
{
  unsigned n = 0;
  while (n < 63 && (size_t)1 << n < count)
    n++;
  return n;
}

bool lu_array_pairs_held(const lu_array *a, unsigned line)
{
  size_t pairs = 0, bit = (size_t)1 << line;
  for (size_t i = 0; a->held && pairs < LU_PAIRS_LEAST && i + bit < a->count; i++)
    pairs += !(i & bit) && lu_array_held(a, i) && lu_array_held(a, i + bit);
  return !a->held || pairs >= LU_PAIRS_LEAST;
}

static uint64_t line_pairs(size_t count, unsigned line)
{
  const size_t half = (size_t)1 << line, rest = count & (2 * half - 1);
  return ((uint64_t)(count / half / 2) << line) + (rest > half ? rest - half : 0);
}

/* The pairs of one line whose first word is at `from` (a multiple of 2^(line + 1)) or later. */
static void direct_line(const lu_kernels *k, const lu_array *a, unsigned line, size_t from,
                        lu_line_sum *sum)
{
  const size_t half = (size_t)1 << line;
  for (size_t i = from; i < a->count && a->count - i > half; i += 2 * half) {
    size_t n = a->count - i - half < half ? a->count - i - half : half;
    k->pairs_sum(at_word(a, i), at_word(a, i + half), n, a->bytes, sum);
  }
}

/* With gaps: pair by pair. */
static void gap_line(const lu_array *a, unsigned line, lu_alias *out)
{
  const size_t half = (size_t)1 << line;
  for (size_t i = 0; i < a->count && a->count - i > half; i++) {
    if (i & half) {
      i += half - 1;
      continue;
    }
    if (!is_held(a, i) || !is_held(a, i + half))
      continue;
    uint64_t x = word_at(a->at, i, a->bytes) ^ word_at(a->at, i + half, a->bytes);
    out->pairs++;
    out->differ += x != 0;
    out->mask |= x;
  }
}

enum { BLOCK_BYTES = 1 << 18, ROW_LINES = 7 };

/* Lines inside blocks of 2^block words; returns after the last whole block by direct_line. */
static void low_lines(const lu_kernels *k, const lu_array *a, unsigned block, unsigned lines,
                      lu_line_sum *sum)
{
  lu_line_sum all[LU_MAX_LINES] = {{0}};
  const size_t blocks = a->count >> block;
  for (size_t i = 0; i < blocks; i++)
    k->block_lines(at_word(a, i << block), block, a->bytes, all);
  for (unsigned l = 0; l < block && l < lines; l++) {
    sum[l] = all[l];
    direct_line(k, a, l, blocks << block, &sum[l]);
  }
}

/* Lines [first, first + n) of whole groups as rows of 2^first words, a cache's share at a time. */
static void high_lines(const lu_kernels *k, const lu_array *a, unsigned first, unsigned n,
                       lu_line_sum *sum)
{
  const size_t stride = (size_t)a->bytes << first, groups = a->count >> (first + n);
  const size_t step = (size_t)BLOCK_BYTES >> n;
  for (size_t g = 0; g < groups; g++) {
    const unsigned char *base = at_word(a, g << (first + n));
    for (size_t at = 0; at < stride; at += step)
      k->row_lines(base + at, stride, step < stride - at ? step : stride - at, n, a->bytes,
                   sum + first);
  }
  for (unsigned l = first; l < first + n; l++)
    direct_line(k, a, l, groups << (first + n), &sum[l]);
}

void lu_alias_lines(const lu_kernels *k, const lu_array *a, unsigned lines, lu_alias *out)
{
  lu_line_sum sum[LU_MAX_LINES] = {{0}};
  unsigned block = 0, used = lu_index_lines(a->count);
  memset(out, 0, lines * sizeof *out);
  used = used < lines ? used : lines;
  used = used < LU_MAX_LINES ? used : LU_MAX_LINES;
  if (a->held) {
    for (unsigned l = 0; l < used; l++)
      gap_line(a, l, &out[l]);
    return;
  }
  while ((size_t)a->bytes << (block + 1) <= BLOCK_BYTES && (size_t)2 << block <= a->count)
    block++;
  if ((size_t)a->bytes << block >= 8 * k->vector_bytes)
    low_lines(k, a, block, used, sum);
  else
    block = 0;
  while (block < used) {
    unsigned n = used - block < ROW_LINES ? used - block : ROW_LINES;
    if ((size_t)a->bytes << block >= k->vector_bytes)
      high_lines(k, a, block, n, sum);
    else
      direct_line(k, a, block, 0, &sum[block]), n = 1;
    block += n;
  }
  for (unsigned l = 0; l < used; l++) {
    out[l].pairs = line_pairs(a->count, l);
    out[l].differ = out[l].pairs - sum[l].equal;
    out[l].mask = sum[l].mask;
  }
}

/* Collects pairs of short lines, or with gaps. */
static void picked_line(diff_run *run, const lu_array *a, unsigned line)
{
  const size_t half = (size_t)1 << line;
  picked p;
  p.count = 0;
  for (size_t i = 0; i < a->count && a->count - i > half; i++) {
    if (i & half) {
      i += half - 1;
      continue;
    }
    if (!is_held(a, i) || !is_held(a, i + half))
      continue;
    memcpy(p.a + p.count * a->bytes, at_word(a, i), a->bytes);
    memcpy(p.b + p.count * a->bytes, at_word(a, i + half), a->bytes);
    if (++p.count == PICK_BYTES / a->bytes) {
      diff_some(run, p.a, p.b, p.count, a->bytes);
      p.count = 0;
    }
  }
  if (p.count)
    diff_some(run, p.a, p.b, p.count, a->bytes);
}

void lu_alias_line(const lu_kernels *k, const lu_array *a, unsigned line, lu_alias *out,
                   uint64_t *bits)
{
  const size_t half = (size_t)1 << line;
  diff_run run;
  diff_start(&run, k);
  if (a->held || half * a->bytes < PICK_BYTES)
    picked_line(&run, a, line);
  else
    for (size_t i = 0; i < a->count && a->count - i > half; i += 2 * half) {
      size_t n = a->count - i - half < half ? a->count - i - half : half;
      diff_some(&run, at_word(a, i), at_word(a, i + half), n, a->bytes);
    }
  k->diff_end(&run.s, a->bytes);
  *out = (lu_alias){run.s.out.words, run.s.out.differ, run.s.out.mask};
  for (unsigned b = 0; bits && b < 64; b++)
    bits[b] = run.s.out.set[b] + run.s.out.cleared[b];
}

/* ---- lines, yes or no ---- */

static uint64_t fold_mask(uint64_t x, unsigned bytes)
{
  for (unsigned shift = 32; shift >= 8 * bytes; shift /= 2)
    x |= x >> shift;
  return x & word_ones(bytes);
}

/* OR of the differences of pairs [at, at + n) of a line, cut off at the end of their segment;
 * *n becomes what was done. 2^line words are a multiple of 8 bytes. */
static uint64_t piece_mask(const lu_kernels *k, const lu_array *a, unsigned line, uint64_t pairs,
                           uint64_t at, size_t *n)
{
  const size_t half = (size_t)1 << line;
  const size_t i = (size_t)(at >> line << (line + 1) | (at & (half - 1)));
  size_t most = half - (size_t)(at & (half - 1));
  if (most > pairs - at)
    most = (size_t)(pairs - at);
  if (*n > most)
    *n = most;
  const size_t whole = *n * a->bytes / 8 * 8;
  uint64_t x = k->pairs_mask(at_word(a, i), at_word(a, i + half), whole);
  x = fold_mask(x, a->bytes);
  for (size_t w = whole / a->bytes; w < *n; w++)
    x |= word_at(a->at, i + w, a->bytes) ^ word_at(a->at, i + half + w, a->bytes);
  return x;
}

/* Some pieces from all over the array; most lines that do anything show it here. */
static uint64_t sample_line(const lu_kernels *k, const lu_array *a, unsigned line, uint64_t want)
{
  enum { SAMPLES = 64, SAMPLE_BYTES = 512 };
  const uint64_t pairs = line_pairs(a->count, line);
  const uint64_t piece = SAMPLE_BYTES / a->bytes, pieces = (pairs + piece - 1) / piece;
  uint64_t mask = 0;
  for (unsigned s = 0; s < SAMPLES && s < pieces && (mask & want) != want; s++) {
    /* golden-section steps spread any number of samples evenly */
    uint64_t at = (uint64_t)(((s + 1) * 0x9e3779b97f4a7c15u >> 32) * (pieces & 0xffffffffu) >> 32);
    size_t n = (size_t)piece;
    mask |= piece_mask(k, a, line, pairs, at * piece, &n);
  }
  return mask;
}

static uint64_t whole_line(const lu_kernels *k, const lu_array *a, unsigned line, uint64_t want,
                           uint64_t mask)
{
  enum { STEP_BYTES = 16384 };
  const uint64_t pairs = line_pairs(a->count, line);
  for (uint64_t at = 0; at < pairs && (mask & want) != want;) {
    size_t n = STEP_BYTES / a->bytes;
    mask |= piece_mask(k, a, line, pairs, at, &n);
    at += n;
  }
  return mask;
}

/* Lines of short pieces: stretches of 4 KiB, from all over, for all such lines at once. */
static void sample_low(const lu_kernels *k, const lu_array *a, unsigned lines, uint64_t want,
                       uint64_t *out)
{
  enum { SAMPLES = 16 };
  const unsigned block = lu_index_lines(4096 / a->bytes);
  const size_t blocks = a->count >> block;
  bool open = true;
  for (unsigned s = 0; open && s < SAMPLES && s < blocks; s++) {
    lu_line_sum sum[LU_MAX_LINES] = {{0}};
    uint64_t at = ((s + 1) * 0x9e3779b97f4a7c15u >> 32) * (blocks & 0xffffffffu) >> 32;
    k->block_lines(at_word(a, (size_t)at << block), block, a->bytes, sum);
    open = false;
    for (unsigned l = 0; l < block && l < lines; l++) {
      out[l] |= sum[l].mask;
      open |= (out[l] & want) != want;
    }
  }
}

void lu_alias_masks(const lu_kernels *k, const lu_array *a, unsigned lines, uint64_t want,
                    uint64_t *out)
{
  enum { SINGLE_LINES = 3 }; /* more open lines than this: all exact in two sweeps is cheaper */
  lu_alias all[LU_MAX_LINES];
  const unsigned low = lu_index_lines(4096 / a->bytes);
  unsigned used = lu_index_lines(a->count), open = 0;
  memset(out, 0, lines * sizeof *out);
  used = used < lines ? used : lines;
  used = used < LU_MAX_LINES ? used : LU_MAX_LINES;
  if (!a->held && want) {
    sample_low(k, a, used, want, out);
    for (unsigned l = low; l < used; l++)
      out[l] = sample_line(k, a, l, want);
  }
  bool all_lines = a->held;
  for (unsigned l = 0; l < used; l++)
    if ((out[l] & want) != want) {
      open++;
      all_lines |= l < low;
    }
  if (!open)
    return;
  if (all_lines || open > SINGLE_LINES) {
    lu_alias_lines(k, a, used, all);
    for (unsigned l = 0; l < used; l++)
      out[l] |= all[l].mask;
    return;
  }
  for (unsigned l = low; l < used; l++)
    out[l] = whole_line(k, a, l, want, out[l]);
}

/* ---- planes ---- */

void lu_planes_pick(const lu_kernels *k, const lu_array *a, uint64_t bits, uint64_t *const *planes)
{
  const size_t whole = a->count / 64, rest = a->count % 64;
  alignas(64) unsigned char last[64 * 8] = {0};
  k->pick(a->at, whole, a->bytes, bits, planes, 0);
  if (!rest)
    return;
  memcpy(last, at_word(a, 64 * whole), rest * a->bytes);
  k->pick(last, 1, a->bytes, bits, planes, whole);
}
