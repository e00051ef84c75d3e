/* SPDX-License-Identifier: MIT */
#include "cli/patboard.h"

#include "base/tally.h"
#include "cli/session.h"

#include "cli/faultwords.h"
#include "api/findings.h"
#include "reason/coverage.h"
#include "reason/explain.h"

#include <inttypes.h>
#include <jansson.h>
#include <math.h>
#include <string.h>

static const char *const kind_names[] = {"open", "stuck", "bridge", "swap", "dead"};

typedef struct view {
  lu_run *run;
  lu_session *s;
  const lu_patboard_args *a;
  const lu_network *n;
  lu_joint *joint;      /* for names */
  uint16_t *joint_net, *joint_part;
  lu_coverage *c;
  const lu_pattern *const *patterns;
  size_t count;
} view;

static int put_json(lu_run *run, json_t *value)
{
  if (!value || json_dumpf(value, run->out, JSON_INDENT(1) | JSON_ENSURE_ASCII)) {
    json_decref(value);
    return lu_say_usage(run, "pattern: cannot write JSON"), LU_EXIT_SYSTEM;
  }
  fputc('\n', run->out);
  json_decref(value);
  return LU_EXIT_CLEAN;
}

/* ---- names of faults ---- */

/* Names are told over a joint of one reading; what it would have read does not matter here. */
static lu_status names_for(view *v)
{
  lu_evidence *e = LU_NEW(v->s->mem, lu_evidence, 1);
  lu_priors *priors = LU_NEW(v->s->mem, lu_priors, 1);
  v->joint_net = LU_NEW(v->s->mem, uint16_t, v->n->net_count + 1);
  v->joint_part = LU_NEW(v->s->mem, uint16_t, v->n->part_count + 1);
  if (!e || !priors || !v->joint_net || !v->joint_part)
    return lu_fail(&v->s->err, LU_ERR_NOMEM, 0, 0, "no room");
  *e = (lu_evidence){.network = v->n, .know = LU_KNOW_WRITTEN};
  lu_status bad = lu_priors_of(v->n->board, priors, &v->s->err);
  if (!bad)
    bad = lu_session_contents(v->s, "address", v->n, NULL, &e->known);
  e->got = e->known;
  if (!bad)
    bad = lu_joint_new(e, 1, priors, 0, v->s->mem, &v->joint, &v->s->err);
  for (size_t i = 0; !bad && i < v->joint->net_count; i++)
    v->joint_net[v->joint->nets[i].local[0]] = (uint16_t)i;
  for (size_t i = 0; !bad && i < v->joint->part_count; i++)
    v->joint_part[v->joint->parts[i].local[0]] = (uint16_t)i;
  return bad;
}

static const char *fault_text(const view *v, const lu_fault *local)
{
  lu_fault f = *local;
  if (f.kind != LU_FAULT_DEAD)
    f.net = v->joint_net[f.net];
  if (lu_fault_two_nets(f.kind))
    f.net2 = v->joint_net[f.net2];
  if (f.kind == LU_FAULT_SWAP || f.kind == LU_FAULT_DEAD)
    f.part = v->joint_part[f.part];
  lu_said_fault said = lu_findings_fault(v->joint, &f, v->s->mem);
  return said.text ? said.text : "?";
}

/* ---- sentences about the classics, where they apply ---- */

typedef enum classic { SWAPS, DATA_BRIDGES, KEEPS, CLASSICS } classic;

static const char *const sentences[CLASSICS] = {
    "Lines swapped where both writing and reading pass never show in write-then-read, since what goes astray on the way "
    "in comes back the same way; compare with contents known from outside",
    "Bridged data lines pass solid backgrounds, since both lines carry the same level whichever wins",
    "What is read straight back passes on a bus that holds its value, since what was written still stands there when "
    "nobody drives it; write something else in between",
};

static bool solid_only(const lu_pattern *p)
{
  for (size_t i = 0; i < p->background_count; i++)
    if (p->backgrounds[i].contents || p->backgrounds[i].vectors != LU_VECTORS_SOLID)
      return false;
  return true;
}

