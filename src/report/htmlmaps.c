/* SPDX-License-Identifier: MIT */
/* Of the page: fail maps, bits against chips. */
#include "report/htmlpen.h"

#include <inttypes.h>

enum { OWNER_MAPS = 3 }; /* what the one page of the owner has room for */

/* --- fail maps -------------------------------------------------------------------------------------------- */

static void base64(FILE *out, const unsigned char *at, size_t len)
{
  static const char digits[] = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/"; /* RFC 4648, 4 */
  for (size_t i = 0; i < len; i += 3) {
    uint32_t v = (uint32_t)at[i] << 16 | (i + 1 < len ? (uint32_t)at[i + 1] << 8 : 0) | (i + 2 < len ? at[i + 2] : 0);
    fputc(digits[v >> 18], out);
    fputc(digits[v >> 12 & 63], out);
    fputc(i + 1 < len ? digits[v >> 6 & 63] : '=', out);
    fputc(i + 2 < len ? digits[v & 63] : '=', out);
  }
}

static const char *bit_name(const lu_page_reading *r, size_t bit, char *room)
{
  snprintf(room, 24, "D%zu", bit);
  return bit < r->bit_count && r->bits[bit].name ? r->bits[bit].name : room;
}

static void worst_words(const lu_pen *w, const lu_page_reading *r)
{
  const lu_fail_map *m = r->map;
  if (m->worst == SIZE_MAX)
    return;
  size_t row = m->worst / m->columns, column = m->worst % m->columns;
  uint64_t first = m->base + row * m->row_span, last = first + m->row_span - 1;
  char name[24];
  fprintf(w->out, "Most wrong bits: <code>0x%" PRIx64 "</code>", first * r->address_scale);
  if (last != first)
    fprintf(w->out, " to <code>0x%" PRIx64 "</code>", last * r->address_scale + r->address_scale - 1);
  lu_pen_raw(w, ", bit ");
  lu_pen_text(w, bit_name(r, column, name));
  fprintf(w->out, ", %" PRIu64 " of %" PRIu64 " wrong.", m->cells[m->worst].wrong, m->cells[m->worst].seen);
}

static void key(const lu_pen *w)
{
  lu_pen_raw(w, "<ul class=\"key\" aria-label=\"Shades\">\n");
  for (int s = 0; s < LU_SHADE_COUNT; s++)
    fprintf(w->out,
            "<li><svg viewBox=\"0 0 10 10\" aria-hidden=\"true\" focusable=\"false\"><rect width=\"10\" height=\"10\" fill=\"#%06" PRIx32
            "\"/></svg>%s</li>\n",
            lu_map_shade_color((lu_map_shade)s), lu_map_shade_text((lu_map_shade)s));
  lu_pen_raw(w, "</ul>\n");
}

static void png(const lu_pen *w, const unsigned char *at, size_t len)
{
  lu_pen_raw(w, "\" src=\"data:image/png;base64,");
  base64(w->out, at, len);
  lu_pen_raw(w, "\">\n");
}

static void map_figure(const lu_pen *w, const lu_page_reading *r)
{
  const lu_fail_map *m = r->map;
  lu_pen_raw(w, "<figure>");
  if (r->png) {
    lu_pen_raw(w, "<img alt=\"Fail map of ");
    lu_pen_text(w, r->title);
    fprintf(w->out, ": %" PRIu64 " wrong bits in %" PRIu64 " of %" PRIu64 " words", m->wrong_bits, m->wrong_words, m->words);
    lu_pen_raw(w, w->p->owner ? "" : "; the table of bits tells them one by one");
    png(w, r->png, r->png_len);
  } else {
    lu_pen_raw(w, "<p>No picture: libpng was not at hand.</p>");
  }
  lu_pen_raw(w, "<figcaption>");
  if (w->p->owner) {
    fprintf(w->out, "%" PRIu64 " of %" PRIu64 " words are wrong.</figcaption></figure>\n", m->wrong_words, m->words);
    return;
  }
  fprintf(w->out, "Addresses downwards from <code>0x%" PRIx64 "</code>, %" PRIu64 " word%s a row; bits across, D0 at the right. ",
          m->base * r->address_scale, m->row_span, m->row_span == 1 ? "" : "s");
  worst_words(w, r);
  lu_pen_raw(w, "</figcaption></figure>\n");
}

static void chip_figure(const lu_pen *w, const lu_page_chip_map *c)
{
  const lu_fail_map *m = c->map;
  lu_pen_raw(w, "<figure><img alt=\"Rows and columns of ");
  lu_pen_text(w, c->ref);
  fprintf(w->out, ": %" PRIu64 " wrong bits", m->wrong_bits);
  png(w, c->png, c->png_len);
  lu_pen_raw(w, "<figcaption><strong>");
  lu_pen_text(w, c->ref);
  lu_pen_raw(w, "</strong> ");
  lu_pen_text(w, c->type ? c->type : "");
  fprintf(w->out, "<br>%" PRIu64 " wrong bits", m->wrong_bits);
  if (m->worst != SIZE_MAX) {
    size_t row = m->worst / m->columns, column = m->worst % m->columns;
    fprintf(w->out, "; most in row %" PRIu64, row * m->row_span);
    if (m->row_span > 1)
      fprintf(w->out, "&#8239;to&#8239;%" PRIu64, (row + 1) * m->row_span - 1);
    fprintf(w->out, ", column %" PRIu64, column * m->column_span);
    if (m->column_span > 1)
      fprintf(w->out, "&#8239;to&#8239;%" PRIu64, (column + 1) * m->column_span - 1);
  }
  lu_pen_raw(w, "</figcaption></figure>\n");
}

