/* SPDX-License-Identifier: MIT */
#define _GNU_SOURCE
/* The report page's captures: what stood on the first suspect's lines when the first wrong word was read. */
#include "cli/pagefill.h"
#include "data/sigmap.h"
#include "formats/capform.h"
#include "reason/bind.h"
#include "reason/lines.h"
#include "report/waves.h"

#include <inttypes.h>
#include <stdlib.h>
#include <string.h>

enum { ROWS_MOST = 128, STEPS = 128, PINS_MOST = 32, AHEAD = 8, BEHIND = 4 };

/* One reading's picture. */
typedef struct scene {
  lu_page_work *w;
  const lu_reading *r;
  const lu_capture_seen *seen;
  const lu_cap *cap;
  const char *net;           /* the first suspect's; NULL: it is a part */
  uint64_t data, address;    /* bits of the vantage that run over it */
  lu_wave_row rows[ROWS_MOST];
  uint32_t homes[ROWS_MOST];
  size_t row_count;
  bool net_drawn;
  const char *names;         /* of the rows, listed */
  uint64_t *bits;            /* those homes, for the reader */
  const uint64_t *wanted;
  lu_wave *wave;
} scene;

static lu_status no_room(lu_err *err)
{
  return lu_fail(err, LU_ERR_NOMEM, 0, 0, "no room for a capture's picture");
}

/* --- rows ------------------------------------------------------------------------------------------------- */

/* The board's name and, where the capture has another, that one too. */
static bool add_home(scene *x, uint32_t home, const char *name)
{
  lu_arena *mem = x->w->s->mem;
  const char *own = lu_bind_home_name(x->cap, home, false, mem);
  for (size_t i = 0; i < x->row_count; i++)
    if (x->homes[i] == home)
      return true;
  if (x->row_count == ROWS_MOST)
    return true;
  if (own && name && !lu_bind_same(own, name))
    name = lu_arena_printf(mem, "%s (%s)", name, own);
  else if (!name)
    name = own;
  x->names = name ? lu_arena_printf(mem, "%s%s%s", x->names ? x->names : "", x->names ? ", " : "", name) : NULL;
  if (!x->names)
    return false;
  x->homes[x->row_count] = home;
  x->rows[x->row_count] = (lu_wave_row){name, 1, &x->homes[x->row_count]};
  x->row_count++;
  x->bits[home / 64] |= (uint64_t)1 << (home % 64);
  return true;
}

/* A name that means one line of the capture; others are no error here. *found says whether it does. */
static bool add_name(scene *x, const lu_sig_name *wanted, bool *found)
{
  lu_bind b = {x->cap, x->seen->map, NULL};
  lu_err ignored = {0};
  uint32_t home;
  size_t count = 0;
  bool is = wanted->name && lu_bind_name(&b, wanted, &home, 1, &count, &ignored) == LU_OK && count == 1;
  if (found)
    *found |= is;
  return !is || add_home(x, home, wanted->name);
}

/* Those bits of a bus that begins at bit `at` of the vantage's; moves *at behind it. */
static bool add_bus(scene *x, const lu_sig_bus *bus, uint64_t bits, unsigned *at, const uint32_t *nets, size_t net_count)
{
  lu_bind b = {x->cap, x->seen->map, NULL};
  for (size_t i = 0; i < bus->count; i++) {
    uint32_t homes[LU_SIG_BITS_MOST];
    lu_err ignored = {0};
    size_t count;
    if (lu_bind_name(&b, &bus->names[i], homes, LU_SIG_BITS_MOST, &count, &ignored))
      break; /* upper lines that the capture lacks */
    for (size_t k = 0; k < count; k++, ++*at) {
      uint32_t net = *at < net_count ? nets[*at] : LU_NONE;
      if (*at < 64 && bits >> *at & 1 && !add_home(x, homes[k], net == LU_NONE ? bus->names[i].name : x->w->s->board->nets[net].name))
        return false;
    }
  }
  return true;
}

static bool add_data(scene *x, uint64_t bits)
{
  const lu_network *n = x->r->evidence.network;
  const lu_vantage *v = &n->board->vantages[n->vantage];
  const lu_sig_bus *bus = x->seen->map->data.count ? &x->seen->map->data : &x->seen->map->data_out;
  unsigned at = 0;
  return add_bus(x, bus, bits, &at, v->data_net, v->data_bits);
}

static bool add_address(scene *x, uint64_t bits)
{
  const lu_network *n = x->r->evidence.network;
  const lu_vantage *v = &n->board->vantages[n->vantage];
  const lu_sigmap *m = x->seen->map;
  unsigned at = 0;
  return add_bus(x, &m->address, bits, &at, v->address_net, v->address_bits) &&
         add_bus(x, &m->column, bits, &at, v->address_net, v->address_bits) && add_bus(x, &m->row, bits, &at, v->address_net, v->address_bits);
}

