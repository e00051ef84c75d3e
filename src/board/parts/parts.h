/* SPDX-License-Identifier: MIT */
#ifndef LU_BOARD_PARTS_PARTS_H
#define LU_BOARD_PARTS_PARTS_H
/* The words that the files of built-in parts are written in. For these files only: the names are
 * short because a part is a table that must be read against a data sheet.
 *
 * Everything is constant data laid down by the compiler: nothing is built at start-up. Cells name
 * pins by their number on the package; pins stand in the order of their numbers, so that index =
 * number - 1 (held by a test). */
#include "board/part.h"

#define LU_PART(id) extern const lu_part_type lu_part_##id;
#include "board/parts/parts.def"
#undef LU_PART

/* Pins: number first, then bit or function. */
#define PIN(n, name, what, bit, low) {#n, name, LU_ROLE_##what, bit, low}
#define A(n, bit) {#n, "A" #bit, LU_ROLE_ADDRESS, bit, false}
#define D(n, bit) {#n, "D" #bit, LU_ROLE_DATA, bit, false}
#define DQ(n, label, bit) {#n, "DQ" #label, LU_ROLE_DATA, bit, false}
#define AD(n, bit) {#n, "AD" #bit, LU_ROLE_DATA, bit, false}
#define LOW(n, name, what) {#n, name, LU_ROLE_##what, 0, true}
#define HIGH(n, name, what) {#n, name, LU_ROLE_##what, 0, false}
#define SUPPLY(n, name) {#n, name, LU_ROLE_SUPPLY, 0, false}
#define VCC(n) {#n, "VCC", LU_ROLE_SUPPLY, 0, false}
#define GND(n) {#n, "GND", LU_ROLE_GROUND, 0, false}
#define VSS(n) {#n, "VSS", LU_ROLE_GROUND, 0, false}
#define NC(n) {#n, "NC", LU_ROLE_NONE, 0, false}

/* Fields of the type. */
#define PINS(list) .pin_count = sizeof(list) / sizeof(list)[0], .pins = (list)
#define CELLS(list) .cell_count = sizeof(list) / sizeof(list)[0], .cells = (list)
#define SRAM(address, data) {.is_memory = true, .address_pins = address, .data_bits = data}
#define EPROM(address, data)                                                                       \
  {.is_memory = true, .rom = true, .address_pins = address, .data_bits = data}
#define DRAM(address, row, column, first, data, rows, ms)                                          \
  {.is_memory = true,                                                                              \
   .multiplexed = true,                                                                            \
   .address_pins = address,                                                                        \
   .row_bits = row,                                                                                \
   .column_bits = column,                                                                          \
   .column_first = first,                                                                          \
   .data_bits = data,                                                                              \
   .refresh_rows = rows,                                                                           \
   .refresh_ms = ms}

/* Cells. */
#define AT(n) ((n) - 1)
#define LIST4(a, b, c, d) {AT(a), AT(b), AT(c), AT(d)}
#define LIST8(a, b, c, d, e, f, g, h) {AT(a), AT(b), AT(c), AT(d), AT(e), AT(f), AT(g), AT(h)}
#define WHEN_LOW(n) {AT(n), false}
#define WHEN_HIGH(n) {AT(n), true}
#define ENABLES(...)                                                                               \
  .enable_count = sizeof((const lu_pin_level[]){__VA_ARGS__}) / sizeof(lu_pin_level),              \
  .enables = {__VA_ARGS__}

#define GATE2(what, inv, a, b, y)                                                                  \
  {.kind = LU_CELL_##what,                                                                         \
   .inverted = inv,                                                                                \
   .input_count = 2,                                                                               \
   .output_count = 1,                                                                              \
   .inputs = {AT(a), AT(b)},                                                                       \
   .outputs = {AT(y)}}
#define AND2(a, b, y) GATE2(AND, false, a, b, y)
#define NAND2(a, b, y) GATE2(AND, true, a, b, y)
#define OR2(a, b, y) GATE2(OR, false, a, b, y)
#define ONE_TO_ONE(what, inv, a, y)                                                                \
  .kind = LU_CELL_##what, .inverted = inv, .input_count = 1, .output_count = 1,                    \
  .inputs = {AT(a)}, .outputs = {AT(y)}
