/* SPDX-License-Identifier: MIT */
#include "api/capturereading.h"

#include "api/capturehops.h"
#include "api/capturerule.h"
#include "api/doubt.h"
#include "formats/capform.h"
#include "formats/dumpform.h"
#include "formats/sigmap.h"
#include "reason/buslines.h"
#include "reason/cycles.h"

#include <string.h>

enum { WORDS_MOST = 1 << 24, READS_MOST = 1 << 24, LEVELS_MOST = 64 };

typedef struct read_seen {
  uint32_t word;
  uint64_t got, certain;      /* bits that had a level */
  int64_t begin, end;
} read_seen;

/* What stood in the block at some moment, as far as the capture tells. */
typedef struct contents {
  uint64_t *value, *certain;  /* by word */
  uint64_t *turn;             /* when it was written last; 0 never */
} contents;

/* Reads between two writes: they all saw the same contents. */
typedef struct stretch {
  read_seen *at;
  size_t count, room, judged; /* words of which something was known */
} stretch;

typedef struct watcher {
  lu_session *s;
  lu_reading *r;
  const lu_network *n;
  const char *path, *map_name;
  lu_sigmap *map;
  const lu_cap *cap;
  lu_cycles *cycles;
  const uint64_t *wanted;
  uint64_t mask, base, all;   /* of word addresses that the capture can tell apart */
  size_t words;
  bool rom;
  contents now, best_contents;
  stretch current, best;
  uint32_t *stamp, stretch_number; /* words judged in this stretch */
  uint64_t clock;
  /* Each word's last reading of known contents, whatever was written in between. */
  uint64_t *last_got, *last_known, *last_certain;
  size_t ever_judged;
  lu_capture_seen *seen;      /* wrong: by what was known at the moment of the read */
  uint64_t reads, writes, lost;
  lu_buslines *lines;              /* address, data: over the block's cycles; address: over all cycles */
  uint64_t all_reads, all_writes;  /* wherever they went */
  lu_capture_hops *hops;           /* NULL: no line is seen at two places */
  uint32_t strobes_seen;           /* a bit for each strobe with a cycle of the block */
  bool ended_read, ended_write;    /* in this step, a cycle of the block */
} watcher;

static lu_status no_room(watcher *w)
{
  return lu_fail(&w->s->err, LU_ERR_NOMEM, 0, 0, "no room for the capture's reading");
}

/* Text that a form surely knows. A raw memory image may begin with anything, and a table of numbers may be a dump. */
static bool looks_captured(lu_bytes in)
{
  enum { SURE = 60, LOOKED_AT = 65536 };
  lu_bytes head = {in.at, in.len < LOOKED_AT ? in.len : LOOKED_AT};
  const lu_capform *form = lu_capform_guess(head);
  if (!form || form->recognise(head) < SURE || lu_dumpform_guess(in) != &lu_dumpform_raw)
    return false;
  for (size_t i = 0; i < head.len; i++)
    if (head.at[i] == 0x7f || (head.at[i] < 0x20 && !memchr("\t\r\n\f", head.at[i], 4)))
      return false;
  return true;
}

bool lu_capturereading_is(lu_session *s, const char *path)
{
  lu_bytes in;
  lu_err before = s->err;
  size_t files = s->file_count;
  if (!strcmp(path, "-") || lu_session_file(s, path, &in)) {
    s->err = before;
    return false;
  }
  bool is = looks_captured(in);
  if (s->file_count > files && !s->kept)
    lu_file_close(&s->files[--s->file_count]); /* it is opened again by whoever reads it */
  return is;
}

/* --- stretches ------------------------------------------------------------------------------------------- */

static void copy_contents(watcher *w, contents *to, const contents *from)
{
  memcpy(to->value, from->value, w->words * sizeof *to->value);
  memcpy(to->certain, from->certain, w->words * sizeof *to->certain);
  memcpy(to->turn, from->turn, w->words * sizeof *to->turn);
}

/* Keeps the stretch that tells most: the later of equals. */
static void end_stretch(watcher *w)
{
  stretch *c = &w->current;
  bool none_known = !w->best.judged && !c->judged;
  if (c->count && (c->judged > w->best.judged || (c->judged == w->best.judged && !none_known) || (none_known && c->count >= w->best.count))) {
    stretch swap = w->best;
    w->best = *c;
    *c = swap;
    copy_contents(w, &w->best_contents, &w->now);
  }
  c->count = c->judged = 0;
  w->stretch_number++;
}

