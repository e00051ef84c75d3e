/* SPDX-License-Identifier: MIT */
/* Completions for shells, from the tables. A value is completed with files where its word says so. */
#include "cli/papers.h"

#include <string.h>

static bool takes_file(const lu_option *o)
{
  static const char *const words[] = {"FILE", "WHAT", "JOB", "BOARD", "DIR", "DUMP"};
  for (size_t i = 0; o->value && i < sizeof words / sizeof *words; i++)
    if (strstr(o->value, words[i]))
      return true;
  return false;
}

/* Text inside '...' of a shell; zsh's own signs get a backslash as well. */
static void quoted(FILE *out, const char *text, bool zsh)
{
  for (; *text; text++) {
    if (*text == '\'')
      fputs("'\\''", out);
    else if (zsh && strchr("[]:\\", *text))
      fprintf(out, "\\%c", *text);
    else
      fputc(*text, out);
  }
}

typedef struct words_to {
  FILE *out;
  const char *before, *after;
} words_to;

static void put_word(void *to, const char *word, size_t len)
{
  const words_to *w = to;
  fprintf(w->out, "%s%.*s%s", w->before, (int)len, word, w->after);
}

static void note_word(void *to, const char *word, size_t len)
{
  (void)word;
  (void)len;
  *(bool *)to = true;
}

static void bash_rows(FILE *out, const lu_option *rows)
{
  for (; rows && rows->name; rows++) {
    fprintf(out, " --%s", rows->name);
    if (rows->letter)
      fprintf(out, " -%c", rows->letter);
  }
}

/* Options whose value is no file: nothing is offered behind them. */
static void bash_values(FILE *out, const lu_option *rows)
{
  for (; rows && rows->name; rows++)
    if (rows->value && !takes_file(rows)) {
      fprintf(out, " --%s", rows->name);
      if (rows->letter)
        fprintf(out, " -%c", rows->letter);
    }
}

static void bash(FILE *out)
{
  fputs("# bash completion for lineup, made from the program's tables\n"
        "_lineup()\n{\n"
        "  local word=${COMP_WORDS[COMP_CWORD]} before=${COMP_WORDS[COMP_CWORD-1]}\n"
        "  local options= values= words=\n"
        "  COMPREPLY=()\n"
        "  if ((COMP_CWORD == 1)); then\n"
        "    COMPREPLY=($(compgen -W '",
        out);
  for (size_t i = 0; i < lu_command_count; i++)
    if (!lu_commands[i]->hidden)
      fprintf(out, "%s ", lu_commands[i]->name);
  fputs("help --help --version' -- \"$word\"))\n    return\n  fi\n  case ${COMP_WORDS[1]} in\n", out);
  for (size_t i = 0; i < lu_command_count; i++) {
    const lu_command *c = lu_commands[i];
    if (c->hidden)
      continue;
    fprintf(out, "  %s)\n    options='", c->name);
    bash_rows(out, c->options);
    bash_rows(out, lu_common_options);
    fputs("'\n    values=' ", out);
    bash_values(out, c->options);
    fputs(" '\n    words='", out);
    lu_usage_words(c, put_word, &(words_to){out, " ", ""});
    fputs("' ;;\n", out);
  }
  fputs("  esac\n"
        "  if [[ $before == --color ]]; then\n"
        "    COMPREPLY=($(compgen -W 'auto always never' -- \"$word\"))\n"
        "  elif [[ $word == -* ]]; then\n"
        "    COMPREPLY=($(compgen -W \"$options\" -- \"$word\"))\n"
        "  elif [[ $before == -* && $values == *\" $before \"* ]]; then\n"
        "    COMPREPLY=()\n"
        "  elif ((COMP_CWORD == 2)) && [[ -n $words ]]; then\n"
        "    COMPREPLY=($(compgen -W \"$words\" -- \"$word\"))\n"
        "  else\n"
        "    compopt -o filenames 2>/dev/null\n"
        "    mapfile -t COMPREPLY < <(compgen -f -- \"$word\")\n"
        "  fi\n"
        "}\n"
        "complete -F _lineup lineup\n",
        out);
}

