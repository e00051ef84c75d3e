/* SPDX-License-Identifier: MIT */
/* Rows of one refresh are not known from a source: left at 0. */
#include "board/parts/parts.h"

static const lu_part_pin pins[] = {
    HIGH(1, "D", DATA_IN), LOW(2, "W#", WRITE), LOW(3, "RAS#", RAS), A(4, 0), A(5, 1), A(6, 2),
    A(7, 3), A(8, 4), VCC(9), A(10, 5), A(11, 6), A(12, 7), A(13, 8), A(14, 9), A(15, 10),
    LOW(16, "CAS#", CAS), HIGH(17, "Q", DATA_OUT), VSS(18)};

const lu_part_type lu_part_514100 = {
    .name = "514100",
    .summary = "4M x 1 dynamic RAM, 18 pins",
    .source = "one source: pcb layout tool lists (1994-96)",
    .kind = LU_PART_MEMORY,
    PINS(pins),
    .memory = DRAM(11, 11, 11, 0, 1, 0, 0),
};
