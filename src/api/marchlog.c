/* SPDX-License-Identifier: MIT */
#include "api/marchlog.h"

#include "api/patterns.h"
#include "pattern/victims.h"
#include "reason/drive.h"
#include "reason/march.h"

#include <inttypes.h>
#include <string.h>

enum { GROUPS_TOLD = 6, OFF_SHOWN = 3 };

/* Failures of one pattern. */
typedef struct part {
  const char *called;      /* as the log does; NULL: --pattern */
  lu_march_log log;
  uint32_t *line;          /* of each failure */
  size_t room, line_room;
} part;

struct lu_march_reading {
  lu_memory block;
  part parts[LU_MARCH_LOGS_MOST];
  size_t count;
};

typedef struct placer {
  lu_session *s;
  const char *path;
  const lu_faillog *faillog;
  const lu_network *n;
  const lu_march_counting *c;
  lu_march_reading *r;
  const char *unknown[LU_MARCH_LOGS_MOST]; /* names that are no pattern's */
  size_t unknown_count, off, placed;
  uint32_t off_line;
  char off_text[160];
} placer;

static lu_status no_room(lu_session *s)
{
  return lu_fail(&s->err, LU_ERR_NOMEM, 0, 0, "no room for the log");
}

/* --- which pattern --------------------------------------------------------------------------------------------- */

/* *out NULL: the name is no pattern's. */
static lu_status part_called(placer *p, const char *name, part **out)
{
  lu_march_reading *r = p->r;
  lu_pattern *pattern;
  lu_err why = {0};
  *out = NULL;
  for (size_t i = 0; i < p->unknown_count; i++)
    if (!strcmp(p->unknown[i], name))
      return LU_OK;
  for (size_t i = 0; i < r->count; i++)
    if (r->parts[i].called && !strcmp(r->parts[i].called, name))
      return *out = &r->parts[i], LU_OK;
  if (r->count == LU_MARCH_LOGS_MOST || p->unknown_count == LU_MARCH_LOGS_MOST)
    return lu_fail(&p->s->err, LU_ERR_LIMIT, 0, 0, "the log names more than %d patterns", LU_MARCH_LOGS_MOST);
  lu_status bad = lu_patterns_called(name, p->s->mem, &pattern, &why);
  if (!bad)
    bad = lu_pattern_fits(pattern, &r->block, &why);
  if (bad) {
    p->unknown[p->unknown_count++] = name;
    lu_session_note(p->s, lu_arena_printf(p->s->mem, "%s: lines of '%s' left out: %s", p->path, name, why.message));
    return LU_OK;
  }
  *out = &r->parts[r->count++];
  **out = (part){.called = name, .log = {.pattern = pattern, .whole = p->faillog->complete}};
  return LU_OK;
}

/* --- which read -------------------------------------------------------------------------------------------------- */

static uint64_t expected_of(const placer *p, const lu_pattern *pattern, uint32_t pass, uint64_t word, uint32_t op, uint64_t *mask)
{
  uint64_t zero = lu_pattern_zero(pattern, &p->r->block, pass, word, mask);
  return (pattern->ops[op].value ? ~zero : zero) & *mask;
}

static bool is_read(const lu_pattern *p, uint64_t op)
{
  return op < p->op_count && p->ops[op].kind == LU_OP_READ;
}

/* The read that a line tells of: by element and operation (from 1), by the operation alone (from 0, over the
 * whole march, as LU_FAIL of the C source gets it), or the element's read that expects what the line does. */
static bool op_of(const placer *p, const lu_pattern *pattern, const lu_failure_line *f, uint32_t pass, uint64_t word, uint64_t expected,
                  uint64_t part_mask, uint32_t *op)
{
  if (!f->element)
    return *op = f->operation, is_read(pattern, f->operation);
  if (f->element > pattern->element_count)
    return false;
  const lu_element *e = &pattern->elements[f->element - 1];
  if (f->operation) {
    *op = e->first_op + f->operation - 1;
    return f->operation <= e->op_count && is_read(pattern, *op);
  }
  for (uint32_t i = 0; i < e->op_count; i++) {
    uint64_t mask;
    *op = e->first_op + i;
    if (is_read(pattern, *op) && !((expected_of(p, pattern, pass, word, *op, &mask) ^ expected) & mask & part_mask))
      return true;
  }
  return false;
}

