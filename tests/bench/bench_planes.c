/* SPDX-License-Identifier: MIT */
/* Bit-plane kernels and the symptom finder, timed; tests/bench/bench_planes.sh sets peers beside.
 *
 *   bench_planes all BYTES        in-process rates of every instruction set, one JSON line each
 *   bench_planes symptoms         the finder on 64 KiB and 16 MiB
 *   bench_planes JOB[:BITS] A [B] one job on mapped files of words of BITS bits (16), for comparison with
 *                                 peers: equal diff fold cooc cooc-default alias alias-default report
 *   bench_planes make DIR MIB     the files that bench_planes.sh uses
 *
 * Medians of 5 rounds after a warm-up; inputs are made from a fixed seed. */
#define _DEFAULT_SOURCE
#include "base/planes.h"
#include "reason/symptoms.h"

#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/mman.h>
#include <sys/stat.h>
#include <time.h>
#include <unistd.h>

enum { ROUNDS = 5, LINES = 24 };

static double now(void)
{
  struct timespec t;
  clock_gettime(CLOCK_MONOTONIC, &t);
  return (double)t.tv_sec + 1e-9 * (double)t.tv_nsec;
}

static uint64_t mix(uint64_t x)
{
  x += 0x9e3779b97f4a7c15u;
  x = (x ^ (x >> 30)) * 0xbf58476d1ce4e5b9u;
  x = (x ^ (x >> 27)) * 0x94d049bb133111ebu;
  return x ^ (x >> 31);
}

static int by_value(const void *a, const void *b)
{
  double x = *(const double *)a, y = *(const double *)b;
  return (x > y) - (x < y);
}

/* ---- jobs ---- */

typedef struct input {
  const lu_kernels *k;
  lu_array a, b;
  lu_arena mem;
  uint64_t check; /* keeps the work from being optimised away, and shows that sets agree */
} input;

static void job_equal(input *in)
{
  in->check += lu_words_equal(in->k, &in->a, &in->b);
}

static void job_diff(input *in)
{
  lu_diff d;
  lu_diff_words(in->k, &in->a, &in->b, &d);
  in->check += d.differ;
}

static void job_fold(input *in)
{
  lu_fold f;
  lu_fold_words(in->k, &in->a, &f);
  in->check += f.ones[0] + f.all_and + f.all_or;
}

static void cooc(input *in, unsigned every)
{
  static uint64_t both[64 * 64];
  lu_status status = lu_cooc_words(in->k, &in->a, &in->b, 8 * in->a.bytes, every, &in->mem, both,
                                   NULL, NULL);
  in->check += status == LU_OK ? both[1] : 0;
  lu_arena_free(&in->mem);
}

static void job_cooc(input *in)
{
  cooc(in, 1);
}

/* Sampled for all pairs, exact for the diagonal (what set and cleared counts are). */
static void job_cooc_default(input *in)
{
  cooc(in, lu_cooc_every(&in->a));
  lu_diff d;
  lu_diff_words(in->k, &in->a, &in->b, &d);
  in->check += d.differ;
}

static void job_alias(input *in)
{
  lu_alias out[LINES];
  lu_alias_lines(in->k, &in->a, LINES, out);
  for (unsigned l = 0; l < LINES; l++)
    in->check += out[l].differ;
}

static void job_alias_default(input *in)
{
  uint64_t out[LINES];
  lu_alias_masks(in->k, &in->a, LINES, in->a.bytes == 8 ? UINT64_MAX : ((uint64_t)1 << 8 * in->a.bytes) - 1,
                 out);
  in->check += out[0];
}

static void find(input *in, const lu_array *expected)
{
  lu_words w = {.count = in->a.count, .width = 8 * in->a.bytes, .bytes = in->a.bytes,
                .at = in->a.at, .held_count = in->a.count}, e = w;
  if (expected)
    e.at = expected->at;
  lu_symptom_query q = {.passes = &w, .pass_count = 1, .expected = expected ? &e : NULL};
  lu_symptoms got;
  if (lu_symptoms_find(&q, &in->mem, &got, NULL) == LU_OK)
    in->check += got.count;
  lu_arena_free(&in->mem);
}

static void job_report(input *in)
{
  find(in, &in->b);
}

static void job_report_blind(input *in)
{
  find(in, NULL);
}

