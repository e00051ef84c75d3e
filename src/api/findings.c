/* SPDX-License-Identifier: MIT */
#include "api/findings.h"

#include "board/damage.h"
#include "reason/masked.h"
#include "board/places.h"

#include <stdio.h>
#include <string.h>

static const char *const kinds[] = {"open", "stuck", "bridge", "swap", "dead", "cell", "row", "column"};
static const char *const levels[] = {"low", "high", "keep", "address"};
static const char *const acts[] = {"and", "or", "first", "second"};
static const char *const lost[] = {"outputs", "writes", "all"};

static const char *net_name(const lu_joint *j, uint16_t net)
{
  const lu_jnet *n = &j->nets[net];
  if (n->net != LU_NONE)
    return j->board->nets[n->net].name;
  for (size_t r = 0; r < j->look_count; r++)
    if (n->local[r] != UINT16_MAX)
      return lu_network_net_name(j->looks[r].evidence->network, n->local[r]);
  return "?";
}

static const char *part_name(const lu_joint *j, uint16_t part)
{
  return j->board->parts[j->parts[part].part].ref;
}

/* The board pin at a place of a net, or LU_NONE for the vantage itself. */
static uint32_t pin_at(const lu_joint *j, uint16_t net, unsigned place)
{
  const lu_jnet *n = &j->nets[net];
  for (size_t r = 0; r < j->look_count; r++) {
    const lu_network *w = j->looks[r].evidence->network;
    if (n->local[r] == UINT16_MAX || place >= w->nets[n->local[r]].pin_count)
      continue;
    return w->pins[w->net_pins[w->nets[n->local[r]].first_pin + place]].pin;
  }
  return LU_NONE;
}

static size_t pin_names(const lu_joint *j, uint16_t net, uint64_t places, const char ***out, lu_arena *mem)
{
  const char **list = lu_arena_array(mem, 65, sizeof *list);
  size_t count = 0;
  for (uint64_t m = list ? places : 0; m; m &= m - 1) {
    uint32_t pin = pin_at(j, net, (unsigned)__builtin_ctzll(m));
    list[count++] = pin == LU_NONE ? "the vantage" : j->board->pins[pin].name;
  }
  *out = list;
  return count;
}

static const char *join(const char *const *list, size_t count, lu_arena *mem)
{
  const char *s = "";
  size_t shown = count > 5 ? 4 : count;
  for (size_t i = 0; i < shown && s; i++)
    s = lu_arena_printf(mem, "%s%s%s", s, i ? (i + 1 == count ? " and " : ", ") : "", list[i]);
  if (s && shown < count)
    s = lu_arena_printf(mem, "%s and %zu more", s, count - shown);
  return s ? s : "";
}

static const char *level_words(unsigned level)
{
  static const char *const words[] = {"low", "high", "what was driven last", "the low address"};
  return words[level];
}

static void open_words(const lu_joint *j, const lu_fault *f, lu_said_fault *s, lu_arena *mem)
{
  const lu_jnet *n = &j->nets[f->net];
  uint64_t cut = f->cut & n->interest, rest = n->interest & ~cut, from = n->drivers & rest;
  s->cut_count = pin_names(j, f->net, cut, &s->cut_off, mem);
  s->from_count = pin_names(j, f->net, from ? from : rest, &s->from, mem);
  s->unsteady = f->unsteady;
  s->text = lu_arena_printf(mem, "%s open%s: %s cut off from %s, what floats reads %s", s->net, s->unsteady ? " now and then" : "",
                            join(s->cut_off, s->cut_count, mem), join(s->from, s->from_count, mem), level_words(f->level));
}

