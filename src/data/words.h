/* SPDX-License-Identifier: MIT */
#ifndef LU_DATA_WORDS_H
#define LU_DATA_WORDS_H
/* Bytes of a dump as the words that a vantage sees, and words of several chips as one. */
#include "base/arena.h"
#include "base/err.h"
#include "data/dump.h"

typedef enum lu_byte_order {
  LU_ORDER_BIG,   /* the most significant byte of a word comes first in a dump */
  LU_ORDER_LITTLE /* the least significant byte comes first */
} lu_byte_order;

enum { LU_WIDTH_MOST = 64 };

/* How a block of memory stands in a dump. */
typedef struct lu_block_shape {
  uint64_t base;  /* byte address of its first byte, a multiple of the bytes in a word */
  uint64_t size;  /* bytes, a multiple of the bytes in a word; 0 = as much as the dump covers */
  unsigned width; /* bits a word, 1..LU_WIDTH_MOST */
  lu_byte_order order;
} lu_block_shape;

/* Bytes that a word takes in a dump: width / 8 rounded up (a 4-bit word takes one, 24 bits three).
 */
unsigned lu_word_dump_bytes(unsigned width);
/* Bytes that a word takes in lu_words: 1, 2, 4 or 8. */
unsigned lu_word_held_bytes(unsigned width);

/* The block's words out of a dump.
 *
 * dump    with addresses: its spans lie inside the block and may leave gaps; without: it starts at
 *         the block's base and has exactly its size. With shape->size 0 the block is what the dump
 *         covers: from shape->base without addresses, from the first address (rounded down to a
 * word; shape->base is not used) with them *out    at borrows the dump's bytes where they already
 * stand as words, else it lives in mem. A word of which a byte is missing counts as not read and is
 * 0. Bits above width are dropped ERR_VALUE  dump and block do not match (the message has both in
 * bytes), no whole word was read ERR_LIMIT  over 4 GiB     ERR_NOMEM Cost    one pass at memory
 * speed; nothing where bytes are borrowed */
LU_MUST_USE lu_status lu_words_from_dump(const lu_dump *dump, const lu_block_shape *shape,
                                         lu_arena *mem, lu_words *out, lu_err *err);

/* One chip's share of a wider word. */
typedef struct lu_lane {
  const lu_words *words;
  unsigned first_bit; /* where the chip's bit 0 goes; the others follow upwards; unused with bits */
  const uint8_t
      *bits; /* bits[words->width]: the bit that each of the chip's bits becomes, or NULL */
} lu_lane;

/* Several chips read one by one, as the words of the block that they serve together.
 *
 * lanes[count]   1..64 of them, of the same base and number of words; no bit is given twice
 * width          of the result, 1..LU_WIDTH_MOST
 * *bits_read     may be NULL: bit i set = some lane gives bit i; the others are 0 in every word
 * *out           lives in mem; a word counts as read if every lane read it
 * ERR_VALUE      lanes differ in length (the message has both in bytes) or base, a bit is given
 * twice or beyond width    ERR_NOMEM */
LU_MUST_USE lu_status lu_words_interleave(const lu_lane *lanes, size_t count, unsigned width,
                                          lu_arena *mem, lu_words *out, uint64_t *bits_read,
                                          lu_err *err);

#endif
