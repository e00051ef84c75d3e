/* SPDX-License-Identifier: MIT */
#include "api/logreading.h"

#include "api/marchlog.h"
#include "formats/faillog.h"
#include "pattern/contents.h"

#include <string.h>

/* How the log's addresses count. */
typedef struct counting {
  uint64_t subtract, divide; /* word = (address - subtract) / divide */
  const char *text;
} counting;

typedef struct maker {
  lu_session *s;
  const lu_reading_args *a;
  lu_faillog *log;
  const lu_network *n;
  lu_reading *r;
  counting c;
  unsigned bytes;
  bool lanes;                /* a byte at each address, though the words are wider */
  bool rom;
  uint64_t *held, *known_held, *steady;
  char *got, *known;
} maker;

static lu_status no_room(lu_session *s)
{
  return lu_fail(&s->err, LU_ERR_NOMEM, 0, 0, "no room for the log's reading");
}

static void note(maker *m, const char *text)
{
  lu_session_note(m->s, text);
}

/* --- which block, and how its addresses count ------------------------------------------------------------ */

typedef struct range {
  uint64_t lowest, highest;
  bool odd;                  /* some address is no multiple of the bytes in a word */
} range;

static range range_of(const lu_faillog *g, uint64_t bytes)
{
  range x = {.lowest = UINT64_MAX};
  for (size_t i = 0; i < g->count; i++) {
    uint64_t a = g->at[i].address;
    x.lowest = a < x.lowest ? a : x.lowest;
    x.highest = a > x.highest ? a : x.highest;
    x.odd |= a % bytes != 0;
  }
  for (size_t i = 0; i < g->span_count; i++) {
    uint64_t from = g->spans[i].from_start ? g->spans[i].last : g->spans[i].first;
    x.lowest = from < x.lowest ? from : x.lowest;
    x.highest = g->spans[i].last > x.highest ? g->spans[i].last : x.highest;
  }
  return x;
}

static unsigned most_digits(const lu_faillog *g)
{
  unsigned most = 0;
  for (size_t i = 0; i < g->count; i++)
    most = g->at[i].digits > most ? g->at[i].digits : most;
  return most;
}

/* Bytes first: that is how a machine's programmer counts. offsets: also from the block's start. */
static bool fits(const lu_faillog *g, uint64_t base, uint64_t size, uint64_t bytes, bool offsets, counting *out)
{
  range x = range_of(g, bytes);
  bool lanes = bytes > 1 && most_digits(g) <= 2;
  const counting ways[] = {{base, bytes, NULL},
                           {base / bytes, 1, "addresses count words"},
                           {0, bytes, "addresses count bytes from the block's start"},
                           {0, 1, "addresses count words from the block's start"}};
  for (size_t k = 0; k < (offsets ? 4u : 2u); k++) {
    uint64_t from = ways[k].subtract, len = ways[k].divide == 1 ? size / bytes : size;
    if (x.lowest == UINT64_MAX || x.lowest < from || x.highest - from >= len || (ways[k].divide > 1 && x.odd && !lanes))
      continue;
    *out = ways[k];
    if (ways[k].divide == 1 && bytes == 1)
      out->text = k < 2 ? NULL : ways[2].text;
    return true;
  }
  return x.lowest == UINT64_MAX && (*out = ways[0], true);
}

static lu_status board_block(maker *m, uint32_t *block)
{
  lu_session *s = m->s;
  const lu_board *b = s->board;
  size_t found = 0;
  counting c;
  for (uint32_t i = 0; i < b->block_count; i++)
    if (fits(m->log, b->blocks[i].base, b->blocks[i].size, b->vantages[b->blocks[i].vantage].bytes, false, &c)) {
      *block = i;
      found++;
    }
  if (found == 1 || b->block_count == 1) {
    *block = found == 1 ? *block : 0;
    return LU_OK;
  }
  range x = range_of(m->log, 1);
  if (x.lowest == UINT64_MAX)
    return lu_fail_source(&s->err, lu_fail(&s->err, LU_ERR_USAGE, 0, 0, "say which --block the log is of: it names no address"), m->a->log);
  return lu_fail_source(&s->err,
                        lu_fail(&s->err, LU_ERR_USAGE, 0, 0, "say which --block the log is of: its addresses 0x%llx to 0x%llx fit %s",
                                (unsigned long long)x.lowest, (unsigned long long)x.highest,
                                found ? "more than one" : "none as a whole"),
                        m->a->log);
}

