/* SPDX-License-Identifier: MIT */
/* lineup verify: test patterns on a live memory, or a ROM against what it must hold. */
#include "base/io.h"
#include "base/text.h"
#include "cli/livedecode.h"
#include "cli/stop.h"
#include "cli/verifyplan.h"
#include "formats/dumpform.h"
#include "link/clock.h"
#include "link/codes.h"
#include "link/verify.h"

#include <inttypes.h>
#include <jansson.h>
#include <stdlib.h>
#include <string.h>

enum { LISTED_MOST = 65536, SHOWN_MOST = 8, RETRY_MOST = 65536, ROUND_MOST = 1000000, LOG_MOST = 64 << 20 };

typedef struct args {
  lu_link_args link;
  lu_link_where where;
  lu_texts patterns;
  const char *image, *crc32, *sha1, *sha256, *log, *first, *hours, *byte_order, *hold;
  uint64_t times, most_errors;
  double rest;
  bool json;
  FILE *result;           /* --json: where the object goes; all else goes to the messages */
  lu_texts operands;
} args;

/* One run: what on_failure fills. */
typedef struct bench {
  lu_run *run;
  const args *a;
  lu_hooks *hooks;
  lu_link_block *b;
  lu_live live;
  lu_verify_plan plan;
  unsigned data_bits;
  lu_inflow log;          /* text lines: address, expected, got */
  lu_inflow one;          /* the same, of what failed since the last judgement: one pattern's failures */
  uint64_t one_count;
  uint64_t listed, seen;
  uint16_t wrong_bits;
  uint64_t most;
} bench;

/* ---- a failure, as soon as it is there ---- */

/* "march-c-minus, pass 1, element 2, operation 1": as decode --log takes it; operations count within their
 * element. Empty where no pattern ran. */
static void which_read(const bench *b, const lu_failure *f, char *text, size_t len)
{
  *text = 0;
  for (size_t i = 0; f->pattern && i < b->plan.count; i++)
    if (b->plan.patterns[i]->name == f->pattern && f->element < b->plan.patterns[i]->element_count) {
      snprintf(text, len, "%s, pass %" PRIu32 ", element %u, operation %u", f->pattern, f->pass + 1, f->element + 1u,
               f->op - b->plan.patterns[i]->elements[f->element].first_op + 1);
      return;
    }
  if (f->pattern) /* contents that were held */
    snprintf(text, len, "%s", f->pattern);
}

static void show(bench *b, const lu_failure *f)
{
  int digits = b->data_bits > 8 ? 4 : 2;
  char which[128];
  fprintf(b->run->out, "0x%06" PRIx64 ": expected %0*x, got %0*x", lu_link_byte(b->b, f->address), digits, f->expected, digits,
          f->got);
  which_read(b, f, which, sizeof which);
  if (*which)
    fprintf(b->run->out, "  (%s)", which);
  fputc('\n', b->run->out);
  fflush(b->run->out);
}

/* The one place that all failures pass. Lists them for the log and for decode; ends the run when there are
 * enough. */
static bool on_failure(void *to, const lu_failure *f)
{
  bench *b = to;
  int digits = b->data_bits > 8 ? 4 : 2;
  char line[192], which[128] = "";
  b->wrong_bits |= f->expected ^ f->got;
  if (b->seen++ < SHOWN_MOST)
    show(b, f);
  if (b->listed == LISTED_MOST)
    return b->seen < b->most;
  /* rows and columns were gone through in another order than a pattern says: which read it was would mislead */
  if (!b->b->row_bits)
    which_read(b, f, which, sizeof which);
  /* byte addresses, as everywhere in dumps and logs */
  int n = snprintf(line, sizeof line, "%04" PRIx64 " %0*x %0*x%s%s\n", lu_link_byte(b->b, f->address), digits, f->expected, digits,
                   f->got, *which ? "  " : "", which);
  b->listed += lu_inflow_add(&b->log, line, (size_t)n, NULL) == LU_OK;
  b->one_count += lu_inflow_add(&b->one, line, (size_t)n, NULL) == LU_OK;
  return b->seen < b->most;
}

