/* SPDX-License-Identifier: MIT */
#ifndef LU_LINK_TRANSPORT_H
#define LU_LINK_TRANSPORT_H
/* Bytes to and from a device, whatever carries them. A back end fills the functions and keeps its
 * own state behind self; it also owns the clock, so that tests can run without waiting. */
#include "base/arena.h"
#include "base/err.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

typedef struct lu_transport {
  void *self;
  const char *name; /* what messages call it: the port or the device */
  /* Waits at most timeout_ms (at least 1) for the first byte, then takes what is there, at most
   * room. LU_OK with *got 0: nothing came. ERR_DEVICE: gone (unplugged) or failed. */
  lu_status (*read)(void *self, uint8_t *to, size_t room, unsigned timeout_ms, size_t *got,
                    lu_err *err);
  /* All of at[len] or a failure. ERR_DEVICE: gone, failed, or not done within timeout_ms. */
  lu_status (*write)(void *self, const uint8_t *at, size_t len, unsigned timeout_ms, lu_err *err);
  /* Changes the line rate; NULL where there is none. */
  lu_status (*rate)(void *self, uint32_t baud, lu_err *err);
  uint64_t (*now_us)(void *self);             /* a steady clock */
  void (*pause)(void *self, unsigned ms);
  void (*close)(void *self);                  /* frees everything of the back end */
} lu_transport;

typedef enum lu_flow { LU_FLOW_NONE, LU_FLOW_RTS, LU_FLOW_XON } lu_flow;

typedef struct lu_line {
  uint32_t baud;       /* any rate the hardware can make */
  unsigned data_bits;  /* 7 or 8 */
  char parity;         /* 'n', 'e' or 'o' */
  unsigned stop_bits;  /* 1 or 2 */
  lu_flow flow;
} lu_line;

/* One serial port as the system lists it. Texts are in the arena; NULL = unknown. */
typedef struct lu_port {
  const char *name;         /* "/dev/ttyUSB0" */
  const char *description, *manufacturer, *product, *serial;
  bool is_usb;
  unsigned vid, pid;        /* of a USB port */
} lu_port;

/* Serial ports through libserialport, which is loaded on the first call.
 * ERR_MISSING when the library is not installed, or no such port (message names the nearest);
 * ERR_DEVICE for no permission, busy, or a line setting the port refuses. */
LU_MUST_USE lu_status lu_serial_list(lu_arena *mem, lu_port **out, size_t *count, lu_err *err);
LU_MUST_USE lu_status lu_serial_open(const char *port, const lu_line *line, lu_transport *out,
                                     lu_err *err);

#endif
