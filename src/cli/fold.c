/* SPDX-License-Identifier: MIT */
#define _GNU_SOURCE
#include "cli/fold.h"

#include <string.h>

enum { LINE_MOST = 8192 };

typedef struct folder {
  FILE *to;
  unsigned columns;
  bool plain;
  size_t len;
  char line[LINE_MOST];
} folder;

/* Bytes of an escape sequence that sets colours, at text: 0 if there is none. */
static size_t escape(const char *text, size_t len)
{
  if (len < 3 || text[0] != '\033' || text[1] != '[')
    return 0;
  size_t n = 2;
  while (n < len && strchr("0123456789;", text[n]))
    n++;
  return n < len ? n + 1 : 0;
}

static bool continues(char c)
{
  return ((unsigned char)c & 0xc0) == 0x80;
}

/* Columns that len bytes take. */
static size_t width(const char *text, size_t len)
{
  size_t n = 0;
  for (size_t i = 0; i < len;) {
    size_t e = escape(text + i, len - i);
    n += !e && !continues(text[i]);
    i += e ? e : 1;
  }
  return n;
}

/* Where the lines after the first begin. */
static size_t hanging(const folder *f)
{
  size_t at = 0, lead = 0, column = 0, seen = 0;
  while (lead < f->len && f->line[lead] == ' ')
    lead++;
  for (size_t i = 0; i < f->len && column <= f->columns * 5 / 8;) {
    size_t e = escape(f->line + i, f->len - i);
    if (!e && f->line[i] != ' ' && seen >= 2 && column > lead)
      at = column;
    if (!e)
      seen = f->line[i] == ' ' ? seen + 1 : 0;
    column += !e && !continues(f->line[i]);
    i += e ? e : 1;
  }
  return at ? at : !lead ? 0 : lead + 2 < f->columns / 2 ? lead + 2 : 2;
}

/* The bytes of the next piece that fit into room columns: up to a blank, at least one word. */
static size_t piece(const char *text, size_t len, size_t room)
{
  size_t best = 0, column = 0;
  bool word = false;
  for (size_t i = 0; i < len;) {
    size_t e = escape(text + i, len - i);
    if (!e && text[i] == ' ' && word && (column <= room || !best))
      best = i;
    if (!e && column > room && best)
      return best;
    word |= !e && text[i] != ' ';
    column += !e && !continues(text[i]);
    i += e ? e : 1;
  }
  return column <= room || !best ? len : best;
}

static void put_line(folder *f, bool end)
{
  while (end && f->len && f->line[f->len - 1] == ' ')
    f->len--; /* blanks that nobody sees */
  const char *at = f->line;
  size_t len = f->len, indent = 0;
  bool wide = width(at, len) > f->columns;
  if (wide)
    indent = hanging(f);
  for (bool first = true; first || len; first = false) {
    if (!first)
      fprintf(f->to, "\n%*s", (int)indent, "");
    size_t n = wide ? piece(at, len, f->columns - (first ? 0 : indent)) : len;
    size_t shown = n;
    while (n < len && shown && at[shown - 1] == ' ')
      shown--;
    fwrite(at, 1, shown, f->to);
    at += n;
    len -= n;
    while (wide && len && *at == ' ')
      at++, len--;
  }
  if (end)
    fputc('\n', f->to);
  f->len = 0;
}

static ssize_t take(void *opaque, const char *at, size_t len)
{
  folder *f = opaque;
  for (size_t i = 0; i < len; i++) {
    if (at[i] == '\n')
      put_line(f, true);
    else
      f->line[f->len++] = f->plain && ((unsigned char)at[i] < 0x20 || at[i] == 0x7f) && at[i] != '\t' ? '?' : at[i];
    if (f->len == LINE_MOST)
      put_line(f, false);
  }
  fflush(f->to); /* comes when our own buffer is full, or when someone wants the words out */
  return ferror(f->to) ? 0 : (ssize_t)len;
}

static int finish(void *opaque)
{
  folder *f = opaque;
  if (f->len)
    put_line(f, false);
  return fflush(f->to) || ferror(f->to) ? EOF : 0;
}

FILE *lu_fold_open(FILE *to, unsigned columns, bool plain, lu_arena *mem)
{
  folder *f = LU_NEW(mem, folder, 1);
  if (!f)
    return NULL;
  f->to = to;
  f->plain = plain;
  f->columns = columns < 20 ? 20 : columns;
  return fopencookie(f, "w", (cookie_io_functions_t){.write = take, .close = finish});
}

static bool among(const char *const *words, const char *word)
{
  for (; words && *words; words++)
    if (!strcmp(*words, word))
      return true;
  return false;
}

bool lu_fold_wanted(const lu_command *c, const void *args)
{
  static const char *const raw_flags[] = {"json", "csv", "ask", NULL}; /* ask: prompts end in no line */
  const char *base = args;
  const lu_texts *operands = (const lu_texts *)(const void *)(base + c->operands_offset);
  for (const lu_option *o = c->options; o && o->name; o++)
    if (o->kind == LU_OPT_FLAG && among(raw_flags, o->name) && *(const bool *)(base + o->offset))
      return false;
  return !c->raw || (operands->count && *c->raw && !among(c->raw, operands->at[0]));
}
