/* SPDX-License-Identifier: MIT */
/* From the first dump to one hop at 0.95: how many readings the bench loop takes.
 *
 *   evaluate_bench [-n DUMPS] [-s SEED] [-v] [BLOCK]
 *
 * For every block of the demo board and of the test boards, DUMPS times (default 12): a hop of one of its lines is
 * broken, drawn by the priors; the dump goes through `lineup decode --job`; then readings are chosen by the code behind
 * `lineup probe` and answered by a meter that knows the broken hop. Dumps that show nothing are drawn again.
 *
 * With a truthful meter the mean number of readings is taken over everything that the dump leaves possible, each by its
 * probability, and held against the optimal decision tree over the same (dynamic programming below, over the
 * likeliest 64 where they hold 99 %), or else against the entropy. With a meter that is wrong in 2 % of its readings the
 * truth is the broken hop. Dumps of which more than 1 % cannot be told apart by continuity are counted apart. Fails above 1.1 times the tree, above 1.3 times the entropy, below 97 %. */
#include "ask.h"
#include "stand.h"

#include "cli/standing.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

enum { LEAVES_MOST = 64, KNOTS_MOST = 16, GUESSES_MOST = 256, PAIRS_MOST = 4096, READINGS_MOST = 60, DRAWS_MOST = 400, NOISY_ROUNDS = 25, BLOCKS = 8 };

/* So much of what is possible is looked at: the likeliest. */
static const double told_share = 0.99;

static const struct {
  const char *board, *block, *how, *contents; /* contents: a file of the demo, a pattern, or NULL: random bytes */
  size_t bytes;
} blocks[BLOCKS] = {
    {"docs/demo/tide.yaml", "boot ROM", "--expect", "docs/demo/tide-rom.bin", 65536},
    {"docs/demo/tide.yaml", "work RAM", "--wrote", "address", 65536},
    {"docs/demo/tide.yaml", "record RAM", "--wrote", "address", 524288},
    {"tests/boards/log8.yaml", "program ROM", "--expect", NULL, 32768},
    {"tests/boards/log8.yaml", "log RAM", "--wrote", "address", 32768},
    {"tests/boards/quay16.yaml", "load RAM", "--wrote", "address", 65536},
    {"tests/boards/buoy8.yaml", "program ROM", "--expect", NULL, 8192},
    {"tests/boards/buoy8.yaml", "log RAM", "--wrote", "address", 57344},
};

/* Sums over dumps. hopeless: no readings of this kind can tell all apart; missed: they can, and ours did not. */
typedef struct sums {
  size_t dumps, trees, longer, hopeless, missed, noisy, right;
  double tree_ours, tree_best, long_ours, long_bits, noisy_readings;
} sums;

typedef struct loop {
  lu_arena mem;
  lu_run run;
  lu_session *s;         /* the board, to draw from */
  lu_network *network;
  lu_priors priors;
  char folder[64], board[1024], contents[1024], dump[96], job[96];
  uint64_t seed;
  bool talk;
  lu_wire wire;          /* the broken net, with all its points */
  size_t hop;
  sums sum;
} loop;

static double chance(loop *l)
{
  return (double)(ev_random(&l->seed) >> 11) / 9007199254740992.0;
}

static bool write_random(loop *l, const char *path, size_t bytes)
{
  FILE *f = fopen(path, "wb");
  for (size_t i = 0; f && i < bytes; i++)
    fputc((int)(ev_random(&l->seed) & 0xff), f);
  return f && fclose(f) == 0;
}

