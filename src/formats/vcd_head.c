/* SPDX-License-Identifier: MIT */
/* Declarations of a value change dump. */
#include "formats/vcd.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

bool lu_vcd_is(const char *word, size_t len, const char *text)
{
  return strlen(text) == len && !memcmp(word, text, len);
}

static uint64_t hash(const char *code, size_t len)
{
  uint64_t h = 14695981039346656037u; /* FNV-1a */
  for (size_t i = 0; i < len; i++)
    h = (h ^ (unsigned char)code[i]) * 1099511628211u;
  return h | 1; /* 0 marks a free place */
}

static size_t three_index(const char *c)
{
  return ((size_t)(c[0] - 33) * 94 + (size_t)(c[1] - 33)) * 94 + (size_t)(c[2] - 33);
}

static bool printable(const char *code, size_t len)
{
  for (size_t i = 0; i < len; i++)
    if (code[i] < 33 || code[i] > 126)
      return false;
  return len;
}

uint32_t lu_vcd_find(const lu_vcd *r, const char *code, size_t len)
{
  if (!printable(code, len))
    return 0;
  if (len == 1)
    return r->one[(unsigned char)code[0]];
  if (len == 2)
    return r->two[(unsigned char)code[0] << 8 | (unsigned char)code[1]];
  if (len == 3)
    return r->three ? r->three[three_index(code)] : 0;
  if (!r->long_room)
    return 0;
  uint64_t h = hash(code, len);
  for (size_t i = h & (r->long_room - 1); r->longs[i].hash; i = (i + 1) & (r->long_room - 1))
    if (r->longs[i].hash == h && lu_vcd_is(code, len, r->longs[i].code))
      return r->longs[i].entry;
  return 0;
}

static void place_long(lu_vcd_long *at, size_t room, lu_vcd_long item)
{
  size_t i = item.hash & (room - 1);
  while (at[i].hash)
    i = (i + 1) & (room - 1);
  at[i] = item;
}

static bool add_long(lu_vcd *r, const char *code, size_t len, uint32_t entry)
{
  if (r->long_count * 2 >= r->long_room) {
    size_t room = r->long_room ? r->long_room * 2 : 64;
    lu_vcd_long *more = LU_NEW(r->s.mem, lu_vcd_long, room);
    if (!more)
      return false;
    for (size_t i = 0; i < r->long_room; i++)
      if (r->longs[i].hash)
        place_long(more, room, r->longs[i]);
    r->longs = more;
    r->long_room = room;
  }
  char *kept = lu_arena_text(r->s.mem, code, len);
  if (!kept)
    return false;
  place_long(r->longs, r->long_room, (lu_vcd_long){hash(code, len), kept, entry});
  r->long_count++;
  return true;
}

static bool add_code(lu_vcd *r, const char *code, size_t len, uint32_t entry)
{
  if (len == 1) {
    r->one[(unsigned char)code[0]] = entry;
  } else if (len == 2) {
    r->two[(unsigned char)code[0] << 8 | (unsigned char)code[1]] = entry;
  } else if (len == 3) {
    if (!r->three)
      r->three = lu_arena_big(r->s.mem, (size_t)94 * 94 * 94 * sizeof *r->three);
    if (!r->three)
      return false;
    r->three[three_index(code)] = entry;
  } else {
    return add_long(r, code, len, entry);
  }
  return true;
}

static lu_status no_room(lu_err *err)
{
  return lu_fail(err, LU_ERR_NOMEM, 0, 0, "no room for the capture's declarations");
}

static lu_status scope(lu_vcd *r, const char *at, lu_err *err)
{
  if (r->arg_count < 1 || r->arg_count > 2)
    return lu_vcd_fail(r, err, LU_ERR_SYNTAX, at,
                       "expected a type and a name in $scope, found %zu words", r->arg_count);
  if (r->depth == LU_VCD_DEPTH_MOST)
    return lu_vcd_fail(r, err, LU_ERR_LIMIT, at, "more than %d scopes inside each other",
                       LU_VCD_DEPTH_MOST);
  /* An unnamed begin or fork has a type only. */
  const char *name = r->arg_count == 2 ? r->args + r->arg_at[1] : "";
  if (*name == '\\')
    name++;
  size_t len = strlen(name);
  if (r->scope_len + len + 2 > r->scope_room) {
    size_t room = (r->scope_len + len + 2) * 2;
    char *more = lu_arena_take(r->s.mem, room);
    if (!more)
      return no_room(err);
    if (r->scope_len)
      memcpy(more, r->scope, r->scope_len);
    r->scope = more;
    r->scope_room = room;
  }
  r->scope_at[r->depth++] = r->scope_len;
  if (len) {
    memcpy(r->scope + r->scope_len, name, len);
    r->scope_len += len;
    r->scope[r->scope_len++] = '.';
  }
  return LU_OK;
}

