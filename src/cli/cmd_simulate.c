/* SPDX-License-Identifier: MIT */
/* lineup simulate: what given faults would read back, by the reasoning's own simulator. */
#include "cli/faultwords.h"
#include "cli/session.h"
#include "api/readings.h"
#include "formats/dumpform.h"
#include "reason/inside.h"
#include "reason/joint.h"

#include <stdlib.h>
#include <string.h>

typedef struct args {
  lu_reading_args reading;
  const char *board, *output, *form, *undriven;
  lu_texts faults, operands;
  uint64_t seed;
} args;

static uint64_t shuffle(uint64_t x)
{
  x += 0x9e3779b97f4a7c15u;
  x = (x ^ x >> 30) * 0xbf58476d1ce4e5b9u;
  x = (x ^ x >> 27) * 0x94d049bb133111ebu;
  return x ^ x >> 31;
}

/* Contents that nothing is known of: as random as power-up contents are, by the seed. */
static uint64_t noise(const args *a, uint64_t i)
{
  return shuffle(a->seed * 0x100000001b3u + i);
}

static void inside_chip(const lu_network *n, const lu_fault *f, uint32_t part, uint64_t i, uint64_t *word)
{
  for (unsigned c = 0; c < n->chip_count; c++) {
    uint32_t row, column;
    if (n->chips[c].part != part)
      continue;
    lu_inside_place(n, c, lu_address_of(n, i), &row, &column);
    bool hit = (f->kind == LU_FAULT_COLUMN || row == f->row) && (f->kind == LU_FAULT_ROW || column == f->column);
    for (unsigned d = 0; hit && d < n->chips[c].out_count; d++)
      if (n->chips[c].column[d] != UINT16_MAX && (f->kind == LU_FAULT_ROW || d == f->data_bit)) {
        uint64_t bit = (uint64_t)1 << n->chips[c].column[d];
        *word = f->level == LU_LEVEL_LOW ? *word & ~bit : *word | bit;
      }
  }
}

/* Every word under the faults, in order: what a bus keeps is what the word before left on it. */
static lu_status fill(lu_session *s, const args *a, lu_evidence *e, const lu_fault *faults, size_t count, lu_level undriven,
                      char *at)
{
  lu_priors priors;
  lu_joint *j;
  lu_status bad = lu_priors_of(e->network->board, &priors, &s->err);
  if (!bad)
    bad = lu_joint_new(e, 1, &priors, 0, s->mem, &j, &s->err);
  if (bad)
    return bad;
  uint64_t hash;
  bool wide, floats;
  j->replays = LU_FAULTS_MOST;
  bool changed = lu_joint_compile(j, 0, faults, count, undriven, &hash, &wide, &floats);
  if (wide)
    return lu_fail(&s->err, LU_ERR_VALUE, 0, 0, "these faults make too many address bits hang together or on data; that is not simulated");
  const lu_view *v = j->looks[0].view;
  e->got.at = at;
  for (size_t i = 0; i < e->got.count; i++) {
    uint64_t value = 0, unknown = 0, mask = changed ? v->changed : 0;
    if (changed)
      lu_view_word(v, e, i, &value, &unknown);
    value = (value & mask) | (lu_word(&e->known, i) & ~mask);
    value = (value & ~unknown) | (noise(a, i) & unknown);
    for (size_t f = 0; f < count; f++)
      if (faults[f].kind >= LU_FAULT_CELL)
        inside_chip(e->network, &faults[f], j->parts[faults[f].part].part, i, &value);
    memcpy(at + i * e->got.bytes, &value, e->got.bytes);
  }
  return LU_OK;
}

static bool to_arena(void *to, const void *at, size_t len)
{
  FILE *f = to;
  return fwrite(at, 1, len, f) == len;
}

static lu_status write_dump(lu_session *s, const args *a, const lu_evidence *e)
{
  const lu_vantage *v = &e->network->board->vantages[e->network->vantage];
  size_t bytes = lu_word_dump_bytes(v->data_bits), len = e->got.count * bytes;
  uint8_t *raw = lu_arena_big(s->mem, len);
  if (!raw)
    return lu_fail(&s->err, LU_ERR_NOMEM, 0, 0, "no room for the dump");
  for (size_t i = 0; i < e->got.count; i++)
    for (size_t b = 0; b < bytes; b++)
      raw[i * bytes + (v->big_endian ? bytes - 1 - b : b)] = (uint8_t)(lu_word(&e->got, i) >> (8 * b));
  lu_span span = {.base = e->network->base_word * v->bytes, .len = len, .at = raw};
  lu_dump d = {.format = "raw", .has_addresses = true, .span_count = 1, .spans = &span};
  const lu_dumpform *form = lu_dumpform_named(a->form ? a->form : "raw");
  if (!form)
    return lu_fail(&s->err, LU_ERR_USAGE, 0, 0, "no dump form '%s'", a->form);
  char *text = NULL;
  size_t size = 0;
  FILE *f = open_memstream(&text, &size);
  bool ok = f && form->write(&d, (lu_sink){to_arena, f});
  if (f)
    fclose(f);
  lu_status bad = ok ? lu_file_write(a->output ? a->output : "-", text, size, &s->err)
                     : lu_fail(&s->err, LU_ERR_VALUE, 0, 0, "the form %s cannot hold this dump", form->name);
  free(text);
  return bad;
}

