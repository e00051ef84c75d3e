/* SPDX-License-Identifier: MIT */
/* EDIF 2 0 0 (EIA-548, 1988), the netlist view: reading. Flattening: edif_flat.c.
 *
 * Each function reads one kind of list and calls the next kind inside it, so the calls are never
 * deeper than the grammar; all else is stepped over by counting brackets. */
#include "formats/edif.h"
#include "formats/forms.h"
#include "formats/sexp.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { WIDEST = 65536 }; /* bits of one array */

typedef struct reader {
  lu_edif e;
  lu_sexp s;
  uint32_t library; /* atom */
  uint32_t view;    /* index, while one is read */
} reader;

#define IS(word) LU_SEXP_IS(&r->s, word)

static lu_netbuild *builder(reader *r)
{
  return &r->e.b;
}

static uint32_t offset_of(reader *r, const char *at)
{
  return (uint32_t)((const uint8_t *)at - r->e.b.in.at);
}

/* ---- names and texts ---- */

/* The token just taken as an identifier: without "&", in lower case. */
static lu_status identifier(reader *r, uint32_t *atom)
{
  const char *at = r->s.text;
  size_t len = r->s.len;
  char low[LU_NETNAME_MOST];
  if (r->s.quoted || !len)
    return lu_sexp_fail(&r->s, builder(r), LU_TOKEN_ATOM, "an identifier");
  if (*at == '&' && len > 1)
    at++, len--;
  if (len > sizeof low)
    return lu_netbuild_atom(builder(r), at, len, at, atom); /* says that it is too long */
  for (size_t i = 0; i < len; i++)
    low[i] = at[i] >= 'A' && at[i] <= 'Z' ? (char)(at[i] | 0x20) : at[i];
  return lu_netbuild_atom(builder(r), low, len, at, atom);
}

/* "%34 35%" in a string stands for the characters of these codes. Returns the new length. */
static size_t undo_codes(char *text, size_t len)
{
  size_t to = 0;
  for (size_t i = 0; i < len; i++) {
    size_t j = i + 1, out = to;
    unsigned code = 0, digits = 0;
    bool good = text[i] == '%';
    for (; good && j < len && text[j] != '%'; j++) {
      if (text[j] >= '0' && text[j] <= '9') {
        code = code * 10 + (unsigned)(text[j] - '0');
        good = ++digits <= 3;
      } else {
        good = text[j] == ' ' && digits && code && code < 256;
        text[out++] = (char)code;
        code = digits = 0;
      }
    }
    if (good && j < len && digits && code && code < 256) {
      text[out++] = (char)code;
      to = out;
      i = j;
    } else {
      text[to++] = text[i];
    }
  }
  return to;
}

/* The token just taken as text: a string with its codes undone, or an identifier as it stands. */
static lu_status plain_text(reader *r, uint32_t *atom)
{
  const char *at = r->s.text;
  size_t len = r->s.len;
  char copy[LU_NETNAME_MOST];
  if (r->s.quoted && len <= sizeof copy && memchr(at, '%', len)) {
    memcpy(copy, at, len);
    return lu_netbuild_atom(builder(r), copy, undo_codes(copy, len), at, atom);
  }
  if (!r->s.quoted && len > 1 && *at == '&')
    at++, len--;
  return lu_netbuild_atom(builder(r), at, len, at, atom);
}

static lu_status expect(reader *r, lu_token *t, const char *what)
{
  lu_status st = lu_sexp_item(&r->s, builder(r), t);
  if (!st && *t == LU_TOKEN_CLOSE)
    st = lu_sexp_fail(&r->s, builder(r), *t, what);
  return st;
}

/* A text that may be wrapped: "x", (stringDisplay "x" ...), (name x ...), (string "x"). Only the
 * item itself is taken. */
static lu_status wrapped_text(reader *r, uint32_t *atom)
{
  lu_token t;
  lu_status st = expect(r, &t, "a text");
  if (st)
    return st;
  if (t == LU_TOKEN_ATOM)
    return plain_text(r, atom);
  st = lu_sexp_item(&r->s, builder(r), &t);
  if (st || t == LU_TOKEN_CLOSE)
    return st;
  if (t == LU_TOKEN_ATOM)
    st = plain_text(r, atom);
  else
    st = lu_sexp_skip(&r->s, builder(r));
  return st ? st : lu_sexp_skip(&r->s, builder(r));
}

