/* SPDX-License-Identifier: MIT */
/* lineup probe: the reading to take next. */
#define _GNU_SOURCE
#include "cli/probewords.h"
#include "cli/session.h"

#include "base/text.h"
#include <inttypes.h>
#include <jansson.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

typedef struct args {
  const char *only, *part;
  uint64_t sheet;
  double error, good, doubtful;
  bool json, ask;
  lu_texts costs, operands;
} args;

enum { SUSPECTS_SHOWN = 6 };
static const double worth_bits = 0.01, shown_share = 0.0005;
static const char *const kind_words[] = {"continuity", "level", "look"};
static const char *const fault_words[] = {"open", "stuck", "bridge", "swap", "dead", "cell", "row", "column"};

static void put(FILE *f, const char *text)
{
  lu_text_put(f, text);
}

static unsigned likeliest(const lu_proposal *p)
{
  unsigned best = 0;
  for (unsigned k = 1; k < p->outcomes; k++)
    if (p->chance[k] > p->chance[best])
      best = k;
  return best;
}

/* The outcome that a sound board would show: what a script expects of a good repair, too. */
static void show_proposal(const lu_run *run, const lu_standing *s, const lu_proposal *p)
{
  const lu_reading_at *r = &p->reading;
  fputs(r->kind == LU_PROBE_LEVEL ? "Power on, logic probe: " : r->kind == LU_PROBE_LOOK ? "Look at " : "Power off, meter: ", run->out);
  put(run->out, lu_point_words(s, &r->from));
  if (r->kind == LU_PROBE_CONTINUITY) {
    fputs(" to ", run->out);
    put(run->out, lu_point_words(s, &r->to));
  }
  fputc('\n', run->out);
}

static void show_meaning(const lu_run *run, const lu_standing *s, const lu_proposal *p)
{
  for (unsigned k = 0; k < p->outcomes; k++) {
    lu_suspicion g;
    if (p->chance[k] < 0.005 || !lu_probe_would(s->probe, &p->reading, k, &g))
      continue;
    fprintf(run->out, "  %-8s (%2.0f %%): ", lu_seen_text(p->reading.kind, k), 100 * p->chance[k]);
    put(run->out, lu_hop_words(s, &g));
    fprintf(run->out, ", %.0f %%\n", 100 * g.probability);
  }
}

static void show_command(const lu_run *run, const lu_standing *s, const lu_proposal *p)
{
  const lu_reading_at *r = &p->reading;
  fprintf(run->out, "  log it: lineup reading %s ", s->bench->path);
  put(run->out, lu_point_short(s, &r->from));
  if (r->kind == LU_PROBE_CONTINUITY) {
    fputc(' ', run->out);
    put(run->out, lu_point_short(s, &r->to));
    fputs(" open|joined|OHMS\n", run->out);
  } else {
    fputs(r->kind == LU_PROBE_LEVEL ? " high|low|toggling|floating|VOLTS\n" : " clean|fitted|bent|corroded\n", run->out);
  }
}

static const lu_suspicion *located(const lu_standing *s)
{
  size_t n;
  const lu_suspicion *g = lu_probe_guesses(s->probe, &n);
  return n && g[0].probability >= LU_LOCATED ? &g[0] : NULL;
}

/* What the data alone say deserves one look before the iron. */
static void show_unmeasured(const lu_run *run, const lu_standing *s)
{
  const lu_suspicion *g = located(s);
  for (size_t i = 0; g && i < s->query.taken_count; i++)
    if (s->query.taken[i].from.net == g->net || s->query.taken[i].to.net == g->net)
      return;
  if (g && g->net != LU_NONE)
    fprintf(run->out, "  The data say so, no reading yet: measure on %s before the iron.\n", s->query.board->nets[g->net].name);
}

static void show_guesses(const lu_run *run, const lu_standing *s)
{
  size_t n;
  const lu_suspicion *g = lu_probe_guesses(s->probe, &n);
  if (n && located(s))
    fputs("Located\n", run->out);
  else
    fputs("Suspected\n", run->out);
  for (size_t i = 0; i < n && i < SUSPECTS_SHOWN && g[i].probability >= 0.005; i++) {
    fprintf(run->out, "  %3.0f %%  ", 100 * g[i].probability);
    put(run->out, lu_hop_words(s, &g[i]));
    fputs(g[i].probability >= LU_LOCATED ? "  *\n" : "\n", run->out);
  }
  show_unmeasured(run, s);
}

