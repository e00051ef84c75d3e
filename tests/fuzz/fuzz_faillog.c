/* SPDX-License-Identifier: MIT */
/* Logs of failures: any bytes. */
#include "formats/faillog.h"

#include <stdlib.h>

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
  lu_arena mem = {.max = (size_t)64 << 20};
  lu_err err = {0};
  lu_faillog *log = NULL;
  lu_status s = lu_faillog_read((lu_bytes){data, size}, &mem, &log, &err);
  if ((s == LU_OK) != (log != NULL) || err.status != s)
    abort();
  for (size_t i = 0; log && i < log->count; i++)
    if (!log->at[i].line || !log->at[i].digits || log->at[i].digits > 16)
      abort();
  lu_arena_free(&mem);
  return 0;
}
