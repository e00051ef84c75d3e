/* SPDX-License-Identifier: MIT */
/* lineup job: the file that keeps everything about one board on the bench. */
#include "cli/bench.h"
#include "cli/boardview.h"
#include "cli/session.h"

#include "base/text.h"
#include <inttypes.h>
#include <jansson.h>
#include <stdlib.h>
#include <string.h>

typedef struct args {
  const char *board, *kind;
  bool json;
  lu_texts operands;
} args;

/* Untrusted text: control characters become '?'. */
static void put(FILE *f, const char *text)
{
  lu_text_put(f, text);
}

/* What was done to a job, for --json; more may be NULL, and is freed. */
static int say_done(lu_run *run, const char *job, json_t *more)
{
  json_t *o = json_pack("{s:s,s:o}", "lineup", LU_VERSION, "job", lu_json_text(job));
  bool ok = o && (!more || json_object_update(o, more) == 0) && json_dumpf(o, run->out, JSON_INDENT(1)) == 0 && fputc('\n', run->out) != EOF;
  json_decref(o);
  json_decref(more);
  return ok ? LU_EXIT_CLEAN : LU_EXIT_SYSTEM;
}

/* --- new --------------------------------------------------------------------------------------------- */

static lu_status make(lu_session *s, const args *a)
{
  lu_job_entry first[2] = {{.kind = "job", .text = "the job was opened", .body = "{}"}, {.kind = "board", .body = "{}"}};
  size_t count = 1;
  if (a->board) {
    lu_status bad = lu_session_board(s, a->board);
    if (bad)
      return bad;
    first[1].files = lu_bench_files(s, 0, NULL, "board", &first[1].file_count);
    first[1].text = lu_arena_printf(s->mem, "board '%s' from %s, %zu files", s->board->title ? s->board->title : "without a title",
                                    a->board, first[1].file_count);
    if (!first[1].files || !first[1].text)
      return lu_fail(&s->err, LU_ERR_NOMEM, 0, 0, "no room");
    count = 2;
  }
  return lu_job_create(a->operands.at[1], first, count, &s->err);
}

static int job_new(lu_run *run, lu_session *s, const args *a)
{
  lu_status bad = make(s, a);
  if (bad)
    return lu_say_error(run, &s->err);
  if (a->json)
    return say_done(run, a->operands.at[1], json_pack("{s:s,s:b}", "done", "new", "board", a->board != NULL));
  fprintf(run->out, "%s: a new job%s\n", a->operands.at[1], a->board ? ", with its board" : " without a board file");
  return LU_EXIT_CLEAN;
}

/* --- show, history ------------------------------------------------------------------------------------ */

static bool said_of(const lu_bench *b, const lu_job_entry *e, const char **by)
{
  for (size_t i = e->id; i < b->count; i++) {
    json_error_t je;
    if (strcmp(b->entries[i].kind, "undo"))
      continue;
    json_t *body = json_loads(b->entries[i].body, 0, &je);
    json_int_t of = json_integer_value(json_object_get(body, "of"));
    json_decref(body);
    if (of == (json_int_t)e->id) {
      *by = lu_arena_printf(b->s->mem, "  (taken back by %" PRIu64 ")", b->entries[i].id);
      return true;
    }
  }
  return false;
}

static void print_entry(lu_run *run, const lu_bench *b, const lu_job_entry *e)
{
  const char *gone = "";
  if (!strcmp(e->kind, "reading"))
    said_of(b, e, &gone);
  fprintf(run->out, "%5" PRIu64 "  %s  %-8s ", e->id, e->at, e->kind);
  put(run->out, e->text);
  put(run->out, gone ? gone : "");
  fputc('\n', run->out);
}

static json_t *entry_json(const lu_job_entry *e)
{
  json_error_t je;
  json_t *body = json_loads(e->body, 0, &je), *files = json_array();
  for (size_t i = 0; i < e->file_count; i++)
    json_array_append_new(files, json_pack("{s:s,s:o,s:s,s:I}", "role", e->files[i].role, "name", lu_json_text(e->files[i].name), "sha256",
                                           e->files[i].sha256, "bytes", (json_int_t)e->files[i].len));
  return json_pack("{s:I,s:s,s:s,s:o,s:s,s:o,s:o}", "id", (json_int_t)e->id, "at", e->at, "kind", e->kind, "text", lu_json_text(e->text),
                   "version", e->version, "body", body ? body : json_object(), "files", files);
}

