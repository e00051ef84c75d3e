/* SPDX-License-Identifier: MIT */
#include "reason/activity.h"

#include <string.h>

typedef struct spot {
  int64_t since;        /* last change of the level */
  int64_t toggled;      /* last change from a known level to the other one */
  uint64_t toggles, glitches;
  int64_t first_glitch;
  int64_t spent[4];     /* by value | unknown << 1 */
  uint8_t last_known;   /* 0, 1; 2: none yet */
  bool steady;          /* since toggled the level was known all the time */
} spot;

struct lu_activity {
  const lu_cap *cap;
  lu_arena *mem;
  int64_t glitch;
  size_t slots;
  spot *spots;                   /* [slots * 64] by home */
  uint64_t *value, *unknown;     /* now */
  bool started, blind;
  int64_t begun, blind_since, blind_sum, end;
  /* Pairs: row h has a bit for each home that was always equal (opposite) whenever row h was looked
   * at; two lines are equal if both rows say so. */
  size_t pair_slots;             /* 0: too many lines */
  uint64_t *equal, *opposite;    /* [pair_slots * 64][pair_slots] */
  uint64_t *alive;               /* [pair_slots] rows with something left */
  uint64_t *dirty;               /* [pair_slots] homes that changed since pairs were looked at */
  bool any_dirty;
  int64_t last_step;
};

static bool open_pairs(lu_activity *a)
{
  if (a->slots * 64 > LU_ACTIVITY_PAIRS_MOST)
    return true;
  size_t n = a->slots, rows = n * 64;
  a->pair_slots = n;
  a->equal = LU_NEW(a->mem, uint64_t, rows * n);
  a->opposite = LU_NEW(a->mem, uint64_t, rows * n);
  a->alive = LU_NEW(a->mem, uint64_t, n);
  a->dirty = LU_NEW(a->mem, uint64_t, n);
  if (!a->equal || !a->opposite || !a->alive || !a->dirty)
    return false;
  memset(a->equal, 0xff, rows * n * sizeof *a->equal);
  memset(a->opposite, 0xff, rows * n * sizeof *a->opposite);
  for (size_t i = 0; i < rows; i++)
    a->equal[i * n + i / 64] &= ~((uint64_t)1 << (i % 64));
  memset(a->alive, 0xff, n * sizeof *a->alive);
  return true;
}

lu_activity *lu_activity_open(const lu_cap *cap, int64_t glitch, lu_arena *mem)
{
  lu_activity *a = LU_NEW(mem, lu_activity, 1);
  if (!a)
    return NULL;
  a->cap = cap;
  a->mem = mem;
  a->glitch = glitch;
  a->slots = cap->slot_count ? cap->slot_count : 1;
  a->spots = LU_NEW(mem, spot, a->slots * 64);
  a->value = LU_NEW(mem, uint64_t, a->slots);
  a->unknown = LU_NEW(mem, uint64_t, a->slots);
  if (!a->spots || !a->value || !a->unknown || !open_pairs(a))
    return NULL;
  memset(a->unknown, 0xff, a->slots * sizeof *a->unknown);
  for (size_t i = 0; i < a->slots * 64; i++)
    a->spots[i].last_known = 2;
  return a;
}

static void change_bit(lu_activity *a, spot *s, unsigned was, unsigned is, int64_t time)
{
  s->spent[was] += time - s->since;
  s->since = time;
  if (is >= 2) {
    s->steady = false;
    return;
  }
  if (s->last_known == 2) {
    s->last_known = (uint8_t)is;
    return;
  }
  if (s->last_known == is)
    return;
  if (s->toggles && s->steady && time - s->toggled < a->glitch && !s->glitches++)
    s->first_glitch = time;
  s->toggles++;
  s->toggled = time;
  s->steady = true;
  s->last_known = (uint8_t)is;
}

/* Row h against all lines, as the levels are now. */
static uint64_t look_at_row(lu_activity *a, size_t home)
{
  size_t n = a->pair_slots;
  uint64_t *equal = a->equal + home * n, *opposite = a->opposite + home * n, left = 0;
  uint64_t mine = a->value[home / 64] >> (home % 64) & 1 ? UINT64_MAX : 0;
  for (size_t k = 0; k < n; k++) {
    uint64_t differ = a->value[k] ^ mine, known = ~a->unknown[k];
    equal[k] &= ~(differ & known);
    opposite[k] &= differ | ~known;
    left |= equal[k] | opposite[k];
  }
  return left;
}

/* The levels that held until now count for the pairs if they held long enough. */
static void look_at_pairs(lu_activity *a, int64_t time)
{
  if (!a->any_dirty || time - a->last_step < a->glitch)
    return;
  a->any_dirty = false;
  for (size_t k = 0; k < a->pair_slots; k++) {
    uint64_t rows = a->dirty[k] & a->alive[k] & ~a->unknown[k];
    a->dirty[k] &= a->unknown[k] & a->alive[k];
    for (; rows; rows &= rows - 1) {
      unsigned bit = (unsigned)__builtin_ctzll(rows);
      if (!look_at_row(a, k * 64 + bit))
        a->alive[k] &= ~((uint64_t)1 << bit);
    }
  }
}

