/* SPDX-License-Identifier: MIT */
#include "formats/mould.h"

#include <string.h>
#ifdef __SSE2__
#  include <emmintrin.h>
#endif

/* ---- fitting ---- */

#ifdef __SSE2__

enum { NEAR_END = 64 }; /* bytes that may be looked at in one step */

static inline __m128i load(const char *at)
{
  return _mm_loadu_si128((const __m128i *)(const void *)at);
}

static inline unsigned bits(__m128i v)
{
  return (unsigned)_mm_movemask_epi8(v);
}

static inline __m128i equal(__m128i v, char c)
{
  return _mm_cmpeq_epi8(v, _mm_set1_epi8(c));
}

static inline bool same(const char *at, const struct lu_mould_piece *p)
{
  uint32_t lo = bits(_mm_cmpeq_epi8(load(at), load(p->text)));
  uint32_t hi = bits(_mm_cmpeq_epi8(load(at + 16), load(p->text + 16)));
  return ((lo | hi << 16) & p->need) == p->need;
}

/* Where the value at at ends, NULL: not within 32 bytes, or it has a backslash to undo. */
static inline const char *quoted_end(const char *at, bool edif)
{
  __m128i v = load(at), w = load(at + 16);
  unsigned stop = bits(equal(v, '"')) | bits(equal(w, '"')) << 16;
  unsigned slash = edif ? 0 : bits(equal(v, '\\')) | bits(equal(w, '\\')) << 16;
  return stop && !(slash & (stop ^ (stop - 1))) ? at + __builtin_ctz(stop) : NULL;
}

static inline const char *plain_end(const char *at)
{
  __m128i v = load(at), from_tab = _mm_sub_epi8(v, _mm_set1_epi8('\t'));
  __m128i blank = _mm_cmpeq_epi8(_mm_min_epu8(from_tab, _mm_set1_epi8('\r' - '\t')), from_tab);
  __m128i bracket = equal(_mm_or_si128(v, _mm_set1_epi8(1)), ')');
  unsigned stop = bits(_mm_or_si128(_mm_or_si128(blank, bracket),
                                    _mm_or_si128(equal(v, ' '), equal(v, '"'))));
  return stop > 1 && !(stop & 1) ? at + __builtin_ctz(stop) : NULL;
}

static const char *fit(const lu_mould *m, const lu_sexp *s, lu_hole *hole)
{
  const char *at = s->at;
  for (unsigned k = 0;; k++) {
    const struct lu_mould_piece *p = &m->piece[k];
    if (s->end - at < NEAR_END || !same(at, p))
      return NULL;
    at += p->len;
    if (k == m->holes)
      return at;
    const char *stop = p->quoted ? quoted_end(at, s->edif) : plain_end(at);
    if (!stop)
      return NULL;
    hole[k] = (lu_hole){at, (size_t)(stop - at)};
    at = stop;
  }
}

#else

/* Without vectors the careful way is as fast. */
static const char *fit(const lu_mould *m, const lu_sexp *s, lu_hole *hole)
{
  (void)m, (void)s, (void)hole;
  return NULL;
}

#endif

const lu_mould *lu_moulds_fit(lu_moulds *m, lu_sexp *s, lu_hole hole[LU_MOULD_HOLES])
{
  for (unsigned i = 0; i < LU_MOULDS; i++) {
    unsigned k = (m->last + i) % LU_MOULDS;
    const char *end = m->mould[k].holes ? fit(&m->mould[k], s, hole) : NULL;
    if (!end)
      continue;
    s->at = end;
    m->last = k;
    return &m->mould[k];
  }
  return NULL;
}

/* ---- making ---- */

static bool add_piece(lu_mould *m, const char *text, const char *end, bool quoted)
{
  size_t len = (size_t)(end - text);
  if (len > LU_MOULD_PIECE || !len)
    return false;
  struct lu_mould_piece *p = &m->piece[m->holes];
  memcpy(p->text, text, len);
  p->len = (uint8_t)len;
  p->need = len == 32 ? UINT32_MAX : ((uint32_t)1 << len) - 1;
  p->quoted = quoted;
  return true;
}

/* Finds the list's values with the tokens of s; a word behind a bracket is no value. */
static bool fill(lu_mould *m, const lu_sexp *s, const char *text, const char *const *values,
                 int count)
{
  lu_err err;
  lu_netbuild quiet = {.in = {(const uint8_t *)text, (size_t)(s->at - text)}, .err = &err};
  lu_sexp walk = {.at = text, .end = s->at, .edif = s->edif};
  const char *from = text;
  bool opened = false;
  lu_token t;
  while (!lu_sexp_next(&walk, &quiet, &t) && t != LU_TOKEN_END) {
    bool keyword = opened && t == LU_TOKEN_ATOM && !walk.quoted;
    opened = t == LU_TOKEN_OPEN;
    if (keyword && !m->head)
      m->head = (unsigned)(walk.text - text);
    if (t != LU_TOKEN_ATOM || keyword)
      continue;
    if (m->holes == LU_MOULD_HOLES || !add_piece(m, from, walk.text, walk.quoted))
      return false;
    int role = count - 1;
    while (role >= 0 && (uintptr_t)values[role] - (uintptr_t)walk.text > walk.len)
      role--;
    m->role[m->holes++] = role;
    from = walk.text + walk.len;
  }
  return m->holes && add_piece(m, from, s->at, false);
}

void lu_moulds_make(lu_moulds *m, const lu_sexp *s, const char *text, const char *const *values,
                    int count)
{
  lu_mould *to = &m->mould[m->made % LU_MOULDS];
  *to = (lu_mould){0};
  if (fill(to, s, text, values, count))
    m->made++;
  else
    to->holes = 0;
}
