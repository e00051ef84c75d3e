/* SPDX-License-Identifier: MIT */
#include "cli/boardview.h"
#include "cli/session.h"

#include "base/text.h"
#include "board/damage.h"
#include "board/places.h"
#include "reason/lines.h"

#include <inttypes.h>
#include <string.h>

void lu_put_clean(FILE *out, const char *text)
{
  lu_text_put(out, text);
}

json_t *lu_json_text(const char *text)
{
  char kept[400];
  json_t *j = text ? json_string(text) : json_null();
  if (j)
    return j;
  snprintf(kept, sizeof kept, "%s", text); /* not UTF-8 */
  lu_text_tidy(kept);
  return json_string(kept);
}

const char *lu_role_name(lu_pin_role role)
{
  static const char *const names[] = {"none",          "supply", "ground", "address", "data",   "data in", "data out", "select",
                                      "output enable", "write",  "RAS",    "CAS",     "strobe", "input",   "output",   "passive"};
  return names[role];
}

static const char *net_name(const lu_board *b, uint32_t net)
{
  return net == LU_NONE ? "no net" : b->nets[net].name;
}

/* --- blocks ------------------------------------------------------------------------------------------- */

static lu_status view_block(lu_session *s, uint32_t block, lu_block_view *v)
{
  const lu_board *b = s->board;
  lu_err err = {0};
  v->block = block;
  lu_status bad = lu_network_build(b, block, b->blocks[block].vantage, s->mem, &v->network, &err);
  if (bad == LU_ERR_NOMEM) {
    s->err = err;
    return bad;
  }
  if (bad) {
    v->network = NULL;
    v->problem = lu_arena_printf(s->mem, "%s", err.message);
  }
  return lu_lines_trace(b, block, b->blocks[block].vantage, v->network, s->mem, &v->lines, &s->err);
}

lu_status lu_view_blocks(lu_session *s, const char *name, lu_block_view **out, size_t *count)
{
  uint32_t only = LU_NONE;
  lu_status bad = name ? lu_session_block(s, name, 0, &only) : LU_OK;
  lu_block_view *v = LU_NEW(s->mem, lu_block_view, s->board->block_count + 1);
  if (!bad && !v)
    bad = lu_fail(&s->err, LU_ERR_NOMEM, 0, 0, "no room");
  *count = 0;
  for (uint32_t i = 0; !bad && i < s->board->block_count; i++)
    if (only == LU_NONE || only == i)
      bad = view_block(s, i, &v[(*count)++]);
  *out = v;
  return bad;
}

/* --- check -------------------------------------------------------------------------------------------- */

static bool plain_part(const lu_part *p)
{
  return p->type || p->pin_count < 3; /* a battery, a diode, a crystal: nothing to know */
}

static void check_line(FILE *out, bool holds, const char *what)
{
  fprintf(out, "%s  ", holds ? "ok" : "!!");
  lu_put_clean(out, what);
}

static void check_parts(lu_session *s)
{
  const lu_board *b = s->board;
  FILE *out = s->run->out;
  size_t unknown = 0, placed = 0;
  for (size_t i = 0; i < b->part_count; i++)
    unknown += !plain_part(&b->parts[i]);
  for (size_t i = 0; b->places && i < b->pin_count; i++)
    placed += b->places->pin_point[i] != LU_NONE;
  fprintf(out, "ok  %zu parts, %zu nets, %zu pins", b->part_count, b->net_count, b->pin_count);
  if (b->places)
    fprintf(out, "; places of %zu pins", placed);
  fputc('\n', out);
  for (size_t i = 0, n = 0; i < b->part_count && unknown; i++) {
    if (plain_part(&b->parts[i]))
      continue;
    fputs(n ? ", " : "--  types not recognised, nothing is followed through them: ", out);
    lu_put_clean(out, b->parts[i].ref);
    if (b->parts[i].value) {
      fputs(" (", out);
      lu_put_clean(out, b->parts[i].value);
      fputc(')', out);
    }
    if (++n == unknown)
      fputc('\n', out);
  }
}