static bool open_loop(loop *l, size_t k)
{
  snprintf(l->board, sizeof l->board, "%s/%s", LU_TOP, blocks[k].board);
  snprintf(l->contents, sizeof l->contents, blocks[k].contents && strchr(blocks[k].contents, '/') ? LU_TOP "/%s" : "%s",
           blocks[k].contents ? blocks[k].contents : "");
  if (!blocks[k].contents) {
    snprintf(l->contents, sizeof l->contents, "%s/known.bin", l->folder);
    if (!write_random(l, l->contents, blocks[k].bytes))
      return false;
  }
  l->run = (lu_run){.out = stdout, .err = stderr, .mem = &l->mem, .program = "evaluate_bench"};
  l->s = lu_session_new(&l->run);
  if (l->s && !lu_session_board(l->s, l->board) && !lu_priors_of(l->s->board, &l->priors, &l->s->err) &&
      !lu_readings_network(l->s, blocks[k].block, NULL, 0, &l->network))
    return true;
  if (l->s)
    lu_say_error(&l->run, &l->s->err);
  return false;
}

/* --- one broken hop, and its dump ----------------------------------------------------------------------------- */

/* The side of the hop that no driver stands on, as "U1.2,U3.4"; false: no pins there, or on the other side. */
static bool cut_off(const loop *l, char *out, size_t room)
{
  const lu_wire *w = &l->wire;
  const lu_hop *h = &w->hops[l->hop];
  bool drives[2] = {false, false};
  size_t n = 0, len = 0, others = 0;
  for (size_t i = 0; i < w->point_count; i++)
    drives[lu_point_in(&h->cut, i)] |= lu_point_in(&w->drivers, i);
  bool side = !drives[1] || drives[0];
  for (size_t i = 0; i < w->point_count; i++) {
    if (!lu_point_in(&w->interest, i))
      continue;
    if (lu_point_in(&h->cut, i) != side) {
      others++;
      continue;
    }
    int more = snprintf(out + len, room - len, "%s%s", n++ ? "," : "", l->s->board->pins[w->points[i].pin].name);
    if (more < 0 || len + (size_t)more >= room)
      return false;
    len += (size_t)more;
  }
  return n && others;
}

/* A hop of the block's nets by its prior: into l->wire and l->hop. */
static bool draw(loop *l, lu_arena *mem)
{
  double all = 0;
  l->hop = SIZE_MAX;
  for (size_t i = 0; i < l->network->net_count; i++) {
    lu_wire w;
    uint32_t net = l->network->nets[i].net;
    if (net == LU_NONE || l->s->board->nets[net].supply || l->s->board->nets[net].ground || l->s->board->nets[net].pin_count < 2 ||
        lu_wire_of(l->s->board, &l->priors, net, NULL, 0, NULL, 0, mem, &w, NULL))
      continue;
    for (size_t h = 0; h < w.hop_count; h++) { /* one of a stream by weight: kept with its share of all so far */
      all += w.hops[h].prior;
      if (chance(l) * all < w.hops[h].prior) {
        l->wire = w;
        l->hop = h;
      }
    }
  }
  return l->hop != SIZE_MAX;
}

static bool tell(const char *const *argv, int want, const char *verdict)
{
  ev_answer a = ev_ask(argv);
  bool ok = a.status == want && (!verdict || !strcmp(a.verdict, verdict));
  ev_answer_end(&a);
  return ok;
}

/* The dump of the drawn hop, decoded into a fresh job. False: it shows nothing. */
static bool first_dump(loop *l, size_t k)
{
  char pins[1800], fault[2048];
  static const char *const tails[] = {"", "-wal", "-shm"};
  if (!cut_off(l, pins, sizeof pins))
    return false;
  snprintf(fault, sizeof fault, "open %s %s high", l->s->board->nets[l->wire.net].name, pins);
  for (size_t i = 0; i < 3; i++) {
    char name[112];
    snprintf(name, sizeof name, "%s%s", l->job, tails[i]);
    unlink(name);
  }
  const char *const simulate[] = {"lineup", "simulate", "--board", l->board, "--block", blocks[k].block, blocks[k].how, l->contents, "--fault", fault, "-o", l->dump, NULL};
  const char *const make[] = {"lineup", "job", "new", "--board", l->board, l->job, NULL};
  const char *const decode[] = {"lineup", "decode", "--json", "--job", l->job, "--block", blocks[k].block, blocks[k].how, l->contents, l->dump, NULL};
  return tell(simulate, 0, NULL) && tell(make, 0, NULL) && tell(decode, 1, "faulty");
}

