/* SPDX-License-Identifier: MIT */
#include "base/tally.h"

#include <stddef.h>

_Thread_local lu_tally lu_tally_now;

void lu_tally_begin(const char *what, uint64_t whole)
{
  lu_tally_now.what = NULL; /* whoever looks in between sees nothing rather than half of it */
  lu_tally_now.done = 0;
  lu_tally_now.whole = whole;
  lu_tally_now.serial++;
  lu_tally_now.what = what;
}

void lu_tally_end(void)
{
  lu_tally_now.what = NULL;
  if (lu_tally_now.ended)
    lu_tally_now.ended();
}
