/* SPDX-License-Identifier: MIT */
#ifndef LU_FORMATS_CAPSTATE_H
#define LU_FORMATS_CAPSTATE_H
/* What every reader of captures keeps: the head, the levels now and before, what changed. */
#include "formats/capform.h"

/* Most that a capture may declare: signals, bits of one signal, slots of 64 bits in all. */
enum { LU_CAP_SIGNALS_MOST = 1 << 20, LU_CAP_WIDTH_MOST = 65536, LU_CAP_SLOTS_MOST = 1 << 18 };

typedef struct lu_capstate {
  lu_arena *mem;
  lu_cap cap;
  size_t signal_room;
  uint32_t next_home;
  lu_cap_sink sink;
  lu_cap_notes *notes;
  uint64_t *value, *unknown, *was_value, *was_unknown; /* [slot_count] */
  uint32_t *slots;       /* scratch of emit */
  const uint64_t *wanted; /* [slot_count], never NULL after begin */
  /* Which slots were touched in this moment, in three levels; with at most 64 slots low[0] alone. */
  uint64_t top, mid[64], *low;
  bool few;              /* at most 64 slots */
  bool has_time;
  bool blind, was_blind;
  int64_t time;
} lu_capstate;

void lu_capstate_init(lu_capstate *s, lu_arena *mem, lu_cap_sink sink, lu_cap_notes *notes);

/* Declares a signal; twin = index of an earlier signal with the same code, or SIZE_MAX. Texts live in
 * the arena. Gives its home. False: no memory. */
LU_MUST_USE bool lu_capstate_add(lu_capstate *s, lu_cap_signal signal, size_t twin);

/* The head is complete: everything becomes x, the sink begins. */
LU_MUST_USE lu_status lu_capstate_begin(lu_capstate *s, lu_err *err);

/* Ends the moment s->time: the sink gets what changed, if anything. */
LU_MUST_USE lu_status lu_capstate_emit(lu_capstate *s, lu_err *err);

/* Every level becomes x. */
void lu_capstate_forget(lu_capstate *s);

/* Ends the last moment and the capture. */
LU_MUST_USE lu_status lu_capstate_end(lu_capstate *s, lu_err *err);

/* Adds a remark; those past LU_CAP_NOTES_MOST are dropped. */
void lu_capstate_note(lu_capstate *s, uint32_t line, uint32_t column, const char *format, ...)
    __attribute__((format(printf, 4, 5)));

static inline void lu_capstate_touch(lu_capstate *s, uint32_t slot)
{
  s->low[slot >> 6] |= (uint64_t)1 << (slot & 63);
  s->mid[slot >> 12] |= (uint64_t)1 << (slot >> 6 & 63);
  s->top |= (uint64_t)1 << (slot >> 12);
}

/* Sets the bits of mask in one slot. */
static inline void lu_capstate_put(lu_capstate *s, uint32_t slot, uint64_t mask, uint64_t value,
                                   uint64_t unknown)
{
  s->value[slot] = (s->value[slot] & ~mask) | (value & mask);
  s->unknown[slot] = (s->unknown[slot] & ~mask) | (unknown & mask);
  lu_capstate_touch(s, slot);
}

/* Sets one bit from its level character (01xXzZ). */
static inline void lu_capstate_put_level(lu_capstate *s, uint32_t home, char level)
{
  bool v = level == '1' || level == 'z' || level == 'Z', u = level != '0' && level != '1';
  uint64_t bit = (uint64_t)1 << (home % 64);
  lu_capstate_put(s, home / 64, bit, v ? bit : 0, u ? bit : 0);
}

/* Splits "name[7:0]" or "name[3]": *len becomes the length of the name without the range, which is
 * taken off only if it has width bits. Both -1 when there is none. */
void lu_capstate_range(const char *text, size_t *len, uint32_t width, int32_t *msb, int32_t *lsb);

/* As above without a width to agree with: false when there is no range. */
bool lu_capstate_find_range(const char *text, size_t *len, int32_t *msb, int32_t *lsb);

#endif
