/* SPDX-License-Identifier: MIT */
/* Two commands timed in turn: ours, theirs, ours, theirs ...
 *
 *   pairs [-n ROUNDS] [-t AT_LEAST] [-s] NAME -- OURS ARG... -- THEIRS ARG...
 *
 * ROUNDS (default 9) after one warm-up of each; output goes to /dev/null, any exit status but "not
 * found" is fine. Prints one line:
 *   NAME  ours MS  theirs MS  ratio R (cpu C)  [at least T: ok | SHORT]
 * MS: median wall times. R: median over the rounds of theirs / ours, wall. C: the same of processor
 * time (user and system), which other work on the machine disturbs less. -t sets the verdict, which
 * goes by R. -s: theirs prints two numbers of seconds, by the clock and of the processor, which count
 * instead of its process. Exit status 0, also when short; 2 on bad usage, 3 if a command cannot be run. */
#define _DEFAULT_SOURCE
#include <fcntl.h>
#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/resource.h>
#include <sys/wait.h>
#include <time.h>
#include <unistd.h>

enum { ROUNDS_MOST = 99 };

typedef struct sample {
  double wall, cpu; /* seconds */
} sample;

static double now(void)
{
  struct timespec t;
  clock_gettime(CLOCK_MONOTONIC, &t);
  return (double)t.tv_sec + 1e-9 * (double)t.tv_nsec;
}

static double seconds(struct timeval t)
{
  return (double)t.tv_sec + 1e-6 * (double)t.tv_usec;
}

/* told: the command's output is its time: seconds by the clock, seconds of the processor. */
static sample run(char **command, bool told)
{
  int status, out[2];
  char said[64] = "";
  struct rusage used;
  if (told && pipe(out))
    exit(3);
  double start = now();
  pid_t child = fork();
  if (child == 0) {
    int null = open("/dev/null", O_WRONLY);
    dup2(told ? out[1] : null, 1);
    dup2(null, 2);
    execvp(command[0], command);
    _exit(127);
  }
  if (told) {
    close(out[1]);
    ssize_t n = 1;
    for (size_t len = 0; n > 0 && len < sizeof said - 1; len += n > 0 ? (size_t)n : 0)
      n = read(out[0], said + len, sizeof said - 1 - len);
    close(out[0]);
  }
  if (child < 0 || wait4(child, &status, 0, &used) < 0 || !WIFEXITED(status) || WEXITSTATUS(status) == 127) {
    fprintf(stderr, "pairs: cannot run %s\n", command[0]);
    exit(3);
  }
  if (told) {
    char *rest;
    double wall = strtod(said, &rest);
    return (sample){wall, strtod(rest, NULL)};
  }
  return (sample){now() - start, seconds(used.ru_utime) + seconds(used.ru_stime)};
}

static int by_value(const void *a, const void *b)
{
  double x = *(const double *)a, y = *(const double *)b;
  return (x > y) - (x < y);
}

static double median(double *x, unsigned n)
{
  qsort(x, n, sizeof *x, by_value);
  return n % 2 ? x[n / 2] : (x[n / 2 - 1] + x[n / 2]) / 2;
}

static void compare(const char *name, char **ours, char **theirs, bool told, unsigned rounds,
                    double at_least)
{
  double a[ROUNDS_MOST], b[ROUNDS_MOST], wall[ROUNDS_MOST], cpu[ROUNDS_MOST];
  run(ours, false);
  run(theirs, told);
  for (unsigned r = 0; r < rounds; r++) {
    sample x = run(ours, false), y = run(theirs, told);
    a[r] = x.wall;
    b[r] = y.wall;
    wall[r] = y.wall / x.wall;
    cpu[r] = y.cpu / (x.cpu > 0 ? x.cpu : 1e-6);
  }
  double ratio = median(wall, rounds);
  printf("%-42s ours %8.1f ms  theirs %9.1f ms  ratio %6.2f (cpu %6.2f)", name, 1e3 * median(a, rounds),
         1e3 * median(b, rounds), ratio, median(cpu, rounds));
  if (at_least > 0)
    printf("  at least %.2f: %s", at_least, ratio >= at_least ? "ok" : "SHORT");
  putchar('\n');
}

int main(int argc, char **argv)
{
  unsigned rounds = 9;
  double at_least = 0;
  int at = 1;
  bool told = false;
  for (; at + 1 < argc && argv[at][0] == '-' && argv[at][1] != '-'; at++) {
    if (argv[at][1] == 'n')
      rounds = (unsigned)atoi(argv[++at]);
    else if (argv[at][1] == 't')
      at_least = atof(argv[++at]);
    else if (argv[at][1] == 's')
      told = true;
  }
  char **ours = NULL, **theirs = NULL;
  const char *name = at < argc ? argv[at++] : NULL;
  for (; at < argc; at++)
    if (!strcmp(argv[at], "--")) {
      argv[at] = NULL;
      if (!ours)
        ours = argv + at + 1;
      else if (!theirs)
        theirs = argv + at + 1;
    }
  if (!theirs || !ours[0] || !theirs[0] || rounds < 1 || rounds > ROUNDS_MOST) {
    fprintf(stderr, "usage: pairs [-n ROUNDS] [-t AT_LEAST] [-s] NAME -- OURS ARG... -- THEIRS ARG...\n");
    return 2;
  }
  compare(name, ours, theirs, told, rounds, at_least);
  return 0;
}
