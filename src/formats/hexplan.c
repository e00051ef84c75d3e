/* SPDX-License-Identifier: MIT */
#include "formats/hexplan.h"

#include <string.h>

/* The columns of a line's digits, as the reader takes them. */
typedef struct columns {
  size_t digit[2 * LU_PLAN_BYTES];
  size_t digits;
  const uint8_t *data;  /* the end of the address */
  const uint8_t *after; /* behind the last byte */
  const uint8_t *next;  /* what stands behind the blanks there */
} columns;

static bool find_columns(const lu_hex_layout *l, const uint8_t *line, const uint8_t *end,
                         lu_hex_plan *plan, columns *c)
{
  const uint8_t *p = lu_hex_skip(line, end);
  if (l->addressed) {
    lu_hex_token t = lu_hex_token_at(p, end);
    plan->addr_at = (size_t)(t.digits - line);
    plan->addr_digits = t.count;
    p = lu_hex_skip_colon(t.after, end);
    if (!t.count || t.count > 15)
      return false;
  }
  c->data = p;
  c->after = p;
  for (const uint8_t *q = lu_hex_skip(p, end);; q = lu_hex_skip(p, end)) {
    c->next = q;
    if (lu_hex_follows(l, c->data, q, end, (size_t)(q - p), c->digits / 2) != LU_HEX_MORE)
      return true;
    lu_hex_token t = lu_hex_token_at(q, end);
    if (!t.count || c->digits + t.count > 2 * LU_PLAN_BYTES)
      return false;
    for (size_t i = 0; i < t.count; i++)
      c->digit[c->digits++] = (size_t)(t.digits - line) + i;
    p = t.after;
    c->after = p;
    if (p < end && (*p == ',' || *p == '-'))
      p++;
  }
}

/* How far the pattern reaches, so that whatever follows it is no data by the reader's own rules. */
static bool find_end(const lu_hex_layout *l, const uint8_t *line, const uint8_t *end,
                     const columns *c, lu_hex_plan *plan)
{
  const uint8_t *text = c->data + l->text_column;
  if (c->next == end) {
    plan->fixed = (size_t)(end - line);
  } else if (lu_hex_fence(*c->next)) {
    plan->fixed = (size_t)(c->next + 1 - line);
    plan->text = true;
  } else if (l->text_column && text <= c->next && text - c->after >= 2) {
    plan->fixed = (size_t)(text - line);
    plan->text = true;
  } else {
    return false;
  }
  return plan->fixed <= LU_PLAN_CHARS;
}

static bool find_groups(const columns *c, lu_hex_plan *plan)
{
  for (size_t g = 0; g < c->digits / 8; g++) {
    const size_t *d = &c->digit[8 * g];
    memset(plan->group[g], 0x80, 16);
    plan->group_at[g] = d[0];
    for (size_t i = 0; i < 8; i++) {
      if (d[i] - d[0] > 15)
        return false;
      plan->group[g][i] = (uint8_t)(d[i] - d[0]);
    }
  }
  return true;
}

void lu_hex_plan_make(const lu_hex_layout *l, const uint8_t *line, const uint8_t *end,
                      lu_hex_plan *plan)
{
  columns c = {.digits = 0};
  *plan = (lu_hex_plan){0};
  if (!find_columns(l, line, end, plan, &c) || c.digits < 8 || c.digits % 8 ||
      !find_end(l, line, end, &c, plan) || !find_groups(&c, plan))
    return;
  memcpy(plan->pattern, line, plan->fixed);
  memset(plan->mask, 0xFF, plan->fixed);
  for (size_t i = 0; i < c.digits; i++)
    plan->mask[c.digit[i]] = 0;
  for (size_t i = 0; i < plan->addr_digits; i++)
    plan->mask[plan->addr_at + i] = 0;
  for (size_t i = 0; i < 16; i++)
    plan->right[i] = i < 16 - plan->addr_digits ? 0x80 : (uint8_t)(i - (16 - plan->addr_digits));
  for (size_t i = 0; i < LU_PLAN_CHARS; i++)
    plan->pattern[i] &= plan->mask[i];
  plan->bytes = c.digits / 2;
}

#if LU_HEX_AVX2
#  define LOAD16(p) _mm_loadu_si128((const __m128i *)(const void *)(p))
#  define LOAD32(p) _mm256_loadu_si256((const __m256i *)(const void *)(p))

/* All characters but the digits are those of the plan. */
LU_TARGET_AVX2 static inline bool same_frame(const lu_hex_plan *plan, const uint8_t *p,
                                             size_t chunks)
{
  __m256i odd = _mm256_setzero_si256();
  for (size_t i = 0; i < chunks; i++) {
    __m256i x = _mm256_and_si256(LOAD32(p + 32 * i), LOAD32(plan->mask + 32 * i));
    odd = _mm256_or_si256(odd, _mm256_xor_si256(x, LOAD32(plan->pattern + 32 * i)));
  }
  return _mm256_testz_si256(odd, odd);
}

