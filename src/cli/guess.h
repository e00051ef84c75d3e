/* SPDX-License-Identifier: MIT */
#ifndef LU_CLI_GUESS_H
#define LU_CLI_GUESS_H
/* A first board file from a netlist: processors and memories are looked for, lines followed, vantages and
 * blocks named. Whatever had to be assumed stands in a comment. */
#include "cli/session.h"

#include <jansson.h>

typedef struct lu_guess {
  const char *yaml;      /* the board file */
  size_t assumed_count;
  const char **assumed;  /* one line each; they stand in the file as comments too */
  size_t vantage_count, block_count;
} lu_guess;

/* netlist and layout: paths; layout may be NULL. output: where the board file will stand (NULL: here), since paths
 * in a board file are meant from there. ERR_MISSING when nothing in it
 * is a memory; what reading the netlist gives; ERR_NOMEM. */
LU_MUST_USE lu_status lu_guess_board(lu_session *s, const char *netlist, const char *layout, const char *output,
                                   lu_guess *out);

#endif
