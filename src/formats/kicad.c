/* SPDX-License-Identifier: MIT */
/* KiCad netlist as s-expression, export versions D and E.
 *
 * Tree and facts: the exporter's source and the schematic editor's manual, "Intermediate netlist
 * structure". Only components, libparts and nets are read, the rest is stepped over. */
#include "formats/forms.h"
#include "formats/mould.h"

#include <string.h>

enum { WAITING = 16 };

typedef struct comp {
  uint32_t lib, part; /* atoms of libsource, or LU_NONE */
  bool seen;          /* has stood under components */
} comp;

typedef struct reader {
  lu_netbuild b;
  lu_sexp s;
  lu_pile comps;      /* by part */
  lu_keymap libparts; /* lib, part -> number from 1 */
  uint32_t libpart_count;
  lu_keymap pin_names; /* number of libpart, atom of pin -> atom of name */
  bool has_nets;
  lu_moulds nodes;
  struct node {
    const char *ref;
    size_t ref_len;
    uint32_t net, pin, function;
    const char *start;
  } wait[WAITING]; /* nodes that were read and are not added yet: see add_node */
  unsigned waiting;
} reader;

static uint64_t pair_key(uint32_t a, uint32_t b)
{
  return ((uint64_t)a << 32 | b) + 1;
}

/* The atom taken last by s, escapes undone; one that is too long is cut behind the limit. */
static size_t undo_escapes(const lu_sexp *s, char plain[LU_NETNAME_MOST + 1])
{
  size_t n = 0;
  for (size_t i = 0; i < s->len && n <= LU_NETNAME_MOST; i++) {
    char c = s->text[i];
    if (c == '\\' && s->escaped && i + 1 < s->len) {
      c = s->text[++i];
      c = c == 'n' || c == 't' || c == 'r' ? ' ' : c; /* names stay on one line */
    }
    plain[n++] = c;
  }
  return n;
}

/* The atom taken last by s. */
static lu_status keep(reader *r, const lu_sexp *s, uint32_t *atom)
{
  if (!s->escaped)
    return lu_netbuild_atom(&r->b, s->text, s->len, s->text, atom);
  char plain[LU_NETNAME_MOST + 1];
  return lu_netbuild_atom(&r->b, plain, undo_escapes(s, plain), s->text, atom);
}

/* The value of a list (keyword value): keeps the atom, steps over what may follow. */
static lu_status value(reader *r, const char *what, uint32_t *atom)
{
  lu_status st = lu_sexp_value(&r->s, &r->b, what);
  return st ? st : keep(r, &r->s, atom);
}

/* (ref "U1"): where the reference stands, to be looked up when the component or node is whole. */
static lu_status reference(reader *r, lu_sexp *ref)
{
  lu_status st = lu_sexp_value(&r->s, &r->b, "a reference");
  *ref = r->s;
  if (!st && !ref->escaped)
    lu_netbuild_part_soon(&r->b, ref->text, ref->len);
  return st;
}

static lu_status part_of(reader *r, const lu_sexp *ref, uint32_t *part)
{
  uint32_t atom;
  if (!ref->escaped)
    return lu_netbuild_part_of(&r->b, ref->text, ref->len, ref->text, part);
  lu_status st = keep(r, ref, &atom);
  if (st)
    return st;
  *part = lu_netbuild_part(&r->b, atom);
  return *part == LU_NONE ? lu_netbuild_nomem(&r->b) : LU_OK;
}

static comp *comp_of(reader *r, uint32_t part)
{
  while (r->comps.count <= part) {
    comp *c = lu_pile_add(&r->comps, &r->b.work);
    if (!c)
      return NULL;
    *c = (comp){LU_NONE, LU_NONE, false};
  }
  return lu_pile_at(&r->comps, part);
}

