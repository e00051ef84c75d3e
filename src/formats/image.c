/* SPDX-License-Identifier: MIT */
#include "formats/image.h"

#include <inttypes.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { NOTES_MOST = 8 };

static lu_status no_room(lu_err *err)
{
  return lu_fail(err, LU_ERR_NOMEM, 0, 0, "no room for the dump's bytes");
}

bool lu_image_reserve(lu_image *img, size_t more)
{
  if (img->buf && more <= img->room - img->used)
    return true;
  size_t room, total;
  if (__builtin_add_overflow(img->used, more, &room))
    return false;
  if (img->room && room < img->room * 2)
    room = img->room * 2;
  if (__builtin_add_overflow(room, (size_t)LU_IMAGE_SLACK, &total))
    return false;
  uint8_t *buf = lu_arena_big(img->mem, total);
  if (!buf)
    return false;
  if (img->used)
    memcpy(buf, img->buf, img->used);
  img->buf = buf;
  img->room = room;
  return true;
}

uint8_t *lu_image_put(lu_image *img, uint64_t addr, size_t len, size_t text, size_t stride)
{
  if (!lu_image_reserve(img, len))
    return NULL;
  if (!img->count || img->next != addr) {
    lu_piece *p = lu_arena_grow(img->mem, img->pieces, img->count, &img->pieces_room, sizeof *p);
    if (!p)
      return NULL;
    img->pieces = p;
    if (img->count)
      p[img->count - 1].len = img->used - p[img->count - 1].at;
    p[img->count++] = (lu_piece){.addr = addr, .at = img->used};
  }
  for (int k = 0; img->locating && k < 2; k++)
    if (img->want[k] >= img->used && img->want[k] - img->used < len)
      img->place[k] = text + (img->want[k] - img->used) * stride;
  uint8_t *to = img->buf + img->used;
  img->used += len;
  img->next = addr + len;
  return to;
}

bool lu_image_note(lu_image *img, const char *format, ...)
{
  if (img->note_count == NOTES_MOST || img->locating)
    return true;
  char text[160];
  va_list ap;
  va_start(ap, format);
  vsnprintf(text, sizeof text, format, ap);
  va_end(ap);
  char *kept = lu_arena_text(img->mem, text, strlen(text));
  const char **notes =
      lu_arena_grow(img->mem, img->notes, img->note_count, &img->notes_room, sizeof *notes);
  if (!kept || !notes)
    return false;
  img->notes = notes;
  notes[img->note_count++] = kept;
  return true;
}

void lu_image_place(lu_bytes in, size_t offset, uint32_t *line, uint32_t *column)
{
  size_t start = 0;
  *line = 1;
  for (size_t i = 0; i < offset && i < in.len; i++)
    if (in.at[i] == '\n' || (in.at[i] == '\r' && !(i + 1 < in.len && in.at[i + 1] == '\n'))) {
      ++*line;
      start = i + 1;
    }
  *column = (uint32_t)(offset - start + 1);
}

static int by_address(const void *a, const void *b)
{
  const lu_piece *x = a, *y = b;
  if (x->addr != y->addr)
    return x->addr < y->addr ? -1 : 1;
  return x->at < y->at ? -1 : 1;
}

static bool tidy(const lu_image *img)
{
  for (size_t i = 1; i < img->count; i++) {
    const lu_piece *p = &img->pieces[i];
    if (p->addr <= p[-1].addr || p->addr - p[-1].addr <= p[-1].len)
      return false;
  }
  return true;
}

/* Sets img->want to the two sources of the byte at addr: of pieces[later] and the first piece
 * before it that holds another value. */
static void name_conflict(lu_image *img, size_t later, uint64_t addr)
{
  const lu_piece *p = &img->pieces[later];
  img->want[1] = p->at + (size_t)(addr - p->addr);
  for (size_t i = 0; i < later; i++) {
    const lu_piece *q = &img->pieces[i];
    size_t at = q->at + (size_t)(addr - q->addr);
    if (addr >= q->addr && addr - q->addr < q->len && img->buf[at] != img->buf[img->want[1]]) {
      img->want[0] = at;
      break;
    }
  }
  if (img->want[0] > img->want[1]) { /* buf is in the order of the text: [1] is the later place */
    size_t t = img->want[0];
    img->want[0] = img->want[1];
    img->want[1] = t;
  }
}

/* Joins pieces that touch or overlap into a new buffer. The pieces are left as they were, sorted;
 * spans get the result. *clash is set when one address has two values. */
