/* SPDX-License-Identifier: MIT */
#define _GNU_SOURCE
#include "job/job.h"

#include "job/sqlite.h"

#ifdef LU_HAVE_SQLITE
#  include "link/codes.h"
#  include "link/dynlib.h"

#  include <errno.h>
#  include <fcntl.h>
#  include <stdio.h>
#  include <stdlib.h>
#  include <string.h>
#  include <sys/stat.h>
#  include <time.h>
#  include <unistd.h>

/* "LUJB": told apart from other SQLite files (https://www.sqlite.org/pragma.html, "application_id") */
#  define APPLICATION 0x4c554a42
#  define TEXT_OF(x) #x
#  define NUMBER_TEXT(x) TEXT_OF(x)

enum { WAIT_MS = 15000 };

static const char layout[] =
    "PRAGMA application_id = " NUMBER_TEXT(APPLICATION) ";"
    "PRAGMA user_version = 1;"
    "CREATE TABLE entry(id INTEGER PRIMARY KEY, at TEXT NOT NULL, kind TEXT NOT NULL, text TEXT NOT NULL,"
    " body TEXT NOT NULL, version TEXT NOT NULL);"
    "CREATE TABLE content(sha256 TEXT NOT NULL UNIQUE, bytes BLOB NOT NULL);"
    "CREATE TABLE file(entry INTEGER NOT NULL REFERENCES entry(id), place INTEGER NOT NULL, role TEXT NOT NULL,"
    " name TEXT NOT NULL, sha256 TEXT NOT NULL REFERENCES content(sha256), len INTEGER NOT NULL,"
    " PRIMARY KEY(entry, place));"
    "CREATE TRIGGER entry_kept BEFORE DELETE ON entry BEGIN SELECT RAISE(ABORT, 'history is kept'); END;"
    "CREATE TRIGGER entry_fixed BEFORE UPDATE ON entry BEGIN SELECT RAISE(ABORT, 'history is kept'); END;"
    "CREATE TRIGGER content_kept BEFORE DELETE ON content BEGIN SELECT RAISE(ABORT, 'history is kept'); END;"
    "CREATE TRIGGER content_fixed BEFORE UPDATE ON content BEGIN SELECT RAISE(ABORT, 'history is kept'); END;"
    "CREATE TRIGGER file_kept BEFORE DELETE ON file BEGIN SELECT RAISE(ABORT, 'history is kept'); END;"
    "CREATE TRIGGER file_fixed BEFORE UPDATE ON file BEGIN SELECT RAISE(ABORT, 'history is kept'); END;";

static lu_status load(lu_sqlite *f, lu_err *err)
{
  static const lu_symbol symbols[] = {
#  define X(name) {#name, offsetof(lu_sqlite, name)},
      LU_SQLITE_FUNCTIONS(X)
#  undef X
  };
  lu_status bad = lu_dynlib_load("libsqlite3.so.0", "libsqlite3-0", symbols, sizeof symbols / sizeof *symbols, f, err);
  return bad ? lu_fail(err, bad, 0, 0, "a job needs libsqlite3.so.0, which is not here; install libsqlite3-0") : LU_OK;
}

lu_status lu_job_failed(lu_job *job, int code, const char *doing, lu_err *err)
{
  const char *why = job->db ? job->f.sqlite3_errmsg(job->db) : "no memory";
  lu_status s = LU_ERR_IO;
  switch (code & 0xff) {
  case SQLITE_NOTADB:
    s = lu_fail(err, LU_ERR_SYNTAX, 0, 0, "expected a job, found some other kind of file");
    break;
  case SQLITE_CORRUPT:
    s = lu_fail(err, LU_ERR_SYNTAX, 0, 0, "the job is damaged (%s): 'lineup job check' tells more; go back to a copy", why);
    break;
  case SQLITE_READONLY:
  case SQLITE_CANTOPEN: /* the log beside it cannot be made */
    lu_fail(err, s, 0, 0, "the job lies where it cannot be written; nothing was changed");
    break;
  case SQLITE_FULL:
  case SQLITE_IOERR:
    lu_fail(err, s, 0, 0, "cannot %s: the disk is full or refuses (%s); nothing of this was kept", doing, why);
    break;
  case SQLITE_BUSY:
    lu_fail(err, s, 0, 0, "cannot %s: another process has been writing the job for %d s", doing, WAIT_MS / 1000);
    break;
  case SQLITE_NOMEM:
    s = lu_fail(err, LU_ERR_NOMEM, 0, 0, "no room");
    break;
  case SQLITE_TOOBIG:
    s = lu_fail(err, LU_ERR_LIMIT, 0, 0, "a file or text is larger than a job can hold (%d bytes)", LU_JOB_FILE_MOST);
    break;
  default:
    lu_fail(err, s, 0, 0, "cannot %s: %s", doing, why);
  }
  return lu_fail_source(err, s, job->path);
}

