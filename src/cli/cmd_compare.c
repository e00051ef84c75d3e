/* SPDX-License-Identifier: MIT */
/* lineup compare: what a repair changed. */
#include "cli/bench.h"
#include "cli/boardview.h"
#include "base/io.h"
#include "base/text.h"
#include "cli/session.h"
#include "api/judge.h"
#include "cli/record.h"
#include "cli/readingoptions.h"
#include "reason/chipdiff.h"
#include "reason/contrast.h"

#include <inttypes.h>
#include <jansson.h>
#include <stdlib.h>
#include <string.h>

/* Without a board and without known contents, suspects are only worked out up to this size. */
enum { BLIND_BYTES_MOST = 1 << 20, SAME_BYTES_LEAST = 1 << 20, PARTS_MOST = 64 };
static const double suspect_share = 0.05;

typedef struct args {
  lu_reading_args reading;
  const char *board;
  bool json;
  lu_texts operands;
} args;

typedef struct side {
  const char *name;
  lu_reading *readings; /* NULL: only words */
  size_t count;
  lu_words words;       /* of a plain dump */
  json_t *finding;      /* NULL: not judged */
  uint64_t entry;       /* of a job: the number of the result, or of what was read where there is none; else 0 */
} side;

/* One block of both sides, or the two dumps. */
typedef struct part {
  const char *name;     /* of the block; NULL: there is only one */
  const lu_reading *reading[2]; /* NULL: only words */
  lu_words words[2];
  lu_contrast change;
  unsigned word_bytes;
  const lu_network *network;  /* of a block of a board, else NULL */
  lu_chip_diff *chips;
} part;

typedef struct comparison {
  lu_session *s;
  const args *a;
  side side[2];
  part *parts;
  size_t part_count;
  bool judged, same;
  lu_bench *bench;      /* entries of a job, else NULL */
  json_t *cleared, *remaining, *fresh, *notes;
} comparison;

static lu_status no_room(comparison *c)
{
  return lu_fail(&c->s->err, LU_ERR_NOMEM, 0, 0, "no room");
}

/* --- two dumps ---------------------------------------------------------------------------------------- */

static lu_status plain_words(comparison *c, side *x)
{
  const lu_reading_args *r = &c->a->reading;
  uint64_t at = UINT64_MAX;
  unsigned width = r->width ? (unsigned)r->width : 8;
  if (r->order && strcmp(r->order, "big") && strcmp(r->order, "little"))
    return lu_fail(&c->s->err, LU_ERR_USAGE, 0, 0, "--byte-order expects big or little, found '%.40s'", r->order);
  if (r->at && !lu_text_size(r->at, strlen(r->at), UINT64_MAX - 1, &at))
    return lu_fail(&c->s->err, LU_ERR_USAGE, 0, 0, "--at expects a byte address, found '%.40s'", r->at);
  lu_block_shape shape = {.width = width, .order = r->order && r->order[0] == 'b' ? LU_ORDER_BIG : LU_ORDER_LITTLE};
  return lu_session_words(c->s, x->name, &shape, at, &x->words);
}

static lu_status judge(comparison *c, side *x)
{
  lu_finding *f;
  lu_status bad = lu_judge(c->s, x->readings, 1, !c->a->board, NULL, &f);
  if (!bad && !(x->finding = lu_record_finding_json(f)))
    bad = no_room(c);
  return bad;
}

static lu_status read_side(comparison *c, side *x)
{
  const lu_reading_args *r = &c->a->reading;
  bool known = r->expect || r->wrote;
  if (!c->a->board && !known)
    return plain_words(c, x);
  lu_texts *one = LU_NEW(c->s->mem, lu_texts, 1);
  if (!one)
    return no_room(c);
  one->at[one->count++] = x->name;
  if (!c->a->board)
    c->s->board = NULL; /* the other side's plain board may have another size */
  lu_status bad = lu_readings_of_args(c->s, r, one, &x->readings);
  if (!bad) {
    x->words = x->readings->evidence.got;
    bad = judge(c, x);
  }
  return bad;
}

