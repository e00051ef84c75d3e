/* SPDX-License-Identifier: MIT */
#define _XOPEN_SOURCE 700
/* How often `lineup decode` names the nets that are really at fault.
 *
 * Every block of the demo board and of the test boards, with contents known (a ROM image) or written through the same
 * lines (random contents, and the pattern `address`). Faults are simulated in this process, the dump goes to a file,
 * and the whole program is asked. A case counts when every true net (or dead part) stands among the first k suspects,
 * k being the number of nets and parts that have a single fault with the very same dump; for several faults, the sum
 * of their k. Prints a page of markdown. Without arguments: a look at everything; --all: every single fault. */
#include "ask.h"
#include "stand.h"

#include "base/io.h"

#include <errno.h>
#include <ftw.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <sys/wait.h>
#include <time.h>
#include <unistd.h>

typedef struct options {
  bool singles;
  size_t dumps, sets[5], noisy, blind, drawn, jobs, seconds;
  time_t until; /* of the suite that runs */
  uint64_t seed;
  bool verbose, smoke;
  const char *only, *keep;
} options;

typedef struct tally {
  size_t cases, found, strict;
  size_t equal;   /* k being the nets and parts of all sets named that give the very same dump, if these are more */
  size_t smaller; /* not found, and a set of fewer faults gives the very same dump */
} tally;

typedef struct scores {
  tally clean, row[EV_ROWS], sets[5], noisy[3], blind, blind_clean;
  size_t times, wide[EV_ROWS], invisible[EV_ROWS];
  double seconds[100000];
} scores;

typedef struct place {
  const char *board, *block, *how, *contents; /* NULL: random */
  size_t size;
} place;

static const place places[] = {
    {"docs/demo/tide.yaml", "boot ROM", "expect", "docs/demo/tide-rom.bin", 65536},
    {"docs/demo/tide.yaml", "work RAM", "wrote", NULL, 65536},
    {"docs/demo/tide.yaml", "work RAM", "wrote", "address", 65536},
    {"docs/demo/tide.yaml", "record RAM", "wrote", NULL, 524288},
    {"docs/demo/tide.yaml", "record RAM", "wrote", "address", 524288},
    {"tests/boards/log8.yaml", "program ROM", "expect", NULL, 32768},
    {"tests/boards/log8.yaml", "log RAM", "wrote", NULL, 32768},
    {"tests/boards/log8.yaml", "log RAM", "wrote", "address", 32768},
    {"tests/boards/quay16.yaml", "program ROM", "expect", NULL, 131072},
    {"tests/boards/quay16.yaml", "load RAM", "wrote", NULL, 65536},
    {"tests/boards/quay16.yaml", "load RAM", "wrote", "address", 65536},
    {"tests/boards/buoy8.yaml", "program ROM", "expect", NULL, 8192},
    {"tests/boards/buoy8.yaml", "log RAM", "wrote", NULL, 57344},
    {"tests/boards/buoy8.yaml", "log RAM", "wrote", "address", 57344},
};
enum { PLACES = sizeof places / sizeof *places, NOISE_PASSES = 3 };

static const char *const row_names[EV_ROWS] = {"open, one pin", "open, all receivers", "open, some receivers", "stuck",
                                               "bridge", "swap", "dead part"};

/* --- one question ------------------------------------------------------------------------------ */

typedef struct question {
  ev_stand *t;
  const options *o;
  scores *s;
  const lu_fault *faults;
  size_t count, k, k_nets, passes;
  lu_level undriven;
  bool blind;
  char path[NOISE_PASSES][512];
} question;

static void print_decode(const question *q, FILE *out)
{
  const ev_stand *t = q->t;
  fprintf(out, "lineup decode --json -b %s --block '%s'", t->board, t->block);
  if (!q->blind)
    fprintf(out, " --%s %s", t->how, t->contents);
}

static void print_case(const question *q, const ev_answer *a, const char *what)
{
  static const char *const levels[] = {"low", "high", "keep", "address"};
  const ev_stand *t = q->t;
  printf("    # %s", what);
  for (size_t i = 0; i < q->count; i++) {
    const char *names[2];
    size_t n = ev_names(t, &q->faults[i], names);
    for (size_t m = 0; m < n; m++)
      printf("  %s at %zu", names[m], ev_place(a, names[m], false));
  }
  printf("  k %zu (%zu nets)  %s, exit %d, %.2f s\n", q->k, q->k_nets, a->verdict, a->status, a->seconds);
  printf("    lineup simulate -b %s --block '%s' --%s %s", t->board, t->block, t->how, t->contents);
  for (size_t i = 0; i < q->count; i++) {
    printf(" -f '");
    ev_print_fault(t, &q->faults[i], stdout);
    printf("'");
  }
  if (q->undriven != LU_LEVEL_HIGH)
    printf(" --undriven %s", levels[q->undriven]);
  printf(" -o d.bin; ");
  print_decode(q, stdout);
  printf(" d.bin%s\n", q->passes > 1 ? "  # three passes with noise" : "");
}

