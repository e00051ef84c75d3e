/* SPDX-License-Identifier: MIT */
#include "report/outline.h"

#include "base/text.h"
#include "report/html.h"

#include <ctype.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

static const char *const bodies[LU_BODY_COUNT] = {"dip", "sip", "zip", "plcc", "soj", "pga"};

bool lu_body_named(const char *name, lu_body *out)
{
  for (int i = 0; i < LU_BODY_COUNT; i++)
    if (lu_text_same(name, bodies[i])) {
      *out = (lu_body)i;
      return true;
    }
  return false;
}

const char *lu_body_name(lu_body body)
{
  return bodies[body];
}

/* --- numbers ------------------------------------------------------------------------------------------ */

/* 0 when it is not a plain number. */
static unsigned plain(const char *number)
{
  uint64_t v;
  return lu_text_u64(number, strlen(number), 10, LU_OUTLINE_PINS_MOST, &v) ? (unsigned)v : 0;
}

/* "B10": row 1, column 9. Rows count letters as they stand in the alphabet; rows are closed up later. */
static bool grid_place(const char *number, unsigned *row, unsigned *column)
{
  unsigned r = 0;
  const char *c = number;
  uint64_t v;
  for (; isalpha((unsigned char)*c) && c < number + 2; c++)
    r = r * 26 + (unsigned)(toupper((unsigned char)*c) - 'A' + 1);
  if (c == number || !lu_text_u64(c, strlen(c), 10, 200, &v) || !v)
    return false;
  *row = r - 1;
  *column = (unsigned)v - 1;
  return true;
}

static unsigned highest(const lu_outline_pin *pins, size_t count)
{
  unsigned most = 0;
  for (size_t i = 0; i < count; i++) {
    unsigned n = plain(pins[i].number);
    most = n > most ? n : most;
  }
  return most;
}

/* --- what body it is ------------------------------------------------------------------------------------ */

/* How many different values there are, up to a tenth of a millimetre. */
static size_t levels(const double (*at)[2], size_t count, int axis)
{
  size_t n = 0;
  for (size_t i = 0; i < count; i++) {
    bool fresh = true;
    for (size_t j = 0; fresh && j < i; j++)
      fresh = fabs(at[i][axis] - at[j][axis]) > 0.1;
    n += fresh;
  }
  return n;
}

static lu_body by_places(size_t count, const double (*at)[2])
{
  size_t x = levels(at, count, 0), y = levels(at, count, 1);
  size_t few = x < y ? x : y, many = x < y ? y : x;
  if (few == 1)
    return LU_BODY_SIP;
  if (few == 2)
    return many == count ? LU_BODY_ZIP : LU_BODY_DIP; /* in a ZIP no two pins face each other */
  return count % 2 == 0 && few * 4 > count / 2 ? LU_BODY_PLCC : LU_BODY_DIP;
}

lu_body lu_outline_guess(const lu_outline_pin *pins, size_t count, const double (*at_mm)[2])
{
  unsigned row, column;
  size_t grid = 0;
  for (size_t i = 0; i < count; i++)
    grid += grid_place(pins[i].number, &row, &column);
  if (count && grid == count)
    return LU_BODY_PGA;
  if (at_mm && count > 1)
    return by_places(count, at_mm);
  return highest(pins, count) <= 3 || highest(pins, count) % 2 ? LU_BODY_SIP : LU_BODY_DIP;
}

/* --- where a pin stands --------------------------------------------------------------------------------- */

/* Pins of a PLCC along the top; 32 pins stand 7 and 9, 18 pins 4 and 5, all others alike on each side. */
static unsigned plcc_top(unsigned pins)
{
  return pins == 32 ? 7 : pins == 18 ? 4 : (pins + 3) / 4;
}