/* Small dumps of which nothing is known are judged by themselves. */
static lu_status judge_blind(comparison *c)
{
  for (int i = 0; i < 2; i++)
    if (c->side[i].words.count * c->side[i].words.bytes > BLIND_BYTES_MOST)
      return LU_OK;
  for (int i = 0; i < 2; i++) {
    lu_texts *one = LU_NEW(c->s->mem, lu_texts, 1);
    if (!one)
      return no_room(c);
    one->at[one->count++] = c->side[i].name;
    c->s->board = NULL;
    lu_status bad = lu_readings_of_args(c->s, &c->a->reading, one, &c->side[i].readings);
    if (!bad)
      bad = judge(c, &c->side[i]);
    if (bad)
      return bad;
  }
  return LU_OK;
}

/* The words are a file's own bytes, from its start. */
static bool as_in_file(const comparison *c, const side *x)
{
  for (size_t i = 0; i < c->s->file_count; i++)
    if (!strcmp(c->s->names[i], x->name) && c->s->files[i].bytes.at == x->words.at)
      return !x->words.held;
  return false;
}

/* Large files that are mostly the same are held against each other as they are read. */
static size_t same_words(const comparison *c)
{
  const side *x = &c->side[0], *y = &c->side[1];
  size_t bytes = x->words.count * x->words.bytes;
  bool plain = bytes >= SAME_BYTES_LEAST && x->words.bytes == y->words.bytes && x->words.base == y->words.base;
  return plain && as_in_file(c, x) && as_in_file(c, y) ? lu_files_agree(x->name, y->name) / x->words.bytes : 0;
}

static bool same_known(const lu_evidence *a, const lu_evidence *b)
{
  if (a->know != b->know || a->known.count != b->known.count)
    return false;
  size_t bytes = a->known.count * a->known.bytes;
  return !a->known.at || (a->known.bytes == b->known.bytes && !memcmp(a->known.at, b->known.at, bytes));
}

static void note(comparison *c, const char *text)
{
  json_array_append_new(c->notes, lu_json_text(text ? text : "?"));
}

/* Where the differences stand in the chips, when a board says which there are. */
static lu_status by_chip(comparison *c, part *p)
{
  const lu_reading *x = p->reading[0];
  bool board = c->a->board || (c->bench && lu_bench_board_name(c->bench));
  if (!board || !x || p->words[0].count != p->words[1].count)
    return LU_OK;
  p->network = x->evidence.network;
  p->chips = lu_chip_diffs(p->network, &p->words[0], &p->words[1], p->change.known ? &x->evidence.known : NULL, c->s->mem);
  return p->chips ? LU_OK : no_room(c);
}

/* x, y: NULL for plain dumps, which are the sides' words. same: words that are known to be equal from the start. */
static lu_status add_part(comparison *c, const char *name, const lu_reading *x, const lu_reading *y, size_t same)
{
  part *p = &c->parts[c->part_count];
  bool one = x && y && same_known(&x->evidence, &y->evidence);
  *p = (part){.name = name, .reading = {x, y}, .words = {x ? x->evidence.got : c->side[0].words, y ? y->evidence.got : c->side[1].words}};
  p->word_bytes = lu_word_dump_bytes(p->words[0].width);
  if (x && y && !one)
    note(c, lu_arena_printf(c->s->mem, "%s%sthe contents that were expected or written have changed between the two", name ? name : "", name ? ": " : ""));
  lu_status bad = lu_contrast_after(&p->words[0], &p->words[1], same, one ? &x->evidence.known : NULL, c->s->mem, &p->change, &c->s->err);
  c->same = (c->same || !c->part_count) && !p->change.diff.differ && !p->change.only_before && !p->change.only_after;
  c->part_count += !bad;
  return bad ? bad : by_chip(c, p);
}

static lu_status compare_dumps(comparison *c)
{
  lu_status bad = c->a->board ? lu_session_board(c->s, c->a->board) : LU_OK;
  for (int i = 0; !bad && i < 2; i++) {
    c->side[i].name = c->a->operands.at[i];
    bad = read_side(c, &c->side[i]);
  }
  if (!bad)
    bad = add_part(c, NULL, c->side[0].readings, c->side[1].readings, same_words(c));
  return bad || c->side[0].readings ? bad : judge_blind(c);
}

/* --- two results of a job ------------------------------------------------------------------------------ */

/* "tide.job#7": entry 7 of a job. */
static const char *job_operand(lu_session *s, const char *text, uint64_t *id)
{
  const char *hash = strrchr(text, '#');
  if (!hash || hash == text || !lu_text_u64(hash + 1, strlen(hash + 1), 10, UINT32_MAX, id))
    return NULL;
  return lu_arena_text(s->mem, text, (size_t)(hash - text));
}

