/* SPDX-License-Identifier: MIT */
#include "link/codes.h"

#include <string.h>

uint16_t lu_crc16(uint16_t from, const void *at, size_t len)
{
  const uint8_t *p = at;
  uint32_t crc = from;
  for (size_t i = 0; i < len; i++) {
    /* Eight steps of the division at once: the byte's own remainder has only a few taps. */
    uint32_t x = (crc >> 8 ^ p[i]) & 0xFF;
    x ^= x >> 4;
    crc = (crc << 8 ^ x << 12 ^ x << 5 ^ x) & 0xFFFF;
  }
  return (uint16_t)crc;
}

uint32_t lu_crc32(uint32_t so_far, const void *at, size_t len)
{
  /* Remainders of the sixteen nibbles, reflected polynomial 0xEDB88320. */
  static const uint32_t nibble[16] = {
      0x00000000, 0x1DB71064, 0x3B6E20C8, 0x26D930AC, 0x76DC4190, 0x6B6B51F4,
      0x4DB26158, 0x5005713C, 0xEDB88320, 0xF00F9344, 0xD6D6A3E8, 0xCB61B38C,
      0x9B64C2B0, 0x86D3D2D4, 0xA00AE278, 0xBDBDF21C};
  const uint8_t *p = at;
  uint32_t crc = ~so_far;
  for (size_t i = 0; i < len; i++) {
    crc ^= p[i];
    crc = crc >> 4 ^ nibble[crc & 15];
    crc = crc >> 4 ^ nibble[crc & 15];
  }
  return ~crc;
}

static uint32_t left(uint32_t x, unsigned n)
{
  return x << n | x >> (32 - n);
}

static uint32_t right(uint32_t x, unsigned n)
{
  return x >> n | x << (32 - n);
}

static void words_of(const uint8_t block[64], uint32_t w[16])
{
  for (unsigned i = 0; i < 16; i++)
    w[i] = (uint32_t)block[4 * i] << 24 | (uint32_t)block[4 * i + 1] << 16 |
           (uint32_t)block[4 * i + 2] << 8 | block[4 * i + 3];
}

/* FIPS 180-4, 6.1.2 */
static void sha1_block(uint32_t h[8], const uint8_t block[64])
{
  uint32_t w[80];
  words_of(block, w);
  for (unsigned t = 16; t < 80; t++)
    w[t] = left(w[t - 3] ^ w[t - 8] ^ w[t - 14] ^ w[t - 16], 1);
  uint32_t a = h[0], b = h[1], c = h[2], d = h[3], e = h[4];
  for (unsigned t = 0; t < 80; t++) {
    uint32_t f, k;
    if (t < 20) {
      f = (b & c) | (~b & d);
      k = 0x5A827999;
    } else if (t < 40) {
      f = b ^ c ^ d;
      k = 0x6ED9EBA1;
    } else if (t < 60) {
      f = (b & c) | (b & d) | (c & d);
      k = 0x8F1BBCDC;
    } else {
      f = b ^ c ^ d;
      k = 0xCA62C1D6;
    }
    uint32_t next = left(a, 5) + f + e + k + w[t];
    e = d;
    d = c;
    c = left(b, 30);
    b = a;
    a = next;
  }
  h[0] += a;
  h[1] += b;
  h[2] += c;
  h[3] += d;
  h[4] += e;
}

/* FIPS 180-4, 4.2.2: the fractional parts of the cube roots of the first 64 primes. */
static const uint32_t sha256_k[64] = {
    0x428a2f98, 0x71374491, 0xb5c0fbcf, 0xe9b5dba5, 0x3956c25b, 0x59f111f1, 0x923f82a4, 0xab1c5ed5,
    0xd807aa98, 0x12835b01, 0x243185be, 0x550c7dc3, 0x72be5d74, 0x80deb1fe, 0x9bdc06a7, 0xc19bf174,
    0xe49b69c1, 0xefbe4786, 0x0fc19dc6, 0x240ca1cc, 0x2de92c6f, 0x4a7484aa, 0x5cb0a9dc, 0x76f988da,
    0x983e5152, 0xa831c66d, 0xb00327c8, 0xbf597fc7, 0xc6e00bf3, 0xd5a79147, 0x06ca6351, 0x14292967,
    0x27b70a85, 0x2e1b2138, 0x4d2c6dfc, 0x53380d13, 0x650a7354, 0x766a0abb, 0x81c2c92e, 0x92722c85,
    0xa2bfe8a1, 0xa81a664b, 0xc24b8b70, 0xc76c51a3, 0xd192e819, 0xd6990624, 0xf40e3585, 0x106aa070,
    0x19a4c116, 0x1e376c08, 0x2748774c, 0x34b0bcb5, 0x391c0cb3, 0x4ed8aa4a, 0x5b9cca4f, 0x682e6ff3,
    0x748f82ee, 0x78a5636f, 0x84c87814, 0x8cc70208, 0x90befffa, 0xa4506ceb, 0xbef9a3f7, 0xc67178f2};