static void note_off(placer *p, const lu_failure_line *f, const char *name, uint64_t word)
{
  if (!p->off++) {
    p->off_line = f->line;
    snprintf(p->off_text, sizeof p->off_text, "line %u expects 0x%" PRIx64 " at word 0x%" PRIx64 ", which %s does not there", f->line,
             f->expected, word, name);
  }
}

static lu_status place_line(placer *p, part *x, const lu_failure_line *f)
{
  const lu_pattern *pattern = x->log.pattern;
  uint64_t word = (f->address - p->c->subtract) / p->c->divide, mask = 0;
  unsigned shift = p->c->shift(p->c->of, f->address);
  uint64_t part_mask = p->c->lanes ? (uint64_t)0xff << shift : ~(uint64_t)0;
  uint64_t expected = f->expected << shift, wrong = (f->expected ^ f->got) << shift;
  uint32_t passes = lu_pattern_passes(pattern, &p->r->block), first = f->pass ? f->pass - 1 : 0, last = f->pass ? f->pass : passes, op = 0;
  if (word >= p->r->block.words)
    return note_off(p, f, pattern->name, word), LU_OK;
  for (uint32_t pass = first; pass < last && pass < passes; pass++) {
    if (!op_of(p, pattern, f, pass, word, expected, part_mask, &op) ||
        ((expected_of(p, pattern, pass, word, op, &mask) ^ expected) & mask & part_mask))
      continue;
    lu_failure *at = lu_arena_grow(p->s->mem, x->log.at, x->log.count, &x->room, sizeof *at);
    if (!at)
      return no_room(p->s);
    x->log.at = at;
    at[x->log.count++] = (lu_failure){.word = word, .wrong = wrong & mask & part_mask, .op = op, .pass = pass};
    p->placed++;
    return LU_OK;
  }
  return note_off(p, f, pattern->name, word), LU_OK;
}

lu_status lu_marchlog_of(lu_session *s, const char *path, const lu_faillog *log, const char *pattern, const lu_network *n,
                         const lu_march_counting *c, lu_march_reading **out)
{
  placer p = {.s = s, .path = path, .faillog = log, .n = n, .c = c, .r = LU_NEW(s->mem, lu_march_reading, 1)};
  part *given = NULL;
  size_t nameless = 0;
  *out = NULL;
  if (!p.r)
    return no_room(s);
  p.r->block = lu_drive_block(n);
  if (pattern) {
    lu_pattern *named;
    lu_status bad = lu_patterns_called(pattern, s->mem, &named, &s->err);
    if (!bad)
      bad = lu_pattern_fits(named, &p.r->block, &s->err);
    if (bad)
      return bad;
    given = &p.r->parts[p.r->count++];
    *given = (part){.called = pattern, .log = {.pattern = named, .whole = log->complete}};
  }
  for (size_t i = 0; i < log->count; i++) {
    const lu_failure_line *f = &log->at[i];
    part *x = given;
    if (!f->element && !f->operation) {
      nameless++;
      continue;
    }
    lu_status bad = given || !f->pattern ? LU_OK : part_called(&p, f->pattern, &x);
    if (!bad && x)
      bad = place_line(&p, x, f);
    if (bad)
      return bad;
    nameless += !x;
  }
  if (p.off && !p.placed)
    return lu_fail_source(&s->err, lu_fail(&s->err, LU_ERR_VALUE, p.off_line, 1, "%.140s: is it the pattern that ran, and the block?", p.off_text), path);
  if (p.off)
    lu_session_note(s, lu_arena_printf(s->mem, "%s: %zu lines left out, which no read of the pattern is: %s", path, p.off, p.off_text));
  if (p.placed && nameless)
    lu_session_note(s, lu_arena_printf(s->mem, "%s: %zu lines that do not say which read they are of left out", path, nameless));
  for (size_t i = 0; i < p.r->count; i++) {
    lu_march_sort(&p.r->parts[i].log, &p.r->block);
    p.r->parts[i].log.whole &= !p.off;
  }
  if (p.placed || (given && !log->count))
    *out = p.r;
  return LU_OK;
}

