/* SPDX-License-Identifier: MIT */
#define _GNU_SOURCE
#include "cli/guess.h"

#include "base/text.h"
#include "reason/lines.h"

#include <ctype.h>
#include <inttypes.h>
#include <stdarg.h>
#include <stdlib.h>
#include <string.h>

enum { TRIES_MOST = 512, MEMORIES_MOST = 512, ADDRESS_LEAST = 6 };

/* A memory, and the bits of the vantage that reach it. */
typedef struct memory {
  uint32_t part;
  const lu_part_type *type;
  uint64_t address, data; /* bits of the vantage */
  unsigned address_pins;  /* that are reached */
  uint32_t select;        /* the net that tells its bank, or LU_NONE */
  bool used;
} memory;

typedef struct group {
  size_t count;
  memory *at[64];
  uint64_t data;
  uint64_t words, base;
  const char *name, *remark; /* remark: what was assumed, or NULL */
  bool whole;                /* its chips fill the data lines */
} group;

typedef struct eye {         /* a vantage to be */
  uint32_t part;
  const char *name;
  unsigned address_count, data_count, bytes;
  const char *address[64], *data[64];
  uint32_t address_net[64], data_net[64];
  bool big, rom_on_top;
} eye;

typedef struct guesser {
  lu_session *s;
  const lu_board *b;
  lu_guess *out;
  size_t assumed_room;
  memory memories[MEMORIES_MOST];
  size_t memory_count;
  const char *netlist, *layout;
} guesser;

static const char *assume(guesser *g, const char *format, ...) __attribute__((format(printf, 2, 3)));
static const char *assume(guesser *g, const char *format, ...)
{
  char text[400];
  va_list ap;
  va_start(ap, format);
  vsnprintf(text, sizeof text, format, ap);
  va_end(ap);
  lu_text_tidy(text); /* it stands in a comment of one line */
  lu_guess *o = g->out;
  const char *kept = lu_arena_text(g->s->mem, text, strlen(text));
  const char **p = lu_arena_grow(g->s->mem, (void *)(uintptr_t)o->assumed, o->assumed_count, &g->assumed_room, sizeof *p);
  if (!p || !kept)
    return "";
  o->assumed = p;
  p[o->assumed_count++] = kept;
  return kept;
}

/* --- memories ------------------------------------------------------------------------------------------- */

/* Roles from pin names: address, data and something that selects, enables or strobes. */
static const lu_part_type *by_functions(guesser *g, uint32_t part)
{
  const lu_part *p = &g->b->parts[part];
  const char *numbers[256], *functions[256];
  lu_part_type *t = NULL;
  bool control = false;
  if (p->type || p->pin_count > 256 || p->pin_count < ADDRESS_LEAST + 4)
    return NULL;
  for (uint32_t i = 0; i < p->pin_count; i++) {
    const lu_pin *q = &g->b->pins[g->b->part_pins[p->first_pin + i]];
    numbers[i] = q->number;
    functions[i] = q->function;
  }
  if (lu_memory_from_functions(p->ref, numbers, functions, p->pin_count, g->s->mem, &t, NULL))
    return NULL;
  for (uint16_t i = 0; i < t->pin_count; i++)
    control |= t->pins[i].role == LU_ROLE_SELECT || t->pins[i].role == LU_ROLE_RAS;
  return control && t->memory.address_pins >= ADDRESS_LEAST && t->memory.data_bits ? t : NULL;
}

static void find_memories(guesser *g)
{
  for (uint32_t i = 0; i < g->b->part_count && g->memory_count < MEMORIES_MOST; i++) {
    const lu_part_type *t = g->b->parts[i].type;
    bool known = t && t->memory.is_memory;
    if (!known)
      t = by_functions(g, i);
    if (!t)
      continue;
    if (!known)
      assume(g, "%s is taken for a memory, by the names of its pins", g->b->parts[i].ref);
    g->memories[g->memory_count++] = (memory){.part = i, .type = t, .select = LU_NONE};
  }
}

static const lu_part_pin *memory_pin(const lu_board *b, const memory *m, uint32_t pin)
{
  int i = lu_part_pin_by_number(m->type, b->pins[pin].number);
  return i < 0 ? NULL : &m->type->pins[i];
}

/* --- vantages ------------------------------------------------------------------------------------------- */

