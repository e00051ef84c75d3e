/* SPDX-License-Identifier: MIT */
/* The lines of a pattern file. */
#include "pattern/parse.h"

#include <stdio.h>
#include <string.h>

typedef struct field {
  size_t at, end; /* of the value in the file; at 0 = not given */
  size_t key;
} field;

enum { NAME, TITLE, SOURCE, ABOUT, BACKGROUNDS, ORDERS, LANES, MARCH, FIELDS };
static const char *const keys[FIELDS] = {"name",   "title", "source", "about", "backgrounds",
                                         "orders", "lanes", "march"};

static bool is_space(char c)
{
  return c == ' ' || c == '\t' || c == '\r';
}

/* Where the line that begins at `at` ends (its newline, or the end of the file). */
static size_t line_end(const lu_pattern_cursor *cur, size_t at)
{
  const char *nl = memchr(cur->text + at, '\n', cur->len - at);
  return nl ? (size_t)(nl - cur->text) : cur->len;
}

/* A value goes on over the lines that begin with a space. */
static size_t value_end(const lu_pattern_cursor *cur, size_t at)
{
  size_t end = line_end(cur, at);
  while (end + 1 < cur->len && is_space(cur->text[end + 1]))
    end = line_end(cur, end + 1);
  return end;
}

static lu_status read_key(lu_pattern_cursor *cur, field fields[FIELDS])
{
  size_t key = cur->at, stop = line_end(cur, key), colon = key;
  while (colon < stop && cur->text[colon] != ':')
    colon++;
  if (colon == stop)
    return lu_fail_at(cur->err, LU_ERR_SYNTAX, cur->text, cur->len, key,
                      "expected \"key: value\", a comment (#) or an indented line");
  int found = -1;
  for (int i = 0; i < FIELDS; i++)
    if (strlen(keys[i]) == colon - key && !memcmp(keys[i], cur->text + key, colon - key))
      found = i;
  if (found < 0) {
    char word[24];
    snprintf(word, sizeof word, "%.*s", (int)(colon - key < 23 ? colon - key : 23),
             cur->text + key);
    const char *near = lu_text_nearest(word, keys, FIELDS);
    return lu_fail_at(cur->err, LU_ERR_SYNTAX, cur->text, cur->len, key,
                      "unknown key \"%s\"; the nearest is \"%s\"", word, near ? near : "name");
  }
  if (fields[found].at)
    return lu_fail_at(cur->err, LU_ERR_SYNTAX, cur->text, cur->len, key, "a second \"%s\"",
                      keys[found]);
  size_t at = colon + 1, end = value_end(cur, at);
  while (at < end && (is_space(cur->text[at]) || cur->text[at] == '\n'))
    at++;
  while (end > at && (is_space(cur->text[end - 1]) || cur->text[end - 1] == '\n'))
    end--;
  if (at == end)
    return lu_fail_at(cur->err, LU_ERR_SYNTAX, cur->text, cur->len, colon,
                      "\"%s\" has no value", keys[found]);
  fields[found] = (field){.at = at, .end = end, .key = key};
  cur->at = value_end(cur, colon + 1);
  return LU_OK;
}

static lu_status read_keys(lu_pattern_cursor *cur, field fields[FIELDS])
{
  while (cur->at < cur->len) {
    char c = cur->text[cur->at];
    if (c == '#') {
      cur->at = line_end(cur, cur->at);
    } else if (is_space(c)) {
      size_t at = cur->at, stop = line_end(cur, at);
      while (at < stop && is_space(cur->text[at]))
        at++;
      if (at < stop && cur->text[at] != '#')
        return lu_fail_at(cur->err, LU_ERR_SYNTAX, cur->text, cur->len, at,
                          "an indented line that continues nothing");
      cur->at = stop;
    } else if (c != '\n') {
      lu_status status = read_key(cur, fields);
      if (status)
        return status;
    }
    if (cur->at < cur->len && cur->text[cur->at] == '\n')
      cur->at++;
  }
  return LU_OK;
}

