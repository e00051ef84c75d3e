/* SPDX-License-Identifier: MIT */
/* Netlists as tables: one row a pin (net, ref, pin, function), or one row a net with its REF.PINs.
 *
 * Quoting as RFC 4180 has it, but a cell ends with its line. Separator: comma, semicolon or tab,
 * whichever the first row holds. A first row of known words names the columns. */
#include "formats/forms.h"
#include "formats/netbuild.h"

#include <ctype.h>
#include <string.h>

enum { CELLS = 4096 };

typedef enum column { NET, REF, PIN, FUNCTION, VALUE, PINS, COLUMNS } column;

static const struct {
  const char *word; /* without blanks and underlines */
  column column;
} words[] = {
    {"net", NET},           {"netname", NET},       {"signal", NET},
    {"ref", REF},           {"refdes", REF},        {"reference", REF},
    {"designator", REF},    {"part", REF},          {"component", REF},
    {"pin", PIN},           {"pinnumber", PIN},     {"pinno", PIN},
    {"pinnum", PIN},        {"number", PIN},        {"function", FUNCTION},
    {"pinname", FUNCTION},  {"pinfunction", FUNCTION}, {"value", VALUE},
    {"type", VALUE},        {"pins", PINS},         {"nodes", PINS},
    {"connections", PINS},
};

typedef struct cell {
  const char *text;
  size_t len;
  const char *place;
} cell;

typedef struct reader {
  lu_netbuild b;
  char separator;
  bool lists;             /* one row a net */
  uint32_t at[COLUMNS];   /* cell of a column, or LU_NONE */
  cell cells[CELLS];
  uint32_t count;
  char *plain;            /* room for cells whose quotes were undone */
} reader;

static char separator_of(const char *line, size_t len)
{
  bool quoted = false;
  char found = 0;
  for (size_t i = 0; i < len; i++) {
    if (line[i] == '"')
      quoted = !quoted;
    if (quoted)
      continue;
    if (line[i] == '\t' || line[i] == ';')
      return line[i];
    if (line[i] == ',' && !found)
      found = ',';
  }
  return found;
}

static bool is_remark(const char *line, size_t len)
{
  while (len && (*line == ' ' || *line == '\t'))
    line++, len--;
  return !len || (*line == '#' && (len == 1 || line[1] == ' ' || line[1] == '\t'));
}

/* A quoted cell; at is behind the quote. */
static lu_status quoted_cell(reader *r, const char **at, const char *end, cell *c)
{
  const char *p = *at;
  char *to = r->plain;
  for (;; p++) {
    if (p == end)
      return lu_netbuild_fail(&r->b, LU_ERR_SYNTAX, c->place,
                              "expected a closing quote in this line, found none");
    if (*p == '"') {
      if (p + 1 == end || p[1] != '"')
        break;
      p++;
    }
    *to++ = *p;
  }
  c->text = r->plain;
  c->len = (size_t)(to - r->plain);
  r->plain = to;
  p++;
  while (p < end && *p != r->separator && isblank((unsigned char)*p))
    p++;
  if (p < end && *p != r->separator)
    return lu_netbuild_fail(&r->b, LU_ERR_SYNTAX, p,
                            "expected the separator behind a quoted cell, found '%c'",
                            isprint((unsigned char)*p) ? *p : '?');
  *at = p;
  return LU_OK;
}

static lu_status split(reader *r, const char *line, size_t len, char *plain)
{
  const char *at = line, *end = line + len;
  r->plain = plain;
  r->count = 0;
  for (;;) {
    while (at < end && *at != r->separator && isblank((unsigned char)*at))
      at++;
    if (r->count == CELLS)
      return lu_netbuild_fail(&r->b, LU_ERR_LIMIT, at, "expected at most %d cells a row", CELLS);
    cell *c = &r->cells[r->count++];
    *c = (cell){at, 0, at};
    if (at < end && *at == '"') {
      at++;
      lu_status st = quoted_cell(r, &at, end, c);
      if (st)
        return st;
    } else {
      const char *stop = memchr(at, r->separator, (size_t)(end - at));
      at = stop ? stop : end;
      c->len = (size_t)(at - c->text);
      while (c->len && isblank((unsigned char)c->text[c->len - 1]))
        c->len--;
    }
    if (at == end)
      return LU_OK;
    at++;
  }
}

