/* SPDX-License-Identifier: MIT */
#include "core.h"

#include "../link/wire.h"

#include <string.h>
#ifdef __AVR__
#  include <util/crc16.h>
#endif

enum { FIRMWARE_HIGH = 0, FIRMWARE_LOW = 1, ADDRESS_BITS = 24, DATA_BITS = 16 };

core_ring core_rx_at, core_tx_at;
uint8_t core_rx_ring[CORE_RX], core_tx_ring[CORE_TX];

static uint16_t crc_add(uint16_t crc, uint8_t byte)
{
#ifdef __AVR__
  return _crc_xmodem_update(crc, byte);
#else
  uint16_t x = (uint16_t)((crc >> 8 ^ byte) & 0xFF);
  x = (uint16_t)(x ^ x >> 4);
  return (uint16_t)(crc << 8 ^ x << 12 ^ x << 5 ^ x);
#endif
}

/* ---- sending: coded straight into the ring, which holds a block back until its code is known ---- */
static struct {
  uint16_t head;    /* where the next coded byte goes; core_tx_at.head follows a block later */
  uint16_t room;    /* bytes surely free */
  uint16_t code_at; /* the place kept for the block's code */
  uint8_t code;
  uint16_t crc;
} out;

static void out_raw(uint8_t byte)
{
  while (!out.room) {
    hw_idle();
    out.room = (uint16_t)(hw_ring_at(&core_tx_at.tail) - out.head - 1) & (CORE_TX - 1);
  }
  out.room--;
  core_tx_ring[out.head] = byte;
  out.head = (out.head + 1) & (CORE_TX - 1);
}

static void out_publish(uint16_t head)
{
  hw_ring_set(&core_tx_at.head, head);
  hw_send();
}

static void out_block(void)
{
  core_tx_ring[out.code_at] = out.code;
  out.code = 1;
  out.code_at = out.head;
  out_raw(0);
  out_publish(out.code_at);
}

static void out_coded(uint8_t byte)
{
  if (byte) {
    out_raw(byte);
    if (++out.code == 0xFF)
      out_block();
  } else {
    out_block();
  }
}

static void out_byte(uint8_t byte)
{
  out.crc = crc_add(out.crc, byte);
  out_coded(byte);
}

static void out_begin(void)
{
  out.crc = 0xFFFF;
  out.code = 1;
  out.code_at = out.head;
  out_raw(0);
}

static void out_end(void)
{
  uint16_t crc = out.crc;
  out_coded((uint8_t)(crc >> 8));
  out_coded((uint8_t)crc);
  core_tx_ring[out.code_at] = out.code;
  out_raw(0);
  out_publish(out.head);
}

/* ---- requests ---- */
static struct {
  uint8_t frame[LU_WIRE_REQUEST_MOST + 8]; /* coded, then decoded in place */
  uint16_t have;
  bool spoilt; /* longer than any request: skip to its end */
} in;

static struct {
  bool known;      /* identify was sent since the reset */
  uint16_t number; /* of the last request that was answered */
  uint8_t command;
  uint16_t crc;    /* of that request: the same number with other content is refused */
  uint8_t status;
  uint16_t len;    /* of body */
  uint8_t body[24 + 9 * LU_WIRE_FAILURES_MOST];
} last;

static core_memory memory;
static uint32_t rate, rate_next; /* baud; the next one, or 0 */
static bool rate_unproved;
static uint16_t rate_since;

static uint16_t be16(const uint8_t *at)
{
  return (uint16_t)((uint16_t)at[0] << 8 | at[1]);
}

static uint32_t be32(const uint8_t *at)
{
  return (uint32_t)be16(at) << 16 | be16(at + 2);
}

static void add8(uint8_t v)
{
  last.body[last.len++] = v;
}

static void add16(uint16_t v)
{
  add8((uint8_t)(v >> 8));
  add8((uint8_t)v);
}

static void add32(uint32_t v)
{
  add16((uint16_t)(v >> 16));
  add16((uint16_t)v);
}

static void put_at(uint16_t at, uint32_t v, uint8_t bytes)
{
  while (bytes) {
    last.body[at + --bytes] = (uint8_t)v;
    v >>= 8;
  }
}

