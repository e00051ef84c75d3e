/* SPDX-License-Identifier: MIT */
/* EDIF: hierarchy to one flat netlist. A list of frames instead of calls, so that designs may be
 * nested as deep as they like; sizes are known before anything is laid out. */
#include "formats/edif.h"

#include <string.h>

enum {
  MOST_PINS = 4000000,       /* of the flat design */
  MOST_PARTS = 2000000,      /* instances of any level */
  MOST_PATHS = 256 << 20,    /* bytes of all names with paths */
  LONGEST_PATH = 1 << 20
};
#define FRAME UINT32_C(0x80000000)

/* One appearance of a cell in the flat design. */
typedef struct frame {
  uint32_t parent;  /* frame, LU_NONE at the top */
  uint32_t name;    /* atom of the instance */
  uint32_t view;
  uint32_t *bound;  /* flat net of each of its port bits, or LU_NONE; NULL at the top */
} frame;

/* A net somewhere in the hierarchy. Joined ones form trees; the root is the topmost, which is
 * always the earliest. */
typedef struct flat_net {
  uint32_t joined_to; /* itself at a root */
  uint32_t frame, name; /* for the root's name */
  uint32_t built;     /* index of the builder's net, LU_NONE until asked for */
} flat_net;

typedef struct flattener {
  lu_edif *e;
  lu_pile frames, nets;
  uint32_t *parts;   /* while a frame is laid out: builder's part of an element of an array of leaf
                      * instances; or, of hierarchical ones, FRAME and its frame */
  size_t slot_room;
  uint32_t port_part; /* the part that stands for the design's own ports */
  size_t path_bytes;
  lu_keymap taken;    /* atom of a net's name -> how often it was wanted */
} flattener;

static lu_edif_view *view_at(const lu_edif *e, uint32_t i)
{
  return lu_pile_at(&e->views, i);
}
static lu_edif_instance *inst_at(const lu_edif *e, uint32_t i)
{
  return lu_pile_at(&e->insts, i);
}
static lu_edif_place *place_at(const lu_edif *e, uint32_t i)
{
  return lu_pile_at(&e->places, i);
}
static lu_edif_port *port_at(const lu_edif *e, uint32_t i)
{
  return lu_pile_at(&e->ports, i);
}
static uint32_t bits_of(uint32_t width)
{
  return width ? width : 1;
}
static bool is_leaf(const lu_edif_view *v)
{
  return !v->inst_count && !v->net_count;
}

/* ---- resolving: identifiers to indexes, sizes ---- */

/* The view of that identifier, else the first netlist, else the first of all. */
static uint32_t pick_view(const lu_edif *e, const lu_edif_cell *c, uint32_t id)
{
  uint32_t found = LU_NONE, first = LU_NONE;
  for (uint32_t i = c->views; i != LU_NONE; i = view_at(e, i)->next) {
    if (view_at(e, i)->id == id)
      return i;
    if (view_at(e, i)->netlist)
      found = i;
    first = i;
  }
  return found != LU_NONE ? found : first;
}

static lu_status find_view(lu_edif *e, uint32_t library, uint32_t cell, uint32_t view,
                           uint32_t offset, uint32_t *index)
{
  const uint32_t *at = lu_keymap_find(&e->cell_at, lu_edif_key(library, cell));
  if (!at)
    return lu_netbuild_fail(&e->b, LU_ERR_MISSING, e->b.in.at + offset,
                            "expected a cell \"%.60s\" in library \"%.60s\", found none",
                            lu_netbuild_text(&e->b, cell),
                            library == LU_NONE ? "" : lu_netbuild_text(&e->b, library));
  *index = pick_view(e, lu_pile_at(&e->cells, *at), view);
  if (*index == LU_NONE)
    return lu_netbuild_fail(&e->b, LU_ERR_MISSING, e->b.in.at + offset,
                            "expected a view of cell \"%.60s\", found none",
                            lu_netbuild_text(&e->b, cell));
  return LU_OK;
}

