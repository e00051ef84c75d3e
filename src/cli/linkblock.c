/* SPDX-License-Identifier: MIT */
#include "cli/linkblock.h"
#include "cli/session.h"

#include <inttypes.h>
#include <string.h>

/* ---- files made here ---- */
static bool from_here(void *from, const char *path, lu_bytes *out)
{
  lu_link_block *b = from;
  for (size_t i = 0; i < b->own_count; i++)
    if (!strcmp(b->own[i].name, path)) {
      *out = b->own[i].bytes;
      return true;
    }
  return b->kept && b->kept(b->kept_from, path, out);
}

bool lu_link_block_keep(lu_link_block *b, const char *name, lu_bytes bytes)
{
  if (!name || b->own_count == LU_LINK_FILES_MOST)
    return false;
  b->own[b->own_count].name = name;
  b->own[b->own_count++].bytes = bytes;
  return true;
}

const char *lu_link_block_name(lu_link_block *b, const char *what, const char *ending)
{
  char *name = lu_arena_printf(b->s->mem, "%s-%s.%zu.%s", b->name, what, b->bench ? b->bench->count + 1 : b->own_count, ending);
  for (char *p = name; p && *p; p++)
    if (*p == ' ' || *p == '/' || *p == ':')
      *p = '-';
  return name;
}

/* ---- the block ---- */
static lu_status load(lu_link_block *b)
{
  lu_session *s = b->s;
  if (b->where.job) {
    lu_status bad = lu_bench_open(s, b->where.job, LU_JOB_WRITE, &b->bench);
    return bad ? bad : lu_bench_choose_board(b->bench, b->where.board);
  }
  return b->where.board ? lu_session_board(s, b->where.board) : LU_OK;
}

/* What kind of memory stands there, in the words of --kind. */
static const char *kind_of(const lu_network *n)
{
  const lu_board *board = n->board;
  if (board->vantages[n->vantage].multiplexed)
    return "dram";
  if (n->block != LU_NONE)
    return board->blocks[n->block].rom ? "rom" : "sram";
  return n->chip_count && n->chips[0].rom ? "rom" : "sram";
}

static lu_status whole_range(lu_link_block *b, lu_link_args *a)
{
  const lu_network *n = b->n;
  uint64_t base = n->base_word, end = base + n->words, from = base, count = n->words;
  unsigned bytes = b->bytes;
  if (!a->from && !a->count)
    goto done;
  if (b->row_bits)
    return lu_fail(&b->s->err, LU_ERR_USAGE, 0, 0, "rows and columns of '%s' are read as a whole; leave out --from and --count", b->name);
  from = a->from ? a->from / bytes : base;
  count = a->count ? a->count / bytes : from < end ? end - from : 0;
  if (a->from % bytes || a->count % bytes)
    return lu_fail(&b->s->err, LU_ERR_VALUE, 0, 0, "a word of '%s' has %u bytes: --from and --count, in bytes, must be multiples of it", b->name, bytes);
  if (from < base || from >= end || count > end - from)
    return lu_fail(&b->s->err, LU_ERR_VALUE, 0, 0, "0x%" PRIx64 " and 0x%" PRIx64 " bytes do not lie in '%s', 0x%" PRIx64 " to 0x%" PRIx64,
                   from * bytes, count * bytes, b->name, base * bytes, end * bytes - 1);
done:
  a->from = from;
  a->count = count;
  return LU_OK;
}