static void check_vantages(lu_session *s)
{
  const lu_board *b = s->board;
  FILE *out = s->run->out;
  for (size_t i = 0; i < b->vantage_count; i++) {
    const lu_vantage *v = &b->vantages[i];
    check_line(out, true, "vantage ");
    lu_put_clean(out, v->name);
    if (v->part != LU_NONE) {
      fputs(" at ", out);
      lu_put_clean(out, b->parts[v->part].ref);
    }
    fprintf(out, ": %u address lines%s, %u data lines, %zu strobe%s\n", v->multiplexed ? v->row_bits : v->address_bits,
            v->multiplexed ? " (rows and columns)" : "", v->data_bits, v->strobe_count, v->strobe_count == 1 ? "" : "s");
  }
  if (!b->vantage_count)
    fputs("!!  no vantage: say where memory is read from\n", out);
}

static const char *line_name(const lu_board *b, uint32_t vantage, uint8_t kind, unsigned bit, lu_arena *mem)
{
  const lu_vantage *v = &b->vantages[vantage];
  uint32_t pin = kind == LU_LINE_ADDRESS ? v->address_pin[bit] : v->data_pin[bit];
  uint32_t net = kind == LU_LINE_ADDRESS ? v->address_net[bit] : v->data_net[bit];
  const char *name = pin != LU_NONE ? b->pins[pin].function : net_name(b, net);
  return lu_arena_printf(mem, "%s bit %u (%s)", kind == LU_LINE_ADDRESS ? "address" : "data", bit, name);
}

static const char *trail_end(const lu_board *b, const lu_lost_line *l, lu_arena *mem)
{
  return l->pin == LU_NONE ? net_name(b, l->net) : lu_arena_printf(mem, "%s (at %s)", net_name(b, l->net), b->pins[l->pin].name);
}

static void check_block(lu_session *s, const lu_block_view *v)
{
  const lu_board *b = s->board;
  const lu_block *k = &b->blocks[v->block];
  FILE *out = s->run->out;
  check_line(out, !v->problem, "block ");
  lu_put_clean(out, k->name);
  fprintf(out, ", 0x%" PRIx64 " to 0x%" PRIx64 " from ", k->base, k->base + k->size - 1);
  lu_put_clean(out, b->vantages[k->vantage].name);
  fprintf(out, ", %zu chip%s: ", k->chip_count, k->chip_count == 1 ? "" : "s");
  lu_put_clean(out, v->problem                   ? v->problem
                    : v->network->note_count ? "address and data lines are followed, control lines in part"
                                             : "every line is followed");
  fputc('\n', out);
  for (size_t i = 0; v->problem && i < v->lines->lost_count; i++) {
    const lu_lost_line *l = &v->lines->lost[i];
    fputs("      ", out);
    lu_put_clean(out, line_name(b, v->lines->vantage, l->kind, l->bit, s->mem));
    fputs(": the trail ends at net ", out);
    lu_put_clean(out, trail_end(b, l, s->mem));
    fputc('\n', out);
  }
  for (size_t i = 0; v->network && i < v->network->note_count; i++) {
    fputs("    --  ", out);
    lu_put_clean(out, v->network->notes[i]);
    fputc('\n', out);
  }
}

static bool is_difference_note(const char *note)
{
  return strstr(note, "lineup board check lists them") != NULL;
}

static bool all_hold(const lu_session *s, const lu_block_view *v, size_t count)
{
  bool holds = !s->difference_count && s->board->vantage_count && s->board->block_count;
  for (size_t i = 0; i < count; i++)
    holds &= !v[i].problem;
  return holds;
}

bool lu_view_check_text(lu_session *s, const lu_block_view *v, size_t count)
{
  const lu_board *b = s->board;
  FILE *out = s->run->out;
  lu_put_clean(out, b->title ? b->title : b->path);
  fputc('\n', out);
  check_parts(s);
  check_vantages(s);
  for (size_t i = 0; i < count; i++)
    check_block(s, &v[i]);
  if (!b->block_count)
    fputs("!!  no memory block\n", out);
  bool first = true;
  for (size_t i = 0; i < b->part_count; i++)
    if (b->parts[i].socketed) {
      fputs(first ? "ok  in sockets: " : ", ", out);
      lu_put_clean(out, b->parts[i].ref);
      first = false;
    }
  fputs(first ? "--  no sockets are named: leg and pad count as one point\n" : "\n", out);
  if (s->difference_count)
    fprintf(out, "!!  %zu difference%s between netlist and layout (the netlist stands; either drawing may be wrong):\n", s->difference_count,
            s->difference_count == 1 ? "" : "s");
  for (size_t i = 0; i < s->difference_count; i++) {
    fputs("      ", out);
    lu_put_clean(out, s->differences[i]);
    fputc('\n', out);
  }
  for (size_t i = 0; i < s->note_count; i++)
    if (!is_difference_note(s->notes[i])) {
      fputs("--  ", out);
      lu_put_clean(out, s->notes[i]);
      fputc('\n', out);
    }
  return all_hold(s, v, count);
}

