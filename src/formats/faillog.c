/* SPDX-License-Identifier: MIT */
#include "formats/faillog.h"

#include "base/text.h"
#include <ctype.h>
#include <stdio.h>
#include <string.h>

enum { TOKENS_MOST = 64, TEXT_SHOWN = 72, NAME_MOST = 48 };

typedef enum role { R_NONE, R_ADDRESS, R_EXPECTED, R_GOT, R_OTHER, R_ROLES } role;

/* How surely a token is a number. Words such as "dead" come last. */
typedef enum rank { SURE = 1, BARE, LETTERS, WORD, NO_NUMBER } rank;

typedef struct token {
  const char *at;
  size_t len;
  rank rank;
  role role;           /* a keyword's */
  uint8_t counter;     /* 1: digits behind "pass", "#" or beside "errors"; 2: of a clock or a date */
  uint64_t value;
  uint8_t digits;
} token;

typedef struct reader {
  lu_bytes in;
  lu_arena *mem;
  lu_err *err;
  lu_faillog *log;
  size_t room, span_room;
  role order[3];       /* columns of lines without keywords */
  uint64_t counted;    /* failures that the log says there were */
  const char *pattern; /* the one that the lines before named */
  size_t first_unread; /* byte offset, SIZE_MAX: none */
} reader;

static const struct {
  const char *word;
  role role;
} keywords[] = {
    {"address", R_ADDRESS},  {"addr", R_ADDRESS},     {"adr", R_ADDRESS},     {"at", R_ADDRESS},       {"location", R_ADDRESS},
    {"loc", R_ADDRESS},      {"expected", R_EXPECTED}, {"expect", R_EXPECTED}, {"expects", R_EXPECTED}, {"exp", R_EXPECTED},
    {"wrote", R_EXPECTED},   {"written", R_EXPECTED}, {"write", R_EXPECTED},  {"should", R_EXPECTED},  {"wanted", R_EXPECTED},
    {"want", R_EXPECTED},    {"got", R_GOT},          {"read", R_GOT},        {"was", R_GOT},          {"found", R_GOT},
    {"actual", R_GOT},       {"act", R_GOT},          {"saw", R_GOT},         {"xor", R_OTHER},        {"diff", R_OTHER},
    {"difference", R_OTHER}, {"mask", R_OTHER},       {"syndrome", R_OTHER},  {"bits", R_OTHER},
};

/* English words of the digits a to f only. */
static const char *const words[] = {"ad", "be", "ed", "aced", "abed", "babe", "bead", "beef", "cafe", "cede", "dead",
                                    "deaf", "deed", "face", "fade", "feed", "facade", "decade", "added", "faced", "faded"};
static const char *const counters[] = {"pass", "test", "loop", "cycle", "no", "nr", "count", "run", "round", "phase", "step", "chip", "bank", "bit", "line"};

static bool same(const token *t, const char *word)
{
  size_t n = strlen(word);
  if (t->len != n)
    return false;
  for (size_t i = 0; i < n; i++)
    if (tolower((unsigned char)t->at[i]) != word[i])
      return false;
  return true;
}

static bool any_of(const token *t, const char *const *list, size_t count)
{
  for (size_t i = 0; i < count; i++)
    if (same(t, list[i]))
      return true;
  return false;
}

static bool is_word(char c)
{
  return isalnum((unsigned char)c) || c == '_';
}

/* A number of hex digits text[len], or not. */
static bool digits_of(token *t, const char *text, size_t len)
{
  if (!len || !lu_text_u64(text, len, 16, UINT64_MAX, &t->value))
    return false;
  t->digits = (uint8_t)(len > 16 ? 16 : len);
  return true;
}

static rank letters_rank(const token *t)
{
  bool upper = false, lower = false;
  for (size_t i = 0; i < t->len; i++) {
    upper |= isupper((unsigned char)t->at[i]) != 0;
    lower |= islower((unsigned char)t->at[i]) != 0;
  }
  if (upper && lower)
    return NO_NUMBER; /* "Added" */
  return t->len % 2 || any_of(t, words, sizeof words / sizeof *words) ? WORD : LETTERS;
}

