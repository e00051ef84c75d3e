/* SPDX-License-Identifier: MIT */
#define _GNU_SOURCE
#include "cli/stop.h"

#include "link/clock.h"

#include <inttypes.h>
#include <signal.h>
#include <unistd.h>

static volatile sig_atomic_t asked; /* the program's one flag that a signal writes */

static void on_signal(int number)
{
  (void)number;
  asked = 1;
}

void lu_stop_arm(void)
{
  /* SA_RESETHAND: a second Ctrl-C does what it always does */
  struct sigaction a = {.sa_handler = on_signal, .sa_flags = SA_RESETHAND};
  asked = 0;
  sigaction(SIGINT, &a, NULL);
  sigaction(SIGTERM, &a, NULL);
}

void lu_stop_disarm(void)
{
  struct sigaction a = {.sa_handler = SIG_DFL};
  sigaction(SIGINT, &a, NULL);
  sigaction(SIGTERM, &a, NULL);
}

bool lu_stop_asked(void)
{
  return asked != 0;
}

static bool stop_hook(void *to)
{
  (void)to;
  return lu_stop_asked();
}

static void show(void *to, uint64_t done, uint64_t whole)
{
  lu_meter *m = to;
  uint64_t now = lu_clock_us(NULL);
  if (!m->on || now - m->shown_us < 250000)
    return;
  m->shown_us = now;
  m->dirty = true;
  double seconds = (double)(now - m->begun_us) / 1e6;
  double rate = seconds > 0 ? (double)done / seconds : 0;
  fprintf(m->run->err, "\r\033[K%" PRIu64, done);
  if (whole)
    fprintf(m->run->err, " of %" PRIu64 " %s, %.0f %%", whole, m->unit,
            100.0 * (double)done / (double)whole);
  else
    fprintf(m->run->err, " %s", m->unit);
  fprintf(m->run->err, ", %.1f k%s/s", rate / 1000, m->unit);
  if (whole && rate > 0)
    fprintf(m->run->err, ", %.0f s left", (double)(whole - done) / rate);
  fflush(m->run->err);
}

lu_hooks lu_meter_start(lu_meter *m, lu_run *run, const char *unit)
{
  int fd = fileno(run->err);
  *m = (lu_meter){.run = run, .unit = unit, .begun_us = lu_clock_us(NULL),
                  .on = fd >= 0 && isatty(fd)};
  return (lu_hooks){.to = m, .stop = stop_hook, .progress = show};
}

void lu_meter_end(lu_meter *m)
{
  if (m->dirty)
    fputs("\r\033[K", m->run->err), fflush(m->run->err);
  m->dirty = false;
}
