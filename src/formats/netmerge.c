/* SPDX-License-Identifier: MIT */
#include "formats/netmerge.h"
#include "formats/netbuild.h"

#include <stdarg.h>
#include <stdio.h>
#include <string.h>

/* What layout writers leave of a name, and how far a list of equal beginnings is followed. */
enum { NET_CUT = 14, REF_CUT = 6, PIN_CUT = 4, CANDIDATES = 64 };
#define SEVERAL (LU_NONE - 1)

/* Kinds of keys that share the builder's table of names; no name begins with such a byte. */
enum { KEY_REF = 1, KEY_REF_HEAD, KEY_PIN_HEAD, KEY_NET, KEY_NET_HEAD, KEY_NET_TAIL };

typedef struct merger {
  const lu_netlist *names, *layout;
  lu_netbuild b;
  lu_keymap named;    /* key atom -> part, net or SEVERAL */
  lu_keymap pin_at;   /* part, number or its beginning -> pin of names or SEVERAL */
  uint32_t *alike;    /* by part of names: the next with the same beginning */
  uint32_t *pin_of;   /* by place: pin of names, or LU_NONE */
  uint32_t *part_of;  /* by part of the layout: part of the result, or LU_NONE while unknown */
  uint32_t *net_of;   /* by net of the layout: net of the result */
  uint32_t *owner;    /* by net of names: the layout's net that most of its pins are on */
  bool *part_seen;    /* by part of names: has a place */
  bool *pin_seen;     /* by pin of names */
  size_t room, count, lost;
  const char **differences;
} merger;

static uint64_t key2(uint32_t a, uint32_t b)
{
  return ((uint64_t)a << 32 | b) + 1;
}

/* The atom of a key: its kind, then the text in upper case. */
static lu_status key(merger *m, char kind, const char *text, size_t len, uint32_t *atom)
{
  char made[LU_NETNAME_MOST + 1];
  if (len > LU_NETNAME_MOST)
    len = LU_NETNAME_MOST;
  made[0] = kind;
  for (size_t i = 0; i < len; i++)
    made[i + 1] = text[i] >= 'a' && text[i] <= 'z' ? (char)(text[i] - 32) : text[i];
  return lu_netbuild_atom(&m->b, made, len + 1, m->b.in.at, atom);
}

/* Puts index under the key; a second one makes it SEVERAL unless chained. */
static lu_status put(merger *m, char kind, const char *text, size_t len, uint32_t index,
                     uint32_t *before)
{
  uint32_t atom;
  lu_status st = key(m, kind, text, len, &atom);
  uint32_t *slot = st ? NULL : lu_keymap_put(&m->named, &m->b.work, (uint64_t)atom + 1);
  if (!slot)
    return st ? st : lu_netbuild_nomem(&m->b);
  if (before)
    *before = *slot;
  *slot = before || *slot == LU_NONE ? index : SEVERAL;
  return LU_OK;
}

static lu_status get(merger *m, char kind, const char *text, size_t len, uint32_t *index)
{
  uint32_t atom;
  lu_status st = key(m, kind, text, len, &atom);
  if (st)
    return st;
  const uint32_t *slot = lu_keymap_find(&m->named, (uint64_t)atom + 1);
  *index = slot ? *slot : LU_NONE;
  return LU_OK;
}

__attribute__((format(printf, 2, 3))) static lu_status differ(merger *m, const char *format, ...)
{
  char text[300];
  if (m->count >= LU_NETMERGE_MOST - 1) {
    m->lost++;
    return LU_OK;
  }
  va_list ap;
  va_start(ap, format);
  vsnprintf(text, sizeof text, format, ap);
  va_end(ap);
  const char **at = lu_arena_grow(m->b.mem, m->differences, m->count, &m->room, sizeof *at);
  const char *kept = at ? lu_arena_text(m->b.mem, text, strlen(text)) : NULL;
  if (!kept)
    return lu_netbuild_nomem(&m->b);
  m->differences = at;
  at[m->count++] = kept;
  return LU_OK;
}

