/* SPDX-License-Identifier: MIT */
#define _GNU_SOURCE
#include "api/session.h"

#include "formats/dumpform.h"
#include "formats/netform.h"
#include "formats/netmerge.h"
#include "pattern/contents.h"

#include <stdio.h>
#include <string.h>
#include <sys/stat.h>

lu_session *lu_session_begin(lu_arena *mem)
{
  lu_session *s = LU_NEW(mem, lu_session, 1);
  if (s)
    s->mem = mem;
  return s;
}

void lu_session_end(lu_session *s)
{
  for (size_t i = 0; s && i < s->file_count; i++)
    lu_file_close(&s->files[i]);
  if (s)
    s->file_count = 0;
}

bool lu_session_note(lu_session *s, const char *text)
{
  const char **p = lu_arena_grow(s->mem, (void *)(uintptr_t)s->notes, s->note_count, &s->note_room, sizeof *p);
  if (!p || !text)
    return false;
  s->notes = p;
  p[s->note_count++] = text;
  return true;
}

lu_status lu_session_file(lu_session *s, const char *path, lu_bytes *out)
{
  for (size_t i = 0; i < s->file_count; i++)
    if (!strcmp(path, "-") && !strcmp(s->names[i], path)) { /* standard input can be read only once */
      *out = s->files[i].bytes;
      return LU_OK;
    }
  if (s->file_count == LU_FILES_MOST)
    return lu_fail(&s->err, LU_ERR_LIMIT, 0, 0, "more than %d files", LU_FILES_MOST);
  lu_file *file = &s->files[s->file_count];
  lu_status bad = LU_OK;
  if (s->kept && s->kept(s->kept_from, path, out))
    *file = (lu_file){.bytes = *out};
  else
    bad = lu_file_open(path, 0, file, &s->err);
  if (bad)
    return lu_fail_source(&s->err, bad, path);
  s->names[s->file_count++] = path;
  *out = file->bytes;
  if (!out->len)
    return lu_fail_source(&s->err, lu_fail(&s->err, LU_ERR_SYNTAX, 0, 0, "the file is empty"), path);
  return LU_OK;
}

bool lu_session_has(const lu_session *s, const char *path)
{
  struct stat st;
  lu_bytes b;
  return (s->kept && s->kept(s->kept_from, path, &b)) || !strcmp(path, "-") || stat(path, &st) == 0;
}

/* A path in a board file is meant from where that file stands. */
static const char *beside(lu_session *s, const char *board, const char *path)
{
  const char *slash = strrchr(board, '/');
  if (path[0] == '/' || !slash)
    return path;
  return lu_arena_printf(s->mem, "%.*s/%s", (int)(slash - board), board, path);
}

static lu_status read_netlist(lu_session *s, const char *board, lu_spot spot, lu_netlist **out)
{
  const char *path = beside(s, board, spot.text);
  if (!path)
    return lu_fail(&s->err, LU_ERR_NOMEM, 0, 0, "no room");
  lu_bytes in;
  lu_status bad = lu_session_file(s, path, &in);
  if (bad)
    return bad;
  const lu_netform *form = lu_netform_guess(in);
  if (!form)
    return lu_fail_source(&s->err,
                          lu_fail(&s->err, LU_ERR_SYNTAX, 1, 1,
                                  "expected a netlist (KiCad s-expression, IPC-D-356A, EDIF 2 0 0, a table of nets), "
                                  "found none of them"),
                          path);
  bad = form->read(in, s->mem, out, &s->err);
  if (bad)
    return lu_fail_source(&s->err, bad, path);
  for (size_t i = 0; i < (*out)->note_count; i++)
    lu_session_note(s, lu_arena_printf(s->mem, "%s: %s", path, (*out)->notes[i]));
  return LU_OK;
}

