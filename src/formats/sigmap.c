/* SPDX-License-Identifier: MIT */
#include "formats/sigmap.h"

#include <ctype.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <yaml.h>

enum { NAMES_MOST = 256, RENAMES_MOST = 4096 };

typedef struct reader {
  lu_bytes in;
  lu_arena *mem;
  yaml_document_t doc;
  lu_sigmap *map;
  lu_err *err;
} reader;

static lu_status fail(reader *r, lu_status status, const yaml_node_t *at, const char *format, ...)
    __attribute__((format(printf, 4, 5)));

/* YAML marks count characters; messages count bytes. */
static size_t byte_offset(lu_bytes in, size_t line, size_t column)
{
  size_t i = 0;
  for (; i < in.len && line; i++)
    line -= in.at[i] == '\n';
  for (; i < in.len && column && in.at[i] != '\n'; column--)
    do
      i++;
    while (i < in.len && (in.at[i] & 0xc0) == 0x80);
  return i;
}

static lu_status fail(reader *r, lu_status status, const yaml_node_t *at, const char *format, ...)
{
  char text[240];
  va_list ap;
  va_start(ap, format);
  vsnprintf(text, sizeof text, format, ap);
  va_end(ap);
  return lu_fail_at(r->err, status, (const char *)r->in.at, r->in.len,
                    byte_offset(r->in, at->start_mark.line, at->start_mark.column), "%s", text);
}

static lu_status no_room(reader *r)
{
  return lu_fail(r->err, LU_ERR_NOMEM, 0, 0, "no room for the signal map");
}

static const yaml_node_t *node(reader *r, yaml_node_item_t item)
{
  return yaml_document_get_node(&r->doc, item);
}

static const char *text(const yaml_node_t *n)
{
  return n->type == YAML_SCALAR_NODE ? (const char *)n->data.scalar.value : NULL;
}

static size_t pairs(const yaml_node_t *n)
{
  return (size_t)(n->data.mapping.pairs.top - n->data.mapping.pairs.start);
}

static const yaml_node_t *pair(reader *r, const yaml_node_t *n, size_t i, const yaml_node_t **value)
{
  const yaml_node_pair_t *p = n->data.mapping.pairs.start + i;
  *value = node(r, p->value);
  return node(r, p->key);
}

static lu_status expect_map(reader *r, const yaml_node_t *n, const char *what)
{
  if (n->type == YAML_MAPPING_NODE)
    return LU_OK;
  return fail(r, LU_ERR_SYNTAX, n, "expected keys and values under %s, found %s", what,
              text(n) ? text(n) : "a list");
}

static lu_status unknown_key(reader *r, const yaml_node_t *key, const char *where,
                             const char *const *known, size_t count)
{
  const char *t = text(key) ? text(key) : "a key that is no word";
  const char *near = lu_text_nearest(t, known, count);
  return fail(r, LU_ERR_SYNTAX, key, near ? "no key '%s' in %s; the nearest is '%s'" : "no key '%s' in %s", t,
              where, near);
}

/* Splits "A1-A16"; false if the text is no range. */
static bool split_range(const char *t, size_t *stem, long *first, long *last)
{
  size_t s = 0;
  while (t[s] && !isdigit((unsigned char)t[s]) && t[s] != '-')
    s++;
  if (!isdigit((unsigned char)t[s]))
    return false;
  char *end;
  *first = strtol(t + s, &end, 10);
  if (*end != '-' || strncmp(end + 1, t, s) || !isdigit((unsigned char)end[1 + s]))
    return false;
  *last = strtol(end + 1 + s, &end, 10);
  *stem = s;
  return !*end && *first < 100000 && *last < 100000;
}

size_t lu_sig_range(const char *t, size_t most)
{
  size_t stem;
  long a, b;
  if (!split_range(t, &stem, &a, &b))
    return 0;
  size_t n = (size_t)labs(a - b) + 1;
  return n > most ? most + 1 : n;
}

char *lu_sig_range_name(const char *t, size_t i, lu_arena *mem)
{
  size_t stem;
  long a, b;
  if (!split_range(t, &stem, &a, &b))
    return NULL;
  return lu_arena_printf(mem, "%.*s%ld", (int)stem, t, a < b ? a + (long)i : a - (long)i);
}