static void plcc_spot(unsigned number, unsigned pins, char *side, unsigned *slot, unsigned *slots)
{
  unsigned t = plcc_top(pins), l = pins / 2 - t, half = (t + 1) / 2;
  *slots = t;
  if (number <= half) {
    *side = 'T';
    *slot = half - number;
  } else if (number <= half + l) {
    *side = 'L';
    *slot = number - half - 1;
    *slots = l;
  } else if (number <= half + l + t) {
    *side = 'B';
    *slot = number - half - l - 1;
  } else if (number <= half + 2 * l + t) {
    *side = 'R';
    *slot = l - 1 - (number - half - l - t - 1);
    *slots = l;
  } else {
    *side = 'T';
    *slot = t - 1 - (number - half - 2 * l - t - 1);
  }
}

static void grid_size(const lu_outline *o, unsigned *rows, unsigned *columns)
{
  *rows = *columns = 0;
  for (size_t i = 0; i < o->pin_count; i++) {
    unsigned r, c;
    if (!grid_place(o->pins[i].number, &r, &c))
      continue;
    *rows = r + 1 > *rows ? r + 1 : *rows;
    *columns = c + 1 > *columns ? c + 1 : *columns;
  }
}

static void mirror(char *side, unsigned *slot, unsigned slots)
{
  if (*side == 'L' || *side == 'R')
    *side = *side == 'L' ? 'R' : 'L';
  else
    *slot = slots - 1 - *slot;
}

bool lu_outline_spot(const lu_outline *o, size_t pin, char *side, unsigned *slot, unsigned *slots)
{
  unsigned n = plain(o->pins[pin].number), most = highest(o->pins, o->pin_count), row, column, rows;
  if (o->body == LU_BODY_PGA) {
    if (!grid_place(o->pins[pin].number, &row, &column))
      return false;
    grid_size(o, &rows, slots);
    *side = 'G';
    *slot = o->solder_side ? *slots - 1 - column : column;
    return true;
  }
  if (!n)
    return false;
  switch (o->body) {
  case LU_BODY_SIP:
    *side = 'L';
    *slot = n - 1;
    *slots = most;
    break;
  case LU_BODY_ZIP:
    *side = n % 2 ? 'L' : 'R';
    *slot = n - 1; /* each in a line of its own: they stand in a zigzag */
    *slots = most;
    break;
  case LU_BODY_PLCC:
    plcc_spot(n, most + most % 2, side, slot, slots);
    break;
  default:
    *slots = (most + 1) / 2;
    *side = n <= *slots ? 'L' : 'R';
    *slot = n <= *slots ? n - 1 : 2 * *slots - n;
    break;
  }
  if (o->solder_side)
    mirror(side, slot, *slots);
  return true;
}

/* --- text ----------------------------------------------------------------------------------------------- */

typedef struct cell {
  const lu_outline_pin *pin; /* NULL: no pin here */
} cell;

typedef struct sides {
  unsigned left, right, top; /* slots */
  cell l[LU_OUTLINE_PINS_MOST], r[LU_OUTLINE_PINS_MOST], t[LU_OUTLINE_PINS_MOST], b[LU_OUTLINE_PINS_MOST];
} sides;

static void take_sides(const lu_outline *o, sides *s)
{
  for (size_t i = 0; i < o->pin_count; i++) {
    char side;
    unsigned slot, slots;
    if (!lu_outline_spot(o, i, &side, &slot, &slots) || slot >= LU_OUTLINE_PINS_MOST)
      continue;
    cell *at = side == 'L' ? s->l : side == 'R' ? s->r : side == 'T' ? s->t : s->b;
    at[slot].pin = &o->pins[i];
    unsigned *most = side == 'L' ? &s->left : side == 'R' ? &s->right : &s->top;
    *most = slots > *most ? slots : *most;
  }
}

static void put_clean(FILE *out, const char *text, int width)
{
  int n = 0;
  for (unsigned len; text && *text && n < 14; text += len ? len : 1, n++) {
    len = lu_text_shown(text);
    fwrite(len ? text : "?", 1, len ? len : 1, out);
  }
  for (; n < width; n++)
    fputc(' ', out);
}

