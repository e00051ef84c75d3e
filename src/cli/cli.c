/* SPDX-License-Identifier: MIT */
#define _GNU_SOURCE
#include "cli/cmd.h"
#include "cli/fold.h"
#include "cli/papers.h"
#include "cli/waiting.h"

#include "base/text.h"

#include <locale.h>
#include <stdarg.h>
#include <stdlib.h>
#include <string.h>
#include <sys/ioctl.h>
#include <unistd.h>
#include <langinfo.h>

#define LU_COMMAND(id) extern const lu_command lu_command_##id;
#include "cli/commands.def"
#undef LU_COMMAND
#define LU_COMMAND(id) &lu_command_##id,
const lu_command *const lu_commands[] = {
#include "cli/commands.def"
};
#undef LU_COMMAND
const size_t lu_command_count = sizeof lu_commands / sizeof *lu_commands;

enum { NAMES_MOST = 64 };

/* Untrusted text for a terminal: control characters become '?'. */
static void put_clean(FILE *f, const char *text)
{
  lu_text_put(f, text);
}

int lu_say_error(const lu_run *run, const lu_err *err)
{
  fputs("lineup: ", run->err);
  if (err->source) {
    put_clean(run->err, err->source);
    if (err->line)
      fprintf(run->err, ":%u", err->line);
    if (err->line && err->column)
      fprintf(run->err, ":%u", err->column);
    fputs(": ", run->err);
  }
  put_clean(run->err, err->message[0] ? err->message : lu_status_text(err->status));
  fputc('\n', run->err);
  if (err->excerpt[0]) {
    fprintf(run->err, "    %s\n", err->excerpt);
    if (err->column && err->column <= strlen(err->excerpt) + 1)
      fprintf(run->err, "    %*s^\n", (int)err->column - 1, "");
  }
  return lu_status_exit(err->status);
}

int lu_say_usage(const lu_run *run, const char *format, ...)
{
  char text[512];
  va_list ap;
  va_start(ap, format);
  vsnprintf(text, sizeof text, format, ap);
  va_end(ap);
  fputs("lineup: ", run->err);
  put_clean(run->err, text);
  fputc('\n', run->err);
  return LU_EXIT_INPUT;
}

static const lu_option *find_option(const lu_option *rows, const char *name, size_t len, char letter)
{
  for (; rows && rows->name; rows++)
    if (name ? strlen(rows->name) == len && !memcmp(rows->name, name, len)
             : rows->letter == letter && letter)
      return rows;
  return NULL;
}

static int unknown_option(const lu_run *run, const lu_command *c, const char *arg)
{
  const char *names[NAMES_MOST];
  size_t n = 0;
  for (const lu_option *o = c->options; o && o->name && n < NAMES_MOST - 2; o++)
    names[n++] = o->name;
  names[n++] = "help";
  names[n++] = "color";
  const char *near = arg[0] == '-' && arg[1] == '-' ? lu_text_nearest(arg + 2, names, n) : NULL;
  return near ? lu_say_usage(run, "%s: unknown option %s; the nearest is --%s", c->name, arg, near)
              : lu_say_usage(run, "%s: unknown option %s; lineup %s --help lists them", c->name,
                             arg, c->name);
}

static int store(const lu_run *run, const lu_command *c, const lu_option *o, const char *value,
                 char *args)
{
  void *to = args + o->offset;
  switch (o->kind) {
  case LU_OPT_FLAG:
    *(bool *)to = true;
    return 0;
  case LU_OPT_TEXT:
    *(const char **)to = value;
    return 0;
  case LU_OPT_LIST: {
    lu_texts *list = to;
    if (list->count == LU_TEXTS_MOST)
      return lu_say_usage(run, "%s: more than %d --%s", c->name, LU_TEXTS_MOST, o->name);
    list->at[list->count++] = value;
    return 0;
  }
  case LU_OPT_NUMBER: {
    uint64_t v;
    uint64_t most = o->least || o->most ? o->most : UINT64_MAX;
    if (!lu_text_size(value, strlen(value), UINT64_MAX, &v))
      return lu_say_usage(run, "%s: --%s expects a number, found '%s'", c->name, o->name, value);
    if (v < o->least || v > most)
      return lu_say_usage(run, "%s: --%s expects %llu to %llu, found %s", c->name, o->name,
                          (unsigned long long)o->least, (unsigned long long)most, value);
    *(uint64_t *)to = v;
    return 0;
  }
  case LU_OPT_REAL: {
    char *end;
    double v = strtod(value, &end);
    if (!*value || *end || !(v == v))
      return lu_say_usage(run, "%s: --%s expects a number, found '%s'", c->name, o->name, value);
    *(double *)to = v;
    return 0;
  }
  }
  return 0;
}

