/* SPDX-License-Identifier: MIT */
#ifndef LU_REPORT_OUTLINE_H
#define LU_REPORT_OUTLINE_H
/* A chip's outline with its legs, as text and as SVG: where pin 21 is, seen from above or from the solder side
 * (mirrored, as the person sees it). Marked pins are told by a sign, not by colour alone.
 *
 * Numbering, seen from above (docs/places.md says where it comes from): DIP and SOJ down the left side and up the right
 * one; SIP in a row; ZIP odd pins in one row, even ones between them in the other; PLCC from the middle of the
 * top side against the clock; PGA rows of letters, columns of numbers. */
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>

typedef enum lu_body { LU_BODY_DIP, LU_BODY_SIP, LU_BODY_ZIP, LU_BODY_PLCC, LU_BODY_SOJ, LU_BODY_PGA, LU_BODY_COUNT } lu_body;

typedef struct lu_outline_pin {
  const char *number, *function; /* function may be NULL */
  bool marked;
} lu_outline_pin;

typedef struct lu_outline {
  const char *ref, *type;        /* type may be NULL */
  lu_body body;
  bool solder_side;
  size_t pin_count;
  const lu_outline_pin *pins;
} lu_outline;

enum { LU_OUTLINE_PINS_MOST = 1024 };

/* "dip", "sip", "zip", "plcc", "soj", "pga"; ASCII case ignored. False if it is none. */
bool lu_body_named(const char *name, lu_body *out);
const char *lu_body_name(lu_body body);

/* The likeliest body: by the pins' places when there are any (at_mm[count] or NULL; y grows upwards), else by
 * their numbers. Chips with two rows of pins are taken for DIP. */
lu_body lu_outline_guess(const lu_outline_pin *pins, size_t count, const double (*at_mm)[2]);

/* Where a pin stands, seen as the outline asks: side 'L', 'R', 'T', 'B' or 'G' (in a grid), slot counted from the
 * top or the left from 0; *slots = how many that side has. False for a pin that the body has no room for. */
bool lu_outline_spot(const lu_outline *o, size_t pin, char *side, unsigned *slot, unsigned *slots);

/* False when memory is refused or there are too many pins. */
bool lu_outline_text(FILE *out, const lu_outline *o);
bool lu_outline_svg(FILE *out, const lu_outline *o);

#endif
