/* SPDX-License-Identifier: MIT */
#include "board/parts/parts.h"

static const lu_part_pin pins[] = {
    LOW(1, "OE#", INPUT), HIGH(2, "1D", INPUT), HIGH(3, "2D", INPUT), HIGH(4, "3D", INPUT),
    HIGH(5, "4D", INPUT), HIGH(6, "5D", INPUT), HIGH(7, "6D", INPUT), HIGH(8, "7D", INPUT),
    HIGH(9, "8D", INPUT), GND(10), HIGH(11, "LE", INPUT), HIGH(12, "8Q", OUTPUT),
    HIGH(13, "7Q", OUTPUT), HIGH(14, "6Q", OUTPUT), HIGH(15, "5Q", OUTPUT), HIGH(16, "4Q", OUTPUT),
    HIGH(17, "3Q", OUTPUT), HIGH(18, "2Q", OUTPUT), HIGH(19, "1Q", OUTPUT), VCC(20)};

static const lu_cell cells[] = {
    LATCH(2, 19), LATCH(3, 18), LATCH(4, 17), LATCH(5, 16), LATCH(6, 15), LATCH(7, 14),
    LATCH(8, 13), LATCH(9, 12)};

const lu_part_type lu_part_74573 = {
    .name = "74573",
    .summary = "eight latches, three-state, pins side by side",
    .source = "KiCad symbol libraries (2020), ChipDB pinout lists, pcb layout tool lists "
              "(1994-96): agree",
    .kind = LU_PART_LOGIC,
    PINS(pins),
    CELLS(cells),
};
