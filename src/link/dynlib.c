/* SPDX-License-Identifier: MIT */
#include "link/dynlib.h"

#include <dlfcn.h>
#include <string.h>

lu_status lu_dynlib_load(const char *file, const char *package, const lu_symbol *symbols,
                         size_t count, void *table, lu_err *err)
{
  void *lib = dlopen(file, RTLD_NOW | RTLD_LOCAL);
  if (!lib)
    return lu_fail(err, LU_ERR_DEVICE, 0, 0, "this link needs %s, which is not here; install %s",
                   file, package);
  for (size_t i = 0; i < count; i++) {
    void *at = dlsym(lib, symbols[i].name);
    if (!at) {
      dlclose(lib);
      return lu_fail(err, LU_ERR_DEVICE, 0, 0, "%s has no %s; a newer %s is needed", file,
                     symbols[i].name, package);
    }
    memcpy((char *)table + symbols[i].offset, &at, sizeof at);
  }
  return LU_OK;
}
