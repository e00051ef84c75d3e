/* SPDX-License-Identifier: MIT */
#ifndef LU_API_SESSION_H
#define LU_API_SESSION_H
/* What commands and the public library need first: a board from its files, dumps as words, contents. Files stay
 * mapped until lu_session_end. */
#include "base/io.h"
#include "base/texts.h"
#include "data/words.h"
#include "reason/evidence.h"

enum { LU_FILES_MOST = 600 };

struct lu_run;

typedef struct lu_session {
  struct lu_run *run;    /* the program's (cli/cmd.h), for commands; not looked at here, NULL without a program */
  lu_arena *mem;
  lu_err err;
  lu_board *board;       /* NULL until loaded */
  size_t file_count;
  lu_file files[LU_FILES_MOST];
  const char *names[LU_FILES_MOST]; /* as they were asked for */
  /* Files that stand elsewhere than on the disk (in a job): asked first. False: not there either.
   * NULL: none. */
  bool (*kept)(void *from, const char *path, lu_bytes *out);
  void *kept_from;
  size_t difference_count; /* between netlist and layout; told by board check only */
  const char **differences;
  size_t note_count, note_room;
  const char **notes;
} lu_session;

/* In mem; NULL if memory is refused. */
lu_session *lu_session_begin(lu_arena *mem);
void lu_session_end(lu_session *s);
bool lu_session_note(lu_session *s, const char *text);

/* True if a file of that name can be read. */
bool lu_session_has(const lu_session *s, const char *path);

/* Each returns LU_OK or fills s->err with the file's name as source. */
LU_MUST_USE lu_status lu_session_file(lu_session *s, const char *path, lu_bytes *out);
LU_MUST_USE lu_status lu_session_board(lu_session *s, const char *path);
/* As above for a board file that is not read from a file; path: where its netlists are meant from. */
LU_MUST_USE lu_status lu_session_load(lu_session *s, const lu_boardfile *f, const char *path);
/* The block of that name; NULL: the only one, or the only one that size_hint bytes fit. */
LU_MUST_USE lu_status lu_session_block(lu_session *s, const char *name, uint64_t size_hint, uint32_t *block);

/* How a network's words stand in a file. */
lu_block_shape lu_session_shape(const lu_network *n);
/* A dump file as the block's words. at: byte address of a raw dump's first byte, or UINT64_MAX. */
LU_MUST_USE lu_status lu_session_words(lu_session *s, const char *path, const lu_block_shape *shape, uint64_t at,
                                       lu_words *out);
/* Contents: a file, or a named pattern whose reading fits got best (got may be NULL: variant 0). */
LU_MUST_USE lu_status lu_session_contents(lu_session *s, const char *what, const lu_network *n, const lu_words *got,
                                          lu_words *out);

#endif