static int history(lu_run *run, lu_bench *b, const args *a)
{
  json_t *list = json_array();
  for (size_t i = 0; i < b->count; i++) {
    if (a->kind && strcmp(a->kind, b->entries[i].kind))
      continue;
    if (a->json)
      json_array_append_new(list, entry_json(&b->entries[i]));
    else
      print_entry(run, b, &b->entries[i]);
  }
  json_t *o = json_pack("{s:s,s:o}", "lineup", LU_VERSION, "history", list);
  bool ok = !a->json || (json_dumpf(o, run->out, JSON_INDENT(1)) == 0 && fputc('\n', run->out) != EOF);
  json_decref(o);
  return ok ? LU_EXIT_CLEAN : LU_EXIT_SYSTEM;
}

static size_t count_of(const lu_bench *b, const char *kind)
{
  size_t n = 0;
  for (size_t i = 0; i < b->count; i++)
    n += !strcmp(b->entries[i].kind, kind);
  return n;
}

static const lu_job_entry *last_of(const lu_bench *b, const char *kind)
{
  for (size_t i = b->count; i-- > 0;)
    if (!strcmp(b->entries[i].kind, kind))
      return &b->entries[i];
  return NULL;
}

static int show(lu_run *run, lu_bench *b, const args *a)
{
  static const char *const kinds[] = {"dump", "result", "reading", "undo", "repair", "note"};
  const lu_job_entry *result = last_of(b, "result");
  if (a->json) {
    json_t *counts = json_object();
    for (size_t i = 0; i < sizeof kinds / sizeof *kinds; i++)
      json_object_set_new(counts, kinds[i], json_integer((json_int_t)count_of(b, kinds[i])));
    json_t *o = json_pack("{s:s,s:s,s:I,s:o,s:o,s:o}", "lineup", LU_VERSION, "opened", b->entries[0].at, "entries", (json_int_t)b->count,
                          "counts", counts, "board", b->board ? entry_json(b->board) : json_null(), "result",
                          result ? entry_json(result) : json_null());
    bool ok = json_dumpf(o, run->out, JSON_INDENT(1)) == 0 && fputc('\n', run->out) != EOF;
    json_decref(o);
    return ok ? LU_EXIT_CLEAN : LU_EXIT_SYSTEM;
  }
  fprintf(run->out, "Job opened %s, %zu entries\n", b->entries[0].at, b->count);
  fputs("  ", run->out);
  put(run->out, b->board ? b->board->text : "no board file");
  fputc('\n', run->out);
  for (size_t i = 0; i < sizeof kinds / sizeof *kinds; i++)
    if (count_of(b, kinds[i]))
      fprintf(run->out, "  %zu %s%s\n", count_of(b, kinds[i]), kinds[i], count_of(b, kinds[i]) == 1 ? "" : "s");
  if (result) {
    fprintf(run->out, "Last result (entry %" PRIu64 ", %s): ", result->id, result->at);
    put(run->out, result->text);
    fputc('\n', run->out);
  }
  return LU_EXIT_CLEAN;
}

/* --- note, check, export --------------------------------------------------------------------------------- */

static int note(lu_run *run, lu_bench *b, const args *a)
{
  const char *text = "";
  for (size_t i = 2; i < a->operands.count && text; i++)
    text = lu_arena_printf(run->mem, "%s%s%s", text, i > 2 ? " " : "", a->operands.at[i]);
  uint64_t id;
  lu_status bad = lu_bench_add(b, "note", text, json_object(), NULL, 0, &id);
  if (bad)
    return lu_say_error(run, &b->s->err);
  if (a->json)
    return lu_bench_say(b, id, "note", text, json_object()) ? lu_say_error(run, &b->s->err) : LU_EXIT_CLEAN;
  fprintf(run->out, "%" PRIu64 "  noted\n", id);
  return LU_EXIT_CLEAN;
}

static int check(lu_run *run, lu_session *s, const args *a)
{
  lu_job *job;
  const char **problems = NULL;
  size_t count = 0;
  lu_status bad = lu_job_open(a->operands.at[1], LU_JOB_READ, &job, &s->err);
  if (bad)
    return lu_say_error(run, &s->err);
  bad = lu_job_check(job, s->mem, &problems, &count, &s->err);
  int code = bad ? (s->err.source = a->operands.at[1], lu_say_error(run, &s->err)) : count ? LU_EXIT_INPUT : LU_EXIT_CLEAN;
  json_t *list = a->json && !bad ? json_array() : NULL;
  for (size_t i = 0; list && i < count; i++)
    json_array_append_new(list, lu_json_text(problems[i]));
  if (list && say_done(run, a->operands.at[1], json_pack("{s:s,s:b,s:o}", "done", "check", "sound", !count, "problems", list)))
    code = LU_EXIT_SYSTEM;
  if (!bad && !count && !a->json)
    fprintf(run->out, "%s: sound\n", a->operands.at[1]);
  for (size_t i = 0; !bad && i < count; i++) {
    fprintf(run->err, "lineup: %s: ", a->operands.at[1]);
    put(run->err, problems[i]);
    fputc('\n', run->err);
  }
  lu_job_close(job);
  return code;
}