/* (lib x) (part y) anywhere in the open list, which is read to its end. */
static lu_status read_source(reader *r, uint32_t *lib, uint32_t *part)
{
  lu_token t;
  lu_status st;
  while (!(st = lu_sexp_item(&r->s, &r->b, &t)) && t != LU_TOKEN_CLOSE) {
    if (t == LU_TOKEN_ATOM)
      continue;
    if (LU_SEXP_KEY(&r->s, "lib"))
      st = value(r, "a library's name", lib);
    else if (LU_SEXP_KEY(&r->s, "part"))
      st = value(r, "a symbol's name", part);
    else
      st = lu_sexp_skip(&r->s, &r->b);
    if (st)
      return st;
  }
  return st;
}

static const char *text_or_none(const reader *r, uint32_t atom)
{
  const char *t = lu_netbuild_text(&r->b, atom);
  return t && *t && strcmp(t, "~") ? t : NULL;
}

static bool same_text(const char *a, const char *b)
{
  return a == b || (a && b && !strcmp(a, b));
}

static lu_status add_comp(reader *r, const char *start, const lu_sexp *ref, uint32_t val,
                          uint32_t lib, uint32_t sym)
{
  uint32_t part;
  if (!ref->text)
    return lu_netbuild_fail(&r->b, LU_ERR_SYNTAX, start,
                            "expected a (ref ...) in this component, found none");
  lu_status st = part_of(r, ref, &part);
  if (st)
    return st;
  comp *c = comp_of(r, part);
  if (!c)
    return lu_netbuild_nomem(&r->b);
  lu_net_part *p = lu_netbuild_part_at(&r->b, part);
  if (c->seen && same_text(p->value, text_or_none(r, val)) && c->part == sym && c->lib == lib)
    return lu_netbuild_note(&r->b, start, "%s stands twice with one value; taken as a further unit",
                            p->ref);
  if (c->seen)
    return lu_netbuild_fail(&r->b, LU_ERR_VALUE, start,
                            "expected each part once, found a second \"%.60s\"", p->ref);
  *c = (comp){lib, sym, true};
  p->value = text_or_none(r, val);
  p->library = text_or_none(r, sym);
  return LU_OK;
}

static lu_status read_comp(reader *r)
{
  const char *start = r->s.text;
  uint32_t val = LU_NONE, lib = LU_NONE, sym = LU_NONE;
  lu_sexp ref = {0};
  lu_token t;
  lu_status st;
  while (!(st = lu_sexp_item(&r->s, &r->b, &t)) && t != LU_TOKEN_CLOSE) {
    if (t == LU_TOKEN_ATOM)
      return lu_sexp_fail(&r->s, &r->b, t, "a list of the component");
    if (ref.text && val != LU_NONE && sym != LU_NONE) { /* nothing of the rest is wanted */
      st = lu_sexp_skip(&r->s, &r->b);
      st = st ? st : lu_sexp_skip(&r->s, &r->b);
      break;
    }
    if (LU_SEXP_KEY(&r->s, "ref"))
      st = reference(r, &ref);
    else if (LU_SEXP_KEY(&r->s, "value"))
      st = value(r, "a value", &val);
    else if (LU_SEXP_KEY(&r->s, "libsource"))
      st = read_source(r, &lib, &sym);
    else
      st = lu_sexp_skip(&r->s, &r->b);
    if (st)
      return st;
  }
  return st ? st : add_comp(r, start, &ref, val, lib, sym);
}

static lu_status read_libpin(reader *r, uint32_t libpart)
{
  uint32_t num = LU_NONE, name = LU_NONE;
  lu_token t;
  lu_status st;
  while (!(st = lu_sexp_item(&r->s, &r->b, &t)) && t != LU_TOKEN_CLOSE) {
    if (t == LU_TOKEN_ATOM)
      continue;
    if (LU_SEXP_KEY(&r->s, "num"))
      st = value(r, "a pin's number", &num);
    else if (LU_SEXP_KEY(&r->s, "name"))
      st = value(r, "a pin's name", &name);
    else
      st = lu_sexp_skip(&r->s, &r->b);
    if (st)
      return st;
  }
  if (st || num == LU_NONE || !text_or_none(r, name))
    return st;
  uint32_t *slot = lu_keymap_put(&r->pin_names, &r->b.work, pair_key(libpart, num));
  if (!slot)
    return lu_netbuild_nomem(&r->b);
  *slot = name;
  return LU_OK;
}