static lu_status wire(lu_link_block *b, lu_link_args *a)
{
  lu_session *s = b->s;
  lu_network *n = NULL;
  if (a->address_bits || a->data_bits || a->row_bits)
    return lu_fail(&s->err, LU_ERR_USAGE, 0, 0, "the board file says how wide the memory is: leave out --address-bits, --data-bits and --row-bits");
  lu_status bad = lu_readings_network(s, b->where.block, b->where.vantage, 0, &n);
  if (bad)
    return bad;
  const lu_vantage *v = &s->board->vantages[n->vantage];
  b->n = n;
  b->name = n->block == LU_NONE ? v->name : s->board->blocks[n->block].name;
  b->big = v->big_endian;
  b->bytes = v->bytes;
  if (v->data_bits > 16 || v->address_bits > 24)
    return lu_fail(&s->err, LU_ERR_VALUE, 0, 0, "'%s' has %u address and %u data lines; a reader has at most 24 and 16", v->name, v->address_bits, v->data_bits);
  if (v->multiplexed) {
    b->row_bits = v->row_bits;
    b->column_bits = v->column_bits;
    a->row_bits = v->row_bits;
  }
  a->kind = a->kind ? a->kind : kind_of(n);
  if (v->multiplexed && strcmp(a->kind, "dram"))
    return lu_fail(&s->err, LU_ERR_USAGE, 0, 0, "'%s' sees rows and columns: its kind is dram", v->name);
  a->address_bits = v->address_bits;
  a->data_bits = v->data_bits;
  return whole_range(b, a);
}

lu_status lu_link_block_open(lu_run *run, const lu_link_where *where, lu_link_args *a, lu_link_block *b)
{
  *b = (lu_link_block){.s = lu_session_new(run), .where = *where, .name = "memory"};
  if (!b->s)
    return LU_ERR_NOMEM;
  lu_status bad = load(b);
  b->kept = b->s->kept;
  b->kept_from = b->s->kept_from;
  b->s->kept = from_here;
  b->s->kept_from = b;
  if (!bad && !b->s->board && (where->block || where->vantage))
    bad = lu_fail(&b->s->err, LU_ERR_USAGE, 0, 0, "--block and --vantage need a board file: give --board, or --job with a job that has one");
  return !bad && b->s->board ? wire(b, a) : bad;
}

void lu_link_block_settle(lu_link_block *b, const lu_link_args *a, unsigned data_bits, const char *order)
{
  b->from = a->from;
  b->count = a->count;
  b->data_bits = data_bits;
  b->bytes = data_bits > 8 ? 2 : 1;
  if (order)
    b->big = !strcmp(order, "big");
}

void lu_link_block_close(lu_link_block *b)
{
  if (!b->s)
    return;
  b->s->kept = b->kept;
  b->s->kept_from = b->kept_from;
  lu_bench_close(b->bench);
  lu_session_end(b->s);
}

/* ---- the words as a dump ---- */
/* Rows first becomes columns first; a part of the columns leaves one stretch of each row. */
static lu_status turned(lu_link_block *b, const uint16_t *words, uint32_t done, lu_dump *out)
{
  size_t rows = (size_t)1 << b->row_bits, columns = done >> b->row_bits;
  uint16_t *there = LU_NEW(b->s->mem, uint16_t, rows * columns + 1);
  lu_span *spans = LU_NEW(b->s->mem, lu_span, rows);
  if (!there || !spans)
    return lu_fail(&b->s->err, LU_ERR_NOMEM, 0, 0, "no room for %u words", done);
  for (size_t c = 0; c < columns; c++)
    for (size_t r = 0; r < rows; r++)
      there[r * columns + c] = words[c << b->row_bits | r];
  lu_status bad = lu_link_dump(b->s->mem, 0, there, (uint32_t)(rows * columns), b->data_bits, b->big, out, &b->s->err);
  if (bad || !columns || columns == (size_t)1 << b->column_bits)
    return bad;
  for (size_t r = 0; r < rows; r++)
    spans[r] = (lu_span){.base = (uint64_t)(r << b->column_bits) * b->bytes, .len = columns * b->bytes,
                         .at = out->spans[0].at + r * columns * b->bytes};
  out->spans = spans;
  out->span_count = rows;
  return LU_OK;
}

lu_status lu_link_block_dump(lu_link_block *b, const uint16_t *words, uint32_t done, lu_dump *out)
{
  if (b->row_bits)
    return turned(b, words, done, out);
  return lu_link_dump(b->s->mem, b->from, words, done, b->data_bits, b->big, out, &b->s->err);
}