/* --- words about cells -------------------------------------------------------------------------------------------- */

const char *lu_marchlog_reach(const lu_syndrome_group *g, const lu_memory *block, lu_arena *mem)
{
  const char *text = g->complete ? "all words" : g->words == 1 ? "word" : "words";
  if (!g->complete) {
    for (unsigned i = 0; i < g->words && i < LU_FAILURE_WORDS_SHOWN && text; i++)
      text = lu_arena_printf(mem, "%s%s 0x%" PRIx64, text, i ? "," : "", g->first[i]);
    if (text && g->words > LU_FAILURE_WORDS_SHOWN)
      text = lu_arena_printf(mem, "%s and %" PRIu64 " more", text, g->words - LU_FAILURE_WORDS_SHOWN);
    return text ? text : "";
  }
  const char *join = " with ";
  for (unsigned bit = 0; bit < 64 && text && block->words > 1; bit++)
    if (g->fixed >> bit & 1) {
      text = lu_arena_printf(mem, "%s%sA%u = %u", text, join, bit, (unsigned)(g->value >> bit & 1));
      join = ", ";
    }
  return text ? text : "";
}

const char *lu_marchlog_syndrome(uint64_t syndrome, unsigned reads, lu_arena *mem)
{
  char *text = lu_arena_take(mem, reads + 1);
  for (unsigned i = 0; text && i < reads; i++)
    text[i] = syndrome >> i & 1 ? '1' : '0';
  if (text)
    text[reads] = 0;
  return text ? text : "";
}

static size_t count_faults(const lu_victim *v)
{
  size_t n = 0;
  for (size_t m = 0; m < LU_CELL_MODELS; m++)
    n += (size_t)__builtin_popcountll(v->found[m]);
  return n;
}

/* Whether a reading's words are those of the cell's. */
static bool same_words(const lu_reading *readings, size_t i, const lu_march_cell *cell)
{
  const lu_network *a = readings[i].evidence.network, *b = readings[cell->reading].evidence.network;
  return readings[i].march && a->block == b->block && a->vantage == b->vantage;
}

/* The pattern that says most of the cell: the one that locates an aggressor, else the one that leaves the
 * fewest primitives (*least). */
static lu_status victim_of(lu_session *s, const lu_march_reading *r, const lu_march_cell *cell, size_t *least, lu_victim *out)
{
  for (size_t i = 0; i < r->count; i++) {
    const lu_march_log *log = &r->parts[i].log;
    lu_victim v;
    size_t from = 0, to;
    while (from < log->count && log->at[from].word < cell->word)
      from++;
    for (to = from; to < log->count && log->at[to].word == cell->word;)
      to++;
    lu_status bad = lu_victim_of(log->pattern, &r->block, cell->word, cell->bit, log->at + from, to - from, log->whole, log->last_pass,
                                 s->mem, &v, &s->err);
    if (bad)
      return bad;
    size_t n = v.located ? 0 : v.kind ? count_faults(&v) : SIZE_MAX;
    if (n < *least) {
      *least = n;
      *out = v;
    }
  }
  return LU_OK;
}

/* What the aggressor's place is, in words and for scripts. */
static const char *aggressor_of(lu_session *s, const lu_march_reading *r, const lu_victim *v)
{
  if (v->kind != LU_VICTIM_COUPLED)
    return NULL;
  if (v->located)
    return lu_arena_printf(s->mem, "0x%" PRIx64, (r->block.base_word + v->aggressor) * r->block.bytes);
  return v->side < 0 ? "below" : v->side > 0 ? "above" : NULL;
}

