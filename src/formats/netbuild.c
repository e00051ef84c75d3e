/* SPDX-License-Identifier: MIT */
#include "formats/netbuild.h"

#include <stdarg.h>
#include <stdio.h>
#include <string.h>

enum { PIECE = 1024, UNITS = 8192, SHORT = 8 };

bool lu_pile_more(lu_pile *pile, lu_arena *mem)
{
  unsigned k = 31 - (unsigned)__builtin_clz((pile->room >> 10) + 1);
  if (k >= LU_PILE_PIECES)
    return false;
  if (!pile->piece[k])
    pile->piece[k] = lu_arena_big(mem, ((size_t)PIECE << k) * pile->size);
  if (!pile->piece[k])
    return false;
  pile->room += (uint32_t)PIECE << k;
  return true;
}

static uint64_t mix(uint64_t x)
{
  x ^= x >> 32;
  x *= 0x9e3779b97f4a7c15u;
  x ^= x >> 29;
  x *= 0xbf58476d1ce4e5b9u;
  return x ^ x >> 32;
}

uint32_t *lu_keymap_find(const lu_keymap *map, uint64_t key)
{
  if (!map->room)
    return NULL;
  for (size_t i = mix(key) & (map->room - 1);; i = (i + 1) & (map->room - 1)) {
    if (map->slots[i].key == key)
      return &map->slots[i].value;
    if (!map->slots[i].key)
      return NULL;
  }
}

static bool keymap_grow(lu_keymap *map, lu_arena *mem)
{
  size_t room = map->room ? map->room * 2 : 64;
  struct lu_keyslot *slots = LU_NEW(mem, struct lu_keyslot, room);
  if (!slots)
    return false;
  for (size_t i = 0; i < map->room; i++) {
    if (!map->slots[i].key)
      continue;
    size_t j = mix(map->slots[i].key) & (room - 1);
    while (slots[j].key)
      j = (j + 1) & (room - 1);
    slots[j] = map->slots[i];
  }
  map->slots = slots;
  map->room = room;
  return true;
}

uint32_t *lu_keymap_put(lu_keymap *map, lu_arena *mem, uint64_t key)
{
  if (map->count * 2 >= map->room && !keymap_grow(map, mem))
    return NULL;
  size_t i = mix(key) & (map->room - 1);
  while (map->slots[i].key && map->slots[i].key != key)
    i = (i + 1) & (map->room - 1);
  if (!map->slots[i].key) {
    map->slots[i] = (struct lu_keyslot){key, LU_NONE, LU_NONE};
    map->count++;
  }
  return &map->slots[i].value;
}

lu_status lu_netbuild_fail(lu_netbuild *b, lu_status status, const void *at, const char *format,
                           ...)
{
  char text[sizeof b->err->message];
  va_list ap;
  va_start(ap, format);
  vsnprintf(text, sizeof text, format, ap);
  va_end(ap);
  size_t offset = at ? (size_t)((const uint8_t *)at - b->in.at) : 0;
  return lu_fail_at(b->err, status, (const char *)b->in.at, b->in.len, offset, "%s", text);
}

lu_status lu_netbuild_nomem(lu_netbuild *b)
{
  return lu_fail(b->err, LU_ERR_NOMEM, 0, 0, "no room for the netlist");
}

lu_status lu_netbuild_begin(lu_netbuild *b, const char *format, lu_bytes in, lu_arena *mem,
                            lu_err *err)
{
  *b = (lu_netbuild){.in = in, .mem = mem, .err = err, .format = format};
  b->name_most = LU_NETNAME_MOST;
  b->work = (lu_arena){.max = mem->max, .fail_from = mem->fail_from};
  b->parts.size = sizeof(lu_net_part);
  b->nets.size = sizeof(uint32_t);
  b->pins.size = sizeof(lu_rawpin);
  b->loadable = in.len >= SHORT ? in.len - SHORT + 1 : 0;
  if (in.len >= UINT32_MAX)
    return lu_fail(err, LU_ERR_LIMIT, 0, 0, "%zu bytes, a netlist may have 4 GiB at most", in.len);
  return LU_OK;
}