/* Marks for decode --log: which addresses were gone through, and that what is not listed was read right. */
static bool add_end(const bench *b, lu_inflow *log, uint64_t count)
{
  char line[128];
  uint64_t from = b->b->from * b->b->bytes;
  int n = snprintf(line, sizeof line, "# tested %" PRIx64 "-%" PRIx64 "\n# finished: %" PRIu64 " errors\n", from,
                   from + b->b->count * b->b->bytes - 1, count);
  return lu_inflow_add(log, line, (size_t)n, NULL) == LU_OK;
}

/* ---- a failure is judged before the run goes on ---- */
/* whole: the pattern came to its end. */
static void judge(bench *b, bool whole)
{
  if (b->one.len && (!whole || add_end(b, &b->one, b->one_count)))
    lu_live_judge_ram(&b->live, (lu_bytes){b->one.at, b->one.len});
  b->one.len = 0;
  b->one_count = 0;
}

/* ---- time ---- */
static void wait_us(void *to, uint64_t us)
{
  const lu_hooks *hooks = to;
  uint64_t end = lu_clock_us(NULL) + us;
  while (!lu_hooks_stop(hooks)) {
    uint64_t now = lu_clock_us(NULL);
    if (now >= end)
      return;
    uint64_t ms = (end - now) / 1000 + 1;
    lu_clock_pause(NULL, ms > 200 ? 200 : (unsigned)ms);
  }
}

/* "90s", "30m", "4h": seconds. */
static bool duration(const char *text, double *seconds)
{
  char *end;
  double v = strtod(text, &end);
  double unit = !strcmp(end, "h") ? 3600 : !strcmp(end, "m") ? 60 : !strcmp(end, "s") ? 1 : 0;
  *seconds = v * unit;
  return end != text && unit > 0 && v > 0 && *seconds < 1e7;
}

/* ---- addresses that failed before a repair ---- */
/* The reader's number of a word that stands at this byte address. */
static uint64_t reader_word(const lu_link_block *b, uint64_t address)
{
  uint64_t w = address / b->bytes;
  return b->row_bits ? (w & ((UINT64_C(1) << b->column_bits) - 1)) << b->row_bits | w >> b->column_bits : w;
}

static lu_status retry_list(const bench *b, lu_bytes text, const char *source, uint32_t **out, size_t *count, lu_err *err)
{
  const char *at = (const char *)text.at, *end = at + text.len, *line;
  uint32_t *list = LU_NEW(b->run->mem, uint32_t, RETRY_MOST);
  size_t n = 0, len;
  lu_status s = list ? LU_OK : lu_fail(err, LU_ERR_NOMEM, 0, 0, "no room for the addresses");
  for (uint32_t number = 1; s == LU_OK && lu_text_line(&at, end, &line, &len) && n < RETRY_MOST; number++) {
    size_t digits = 0;
    uint64_t v = 0, w;
    while (digits < len && lu_hex_digit((unsigned char)line[digits]) >= 0)
      digits++;
    if (!digits && (!len || *line == '#'))
      continue;
    bool number_there = lu_text_u64(line, digits, 16, UINT32_MAX, &v);
    w = reader_word(b->b, v);
    if (!number_there || w < b->b->from || w - b->b->from >= b->b->count)
      s = lu_fail(err, LU_ERR_SYNTAX, number, 1, "expected a hex byte address inside the memory, found '%.*s'",
                  (int)(len < 20 ? len : 20), line);
    else if (!n || list[n - 1] != w)
      list[n++] = (uint32_t)w;
  }
  *out = list;
  *count = n;
  return lu_fail_source(err, s, source);
}

/* The log of the job's last verify of this block, if that failed. */
static lu_status log_in_job(const bench *b, lu_bytes *out, const char **source, lu_err *err)
{
  const lu_bench *j = b->b->bench;
  for (size_t i = j ? j->count : 0; i-- > 0;) {
    const lu_job_entry *e = &j->entries[i];
    json_error_t je;
    if (strcmp(e->kind, "verify"))
      continue;
    json_t *body = json_loads(e->body, 0, &je);
    const char *block = json_string_value(json_object_get(body, "block"));
    bool same = block && !strcmp(block, b->b->name);
    json_decref(body);
    if (!same)
      continue;
    if (!e->file_count)
      return LU_OK; /* it passed */
    *source = lu_arena_printf(b->run->mem, "%s, entry %" PRIu64, b->a->where.job, e->id);
    return lu_job_bytes(j->job, e->files[0].sha256, b->run->mem, out, err);
  }
  return LU_OK;
}