/* Without a board: the least memory that holds all that the log names. */
static lu_status plain_board(maker *m, lu_network **out)
{
  lu_session *s = m->s;
  uint64_t values = 0;
  for (size_t i = 0; i < m->log->count; i++)
    values |= m->log->at[i].expected | m->log->at[i].got;
  unsigned digits = most_digits(m->log), width = m->a->width ? (unsigned)m->a->width : 8, bits = 1;
  while (!m->a->width && width < 64 && (values >> width || digits > width / 4))
    width *= 2;
  range x = range_of(m->log, width <= 8 ? 1 : width <= 16 ? 2 : width <= 32 ? 4 : 8);
  uint64_t bytes = width <= 8 ? 1 : width <= 16 ? 2 : width <= 32 ? 4 : 8, divide = x.odd ? 1 : bytes;
  uint64_t last = x.lowest == UINT64_MAX ? 1 : x.highest / divide;
  while (bits < 40 && last >> bits)
    bits++;
  if (last >> bits || bits > 28)
    return lu_fail_source(&s->err, lu_fail(&s->err, LU_ERR_LIMIT, 0, 0, "address 0x%llx is too high without a board file", (unsigned long long)x.highest), m->a->log);
  lu_status bad = lu_board_plain(bits, width, s->mem, &s->board, &s->err);
  if (bad)
    return bad;
  s->board->blocks[0].base = 0;
  s->board->blocks[0].size = bytes << bits;
  return lu_network_build(s->board, 0, 0, s->mem, out, &s->err);
}

static lu_status find_network(maker *m)
{
  lu_session *s = m->s;
  lu_network *n = NULL;
  const char *block = m->a->block;
  uint32_t b = LU_NONE;
  lu_status bad = LU_OK;
  if (!s->board) {
    bad = plain_board(m, &n);
  } else {
    bool chip = m->a->vantage && !strncmp(m->a->vantage, "chip:", 5);
    if (!block && !chip)
      bad = board_block(m, &b);
    if (!bad)
      bad = lu_readings_network(s, b == LU_NONE ? block : s->board->blocks[b].name, m->a->vantage, 0, &n);
  }
  if (bad)
    return bad;
  m->n = n;
  m->bytes = s->board->vantages[n->vantage].bytes;
  m->rom = n->block == LU_NONE || s->board->blocks[n->block].rom;
  m->r->name = n->block == LU_NONE ? s->board->vantages[n->vantage].name : s->board->blocks[n->block].name;
  if (!fits(m->log, n->base_word * m->bytes, n->words * m->bytes, m->bytes, true, &m->c)) {
    range x = range_of(m->log, m->bytes);
    bad = lu_fail(&s->err, LU_ERR_VALUE, 0, 0, "the log's addresses, 0x%llx to 0x%llx, do not lie in '%s' (0x%llx, 0x%llx bytes), as bytes or as words",
                  (unsigned long long)x.lowest, (unsigned long long)x.highest, m->r->name,
                  (unsigned long long)(n->base_word * m->bytes), (unsigned long long)(n->words * m->bytes));
    return lu_fail_source(&s->err, bad, m->a->log);
  }
  m->lanes = m->bytes > 1 && m->c.divide > 1 && most_digits(m->log) <= 2 && range_of(m->log, m->bytes).odd;
  if (m->c.text)
    note(m, lu_arena_printf(s->mem, "%s: %s, since so they fit the block", m->a->log, m->c.text));
  return LU_OK;
}

/* --- words --------------------------------------------------------------------------------------------------- */

static size_t index_of(const maker *m, uint64_t address)
{
  return (size_t)((address - m->c.subtract) / m->c.divide);
}

/* Where a byte stands in its word. */
static unsigned shift_of(const maker *m, uint64_t address)
{
  unsigned k = (unsigned)((address - m->c.subtract) % m->bytes);
  bool big = m->s->board->vantages[m->n->vantage].big_endian;
  return m->lanes ? 8 * (big ? m->bytes - 1 - k : k) : 0;
}

static uint64_t all_of(const maker *m)
{
  return m->n->data_bits >= 64 ? UINT64_MAX : ((uint64_t)1 << m->n->data_bits) - 1;
}

static void put(const maker *m, char *at, size_t i, uint64_t v)
{
  memcpy(at + i * m->bytes, &v, m->bytes); /* little-endian machines only, as everywhere in readings */
}

static uint64_t take(const maker *m, const char *at, size_t i)
{
  uint64_t v = 0;
  memcpy(&v, at + i * m->bytes, m->bytes);
  return v;
}

static bool bit(const uint64_t *set, size_t i)
{
  return set[i / 64] >> (i % 64) & 1;
}