static const char *layout_net(const merger *m, uint32_t net)
{
  return m->layout->nets[net].name;
}

/* The reader of IPC-D-356A gives every unconnected pin a net of this name. */
static bool unconnected(const merger *m, uint32_t net)
{
  return !strncmp(layout_net(m, net), "N/C ", 4);
}

/* ---- the netlist: everything in, with keys ---- */

static lu_status text_atom(merger *m, const char *text, uint32_t *atom)
{
  *atom = LU_NONE;
  return text ? lu_netbuild_atom(&m->b, text, strlen(text), m->b.in.at, atom) : LU_OK;
}

static lu_status copy_part(merger *m, const lu_net_part *from, uint32_t *part)
{
  uint32_t ref, value, library;
  lu_status st = text_atom(m, from->ref, &ref);
  if (!st)
    st = text_atom(m, from->value, &value);
  if (!st)
    st = text_atom(m, from->library, &library);
  if (st)
    return st;
  *part = lu_netbuild_part(&m->b, ref);
  if (*part == LU_NONE)
    return lu_netbuild_nomem(&m->b);
  lu_net_part *p = lu_netbuild_part_at(&m->b, *part);
  p->value = lu_netbuild_text(&m->b, value);
  p->library = lu_netbuild_text(&m->b, library);
  return LU_OK;
}

static lu_status take_parts(merger *m)
{
  for (uint32_t i = 0; i < m->names->part_count; i++) {
    const char *ref = m->names->parts[i].ref;
    size_t len = strlen(ref);
    uint32_t part;
    lu_status st = copy_part(m, &m->names->parts[i], &part);
    if (!st)
      st = put(m, KEY_REF, ref, len, i, NULL);
    m->alike[i] = LU_NONE;
    if (!st && len > REF_CUT)
      st = put(m, KEY_REF_HEAD, ref, REF_CUT, i, &m->alike[i]);
    if (st)
      return st;
  }
  return LU_OK;
}

static lu_status take_nets(merger *m)
{
  for (uint32_t i = 0; i < m->names->net_count; i++) {
    const char *name = m->names->nets[i].name;
    size_t len = strlen(name);
    uint32_t atom;
    lu_status st = text_atom(m, name, &atom);
    if (!st && lu_netbuild_net(&m->b, atom) == LU_NONE)
      st = lu_netbuild_nomem(&m->b);
    if (!st)
      st = put(m, KEY_NET, name, len, i, NULL);
    if (!st && len > NET_CUT)
      st = put(m, KEY_NET_TAIL, name + len - NET_CUT, NET_CUT, i, NULL);
    if (!st && len > NET_CUT)
      st = put(m, KEY_NET_HEAD, name, NET_CUT, i, NULL);
    if (st)
      return st;
  }
  return LU_OK;
}

static lu_status put_pin(merger *m, uint32_t part, uint32_t atom, uint32_t pin)
{
  uint32_t *slot = lu_keymap_put(&m->pin_at, &m->b.work, key2(part, atom));
  if (!slot)
    return lu_netbuild_nomem(&m->b);
  *slot = *slot == LU_NONE ? pin : SEVERAL;
  return LU_OK;
}

static lu_status take_pins(merger *m)
{
  for (uint32_t i = 0; i < m->names->pin_count; i++) {
    const lu_net_pin *p = &m->names->pins[i];
    uint32_t number, function, head;
    lu_status st = text_atom(m, p->number, &number);
    if (!st)
      st = text_atom(m, p->function, &function);
    if (!st && !lu_netbuild_pin(&m->b, p->part, p->net, number, function, m->b.in.at))
      st = lu_netbuild_nomem(&m->b);
    if (!st)
      st = put_pin(m, p->part, number, i);
    if (!st && strlen(p->number) > PIN_CUT) {
      st = key(m, KEY_PIN_HEAD, p->number, PIN_CUT, &head);
      if (!st)
        st = put_pin(m, p->part, head, i);
    }
    if (st)
      return st;
  }
  return LU_OK;
}