static lu_status simulate_all(lu_session *s, const args *a)
{
  lu_network *n;
  lu_level undriven = LU_LEVEL_HIGH;
  lu_status bad = lu_session_board(s, a->board);
  if (!bad)
    bad = lu_readings_network(s, a->reading.block, a->reading.vantage, 0, &n);
  if (!bad && a->undriven)
    bad = lu_fault_level(a->undriven, &undriven, &s->err);
  if (bad)
    return bad;
  lu_evidence e = {.network = n, .know = a->reading.wrote ? LU_KNOW_WRITTEN : LU_KNOW_CONTENTS};
  const char *what = a->reading.wrote ? a->reading.wrote : a->reading.expect;
  bad = lu_session_contents(s, what, n, NULL, &e.known);
  if (bad)
    return bad;
  e.got = e.known;
  char *at = lu_arena_big(s->mem, e.got.count * e.got.bytes + 1);
  lu_fault faults[LU_FAULTS_MOST];
  if (!at)
    return lu_fail(&s->err, LU_ERR_NOMEM, 0, 0, "no room");
  bad = lu_fault_words(s, &e, &a->faults, faults);
  if (!bad)
    bad = fill(s, a, &e, faults, a->faults.count, undriven, at);
  return bad ? bad : write_dump(s, a, &e);
}

static int simulate(lu_run *run, void *opaque)
{
  const args *a = opaque;
  if (!a->board)
    return lu_say_usage(run, "simulate: expects --board FILE");
  if (!a->reading.expect == !a->reading.wrote)
    return lu_say_usage(run, "simulate: expects either --expect or --wrote");
  if (a->faults.count > LU_FAULTS_MOST)
    return lu_say_usage(run, "simulate: at most %d faults", LU_FAULTS_MOST);
  lu_session *s = lu_session_new(run);
  if (!s)
    return LU_EXIT_SYSTEM;
  lu_status bad = simulate_all(s, a);
  int code = bad ? lu_say_error(run, &s->err) : LU_EXIT_CLEAN;
  lu_session_end(s);
  return code;
}

#define AT(field) offsetof(args, field)
static const lu_option options[] = {
    {"board", 'b', LU_OPT_TEXT, AT(board), 0, 0, "FILE", "board file"},
    {"block", 0, LU_OPT_TEXT, AT(reading.block), 0, 0, "NAME", "the memory block that is read"},
    {"vantage", 0, LU_OPT_TEXT, AT(reading.vantage), 0, 0, "NAME", "read from there; chip:U3 = out of circuit"},
    {"expect", 'e', LU_OPT_TEXT, AT(reading.expect), 0, 0, "WHAT", "contents that are in there: a file or a pattern"},
    {"wrote", 'w', LU_OPT_TEXT, AT(reading.wrote), 0, 0, "WHAT", "written through the same lines, then read"},
    {"fault", 'f', LU_OPT_LIST, AT(faults), 0, 0, "WORDS", "a fault, in words as below; up to four"},
    {"undriven", 0, LU_OPT_TEXT, AT(undriven), 0, 0, "LEVEL", "what a bus without driver reads: high, low, keep, address"},
    {"seed", 0, LU_OPT_NUMBER, AT(seed), 0, 0, "N", "contents that nothing is known of"},
    {"form", 0, LU_OPT_TEXT, AT(form), 0, 0, "FORM", "raw, ihex, srec or hextext (default raw)"},
    {"output", 'o', LU_OPT_TEXT, AT(output), 0, 0, "FILE", "where the dump goes (default standard output)"},
    {0},
};

static const char *const examples[] = {
    "lineup simulate --board docs/demo/tide.yaml --block 'boot ROM' --expect docs/demo/tide-rom.bin --fault 'stuck A5 low' -o dump.bin",
    "lineup simulate -b docs/demo/tide.yaml --block 'record RAM' -w address -f 'open DRA3 U16.12 high' -f 'dead U20' -o dump.bin",
    NULL,
};

static const char *const notes[] = {
    "Faults:",
    "  open NET PIN[,PIN] [high|low|keep]    dead PART [outputs|writes|all]",
    "  stuck NET low|high                    cell PART ROW COLUMN [BIT] [LEVEL]",
    "  bridge NET NET [and|or|first|second]  row PART ROW [LEVEL]",
    "  swap NET NET PART                     column PART COLUMN [BIT] [LEVEL]",
    NULL,
};

const lu_command lu_command_simulate = {
    .name = "simulate",
    .summary = "what given faults on a board would read back",
    .usage = "--board FILE --block NAME --expect|--wrote WHAT [--fault WORDS ...] [-o FILE]",
    .options = options,
    .args_size = sizeof(args),
    .operands_offset = AT(operands),
    .least_operands = 0,
    .most_operands = 0,
    .examples = examples,
    .notes = notes,
    .run = simulate,
};