enum { AHEAD = 8 }; /* what the join or instance so far ahead needs is fetched meanwhile */

/* Always inlined: gcc 12 takes a function that does nothing but prefetch for one without effect. */
__attribute__((always_inline)) static inline void fetch_ahead(const lu_edif *e, uint32_t join)
{
  if (e->joins.count <= AHEAD || join >= e->joins.count - AHEAD)
    return;
  const lu_edif_join *j = lu_pile_at(&e->joins, join + AHEAD);
  if (j->instance != LU_NONE)
    __builtin_prefetch(place_at(e, j->instance));
}

static lu_status resolve_join(lu_edif *e, uint32_t view, lu_edif_join *j, uint32_t *width)
{
  const uint8_t *place = e->b.in.at + j->offset;
  uint32_t owner = view, copies = 1;
  if (j->late != LU_NONE) {
    const lu_atom *id = lu_netbuild_atom_at(&e->b, j->late);
    if (id->mark != lu_edif_mark(view))
      return lu_netbuild_fail(&e->b, LU_ERR_MISSING, place,
                              "expected an instance \"%.60s\" in this cell, found none", id->text);
    j->instance = id->mark_at;
  }
  if (j->instance != LU_NONE) {
    const lu_edif_place *in = place_at(e, j->instance);
    owner = in->target;
    copies = j->element == LU_NONE ? bits_of(in->width) : 1;
    if (j->element != LU_NONE && j->element >= bits_of(in->width))
      return lu_netbuild_fail(&e->b, LU_ERR_VALUE, place, "expected a member below %u, found %u",
                              bits_of(in->width), j->element);
  }
  const uint32_t *at = lu_keymap_find(&e->port_at, lu_edif_key(owner, j->port));
  if (!at)
    return lu_netbuild_fail(&e->b, LU_ERR_MISSING, place,
                            "expected a port \"%.60s\" of the cell, found none",
                            lu_netbuild_text(&e->b, j->port));
  j->port = *at;
  uint32_t bits = bits_of(port_at(e, *at)->name.width);
  if (j->member != LU_NONE && j->member >= bits)
    return lu_netbuild_fail(&e->b, LU_ERR_VALUE, place, "expected a member below %u, found %u",
                            bits, j->member);
  *width = (j->member == LU_NONE ? bits : 1) * copies;
  return LU_OK;
}

/* An array of nets, or a net that joins whole arrays, is as wide as each of its ports. */
static lu_status resolve_net(lu_edif *e, uint32_t view, lu_edif_net *n, uint64_t *pins)
{
  uint32_t width = n->name.width;
  for (uint32_t k = 0; k < n->join_count; k++) {
    lu_edif_join *j = lu_pile_at(&e->joins, n->first_join + k);
    uint32_t one = 0;
    fetch_ahead(e, n->first_join + k);
    lu_status st = resolve_join(e, view, j, &one);
    if (st)
      return st;
    if (!width)
      width = one;
    if (one != width)
      return lu_netbuild_fail(&e->b, LU_ERR_VALUE, e->b.in.at + j->offset,
                              "expected %u bits as in the rest of this net, found %u", width, one);
    *pins += one;
  }
  n->width = width ? width : 1;
  *pins += n->width; /* a flat net takes memory as a pin does */
  return LU_OK;
}

static uint64_t add_capped(uint64_t a, uint64_t b, uint64_t times)
{
  uint64_t most = (uint64_t)1 << 40;
  if (b > most / times || a + b * times > most)
    return most;
  return a + b * times;
}

