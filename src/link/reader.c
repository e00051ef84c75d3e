/* SPDX-License-Identifier: MIT */
#include "link/reader.h"

#include "link/codes.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum {
  CODED_MOST = 1100,    /* coded bytes of the longest reply, with room to spare */
  SPOILT_MOST = 4,      /* spoilt frames in a row, before a read is asked for again */
  FRAME_LEAST = 64,     /* data bytes in a frame on a bad line */
  FIRST_BYTES = 16,     /* shown when the device speaks something else */
  READ_PIECE = 16384,   /* words asked for at once */
  WORK_PIECE = 8192,    /* words of a fill or a march element at once */
  WORK_MS = 1500,       /* that such a piece may take beyond the line's own time */
  IDENTIFY_ATTEMPTS = 12 /* a board that restarts when its port is opened needs a while */
};

struct lu_reader {
  lu_transport t;
  lu_reader_options options;
  lu_reader_identity who;
  lu_reader_memory memory; /* kind 0: none */
  lu_reader_counts counts;
  uint32_t baud;
  uint16_t number;
  unsigned frame_most;     /* data bytes that a frame should carry now: less on a bad line */
  bool gave_up;            /* the last failure was silence, not a refusal */
  uint64_t deadline_us;    /* of the call that runs */
  bool patient;            /* what is spoilt is a board starting up: wait on, do not ask again at once */
  uint8_t coded[CODED_MOST];
  size_t have;
  bool spoilt;
  uint8_t pending[512];    /* came in but not looked at yet */
  size_t pending_at, pending_len;
  uint8_t first[FIRST_BYTES]; /* the first bytes that ever came */
  size_t first_len;
};

typedef enum arrival { CAME, SPOILT, NOTHING } arrival;

typedef struct reply {
  uint8_t command, status;
  uint16_t number;
  const uint8_t *body;
  size_t len;
} reply;

/* ---- numbers on the wire ---- */
static uint16_t be16(const uint8_t *at)
{
  return (uint16_t)(at[0] << 8 | at[1]);
}

static uint32_t be32(const uint8_t *at)
{
  return (uint32_t)be16(at) << 16 | be16(at + 2);
}

typedef struct request {
  uint8_t at[LU_WIRE_REQUEST_MOST];
  size_t len;
} request;

static void put(request *q, uint32_t v, unsigned bytes)
{
  while (bytes--)
    q->at[q->len++] = (uint8_t)(v >> (8 * bytes));
}

static request begin(lu_reader *r, lu_wire_command command)
{
  request q = {.len = 0};
  r->number++;
  put(&q, LU_WIRE_VERSION, 1);
  put(&q, command, 1);
  put(&q, r->number, 2);
  return q;
}

/* ---- time ---- */
static unsigned frame_ms(const lu_reader *r)
{
  return (unsigned)(CODED_MOST * 10u * 1000u / r->baud) + 1;
}

uint64_t lu_reader_limit_ms(const lu_reader *r, uint32_t words)
{
  uint64_t frames = (uint64_t)words * 2 / 512 + 4;
  uint64_t pieces = (uint64_t)words / WORK_PIECE + 1;
  return (frames * (r->options.try_ms + frame_ms(r)) + pieces * WORK_MS) * r->options.attempts + 1000;
}

static void start_call(lu_reader *r, uint32_t words)
{
  r->deadline_us = r->t.now_us(r->t.self) + lu_reader_limit_ms(r, words) * 1000;
}

static unsigned left_ms(const lu_reader *r)
{
  uint64_t now = r->t.now_us(r->t.self);
  uint64_t ms = now >= r->deadline_us ? 0 : (r->deadline_us - now) / 1000;
  return ms > 3600000 ? 3600000 : (unsigned)ms;
}

static unsigned least(unsigned a, unsigned b)
{
  return a < b ? a : b;
}

/* ---- frames ---- */
static lu_status send(lu_reader *r, const request *q, lu_err *err)
{
  uint8_t plain[LU_WIRE_REQUEST_MOST + 2], wire[LU_WIRE_REQUEST_MOST + 16];
  memcpy(plain, q->at, q->len);
  uint16_t crc = lu_crc16(LU_CRC16_FRAME, plain, q->len);
  plain[q->len] = (uint8_t)(crc >> 8);
  plain[q->len + 1] = (uint8_t)crc;
  /* A 00 in front ends whatever noise the reader has collected since the last frame. */
  wire[0] = 0;
  size_t n = 1 + lu_cobs_encode(plain, q->len + 2, wire + 1);
  wire[n++] = 0;
  r->counts.bytes_out += n;
  unsigned ms = least(left_ms(r), r->options.try_ms + frame_ms(r));
  return r->t.write(r->t.self, wire, n, ms ? ms : 1, err);
}

