/* SPDX-License-Identifier: MIT */
/* Preset and clear both end the following of D; the level then given is that of clear. */
#include "board/parts/parts.h"

static const lu_part_pin pins[] = {
    LOW(1, "1CLR#", INPUT), HIGH(2, "1D", INPUT), HIGH(3, "1CLK", INPUT), LOW(4, "1PRE#", INPUT),
    HIGH(5, "1Q", OUTPUT), LOW(6, "1Q#", OUTPUT), GND(7), LOW(8, "2Q#", OUTPUT),
    HIGH(9, "2Q", OUTPUT), LOW(10, "2PRE#", INPUT), HIGH(11, "2CLK", INPUT), HIGH(12, "2D", INPUT),
    LOW(13, "2CLR#", INPUT), VCC(14)};

static const lu_cell cells[] = {
    FLIP_FLOP(2, 3, 5, 6, 4, 1), FLIP_FLOP(12, 11, 9, 8, 10, 13)};

const lu_part_type lu_part_7474 = {
    .name = "7474",
    .summary = "two D flip-flops with preset and clear",
    .source = "KiCad symbol libraries (2020), ChipDB pinout lists, pcb layout tool lists "
              "(1994-96): agree",
    .kind = LU_PART_LOGIC,
    PINS(pins),
    CELLS(cells),
};
