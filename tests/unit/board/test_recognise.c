/* SPDX-License-Identifier: MIT */
/* Value fields. What the spellings rest on is in docs/parts.md, "Equivalents". */
#include "board/part.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <string.h>

#include <cmocka.h>

typedef struct row {
  const char *value;
  const char *type; /* NULL: must not be recognised */
} row;

static const row rows[] = {
  /* the 74 series: makers, families, packages */
    {"SN74LS245N",                                                             "74245"  },
    {"74HCT245",                                                               "74245"  },
    {"74LS245",                                                                "74245"  },
    {"74245",                                                                  "74245"  },
    {"sn74ls245dwr",                                                           "74245"  },
    {"DM74LS244N",                                                             "74244"  },
    {"HD74LS244P",                                                             "74244"  },
    {"MC74HC244AN",                                                            "74244"  },
    {"MM74HCT541N",                                                            "74541"  },
    {"CD74HCT541E",                                                            "74541"  },
    {"TC74HC138AP",                                                            "74138"  },
    {"PC74HCT138P",                                                            "74138"  },
    {"N74F138N",                                                               "74138"  },
    {"74F157APC",                                                              "74157"  },
    {"SN54LS157J",                                                             "74157"  },
    {"SN74S158N",                                                              "74158"  },
    {"74ALS257",                                                               "74257"  },
    {"M74LS257AP",                                                             "74257"  },
    {"M74HC373B1R",                                                            "74373"  },
    {"SN54LS374J/883B",                                                        "74374"  },
    {"SNJ54LS374J",                                                            NULL     }, /* not in the list of makers' letters */
    {"74AC574SC",                                                              "74574"  },
    {"IDT74FCT573AP",                                                          "74573"  },
    {"74FCT245CT",                                                             "74245"  },
    {"74ABT245B",                                                              "74245"  },
    {"SN7400N",                                                                "7400"   },
    {"7404",                                                                   "7404"   },
    {"74HCU04",                                                                "7404"   },
    {"74LS74A",                                                                "7474"   },
    {"SN74LS640-1N",                                                           NULL     }, /* the 1 stands before the package: not in the lists */
    {"SN74LS640N-1",                                                           "74640"  },
    {"DM74LS161AN",                                                            "74161"  },
    {"74HC163",                                                                "74163"  },
    {"74C240",                                                                 "74240"  },
    {"SN 74LS245 N",                                                           "74245"  },
    {"74LS245 (DIP20)",                                                        "74245"  },
    {"74LS139 DIP-16",                                                         "74139"  },
 /* static memories */
    {"HM62256LP-10",                                                           "62256"  },
    {"HM62256BLP-7SL",                                                         "62256"  },
    {"62256",                                                                  "62256"  },
    {"62256-70",                                                               "62256"  },
    {"KM62256CLP-7",                                                           "62256"  },
    {"CY62256-70PC",                                                           "62256"  },
    {"CY62256LL-70PC",                                                         "62256"  },
    {"AS6C62256-55PCN",                                                        "62256"  },
    {"uPD43256AC-10L",                                                         "62256"  },
    {"\xc2\xb5PD43256C-12L",                                                   "62256"  },
    {"D43256BCZ-70LL",                                                         "62256"  },
    {"TC55257BPL-85L",                                                         "62256"  },
    {"MB84256-10L",                                                            "62256"  },
    {"M5M5256BP-10",                                                           "62256"  },
    {"HM6264LP-15",                                                            "6264"   },
    {"HM6264ALP-12",                                                           "6264"   },
    {"HY6264ALP-10",                                                           "6264"   },
    {"TC5565APL-15",                                                           "6264"   },
    {"MB8464A-10L",                                                            "6264"   },
    {"uPD4364C-15L",                                                           "6264"   },
    {"HM6116P-3",                                                              "6116"   },
    {"HM6116LP-4",                                                             "6116"   },
    {"IDT6116SA20P",                                                           "6116"   },
    {"TMM2016P-1",                                                             "6116"   },
    {"TMM2016BP-10",                                                           "6116"   },
    {"HM628128LP-10",                                                          "628128" },
    {"KM681000BLP-7L",                                                         "628128" },
    {"AS6C1008-55PCN",                                                         "628128" },
    {"AS6C4008-55PCN",                                                         "628512" },
    {"HM628512BLP-7",                                                          "628512" },
    {"62256 150ns",                                                            "62256"  },
    {"62256, SRAM",                                                            "62256"  },
 /* dynamic memories */
    {"TMS4164-15NL",                                                           "4164"   },
    {"MK4164N-15",                                                             "4164"   },
    {"KM4164B-15",                                                             "4164"   },
    {"M5K4164ANP-15",                                                          "4164"   },
    {"HM4864P-2",                                                              "4164"   },
    {"MB8264A-15",                                                             "4164"   },
    {"MCM6665AL20",                                                            "4164"   },
    {"D4164C-3",                                                               "4164"   },
    {"HYB4164-P2",                                                             "4164"   },
    {"MK4116N-3",                                                              "4116"   },
    {"uPD416C-2",                                                              "4116"   },
    {"MB8116E",                                                                "4116"   },
    {"KM41256AP-12",                                                           "41256"  },
    {"TMS4256-12NL",                                                           "41256"  },
    {"HM50256P-15",                                                            "41256"  },
    {"MSM41256-15RS",                                                          "41256"  },
    {"UD61256",                                                                "41256"  },
    {"TMS4416-15NL",                                                           "4416"   },
    {"TMS4464-12NL",                                                           "41464"  },
    {"KM41464AP-12",                                                           "41464"  },
    {"D41464C-12",                                                             "41464"  },
    {"MB81464-12",                                                             "41464"  },
    {"TC514256AP",                                                             "44256"  },
    {"TC514256AP-10",                                                          "44256"  },
    {"MSM514256C-70RS",                                                        "44256"  },
    {"HYB514256B-70",                                                          "44256"  },
    {"TMS44C256-10N",                                                          "44256"  },
    {"MT4C4256-8",                                                             "44256"  },
    {"KM44C256CP-7",                                                           "44256"  },
    {"TC511000AP-70",                                                          "511000" },
    {"MT4C1024-8",                                                             "511000" },
    {"KM41C1000CP-8",                                                          "511000" },
    {"HM514400AP-8",                                                           "514400" },
    {"514100",                                                                 "514100" },
 /* programmable memories */
    {"2716",                                                                   "2716"   },
    {"D2716",                                                                  "2716"   },
    {"M2716-1F1",                                                              "2716"   },
    {"HN462716G",                                                              "2716"   },
    {"NMC27C16Q-45",                                                           "2716"   },
    {"TMS2516JL",                                                              "2716"   },
    {"D2732A-4",                                                               "2732"   },
    {"TMS2732A-25JL",                                                          "2732"   },
    {"D2764A-25",                                                              "2764"   },
    {"M27C64A-15F1",                                                           "2764"   },
    {"HN482764G-3",                                                            "2764"   },
    {"27C128",                                                                 "27128"  },
    {"NM27C128Q-150",                                                          "27128"  },
    {"AM27C256-150DC",                                                         "27256"  },
    {"27C256-15/P",                                                            "27256"  },
    {"MBM27C256A-20Z",                                                         "27256"  },
    {"M27C512-10F1",                                                           "27512"  },
    {"AT27C512R-70PC",                                                         "27512"  },
    {"W27C512-45Z",                                                            "27512"  },
    {"NM27C256Q150",                                                           "27256"  },
    {"2764-200ns",                                                             "2764"   },
    {"Z84C0010PEC",                                                            "Z80"    },
    {"CD74HCT138M96",                                                          "74138"  },
    {"R65C02P2",                                                               "6502"   },
    {"MX27C010PC-12",                                                          "27C010" },
    {"27C1001",                                                                "27C010" },
    {"M27C1001-10F1",                                                          "27C010" },
    {"TMS27C020-15JL",                                                         "27C020" },
    {"M27C4001-10F1",                                                          "27C040" },
    {"M27C1024-12F1",                                                          "27C1024"},
    {"M27C400-100F1",                                                          "27C400" },
    {"M27C800-100F1",                                                          "27C800" },
 /* processors */
    {"R6502AP",                                                                "6502"   },
    {"MOS6502A",                                                               "6502"   },
    {"UM6502A",                                                                "6502"   },
    {"SY6502",                                                                 "6502"   },
    {"MOS 6510",                                                               "6510"   },
    {"MC6809P",                                                                "6809"   },
    {"MC68B09P",                                                               "6809"   },
    {"HD63C09P",                                                               "6809"   },
    {"Z80",                                                                    "Z80"    },
    {"Z80A CPU",                                                               "Z80"    },
    {"Z80-CPU",                                                                "Z80"    },
    {"Z80A-CPU",                                                               "Z80"    },
    {"Z8400APS",                                                               "Z80"    },
    {"Z8400",                                                                  "Z80"    },
    {"Z0840004PSC",                                                            "Z80"    },
    {"Z84C0008PEC",                                                            "Z80"    },
    {"D780C-1",                                                                "Z80"    },
    {"LH0080A",                                                                "Z80"    },
    {"UA880D",                                                                 "Z80"    },
    {"P8088-2",                                                                "8088"   },
    {"D8088D-2",                                                               "8088"   },
    {"i8088",                                                                  "8088"   },
    {"MC68000P8",                                                              "68000"  },
    {"MC68000L10",                                                             "68000"  },
    {"HD68000P8",                                                              "68000"  },
    {"MC68HC000P12",                                                           "68000"  },
    {"SCN68000C8N64",                                                          "68000"  },
    {"TMP68HC000P-10",                                                         "68000"  },
    {"MC68010P10",                                                             "68000"  },

 /* not surely one: never a guess */
    {"",                                                                       NULL     },
    {" ",                                                                      NULL     },
    {"RAM",                                                                    NULL     },
    {"SRAM",                                                                   NULL     },
    {"74",                                                                     NULL     },
    {"74LS",                                                                   NULL     },
    {"LS245",                                                                  NULL     },
    {"245",                                                                    NULL     },
    {"74LS24",                                                                 NULL     },
    {"74LS2445",                                                               NULL     },
    {"74LS2245",                                                               NULL     },
    {"SN7524",                                                                 NULL     },
    {"SN75245",                                                                NULL     },
    {"74LS242",                                                                NULL     }, /* another part */
    {"74LS645",                                                                NULL     },
    {"74AC11245",                                                              NULL     }, /* supplies in the middle of the package */
    {"74LVC1G08",                                                              NULL     }, /* one gate, five pins */
    {"74ABT16245",                                                             NULL     },
    {"SN74LS245FN",                                                            NULL     }, /* square package */
    {"M74HC00C1",                                                              NULL     },
    {"SN5400W",                                                                NULL     }, /* flat pack: supplies elsewhere */
    {"74 157",                                                                 NULL     }, /* digits on both sides of a blank */
    {"74157 socket",                                                           NULL     },
    {"74LS245 or 74LS640",                                                     NULL     },
    {"74LS157/158",                                                            NULL     },
    {"74157?",                                                                 NULL     },
    {"14164",                                                                  NULL     },
    {"41640",                                                                  NULL     },
    {"4164 adapter",                                                           NULL     },
    {"6225",                                                                   NULL     },
    {"622560",                                                                 NULL     },
    {"62256/62512",                                                            NULL     },
    {"HM65256BLP-10",                                                          NULL     }, /* pseudo-static */
    {"HM62256LT-10",                                                           NULL     },
    {"HM628128LT-8",                                                           NULL     }, /* TSOP */
    {"4116R-1-330",                                                            NULL     }, /* a pack of resistors */
    {"4116R-001-103",                                                          NULL     },
    {"D4464C-15L",                                                             NULL     }, /* a static memory of the same number */
    {"uPD4464C-15",                                                            NULL     },
    {"HYB514256BJ-60",                                                         NULL     }, /* SOJ */
    {"TC514256AZ-10",                                                          NULL     }, /* ZIP */
    {"TC514256AJ-10",                                                          NULL     },
    {"TMS2716",                                                                NULL     }, /* three supplies */
    {"TMS2716-45JL",                                                           NULL     },
    {"TMS2532",                                                                NULL     },
    {"TMS2532A-45JL",                                                          NULL     },
    {"TMS2564",                                                                NULL     },
    {"27C301",                                                                 NULL     },
    {"HN27C301G-20",                                                           NULL     },
    {"27C1000",                                                                NULL     },
    {"MBM27C1000-15",                                                          NULL     },
    {"27C4002",                                                                NULL     },
    {"27C4096",                                                                NULL     },
    {"28C256",                                                                 NULL     },
    {"AT28C64B-15PC",                                                          NULL     },
    {"N27C512-200V10",                                                         NULL     },
    {"W27C512P-45",                                                            NULL     }, /* square */
    {"NM27C256V150",                                                           NULL     },
    {"Z84C0010VEC",                                                            NULL     },
    {"M27C512-10C1",                                                           NULL     }, /* square */
    {"AT27C512R-70JC",                                                         NULL     },
    {"NM27C256V-150",                                                          NULL     },
    {"27C080",                                                                 NULL     },
    {"2708",                                                                   NULL     },
    {"27C2560",                                                                NULL     },
    {"W65C02S6P-14",                                                           NULL     }, /* pin 1 and others differ */
    {"65C02",                                                                  NULL     },
    {"6507",                                                                   NULL     },
    {"6512",                                                                   NULL     },
    {"MC6809E",                                                                NULL     }, /* pins 33 to 39 differ */
    {"MC6809EP",                                                               NULL     },
    {"MC68B09EP",                                                              NULL     },
    {"HD63B09EP",                                                              NULL     },
    {"Z80-PIO",                                                                NULL     },
    {"Z80A PIO",                                                               NULL     },
    {"Z80 CTC",                                                                NULL     },
    {"Z80SIO",                                                                 NULL     },
    {"Z80180",                                                                 NULL     },
    {"Z8420",                                                                  NULL     },
    {"Z84C0008VEC",                                                            NULL     }, /* square */
    {"Z84C2006PEC",                                                            NULL     },
    {"8086",                                                                   NULL     },
    {"8080",                                                                   NULL     },
    {"80188",                                                                  NULL     },
    {"MC68000FN8",                                                             NULL     }, /* square */
    {"MC68000R10",                                                             NULL     }, /* pin grid */
    {"MC68008P8",                                                              NULL     },
    {"MC68020",                                                                NULL     },
    {"MC68EC000FN12",                                                          NULL     },
    {"10k",                                                                    NULL     },
    {"100n",                                                                   NULL     },
    {"~",                                                                      NULL     },
    {"U?",                                                                     NULL     },
    {"62256\xff",                                                              NULL     },
    {"6225662256622566225662256622566225662256622566225662256622566225662256", NULL     },
};