static lu_sig_name name_of(const yaml_node_t *n, const char *t)
{
  return (lu_sig_name){.name = t,
                       .line = (uint32_t)n->start_mark.line + 1,
                       .column = (uint32_t)n->start_mark.column + 1};
}

static lu_status name(reader *r, const yaml_node_t *n, lu_sig_name *out)
{
  if (!text(n) || !*text(n))
    return fail(r, LU_ERR_SYNTAX, n, "expected a signal's name");
  char *kept = lu_arena_text(r->mem, text(n), strlen(text(n)));
  if (!kept)
    return no_room(r);
  *out = name_of(n, kept);
  return LU_OK;
}

static lu_status add_names(reader *r, const yaml_node_t *n, lu_sig_bus *bus)
{
  if (!text(n))
    return fail(r, LU_ERR_SYNTAX, n, "expected a signal's name or a range such as A0-A15");
  size_t many = lu_sig_range(text(n), NAMES_MOST);
  if (bus->count + (many ? many : 1) > NAMES_MOST)
    return fail(r, LU_ERR_LIMIT, n, "more than %d signals in one list", NAMES_MOST);
  for (size_t i = 0; i < many; i++) {
    char *t = lu_sig_range_name(text(n), i, r->mem);
    if (!t)
      return no_room(r);
    bus->names[bus->count++] = name_of(n, t);
  }
  return many ? LU_OK : name(r, n, &bus->names[bus->count++]);
}

static lu_status bus(reader *r, const yaml_node_t *n, lu_sig_bus *out)
{
  out->count = 0;
  out->names = LU_NEW(r->mem, lu_sig_name, NAMES_MOST);
  if (!out->names)
    return no_room(r);
  if (n->type != YAML_SEQUENCE_NODE)
    return add_names(r, n, out);
  lu_status s = LU_OK;
  for (yaml_node_item_t *i = n->data.sequence.items.start; s == LU_OK && i < n->data.sequence.items.top; i++)
    s = add_names(r, node(r, *i), out);
  if (s == LU_OK && !out->count)
    return fail(r, LU_ERR_VALUE, n, "expected at least one signal, found an empty list");
  return s;
}

static lu_status level(reader *r, const yaml_node_t *n, bool *high)
{
  if (text(n) && !strcmp(text(n), "high"))
    return *high = true, LU_OK;
  if (text(n) && !strcmp(text(n), "low"))
    return *high = false, LU_OK;
  return fail(r, LU_ERR_VALUE, n, "expected low or high, found %s", text(n) ? text(n) : "a list");
}

static lu_status when(reader *r, const yaml_node_t *n, lu_sig_strobe *out)
{
  lu_status s = expect_map(r, n, "when");
  for (size_t i = 0; s == LU_OK && i < pairs(n); i++) {
    const yaml_node_t *value, *key = pair(r, n, i, &value);
    if (out->when_count == LU_SIG_ANY_MOST)
      return fail(r, LU_ERR_LIMIT, key, "more than %d conditions", LU_SIG_ANY_MOST);
    lu_sig_line *l = &out->when[out->when_count++];
    s = name(r, key, &l->signal);
    if (s == LU_OK)
      s = level(r, value, &l->active_high);
  }
  return s;
}

/* {pin: NAME or [NAMES], active: low|high, when: {...}}; signal and net are other words for pin. */
static lu_status strobe(reader *r, const yaml_node_t *n, const char *what, lu_sig_strobe *out)
{
  static const char *const known[] = {"pin", "signal", "net", "active", "when"};
  bool high = false;
  lu_sig_bus lines = {0};
  lu_status s = expect_map(r, n, what);
  for (size_t i = 0; s == LU_OK && i < pairs(n); i++) {
    const yaml_node_t *value, *key = pair(r, n, i, &value);
    const char *k = text(key) ? text(key) : "";
    if (!strcmp(k, "pin") || !strcmp(k, "signal") || !strcmp(k, "net"))
      s = bus(r, value, &lines);
    else if (!strcmp(k, "active"))
      s = level(r, value, &high);
    else if (!strcmp(k, "when"))
      s = when(r, value, out);
    else
      s = unknown_key(r, key, what, known, 5);
  }
  if (s != LU_OK)
    return s;
  if (!lines.count || lines.count > LU_SIG_ANY_MOST)
    return fail(r, LU_ERR_SYNTAX, n, "expected pin: with 1 to %d names in %s", LU_SIG_ANY_MOST, what);
  for (size_t i = 0; i < lines.count; i++)
    out->lines[out->line_count++] = (lu_sig_line){lines.names[i], high};
  return LU_OK;
}

