/* SPDX-License-Identifier: MIT */
#ifndef LU_BASE_ARENA_H
#define LU_BASE_ARENA_H
/* Memory that is freed all at once. One arena for one document or one run.
 *
 * lu_arena mem = {0}; ... lu_arena_free(&mem);
 * Under address sanitizer each request is a block of its own, so an overrun is seen. */
#include <stdbool.h>
#include <stddef.h>

typedef struct lu_arena_block lu_arena_block;
typedef struct lu_arena {
  size_t max;        /* bytes that may be handed out in all; 0 = no limit */
  size_t used;       /* bytes handed out */
  size_t fail_from;  /* tests: refuse the n-th request and all later ones (from 1); 0 = never */
  size_t requests;   /* requests so far */
  lu_arena_block *blocks;
  char *at, *end;
  char *big_at, *big_end; /* the rest of the huge pages that large arrays share */
} lu_arena;

/* size bytes, zeroed, aligned for any type (64 for size >= 4096); NULL if refused. */
void *lu_arena_take(lu_arena *mem, size_t size);
/* count * size bytes, zeroed; NULL on overflow or if refused. */
void *lu_arena_array(lu_arena *mem, size_t count, size_t size);
/* Room for a large array, NOT zeroed by us (fresh pages of the system are zero); 2 MiB pages
 * where the system gives them, shared by the arrays of an arena that has grown. NULL if refused. */
void *lu_arena_big(lu_arena *mem, size_t size);
/* A copy of text[len], ended by NUL; NULL if refused. */
char *lu_arena_text(lu_arena *mem, const char *text, size_t len);
/* printf into the arena; NULL if refused. */
char *lu_arena_printf(lu_arena *mem, const char *format, ...) __attribute__((format(printf, 2, 3)));
/* Frees everything; the arena may be used again. */
void lu_arena_free(lu_arena *mem);

#define LU_NEW(mem, type, count) ((type *)lu_arena_array((mem), (count), sizeof(type)))

/* Grow a plain array that lives in an arena: makes room for one more item (the old copy is left
 * behind). at, count, room describe the array; returns NULL if refused. */
void *lu_arena_grow(lu_arena *mem, void *at, size_t count, size_t *room, size_t size);

#endif