static void head_out(uint8_t status)
{
  out_begin();
  out_byte(LU_WIRE_VERSION);
  out_byte(last.command | LU_WIRE_REPLY);
  out_byte((uint8_t)(last.number >> 8));
  out_byte((uint8_t)last.number);
  out_byte(status);
}

static void reply(void)
{
  head_out(last.status);
  for (uint16_t i = 0; i < last.len; i++)
    out_byte(last.body[i]);
  out_end();
}

static uint16_t data_mask(void)
{
  return memory.data_bits >= 16 ? 0xFFFF : (uint16_t)((1u << memory.data_bits) - 1);
}

/* Whether words from address stay inside the memory. */
static bool inside(uint32_t address, uint32_t words)
{
  uint32_t size = (uint32_t)1 << memory.address_bits;
  return address < size && words <= size - address;
}

static uint8_t do_identify(void)
{
  static const char name[] = "lineup reader";
  add8(LU_WIRE_VERSION);
  add8(FIRMWARE_HIGH);
  add8(FIRMWARE_LOW);
  add8(ADDRESS_BITS);
  add8(DATA_BITS);
  add16(LU_WIRE_CAN_DRAM | LU_WIRE_CAN_MARCH | LU_WIRE_CAN_LEVELS | LU_WIRE_CAN_RATE);
  for (uint8_t i = 0; name[i]; i++)
    add8((uint8_t)name[i]);
  return LU_WIRE_FINE;
}

static uint8_t do_limits(void)
{
  add16(LU_WIRE_REQUEST_MOST);
  add16(LU_WIRE_READ_MOST);
  add16(LU_WIRE_FAILURES_MOST);
  add32(hw_clock_khz());
  add32(2000000);
  return LU_WIRE_FINE;
}

static bool setup_fits(const core_memory *m)
{
  if (m->kind < LU_WIRE_SRAM || m->kind > LU_WIRE_DRAM || !m->data_bits || m->data_bits > DATA_BITS ||
      !m->address_bits || m->address_bits > ADDRESS_BITS)
    return false;
  if (m->kind != LU_WIRE_DRAM)
    return true;
  return m->row_bits && m->row_bits <= 12 && m->column_bits && m->column_bits <= 12 &&
         m->row_bits + m->column_bits == m->address_bits && m->refresh_bits &&
         m->refresh_bits <= m->row_bits;
}

/* Lines that do not follow when driven, among those that the memory uses. */
static bool find_held(const core_memory *m, uint8_t held[6])
{
  uint8_t sets[4][6];
  hw_levels(sets, m);
  uint8_t lines = m->kind == LU_WIRE_DRAM
                      ? (m->row_bits > m->column_bits ? m->row_bits : m->column_bits)
                      : m->address_bits;
  bool any = false;
  memset(held, 0, 6);
  for (uint8_t i = 0; i < LU_WIRE_PINS; i++) {
    uint8_t bit = (uint8_t)(1 << (i & 7)), at = i >> 3;
    bool used = i < LU_WIRE_PIN_DATA     ? i < lines
                : i < LU_WIRE_PIN_STROBE ? i - LU_WIRE_PIN_DATA < m->data_bits
                                         : true;
    if (used && ((sets[2][at] & bit) || !(sets[3][at] & bit))) {
      held[at] |= bit;
      any = true;
    }
  }
  return any;
}

static uint8_t do_setup(const uint8_t *b, uint16_t len)
{
  if (len != 7)
    return LU_WIRE_LENGTH;
  core_memory m = {.kind = b[0], .address_bits = b[1], .data_bits = b[2], .row_bits = b[3],
                   .column_bits = b[4], .refresh_bits = b[5], .flags = b[6]};
  if (!setup_fits(&m))
    return LU_WIRE_VALUE;
  hw_release();
  memory = (core_memory){0};
  bool supply = hw_supply();
  uint8_t held[6] = {0};
  bool any = supply && find_held(&m, held);
  for (uint8_t i = 0; i < 6; i++)
    add8(held[i]);
  add8(supply);
  if (!supply)
    return LU_WIRE_NO_SUPPLY;
  if (any && !(m.flags & LU_WIRE_DRIVE_ANYWAY))
    return LU_WIRE_HELD;
  memory = m;
  hw_drive(&memory);
  return LU_WIRE_FINE;
}

