/* SPDX-License-Identifier: MIT */
#include "avrbed.h"

#include "link/wire.h"

#include <avr_ioport.h>
#include <avr_uart.h>
#include <sim_avr.h>
#include <sim_elf.h>

#include <stdio.h>
#include <string.h>

enum { OUT = 1 << 16, IN = 1 << 16, MHZ = 16 };

avr_bed bed;
static avr_t *avr;
static avr_irq_t *uart_in, *pins_l, *pins_f;
static uint8_t pa, pb, pc, pf, pk, pl, dl, df, strobes_out;
static int last_data = -1;
static uint16_t row, column;
static bool may_hear;
static uint8_t out[OUT], in[IN];
static uint32_t out_head, out_tail, in_head, in_tail;
static uint64_t next_hear;
static uint32_t host_baud;
static avr_uart_t *uart;
static avr_cycle_count_t byte_cycles;

/* The chip's registers, by address (ATmega2560 data sheet): PIN, DDR and PORT follow each other. A23-A16 is K. */
enum { PIN_A = 0x20, PIN_B = 0x23, PIN_C = 0x26, PIN_F = 0x2F, PIN_G = 0x32, PIN_K = 0x106, PIN_L = 0x109, BUSES = 6 };
static const uint16_t bus_pins[BUSES] = {PIN_A, PIN_C, PIN_K, PIN_L, PIN_F, PIN_B}; /* A0-A23, D0-D15, strobes */
static uint8_t held_low[BUSES], held_high[BUSES];
static avr_io_read_t pins_read[BUSES];
static void *pins_param[BUSES];

/* ---- wires and memory ---- */
static uint32_t through(const bed_wires *w, uint32_t v)
{
  v = (v | w->high | w->open) & ~w->low;
  for (unsigned i = 0; i < w->bridges; i++)
    if (!(v >> w->bridge[i].a & v >> w->bridge[i].b & 1))
      v &= ~(1u << w->bridge[i].a | 1u << w->bridge[i].b);
  return v;
}

/* What the program reads of a port some of whose lines something else drives. */
static uint8_t read_pins(avr_t *chip, avr_io_addr_t at, void *param)
{
  size_t i = (size_t)(intptr_t)param;
  uint8_t v = pins_read[i](chip, at, pins_param[i]);
  return (uint8_t)((v | held_high[i]) & ~held_low[i]);
}

/* Not by the simulator's pin, which a reset would clear. */
static uint8_t read_supply(avr_t *chip, avr_io_addr_t at, void *param)
{
  (void)chip;
  (void)at;
  (void)param;
  return bed.supply ? 1 << 5 : 0;
}

static bool hold(char bus, unsigned line, char level)
{
  unsigned i = bus == 'A' ? line / 8 : bus == 'D' ? 3 + line / 8 : BUSES;
  if (i >= BUSES - 1 || (bus == 'A' && i > 2))
    return false;
  *(level == '0' ? &held_low[i] : &held_high[i]) |= (uint8_t)(1u << line % 8);
  return true;
}

bool bed_fault(const char *text)
{
  char bus, other, level;
  unsigned a, b;
  if (!strcmp(text, "dead")) {
    bed.supply = false;
    return true;
  }
  if (sscanf(text, "!%c%u=%c", &bus, &a, &level) == 3)
    return hold(bus, a, level);
  if (sscanf(text, "%c%u%c", &bus, &a, &other) == 3 && other == '?' && (bus == 'A' || bus == 'D') && a < 24) {
    (bus == 'A' ? &bed.address : &bed.data)->open |= 1u << a;
    return true;
  }
  if (sscanf(text, "%c%u=%c", &bus, &a, &level) == 3 && (bus == 'A' || bus == 'D') && a < 24) {
    bed_wires *w = bus == 'A' ? &bed.address : &bed.data;
    *(level == '0' ? &w->low : &w->high) |= 1u << a;
    return level == '0' || level == '1';
  }
  if (sscanf(text, "%c%u~%c%u", &bus, &a, &other, &b) == 4 && bus == other && a < 24 && b < 24) {
    bed_wires *w = bus == 'A' ? &bed.address : &bed.data;
    if (w->bridges == 8)
      return false;
    w->bridge[w->bridges].a = (uint8_t)a;
    w->bridge[w->bridges++].b = (uint8_t)b;
    return true;
  }
  return false;
}