static lu_status merge(lu_image *img, lu_span *spans, size_t *span_count, bool *clash)
{
  qsort(img->pieces, img->count, sizeof *img->pieces, by_address);
  uint8_t *to = lu_arena_big(img->mem, img->used + LU_IMAGE_SLACK);
  if (!to)
    return LU_ERR_NOMEM;
  size_t n = 0;
  for (size_t i = 0; i < img->count; i++) {
    const lu_piece *p = &img->pieces[i];
    const uint8_t *from = img->buf + p->at;
    size_t skip = 0;
    if (n && p->addr - spans[n - 1].base <= spans[n - 1].len) {
      lu_span *s = &spans[n - 1];
      uint64_t start = p->addr - s->base, both = s->len - start;
      skip = both < p->len ? (size_t)both : p->len;
      if (memcmp(s->at + start, from, skip)) {
        uint64_t k = 0;
        while (s->at[start + k] == from[k])
          k++;
        name_conflict(img, i, p->addr + k);
        *clash = true;
        return LU_ERR_SYNTAX;
      }
      s->len += p->len - skip;
    } else {
      spans[n++] = (lu_span){.base = p->addr, .len = p->len, .at = to};
    }
    memcpy(to, from + skip, p->len - skip);
    to += p->len - skip;
  }
  *span_count = n;
  return LU_OK;
}

static lu_status make_dump(lu_image *img, const char *format, lu_dump **out, bool *clash,
                           lu_err *err)
{
  lu_dump *d = LU_NEW(img->mem, lu_dump, 1);
  lu_span *spans = LU_NEW(img->mem, lu_span, img->count);
  if (!d || !spans)
    return no_room(err);
  img->pieces[img->count - 1].len = img->used - img->pieces[img->count - 1].at;
  size_t n = img->count;
  if (tidy(img)) {
    for (size_t i = 0; i < n; i++)
      spans[i] = (lu_span){img->pieces[i].addr, img->pieces[i].len, img->buf + img->pieces[i].at};
  } else {
    lu_status s = merge(img, spans, &n, clash);
    if (s == LU_ERR_NOMEM)
      return no_room(err);
    if (s != LU_OK)
      return s;
  }
  *d = (lu_dump){.format = format,
                 .has_addresses = img->has_addresses,
                 .span_count = n,
                 .spans = spans,
                 .note_count = img->note_count,
                 .notes = img->notes};
  *out = d;
  return LU_OK;
}

/* Parses again, slowly, to learn where the two values of one byte stand. */
static lu_status report_clash(lu_bytes in, const lu_image *found, lu_image_parse parse, lu_err *err)
{
  lu_image img = {.mem = found->mem, .has_addresses = true, .locating = true};
  img.want[0] = found->want[0];
  img.want[1] = found->want[1];
  lu_status s = parse(in, &img, true, err);
  if (s != LU_OK)
    return s;
  uint32_t line, column;
  lu_image_place(in, img.place[0], &line, &column);
  uint64_t addr = 0;
  for (size_t i = 0; i < found->count; i++) {
    const lu_piece *p = &found->pieces[i];
    if (img.want[1] >= p->at && img.want[1] - p->at < p->len)
      addr = p->addr + (img.want[1] - p->at);
  }
  return lu_fail_at(err, LU_ERR_SYNTAX, (const char *)in.at, in.len, img.place[1],
                    "address 0x%" PRIX64 ": expected 0x%02X as at line %" PRIu32 ", column %" PRIu32
                    ", found 0x%02X",
                    addr, found->buf[img.want[0]], line, column, found->buf[img.want[1]]);
}

lu_status lu_image_read(lu_bytes in, lu_arena *mem, const char *format, const char *what,
                        lu_image_parse parse, bool plain, lu_dump **out, lu_err *err)
{
  if (!in.len)
    return lu_fail(err, LU_ERR_SYNTAX, 1, 1, "expected %s, found an empty file", what);
  lu_image img = {.mem = mem, .has_addresses = true};
  if (!lu_image_reserve(&img, in.len / 2))
    return no_room(err);
  lu_status s = parse(in, &img, plain, err);
  if (s == LU_ERR_NOMEM)
    return no_room(err);
  if (s != LU_OK)
    return s;
  if (!img.used)
    return lu_fail_at(err, LU_ERR_SYNTAX, (const char *)in.at, in.len, in.len,
                      "expected at least one data byte, found %s without any", what);
  bool clash = false;
  s = make_dump(&img, format, out, &clash, err);
  if (!clash)
    return s;
  s = report_clash(in, &img, parse, err);
  return s == LU_ERR_NOMEM ? no_room(err) : s;
}
