/* SPDX-License-Identifier: MIT */
#define _GNU_SOURCE
#include "link/textlink.h"

#include <ctype.h>
#include <inttypes.h>
#include <stdio.h>
#include <string.h>

enum { SEND_MOST = 512, PIECE = 4096, SLICE_MS = 100 };

/* ---- templates ---- */
typedef struct writer {
  char *out;
  size_t room, len;
} writer;

static bool put(writer *w, char c)
{
  if (w->len >= w->room)
    return false;
  w->out[w->len++] = c;
  return true;
}

/* The part from \ on; returns characters used, 0 if it is none of ours. */
static size_t escape(const char *p, char *c)
{
  static const char from[] = "rnte\\{", to[] = "\r\n\t\033\\{";
  if (p[1] == 'x' && lu_hex_digit((unsigned char)p[2]) >= 0 &&
      lu_hex_digit((unsigned char)p[3]) >= 0) {
    *c = (char)(lu_hex_digit((unsigned char)p[2]) * 16 + lu_hex_digit((unsigned char)p[3]));
    return 4;
  }
  const char *at = p[1] ? strchr(from, p[1]) : NULL;
  if (!at)
    return 0;
  *c = to[at - from];
  return 2;
}

/* The part from { on; returns characters used, 0 if it is none of ours. */
static size_t number(const char *p, uint64_t from, uint64_t count, char text[32])
{
  static const char *const names[] = {"from", "to", "count"};
  const uint64_t values[] = {from, count ? from + count - 1 : from, count};
  for (size_t i = 0; i < 3; i++) {
    size_t n = 1 + strlen(names[i]);
    if (strncmp(p + 1, names[i], n - 1))
      continue;
    bool decimal = false;
    int width = 1;
    if (p[n] == ':') {
      n++;
      decimal = p[n] == 'd';
      n += decimal;
      if (isdigit((unsigned char)p[n])) {
        width = p[n++] - '0';
        if (isdigit((unsigned char)p[n]))
          width = width * 10 + p[n++] - '0';
      }
    }
    if (p[n] != '}' || width > 16)
      return 0;
    snprintf(text, 32, decimal ? "%0*" PRIu64 : "%0*" PRIX64, width, values[i]);
    return n + 1;
  }
  return 0;
}

lu_status lu_text_template(const char *template, uint64_t from, uint64_t count, char *out,
                           size_t room, size_t *len, lu_err *err)
{
  writer w = {out, room, 0};
  size_t all = strlen(template);
  for (const char *p = template; *p;) {
    char c = *p, text[32];
    size_t used = 1;
    bool fits = true;
    if (*p == '\\') {
      used = escape(p, &c);
      fits = put(&w, c);
    } else if (*p == '{') {
      used = number(p, from, count, text);
      for (const char *t = used ? text : ""; *t && fits; t++)
        fits = put(&w, *t);
    } else {
      fits = put(&w, c);
    }
    if (!used)
      return lu_fail_at(err, LU_ERR_USAGE, template, all, (size_t)(p - template),
                        "expected \\r \\n \\t \\e \\\\ \\{ \\xHH or {from} {to} {count}, found '%.12s'", p);
    if (!fits)
      return lu_fail(err, LU_ERR_USAGE, 0, 0, "what is sent is longer than %zu characters", room);
    p += used;
  }
  *len = w.len;
  return LU_OK;
}

/* ---- the talk ---- */
static lu_status type(const lu_transport *t, const lu_text_talk *talk, const char *text, size_t len,
                      lu_err *err)
{
  lu_status s = LU_OK;
  if (!talk->char_ms && !talk->line_ms)
    return t->write(t->self, (const uint8_t *)text, len, 5000, err);
  for (size_t i = 0; s == LU_OK && i < len; i++) {
    s = t->write(t->self, (const uint8_t *)text + i, 1, 5000, err);
    bool line = text[i] == '\n' || (text[i] == '\r' && (i + 1 == len || text[i + 1] != '\n'));
    unsigned ms = talk->char_ms + (line ? talk->line_ms : 0);
    if (ms)
      t->pause(t->self, ms);
  }
  return s;
}

lu_status lu_text_send(const lu_transport *t, const lu_text_talk *talk, const lu_hooks *hooks, lu_err *err)
{
  lu_status s = LU_OK;
  for (size_t i = 0; s == LU_OK && i < talk->send_count && !lu_hooks_stop(hooks); i++) {
    char text[SEND_MOST];
    size_t len = 0;
    s = lu_text_template(talk->sends[i], talk->from, talk->count, text, sizeof text, &len, err);
    if (s == LU_OK)
      s = type(t, talk, text, len, err);
  }
  return s;
}

