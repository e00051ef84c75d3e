/* SPDX-License-Identifier: MIT */
#ifndef LU_REPORT_REPORT_H
#define LU_REPORT_REPORT_H
/* A finding as text for the bench and as JSON for scripts. Names from netlists are not trusted:
 * control characters never reach the terminal. */
#include "data/finding.h"

#include <stdio.h>

typedef struct lu_text_style {
  bool color, utf8;
  unsigned columns; /* 0 = 80 */
} lu_text_style;

void lu_report_text(FILE *out, const lu_finding *f, const lu_text_style *style);
/* One object; false if memory is refused or the stream fails. */
bool lu_report_json(FILE *out, const lu_finding *f);

#endif
