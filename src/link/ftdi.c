/* SPDX-License-Identifier: MIT */
#define _GNU_SOURCE
#include "link/ftdi.h"

#include "base/text.h"
#include "link/clock.h"
#include "link/codes.h"
#include "link/dynlib.h"

#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#ifdef LU_HAVE_FTDI
#  include <ftdi.h>

#  define FUNCTIONS(X)                                                                             \
    X(ftdi_new)                                                                                    \
    X(ftdi_free)                                                                                   \
    X(ftdi_set_interface)                                                                          \
    X(ftdi_usb_find_all)                                                                           \
    X(ftdi_list_free)                                                                              \
    X(ftdi_usb_get_strings)                                                                        \
    X(ftdi_usb_open_dev)                                                                           \
    X(ftdi_usb_close)                                                                              \
    X(ftdi_usb_reset)                                                                              \
    X(ftdi_tcioflush)                                                                              \
    X(ftdi_set_latency_timer)                                                                      \
    X(ftdi_set_baudrate)                                                                           \
    X(ftdi_set_line_property)                                                                      \
    X(ftdi_setflowctrl)                                                                            \
    X(ftdi_setflowctrl_xonxoff)                                                                    \
    X(ftdi_set_bitmode)                                                                            \
    X(ftdi_write_data)                                                                             \
    X(ftdi_read_data)                                                                              \
    X(ftdi_write_data_set_chunksize)                                                               \
    X(ftdi_read_data_set_chunksize)                                                                \
    X(ftdi_get_error_string)

typedef struct functions {
#  define X(f) __typeof__(f) *f;
  FUNCTIONS(X)
#  undef X
  /* of libusb, which libftdi1 brings with it: where the device's node is */
  uint8_t (*libusb_get_bus_number)(struct libusb_device *dev);
  uint8_t (*libusb_get_device_address)(struct libusb_device *dev);
} functions;

enum { VENDOR = 0x0403, DEVICES_MOST = 32, CHUNK = 16384, BULK_MS = 1000,
       USB_TIMED_OUT = -7 /* LIBUSB_ERROR_TIMEOUT, libusb.h; libftdi1 hands it on */ };

/* Opcodes of MCU host bus mode. Reads, writes and the flush are described by two independent open
 * sources (docs/reader-protocol.md names them); the answer to a bad opcode and the clock's divider are
 * from memory of the vendor's notes AN_108 and AN_135, and the driver checks both before it relies on
 * them. */
enum {
  OP_READ = 0x91,       /* address high, low -> one byte */
  OP_WRITE = 0x93,      /* address high, low, data */
  OP_FLUSH = 0x87,      /* send what there is now */
  OP_NONE = 0xAA,       /* no opcode: answered by FA AA [from memory] */
  OP_FULL_CLOCK = 0x8A, /* divider by five off [from memory for this mode] */
  BAD_OPCODE = 0xFA,
  BATCH = 1024          /* reads under way at once: the chip's queue holds 4096 */
};

typedef struct chip {
  functions f;
  struct ftdi_context *ftdi;
  bool open;
  unsigned bytes_a_read; /* host bus: 1, or 2 with the divider on (a third party's finding) */
  char name[48];
  uint8_t *commands;     /* host bus: BATCH of the longest, and answers */
  uint8_t *answers;
} chip;

static lu_status load(functions *f, lu_err *err)
{
  static const lu_symbol symbols[] = {
#  define X(f) {#f, offsetof(functions, f)},
      FUNCTIONS(X)
#  undef X
          {"libusb_get_bus_number", offsetof(functions, libusb_get_bus_number)},
      {"libusb_get_device_address", offsetof(functions, libusb_get_device_address)},
  };
  return lu_dynlib_load("libftdi1.so.2", "libftdi1", symbols, sizeof symbols / sizeof *symbols, f,
                        err);
}

static void chip_close(chip *c)
{
  if (c->open) {
    c->f.ftdi_set_bitmode(c->ftdi, 0, BITMODE_RESET);
    c->f.ftdi_usb_close(c->ftdi);
  }
  if (c->ftdi)
    c->f.ftdi_free(c->ftdi);
  free(c->commands);
  free(c->answers);
  free(c);
}