/* No word is read but right after it was written. */
static bool straight_back(const lu_pattern *p)
{
  bool any = false;
  for (size_t i = 0; i < p->element_count; i++)
    for (size_t k = 0; k < p->elements[i].op_count; k++) {
      const lu_pattern_op *op = &p->ops[p->elements[i].first_op + k];
      if (op->kind == LU_OP_READ && !k)
        return false;
      any |= op->kind == LU_OP_READ && op[-1].kind == LU_OP_WRITE;
    }
  return any;
}

/* What a fault that the pattern misses is an example of. */
static bool is_classic(const view *v, const lu_cover_fault *f, bool solid, bool back, classic which)
{
  const lu_nnet *nets = v->n->nets;
  switch (which) {
  case SWAPS:
    return f->fault.kind == LU_FAULT_SWAP;
  case DATA_BRIDGES:
    return solid && f->fault.kind == LU_FAULT_BRIDGE && nets[f->fault.net].carries == LU_CARRIES_DATA &&
           nets[f->fault.net2].carries == LU_CARRIES_DATA;
  default:
    return back && ((f->fault.kind == LU_FAULT_OPEN && f->fault.level == LU_LEVEL_KEEP) ||
                    f->fault.kind == LU_FAULT_DEAD);
  }
}

static bool applies(const view *v, size_t pattern, classic which)
{
  bool solid = solid_only(v->patterns[pattern]), back = straight_back(v->patterns[pattern]);
  for (size_t i = 0; i < v->c->fault_count; i++) {
    const lu_cover_fault *f = &v->c->faults[i];
    if (is_classic(v, f, solid, back, which) &&
        lu_coverage_verdict(v->c, f, &pattern, 1) == LU_COVER_IS_MISSED)
      return true;
  }
  return false;
}

/* One sentence for each that applies to one of the patterns, with their names; json: into the list. */
static void put_sentences(const view *v, json_t *list)
{
  for (classic k = SWAPS; k < CLASSICS; k++) {
    const char *names = "";
    size_t count = 0;
    for (size_t p = 0; p < v->count && names; p++)
      if (applies(v, p, k) && count++ < 4)
        names = lu_arena_printf(v->s->mem, "%s%s%s", names, count > 1 ? ", " : "", v->patterns[p]->name);
    if (names && count > 4)
      names = lu_arena_printf(v->s->mem, "%s and %zu more", names, count - 4);
    if (count && count == v->count && count > 1)
      names = "all patterns";
    const char *said = count && names ? lu_arena_printf(v->s->mem, "%s (%s).", sentences[k], names) : NULL;
    if (said && list)
      json_array_append_new(list, json_string(said));
    else if (said)
      fprintf(v->run->out, "\n%s\n", said);
  }
}

/* ---- sums ---- */

static json_t *sum_json(const lu_cover_sum *s)
{
  json_t *kinds = json_object();
  for (size_t i = 0; i < LU_COVER_KINDS; i++)
    json_object_set_new(kinds, kind_names[i],
                        json_pack("{s:i,s:i,s:i,s:i,s:i,s:i}", "faults", (int)s->kind[i].total, "detected",
                                  (int)s->kind[i].detected, "by_chance", (int)s->kind[i].chance, "missed",
                                  (int)s->kind[i].missed, "no_effect", (int)s->kind[i].nothing, "not_judged",
                                  (int)s->kind[i].unjudged));
  return json_pack("{s:o,s:i,s:i,s:i,s:i,s:f,s:I}", "kinds", kinds, "effects", (int)s->effects, "groups",
                   (int)s->groups, "alone", (int)s->alone, "largest_group", (int)s->largest, "mean_group", s->mean,
                   "operations", (json_int_t)(s->operations & INT64_MAX));
}

/* Columns of the table: all of it fits 80. */
enum { NAME_WIDTH = 21 };
static const int kind_widths[LU_COVER_KINDS] = {7, 7, 11, 9, 5};

static void put_head(const view *v, const char *title)
{
  fprintf(v->run->out, "%-*s", NAME_WIDTH, title);
  for (size_t i = 0; i < LU_COVER_KINDS; i++)
    fprintf(v->run->out, " %*s", kind_widths[i], kind_names[i]);
  fputs(" groups largest\n", v->run->out);
}

