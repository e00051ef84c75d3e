/* SPDX-License-Identifier: MIT */
/* A job as a folder of plain files, and back. */
#define _GNU_SOURCE
#include "job/job.h"

#include "base/io.h"
#include "link/codes.h"

#include <dirent.h>
#include <errno.h>
#include <jansson.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

enum { ENTRIES_MOST = 1000000, HISTORY_BYTES_MOST = 1 << 30 };

static lu_status refused(lu_err *err, const char *path, const char *what)
{
  return lu_fail_source(err, lu_fail(err, LU_ERR_IO, 0, 0, "cannot %s: %s", what, strerror(errno)), path);
}

static lu_status make_folder(const char *folder, lu_err *err)
{
  if (mkdir(folder, 0777) && errno != EEXIST)
    return refused(err, folder, "make the folder");
  DIR *d = opendir(folder);
  if (!d)
    return refused(err, folder, "open the folder");
  bool used = false;
  for (struct dirent *e; (e = readdir(d));)
    used |= strcmp(e->d_name, ".") && strcmp(e->d_name, "..");
  closedir(d);
  return used ? lu_fail_source(err, lu_fail(err, LU_ERR_VALUE, 0, 0, "expected a new or empty folder, found files in it"), folder)
              : LU_OK;
}

static json_t *entry_json(const lu_job_entry *e)
{
  json_t *o = json_object(), *files = json_array();
  json_error_t je;
  json_object_set_new(o, "id", json_integer((json_int_t)e->id));
  json_object_set_new(o, "at", json_string(e->at));
  json_object_set_new(o, "kind", json_string(e->kind));
  json_object_set_new(o, "text", json_string(e->text));
  json_object_set_new(o, "version", json_string(e->version));
  json_t *body = json_loads(e->body, 0, &je);
  json_object_set_new(o, "body", body ? body : json_object());
  for (size_t i = 0; i < e->file_count; i++)
    json_array_append_new(files, json_pack("{s:s,s:s,s:s,s:I}", "role", e->files[i].role, "name", e->files[i].name, "sha256",
                                           e->files[i].sha256, "bytes", (json_int_t)e->files[i].len));
  json_object_set_new(o, "files", files);
  return o;
}

/* Files go into the arena one at a time, so that the largest sets the memory needed. */
static lu_status write_file(lu_job *job, const char *folder, const lu_job_file *f, lu_err *err)
{
  char path[4400];
  struct stat st;
  snprintf(path, sizeof path, "%s/files/%s", folder, f->sha256);
  if (!stat(path, &st))
    return LU_OK;
  lu_arena one = {0};
  lu_bytes b;
  lu_status bad = lu_job_bytes(job, f->sha256, &one, &b, err);
  if (!bad)
    bad = lu_file_write(path, b.at, b.len, err);
  if (err && err->source == path)
    err->source = folder;
  lu_arena_free(&one);
  return bad;
}

lu_status lu_job_export(lu_job *job, const char *folder, lu_err *err)
{
  lu_arena mem = {0};
  lu_job_entry *e;
  size_t count;
  char path[4400];
  json_t *list = json_array(), *all = json_pack("{s:i,s:s,s:o}", "layout", LU_JOB_LAYOUT, "lineup", LU_VERSION, "history", list);
  lu_status bad = lu_job_entries(job, &mem, &e, &count, err);
  if (!bad)
    bad = make_folder(folder, err);
  snprintf(path, sizeof path, "%s/files", folder);
  if (!bad && mkdir(path, 0777))
    bad = refused(err, folder, "make the folder 'files'");
  for (size_t i = 0; !bad && i < count; i++) {
    json_array_append_new(list, entry_json(&e[i]));
    for (size_t k = 0; !bad && k < e[i].file_count; k++)
      bad = write_file(job, folder, &e[i].files[k], err);
  }
  char *text = bad ? NULL : json_dumps(all, JSON_INDENT(1));
  if (!bad && !text)
    bad = lu_fail(err, LU_ERR_NOMEM, 0, 0, "no room for the history");
  snprintf(path, sizeof path, "%s/job.json", folder);
  if (!bad)
    bad = lu_file_write(path, text, strlen(text), err);
  if (err && err->source == path)
    err->source = folder;
  free(text);
  json_decref(all);
  lu_arena_free(&mem);
  return bad;
}

/* --- back ------------------------------------------------------------------------------------------- */

typedef struct reading_in {
  const char *folder;
  lu_arena mem;
  lu_file *files;
  size_t file_count, file_room;
  lu_err *err;
} reading_in;

static bool is_digest(const char *s)
{
  return s && strlen(s) == 64 && strspn(s, "0123456789abcdef") == 64;
}

static bool has_digest(lu_bytes b, const char *sha)
{
  uint8_t d[LU_SHA256_LEN];
  char hex[2 * LU_SHA256_LEN + 1];
  lu_sha256(b.at, b.len, d);
  for (size_t i = 0; i < LU_SHA256_LEN; i++)
    snprintf(hex + 2 * i, 3, "%02x", d[i]);
  return !strcmp(hex, sha);
}

