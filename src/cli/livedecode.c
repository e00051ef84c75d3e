/* SPDX-License-Identifier: MIT */
#include "cli/livedecode.h"

#include "api/judge.h"
#include "cli/record.h"
#include "formats/dumpform.h"
#include "pattern/contents.h"
#include "report/report.h"

#include <inttypes.h>
#include <string.h>

enum { PIECE = 4096, WORDS_MOST = 1 << 22, JUDGED_MOST = 20 };
static const char fill[] = "prbs23"; /* no two address bits and no two data bits look alike in it */

uint16_t *lu_live_contents(const lu_live *l, const char *name)
{
  const lu_link_block *b = l->b;
  const lu_contents *c;
  uint16_t *words = lu_arena_big(l->run->mem, (size_t)b->count * sizeof *words);
  if (!words || lu_contents_named(name, &c, NULL) != LU_OK)
    return NULL;
  uint64_t base = b->n ? b->n->base_word : b->from;
  for (uint64_t i = 0; i < b->count; i++)
    words[i] = (uint16_t)lu_contents_word(c, 0, b->data_bits, base, b->bytes, lu_link_word(b, b->from + i) - base);
  return words;
}

lu_status lu_live_hold(const lu_live *l, const uint16_t *words, uint16_t *got, uint32_t *done,
                       void (*wait)(void *to, uint64_t us), void *to, uint64_t us, lu_err *err)
{
  const lu_memio *m = l->memory;
  uint32_t count = (uint32_t)l->b->count, from = (uint32_t)l->b->from, n = 0;
  lu_status bad = LU_OK;
  *done = 0;
  for (uint32_t at = 0; !bad && at < count && !lu_hooks_stop(l->hooks); at += PIECE)
    bad = m->write(m->self, from + at, count - at < PIECE ? count - at : PIECE, words + at, &n, err);
  if (!bad && wait && us)
    wait(to, us);
  while (!bad && *done < count && !lu_hooks_stop(l->hooks)) {
    bad = m->read(m->self, from + *done, count - *done < PIECE ? count - *done : PIECE, got + *done, &n, err);
    *done += n;
  }
  return bad;
}

/* ---- one judgement ---- */
typedef struct asked {
  lu_reading_args args;
  lu_texts dumps;
  lu_finding *finding;
  lu_result *result;
  lu_reading *reading;
  size_t first_file;
} asked;

static lu_status judge(lu_live *l, asked *x)
{
  lu_session *s = l->b->s;
  if (!l->b->n)
    s->board = NULL; /* each reading without a board makes its own */
  s->note_count = 0;
  x->first_file = s->file_count;
  lu_status bad = lu_readings_of_args(s, &x->args, &x->dumps, &x->reading);
  return bad ? bad : lu_judge(s, x->reading, 1, !l->b->n, &x->result, &x->finding);
}

static lu_reading_args args_of(const lu_live *l)
{
  const lu_link_block *b = l->b;
  lu_reading_args a = {.block = b->n && b->n->block != LU_NONE ? b->name : NULL, .vantage = b->where.vantage};
  if (b->n && b->from != b->n->base_word)
    a.at = lu_arena_printf(l->run->mem, "0x%" PRIx64, b->from * b->bytes);
  if (!b->n) {
    a.width = b->data_bits;
    a.order = b->big ? "big" : NULL;
  }
  return a;
}

/* Puts words into a file that only decode sees. */
static lu_status dump_of(lu_live *l, const char *what, const uint16_t *words, asked *x)
{
  lu_link_block *b = l->b;
  lu_inflow text;
  lu_dump dump;
  const char *name = lu_link_block_name(b, what, "bin");
  lu_status bad = lu_link_block_dump(b, words, (uint32_t)b->count, &dump);
  if (bad)
    return bad;
  bad = lu_link_form("", "raw", &dump, &text, &b->s->err);
  uint8_t *copy = bad ? NULL : lu_arena_big(l->run->mem, text.len + 1);
  if (copy && text.len)
    memcpy(copy, text.at, text.len);
  if (!bad && (!copy || !lu_link_block_keep(b, name, (lu_bytes){copy, text.len})))
    bad = lu_fail(&b->s->err, LU_ERR_LIMIT, 0, 0, "no room for one more dump");
  lu_inflow_free(&text);
  x->args = args_of(l);
  x->dumps.at[0] = name;
  x->dumps.count = 1;
  return bad;
}