static void set_bit(uint64_t *set, size_t i)
{
  set[i / 64] |= (uint64_t)1 << (i % 64);
}

static bool agrees(const maker *m, const lu_failure_line *f, uint64_t word)
{
  unsigned shift = shift_of(m, f->address);
  uint64_t mask = m->lanes ? 0xff : all_of(m);
  return (word >> shift & mask) == (f->expected & mask);
}

/* --- what was in there --------------------------------------------------------------------------------------- */

typedef struct fit {
  const lu_contents *contents;
  unsigned variant;
} fit;

enum { FITS_MOST = 64 };

static size_t agreeing(const maker *m, const lu_contents *c, unsigned v, bool all)
{
  size_t same = 0;
  for (size_t i = 0; i < m->log->count; i++) {
    size_t w = index_of(m, m->log->at[i].address);
    bool ok = agrees(m, &m->log->at[i], lu_contents_word(c, v, m->n->data_bits, m->n->base_word, m->bytes, w));
    if (all && !ok)
      return 0;
    same += ok;
  }
  return same;
}

static void fill(const maker *m, const fit *f, char *to)
{
  lu_contents_fill(f->contents, f->variant, m->n->data_bits, m->n->base_word, m->bytes, 0, (size_t)m->n->words, to);
}

/* Every named pattern that fits all expected words. Where those that fit differ from each other, nothing is known. */
static lu_status guess_contents(maker *m, bool *known)
{
  fit found[FITS_MOST];
  size_t count = 0, all_count, words = (size_t)m->n->words;
  const lu_contents *all = lu_contents_all(&all_count);
  *known = false;
  if (m->log->count < 2)
    return LU_OK;
  for (size_t k = 0; k < all_count; k++)
    for (unsigned v = 0; v < all[k].variant_count; v++)
      if (count < FITS_MOST && agreeing(m, &all[k], v, true))
        found[count++] = (fit){&all[k], v};
  if (!count)
    return LU_OK;
  char *other = count > 1 ? lu_arena_big(m->s->mem, words * m->bytes) : m->known;
  if (!other)
    return no_room(m->s);
  fill(m, &found[0], m->known);
  memset(m->known_held, 0xff, (words / 64 + 1) * sizeof *m->known_held);
  for (size_t k = 1; k < count; k++) {
    fill(m, &found[k], other);
    for (size_t i = 0; i < words; i++)
      if (take(m, other, i) != take(m, m->known, i))
        m->known_held[i / 64] &= ~((uint64_t)1 << (i % 64));
  }
  *known = true;
  note(m, lu_arena_printf(m->s->mem, "%s: all %zu expected words are those of pattern %s (%s)%s", m->a->log, m->log->count,
                          found[0].contents->name, found[0].contents->variants[found[0].variant],
                          count > 1 ? "; others fit as well: where they differ nothing is taken as known" : ""));
  return LU_OK;
}

/* --expect or --wrote: a pattern's reading is chosen by what the log expects. */
static lu_status given_contents(maker *m, const char *what)
{
  lu_session *s = m->s;
  size_t words = (size_t)m->n->words, wrong = 0;
  const lu_contents *c;
  lu_words w;
  if (!lu_session_has(s, what) && !lu_contents_named(what, &c, NULL)) {
    fit best = {c, 0};
    size_t most = agreeing(m, c, 0, false);
    for (unsigned v = 1; v < c->variant_count; v++) {
      size_t same = agreeing(m, c, v, false);
      if (same > most) {
        most = same;
        best.variant = v;
      }
    }
    fill(m, &best, m->known);
    memset(m->known_held, 0xff, (words / 64 + 1) * sizeof *m->known_held);
    if (best.variant)
      note(m, lu_arena_printf(s->mem, "pattern %s was taken as: %s", c->name, c->variants[best.variant]));
  } else {
    lu_status bad = lu_session_contents(s, what, m->n, NULL, &w);
    if (bad)
      return bad;
    for (size_t i = 0; i < w.count && i < words; i++)
      if (lu_word_held(&w, i)) {
        put(m, m->known, i, lu_word(&w, i));
        set_bit(m->known_held, i);
      }
  }
  for (size_t i = 0; i < m->log->count; i++)
    wrong += !agrees(m, &m->log->at[i], take(m, m->known, index_of(m, m->log->at[i].address)));
  if (wrong && wrong == m->log->count)
    return lu_fail_source(&s->err,
                          lu_fail(&s->err, LU_ERR_VALUE, m->log->at[0].line, 1, "none of the log's %zu expected words is in '%s': here 0x%llx is expected",
                                  wrong, what, (unsigned long long)m->log->at[0].expected),
                          m->a->log);
  if (wrong)
    note(m, lu_arena_printf(s->mem, "%s: %zu of %zu lines expect something else than '%s' holds there; they were left out", m->a->log,
                            wrong, m->log->count, what));
  return LU_OK;
}

