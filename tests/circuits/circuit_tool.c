/* SPDX-License-Identifier: MIT */
/* Circuits, observations and diagnoses on the command line, for scripts.
 *
 *   circuit_tool make NAME FAULTS OBSERVATIONS SEED OUT   OUT.bench and OUT.seen (NAME: mult16, rand900 ...,
 *                                                         or a .bench file)
 *   circuit_tool cnf STEM BOUND OUT.cnf                   the diagnosis problem for a SAT solver
 *   circuit_tool least STEM MOST [SETS]                   "size N sets M steps K", then the sets
 *   circuit_tool rank STEM [ROWS]                         single stuck gates, the best first */
#include "benchtext.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

typedef struct tool {
  lu_arena mem;
  lu_err err;
  bench_circuit circuit;
  bench_seen seen;
  lu_circuit *c;
} tool;

static bool slurp(tool *t, const char *path, char **text, size_t *len)
{
  FILE *f = fopen(path, "rb");
  long size = f && !fseek(f, 0, SEEK_END) ? ftell(f) : -1;
  *text = size < 0 ? NULL : lu_arena_take(&t->mem, (size_t)size + 1);
  bool ok = *text && !fseek(f, 0, SEEK_SET) && fread(*text, 1, (size_t)size, f) == (size_t)size;
  if (f)
    fclose(f);
  if (!ok)
    fprintf(stderr, "cannot read %s\n", path);
  *len = size < 0 ? 0 : (size_t)size;
  return ok;
}

static bool read_circuit(tool *t, const char *path)
{
  char *text;
  size_t len;
  if (!slurp(t, path, &text, &len))
    return false;
  if (bench_read(text, len, &t->mem, &t->circuit, &t->err)) {
    fprintf(stderr, "%s:%u:%u: %s\n", path, t->err.line, t->err.column, t->err.message);
    return false;
  }
  return true;
}

/* Lines of input bits, a space, output bits. */
static bool read_seen(tool *t, const char *path)
{
  char *text;
  size_t len, row = t->circuit.input_count + t->circuit.output_count + 2;
  if (!slurp(t, path, &text, &len) || len % row)
    return false;
  t->seen.count = len / row;
  t->seen.in = LU_NEW(&t->mem, uint8_t, t->seen.count * t->circuit.input_count + 1);
  t->seen.out = LU_NEW(&t->mem, uint8_t, t->seen.count * t->circuit.output_count + 1);
  if (!t->seen.in || !t->seen.out)
    return false;
  for (size_t n = 0; n < t->seen.count; n++) {
    for (size_t i = 0; i < t->circuit.input_count; i++)
      t->seen.in[n * t->circuit.input_count + i] = text[n * row + i] == '1';
    for (size_t o = 0; o < t->circuit.output_count; o++)
      t->seen.out[n * t->circuit.output_count + o] = text[n * row + t->circuit.input_count + 1 + o] == '1';
  }
  return bench_pack(&t->circuit, &t->mem, &t->seen);
}

static bool load(tool *t, const char *stem)
{
  char *path = lu_arena_printf(&t->mem, "%s.bench", stem), *seen = lu_arena_printf(&t->mem, "%s.seen", stem);
  return path && seen && read_circuit(t, path) && read_seen(t, seen);
}

static bool build(tool *t, const char *stem)
{
  if (!load(t, stem))
    return false;
  const bench_circuit *b = &t->circuit;
  if (lu_circuit_new(b->gates, b->count, b->pins, b->pin_count, b->outputs, b->output_count, &t->mem, &t->c, &t->err)) {
    fprintf(stderr, "%s\n", t->err.message);
    return false;
  }
  return true;
}

