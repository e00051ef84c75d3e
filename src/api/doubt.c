/* SPDX-License-Identifier: MIT */
#include "api/doubt.h"

#include <math.h>
#include <string.h>

lu_status lu_doubt_begin(lu_session *s, lu_reading *r)
{
  r->lines = LU_NEW(s->mem, lu_said_suspect, LU_DOUBT_LINES_MOST);
  return r->lines ? LU_OK : lu_fail(&s->err, LU_ERR_NOMEM, 0, 0, "no room");
}

void lu_doubt_add(lu_session *s, lu_reading *r, const char *text)
{
  r->doubt = r->doubt ? lu_arena_printf(s->mem, "%s; %s", r->doubt, text) : text;
}

void lu_doubt_line(lu_session *s, lu_reading *r, uint32_t net, uint32_t pin, unsigned group, const char *why, const char *settle)
{
  for (size_t i = 0; i < r->line_count; i++)
    if (net != LU_NONE && r->lines[i].net == s->board->nets[net].name)
      return;
  if (net == LU_NONE || r->line_count == LU_DOUBT_LINES_MOST)
    return;
  lu_said_suspect *x = &r->lines[r->line_count++];
  *x = (lu_said_suspect){.net = s->board->nets[net].name, .group = group, .why = why};
  x->pins = pin == LU_NONE ? NULL : LU_NEW(s->mem, lu_said_pin, 1);
  if (x->pins) {
    x->pin_count = 1;
    x->pins[0] = (lu_said_pin){s->board->pins[pin].name, s->board->pins[pin].function};
    x->settle = settle;
  }
}

void lu_doubt_share(lu_reading *r)
{
  for (size_t i = 0; i < r->line_count; i++)
    r->lines[i].probability = 0.5 / (double)r->line_count;
}

/* --- passes that differ -------------------------------------------------------------------------------------- */

enum { ADDRESS_BITS_MOST = 40 };

/* Where the bits lie that differ from pass to pass. */
typedef struct odd {
  double words, bits, column[64];
  double asked, neighbour[ADDRESS_BITS_MOST]; /* words of odd passes; those that stand at the address with this bit turned */
} odd;

/* The bytes in which some bit is set: one chip may give way while its neighbour does not. */
static uint64_t lanes_of(uint64_t bits)
{
  uint64_t any = bits | bits >> 4;
  any |= any >> 2;
  any |= any >> 1;
  return (any & UINT64_C(0x0101010101010101)) * 0xff;
}

static void see_address(const lu_reading *r, size_t i, uint64_t word, odd *o)
{
  const lu_evidence *e = &r->evidence;
  uint64_t all = e->network->data_bits >= 64 ? ~UINT64_C(0) : (UINT64_C(1) << e->network->data_bits) - 1;
  uint64_t lanes = lanes_of(word ^ lu_word(&e->got, i)) & all;
  if (!(word & lanes) || (word & lanes) == lanes) /* blank memory and a bus without driver look like many addresses */
    return;
  o->asked++;
  for (unsigned k = 0; k < e->network->address_bits && k < ADDRESS_BITS_MOST; k++) {
    uint64_t j = lu_index_of(e->network, lu_address_of(e->network, i) ^ UINT64_C(1) << k);
    o->neighbour[k] += j < e->got.count && lu_word_held(&e->got, j) && !((lu_word(&e->got, j) ^ word) & lanes);
  }
}

static void see_passes(const lu_reading *r, odd *o)
{
  const lu_evidence *e = &r->evidence;
  for (size_t i = 0; i < e->got.count; i++) {
    uint64_t differ = 0, most = lu_word(&e->got, i);
    if (!lu_word_held(&e->got, i))
      continue;
    for (size_t k = 0; k < r->pass_count; k++)
      differ |= lu_word(&r->passes[k], i) ^ most;
    if (!differ)
      continue;
    o->words++;
    for (uint64_t m = differ; m; m &= m - 1) {
      o->bits++;
      o->column[__builtin_ctzll(m)]++;
    }
    for (size_t k = 0; k < r->pass_count; k++)
      if (lu_word(&r->passes[k], i) != most)
        see_address(r, i, lu_word(&r->passes[k], i), o);
  }
}

