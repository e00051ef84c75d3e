/* SPDX-License-Identifier: MIT */
/* The built-in parts: numbers without gaps, bits exactly once, supplies in their corners, cells
 * that do what the function tables say. Where the reference sheets of pin rows are at hand
 * (LU_SHARED, else
 * ../shared beside the source), every row of them is compared. */
#include "base/text.h"
#include "board/part.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

static const lu_part_type *need(const char *name)
{
  const lu_part_type *type = lu_part_named(name);
  if (!type)
    fail_msg("no built-in part %s", name);
  return type;
}

static void test_names__are_found_and_recognised(void **state)
{
  (void)state;
  assert_true(lu_part_type_count >= 55);
  for (size_t i = 0; i < lu_part_type_count; i++) {
    const lu_part_type *type = lu_part_types[i];
    assert_ptr_equal(lu_part_named(type->name), type);
    assert_ptr_equal(lu_part_recognise(type->name), type);
    assert_true(strlen(type->summary) > 5 && strlen(type->source) > 5);
    assert_true(strstr(type->source, "agree") || strstr(type->source, "one source") ||
                strstr(type->source, "from memory"));
  }
  assert_ptr_equal(lu_part_named("z80"), need("Z80"));
  assert_null(lu_part_named("6225"));
  assert_null(lu_part_named(""));
}

static void test_pins__numbered_from_one_without_gaps(void **state)
{
  (void)state;
  for (size_t i = 0; i < lu_part_type_count; i++) {
    const lu_part_type *type = lu_part_types[i];
    for (int p = 0; p < type->pin_count; p++) {
      char number[8];
      snprintf(number, sizeof number, "%d", p + 1);
      assert_string_equal(type->pins[p].number, number);
      assert_int_equal(lu_part_pin_by_number(type, number), p);
      assert_true(type->pins[p].function[0]);
      size_t len = strlen(type->pins[p].function);
      if (type->pins[p].function[len - 1] == '#')
        assert_true(type->pins[p].active_low);
    }
  }
}

static unsigned count_bit(const lu_part_type *type, lu_pin_role role, int bit)
{
  unsigned n = 0;
  for (int p = 0; p < type->pin_count; p++)
    n += type->pins[p].role == role && type->pins[p].index == bit;
  return n;
}

static unsigned count_role(const lu_part_type *type, lu_pin_role role)
{
  unsigned n = 0;
  for (int p = 0; p < type->pin_count; p++)
    n += type->pins[p].role == role;
  return n;
}

/* "32K x 8 ...": words and width as the summary says. */
static void check_size(const lu_part_type *type)
{
  char scale;
  unsigned words, width;
  const lu_memory_shape *m = &type->memory;
  assert_int_equal(sscanf(type->summary, "%u%c x %u", &words, &scale, &width), 3);
  uint64_t all = (uint64_t)words << (scale == 'K' ? 10 : 20);
  unsigned bits = m->multiplexed ? m->row_bits + m->column_bits : m->address_pins;
  if (all != UINT64_C(1) << bits || width != m->data_bits)
    fail_msg("%s is said to be %s, its pins give %u address bits and %u data bits", type->name,
             type->summary, bits, m->data_bits);
}