lu_said_fault lu_findings_fault(const lu_joint *j, const lu_fault *f, lu_arena *mem)
{
  static const char *const how[] = {"low wins", "high wins", "the first wins", "the second wins"};
  lu_said_fault s = {.kind = kinds[f->kind], .row = UINT32_MAX, .column = UINT32_MAX};
  switch (f->kind) {
  case LU_FAULT_OPEN:
    s.net = net_name(j, f->net);
    s.level = levels[f->level];
    open_words(j, f, &s, mem);
    break;
  case LU_FAULT_STUCK:
    s.net = net_name(j, f->net);
    s.level = levels[f->level];
    s.text = lu_arena_printf(mem, "%s stuck %s as a whole", s.net, s.level);
    break;
  case LU_FAULT_BRIDGE:
    s.nets[0] = net_name(j, f->net);
    s.nets[1] = net_name(j, f->net2);
    s.acts = acts[f->acts];
    s.text = lu_arena_printf(mem, "%s and %s joined (%s)", s.nets[0], s.nets[1], how[f->acts]);
    break;
  case LU_FAULT_SWAP:
    s.nets[0] = net_name(j, f->net);
    s.nets[1] = net_name(j, f->net2);
    s.part = part_name(j, f->part);
    s.text = lu_arena_printf(mem, "%s and %s exchanged at %s", s.nets[0], s.nets[1], s.part);
    break;
  case LU_FAULT_DEAD:
    s.part = part_name(j, f->part);
    s.lost = lost[f->lost];
    s.text = lu_arena_printf(mem, "%s dead (%s lost)", s.part, f->lost == LU_LOST_ALL ? "outputs and writes" : s.lost);
    break;
  default:
    s.part = part_name(j, f->part);
    if (f->kind != LU_FAULT_COLUMN)
      s.row = f->row;
    if (f->kind != LU_FAULT_ROW)
      s.column = f->column;
    s.text = f->kind == LU_FAULT_CELL ? lu_arena_printf(mem, "a bad cell in %s, row %u, column %u", s.part, f->row, f->column)
             : f->kind == LU_FAULT_ROW ? lu_arena_printf(mem, "a bad row in %s, row %u", s.part, f->row)
                                       : lu_arena_printf(mem, "a bad column in %s, column %u", s.part, f->column);
    break;
  }
  return s;
}

/* --- suspects ---------------------------------------------------------------------------------------- */

static const char *function_of(const lu_joint *j, uint32_t pin)
{
  return j->board->pins[pin].function;
}

static bool socketed(const lu_joint *j, uint32_t pin)
{
  return pin != LU_NONE && j->board->parts[j->board->pins[pin].part].socketed;
}

static const char *damage_words(const lu_joint *j, const lu_suspect *x, lu_arena *mem)
{
  char text[120];
  uint32_t net = j->nets[x->net].net;
  if (net == LU_NONE || !lu_damage_net(j->board, net, text, sizeof text))
    return "";
  const char *s = lu_arena_printf(mem, "; this net %s", text);
  return s ? s : "";
}

static const char *why_words(const lu_joint *j, const lu_suspect *x, lu_arena *mem)
{
  const lu_fault *f = &x->fault;
  lu_said_fault s = lu_findings_fault(j, f, mem);
  const char *damage = x->net == UINT16_MAX ? "" : damage_words(j, x, mem);
  if (f->kind != LU_FAULT_OPEN)
    return lu_arena_printf(mem, "The data read as they would with %s%s.", s.text, damage);
  const lu_jnet *n = &j->nets[f->net];
  unsigned receivers = (unsigned)__builtin_popcountll(n->interest & ~n->drivers);
  unsigned cut = (unsigned)__builtin_popcountll(f->cut & n->interest);
  const char *others = cut < receivers && !(f->cut & n->drivers) ? ", while the other receivers of the net follow it" : "";
  const char *when = f->unsteady ? "The passes differ as if now and then" : "The data read as if";
  return lu_arena_printf(mem, "%s %s did not follow %s but floated %s%s%s.", when, join(s.cut_off, s.cut_count, mem),
                         join(s.from, s.from_count, mem), level_words(f->level), others, damage);
}

static const char *leg(const lu_joint *j, uint32_t pin)
{
  return socketed(j, pin) ? " (the chip's leg, not the pad)" : "";
}

