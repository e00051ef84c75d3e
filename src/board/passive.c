/* SPDX-License-Identifier: MIT */
/* Resistors, packs of resistors, jumpers, inductors and connectors: known by their reference.
 *
 * A pack is either isolated (each resistor has two pins of its own: a way for signals) or bussed
 * (one pin is common: pull-ups, no way for signals). Which one, in this order: an odd number of
 * pins is bussed; the value field says so in words or as a maker's code; a resistance of at most
 * SERIES_MAX ohms is a series resistor, a larger one a pull-up; without a value, only the
 * dual-in-line sizes 14 and 16 are taken as isolated. To join nets that are not joined would
 * mislead the whole search, so the doubtful case passes nothing. (Common practice, no source.) */
#include "base/text.h"
#include "board/part.h"

#include <ctype.h>
#include <string.h>

enum { PINS_MAX = 4096, PACK_MAX = 64, VALUE_MAX = 64, SERIES_MAX = 470 };

typedef enum passive {
  NOT_PASSIVE,
  TWO_PINS, /* a wire if it has two pins; R with more is a pack */
  PACK,
  CONNECTOR
} passive;

static passive kind_of(const char *ref)
{
  static const struct {
    const char *letters;
    passive kind;
  } kinds[] = {
      {"R",   TWO_PINS },
      {"RN",  PACK     },
      {"RP",  PACK     },
      {"RA",  PACK     },
      {"RR",  PACK     },
      {"JP",  TWO_PINS },
      {"W",   TWO_PINS },
      {"L",   TWO_PINS },
      {"FB",  TWO_PINS },
      {"SJ",  TWO_PINS },
      {"J",   CONNECTOR},
      {"P",   CONNECTOR},
      {"CN",  CONNECTOR},
      {"CON", CONNECTOR},
  };
  size_t len = 0;
  while (isalpha((unsigned char)ref[len]))
    len++;
  for (size_t i = 0; i < sizeof kinds / sizeof *kinds; i++) {
    size_t k = 0;
    while (k < len && toupper((unsigned char)ref[k]) == kinds[i].letters[k])
      k++;
    if (k == len && kinds[i].letters[k] == '\0' && len > 0)
      return kinds[i].kind;
  }
  return NOT_PASSIVE;
}

/* The value in capitals without blanks, cut at VALUE_MAX. */
static void capitals(const char *value, char out[VALUE_MAX])
{
  size_t n = 0;
  for (; value && *value && n + 1 < VALUE_MAX; value++)
    if (!isspace((unsigned char)*value))
      out[n++] = (char)toupper((unsigned char)*value);
  out[n] = '\0';
}

static bool has_any(const char *text, const char *const *words)
{
  for (; *words; words++)
    if (strstr(text, *words))
      return true;
  return false;
}

/* One resistance: "33", "33R", "4K7", "4.7K", "0R". Moves *at past it; -1 if none stands there.
 * *unit says whether a letter stood with it. */
static double one_value(const char **at, bool *unit)
{
  double value = 0, place = 0, scale = 1;
  *unit = false;
  if (!isdigit((unsigned char)**at))
    return -1;
  for (;; (*at)++) {
    char c = **at;
    if (isdigit((unsigned char)c)) {
      if (place > 0) {
        value += (c - '0') * place;
        place /= 10;
      } else {
        value = value * 10 + (c - '0');
      }
    } else if (c == 'K' || c == 'M' || c == 'R') {
      if (*unit)
        return value * scale;
      scale = c == 'K' ? 1e3 : c == 'M' ? 1e6 : 1;
      *unit = true;
      place = place > 0 ? place : 0.1;
    } else if ((c == '.' || c == ',') && place == 0) {
      place = 0.1;
    } else {
      return value * scale;
    }
  }
}

/* Ohms in a value; "8X33R" and "33X8" are eight of 33 ohms. -1 if it does not start with a number.
 */
static double ohms_of(const char *text)
{
  bool unit, second_unit;
  double first = one_value(&text, &unit);
  if (first < 0 || unit || *text != 'X')
    return first;
  text++;
  double second = one_value(&text, &second_unit);
  return second_unit || second > first ? second : first;
}

static bool is_isolated(const char *text, size_t count)
{
  static const char *const isolated[] = {"ISO", "SERIES", "INDIV", "-102-", NULL};
  static const char *const bussed[] = {"BUS", "COMMON", "PULL", "STAR", "DUAL", "-101-", "/", NULL};
  if (count % 2 || count < 4)
    return false;
  if (has_any(text, isolated))
    return true;
  if (has_any(text, bussed)) /* also "220/330": a divider at each pin */
    return false;
  if (strncmp(text, "41", 2) == 0 && strlen(text) > 6 && text[4] == 'R' && text[5] == '-')
    return text[6] == '1'; /* 4116R-1-330: a maker's DIP code, 1 isolated, 2 bussed */
  double ohms = ohms_of(text);
  if (ohms < 0)
    return count == 14 || count == 16;
  return ohms <= SERIES_MAX;
}