static column word_column(const cell *c)
{
  char word[24];
  size_t n = 0;
  for (size_t i = 0; i < c->len; i++) {
    if (c->text[i] == ' ' || c->text[i] == '_')
      continue;
    if (n == sizeof word - 1)
      return COLUMNS;
    word[n++] = (char)tolower((unsigned char)c->text[i]);
  }
  word[n] = 0;
  for (size_t i = 0; i < sizeof words / sizeof *words; i++)
    if (!strcmp(words[i].word, word))
      return words[i].column;
  return COLUMNS;
}

/* True when the row names columns. */
static bool take_header(reader *r)
{
  uint32_t at[COLUMNS];
  for (int i = 0; i < COLUMNS; i++)
    at[i] = LU_NONE;
  for (uint32_t i = 0; i < r->count; i++) {
    column k = word_column(&r->cells[i]);
    if (k != COLUMNS && at[k] == LU_NONE)
      at[k] = i;
  }
  bool table = at[NET] != LU_NONE && at[REF] != LU_NONE && at[PIN] != LU_NONE;
  bool lists = at[NET] != LU_NONE && at[REF] == LU_NONE &&
               (at[PINS] != LU_NONE || at[PIN] != LU_NONE) && r->count >= 2;
  if (!table && !lists)
    return false;
  if (!table && at[PINS] == LU_NONE)
    at[PINS] = at[PIN];
  r->lists = !table;
  memcpy(r->at, at, sizeof at);
  return true;
}

static bool is_pin(const cell *c)
{
  size_t ref, pin;
  return c->len && isalpha((unsigned char)c->text[0]) && memchr(c->text, '.', c->len) &&
         !memchr(c->text, ' ', c->len) && lu_netform_split_pin(c->text, c->len, &ref, &pin);
}

static void guess_columns(reader *r)
{
  for (int i = 0; i < COLUMNS; i++)
    r->at[i] = LU_NONE;
  r->at[NET] = 0;
  cell first = r->count > 1 ? r->cells[1] : (cell){0};
  const char *blank = first.len ? memchr(first.text, ' ', first.len) : NULL;
  if (blank)
    first.len = (size_t)(blank - first.text);
  r->lists = is_pin(&first);
  if (r->lists) {
    r->at[PINS] = 1;
    return;
  }
  r->at[REF] = 1;
  r->at[PIN] = 2;
  r->at[FUNCTION] = 3;
}

static lu_status want(reader *r, column k, const char *what, const char *line, uint32_t *atom)
{
  const cell *c = r->at[k] < r->count ? &r->cells[r->at[k]] : NULL;
  if (!c || !c->len)
    return lu_netbuild_fail(&r->b, LU_ERR_SYNTAX, c ? c->place : line,
                            "expected %s in cell %u of this row, found %s", what, r->at[k] + 1,
                            c ? "an empty cell" : "fewer cells");
  return lu_netbuild_atom(&r->b, c->text, c->len, c->place, atom);
}

static lu_status optional(reader *r, column k, uint32_t *atom)
{
  const cell *c = r->at[k] < r->count ? &r->cells[r->at[k]] : NULL;
  *atom = LU_NONE;
  return c && c->len ? lu_netbuild_atom(&r->b, c->text, c->len, c->place, atom) : LU_OK;
}