/* (pins (pin ...)*) */
static lu_status read_libpins(reader *r, uint32_t libpart)
{
  lu_token t;
  lu_status st;
  while (!(st = lu_sexp_item(&r->s, &r->b, &t)) && t != LU_TOKEN_CLOSE) {
    if (t == LU_TOKEN_OPEN)
      st = LU_SEXP_KEY(&r->s, "pin") ? read_libpin(r, libpart) : lu_sexp_skip(&r->s, &r->b);
    if (st)
      return st;
  }
  return st;
}

static lu_status read_libpart(reader *r)
{
  uint32_t lib = LU_NONE, part = LU_NONE, index = ++r->libpart_count;
  lu_token t;
  lu_status st;
  while (!(st = lu_sexp_item(&r->s, &r->b, &t)) && t != LU_TOKEN_CLOSE) {
    if (t == LU_TOKEN_ATOM)
      continue;
    if (LU_SEXP_KEY(&r->s, "lib"))
      st = value(r, "a library's name", &lib);
    else if (LU_SEXP_KEY(&r->s, "part"))
      st = value(r, "a symbol's name", &part);
    else if (LU_SEXP_KEY(&r->s, "pins"))
      st = read_libpins(r, index);
    else
      st = lu_sexp_skip(&r->s, &r->b);
    if (st)
      return st;
  }
  if (st || part == LU_NONE)
    return st;
  uint32_t *slot = lu_keymap_put(&r->libparts, &r->b.work, pair_key(lib, part));
  if (!slot)
    return lu_netbuild_nomem(&r->b);
  *slot = index;
  return LU_OK;
}

/* Nodes are added some at a time, for by then their parts, fetched from far away in the table of
 * references, have arrived. */
static lu_status add_nodes(reader *r)
{
  lu_status st = LU_OK;
  for (unsigned i = 0; !st && i < r->waiting; i++) {
    const struct node *n = &r->wait[i];
    uint32_t part;
    st = lu_netbuild_part_of(&r->b, n->ref, n->ref_len, n->ref, &part);
    if (!st && !lu_netbuild_pin(&r->b, part, n->net, n->pin, n->function, n->start))
      st = lu_netbuild_nomem(&r->b);
  }
  r->waiting = 0;
  return st;
}

static lu_status add_node(reader *r, const struct node *n)
{
  r->wait[r->waiting++] = *n;
  return r->waiting < WAITING ? LU_OK : add_nodes(r);
}

/* The rare one: its reference has to be changed before it is looked up. */
static lu_status add_escaped(reader *r, const struct node *n, const lu_sexp *ref)
{
  uint32_t part;
  lu_status st = add_nodes(r);
  if (!st)
    st = part_of(r, ref, &part);
  if (!st && !lu_netbuild_pin(&r->b, part, n->net, n->pin, n->function, n->start))
    st = lu_netbuild_nomem(&r->b);
  return st;
}

enum { REF, PIN, FUNCTION, VALUES }; /* of a node */

