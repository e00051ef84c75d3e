/* SPDX-License-Identifier: MIT */
#ifndef LU_FORMATS_NETBUILD_H
#define LU_FORMATS_NETBUILD_H
/* Builds a lu_netlist from a reader's stream of parts, nets and pins; private to the readers.
 *
 * Names are interned once into a compact pool: half of the time of reading a netlist goes into
 * looking names up, and what counts there is how many places of memory a look touches. Names of up
 * to eight bytes, nearly all references and pins, are therefore their own keys. Working memory lives
 * in an arena of the builder's own, so that only the result stays in the caller's. */
#include "base/arena.h"
#include "base/err.h"
#include "base/text.h"
#include "data/netlist.h"

#include <stdbool.h>
#include <stdint.h>

#define LU_NONE UINT32_MAX

/* Limits on what an input may ask for; messages name them. */
enum {
  LU_NETNAME_MOST = 4096, /* bytes of one name */
  LU_NETNOTES_MOST = 200  /* further notes are counted, not kept */
};

enum { LU_PILE_PIECES = 23 };

/* A growing list whose items never move: piece k holds 1024 << k items. */
typedef struct lu_pile {
  size_t size; /* bytes of an item */
  uint32_t count, room;
  void *piece[LU_PILE_PIECES];
} lu_pile;

static inline void *lu_pile_at(const lu_pile *pile, uint32_t i)
{
  unsigned k = 31 - (unsigned)__builtin_clz((i >> 10) + 1);
  return (char *)pile->piece[k] + (i - (((uint32_t)1 << k) - 1) * 1024u) * pile->size;
}
/* The next piece, when all there are are full; false when memory is refused or the pile is full. */
bool lu_pile_more(lu_pile *pile, lu_arena *mem);
/* Room for one more item, zeroed or not; NULL when memory is refused or the pile is full. */
static inline void *lu_pile_add(lu_pile *pile, lu_arena *mem)
{
  if (pile->count == pile->room && !lu_pile_more(pile, mem))
    return NULL;
  return lu_pile_at(pile, pile->count++);
}

/* A map from 64-bit keys to numbers. Key 0 must not be used. */
typedef struct lu_keymap {
  struct lu_keyslot {
    uint64_t key;
    uint32_t value, tag;
  } *slots;
  size_t count, room;
} lu_keymap;

uint32_t *lu_keymap_find(const lu_keymap *map, uint64_t key); /* NULL: not there */
/* The value's place, new ones LU_NONE; NULL when memory is refused. */
uint32_t *lu_keymap_put(lu_keymap *map, lu_arena *mem, uint64_t key);

/* The same, for keys that are the bytes of short names; one look is one line of the cache. */
typedef struct lu_keys {
  struct lu_keyslot *slots;
  size_t count, room;
  unsigned shift; /* 64 - log2(room) */
} lu_keys;

/* A name, with what is known of it right before its text: looking a name up touches one slot of
 * the table and one place of the pool. Lives in the caller's arena; ended by NUL. */
typedef struct lu_atom {
  uint32_t len;
  uint32_t part, net; /* index of the part or net of that name, or LU_NONE; parts of short names
                       * stand in short_refs, and here when they have been asked for by atom */
  uint32_t mark, mark_at;       /* whom the mark is from, and an index; a note to oneself of the one
                                 * who goes over the names just now */
  char text[];
} lu_atom;

typedef struct lu_rawpin {
  uint32_t part, net;
  uint32_t number, function; /* atoms; function may be LU_NONE */
  uint32_t offset;           /* where it stood in the input */
} lu_rawpin;

typedef struct lu_netbuild {
  lu_bytes in;
  lu_arena *mem;   /* the result's */
  lu_arena work;   /* gone after lu_netbuild_end */
  lu_err *err;
  const char *format;
  lu_pile parts, nets, pins; /* lu_net_part, uint32_t (atom), lu_rawpin */
  struct lu_nameslot {
    uint32_t hash, atom; /* atom + 1; 0 = empty */
  } *slots;
  size_t slot_room, slot_count;
  lu_keys short_names; /* names of one to eight bytes -> atom; the others are in slots */
  lu_keys short_refs;  /* the same for references -> part: they are many, and would drive the few
                        * names of pins out of the cache */
  size_t loadable;     /* so many first bytes of the input have seven more behind them */
  /* Pool of names: an atom is the index of its eight bytes; piece k has 8192 << k of them. */
  uint64_t *pool[19];
  uint32_t pool_at;
  size_t name_most; /* bytes of one name, LU_NETNAME_MOST unless a reader allows more */
  size_t note_count, note_room, notes_lost;
  const char **notes;
} lu_netbuild;

/* ERR_LIMIT for an input of 4 GiB or more. Always call lu_netbuild_end afterwards. */
LU_MUST_USE lu_status lu_netbuild_begin(lu_netbuild *b, const char *format, lu_bytes in,
                                        lu_arena *mem, lu_err *err);
