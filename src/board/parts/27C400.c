/* SPDX-License-Identifier: MIT */
/* BYTE# low: 8 bits wide, D15 becomes A-1 and D8 to D14 float. */
#include "board/parts/parts.h"

static const lu_part_pin pins[] = {
    A(1, 17), A(2, 7), A(3, 6), A(4, 5), A(5, 4), A(6, 3), A(7, 2), A(8, 1), A(9, 0),
    LOW(10, "CE#", SELECT), VSS(11), LOW(12, "OE#", OUTPUT_ENABLE), D(13, 0), D(14, 8), D(15, 1),
    D(16, 9), D(17, 2), D(18, 10), D(19, 3), D(20, 11), VCC(21), D(22, 4), D(23, 12), D(24, 5),
    D(25, 13), D(26, 6), D(27, 14), D(28, 7), PIN(29, "D15/A-1", DATA, 15, false), VSS(30),
    LOW(31, "BYTE#/VPP", INPUT), A(32, 16), A(33, 15), A(34, 14), A(35, 13), A(36, 12), A(37, 11),
    A(38, 10), A(39, 9), A(40, 8)};

const lu_part_type lu_part_27C400 = {
    .name = "27C400",
    .summary = "256K x 16 or 512K x 8 EPROM",
    .source = "one source for the order: 0cjs memory notes; pin names from the ST M27C400 data "
              "sheet",
    .kind = LU_PART_MEMORY,
    PINS(pins),
    .memory = EPROM(18, 16),
};
