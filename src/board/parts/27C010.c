/* SPDX-License-Identifier: MIT */
#include "board/parts/parts.h"

static const lu_part_pin pins[] = {
    SUPPLY(1, "VPP"), A(2, 16), A(3, 15), A(4, 12), A(5, 7), A(6, 6), A(7, 5), A(8, 4), A(9, 3),
    A(10, 2), A(11, 1), A(12, 0), D(13, 0), D(14, 1), D(15, 2), GND(16), D(17, 3), D(18, 4),
    D(19, 5), D(20, 6), D(21, 7), LOW(22, "CE#", SELECT), A(23, 10), LOW(24, "OE#", OUTPUT_ENABLE),
    A(25, 11), A(26, 9), A(27, 8), A(28, 13), A(29, 14), NC(30), LOW(31, "PGM#", INPUT), VCC(32)};

const lu_part_type lu_part_27C010 = {
    .name = "27C010",
    .summary = "128K x 8 EPROM",
    .source = "KiCad symbol libraries (2020), pin list after the M27C1001 data sheet "
              "(Sporniket symbols), Fairchild upgrade chart in NM27C040: agree",
    .kind = LU_PART_MEMORY,
    PINS(pins),
    .memory = EPROM(17, 8),
};
