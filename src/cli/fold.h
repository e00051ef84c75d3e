/* SPDX-License-Identifier: MIT */
#ifndef LU_CLI_FOLD_H
#define LU_CLI_FOLD_H
/* Text for people: lines that are wider than the terminal go on in the next one. */
#include "cli/cmd.h"

/* A stream that passes what is written on to `to`, with lines of more than `columns` (at least 20) broken at blanks. What
 * follows is indented by two more than its line (not at all if that is not), or stands below the last column of a line that is set in
 * columns (two blanks apart). Words are never cut: a longer one sticks out. Escape sequences take no room, UTF-8 is counted by
 * characters. plain: no control character but line ends and tabs passes. Closing it flushes `to` and leaves it open. NULL: no memory. */
FILE *lu_fold_open(FILE *to, unsigned columns, bool plain, lu_arena *mem);

/* Whether a command with these arguments writes for people: not JSON, not CSV, not what the command's table calls raw. */
bool lu_fold_wanted(const lu_command *c, const void *args);

#endif