static void show_questions(const lu_run *run, const lu_standing *s)
{
  size_t n;
  const char *const *q = lu_probe_questions(s->probe, &n);
  for (size_t i = 0; i < n; i++) {
    fputs("? ", run->out);
    put(run->out, q[i]);
    fputc('\n', run->out);
  }
}

/* --- JSON --------------------------------------------------------------------------------------------------- */

static json_t *share(double v)
{
  return json_real(round(v * 1e6) / 1e6);
}

static json_t *proposal_json(const lu_standing *s, const lu_proposal *p)
{
  const lu_reading_at *r = &p->reading;
  json_t *o = json_object(), *chances = json_object();
  json_object_set_new(o, "kind", json_string(kind_words[r->kind]));
  json_object_set_new(o, r->kind == LU_PROBE_CONTINUITY ? "from" : "at", json_string(lu_point_short(s, &r->from)));
  if (r->kind == LU_PROBE_CONTINUITY)
    json_object_set_new(o, "to", json_string(lu_point_short(s, &r->to)));
  json_object_set_new(o, "expect", json_string(lu_seen_text(r->kind, likeliest(p))));
  json_object_set_new(o, "gain_bits", share(p->gain_bits));
  json_object_set_new(o, "cost", share(p->cost));
  for (unsigned k = 0; k < p->outcomes; k++)
    json_object_set_new(chances, lu_seen_text(r->kind, k), share(p->chance[k]));
  json_object_set_new(o, "chances", chances);
  json_object_set_new(o, "how", json_string(r->kind == LU_PROBE_LEVEL ? "power on" : "power off"));
  return o;
}

static json_t *guess_json(const lu_standing *s, const lu_suspicion *g)
{
  const lu_board *b = s->query.board;
  lu_point x, y;
  lu_probe_ends(s->probe, g, &x, &y);
  json_t *o = json_object();
  json_object_set_new(o, "kind", json_string(fault_words[g->kind]));
  if (g->net != LU_NONE)
    json_object_set_new(o, "net", json_string(b->nets[g->net].name));
  if (g->net2 != LU_NONE)
    json_object_set_new(o, "nets", json_pack("[s,s]", b->nets[g->net].name, b->nets[g->net2].name));
  if (g->part != LU_NONE)
    json_object_set_new(o, "part", json_string(b->parts[g->part].ref));
  if (g->net != LU_NONE)
    json_object_set_new(o, "between", json_pack("[s,s]", lu_point_short(s, &x), lu_point_short(s, &y)));
  if (g->kind == LU_FAULT_STUCK)
    json_object_set_new(o, "level", json_string(g->level == LU_LEVEL_LOW ? "low" : "high"));
  json_object_set_new(o, "probability", share(g->probability));
  return o;
}

/* The results' own suspect of that net or part, for its pins and reasons. */
static json_t *told_of(const lu_standing *s, const char *key, const char *name)
{
  for (size_t i = 0; i < s->result_count; i++) {
    json_t *list = json_object_get(s->findings[i], "suspects");
    for (size_t k = 0; k < json_array_size(list); k++) {
      json_t *x = json_array_get(list, k);
      const char *n = json_string_value(json_object_get(x, key));
      if (n && !strcmp(n, name))
        return x;
    }
  }
  return NULL;
}

typedef struct blamed {
  uint32_t net, part;
  double probability;
} blamed;

static int by_share(const void *a, const void *b)
{
  const blamed *x = a, *y = b;
  if (x->probability != y->probability)
    return x->probability > y->probability ? -1 : 1;
  return (x->net > y->net) - (x->net < y->net);
}

static void blame(blamed *list, size_t *count, uint32_t net, uint32_t part, double p)
{
  size_t i = 0;
  while (i < *count && (list[i].net != net || list[i].part != part))
    i++;
  if (i == *count)
    list[(*count)++] = (blamed){net, part, 0};
  list[i].probability = fmin(1, list[i].probability + p);
}