static void test_memories__each_bit_once_and_size_fits(void **state)
{
  (void)state;
  for (size_t i = 0; i < lu_part_type_count; i++) {
    const lu_part_type *type = lu_part_types[i];
    const lu_memory_shape *m = &type->memory;
    assert_int_equal(m->is_memory, type->kind == LU_PART_MEMORY);
    if (!m->is_memory)
      continue;
    assert_int_equal(count_role(type, LU_ROLE_ADDRESS), m->address_pins);
    for (int bit = 0; bit < m->address_pins; bit++)
      assert_int_equal(count_bit(type, LU_ROLE_ADDRESS, bit), 1);
    bool separate = count_role(type, LU_ROLE_DATA_OUT) > 0;
    assert_int_equal(count_role(type, LU_ROLE_DATA_IN), separate ? m->data_bits : 0);
    assert_int_equal(count_role(type, LU_ROLE_DATA), separate ? 0 : m->data_bits);
    for (int bit = 0; bit < m->data_bits; bit++)
      assert_int_equal(count_bit(type, separate ? LU_ROLE_DATA_OUT : LU_ROLE_DATA, bit), 1);
    assert_int_equal(count_role(type, LU_ROLE_WRITE), m->rom ? 0 : 1);
    assert_int_equal(count_role(type, LU_ROLE_RAS), m->multiplexed ? 1 : 0);
    assert_int_equal(count_role(type, LU_ROLE_CAS), m->multiplexed ? 1 : 0);
    assert_true(m->multiplexed || count_role(type, LU_ROLE_SELECT) > 0);
    check_size(type);
    if (m->refresh_rows) /* 15.6 us a row, as all the data sheets have it */
      assert_true(m->refresh_ms * 1000 / m->refresh_rows > 15.5f &&
                  m->refresh_ms * 1000 / m->refresh_rows < 15.7f);
  }
  assert_int_equal(need("4416")->memory.column_first, 1); /* column on A1 to A6 [memory] */
  assert_int_equal(need("4416")->memory.column_bits, 6);
  assert_int_equal(need("44256")->memory.refresh_rows, 512); /* OKI MSM514256C: 512 in 8 ms */
}

static void test_processors__each_bit_once(void **state)
{
  (void)state;
  static const struct {
    const char *name;
    int first_address, last_address, data;
  } rows[] = {
      {"6502",  0, 15, 8 },
      {"6510",  0, 15, 8 },
      {"6809",  0, 15, 8 },
      {"Z80",   0, 15, 8 },
      {"8088",  0, 19, 8 },
      {"68000", 1, 23, 16}
  };
  for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
    const lu_part_type *type = need(rows[i].name);
    assert_int_equal(type->kind, LU_PART_PROCESSOR);
    for (int bit = -1; bit <= 24; bit++) {
      int found = 0, at;
      for (int p = 0; p < type->pin_count; p++)
        found += lu_pin_address(&type->pins[p], &at) && at == bit;
      assert_int_equal(found, bit >= rows[i].first_address && bit <= rows[i].last_address);
      assert_int_equal(count_bit(type, LU_ROLE_DATA, bit), bit >= 0 && bit < rows[i].data);
    }
    assert_true(count_role(type, LU_ROLE_STROBE) >= 2);
  }
}

/* Supplies. The rule of dual-in-line packages: ground at the last pin of the left row, supply at
 * the last pin of the right; dynamic memories the other way round. The rest is listed, from the
 * data sheets and pin lists that docs/parts.md names. */
static void test_supplies__in_their_corners(void **state)
{
  (void)state;
  static const struct {
    const char *name;
    int ground[2], supply[3];
  } others[] = {
      {"4116",    {16, 0},  {1, 8, 9}  },
      {"27C1024", {11, 30}, {1, 40, 0} },
      {"27C400",  {11, 30}, {21, 0, 0} },
      {"27C800",  {12, 31}, {22, 0, 0} },
      {"6502",    {1, 21},  {8, 0, 0}  },
      {"6510",    {21, 0},  {6, 0, 0}  },
      {"6809",    {1, 0},   {7, 0, 0}  },
      {"Z80",     {29, 0},  {11, 0, 0} },
      {"8088",    {1, 20},  {40, 0, 0} },
      {"68000",   {16, 53}, {14, 49, 0}},
      {"2716",    {12, 0},  {21, 24, 0}},
      {"2764",    {14, 0},  {1, 28, 0} },
      {"27128",   {14, 0},  {1, 28, 0} },
      {"27256",   {14, 0},  {1, 28, 0} },
      {"27C010",  {16, 0},  {1, 32, 0} },
      {"27C020",  {16, 0},  {1, 32, 0} },
      {"27C040",  {16, 0},  {1, 32, 0} },
  };
  for (size_t i = 0; i < lu_part_type_count; i++) {
    const lu_part_type *type = lu_part_types[i];
    int left = type->pin_count / 2, right = type->pin_count;
    int ground[2] = {type->memory.multiplexed ? right : left, 0};
    int supply[3] = {type->memory.multiplexed ? left : right, 0, 0};
    for (size_t k = 0; k < sizeof others / sizeof *others; k++)
      if (strcmp(others[k].name, type->name) == 0) {
        memcpy(ground, others[k].ground, sizeof ground);
        memcpy(supply, others[k].supply, sizeof supply);
      }
    for (int p = 0; p < type->pin_count; p++) {
      int n = p + 1;
      bool is_ground = n == ground[0] || n == ground[1];
      bool is_supply = n == supply[0] || n == supply[1] || n == supply[2];
      if ((type->pins[p].role == LU_ROLE_GROUND) != is_ground ||
          (type->pins[p].role == LU_ROLE_SUPPLY) != is_supply)
        fail_msg("%s pin %d (%s)", type->name, n, type->pins[p].function);
    }
  }
}

