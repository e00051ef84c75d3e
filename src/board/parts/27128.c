/* SPDX-License-Identifier: MIT */
#include "board/parts/parts.h"

static const lu_part_pin pins[] = {
    SUPPLY(1, "VPP"), A(2, 12), A(3, 7), A(4, 6), A(5, 5), A(6, 4), A(7, 3), A(8, 2), A(9, 1),
    A(10, 0), D(11, 0), D(12, 1), D(13, 2), GND(14), D(15, 3), D(16, 4), D(17, 5), D(18, 6),
    D(19, 7), LOW(20, "CE#", SELECT), A(21, 10), LOW(22, "OE#", OUTPUT_ENABLE), A(23, 11), A(24, 9),
    A(25, 8), A(26, 13), LOW(27, "PGM#", INPUT), VCC(28)};

const lu_part_type lu_part_27128 = {
    .name = "27128",
    .summary = "16K x 8 EPROM",
    .source = "KiCad symbol libraries (2020), pin list after the M27128A data sheet (Sporniket "
              "symbols), Fairchild NM27C128 data sheet (July 1998): agree",
    .kind = LU_PART_MEMORY,
    PINS(pins),
    .memory = EPROM(14, 8),
};
