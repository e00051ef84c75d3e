/* SPDX-License-Identifier: MIT */
#define _GNU_SOURCE
#include "cli/waiting.h"

#include "base/tally.h"

#include <errno.h>
#include <signal.h>
#include <string.h>
#include <sys/time.h>
#include <time.h>
#include <unistd.h>

enum { LINE_MOST = 200, FIRST_MS = 1000, NEXT_MS = 250 };

/* All of it belongs to the handler, which runs between two steps of the only thread: the program's second state that a signal
 * writes, beside stop.c's. */
static struct {
  unsigned columns, serial;
  uint64_t begun_ms, phase_ms;
  volatile sig_atomic_t shown;
} now;

typedef struct line {
  char text[LINE_MOST];
  size_t len;
} line;

static uint64_t clock_ms(void)
{
  struct timespec t;
  clock_gettime(CLOCK_MONOTONIC, &t);
  return (uint64_t)t.tv_sec * 1000 + (uint64_t)t.tv_nsec / 1000000;
}

/* snprintf may not be called from a handler. */
static void add(line *l, const char *text)
{
  size_t n = strlen(text);
  if (l->len + n < LINE_MOST) {
    memcpy(l->text + l->len, text, n);
    l->len += n;
  }
}

static void add_number(line *l, uint64_t v)
{
  char digits[24];
  size_t at = sizeof digits - 1;
  digits[at] = '\0';
  do
    digits[--at] = (char)('0' + v % 10);
  while (v /= 10);
  add(l, digits + at);
}

/* 12, 34 k, 56 M */
static void add_round(line *l, uint64_t v)
{
  add_number(l, v < 10000 ? v : v < 10000000 ? v / 1000 : v / 1000000);
  add(l, v < 10000 ? "" : v < 10000000 ? " k" : " M");
}

static void compose(line *l, uint64_t ms)
{
  uint64_t done = lu_tally_now.done, whole = lu_tally_now.whole, spent = ms - now.phase_ms;
  uint64_t rate = spent && done < UINT64_MAX / 1000 ? done * 1000 / spent : 0;
  if (done) {
    add_round(l, done);
    if (whole) {
      add(l, " of ");
      add_round(l, whole);
    }
    add(l, " ");
  }
  add(l, lu_tally_now.what);
  if (done && whole && done <= whole && whole < UINT64_MAX / 100) {
    add(l, ", ");
    add_number(l, done * 100 / whole);
    add(l, " %");
  }
  if (rate) {
    add(l, ", ");
    add_round(l, rate);
    add(l, " a second");
  }
  if (rate && whole > done) {
    add(l, ", ");
    add_number(l, (whole - done) / rate);
    add(l, " s left");
  } else {
    add(l, ", ");
    add_number(l, (ms - now.begun_ms) / 1000);
    add(l, " s so far");
  }
}

static void put(const line *l)
{
  size_t done = 0;
  while (done < l->len) {
    ssize_t n = write(STDERR_FILENO, l->text + done, l->len - done);
    if (n <= 0)
      return;
    done += (size_t)n;
  }
}

static void on_tick(int number)
{
  (void)number;
  if (!lu_tally_now.what)
    return;
  int kept = errno;
  uint64_t ms = clock_ms();
  if (now.serial != lu_tally_now.serial) { /* seen for the first time: its beginning, to a quarter of a second */
    now.serial = lu_tally_now.serial;
    now.phase_ms = ms > NEXT_MS ? ms - NEXT_MS : 0;
    if (now.phase_ms < now.begun_ms)
      now.phase_ms = now.begun_ms;
  }
  line l = {.len = 0};
  compose(&l, ms);
  if (l.len >= now.columns)
    l.len = now.columns - 1;
  line all = {.len = 0};
  add(&all, "\r\033[K");
  memcpy(all.text + all.len, l.text, l.len < LINE_MOST - all.len ? l.len : LINE_MOST - all.len);
  all.len += l.len < LINE_MOST - all.len ? l.len : LINE_MOST - all.len;
  now.shown = 1;
  put(&all);
  errno = kept;
}

static void wipe(void)
{
  line l = {.len = 0};
  if (now.shown) {
    add(&l, "\r\033[K");
    put(&l);
  }
  now.shown = 0;
}

void lu_waiting_start(unsigned columns)
{
  now.columns = columns;
  now.begun_ms = now.phase_ms = clock_ms();
  now.serial = lu_tally_now.serial;
  now.shown = 0;
  lu_tally_now.ended = wipe;
  struct sigaction a = {.sa_handler = on_tick, .sa_flags = SA_RESTART};
  sigaction(SIGALRM, &a, NULL);
  struct itimerval t = {.it_value = {.tv_sec = FIRST_MS / 1000}, .it_interval = {.tv_usec = NEXT_MS * 1000}};
  setitimer(ITIMER_REAL, &t, NULL);
}

void lu_waiting_stop(void)
{
  struct itimerval none = {0};
  setitimer(ITIMER_REAL, &none, NULL);
  signal(SIGALRM, SIG_DFL);
  lu_tally_now.ended = NULL;
  wipe();
}
