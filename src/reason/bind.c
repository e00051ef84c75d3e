/* SPDX-License-Identifier: MIT */
#include "reason/bind.h"

#include "base/text.h"

#include <ctype.h>
#include <stdlib.h>
#include <string.h>

enum { NAME_MOST = 256, OFFERS_MOST = 4096, PORTION = 255 };

/* A name without its bar, in lower case; false if too long or nothing is left. */
static bool plain(const char *name, char *out)
{
  size_t n = 0, len = strlen(name);
  if (len >= NAME_MOST)
    return false;
  bool n_first = name[0] == 'n' && isupper((unsigned char)name[1]);
  for (const char *p = name + n_first; *p; p++)
    if (!strchr("/~{}#*!\\", *p))
      out[n++] = (char)tolower((unsigned char)*p);
  if (n > 2 && out[n - 2] == '_' && (out[n - 1] == 'n' || out[n - 1] == 'b'))
    n -= 2;
  if (n > 1 && out[n - 1] == '-')
    n--;
  out[n] = '\0';
  return n;
}

bool lu_bind_same(const char *a, const char *b)
{
  char pa[NAME_MOST], pb[NAME_MOST];
  return plain(a, pa) && plain(b, pb) && !strcmp(pa, pb);
}

/* How well a wanted name fits a signal's path: 0 not at all .. 3 the whole path. */
static unsigned fit(const char *wanted, const lu_cap_signal *s)
{
  if (!strcmp(wanted, s->path))
    return 3;
  size_t lw = strlen(wanted), lp = strlen(s->path);
  if (lw < lp && s->path[lp - lw - 1] == '.' && !strcmp(s->path + lp - lw, wanted))
    return 2;
  return lu_bind_same(wanted, s->name) ? 1 : 0;
}

/* Splits "A3" and "A[3]" into stem and index. */
static bool split_bit(const char *wanted, char *stem, int32_t *index)
{
  size_t n = strlen(wanted), end = n;
  bool bracket = n && wanted[n - 1] == ']';
  if (bracket)
    end--;
  size_t start = end;
  while (start && isdigit((unsigned char)wanted[start - 1]))
    start--;
  if (start == end || end - start > 6 || n >= NAME_MOST)
    return false;
  *index = (int32_t)strtol(wanted + start, NULL, 10);
  if (bracket && (!start || wanted[--start] != '['))
    return false;
  memcpy(stem, wanted, start);
  stem[start] = '\0';
  return start;
}

static size_t depth(const char *path)
{
  size_t n = 0;
  for (; *path; path++)
    n += *path == '.';
  return n;
}

typedef struct found {
  const lu_cap_signal *signal;
  uint32_t first, count; /* bits of it */
  unsigned fit;
  size_t depth;
  bool ambiguous;
} found;

static void consider(found *best, const lu_cap_signal *s, unsigned how, uint32_t first, uint32_t count)
{
  size_t d = depth(s->path);
  if (best->signal && (how < best->fit || (how == best->fit && d > best->depth)))
    return;
  if (best->signal && how == best->fit && d == best->depth) {
    if (best->signal->home + best->first != s->home + first)
      best->ambiguous = true;
    return;
  }
  *best = (found){s, first, count, how, d, false};
}

static void look(const lu_cap *cap, const char *wanted, found *best)
{
  char stem[NAME_MOST] = "";
  int32_t index = 0;
  bool bit = split_bit(wanted, stem, &index);
  for (size_t i = 0; i < cap->signal_count; i++) {
    const lu_cap_signal *s = &cap->signals[i];
    if (s->home == LU_CAP_NO_HOME)
      continue;
    unsigned how = fit(wanted, s);
    if (how)
      consider(best, s, how, 0, s->width);
    bool ranged = s->msb != -1 || s->lsb != -1;
    int32_t low = s->msb < s->lsb ? s->msb : s->lsb, high = s->msb < s->lsb ? s->lsb : s->msb;
    if (!bit || !ranged || index < low || index > high)
      continue;
    how = fit(stem, s);
    uint32_t at = (uint32_t)(s->msb >= s->lsb ? index - s->lsb : s->lsb - index);
    if (how)
      consider(best, s, how, at, 1);
  }
}

