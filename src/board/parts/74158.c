/* SPDX-License-Identifier: MIT */
/* A disabled output is high: off is the level on the pin. */
#include "board/parts/parts.h"

static const lu_part_pin pins[] = {
    HIGH(1, "S", INPUT), HIGH(2, "1A", INPUT), HIGH(3, "1B", INPUT), HIGH(4, "1Y", OUTPUT),
    HIGH(5, "2A", INPUT), HIGH(6, "2B", INPUT), HIGH(7, "2Y", OUTPUT), GND(8),
    HIGH(9, "3Y", OUTPUT), HIGH(10, "3B", INPUT), HIGH(11, "3A", INPUT), HIGH(12, "4Y", OUTPUT),
    HIGH(13, "4B", INPUT), HIGH(14, "4A", INPUT), LOW(15, "G#", INPUT), VCC(16)};

static const lu_cell cells[] = {
    MUX2(2, 3, 4, true, LU_OFF_HIGH), MUX2(5, 6, 7, true, LU_OFF_HIGH),
    MUX2(11, 10, 9, true, LU_OFF_HIGH), MUX2(14, 13, 12, true, LU_OFF_HIGH)};

const lu_part_type lu_part_74158 = {
    .name = "74158",
    .summary = "four 2 to 1 multiplexers, inverting",
    .source = "KiCad symbol libraries (2020), ChipDB pinout lists, pcb layout tool lists "
              "(1994-96): agree",
    .kind = LU_PART_LOGIC,
    PINS(pins),
    CELLS(cells),
};