/* Eight bytes at a time; the length goes in first, so padding cannot make two names equal. */
static uint32_t hash_of(const char *text, size_t len)
{
  uint64_t h = len * 0x9e3779b97f4a7c15u, w;
  for (; len >= 8; text += 8, len -= 8) {
    memcpy(&w, text, 8);
    h = (h ^ w) * 0xd6e8feb86659fd93u;
    h ^= h >> 32;
  }
  if (len >= 4) {
    uint32_t lo, hi;
    memcpy(&lo, text, 4);
    memcpy(&hi, text + len - 4, 4);
    h ^= (uint64_t)hi << 32 | lo;
  } else if (len) {
    h ^= (uint64_t)(uint8_t)text[0] << 16 | (uint64_t)(uint8_t)text[len / 2] << 8 |
         (uint8_t)text[len - 1];
  }
  h *= 0xd6e8feb86659fd93u;
  h ^= h >> 32;
  h *= 0xd6e8feb86659fd93u;
  return (uint32_t)(h >> 32);
}

/* Four slots of five may be taken: the smaller table misses the cache less often. */
static bool names_full(const lu_netbuild *b)
{
  return b->slot_count + b->slot_count / 4 >= b->slot_room;
}

/* Where a table begins: large files have many names, and growing would move them again and again. */
static size_t first_room(const lu_netbuild *b, size_t bytes_a_name)
{
  size_t room = 1024;
  while (room < ((size_t)1 << 20) && room * 2 * bytes_a_name <= b->in.len)
    room *= 2;
  return room;
}

static bool names_grow(lu_netbuild *b)
{
  size_t room = b->slot_room ? b->slot_room * 2 : first_room(b, 300);
  struct lu_nameslot *slots = lu_arena_big(&b->work, room * sizeof *slots);
  if (!slots)
    return false;
  for (size_t i = 0; i < b->slot_room; i++) {
    if (!b->slots[i].atom)
      continue;
    size_t j = b->slots[i].hash & (room - 1);
    while (slots[j].atom)
      j = (j + 1) & (room - 1);
    slots[j] = b->slots[i];
  }
  b->slots = slots;
  b->slot_room = room;
  return true;
}

/* Room for a record of so many units of eight bytes in one piece; LU_NONE if refused. */
static uint32_t pool_take(lu_netbuild *b, uint32_t units)
{
  for (;;) {
    unsigned k = 31 - (unsigned)__builtin_clz((b->pool_at / UNITS) + 1);
    uint32_t end = (((uint32_t)2 << k) - 1) * UNITS;
    if (k + 1 >= sizeof b->pool / sizeof *b->pool)
      return LU_NONE;
    if (end - b->pool_at < units) {
      b->pool_at = end;
      continue;
    }
    if (!b->pool[k])
      b->pool[k] = lu_arena_big(b->mem, ((size_t)UNITS << k) * 8);
    if (!b->pool[k])
      return LU_NONE;
    b->pool_at += units;
    return b->pool_at - units;
  }
}

static lu_atom *atom_of(const lu_netbuild *b, uint32_t atom)
{
  unsigned k = 31 - (unsigned)__builtin_clz((atom / UNITS) + 1);
  return (lu_atom *)(void *)(b->pool[k] + (atom - (((uint32_t)1 << k) - 1) * UNITS));
}