static int run_sql(lu_job *j, const char *sql)
{
  return j->f.sqlite3_exec(j->db, sql, NULL, NULL, NULL);
}

/* One number out of a statement. */
static int ask(lu_job *j, const char *sql, int64_t *out)
{
  sqlite3_stmt *q = NULL;
  int code = j->f.sqlite3_prepare_v2(j->db, sql, -1, &q, NULL);
  if (code == SQLITE_OK)
    code = j->f.sqlite3_step(q);
  if (code == SQLITE_ROW) {
    *out = j->f.sqlite3_column_int64(q, 0);
    code = SQLITE_OK;
  } else if (code == SQLITE_DONE) {
    code = SQLITE_CORRUPT;
  }
  j->f.sqlite3_finalize(q);
  return code;
}

/* --- opening --------------------------------------------------------------------------------------- */

static lu_status new_job(const char *path, lu_job_mode mode, lu_job **out, lu_err *err)
{
  lu_job *j = calloc(1, sizeof *j);
  if (!j)
    return lu_fail(err, LU_ERR_NOMEM, 0, 0, "no room");
  j->mode = mode;
  lu_status bad = LU_OK;
  if ((size_t)snprintf(j->path, sizeof j->path, "%s", path) >= sizeof j->path)
    bad = lu_fail(err, LU_ERR_LIMIT, 0, 0, "the path is too long");
  if (!bad)
    bad = load(&j->f, err);
  if (bad)
    free(j);
  else
    *out = j;
  return bad;
}

void lu_job_close(lu_job *job)
{
  if (!job)
    return;
  if (job->db)
    job->f.sqlite3_close(job->db);
  free(job);
}

/* The path as a URI, for a file on a disk that takes no writes at all. */
static void as_uri(const char *path, char *out, size_t len)
{
  size_t n = (size_t)snprintf(out, len, "file:");
  for (; *path && n + 4 < len - 16; path++) {
    if (strchr("%?#", *path))
      n += (size_t)snprintf(out + n, len - n, "%%%02x", (unsigned char)*path);
    else
      out[n++] = *path;
  }
  snprintf(out + n, len - n, "?immutable=1");
}

static int open_db(lu_job *j, const char *name, int flags)
{
  if (j->db)
    j->f.sqlite3_close(j->db);
  j->db = NULL;
  int code = j->f.sqlite3_open_v2(name, &j->db, flags | SQLITE_OPEN_NOMUTEX, NULL);
  if (code == SQLITE_OK)
    code = j->f.sqlite3_busy_timeout(j->db, WAIT_MS);
  return code;
}

static bool has_log(const char *path)
{
  char name[4200];
  struct stat st;
  snprintf(name, sizeof name, "%s-wal", path);
  return stat(name, &st) == 0 && st.st_size > 0;
}

/* Reading a log needs a small file beside the job; where none can be made and no log is left, the
 * job alone is the whole truth. */
static int open_unwritable(lu_job *j, int code)
{
  char uri[3 * sizeof j->path];
  if (has_log(j->path))
    return code;
  as_uri(j->path, uri, sizeof uri);
  return open_db(j, uri, SQLITE_OPEN_READONLY | SQLITE_OPEN_URI);
}