typedef enum ended { BY_SILENCE, BY_PROMPT, BY_STOP } ended;

static bool ends_with(const lu_inflow *flow, size_t from, const char *text)
{
  size_t len = strlen(text);
  /* blanks behind a prompt do not matter */
  size_t end = flow->len;
  while (end > from && flow->at[end - 1] == ' ')
    end--;
  while (len && text[len - 1] == ' ')
    len--;
  return end - from >= len && !memcmp(flow->at + end - len, text, len);
}

/* What has come already when a stop is asked for. */
static lu_status take_waiting(const lu_transport *t, lu_inflow *flow, lu_err *err)
{
  uint8_t piece[PIECE];
  size_t got = 1;
  lu_status s = LU_OK;
  for (unsigned i = 0; s == LU_OK && got && i < 64; i++) {
    s = t->read(t->self, piece, sizeof piece, 1, &got, err);
    if (s == LU_OK)
      s = lu_inflow_add(flow, piece, got, err);
  }
  return s;
}

/* Takes in until the prompt, silence, or a stop. from: where in flow this answer begins. */
static lu_status listen(const lu_transport *t, const lu_text_talk *talk, const lu_hooks *hooks,
                        lu_inflow *flow, ended *how, lu_err *err)
{
  uint8_t piece[PIECE];
  size_t from = flow->len;
  unsigned first_ms = talk->first_ms ? talk->first_ms : 10000;
  unsigned idle_ms = talk->idle_ms ? talk->idle_ms : 1000;
  uint64_t quiet_since = t->now_us(t->self);
  for (;;) {
    size_t got = 0;
    if (talk->silent)
      *talk->silent = false;
    if (lu_hooks_stop(hooks)) {
      *how = BY_STOP;
      return take_waiting(t, flow, err);
    }
    lu_status s = t->read(t->self, piece, sizeof piece, SLICE_MS, &got, err);
    if (s == LU_OK)
      s = lu_inflow_add(flow, piece, got, err);
    if (s != LU_OK)
      return s;
    uint64_t now = t->now_us(t->self);
    if (got) {
      quiet_since = now;
      lu_hooks_progress(hooks, flow->len, 0);
      continue; /* a prompt only counts once nothing follows it */
    }
    if (talk->prompt && flow->len > from && ends_with(flow, from, talk->prompt)) {
      *how = BY_PROMPT;
      return LU_OK;
    }
    if (now - quiet_since >= (uint64_t)(flow->len > from ? idle_ms : first_ms) * 1000) {
      *how = BY_SILENCE;
      if (talk->silent)
        *talk->silent = true;
      return LU_OK;
    }
  }
}

static lu_status silence(const lu_transport *t, const lu_text_talk *talk, const lu_inflow *flow,
                         size_t from, lu_err *err)
{
  if (flow->len == from)
    return lu_fail(err, LU_ERR_DEVICE, 0, 0, "%s: nothing came within %u ms; check rate and wiring",
                   t->name, talk->first_ms ? talk->first_ms : 10000);
  char tail[33];
  size_t n = flow->len - from < 32 ? flow->len - from : 32;
  for (size_t i = 0; i < n; i++) {
    uint8_t c = flow->at[flow->len - n + i];
    tail[i] = c < 0x20 || c > 0x7E ? '.' : (char)c;
  }
  tail[n] = '\0';
  return lu_fail(err, LU_ERR_DEVICE, 0, 0, "%s: the prompt '%s' did not come; the last was '%s'",
                 t->name, talk->prompt, tail);
}

static lu_status send_all(const lu_transport *t, const lu_text_talk *talk, uint64_t from,
                          uint64_t count, const lu_hooks *hooks, lu_inflow *flow, bool *stopped,
                          lu_err *err)
{
  for (size_t i = 0; i < talk->send_count; i++) {
    char text[SEND_MOST];
    size_t len = 0, before = flow->len;
    ended how = BY_SILENCE;
    lu_status s = lu_text_template(talk->sends[i], from, count, text, sizeof text, &len, err);
    if (s == LU_OK)
      s = type(t, talk, text, len, err);
    if (s == LU_OK)
      s = listen(t, talk, hooks, flow, &how, err);
    if (s == LU_OK && how == BY_SILENCE && (flow->len == before || talk->prompt))
      s = silence(t, talk, flow, before, err);
    if (s != LU_OK)
      return s;
    if (how == BY_STOP) {
      *stopped = true;
      return LU_OK;
    }
  }
  return LU_OK;
}

