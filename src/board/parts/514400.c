/* SPDX-License-Identifier: MIT */
#include "board/parts/parts.h"

static const lu_part_pin pins[] = {
    DQ(1, 1, 0), DQ(2, 2, 1), LOW(3, "W#", WRITE), LOW(4, "RAS#", RAS), A(5, 9), A(6, 0), A(7, 1),
    A(8, 2), A(9, 3), VCC(10), A(11, 4), A(12, 5), A(13, 6), A(14, 7), A(15, 8),
    LOW(16, "OE#", OUTPUT_ENABLE), LOW(17, "CAS#", CAS), DQ(18, 3, 2), DQ(19, 4, 3), VSS(20)};

const lu_part_type lu_part_514400 = {
    .name = "514400",
    .summary = "1M x 4 dynamic RAM",
    .source = "one source: KiCad symbol libraries (2020, 4C4001)",
    .kind = LU_PART_MEMORY,
    PINS(pins),
    .memory = DRAM(10, 10, 10, 0, 4, 1024, 16),
};