static void judge_token(token *t, char before)
{
  const char *p = t->at;
  size_t n = t->len, figures = 0;
  for (size_t i = 0; i < sizeof keywords / sizeof *keywords; i++)
    if (same(t, keywords[i].word))
      t->role = keywords[i].role;
  t->rank = NO_NUMBER;
  for (size_t i = 0; i < n; i++)
    figures += isdigit((unsigned char)p[i]) != 0;
  if (n > 2 && p[0] == '0' && (p[1] == 'x' || p[1] == 'X')) {
    if (digits_of(t, p + 2, n - 2))
      t->rank = SURE;
  } else if (before == '$') {
    if (digits_of(t, p, n))
      t->rank = SURE;
  } else if (n > 1 && (p[n - 1] == 'h' || p[n - 1] == 'H')) {
    /* 0ach and FFh; but not "each", "EACH", "beach" */
    if (digits_of(t, p, n - 1) && (figures || (isupper((unsigned char)p[0]) && n % 2)))
      t->rank = SURE;
  } else if (digits_of(t, p, n)) {
    t->rank = figures ? BARE : letters_rank(t);
  }
}

static bool decimal(const token *t, size_t len)
{
  for (size_t i = 0; i < t->len; i++)
    if (!isdigit((unsigned char)t->at[i]))
      return false;
  return t->len == len;
}

/* 12:34:56, 2026-11-25, 25.11.2026: three tokens of such lengths with one sign between them. */
static bool clock_or_date(const token *t)
{
  const char *a = t[0].at + t[0].len, *b = t[1].at + t[1].len;
  if (t[1].at != a + 1 || t[2].at != b + 1 || *a != *b || !strchr(":-/.", *a) || !decimal(&t[1], 2))
    return false;
  if (*a == ':')
    return decimal(&t[0], 2) && decimal(&t[2], 2);
  return (decimal(&t[0], 4) && decimal(&t[2], 2)) || (decimal(&t[0], 2) && decimal(&t[2], 4));
}

static void find_counters(token *t, size_t count, const char *line)
{
  static const char *const failures[] = {"errors", "failures", "mismatches", "faults"};
  for (size_t i = 0; i < count; i++) {
    if (t[i].rank != BARE)
      continue;
    bool hash = t[i].at > line && t[i].at[-1] == '#';
    bool counted = i + 1 < count && any_of(&t[i + 1], failures, sizeof failures / sizeof *failures);
    if (hash || counted || (i && any_of(&t[i - 1], counters, sizeof counters / sizeof *counters)))
      t[i].counter = 1;
    if (i + 2 >= count || !clock_or_date(&t[i]))
      continue;
    t[i].counter = t[i + 1].counter = t[i + 2].counter = 2;
    const char *end = t[i + 2].at + t[i + 2].len;
    if (i + 3 < count && t[i + 3].at == end + 1 && (*end == '.' || *end == ','))
      t[i + 3].counter = 2;
    i += 2;
  }
}

static size_t tokens_of(const char *line, size_t len, token *t)
{
  size_t count = 0, i = 0;
  while (i < len && count < TOKENS_MOST) {
    while (i < len && !is_word(line[i]))
      i++;
    size_t from = i;
    while (i < len && is_word(line[i]))
      i++;
    if (i == from)
      break;
    t[count] = (token){.at = line + from, .len = i - from};
    judge_token(&t[count++], from ? line[from - 1] : ' ');
  }
  find_counters(t, count, line);
  return count;
}

/* --- failures ---------------------------------------------------------------------------------------- */

/* The likeliest number in t[from..to), or NULL; the last of equals if asked. */
static const token *number_in(const token *t, size_t from, size_t to, bool last)
{
  const token *best = NULL;
  for (size_t i = from; i < to; i++) {
    if (t[i].rank == NO_NUMBER || t[i].counter)
      continue;
    if (!best || t[i].rank < best->rank || (last && t[i].rank == best->rank))
      best = &t[i];
  }
  return best;
}

/* Each keyword takes the number behind it, or each the one before it. */
static void by_keywords(const token *t, size_t count, bool before, const token *found[R_ROLES])
{
  size_t edge = 0;
  for (size_t i = 0; i < count; i++) {
    if (t[i].role == R_NONE)
      continue;
    size_t next = i + 1;
    while (next < count && t[next].role == R_NONE)
      next++;
    size_t from = i + 1 + (i + 2 < next && same(&t[i + 1], "be")); /* "should be AD" */
    const token *n = before ? number_in(t, edge, i, true) : number_in(t, from, next, false);
    edge = i + 1;
    if (n && !found[t[i].role])
      found[t[i].role] = n;
  }
}