/* The first read that is wrong stays. */
static void judge_read(watcher *w, const read_seen *p, uint64_t expected, uint64_t judged)
{
  lu_capture_seen *x = w->seen;
  if (x->wrong || !((p->got ^ expected) & judged))
    return;
  x->wrong = true;
  x->begin = p->begin;
  x->end = p->end;
  x->word = p->word;
  x->got = p->got & judged;
  x->expected = expected & judged;
  x->judged = judged;
}

static lu_status see_read(watcher *w, size_t i, const lu_cycle *cycle, lu_err *err)
{
  uint64_t got = cycle->data, certain = ~cycle->data_unknown & cycle->lanes & w->all;
  stretch *c = &w->current;
  uint64_t known = w->now.certain[i] & certain;
  w->reads++;
  if (c->count == READS_MOST) {
    w->lost++;
    return LU_OK;
  }
  read_seen *p = lu_arena_grow(w->s->mem, c->at, c->count, &c->room, sizeof *p);
  if (!p)
    return lu_fail(err, LU_ERR_NOMEM, 0, 0, "no room for the capture's reads");
  c->at = p;
  p[c->count++] = (read_seen){(uint32_t)i, got & certain, certain, cycle->begin, cycle->end};
  if (!known)
    return LU_OK;
  judge_read(w, &p[c->count - 1], w->now.value[i], known);
  if (w->stamp[i] != w->stretch_number) {
    w->stamp[i] = w->stretch_number;
    c->judged++;
  }
  w->ever_judged += !w->last_certain[i];
  w->last_got[i] = got & known;
  w->last_known[i] = w->now.value[i] & known;
  w->last_certain[i] = known;
  return LU_OK;
}

static void see_write(watcher *w, size_t i, uint64_t value, uint64_t lanes, uint64_t certain)
{
  if (w->current.count)
    end_stretch(w);
  w->writes++;
  w->now.value[i] = (w->now.value[i] & ~lanes) | (value & certain & lanes);
  w->now.certain[i] = (w->now.certain[i] & ~lanes) | (certain & lanes);
  w->now.turn[i] = ++w->clock;
}

/* The strobe was active in an access of the block, and so were the levels that it asks for. */
static void see_levels(watcher *w, const lu_cycle *c, bool writes)
{
  const lu_sig_strobe *x = &w->map->strobes[c->strobe];
  if (c->strobe >= w->map->strobe_count || w->strobes_seen >> c->strobe & 1 || w->r->levels == NULL)
    return;
  w->strobes_seen |= UINT32_C(1) << c->strobe;
  for (size_t i = 0; i < x->when_count + (x->line_count == 1); i++) {
    const lu_sig_line *line = i < x->when_count ? &x->when[i] : &x->lines[0];
    for (uint32_t net = 0; net < w->s->board->net_count && w->r->level_count < LEVELS_MOST; net++)
      if (line->signal.name && !strcmp(w->s->board->nets[net].name, line->signal.name))
        w->r->levels[w->r->level_count++] = (lu_seen_level){net, line->active_high, writes ? LU_WRITE : LU_READ};
  }
}

static lu_status take_cycle(void *to, const lu_cycle *c, lu_err *err)
{
  watcher *w = to;
  bool reads = c->kind == LU_CYCLE_READ || c->kind == LU_CYCLE_READ_WRITE;
  bool writes = c->kind == LU_CYCLE_WRITE || c->kind == LU_CYCLE_LATE_WRITE || c->kind == LU_CYCLE_READ_WRITE;
  if (c->flags & LU_CYCLE_BEGUN_BEFORE)
    return LU_OK;
  if (c->address_unknown & w->mask) {
    if (writes && !w->rom) { /* it may have gone anywhere */
      end_stretch(w);
      memset(w->now.certain, 0, w->words * sizeof *w->now.certain);
    }
    return LU_OK;
  }
  w->all_reads += reads;
  w->all_writes += writes;
  lu_buslines_see(&w->lines[2], c->address, UINT64_MAX);
  uint64_t i = (c->address - w->base) & w->mask;
  if (i >= w->words)
    return LU_OK;
  if (reads != writes && !w->map->ras.signal.name)
    see_levels(w, c, writes);
  w->ended_read |= reads;
  w->ended_write |= writes;
  lu_buslines_see(&w->lines[0], c->address, UINT64_MAX);
  lu_buslines_see(&w->lines[1], c->data, ~c->data_unknown & w->all);
  lu_status bad = reads ? see_read(w, (size_t)i, c, err) : LU_OK;
  if (!bad && writes && !w->rom)
    see_write(w, (size_t)i, c->written, c->lanes & w->all, ~c->written_unknown & w->all);
  return bad;
}

