/* SPDX-License-Identifier: MIT */
#include "board/parts/parts.h"

static const lu_part_pin pins[] = {
    LOW(1, "OE#", INPUT), HIGH(2, "1Q", OUTPUT), HIGH(3, "1D", INPUT), HIGH(4, "2D", INPUT),
    HIGH(5, "2Q", OUTPUT), HIGH(6, "3Q", OUTPUT), HIGH(7, "3D", INPUT), HIGH(8, "4D", INPUT),
    HIGH(9, "4Q", OUTPUT), GND(10), HIGH(11, "CLK", INPUT), HIGH(12, "5Q", OUTPUT),
    HIGH(13, "5D", INPUT), HIGH(14, "6D", INPUT), HIGH(15, "6Q", OUTPUT), HIGH(16, "7Q", OUTPUT),
    HIGH(17, "7D", INPUT), HIGH(18, "8D", INPUT), HIGH(19, "8Q", OUTPUT), VCC(20)};

static const lu_cell cells[] = {
    REGISTER(3, 2), REGISTER(4, 5), REGISTER(7, 6), REGISTER(8, 9), REGISTER(13, 12),
    REGISTER(14, 15), REGISTER(17, 16), REGISTER(18, 19)};

const lu_part_type lu_part_74374 = {
    .name = "74374",
    .summary = "eight flip-flops, three-state",
    .source = "KiCad symbol libraries (2020), ChipDB pinout lists, pcb layout tool lists "
              "(1994-96): agree",
    .kind = LU_PART_LOGIC,
    PINS(pins),
    CELLS(cells),
};