/* The token t is an identifier, (rename id text) or (name id ...). */
static lu_status simple_name(reader *r, lu_token t, lu_edif_name *name)
{
  lu_status st;
  name->offset = offset_of(r, r->s.text);
  if (t == LU_TOKEN_ATOM) {
    st = identifier(r, &name->id);
    return st ? st : plain_text(r, &name->text);
  }
  bool renamed = IS("rename");
  if (!renamed && !IS("name"))
    return lu_sexp_fail(&r->s, builder(r), LU_TOKEN_ATOM, "a name, rename or array");
  st = expect(r, &t, "an identifier");
  if (st)
    return st;
  if (t == LU_TOKEN_OPEN) { /* (rename (name id ...) text) */
    st = lu_sexp_atom(&r->s, builder(r), "an identifier");
    if (!st)
      st = identifier(r, &name->id);
    if (!st)
      st = lu_sexp_skip(&r->s, builder(r));
  } else {
    st = identifier(r, &name->id);
    if (!st)
      st = plain_text(r, &name->text);
  }
  if (!st && renamed)
    st = wrapped_text(r, &name->text);
  return st ? st : lu_sexp_skip(&r->s, builder(r));
}

static lu_status number(reader *r, const char *what, uint32_t most, uint32_t *value)
{
  uint64_t v;
  lu_status st = lu_sexp_atom(&r->s, builder(r), what);
  if (!st && !lu_text_u64(r->s.text, r->s.len, 10, most, &v))
    st = lu_netbuild_fail(builder(r), LU_ERR_VALUE, r->s.text,
                          "expected %s up to %u, found \"%.*s\"", what, most,
                          r->s.len < 20 ? (int)r->s.len : 20, r->s.text);
  if (!st)
    *value = (uint32_t)v;
  return st;
}

/* The next item as the name of what the open list defines. */
static lu_status define(reader *r, lu_edif_name *name)
{
  lu_token t;
  *name = (lu_edif_name){LU_NONE, LU_NONE, 0, 0};
  lu_status st = expect(r, &t, "a name");
  if (st || t == LU_TOKEN_ATOM || !IS("array"))
    return st ? st : simple_name(r, t, name);
  st = expect(r, &t, "a name");
  if (!st)
    st = simple_name(r, t, name);
  if (!st)
    st = number(r, "the array's length", WIDEST, &name->width);
  if (!st && !name->width)
    st = lu_sexp_fail(&r->s, builder(r), LU_TOKEN_ATOM, "an array of at least 1");
  if (!st)
    st = lu_sexp_next(&r->s, builder(r), &t);
  if (!st && t != LU_TOKEN_CLOSE)
    st = lu_sexp_fail(&r->s, builder(r), t, "an array of one dimension");
  return st;
}

/* The next item as a reference: id, (name id ...) or (member id index). */
static lu_status refer(reader *r, uint32_t *id, uint32_t *member)
{
  lu_token t;
  *member = LU_NONE;
  lu_status st = expect(r, &t, "a name");
  if (st || t == LU_TOKEN_ATOM)
    return st ? st : identifier(r, id);
  bool is_member = IS("member");
  if (!is_member && !IS("name"))
    return lu_sexp_fail(&r->s, builder(r), LU_TOKEN_ATOM, "a name or member");
  st = lu_sexp_atom(&r->s, builder(r), "an identifier");
  if (!st)
    st = identifier(r, id);
  if (st || !is_member)
    return st ? st : lu_sexp_skip(&r->s, builder(r));
  st = number(r, "an index", WIDEST - 1, member);
  if (!st)
    st = lu_sexp_next(&r->s, builder(r), &t);
  if (!st && t != LU_TOKEN_CLOSE)
    st = lu_sexp_fail(&r->s, builder(r), t, "one index");
  return st;
}

