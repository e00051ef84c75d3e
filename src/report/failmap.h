/* SPDX-License-Identifier: MIT */
#ifndef LU_REPORT_FAILMAP_H
#define LU_REPORT_FAILMAP_H
/* Where the wrong bits stand, as a picture: addresses downwards and bits across, or a chip's rows and columns.
 *
 * However large the memory, the map has at most LU_MAP_ROWS_MOST by LU_MAP_COLUMNS_MOST squares; each counts what
 * was read there and what of it was wrong. A single wrong bit always shows, and the square with the most wrong bits
 * is drawn in a shade of its own. */
#include "base/arena.h"
#include "base/err.h"
#include "data/dump.h"

#include <stdio.h>

enum { LU_MAP_ROWS_MOST = 256, LU_MAP_COLUMNS_MOST = 256, LU_MAP_SIDE = 512 };

/* What a square shows, in the order of the picture's palette. */
typedef enum lu_map_shade {
  LU_SHADE_NONE,   /* nothing wrong */
  LU_SHADE_FEW,    /* something, less than 1 bit in 64 */
  LU_SHADE_SOME,   /* less than 1 in 4 */
  LU_SHADE_MANY,   /* less than 63 in 64 */
  LU_SHADE_ALL,
  LU_SHADE_UNREAD, /* nothing was read there */
  LU_SHADE_WORST,  /* the most wrong bits of all squares; the first of equals */
  LU_SHADE_COUNT
} lu_map_shade;

typedef struct lu_map_cell {
  uint64_t seen, wrong; /* bits */
} lu_map_cell;

typedef struct lu_fail_map {
  size_t rows, columns;    /* of squares */
  uint64_t row_span;       /* addresses (or a chip's rows) in a row of squares */
  uint64_t column_span;    /* bits (or a chip's columns) in a column of squares */
  uint64_t base;           /* address of the first row */
  bool high_first;         /* column 0 is drawn at the right, as a word is written */
  lu_map_cell *cells;      /* [rows * columns] */
  uint64_t wrong_bits, wrong_words, words;
  size_t worst;            /* index of a square, SIZE_MAX: nothing is wrong */
  uint64_t *by_column;     /* [columns] wrong bits; by word maps: of each data bit */
  uint64_t *high, *low;    /* [columns] word maps with known contents: read 1 for 0, 0 for 1 */
} lu_fail_map;

/* An empty map of a memory with that many rows and columns. False if memory is refused. */
bool lu_fail_map_open(uint64_t rows, uint64_t columns, lu_arena *mem, lu_fail_map *out);
/* One bit that was read at (row, column) of the memory. */
void lu_fail_map_add(lu_fail_map *m, uint64_t row, uint64_t column, bool wrong);
/* Finds the worst square; after the last lu_fail_map_add. */
void lu_fail_map_close(lu_fail_map *m);

/* Addresses by bits: got against known (at = NULL: nothing known; then steady[got->count] tells by a 0 bit what
 * differed between passes, and NULL gives an empty map). False if memory is refused. Cost: words, and wrong bits. */
bool lu_fail_map_words(const lu_words *got, const lu_words *known, const uint64_t *steady, lu_arena *mem, lu_fail_map *out);

lu_map_shade lu_fail_map_shade(const lu_fail_map *m, size_t cell);
/* "nothing wrong", "less than 1 bit in 64 wrong" ... */
const char *lu_map_shade_text(lu_map_shade shade);
/* 0xRRGGBB. Shades of one hue from light to dark, so that they differ without colours, too. */
uint32_t lu_map_shade_color(lu_map_shade shade);

/* Squares of the picture's pixels: how many pixels wide and high one is. */
void lu_fail_map_scale(const lu_fail_map *m, unsigned *across, unsigned *down);
/* A PNG image in mem. ERR_DEVICE: libpng is not here, or was not when this was built; ERR_NOMEM. */
LU_MUST_USE lu_status lu_fail_map_png(const lu_fail_map *m, lu_arena *mem, const unsigned char **at, size_t *len, lu_err *err);

typedef struct lu_map_style {
  bool color, utf8;
  unsigned address_scale; /* bytes a word; 0: rows are a chip's */
  size_t lines_most;      /* of squares' rows printed; 0 = 32 */
} lu_map_style;
/* For a terminal: half blocks with colours, else one sign a square. */
void lu_fail_map_text(FILE *out, const lu_fail_map *m, const lu_map_style *style);

#endif