static bool request_waits(void)
{
  uint16_t head = hw_ring_at(&core_rx_at.head);
  return head != core_rx_at.tail;
}

/* What a stream keeps in registers. What is ready to be sent ends where the block's code will stand. */
typedef struct stream {
  uint16_t head, code_at, crc, tail;
  uint8_t code;
} stream;

/* Sends one byte of what is ready, if the transmitter takes it. */
static inline __attribute__((always_inline)) void stream_send(stream *s)
{
  if (hw_can_send() && s->tail != s->code_at) {
    hw_put(core_tx_ring[s->tail]);
    s->tail = (s->tail + 1) & (CORE_TX - 1);
  }
}

/* Waits until the longest block fits, so that no byte of it has to ask. */
static inline __attribute__((always_inline)) void stream_room(stream *s)
{
  core_tx_at.head = s->code_at;
  while (((uint16_t)(s->tail - s->head - 1) & (CORE_TX - 1)) < 258) {
    stream_send(s);
    core_tx_at.tail = s->tail;
    hw_idle();
    s->tail = core_tx_at.tail;
  }
}

static inline __attribute__((always_inline)) void stream_byte(stream *s, uint8_t byte)
{
  s->crc = crc_add(s->crc, byte);
  stream_send(s);
  if (byte) {
    core_tx_ring[s->head] = byte;
    s->head = (s->head + 1) & (CORE_TX - 1);
    s->code++;
  }
  if (!byte || s->code == 0xFF) {
    core_tx_ring[s->code_at] = s->code;
    s->code = 1;
    s->code_at = s->head;
    s->head = (s->head + 1) & (CORE_TX - 1);
    stream_room(s);
  }
}

/* The data of a frame: n words from address on. An interrupt for each byte costs as much as all the
 * rest, so here the bytes before are sent in between. Not inlined, so that all that
 * counts stays in registers. */
static __attribute__((noinline)) void stream_words(uint32_t address, uint16_t n, bool wide)
{
  hw_hold();
  stream s = {out.head, out.code_at, out.crc, hw_ring_at(&core_tx_at.tail), out.code};
  stream_room(&s);
  for (; n; n--) {
    uint16_t v = hw_read(address++);
    stream_send(&s);
    stream_byte(&s, (uint8_t)v);
    stream_send(&s);
    if (wide)
      stream_byte(&s, (uint8_t)(v >> 8));
  }
  core_tx_at.tail = s.tail;
  out.head = s.head;
  out.room = 0; /* counted anew */
  out.code_at = s.code_at;
  out.crc = s.crc;
  out.code = s.code;
  hw_send();
}

/* Streams; a new request ends it early, since it means that the host has given up on this one. */
static uint8_t do_read(const uint8_t *b, uint16_t len)
{
  if (len != 10)
    return LU_WIRE_LENGTH;
  uint32_t at = be32(b), words = be32(b + 4);
  uint16_t most = be16(b + 8);
  bool wide = memory.data_bits > 8;
  if (!inside(at, words) || !words || most < 2 || most > LU_WIRE_READ_MOST)
    return LU_WIRE_VALUE;
  most >>= wide;
  while (words && !request_waits()) {
    uint16_t n = words < most ? (uint16_t)words : most;
    words -= n;
    head_out(LU_WIRE_FINE);
    for (uint8_t shift = 32; shift;)
      out_byte((uint8_t)(at >> (shift -= 8)));
    stream_words(at, n, wide);
    at += n;
    out_end();
    hw_idle();
  }
  return LU_WIRE_FINE;
}

static uint8_t do_write(const uint8_t *b, uint16_t len)
{
  bool wide = memory.data_bits > 8;
  if (len < 5 || (wide && (len & 1)))
    return LU_WIRE_LENGTH;
  uint32_t at = be32(b);
  uint16_t n = (uint16_t)((len - 4) >> wide);
  if (!inside(at, n) || memory.kind == LU_WIRE_ROM)
    return LU_WIRE_VALUE;
  b += 4;
  for (uint16_t i = 0; i < n; i++) {
    uint16_t v = *b++;
    if (wide)
      v |= (uint16_t)((uint16_t)*b++ << 8);
    hw_write(at++, v);
  }
  add16(n);
  return LU_WIRE_FINE;
}