static arrival decode(lu_reader *r, reply *out)
{
  size_t n;
  bool sound = !r->spoilt && lu_cobs_decode(r->coded, r->have, r->coded, &n) &&
               n >= LU_WIRE_REPLY_HEAD + 2 &&
               lu_crc16(LU_CRC16_FRAME, r->coded, n - 2) == be16(r->coded + n - 2);
  r->have = 0;
  r->spoilt = false;
  if (!sound) {
    r->counts.bad_frames++;
    return SPOILT;
  }
  r->counts.frames++;
  *out = (reply){.command = r->coded[1], .number = be16(r->coded + 2), .status = r->coded[4],
                 .body = r->coded + LU_WIRE_REPLY_HEAD, .len = n - 2 - LU_WIRE_REPLY_HEAD};
  return CAME;
}

/* Waits for one frame, sound or not. The reply points into the reader until the next call. */
static lu_status receive(lu_reader *r, unsigned wait_ms, arrival *what, reply *out, lu_err *err)
{
  uint64_t end = r->t.now_us(r->t.self) + (uint64_t)wait_ms * 1000;
  for (;;) {
    while (r->pending_at < r->pending_len) {
      uint8_t byte = r->pending[r->pending_at++];
      if (!byte && r->have) {
        *what = decode(r, out);
        return LU_OK;
      }
      if (byte && r->have < sizeof r->coded)
        r->coded[r->have++] = byte;
      else if (byte)
        r->spoilt = true;
    }
    uint64_t now = r->t.now_us(r->t.self);
    if (now >= end) {
      *what = NOTHING;
      return LU_OK;
    }
    size_t got = 0;
    lu_status s = r->t.read(r->t.self, r->pending, sizeof r->pending,
                            (unsigned)((end - now + 999) / 1000), &got, err);
    if (s != LU_OK)
      return s;
    r->pending_at = 0;
    r->pending_len = got;
    r->counts.bytes_in += got;
    for (size_t i = 0; i < got && r->first_len < FIRST_BYTES; i++)
      r->first[r->first_len++] = r->pending[i];
  }
}

/* ---- what a reader may refuse ---- */
const char *lu_reader_line(unsigned line)
{
  static const char *const strobes[] = {"CS", "OE", "WE", "RAS", "CAS", "CS2"};
  static const char *const numbered[] = {
      "A0",  "A1",  "A2",  "A3",  "A4",  "A5",  "A6",  "A7",  "A8",  "A9",  "A10", "A11", "A12", "A13",
      "A14", "A15", "A16", "A17", "A18", "A19", "A20", "A21", "A22", "A23", "D0",  "D1",  "D2",  "D3",
      "D4",  "D5",  "D6",  "D7",  "D8",  "D9",  "D10", "D11", "D12", "D13", "D14", "D15"};
  if (line < LU_WIRE_PIN_STROBE)
    return numbered[line];
  return line < LU_WIRE_PINS ? strobes[line - LU_WIRE_PIN_STROBE] : NULL;
}

static uint64_t line_set(const uint8_t *at)
{
  uint64_t set = 0;
  for (unsigned i = 0; i < 6; i++)
    set |= (uint64_t)at[i] << (8 * i);
  return set & (((uint64_t)1 << LU_WIRE_PINS) - 1);
}

static lu_status held_lines(const lu_reader *r, uint64_t held, lu_err *err)
{
  char names[140];
  size_t n = 0;
  for (unsigned i = 0; i < LU_WIRE_PINS; i++)
    if (held >> i & 1) {
      if (n > sizeof names - 12) {
        n += (size_t)snprintf(names + n, sizeof names - n, " ...");
        break;
      }
      n += (size_t)snprintf(names + n, sizeof names - n, "%s%s", n ? " " : "", lu_reader_line(i));
    }
  return lu_fail(err, LU_ERR_DEVICE, 0, 0,
                 "%s: held by something else, or shorted: %s; remove or hold the processor (lineup take --levels shows all lines, "
                 "--drive-anyway drives nevertheless)", r->t.name,
                 names);
}