/* --- signals ------------------------------------------------------------------------------------------------ */

static bool bound(watcher *w, const lu_sig_name *name)
{
  lu_bind b = {w->cap, w->map, NULL};
  lu_err ignored = {0};
  uint32_t homes[64];
  size_t count;
  return lu_bind_name(&b, name, homes, 64, &count, &ignored) == LU_OK;
}

/* Address lines above the block may be missing in the capture: it then is of this block. */
static void drop_upper_lines(watcher *w)
{
  lu_sig_bus *a = &w->map->address;
  size_t before = a->count;
  while (a->count > w->n->address_bits && !bound(w, &a->names[a->count - 1]))
    a->count--;
  if (a->count < before)
    lu_session_note(w->s, lu_arena_printf(w->s->mem, "%s has no line for the upper %zu address bits: all its cycles are taken to be of '%s'",
                                          w->path, before - a->count, w->r->name));
}

/* A strobe that the capture lacks: then there are no such cycles in it. At least one must be there. */
static void drop_strobes(watcher *w)
{
  lu_sigmap *m = w->map;
  bool keep[LU_SIG_STROBES_MOST];
  size_t kept = 0, to = 0;
  for (size_t i = 0; i < m->strobe_count; i++) {
    keep[i] = true;
    for (size_t k = 0; k < m->strobes[i].line_count; k++)
      keep[i] &= bound(w, &m->strobes[i].lines[k].signal);
    kept += keep[i];
  }
  for (size_t i = 0; kept && i < m->strobe_count; i++) {
    if (keep[i])
      m->strobes[to++] = m->strobes[i];
    else
      lu_session_note(w->s, lu_arena_printf(w->s->mem, "%s has no line for the strobe '%s': no such cycles are seen", w->path, m->strobes[i].name));
  }
  m->strobe_count = kept ? to : m->strobe_count;
}

static size_t bus_homes(watcher *w, const lu_sig_bus *bus, uint32_t *homes)
{
  lu_bind b = {w->cap, w->map, NULL};
  lu_err ignored = {0};
  size_t n = 0, got;
  for (size_t i = 0; i < bus->count && lu_bind_name(&b, &bus->names[i], homes + n, LU_SIG_BITS_MOST - n, &got, &ignored) == LU_OK; i++)
    n += got;
  return n;
}

static lu_status open_hops(watcher *w, const lu_bind *bind, lu_err *err)
{
  uint32_t address[LU_SIG_BITS_MOST], data[LU_SIG_BITS_MOST];
  size_t address_bits = bus_homes(w, &w->map->address, address), data_bits = bus_homes(w, &w->map->data, data);
  lu_status bad = lu_capture_hops_open(w->s, w->n, bind, address, address_bits, data, data_bits, &w->hops);
  if (bad && err != &w->s->err)
    *err = w->s->err;
  return bad;
}

static lu_status begin(void *to, const lu_cap *cap, lu_err *err)
{
  watcher *w = to;
  w->cap = cap;
  drop_upper_lines(w);
  drop_strobes(w);
  lu_bind bind = {cap, w->map, w->map_name};
  lu_status bad = lu_cycles_open(&bind, take_cycle, w, w->s->mem, &w->cycles, err);
  if (bad)
    return bad;
  unsigned bits = lu_cycles_address_bits(w->cycles), data = lu_cycles_data_bits(w->cycles);
  if (bits < w->n->address_bits || data != w->n->data_bits)
    return lu_fail(err, LU_ERR_VALUE, 0, 0, "the block '%s' has %u address and %u data bits, the capture's map %u and %u", w->r->name,
                   w->n->address_bits, w->n->data_bits, bits, data);
  w->mask = bits >= 64 ? UINT64_MAX : ((uint64_t)1 << bits) - 1;
  w->base = w->n->base_word & w->mask;
  w->lines[0].bits = w->n->address_bits;
  w->lines[1].bits = data;
  w->lines[2].bits = bits < 64 ? bits : 64;
  if (bits <= w->s->board->vantages[w->n->vantage].address_bits)
    w->r->seen[0].lines = &w->lines[2]; /* what the upper lines did tells more */
  w->wanted = lu_cycles_wanted(w->cycles);
  return open_hops(w, &bind, err);
}

