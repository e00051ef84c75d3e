/* SPDX-License-Identifier: MIT */
#ifndef LU_CLI_RECORD_H
#define LU_CLI_RECORD_H
/* What decode leaves in a job: the dumps with all that is needed to judge them again, and the
 * result. */
#include "cli/bench.h"
#include "api/readings.h"
#include "data/finding.h"
#include "reason/explain.h"

typedef struct lu_record {
  const lu_reading_args *args;
  const char *run;             /* run file, or NULL */
  const lu_texts *dumps;
  size_t first_file;           /* the session's first file that is not the board's */
  const lu_reading *readings;
  size_t count;
} lu_record;

/* *id: the dump's entry. */
LU_MUST_USE lu_status lu_record_dump(lu_bench *b, const lu_record *r, uint64_t *id);
/* The repairs since these blocks were last read are held against the finding; *held (may be NULL) says in
 * lines of text what became of what they should have cured, or is NULL. */
LU_MUST_USE lu_status lu_record_result(lu_bench *b, const lu_record *r, uint64_t dump, const lu_result *result,
                                       const lu_finding *f, const char **held);
/* The readings of one dump entry again, from the job's own files; on return its files are in focus. */
LU_MUST_USE lu_status lu_record_read(lu_bench *b, const lu_job_entry *dump, lu_reading **out, size_t *count);
/* What --json says of a finding, as a value; NULL if memory is refused. */
struct json_t *lu_record_finding_json(const lu_finding *f);

#endif