bool lu_edif_range(const char *text, uint32_t width, size_t *base_len, long *first, long *step)
{
  size_t len = strlen(text);
  static const char opens[] = "[(<", closes[] = "])>";
  const char *close = len > 4 ? strchr(closes, text[len - 1]) : NULL;
  const char *open = close ? strrchr(text, opens[close - closes]) : NULL;
  if (!open || open == text)
    return false;
  char *end;
  long a = strtol(open + 1, &end, 10);
  if (*end != ':' || end == open + 1)
    return false;
  const char *second = end + 1;
  long b = strtol(second, &end, 10);
  if (end == second || end != text + len - 1 || a < -WIDEST || a > WIDEST || b < -WIDEST ||
      b > WIDEST || (a > b ? a - b : b - a) + 1 != (long)width)
    return false;
  *base_len = (size_t)(open - text);
  *first = a;
  *step = a > b ? -1 : 1;
  return true;
}

lu_status lu_edif_element(lu_netbuild *b, const lu_edif_name *name, bool falls, uint32_t index,
                          uint32_t *atom)
{
  *atom = name->text;
  if (!name->width)
    return LU_OK;
  const lu_atom *a = lu_netbuild_atom_at(b, name->text);
  char made[LU_NETNAME_MOST + 32];
  size_t len = a->len;
  long first = falls ? (long)name->width - 1 : 0, step = falls ? -1 : 1;
  (void)lu_edif_range(a->text, name->width, &len, &first, &step);
  memcpy(made, a->text, len);
  len += (size_t)snprintf(made + len, sizeof made - len, "[%ld]", first + step * (long)index);
  return lu_netbuild_atom(b, made, len, b->in.at + name->offset, atom);
}

/* ---- ports ---- */

static lu_status add_bits(reader *r, const lu_edif_port *p, uint32_t designator)
{
  lu_netbuild *b = builder(r);
  const char *text = lu_netbuild_text(b, p->name.text);
  size_t base;
  long first, step;
  if (p->name.width && !lu_edif_range(text, p->name.width, &base, &first, &step) &&
      !r->e.unordered_noted) {
    r->e.unordered_noted = true;
    lu_status st = lu_netbuild_note(
        b, b->in.at + p->name.offset,
        "array %.60s gives no range in its name; its members are taken as bits %u down to 0", text,
        p->name.width - 1);
    if (st)
      return st;
  }
  for (uint32_t i = 0; i < (p->name.width ? p->name.width : 1); i++) {
    lu_edif_bit *bit = lu_pile_add(&r->e.bits, &b->work);
    if (!bit)
      return lu_netbuild_nomem(b);
    uint32_t name;
    lu_status st = lu_edif_element(b, &p->name, true, i, &name);
    if (st)
      return st;
    bool named = !(*text >= '0' && *text <= '9') || p->name.width;
    *bit = (lu_edif_bit){designator != LU_NONE && !p->name.width ? designator : name,
                         named || designator != LU_NONE ? name : LU_NONE};
  }
  return LU_OK;
}

static lu_status read_port(reader *r)
{
  lu_netbuild *b = builder(r);
  lu_edif_port port = {.bit = r->e.bits.count};
  uint32_t designator = LU_NONE;
  lu_token t;
  lu_status st = define(r, &port.name);
  while (!st && !(st = lu_sexp_item(&r->s, b, &t)) && t != LU_TOKEN_CLOSE) {
    if (t == LU_TOKEN_ATOM)
      continue;
    bool wanted = IS("designator");
    if (wanted)
      st = wrapped_text(r, &designator);
    if (!st)
      st = lu_sexp_skip(&r->s, b);
  }
  if (st)
    return st;
  lu_edif_view *v = lu_pile_at(&r->e.views, r->view);
  uint32_t *slot = lu_keymap_put(&r->e.port_at, &b->work, lu_edif_key(r->view, port.name.id));
  lu_edif_port *kept = slot ? lu_pile_add(&r->e.ports, &b->work) : NULL;
  if (!kept)
    return lu_netbuild_nomem(b);
  if (*slot != LU_NONE)
    return lu_netbuild_fail(b, LU_ERR_VALUE, b->in.at + port.name.offset,
                            "expected each port of a cell once, found \"%.60s\" again",
                            lu_netbuild_text(b, port.name.text));
  *kept = port;
  *slot = r->e.ports.count - 1;
  v->port_count++;
  st = add_bits(r, kept, designator);
  v->bit_count = r->e.bits.count - v->bit_first;
  return st;
}