/* A smaller byte-wide memory sits at the bottom of the larger socket: what both have, stands at pin
 * + shift. Rule of the byte-wide family (JEDEC 21-C by way of docs/parts.md). */
static void same_socket(const char *small, const char *large, int low_bits)
{
  const lu_part_type *a = need(small), *b = need(large);
  int shift = (b->pin_count - a->pin_count) / 2, checked = 0;
  for (int p = 0; p < a->pin_count; p++) {
    const lu_part_pin *x = &a->pins[p], *y = &b->pins[p + shift];
    bool shared = x->role == LU_ROLE_DATA || x->role == LU_ROLE_GROUND ||
                  (x->role == LU_ROLE_ADDRESS && x->index < low_bits);
    if (!shared)
      continue;
    if (x->role != y->role || x->index != y->index)
      fail_msg("%s pin %s is %s, but %s pin %s is %s", small, x->number, x->function, large,
               y->number, y->function);
    checked++;
  }
  assert_int_equal(checked, 8 + 1 + low_bits);
}

static void test_byte_wide_memories__fit_the_larger_socket(void **state)
{
  (void)state;
  same_socket("2716", "2732", 11);
  same_socket("6116", "2716", 11);
  same_socket("2716", "2764", 11);
  same_socket("6116", "6264", 11);
  same_socket("2764", "27128", 13);
  same_socket("27128", "27256", 14);
  same_socket("27256", "27512", 15);
  same_socket("6264", "62256", 13);
  same_socket("62256", "628128", 13);
  same_socket("628128", "628512", 17);
  same_socket("27512", "27C010", 13);
  same_socket("27C010", "27C020", 17);
  same_socket("27C020", "27C040", 18);
  same_socket("27256", "62256", 13);
}

/* ---- cells ---- */

enum { LOW_LEVEL, HIGH_LEVEL, FLOATING, HOLDING, NOT_DRIVEN };

static bool enabled(const lu_cell *cell, const int *level)
{
  for (int i = 0; i < cell->enable_count; i++)
    if (level[cell->enables[i].pin] != (int)cell->enables[i].high)
      return false;
  return true;
}

static unsigned selected(const lu_cell *cell, const int *level)
{
  unsigned n = 0;
  for (int i = 0; i < cell->select_count; i++)
    n |= (unsigned)level[cell->select[i]] << i;
  return n;
}

/* The data path of a cell to a pin: the level before inversion. */
static int path(const lu_cell *cell, const int *level, int pin)
{
  int all = 1, any = 0;
  for (int i = 0; i < cell->input_count; i++) {
    all &= level[cell->inputs[i]];
    any |= level[cell->inputs[i]];
  }
  switch (cell->kind) {
  case LU_CELL_AND:
    return all;
  case LU_CELL_OR:
    return any;
  case LU_CELL_MUX:
    return level[cell->inputs[selected(cell, level)]];
  case LU_CELL_DECODER:
    return cell->outputs[selected(cell, level)] == pin;
  case LU_CELL_LATCH:
    return level[cell->gate.pin] == (int)cell->gate.high ? all : HOLDING;
  case LU_CELL_REGISTER: /* just after an edge of the clock */
    return all;
  case LU_CELL_TRANSCEIVER:
    return level[pin == cell->outputs[0] ? cell->inputs[0] : cell->outputs[0]];
  case LU_CELL_XOR:
  case LU_CELL_WIRE:
    break;
  }
  fail_msg("a kind of cell that no built-in part has");
  return NOT_DRIVEN;
}

