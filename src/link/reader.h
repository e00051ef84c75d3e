/* SPDX-License-Identifier: MIT */
#ifndef LU_LINK_READER_H
#define LU_LINK_READER_H
/* The host's side of our reader's protocol (docs/reader-protocol.md), over any transport.
 *
 * A frame with a wrong CRC, length, number or address is never taken: it counts as lost. What is
 * lost is asked for again, and a read goes on at the first word that is missing. Each call ends within
 * lu_reader_limit_ms, whatever the line does.
 *
 * Errors: ERR_DEVICE for everything the device or line does (gone, silent, other protocol, other
 * version, refusals), ERR_VALUE for a request that the reader's limits do not allow, ERR_NOMEM. */
#include "link/memio.h"
#include "link/transport.h"

typedef struct lu_reader_options {
  unsigned try_ms;   /* wait for one frame before asking again; 0: 300 */
  unsigned attempts; /* without progress, before giving up; 0: 8 */
} lu_reader_options;

typedef struct lu_reader_identity {
  unsigned protocol, firmware_high, firmware_low, address_bits, data_bits, abilities;
  char name[32];
  unsigned request_most, read_most, failures_most; /* bytes, bytes, failures */
  uint32_t clock_khz, baud_most;
} lu_reader_identity;

typedef struct lu_reader_memory {
  uint8_t kind;         /* LU_WIRE_SRAM, LU_WIRE_ROM, LU_WIRE_DRAM */
  unsigned address_bits, data_bits;
  unsigned row_bits, column_bits, refresh_bits; /* DRAM; address_bits is their sum */
  bool second_select;   /* a select that is active high is wired to CS2 */
  bool drive_anyway;    /* although lines are held */
} lu_reader_memory;

/* Sets of LU_WIRE_PINS lines, bit i = line i (wire.h). */
typedef struct lu_reader_levels {
  uint64_t pulled_up, let_go, driven_low, driven_high;
} lu_reader_levels;

typedef struct lu_reader_watch {
  bool first, last;
  uint32_t changes, samples, high;
} lu_reader_watch;

typedef struct lu_reader_counts {
  uint64_t frames, bad_frames, other_frames, retries, bytes_in, bytes_out;
} lu_reader_counts;

typedef struct lu_reader lu_reader;

/* Takes over the transport (closed by lu_reader_close, also when this fails). */
LU_MUST_USE lu_status lu_reader_open(lu_transport t, const lu_reader_options *o, lu_reader **out,
                                     lu_err *err);
void lu_reader_close(lu_reader *r); /* lets go of the lines first, if the reader still answers */
const lu_reader_identity *lu_reader_who(const lu_reader *r);
const lu_reader_counts *lu_reader_counted(const lu_reader *r);
const lu_reader_memory *lu_reader_set(const lu_reader *r);

/* Checks for held lines and 5 V, then drives the lines. held (may be NULL): set of lines that did not
 * follow. ERR_DEVICE with the lines named unless drive_anyway. */
LU_MUST_USE lu_status lu_reader_setup(lu_reader *r, const lu_reader_memory *m, uint64_t *held,
                                      lu_err *err);
LU_MUST_USE lu_status lu_reader_read(lu_reader *r, uint32_t at, uint32_t words, uint16_t *to,
                                     uint32_t *done, lu_err *err);
LU_MUST_USE lu_status lu_reader_write(lu_reader *r, uint32_t at, uint32_t words,
                                      const uint16_t *from, uint32_t *done, lu_err *err);
LU_MUST_USE lu_status lu_reader_fill(lu_reader *r, uint32_t at, uint32_t words, uint8_t background,
                                     uint16_t seed, lu_err *err);
/* When no failure is reported the reader's CRC and sum are held against what they must be. */
LU_MUST_USE lu_status lu_reader_march(lu_reader *r, const lu_march *element, lu_march_result *out,
                                      bool (*on_failure)(void *to, const lu_march_failure *f),
                                      void *to, lu_err *err);
LU_MUST_USE lu_status lu_reader_cycles(lu_reader *r, lu_cycle *list, size_t count, lu_err *err);
/* low: strobes (LU_WIRE_CS ...) held low for cycles of the reader's clock. */
LU_MUST_USE lu_status lu_reader_strobe(lu_reader *r, uint32_t address, bool drive, uint16_t data,
                                       uint8_t low, uint16_t cycles, uint16_t *got, lu_err *err);
/* Lets go of the memory: setup is needed again afterwards. */
LU_MUST_USE lu_status lu_reader_levels_now(lu_reader *r, lu_reader_levels *out, lu_err *err);
/* In cycles of the reader's clock; *set (may be NULL) = what the reader took. */
LU_MUST_USE lu_status lu_reader_timing(lu_reader *r, const uint8_t want[4], uint8_t set[4],
                                       lu_err *err);
LU_MUST_USE lu_status lu_reader_watch_pin(lu_reader *r, unsigned line, unsigned ms,
                                          lu_reader_watch *out, lu_err *err);
LU_MUST_USE lu_status lu_reader_release(lu_reader *r, lu_err *err);
/* Both sides go to another line rate; back to the old one when that does not work. */
LU_MUST_USE lu_status lu_reader_rate(lu_reader *r, uint32_t baud, lu_err *err);

/* The longest that a call with this many words (0: none) may take, in ms. */
uint64_t lu_reader_limit_ms(const lu_reader *r, uint32_t words);
/* "A3", "D0", "CS": the name of a line; NULL past the end. */
const char *lu_reader_line(unsigned line);

/* The reader as a memory; closing it closes the reader. */
lu_memio lu_reader_memio(lu_reader *r);

#endif
