/* SPDX-License-Identifier: MIT */
/* lineup take: what a link gives, into a dump file. */
#include "base/io.h"
#include "base/text.h"
#include "cli/cmd.h"
#include "cli/boardview.h"
#include "cli/linkblock.h"
#include "cli/record.h"
#include "cli/stop.h"
#include "formats/dumpform.h"
#include "link/ftdi.h"
#include "link/sampler.h"
#include "link/textlink.h"
#include "link/xmodem.h"

#include <inttypes.h>
#include <jansson.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

enum { PIECE = 4096 }; /* words between two looks at Ctrl-C */

typedef struct args {
  lu_link_args link;
  lu_link_where where;
  bool list, text, sample, levels, json, resume;
  lu_texts sends, names;
  const char *prompt, *as, *output, *form, *byte_order;
  uint64_t step, char_ms, line_ms, first_ms, idle_ms, passes, watch, sample_rate;
  lu_texts operands;
} args;

/* ---- --list ---- */
static void list_serial(lu_run *run, const lu_port *p, size_t n)
{
  for (size_t i = 0; i < n; i++) {
    fprintf(run->out, "%-16s", p[i].name ? p[i].name : "?");
    if (p[i].is_usb)
      fprintf(run->out, " usb %04x:%04x", p[i].vid, p[i].pid);
    const char *texts[] = {p[i].manufacturer, p[i].product, p[i].serial};
    for (size_t k = 0; k < 3; k++)
      if (texts[k])
        fprintf(run->out, "  %s", texts[k]);
    if (!p[i].is_usb && p[i].description)
      fprintf(run->out, "  %s", p[i].description);
    fputc('\n', run->out);
  }
}

static void put_maybe(json_t *o, const char *key, const char *text)
{
  if (text && *text)
    json_object_set_new(o, key, lu_json_text(text));
}

static int put_json(lu_run *run, json_t *o)
{
  bool ok = o && json_object_set_new(o, "lineup", json_string(LU_VERSION)) == 0 && json_dumpf(o, run->out, JSON_INDENT(1)) == 0 &&
            fputc('\n', run->out) != EOF;
  json_decref(o);
  return ok ? LU_EXIT_CLEAN : LU_EXIT_SYSTEM;
}

static json_t *list_json(const lu_port *p, size_t n, const lu_ftdi_device *chips, size_t k)
{
  json_t *ports = json_array(), *ftdi = json_array();
  for (size_t i = 0; i < n; i++) {
    json_t *o = json_object();
    put_maybe(o, "port", p[i].name);
    if (p[i].is_usb)
      json_object_set_new(o, "usb", json_sprintf("%04x:%04x", (unsigned)p[i].vid, (unsigned)p[i].pid));
    put_maybe(o, "manufacturer", p[i].manufacturer);
    put_maybe(o, "product", p[i].product);
    put_maybe(o, "serial", p[i].serial);
    put_maybe(o, "description", p[i].description);
    json_array_append_new(ports, o);
  }
  for (size_t i = 0; i < k; i++) {
    json_t *o = json_pack("{s:o}", "usb", json_sprintf("0403:%04x", (unsigned)chips[i].pid));
    put_maybe(o, "serial", chips[i].serial);
    put_maybe(o, "manufacturer", chips[i].manufacturer);
    put_maybe(o, "product", chips[i].product);
    json_array_append_new(ftdi, o);
  }
  return json_pack("{s:o,s:o}", "ports", ports, "ftdi", ftdi);
}

static int list(lu_run *run, bool json)
{
  lu_port *ports = NULL;
  lu_ftdi_device *chips = NULL;
  size_t n = 0, k = 0;
  lu_err serial_err = {0}, ftdi_err = {0};
  lu_status s = lu_serial_list(run->mem, &ports, &n, &serial_err);
  lu_status f = lu_ftdi_list(run->mem, &chips, &k, &ftdi_err);
  if (s != LU_OK && f != LU_OK)
    return lu_say_error(run, &serial_err);
  if (s != LU_OK || f != LU_OK) /* half an answer is one, but not in silence */
    lu_say_error(run, s != LU_OK ? &serial_err : &ftdi_err);
  if (json)
    return put_json(run, list_json(ports, n, chips, k));
  list_serial(run, ports, n);
  for (size_t i = 0; i < k; i++)
    fprintf(run->out, "--ftdi %-9s usb 0403:%04x  %s  %s\n",
            chips[i].serial && *chips[i].serial ? chips[i].serial : "any", chips[i].pid,
            chips[i].manufacturer ? chips[i].manufacturer : "(no permission to ask)",
            chips[i].product ? chips[i].product : "");
  if (!n && !k)
    fputs("no serial ports, no FTDI chips\n", run->out);
  return LU_EXIT_CLEAN;
}