static lu_status retry_first(bench *b, lu_verify *v, lu_verify_counts *c, lu_err *err)
{
  lu_file file = {0};
  lu_bytes text = {0};
  const char *source = b->a->first;
  uint32_t *list = NULL;
  size_t count = 0;
  lu_status s = source ? lu_file_open(source, LOG_MOST, &file, err) : log_in_job(b, &text, &source, err);
  if (s == LU_OK && source)
    s = retry_list(b, b->a->first ? file.bytes : text, source, &list, &count, err);
  if (b->a->first)
    lu_file_close(&file);
  if (s != LU_OK || !count)
    return s;
  s = lu_verify_addresses(v, list, count, c, err);
  fprintf(b->run->out, "addresses that failed before (%s): %zu tried, %" PRIu64 " errors\n", source, count, c->failures);
  if (s == LU_OK && c->failures)
    judge(b, false);
  return s;
}

/* ---- RAM ---- */
static bool rounds_left(const args *a, uint64_t round, double seconds, double whole)
{
  if (a->hours)
    return seconds < whole && round < ROUND_MOST;
  return round < (a->times ? a->times : 1);
}

/* Contents that wait in the memory without being touched. */
static lu_status hold(bench *b, double seconds, lu_verify_counts *c, lu_err *err)
{
  uint16_t *want = lu_live_contents(&b->live, "prbs23"), *got = lu_arena_big(b->run->mem, (size_t)b->b->count * sizeof *got);
  uint16_t all = b->data_bits >= 16 ? 0xFFFF : (uint16_t)((1u << b->data_bits) - 1);
  lu_status s = want && got ? LU_OK : lu_fail(err, LU_ERR_NOMEM, 0, 0, "no room for what is to be held");
  for (unsigned inverse = 0; s == LU_OK && inverse < 2 && !c->ended_early; inverse++) {
    uint32_t done = 0;
    for (uint64_t i = 0; inverse && i < b->b->count; i++)
      want[i] = (uint16_t)~want[i] & all;
    s = lu_live_hold(&b->live, want, got, &done, wait_us, b->hooks, (uint64_t)(seconds * 1e6), err);
    c->writes += b->b->count;
    c->reads += done;
    for (uint32_t i = 0; i < done && !c->ended_early; i++)
      if (got[i] != want[i]) {
        lu_failure f = {.address = (uint32_t)b->b->from + i, .expected = want[i], .got = got[i],
                        .pattern = inverse ? "held, inverse" : "held"};
        c->failures++;
        c->ended_early = !on_failure(b, &f);
      }
    c->ended_early |= lu_hooks_stop(b->hooks);
  }
  return s;
}

static lu_status one_round(bench *b, lu_verify *v, lu_verify_counts *c, lu_err *err)
{
  lu_status s = LU_OK;
  double seconds;
  for (size_t i = 0; s == LU_OK && i < b->plan.count && !c->ended_early; i++) {
    s = lu_verify_pattern(v, b->plan.patterns[i], c, err);
    judge(b, s == LU_OK && !c->ended_early);
  }
  if (s == LU_OK && !c->ended_early && b->a->hold && duration(b->a->hold, &seconds)) {
    s = hold(b, seconds, c, err);
    judge(b, false);
  }
  return s;
}

static lu_status run_rounds(bench *b, lu_verify *v, lu_verify_counts *c, uint64_t *rounds, lu_err *err)
{
  double whole = 0;
  lu_status s = LU_OK;
  uint64_t start = lu_clock_us(NULL);
  if (b->a->hours)
    duration(b->a->hours, &whole);
  *rounds = 0;
  while (s == LU_OK && !c->ended_early &&
         rounds_left(b->a, *rounds, (double)(lu_clock_us(NULL) - start) / 1e6, whole)) {
    if (*rounds && b->a->rest > 0)
      wait_us(b->hooks, (uint64_t)(b->a->rest * 1e6));
    s = one_round(b, v, c, err);
    *rounds += s == LU_OK && !c->ended_early;
  }
  return s;
}

