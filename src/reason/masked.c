/* SPDX-License-Identifier: MIT */
#include "reason/masked.h"

#include <string.h>

static uint64_t effect_of(const lu_joint *j, const lu_fault *faults, size_t count, lu_level undriven, bool *wide)
{
  uint64_t all = 0;
  for (size_t r = 0; r < j->look_count; r++) {
    uint64_t hash;
    bool w, floats;
    bool compiled = lu_joint_compile(j, r, faults, count, undriven, &hash, &w, &floats);
    *wide |= w;
    all = (all ^ (compiled ? hash : 0)) * 0x9e3779b97f4a7c15u + r + 1;
  }
  return all;
}

static bool touches(const lu_explanation *e, uint16_t net)
{
  for (size_t i = 0; i < e->count; i++)
    if (e->faults[i].kind < LU_FAULT_DEAD && (e->faults[i].net == net || e->faults[i].net2 == net))
      return true;
  return false;
}

void lu_masked_nets(const lu_joint *j, const lu_explanation *e, bool *masked)
{
  bool wide = false;
  uint64_t with = effect_of(j, e->faults, e->count, e->undriven, &wide), none = effect_of(j, NULL, 0, e->undriven, &wide);
  for (uint16_t n = 0; n < j->net_count; n++) {
    masked[n] = false;
    if (j->nets[n].constant || wide || touches(e, n))
      continue;
    bool alone = false, hidden = true;
    for (unsigned level = LU_LEVEL_LOW; level <= LU_LEVEL_HIGH; level++) {
      lu_fault faults[LU_FAULTS_MOST + 2];
      memcpy(faults, e->faults, e->count * sizeof *faults);
      faults[e->count] = (lu_fault){.kind = LU_FAULT_STUCK, .net = n, .level = (uint8_t)level};
      bool w = false;
      alone |= effect_of(j, &faults[e->count], 1, e->undriven, &w) != none;
      hidden &= effect_of(j, faults, e->count + 1, e->undriven, &w) == with && !w;
    }
    masked[n] = alone && hidden;
  }
}