static int text_len(const char *text)
{
  size_t n = text ? strlen(text) : 0;
  return n > 14 ? 14 : (int)n;
}

static void headline(FILE *out, const lu_outline *o)
{
  put_clean(out, o->ref, 0);
  if (o->type) {
    fputc(' ', out);
    put_clean(out, o->type, 0);
  }
  fprintf(out, ", %s, seen from %s", bodies[o->body], o->solder_side ? "the solder side" : "above");
  for (size_t i = 0; i < o->pin_count; i++)
    if (o->pins[i].marked) {
      fputs("; * = suspect", out);
      break;
    }
  fputc('\n', out);
}

static void left_cell(FILE *out, const lu_outline_pin *p)
{
  fprintf(out, "%*s", p ? 15 - text_len(p->function) : 15, "");
  if (p)
    put_clean(out, p->function, 0);
  fprintf(out, " %c%4.8s ", p && p->marked ? '*' : ' ', p ? p->number : "");
}

static void right_cell(FILE *out, const lu_outline_pin *p)
{
  if (!p)
    return;
  fprintf(out, " %-4.8s%c ", p->number, p->marked ? '*' : ' ');
  put_clean(out, p->function, 0);
}

static void numbers_row(FILE *out, const cell *row, unsigned count)
{
  fprintf(out, "%22s", "");
  for (unsigned i = 0; i < count; i++)
    fprintf(out, "%4.4s%c", row[i].pin ? row[i].pin->number : "", row[i].pin && row[i].pin->marked ? '*' : ' ');
  fputc('\n', out);
}

static void names_row(FILE *out, const char *where, const cell *row, unsigned count)
{
  fprintf(out, "  %s, left to right:", where);
  for (unsigned i = 0; i < count; i++)
    if (row[i].pin) {
      fprintf(out, "%s %.8s%s ", i ? "," : "", row[i].pin->number, row[i].pin->marked ? "*" : "");
      put_clean(out, row[i].pin->function, 0);
    }
  fputc('\n', out);
}

static void rule(FILE *out, unsigned width, bool notch)
{
  fprintf(out, "%21s+", "");
  for (unsigned i = 0; i < width; i++)
    fputc(notch && i == width / 2 ? 'U' : '-', out);
  fputs("+\n", out);
}

static void sides_text(FILE *out, const lu_outline *o, const sides *s)
{
  bool plcc = o->body == LU_BODY_PLCC;
  unsigned width = plcc ? 5 * s->top : o->body == LU_BODY_SIP ? 5 : 13;
  unsigned rows = s->left > s->right ? s->left : s->right;
  if (plcc)
    numbers_row(out, s->t, s->top);
  rule(out, width, o->body == LU_BODY_DIP || o->body == LU_BODY_SOJ);
  for (unsigned i = 0; i < rows; i++) {
    left_cell(out, s->l[i].pin);
    fprintf(out, "|%*s|", (int)width, "");
    right_cell(out, s->r[i].pin);
    fputc('\n', out);
  }
  rule(out, width, false);
  if (!plcc)
    return;
  numbers_row(out, s->b, s->top);
  names_row(out, "above", s->t, s->top);
  names_row(out, "below", s->b, s->top);
}

static const lu_outline_pin *in_grid(const lu_outline *o, unsigned row, unsigned slot)
{
  for (size_t i = 0; i < o->pin_count; i++) {
    unsigned r, c, at, slots;
    char side;
    if (grid_place(o->pins[i].number, &r, &c) && r == row && lu_outline_spot(o, i, &side, &at, &slots) && at == slot)
      return &o->pins[i];
  }
  return NULL;
}

