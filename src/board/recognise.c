/* SPDX-License-Identifier: MIT */
/* From a value field to a built-in type.
 *
 * A value is makers' letters, a number, then revision, package, speed and temperature. Each place
 * has a list of what may stand there, and the whole value must be used up: what is not in a list is
 * not known, and what is not known is not guessed. Packages whose pins are numbered otherwise
 * (PLCC, SOJ, ZIP, TSOP) are left out of the lists on purpose. */
#include "board/part.h"

#include "board/parts/parts.h"

#include <ctype.h>
#include <string.h>

enum { VALUE_MAX = 64, STEPS_MAX = 8 };

#define LU_EPROM_MAKERS                                                                            \
  "|D|P|C|Q|I|M|AM|AT|NM|NMC|MBM|MB|HN|UPD|TMM|TMS|MX|M5L|M5M|MSM|ET|F|MCM|CY|SMJ|IS"

#define LU_TTL_MAKERS "|SN|DM|MM|MC|HD|CD|TC|PC|N|S|T|M|MB|TD|IDT|QS|CY|P|GD|KS|IN|HY|F|UM|AM|NTE"
#define LU_TTL_FAMILIES                                                                            \
  "|LS|S|ALS|AS|F|HC|HCT|HCU|AC|ACT|ACTQ|ACQ|AHC|AHCT|VHC|VHCT|BCT|ABT|FCT|LV|LVC|LVT|LVX|C"
/* Package letters of dual-in-line and of small-outline forms with the same numbers. Not here: FN,
 * FK, C1, QC (square), W (the first flat packs had pins of their own). */
#define LU_TTL_PACKAGES                                                                            \
  "|N|NT|J|JT|JD|D|DW|DR|DWR|DB|DBR|PW|PWR|NS|NSR|P|AP|AF|AFW|FP|RP|RPEL|FPEL|PC|DC|SC|M|M96|MX|"  \
  "WM|"                                                                                            \
  "WMX|SJ|SJX|MTC|MTCX|E|EN|B|B1|B1R|M1|M1R|RM13TR|MTR|TTR|F|FW|NG|DG|DWG|NE4|NG4"

static const char *const sram[STEPS_MAX] = {
    "|A|B|C|D|E|N",
    "|L|LL|SL|S",
    "|P|PL|PN|PC|N|C|CX|CZ|K|D|G|M|FP|SP|S",
    "|-#|-#NS",
    "|L|LL|SL|P|N|PC|PI|PCN|PIN|SC|SI|SCN|SIN|SNC|C|X|LX|V|T|PXC|PXI|SNXC|SNXI",
};
static const char *const sram_speed[STEPS_MAX] = {"S|L|SA|LA", "#", "|P|TP|D|PG|DB|Y|SO"};
static const char *const dram[STEPS_MAX] = {"|A|B|C|D|AN|N", "|L", "|P|N|NL|C|D|AS|RS|K|E|J|L",
                                            "|-#|-#NS|-P#", "|N|NL|JL|JDL|L|P|C|RS|AS|E"};
static const char *const dram_bare_speed[STEPS_MAX] = {"|A|B", "L|C|P|AL|AC|AP", "#"};
static const char *const dram_late[STEPS_MAX] = {"|A|B|C|D", "|L", "|P|C|N|K", "|-#",
                                                 "|L|N|NL|P|RS|SL|V"};
static const char *const eprom[STEPS_MAX] = {
    "|A|B|C|R|L|LV|H",
    "|D|P|Q|Q#|N#|K|G|F|F1|F6|B1|B6|DC|PC|DI|PI|N|AS|RS|C|T",
    "|-#|-#V|-#NS",
    "|F1|F6|B1|B6|JL|NL|J|N|NE|JE|DC|PC|DI|PI|DM|PU|WC|Z|D|P|Q|G|B|RS|AS|L|/P|/J|/SP|I/P|I/J|E/"
    "P|XF1|"
    "V|F3|B3|F7|DE",
    "|TR|/883|/883B|/883C",
};
/* One maker whose P is the square package. */
static const char *const eprom_w[STEPS_MAX] = {"", "|-#", "|Z"};
static const char *const cpu_6502[STEPS_MAX] = {"|A|B|C", "|P|C|D|AD|AP|AC|PE|CE|E|P#", "|-#"};
static const char *const cpu_plain[STEPS_MAX] = {"|A|D", "|-#|R#"};
static const char *const cpu_6809[STEPS_MAX] = {"", "|P|L|S|C|D|J|CP|CL|CS|PV|DC|CJ", "|-#"};
static const char *const cpu_z80_name[STEPS_MAX] = {"|-|/", "|CPU|A-CPU|ACPU", "|-",
                                                    "|D|P|PS|CS|D1|B1|F1|PC"};
static const char *const cpu_z80[STEPS_MAX] = {"|A|B|H|C", "|-",
                                               "|P|PS|CS|N|D|C|B1|D1|B6|D6|F1|AP|BP|CPU", "|-#"};
static const char *const cpu_z80_speed[STEPS_MAX] = {"04|06|08|10|20",
                                                     "PSC|PEC|PEG|PSG|CSC|CMB|DEC|DSE"};
static const char *const cpu_8088[STEPS_MAX] = {"|A|H", "|D|P|C", "|-#", "|D|P|C|DC|PC",
                                                "|/B|/883"};
static const char *const cpu_68000[STEPS_MAX] = {
    "", "|-#|P#|L#|P-#|L-#|P|L|LC#|CP#|CL#|LC|CP|CL|G#|C#|PS#|N#|Y#", "|N64|F|B|G|C|P"};

typedef struct spelling {
  const lu_part_type *type;
  const char *makers, *numbers;
  const char *const *rest;
} spelling;

