/* SPDX-License-Identifier: MIT */
#include "board/parts/parts.h"

static const lu_part_pin pins[] = {
    HIGH(1, "1A", INPUT), HIGH(2, "1Y", OUTPUT), HIGH(3, "2A", INPUT), HIGH(4, "2Y", OUTPUT),
    HIGH(5, "3A", INPUT), HIGH(6, "3Y", OUTPUT), GND(7), HIGH(8, "4Y", OUTPUT),
    HIGH(9, "4A", INPUT), HIGH(10, "5Y", OUTPUT), HIGH(11, "5A", INPUT), HIGH(12, "6Y", OUTPUT),
    HIGH(13, "6A", INPUT), VCC(14)};

static const lu_cell cells[] = {
    INVERTER(1, 2), INVERTER(3, 4), INVERTER(5, 6), INVERTER(9, 8), INVERTER(11, 10),
    INVERTER(13, 12)};

const lu_part_type lu_part_7404 = {
    .name = "7404",
    .summary = "six inverters",
    .source = "KiCad symbol libraries (2020), ChipDB pinout lists, pcb layout tool lists "
              "(1994-96): agree",
    .kind = LU_PART_LOGIC,
    PINS(pins),
    CELLS(cells),
};