static lu_status refused(const lu_reader *r, const reply *p, lu_err *err)
{
  switch (p->status) {
  case LU_WIRE_HELD:
    return p->len >= 6 ? held_lines(r, line_set(p->body), err)
                       : lu_fail(err, LU_ERR_DEVICE, 0, 0, "%s: lines are held", r->t.name);
  case LU_WIRE_NO_SUPPLY:
    return lu_fail(err, LU_ERR_DEVICE, 0, 0,
                   "%s: no 5 V at the board or chip, so nothing was driven; switch its supply on, or connect the sense wire",
                   r->t.name);
  case LU_WIRE_NO_SETUP:
    return lu_fail(err, LU_ERR_DEVICE, 0, 0, "%s: the reader has no memory set up", r->t.name);
  case LU_WIRE_ORDER:
    return lu_fail(err, LU_ERR_DEVICE, 0, 0,
                   "%s: the reader has started again (power or its watchdog) in the middle of this",
                   r->t.name);
  case LU_WIRE_VALUE:
  case LU_WIRE_LENGTH:
    return lu_fail(err, LU_ERR_VALUE, 0, 0, "%s: the reader refuses the values of command %02x",
                   r->t.name, p->command & 0x7Fu);
  default:
    return lu_fail(err, LU_ERR_DEVICE, 0, 0, "%s: the reader refuses command %02x (status %u)",
                   r->t.name, p->command & 0x7Fu, p->status);
  }
}

/* A long frame hardly comes through a bad line; short ones do, and cost little more. */
static void shorten(lu_reader *r)
{
  r->frame_most = r->frame_most / 4 < FRAME_LEAST ? FRAME_LEAST : r->frame_most / 4;
}

static void lengthen(lu_reader *r)
{
  r->frame_most = least(r->frame_most + r->frame_most / 8, r->who.read_most);
}

static lu_status silent(lu_reader *r, lu_err *err)
{
  r->gave_up = true;
  if (r->counts.frames)
    return lu_fail(err, LU_ERR_DEVICE, 0, 0,
                   "%s: no good answer after %u attempts (%llu frames were spoilt); check the cable",
                   r->t.name, r->options.attempts, (unsigned long long)r->counts.bad_frames);
  if (!r->first_len)
    return lu_fail(err, LU_ERR_DEVICE, 0, 0,
                   "%s: nothing answers; is the reader's firmware in it, is the port the right one?",
                   r->t.name);
  char hex[3 * FIRST_BYTES + 1];
  for (size_t i = 0; i < r->first_len; i++)
    snprintf(hex + 3 * i, 4, " %02x", r->first[i]);
  return lu_fail(err, LU_ERR_DEVICE, 0, 0,
                 "%s: this is not our reader, or the rate is wrong; it begins with%s (--text takes text)",
                 r->t.name, hex);
}

/* Sends q until its own answer comes. The answer's body stays valid until the next call. */
static lu_status exchange(lu_reader *r, const request *q, unsigned work_ms, unsigned attempts,
                          reply *out, lu_err *err)
{
  uint8_t command = q->at[1] | LU_WIRE_REPLY;
  uint16_t number = be16(q->at + 2);
  r->gave_up = false;
  for (unsigned i = 0; i < attempts && left_ms(r); i++) {
    r->counts.retries += i != 0;
    if (i)
      shorten(r);
    lu_status s = send(r, q, err);
    uint64_t end = r->t.now_us(r->t.self) +
                   (uint64_t)(r->options.try_ms + frame_ms(r) + work_ms) * 1000;
    while (s == LU_OK) {
      uint64_t now = r->t.now_us(r->t.self);
      if (now >= end)
        break;
      arrival what;
      s = receive(r, least(left_ms(r), (unsigned)((end - now + 999) / 1000)), &what, out, err);
      if (s == LU_OK && what == SPOILT && r->patient)
        continue;
      if (s != LU_OK || what != CAME)
        break; /* nothing, or spoilt: ask again */
      if (out->command == command && out->number == number)
        return LU_OK;
      r->counts.other_frames++;
    }
    if (s != LU_OK)
      return s;
  }
  return silent(r, err);
}

/* An exchange whose answer must be fine and len long. */
static lu_status ask(lu_reader *r, const request *q, unsigned work_ms, size_t len, reply *out,
                     lu_err *err)
{
  lu_status s = exchange(r, q, work_ms, r->options.attempts, out, err);
  if (s != LU_OK)
    return s;
  if (out->status != LU_WIRE_FINE)
    return refused(r, out, err);
  if (out->len != len)
    return lu_fail(err, LU_ERR_DEVICE, 0, 0, "%s: an answer of %zu bytes to command %02x, expected %zu",
                   r->t.name, out->len, out->command & 0x7Fu, len);
  return LU_OK;
}