static int set_color(lu_run *run, const char *when)
{
  if (!strcmp(when, "always"))
    run->color = true;
  else if (!strcmp(when, "never"))
    run->color = false;
  else if (strcmp(when, "auto"))
    return lu_say_usage(run, "--color expects auto, always or never, found '%s'", when);
  return 0;
}

/* Parses the arguments after the command's name. *help is set when --help was asked. */
static int parse(lu_run *run, const lu_command *c, int argc, char **argv, char *args, bool *help)
{
  lu_texts *operands = (lu_texts *)(void *)(args + c->operands_offset);
  bool options_end = false;
  for (int i = 0; i < argc; i++) {
    const char *arg = argv[i];
    if (options_end || arg[0] != '-' || !arg[1]) {
      if (operands->count == c->most_operands || operands->count == LU_TEXTS_MOST)
        return lu_say_usage(run, "%s: one operand too many: '%s'", c->name, arg);
      operands->at[operands->count++] = arg;
      continue;
    }
    if (!strcmp(arg, "--")) {
      options_end = true;
      continue;
    }
    bool is_long = arg[1] == '-';
    const char *eq = is_long ? strchr(arg, '=') : NULL;
    const char *name = is_long ? arg + 2 : NULL;
    size_t len = is_long ? (eq ? (size_t)(eq - name) : strlen(name)) : 0;
    if (!is_long && arg[2])
      return unknown_option(run, c, arg);
    const lu_option *o = find_option(c->options, name, len, arg[1]);
    const lu_option *shared = o ? NULL : find_option(lu_common_options, name, len, arg[1]);
    if (!o && !shared)
      return unknown_option(run, c, arg);
    const lu_option *row = o ? o : shared;
    const char *value = NULL;
    if (row->kind != LU_OPT_FLAG) {
      value = eq ? eq + 1 : i + 1 < argc ? argv[++i] : NULL;
      if (!value)
        return lu_say_usage(run, "%s: --%s expects %s", c->name, row->name, row->value);
    } else if (eq) {
      return lu_say_usage(run, "%s: --%s takes no value", c->name, row->name);
    }
    if (shared && row->kind == LU_OPT_FLAG) {
      *help = true;
      return 0;
    }
    int bad = shared ? set_color(run, value) : store(run, c, row, value, args);
    if (bad)
      return bad;
  }
  if (operands->count < c->least_operands)
    return lu_say_usage(run, "%s: something is missing; usage: lineup %s %s", c->name, c->name,
                        c->usage);
  return 0;
}

const lu_command *lu_find_command(const char *name)
{
  for (size_t i = 0; i < lu_command_count; i++)
    if (!strcmp(lu_commands[i]->name, name))
      return lu_commands[i];
  return NULL;
}

static int unknown_command(const lu_run *run, const char *name)
{
  const char *names[NAMES_MOST];
  size_t n = 0;
  for (size_t i = 0; i < lu_command_count && n < NAMES_MOST; i++)
    if (!lu_commands[i]->hidden)
      names[n++] = lu_commands[i]->name;
  const char *near = lu_text_nearest(name, names, n);
  return near ? lu_say_usage(run, "no command '%s'; the nearest is '%s'", name, near)
              : lu_say_usage(run, "no command '%s'; lineup --help lists them", name);
}