static uint8_t do_fill(const uint8_t *b, uint16_t len)
{
  if (len != 11)
    return LU_WIRE_LENGTH;
  uint32_t at = be32(b), words = be32(b + 4);
  uint16_t seed = be16(b + 9);
  if (!inside(at, words) || b[8] >= LU_WIRE_BACKGROUNDS || memory.kind == LU_WIRE_ROM)
    return LU_WIRE_VALUE;
  add32(words);
  while (words--) {
    hw_write(at, lu_wire_word(b[8], seed, at));
    at++;
    if (!(at & 0xFF))
      hw_idle();
  }
  return LU_WIRE_FINE;
}

typedef struct march_sum {
  uint32_t failures, sum;
  uint16_t crc;
  uint8_t listed;
} march_sum;

static void march_word(uint32_t at, const uint8_t *ops, uint8_t n, uint16_t plain, march_sum *m)
{
  uint16_t mask = data_mask();
  for (uint8_t i = 0; i < n; i++) {
    uint16_t v = (ops[i] & LU_WIRE_OP_INVERSE ? (uint16_t)~plain : plain) & mask;
    if (ops[i] & LU_WIRE_OP_WRITE) {
      hw_write(at, v);
      continue;
    }
    uint16_t got = hw_read(at) & mask;
    m->crc = crc_add(m->crc, (uint8_t)got);
    if (memory.data_bits > 8)
      m->crc = crc_add(m->crc, (uint8_t)(got >> 8));
    m->sum += got;
    if (got == v)
      continue;
    m->failures++;
    m->listed++;
    add32(at);
    add8(i);
    add16(v);
    add16(got);
  }
}

/* Ends early when the next word's failures might not fit in the reply; the host goes on from there. */
static uint8_t do_march(const uint8_t *b, uint16_t len)
{
  if (len < 15 || len != 15u + b[14])
    return LU_WIRE_LENGTH;
  uint32_t at = be32(b), words = be32(b + 4), done = 0;
  uint16_t seed = be16(b + 10);
  uint8_t n = b[14], reads = 0, writes = 0;
  if (!inside(at, words) || b[8] > 1 || b[9] >= LU_WIRE_BACKGROUNDS || !n ||
      n > LU_WIRE_OPERATIONS_MOST)
    return LU_WIRE_VALUE;
  for (uint8_t i = 0; i < n; i++) {
    if (b[15 + i] > 3)
      return LU_WIRE_VALUE;
    if (b[15 + i] & LU_WIRE_OP_WRITE)
      writes++;
    else
      reads++;
  }
  if (writes && memory.kind == LU_WIRE_ROM)
    return LU_WIRE_VALUE;
  march_sum m = {.crc = be16(b + 12)};
  last.len = 15;
  if (b[8])
    at += words - 1;
  while (done < words && m.listed + reads <= LU_WIRE_FAILURES_MOST) {
    march_word(at, b + 15, n, lu_wire_word(b[9], seed, at), &m);
    at += b[8] ? (uint32_t)-1 : 1;
    done++;
    if (!(at & 0xFF))
      hw_idle();
  }
  put_at(0, done, 4);
  put_at(4, m.failures, 4);
  put_at(8, m.crc, 2);
  put_at(10, m.sum, 4);
  put_at(14, m.listed, 1);
  return LU_WIRE_FINE;
}

/* Single cycles in any order: for patterns whose words are not one background. */
static uint8_t do_cycles(const uint8_t *b, uint16_t len)
{
  uint8_t n = (uint8_t)(len / 7);
  if (!len || len % 7 || n > LU_WIRE_CYCLES_MOST)
    return LU_WIRE_LENGTH;
  for (uint8_t i = 0; i < n; i++)
    if (b[7 * i + 4] > 1 || !inside(be32(b + 7 * i), 1) ||
        (b[7 * i + 4] && memory.kind == LU_WIRE_ROM))
      return LU_WIRE_VALUE;
  for (uint8_t i = 0; i < n; i++, b += 7) {
    if (b[4])
      hw_write(be32(b), be16(b + 5));
    else
      add16(hw_read(be32(b)) & data_mask());
  }
  return LU_WIRE_FINE;
}