static lu_status chip_new(chip **out, lu_err *err)
{
  chip *c = calloc(1, sizeof *c);
  if (!c)
    return lu_fail(err, LU_ERR_NOMEM, 0, 0, "no room for a chip");
  snprintf(c->name, sizeof c->name, "FTDI");
  lu_status s = load(&c->f, err);
  if (s == LU_OK && !(c->ftdi = c->f.ftdi_new()))
    s = lu_fail(err, LU_ERR_DEVICE, 0, 0, "libftdi1 does not start: is there USB on this system?");
  if (s != LU_OK) {
    chip_close(c);
    return s;
  }
  /* a driver of the system that holds the chip comes back when we close it */
  c->ftdi->module_detach_mode = AUTO_DETACH_REATACH_SIO_MODULE;
  c->ftdi->usb_read_timeout = c->ftdi->usb_write_timeout = BULK_MS;
  *out = c;
  return LU_OK;
}

/* ---- finding ---- */
typedef struct found {
  struct ftdi_device_list *list;
  size_t count;
  struct libusb_device *dev[DEVICES_MOST];
  char manufacturer[DEVICES_MOST][64], product[DEVICES_MOST][64], serial[DEVICES_MOST][64];
  unsigned pid[DEVICES_MOST];
  bool readable[DEVICES_MOST];
} found;

static void find(chip *c, found *all)
{
  static const unsigned pids[] = {0x6001, 0x6010, 0x6011, 0x6014, 0x6015};
  memset(all, 0, sizeof *all);
  for (size_t p = 0; p < sizeof pids / sizeof *pids; p++) {
    struct ftdi_device_list *list = NULL;
    if (c->f.ftdi_usb_find_all(c->ftdi, &list, VENDOR, (int)pids[p]) <= 0)
      continue;
    struct ftdi_device_list *end = list;
    for (struct ftdi_device_list *d = list; d; d = d->next) {
      end = d;
      if (all->count == DEVICES_MOST)
        continue;
      size_t i = all->count++;
      all->dev[i] = d->dev;
      all->pid[i] = pids[p];
      all->readable[i] =
          c->f.ftdi_usb_get_strings(c->ftdi, d->dev, all->manufacturer[i], 64, all->product[i], 64,
                                    all->serial[i], 64) >= 0;
    }
    end->next = all->list; /* one list to free at the end */
    all->list = list;
  }
}

static void lost(chip *c, found *all)
{
  if (all->list)
    c->f.ftdi_list_free(&all->list);
}

static bool may_open(const chip *c, struct libusb_device *dev, char node[40])
{
  snprintf(node, 40, "/dev/bus/usb/%03u/%03u", c->f.libusb_get_bus_number(dev),
           c->f.libusb_get_device_address(dev));
  return access(node, R_OK | W_OK) == 0 || errno != EACCES;
}

static lu_status no_permission(const char *node, lu_err *err)
{
  return lu_fail(err, LU_ERR_DEVICE, 0, 0,
                 "no permission for the FTDI chip at %s; install 70-lineup-ftdi.rules into "
                 "/etc/udev/rules.d and plug the chip in again",
                 node);
}

/* The index of the chip that serial means. */
static lu_status choose(const chip *c, const found *all, const char *serial, size_t *which,
                        lu_err *err)
{
  char names[120] = "", node[40];
  const char *at[DEVICES_MOST];
  size_t n = 0;
  if (!all->count)
    return lu_fail(err, LU_ERR_DEVICE, 0, 0, "no FTDI chip on USB; is it plugged in?");
  for (size_t i = 0; i < all->count; i++) {
    at[i] = all->serial[i];
    if (serial && all->readable[i] && !strcmp(serial, all->serial[i])) {
      *which = i;
      return LU_OK;
    }
    if (n < sizeof names)
      n += (size_t)snprintf(names + n, sizeof names - n, "%s%s", n ? ", " : "",
                            all->readable[i] && all->serial[i][0] ? all->serial[i] : "(no serial)");
  }
  if (serial) {
    for (size_t i = 0; i < all->count; i++)
      if (!all->readable[i] && !may_open(c, all->dev[i], node))
        return no_permission(node, err);
    const char *near = lu_text_nearest(serial, at, all->count);
    return lu_fail(err, LU_ERR_DEVICE, 0, 0, "no FTDI chip with serial '%s'; there is %s", serial,
                   near && *near ? near : names);
  }
  if (all->count > 1)
    return lu_fail(err, LU_ERR_DEVICE, 0, 0, "%zu FTDI chips: %s; say which with --ftdi SERIAL",
                   all->count, names);
  *which = 0;
  return LU_OK;
}

