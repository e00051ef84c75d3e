/* SPDX-License-Identifier: MIT */
#ifndef LU_BASE_TEXTS_H
#define LU_BASE_TEXTS_H
/* A list of texts of bounded length: operands, file names. Texts are borrowed. */
#include <stddef.h>

enum { LU_TEXTS_MOST = 256 };
typedef struct lu_texts {
  size_t count;
  const char *at[LU_TEXTS_MOST];
} lu_texts;

#endif