static void look_at_terminal(lu_run *run)
{
  int fd = fileno(run->out);
  bool tty = fd >= 0 && isatty(fd);
  const char *no = getenv("NO_COLOR"), *force = getenv("CLICOLOR_FORCE"), *cli = getenv("CLICOLOR");
  const char *term = getenv("TERM");
  run->color = tty && !(term && !strcmp(term, "dumb")) && !(cli && !strcmp(cli, "0"));
  if (force && *force && strcmp(force, "0"))
    run->color = true;
  if (no && *no)
    run->color = false;
  const char *wide = getenv("COLUMNS"); /* POSIX: the width that the person prefers */
  unsigned long columns = wide ? strtoul(wide, NULL, 10) : 0;
  run->columns = columns >= 40 && columns <= 10000 ? (unsigned)columns : 80;
  struct winsize w;
  if (tty && run->columns == 80 && !ioctl(fd, TIOCGWINSZ, &w) && w.ws_col >= 40)
    run->columns = w.ws_col;
  if (tty) {
    setlocale(LC_CTYPE, "");
    run->utf8 = !strcmp(nl_langinfo(CODESET), "UTF-8");
  }
}

static int run_command(lu_run *run, const lu_command *c, int argc, char **argv)
{
  char *args = lu_arena_take(run->mem, c->args_size);
  if (!args)
    return lu_say_usage(run, "out of memory"), LU_EXIT_SYSTEM;
  bool help = false;
  int bad = parse(run, c, argc, argv, args, &help);
  if (bad)
    return bad;
  if (help) {
    lu_help_command(run->out, c);
    return LU_EXIT_CLEAN;
  }
  FILE *out = run->out, *folded = lu_fold_wanted(c, args) ? lu_fold_open(out, run->columns, !run->color, run->mem) : NULL;
  if (folded && isatty(fileno(out)))
    setvbuf(folded, NULL, _IOLBF, 0);
  run->out = folded ? folded : out;
  int messages = fileno(run->err);
  const char *term = getenv("TERM");
  bool waiting = !c->linked && messages == STDERR_FILENO && isatty(messages) && !(term && !strcmp(term, "dumb"));
  struct winsize w;
  if (waiting)
    lu_waiting_start(!ioctl(messages, TIOCGWINSZ, &w) && w.ws_col >= 20 ? w.ws_col : 80);
  int code = c->run(run, args);
  if (waiting)
    lu_waiting_stop();
  run->out = out;
  if (folded && fclose(folded))
    code = code == LU_EXIT_CLEAN || code == LU_EXIT_FAULTS ? LU_EXIT_SYSTEM : code;
  return code;
}

int lu_main(int argc, char **argv, FILE *out, FILE *err)
{
  lu_arena mem = {0};
  lu_run run = {.out = out, .err = err, .mem = &mem, .program = argc ? argv[0] : "lineup"};
  look_at_terminal(&run);
  int code;
  if (argc < 2 || !strcmp(argv[1], "--help") || !strcmp(argv[1], "-h") || !strcmp(argv[1], "help")) {
    const char *name = argc > 2 && argv[2][0] != '-' ? argv[2] : NULL;
    const lu_command *c = name ? lu_find_command(name) : NULL;
    code = name && !c ? unknown_command(&run, name) : LU_EXIT_CLEAN;
    if (c)
      lu_help_command(out, c);
    else if (!name)
      lu_help_program(out);
  } else if (!strcmp(argv[1], "--version")) {
    fputs("lineup " LU_VERSION "\n", out);
    code = LU_EXIT_CLEAN;
  } else {
    const lu_command *c = lu_find_command(argv[1]);
    code = c ? run_command(&run, c, argc - 2, argv + 2) : unknown_command(&run, argv[1]);
  }
  if (fflush(out) || ferror(out)) {
    fputs("lineup: cannot write the output\n", err);
    code = LU_EXIT_SYSTEM;
  }
  lu_arena_free(&mem);
  return code;
}