/* --- the optimal tree --------------------------------------------------------------------------------------------- */

/* What the dump leaves possible, likeliest first. A reading is the set of leaves under which it departs from a sound
 * board. Leaves that only readings of their own single out ("loners": a bridge to one net of many) are best asked for
 * in the order of their probability, so that a state is a set of the others and the number of loners left out. */
typedef struct leaf {
  size_t count;
  lu_suspicion g[LU_GUESSES_MOST];
  double p;
} leaf;

typedef struct leaves {
  size_t count, mask_count, guess_count, knot_count, loner_count, testable;
  leaf at[LEAVES_MOST];
  uint64_t masks[PAIRS_MOST];
  lu_suspicion guess[GUESSES_MOST];
  size_t knots[LEAVES_MOST], loners[LEAVES_MOST]; /* the first `testable` loners have a reading of their own */
} leaves;

static bool same_guess(const lu_suspicion *x, const lu_suspicion *y)
{
  return x->kind == y->kind && x->level == y->level && x->wire == y->wire && x->hop == y->hop && x->net == y->net && x->net2 == y->net2 && x->part == y->part;
}

static unsigned sound(const lu_reading_at *r)
{
  return r->from.net == r->to.net ? LU_SEEN_JOINED : LU_SEEN_OPEN;
}

static bool departs(const lu_probe *p, const leaf *x, const lu_reading_at *r)
{
  for (size_t k = 0; k < x->count; k++)
    if ((unsigned)lu_probe_predicts(p, &x->g[k], r) != sound(r))
      return true;
  return false;
}

static void add_mask(leaves *t, const lu_probe *p, const lu_point *a, const lu_point *b)
{
  lu_reading_at r = {.kind = LU_PROBE_CONTINUITY, .from = *a, .to = *b};
  uint64_t mask = 0;
  for (size_t i = 0; i < t->count; i++)
    mask |= (uint64_t)departs(p, &t->at[i], &r) << i;
  for (size_t i = 0; i < t->mask_count; i++)
    if (t->masks[i] == mask)
      return;
  if (mask && t->mask_count < PAIRS_MOST)
    t->masks[t->mask_count++] = mask;
}

/* Readings that a suspicion between nets or at a part asks for. */
static void add_between(leaves *t, const lu_probe *p, const lu_board *b, const lu_suspicion *g)
{
  lu_point x = {LU_AT_NET, g->net, LU_NONE, LU_NONE}, y = {LU_AT_NET, g->net2, LU_NONE, LU_NONE};
  if (g->kind == LU_FAULT_BRIDGE)
    add_mask(t, p, &x, &y);
  for (uint32_t n = 0; g->kind == LU_FAULT_STUCK && n < b->net_count; n++) {
    y.net = n;
    if (g->level == LU_LEVEL_LOW ? b->nets[n].ground : b->nets[n].supply)
      add_mask(t, p, &x, &y);
  }
  for (int turn = 0; g->kind == LU_FAULT_SWAP && turn < 2; turn++) {
    x.net = turn ? g->net2 : g->net;
    for (uint32_t n = 0; n < b->nets[x.net].pin_count; n++) {
      uint32_t pin = b->net_pins[b->nets[x.net].first_pin + n];
      lu_point at = {b->parts[b->pins[pin].part].socketed ? LU_AT_LEG : LU_AT_PIN, x.net, pin, LU_NONE};
      add_mask(t, p, &x, &at);
    }
  }
}

