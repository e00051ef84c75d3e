/* SPDX-License-Identifier: MIT */
/* Pin functions in any notation, and memories made from them. */
#include "board/part.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <string.h>

#include <cmocka.h>

static void test_same__case_and_bars_do_not_matter(void **state)
{
  (void)state;
  static const char *const same[][2] = {
      {"CE",           "/CE"    },
      {"CE#",          "/CE"    },
      {"~{CE}",        "CE"     },
      {"~CE",          "CE*"    },
      {"nCE",          "CE_N"   },
      {"CE-",          "/CE"    },
      {"ce_n",         "CE"     },
      {"!CE",          "CE"     },
      {"C\\E\\",       "CE#"    },
      {"R/~{W}",       "R/W"    },
      {"R/W#",         "r/w"    },
      {"R{slash}~{W}", "R/W"    },
      {"-CE",          "CE"     },
      {"CE/",          "CE"     },
      {" CE ",         "CE"     },
      {"~CE~",         "CE"     },
      {"I/O0",         "I/O0"   },
      {"nRAS",         "~{RAS}" },
      {"D0",           "d0"     },
      {"~",            "~"      },
      {"-5V",          "-5V"    },
      {"~{CE}/PGM",    "CE#/PGM"},
  };
  static const char *const differ[][2] = {
      {"A1",  "A10"  },
      {"A1",  "A11"  },
      {"A-1", "A1"   },
      {"CE",  "CE2"  },
      {"CS1", "CS2"  },
      {"D",   "D0"   },
      {"D0",  "DQ0"  },
      {"-5V", "5V"   },
      {"NC",  "C"    },
      {"",    "A0"   },
      {"~",   "A0"   },
      {"NMI", "MI"   },
      {"RD",  "RD/WR"},
      {"IO0", "I/O0" },
  };
  for (size_t i = 0; i < sizeof same / sizeof *same; i++)
    if (!lu_function_same(same[i][0], same[i][1]) || !lu_function_same(same[i][1], same[i][0]))
      fail_msg("%s and %s are one function", same[i][0], same[i][1]);
  for (size_t i = 0; i < sizeof differ / sizeof *differ; i++)
    if (lu_function_same(differ[i][0], differ[i][1]) ||
        lu_function_same(differ[i][1], differ[i][0]))
      fail_msg("%s and %s are two functions", differ[i][0], differ[i][1]);
}

