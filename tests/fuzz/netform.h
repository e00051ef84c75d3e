/* SPDX-License-Identifier: MIT */
#ifndef LU_TESTS_FUZZ_NETFORM_H
#define LU_TESTS_FUZZ_NETFORM_H
/* What all fuzz targets of the netlist forms check. */
#include "formats/netform.h"
#include "formats/netmerge.h"

#include <string.h>

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

static inline void fuzz_netlist_holds(const lu_netlist *n)
{
  volatile size_t use = 0; /* the result is looked at, so that nothing is left out */
  for (size_t i = 0; i < n->net_count; i++) {
    use += strlen(n->nets[i].name);
    if (n->nets[i].first_pin + n->nets[i].pin_count > n->pin_count)
      __builtin_trap();
    for (uint32_t k = 0; k < n->nets[i].pin_count; k++) {
      const lu_net_pin *p = &n->pins[n->nets[i].first_pin + k];
      if (p->net != i || p->part >= n->part_count)
        __builtin_trap();
      use += strlen(p->number) + (p->function ? strlen(p->function) : 0);
    }
  }
  for (size_t i = 0; i < n->part_count; i++)
    use += strlen(n->parts[i].ref) + (n->parts[i].value ? strlen(n->parts[i].value) : 0);
  for (size_t i = 0; i < n->place_count; i++)
    if (n->places[i].net >= n->net_count ||
        (n->places[i].part != UINT32_MAX && n->places[i].part >= n->part_count))
      __builtin_trap();
  for (size_t i = 0; i < n->note_count; i++)
    use += strlen(n->notes[i]);
  (void)use;
}

static inline int fuzz_netform(const lu_netform *form, const uint8_t *data, size_t size)
{
  lu_arena mem = {.max = (size_t)64 << 20};
  lu_err err = {0};
  lu_netlist *n = NULL;
  lu_netmerge m = {0};
  (void)lu_netform_guess((lu_bytes){data, size});
  lu_status status = form->read((lu_bytes){data, size}, &mem, &n, &err);
  if ((status == LU_OK) != (n != NULL) || err.status != status)
    __builtin_trap();
  if (n) {
    fuzz_netlist_holds(n);
    if (lu_netmerge_join(n, n, &mem, &m, &err) == LU_OK)
      fuzz_netlist_holds(m.netlist);
  }
  lu_arena_free(&mem);
  return 0;
}

#endif
