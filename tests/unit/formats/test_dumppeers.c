/* SPDX-License-Identifier: MIT */
/* The same bytes through general-purpose tools and through the dump forms: srec_cat (package
 * srecord), objcopy (binutils), xxd, hexdump and od. A tool that is not installed is left out and
 * named. */
#define _GNU_SOURCE
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>

#include <cmocka.h>

#include "base/io.h"
#include "formats/dumpform.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

enum { LEN = 70001 };
static uint8_t content[LEN];
static char folder[] = "/tmp/lu-peers-XXXXXX";

static int start(void **state)
{
  (void)state;
  uint32_t s = 1;
  for (size_t i = 0; i < LEN; i++) {
    s = s * 1664525u + 1013904223u;
    content[i] = i % 4096 < 512
                     ? 0
                     : (uint8_t)(s >> 24); /* some equal lines, for the tools that fold them */
  }
  if (!mkdtemp(folder) || chdir(folder))
    return 1;
  return lu_file_write("in.bin", content, LEN, NULL) == LU_OK ? 0 : 1;
}

static int finish(void **state)
{
  (void)state;
  if (chdir("/"))
    return 1;
  char command[128];
  snprintf(command, sizeof command, "rm -rf %s", folder);
  return system(command) ? 1 : 0;
}

static bool installed(const char *tool)
{
  char command[128];
  snprintf(command, sizeof command, "command -v %s >/dev/null 2>&1", tool);
  return system(command) == 0;
}

/* The tool writes text; we read it. */
typedef struct made {
  const char *name, *tool, *command, *form;
  uint64_t base; /* of the first byte */
  bool has_addresses;
} made;

static const made by_tools[] = {
    {"objcopy writes ihex", "objcopy", "objcopy -I binary -O ihex in.bin out", "ihex", 0, true},
    {"objcopy writes ihex above 64 KiB", "objcopy",
     "objcopy -I binary -O ihex --change-addresses 0x8001234 in.bin out", "ihex", 0x8001234, true},
    {"objcopy writes srec", "objcopy", "objcopy -I binary -O srec in.bin out", "srec", 0, true},
    {"objcopy writes srec, S3 only", "objcopy",
     "objcopy -I binary -O srec --srec-forceS3 --srec-len=40 in.bin out", "srec", 0, true},
    {"srec_cat writes ihex", "srec_cat", "srec_cat in.bin -binary -o out -intel", "ihex", 0, true},
    {"srec_cat writes segmented ihex", "srec_cat",
     "srec_cat in.bin -binary -offset 0x12345 -o out -intel -address-length=3", "ihex", 0x12345,
     true},
    {"srec_cat writes ihex with CRLF and long lines", "srec_cat",
     "srec_cat in.bin -binary -o out -intel -obs=200 -line-termination=crlf", "ihex", 0, true},
    {"srec_cat writes srec", "srec_cat", "srec_cat in.bin -binary -o out -motorola", "srec", 0,
     true},
    {"srec_cat writes S2", "srec_cat",
     "srec_cat in.bin -binary -offset 0x20001 -o out -motorola -address-length=3", "srec", 0x20001,
     true},
    {"srec_cat writes S3 with short records", "srec_cat",
     "srec_cat in.bin -binary -offset 0x10000000 -o out -motorola -obs=7", "srec", 0x10000000,
     true},
    {"xxd", "xxd", "xxd in.bin out", "hextext", 0, true},
    {"xxd, four bytes a group, 24 a line, upper case", "xxd", "xxd -u -g4 -c24 in.bin out",
     "hextext", 0, true},
    {"xxd, single bytes, an offset", "xxd", "xxd -g1 -o 0x1234 in.bin out", "hextext", 0x1234,
     true},
    {"xxd, plain", "xxd", "xxd -p in.bin out", "hextext", 0, false},
    {"hexdump", "hexdump", "hexdump -C in.bin > out", "hextext", 0, true},
    {"od, bytes", "od", "od -Ax -tx1 in.bin > out", "hextext", 0, true},
    {"od, bytes with text, nothing folded", "od", "od -v -Ax -tx1z in.bin > out", "hextext", 0,
     true},
    {"od, words in the order of the file", "od", "od -Ax -tx4 --endian=big -w32 in.bin > out",
     "hextext", 0, true},
};