static ev_answer ask(const question *q)
{
  const ev_stand *t = q->t;
  char how[16];
  const char *argv[20] = {"lineup", "decode", "--json", "--board", t->board, "--block", t->block};
  size_t n = 7;
  snprintf(how, sizeof how, "--%s", t->how);
  if (!q->blind) {
    argv[n++] = how;
    argv[n++] = t->contents;
  }
  for (size_t i = 0; i < q->passes; i++)
    argv[n++] = q->path[i];
  ev_answer a = ev_ask(argv);
  if (q->s->times < sizeof q->s->seconds / sizeof *q->s->seconds)
    q->s->seconds[q->s->times++] = a.seconds;
  return a;
}

/* Writes t->dump (as many passes as asked, with noise when more than one) and asks. */
static ev_answer put(question *q, uint64_t *random)
{
  for (size_t i = 0; i < q->passes; i++) {
    snprintf(q->path[i], sizeof q->path[i], "%s/pass%zu.bin", q->o->keep, i + 1);
    if (!ev_write(q->t, q->path[i], q->passes > 1 ? 0.01 : 0, random))
      fprintf(stderr, "evaluate: cannot write %s\n", q->path[i]);
  }
  return ask(q);
}

/* With nothing known, an address line that follows another one is as good as stuck on other contents: of such a bridge
 * only the line that loses can be named. */
static bool asked_for(const question *q, const lu_fault *f, size_t m)
{
  const lu_jnet *nets = q->t->j->nets;
  bool wins = f->kind == LU_FAULT_BRIDGE && f->acts == (m ? LU_ACTS_SECOND : LU_ACTS_FIRST);
  return !q->blind || !wins || !(nets[f->net].carries & nets[f->net2].carries & LU_CARRIES_ADDRESS);
}

typedef struct rivals {
  size_t count; /* nets and parts in explanations with the very same dump */
  bool smaller; /* one of them has fewer faults */
} rivals;

static size_t add_names(const question *q, const lu_fault *faults, size_t n, const char **list, size_t count)
{
  for (size_t i = 0; i < n; i++) {
    const char *names[2];
    size_t m = ev_names(q->t, &faults[i], names);
    for (size_t k = 0; k < m; k++) {
      size_t at = 0;
      while (at < count && strcmp(list[at], names[k]))
        at++;
      if (at == count && count < 512)
        list[count++] = names[k];
    }
  }
  return count;
}

static bool same_dump(const question *q, const lu_fault *faults, size_t count, uint64_t dump)
{
  static const uint8_t levels[] = {LU_LEVEL_HIGH, LU_LEVEL_LOW, LU_LEVEL_KEEP, LU_LEVEL_ADDRESS};
  for (unsigned i = 0; i < 4; i++)
    if (ev_simulate(q->t, faults, count, (lu_level)levels[i], 1) == dump)
      return true;
  return false;
}

/* Which of the explanations given no reading of this kind can tell from the truth: each is simulated. */
static rivals find_rivals(const question *q, const ev_answer *a)
{
  rivals r = {0};
  const char *names[512];
  uint64_t dump = ev_simulate(q->t, q->faults, q->count, q->undriven, 1);
  for (size_t i = 0; i < 64; i++) {
    char text[LU_FAULTS_MOST][EV_WORDS_LEN];
    const char *words[LU_FAULTS_MOST];
    lu_fault faults[LU_FAULTS_MOST];
    size_t n = ev_explanation(a, i, LU_FAULTS_MOST, text);
    for (size_t k = 0; k < n; k++)
      words[k] = text[k];
    if (!n || !ev_parse(q->t, words, n, faults) || !same_dump(q, faults, n, dump))
      continue;
    r.count = add_names(q, faults, n, names, r.count);
    r.smaller |= n < q->count;
  }
  return r;
}

static bool all_within(const question *q, const ev_answer *a, size_t k)
{
  for (size_t i = 0; i < q->count; i++) {
    const char *names[2];
    size_t n = ev_names(q->t, &q->faults[i], names);
    for (size_t m = 0; m < n; m++) {
      size_t at = asked_for(q, &q->faults[i], m) ? ev_place(a, names[m], false) : 1;
      if (!at || at > k)
        return false;
    }
  }
  return true;
}

/* Whether every true net stands within the first k suspects. */
static void judge(const question *q, const ev_answer *a, tally *t)
{
  bool faulty = a->status == 1 && !strcmp(a->verdict, "faulty");
  bool found = faulty && all_within(q, a, q->k), strict = faulty && all_within(q, a, q->k_nets ? q->k_nets : q->k);
  bool equal = found, smaller = false;
  if (!found && q->count > 1 && q->passes == 1 && !q->blind) {
    rivals r = find_rivals(q, a);
    smaller = r.smaller;
    equal = a->status == 1 && all_within(q, a, q->k > r.count ? q->k : r.count);
  }
  t->cases++;
  t->found += found;
  t->strict += strict;
  t->equal += equal;
  t->smaller += !equal && smaller;
  if (!found && q->o->verbose)
    print_case(q, a, equal ? "behind equals:" : smaller ? "fewer give it:" : "missed:");
}

