/* SPDX-License-Identifier: MIT */
#include "report/failmap.h"

#include <inttypes.h>
#include <string.h>

static const struct {
  const char *text, *sign, *ascii;
  uint32_t color;
} shades[LU_SHADE_COUNT] = {
    [LU_SHADE_NONE] = {"nothing wrong", "·", ".", 0xe9efea},
    [LU_SHADE_FEW] = {"less than 1 bit in 64 wrong", "░", "-", 0xe3c07a},
    [LU_SHADE_SOME] = {"less than 1 in 4", "▒", "+", 0xc98a3a},
    [LU_SHADE_MANY] = {"less than 63 in 64", "▓", "x", 0x96501f},
    [LU_SHADE_ALL] = {"63 in 64 or more", "█", "#", 0x4a2210},
    [LU_SHADE_UNREAD] = {"not read", " ", " ", 0xffffff},
    [LU_SHADE_WORST] = {"the most wrong bits", "◆", "@", 0x2440a8},
};

const char *lu_map_shade_text(lu_map_shade shade)
{
  return shades[shade].text;
}

uint32_t lu_map_shade_color(lu_map_shade shade)
{
  return shades[shade].color;
}

static uint64_t span_of(uint64_t count, size_t most)
{
  uint64_t span = 1;
  while ((count + span - 1) / span > most)
    span *= 2;
  return span;
}

bool lu_fail_map_open(uint64_t rows, uint64_t columns, lu_arena *mem, lu_fail_map *out)
{
  lu_fail_map m = {.row_span = span_of(rows, LU_MAP_ROWS_MOST), .column_span = span_of(columns, LU_MAP_COLUMNS_MOST), .worst = SIZE_MAX};
  m.rows = (size_t)((rows + m.row_span - 1) / m.row_span);
  m.columns = (size_t)((columns + m.column_span - 1) / m.column_span);
  m.cells = LU_NEW(mem, lu_map_cell, m.rows * m.columns + 1);
  m.by_column = LU_NEW(mem, uint64_t, m.columns + 1);
  m.high = LU_NEW(mem, uint64_t, m.columns + 1);
  m.low = LU_NEW(mem, uint64_t, m.columns + 1);
  *out = m;
  return m.cells && m.by_column && m.high && m.low;
}

void lu_fail_map_add(lu_fail_map *m, uint64_t row, uint64_t column, bool wrong)
{
  size_t r = (size_t)(row / m->row_span), c = (size_t)(column / m->column_span);
  if (r >= m->rows || c >= m->columns)
    return;
  lu_map_cell *x = &m->cells[r * m->columns + c];
  x->seen++;
  x->wrong += wrong;
  m->by_column[c] += wrong;
  m->wrong_bits += wrong;
}

void lu_fail_map_close(lu_fail_map *m)
{
  for (size_t i = 0; i < m->rows * m->columns; i++)
    if (m->cells[i].wrong && (m->worst == SIZE_MAX || m->cells[i].wrong > m->cells[m->worst].wrong))
      m->worst = i;
}

/* The wrong bits of one word. */
static void add_wrong(lu_fail_map *m, size_t row, uint64_t wrong, uint64_t got, bool known)
{
  m->wrong_words++;
  for (; wrong; wrong &= wrong - 1) {
    unsigned bit = (unsigned)__builtin_ctzll(wrong);
    m->cells[row * m->columns + bit].wrong++;
    m->by_column[bit]++;
    m->wrong_bits++;
    if (known)
      (got >> bit & 1 ? m->high : m->low)[bit]++;
  }
}

bool lu_fail_map_words(const lu_words *got, const lu_words *known, const uint64_t *steady, lu_arena *mem, lu_fail_map *out)
{
  bool with = known && known->at;
  uint64_t mask = got->width >= 64 ? ~(uint64_t)0 : ((uint64_t)1 << got->width) - 1;
  if (!lu_fail_map_open(got->count, got->width, mem, out))
    return false;
  out->base = got->base;
  out->high_first = true;
  for (size_t row = 0; row < out->rows; row++) {
    size_t first = (size_t)(row * out->row_span), end = first + (size_t)out->row_span;
    uint64_t seen = 0;
    for (size_t i = first; i < end && i < got->count; i++) {
      if (!lu_word_held(got, i))
        continue;
      seen++;
      uint64_t word = lu_word(got, i);
      uint64_t wrong = with ? (word ^ lu_word(known, i)) & mask : steady ? ~steady[i] & mask : 0;
      if (wrong)
        add_wrong(out, row, wrong, word, with);
    }
    out->words += seen;
    for (size_t c = 0; c < out->columns; c++)
      out->cells[row * out->columns + c].seen = seen;
  }
  lu_fail_map_close(out);
  return true;
}