static void grid_text(FILE *out, const lu_outline *o)
{
  unsigned rows, columns;
  grid_size(o, &rows, &columns);
  for (unsigned r = 0; r < rows; r++) {
    bool any = false;
    for (unsigned c = 0; c < columns; c++)
      any |= in_grid(o, r, c) != NULL;
    for (unsigned c = 0; any && c < columns; c++) {
      const lu_outline_pin *p = in_grid(o, r, c);
      fprintf(out, "%5.5s%c", p ? p->number : ".", p && p->marked ? '*' : ' ');
    }
    if (any)
      fputc('\n', out);
  }
  for (size_t i = 0; i < o->pin_count; i++)
    if (o->pins[i].marked) {
      fprintf(out, "  * %.8s ", o->pins[i].number);
      put_clean(out, o->pins[i].function, 0);
      fputc('\n', out);
    }
}

bool lu_outline_text(FILE *out, const lu_outline *o)
{
  if (o->pin_count > LU_OUTLINE_PINS_MOST)
    return false;
  headline(out, o);
  if (o->body == LU_BODY_PGA) {
    grid_text(out, o);
    return true;
  }
  sides *s = calloc(1, sizeof *s);
  if (!s)
    return false;
  take_sides(o, s);
  sides_text(out, o, s);
  free(s);
  return true;
}

/* --- SVG ------------------------------------------------------------------------------------------------- */

enum { PITCH = 20, LEG = 16, MARGIN = 130, HEAD = 40 };

static void xml(FILE *out, const char *text)
{
  lu_html_text_most(out, text, 40);
}

static void svg_text(FILE *out, double x, double y, const char *anchor, const lu_outline_pin *p, bool number)
{
  fprintf(out, "<text x=\"%.0f\" y=\"%.0f\" text-anchor=\"%s\"%s>", x, y, anchor, p->marked ? " font-weight=\"bold\"" : "");
  if (!number && p->marked)
    fputs("* ", out);
  xml(out, number ? p->number : p->function);
  fputs("</text>\n", out);
}

static void svg_leg(FILE *out, double x, double y, double w, double h, bool marked)
{
  fprintf(out, "<rect x=\"%.0f\" y=\"%.0f\" width=\"%.0f\" height=\"%.0f\" fill=\"%s\" stroke=\"#000\" stroke-width=\"%d\"/>\n", x, y,
          w, h, marked ? "#d00" : "#ccc", marked ? 2 : 1);
}

/* A pin at the side of a body w by h at (MARGIN, top); its first slot lies corner from the body's corner. */
static void svg_pin(FILE *out, const lu_outline_pin *p, char side, unsigned slot, double w, double h, double top, double corner)
{
  double along = corner + PITCH * (slot + 0.5), left = MARGIN;
  switch (side) {
  case 'L':
    svg_leg(out, left - LEG, top + along - 5, LEG, 10, p->marked);
    svg_text(out, left + 4, top + along + 4, "start", p, true);
    svg_text(out, left - LEG - 4, top + along + 4, "end", p, false);
    break;
  case 'R':
    svg_leg(out, left + w, top + along - 5, LEG, 10, p->marked);
    svg_text(out, left + w - 4, top + along + 4, "end", p, true);
    svg_text(out, left + w + LEG + 4, top + along + 4, "start", p, false);
    break;
  default: {
    bool above = side == 'T';
    double y = above ? top - LEG : top + h;
    svg_leg(out, left + along - 5, y, 10, LEG, p->marked);
    svg_text(out, left + along, above ? top + 14 : top + h - 6, "middle", p, true);
    double ty = above ? y - 4 : y + LEG + 4;
    fprintf(out, "<g transform=\"rotate(%d %.0f %.0f)\">", above ? -90 : 90, left + along, ty);
    svg_text(out, left + along, ty + 4, "start", p, false);
    fputs("</g>\n", out);
  }
  }
}