static lu_status add_layout(lu_session *s, const char *path, const lu_boardfile *f, lu_netlist **netlist)
{
  lu_netlist *layout;
  lu_status bad = read_netlist(s, path, f->layout, &layout);
  if (bad)
    return bad;
  if (!*netlist) {
    *netlist = layout;
    return LU_OK;
  }
  lu_netmerge both;
  bad = lu_netmerge_join(*netlist, layout, s->mem, &both, &s->err);
  if (bad)
    return bad;
  *netlist = both.netlist;
  s->difference_count = both.difference_count;
  s->differences = both.differences;
  if (both.difference_count)
    lu_session_note(s, lu_arena_printf(s->mem, "%zu difference%s between netlist and layout; lineup board check lists them",
                                       both.difference_count, both.difference_count == 1 ? "" : "s"));
  return LU_OK;
}

lu_status lu_session_load(lu_session *s, const lu_boardfile *f, const char *path)
{
  lu_netlist *netlist = NULL;
  lu_status bad = f->netlist.text ? read_netlist(s, path, f->netlist, &netlist) : LU_OK;
  if (!bad && f->layout.text)
    bad = add_layout(s, path, f, &netlist);
  if (!bad)
    bad = lu_board_build(f, netlist, s->mem, &s->board, &s->err);
  if (bad)
    return lu_fail_source(&s->err, bad, path);
  for (size_t i = 0; i < s->board->note_count; i++)
    lu_session_note(s, s->board->notes[i]);
  return LU_OK;
}

lu_status lu_session_board(lu_session *s, const char *path)
{
  lu_bytes in;
  lu_boardfile *f;
  lu_status bad = lu_session_file(s, path, &in);
  if (!bad)
    bad = lu_boardfile_read(in, path, s->mem, &f, &s->err);
  return bad ? lu_fail_source(&s->err, bad, path) : lu_session_load(s, f, path);
}

static const char *block_names(lu_session *s)
{
  const char *list = "";
  for (size_t i = 0; i < s->board->block_count && list; i++)
    list = lu_arena_printf(s->mem, "%s%s'%s'", list, i ? ", " : "", s->board->blocks[i].name);
  return list ? list : "";
}

lu_status lu_session_block(lu_session *s, const char *name, uint64_t size_hint, uint32_t *block)
{
  const lu_board *b = s->board;
  if (name) {
    *block = lu_board_block(b, name);
    if (*block != LU_NONE)
      return LU_OK;
    const char *near = lu_board_nearest_block(b, name);
    lu_status bad = near ? lu_fail(&s->err, LU_ERR_MISSING, 0, 0, "the board has no block '%s'; the nearest is '%s'", name, near)
                         : lu_fail(&s->err, LU_ERR_MISSING, 0, 0, "the board has no block '%s'", name);
    return lu_fail_source(&s->err, bad, b->path);
  }
  unsigned fits = 0;
  for (uint32_t i = 0; i < b->block_count; i++)
    if (b->block_count == 1 || b->blocks[i].size == size_hint) {
      *block = i;
      fits++;
    }
  if (fits == 1)
    return LU_OK;
  lu_status bad = lu_fail(&s->err, LU_ERR_USAGE, 0, 0, b->block_count ? "say which --block the dump is of: %s" : "the board file has no memory block%s",
                          block_names(s));
  return lu_fail_source(&s->err, bad, b->path);
}

lu_block_shape lu_session_shape(const lu_network *n)
{
  const lu_vantage *v = &n->board->vantages[n->vantage];
  return (lu_block_shape){.base = n->base_word * v->bytes,
                          .size = n->words * v->bytes,
                          .width = v->data_bits,
                          .order = v->big_endian ? LU_ORDER_BIG : LU_ORDER_LITTLE};
}

/* A raw dump that starts at a given address. */
static void move_dump(lu_dump *d, uint64_t at)
{
  if (at == UINT64_MAX || d->has_addresses)
    return;
  for (size_t i = 0; i < d->span_count; i++)
    d->spans[i].base += at;
  d->has_addresses = true;
}

lu_status lu_session_words(lu_session *s, const char *path, const lu_block_shape *shape, uint64_t at, lu_words *out)
{
  lu_bytes in;
  lu_dump *dump;
  lu_status bad = lu_session_file(s, path, &in);
  if (bad)
    return bad;
  bad = lu_dumpform_guess(in)->read(in, s->mem, &dump, &s->err);
  if (!bad) {
    move_dump(dump, at);
    bad = lu_words_from_dump(dump, shape, s->mem, out, &s->err);
  }
  return bad ? lu_fail_source(&s->err, bad, path) : LU_OK;
}