/* The careful way; the keyword is taken already. before: where the item began, with its blanks. */
static lu_status read_node(reader *r, uint32_t net, const char *before)
{
  struct node n = {.net = net, .pin = LU_NONE, .function = LU_NONE, .start = r->s.text};
  const char *values[VALUES] = {NULL};
  lu_sexp ref = {0};
  lu_token t;
  lu_status st;
  while (!(st = lu_sexp_item(&r->s, &r->b, &t)) && t != LU_TOKEN_CLOSE) {
    int what = LU_SEXP_KEY(&r->s, "ref")           ? REF
               : LU_SEXP_KEY(&r->s, "pin")         ? PIN
               : LU_SEXP_KEY(&r->s, "pinfunction") ? FUNCTION
                                                   : VALUES;
    if (t == LU_TOKEN_ATOM)
      return lu_sexp_fail(&r->s, &r->b, t, "a list of the node");
    if (what == REF)
      st = reference(r, &ref);
    else if (what == VALUES)
      st = lu_sexp_skip(&r->s, &r->b);
    else
      st = value(r, what == PIN ? "a pin's number" : "a pin's name",
                 what == PIN ? &n.pin : &n.function);
    if (st)
      return st;
    if (what != VALUES)
      values[what] = r->s.text;
  }
  if (!st && (!ref.text || n.pin == LU_NONE))
    st = lu_netbuild_fail(&r->b, LU_ERR_SYNTAX, n.start,
                          "expected (ref ...) and (pin ...) in this node, found no %s",
                          ref.text ? "pin" : "ref");
  if (st || ref.escaped)
    return st ? st : add_escaped(r, &n, &ref);
  n.ref = ref.text;
  n.ref_len = ref.len;
  lu_moulds_make(&r->nodes, &r->s, before, values, VALUES);
  return add_node(r, &n);
}

/* The node whose values stand in the holes. */
static lu_status moulded_node(reader *r, uint32_t net, const lu_mould *m, const lu_hole *hole,
                              const char *before)
{
  struct node n = {.net = net, .pin = LU_NONE, .function = LU_NONE, .start = before + m->head};
  lu_status st = LU_OK;
  for (unsigned k = 0; !st && k < m->holes; k++) {
    uint32_t *atom = m->role[k] == PIN ? &n.pin : &n.function;
    if (m->role[k] == REF) {
      n.ref = hole[k].text, n.ref_len = hole[k].len;
      lu_netbuild_part_soon(&r->b, n.ref, n.ref_len);
    } else if (m->role[k] >= 0) {
      st = lu_netbuild_atom(&r->b, hole[k].text, hole[k].len, hole[k].text, atom);
    }
  }
  return st ? st : add_node(r, &n);
}

/* The name may be empty (old exports): the code then names the net. */
static lu_status open_net(reader *r, const char *start, const lu_sexp *code, uint32_t name,
                          uint32_t *net)
{
  const char *text = lu_netbuild_text(&r->b, name);
  if (!text || !*text) {
    if (!code->text)
      return lu_netbuild_fail(&r->b, LU_ERR_SYNTAX, start,
                              "expected (name ...) before the nodes of this net, found none");
    char made[LU_NETNAME_MOST + 8] = "net-";
    size_t len = undo_escapes(code, made + 4);
    lu_status st = lu_netbuild_atom(&r->b, made, len + 4, start, &name);
    if (st)
      return st;
  }
  bool again = lu_netbuild_atom_at(&r->b, name)->net != LU_NONE;
  *net = lu_netbuild_net(&r->b, name);
  if (*net == LU_NONE)
    return lu_netbuild_nomem(&r->b);
  if (again)
    return lu_netbuild_note(&r->b, start, "net %s stands twice; its pins are taken together",
                            lu_netbuild_text(&r->b, name));
  return LU_OK;
}

/* The net that is being read. */
struct net {
  const char *start;
  lu_sexp code; /* each net has another: no name to be kept */
  uint32_t name, net;
};

/* The nodes that come next, as many as fit a mould. */
static lu_status moulded_nodes(reader *r, struct net *n)
{
  lu_hole hole[LU_MOULD_HOLES];
  const lu_mould *m;
  lu_status st = LU_OK;
  for (;;) {
    const char *before = r->s.at;
    if (st || !(m = lu_moulds_fit(&r->nodes, &r->s, hole)))
      return st;
    if (n->net == LU_NONE)
      st = open_net(r, n->start, &n->code, n->name, &n->net);
    if (!st)
      st = moulded_node(r, n->net, m, hole, before);
  }
}