/* The suspect net itself, and its pins where the capture was taken at several places. */
static bool add_net(scene *x)
{
  const lu_board *b = x->w->s->board;
  uint32_t net = x->net ? lu_board_net(b, x->net) : LU_NONE;
  if (net == LU_NONE)
    return true;
  const char *bare = x->net[0] == '/' ? x->net + 1 : x->net;
  bool ok = add_name(x, &(lu_sig_name){.name = x->net, .also = &bare, .also_count = 1}, &x->net_drawn);
  for (uint32_t i = 0; ok && i < b->nets[net].pin_count && i < PINS_MOST; i++)
    ok = add_name(x, &(lu_sig_name){.name = b->pins[b->net_pins[b->nets[net].first_pin + i]].name}, &x->net_drawn);
  return ok;
}

static bool add_strobes(scene *x)
{
  const lu_sigmap *m = x->seen->map;
  bool ok = add_name(x, &m->ras.signal, NULL);
  for (size_t i = 0; ok && i < m->cas_count; i++)
    ok = add_name(x, &m->cas[i].line.signal, NULL);
  for (size_t i = 0; ok && i < m->strobe_count; i++) {
    const lu_sig_strobe *t = &m->strobes[i];
    for (size_t k = 0; ok && k < t->line_count; k++)
      ok = add_name(x, &t->lines[k].signal, NULL);
    for (size_t k = 0; ok && k < t->when_count; k++)
      ok = add_name(x, &t->when[k].signal, NULL);
  }
  return ok && add_name(x, &m->write.signal, NULL) && add_name(x, &m->output.signal, NULL);
}

/* Which bits of the vantage run over the suspect net. */
static lu_status trace(scene *x)
{
  lu_session *s = x->w->s;
  const lu_network *n = x->r->evidence.network;
  const lu_vantage *v = &n->board->vantages[n->vantage];
  uint32_t net = x->net ? lu_board_net(s->board, x->net) : LU_NONE;
  lu_lines *t = NULL;
  if (net == LU_NONE)
    return LU_OK;
  for (unsigned k = 0; k < v->data_bits && k < 64; k++)
    x->data |= (uint64_t)(v->data_net[k] == net) << k;
  for (unsigned k = 0; k < v->address_bits && k < 64; k++)
    x->address |= (uint64_t)(v->address_net[k] == net) << k;
  lu_status bad = v->chip || n->block == LU_NONE ? LU_OK : lu_lines_trace(s->board, n->block, n->vantage, n, s->mem, &t, &s->err);
  for (size_t i = 0; !bad && t && i < t->line_count; i++) {
    const lu_line *l = &t->lines[i];
    for (size_t k = 0; k < l->hop_count && l->bit < 64; k++)
      if (l->hops[k].part == LU_NONE && l->hops[k].net == net)
        *(l->kind == LU_LINE_DATA ? &x->data : &x->address) |= (uint64_t)1 << l->bit;
  }
  return bad;
}

/* --- the window ------------------------------------------------------------------------------------------- */

static uint64_t wrong_bits(const scene *x)
{
  return (x->seen->got ^ x->seen->expected) & x->seen->judged;
}

static lu_status begin(void *to, const lu_cap *cap, lu_err *err)
{
  scene *x = to;
  x->cap = cap;
  x->bits = LU_NEW(x->w->s->mem, uint64_t, cap->slot_count + 1);
  x->wanted = x->bits;
  bool ok = x->bits && add_data(x, x->data) && add_address(x, x->address) && add_net(x);
  x->net_drawn |= x->row_count > 0;
  if (ok && !x->row_count)
    ok = add_data(x, wrong_bits(x));
  if (!ok || !add_strobes(x))
    return no_room(err);
  x->wave = x->row_count ? lu_wave_open(x->rows, x->row_count, x->seen->begin, STEPS, STEPS, x->w->s->mem) : NULL;
  return x->wave || !x->row_count ? LU_OK : no_room(err);
}

static lu_status step(void *to, const lu_cap_step *st, lu_err *err)
{
  scene *x = to;
  (void)err;
  if (x->wave)
    lu_wave_step(x->wave, st);
  return LU_OK;
}

static lu_status look(scene *x)
{
  lu_session *s = x->w->s;
  lu_capreader reader = {.mem = s->mem, .sink = {.begin = begin, .step = step, .to = x, .wanted = &x->wanted}};
  lu_status bad = lu_capreader_feed(&reader, x->seen->in, &s->err);
  if (!bad)
    bad = lu_capreader_end(&reader, &s->err);
  return bad ? lu_fail_source(&s->err, bad, x->seen->path) : LU_OK;
}

/* --- words ------------------------------------------------------------------------------------------------ */

/* In hex; x for a digit that holds a bit which was not judged. */
static const char *hex(const scene *x, uint64_t value)
{
  char out[17];
  unsigned bits = x->r->evidence.network->data_bits, digits = (bits + 3) / 4;
  uint64_t all = bits >= 64 ? UINT64_MAX : ((uint64_t)1 << bits) - 1, unjudged = all & ~x->seen->judged;
  for (unsigned d = 0; d < digits; d++) {
    unsigned shift = 4 * (digits - 1 - d);
    out[d] = unjudged >> shift & 15 ? 'x' : "0123456789abcdef"[value >> shift & 15];
  }
  out[digits] = '\0';
  return lu_arena_printf(x->w->s->mem, "0x%s", out);
}

