/* SPDX-License-Identifier: MIT */
/* Check codes against published values. CRC checks: G. Cook, Catalogue of parametrised CRC
 * algorithms (check = CRC of "123456789"). SHA: FIPS 180-4 with the NIST example messages. COBS:
 * Cheshire and Baker, SIGCOMM 1997 (the twelve-byte example is the paper's, from memory); the rest of
 * its rows follow from the rule in that paper. Memory fills: worked out bit by bit, elsewhere. */
#include "link/codes.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

static void crcs_match_the_catalogue(void **state)
{
  (void)state;
  assert_int_equal(lu_crc16(LU_CRC16_FRAME, "123456789", 9), 0x29B1);
  assert_int_equal(lu_crc16(LU_CRC16_XMODEM, "123456789", 9), 0x31C3);
  assert_true(lu_crc32(0, "123456789", 9) == 0xCBF43926u);
  assert_int_equal(lu_crc16(LU_CRC16_FRAME, "", 0), 0xFFFF);
  assert_true(lu_crc32(0, "", 0) == 0);
}

static void crcs_of_memory_fills(void **state)
{
  (void)state;
  static uint8_t fill[65536];
  assert_int_equal(lu_crc16(LU_CRC16_FRAME, fill, 256), 0x41E8);
  assert_true(lu_crc32(0, fill, 256) == 0x0D968558u);
  assert_true(lu_crc32(0, fill, sizeof fill) == 0xD7978EEBu);
  assert_int_equal(lu_crc16(LU_CRC16_FRAME, fill, sizeof fill), 0x1D0F);
  memset(fill, 0xFF, sizeof fill);
  assert_int_equal(lu_crc16(LU_CRC16_FRAME, fill, 256), 0x5B2F);
  assert_int_equal(lu_crc16(LU_CRC16_XMODEM, fill, sizeof fill), 0x1D0F);
  assert_true(lu_crc32(0, fill, sizeof fill) == 0xDEAB7E4Eu);
  for (unsigned i = 0; i < 256; i++)
    fill[i] = (uint8_t)i;
  assert_int_equal(lu_crc16(LU_CRC16_XMODEM, fill, 256), 0x7E55);
  assert_int_equal(lu_crc16(LU_CRC16_FRAME, fill, 256), 0x3FBD);
  assert_true(lu_crc32(0, fill, 256) == 0x29058C73u);
  assert_true(lu_crc32(lu_crc32(0, fill, 100), fill + 100, 156) == 0x29058C73u);
  assert_int_equal(lu_crc16(lu_crc16(LU_CRC16_FRAME, fill, 3), fill + 3, 253), 0x3FBD);
}

static const char *hex(const uint8_t *at, size_t len)
{
  static char text[65];
  for (size_t i = 0; i < len; i++)
    snprintf(text + 2 * i, 3, "%02x", at[i]);
  return text;
}

static void digests_match_the_standard(void **state)
{
  (void)state;
  static const struct {
    const char *text, *sha1, *sha256;
  } rows[] = {
      {"", "da39a3ee5e6b4b0d3255bfef95601890afd80709",
       "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855"},
      {"abc", "a9993e364706816aba3e25717850c26c9cd0d89d",
       "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"},
      {"abcdbcdecdefdefgefghfghighijhijkijkljklmklmnlmnomnopnopq",
       "84983e441c3bd26ebaae4aa1f95129e5e54670f1",
       "248d6a61d20638b8e5c026930c3e6039a33ce45964ff2167f6ecedd419db06c1"},
  };
  uint8_t out[32];
  for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
    lu_sha1(rows[i].text, strlen(rows[i].text), out);
    assert_string_equal(hex(out, 20), rows[i].sha1);
    lu_sha256(rows[i].text, strlen(rows[i].text), out);
    assert_string_equal(hex(out, 32), rows[i].sha256);
  }
  char *a = malloc(1000000);
  assert_non_null(a);
  memset(a, 'a', 1000000);
  lu_sha1(a, 1000000, out);
  assert_string_equal(hex(out, 20), "34aa973cd4c4daa4f61eeb2bdbad27316534016f");
  lu_sha256(a, 1000000, out);
  assert_string_equal(hex(out, 32),
                      "cdc76e5c9914fb9281a1c7e284d73e67f1809a48a497200e046d39ccc7112cd0");
  free(a);
}