static lu_status step(void *to, const lu_cap_step *st, lu_err *err)
{
  watcher *w = to;
  w->ended_read = w->ended_write = false;
  lu_status bad = lu_cycles_step(w->cycles, st, err);
  if (w->hops && (w->ended_read || w->ended_write))
    lu_capture_hops_see(w->hops, st, w->ended_read, w->ended_write);
  return bad;
}

static lu_status finish(void *to, int64_t time, lu_err *err)
{
  watcher *w = to;
  (void)time;
  (void)err;
  lu_cycles_end(w->cycles);
  end_stretch(w);
  return LU_OK;
}

static lu_status read_map(watcher *w, const char *file)
{
  lu_session *s = w->s;
  lu_bytes in;
  w->map = LU_NEW(s->mem, lu_sigmap, 1);
  if (!w->map)
    return no_room(w);
  w->map_name = file;
  lu_status bad = file ? lu_session_file(s, file, &in) : LU_OK;
  if (file && !bad)
    bad = lu_fail_source(&s->err, lu_sigmap_read(in, s->mem, &w->map, &s->err), file);
  return bad ? bad : lu_capture_map(s, w->n, w->map);
}

/* --- evidence ------------------------------------------------------------------------------------------------- */

static lu_status take_room(watcher *w)
{
  size_t n = w->words + 1;
  lu_arena *mem = w->s->mem;
  contents *both[] = {&w->now, &w->best_contents};
  for (int k = 0; k < 2; k++) {
    both[k]->value = LU_NEW(mem, uint64_t, n);
    both[k]->certain = LU_NEW(mem, uint64_t, n);
    both[k]->turn = LU_NEW(mem, uint64_t, n);
    if (!both[k]->value || !both[k]->certain || !both[k]->turn)
      return no_room(w);
  }
  w->stamp = LU_NEW(mem, uint32_t, n);
  w->last_got = LU_NEW(mem, uint64_t, n);
  w->last_known = LU_NEW(mem, uint64_t, n);
  w->last_certain = LU_NEW(mem, uint64_t, n);
  w->stretch_number = 1;
  w->lines = LU_NEW(mem, lu_buslines, 3);
  w->r->seen = LU_NEW(mem, lu_seen_bus, 2);
  w->r->levels = LU_NEW(mem, lu_seen_level, LEVELS_MOST);
  if (!w->lines || !w->r->seen || lu_doubt_begin(w->s, w->r))
    return no_room(w);
  const lu_vantage *v = &w->s->board->vantages[w->n->vantage];
  w->r->seen[0] = (lu_seen_bus){&w->lines[0], v->address_net};
  w->r->seen[1] = (lu_seen_bus){&w->lines[1], v->data_net};
  return w->stamp && w->last_got && w->last_known && w->last_certain ? LU_OK : no_room(w);
}

/* What was known before the capture began. */
static lu_status take_contents(watcher *w, const lu_reading_args *a)
{
  const char *what = a->expect ? a->expect : a->wrote;
  lu_words known;
  lu_status bad = what ? lu_session_contents(w->s, what, w->n, NULL, &known) : LU_OK;
  for (size_t i = 0; what && !bad && i < known.count && i < w->words; i++)
    if (lu_word_held(&known, i)) {
      w->now.value[i] = lu_word(&known, i);
      w->now.certain[i] = w->all;
      w->now.turn[i] = ++w->clock;
    }
  return bad;
}

static bool ascending(const watcher *w, const contents *c)
{
  uint64_t last = 0;
  for (size_t i = 0; i < w->words; i++) {
    if (!c->turn[i])
      continue;
    if (c->turn[i] < last)
      return false;
    last = c->turn[i];
  }
  return last > 0;
}

typedef struct answer {
  uint64_t *steady, *held, *known_held;
  char *got, *known;
  size_t count, known_count;
  unsigned bytes;
} answer;

static void put(const answer *x, char *at, size_t i, uint64_t v)
{
  memcpy(at + i * x->bytes, &v, x->bytes);
}