/* Ports, also inside portBundle and listOfPorts: their brackets are entered and counted. */
static lu_status read_interface(reader *r)
{
  unsigned inside = 0;
  lu_token t;
  lu_status st;
  while (!(st = lu_sexp_item(&r->s, builder(r), &t))) {
    if (t == LU_TOKEN_CLOSE) {
      if (!inside)
        return LU_OK;
      inside--;
      continue;
    }
    if (t == LU_TOKEN_ATOM)
      continue;
    if (IS("port"))
      st = read_port(r);
    else if (IS("portbundle") || IS("listofports"))
      inside++;
    else
      st = lu_sexp_skip(&r->s, builder(r));
    if (st)
      return st;
  }
  return st;
}

/* ---- instances ---- */

/* (viewRef v (cellRef c (libraryRef l))), (cellRef c ...): the keyword is taken already. */
static lu_status read_target(reader *r, uint32_t *view, uint32_t *cell, uint32_t *library)
{
  lu_netbuild *b = builder(r);
  unsigned inside = 0;
  uint32_t member;
  uint32_t *to = IS("viewref") ? view : cell;
  lu_token t;
  lu_status st = refer(r, to, &member);
  while (!st && !(st = lu_sexp_item(&r->s, b, &t))) {
    if (t == LU_TOKEN_CLOSE) {
      if (!inside--)
        return LU_OK;
      continue;
    }
    if (t == LU_TOKEN_ATOM)
      continue;
    to = IS("cellref") ? cell : IS("libraryref") ? library : NULL;
    if (!to) {
      st = lu_sexp_skip(&r->s, b);
      continue;
    }
    inside++;
    st = refer(r, to, &member);
  }
  return st;
}

/* (property name (string "x")): kept when the name is one of a value's. */
static lu_status read_property(reader *r, uint32_t *value, int *rank)
{
  lu_edif_name name;
  lu_status st = define(r, &name);
  if (st)
    return st;
  const char *text = lu_netbuild_text(builder(r), name.text);
  int found = lu_text_same(text, "value") ? 2 : lu_text_same(text, "part") ? 1 : 0;
  if (found > *rank) {
    lu_token t;
    st = lu_sexp_item(&r->s, builder(r), &t);
    if (st || t == LU_TOKEN_CLOSE)
      return st;
    if (t == LU_TOKEN_OPEN && IS("string")) {
      st = wrapped_text(r, value);
      *rank = found;
      if (!st)
        st = lu_sexp_skip(&r->s, builder(r));
    } else if (t == LU_TOKEN_OPEN) {
      st = lu_sexp_skip(&r->s, builder(r));
    }
  }
  return st ? st : lu_sexp_skip(&r->s, builder(r));
}

/* (portInstance port (designator x)): a pin number that holds at this instance only. */
static lu_status read_port_instance(reader *r, uint32_t instance)
{
  lu_netbuild *b = builder(r);
  uint32_t port = LU_NONE, member, designator = LU_NONE;
  lu_token t;
  lu_status st = refer(r, &port, &member);
  while (!st && !(st = lu_sexp_item(&r->s, b, &t)) && t != LU_TOKEN_CLOSE) {
    if (t == LU_TOKEN_ATOM)
      continue;
    if (IS("designator"))
      st = wrapped_text(r, &designator);
    if (!st)
      st = lu_sexp_skip(&r->s, b);
  }
  if (st || designator == LU_NONE || member != LU_NONE)
    return st;
  uint32_t *slot = lu_keymap_put(&r->e.number_at, &b->work, lu_edif_key(instance, port));
  if (!slot)
    return lu_netbuild_nomem(b);
  *slot = designator;
  return LU_OK;
}

static lu_status read_instance_list(reader *r, lu_edif_instance *in, uint32_t index, int *rank)
{
  lu_netbuild *b = builder(r);
  lu_status st;
  if (IS("viewref") || IS("cellref"))
    return read_target(r, &in->view, &in->cell, &in->library);
  if (IS("property"))
    return read_property(r, &in->value, rank);
  if (IS("portinstance"))
    return read_port_instance(r, index);
  if (IS("designator")) {
    st = wrapped_text(r, &in->name.text);
    return st ? st : lu_sexp_skip(&r->s, b);
  }
  return lu_sexp_skip(&r->s, b);
}