/* ---- opening ---- */
static lu_status identify(lu_reader *r, lu_err *err)
{
  reply p;
  request q = begin(r, LU_WIRE_IDENTIFY);
  r->patient = !r->counts.frames;
  lu_status s = exchange(r, &q, 0, IDENTIFY_ATTEMPTS, &p, err);
  r->patient = false;
  if (s != LU_OK)
    return s;
  unsigned version = p.status == LU_WIRE_OTHER_VERSION ? r->coded[0] : p.len >= 7 ? p.body[0] : 0;
  if (version != LU_WIRE_VERSION || p.status != LU_WIRE_FINE || p.len < 7)
    return lu_fail(err, LU_ERR_DEVICE, 0, 0,
                   "%s: the reader's firmware speaks protocol version %u, this program %d; put the "
                   "matching firmware into it",
                   r->t.name, version, LU_WIRE_VERSION);
  lu_reader_identity *w = &r->who;
  w->protocol = p.body[0];
  w->firmware_high = p.body[1];
  w->firmware_low = p.body[2];
  w->address_bits = p.body[3];
  w->data_bits = p.body[4];
  w->abilities = be16(p.body + 5);
  size_t n = p.len - 7 < sizeof w->name - 1 ? p.len - 7 : sizeof w->name - 1;
  memcpy(w->name, p.body + 7, n);
  w->name[n] = '\0';
  if (!w->address_bits || w->address_bits > 32 || !w->data_bits || w->data_bits > 16)
    return lu_fail(err, LU_ERR_DEVICE, 0, 0, "%s: the reader claims %u address and %u data bits",
                   r->t.name, w->address_bits, w->data_bits);
  return LU_OK;
}

static lu_status limits(lu_reader *r, lu_err *err)
{
  reply p;
  request q = begin(r, LU_WIRE_LIMITS);
  lu_status s = ask(r, &q, 0, 14, &p, err);
  if (s != LU_OK)
    return s;
  lu_reader_identity *w = &r->who;
  w->request_most = be16(p.body);
  w->read_most = be16(p.body + 2);
  w->failures_most = be16(p.body + 4);
  w->clock_khz = be32(p.body + 6);
  w->baud_most = be32(p.body + 10);
  if (w->request_most < 32 || w->read_most < 4 || !w->clock_khz)
    return lu_fail(err, LU_ERR_DEVICE, 0, 0, "%s: the reader's limits are too small to work with",
                   r->t.name);
  w->request_most = least(w->request_most, LU_WIRE_REQUEST_MOST);
  w->read_most = least(w->read_most, LU_WIRE_READ_MOST);
  r->frame_most = w->read_most;
  return LU_OK;
}

lu_status lu_reader_open(lu_transport t, const lu_reader_options *o, lu_reader **out, lu_err *err)
{
  lu_reader *r = calloc(1, sizeof *r);
  if (!r) {
    t.close(t.self);
    return lu_fail(err, LU_ERR_NOMEM, 0, 0, "no room for a reader");
  }
  r->t = t;
  r->options = o ? *o : (lu_reader_options){0};
  if (!r->options.try_ms)
    r->options.try_ms = 300;
  if (!r->options.attempts)
    r->options.attempts = 8;
  r->baud = LU_WIRE_FIRST_RATE;
  /* Answers to an earlier run may still be on their way: begin at a number they hardly have. */
  r->number = (uint16_t)(t.now_us(t.self) / 7);
  r->deadline_us = t.now_us(t.self) + (uint64_t)IDENTIFY_ATTEMPTS * 1000 * (r->options.try_ms + 200);
  lu_status s = identify(r, err);
  if (s == LU_OK) {
    start_call(r, 0);
    s = limits(r, err);
  }
  if (s != LU_OK) {
    t.close(t.self);
    free(r);
    return s;
  }
  *out = r;
  return LU_OK;
}

void lu_reader_close(lu_reader *r)
{
  if (!r)
    return;
  if (r->memory.kind) {
    r->options.attempts = 2; /* a reader that is gone should not hold up the end */
    lu_status s = lu_reader_release(r, NULL);
    (void)s;
  }
  r->t.close(r->t.self);
  free(r);
}

const lu_reader_identity *lu_reader_who(const lu_reader *r)
{
  return &r->who;
}

const lu_reader_counts *lu_reader_counted(const lu_reader *r)
{
  return &r->counts;
}

const lu_reader_memory *lu_reader_set(const lu_reader *r)
{
  return &r->memory;
}

/* ---- commands ---- */
static lu_status send_setup(lu_reader *r, const lu_reader_memory *m, uint64_t *held, lu_err *err)
{
  reply p;
  request q = begin(r, LU_WIRE_SETUP);
  put(&q, m->kind, 1);
  put(&q, m->address_bits, 1);
  put(&q, m->data_bits, 1);
  put(&q, m->row_bits, 1);
  put(&q, m->column_bits, 1);
  put(&q, m->refresh_bits, 1);
  put(&q, (m->drive_anyway ? LU_WIRE_DRIVE_ANYWAY : 0u) |
              (m->second_select ? LU_WIRE_SECOND_SELECT : 0u), 1);
  lu_status s = exchange(r, &q, 50, r->options.attempts, &p, err);
  if (s != LU_OK)
    return s;
  if (held && p.len >= 6 && (p.status == LU_WIRE_FINE || p.status == LU_WIRE_HELD))
    *held = line_set(p.body);
  return p.status == LU_WIRE_FINE ? LU_OK : refused(r, &p, err);
}