/* All instances of the view are resolved: the nets, and how large it is when laid flat. */
static lu_status resolve_view(lu_edif *e, uint32_t index)
{
  lu_edif_view *v = view_at(e, index);
  for (uint32_t k = 0; v->late && k < v->inst_count; k++)
    lu_netbuild_mark(&e->b, inst_at(e, v->inst_first + k)->name.id, lu_edif_mark(index),
                     v->inst_first + k);
  for (uint32_t k = 0; k < v->net_count; k++) {
    lu_status st = resolve_net(e, index, lu_pile_at(&e->nets, v->net_first + k), &v->flat_pins);
    if (st)
      return st;
  }
  for (uint32_t k = 0; k < v->inst_count; k++) {
    const lu_edif_place *in = place_at(e, v->inst_first + k);
    const lu_edif_view *t = view_at(e, in->target);
    uint32_t copies = bits_of(in->width);
    /* bindings of hierarchical ports take memory as pins do */
    v->flat_pins = add_capped(v->flat_pins, t->flat_pins + (is_leaf(t) ? 0 : t->bit_count), copies);
    v->flat_parts = add_capped(v->flat_parts, t->flat_parts + 1, copies);
  }
  v->state = 2;
  return LU_OK;
}

/* Resolves what the top needs, deepest cells first, with a list of open views instead of calls. */
static lu_status resolve_all(lu_edif *e, uint32_t top)
{
  struct open {
    uint32_t view, next;
  };
  lu_pile open = {.size = sizeof(struct open)};
  struct open *o = lu_pile_add(&open, &e->b.work);
  if (!o)
    return lu_netbuild_nomem(&e->b);
  *o = (struct open){top, 0};
  view_at(e, top)->state = 1;
  while (open.count) {
    o = lu_pile_at(&open, open.count - 1);
    const lu_edif_view *v = view_at(e, o->view);
    lu_status st;
    if (o->next == v->inst_count) {
      open.count--;
      st = resolve_view(e, o->view);
      if (st)
        return st;
      continue;
    }
    const lu_edif_instance *in = inst_at(e, v->inst_first + o->next);
    lu_edif_place *spot = place_at(e, v->inst_first + o->next++);
    st = find_view(e, in->library, in->cell, in->view, in->name.offset, &spot->target);
    if (st)
      return st;
    lu_edif_view *t = view_at(e, spot->target);
    if (t->state == 1)
      return lu_netbuild_fail(&e->b, LU_ERR_VALUE, e->b.in.at + in->name.offset,
                              "expected a hierarchy, found cell \"%.60s\" inside itself",
                              lu_netbuild_text(&e->b, in->cell));
    if (t->state == 2)
      continue;
    t->state = 1;
    o = lu_pile_add(&open, &e->b.work);
    if (!o)
      return lu_netbuild_nomem(&e->b);
    *o = (struct open){spot->target, 0};
  }
  return LU_OK;
}

/* The design's cell, or the last cell that has contents. */
static lu_status find_top(lu_edif *e, uint32_t *top)
{
  if (e->top_cell != LU_NONE) {
    if (e->top_library == LU_NONE) /* then the last library that has such a cell */
      for (uint32_t i = 0; i < e->cells.count; i++) {
        const lu_edif_cell *c = lu_pile_at(&e->cells, i);
        if (c->id == e->top_cell)
          e->top_library = c->library;
      }
    return find_view(e, e->top_library, e->top_cell, e->top_view, e->top_offset, top);
  }
  *top = LU_NONE;
  for (uint32_t i = 0; i < e->views.count; i++)
    if (!is_leaf(view_at(e, i)))
      *top = i;
  if (*top == LU_NONE)
    return lu_netbuild_fail(&e->b, LU_ERR_MISSING, e->b.in.at + e->b.in.len,
                            "expected a (design ...) or a cell with contents, found none");
  const lu_edif_cell *c = lu_pile_at(&e->cells, view_at(e, *top)->cell);
  return lu_netbuild_note(&e->b, NULL, "no (design ...); cell %.60s is taken as the board",
                          lu_netbuild_text(&e->b, c->text));
}

/* ---- names ---- */

