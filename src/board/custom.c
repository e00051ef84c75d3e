/* SPDX-License-Identifier: MIT */
/* Memories that are not built in: their shape from the functions of their pins. */
#include "base/text.h"
#include "board/part.h"

#include <string.h>

enum { PINS_MAX = 1024, BITS_MAX = 256 };

/* Pins of one role, by bit. */
typedef struct bits {
  uint16_t count;
  int lowest;
  int16_t pin[BITS_MAX]; /* -1 = no pin */
} bits;

static lu_status collect(const char *name, lu_part_pin *pins, size_t count, lu_pin_role role,
                         bits *out, lu_err *err)
{
  out->count = 0;
  out->lowest = BITS_MAX;
  for (size_t i = 0; i < BITS_MAX; i++)
    out->pin[i] = -1;
  for (size_t i = 0; i < count; i++) {
    int bit = pins[i].index;
    if (pins[i].role != role || bit < 0)
      continue;
    if (out->pin[bit] >= 0)
      return lu_fail(err, LU_ERR_VALUE, 0, 0,
                     "%s: pins %s and %s are both %s; each bit stands on one pin", name,
                     pins[out->pin[bit]].number, pins[i].number, pins[i].function);
    out->pin[bit] = (int16_t)i;
    out->count++;
    if (bit < out->lowest)
      out->lowest = bit;
  }
  return LU_OK;
}

static bool has_role(const lu_part_pin *pins, size_t count, lu_pin_role role)
{
  for (size_t i = 0; i < count; i++)
    if (pins[i].role == role)
      return true;
  return false;
}

static void change_role(lu_part_pin *pins, size_t count, lu_pin_role from, lu_pin_role to,
                        int shift)
{
  for (size_t i = 0; i < count; i++)
    if (pins[i].role == from) {
      pins[i].role = to;
      pins[i].index = (int16_t)(pins[i].index - shift);
    }
}

/* DATA, DATA_IN and DATA_OUT as the names gave them, made consistent: D0.. beside Q0.. are inputs;
 * Q0.. alone are the outputs of a ROM, plain data; DQ1.. without DQ0 count from 1. */
static lu_status settle_data(const char *name, lu_part_pin *pins, size_t count, uint8_t *data_bits,
                             lu_err *err)
{
  bool outputs = has_role(pins, count, LU_ROLE_DATA_OUT);
  if (outputs && has_role(pins, count, LU_ROLE_DATA))
    change_role(pins, count, LU_ROLE_DATA, LU_ROLE_DATA_IN, 0);
  else if (outputs && !has_role(pins, count, LU_ROLE_DATA_IN))
    change_role(pins, count, LU_ROLE_DATA_OUT, LU_ROLE_DATA, 0);
  static const lu_pin_role roles[] = {LU_ROLE_DATA, LU_ROLE_DATA_IN, LU_ROLE_DATA_OUT};
  uint16_t most = 0;
  for (size_t i = 0; i < sizeof roles / sizeof *roles; i++) {
    bits set;
    lu_status status = collect(name, pins, count, roles[i], &set, err);
    if (status)
      return status;
    if (set.count && set.lowest == 1)
      change_role(pins, count, roles[i], roles[i], 1);
    if (set.count > most)
      most = set.count;
  }
  if (most == 0)
    return lu_fail(err, LU_ERR_VALUE, 0, 0,
                   "%s: expected a data pin (D0, DQ0, IO0, DIN, DOUT, Q ...), found none", name);
  *data_bits = (uint8_t)(most > UINT8_MAX ? UINT8_MAX : most);
  return LU_OK;
}

lu_status lu_memory_from_functions(const char *name, const char *const *numbers,
                                   const char *const *functions, size_t count, lu_arena *mem,
                                   lu_part_type **out, lu_err *err)
{
  if (count > PINS_MAX)
    return lu_fail(err, LU_ERR_LIMIT, 0, 0, "%s: %zu pins; at most %d are allowed", name, count,
                   PINS_MAX);
  lu_part_type *type = LU_NEW(mem, lu_part_type, 1);
  lu_part_pin *pins = LU_NEW(mem, lu_part_pin, count ? count : 1);
  if (!type || !pins)
    return lu_fail(err, LU_ERR_NOMEM, 0, 0, "no room for the %zu pins of %s", count, name);
  for (size_t i = 0; i < count; i++) {
    pins[i].number = numbers[i];
    pins[i].function = functions[i] ? functions[i] : "";
    lu_role_of_function(pins[i].function, &pins[i]);
  }
  bits address;
  lu_status status = collect(name, pins, count, LU_ROLE_ADDRESS, &address, err);
  if (!status && address.count == 0)
    status = lu_fail(err, LU_ERR_VALUE, 0, 0,
                     "%s: expected an address pin (A0, A1 ...), found none", name);
  if (!status)
    status = settle_data(name, pins, count, &type->memory.data_bits, err);
  if (status)
    return status;
  type->name = name;
  type->summary = "memory by its pins' functions";
  type->source = "the board file or the netlist";
  type->kind = LU_PART_CUSTOM;
  type->pin_count = (uint16_t)count;
  type->pins = pins;
  lu_memory_shape *shape = &type->memory;
  shape->is_memory = true;
  shape->multiplexed = has_role(pins, count, LU_ROLE_RAS) && has_role(pins, count, LU_ROLE_CAS);
  shape->rom = !has_role(pins, count, LU_ROLE_WRITE);
  shape->address_pins = (uint8_t)(address.count > UINT8_MAX ? UINT8_MAX : address.count);
  if (shape->multiplexed)
    shape->row_bits = shape->column_bits = shape->address_pins;
  *out = type;
  return LU_OK;
}