/* The finding of a result; *dump: the entry of what it judged. */
static lu_status take_result(comparison *c, side *x, const lu_job_entry *e, const lu_job_entry **dump)
{
  json_error_t je;
  json_t *body = json_loads(e->body, 0, &je);
  x->name = lu_arena_printf(c->s->mem, "result %" PRIu64 " (%s)", e->id, e->at);
  x->entry = e->id;
  x->finding = json_incref(json_object_get(body, "finding"));
  *dump = lu_bench_entry(c->bench, (uint64_t)json_integer_value(json_object_get(body, "of")));
  json_decref(body);
  return x->finding ? LU_OK : lu_fail(&c->s->err, LU_ERR_SYNTAX, 0, 0, "entry %" PRIu64 " holds no finding", e->id);
}

/* The result that judged a dump, or NULL. */
static const lu_job_entry *result_of(const lu_bench *b, uint64_t dump)
{
  for (size_t i = dump; i < b->count; i++) {
    json_error_t je;
    json_t *body = strcmp(b->entries[i].kind, "result") ? NULL : json_loads(b->entries[i].body, 0, &je);
    bool its = json_integer_value(json_object_get(body, "of")) == (json_int_t)dump;
    json_decref(body);
    if (its)
      return &b->entries[i];
  }
  return NULL;
}

/* A result, or what was read: its result, where there is one, goes with it. */
static lu_status take_entry(comparison *c, side *x, uint64_t id)
{
  const lu_job_entry *e = lu_bench_entry(c->bench, id), *dump = NULL;
  bool result = e && !strcmp(e->kind, "result");
  lu_status bad = LU_OK;
  if (!result && (!e || strcmp(e->kind, "dump")))
    return lu_fail_source(&c->s->err, lu_fail(&c->s->err, LU_ERR_MISSING, 0, 0, "entry %" PRIu64 " is %s%s, expected a result or a dump", id,
                                              e ? "a " : "not in the history", e ? e->kind : ""), c->bench->path);
  if (!result) {
    dump = e;
    x->entry = id;
    e = result_of(c->bench, id);
  }
  if (e)
    bad = take_result(c, x, e, &dump);
  if (!bad && !lu_bench_board_name(c->bench))
    c->s->board = NULL;
  return bad || !dump ? bad : lu_record_read(c->bench, dump, &x->readings, &x->count);
}

static bool comparable(const lu_reading *x, const lu_reading *y)
{
  return !strcmp(x->name, y->name) && !x->march && !y->march && x->evidence.got.width == y->evidence.got.width;
}

/* Blocks that both have are held against each other; where one has several readings of a block, in their order. */
static lu_status pair_blocks(comparison *c)
{
  side *x = &c->side[0], *y = &c->side[1];
  bool *used = LU_NEW(c->s->mem, bool, y->count + 1);
  lu_status bad = used ? LU_OK : no_room(c);
  bool whole = true;
  for (size_t i = 0; !bad && i < x->count; i++) {
    size_t k = 0;
    while (k < y->count && (used[k] || !comparable(&x->readings[i], &y->readings[k])))
      k++;
    if (k < y->count && c->part_count < PARTS_MOST) {
      used[k] = true;
      bad = add_part(c, x->count > 1 || y->count > 1 ? x->readings[i].name : NULL, &x->readings[i], &y->readings[k], 0);
      continue;
    }
    whole = false;
    note(c, lu_arena_printf(c->s->mem, "%s of the first has nothing to be compared with in the second", x->readings[i].name));
  }
  for (size_t k = 0; !bad && k < y->count; k++)
    if (!used[k]) {
      whole = false;
      note(c, lu_arena_printf(c->s->mem, "%s of the second has nothing to be compared with in the first", y->readings[k].name));
    }
  c->same = c->part_count ? c->same && whole : json_equal(x->finding, y->finding);
  return bad;
}

static lu_status compare_entries(comparison *c, const char *path, uint64_t first, uint64_t second)
{
  lu_status bad = lu_bench_open(c->s, path, LU_JOB_READ, &c->bench);
  if (!bad && lu_bench_board_name(c->bench))
    bad = lu_bench_board(c->bench);
  if (!bad)
    bad = take_entry(c, &c->side[0], first);
  if (!bad)
    bad = take_entry(c, &c->side[1], second);
  return bad ? bad : pair_blocks(c);
}

