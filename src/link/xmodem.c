/* SPDX-License-Identifier: MIT */
#include "link/xmodem.h"

#include "link/codes.h"

enum { SOH = 0x01, STX = 0x02, EOT = 0x04, ACK = 0x06, NAK = 0x15, CAN = 0x18 };
enum { BYTE_MS = 1000, BLOCK_MS = 10000 };

typedef struct receiver {
  const lu_transport *t;
  const lu_hooks *hooks;
  bool crc;
  uint8_t block[3 + 1024 + 2];
} receiver;

static lu_status answer(const receiver *x, uint8_t byte, lu_err *err)
{
  return x->t->write(x->t->self, &byte, 1, 1000, err);
}

/* Fills to[len] or stops when nothing came for ms; *got says how far. */
static lu_status fill(const receiver *x, uint8_t *to, size_t len, unsigned ms, size_t *got,
                      lu_err *err)
{
  *got = 0;
  while (*got < len) {
    size_t n = 0;
    lu_status s = x->t->read(x->t->self, to + *got, len - *got, ms, &n, err);
    if (s != LU_OK || !n)
      return s;
    *got += n;
  }
  return LU_OK;
}

/* Takes in what is still on its way, so that the next block is looked for at its start. */
static lu_status quieten(const receiver *x, lu_err *err)
{
  uint8_t waste[256];
  size_t n = 1;
  lu_status s = LU_OK;
  for (unsigned i = 0; i < 64 && n && s == LU_OK; i++)
    s = x->t->read(x->t->self, waste, sizeof waste, 200, &n, err);
  return s;
}

static bool sound(const receiver *x, size_t data)
{
  const uint8_t *b = x->block;
  if ((b[1] ^ b[2]) != 0xFF)
    return false;
  if (x->crc)
    return lu_crc16(LU_CRC16_XMODEM, b + 3, data) == (uint16_t)(b[3 + data] << 8 | b[4 + data]);
  uint8_t sum = 0;
  for (size_t i = 0; i < data; i++)
    sum = (uint8_t)(sum + b[3 + i]);
  return sum == b[3 + data];
}

static lu_status nobody(const receiver *x, const lu_xmodem *o, lu_err *err)
{
  return lu_fail(err, LU_ERR_DEVICE, 0, 0, "%s: nobody sends with XMODEM (asked %u times)",
                 x->t->name, o->attempts);
}

/* Asks for the first block until its first byte comes. */
static lu_status invite(receiver *x, const lu_xmodem *o, uint8_t *first, lu_err *err)
{
  unsigned crc_tries = o->crc ? (o->attempts + 1) / 2 : 0;
  for (unsigned i = 0; i < o->attempts; i++) {
    size_t n = 0;
    x->crc = i < crc_tries;
    if (lu_hooks_stop(x->hooks))
      break;
    lu_status s = answer(x, x->crc ? 'C' : NAK, err);
    /* anything else before the first block is an echo or a remark of the sender */
    for (unsigned k = 0; s == LU_OK && k < 512; k++) {
      s = fill(x, first, 1, o->start_ms, &n, err);
      if (s != LU_OK || !n || *first == SOH || *first == STX || *first == EOT || *first == CAN)
        break;
      n = 0;
    }
    if (s != LU_OK || n)
      return s;
  }
  return nobody(x, o, err);
}

typedef struct progress {
  uint8_t next;     /* number of the block that comes next */
  unsigned errors;  /* in a row */
} progress;

/* The rest of a block whose first byte is in block[0]. */
static lu_status take_block(receiver *x, lu_inflow *flow, progress *p, lu_err *err)
{
  size_t data = x->block[0] == STX ? 1024 : 128, want = 2 + data + (x->crc ? 2 : 1), got;
  lu_status s = fill(x, x->block + 1, want, BYTE_MS, &got, err);
  if (s != LU_OK)
    return s;
  if (got < want || !sound(x, data)) {
    p->errors++;
    s = quieten(x, err);
    return s == LU_OK ? answer(x, NAK, err) : s;
  }
  if (x->block[1] == (uint8_t)(p->next - 1) && flow->len) {
    p->errors++; /* our ACK was lost: the same block again */
    return answer(x, ACK, err);
  }
  if (x->block[1] != p->next)
    return lu_fail(err, LU_ERR_DEVICE, 0, 0, "%s: XMODEM block %u came instead of %u", x->t->name,
                   x->block[1], p->next);
  s = lu_inflow_add(flow, x->block + 3, data, err);
  if (s != LU_OK)
    return s;
  p->next++;
  p->errors = 0;
  lu_hooks_progress(x->hooks, flow->len, 0);
  return answer(x, ACK, err);
}

static lu_status cancel(const receiver *x, lu_err *err)
{
  const uint8_t out[] = {CAN, CAN, CAN};
  return x->t->write(x->t->self, out, sizeof out, 1000, err);
}

lu_status lu_xmodem_receive(const lu_transport *t, const lu_xmodem *options, const lu_hooks *hooks,
                            lu_inflow *flow, lu_err *err)
{
  receiver x = {.t = t, .hooks = hooks};
  lu_xmodem o = options ? *options : (lu_xmodem){.crc = true};
  o.start_ms = o.start_ms ? o.start_ms : 3000;
  o.attempts = o.attempts ? o.attempts : 10;
  progress p = {.next = 1};
  unsigned cancels = 0;
  lu_status s = invite(&x, &o, &x.block[0], err);
  while (s == LU_OK && p.errors < o.attempts) {
    if (lu_hooks_stop(hooks))
      return cancel(&x, err);
    if (x.block[0] == EOT)
      return answer(&x, ACK, err);
    cancels = x.block[0] == CAN ? cancels + 1 : 0;
    if (cancels == 2)
      return lu_fail(err, LU_ERR_DEVICE, 0, 0, "%s: the sender cancelled after %zu bytes", t->name,
                     flow->len);
    if (x.block[0] == SOH || x.block[0] == STX)
      s = take_block(&x, flow, &p, err);
    size_t got = 0;
    if (s == LU_OK)
      s = fill(&x, &x.block[0], 1, BLOCK_MS, &got, err);
    if (s == LU_OK && !got) {
      p.errors++;
      x.block[0] = 0;
      s = answer(&x, NAK, err);
    }
  }
  if (s != LU_OK)
    return s;
  return lu_fail(err, LU_ERR_DEVICE, 0, 0, "%s: %u XMODEM errors in a row after %zu good bytes",
                 t->name, p.errors, flow->len);
}