/* The atom of a name behind its path, "amp/stage1/N5". */
static lu_status path_name(flattener *f, uint32_t at, uint32_t name, uint32_t *atom)
{
  lu_netbuild *b = &f->e->b;
  const lu_atom *last = lu_netbuild_atom_at(b, name);
  size_t len = last->len;
  for (uint32_t i = at; i != LU_NONE; i = ((frame *)lu_pile_at(&f->frames, i))->parent) {
    const frame *fr = lu_pile_at(&f->frames, i);
    if (fr->name != LU_NONE)
      len += lu_netbuild_atom_at(b, fr->name)->len + 1;
  }
  if (len == last->len) {
    *atom = name;
    return LU_OK;
  }
  f->path_bytes += len;
  if (len > LONGEST_PATH || f->path_bytes > MOST_PATHS)
    return lu_fail(b->err, LU_ERR_LIMIT, 0, 0,
                   "expected names with paths of at most %d bytes in all, found more", MOST_PATHS);
  char *made = lu_arena_take(&b->work, len + 1);
  if (!made)
    return lu_netbuild_nomem(b);
  char *to = made + len - last->len;
  memcpy(to, last->text, last->len);
  for (uint32_t i = at; i != LU_NONE; i = ((frame *)lu_pile_at(&f->frames, i))->parent) {
    const frame *fr = lu_pile_at(&f->frames, i);
    if (fr->name == LU_NONE)
      continue;
    const lu_atom *a = lu_netbuild_atom_at(b, fr->name);
    *--to = '/';
    to -= a->len;
    memcpy(to, a->text, a->len);
  }
  return lu_netbuild_atom(b, made, len, b->in.at, atom);
}

static uint32_t root_of(flattener *f, uint32_t net)
{
  flat_net *n = lu_pile_at(&f->nets, net);
  while (n->joined_to != net) {
    flat_net *up = lu_pile_at(&f->nets, n->joined_to);
    net = n->joined_to;
    n->joined_to = up->joined_to; /* halves the way for the next */
    n = up;
  }
  return net;
}

static void unite(flattener *f, uint32_t a, uint32_t b)
{
  a = root_of(f, a);
  b = root_of(f, b);
  if (a == b)
    return;
  flat_net *late = lu_pile_at(&f->nets, a > b ? a : b);
  late->joined_to = a > b ? b : a;
}

/* The builder's net of a root; two nets of one name get "#2" and so on behind it. */
static lu_status built_net(flattener *f, uint32_t root, uint32_t *net)
{
  lu_netbuild *b = &f->e->b;
  flat_net *n = lu_pile_at(&f->nets, root);
  *net = n->built;
  if (n->built != LU_NONE)
    return LU_OK;
  uint32_t atom;
  lu_status st = path_name(f, n->frame, n->name, &atom);
  while (!st && lu_netbuild_atom_at(b, atom)->net != LU_NONE) {
    uint32_t *times = lu_keymap_put(&f->taken, &b->work, (uint64_t)atom + 1);
    if (!times)
      return lu_netbuild_nomem(b);
    *times = *times == LU_NONE ? 2 : *times + 1;
    const lu_atom *a = lu_netbuild_atom_at(b, atom);
    char *made = lu_arena_printf(&b->work, "%s#%u", a->text, *times);
    if (!made)
      return lu_netbuild_nomem(b);
    uint32_t other;
    st = lu_netbuild_atom(b, made, strlen(made), b->in.at, &other);
    if (!st && lu_netbuild_atom_at(b, other)->net == LU_NONE)
      atom = other;
  }
  if (st)
    return st;
  *net = n->built = lu_netbuild_net(b, atom);
  return *net == LU_NONE ? lu_netbuild_nomem(b) : LU_OK;
}

/* ---- laying out ---- */