static void judge_clean(const question *q, const ev_answer *a, tally *t)
{
  bool ok = q->blind ? a->status == 0 && strcmp(a->verdict, "faulty") != 0
                     : a->status == 0 && !strcmp(a->verdict, "clean");
  t->cases++;
  t->found += ok;
  t->strict += ok;
  t->equal += ok;
  if (!ok && q->o->verbose)
    print_case(q, a, "undamaged, but:");
}

static bool late(const options *o)
{
  return o->until && time(NULL) >= o->until;
}

/* --- suites -------------------------------------------------------------------------------------- */

static void shuffle(size_t *list, size_t count, uint64_t *random)
{
  for (size_t i = count; i > 1; i--) {
    size_t k = ev_random(random) % i, t = list[k];
    list[k] = list[i - 1];
    list[i - 1] = t;
  }
}

static void simulate_single(ev_stand *t, const ev_single *x)
{
  ev_simulate(t, &x->fault, 1, (lu_level)x->undriven, 1);
}

static size_t dump_end(const ev_stand *t, size_t first)
{
  size_t end = first;
  while (end < t->single_count && t->singles[t->by_dump[end]].dump == t->singles[t->by_dump[first]].dump)
    end++;
  return end;
}

/* The first of these dumps that a fault of this kind gives, or count. */
static size_t with_row(const ev_stand *t, const size_t *starts, size_t count, unsigned row)
{
  for (size_t c = 0; c < count; c++)
    for (size_t i = starts[c], end = dump_end(t, i); i < end; i++)
      if (t->singles[t->by_dump[i]].row == row)
        return c;
  return count;
}

/* Judges every single fault that gives this dump by one answer. */
static void one_dump(ev_stand *t, const options *o, scores *s, size_t first, size_t *taken, uint64_t *random)
{
  question q = {.t = t, .o = o, .s = s, .count = 1, .passes = 1};
  size_t parts;
  q.k_nets = ev_group(t, t->singles[t->by_dump[first]].dump, &parts);
  q.k = q.k_nets + parts;
  simulate_single(t, &t->singles[t->by_dump[first]]);
  ev_answer a = put(&q, random);
  for (size_t i = first, end = dump_end(t, first); i < end; i++) {
    const ev_single *x = &t->singles[t->by_dump[i]];
    q.faults = &x->fault;
    q.undriven = (lu_level)x->undriven;
    judge(&q, &a, &s->row[x->row]);
    taken[x->row]++;
  }
  ev_answer_end(&a);
}

/* Each dump that single faults give is asked once; all faults that give it are judged by the answer. */
static void singles(ev_stand *t, const options *o, scores *s, uint64_t *random)
{
  size_t *starts = calloc(t->single_count + 1, sizeof *starts), count = 0, taken[EV_ROWS] = {0};
  for (size_t i = 0; starts && i < t->single_count; i++) {
    uint64_t dump = t->singles[t->by_dump[i]].dump;
    s->invisible[t->singles[t->by_dump[i]].row] += dump == 0;
    s->wide[t->singles[t->by_dump[i]].row] += dump == 1;
    if (dump > 1 && (i == 0 || t->singles[t->by_dump[i - 1]].dump != dump))
      starts[count++] = i;
  }
  shuffle(starts, count, random);
  /* a dump for each kind in turn, so that a run cut short has seen all of them */
  bool more = true;
  while (starts && more && !late(o)) {
    more = false;
    for (unsigned row = 0; row < EV_ROWS && !late(o); row++) {
      size_t at = o->dumps && taken[row] >= o->dumps ? count : with_row(t, starts, count, row);
      if (at == count)
        continue;
      more = true;
      one_dump(t, o, s, starts[at], taken, random);
      starts[at] = starts[--count];
    }
  }
  free(starts);
}

static const ev_single *pick(const ev_stand *t, uint64_t *random)
{
  static const uint8_t mix[16] = {EV_OPEN_PIN, EV_OPEN_PIN, EV_OPEN_PIN,  EV_OPEN_PIN,  EV_OPEN_PIN, EV_OPEN_PIN,
                                  EV_OPEN_ALL, EV_OPEN_ALL, EV_OPEN_SOME, EV_STUCK,     EV_STUCK,    EV_BRIDGE,
                                  EV_BRIDGE,   EV_BRIDGE,   EV_SWAP,      EV_DEAD};
  for (size_t tries = 0; tries < 20000; tries++) {
    unsigned row = mix[ev_random(random) % 16];
    for (unsigned k = 0; k < 2000; k++) {
      const ev_single *x = &t->singles[ev_random(random) % t->single_count];
      if (x->row == row && x->dump > 1 && x->undriven == LU_LEVEL_HIGH)
        return x;
    }
  }
  return NULL;
}

