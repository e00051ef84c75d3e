/* SPDX-License-Identifier: MIT */
#ifndef LU_FIRMWARE_CORE_H
#define LU_FIRMWARE_CORE_H
/* The reader's protocol, without hardware: frames in, memory cycles, frames out. The same file runs
 * on the microcontroller and, for tests, on the host. One instance, static memory only. */
#include <stdbool.h>
#include <stdint.h>

/* The memory as setup described it. */
typedef struct core_memory {
  uint8_t kind;         /* LU_WIRE_SRAM ...; 0 = none: nothing is driven */
  uint8_t address_bits; /* in all */
  uint8_t data_bits;
  uint8_t row_bits;     /* DRAM: low address bits, given with RAS */
  uint8_t column_bits;  /* DRAM: the bits above them, given with CAS */
  uint8_t refresh_bits; /* DRAM: row bits that the refresh counts through */
  uint8_t flags;
} core_memory;

enum { CORE_RX = 1024, CORE_TX = 1024 }; /* ring sizes, powers of two */

typedef struct core_ring {
  volatile uint16_t head, tail; /* head: where the next byte goes; tail: the next to be taken */
} core_ring;

extern core_ring core_rx_at, core_tx_at;
extern uint8_t core_rx_ring[CORE_RX], core_tx_ring[CORE_TX];

/* For the receive interrupt. A byte too many is dropped; the frame then fails its CRC. */
static inline void core_rx_push(uint8_t byte)
{
  uint16_t next = (core_rx_at.head + 1) & (CORE_RX - 1);
  if (next == core_rx_at.tail)
    return;
  core_rx_ring[core_rx_at.head] = byte;
  core_rx_at.head = next;
}

/* For the transmit interrupt: false when there is nothing (more) to send. */
static inline bool core_tx_pop(uint8_t *byte)
{
  uint16_t tail = core_tx_at.tail;
  if (tail == core_tx_at.head)
    return false;
  *byte = core_tx_ring[tail];
  core_tx_at.tail = (tail + 1) & (CORE_TX - 1);
  return true;
}

/* As after a reset: no memory set up, no number known, nothing to send. */
void core_reset(void);
/* Takes what has arrived and answers at most one request; false if there was no whole one. */
bool core_step(void);

/* ---- what the hardware gives ---- */
void hw_idle(void);          /* called in every wait and at least every 256 words: feeds the watchdog */
void hw_send(void);          /* there is something to send */
void hw_hold(void);          /* until hw_send, only hw_can_send and hw_put take from the ring */
bool hw_sent(void);          /* the last bit has left */
uint16_t hw_now(void);       /* milliseconds, wrapping */
/* An index that an interrupt also uses, read and written whole. */
uint16_t hw_ring_at(const volatile uint16_t *at);
void hw_ring_set(volatile uint16_t *at, uint16_t value);
bool hw_supply(void);        /* the board or chip has its 5 V */
void hw_release(void);       /* lets go of every line, ends refresh */
void hw_drive(const core_memory *m); /* strobes to rest, address out, refresh on */
uint16_t hw_read(uint32_t address);
void hw_write(uint32_t address, uint16_t data);
/* Sets of lines (wire.h): with pull-ups; after a short low and let go; driven low; driven high. */
void hw_levels(uint8_t sets[4][6], const core_memory *m);
uint16_t hw_strobe(uint32_t address, bool drive, uint16_t data, uint8_t low, uint16_t cycles);
void hw_timing(uint8_t values[4]); /* clips to what it can do */
bool hw_pin(uint8_t line);
uint32_t hw_rate_near(uint32_t baud); /* the rate it can make within 3 %, or 0 */
void hw_rate_set(uint32_t baud);
uint32_t hw_clock_khz(void);

#ifdef __AVR__
#  include <avr/io.h>
static inline bool hw_can_send(void)
{
  return UCSR0A & (1 << UDRE0);
}
static inline void hw_put(uint8_t byte)
{
  UDR0 = byte;
}
#else /* elsewhere hw_idle empties the ring */
static inline bool hw_can_send(void)
{
  return false;
}
static inline void hw_put(uint8_t byte)
{
  (void)byte;
}
#endif

#endif