static json_t *check_block_json(lu_session *s, const lu_block_view *v)
{
  const lu_board *b = s->board;
  const lu_block *k = &b->blocks[v->block];
  json_t *chips = json_array(), *lost = json_array(), *notes = json_array();
  for (size_t i = 0; i < k->chip_count; i++)
    json_array_append_new(chips, lu_json_text(b->parts[k->chips[i]].ref));
  for (size_t i = 0; v->problem && i < v->lines->lost_count; i++) {
    const lu_lost_line *l = &v->lines->lost[i];
    json_array_append_new(lost, json_pack("{s:s,s:i,s:o}", "kind", l->kind == LU_LINE_ADDRESS ? "address" : "data", "bit",
                                          (int)l->bit, "ends_at", lu_json_text(net_name(b, l->net))));
  }
  for (size_t i = 0; v->network && i < v->network->note_count; i++)
    json_array_append_new(notes, lu_json_text(v->network->notes[i]));
  return json_pack("{s:o,s:o,s:I,s:I,s:o,s:b,s:o,s:o,s:o}", "name", lu_json_text(k->name), "vantage",
                   lu_json_text(b->vantages[k->vantage].name), "base", (json_int_t)k->base, "size", (json_int_t)k->size, "chips",
                   chips, "holds", !v->problem, "problem", lu_json_text(v->problem), "lost", lost, "notes", notes);
}

json_t *lu_view_check_json(lu_session *s, const lu_block_view *v, size_t count, bool *holds)
{
  const lu_board *b = s->board;
  json_t *unknown = json_array(), *vantages = json_array(), *blocks = json_array(), *sockets = json_array();
  json_t *differences = json_array(), *notes = json_array();
  for (size_t i = 0; i < b->part_count; i++) {
    const lu_part *p = &b->parts[i];
    if (!plain_part(p))
      json_array_append_new(unknown, json_pack("{s:o,s:o}", "part", lu_json_text(p->ref), "value", lu_json_text(p->value)));
    if (p->socketed)
      json_array_append_new(sockets, lu_json_text(p->ref));
  }
  for (size_t i = 0; i < b->vantage_count; i++) {
    const lu_vantage *w = &b->vantages[i];
    json_array_append_new(vantages, json_pack("{s:o,s:o,s:i,s:i,s:i}", "name", lu_json_text(w->name), "at",
                                              lu_json_text(w->part == LU_NONE ? NULL : b->parts[w->part].ref), "address_bits",
                                              (int)w->address_bits, "data_bits", (int)w->data_bits, "strobes", (int)w->strobe_count));
  }
  for (size_t i = 0; i < count; i++)
    json_array_append_new(blocks, check_block_json(s, &v[i]));
  for (size_t i = 0; i < s->difference_count; i++)
    json_array_append_new(differences, lu_json_text(s->differences[i]));
  for (size_t i = 0; i < s->note_count; i++)
    if (!is_difference_note(s->notes[i]))
      json_array_append_new(notes, lu_json_text(s->notes[i]));
  *holds = all_hold(s, v, count);
  return json_pack("{s:s,s:o,s:b,s:I,s:I,s:I,s:o,s:o,s:o,s:o,s:o,s:o}", "lineup", LU_VERSION, "title", lu_json_text(b->title), "holds",
                   (int)*holds, "parts", (json_int_t)b->part_count, "nets", (json_int_t)b->net_count, "pins", (json_int_t)b->pin_count,
                   "not_recognised", unknown, "vantages", vantages, "blocks", blocks, "sockets", sockets, "differences", differences,
                   "notes", notes);
}

/* --- lines -------------------------------------------------------------------------------------------- */

static const char *phase_name(uint8_t phase)
{
  return phase == LU_PHASE_ROW ? "row" : phase == LU_PHASE_COLUMN ? "column" : NULL;
}

static const char *pin_text(const lu_board *b, uint32_t pin, lu_arena *mem)
{
  if (pin == LU_NONE)
    return "the vantage";
  const char *f = b->pins[pin].function;
  return strcmp(f, b->pins[pin].number) ? lu_arena_printf(mem, "%s (%s)", b->pins[pin].name, f) : b->pins[pin].name;
}

