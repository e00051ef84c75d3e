/* SPDX-License-Identifier: MIT */
#include "board/parts/parts.h"

static const lu_part_pin pins[] = {
    HIGH(1, "DIR", INPUT), PIN(2, "A1", DATA, 0, false), PIN(3, "A2", DATA, 1, false),
    PIN(4, "A3", DATA, 2, false), PIN(5, "A4", DATA, 3, false), PIN(6, "A5", DATA, 4, false),
    PIN(7, "A6", DATA, 5, false), PIN(8, "A7", DATA, 6, false), PIN(9, "A8", DATA, 7, false),
    GND(10), PIN(11, "B8", DATA, 7, false), PIN(12, "B7", DATA, 6, false),
    PIN(13, "B6", DATA, 5, false), PIN(14, "B5", DATA, 4, false), PIN(15, "B4", DATA, 3, false),
    PIN(16, "B3", DATA, 2, false), PIN(17, "B2", DATA, 1, false), PIN(18, "B1", DATA, 0, false),
    LOW(19, "OE#", INPUT), VCC(20)};

static const lu_cell cells[] = {
    TRANSCEIVER(2, 18, true), TRANSCEIVER(3, 17, true), TRANSCEIVER(4, 16, true),
    TRANSCEIVER(5, 15, true), TRANSCEIVER(6, 14, true), TRANSCEIVER(7, 13, true),
    TRANSCEIVER(8, 12, true), TRANSCEIVER(9, 11, true)};

const lu_part_type lu_part_74640 = {
    .name = "74640",
    .summary = "eight-way transceiver, inverting",
    .source = "KiCad symbol libraries (2020), ChipDB pinout lists, pcb layout tool lists "
              "(1994-96): agree",
    .kind = LU_PART_LOGIC,
    PINS(pins),
    CELLS(cells),
};