static lu_status leaf_part(flattener *f, uint32_t at, uint32_t instance, uint32_t name,
                           uint32_t *part)
{
  const lu_edif_instance *in = inst_at(f->e, instance);
  lu_netbuild *b = &f->e->b;
  const lu_edif_cell *c = lu_pile_at(&f->e->cells, view_at(f->e, place_at(f->e, instance)->target)->cell);
  uint32_t atom;
  lu_status st = path_name(f, at, name, &atom);
  if (st)
    return st;
  *part = lu_netbuild_part(b, atom);
  if (*part == LU_NONE)
    return lu_netbuild_nomem(b);
  lu_net_part *p = lu_netbuild_part_at(b, *part);
  p->library = lu_netbuild_text(b, c->text);
  p->value = in->value != LU_NONE ? lu_netbuild_text(b, in->value) : p->library;
  return LU_OK;
}

/* One element of an instance: a part, or a frame to be laid out later. */
static lu_status place_element(flattener *f, uint32_t at, uint32_t instance, uint32_t i,
                               uint32_t *part)
{
  lu_edif *e = f->e;
  const lu_edif_view *t = view_at(e, place_at(e, instance)->target);
  uint32_t name;
  lu_status st = lu_edif_element(&e->b, &inst_at(e, instance)->name, false, i, &name);
  if (st || is_leaf(t))
    return st ? st : leaf_part(f, at, instance, name, part);
  *part = FRAME | f->frames.count;
  frame *child = lu_pile_add(&f->frames, &e->b.work);
  uint32_t *bound = LU_NEW(&e->b.work, uint32_t, (size_t)t->bit_count + 1);
  if (!child || !bound)
    return lu_netbuild_nomem(&e->b);
  memset(bound, 0xff, t->bit_count * sizeof *bound);
  *child = (frame){at, name, place_at(e, instance)->target, bound};
  return LU_OK;
}

/* Parts of the view's leaf instances, and frames for the others. */
static lu_status place_instances(flattener *f, uint32_t at)
{
  lu_edif *e = f->e;
  const lu_edif_view *v = view_at(e, ((frame *)lu_pile_at(&f->frames, at))->view);
  size_t slots = 0;
  for (uint32_t k = 0; k < v->inst_count; k++) {
    lu_edif_place *in = place_at(e, v->inst_first + k);
    in->slot = (uint32_t)slots;
    slots += in->width;
  }
  if (slots > f->slot_room) {
    f->slot_room = slots * 2;
    f->parts = LU_NEW(&e->b.work, uint32_t, f->slot_room);
    if (!f->parts)
      return lu_netbuild_nomem(&e->b);
  }
  lu_status st = LU_OK;
  for (uint32_t k = 0; !st && k < v->inst_count; k++) {
    lu_edif_place *in = place_at(e, v->inst_first + k);
    if (k + AHEAD < v->inst_count) {
      const lu_atom *a = lu_netbuild_atom_at(&e->b, inst_at(e, v->inst_first + k + AHEAD)->name.text);
      lu_netbuild_part_soon(&e->b, a->text, a->len);
    }
    if (!in->width)
      st = place_element(f, at, v->inst_first + k, 0, &in->slot);
    for (uint32_t i = 0; !st && i < in->width; i++)
      st = place_element(f, at, v->inst_first + k, i, &f->parts[in->slot + i]);
  }
  return st;
}

/* The design's own ports stand as pins of a part that is called as its cell. */
static lu_status port_pin(flattener *f, uint32_t view, const lu_edif_bit *bit, uint32_t net,
                          uint32_t offset)
{
  lu_netbuild *b = &f->e->b;
  if (f->port_part == LU_NONE) {
    const lu_edif_cell *c = lu_pile_at(&f->e->cells, view_at(f->e, view)->cell);
    uint32_t atom = c->text;
    while (lu_netbuild_is_part(b, atom)) {
      char *made = lu_arena_printf(&b->work, "%s#", lu_netbuild_text(b, atom));
      if (!made)
        return lu_netbuild_nomem(b);
      lu_status st = lu_netbuild_atom(b, made, strlen(made), b->in.at, &atom);
      if (st)
        return st;
    }
    f->port_part = lu_netbuild_part(b, atom);
    if (f->port_part == LU_NONE)
      return lu_netbuild_nomem(b);
    lu_status st = lu_netbuild_note(b, NULL, "the design's own ports stand as pins of part %.60s",
                                    lu_netbuild_text(b, atom));
    if (st)
      return st;
  }
  return lu_netbuild_pin(b, f->port_part, net, bit->number, bit->function, b->in.at + offset)
             ? LU_OK
             : lu_netbuild_nomem(b);
}