static lu_status check_layout(lu_job *j, lu_err *err)
{
  int64_t app = 0, version = 0;
  int code = ask(j, "PRAGMA application_id", &app);
  if (j->mode == LU_JOB_READ && ((code & 0xff) == SQLITE_CANTOPEN || (code & 0xff) == SQLITE_READONLY)) {
    code = open_unwritable(j, code);
    if (code == SQLITE_OK)
      code = ask(j, "PRAGMA application_id", &app);
    if (code != SQLITE_OK && has_log(j->path))
      return lu_fail_source(err, lu_fail(err, LU_ERR_IO, 0, 0,
                                         "changes stand in the '-wal' file beside the job, and nothing can be written there: "
                                         "copy both files to a disk that can be written"), j->path);
  }
  if (code == SQLITE_OK)
    code = ask(j, "PRAGMA user_version", &version);
  if (code != SQLITE_OK)
    return lu_job_failed(j, code, "open the job", err);
  if (app != APPLICATION)
    return lu_fail_source(err, lu_fail(err, LU_ERR_SYNTAX, 0, 0, "expected a job, found another program's SQLite file"), j->path);
  if (version > LU_JOB_LAYOUT)
    return lu_fail_source(err, lu_fail(err, LU_ERR_VALUE, 0, 0,
                                       "the job was written by a newer lineup (layout %lld, this one knows %d); nothing was changed",
                                       (long long)version, LU_JOB_LAYOUT), j->path);
  if (version < 1)
    return lu_fail_source(err, lu_fail(err, LU_ERR_SYNTAX, 0, 0, "the job is damaged: it has layout %lld", (long long)version), j->path);
  return LU_OK;
}

static lu_status ready_to_write(lu_job *j, lu_err *err)
{
  int code = run_sql(j, "PRAGMA journal_mode = WAL; PRAGMA synchronous = FULL; PRAGMA foreign_keys = ON;");
  return code == SQLITE_OK ? LU_OK : lu_job_failed(j, code, "open the job for writing", err);
}

lu_status lu_job_open(const char *path, lu_job_mode mode, lu_job **out, lu_err *err)
{
  struct stat st;
  if (stat(path, &st) || !S_ISREG(st.st_mode)) {
    lu_status s = lu_fail(err, LU_ERR_MISSING, 0, 0, "there is no job here; 'lineup job new' makes one");
    return lu_fail_source(err, s, path);
  }
  if (!st.st_size)
    return lu_fail_source(err, lu_fail(err, LU_ERR_SYNTAX, 0, 0, "expected a job, found an empty file"), path);
  lu_job *j;
  lu_status bad = new_job(path, mode, &j, err);
  if (bad)
    return bad;
  int code = open_db(j, path, mode == LU_JOB_WRITE ? SQLITE_OPEN_READWRITE : SQLITE_OPEN_READONLY);
  if (code != SQLITE_OK && !(mode == LU_JOB_READ && (code & 0xff) == SQLITE_CANTOPEN))
    bad = lu_job_failed(j, code, "open the job", err);
  if (!bad)
    bad = check_layout(j, err);
  if (!bad && mode == LU_JOB_WRITE)
    bad = ready_to_write(j, err);
  if (bad) {
    lu_fail_source(err, bad, path);
    if (err && err->source == j->path)
      err->source = path;
    lu_job_close(j);
    return bad;
  }
  *out = j;
  return LU_OK;
}

/* --- writing --------------------------------------------------------------------------------------- */

static void hex_digest(lu_bytes b, char out[2 * LU_SHA256_LEN + 1])
{
  uint8_t d[LU_SHA256_LEN];
  lu_sha256(b.at, b.len, d);
  for (size_t i = 0; i < LU_SHA256_LEN; i++)
    snprintf(out + 2 * i, 3, "%02x", d[i]);
}

static void time_now(char out[32])
{
  time_t now = time(NULL);
  struct tm tm;
  gmtime_r(&now, &tm);
  strftime(out, 32, "%Y-%m-%dT%H:%M:%SZ", &tm);
}

static int bind_text(lu_job *j, sqlite3_stmt *q, int at, const char *text)
{
  return j->f.sqlite3_bind_text(q, at, text ? text : "", -1, SQLITE_STATIC);
}

static int finish(lu_job *j, sqlite3_stmt *q, int code)
{
  if (code == SQLITE_OK) {
    code = j->f.sqlite3_step(q);
    code = code == SQLITE_DONE ? SQLITE_OK : code;
  }
  j->f.sqlite3_finalize(q);
  return code;
}

static int put_content(lu_job *j, const char *sha, lu_bytes b)
{
  sqlite3_stmt *q = NULL;
  int code = j->f.sqlite3_prepare_v2(j->db, "INSERT OR IGNORE INTO content(sha256, bytes) VALUES(?, ?)", -1, &q, NULL);
  if (code == SQLITE_OK)
    code = bind_text(j, q, 1, sha);
  if (code == SQLITE_OK)
    code = j->f.sqlite3_bind_blob64(q, 2, b.at ? b.at : (const void *)"", b.len, SQLITE_STATIC);
  return finish(j, q, code);
}