/* ---- text ---- */
/* What came. From payload on it is what an XMODEM sender sent, if xmodem is set. */
typedef struct heard {
  lu_inflow flow;
  size_t payload;
  bool xmodem;
  bool broken; /* stopped or broke off: the last line may be half a one */
} heard;

static bool by_xmodem(const args *a)
{
  return a->as && !strncmp(a->as, "xmodem", 6);
}

static bool by_itself(const args *a)
{
  return !a->as || !strcmp(a->as, "auto");
}

/* What is wrong with the call, before a device is opened. */
static lu_status check_text(const args *a, lu_err *err)
{
  char text[512];
  size_t len;
  for (size_t i = 0; i < a->sends.count; i++) {
    lu_status s = lu_text_template(a->sends.at[i], a->link.from, a->link.count, text, sizeof text, &len, err);
    if (s != LU_OK)
      return s;
  }
  if (by_itself(a) || !strcmp(a->as, "xmodem") || !strcmp(a->as, "xmodem-sum") || lu_dumpform_named(a->as))
    return LU_OK;
  return lu_fail(err, LU_ERR_USAGE, 0, 0,
                 "--as expects auto, raw, ihex, srec, hextext, xmodem or xmodem-sum, found '%.40s'", a->as);
}

/* Bytes that stand for themselves begin at --from. An XMODEM sender fills its last block up with 1A: behind --count
 * bytes that is no content. */
static lu_status parse_raw(lu_run *run, const args *a, const heard *h, lu_bytes in, lu_dump **out, lu_err *err)
{
  uint64_t want = a->link.count;
  if (h->xmodem && want && in.len > want && in.len - want < 1024) {
    size_t end = in.len;
    while (end > want && in.at[end - 1] == 0x1A)
      end--;
    in.len = end == want ? end : in.len;
  }
  lu_status s = lu_dumpform_named("raw")->read(in, run->mem, out, err);
  if (s == LU_OK && (*out)->span_count) {
    (*out)->spans[0].base = a->link.from;
    (*out)->has_addresses = true;
  }
  return s;
}

/* in without the part of a line at its end. */
static lu_bytes whole_lines(lu_bytes in)
{
  while (in.len && in.at[in.len - 1] != '\n' && in.at[in.len - 1] != '\r')
    in.len--;
  return in;
}

static lu_status parse_text(lu_run *run, const args *a, const heard *h, lu_dump **out, lu_err *err)
{
  lu_bytes all = {h->flow.at + h->payload, h->flow.len - h->payload};
  const lu_dumpform *form = by_itself(a) || by_xmodem(a) ? NULL : lu_dumpform_named(a->as);
  if (form && form == lu_dumpform_named("raw"))
    return parse_raw(run, a, h, all, out, err);
  char *kept = lu_arena_take(run->mem, all.len + 1);
  if (!kept)
    return lu_fail(err, LU_ERR_NOMEM, 0, 0, "no room for %zu bytes", all.len);
  lu_bytes rows = {(const uint8_t *)kept, lu_text_sift(h->broken ? whole_lines(all) : all, kept)};
  bool text = lu_text_printable(all);
  if (!form && (h->xmodem || !text) && (!rows.len || !text)) {
    if (!h->xmodem)
      fprintf(run->err, "what came is no text: taken as raw bytes (--as says what it is)\n");
    return parse_raw(run, a, h, all, out, err);
  }
  if (!rows.len)
    return lu_fail(err, LU_ERR_SYNTAX, 0, 0,
                   "%zu bytes came, but no line of memory in hex is among them (--as raw takes bytes)", all.len);
  form = form ? form : lu_dumpform_guess(rows);
  return form->read(rows, run->mem, out, err);
}

/* Whether what came holds memory, as far as can be seen. */
static bool holds_memory(lu_run *run, const lu_inflow *flow)
{
  lu_bytes all = {flow->at, flow->len};
  char *kept = flow->len ? lu_arena_take(run->mem, flow->len) : NULL;
  return kept && (!lu_text_printable(all) || lu_text_sift(all, kept));
}

/* An XMODEM sender says nothing until it is invited. Whatever else is there keeps what came of the talk, said. */
static lu_status invite(lu_run *run, const lu_transport *t, const lu_hooks *hooks, heard *h, lu_status said, lu_err *err)
{
  lu_xmodem x = {.crc = true, .start_ms = 1000, .attempts = 4};
  lu_err own = {0};
  size_t before = h->flow.len;
  fprintf(run->err, "no memory came; asking for XMODEM (--as auto does)\n");
  lu_status s = lu_xmodem_receive(t, &x, hooks, &h->flow, &own);
  if (h->flow.len == before)
    return said;
  h->payload = before;
  h->xmodem = true;
  *err = own;
  return s;
}