/* Every how many words the samples below look: odd, so that every address bit takes part. */
static size_t spread(const lu_words *got)
{
  return (got->count > 4096 ? got->count / 4096 : 1) | 1;
}

/* The data bits that read the same in every word of the sample: a fault may hold them, so they cannot tell how a
   pattern counts. */
static uint64_t constant_bits(const lu_words *got)
{
  uint64_t ones = ~UINT64_C(0), zeros = ~UINT64_C(0);
  for (size_t i = 0, step = spread(got); i < got->count; i += step)
    if (lu_word_held(got, i)) {
      ones &= lu_word(got, i);
      zeros &= ~lu_word(got, i);
    }
  return ones | zeros;
}

/* How many words of a spread sample agree, apart from the bits of `but`. */
static size_t agreement(const lu_contents *c, unsigned variant, const lu_network *n, unsigned bytes, const lu_words *got, uint64_t but)
{
  size_t same = 0;
  for (size_t i = 0, step = spread(got); i < got->count; i += step)
    same += lu_word_held(got, i) &&
            !((lu_word(got, i) ^ lu_contents_word(c, variant, n->data_bits, n->base_word, bytes, i)) & ~but);
  return same;
}

/* The reading of a name that fits best. An earlier one is the more usual; a handful of words is chance. */
static unsigned best_variant(const lu_contents *c, const lu_network *n, unsigned bytes, const lu_words *got, uint64_t but)
{
  unsigned best = 0;
  size_t most = 0;
  for (unsigned v = 0; v < c->variant_count; v++) {
    size_t same = agreement(c, v, n, bytes, got, but);
    if (same > most + most / 3 && (!v || same > got->count / 100 || same > 128)) {
      most = same;
      best = v;
    }
  }
  return best;
}

/* Says what another reading of the name would make of the dump. */
static void note_variant(lu_session *s, const lu_contents *c, unsigned taken, unsigned plain)
{
  if (plain != taken)
    lu_session_note(s, lu_arena_printf(s->mem, "pattern %s was taken as: %s; taken as: %s, the bits that never change would be right, too "
                                               "(give what was written as a file to settle it)",
                                       c->name, c->variants[taken], c->variants[plain]));
  else if (taken)
    lu_session_note(s, lu_arena_printf(s->mem, "pattern %s was taken as: %s", c->name, c->variants[taken]));
}

static lu_status named_contents(lu_session *s, const char *name, const lu_network *n, const lu_words *got, lu_words *out)
{
  const lu_contents *c;
  lu_status bad = lu_contents_named(name, &c, &s->err);
  if (bad) {
    lu_fail(&s->err, bad, 0, 0, "'%s' is neither a file nor a pattern: %.120s", name, lu_arena_printf(s->mem, "%s", s->err.message));
    return bad;
  }
  unsigned bytes = n->board->vantages[n->vantage].bytes;
  unsigned best = got ? best_variant(c, n, bytes, got, constant_bits(got)) : 0;
  unsigned plain = got ? best_variant(c, n, bytes, got, 0) : 0;
  void *at = lu_arena_big(s->mem, (size_t)n->words * bytes);
  if (!at)
    return lu_fail(&s->err, LU_ERR_NOMEM, 0, 0, "no room for the pattern's contents");
  lu_contents_fill(c, best, n->data_bits, n->base_word, bytes, 0, (size_t)n->words, at);
  note_variant(s, c, best, plain);
  *out = (lu_words){.base = n->base_word,
                    .count = (size_t)n->words,
                    .width = n->data_bits,
                    .bytes = bytes,
                    .at = at,
                    .held_count = (size_t)n->words};
  return LU_OK;
}

lu_status lu_session_contents(lu_session *s, const char *what, const lu_network *n, const lu_words *got, lu_words *out)
{
  if (!lu_session_has(s, what))
    return named_contents(s, what, n, got, out);
  lu_block_shape shape = lu_session_shape(n);
  return lu_session_words(s, what, &shape, UINT64_MAX, out);
}