/* What the part puts on a pin. */
static int driven(const lu_part_type *type, const int *level, int pin)
{
  int result = NOT_DRIVEN;
  for (int c = 0; c < type->cell_count; c++) {
    const lu_cell *cell = &type->cells[c];
    bool drives = false;
    for (int i = 0; i < cell->output_count; i++)
      drives |= cell->outputs[i] == pin;
    if (cell->kind == LU_CELL_TRANSCEIVER) {
      bool to_b = level[cell->gate.pin] == (int)cell->gate.high;
      drives = (to_b && cell->outputs[0] == pin) || (!to_b && cell->inputs[0] == pin);
    }
    if (!drives)
      continue;
    assert_int_equal(result, NOT_DRIVEN); /* one cell a pin */
    if (!enabled(cell, level))
      result = cell->off == LU_OFF_FLOATS ? FLOATING : cell->off == LU_OFF_HIGH;
    else
      result = path(cell, level, pin);
    if (enabled(cell, level) && result <= HIGH_LEVEL)
      result ^= cell->inverted;
  }
  return result;
}

static void test_cells__name_pins_that_exist_once(void **state)
{
  (void)state;
  for (size_t t = 0; t < lu_part_type_count; t++) {
    const lu_part_type *type = lu_part_types[t];
    for (int c = 0; c < type->cell_count; c++) {
      const lu_cell *cell = &type->cells[c];
      assert_in_range(cell->output_count, 1, 8);
      for (int i = 0; i < cell->output_count; i++) {
        assert_in_range(cell->outputs[i], 0, type->pin_count - 1);
        lu_pin_role role = type->pins[cell->outputs[i]].role;
        assert_int_equal(role, cell->kind == LU_CELL_TRANSCEIVER ? LU_ROLE_DATA : LU_ROLE_OUTPUT);
      }
      for (int i = 0; i < cell->input_count; i++)
        assert_int_equal(type->pins[cell->inputs[i]].role,
                         cell->kind == LU_CELL_TRANSCEIVER ? LU_ROLE_DATA : LU_ROLE_INPUT);
      for (int i = 0; i < cell->select_count; i++)
        assert_int_equal(type->pins[cell->select[i]].role, LU_ROLE_INPUT);
      for (int i = 0; i < cell->enable_count; i++) {
        const lu_part_pin *pin = &type->pins[cell->enables[i].pin];
        assert_int_equal(pin->role, LU_ROLE_INPUT);
        if (cell->kind != LU_CELL_REGISTER || cell->enable_count == 1)
          assert_int_equal(cell->enables[i].high, !pin->active_low);
      }
      if (cell->kind == LU_CELL_MUX)
        assert_int_equal(cell->input_count, 1 << cell->select_count);
      if (cell->kind == LU_CELL_DECODER)
        assert_int_equal(cell->output_count, 1 << cell->select_count);
    }
    if (type->kind == LU_PART_LOGIC && strncmp(type->name, "7416", 4) != 0) {
      int level[64] = {0};
      for (int p = 0; p < type->pin_count; p++) /* every output has its cell */
        if (type->pins[p].role == LU_ROLE_OUTPUT)
          assert_int_not_equal(driven(type, level, p), NOT_DRIVEN);
    }
  }
}

static void set(int *level, int pin, int high)
{
  level[pin - 1] = high;
}

/* Function tables of the data book: "H L L" on G1, G2A#, G2B# selects, all else gives all high. */
static void test_decoders__follow_their_function_tables(void **state)
{
  (void)state;
  static const int y138[8] = {15, 14, 13, 12, 11, 10, 9, 7};
  static const int y139[2][4] = {
      {4,  5,  6,  7},
      {12, 11, 10, 9}
  };
  static const int in139[2][3] = {
      {1,  2,  3 },
      {15, 14, 13}
  };
  for (int n = 0; n < 64; n++) {
    int level[16] = {0};
    for (int bit = 0; bit < 6; bit++)
      set(level, bit + 1, n >> bit & 1);
    bool on = (n >> 3) == 4; /* pins 4 and 5 low, 6 high */
    for (int y = 0; y < 8; y++)
      assert_int_equal(driven(need("74138"), level, y138[y] - 1), !(on && (n & 7) == y));
  }
  for (int half = 0; half < 2; half++)
    for (int n = 0; n < 8; n++) {
      int level[16] = {0};
      for (int bit = 0; bit < 3; bit++)
        set(level, in139[half][bit], n >> bit & 1);
      for (int y = 0; y < 4; y++)
        assert_int_equal(driven(need("74139"), level, y139[half][y] - 1), !(n == y << 1));
    }
}