/* ---- places to pins ---- */

static lu_status pin_of_part(merger *m, uint32_t part, const char *number, uint32_t *pin)
{
  uint32_t atom;
  lu_status st = text_atom(m, number, &atom);
  if (st)
    return st;
  const uint32_t *slot = lu_keymap_find(&m->pin_at, key2(part, atom));
  if (!slot && strlen(number) == PIN_CUT) {
    st = key(m, KEY_PIN_HEAD, number, PIN_CUT, &atom);
    slot = st ? NULL : lu_keymap_find(&m->pin_at, key2(part, atom));
  }
  *pin = slot && *slot != SEVERAL ? *slot : LU_NONE;
  return st;
}

/* The layout's name of a net may be the whole of the netlist's, its end or its beginning. */
static bool name_like(const char *whole, const char *cut)
{
  size_t len = strlen(whole), n = strlen(cut);
  if (n > len)
    return false;
  for (int tail = 0; tail < 2; tail++) {
    const char *at = tail ? whole + len - n : whole;
    size_t i = 0;
    while (i < n && ((at[i] >= 'a' && at[i] <= 'z') ? at[i] - 32 : at[i]) ==
                        ((cut[i] >= 'a' && cut[i] <= 'z') ? cut[i] - 32 : cut[i]))
      i++;
    if (i == n && (n == len || n >= NET_CUT))
      return true;
  }
  return false;
}

/* Of the parts whose references begin so: the only one with that pin, else the only one whose net
 * is called alike. */
static lu_status pin_of_head(merger *m, const lu_net_place *p, uint32_t *pin)
{
  uint32_t part, with_pin = 0, with_net = 0, one = LU_NONE, alike = LU_NONE;
  lu_status st = get(m, KEY_REF_HEAD, m->layout->parts[p->part].ref, REF_CUT, &part);
  for (int i = 0; !st && part != LU_NONE && i < CANDIDATES; part = m->alike[part], i++) {
    uint32_t q;
    st = pin_of_part(m, part, p->number, &q);
    if (st || q == LU_NONE)
      continue;
    with_pin++;
    one = q;
    if (name_like(m->names->nets[m->names->pins[q].net].name, layout_net(m, p->net))) {
      with_net++;
      alike = q;
    }
  }
  *pin = with_pin == 1 ? one : with_net == 1 ? alike : LU_NONE;
  return st;
}

static lu_status find_pin(merger *m, const lu_net_place *p, uint32_t *pin)
{
  uint32_t part;
  const char *ref = m->layout->parts[p->part].ref;
  *pin = LU_NONE;
  lu_status st = get(m, KEY_REF, ref, strlen(ref), &part);
  if (st)
    return st;
  if (part != LU_NONE && part != SEVERAL)
    st = pin_of_part(m, part, p->number, pin);
  if (!st && *pin == LU_NONE && strlen(ref) == REF_CUT)
    st = pin_of_head(m, p, pin);
  return st;
}

static lu_status find_pins(merger *m)
{
  lu_status st = LU_OK;
  for (size_t i = 0; !st && i < m->layout->place_count; i++) {
    const lu_net_place *p = &m->layout->places[i];
    m->pin_of[i] = LU_NONE;
    if (p->part == UINT32_MAX || !p->number)
      continue;
    st = find_pin(m, p, &m->pin_of[i]);
    if (!st && m->pin_of[i] != LU_NONE) {
      m->pin_seen[m->pin_of[i]] = true;
      m->part_seen[m->names->pins[m->pin_of[i]].part] = true;
    }
  }
  return st;
}

/* ---- nets to nets ---- */

