/* SPDX-License-Identifier: MIT */
/* The report page's nets, fail maps and bit tables. */
#include "cli/chipmap.h"
#include "base/text.h"
#include "cli/pagefill.h"
#include "cli/session.h"

#include "cli/boardview.h"

#include <stdlib.h>
#include <string.h>

static lu_status no_room(lu_page_work *w)
{
  return lu_fail(&w->s->err, LU_ERR_NOMEM, 0, 0, "no room");
}

unsigned lu_page_net(lu_page_work *w, uint32_t net)
{
  lu_page *p = &w->page;
  if (net == LU_NONE || !w->net_number)
    return 0;
  if (w->net_number[net])
    return w->net_number[net];
  const char **list = lu_arena_grow(w->s->mem, (void *)(uintptr_t)p->nets, p->net_count, &w->net_room, sizeof *list);
  if (!list)
    return 0;
  p->nets = list;
  list[p->net_count++] = w->s->board->nets[net].name;
  return w->net_number[net] = (unsigned)p->net_count;
}

double lu_page_suspicion(const lu_page_work *w, const char *net)
{
  const lu_finding *f = w->page.finding;
  for (size_t i = 0; i < f->suspect_count; i++)
    if (f->suspects[i].net && !strcmp(f->suspects[i].net, net))
      return f->suspects[i].probability;
  return 0;
}

lu_status lu_page_fill_nets(lu_page_work *w)
{
  const lu_board *b = w->s->board;
  const lu_finding *f = w->page.finding;
  if (!b)
    return LU_OK;
  w->net_number = LU_NEW(w->s->mem, unsigned, b->net_count + 1);
  if (!w->net_number)
    return no_room(w);
  for (size_t i = 0; i < f->suspect_count; i++)
    if (f->suspects[i].net)
      (void)lu_page_net(w, lu_board_net(b, f->suspects[i].net));
  return LU_OK;
}

/* --- maps ------------------------------------------------------------------------------------------------- */

bool lu_page_map(lu_session *s, const lu_reading *r, lu_fail_map *out, bool *known)
{
  const lu_evidence *e = &r->evidence;
  *known = e->know != LU_KNOW_NOTHING && e->known.at;
  return lu_fail_map_words(&e->got, *known ? &e->known : NULL, e->steady, s->mem, out);
}

/* The chips' pins that hold a data bit, in the order of the chips: "U4.11 (D0), U16.14 (Q)". */
static const char *chip_pins(lu_page_work *w, const lu_network *n, unsigned bit)
{
  enum { PINS_SHOWN = 12 };
  const lu_board *b = n->board;
  const char *text = NULL;
  size_t count = 0;
  for (size_t c = 0; c < n->chip_count; c++)
    for (unsigned d = 0; d < n->chips[c].out_count; d++) {
      uint16_t at = n->chips[c].out[d];
      if (n->chips[c].foreign || n->chips[c].column[d] != bit || at == UINT16_MAX || n->pins[at].pin == LU_NONE || ++count > PINS_SHOWN)
        continue;
      const lu_pin *p = &b->pins[n->pins[at].pin];
      text = lu_arena_printf(w->s->mem, "%s%s%s (%s)", text ? text : "", text ? ", " : "", p->name, p->function);
    }
  return count > PINS_SHOWN ? lu_arena_printf(w->s->mem, "%s and %zu more", text, count - PINS_SHOWN) : text;
}

static lu_status fill_bits(lu_page_work *w, const lu_network *n, lu_page_reading *r)
{
  const lu_vantage *v = &n->board->vantages[n->vantage];
  r->bit_count = n->data_bits;
  lu_page_bit *bits = LU_NEW(w->s->mem, lu_page_bit, n->data_bits + 1);
  for (unsigned i = 0; bits && i < n->data_bits && i < v->data_bits; i++) {
    const lu_pin *pin = v->data_pin[i] != LU_NONE ? &n->board->pins[v->data_pin[i]] : NULL;
    bits[i].name = pin ? pin->function : lu_arena_printf(w->s->mem, "D%u", i);
    if (w->plain)
      continue;
    bits[i].net = n->board == w->s->board ? lu_page_net(w, v->data_net[i]) : 0;
    bits[i].chips = chip_pins(w, n, i);
  }
  r->bits = bits;
  return bits ? LU_OK : no_room(w);
}

/* Maps of the chips that hold wrong bits, in the order of the network. */
static lu_status fill_chips(lu_page_work *w, const lu_reading *from, lu_page_reading *r)
{
  enum { CHIPS_MOST = 16 };
  const lu_network *n = from->evidence.network;
  size_t chips[CHIPS_MOST], count = 0;
  for (size_t c = 0; !w->plain && c < n->chip_count; c++) {
    if (!lu_chip_is_wrong(from, r->map, c))
      continue;
    if (count < CHIPS_MOST)
      chips[count++] = c;
    else
      r->chips_left_out++;
  }
  lu_fail_map *maps = LU_NEW(w->s->mem, lu_fail_map, count + 1);
  lu_page_chip_map *list = LU_NEW(w->s->mem, lu_page_chip_map, count + 1);
  if (!maps || !list || (count && !lu_chip_maps(w->s, from, r->known, chips, count, maps)))
    return no_room(w);
  for (size_t k = 0; k < count; k++) {
    const lu_part *p = &n->board->parts[n->chips[chips[k]].part];
    lu_page_chip_map *x = &list[r->chip_count];
    lu_err err = {0};
    *x = (lu_page_chip_map){.ref = p->ref, .type = p->type && strcmp(p->type->name, p->ref) ? p->type->name : NULL, .map = &maps[k]};
    if (!maps[k].rows || !maps[k].wrong_bits)
      continue;
    if (lu_fail_map_png(&maps[k], w->s->mem, &x->png, &x->png_len, &err) == LU_ERR_NOMEM)
      return no_room(w);
    r->chip_count += x->png != NULL;
  }
  r->chips = list;
  return LU_OK;
}