static lu_status failed(const chip *c, const char *what, lu_err *err)
{
  return lu_fail(err, LU_ERR_DEVICE, 0, 0, "%s: cannot %s: %s", c->name, what,
                 c->f.ftdi_get_error_string(c->ftdi));
}

static lu_status open_found(chip *c, const char *serial, unsigned channel, found *all, lu_err *err)
{
  size_t i = 0;
  char node[40];
  if (serial && !strcmp(serial, "any"))
    serial = NULL;
  find(c, all);
  lu_status s = choose(c, all, serial, &i, err);
  if (s != LU_OK)
    return s;
  snprintf(c->name, sizeof c->name, "FTDI %.40s", all->serial[i][0] ? all->serial[i] : "chip");
  if (!may_open(c, all->dev[i], node))
    return no_permission(node, err);
  if (c->f.ftdi_set_interface(c->ftdi, (enum ftdi_interface)(INTERFACE_A + channel)) < 0)
    return lu_fail(err, LU_ERR_DEVICE, 0, 0, "%s: has no channel %c", c->name, 'A' + (int)channel);
  int r = c->f.ftdi_usb_open_dev(c->ftdi, all->dev[i]);
  if (r == -5)
    return lu_fail(err, LU_ERR_DEVICE, 0, 0,
                   "%s: another driver or program holds the chip and does not let go", c->name);
  if (r < 0)
    return failed(c, "open", err);
  c->open = true;
  c->f.ftdi_usb_reset(c->ftdi);
  if (c->f.ftdi_set_latency_timer(c->ftdi, 2) < 0)
    return failed(c, "set the latency", err);
  c->f.ftdi_write_data_set_chunksize(c->ftdi, CHUNK);
  c->f.ftdi_read_data_set_chunksize(c->ftdi, CHUNK);
  return LU_OK;
}

static lu_status open_chip(const char *serial, unsigned channel, chip **out, lu_err *err)
{
  chip *c = NULL;
  lu_status s = chip_new(&c, err);
  if (s != LU_OK)
    return s;
  found *all = calloc(1, sizeof *all);
  if (all) {
    s = open_found(c, serial, channel, all, err);
    lost(c, all);
    free(all);
  } else {
    s = lu_fail(err, LU_ERR_NOMEM, 0, 0, "no room for the list of chips");
  }
  if (s != LU_OK) {
    chip_close(c);
    return s;
  }
  *out = c;
  return LU_OK;
}

lu_status lu_ftdi_list(lu_arena *mem, lu_ftdi_device **out, size_t *count, lu_err *err)
{
  chip *c = NULL;
  lu_status s = chip_new(&c, err);
  if (s != LU_OK)
    return s;
  found *all = LU_NEW(mem, found, 1);
  lu_ftdi_device *d = LU_NEW(mem, lu_ftdi_device, DEVICES_MOST);
  if (!all || !d) {
    chip_close(c);
    return lu_fail(err, LU_ERR_NOMEM, 0, 0, "no room for the list of chips");
  }
  find(c, all);
  for (size_t i = 0; i < all->count; i++) {
    d[i].pid = all->pid[i];
    if (!all->readable[i])
      continue;
    d[i].serial = all->serial[i];
    d[i].product = all->product[i];
    d[i].manufacturer = all->manufacturer[i];
  }
  *count = all->count;
  *out = d;
  lost(c, all);
  chip_close(c);
  return LU_OK;
}

/* ---- bytes ---- */
static lu_status bytes_out(chip *c, const uint8_t *at, size_t len, lu_err *err)
{
  int r = c->f.ftdi_write_data(c->ftdi, at, (int)len);
  if (r < 0)
    return lu_fail(err, LU_ERR_DEVICE, 0, 0, "%s: unplugged, or it takes nothing any more (%s)",
                   c->name, c->f.ftdi_get_error_string(c->ftdi));
  if ((size_t)r < len)
    return lu_fail(err, LU_ERR_DEVICE, 0, 0, "%s: took %d of %zu bytes", c->name, r, len);
  return LU_OK;
}

