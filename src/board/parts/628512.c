/* SPDX-License-Identifier: MIT */
#include "board/parts/parts.h"

static const lu_part_pin pins[] = {
    A(1, 18), A(2, 16), A(3, 14), A(4, 12), A(5, 7), A(6, 6), A(7, 5), A(8, 4), A(9, 3), A(10, 2),
    A(11, 1), A(12, 0), D(13, 0), D(14, 1), D(15, 2), GND(16), D(17, 3), D(18, 4), D(19, 5),
    D(20, 6), D(21, 7), LOW(22, "CS#", SELECT), A(23, 10), LOW(24, "OE#", OUTPUT_ENABLE), A(25, 11),
    A(26, 9), A(27, 8), A(28, 13), LOW(29, "WE#", WRITE), A(30, 17), A(31, 15), VCC(32)};

const lu_part_type lu_part_628512 = {
    .name = "628512",
    .summary = "512K x 8 static RAM",
    .source = "KiCad symbol libraries (2020, AS6C4008), ChipDB pinout lists, Lepton EDA symbols "
              "(1.9.18): agree",
    .kind = LU_PART_MEMORY,
    PINS(pins),
    .memory = SRAM(19, 8),
};
