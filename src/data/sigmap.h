/* SPDX-License-Identifier: MIT */
#ifndef LU_DATA_SIGMAP_H
#define LU_DATA_SIGMAP_H
/* What the signals of a capture mean: by name, before any capture is there. Plain values; read from
 * a map file, or filled from a board's vantage. Texts are ended by NUL and borrowed. */
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

enum { LU_SIG_BITS_MOST = 64, LU_SIG_STROBES_MOST = 8, LU_SIG_ANY_MOST = 8, LU_SIG_LANES_MOST = 8 };

/* A wanted signal: a name, with other names for the same thing (net, pin function). */
typedef struct lu_sig_name {
  const char *name;           /* NULL: not used */
  const char *const *also;    /* [also_count] */
  size_t also_count;
  uint32_t line, column;      /* where the map says so; 0 = nowhere */
} lu_sig_name;

/* Least significant first. A name that means a signal of several bits stands for all of them. */
typedef struct lu_sig_bus {
  size_t count;
  lu_sig_name *names;
} lu_sig_bus;

typedef struct lu_sig_line {
  lu_sig_name signal;
  bool active_high;
} lu_sig_line;

/* Active while any of its lines is active; a cycle happens where it ends, if all of when hold. */
typedef struct lu_sig_strobe {
  const char *name;           /* "read", "io write" */
  bool writes;
  size_t line_count, when_count;
  lu_sig_line lines[LU_SIG_ANY_MOST], when[LU_SIG_ANY_MOST];
} lu_sig_strobe;

/* Data bits [first, first + bits) count only in cycles in which line is active. */
typedef struct lu_sig_lane {
  lu_sig_line line;
  unsigned first, bits;
} lu_sig_lane;

typedef struct lu_sig_rename {
  const char *from, *to;      /* the capture's name, the name used elsewhere (pin or net) */
  uint32_t line, column;
} lu_sig_rename;

typedef struct lu_sigmap {
  size_t rename_count;
  lu_sig_rename *renames;
  lu_sig_bus address;         /* or: */
  lu_sig_bus row, column;     /* a multiplexed address; the whole address = row above column */
  lu_sig_bus data;            /* both ways; or: */
  lu_sig_bus data_in, data_out; /* as the memory sees them: in is written */
  size_t strobe_count;
  lu_sig_strobe strobes[LU_SIG_STROBES_MOST];
  size_t lane_count;
  lu_sig_lane lanes[LU_SIG_LANES_MOST];
  lu_sig_line wait;           /* a cycle is held up while it is active */
  lu_sig_name clock;
  lu_sig_line ras;            /* dynamic memory; then strobes are not needed */
  size_t cas_count;
  lu_sig_lane cas[LU_SIG_LANES_MOST]; /* bits 0: the whole word */
  lu_sig_line write, output;  /* write enable; output enable if there is one */
  uint32_t refresh_rows;      /* 0: no refresh check */
  double refresh_ms;
  double setup_address_ns, setup_data_ns;
} lu_sigmap;

#endif