static lu_status talk(lu_run *run, const lu_transport *t, const args *a, const lu_hooks *hooks, heard *h, lu_err *err)
{
  bool silent = false;
  lu_text_talk talk = {.sends = a->sends.at, .send_count = a->sends.count, .prompt = a->prompt,
                       .from = a->link.from, .count = a->link.count, .step = a->step,
                       .char_ms = (unsigned)a->char_ms, .line_ms = (unsigned)a->line_ms,
                       .first_ms = (unsigned)a->first_ms, .idle_ms = (unsigned)a->idle_ms, .silent = &silent};
  if (!by_xmodem(a)) {
    lu_status s = lu_text_take(t, &talk, hooks, &h->flow, err);
    bool ask = by_itself(a) && silent && !a->prompt && !lu_hooks_stop(hooks) && !holds_memory(run, &h->flow);
    return ask ? invite(run, t, hooks, h, s, err) : s;
  }
  h->xmodem = true;
  lu_xmodem x = {.crc = strcmp(a->as, "xmodem-sum") != 0};
  lu_status s = lu_text_send(t, &talk, hooks, err);
  return s == LU_OK ? lu_xmodem_receive(t, &x, hooks, &h->flow, err) : s;
}

static uint64_t dump_bytes(const lu_dump *d)
{
  uint64_t n = 0;
  for (size_t i = 0; i < d->span_count; i++)
    n += d->spans[i].len;
  return n;
}

static void say_dump(lu_run *run, const char *path, const lu_dump *d)
{
  fprintf(run->err, "%s: %" PRIu64 " bytes", path, dump_bytes(d));
  for (size_t i = 0; i < d->span_count && i < 4; i++)
    fprintf(run->err, "%s 0x%" PRIx64 " to 0x%" PRIx64, i ? "," : ":", d->spans[i].base,
            d->spans[i].base + d->spans[i].len - 1);
  fputs(d->span_count > 4 ? ", ...\n" : "\n", run->err);
}

/* ---- where a dump goes ---- */
typedef struct taken {
  lu_link_block *block;
  lu_texts names;      /* of the dumps, as the job is to know them */
  bool part;           /* stopped or broke off before the range's end */
} taken;

static uint64_t words_missing(const lu_dump *d)
{
  uint64_t n = 0;
  for (size_t i = 1; i < d->span_count; i++)
    n += d->spans[i].base - (d->spans[i - 1].base + d->spans[i - 1].len);
  return n;
}

/* Into the file, if one was asked for, and into the list of what goes into the job. */
static lu_status put_dump(lu_run *run, const args *a, taken *t, const char *path, const lu_dump *dump, lu_err *err)
{
  lu_inflow text;
  /* a part goes into a job with its addresses, so that decode knows where it stands */
  const char *form = a->form || a->output || !t->part ? a->form : "ihex";
  lu_status s = lu_link_form(path, form, dump, &text, err);
  if (s == LU_OK && a->output)
    s = lu_file_write(path, text.at ? (const void *)text.at : "", text.len, err);
  if (s == LU_OK && t->block->bench) {
    uint8_t *copy = lu_arena_big(run->mem, text.len + 1);
    if (!copy || t->names.count == LU_TEXTS_MOST)
      s = lu_fail(err, copy ? LU_ERR_LIMIT : LU_ERR_NOMEM, 0, 0, "no room for one more dump in the job");
    else if (text.len)
      memcpy(copy, text.at, text.len);
    if (s == LU_OK && lu_link_block_keep(t->block, path, (lu_bytes){copy, text.len}))
      t->names.at[t->names.count++] = path;
  }
  lu_inflow_free(&text);
  if (s != LU_OK)
    return s;
  say_dump(run, path, dump);
  bool raw = lu_dumpform_named("raw") == lu_link_dumpform(path, form, NULL);
  if (t->part && raw && t->block->n && !words_missing(dump))
    fprintf(run->err, "%s: decode takes this part with --at 0x%" PRIx64 "\n", path, dump->spans[0].base);
  if (words_missing(dump) && raw)
    fprintf(run->err, "%s: %" PRIu64 " bytes in between were not read and stand as FF; --form ihex leaves them out\n", path,
            words_missing(dump));
  return LU_OK;
}