static void cobs_both_ways(const uint8_t *data, size_t len, const uint8_t *coded, size_t coded_len)
{
  uint8_t out[600];
  size_t n;
  assert_int_equal(lu_cobs_encode(data, len, out), coded_len);
  assert_memory_equal(out, coded, coded_len);
  assert_true(lu_cobs_decode(coded, coded_len, out, &n));
  assert_int_equal(n, len);
  if (len)
    assert_memory_equal(out, data, len);
}
#define ROW(d, c) cobs_both_ways((const uint8_t *)d, sizeof d - 1, (const uint8_t *)c, sizeof c - 1)

static void cobs_matches_the_paper(void **state)
{
  (void)state;
  ROW("", "\x01");
  ROW("\x00", "\x01\x01");
  ROW("\x00\x00", "\x01\x01\x01");
  ROW("\x00\x11\x00", "\x01\x02\x11\x01");
  ROW("\x11\x22\x00\x33", "\x03\x11\x22\x02\x33");
  ROW("\x11\x22\x33\x44", "\x05\x11\x22\x33\x44");
  ROW("\x11\x00\x00\x00", "\x02\x11\x01\x01\x01");
  ROW("\x45\x00\x00\x2C\x4C\x79\x00\x00\x40\x06\x4F\x37",
      "\x02\x45\x01\x04\x2C\x4C\x79\x01\x05\x40\x06\x4F\x37");
  /* runs around 254: first byte, length, coded length, last bytes */
  static const struct {
    uint8_t first;
    size_t len, coded_len;
    uint8_t head, tail[2];
  } runs[] = {{1, 254, 255, 0xFF, {0xFD, 0xFE}},
              {0, 255, 256, 0x01, {0xFD, 0xFE}},
              {1, 255, 257, 0xFF, {0x02, 0xFF}},
              {2, 255, 257, 0xFF, {0x01, 0x01}},
              {3, 255, 256, 0xFE, {0x02, 0x01}}};
  for (size_t r = 0; r < sizeof runs / sizeof *runs; r++) {
    uint8_t data[256], coded[300], back[300];
    size_t n;
    for (size_t i = 0; i < runs[r].len; i++)
      data[i] = (uint8_t)(runs[r].first + i);
    assert_int_equal(lu_cobs_encode(data, runs[r].len, coded), runs[r].coded_len);
    assert_int_equal(coded[0], runs[r].head);
    assert_memory_equal(coded + runs[r].coded_len - 2, runs[r].tail, 2);
    assert_true(lu_cobs_decode(coded, runs[r].coded_len, back, &n));
    assert_int_equal(n, runs[r].len);
    assert_memory_equal(back, data, n);
  }
}

static void cobs_takes_both_endings_and_rejects_the_rest(void **state)
{
  (void)state;
  uint8_t coded[256], out[256];
  size_t n;
  coded[0] = 0xFF;
  memset(coded + 1, 7, 254);
  coded[255] = 1;
  assert_true(lu_cobs_decode(coded, 255, out, &n));
  assert_int_equal(n, 254);
  assert_true(lu_cobs_decode(coded, 256, out, &n));
  assert_int_equal(n, 254);
  assert_false(lu_cobs_decode((const uint8_t *)"\x03\x11", 2, out, &n));
  assert_false(lu_cobs_decode((const uint8_t *)"\x03\x11\x00", 3, out, &n));
  assert_false(lu_cobs_decode((const uint8_t *)"\x00", 1, out, &n));
  assert_false(lu_cobs_decode((const uint8_t *)"", 0, out, &n));
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(crcs_match_the_catalogue),
      cmocka_unit_test(crcs_of_memory_fills),
      cmocka_unit_test(digests_match_the_standard),
      cmocka_unit_test(cobs_matches_the_paper),
      cmocka_unit_test(cobs_takes_both_endings_and_rejects_the_rest),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
