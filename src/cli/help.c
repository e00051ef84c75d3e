/* SPDX-License-Identifier: MIT */
/* --help, from the tables. */
#include "cli/papers.h"

#include <string.h>

enum { WIDTH = 79, HELP_COLUMN = 29 };

const lu_option lu_common_options[] = {
    {"help", 'h', LU_OPT_FLAG, 0, 0, 0, NULL, "show this help"},
    {"color", 0, LU_OPT_TEXT, 0, 0, 0, "WHEN", "colours: auto, always or never"},
    {0},
};

/* The length of a word of a shell: quoted text keeps its spaces. */
static size_t shell_word(const char *text)
{
  size_t n = 0;
  for (bool quoted = false; text[n] && (quoted || text[n] != ' '); n++)
    if (text[n] == '\'')
      quoted = !quoted;
  return n;
}

/* The next piece of a command line that is not broken: a word, or an option and what follows it. */
static size_t piece(const char *text)
{
  size_t n = shell_word(text);
  if (text[0] == '-' && text[1] && text[n] == ' ' && text[n + 1] != '-')
    n += 1 + shell_word(text + n + 1);
  return n;
}

/* Prints text from a column on; lines after the first begin at indent, lines before the last end in tail. */
static void wrap(FILE *out, const char *text, size_t column, size_t indent, const char *tail)
{
  size_t room = WIDTH - strlen(tail);
  bool first = true;
  while (*text) {
    bool shell = *tail != 0;
    size_t n = shell ? piece(text) : strcspn(text, " ");
    if (!first && column + 1 + n > room) {
      fprintf(out, "%s\n%*s", tail, (int)indent, "");
      column = indent;
    } else if (!first) {
      fputc(' ', out);
      column++;
    }
    fwrite(text, 1, n, out);
    column += n;
    text += n;
    text += strspn(text, " ");
    first = false;
  }
  fputc('\n', out);
}

static void help_rows(FILE *out, const lu_option *rows)
{
  for (; rows && rows->name; rows++) {
    int n = rows->letter ? fprintf(out, "  -%c, ", rows->letter) : fprintf(out, "      ");
    n += fprintf(out, "--%s%s%s", rows->name, rows->value ? " " : "", rows->value ? rows->value : "");
    if (n + 2 > HELP_COLUMN) {
      fputc('\n', out);
      n = 0;
    }
    fprintf(out, "%*s", HELP_COLUMN - n, "");
    wrap(out, rows->help, HELP_COLUMN, HELP_COLUMN, "");
  }
}

void lu_help_command(FILE *out, const lu_command *c)
{
  int n = fprintf(out, "lineup %s: ", c->name);
  wrap(out, c->summary, (size_t)n, 2, "");
  n = fprintf(out, "\nUsage: lineup %s ", c->name);
  wrap(out, c->usage, (size_t)n - 1, (size_t)n - 1, "");
  fputc('\n', out);
  help_rows(out, c->options);
  help_rows(out, lu_common_options);
  for (size_t i = 0; c->notes && c->notes[i]; i++)
    fprintf(out, "%s%s\n", i ? "" : "\n", c->notes[i]);
  if (c->examples && c->examples[0])
    fputs("\nExamples:\n", out);
  for (size_t i = 0; c->examples && c->examples[i]; i++) {
    fputs("  ", out);
    wrap(out, c->examples[i], 2, 6, " \\");
  }
}

void lu_help_program(FILE *out)
{
  fputs("lineup " LU_VERSION ": from a failed memory test to suspect nets and pins\n\n"
        "Usage: lineup COMMAND [OPTION ...] [FILE ...]\n\n",
        out);
  for (size_t i = 0; i < lu_command_count; i++)
    if (!lu_commands[i]->hidden) {
      fprintf(out, "  %-10s ", lu_commands[i]->name);
      wrap(out, lu_commands[i]->summary, 13, 13, "");
    }
  fputs("\nlineup COMMAND --help tells about one command, with examples.\n"
        "Exit status: 0 nothing wrong, 1 faults found, 2 bad input or usage, 3 device or\n"
        "system.\n",
        out);
}

void lu_usage_words(const lu_command *c, void (*fn)(void *to, const char *word, size_t len), void *to)
{
  const char *at = c->usage;
  size_t all = strcspn(at, " ");
  if (strspn(at, "abcdefghijklmnopqrstuvwxyz-|") != all || !memchr(at, '|', all))
    return;
  for (const char *end = at + all; at < end;) {
    size_t n = strcspn(at, "| ");
    fn(to, at, n);
    at += n + 1;
  }
}