static lu_status net_by_name(merger *m, uint32_t net)
{
  const char *name = layout_net(m, net);
  size_t len = strlen(name);
  uint32_t found;
  lu_status st = get(m, KEY_NET, name, len, &found);
  if (!st && found >= SEVERAL && len == NET_CUT)
    st = get(m, KEY_NET_TAIL, name, len, &found);
  if (!st && found >= SEVERAL && len == NET_CUT)
    st = get(m, KEY_NET_HEAD, name, len, &found);
  if (!st && found >= SEVERAL) { /* only the layout has it */
    uint32_t atom;
    st = text_atom(m, name, &atom);
    if (!st) {
      found = lu_netbuild_net(&m->b, atom);
      st = found == LU_NONE ? lu_netbuild_nomem(&m->b) : LU_OK;
    }
  }
  m->net_of[net] = found;
  return st;
}

/* Each pin with a place votes for its net; votes are counted per pair of nets. */
static lu_status match_nets(merger *m)
{
  const lu_netlist *l = m->layout;
  lu_keymap votes = {0};
  uint32_t *most = LU_NEW(&m->b.work, uint32_t, l->net_count + 1);
  uint32_t *owned = LU_NEW(&m->b.work, uint32_t, m->names->net_count + 1);
  if (!most || !owned)
    return lu_netbuild_nomem(&m->b);
  memset(m->net_of, 0xff, (l->net_count + 1) * sizeof *m->net_of);
  memset(m->owner, 0xff, (m->names->net_count + 1) * sizeof *m->owner);
  for (size_t i = 0; i < l->place_count; i++) {
    if (m->pin_of[i] == LU_NONE)
      continue;
    uint32_t from = l->places[i].net, to = m->names->pins[m->pin_of[i]].net;
    uint32_t *n = lu_keymap_put(&votes, &m->b.work, key2(from, to));
    if (!n)
      return lu_netbuild_nomem(&m->b);
    *n = *n == LU_NONE ? 1 : *n + 1;
    if (*n > most[from]) {
      most[from] = *n;
      m->net_of[from] = to;
    }
    if (*n > owned[to]) {
      owned[to] = *n;
      m->owner[to] = from;
    }
  }
  lu_status st = LU_OK;
  for (uint32_t i = 0; !st && i < l->net_count; i++)
    if (m->net_of[i] == LU_NONE)
      st = net_by_name(m, i);
  return st;
}

/* ---- what differs ---- */

static lu_status compare_place(merger *m, size_t i)
{
  const lu_net_place *p = &m->layout->places[i];
  const lu_net_pin *q = &m->names->pins[m->pin_of[i]];
  const lu_net_name *net = &m->names->nets[q->net];
  const char *ref = m->names->parts[q->part].ref;
  if (unconnected(m, p->net))
    return net->pin_count < 2 ? LU_OK
                              : differ(m, "%s.%s is on net %s in the netlist and unconnected in "
                                          "the layout",
                                       ref, q->number, net->name);
  if (m->net_of[p->net] != q->net)
    return differ(m, "%s.%s is on net %s in the netlist and on net %s in the layout", ref, q->number,
                  net->name, m->names->nets[m->net_of[p->net]].name);
  return LU_OK;
}

/* A net of the netlist that the layout has in pieces, all of whose pins agree otherwise. */
static lu_status compare_nets(merger *m)
{
  lu_status st = LU_OK;
  for (uint32_t i = 0; !st && i < m->layout->net_count; i++) {
    uint32_t to = m->net_of[i];
    if (to >= m->names->net_count || m->owner[to] == LU_NONE || m->owner[to] == i ||
        unconnected(m, i) || unconnected(m, m->owner[to]))
      continue;
    st = differ(m, "net %s of the netlist is in pieces in the layout: %s and %s",
                m->names->nets[to].name, layout_net(m, m->owner[to]), layout_net(m, i));
  }
  return st;
}