static void zsh_rows(FILE *out, const lu_option *rows)
{
  for (; rows && rows->name; rows++)
    for (int letter = 0; letter <= (rows->letter != 0); letter++) {
      if (letter)
        fprintf(out, "      '*-%c[", rows->letter);
      else
        fprintf(out, "      '*--%s[", rows->name);
      quoted(out, rows->help, true);
      fputc(']', out);
      if (rows->value) {
        fputc(':', out);
        quoted(out, rows->value, true);
        fputs(!strcmp(rows->name, "color") ? ":(auto always never)" : takes_file(rows) ? ":_files" : ": ", out);
      }
      fputs("' \\\n", out);
    }
}

static void zsh(FILE *out)
{
  fputs("#compdef lineup\n# zsh completion for lineup, made from the program's tables\n\n"
        "local -a lineup_commands\nlineup_commands=(\n",
        out);
  for (size_t i = 0; i < lu_command_count; i++) {
    if (lu_commands[i]->hidden)
      continue;
    fprintf(out, "  '%s:", lu_commands[i]->name);
    quoted(out, lu_commands[i]->summary, true);
    fputs("'\n", out);
  }
  fputs(")\nif ((CURRENT == 2)); then\n  _describe command lineup_commands\n  return\nfi\n"
        "case $words[2] in\n",
        out);
  for (size_t i = 0; i < lu_command_count; i++) {
    const lu_command *c = lu_commands[i];
    if (c->hidden)
      continue;
    fprintf(out, "  %s)\n    shift words\n    ((CURRENT--))\n    _arguments -S \\\n", c->name);
    zsh_rows(out, c->options);
    zsh_rows(out, lu_common_options);
    bool any = false;
    lu_usage_words(c, note_word, &any);
    fputs(any ? "      '1:what:(" : "      '1:file:_files", out);
    lu_usage_words(c, put_word, &(words_to){out, "", " "});
    fputs(any ? ")' \\\n" : "' \\\n", out);
    fputs("      '*:file:_files' ;;\n", out);
  }
  fputs("esac\n", out);
}

static void fish_rows(FILE *out, const char *command, const lu_option *rows)
{
  for (; rows && rows->name; rows++) {
    fprintf(out, "complete -c lineup -n '__fish_seen_subcommand_from %s' -l %s", command, rows->name);
    if (rows->letter)
      fprintf(out, " -s %c", rows->letter);
    if (rows->value)
      fputs(!strcmp(rows->name, "color") ? " -x -a 'auto always never'" : takes_file(rows) ? " -r -F" : " -x", out);
    fputs(" -d '", out);
    /* fish knows \' inside quotes, and the closing of a quote and opening of the next. */
    quoted(out, rows->help, false);
    fputs("'\n", out);
  }
}

static void fish(FILE *out)
{
  fputs("# fish completion for lineup, made from the program's tables\n", out);
  for (size_t i = 0; i < lu_command_count; i++) {
    const lu_command *c = lu_commands[i];
    if (c->hidden)
      continue;
    fprintf(out, "complete -c lineup -f -n __fish_use_subcommand -a %s -d '", c->name);
    quoted(out, c->summary, false);
    fputs("'\n", out);
    char before[160];
    snprintf(before, sizeof before, "complete -c lineup -n '__fish_seen_subcommand_from %s' -a ", c->name);
    lu_usage_words(c, put_word, &(words_to){out, before, "\n"});
    fish_rows(out, c->name, c->options);
    fish_rows(out, c->name, lu_common_options);
  }
}

void lu_completion(FILE *out, lu_shell shell)
{
  switch (shell) {
  case LU_SHELL_BASH: bash(out); break;
  case LU_SHELL_ZSH: zsh(out); break;
  case LU_SHELL_FISH: fish(out); break;
  }
}
