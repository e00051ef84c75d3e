/* SPDX-License-Identifier: MIT */
/* The 6809E differs on pins 33 to 39. */
#include "board/parts/parts.h"

static const lu_part_pin pins[] = {
    VSS(1), LOW(2, "NMI#", INPUT), LOW(3, "IRQ#", INPUT), LOW(4, "FIRQ#", INPUT),
    HIGH(5, "BS", OUTPUT), HIGH(6, "BA", OUTPUT), VCC(7), A(8, 0), A(9, 1), A(10, 2), A(11, 3),
    A(12, 4), A(13, 5), A(14, 6), A(15, 7), A(16, 8), A(17, 9), A(18, 10), A(19, 11), A(20, 12),
    A(21, 13), A(22, 14), A(23, 15), D(24, 7), D(25, 6), D(26, 5), D(27, 4), D(28, 3), D(29, 2),
    D(30, 1), D(31, 0), LOW(32, "R/W#", STROBE), LOW(33, "DMA/BREQ#", INPUT),
    HIGH(34, "E(out)", STROBE), HIGH(35, "Q(out)", STROBE), HIGH(36, "MRDY", INPUT),
    LOW(37, "RESET#", INPUT), HIGH(38, "EXTAL", INPUT), HIGH(39, "XTAL", NONE),
    LOW(40, "HALT#", INPUT)};

const lu_part_type lu_part_6809 = {
    .name = "6809",
    .summary = "8-bit processor",
    .source = "KiCad symbol libraries (6.0.10, MC6809), J. P. Bowen's pin card (Oxford PRG, "
              "1981, 1985): agree",
    .kind = LU_PART_PROCESSOR,
    PINS(pins),
};