static lu_status compare_missing(merger *m)
{
  lu_status st = LU_OK;
  for (uint32_t i = 0; !st && i < m->names->pin_count; i++) {
    const lu_net_pin *q = &m->names->pins[i];
    if (!m->pin_seen[i] && m->part_seen[q->part])
      st = differ(m, "%s.%s on net %s has no place in the layout", m->names->parts[q->part].ref,
                  q->number, m->names->nets[q->net].name);
  }
  bool *told = st ? NULL : LU_NEW(&m->b.work, bool, m->names->part_count + 1);
  if (!told)
    return st ? st : lu_netbuild_nomem(&m->b);
  for (uint32_t i = 0; !st && i < m->names->pin_count; i++) {
    uint32_t part = m->names->pins[i].part;
    if (m->part_seen[part] || told[part])
      continue;
    told[part] = true;
    st = differ(m, "%s is not in the layout", m->names->parts[part].ref);
  }
  return st;
}

/* ---- the result ---- */

/* The result's part for a part of the layout: the netlist's of that reference, or of the only one
 * that begins so, or a new one. */
static lu_status part_for(merger *m, uint32_t part, uint32_t *to)
{
  const lu_net_part *from = &m->layout->parts[part];
  lu_status st = LU_OK;
  if (m->part_of[part] == LU_NONE) {
    uint32_t found;
    st = get(m, KEY_REF, from->ref, strlen(from->ref), &found);
    if (!st && found >= SEVERAL && strlen(from->ref) == REF_CUT) {
      st = get(m, KEY_REF_HEAD, from->ref, REF_CUT, &found);
      if (!st && found != LU_NONE && m->alike[found] != LU_NONE)
        found = LU_NONE;
    }
    if (!st && found >= SEVERAL)
      st = copy_part(m, from, &found);
    m->part_of[part] = st ? LU_NONE : found;
  }
  *to = m->part_of[part];
  return st;
}

/* A pin that only the layout has. Several pads may be one pin: it is added once. */
static lu_status extra_pin(merger *m, const lu_net_place *p, lu_net_place *to)
{
  uint32_t number;
  lu_status st = part_for(m, p->part, &to->part);
  if (!st)
    st = text_atom(m, p->number, &number);
  if (st)
    return st;
  to->number = lu_netbuild_text(&m->b, number);
  uint32_t *slot = lu_keymap_put(&m->pin_at, &m->b.work, key2(to->part, number));
  if (!slot)
    return lu_netbuild_nomem(&m->b);
  if (*slot != LU_NONE)
    return LU_OK;
  *slot = SEVERAL;
  if (!lu_netbuild_pin(&m->b, to->part, to->net, number, LU_NONE, m->b.in.at))
    return lu_netbuild_nomem(&m->b);
  if (unconnected(m, p->net))
    return LU_OK;
  return differ(m, "%s.%s on net %s of the layout is not in the netlist",
                lu_netbuild_part_at(&m->b, to->part)->ref, to->number,
                lu_netbuild_net_text(&m->b, to->net));
}

static lu_status place_all(merger *m, lu_net_place *places)
{
  lu_status st = LU_OK;
  for (size_t i = 0; !st && i < m->layout->place_count; i++) {
    const lu_net_place *p = &m->layout->places[i];
    lu_net_place *to = &places[i];
    uint32_t number;
    *to = *p;
    to->number = NULL;
    to->net = m->net_of[p->net];
    if (m->pin_of[i] != LU_NONE) {
      const lu_net_pin *q = &m->names->pins[m->pin_of[i]];
      to->part = q->part;
      to->net = q->net;
      st = text_atom(m, q->number, &number);
      to->number = st ? NULL : lu_netbuild_text(&m->b, number);
      if (!st)
        st = compare_place(m, i);
    } else if (p->part != UINT32_MAX && p->number) {
      st = extra_pin(m, p, to);
    } else if (p->part != UINT32_MAX) {
      st = part_for(m, p->part, &to->part);
    }
  }
  return st;
}