/* Where keywords name the data only: the widest number that stands before them is the address. */
static const token *address_before(const token *t, size_t count)
{
  const token *best = NULL;
  for (size_t i = 0; i < count && t[i].role == R_NONE; i++)
    if (t[i].rank <= LETTERS && !t[i].counter && (!best || t[i].rank < best->rank || (t[i].rank == best->rank && t[i].digits > best->digits)))
      best = &t[i];
  return best;
}

static bool keyworded(const token *t, size_t count, const token *found[R_ROLES])
{
  bool has[R_ROLES] = {false};
  for (size_t i = 0; i < count; i++)
    has[t[i].role] = true;
  if (!has[R_EXPECTED] || !has[R_GOT])
    return false;
  for (int before = 0; before < 2; before++) {
    memset(found, 0, R_ROLES * sizeof *found);
    by_keywords(t, count, before, found);
    const token *a = found[R_ADDRESS] ? found[R_ADDRESS] : before ? NULL : address_before(t, count);
    if (before && !a) { /* "1000: 55 expected, AA read" */
      a = address_before(t, count);
      if (a == found[R_EXPECTED] || a == found[R_GOT])
        a = NULL;
    }
    found[R_ADDRESS] = a;
    if (a && found[R_EXPECTED] && found[R_GOT])
      return true;
  }
  return false;
}

static size_t choose(const token *t, size_t count, rank worst, unsigned counters_too, const token **out)
{
  size_t n = 0;
  for (size_t i = 0; i < count; i++)
    if (t[i].rank <= worst && t[i].counter <= counters_too)
      out[n++] = &t[i];
  return n;
}

/* Without keywords: the first three numbers, of the surest kind that gives three. */
static bool by_columns(const reader *r, const token *t, size_t count, const token *found[R_ROLES])
{
  const token *n[TOKENS_MOST];
  size_t surely = choose(t, count, SURE, 0, n), have = surely >= 3 ? surely : choose(t, count, LETTERS, 0, n);
  if (surely < 3) {
    const token *w[TOKENS_MOST];
    size_t all = choose(t, count, WORD, 0, w);
    bool proved = all >= 4 && w[3]->value == (w[1]->value ^ w[2]->value); /* a column of differences */
    if (all > have && (have < 3 || proved) && (proved || all == 3)) {
      memcpy(n, w, sizeof n);
      have = all;
    }
    if (have < 3)
      have = choose(t, count, LETTERS, count == 3 ? 2 : 1, n); /* 10:55:44 alone is no time */
  }
  if (have < 3)
    return false;
  for (int k = 0; k < 3; k++)
    found[r->order[k]] = n[k];
  return true;
}

/* A heading "Addr Got Exp" says how the columns below it stand. */
static bool heading(reader *r, const token *t, size_t count)
{
  role order[3];
  bool seen[R_ROLES] = {false};
  size_t n = 0;
  for (size_t i = 0; i < count; i++) {
    if (t[i].rank <= LETTERS)
      return false;
    if (t[i].role != R_NONE && t[i].role != R_OTHER && !seen[t[i].role] && n < 3) {
      seen[t[i].role] = true;
      order[n++] = t[i].role;
    }
  }
  if (n == 3)
    memcpy(r->order, order, sizeof order);
  return n == 3;
}

/* --- which read of a test pattern ------------------------------------------------------------------------ */

typedef struct operation {
  uint32_t pass, element, number;
  const char *name;     /* of the pattern, in the line; NULL: not said */
  size_t name_len;
} operation;

/* A word that cannot be a number in hex: letters, figures and hyphens. */
static bool is_name(const char *p, size_t len)
{
  bool beyond = false;
  for (size_t i = 0; i < len; i++)
    beyond |= p[i] == '-' || tolower((unsigned char)p[i]) > 'f';
  return len && len <= NAME_MOST && beyond && isalpha((unsigned char)*p);
}

static void name_before(const char *line, const char *at, operation *o)
{
  while (at > line && strchr(" \t,:;(", at[-1]))
    at--;
  const char *end = at;
  while (at > line && (isalnum((unsigned char)at[-1]) || at[-1] == '-'))
    at--;
  if (is_name(at, (size_t)(end - at))) {
    o->name = at;
    o->name_len = (size_t)(end - at);
  }
}

