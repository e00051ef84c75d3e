/* SPDX-License-Identifier: MIT */
#include "board/parts/parts.h"

static const lu_part_pin pins[] = {
    LOW(1, "OE#", INPUT), HIGH(2, "1D", INPUT), HIGH(3, "2D", INPUT), HIGH(4, "3D", INPUT),
    HIGH(5, "4D", INPUT), HIGH(6, "5D", INPUT), HIGH(7, "6D", INPUT), HIGH(8, "7D", INPUT),
    HIGH(9, "8D", INPUT), GND(10), HIGH(11, "CLK", INPUT), HIGH(12, "8Q", OUTPUT),
    HIGH(13, "7Q", OUTPUT), HIGH(14, "6Q", OUTPUT), HIGH(15, "5Q", OUTPUT), HIGH(16, "4Q", OUTPUT),
    HIGH(17, "3Q", OUTPUT), HIGH(18, "2Q", OUTPUT), HIGH(19, "1Q", OUTPUT), VCC(20)};

static const lu_cell cells[] = {
    REGISTER(2, 19), REGISTER(3, 18), REGISTER(4, 17), REGISTER(5, 16), REGISTER(6, 15),
    REGISTER(7, 14), REGISTER(8, 13), REGISTER(9, 12)};

const lu_part_type lu_part_74574 = {
    .name = "74574",
    .summary = "eight flip-flops, three-state, pins side by side",
    .source = "KiCad symbol libraries (2020), ChipDB pinout lists, pcb layout tool lists "
              "(1994-96): agree",
    .kind = LU_PART_LOGIC,
    PINS(pins),
    CELLS(cells),
};