/* All dumps as one entry: passes of one reading. */
static lu_status into_job(lu_run *run, const args *a, taken *t)
{
  lu_link_block *b = t->block;
  lu_session *s = b->s;
  lu_bytes in;
  lu_status bad = LU_OK;
  uint64_t id = 0;
  if (!b->bench || !t->names.count)
    return LU_OK;
  size_t first = s->file_count;
  for (size_t i = 0; !bad && i < t->names.count; i++)
    bad = lu_session_file(s, t->names.at[i], &in);
  bool part = !a->text && (t->part || (b->n ? b->from != b->n->base_word : b->from != 0));
  lu_reading_args how = {.block = b->n && b->n->block != LU_NONE ? b->name : NULL, .vantage = a->where.vantage,
                         .at = part ? lu_arena_printf(run->mem, "0x%" PRIx64, b->from * b->bytes) : NULL,
                         .width = b->n || b->data_bits <= 8 ? 0 : b->data_bits, .order = !b->n && b->big ? "big" : NULL};
  lu_reading of = {.name = b->name};
  lu_record r = {.args = &how, .dumps = &t->names, .first_file = first, .readings = &of, .count = 1};
  if (!bad)
    bad = lu_record_dump(b->bench, &r, &id);
  if (!bad)
    fprintf(run->err, "%s: entry %" PRIu64 "; lineup decode --job %s%s%s%s ... %s judges it\n", a->where.job, id, a->where.job,
            how.block ? " --block '" : "", how.block ? how.block : "", how.block ? "'" : "", t->names.at[0]);
  return bad;
}

static const char *first_name(lu_run *run, const args *a, lu_link_block *b)
{
  (void)run;
  const lu_dumpform *f = a->form ? lu_dumpform_named(a->form) : NULL;
  return a->output ? a->output : lu_link_block_name(b, "taken", f ? f->ending : "bin");
}

/* All bytes as they came, the dump that is in them, and the job. code: what is to be returned so far. */
static int keep_text(lu_run *run, const args *a, taken *to, const char *path, const heard *h, int code)
{
  lu_err err = {0};
  lu_dump *dump = NULL;
  const char *raw = lu_arena_printf(run->mem, "%s.raw", path);
  lu_status s = raw ? lu_file_write(raw, h->flow.at, h->flow.len, &err)
                    : lu_fail(&err, LU_ERR_NOMEM, 0, 0, "no room for a file name");
  bool kept = s == LU_OK;
  if (s == LU_OK)
    s = parse_text(run, a, h, &dump, &err);
  if (s == LU_OK)
    s = put_dump(run, a, to, path, dump, &err);
  if (s == LU_OK && into_job(run, a, to))
    code = lu_say_error(run, &to->block->s->err);
  if (s != LU_OK)
    code = lu_say_error(run, &err) == LU_EXIT_SYSTEM || code ? LU_EXIT_SYSTEM : LU_EXIT_INPUT;
  if (kept)
    fprintf(run->err, "%s: all %zu bytes as they came\n", raw, h->flow.len);
  return code;
}

static int take_text(lu_run *run, args *a, lu_link_block *block)
{
  lu_err err = {0};
  lu_transport t;
  taken to = {.block = block};
  if (block->n) { /* a device that prints memory counts bytes */
    a->link.from *= block->bytes;
    a->link.count *= block->bytes;
  }
  lu_link_block_settle(block, &a->link, 8, a->byte_order);
  const char *path = first_name(run, a, block);
  lu_status s = path ? check_text(a, &err) : lu_fail(&err, LU_ERR_NOMEM, 0, 0, "no room");
  if (s == LU_OK)
    s = lu_link_open_line(&a->link, &t, &err);
  if (s != LU_OK)
    return lu_say_error(run, &err);
  heard h = {.xmodem = false};
  lu_meter meter;
  lu_stop_arm();
  lu_hooks hooks = lu_meter_start(&meter, run, "bytes");
  s = talk(run, &t, a, &hooks, &h, &err);
  lu_meter_end(&meter);
  lu_stop_disarm();
  t.close(t.self);
  int code = s == LU_OK ? LU_EXIT_CLEAN : lu_say_error(run, &err);
  if (lu_stop_asked())
    code = LU_EXIT_SYSTEM;
  h.broken = code != LU_EXIT_CLEAN;
  if (code)
    fprintf(run->err, "%s after %zu bytes%s\n", lu_stop_asked() ? "stopped" : "broke off", h.flow.len,
            h.flow.len ? "; what came is kept" : "");
  if (h.flow.len)
    code = keep_text(run, a, &to, path, &h, code);
  lu_inflow_free(&h.flow);
  return code;
}