static json_t *suspect_json(const lu_standing *s, const blamed *x, size_t rank)
{
  const lu_board *b = s->query.board;
  const char *name = x->net != LU_NONE ? b->nets[x->net].name : b->parts[x->part].ref;
  json_t *told = told_of(s, x->net != LU_NONE ? "net" : "part", name), *o = json_object(), *hops = json_array();
  size_t n;
  const lu_suspicion *g = lu_probe_guesses(s->probe, &n);
  json_object_set_new(o, "rank", json_integer((json_int_t)rank));
  json_object_set_new(o, "net", x->net != LU_NONE ? json_string(name) : json_null());
  if (x->net == LU_NONE)
    json_object_set_new(o, "part", json_string(name));
  json_object_set_new(o, "probability", share(x->probability));
  json_t *pins = json_object_get(told, "pins"), *why = json_object_get(told, "why");
  json_object_set(o, "pins", pins ? pins : (pins = json_array()));
  json_object_set(o, "why", why ? why : json_string("a reading points here"));
  for (size_t i = 0; i < n; i++)
    if (g[i].probability >= shown_share && x->net != LU_NONE && (g[i].net == x->net || g[i].net2 == x->net))
      json_array_append_new(hops, guess_json(s, &g[i]));
  json_object_set_new(o, "hops", hops);
  return o;
}

static json_t *suspects_json(const lu_standing *s)
{
  size_t n, count = 0;
  const lu_suspicion *g = lu_probe_guesses(s->probe, &n);
  json_t *a = json_array();
  blamed *list = LU_NEW(s->bench->s->mem, blamed, 2 * n + 1);
  for (size_t i = 0; list && i < n; i++) {
    bool part_only = g[i].kind >= LU_FAULT_DEAD;
    blame(list, &count, part_only ? LU_NONE : g[i].net, part_only ? g[i].part : LU_NONE, g[i].probability);
    if (lu_fault_two_nets(g[i].kind))
      blame(list, &count, g[i].net2, LU_NONE, g[i].probability);
  }
  if (list)
    qsort(list, count, sizeof *list, by_share);
  for (size_t i = 0; i < count; i++)
    if (list[i].probability >= shown_share)
      json_array_append_new(a, suspect_json(s, &list[i], i + 1));
  return a;
}

static bool show_json(const lu_run *run, const lu_standing *s, const lu_proposal *p, size_t count, bool sheet)
{
  size_t n;
  const char *const *q = lu_probe_questions(s->probe, &n);
  const lu_suspicion *g = located(s);
  json_t *asked = json_array(), *o = json_object(), *list = json_array();
  for (size_t i = 0; i < n; i++)
    json_array_append_new(asked, json_string(q[i]));
  json_object_set_new(o, "lineup", json_string(LU_VERSION));
  json_object_set_new(o, "next", count ? proposal_json(s, &p[0]) : json_null());
  json_object_set_new(o, "located", g ? guess_json(s, g) : json_null());
  json_object_set_new(o, "suspects", suspects_json(s));
  json_object_set_new(o, "questions", asked);
  json_object_set_new(o, "readings", json_integer((json_int_t)s->query.taken_count));
  json_object_set_new(o, "results", json_integer((json_int_t)s->result_count));
  json_object_set_new(o, "stale_results", json_integer((json_int_t)s->stale_count));
  json_object_set_new(o, "left_bits", share(lu_probe_entropy(s->probe)));
  for (size_t i = 0; i < count; i++)
    json_array_append_new(list, proposal_json(s, &p[i]));
  if (sheet)
    json_object_set_new(o, "sheet", list);
  else
    json_decref(list);
  bool ok = json_dumpf(o, run->out, JSON_INDENT(2) | JSON_REAL_PRECISION(7)) == 0 && fputc('\n', run->out) != EOF;
  json_decref(o);
  return ok;
}

/* --- the plain plan ---------------------------------------------------------------------------------------------- */

static lu_point leg_of(const lu_board *b, uint32_t pin)
{
  return (lu_point){b->parts[b->pins[pin].part].socketed ? LU_AT_LEG : LU_AT_PIN, b->pins[pin].net, pin, LU_NONE};
}

static bool same_point(const lu_point *a, const lu_point *b)
{
  return a->at == b->at && a->net == b->net && a->pin == b->pin && a->place == b->place;
}