static lu_status read_net_list(reader *r, struct net *n, const char *before)
{
  lu_status st = LU_OK;
  if (LU_SEXP_KEY(&r->s, "node")) {
    if (n->net == LU_NONE)
      st = open_net(r, n->start, &n->code, n->name, &n->net);
    return st ? st : read_node(r, n->net, before);
  }
  if (LU_SEXP_KEY(&r->s, "name"))
    return value(r, "a net's name", &n->name);
  if (!LU_SEXP_KEY(&r->s, "code"))
    return lu_sexp_skip(&r->s, &r->b);
  st = lu_sexp_value(&r->s, &r->b, "a net's code");
  n->code = r->s;
  return st;
}

static lu_status read_net(reader *r)
{
  struct net n = {.start = r->s.text, .name = LU_NONE, .net = LU_NONE};
  lu_token t;
  lu_status st;
  for (;;) {
    st = n.name == LU_NONE ? LU_OK : moulded_nodes(r, &n);
    const char *before = r->s.at;
    if (!st)
      st = lu_sexp_item(&r->s, &r->b, &t);
    if (st || t == LU_TOKEN_CLOSE)
      break;
    if (t == LU_TOKEN_ATOM)
      return lu_sexp_fail(&r->s, &r->b, t, "a list of the net");
    st = read_net_list(r, &n, before);
    if (st)
      break;
  }
  if (!st && n.net == LU_NONE && (n.name != LU_NONE || n.code.text))
    st = open_net(r, n.start, &n.code, n.name, &n.net);
  return st;
}

/* Every list named word in the open list goes to read, all else is stepped over. */
static lu_status each(reader *r, const char *word, lu_status (*read)(reader *r))
{
  size_t len = strlen(word);
  lu_token t;
  lu_status st;
  while (!(st = lu_sexp_item(&r->s, &r->b, &t)) && t != LU_TOKEN_CLOSE) {
    if (t == LU_TOKEN_ATOM)
      return lu_sexp_fail(&r->s, &r->b, t, "a list");
    st = lu_sexp_is(&r->s, word, len) ? read(r) : lu_sexp_skip(&r->s, &r->b);
    if (st)
      return st;
  }
  return st;
}

static lu_status read_version(reader *r)
{
  lu_status st = lu_sexp_atom(&r->s, &r->b, "a version");
  if (st)
    return st;
  if (!LU_SEXP_IS(&r->s, "D") && !LU_SEXP_IS(&r->s, "E"))
    st = lu_netbuild_note(&r->b, r->s.text, "export version %.*s is not known; read as E",
                          r->s.len < 20 ? (int)r->s.len : 20, r->s.text);
  return st ? st : lu_sexp_skip(&r->s, &r->b);
}

static lu_status read_export(reader *r)
{
  lu_token t;
  lu_status st = lu_sexp_next(&r->s, &r->b, &t);
  if (!st && t != LU_TOKEN_OPEN)
    st = lu_sexp_fail(&r->s, &r->b, t, "(export ...");
  if (!st)
    st = lu_sexp_atom(&r->s, &r->b, "export");
  if (!st && !LU_SEXP_IS(&r->s, "export"))
    st = lu_sexp_fail(&r->s, &r->b, LU_TOKEN_ATOM, "export");
  while (!st && !(st = lu_sexp_item(&r->s, &r->b, &t)) && t != LU_TOKEN_CLOSE) {
    if (t == LU_TOKEN_ATOM)
      return lu_sexp_fail(&r->s, &r->b, t, "a list");
    if (LU_SEXP_KEY(&r->s, "components")) {
      st = each(r, "comp", read_comp);
    } else if (LU_SEXP_KEY(&r->s, "libparts")) {
      st = each(r, "libpart", read_libpart);
    } else if (LU_SEXP_KEY(&r->s, "nets")) {
      r->has_nets = true;
      st = each(r, "net", read_net);
      if (!st)
        st = add_nodes(r);
    } else if (LU_SEXP_KEY(&r->s, "version")) {
      st = read_version(r);
    } else {
      st = lu_sexp_skip(&r->s, &r->b);
    }
  }
  if (!st)
    st = lu_sexp_next(&r->s, &r->b, &t);
  if (!st && t != LU_TOKEN_END)
    st = lu_sexp_fail(&r->s, &r->b, t, "the end of the file");
  if (!st && !r->has_nets)
    st = lu_netbuild_fail(&r->b, LU_ERR_MISSING, r->s.end,
                          "expected a (nets ...) list, found none");
  return st;
}