/* In-line packs pair neighbours (1-2, 3-4), dual-in-line and chip packs the pins across (1-16,
 * 2-15). From 14 pins on it is dual-in-line; below, in-line unless the value says otherwise. */
static bool pairs_across(const char *text, size_t count)
{
  static const char *const in_line[] = {"SIP", "SIL", NULL};
  static const char *const across[] = {"DIP", "DIL", "SMD", "SOIC", "CHIP", "ARRAY", NULL};
  if (has_any(text, in_line))
    return false;
  return has_any(text, across) || count >= 14;
}

static lu_cell wire(int a, int b)
{
  return (lu_cell){.kind = LU_CELL_WIRE,
                   .input_count = 1,
                   .output_count = 1,
                   .inputs = {(uint16_t)a},
                   .outputs = {(uint16_t)b}};
}

/* Which pin stands in which place of the package: by its number, since a netlist may list pins in
 * any order and leave out what is not connected; in natural order where numbers are no numbers.
 * Returns the number of places, 0 if there are too many or one is taken twice. */
static size_t places_of(const lu_part_pin *pins, size_t count, int place[PACK_MAX])
{
  size_t size = 0;
  bool numeric = true;
  for (size_t i = 0; i < PACK_MAX; i++)
    place[i] = -1;
  for (size_t i = 0; i < count && numeric; i++) {
    uint64_t n = 0;
    numeric = lu_text_u64(pins[i].number, strlen(pins[i].number), 10, PACK_MAX, &n) && n > 0;
    if (!numeric)
      break;
    if (place[n - 1] >= 0)
      return 0;
    place[n - 1] = (int)i;
    size = n > size ? n : size;
  }
  if (numeric)
    return size;
  if (count > PACK_MAX)
    return 0;
  for (size_t i = 0; i < count; i++) {
    size_t k = i;
    for (; k > 0 && lu_text_order(pins[place[k - 1]].number, pins[i].number) > 0; k--)
      place[k] = place[k - 1];
    place[k] = (int)i;
  }
  return count;
}

static lu_status add_pairs(lu_part_type *type, const int *place, size_t size, bool across,
                           lu_arena *mem)
{
  lu_cell *cells = LU_NEW(mem, lu_cell, size / 2);
  if (!cells)
    return LU_ERR_NOMEM;
  for (size_t i = 0; i < size / 2; i++) {
    int a = across ? place[i] : place[2 * i];
    int b = across ? place[size - 1 - i] : place[2 * i + 1];
    if (a >= 0 && b >= 0)
      cells[type->cell_count++] = wire(a, b);
  }
  type->cells = cells;
  return LU_OK;
}

static lu_status add_wires(lu_part_type *type, passive kind, const char *ref, const char *value,
                           lu_arena *mem)
{
  int place[PACK_MAX];
  if (kind == CONNECTOR)
    return LU_OK;
  if (kind == TWO_PINS && type->pin_count == 2)
    return add_pairs(type, (const int[]){0, 1}, 2, false, mem);
  if (kind == TWO_PINS && toupper((unsigned char)ref[0]) != 'R')
    return LU_OK; /* a three-pin jumper: which way it is set is not known */
  char text[VALUE_MAX];
  capitals(value, text);
  size_t size = places_of(type->pins, type->pin_count, place);
  if (!is_isolated(text, size))
    return LU_OK;
  return add_pairs(type, place, size, pairs_across(text, size), mem);
}

lu_status lu_passive_type(const char *ref, const char *value, const char *const *numbers,
                          size_t count, lu_arena *mem, const lu_part_type **out)
{
  passive kind = kind_of(ref);
  if (kind == NOT_PASSIVE || count == 0 || count > PINS_MAX) {
    *out = NULL;
    return LU_OK;
  }
  lu_part_type *type = LU_NEW(mem, lu_part_type, 1);
  lu_part_pin *pins = LU_NEW(mem, lu_part_pin, count);
  if (!type || !pins)
    return LU_ERR_NOMEM;
  for (size_t i = 0; i < count; i++)
    pins[i] = (lu_part_pin){.number = numbers[i], .function = numbers[i], .role = LU_ROLE_PASSIVE};
  *type = (lu_part_type){.name = kind == CONNECTOR ? "connector" : "passive",
                         .summary = "passive part",
                         .source = "its reference and value",
                         .kind = LU_PART_PASSIVE,
                         .pin_count = (uint16_t)count,
                         .pins = pins};
  lu_status status = add_wires(type, kind, ref, value, mem);
  if (!status)
    *out = type;
  return status;
}