static lu_status upscope(lu_vcd *r, const char *at, lu_err *err)
{
  if (!r->depth)
    return lu_vcd_fail(r, err, LU_ERR_SYNTAX, at, "$upscope without an open $scope");
  r->scope_len = r->scope_at[--r->depth];
  return LU_OK;
}

static lu_status timescale(lu_vcd *r, const char *at, lu_err *err)
{
  static const struct {
    const char *name;
    double seconds;
  } units[] = {{"s", 1}, {"ms", 1e-3}, {"us", 1e-6}, {"ns", 1e-9}, {"ps", 1e-12}, {"fs", 1e-15}};
  char text[32] = "";
  for (size_t i = 0; i < r->arg_count; i++)
    snprintf(text + strlen(text), sizeof text - strlen(text), "%s", r->args + r->arg_at[i]);
  char *unit;
  unsigned long n = strtoul(text, &unit, 10);
  if (n == 1 || n == 10 || n == 100)
    for (size_t i = 0; i < sizeof units / sizeof *units; i++)
      if (!strcmp(unit, units[i].name)) {
        r->s.cap.tick_s = (double)n * units[i].seconds;
        r->has_timescale = true;
        return LU_OK;
      }
  return lu_vcd_fail(r, err, LU_ERR_SYNTAX, at,
                     "expected a $timescale of 1, 10 or 100 and s, ms, us, ns, ps or fs, found '%s'",
                     text);
}

/* Types of IEEE 1364, then those that IEEE 1800 simulators write as well. */
static bool kind_of(const char *type, lu_cap_kind *kind)
{
  static const char *const levels[] = {
      "wire",  "reg",  "integer", "parameter", "supply0", "supply1", "time",     "tri",  "triand",
      "trior", "trireg", "tri0",  "tri1",      "wand",    "wor",     "logic",    "bit",  "int",
      "shortint", "longint", "byte", "enum", "port", "localparam"};
  if (!strcmp(type, "event"))
    return *kind = LU_CAP_EVENT, true;
  if (!strcmp(type, "real") || !strcmp(type, "realtime") || !strcmp(type, "string") ||
      !strcmp(type, "shortreal"))
    return *kind = LU_CAP_REAL, true;
  for (size_t i = 0; i < sizeof levels / sizeof *levels; i++)
    if (!strcmp(type, levels[i]))
      return *kind = LU_CAP_LEVEL, true;
  return false;
}

static bool add_entry(lu_vcd *r, uint32_t signal)
{
  void *e = lu_arena_grow(r->s.mem, r->entries, r->entry_count, &r->entry_room, sizeof *r->entries);
  if (e)
    r->entries = e;
  void *n = lu_arena_grow(r->s.mem, r->entry_signal, r->entry_count, &r->entry_signal_room,
                          sizeof *r->entry_signal);
  if (n)
    r->entry_signal = n;
  if (!e || !n)
    return false;
  const lu_cap_signal *s = &r->s.cap.signals[signal];
  lu_vcd_entry entry = {0};
  if (s->kind == LU_CAP_LEVEL && s->width <= 64) {
    entry.slot = s->home / 64;
    entry.shift = (uint8_t)(s->home % 64);
    entry.width = (uint8_t)s->width;
    entry.mask = UINT64_MAX >> (64 - s->width) << entry.shift;
  }
  r->entries[r->entry_count] = entry;
  r->entry_signal[r->entry_count] = signal;
  if (s->kind == LU_CAP_LEVEL && s->width > r->widest)
    r->widest = s->width;
  return true;
}

/* The reference and its index may be one word or several: joined without blanks. */
static void join_reference(const lu_vcd *r, char *out, size_t room)
{
  out[0] = '\0';
  size_t len = 0;
  for (size_t i = 3; i < r->arg_count; i++) {
    const char *word = r->args + r->arg_at[i];
    if (i == 3 && *word == '\\')
      word++;
    int n = snprintf(out + len, room - len, "%s", word);
    len += (size_t)n;
  }
}

