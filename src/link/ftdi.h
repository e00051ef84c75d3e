/* SPDX-License-Identifier: MIT */
#ifndef LU_LINK_FTDI_H
#define LU_LINK_FTDI_H
/* FTDI bridge chips through libftdi1, which is loaded on the first call: as a serial line without a
 * kernel driver, as a reader of its own (MCU host bus), and as a sampler of eight lines.
 *
 * A kernel driver that holds the chip is detached and put back on closing. All calls: ERR_DEVICE for
 * no such chip, several to choose from, no permission, unplugged, silent; ERR_NOMEM. */
#include "link/inflow.h"
#include "link/memio.h"
#include "link/transport.h"

typedef struct lu_ftdi_device { /* texts in the arena; NULL = could not be read (no permission) */
  const char *serial, *product, *manufacturer;
  unsigned pid;
} lu_ftdi_device;

LU_MUST_USE lu_status lu_ftdi_list(lu_arena *mem, lu_ftdi_device **out, size_t *count, lu_err *err);

/* serial: NULL or "any" takes the only one. channel: 0 = A ... */
LU_MUST_USE lu_status lu_ftdi_serial_open(const char *serial, unsigned channel, const lu_line *line,
                                          lu_transport *out, lu_err *err);

/* The chip's 8 data and 16 address bits as a memory. Before it becomes a bus, each of AD0-7 and A8-15 is
 * driven low and high alone and read back; ERR_DEVICE, with the lines named, when one does not follow, unless
 * drive_anyway. Not checked, since the chip cannot: CS#, ALE, RD# and WR# (the other channel's pins) and whether the
 * board has 5 V. march runs on the host with the chip's own order of cycles. */
LU_MUST_USE lu_status lu_ftdi_bus_open(const char *serial, bool drive_anyway, lu_memio *out, lu_err *err);

/* Samples channel A's eight lines count times, about rate_hz a second (synchronous bit-bang; the
 * rate's exact value follows from notes remembered, not measured). What came before a failure or a
 * stop is in flow. */
LU_MUST_USE lu_status lu_ftdi_sample(const char *serial, uint32_t rate_hz, uint64_t count,
                                     const lu_hooks *hooks, lu_inflow *flow, lu_err *err);

#endif