lu_status lu_reader_setup(lu_reader *r, const lu_reader_memory *m, uint64_t *held, lu_err *err)
{
  if (!m->address_bits || m->address_bits > r->who.address_bits)
    return lu_fail(err, LU_ERR_VALUE, 0, 0, "%u address bits, the reader has 1 to %u",
                   m->address_bits, r->who.address_bits);
  if (!m->data_bits || m->data_bits > r->who.data_bits)
    return lu_fail(err, LU_ERR_VALUE, 0, 0, "%u data bits, the reader has 1 to %u", m->data_bits,
                   r->who.data_bits);
  r->memory.kind = 0;
  start_call(r, 0);
  lu_status s = send_setup(r, m, held, err);
  if (s == LU_OK)
    r->memory = *m;
  return s;
}

static lu_status check_range(const lu_reader *r, uint32_t at, uint32_t words, lu_err *err)
{
  if (!r->memory.kind)
    return lu_fail(err, LU_ERR_VALUE, 0, 0, "no memory has been set up");
  uint64_t size = (uint64_t)1 << r->memory.address_bits;
  if ((uint64_t)at + words > size)
    return lu_fail(err, LU_ERR_VALUE, 0, 0,
                   "words 0x%x to 0x%llx, but the memory ends at 0x%llx", at,
                   (unsigned long long)((uint64_t)at + words - 1), (unsigned long long)size - 1);
  return LU_OK;
}

/* After a restart of the reader in the middle of a read: what is not kept alive by refresh is still
 * there, so the read can go on. */
static lu_status pick_up(lu_reader *r, const reply *p, lu_err *err)
{
  if (p->status != LU_WIRE_ORDER || r->memory.kind == LU_WIRE_DRAM || p->len != 3 || p->body[0])
    return refused(r, p, err);
  lu_status s = identify(r, err);
  return s == LU_OK ? send_setup(r, &r->memory, NULL, err) : s;
}

typedef struct stream {
  uint32_t at, words, done;
  uint16_t *to;
  unsigned bytes; /* a word */
} stream;

/* Takes one frame of a read if it is the one that comes next. */
static bool take_frame(stream *st, const reply *p, uint32_t asked_end, uint32_t most)
{
  uint32_t next = st->at + st->done;
  uint32_t n = asked_end - next < most ? asked_end - next : most;
  if (p->status != LU_WIRE_FINE || p->len != 4 + (size_t)n * st->bytes || be32(p->body) != next)
    return false;
  const uint8_t *b = p->body + 4;
  for (uint32_t i = 0; i < n; i++, b += st->bytes)
    st->to[st->done + i] = (uint16_t)(b[0] | (st->bytes > 1 ? b[1] << 8 : 0));
  st->done += n;
  return true;
}

/* One request of a read and what comes of it. Leaves with LU_OK when a new request is needed. */
static lu_status read_piece(lu_reader *r, stream *st, lu_err *err)
{
  uint32_t n = st->words - st->done < READ_PIECE ? st->words - st->done : READ_PIECE;
  uint32_t end = st->at + st->done + n;
  request q = begin(r, LU_WIRE_READ);
  uint16_t number = r->number;
  unsigned most = r->frame_most / st->bytes;
  put(&q, st->at + st->done, 4);
  put(&q, n, 4);
  put(&q, most * st->bytes, 2);
  lu_status s = send(r, &q, err);
  unsigned spoilt = 0;
  while (s == LU_OK && st->at + st->done < end && left_ms(r)) {
    arrival what;
    reply p;
    s = receive(r, least(left_ms(r), r->options.try_ms + frame_ms(r)), &what, &p, err);
    /* A spoilt frame may belong to an earlier request; if it was ours, the next one shows the gap. */
    if (s == LU_OK && what == SPOILT && ++spoilt < SPOILT_MOST)
      continue;
    if (s != LU_OK || what != CAME)
      break;
    spoilt = 0;
    if (p.number != number || p.command != (LU_WIRE_READ | LU_WIRE_REPLY)) {
      r->counts.other_frames++;
      continue;
    }
    if (p.status != LU_WIRE_FINE)
      return pick_up(r, &p, err);
    if (!take_frame(st, &p, end, most))
      break;
    lengthen(r);
  }
  return s;
}

