/* SPDX-License-Identifier: MIT */
#include "link/memio.h"

#include "link/codes.h"

void lu_march_expect(const lu_march *m, unsigned data_bits, uint32_t done, uint16_t *crc,
                     uint32_t *sum)
{
  uint32_t at = m->down ? m->at + m->words - 1 : m->at;
  for (uint32_t i = 0; i < done; i++, at += m->down ? (uint32_t)-1 : 1)
    for (size_t k = 0; k < m->op_count; k++) {
      if (m->ops[k].write)
        continue;
      uint16_t w = lu_march_word(m, &m->ops[k], at, data_bits);
      uint8_t bytes[2] = {(uint8_t)w, (uint8_t)(w >> 8)};
      *crc = lu_crc16(*crc, bytes, data_bits > 8 ? 2 : 1);
      *sum += w;
    }
}
