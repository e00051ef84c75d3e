/* SPDX-License-Identifier: MIT */
/* Speed of lu_contents_fill: one JSON line for each contents and size of word. Not part of ctest:
 * cc -O2 -Isrc tests/bench/bench_contents.c build/liblu.a -o bench && ./bench */
#define _POSIX_C_SOURCE 200809L
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#include "pattern/contents.h"

enum { LEN = 1 << 20, RUNS = 8 };

static double now(void)
{
  struct timespec t;
  clock_gettime(CLOCK_MONOTONIC, &t);
  return (double)t.tv_sec + (double)t.tv_nsec * 1e-9;
}

int main(void)
{
  size_t count;
  const lu_contents *all = lu_contents_all(&count);
  void *words = malloc(LEN);
  if (!words)
    return 3;
  memset(words, 1, LEN); /* the pages are there before the clock runs */
  for (size_t i = 0; i < count; i++)
    for (unsigned v = 0; v < all[i].variant_count; v++)
      for (unsigned bytes = 1; bytes <= 8; bytes *= 2) {
        double best = 1e9;
        for (int r = 0; r < RUNS; r++) {
          double start = now();
          lu_contents_fill(&all[i], v, 8 * bytes, 0x100, bytes, 0, LEN / bytes, words);
          double took = now() - start;
          best = took < best ? took : best;
        }
        printf("{\"name\": \"%s\", \"variant\": %u, \"bytes_a_word\": %u, \"gb_per_s\": %.1f}\n",
               all[i].name, v, bytes, LEN / best / 1e9);
      }
  free(words);
  return 0;
}
