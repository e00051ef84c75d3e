/* SPDX-License-Identifier: MIT */
/* lineup reading: what the meter, the probe or the eye found, written into the job. */
#include "cli/boardview.h"
#include "cli/standing.h"
#include "cli/session.h"

#include <inttypes.h>
#include <jansson.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

/* Input levels of TTL: low up to 0.8 V, high from 2.0 V (any TTL data sheet, e.g. SN74LS00); in between
 * nothing drives the line. */
static const double low_volts = 0.8, high_volts = 2.0;

typedef struct args {
  double good, doubtful;
  uint64_t undo;
  bool powered, json;
  lu_texts operands;
} args;

typedef struct measured {
  lu_reading_at r;
  const char *from, *to, *word; /* word: as it was typed */
  bool has_ohms, has_volts;
  double number;
} measured;

/* "0.4", "4.7k", "2M", "47ohm", "1.2V". */
static bool number_of(const char *text, double *out, bool *volts)
{
  char *end;
  double v = strtod(text, &end), scale = 1;
  if (end == text || !(v >= 0) || v > 1e12)
    return false;
  if (*end == 'k' || *end == 'K' || *end == 'M')
    scale = *end++ == 'M' ? 1e6 : 1e3;
  *volts = !strcmp(end, "V") || !strcmp(end, "v");
  *out = v * scale;
  return !*end || *volts || !strcmp(end, "ohm") || !strcmp(end, "ohms") || !strcmp(end, "R");
}

static lu_status result_of(lu_session *s, const args *a, measured *m)
{
  bool pair = m->to != NULL, volts = false;
  if (lu_seen_named(m->word, &m->r.kind, &m->r.seen)) {
    if (pair == (m->r.kind == LU_PROBE_CONTINUITY))
      return LU_OK;
    return lu_fail(&s->err, LU_ERR_USAGE, 0, 0, pair ? "'%s' is told of one point: lineup reading JOB POINT %s" : "'%s' is told of two points: lineup reading JOB FROM TO %s",
                   m->word, m->word);
  }
  if (!number_of(m->word, &m->number, &volts) || (pair && volts))
    return lu_fail(&s->err, LU_ERR_USAGE, 0, 0,
                   pair ? "expected open, joined or ohms (0.4, 4.7k), found '%.40s'"
                        : "expected high, low, toggling, floating, volts (1.2), fitted, bent, corroded or clean, found '%.40s'",
                   m->word);
  m->has_ohms = pair;
  m->has_volts = !pair;
  m->r.kind = pair ? LU_PROBE_CONTINUITY : LU_PROBE_LEVEL;
  double v = m->number;
  if (pair)
    m->r.seen = v <= a->good ? LU_SEEN_JOINED : v <= a->doubtful ? LU_SEEN_DOUBTFUL : LU_SEEN_OPEN;
  else
    m->r.seen = v <= low_volts ? LU_SEEN_LOW : v >= high_volts ? LU_SEEN_HIGH : LU_SEEN_FLOATING;
  return LU_OK;
}

static lu_status points_of(lu_bench *b, measured *m)
{
  const lu_board *board = b->s->board;
  lu_status bad = lu_point_named(board, m->from, &m->r.from, &b->s->err);
  m->r.to = m->r.from;
  if (!bad && m->to)
    bad = lu_point_named(board, m->to, &m->r.to, &b->s->err);
  const lu_point *x = &m->r.from, *y = &m->r.to;
  if (!bad && m->to && x->at == y->at && x->net == y->net && x->pin == y->pin && x->place == y->place)
    bad = lu_fail(&b->s->err, LU_ERR_USAGE, 0, 0, "both tips are on %s", m->from);
  if (!bad && m->to && m->r.from.net == m->r.to.net && (m->r.from.at == LU_AT_NET || m->r.to.at == LU_AT_NET))
    bad = lu_fail(&b->s->err, LU_ERR_USAGE, 0, 0, "both are on net %s: say which pins the tips touched", board->nets[m->r.from.net].name);
  return bad;
}

static const char *words_of(lu_bench *b, const args *a, const measured *m)
{
  lu_arena *mem = b->s->mem;
  const char *from = lu_point_name(b->s->board, &m->r.from, mem), *to = m->to ? lu_point_name(b->s->board, &m->r.to, mem) : "";
  const char *seen = lu_seen_text(m->r.kind, m->r.seen);
  const char *number = m->has_ohms ? lu_arena_printf(mem, " (%g ohms)", m->number) : m->has_volts ? lu_arena_printf(mem, " (%g V)", m->number)
                       : strcmp(seen, m->word) ? lu_arena_printf(mem, " (%s)", m->word) : "";
  return lu_arena_printf(mem, "%s%s%s: %s%s%s", from, m->to ? " to " : "", to, seen, number ? number : "", a->powered ? ", powered" : "");
}

