/* SPDX-License-Identifier: MIT */
#ifndef LU_BOARD_DAMAGE_H
#define LU_BOARD_DAMAGE_H
/* What lies where the leak was. */
#include "board/board.h"

/* The pin stands in damage: of a named part, or its place lies in a circle or polygon. reason (may
 * be NULL) receives a text such as "4 mm from BT1" in buf[len]. */
bool lu_damage_pin(const lu_board *b, uint32_t pin, char *buf, size_t len);
/* The net is named, or some pin or via of it stands in damage. */
bool lu_damage_net(const lu_board *b, uint32_t net, char *buf, size_t len);

#endif