/* Every continuity reading along the suspected nets, and those between nets that tell the rest apart. */
static void add_readings(leaves *t, const lu_probe *p, const lu_board *b)
{
  const lu_wire *w;
  for (size_t k = 0; (w = lu_probe_wire(p, k)); k++) {
    bool suspect = false;
    for (size_t i = 0; i < t->count; i++)
      for (size_t m = 0; m < t->at[i].count; m++)
        suspect |= t->at[i].g[m].net == w->net || t->at[i].g[m].net2 == w->net;
    for (size_t i = 0; suspect && i < w->point_count; i++)
      for (size_t j = i + 1; j < w->point_count; j++)
        add_mask(t, p, &w->points[i], &w->points[j]);
  }
  for (size_t i = 0; i < t->count; i++)
    for (size_t m = 0; m < t->at[i].count; m++)
      add_between(t, p, b, &t->at[i].g[m]);
}

static void sort_leaves(leaves *t)
{
  for (size_t pass = 0; pass < 2; pass++)
    for (size_t i = 0; i < t->count; i++) {
      bool knot = t->at[i].count > 1, testable = false;
      for (size_t k = 0; k < t->mask_count; k++)
        if (t->masks[k] >> i & 1) {
          knot |= (t->masks[k] & (t->masks[k] - 1)) != 0;
          testable = true;
        }
      if (knot && !pass)
        t->knots[t->knot_count++] = i;
      if (knot || testable != !pass)
        continue;
      t->loners[t->loner_count++] = i;
      t->testable += testable;
    }
  for (size_t k = 0; k < t->knot_count; k++)
    for (size_t m = 0; m < t->at[t->knots[k]].count; m++) {
      size_t g = 0;
      while (g < t->guess_count && !same_guess(&t->guess[g], &t->at[t->knots[k]].g[m]))
        g++;
      if (g == t->guess_count && g < GUESSES_MOST)
        t->guess[t->guess_count++] = t->at[t->knots[k]].g[m];
    }
}

/* The share of leaves that no readings of this kind tell apart from others, so that no guess can come to hold 0.95. */
static double never_told(const leaves *t)
{
  double share = 0;
  for (size_t i = 0; i < t->count; i++) {
    uint64_t twins = 0;
    double all = 0, most = 0;
    for (size_t k = 0; k < t->count; k++) {
      bool same = true;
      for (size_t m = 0; same && m < t->mask_count; m++)
        same = (t->masks[m] >> i & 1) == (t->masks[m] >> k & 1);
      twins |= (uint64_t)same << k;
      all += same ? t->at[k].p : 0;
    }
    for (size_t g = 0; g < t->at[i].count; g++) {
      double one = 0;
      for (uint64_t left = twins; left; left &= left - 1) {
        const leaf *x = &t->at[__builtin_ctzll(left)];
        for (size_t n = 0; n < x->count; n++)
          one += same_guess(&x->g[n], &t->at[i].g[g]) ? x->p : 0;
      }
      most = fmax(most, one);
    }
    for (uint64_t left = twins; left; left &= left - 1) /* another's guess may hold it as well */
      most = fmax(most, t->at[__builtin_ctzll(left)].p);
    share += most / all < LU_LOCATED ? t->at[i].p : 0;
  }
  return share;
}

/* most[set]: what the best guess has of these knots; sum[set]: all of them. */
static void weigh_knots(const leaves *t, double *most, double *sum)
{
  size_t sets = (size_t)1 << t->knot_count;
  double *of = calloc(sets, sizeof *of);
  for (size_t g = 0; g <= t->guess_count; g++)
    for (size_t set = 1; set < sets; set++) {
      const leaf *x = &t->at[t->knots[__builtin_ctzll(set)]];
      bool its = g == t->guess_count;
      for (size_t m = 0; !its && m < x->count; m++)
        its = same_guess(&t->guess[g], &x->g[m]);
      of[set] = of[set & (set - 1)] + (its ? x->p : 0);
      if (g == t->guess_count)
        sum[set] = of[set];
      else
        most[set] = fmax(most[set], of[set]);
    }
  free(of);
}