/* --- suspects ---------------------------------------------------------------------------------------------- */

static const char *suspect_name(const json_t *x)
{
  const char *net = json_string_value(json_object_get(x, "net"));
  return net ? net : json_string_value(json_object_get(x, "part"));
}

static json_t *suspects_of(const side *x)
{
  return json_object_get(x->finding, "suspects");
}

static json_t *find_suspect(json_t *list, const char *name)
{
  for (size_t i = 0; i < json_array_size(list); i++) {
    json_t *x = json_array_get(list, i);
    const char *n = suspect_name(x);
    if (n && name && !strcmp(n, name) && json_real_value(json_object_get(x, "probability")) >= suspect_share)
      return x;
  }
  return NULL;
}

/* A reading or repair between the two entries that names the net (or one of its pins). */
static bool worked_on(const comparison *c, const json_t *x)
{
  const char *name = suspect_name(x);
  if (!c->bench || !c->side[0].entry || !name)
    return false;
  for (uint64_t id = c->side[0].entry + 1; id < c->side[1].entry; id++) {
    const lu_job_entry *e = lu_bench_entry(c->bench, id);
    if (!strcmp(e->kind, "repair") || !strcmp(e->kind, "reading")) {
      json_error_t je;
      json_t *body = json_loads(e->body, 0, &je), *nets = json_object_get(body, "nets");
      bool hit = false;
      for (size_t i = 0; i < json_array_size(nets); i++) {
        const char *net = json_string_value(json_array_get(nets, i));
        hit |= net && !strcmp(net, name);
      }
      json_decref(body);
      if (hit)
        return true;
    }
  }
  return false;
}

/* Of all explanations, the share that has a fault of that kind between these nets. */
static double share_with(json_t *list, json_t *fault)
{
  double all = 0;
  for (size_t i = 0; i < json_array_size(list); i++) {
    json_t *e = json_array_get(list, i), *faults = json_object_get(e, "faults");
    bool holds = false;
    for (size_t k = 0; k < json_array_size(faults); k++) {
      json_t *f = json_array_get(faults, k);
      holds |= json_equal(json_object_get(f, "kind"), json_object_get(fault, "kind")) &&
               json_equal(json_object_get(f, "nets"), json_object_get(fault, "nets"));
    }
    all += holds ? json_real_value(json_object_get(e, "probability")) : 0;
  }
  return all;
}

/* The likeliest exchange or bridge of the net in what explains the second reading: a fault as decode tells it,
 * with its probability. NULL: the data say neither. */
static json_t *wrong_pin(const side *after, const char *net)
{
  json_t *list = json_object_get(after->finding, "explanations"), *best = NULL;
  double most = suspect_share;
  for (size_t i = 0; i < json_array_size(list); i++) {
    json_t *faults = json_object_get(json_array_get(list, i), "faults");
    for (size_t k = 0; k < json_array_size(faults); k++) {
      json_t *f = json_array_get(faults, k), *nets = json_object_get(f, "nets");
      const char *one = json_string_value(json_array_get(nets, 0)), *two = json_string_value(json_array_get(nets, 1));
      double share = one && two && (!strcmp(one, net) || !strcmp(two, net)) ? share_with(list, f) : 0;
      if (share > most) {
        most = share;
        best = f;
      }
    }
  }
  json_t *o = best ? json_copy(best) : NULL;
  if (o)
    json_object_set_new(o, "probability", json_real(most));
  return o;
}

static void sort_suspects(comparison *c)
{
  json_t *before = suspects_of(&c->side[0]), *after = suspects_of(&c->side[1]);
  c->judged = c->side[0].finding && c->side[1].finding;
  for (size_t i = 0; i < json_array_size(before); i++) {
    json_t *x = json_array_get(before, i);
    if (find_suspect(before, suspect_name(x)) == x && !find_suspect(after, suspect_name(x)))
      json_array_append(c->cleared, x);
  }
  for (size_t i = 0; i < json_array_size(after); i++) {
    json_t *x = json_array_get(after, i);
    if (find_suspect(after, suspect_name(x)) != x)
      continue;
    bool fresh = !find_suspect(before, suspect_name(x));
    if (worked_on(c, x)) {
      json_t *how = fresh ? wrong_pin(&c->side[1], suspect_name(x)) : NULL;
      json_object_set_new(x, "worked_on", json_true());
      if (how)
        json_object_set_new(x, "wrong_pin", how);
    }
    json_array_append(fresh ? c->fresh : c->remaining, x);
  }
}