static int export_job(lu_run *run, lu_bench *b, const args *a)
{
  lu_status bad = lu_job_export(b->job, a->operands.at[2], &b->s->err);
  if (bad)
    return lu_say_error(run, &b->s->err);
  if (a->json)
    return say_done(run, b->path, json_pack("{s:s,s:o}", "done", "export", "folder", lu_json_text(a->operands.at[2])));
  fprintf(run->out, "%s: job.json and files written\n", a->operands.at[2]);
  return LU_EXIT_CLEAN;
}

static int import_job(lu_run *run, lu_session *s, const args *a)
{
  lu_status bad = lu_job_import(a->operands.at[1], a->operands.at[2], &s->err);
  if (bad)
    return lu_say_error(run, &s->err);
  if (a->json)
    return say_done(run, a->operands.at[2], json_pack("{s:s,s:o}", "done", "import", "folder", lu_json_text(a->operands.at[1])));
  fprintf(run->out, "%s: a job again\n", a->operands.at[2]);
  return LU_EXIT_CLEAN;
}

/* --- the command ------------------------------------------------------------------------------------------- */

typedef struct verb {
  const char *name, *usage;
  size_t least, most;      /* operands with the verb */
  int (*alone)(lu_run *, lu_session *, const args *);
  lu_job_mode mode;
  int (*on_job)(lu_run *, lu_bench *, const args *);
} verb;

static const verb verbs[] = {
    {"new", "[--board FILE] JOB", 2, 2, job_new, LU_JOB_READ, NULL},
    {"show", "[--json] JOB", 2, 2, NULL, LU_JOB_READ, show},
    {"history", "[--kind KIND] [--json] JOB", 2, 2, NULL, LU_JOB_READ, history},
    {"note", "JOB TEXT...", 3, LU_TEXTS_MOST, NULL, LU_JOB_WRITE, note},
    {"export", "JOB FOLDER", 3, 3, NULL, LU_JOB_READ, export_job},
    {"check", "JOB", 2, 2, check, LU_JOB_READ, NULL},
    {"import", "FOLDER JOB", 3, 3, import_job, LU_JOB_READ, NULL},
};
enum { VERBS = sizeof verbs / sizeof *verbs };

static const verb *find_verb(lu_run *run, const args *a)
{
  const char *names[VERBS];
  for (size_t i = 0; i < VERBS; i++) {
    names[i] = verbs[i].name;
    if (strcmp(verbs[i].name, a->operands.at[0]))
      continue;
    if (a->operands.count >= verbs[i].least && a->operands.count <= verbs[i].most)
      return &verbs[i];
    lu_say_usage(run, "job %s: usage: lineup job %s %s", verbs[i].name, verbs[i].name, verbs[i].usage);
    return NULL;
  }
  const char *near = lu_text_nearest(a->operands.at[0], names, VERBS);
  lu_say_usage(run, "job: expected new, show, history, note, export, check or import, found '%s'%s%s", a->operands.at[0],
               near ? "; the nearest is " : "", near ? near : "");
  return NULL;
}

static int job(lu_run *run, void *opaque)
{
  const args *a = opaque;
  const verb *v = find_verb(run, a);
  lu_session *s = v ? lu_session_new(run) : NULL;
  lu_bench *b = NULL;
  if (!s)
    return LU_EXIT_INPUT;
  int code;
  if (v->alone)
    code = v->alone(run, s, a);
  else if (lu_bench_open(s, a->operands.at[1], v->mode, &b))
    code = lu_say_error(run, &s->err);
  else
    code = v->on_job(run, b, a);
  lu_bench_close(b);
  lu_session_end(s);
  return code;
}

static const lu_option options[] = {
    {"board", 'b', LU_OPT_TEXT, offsetof(args, board), 0, 0, "FILE", "new: the board file; it and its netlists are copied in"},
    {"kind", 'k', LU_OPT_TEXT, offsetof(args, kind), 0, 0, "KIND", "history: only job, board, dump, result, reading, undo, repair or note"},
    {"json", 'j', LU_OPT_FLAG, offsetof(args, json), 0, 0, NULL, "one JSON object"},
    {0},
};

static const char *const examples[] = {
    "lineup job new --board docs/demo/tide.yaml tide.job",
    "lineup job note tide.job 'battery taken out, crust brushed off'",
    "lineup job history tide.job",
    "lineup job check tide.job",
    NULL,
};

const lu_command lu_command_job = {
    .name = "job",
    .summary = "keep everything about one board on the bench in one file",
    .usage = "new|show|history|note|export|check|import JOB ...",
    .options = options,
    .args_size = sizeof(args),
    .operands_offset = offsetof(args, operands),
    .least_operands = 1,
    .most_operands = LU_TEXTS_MOST,
    .examples = examples,
    .run = job,
};
