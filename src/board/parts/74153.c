/* SPDX-License-Identifier: MIT */
#include "board/parts/parts.h"

static const lu_part_pin pins[] = {
    LOW(1, "1G#", INPUT), HIGH(2, "B", INPUT), HIGH(3, "1C3", INPUT), HIGH(4, "1C2", INPUT),
    HIGH(5, "1C1", INPUT), HIGH(6, "1C0", INPUT), HIGH(7, "1Y", OUTPUT), GND(8),
    HIGH(9, "2Y", OUTPUT), HIGH(10, "2C0", INPUT), HIGH(11, "2C1", INPUT), HIGH(12, "2C2", INPUT),
    HIGH(13, "2C3", INPUT), HIGH(14, "A", INPUT), LOW(15, "2G#", INPUT), VCC(16)};

static const lu_cell cells[] = {
    MUX4(LIST4(6, 5, 4, 3), 7, WHEN_LOW(1)), MUX4(LIST4(10, 11, 12, 13), 9, WHEN_LOW(15))};

const lu_part_type lu_part_74153 = {
    .name = "74153",
    .summary = "two 4 to 1 multiplexers",
    .source = "KiCad symbol libraries (2020), ChipDB pinout lists, pcb layout tool lists "
              "(1994-96): agree",
    .kind = LU_PART_LOGIC,
    PINS(pins),
    CELLS(cells),
};
