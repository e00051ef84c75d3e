/* SPDX-License-Identifier: MIT */
#include "board/parts/parts.h"

static const lu_part_pin pins[] = {
    HIGH(1, "D", DATA_IN), LOW(2, "W#", WRITE), LOW(3, "RAS#", RAS), HIGH(4, "TF", INPUT), A(5, 0),
    A(6, 1), A(7, 2), A(8, 3), VCC(9), A(10, 4), A(11, 5), A(12, 6), A(13, 7), A(14, 8), A(15, 9),
    LOW(16, "CAS#", CAS), HIGH(17, "Q", DATA_OUT), VSS(18)};

const lu_part_type lu_part_511000 = {
    .name = "511000",
    .summary = "1M x 1 dynamic RAM",
    .source = "KiCad symbol libraries (2020, 4C1024), pcb layout tool lists (1994-96): agree",
    .kind = LU_PART_MEMORY,
    PINS(pins),
    .memory = DRAM(10, 10, 10, 0, 1, 512, 8),
};