static lu_status declare(lu_vcd *r, const char *at, lu_cap_signal s, const char *code, lu_err *err)
{
  lu_cap *cap = &r->s.cap;
  size_t len = strlen(code);
  uint32_t known = lu_vcd_find(r, code, len);
  if (known) {
    const lu_cap_signal *twin = &cap->signals[r->entry_signal[known]];
    if (twin->width != s.width || twin->kind != s.kind)
      return lu_vcd_fail(r, err, LU_ERR_VALUE, at,
                         "expected %u bits as code %s had on line %u, found %u", twin->width, code,
                         twin->line, s.width);
    return lu_capstate_add(&r->s, s, r->entry_signal[known]) ? LU_OK : no_room(err);
  }
  uint32_t index = (uint32_t)cap->signal_count;
  if (!lu_capstate_add(&r->s, s, SIZE_MAX))
    return no_room(err);
  if (cap->slot_count > LU_CAP_SLOTS_MOST)
    return lu_vcd_fail(r, err, LU_ERR_LIMIT, at, "more than %d bits in all",
                       LU_CAP_SLOTS_MOST * 64);
  if (!add_entry(r, index) || !add_code(r, code, len, (uint32_t)r->entry_count))
    return no_room(err);
  r->entry_count++;
  return LU_OK;
}

static lu_status var(lu_vcd *r, const char *at, lu_err *err)
{
  if (r->arg_count < 4)
    return lu_vcd_fail(r, err, LU_ERR_SYNTAX, at,
                       "expected type, size, code and name in $var, found %zu words", r->arg_count);
  const char *type = r->args + r->arg_at[0], *size = r->args + r->arg_at[1],
             *code = r->args + r->arg_at[2];
  lu_cap_signal s = {.line = r->command_line};
  uint64_t width;
  if (!kind_of(type, &s.kind))
    return lu_vcd_fail(r, err, LU_ERR_SYNTAX, at, "expected a type such as wire or reg, found '%s'",
                       type);
  if (!lu_text_u64(size, strlen(size), 10, LU_CAP_WIDTH_MOST, &width) ||
      (!width && s.kind == LU_CAP_LEVEL))
    return lu_vcd_fail(r, err, LU_ERR_VALUE, at, "expected a size of 1 to %d bits, found '%s'",
                       LU_CAP_WIDTH_MOST, size);
  if (!printable(code, strlen(code)))
    return lu_vcd_fail(r, err, LU_ERR_SYNTAX, at,
                       "expected an identifier code of printable characters");
  if (r->s.cap.signal_count == LU_CAP_SIGNALS_MOST)
    return lu_vcd_fail(r, err, LU_ERR_LIMIT, at, "more than %d signals", LU_CAP_SIGNALS_MOST);
  static const char *const variables[] = {"integer", "parameter", "time", "localparam", "int"};
  for (size_t i = 0; i < sizeof variables / sizeof *variables; i++)
    s.is_variable |= !strcmp(type, variables[i]);
  char name[LU_VCD_ARGS_MOST];
  join_reference(r, name, sizeof name);
  size_t len = strlen(name);
  s.width = (uint32_t)width;
  lu_capstate_range(name, &len, s.width, &s.msb, &s.lsb);
  s.path = lu_arena_printf(r->s.mem, "%.*s%.*s", (int)r->scope_len, r->scope ? r->scope : "",
                           (int)len, name);
  if (!s.path)
    return no_room(err);
  s.name = s.path + r->scope_len;
  return declare(r, at, s, code, err);
}

static void make_quick(lu_vcd *r)
{
  for (size_t i = 0; i < 256; i++) {
    const lu_vcd_entry *e = &r->entries[r->one[i]];
    uint64_t bit = e->width == 1 ? e->mask : 0;
    r->quick.keep[i] = ~bit;
    r->quick.set[0][i] = 0;
    r->quick.set[1][i] = bit;
    r->quick.slot[i] = e->slot;
  }
}

