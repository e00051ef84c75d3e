/* SPDX-License-Identifier: MIT */
/* IPC-D-356A, Bare Substrate Electrical Test Data Format (IPC, 1998), as netlist and layout.
 *
 * Columns, units and records: docs/formats-netlists.md with their sources. Writers differ: names
 * are cut to fourteen characters in their own ways, columns slip. What can be read without doubt
 * is read, with a note. */
#include "formats/forms.h"
#include "formats/netbuild.h"

#include <string.h>

/* Columns, counted from 0 as C counts. */
enum {
  NET = 3, NET_LEN = 14, REF = 20, REF_LEN = 6, DASH = 26, PIN = 27, PIN_LEN = 4, MID = 31,
  HOLE = 32, ACCESS = 38, X = 41, Y = 49, WIDTH = 57, HEIGHT = 62
};

/* The mark of a name NNAMEn; what goes with it is the atom that it stands for. */
static const uint32_t ALIAS = UINT32_MAX;

/* The record's head, taken apart. */
typedef struct head {
  const char *net, *ref, *pin; /* not ended by NUL */
  size_t net_len, ref_len, pin_len;
  bool mid;
} head;

typedef struct reader {
  lu_netbuild b;
  double unit_mm;    /* of a step of the integer fields; 0 = not said yet */
  lu_net_place *places;
  size_t place_count;
  lu_pile tracks, edges; /* lu_net_line */
  /* the last point, for continuation records */
  uint32_t net, part, number;
  lu_net_place last;
  bool has_last;
  char net_field[NET_LEN]; /* and the net it meant: consecutive points share it */
  uint32_t field_net;
  /* the conductor or edge that is being drawn */
  bool drawing, drawing_edge, pen_down;
  lu_net_line pen; /* x1, y1: where the pen stands */
  size_t strange, adjacency, slips; /* records stepped over or read with a shift */
} reader;

static bool digit(char c)
{
  return c >= '0' && c <= '9';
}

static void trim(const char **at, size_t *len)
{
  while (*len && **at == ' ')
    ++*at, --*len;
  while (*len && (*at)[*len - 1] == ' ')
    --*len;
}

static bool word_is(const char *at, size_t len, const char *word)
{
  return len == strlen(word) && !memcmp(at, word, len);
}

/* ---- P records ---- */

static lu_status read_units(reader *r, const char *at, size_t len)
{
  trim(&at, &len);
  double unit = 0;
  if (word_is(at, len, "SI") || (len == 6 && !memcmp(at, "CUST 1", 6)))
    unit = 0.001;
  else if (word_is(at, len, "CUST") || (len == 6 && !memcmp(at, "CUST ", 5) &&
                                        (at[5] == '0' || at[5] == '2')))
    unit = 0.00254;
  if (!unit)
    return lu_netbuild_fail(&r->b, LU_ERR_VALUE, at,
                            "expected units CUST 0, CUST 1, CUST 2 or SI, found \"%.*s\"",
                            len < 40 ? (int)len : 40, at);
  r->unit_mm = unit;
  return LU_OK;
}

/* "NNAME12" and, behind blanks, the name it stands for. */
static lu_status read_alias(reader *r, const char *at, size_t len)
{
  size_t n = 0;
  while (n < len && at[n] != ' ')
    n++;
  const char *name = at + n;
  size_t name_len = len - n;
  trim(&name, &name_len);
  if (!name_len)
    return lu_netbuild_fail(&r->b, LU_ERR_SYNTAX, name, "expected the net's name behind %.*s, found "
                                                        "the end of the line",
                            n < 20 ? (int)n : 20, at);
  uint32_t alias, target;
  lu_status st = lu_netbuild_atom(&r->b, at, n, at, &alias);
  if (!st)
    st = lu_netbuild_atom(&r->b, name, name_len, name, &target);
  if (st)
    return st;
  const lu_atom *a = lu_netbuild_atom_at(&r->b, alias);
  if (a->mark == ALIAS && a->mark_at != target)
    return lu_netbuild_fail(&r->b, LU_ERR_VALUE, at, "expected each alias once, found %.*s again",
                            n < 20 ? (int)n : 20, at);
  lu_netbuild_mark(&r->b, alias, ALIAS, target);
  return LU_OK;
}