static bool shares_name(const ev_stand *t, const lu_fault *a, const lu_fault *b)
{
  const char *x[2], *y[2];
  size_t n = ev_names(t, a, x), m = ev_names(t, b, y);
  for (size_t i = 0; i < n; i++)
    for (size_t k = 0; k < m; k++)
      if (!strcmp(x[i], y[k]))
        return true;
  return false;
}

/* Faults drawn so that no fewer of them, and no single fault, give the same dump; leaves the dump in t. */
static bool draw_set(question *q, lu_fault *faults, size_t count, uint64_t *random)
{
  for (unsigned tries = 0; tries < 400; tries++) {
    size_t k = 0, k_nets = 0, n = 0, parts;
    while (n < count) {
      const ev_single *x = pick(q->t, random);
      bool again = !x;
      for (size_t i = 0; x && i < n; i++)
        again |= shares_name(q->t, &x->fault, &faults[i]);
      if (!x)
        return false;
      if (again)
        continue;
      size_t nets = ev_group(q->t, x->dump, &parts);
      k += nets + parts;
      k_nets += nets ? nets : parts;
      faults[n++] = x->fault;
    }
    uint64_t whole = ev_simulate(q->t, faults, count, LU_LEVEL_HIGH, 1);
    bool fresh = whole > 1 && (count == 1 || ev_group(q->t, ev_look(q->t, LU_LEVEL_HIGH), &parts) + parts == 0);
    for (unsigned m = 1; fresh && m + 1 < 1u << count; m++) {
      lu_fault part[LU_FAULTS_MOST];
      size_t p = 0;
      for (size_t i = 0; i < count; i++)
        if (m >> i & 1)
          part[p++] = faults[i];
      fresh = ev_simulate(q->t, part, p, LU_LEVEL_HIGH, 1) != whole;
    }
    if (!fresh)
      continue;
    ev_simulate(q->t, faults, count, LU_LEVEL_HIGH, 1);
    q->faults = faults;
    q->count = count;
    q->k = k;
    q->k_nets = k_nets;
    q->undriven = LU_LEVEL_HIGH;
    return true;
  }
  return false;
}

static void sets(ev_stand *t, const options *o, scores *s, size_t count, size_t cases, size_t passes, tally *to, uint64_t *random)
{
  lu_fault faults[LU_FAULTS_MOST];
  for (size_t i = 0; i < cases && !late(o); i++) {
    question q = {.t = t, .o = o, .s = s, .passes = passes};
    if (!draw_set(&q, faults, count, random))
      return;
    ev_answer a = put(&q, random);
    judge(&q, &a, to);
    ev_answer_end(&a);
  }
}

/* A permutation of the contents cannot be seen when nothing is known of them, and one value all over may be an empty
 * memory: neither is asked. */
static bool loses(const ev_stand *t, const lu_fault *f)
{
  bool constant = true;
  for (size_t i = 1; i < t->e.got.count; i++)
    constant &= lu_word(&t->e.got, i) == lu_word(&t->e.got, 0);
  if (constant)
    return false;
  size_t ones[2] = {0, 0}, columns = t->e.network->data_bits, differ = 0;
  if (f->kind == LU_FAULT_SWAP)
    return false;
  for (unsigned b = 0; b < columns; b++) {
    for (size_t i = 0; i < t->e.got.count; i++) {
      ones[0] += lu_word(&t->e.known, i) >> b & 1;
      ones[1] += lu_word(&t->e.got, i) >> b & 1;
    }
    differ += ones[0] != ones[1];
  }
  return differ > 0;
}

static void blind(ev_stand *t, const options *o, scores *s, uint64_t *random)
{
  question q = {.t = t, .o = o, .s = s, .passes = 1, .blind = true, .undriven = LU_LEVEL_HIGH};
  ev_simulate(t, NULL, 0, LU_LEVEL_HIGH, 1);
  ev_answer a = put(&q, random);
  judge_clean(&q, &a, &s->blind_clean);
  ev_answer_end(&a);
  for (size_t i = 0; i < o->blind && !late(o); i++) {
    const ev_single *x = pick(t, random);
    if (!x)
      return;
    simulate_single(t, x);
    if (!loses(t, &x->fault))
      continue;
    size_t parts;
    q.k_nets = ev_group(t, x->dump, &parts);
    q.k = q.k_nets + parts;
    q.faults = &x->fault;
    q.undriven = (lu_level)x->undriven;
    q.count = 1;
    a = put(&q, random);
    judge(&q, &a, &s->blind);
    ev_answer_end(&a);
  }
}

static void undamaged(ev_stand *t, const options *o, scores *s, uint64_t *random)
{
  for (size_t passes = 1; passes <= NOISE_PASSES; passes += NOISE_PASSES - 1) {
    if (passes > 1 && !o->noisy)
      break;
    question q = {.t = t, .o = o, .s = s, .passes = passes, .undriven = LU_LEVEL_HIGH};
    ev_simulate(t, NULL, 0, LU_LEVEL_HIGH, 1);
    ev_answer a = put(&q, random);
    judge_clean(&q, &a, passes > 1 ? &s->noisy[0] : &s->clean);
    ev_answer_end(&a);
  }
}

