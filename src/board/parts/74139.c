/* SPDX-License-Identifier: MIT */
#include "board/parts/parts.h"

static const lu_part_pin pins[] = {
    LOW(1, "1G#", INPUT), HIGH(2, "1A", INPUT), HIGH(3, "1B", INPUT), LOW(4, "1Y0#", OUTPUT),
    LOW(5, "1Y1#", OUTPUT), LOW(6, "1Y2#", OUTPUT), LOW(7, "1Y3#", OUTPUT), GND(8),
    LOW(9, "2Y3#", OUTPUT), LOW(10, "2Y2#", OUTPUT), LOW(11, "2Y1#", OUTPUT),
    LOW(12, "2Y0#", OUTPUT), HIGH(13, "2B", INPUT), HIGH(14, "2A", INPUT), LOW(15, "2G#", INPUT),
    VCC(16)};

static const lu_cell cells[] = {
    DECODER4(2, 3, LIST4(4, 5, 6, 7), WHEN_LOW(1)),
    DECODER4(14, 13, LIST4(12, 11, 10, 9), WHEN_LOW(15))};

const lu_part_type lu_part_74139 = {
    .name = "74139",
    .summary = "two 2 to 4 decoders",
    .source = "KiCad symbol libraries (2020), ChipDB pinout lists, pcb layout tool lists "
              "(1994-96): agree",
    .kind = LU_PART_LOGIC,
    PINS(pins),
    CELLS(cells),
};
