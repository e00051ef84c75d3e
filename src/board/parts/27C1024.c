/* SPDX-License-Identifier: MIT */
#include "board/parts/parts.h"

static const lu_part_pin pins[] = {
    SUPPLY(1, "VPP"), LOW(2, "CE#", SELECT), D(3, 15), D(4, 14), D(5, 13), D(6, 12), D(7, 11),
    D(8, 10), D(9, 9), D(10, 8), VSS(11), D(12, 7), D(13, 6), D(14, 5), D(15, 4), D(16, 3),
    D(17, 2), D(18, 1), D(19, 0), LOW(20, "OE#", OUTPUT_ENABLE), A(21, 0), A(22, 1), A(23, 2),
    A(24, 3), A(25, 4), A(26, 5), A(27, 6), A(28, 7), A(29, 8), VSS(30), A(31, 9), A(32, 10),
    A(33, 11), A(34, 12), A(35, 13), A(36, 14), A(37, 15), NC(38), LOW(39, "PGM#", INPUT), VCC(40)};

const lu_part_type lu_part_27C1024 = {
    .name = "27C1024",
    .summary = "64K x 16 EPROM",
    .source = "one source: ST M27C1024 data sheet",
    .kind = LU_PART_MEMORY,
    PINS(pins),
    .memory = EPROM(16, 16),
};
