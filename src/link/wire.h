/* SPDX-License-Identifier: MIT */
#ifndef LU_LINK_WIRE_H
#define LU_LINK_WIRE_H
/* The reader's protocol as numbers: what the program and the firmware must agree on. The words are
 * in docs/reader-protocol.md. Plain C with <stdint.h> only, for both compilers.
 *
 * A frame on the line is COBS(head, body, CRC-16/IBM-3740 high byte first) followed by 00.
 * Request head: version, command, number (2).  Reply head: version, command | 80, number (2), status.
 * Every number of more than one byte goes high byte first. */
#include <stdint.h>

enum {
  LU_WIRE_VERSION = 1,
  LU_WIRE_HEAD = 4,        /* of a request */
  LU_WIRE_REPLY_HEAD = 5,
  LU_WIRE_REPLY = 0x80,
  LU_WIRE_REQUEST_MOST = 600, /* bytes of a request before coding, CRC included */
  LU_WIRE_READ_MOST = 1024,   /* data bytes in one frame of a read */
  LU_WIRE_FAILURES_MOST = 48, /* failures in one reply */
  LU_WIRE_OPERATIONS_MOST = 16,
  LU_WIRE_CYCLES_MOST = 80,   /* operations in one request */
  LU_WIRE_FIRST_RATE = 115200, /* baud after reset */
  LU_WIRE_RATE_PROOF_MS = 1500 /* a new rate is dropped again if no good frame comes within */
};

typedef enum lu_wire_command {
  LU_WIRE_IDENTIFY = 0x01, /* -> protocol, firmware high, low, address bits, data bits, abilities (2), name */
  LU_WIRE_LIMITS = 0x02,   /* -> request most (2), read most (2), failures most (2), clock kHz (4), baud most (4) */
  LU_WIRE_SETUP = 0x03,    /* kind, address bits, data bits, row bits, column bits, select level, flags
                              -> held lines (6), supply */
  LU_WIRE_READ = 0x04,     /* address (4), words (4), bytes a frame (2) -> frames of address (4), data */
  LU_WIRE_WRITE = 0x05,    /* address (4), data -> words written (2) */
  LU_WIRE_FILL = 0x06,     /* address (4), words (4), background, seed (2) -> words written (4) */
  LU_WIRE_MARCH = 0x07,    /* address (4), words (4), down, background, seed (2), CRC so far (2), n, n operations
                              -> words done (4), failures (4), CRC (2), sum (4), k, k failures of
                              address (4), operation, expected (2), got (2) */
  LU_WIRE_STROBE = 0x08,   /* address (4), drive data, data (2), low strobes, cycles (2) -> data while low (2) */
  LU_WIRE_LEVELS = 0x09,   /* -> pulled up (6), let go after low (6), driven low (6), driven high (6), supply */
  LU_WIRE_TIMING = 0x0A,   /* access, write, precharge cycles, refresh rows a tick -> the same, as taken */
  LU_WIRE_WATCH = 0x0B,    /* pin, ms (2) -> first level, last level, changes (4), samples (4), high (4) */
  LU_WIRE_RELEASE = 0x0C,  /* -> nothing: every pin let go */
  LU_WIRE_CYCLES = 0x0E,   /* n operations of address (4), write, data (2) -> for each read its word (2) */
  LU_WIRE_RATE = 0x0D      /* baud (4) -> baud as set (4); the reply still goes at the old rate */
} lu_wire_command;

typedef enum lu_wire_status {
  LU_WIRE_FINE = 0,
  LU_WIRE_UNKNOWN = 1,   /* no such command */
  LU_WIRE_LENGTH = 2,    /* the body has the wrong length */
  LU_WIRE_VALUE = 3,     /* a value is out of range */
  LU_WIRE_ORDER = 4,     /* the number is not ahead of the last one, or identify was never sent;
                            body: identify was sent, last number (2) */
  LU_WIRE_NO_SETUP = 5,  /* no memory has been set up */
  LU_WIRE_HELD = 6,      /* something else drives the lines; body as of setup */
  LU_WIRE_NO_SUPPLY = 7, /* the board or chip has no 5 V */
  LU_WIRE_OTHER_VERSION = 8
} lu_wire_status;

enum { LU_WIRE_SRAM = 1, LU_WIRE_ROM = 2, LU_WIRE_DRAM = 3 };      /* kinds of memory */
enum { LU_WIRE_DRIVE_ANYWAY = 1, LU_WIRE_SECOND_SELECT = 2 };       /* flags of setup */
/* abilities, bits */
enum { LU_WIRE_CAN_DRAM = 1, LU_WIRE_CAN_MARCH = 2, LU_WIRE_CAN_LEVELS = 4, LU_WIRE_CAN_RATE = 8 };
/* strobe lines, bits: all rest high but SECOND_SELECT (active high) */
enum {
  LU_WIRE_CS = 1,
  LU_WIRE_OE = 2,
  LU_WIRE_WE = 4,
  LU_WIRE_RAS = 8,
  LU_WIRE_CAS = 16,
  LU_WIRE_CS2 = 32
};
/* an operation of a march element, bits */
enum { LU_WIRE_OP_WRITE = 1, LU_WIRE_OP_INVERSE = 2 };
/* backgrounds: the data a word is written with, as 16 bits of which the low data bits count */
enum {
  LU_WIRE_SOLID = 0,    /* the seed */
  LU_WIRE_CHECKER = 1,  /* the seed, inverted where the address's bits 0 and 8 differ in sum */
  LU_WIRE_ADDRESS = 2,  /* the address xor the seed */
  LU_WIRE_MIXED = 3,    /* address, its high half and the seed mixed, so that neighbours differ */
  LU_WIRE_BACKGROUNDS = 4
};
/* lines in the sets of levels and watch: 0-23 address, 24-39 data, 40-45 strobes */
enum { LU_WIRE_PIN_DATA = 24, LU_WIRE_PIN_STROBE = 40, LU_WIRE_PINS = 46 };

/* The word that background and seed give for an address (before the width is cut). */
static inline uint16_t lu_wire_word(uint8_t background, uint16_t seed, uint32_t address)
{
  switch (background) {
  case LU_WIRE_CHECKER:
    return (address ^ address >> 8) & 1 ? (uint16_t)~seed : seed;
  case LU_WIRE_ADDRESS:
    return (uint16_t)(address ^ seed);
  case LU_WIRE_MIXED: {
    uint16_t x = (uint16_t)(address ^ seed);
    x = (uint16_t)(x ^ x << 7);
    x = (uint16_t)(x ^ x >> 9);
    x = (uint16_t)(x ^ x << 8);
    return (uint16_t)(x ^ address >> 16);
  }
  default:
    return seed;
  }
}

#endif