/* More than a Poisson count of this mean makes by chance: five standard deviations and a few. */
static double most_by_chance(double mean)
{
  return mean + 5 * sqrt(mean) + 4;
}

static bool gathers(const odd *o, unsigned width, unsigned bit)
{
  double mean = o->bits / width;
  return width > 1 && o->column[bit] > 2 * mean && o->column[bit] > most_by_chance(mean);
}

/* Noise hits bits of a word each for itself; a line that gives way for an access hits many at once. */
static bool clustered(const odd *o, double count, unsigned width)
{
  double words = count * (1 - pow(1 - o->bits / (count * width), width));
  return most_by_chance(o->words) < 0.9 * words;
}

static void doubt_data(lu_session *s, lu_reading *r, const odd *o, const char **names)
{
  const lu_network *n = r->evidence.network;
  const lu_vantage *v = &s->board->vantages[n->vantage];
  for (unsigned d = 0; d < n->data_bits; d++) {
    if (!gathers(o, n->data_bits, d) || v->data_net[d] == LU_NONE)
      continue;
    const char *name = s->board->nets[v->data_net[d]].name;
    *names = lu_arena_printf(s->mem, "%s%s%s", *names ? *names : "", *names ? ", " : "", name);
    lu_doubt_line(s, r, v->data_net[d], v->data_pin[d], (unsigned)r->line_count,
                  lu_arena_printf(s->mem, "It reads differently from pass to pass in %.0f words, other data bits in far fewer", o->column[d]),
                  "Read it several times while you press on the chips that it runs to, one after the other");
  }
}

static void doubt_address(lu_session *s, lu_reading *r, const odd *o, const char **names)
{
  const lu_network *n = r->evidence.network;
  const lu_vantage *v = &s->board->vantages[n->vantage];
  for (unsigned k = 0; k < n->address_bits && k < ADDRESS_BITS_MOST; k++) {
    if (o->neighbour[k] <= 0.5 * o->asked || v->address_net[k] == LU_NONE)
      continue;
    const char *name = s->board->nets[v->address_net[k]].name;
    *names = lu_arena_printf(s->mem, "%s%s%s", *names ? *names : "", *names ? ", " : "", name);
    lu_doubt_line(s, r, v->address_net[k], v->address_pin[k], (unsigned)r->line_count,
                  lu_arena_printf(s->mem, "Of the words that differ from pass to pass, %.0f %% are those of the address with %s turned over",
                                  100 * o->neighbour[k] / o->asked, name),
                  "Read it several times while you press on the chips that it runs to, one after the other");
  }
}

lu_status lu_doubt_flicker(lu_session *s, lu_reading *r)
{
  const lu_network *n = r->evidence.network;
  odd o = {0};
  if (r->pass_count < 2 || !r->unsteady_bits)
    return LU_OK;
  lu_status bad = lu_doubt_begin(s, r);
  if (bad)
    return bad;
  see_passes(r, &o);
  const char *names = NULL;
  bool apart = clustered(&o, (double)r->evidence.got.count, n->data_bits);
  if (apart)
    doubt_address(s, r, &o, &names);
  doubt_data(s, r, &o, &names);
  if (!apart && !names)
    return LU_OK;
  lu_doubt_add(s, r, lu_arena_printf(s->mem, "%.0f words differ from pass to pass, and not as noise would%s%s: a contact that opens now and then, or a "
                                             "line that floats; what most passes read proves nothing there",
                                     o.words, names ? "; suspect lines: " : "", names ? names : ""));
  lu_doubt_share(r);
  return LU_OK;
}
