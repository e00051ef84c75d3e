/* SPDX-License-Identifier: MIT */
#ifndef LU_API_CAPTURERULE_H
#define LU_API_CAPTURERULE_H
/* Whether words that a capture saw, in spite of what a fault did to some, are a test's contents. */
#include "api/readings.h"

enum { LU_CAPTURE_RULE_ODD = 2 };

typedef struct lu_capture_rule {
  const char *name;        /* NULL: none */
  lu_words contents;       /* what the whole block should then hold */
  size_t words, fit;       /* words seen; those that are just as the rule has them */
  size_t wrong_bits;       /* in all words */
  uint64_t odd;            /* bits that are not, in some word */
} lu_capture_rule;

/* got: words of n's block (held: those seen); steady: bits by word that were certain, or NULL. A rule is taken when of
 * at least 16 words a quarter fits, or all do but for LU_CAPTURE_RULE_ODD bits, which chance does not give (a word of 8
 * bits fits by chance in 1 of 256), and it fits better than any other. ERR_NOMEM. Cost: some passes over the words for each rule. */
LU_MUST_USE lu_status lu_capture_rule_of(lu_session *s, const lu_network *n, const lu_words *got, const uint64_t *steady, lu_capture_rule *out);

#endif
