/* SPDX-License-Identifier: MIT */
#include "board/parts/parts.h"

static const lu_part_pin pins[] = {
    HIGH(1, "1A", INPUT), HIGH(2, "1B", INPUT), HIGH(3, "1Y", OUTPUT), HIGH(4, "2A", INPUT),
    HIGH(5, "2B", INPUT), HIGH(6, "2Y", OUTPUT), GND(7), HIGH(8, "3Y", OUTPUT),
    HIGH(9, "3B", INPUT), HIGH(10, "3A", INPUT), HIGH(11, "4Y", OUTPUT), HIGH(12, "4B", INPUT),
    HIGH(13, "4A", INPUT), VCC(14)};

static const lu_cell cells[] = {
    AND2(1, 2, 3), AND2(4, 5, 6), AND2(9, 10, 8), AND2(12, 13, 11)};

const lu_part_type lu_part_7408 = {
    .name = "7408",
    .summary = "four 2-input AND",
    .source = "KiCad symbol libraries (2020), ChipDB pinout lists, pcb layout tool lists "
              "(1994-96): agree",
    .kind = LU_PART_LOGIC,
    PINS(pins),
    CELLS(cells),
};
