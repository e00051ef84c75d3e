/* SPDX-License-Identifier: MIT */
#ifndef LU_FORMATS_HEXPLAN_H
#define LU_FORMATS_HEXPLAN_H
/* A line of hex text taken as a stencil for the lines after it: the same characters in the same
 * columns, other digits. Private to the hex text form. */
#include "formats/hexlayout.h"
#include "formats/image.h"

enum { LU_PLAN_CHARS = 128, LU_PLAN_BYTES = 32 };

typedef struct lu_hex_plan {
  size_t bytes; /* data bytes a line, a multiple of 4 up to LU_PLAN_BYTES; 0 = no plan */
  size_t addr_at, addr_digits; /* addr_digits 0: no address */
  size_t fixed;                /* characters that are held against the pattern */
  bool text;                   /* anything may stand behind them; else the line ends there */
  uint8_t pattern[LU_PLAN_CHARS], mask[LU_PLAN_CHARS]; /* mask 0 where a digit stands */
  uint8_t right[16];                    /* moves the address's digits to the right of 16 */
  size_t group_at[LU_PLAN_BYTES / 4];   /* where the first digit of each 4 bytes stands */
  uint8_t group[LU_PLAN_BYTES / 4][16]; /* and how its 8 digits are picked from 16 characters */
} lu_hex_plan;

/* Makes a plan of a line that the reader has just taken; plan->bytes is 0 if it does not suit. */
void lu_hex_plan_make(const lu_hex_layout *l, const uint8_t *line, const uint8_t *end,
                      lu_hex_plan *plan);

/* Takes lines from p on into img as long as they fit the plan and their addresses follow; returns
 * where the first that does not begins. Needs AVX2; img has room for all bytes up to end. */
const uint8_t *lu_hex_plan_run(const lu_hex_plan *plan, lu_image *img, const uint8_t *p,
                               const uint8_t *end);

#endif
