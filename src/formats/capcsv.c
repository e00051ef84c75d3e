/* SPDX-License-Identifier: MIT */
/* Captures as plain tables: a header, then a row a sample or a row a change. The layout is our own
 * reading of what loggers export, no standard fixes it: docs/captures.md says what is accepted. */
#include "formats/capstate.h"

#include <stdarg.h>
#include <stdio.h>
#include <string.h>

enum { LINE_MOST = 1 << 20, COLUMNS_MOST = 4096 };

typedef struct csv {
  lu_capstate s;
  lu_cap_options options;
  bool has_head;
  char separator;
  int power;            /* a time of 1 in the first column is 10^power ticks */
  size_t columns;       /* signals: the first column not counted */
  char *carry;          /* the unfinished line at the end of the last piece */
  size_t carry_len, carry_room;
  uint32_t line;        /* of the next line to read, from 1 */
} csv;

typedef struct cell {
  const char *at;       /* without quotes and outer blanks */
  size_t len;
} cell;

static lu_status fail(const csv *c, lu_err *err, lu_status status, const char *line, size_t len,
                      const char *at, const char *format, ...) __attribute__((format(printf, 7, 8)));

static lu_status fail(const csv *c, lu_err *err, lu_status status, const char *line, size_t len,
                      const char *at, const char *format, ...)
{
  char text[240];
  va_list ap;
  va_start(ap, format);
  vsnprintf(text, sizeof text, format, ap);
  va_end(ap);
  lu_fail_at(err, status, line, len, (size_t)(at - line), "%s", text);
  if (err)
    err->line = c->line;
  return status;
}

/* The next cell of the line; false when there is none. *p moves past its separator, to NULL after
 * the last one. */
static bool next_cell(const csv *c, const char **p, const char *end, cell *out)
{
  const char *at = *p;
  if (!at)
    return false;
  while (at < end && *at == ' ')
    at++;
  bool quoted = at < end && *at == '"';
  const char *stop = at + quoted;
  while (stop < end && *stop != (quoted ? '"' : c->separator))
    stop++;
  const char *next = stop;
  while (next < end && *next != c->separator)
    next++;
  *out = (cell){at + quoted, (size_t)(stop - at - quoted)};
  while (out->len && out->at[out->len - 1] == ' ')
    out->len--;
  *p = next < end ? next + 1 : NULL;
  return true;
}

static bool word_in(const char *text, size_t len, const char *word)
{
  size_t n = strlen(word);
  for (size_t i = 0; i + n <= len; i++) {
    size_t k = 0;
    while (k < n && (text[i + k] | 0x20) == word[k])
      k++;
    if (k == n)
      return true;
  }
  return false;
}

/* The unit named at the end of a time column's title: "Time [s]", "time_ns", "t (us)", "Time/ms". */
static bool time_unit(const char *text, size_t len, int *power)
{
  static const struct {
    const char *name;
    int power;
  } units[] = {{"s", 12},  {"sec", 12},      {"seconds", 12}, {"ms", 9},
               {"us", 6},  {"\xc2\xb5s", 6}, {"\xce\xbcs", 6}, {"ns", 3}, {"ps", 0}};
  while (len && strchr(")] ", text[len - 1]))
    len--;
  size_t start = len;
  while (start && !strchr("([ _/", text[start - 1]))
    start--;
  *power = 12;
  if (!start)
    return len == 1 ? (text[0] | 0x20) == 't' : len == 4 && word_in(text, len, "time");
  for (size_t i = 0; i < sizeof units / sizeof *units; i++)
    if (strlen(units[i].name) == len - start && !memcmp(text + start, units[i].name, len - start)) {
      *power = units[i].power;
      return true;
    }
  return false;
}

static lu_status first_title(csv *c, const char *line, size_t len, cell t, lu_err *err)
{
  if (word_in(t.at, t.len, "sample") || word_in(t.at, t.len, "index") ||
      (t.len == 1 && ((*t.at | 0x20) == 'n' || *t.at == '#'))) {
    c->s.cap.sampled = true;
    c->s.cap.tick_s = c->options.rate_hz > 0 ? 1 / c->options.rate_hz : 0;
    c->power = 0;
    return LU_OK;
  }
  c->s.cap.tick_s = 1e-12;
  if (t.len && ((*t.at | 0x20) == 't') && time_unit(t.at, t.len, &c->power))
    return LU_OK;
  return fail(c, err, LU_ERR_SYNTAX, line, len, t.at,
              "expected a first column titled time (with s, ms, us, ns or ps) or sample, found '%.*s'",
              (int)(t.len > 40 ? 40 : t.len), t.at);
}

