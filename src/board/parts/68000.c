/* SPDX-License-Identifier: MIT */
#include "board/parts/parts.h"

static const lu_part_pin pins[] = {
    D(1, 4), D(2, 3), D(3, 2), D(4, 1), D(5, 0), LOW(6, "AS#", STROBE), LOW(7, "UDS#", STROBE),
    LOW(8, "LDS#", STROBE), LOW(9, "R/W#", STROBE), LOW(10, "DTACK#", INPUT),
    LOW(11, "BG#", OUTPUT), LOW(12, "BGACK#", INPUT), LOW(13, "BR#", INPUT), VCC(14),
    HIGH(15, "CLK", INPUT), GND(16), LOW(17, "HALT#", INPUT), LOW(18, "RESET#", INPUT),
    LOW(19, "VMA#", STROBE), HIGH(20, "E", STROBE), LOW(21, "VPA#", INPUT), LOW(22, "BERR#", INPUT),
    LOW(23, "IPL2#", INPUT), LOW(24, "IPL1#", INPUT), LOW(25, "IPL0#", INPUT),
    HIGH(26, "FC2", OUTPUT), HIGH(27, "FC1", OUTPUT), HIGH(28, "FC0", OUTPUT), A(29, 1), A(30, 2),
    A(31, 3), A(32, 4), A(33, 5), A(34, 6), A(35, 7), A(36, 8), A(37, 9), A(38, 10), A(39, 11),
    A(40, 12), A(41, 13), A(42, 14), A(43, 15), A(44, 16), A(45, 17), A(46, 18), A(47, 19),
    A(48, 20), VCC(49), A(50, 21), A(51, 22), A(52, 23), GND(53), D(54, 15), D(55, 14), D(56, 13),
    D(57, 12), D(58, 11), D(59, 10), D(60, 9), D(61, 8), D(62, 7), D(63, 6), D(64, 5)};

const lu_part_type lu_part_68000 = {
    .name = "68000",
    .summary = "16/32-bit processor, 64 pins",
    .source = "KiCad symbol libraries (2020), Sporniket symbols, pcb layout tool lists "
              "(1994-96): agree",
    .kind = LU_PART_PROCESSOR,
    PINS(pins),
};
