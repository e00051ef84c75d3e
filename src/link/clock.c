/* SPDX-License-Identifier: MIT */
#include "link/clock.h"

#include <errno.h>
#include <time.h>

uint64_t lu_clock_us(void *unused)
{
  (void)unused;
  struct timespec t;
  clock_gettime(CLOCK_MONOTONIC, &t);
  return (uint64_t)t.tv_sec * 1000000u + (uint64_t)t.tv_nsec / 1000u;
}

void lu_clock_pause(void *unused, unsigned ms)
{
  (void)unused;
  struct timespec t = {.tv_sec = ms / 1000, .tv_nsec = (long)(ms % 1000) * 1000000};
  /* A signal (Ctrl-C) ends the pause: the caller looks at its flag. */
  nanosleep(&t, NULL);
}