static lu_status atom_new(lu_netbuild *b, const char *text, size_t len, const void *place,
                          uint32_t *atom)
{
  if (len > b->name_most)
    return lu_netbuild_fail(b, LU_ERR_LIMIT, place,
                            "expected a name of at most %zu bytes, found %zu", b->name_most, len);
  if (memchr(text, 0, len))
    return lu_netbuild_fail(b, LU_ERR_SYNTAX, place, "expected a name, found a NUL byte in it");
  uint32_t index = pool_take(b, (uint32_t)((sizeof(lu_atom) + len + 8) / 8));
  if (index == LU_NONE)
    return lu_netbuild_nomem(b);
  lu_atom *a = atom_of(b, index);
  *a = (lu_atom){.len = (uint32_t)len, .part = LU_NONE, .net = LU_NONE, .mark_at = LU_NONE};
  if (len)
    memcpy(a->text, text, len);
  a->text[len] = 0;
  *atom = index;
  return LU_OK;
}

static lu_status long_atom(lu_netbuild *b, const char *text, size_t len, const void *place,
                           uint32_t *atom)
{
  if (names_full(b) && !names_grow(b))
    return lu_netbuild_nomem(b);
  uint32_t hash = hash_of(text, len);
  size_t i = hash & (b->slot_room - 1);
  for (; b->slots[i].atom; i = (i + 1) & (b->slot_room - 1)) {
    if (b->slots[i].hash != hash)
      continue;
    const lu_atom *a = lu_netbuild_atom_at(b, b->slots[i].atom - 1);
    if (a->len == len && !memcmp(a->text, text, len)) {
      *atom = b->slots[i].atom - 1;
      return LU_OK;
    }
  }
  lu_status s = atom_new(b, text, len, place, atom);
  if (!s) {
    b->slots[i] = (struct lu_nameslot){hash, *atom + 1};
    b->slot_count++;
  }
  return s;
}

/* ---- names of one to eight bytes ---- */

#define EACH_BYTE(x) ((uint64_t)0x0101010101010101u * (x))

/* The bytes of text[len] and zeros behind them; 0 if there is a NUL among them. */
static uint64_t key_of(const lu_netbuild *b, const char *text, size_t len)
{
#if __BYTE_ORDER__ == __ORDER_LITTLE_ENDIAN__
  uint64_t key = 0, name = ~(uint64_t)0 >> (64 - 8 * len);
#else
  uint64_t key = 0, name = ~(uint64_t)0 << (64 - 8 * len);
#endif
  if ((uintptr_t)text - (uintptr_t)b->in.at < b->loadable)
    memcpy(&key, text, SHORT); /* it lies in the input: one load and no loop */
  else
    memcpy(&key, text, len);
  key &= name;
  uint64_t filled = key | ~name;
  return (filled - EACH_BYTE(1)) & ~filled & EACH_BYTE(0x80) ? 0 : key;
}

static uint64_t low_key(uint64_t key)
{
  uint64_t seven = key & EACH_BYTE(0x7f);
  uint64_t from_a = seven + EACH_BYTE(0x80 - 'A'), past_z = seven + EACH_BYTE(0x7f - 'Z');
  return key | ((from_a ^ past_z) & ~key & EACH_BYTE(0x80)) >> 2;
}

static size_t key_home(const lu_keys *keys, uint64_t key)
{
  return (size_t)(((key ^ key >> 32) * 0x9e3779b97f4a7c15u) >> keys->shift);
}

/* The slot of the key, or the empty one where it belongs. */
static struct lu_keyslot *key_slot(const lu_keys *keys, uint64_t key)
{
  size_t i = key_home(keys, key);
  while (keys->slots[i].key && keys->slots[i].key != key)
    i = (i + 1) & (keys->room - 1);
  return &keys->slots[i];
}

static bool keys_grow(lu_keys *keys, lu_arena *mem, size_t first)
{
  lu_keys old = *keys;
  size_t room = old.room ? old.room * 2 : first;
  struct lu_keyslot *slots = lu_arena_big(mem, room * sizeof *slots);
  if (!slots)
    return false;
  *keys = (lu_keys){slots, old.count, room, (unsigned)__builtin_clzll(room) + 1};
  for (size_t i = 0; i < old.room; i++)
    if (old.slots[i].key)
      *key_slot(keys, old.slots[i].key) = old.slots[i];
  return true;
}

/* The value's place, with key 0 in its slot when it is new: whoever fills it counts it. NULL when
 * memory is refused. */
