/* SPDX-License-Identifier: MIT */
#ifndef LU_CLI_PAPERS_H
#define LU_CLI_PAPERS_H
/* What is written from the tables of commands and options: help, manual pages, shell completions.
 * All of it fits 80 columns; texts that are too long are broken at spaces. */
#include "cli/cmd.h"

/* The options that every command has; ended by a NULL name. */
extern const lu_option lu_common_options[];

void lu_help_command(FILE *out, const lu_command *c);
void lu_help_program(FILE *out);

/* A page in roff with the man macros: of one command, or (c NULL) of the program. */
void lu_manual(FILE *out, const lu_command *c);

typedef enum lu_shell { LU_SHELL_BASH, LU_SHELL_ZSH, LU_SHELL_FISH } lu_shell;
void lu_completion(FILE *out, lu_shell shell);

/* The words that a command's usage begins with, "new" and "show" of "new|show JOB": calls fn for each, or
 * never if the usage begins otherwise. Words are not NUL-terminated. */
void lu_usage_words(const lu_command *c, void (*fn)(void *to, const char *word, size_t len), void *to);

#endif
