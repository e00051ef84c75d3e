/* SPDX-License-Identifier: MIT */
#include "cli/bench.h"
#include "cli/boardview.h"

#include "base/text.h"

#include <jansson.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

static const lu_job_file *file_named(const lu_job_entry *e, const char *name)
{
  for (size_t i = 0; e && i < e->file_count; i++)
    if (!strcmp(e->files[i].name, name))
      return &e->files[i];
  return NULL;
}

static bool from_job(void *from, const char *path, lu_bytes *out)
{
  lu_bench *b = from;
  const lu_job_file *f = file_named(b->focus, path);
  if (!f)
    f = file_named(b->board, path);
  struct stat st;
  /* what take and verify read went straight into the job; a file on the disk is meant before it */
  for (size_t i = b->count; !f && i-- > 0 && stat(path, &st) != 0;)
    if (!strcmp(b->entries[i].kind, "dump"))
      f = file_named(&b->entries[i], path);
  if (!f)
    return false;
  lu_job_file *kept = (lu_job_file *)(uintptr_t)f;
  if (!kept->bytes.at && lu_job_bytes(b->job, f->sha256, b->s->mem, &kept->bytes, NULL))
    return false;
  *out = kept->bytes;
  return true;
}

lu_status lu_bench_open(lu_session *s, const char *path, lu_job_mode mode, lu_bench **out)
{
  lu_bench *b = LU_NEW(s->mem, lu_bench, 1);
  if (!b)
    return lu_fail(&s->err, LU_ERR_NOMEM, 0, 0, "no room");
  b->s = s;
  b->path = path;
  lu_status bad = lu_job_open(path, mode, &b->job, &s->err);
  if (!bad)
    bad = lu_job_entries(b->job, s->mem, &b->entries, &b->count, &s->err);
  for (size_t i = 0; !bad && i < b->count; i++)
    if (b->entries[i].id != i + 1)
      bad = lu_fail(&s->err, LU_ERR_SYNTAX, 0, 0, "the job is damaged: entry %llu stands where entry %zu should",
                    (unsigned long long)b->entries[i].id, i + 1);
    else if (!strcmp(b->entries[i].kind, "board"))
      b->board = &b->entries[i];
  if (bad) {
    s->err.source = path;
    lu_job_close(b->job);
    return bad;
  }
  s->kept = from_job;
  s->kept_from = b;
  *out = b;
  return LU_OK;
}

void lu_bench_close(lu_bench *b)
{
  if (!b)
    return;
  lu_job_close(b->job);
  b->job = NULL;
  if (b->s->kept_from == b)
    b->s->kept = NULL;
}

const char *lu_bench_board_name(const lu_bench *b)
{
  return b->board && b->board->file_count ? b->board->files[0].name : NULL;
}

lu_status lu_bench_board(lu_bench *b)
{
  const char *name = lu_bench_board_name(b);
  if (!name)
    return lu_fail_source(&b->s->err, lu_fail(&b->s->err, LU_ERR_MISSING, 0, 0,
                                              "the job has no board file; 'lineup job new --board FILE JOB' makes one that has"),
                          b->path);
  return lu_session_board(b->s, name);
}

lu_status lu_bench_choose_board(lu_bench *b, const char *path)
{
  if (lu_bench_board_name(b) && path)
    return lu_fail(&b->s->err, LU_ERR_USAGE, 0, 0, "%.100s has a board file of its own; leave out --board", b->path);
  if (!path)
    return lu_bench_board_name(b) ? lu_bench_board(b) : LU_OK;
  size_t count;
  lu_status bad = lu_session_board(b->s, path);
  lu_job_file *files = bad ? NULL : lu_bench_files(b->s, 0, NULL, "board", &count);
  if (!bad && !files)
    bad = lu_fail(&b->s->err, LU_ERR_NOMEM, 0, 0, "no room");
  return bad ? bad : lu_bench_add(b, "board", lu_arena_printf(b->s->mem, "board file %s", path), NULL, files, count, NULL);
}

lu_status lu_bench_add(lu_bench *b, const char *kind, const char *text, struct json_t *body, lu_job_file *files,
                       size_t file_count, uint64_t *id)
{
  char *dumped = body ? json_dumps(body, JSON_COMPACT) : NULL;
  json_decref(body);
  char *kept = text ? lu_arena_text(b->s->mem, text, strlen(text)) : NULL;
  if (kept)
    lu_text_tidy(kept); /* what is written down is UTF-8 and harmless, whoever reads it later */
  lu_job_entry e = {.kind = kind, .text = kept, .body = dumped ? dumped : "{}", .file_count = file_count, .files = files};
  lu_status bad = !kept || (body && !dumped) ? lu_fail(&b->s->err, LU_ERR_NOMEM, 0, 0, "no room")
                                             : lu_job_append(b->job, &e, id, &b->s->err);
  free(dumped);
  if (bad && b->s->err.source)
    b->s->err.source = b->path;
  return bad;
}

static bool among(const lu_texts *t, const char *name)
{
  for (size_t i = 0; t && i < t->count; i++) {
    const char *eq = strchr(t->at[i], '=');
    if (!strcmp(t->at[i], name) || (eq && !strcmp(eq + 1, name)))
      return true;
  }
  return false;
}

lu_status lu_bench_say(lu_bench *b, uint64_t id, const char *kind, const char *text, json_t *more)
{
  json_t *o = json_pack("{s:s,s:I,s:s,s:o}", "lineup", LU_VERSION, "id", (json_int_t)id, "kind", kind, "text", lu_json_text(text));
  bool ok = o && more && json_object_update(o, more) == 0 && json_dumpf(o, b->s->run->out, JSON_INDENT(1)) == 0 &&
            fputc('\n', b->s->run->out) != EOF;
  json_decref(o);
  json_decref(more);
  return ok ? LU_OK : lu_fail(&b->s->err, LU_ERR_IO, 0, 0, "cannot write the result");
}

lu_job_file *lu_bench_files(lu_session *s, size_t first, const lu_texts *dumps, const char *role, size_t *count)
{
  lu_job_file *list = LU_NEW(s->mem, lu_job_file, s->file_count + 1);
  *count = 0;
  for (size_t i = first; list && i < s->file_count; i++) {
    bool known = false;
    for (size_t k = 0; k < *count; k++)
      known |= !strcmp(list[k].name, s->names[i]);
    if (!known)
      list[(*count)++] = (lu_job_file){.role = among(dumps, s->names[i]) ? "dump" : role, .name = s->names[i], .bytes = s->files[i].bytes};
  }
  return list;
}

const lu_job_entry *lu_bench_entry(const lu_bench *b, uint64_t id)
{
  return id >= 1 && id <= b->count ? &b->entries[id - 1] : NULL;
}

uint64_t lu_bench_last_repair(const lu_bench *b)
{
  for (size_t i = b->count; i-- > 0;)
    if (!strcmp(b->entries[i].kind, "repair"))
      return b->entries[i].id;
  return 0;
}
