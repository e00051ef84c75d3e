/* SPDX-License-Identifier: MIT */
#include "board/parts/parts.h"

static const lu_part_pin pins[] = {
    LOW(1, "1G#", INPUT), HIGH(2, "1A1", INPUT), HIGH(3, "2Y4", OUTPUT), HIGH(4, "1A2", INPUT),
    HIGH(5, "2Y3", OUTPUT), HIGH(6, "1A3", INPUT), HIGH(7, "2Y2", OUTPUT), HIGH(8, "1A4", INPUT),
    HIGH(9, "2Y1", OUTPUT), GND(10), HIGH(11, "2A1", INPUT), HIGH(12, "1Y4", OUTPUT),
    HIGH(13, "2A2", INPUT), HIGH(14, "1Y3", OUTPUT), HIGH(15, "2A3", INPUT),
    HIGH(16, "1Y2", OUTPUT), HIGH(17, "2A4", INPUT), HIGH(18, "1Y1", OUTPUT), LOW(19, "2G#", INPUT),
    VCC(20)};

static const lu_cell cells[] = {
    BUFFER(2, 18, WHEN_LOW(1)), BUFFER(4, 16, WHEN_LOW(1)), BUFFER(6, 14, WHEN_LOW(1)),
    BUFFER(8, 12, WHEN_LOW(1)), BUFFER(11, 9, WHEN_LOW(19)), BUFFER(13, 7, WHEN_LOW(19)),
    BUFFER(15, 5, WHEN_LOW(19)), BUFFER(17, 3, WHEN_LOW(19))};

const lu_part_type lu_part_74244 = {
    .name = "74244",
    .summary = "two groups of four three-state buffers",
    .source = "KiCad symbol libraries (2020), ChipDB pinout lists, pcb layout tool lists "
              "(1994-96): agree",
    .kind = LU_PART_LOGIC,
    PINS(pins),
    CELLS(cells),
};
