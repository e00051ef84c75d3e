/* SPDX-License-Identifier: MIT */
#ifndef SIMPEER_H
#define SIMPEER_H
/* The reader's firmware core on a memory of the test's making, at the far end of a serial line of
 * the test's making. Time is simulated: nothing waits, and every delay is counted. */
#include "link/transport.h"

#include <stdbool.h>
#include <stdint.h>

enum { SIM_WORDS = 65536 };

typedef struct sim_faults { /* of the line, per million bytes */
  unsigned lose, twice, flip, late;
  unsigned late_ms;          /* at most */
  uint64_t unplug_after;     /* bytes, 0 = never */
} sim_faults;

typedef struct sim_peer {
  uint16_t memory[SIM_WORDS];
  uint32_t address_low;      /* address bits stuck low at the memory */
  uint16_t data_high;        /* data bits stuck high on the way back */
  uint64_t held_low, held_high; /* lines that something else drives */
  bool no_supply;
  sim_faults faults;
  uint32_t seed;             /* of the line's faults */
  uint32_t host_baud, device_baud;
  /* counted */
  uint64_t now_us, bytes, injected[4], cycles_read, cycles_written;
  bool unplugged, driving;
} sim_peer;

extern sim_peer sim;

/* A fresh peer: memory zero, no faults, 115200 baud, the firmware as after a reset. */
void sim_start(void);
/* The firmware's watchdog strikes. */
void sim_restart_device(void);
/* A byte on its way to the host, as if the device had sent it. */
void sim_plant(uint8_t byte);
lu_transport sim_transport(void);
/* A repeatable random number below most. */
uint32_t sim_random(uint32_t *seed, uint32_t most);

#endif