static lu_status line_of(reader *r, const yaml_node_t *n, const char *what, lu_sig_line *out)
{
  lu_sig_strobe one = {0};
  lu_status s = strobe(r, n, what, &one);
  if (s == LU_OK && (one.line_count != 1 || one.when_count))
    return fail(r, LU_ERR_VALUE, n, "expected one pin and no condition in %s", what);
  *out = one.lines[0];
  return s;
}

static lu_status strobes(reader *r, const yaml_node_t *n)
{
  lu_sigmap *m = r->map;
  lu_status s = expect_map(r, n, "strobes");
  for (size_t i = 0; s == LU_OK && i < pairs(n); i++) {
    const yaml_node_t *value, *key = pair(r, n, i, &value);
    const char *k = text(key) ? text(key) : "";
    bool writes = strstr(k, "write");
    if (!writes && !strstr(k, "read") && !strstr(k, "fetch"))
      return fail(r, LU_ERR_VALUE, key, "expected read, write, fetch, or a name that holds one of them, found '%s'", k);
    if (m->strobe_count == LU_SIG_STROBES_MOST)
      return fail(r, LU_ERR_LIMIT, key, "more than %d strobes", LU_SIG_STROBES_MOST);
    lu_sig_strobe *out = &m->strobes[m->strobe_count++];
    out->writes = writes;
    out->name = lu_arena_text(r->mem, k, strlen(k));
    s = out->name ? strobe(r, value, k, out) : no_room(r);
  }
  return s;
}

/* {D0-D7: {pin: LDS, active: low}, ...}: which data bits a line stands for. */
static lu_status lanes(reader *r, const yaml_node_t *n, const char *what, lu_sig_lane *at, size_t *count)
{
  lu_status s = expect_map(r, n, what);
  for (size_t i = 0; s == LU_OK && i < pairs(n); i++) {
    const yaml_node_t *value, *key = pair(r, n, i, &value);
    size_t stem;
    long a, b;
    if (*count == LU_SIG_LANES_MOST)
      return fail(r, LU_ERR_LIMIT, key, "more than %d %s", LU_SIG_LANES_MOST, what);
    if (!text(key) || !split_range(text(key), &stem, &a, &b) || a > 63 || b > 63)
      return fail(r, LU_ERR_VALUE, key, "expected data bits such as D0-D7, found '%s'",
                  text(key) ? text(key) : "a list");
    lu_sig_lane *lane = &at[(*count)++];
    lane->first = (unsigned)(a < b ? a : b);
    lane->bits = (unsigned)labs(a - b) + 1;
    s = line_of(r, value, what, &lane->line);
  }
  return s;
}

static lu_status number(reader *r, const yaml_node_t *n, double most, double *out)
{
  const char *t = text(n);
  char *end = NULL;
  double v = t ? strtod(t, &end) : -1;
  if (!t || !*t || *end || !(v >= 0) || v > most)
    return fail(r, LU_ERR_VALUE, n, "expected a number from 0 to %g, found '%s'", most, t ? t : "a list");
  *out = v;
  return LU_OK;
}

static bool has_key(reader *r, const yaml_node_t *n, const char *k)
{
  for (size_t i = 0; n->type == YAML_MAPPING_NODE && i < pairs(n); i++) {
    const yaml_node_t *value, *key = pair(r, n, i, &value);
    if (text(key) && !strcmp(text(key), k))
      return true;
  }
  return false;
}