static void go_blind(lu_activity *a, int64_t time)
{
  for (size_t h = 0; h < a->slots * 64; h++) {
    unsigned was = (unsigned)(a->value[h / 64] >> (h % 64) & 1) |
                   (unsigned)(a->unknown[h / 64] >> (h % 64) & 1) << 1;
    a->spots[h].spent[was] += time - a->spots[h].since;
    a->spots[h].since = time;
    a->spots[h].last_known = 2;
    a->spots[h].steady = false;
  }
  memset(a->value, 0, a->slots * sizeof *a->value);
  memset(a->unknown, 0xff, a->slots * sizeof *a->unknown);
  a->blind = true;
  a->blind_since = time;
}

static void see_again(lu_activity *a, int64_t time)
{
  a->blind = false;
  a->blind_sum += time - a->blind_since;
  for (size_t h = 0; h < a->slots * 64; h++)
    a->spots[h].since = time;
}

static void begin(lu_activity *a, int64_t time)
{
  a->started = true;
  a->begun = a->last_step = time;
  for (size_t h = 0; h < a->slots * 64; h++)
    a->spots[h].since = time;
}

lu_status lu_activity_step(lu_activity *a, const lu_cap_step *step, lu_err *err)
{
  (void)err;
  if (!a->started)
    begin(a, step->time);
  if (a->pair_slots)
    look_at_pairs(a, step->time);
  a->last_step = step->time;
  if (step->blind) {
    if (!a->blind)
      go_blind(a, step->time);
    return LU_OK;
  }
  if (a->blind)
    see_again(a, step->time);
  for (size_t i = 0; i < step->slot_count; i++) {
    uint32_t k = step->slots[i];
    uint64_t v = a->value[k], u = a->unknown[k], nv = step->value[k], nu = step->unknown[k];
    for (uint64_t left = (v ^ nv) | (u ^ nu); left; left &= left - 1) {
      unsigned b = (unsigned)__builtin_ctzll(left);
      change_bit(a, &a->spots[k * 64 + b], (unsigned)(v >> b & 1) | (unsigned)(u >> b & 1) << 1,
                 (unsigned)(nv >> b & 1) | (unsigned)(nu >> b & 1) << 1, step->time);
    }
    if (a->pair_slots) {
      a->dirty[k] |= (v ^ nv) | (u ^ nu);
      a->any_dirty = true;
    }
    a->value[k] = nv;
    a->unknown[k] = nu;
  }
  return LU_OK;
}

static bool pair_holds(const lu_activity *a, const uint64_t *table, uint32_t g, uint32_t h)
{
  size_t n = a->pair_slots;
  return table[g * n + h / 64] >> (h % 64) & 1 && table[h * n + g / 64] >> (g % 64) & 1;
}

/* The first earlier line that a moving line always went with. */
static void find_pairs(const lu_activity *a, lu_activity_line *lines, size_t i)
{
  lu_activity_line *l = &lines[i];
  for (size_t k = 0; k < i && l->moves; k++) {
    if (!lines[k].moves)
      continue;
    if (l->same < 0 && pair_holds(a, a->equal, l->home, lines[k].home))
      l->same = (int32_t)k;
    if (l->opposite < 0 && pair_holds(a, a->opposite, l->home, lines[k].home))
      l->opposite = (int32_t)k;
  }
}

static lu_activity_line line_of(const lu_activity *a, uint32_t signal, uint32_t bit)
{
  const lu_cap_signal *s = &a->cap->signals[signal];
  uint32_t home = s->home + bit;
  const spot *p = &a->spots[home];
  bool single = s->width == 1 && s->msb == -1;
  int32_t index = s->msb == -1 ? (int32_t)bit
                  : s->msb >= s->lsb ? s->lsb + (int32_t)bit
                                     : s->lsb - (int32_t)bit;
  return (lu_activity_line){.home = home,
                            .signal = signal,
                            .index = single ? -1 : index,
                            .toggles = p->toggles,
                            .glitches = p->glitches,
                            .first_glitch = p->first_glitch,
                            .low = p->spent[0],
                            .high = p->spent[1],
                            .x = p->spent[2],
                            .z = p->spent[3],
                            .level = lu_cap_level(a->value, a->unknown, home),
                            .moves = p->toggles > 0,
                            .same = -1,
                            .opposite = -1};
}

static bool counts(const lu_cap *cap, uint32_t i)
{
  const lu_cap_signal *s = &cap->signals[i];
  return s->home != LU_CAP_NO_HOME && s->twin == i && !s->is_variable;
}

