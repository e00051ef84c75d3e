/* SPDX-License-Identifier: MIT */
#ifndef LU_LINK_CODES_H
#define LU_LINK_CODES_H
/* Check codes and framings that travel over links, and digests that known good ROMs are named by.
 *
 * CRC-16 is the polynomial 0x1021, most significant bit first: from 0xFFFF it is the catalogue's
 * CRC-16/IBM-3740 (our reader's frames), from 0 it is CRC-16/XMODEM. CRC-32 is CRC-32/ISO-HDLC.
 * SHA-1 and SHA-256 follow FIPS 180-4. COBS follows Cheshire and Baker, SIGCOMM 1997. */
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

enum { LU_CRC16_FRAME = 0xFFFF, LU_CRC16_XMODEM = 0, LU_SHA1_LEN = 20, LU_SHA256_LEN = 32 };

/* May be continued: pass what the last call returned. */
uint16_t lu_crc16(uint16_t from, const void *at, size_t len);
/* so_far is 0 to begin with; may be continued. */
uint32_t lu_crc32(uint32_t so_far, const void *at, size_t len);

void lu_sha1(const void *at, size_t len, uint8_t out[LU_SHA1_LEN]);
void lu_sha256(const void *at, size_t len, uint8_t out[LU_SHA256_LEN]);

/* Bytes that len bytes may grow to, without the closing 00. */
static inline size_t lu_cobs_room(size_t len)
{
  return len + len / 254 + 1;
}
/* Writes the coded bytes (no 00 among them, none at the end); returns how many. */
size_t lu_cobs_encode(const uint8_t *at, size_t len, uint8_t *out);
/* at[len] is one frame without its closing 00; out needs len bytes and may be at itself.
 * False if there is a 00 inside or a code points past the end. */
bool lu_cobs_decode(const uint8_t *at, size_t len, uint8_t *out, size_t *out_len);

#endif