static lu_status pin_row(reader *r, const char *line)
{
  uint32_t net, ref, pin, function, val;
  lu_status st = want(r, NET, "a net", line, &net);
  if (!st)
    st = want(r, REF, "a part's reference", line, &ref);
  if (!st)
    st = want(r, PIN, "a pin's number", line, &pin);
  if (!st)
    st = optional(r, FUNCTION, &function);
  if (!st)
    st = optional(r, VALUE, &val);
  if (st)
    return st;
  uint32_t n = lu_netbuild_net(&r->b, net), p = lu_netbuild_part(&r->b, ref);
  if (n == LU_NONE || p == LU_NONE ||
      !lu_netbuild_pin(&r->b, p, n, pin, function, r->cells[r->at[NET]].place))
    return lu_netbuild_nomem(&r->b);
  lu_net_part *part = lu_netbuild_part_at(&r->b, p);
  if (!part->value)
    part->value = lu_netbuild_text(&r->b, val);
  return LU_OK;
}

static lu_status net_row(reader *r, const char *line)
{
  uint32_t name;
  lu_status st = want(r, NET, "a net", line, &name);
  if (st)
    return st;
  uint32_t net = lu_netbuild_net(&r->b, name);
  if (net == LU_NONE)
    return lu_netbuild_nomem(&r->b);
  for (uint32_t i = r->at[PINS]; !st && i < r->count; i++)
    if (i != r->at[NET])
      st = lu_netform_pins(&r->b, net, r->cells[i].text, r->cells[i].len, r->cells[i].place);
  return st;
}

static lu_status read_rows(reader *r, lu_bytes in)
{
  const char *at = (const char *)in.at, *end = at + in.len, *line;
  size_t len;
  lu_status st = LU_OK;
  bool first = true;
  char *plain = NULL;
  size_t room = 0;
  if (in.len >= 3 && !memcmp(at, "\xef\xbb\xbf", 3))
    at += 3;
  while (!st && lu_text_line(&at, end, &line, &len)) {
    if (is_remark(line, len))
      continue;
    if (len > room) {
      room = len + len / 2 + 256;
      plain = lu_arena_take(&r->b.work, room);
      if (!plain)
        return lu_netbuild_nomem(&r->b);
    }
    if (first && !(r->separator = separator_of(line, len)))
      return lu_netbuild_fail(&r->b, LU_ERR_SYNTAX, line,
                              "expected cells with commas, semicolons or tabs between, found none");
    st = split(r, line, len, plain);
    if (!st && first) {
      first = false;
      if (take_header(r))
        continue;
      guess_columns(r);
    }
    if (!st)
      st = r->lists ? net_row(r, line) : pin_row(r, line);
  }
  if (!st && first)
    st = lu_netbuild_fail(&r->b, LU_ERR_MISSING, end, "expected rows of a netlist, found none");
  return st;
}

static lu_status csv_read(lu_bytes in, lu_arena *mem, lu_netlist **out, lu_err *err)
{
  lu_netbuild b;
  lu_status st = lu_netbuild_begin(&b, "csv", in, mem, err);
  reader *r = st ? NULL : LU_NEW(&b.work, reader, 1);
  if (!r) {
    lu_netbuild_end(&b);
    return st ? st : lu_netbuild_nomem(&b);
  }
  r->b = b;
  st = read_rows(r, in);
  if (!st)
    st = lu_netbuild_done(&r->b, LU_TWICE_NOTED, NULL, out);
  b = r->b; /* r lies in the memory that is freed now */
  lu_netbuild_end(&b);
  return st;
}

/* The first row that is no remark decides. */
static int csv_recognise(lu_bytes in)
{
  const char *at = (const char *)in.at, *end = at + (in.len < 65536 ? in.len : 65536), *line;
  size_t len;
  if (in.len >= 3 && !memcmp(at, "\xef\xbb\xbf", 3))
    at += 3;
  while (lu_text_line(&at, end, &line, &len)) {
    if (is_remark(line, len))
      continue;
    char separator = separator_of(line, len);
    if (!separator || memchr(line, 0, len) || *line == '(')
      return 0;
    size_t cells = 1;
    for (size_t i = 0; i < len; i++)
      cells += line[i] == separator;
    return cells >= 3 ? 40 : 30;
  }
  return 0;
}

const lu_netform lu_netform_csv = {
    .name = "csv",
    .summary = "rows net,ref,pin[,function] or net and its REF.PINs; comma, semicolon or tab",
    .recognise = csv_recognise,
    .read = csv_read,
};