static void put_line(lu_session *s, const lu_lines *w, const lu_line *l)
{
  const lu_board *b = s->board;
  FILE *out = s->run->out;
  const char *phase = phase_name(l->phase);
  fputs("  ", out);
  lu_put_clean(out, line_name(b, w->vantage, l->kind, l->bit, s->mem));
  fprintf(out, "%s%s%s\n    ", phase ? ", " : "", phase ? phase : "", l->inverted ? ", inverted" : "");
  lu_put_clean(out, pin_text(b, l->hops[0].from, s->mem));
  for (size_t i = 0; i < l->hop_count; i++) {
    const lu_hop *h = &l->hops[i];
    if (h->part == LU_NONE) {
      fputs(" -- ", out);
      lu_put_clean(out, net_name(b, h->net));
      fputs(" -- ", out);
      if (i + 1 < l->hop_count)
        lu_put_clean(out, pin_text(b, h->to, s->mem));
    } else {
      fputs(" [", out);
      lu_put_clean(out, b->parts[h->part].ref);
      if (b->parts[h->part].type) {
        fputc(' ', out);
        lu_put_clean(out, b->parts[h->part].type->name);
      }
      fputs("] ", out);
      lu_put_clean(out, pin_text(b, h->to, s->mem));
    }
  }
  for (size_t i = 0; i < l->end_count; i++) {
    fputs(i ? ", " : "", out);
    lu_put_clean(out, pin_text(b, l->ends[i], s->mem));
  }
  fputc('\n', out);
}

static const char *feed_words(const lu_board *b, const lu_feed *f, lu_arena *mem)
{
  const char *pin = f->driver == LU_NONE ? "" : pin_text(b, f->driver, mem);
  const lu_part *part = f->driver == LU_NONE ? NULL : &b->parts[b->pins[f->driver].part];
  const char *type = part && part->type ? part->type->name : part && part->value ? part->value : "type not known";
  switch ((lu_feed_end)f->end) {
  case LU_FEED_GOES_ON:
    return lu_arena_printf(mem, "from %s, %s", pin, type);
  case LU_FEED_VANTAGE:
    return lu_arena_printf(mem, "from the vantage, %s", pin);
  case LU_FEED_UNKNOWN:
    return lu_arena_printf(mem, "perhaps from %s, %s: the trail ends here", pin, type);
  case LU_FEED_NONE:
    return "nothing known drives it: the trail ends here";
  case LU_FEED_CONSTANT:
    return "constant";
  case LU_FEED_SEEN:
    return "told above";
  }
  return "";
}

static void put_control(lu_session *s, const lu_control *c)
{
  const lu_board *b = s->board;
  FILE *out = s->run->out;
  fprintf(out, "  %s", lu_role_name((lu_pin_role)c->role));
  for (size_t i = 0; i < c->pin_count; i++) {
    fputs(i ? ", " : ": ", out);
    lu_put_clean(out, pin_text(b, c->pins[i], s->mem));
  }
  fputc('\n', out);
  for (size_t i = 0; i < c->feed_count; i++) {
    fprintf(out, "    %*s", 2 * c->feeds[i].depth, "");
    lu_put_clean(out, net_name(b, c->feeds[i].net));
    fputs(": ", out);
    lu_put_clean(out, feed_words(b, &c->feeds[i], s->mem));
    fputc('\n', out);
  }
}

void lu_view_lines_text(lu_session *s, const lu_block_view *v, size_t count)
{
  FILE *out = s->run->out;
  for (size_t i = 0; i < count; i++) {
    const lu_lines *w = v[i].lines;
    lu_put_clean(out, s->board->blocks[v[i].block].name);
    fputs(", seen from ", out);
    lu_put_clean(out, s->board->vantages[w->vantage].name);
    fputc('\n', out);
    if (v[i].problem) {
      fputs("  !! ", out);
      lu_put_clean(out, v[i].problem);
      fputc('\n', out);
    }
    for (size_t k = 0; k < w->line_count; k++)
      put_line(s, w, &w->lines[k]);
    for (size_t k = 0; k < w->lost_count; k++) {
      fputs("  ", out);
      lu_put_clean(out, line_name(s->board, w->vantage, w->lost[k].kind, w->lost[k].bit, s->mem));
      fputs(": reaches no chip; the trail ends at net ", out);
      lu_put_clean(out, trail_end(s->board, &w->lost[k], s->mem));
      fputc('\n', out);
    }
    for (size_t k = 0; k < w->control_count; k++)
      put_control(s, &w->controls[k]);
  }
}

