/* SPDX-License-Identifier: MIT */
/* lineup repair: what was changed on the board, and what it should cure. */
#include "cli/boardview.h"
#include "cli/standing.h"
#include "cli/session.h"

#include <ctype.h>
#include <inttypes.h>
#include <jansson.h>
#include <string.h>

enum { NAMED_MOST = 64, WORD_MOST = 200 };

typedef struct args {
  lu_texts nets, operands;
  bool json;
} args;

typedef struct named {
  const lu_board *board;
  size_t point_count, net_count;
  lu_point points[NAMED_MOST];
  uint32_t nets[NAMED_MOST];
} named;

static void add_net(named *n, uint32_t net)
{
  for (size_t i = 0; i < n->net_count; i++)
    if (n->nets[i] == net)
      return;
  if (n->net_count < NAMED_MOST)
    n->nets[n->net_count++] = net;
}

/* Words of the text that are points or nets of the board; "U8" alone names the part's nets too. */
static lu_status take_word(lu_session *s, named *n, const char *word)
{
  lu_point p;
  lu_err err = {0};
  uint32_t part = lu_board_part(n->board, word);
  if (lu_point_named(n->board, word, &p, &err) == LU_OK) {
    if (n->point_count < NAMED_MOST)
      n->points[n->point_count++] = p;
    add_net(n, p.net);
  } else if (part != LU_NONE) {
    const lu_part *x = &n->board->parts[part];
    for (uint32_t i = 0; i < x->pin_count; i++) {
      uint32_t net = n->board->pins[n->board->part_pins[x->first_pin + i]].net;
      if (net != LU_NONE && !n->board->nets[net].supply && !n->board->nets[net].ground)
        add_net(n, net);
    }
  } else if (strchr(word, '.') && isalpha((unsigned char)word[0]) && isdigit((unsigned char)word[strlen(word) - 1])) {
    /* looks like a pin: a slip in it would be worse than a refusal */
    return lu_fail(&s->err, err.status, 0, 0, "%s", err.message);
  }
  return LU_OK;
}

static lu_status take_words(lu_session *s, named *n, const char *text)
{
  char word[WORD_MOST];
  while (*text) {
    size_t len = strcspn(text, " ,;");
    size_t end = len;
    while (end && strchr(".!?", text[end - 1]))
      end--;
    if (end && end < sizeof word) {
      memcpy(word, text, end);
      word[end] = '\0';
      lu_status bad = take_word(s, n, word);
      if (bad)
        return bad;
    }
    text += len;
    text += *text != '\0';
  }
  return LU_OK;
}

static const char *joined_words(lu_session *s, const lu_texts *o)
{
  const char *text = "";
  for (size_t i = 1; i < o->count && text; i++)
    text = lu_arena_printf(s->mem, "%s%s%s", text, i > 1 ? " " : "", o->at[i]);
  return text;
}

/* What is asked back: printed, or (list not NULL) kept for --json. */
static void ask(const lu_run *run, json_t *list, const char *text)
{
  if (list)
    json_array_append_new(list, lu_json_text(text));
  else
    fprintf(run->out, "  ? %s\n", text);
}

/* Suspects that the work touched. */
static json_t *should_cure(const lu_run *run, const lu_standing *st, const named *n, json_t *questions)
{
  size_t count;
  const lu_suspicion *g = lu_probe_guesses(st->probe, &count);
  json_t *list = json_array();
  for (size_t i = 0; i < n->net_count; i++) {
    double p = 0;
    for (size_t k = 0; k < count; k++)
      p += g[k].net == n->nets[i] || g[k].net2 == n->nets[i] ? g[k].probability : 0;
    if (p < 0.05)
      continue;
    json_array_append_new(list, lu_json_text(n->board->nets[n->nets[i]].name));
    if (!questions)
      fprintf(run->out, "  should cure %s (%.0f %%)\n", n->board->nets[n->nets[i]].name, 100 * (p < 1 ? p : 1));
  }
  if (st->query.story_count && !json_array_size(list))
    ask(run, questions, "nothing that was read so far suspects what was worked on");
  return list;
}