/* FIPS 180-4, 6.2.2 */
static void sha256_block(uint32_t h[8], const uint8_t block[64])
{
  uint32_t w[64], s[8];
  words_of(block, w);
  for (unsigned t = 16; t < 64; t++) {
    uint32_t s0 = right(w[t - 15], 7) ^ right(w[t - 15], 18) ^ w[t - 15] >> 3;
    uint32_t s1 = right(w[t - 2], 17) ^ right(w[t - 2], 19) ^ w[t - 2] >> 10;
    w[t] = w[t - 16] + s0 + w[t - 7] + s1;
  }
  memcpy(s, h, sizeof s);
  for (unsigned t = 0; t < 64; t++) {
    uint32_t e = s[4], a = s[0];
    uint32_t t1 = s[7] + (right(e, 6) ^ right(e, 11) ^ right(e, 25)) + ((e & s[5]) ^ (~e & s[6])) +
                  sha256_k[t] + w[t];
    uint32_t t2 = (right(a, 2) ^ right(a, 13) ^ right(a, 22)) +
                  ((a & s[1]) ^ (a & s[2]) ^ (s[1] & s[2]));
    memmove(s + 1, s, 7 * sizeof *s);
    s[4] += t1;
    s[0] = t1 + t2;
  }
  for (unsigned i = 0; i < 8; i++)
    h[i] += s[i];
}

/* Both digests pad alike: a one bit, zeros, and the length in bits (FIPS 180-4, 5.1.1). */
static void digest(const uint8_t *at, size_t len, uint32_t h[8],
                   void (*block)(uint32_t h[8], const uint8_t at[64]))
{
  size_t whole = len / 64 * 64, rest = len - whole;
  for (size_t i = 0; i < whole; i += 64)
    block(h, at + i);
  uint8_t tail[128] = {0};
  if (rest)
    memcpy(tail, at + whole, rest);
  tail[rest] = 0x80;
  size_t end = rest < 56 ? 64 : 128;
  uint64_t bits = (uint64_t)len * 8;
  for (unsigned i = 0; i < 8; i++)
    tail[end - 1 - i] = (uint8_t)(bits >> (8 * i));
  for (size_t i = 0; i < end; i += 64)
    block(h, tail + i);
}

static void bytes_of(const uint32_t *h, size_t words, uint8_t *out)
{
  for (size_t i = 0; i < words * 4; i++)
    out[i] = (uint8_t)(h[i / 4] >> (24 - 8 * (i % 4)));
}

void lu_sha1(const void *at, size_t len, uint8_t out[LU_SHA1_LEN])
{
  uint32_t h[8] = {0x67452301, 0xEFCDAB89, 0x98BADCFE, 0x10325476, 0xC3D2E1F0};
  digest(at, len, h, sha1_block);
  bytes_of(h, 5, out);
}

void lu_sha256(const void *at, size_t len, uint8_t out[LU_SHA256_LEN])
{
  uint32_t h[8] = {0x6a09e667, 0xbb67ae85, 0x3c6ef372, 0xa54ff53a,
                   0x510e527f, 0x9b05688c, 0x1f83d9ab, 0x5be0cd19};
  digest(at, len, h, sha256_block);
  bytes_of(h, 8, out);
}

size_t lu_cobs_encode(const uint8_t *at, size_t len, uint8_t *out)
{
  size_t n = 1, code_at = 0;
  uint8_t code = 1;
  for (size_t i = 0; i < len; i++) {
    if (at[i]) {
      out[n++] = at[i];
      code++;
    }
    if (!at[i] || (code == 0xFF && i + 1 < len)) {
      out[code_at] = code;
      code_at = n++;
      code = 1;
    }
  }
  out[code_at] = code;
  return n;
}

bool lu_cobs_decode(const uint8_t *at, size_t len, uint8_t *out, size_t *out_len)
{
  size_t i = 0, n = 0;
  if (!len)
    return false;
  while (i < len) {
    uint8_t code = at[i++];
    if (!code || (size_t)(code - 1) > len - i)
      return false;
    for (uint8_t k = 1; k < code; k++) {
      if (!at[i])
        return false;
      out[n++] = at[i++];
    }
    if (code != 0xFF && i < len)
      out[n++] = 0;
  }
  *out_len = n;
  return true;
}
