/* SPDX-License-Identifier: MIT */
/* The reader's hardware: an ATmega2560 at 16 MHz and 5 V. Which pin goes where: docs/reader-wiring.md.
 *
 *   PORTA, PORTC, PORTK   A0-A7, A8-A15, A16-A23     PORTL, PORTF   D0-D7, D8-D15
 *   PB0-PB5               CS, OE, WE, RAS, CAS (low when active), CS2 (high when active)
 *   PG5                   5 V of the board or chip, through 10 kOhm
 *
 * After a reset every pin is an input without pull-up (the chip's own reset state) and stays so until
 * setup: nothing is driven. The watchdog resets the chip, and so lets go, when the program hangs. */
#define F_CPU 16000000UL
#include "core.h"

#include "../link/wire.h"

#include <avr/interrupt.h>
#include <avr/io.h>
#include <avr/wdt.h>
#include <util/atomic.h>
#include <util/delay_basic.h>
#include <util/delay.h>

enum {
  STROBES = LU_WIRE_CS | LU_WIRE_OE | LU_WIRE_WE | LU_WIRE_RAS | LU_WIRE_CAS,
  REST = STROBES, /* CS2 low */
  LINES = STROBES | LU_WIRE_CS2,
  TICK_CYCLES = 960 /* of refresh: 4 rows each makes 256 rows in 3.84 ms; 4 ms is the usual demand */
};

static core_memory mem;
static uint8_t wait_access = 3, wait_write = 2, wait_precharge = 1; /* loops of 3 cycles */
static uint8_t refresh_rows = 4;
static uint16_t refresh_next, refresh_mask, row_mask;
static uint8_t data_low_mask, data_high_mask;
static volatile uint16_t milliseconds;

static inline void loops(uint8_t n)
{
  if (n)
    _delay_loop_1(n);
}

/* ---- memory cycles: each is whole with respect to refresh ---- */
static inline uint8_t selected(uint8_t low)
{
  uint8_t v = REST & (uint8_t)~low;
  return mem.flags & LU_WIRE_SECOND_SELECT && low & LU_WIRE_CS ? v | LU_WIRE_CS2 : v;
}

static inline void put_address(uint32_t a)
{
  PORTA = (uint8_t)a;
  PORTC = (uint8_t)(a >> 8);
  if (mem.address_bits > 16)
    PORTK = (uint8_t)(a >> 16);
}

static inline void put_multiplexed(uint16_t a)
{
  PORTA = (uint8_t)a;
  PORTC = (uint8_t)(a >> 8) & 0x0F;
}

static inline void put_data(uint16_t d)
{
  PORTL = (uint8_t)d & data_low_mask;
  DDRL = data_low_mask;
  if (data_high_mask) {
    PORTF = (uint8_t)(d >> 8) & data_high_mask;
    DDRF = data_high_mask;
  }
}

/* No pull-ups either: a line that nothing drives must float, so that an open line shows. */
static inline void drop_data(void)
{
  DDRL = 0;
  PORTL = 0;
  if (data_high_mask) {
    DDRF = 0;
    PORTF = 0;
  }
}

static inline uint16_t get_data(void)
{
  uint16_t v = PINL & data_low_mask;
  if (data_high_mask)
    v |= (uint16_t)((uint16_t)(PINF & data_high_mask) << 8);
  return v;
}

static uint16_t column_of(uint32_t a)
{
  switch (mem.row_bits) { /* shifts by a constant are a few moves, by a variable a loop */
  case 7:
    return (uint16_t)(a >> 7);
  case 8:
    return (uint16_t)(a >> 8);
  case 9:
    return (uint16_t)(a >> 9);
  case 10:
    return (uint16_t)(a >> 10);
  default:
    return (uint16_t)(a >> mem.row_bits);
  }
}

static uint16_t dram_read(uint32_t a)
{
  uint16_t row = (uint16_t)a & row_mask, column = column_of(a), v;
  ATOMIC_BLOCK(ATOMIC_FORCEON)
  {
    put_multiplexed(row);
    PORTB = REST & ~LU_WIRE_RAS;
    put_multiplexed(column);
    PORTB = REST & ~(LU_WIRE_RAS | LU_WIRE_CAS | LU_WIRE_OE);
    loops(wait_access);
    v = get_data();
    PORTB = REST;
    loops(wait_precharge);
  }
  return v;
}

/* An early write: WE falls before CAS, so the outputs stay off and DIN may share DOUT's line. */
static void dram_write(uint32_t a, uint16_t d)
{
  uint16_t row = (uint16_t)a & row_mask, column = column_of(a);
  ATOMIC_BLOCK(ATOMIC_FORCEON)
  {
    put_multiplexed(row);
    PORTB = REST & ~LU_WIRE_RAS;
    put_multiplexed(column);
    put_data(d);
    PORTB = REST & ~(LU_WIRE_RAS | LU_WIRE_WE);
    PORTB = REST & ~(LU_WIRE_RAS | LU_WIRE_WE | LU_WIRE_CAS);
    loops(wait_write);
    PORTB = REST;
    drop_data();
    loops(wait_precharge);
  }
}