/* Until the prompt shows: a device may be asleep, an empty line wakes it. */
static lu_status find_prompt(const lu_transport *t, const lu_text_talk *talk, const lu_hooks *hooks,
                             bool *stopped, lu_err *err)
{
  lu_inflow before = {0};
  lu_text_talk quick = *talk;
  quick.first_ms = 500;
  ended how = BY_SILENCE;
  lu_status s = listen(t, &quick, hooks, &before, &how, err);
  for (unsigned i = 0; s == LU_OK && how == BY_SILENCE && i < 3; i++) {
    s = type(t, talk, "\r", 1, err);
    if (s == LU_OK)
      s = listen(t, &quick, hooks, &before, &how, err);
  }
  if (s == LU_OK && how == BY_SILENCE)
    s = silence(t, talk, &before, 0, err);
  *stopped = how == BY_STOP;
  lu_inflow_free(&before);
  return s;
}

lu_status lu_text_take(const lu_transport *t, const lu_text_talk *talk, const lu_hooks *hooks,
                       lu_inflow *flow, lu_err *err)
{
  bool stopped = false;
  ended how = BY_SILENCE;
  size_t before = flow->len;
  lu_status s = LU_OK;
  if (!talk->send_count) {
    s = listen(t, talk, hooks, flow, &how, err);
    if (s == LU_OK && how == BY_SILENCE && flow->len == before)
      s = silence(t, talk, flow, before, err);
    return s;
  }
  if (talk->prompt)
    s = find_prompt(t, talk, hooks, &stopped, err);
  uint64_t step = talk->step ? talk->step : talk->count;
  uint64_t left = talk->count, at = talk->from;
  do {
    uint64_t n = left < step ? left : step;
    if (s == LU_OK && !stopped)
      s = send_all(t, talk, at, n, hooks, flow, &stopped, err);
    at += n;
    left -= n;
  } while (s == LU_OK && !stopped && left);
  return s;
}

/* ---- sifting ---- */
bool lu_text_printable(lu_bytes in)
{
  size_t other = 0;
  for (size_t i = 0; i < in.len; i++) {
    uint8_t c = in.at[i];
    other += !((c >= 0x20 && c < 0x7F) || (c >= 0x07 && c <= 0x0D) || c == 0x1B);
  }
  return other <= in.len / 16;
}

static size_t hex_run(const char *p, const char *end)
{
  const char *q = p;
  while (q < end && lu_hex_digit((unsigned char)*q) >= 0)
    q++;
  return (size_t)(q - p);
}

static bool blank(char c)
{
  return c == ' ' || c == '\t';
}

/* ":10..." or "S1...": a letter or colon and nothing but digits. */
static bool is_record(const char *p, const char *end)
{
  while (end > p && blank(end[-1]))
    end--;
  if (end - p < 10)
    return false;
  if (*p == ':')
    return p + 1 + hex_run(p + 1, end) == end;
  return (*p == 'S' || *p == 's') && isdigit((unsigned char)p[1]) &&
         p + 1 + hex_run(p + 1, end) == end;
}

/* An address of 3 to 8 digits (with or without 0x, $, a colon) and byte groups behind it, or byte groups
 * alone, at least four. */
static bool is_row(const char *p, const char *end)
{
  while (p < end && blank(*p))
    p++;
  bool marked = false;
  if (end - p > 2 && p[0] == '0' && (p[1] == 'x' || p[1] == 'X'))
    p += 2, marked = true;
  else if (p < end && *p == '$')
    p++, marked = true;
  size_t first = hex_run(p, end);
  bool address = first >= 3 && first <= 8;
  if (!address && (first != 2 || marked))
    return false;
  p += first;
  if (p < end && (*p == ':' || *p == '-' || *p == '>'))
    p++;
  else if (p < end && !blank(*p))
    return false;
  unsigned groups = address ? 0 : 1;
  for (;;) {
    const char *q = p;
    while (q < end && blank(*q))
      q++;
    if (q == p && p < end)
      break;
    size_t n = hex_run(q, end);
    if ((n != 2 && n != 4 && n != 8) || (q + n < end && !blank(q[n])))
      break;
    groups++;
    p = q + n;
  }
  while (p < end && blank(*p))
    p++;
  /* one group and words behind it is a sentence, not a row */
  return groups >= (!address ? 4u : p < end ? 2u : 1u);
}

size_t lu_text_sift(lu_bytes in, char *out)
{
  const char *at = (const char *)in.at, *end = at + in.len;
  size_t n = 0;
  while (at < end) {
    const char *stop = at;
    while (stop < end && *stop != '\n' && *stop != '\r')
      stop++;
    if (is_record(at, stop) || is_row(at, stop)) {
      memcpy(out + n, at, (size_t)(stop - at));
      n += (size_t)(stop - at);
      out[n++] = '\n';
    }
    at = stop < end ? stop + 1 : stop;
  }
  return n;
}