/* The newest exporter writes "D0_11" for pin 11 named D0. A name that really ends so is told by
 * the symbol's own pin list. */
static lu_status settle_function(reader *r, lu_rawpin *pin)
{
  uint32_t from_symbol = LU_NONE;
  if (pin->part < r->comps.count) {
    const comp *c = lu_pile_at(&r->comps, pin->part);
    const uint32_t *lib =
        c->part == LU_NONE ? NULL : lu_keymap_find(&r->libparts, pair_key(c->lib, c->part));
    const uint32_t *name = lib ? lu_keymap_find(&r->pin_names, pair_key(*lib, pin->number)) : NULL;
    from_symbol = name ? *name : LU_NONE;
  }
  if (pin->function == LU_NONE) {
    pin->function = from_symbol;
    return LU_OK;
  }
  if (pin->function == from_symbol)
    return LU_OK;
  const lu_atom *f = lu_netbuild_atom_at(&r->b, pin->function);
  const lu_atom *n = lu_netbuild_atom_at(&r->b, pin->number);
  if (f->len < n->len + 2 || f->text[f->len - n->len - 1] != '_' ||
      memcmp(f->text + f->len - n->len, n->text, n->len))
    return LU_OK;
  return lu_netbuild_atom(&r->b, f->text, f->len - n->len - 1, r->b.in.at, &pin->function);
}

static bool may_need_settling(const reader *r, const lu_rawpin *pin)
{
  if (pin->function == LU_NONE)
    return true;
  const lu_atom *f = lu_netbuild_atom_at(&r->b, pin->function);
  return f->len > 2 && memchr(f->text + 1, '_', f->len - 1);
}

static lu_status settle_functions(reader *r)
{
  lu_status st = LU_OK;
  for (uint32_t i = 0; !st && i < r->b.pins.count; i++) {
    lu_rawpin *pin = lu_pile_at(&r->b.pins, i);
    if (may_need_settling(r, pin))
      st = settle_function(r, pin);
  }
  return st;
}

static lu_status kicad_read(lu_bytes in, lu_arena *mem, lu_netlist **out, lu_err *err)
{
  reader r = {.comps = {.size = sizeof(comp)}};
  lu_status st = lu_netbuild_begin(&r.b, "kicad", in, mem, err);
  r.s = (lu_sexp){.at = (const char *)in.at, .end = (const char *)in.at + in.len};
  if (in.len >= 3 && !memcmp(in.at, "\xef\xbb\xbf", 3))
    r.s.at += 3;
  if (!st)
    st = read_export(&r);
  if (!st)
    st = settle_functions(&r);
  if (!st)
    st = lu_netbuild_done(&r.b, LU_TWICE_NOTED, NULL, out);
  lu_netbuild_end(&r.b);
  return st;
}

static int kicad_recognise(lu_bytes in)
{
  return lu_netform_opens(in, "export") ? 100 : 0;
}

const lu_netform lu_netform_kicad = {
    .name = "kicad",
    .summary = "KiCad netlist, s-expression, export versions D and E",
    .recognise = kicad_recognise,
    .read = kicad_read,
};