static json_t *body_of(lu_bench *b, const args *a, const measured *m)
{
  const lu_board *board = b->s->board;
  json_t *o = json_object(), *nets = json_array();
  json_object_set_new(o, "from", json_string(lu_point_name(board, &m->r.from, b->s->mem)));
  if (m->to)
    json_object_set_new(o, "to", json_string(lu_point_name(board, &m->r.to, b->s->mem)));
  json_object_set_new(o, "seen", json_string(lu_seen_text(m->r.kind, m->r.seen)));
  json_object_set_new(o, "said", json_string(m->word));
  if (m->has_ohms) {
    json_object_set_new(o, "ohms", json_real(m->number));
    json_object_set_new(o, "good_ohms", json_real(a->good));
    json_object_set_new(o, "doubtful_ohms", json_real(a->doubtful));
  }
  if (m->has_volts)
    json_object_set_new(o, "volts", json_real(m->number));
  json_object_set_new(o, "powered", json_boolean(a->powered || m->r.kind == LU_PROBE_LEVEL));
  json_array_append_new(nets, json_string(board->nets[m->r.from.net].name));
  if (m->r.to.net != m->r.from.net)
    json_array_append_new(nets, json_string(board->nets[m->r.to.net].name));
  json_object_set_new(o, "nets", nets);
  return o;
}

/* What is said of an entry beside its text: printed, or kept for --json. */
typedef struct saying {
  const lu_run *run;
  json_t *remarks, *questions; /* NULL: printed */
} saying;

static void say(const saying *y, json_t *list, const char *mark, const char *text)
{
  if (list)
    json_array_append_new(list, lu_json_text(text));
  else
    fprintf(y->run->out, "  %s%s\n", mark, text);
}

/* What the reading does not prove. */
static void remark(const saying *y, const lu_bench *b, const measured *m)
{
  const lu_point *p[2] = {&m->r.from, &m->r.to};
  const char *said[2] = {m->from, m->to};
  const lu_board *board = b->s->board;
  for (int i = 0; i < (m->to ? 2 : 1); i++) {
    const char *ref = p[i]->pin == LU_NONE ? NULL : board->parts[board->pins[p[i]->pin].part].ref;
    if (p[i]->at == LU_AT_LEG && !strstr(said[i], ":leg"))
      say(y, y->remarks, "", lu_arena_printf(b->s->mem, "%s is in a socket: %s was taken as the leg.", ref, said[i]));
    if (p[i]->at == LU_AT_PAD && m->r.kind == LU_PROBE_CONTINUITY && m->r.seen == LU_SEEN_JOINED)
      say(y, y->remarks, "", lu_arena_printf(b->s->mem, "%s is in a socket: this proves the board, not the contact. Measure from %s:leg as well.",
                                             ref, board->pins[p[i]->pin].name));
  }
  if (m->r.kind == LU_PROBE_CONTINUITY && m->r.seen == LU_SEEN_DOUBTFUL)
    say(y, y->remarks, "", "Neither good nor open: clean the tips and the pin, and measure again.");
}

/* What nothing suspected foresaw is asked about, once it is written down. */
static void questions(const saying *y, lu_bench *b, const measured *m, uint64_t id)
{
  lu_standing s;
  lu_bench *again = NULL;
  size_t n = 0;
  char mark[40];
  snprintf(mark, sizeof mark, "Reading %" PRIu64 ":", id);
  const lu_board *board = b->s->board;
  lu_bench_close(b);
  if (lu_bench_open(b->s, b->path, LU_JOB_READ, &again))
    return;
  bool asked = false;
  if (lu_standing_of(again, &(lu_standing_args){0}, &s) == LU_OK) {
    const char *const *q = lu_probe_questions(s.probe, &n);
    for (size_t i = 0; i < n; i++)
      if (!strncmp(q[i], mark, strlen(mark))) {
        say(y, y->questions, "? ", q[i] + strlen(mark) + 1);
        asked = true;
      }
  }
  lu_standing_free(&s);
  lu_bench_close(again);
  if (!asked && m->r.kind == LU_PROBE_CONTINUITY && m->r.seen == LU_SEEN_JOINED && m->r.from.net != m->r.to.net && !s.query.story_count)
    say(y, y->questions, "? ", lu_arena_printf(b->s->mem, "%s and %s are different nets: a bridge, a part that joins them, or a tip on the wrong pin?",
                                              board->nets[m->r.from.net].name, board->nets[m->r.to.net].name));
}

static lu_status log_reading(const lu_run *run, lu_bench *b, const args *a)
{
  const lu_texts *o = &a->operands;
  measured m = {.from = o->at[1], .to = o->count == 4 ? o->at[2] : NULL, .word = o->at[o->count - 1]};
  uint64_t id;
  lu_status bad = lu_bench_board(b);
  if (!bad)
    bad = result_of(b->s, a, &m);
  if (!bad)
    bad = points_of(b, &m);
  const char *text = bad ? NULL : words_of(b, a, &m);
  if (!bad)
    bad = lu_bench_add(b, "reading", text, body_of(b, a, &m), NULL, 0, &id);
  if (bad)
    return bad;
  saying y = {.run = run, .remarks = a->json ? json_array() : NULL, .questions = a->json ? json_array() : NULL};
  if (!a->json)
    fprintf(run->out, "%" PRIu64 "  %s\n", id, text);
  remark(&y, b, &m);
  questions(&y, b, &m, id);
  return a->json ? lu_bench_say(b, id, "reading", text, json_pack("{s:s,s:o,s:o}", "seen", lu_seen_text(m.r.kind, m.r.seen), "remarks",
                                                                        y.remarks, "questions", y.questions))
                 : LU_OK;
}