lu_status lu_activity_end(lu_activity *a, int64_t time, lu_activity_line **lines, size_t *count,
                          lu_err *err)
{
  if (!a->started)
    begin(a, time);
  if (a->pair_slots)
    look_at_pairs(a, time > a->last_step + a->glitch ? time : a->last_step + a->glitch);
  if (a->blind)
    see_again(a, time);
  a->end = time;
  for (size_t h = 0; h < a->slots * 64; h++) {
    spot *s = &a->spots[h];
    s->spent[(a->value[h / 64] >> (h % 64) & 1) | (a->unknown[h / 64] >> (h % 64) & 1) << 1] +=
        time - s->since;
    s->since = time;
  }
  size_t n = 0;
  for (uint32_t i = 0; i < a->cap->signal_count; i++)
    if (counts(a->cap, i))
      n += a->cap->signals[i].width;
  lu_activity_line *out = LU_NEW(a->mem, lu_activity_line, n ? n : 1);
  if (!out)
    return lu_fail(err, LU_ERR_NOMEM, 0, 0, "no room for %zu lines", n);
  size_t k = 0;
  for (uint32_t i = 0; i < a->cap->signal_count; i++)
    if (counts(a->cap, i))
      for (uint32_t b = 0; b < a->cap->signals[i].width; b++)
        out[k++] = line_of(a, i, b);
  for (size_t i = 0; a->pair_slots && i < n; i++)
    find_pairs(a, out, i);
  *lines = out;
  *count = n;
  return LU_OK;
}

int64_t lu_activity_ticks(const lu_activity *a)
{
  return a->end - a->begun - a->blind_sum;
}

double lu_activity_seconds(const lu_activity *a)
{
  return (double)lu_activity_ticks(a) * a->cap->tick_s;
}

bool lu_activity_has_pairs(const lu_activity *a)
{
  return a->pair_slots > 0;
}

/* ---- signs ---- */

static bool in_bus(const uint32_t *bus, size_t count, int32_t line)
{
  for (size_t i = 0; i < count; i++)
    if (line >= 0 && bus[i] == (uint32_t)line)
      return true;
  return false;
}

static bool moves_from(const lu_activity_line *lines, const uint32_t *bus, size_t from, size_t to)
{
  for (size_t i = from; i < to; i++)
    if (lines[bus[i]].moves)
      return true;
  return false;
}

typedef struct neighbours {
  size_t driven, x, glitching; /* lines that are mostly low or high; sometimes x; with glitches */
} neighbours;

static lu_activity_sign still_sign(const lu_activity_line *lines, const uint32_t *bus, size_t count,
                                   size_t i)
{
  if (!moves_from(lines, bus, i + 1, count))
    return LU_SIGN_NONE; /* the upper end of a bus may simply not be used */
  if (i && moves_from(lines, bus, 0, i))
    return LU_SIGN_STILL;
  return i ? LU_SIGN_NONE : LU_SIGN_STILL_LOWEST;
}

static lu_activity_sign sign_of(const lu_activity_line *lines, const uint32_t *bus, size_t count,
                                size_t i, neighbours n)
{
  const lu_activity_line *l = &lines[bus[i]];
  int64_t known = l->low + l->high;
  size_t half = (count + 1) / 2;
  if (!known && l->level != '0' && l->level != '1')
    return n.driven >= half ? (l->z > l->x ? LU_SIGN_FLOATS : LU_SIGN_NEVER_LEVEL) : LU_SIGN_NONE;
  if (l->z > known && n.driven >= half)
    return LU_SIGN_FLOATS;
  if (!l->moves)
    return still_sign(lines, bus, count, i);
  if (in_bus(bus, count, l->same))
    return LU_SIGN_SAME;
  if (in_bus(bus, count, l->opposite))
    return LU_SIGN_OPPOSITE;
  if (l->x && n.x * 2 <= count)
    return LU_SIGN_X;
  if (l->glitches && n.glitching * 2 <= count)
    return LU_SIGN_GLITCHES;
  return LU_SIGN_NONE;
}

void lu_activity_signs(const lu_activity_line *lines, const uint32_t *bus, size_t count,
                       lu_activity_sign *signs)
{
  neighbours n = {0};
  int64_t least_x = INT64_MAX;
  for (size_t i = 0; i < count; i++)
    if (lines[bus[i]].x < least_x)
      least_x = lines[bus[i]].x;
  for (size_t i = 0; i < count; i++) {
    const lu_activity_line *l = &lines[bus[i]];
    n.driven += l->low + l->high > l->x + l->z;
    n.x += l->x > least_x; /* x that all share is the time before reset */
    n.glitching += l->glitches > 0;
  }
  for (size_t i = 0; i < count; i++) {
    signs[i] = sign_of(lines, bus, count, i, n);
    if (signs[i] == LU_SIGN_X && lines[bus[i]].x == least_x)
      signs[i] = LU_SIGN_NONE;
  }
}
