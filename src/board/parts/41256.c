/* SPDX-License-Identifier: MIT */
/* A8 takes no part in refresh: 256 rows, 4 ms (two vendors' pages; a third says 512, 8 ms). */
#include "board/parts/parts.h"

static const lu_part_pin pins[] = {
    A(1, 8), HIGH(2, "D", DATA_IN), LOW(3, "W#", WRITE), LOW(4, "RAS#", RAS), A(5, 0), A(6, 2),
    A(7, 1), VCC(8), A(9, 7), A(10, 5), A(11, 4), A(12, 3), A(13, 6), HIGH(14, "Q", DATA_OUT),
    LOW(15, "CAS#", CAS), VSS(16)};

const lu_part_type lu_part_41256 = {
    .name = "41256",
    .summary = "256K x 1 dynamic RAM",
    .source = "one source: pin list after the UD61256 data sheet (Sporniket symbols); 4164 "
              "plus A8 fits",
    .kind = LU_PART_MEMORY,
    PINS(pins),
    .memory = DRAM(9, 9, 9, 0, 1, 256, 4),
};
