/* SPDX-License-Identifier: MIT */
#ifndef LU_CLI_LINKARGS_H
#define LU_CLI_LINKARGS_H
/* Options that every command over a link shares, and the opening of what they name. */
#include "cli/cmd.h"
#include "data/dump.h"
#include "link/inflow.h"
#include "link/memio.h"
#include "link/reader.h"
#include "link/transport.h"

typedef struct lu_link_args {
  const char *port, *ftdi, *via;
  uint64_t baud, rate;
  const char *parity, *flow;
  uint64_t line_bits, stop_bits;
  const char *kind;
  uint64_t address_bits, data_bits, row_bits, refresh_bits;
  bool second_select, drive_anyway;
  const char *timing;
  uint64_t from, count;
} lu_link_args;

/* Rows for the table of a command whose argument struct T holds a lu_link_args called link. */
#define LU_LINK_OPTIONS(T)                                                                         \
  {"port", 'p', LU_OPT_TEXT, offsetof(T, link.port), 0, 0, "PORT", "serial port of the device"},   \
  {"baud", 0, LU_OPT_NUMBER, offsetof(T, link.baud), 50, 12000000, "RATE",                        \
   "line rate in bits a second (default 115200)"},                                                 \
  {"parity", 0, LU_OPT_TEXT, offsetof(T, link.parity), 0, 0, "KIND", "none (default), even or odd"}, \
  {"line-bits", 0, LU_OPT_NUMBER, offsetof(T, link.line_bits), 7, 8, "N", "7 or 8 (default) data bits a character"}, \
  {"stop-bits", 0, LU_OPT_NUMBER, offsetof(T, link.stop_bits), 1, 2, "N", "1 (default) or 2"},      \
  {"flow", 0, LU_OPT_TEXT, offsetof(T, link.flow), 0, 0, "KIND", "flow control: none (default), rts or xon"}, \
  {"ftdi", 0, LU_OPT_TEXT, offsetof(T, link.ftdi), 0, 0, "SERIAL", "FTDI chip with this serial number, or any"}, \
  {"via", 0, LU_OPT_TEXT, offsetof(T, link.via), 0, 0, "HOW",                                       \
   "what the FTDI chip is: serial (a line to the reader), bus (the reader itself)"},               \
  {"kind", 'k', LU_OPT_TEXT, offsetof(T, link.kind), 0, 0, "KIND", "memory: sram (default), rom or dram"}, \
  {"address-bits", 'a', LU_OPT_NUMBER, offsetof(T, link.address_bits), 1, 24, "N",                  \
   "address lines of the memory (default 16); dram: rows and columns together"},                   \
  {"data-bits", 'd', LU_OPT_NUMBER, offsetof(T, link.data_bits), 1, 16, "N", "data lines (default 8)"}, \
  {"row-bits", 0, LU_OPT_NUMBER, offsetof(T, link.row_bits), 1, 12, "N",                            \
   "dram: row address bits (default: half of the address bits)"},                                  \
  {"refresh-bits", 0, LU_OPT_NUMBER, offsetof(T, link.refresh_bits), 1, 12, "N",                    \
   "dram: row bits that refresh must count through (default: row bits, at most 8)"},               \
  {"second-select", 0, LU_OPT_FLAG, offsetof(T, link.second_select), 0, 0, NULL,                    \
   "the memory has a select that is active high, on the reader's CS2"},                            \
  {"drive-anyway", 0, LU_OPT_FLAG, offsetof(T, link.drive_anyway), 0, 0, NULL,                      \
   "drive the lines although something holds them (a shorted line; never a live processor)"},      \
  {"timing", 0, LU_OPT_TEXT, offsetof(T, link.timing), 0, 0, "A,W,P,R",                             \
   "access, write, precharge in cycles of the reader's clock; rows refreshed a tick"},             \
  {"rate", 'r', LU_OPT_NUMBER, offsetof(T, link.rate), 300, 4000000, "RATE",                          \
   "go to this line rate once the reader has answered"},                                           \
  {"from", 0, LU_OPT_NUMBER, offsetof(T, link.from), 0, 0, "ADDR", "first word (default 0); with a board: first byte, as its file counts"}, \
  {"count", 0, LU_OPT_NUMBER, offsetof(T, link.count), 0, 0, "N", "words (default: all behind the first); with a board: bytes"}

/* The line's settings. ERR_USAGE for a word that is none. */
LU_MUST_USE lu_status lu_link_line(const lu_link_args *a, lu_line *out, lu_err *err);
/* The byte stream that --port or --ftdi names. */
LU_MUST_USE lu_status lu_link_open_line(const lu_link_args *a, lu_transport *out, lu_err *err);
/* Our reader behind that stream, not set up yet. */
LU_MUST_USE lu_status lu_link_open_reader(const lu_link_args *a, lu_reader **out, lu_err *err);
/* The memory: reader set up and driving, or the FTDI host bus. a->count becomes the real count.
 * Says on run->err what was found. ERR_VALUE when the range does not fit. */
LU_MUST_USE lu_status lu_link_open_memory(lu_run *run, lu_link_args *a, lu_memio *out, lu_err *err);

/* What must be true at the bench before a reader drives lines: one line on run->err. */
void lu_link_say_safety(lu_run *run);

/* Words as a dump: bytes by byte address, the words' bytes in the order that big says. */
LU_MUST_USE lu_status lu_link_dump(lu_arena *mem, uint64_t from, const uint16_t *words, uint32_t count,
                                   unsigned data_bits, bool big, lu_dump *out, lu_err *err);
struct lu_dumpform;
/* form's, else that of the name's ending, else raw. NULL, with err filled, for a form that is none. */
const struct lu_dumpform *lu_link_dumpform(const char *path, const char *form, lu_err *err);
/* A dump as the bytes of a file named path; form NULL: by the name's ending, else raw. out is freed by
 * lu_inflow_free, also after a failure. */
LU_MUST_USE lu_status lu_link_form(const char *path, const char *form, const lu_dump *dump, lu_inflow *out,
                                   lu_err *err);
/* Whether a file of that name could be written at the end: asked before hours are spent. NULL path: fine. ERR_IO. */
LU_MUST_USE lu_status lu_link_may_write(const char *path, lu_err *err);
/* Writes a dump; form NULL: by the file's ending, else raw. */
LU_MUST_USE lu_status lu_link_write(const char *path, const char *form, const lu_dump *dump,
                                    lu_err *err);

#endif