static struct lu_keyslot *keys_want(lu_netbuild *b, lu_keys *keys, uint64_t key)
{
  if (keys->count + keys->count / 2 >= keys->room &&
      !keys_grow(keys, &b->work, keys == &b->short_names ? 1024 : first_room(b, 400)))
    return NULL;
  return key_slot(keys, key);
}

static lu_status short_atom(lu_netbuild *b, lu_keys *names, uint64_t key, size_t len,
                            const void *place, uint32_t *atom, uint32_t **tag)
{
  struct lu_keyslot *slot = keys_want(b, names, key);
  if (!slot)
    return lu_netbuild_nomem(b);
  *tag = &slot->tag;
  if (slot->key) {
    *atom = slot->value;
    return LU_OK;
  }
  char text[SHORT];
  memcpy(text, &key, SHORT);
  lu_status s = atom_new(b, text, len, place, atom);
  if (s)
    return s;
  *slot = (struct lu_keyslot){key, *atom, LU_NONE};
  names->count++;
  return LU_OK;
}

/* ---- names of any length ---- */

lu_status lu_netbuild_atom(lu_netbuild *b, const char *text, size_t len, const void *place,
                           uint32_t *atom)
{
  uint32_t *tag;
  uint64_t key = len - 1 < SHORT ? key_of(b, text, len) : 0;
  return key ? short_atom(b, &b->short_names, key, len, place, atom, &tag)
             : long_atom(b, text, len, place, atom);
}

lu_status lu_netbuild_atom_low_in(lu_netbuild *b, lu_keys *names, const char *text, size_t len,
                                  const void *place, uint32_t *atom, uint32_t **tag)
{
  uint64_t key = len - 1 < SHORT ? key_of(b, text, len) : 0;
  if (key)
    return short_atom(b, names, low_key(key), len, place, atom, tag);
  char low[LU_NETNAME_MOST];
  if (len > sizeof low)
    return long_atom(b, text, len, place, atom); /* says that it is too long */
  for (size_t i = 0; i < len; i++)
    low[i] = text[i] >= 'A' && text[i] <= 'Z' ? (char)(text[i] | 0x20) : text[i];
  lu_status s = long_atom(b, low, len, place, atom);
  if (!s)
    *tag = &atom_of(b, *atom)->mark_at;
  return s;
}

/* ---- parts ---- */

static lu_status part_new(lu_netbuild *b, const lu_atom *name, uint32_t *part)
{
  lu_net_part *p = lu_pile_add(&b->parts, &b->work);
  if (!p)
    return lu_netbuild_nomem(b);
  *p = (lu_net_part){.ref = name->text};
  *part = b->parts.count - 1;
  return LU_OK;
}

static lu_status long_part(lu_netbuild *b, const char *text, size_t len, const void *place,
                           uint32_t *part)
{
  uint32_t atom;
  lu_status s = long_atom(b, text, len, place, &atom);
  lu_atom *a = s ? NULL : atom_of(b, atom);
  if (a && a->part == LU_NONE)
    s = part_new(b, a, &a->part);
  if (a)
    *part = a->part;
  return s;
}

lu_status lu_netbuild_part_of(lu_netbuild *b, const char *text, size_t len, const void *place,
                              uint32_t *part)
{
  uint64_t key = len - 1 < SHORT ? key_of(b, text, len) : 0;
  if (!key)
    return long_part(b, text, len, place, part);
  struct lu_keyslot *slot = keys_want(b, &b->short_refs, key);
  if (!slot)
    return lu_netbuild_nomem(b);
  if (slot->key) {
    *part = slot->value;
    return LU_OK;
  }
  uint32_t atom;
  lu_status s = atom_new(b, text, len, place, &atom);
  if (!s)
    s = part_new(b, atom_of(b, atom), part);
  if (s)
    return s;
  *slot = (struct lu_keyslot){key, *part, LU_NONE};
  b->short_refs.count++;
  return LU_OK;
}