static void test_role__from_the_name_alone(void **state)
{
  (void)state;
  static const struct {
    const char *function;
    lu_pin_role role;
    int index, low; /* low: -1 = not looked at */
  } rows[] = {
      {"A0",        LU_ROLE_ADDRESS,       0,  0 },
      {"a14",       LU_ROLE_ADDRESS,       14, 0 },
      {"A[3]",      LU_ROLE_ADDRESS,       3,  0 },
      {"A_3",       LU_ROLE_ADDRESS,       3,  0 },
      {"A<3>",      LU_ROLE_ADDRESS,       3,  0 },
      {"A-1",       LU_ROLE_ADDRESS,       -1, 0 },
      {"D7",        LU_ROLE_DATA,          7,  0 },
      {"DQ1",       LU_ROLE_DATA,          1,  0 },
      {"I/O8",      LU_ROLE_DATA,          8,  0 },
      {"IO0",       LU_ROLE_DATA,          0,  0 },
      {"D15/A-1",   LU_ROLE_DATA,          15, 0 },
      {"AD5",       LU_ROLE_DATA,          5,  0 },
      {"DIN",       LU_ROLE_DATA_IN,       0,  0 },
      {"D",         LU_ROLE_DATA_IN,       0,  0 },
      {"Q",         LU_ROLE_DATA_OUT,      0,  0 },
      {"DOUT",      LU_ROLE_DATA_OUT,      0,  0 },
      {"Q3",        LU_ROLE_DATA_OUT,      3,  0 },
      {"O7",        LU_ROLE_DATA_OUT,      7,  0 },
      {"/RAS",      LU_ROLE_RAS,           0,  1 },
      {"RAS",       LU_ROLE_RAS,           0,  1 },
      {"~{CAS}",    LU_ROLE_CAS,           0,  1 },
      {"LCAS#",     LU_ROLE_CAS,           0,  1 },
      {"WE",        LU_ROLE_WRITE,         0,  1 },
      {"/W",        LU_ROLE_WRITE,         0,  1 },
      {"R/W",       LU_ROLE_WRITE,         0,  1 },
      {"R/~{W}",    LU_ROLE_WRITE,         0,  1 },
      {"WR_N",      LU_ROLE_WRITE,         0,  1 },
      {"OE",        LU_ROLE_OUTPUT_ENABLE, 0,  1 },
      {"G#",        LU_ROLE_OUTPUT_ENABLE, 0,  1 },
      {"OE#/VPP",   LU_ROLE_OUTPUT_ENABLE, 0,  1 },
      {"~{G}/VPP",  LU_ROLE_OUTPUT_ENABLE, 0,  1 },
      {"nCE",       LU_ROLE_SELECT,        0,  1 },
      {"CS",        LU_ROLE_SELECT,        0,  1 },
      {"/CS1",      LU_ROLE_SELECT,        0,  1 },
      {"CS2",       LU_ROLE_SELECT,        0,  0 },
      {"/CS2",      LU_ROLE_SELECT,        0,  1 },
      {"E",         LU_ROLE_SELECT,        0,  1 },
      {"CE#/PGM",   LU_ROLE_SELECT,        0,  1 },
      {"VCC",       LU_ROLE_SUPPLY,        0,  0 },
      {"VDD(+12V)", LU_ROLE_SUPPLY,        0,  0 },
      {"+5V",       LU_ROLE_SUPPLY,        0,  0 },
      {"-5V",       LU_ROLE_SUPPLY,        0,  0 },
      {"GND",       LU_ROLE_GROUND,        0,  0 },
      {"VSS",       LU_ROLE_GROUND,        0,  0 },
      {"0V",        LU_ROLE_GROUND,        0,  0 },
      {"NC",        LU_ROLE_NONE,          0,  0 },
      {"NC/RFSH#",  LU_ROLE_NONE,          0,  -1},
      {"BYTE#/VPP", LU_ROLE_INPUT,         0,  1 },
      {"PGM#",      LU_ROLE_INPUT,         0,  1 },
      {"",          LU_ROLE_NONE,          0,  0 },
      {"~",         LU_ROLE_NONE,          0,  0 },
      {"AB",        LU_ROLE_NONE,          0,  0 },
      {"A",         LU_ROLE_NONE,          0,  0 },
      {"A999",      LU_ROLE_NONE,          0,  0 },
      {"ALE",       LU_ROLE_NONE,          0,  0 },
      {"12",        LU_ROLE_NONE,          0,  0 },
  };
  for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
    lu_part_pin pin = {.number = "9", .index = 77};
    lu_role_of_function(rows[i].function, &pin);
    if (pin.role != rows[i].role || pin.index != rows[i].index ||
        (rows[i].low >= 0 && pin.active_low != rows[i].low))
      fail_msg("%s: role %d, bit %d, low %d", rows[i].function, pin.role, pin.index,
               pin.active_low);
    assert_string_equal(pin.number, "9");
  }
}

/* The names of every built-in memory lead to its roles. */
static void test_role__agrees_with_the_built_in_memories(void **state)
{
  (void)state;
  for (size_t i = 0; i < lu_part_type_count; i++) {
    const lu_part_type *type = lu_part_types[i];
    for (int p = 0; type->memory.is_memory && p < type->pin_count; p++) {
      const lu_part_pin *pin = &type->pins[p];
      lu_part_pin got = {0};
      lu_role_of_function(pin->function, &got);
      int shift = strncmp(pin->function, "DQ", 2) == 0; /* DQ1 is bit 0 */
      if (got.role != pin->role || got.index - shift != pin->index ||
          (got.role != LU_ROLE_NONE && got.active_low != pin->active_low))
        fail_msg("%s pin %s (%s)", type->name, pin->number, pin->function);
    }
  }
}

static const char *const twenty[] = {"1",  "2",  "3",  "4",  "5",  "6",  "7",  "8",  "9",  "10",
                                     "11", "12", "13", "14", "15", "16", "17", "18", "19", "20"};

static lu_status make(const char *const *functions, size_t count, lu_arena *mem, lu_part_type **out,
                      lu_err *err)
{
  return lu_memory_from_functions("X1", twenty, functions, count, mem, out, err);
}