static uint32_t can_show(const lu_cover_kind *k)
{
  return k->detected + k->chance + k->missed;
}

static void put_row(const view *v, const char *name, const lu_cover_sum *s)
{
  fprintf(v->run->out, "%-*s", NAME_WIDTH, name);
  for (size_t i = 0; i < LU_COVER_KINDS; i++) {
    char text[32];
    snprintf(text, sizeof text, "%" PRIu32 "/%" PRIu32, s->kind[i].detected, can_show(&s->kind[i]));
    fprintf(v->run->out, " %*s", kind_widths[i], text);
  }
  fprintf(v->run->out, " %6" PRIu32 " %7" PRIu32 "\n", s->groups, s->largest);
}

static void put_rest(const view *v, const lu_cover_sum *s)
{
  uint32_t nothing = 0, unjudged = 0, chance = 0;
  for (size_t i = 0; i < LU_COVER_KINDS; i++) {
    nothing += s->kind[i].nothing;
    unjudged += s->kind[i].unjudged;
    chance += s->kind[i].chance;
  }
  fprintf(v->run->out,
          "\n%zu single faults, %zu different effects. Not counted above: %" PRIu32 " that change nothing this block could "
          "show, %" PRIu32 " that are not judged (address or control lines would hang on data).\n",
          v->c->fault_count, v->c->effect_count, nothing, unjudged);
  fprintf(v->run->out, "Told apart: %" PRIu32 " detected effects give %" PRIu32 " different results, %" PRIu32
                       " of them of one effect alone; %.1f effects share a result on average.\n",
          s->effects, s->groups, s->alone, s->mean);
  if (chance)
    fprintf(v->run->out, "%" PRIu32 " missed ones may show by what the memory held before.\n", chance);
}

/* Names of missed faults; json: into the list. */
static void put_missed(const view *v, const size_t *set, size_t count, json_t *list)
{
  if (!list)
    fputc('\n', v->run->out);
  for (size_t i = 0; i < v->c->fault_count; i++) {
    const lu_cover_fault *f = &v->c->faults[i];
    lu_cover_verdict verdict = lu_coverage_verdict(v->c, f, set, count);
    if (verdict != LU_COVER_IS_MISSED && verdict != LU_COVER_IS_CHANCE)
      continue;
    if (list)
      json_array_append_new(list, json_string(fault_text(v, &f->fault)));
    else
      fprintf(v->run->out, "missed%s: %s\n", verdict == LU_COVER_IS_CHANCE ? " (may show by chance)" : "",
              fault_text(v, &f->fault));
  }
}

/* ---- the commands ---- */

static lu_status start(view *v, lu_run *run, const lu_patboard_args *a, const lu_pattern *const *patterns, size_t count)
{
  *v = (view){.run = run, .s = lu_session_new(run), .a = a, .patterns = patterns, .count = count};
  if (!v->s)
    return LU_ERR_NOMEM;
  return lu_session_board(v->s, a->board);
}

/* Leaves out patterns that the block cannot take, and says so. */
static lu_status leave_out_misfits(view *v)
{
  const lu_pattern **kept = LU_NEW(v->s->mem, const lu_pattern *, v->count + 1);
  lu_memory block = lu_drive_block(v->n);
  size_t n = 0;
  if (!kept)
    return lu_fail(&v->s->err, LU_ERR_NOMEM, 0, 0, "no room");
  for (size_t i = 0; i < v->count; i++) {
    lu_err why = {0};
    if (lu_pattern_fits(v->patterns[i], &block, &why) == LU_OK)
      kept[n++] = v->patterns[i];
    else if (!lu_session_note(v->s, lu_arena_printf(v->s->mem, "left out: %s does not fit this block: %s", v->patterns[i]->name, why.message)))
      return lu_fail(&v->s->err, LU_ERR_NOMEM, 0, 0, "no room");
  }
  if (!n)
    return lu_fail(&v->s->err, LU_ERR_VALUE, 0, 0, "none of the %zu patterns fits the block of %llu words of %u bits", v->count,
                   (unsigned long long)block.words, block.width);
  v->patterns = kept;
  v->count = n;
  return LU_OK;
}