lu_status lu_page_fill_maps(lu_page_work *w)
{
  lu_page_reading *list = LU_NEW(w->s->mem, lu_page_reading, w->reading_count + 1);
  lu_status bad = list ? LU_OK : no_room(w);
  for (size_t i = 0; !bad && i < w->reading_count; i++) {
    const lu_network *n = w->readings[i].evidence.network;
    lu_page_reading *r = &list[i];
    lu_fail_map *map = LU_NEW(w->s->mem, lu_fail_map, 1);
    if (!map || !lu_page_map(w->s, &w->readings[i], map, &r->known))
      return no_room(w);
    r->title = w->plain ? "What was read" : w->readings[i].name;
    r->map = map;
    r->address_scale = lu_word_dump_bytes(w->readings[i].evidence.got.width);
    lu_err err = {0};
    if (map->wrong_bits && lu_fail_map_png(map, w->s->mem, &r->png, &r->png_len, &err) == LU_ERR_NOMEM)
      return no_room(w);
    bad = fill_bits(w, n, r);
    if (!bad && !w->page.owner && map->wrong_bits)
      bad = fill_chips(w, &w->readings[i], r);
  }
  w->page.readings = list;
  w->page.reading_count = bad ? 0 : w->reading_count;
  return bad;
}

lu_status lu_page_print_maps(lu_session *s, const lu_reading *readings, size_t count)
{
  lu_run *run = s->run;
  for (size_t i = 0; i < count; i++) {
    lu_fail_map m;
    bool known;
    if (!lu_page_map(s, &readings[i], &m, &known))
      return lu_fail(&s->err, LU_ERR_NOMEM, 0, 0, "no room");
    fputs("\nMap of ", run->out);
    lu_text_put(run->out, readings[i].name ? readings[i].name : "what was read");
    if (!known && !readings[i].evidence.steady) {
      fputs(": none, nothing is known of the contents\n", run->out);
      continue;
    }
    fprintf(run->out, ": %s, %llu of %llu words\n", known ? "wrong bits" : "bits that differ between passes", (unsigned long long)m.wrong_words,
            (unsigned long long)m.words);
    lu_map_style style = {.color = run->color, .utf8 = run->utf8, .address_scale = lu_word_dump_bytes(readings[i].evidence.got.width)};
    lu_fail_map_text(run->out, &m, &style);
  }
  return LU_OK;
}

lu_status lu_page_one_chip(lu_session *s, const lu_reading *readings, size_t count, const char *ref, lu_fail_map *out)
{
  for (size_t i = 0; i < count; i++) {
    const lu_evidence *e = &readings[i].evidence;
    bool known = e->know != LU_KNOW_NOTHING && e->known.at;
    size_t chip = lu_chip_named(e->network, ref);
    if (chip == SIZE_MAX)
      continue;
    if (!known && !e->steady)
      return lu_fail(&s->err, LU_ERR_VALUE, 0, 0, "--chip %.40s: nothing is known of the contents, no bit can be called wrong", ref);
    if (!lu_chip_maps(s, &readings[i], known, &chip, 1, out))
      return lu_fail(&s->err, LU_ERR_NOMEM, 0, 0, "no room");
    return out->rows ? LU_OK : lu_fail(&s->err, LU_ERR_VALUE, 0, 0, "--chip %.40s: its cells cannot be numbered: address lines meet before it", ref);
  }
  return lu_fail(&s->err, LU_ERR_MISSING, 0, 0, "--chip: no memory chip '%.40s' in what was read", ref);
}

void lu_page_print_chip(lu_session *s, const char *ref, const lu_fail_map *map)
{
  lu_run *run = s->run;
  fprintf(run->out, "\nRows and columns of ");
  lu_put_clean(run->out, ref);
  fprintf(run->out, ": %llu wrong bits\n", (unsigned long long)map->wrong_bits);
  lu_map_style style = {.color = run->color, .utf8 = run->utf8};
  lu_fail_map_text(run->out, map, &style);
}

/* --- tasks ------------------------------------------------------------------------------------------------ */

lu_status lu_page_fill_tasks(lu_page_work *w)
{
  const lu_finding *f = w->page.finding;
  lu_page_task *list = LU_NEW(w->s->mem, lu_page_task, f->suspect_count + 1);
  if (!list)
    return no_room(w);
  for (size_t i = 0; i < f->suspect_count; i++) {
    const lu_said_suspect *x = &f->suspects[i];
    bool told = !x->settle;
    for (size_t k = 0; !told && k < w->page.task_count; k++)
      told = !strcmp(list[k].what, x->settle);
    if (told)
      continue;
    list[w->page.task_count++] = (lu_page_task){.what = x->settle, .boxes = {"joined", "open"}, .unit = "ohms or volts",
                                                .reason = lu_arena_printf(w->s->mem, "for %s", x->net ? x->net : x->part ? x->part : "?")};
  }
  w->page.tasks = list;
  return LU_OK;
}