/* The value with every run of spaces and line ends made one space. */
static const char *tidy(const lu_pattern_cursor *cur, field f)
{
  char *out = lu_arena_take(cur->mem, f.end - f.at + 1);
  if (!out)
    return NULL;
  size_t n = 0;
  bool space = false;
  for (size_t i = f.at; i < f.end; i++) {
    char c = cur->text[i];
    if (is_space(c) || c == '\n') {
      space = true;
      continue;
    }
    if (space)
      out[n++] = ' ';
    space = false;
    out[n++] = (unsigned char)c < 0x20 || c == 0x7f ? '?' : c;
  }
  out[n] = '\0';
  return out;
}

static lu_status check_name(const lu_pattern_cursor *cur, field f)
{
  if (f.end - f.at > 48)
    return lu_fail_at(cur->err, LU_ERR_LIMIT, cur->text, cur->len, f.at,
                      "a name has at most 48 characters, this one %zu", f.end - f.at);
  for (size_t i = f.at; i < f.end; i++) {
    char c = cur->text[i];
    if (!(c >= 'a' && c <= 'z') && !(c >= '0' && c <= '9') && c != '-')
      return lu_fail_at(cur->err, LU_ERR_SYNTAX, cur->text, cur->len, i,
                        "a name has lower-case letters, digits and hyphens only");
  }
  return LU_OK;
}

/* One item of a comma list: words without the spaces around. Moves cur->at past the comma. */
static bool next_item(lu_pattern_cursor *cur, size_t *at, size_t *end)
{
  if (cur->at >= cur->end)
    return false;
  size_t stop = cur->at;
  while (stop < cur->end && cur->text[stop] != ',')
    stop++;
  *at = cur->at;
  *end = stop;
  while (*at < stop && (is_space(cur->text[*at]) || cur->text[*at] == '\n'))
    ++*at;
  while (*end > *at && (is_space(cur->text[*end - 1]) || cur->text[*end - 1] == '\n'))
    --*end;
  cur->at = stop + 1;
  return true;
}

static lu_status read_background(lu_pattern_cursor *cur, size_t at, size_t end, lu_background *out)
{
  static const char vectors[] = "vectors ";
  const char *text = cur->text + at;
  size_t len = end - at, skip = strlen(vectors);
  if (len > skip && !memcmp(text, vectors, skip)) {
    while (skip < len && is_space(text[skip]))
      skip++;
    if (lu_vectors_named(text + skip, len - skip, &out->vectors))
      return LU_OK;
    return lu_fail_at(cur->err, LU_ERR_MISSING, cur->text, cur->len, at + skip,
                      "unknown vectors \"%.*s\"; expected counting, modified-counting, true-complement, "
                      "constant-weight, walking-ones, walking-zeros, words or solid",
                      (int)(len - skip < 32 ? len - skip : 32), text + skip);
  }
  lu_vectors set;
  if (lu_vectors_named(text, len, &set) &&
      (set == LU_VECTORS_SOLID || set == LU_VECTORS_BACKGROUNDS)) {
    out->vectors = set;
    return LU_OK;
  }
  char name[64];
  lu_err why = {0};
  snprintf(name, sizeof name, "%.*s", (int)(len < 63 ? len : 63), text);
  if (lu_contents_named(name, &out->contents, &why) == LU_OK)
    return LU_OK;
  return lu_fail_at(cur->err, LU_ERR_MISSING, cur->text, cur->len, at,
                    "unknown background: %s; or solid, words, vectors NAME", why.message);
}

static lu_status read_backgrounds(lu_pattern_cursor *cur, lu_pattern *pattern)
{
  size_t at, end;
  while (next_item(cur, &at, &end)) {
    if (pattern->background_count == LU_PATTERN_LISTS_MOST)
      return lu_fail_at(cur->err, LU_ERR_LIMIT, cur->text, cur->len, at,
                        "more than %d backgrounds", LU_PATTERN_LISTS_MOST);
    lu_status status =
      read_background(cur, at, end, &pattern->backgrounds[pattern->background_count]);
    if (status)
      return status;
    pattern->background_count++;
  }
  return LU_OK;
}

