/* SPDX-License-Identifier: MIT */
/* Manual pages, from the tables: roff with the man macros, as in man(7) and groff_man(7). */
#include "cli/papers.h"

#include <ctype.h>

/* Text for roff: its own signs escaped, nothing that begins a line is a request. */
static void put(FILE *out, const char *text)
{
  if (*text == '.' || *text == '\'')
    fputs("\\&", out);
  for (; *text; text++)
    switch (*text) {
    case '\\': fputs("\\e", out); break;
    case '-': fputs("\\-", out); break;
    case '\'': fputs("\\(aq", out); break;
    case '`': fputs("\\(ga", out); break;
    case '^': fputs("\\(ha", out); break;
    case '~': fputs("\\(ti", out); break;
    default: fputc(*text, out);
    }
}

static void head(FILE *out, const char *command, const char *summary)
{
  fputs(".\\\" Made from the program's tables; changes here are lost.\n.TH LINEUP", out);
  if (command)
    fputc('-', out);
  for (const char *p = command ? command : ""; *p; p++)
    fputc(toupper((unsigned char)*p), out);
  fputs(" 1 " LU_DATE " \"lineup " LU_VERSION "\" \"lineup\"\n.SH NAME\nlineup", out);
  if (command)
    fprintf(out, "\\-%s", command);
  fputs(" \\- ", out);
  put(out, summary);
  fputs("\n.SH SYNOPSIS\n.B lineup\n", out);
}

static void options(FILE *out, const lu_option *rows)
{
  for (; rows && rows->name; rows++) {
    fputs(".TP\n", out);
    if (rows->letter)
      fprintf(out, "\\fB\\-%c\\fR, ", rows->letter);
    fputs("\\fB", out);
    put(out, "--");
    put(out, rows->name);
    fputs("\\fR", out);
    if (rows->value) {
      fputs(" \\fI", out);
      put(out, rows->value);
      fputs("\\fR", out);
    }
    fputc('\n', out);
    put(out, rows->help);
    fputc('\n', out);
  }
}

static void status(FILE *out)
{
  fputs(".SH EXIT STATUS\n"
        ".TP\n0\nNothing wrong.\n"
        ".TP\n1\nFaults found.\n"
        ".TP\n2\nThe input or the usage is bad; a message on standard error tells where.\n"
        ".TP\n3\nA device or the system failed.\n",
        out);
}

static void lines(FILE *out, const char *title, const char *const *rows)
{
  if (!rows || !rows[0])
    return;
  fprintf(out, ".SH %s\n.nf\n", title);
  for (; *rows; rows++) {
    put(out, *rows);
    fputc('\n', out);
  }
  fputs(".fi\n", out);
}

static void page_command(FILE *out, const lu_command *c)
{
  head(out, c->name, c->summary);
  fprintf(out, ".B %s\n", c->name);
  put(out, c->usage);
  fputs("\n.SH DESCRIPTION\n", out);
  fprintf(out, "This is one of the commands of\n.BR lineup (1):\n");
  put(out, c->summary);
  fputs(".\n.SH OPTIONS\n", out);
  options(out, c->options);
  options(out, lu_common_options);
  lines(out, "NOTES", c->notes);
  lines(out, "EXAMPLES", c->examples);
  status(out);
  fputs(".SH SEE ALSO\n.BR lineup (1)\n", out);
}

static void page_program(FILE *out)
{
  head(out, NULL, "from a failed memory test to suspect nets and pins");
  fputs(".I COMMAND\n[\\fIOPTION\\fR ...]\n[\\fIFILE\\fR ...]\n"
        ".SH DESCRIPTION\n"
        "Reads what a failing memory or bus of an old computer board gives back, works out which\n"
        "electrical faults would give exactly that, and names the nets and chip pins to measure.\n"
        "A board file tells of the board: its netlist, its memories, and from where they are read.\n"
        ".SH COMMANDS\n",
        out);
  for (size_t i = 0; i < lu_command_count; i++) {
    if (lu_commands[i]->hidden)
      continue;
    fprintf(out, ".TP\n.BR lineup\\-%s (1)\n", lu_commands[i]->name);
    put(out, lu_commands[i]->summary);
    fputc('\n', out);
  }
  fputs(".SH OPTIONS\n.TP\n\\fB\\-\\-version\\fR\nshow the version\n", out);
  options(out, lu_common_options);
  status(out);
  fputs(".SH ENVIRONMENT\n"
        ".TP\nNO_COLOR\nNo colours, if it is set and not empty; \\-\\-color goes before it.\n"
        ".TP\nCLICOLOR\nNo colours, if it is 0.\n"
        ".TP\nCLICOLOR_FORCE\nColours even where the output is no terminal, if it is not 0.\n"
        ".SH CAUTIONS\n"
        "Take readings of resistance without power and with the battery removed. What leaks from\n"
        "batteries burns skin and eyes; mains and charged capacitors kill; solder fumes and lead harm.\n"
        "Follow your local codes, and leave to licensed people what is theirs.\n"
        ".SH SEE ALSO\n",
        out);
  const char *comma = "";
  for (size_t i = 0; i < lu_command_count; i++)
    if (!lu_commands[i]->hidden) {
      fprintf(out, "%s.BR lineup\\-%s (1)", comma, lu_commands[i]->name);
      comma = ",\n";
    }
  fputc('\n', out);
}

void lu_manual(FILE *out, const lu_command *c)
{
  if (c)
    page_command(out, c);
  else
    page_program(out);
}
