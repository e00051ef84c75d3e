/* SPDX-License-Identifier: MIT */
#include "cli/faultwords.h"

#include <stdlib.h>
#include <string.h>

enum { WORDS_MOST = 8 };

typedef struct line {
  size_t count;
  const char *word[WORDS_MOST];
  const char *all;
} line;

static lu_status wrong(lu_session *s, const line *l, const char *what)
{
  return lu_fail(&s->err, LU_ERR_USAGE, 0, 0, "fault '%.100s': %s", l->all, what);
}

static lu_status split(lu_session *s, const char *text, line *l)
{
  l->all = text;
  char *copy = lu_arena_text(s->mem, text, strlen(text)), *save = NULL;
  if (!copy)
    return lu_fail(&s->err, LU_ERR_NOMEM, 0, 0, "no room");
  for (char *w = strtok_r(copy, " ", &save); w; w = strtok_r(NULL, " ", &save)) {
    if (l->count == WORDS_MOST)
      return wrong(s, l, "too many words");
    l->word[l->count++] = w;
  }
  return LU_OK;
}

static bool choose(const char *word, const char *const *list, size_t count, uint8_t *out)
{
  for (size_t i = 0; word && i < count; i++)
    if (!strcmp(word, list[i])) {
      *out = (uint8_t)i;
      return true;
    }
  return !word;
}

lu_status lu_fault_level(const char *word, lu_level *out, lu_err *err)
{
  static const char *const levels[] = {"low", "high", "keep", "address"};
  uint8_t v = LU_LEVEL_HIGH;
  if (!choose(word, levels, 4, &v))
    return lu_fail(err, LU_ERR_USAGE, 0, 0, "expected low, high, keep or address, found '%s'", word);
  *out = (lu_level)v;
  return LU_OK;
}

static lu_status find_net(lu_session *s, const lu_network *n, const line *l, size_t at, uint16_t *out)
{
  if (at >= l->count)
    return wrong(s, l, "expected the name of a net");
  uint32_t net = lu_board_net(n->board, l->word[at]);
  if (net == LU_NONE) {
    const char *near = lu_board_nearest_net(n->board, l->word[at]);
    return lu_fail(&s->err, LU_ERR_MISSING, 0, 0, "fault '%.80s': the net '%.40s' is not on this board%s%s", l->all, l->word[at],
                   near ? "; the nearest is " : "", near ? near : "");
  }
  *out = lu_network_net(n, net);
  return *out == UINT16_MAX ? wrong(s, l, "that net has nothing to do with this block") : LU_OK;
}

static lu_status find_part(lu_session *s, const lu_network *n, const line *l, size_t at, uint16_t *out)
{
  if (at >= l->count)
    return wrong(s, l, "expected the name of a part");
  uint32_t part = lu_board_part(n->board, l->word[at]);
  if (part == LU_NONE) {
    const char *near = lu_board_nearest_part(n->board, l->word[at]);
    return lu_fail(&s->err, LU_ERR_MISSING, 0, 0, "fault '%.80s': the part '%.40s' is not on this board%s%s", l->all, l->word[at],
                   near ? "; the nearest is " : "", near ? near : "");
  }
  *out = lu_network_part(n, part);
  return *out == UINT16_MAX ? wrong(s, l, "that part has nothing to do with this block") : LU_OK;
}

static lu_status cut_pins(lu_session *s, const lu_network *n, const line *l, uint16_t net, const char *list, uint64_t *cut)
{
  char *copy = lu_arena_text(s->mem, list, strlen(list)), *save = NULL;
  for (char *w = copy ? strtok_r(copy, ",", &save) : NULL; w; w = strtok_r(NULL, ",", &save)) {
    uint32_t pin = lu_board_pin(n->board, w);
    uint16_t np = pin == LU_NONE ? UINT16_MAX : lu_network_pin(n, pin);
    if (np == UINT16_MAX || n->pins[np].net != net)
      return wrong(s, l, "expected pins of that net to cut off");
    *cut |= (uint64_t)1 << n->pins[np].place;
  }
  return *cut ? LU_OK : wrong(s, l, "expected pins to cut off");
}

static lu_status number(lu_session *s, const line *l, size_t at, uint32_t *out)
{
  uint64_t v;
  if (at >= l->count || !lu_text_u64(l->word[at], strlen(l->word[at]), 0, UINT32_MAX - 1, &v))
    return wrong(s, l, "expected a number");
  *out = (uint32_t)v;
  return LU_OK;
}