/* --- probabilities ----------------------------------------------------------------------------------- */

enum { BINS = 10 };
typedef struct reliability {
  FILE *log; /* each suspect: case, name, probability, true, place, block; and each case */
  size_t cases, count[BINS], true_ones[BINS];
  double sum[BINS], brier;
  size_t judged;
} reliability;

/* Each suspect's probability against whether it is at fault. */
static void note_suspects(const question *q, const ev_answer *a, reliability *r)
{
  json_t *list = json_object_get(a->json, "suspects"), *x;
  size_t i;
  r->cases++;
  json_array_foreach(list, i, x)
  {
    const char *name = json_string_value(json_object_get(x, "net"));
    if (!name)
      name = json_string_value(json_object_get(x, "part"));
    double p = json_number_value(json_object_get(x, "probability"));
    bool is = false;
    for (size_t f = 0; f < q->count; f++) {
      const char *names[2];
      size_t n = ev_names(q->t, &q->faults[f], names);
      for (size_t m = 0; name && m < n; m++)
        is |= !strcmp(names[m], name);
    }
    int bin = (int)fmin(p * BINS, BINS - 1);
    r->count[bin]++;
    r->true_ones[bin] += is;
    r->sum[bin] += p;
    r->brier += (p - is) * (p - is);
    r->judged++;
    if (r->log)
      fprintf(r->log, "%zu,%s,%.6f,%d,%zu,%s\n", r->cases, name ? name : "", p, is, i + 1, q->t->block);
  }
}

/* Faults as the priors have them: each there or not, on its own; at least one, at most four, and
 * something to be seen. */
static bool draw_board(question *q, const double *upto, lu_fault *faults, uint64_t *random)
{
  const ev_stand *t = q->t;
  double all = upto[t->single_count - 1];
  for (unsigned tries = 0; tries < 1000; tries++) {
    double u = (double)(ev_random(random) >> 11) * 0x1p-53, p = exp(-all);
    size_t n = 0;
    for (; n <= LU_FAULTS_MOST && u > p; n++) {
      u -= p;
      p *= all / (double)(n + 1);
    }
    if (n == 0 || n > LU_FAULTS_MOST)
      continue;
    for (size_t i = 0; i < n; i++) {
      double at = (double)(ev_random(random) >> 11) * 0x1p-53 * all;
      size_t low = 0, high = t->single_count - 1;
      while (low < high) {
        size_t m = (low + high) / 2;
        if (upto[m] < at)
          low = m + 1;
        else
          high = m;
      }
      faults[i] = t->singles[low].fault;
    }
    q->faults = faults;
    q->count = n;
    if (ev_simulate(q->t, faults, n, LU_LEVEL_HIGH, ev_random(random)) > 1)
      return true;
  }
  return false;
}

static void print_drawn(const question *q, const ev_answer *a, const reliability *r)
{
  fprintf(r->log, "case %zu", r->cases + 1);
  for (size_t i = 0; i < q->count; i++) {
    const char *names[2];
    fputs(i ? " -f '" : " -f '", r->log);
    ev_print_fault(q->t, &q->faults[i], r->log);
    fputs("'", r->log);
    for (size_t n = ev_names(q->t, &q->faults[i], names), m = 0; m < n; m++)
      fprintf(r->log, " (%zu)", ev_place(a, names[m], false));
  }
  fprintf(r->log, " | %s %s %s %s | %s %.2f s\n", q->t->board, q->t->block, q->t->how, q->t->contents, a->verdict, a->seconds);
  fflush(r->log);
}

static void drawn(ev_stand *t, const options *o, scores *s, size_t cases, reliability *r, uint64_t *random)
{
  double *upto = calloc(t->single_count + 1, sizeof *upto), sum = 0;
  lu_fault faults[LU_FAULTS_MOST];
  for (size_t i = 0; upto && i < t->single_count; i++) {
    if (t->singles[i].undriven == LU_LEVEL_HIGH)
      sum += exp(t->singles[i].prior);
    upto[i] = sum;
  }
  for (size_t i = 0; upto && sum > 0 && i < cases && !late(o); i++) {
    question q = {.t = t, .o = o, .s = s, .passes = 1};
    if (!draw_board(&q, upto, faults, random))
      break;
    ev_answer a = put(&q, random);
    if (r->log)
      print_drawn(&q, &a, r);
    note_suspects(&q, &a, r);
    ev_answer_end(&a);
  }
  free(upto);
}

/* --- the page --------------------------------------------------------------------------------------- */

static void print_tally(const char *name, const tally *t)
{
  if (t->cases)
    printf("| %s | %zu | %zu | %.2f %% | %.2f %% | %.2f %% | %zu |\n", name, t->cases, t->found,
           100.0 * (double)t->found / (double)t->cases, 100.0 * (double)t->strict / (double)t->cases,
           100.0 * (double)t->equal / (double)t->cases, t->smaller);
}

