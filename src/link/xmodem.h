/* SPDX-License-Identifier: MIT */
#ifndef LU_LINK_XMODEM_H
#define LU_LINK_XMODEM_H
/* Receiving with XMODEM: blocks of 128 bytes (SOH) or 1024 (STX), checked by a sum or by CRC-16.
 * Sources: P. Boswell, "Xmodem, CRC Xmodem, Wxmodem file transfer protocols", 1986, for block and
 * handshake; the order of the CRC's bytes (high first) and the 1024-byte block are from memory of
 * C. Forsberg, XMODEM/YMODEM protocol reference. */
#include "link/inflow.h"
#include "link/transport.h"

typedef struct lu_xmodem {
  bool crc;          /* ask for CRC; falls back to the sum when the sender does not know it */
  unsigned start_ms; /* between two invitations; 0: 3000 */
  unsigned attempts; /* invitations, and errors in a row; 0: 10 */
} lu_xmodem;

/* Adds the blocks' data to flow, the padding of the last block (1A) included: only the reader of the
 * data can tell it from content. What came before a failure stays in flow.
 * ERR_DEVICE: nobody sends, cancelled by the sender, out of step, unplugged. */
LU_MUST_USE lu_status lu_xmodem_receive(const lu_transport *t, const lu_xmodem *o,
                                        const lu_hooks *hooks, lu_inflow *flow, lu_err *err);

#endif