static void to_chip(uint16_t v)
{
  v = (uint16_t)((v & ~bed.data.open) | ((uint32_t)(pl | pf << 8) & bed.data.open));
  if (last_data == v)
    return;
  for (int i = 0; i < 8; i++) {
    avr_raise_irq(pins_l + i, v >> i & 1);
    avr_raise_irq(pins_f + i, v >> (8 + i) & 1);
  }
  last_data = v;
}

static uint16_t from_chip(void)
{
  /* a line that the chip does not drive is pulled high on the board */
  return (uint16_t)through(&bed.data, (uint16_t)((pl | (uint8_t)~dl) | (pf | (uint8_t)~df) << 8));
}

static uint32_t lines(void)
{
  return through(&bed.address, (uint32_t)pk << 16 | (uint32_t)pc << 8 | pa);
}

static void touch_row(uint16_t r)
{
  uint64_t now = avr->cycle, *seen = &bed.row_seen[r & 4095];
  if (bed.keep_ms && *seen && now - *seen > (uint64_t)bed.keep_ms * 1000 * MHZ) {
    for (uint32_t c = 0; c < 1u << bed.column_bits; c++) /* the charge has leaked away */
      bed.memory[(c << bed.row_bits | r) % BED_WORDS] = 0;
    bed.decayed++;
  }
  *seen = now;
}

/* 41256-class: RAS latches the row, CAS the column; WE low before CAS is an early write. */
static void dram(uint8_t before)
{
  uint8_t fell = before & (uint8_t)~pb, rose = (uint8_t)~before & pb;
  uint16_t rows = (uint16_t)((1u << bed.row_bits) - 1), columns = (uint16_t)((1u << bed.column_bits) - 1);
  if (fell & LU_WIRE_RAS) {
    row = (uint16_t)lines() & rows;
    touch_row(row);
    bed.refreshes++;
  }
  if (fell & LU_WIRE_CAS && !(pb & LU_WIRE_RAS)) {
    column = (uint16_t)lines() & columns;
    uint16_t *cell = &bed.memory[((uint32_t)column << bed.row_bits | row) % BED_WORDS];
    bed.refreshes--;
    if (!(pb & LU_WIRE_WE)) {
      *cell = from_chip();
      bed.writes++;
    } else {
      bed.contentions += (dl | df) != 0;
      to_chip((uint16_t)through(&bed.data, *cell));
      bed.reads++;
    }
  }
  if (rose & LU_WIRE_CAS)
    to_chip((uint16_t)through(&bed.data, 0xFFFF));
}

static void statics(uint8_t before)
{
  bool selected = !(pb & LU_WIRE_CS), enabled = !(pb & LU_WIRE_OE), write = !(pb & LU_WIRE_WE);
  uint16_t *cell = &bed.memory[lines() % BED_WORDS];
  if (selected && !(before & LU_WIRE_WE) && !write && bed.kind == BED_SRAM) {
    *cell = from_chip();
    bed.writes++;
  }
  if (selected && enabled && !write) {
    bed.contentions += (dl | df) != 0;
    to_chip((uint16_t)through(&bed.data, *cell));
    bed.reads++;
  } else {
    to_chip((uint16_t)through(&bed.data, 0xFFFF));
  }
}