static lu_status read_instance(reader *r)
{
  lu_netbuild *b = builder(r);
  lu_edif_instance in = {.library = r->library, .cell = LU_NONE, .view = LU_NONE,
                         .value = LU_NONE, .target = LU_NONE};
  uint32_t index = r->e.insts.count;
  int rank = 0;
  lu_token t;
  lu_status st = define(r, &in.name);
  while (!st && !(st = lu_sexp_item(&r->s, b, &t)) && t != LU_TOKEN_CLOSE)
    if (t == LU_TOKEN_OPEN)
      st = read_instance_list(r, &in, index, &rank);
  if (st)
    return st;
  const uint8_t *place = b->in.at + in.name.offset;
  if (in.cell == LU_NONE)
    return lu_netbuild_fail(b, LU_ERR_SYNTAX, place,
                            "expected (viewRef ... (cellRef ...)) in this instance, found none");
  uint32_t *slot = lu_keymap_put(&r->e.inst_at, &b->work, lu_edif_key(r->view, in.name.id));
  lu_edif_instance *kept = slot ? lu_pile_add(&r->e.insts, &b->work) : NULL;
  if (!kept)
    return lu_netbuild_nomem(b);
  if (*slot != LU_NONE)
    return lu_netbuild_fail(b, LU_ERR_VALUE, place,
                            "expected each part once, found a second \"%.60s\"",
                            lu_netbuild_text(b, in.name.text));
  *kept = in;
  *slot = index;
  ((lu_edif_view *)lu_pile_at(&r->e.views, r->view))->inst_count++;
  return LU_OK;
}

/* ---- nets ---- */

static lu_status read_port_ref(reader *r, lu_edif_net *net)
{
  lu_netbuild *b = builder(r);
  lu_edif_join join = {.instance = LU_NONE, .element = LU_NONE,
                       .offset = offset_of(r, r->s.text)};
  lu_token t;
  lu_status st = refer(r, &join.port, &join.member);
  while (!st && !(st = lu_sexp_item(&r->s, b, &t)) && t != LU_TOKEN_CLOSE) {
    if (t == LU_TOKEN_ATOM || !IS("instanceref"))
      return lu_sexp_fail(&r->s, b, LU_TOKEN_ATOM, "instanceRef");
    st = refer(r, &join.instance, &join.element);
    if (!st)
      st = lu_sexp_next(&r->s, b, &t);
    if (!st && t != LU_TOKEN_CLOSE)
      st = lu_sexp_fail(&r->s, b, t, "the end of the instanceRef");
  }
  lu_edif_join *kept = st ? NULL : lu_pile_add(&r->e.joins, &b->work);
  if (!kept)
    return st ? st : lu_netbuild_nomem(b);
  *kept = join;
  net->join_count++;
  return LU_OK;
}

static lu_status read_joined(reader *r, lu_edif_net *net)
{
  lu_token t;
  lu_status st;
  while (!(st = lu_sexp_item(&r->s, builder(r), &t)) && t != LU_TOKEN_CLOSE) {
    if (t == LU_TOKEN_ATOM || !IS("portref"))
      return lu_sexp_fail(&r->s, builder(r), LU_TOKEN_ATOM, "portRef");
    st = read_port_ref(r, net);
    if (st)
      return st;
  }
  return st;
}

static lu_status read_net(reader *r)
{
  lu_edif_net net = {.first_join = r->e.joins.count, .width = 1};
  lu_token t;
  lu_status st = define(r, &net.name);
  while (!st && !(st = lu_sexp_item(&r->s, builder(r), &t)) && t != LU_TOKEN_CLOSE) {
    if (t == LU_TOKEN_ATOM)
      continue;
    if (IS("joined"))
      st = read_joined(r, &net);
    else if (IS("net") || IS("netbundle"))
      st = lu_sexp_fail(&r->s, builder(r), LU_TOKEN_ATOM, "no net inside a net");
    else
      st = lu_sexp_skip(&r->s, builder(r));
  }
  lu_edif_net *kept = st ? NULL : lu_pile_add(&r->e.nets, &builder(r)->work);
  if (!kept)
    return st ? st : lu_netbuild_nomem(builder(r));
  *kept = net;
  ((lu_edif_view *)lu_pile_at(&r->e.views, r->view))->net_count++;
  return LU_OK;
}