/* ---- the end ---- */
typedef struct sum {
  const char *verdict;   /* "pass", "fail", "not finished" */
  uint64_t reads, writes, errors, rounds;
  double seconds;
} sum;

static void say_ram(const bench *b, const sum *x)
{
  FILE *out = b->run->out;
  fprintf(out, "%s: %" PRIu64 " words, %" PRIu64 " reads, %" PRIu64 " writes, %" PRIu64 " errors, %" PRIu64 " round%s, %.1f s\n",
          x->verdict, b->b->count, x->reads, x->writes, x->errors, x->rounds, x->rounds == 1 ? "" : "s", x->seconds);
  if (x->errors)
    fprintf(out, "data bits that were wrong: %04x\n", b->wrong_bits);
  if (x->rounds || x->errors)
    lu_verify_plan_say_coverage(b->run, &b->plan);
  else
    fputs("no round was finished: nothing is proved\n", out);
  if (*x->verdict == 'p')
    fprintf(out, "This proves that these cells kept what these patterns wrote, at this speed, supply and temperature%s.\n"
                 "It does not prove the faults that the coverage leaves out, retention beyond %s, the board's own "
                 "timing, other speeds, or contacts that fail when they are moved or warm.\n",
            b->b->n ? ", and that the lines between the reader and them carried it" : "", b->a->hold ? b->a->hold : "the patterns' own pauses");
}

static json_t *body_of(const bench *b, const sum *x)
{
  json_t *body = json_pack("{s:s,s:s,s:I,s:I,s:I,s:I,s:I,s:f}", "block", b->b->name, "verdict", x->verdict, "words",
                           (json_int_t)b->b->count, "reads", (json_int_t)x->reads, "writes", (json_int_t)x->writes, "errors",
                           (json_int_t)x->errors, "rounds", (json_int_t)x->rounds, "seconds", x->seconds);
  if (b->a->where.vantage)
    json_object_set_new(body, "vantage", json_string(b->a->where.vantage));
  if (b->plan.count)
    json_object_set_new(body, "coverage", lu_verify_plan_json(&b->plan));
  return body;
}

/* --json: one object at the end. */
static int put_result(const bench *b, const sum *x)
{
  if (!b->a->json)
    return 0;
  json_t *o = body_of(b, x);
  json_object_set_new(o, "lineup", json_string(LU_VERSION));
  json_object_set_new(o, "wrong_bits", json_integer(b->wrong_bits));
  bool ok = o && json_dumpf(o, b->a->result, JSON_INDENT(1)) == 0 && fputc('\n', b->a->result) != EOF;
  json_decref(o);
  return ok ? 0 : LU_EXIT_SYSTEM;
}

/* The run as an entry of the job; the log of failures goes with it. */
static int into_job(bench *b, const sum *x)
{
  lu_bench *j = b->b->bench;
  if (!j)
    return 0;
  json_t *body = body_of(b, x);
  lu_job_file log = {.role = "log", .name = lu_link_block_name(b->b, "verify", "txt"), .bytes = {b->log.at, b->log.len}};
  const char *text = lu_arena_printf(b->run->mem, "%s of %s: %" PRIu64 " words, %" PRIu64 " reads, %" PRIu64 " errors, %.1f s", x->verdict,
                                     b->b->name, b->b->count, x->reads, x->errors, x->seconds);
  uint64_t id;
  if (lu_bench_add(j, "verify", text, body, &log, b->log.len ? 1 : 0, &id))
    return lu_say_error(b->run, &b->b->s->err);
  fprintf(b->run->err, "%s: entry %" PRIu64 "\n", b->a->where.job, id);
  return 0;
}

static int write_log(bench *b)
{
  lu_err err = {0};
  if (!b->a->log || !b->log.len)
    return 0;
  if (lu_file_write(b->a->log, b->log.at, b->log.len, &err) != LU_OK)
    return lu_say_error(b->run, &err);
  fprintf(b->run->err, "%s: %" PRIu64 " failures%s\n", b->a->log, b->listed,
          b->listed < b->seen ? " (the first ones)" : "");
  return 0;
}