static void chip_maps(const lu_pen *w, const lu_page_reading *r)
{
  if (!r->chip_count)
    return;
  lu_pen_raw(w, "<h4>Inside the chips of ");
  lu_pen_text(w, r->title);
  lu_pen_raw(w, "</h4>\n<p class=\"soft\">The chip's own rows downwards and columns across, row 0 and column 0 at the top left. A bad row lies across, a bad "
         "column stands upright.</p>\n<div class=\"chips\">\n");
  for (size_t i = 0; i < r->chip_count; i++)
    chip_figure(w, &r->chips[i]);
  lu_pen_raw(w, "</div>\n");
  if (r->chips_left_out)
    fprintf(w->out, "<p>%zu more chips hold wrong bits; <code>--chip</code> draws one alone.</p>\n", r->chips_left_out);
}

static void bit_row(const lu_pen *w, const lu_page_reading *r, size_t bit)
{
  const lu_fail_map *m = r->map;
  const lu_page_bit *b = bit < r->bit_count ? &r->bits[bit] : NULL;
  char name[24];
  lu_pen_raw(w, "<tr><th scope=\"row\">");
  lu_pen_text(w, bit_name(r, bit, name));
  lu_pen_raw(w, "</th><td>");
  if (b && b->net)
    lu_pen_net(w, w->p->nets[b->net - 1]);
  lu_pen_raw(w, "</td><td class=\"pin\">");
  lu_pen_text(w, b && b->chips ? b->chips : "");
  fprintf(w->out, "</td><td class=\"n\">%" PRIu64 "</td>", m->by_column[bit]);
  if (r->known)
    fprintf(w->out, "<td class=\"n\">%" PRIu64 "</td><td class=\"n\">%" PRIu64 "</td>", m->high[bit], m->low[bit]);
  lu_pen_raw(w, "</tr>\n");
}

static void bit_table(const lu_pen *w, const lu_page_reading *r)
{
  static const char *const known[] = {"Bit", "Net", "Chips' pins", "#Wrong", "#1 read for 0", "#0 read for 1", NULL};
  static const char *const passes[] = {"Bit", "Net", "Chips' pins", "#Differs between passes", NULL};
  char caption[160];
  snprintf(caption, sizeof caption, "Bits of %.100s against chips", r->title);
  lu_pen_open_table(w, caption, r->known ? known : passes);
  for (size_t bit = 0; bit < r->map->columns; bit++)
    bit_row(w, r, bit);
  lu_pen_close_table(w);
}

static void one_map(const lu_pen *w, const lu_page_reading *r)
{
  lu_pen_tagged(w, "h3", r->title);
  if (!r->map || (!r->known && !r->map->wrong_bits)) {
    lu_pen_raw(w, "<p>No map: nothing is known of the contents, so no bit can be called wrong by itself.</p>\n");
    return;
  }
  if (!r->map->wrong_bits) {
    fprintf(w->out, "<p>All %" PRIu64 " words are right.</p>\n", r->map->words);
    return;
  }
  lu_pen_raw(w, "<div class=\"map\">\n");
  map_figure(w, r);
  bit_table(w, r);
  lu_pen_raw(w, "</div>\n");
  chip_maps(w, r);
}

static bool any_picture(const lu_page *p)
{
  for (size_t i = 0; i < p->reading_count; i++)
    if (p->readings[i].png)
      return true;
  return false;
}

void lu_html_maps(const lu_pen *w)
{
  lu_pen_open_section(w, "maps", "Where the wrong bits stand");
  if (any_picture(w->p))
    key(w);
  for (size_t i = 0; i < w->p->reading_count; i++)
    one_map(w, &w->p->readings[i]);
  if (!w->p->reading_count)
    lu_pen_raw(w, "<p>Nothing was read yet.</p>\n");
  lu_pen_close_section(w);
}

/* The owner's page: a few small maps in a row. */
void lu_html_owner_maps(const lu_pen *w)
{
  size_t shown = 0, left = 0;
  if (!any_picture(w->p))
    return;
  lu_pen_open_section(w, "maps", "Where the wrong bits stand");
  lu_pen_raw(w, "<p class=\"soft\">Each picture is one memory, addresses downwards, bits across: the darker, the more bits are wrong; blue, the most.</p>\n"
         "<div class=\"chips\">\n");
  for (size_t i = 0; i < w->p->reading_count; i++) {
    const lu_page_reading *r = &w->p->readings[i];
    if (!r->map || !r->map->wrong_bits || !r->png)
      continue;
    if (shown == OWNER_MAPS) {
      left++;
      continue;
    }
    shown++;
    lu_pen_raw(w, "<div>");
    lu_pen_tagged(w, "h3", r->title);
    map_figure(w, r);
    lu_pen_raw(w, "</div>\n");
  }
  lu_pen_raw(w, "</div>\n");
  if (left)
    fprintf(w->out, "<p>%zu more memories have wrong bits.</p>\n", left);
  lu_pen_close_section(w);
}