lu_status lu_reader_read(lu_reader *r, uint32_t at, uint32_t words, uint16_t *to, uint32_t *done,
                         lu_err *err)
{
  stream st = {.at = at, .words = words, .to = to, .bytes = r->memory.data_bits > 8 ? 2 : 1};
  lu_status s = check_range(r, at, words, err);
  start_call(r, words);
  unsigned barren = 0;
  while (s == LU_OK && st.done < words) {
    uint32_t before = st.done;
    r->counts.retries += barren != 0;
    s = read_piece(r, &st, err);
    barren = st.done > before ? 0 : barren + 1;
    if (st.done < words && st.done % READ_PIECE)
      shorten(r);
    if (s == LU_OK && st.done < words && (barren >= r->options.attempts || !left_ms(r)))
      s = silent(r, err);
  }
  if (done)
    *done = st.done;
  return s;
}

lu_status lu_reader_write(lu_reader *r, uint32_t at, uint32_t words, const uint16_t *from,
                          uint32_t *done, lu_err *err)
{
  unsigned bytes = r->memory.data_bits > 8 ? 2 : 1;
  uint32_t room = r->who.request_most - LU_WIRE_HEAD - 2 - 4 - 4, i = 0;
  lu_status s = check_range(r, at, words, err);
  start_call(r, words);
  unsigned barren = 0;
  while (s == LU_OK && i < words) {
    uint32_t most = least(room, r->frame_most) / bytes;
    uint32_t n = words - i < most ? words - i : most;
    request q = begin(r, LU_WIRE_WRITE);
    reply p;
    put(&q, at + i, 4);
    for (uint32_t k = 0; k < n; k++) {
      put(&q, from[i + k] & 0xFFu, 1);
      if (bytes > 1)
        put(&q, from[i + k] >> 8, 1);
    }
    s = ask(r, &q, 0, 2, &p, err);
    if (s == LU_OK && be16(p.body) != n)
      s = lu_fail(err, LU_ERR_DEVICE, 0, 0, "%s: %u of %u words written", r->t.name, be16(p.body), n);
    if (s == LU_OK) {
      i += n;
      barren = 0;
      lengthen(r);
    } else if (r->gave_up && left_ms(r) && ++barren < r->options.attempts) {
      s = LU_OK; /* again with a shorter piece: writing the same twice does no harm */
    }
  }
  if (done)
    *done = i;
  return s;
}

lu_status lu_reader_fill(lu_reader *r, uint32_t at, uint32_t words, uint8_t background,
                         uint16_t seed, lu_err *err)
{
  lu_status s = check_range(r, at, words, err);
  start_call(r, words);
  for (uint32_t i = 0; s == LU_OK && i < words;) {
    uint32_t n = words - i < WORK_PIECE ? words - i : WORK_PIECE;
    reply p;
    request q = begin(r, LU_WIRE_FILL);
    put(&q, at + i, 4);
    put(&q, n, 4);
    put(&q, background, 1);
    put(&q, seed, 2);
    s = ask(r, &q, WORK_MS, 4, &p, err);
    i += n;
  }
  return s;
}

static request march_request(lu_reader *r, const lu_march *piece, uint16_t crc)
{
  request q = begin(r, LU_WIRE_MARCH);
  put(&q, piece->at, 4);
  put(&q, piece->words, 4);
  put(&q, piece->down, 1);
  put(&q, piece->background, 1);
  put(&q, piece->seed, 2);
  put(&q, crc, 2);
  put(&q, (uint32_t)piece->op_count, 1);
  for (size_t i = 0; i < piece->op_count; i++)
    put(&q, (piece->ops[i].write ? LU_WIRE_OP_WRITE : 0u) |
                (piece->ops[i].inverse ? LU_WIRE_OP_INVERSE : 0u), 1);
  return q;
}

/* Runs one piece; *done = words that the reader did of it. */
static lu_status march_piece(lu_reader *r, const lu_march *piece, lu_march_result *out,
                             uint32_t *done, bool (*on_failure)(void *to, const lu_march_failure *f),
                             void *to, bool *stop, lu_err *err)
{
  uint16_t crc = out->crc;
  request q = march_request(r, piece, crc);
  reply p;
  lu_status s = exchange(r, &q, WORK_MS, r->options.attempts, &p, err);
  if (s != LU_OK)
    return s;
  if (p.status != LU_WIRE_FINE)
    return refused(r, &p, err);
  if (p.len < 15 || p.len != 15 + 9u * p.body[14] || be32(p.body) > piece->words ||
      !be32(p.body) || be32(p.body + 4) != p.body[14])
    return lu_fail(err, LU_ERR_DEVICE, 0, 0, "%s: the reader's answer contradicts itself", r->t.name);
  uint32_t failures = be32(p.body + 4), sum = be32(p.body + 10), want_sum = 0;
  *done = be32(p.body);
  out->crc = be16(p.body + 8);
  out->sum += sum;
  out->failures += failures;
  for (size_t i = 0; i < failures && !*stop; i++) {
    const uint8_t *b = p.body + 15 + 9 * i;
    lu_march_failure f = {be32(b), b[4], be16(b + 5), be16(b + 7)};
    *stop = on_failure && !on_failure(to, &f);
  }
  lu_march whole = *piece;
  if (piece->down)
    whole.at += piece->words - *done;
  whole.words = *done;
  lu_march_expect(&whole, r->memory.data_bits, *done, &crc, &want_sum);
  if (!failures && (crc != out->crc || want_sum != sum))
    return lu_fail(err, LU_ERR_DEVICE, 0, 0,
                   "%s: the reader names no failure, yet its signature is %04x instead of %04x",
                   r->t.name, out->crc, crc);
  return LU_OK;
}

