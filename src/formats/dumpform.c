/* SPDX-License-Identifier: MIT */
#include "formats/dumpform.h"

#include <string.h>

#define LU_DUMPFORM(id) extern const lu_dumpform lu_dumpform_##id;
#include "formats/dumpforms.def"
#undef LU_DUMPFORM
#define LU_DUMPFORM(id) &lu_dumpform_##id,
const lu_dumpform *const lu_dumpforms[] = {
#include "formats/dumpforms.def"
};
#undef LU_DUMPFORM
const size_t lu_dumpform_count = sizeof lu_dumpforms / sizeof *lu_dumpforms;

enum { LOOK_AT_MOST = 64 * 1024 };

const lu_dumpform *lu_dumpform_named(const char *name)
{
  for (size_t i = 0; i < lu_dumpform_count; i++)
    if (!strcmp(lu_dumpforms[i]->name, name))
      return lu_dumpforms[i];
  return NULL;
}

const lu_dumpform *lu_dumpform_guess(lu_bytes in)
{
  const lu_dumpform *best = &lu_dumpform_raw;
  int most = 0;
  if (in.len > LOOK_AT_MOST)
    in.len = LOOK_AT_MOST;
  for (size_t i = 0; i < lu_dumpform_count; i++) {
    int sure = lu_dumpforms[i]->recognise ? lu_dumpforms[i]->recognise(in) : 0;
    if (sure > most) {
      most = sure;
      best = lu_dumpforms[i];
    }
  }
  return best;
}