static lu_status title(csv *c, const char *line, size_t len, cell t, lu_err *err)
{
  lu_cap_signal s = {.kind = LU_CAP_LEVEL, .width = 1, .msb = -1, .lsb = -1, .line = c->line};
  size_t name_len = t.len;
  int32_t msb, lsb;
  if (lu_capstate_find_range(t.at, &name_len, &msb, &lsb) && name_len) {
    s.msb = msb;
    s.lsb = lsb;
    s.width = (uint32_t)(msb > lsb ? msb - lsb : lsb - msb) + 1;
  } else {
    name_len = t.len;
  }
  if (!t.len)
    return fail(c, err, LU_ERR_SYNTAX, line, len, t.at, "expected a signal's name in column %zu, found none",
                c->columns + 2);
  if (s.width > LU_CAP_WIDTH_MOST)
    return fail(c, err, LU_ERR_LIMIT, line, len, t.at, "more than %d bits", LU_CAP_WIDTH_MOST);
  if (c->columns == COLUMNS_MOST)
    return fail(c, err, LU_ERR_LIMIT, line, len, t.at, "more than %d columns", COLUMNS_MOST);
  s.path = s.name = lu_arena_text(c->s.mem, t.at, name_len);
  for (size_t i = 0; s.path && i < c->s.cap.signal_count; i++) {
    const lu_cap_signal *o = &c->s.cap.signals[i];
    if (!strcmp(o->path, s.path) && o->lsb == s.lsb && o->msb == s.msb)
      return fail(c, err, LU_ERR_VALUE, line, len, t.at, "two columns are titled '%s'", s.path);
  }
  if (!s.path || !lu_capstate_add(&c->s, s, SIZE_MAX))
    return lu_fail(err, LU_ERR_NOMEM, 0, 0, "no room for the capture's header");
  c->columns++;
  return LU_OK;
}

static lu_status head(csv *c, const char *line, size_t len, lu_err *err)
{
  const char *p = line, *end = line + len;
  for (size_t i = 0; i < len; i++)
    if ((unsigned char)line[i] < 0x20 && line[i] != '\t')
      return fail(c, err, LU_ERR_SYNTAX, line, len, line + i, "expected text, found the byte 0x%02x",
                  (unsigned char)line[i]);
  c->separator = memchr(line, '\t', len) ? '\t' : memchr(line, ';', len) ? ';' : ',';
  cell t;
  next_cell(c, &p, end, &t);
  lu_status s = first_title(c, line, len, t, err);
  while (s == LU_OK && next_cell(c, &p, end, &t)) {
    if (!t.len && !p && c->columns)
      break; /* a separator at the end of the line */
    s = title(c, line, len, t, err);
  }
  if (s != LU_OK)
    return s;
  if (!c->columns)
    return fail(c, err, LU_ERR_SYNTAX, line, len, line, "expected signals after the first column");
  c->has_head = true;
  return lu_capstate_begin(&c->s, err);
}

/* A decimal number times 10^power as a whole number, half rounded away from zero; exact where double
 * would not be. */
static bool decimal(cell t, int power, int64_t *value)
{
  size_t i = 0;
  bool minus = false, point = false, any = false;
  uint64_t v = 0;
  if (i < t.len && (t.at[i] == '-' || t.at[i] == '+'))
    minus = t.at[i++] == '-';
  for (; i < t.len && (t.at[i] == '.' || (t.at[i] >= '0' && t.at[i] <= '9')); i++) {
    if (t.at[i] == '.') {
      if (point)
        return false;
      point = true;
      continue;
    }
    any = true;
    if (v > (UINT64_MAX - 9) / 10)
      return false;
    v = v * 10 + (uint64_t)(t.at[i] - '0');
    power -= point;
  }
  if (!any)
    return false;
  if (i < t.len) {
    uint64_t e;
    size_t k = i + 1;
    bool down = k < t.len && t.at[k] == '-';
    k += k < t.len && (t.at[k] == '-' || t.at[k] == '+');
    if ((t.at[i] | 0x20) != 'e' || !lu_text_u64(t.at + k, t.len - k, 10, 99, &e))
      return false;
    power += down ? -(int)e : (int)e;
  }
  for (; power > 0 && v; power--)
    if (__builtin_mul_overflow(v, 10u, &v))
      return false;
  for (; power < -1 && v; power++)
    v /= 10;
  if (power == -1)
    v = (v + 5) / 10;
  if (v > INT64_MAX)
    return false;
  *value = minus ? -(int64_t)v : (int64_t)v;
  return true;
}