/* At least one byte unless ms pass. An empty packet is no answer: ask again until then. The library goes on asking until an
 * empty packet comes or all it was asked for is there, and forgets what it has when that takes too long; a chip need not send
 * empty packets. So it is asked for one byte, and then for what came in the same transfer. */
static lu_status bytes_in(chip *c, uint8_t *to, size_t room, unsigned ms, size_t *got, lu_err *err)
{
  uint64_t end = lu_clock_us(NULL) + (uint64_t)ms * 1000;
  *got = 0;
  do {
    uint64_t now = lu_clock_us(NULL);
    c->ftdi->usb_read_timeout = now < end ? (int)((end - now) / 1000 + 1) : 1; /* 0 would be for ever */
    int r = c->f.ftdi_read_data(c->ftdi, to, 1);
    if (r == USB_TIMED_OUT) /* it sends nothing, not even its status, while it has nothing to say */
      r = 0;
    size_t more = r == 1 ? c->ftdi->readbuffer_remaining : 0;
    more = more < room - 1 ? more : room - 1;
    if (more) {
      r = c->f.ftdi_read_data(c->ftdi, to + 1, (int)more);
      r = r < 0 ? r : r + 1;
    }
    if (r < 0)
      return lu_fail(err, LU_ERR_DEVICE, 0, 0, "%s: unplugged in the middle of a read (%s)", c->name,
                     c->f.ftdi_get_error_string(c->ftdi));
    *got = (size_t)r;
  } while (!*got && lu_clock_us(NULL) < end);
  return LU_OK;
}

static lu_status bytes_all(chip *c, uint8_t *to, size_t len, unsigned ms, size_t *got, lu_err *err)
{
  uint64_t end = lu_clock_us(NULL) + (uint64_t)ms * 1000;
  *got = 0;
  while (*got < len) {
    uint64_t now = lu_clock_us(NULL);
    size_t n = 0;
    if (now >= end)
      return LU_OK;
    lu_status s = bytes_in(c, to + *got, len - *got, (unsigned)((end - now) / 1000 + 1), &n, err);
    if (s != LU_OK)
      return s;
    *got += n;
  }
  return LU_OK;
}

/* ---- as a serial line ---- */
static lu_status line_read(void *self, uint8_t *to, size_t room, unsigned ms, size_t *got,
                           lu_err *err)
{
  return bytes_in(self, to, room, ms, got, err);
}

static lu_status line_write(void *self, const uint8_t *at, size_t len, unsigned ms, lu_err *err)
{
  chip *c = self;
  c->ftdi->usb_write_timeout = ms ? (int)ms : 1;
  return bytes_out(c, at, len, err);
}

static lu_status line_rate(void *self, uint32_t baud, lu_err *err)
{
  chip *c = self;
  return c->f.ftdi_set_baudrate(c->ftdi, (int)baud) < 0 ? failed(c, "set that rate", err) : LU_OK;
}

static void line_close(void *self)
{
  chip_close(self);
}

static int flow_control(chip *c, lu_flow flow)
{
  if (flow == LU_FLOW_XON) /* the chip itself sends and obeys them: DC1 and DC3 of ISO/IEC 646 */
    return c->f.ftdi_setflowctrl_xonxoff(c->ftdi, 0x11, 0x13);
  return c->f.ftdi_setflowctrl(c->ftdi, flow == LU_FLOW_RTS ? SIO_RTS_CTS_HS : SIO_DISABLE_FLOW_CTRL);
}

lu_status lu_ftdi_serial_open(const char *serial, unsigned channel, const lu_line *line,
                              lu_transport *out, lu_err *err)
{
  chip *c = NULL;
  lu_status s = open_chip(serial, channel, &c, err);
  if (s != LU_OK)
    return s;
  enum ftdi_parity_type parity = line->parity == 'e' ? EVEN : line->parity == 'o' ? ODD : NONE;
  /* may fail: a chip that knows no bit modes is a serial line always */
  c->f.ftdi_set_bitmode(c->ftdi, 0, BITMODE_RESET);
  s = line_rate(c, line->baud, err);
  if (s == LU_OK &&
      (c->f.ftdi_set_line_property(c->ftdi, line->data_bits == 7 ? BITS_7 : BITS_8,
                                   line->stop_bits == 2 ? STOP_BIT_2 : STOP_BIT_1, parity) < 0 ||
       flow_control(c, line->flow) < 0 || c->f.ftdi_tcioflush(c->ftdi) < 0))
    s = failed(c, "set the line's format", err);
  if (s != LU_OK) {
    chip_close(c);
    return s;
  }
  *out = (lu_transport){c, c->name, line_read, line_write, line_rate, lu_clock_us, lu_clock_pause,
                        line_close};
  return LU_OK;
}

