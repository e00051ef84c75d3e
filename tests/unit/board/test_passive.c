/* SPDX-License-Identifier: MIT */
/* Passive parts by reference, value and pins. */
#include "board/part.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <string.h>

#include <cmocka.h>

typedef struct row {
  const char *ref, *value;
  int pins;
  const char *wires; /* NULL: no passive part; pairs by number: "1-2 3-4" */
} row;

static const row rows[] = {
    {"R12",  "33",            2,  "1-2"                                   },
    {"R12",  "10k",           2,  "1-2"                                   },
    {"r1",   NULL,            2,  "1-2"                                   },
    {"JP3",  "",              2,  "1-2"                                   },
    {"JP3",  "",              3,  ""                                      },
    {"W1",   "WIRE",          2,  "1-2"                                   },
    {"L4",   "10u",           2,  "1-2"                                   },
    {"L4",   "",              4,  ""                                      },
    {"FB1",  "BEAD",          2,  "1-2"                                   },
    {"J1",   "CONN_34",       34, ""                                      },
    {"P2",   "",              2,  ""                                      },
    {"CN1",  "",              2,  ""                                      },
    {"RN1",  "33",            8,  "1-2 3-4 5-6 7-8"                       },
    {"RN1",  "8x33R",         16, "1-16 2-15 3-14 4-13 5-12 6-11 7-10 8-9"},
    {"RN1",  "33x8",          16, "1-16 2-15 3-14 4-13 5-12 6-11 7-10 8-9"},
    {"RN1",  "68 ohm",        10, "1-2 3-4 5-6 7-8 9-10"                  },
    {"RN1",  "33R DIP",       8,  "1-8 2-7 3-6 4-5"                       },
    {"RP1",  "22R",           4,  "1-2 3-4"                               },
    {"RN2",  "4k7",           9,  ""                                      },
    {"RN2",  "33",            9,  ""                                      },
    {"RN2",  "4.7K",          10, ""                                      },
    {"RN2",  "10K",           8,  ""                                      },
    {"RN2",  "0k33",          8,  "1-2 3-4 5-6 7-8"                       },
    {"RN2",  "10K isolated",  8,  "1-2 3-4 5-6 7-8"                       },
    {"RN2",  "33R bussed",    8,  ""                                      },
    {"RN2",  "220/330",       10, ""                                      },
    {"RN2",  "4116R-1-103",   16, "1-16 2-15 3-14 4-13 5-12 6-11 7-10 8-9"},
    {"RN2",  "4116R-2-330",   16, ""                                      },
    {"RN2",  "4608X-102-330", 8,  "1-2 3-4 5-6 7-8"                       },
    {"RN2",  "4608X-101-330", 8,  ""                                      },
    {"RN2",  NULL,            8,  ""                                      },
    {"RN2",  NULL,            16, "1-16 2-15 3-14 4-13 5-12 6-11 7-10 8-9"},
    {"R5",   "47R",           8,  "1-2 3-4 5-6 7-8"                       },
    {"C1",   "100n",          2,  NULL                                    },
    {"U5",   "74LS245",       20, NULL                                    },
    {"Q1",   "",              3,  NULL                                    },
    {"REG1", "",              3,  NULL                                    },
    {"",     "",              2,  NULL                                    },
    {"12",   "",              2,  NULL                                    },
};

static const char *numbers[64];

static void check_row(void **state)
{
  const row *r = *state;
  lu_arena mem = {0};
  const lu_part_type *type = NULL;
  assert_int_equal(lu_passive_type(r->ref, r->value, numbers, (size_t)r->pins, &mem, &type), LU_OK);
  if (!r->wires) {
    assert_null(type);
    lu_arena_free(&mem);
    return;
  }
  char got[256] = "";
  assert_non_null(type);
  assert_int_equal(type->kind, LU_PART_PASSIVE);
  assert_int_equal(type->pin_count, r->pins);
  for (int i = 0; i < type->cell_count; i++) {
    const lu_cell *cell = &type->cells[i];
    assert_int_equal(cell->kind, LU_CELL_WIRE);
    snprintf(got + strlen(got), sizeof got - strlen(got), "%s%s-%s", i ? " " : "",
             type->pins[cell->inputs[0]].number, type->pins[cell->outputs[0]].number);
  }
  assert_string_equal(got, r->wires);
  lu_arena_free(&mem);
}

/* A netlist lists pins in any order and leaves out what is not connected. */
static void test_pack__pairs_by_number_not_by_order(void **state)
{
  (void)state;
  static const char *const some[] = {"16", "3", "1", "14", "2"};
  lu_arena mem = {0};
  const lu_part_type *type = NULL;
  assert_int_equal(lu_passive_type("RN1", "33R", some, 5, &mem, &type), LU_OK);
  assert_int_equal(type->cell_count, 2);
  assert_string_equal(type->pins[type->cells[0].inputs[0]].number, "1");
  assert_string_equal(type->pins[type->cells[0].outputs[0]].number, "16");
  assert_string_equal(type->pins[type->cells[1].inputs[0]].number, "3");
  assert_string_equal(type->pins[type->cells[1].outputs[0]].number, "14");
  static const char *const twice[] = {"1", "2", "2", "4"};
  assert_int_equal(lu_passive_type("RN1", "33R", twice, 4, &mem, &type), LU_OK);
  assert_int_equal(type->cell_count, 0);
  static const char *const letters[] = {"B1", "A1", "B2", "A2"};
  assert_int_equal(lu_passive_type("RN1", "33R", letters, 4, &mem, &type), LU_OK);
  assert_int_equal(type->cell_count, 2);
  lu_arena_free(&mem);
}

static void test_passive__refuses_without_memory(void **state)
{
  (void)state;
  for (size_t n = 1;; n++) {
    lu_arena mem = {.fail_from = n};
    const lu_part_type *type = NULL;
    lu_status status = lu_passive_type("RN1", "33", numbers, 8, &mem, &type);
    lu_arena_free(&mem);
    if (status == LU_OK)
      break;
    assert_int_equal(status, LU_ERR_NOMEM);
    assert_null(type);
    assert_true(n < 10);
  }
}

int main(void)
{
  enum { ROWS = sizeof rows / sizeof *rows };
  static char text[64][4], names[ROWS][64];
  static struct CMUnitTest tests[ROWS + 2];
  for (int i = 0; i < 64; i++) {
    snprintf(text[i], sizeof text[i], "%d", i + 1);
    numbers[i] = text[i];
  }
  for (size_t i = 0; i < ROWS; i++) {
    snprintf(names[i], sizeof names[i], "%s %s with %d pins", rows[i].ref,
             rows[i].value ? rows[i].value : "(no value)", rows[i].pins);
    tests[i] = (struct CMUnitTest){
        .name = names[i], .test_func = check_row, .initial_state = (void *)(uintptr_t)&rows[i]};
  }
  tests[ROWS] = (struct CMUnitTest)cmocka_unit_test(test_pack__pairs_by_number_not_by_order);
  tests[ROWS + 1] = (struct CMUnitTest)cmocka_unit_test(test_passive__refuses_without_memory);
  return cmocka_run_group_tests(tests, NULL, NULL);
}
