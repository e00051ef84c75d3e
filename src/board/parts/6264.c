/* SPDX-License-Identifier: MIT */
#include "board/parts/parts.h"

static const lu_part_pin pins[] = {
    NC(1), A(2, 12), A(3, 7), A(4, 6), A(5, 5), A(6, 4), A(7, 3), A(8, 2), A(9, 1), A(10, 0),
    D(11, 0), D(12, 1), D(13, 2), GND(14), D(15, 3), D(16, 4), D(17, 5), D(18, 6), D(19, 7),
    LOW(20, "CS1#", SELECT), A(21, 10), LOW(22, "OE#", OUTPUT_ENABLE), A(23, 11), A(24, 9),
    A(25, 8), HIGH(26, "CS2", SELECT), LOW(27, "WE#", WRITE), VCC(28)};

const lu_part_type lu_part_6264 = {
    .name = "6264",
    .summary = "8K x 8 static RAM",
    .source = "KiCad symbol libraries (version 9, HY6264), NESdev wiki, 0cjs memory notes "
              "after JEDEC 21-C: agree",
    .kind = LU_PART_MEMORY,
    PINS(pins),
    .memory = SRAM(13, 8),
};