typedef struct job {
  const char *name;
  void (*run)(input *in);
  bool two;
} job;

static const job jobs[] = {
    {"equal", job_equal, true},
    {"diff", job_diff, true},
    {"fold", job_fold, false},
    {"cooc", job_cooc, true},
    {"cooc-default", job_cooc_default, true},
    {"alias", job_alias, false},
    {"alias-default", job_alias_default, false},
    {"report", job_report, true},
    {"report-blind", job_report_blind, false},
};
enum { JOBS = sizeof jobs / sizeof *jobs };

static double median_time(const job *j, input *in)
{
  double t[ROUNDS];
  j->run(in);
  for (unsigned r = 0; r < ROUNDS; r++) {
    double start = now();
    j->run(in);
    t[r] = now() - start;
  }
  qsort(t, ROUNDS, sizeof *t, by_value);
  return t[ROUNDS / 2];
}

static void fill(input *in, size_t len)
{
  uint64_t *a = (uint64_t *)in->a.at, *b = (uint64_t *)in->b.at;
  for (size_t i = 0; i < len / 8; i++) {
    a[i] = mix(i);
    b[i] = a[i] ^ (mix(i + 77) % 100 < 8 ? (uint64_t)1 << mix(i + 99) % 64 : 0);
  }
}

static bool make(input *in, size_t len)
{
  void *a = lu_arena_big(&in->mem, len), *b = lu_arena_big(&in->mem, len);
  if (!a || !b)
    return false;
  in->a = (lu_array){a, len / 2, 2, NULL};
  in->b = (lu_array){b, len / 2, 2, NULL};
  in->mem = (lu_arena){0}; /* the jobs free theirs; these two stay to the end */
  fill(in, len);
  return true;
}

static int bench_all(size_t len)
{
  input in = {0};
  if (!make(&in, len))
    return 3;
  for (unsigned bytes = 1; bytes <= 8; bytes *= 2) {
    in.a.bytes = in.b.bytes = bytes;
    in.a.count = in.b.count = len / bytes;
    for (unsigned j = 0; j < JOBS && jobs[j].run != job_report; j++)
      for (unsigned n = 0; (in.k = lu_kernels_nth(n)); n++) {
        in.check = 0;
        double t = median_time(&jobs[j], &in);
        printf("{\"name\": \"%s\", \"kernels\": \"%s\", \"word_bits\": %u, \"bytes\": %zu, "
               "\"gb_per_s\": %.2f, \"check\": %llu}\n",
               jobs[j].name, lu_kernels_name(in.k), 8 * bytes, len, (double)len / t / 1e9,
               (unsigned long long)in.check);
        fflush(stdout);
      }
  }
  return 0;
}

/* Faults put into `read`: 0 none, 1 dead A7, 2 D3 = D3 AND D9, 3 dead A11 in D0..D7, D15 stuck. */
static void fault(const uint16_t *truth, uint16_t *read, size_t count, int what)
{
  for (size_t i = 0; i < count; i++) {
    uint16_t w = truth[i];
    if (what == 1)
      w = truth[i & ~(size_t)0x80];
    if (what == 2 && !(w & 0x200))
      w &= (uint16_t)~8u;
    if (what == 3)
      w = (uint16_t)((w & 0x7f00) | (truth[i | 0x800] & 0xff));
    read[i] = w;
  }
}

static int bench_symptoms(void)
{
  static const size_t lens[] = {65536, (size_t)16 << 20};
  for (unsigned l = 0; l < 2; l++) {
    input in = {.k = lu_kernels_best()};
    if (!make(&in, lens[l]))
      return 3;
    for (int what = 0; what < 4; what++) {
      fault(in.b.at, (uint16_t *)in.a.at, in.a.count, what);
      for (unsigned j = 0; j < JOBS; j++)
        if (jobs[j].run == job_report || jobs[j].run == job_report_blind) {
          double t = median_time(&jobs[j], &in);
          printf("{\"name\": \"symptoms, %s, fault %d\", \"bytes\": %zu, \"ms\": %.3f}\n",
                 jobs[j].run == job_report ? "known" : "blind", what, lens[l], 1e3 * t);
        }
    }
  }
  return 0;
}