/* ---- our reader, or the host bus ---- */
static const char *pass_name(lu_run *run, const char *path, uint64_t pass)
{
  if (pass == 1)
    return path;
  const char *slash = strrchr(path, '/'), *dot = strrchr(path, '.');
  size_t stem = dot && dot > (slash ? slash + 1 : path) ? (size_t)(dot - path) : strlen(path);
  return lu_arena_printf(run->mem, "%.*s.pass%" PRIu64 "%s", (int)stem, path, pass, path + stem);
}

/* Reads the range from word *done on; *done words are in to, whatever comes back. */
static lu_status read_range(const lu_memio *m, const lu_link_args *a, const lu_hooks *hooks,
                            uint16_t *to, uint32_t *done, lu_err *err)
{
  lu_status s = LU_OK;
  while (s == LU_OK && *done < a->count && !lu_hooks_stop(hooks)) {
    uint64_t left = a->count - *done;
    uint32_t n = left < PIECE ? (uint32_t)left : PIECE, got = 0;
    s = m->read(m->self, (uint32_t)a->from + *done, n, to + *done, &got, err);
    *done += got;
    lu_hooks_progress(hooks, *done, a->count);
  }
  return s;
}

/* ---- going on with what an earlier call left ---- */
/* The words that the dump holds from the range's start on without a gap. */
static uint32_t words_there(const lu_link_block *b, const lu_dump *d, uint16_t *to)
{
  uint64_t first = b->from * b->bytes, n = 0;
  for (size_t i = 0; i < d->span_count; i++) {
    const lu_span *span = &d->spans[i];
    uint64_t base = d->has_addresses ? span->base : first + span->base;
    if (base > first || base + span->len <= first)
      continue;
    const uint8_t *at = span->at + (first - base);
    n = (base + span->len - first) / b->bytes;
    n = n < b->count ? n : b->count;
    for (uint64_t w = 0; w < n; w++, at += b->bytes)
      to[w] = (uint16_t)(b->bytes == 1 ? at[0] : b->big ? at[0] << 8 | at[1] : at[1] << 8 | at[0]);
  }
  return (uint32_t)n;
}

/* The last words that are there must be what the memory gives now. */
static lu_status still_same(const lu_memio *m, const lu_link_block *b, const uint16_t *words, uint32_t done,
                            lu_err *err)
{
  enum { CHECKED = 16 };
  uint16_t now[CHECKED];
  uint32_t n = done < CHECKED ? done : CHECKED, got = 0;
  lu_status s = n ? m->read(m->self, (uint32_t)b->from + done - n, n, now, &got, err) : LU_OK;
  if (s == LU_OK && n && memcmp(now, words + done - n, n * sizeof *now))
    return lu_fail(err, LU_ERR_VALUE, 0, 0,
                   "what it holds before 0x%" PRIx64 " is not what the memory gives now; take all of it anew, into another file",
                   lu_link_byte(b, b->from + done));
  return s;
}

static lu_status go_on(lu_run *run, const args *a, const lu_memio *m, const lu_link_block *b, uint16_t *words, uint32_t *done,
                       lu_err *err)
{
  lu_file file;
  lu_dump *d = NULL;
  const lu_dumpform *form = lu_link_dumpform(a->output, a->form, err);
  if (!form)
    return LU_ERR_USAGE;
  if (access(a->output, F_OK)) {
    fprintf(run->err, "%s: not there yet, beginning at the start\n", a->output);
    return LU_OK;
  }
  lu_status s = lu_file_open(a->output, 64u << 20, &file, err);
  if (s != LU_OK)
    return s;
  s = form->read(file.bytes, run->mem, &d, err);
  if (s == LU_OK)
    *done = words_there(b, d, words);
  lu_file_close(&file);
  if (s == LU_OK)
    s = still_same(m, b, words, *done, err);
  if (s == LU_OK)
    fprintf(run->err, "%s: %" PRIu32 " of %" PRIu64 " words are there\n", a->output, *done, b->count);
  return lu_fail_source(err, s, a->output);
}

static int write_pass(lu_run *run, const args *a, taken *to, uint64_t pass, const uint16_t *words, uint32_t done)
{
  lu_err err = {0};
  lu_dump dump;
  const char *first = to->names.count ? to->names.at[0] : first_name(run, a, to->block);
  const char *path = first ? pass_name(run, first, pass) : NULL;
  if (!path)
    return lu_say_usage(run, "take: no room for a file name"), LU_EXIT_SYSTEM;
  if (lu_link_block_dump(to->block, words, done, &dump))
    return lu_say_error(run, &to->block->s->err);
  return put_dump(run, a, to, path, &dump, &err) == LU_OK ? LU_EXIT_CLEAN : lu_say_error(run, &err);
}