static int by_value(const void *a, const void *b)
{
  double x = *(const double *)a, y = *(const double *)b;
  return (x > y) - (x < y);
}

static void print_scores(const scores *s)
{
  static const char *const many[] = {"", "", "two faults", "three faults", "four faults"};
  printf("| what | cases | found | share | among nets only | among equals | fewer give it |\n"
         "| --- | ---: | ---: | ---: | ---: | ---: | ---: |\n");
  print_tally("undamaged", &s->clean);
  tally all = {0};
  for (int i = 0; i < EV_ROWS; i++) {
    print_tally(row_names[i], &s->row[i]);
    all.cases += s->row[i].cases;
    all.found += s->row[i].found;
    all.strict += s->row[i].strict;
    all.equal += s->row[i].equal;
  }
  print_tally("**one fault**", &all);
  for (int i = 2; i < 5; i++)
    print_tally(many[i], &s->sets[i]);
  print_tally("undamaged, 1 % noise, three passes", &s->noisy[0]);
  print_tally("one fault, 1 % noise, three passes", &s->noisy[1]);
  print_tally("two faults, 1 % noise, three passes", &s->noisy[2]);
  print_tally("undamaged, nothing known", &s->blind_clean);
  print_tally("one fault, nothing known", &s->blind);
  if (s->times) {
    double *copy = malloc(s->times * sizeof *copy);
    memcpy(copy, s->seconds, s->times * sizeof *copy);
    qsort(copy, s->times, sizeof *copy, by_value);
    printf("\n%zu decodes: median %.1f ms, worst %.1f ms of processor time.\n", s->times, 1e3 * copy[s->times / 2],
           1e3 * copy[s->times - 1]);
    free(copy);
  }
  printf("Not asked, as the dump is that of an undamaged board:");
  for (int i = 0; i < EV_ROWS; i++)
    printf("%s %s %zu", i ? "," : "", row_names[i], s->invisible[i]);
  printf(".\nNot asked, as the simulator cannot say what is read:");
  for (int i = 0; i < EV_ROWS; i++)
    printf("%s %s %zu", i ? "," : "", row_names[i], s->wide[i]);
  printf(".\n\n");
}

static void add_tally(tally *to, const tally *from)
{
  to->cases += from->cases;
  to->found += from->found;
  to->strict += from->strict;
  to->equal += from->equal;
  to->smaller += from->smaller;
}

static void add_scores(scores *to, const scores *from)
{
  add_tally(&to->clean, &from->clean);
  add_tally(&to->blind, &from->blind);
  add_tally(&to->blind_clean, &from->blind_clean);
  for (int i = 0; i < EV_ROWS; i++) {
    add_tally(&to->row[i], &from->row[i]);
    to->wide[i] += from->wide[i];
    to->invisible[i] += from->invisible[i];
  }
  for (int i = 0; i < 5; i++)
    add_tally(&to->sets[i], &from->sets[i]);
  for (int i = 0; i < 3; i++)
    add_tally(&to->noisy[i], &from->noisy[i]);
  for (size_t i = 0; i < from->times && to->times < sizeof to->seconds / sizeof *to->seconds; i++)
    to->seconds[to->times++] = from->seconds[i];
}

static void print_reliability(const reliability *r)
{
  printf("## Probabilities\n\n%zu boards with faults drawn from the priors.\n\n", r->cases);
  printf("| said | suspects | mean said | true | off by |\n| --- | ---: | ---: | ---: | ---: |\n");
  for (int i = 0; i < BINS; i++)
    if (r->count[i]) {
      double said = r->sum[i] / (double)r->count[i], is = (double)r->true_ones[i] / (double)r->count[i];
      printf("| %d-%d %% | %zu | %.3f | %.3f | %+.3f |\n", i * 10, i * 10 + 10, r->count[i], said, is, is - said);
    }
  printf("\nBrier score %.5f over %zu suspects.\n", r->judged ? r->brier / (double)r->judged : 0, r->judged);
}

/* --- running ---------------------------------------------------------------------------------------- */

/* Random contents of a place, in a file; the same for the same seed. */
static const char *contents_of(const place *p, const options *o, char *path, size_t room)
{
  if (p->contents)
    return p->contents;
  const char *base = strrchr(p->board, '/');
  snprintf(path, room, "%s/%.40s-%.40s.bin", o->keep, base ? base + 1 : p->board, p->block);
  for (char *c = path; *c; c++)
    *c = *c == ' ' ? '_' : *c;
  uint64_t *at = malloc(p->size + 8), random = o->seed + p->size;
  lu_err err = {0};
  for (size_t i = 0; at && i < p->size / 8; i++)
    at[i] = ev_random(&random);
  bool ok = at && !lu_file_write(path, at, p->size, &err);
  free(at);
  return ok ? path : NULL;
}