static lu_status read_parameter(reader *r, const char *line, size_t len)
{
  const char *at = line + 1;
  size_t left = len - 1;
  trim(&at, &left);
  if (left >= 5 && !memcmp(at, "UNITS", 5))
    return read_units(r, at + 5, left - 5);
  if (left > 5 && !memcmp(at, "NNAME", 5))
    return read_alias(r, at, left);
  return LU_OK;
}

/* ---- numbers ---- */

/* Digits of a field, blanks before them allowed; false if there are none or something else. */
static bool field(const char *at, size_t len, long *value)
{
  size_t i = 0;
  long v = 0;
  while (i < len && at[i] == ' ')
    i++;
  if (i == len)
    return false;
  for (; i < len; i++) {
    if (!digit(at[i]))
      return false;
    v = v * 10 + (at[i] - '0');
  }
  *value = v;
  return true;
}

static bool signed_field(const char *at, size_t len, long *value)
{
  if (*at != '+' && *at != '-' && *at != ' ')
    return false;
  if (!field(at + 1, len - 1, value))
    return false;
  if (*at == '-')
    *value = -*value;
  return true;
}

/* A coordinate of any length at at: sign, digits. Returns the byte behind it, NULL if none. */
static const char *loose_number(const char *at, const char *end, long *value, int *digits)
{
  bool minus = at < end && *at == '-';
  if (at < end && (*at == '+' || *at == '-' || *at == ' '))
    at++;
  const char *start = at;
  long v = 0;
  for (; at < end && digit(*at); at++)
    if (at - start < 9)
      v = v * 10 + (*at - '0');
  *value = minus ? -v : v;
  *digits = (int)(at - start);
  return at == start ? NULL : at;
}

/* ---- the head: net, part, pin ---- */

static void fixed_head(const char *line, head *h)
{
  /* A name of up to seventeen characters that ran into the blank columns still stands apart. */
  h->net = line + NET;
  h->net_len = REF - NET;
  h->ref = line + REF;
  h->ref_len = REF_LEN;
  h->pin = line + PIN;
  h->pin_len = PIN_LEN;
  h->mid = line[MID] == 'M';
  trim(&h->net, &h->net_len);
  trim(&h->ref, &h->ref_len);
  trim(&h->pin, &h->pin_len);
}

/* True when the words of the head stand in their columns. */
static bool head_fits(const char *line)
{
  return line[REF - 1] == ' ' && (line[DASH] == '-' || line[DASH] == ' ');
}

/* Words between blanks: net, reference, -pin. */
static void loose_head(const char *at, const char *end, head *h)
{
  const char *word[3] = {end, end, end};
  size_t len[3] = {0};
  int n = 0;
  *h = (head){0};
  if (end > at && end[-1] == 'M' && (end - at < 2 || end[-2] == ' ')) {
    h->mid = true;
    end--;
  }
  if (at < end && *at == ' ')
    n = 1; /* a continuation: no net */
  while (at < end && n < 3) {
    while (at < end && *at == ' ')
      at++;
    const char *start = at;
    while (at < end && *at != ' ')
      at++;
    if (at > start) {
      word[n] = start;
      len[n++] = (size_t)(at - start);
    }
  }
  h->net = word[0];
  h->net_len = len[0];
  h->ref = word[1];
  h->ref_len = len[1];
  h->pin = word[2];
  h->pin_len = len[2];
  for (size_t i = h->ref_len; !h->pin_len && i-- > 1;)
    if (h->ref[i] == '-') {
      h->pin = h->ref + i;
      h->pin_len = h->ref_len - i;
      h->ref_len = i;
    }
  if (h->pin_len && *h->pin == '-')
    h->pin++, h->pin_len--;
}