static int verify_ram(bench *b, const lu_memio *m)
{
  lu_err err = {0};
  lu_verify_counts c = {0};
  lu_verify v = {.memory = m, .from = (uint32_t)b->b->from, .words = (uint32_t)b->b->count,
                 .hooks = b->hooks, .pause = wait_us, .pause_to = b->hooks, .on_failure = on_failure,
                 .to = b};
  uint64_t start = lu_clock_us(NULL), rounds = 0;
  lu_verify_plan_say(b->run, &b->plan);
  lu_status s = retry_first(b, &v, &c, &err);
  if (s == LU_OK)
    s = run_rounds(b, &v, &c, &rounds, &err);
  int code = s == LU_OK ? LU_EXIT_CLEAN : lu_say_error(b->run, &err);
  sum x = {.verdict = c.failures ? "fail" : s == LU_OK && !c.ended_early && rounds ? "pass" : "not finished",
           .reads = c.reads, .writes = c.writes, .errors = c.failures, .rounds = rounds,
           .seconds = (double)(lu_clock_us(NULL) - start) / 1e6};
  say_ram(b, &x);
  if (lu_stop_asked())
    fputs("stopped; the figures are up to here\n", b->run->err);
  if (s == LU_OK && !c.ended_early && b->listed == b->seen && b->log.len && !add_end(b, &b->log, b->listed))
    b->listed = 0;
  int logged = write_log(b), kept = into_job(b, &x), put = put_result(b, &x);
  if (code)
    return code;
  if (logged || kept || put)
    return logged ? logged : kept ? kept : put;
  return c.failures ? LU_EXIT_FAULTS : lu_stop_asked() ? LU_EXIT_SYSTEM : LU_EXIT_CLEAN;
}

/* ---- ROM ---- */
static bool wants_rom(const args *a)
{
  return a->image || a->crc32 || a->sha1 || a->sha256;
}

static bool same_digest(const char *wanted, const uint8_t *at, size_t len)
{
  char hex[2 * LU_SHA256_LEN + 1] = "";
  for (size_t i = 0; i < len; i++)
    snprintf(hex + 2 * i, 3, "%02x", at[i]);
  return lu_text_same(hex, wanted);
}

static bool digest_line(bench *b, const char *what, const char *wanted, const uint8_t *at, size_t len)
{
  bool same = same_digest(wanted, at, len);
  fprintf(b->run->out, "%s ", what);
  for (size_t i = 0; i < len; i++)
    fprintf(b->run->out, "%02x", at[i]);
  fprintf(b->run->out, same ? ", as it must be\n" : ", expected %s\n", wanted);
  return same;
}

static bool check_digests(bench *b, const uint8_t *at, size_t len)
{
  uint8_t out[LU_SHA256_LEN];
  bool same = true;
  if (b->a->crc32) {
    uint32_t crc = lu_crc32(0, at, len);
    for (unsigned i = 0; i < 4; i++)
      out[i] = (uint8_t)(crc >> (24 - 8 * i));
    same &= digest_line(b, "CRC-32", b->a->crc32, out, 4);
  }
  if (b->a->sha1) {
    lu_sha1(at, len, out);
    same &= digest_line(b, "SHA-1", b->a->sha1, out, LU_SHA1_LEN);
  }
  if (b->a->sha256) {
    lu_sha256(at, len, out);
    same &= digest_line(b, "SHA-256", b->a->sha256, out, LU_SHA256_LEN);
  }
  return same;
}

/* Each word that differs from the image goes to on_failure. The image begins where the range does
 * unless it has addresses. */