static void hold(answer *x, size_t i)
{
  uint64_t one = (uint64_t)1 << (i % 64);
  x->count += !(x->held[i / 64] & one);
  x->held[i / 64] |= one;
}

static void know(answer *x, size_t i, uint64_t value)
{
  put(x, x->known, i, value);
  x->known_held[i / 64] |= (uint64_t)1 << (i % 64);
  x->known_count++;
}

/* The stretch's reads. Bits that did not read the same each time are unsteady. */
static void from_stretch(watcher *w, answer *x, bool blind)
{
  const contents *c = &w->best_contents;
  for (size_t k = 0; k < w->best.count; k++) {
    const read_seen *p = &w->best.at[k];
    size_t i = p->word;
    if (!blind && (c->certain[i] & w->all) != w->all)
      continue;
    uint64_t before = x->steady[i], was = 0, fresh = p->certain & ~before;
    if (x->held[i / 64] >> (i % 64) & 1) {
      memcpy(&was, x->got + i * x->bytes, x->bytes);
      uint64_t differ = (was ^ p->got) & before & p->certain;
      w->r->unsteady_bits += (uint64_t)__builtin_popcountll(differ);
      x->steady[i] &= ~differ;
      continue;
    }
    hold(x, i);
    put(x, x->got, i, (was & ~fresh) | (p->got & fresh));
    x->steady[i] |= p->certain | ~w->all;
  }
  for (size_t i = 0; !blind && i < w->words; i++)
    if ((c->certain[i] & w->all) == w->all)
      know(x, i, c->value[i]);
}

/* Reads and writes took turns: each word by itself. */
static void from_turns(watcher *w, answer *x)
{
  for (size_t i = 0; i < w->words; i++) {
    if (!w->last_certain[i])
      continue;
    hold(x, i);
    put(x, x->got, i, w->last_got[i]);
    know(x, i, w->last_known[i]);
    x->steady[i] = w->last_certain[i] | ~w->all;
  }
}

static lu_status answer_room(watcher *w, answer *x)
{
  size_t n = w->words + 1;
  lu_arena *mem = w->s->mem;
  x->bytes = w->s->board->vantages[w->n->vantage].bytes;
  x->steady = LU_NEW(mem, uint64_t, n);
  x->held = LU_NEW(mem, uint64_t, n / 64 + 1);
  x->known_held = LU_NEW(mem, uint64_t, n / 64 + 1);
  x->got = lu_arena_array(mem, n, x->bytes);
  x->known = lu_arena_array(mem, n, x->bytes);
  w->r->passes = LU_NEW(mem, lu_words, 1);
  return x->steady && x->held && x->known_held && x->got && x->known && w->r->passes ? LU_OK : no_room(w);
}

/* --- lines at the probe -------------------------------------------------------------------------------------- */

/* A net as a suspect, with its pin at the vantage if that is known. */
static void suspect_net(watcher *w, uint32_t net, uint32_t pin, unsigned group, const char *why)
{
  lu_session *s = w->s;
  const char *settle = pin == LU_NONE ? NULL
                                      : lu_arena_printf(s->mem, "Look at the level of %s while it should move, then measure it against supply, "
                                                                "ground and its neighbours", s->board->pins[pin].name);
  lu_doubt_line(s, w->r, net, pin, group, why, settle);
}

/* ... of one bit of a bus at the vantage. */
static void suspect_line(watcher *w, const lu_buslines *b, unsigned k, unsigned group, const char *why)
{
  const lu_vantage *v = &w->s->board->vantages[w->n->vantage];
  bool data = b == &w->lines[1];
  suspect_net(w, (data ? v->data_net : v->address_net)[k], (data ? v->data_pin : v->address_pin)[k], group, why);
}

static const char *bit_name(const watcher *w, const lu_buslines *b, unsigned k)
{
  const lu_vantage *v = &w->s->board->vantages[w->n->vantage];
  uint32_t net = (b == &w->lines[1] ? v->data_net : v->address_net)[k];
  return net == LU_NONE ? "?" : w->s->board->nets[net].name;
}

