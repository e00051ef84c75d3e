/* SPDX-License-Identifier: MIT */
/* Signal maps, and the binding of whatever they say to a small capture. */
#include "formats/sigmap.h"
#include "reason/cycles.h"

#include <stdlib.h>

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
  static lu_cap_signal signals[] = {
      {"top.A", "A", LU_CAP_LEVEL, 16, 15, 0, 0, 0, 1, false}, {"top.D", "D", LU_CAP_LEVEL, 8, 7, 0, 16, 1, 2, false},
      {"top.RD", "RD", LU_CAP_LEVEL, 1, -1, -1, 24, 2, 3, false}, {"top.WR", "WR", LU_CAP_LEVEL, 1, -1, -1, 25, 3, 4, false}};
  const lu_cap cap = {"vcd", 4, signals, 1, 1e-9, false};
  lu_arena mem = {.max = (size_t)16 << 20};
  lu_err err = {0};
  lu_sigmap *map = NULL;
  lu_status s = lu_sigmap_read((lu_bytes){data, size}, &mem, &map, &err);
  if ((s == LU_OK) != (map != NULL) || err.status != s)
    abort();
  if (s == LU_OK) {
    lu_cycles *c;
    lu_bind bind = {&cap, map, "map"};
    s = lu_cycles_open(&bind, NULL, NULL, &mem, &c, &err);
    if (s != err.status)
      abort();
  }
  lu_arena_free(&mem);
  return 0;
}
