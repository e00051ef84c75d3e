/* SPDX-License-Identifier: MIT */
#include "board/parts/parts.h"

static const lu_part_pin pins[] = {
    LOW(1, "OE#", OUTPUT_ENABLE), DQ(2, 1, 0), DQ(3, 2, 1), LOW(4, "W#", WRITE),
    LOW(5, "RAS#", RAS), A(6, 6), A(7, 5), A(8, 4), VCC(9), A(10, 7), A(11, 3), A(12, 2), A(13, 1),
    A(14, 0), DQ(15, 3, 2), LOW(16, "CAS#", CAS), DQ(17, 4, 3), VSS(18)};

const lu_part_type lu_part_41464 = {
    .name = "41464",
    .summary = "64K x 4 dynamic RAM",
    .source = "from memory: same order as the 4416",
    .kind = LU_PART_MEMORY,
    PINS(pins),
    .memory = DRAM(8, 8, 8, 0, 4, 256, 4),
};