/* Lines of one bus that stand still or go together: added to *text, and to the suspects. */
static void doubt_bus(watcher *w, const lu_buslines *b, const char **still_text, const char **twin_text)
{
  lu_arena *mem = w->s->mem;
  bool address = b == &w->lines[0];
  uint64_t still = lu_buslines_still(b, address);
  for (uint64_t left = still; left; left &= left - 1) {
    unsigned k = (unsigned)__builtin_ctzll(left);
    const char *level = b->high >> k & 1 ? "high" : "low", *name = bit_name(w, b, k);
    *still_text = lu_arena_printf(mem, "%s%s%s %s", *still_text ? *still_text : "", *still_text ? ", " : "", name, level);
    suspect_line(w, b, k, (unsigned)w->r->line_count,
                 lu_arena_printf(mem, "It stands %s in all %llu cycles while %s move", level, (unsigned long long)b->words,
                                 address ? "higher address lines" : "other data lines"));
  }
  for (unsigned k = 0; k < b->bits; k++) {
    int twin = lu_buslines_twin(b, k);
    if (twin < 0)
      continue;
    unsigned group = (unsigned)w->r->line_count;
    const char *names[2] = {bit_name(w, b, k), bit_name(w, b, (unsigned)twin)};
    *twin_text = lu_arena_printf(mem, "%s%s%s and %s", *twin_text ? *twin_text : "", *twin_text ? ", " : "", names[0], names[1]);
    for (int i = 0; i < 2; i++)
      suspect_line(w, b, i ? (unsigned)twin : k, group, lu_arena_printf(mem, "It always has the level of %s, in %llu cycles", names[!i], (unsigned long long)b->words));
  }
}

/* What a capture sees is what stands on the lines: a line that is held at a level there, or joined to another, makes no
 * word read wrong, the rest of the memory is just never met. Data lines tell only where what was written is known from
 * the same lines. That the program never used the other levels is taken as likely as a fault. (Common practice, no source.) */
static void doubt_lines(watcher *w, bool from_outside)
{
  lu_arena *mem = w->s->mem;
  const char *still[2] = {0}, *twins = NULL;
  doubt_bus(w, &w->lines[0], &still[0], &twins);
  if (!from_outside)
    doubt_bus(w, &w->lines[1], &still[1], &twins);
  unsigned long long cycles = w->reads + w->writes;
  if (still[0])
    lu_doubt_add(w->s, w->r, lu_arena_printf(mem, "address lines stand still in all %llu cycles while higher ones move: %s; measure whether they are held there, "
                                      "or whether the program never used the other level", cycles, still[0]));
  if (still[1])
    lu_doubt_add(w->s, w->r, lu_arena_printf(mem, "data lines stand still in all %llu cycles while others move: %s; what was written has them so as well, so no word "
                                      "reads wrong: measure whether they are held", cycles, still[1]));
  if (twins)
    lu_doubt_add(w->s, w->r, lu_arena_printf(mem, "lines always have each other's level: %s; measure whether they are joined", twins));
}

/* No cycle met the block: lines that stand at a level which none of its addresses has. */
static void doubt_absence(watcher *w)
{
  const lu_vantage *v = &w->s->board->vantages[w->n->vantage];
  const lu_buslines *b = &w->lines[2];
  uint64_t still = (b->high ^ b->low) & w->mask, last = w->base + w->words - 1, fixed = ~(w->base ^ last);
  const char *text = NULL;
  for (uint64_t left = still & fixed & (b->high ^ w->base); b->words && left; left &= left - 1) {
    unsigned k = (unsigned)__builtin_ctzll(left);
    if (w->base < last && k < 63 - (unsigned)__builtin_clzll(w->base ^ last))
      continue; /* the block has both levels of it */
    if (k >= v->address_bits)
      break;
    text = lu_arena_printf(w->s->mem, "%s%s%s %s", text ? text : "", text ? ", " : "", bit_name(w, b, k), b->high >> k & 1 ? "high" : "low");
    suspect_line(w, b, k, (unsigned)w->r->line_count,
                 lu_arena_printf(w->s->mem, "It stands at a level that no address of '%s' has, in all %llu cycles", w->r->name, (unsigned long long)b->words));
  }
  if (text)
    lu_doubt_add(w->s, w->r, lu_arena_printf(w->s->mem, "none of %llu cycles is of '%s', for address lines that stand still at a level none of its addresses has: %s; measure whether they "
                                            "are held, or whether the program never went there", (unsigned long long)b->words, w->r->name, text));
}