static lu_status row_time(csv *c, const char *line, size_t len, cell t, lu_err *err)
{
  int64_t at;
  if (!decimal(t, c->power, &at))
    return fail(c, err, LU_ERR_SYNTAX, line, len, t.at, "expected a %s, found '%.*s'",
                c->s.cap.sampled ? "sample number" : "time", (int)(t.len > 40 ? 40 : t.len), t.at);
  if (c->s.has_time && at < c->s.time)
    return fail(c, err, LU_ERR_VALUE, line, len, t.at, "time goes backwards");
  lu_status s = c->s.has_time && at != c->s.time ? lu_capstate_emit(&c->s, err) : LU_OK;
  c->s.time = at;
  c->s.has_time = true;
  return s;
}

/* Digits of 1 or 4 bits, rightmost first, onto the signal. False: a wrong digit or too many. */
static bool put_digits(csv *c, const lu_cap_signal *s, const char *at, size_t len, unsigned bits)
{
  for (size_t i = 0; i < len; i++) {
    char d = at[len - 1 - i];
    bool odd = strchr("xXzZ", d) && d;
    int v = odd ? 0 : lu_hex_digit((unsigned char)d);
    if (v < 0 || v >= 1 << bits)
      return false;
    for (unsigned k = 0; k < bits; k++) {
      char level = odd ? d : (char)('0' + (v >> k & 1));
      size_t bit = i * bits + k;
      if (bit < s->width)
        lu_capstate_put_level(&c->s, s->home + (uint32_t)bit, level);
      else if (level == '1')
        return false;
    }
  }
  for (size_t bit = len * bits; bit < s->width; bit++)
    lu_capstate_put_level(&c->s, s->home + (uint32_t)bit, strchr("xXzZ", at[0]) ? at[0] : '0');
  return len > 0;
}

static lu_status row_cell(csv *c, const char *line, size_t len, cell t, size_t column, lu_err *err)
{
  const lu_cap_signal *s = &c->s.cap.signals[column];
  if (!t.len)
    return LU_OK; /* unchanged */
  bool fine;
  if (s->width == 1) {
    fine = t.len == 1 && strchr("01xXzZ", *t.at);
    if (fine)
      lu_capstate_put_level(&c->s, s->home, *t.at);
  } else if (t.len > 2 && t.at[0] == '0' && (t.at[1] | 0x20) == 'x') {
    fine = put_digits(c, s, t.at + 2, t.len - 2, 4);
  } else if (t.len > 2 && t.at[0] == '0' && (t.at[1] | 0x20) == 'b' && t.len - 2 == s->width) {
    fine = put_digits(c, s, t.at + 2, t.len - 2, 1);
  } else {
    fine = put_digits(c, s, t.at, t.len, 4);
  }
  if (fine)
    return LU_OK;
  return fail(c, err, LU_ERR_VALUE, line, len, t.at, "expected %s for %s, found '%.*s'",
              s->width == 1 ? "0, 1, x or z" : "a hex value that fits the range", s->name,
              (int)(t.len > 40 ? 40 : t.len), t.at);
}

static lu_status row(csv *c, const char *line, size_t len, lu_err *err)
{
  const char *p = line, *end = line + len;
  cell t;
  next_cell(c, &p, end, &t);
  lu_status s = row_time(c, line, len, t, err);
  size_t column = 0;
  while (s == LU_OK && next_cell(c, &p, end, &t)) {
    if (column == c->columns && !t.len && !p)
      break; /* a separator at the end of the line */
    if (column == c->columns)
      return fail(c, err, LU_ERR_SYNTAX, line, len, t.at, "expected %zu columns, found more",
                  c->columns + 1);
    s = row_cell(c, line, len, t, column++, err);
  }
  if (s == LU_OK && column < c->columns)
    return fail(c, err, LU_ERR_SYNTAX, line, len, end, "expected %zu columns, found %zu",
                c->columns + 1, column + 1);
  return s;
}