/* --- showing ------------------------------------------------------------------------------------------------- */

/* A word address or data bit as the board names it at the vantage; without a board A0.., D0... */
static const char *bit_name(const comparison *c, const part *p, unsigned bit, char letter)
{
  if (p->network) {
    const lu_board *b = p->network->board;
    const lu_vantage *v = &b->vantages[p->network->vantage];
    unsigned count = letter == 'A' ? v->address_bits : v->data_bits;
    uint32_t pin = bit < count ? (letter == 'A' ? v->address_pin : v->data_pin)[bit] : LU_NONE;
    uint32_t net = bit < count ? (letter == 'A' ? v->address_net : v->data_net)[bit] : LU_NONE;
    if (pin != LU_NONE)
      return b->pins[pin].function;
    if (net != LU_NONE)
      return b->nets[net].name;
  }
  const char *s = lu_arena_printf(c->s->mem, "%c%u", letter, bit);
  return s ? s : "?";
}

static const char *bit_list(const comparison *c, const part *p, uint64_t bits, char letter)
{
  const char *s = "";
  for (uint64_t m = bits; m && s; m &= m - 1)
    s = lu_arena_printf(c->s->mem, "%s%s%s", s, *s ? " " : "", bit_name(c, p, (unsigned)__builtin_ctzll(m), letter));
  return s ? s : "";
}

static void moved_bits(const comparison *c, const part *p, const char *what, uint64_t before, uint64_t after, char letter)
{
  FILE *out = c->s->run->out;
  if (before & ~after)
    fprintf(out, "  %s, gone: %s\n", what, bit_list(c, p, before & ~after, letter));
  if (before & after)
    fprintf(out, "  %s, still there: %s\n", what, bit_list(c, p, before & after, letter));
  if (after & ~before)
    fprintf(out, "  %s, new: %s\n", what, bit_list(c, p, after & ~before, letter));
}

static void show_bits(const comparison *c, const part *p)
{
  FILE *out = c->s->run->out;
  const lu_contrast *x = &p->change;
  if (!x->diff.differ)
    return;
  fputs("\nBit   became 1   became 0", out);
  fputs(x->known ? "   wrong before   wrong after\n" : "\n", out);
  for (unsigned b = 0; b < p->words[0].width; b++) {
    if (!x->diff.set[b] && !x->diff.cleared[b] && !x->bits_before[b] && !x->bits_after[b])
      continue;
    fprintf(out, "D%-3u %10" PRIu64 " %10" PRIu64, b, x->diff.set[b], x->diff.cleared[b]);
    if (x->known)
      fprintf(out, " %14" PRIu64 " %13" PRIu64, x->bits_before[b], x->bits_after[b]);
    fputc('\n', out);
  }
}

static bool shows_something(const lu_texture *t)
{
  return t->blank || t->dead_lines || t->stuck_low || t->stuck_high;
}

static void show_texture(const comparison *c, const part *p)
{
  FILE *out = c->s->run->out;
  const lu_texture *b = &p->change.before, *a = &p->change.after;
  if (shows_something(b) || shows_something(a))
    fputc('\n', out);
  if (b->blank || a->blank)
    fprintf(out, "  %s one value throughout\n", b->blank && a->blank ? "both read" : b->blank ? "before, the whole read" : "now the whole reads");
  moved_bits(c, p, "address bits without effect", b->dead_lines, a->dead_lines, 'A');
  moved_bits(c, p, "data bits always 0", b->stuck_low, a->stuck_low, 'D');
  moved_bits(c, p, "data bits always 1", b->stuck_high, a->stuck_high, 'D');
}

static void show_change(const comparison *c, const part *p)
{
  FILE *out = c->s->run->out;
  const lu_contrast *x = &p->change;
  if (!x->diff.differ)
    fprintf(out, "The same: %zu words compared.\n", x->words);
  else
    fprintf(out, "%zu words compared, %zu differ, the first at 0x%" PRIx64 ".\n", x->words, x->diff.differ,
            (x->base + x->diff.first) * p->word_bytes);
  if (x->only_before || x->only_after)
    fprintf(out, "%zu words stand only in the first, %zu only in the second: they were not compared.\n", x->only_before, x->only_after);
  if (x->known)
    fprintf(out, "Against what is known: %zu words wrong before, %zu after; %zu cured, %zu newly wrong.\n", x->wrong_before,
            x->wrong_after, x->cured, x->spoilt);
  show_bits(c, p);
  show_texture(c, p);
}

