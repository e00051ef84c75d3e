/* SPDX-License-Identifier: MIT */
/* The job's store: what is kept, what is refused. Layout and pragmas are looked at through SQLite
 * itself, not through the store. */
#include "job/job.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

typedef struct place {
  char folder[64], path[128], other[128];
  lu_arena mem;
  lu_err err;
} place;

static int set_up(void **state)
{
  place *p = calloc(1, sizeof *p);
  snprintf(p->folder, sizeof p->folder, "/tmp/lineup-job-XXXXXX");
  if (!mkdtemp(p->folder))
    return -1;
  snprintf(p->path, sizeof p->path, "%s/a.job", p->folder);
  snprintf(p->other, sizeof p->other, "%s/b", p->folder);
  *state = p;
  return 0;
}

static int tear_down(void **state)
{
  place *p = *state;
  char command[128];
  snprintf(command, sizeof command, "rm -rf '%s'", p->folder);
  int code = system(command);
  lu_arena_free(&p->mem);
  free(p);
  return code;
}

static lu_bytes bytes(const char *text)
{
  return (lu_bytes){(const uint8_t *)text, strlen(text)};
}

static void make(place *p)
{
  /* "abc": FIPS 180-4's first example; its digest is the one that the standard's annex gives */
  lu_job_file f[2] = {{.role = "board", .name = "a.yaml", .bytes = bytes("abc")}, {.role = "board", .name = "e", .bytes = bytes("")}};
  lu_job_entry e[2] = {{.kind = "job", .text = "opened"}, {.kind = "board", .text = "board", .body = "{\"k\":1}", .file_count = 2, .files = f}};
  assert_int_equal(lu_job_create(p->path, e, 2, &p->err), LU_OK);
}

static void test_keeps_entries_and_files(void **state)
{
  place *p = *state;
  lu_job *j;
  lu_job_entry *e;
  size_t n;
  uint64_t id;
  lu_bytes b;
  make(p);
  assert_int_equal(lu_job_open(p->path, LU_JOB_WRITE, &j, &p->err), LU_OK);
  lu_job_entry note = {.kind = "note", .text = "crust brushed off", .body = "{}"};
  assert_int_equal(lu_job_append(j, &note, &id, &p->err), LU_OK);
  assert_int_equal(id, 3);
  assert_int_equal(lu_job_entries(j, &p->mem, &e, &n, &p->err), LU_OK);
  assert_int_equal(n, 3);
  assert_string_equal(e[1].body, "{\"k\":1}");
  assert_int_equal(e[1].file_count, 2);
  assert_string_equal(e[1].files[0].sha256, "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad");
  assert_int_equal(e[1].files[0].len, 3);
  assert_string_equal(e[2].text, "crust brushed off");
  assert_int_equal(strlen(e[2].at), 20);
  assert_int_equal(lu_job_bytes(j, e[1].files[0].sha256, &p->mem, &b, &p->err), LU_OK);
  assert_int_equal(b.len, 3);
  assert_memory_equal(b.at, "abc", 3);
  assert_int_equal(lu_job_bytes(j, "00", &p->mem, &b, &p->err), LU_ERR_MISSING);
  lu_job_close(j);
}

static void test_is_one_file_at_rest(void **state)
{
  place *p = *state;
  char name[160];
  make(p);
  lu_job *j;
  assert_int_equal(lu_job_open(p->path, LU_JOB_WRITE, &j, &p->err), LU_OK);
  lu_job_close(j);
  snprintf(name, sizeof name, "%s-wal", p->path);
  assert_int_not_equal(access(name, F_OK), 0);
}

static void test_refuses_a_second_job_of_that_name(void **state)
{
  place *p = *state;
  make(p);
  lu_job_entry e = {.kind = "job", .text = "opened"};
  assert_int_equal(lu_job_create(p->path, &e, 1, &p->err), LU_ERR_VALUE);
}

static void test_reads_while_another_writes(void **state)
{
  place *p = *state;
  lu_job *w, *r, *w2;
  lu_job_entry *e, note = {.kind = "note", .text = "x"};
  size_t n;
  make(p);
  assert_int_equal(lu_job_open(p->path, LU_JOB_WRITE, &w, &p->err), LU_OK);
  assert_int_equal(lu_job_open(p->path, LU_JOB_READ, &r, &p->err), LU_OK);
  assert_int_equal(lu_job_open(p->path, LU_JOB_WRITE, &w2, &p->err), LU_OK);
  assert_int_equal(lu_job_append(w, &note, NULL, &p->err), LU_OK);
  assert_int_equal(lu_job_append(w2, &note, NULL, &p->err), LU_OK);
  assert_int_equal(lu_job_entries(r, &p->mem, &e, &n, &p->err), LU_OK);
  assert_int_equal(n, 4);
  assert_int_equal(lu_job_append(r, &note, NULL, &p->err), LU_ERR_IO);
  lu_job_close(w);
  lu_job_close(w2);
  lu_job_close(r);
}

static void spoil(const char *path, long offset, const char *with, size_t len)
{
  FILE *f = fopen(path, "r+b");
  assert_non_null(f);
  fseek(f, offset, SEEK_SET);
  assert_int_equal(fwrite(with, 1, len, f), len);
  fclose(f);
}

static void test_tells_what_is_no_job(void **state)
{
  place *p = *state;
  lu_job *j;
  assert_int_equal(lu_job_open(p->path, LU_JOB_READ, &j, &p->err), LU_ERR_MISSING);
  FILE *f = fopen(p->other, "wb");
  fputs("this is a letter, not a job, and long enough to have a header's length of a hundred bytes or so ......", f);
  fclose(f);
  assert_int_equal(lu_job_open(p->other, LU_JOB_READ, &j, &p->err), LU_ERR_SYNTAX);
  assert_non_null(strstr(p->err.message, "expected a job"));
}

