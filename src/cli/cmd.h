/* SPDX-License-Identifier: MIT */
#ifndef LU_CLI_CMD_H
#define LU_CLI_CMD_H
/* Commands and options as rows of tables; parsing, --help and the man pages read the same rows. */
#include "base/arena.h"
#include "base/err.h"
#include "base/texts.h"

#include <stdio.h>

/* What the program's exit status says. */
enum { LU_EXIT_CLEAN = 0, LU_EXIT_FAULTS = 1, LU_EXIT_INPUT = 2, LU_EXIT_SYSTEM = 3 };

typedef enum lu_option_kind {
  LU_OPT_FLAG,   /* bool */
  LU_OPT_TEXT,   /* const char * */
  LU_OPT_LIST,   /* lu_texts: may be given more than once */
  LU_OPT_NUMBER, /* uint64_t, with 0x, k, m, g */
  LU_OPT_REAL    /* double */
} lu_option_kind;

typedef struct lu_option {
  const char *name;      /* long name without dashes; NULL ends the table */
  char letter;           /* short name or 0 */
  lu_option_kind kind;
  size_t offset;         /* into the command's argument struct */
  uint64_t least, most;  /* range of a NUMBER (both 0: any) */
  const char *value;     /* word for the value in help, NULL for flags */
  const char *help;      /* one line */
} lu_option;

/* The streams and settings a command runs with; nothing else is global. */
typedef struct lu_run {
  FILE *out, *err;
  bool color;            /* colours on out */
  bool utf8;             /* the terminal takes UTF-8 */
  unsigned columns;      /* width of the terminal, 80 if unknown */
  lu_arena *mem;
  const char *program;
} lu_run;

typedef struct lu_command {
  const char *name;
  const char *summary;        /* one line */
  const char *usage;          /* after "lineup NAME " */
  const lu_option *options;   /* ended by a NULL name; --help, --color are added */
  size_t args_size;           /* of the argument struct, zeroed before parsing */
  size_t operands_offset;     /* of a lu_texts in it that takes the operands */
  size_t least_operands, most_operands;
  const char *const *examples; /* real command lines, ended by NULL; tests run them */
  const char *const *notes;   /* or NULL: lines of up to 77 columns that --help shows before the examples */
  bool hidden;                /* left out of the list of commands */
  bool linked;                /* talks to a device, and shows its own progress */
  const char *const *raw;     /* or NULL: first operands with which it writes for programs, ended by NULL; an empty list: always */
  int (*run)(lu_run *run, void *args); /* exit status */
} lu_command;

extern const lu_command *const lu_commands[];
extern const size_t lu_command_count;
/* The command of that name, or NULL. */
const lu_command *lu_find_command(const char *name);

/* The whole program. */
int lu_main(int argc, char **argv, FILE *out, FILE *err);

/* Prints err as "file:line:column: message" with the line and a caret; returns the exit status. */
int lu_say_error(const lu_run *run, const lu_err *err);
/* Prints "lineup: message" for a wrong call; returns LU_EXIT_INPUT. */
int lu_say_usage(const lu_run *run, const char *format, ...) __attribute__((format(printf, 2, 3)));

#endif
