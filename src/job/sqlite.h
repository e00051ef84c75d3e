/* SPDX-License-Identifier: MIT */
#ifndef LU_JOB_SQLITE_H
#define LU_JOB_SQLITE_H
/* SQLite's functions by pointer (private to this room), and the store's own state. */
#include "job/job.h"

#ifdef LU_HAVE_SQLITE
#  include <sqlite3.h>

#  define LU_SQLITE_FUNCTIONS(X)                                                                   \
    X(sqlite3_open_v2)                                                                             \
    X(sqlite3_close)                                                                               \
    X(sqlite3_exec)                                                                                \
    X(sqlite3_free)                                                                                \
    X(sqlite3_errmsg)                                                                              \
    X(sqlite3_extended_errcode)                                                                    \
    X(sqlite3_busy_timeout)                                                                        \
    X(sqlite3_prepare_v2)                                                                          \
    X(sqlite3_step)                                                                                \
    X(sqlite3_reset)                                                                               \
    X(sqlite3_finalize)                                                                            \
    X(sqlite3_bind_int64)                                                                          \
    X(sqlite3_bind_text)                                                                           \
    X(sqlite3_bind_blob64)                                                                         \
    X(sqlite3_column_int64)                                                                        \
    X(sqlite3_column_text)                                                                         \
    X(sqlite3_column_blob)                                                                         \
    X(sqlite3_column_bytes)                                                                        \
    X(sqlite3_changes)

typedef struct lu_sqlite {
#  define X(f) __typeof__(f) *f;
  LU_SQLITE_FUNCTIONS(X)
#  undef X
} lu_sqlite;

struct lu_job {
  lu_sqlite f;
  sqlite3 *db;
  lu_job_mode mode;
  char path[4096];
};

/* What SQLite's code means to the person; keeps path as the source. */
lu_status lu_job_failed(lu_job *job, int code, const char *doing, lu_err *err);
#endif

#endif
