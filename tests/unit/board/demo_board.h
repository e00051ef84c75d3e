/* SPDX-License-Identifier: MIT */
#ifndef LU_TESTS_DEMO_BOARD_H
#define LU_TESTS_DEMO_BOARD_H
/* The demo board, or a board of a text, for tests. */
#include "base/io.h"
#include "board/board.h"
#include "formats/netform.h"
#include "formats/netmerge.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static inline lu_netlist *demo_netlist(const char *path, lu_arena *mem)
{
  lu_err err = {0};
  lu_file file;
  lu_netlist *n = NULL;
  if (lu_file_open(path, 0, &file, &err) || lu_netform_guess(file.bytes)->read(file.bytes, mem, &n, &err)) {
    fprintf(stderr, "%s: %s\n", path, err.message);
    abort();
  }
  return n;
}

/* text: a board file; netlist may be NULL. Aborts with the message when it is refused. */
static inline lu_board *demo_build(const char *text, const lu_netlist *netlist, lu_arena *mem)
{
  lu_err err = {0};
  lu_boardfile *f;
  lu_board *b = NULL;
  if (lu_boardfile_read((lu_bytes){(const uint8_t *)text, strlen(text)}, "test", mem, &f, &err) ||
      lu_board_build(f, netlist, mem, &b, &err)) {
    fprintf(stderr, "%u:%u: %s\n", err.line, err.column, err.message);
    abort();
  }
  return b;
}

/* with_tracks: false leaves the layout's conductors out. */
static inline lu_board *demo_board(lu_arena *mem, bool with_tracks)
{
  lu_err err = {0};
  lu_file file;
  lu_netmerge both;
  lu_netlist *names = demo_netlist(LU_TOP "/docs/demo/tide.net", mem);
  lu_netlist *layout = demo_netlist(LU_TOP "/docs/demo/tide.d356", mem);
  if (!with_tracks)
    layout->track_count = 0;
  if (lu_netmerge_join(names, layout, mem, &both, &err) || lu_file_open(LU_TOP "/docs/demo/tide.yaml", 0, &file, &err))
    abort();
  char *text = lu_arena_text(mem, (const char *)file.bytes.at, file.bytes.len);
  return demo_build(text, both.netlist, mem);
}

/* Places typed in: x y per row, all pins of part P on net N, numbers from 1. */
static inline lu_netlist *points_netlist(const double (*at)[2], size_t count, lu_arena *mem)
{
  lu_netlist *n = LU_NEW(mem, lu_netlist, 1);
  n->parts = LU_NEW(mem, lu_net_part, 1);
  n->parts[0] = (lu_net_part){.ref = "P"};
  n->nets = LU_NEW(mem, lu_net_name, 1);
  n->nets[0] = (lu_net_name){.name = "N", .pin_count = (uint32_t)count};
  n->pins = LU_NEW(mem, lu_net_pin, count);
  n->places = LU_NEW(mem, lu_net_place, count);
  n->part_count = n->net_count = 1;
  n->pin_count = n->place_count = count;
  for (size_t i = 0; i < count; i++) {
    const char *number = lu_arena_printf(mem, "%zu", i + 1);
    n->pins[i] = (lu_net_pin){.number = number};
    n->places[i] = (lu_net_place){.number = number, .x_mm = at[i][0], .y_mm = at[i][1], .hole_mm = 1, .width_mm = 1.5};
  }
  return n;
}

#endif