static lu_status read_orders(lu_pattern_cursor *cur, lu_pattern *pattern)
{
  static const char *const names[] = {"linear", "rows", "columns", "lines", "complement", "turns"};
  size_t at, end;
  while (next_item(cur, &at, &end)) {
    int found = -1;
    for (int i = 0; i < 6; i++)
      if (strlen(names[i]) == end - at && !memcmp(names[i], cur->text + at, end - at))
        found = i;
    if (found < 0)
      return lu_fail_at(cur->err, LU_ERR_VALUE, cur->text, cur->len, at,
                        "unknown order \"%.*s\"; expected linear, rows, columns, lines, complement or turns",
                        (int)(end - at < 32 ? end - at : 32), cur->text + at);
    if (pattern->order_count == LU_PATTERN_LISTS_MOST)
      return lu_fail_at(cur->err, LU_ERR_LIMIT, cur->text, cur->len, at, "more than %d orders",
                        LU_PATTERN_LISTS_MOST);
    pattern->orders[pattern->order_count++] = (lu_order)found;
  }
  return LU_OK;
}

static lu_status read_lanes(lu_pattern_cursor *cur, lu_pattern *pattern)
{
  size_t len = cur->end - cur->at;
  const char *text = cur->text + cur->at;
  pattern->by_lanes = len == 5 && !memcmp(text, "bytes", 5);
  if (!pattern->by_lanes && !(len == 4 && !memcmp(text, "word", 4)))
    return lu_fail_at(cur->err, LU_ERR_VALUE, cur->text, cur->len, cur->at,
                      "expected word (all at once) or bytes (every byte lane in turn)");
  return LU_OK;
}

static lu_status read_lists(lu_pattern_cursor *cur, const field fields[FIELDS],
                            lu_pattern *pattern)
{
  static lu_status (*const readers[FIELDS])(lu_pattern_cursor *, lu_pattern *) = {
    [BACKGROUNDS] = read_backgrounds,
    [ORDERS] = read_orders,
    [LANES] = read_lanes,
    [MARCH] = lu_pattern_read_march,
  };
  for (int i = 0; i < FIELDS; i++) {
    if (!readers[i] || !fields[i].at)
      continue;
    cur->at = fields[i].at;
    cur->end = fields[i].end;
    lu_status status = readers[i](cur, pattern);
    if (status)
      return status;
  }
  if (!pattern->background_count)
    pattern->background_count = 1; /* solid, the first of the enum */
  if (!pattern->order_count)
    pattern->order_count = 1; /* linear */
  return LU_OK;
}

lu_status lu_pattern_read(lu_bytes in, lu_arena *mem, lu_pattern **out, lu_err *err)
{
  lu_pattern_cursor cur = {.text = (const char *)in.at, .len = in.len, .mem = mem, .err = err};
  if (in.len > LU_PATTERN_BYTES_MOST)
    return lu_fail(err, LU_ERR_LIMIT, 0, 0, "a pattern has at most %d bytes, this one %zu",
                   LU_PATTERN_BYTES_MOST, in.len);
  field fields[FIELDS] = {0};
  lu_status status = in.len ? read_keys(&cur, fields) : LU_OK;
  if (status)
    return status;
  static const int needed[] = {NAME, SOURCE, MARCH};
  for (int i = 0; i < 3; i++)
    if (!fields[needed[i]].at)
      return lu_fail_at(err, LU_ERR_SYNTAX, in.len ? cur.text : "", in.len, in.len,
                        "the pattern has no \"%s\"", keys[needed[i]]);
  if ((status = check_name(&cur, fields[NAME])))
    return status;
  lu_pattern *pattern = LU_NEW(mem, lu_pattern, 1);
  if (!pattern)
    return lu_fail(err, LU_ERR_NOMEM, 0, 0, "no room for a pattern");
  if ((status = read_lists(&cur, fields, pattern)))
    return status;
  pattern->name = tidy(&cur, fields[NAME]);
  pattern->title = tidy(&cur, fields[TITLE].at ? fields[TITLE] : fields[NAME]);
  pattern->source = tidy(&cur, fields[SOURCE]);
  pattern->about = fields[ABOUT].at ? tidy(&cur, fields[ABOUT]) : "";
  pattern->march = lu_pattern_write_march(pattern, mem);
  if (!pattern->name || !pattern->title || !pattern->source || !pattern->about || !pattern->march)
    return lu_fail(err, LU_ERR_NOMEM, 0, 0, "no room for a pattern");
  if ((status = lu_pattern_check_reads(&cur, pattern)))
    return status;
  *out = pattern;
  return LU_OK;
}