/* No read in the whole capture, or no write of a memory that is written: is that strobe held? */
static void doubt_strobes(watcher *w)
{
  bool reads = !w->all_reads, writes = !w->all_writes && !w->rom;
  const lu_board *b = w->s->board;
  const lu_sigmap *m = w->map;
  for (size_t i = 0; i < m->strobe_count; i++)
    for (size_t k = 0; (m->strobes[i].writes ? writes : reads) && k < m->strobes[i].line_count; k++)
      for (uint32_t net = 0; net < b->net_count; net++)
        if (!strcmp(b->nets[net].name, m->strobes[i].lines[k].signal.name)) {
          suspect_net(w, net, LU_NONE, (unsigned)w->r->line_count,
                      lu_arena_printf(w->s->mem, "It is the %s strobe, and there is no %s among %llu cycles", m->strobes[i].name,
                                      m->strobes[i].writes ? "write" : "read", (unsigned long long)(w->all_reads + w->all_writes)));
          lu_doubt_add(w->s, w->r, lu_arena_printf(w->s->mem, "the strobe %s is never active: measure whether it is held, or whether the program never used it", b->nets[net].name));
        }
}

static void doubt(watcher *w, bool from_outside)
{
  doubt_lines(w, from_outside);
  if (!w->reads && !w->writes)
    doubt_absence(w);
  doubt_strobes(w);
  lu_doubt_share(w->r);
}

/* The deciding read of a stretch is held against what the evidence says is in the memory, as the words are. */
static void decide(watcher *w)
{
  const lu_words *known = &w->r->evidence.known;
  w->seen->wrong = false;
  for (size_t k = 0; k < w->best.count && known->at; k++) {
    const read_seen *p = &w->best.at[k];
    if (p->word < known->count && lu_word_held(known, p->word))
      judge_read(w, p, lu_word(known, p->word), p->certain);
  }
}

static void say(watcher *w, bool turns, bool blind, const answer *x)
{
  const char *how = blind ? "nothing is known of what should have been read: give --expect, or capture the writes as well"
                    : turns ? "writes and reads took turns, so each word was judged by itself: address lines can hardly be told from this"
                    : w->r->evidence.know == LU_KNOW_WRITTEN ? "the words were written in ascending order before"
                                                             : "they were compared with what the capture or --expect says was there";
  lu_session_note(w->s, lu_arena_printf(w->s->mem, "%s: %llu reads and %llu writes of '%s'; %zu words of %zu count: %s", w->path,
                                        (unsigned long long)w->reads, (unsigned long long)w->writes, w->r->name, x->count, w->words, how));
  if (w->lost)
    lu_session_note(w->s, lu_arena_printf(w->s->mem, "%s: %llu reads were over the limit and left out", w->path, (unsigned long long)w->lost));
}

/* Makes the rule's contents what the memory should hold. */
static void take_rule(watcher *w, const lu_capture_rule *rule)
{
  w->r->evidence.known = rule->contents;
  w->r->evidence.know = LU_KNOW_WRITTEN;
  w->r->filled = rule->name;
}

/* A memory test in the capture: one whose filling came before the capture is recognised in what was read; in what was
 * written, bits that keep from the rule in the same places are lines that are held where the probe sits, of which the
 * words written and read say nothing. *exact: what was written is just as the test has it. */
static lu_status recognise(watcher *w, const answer *x, bool blind, bool turns, bool *exact)
{
  lu_reading *r = w->r;
  lu_arena *mem = w->s->mem;
  lu_capture_rule rule;
  lu_words seen = r->evidence.got;
  if (!blind) {
    seen = r->evidence.known;
    if (w->rom || turns || r->evidence.know != LU_KNOW_WRITTEN)
      return LU_OK;
  } else if (w->rom) {
    return LU_OK;
  }
  lu_status bad = lu_capture_rule_of(w->s, w->n, &seen, blind ? x->steady : NULL, &rule);
  if (bad || !rule.name)
    return bad;
  *exact = !blind && !rule.odd;
  bool held = !blind && rule.odd && __builtin_popcountll(rule.odd) <= LU_CAPTURE_RULE_ODD;
  if (blind || held)
    take_rule(w, &rule);
  if (blind || held || !rule.odd)
    lu_session_note(w->s, lu_arena_printf(mem, "%s: what was %s is the test '%s', in %zu of %zu words%s", w->path, blind ? "read" : "written", rule.name,
                                          rule.fit, rule.words,
                                          blind  ? ": taken as filled in ascending order before the capture"
                                          : held ? ": what was read is held against the test, as the same lines keep the others from it" : ""));
  return LU_OK;
}

