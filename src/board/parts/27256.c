/* SPDX-License-Identifier: MIT */
#include "board/parts/parts.h"

static const lu_part_pin pins[] = {
    SUPPLY(1, "VPP"), A(2, 12), A(3, 7), A(4, 6), A(5, 5), A(6, 4), A(7, 3), A(8, 2), A(9, 1),
    A(10, 0), D(11, 0), D(12, 1), D(13, 2), GND(14), D(15, 3), D(16, 4), D(17, 5), D(18, 6),
    D(19, 7), LOW(20, "CE#", SELECT), A(21, 10), LOW(22, "OE#", OUTPUT_ENABLE), A(23, 11), A(24, 9),
    A(25, 8), A(26, 13), A(27, 14), VCC(28)};

const lu_part_type lu_part_27256 = {
    .name = "27256",
    .summary = "32K x 8 EPROM",
    .source = "KiCad symbol libraries (2020), Lepton EDA symbols (1.9.18), Fairchild upgrade chart in "
              "NM27C128: agree",
    .kind = LU_PART_MEMORY,
    PINS(pins),
    .memory = EPROM(15, 8),
};
