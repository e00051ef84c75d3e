/* SPDX-License-Identifier: MIT */
#ifndef LU_CLI_LINKBLOCK_H
#define LU_CLI_LINKBLOCK_H
/* A board's block as a reader at its vantage sees it, and the job that keeps what is read. */
#include "cli/bench.h"
#include "cli/linkargs.h"
#include "api/readings.h"

typedef struct lu_link_where {
  const char *board, *block, *vantage, *job;
} lu_link_where;

/* Rows for the table of a command whose argument struct T holds a lu_link_where called where. */
#define LU_LINK_WHERE_OPTIONS(T)                                                                   \
  {"board", 'b', LU_OPT_TEXT, offsetof(T, where.board), 0, 0, "FILE", "board file: says how a block is wired to the reader"}, \
  {"block", 0, LU_OPT_TEXT, offsetof(T, where.block), 0, 0, "NAME", "the memory block"},             \
  {"vantage", 0, LU_OPT_TEXT, offsetof(T, where.vantage), 0, 0, "NAME", "the reader sits there; chip:U3 = out of circuit"}, \
  {"job", 0, LU_OPT_TEXT, offsetof(T, where.job), 0, 0, "JOB", "keep what is found in this job, and use its board file"}

enum { LU_LINK_FILES_MOST = 64 };

typedef struct lu_link_block {
  lu_session *s;
  lu_link_where where;
  lu_bench *bench;      /* NULL: no job */
  const lu_network *n;  /* NULL: no board */
  const char *name;     /* of the block or vantage; "memory" without a board */
  bool big;             /* how words stand in a dump */
  unsigned row_bits, column_bits; /* multiplexed vantage: a dump counts columns first, the reader rows; else 0 */
  uint64_t from, count; /* words, as the reader counts */
  unsigned data_bits, bytes;
  size_t own_count;     /* files made here, for decode to read */
  struct {
    const char *name;
    lu_bytes bytes;
  } own[LU_LINK_FILES_MOST];
  bool (*kept)(void *from, const char *path, lu_bytes *out); /* what the session asked before */
  void *kept_from;
} lu_link_block;

/* Loads board and job, if there are any, and sets a's kind, address_bits, data_bits, row_bits, from
 * and count by them. With a board a->from and a->count are bytes, as the board file counts; they become
 * words. Errors in out->s->err. Closed by lu_link_block_close, also after a failure. */
LU_MUST_USE lu_status lu_link_block_open(lu_run *run, const lu_link_where *where, lu_link_args *a, lu_link_block *out);
void lu_link_block_close(lu_link_block *b);
/* To be called once the memory is open: takes over what a and memory say in the end. order: NULL, "big"
 * or "little". */
void lu_link_block_settle(lu_link_block *b, const lu_link_args *a, unsigned data_bits, const char *order);

/* Word number in a dump of the reader's word number w. */
static inline uint64_t lu_link_word(const lu_link_block *b, uint64_t w)
{
  if (!b->row_bits)
    return w;
  return (w & ((UINT64_C(1) << b->row_bits) - 1)) << b->column_bits | w >> b->row_bits;
}
/* Its byte address, as the board file counts. */
static inline uint64_t lu_link_byte(const lu_link_block *b, uint64_t w)
{
  return lu_link_word(b, w) * b->bytes;
}

/* words[done], read from the reader's b->from on, as a dump. */
LU_MUST_USE lu_status lu_link_block_dump(lu_link_block *b, const uint16_t *words, uint32_t done, lu_dump *out);

/* A file that decode finds under this name although it is on no disk; bytes must stay. False: too many. */
bool lu_link_block_keep(lu_link_block *b, const char *name, lu_bytes bytes);
/* A name for a file made here: WHAT.NUMBER.ENDING, of the job's next entry. NULL: no memory. */
const char *lu_link_block_name(lu_link_block *b, const char *what, const char *ending);

#endif
