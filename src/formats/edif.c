/* SPDX-License-Identifier: MIT */
/* EDIF 2 0 0 (EIA-548, 1988), the netlist view: reading. Flattening: edif_flat.c.
 *
 * Each function reads one kind of list and calls the next kind inside it, so the calls are never
 * deeper than the grammar; all else is stepped over by counting brackets. */
#include "formats/edif.h"
#include "formats/forms.h"
#include "formats/mould.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum {
  WIDEST = 65536, /* bits of one array */
  WAITING = 16
};

typedef struct reader {
  lu_edif e;
  lu_sexp s;
  uint32_t library; /* atom */
  uint32_t view;    /* index, while one is read */
  const char *id;   /* the identifier last taken, as it stands */
  size_t id_len;
  lu_moulds port_refs;
  struct wait {     /* the instances that the joins read last name: see settle */
    const char *text;
    size_t len;
    lu_edif_join *join;
  } wait[WAITING];
  unsigned waiting;
} reader;

#define IS(word) LU_SEXP_IS(&r->s, word)   /* an atom */
#define KEY(word) LU_SEXP_KEY(&r->s, word) /* a list */

static lu_netbuild *builder(reader *r)
{
  return &r->e.b;
}

static lu_keys *general(reader *r)
{
  return &r->e.b.short_names;
}

static uint32_t offset_of(reader *r, const char *at)
{
  return (uint32_t)((const uint8_t *)at - r->e.b.in.at);
}

/* ---- names and texts ---- */

/* text[len], an identifier, without its "&", in lower case. ids: the table of its kind; NULL: it is
 * only looked at, r->id tells where it stands. */
static lu_status identify(reader *r, lu_keys *ids, const char *text, size_t len, uint32_t *atom)
{
  uint32_t *tag;
  if (*text == '&' && len > 1)
    text++, len--;
  r->id = text;
  r->id_len = len;
  if (!ids && len <= LU_NETNAME_MOST && !memchr(text, 0, len))
    return LU_OK;
  return lu_netbuild_atom_low_in(builder(r), ids ? ids : general(r), text, len, text, atom, &tag);
}

