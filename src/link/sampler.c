/* SPDX-License-Identifier: MIT */
#include "link/sampler.h"

#include <ctype.h>
#include <inttypes.h>
#include <stdio.h>
#include <string.h>

static lu_status add(lu_inflow *out, const char *text, lu_err *err)
{
  return lu_inflow_add(out, text, strlen(text), err);
}

static lu_status header(const char *const *names, size_t count, lu_inflow *out, lu_err *err)
{
  lu_status s = add(out, "$timescale 1 ns $end\n$scope module sampled $end\n", err);
  for (size_t i = 0; s == LU_OK && i < 8; i++) {
    char own[16], text[160];
    snprintf(own, sizeof own, "line%zu", i);
    const char *name = i < count ? names[i] : own;
    for (const char *p = name; *p; p++)
      if (!isgraph((unsigned char)*p) || *p == '$')
        return lu_fail(err, LU_ERR_USAGE, 0, 0, "a line's name is letters and digits, found '%.40s'",
                       name);
    if (!*name || strlen(name) > 64)
      return lu_fail(err, LU_ERR_USAGE, 0, 0, "a line's name has 1 to 64 characters");
    snprintf(text, sizeof text, "$var wire 1 %c %s $end\n", (char)('a' + i), name);
    s = add(out, text, err);
  }
  return s == LU_OK ? add(out, "$upscope $end\n$enddefinitions $end\n", err) : s;
}

lu_status lu_sampler_vcd(lu_bytes samples, uint32_t rate_hz, const char *const *names, size_t count,
                         lu_inflow *out, lu_err *err)
{
  lu_status s = header(names, count, out, err);
  char text[64];
  for (size_t i = 0; s == LU_OK && i < samples.len; i++) {
    uint8_t change = i ? samples.at[i] ^ samples.at[i - 1] : 0xFF;
    if (!change)
      continue;
    snprintf(text, sizeof text, "#%" PRIu64 "\n", (uint64_t)i * 1000000000u / rate_hz);
    s = add(out, text, err);
    for (unsigned k = 0; s == LU_OK && k < 8; k++)
      if (change >> k & 1) {
        snprintf(text, sizeof text, "%d%c\n", samples.at[i] >> k & 1, (char)('a' + k));
        s = add(out, text, err);
      }
  }
  if (s == LU_OK) {
    snprintf(text, sizeof text, "#%" PRIu64 "\n", (uint64_t)samples.len * 1000000000u / rate_hz);
    s = add(out, text, err);
  }
  return s;
}
