/* SPDX-License-Identifier: MIT */
#ifndef LU_JOB_JOB_H
#define LU_JOB_JOB_H
/* The job's store: one SQLite file that keeps everything about one board on the bench.
 *
 * A job is a history: entries numbered from 1, each with a time, a kind, a sentence, a JSON body
 * and any number of files. Entries are only ever added; the file itself refuses changes
 * (triggers), and taking something back is an entry too. What lu_job_append has acknowledged is on
 * the disk: write-ahead log with synchronous=FULL (https://www.sqlite.org/pragma.html, "synchronous").
 * Several processes may read while one writes; writers wait for each other.
 *
 * The library is loaded when a job is opened, so that other commands do not pay for it. */
#include "base/arena.h"
#include "base/err.h"
#include "base/text.h"

enum {
  LU_JOB_LAYOUT = 1,             /* of the tables; a file with a higher one is left alone */
  LU_JOB_FILE_MOST = 1000000000, /* bytes of one file: SQLite's own limit of a value */
  LU_JOB_FILES_MOST = 4096       /* of one entry */
};

typedef struct lu_job lu_job;

typedef struct lu_job_file {
  const char *role;     /* "board", "dump", "contents", "log", "run" ... */
  const char *name;     /* as the command line or the board file named it */
  const char *sha256;   /* 64 hex digits; set when read, computed when written */
  uint64_t len;         /* bytes */
  lu_bytes bytes;       /* to be written; not filled when entries are listed */
} lu_job_file;

typedef struct lu_job_entry {
  uint64_t id;          /* from 1; given by the store */
  const char *at;       /* "2026-03-01T14:05:09Z"; NULL when written = now */
  const char *kind;     /* "job", "board", "dump", "result", "reading", "undo", "note", "repair", "verify" */
  const char *text;     /* one line for people */
  const char *body;     /* a JSON object */
  const char *version;  /* of the program that wrote it; NULL when written = this one */
  size_t file_count;
  lu_job_file *files;
} lu_job_entry;

typedef enum lu_job_mode { LU_JOB_READ, LU_JOB_WRITE } lu_job_mode;

/* Makes a job of these entries; path must not exist yet. Either the whole job is there or none.
 * ERR_VALUE it exists already; ERR_IO; ERR_DEVICE no SQLite here. */
LU_MUST_USE lu_status lu_job_create(const char *path, const lu_job_entry *entries, size_t count, lu_err *err);

/* ERR_MISSING no such file; ERR_SYNTAX not a job or damaged; ERR_VALUE written by a newer program;
 * ERR_IO it cannot be written where it lies. *out is freed by lu_job_close (NULL is fine). */
LU_MUST_USE lu_status lu_job_open(const char *path, lu_job_mode mode, lu_job **out, lu_err *err);
void lu_job_close(lu_job *job);

/* Adds one entry with its files, all or nothing; returns once it is on the disk. *id may be NULL. */
LU_MUST_USE lu_status lu_job_append(lu_job *job, const lu_job_entry *entry, uint64_t *id, lu_err *err);

/* The whole history in order, as it was at one moment; everything in mem. */
LU_MUST_USE lu_status lu_job_entries(lu_job *job, lu_arena *mem, lu_job_entry **out, size_t *count, lu_err *err);
/* A file's bytes, in mem. ERR_MISSING if the job has none of that digest. */
LU_MUST_USE lu_status lu_job_bytes(lu_job *job, const char *sha256, lu_arena *mem, lu_bytes *out, lu_err *err);

/* Looks at everything: SQLite's own check, digests, numbering, JSON. problems[count]: one line
 * each, in mem; count 0 = sound. */
LU_MUST_USE lu_status lu_job_check(lu_job *job, lu_arena *mem, const char ***problems, size_t *count, lu_err *err);

/* Writes folder/job.json and folder/files/<sha256>; the folder must not exist or be empty. */
LU_MUST_USE lu_status lu_job_export(lu_job *job, const char *folder, lu_err *err);
/* Makes path from such a folder: the same entries with the same numbers, times and files. */
LU_MUST_USE lu_status lu_job_import(const char *folder, const char *path, lu_err *err);

#endif
