/* SPDX-License-Identifier: MIT */
#include "board/parts/parts.h"

static const lu_part_pin pins[] = {
    HIGH(1, "PHI0(in)", INPUT), HIGH(2, "RDY", INPUT), LOW(3, "IRQ#", INPUT), LOW(4, "NMI#", INPUT),
    HIGH(5, "AEC", INPUT), VCC(6), A(7, 0), A(8, 1), A(9, 2), A(10, 3), A(11, 4), A(12, 5),
    A(13, 6), A(14, 7), A(15, 8), A(16, 9), A(17, 10), A(18, 11), A(19, 12), A(20, 13), GND(21),
    A(22, 14), A(23, 15), HIGH(24, "P5", OUTPUT), HIGH(25, "P4", OUTPUT), HIGH(26, "P3", OUTPUT),
    HIGH(27, "P2", OUTPUT), HIGH(28, "P1", OUTPUT), HIGH(29, "P0", OUTPUT), D(30, 7), D(31, 6),
    D(32, 5), D(33, 4), D(34, 3), D(35, 2), D(36, 1), D(37, 0), LOW(38, "R/W#", STROBE),
    HIGH(39, "PHI2(out)", STROBE), LOW(40, "RES#", INPUT)};

const lu_part_type lu_part_6510 = {
    .name = "6510",
    .summary = "8-bit processor with 6-bit port",
    .source = "one source: 0cjs 6502 notes; pins 39 and 40 from memory",
    .kind = LU_PART_PROCESSOR,
    PINS(pins),
};