/* ---- as the host bus ---- */
/* Sends commands[len], with the flush that ends a batch, and takes want answers. */
static lu_status batch(chip *c, size_t len, size_t want, size_t *got, lu_err *err)
{
  c->commands[len++] = OP_FLUSH;
  lu_status s = bytes_out(c, c->commands, len, err);
  *got = 0;
  return s == LU_OK && want ? bytes_all(c, c->answers, want, 2000, got, err) : s;
}

static size_t add_read(chip *c, size_t at, uint32_t address)
{
  c->commands[at++] = OP_READ;
  c->commands[at++] = (uint8_t)(address >> 8);
  c->commands[at++] = (uint8_t)address;
  return at;
}

static size_t add_write(chip *c, size_t at, uint32_t address, uint16_t data)
{
  c->commands[at++] = OP_WRITE;
  c->commands[at++] = (uint8_t)(address >> 8);
  c->commands[at++] = (uint8_t)address;
  c->commands[at++] = (uint8_t)data;
  return at;
}

static lu_status short_answer(const chip *c, size_t got, size_t want, lu_err *err)
{
  return lu_fail(err, LU_ERR_DEVICE, 0, 0, "%s: %zu of %zu answers came within 2 s", c->name, got,
                 want);
}

static lu_status range(uint32_t at, uint32_t words, lu_err *err)
{
  if (at > 0x10000 || words > 0x10000 - at)
    return lu_fail(err, LU_ERR_VALUE, 0, 0, "the host bus has 0x10000 addresses; 0x%x and 0x%x more",
                   at, words);
  return LU_OK;
}

static lu_status bus_read(void *self, uint32_t at, uint32_t words, uint16_t *to, uint32_t *done,
                          lu_err *err)
{
  chip *c = self;
  uint32_t i = 0;
  lu_status s = range(at, words, err);
  while (s == LU_OK && i < words) {
    uint32_t n = words - i < BATCH ? words - i : BATCH;
    size_t len = 0, got = 0, want = (size_t)n * c->bytes_a_read;
    for (uint32_t k = 0; k < n; k++)
      len = add_read(c, len, at + i + k);
    s = batch(c, len, want, &got, err);
    uint32_t whole = (uint32_t)(got / c->bytes_a_read);
    for (uint32_t k = 0; k < whole; k++)
      to[i + k] = c->answers[k * c->bytes_a_read];
    i += whole;
    if (s == LU_OK && got < want)
      s = short_answer(c, got, want, err);
  }
  if (done)
    *done = i;
  return s;
}

/* Words that were handed to the chip; without a read behind them nobody knows whether they arrived. */
static lu_status bus_write(void *self, uint32_t at, uint32_t words, const uint16_t *from,
                           uint32_t *done, lu_err *err)
{
  chip *c = self;
  uint32_t i = 0;
  lu_status s = range(at, words, err);
  while (s == LU_OK && i < words) {
    uint32_t n = words - i < BATCH ? words - i : BATCH;
    size_t len = 0, got;
    for (uint32_t k = 0; k < n; k++)
      len = add_write(c, len, at + i + k, from[i + k]);
    s = batch(c, len, 0, &got, err);
    if (s == LU_OK)
      i += n;
  }
  if (done)
    *done = i;
  return s;
}

static lu_status bus_fill(void *self, uint32_t at, uint32_t words, uint8_t background, uint16_t seed,
                          lu_err *err)
{
  lu_status s = range(at, words, err);
  uint16_t block[BATCH];
  for (uint32_t i = 0; s == LU_OK && i < words; i += BATCH) {
    uint32_t n = words - i < BATCH ? words - i : BATCH;
    for (uint32_t k = 0; k < n; k++)
      block[k] = lu_wire_word(background, seed, at + i + k) & 0xFF;
    s = bus_write(self, at + i, n, block, NULL, err);
  }
  return s;
}

