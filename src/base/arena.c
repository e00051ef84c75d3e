/* SPDX-License-Identifier: MIT */
#define _GNU_SOURCE
#include "base/arena.h"

#include <stdarg.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/mman.h>

#if defined(__SANITIZE_ADDRESS__)
#define LU_ASAN 1
#elif defined(__has_feature)
#if __has_feature(address_sanitizer)
#define LU_ASAN 1
#endif
#endif
#ifndef LU_ASAN
#define LU_ASAN 0
#endif

enum { CHUNK = 64 * 1024, ALIGN = 16, LARGE = 4096 };
#define HUGE ((size_t)2 << 20)  /* bytes of the system's larger pages */
#define GROWN ((size_t)512 << 10) /* bytes of an arena from which on arrays get larger pages */

struct lu_arena_block {
  lu_arena_block *next;
  size_t mapped; /* bytes of an mmap, or 0 for malloc */
  void *base;
};

static bool allowed(lu_arena *mem, size_t size)
{
  mem->requests++;
  if (mem->fail_from && mem->requests >= mem->fail_from)
    return false;
  if (mem->max && (size > mem->max || mem->used > mem->max - size))
    return false;
  mem->used += size;
  return true;
}

static void *block_take(lu_arena *mem, size_t size)
{
  size_t head = (sizeof(lu_arena_block) + 63) & ~(size_t)63;
  if (size > SIZE_MAX - head - 64)
    return NULL;
  /* calloc knows which memory is fresh from the system, and leaves that untouched */
  char *base = calloc(1, head + size + (LU_ASAN ? 0 : 63));
  if (!base)
    return NULL;
  char *raw = LU_ASAN ? base : base + (-(uintptr_t)base & 63);
  lu_arena_block *b = (lu_arena_block *)(void *)raw;
  b->next = mem->blocks;
  b->base = base;
  mem->blocks = b;
  return raw + head;
}

void *lu_arena_take(lu_arena *mem, size_t size)
{
  if (!size)
    size = 1;
  if (!allowed(mem, size))
    return NULL;
  if (LU_ASAN || size >= LARGE)
    return block_take(mem, size);
  size = (size + ALIGN - 1) & ~(size_t)(ALIGN - 1);
  if ((size_t)(mem->end - mem->at) < size) {
    char *chunk = block_take(mem, CHUNK);
    if (!chunk)
      return NULL;
    mem->at = chunk;
    mem->end = chunk + CHUNK;
  }
  void *p = mem->at;
  mem->at += size;
  return p;
}

void *lu_arena_array(lu_arena *mem, size_t count, size_t size)
{
  size_t total;
  if (__builtin_mul_overflow(count, size, &total))
    return NULL;
  return lu_arena_take(mem, total);
}

/* Fresh pages in steps of 2 MiB, beginning at one, so that each step can be one page. */
static char *map_huge(lu_arena *mem, size_t size)
{
  if (size > SIZE_MAX - 2 * HUGE)
    return NULL;
  size_t whole = ((size + HUGE - 1) & ~(HUGE - 1)) + HUGE;
  lu_arena_block *b = malloc(sizeof *b);
  if (!b)
    return NULL;
  void *p = mmap(NULL, whole, PROT_READ | PROT_WRITE, MAP_PRIVATE | MAP_ANONYMOUS, -1, 0);
  if (p == MAP_FAILED) {
    free(b);
    return NULL;
  }
  *b = (lu_arena_block){.next = mem->blocks, .mapped = whole, .base = p};
  mem->blocks = b;
  char *at = (char *)p + (-(uintptr_t)p & (HUGE - 1));
  (void)madvise(at, whole - HUGE, MADV_HUGEPAGE);
  return at;
}

/* A small arena takes small pages: a huge one costs as much as 100 of them. */
void *lu_arena_big(lu_arena *mem, size_t size)
{
  if (LU_ASAN || size < LARGE || (size < HUGE && mem->used < GROWN))
    return lu_arena_take(mem, size);
  if (!allowed(mem, size))
    return NULL;
  if (size >= HUGE)
    return map_huge(mem, size);
  size = (size + 63) & ~(size_t)63;
  if ((size_t)(mem->big_end - mem->big_at) < size) {
    char *more = map_huge(mem, 2 * HUGE);
    if (!more)
      return NULL;
    mem->big_at = more;
    mem->big_end = more + 2 * HUGE;
  }
  void *p = mem->big_at;
  mem->big_at += size;
  return p;
}

char *lu_arena_text(lu_arena *mem, const char *text, size_t len)
{
  char *p = len < SIZE_MAX ? lu_arena_take(mem, len + 1) : NULL;
  if (p && len)
    memcpy(p, text, len);
  return p;
}

char *lu_arena_printf(lu_arena *mem, const char *format, ...)
{
  va_list ap, again;
  va_start(ap, format);
  va_copy(again, ap);
  int n = vsnprintf(NULL, 0, format, ap);
  va_end(ap);
  char *p = n < 0 ? NULL : lu_arena_take(mem, (size_t)n + 1);
  if (p)
    vsnprintf(p, (size_t)n + 1, format, again);
  va_end(again);
  return p;
}

void *lu_arena_grow(lu_arena *mem, void *at, size_t count, size_t *room, size_t size)
{
  if (count < *room)
    return at;
  size_t more = *room ? *room * 2 : 8;
  void *p = lu_arena_array(mem, more, size);
  if (!p)
    return NULL;
  if (count)
    memcpy(p, at, count * size);
  *room = more;
  return p;
}

void lu_arena_free(lu_arena *mem)
{
  lu_arena_block *b = mem->blocks;
  while (b) {
    lu_arena_block *next = b->next;
    if (b->mapped) {
      munmap(b->base, b->mapped);
      free(b);
    } else {
      free(b->base);
    }
    b = next;
  }
  size_t max = mem->max;
  *mem = (lu_arena){.max = max};
}