static lu_status one_line(csv *c, const char *line, size_t len, lu_err *err)
{
  while (len && (line[len - 1] == '\r' || line[len - 1] == '\n'))
    len--;
  lu_status s = LU_OK;
  size_t i = 0;
  while (i < len && (line[i] == ' ' || line[i] == '\t'))
    i++;
  if (c->line == 1 && len >= 3 && !memcmp(line, "\xef\xbb\xbf", 3)) {
    line += 3; /* byte order mark */
    len -= 3;
  }
  bool remark = !c->has_head && len && *line == '#' &&
                !memchr(line, ',', len) && !memchr(line, ';', len) && !memchr(line, '\t', len);
  if (i < len && !remark)
    s = c->has_head ? row(c, line, len, err) : head(c, line, len, err);
  c->line++;
  return s;
}

static lu_status keep(csv *c, const char *at, size_t len, lu_err *err)
{
  if (c->carry_len + len > LINE_MOST)
    return lu_fail(err, LU_ERR_LIMIT, c->line, 1, "a line of more than %d bytes", LINE_MOST);
  if (c->carry_len + len > c->carry_room) {
    size_t room = (c->carry_len + len) * 2;
    char *more = lu_arena_take(c->s.mem, room);
    if (!more)
      return lu_fail(err, LU_ERR_NOMEM, 0, 0, "no room for a line");
    if (c->carry_len)
      memcpy(more, c->carry, c->carry_len);
    c->carry = more;
    c->carry_room = room;
  }
  if (len)
    memcpy(c->carry + c->carry_len, at, len);
  c->carry_len += len;
  return LU_OK;
}

static lu_status feed(void *reader, lu_bytes piece, lu_err *err)
{
  csv *c = reader;
  const char *p = (const char *)piece.at, *end = p + piece.len;
  while (p < end) {
    const char *nl = memchr(p, '\n', (size_t)(end - p));
    if (!nl)
      return keep(c, p, (size_t)(end - p), err);
    lu_status s;
    if (c->carry_len) {
      s = keep(c, p, (size_t)(nl - p), err);
      if (s == LU_OK)
        s = one_line(c, c->carry, c->carry_len, err);
      c->carry_len = 0;
    } else {
      s = one_line(c, p, (size_t)(nl - p), err);
    }
    if (s != LU_OK)
      return s;
    p = nl + 1;
  }
  return LU_OK;
}

static lu_status end(void *reader, lu_err *err)
{
  csv *c = reader;
  if (!c->has_head) {
    lu_status s = c->carry_len ? one_line(c, c->carry, c->carry_len, err) : LU_OK;
    if (s != LU_OK)
      return s;
    c->carry_len = 0;
  }
  if (!c->has_head)
    return lu_fail(err, LU_ERR_SYNTAX, c->line, 1, "expected a header, found the end of the capture");
  if (c->carry_len)
    lu_capstate_note(&c->s, c->line, 1, "the capture is cut off: its last line has no end and is left out");
  return lu_capstate_end(&c->s, err);
}

static void *open_csv(lu_arena *mem, const lu_cap_options *options, lu_cap_sink sink,
                      lu_cap_notes *notes)
{
  csv *c = LU_NEW(mem, csv, 1);
  if (!c)
    return NULL;
  lu_capstate_init(&c->s, mem, sink, notes);
  c->s.cap.format = "csv";
  c->options = *options;
  c->line = 1;
  return c;
}

static int recognise(lu_bytes in)
{
  const char *at = (const char *)in.at, *nl = in.len ? memchr(at, '\n', in.len) : NULL;
  size_t n = nl ? (size_t)(nl - at) : in.len;
  if (!n || memchr(at, '\0', n))
    return 0;
  if (word_in(at, n, "time") || word_in(at, n, "sample"))
    return 60;
  if (*at == '#' || *at == '\n' || *at == '\r')
    return 10; /* a remark or nothing before the header */
  return memchr(at, ',', n) || memchr(at, ';', n) || memchr(at, '\t', n) ? 20 : 0;
}

const lu_capform lu_capform_capcsv = {
    .name = "csv",
    .summary = "table with a header, time or sample number first",
    .ending = "csv",
    .recognise = recognise,
    .open = open_csv,
    .feed = feed,
    .end = end,
};
