/* SPDX-License-Identifier: MIT */
#include "board/parts/parts.h"

static const lu_part_pin pins[] = {
    A(1, 11), A(2, 12), A(3, 13), A(4, 14), A(5, 15), HIGH(6, "CLK", INPUT), D(7, 4), D(8, 3),
    D(9, 5), D(10, 6), VCC(11), D(12, 2), D(13, 7), D(14, 0), D(15, 1), LOW(16, "INT#", INPUT),
    LOW(17, "NMI#", INPUT), LOW(18, "HALT#", OUTPUT), LOW(19, "MREQ#", STROBE),
    LOW(20, "IORQ#", STROBE), LOW(21, "RD#", STROBE), LOW(22, "WR#", STROBE),
    LOW(23, "BUSAK#", OUTPUT), LOW(24, "WAIT#", INPUT), LOW(25, "BUSRQ#", INPUT),
    LOW(26, "RESET#", INPUT), LOW(27, "M1#", STROBE), LOW(28, "RFSH#", STROBE), GND(29), A(30, 0),
    A(31, 1), A(32, 2), A(33, 3), A(34, 4), A(35, 5), A(36, 6), A(37, 7), A(38, 8), A(39, 9),
    A(40, 10)};

const lu_part_type lu_part_Z80 = {
    .name = "Z80",
    .summary = "8-bit processor",
    .source = "KiCad symbol libraries (2020), 0cjs Z80 notes: agree; ChipDB exchanges D3 and D5",
    .kind = LU_PART_PROCESSOR,
    PINS(pins),
};