/* Only what the lines themselves expect. The first line of an address counts. */
static void listed_contents(maker *m)
{
  uint64_t all = all_of(m);
  for (size_t i = 0; i < m->log->count; i++) {
    const lu_failure_line *f = &m->log->at[i];
    size_t w = index_of(m, f->address);
    if (bit(m->known_held, w) && !m->lanes)
      continue;
    unsigned shift = shift_of(m, f->address);
    uint64_t mask = (m->lanes ? (uint64_t)0xff << shift : UINT64_MAX) & all;
    put(m, m->known, w, (take(m, m->known, w) & ~mask) | (f->expected << shift & mask));
    set_bit(m->known_held, w);
  }
}

/* --- what was read -------------------------------------------------------------------------------------------- */

static bool ascending(const lu_faillog *g)
{
  for (size_t i = 1; i < g->count; i++)
    if (g->at[i].address < g->at[i - 1].address)
      return false;
  return true;
}

/* Words [from, to] that were gone through: those not listed were read right. */
static void read_right(maker *m, size_t from, size_t to)
{
  for (size_t i = from; i <= to && i < m->n->words; i++) {
    if (bit(m->known_held, i) && !bit(m->held, i)) {
      set_bit(m->held, i);
      put(m, m->got, i, take(m, m->known, i));
      m->steady[i] = UINT64_MAX;
    }
  }
}

/* The words that the test passed over in silence, and what to say of it. */
static const char *add_silent(maker *m)
{
  const lu_faillog *g = m->log;
  const char *text = NULL;
  for (size_t k = 0; k < g->span_count; k++) {
    read_right(m, g->spans[k].from_start ? 0 : index_of(m, g->spans[k].first), index_of(m, g->spans[k].last));
    text = "it says how far the test went: addresses it went through and does not list were taken as read right, the others as not read";
  }
  if (g->complete) {
    read_right(m, 0, (size_t)m->n->words - 1);
    return "it came to its end: every address that it does not list was taken as read right";
  }
  if (text || !g->count)
    return text;
  if (!ascending(g))
    return "its addresses do not ascend and it does not say how far the test went: only the addresses listed count";
  read_right(m, 0, index_of(m, g->at[g->count - 1].address));
  return "it does not say how far the test went: addresses up to its last failure that it does not list were taken as read right, "
         "later ones as not read";
}

/* The listed words. A bit that reads differently at its second time is unsteady. */
static void add_listed(maker *m, size_t *others)
{
  uint64_t all = all_of(m);
  for (size_t i = 0; i < m->log->count; i++) {
    const lu_failure_line *f = &m->log->at[i];
    size_t w = index_of(m, f->address);
    if (!bit(m->known_held, w) || !agrees(m, f, take(m, m->known, w))) {
      ++*others;
      continue;
    }
    unsigned shift = shift_of(m, f->address);
    uint64_t mask = (m->lanes ? (uint64_t)0xff << shift : UINT64_MAX) & all, got = f->got << shift & mask;
    uint64_t before = m->steady[w] & mask, differ = (take(m, m->got, w) ^ got) & before & all;
    if (before) {
      m->r->unsteady_bits += (uint64_t)__builtin_popcountll(differ);
      m->steady[w] &= ~differ;
      continue;
    }
    put(m, m->got, w, (take(m, m->got, w) & ~mask) | got);
    m->steady[w] |= m->lanes ? mask : UINT64_MAX;
    set_bit(m->held, w);
  }
}

static lu_status take_room(maker *m)
{
  size_t words = (size_t)m->n->words;
  m->held = LU_NEW(m->s->mem, uint64_t, words / 64 + 1);
  m->known_held = LU_NEW(m->s->mem, uint64_t, words / 64 + 1);
  m->steady = LU_NEW(m->s->mem, uint64_t, words + 1);
  m->got = lu_arena_array(m->s->mem, words + 1, m->bytes);
  m->known = lu_arena_array(m->s->mem, words + 1, m->bytes);
  m->r->passes = LU_NEW(m->s->mem, lu_words, 1);
  return m->held && m->known_held && m->steady && m->got && m->known && m->r->passes ? LU_OK : no_room(m->s);
}

static size_t held_words(const uint64_t *set, size_t words)
{
  size_t n = 0;
  for (size_t i = 0; i < words; i++)
    n += bit(set, i);
  return n;
}