/* What a switched-off output does (data book function tables). */
static void test_outputs__when_off(void **state)
{
  (void)state;
  static const struct {
    const char *name;
    int enable, output, off;
  } rows[] = {
      {"74157", 15, 4,  LOW_LEVEL },
      {"74158", 15, 4,  HIGH_LEVEL},
      {"74257", 15, 12, FLOATING  },
      {"74151", 7,  5,  LOW_LEVEL },
      {"74151", 7,  6,  HIGH_LEVEL},
      {"74153", 1,  7,  LOW_LEVEL },
      {"74153", 15, 9,  LOW_LEVEL },
      {"74240", 1,  18, FLOATING  },
      {"74244", 19, 3,  FLOATING  },
      {"74541", 1,  18, FLOATING  },
      {"74541", 19, 11, FLOATING  },
      {"74373", 1,  2,  FLOATING  },
      {"74374", 1,  19, FLOATING  },
      {"74573", 1,  19, FLOATING  },
      {"74574", 1,  12, FLOATING  },
      {"74245", 19, 2,  FLOATING  },
      {"74640", 19, 9,  FLOATING  },
  };
  for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
    int level[64] = {0};
    for (int p = 0; p < 20; p++) /* all data inputs high: an on output would show it */
      level[p] = rows[i].off == LOW_LEVEL || rows[i].off == HIGH_LEVEL;
    if (strncmp(rows[i].name, "74245", 5) == 0 || strncmp(rows[i].name, "74640", 5) == 0)
      level[0] = 0; /* towards A */
    set(level, rows[i].enable, 1);
    assert_int_equal(driven(need(rows[i].name), level, rows[i].output - 1), rows[i].off);
  }
  int level[14] = {0}; /* 7474: cleared is Q low, Q# high */
  set(level, 4, 1), set(level, 2, 1);
  assert_int_equal(driven(need("7474"), level, 4), LOW_LEVEL);
  assert_int_equal(driven(need("7474"), level, 5), HIGH_LEVEL);
  assert_int_equal(need("74161")->cell_count + need("74163")->cell_count, 0);
}

/* ---- lookup ---- */

static void test_lookup__by_function_in_any_notation(void **state)
{
  (void)state;
  static const struct {
    const char *part, *function;
    int pin; /* 0 = none */
  } rows[] = {
      {"62256",  "CS#",    20},
      {"62256",  "/CS",    20},
      {"62256",  "~{WE}",  27},
      {"62256",  "A1",     9 },
      {"62256",  "A10",    21},
      {"62256",  "A15",    0 },
      {"7474",   "1Q",     5 },
      {"7474",   "1Q#",    6 },
      {"7474",   "/1Q",    6 },
      {"Z80",    "RD",     21},
      {"Z80",    "RD_N",   21},
      {"68000",  "R/W",    9 },
      {"68000",  "R/~{W}", 9 },
      {"6502",   "PHI2",   39},
      {"8088",   "A3",     13},
      {"8088",   "D3",     13},
      {"8088",   "AD3",    13},
      {"8088",   "A16",    38},
      {"8088",   "S3",     38},
      {"8088",   "A8",     8 },
      {"8088",   "ale",    25},
      {"27C400", "D15",    29},
      {"27C400", "A-1",    29},
      {"2732",   "OE",     20},
      {"2732",   "VPP",    20},
      {"4116",   "VBB",    1 },
      {"68000",  "A0",     0 },
      {"68000",  "",       0 },
      {"74245",  "B8",     11},
      {"4416",   "DQ4",    17},
      {"27C010", "A9",     26},
      {"6809",   "E",      34},
  };
  for (size_t i = 0; i < sizeof rows / sizeof *rows; i++)
    if (lu_part_pin_by_function(need(rows[i].part), rows[i].function) != rows[i].pin - 1)
      fail_msg("%s %s: expected pin %d, found %d", rows[i].part, rows[i].function, rows[i].pin,
               lu_part_pin_by_function(need(rows[i].part), rows[i].function) + 1);
  assert_int_equal(lu_part_pin_by_number(need("62256"), "29"), -1);
  int bit = 7;
  assert_true(lu_pin_address(&need("27C400")->pins[28], &bit) && bit == -1);
  assert_false(lu_pin_address(&need("27C400")->pins[12], &bit));
}