static void svg_head(FILE *out, const lu_outline *o, double w, double h)
{
  fprintf(out, "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 %.0f %.0f\" width=\"%.0f\" height=\"%.0f\" "
               "font-family=\"monospace\" font-size=\"11\" role=\"img\">\n<title>", w, h, w, h);
  xml(out, o->ref);
  fputc(' ', out);
  xml(out, o->type);
  fprintf(out, ", seen from %s</title>\n<desc>", o->solder_side ? "the solder side" : "above");
  bool any = false;
  for (size_t i = 0; i < o->pin_count; i++)
    if (o->pins[i].marked) {
      fputs(any ? ", " : "Suspect pins: ", out);
      xml(out, o->pins[i].number);
      any = true;
    }
  fprintf(out, "%s</desc>\n<rect width=\"100%%\" height=\"100%%\" fill=\"#fff\"/>\n<text x=\"8\" y=\"16\">", any ? "" : "No pin is marked");
  xml(out, o->ref);
  fputc(' ', out);
  xml(out, o->type);
  fprintf(out, ", seen from %s</text>\n", o->solder_side ? "the solder side" : "above");
}

static void svg_body(FILE *out, const lu_outline *o, double w, double h, double top)
{
  fprintf(out, "<rect x=\"%d\" y=\"%.0f\" width=\"%.0f\" height=\"%.0f\" fill=\"%s\" stroke=\"#000\"/>\n", MARGIN, top, w, h,
          o->solder_side ? "#fff" : "#eee");
  if (o->body == LU_BODY_DIP || o->body == LU_BODY_SOJ)
    fprintf(out, "<path d=\"M%.0f %.0f a8 8 0 0 0 16 0\" fill=\"none\" stroke=\"#000\"/>\n", MARGIN + w / 2 - 8, top);
}

static bool grid_svg(FILE *out, const lu_outline *o)
{
  unsigned rows, columns;
  grid_size(o, &rows, &columns);
  double w = 30.0 * columns, h = 30.0 * rows;
  svg_head(out, o, w + 2 * MARGIN, h + HEAD + 20);
  svg_body(out, o, w, h, HEAD);
  for (size_t i = 0; i < o->pin_count; i++) {
    unsigned r, c, slot, slots;
    char side;
    if (!grid_place(o->pins[i].number, &r, &c) || !lu_outline_spot(o, i, &side, &slot, &slots))
      continue;
    double x = MARGIN + 30 * (slot + 0.5), y = HEAD + 30 * (r + 0.5);
    fprintf(out, "<circle cx=\"%.0f\" cy=\"%.0f\" r=\"%d\" fill=\"%s\" stroke=\"#000\" stroke-width=\"%d\"><title>", x, y, 9,
            o->pins[i].marked ? "#d00" : "#ccc", o->pins[i].marked ? 3 : 1);
    xml(out, o->pins[i].function);
    fprintf(out, "</title></circle>\n<text x=\"%.0f\" y=\"%.0f\" text-anchor=\"middle\" font-size=\"8\">", x, y + 3);
    xml(out, o->pins[i].number);
    fputs("</text>\n", out);
  }
  fputs("</svg>\n", out);
  return !ferror(out);
}

bool lu_outline_svg(FILE *out, const lu_outline *o)
{
  if (o->pin_count > LU_OUTLINE_PINS_MOST)
    return false;
  if (o->body == LU_BODY_PGA)
    return grid_svg(out, o);
  sides *s = calloc(1, sizeof *s);
  if (!s)
    return false;
  take_sides(o, s);
  unsigned rows = s->left > s->right ? s->left : s->right;
  bool plcc = o->body == LU_BODY_PLCC;
  double corner = plcc ? PITCH : 0; /* numbers of two sides must not meet there */
  double w = plcc ? PITCH * s->top + 2 * corner : o->body == LU_BODY_SIP ? 40 : 120, h = PITCH * rows + 2 * corner;
  double top = plcc ? HEAD + MARGIN - 20 : HEAD;
  svg_head(out, o, w + 2 * MARGIN, h + top + (plcc ? MARGIN - 20 : 20));
  svg_body(out, o, w, h, top);
  for (size_t i = 0; i < o->pin_count; i++) {
    char side;
    unsigned slot, slots;
    if (lu_outline_spot(o, i, &side, &slot, &slots))
      svg_pin(out, &o->pins[i], side, slot, w, h, top, corner);
  }
  fputs("</svg>\n", out);
  free(s);
  return !ferror(out);
}
