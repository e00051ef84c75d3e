/* SPDX-License-Identifier: MIT */
#include "board/parts/parts.h"

static const lu_part_pin pins[] = {
    LOW(1, "G1#", INPUT), HIGH(2, "A1", INPUT), HIGH(3, "A2", INPUT), HIGH(4, "A3", INPUT),
    HIGH(5, "A4", INPUT), HIGH(6, "A5", INPUT), HIGH(7, "A6", INPUT), HIGH(8, "A7", INPUT),
    HIGH(9, "A8", INPUT), GND(10), HIGH(11, "Y8", OUTPUT), HIGH(12, "Y7", OUTPUT),
    HIGH(13, "Y6", OUTPUT), HIGH(14, "Y5", OUTPUT), HIGH(15, "Y4", OUTPUT), HIGH(16, "Y3", OUTPUT),
    HIGH(17, "Y2", OUTPUT), HIGH(18, "Y1", OUTPUT), LOW(19, "G2#", INPUT), VCC(20)};

static const lu_cell cells[] = {
    BUFFER(2, 18, WHEN_LOW(1), WHEN_LOW(19)), BUFFER(3, 17, WHEN_LOW(1), WHEN_LOW(19)),
    BUFFER(4, 16, WHEN_LOW(1), WHEN_LOW(19)), BUFFER(5, 15, WHEN_LOW(1), WHEN_LOW(19)),
    BUFFER(6, 14, WHEN_LOW(1), WHEN_LOW(19)), BUFFER(7, 13, WHEN_LOW(1), WHEN_LOW(19)),
    BUFFER(8, 12, WHEN_LOW(1), WHEN_LOW(19)), BUFFER(9, 11, WHEN_LOW(1), WHEN_LOW(19))};

const lu_part_type lu_part_74541 = {
    .name = "74541",
    .summary = "eight three-state buffers",
    .source = "KiCad symbol libraries (2020), ChipDB pinout lists, pcb layout tool lists "
              "(1994-96): agree",
    .kind = LU_PART_LOGIC,
    PINS(pins),
    CELLS(cells),
};