static json_t *pin_json(const lu_board *b, uint32_t pin)
{
  return lu_json_text(pin == LU_NONE ? NULL : b->pins[pin].name);
}

static json_t *line_json(const lu_board *b, const lu_line *l)
{
  json_t *hops = json_array(), *ends = json_array();
  for (size_t i = 0; i < l->hop_count; i++) {
    const lu_hop *h = &l->hops[i];
    bool net = h->part == LU_NONE;
    json_array_append_new(hops, json_pack("{s:o,s:o,s:o}", net ? "net" : "part", lu_json_text(net ? net_name(b, h->net) : b->parts[h->part].ref),
                                          "from", pin_json(b, h->from), "to", pin_json(b, h->to)));
  }
  for (size_t i = 0; i < l->end_count; i++)
    json_array_append_new(ends, json_pack("{s:o,s:o}", "pin", pin_json(b, l->ends[i]), "function", lu_json_text(b->pins[l->ends[i]].function)));
  return json_pack("{s:s,s:i,s:o,s:b,s:o,s:o}", "kind", l->kind == LU_LINE_ADDRESS ? "address" : "data", "bit", (int)l->bit, "phase",
                   lu_json_text(phase_name(l->phase)), "inverted", (int)l->inverted, "hops", hops, "ends", ends);
}

static json_t *control_json(const lu_board *b, const lu_control *c)
{
  static const char *const ends[] = {"followed", "vantage", "unknown", "nothing", "constant", "told above"};
  json_t *pins = json_array(), *feeds = json_array();
  for (size_t i = 0; i < c->pin_count; i++)
    json_array_append_new(pins, pin_json(b, c->pins[i]));
  for (size_t i = 0; i < c->feed_count; i++)
    json_array_append_new(feeds, json_pack("{s:i,s:o,s:o,s:s}", "depth", (int)c->feeds[i].depth, "net", lu_json_text(net_name(b, c->feeds[i].net)),
                                           "driver", pin_json(b, c->feeds[i].driver), "ends", ends[c->feeds[i].end]));
  return json_pack("{s:s,s:o,s:o,s:o}", "kind", lu_role_name((lu_pin_role)c->role), "net", lu_json_text(net_name(b, c->net)), "pins", pins,
                   "driven_by", feeds);
}

json_t *lu_view_lines_json(lu_session *s, const lu_block_view *v, size_t count)
{
  const lu_board *b = s->board;
  json_t *blocks = json_array();
  for (size_t i = 0; i < count; i++) {
    const lu_lines *w = v[i].lines;
    json_t *lines = json_array(), *lost = json_array(), *controls = json_array();
    for (size_t k = 0; k < w->line_count; k++)
      json_array_append_new(lines, line_json(b, &w->lines[k]));
    for (size_t k = 0; k < w->lost_count; k++)
      json_array_append_new(lost, json_pack("{s:s,s:i,s:o}", "kind", w->lost[k].kind == LU_LINE_ADDRESS ? "address" : "data", "bit",
                                            (int)w->lost[k].bit, "ends_at", lu_json_text(net_name(b, w->lost[k].net))));
    for (size_t k = 0; k < w->control_count; k++)
      json_array_append_new(controls, control_json(b, &w->controls[k]));
    json_array_append_new(blocks, json_pack("{s:o,s:o,s:o,s:o,s:o,s:o}", "name", lu_json_text(b->blocks[v[i].block].name), "vantage",
                                            lu_json_text(b->vantages[w->vantage].name), "problem", lu_json_text(v[i].problem), "lines", lines,
                                            "lost", lost, "controls", controls));
  }
  return json_pack("{s:s,s:o}", "lineup", LU_VERSION, "blocks", blocks);
}

/* --- pins --------------------------------------------------------------------------------------------- */

static const char *neighbours(const lu_board *b, uint32_t pin, lu_arena *mem)
{
  enum { SHOWN = 6 };
  if (b->pins[pin].net == LU_NONE)
    return "";
  const lu_net *n = &b->nets[b->pins[pin].net];
  const char *text = "";
  unsigned shown = 0;
  for (uint32_t i = 0; i < n->pin_count && text; i++) {
    uint32_t other = b->net_pins[n->first_pin + i];
    if (other == pin)
      continue;
    if (shown++ < SHOWN)
      text = lu_arena_printf(mem, "%s%s%s", text, shown > 1 ? " " : "", b->pins[other].name);
  }
  return text && shown > SHOWN ? lu_arena_printf(mem, "%s +%u", text, shown - SHOWN) : text ? text : "";
}