/* Bit k of what a join names: the instance's element and the bit among all. */
static void bit_of_join(const lu_edif *e, const lu_edif_join *j, uint32_t k, uint32_t *element,
                        uint32_t *bit)
{
  const lu_edif_port *p = port_at(e, j->port);
  uint32_t bits = j->member == LU_NONE ? bits_of(p->name.width) : 1;
  uint32_t copy = bits == 1 ? k : k / bits; /* the usual case without a division */
  *element = j->element == LU_NONE ? copy : j->element;
  *bit = p->bit + (j->member == LU_NONE ? k - copy * bits : j->member);
}

/* The flat net of bit k of a net: what the ports of the cell are bound to, else a new one. */
static lu_status flat_of(flattener *f, uint32_t at, const lu_edif_net *n, uint32_t k,
                         uint32_t *flat)
{
  lu_edif *e = f->e;
  const frame *fr = lu_pile_at(&f->frames, at);
  const lu_edif_view *v = view_at(e, fr->view);
  *flat = LU_NONE;
  for (uint32_t i = 0; fr->bound && i < n->join_count; i++) {
    const lu_edif_join *j = lu_pile_at(&e->joins, n->first_join + i);
    uint32_t element, bit;
    if (j->instance != LU_NONE)
      continue;
    bit_of_join(e, j, k, &element, &bit);
    uint32_t bound = fr->bound[bit - v->bit_first];
    if (bound != LU_NONE && *flat != LU_NONE)
      unite(f, *flat, bound);
    else if (bound != LU_NONE)
      *flat = bound;
  }
  if (*flat != LU_NONE)
    return LU_OK;
  uint32_t name;
  lu_edif_name all = n->name;
  all.width = n->width > 1 || n->name.width ? n->width : 0;
  lu_status st = lu_edif_element(&e->b, &all, true, k, &name);
  flat_net *made = st ? NULL : lu_pile_add(&f->nets, &e->b.work);
  if (!made)
    return st ? st : lu_netbuild_nomem(&e->b);
  *flat = f->nets.count - 1;
  *made = (flat_net){*flat, at, name, LU_NONE};
  /* a port that nothing above is bound to may stand on two nets of its cell */
  for (uint32_t i = 0; fr->bound && i < n->join_count; i++) {
    const lu_edif_join *j = lu_pile_at(&e->joins, n->first_join + i);
    uint32_t element, bit;
    if (j->instance != LU_NONE)
      continue;
    bit_of_join(e, j, k, &element, &bit);
    fr->bound[bit - v->bit_first] = *flat;
  }
  return LU_OK;
}