#define INVERTER(a, y) {ONE_TO_ONE(AND, true, a, y)}
#define BUFFER(a, y, ...) {ONE_TO_ONE(AND, false, a, y), ENABLES(__VA_ARGS__)}
#define BUFFER_NOT(a, y, ...) {ONE_TO_ONE(AND, true, a, y), ENABLES(__VA_ARGS__)}
/* Output enable on pin 1, gate or clock on pin 11: all 20-pin parts of this kind. */
#define LATCH(d, q)                                                                                \
  {ONE_TO_ONE(LATCH, false, d, q), ENABLES(WHEN_LOW(1)), .gate = WHEN_HIGH(11), .has_gate = true}
#define REGISTER(d, q)                                                                             \
  {ONE_TO_ONE(REGISTER, false, d, q), ENABLES(WHEN_LOW(1)), .gate = WHEN_HIGH(11), .has_gate = true}
/* Direction on pin 1, output enable on pin 19: all 20-pin parts of this kind. */
#define TRANSCEIVER(a, b, inv)                                                                     \
  {ONE_TO_ONE(TRANSCEIVER, inv, a, b), ENABLES(WHEN_LOW(19)), .gate = WHEN_HIGH(1),                \
   .has_gate = true}
/* Two cells: Q and its inverse. */
#define FLIP_FLOP(d, clock, q, not_q, preset, clear)                                               \
  {ONE_TO_ONE(REGISTER, false, d, q),                                                              \
   ENABLES(WHEN_HIGH(preset), WHEN_HIGH(clear)),                                                   \
   .gate = WHEN_HIGH(clock),                                                                       \
   .has_gate = true,                                                                               \
   .off = LU_OFF_LOW},                                                                             \
  {                                                                                                \
    ONE_TO_ONE(REGISTER, true, d, not_q), ENABLES(WHEN_HIGH(preset), WHEN_HIGH(clear)),            \
        .gate = WHEN_HIGH(clock), .has_gate = true, .off = LU_OFF_HIGH                             \
  }
/* Select on pin 1, enable (low) on pin 15: all 16-pin parts of this kind. */
#define MUX2(a, b, y, inv, when_off)                                                               \
  {.kind = LU_CELL_MUX,                                                                            \
   .inverted = inv,                                                                                \
   .input_count = 2,                                                                               \
   .output_count = 1,                                                                              \
   .select_count = 1,                                                                              \
   .inputs = {AT(a), AT(b)},                                                                       \
   .outputs = {AT(y)},                                                                             \
   .select = {AT(1)},                                                                              \
   ENABLES(WHEN_LOW(15)),                                                                          \
   .off = when_off}
/* Selects A on pin 14 (low bit), B on pin 2; the list is in the order of the number selected. */
#define MUX4(list, y, ...)                                                                         \
  {.kind = LU_CELL_MUX,                                                                            \
   .input_count = 4,                                                                               \
   .output_count = 1,                                                                              \
   .select_count = 2,                                                                              \
   .inputs = list,                                                                                 \
   .outputs = {AT(y)},                                                                             \
   .select = {AT(14), AT(2)},                                                                      \
   ENABLES(__VA_ARGS__),                                                                           \
   .off = LU_OFF_LOW}
/* Selects A on pin 11 (low bit), B on 10, C on 9; enable (low) on pin 7. */
#define MUX8(list, y, inv, when_off)                                                               \
  {.kind = LU_CELL_MUX,                                                                            \
   .inverted = inv,                                                                                \
   .input_count = 8,                                                                               \
   .output_count = 1,                                                                              \
   .select_count = 3,                                                                              \
   .inputs = list,                                                                                 \
   .outputs = {AT(y)},                                                                             \
   .select = {AT(11), AT(10), AT(9)},                                                              \
   ENABLES(WHEN_LOW(7)),                                                                           \
   .off = when_off}
/* Low bit first; outputs are low when selected, in the order of the number selected. */
#define DECODER4(a, b, list, ...)                                                                  \
  {.kind = LU_CELL_DECODER,                                                                        \
   .inverted = true,                                                                               \
   .output_count = 4,                                                                              \
   .select_count = 2,                                                                              \
   .outputs = list,                                                                                \
   .select = {AT(a), AT(b)},                                                                       \
   ENABLES(__VA_ARGS__),                                                                           \
   .off = LU_OFF_HIGH}
#define DECODER8(a, b, c, list, ...)                                                               \
  {.kind = LU_CELL_DECODER,                                                                        \
   .inverted = true,                                                                               \
   .output_count = 8,                                                                              \
   .select_count = 3,                                                                              \
   .outputs = list,                                                                                \
   .select = {AT(a), AT(b), AT(c)},                                                                \
   ENABLES(__VA_ARGS__),                                                                           \
   .off = LU_OFF_HIGH}

#endif