/* The net of a field; LU_NONE for "N/C" or an empty one. */
static lu_status net_of(reader *r, const char *line, const char *at, size_t len, uint32_t *net)
{
  *net = LU_NONE;
  if (!len || word_is(at, len, "N/C"))
    return LU_OK;
  uint32_t atom;
  lu_status st = lu_netbuild_atom(&r->b, at, len, line, &atom);
  if (st)
    return st;
  if (len > 5 && !memcmp(at, "NNAME", 5)) {
    const lu_atom *a = lu_netbuild_atom_at(&r->b, atom);
    if (a->mark == ALIAS)
      atom = a->mark_at;
    else if (a->net == LU_NONE)
      st = lu_netbuild_note(&r->b, line, "%.*s has no NNAME line; kept as the net's name", (int)len,
                            at);
    if (st)
      return st;
  }
  *net = lu_netbuild_net(&r->b, atom);
  return *net == LU_NONE ? lu_netbuild_nomem(&r->b) : LU_OK;
}

static lu_status take_net(reader *r, const char *line, const head *h, bool fixed, bool goes_on)
{
  if (goes_on && !h->net_len)
    return LU_OK; /* the last record's */
  if (fixed && h->net_len <= NET_LEN) {
    if (r->net_field[0] && !memcmp(r->net_field, line + NET, NET_LEN)) {
      r->net = r->field_net;
      return LU_OK;
    }
    lu_status st = net_of(r, line, h->net, h->net_len, &r->net);
    memcpy(r->net_field, line + NET, NET_LEN);
    r->field_net = r->net;
    return st;
  }
  return net_of(r, line, h->net, h->net_len, &r->net);
}

static lu_status take_part(reader *r, const char *line, const head *h, bool goes_on, bool *via)
{
  *via = false;
  if (goes_on && !h->ref_len) {
    *via = r->last.via;
    return LU_OK;
  }
  r->part = r->number = LU_NONE;
  *via = word_is(h->ref, h->ref_len, "VIA");
  if (*via || !h->ref_len || word_is(h->ref, h->ref_len, "NOREF"))
    return LU_OK;
  lu_status st = lu_netbuild_part_of(&r->b, h->ref, h->ref_len, line, &r->part);
  if (st)
    return st;
  if (!h->pin_len || word_is(h->pin, h->pin_len, "NPAD") || word_is(h->pin, h->pin_len, "NPIN"))
    return LU_OK;
  return lu_netbuild_atom(&r->b, h->pin, h->pin_len, line, &r->number);
}

/* An unconnected pin gets a net of its own: all of them share the field "N/C". */
static lu_status own_net(reader *r, const char *line)
{
  const char *ref = lu_netbuild_part_at(&r->b, r->part)->ref;
  const lu_atom *number = lu_netbuild_atom_at(&r->b, r->number);
  char name[2 * LU_NETNAME_MOST + 32] = "N/C ";
  size_t n = 4, ref_len = strlen(ref);
  memcpy(name + n, ref, ref_len);
  n += ref_len;
  name[n++] = '.';
  memcpy(name + n, number->text, number->len);
  uint32_t atom;
  lu_status st = lu_netbuild_atom(&r->b, name, n + number->len, line, &atom);
  if (st)
    return st;
  r->net = lu_netbuild_net(&r->b, atom);
  return r->net == LU_NONE ? lu_netbuild_nomem(&r->b) : LU_OK;
}

/* ---- points: 3x7 and 0x7 ---- */

static bool fixed_place(const char *line, size_t len, double unit, lu_net_place *p)
{
  long x, y, v;
  if (len < Y + 8 || line[X] != 'X' || line[Y] != 'Y' || line[ACCESS] != 'A' ||
      !signed_field(line + X + 1, 7, &x) || !signed_field(line + Y + 1, 7, &y) ||
      !field(line + ACCESS + 1, 2, &v) || (len > Y + 8 && digit(line[Y + 8])))
    return false;
  *p = (lu_net_place){.x_mm = (double)x * unit, .y_mm = (double)y * unit, .access = (uint8_t)v};
  if (line[HOLE] == 'D' && field(line + HOLE + 1, 4, &v))
    p->hole_mm = (double)v * unit;
  if (len >= WIDTH + 5 && line[WIDTH] == 'X' && field(line + WIDTH + 1, 4, &v))
    p->width_mm = (double)v * unit;
  if (len >= HEIGHT + 5 && line[HEIGHT] == 'Y' && field(line + HEIGHT + 1, 4, &v))
    p->height_mm = (double)v * unit;
  return true;
}