static void test_custom__multiplexed_by_one(void **state)
{
  (void)state;
  static const char *const f[] = {"NC", "DIN", "/WE", "/RAS", "A0", "A2",   "A1",   "VCC",
                                  "A7", "A5",  "A4",  "A3",   "A6", "DOUT", "/CAS", "GND"};
  lu_arena mem = {0};
  lu_part_type *type = NULL;
  assert_int_equal(make(f, 16, &mem, &type, NULL), LU_OK);
  const lu_memory_shape *m = &type->memory;
  assert_true(m->is_memory && m->multiplexed && !m->rom);
  assert_int_equal(m->address_pins, 8);
  assert_int_equal(m->row_bits, 8);
  assert_int_equal(m->column_bits, 8);
  assert_int_equal(m->data_bits, 1);
  assert_int_equal(type->pins[1].role, LU_ROLE_DATA_IN);
  assert_int_equal(type->pins[13].role, LU_ROLE_DATA_OUT);
  assert_int_equal(type->kind, LU_PART_CUSTOM);
  lu_arena_free(&mem);
}

static void test_custom__data_from_one_counts_from_zero(void **state)
{
  (void)state;
  static const char *const f[] = {"~{G}", "DQ1", "DQ2", "~{W}", "A0", "A1", "DQ3", "DQ4", "~{E}"};
  lu_arena mem = {0};
  lu_part_type *type = NULL;
  assert_int_equal(make(f, 9, &mem, &type, NULL), LU_OK);
  assert_int_equal(type->memory.data_bits, 4);
  assert_int_equal(type->pins[1].index, 0);
  assert_int_equal(type->pins[7].index, 3);
  assert_false(type->memory.multiplexed);
  lu_arena_free(&mem);
}

static void test_custom__separate_inputs_and_outputs(void **state)
{
  (void)state;
  static const char *const f[] = {"A0", "D0", "D1", "Q0", "Q1", "WE", "CS"};
  static const char *const rom[] = {"A0", "A1", "Q0", "Q1", "Q2", "E", "G"};
  lu_arena mem = {0};
  lu_part_type *type = NULL;
  assert_int_equal(make(f, 7, &mem, &type, NULL), LU_OK);
  assert_int_equal(type->pins[1].role, LU_ROLE_DATA_IN);
  assert_int_equal(type->pins[4].role, LU_ROLE_DATA_OUT);
  assert_int_equal(type->memory.data_bits, 2);
  assert_int_equal(make(rom, 7, &mem, &type, NULL), LU_OK);
  assert_true(type->memory.rom);
  assert_int_equal(type->pins[3].role, LU_ROLE_DATA);
  assert_int_equal(type->memory.data_bits, 3);
  lu_arena_free(&mem);
}

static void test_custom__says_what_is_missing(void **state)
{
  (void)state;
  static const char *const no_address[] = {"D0", "D1"};
  static const char *const no_data[] = {"A0", "WE", NULL};
  static const char *const twice[] = {"A3", "D0", "A3"};
  lu_arena mem = {0};
  lu_part_type *type = NULL;
  lu_err err = {0};
  assert_int_equal(make(no_address, 2, &mem, &type, &err), LU_ERR_VALUE);
  assert_non_null(strstr(err.message, "address pin"));
  assert_int_equal(make(no_data, 3, &mem, &type, &err), LU_ERR_VALUE);
  assert_non_null(strstr(err.message, "data pin"));
  assert_int_equal(make(twice, 3, &mem, &type, &err), LU_ERR_VALUE);
  assert_non_null(strstr(err.message, "pins 1 and 3 are both A3"));
  assert_int_equal(make(NULL, 0, &mem, &type, &err), LU_ERR_VALUE);
  assert_int_equal(make(NULL, 5000, &mem, &type, &err), LU_ERR_LIMIT);
  assert_null(type);
  lu_arena_free(&mem);
}

static void test_custom__refuses_without_memory(void **state)
{
  (void)state;
  static const char *const f[] = {"A0", "D0"};
  for (size_t n = 1;; n++) {
    lu_arena mem = {.fail_from = n};
    lu_part_type *type = NULL;
    lu_status status = make(f, 2, &mem, &type, NULL);
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
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(test_same__case_and_bars_do_not_matter),
      cmocka_unit_test(test_role__from_the_name_alone),
      cmocka_unit_test(test_role__agrees_with_the_built_in_memories),
      cmocka_unit_test(test_custom__multiplexed_by_one),
      cmocka_unit_test(test_custom__data_from_one_counts_from_zero),
      cmocka_unit_test(test_custom__separate_inputs_and_outputs),
      cmocka_unit_test(test_custom__says_what_is_missing),
      cmocka_unit_test(test_custom__refuses_without_memory),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