/* Message at the place of a byte of the input (counted from b->in.at). */
lu_status lu_netbuild_fail(lu_netbuild *b, lu_status status, const void *at, const char *format,
                           ...) __attribute__((format(printf, 4, 5)));
lu_status lu_netbuild_nomem(lu_netbuild *b);

/* The atom of a name; *atom is set. ERR_LIMIT over-long, ERR_SYNTAX holds a NUL byte, ERR_NOMEM.
 * place: where it stands in the input, for the message. */
LU_MUST_USE lu_status lu_netbuild_atom(lu_netbuild *b, const char *text, size_t len,
                                       const void *place, uint32_t *atom);
static inline const lu_atom *lu_netbuild_atom_at(const lu_netbuild *b, uint32_t atom)
{
  unsigned k = 31 - (unsigned)__builtin_clz((atom >> 13) + 1);
  return (const lu_atom *)(const void *)(b->pool[k] + (atom - (((uint32_t)1 << k) - 1) * 8192u));
}
static inline void lu_netbuild_mark(lu_netbuild *b, uint32_t atom, uint32_t mark, uint32_t at)
{
  lu_atom *a = (lu_atom *)(uintptr_t)lu_netbuild_atom_at(b, atom);
  a->mark = mark;
  a->mark_at = at;
}
static inline const char *lu_netbuild_text(const lu_netbuild *b, uint32_t atom)
{
  return atom == LU_NONE ? NULL : lu_netbuild_atom_at(b, atom)->text;
}

/* The atom of the name in lower case (ASCII), with short names in a table of the reader's own: the names of one kind of
 * thing. Atoms of two tables differ even for one text. *tag is a number that goes with
 * the name there, LU_NONE at first; the pointer holds until the next name is looked up. */
LU_MUST_USE lu_status lu_netbuild_atom_low_in(lu_netbuild *b, lu_keys *names, const char *text,
                                              size_t len, const void *place, uint32_t *atom,
                                              uint32_t **tag);

/* Index of the part or net named by the atom, made when new; LU_NONE when memory is refused. */
uint32_t lu_netbuild_part(lu_netbuild *b, uint32_t atom);
uint32_t lu_netbuild_net(lu_netbuild *b, uint32_t atom);
/* The part of that name, made when new; the quick way from a text to a part. Fails as
 * lu_netbuild_atom does. */
LU_MUST_USE lu_status lu_netbuild_part_of(lu_netbuild *b, const char *text, size_t len,
                                          const void *place, uint32_t *part);
/* A part of that name, or a name of that table (in either case), will be asked for soon: its slot,
 * which lies far away, is fetched meanwhile. Worth it when some 100 ns of other work come between. */
void lu_netbuild_part_soon(const lu_netbuild *b, const char *text, size_t len);
void lu_netbuild_low_soon(const lu_netbuild *b, const lu_keys *names, const char *text, size_t len);
bool lu_netbuild_is_part(const lu_netbuild *b, uint32_t atom); /* there is a part of that name */
static inline lu_net_part *lu_netbuild_part_at(lu_netbuild *b, uint32_t part)
{
  return lu_pile_at(&b->parts, part);
}
/* False when memory is refused. */
bool lu_netbuild_pin(lu_netbuild *b, uint32_t part, uint32_t net, uint32_t number,
                     uint32_t function, const void *place);
/* A remark for the netlist's notes, with the line of place unless that is NULL; LU_OK or ERR_NOMEM. */
LU_MUST_USE lu_status lu_netbuild_note(lu_netbuild *b, const void *place, const char *format, ...)
    __attribute__((format(printf, 3, 4)));

/* What to do with a pin that was given twice. */
typedef enum lu_twice {
  LU_TWICE_QUIET, /* on the same net: taken as one (several pads of a pin) */
  LU_TWICE_NOTED  /* on the same net: taken as one, with a note */
} lu_twice;

/* A pin stands on two nets: which place holds? */
typedef enum lu_clash {
  LU_CLASH_ERROR,  /* neither: the input is wrong */
  LU_CLASH_FIRST,  /* the first, with a note */
  LU_CLASH_SECOND, /* the second, with a note */
} lu_clash;

/* Groups the pins by net and hands the netlist out. A pin on two nets is ERR_VALUE at its second
 * place, unless clash decides otherwise (NULL: never). */
LU_MUST_USE lu_status lu_netbuild_done(lu_netbuild *b, lu_twice twice,
                                       lu_clash (*clash)(const lu_netbuild *b,
                                                         const lu_rawpin *first,
                                                         const lu_rawpin *second),
                                       lu_netlist **out);
static inline const char *lu_netbuild_net_text(const lu_netbuild *b, uint32_t net)
{
  return lu_netbuild_text(b, *(const uint32_t *)lu_pile_at(&b->nets, net));
}
void lu_netbuild_end(lu_netbuild *b);

#endif
