/* SPDX-License-Identifier: MIT */
/* lineup verify: test patterns on a live memory, or a ROM against what it must hold. */
#include "base/io.h"
#include "base/text.h"
#include "cli/cmd.h"
#include "cli/linkargs.h"
#include "cli/stop.h"
#include "data/dump.h"
#include "formats/dumpform.h"
#include "link/clock.h"
#include "link/codes.h"
#include "link/verify.h"
#include "pattern/builtin.h"
#include "pattern/pattern.h"

#include <inttypes.h>
#include <stdlib.h>
#include <string.h>

enum { LISTED_MOST = 65536, SHOWN_MOST = 8, RETRY_MOST = 65536, ROUND_MOST = 1000000 };

typedef struct args {
  lu_link_args link;
  lu_texts patterns;
  const char *image, *crc32, *sha1, *sha256, *log, *first, *hours, *byte_order;
  uint64_t times, most_errors;
  double rest;
  lu_texts operands;
} args;

/* One run: what on_failure fills. The failures are what decoding will start from. */
typedef struct bench {
  lu_run *run;
  const args *a;
  lu_hooks *hooks;
  unsigned data_bits;
  lu_inflow log;          /* text lines: address, expected, got */
  uint64_t listed, seen;
  uint16_t wrong_bits;
  uint64_t most;
  lu_pattern **patterns;  /* that run, and how many */
  size_t pattern_count;
} bench;

/* ---- a failure, as soon as it is there ---- */

/* "march-c-minus, pass 1, element 2, operation 1": as decode --log takes it; operations count within their
 * element. Empty where no pattern ran. */
static void which_read(const bench *b, const lu_failure *f, char *text, size_t len)
{
  *text = 0;
  for (size_t i = 0; f->pattern && i < b->pattern_count; i++)
    if (b->patterns[i]->name == f->pattern && f->element < b->patterns[i]->element_count) {
      snprintf(text, len, "%s, pass %" PRIu32 ", element %u, operation %u", f->pattern, f->pass + 1, f->element + 1u,
               f->op - b->patterns[i]->elements[f->element].first_op + 1);
      return;
    }
}

static void show(bench *b, const lu_failure *f)
{
  int digits = b->data_bits > 8 ? 4 : 2;
  char which[128];
  fprintf(b->run->out, "0x%06" PRIx32 ": expected %0*x, got %0*x", f->address, digits, f->expected,
          digits, f->got);
  which_read(b, f, which, sizeof which);
  if (*which)
    fprintf(b->run->out, "  (%s)", which);
  fputc('\n', b->run->out);
}

/* The one place that all failures pass. Lists them for --log; ends the run when there are enough. */
static bool on_failure(void *to, const lu_failure *f)
{
  bench *b = to;
  int digits = b->data_bits > 8 ? 4 : 2;
  b->wrong_bits |= f->expected ^ f->got;
  if (b->seen++ < SHOWN_MOST)
    show(b, f);
  if (b->listed < LISTED_MOST) {
    char line[192], which[128];
    which_read(b, f, which, sizeof which);
    /* byte addresses, as everywhere in dumps and logs */
    uint64_t at = (uint64_t)f->address * (b->data_bits > 8 ? 2 : 1);
    int n = snprintf(line, sizeof line, "%04" PRIx64 " %0*x %0*x%s%s\n", at, digits, f->expected, digits, f->got,
                     *which ? "  " : "", which);
    b->listed += lu_inflow_add(&b->log, line, (size_t)n, NULL) == LU_OK;
  }
  return b->seen < b->most;
}

/* ---- patterns ---- */
static lu_status pattern_named(lu_arena *mem, const char *name, lu_pattern **out, lu_err *err)
{
  const char *names[256];
  size_t n = 0;
  for (size_t i = 0; i < lu_pattern_file_count; i++) {
    if (!strcmp(lu_pattern_files[i].name, name))
      return lu_fail_source(err, lu_pattern_read(lu_pattern_files[i].text, mem, out, err), name);
    if (n < 256)
      names[n++] = lu_pattern_files[i].name;
  }
  if (!strchr(name, '/') && !strchr(name, '.')) {
    const char *near = lu_text_nearest(name, names, n);
    return lu_fail(err, LU_ERR_USAGE, 0, 0, "no pattern '%.60s'%s%s", name,
                   near ? "; the nearest is " : "", near ? near : "");
  }
  lu_file file;
  lu_status s = lu_file_open(name, LU_PATTERN_BYTES_MOST, &file, err);
  if (s != LU_OK)
    return s;
  s = lu_fail_source(err, lu_pattern_read(file.bytes, mem, out, err), name);
  lu_file_close(&file);
  return s;
}