static void eye_bit(const lu_board *b, uint32_t pin, const char *name, const char **names, uint32_t *nets, unsigned bit)
{
  if (b->pins[pin].net == LU_NONE || b->nets[b->pins[pin].net].supply || b->nets[b->pins[pin].net].ground || bit > 63)
    return;
  if (!names[bit]) {
    names[bit] = name;
    nets[bit] = b->pins[pin].net;
  }
}

/* Bits without gaps: what is on no net is left out, the rest moves down. */
static unsigned close_up(const char **names, uint32_t *nets)
{
  unsigned n = 0;
  for (unsigned i = 0; i < 64; i++)
    if (names[i]) {
      names[n] = names[i];
      nets[n++] = nets[i];
    }
  return n;
}

static void look_from(guesser *g, uint32_t part, const lu_part_type *t, eye *e)
{
  const lu_part *p = &g->b->parts[part];
  memset(e, 0, sizeof *e);
  e->part = part;
  for (uint32_t i = 0; i < p->pin_count; i++) {
    uint32_t pin = g->b->part_pins[p->first_pin + i];
    int at = lu_part_pin_by_number(t, g->b->pins[pin].number), bit = -1;
    if (at < 0)
      continue;
    const lu_part_pin *q = &t->pins[at];
    if (lu_pin_address(q, &bit) && bit >= 0)
      eye_bit(g->b, pin, lu_arena_printf(g->s->mem, "A%d", bit), e->address, e->address_net, (unsigned)bit);
    if (q->role == LU_ROLE_DATA || q->role == LU_ROLE_DATA_OUT)
      eye_bit(g->b, pin, q->role == LU_ROLE_DATA && q->function[0] == 'A' ? lu_arena_printf(g->s->mem, "D%d", q->index) : q->function,
              e->data, e->data_net, (unsigned)q->index);
  }
  e->address_count = close_up(e->address, e->address_net);
  e->data_count = close_up(e->data, e->data_net);
  e->bytes = e->data_count <= 8 ? 1 : e->data_count <= 16 ? 2 : e->data_count <= 32 ? 4 : 8;
}

/* --- what a vantage reaches ----------------------------------------------------------------------------- */

static memory *memory_of(guesser *g, uint32_t part)
{
  for (size_t i = 0; i < g->memory_count; i++)
    if (g->memories[i].part == part)
      return &g->memories[i];
  return NULL;
}

static lu_status reach(guesser *g, const eye *e, lu_line_kind kind, unsigned bit, uint16_t *nearest)
{
  const lu_board *b = g->b;
  lu_trail *steps;
  size_t count;
  bool address = kind == LU_LINE_ADDRESS;
  lu_status bad = lu_lines_trail(b, address ? e->address_net[bit] : e->data_net[bit], kind, g->s->mem, &steps, &count, &g->s->err);
  for (size_t i = 0; !bad && i < count; i++) {
    const lu_net *n = &b->nets[steps[i].net];
    for (uint32_t j = 0; j < n->pin_count; j++) {
      uint32_t pin = b->net_pins[n->first_pin + j];
      memory *m = memory_of(g, b->pins[pin].part);
      const lu_part_pin *t = m ? memory_pin(b, m, pin) : NULL;
      if (!t)
        continue;
      if (address && t->role == LU_ROLE_ADDRESS)
        m->address |= (uint64_t)1 << bit;
      bool data = t->role == LU_ROLE_DATA || t->role == LU_ROLE_DATA_IN || t->role == LU_ROLE_DATA_OUT;
      if (!address && data && steps[i].depth < nearest[pin]) {
        nearest[pin] = steps[i].depth; /* the shortest way is the bit's own */
        m->data |= (uint64_t)1 << bit;
      }
    }
  }
  return bad;
}

static void find_select(guesser *g, memory *m)
{
  static const lu_pin_role roles[] = {LU_ROLE_SELECT, LU_ROLE_RAS, LU_ROLE_CAS};
  const lu_part *p = &g->b->parts[m->part];
  for (int r = 0; r < 3 && m->select == LU_NONE; r++)
    for (uint32_t i = 0; i < p->pin_count && m->select == LU_NONE; i++) {
      uint32_t pin = g->b->part_pins[p->first_pin + i], net = g->b->pins[pin].net;
      const lu_part_pin *t = memory_pin(g->b, m, pin);
      if (t && t->role == roles[r] && net != LU_NONE && !g->b->nets[net].supply && !g->b->nets[net].ground)
        m->select = net;
    }
}