static lu_status check_image(bench *b, const uint8_t *at, size_t len, lu_err *err)
{
  lu_file file;
  lu_dump *d = NULL;
  lu_status s = lu_file_open(b->a->image, 64u << 20, &file, err);
  if (s != LU_OK)
    return s;
  s = lu_fail_source(err, lu_dumpform_guess(file.bytes)->read(file.bytes, b->run->mem, &d, err), b->a->image);
  size_t each = b->data_bits > 8 ? 2 : 1, compared = 0;
  /* an image without addresses begins where the block does */
  uint64_t base = b->b->from * each, start = b->b->n ? b->b->n->base_word * each : base;
  bool big = b->b->big;
  for (size_t i = 0; s == LU_OK && i < d->span_count; i++) {
    const lu_span *span = &d->spans[i];
    uint64_t from = d->has_addresses ? span->base : start + span->base;
    for (uint64_t k = 0; k + each <= span->len; k += each) {
      if (from + k < base || from + k + each > base + len)
        continue;
      const uint8_t *got = at + (from + k - base), *want = span->at + k;
      compared += each;
      if (memcmp(got, want, each)) {
        uint16_t w = (uint16_t)(each == 1 ? want[0] : big ? want[0] << 8 | want[1] : want[1] << 8 | want[0]);
        uint16_t g = (uint16_t)(each == 1 ? got[0] : big ? got[0] << 8 | got[1] : got[1] << 8 | got[0]);
        lu_failure f = {.address = (uint32_t)((from + k) / each), .expected = w, .got = g};
        on_failure(b, &f);
      }
    }
  }
  lu_file_close(&file);
  if (s == LU_OK && compared < len)
    return lu_fail_source(err, lu_fail(err, LU_ERR_VALUE, 0, 0,
                                       "the image covers %zu of the %zu bytes; --from and --count say which part",
                                       compared, len), b->a->image);
  return s;
}

static lu_status read_rom(bench *b, const lu_memio *m, uint16_t *words, uint32_t *done, lu_err *err)
{
  uint32_t count = (uint32_t)b->b->count;
  lu_status s = LU_OK;
  while (s == LU_OK && *done < count && !lu_hooks_stop(b->hooks)) {
    uint32_t n = count - *done < 4096 ? count - *done : 4096, got = 0;
    s = m->read(m->self, (uint32_t)b->b->from + *done, n, words + *done, &got, err);
    *done += got;
    lu_hooks_progress(b->hooks, *done, count);
  }
  return s;
}

static int verify_rom(bench *b, const lu_memio *m)
{
  lu_err err = {0};
  uint32_t count = (uint32_t)b->b->count, done = 0;
  uint64_t start = lu_clock_us(NULL);
  uint16_t *words = lu_arena_big(b->run->mem, (size_t)count * sizeof *words);
  lu_dump dump = {0};
  lu_status s = words ? read_rom(b, m, words, &done, &err) : lu_fail(&err, LU_ERR_NOMEM, 0, 0, "no room for %u words", count);
  if (s == LU_OK && done < count) {
    fprintf(b->run->err, "stopped after %" PRIu32 " of %" PRIu32 " words: nothing is proved\n", done, count);
    return LU_EXIT_SYSTEM;
  }
  if (s == LU_OK && lu_link_block_dump(b->b, words, count, &dump))
    return lu_say_error(b->run, &b->b->s->err);
  bool same = s == LU_OK && check_digests(b, dump.spans[0].at, (size_t)dump.spans[0].len);
  if (s == LU_OK && b->a->image)
    s = check_image(b, dump.spans[0].at, (size_t)dump.spans[0].len, &err);
  if (s != LU_OK)
    return lu_say_error(b->run, &err);
  same = same && !b->seen;
  if (!same)
    lu_live_judge_rom(&b->live, words, b->a->image);
  sum x = {.verdict = same ? "pass" : "fail", .reads = count, .errors = b->seen, .rounds = 1,
           .seconds = (double)(lu_clock_us(NULL) - start) / 1e6};
  fprintf(b->run->out, "%s: %" PRIu32 " words read, %" PRIu64 " differ, %.1f s\n", x.verdict, count, b->seen, x.seconds);
  if (same)
    fputs("This proves that the ROM gave its content once, every bit of it, at this speed; not that it does so at the "
          "board's own speed, nor (out of circuit) that its select and enable lines are driven right.\n",
          b->run->out);
  int logged = write_log(b), kept = into_job(b, &x), put = put_result(b, &x);
  return logged ? logged : kept ? kept : put ? put : same ? LU_EXIT_CLEAN : LU_EXIT_FAULTS;
}