/* Each suite gets its share of what time is left. */
static void begin_suite(options *o, time_t end, double share)
{
  time_t now = time(NULL);
  o->until = !o->seconds ? 0 : now >= end ? now : now + (time_t)ceil(share * (double)(end - now));
}

static void all_suites(ev_stand *t, const options *given, scores *s, reliability *r, uint64_t *random)
{
  options own = *given, *o = &own;
  time_t end = time(NULL) + (time_t)o->seconds;
  undamaged(t, o, s, random);
  if (o->singles) {
    begin_suite(o, end, 0.3);
    singles(t, o, s, random);
  }
  for (size_t n = 2; n <= 4; n++) {
    begin_suite(o, end, 0.3);
    sets(t, o, s, n, o->sets[n], 1, &s->sets[n], random);
  }
  for (size_t n = 1; n <= 2; n++) {
    begin_suite(o, end, 0.4);
    sets(t, o, s, n, o->noisy, NOISE_PASSES, &s->noisy[n], random);
  }
  begin_suite(o, end, o->drawn ? 0.5 : 1);
  if (o->blind && t->random)
    blind(t, o, s, random);
  begin_suite(o, end, 1);
  drawn(t, o, s, (o->drawn + PLACES - 1) / PLACES, r, random);
}

static bool one_place(const place *p, const options *o, scores *s, reliability *r)
{
  char path[600];
  ev_stand *t = calloc(1, sizeof *t);
  uint64_t random = o->seed;
  if (!t)
    return false;
  *t = (ev_stand){.board = p->board, .block = p->block, .how = p->how, .random = !p->contents};
  t->contents = contents_of(p, o, path, sizeof path);
  bool ok = t->contents && ev_stand_open(t) && ev_singles(t);
  if (ok) {
    printf("### %s, %s, %s %s\n\n", p->board, p->block, p->how, p->contents ? p->contents : "random contents");
    printf("%zu nets, %zu single faults, simulated in %.1f s.\n\n", t->j->net_count, t->single_count, t->simulate_seconds);
    fflush(stdout);
    all_suites(t, o, s, r, &random);
    if (o->verbose)
      printf("\n");
    print_scores(s);
    fflush(stdout);
  }
  ev_stand_close(t);
  free(t);
  return ok;
}

static bool read_options(int argc, char **argv, options *o)
{
  const struct {
    const char *name;
    size_t *to;
  } numbers[] = {{"--dumps", &o->dumps},   {"--pairs", &o->sets[2]}, {"--triples", &o->sets[3]},
                 {"--quads", &o->sets[4]}, {"--noisy", &o->noisy},     {"--blind", &o->blind},   {"--drawn", &o->drawn},
                 {"--jobs", &o->jobs},     {"--seconds", &o->seconds}};
  for (int i = 1; i < argc; i++) {
    const char *value = i + 1 < argc ? argv[i + 1] : NULL;
    bool known = true;
    if (!strcmp(argv[i], "-v"))
      o->verbose = true;
    else if (!strcmp(argv[i], "--smoke"))
      *o = (options){.singles = true, .dumps = 1, .sets = {0, 0, 1, 0, 0}, .seed = o->seed, .only = "log8", .jobs = 1, .smoke = true};
    else if (!strcmp(argv[i], "--no-singles"))
      o->singles = false;
    else if (!strcmp(argv[i], "--all"))
      o->dumps = 0;
    else if (value && !strcmp(argv[i], "--seed"))
      o->seed = strtoull(argv[++i], NULL, 0);
    else if (value && !strcmp(argv[i], "--only"))
      o->only = argv[++i];
    else if (value && !strcmp(argv[i], "--keep"))
      o->keep = argv[++i];
    else
      known = false;
    for (size_t k = 0; !known && value && k < sizeof numbers / sizeof *numbers; k++)
      if (!strcmp(argv[i], numbers[k].name)) {
        *numbers[k].to = strtoull(argv[++i], NULL, 0);
        known = true;
        break;
      }
    if (!known) {
      fprintf(stderr,
              "usage: evaluate [-v] [--smoke | --all] [--only WORD] [--keep DIR] [--seed N] [--dumps N]\n"
              "       [--pairs N] [--triples N] [--quads N] [--noisy N] [--blind N] [--drawn N] [--jobs N] [--seconds N]\n"
              "  -v         failing cases as command lines     --keep DIR  where contents and dumps go\n"
              "  --dumps N  different dumps of each kind of single fault a block (0: every one)\n"
              "  --seconds N  for each block, each kind of case having its share   --no-singles  none of single faults\n");
      return false;
    }
  }
  return true;
}

static bool wanted(const options *o, const place *p)
{
  if (o->smoke && p->how[0] == 'w')
    return false;
  return !o->only || strstr(p->board, o->only) || strstr(p->block, o->only) || strstr(p->how, o->only) ||
         (p->contents && strstr(p->contents, o->only));
}