/* Instances and nets, also on pages and in bundles of nets. */
static lu_status read_contents(reader *r)
{
  unsigned inside = 0;
  lu_token t;
  lu_status st;
  while (!(st = lu_sexp_item(&r->s, builder(r), &t))) {
    if (t == LU_TOKEN_CLOSE) {
      if (!inside)
        return LU_OK;
      inside--;
      continue;
    }
    if (t == LU_TOKEN_ATOM)
      continue;
    if (IS("net"))
      st = read_net(r);
    else if (IS("instance"))
      st = read_instance(r);
    else if (IS("page") || IS("netbundle") || IS("listofnets"))
      inside++;
    else
      st = lu_sexp_skip(&r->s, builder(r));
    if (st)
      return st;
  }
  return st;
}

/* ---- cells and libraries ---- */

static lu_status read_view(reader *r, uint32_t cell)
{
  lu_netbuild *b = builder(r);
  lu_edif_name name;
  lu_token t;
  lu_status st = define(r, &name);
  if (st)
    return st;
  lu_edif_view *v = lu_pile_add(&r->e.views, &b->work);
  if (!v)
    return lu_netbuild_nomem(b);
  lu_edif_cell *c = lu_pile_at(&r->e.cells, cell);
  r->view = r->e.views.count - 1;
  *v = (lu_edif_view){.cell = cell, .id = name.id, .next = c->views,
                      .port_first = r->e.ports.count, .bit_first = r->e.bits.count,
                      .inst_first = r->e.insts.count, .net_first = r->e.nets.count};
  c->views = r->view;
  while (!(st = lu_sexp_item(&r->s, b, &t)) && t != LU_TOKEN_CLOSE) {
    if (t == LU_TOKEN_ATOM)
      continue;
    if (IS("interface")) {
      st = read_interface(r);
    } else if (IS("contents")) {
      st = read_contents(r);
    } else if (IS("viewtype")) {
      st = lu_sexp_atom(&r->s, b, "a view's type");
      v->netlist = !st && IS("netlist");
      if (!st)
        st = lu_sexp_skip(&r->s, b);
    } else {
      st = lu_sexp_skip(&r->s, b);
    }
    if (st)
      return st;
  }
  return st;
}

static lu_status read_cell(reader *r)
{
  lu_netbuild *b = builder(r);
  lu_edif_name name;
  lu_token t;
  lu_status st = define(r, &name);
  if (st)
    return st;
  uint32_t *slot = lu_keymap_put(&r->e.cell_at, &b->work, lu_edif_key(r->library, name.id));
  lu_edif_cell *c = slot ? lu_pile_add(&r->e.cells, &b->work) : NULL;
  if (!c)
    return lu_netbuild_nomem(b);
  if (*slot != LU_NONE)
    return lu_netbuild_fail(b, LU_ERR_VALUE, b->in.at + name.offset,
                            "expected each cell of a library once, found \"%.60s\" again",
                            lu_netbuild_text(b, name.text));
  uint32_t index = *slot = r->e.cells.count - 1;
  *c = (lu_edif_cell){r->library, name.id, name.text, LU_NONE};
  while (!(st = lu_sexp_item(&r->s, b, &t)) && t != LU_TOKEN_CLOSE) {
    if (t == LU_TOKEN_OPEN)
      st = IS("view") ? read_view(r, index) : lu_sexp_skip(&r->s, b);
    if (st)
      return st;
  }
  return st;
}

static lu_status read_library(reader *r)
{
  lu_edif_name name;
  lu_token t;
  lu_status st = define(r, &name);
  if (st)
    return st;
  r->library = name.id;
  while (!(st = lu_sexp_item(&r->s, builder(r), &t)) && t != LU_TOKEN_CLOSE) {
    if (t == LU_TOKEN_OPEN)
      st = IS("cell") ? read_cell(r) : lu_sexp_skip(&r->s, builder(r));
    if (st)
      return st;
  }
  return st;
}

