/* SPDX-License-Identifier: MIT */
/* Pin 1 is a refresh input on a few makers' parts. Kinds of 128 rows, 2 ms exist too. */
#include "board/parts/parts.h"

static const lu_part_pin pins[] = {
    PIN(1, "NC/RFSH#", NONE, 0, true), HIGH(2, "D", DATA_IN), LOW(3, "W#", WRITE),
    LOW(4, "RAS#", RAS), A(5, 0), A(6, 2), A(7, 1), VCC(8), A(9, 7), A(10, 5), A(11, 4), A(12, 3),
    A(13, 6), HIGH(14, "Q", DATA_OUT), LOW(15, "CAS#", CAS), VSS(16)};

const lu_part_type lu_part_4164 = {
    .name = "4164",
    .summary = "64K x 1 dynamic RAM",
    .source = "KiCad symbol libraries (version 9, MK4164N), Lepton EDA symbols (1.9.18), KM4164B "
              "symbol of an open board: agree; 0cjs memory notes exchange pins 6 and 7",
    .kind = LU_PART_MEMORY,
    PINS(pins),
    .memory = DRAM(8, 8, 8, 0, 1, 256, 4),
};
