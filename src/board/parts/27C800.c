/* SPDX-License-Identifier: MIT */
/* BYTE# low: 8 bits wide, D15 becomes A-1 and D8 to D14 float. */
#include "board/parts/parts.h"

static const lu_part_pin pins[] = {
    A(1, 18), A(2, 17), A(3, 7), A(4, 6), A(5, 5), A(6, 4), A(7, 3), A(8, 2), A(9, 1), A(10, 0),
    LOW(11, "CE#", SELECT), VSS(12), LOW(13, "OE#", OUTPUT_ENABLE), D(14, 0), D(15, 8), D(16, 1),
    D(17, 9), D(18, 2), D(19, 10), D(20, 3), D(21, 11), VCC(22), D(23, 4), D(24, 12), D(25, 5),
    D(26, 13), D(27, 6), D(28, 14), D(29, 7), PIN(30, "D15/A-1", DATA, 15, false), VSS(31),
    LOW(32, "BYTE#/VPP", INPUT), A(33, 16), A(34, 15), A(35, 14), A(36, 13), A(37, 12), A(38, 11),
    A(39, 10), A(40, 9), A(41, 8), NC(42)};

const lu_part_type lu_part_27C800 = {
    .name = "27C800",
    .summary = "512K x 16 or 1M x 8 EPROM",
    .source = "from memory: check against a data sheet",
    .kind = LU_PART_MEMORY,
    PINS(pins),
    .memory = EPROM(19, 16),
};
