/* SPDX-License-Identifier: MIT */
#ifndef LU_LINK_MEMIO_H
#define LU_LINK_MEMIO_H
/* A memory on the bench that can be read and written now, whatever device is in between.
 *
 * Words are 16 bits in host order, of which the low data_bits count. Addresses are word addresses.
 * Every call ends within what limit_ms says for it; what was done before a failure is in *done. */
#include "base/arena.h"
#include "base/err.h"
#include "link/wire.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

typedef struct lu_march_op {
  bool write;
  bool inverse; /* of the background */
} lu_march_op;

/* One march element over a range: all operations on one word before the next word. */
typedef struct lu_march {
  uint32_t at, words;
  bool down;
  uint8_t background; /* LU_WIRE_SOLID ... */
  uint16_t seed;
  size_t op_count;    /* 1 to LU_WIRE_OPERATIONS_MOST */
  lu_march_op ops[LU_WIRE_OPERATIONS_MOST];
} lu_march;

typedef struct lu_march_failure {
  uint32_t address;
  uint8_t op;
  uint16_t expected, got;
} lu_march_failure;

typedef struct lu_march_result {
  uint32_t done;      /* words */
  uint64_t reads, failures;
  uint16_t crc;       /* CRC-16/IBM-3740 over all words read, in order, low byte first */
  uint32_t sum;       /* of all words read */
} lu_march_result;

/* One cycle of a list; got is filled for reads. */
typedef struct lu_cycle {
  uint32_t address;
  bool write;
  uint16_t data, got;
} lu_cycle;

typedef struct lu_memio {
  void *self;
  const char *name;
  unsigned address_bits, data_bits;
  lu_status (*read)(void *self, uint32_t at, uint32_t words, uint16_t *to, uint32_t *done,
                    lu_err *err);
  lu_status (*write)(void *self, uint32_t at, uint32_t words, const uint16_t *from, uint32_t *done,
                     lu_err *err);
  lu_status (*fill)(void *self, uint32_t at, uint32_t words, uint8_t background, uint16_t seed,
                    lu_err *err);
  /* on_failure is called for each failure, in order; false from it ends the element early. */
  lu_status (*march)(void *self, const lu_march *element, lu_march_result *out,
                     bool (*on_failure)(void *to, const lu_march_failure *f), void *to, lu_err *err);
  /* Any number of single cycles, in order. Slower than the others. */
  lu_status (*cycles)(void *self, lu_cycle *list, size_t count, lu_err *err);
  void (*release)(void *self); /* lets go of the lines */
  void (*close)(void *self);
} lu_memio;

/* The word an operation writes or expects. */
static inline uint16_t lu_march_word(const lu_march *m, const lu_march_op *op, uint32_t address,
                                     unsigned data_bits)
{
  uint16_t w = lu_wire_word(m->background, m->seed, address);
  uint16_t mask = data_bits >= 16 ? 0xFFFF : (uint16_t)((1u << data_bits) - 1);
  return (op->inverse ? (uint16_t)~w : w) & mask;
}

/* The signature of an element's first done words (in its order) when nothing fails; goes on from
 * *crc and *sum (LU_CRC16_FRAME and 0 to begin with). */
void lu_march_expect(const lu_march *m, unsigned data_bits, uint32_t done, uint16_t *crc,
                     uint32_t *sum);

#endif
