/* SPDX-License-Identifier: MIT */
#ifndef LU_TESTS_EVALUATE_ASK_H
#define LU_TESTS_EVALUATE_ASK_H
/* Asks the whole program, in this process: `lineup decode --json ...`, and reads its answer. */
#include <jansson.h>
#include <stdbool.h>
#include <stddef.h>

typedef struct ev_answer {
  int status;       /* exit status */
  json_t *json;     /* or NULL */
  const char *verdict;
  double seconds;   /* of processor time */
} ev_answer;

/* argv ends with NULL. */
ev_answer ev_ask(const char *const *argv);
void ev_answer_end(ev_answer *a);

/* Place of a net or part in the list of suspects, from 1; 0 = not in it. nets_only: places among
 * suspects that are nets. */
size_t ev_place(const ev_answer *a, const char *name, bool nets_only);


enum { EV_WORDS_LEN = 1024 };

/* The faults of explanation i as `lineup simulate --fault` takes them; returns their number, 0 when there is no such
 * explanation, it leaves contents open, or has more than most faults. */
size_t ev_explanation(const ev_answer *a, size_t i, size_t most, char (*words)[EV_WORDS_LEN]);

#endif