/* The signal's name nearest to a wanted one; in portions, so that no large table is needed. */
static const char *nearest(const lu_cap *cap, const char *wanted)
{
  const char *list[PORTION + 1], *near = NULL;
  size_t n = 0, all = cap->signal_count < OFFERS_MOST ? cap->signal_count : OFFERS_MOST;
  for (size_t i = 0; i < all; i++) {
    list[n++] = cap->signals[i].name;
    if (n < PORTION && i + 1 < all)
      continue;
    if (near)
      list[n++] = near;
    near = lu_text_nearest(wanted, list, n);
    n = 0;
  }
  return near;
}

static lu_status missing(const lu_bind *b, const lu_sig_name *wanted, lu_err *err)
{
  const char *near = nearest(b->cap, wanted->name);
  lu_status s = near ? lu_fail(err, LU_ERR_MISSING, wanted->line, wanted->column,
                               "expected a signal of the capture, found '%s'; the nearest is '%s'",
                               wanted->name, near)
                     : lu_fail(err, LU_ERR_MISSING, wanted->line, wanted->column,
                               "expected a signal of the capture, found '%s'", wanted->name);
  return lu_fail_source(err, s, b->map_name);
}

static const char *renamed(const lu_bind *b, const char *wanted)
{
  for (size_t i = 0; b->map && i < b->map->rename_count; i++)
    if (!strcmp(b->map->renames[i].to, wanted))
      return b->map->renames[i].from;
  return NULL;
}

lu_status lu_bind_name(const lu_bind *b, const lu_sig_name *wanted, uint32_t *homes, size_t room,
                       size_t *count, lu_err *err)
{
  found best = {0};
  const char *from = renamed(b, wanted->name);
  for (size_t i = 0; !from && i < wanted->also_count; i++)
    from = renamed(b, wanted->also[i]);
  lu_sig_name as = *wanted;
  if (from) {
    as.name = from;
    as.also_count = 0;
  }
  look(b->cap, as.name, &best);
  for (size_t i = 0; !best.signal && i < as.also_count; i++)
    look(b->cap, as.also[i], &best);
  if (!best.signal)
    return missing(b, &as, err);
  lu_status s = LU_OK;
  if (best.ambiguous)
    s = lu_fail(err, LU_ERR_VALUE, wanted->line, wanted->column,
                "'%s' is in several scopes of the capture; give one, such as %s", as.name,
                best.signal->path);
  else if (best.count > room)
    s = lu_fail(err, LU_ERR_LIMIT, wanted->line, wanted->column,
                "'%s' has %u bits; there is room for %zu", as.name, best.count, room);
  if (s != LU_OK)
    return lu_fail_source(err, s, b->map_name);
  for (uint32_t i = 0; i < best.count; i++)
    homes[i] = best.signal->home + best.first + i;
  *count = best.count;
  return LU_OK;
}

const lu_cap_signal *lu_bind_home_signal(const lu_cap *cap, uint32_t home)
{
  for (size_t i = 0; i < cap->signal_count; i++) {
    const lu_cap_signal *s = &cap->signals[i];
    if (s->home != LU_CAP_NO_HOME && s->twin == i && home >= s->home && home - s->home < s->width)
      return s;
  }
  return NULL;
}

const char *lu_bind_home_name(const lu_cap *cap, uint32_t home, bool scopes, lu_arena *mem)
{
  const lu_cap_signal *s = lu_bind_home_signal(cap, home);
  if (!s)
    return lu_arena_printf(mem, "bit %u", home);
  const char *name = scopes ? s->path : s->name;
  if (s->width == 1 && s->msb == -1)
    return name;
  return lu_arena_printf(mem, "%s[%d]", name, lu_bind_index(s, home - s->home));
}