static lu_status reach_all(guesser *g, const eye *e)
{
  lu_status bad = LU_OK;
  uint16_t *nearest = LU_NEW(g->s->mem, uint16_t, g->b->pin_count + 1);
  if (!nearest)
    return lu_fail(&g->s->err, LU_ERR_NOMEM, 0, 0, "no room");
  memset(nearest, 0xff, g->b->pin_count * sizeof *nearest);
  for (size_t i = 0; i < g->memory_count; i++)
    g->memories[i].address = g->memories[i].data = 0;
  for (unsigned i = 0; !bad && i < e->address_count; i++)
    bad = reach(g, e, LU_LINE_ADDRESS, i, nearest);
  for (unsigned i = 0; !bad && i < e->data_count; i++)
    bad = reach(g, e, LU_LINE_DATA, i, nearest);
  for (size_t i = 0; i < g->memory_count; i++)
    find_select(g, &g->memories[i]);
  return bad;
}

/* --- blocks --------------------------------------------------------------------------------------------- */

static bool fits(const group *k, const memory *m, bool same_select)
{
  const memory *first = k->at[0];
  return !m->used && m->data && m->address && !(m->data & k->data) && k->count < 64 && !strcmp(m->type->name, first->type->name) &&
         (!same_select || m->select == first->select);
}

static void take(group *k, memory *m)
{
  k->at[k->count++] = m;
  k->data |= m->data;
  m->used = true;
}

static void make_group(guesser *g, const eye *e, memory *first, group *k)
{
  uint64_t all = e->data_count >= 64 ? ~(uint64_t)0 : ((uint64_t)1 << e->data_count) - 1;
  *k = (group){0};
  take(k, first);
  for (int pass = 0; pass < 2; pass++) /* chips that one line selects first, then lanes with selects of their own */
    for (size_t i = 0; i < g->memory_count && k->data != all; i++)
      if (fits(k, &g->memories[i], pass == 0))
        take(k, &g->memories[i]);
  k->whole = k->data == all;
  const lu_memory_shape *m = &first->type->memory;
  unsigned bits = m->multiplexed ? (unsigned)(m->row_bits + m->column_bits) : m->address_pins;
  unsigned reached = (unsigned)__builtin_popcountll(first->address);
  k->words = (uint64_t)1 << (bits < reached ? bits : reached);
  k->name = lu_arena_printf(g->s->mem, "%s %s", m->rom ? "ROM" : "RAM", g->b->parts[first->part].ref);
}

/* --- the text ------------------------------------------------------------------------------------------- */

static void yaml_text(FILE *f, const char *text)
{
  bool plain = isalpha((unsigned char)text[0]) && strspn(text, "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789._-/") == strlen(text);
  if (plain) {
    fputs(text, f);
    return;
  }
  fputc('"', f);
  for (; *text; text++)
    if (*text == '"' || *text == '\\')
      fprintf(f, "\\%c", *text);
    else
      fprintf(f, (unsigned char)*text < 0x20 || *text == 0x7f ? "\\x%02x" : "%c", *text);
  fputc('"', f);
}

/* "A12": its letters' length and number. */
static bool numbered(const char *name, size_t *letters, unsigned long *number)
{
  size_t n = strcspn(name, "0123456789"), all = strlen(name);
  if (!n || n == all || strspn(name + n, "0123456789") != all - n || all - n > 3)
    return false;
  *letters = n;
  *number = strtoul(name + n, NULL, 10);
  return true;
}

static void yaml_bits(FILE *f, const char *const *names, unsigned count)
{
  fputc('[', f);
  for (unsigned i = 0; i < count;) {
    size_t letters, l2;
    unsigned long first, next;
    unsigned j = i + 1;
    if (numbered(names[i], &letters, &first))
      while (j < count && numbered(names[j], &l2, &next) && l2 == letters && !strncmp(names[i], names[j], letters) && next == first + (j - i))
        j++;
    fputs(i ? ", " : "", f);
    yaml_text(f, names[i]);
    if (j > i + 1)
      fprintf(f, "-%s", names[j - 1]);
    i = j;
  }
  fputc(']', f);
}

