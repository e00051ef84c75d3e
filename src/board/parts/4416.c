/* SPDX-License-Identifier: MIT */
/* The column comes on A1 to A6 only; A0 and A7 carry row bits alone. */
#include "board/parts/parts.h"

static const lu_part_pin pins[] = {
    LOW(1, "OE#", OUTPUT_ENABLE), DQ(2, 1, 0), DQ(3, 2, 1), LOW(4, "W#", WRITE),
    LOW(5, "RAS#", RAS), A(6, 6), A(7, 5), A(8, 4), VCC(9), A(10, 7), A(11, 3), A(12, 2), A(13, 1),
    A(14, 0), DQ(15, 3, 2), LOW(16, "CAS#", CAS), DQ(17, 4, 3), VSS(18)};

const lu_part_type lu_part_4416 = {
    .name = "4416",
    .summary = "16K x 4 dynamic RAM, column on A1 to A6",
    .source = "one source: pin list after the TMS4416 data sheet (Sporniket symbols); column "
              "pins from memory",
    .kind = LU_PART_MEMORY,
    PINS(pins),
    .memory = DRAM(8, 8, 6, 1, 4, 256, 4),
};