/* Knots that each reading concerns, once each. */
static size_t knot_masks(const leaves *t, uint32_t *out)
{
  size_t n = 0;
  for (size_t k = 0; k < t->mask_count; k++) {
    uint32_t m = 0;
    size_t same = 0;
    for (size_t i = 0; i < t->knot_count; i++)
      m |= (uint32_t)(t->masks[k] >> t->knots[i] & 1) << i;
    while (same < n && out[same] != m)
      same++;
    if (m && same == n)
      out[n++] = m;
  }
  return n;
}

/* The mean number of readings of the best tree: until a guess holds 0.95 or nothing more can be gained. */
static double best_tree(const leaves *t)
{
  static uint32_t masks[PAIRS_MOST];
  size_t sets = (size_t)1 << t->knot_count, none = t->testable + 1, n = knot_masks(t, masks);
  double *best = calloc(sets * (none + 1), sizeof *best), *most = calloc(sets, sizeof *most), *sum = calloc(sets, sizeof *sum), answer;
  weigh_knots(t, most, sum);
  for (size_t k = none + 1; k-- > 0;) { /* loners[0..k) are left out; none: all of them */
    double rest = 0, first = 0;
    for (size_t i = k; k < none && i < t->loner_count; i++) {
      rest += t->at[t->loners[i]].p;
      first = fmax(first, t->at[t->loners[i]].p);
    }
    for (size_t set = 0; set < sets; set++) {
      double all = sum[set] + rest, *here = &best[k * sets + set];
      *here = all <= 0 || fmax(most[set], first) / all >= LU_LOCATED ? 0 : 1e300;
      if (*here > 0 && k < t->testable)
        *here = fmin(*here, all + best[(k + 1) * sets + set]);
      for (size_t m = 0; *here > 0 && m < n; m++)
        if ((set & masks[m]) && (rest > 0 || (set & ~(size_t)masks[m])))
          *here = fmin(*here, all + best[none * sets + (set & masks[m])] + best[k * sets + (set & ~(size_t)masks[m])]);
      if (*here > 1e299)
        *here = 0; /* nothing more can be gained */
    }
  }
  answer = best[sets - 1];
  free(best), free(most), free(sum);
  return answer;
}

/* --- readings ---------------------------------------------------------------------------------------------------- */

static bool broken_between(const loop *l, const lu_point *a, const lu_point *b)
{
  size_t i = lu_wire_point(&l->wire, a), k = lu_wire_point(&l->wire, b);
  return i != SIZE_MAX && k != SIZE_MAX && lu_point_in(&l->wire.hops[l->hop].cut, i) != lu_point_in(&l->wire.hops[l->hop].cut, k);
}

static unsigned what_is(const loop *l, const lu_reading_at *r)
{
  return r->from.net == r->to.net && !(r->from.net == l->wire.net && broken_between(l, &r->from, &r->to)) ? LU_SEEN_JOINED : LU_SEEN_OPEN;
}

/* Readings until one suspicion holds 0.95. truth NULL: the broken hop answers, with
 * wrong answers, and *right says that it was found; else that something was located. */
static unsigned search(loop *l, const lu_probe_query *q, const leaf *truth, bool *right)
{
  lu_arena mem = {0};
  lu_probe *p;
  unsigned n = 0;
  size_t count;
  if (lu_probe_new(q, &mem, &p, NULL))
    abort();
  const lu_suspicion *g = lu_probe_guesses(p, &count);
  for (; g[0].probability < LU_LOCATED && n < READINGS_MOST; n++) {
    lu_proposal next;
    if (!lu_probe_next(p, 1u << LU_PROBE_CONTINUITY, 1, &next) || next.gain_bits < 1e-3)
      break;
    unsigned seen = !truth ? what_is(l, &next.reading) : departs(p, truth, &next.reading) ? !sound(&next.reading) : sound(&next.reading);
    next.reading.seen = (uint8_t)(!truth && chance(l) < 0.02 ? !seen : seen);
    lu_probe_take(p, &next.reading);
    g = lu_probe_guesses(p, &count);
  }
  lu_point a, b;
  lu_probe_ends(p, &g[0], &a, &b);
  *right = truth ? g[0].probability >= LU_LOCATED : g[0].kind == LU_FAULT_OPEN && g[0].net == l->wire.net && broken_between(l, &a, &b);
  lu_arena_free(&mem);
  return n;
}

