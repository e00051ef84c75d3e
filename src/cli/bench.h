/* SPDX-License-Identifier: MIT */
#ifndef LU_CLI_BENCH_H
#define LU_CLI_BENCH_H
/* What the commands that work on a job share: the job opened, its history, its files standing in
 * for those on the disk, its board. A dump or log that is on no disk (take and verify put them straight into the
 * job) is found by its name. */
#include "cli/session.h"
#include "job/job.h"

typedef struct lu_bench {
  lu_session *s;
  lu_job *job;
  const char *path;
  size_t count;
  lu_job_entry *entries;      /* entries[i].id == i + 1 */
  const lu_job_entry *board;  /* the last board entry, or NULL */
  const lu_job_entry *focus;  /* files of this entry, too, are taken from the job; NULL: none */
} lu_bench;

/* Opens a job over the session; errors in s->err with the job's path as source. */
LU_MUST_USE lu_status lu_bench_open(lu_session *s, const char *path, lu_job_mode mode, lu_bench **out);
void lu_bench_close(lu_bench *b);

/* Loads the job's board into the session. ERR_MISSING if the job has none. */
LU_MUST_USE lu_status lu_bench_board(lu_bench *b);
/* The name of the board file, as it was given, or NULL. */
const char *lu_bench_board_name(const lu_bench *b);

/* The board that the job works with: its own, or the file given (NULL: none), which then becomes its own.
 * LU_OK without a board when there is neither; ERR_USAGE when there are both. */
LU_MUST_USE lu_status lu_bench_choose_board(lu_bench *b, const char *path);

/* Adds an entry; body is a json_t object that is freed. */
struct json_t;
LU_MUST_USE lu_status lu_bench_add(lu_bench *b, const char *kind, const char *text, struct json_t *body, lu_job_file *files,
                                   size_t file_count, uint64_t *id);

/* Prints an entry that was just added, for --json: "lineup", "id", "kind", "text" and what more (freed) holds. */
LU_MUST_USE lu_status lu_bench_say(lu_bench *b, uint64_t id, const char *kind, const char *text, struct json_t *more);

/* The session's files from number `first` on, once each, by role: those named in dumps are "dump",
 * the others `role`. *count receives how many. NULL: no memory. */
lu_job_file *lu_bench_files(lu_session *s, size_t first, const lu_texts *dumps, const char *role, size_t *count);

/* The entry of that number, or NULL. */
const lu_job_entry *lu_bench_entry(const lu_bench *b, uint64_t id);
/* The number of the last repair; 0: none. */
uint64_t lu_bench_last_repair(const lu_bench *b);

#endif
