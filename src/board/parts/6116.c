/* SPDX-License-Identifier: MIT */
#include "board/parts/parts.h"

static const lu_part_pin pins[] = {
    A(1, 7), A(2, 6), A(3, 5), A(4, 4), A(5, 3), A(6, 2), A(7, 1), A(8, 0), D(9, 0), D(10, 1),
    D(11, 2), GND(12), D(13, 3), D(14, 4), D(15, 5), D(16, 6), D(17, 7), LOW(18, "CS#", SELECT),
    A(19, 10), LOW(20, "OE#", OUTPUT_ENABLE), LOW(21, "WE#", WRITE), A(22, 9), A(23, 8), VCC(24)};

const lu_part_type lu_part_6116 = {
    .name = "6116",
    .summary = "2K x 8 static RAM",
    .source = "KiCad symbol libraries (version 9, M48Tx2), NESdev wiki, 0cjs memory notes after "
              "JEDEC 21-C, Lepton EDA symbols (1.9.18, AM9128): agree",
    .kind = LU_PART_MEMORY,
    PINS(pins),
    .memory = SRAM(11, 8),
};
