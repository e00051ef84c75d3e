/* SPDX-License-Identifier: MIT */
#ifndef LU_FORMATS_FORMS_H
#define LU_FORMATS_FORMS_H
/* What the netlist forms share among themselves. */
#include "formats/netbuild.h"
#include "formats/netform.h"

#include <stdbool.h>

/* The text begins with "(word", blanks and a byte order mark apart, ASCII case ignored. */
bool lu_netform_opens(lu_bytes in, const char *word);

/* Splits REF.PIN (or REF-PIN when there is no dot); false if it is neither. Lengths in bytes. */
bool lu_netform_split_pin(const char *text, size_t len, size_t *ref_len, size_t *pin_at);
/* Adds one REF.PIN, or a list of them with blanks, commas or semicolons between. place: where it
 * stands in the input, NULL when text itself lies there. */
LU_MUST_USE lu_status lu_netform_pin(lu_netbuild *b, uint32_t net, const char *text, size_t len,
                                     const char *place);
LU_MUST_USE lu_status lu_netform_pins(lu_netbuild *b, uint32_t net, const char *text, size_t len,
                                      const char *place);

#endif
