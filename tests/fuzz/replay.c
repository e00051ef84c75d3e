/* SPDX-License-Identifier: MIT */
/* Feeds each file of a folder to a fuzz target, in a heap block of exactly its size. */
#include <dirent.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

static int feed(const char *path)
{
  FILE *f = fopen(path, "rb");
  if (!f)
    return 0;
  fseek(f, 0, SEEK_END);
  long n = ftell(f);
  rewind(f);
  uint8_t *at = malloc(n > 0 ? (size_t)n : 1);
  size_t got = at && n > 0 ? fread(at, 1, (size_t)n, f) : 0;
  fclose(f);
  if (at)
    LLVMFuzzerTestOneInput(at, got);
  free(at);
  return 1;
}

int main(int argc, char **argv)
{
  int count = 0;
  for (int i = 1; i < argc; i++) {
    DIR *d = opendir(argv[i]);
    if (!d) {
      count += feed(argv[i]);
      continue;
    }
    for (struct dirent *e; (e = readdir(d));) {
      char path[4096];
      if (e->d_name[0] == '.')
        continue;
      snprintf(path, sizeof path, "%s/%s", argv[i], e->d_name);
      count += feed(path);
    }
    closedir(d);
  }
  printf("%d files replayed\n", count);
  return count ? 0 : 1;
}
