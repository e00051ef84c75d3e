/* SPDX-License-Identifier: MIT */
#ifndef LU_LINK_CLOCK_H
#define LU_LINK_CLOCK_H
/* The system's steady clock, for back ends that talk to real devices. */
#include <stdint.h>

uint64_t lu_clock_us(void *unused);
void lu_clock_pause(void *unused, unsigned ms);

#endif
