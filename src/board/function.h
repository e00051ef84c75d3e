/* SPDX-License-Identifier: MIT */
#ifndef LU_BOARD_FUNCTION_H
#define LU_BOARD_FUNCTION_H
/* Pin function names without their bars. */
#include <stdbool.h>
#include <stddef.h>

enum { LU_FUNCTION_MAX = 64 };

/* The name in capitals, without bar marks and blanks; *barred says whether there was a bar. Bars
 * are /X, -X, X#, X*, X-, X/, !X, ~X, ~{X}, X\ (also on each letter), \_X\_, nX (small n, then a capital),
 * X_N.
 * "{slash}" is a slash. A sign before a digit ("-5V") and a slash or minus inside ("R/W", "A-1")
 * stay. False when the name does not fit: out then holds its beginning. */
bool lu_function_plain(const char *function, char out[LU_FUNCTION_MAX], bool *barred);

#endif
