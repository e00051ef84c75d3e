/* SPDX-License-Identifier: MIT */
#ifndef LU_CLI_STOP_H
#define LU_CLI_STOP_H
/* Ctrl-C during a long transfer: it ends at the next piece, and what was read is kept. */
#include "cli/cmd.h"
#include "link/inflow.h"

/* From here on the first Ctrl-C only sets a flag, a second one ends the program. */
void lu_stop_arm(void);
void lu_stop_disarm(void);
bool lu_stop_asked(void);

/* Progress on a terminal: share, rate and time left, a few times a second. */
typedef struct lu_meter {
  lu_run *run;
  const char *unit;   /* "words", "bytes" */
  uint64_t begun_us, shown_us;
  bool on, dirty;
} lu_meter;

/* Hooks that stop at Ctrl-C and show progress on run->err if that is a terminal. */
lu_hooks lu_meter_start(lu_meter *m, lu_run *run, const char *unit);
void lu_meter_end(lu_meter *m);

#endif