static void on_port(struct avr_irq_t *irq, uint32_t v, void *which)
{
  (void)irq;
  switch ((char)(intptr_t)which) {
  case 'A':
    pa = (uint8_t)v;
    return;
  case 'C':
    pc = (uint8_t)v;
    return;
  case 'K':
    pk = (uint8_t)v;
    return;
  case 'L':
    pl = (uint8_t)v;
    return;
  case 'F':
    pf = (uint8_t)v;
    return;
  case 'l':
    dl = (uint8_t)v;
    last_data = -1;
    return;
  case 'f':
    df = (uint8_t)v;
    last_data = -1;
    return;
  case 'b':
    strobes_out = (uint8_t)v;
    return;
  case 'B': {
    uint8_t before = pb;
    pb = (uint8_t)v;
    /* strobes that are not driven are pulled up on the board */
    if ((strobes_out & 0x1F) != 0x1F)
      return;
    if (bed.heal_after && bed.reads + bed.writes >= bed.heal_after)
      bed.address = bed.data = (bed_wires){0};
    if (bed.kind == BED_DRAM)
      dram(before);
    else
      statics(before);
    return;
  }
  }
}

/* ---- the line ---- */
static void on_out(struct avr_irq_t *irq, uint32_t v, void *p)
{
  (void)irq;
  (void)p;
  out[out_head] = (uint8_t)v;
  out_head = (out_head + 1) % OUT;
}

static void on_xon(struct avr_irq_t *irq, uint32_t v, void *p)
{
  (void)irq;
  (void)v;
  may_hear = p != NULL;
}

static void connect(char port, int irq, char which)
{
  avr_irq_register_notify(avr_io_getirq(avr, AVR_IOCTL_IOPORT_GETIRQ(port), irq), on_port,
                          (void *)(intptr_t)which);
}

bool bed_start(const char *elf, bed_kind kind)
{
  elf_firmware_t f = {0};
  memset(&bed, 0, sizeof bed);
  bed.kind = kind;
  bed.supply = true;
  bed.row_bits = bed.column_bits = 9;
  if (elf_read_firmware(elf, &f)) {
    fprintf(stderr, "no firmware at %s\n", elf);
    return false;
  }
  strcpy(f.mmcu, "atmega2560");
  f.frequency = MHZ * 1000000;
  avr = avr_make_mcu_by_name(f.mmcu);
  if (!avr)
    return false;
  avr_init(avr);
  avr_load_firmware(avr, &f);
  for (const char *p = "ACKLFB"; *p; p++)
    connect(*p, IOPORT_IRQ_REG_PORT, *p);
  connect('L', IOPORT_IRQ_DIRECTION_ALL, 'l');
  connect('F', IOPORT_IRQ_DIRECTION_ALL, 'f');
  connect('B', IOPORT_IRQ_DIRECTION_ALL, 'b');
  pins_l = avr_io_getirq(avr, AVR_IOCTL_IOPORT_GETIRQ('L'), 0);
  pins_f = avr_io_getirq(avr, AVR_IOCTL_IOPORT_GETIRQ('F'), 0);
  uint32_t flags = 0; /* no echo, no naps of the host while the chip polls */
  avr_ioctl(avr, AVR_IOCTL_UART_GET_FLAGS('0'), &flags);
  flags &= ~(uint32_t)(AVR_UART_FLAG_STDIO | AVR_UART_FLAG_POLL_SLEEP);
  avr_ioctl(avr, AVR_IOCTL_UART_SET_FLAGS('0'), &flags);
  uart_in = avr_io_getirq(avr, AVR_IOCTL_UART_GETIRQ('0'), UART_IRQ_INPUT);
  avr_irq_register_notify(avr_io_getirq(avr, AVR_IOCTL_UART_GETIRQ('0'), UART_IRQ_OUTPUT), on_out, NULL);
  avr_irq_register_notify(avr_io_getirq(avr, AVR_IOCTL_UART_GETIRQ('0'), UART_IRQ_OUT_XON), on_xon, &bed);
  avr_irq_register_notify(avr_io_getirq(avr, AVR_IOCTL_UART_GETIRQ('0'), UART_IRQ_OUT_XOFF), on_xon, NULL);
  avr->io[AVR_DATA_TO_IO(PIN_G)].r.c = read_supply;
  for (size_t i = 0; i < BUSES; i++) {
    avr_io_addr_t at = AVR_DATA_TO_IO(bus_pins[i]);
    pins_read[i] = avr->io[at].r.c;
    pins_param[i] = avr->io[at].r.param;
    avr->io[at].r.c = read_pins;
    avr->io[at].r.param = (void *)(intptr_t)i;
    held_low[i] = held_high[i] = 0;
  }
  uart = NULL;
  byte_cycles = 0;
  for (avr_io_t *io = avr->io_port; io; io = io->next)
    if (io->kind && !strcmp(io->kind, "uart") && ((avr_uart_t *)(void *)io)->name == '0')
      uart = (avr_uart_t *)(void *)io;
  out_head = out_tail = in_head = in_tail = 0;
  next_hear = 0;
  host_baud = 115200;
  pb = 0x1F;
  strobes_out = 0;
  last_data = -1;
  may_hear = true;
  return true;
}