static lu_status patterns_of(const args *a, lu_arena *mem, lu_pattern **list, size_t *count, lu_err *err)
{
  /* Without a board nothing is known of its lines: the address in every word finds address lines that
   * are stuck, open or bridged, March C- all stuck, transition and unlinked coupling faults. */
  static const char *const usual[] = {"address", "march-c-minus"};
  const char *const *names = a->patterns.count ? a->patterns.at : usual;
  *count = a->patterns.count ? a->patterns.count : 2;
  lu_status s = LU_OK;
  for (size_t i = 0; s == LU_OK && i < *count; i++)
    s = pattern_named(mem, names[i], &list[i], err);
  return s;
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
static lu_status retry_list(const args *a, const lu_memio *m, lu_arena *mem, uint32_t **out, size_t *count,
                            lu_err *err)
{
  lu_file file;
  lu_status s = lu_file_open(a->first, 64u << 20, &file, err);
  if (s != LU_OK)
    return s;
  const char *at = (const char *)file.bytes.at, *end = at + file.bytes.len, *line;
  uint32_t *list = LU_NEW(mem, uint32_t, RETRY_MOST);
  size_t n = 0, len, shift = m->data_bits > 8 ? 1 : 0;
  if (!list)
    s = lu_fail(err, LU_ERR_NOMEM, 0, 0, "no room for the addresses");
  for (uint32_t number = 1; s == LU_OK && lu_text_line(&at, end, &line, &len) && n < RETRY_MOST; number++) {
    size_t digits = 0;
    uint64_t v;
    while (digits < len && lu_hex_digit((unsigned char)line[digits]) >= 0)
      digits++;
    if (!digits && (!len || *line == '#'))
      continue;
    if (!lu_text_u64(line, digits, 16, UINT32_MAX, &v) || v >> shift >= (uint64_t)1 << m->address_bits)
      s = lu_fail(err, LU_ERR_SYNTAX, number, 1, "expected a hex address inside the memory, found '%.*s'",
                  (int)(len < 20 ? len : 20), line);
    else if (!n || list[n - 1] != v >> shift)
      list[n++] = (uint32_t)(v >> shift);
  }
  lu_file_close(&file);
  *out = list;
  *count = n;
  return lu_fail_source(err, s, a->first);
}

/* ---- RAM ---- */
static bool rounds_left(const args *a, uint64_t round, double seconds, double whole)
{
  if (a->hours)
    return seconds < whole && round < ROUND_MOST;
  return round < (a->times ? a->times : 1);
}

static void say_ram(const bench *b, const lu_verify_counts *c, uint64_t rounds, double seconds, bool whole)
{
  FILE *out = b->run->out;
  const char *verdict = c->failures ? "fail" : whole ? "pass" : "not finished";
  fprintf(out, "%s: %" PRIu64 " reads, %" PRIu64 " writes, %" PRIu64 " errors, %" PRIu64
               " rounds, %.1f s\n",
          verdict, c->reads, c->writes, c->failures, rounds, seconds);
  if (c->failures)
    fprintf(out, "data bits that were wrong: %04x\n", b->wrong_bits);
  else if (whole)
    fputs("This proves that these cells kept what these patterns wrote, at this speed and temperature.\n"
          "It does not prove the board's own timing, other speeds, or contacts that fail when moved.\n",
          out);
}

static lu_status run_rounds(bench *b, lu_verify *v, lu_pattern **list, size_t count,
                            lu_verify_counts *c, uint64_t *rounds, lu_err *err)
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
    for (size_t i = 0; s == LU_OK && i < count && !c->ended_early; i++)
      s = lu_verify_pattern(v, list[i], c, err);
    *rounds += s == LU_OK && !c->ended_early;
  }
  return s;
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
  lu_pattern *list[LU_TEXTS_MOST];
  uint32_t *retry = NULL;
  size_t count = 0, retries = 0;
  lu_verify_counts c = {0};
  lu_verify v = {.memory = m, .from = (uint32_t)b->a->link.from, .words = (uint32_t)b->a->link.count,
                 .hooks = b->hooks, .pause = wait_us, .pause_to = b->hooks, .on_failure = on_failure,
                 .to = b};
  uint64_t start = lu_clock_us(NULL), rounds = 0;
  lu_status s = patterns_of(b->a, b->run->mem, list, &count, &err);
  b->patterns = list;
  b->pattern_count = count;
  if (s == LU_OK && b->a->first)
    s = retry_list(b->a, m, b->run->mem, &retry, &retries, &err);
  if (s == LU_OK && retries) {
    s = lu_verify_addresses(&v, retry, retries, &c, &err);
    fprintf(b->run->out, "addresses that failed before: %zu tried, %" PRIu64 " errors\n", retries,
            c.failures);
  }
  if (s == LU_OK)
    s = run_rounds(b, &v, list, count, &c, &rounds, &err);
  int code = s == LU_OK ? LU_EXIT_CLEAN : lu_say_error(b->run, &err);
  say_ram(b, &c, rounds, (double)(lu_clock_us(NULL) - start) / 1e6, s == LU_OK && !c.ended_early && rounds);
  if (lu_stop_asked())
    fputs("stopped; the figures are up to here\n", b->run->err);
  if (s == LU_OK && !c.ended_early && b->listed == b->seen && b->log.len) {
    /* so that decode --log knows that reads which are not listed were right */
    char line[128];
    uint64_t each = b->data_bits > 8 ? 2 : 1, from = b->a->link.from * each;
    int n = snprintf(line, sizeof line, "# tested %" PRIx64 "-%" PRIx64 "\n# finished: %" PRIu64 " errors\n", from,
                     from + b->a->link.count * each - 1, b->listed);
    b->listed = lu_inflow_add(&b->log, line, (size_t)n, NULL) == LU_OK ? b->listed : 0;
  }
  int logged = write_log(b);
  if (code)
    return code;
  if (logged)
    return logged;
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
  uint64_t base = b->a->link.from * each;
  bool big = b->a->byte_order && !strcmp(b->a->byte_order, "big");
  for (size_t i = 0; s == LU_OK && i < d->span_count; i++) {
    const lu_span *span = &d->spans[i];
    uint64_t from = d->has_addresses ? span->base : base + span->base;
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

static int verify_rom(bench *b, const lu_memio *m)
{
  lu_err err = {0};
  uint32_t count = (uint32_t)b->a->link.count, done = 0;
  uint64_t start = lu_clock_us(NULL);
  uint16_t *words = lu_arena_big(b->run->mem, (size_t)count * sizeof *words);
  lu_dump dump = {0};
  lu_status s = words ? LU_OK : lu_fail(&err, LU_ERR_NOMEM, 0, 0, "no room for %u words", count);
  while (s == LU_OK && done < count && !lu_hooks_stop(b->hooks)) {
    uint32_t n = count - done < 4096 ? count - done : 4096, got = 0;
    s = m->read(m->self, (uint32_t)b->a->link.from + done, n, words + done, &got, &err);
    done += got;
    lu_hooks_progress(b->hooks, done, count);
  }
  if (s == LU_OK && done < count) {
    fprintf(b->run->err, "stopped after %" PRIu32 " of %" PRIu32 " words: nothing is proved\n", done, count);
    return LU_EXIT_SYSTEM;
  }
  if (s == LU_OK)
    s = lu_link_dump(b->run->mem, b->a->link.from, words, count, m->data_bits,
                     b->a->byte_order && !strcmp(b->a->byte_order, "big"), &dump, &err);
  bool same = s == LU_OK && check_digests(b, dump.spans[0].at, (size_t)dump.spans[0].len);
  if (s == LU_OK && b->a->image)
    s = check_image(b, dump.spans[0].at, (size_t)dump.spans[0].len, &err);
  if (s != LU_OK)
    return lu_say_error(b->run, &err);
  same = same && !b->seen;
  fprintf(b->run->out, "%s: %" PRIu32 " words read, %" PRIu64 " differ, %.1f s\n", same ? "pass" : "fail",
          count, b->seen, (double)(lu_clock_us(NULL) - start) / 1e6);
  if (same)
    fputs("This proves that the ROM gave its content once at this speed; not that its select and enable\n"
          "lines are driven right on the board.\n", b->run->out);
  int logged = write_log(b);
  return logged ? logged : same ? LU_EXIT_CLEAN : LU_EXIT_FAULTS;
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
  if (a->byte_order && strcmp(a->byte_order, "big") && strcmp(a->byte_order, "little"))
    return lu_say_usage(run, "verify: --byte-order expects little or big, found '%.40s'", a->byte_order);
  if (a->rest < 0 || a->rest > 86400)
    return lu_say_usage(run, "verify: --rest expects 0 to 86400 seconds");
  return 0;
}

static int verify(lu_run *run, void *opaque)
{
  args *a = opaque;
  lu_err err = {0};
  lu_memio m;
  int code = check_args(run, a);
  if (code)
    return code;
  lu_pattern *list[LU_TEXTS_MOST];
  size_t count;
  /* a wrong name must not cost the wait for a device */
  lu_status s = patterns_of(a, run->mem, list, &count, &err);
  if (s == LU_OK && wants_rom(a) && !a->link.kind)
    a->link.kind = "rom";
  if (s == LU_OK)
    s = lu_link_open_memory(run, &a->link, &m, &err);
  if (s != LU_OK)
    return lu_say_error(run, &err);
  lu_meter meter;
  lu_stop_arm();
  lu_hooks hooks = lu_meter_start(&meter, run, "cycles");
  bench b = {.run = run, .a = a, .hooks = &hooks, .data_bits = m.data_bits,
             .most = a->most_errors ? a->most_errors : 10000};
  if (wants_rom(a)) {
    code = verify_rom(&b, &m);
  } else if (a->link.kind && !strcmp(a->link.kind, "rom")) {
    code = lu_say_usage(run, "verify: a ROM is held against --image, --crc32, --sha1 or --sha256");
  } else {
    code = verify_ram(&b, &m);
  }
  lu_meter_end(&meter);
  lu_stop_disarm();
  m.close(m.self);
  lu_inflow_free(&b.log);
  return code;
}

static const lu_option options[] = {
    {"pattern", 0, LU_OPT_LIST, offsetof(args, patterns), 0, 0, "NAME",
     "test pattern, by name or file; may be repeated (default: address, march-c-minus)"},
    {"times", 0, LU_OPT_NUMBER, offsetof(args, times), 1, 1000000, "N", "rounds (default 1)"},
    {"for", 0, LU_OPT_TEXT, offsetof(args, hours), 0, 0, "TIME", "rounds until so long has passed: 90s, 30m, 4h"},
    {"rest", 0, LU_OPT_REAL, offsetof(args, rest), 0, 0, "SECONDS", "pause between rounds"},
    {"first", 0, LU_OPT_TEXT, offsetof(args, first), 0, 0, "FILE",
     "addresses that failed before the repair (an earlier --log): tried before all"},
    {"log", 0, LU_OPT_TEXT, offsetof(args, log), 0, 0, "FILE", "write address, expected and got of each failure"},
    {"most-errors", 0, LU_OPT_NUMBER, offsetof(args, most_errors), 1, UINT32_MAX, "N", "end after N errors (default 10000)"},
    {"image", 0, LU_OPT_TEXT, offsetof(args, image), 0, 0, "FILE", "ROM: what it must hold"},
    {"crc32", 0, LU_OPT_TEXT, offsetof(args, crc32), 0, 0, "HEX", "ROM: CRC-32 of a good one"},
    {"sha1", 0, LU_OPT_TEXT, offsetof(args, sha1), 0, 0, "HEX", "ROM: SHA-1 of a good one"},
    {"sha256", 0, LU_OPT_TEXT, offsetof(args, sha256), 0, 0, "HEX", "ROM: SHA-256 of a good one"},
    {"byte-order", 0, LU_OPT_TEXT, offsetof(args, byte_order), 0, 0, "ORDER",
     "ROM wider than 8 bits: little (default) or big"},
    LU_LINK_OPTIONS(args),
    {0},
};

static const char *const examples[] = {
    "lineup verify --port /dev/ttyUSB0 --address-bits 15 --pattern march-c-minus --for 4h --log failures.txt",
    "lineup verify --port /dev/ttyUSB0 --kind rom --address-bits 15 --image good.bin",
    NULL,
};

const lu_command lu_command_verify = {
    .name = "verify",
    .summary = "test a memory over a link, once or for hours",
    .usage = "--port PORT|--ftdi SERIAL [OPTION ...]",
    .options = options,
    .args_size = sizeof(args),
    .operands_offset = offsetof(args, operands),
    .most_operands = 0,
    .examples = examples,
    .run = verify,
};