static int take_pass(lu_run *run, const args *a, const lu_memio *m, taken *to, uint64_t pass, uint16_t *words)
{
  lu_err err = {0};
  lu_meter meter;
  lu_hooks hooks = lu_meter_start(&meter, run, "words");
  uint32_t done = 0;
  lu_status s = a->resume ? go_on(run, a, m, to->block, words, &done, &err) : LU_OK;
  if (s != LU_OK) {
    lu_meter_end(&meter);
    return lu_say_error(run, &err); /* the file stays as it is */
  }
  s = read_range(m, &a->link, &hooks, words, &done, &err);
  lu_meter_end(&meter);
  int code = s == LU_OK ? LU_EXIT_CLEAN : lu_say_error(run, &err);
  to->part = done < a->link.count;
  if (done) {
    int wrote = write_pass(run, a, to, pass, words, done);
    code = code ? code : wrote;
  }
  if (done < a->link.count) {
    fprintf(run->err, "%s after %" PRIu32 " of %" PRIu64 " words%s\n",
            lu_stop_asked() ? "stopped" : "broke off", done, a->link.count,
            done ? "; what was read is kept" : "");
    if (done && a->output && !to->block->row_bits && pass == 1)
      fprintf(run->err, "the same call with --resume goes on there\n");
    code = LU_EXIT_SYSTEM;
  }
  return code;
}

static int take_memory(lu_run *run, args *a, lu_link_block *block)
{
  taken to = {.block = block};
  lu_err err = {0};
  lu_memio m;
  lu_status s = lu_link_open_memory(run, &a->link, &m, &err);
  if (s != LU_OK)
    return lu_say_error(run, &err);
  lu_link_block_settle(block, &a->link, m.data_bits, a->byte_order);
  uint16_t *words = lu_arena_big(run->mem, (size_t)a->link.count * sizeof *words);
  int code = a->resume && block->row_bits
                 ? lu_say_usage(run, "take: rows and columns are read as a whole: --resume is not for them")
                 : LU_EXIT_CLEAN;
  if (!words)
    code = lu_say_usage(run, "no room for %" PRIu64 " words", a->link.count);
  lu_stop_arm();
  uint64_t passes = a->passes ? a->passes : 1;
  for (uint64_t p = 1; !code && p <= passes; p++)
    code = take_pass(run, a, &m, &to, p, words);
  lu_stop_disarm();
  if (into_job(run, a, &to)) {
    int kept = lu_say_error(run, &block->s->err);
    code = code ? code : kept;
  }
  m.close(m.self);
  return code;
}

/* ---- levels of the lines, and one line watched ---- */
static void print_levels(lu_run *run, const lu_reader_levels *l)
{
  fputs("line  let go  pulled up  driven low  driven high\n", run->out);
  for (unsigned i = 0; lu_reader_line(i); i++) {
    bool low = l->driven_low >> i & 1, high = l->driven_high >> i & 1;
    bool up = l->pulled_up >> i & 1, kept = l->let_go >> i & 1;
    fprintf(run->out, "%-4s  %6d  %9d  %10d  %11d%s\n", lu_reader_line(i), kept, up, low, high,
            low          ? "  held high, or shorted to supply"
            : !high      ? "  held low, or shorted to ground"
            : !up        ? "  pulled low"
            : kept       ? "  pulled high"
                         : "  free");
  }
}

static json_t *levels_json(const lu_reader_levels *l)
{
  json_t *list = json_array();
  for (unsigned i = 0; lu_reader_line(i); i++)
    json_array_append_new(list, json_pack("{s:s,s:i,s:i,s:i,s:i}", "line", lu_reader_line(i), "let_go", (int)(l->let_go >> i & 1), "pulled_up",
                                          (int)(l->pulled_up >> i & 1), "driven_low", (int)(l->driven_low >> i & 1), "driven_high",
                                          (int)(l->driven_high >> i & 1)));
  return list;
}