static const char *measured(const lu_standing *s, const lu_point *x, const lu_point *y)
{
  const char *seen = NULL;
  for (size_t i = 0; i < s->query.taken_count; i++) {
    const lu_reading_at *r = &s->query.taken[i];
    if (r->kind == LU_PROBE_CONTINUITY &&
        ((same_point(&r->from, x) && same_point(&r->to, y)) || (same_point(&r->from, y) && same_point(&r->to, x))))
      seen = lu_seen_text(r->kind, r->seen);
  }
  return seen;
}

static int by_number(const void *a, const void *b, void *board)
{
  const lu_board *x = board;
  return lu_text_order(x->pins[*(const uint32_t *)a].number, x->pins[*(const uint32_t *)b].number);
}

/* Every connection of a part, from leg to the far legs, in the order of its pins. */
static int plan(lu_run *run, const lu_standing *s, const char *ref)
{
  const lu_board *b = s->query.board;
  uint32_t part = lu_board_part(b, ref);
  if (part == LU_NONE) {
    const char *near = lu_board_nearest_part(b, ref);
    return lu_say_usage(run, "probe: the board has no part '%s'%s%s", ref, near ? "; the nearest is " : "", near ? near : "");
  }
  const lu_part *x = &b->parts[part];
  uint32_t *pins = LU_NEW(run->mem, uint32_t, x->pin_count + 1);
  if (!pins)
    return lu_say_usage(run, "out of memory"), LU_EXIT_SYSTEM;
  memcpy(pins, &b->part_pins[x->first_pin], x->pin_count * sizeof *pins);
  qsort_r(pins, x->pin_count, sizeof *pins, by_number, (void *)(uintptr_t)b);
  size_t total = 0, done = 0;
  fprintf(run->out, "Power off. One tip on each leg of %s in turn, the other on the far legs.\n", x->ref);
  for (uint32_t i = 0; i < x->pin_count; i++) {
    uint32_t net = b->pins[pins[i]].net;
    if (net == LU_NONE || b->nets[net].supply || b->nets[net].ground)
      continue;
    lu_point from = leg_of(b, pins[i]);
    for (uint32_t k = 0; k < b->nets[net].pin_count; k++) {
      lu_point to = leg_of(b, b->net_pins[b->nets[net].first_pin + k]);
      if (to.pin == pins[i])
        continue;
      const char *seen = measured(s, &from, &to);
      total++;
      done += seen != NULL;
      fprintf(run->out, "  [%s] %-14s %-14s %-20s %s\n", seen ? "x" : " ", lu_point_short(s, &from), lu_point_short(s, &to), b->nets[net].name,
              seen ? seen : "");
    }
  }
  fprintf(run->out, "%zu of %zu connections measured; supplies and ground left out.\n", done, total);
  return LU_EXIT_CLEAN;
}

/* --- asking --------------------------------------------------------------------------------------------------------- */

/* One answer: a key, or ohms / volts. False: skip. */
static bool answer_of(const args *a, const char *line, const lu_reading_at *r, uint8_t *seen)
{
  static const char *const keys[] = {"oj", "tflh", "sb"};
  char key = line[0];
  const char *at = key ? strchr(keys[r->kind], key) : NULL;
  if (at && (line[1] == '\n' || !line[1])) {
    *seen = (uint8_t)(at - keys[r->kind]);
    return true;
  }
  char *end;
  double v = strtod(line, &end);
  if (end == line || r->kind == LU_PROBE_LOOK || !(v >= 0))
    return false;
  if (r->kind == LU_PROBE_CONTINUITY)
    *seen = v <= a->good ? LU_SEEN_JOINED : v <= a->doubtful ? LU_SEEN_DOUBTFUL : LU_SEEN_OPEN;
  else
    *seen = v <= 0.8 ? LU_SEEN_LOW : v >= 2 ? LU_SEEN_HIGH : LU_SEEN_FLOATING;
  return true;
}