static lu_status read_design(reader *r)
{
  lu_edif_name name;
  lu_token t;
  r->e.top_offset = offset_of(r, r->s.text);
  lu_status st = define(r, &name);
  while (!st && !(st = lu_sexp_item(&r->s, builder(r), &t)) && t != LU_TOKEN_CLOSE) {
    if (t == LU_TOKEN_ATOM)
      continue;
    if (IS("cellref") || IS("viewref"))
      st = read_target(r, &r->e.top_view, &r->e.top_cell, &r->e.top_library);
    else
      st = lu_sexp_skip(&r->s, builder(r));
  }
  return st;
}

/* (edifVersion 2 0 0) */
static lu_status read_version(reader *r)
{
  lu_status st = lu_sexp_atom(&r->s, builder(r), "a version");
  if (!st && !IS("2"))
    st = lu_netbuild_fail(builder(r), LU_ERR_VALUE, r->s.text,
                          "expected EDIF version 2 0 0, found %.*s",
                          r->s.len < 20 ? (int)r->s.len : 20, r->s.text);
  return st ? st : lu_sexp_skip(&r->s, builder(r));
}

static lu_status read_file(reader *r)
{
  lu_netbuild *b = builder(r);
  lu_edif_name name;
  lu_token t;
  lu_status st = lu_sexp_item(&r->s, b, &t);
  if (!st && (t != LU_TOKEN_OPEN || !IS("edif")))
    st = lu_sexp_fail(&r->s, b, LU_TOKEN_ATOM, "(edif ...");
  if (!st)
    st = define(r, &name);
  while (!st && !(st = lu_sexp_item(&r->s, b, &t)) && t != LU_TOKEN_CLOSE) {
    if (t == LU_TOKEN_ATOM)
      return lu_sexp_fail(&r->s, b, t, "a list");
    if (IS("library") || IS("external"))
      st = read_library(r);
    else if (IS("design"))
      st = read_design(r);
    else if (IS("edifversion"))
      st = read_version(r);
    else
      st = lu_sexp_skip(&r->s, b);
  }
  if (!st)
    st = lu_sexp_next(&r->s, b, &t);
  if (!st && t != LU_TOKEN_END)
    st = lu_sexp_fail(&r->s, b, t, "the end of the file");
  return st;
}

static void prepare(reader *r, lu_bytes in)
{
  const char *at = (const char *)in.at;
  r->s = (lu_sexp){.at = at, .end = at + in.len, .edif = true};
  if (in.len >= 3 && !memcmp(at, "\xef\xbb\xbf", 3))
    r->s.at += 3;
  r->e.cells.size = sizeof(lu_edif_cell);
  r->e.views.size = sizeof(lu_edif_view);
  r->e.ports.size = sizeof(lu_edif_port);
  r->e.bits.size = sizeof(lu_edif_bit);
  r->e.insts.size = sizeof(lu_edif_instance);
  r->e.nets.size = sizeof(lu_edif_net);
  r->e.joins.size = sizeof(lu_edif_join);
  r->e.top_library = r->e.top_cell = r->e.top_view = LU_NONE;
  r->library = LU_NONE;
}

static lu_status edif_read(lu_bytes in, lu_arena *mem, lu_netlist **out, lu_err *err)
{
  reader r = {0};
  lu_status st = lu_netbuild_begin(&r.e.b, "edif", in, mem, err);
  prepare(&r, in);
  if (!st)
    st = read_file(&r);
  if (!st)
    st = lu_edif_flatten(&r.e);
  if (!st)
    st = lu_netbuild_done(&r.e.b, LU_TWICE_NOTED, NULL, out);
  lu_netbuild_end(&r.e.b);
  return st;
}

static int edif_recognise(lu_bytes in)
{
  return lu_netform_opens(in, "edif") ? 100 : 0;
}

const lu_netform lu_netform_edif = {
    .name = "edif",
    .summary = "EDIF 2 0 0, netlist view, hierarchy laid flat",
    .recognise = edif_recognise,
    .read = edif_read,
};