uint32_t lu_netbuild_part(lu_netbuild *b, uint32_t atom)
{
  lu_atom *a = atom_of(b, atom);
  if (a->part == LU_NONE && lu_netbuild_part_of(b, a->text, a->len, b->in.at, &a->part))
    return LU_NONE;
  return a->part;
}

bool lu_netbuild_is_part(const lu_netbuild *b, uint32_t atom)
{
  const lu_atom *a = lu_netbuild_atom_at(b, atom);
  return a->part != LU_NONE ||
         (a->len && a->len <= SHORT && b->short_refs.room &&
          key_slot(&b->short_refs, key_of(b, a->text, a->len))->key);
}

/* Always inlined: gcc 12 takes a function that does nothing but prefetch for one without effect. */
__attribute__((always_inline)) static inline void fetch(const lu_keys *keys, uint64_t key)
{
  if (key && keys->room)
    __builtin_prefetch(&keys->slots[key_home(keys, key)]);
}

void lu_netbuild_part_soon(const lu_netbuild *b, const char *text, size_t len)
{
  if (len - 1 < SHORT)
    fetch(&b->short_refs, key_of(b, text, len));
}

void lu_netbuild_low_soon(const lu_netbuild *b, const lu_keys *names, const char *text, size_t len)
{
  if (len - 1 < SHORT)
    fetch(names, low_key(key_of(b, text, len)));
}

uint32_t lu_netbuild_net(lu_netbuild *b, uint32_t atom)
{
  lu_atom *a = atom_of(b, atom);
  if (a->net != LU_NONE)
    return a->net;
  uint32_t *n = lu_pile_add(&b->nets, &b->work);
  if (!n)
    return LU_NONE;
  *n = atom;
  return a->net = b->nets.count - 1;
}

bool lu_netbuild_pin(lu_netbuild *b, uint32_t part, uint32_t net, uint32_t number,
                     uint32_t function, const void *place)
{
  lu_rawpin *p = lu_pile_add(&b->pins, &b->work);
  if (!p)
    return false;
  *p = (lu_rawpin){part, net, number, function,
                   (uint32_t)((const uint8_t *)place - b->in.at)};
  return true;
}

static uint32_t line_of(const lu_netbuild *b, const void *place)
{
  uint32_t line = 1;
  const char *at = (const char *)b->in.at, *end = place;
  while (at < end && (at = memchr(at, '\n', (size_t)(end - at)))) {
    at++;
    line++;
  }
  return line;
}

lu_status lu_netbuild_note(lu_netbuild *b, const void *place, const char *format, ...)
{
  char text[400];
  int n = 0;
  va_list ap;
  if (b->note_count >= LU_NETNOTES_MOST) {
    b->notes_lost++;
    return LU_OK;
  }
  if (place)
    n = snprintf(text, sizeof text, "line %u: ", line_of(b, place));
  va_start(ap, format);
  vsnprintf(text + n, sizeof text - (size_t)n, format, ap);
  va_end(ap);
  const char **notes =
      lu_arena_grow(b->mem, b->notes, b->note_count, &b->note_room, sizeof *b->notes);
  const char *kept = notes ? lu_arena_text(b->mem, text, strlen(text)) : NULL;
  if (!kept)
    return lu_netbuild_nomem(b);
  b->notes = notes;
  b->notes[b->note_count++] = kept;
  return LU_OK;
}

typedef lu_clash clash_rule(const lu_netbuild *b, const lu_rawpin *first, const lu_rawpin *second);