static lu_status dram(reader *r, const yaml_node_t *n)
{
  static const char *const known[] = {"ras", "cas", "write", "output"};
  lu_sigmap *m = r->map;
  lu_status s = expect_map(r, n, "dram");
  for (size_t i = 0; s == LU_OK && i < pairs(n); i++) {
    const yaml_node_t *value, *key = pair(r, n, i, &value);
    const char *k = text(key) ? text(key) : "";
    if (!strcmp(k, "ras"))
      s = line_of(r, value, k, &m->ras);
    else if (!strcmp(k, "write"))
      s = line_of(r, value, k, &m->write);
    else if (!strcmp(k, "output"))
      s = line_of(r, value, k, &m->output);
    else if (!strcmp(k, "cas") && !has_key(r, value, "pin") && !has_key(r, value, "signal"))
      s = lanes(r, value, k, m->cas, &m->cas_count);
    else if (!strcmp(k, "cas"))
      m->cas_count = 1, s = line_of(r, value, k, &m->cas[0].line);
    else
      s = unknown_key(r, key, "dram", known, 4);
  }
  if (s == LU_OK && (!m->ras.signal.name || !m->cas_count))
    return fail(r, LU_ERR_SYNTAX, n, "expected ras: and cas: in dram");
  return s;
}

/* Two named parts of one kind: {row: [...], column: [...]}, {in: [...], out: [...]}. */
static lu_status two_buses(reader *r, const yaml_node_t *n, const char *what, const char *a,
                           lu_sig_bus *first, const char *b, lu_sig_bus *second)
{
  const char *const known[] = {a, b};
  lu_status s = LU_OK;
  for (size_t i = 0; s == LU_OK && i < pairs(n); i++) {
    const yaml_node_t *value, *key = pair(r, n, i, &value);
    const char *k = text(key) ? text(key) : "";
    if (strcmp(k, a) && strcmp(k, b))
      return unknown_key(r, key, what, known, 2);
    s = bus(r, value, strcmp(k, a) ? second : first);
  }
  if (s == LU_OK && (!first->count || !second->count))
    return fail(r, LU_ERR_SYNTAX, n, "expected both %s: and %s: in %s", a, b, what);
  return s;
}

static lu_status two_numbers(reader *r, const yaml_node_t *n, const char *what, const char *a,
                             double *first, const char *b, double *second)
{
  const char *const known[] = {a, b};
  lu_status s = expect_map(r, n, what);
  for (size_t i = 0; s == LU_OK && i < pairs(n); i++) {
    const yaml_node_t *value, *key = pair(r, n, i, &value);
    const char *k = text(key) ? text(key) : "";
    if (strcmp(k, a) && strcmp(k, b))
      return unknown_key(r, key, what, known, 2);
    s = number(r, value, 1e9, strcmp(k, a) ? second : first);
  }
  return s;
}

static lu_status rename_one(reader *r, const yaml_node_t *key, const yaml_node_t *value)
{
  static const char *const known[] = {"signals", "address", "data",  "strobes", "lanes",
                                      "wait",    "clock",   "dram",  "refresh", "setup_ns"};
  lu_sigmap *m = r->map;
  if (!text(key) || !text(value))
    return unknown_key(r, key, "a signal map", known, sizeof known / sizeof *known);
  if (m->rename_count == RENAMES_MOST)
    return fail(r, LU_ERR_LIMIT, key, "more than %d signals", RENAMES_MOST);
  if (!m->renames)
    m->renames = LU_NEW(r->mem, lu_sig_rename, RENAMES_MOST);
  if (!m->renames)
    return no_room(r);
  lu_sig_rename *out = &m->renames[m->rename_count++];
  out->from = lu_arena_text(r->mem, text(key), strlen(text(key)));
  out->to = lu_arena_text(r->mem, text(value), strlen(text(value)));
  out->line = (uint32_t)key->start_mark.line + 1;
  out->column = (uint32_t)key->start_mark.column + 1;
  return out->from && out->to ? LU_OK : no_room(r);
}