static int put_file(lu_job *j, uint64_t entry, size_t place, const lu_job_file *f)
{
  char sha[2 * LU_SHA256_LEN + 1];
  sqlite3_stmt *q = NULL;
  hex_digest(f->bytes, sha);
  int code = put_content(j, sha, f->bytes);
  if (code == SQLITE_OK)
    code = j->f.sqlite3_prepare_v2(j->db, "INSERT INTO file VALUES(?, ?, ?, ?, ?, ?)", -1, &q, NULL);
  if (code != SQLITE_OK)
    return code;
  code = j->f.sqlite3_bind_int64(q, 1, (sqlite3_int64)entry) | j->f.sqlite3_bind_int64(q, 2, (sqlite3_int64)place) |
         bind_text(j, q, 3, f->role) | bind_text(j, q, 4, f->name) | bind_text(j, q, 5, sha) |
         j->f.sqlite3_bind_int64(q, 6, (sqlite3_int64)f->bytes.len);
  return finish(j, q, code);
}

static int put_entry(lu_job *j, const lu_job_entry *e, uint64_t *id)
{
  char now[32];
  int64_t next = 0;
  sqlite3_stmt *q = NULL;
  time_now(now);
  int code = ask(j, "SELECT coalesce(max(id), 0) + 1 FROM entry", &next);
  if (code == SQLITE_OK)
    code = j->f.sqlite3_prepare_v2(j->db, "INSERT INTO entry VALUES(?, ?, ?, ?, ?, ?)", -1, &q, NULL);
  if (code != SQLITE_OK)
    return code;
  code = j->f.sqlite3_bind_int64(q, 1, next) | bind_text(j, q, 2, e->at ? e->at : now) | bind_text(j, q, 3, e->kind) |
         bind_text(j, q, 4, e->text) | bind_text(j, q, 5, e->body ? e->body : "{}") |
         bind_text(j, q, 6, e->version ? e->version : LU_VERSION);
  code = finish(j, q, code);
  for (size_t i = 0; code == SQLITE_OK && i < e->file_count; i++)
    code = put_file(j, (uint64_t)next, i, &e->files[i]);
  *id = (uint64_t)next;
  return code;
}

static lu_status put_all(lu_job *j, const lu_job_entry *entries, size_t count, uint64_t *id, lu_err *err)
{
  int code = run_sql(j, "BEGIN IMMEDIATE");
  if (code != SQLITE_OK)
    return lu_job_failed(j, code, "write the job", err);
  for (size_t i = 0; code == SQLITE_OK && i < count; i++)
    code = put_entry(j, &entries[i], id);
  if (code == SQLITE_OK)
    code = run_sql(j, "COMMIT");
  if (code == SQLITE_OK)
    return LU_OK;
  lu_status bad = lu_job_failed(j, code, "write the job", err);
  run_sql(j, "ROLLBACK");
  return bad;
}

static lu_status sizes_fit(const lu_job_entry *e, lu_err *err)
{
  if (e->file_count > LU_JOB_FILES_MOST)
    return lu_fail(err, LU_ERR_LIMIT, 0, 0, "more than %d files in one entry", LU_JOB_FILES_MOST);
  for (size_t i = 0; i < e->file_count; i++)
    if (e->files[i].bytes.len > LU_JOB_FILE_MOST) {
      lu_status s = lu_fail(err, LU_ERR_LIMIT, 0, 0, "a job holds files of up to %d bytes, this one has %zu", LU_JOB_FILE_MOST,
                            e->files[i].bytes.len);
      return lu_fail_source(err, s, e->files[i].name);
    }
  return LU_OK;
}

lu_status lu_job_append(lu_job *job, const lu_job_entry *entry, uint64_t *id, lu_err *err)
{
  uint64_t unused;
  lu_status bad = sizes_fit(entry, err);
  return bad ? bad : put_all(job, entry, 1, id ? id : &unused, err);
}

static void sync_folder(const char *path)
{
  char dir[4200];
  snprintf(dir, sizeof dir, "%s", path);
  char *slash = strrchr(dir, '/');
  if (slash)
    slash[slash == dir] = '\0';
  int fd = open(slash ? dir : ".", O_RDONLY | O_DIRECTORY | O_CLOEXEC);
  if (fd >= 0) {
    (void)fsync(fd);
    close(fd);
  }
}

