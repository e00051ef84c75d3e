/* SPDX-License-Identifier: MIT */
#ifndef LU_FORMATS_IMAGE_H
#define LU_FORMATS_IMAGE_H
/* Builds a dump from records that come in any order.
 *
 * Bytes are appended to one buffer in the order of the text; a run of records whose addresses
 * follow each other is one piece. Only when pieces are out of order, touch or overlap is anything
 * sorted or copied, so the usual file costs one pass. */
#include "base/arena.h"
#include "base/err.h"
#include "base/text.h"
#include "data/dump.h"

enum { LU_IMAGE_SLACK = 64 }; /* bytes behind the used part that may be scribbled on */

typedef struct lu_piece {
  uint64_t addr; /* byte address of the first byte */
  size_t at;     /* where it lies in buf */
  size_t len;    /* set once the next piece has begun */
} lu_piece;

typedef struct lu_image {
  lu_arena *mem;
  uint8_t *buf;
  size_t used, room; /* bytes of buf; LU_IMAGE_SLACK more are writable behind room */
  uint64_t next;     /* the address that follows the last byte; valid if count > 0 */
  lu_piece *pieces;
  size_t count, pieces_room;
  const char **notes; /* things accepted with a remark */
  size_t note_count, notes_room;
  bool has_addresses; /* set by the parser; true from the start */
  bool locating;      /* second pass: find where two bytes of buf came from */
  size_t want[2];     /* offsets in buf */
  size_t place[2];    /* offsets in the text */
} lu_image;

/* A parser appends all of in to img. plain: leave out the machine's special instructions. */
typedef lu_status (*lu_image_parse)(lu_bytes in, lu_image *img, bool plain, lu_err *err);

/* Parses in and makes a dump of it. what: "Intel HEX records", for messages.
 * ERR_SYNTAX for an empty input, no data, what parse reports, and two records that give one byte
 * different values (both places are named). Cost: one pass; in.len / 2 bytes of mem and up. */
LU_MUST_USE lu_status lu_image_read(lu_bytes in, lu_arena *mem, const char *format,
                                    const char *what, lu_image_parse parse, bool plain,
                                    lu_dump **out, lu_err *err);

/* Makes sure that more bytes fit behind used. False if memory is refused. */
bool lu_image_reserve(lu_image *img, size_t more);

/* Room for len (at least 1) bytes at addr, for the caller to fill; NULL if memory is refused.
 * text: offset of the first byte's digits in the input, each byte stride characters long. */
uint8_t *lu_image_put(lu_image *img, uint64_t addr, size_t len, size_t text, size_t stride);

/* The same where most bytes follow the last ones. */
static inline uint8_t *lu_image_more(lu_image *img, uint64_t addr, size_t len, size_t text,
                                     size_t stride)
{
  if (!img->count || img->next != addr || img->locating || len > img->room - img->used)
    return lu_image_put(img, addr, len, text, stride);
  uint8_t *to = img->buf + img->used;
  img->used += len;
  img->next = addr + len;
  return to;
}

/* Adds a remark; false if memory is refused. */
bool lu_image_note(lu_image *img, const char *format, ...) __attribute__((format(printf, 2, 3)));

/* Line and column (from 1) of an offset in a text. CR, LF and CRLF end a line. */
void lu_image_place(lu_bytes in, size_t offset, uint32_t *line, uint32_t *column);

#endif
