/* SPDX-License-Identifier: MIT */
#include "board/parts/parts.h"

static const lu_part_pin pins[] = {
    SUPPLY(1, "VBB(-5V)"), HIGH(2, "D", DATA_IN), LOW(3, "W#", WRITE), LOW(4, "RAS#", RAS), A(5, 0),
    A(6, 2), A(7, 1), SUPPLY(8, "VDD(+12V)"), SUPPLY(9, "VCC(+5V)"), A(10, 5), A(11, 4), A(12, 3),
    A(13, 6), HIGH(14, "Q", DATA_OUT), LOW(15, "CAS#", CAS), VSS(16)};

const lu_part_type lu_part_4116 = {
    .name = "4116",
    .summary = "16K x 1 dynamic RAM, three supplies",
    .source = "one source for the signals: KiCad symbol libraries (version 9, MK4116N), same order as "
              "the 4164; supplies agree with the 0cjs memory notes",
    .kind = LU_PART_MEMORY,
    PINS(pins),
    .memory = DRAM(7, 7, 7, 0, 1, 128, 2),
};
