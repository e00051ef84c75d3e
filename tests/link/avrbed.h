/* SPDX-License-Identifier: MIT */
#ifndef AVRBED_H
#define AVRBED_H
/* The reader's firmware as it is built, on a simulated ATmega2560 (libsimavr), with a memory and
 * faulty wires on its pins. Time is the simulated chip's. libsimavr is GPL-3+: this stays in tests. */
#include "link/transport.h"

#include <stdbool.h>
#include <stdint.h>

typedef enum bed_kind { BED_SRAM, BED_ROM, BED_DRAM } bed_kind;
enum { BED_WORDS = 1 << 18 };

typedef struct bed_wires { /* of one bus */
  uint32_t low, high; /* stuck */
  uint32_t open;      /* beyond the reader: the memory's end floats high, the reader's end keeps what it last drove */
  struct {
    uint8_t a, b;
  } bridge[8]; /* wired and */
  unsigned bridges;
} bed_wires;

typedef struct avr_bed {
  bed_kind kind;
  uint16_t memory[BED_WORDS];
  unsigned row_bits, column_bits; /* DRAM */
  unsigned keep_ms;               /* DRAM: a row lasts so long without refresh; 0: for ever */
  uint64_t row_seen[4096];        /* cycle of the last access to each row */
  bed_wires address, data;
  bool supply;
  uint64_t heal_after;            /* the faults go away after so many reads and writes; 0: they stay */
  uint64_t reads, writes, refreshes, decayed, contentions;
} avr_bed;

extern avr_bed bed;

/* Loads the firmware; false (with a message on stderr) when that fails. */
bool bed_start(const char *elf, bed_kind kind);
void bed_end(void);
/* "A3=0", "D2=1" (stuck), "A4~A5" (bridge), "D3?" (open), "!A3=0" (something else drives the reader's own line),
 * "dead" (no 5 V at the board): false if it is none. */
bool bed_fault(const char *text);
uint64_t bed_cycles(void);
/* Whether the chip drives any line of the bus now. */
bool bed_drives(void);
/* From now on the chip's program goes round in circles and does nothing; its interrupts still work. */
void bed_hang(void);
/* Lets the chip run; bytes it sends are given to say. */
void bed_run(uint64_t cycles, void (*say)(void *to, uint8_t byte), void *to);
/* One byte to the chip's receiver; false when its queue is full. */
bool bed_hear(uint8_t byte);
lu_transport bed_transport(void);

#endif