/* Each part has a row in docs/parts.md with its count of pins, its summary and its source. */
static void test_docs__have_a_row_for_each_part(void **state)
{
  (void)state;
  static char page[1 << 16], row[1024];
  FILE *file = fopen(LU_TOP "/docs/parts.md", "r");
  assert_non_null(file);
  page[fread(page, 1, sizeof page - 1, file)] = '\0';
  fclose(file);
  for (size_t i = 0; i < lu_part_type_count; i++) {
    const lu_part_type *type = lu_part_types[i];
    snprintf(row, sizeof row, "\n| %s | %d | %s | %s |\n", type->name, type->pin_count,
             type->summary, type->source);
    if (!strstr(page, row))
      fail_msg("docs/parts.md has no row%s", row);
  }
}

/* ---- reference sheets ---- */

static FILE *open_sheet(const char *name)
{
  char path_name[1024];
  const char *shared = getenv("LU_SHARED");
  snprintf(path_name, sizeof path_name, "%s%s/reference/%s", shared ? shared : LU_TOP,
           shared ? "" : "/../shared", name);
  FILE *file = fopen(path_name, "r");
  if (!file)
    print_message("skipped: %s is not here\n", path_name);
  return file;
}

/* Splits a CSV line in place; fields may be quoted. */
static int fields_of(char *line, char **field, int most)
{
  int n = 0;
  line[strcspn(line, "\r\n")] = '\0';
  for (char *at = line; n < most;) {
    bool quoted = *at == '"';
    at += quoted;
    field[n++] = at;
    at += strcspn(at, quoted ? "\"" : ",");
    if (quoted && *at)
      *at++ = '\0';
    if (!*at)
      break;
    *at++ = '\0';
  }
  return n;
}

static void test_sheet__every_pin_row(void **state)
{
  (void)state;
  FILE *file = open_sheet("pinouts.csv");
  if (!file)
    skip();
  char line[512], *f[8];
  int rows = 0, all = 0;
  while (fgets(line, sizeof line, file)) {
    if (fields_of(line, f, 8) < 4 || strcmp(f[0], "part") == 0)
      continue;
    const lu_part_type *type = need(f[0]);
    int pin = lu_part_pin_by_number(type, f[2]);
    assert_int_equal(type->pin_count, atoi(f[1]));
    assert_true(pin >= 0);
    if (strcmp(type->pins[pin].function, f[3]) != 0)
      fail_msg("%s pin %s: the sheet has %s, the table %s", f[0], f[2], f[3],
               type->pins[pin].function);
    rows++;
  }
  fclose(file);
  for (size_t i = 0; i < lu_part_type_count; i++)
    all += lu_part_types[i]->pin_count;
  assert_int_equal(rows, all);
}

static int pin_named(const lu_part_type *type, char letter)
{
  char name[2] = {letter, '\0'};
  return lu_part_pin_by_function(type, name);
}

typedef struct condition {
  int count;
  int pin[8], high[8];
} condition;

static void add(condition *c, int pin, char letter)
{
  c->pin[c->count] = pin;
  c->high[c->count++] = letter == 'H';
}

/* The levels that a row's text asks for: "pin 15 (G#) L", "pins 1 and 19 both L", "CBA = LLH".
 * "clock edge L->H on pin 3" asks for no level. */