/* Finds X number Y number anywhere behind the net's columns. Returns the X, NULL if none. */
static const char *loose_place(reader *r, const char *line, size_t len, lu_net_place *p,
                               lu_status *st)
{
  const char *end = line + len, *at = line + NET;
  while (at < end && *at != ' ') /* a net may be called X1Y2 */
    at++;
  for (; at < end; at++) {
    long x, y, v;
    int dx, dy, dv;
    const char *behind;
    if (*at != 'X' || !(behind = loose_number(at + 1, end, &x, &dx)))
      continue;
    if (behind == end || *behind != 'Y' || !(behind = loose_number(behind + 1, end, &y, &dy)))
      continue;
    if (dx > 6 || dy > 6)
      *st = lu_netbuild_fail(&r->b, LU_ERR_VALUE, at,
                             "expected coordinates of at most 6 digits, found %d",
                             dx > 6 ? dx : dy);
    *p = (lu_net_place){.x_mm = (double)x * r->unit_mm, .y_mm = (double)y * r->unit_mm};
    if (behind < end && *behind == 'X' && (behind = loose_number(behind + 1, end, &v, &dv))) {
      p->width_mm = (double)v * r->unit_mm;
      if (behind < end && *behind == 'Y' && loose_number(behind + 1, end, &v, &dv))
        p->height_mm = (double)v * r->unit_mm;
    }
    return at;
  }
  return NULL;
}

/* Reads what stands before the X of a slipped record; *head_end: where the head stops. */
static void loose_access(const char *line, const char *x, double unit, lu_net_place *p,
                         const char **head_end)
{
  const char *at = x;
  long v;
  bool smd = line[1] == '2';
  p->access = smd ? 1 : 0;
  while (at > line + NET && at[-1] == ' ')
    at--;
  if (at - line >= NET + 3 && at[-3] == 'A' && field(at - 2, 2, &v)) {
    p->access = (uint8_t)v;
    at -= 3;
  }
  const char *hole = at;
  while (hole > line + NET && hole[-1] == ' ')
    hole--;
  if (hole[-1] == 'P' || hole[-1] == 'U')
    hole--;
  const char *digits = hole;
  while (digits > line + NET && digit(digits[-1]))
    digits--;
  if (digits < hole && hole - digits <= 5 && digits[-1] == 'D' &&
      field(digits, (size_t)(hole - digits), &v)) {
    p->hole_mm = (double)v * unit;
    at = digits - 1;
  }
  *head_end = at;
}

static lu_status slipped(reader *r, const char *line, size_t len, lu_net_place *p, head *h,
                         bool goes_on)
{
  lu_status st = LU_OK;
  const char *head_end = line + len, *x = loose_place(r, line, len, p, &st);
  if (st)
    return st;
  if (!x && goes_on && r->has_last) { /* the same point, said again without coordinates */
    double px = r->last.x_mm, py = r->last.y_mm;
    *p = r->last;
    p->x_mm = px;
    p->y_mm = py;
    head_end = line + (len < MID ? len : MID);
  } else if (!x) {
    return lu_netbuild_fail(&r->b, LU_ERR_SYNTAX, line + (len < X ? len : X),
                            "expected coordinates X and Y in columns 42 to 57, found \"%.*s\"",
                            len < X ? 0 : len - X < 16 ? (int)(len - X) : 16,
                            len < X ? "" : line + X);
  } else {
    loose_access(line, x, r->unit_mm, p, &head_end);
  }
  if (head_end >= line + MID && head_fits(line)) {
    fixed_head(line, h);
    h->mid = head_end > line + MID && line[MID] == 'M';
  } else {
    loose_head(line + NET, head_end, h);
  }
  if (r->slips++ < 5)
    st = lu_netbuild_note(&r->b, line, "columns have slipped; read by their letters");
  return st;
}