static lu_status copy_notes(merger *m, const lu_netlist *from, const char *whose)
{
  lu_status st = LU_OK;
  for (size_t i = 0; !st && i < from->note_count; i++)
    st = lu_netbuild_note(&m->b, NULL, "%s: %s", whose, from->notes[i]);
  return st;
}

static bool copy_lines(merger *m, const lu_net_line *from, size_t count, lu_net_line **to)
{
  *to = count ? LU_NEW(m->b.mem, lu_net_line, count) : NULL;
  for (size_t i = 0; *to && i < count; i++) {
    (*to)[i] = from[i];
    if (from[i].net != UINT32_MAX)
      (*to)[i].net = m->net_of[from[i].net];
  }
  return *to || !count;
}

static lu_status finish(merger *m, lu_net_place *places, lu_netmerge *out)
{
  lu_netlist *n = NULL;
  lu_status st = copy_notes(m, m->names, "netlist");
  if (!st)
    st = copy_notes(m, m->layout, "layout");
  if (!st && m->lost) {
    size_t lost = m->lost;
    m->count--;
    st = differ(m, "... and %zu more differences", lost + 1);
  }
  if (!st)
    st = lu_netbuild_done(&m->b, LU_TWICE_QUIET, NULL, &n);
  if (st)
    return st;
  n->places = places;
  n->place_count = m->layout->place_count;
  n->track_count = m->layout->track_count;
  n->edge_count = m->layout->edge_count;
  if (!copy_lines(m, m->layout->tracks, n->track_count, &n->tracks) ||
      !copy_lines(m, m->layout->edges, n->edge_count, &n->edges))
    return lu_netbuild_nomem(&m->b);
  *out = (lu_netmerge){n, m->count, m->differences};
  return LU_OK;
}

static lu_status merge(merger *m, lu_netmerge *out)
{
  const lu_netlist *n = m->names, *l = m->layout;
  lu_arena *work = &m->b.work;
  m->alike = LU_NEW(work, uint32_t, n->part_count + 1);
  m->pin_of = LU_NEW(work, uint32_t, l->place_count + 1);
  m->part_of = LU_NEW(work, uint32_t, l->part_count + 1);
  m->net_of = LU_NEW(work, uint32_t, l->net_count + 1);
  m->owner = LU_NEW(work, uint32_t, n->net_count + 1);
  m->part_seen = LU_NEW(work, bool, n->part_count + 1);
  m->pin_seen = LU_NEW(work, bool, n->pin_count + 1);
  lu_net_place *places = LU_NEW(m->b.mem, lu_net_place, l->place_count + 1);
  if (!m->alike || !m->pin_of || !m->part_of || !m->net_of || !m->owner || !m->part_seen ||
      !m->pin_seen || !places)
    return lu_netbuild_nomem(&m->b);
  memset(m->part_of, 0xff, (l->part_count + 1) * sizeof *m->part_of);
  lu_status st = take_parts(m);
  if (!st)
    st = take_nets(m);
  if (!st)
    st = take_pins(m);
  if (!st)
    st = find_pins(m);
  if (!st)
    st = match_nets(m);
  if (!st)
    st = place_all(m, places);
  if (!st)
    st = compare_nets(m);
  if (!st)
    st = compare_missing(m);
  return st ? st : finish(m, places, out);
}

lu_status lu_netmerge_join(const lu_netlist *names, const lu_netlist *layout, lu_arena *mem,
                           lu_netmerge *out, lu_err *err)
{
  merger m = {.names = names, .layout = layout};
  static const uint8_t nothing[1] = {0};
  lu_status st = lu_netbuild_begin(&m.b, "merged", (lu_bytes){nothing, 0}, mem, err);
  m.b.name_most = (size_t)1 << 20; /* names were checked by their readers */
  if (!st)
    st = merge(&m, out);
  lu_netbuild_end(&m.b);
  return st;
}