static void put_notes(const view *v)
{
  for (size_t i = 0; i < v->s->note_count; i++)
    fprintf(v->run->out, "%sNote: %s\n", i ? "" : "\n", v->s->notes[i]);
}

static void put_notes_json(const view *v, json_t *list)
{
  for (size_t i = 0; i < v->s->note_count; i++)
    json_array_append_new(list, json_string(v->s->notes[i]));
}

static lu_status cover(view *v, bool misfits_too)
{
  lu_level undriven = LU_LEVEL_KEEP;
  lu_network *n = NULL;
  lu_status bad = lu_readings_network(v->s, v->a->reading.block, v->a->reading.vantage, 0, &n);
  v->n = n;
  if (!bad && v->a->undriven)
    bad = lu_fault_level(v->a->undriven, &undriven, &v->s->err);
  if (!bad && !misfits_too)
    bad = leave_out_misfits(v);
  lu_tally_begin("faults played through the patterns", 0);
  if (!bad)
    bad = lu_coverage_of(v->n, v->patterns, v->count, undriven, v->s->mem, &v->c, &v->s->err);
  lu_tally_end();
  if (bad && !v->s->err.source)
    v->s->err.source = v->a->board;
  return bad;
}

static int finish(view *v, lu_status bad, int code)
{
  if (!v->s)
    return LU_EXIT_SYSTEM;
  if (bad)
    code = lu_say_error(v->run, &v->s->err);
  lu_session_end(v->s);
  return code;
}

static int check_out(view *v)
{
  lu_cover_sum sum;
  json_t *rows = v->a->json ? json_array() : NULL;
  size_t every[LU_COVER_PATTERNS_MOST];
  if (!rows)
    put_head(v, "detected");
  for (size_t i = 0; i < v->count; i++) {
    every[i] = i;
    if (!lu_coverage_sum(v->c, &i, 1, v->s->mem, &sum))
      return LU_EXIT_SYSTEM;
    if (rows) {
      json_t *row = sum_json(&sum);
      json_object_set_new(row, "pattern", json_string(v->patterns[i]->name));
      json_array_append_new(rows, row);
    } else {
      put_row(v, v->patterns[i]->name, &sum);
    }
  }
  if (!lu_coverage_sum(v->c, every, v->count, v->s->mem, &sum))
    return LU_EXIT_SYSTEM;
  if (!rows) {
    if (v->count > 1)
      put_row(v, "all together", &sum);
    put_rest(v, &sum);
    put_sentences(v, NULL);
    if (v->a->missed)
      put_missed(v, every, v->count, NULL);
    return LU_EXIT_CLEAN;
  }
  json_t *said = json_array(), *missed = v->a->missed ? json_array() : NULL;
  put_sentences(v, said);
  if (missed)
    put_missed(v, every, v->count, missed);
  json_t *all = json_pack("{s:i,s:i,s:o,s:o,s:o}", "faults", (int)v->c->fault_count, "different_effects",
                          (int)v->c->effect_count, "patterns", rows, "together", sum_json(&sum), "notes", said);
  if (missed)
    json_object_set_new(all, "missed", missed);
  return put_json(v->run, all);
}

int lu_patboard_block(lu_run *run, const lu_patboard_args *a, lu_memory *out, bool *big_endian)
{
  view v;
  lu_network *n = NULL;
  lu_status bad = start(&v, run, a, NULL, 0);
  if (!bad)
    bad = lu_readings_network(v.s, a->reading.block, a->reading.vantage, 0, &n);
  if (!bad) {
    *out = lu_drive_block(n);
    *big_endian = n->board->vantages[n->vantage].big_endian;
  }
  return finish(&v, bad, LU_EXIT_CLEAN);
}

int lu_patboard_check(lu_run *run, const lu_patboard_args *a, const lu_pattern *const *patterns, size_t count)
{
  view v;
  lu_status bad = start(&v, run, a, patterns, count);
  if (!bad)
    bad = cover(&v, true);
  if (!bad && a->missed)
    bad = names_for(&v);
  return finish(&v, bad, bad ? 0 : check_out(&v));
}