/* The same for the token just taken. */
static lu_status identifier(reader *r, lu_keys *ids, uint32_t *atom)
{
  if (r->s.quoted || !r->s.len)
    return lu_sexp_fail(&r->s, builder(r), LU_TOKEN_ATOM, "an identifier");
  return identify(r, ids, r->s.text, r->s.len, atom);
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

/* The token s took last, as text: a string with its codes undone, or an identifier as it stands. */
static lu_status plain_text(reader *r, const lu_sexp *s, uint32_t *atom)
{
  const char *at = s->text;
  size_t len = s->len;
  char copy[LU_NETNAME_MOST];
  if (s->quoted && len <= sizeof copy && memchr(at, '%', len)) {
    memcpy(copy, at, len);
    return lu_netbuild_atom(builder(r), copy, undo_codes(copy, len), at, atom);
  }
  if (!s->quoted && len > 1 && *at == '&')
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
    return plain_text(r, &r->s, atom);
  st = lu_sexp_item(&r->s, builder(r), &t);
  if (st || t == LU_TOKEN_CLOSE)
    return st;
  if (t == LU_TOKEN_ATOM)
    st = plain_text(r, &r->s, atom);
  else
    st = lu_sexp_skip(&r->s, builder(r));
  return st ? st : lu_sexp_skip(&r->s, builder(r));
}

/* The token t is an identifier, (rename id text) or (name id ...). */
static lu_status simple_name(reader *r, lu_keys *ids, lu_token t, lu_edif_name *name)
{
  lu_status st;
  name->offset = offset_of(r, r->s.text);
  if (t == LU_TOKEN_ATOM) {
    st = identifier(r, ids, &name->id);
    return st ? st : plain_text(r, &r->s, &name->text);
  }
  bool renamed = KEY("rename");
  if (!renamed && !KEY("name"))
    return lu_sexp_fail(&r->s, builder(r), LU_TOKEN_ATOM, "a name, rename or array");
  st = expect(r, &t, "an identifier");
  if (!st && t == LU_TOKEN_OPEN) /* (rename (name id ...) text) */
    st = lu_sexp_atom(&r->s, builder(r), "an identifier");
  if (!st)
    st = identifier(r, ids, &name->id);
  lu_sexp id = r->s;
  if (!st && t == LU_TOKEN_OPEN)
    st = lu_sexp_skip(&r->s, builder(r));
  if (!st && renamed)
    st = wrapped_text(r, &name->text);
  if (!st && name->text == LU_NONE)
    st = plain_text(r, &id, &name->text);
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

/* The next item as the name of what the open list defines; ids as for identifier. */
static lu_status define(reader *r, lu_keys *ids, lu_edif_name *name)
{
  lu_token t;
  *name = (lu_edif_name){LU_NONE, LU_NONE, 0, 0};
  lu_status st = expect(r, &t, "a name");
  if (st || t == LU_TOKEN_ATOM || !KEY("array"))
    return st ? st : simple_name(r, ids, t, name);
  st = expect(r, &t, "a name");
  if (!st)
    st = simple_name(r, ids, t, name);
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
static lu_status refer(reader *r, lu_keys *ids, uint32_t *id, uint32_t *member)
{
  lu_token t;
  *member = LU_NONE;
  lu_status st = expect(r, &t, "a name");
  if (st || t == LU_TOKEN_ATOM)
    return st ? st : identifier(r, ids, id);
  bool is_member = KEY("member");
  if (!is_member && !KEY("name"))
    return lu_sexp_fail(&r->s, builder(r), LU_TOKEN_ATOM, "a name or member");
  st = lu_sexp_atom(&r->s, builder(r), "an identifier");
  if (!st)
    st = identifier(r, ids, id);
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
  lu_status st = define(r, general(r), &port.name);
  while (!st && !(st = lu_sexp_item(&r->s, b, &t)) && t != LU_TOKEN_CLOSE) {
    if (t == LU_TOKEN_ATOM)
      continue;
    bool wanted = KEY("designator");
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
    if (KEY("port"))
      st = read_port(r);
    else if (KEY("portbundle") || KEY("listofports"))
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
  uint32_t *to = KEY("viewref") ? view : cell;
  lu_token t;
  lu_status st = refer(r, general(r), to, &member);
  while (!st && !(st = lu_sexp_item(&r->s, b, &t))) {
    if (t == LU_TOKEN_CLOSE) {
      if (!inside--)
        return LU_OK;
      continue;
    }
    if (t == LU_TOKEN_ATOM)
      continue;
    to = KEY("cellref") ? cell : KEY("libraryref") ? library : NULL;
    if (!to) {
      st = lu_sexp_skip(&r->s, b);
      continue;
    }
    inside++;
    st = refer(r, general(r), to, &member);
  }
  return st;
}

/* (property name (string "x")): kept when the name is one of a value's. */
static lu_status read_property(reader *r, uint32_t *value, int *rank)
{
  lu_edif_name name;
  lu_status st = define(r, general(r), &name);
  if (st)
    return st;
  const char *text = lu_netbuild_text(builder(r), name.text);
  int found = lu_text_same(text, "value") ? 2 : lu_text_same(text, "part") ? 1 : 0;
  if (found > *rank) {
    lu_token t;
    st = lu_sexp_item(&r->s, builder(r), &t);
    if (st || t == LU_TOKEN_CLOSE)
      return st;
    if (t == LU_TOKEN_OPEN && KEY("string")) {
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
  lu_status st = refer(r, general(r), &port, &member);
  while (!st && !(st = lu_sexp_item(&r->s, b, &t)) && t != LU_TOKEN_CLOSE) {
    if (t == LU_TOKEN_ATOM)
      continue;
    if (KEY("designator"))
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
  if (KEY("viewref") || KEY("cellref"))
    return read_target(r, &in->view, &in->cell, &in->library);
  if (KEY("property"))
    return read_property(r, &in->value, rank);
  if (KEY("portinstance"))
    return read_port_instance(r, index);
  if (KEY("designator")) {
    st = wrapped_text(r, &in->name.text);
    return st ? st : lu_sexp_skip(&r->s, b);
  }
  return lu_sexp_skip(&r->s, b);
}

/* An instance with that index, if any, belongs to the view that is being read. */
static bool here(const reader *r, uint32_t instance)
{
  const lu_edif_view *v = lu_pile_at(&r->e.views, r->view);
  return instance != LU_NONE && instance >= v->inst_first;
}

/* The tag of an instance's identifier; NULL when memory is refused. */
static uint32_t *instance_tag(reader *r, uint32_t id)
{
  const lu_atom *a = lu_netbuild_atom_at(builder(r), id);
  uint32_t again, *tag;
  return lu_netbuild_atom_low_in(builder(r), &r->e.inst_ids, a->text, a->len, builder(r)->in.at,
                                 &again, &tag)
             ? NULL
             : tag;
}

static lu_status read_instance(reader *r)
{
  lu_netbuild *b = builder(r);
  lu_edif_instance in = {.library = r->library, .cell = LU_NONE, .view = LU_NONE,
                         .value = LU_NONE};
  uint32_t index = r->e.insts.count;
  int rank = 0;
  lu_token t;
  lu_status st = define(r, &r->e.inst_ids, &in.name);
  while (!st && !(st = lu_sexp_item(&r->s, b, &t)) && t != LU_TOKEN_CLOSE)
    if (t == LU_TOKEN_OPEN)
      st = read_instance_list(r, &in, index, &rank);
  if (st)
    return st;
  const uint8_t *place = b->in.at + in.name.offset;
  if (in.cell == LU_NONE)
    return lu_netbuild_fail(b, LU_ERR_SYNTAX, place,
                            "expected (viewRef ... (cellRef ...)) in this instance, found none");
  lu_edif_instance *kept = lu_pile_add(&r->e.insts, &b->work);
  lu_edif_place *spot = kept ? lu_pile_add(&r->e.places, &b->work) : NULL;
  uint32_t *last = spot ? instance_tag(r, in.name.id) : NULL;
  if (!last)
    return lu_netbuild_nomem(b);
  if (here(r, *last))
    return lu_netbuild_fail(b, LU_ERR_VALUE, place,
                            "expected each part once, found a second \"%.60s\"",
                            lu_netbuild_text(b, in.name.text));
  *kept = in;
  *spot = (lu_edif_place){LU_NONE, in.name.width, 0};
  *last = index;
  ((lu_edif_view *)lu_pile_at(&r->e.views, r->view))->inst_count++;
  return LU_OK;
}

/* ---- nets ---- */

/* Joins get their instances some at a time, for by then their places in the table of identifiers,
 * fetched from far away, have arrived. */
static lu_status settle(reader *r)
{
  lu_netbuild *b = builder(r);
  lu_edif_view *v = lu_pile_at(&r->e.views, r->view);
  for (unsigned i = 0; i < r->waiting; i++) {
    const struct wait *w = &r->wait[i];
    uint32_t id, *tag;
    lu_status st =
        lu_netbuild_atom_low_in(b, &r->e.inst_ids, w->text, w->len, w->text, &id, &tag);
    if (st)
      return st;
    if (here(r, *tag)) {
      w->join->instance = *tag;
    } else {
      w->join->late = id;
      v->late = true;
    }
  }
  r->waiting = 0;
  return LU_OK;
}

/* The instance is the identifier looked at last, unless there is none. */
static lu_status add_join(reader *r, lu_edif_net *net, const lu_edif_join *join, bool instance)
{
  lu_edif_join *kept = lu_pile_add(&r->e.joins, &builder(r)->work);
  if (!kept)
    return lu_netbuild_nomem(builder(r));
  *kept = *join;
  net->join_count++;
  if (!instance)
    return LU_OK;
  lu_netbuild_low_soon(builder(r), &r->e.inst_ids, r->id, r->id_len);
  r->wait[r->waiting++] = (struct wait){r->id, r->id_len, kept};
  return r->waiting < WAITING ? LU_OK : settle(r);
}

/* (instanceRef id), the keyword is taken already: where the identifier stands. */
static lu_status read_instance_ref(reader *r, uint32_t *element)
{
  lu_netbuild *b = builder(r);
  lu_token t;
  uint32_t unused;
  lu_status st = refer(r, NULL, &unused, element);
  if (!st)
    st = lu_sexp_next(&r->s, b, &t);
  if (!st && t != LU_TOKEN_CLOSE)
    st = lu_sexp_fail(&r->s, b, t, "the end of the instanceRef");
  return st;
}

enum { PORT, INSTANCE, VALUES }; /* of a portRef */

/* The careful way; the keyword is taken already. before: where the item began, with its blanks. */
static lu_status read_port_ref(reader *r, lu_edif_net *net, const char *before)
{
  lu_netbuild *b = builder(r);
  lu_edif_join join = {.instance = LU_NONE, .late = LU_NONE, .element = LU_NONE,
                       .offset = offset_of(r, r->s.text)};
  const char *values[VALUES] = {NULL};
  bool instance = false;
  lu_token t;
  lu_status st = refer(r, general(r), &join.port, &join.member);
  values[PORT] = r->id;
  while (!st && !(st = lu_sexp_item(&r->s, b, &t)) && t != LU_TOKEN_CLOSE) {
    if (t == LU_TOKEN_ATOM || !KEY("instanceref"))
      return lu_sexp_fail(&r->s, b, LU_TOKEN_ATOM, "instanceRef");
    st = read_instance_ref(r, &join.element);
    values[INSTANCE] = r->id;
    instance = true;
  }
  if (!st && join.member == LU_NONE && join.element == LU_NONE)
    lu_moulds_make(&r->port_refs, &r->s, before, values, VALUES);
  return st ? st : add_join(r, net, &join, instance);
}

/* The portRef whose values stand in the holes. */
static lu_status moulded_port_ref(reader *r, lu_edif_net *net, const lu_mould *m,
                                  const lu_hole *hole, const char *before)
{
  lu_edif_join join = {.instance = LU_NONE, .late = LU_NONE, .member = LU_NONE,
                       .element = LU_NONE, .offset = offset_of(r, before + m->head)};
  bool instance = false;
  lu_status st = LU_OK;
  uint32_t unused;
  for (unsigned k = 0; !st && k < m->holes; k++) {
    bool port = m->role[k] == PORT;
    if (m->role[k] < 0)
      continue;
    st = identify(r, port ? general(r) : NULL, hole[k].text, hole[k].len,
                  port ? &join.port : &unused);
    instance |= !port;
  }
  return st ? st : add_join(r, net, &join, instance);
}

static lu_status read_joined(reader *r, lu_edif_net *net)
{
  lu_hole hole[LU_MOULD_HOLES];
  lu_token t;
  lu_status st;
  for (;;) {
    const char *before = r->s.at;
    const lu_mould *m = lu_moulds_fit(&r->port_refs, &r->s, hole);
    if (m) {
      st = moulded_port_ref(r, net, m, hole, before);
    } else {
      st = lu_sexp_item(&r->s, builder(r), &t);
      if (st || t == LU_TOKEN_CLOSE)
        return st;
      if (t == LU_TOKEN_ATOM || !KEY("portref"))
        return lu_sexp_fail(&r->s, builder(r), LU_TOKEN_ATOM, "portRef");
      st = read_port_ref(r, net, before);
    }
    if (st)
      return st;
  }
}

static lu_status read_net(reader *r)
{
  lu_edif_net net = {.first_join = r->e.joins.count, .width = 1};
  lu_token t;
  lu_status st = define(r, NULL, &net.name);
  while (!st && !(st = lu_sexp_item(&r->s, builder(r), &t)) && t != LU_TOKEN_CLOSE) {
    if (t == LU_TOKEN_ATOM)
      continue;
    if (KEY("joined"))
      st = read_joined(r, &net);
    else if (KEY("net") || KEY("netbundle"))
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
    if (KEY("net"))
      st = read_net(r);
    else if (KEY("instance"))
      st = read_instance(r);
    else if (KEY("page") || KEY("netbundle") || KEY("listofnets"))
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
  lu_status st = define(r, general(r), &name);
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
    if (KEY("interface")) {
      st = read_interface(r);
    } else if (KEY("contents")) {
      st = read_contents(r);
      if (!st)
        st = settle(r);
    } else if (KEY("viewtype")) {
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
  lu_status st = define(r, general(r), &name);
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
      st = KEY("view") ? read_view(r, index) : lu_sexp_skip(&r->s, b);
    if (st)
      return st;
  }
  return st;
}

static lu_status read_library(reader *r)
{
  lu_edif_name name;
  lu_token t;
  lu_status st = define(r, general(r), &name);
  if (st)
    return st;
  r->library = name.id;
  while (!(st = lu_sexp_item(&r->s, builder(r), &t)) && t != LU_TOKEN_CLOSE) {
    if (t == LU_TOKEN_OPEN)
      st = KEY("cell") ? read_cell(r) : lu_sexp_skip(&r->s, builder(r));
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
  lu_status st = define(r, general(r), &name);
  while (!st && !(st = lu_sexp_item(&r->s, builder(r), &t)) && t != LU_TOKEN_CLOSE) {
    if (t == LU_TOKEN_ATOM)
      continue;
    if (KEY("cellref") || KEY("viewref"))
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
  if (!st && (t != LU_TOKEN_OPEN || !KEY("edif")))
    st = lu_sexp_fail(&r->s, b, LU_TOKEN_ATOM, "(edif ...");
  if (!st)
    st = define(r, general(r), &name);
  while (!st && !(st = lu_sexp_item(&r->s, b, &t)) && t != LU_TOKEN_CLOSE) {
    if (t == LU_TOKEN_ATOM)
      return lu_sexp_fail(&r->s, b, t, "a list");
    if (KEY("library") || KEY("external"))
      st = read_library(r);
    else if (KEY("design"))
      st = read_design(r);
    else if (KEY("edifversion"))
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
  r->e.places.size = sizeof(lu_edif_place);
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
