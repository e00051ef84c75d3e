/* SPDX-License-Identifier: MIT */
#define _GNU_SOURCE
/* Talks with text devices and XMODEM senders that live in this file, in simulated time. XMODEM check
 * values are worked out from the protocol's rules: header of block 1 is 01 01 FE, 128 bytes 1A sum to
 * 00 and have CRC F8B0, bytes 00 to 7F sum to C0 and have CRC E80A. */
#include "link/codes.h"
#include "link/textlink.h"
#include "link/xmodem.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

/* ---- a device that hears bytes one by one and may say something ---- */
static struct device {
  uint64_t now_us;
  uint8_t out[1 << 20];
  size_t out_len, out_at;
  void (*hear)(uint8_t byte);
  char line[128];
  size_t line_len;
  uint64_t heard, last_heard_us, least_gap_us;
  size_t unplug_at; /* of what it says; 0 = never */
  unsigned piece;   /* bytes a read gives at most; 0 = any */
} dev;

static void say(const void *at, size_t len)
{
  memcpy(dev.out + dev.out_len, at, len);
  dev.out_len += len;
}

static lu_status dev_read(void *self, uint8_t *to, size_t room, unsigned ms, size_t *got, lu_err *err)
{
  (void)self;
  size_t n = dev.out_len - dev.out_at;
  if (dev.unplug_at && dev.out_at >= dev.unplug_at)
    return lu_fail(err, LU_ERR_DEVICE, 0, 0, "dev: unplugged");
  if (n > room)
    n = room;
  if (dev.piece && n > dev.piece)
    n = dev.piece;
  memcpy(to, dev.out + dev.out_at, n);
  dev.out_at += n;
  dev.now_us += n ? n * 100 : (uint64_t)ms * 1000;
  *got = n;
  return LU_OK;
}

static lu_status dev_write(void *self, const uint8_t *at, size_t len, unsigned ms, lu_err *err)
{
  (void)self;
  (void)ms;
  (void)err;
  for (size_t i = 0; i < len; i++) {
    uint64_t gap = dev.now_us - dev.last_heard_us;
    if (dev.heard++ && gap < dev.least_gap_us)
      dev.least_gap_us = gap;
    dev.last_heard_us = dev.now_us;
    dev.hear(at[i]);
  }
  return LU_OK;
}

static uint64_t dev_now(void *self)
{
  (void)self;
  return dev.now_us;
}

static void dev_pause(void *self, unsigned ms)
{
  (void)self;
  dev.now_us += (uint64_t)ms * 1000;
}

static void dev_close(void *self)
{
  (void)self;
}

static const lu_transport dev_link = {NULL, "dev", dev_read, dev_write, NULL, dev_now, dev_pause, dev_close};

static void start(void (*hear)(uint8_t byte))
{
  memset(&dev, 0, sizeof dev);
  dev.hear = hear;
  dev.least_gap_us = UINT64_MAX;
}

/* ---- a monitor program: echoes, "show FROM TO", prints rows, "ok> " ---- */
static uint8_t memory_at(unsigned a)
{
  return (uint8_t)(a * 5 + (a >> 8));
}

static void monitor(uint8_t byte)
{
  char text[128];
  if (byte != '\r') {
    say(&byte, 1);
    if (dev.line_len < sizeof dev.line - 1)
      dev.line[dev.line_len++] = (char)byte;
    return;
  }
  dev.line[dev.line_len] = '\0';
  dev.line_len = 0;
  say("\r\n", 2);
  unsigned from, to;
  if (sscanf(dev.line, "show %x %x", &from, &to) == 2)
    for (unsigned a = from; a <= to; a += 16) {
      int n = snprintf(text, sizeof text, "%04X ", a);
      for (unsigned i = 0; i < 16; i++)
        n += snprintf(text + n, sizeof text - (size_t)n, " %02X", memory_at(a + i));
      n += snprintf(text + n, sizeof text - (size_t)n, "  ................\r\n");
      say(text, (size_t)n);
    }
  else if (dev.line[0])
    say("what?\r\n", 7);
  say("ok> ", 4);
}

static void templates_put_addresses_in(void **state)
{
  (void)state;
  static const struct {
    const char *template, *out;
  } rows[] = {
      {"show {from:4} {to:4}\\r", "show 0C00 0CFF\r"}, {"{from}", "C00"},
      {"{from:d} {count:d6}", "3072 000256"},          {"\\x41\\\\\\{\\e", "A\\{\033"},
      {"plain", "plain"},                              {"", ""},
  };
  char out[64];
  size_t len;
  lu_err err = {0};
  for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
    assert_int_equal(lu_text_template(rows[i].template, 0xC00, 0x100, out, sizeof out, &len, &err), LU_OK);
    assert_int_equal(len, strlen(rows[i].out));
    assert_memory_equal(out, rows[i].out, len);
  }
  static const char *const bad[] = {"ab{form}", "ab\\q", "ab{from:99}", "ab{from", "ab\\x4"};
  for (size_t i = 0; i < sizeof bad / sizeof *bad; i++) {
    assert_int_equal(lu_text_template(bad[i], 0, 0, out, sizeof out, &len, &err), LU_ERR_USAGE);
    assert_int_equal(err.column, 3);
  }
  assert_int_equal(lu_text_template("12345", 0, 0, out, 4, &len, &err), LU_ERR_USAGE);
}