static void ask_about_wire(const lu_bench *b, const named *n, json_t *questions)
{
  if (n->point_count != 2 || n->points[0].net == n->points[1].net)
    return;
  ask(b->s->run, questions, lu_arena_printf(b->s->mem, "the two points are on different nets, %s and %s: a wire between them would join the two",
                                           n->board->nets[n->points[0].net].name, n->board->nets[n->points[1].net].name));
}

static lu_status log_repair(lu_run *run, lu_bench *b, const args *a)
{
  lu_standing st = {0};
  const char *text = joined_words(b->s, &a->operands);
  lu_status bad = lu_bench_board(b);
  named n = {.board = b->s->board};
  if (!bad && !text)
    bad = lu_fail(&b->s->err, LU_ERR_NOMEM, 0, 0, "no room");
  if (!bad)
    bad = take_words(b->s, &n, text);
  for (size_t i = 0; !bad && i < a->nets.count; i++) {
    uint32_t net = lu_board_net(b->s->board, a->nets.at[i]);
    const char *near = net == LU_NONE ? lu_board_nearest_net(b->s->board, a->nets.at[i]) : NULL;
    if (net == LU_NONE)
      bad = lu_fail(&b->s->err, LU_ERR_MISSING, 0, 0, "the board has no net '%.80s'%s%s", a->nets.at[i], near ? "; the nearest is " : "",
                    near ? near : "");
    else
      add_net(&n, net);
  }
  if (!bad)
    bad = lu_standing_of(b, &(lu_standing_args){.as_read = true}, &st);
  if (bad)
    return bad;
  json_t *questions = a->json ? json_array() : NULL;
  json_t *nets = json_array(), *cure = should_cure(run, &st, &n, questions);
  for (size_t i = 0; i < n.net_count; i++)
    json_array_append_new(nets, lu_json_text(n.board->nets[n.nets[i]].name));
  uint64_t id;
  bad = lu_bench_add(b, "repair", text, json_pack("{s:O,s:O}", "nets", nets, "should_cure", cure), NULL, 0, &id);
  lu_standing_free(&st);
  if (!bad)
    ask_about_wire(b, &n, questions);
  json_t *more = json_pack("{s:o,s:o,s:o*}", "nets", nets, "should_cure", cure, "questions", questions);
  if (!bad && a->json)
    return lu_bench_say(b, id, "repair", text, more);
  json_decref(more);
  if (bad)
    return bad;
  fprintf(run->out, "%" PRIu64 "  %s\n  Read the board again (lineup decode --job %s ...), then compare the two results.\n", id, text, b->path);
  return LU_OK;
}

static int repair(lu_run *run, void *opaque)
{
  const args *a = opaque;
  lu_session *s = lu_session_new(run);
  lu_bench *b = NULL;
  if (!s)
    return lu_say_usage(run, "out of memory"), LU_EXIT_SYSTEM;
  lu_status bad = lu_bench_open(s, a->operands.at[0], LU_JOB_WRITE, &b);
  if (!bad)
    bad = log_repair(run, b, a);
  int code = bad ? lu_say_error(run, &s->err) : LU_EXIT_CLEAN;
  lu_bench_close(b);
  lu_session_end(s);
  return code;
}

static const lu_option options[] = {
    {"net", 'n', LU_OPT_LIST, offsetof(args, nets), 0, 0, "NET", "a net that was worked on, besides those that the text names"},
    {"json", 'j', LU_OPT_FLAG, offsetof(args, json), 0, 0, NULL, "one JSON object"},
    {0},
};

static const char *const examples[] = {
    "lineup repair tide.job 'contact U8.21 bent back and cleaned'",
    "lineup repair --net DRA3 tide.job 'wire on the solder side, between the nearest points'",
    NULL,
};

const lu_command lu_command_repair = {
    .name = "repair",
    .summary = "log what was changed on the board; says what it should cure",
    .usage = "[--net NET] JOB TEXT...",
    .options = options,
    .args_size = sizeof(args),
    .operands_offset = offsetof(args, operands),
    .least_operands = 2,
    .most_operands = LU_TEXTS_MOST,
    .examples = examples,
    .run = repair,
};
