/* SPDX-License-Identifier: MIT */
/* Any bytes as edif: read whole or refused with a message; every index stays inside. */
#include "netform.h"

extern const lu_netform lu_netform_edif;

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
  return fuzz_netform(&lu_netform_edif, data, size);
}
