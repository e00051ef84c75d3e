/* SPDX-License-Identifier: MIT */
#ifndef LU_BASE_TALLY_H
#define LU_BASE_TALLY_H
/* How far long work has come, for a person who waits: whatever works counts here, and whoever has a clock and a terminal may
 * look, also from a signal's handler. Plain numbers: no clock, no output. One piece of work at a time; the newest counts. */
#include <stdint.h>

typedef struct lu_tally {
  const char *volatile what;     /* "bytes read"; NULL: nothing is going on. Constant text */
  volatile uint64_t done, whole; /* whole 0: not known */
  volatile unsigned serial;      /* another one for each piece of work */
  void (*ended)(void);           /* called when the work is over, before anything else is printed; or NULL */
} lu_tally;

extern _Thread_local lu_tally lu_tally_now; /* a thread has its own: the public library is used by threads, too */

void lu_tally_begin(const char *what, uint64_t whole);
void lu_tally_end(void);
static inline void lu_tally_add(uint64_t n)
{
  lu_tally_now.done += n;
}

#endif