static lu_status make_reading(watcher *w, const lu_reading_args *a)
{
  answer x = {0};
  lu_reading *r = w->r;
  bool exact = false, blind = !w->ever_judged, turns = !blind && w->best.judged * 2 < w->ever_judged;
  if (!w->reads)
    doubt(w, a->expect != NULL);
  if (!w->reads && !r->line_count && !r->between_count)
    return lu_fail(&w->s->err, LU_ERR_VALUE, 0, 0, "no read cycle of block '%s' in the capture (%llu writes)", r->name, (unsigned long long)w->writes);
  lu_status bad = answer_room(w, &x);
  if (bad)
    return bad;
  if (turns)
    from_turns(w, &x);
  else
    from_stretch(w, &x, blind);
  bool written = !turns && !blind && !a->expect && ascending(w, &w->best_contents);
  r->evidence.know = blind ? LU_KNOW_NOTHING : written ? LU_KNOW_WRITTEN : LU_KNOW_CONTENTS;
  lu_words *p = &r->passes[0];
  *p = (lu_words){.base = w->n->base_word, .count = w->words, .width = w->n->data_bits, .bytes = x.bytes, .at = x.got, .held_count = x.count};
  p->held = x.count == w->words ? NULL : x.held;
  r->pass_count = 1;
  r->evidence.got = *p;
  if (!blind) {
    r->evidence.known = *p;
    r->evidence.known.at = x.known;
    r->evidence.known.held = x.known_count == w->words ? NULL : x.known_held;
    r->evidence.known.held_count = x.known_count;
  }
  bad = recognise(w, &x, blind, turns, &exact);
  if (bad)
    return bad;
  if (!turns)
    decide(w);
  if (w->reads)
    doubt(w, a->expect != NULL || exact || r->filled);
  if (!x.count && !r->line_count && !r->between_count)
    return lu_fail(&w->s->err, LU_ERR_VALUE, 0, 0, "no word of block '%s' was read with a certain level and known as a whole", r->name);
  for (size_t i = 0; i < w->words && !r->evidence.steady; i++)
    if ((x.held[i / 64] >> (i % 64) & 1) && ~x.steady[i] & w->all)
      r->evidence.steady = x.steady;
  say(w, turns, blind && !r->filled, &x);
  return LU_OK;
}

static void take_notes(watcher *w, const lu_cap_notes *notes)
{
  for (size_t i = 0; i < notes->count; i++)
    lu_session_note(w->s, lu_arena_printf(w->s->mem, "%s:%u: %s", w->path, notes->at[i].line, notes->at[i].text));
}

lu_status lu_capturereading(lu_session *s, const lu_reading_args *a, const char *path, lu_reading *r)
{
  const lu_network *n = r->evidence.network;
  watcher w = {.s = s, .r = r, .n = n, .path = path, .words = (size_t)n->words};
  lu_bytes in;
  w.rom = n->block != LU_NONE && s->board->blocks[n->block].rom;
  w.all = n->data_bits >= 64 ? UINT64_MAX : ((uint64_t)1 << n->data_bits) - 1;
  if (n->words > WORDS_MOST)
    return lu_fail(&s->err, LU_ERR_LIMIT, 0, 0, "'%s' has over %d words: too many for a capture", r->name, WORDS_MOST);
  lu_status bad = read_map(&w, a->signals);
  w.seen = LU_NEW(s->mem, lu_capture_seen, 1);
  if (!bad)
    bad = w.seen ? take_room(&w) : no_room(&w);
  if (!bad)
    bad = take_contents(&w, a);
  if (!bad)
    bad = lu_session_file(s, path, &in);
  if (bad)
    return bad;
  *w.seen = (lu_capture_seen){.path = path, .in = in, .map = w.map};
  r->capture = w.seen;
  lu_capreader reader = {.mem = s->mem, .sink = {.begin = begin, .step = step, .end = finish, .to = &w, .wanted = &w.wanted}};
  bad = lu_capreader_feed(&reader, in, &s->err);
  if (!bad)
    bad = lu_capreader_end(&reader, &s->err);
  take_notes(&w, &reader.notes);
  if (!bad && w.hops)
    bad = lu_capture_hops_end(s, w.hops, r);
  if (!bad)
    bad = make_reading(&w, a);
  return bad ? lu_fail_source(&s->err, bad, path) : LU_OK;
}