static void check_made(void **state)
{
  const made *m = *state;
  if (!installed(m->tool)) {
    print_message("%s is not installed\n", m->tool);
    skip();
  }
  assert_int_equal(system(m->command), 0);
  lu_file file;
  assert_int_equal(lu_file_open("out", 0, &file, NULL), LU_OK);
  const lu_dumpform *form = lu_dumpform_guess(file.bytes);
  assert_string_equal(form->name, m->form);
  lu_arena mem = {0};
  lu_dump *d = NULL;
  lu_err err = {0};
  if (form->read(file.bytes, &mem, &d, &err) != LU_OK)
    fail_msg("%u:%u: %s", err.line, err.column, err.message);
  assert_int_equal(d->has_addresses, m->has_addresses);
  assert_int_equal(d->span_count, 1);
  assert_true(d->spans[0].base == m->base);
  if (d->spans[0].len != LEN) { /* od -w pads the last group with zeros */
    assert_true(d->spans[0].len - LEN < 4);
    for (uint64_t i = LEN; i < d->spans[0].len; i++)
      assert_int_equal(d->spans[0].at[i], 0);
  }
  assert_memory_equal(d->spans[0].at, content, LEN);
  lu_arena_free(&mem);
  lu_file_close(&file);
}

/* We write text; the tool reads it. */
typedef struct taken {
  const char *name, *tool, *form, *command;
} taken;

static const taken by_us[] = {
    {"objcopy reads our ihex", "objcopy", "ihex", "objcopy -I ihex -O binary text out"},
    {"objcopy reads our srec", "objcopy", "srec", "objcopy -I srec -O binary text out"},
    {"srec_cat reads our ihex", "srec_cat", "ihex",
     "srec_cat text -intel -offset -0x1FF -o out -binary"},
    {"srec_cat reads our srec", "srec_cat", "srec",
     "srec_cat text -motorola -offset -0x1FF -o out -binary"},
    {"xxd reads our text", "xxd", "hextext", "xxd -r -s -0x1FF text out"},
};

static bool put_file(void *to, const void *at, size_t len)
{
  return fwrite(at, 1, len, to) == len;
}

static void check_taken(void **state)
{
  const taken *t = *state;
  if (!installed(t->tool)) {
    print_message("%s is not installed\n", t->tool);
    skip();
  }
  lu_span span = {.base = 0x1FF, .len = LEN, .at = content};
  lu_dump dump = {.has_addresses = true, .span_count = 1, .spans = &span};
  FILE *f = fopen("text", "w");
  assert_non_null(f);
  assert_true(lu_dumpform_named(t->form)->write(&dump, (lu_sink){put_file, f}));
  fclose(f);
  (void)unlink("out");
  assert_int_equal(system(t->command), 0);
  lu_file file;
  assert_int_equal(lu_file_open("out", 0, &file, NULL), LU_OK);
  assert_int_equal(file.bytes.len, LEN);
  assert_memory_equal(file.bytes.at, content, LEN);
  lu_file_close(&file);
}

int main(void)
{
  enum { MADE = sizeof by_tools / sizeof *by_tools, TAKEN = sizeof by_us / sizeof *by_us };
  struct CMUnitTest tests[MADE + TAKEN];
  for (size_t i = 0; i < MADE; i++)
    tests[i] = (struct CMUnitTest){
        .name = by_tools[i].name, .test_func = check_made, .initial_state = (void *)&by_tools[i]};
  for (size_t i = 0; i < TAKEN; i++)
    tests[MADE + i] = (struct CMUnitTest){
        .name = by_us[i].name, .test_func = check_taken, .initial_state = (void *)&by_us[i]};
  return cmocka_run_group_tests_name("peers", tests, start, finish);
}