static void put_column(FILE *out, const char *text, int width)
{
  lu_put_clean(out, text);
  int n = (int)strlen(text);
  fprintf(out, "%*s", n < width ? width - n : 1, "");
}

/* The part's pins by number; those that the board file named by function only are left out. NULL: no memory. */
static uint32_t *pins_in_order(const lu_board *b, const lu_part *p, uint32_t *count, lu_arena *mem)
{
  uint32_t *list = LU_NEW(mem, uint32_t, p->pin_count + 1);
  *count = 0;
  for (uint32_t i = 0; list && i < p->pin_count; i++) {
    uint32_t pin = b->part_pins[p->first_pin + i], at = *count;
    if (b->pins[pin].net == LU_NONE && !lu_pin_type(b, pin))
      continue;
    for (; at && lu_text_order(b->pins[list[at - 1]].number, b->pins[pin].number) > 0; at--)
      list[at] = list[at - 1];
    list[at] = pin;
    ++*count;
  }
  return list;
}

void lu_view_pins_text(lu_session *s, uint32_t part)
{
  const lu_board *b = s->board;
  const lu_part *p = &b->parts[part];
  FILE *out = s->run->out;
  char damage[120];
  lu_put_clean(out, p->ref);
  fputs(p->type ? ", " : ", type not known", out);
  lu_put_clean(out, p->type ? p->type->name : NULL);
  if (p->type && p->type->summary) {
    fputs(", ", out);
    lu_put_clean(out, p->type->summary);
  }
  fputs(p->socketed ? ", in a socket\n" : "\n", out);
  put_column(out, "pin", 6);
  put_column(out, "function", 12);
  put_column(out, "role", 15);
  put_column(out, "net", 16);
  fputs("also on the net\n", out);
  uint32_t count, *pins = pins_in_order(b, p, &count, s->mem);
  for (uint32_t i = 0; i < count; i++) {
    uint32_t pin = pins[i];
    const lu_part_pin *t = lu_pin_type(b, pin);
    put_column(out, b->pins[pin].number, 6);
    put_column(out, b->pins[pin].function, 12);
    put_column(out, t && t->role != LU_ROLE_NONE ? lu_role_name(t->role) : "-", 15);
    put_column(out, net_name(b, b->pins[pin].net), 16);
    lu_put_clean(out, neighbours(b, pin, s->mem));
    if (lu_damage_pin(b, pin, damage, sizeof damage)) {
      fputs("; ", out);
      lu_put_clean(out, damage);
    }
    fputc('\n', out);
  }
}

json_t *lu_view_pins_json(lu_session *s, uint32_t part)
{
  const lu_board *b = s->board;
  const lu_part *p = &b->parts[part];
  json_t *pins = json_array();
  char damage[120];
  uint32_t count, *list = pins_in_order(b, p, &count, s->mem);
  for (uint32_t i = 0; i < count; i++) {
    uint32_t pin = list[i], point = b->places ? b->places->pin_point[pin] : LU_NONE;
    const lu_part_pin *t = lu_pin_type(b, pin);
    json_t *o = json_pack("{s:o,s:o,s:o,s:s,s:o}", "pin", lu_json_text(b->pins[pin].name), "number", lu_json_text(b->pins[pin].number),
                          "function", lu_json_text(b->pins[pin].function), "role", lu_role_name(t ? t->role : LU_ROLE_NONE), "net",
                          lu_json_text(b->pins[pin].net == LU_NONE ? NULL : b->nets[b->pins[pin].net].name));
    if (point != LU_NONE) {
      json_object_set_new(o, "x_mm", json_real(b->places->points[point].x_mm));
      json_object_set_new(o, "y_mm", json_real(b->places->points[point].y_mm));
    }
    if (lu_damage_pin(b, pin, damage, sizeof damage))
      json_object_set_new(o, "damage", lu_json_text(damage));
    json_array_append_new(pins, o);
  }
  return json_pack("{s:s,s:o,s:o,s:o,s:b,s:o}", "lineup", LU_VERSION, "part", lu_json_text(p->ref), "value", lu_json_text(p->value), "type",
                   lu_json_text(p->type ? p->type->name : NULL), "socketed", (int)p->socketed, "pins", pins);
}