static lu_status open_one(reading_in *r, const char *sha, lu_bytes *out)
{
  char *path = lu_arena_printf(&r->mem, "%s/files/%s", r->folder, sha);
  lu_file *p = lu_arena_grow(&r->mem, r->files, r->file_count, &r->file_room, sizeof *p);
  if (!p || !path)
    return lu_fail(r->err, LU_ERR_NOMEM, 0, 0, "no room");
  r->files = p;
  lu_status bad = lu_file_open(path, LU_JOB_FILE_MOST, &p[r->file_count], r->err);
  if (bad) {
    if (r->err)
      r->err->source = NULL;
    return lu_fail(r->err, bad, 0, 0, "files/%s cannot be read", sha);
  }
  *out = p[r->file_count++].bytes;
  return has_digest(*out, sha) ? LU_OK : lu_fail(r->err, LU_ERR_VALUE, 0, 0, "files/%s is no longer what its name says", sha);
}

static lu_status entry_in(reading_in *r, json_t *o, size_t n, lu_job_entry *out)
{
  json_t *files = json_object_get(o, "files"), *body = json_object_get(o, "body");
  const char *at = json_string_value(json_object_get(o, "at")), *kind = json_string_value(json_object_get(o, "kind"));
  const char *text = json_string_value(json_object_get(o, "text")), *version = json_string_value(json_object_get(o, "version"));
  if (!at || !kind || !text || !version || !json_is_object(body) || !json_is_array(files) ||
      json_integer_value(json_object_get(o, "id")) != (json_int_t)n + 1)
    return lu_fail(r->err, LU_ERR_SYNTAX, 0, 0, "job.json: entry %zu of the history lacks something or has another number", n + 1);
  *out = (lu_job_entry){.at = at, .kind = kind, .text = text, .version = version, .file_count = json_array_size(files)};
  if (out->file_count > LU_JOB_FILES_MOST)
    return lu_fail(r->err, LU_ERR_LIMIT, 0, 0, "job.json: entry %zu has more than %d files", n + 1, LU_JOB_FILES_MOST);
  char *dumped = json_dumps(body, JSON_COMPACT);
  out->body = dumped ? lu_arena_printf(&r->mem, "%s", dumped) : NULL;
  free(dumped);
  out->files = LU_NEW(&r->mem, lu_job_file, out->file_count + 1);
  if (!out->body || !out->files)
    return lu_fail(r->err, LU_ERR_NOMEM, 0, 0, "no room");
  for (size_t i = 0; i < out->file_count; i++) {
    json_t *f = json_array_get(files, i);
    const char *sha = json_string_value(json_object_get(f, "sha256"));
    out->files[i].role = json_string_value(json_object_get(f, "role"));
    out->files[i].name = json_string_value(json_object_get(f, "name"));
    if (!is_digest(sha) || !out->files[i].role || !out->files[i].name)
      return lu_fail(r->err, LU_ERR_SYNTAX, 0, 0, "job.json: entry %zu: expected files with role, name and sha256", n + 1);
    lu_status bad = open_one(r, sha, &out->files[i].bytes);
    if (bad)
      return bad;
  }
  return LU_OK;
}

static lu_status history_in(reading_in *r, json_t *all, const char *path)
{
  json_t *list = json_object_get(all, "history");
  json_int_t layout = json_integer_value(json_object_get(all, "layout"));
  if (layout > LU_JOB_LAYOUT)
    return lu_fail(r->err, LU_ERR_VALUE, 0, 0, "job.json was written by a newer lineup (layout %lld, this one knows %d)",
                   (long long)layout, LU_JOB_LAYOUT);
  size_t count = json_array_size(list);
  if (layout < 1 || !count || count > ENTRIES_MOST)
    return lu_fail(r->err, LU_ERR_SYNTAX, 0, 0, "job.json: expected layout and a history of 1 to %d entries", ENTRIES_MOST);
  lu_job_entry *e = LU_NEW(&r->mem, lu_job_entry, count);
  lu_status bad = e ? LU_OK : lu_fail(r->err, LU_ERR_NOMEM, 0, 0, "no room");
  for (size_t i = 0; !bad && i < count; i++)
    bad = entry_in(r, json_array_get(list, i), i, &e[i]);
  return bad ? bad : lu_job_create(path, e, count, r->err);
}

lu_status lu_job_import(const char *folder, const char *path, lu_err *err)
{
  reading_in r = {.folder = folder, .err = err};
  lu_file in = {0};
  json_error_t je;
  char *name = lu_arena_printf(&r.mem, "%s/job.json", folder);
  lu_status bad = name ? lu_file_open(name, HISTORY_BYTES_MOST, &in, err) : lu_fail(err, LU_ERR_NOMEM, 0, 0, "no room");
  if (bad) {
    if (err)
      err->source = folder;
    lu_arena_free(&r.mem);
    return bad;
  }
  json_t *all = json_loadb((const char *)in.bytes.at, in.bytes.len, 0, &je);
  if (!all)
    bad = lu_fail(err, LU_ERR_SYNTAX, (uint32_t)je.line, (uint32_t)je.column, "job.json: %s", je.text);
  else
    bad = history_in(&r, all, path);
  if (bad)
    lu_fail_source(err, bad, folder);
  json_decref(all);
  for (size_t i = 0; i < r.file_count; i++)
    lu_file_close(&r.files[i]);
  lu_file_close(&in);
  lu_arena_free(&r.mem);
  return bad;
}
