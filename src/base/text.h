/* SPDX-License-Identifier: MIT */
#ifndef LU_BASE_TEXT_H
#define LU_BASE_TEXT_H
/* Bytes, scanning, numbers, names. Nothing here knows of memories or boards. */
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>

/* Borrowed bytes; not ended by NUL. */
typedef struct lu_bytes {
  const uint8_t *at;
  size_t len;
} lu_bytes;

/* Value of a hex digit, or -1. */
int lu_hex_digit(int c);

/* The whole of text[len] as a number of the given base (0: 0x, 0b, else decimal), at most max.
 * No signs, no blanks. False if it is not one. */
bool lu_text_u64(const char *text, size_t len, unsigned base, uint64_t max, uint64_t *value);
/* As above with a size suffix k, m, g (powers of two) allowed, either case. */
bool lu_text_size(const char *text, size_t len, uint64_t max, uint64_t *value);

/* Case-insensitive (ASCII) comparison of whole texts. */
bool lu_text_same(const char *a, const char *b);

/* Edit distance of two names (ASCII case ignored), at most limit; limit + 1 when more. */
unsigned lu_text_distance(const char *a, const char *b, unsigned limit);
/* The name of names[count] nearest to wanted, or NULL if none is near enough to offer. */
const char *lu_text_nearest(const char *wanted, const char *const *names, size_t count);

/* Natural order: "A2" before "A10". Negative, zero, positive as strcmp. */
int lu_text_order(const char *a, const char *b);

/* Takes next line [*at, end) without its CR, LF; false at the end. *line_len excludes them. */
bool lu_text_line(const char **at, const char *end, const char **line, size_t *line_len);

/* Names from files are not trusted. Bytes of the character that text begins with if it may be shown on a terminal or
 * a page: printable ASCII, or well-formed UTF-8 that is no control and does not turn the direction of writing. Else 0. */
unsigned lu_text_shown(const char *text);
/* Each byte that may not be shown becomes '?'; the length stays. */
void lu_text_tidy(char *text);
/* Prints text (NULL: nothing) so. */
void lu_text_put(FILE *out, const char *text);

#endif
