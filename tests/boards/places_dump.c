/* SPDX-License-Identifier: MIT */
/* Prints what places.c makes of a layout, for scripts that check it with other tools: "net NAME", then
 * "point INDEX X Y" and "piece A B LENGTH GIVEN" with indexes within the net. */
#include "base/io.h"
#include "board/places.h"
#include "formats/netform.h"

#include <stdio.h>

int main(int argc, char **argv)
{
  lu_arena mem = {0};
  lu_err err = {0};
  lu_file file;
  lu_netlist *n = NULL;
  lu_boardfile f = {.path = argc > 1 ? argv[1] : "?"};
  lu_board *b = NULL;
  if (argc != 2 || lu_file_open(argv[1], 0, &file, &err) || lu_netform_guess(file.bytes)->read(file.bytes, &mem, &n, &err) ||
      lu_board_build(&f, n, &mem, &b, &err) || !b->places) {
    fprintf(stderr, "%s\n", err.message);
    return 2;
  }
  for (size_t i = 0; i < b->net_count; i++) {
    const lu_net_points *w = &b->places->nets[i];
    printf("net %s\n", b->nets[i].name);
    for (uint32_t k = 0; k < w->point_count; k++)
      printf("point %u %.9g %.9g\n", k, b->places->points[w->first_point + k].x_mm, b->places->points[w->first_point + k].y_mm);
    for (uint32_t k = 0; k < w->piece_count; k++) {
      const lu_piece *q = &b->places->pieces[w->first_piece + k];
      printf("piece %u %u %.9g %d\n", q->a - w->first_point, q->b - w->first_point, q->length_mm, q->given);
    }
  }
  lu_file_close(&file);
  lu_arena_free(&mem);
  return 0;
}