uint16_t hw_read(uint32_t a)
{
  if (mem.kind == LU_WIRE_DRAM)
    return dram_read(a);
  put_address(a);
  PORTB = selected(LU_WIRE_CS | LU_WIRE_OE);
  loops(wait_access);
  uint16_t v = get_data();
  PORTB = REST;
  return v;
}

void hw_write(uint32_t a, uint16_t d)
{
  if (mem.kind == LU_WIRE_DRAM) {
    dram_write(a, d);
    return;
  }
  put_address(a);
  put_data(d);
  PORTB = selected(LU_WIRE_CS);
  PORTB = selected(LU_WIRE_CS | LU_WIRE_WE);
  loops(wait_write);
  PORTB = selected(LU_WIRE_CS); /* data and select outlast the write */
  PORTB = REST;
  drop_data();
}

/* RAS-only refresh of the next rows. */
ISR(TIMER1_COMPA_vect)
{
  uint16_t row = refresh_next;
  for (uint8_t i = refresh_rows; i; i--) {
    put_multiplexed(row);
    PORTB = REST & ~LU_WIRE_RAS;
    row = (row + 1) & refresh_mask;
    PORTB = REST & ~LU_WIRE_RAS; /* again, as time: RAS stays low for about 0.3 us */
    PORTB = REST;
  }
  refresh_next = row;
}

/* ---- driving and letting go ---- */
bool hw_supply(void)
{
  return PING & (1 << PG5);
}

void hw_release(void)
{
  TIMSK1 = 0;
  DDRA = DDRB = DDRC = DDRF = DDRK = DDRL = 0;
  PORTA = PORTB = PORTC = PORTF = PORTK = PORTL = 0;
  mem = (core_memory){0};
}

static uint8_t low_ones(uint8_t bits)
{
  return bits >= 8 ? 0xFF : (uint8_t)((1u << bits) - 1);
}

static uint8_t above(uint8_t bits, uint8_t from)
{
  return bits > from ? low_ones(bits - from) : 0;
}

void hw_drive(const core_memory *m)
{
  mem = *m;
  bool dram = m->kind == LU_WIRE_DRAM;
  uint8_t lines = m->address_bits;
  if (dram)
    lines = m->row_bits > m->column_bits ? m->row_bits : m->column_bits;
  data_low_mask = low_ones(m->data_bits);
  data_high_mask = above(m->data_bits, 8);
  row_mask = (uint16_t)((1u << m->row_bits) - 1);
  refresh_mask = (uint16_t)((1u << m->refresh_bits) - 1);
  PORTB = REST;
  DDRB = LINES;
  DDRA = low_ones(lines);
  DDRC = above(lines, 8);
  DDRK = dram ? 0 : above(lines, 16);
  if (!dram)
    return;
  TCCR1A = 0;
  TCCR1B = 1 << WGM12 | 1 << CS10;
  OCR1A = TICK_CYCLES - 1;
  TCNT1 = 0;
  TIFR1 = 1 << OCF1A;
  TIMSK1 = 1 << OCIE1A;
  /* the usual first cycles of a dynamic memory, before its content counts */
  _delay_ms(1);
}

typedef struct port {
  volatile uint8_t *pin, *ddr, *out;
} port;

static port port_at(uint8_t set)
{
  switch (set) {
  case 0:
    return (port){&PINA, &DDRA, &PORTA};
  case 1:
    return (port){&PINC, &DDRC, &PORTC};
  case 2:
    return (port){&PINK, &DDRK, &PORTK};
  case 3:
    return (port){&PINL, &DDRL, &PORTL};
  case 4:
    return (port){&PINF, &DDRF, &PORTF};
  default:
    return (port){&PINB, &DDRB, &PORTB};
  }
}

static void note(uint8_t *set, const port *p, uint8_t bit)
{
  if (*p->pin & bit)
    *set |= bit;
}

/* One line at a time, each driven for about a microsecond: short enough to hurt nothing when
 * something else holds it, above all with the series resistors of docs/reader-wiring.md. */
static void levels_of_line(uint8_t sets[4][6], uint8_t at, uint8_t bit)
{
  port p = port_at(at);
  uint8_t out = *p.out, ddr = *p.ddr;
  *p.out = out | bit;
  _delay_us(20);
  note(&sets[0][at], &p, bit);
  *p.out = out & (uint8_t)~bit;
  *p.ddr = ddr | bit;
  _delay_us(1);
  note(&sets[2][at], &p, bit);
  *p.ddr = ddr & (uint8_t)~bit;
  _delay_us(10);
  note(&sets[1][at], &p, bit);
  *p.out = out | bit;
  *p.ddr = ddr | bit;
  _delay_us(1);
  note(&sets[3][at], &p, bit);
  *p.ddr = ddr;
  *p.out = out;
}