static lu_status keep_place(reader *r, const char *line, lu_net_place *p)
{
  if (r->net == LU_NONE && (r->part == LU_NONE || r->number == LU_NONE))
    return LU_OK; /* a tooling hole or a free pad: of no net and no pin */
  uint32_t shared = r->net;
  lu_status st = shared == LU_NONE ? own_net(r, line) : LU_OK;
  if (st)
    return st;
  p->net = r->net;
  p->part = r->part;
  p->number = lu_netbuild_text(&r->b, r->number);
  if (r->part != LU_NONE && r->number != LU_NONE &&
      !lu_netbuild_pin(&r->b, r->part, r->net, r->number, LU_NONE, line))
    return lu_netbuild_nomem(&r->b);
  r->net = shared;
  r->places[r->place_count++] = *p;
  return LU_OK;
}

static lu_status read_point(reader *r, const char *line, size_t len, bool goes_on)
{
  lu_net_place p;
  head h = {0};
  lu_status st = LU_OK;
  if (!r->unit_mm) {
    r->unit_mm = 0.00254;
    st = lu_netbuild_note(&r->b, line, "no P UNITS line before the first point; CUST 0 assumed");
  }
  bool fixed = fixed_place(line, len, r->unit_mm, &p) && head_fits(line);
  if (fixed)
    fixed_head(line, &h);
  else if (!st)
    st = slipped(r, line, len, &p, &h, goes_on);
  if (fixed && !st && h.net_len > NET_LEN)
    st = lu_netbuild_note(&r->b, line, "the net's name runs over its 14 columns; taken whole");
  bool via = false;
  if (!st)
    st = take_net(r, line, &h, fixed, goes_on);
  if (!st)
    st = take_part(r, line, &h, goes_on, &via);
  if (st)
    return st;
  p.mid = h.mid || (goes_on && r->has_last && r->last.mid && !h.ref_len);
  p.via = via || line[1] == '0';
  r->last = p;
  r->has_last = true;
  return keep_place(r, line, &p);
}

/* ---- lines: 378, 389 and their continuations ---- */

static lu_status draw_to(reader *r, double x, double y)
{
  if (r->pen_down) {
    lu_net_line *l = lu_pile_add(r->drawing_edge ? &r->edges : &r->tracks, &r->b.work);
    if (!l)
      return lu_netbuild_nomem(&r->b);
    *l = r->pen;
    l->x2_mm = x;
    l->y2_mm = y;
  }
  r->pen.x1_mm = x;
  r->pen.y1_mm = y;
  r->pen_down = true;
  return LU_OK;
}

static lu_status out_of_range(reader *r, const char *at)
{
  return lu_netbuild_fail(&r->b, LU_ERR_VALUE, at,
                          "expected coordinates of at most 6 digits, found more");
}

/* X and Y chains; a coordinate that is left out stays as it was, "*" lifts the pen. */
static lu_status draw(reader *r, const char *at, const char *end)
{
  lu_status st = LU_OK;
  while (!st && at < end) {
    long v;
    int digits;
    double x = r->pen.x1_mm, y = r->pen.y1_mm;
    if (*at == '*')
      r->pen_down = false;
    if (*at == ' ' || *at == '*') {
      at++;
      continue;
    }
    const char *start = at;
    if (at < end && *at == 'X' && (at = loose_number(at + 1, end, &v, &digits))) {
      x = (double)v * r->unit_mm;
      if (digits > 6)
        return out_of_range(r, start);
    }
    if (at && at < end && *at == 'Y' && (at = loose_number(at + 1, end, &v, &digits))) {
      y = (double)v * r->unit_mm;
      if (digits > 6)
        return out_of_range(r, start);
    }
    if (!at || at == start)
      return lu_netbuild_fail(&r->b, LU_ERR_SYNTAX, start,
                              "expected X, Y or * of a chain of points, found '%c'",
                              *start >= ' ' && *start < 127 ? *start : '?');
    st = draw_to(r, x, y);
  }
  return st;
}