/* Rows and columns that the chip has. */
static lu_status check_inside(lu_session *s, const lu_network *n, const line *l, const lu_fault *f)
{
  for (size_t c = 0; c < n->chip_count; c++) {
    const lu_chip *x = &n->chips[c];
    if (x->npart != f->part)
      continue;
    unsigned rows = 1u << x->row_bits, columns = 1u << (x->cell_bits - x->row_bits);
    if ((f->kind != LU_FAULT_COLUMN && f->row >= rows) || (f->kind != LU_FAULT_ROW && f->column >= columns) ||
        f->data_bit >= x->out_count)
      return lu_fail(&s->err, LU_ERR_VALUE, 0, 0, "fault '%.80s': the chip has %u rows, %u columns and %u data bits", l->all,
                     rows, columns, x->out_count);
    if (f->kind != LU_FAULT_CELL && !x->row_bits)
      return wrong(s, l, "that chip's rows and columns are not known; give a cell with row 0");
    return LU_OK;
  }
  return wrong(s, l, "that part is no memory chip of this block");
}

static lu_status inside_words(lu_session *s, const lu_network *n, const line *l, lu_fault *f)
{
  static const char *const levels[] = {"low", "high"};
  lu_status bad = find_part(s, n, l, 1, &f->part);
  size_t at = 2;
  uint32_t bit = 0;
  if (!bad && f->kind != LU_FAULT_COLUMN)
    bad = number(s, l, at++, &f->row);
  if (!bad && f->kind != LU_FAULT_ROW)
    bad = number(s, l, at++, &f->column);
  if (!bad && at < l->count && l->word[at][0] >= '0' && l->word[at][0] <= '9')
    bad = number(s, l, at++, &bit);
  f->data_bit = (uint16_t)bit;
  if (!bad && at < l->count && !choose(l->word[at], levels, 2, &f->level))
    bad = wrong(s, l, "expected low or high");
  return bad ? bad : check_inside(s, n, l, f);
}

static lu_status one_fault(lu_session *s, const lu_network *n, const line *l, lu_fault *f)
{
  static const char *const kinds[] = {"open", "stuck", "bridge", "swap", "dead", "cell", "row", "column"};
  static const char *const levels[] = {"low", "high", "keep"}, *const acts[] = {"and", "or", "first", "second"};
  static const char *const lost[] = {"outputs", "writes", "all"};
  lu_status bad = LU_OK;
  *f = (lu_fault){0};
  if (!l->count || !choose(l->word[0], kinds, 8, &f->kind))
    return wrong(s, l, "expected open, stuck, bridge, swap, dead, cell, row or column");
  const char *w3 = l->count > 3 ? l->word[3] : NULL, *w2 = l->count > 2 ? l->word[2] : NULL;
  switch (f->kind) {
  case LU_FAULT_OPEN:
    f->level = LU_LEVEL_HIGH;
    bad = find_net(s, n, l, 1, &f->net);
    if (!bad)
      bad = w2 ? cut_pins(s, n, l, f->net, w2, &f->cut) : wrong(s, l, "expected pins to cut off");
    if (!bad && !choose(w3, levels, 3, &f->level))
      bad = wrong(s, l, "expected high, low or keep");
    return bad;
  case LU_FAULT_STUCK:
    bad = find_net(s, n, l, 1, &f->net);
    return bad ? bad : w2 && choose(w2, levels, 2, &f->level) ? LU_OK : wrong(s, l, "expected low or high");
  case LU_FAULT_BRIDGE:
  case LU_FAULT_SWAP:
    bad = find_net(s, n, l, 1, &f->net);
    if (!bad)
      bad = find_net(s, n, l, 2, &f->net2);
    if (bad)
      return bad;
    if (f->net == f->net2)
      return wrong(s, l, "expected two different nets");
    if (f->kind == LU_FAULT_SWAP)
      return find_part(s, n, l, 3, &f->part);
    return choose(w3, acts, 4, &f->acts) ? LU_OK : wrong(s, l, "expected and, or, first or second");
  case LU_FAULT_DEAD:
    bad = find_part(s, n, l, 1, &f->part);
    return bad ? bad : choose(w2, lost, 3, &f->lost) ? LU_OK : wrong(s, l, "expected outputs, writes or all");
  default:
    return inside_words(s, n, l, f);
  }
}

/* The network is the joint's only one: its nets and parts come first and in order. */
lu_status lu_fault_words(lu_session *s, const lu_evidence *e, const lu_texts *words, lu_fault *out)
{
  for (size_t i = 0; i < words->count; i++) {
    line l = {0};
    lu_status bad = split(s, words->at[i], &l);
    if (!bad)
      bad = one_fault(s, e->network, &l, &out[i]);
    if (bad)
      return bad;
  }
  return LU_OK;
}