/* Holds the answers of n words against what they must be; false from on_failure sets *stop. */
static void judge(chip *c, const lu_march *m, uint32_t first, uint32_t n, lu_march_result *out,
                  bool (*on_failure)(void *to, const lu_march_failure *f), void *to, bool *stop)
{
  size_t a = 0;
  for (uint32_t i = 0; i < n; i++) {
    uint32_t address = m->down ? first - i : first + i;
    for (size_t k = 0; k < m->op_count; k++) {
      if (m->ops[k].write)
        continue;
      uint8_t got = c->answers[a++ * c->bytes_a_read];
      uint16_t want = lu_march_word(m, &m->ops[k], address, 8);
      out->crc = lu_crc16(out->crc, &got, 1);
      out->sum += got;
      out->reads++;
      if (got == want)
        continue;
      out->failures++;
      lu_march_failure f = {address, (uint8_t)k, want, got};
      if (!*stop && on_failure && !on_failure(to, &f))
        *stop = true;
    }
  }
}

static lu_status bus_march(void *self, const lu_march *m, lu_march_result *out,
                           bool (*on_failure)(void *to, const lu_march_failure *f), void *to,
                           lu_err *err)
{
  chip *c = self;
  *out = (lu_march_result){.crc = LU_CRC16_FRAME};
  lu_status s = range(m->at, m->words, err);
  if (s == LU_OK && (!m->op_count || m->op_count > LU_WIRE_OPERATIONS_MOST))
    s = lu_fail(err, LU_ERR_VALUE, 0, 0, "%zu operations in an element, 1 to %d are taken",
                m->op_count, LU_WIRE_OPERATIONS_MOST);
  bool stop = false;
  while (s == LU_OK && !stop && out->done < m->words) {
    uint32_t most = (uint32_t)(BATCH / m->op_count), left = m->words - out->done;
    uint32_t n = left < most ? left : most;
    uint32_t first = m->down ? m->at + left - 1 : m->at + out->done;
    size_t len = 0, want = 0, got = 0;
    for (uint32_t i = 0; i < n; i++) {
      uint32_t address = m->down ? first - i : first + i;
      for (size_t k = 0; k < m->op_count; k++) {
        if (m->ops[k].write) {
          len = add_write(c, len, address, lu_march_word(m, &m->ops[k], address, 8));
        } else {
          len = add_read(c, len, address);
          want += c->bytes_a_read;
        }
      }
    }
    s = batch(c, len, want, &got, err);
    if (s == LU_OK && got < want)
      s = short_answer(c, got, want, err);
    if (s != LU_OK)
      break;
    judge(c, m, first, n, out, on_failure, to, &stop);
    out->done += n;
  }
  return s;
}

static lu_status bus_cycles(void *self, lu_cycle *list, size_t count, lu_err *err)
{
  chip *c = self;
  lu_status s = LU_OK;
  for (size_t i = 0; s == LU_OK && i < count;) {
    size_t n = count - i < BATCH ? count - i : BATCH, len = 0, want = 0, got = 0, a = 0;
    for (size_t k = i; s == LU_OK && k < i + n; k++) {
      s = range(list[k].address, 1, err);
      len = list[k].write ? add_write(c, len, list[k].address, list[k].data)
                          : add_read(c, len, list[k].address);
      want += list[k].write ? 0 : c->bytes_a_read;
    }
    if (s == LU_OK)
      s = batch(c, len, want, &got, err);
    if (s == LU_OK && got < want)
      s = short_answer(c, got, want, err);
    for (size_t k = i; s == LU_OK && k < i + n; k++)
      if (!list[k].write)
        list[k].got = c->answers[a++ * c->bytes_a_read];
    i += n;
  }
  return s;
}

static void bus_release(void *self)
{
  chip *c = self;
  c->f.ftdi_set_bitmode(c->ftdi, 0, BITMODE_RESET);
}

static void bus_close(void *self)
{
  chip_close(self);
}

static lu_status not_the_bus(const chip *c, const uint8_t *at, size_t len, lu_err *err)
{
  char hex[3 * 8 + 1] = "";
  for (size_t i = 0; i < len && i < 8; i++)
    snprintf(hex + 3 * i, 4, " %02x", at[i]);
  return lu_fail(err, LU_ERR_DEVICE, 0, 0,
                 "%s: does not answer as a host bus (an FT2232H does): expected fa aa, found%s", c->name,
                 len ? hex : " nothing");
}