static const spelling spellings[] = {
#define LU_SPELLING(id, makers, numbers, rest) {&lu_part_##id, makers, numbers, rest},
#include "board/recognise.def"
#undef LU_SPELLING
};

/* The length of text that one alternative takes, or -1. '#' is one to three digits: digits says how
 * many of them to take. */
static int takes(const char *alternative, size_t len, const char *text, int digits)
{
  const char *at = text;
  for (size_t i = 0; i < len; i++) {
    if (alternative[i] != '#') {
      if (*at++ != alternative[i])
        return -1;
      continue;
    }
    for (int n = 0; n < digits; n++)
      if (!isdigit((unsigned char)*at++))
        return -1;
  }
  return (int)(at - text);
}

/* Whether the steps can use up all of the text. */
static bool follows(const char *const *steps, size_t count, const char *text)
{
  if (count == 0)
    return *text == '\0';
  if (!*steps)
    return follows(steps + 1, count - 1, text);
  for (const char *at = *steps;; at++) {
    size_t len = strcspn(at, "|");
    int most = memchr(at, '#', len) ? 3 : 1;
    for (int digits = 1; digits <= most; digits++) {
      int used = takes(at, len, text, digits);
      if (used >= 0 && follows(steps + 1, count - 1, text + used))
        return true;
    }
    at += len;
    if (!*at)
      return false;
  }
}

/* Whether one of the alternatives stands anywhere in the text: cheap, and rules most rows out. */
static bool contains(const char *text, const char *alternatives)
{
  for (const char *at = alternatives;; at++) {
    size_t len = strcspn(at, "|");
    for (const char *in = text; (in = strchr(in, *at)); in++)
      if (strncmp(in, at, len) == 0)
        return true;
    at += len;
    if (!*at)
      return false;
  }
}

static const lu_part_type *by_spelling(const char *text)
{
  const char *steps[STEPS_MAX + 2];
  for (size_t i = 0; i < sizeof spellings / sizeof *spellings; i++) {
    if (!contains(text, spellings[i].numbers))
      continue;
    steps[0] = spellings[i].makers;
    steps[1] = spellings[i].numbers;
    memcpy(steps + 2, spellings[i].rest, STEPS_MAX * sizeof *steps);
    if (follows(steps, STEPS_MAX + 2, text))
      return spellings[i].type;
  }
  return NULL;
}

/* "74" or "54", a family, and the number: 74LS245 is the built-in 74245. */
static const lu_part_type *by_family(const char *text)
{
  if (!contains(text, "74|54"))
    return NULL;
  for (size_t i = 0; i < lu_part_type_count; i++) {
    const lu_part_type *type = lu_part_types[i];
    if (type->kind != LU_PART_LOGIC || !contains(text, type->name + 2))
      continue;
    const char *const steps[] = {LU_TTL_MAKERS,
                                 "74|54",
                                 LU_TTL_FAMILIES,
                                 type->name + 2,
                                 "|A|B|C|AT|BT|CT|T",
                                 LU_TTL_PACKAGES,
                                 "|-1|-Q1|/883|/883B|/883C|E4|G4"};
    if (follows(steps, sizeof steps / sizeof *steps, text))
      return type;
  }
  return NULL;
}

static const lu_part_type *by_text(const char *text)
{
  const lu_part_type *type = by_family(text);
  return type ? type : by_spelling(text);
}

/* Capitals without blanks; the micro sign is a U. False when it does not fit, is not plain ASCII,
 * or a blank parts two digits ("74 157" could be anything). */
static bool squeeze(const char *value, size_t len, char out[VALUE_MAX])
{
  size_t n = 0;
  bool gap = false;
  for (size_t i = 0; i < len; i++) {
    unsigned char c = (unsigned char)value[i];
    if (i + 1 < len && ((c == 0xc2 && (unsigned char)value[i + 1] == 0xb5) ||
                        (c == 0xce && (unsigned char)value[i + 1] == 0xbc)))
      c = 'U', i++;
    if (isspace(c)) {
      gap = n > 0;
      continue;
    }
    if (c >= 0x80 || n + 1 == VALUE_MAX)
      return false;
    if (gap && isdigit(c) && isdigit((unsigned char)out[n - 1]))
      return false;
    out[n++] = (char)toupper(c);
    gap = false;
  }
  out[n] = '\0';
  return n > 0;
}

/* Words that may follow a number without changing what it is. Not among them: names of packages
 * with other pin numbers, of sockets and adapters. */
static bool harmless(const char *word)
{
  static const char *const steps[] = {
      "|(", "DIP|DIL|PDIP|CDIP|CERDIP|SRAM|DRAM|RAM|EPROM|ROM|CPU|#NS|DIP-#|DIP#|DIL#|DIL-#", "|)"};
  return follows(steps, sizeof steps / sizeof *steps, word);
}

const lu_part_type *lu_part_recognise(const char *value)
{
  char text[VALUE_MAX];
  size_t len = strlen(value);
  if (len >= 4 * VALUE_MAX)
    return NULL;
  if (squeeze(value, len, text)) {
    const lu_part_type *type = by_text(text);
    if (type)
      return type;
  }
  const char *at = value + strspn(value, " \t\r\n");
  size_t first = strcspn(at, " \t\r\n,;");
  if (!at[first] || !squeeze(at, first, text))
    return NULL;
  const lu_part_type *type = by_text(text);
  for (at += first; type && *at;) {
    at += strspn(at, " \t\r\n,;");
    size_t word = strcspn(at, " \t\r\n,;");
    if (word && (!squeeze(at, word, text) || !harmless(text)))
      return NULL;
    at += word;
  }
  return type;
}
