/* SPDX-License-Identifier: MIT */
#ifndef LU_CLI_BOARDDRAW_H
#define LU_CLI_BOARDDRAW_H
/* A board as the drawing room wants it (report/boardsvg.h): places turned into plain shapes. */
#include "board/places.h"
#include "report/boardsvg.h"

/* Everything but wires, which the caller adds. nets: whose tracks are shown; pins: marked. The board must have
 * places. *out borrows from the board and lives in mem. False if memory is refused. */
typedef struct lu_draw_choice {
  bool solder_side;
  size_t net_count, pin_count;
  const uint32_t *nets, *pins;
  const unsigned *tags; /* by board net, for pages that mark nets; NULL: none */
} lu_draw_choice;
bool lu_draw_board(const lu_board *b, const lu_draw_choice *what, lu_arena *mem, lu_drawing *out);

#endif