static uint32_t first_pin(const lu_joint *j, uint16_t net, uint64_t places)
{
  for (uint64_t m = places; m; m &= m - 1) {
    uint32_t pin = pin_at(j, net, (unsigned)__builtin_ctzll(m));
    if (pin != LU_NONE)
      return pin;
  }
  return LU_NONE;
}

static const char *settle_words(const lu_joint *j, const lu_suspect *x, lu_arena *mem)
{
  const lu_fault *f = &x->fault;
  if (x->net == UINT16_MAX)
    return lu_arena_printf(mem, "Read %s out of circuit, or put a chip known to be good in its place.", part_name(j, x->part));
  const char *net = net_name(j, x->net);
  const lu_jnet *n = &j->nets[x->net];
  if (f->kind == LU_FAULT_BRIDGE)
    return lu_arena_printf(mem, "Power off: measure from %s to %s; they must not be joined.", net_name(j, f->net), net_name(j, f->net2));
  if (f->kind == LU_FAULT_STUCK)
    return lu_arena_printf(mem, "Power off: measure %s to ground and to the supply; power on: does it ever leave the %s level?",
                           net, levels[f->level]);
  uint64_t cut = f->kind == LU_FAULT_OPEN ? f->cut & n->interest : n->interest & ~n->drivers;
  uint64_t rest = n->interest & ~cut;
  uint32_t to = first_pin(j, x->net, cut), from = first_pin(j, x->net, n->drivers & rest ? n->drivers & rest : rest);
  if (to == LU_NONE || from == LU_NONE)
    return lu_arena_printf(mem, "Follow %s from end to end with a meter, power off.", net);
  if (f->unsteady)
    return lu_arena_printf(mem, "Power off: measure continuity from %s%s to %s%s while you press on both chips and bend the board a little; a contact "
                                "that comes and goes may read joined at rest.",
                           j->board->pins[from].name, leg(j, from), j->board->pins[to].name, leg(j, to));
  return lu_arena_printf(mem, "Power off: measure continuity from %s%s to %s%s; on a sound board they are joined.",
                         j->board->pins[from].name, leg(j, from), j->board->pins[to].name, leg(j, to));
}

static size_t suspect_pins(const lu_joint *j, const lu_suspect *x, lu_said_pin **out, lu_arena *mem)
{
  size_t count = 0;
  lu_said_pin *list = LU_NEW(mem, lu_said_pin, 130);
  *out = list;
  if (!list)
    return 0;
  if (x->net == UINT16_MAX)
    return 0;
  const lu_jnet *n = &j->nets[x->net];
  uint64_t first = x->fault.kind == LU_FAULT_OPEN ? x->fault.cut & n->interest : 0, rest = x->cut & n->interest & ~first;
  if (!first && !rest)
    rest = n->interest;
  for (int pass = 0; pass < 2; pass++)
    for (uint64_t m = pass ? rest : first; m; m &= m - 1) {
      uint32_t pin = pin_at(j, x->net, (unsigned)__builtin_ctzll(m));
      if (pin != LU_NONE)
        list[count++] = (lu_said_pin){j->board->pins[pin].name, function_of(j, pin)};
    }
  return count;
}

static size_t pins_at(const lu_joint *j, uint16_t net, uint64_t places, uint32_t out[64])
{
  size_t count = 0;
  for (uint64_t m = places; m; m &= m - 1) {
    uint32_t pin = pin_at(j, net, (unsigned)__builtin_ctzll(m));
    if (pin != LU_NONE)
      out[count++] = pin;
  }
  return count;
}

enum { BREAKS_TOLD = 2 };