/* What a small run must show: nothing found where nothing is, and what breaks most found always. */
static bool good_enough(const scores *s)
{
  static const ev_row rows[] = {EV_OPEN_PIN, EV_OPEN_ALL, EV_STUCK};
  bool ok = s->clean.cases && s->clean.found == s->clean.cases;
  for (size_t i = 0; i < sizeof rows / sizeof *rows; i++)
    ok &= s->row[rows[i]].cases && s->row[rows[i]].found == s->row[rows[i]].cases;
  if (!ok)
    fputs("evaluate: undamaged boards, opens and stucks must all be found\n", stderr);
  return ok;
}

/* --- a process a place ---------------------------------------------------------------------------- */

typedef struct outcome {
  scores s;
  reliability r;
} outcome;

/* In a process of its own: what it says and its outcome go to files in its own folder. */
static int work(size_t i, const options *o)
{
  char folder[400], path[500];
  options own = *o;
  own.keep = folder;
  snprintf(folder, sizeof folder, "%.300s/place%zu", o->keep, i);
  snprintf(path, sizeof path, "%s/said", folder);
  outcome *x = calloc(1, sizeof *x);
  if (!x || (mkdir(folder, 0777) && errno != EEXIST) || !freopen(path, "w", stdout))
    return 3;
  snprintf(path, sizeof path, "%s/drawn", folder);
  x->r.log = o->drawn ? fopen(path, "w") : NULL;
  bool ok = one_place(&places[i], &own, &x->s, &x->r);
  if (x->r.log)
    fclose(x->r.log);
  snprintf(path, sizeof path, "%s/outcome", folder);
  FILE *f = fopen(path, "wb");
  ok &= f && fwrite(x, sizeof *x, 1, f) == 1;
  if (f)
    ok &= fclose(f) == 0;
  free(x);
  return fflush(stdout) == 0 && ok ? 0 : 3;
}

static void add_reliability(reliability *to, const reliability *from)
{
  to->cases += from->cases;
  to->judged += from->judged;
  to->brier += from->brier;
  for (int i = 0; i < BINS; i++) {
    to->count[i] += from->count[i];
    to->true_ones[i] += from->true_ones[i];
    to->sum[i] += from->sum[i];
  }
}

static bool collect(size_t i, const options *o, scores *total, reliability *r)
{
  char path[500], line[4096];
  snprintf(path, sizeof path, "%.300s/place%zu/said", o->keep, i);
  FILE *f = fopen(path, "r");
  while (f && fgets(line, sizeof line, f))
    fputs(line, stdout);
  if (f)
    fclose(f);
  outcome *x = malloc(sizeof *x);
  snprintf(path, sizeof path, "%.300s/place%zu/outcome", o->keep, i);
  f = fopen(path, "rb");
  bool ok = x && f && fread(x, sizeof *x, 1, f) == 1;
  if (f)
    fclose(f);
  if (ok) {
    add_scores(total, &x->s);
    add_reliability(r, &x->r);
  }
  free(x);
  return ok;
}

static bool all_places(const options *o, scores *total, reliability *r)
{
  bool ok = true;
  size_t running = 0;
  int status;
  fflush(stdout);
  for (size_t i = 0; i < PLACES; i++) {
    if (!wanted(o, &places[i]))
      continue;
    if (running == o->jobs && wait(&status) > 0) {
      running--;
      ok &= status == 0;
    }
    pid_t child = fork();
    if (child == 0)
      exit(work(i, o));
    running += child > 0;
    ok &= child > 0;
  }
  for (; running > 0 && wait(&status) > 0; running--)
    ok &= status == 0;
  for (size_t i = 0; i < PLACES; i++)
    if (wanted(o, &places[i]))
      ok &= collect(i, o, total, r);
  return ok;
}

static int forget(const char *path, const struct stat *st, int type, struct FTW *where)
{
  (void)st;
  (void)type;
  (void)where;
  return remove(path);
}

int main(int argc, char **argv)
{
  char folder[] = "/tmp/evaluate.XXXXXX";
  options o = {.singles = true, .dumps = 5, .sets = {0, 0, 5, 5, 5}, .noisy = 3, .blind = 5, .drawn = 28, .jobs = 1, .seed = 1};
  if (!read_options(argc, argv, &o) || !o.jobs)
    return 2;
  scores *total = calloc(1, sizeof *total);
  reliability r = {0};
  bool made = !o.keep;
  if (!total || chdir(LU_TOP) || (made && !mkdtemp(folder)))
    return 3;
  if (made)
    o.keep = folder;
  else
    mkdir(o.keep, 0777);
  bool ok = all_places(&o, total, &r);
  printf("## All blocks\n\n");
  print_scores(total);
  if (r.cases)
    print_reliability(&r);
  if (made && nftw(folder, forget, 8, FTW_DEPTH | FTW_PHYS))
    fprintf(stderr, "evaluate: cannot remove %s\n", folder);
  int code = !ok ? 3 : o.smoke && !good_enough(total) ? 1 : 0;
  free(total);
  return code;
}
