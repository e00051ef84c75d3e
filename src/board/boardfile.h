/* SPDX-License-Identifier: MIT */
#ifndef LU_BOARD_BOARDFILE_H
#define LU_BOARD_BOARDFILE_H
/* The board file (YAML) as plain values, before anything in it is looked up. Each text keeps its
 * place, so that later stages can point at it. Described in docs/board-file.md. */
#include "base/yaml.h"

typedef struct lu_file_net {
  lu_spot name;
  lu_spots pins; /* "U8.40" */
} lu_file_net;

typedef struct lu_file_pass {
  lu_spot from, to;  /* pin functions or numbers of the part */
  lu_spot phase;     /* row, column or not given */
  bool inverted;
  bool both_ways;    /* direction: both */
} lu_file_pass;

typedef struct lu_file_pin {
  lu_spot function, number;
} lu_file_pin;

typedef struct lu_file_part {
  lu_spot ref, type;
  size_t pin_count;
  lu_file_pin *pins;
  size_t pass_count;
  lu_file_pass *passes;
} lu_file_part;

typedef struct lu_file_strobe {
  lu_spot name, pin;
  bool active_low;
} lu_file_strobe;

typedef struct lu_file_vantage {
  lu_spot name, at;
  lu_spots address;             /* plain, least significant first */
  lu_spots row, column;         /* or multiplexed */
  lu_spots data;
  bool big_endian;
  size_t strobe_count;
  lu_file_strobe *strobes;
} lu_file_vantage;

typedef struct lu_file_block {
  lu_spot name, seen_from;
  uint64_t base, size; /* bytes */
  bool rom;
  lu_spots chips;
  uint32_t line, column;
} lu_file_block;

typedef struct lu_file_damage {
  lu_spot around;       /* part, or NULL */
  double radius_mm;
  double at_mm[2];      /* centre when around is NULL and has_at */
  bool has_at;
  lu_spots nets, parts; /* named outright */
  size_t corner_count;  /* polygon */
  double (*corners_mm)[2];
} lu_file_damage;

typedef struct lu_file_prior {
  lu_spot name;
  double value;
} lu_file_prior;

typedef struct lu_boardfile {
  const char *path;
  lu_spot title, netlist, layout;
  size_t net_count;
  lu_file_net *nets;
  size_t part_count;
  lu_file_part *parts;
  lu_spots sockets;
  size_t vantage_count;
  lu_file_vantage *vantages;
  size_t block_count;
  lu_file_block *blocks;
  size_t damage_count;
  lu_file_damage *damage;
  size_t prior_count;
  lu_file_prior *priors;
} lu_boardfile;

/* Reads a board file. Unknown keys are refused by name with the nearest known key. Ranges such as
 * A1-A16 are already expanded. ERR_SYNTAX, ERR_VALUE with line and column; ERR_LIMIT; ERR_NOMEM. */
LU_MUST_USE lu_status lu_boardfile_read(lu_bytes in, const char *path, lu_arena *mem,
                                        lu_boardfile **out, lu_err *err);

#endif
