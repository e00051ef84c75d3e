/* SPDX-License-Identifier: MIT */
/* Whether a job is sound. */
#include "job/sqlite.h"

#ifdef LU_HAVE_SQLITE
#  include "link/codes.h"

#  include <jansson.h>
#  include <stdarg.h>
#  include <stdio.h>
#  include <string.h>

enum { PROBLEMS_MOST = 100 };

typedef struct list {
  lu_arena *mem;
  const char **at;
  size_t count, room;
} list;

static void add(list *l, const char *text)
{
  if (l->count >= PROBLEMS_MOST || !text)
    return;
  const char **p = lu_arena_grow(l->mem, (void *)(uintptr_t)l->at, l->count, &l->room, sizeof *p);
  if (!p)
    return;
  l->at = p;
  p[l->count++] = text;
}

/* Rows of text, each a complaint unless it is "ok". */
static int complaints(lu_job *j, const char *sql, const char *prefix, list *l)
{
  sqlite3_stmt *q = NULL;
  int code = j->f.sqlite3_prepare_v2(j->db, sql, -1, &q, NULL);
  while (code == SQLITE_OK && (code = j->f.sqlite3_step(q)) == SQLITE_ROW) {
    const char *t = (const char *)j->f.sqlite3_column_text(q, 0);
    if (t && strcmp(t, "ok"))
      add(l, lu_arena_printf(l->mem, "%s%s", prefix, t));
    code = SQLITE_OK;
  }
  j->f.sqlite3_finalize(q);
  return code == SQLITE_DONE ? SQLITE_OK : code;
}

static int digests(lu_job *j, list *l)
{
  sqlite3_stmt *q = NULL;
  int code = j->f.sqlite3_prepare_v2(j->db, "SELECT sha256, bytes FROM content", -1, &q, NULL);
  while (code == SQLITE_OK && (code = j->f.sqlite3_step(q)) == SQLITE_ROW) {
    uint8_t d[LU_SHA256_LEN];
    char hex[2 * LU_SHA256_LEN + 1];
    const void *at = j->f.sqlite3_column_blob(q, 1);
    lu_sha256(at ? at : "", (size_t)j->f.sqlite3_column_bytes(q, 1), d);
    for (size_t i = 0; i < LU_SHA256_LEN; i++)
      snprintf(hex + 2 * i, 3, "%02x", d[i]);
    const char *said = (const char *)j->f.sqlite3_column_text(q, 0);
    if (!said || strcmp(said, hex))
      add(l, lu_arena_printf(l->mem, "a file no longer has its digest %s", said ? said : "?"));
    code = SQLITE_OK;
  }
  j->f.sqlite3_finalize(q);
  return code == SQLITE_DONE ? SQLITE_OK : code;
}

static void look_at_entries(const lu_job_entry *e, size_t count, list *l)
{
  if (!count)
    add(l, "the history is empty");
  for (size_t i = 0; i < count; i++) {
    if (e[i].id != i + 1)
      add(l, lu_arena_printf(l->mem, "entry %llu stands where entry %zu should", (unsigned long long)e[i].id, i + 1));
    json_error_t je;
    json_t *body = json_loads(e[i].body, 0, &je);
    if (!json_is_object(body))
      add(l, lu_arena_printf(l->mem, "entry %llu: its body is no JSON object", (unsigned long long)e[i].id));
    json_decref(body);
  }
}

lu_status lu_job_check(lu_job *job, lu_arena *mem, const char ***problems, size_t *count, lu_err *err)
{
  list l = {.mem = mem};
  lu_job_entry *e;
  size_t n;
  int code = complaints(job, "PRAGMA integrity_check(50)", "SQLite: ", &l);
  if (code == SQLITE_OK)
    code = digests(job, &l);
  if (code == SQLITE_OK)
    code = complaints(job, "SELECT 'file ' || name || ' of entry ' || entry || ' is not in the job' FROM file "
                           "WHERE sha256 NOT IN (SELECT sha256 FROM content)", "", &l);
  if (code == SQLITE_OK)
    code = complaints(job, "SELECT 'file ' || name || ' belongs to no entry' FROM file WHERE entry NOT IN (SELECT id FROM entry)", "", &l);
  if (code != SQLITE_OK && (code & 0xff) != SQLITE_CORRUPT)
    return lu_job_failed(job, code, "check the job", err);
  if (code != SQLITE_OK)
    add(&l, "SQLite cannot read all of it");
  else if (lu_job_entries(job, mem, &e, &n, err) == LU_OK)
    look_at_entries(e, n, &l);
  else
    add(&l, "the history cannot be read");
  *problems = l.at;
  *count = l.count;
  return LU_OK;
}
#endif
