/* SPDX-License-Identifier: MIT */
#ifndef LU_CLI_FAULTWORDS_H
#define LU_CLI_FAULTWORDS_H
/* Faults as a person types them: "open DRA3 U16.12 high", "bridge A3 A5 and". Names that contain
 * blanks cannot be typed. */
#include "cli/session.h"
#include "reason/joint.h"

LU_MUST_USE lu_status lu_fault_level(const char *word, lu_level *out, lu_err *err);
/* The words as joint faults over the one reading's network (its joint of one). */
LU_MUST_USE lu_status lu_fault_words(lu_session *s, const lu_evidence *e, const lu_texts *words, lu_fault *out);

#endif