static json_t *choice_json(const view *v, const lu_choice *c)
{
  json_t *names = json_array();
  for (size_t i = 0; i < c->count; i++)
    json_array_append_new(names, json_string(v->patterns[c->set[i]]->name));
  json_t *o = sum_json(&c->sum);
  json_object_set_new(o, "set", names);
  json_object_set_new(o, "shortest", json_boolean(c->exact));
  return o;
}

/* The set, and what each adds to those before it. */
static bool put_choice(const view *v, const char *title, const lu_choice *c)
{
  lu_cover_sum sum;
  fprintf(v->run->out, "%s: %" PRIu64 " operations\n", title, c->sum.operations);
  put_head(v, "");
  for (size_t i = 1; i <= c->count; i++) {
    const char *name = v->patterns[c->set[i - 1]]->name;
    if (!lu_coverage_sum(v->c, c->set, i, v->s->mem, &sum))
      return false;
    put_row(v, i == 1 ? name : lu_arena_printf(v->s->mem, "+ %s", name), &sum);
  }
  if (c->exact)
    fprintf(v->run->out, "No set of these patterns does it in fewer operations (all were ruled out, in %" PRIu64 " steps).\n", c->steps);
  else
    fputs("The best of a greedy choice and a search that was cut short: a shorter set may exist.\n", v->run->out);
  return true;
}

static int choose_out(view *v)
{
  lu_choice detect, apart;
  if (!lu_coverage_choose(v->c, false, v->s->mem, &detect) || !lu_coverage_choose(v->c, true, v->s->mem, &apart))
    return LU_EXIT_SYSTEM;
  if (v->a->json) {
    json_t *said = json_array(), *missed = v->a->missed ? json_array() : NULL;
    put_sentences(v, said);
    put_notes_json(v, said);
    if (missed)
      put_missed(v, apart.set, apart.count, missed);
    json_t *all = json_pack("{s:i,s:i,s:o,s:o,s:o}", "faults", (int)v->c->fault_count, "different_effects",
                            (int)v->c->effect_count, "detects_all", choice_json(v, &detect), "tells_apart",
                            choice_json(v, &apart), "notes", said);
    if (missed)
      json_object_set_new(all, "missed", missed);
    return put_json(v->run, all);
  }
  if (!put_choice(v, "Detects all that any pattern detects", &detect))
    return LU_EXIT_SYSTEM;
  fputc('\n', v->run->out);
  if (!put_choice(v, "And tells apart all that all patterns together tell apart", &apart))
    return LU_EXIT_SYSTEM;
  put_rest(v, &apart.sum);
  put_sentences(v, NULL);
  put_notes(v);
  if (v->a->missed)
    put_missed(v, apart.set, apart.count, NULL);
  return LU_EXIT_CLEAN;
}

int lu_patboard_choose(lu_run *run, const lu_patboard_args *a, const lu_pattern *const *patterns, size_t count)
{
  view v;
  lu_status bad = start(&v, run, a, patterns, count);
  if (!bad)
    bad = cover(&v, false);
  if (!bad && a->missed)
    bad = names_for(&v);
  return finish(&v, bad, bad ? 0 : choose_out(&v));
}

/* ---- what to run next ---- */

/* What every pattern would show of every explanation that is left: [explanation * count + pattern]. */
static lu_status show_all(view *v, const lu_result *r, lu_outcome *shown)
{
  lu_tester *t;
  lu_sim *sim = lu_sim_new(v->n, true, v->s->mem);
  if (!sim)
    return lu_fail(&v->s->err, LU_ERR_NOMEM, 0, 0, "no room");
  lu_status bad = lu_tester_new(v->n, v->patterns, v->count, LU_LEVEL_KEEP, v->s->mem, &t, &v->s->err);
  for (size_t i = 0; !bad && i < r->explanation_count; i++) {
    const lu_explanation *x = &r->explanations[i];
    lu_fault local[LU_FAULTS_MOST + 1];
    size_t n = 0;
    for (size_t k = 0; k < x->count; k++)
      n += lu_joint_local(r->joint, 0, &x->faults[k], &local[n]);
    lu_effect e = lu_sim_run(sim, local, n);
    lu_tester_undriven(t, x->undriven);
    /* one that cannot be simulated counts as a result of its own */
    if (!lu_tester_run(t, &e, local, n, &shown[i * v->count]))
      for (size_t p = 0; p < v->count; p++)
        shown[i * v->count + p] = (lu_outcome){.syndrome = UINT64_MAX - i};
  }
  return bad;
}

