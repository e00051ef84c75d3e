/* SPDX-License-Identifier: MIT */
#include "api/patterns.h"

#include <dirent.h>
#include <stdlib.h>
#include <string.h>

#include "base/io.h"
#include "pattern/builtin.h"

enum { PLACES_MOST = 4096 };
static const char suffix[] = ".pattern";

typedef struct places {
  lu_pattern_place *at;
  size_t count;
  lu_arena *mem;
  bool refused;
} places;

static void add(places *p, const char *name, size_t len, const char *path)
{
  for (size_t i = 0; i < p->count; i++)
    if (strlen(p->at[i].name) == len && !memcmp(p->at[i].name, name, len))
      return;
  if (p->count == PLACES_MOST)
    return;
  const char *copy = lu_arena_text(p->mem, name, len);
  p->refused |= !copy;
  if (copy)
    p->at[p->count++] = (lu_pattern_place){copy, path};
}

static bool has_suffix(const char *name)
{
  size_t len = strlen(name), tail = sizeof suffix - 1;
  return len > tail && !strcmp(name + len - tail, suffix);
}

static void add_folder(places *p, const char *folder)
{
  DIR *d = opendir(folder);
  if (!d)
    return; /* a folder that is not there holds no patterns */
  for (struct dirent *e; (e = readdir(d));) {
    if (e->d_name[0] == '.' || !has_suffix(e->d_name))
      continue;
    const char *path = lu_arena_printf(p->mem, "%s/%s", folder, e->d_name);
    p->refused |= !path;
    if (path)
      add(p, e->d_name, strlen(e->d_name) - (sizeof suffix - 1), path);
  }
  closedir(d);
}

/* The user's own: the XDG Base Directory Specification's place for data of a user. */
static void add_own(places *p)
{
  const char *data = getenv("XDG_DATA_HOME"), *home = getenv("HOME");
  const char *folder = data && data[0] == '/' ? lu_arena_printf(p->mem, "%s/lineup/patterns", data)
                       : home && home[0] == '/' ? lu_arena_printf(p->mem, "%s/.local/share/lineup/patterns", home) : "";
  p->refused |= !folder;
  if (folder && *folder)
    add_folder(p, folder);
}

static int by_name(const void *a, const void *b)
{
  return lu_text_order(((const lu_pattern_place *)a)->name, ((const lu_pattern_place *)b)->name);
}

lu_status lu_patterns_list(lu_arena *mem, lu_pattern_place **out, size_t *count, lu_err *err)
{
  places p = {.mem = mem, .at = LU_NEW(mem, lu_pattern_place, PLACES_MOST)};
  const char *folders = getenv("LINEUP_PATTERNS");
  while (p.at && folders && *folders) {
    size_t len = strcspn(folders, ":");
    const char *folder = len ? lu_arena_text(mem, folders, len) : NULL;
    if (folder)
      add_folder(&p, folder);
    folders += len + (folders[len] == ':');
  }
  if (p.at) {
    add_own(&p);
    add_folder(&p, LU_PATTERNS_INSTALLED);
  }
  for (size_t i = 0; p.at && i < lu_pattern_file_count; i++)
    add(&p, lu_pattern_files[i].name, strlen(lu_pattern_files[i].name), NULL);
  if (!p.at || p.refused)
    return lu_fail(err, LU_ERR_NOMEM, 0, 0, "no room for the list of patterns");
  qsort(p.at, p.count, sizeof *p.at, by_name);
  *out = p.at;
  *count = p.count;
  return LU_OK;
}

static lu_status read_path(const char *path, lu_arena *mem, lu_pattern **out, lu_err *err)
{
  lu_file file;
  lu_status status = lu_file_open(path, LU_PATTERN_BYTES_MOST, &file, err);
  if (status == LU_OK) {
    status = lu_pattern_read(file.bytes, mem, out, err);
    lu_file_close(&file);
  }
  return status ? lu_fail_source(err, status, path) : LU_OK;
}

lu_status lu_patterns_read(const lu_pattern_place *place, lu_arena *mem, lu_pattern **out,
                           lu_err *err)
{
  if (place->path)
    return read_path(place->path, mem, out, err);
  for (size_t i = 0; i < lu_pattern_file_count; i++)
    if (!strcmp(lu_pattern_files[i].name, place->name))
      return lu_pattern_read(lu_pattern_files[i].text, mem, out, err);
  return lu_fail(err, LU_ERR_MISSING, 0, 0, "no pattern is called \"%.60s\"", place->name);
}

lu_status lu_patterns_open(const char *name, lu_arena *mem, lu_pattern **out, lu_err *err)
{
  if (strchr(name, '/') || has_suffix(name) || !strcmp(name, "-"))
    return read_path(name, mem, out, err);
  lu_pattern_place *list = NULL;
  size_t count = 0;
  lu_status status = lu_patterns_list(mem, &list, &count, err);
  if (status)
    return status;
  const char **names = LU_NEW(mem, const char *, count + 1);
  if (!names)
    return lu_fail(err, LU_ERR_NOMEM, 0, 0, "no room for the list of patterns");
  for (size_t i = 0; i < count; i++) {
    names[i] = list[i].name;
    if (lu_text_same(name, names[i]))
      return lu_patterns_read(&list[i], mem, out, err);
  }
  const char *near = lu_text_nearest(name, names, count);
  return lu_fail(err, LU_ERR_MISSING, 0, 0, "no pattern is called \"%.60s\"; %s%s%s", name,
                 near ? "the nearest is \"" : "lineup pattern list shows them all",
                 near ? near : "", near ? "\"" : "");
}

lu_status lu_patterns_called(const char *what, lu_arena *mem, lu_pattern **out, lu_err *err)
{
  lu_pattern_place *list = NULL;
  size_t count = 0;
  lu_status status = lu_patterns_open(what, mem, out, err);
  if (status != LU_ERR_MISSING)
    return status;
  lu_err ignored = {0};
  if (lu_patterns_list(mem, &list, &count, &ignored))
    return status;
  for (size_t i = 0; i < count; i++)
    if (lu_patterns_read(&list[i], mem, out, &ignored) == LU_OK && lu_text_same((*out)->title, what)) {
      *err = (lu_err){0};
      return LU_OK;
    }
  *out = NULL;
  return status;
}