/* ---- lines that something else holds ---- */
/* Opcodes of the serial engine (MPSSE) mode, of which pins can be set and read: 80 to 83 as libftdi's header and an
 * open-source USB packet dissector give them. */
enum { OP_SET_LOW = 0x80, OP_GET_LOW = 0x81, OP_SET_HIGH = 0x82, OP_GET_HIGH = 0x83, PINS = 16 };

static size_t set_pins(chip *c, size_t at, unsigned value, unsigned direction)
{
  c->commands[at++] = OP_SET_LOW;
  c->commands[at++] = (uint8_t)value;
  c->commands[at++] = (uint8_t)direction;
  c->commands[at++] = OP_SET_HIGH;
  c->commands[at++] = (uint8_t)(value >> 8);
  c->commands[at++] = (uint8_t)(direction >> 8);
  return at;
}

/* Drives each of channel A's 16 lines low, then high, alone, and reads it back. *held: bit i = AD0-7, A8-15 did
 * not follow. All are inputs before and after. */
static lu_status find_held(chip *c, unsigned *held, lu_err *err)
{
  size_t len = set_pins(c, 0, 0, 0), want = 0, got = 0;
  if (c->f.ftdi_set_bitmode(c->ftdi, 0, BITMODE_RESET) < 0 || c->f.ftdi_tcioflush(c->ftdi) < 0 ||
      c->f.ftdi_set_bitmode(c->ftdi, 0, BITMODE_MPSSE) < 0)
    return failed(c, "enter the mode in which lines can be checked", err);
  for (unsigned i = 0; i < 2 * PINS; i++) {
    len = set_pins(c, len, i & 1 ? 1u << i / 2 : 0, 1u << i / 2);
    c->commands[len++] = i / 2 < 8 ? OP_GET_LOW : OP_GET_HIGH;
    want++;
  }
  len = set_pins(c, len, 0, 0);
  lu_status s = batch(c, len, want, &got, err);
  if (s == LU_OK && got < want)
    s = short_answer(c, got, want, err);
  *held = 0;
  for (unsigned i = 0; s == LU_OK && i < 2 * PINS; i++)
    if ((c->answers[i] >> i / 2 % 8 & 1) != (i & 1))
      *held |= 1u << i / 2;
  return s;
}

static lu_status refuse_held(chip *c, bool drive_anyway, lu_err *err)
{
  unsigned held = 0;
  char names[PINS * 5 + 1] = "";
  size_t n = 0;
  lu_status s = find_held(c, &held, err);
  for (unsigned i = 0; i < PINS; i++)
    if (held >> i & 1)
      n += (size_t)snprintf(names + n, sizeof names - n, i < 8 ? " AD%u" : " A%u", i);
  if (s != LU_OK || !held || drive_anyway)
    return s;
  return lu_fail(err, LU_ERR_DEVICE, 0, 0,
                 "%s: something else holds%s; remove the processor or hold it with its bus let go, or look for a short "
                 "(--drive-anyway drives nevertheless)", c->name, names);
}

/* Enters the mode, proves that it is there, and counts the bytes that one read gives. */
static lu_status enter_bus(chip *c, bool drive_anyway, lu_err *err)
{
  size_t got = 0;
  c->commands = malloc(BATCH * 4 + 16);
  c->answers = malloc(BATCH * 2 + 16);
  if (!c->commands || !c->answers)
    return lu_fail(err, LU_ERR_NOMEM, 0, 0, "no room for a batch");
  lu_status s = refuse_held(c, drive_anyway, err);
  if (s != LU_OK)
    return s;
  if (c->f.ftdi_set_bitmode(c->ftdi, 0, BITMODE_RESET) < 0 || c->f.ftdi_tcioflush(c->ftdi) < 0 ||
      c->f.ftdi_set_bitmode(c->ftdi, 0, BITMODE_MCU) < 0)
    return failed(c, "enter host bus mode", err);
  c->commands[0] = OP_NONE;
  s = batch(c, 1, 2, &got, err);
  if (s != LU_OK)
    return s;
  if (got < 2 || c->answers[0] != BAD_OPCODE || c->answers[1] != OP_NONE)
    return not_the_bus(c, c->answers, got, err);
  c->commands[0] = OP_FULL_CLOCK;
  s = batch(c, add_read(c, 1, 0), 1, &got, err);
  if (s == LU_OK && got < 1)
    return not_the_bus(c, c->answers, got, err);
  size_t more = 0;
  if (s == LU_OK)
    s = bytes_in(c, c->answers, 8, 30, &more, err);
  if (s == LU_OK && got + more > 2)
    return not_the_bus(c, c->answers, more, err);
  c->bytes_a_read = (unsigned)(got + more);
  return s;
}