static void talks_in_steps_and_sifts(void **state)
{
  (void)state;
  start(monitor);
  static const char *const sends[] = {"show {from:4} {to:4}\\r"};
  lu_text_talk talk = {.sends = sends, .send_count = 1, .prompt = "ok>", .from = 0x1000, .count = 0x400,
                       .step = 0x100, .char_ms = 2, .line_ms = 10};
  lu_inflow flow = {0};
  lu_err err = {0};
  if (lu_text_take(&dev_link, &talk, NULL, &flow, &err) != LU_OK)
    fail_msg("%s", err.message);
  assert_true(dev.least_gap_us >= 2000);
  char *kept = malloc(flow.len);
  size_t n = lu_text_sift((lu_bytes){flow.at, flow.len}, kept), rows = 0;
  for (size_t i = 0; i < n; i++)
    rows += kept[i] == '\n';
  assert_int_equal(rows, 64);
  assert_memory_equal(kept, "1000  ", 6);
  assert_null(memmem(kept, n, "ok>", 3));
  assert_null(memmem(kept, n, "show", 4));
  free(kept);
  lu_inflow_free(&flow);
}

static void quiet_and_promptless_devices_are_told(void **state)
{
  (void)state;
  lu_inflow flow = {0};
  lu_err err = {0};
  start(monitor);
  lu_text_talk listen_only = {.first_ms = 3000};
  assert_int_equal(lu_text_take(&dev_link, &listen_only, NULL, &flow, &err), LU_ERR_DEVICE);
  assert_non_null(strstr(err.message, "nothing came within 3000 ms"));
  assert_in_range(dev.now_us, 3000000, 3200000);
  static const char *const sends[] = {"x\\r"};
  start(monitor);
  lu_text_talk wrong = {.sends = sends, .send_count = 1, .prompt = "READY"};
  assert_int_equal(lu_text_take(&dev_link, &wrong, NULL, &flow, &err), LU_ERR_DEVICE);
  assert_non_null(strstr(err.message, "'READY' did not come"));
  assert_non_null(strstr(err.message, "ok>"));
  lu_inflow_free(&flow);
}

static void unplugged_keeps_what_came(void **state)
{
  (void)state;
  start(monitor);
  say("1000 00 01 02 03\r\n1004 04 05", 27);
  dev.unplug_at = 27;
  lu_text_talk talk = {.idle_ms = 500};
  lu_inflow flow = {0};
  lu_err err = {0};
  assert_int_equal(lu_text_take(&dev_link, &talk, NULL, &flow, &err), LU_ERR_DEVICE);
  assert_int_equal(flow.len, 27);
  lu_inflow_free(&flow);
}

static void sifting_knows_memory_from_talk(void **state)
{
  (void)state;
  static const struct {
    const char *line;
    bool kept;
  } rows[] = {
      {"1000 00 01 02", true},          {"  1000: 00 01 02", true},  {"0x1000: 0001 0203", true},
      {"$1000 A9 00", true},            {"00 01 02 03 04", true},    {":10000000000102030405060708", true},
      {"S1130000000102030405060708", true}, {"ok> show 1000 10FF", false}, {"show 1000", false},
      {"1000.10FF", false},             {"D 1000 1100", false},      {"", false},
      {"BAD ADDRESS", false},           {"add 10 items", false},     {":10 no", false},
      {"00000010  41 42 43 |ABC|", true}, {"checksum 1234", false},
  };
  char out[128];
  for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
    size_t n = lu_text_sift((lu_bytes){(const uint8_t *)rows[i].line, strlen(rows[i].line)}, out);
    if ((n > 0) != rows[i].kept)
      fail_msg("'%s' is %s", rows[i].line, n ? "kept" : "dropped");
  }
}

/* ---- an XMODEM sender with faults ---- */
static struct sender {
  bool knows_crc, crc, started, big;
  unsigned block, blocks;
  unsigned spoil_block;   /* sent wrong the first time */
  unsigned drop_ack_of;   /* the sender misses this block's ACK */
  unsigned cancel_at;
  bool spoilt, dropped, done;
} tx;