static const char *chip_name(const part *p, const lu_chip_diff *d)
{
  return p->network->board->parts[p->network->chips[d->chip].part].ref;
}

static void show_chips(const comparison *c, const part *p)
{
  FILE *out = c->s->run->out;
  bool title = false;
  for (size_t i = 0; p->chips && i < p->network->chip_count; i++) {
    const lu_chip_diff *d = &p->chips[i];
    if (!d->changed && !d->wrong_before && !d->wrong_after)
      continue;
    if (!title)
      fputs(p->change.known ? "\nChip   bits changed   wrong before   wrong after\n" : "\nChip   bits changed\n", out);
    title = true;
    fprintf(out, "%-6s %12" PRIu64, chip_name(p, d), d->changed);
    if (p->change.known)
      fprintf(out, " %14" PRIu64 " %13" PRIu64, d->wrong_before, d->wrong_after);
    if (d->rows == 1)
      fprintf(out, "  all in row %u", d->row);
    else if (d->columns == 1)
      fprintf(out, "  all in column %u", d->column);
    else if (d->rows)
      fprintf(out, "  %u rows, %u columns", d->rows, d->columns);
    fputc('\n', out);
  }
}

static void put(FILE *f, const char *text)
{
  lu_text_put(f, text);
}

/* A wire on the wrong pin is the commonest new fault. */
static void show_worked_on(const comparison *c, const json_t *x)
{
  FILE *out = c->s->run->out;
  json_t *how = json_object_get(x, "wrong_pin"), *nets = json_object_get(how, "nets");
  const char *one = json_string_value(json_array_get(nets, 0)), *two = json_string_value(json_array_get(nets, 1));
  const char *at = json_string_value(json_object_get(how, "at"));
  if (!json_is_true(json_object_get(x, "worked_on")))
    return;
  fputs(", worked on in between: ", out);
  if (!one || !two) {
    fputs("is a wire on the wrong pin?", out);
    return;
  }
  put(out, one);
  fputs(" and ", out);
  put(out, two);
  fputs(at ? " are exchanged at " : " are joined", out);
  put(out, at ? at : "");
  fprintf(out, " (%.0f %%): is a wire on the wrong pin?", 100 * json_real_value(json_object_get(how, "probability")));
}

static void show_suspects(const comparison *c, const char *title, json_t *list)
{
  FILE *out = c->s->run->out;
  fprintf(out, "%s: ", title);
  if (!json_array_size(list))
    fputs("none", out);
  for (size_t i = 0; i < json_array_size(list); i++) {
    json_t *x = json_array_get(list, i), *pins = json_object_get(x, "pins");
    const char *name = suspect_name(x);
    fputs(i ? "; " : "", out);
    put(out, name ? name : "?");
    fprintf(out, " %.0f %%", 100 * json_real_value(json_object_get(x, "probability")));
    const char *pin = json_string_value(json_object_get(json_array_get(pins, 0), "pin"));
    if (pin) {
      fputs(" (", out);
      put(out, pin);
      fprintf(out, json_array_size(pins) > 1 ? " and %zu more)" : ")", json_array_size(pins) - 1);
    }
    show_worked_on(c, x);
  }
  fputc('\n', out);
}

static void show_text(const comparison *c)
{
  FILE *out = c->s->run->out;
  for (size_t i = 0; i < c->part_count; i++) {
    if (c->parts[i].name) {
      fputs(i ? "\n" : "", out);
      put(out, c->parts[i].name);
      fputc('\n', out);
    }
    show_change(c, &c->parts[i]);
    show_chips(c, &c->parts[i]);
  }
  if (c->judged) {
    fputc('\n', out);
    show_suspects(c, "Cleared  ", c->cleared);
    show_suspects(c, "Remaining", c->remaining);
    show_suspects(c, "New      ", c->fresh);
  }
  for (size_t i = 0; i < json_array_size(c->notes); i++)
    fprintf(out, "Note: %s\n", json_string_value(json_array_get(c->notes, i)));
}