/* Offsets: https://www.sqlite.org/fileformat2.html, section 1.3: user version at 60, application
 * id at 68, four bytes each, most significant first. */
static void test_leaves_newer_layouts_alone(void **state)
{
  place *p = *state;
  lu_job *j;
  make(p);
  spoil(p->path, 60, "\0\0\0\2", 4);
  assert_int_equal(lu_job_open(p->path, LU_JOB_WRITE, &j, &p->err), LU_ERR_VALUE);
  assert_non_null(strstr(p->err.message, "newer lineup"));
  spoil(p->path, 60, "\0\0\0\1", 4);
  spoil(p->path, 68, "ABCD", 4);
  assert_int_equal(lu_job_open(p->path, LU_JOB_READ, &j, &p->err), LU_ERR_SYNTAX);
}

static void test_check_sees_damage(void **state)
{
  place *p = *state;
  lu_job *j;
  const char **problems;
  size_t count;
  make(p);
  assert_int_equal(lu_job_open(p->path, LU_JOB_READ, &j, &p->err), LU_OK);
  assert_int_equal(lu_job_check(j, &p->mem, &problems, &count, &p->err), LU_OK);
  assert_int_equal(count, 0);
  lu_job_close(j);
  FILE *f = fopen(p->path, "rb");
  char all[65536];
  size_t len = fread(all, 1, sizeof all, f), at = 0;
  fclose(f);
  for (size_t i = 0; i + 67 < len; i++) /* the content row: the digest and behind it the bytes */
    if (!memcmp(all + i, "20015adabc", 10))
      at = i + 7;
  assert_true(at);
  spoil(p->path, (long)at, "abd", 3);
  assert_int_equal(lu_job_open(p->path, LU_JOB_READ, &j, &p->err), LU_OK);
  assert_int_equal(lu_job_check(j, &p->mem, &problems, &count, &p->err), LU_OK);
  assert_true(count >= 1);
  assert_non_null(strstr(problems[0], "digest"));
  lu_job_close(j);
}

/* Every page of the file spoilt in turn: an answer, never a crash. */
static void test_survives_damage_anywhere(void **state)
{
  place *p = *state;
  char junk[64];
  memset(junk, 0xa5, sizeof junk);
  make(p);
  FILE *f = fopen(p->path, "rb");
  static char all[1 << 17];
  size_t len = fread(all, 1, sizeof all, f);
  fclose(f);
  for (size_t at = 0; at + sizeof junk < len; at += 509) {
    lu_job *j = NULL;
    const char **problems;
    size_t count;
    f = fopen(p->other, "wb");
    fwrite(all, 1, len, f);
    fclose(f);
    spoil(p->other, (long)at, junk, sizeof junk);
    if (lu_job_open(p->other, LU_JOB_READ, &j, &p->err) == LU_OK) {
      lu_job_entry *e;
      size_t n;
      (void)!lu_job_check(j, &p->mem, &problems, &count, &p->err);
      (void)!lu_job_entries(j, &p->mem, &e, &n, &p->err);
      lu_job_close(j);
    } else {
      assert_true(p->err.message[0]);
    }
  }
}

static void test_exports_and_imports_the_same(void **state)
{
  place *p = *state;
  char back[160];
  lu_job *j;
  lu_job_entry *a, *b;
  size_t n, m;
  make(p);
  assert_int_equal(lu_job_open(p->path, LU_JOB_READ, &j, &p->err), LU_OK);
  assert_int_equal(lu_job_entries(j, &p->mem, &a, &n, &p->err), LU_OK);
  assert_int_equal(lu_job_export(j, p->other, &p->err), LU_OK);
  assert_int_equal(lu_job_export(j, p->other, &p->err), LU_ERR_VALUE);
  lu_job_close(j);
  snprintf(back, sizeof back, "%s/back.job", p->folder);
  assert_int_equal(lu_job_import(p->other, back, &p->err), LU_OK);
  assert_int_equal(lu_job_open(back, LU_JOB_READ, &j, &p->err), LU_OK);
  assert_int_equal(lu_job_entries(j, &p->mem, &b, &m, &p->err), LU_OK);
  assert_int_equal(n, m);
  for (size_t i = 0; i < n; i++) {
    assert_string_equal(a[i].at, b[i].at);
    assert_string_equal(a[i].kind, b[i].kind);
    assert_string_equal(a[i].text, b[i].text);
    assert_string_equal(a[i].body, b[i].body);
    assert_string_equal(a[i].version, b[i].version);
    assert_int_equal(a[i].file_count, b[i].file_count);
    for (size_t k = 0; k < a[i].file_count; k++)
      assert_string_equal(a[i].files[k].sha256, b[i].files[k].sha256);
  }
  lu_job_close(j);
  char file[256];
  snprintf(file, sizeof file, "%s/files/ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad", p->other);
  spoil(file, 0, "x", 1);
  snprintf(back, sizeof back, "%s/third.job", p->folder);
  assert_int_equal(lu_job_import(p->other, back, &p->err), LU_ERR_VALUE);
  assert_int_not_equal(access(back, F_OK), 0);
}

int main(void)
{
#define TEST(f) cmocka_unit_test_setup_teardown(f, set_up, tear_down)
  const struct CMUnitTest tests[] = {
      TEST(test_keeps_entries_and_files),      TEST(test_is_one_file_at_rest),       TEST(test_refuses_a_second_job_of_that_name),
      TEST(test_reads_while_another_writes),   TEST(test_tells_what_is_no_job),      TEST(test_leaves_newer_layouts_alone),
      TEST(test_check_sees_damage),            TEST(test_survives_damage_anywhere),  TEST(test_exports_and_imports_the_same),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