static lu_status keep_answer(lu_standing *s, lu_reading_at *r, const char *line)
{
  const lu_board *b = s->query.board;
  const char *from = lu_point_short(s, &r->from), *to = r->kind == LU_PROBE_CONTINUITY ? lu_point_short(s, &r->to) : NULL;
  const char *seen = lu_seen_text(r->kind, r->seen);
  char said[32];
  snprintf(said, sizeof said, "%.*s", (int)strcspn(line, "\r\n"), line);
  json_t *o = json_object(), *nets = json_array();
  json_object_set_new(o, "from", json_string(from));
  if (to)
    json_object_set_new(o, "to", json_string(to));
  json_object_set_new(o, "seen", json_string(seen));
  json_object_set_new(o, "said", json_string(said));
  json_object_set_new(o, "powered", json_boolean(r->kind == LU_PROBE_LEVEL));
  json_array_append_new(nets, json_string(b->nets[r->from.net].name));
  if (r->to.net != r->from.net)
    json_array_append_new(nets, json_string(b->nets[r->to.net].name));
  json_object_set_new(o, "nets", nets);
  const char *text = lu_arena_printf(s->bench->s->mem, "%s%s%s: %s", from, to ? " to " : "", to ? to : "", seen);
  return lu_bench_add(s->bench, "reading", text, o, NULL, 0, &r->id);
}

static int ask(lu_run *run, lu_standing *s, const args *a, unsigned kinds)
{
  static const char *const keys[] = {"[j]oined, [o]pen or ohms", "[t]oggling, [f]loating, [l]ow, [h]igh or volts", "[s]ound or [b]ad"};
  char line[64];
  while (!located(s)) {
    lu_proposal p[2];
    if (!lu_probe_next(s->probe, kinds, 1, p) || p[0].gain_bits < worth_bits) {
      fputs("Nothing more can be gained by readings of this kind.\n", run->out);
      break;
    }
    show_proposal(run, s, &p[0]);
    fprintf(run->out, "  %s, [q]uit: ", keys[p[0].reading.kind]);
    fflush(run->out);
    if (!fgets(line, sizeof line, stdin) || line[0] == 'q')
      break;
    if (!answer_of(a, line, &p[0].reading, &p[0].reading.seen)) {
      fputs("  not understood\n", run->out);
      continue;
    }
    if (keep_answer(s, &p[0].reading, line))
      return lu_say_error(run, &s->bench->s->err);
    lu_probe_take(s->probe, &p[0].reading);
    fprintf(run->out, "  %" PRIu64 " written down\n", p[0].reading.id);
  }
  fputc('\n', run->out);
  show_guesses(run, s);
  return LU_EXIT_FAULTS;
}

/* --- the command ------------------------------------------------------------------------------------------------------ */

static void show_text(const lu_run *run, const lu_standing *s, const lu_proposal *p, size_t count, bool sheet)
{
  if (!s->result_count) {
    fputs(s->stale_count ? "The board was repaired since it was last read: read it again (lineup decode --job).\n"
                         : "Nothing was decoded in this job yet: lineup decode --job, or lineup probe --part REF for a plan.\n",
          run->out);
    return;
  }
  size_t n;
  (void)lu_probe_guesses(s->probe, &n);
  if (!n) {
    fputs("Nothing is suspected.\n", run->out);
    return;
  }
  show_guesses(run, s);
  show_questions(run, s);
  if (!count) {
    fputs("\nNothing more can be gained by readings of this kind.\n", run->out);
    return;
  }
  fputs(sheet ? "\nSheet\n" : "\nNext\n", run->out);
  for (size_t i = 0; i < count; i++) {
    if (sheet)
      fprintf(run->out, "%2zu. ", i + 1);
    show_proposal(run, s, &p[i]);
    if (!sheet) {
      show_meaning(run, s, &p[i]);
      fprintf(run->out, "  gains %.2f bits of %.2f, cost %.1f\n", p[i].gain_bits, lu_probe_entropy(s->probe), p[i].cost);
      show_command(run, s, &p[i]);
    } else {
      fputs(p[i].reading.kind == LU_PROBE_CONTINUITY ? "    [ ] joined  [ ] open  ______ ohms\n"
            : p[i].reading.kind == LU_PROBE_LEVEL    ? "    [ ] toggling  [ ] floating  [ ] low  [ ] high  ______ V\n"
                                                     : "    [ ] clean  [ ] bent  [ ] corroded\n",
            run->out);
    }
  }
}

static int kinds_of(const lu_run *run, const char *only, unsigned *kinds)
{
  *kinds = 7;
  for (unsigned k = 0; only && k < 3; k++)
    if (!strcmp(only, kind_words[k])) {
      *kinds = 1u << k;
      return 0;
    }
  return only ? lu_say_usage(run, "probe: --only expects continuity, level or look, found '%s'", only) : 0;
}