static void send_block(void)
{
  uint8_t b[3 + 1024 + 2];
  size_t data = tx.big ? 1024 : 128;
  if (tx.cancel_at && tx.block == tx.cancel_at) {
    say("\x18\x18", 2);
    return;
  }
  if (tx.block > tx.blocks) {
    say("\x04", 1);
    return;
  }
  b[0] = tx.big ? 2 : 1;
  b[1] = (uint8_t)tx.block;
  b[2] = (uint8_t)~tx.block;
  for (size_t i = 0; i < data; i++)
    b[3 + i] = tx.block == 1 ? (uint8_t)(i & 0x7F) : 0x1A;
  uint16_t crc = lu_crc16(LU_CRC16_XMODEM, b + 3, data);
  uint8_t sum = 0;
  for (size_t i = 0; i < data; i++)
    sum = (uint8_t)(sum + b[3 + i]);
  if (!tx.big && tx.block == 1) {
    assert_int_equal(crc, 0xE80A);
    assert_int_equal(sum, 0xC0);
    assert_memory_equal(b, "\x01\x01\xFE", 3);
  } else if (!tx.big) {
    assert_int_equal(crc, 0xF8B0);
    assert_int_equal(sum, 0);
  }
  if (tx.crc) {
    b[3 + data] = (uint8_t)(crc >> 8);
    b[4 + data] = (uint8_t)crc;
  } else {
    b[3 + data] = sum;
  }
  if (tx.block == tx.spoil_block && !tx.spoilt) {
    b[40] ^= 1;
    tx.spoilt = true;
  }
  say(b, 3 + data + (tx.crc ? 2 : 1));
}

static void sender_hears(uint8_t c)
{
  if (!tx.started) {
    if (c == 'C' && !tx.knows_crc)
      return;
    tx.crc = c == 'C';
    tx.started = true;
    tx.block = 1;
    send_block();
  } else if (c == 0x15) {
    send_block();
  } else if (c == 0x06) {
    if (tx.block == tx.drop_ack_of && !tx.dropped) {
      tx.dropped = true;
      send_block();
      return;
    }
    tx.done = tx.block > tx.blocks;
    tx.block++;
    if (!tx.done)
      send_block();
  }
}

static lu_status receive_with(struct sender s, bool crc, lu_inflow *flow, lu_err *err)
{
  start(sender_hears);
  tx = s;
  lu_xmodem o = {.crc = crc};
  *flow = (lu_inflow){0};
  return lu_xmodem_receive(&dev_link, &o, NULL, flow, err);
}

static void xmodem_receives(void **state)
{
  (void)state;
  static const struct {
    struct sender s;
    bool crc;
  } rows[] = {
      {{.knows_crc = true, .blocks = 3}, true},
      {{.knows_crc = true, .blocks = 3}, false},
      {{.knows_crc = false, .blocks = 3}, true}, /* falls back to the sum */
      {{.knows_crc = true, .blocks = 300}, true}, /* the number wraps */
      {{.knows_crc = true, .blocks = 3, .spoil_block = 2}, true},
      {{.knows_crc = true, .blocks = 3, .spoil_block = 2}, false},
      {{.knows_crc = true, .blocks = 3, .drop_ack_of = 2}, true},
      {{.knows_crc = true, .blocks = 2, .big = true}, true},
  };
  for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
    lu_inflow flow;
    lu_err err = {0};
    if (receive_with(rows[i].s, rows[i].crc, &flow, &err) != LU_OK)
      fail_msg("row %zu: %s", i, err.message);
    size_t data = rows[i].s.big ? 1024 : 128;
    assert_int_equal(flow.len, rows[i].s.blocks * data);
    for (size_t k = 0; k < flow.len; k++)
      assert_int_equal(flow.at[k], k < data ? (k & 0x7F) : 0x1A);
    assert_true(tx.done);
    lu_inflow_free(&flow);
  }
}

static void xmodem_tells_what_went_wrong(void **state)
{
  (void)state;
  lu_inflow flow;
  lu_err err = {0};
  assert_int_equal(receive_with((struct sender){.knows_crc = true, .blocks = 9, .cancel_at = 3}, true,
                                &flow, &err), LU_ERR_DEVICE);
  assert_non_null(strstr(err.message, "cancelled after 256 bytes"));
  lu_inflow_free(&flow);
  start(monitor); /* echoes, but sends no block */
  flow = (lu_inflow){0};
  assert_int_equal(lu_xmodem_receive(&dev_link, NULL, NULL, &flow, &err), LU_ERR_DEVICE);
  assert_non_null(strstr(err.message, "nobody sends"));
  assert_true(dev.now_us < 60000000);
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(templates_put_addresses_in),
      cmocka_unit_test(talks_in_steps_and_sifts),
      cmocka_unit_test(quiet_and_promptless_devices_are_told),
      cmocka_unit_test(unplugged_keeps_what_came),
      cmocka_unit_test(sifting_knows_memory_from_talk),
      cmocka_unit_test(xmodem_receives),
      cmocka_unit_test(xmodem_tells_what_went_wrong),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