void hw_levels(uint8_t sets[4][6], const core_memory *m)
{
  (void)m;
  for (uint8_t k = 0; k < 4; k++)
    for (uint8_t i = 0; i < 6; i++)
      sets[k][i] = 0;
  PORTB = REST; /* pull-ups keep the memory unselected meanwhile */
  for (uint8_t at = 0; at < 6; at++)
    for (uint8_t bit = 1; bit && (at < 5 || bit <= LU_WIRE_CS2); bit <<= 1)
      levels_of_line(sets, at, bit);
  PORTB = 0;
}

bool hw_pin(uint8_t line)
{
  port p = port_at(line >> 3);
  return *p.pin & (uint8_t)(1 << (line & 7));
}

uint16_t hw_strobe(uint32_t a, bool drive, uint16_t data, uint8_t low, uint16_t cycles)
{
  uint16_t v = 0;
  if (mem.kind == LU_WIRE_DRAM)
    put_multiplexed((uint16_t)a);
  else
    put_address(a);
  if (drive)
    put_data(data);
  uint8_t levels = (REST & (uint8_t)~low) | (low & LU_WIRE_CS2);
  ATOMIC_BLOCK(ATOMIC_FORCEON)
  {
    PORTB = levels;
    if (cycles >= 4)
      _delay_loop_2(cycles / 4);
    v = get_data();
    PORTB = REST;
  }
  drop_data();
  return v;
}

void hw_timing(uint8_t values[4])
{
  for (uint8_t i = 0; i < 3; i++)
    if (values[i] > 240)
      values[i] = 240;
  if (values[3] < 1)
    values[3] = 1;
  if (values[3] > 16)
    values[3] = 16;
  wait_access = (uint8_t)((values[0] + 2) / 3);
  wait_write = (uint8_t)((values[1] + 2) / 3);
  wait_precharge = (uint8_t)((values[2] + 2) / 3);
  refresh_rows = values[3];
}

/* ---- the line ---- */
ISR(USART0_RX_vect)
{
  core_rx_push(UDR0);
}

ISR(USART0_UDRE_vect)
{
  uint8_t byte;
  if (core_tx_pop(&byte)) {
    UCSR0A = 1 << U2X0 | 1 << TXC0;
    UDR0 = byte;
  } else {
    UCSR0B &= (uint8_t)~(1 << UDRIE0);
  }
}

void hw_send(void)
{
  ATOMIC_BLOCK(ATOMIC_FORCEON)
  {
    UCSR0B |= 1 << UDRIE0;
  }
}

void hw_hold(void)
{
  ATOMIC_BLOCK(ATOMIC_FORCEON)
  {
    UCSR0B &= (uint8_t)~(1 << UDRIE0);
  }
}

bool hw_sent(void)
{
  return hw_ring_at(&core_tx_at.tail) == core_tx_at.head && !(UCSR0B & (1 << UDRIE0)) &&
         UCSR0A & (1 << TXC0);
}

uint16_t hw_ring_at(const volatile uint16_t *at)
{
  uint16_t v;
  ATOMIC_BLOCK(ATOMIC_FORCEON)
  {
    v = *at;
  }
  return v;
}

void hw_ring_set(volatile uint16_t *at, uint16_t value)
{
  ATOMIC_BLOCK(ATOMIC_FORCEON)
  {
    *at = value;
  }
}

static uint16_t divisor(uint32_t baud)
{
  return (uint16_t)((F_CPU / 8 + baud / 2) / baud);
}

uint32_t hw_rate_near(uint32_t baud)
{
  if (baud < 300 || baud > 2000000)
    return 0;
  uint32_t made = F_CPU / 8 / divisor(baud), off = made > baud ? made - baud : baud - made;
  return off * 33 <= baud ? made : 0;
}

void hw_rate_set(uint32_t baud)
{
  UBRR0 = divisor(baud) - 1;
}

/* ---- time, reset, main ---- */
ISR(TIMER0_COMPA_vect)
{
  milliseconds++;
}

uint16_t hw_now(void)
{
  return hw_ring_at(&milliseconds);
}

uint32_t hw_clock_khz(void)
{
  return F_CPU / 1000;
}

void hw_idle(void)
{
  wdt_reset();
}

/* The watchdog stays on through its own reset: it must be tamed before anything takes long. */
void early(void) __attribute__((naked, used, section(".init3")));
void early(void)
{
  MCUSR = 0;
  wdt_disable();
}

int main(void)
{
  hw_release();
  core_reset();
  UCSR0A = 1 << U2X0;
  hw_rate_set(LU_WIRE_FIRST_RATE);
  UCSR0C = 3 << UCSZ00;
  UCSR0B = 1 << RXEN0 | 1 << TXEN0 | 1 << RXCIE0;
  TCCR0A = 1 << WGM01;
  TCCR0B = 3; /* by 64: 250 steps a millisecond */
  OCR0A = 249;
  TIMSK0 = 1 << OCIE0A;
  wdt_enable(WDTO_2S);
  sei();
  for (;;) {
    core_step();
    hw_idle();
  }
}