static lu_status finish(maker *m, bool known, size_t others)
{
  lu_reading *r = m->r;
  size_t words = (size_t)m->n->words, held = held_words(m->held, words), known_count = held_words(m->known_held, words);
  lu_session *s = m->s;
  if (!held && !m->r->march)
    return lu_fail_source(&s->err, lu_fail(&s->err, LU_ERR_VALUE, 0, 0, "the log lists no failure and nothing is known of the contents: give --expect or --wrote"), m->a->log);
  r->passes[0] = (lu_words){.base = m->n->base_word, .count = words, .width = m->n->data_bits, .bytes = m->bytes, .at = m->got, .held = m->held, .held_count = held};
  r->pass_count = 1;
  r->evidence.network = m->n;
  r->evidence.got = r->passes[0];
  r->evidence.known = r->passes[0];
  r->evidence.known.at = m->known;
  r->evidence.known.held = known_count == words ? NULL : m->known_held;
  r->evidence.known.held_count = known_count;
  /* A pattern in a RAM was written through the same lines; of listed words alone the order is not known. */
  r->evidence.know = m->a->expect || m->rom || !known ? LU_KNOW_CONTENTS : LU_KNOW_WRITTEN;
  for (size_t i = 0; i < words && !r->evidence.steady; i++)
    if (bit(m->held, i) && ~m->steady[i] & all_of(m))
      r->evidence.steady = m->steady;
  if (others && !m->a->expect && !m->a->wrote)
    note(m, lu_arena_printf(s->mem, "%s: %zu lines expect something else at an address that had come before; the first ones count", m->a->log, others));
  return LU_OK;
}

static void note_lines(maker *m)
{
  const lu_faillog *g = m->log;
  for (size_t i = 0; i < g->unread && i < LU_FAILLOG_SHOWN; i++)
    note(m, lu_arena_printf(m->s->mem, "%s:%u: not read: %s", m->a->log, g->shown[i].line, g->shown[i].text));
  if (g->unread)
    note(m, lu_arena_printf(m->s->mem, "%s: %zu line%s with numbers gave no address, expected and got%s", m->a->log, g->unread,
                            g->unread == 1 ? "" : "s", g->unread > LU_FAILLOG_SHOWN ? "; the first three are shown" : ""));
}

static unsigned shift_in(const void *of, uint64_t address)
{
  return shift_of(of, address);
}

/* Lines that say which read of a test pattern they are of. */
static lu_status add_march(maker *m, bool *is)
{
  const lu_march_counting c = {m->c.subtract, m->c.divide, m->lanes, shift_in, m};
  if (m->rom || (!m->log->marched && !m->a->pattern))
    return LU_OK;
  if (m->a->pattern && !m->log->marched && m->log->count)
    return lu_fail_source(&m->s->err, lu_fail(&m->s->err, LU_ERR_VALUE, m->log->at[0].line, 1, "--pattern needs lines that say which read failed: "
                                              "\"element 2, operation 1\", or \"operation 5\" as the C source counts"), m->a->log);
  lu_status bad = lu_marchlog_of(m->s, m->a->log, m->log, m->a->pattern, m->n, &c, &m->r->march);
  *is = m->r->march != NULL;
  return bad;
}

lu_status lu_logreading(lu_session *s, const lu_reading_args *a, lu_reading *r)
{
  maker m = {.s = s, .a = a, .r = r};
  lu_bytes in;
  size_t others = 0;
  const char *what = a->expect ? a->expect : a->wrote;
  bool known = what != NULL, march = false;
  lu_status bad = lu_session_file(s, a->log, &in);
  if (!bad)
    bad = lu_fail_source(&s->err, lu_faillog_read(in, s->mem, &m.log, &s->err), a->log);
  if (!bad)
    bad = find_network(&m);
  if (!bad)
    bad = take_room(&m);
  if (!bad)
    bad = add_march(&m, &march);
  if (!bad && march)
    known = false;
  else if (!bad)
    bad = what ? given_contents(&m, what) : guess_contents(&m, &known);
  if (bad)
    return bad;
  note_lines(&m);
  if (!known)
    listed_contents(&m);
  add_listed(&m, &others);
  const char *silent = known ? add_silent(&m) : "no named pattern fits what it expects: only the addresses listed count, since what the others hold is not known";
  bad = finish(&m, known, march ? 0 : others);
  if (!bad && silent && !march)
    note(&m, lu_arena_printf(s->mem, "A log of failures proves less than a dump: %s%s", silent, m.log->cut ? "; the log is not complete" : ""));
  return bad;
}
