/* SPDX-License-Identifier: MIT */
/* AD0 to AD7 carry A0 to A7 while ALE is high; see lu_pin_address(). */
#include "board/parts/parts.h"

static const lu_part_pin pins[] = {
    GND(1), A(2, 14), A(3, 13), A(4, 12), A(5, 11), A(6, 10), A(7, 9), A(8, 8), AD(9, 7), AD(10, 6),
    AD(11, 5), AD(12, 4), AD(13, 3), AD(14, 2), AD(15, 1), AD(16, 0), HIGH(17, "NMI", INPUT),
    HIGH(18, "INTR", INPUT), HIGH(19, "CLK", INPUT), GND(20), HIGH(21, "RESET", INPUT),
    HIGH(22, "READY", INPUT), LOW(23, "TEST#", INPUT), LOW(24, "INTA#", STROBE),
    HIGH(25, "ALE", STROBE), LOW(26, "DEN#", STROBE), LOW(27, "DT/R#", STROBE),
    LOW(28, "IO/M#", STROBE), LOW(29, "WR#", STROBE), HIGH(30, "HLDA", OUTPUT),
    HIGH(31, "HOLD", INPUT), LOW(32, "RD#", STROBE), LOW(33, "MN/MX#", INPUT),
    LOW(34, "SSO#", OUTPUT), PIN(35, "A19/S6", ADDRESS, 19, false),
    PIN(36, "A18/S5", ADDRESS, 18, false), PIN(37, "A17/S4", ADDRESS, 17, false),
    PIN(38, "A16/S3", ADDRESS, 16, false), A(39, 15), VCC(40)};

const lu_part_type lu_part_8088 = {
    .name = "8088",
    .summary = "8/16-bit processor, minimum mode",
    .source = "KiCad symbol libraries (2020), Lepton EDA symbols (1.9.18): agree",
    .kind = LU_PART_PROCESSOR,
    PINS(pins),
};