static lu_status read_conductor(reader *r, const char *line, size_t len)
{
  const char *end = line + len, *at, *net = line + NET;
  size_t net_len = len < NET + NET_LEN ? len - NET : NET_LEN;
  uint32_t index;
  long v;
  int digits;
  trim(&net, &net_len);
  r->drawing = true;
  r->drawing_edge = r->pen_down = false;
  lu_status st = net_of(r, line, net, net_len, &index);
  if (st)
    return st;
  r->pen = (lu_net_line){.net = index};
  at = len > NET + NET_LEN ? line + NET + NET_LEN : end;
  while (at < end && *at == ' ')
    at++;
  if (at == end || *at != 'L' || !(at = loose_number(at + 1, end, &v, &digits)) || digits > 2)
    return lu_netbuild_fail(&r->b, LU_ERR_SYNTAX, line + (len < 18 ? len : 18),
                            "expected the layer, Lnn, in columns 19 to 21");
  r->pen.layer = (uint8_t)v;
  while (at < end && *at == ' ')
    at++;
  if (at == end || *at != 'X' || !(at = loose_number(at + 1, end, &v, &digits)) || digits > 6)
    return lu_netbuild_fail(&r->b, LU_ERR_SYNTAX, at ? at : line, "expected the conductor's width");
  r->pen.width_mm = (double)v * r->unit_mm;
  if (at < end && *at == 'Y' && !(at = loose_number(at + 1, end, &v, &digits)))
    return lu_netbuild_fail(&r->b, LU_ERR_SYNTAX, line, "expected the aperture's height");
  return draw(r, at, end);
}

static lu_status read_edge(reader *r, const char *line, size_t len)
{
  r->drawing = r->drawing_edge = true;
  r->pen_down = false;
  r->pen = (lu_net_line){.net = UINT32_MAX};
  const char *at = line + (len < NET + NET_LEN ? len : NET + NET_LEN);
  while (at < line + len && *at != 'X' && *at != 'Y' && *at != '*')
    at++;
  return draw(r, at, line + len);
}

static lu_status read_more_lines(reader *r, const char *line, size_t len)
{
  if (!r->drawing)
    return lu_netbuild_fail(&r->b, LU_ERR_SYNTAX, line,
                            "expected a 378 or 389 record before %.3s, found none", line);
  return draw(r, line + NET, line + len);
}

/* ---- the file ---- */

static bool coded(const char *line, size_t len)
{
  return len >= 3 && digit(line[0]) && digit(line[1]) && digit(line[2]);
}

static lu_status read_record(reader *r, const char *line, size_t len)
{
  unsigned code = (unsigned)((line[0] - '0') * 100 + (line[1] - '0') * 10 + (line[2] - '0'));
  if (!r->unit_mm && (code == 378 || code == 389))
    r->unit_mm = 0.00254;
  switch (code) {
  case 307:
  case 317:
  case 327:
    return read_point(r, line, len, false);
  case 7:
  case 17:
  case 27:
    return read_point(r, line, len, true);
  case 367:
  case 67:
    return LU_OK; /* a tooling hole: no net, no pin */
  case 378:
    return read_conductor(r, line, len);
  case 389:
    return read_edge(r, line, len);
  case 78:
  case 89:
    return read_more_lines(r, line, len);
  case 379:
  case 79:
    r->adjacency++;
    return LU_OK;
  default:
    if (!r->strange++)
      return lu_netbuild_note(&r->b, line, "record %.3s is not known; stepped over", line);
    return LU_OK;
  }
}

/* How many records may become a place: the places are allotted once. */
static size_t count_points(lu_bytes in)
{
  const char *at = (const char *)in.at, *end = at + in.len, *line;
  size_t len, n = 0;
  while (lu_text_line(&at, end, &line, &len))
    n += len > NET && (line[0] == '3' || line[0] == '0');
  return n;
}

static lu_status read_lines(reader *r, lu_bytes in)
{
  const char *at = (const char *)in.at, *end = at + in.len, *line;
  size_t len;
  lu_status st = LU_OK;
  while (!st && lu_text_line(&at, end, &line, &len)) {
    while (len && line[len - 1] == ' ')
      len--;
    if (!len || *line == 'C')
      continue;
    if (*line == 'P') {
      st = read_parameter(r, line, len);
    } else if (!coded(line, len)) {
      st = lu_netbuild_fail(&r->b, LU_ERR_SYNTAX, line,
                            "expected C, P or a record's three digits, found \"%.*s\"",
                            len < 10 ? (int)len : 10, line);
    } else if (!memcmp(line, "999", 3)) {
      return LU_OK;
    } else {
      st = read_record(r, line, len);
    }
  }
  return st ? st
            : lu_netbuild_fail(&r->b, LU_ERR_SYNTAX, end,
                               "expected a 999 record at the end, found the end of the file");
}