static void yaml_eye(const guesser *g, FILE *f, const eye *e)
{
  const lu_part *p = &g->b->parts[e->part];
  fputs("  ", f);
  yaml_text(f, e->name);
  fputs(":\n    at: ", f);
  yaml_text(f, p->ref);
  if (p->type)
    fprintf(f, "                   # %s", p->type->name);
  fputs("\n    address: ", f);
  yaml_bits(f, e->address, e->address_count);
  fputs("\n    data: ", f);
  yaml_bits(f, e->data, e->data_count);
  fputc('\n', f);
  if (e->bytes > 1)
    fprintf(f, "    byte_order: %s\n", e->big ? "big" : "little");
}

static void yaml_block(const guesser *g, FILE *f, const eye *e, const group *k, const char *lead)
{
  fprintf(f, "%s  - name: %s\n", lead, k->name);
  fprintf(f, "%s    seen_from: %s\n", lead, e->name);
  fprintf(f, "%s    base: 0x%" PRIX64 "\n", lead, k->base);
  fprintf(f, "%s    size: %" PRIu64 "\n", lead, k->words * e->bytes);
  fprintf(f, "%s    kind: %s\n", lead, k->at[0]->type->memory.rom ? "rom" : "ram");
  fprintf(f, "%s    chips: [", lead);
  for (size_t i = 0; i < k->count; i++) {
    fputs(i ? ", " : "", f);
    yaml_text(f, g->b->parts[k->at[i]->part].ref);
  }
  fprintf(f, "]          # %s\n", k->at[0]->type->name);
}

static void yaml_head(const guesser *g, FILE *f)
{
  fputs("netlist: ", f);
  yaml_text(f, g->netlist);
  fputc('\n', f);
  if (g->layout) {
    fputs("layout: ", f);
    yaml_text(f, g->layout);
    fputc('\n', f);
  }
}

static const char *stream_text(guesser *g, FILE *f, char **at, size_t *len)
{
  bool bad = fflush(f) || ferror(f);
  fclose(f);
  const char *kept = bad ? NULL : lu_arena_text(g->s->mem, *at, *len);
  free(*at);
  return kept;
}

/* --- where a block stands ------------------------------------------------------------------------------- */

/* A board of this one block. */
static lu_status small_board(guesser *g, const eye *e, const group *k, lu_board **out)
{
  char *at = NULL;
  size_t len = 0;
  FILE *f = open_memstream(&at, &len);
  if (!f)
    return lu_fail(&g->s->err, LU_ERR_NOMEM, 0, 0, "no room");
  fputs("vantages:\n", f);
  yaml_eye(g, f, e);
  fputs("memory:\n", f);
  yaml_block(g, f, e, k, "");
  const char *text = stream_text(g, f, &at, &len);
  lu_boardfile *file;
  if (!text)
    return lu_fail(&g->s->err, LU_ERR_NOMEM, 0, 0, "no room");
  lu_status bad = lu_boardfile_read((lu_bytes){(const uint8_t *)text, strlen(text)}, "guess", g->s->mem, &file, &g->s->err);
  return bad ? bad : lu_board_build(file, g->b->netlist, g->s->mem, out, &g->s->err);
}

typedef struct trial {
  size_t tries, good;  /* bases tried, and those that fit best */
  size_t loose;        /* control lines that could not be followed at the best ones */
  char why[240];       /* why the first that failed did */
} trial;

/* At every multiple of the size: would the chips answer there? */
static void try_bases(lu_board *b, uint64_t size, uint64_t space, group *k, trial *t)
{
  *t = (trial){.loose = SIZE_MAX};
  for (uint64_t base = 0; base < space && t->tries < TRIES_MOST; base += size, t->tries++) {
    lu_arena mem = {0};
    lu_network *n;
    lu_err err = {0};
    b->blocks[0].base = base;
    lu_status no = lu_network_build(b, 0, 0, &mem, &n, &err);
    if (no && !t->why[0])
      snprintf(t->why, sizeof t->why, "%.230s", err.message);
    if (!no && n->note_count < t->loose) {
      t->loose = n->note_count;
      t->good = 0;
      k->base = base;
    }
    t->good += !no && n->note_count == t->loose;
    lu_arena_free(&mem);
  }
}

