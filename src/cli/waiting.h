/* SPDX-License-Identifier: MIT */
#ifndef LU_CLI_WAITING_H
#define LU_CLI_WAITING_H
/* Progress of commands that only compute (those that talk to a device have stop.h): from the second second on, what
 * base/tally.h counts stands on a terminal's last line, with its rate and the time left where its end is known. */
#include <stdbool.h>

/* columns: of the terminal that standard error is. A timer's signal shows the line; slow calls go on by themselves. */
void lu_waiting_start(unsigned columns);
/* Ends it and takes the line away. */
void lu_waiting_stop(void);

#endif