static condition levels_of(const lu_part_type *type, const char *text)
{
  condition c = {0};
  for (const char *at = text; (at = strstr(at, "pin")); at++) {
    int pin[2], used = 0, n;
    char level;
    n = sscanf(at, "pins %d and %d%n", &pin[0], &pin[1], &used) == 2 ? 2
        : sscanf(at, "pin %d%n", &pin[0], &used) == 1                ? 1
                                                                     : 0;
    const char *rest = at + used;
    if (strncmp(rest, " (", 2) == 0)
      rest += strcspn(rest, ")") + 1;
    if (strncmp(rest, " both", 5) == 0)
      rest += 5;
    level = rest[0] == ' ' ? rest[1] : '\0';
    for (int i = 0; i < n && (level == 'H' || level == 'L'); i++)
      add(&c, pin[i] - 1, level);
  }
  const char *is = strstr(text, "BA = ");
  if (is) {
    const char *name = is > text && is[-1] == 'C' ? is - 1 : is;
    for (int i = 0; name[i] != ' '; i++)
      add(&c, pin_named(type, name[i]), is[5 + i]);
  }
  return c;
}

/* -1 = the output does not follow the input, else 0 same sense, 1 inverted. */
static int sense_of(const lu_part_type *type, int *level, int in, int out)
{
  level[in] = 0;
  int low = driven(type, level, out);
  level[in] = 1;
  int high = driven(type, level, out);
  return low == 0 && high == 1 ? 0 : low == 1 && high == 0 ? 1 : -1;
}

static void check_way(const lu_part_type *type, char *const *f, const condition *c)
{
  int level[64] = {0}, in = atoi(f[1]) - 1, out = atoi(f[2]) - 1;
  assert_string_equal(type->pins[in].function, f[3]);
  assert_string_equal(type->pins[out].function, f[4]);
  for (int i = 0; i < c->count; i++)
    level[c->pin[i]] = c->high[i];
  if (sense_of(type, level, in, out) != (f[5][0] == '-'))
    fail_msg("%s: pin %s to pin %s (%s) under %s", f[0], f[1], f[2], f[5], f[6]);
  for (int i = 0; i < c->count; i++) { /* each condition is needed */
    level[c->pin[i]] ^= 1;
    if (sense_of(type, level, in, out) >= 0)
      fail_msg("%s: pin %s reaches pin %s without pin %d as %s says", f[0], f[1], f[2],
               c->pin[i] + 1, f[6]);
    level[c->pin[i]] ^= 1;
  }
}

static void test_sheet__every_way_through(void **state)
{
  (void)state;
  FILE *file = open_sheet("passthrough.csv");
  if (!file)
    skip();
  char line[512], *f[8];
  int rows = 0, ways = 0;
  condition c = {0};
  while (fgets(line, sizeof line, file)) {
    if (fields_of(line, f, 8) < 7 || strcmp(f[0], "part") == 0)
      continue;
    const lu_part_type *type = need(f[0]);
    if (strcmp(f[6], "as above") != 0)
      c = levels_of(type, f[6]);
    check_way(type, f, &c);
    rows++;
  }
  fclose(file);
  for (size_t t = 0; t < lu_part_type_count; t++)
    for (int i = 0; i < lu_part_types[t]->cell_count; i++) {
      const lu_cell *cell = &lu_part_types[t]->cells[i];
      ways += cell->input_count * cell->output_count * (cell->kind == LU_CELL_TRANSCEIVER ? 2 : 1);
    }
  assert_int_equal(rows, ways);
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(test_names__are_found_and_recognised),
      cmocka_unit_test(test_pins__numbered_from_one_without_gaps),
      cmocka_unit_test(test_memories__each_bit_once_and_size_fits),
      cmocka_unit_test(test_processors__each_bit_once),
      cmocka_unit_test(test_supplies__in_their_corners),
      cmocka_unit_test(test_byte_wide_memories__fit_the_larger_socket),
      cmocka_unit_test(test_cells__name_pins_that_exist_once),
      cmocka_unit_test(test_decoders__follow_their_function_tables),
      cmocka_unit_test(test_outputs__when_off),
      cmocka_unit_test(test_lookup__by_function_in_any_notation),
      cmocka_unit_test(test_docs__have_a_row_for_each_part),
      cmocka_unit_test(test_sheet__every_pin_row),
      cmocka_unit_test(test_sheet__every_way_through),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