static uint8_t do_strobe(const uint8_t *b, uint16_t len)
{
  if (len != 10)
    return LU_WIRE_LENGTH;
  if (b[4] > 1 || b[7] > 63 || !inside(be32(b), 1))
    return LU_WIRE_VALUE;
  add16(hw_strobe(be32(b), b[4], be16(b + 5), b[7], be16(b + 8)));
  return LU_WIRE_FINE;
}

/* Lets go of everything first: a line's own level shows only then. The memory must be set up anew. */
static uint8_t do_levels(void)
{
  uint8_t sets[4][6];
  core_memory none = {0};
  hw_release();
  memory = none;
  bool supply = hw_supply();
  if (supply)
    hw_levels(sets, &none);
  else
    memset(sets, 0, sizeof sets);
  for (uint8_t i = 0; i < 24; i++)
    add8(sets[i / 6][i % 6]);
  add8(supply);
  return supply ? LU_WIRE_FINE : LU_WIRE_NO_SUPPLY;
}

static uint8_t do_timing(const uint8_t *b, uint16_t len)
{
  if (len != 4)
    return LU_WIRE_LENGTH;
  uint8_t v[4];
  memcpy(v, b, 4);
  hw_timing(v);
  for (uint8_t i = 0; i < 4; i++)
    add8(v[i]);
  return LU_WIRE_FINE;
}

static uint8_t do_watch(const uint8_t *b, uint16_t len)
{
  if (len != 3)
    return LU_WIRE_LENGTH;
  uint16_t ms = be16(b + 1);
  if (b[0] >= LU_WIRE_PINS || !ms || ms > 1000)
    return LU_WIRE_VALUE;
  bool first = hw_pin(b[0]), now = first;
  uint32_t changes = 0, samples = 0, high = 0;
  uint16_t start = hw_now();
  while ((uint16_t)(hw_now() - start) < ms) {
    bool v = hw_pin(b[0]);
    samples++;
    high += v;
    changes += v != now;
    now = v;
    if (!(samples & 0xFF))
      hw_idle();
  }
  add8(first);
  add8(now);
  add32(changes);
  add32(samples);
  add32(high);
  return LU_WIRE_FINE;
}

static uint8_t do_rate(const uint8_t *b, uint16_t len)
{
  if (len != 4)
    return LU_WIRE_LENGTH;
  uint32_t near = hw_rate_near(be32(b));
  if (!near)
    return LU_WIRE_VALUE;
  add32(near);
  rate_next = be32(b);
  return LU_WIRE_FINE;
}

static uint8_t dispatch(uint8_t command, const uint8_t *b, uint16_t len)
{
  bool needs = (command >= LU_WIRE_READ && command <= LU_WIRE_STROBE) || command == LU_WIRE_CYCLES;
  if (needs && !memory.kind)
    return LU_WIRE_NO_SETUP;
  switch (command) {
  case LU_WIRE_IDENTIFY:
    return do_identify();
  case LU_WIRE_LIMITS:
    return do_limits();
  case LU_WIRE_SETUP:
    return do_setup(b, len);
  case LU_WIRE_READ:
    return do_read(b, len);
  case LU_WIRE_WRITE:
    return do_write(b, len);
  case LU_WIRE_FILL:
    return do_fill(b, len);
  case LU_WIRE_MARCH:
    return do_march(b, len);
  case LU_WIRE_STROBE:
    return do_strobe(b, len);
  case LU_WIRE_LEVELS:
    return do_levels();
  case LU_WIRE_TIMING:
    return do_timing(b, len);
  case LU_WIRE_WATCH:
    return do_watch(b, len);
  case LU_WIRE_RELEASE:
    hw_release();
    memory = (core_memory){0};
    return LU_WIRE_FINE;
  case LU_WIRE_RATE:
    return do_rate(b, len);
  case LU_WIRE_CYCLES:
    return do_cycles(b, len);
  default:
    return LU_WIRE_UNKNOWN;
  }
}