static void check_row(void **state)
{
  const row *r = *state;
  const lu_part_type *type = lu_part_recognise(r->value);
  const char *got = type ? type->name : "nothing", *want = r->type ? r->type : "nothing";
  if (strcmp(got, want) != 0)
    fail_msg("\"%s\" is taken for %s, expected %s", r->value, got, want);
}

/* Every built-in memory and logic number with digits before, after or left out is not that part. */
static void test_numbers__not_inside_longer_or_shorter_ones(void **state)
{
  (void)state;
  for (size_t i = 0; i < lu_part_type_count; i++) {
    const lu_part_type *type = lu_part_types[i];
    char text[32];
    for (char digit = '0'; digit <= '9'; digit++) {
      snprintf(text, sizeof text, "%c%s", digit, type->name);
      assert_null(lu_part_recognise(text));
      snprintf(text, sizeof text, "%s%c", type->name, digit);
      const lu_part_type *got = lu_part_recognise(text);
      if (got == type)
        fail_msg("%s is taken for %s", text, got->name);
    }
    snprintf(text, sizeof text, "%.*s", (int)strlen(type->name) - 1, type->name);
    assert_ptr_not_equal(lu_part_recognise(text), type);
  }
}

int main(void)
{
  enum { ROWS = sizeof rows / sizeof *rows };
  static struct CMUnitTest tests[ROWS + 1];
  for (size_t i = 0; i < ROWS; i++)
    tests[i] = (struct CMUnitTest){.name = rows[i].value,
                                   .test_func = check_row,
                                   .initial_state = (void *)(uintptr_t)&rows[i]};
  tests[ROWS] =
      (struct CMUnitTest)cmocka_unit_test(test_numbers__not_inside_longer_or_shorter_ones);
  return cmocka_run_group_tests(tests, NULL, NULL);
}