static lu_status find_base(guesser *g, const eye *e, group *k, uint64_t *next_ram)
{
  lu_board *b;
  trial t;
  lu_status bad = small_board(g, e, k, &b);
  if (bad)
    return bad;
  uint64_t size = k->words * e->bytes, space = ((uint64_t)1 << (e->address_count > 40 ? 40 : e->address_count)) * e->bytes;
  bool rom = k->at[0]->type->memory.rom;
  try_bases(b, size, space, k, &t);
  if (!t.good) {
    k->base = 0;
    k->remark = assume(g, "%s: base 0; the lines do not fit at any address: %s", k->name, t.why);
  } else if (t.loose || (t.good == t.tries && t.tries > 1)) {
    k->base = rom ? (e->rom_on_top && space > size ? space - size : 0) : *next_ram;
    k->remark = assume(g, "%s: base 0x%" PRIX64 "; its selects could not be followed to the address lines", k->name, k->base);
  } else if (t.good > 1) {
    k->remark = assume(g, "%s: it answers at %zu addresses; the lowest is taken", k->name, t.good);
  }
  if (k->base + size > *next_ram)
    *next_ram = k->base + size;
  return LU_OK;
}

/* --- the whole ------------------------------------------------------------------------------------------ */

static const char *lack(const memory *m)
{
  return m->used                   ? NULL
         : !m->data && !m->address ? "no address or data line reaches them"
         : !m->address             ? "no address line reaches them"
                                   : "no data line reaches them";
}

/* Memories that stand in no block, told together when they lack the same. */
static void unreached(guesser *g, FILE *f)
{
  for (size_t i = 0; i < g->memory_count; i++) {
    const char *why = lack(&g->memories[i]), *list = "";
    for (size_t j = i; why && list && j < g->memory_count; j++)
      if (lack(&g->memories[j]) == why && g->memories[j].type == g->memories[i].type) {
        list = lu_arena_printf(g->s->mem, "%s%s%s", list, j > i ? ", " : "", g->b->parts[g->memories[j].part].ref);
        g->memories[j].used = true;
      }
    if (why && list)
      fprintf(f, "# assumed: %s\n", assume(g, "%s (%s) in no block, %s; say under parts what passes through the chips between", list,
                                           g->memories[i].type->name, why));
  }
}

static void unknown_parts(guesser *g, FILE *f)
{
  enum { PINS_LEAST = 14 };
  const char *list = "";
  for (size_t i = 0; i < g->b->part_count && list; i++) {
    const lu_part *p = &g->b->parts[i];
    memory *m = memory_of(g, (uint32_t)i);
    if (!p->type && !m && p->pin_count >= PINS_LEAST)
      list = lu_arena_printf(g->s->mem, "%s%s%s", list, list[0] ? ", " : "", p->ref);
  }
  if (list && list[0])
    fprintf(f, "# assumed: %s\n", assume(g, "nothing goes through %s: their types are not known", list));
}

static lu_status write_blocks(guesser *g, FILE *f, const eye *e, bool *first)
{
  uint64_t next_ram = 0;
  lu_status bad = LU_OK;
  for (size_t i = 0; !bad && i < g->memory_count; i++) {
    memory *m = &g->memories[i];
    if (m->used || !m->data || !m->address)
      continue;
    group k;
    make_group(g, e, m, &k);
    if (k.whole && (bad = find_base(g, e, &k, &next_ram)))
      return bad;
    if (!k.whole)
      k.remark = assume(g, "%s: its chips fill only %d of %u data lines; left out", k.name, __builtin_popcountll(k.data), e->data_count);
    if (*first)
      fputs("memory:\n", f);
    *first = false;
    if (k.remark)
      fprintf(f, "  # assumed: %s\n", k.remark);
    yaml_block(g, f, e, &k, k.whole ? "" : "#");
    g->out->block_count += k.whole;
  }
  return bad;
}

static lu_status write_all(guesser *g, FILE *f, eye *eyes, size_t count)
{
  bool first = true;
  lu_status bad = LU_OK;
  fprintf(f, "# A first board file, guessed from a netlist by lineup " LU_VERSION ". Look at each line marked assumed.\n");
  yaml_head(g, f);
  fprintf(f, "# assumed: %s\n# sockets: [U1, U2]\n", assume(g, "no part sits in a socket; name those that do under sockets"));
  unknown_parts(g, f);
  fputs("vantages:\n", f);
  for (size_t i = 0; i < count; i++)
    yaml_eye(g, f, &eyes[i]);
  for (size_t i = 0; !bad && i < count; i++) {
    if ((bad = reach_all(g, &eyes[i])))
      return bad;
    bad = write_blocks(g, f, &eyes[i], &first);
  }
  unreached(g, f);
  return bad;
}

