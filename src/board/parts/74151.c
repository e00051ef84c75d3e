/* SPDX-License-Identifier: MIT */
#include "board/parts/parts.h"

static const lu_part_pin pins[] = {
    HIGH(1, "D3", INPUT), HIGH(2, "D2", INPUT), HIGH(3, "D1", INPUT), HIGH(4, "D0", INPUT),
    HIGH(5, "Y", OUTPUT), HIGH(6, "W", OUTPUT), LOW(7, "G#", INPUT), GND(8), HIGH(9, "C", INPUT),
    HIGH(10, "B", INPUT), HIGH(11, "A", INPUT), HIGH(12, "D7", INPUT), HIGH(13, "D6", INPUT),
    HIGH(14, "D5", INPUT), HIGH(15, "D4", INPUT), VCC(16)};

static const lu_cell cells[] = {
    MUX8(LIST8(4, 3, 2, 1, 15, 14, 13, 12), 5, false, LU_OFF_LOW),
    MUX8(LIST8(4, 3, 2, 1, 15, 14, 13, 12), 6, true, LU_OFF_HIGH)};

const lu_part_type lu_part_74151 = {
    .name = "74151",
    .summary = "8 to 1 multiplexer",
    .source = "KiCad symbol libraries (2020), ChipDB pinout lists, pcb layout tool lists "
              "(1994-96): agree",
    .kind = LU_PART_LOGIC,
    PINS(pins),
    CELLS(cells),
};
