/* SPDX-License-Identifier: MIT */
/* What the netlist readers make of a file, for script tests and benchmarks.
 *
 *   netlist_dump FILE            a line "net TAB ref TAB pin" each pin, then "# counts"
 *   netlist_dump --merge A B     the differences between netlist A and layout B, then "# counts"
 *   netlist_dump --quiet FILE    "# counts" alone
 *   netlist_dump --time FILE     "# counts", and "# ms": processor time of reading it once more, the
 *                                best of five
 * Exit 2 with file:line:column: message on bad input. */
#include "base/io.h"
#include "formats/netform.h"
#include "formats/netmerge.h"

#include <stdio.h>
#include <string.h>
#include <time.h>

/* The best of five: the file lies in memory by then. */
static double best_ms(lu_bytes in)
{
  double best = 1e9;
  for (int i = 0; i < 5; i++) {
    lu_arena mem = {0};
    lu_err err = {0};
    lu_netlist *n;
    clock_t start = clock();
    lu_status st = lu_netform_read(in, &mem, &n, &err);
    double ms = (double)(clock() - start) * 1e3 / CLOCKS_PER_SEC;
    lu_arena_free(&mem);
    best = !st && ms < best ? ms : best;
  }
  return best;
}

static int read_file(const char *path, lu_file *file, lu_arena *mem, lu_netlist **out)
{
  lu_err err = {0};
  lu_status st = lu_file_open(path, 0, file, &err);
  if (!st)
    st = lu_netform_read(file->bytes, mem, out, &err);
  if (st)
    fprintf(stderr, "%s:%u:%u: %s\n", path, err.line, err.column, err.message);
  return lu_status_exit(st);
}

static void counts(const lu_netlist *n)
{
  printf("# %s parts %zu nets %zu pins %zu places %zu notes %zu\n", n->format, n->part_count,
         n->net_count, n->pin_count, n->place_count, n->note_count);
}

static void dump(const lu_netlist *n)
{
  for (size_t i = 0; i < n->pin_count; i++)
    printf("%s\t%s\t%s\n", n->nets[n->pins[i].net].name, n->parts[n->pins[i].part].ref,
           n->pins[i].number);
}

int main(int argc, char **argv)
{
  lu_arena mem = {0};
  lu_file files[2] = {{{0}, 0, 0}, {{0}, 0, 0}};
  lu_netlist *n[2] = {NULL, NULL};
  int merge = argc == 4 && !strcmp(argv[1], "--merge");
  int timed = argc == 3 && !strcmp(argv[1], "--time");
  int quiet = timed || (argc == 3 && !strcmp(argv[1], "--quiet"));
  if (argc != 2 && !merge && !quiet) {
    fprintf(stderr, "usage: netlist_dump [--quiet | --time] FILE | --merge NETLIST LAYOUT\n");
    return 2;
  }
  int status = read_file(argv[merge || quiet ? 2 : 1], &files[0], &mem, &n[0]);
  if (!status && merge)
    status = read_file(argv[3], &files[1], &mem, &n[1]);
  if (!status && merge) {
    lu_netmerge m;
    lu_err err = {0};
    status = lu_status_exit(lu_netmerge_join(n[0], n[1], &mem, &m, &err));
    for (size_t i = 0; !status && i < m.difference_count; i++)
      printf("%s\n", m.differences[i]);
    if (!status)
      counts(m.netlist);
  } else if (!status) {
    if (!quiet)
      dump(n[0]);
    counts(n[0]);
    if (timed)
      printf("# ms %.1f\n", best_ms(files[0].bytes));
  }
  lu_file_close(&files[0]);
  lu_file_close(&files[1]);
  lu_arena_free(&mem);
  return status;
}