/* Numbers behind "element", "operation" and "pass" are no addresses or data. */
static operation find_operation(token *t, size_t count, const char *line)
{
  static const char *const what[] = {"pass", "element", "operation", "op"};
  operation o = {0};
  const char *first = NULL;
  for (size_t i = 0; i + 1 < count; i++) {
    uint64_t v;
    size_t k = 0;
    while (k < 4 && !same(&t[i], what[k]))
      k++;
    if (k == 4 || !lu_text_u64(t[i + 1].at, t[i + 1].len, 10, UINT32_MAX, &v))
      continue;
    *(k == 0 ? &o.pass : k == 1 ? &o.element : &o.number) = (uint32_t)v;
    t[i + 1].counter = 2;
    first = first ? first : t[i].at;
  }
  if (!o.element && !o.number)
    return (operation){0};
  name_before(line, first, &o);
  /* nor are the parts of the name */
  for (size_t i = 0; o.name && i < count; i++)
    if (t[i].at >= o.name && t[i].at < o.name + o.name_len)
      t[i].rank = NO_NUMBER;
  return o;
}

static lu_status keep_name(reader *r, const char *name, size_t len)
{
  if (r->pattern && strlen(r->pattern) == len && !memcmp(r->pattern, name, len))
    return LU_OK;
  r->pattern = lu_arena_text(r->mem, name, len);
  return r->pattern ? LU_OK : lu_fail(r->err, LU_ERR_NOMEM, 0, 0, "no room for the log");
}

/* "pattern: March C-" on a line of its own is said for all lines that follow. */
static lu_status pattern_line(reader *r, const token *t, size_t count, const char *line, size_t len, bool *is)
{
  if (count < 2 || !same(&t[0], "pattern"))
    return LU_OK;
  const char *from = t[1].at, *end = line + len;
  while (end > from && (isspace((unsigned char)end[-1]) || strchr("\"'", end[-1])))
    end--;
  *is = true;
  return end - from > NAME_MOST ? LU_OK : keep_name(r, from, (size_t)(end - from));
}

static lu_status add_failure(reader *r, const token *found[R_ROLES], const operation *o, uint32_t line)
{
  lu_faillog *g = r->log;
  if (g->count == LU_FAILLOG_MOST)
    return lu_fail(r->err, LU_ERR_LIMIT, line, 1, "more than %d failures", LU_FAILLOG_MOST);
  lu_failure_line *p = lu_arena_grow(r->mem, g->at, g->count, &r->room, sizeof *p);
  if (!p)
    return lu_fail(r->err, LU_ERR_NOMEM, 0, 0, "no room for the log");
  g->at = p;
  const token *e = found[R_EXPECTED], *x = found[R_GOT];
  if (o->name && keep_name(r, o->name, o->name_len))
    return LU_ERR_NOMEM;
  p[g->count++] = (lu_failure_line){found[R_ADDRESS]->value, e->value, x->value, line, e->digits > x->digits ? e->digits : x->digits,
                                    o->pass, o->element, o->number, r->pattern};
  g->marched += o->element || o->number;
  return LU_OK;
}

/* --- marks ------------------------------------------------------------------------------------------- */

static bool has_word(const token *t, size_t count, const char *const *list, size_t n)
{
  for (size_t i = 0; i < count; i++)
    if (any_of(&t[i], list, n))
      return true;
  return false;
}

/* "12 errors", "errors: 12": how many there were, in decimal as counts are. */
static void take_count(reader *r, const token *t, size_t count)
{
  static const char *const what[] = {"errors", "failures", "mismatches", "faults"};
  for (size_t i = 0; i < count; i++) {
    if (!any_of(&t[i], what, sizeof what / sizeof *what))
      continue;
    uint64_t v;
    for (int side = 0; side < 2; side++) {
      size_t k = side ? i + 1 : i - 1;
      if (k < count && lu_text_u64(t[k].at, t[k].len, 10, UINT64_MAX, &v) && v > r->counted)
        r->counted = v;
    }
  }
}

static lu_status add_span(reader *r, lu_tested_span s, uint32_t line)
{
  lu_faillog *g = r->log;
  if (g->span_count == LU_FAILLOG_SPANS_MOST)
    return lu_fail(r->err, LU_ERR_LIMIT, line, 1, "more than %d marks of what was tested", LU_FAILLOG_SPANS_MOST);
  lu_tested_span *p = lu_arena_grow(r->mem, g->spans, g->span_count, &r->span_room, sizeof *p);
  if (!p)
    return lu_fail(r->err, LU_ERR_NOMEM, 0, 0, "no room for the log");
  g->spans = p;
  p[g->span_count++] = s;
  return LU_OK;
}

static const char *const tested[] = {"tested", "passed", "checked"};