static int run_probe(lu_run *run, lu_standing *s, const args *a, unsigned kinds)
{
  lu_proposal p[LU_SHEET_MOST];
  if (a->part)
    return plan(run, s, a->part);
  if (a->ask)
    return s->query.story_count ? ask(run, s, a, kinds) : (show_text(run, s, p, 0, false), LU_EXIT_CLEAN);
  size_t count = lu_probe_next(s->probe, kinds, a->sheet ? (size_t)a->sheet : 1, p);
  while (count && p[count - 1].gain_bits < worth_bits)
    count--;
  if (!a->json)
    show_text(run, s, p, count, a->sheet > 0);
  else if (!show_json(run, s, p, count, a->sheet > 0))
    return LU_EXIT_SYSTEM;
  return s->query.story_count ? LU_EXIT_FAULTS : LU_EXIT_CLEAN;
}

static int probe(lu_run *run, void *opaque)
{
  args *a = opaque;
  unsigned kinds;
  int code = kinds_of(run, a->only, &kinds);
  if (code)
    return code;
  if (a->error < 0 || a->error > 40)
    return lu_say_usage(run, "probe: --error expects 0 to 40 percent");
  if (a->good < 0 || a->doubtful < 0)
    return lu_say_usage(run, "probe: --good and --doubtful expect ohms, above 0");
  a->good = a->good > 0 ? a->good : 2;
  a->doubtful = a->doubtful > 0 ? a->doubtful : fmax(100, a->good);
  if (a->doubtful < a->good)
    return lu_say_usage(run, "probe: --doubtful must not be below --good");
  lu_session *s = lu_session_new(run);
  lu_bench *b = NULL;
  lu_standing st = {0};
  if (!s)
    return lu_say_usage(run, "out of memory"), LU_EXIT_SYSTEM;
  lu_status bad = lu_bench_open(s, a->operands.at[0], a->ask ? LU_JOB_WRITE : LU_JOB_READ, &b);
  if (!bad)
    bad = lu_bench_board(b);
  if (!bad)
    bad = lu_standing_of(b, &(lu_standing_args){.costs = &a->costs, .meter_error = a->error / 100}, &st);
  code = bad ? lu_say_error(run, &s->err) : run_probe(run, &st, a, kinds);
  lu_standing_free(&st);
  lu_bench_close(b);
  lu_session_end(s);
  return code;
}

#define AT(field) offsetof(args, field)
static const lu_option options[] = {
    {"only", 0, LU_OPT_TEXT, AT(only), 0, 0, "KIND", "only continuity, level or look"},
    {"sheet", 0, LU_OPT_NUMBER, AT(sheet), 1, LU_SHEET_MOST, "N", "a worksheet of up to N readings, chosen together"},
    {"ask", 'a', LU_OPT_FLAG, AT(ask), 0, 0, NULL, "ask for one reading after the other and write them down"},
    {"part", 0, LU_OPT_TEXT, AT(part), 0, 0, "REF", "every connection of a part instead, measured ones ticked"},
    {"cost", 0, LU_OPT_LIST, AT(costs), 0, 0, "NAME=N", "what a step costs: continuity, level, look, chip, via, turn, power, pull"},
    {"error", 0, LU_OPT_REAL, AT(error), 0, 0, "PERCENT", "wrong readings of a meter (default 2)"},
    {"good", 0, LU_OPT_REAL, AT(good), 0, 0, "OHMS", "--ask: joined up to this (default 2)"},
    {"doubtful", 0, LU_OPT_REAL, AT(doubtful), 0, 0, "OHMS", "--ask: doubtful up to this, open above (default 100)"},
    {"json", 'j', LU_OPT_FLAG, AT(json), 0, 0, NULL, "the result as JSON"},
    {0},
};

static const char *const examples[] = {
    "lineup probe tide.job",
    "lineup probe --only continuity --sheet 5 tide.job",
    "lineup probe --part U8 tide.job",
    NULL,
};

const lu_command lu_command_probe = {
    .name = "probe",
    .summary = "the reading to take next: the one that tells most for its cost",
    .usage = "[OPTION ...] JOB",
    .options = options,
    .args_size = sizeof(args),
    .operands_offset = AT(operands),
    .least_operands = 1,
    .most_operands = 1,
    .examples = examples,
    .run = probe,
};
