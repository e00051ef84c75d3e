/* SPDX-License-Identifier: MIT */
#include "formats/capstate.h"

#include <stdarg.h>
#include <stdio.h>
#include <string.h>

void lu_capstate_init(lu_capstate *s, lu_arena *mem, lu_cap_sink sink, lu_cap_notes *notes)
{
  *s = (lu_capstate){.mem = mem, .sink = sink, .notes = notes};
}

bool lu_capstate_add(lu_capstate *s, lu_cap_signal signal, size_t twin)
{
  lu_cap *cap = &s->cap;
  lu_cap_signal *at =
      lu_arena_grow(s->mem, cap->signals, cap->signal_count, &s->signal_room, sizeof *at);
  if (!at)
    return false;
  cap->signals = at;
  signal.home = LU_CAP_NO_HOME;
  signal.twin = (uint32_t)cap->signal_count;
  if (twin != SIZE_MAX) {
    signal.twin = at[twin].twin;
    signal.home = at[twin].home;
  } else if (signal.kind == LU_CAP_LEVEL) {
    /* A signal of up to 64 bits never straddles slots, so that one store sets it. */
    uint32_t used = s->next_home % 64;
    if (used && used + signal.width > 64)
      s->next_home += 64 - used;
    signal.home = s->next_home;
    s->next_home += signal.width;
  }
  at[cap->signal_count++] = signal;
  cap->slot_count = (s->next_home + 63u) / 64u;
  return true;
}

lu_status lu_capstate_begin(lu_capstate *s, lu_err *err)
{
  size_t n = s->cap.slot_count ? s->cap.slot_count : 1;
  s->few = n <= 64;
  s->value = LU_NEW(s->mem, uint64_t, n * 4);
  s->slots = LU_NEW(s->mem, uint32_t, n);
  s->low = LU_NEW(s->mem, uint64_t, (n + 63) / 64);
  if (!s->value || !s->slots || !s->low)
    return lu_fail(err, LU_ERR_NOMEM, 0, 0, "no room for %zu slots of levels", n);
  s->unknown = s->value + n;
  s->was_value = s->unknown + n;
  s->was_unknown = s->was_value + n;
  for (size_t i = 0; i < n; i++)
    s->unknown[i] = s->was_unknown[i] = UINT64_MAX;
  lu_status status = s->sink.begin ? s->sink.begin(s->sink.to, &s->cap, err) : LU_OK;
  if (status != LU_OK || (s->sink.wanted && *s->sink.wanted)) {
    s->wanted = s->sink.wanted ? *s->sink.wanted : NULL;
    return status;
  }
  uint64_t *all = LU_NEW(s->mem, uint64_t, n);
  if (!all)
    return lu_fail(err, LU_ERR_NOMEM, 0, 0, "no room for %zu slots of levels", n);
  memset(all, 0xff, n * sizeof *all);
  s->wanted = all;
  return LU_OK;
}

static size_t list_word(lu_capstate *s, uint32_t word, size_t n)
{
  for (uint64_t left = s->low[word]; left; left &= left - 1) {
    uint32_t slot = word * 64 + (uint32_t)__builtin_ctzll(left);
    if (s->value[slot] != s->was_value[slot] || s->unknown[slot] != s->was_unknown[slot])
      s->slots[n++] = slot;
  }
  s->low[word] = 0;
  return n;
}

static size_t list_changes(lu_capstate *s)
{
  size_t n = 0;
  if (s->few) {
    s->top = s->mid[0] = 0;
    return list_word(s, 0, 0);
  }
  for (; s->top; s->top &= s->top - 1) {
    uint32_t t = (uint32_t)__builtin_ctzll(s->top);
    for (; s->mid[t]; s->mid[t] &= s->mid[t] - 1)
      n = list_word(s, t * 64 + (uint32_t)__builtin_ctzll(s->mid[t]), n);
  }
  return n;
}

lu_status lu_capstate_emit(lu_capstate *s, lu_err *err)
{
  size_t n = list_changes(s);
  if (!n && s->blind == s->was_blind)
    return LU_OK;
  bool wanted = s->blind != s->was_blind;
  for (size_t i = 0; i < n; i++) {
    uint32_t k = s->slots[i];
    wanted |= (((s->value[k] ^ s->was_value[k]) | (s->unknown[k] ^ s->was_unknown[k])) & s->wanted[k]) != 0;
  }
  s->was_blind = s->blind;
  lu_cap_step step = {.time = s->time,
                      .value = s->value,
                      .unknown = s->unknown,
                      .was_value = s->was_value,
                      .was_unknown = s->was_unknown,
                      .slots = s->slots,
                      .slot_count = n,
                      .blind = s->blind};
  lu_status status = s->sink.step && wanted ? s->sink.step(s->sink.to, &step, err) : LU_OK;
  for (size_t i = 0; i < n; i++) {
    uint32_t slot = s->slots[i];
    s->was_value[slot] = s->value[slot];
    s->was_unknown[slot] = s->unknown[slot];
  }
  return status;
}

void lu_capstate_forget(lu_capstate *s)
{
  for (uint32_t i = 0; i < s->cap.slot_count; i++)
    lu_capstate_put(s, i, UINT64_MAX, 0, UINT64_MAX);
}

lu_status lu_capstate_end(lu_capstate *s, lu_err *err)
{
  lu_status status = lu_capstate_emit(s, err);
  if (status == LU_OK && s->sink.end)
    status = s->sink.end(s->sink.to, s->time, err);
  return status;
}

void lu_capstate_note(lu_capstate *s, uint32_t line, uint32_t column, const char *format, ...)
{
  lu_cap_notes *n = s->notes;
  if (!n || n->count == LU_CAP_NOTES_MOST)
    return;
  char text[240];
  va_list ap;
  va_start(ap, format);
  vsnprintf(text, sizeof text, format, ap);
  va_end(ap);
  char *kept = lu_arena_text(s->mem, text, strlen(text));
  if (!kept)
    return;
  n->at[n->count].line = line;
  n->at[n->count].column = column;
  n->at[n->count++].text = kept;
}

static bool index_number(const char *text, size_t len, int32_t *value)
{
  bool minus = len && *text == '-';
  uint64_t v;
  if (!lu_text_u64(text + minus, len - minus, 10, 1000000, &v))
    return false;
  *value = minus ? -(int32_t)v : (int32_t)v;
  return true;
}

bool lu_capstate_find_range(const char *text, size_t *len, int32_t *msb, int32_t *lsb)
{
  size_t n = *len, open = n;
  if (n < 3 || text[n - 1] != ']')
    return false;
  while (open && text[open - 1] != '[')
    open--;
  if (!open)
    return false;
  const char *in = text + open, *colon = memchr(in, ':', n - 1 - open);
  size_t left = colon ? (size_t)(colon - in) : n - 1 - open;
  int32_t m, l;
  if (!index_number(in, left, &m))
    return false;
  l = m;
  if (colon && !index_number(colon + 1, n - 1 - open - left - 1, &l))
    return false;
  *len = open - 1;
  while (*len && text[*len - 1] == ' ')
    (*len)--;
  *msb = m;
  *lsb = l;
  return true;
}

void lu_capstate_range(const char *text, size_t *len, uint32_t width, int32_t *msb, int32_t *lsb)
{
  size_t n = *len;
  int32_t m, l;
  *msb = *lsb = -1;
  if (!lu_capstate_find_range(text, &n, &m, &l) || !n)
    return;
  uint32_t bits = (uint32_t)(m > l ? m - l : l - m) + 1;
  if (bits != width)
    return;
  *len = n;
  *msb = m;
  *lsb = l;
}