lu_status lu_reader_march(lu_reader *r, const lu_march *element, lu_march_result *out,
                          bool (*on_failure)(void *to, const lu_march_failure *f), void *to,
                          lu_err *err)
{
  *out = (lu_march_result){.crc = LU_CRC16_FRAME};
  lu_status s = check_range(r, element->at, element->words, err);
  if (s == LU_OK && (!element->op_count || element->op_count > LU_WIRE_OPERATIONS_MOST))
    s = lu_fail(err, LU_ERR_VALUE, 0, 0, "%zu operations in an element, 1 to %d are taken",
                element->op_count, LU_WIRE_OPERATIONS_MOST);
  size_t reads = 0;
  for (size_t i = 0; s == LU_OK && i < element->op_count; i++)
    reads += !element->ops[i].write;
  bool stop = false;
  while (s == LU_OK && !stop && out->done < element->words) {
    uint32_t left = element->words - out->done, n = left < WORK_PIECE ? left : WORK_PIECE;
    lu_march piece = *element;
    piece.words = n;
    piece.at = element->down ? element->at + left - n : element->at + out->done;
    uint32_t done = 0;
    start_call(r, n);
    s = march_piece(r, &piece, out, &done, on_failure, to, &stop, err);
    out->done += done;
  }
  out->reads = (uint64_t)out->done * reads;
  return s;
}

lu_status lu_reader_cycles(lu_reader *r, lu_cycle *list, size_t count, lu_err *err)
{
  size_t most = (r->who.request_most - LU_WIRE_HEAD - 2) / 7;
  if (most > LU_WIRE_CYCLES_MOST)
    most = LU_WIRE_CYCLES_MOST;
  lu_status s = LU_OK;
  for (size_t i = 0; s == LU_OK && i < count;) {
    size_t n = count - i < most ? count - i : most, reads = 0;
    reply p;
    request q = begin(r, LU_WIRE_CYCLES);
    for (size_t k = i; s == LU_OK && k < i + n; k++) {
      s = check_range(r, list[k].address, 1, err);
      put(&q, list[k].address, 4);
      put(&q, list[k].write, 1);
      put(&q, list[k].data, 2);
      reads += !list[k].write;
    }
    start_call(r, 0);
    if (s == LU_OK)
      s = ask(r, &q, 10, 2 * reads, &p, err);
    size_t at = 0;
    for (size_t k = i; s == LU_OK && k < i + n; k++)
      if (!list[k].write)
        list[k].got = be16(p.body + 2 * at++);
    i += n;
  }
  return s;
}

lu_status lu_reader_strobe(lu_reader *r, uint32_t address, bool drive, uint16_t data, uint8_t low,
                           uint16_t cycles, uint16_t *got, lu_err *err)
{
  lu_status s = check_range(r, address, 1, err);
  if (s != LU_OK)
    return s;
  reply p;
  request q = begin(r, LU_WIRE_STROBE);
  put(&q, address, 4);
  put(&q, drive, 1);
  put(&q, data, 2);
  put(&q, low, 1);
  put(&q, cycles, 2);
  start_call(r, 0);
  s = ask(r, &q, 0, 2, &p, err);
  if (s == LU_OK)
    *got = be16(p.body);
  return s;
}

lu_status lu_reader_levels_now(lu_reader *r, lu_reader_levels *out, lu_err *err)
{
  reply p;
  request q = begin(r, LU_WIRE_LEVELS);
  r->memory.kind = 0;
  start_call(r, 0);
  lu_status s = ask(r, &q, 50, 25, &p, err);
  if (s == LU_OK)
    *out = (lu_reader_levels){line_set(p.body), line_set(p.body + 6), line_set(p.body + 12),
                              line_set(p.body + 18)};
  return s;
}

lu_status lu_reader_timing(lu_reader *r, const uint8_t want[4], uint8_t set[4], lu_err *err)
{
  reply p;
  request q = begin(r, LU_WIRE_TIMING);
  for (unsigned i = 0; i < 4; i++)
    put(&q, want[i], 1);
  start_call(r, 0);
  lu_status s = ask(r, &q, 0, 4, &p, err);
  if (s == LU_OK && set)
    memcpy(set, p.body, 4);
  return s;
}