static int take_levels(lu_run *run, const args *a)
{
  lu_err err = {0};
  lu_reader *r = NULL;
  lu_status s = lu_link_open_reader(&a->link, &r, &err);
  if (s != LU_OK)
    return lu_say_error(run, &err);
  lu_reader_levels l;
  s = lu_reader_levels_now(r, &l, &err);
  json_t *all = s == LU_OK && a->json ? levels_json(&l) : NULL;
  if (s == LU_OK && !a->json)
    print_levels(run, &l);
  for (unsigned i = 0; s == LU_OK && a->watch && lu_reader_line(i); i++) {
    lu_reader_watch w;
    s = lu_reader_watch_pin(r, i, (unsigned)a->watch, &w, &err);
    if (s == LU_OK && all)
      json_object_update_new(json_array_get(all, i), json_pack("{s:I,s:f}", "changes", (json_int_t)w.changes, "high",
                                                               w.samples ? (double)w.high / w.samples : 0.0));
    else if (s == LU_OK && w.changes)
      fprintf(run->out, "%-4s  moves: %" PRIu32 " changes seen in %" PRIu64 " ms, high %.0f %%\n",
              lu_reader_line(i), w.changes, a->watch, w.samples ? 100.0 * w.high / w.samples : 0.0);
  }
  lu_reader_close(r);
  if (s == LU_OK && all)
    return put_json(run, json_pack("{s:o}", "levels", all));
  json_decref(all);
  return s == LU_OK ? LU_EXIT_CLEAN : lu_say_error(run, &err);
}

/* ---- sampling ---- */
static int take_sample(lu_run *run, const args *a)
{
  lu_err err = {0};
  lu_inflow flow = {0}, text = {.most = (size_t)1 << 30};
  lu_meter meter;
  uint64_t count = a->link.count ? a->link.count : 65536;
  uint32_t rate = a->sample_rate ? (uint32_t)a->sample_rate : 1000000;
  lu_stop_arm();
  lu_hooks hooks = lu_meter_start(&meter, run, "samples");
  lu_status s = lu_ftdi_sample(a->link.ftdi, rate, count, &hooks, &flow, &err);
  lu_meter_end(&meter);
  lu_stop_disarm();
  int code = s == LU_OK ? LU_EXIT_CLEAN : lu_say_error(run, &err);
  if (flow.len) {
    lu_err write_err = {0};
    s = lu_sampler_vcd((lu_bytes){flow.at, flow.len}, rate, a->names.at, a->names.count, &text,
                       &write_err);
    if (s == LU_OK)
      s = lu_file_write(a->output, text.at, text.len, &write_err);
    if (s != LU_OK)
      code = lu_say_error(run, &write_err);
    else
      fprintf(run->err, "%s: %zu samples of 8 lines, about %" PRIu32 " a second\n", a->output,
              flow.len, rate);
  }
  if (lu_stop_asked())
    code = LU_EXIT_SYSTEM;
  lu_inflow_free(&flow);
  lu_inflow_free(&text);
  return code;
}

static int take(lu_run *run, void *opaque)
{
  args *a = opaque;
  if (a->json && !a->list && !a->levels)
    return lu_say_usage(run, "take: --json goes with --list and --levels; what is read is the dump");
  if (a->list)
    return list(run, a->json);
  if (!a->link.port && !a->link.ftdi)
    return lu_say_usage(run, "take: say which device: --port PORT or --ftdi SERIAL; --list shows them");
  if (a->byte_order && strcmp(a->byte_order, "big") && strcmp(a->byte_order, "little"))
    return lu_say_usage(run, "take: --byte-order expects little or big, found '%.40s'", a->byte_order);
  if (a->levels)
    return take_levels(run, a);
  if (!a->output && (!a->where.job || a->sample))
    return lu_say_usage(run, "take: say where the dump goes: --output FILE%s", a->sample ? "" : ", --job JOB or both");
  if (a->resume && (!a->output || a->passes > 1 || a->text || a->sample))
    return lu_say_usage(run, "take: --resume goes on with the one dump in --output FILE; not with --passes, --text or --sample");
  if (a->form && !lu_dumpform_named(a->form)) {
    lu_err err = {0};
    lu_dump nothing = {0};
    lu_inflow none;
    lu_status s = lu_link_form("", a->form, &nothing, &none, &err); /* only says what is wrong */
    lu_inflow_free(&none);
    return s == LU_OK ? LU_EXIT_CLEAN : lu_say_error(run, &err);
  }
  lu_err cannot = {0};
  if (lu_link_may_write(a->output, &cannot) != LU_OK)
    return lu_say_error(run, &cannot);
  if (a->sample && !a->link.ftdi)
    return lu_say_usage(run, "take: --sample needs --ftdi SERIAL (or --ftdi any)");
  if (a->sample)
    return take_sample(run, a);
  lu_link_block block;
  int code;
  if (lu_link_block_open(run, &a->where, &a->link, &block))
    code = block.s ? lu_say_error(run, &block.s->err) : LU_EXIT_SYSTEM;
  else
    code = a->text ? take_text(run, a, &block) : take_memory(run, a, &block);
  lu_link_block_close(&block);
  return code;
}