/* 8 digits of one group to the low half. */
LU_TARGET_AVX2 static inline __m128i pick(const lu_hex_plan *plan, const uint8_t *p, size_t g)
{
  return _mm_shuffle_epi8(LOAD16(p + plan->group_at[g]), LOAD16(plan->group[g]));
}

/* groups * 4 bytes of a line to out; writes up to 15 more. */
LU_TARGET_AVX2 static inline bool take_groups(const lu_hex_plan *plan, const uint8_t *p,
                                              size_t groups, uint8_t *out)
{
  uint32_t bad = 0;
  for (size_t g = 0; g < groups; g += 4) {
    const __m128i zero = _mm_set1_epi8('0');
    __m128i a = pick(plan, p, g), b = g + 1 < groups ? pick(plan, p, g + 1) : zero;
    __m128i c = g + 2 < groups ? pick(plan, p, g + 2) : zero;
    __m128i d = g + 3 < groups ? pick(plan, p, g + 3) : zero;
    uint32_t odd;
    __m128i v =
        lu_hex_32(_mm256_set_m128i(_mm_unpacklo_epi64(c, d), _mm_unpacklo_epi64(a, b)), &odd);
    bad |= odd;
    _mm_storeu_si128((__m128i *)(void *)(out + 4 * g), v);
  }
  return !bad;
}

LU_TARGET_AVX2 static inline bool address_is(const lu_hex_plan *plan, const uint8_t *p,
                                             uint64_t want)
{
  uint32_t bad;
  __m128i place = LOAD16(plan->right);
  __m128i x = _mm_shuffle_epi8(LOAD16(p + plan->addr_at), place);
  x = _mm_or_si128(x,
                   _mm_and_si128(_mm_cmpgt_epi8(_mm_setzero_si128(), place), _mm_set1_epi8('0')));
  uint64_t found = __builtin_bswap64(lu_hex_16(x, &bad));
  return !bad && found == want;
}

/* The start of the next line; NULL if it is not within 64 characters. */
LU_TARGET_AVX2 static inline const uint8_t *next_line(const lu_hex_plan *plan, const uint8_t *p)
{
  const uint8_t *q = p + plan->fixed;
  if (!plan->text)
    return *q == '\n' ? q + 1 : q[0] == '\r' && q[1] == '\n' ? q + 2 : NULL;
  for (int k = 0; k < 2; k++, q += 32) {
    __m256i x = LOAD32(q);
    __m256i hit = _mm256_or_si256(_mm256_cmpeq_epi8(x, _mm256_set1_epi8('\n')),
                                  _mm256_cmpeq_epi8(x, _mm256_set1_epi8('\r')));
    uint32_t at = (uint32_t)_mm256_movemask_epi8(hit);
    if (!at)
      continue;
    q += __builtin_ctz(at);
    return *q == '\n' ? q + 1 : q[1] == '\n' ? q + 2 : NULL;
  }
  return NULL;
}

LU_TARGET_AVX2 static inline __attribute__((always_inline)) const uint8_t *
run(const lu_hex_plan *plan, lu_image *img, const uint8_t *p, const uint8_t *end, size_t chunks,
    size_t groups)
{
  uint8_t *out = img->buf + img->used, *limit = img->buf + img->room;
  uint64_t next = img->next;
  while (end - p >= 2 * LU_PLAN_CHARS && (size_t)(limit - out) >= 4 * groups) {
    __builtin_prefetch(p + LU_READ_AHEAD);
    __builtin_prefetch(p + LU_READ_AHEAD + 64);
    const uint8_t *after = next_line(plan, p);
    if (!after || !same_frame(plan, p, chunks) ||
        (plan->addr_digits && !address_is(plan, p, next)) || !take_groups(plan, p, groups, out))
      break;
    p = after;
    out += 4 * groups;
    next += 4 * groups;
  }
  img->used = (size_t)(out - img->buf);
  img->next = next;
  return p;
}

LU_TARGET_AVX2 const uint8_t *lu_hex_plan_run(const lu_hex_plan *plan, lu_image *img,
                                              const uint8_t *p, const uint8_t *end)
{
  size_t chunks = (plan->fixed + 31) / 32, groups = plan->bytes / 4;
  if (chunks == 2 && groups == 4) /* the usual 16 bytes a line, with all loops unrolled */
    return run(plan, img, p, end, 2, 4);
  return run(plan, img, p, end, chunks, groups);
}
#else
const uint8_t *lu_hex_plan_run(const lu_hex_plan *plan, lu_image *img, const uint8_t *p,
                               const uint8_t *end)
{
  (void)plan;
  (void)img;
  (void)end;
  return p;
}
#endif