/* A pin came again: drops one of the two, or complains. *kept is the one that stays. */
static lu_status settle_twice(lu_netbuild *b, lu_twice twice, clash_rule *clash, uint32_t *kept,
                              uint32_t second)
{
  lu_rawpin *one = lu_pile_at(&b->pins, *kept), *two = lu_pile_at(&b->pins, second);
  const char *ref = lu_netbuild_part_at(b, one->part)->ref;
  const char *number = lu_netbuild_text(b, one->number);
  const char *net1 = lu_netbuild_net_text(b, one->net), *net2 = lu_netbuild_net_text(b, two->net);
  const void *place = b->in.at + two->offset;
  if (one->net == two->net) {
    if (one->function == LU_NONE)
      one->function = two->function;
    two->net = LU_NONE;
    return twice == LU_TWICE_QUIET
               ? LU_OK
               : lu_netbuild_note(b, place, "%s.%s is listed twice on net %s; taken once", ref,
                                  number, net1);
  }
  lu_clash rule = clash ? clash(b, one, two) : LU_CLASH_ERROR;
  if (rule == LU_CLASH_ERROR)
    return lu_netbuild_fail(b, LU_ERR_VALUE, place,
                            "expected each pin on one net, found %.40s.%.20s on net %.60s and on "
                            "net %.60s",
                            ref, number, net1, net2);
  if (rule == LU_CLASH_SECOND) {
    one->net = LU_NONE;
    *kept = second;
  } else {
    two->net = LU_NONE;
  }
  return lu_netbuild_note(b, place, "%s.%s is on net %s and on net %s; %s is taken", ref, number,
                          net1, net2, rule == LU_CLASH_SECOND ? net2 : net1);
}

/* The pins of a pile lie in pieces: piece k and how many of them stand there. */
static lu_rawpin *pins_of(const lu_netbuild *b, unsigned k, uint32_t *count)
{
  uint32_t before = (((uint32_t)1 << k) - 1) * PIECE, room = (uint32_t)PIECE << k;
  uint32_t left = k < LU_PILE_PIECES && b->pins.count > before ? b->pins.count - before : 0;
  *count = left < room ? left : room;
  return left ? b->pins.piece[k] : NULL;
}
#define EACH_PIECE(b, k, pins, count)                                                             \
  for (unsigned k = 0; ((pins) = pins_of((b), k, &(count))); k++)

/* One of 64 bits for a pin's number; numbers in a row get different ones. */
static uint64_t number_bit(const lu_atom *number)
{
  const char *end = number->text + number->len;
  unsigned v = number->len ? (uint8_t)end[-1] - '0' : 0;
  v += number->len > 1 ? 10 * ((uint8_t)end[-2] - '0') : 0;
  v += number->len > 2 ? 100 * ((uint8_t)end[-3] - '0') : 0;
  return (uint64_t)1 << (v & 63);
}

/* Marks the parts that may have a pin twice, because two of their pins have one bit. Most parts
 * have not, and need no closer look. */
static bool may_repeat(const lu_netbuild *b, uint64_t *seen, uint8_t *repeats)
{
  bool any = false;
  const lu_rawpin *p;
  uint32_t count;
  EACH_PIECE(b, k, p, count) {
    for (uint32_t i = 0; i < count; i++) {
      uint64_t bit = number_bit(lu_netbuild_atom_at(b, p[i].number));
      uint64_t before = seen[p[i].part];
      if (before & bit) {
        repeats[p[i].part] = 1;
        any = true;
      }
      seen[p[i].part] = before | bit;
    }
  }
  return any;
}

