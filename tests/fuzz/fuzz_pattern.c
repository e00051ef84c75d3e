/* SPDX-License-Identifier: MIT */
/* Any bytes as a pattern file; what is read is expanded a little and measured. */
#include "pattern/pattern.h"

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

static bool take_some(void *user, const lu_operation *ops, size_t count)
{
  size_t *left = user;
  for (size_t i = 0; i < count; i++)
    if (ops[i].kind != LU_OP_WAIT && (ops[i].word >= 9 || ops[i].value & ~ops[i].mask))
      __builtin_trap();
  *left = count < *left ? *left - count : 0;
  return *left > 0;
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
  lu_arena mem = {.max = 1 << 22};
  lu_err err = {0};
  lu_pattern *pattern = NULL;
  lu_status status = lu_pattern_read((lu_bytes){data, size}, &mem, &pattern, &err);
  if ((status == LU_OK) != (pattern != NULL) || err.status != status)
    __builtin_trap();
  const lu_memory block = {.words = 9, .width = 12, .bytes = 2};
  if (pattern && lu_pattern_fits(pattern, &block, &err) == LU_OK) {
    uint16_t image[9];
    size_t left = 5000;
    (void)lu_pattern_operations(pattern, &block, NULL);
    lu_pattern_expand(pattern, &block, LU_UP, take_some, &left);
    bool small = true; /* repeats in an image are honest work, but slow here */
    for (size_t i = 0; i < pattern->op_count; i++)
      small &= pattern->ops[i].repeat < 8;
    if (small)
      lu_pattern_image(pattern, &block, 0, 0, 9, image);
  }
  lu_arena_free(&mem);
  return 0;
}