static const lu_option options[] = {
    {"list", 'l', LU_OPT_FLAG, offsetof(args, list), 0, 0, NULL, "list serial ports and FTDI chips"},
    LU_LINK_WHERE_OPTIONS(args),
    {"output", 'o', LU_OPT_TEXT, offsetof(args, output), 0, 0, "FILE", "where the dump goes"},
    {"form", 0, LU_OPT_TEXT, offsetof(args, form), 0, 0, "FORM",
     "raw, ihex, srec or hextext (default: by the file's ending)"},
    {"byte-order", 0, LU_OPT_TEXT, offsetof(args, byte_order), 0, 0, "ORDER",
     "of words wider than 8 bits in the dump: little or big (default: the board's, else little)"},
    {"passes", 'n', LU_OPT_NUMBER, offsetof(args, passes), 1, 1000, "N", "read the range N times, one file each"},
    {"resume", 0, LU_OPT_FLAG, offsetof(args, resume), 0, 0, NULL, "go on behind what an earlier call left in --output FILE"},
    {"text", 't', LU_OPT_FLAG, offsetof(args, text), 0, 0, NULL, "the device prints its memory as text"},
    {"send", 's', LU_OPT_LIST, offsetof(args, sends), 0, 0, "TEXT",
     "text: send this; {from} {to} {count} stand for addresses, \\r for return; may be repeated"},
    {"prompt", 0, LU_OPT_TEXT, offsetof(args, prompt), 0, 0, "TEXT", "text: what the device prints when it is ready"},
    {"step", 0, LU_OPT_NUMBER, offsetof(args, step), 1, UINT32_MAX, "N", "text: ask for N addresses at a time"},
    {"char-delay", 0, LU_OPT_NUMBER, offsetof(args, char_ms), 0, 10000, "MS", "text: pause after each character sent"},
    {"line-delay", 0, LU_OPT_NUMBER, offsetof(args, line_ms), 0, 60000, "MS", "text: pause after each line sent"},
    {"wait", 0, LU_OPT_NUMBER, offsetof(args, first_ms), 1, 3600000, "MS", "text: for the first byte (default 10000)"},
    {"idle", 0, LU_OPT_NUMBER, offsetof(args, idle_ms), 1, 3600000, "MS",
     "text: silence that ends an answer (default 1000)"},
    {"as", 0, LU_OPT_TEXT, offsetof(args, as), 0, 0, "FORM",
     "text: what comes: auto (default), a dump form, xmodem or xmodem-sum"},
    {"levels", 0, LU_OPT_FLAG, offsetof(args, levels), 0, 0, NULL,
     "only show what each of the reader's lines reads as, driven and let go"},
    {"watch", 0, LU_OPT_NUMBER, offsetof(args, watch), 1, 1000, "MS", "levels: then watch each line for so long"},
    {"sample", 0, LU_OPT_FLAG, offsetof(args, sample), 0, 0, NULL,
     "sample the eight lines of an FTDI chip into a VCD capture"},
    {"sample-rate", 0, LU_OPT_NUMBER, offsetof(args, sample_rate), 100, 10000000, "HZ", "samples a second (default 1000000)"},
    {"name", 0, LU_OPT_LIST, offsetof(args, names), 0, 0, "NAME", "sample: name of the next line, from line 0"},
    LU_LINK_OPTIONS(args),
    {"json", 'j', LU_OPT_FLAG, offsetof(args, json), 0, 0, NULL, "list, levels: one JSON object"},
    {0},
};

static const char *const examples[] = {
    "lineup take --list",
    "lineup take --port /dev/ttyUSB0 -b docs/demo/tide.yaml --block 'work RAM' --job tide.job",
    "lineup take --port /dev/ttyUSB0 --kind rom --address-bits 15 --passes 3 -o rom.bin",
    "lineup take --port /dev/ttyUSB0 --text --send 'd {from} {to}\\r' --from 0x8000 --count 4k -o work.bin",
    NULL,
};

static const char *const notes[] = {
    "Before a reader drives lines: take the processor out, or hold it with its bus",
    "let go; keep all levels at 5 V; never work on a board with live mains parts.",
    "docs/reader-wiring.md says how to connect one.",
    NULL,
};

const lu_command lu_command_take = {
    .linked = true,
    .name = "take",
    .summary = "read a memory, or capture lines, over a link",
    .usage = "--port PORT|--ftdi SERIAL [-b BOARD --block NAME] -o FILE|--job JOB [OPTION ...]",
    .notes = notes,
    .options = options,
    .args_size = sizeof(args),
    .operands_offset = offsetof(args, operands),
    .most_operands = 0,
    .examples = examples,
    .run = take,
};
