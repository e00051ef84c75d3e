/* SPDX-License-Identifier: MIT */
#include "cli/cmd.h"

typedef struct args {
  lu_texts operands;
} args;

static int decode(lu_run *run, void *opaque)
{
  (void)opaque;
  return lu_say_usage(run, "decode is being built");
}

const lu_command lu_command_decode = {
    .name = "decode",
    .summary = "work out which nets and pins would give what was read",
    .usage = "[OPTION ...] DUMP...",
    .args_size = sizeof(args),
    .operands_offset = offsetof(args, operands),
    .least_operands = 0,
    .most_operands = LU_TEXTS_MOST,
    .run = decode,
};