static const char *disturbed_by(lu_session *s, const lu_victim *v, const char *aggressor)
{
  if (v->kind != LU_VICTIM_COUPLED)
    return "";
  const char *text = v->located ? lu_arena_printf(s->mem, "; disturbed by the cell of the same bit at 0x%s", aggressor + 2)
                     : v->side  ? lu_arena_printf(s->mem, "; disturbed by a cell at an address %s", aggressor)
                                : "; disturbed by another cell";
  return text ? text : "";
}

/* Kind of defect and aggressor, wherever the finding speaks of the cell. */
static lu_status say_cell(lu_session *s, const lu_reading *readings, size_t count, const lu_march_cell *cell, const lu_result *result,
                          lu_finding *f)
{
  lu_victim v = {.text = ""};
  const lu_march_reading *r = NULL;
  size_t least = SIZE_MAX;
  lu_status bad = LU_OK;
  for (size_t i = 0; i < count && !bad; i++)
    if (same_words(readings, i, cell))
      bad = victim_of(s, r = readings[i].march, cell, &least, &v);
  if (bad || !r) /* words alone show it: nothing is known of its kind */
    return bad;
  const char *aggressor = aggressor_of(s, r, &v), *by = disturbed_by(s, &v, aggressor);
  const char *kind = v.model ? lu_arena_printf(s->mem, "%s%s", v.text, by) : "no single primitive gives its failing reads, or the log is cut";
  uint64_t address = (r->block.base_word + cell->word) * r->block.bytes;
  for (size_t i = 0; i < result->explanation_count && i < f->explanation_count; i++)
    for (size_t k = 0; k < result->explanations[i].count; k++) {
      lu_said_fault *said = &f->explanations[i].faults[k];
      if (memcmp(&result->explanations[i].faults[k], &cell->fault, sizeof cell->fault))
        continue;
      said->model = v.model;
      said->models = v.model ? v.text : NULL;
      said->aggressor = aggressor;
      said->text = lu_arena_printf(s->mem, "%s: %s", said->text, kind);
      if (!said->text)
        return no_room(s);
    }
  for (size_t i = 0; i < result->suspect_count && i < f->suspect_count; i++) {
    lu_said_suspect *x = &f->suspects[i];
    if (result->suspects[i].net != UINT16_MAX || memcmp(&result->suspects[i].fault, &cell->fault, sizeof cell->fault))
      continue;
    x->why = lu_arena_printf(s->mem, "Bit %u at 0x%" PRIx64 " alone fails: %s. No line fault does that.", cell->bit, address, kind);
    if (v.kind == LU_VICTIM_COUPLED && !v.located)
      x->settle = lu_arena_printf(s->mem, "Run the pattern `aggressor` over this memory (lineup pattern show aggressor): it finds the cell that "
                                  "disturbs this one. The chip needs replacing either way.");
    if (!x->why)
      return no_room(s);
  }
  return LU_OK;
}

/* --- symptoms ------------------------------------------------------------------------------------------------------- */

static lu_status add_symptom(lu_session *s, lu_finding *f, size_t *room, const char *kind, const char *text)
{
  lu_said_symptom *p = text ? lu_arena_grow(s->mem, f->symptoms, f->symptom_count, room, sizeof *p) : NULL;
  if (!p)
    return no_room(s);
  f->symptoms = p;
  p[f->symptom_count++] = (lu_said_symptom){kind, text};
  return LU_OK;
}

/* The kinds of failure, the widest first: bit, failing reads, reach. */
static lu_status add_groups(lu_session *s, const lu_march_reading *r, const part *x, const char *block, lu_finding *f, size_t *room)
{
  lu_syndrome_group *groups = NULL;
  size_t count = 0;
  lu_status bad = lu_failures_group(x->log.pattern, &r->block, x->log.at, x->log.count, s->mem, &groups, &count, &s->err);
  for (size_t i = 0; !bad && i < count && i < GROUPS_TOLD; i++) {
    const lu_syndrome_group *g = &groups[i];
    bool line = g->complete && g->words > 1;
    bad = add_symptom(s, f, room, line ? "failing-reads" : "failing-cells",
                      lu_arena_printf(s->mem, "%sD%u fails reads %s of %s at %s.", block, g->bit,
                                      lu_marchlog_syndrome(g->syndrome, lu_cells_reads(x->log.pattern), s->mem), x->log.pattern->name,
                                      lu_marchlog_reach(g, &r->block, s->mem)));
  }
  if (!bad && count > GROUPS_TOLD)
    bad = add_symptom(s, f, room, "failing-reads", lu_arena_printf(s->mem, "%s%s: %zu more kinds of failure.", block, x->log.pattern->name, count - GROUPS_TOLD));
  return bad;
}

