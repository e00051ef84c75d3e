/* SPDX-License-Identifier: MIT */
/* Value fields, pin functions and references out of anything. Lines of the input: a reference, a
 * value, then pin functions. */
#include "board/part.h"

#include <string.h>

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

enum { LINES_MAX = 80 };

static void check(bool holds)
{
  if (!holds)
    __builtin_trap();
}

/* A type from pins' functions is consistent in itself. */
static void check_memory(const lu_part_type *type, size_t count)
{
  check(type->memory.is_memory && type->pin_count == count && type->memory.data_bits > 0);
  for (int p = 0; p < type->pin_count; p++)
    check(type->pins[p].function && type->pins[p].index >= -1);
}

static void check_wires(const lu_part_type *type)
{
  for (int i = 0; i < type->cell_count; i++) {
    const lu_cell *cell = &type->cells[i];
    check(cell->inputs[0] < type->pin_count && cell->outputs[0] < type->pin_count &&
          cell->inputs[0] != cell->outputs[0]);
  }
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
  lu_arena mem = {.max = 1 << 20};
  lu_err err = {0};
  char *lines[LINES_MAX];
  size_t count = 0;
  char *text = lu_arena_text(&mem, (const char *)data, size);
  for (char *at = text; at && count < LINES_MAX;) {
    lines[count++] = at;
    at = strchr(at, '\n');
    if (at)
      *at++ = '\0';
  }
  for (size_t i = 0; i < count; i++) {
    const lu_part_type *type = lu_part_recognise(lines[i]);
    check(!type || lu_part_named(type->name) == type);
    check(lu_function_same(lines[i], lines[i]));
    check(lu_function_same(lines[i], lines[0]) == lu_function_same(lines[0], lines[i]));
    int pin = lu_part_pin_by_function(lu_part_types[size % lu_part_type_count], lines[i]);
    check(pin >= -1 && pin < lu_part_types[size % lu_part_type_count]->pin_count);
  }
  if (count > 2) {
    lu_part_type *memory = NULL;
    const lu_part_type *passive = NULL;
    const char *const *rest = (const char *const *)(lines + 2);
    lu_status status =
        lu_memory_from_functions(lines[0], rest, rest, count - 2, &mem, &memory, &err);
    check((status == LU_OK) == (memory != NULL) && err.status == status);
    if (memory)
      check_memory(memory, count - 2);
    status = lu_passive_type(lines[0], lines[1], rest, count - 2, &mem, &passive);
    if (status == LU_OK && passive)
      check_wires(passive);
  }
  lu_arena_free(&mem);
  return 0;
}
