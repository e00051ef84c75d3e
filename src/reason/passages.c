/* SPDX-License-Identifier: MIT */
#include "reason/passages.h"

/* Reads and writes are followed apart, since tests read and write in turn. */
typedef struct way {
  lu_passage now;
  unsigned rules;       /* bit set of those that still fit */
  uint64_t data;        /* the last word */
} way;

struct lu_passages {
  uint64_t mask;
  unsigned width;
  way ways[2];
  size_t count;
  lu_passage found[LU_PASSAGES_MOST];
};

const char *lu_passage_rule_name(lu_passage_rule rule)
{
  static const char *const names[LU_PASSAGE_RULES] = {
      "address", "address-inverse", "walking-ones", "walking-zeros", "checkerboard", "solid"};
  return rule < LU_PASSAGE_RULES ? names[rule] : "?";
}

lu_passages *lu_passages_open(unsigned width, lu_arena *mem)
{
  lu_passages *p = LU_NEW(mem, lu_passages, 1);
  if (!p)
    return NULL;
  p->width = width ? width : 1;
  p->mask = width ? UINT64_MAX >> (64 - width) : 0;
  return p;
}

static uint64_t turned(const lu_passages *p, uint64_t word)
{
  return (word << 1 | word >> (p->width - 1)) & p->mask;
}

static bool one_bit(uint64_t word)
{
  return word && !(word & (word - 1));
}

static bool alternates(const lu_passages *p, uint64_t word)
{
  return word == (0x5555555555555555u & p->mask) || word == (0xaaaaaaaaaaaaaaaau & p->mask);
}

/* Rules that a word fits by itself. */
static unsigned fits_alone(const lu_passages *p, uint64_t address, uint64_t word)
{
  unsigned rules = 1u << LU_PASSAGE_SOLID;
  if (word == (address & p->mask))
    rules |= 1u << LU_PASSAGE_ADDRESS;
  if (word == (~address & p->mask))
    rules |= 1u << LU_PASSAGE_ADDRESS_INVERSE;
  if (one_bit(word))
    rules |= 1u << LU_PASSAGE_WALKING_ONES;
  if (one_bit(~word & p->mask))
    rules |= 1u << LU_PASSAGE_WALKING_ZEROS;
  if (alternates(p, word))
    rules |= 1u << LU_PASSAGE_CHECKERBOARD;
  return rules;
}

/* ... and after the word before it. */
static unsigned fits_after(const lu_passages *p, uint64_t before, uint64_t word)
{
  unsigned rules = 1u << LU_PASSAGE_ADDRESS | 1u << LU_PASSAGE_ADDRESS_INVERSE;
  if (word == before)
    rules |= 1u << LU_PASSAGE_SOLID;
  if (word == turned(p, before))
    rules |= 1u << LU_PASSAGE_WALKING_ONES | 1u << LU_PASSAGE_WALKING_ZEROS;
  if (word == (~before & p->mask))
    rules |= 1u << LU_PASSAGE_CHECKERBOARD;
  return rules;
}

static void close_way(lu_passages *p, way *w)
{
  if (w->now.count < LU_PASSAGE_LEAST || p->count == LU_PASSAGES_MOST || !w->rules)
    return;
  w->now.rule = (lu_passage_rule)__builtin_ctz(w->rules);
  p->found[p->count++] = w->now;
}

static void begin(lu_passages *p, way *w, const lu_cycle *c, uint64_t word, bool writes)
{
  w->now = (lu_passage){.writes = writes, .first = c->address, .last = c->address, .count = 1,
                        .begin = c->begin, .end = c->end};
  w->rules = fits_alone(p, c->address, word);
  w->data = word;
}

static void follow(lu_passages *p, way *w, const lu_cycle *c, uint64_t word, uint64_t odd, bool writes)
{
  if (odd & p->mask || c->address_unknown) {
    close_way(p, w);
    w->now.count = 0;
    return;
  }
  if (!w->now.count) {
    begin(p, w, c, word, writes);
    return;
  }
  int64_t step = (int64_t)(c->address - w->now.last);
  unsigned rules = w->rules & fits_alone(p, c->address, word) & fits_after(p, w->data, word);
  if (!rules || (w->now.count > 1 && step != w->now.step)) {
    /* The last cycle may be the first of the next passage. */
    lu_cycle last = {.address = w->now.last, .begin = w->now.end, .end = w->now.end};
    uint64_t data = w->data;
    close_way(p, w);
    begin(p, w, &last, data, writes);
    rules = w->rules & fits_alone(p, c->address, word) & fits_after(p, data, word);
    if (!rules) {
      begin(p, w, c, word, writes);
      return;
    }
  }
  w->rules = rules;
  w->now.step = step;
  w->now.last = c->address;
  w->now.end = c->end;
  w->now.count++;
  w->data = word;
}

void lu_passages_cycle(lu_passages *p, const lu_cycle *c)
{
  if (c->kind == LU_CYCLE_READ || c->kind == LU_CYCLE_READ_WRITE)
    follow(p, &p->ways[0], c, c->data, c->data_unknown, false);
  if (c->kind == LU_CYCLE_WRITE || c->kind == LU_CYCLE_LATE_WRITE || c->kind == LU_CYCLE_READ_WRITE)
    follow(p, &p->ways[1], c, c->written, c->written_unknown, true);
}

const lu_passage *lu_passages_end(lu_passages *p, size_t *count)
{
  close_way(p, &p->ways[0]);
  close_way(p, &p->ways[1]);
  p->ways[0].now.count = p->ways[1].now.count = 0;
  *count = p->count;
  return p->found;
}