lu_status lu_ftdi_bus_open(const char *serial, bool drive_anyway, lu_memio *out, lu_err *err)
{
  chip *c = NULL;
  lu_status s = open_chip(serial, 0, &c, err);
  if (s != LU_OK)
    return s;
  s = enter_bus(c, drive_anyway, err);
  if (s != LU_OK) {
    chip_close(c);
    return s;
  }
  *out = (lu_memio){.self = c, .name = c->name, .address_bits = 16, .data_bits = 8,
                    .read = bus_read, .write = bus_write, .fill = bus_fill, .march = bus_march,
                    .cycles = bus_cycles, .release = bus_release, .close = bus_close};
  return LU_OK;
}

/* ---- as a sampler ---- */
lu_status lu_ftdi_sample(const char *serial, uint32_t rate_hz, uint64_t count, const lu_hooks *hooks,
                         lu_inflow *flow, lu_err *err)
{
  enum { AT_ONCE = 2048 };
  chip *c = NULL;
  uint8_t clock_bytes[AT_ONCE] = {0}, samples[AT_ONCE];
  lu_status s = open_chip(serial, 0, &c, err);
  if (s != LU_OK)
    return s;
  /* Every byte that goes out clocks one sample in. No line is an output, so the bytes do not matter.
   * The chip steps 16 times a baud [from memory of AN_232B-02] and the library, once the mode is
   * set, takes a quarter of the wanted baud. */
  if (c->f.ftdi_set_bitmode(c->ftdi, 0, BITMODE_SYNCBB) < 0 ||
      c->f.ftdi_set_baudrate(c->ftdi, (int)(rate_hz / 64 ? rate_hz / 64 : 1)) < 0 ||
      c->f.ftdi_tcioflush(c->ftdi) < 0)
    s = failed(c, "sample", err);
  for (uint64_t done = 0; s == LU_OK && done < count && !lu_hooks_stop(hooks);) {
    size_t n = count - done < AT_ONCE ? (size_t)(count - done) : AT_ONCE, got = 0;
    unsigned ms = 1000 + (unsigned)((uint64_t)n * 4000 / (rate_hz ? rate_hz : 1));
    s = bytes_out(c, clock_bytes, n, err);
    if (s == LU_OK)
      s = bytes_all(c, samples, n, ms, &got, err);
    lu_status kept = lu_inflow_add(flow, samples, got, s == LU_OK ? err : NULL);
    s = s == LU_OK ? kept : s;
    done += got;
    if (s == LU_OK && got < n)
      s = lu_fail(err, LU_ERR_DEVICE, 0, 0, "%s: %zu of %zu samples came within %u ms", c->name, got,
                  n, ms);
    lu_hooks_progress(hooks, done, count);
  }
  chip_close(c);
  return s;
}

#else

static lu_status not_built(lu_err *err)
{
  return lu_fail(err, LU_ERR_DEVICE, 0, 0, "built without libftdi1: no FTDI chips");
}

lu_status lu_ftdi_list(lu_arena *mem, lu_ftdi_device **out, size_t *count, lu_err *err)
{
  (void)mem;
  (void)out;
  (void)count;
  return not_built(err);
}

lu_status lu_ftdi_serial_open(const char *serial, unsigned channel, const lu_line *line,
                              lu_transport *out, lu_err *err)
{
  (void)serial;
  (void)channel;
  (void)line;
  (void)out;
  return not_built(err);
}

lu_status lu_ftdi_bus_open(const char *serial, bool drive_anyway, lu_memio *out, lu_err *err)
{
  (void)serial;
  (void)drive_anyway;
  (void)out;
  return not_built(err);
}

lu_status lu_ftdi_sample(const char *serial, uint32_t rate_hz, uint64_t count, const lu_hooks *hooks,
                         lu_inflow *flow, lu_err *err)
{
  (void)serial;
  (void)rate_hz;
  (void)count;
  (void)hooks;
  (void)flow;
  return not_built(err);
}

#endif