/* Whether the line says how far the test went. */
static lu_status mark(reader *r, const token *t, size_t count, uint32_t line, bool *is)
{
  static const char *const up_to[] = {"to", "through", "until"};
  static const char *const ends[] = {"complete", "completed", "finished", "done", "end"};
  static const char *const stops[] = {"aborted", "abort", "stopped", "cancelled", "interrupted", "incomplete", "truncated", "suppressed"};
  const token *n[TOKENS_MOST];
  size_t have = choose(t, count, LETTERS, 0, n);
  take_count(r, t, count);
  if (has_word(t, count, stops, sizeof stops / sizeof *stops)) {
    r->log->cut = *is = true;
    return LU_OK;
  }
  if (have && have <= 2 && has_word(t, count, tested, 3)) {
    bool to = has_word(t, count, up_to, 3);
    if (have == 2 && n[0]->value <= n[1]->value) {
      *is = true;
      return add_span(r, (lu_tested_span){n[0]->value, n[1]->value, false}, line);
    }
    if (have == 1 && to) {
      *is = true;
      return add_span(r, (lu_tested_span){0, n[0]->value, true}, line);
    }
  }
  if (has_word(t, count, ends, sizeof ends / sizeof *ends))
    r->log->complete = *is = true;
  return LU_OK;
}

/* --- the log ----------------------------------------------------------------------------------------- */

static lu_status add_unread(reader *r, const char *line, size_t len, uint32_t number)
{
  lu_faillog *g = r->log;
  if (r->first_unread == SIZE_MAX)
    r->first_unread = (size_t)(line - (const char *)r->in.at);
  if (g->unread < LU_FAILLOG_SHOWN) {
    char *text = lu_arena_text(r->mem, line, len > TEXT_SHOWN ? TEXT_SHOWN : len);
    if (!text)
      return lu_fail(r->err, LU_ERR_NOMEM, 0, 0, "no room for the log");
    lu_text_tidy(text);
    g->shown[g->unread].line = number;
    g->shown[g->unread].text = text;
  }
  g->unread++;
  return LU_OK;
}

static lu_status read_line(reader *r, const char *line, size_t len, uint32_t number)
{
  token t[TOKENS_MOST];
  const token *found[R_ROLES] = {NULL};
  size_t count = tokens_of(line, len, t);
  bool is = false, numbers = false;
  operation o = find_operation(t, count, line);
  lu_status s = o.element || o.number ? LU_OK : pattern_line(r, t, count, line, len, &is);
  if (s || is)
    return s;
  if (keyworded(t, count, found))
    return add_failure(r, found, &o, number);
  if (heading(r, t, count))
    return LU_OK;
  memset(found, 0, sizeof found);
  bool first = has_word(t, count, tested, sizeof tested / sizeof *tested);
  s = first ? mark(r, t, count, number, &is) : LU_OK;
  if (s || is)
    return s;
  if (by_columns(r, t, count, found))
    return add_failure(r, found, &o, number);
  s = first ? LU_OK : mark(r, t, count, number, &is);
  for (size_t i = 0; i < count; i++)
    numbers |= t[i].rank <= LETTERS && !t[i].counter;
  return s || is || !numbers ? s : add_unread(r, line, len, number);
}

lu_status lu_faillog_read(lu_bytes in, lu_arena *mem, lu_faillog **out, lu_err *err)
{
  reader r = {.in = in, .mem = mem, .err = err, .order = {R_ADDRESS, R_EXPECTED, R_GOT}, .first_unread = SIZE_MAX};
  const char *at = (const char *)in.at, *end = at + in.len, *line;
  size_t len;
  r.log = LU_NEW(mem, lu_faillog, 1);
  if (!r.log)
    return lu_fail(err, LU_ERR_NOMEM, 0, 0, "no room for the log");
  for (uint32_t number = 1; at < end && lu_text_line(&at, end, &line, &len); number++) {
    lu_status s = read_line(&r, line, len, number);
    if (s)
      return s;
  }
  lu_faillog *g = r.log;
  if (!g->count && !g->span_count && !g->complete)
    return lu_fail_at(err, LU_ERR_SYNTAX, (const char *)in.at, in.len, r.first_unread == SIZE_MAX ? 0 : r.first_unread,
                      "expected lines of address, expected and got in hex; no line of this log gives them");
  g->cut |= r.counted > g->count;
  g->complete &= !g->cut;
  *out = g;
  return LU_OK;
}