/* Looks at the pins part by part, so that one mark per pin number is enough to see a repetition. */
static lu_status check_pins(lu_netbuild *b, lu_twice twice, clash_rule *clash)
{
  uint32_t parts = b->parts.count, count = 0;
  uint64_t *seen = lu_arena_big(&b->work, ((size_t)parts + 1) * sizeof *seen);
  uint8_t *repeats = lu_arena_big(&b->work, (size_t)parts + 1);
  uint32_t *start = lu_arena_big(&b->work, ((size_t)parts + 2) * sizeof *start);
  if (!seen || !repeats || !start)
    return lu_netbuild_nomem(b);
  if (!may_repeat(b, seen, repeats))
    return LU_OK;
  for (uint32_t i = 0; i < b->pins.count; i++) {
    uint32_t part = ((lu_rawpin *)lu_pile_at(&b->pins, i))->part;
    start[part + 2] += repeats[part];
    count += repeats[part];
  }
  uint32_t *order = lu_arena_big(&b->work, ((size_t)count + 1) * sizeof *order);
  if (!order)
    return lu_netbuild_nomem(b);
  for (uint32_t p = 1; p < parts + 2; p++)
    start[p] += start[p - 1];
  for (uint32_t i = 0; i < b->pins.count; i++) {
    uint32_t part = ((lu_rawpin *)lu_pile_at(&b->pins, i))->part;
    if (repeats[part])
      order[start[part + 1]++] = i;
  }
  for (uint32_t k = 0; k < count; k++) {
    lu_rawpin *p = lu_pile_at(&b->pins, order[k]);
    lu_atom *number = atom_of(b, p->number);
    if (number->mark != p->part + 1) {
      number->mark = p->part + 1;
      number->mark_at = order[k];
      continue;
    }
    lu_status s = settle_twice(b, twice, clash, &number->mark_at, order[k]);
    if (s)
      return s;
  }
  return LU_OK;
}

static bool fill_nets(lu_netbuild *b, lu_netlist *n)
{
  n->net_count = b->nets.count;
  n->nets = lu_arena_big(b->mem, (n->net_count + 1) * sizeof *n->nets);
  n->part_count = b->parts.count;
  n->parts = lu_arena_big(b->mem, (n->part_count + 1) * sizeof *n->parts);
  if (!n->nets || !n->parts)
    return false;
  for (uint32_t i = 0; i < b->nets.count; i++)
    n->nets[i].name = lu_netbuild_net_text(b, i);
  for (uint32_t i = 0; i < b->parts.count; i++)
    n->parts[i] = *lu_netbuild_part_at(b, i);
  uint32_t kept = 0, count;
  const lu_rawpin *p;
  EACH_PIECE(b, k, p, count) {
    for (uint32_t i = 0; i < count; i++)
      if (p[i].net != LU_NONE)
        n->nets[p[i].net].pin_count++, kept++;
  }
  uint32_t first = 0;
  for (uint32_t i = 0; i < b->nets.count; i++) {
    n->nets[i].first_pin = first;
    first += n->nets[i].pin_count;
    n->nets[i].pin_count = 0;
  }
  n->pin_count = kept;
  return true;
}

static bool fill_pins(lu_netbuild *b, lu_netlist *n)
{
  n->pins = lu_arena_big(b->mem, (n->pin_count + 1) * sizeof *n->pins);
  if (!n->pins)
    return false;
  const lu_rawpin *p;
  uint32_t count;
  EACH_PIECE(b, k, p, count) {
    for (uint32_t i = 0; i < count; i++) {
      if (p[i].net == LU_NONE)
        continue;
      lu_net_name *net = &n->nets[p[i].net];
      n->pins[net->first_pin + net->pin_count++] =
          (lu_net_pin){p[i].part, p[i].net, lu_netbuild_text(b, p[i].number),
                       lu_netbuild_text(b, p[i].function)};
    }
  }
  return true;
}

lu_status lu_netbuild_done(lu_netbuild *b, lu_twice twice, clash_rule *clash, lu_netlist **out)
{
  lu_status s = check_pins(b, twice, clash);
  if (!s && b->notes_lost) {
    size_t lost = b->notes_lost;
    b->note_count--;
    s = lu_netbuild_note(b, NULL, "... and %zu more remarks", lost + 1);
  }
  if (s)
    return s;
  lu_netlist *n = LU_NEW(b->mem, lu_netlist, 1);
  if (!n || !fill_nets(b, n) || !fill_pins(b, n))
    return lu_netbuild_nomem(b);
  n->format = b->format;
  n->notes = b->notes;
  n->note_count = b->note_count;
  *out = n;
  return LU_OK;
}

void lu_netbuild_end(lu_netbuild *b)
{
  lu_arena_free(&b->work);
}
