/* SPDX-License-Identifier: MIT */
#include "board/parts/parts.h"

static const lu_part_pin pins[] = {
    VSS(1), HIGH(2, "RDY", INPUT), HIGH(3, "PHI1(out)", STROBE), LOW(4, "IRQ#", INPUT), NC(5),
    LOW(6, "NMI#", INPUT), HIGH(7, "SYNC", STROBE), VCC(8), A(9, 0), A(10, 1), A(11, 2), A(12, 3),
    A(13, 4), A(14, 5), A(15, 6), A(16, 7), A(17, 8), A(18, 9), A(19, 10), A(20, 11), VSS(21),
    A(22, 12), A(23, 13), A(24, 14), A(25, 15), D(26, 7), D(27, 6), D(28, 5), D(29, 4), D(30, 3),
    D(31, 2), D(32, 1), D(33, 0), LOW(34, "R/W#", STROBE), NC(35), NC(36),
    HIGH(37, "PHI0(in)", INPUT), LOW(38, "SO#", INPUT), HIGH(39, "PHI2(out)", STROBE),
    LOW(40, "RES#", INPUT)};

const lu_part_type lu_part_6502 = {
    .name = "6502",
    .summary = "8-bit processor",
    .source = "KiCad symbol libraries (2020), 0cjs 6502 notes: agree",
    .kind = LU_PART_PROCESSOR,
    PINS(pins),
};