static lu_status undo(const lu_run *run, lu_bench *b, uint64_t of, bool json)
{
  const lu_job_entry *e = lu_bench_entry(b, of);
  if (!e || strcmp(e->kind, "reading"))
    return lu_fail(&b->s->err, LU_ERR_MISSING, 0, 0, "--undo %" PRIu64 ": that entry is %s%s, expected a reading", of, e ? "a " : "not in the history",
                   e ? e->kind : "");
  for (size_t i = of; i < b->count; i++) {
    json_error_t je;
    json_t *body = strcmp(b->entries[i].kind, "undo") ? NULL : json_loads(b->entries[i].body, 0, &je);
    bool again = body && json_integer_value(json_object_get(body, "of")) == (json_int_t)of;
    json_decref(body);
    if (again)
      return lu_fail(&b->s->err, LU_ERR_VALUE, 0, 0, "reading %" PRIu64 " was taken back already, by entry %" PRIu64, of, b->entries[i].id);
  }
  uint64_t id;
  const char *text = lu_arena_printf(b->s->mem, "reading %" PRIu64 " taken back: %s", of, e->text);
  lu_status bad = lu_bench_add(b, "undo", text, json_pack("{s:I}", "of", (json_int_t)of), NULL, 0, &id);
  if (!bad && json)
    bad = lu_bench_say(b, id, "undo", text, json_pack("{s:I}", "of", (json_int_t)of));
  else if (!bad)
    fprintf(run->out, "%" PRIu64 "  %s\n", id, text);
  return bad;
}

static int reading(lu_run *run, void *opaque)
{
  args *a = opaque;
  if (a->good < 0 || a->doubtful < 0)
    return lu_say_usage(run, "reading: --good and --doubtful expect ohms, above 0");
  a->good = a->good > 0 ? a->good : 2;
  a->doubtful = a->doubtful > 0 ? a->doubtful : fmax(100, a->good);
  if (a->undo ? a->operands.count != 1 : a->operands.count < 3)
    return lu_say_usage(run, "reading: usage: lineup reading JOB FROM TO open|joined|OHMS, JOB POINT high|low|toggling|floating|VOLTS, "
                             "JOB POINT fitted|bent|corroded|clean, or JOB --undo N");
  if (a->doubtful < a->good)
    return lu_say_usage(run, "reading: --doubtful must not be below --good");
  lu_session *s = lu_session_new(run);
  lu_bench *b = NULL;
  if (!s)
    return lu_say_usage(run, "out of memory"), LU_EXIT_SYSTEM;
  lu_status bad = lu_bench_open(s, a->operands.at[0], LU_JOB_WRITE, &b);
  if (!bad)
    bad = a->undo ? undo(run, b, a->undo, a->json) : log_reading(run, b, a);
  int code = bad ? lu_say_error(run, &s->err) : LU_EXIT_CLEAN;
  lu_bench_close(b);
  lu_session_end(s);
  return code;
}

static const lu_option options[] = {
    {"good", 0, LU_OPT_REAL, offsetof(args, good), 0, 0, "OHMS", "joined up to this (default 2)"},
    {"doubtful", 0, LU_OPT_REAL, offsetof(args, doubtful), 0, 0, "OHMS", "doubtful up to this, open above (default 100)"},
    {"powered", 0, LU_OPT_FLAG, offsetof(args, powered), 0, 0, NULL, "the board was powered"},
    {"undo", 0, LU_OPT_NUMBER, offsetof(args, undo), 1, UINT32_MAX, "N", "take reading N back (it stays in the history)"},
    {"json", 'j', LU_OPT_FLAG, offsetof(args, json), 0, 0, NULL, "one JSON object"},
    {0},
};

static const char *const examples[] = {
    "lineup reading tide.job U8.21:leg U16.12 open",
    "lineup reading tide.job U8.21:pad U16.12 0.4",
    "lineup reading tide.job U8.21 corroded",
    NULL,
};

const lu_command lu_command_reading = {
    .name = "reading",
    .summary = "log what was measured or seen at a point, or between two",
    .usage = "JOB FROM TO open|joined|OHMS | JOB POINT RESULT | JOB --undo N",
    .options = options,
    .args_size = sizeof(args),
    .operands_offset = offsetof(args, operands),
    .least_operands = 1,
    .most_operands = 4,
    .examples = examples,
    .run = reading,
};