static int by_probability(const void *a, const void *b)
{
  const leaf *x = a, *y = b;
  return (x->p < y->p) - (x->p > y->p);
}

/* The likeliest of what the dump leaves possible, as shares; *held: how much of it that is. */
static void take_leaves(const lu_probe *p, leaves *t, double *held)
{
  size_t n = lu_probe_hypotheses(p);
  leaf *all = calloc(n + 1, sizeof *all);
  for (size_t i = 0; i < n; i++)
    all[i].count = lu_probe_hypothesis(p, i, all[i].g, &all[i].p);
  qsort(all, n, sizeof *all, by_probability);
  *held = 0;
  for (; t->count < n && t->count < LEAVES_MOST && *held < told_share; t->count++)
    *held += (t->at[t->count] = all[t->count]).p;
  for (size_t i = 0; i < t->count; i++)
    t->at[i].p /= *held;
  free(all);
}

static void truthful(loop *l, lu_standing *st)
{
  double held, ours = 0, bits = 0, lost = 0;
  leaves *t = calloc(1, sizeof *t);
  lu_probe_query q = st->query;
  q.meter_error = 1e-9;
  take_leaves(st->probe, t, &held);
  add_readings(t, st->probe, st->query.board);
  sort_leaves(t);
  bool small = held >= told_share && t->knot_count <= KNOTS_MOST;
  double tree = small ? best_tree(t) : 0;
  for (size_t i = 0; i < t->count; i++) {
    bool found;
    ours += t->at[i].p * search(l, &q, &t->at[i], &found);
    bits -= t->at[i].p * log2(t->at[i].p);
    lost += found ? 0 : t->at[i].p;
  }
  if (l->talk)
    fprintf(stderr, "%s: %zu leaves (%.3f), %zu knots, %zu loners, %zu readings: ours %.2f, tree %.2f, %.2f bits, not located %.4f\n",
            l->s->board->nets[l->wire.net].name, t->count, held, t->knot_count, t->loner_count, t->mask_count, ours, tree, bits, lost);
  double hopeless = never_told(t);
  l->sum.missed += lost > hopeless + 1e-9;
  if (hopeless > 0.01) {
    l->sum.hopeless++;
  } else if (small) {
    l->sum.trees++;
    l->sum.tree_ours += ours;
    l->sum.tree_best += tree;
  } else {
    l->sum.longer++;
    l->sum.long_ours += ours;
    l->sum.long_bits += bits;
  }
  free(t);
}

static bool readings(loop *l)
{
  lu_arena mem = {0};
  lu_run run = {.out = stdout, .err = stderr, .mem = &mem, .program = "evaluate_bench"};
  lu_session *s = lu_session_new(&run);
  lu_bench *b = NULL;
  lu_standing st = {0};
  lu_texts costs = {.count = 5, .at = {"chip=0", "via=0", "turn=0", "power=0", "pull=0"}};
  bool ok = s && !lu_bench_open(s, l->job, LU_JOB_READ, &b) && !lu_bench_board(b) && !lu_standing_of(b, &(lu_standing_args){.costs = &costs}, &st);
  if (ok) {
    l->sum.dumps++;
    truthful(l, &st);
    for (int i = 0; i < NOISY_ROUNDS; i++) {
      bool right;
      l->sum.noisy_readings += search(l, &st.query, NULL, &right);
      l->sum.right += right;
      l->sum.noisy++;
    }
  } else if (s) {
    lu_say_error(&run, &s->err);
  }
  lu_standing_free(&st);
  lu_bench_close(b);
  if (s)
    lu_session_end(s);
  lu_arena_free(&mem);
  return ok;
}