static lu_status renames(reader *r, const yaml_node_t *n)
{
  lu_status s = expect_map(r, n, "signals");
  for (size_t i = 0; s == LU_OK && i < pairs(n); i++) {
    const yaml_node_t *value, *key = pair(r, n, i, &value);
    s = rename_one(r, key, value);
  }
  return s;
}

/* A flat row of keys; those that are none of ours say signal: pin or net. */
static lu_status top_key(reader *r, const yaml_node_t *key, const yaml_node_t *value)
{
  lu_sigmap *m = r->map;
  const char *k = text(key) ? text(key) : "";
  bool is_map = value->type == YAML_MAPPING_NODE;
  if (!strcmp(k, "address"))
    return is_map ? two_buses(r, value, k, "row", &m->row, "column", &m->column)
                  : bus(r, value, &m->address);
  if (!strcmp(k, "data"))
    return is_map ? two_buses(r, value, k, "in", &m->data_in, "out", &m->data_out)
                  : bus(r, value, &m->data);
  if (!strcmp(k, "strobes"))
    return strobes(r, value);
  if (!strcmp(k, "lanes"))
    return lanes(r, value, k, m->lanes, &m->lane_count);
  if (!strcmp(k, "wait") && is_map)
    return line_of(r, value, k, &m->wait);
  if (!strcmp(k, "clock"))
    return name(r, value, &m->clock);
  if (!strcmp(k, "dram"))
    return dram(r, value);
  if (!strcmp(k, "signals"))
    return renames(r, value);
  if (!strcmp(k, "setup_ns"))
    return two_numbers(r, value, k, "address", &m->setup_address_ns, "data", &m->setup_data_ns);
  if (!strcmp(k, "refresh")) {
    double rows = 0;
    lu_status s = two_numbers(r, value, k, "rows", &rows, "ms", &m->refresh_ms);
    if (s == LU_OK && (rows < 1 || rows > 65536 || m->refresh_ms <= 0))
      return fail(r, LU_ERR_VALUE, value, "expected rows: from 1 to 65536 and ms: above 0 in refresh");
    m->refresh_rows = (uint32_t)rows;
    return s;
  }
  return rename_one(r, key, value);
}

static lu_status document(reader *r)
{
  const yaml_node_t *root = yaml_document_get_root_node(&r->doc);
  if (!root)
    return lu_fail(r->err, LU_ERR_SYNTAX, 1, 1, "the signal map is empty");
  lu_status s = expect_map(r, root, "a signal map");
  for (size_t i = 0; s == LU_OK && i < pairs(root); i++) {
    const yaml_node_t *value, *key = pair(r, root, i, &value);
    s = top_key(r, key, value);
  }
  if (s == LU_OK && r->map->ras.signal.name && !r->map->row.count)
    return fail(r, LU_ERR_SYNTAX, root, "expected address: {row: [...], column: [...]} beside dram");
  if (s == LU_OK && r->map->row.count && !r->map->ras.signal.name)
    return fail(r, LU_ERR_SYNTAX, root, "expected dram: beside an address of row and column");
  return s;
}

lu_status lu_sigmap_read(lu_bytes in, lu_arena *mem, lu_sigmap **out, lu_err *err)
{
  reader r = {.in = in, .mem = mem, .err = err, .map = LU_NEW(mem, lu_sigmap, 1)};
  yaml_parser_t parser;
  if (!r.map || !yaml_parser_initialize(&parser))
    return no_room(&r);
  yaml_parser_set_input_string(&parser, in.at ? in.at : (const uint8_t *)"", in.len);
  lu_status s;
  if (!yaml_parser_load(&parser, &r.doc)) {
    const char *what = parser.problem ? parser.problem : "not readable as YAML";
    size_t line = parser.problem_mark.line, column = parser.problem_mark.column;
    s = parser.error == YAML_MEMORY_ERROR
            ? no_room(&r)
            : lu_fail(err, LU_ERR_SYNTAX, (uint32_t)line + 1, (uint32_t)column + 1,
                      "expected YAML: %s", what);
  } else {
    s = document(&r);
    yaml_document_delete(&r.doc);
  }
  yaml_parser_delete(&parser);
  if (s == LU_OK)
    *out = r.map;
  return s;
}