static const char *key_of(const lu_live *l, const lu_finding *f)
{
  const char *key = lu_arena_printf(l->run->mem, "%s", f->verdict);
  for (size_t i = 0; key && i < f->suspect_count && i < 8; i++)
    key = lu_arena_printf(l->run->mem, "%s %s", key, f->suspects[i].net ? f->suspects[i].net : f->suspects[i].part);
  return key;
}

static lu_status into_job(lu_live *l, const asked *x)
{
  uint64_t id = 0;
  lu_record r = {.args = &x->args, .dumps = &x->dumps, .first_file = x->first_file, .readings = x->reading, .count = 1};
  if (!l->b->bench)
    return LU_OK;
  lu_status bad = lu_record_dump(l->b->bench, &r, &id);
  return bad ? bad : lu_record_result(l->b->bench, &r, id, x->result, x->finding, NULL);
}

static void tell(lu_live *l, lu_status bad, const asked *x, const char *how)
{
  lu_run *run = l->run;
  if (bad) {
    lu_say_error(run, &l->b->s->err);
    l->b->s->err = (lu_err){0};
    return;
  }
  const char *key = key_of(l, x->finding);
  if (key && l->said && !strcmp(key, l->said)) {
    fputs("decoded again: the same suspects as before\n", run->out);
    return;
  }
  l->said = key;
  lu_text_style style = {.color = run->color, .utf8 = run->utf8, .columns = run->columns};
  fprintf(run->out, "\n%s\n", how);
  lu_report_text(run->out, x->finding, &style);
  fputc('\n', run->out);
  fflush(run->out);
  if (into_job(l, x))
    lu_say_error(run, &l->b->s->err);
}

/* ---- RAM ---- */
static lu_status judge_log(lu_live *l, lu_bytes log, asked *x)
{
  lu_session *s = l->b->s;
  const char *name = lu_link_block_name(l->b, "failures", "txt");
  uint8_t *copy = lu_arena_big(l->run->mem, log.len + 1);
  if (!copy || !lu_link_block_keep(l->b, name, (lu_bytes){copy, log.len}))
    return lu_fail(&s->err, LU_ERR_LIMIT, 0, 0, "no room for one more log");
  memcpy(copy, log.at, log.len);
  *x = (asked){.args = args_of(l)};
  x->args.at = NULL;
  x->args.log = name;
  return judge(l, x);
}

void lu_live_judge_ram(lu_live *l, lu_bytes log)
{
  lu_session *s = l->b->s;
  asked *x = LU_NEW(l->run->mem, asked, 1);
  if (!x || l->asked >= JUDGED_MOST || lu_hooks_stop(l->hooks))
    return;
  l->asked++;
  lu_status bad = LU_OK;
  uint32_t done = 0;
  uint16_t *want = l->b->count <= WORDS_MOST ? lu_live_contents(l, fill) : NULL;
  uint16_t *got = want ? lu_arena_big(l->run->mem, (size_t)l->b->count * sizeof *got) : NULL;
  if (got)
    bad = lu_live_hold(l, want, got, &done, NULL, NULL, 0, &s->err);
  if (lu_hooks_stop(l->hooks))
    return;
  bool whole = got && !bad && done == l->b->count;
  if (whole && memcmp(want, got, (size_t)l->b->count * sizeof *got)) {
    bad = dump_of(l, "readout", got, x);
    x->args.wrote = fill;
    bad = bad ? bad : judge(l, x);
    bool cells = !bad && (!x->finding->suspect_count || !x->finding->suspects[0].net);
    asked *y = cells ? LU_NEW(l->run->mem, asked, 1) : NULL;
    /* of cells, the reads of a pattern tell more: how they fail, and which other cell has a hand in it */
    if (y && judge_log(l, log, y) == LU_OK && y->finding->verdict[0] == 'f')
      tell(l, LU_OK, y, "Decoded at once, from the reads of the pattern that failed:");
    else
      tell(l, bad, x, "Decoded at once, from pseudo-random contents written and read back:");
    return;
  }
  if (bad) /* the device failed: the log is left */
    s->err = (lu_err){0};
  bad = judge_log(l, log, x);
  tell(l, bad, x, whole ? "Right after the failure the whole range reads back right: the fault comes and goes. Decoded from the failures alone:"
                        : "Decoded from the failures alone:");
}

/* ---- ROM ---- */
void lu_live_judge_rom(lu_live *l, const uint16_t *words, const char *image)
{
  asked *x = LU_NEW(l->run->mem, asked, 1);
  if (!x)
    return;
  lu_status bad = dump_of(l, "rom", words, x);
  x->args.expect = image;
  tell(l, bad ? bad : judge(l, x), x, image ? "Decoded at once, against the image:" : "Decoded at once; only a digest is known of the contents:");
}