static uint64_t words_that_fail(const lu_march_reading *r)
{
  uint64_t most = 0;
  for (size_t i = 0; i < r->count; i++) {
    const lu_march_log *log = &r->parts[i].log;
    uint64_t n = 0;
    for (size_t k = 0; k < log->count; k++)
      n += !k || log->at[k].word != log->at[k - 1].word;
    most = n > most ? n : most;
  }
  return most;
}

static lu_status describe_one(lu_session *s, const lu_reading *x, bool several, lu_finding *f, size_t *room)
{
  const lu_march_reading *r = x->march;
  const char *block = several ? lu_arena_printf(s->mem, "%s: ", x->name) : "";
  lu_status bad = block ? LU_OK : no_room(s);
  bool whole = true;
  for (size_t i = 0; !bad && i < r->count; i++) {
    bad = add_groups(s, r, &r->parts[i], block, f, room);
    whole &= r->parts[i].log.whole;
  }
  if (!bad && !whole)
    lu_session_note(s, lu_arena_printf(s->mem, "%sThe log does not say that the test came to its end: reads after its last failure are taken as not known.", block));
  f->words += r->block.words;
  f->wrong_words += words_that_fail(r);
  f->width = r->block.width > f->width ? r->block.width : f->width;
  return bad;
}

lu_status lu_marchlog_describe(lu_session *s, const lu_reading *readings, size_t count, const lu_march_result *x, lu_finding *f)
{
  size_t room = 0;
  lu_status bad = LU_OK;
  for (size_t i = 0; !bad && i < x->cell_count; i++)
    bad = say_cell(s, readings, count, &x->cells[i], &x->result, f);
  for (size_t i = 0; !bad && i < count; i++)
    if (readings[i].march)
      bad = describe_one(s, &readings[i], count > 1, f, &room);
  return bad;
}

/* --- explanations ----------------------------------------------------------------------------------------------- */

/* For names and priors: the block, and no word that was read. */
static lu_status names_only(lu_session *s, const lu_network *n, lu_evidence *e)
{
  *e = (lu_evidence){.network = n, .know = LU_KNOW_WRITTEN};
  lu_status bad = lu_session_contents(s, "address", n, NULL, &e->known);
  e->got = e->known;
  e->got.held = LU_NEW(s->mem, uint64_t, e->got.count / 64 + 1);
  e->got.held_count = 0;
  return bad ? bad : e->got.held ? LU_OK : no_room(s);
}

lu_status lu_marchlog_explain(lu_session *s, const lu_reading *readings, size_t count, const lu_priors *priors, double noise,
                              lu_march_result **out)
{
  lu_evidence *e = LU_NEW(s->mem, lu_evidence, count);
  lu_march_look *looks = LU_NEW(s->mem, lu_march_look, count);
  lu_joint *joint = NULL;
  lu_status bad = e && looks ? LU_OK : no_room(s);
  for (size_t i = 0; !bad && i < count; i++) {
    const lu_march_reading *r = readings[i].march;
    e[i] = readings[i].evidence;
    if (!r)
      continue;
    const lu_march_log **logs = LU_NEW(s->mem, const lu_march_log *, r->count + 1);
    for (size_t k = 0; logs && k < r->count; k++)
      logs[k] = &r->parts[k].log;
    looks[i] = (lu_march_look){logs, r->count};
    bad = logs ? names_only(s, readings[i].evidence.network, &e[i]) : no_room(s);
  }
  if (!bad)
    bad = lu_joint_new(e, count, priors, noise, s->mem, &joint, &s->err);
  return bad ? bad : lu_march_explain(joint, looks, s->mem, out, &s->err);
}