void bed_end(void)
{
  if (avr)
    avr_terminate(avr);
  avr = NULL;
}

uint64_t bed_cycles(void)
{
  return avr->cycle;
}

bool bed_drives(void)
{
  uint8_t any = 0;
  for (size_t i = 0; i < BUSES; i++)
    any |= avr->data[bus_pins[i] + 1];
  return any != 0;
}

void bed_hang(void)
{
  avr->flash[avr->flashend - 1] = 0xFF; /* CFFF: jump to itself */
  avr->flash[avr->flashend] = 0xCF;
  avr->pc = avr->flashend - 1;
}

bool bed_hear(uint8_t byte)
{
  if ((in_head + 1) % IN == in_tail)
    return false;
  in[in_head] = byte;
  in_head = (in_head + 1) % IN;
  return true;
}

static void step(void)
{
  avr_run(avr);
  /* libsimavr counts a parity bit that 8N1 has not: 11 bits a byte. The chip's data sheet says 10. */
  if (uart && uart->cycles_per_byte != byte_cycles)
    uart->cycles_per_byte = byte_cycles = uart->cycles_per_byte * 10 / 11;
  /* the line gives one byte in ten bit times, as the host's side is set */
  if (in_tail != in_head && may_hear && avr->cycle >= next_hear) {
    avr_raise_irq(uart_in, in[in_tail]);
    in_tail = (in_tail + 1) % IN;
    next_hear = avr->cycle + 10u * MHZ * 1000000u / host_baud;
  }
}

void bed_run(uint64_t cycles, void (*say)(void *to, uint8_t byte), void *to)
{
  uint64_t end = avr->cycle + cycles;
  while (avr->cycle < end) {
    step();
    while (out_tail != out_head) {
      say(to, out[out_tail]);
      out_tail = (out_tail + 1) % OUT;
    }
  }
}

/* ---- the transport ---- */
static lu_status bed_read(void *self, uint8_t *to, size_t room, unsigned ms, size_t *got, lu_err *err)
{
  (void)self;
  (void)err;
  uint64_t end = avr->cycle + (uint64_t)ms * 1000 * MHZ;
  while (out_tail == out_head && avr->cycle < end)
    step();
  for (*got = 0; *got < room && out_tail != out_head; (*got)++) {
    to[*got] = out[out_tail];
    out_tail = (out_tail + 1) % OUT;
  }
  return LU_OK;
}

static lu_status bed_write(void *self, const uint8_t *at, size_t len, unsigned ms, lu_err *err)
{
  (void)self;
  (void)ms;
  for (size_t i = 0; i < len; i++)
    if (!bed_hear(at[i]))
      return lu_fail(err, LU_ERR_DEVICE, 0, 0, "bed: the line is full");
  return LU_OK;
}

static lu_status bed_rate(void *self, uint32_t baud, lu_err *err)
{
  (void)self;
  (void)err;
  host_baud = baud;
  return LU_OK;
}

static uint64_t bed_now(void *self)
{
  (void)self;
  return avr->cycle / MHZ;
}

static void bed_pause(void *self, unsigned ms)
{
  (void)self;
  uint64_t end = avr->cycle + (uint64_t)ms * 1000 * MHZ;
  while (avr->cycle < end)
    step();
}

static void bed_close(void *self)
{
  (void)self;
}

lu_transport bed_transport(void)
{
  return (lu_transport){NULL, "bed", bed_read, bed_write, bed_rate, bed_now, bed_pause, bed_close};
}