static bool map(const char *path, lu_array *a)
{
  struct stat st;
  int fd = open(path, O_RDONLY);
  if (fd < 0 || fstat(fd, &st) || !st.st_size)
    return false;
  void *at = mmap(NULL, (size_t)st.st_size, PROT_READ, MAP_PRIVATE, fd, 0);
  close(fd);
  *a = (lu_array){at, (size_t)st.st_size / 2, 2, NULL};
  return at != MAP_FAILED;
}

static void set_width(lu_array *a, unsigned bytes)
{
  a->count = a->count * a->bytes / bytes;
  a->bytes = bytes;
}

static int run_job(const char *name, const char *a, const char *b)
{
  input in = {.k = lu_kernels_best()};
  const char *colon = strchr(name, ':');
  size_t len = colon ? (size_t)(colon - name) : strlen(name);
  unsigned bytes = colon ? (unsigned)atoi(colon + 1) / 8 : 2;
  for (unsigned j = 0; j < JOBS; j++)
    if (!strncmp(jobs[j].name, name, len) && !jobs[j].name[len]) {
      if ((bytes & (bytes - 1)) || bytes < 1 || bytes > 8)
        break;
      if (!map(a, &in.a) || (jobs[j].two && (!b || !map(b, &in.b))))
        break;
      set_width(&in.a, bytes);
      set_width(&in.b, in.b.at ? bytes : 1);
      jobs[j].run(&in);
      printf("%llu\n", (unsigned long long)in.check);
      return 0;
    }
  fprintf(stderr, "bench_planes: no such job, or a file cannot be mapped\n");
  return 2;
}

/* ---- files ---- */

static bool save(const char *dir, const char *name, const void *at, size_t len)
{
  char path[512];
  snprintf(path, sizeof path, "%s/%s", dir, name);
  FILE *f = fopen(path, "wb");
  bool ok = f && fwrite(at, 1, len, f) == len;
  if (f && fclose(f))
    ok = false;
  return ok;
}

/* a; same; u: 1 % of its bytes differ, anywhere; dead: bit 20 of the index has no effect. */
static bool make_large(const char *dir, size_t len)
{
  uint64_t *a = malloc(len);
  uint8_t *bytes = (uint8_t *)a;
  bool ok = a;
  for (size_t i = 0; ok && i < len / 8; i++)
    a[i] = mix(i);
  ok = ok && save(dir, "a", a, len) && save(dir, "same", a, len);
  for (size_t i = 0; ok && i < len / 100; i++)
    bytes[mix(i + 1) % len] ^= (uint8_t)(1 + mix(i + 2) % 255);
  ok = ok && save(dir, "u", a, len);
  const size_t half = (size_t)2 << 20;
  for (size_t i = 0; ok && i + 2 * half <= len; i += 2 * half)
    memcpy(bytes + i + half, bytes + i, half);
  ok = ok && save(dir, "dead", a, len);
  free(a);
  return ok;
}

/* m: 16 MiB; m7: address line 7 dead; m3: data line 3 stuck low. */
static bool make_small(const char *dir)
{
  const size_t count = (size_t)8 << 20, len = 2 * count;
  uint16_t *a = malloc(len), *b = malloc(len);
  bool ok = a && b;
  for (size_t i = 0; ok && i < count; i++)
    a[i] = (uint16_t)mix(i + 5);
  for (size_t i = 0; ok && i < count; i++)
    b[i] = a[i & ~(size_t)0x80];
  ok = ok && save(dir, "m", a, len) && save(dir, "m7", b, len);
  for (size_t i = 0; ok && i < count; i++)
    b[i] = (uint16_t)(a[i] & ~8u);
  ok = ok && save(dir, "m3", b, len);
  free(a);
  free(b);
  return ok;
}

int main(int argc, char **argv)
{
  if (argc == 4 && !strcmp(argv[1], "make"))
    return make_large(argv[2], strtoull(argv[3], NULL, 0) << 20) && make_small(argv[2]) ? 0 : 3;
  if (argc == 3 && !strcmp(argv[1], "all"))
    return bench_all(strtoull(argv[2], NULL, 0));
  if (argc == 2 && !strcmp(argv[1], "symptoms"))
    return bench_symptoms();
  if (argc >= 3)
    return run_job(argv[1], argv[2], argc > 3 ? argv[3] : NULL);
  fprintf(stderr, "usage: bench_planes all BYTES | symptoms | make DIR MIB | JOB[:BITS] A [B]\n");
  return 2;
}