lu_map_shade lu_fail_map_shade(const lu_fail_map *m, size_t cell)
{
  const lu_map_cell *x = &m->cells[cell];
  if (cell == m->worst)
    return LU_SHADE_WORST;
  if (!x->seen)
    return LU_SHADE_UNREAD;
  if (!x->wrong)
    return LU_SHADE_NONE;
  double share = (double)x->wrong / (double)x->seen;
  return share < 1. / 64 ? LU_SHADE_FEW : share < 0.25 ? LU_SHADE_SOME : share < 63. / 64 ? LU_SHADE_MANY : LU_SHADE_ALL;
}

enum { SIGNS_MOST = 64 }; /* across: with the addresses they fit 80 columns */

/* --- in a terminal ---------------------------------------------------------------------------------------- */

/* Squares put together, for a terminal's few signs: the worst of them shows. */
static lu_map_shade shade_of_squares(const lu_fail_map *m, size_t first, size_t count, size_t column, size_t across)
{
  static const unsigned rank[LU_SHADE_COUNT] = {1, 2, 3, 4, 5, 0, 6};
  lu_map_shade worst = LU_SHADE_UNREAD;
  for (size_t r = first; r < first + count && r < m->rows; r++)
    for (size_t c = column; c < column + across && c < m->columns; c++) {
      lu_map_shade x = lu_fail_map_shade(m, r * m->columns + c);
      if (rank[x] > rank[worst])
        worst = x;
    }
  return worst;
}

/* The first of the columns that stand at sign c: signs of `across` columns each. */
static size_t drawn_column(const lu_fail_map *m, size_t c, size_t across)
{
  return across * (m->high_first ? (m->columns - 1) / across - c : c);
}

static void rgb(FILE *out, int layer, lu_map_shade s)
{
  uint32_t c = shades[s].color;
  fprintf(out, "\033[%d;2;%u;%u;%um", layer, c >> 16, c >> 8 & 255, c & 255);
}

static void address(FILE *out, const lu_fail_map *m, const lu_map_style *style, size_t row)
{
  unsigned scale = style->address_scale ? style->address_scale : 1;
  fprintf(out, style->address_scale ? "%8" PRIx64 "  " : "%8" PRIu64 "  ", (m->base + row * m->row_span) * scale);
}

/* Numbers over the squares: each ends where its square ends. */
static void head(FILE *out, const lu_fail_map *m, const lu_map_style *style, unsigned wide, size_t across)
{
  char line[2 * LU_MAP_COLUMNS_MOST + 1];
  size_t signs = (m->columns + across - 1) / across, step = m->columns <= 64 ? 4 : 32, end = signs * wide;
  memset(line, ' ', sizeof line);
  for (size_t c = 0; c < signs; c++) {
    size_t column = drawn_column(m, c, across), last = (c + 1) * wide;
    char text[24];
    int len = snprintf(text, sizeof text, "%" PRIu64, column * m->column_span);
    if (column % step == 0 && (size_t)len <= last)
      memcpy(line + last - (size_t)len, text, (size_t)len);
  }
  fprintf(out, "%8s  %.*s\n", style->address_scale ? "address" : "row", (int)end, line);
}

static void legend(FILE *out, const lu_map_style *style)
{
  static const lu_map_shade shown[] = {LU_SHADE_NONE, LU_SHADE_FEW, LU_SHADE_SOME, LU_SHADE_MANY, LU_SHADE_ALL, LU_SHADE_WORST};
  for (size_t i = 0; i < sizeof shown / sizeof *shown; i++) {
    fputs(i % 3 ? "   " : "  ", out);
    if (style->color && style->utf8) {
      rgb(out, 38, shown[i]);
      fputs("██\033[0m", out);
    } else {
      fputs(style->utf8 ? shades[shown[i]].sign : shades[shown[i]].ascii, out);
    }
    fprintf(out, " %s%s", shades[shown[i]].text, i % 3 == 2 ? "\n" : "");
  }
}

void lu_fail_map_text(FILE *out, const lu_fail_map *m, const lu_map_style *style)
{
  size_t most = style->lines_most ? style->lines_most : 32;
  bool halves = style->color && style->utf8;
  size_t group = (m->rows + most - 1) / most, step = halves ? 2 * group : group;
  size_t across = (m->columns + SIGNS_MOST - 1) / SIGNS_MOST;
  unsigned wide = m->columns <= 32 ? 2 : 1;
  if (!group || !across)
    return;
  size_t signs = (m->columns + across - 1) / across;
  head(out, m, style, wide, across);
  for (size_t row = 0; row < m->rows; row += step) {
    address(out, m, style, row);
    for (size_t c = 0; c < signs; c++) {
      size_t column = drawn_column(m, c, across);
      lu_map_shade s = shade_of_squares(m, row, group, column, across);
      if (halves) {
        rgb(out, 38, s);
        rgb(out, 48, shade_of_squares(m, row + group, group, column, across));
      }
      const char *sign = halves ? "▀" : style->utf8 ? shades[s].sign : shades[s].ascii;
      for (unsigned k = 0; k < wide; k++)
        fputs(sign, out);
    }
    fputs(halves ? "\033[0m\n" : "\n", out);
  }
  legend(out, style);
}