lu_status lu_reader_watch_pin(lu_reader *r, unsigned line, unsigned ms, lu_reader_watch *out,
                              lu_err *err)
{
  if (line >= LU_WIRE_PINS || !ms || ms > 1000)
    return lu_fail(err, LU_ERR_VALUE, 0, 0, "a line from 0 to %d is watched for 1 to 1000 ms",
                   LU_WIRE_PINS - 1);
  reply p;
  request q = begin(r, LU_WIRE_WATCH);
  put(&q, line, 1);
  put(&q, ms, 2);
  start_call(r, 0);
  lu_status s = ask(r, &q, ms + 20, 14, &p, err);
  if (s == LU_OK)
    *out = (lu_reader_watch){p.body[0] != 0, p.body[1] != 0, be32(p.body + 2), be32(p.body + 6),
                             be32(p.body + 10)};
  return s;
}

lu_status lu_reader_release(lu_reader *r, lu_err *err)
{
  reply p;
  request q = begin(r, LU_WIRE_RELEASE);
  start_call(r, 0);
  lu_status s = ask(r, &q, 0, 0, &p, err);
  if (s == LU_OK)
    r->memory.kind = 0;
  return s;
}

/* Asks for something short at the rate both sides should have now. */
static lu_status prove_rate(lu_reader *r, lu_err *err)
{
  reply p;
  request q = begin(r, LU_WIRE_LIMITS);
  return exchange(r, &q, 0, 3, &p, err);
}

lu_status lu_reader_rate(lu_reader *r, uint32_t baud, lu_err *err)
{
  if (!r->t.rate)
    return lu_fail(err, LU_ERR_VALUE, 0, 0, "%s: this link has no line rate", r->t.name);
  if (baud < 300 || baud > r->who.baud_most)
    return lu_fail(err, LU_ERR_VALUE, 0, 0, "%u baud, the reader makes 300 to %u", baud,
                   r->who.baud_most);
  reply p;
  request q = begin(r, LU_WIRE_RATE);
  put(&q, baud, 4);
  start_call(r, 0);
  lu_status s = ask(r, &q, 0, 4, &p, err);
  if (s == LU_OK)
    s = r->t.rate(r->t.self, baud, err);
  uint32_t before = r->baud;
  if (s == LU_OK) {
    r->baud = baud;
    r->t.pause(r->t.self, 5);
    s = prove_rate(r, err);
  }
  if (s == LU_OK)
    return LU_OK;
  /* The reader goes back by itself to its first rate; follow it, so that the line still works. */
  r->baud = before;
  lu_status back = r->t.rate(r->t.self, LU_WIRE_FIRST_RATE, NULL);
  if (back == LU_OK) {
    r->baud = LU_WIRE_FIRST_RATE;
    r->t.pause(r->t.self, LU_WIRE_RATE_PROOF_MS + 100);
  }
  return s;
}

/* ---- as a memory ---- */
static lu_status io_read(void *self, uint32_t at, uint32_t words, uint16_t *to, uint32_t *done,
                         lu_err *err)
{
  return lu_reader_read(self, at, words, to, done, err);
}

static lu_status io_write(void *self, uint32_t at, uint32_t words, const uint16_t *from,
                          uint32_t *done, lu_err *err)
{
  return lu_reader_write(self, at, words, from, done, err);
}

static lu_status io_fill(void *self, uint32_t at, uint32_t words, uint8_t background, uint16_t seed,
                         lu_err *err)
{
  return lu_reader_fill(self, at, words, background, seed, err);
}

static lu_status io_march(void *self, const lu_march *element, lu_march_result *out,
                          bool (*on_failure)(void *to, const lu_march_failure *f), void *to,
                          lu_err *err)
{
  return lu_reader_march(self, element, out, on_failure, to, err);
}

static lu_status io_cycles(void *self, lu_cycle *list, size_t count, lu_err *err)
{
  return lu_reader_cycles(self, list, count, err);
}

static void io_release(void *self)
{
  lu_status s = lu_reader_release(self, NULL);
  (void)s; /* closing lets go as well, and there is nobody to tell */
}

static void io_close(void *self)
{
  lu_reader_close(self);
}

lu_memio lu_reader_memio(lu_reader *r)
{
  return (lu_memio){.self = r, .name = r->t.name, .address_bits = r->memory.address_bits,
                    .data_bits = r->memory.data_bits, .read = io_read, .write = io_write,
                    .fill = io_fill, .march = io_march, .cycles = io_cycles,
                    .release = io_release, .close = io_close};
}