static lu_status fill_new(lu_job *j, const char *path, const lu_job_entry *entries, size_t count, lu_err *err)
{
  uint64_t id;
  int code = open_db(j, path, SQLITE_OPEN_READWRITE | SQLITE_OPEN_CREATE);
  if (code == SQLITE_OK)
    code = run_sql(j, "PRAGMA journal_mode = WAL; PRAGMA synchronous = FULL;");
  if (code == SQLITE_OK)
    code = run_sql(j, layout);
  return code == SQLITE_OK ? put_all(j, entries, count, &id, err) : lu_job_failed(j, code, "make the job", err);
}

/* Made under another name and then linked to its own: nobody ever sees half a job. */
lu_status lu_job_create(const char *path, const lu_job_entry *entries, size_t count, lu_err *err)
{
  struct stat st;
  char part[4200];
  lu_job *j;
  lu_status bad = LU_OK;
  for (size_t i = 0; !bad && i < count; i++)
    bad = sizes_fit(&entries[i], err);
  if (bad)
    return bad;
  if (!stat(path, &st))
    return lu_fail_source(err, lu_fail(err, LU_ERR_VALUE, 0, 0, "something of that name is there already"), path);
  snprintf(part, sizeof part, "%s.%ld.part", path, (long)getpid());
  bad = new_job(path, LU_JOB_WRITE, &j, err);
  if (bad)
    return bad;
  bad = fill_new(j, part, entries, count, err);
  if (err && err->source == j->path)
    err->source = path;
  lu_job_close(j);
  if (!bad && link(part, path))
    bad = lu_fail_source(err, lu_fail(err, errno == EEXIST ? LU_ERR_VALUE : LU_ERR_IO, 0, 0, "cannot make the job: %s", strerror(errno)), path);
  static const char *const tails[] = {"", "-wal", "-shm", "-journal"};
  for (size_t i = 0; i < 4; i++) {
    char name[4300];
    snprintf(name, sizeof name, "%s%s", part, tails[i]);
    unlink(name);
  }
  sync_folder(path);
  return bad;
}

/* --- reading --------------------------------------------------------------------------------------- */

static const char *column_text(lu_job *j, sqlite3_stmt *q, int at, lu_arena *mem)
{
  const char *t = (const char *)j->f.sqlite3_column_text(q, at);
  return lu_arena_text(mem, t ? t : "", (size_t)j->f.sqlite3_column_bytes(q, at));
}

static int read_entries(lu_job *j, lu_arena *mem, lu_job_entry **out, size_t *count)
{
  sqlite3_stmt *q = NULL;
  size_t room = 0;
  *out = NULL;
  *count = 0;
  int code = j->f.sqlite3_prepare_v2(j->db, "SELECT id, at, kind, text, body, version FROM entry ORDER BY id", -1, &q, NULL);
  while (code == SQLITE_OK && (code = j->f.sqlite3_step(q)) == SQLITE_ROW) {
    lu_job_entry *p = lu_arena_grow(mem, *out, *count, &room, sizeof *p);
    if (!p) {
      code = SQLITE_NOMEM;
      break;
    }
    *out = p;
    p[(*count)++] = (lu_job_entry){.id = (uint64_t)j->f.sqlite3_column_int64(q, 0),
                                   .at = column_text(j, q, 1, mem),
                                   .kind = column_text(j, q, 2, mem),
                                   .text = column_text(j, q, 3, mem),
                                   .body = column_text(j, q, 4, mem),
                                   .version = column_text(j, q, 5, mem)};
    code = p[*count - 1].version && p[*count - 1].body && p[*count - 1].kind ? SQLITE_OK : SQLITE_NOMEM;
  }
  j->f.sqlite3_finalize(q);
  return code == SQLITE_DONE ? SQLITE_OK : code;
}