static json_t *bit_json(const comparison *c, const part *p, uint64_t bits, char letter)
{
  json_t *a = json_array();
  for (uint64_t m = bits; m; m &= m - 1)
    json_array_append_new(a, json_string(bit_name(c, p, (unsigned)__builtin_ctzll(m), letter)));
  return a;
}

static json_t *texture_json(const comparison *c, const part *p, const lu_texture *t)
{
  return json_pack("{s:o,s:o,s:o,s:b}", "dead_address_bits", bit_json(c, p, t->dead_lines, 'A'), "always_0", bit_json(c, p, t->stuck_low, 'D'),
                   "always_1", bit_json(c, p, t->stuck_high, 'D'), "one_value", (int)t->blank);
}

static json_t *chips_json(const part *p)
{
  json_t *a = json_array();
  for (size_t i = 0; i < p->network->chip_count; i++) {
    const lu_chip_diff *d = &p->chips[i];
    json_t *o = json_pack("{s:s,s:I}", "part", chip_name(p, d), "bits_changed", (json_int_t)d->changed);
    if (p->change.known) {
      json_object_set_new(o, "wrong_before", json_integer((json_int_t)d->wrong_before));
      json_object_set_new(o, "wrong_after", json_integer((json_int_t)d->wrong_after));
    }
    if (d->rows) {
      json_object_set_new(o, "rows", json_integer(d->rows));
      json_object_set_new(o, "columns", json_integer(d->columns));
    }
    json_array_append_new(a, o);
  }
  return a;
}

static json_t *change_json(const comparison *c, const part *p)
{
  const lu_contrast *x = &p->change;
  json_t *bits = json_array();
  for (unsigned b = 0; b < p->words[0].width; b++) {
    json_t *o = json_pack("{s:i,s:I,s:I}", "bit", (int)b, "set", (json_int_t)x->diff.set[b], "cleared", (json_int_t)x->diff.cleared[b]);
    if (x->known) {
      json_object_set_new(o, "wrong_before", json_integer((json_int_t)x->bits_before[b]));
      json_object_set_new(o, "wrong_after", json_integer((json_int_t)x->bits_after[b]));
    }
    json_array_append_new(bits, o);
  }
  json_t *o = json_pack("{s:I,s:I,s:o,s:I,s:I}", "compared", (json_int_t)x->words, "differ", (json_int_t)x->diff.differ, "first_address",
                        x->diff.differ ? json_integer((json_int_t)((x->base + x->diff.first) * p->word_bytes)) : json_null(),
                        "only_before", (json_int_t)x->only_before, "only_after", (json_int_t)x->only_after);
  if (x->known)
    json_object_set_new(o, "against_known", json_pack("{s:I,s:I,s:I,s:I}", "wrong_before", (json_int_t)x->wrong_before, "wrong_after",
                                                      (json_int_t)x->wrong_after, "cured", (json_int_t)x->cured, "newly_wrong",
                                                      (json_int_t)x->spoilt));
  json_object_set_new(o, "bits", bits);
  if (p->chips)
    json_object_set_new(o, "chips", chips_json(p));
  json_object_set_new(o, "before", texture_json(c, p, &x->before));
  json_object_set_new(o, "after", texture_json(c, p, &x->after));
  return o;
}

static bool show_json(const comparison *c)
{
  json_t *o = json_pack("{s:s,s:b}", "lineup", LU_VERSION, "same", (int)c->same);
  json_t *blocks = json_array();
  for (size_t i = 0; i < c->part_count; i++)
    if (c->parts[i].name)
      json_array_append_new(blocks, json_pack("{s:o,s:o}", "block", lu_json_text(c->parts[i].name), "words", change_json(c, &c->parts[i])));
    else
      json_object_set_new(o, "words", change_json(c, &c->parts[i]));
  if (json_array_size(blocks))
    json_object_set(o, "blocks", blocks);
  json_decref(blocks);
  json_object_set_new(o, "judged", json_boolean(c->judged));
  json_object_set(o, "cleared", c->cleared);
  json_object_set(o, "remaining", c->remaining);
  json_object_set(o, "new", c->fresh);
  json_object_set(o, "notes", c->notes);
  bool ok = json_dumpf(o, c->s->run->out, JSON_INDENT(2) | JSON_REAL_PRECISION(7)) == 0 && fputc('\n', c->s->run->out) != EOF;
  json_decref(o);
  return ok;
}

