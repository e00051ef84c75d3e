/* SPDX-License-Identifier: MIT */
#ifndef LU_CLI_READINGOPTIONS_H
#define LU_CLI_READINGOPTIONS_H
/* Rows of a command's table of options, for commands that take readings: the same words for the same thing. */
#include "api/readings.h"
#include "cli/cmd.h"

/* Dumps. `to`: where the command keeps its lu_reading_args. */
#define LU_DUMP_OPTIONS(to)                                                                                                                       \
  {"block", 0, LU_OPT_TEXT, (to) + offsetof(lu_reading_args, block), 0, 0, "NAME", "the memory block that was read"},                              \
  {"at", 0, LU_OPT_TEXT, (to) + offsetof(lu_reading_args, at), 0, 0, "ADDR", "byte address where a raw dump starts"},                              \
  {"vantage", 0, LU_OPT_TEXT, (to) + offsetof(lu_reading_args, vantage), 0, 0, "NAME", "read from there; chip:U3 = out of circuit"},               \
  {"expect", 'e', LU_OPT_TEXT, (to) + offsetof(lu_reading_args, expect), 0, 0, "WHAT", "known contents: a file or a pattern"},                     \
  {"wrote", 'w', LU_OPT_TEXT, (to) + offsetof(lu_reading_args, wrote), 0, 0, "WHAT", "written through the same lines, then read"},                 \
  {"width", 0, LU_OPT_NUMBER, (to) + offsetof(lu_reading_args, width), 1, 64, "BITS", "without a board: data bits (default 8)"},                   \
  {"byte-order", 0, LU_OPT_TEXT, (to) + offsetof(lu_reading_args, order), 0, 0, "ORDER", "without a board: big or little (default)"}

/* What stands in for a dump, or beside it. `run`: where the run file's name goes. */
#define LU_EVIDENCE_OPTIONS(to, run)                                                                                                              \
  {"run", 0, LU_OPT_TEXT, (run), 0, 0, "FILE", "several readings of one fault state (YAML)"},                                                      \
  {"log", 0, LU_OPT_TEXT, (to) + offsetof(lu_reading_args, log), 0, 0, "FILE", "failures that a memory test printed"},                             \
  {"pattern", 0, LU_OPT_TEXT, (to) + offsetof(lu_reading_args, pattern), 0, 0, "NAME", "--log: the test pattern that ran, if it does not say"},    \
  {"signals", 's', LU_OPT_TEXT, (to) + offsetof(lu_reading_args, signals), 0, 0, "FILE", "a capture's signals: what they mean (YAML)"}

/* What does not go together among them: a sentence, perhaps in room[len], or NULL. */
enum { LU_MISUSE_ROOM = 160 };
const char *lu_reading_misuse(const lu_reading_args *r, const char *run, const lu_texts *dumps, char *room, size_t len);

#endif
