/* SPDX-License-Identifier: MIT */
/* Outputs change with a clock of their own: nothing passes through to follow. */
#include "board/parts/parts.h"

static const lu_part_pin pins[] = {
    LOW(1, "CLR#", INPUT), HIGH(2, "CLK", INPUT), HIGH(3, "A", INPUT), HIGH(4, "B", INPUT),
    HIGH(5, "C", INPUT), HIGH(6, "D", INPUT), HIGH(7, "ENP", INPUT), GND(8), LOW(9, "LOAD#", INPUT),
    HIGH(10, "ENT", INPUT), HIGH(11, "QD", OUTPUT), HIGH(12, "QC", OUTPUT), HIGH(13, "QB", OUTPUT),
    HIGH(14, "QA", OUTPUT), HIGH(15, "RCO", OUTPUT), VCC(16)};

const lu_part_type lu_part_74161 = {
    .name = "74161",
    .summary = "4-bit counter, clear at once",
    .source = "KiCad symbol libraries (2020), ChipDB pinout lists, pcb layout tool lists "
              "(1994-96): agree",
    .kind = LU_PART_LOGIC,
    PINS(pins),
};