static int next_out(view *v, const lu_result *r, const lu_outcome *shown)
{
  enum { SHOWN = 5 };
  size_t n = r->explanation_count, stride = sizeof *shown / sizeof(uint64_t);
  double *weight = LU_NEW(v->s->mem, double, n + 1), *gain = LU_NEW(v->s->mem, double, v->count + 1);
  lu_memory block = lu_drive_block(v->n);
  double left = 0, all = 0;
  if (!weight || !gain)
    return LU_EXIT_SYSTEM;
  for (size_t i = 0; i < n; i++)
    all += weight[i] = r->explanations[i].probability;
  for (size_t i = 0; i < n; i++)
    left -= weight[i] > 0 ? weight[i] / all * log2(weight[i] / all) : 0;
  for (size_t p = 0; p < v->count; p++)
    gain[p] = lu_pattern_gain(&shown[p].syndrome, stride * v->count, weight, n, v->s->mem);
  json_t *list = v->a->json ? json_array() : NULL;
  if (!list)
    fprintf(v->run->out, "%zu explanations are left, %.2f bits of doubt between them\n", n, left);
  for (size_t k = 0; k < SHOWN && k < v->count; k++) {
    size_t best = 0;
    uint64_t operations = 0;
    for (size_t p = 0; p < v->count; p++) {
      uint64_t o = lu_pattern_operations(v->patterns[p], &block, NULL);
      if (gain[p] > gain[best] + 1e-9 || (gain[p] > gain[best] - 1e-9 && (!operations || o < operations))) {
        best = p;
        operations = o;
      }
    }
    if (gain[best] < 0.005)
      break;
    if (list)
      json_array_append_new(list, json_pack("{s:s,s:f,s:I}", "pattern", v->patterns[best]->name, "gain_bits", gain[best],
                                            "operations", (json_int_t)(operations & INT64_MAX)));
    else
      fprintf(v->run->out, "%-24s expected gain %.2f bits, %" PRIu64 " operations\n", v->patterns[best]->name, gain[best],
              operations);
    gain[best] = -1;
  }
  if (list)
    return put_json(v->run, json_pack("{s:i,s:f,s:o}", "explanations", (int)n, "doubt_bits", left, "next", list));
  return LU_EXIT_CLEAN;
}

static lu_status explain(view *v, lu_result **r)
{
  lu_reading *reading;
  lu_priors *priors = LU_NEW(v->s->mem, lu_priors, 1);
  if (!priors)
    return lu_fail(&v->s->err, LU_ERR_NOMEM, 0, 0, "no room");
  lu_status bad = lu_readings_of_args(v->s, &v->a->reading, &v->a->results, &reading);
  if (!bad)
    bad = lu_priors_of(v->s->board, priors, &v->s->err);
  if (bad)
    return bad;
  v->n = reading->evidence.network;
  return lu_explain(&reading->evidence, 1, priors, reading->noise, v->s->mem, r, &v->s->err);
}

int lu_patboard_next(lu_run *run, const lu_patboard_args *a, const lu_pattern *const *patterns, size_t count)
{
  view v;
  lu_result *r = NULL;
  if (!a->results.count)
    return lu_say_usage(run, "pattern next: expects --result DUMP");
  if (!a->reading.expect == !a->reading.wrote)
    return lu_say_usage(run, "pattern next: expects either --expect or --wrote");
  lu_status bad = start(&v, run, a, patterns, count);
  if (!bad)
    bad = explain(&v, &r);
  if (!bad)
    bad = leave_out_misfits(&v);
  lu_outcome *shown = bad ? NULL : LU_NEW(v.s->mem, lu_outcome, (r->explanation_count + 1) * v.count);
  if (!bad && !shown)
    bad = lu_fail(&v.s->err, LU_ERR_NOMEM, 0, 0, "no room");
  if (!bad)
    bad = show_all(&v, r, shown);
  return finish(&v, bad, bad ? 0 : next_out(&v, r, shown));
}
