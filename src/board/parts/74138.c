/* SPDX-License-Identifier: MIT */
#include "board/parts/parts.h"

static const lu_part_pin pins[] = {
    HIGH(1, "A", INPUT), HIGH(2, "B", INPUT), HIGH(3, "C", INPUT), LOW(4, "G2A#", INPUT),
    LOW(5, "G2B#", INPUT), HIGH(6, "G1", INPUT), LOW(7, "Y7#", OUTPUT), GND(8),
    LOW(9, "Y6#", OUTPUT), LOW(10, "Y5#", OUTPUT), LOW(11, "Y4#", OUTPUT), LOW(12, "Y3#", OUTPUT),
    LOW(13, "Y2#", OUTPUT), LOW(14, "Y1#", OUTPUT), LOW(15, "Y0#", OUTPUT), VCC(16)};

static const lu_cell cells[] = {
    DECODER8(1, 2, 3, LIST8(15, 14, 13, 12, 11, 10, 9, 7), WHEN_LOW(4), WHEN_LOW(5), WHEN_HIGH(6))};

const lu_part_type lu_part_74138 = {
    .name = "74138",
    .summary = "3 to 8 decoder",
    .source = "KiCad symbol libraries (2020), ChipDB pinout lists, pcb layout tool lists "
              "(1994-96): agree",
    .kind = LU_PART_LOGIC,
    PINS(pins),
    CELLS(cells),
};