static const char *bit_names(const scene *x)
{
  const lu_network *n = x->r->evidence.network;
  const lu_vantage *v = &n->board->vantages[n->vantage];
  const char *text = NULL;
  for (uint64_t left = wrong_bits(x); left; left &= left - 1) {
    unsigned k = (unsigned)__builtin_ctzll(left);
    uint32_t net = k < v->data_bits ? v->data_net[k] : LU_NONE;
    text = lu_arena_printf(x->w->s->mem, "%s%s%s", text ? text : "", text ? ", " : "", net == LU_NONE ? "?" : n->board->nets[net].name);
  }
  return text;
}

static bool say(const scene *x, lu_page_wave *out)
{
  const lu_network *n = x->r->evidence.network;
  lu_arena *mem = x->w->s->mem;
  char from[48], to[48];
  lu_time_text(x->seen->begin, x->cap->tick_s, from, sizeof from);
  lu_time_text(x->seen->end, x->cap->tick_s, to, sizeof to);
  *out = (lu_page_wave){.block = x->r->name, .source = x->seen->path, .lines = x->names, .net = x->net_drawn ? x->net : NULL};
  out->when = lu_arena_printf(mem, "%s, where its strobe ends; it begins at %s", to, from);
  out->address = lu_arena_printf(mem, "0x%" PRIx64, (n->base_word + x->seen->word) * n->board->vantages[n->vantage].bytes);
  out->got = hex(x, x->seen->got);
  out->expected = hex(x, x->seen->expected);
  out->bits = bit_names(x);
  return out->when && out->address && out->got && out->expected && out->bits;
}

/* So many lengths of a cycle away from a moment; at the end of time, where that is nearer. */
static int64_t away(int64_t time, int64_t length, int times)
{
  int64_t out;
  return __builtin_add_overflow(time, length * times, &out) ? times < 0 ? INT64_MIN : INT64_MAX : out;
}

static lu_status draw(const scene *x, size_t number, lu_page_wave *out)
{
  lu_session *s = x->w->s;
  const lu_capture_seen *c = x->seen;
  int64_t length = 1, most = INT64_MAX / 64;
  if (c->end > c->begin && (__builtin_sub_overflow(c->end, c->begin, &length) || length > most))
    length = most;
  char *text = NULL;
  size_t len;
  lu_wave_style style = {.tick_s = x->cap->tick_s, .has_mark = true, .mark = c->end, .mark_label = "deciding cycle", .has_span = true, .span = c->begin,
                         .has_window = true, .from = away(c->begin, length, -AHEAD), .to = away(c->end, length, BEHIND),
                         .id = lu_arena_printf(s->mem, "wave%zu", number),
                         .title = lu_arena_printf(s->mem, "%s around the first wrong read of %s", c->path, x->r->name)};
  if (say(x, out))
    style.description = lu_arena_printf(s->mem, "Levels of %s. The deciding cycle is marked: %s; address %s, got %s, expected %s; wrong bits: %s.%s%s",
                                        x->names, out->when, out->address, out->got, out->expected, out->bits,
                                        out->net ? " The first suspect is " : "", out->net ? out->net : "");
  FILE *f = style.description && style.title && style.id ? open_memstream(&text, &len) : NULL;
  if (!f)
    return no_room(&s->err);
  lu_wave_svg(x->wave, &style, f);
  bool ok = fclose(f) == 0;
  out->svg = ok ? lu_arena_text(s->mem, text, strlen(text)) : NULL;
  free(text);
  return out->svg ? LU_OK : no_room(&s->err);
}

lu_status lu_page_fill_waves(lu_page_work *w)
{
  const lu_finding *f = w->page.finding;
  lu_page_wave *list = LU_NEW(w->s->mem, lu_page_wave, w->reading_count + 1);
  lu_status bad = list ? LU_OK : no_room(&w->s->err);
  for (size_t i = 0; !bad && !w->plain && f->suspect_count && i < w->reading_count; i++) {
    const lu_reading *r = &w->readings[i];
    if (!r->capture || !r->capture->wrong || r->evidence.network->board != w->s->board)
      continue;
    scene *x = LU_NEW(w->s->mem, scene, 1);
    if (!x)
      return no_room(&w->s->err);
    *x = (scene){.w = w, .r = r, .seen = r->capture, .net = f->suspects[0].net};
    bad = trace(x);
    if (!bad)
      bad = look(x);
    if (!bad && x->wave)
      bad = draw(x, w->page.wave_count + 1, &list[w->page.wave_count]);
    w->page.wave_count += !bad && x->wave;
  }
  w->page.waves = list;
  return bad;
}