/* With known contents: is anything still wrong? Without: do they differ? */
static int exit_of(const comparison *c)
{
  const char *verdict = json_string_value(json_object_get(c->side[1].finding, "verdict"));
  const lu_reading *x = c->side[1].readings;
  bool known = (c->side[1].entry && c->side[1].finding) || (x && x->evidence.know != LU_KNOW_NOTHING);
  bool faults = known && verdict && strcmp(verdict, "unknown") ? !strcmp(verdict, "faulty") : !c->same;
  return faults ? LU_EXIT_FAULTS : LU_EXIT_CLEAN;
}

/* "tide.job#7" beside a file; a file of such a name is a file. */
static lu_status mixed(comparison *c, const char *job)
{
  lu_bytes in;
  lu_err none = c->s->err;
  if (lu_session_file(c->s, job, &in) == LU_OK)
    return compare_dumps(c);
  c->s->err = none;
  return lu_fail(&c->s->err, LU_ERR_USAGE, 0, 0, "'%.100s' is of a job and the other is a file: decode --job the file first, then compare two entries", job);
}

static lu_status compare_all(comparison *c)
{
  uint64_t first = 0, second = 0;
  const lu_texts *o = &c->a->operands;
  const char *one = job_operand(c->s, o->at[0], &first), *two = job_operand(c->s, o->at[1], &second);
  lu_status bad = LU_OK;
  if (one && two && strcmp(one, two))
    bad = lu_fail(&c->s->err, LU_ERR_USAGE, 0, 0, "results of two different jobs cannot be compared");
  else
    bad = one && two ? compare_entries(c, one, first, second) : one || two ? mixed(c, one ? o->at[0] : o->at[1]) : compare_dumps(c);
  if (!bad)
    sort_suspects(c);
  return bad;
}

static void clear(comparison *c)
{
  json_t *all[] = {c->cleared, c->remaining, c->fresh, c->notes, c->side[0].finding, c->side[1].finding};
  for (size_t i = 0; i < sizeof all / sizeof *all; i++)
    json_decref(all[i]);
  lu_bench_close(c->bench);
  lu_session_end(c->s);
}

static int compare(lu_run *run, void *opaque)
{
  const args *a = opaque;
  if (a->reading.expect && a->reading.wrote)
    return lu_say_usage(run, "compare: give either --expect or --wrote, not both");
  comparison c = {.s = lu_session_new(run), .a = a};
  if (!c.s)
    return lu_say_usage(run, "out of memory"), LU_EXIT_SYSTEM;
  c.parts = LU_NEW(run->mem, part, PARTS_MOST);
  if (!c.parts)
    return lu_say_usage(run, "out of memory"), LU_EXIT_SYSTEM;
  c.cleared = json_array();
  c.remaining = json_array();
  c.fresh = json_array();
  c.notes = json_array();
  lu_status bad = compare_all(&c);
  int code = bad ? lu_say_error(run, &c.s->err) : exit_of(&c);
  if (!bad && a->json && !show_json(&c))
    code = LU_EXIT_SYSTEM;
  else if (!bad && !a->json)
    show_text(&c);
  clear(&c);
  return code;
}

#define AT(field) offsetof(args, field)
static const lu_option options[] = {
    {"board", 'b', LU_OPT_TEXT, AT(board), 0, 0, "FILE", "board file; without: address and data bits only"},
    LU_DUMP_OPTIONS(AT(reading)),
    {"signals", 's', LU_OPT_TEXT, AT(reading) + offsetof(lu_reading_args, signals), 0, 0, "FILE", "a capture's signals: what they mean (YAML)"},
    {"json", 'j', LU_OPT_FLAG, AT(json), 0, 0, NULL, "the result as JSON"},
    {0},
};

static const char *const examples[] = {
    "lineup compare --board docs/demo/tide.yaml --block 'boot ROM' --expect docs/demo/tide-rom.bin docs/demo/found-boot.bin docs/demo/tide-rom.bin",
    "lineup compare --width 16 --byte-order big docs/demo/found-boot.bin docs/demo/tide-rom.bin",
    NULL,
};

const lu_command lu_command_compare = {
    .name = "compare",
    .summary = "two readings, or two results of a job: what went, what stayed, what is new",
    .usage = "[OPTION ...] BEFORE AFTER",
    .options = options,
    .args_size = sizeof(args),
    .operands_offset = AT(operands),
    .least_operands = 2,
    .most_operands = 2,
    .examples = examples,
    .run = compare,
};