/* References are cut to six characters, pin numbers to four: such a pin may be two. */
static lu_clash clash(const lu_netbuild *b, const lu_rawpin *first, const lu_rawpin *second)
{
  if (!memcmp(lu_netbuild_net_text(b, second->net), "N/C ", 4))
    return LU_CLASH_FIRST;
  if (!memcmp(lu_netbuild_net_text(b, first->net), "N/C ", 4))
    return LU_CLASH_SECOND;
  const lu_net_part *part = lu_pile_at(&b->parts, second->part);
  return strlen(part->ref) >= REF_LEN ||
                 lu_netbuild_atom_at(b, second->number)->len >= PIN_LEN
             ? LU_CLASH_FIRST
             : LU_CLASH_ERROR;
}

static bool copy_lines(lu_netbuild *b, const lu_pile *from, lu_net_line **to, size_t *count)
{
  *count = from->count;
  *to = from->count ? LU_NEW(b->mem, lu_net_line, from->count) : NULL;
  for (uint32_t i = 0; *to && i < from->count; i++)
    (*to)[i] = *(lu_net_line *)lu_pile_at(from, i);
  return *to || !from->count;
}

static lu_status finish(reader *r, lu_netlist **out)
{
  lu_netlist *n = NULL;
  lu_status st = LU_OK;
  if (r->slips > 5)
    st = lu_netbuild_note(&r->b, NULL, "columns have slipped in %zu records in all", r->slips);
  if (!st && r->adjacency)
    st = lu_netbuild_note(&r->b, NULL, "%zu adjacency records (379) stepped over", r->adjacency);
  if (!st)
    st = lu_netbuild_done(&r->b, LU_TWICE_QUIET, clash, &n);
  if (st)
    return st;
  n->places = r->places;
  n->place_count = r->place_count;
  if (!copy_lines(&r->b, &r->tracks, &n->tracks, &n->track_count) ||
      !copy_lines(&r->b, &r->edges, &n->edges, &n->edge_count))
    return lu_netbuild_nomem(&r->b);
  *out = n;
  return LU_OK;
}

static lu_status ipc356_read(lu_bytes in, lu_arena *mem, lu_netlist **out, lu_err *err)
{
  reader r = {.tracks = {.size = sizeof(lu_net_line)}, .edges = {.size = sizeof(lu_net_line)}};
  lu_status st = lu_netbuild_begin(&r.b, "ipc356", in, mem, err);
  if (!st) {
    r.net = r.part = r.number = LU_NONE;
    r.places = lu_arena_big(mem, (count_points(in) + 1) * sizeof *r.places);
    st = r.places ? read_lines(&r, in) : lu_netbuild_nomem(&r.b);
  }
  if (!st)
    st = finish(&r, out);
  lu_netbuild_end(&r.b);
  return st;
}

/* Every line of the beginning is a comment, a parameter or a record, one of them a telling one. */
static int ipc356_recognise(lu_bytes in)
{
  const char *at = (const char *)in.at, *end = at + (in.len < 65536 ? in.len : 65536), *line;
  size_t len;
  bool told = false;
  for (int n = 0; n < 200 && lu_text_line(&at, end, &line, &len); n++) {
    if (!len)
      continue;
    if (told && coded(line, len) && !memcmp(line, "999", 3))
      break;
    if (coded(line, len))
      told = told || (line[2] == '7' && (line[0] == '3' || line[0] == '0') && len > X) ||
             (n && !memcmp(line, "999", 3)) || !memcmp(line, "378", 3) || !memcmp(line, "389", 3);
    else if (len > 3 && !memcmp(line, "P  ", 3))
      told = true;
    else if (*line != 'C' && *line != 'P')
      return 0;
    else if (len > 1 && line[1] != ' ')
      return 0;
  }
  return told ? 90 : 0;
}

const lu_netform lu_netform_ipc356 = {
    .name = "ipc356",
    .summary = "IPC-D-356A test data: netlist and places",
    .recognise = ipc356_recognise,
    .read = ipc356_read,
};