/* Pins first name flat nets; they get the builder's nets when all unions are known. */
static lu_status join_bit(flattener *f, uint32_t at, const lu_edif_join *j, uint32_t k,
                          uint32_t flat)
{
  lu_edif *e = f->e;
  const frame *fr = lu_pile_at(&f->frames, at);
  uint32_t element, bit;
  bit_of_join(e, j, k, &element, &bit);
  const lu_edif_bit *b = lu_pile_at(&e->bits, bit);
  if (j->instance == LU_NONE)
    return fr->bound ? LU_OK : port_pin(f, fr->view, b, flat, j->offset);
  const lu_edif_place *in = place_at(e, j->instance);
  uint32_t part = in->width ? f->parts[in->slot + element] : in->slot;
  if (part & FRAME) {
    const frame *child = lu_pile_at(&f->frames, part & ~FRAME);
    uint32_t *to = &child->bound[bit - view_at(e, child->view)->bit_first];
    if (*to != LU_NONE)
      unite(f, *to, flat);
    else
      *to = flat;
    return LU_OK;
  }
  uint32_t number = b->number;
  if (e->number_at.count) {
    const uint32_t *own =
        lu_keymap_find(&e->number_at, lu_edif_key(j->instance, port_at(e, j->port)->name.id));
    number = own ? *own : number;
  }
  uint32_t function = number == b->number ? b->function : port_at(e, j->port)->name.text;
  return lu_netbuild_pin(&e->b, part, flat, number, function, e->b.in.at + j->offset)
             ? LU_OK
             : lu_netbuild_nomem(&e->b);
}

static lu_status lay_out(flattener *f, uint32_t at)
{
  lu_edif *e = f->e;
  lu_status st = place_instances(f, at);
  const lu_edif_view *v = view_at(e, ((frame *)lu_pile_at(&f->frames, at))->view);
  for (uint32_t i = 0; !st && i < v->net_count; i++) {
    const lu_edif_net *n = lu_pile_at(&e->nets, v->net_first + i);
    for (uint32_t k = 0; !st && k < n->width; k++) {
      uint32_t flat;
      st = flat_of(f, at, n, k, &flat);
      for (uint32_t q = 0; !st && q < n->join_count; q++) {
        fetch_ahead(e, n->first_join + q);
        st = join_bit(f, at, lu_pile_at(&e->joins, n->first_join + q), k, flat);
      }
    }
  }
  return st;
}

/* Nets of the top come out in its order even without pins; below only nets with pins. */
static lu_status name_nets(flattener *f)
{
  lu_edif *e = f->e;
  lu_status st = LU_OK;
  uint32_t net = 0;
  for (uint32_t i = 0; !st && i < f->nets.count; i++) {
    const flat_net *n = lu_pile_at(&f->nets, i);
    if (n->frame == 0 && n->joined_to == i)
      st = built_net(f, i, &net);
  }
  uint32_t last = LU_NONE; /* pins of one net mostly follow each other */
  for (uint32_t i = 0; !st && i < e->b.pins.count; i++) {
    lu_rawpin *p = lu_pile_at(&e->b.pins, i);
    if (p->net != last) {
      last = p->net;
      st = built_net(f, root_of(f, last), &net);
    }
    p->net = net;
  }
  return st;
}

lu_status lu_edif_flatten(lu_edif *e)
{
  flattener f = {.e = e, .frames = {.size = sizeof(frame)}, .nets = {.size = sizeof(flat_net)},
                 .port_part = LU_NONE};
  uint32_t top;
  lu_status st = find_top(e, &top);
  if (!st)
    st = resolve_all(e, top);
  if (st)
    return st;
  const lu_edif_view *v = view_at(e, top);
  if (v->flat_pins > MOST_PINS || v->flat_parts > MOST_PARTS)
    return lu_netbuild_fail(&e->b, LU_ERR_LIMIT, e->b.in.at + e->top_offset,
                            "expected at most %d pins and %d instances in the flat design, found "
                            "%llu and %llu",
                            MOST_PINS, MOST_PARTS, (unsigned long long)v->flat_pins,
                            (unsigned long long)v->flat_parts);
  e->b.name_most = LONGEST_PATH;
  frame *first = lu_pile_add(&f.frames, &e->b.work);
  if (!first)
    return lu_netbuild_nomem(&e->b);
  *first = (frame){LU_NONE, LU_NONE, top, NULL};
  for (uint32_t i = 0; !st && i < f.frames.count; i++)
    st = lay_out(&f, i);
  return st ? st : name_nets(&f);
}