/* Where on the board the break must be, as far as the layout tells; NULL when it does not. */
static const char *where_words(const lu_joint *j, const lu_suspect *x, lu_arena *mem)
{
  const lu_fault *f = &x->fault;
  if (f->kind != LU_FAULT_OPEN || x->net != f->net || !j->board->places || j->nets[f->net].net == LU_NONE)
    return NULL;
  const lu_jnet *n = &j->nets[f->net];
  uint32_t cut[64], rest[64];
  size_t cut_count = pins_at(j, f->net, f->cut & n->interest, cut);
  size_t rest_count = pins_at(j, f->net, n->interest & ~f->cut, rest), count;
  lu_stretch *s;
  const char *text = NULL;
  if (lu_places_stretches(j->board->places, n->net, cut, cut_count, rest, rest_count, mem, &s, &count, NULL))
    return NULL;
  for (size_t i = 0; i < count && i < BREAKS_TOLD; i++) {
    const char *one = lu_stretch_text(j->board, &s[i], mem);
    text = one && text ? lu_arena_printf(mem, "%s; and %s", text, one) : one;
  }
  return text && count > BREAKS_TOLD ? lu_arena_printf(mem, "%s; and %zu more", text, count - BREAKS_TOLD) : text;
}

static void say_suspect(const lu_joint *j, const lu_suspect *x, lu_said_suspect *out, lu_arena *mem)
{
  *out = (lu_said_suspect){.probability = x->probability, .group = x->group};
  if (x->net == UINT16_MAX)
    out->part = part_name(j, x->part);
  else
    out->net = net_name(j, x->net);
  out->pin_count = suspect_pins(j, x, &out->pins, mem);
  out->why = why_words(j, x, mem);
  out->where = where_words(j, x, mem);
  out->settle = settle_words(j, x, mem);
}

static bool say_explanation(const lu_joint *j, const lu_explanation *x, lu_said_explanation *out, lu_arena *mem)
{
  *out = (lu_said_explanation){.probability = x->probability, .explained = x->explained, .fault_count = x->count};
  out->faults = LU_NEW(mem, lu_said_fault, x->count + 1);
  for (size_t i = 0; out->faults && i < x->count; i++)
    out->faults[i] = lu_findings_fault(j, &x->faults[i], mem);
  return out->faults;
}

/* "With A7 as said, nothing can be said of A8": what the likeliest explanation hides. */
static const char *masked_words(const lu_result *r, lu_arena *mem)
{
  const lu_joint *j = r->joint;
  bool *masked = LU_NEW(mem, bool, j->net_count + 1);
  const char *list[64];
  size_t count = 0;
  if (!masked || !r->explanation_count || r->explanations[0].explained < 0.999)
    return NULL;
  for (size_t i = 0; i < r->explanations[0].count; i++)
    if (r->explanations[0].faults[i].unsteady)
      return NULL; /* it hides nothing while it is closed */
  lu_masked_nets(j, &r->explanations[0], masked);
  for (uint16_t n = 0; n < j->net_count && count < 64; n++)
    if (masked[n])
      list[count++] = net_name(j, n);
  return count ? lu_arena_printf(mem, "While the first explanation holds, these readings can say nothing of %s.", join(list, count, mem)) : NULL;
}

lu_finding *lu_findings_of(const lu_result *r, bool plain, lu_arena *mem)
{
  static const char *const verdicts[] = {"clean", "faulty", "unknown"};
  lu_finding *f = LU_NEW(mem, lu_finding, 1);
  if (!f)
    return NULL;
  f->verdict = verdicts[r->verdict];
  f->reason = r->reason;
  f->title = plain ? NULL : r->joint->board->title;
  f->singles_done = r->singles_done;
  f->pairs_done = r->pairs_done;
  f->exact = r->exact;
  f->hypotheses = r->hypotheses;
  f->explanations = LU_NEW(mem, lu_said_explanation, r->explanation_count + 1);
  f->suspects = LU_NEW(mem, lu_said_suspect, r->suspect_count + 1);
  if (!f->explanations || !f->suspects)
    return NULL;
  for (size_t i = 0; i < r->explanation_count; i++)
    if (!say_explanation(r->joint, &r->explanations[i], &f->explanations[f->explanation_count++], mem))
      return NULL;
  for (size_t i = 0; i < r->suspect_count; i++)
    say_suspect(r->joint, &r->suspects[i], &f->suspects[f->suspect_count++], mem);
  if (f->suspect_count && !plain)
    f->next = f->suspects[0].settle;
  f->masked = masked_words(r, mem);
  return f;
}