/* --- the table ------------------------------------------------------------------------------------------------------ */

static void add(sums *to, const sums *x)
{
  to->dumps += x->dumps, to->trees += x->trees, to->longer += x->longer, to->hopeless += x->hopeless, to->missed += x->missed, to->noisy += x->noisy, to->right += x->right;
  to->tree_ours += x->tree_ours, to->tree_best += x->tree_best, to->long_ours += x->long_ours, to->long_bits += x->long_bits;
  to->noisy_readings += x->noisy_readings;
}

static bool row(const char *board, const char *block, const sums *x)
{
  double tree = x->tree_best > 0 ? x->tree_ours / x->tree_best : 1, bound = x->long_bits > 0 ? x->long_ours / x->long_bits : 1;
  double right = x->noisy ? (double)x->right / (double)x->noisy : 1;
  printf("| %s | %s | %zu | %zu: %.2f | %.2f | %.3f | %zu: %.2f | %.2f | %zu | %.1f %% | %.2f |\n", board, block, x->dumps, x->trees,
         x->trees ? x->tree_ours / (double)x->trees : 0, x->trees ? x->tree_best / (double)x->trees : 0, tree, x->longer,
         x->longer ? x->long_ours / (double)x->longer : 0, x->longer ? x->long_bits / (double)x->longer : 0, x->hopeless, 100 * right,
         x->noisy ? x->noisy_readings / (double)x->noisy : 0);
  fflush(stdout);
  return tree <= 1.1 && bound <= 1.3 && right >= 0.97 && !x->missed;
}

static bool one_block(size_t k, size_t dumps, uint64_t seed, bool talk, const char *folder, sums *all)
{
  loop *l = calloc(1, sizeof *l);
  l->seed = seed + 1000 * k;
  l->talk = talk;
  snprintf(l->folder, sizeof l->folder, "%s", folder);
  snprintf(l->dump, sizeof l->dump, "%s/dump.bin", folder);
  snprintf(l->job, sizeof l->job, "%s/a.job", folder);
  bool ok = open_loop(l, k);
  for (size_t i = 0; ok && l->sum.dumps < dumps && i < DRAWS_MOST; i++) {
    lu_arena mem = {0};
    if (draw(l, &mem) && first_dump(l, k))
      ok = readings(l);
    lu_arena_free(&mem);
  }
  row(blocks[k].board, blocks[k].block, &l->sum);
  add(all, &l->sum);
  ok &= l->sum.dumps == dumps;
  if (l->s)
    lu_session_end(l->s);
  lu_arena_free(&l->mem);
  free(l);
  return ok;
}

int main(int argc, char **argv)
{
  size_t dumps = 12;
  uint64_t seed = 5;
  const char *only = NULL;
  bool talk = false;
  for (int i = 1; i < argc; i++) {
    if (i + 1 < argc && !strcmp(argv[i], "-n"))
      dumps = strtoul(argv[++i], NULL, 10);
    else if (i + 1 < argc && !strcmp(argv[i], "-s"))
      seed = strtoull(argv[++i], NULL, 10);
    else if (!strcmp(argv[i], "-v"))
      talk = true;
    else
      only = argv[i];
  }
  char folder[] = "/tmp/lu-bench-XXXXXX", command[128];
  sums all = {0};
  bool ok = mkdtemp(folder) != NULL;
  printf("| board | block | dumps | truthful meter | optimal tree | ratio | larger: readings | entropy in bits | not told apart | 2 %% wrong: right hop | readings |\n");
  printf("| --- | --- | ---: | ---: | ---: | ---: | ---: | ---: | ---: | ---: | ---: |\n");
  for (size_t k = 0; ok && k < BLOCKS; k++)
    if (!only || !strcmp(only, blocks[k].block))
      ok = one_block(k, dumps, seed, talk, folder, &all);
  ok &= row("all", "", &all);
  snprintf(command, sizeof command, "rm -r %s", folder);
  return system(command) || !ok;
}