static int make(tool *t, char **argv)
{
  uint64_t seed = strtoull(argv[5], NULL, 10);
  uint32_t bad[64];
  unsigned faults = (unsigned)strtoul(argv[3], NULL, 10);
  size_t len = strlen(argv[2]);
  if (faults > 64)
    return 2;
  if (len > 6 && !strcmp(argv[2] + len - 6, ".bench") ? !read_circuit(t, argv[2]) : !bench_make(argv[2], seed, &t->mem, &t->circuit))
    return 2;
  if (!bench_observe(&t->circuit, faults, strtoul(argv[4], NULL, 10), seed, &t->mem, &t->seen, bad))
    return 1;
  FILE *f = fopen(lu_arena_printf(&t->mem, "%s.bench", argv[6]), "w"), *g = fopen(lu_arena_printf(&t->mem, "%s.seen", argv[6]), "w");
  if (!f || !g)
    return 3;
  bench_write(&t->circuit, f);
  for (size_t n = 0; n < t->seen.count; n++) {
    for (size_t i = 0; i < t->circuit.input_count; i++)
      fputc('0' + t->seen.in[n * t->circuit.input_count + i], g);
    fputc(' ', g);
    for (size_t o = 0; o < t->circuit.output_count; o++)
      fputc('0' + t->seen.out[n * t->circuit.output_count + o], g);
    fputc('\n', g);
  }
  printf("%zu gates, broken:", t->circuit.count - t->circuit.input_count);
  for (unsigned k = 0; k < faults; k++)
    printf(" %s", t->circuit.names[bad[k]]);
  printf("\n");
  return fclose(f) || fclose(g) ? 3 : 0;
}

static int cnf(tool *t, char **argv)
{
  FILE *f = load(t, argv[2]) ? fopen(argv[4], "w") : NULL;
  if (!f)
    return 2;
  bench_cnf(&t->circuit, &t->seen, (unsigned)strtoul(argv[3], NULL, 10), f);
  return fclose(f) ? 3 : 0;
}

static int least(tool *t, int argc, char **argv)
{
  lu_circuit_query q = {.most = (unsigned)strtoul(argv[3], NULL, 10), .sets_most = argc > 4 ? strtoul(argv[4], NULL, 10) : 1};
  lu_circuit_least got;
  if (!build(t, argv[2]))
    return 2;
  if (lu_circuit_smallest(t->c, &t->seen.packed, &q, &t->mem, &got, &t->err)) {
    fprintf(stderr, "%s\n", t->err.message);
    return 2;
  }
  printf("size %u sets %zu%s steps %llu\n", got.size, got.count, got.all ? " all" : "", (unsigned long long)got.steps);
  for (size_t i = 0; i < got.count; i++)
    for (unsigned k = 0; k < got.size; k++)
      printf("%s%s", t->circuit.names[got.sets[i * got.size + k]], k + 1 == got.size ? "\n" : " ");
  return 0;
}

static int rank(tool *t, int argc, char **argv)
{
  lu_circuit_ranking got;
  size_t rows = argc > 3 ? strtoul(argv[3], NULL, 10) : 10;
  if (!build(t, argv[2]) || lu_circuit_singles(t->c, &t->seen.packed, &t->mem, &got, &t->err))
    return 2;
  printf("hypotheses %zu better than healthy (%u) %zu\n", got.hypotheses, got.healthy, got.count);
  for (size_t i = 0; i < got.count && i < rows; i++)
    printf("%s stuck at %u explains %u of %zu\n", t->circuit.names[got.rows[i].gate], got.rows[i].level, got.rows[i].explained, t->seen.count);
  return 0;
}

int main(int argc, char **argv)
{
  static tool t;
  int status = 2;
  if (argc == 7 && !strcmp(argv[1], "make"))
    status = make(&t, argv);
  else if (argc == 5 && !strcmp(argv[1], "cnf"))
    status = cnf(&t, argv);
  else if (argc >= 4 && !strcmp(argv[1], "least"))
    status = least(&t, argc, argv);
  else if (argc >= 3 && !strcmp(argv[1], "rank"))
    status = rank(&t, argc, argv);
  else
    fprintf(stderr, "usage: see circuit_tool.c\n");
  lu_arena_free(&t.mem);
  return status;
}