static int check_args(lu_run *run, const args *a)
{
  const struct {
    const char *name, *text;
    size_t digits;
  } digests[] = {{"crc32", a->crc32, 8}, {"sha1", a->sha1, 40}, {"sha256", a->sha256, 64}};
  double seconds;
  for (size_t i = 0; i < 3; i++) {
    const char *t = digests[i].text;
    size_t n = 0;
    while (t && lu_hex_digit((unsigned char)t[n]) >= 0)
      n++;
    if (t && (n != digests[i].digits || t[n]))
      return lu_say_usage(run, "verify: --%s expects %zu hex digits, found '%.70s'", digests[i].name,
                          digests[i].digits, t);
  }
  if (a->hours && !duration(a->hours, &seconds))
    return lu_say_usage(run, "verify: --for expects a time as 90s, 30m or 4h, found '%.40s'", a->hours);
  if (a->hold && !duration(a->hold, &seconds))
    return lu_say_usage(run, "verify: --hold expects a time as 90s, 30m or 4h, found '%.40s'", a->hold);
  if (a->hours && a->times)
    return lu_say_usage(run, "verify: give either --for or --times, not both");
  if (a->byte_order && strcmp(a->byte_order, "big") && strcmp(a->byte_order, "little"))
    return lu_say_usage(run, "verify: --byte-order expects little or big, found '%.40s'", a->byte_order);
  if (a->rest < 0 || a->rest > 86400)
    return lu_say_usage(run, "verify: --rest expects 0 to 86400 seconds");
  return 0;
}

static bool is_rom(const args *a)
{
  return a->link.kind && !strcmp(a->link.kind, "rom");
}

/* The device is open. */
static int run_it(lu_run *run, bench *b, const lu_memio *m)
{
  int code;
  lu_meter meter;
  lu_stop_arm();
  lu_hooks hooks = lu_meter_start(&meter, run, "cycles");
  b->hooks = &hooks;
  b->live = (lu_live){.run = run, .b = b->b, .memory = m, .hooks = &hooks};
  code = wants_rom(b->a) ? verify_rom(b, m) : verify_ram(b, m);
  lu_meter_end(&meter);
  lu_stop_disarm();
  lu_inflow_free(&b->log);
  lu_inflow_free(&b->one);
  return code;
}

static lu_status readable(const char *path, lu_err *err)
{
  lu_file file;
  lu_status s = path ? lu_file_open(path, 64u << 20, &file, err) : LU_OK;
  if (path && s == LU_OK)
    lu_file_close(&file);
  return s;
}

static int with_block(lu_run *run, args *a, lu_link_block *block)
{
  lu_err err = {0};
  lu_memio m;
  bench *b = LU_NEW(run->mem, bench, 1);
  if (!b)
    return lu_say_usage(run, "out of memory"), LU_EXIT_SYSTEM;
  *b = (bench){.run = run, .a = a, .b = block, .most = a->most_errors ? a->most_errors : 1000};
  if (wants_rom(a) && !a->link.kind)
    a->link.kind = "rom";
  if (is_rom(a) && !wants_rom(a))
    return lu_say_usage(run, "verify: a ROM is held against --image, --crc32, --sha1 or --sha256");
  /* a wrong name must not cost the wait for a device */
  if (lu_link_may_write(a->log, &err) != LU_OK || readable(a->image, &err) != LU_OK || readable(a->first, &err) != LU_OK)
    return lu_say_error(run, &err);
  if (!wants_rom(a) && lu_verify_plan_make(block, &a->patterns, &b->plan))
    return lu_say_error(run, &block->s->err);
  if (lu_link_open_memory(run, &a->link, &m, &err) != LU_OK)
    return lu_say_error(run, &err);
  lu_link_block_settle(block, &a->link, m.data_bits, a->byte_order);
  b->data_bits = m.data_bits;
  int code = run_it(run, b, &m);
  m.close(m.self);
  return code;
}