/* A refusal that leaves the last answer as it is, so that it can still be asked for again. */
static void refuse(uint8_t command, uint16_t number, uint8_t status)
{
  uint8_t kept_command = last.command;
  uint16_t kept_number = last.number;
  last.command = command;
  last.number = number;
  head_out(status);
  out_byte(last.known);
  out_byte((uint8_t)(kept_number >> 8));
  out_byte((uint8_t)kept_number);
  out_end();
  last.command = kept_command;
  last.number = kept_number;
}

static void answer(const uint8_t *f, uint16_t len, uint16_t crc)
{
  uint8_t command = f[1];
  uint16_t number = be16(f + 2);
  rate_unproved = false;
  if (f[0] != LU_WIRE_VERSION) {
    refuse(command, number, LU_WIRE_OTHER_VERSION);
    return;
  }
  /* The same request again: its answer was lost. It is never carried out twice, since an element of
   * a march test that has run has changed what it would find. A read has no such harm. */
  bool again = last.known && number == last.number && command == last.command && crc == last.crc;
  if (again && command != LU_WIRE_READ) {
    reply();
    return;
  }
  uint16_t ahead = (uint16_t)(number - last.number);
  if (!again && command != LU_WIRE_IDENTIFY && (!last.known || !ahead || ahead > 0x7FFF)) {
    refuse(command, number, LU_WIRE_ORDER);
    return;
  }
  last.known = true;
  last.number = number;
  last.command = command;
  last.crc = crc;
  last.len = 0;
  last.status = dispatch(command, f + LU_WIRE_HEAD, (uint16_t)(len - LU_WIRE_HEAD));
  if (command != LU_WIRE_READ || last.status != LU_WIRE_FINE)
    reply();
  if (rate_next) {
    while (!hw_sent())
      hw_idle();
    hw_rate_set(rate_next);
    rate = rate_next;
    rate_next = 0;
    rate_unproved = rate != LU_WIRE_FIRST_RATE;
    rate_since = hw_now();
  }
}

/* Decodes the collected frame in place; false unless it is sound. */
static bool frame_decode(uint16_t *len)
{
  uint8_t *f = in.frame;
  uint16_t i = 0, n = 0;
  while (i < in.have) {
    uint8_t code = f[i++];
    if ((uint16_t)(code - 1) > (uint16_t)(in.have - i))
      return false;
    for (uint8_t k = 1; k < code; k++)
      f[n++] = f[i++];
    if (code != 0xFF && i < in.have)
      f[n++] = 0;
  }
  if (n < LU_WIRE_HEAD + 2)
    return false;
  uint16_t crc = 0xFFFF;
  for (i = 0; i < n - 2; i++)
    crc = crc_add(crc, f[i]);
  *len = n - 2;
  return crc == be16(f + n - 2);
}

void core_reset(void)
{
  core_rx_at.head = core_rx_at.tail = core_tx_at.head = core_tx_at.tail = 0;
  memset(&out, 0, sizeof out);
  memset(&in, 0, sizeof in);
  memset(&last, 0, sizeof last);
  memory = (core_memory){0};
  rate = LU_WIRE_FIRST_RATE;
  rate_next = 0;
  rate_unproved = false;
}

bool core_step(void)
{
  if (rate_unproved && (uint16_t)(hw_now() - rate_since) > LU_WIRE_RATE_PROOF_MS) {
    rate_unproved = false;
    rate = LU_WIRE_FIRST_RATE;
    hw_rate_set(rate);
  }
  while (request_waits()) {
    uint8_t byte = core_rx_ring[core_rx_at.tail];
    hw_ring_set(&core_rx_at.tail, (core_rx_at.tail + 1) & (CORE_RX - 1));
    if (byte) {
      if (in.have < sizeof in.frame)
        in.frame[in.have++] = byte;
      else
        in.spoilt = true;
      continue;
    }
    uint16_t len;
    bool sound = !in.spoilt && frame_decode(&len);
    in.have = 0;
    in.spoilt = false;
    if (sound) {
      /* the body stays in in.frame, which nobody touches until the next step */
      answer(in.frame, len, be16(in.frame + len));
      return true;
    }
  }
  return false;
}
