/* SPDX-License-Identifier: MIT */
/* read_dump [-plain] FILE: the whole way of a dump into memory, for timing. Prints form, bytes, sum.
 * read_dump -make FORM BYTES: writes a dump of made-up content in a form to standard output. */
#include "base/io.h"
#include "formats/dumpform.h"
#include "formats/hexrun.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static bool put(void *to, const void *at, size_t len)
{
  return fwrite(at, 1, len, to) == len;
}

static int make(const char *name, size_t len)
{
  const lu_dumpform *form = lu_dumpform_named(name);
  uint8_t *at = malloc(len ? len : 1);
  uint32_t s = 1;
  if (!form || !at || !len)
    return 2;
  for (size_t i = 0; i < len; i++) {
    s = s * 1664525u + 1013904223u;
    at[i] = (uint8_t)(s >> 24);
  }
  lu_span span = {.len = len, .at = at};
  lu_dump dump = {.has_addresses = true, .span_count = 1, .spans = &span};
  bool ok = form->write(&dump, (lu_sink){put, stdout});
  free(at);
  return ok ? 0 : 3;
}

static lu_status read_plain(const char *form, lu_bytes in, lu_arena *mem, lu_dump **out, lu_err *err)
{
  if (!strcmp(form, "ihex"))
    return lu_ihex_read(in, true, mem, out, err);
  if (!strcmp(form, "srec"))
    return lu_srec_read(in, true, mem, out, err);
  return lu_hextext_read(in, true, mem, out, err);
}

int main(int argc, char **argv)
{
  if (argc == 4 && !strcmp(argv[1], "-make"))
    return make(argv[2], strtoull(argv[3], NULL, 0));
  bool plain = argc == 3 && !strcmp(argv[1], "-plain");
  if (argc != (plain ? 3 : 2)) {
    fputs("usage: read_dump [-plain] FILE | read_dump -make FORM BYTES\n", stderr);
    return 2;
  }
  lu_file file;
  lu_arena mem = {0};
  lu_dump *d = NULL;
  lu_err err = {0};
  lu_status s = lu_file_open(argv[argc - 1], 0, &file, &err);
  if (s == LU_OK) {
    const lu_dumpform *form = lu_dumpform_guess(file.bytes);
    s = plain ? read_plain(form->name, file.bytes, &mem, &d, &err)
              : form->read(file.bytes, &mem, &d, &err);
  }
  if (s != LU_OK) {
    fprintf(stderr, "%u:%u: %s\n", err.line, err.column, err.message);
    return 2;
  }
  uint64_t total = 0;
  for (size_t i = 0; i < d->span_count; i++)
    total += d->spans[i].len;
  printf("%s %llu bytes in %zu spans\n", d->format, (unsigned long long)total, d->span_count);
  lu_arena_free(&mem);
  lu_file_close(&file);
  return 0;
}