static lu_status command(lu_vcd *r, const char *at, lu_err *err)
{
  if (!strcmp(r->command, "$scope"))
    return scope(r, at, err);
  if (!strcmp(r->command, "$var"))
    return var(r, at, err);
  if (!strcmp(r->command, "$timescale"))
    return timescale(r, at, err);
  if (r->arg_count)
    return lu_vcd_fail(r, err, LU_ERR_SYNTAX, at, "expected $end after %s, found '%.40s'",
                       r->command, r->args);
  if (!strcmp(r->command, "$upscope"))
    return upscope(r, at, err);
  if (!r->has_timescale)
    lu_capstate_note(&r->s, r->command_line, 1, "no $timescale: taken as 1 ns");
  r->in = LU_VCD_BODY;
  r->held = lu_arena_take(r->s.mem, r->widest + 64);
  if (!r->held)
    return no_room(err);
  make_quick(r);
  return lu_capstate_begin(&r->s, err);
}

/* Whether a declaration word closes its command although $end has no blank before it. A name may
 * hold a $, so only where that cannot be. */
static bool glued(const lu_vcd *r, const char *word, size_t len)
{
  if (len <= 4 || !lu_vcd_ends(word, len))
    return false;
  return !strcmp(r->command, "$timescale") || word[len - 5] == ']';
}

static lu_status collect(lu_vcd *r, const char *word, size_t len, lu_err *err)
{
  if (r->arg_count == sizeof r->arg_at / sizeof *r->arg_at ||
      r->args_len + len + 1 > sizeof r->args - 16)
    return lu_vcd_fail(r, err, LU_ERR_LIMIT, word, "expected $end for the %s of line %u", r->command,
                       r->command_line);
  r->arg_at[r->arg_count++] = r->args_len;
  memcpy(r->args + r->args_len, word, len);
  r->args_len += len;
  r->args[r->args_len++] = '\0';
  return LU_OK;
}

lu_status lu_vcd_args_word(lu_vcd *r, const char *word, size_t len, lu_err *err)
{
  bool joined = glued(r, word, len);
  if (!joined && !lu_vcd_is(word, len, "$end")) {
    /* An identifier code may begin with $, so a $-word is wrong only elsewhere. */
    if (lu_vcd_is(word, len, "$var") || lu_vcd_is(word, len, "$scope") ||
        lu_vcd_is(word, len, "$upscope") || lu_vcd_is(word, len, "$enddefinitions"))
      return lu_vcd_fail(r, err, LU_ERR_SYNTAX, word, "expected $end for the %s of line %u, found '%.*s'",
                         r->command, r->command_line, (int)len, word);
    return collect(r, word, len, err);
  }
  if (joined) {
    lu_status s = collect(r, word, len - 4, err);
    if (s != LU_OK)
      return s;
  }
  r->in = LU_VCD_HEAD;
  return command(r, word, err);
}

lu_status lu_vcd_head_word(lu_vcd *r, const char *word, size_t len, lu_err *err)
{
  static const char *const skipped[] = {"$date", "$version", "$comment"};
  static const char *const known[] = {"$timescale", "$scope", "$upscope", "$var",
                                      "$enddefinitions"};
  size_t bare = len > 4 && lu_vcd_ends(word, len) ? len - 4 : len;
  for (size_t i = 0; i < sizeof skipped / sizeof *skipped; i++)
    if (lu_vcd_is(word, bare, skipped[i])) {
      r->text_back = LU_VCD_HEAD;
      if (bare == len)
        r->in = LU_VCD_TEXT;
      return LU_OK;
    }
  for (size_t i = 0; i < sizeof known / sizeof *known; i++)
    if (lu_vcd_is(word, bare, known[i])) {
      memcpy(r->command, word, bare);
      r->command[bare] = '\0';
      lu_vcd_place(r, word, &r->command_line, &r->command_column);
      r->args_len = r->arg_count = 0;
      r->args[0] = '\0';
      r->in = LU_VCD_ARGS;
      return bare == len ? LU_OK : lu_vcd_args_word(r, word + bare, 4, err);
    }
  if (*word == '#' || lu_vcd_is(word, len, "$dumpvars"))
    return lu_vcd_fail(r, err, LU_ERR_SYNTAX, word, "expected $enddefinitions before the first change, found '%.*s'",
                       (int)(len > 40 ? 40 : len), word);
  return lu_vcd_fail(r, err, LU_ERR_SYNTAX, word, "expected a declaration such as $var, found '%.*s'",
                     (int)(len > 40 ? 40 : len), word);
}