static int verify(lu_run *run, void *opaque)
{
  args *a = opaque;
  lu_link_block block;
  int code = check_args(run, a);
  if (code)
    return code;
  if (!a->link.port && !a->link.ftdi)
    return lu_say_usage(run, "verify: say which device: --port PORT or --ftdi SERIAL; lineup take --list shows them");
  a->result = run->out;
  if (a->json)
    run->out = run->err;
  if (lu_link_block_open(run, &a->where, &a->link, &block))
    code = block.s ? lu_say_error(run, &block.s->err) : LU_EXIT_SYSTEM;
  else
    code = with_block(run, a, &block);
  lu_link_block_close(&block);
  run->out = a->result;
  return code;
}

static const lu_option options[] = {
    LU_LINK_WHERE_OPTIONS(args),
    {"pattern", 0, LU_OPT_LIST, offsetof(args, patterns), 0, 0, "NAME",
     "test pattern, by name or file; may be repeated (default: what the board needs)"},
    {"times", 'n', LU_OPT_NUMBER, offsetof(args, times), 1, 1000000, "N", "rounds (default 1)"},
    {"for", 'f', LU_OPT_TEXT, offsetof(args, hours), 0, 0, "TIME", "rounds until so long has passed: 90s, 30m, 4h"},
    {"rest", 0, LU_OPT_REAL, offsetof(args, rest), 0, 0, "SECONDS", "pause between rounds"},
    {"hold", 0, LU_OPT_TEXT, offsetof(args, hold), 0, 0, "TIME",
     "retention: contents stand untouched for so long in each round"},
    {"first", 0, LU_OPT_TEXT, offsetof(args, first), 0, 0, "FILE",
     "addresses that failed before (an earlier --log): tried before all (default: those in the job)"},
    {"log", 0, LU_OPT_TEXT, offsetof(args, log), 0, 0, "FILE", "write address, expected and got of each failure"},
    {"most-errors", 0, LU_OPT_NUMBER, offsetof(args, most_errors), 1, UINT32_MAX, "N", "end after N errors (default 1000)"},
    {"image", 'i', LU_OPT_TEXT, offsetof(args, image), 0, 0, "FILE", "ROM: what it must hold"},
    {"crc32", 0, LU_OPT_TEXT, offsetof(args, crc32), 0, 0, "HEX", "ROM: CRC-32 of a good one"},
    {"sha1", 0, LU_OPT_TEXT, offsetof(args, sha1), 0, 0, "HEX", "ROM: SHA-1 of a good one"},
    {"sha256", 0, LU_OPT_TEXT, offsetof(args, sha256), 0, 0, "HEX", "ROM: SHA-256 of a good one"},
    {"byte-order", 0, LU_OPT_TEXT, offsetof(args, byte_order), 0, 0, "ORDER",
     "of words wider than 8 bits: little or big (default: the board's, else little)"},
    LU_LINK_OPTIONS(args),
    {"json", 'j', LU_OPT_FLAG, offsetof(args, json), 0, 0, NULL, "one JSON object at the end; what else is said goes to standard error"},
    {0},
};

static const char *const examples[] = {
    "lineup verify --port /dev/ttyUSB0 --address-bits 15 --pattern march-c-minus --for 4h --log failures.txt",
    "lineup verify --port /dev/ttyUSB0 --job tide.job --block 'work RAM' --for 4h --hold 10s",
    "lineup verify --port /dev/ttyUSB0 --kind rom --address-bits 15 --image good.bin",
    NULL,
};

static const char *const notes[] = {
    "Patterns write: what is in a RAM is lost. Before a reader drives lines: take",
    "the processor out, or hold it with its bus let go; keep all levels at 5 V;",
    "never work on a board with live mains parts. See docs/live.md.",
    NULL,
};

const lu_command lu_command_verify = {
    .linked = true,
    .name = "verify",
    .summary = "test a memory over a link, once or for hours",
    .usage = "--port PORT|--ftdi SERIAL [-b BOARD --block NAME] [--job JOB] [OPTION ...]",
    .notes = notes,
    .options = options,
    .args_size = sizeof(args),
    .operands_offset = offsetof(args, operands),
    .most_operands = 0,
    .examples = examples,
    .run = verify,
};