static int read_files(lu_job *j, lu_arena *mem, lu_job_entry *list, size_t count)
{
  sqlite3_stmt *q = NULL;
  size_t at = 0, room = 0;
  int code = j->f.sqlite3_prepare_v2(j->db, "SELECT entry, role, name, sha256, len FROM file ORDER BY entry, place", -1, &q, NULL);
  while (code == SQLITE_OK && (code = j->f.sqlite3_step(q)) == SQLITE_ROW) {
    uint64_t id = (uint64_t)j->f.sqlite3_column_int64(q, 0);
    code = SQLITE_OK;
    while (at < count && list[at].id < id) {
      at++;
      room = 0;
    }
    if (at == count || list[at].id != id)
      continue;
    lu_job_file *p = lu_arena_grow(mem, list[at].files, list[at].file_count, &room, sizeof *p);
    if (!p) {
      code = SQLITE_NOMEM;
      break;
    }
    list[at].files = p;
    p[list[at].file_count++] = (lu_job_file){.role = column_text(j, q, 1, mem),
                                             .name = column_text(j, q, 2, mem),
                                             .sha256 = column_text(j, q, 3, mem),
                                             .len = (uint64_t)j->f.sqlite3_column_int64(q, 4)};
  }
  j->f.sqlite3_finalize(q);
  return code == SQLITE_DONE ? SQLITE_OK : code;
}

lu_status lu_job_entries(lu_job *job, lu_arena *mem, lu_job_entry **out, size_t *count, lu_err *err)
{
  int code = run_sql(job, "BEGIN");
  if (code == SQLITE_OK)
    code = read_entries(job, mem, out, count);
  if (code == SQLITE_OK)
    code = read_files(job, mem, *out, *count);
  lu_status bad = code == SQLITE_OK ? LU_OK : lu_job_failed(job, code, "read the job", err);
  run_sql(job, "ROLLBACK");
  return bad;
}

lu_status lu_job_bytes(lu_job *job, const char *sha256, lu_arena *mem, lu_bytes *out, lu_err *err)
{
  sqlite3_stmt *q = NULL;
  lu_status bad = LU_OK;
  int code = job->f.sqlite3_prepare_v2(job->db, "SELECT bytes FROM content WHERE sha256 = ?", -1, &q, NULL);
  if (code == SQLITE_OK)
    code = bind_text(job, q, 1, sha256);
  if (code == SQLITE_OK)
    code = job->f.sqlite3_step(q);
  if (code == SQLITE_ROW) {
    const void *at = job->f.sqlite3_column_blob(q, 0);
    size_t len = (size_t)job->f.sqlite3_column_bytes(q, 0);
    char *copy = lu_arena_take(mem, len + 1);
    if (copy && len)
      memcpy(copy, at, len);
    *out = (lu_bytes){(const uint8_t *)copy, len};
    bad = copy ? LU_OK : lu_fail(err, LU_ERR_NOMEM, 0, 0, "no room");
  } else if (code == SQLITE_DONE) {
    bad = lu_fail_source(err, lu_fail(err, LU_ERR_MISSING, 0, 0, "the job has no file of digest %.64s", sha256), job->path);
  } else {
    bad = lu_job_failed(job, code, "read the job", err);
  }
  job->f.sqlite3_finalize(q);
  return bad;
}

#else

/* Built without SQLite's header: every way in says so. */
static lu_status absent(lu_err *err)
{
  return lu_fail(err, LU_ERR_DEVICE, 0, 0, "this lineup was built without SQLite and has no jobs");
}

lu_status lu_job_create(const char *path, const lu_job_entry *entries, size_t count, lu_err *err)
{
  (void)path, (void)entries, (void)count;
  return absent(err);
}

lu_status lu_job_open(const char *path, lu_job_mode mode, lu_job **out, lu_err *err)
{
  (void)path, (void)mode, (void)out;
  return absent(err);
}

void lu_job_close(lu_job *job)
{
  (void)job;
}

lu_status lu_job_append(lu_job *job, const lu_job_entry *entry, uint64_t *id, lu_err *err)
{
  (void)job, (void)entry, (void)id;
  return absent(err);
}

lu_status lu_job_entries(lu_job *job, lu_arena *mem, lu_job_entry **out, size_t *count, lu_err *err)
{
  (void)job, (void)mem, (void)out, (void)count;
  return absent(err);
}

lu_status lu_job_bytes(lu_job *job, const char *sha256, lu_arena *mem, lu_bytes *out, lu_err *err)
{
  (void)job, (void)sha256, (void)mem, (void)out;
  return absent(err);
}

lu_status lu_job_check(lu_job *job, lu_arena *mem, const char ***problems, size_t *count, lu_err *err)
{
  (void)job, (void)mem, (void)problems, (void)count;
  return absent(err);
}
#endif