static size_t find_eyes(guesser *g, eye *eyes, size_t most)
{
  size_t n = 0;
  for (uint32_t i = 0; i < g->b->part_count && n < most; i++) {
    const lu_part_type *t = g->b->parts[i].type;
    if (!t || t->kind != LU_PART_PROCESSOR)
      continue;
    eye *e = &eyes[n];
    look_from(g, i, t, e);
    if (!e->address_count || !e->data_count)
      continue;
    e->name = n ? lu_arena_printf(g->s->mem, "cpu%zu", n + 1) : "cpu";
    e->big = !strncmp(t->name, "68", 2);
    e->rom_on_top = !strncmp(t->name, "65", 2) || !strcmp(t->name, "6809") || !strncmp(t->name, "80", 2);
    n++;
  }
  if (n)
    return n;
  const memory *best = NULL;
  for (size_t i = 0; i < g->memory_count; i++)
    if (!g->memories[i].type->memory.multiplexed && (!best || (g->memories[i].type->memory.rom && !best->type->memory.rom)))
      best = &g->memories[i];
  if (!best)
    return 0;
  look_from(g, best->part, best->type, &eyes[0]);
  eyes[0].name = "socket";
  assume(g, "no processor is known here: memory is read from the place of %s", g->b->parts[best->part].ref);
  return eyes[0].address_count && eyes[0].data_count;
}

/* A path as it must stand in a board file at output: the name alone in the same folder, else from the root. */
static const char *from_there(lu_session *s, const char *path, const char *output)
{
  const char *a = strrchr(path, '/'), *b = output && strcmp(output, "-") ? strrchr(output, '/') : NULL;
  size_t in = a ? (size_t)(a - path) + 1 : 0, to = b ? (size_t)(b - output) + 1 : 0;
  if (!output || !strcmp(output, "-") || (!to && !in))
    return path;
  if (in == to && !strncmp(path, output, in))
    return path + in;
  if (!to || path[0] == '/')
    return path;
  char *real = realpath(path, NULL);
  const char *kept = real ? lu_arena_text(s->mem, real, strlen(real)) : path;
  free(real);
  return kept ? kept : path;
}

lu_status lu_guess_board(lu_session *s, const char *netlist, const char *layout, const char *output, lu_guess *out)
{
  lu_boardfile *file = LU_NEW(s->mem, lu_boardfile, 1);
  guesser *g = LU_NEW(s->mem, guesser, 1);
  if (!file || !g)
    return lu_fail(&s->err, LU_ERR_NOMEM, 0, 0, "no room");
  *out = (lu_guess){0};
  file->path = netlist;
  file->netlist.text = netlist;
  file->layout.text = layout;
  lu_status bad = lu_session_load(s, file, "");
  if (bad)
    return bad;
  *g = (guesser){.s = s, .b = s->board, .out = out, .netlist = from_there(s, netlist, output)};
  g->layout = layout ? from_there(s, layout, output) : NULL;
  find_memories(g);
  static const size_t eyes_most = 8;
  eye *eyes = LU_NEW(s->mem, eye, eyes_most);
  size_t count = eyes ? find_eyes(g, eyes, eyes_most) : 0;
  if (!count)
    return lu_fail_source(&s->err, lu_fail(&s->err, LU_ERR_MISSING, 0, 0, "no processor and no memory is known in this netlist: expected parts with a value "
                                           "such as 68000 or 62256, or with pin names such as A0 and D0"), netlist);
  char *at = NULL;
  size_t len = 0;
  FILE *f = open_memstream(&at, &len);
  if (!f)
    return lu_fail(&s->err, LU_ERR_NOMEM, 0, 0, "no room");
  bad = write_all(g, f, eyes, count);
  out->vantage_count = count;
  out->yaml = stream_text(g, f, &at, &len);
  return bad ? bad : out->yaml ? LU_OK : lu_fail(&s->err, LU_ERR_NOMEM, 0, 0, "no room");
}
