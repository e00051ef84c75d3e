/* SPDX-License-Identifier: MIT */
#ifndef LU_BOARD_PART_H
#define LU_BOARD_PART_H
/* Part types: what each pin of a chip is, and what goes through it from pin to pin.
 *
 * Built-in types are rows of data (src/board/parts/); a board file can add its own. Facts and
 * their sources: docs/parts.md.
 *
 * Built-in types: pins[i].number is i + 1. On logic parts the roles are only INPUT, OUTPUT, SUPPLY,
 * GROUND, NONE, and DATA for both sides of a transceiver (index counts from 0 within a side): what
 * enables, selects and clocks do stands in the cells. A cell's off level is the level on the pin.
 * Counters have no cells. A flip-flop's clear and preset are both enables; the off level is clear's. */
#include "base/arena.h"
#include "base/err.h"

#include <stdbool.h>
#include <stdint.h>

typedef enum lu_pin_role {
  LU_ROLE_NONE,      /* not connected or of no interest here */
  LU_ROLE_SUPPLY,    /* VCC, VDD, +5V, VPP tied high ... */
  LU_ROLE_GROUND,
  LU_ROLE_ADDRESS,   /* index = address bit as the maker numbers it; -1 for "A-1" */
  LU_ROLE_DATA,      /* in and out on one pin; index from 0 */
  LU_ROLE_DATA_IN,   /* separate input (DIN, D) */
  LU_ROLE_DATA_OUT,  /* separate output (DOUT, Q) */
  LU_ROLE_SELECT,    /* chip select or enable; all must be active */
  LU_ROLE_OUTPUT_ENABLE,
  LU_ROLE_WRITE,     /* write enable; R/W# pins: active low = write */
  LU_ROLE_RAS,
  LU_ROLE_CAS,
  LU_ROLE_STROBE,    /* a processor's bus control output; function names it: RD#, R/W#, AS# ... */
  LU_ROLE_INPUT,     /* some other input */
  LU_ROLE_OUTPUT,    /* some other output (of logic, see cells) */
  LU_ROLE_PASSIVE    /* resistor, connector, jumper */
} lu_pin_role;

typedef struct lu_part_pin {
  const char *number;    /* "12", "A3" */
  const char *function;  /* "A14", "WE#"; never NULL */
  lu_pin_role role;
  int16_t index;         /* bit number for ADDRESS, DATA, DATA_IN, DATA_OUT; else 0 */
  bool active_low;
} lu_part_pin;

/* One level on one pin of the same part. */
typedef struct lu_pin_level {
  uint16_t pin;          /* index into pins */
  bool high;
} lu_pin_level;

typedef enum lu_cell_kind {
  LU_CELL_AND,         /* inputs -> outputs[0]; inverted: NAND. One input: a buffer or inverter */
  LU_CELL_OR,          /* inverted: NOR */
  LU_CELL_XOR,
  LU_CELL_MUX,         /* outputs[0] = inputs[select], select[0] = least significant */
  LU_CELL_DECODER,     /* outputs[select] active (low if inverted), all others not */
  LU_CELL_LATCH,       /* outputs[0] follows inputs[0] while gate is at its level, else holds */
  LU_CELL_REGISTER,    /* outputs[0] takes inputs[0] at the clock edge to gate's level */
  LU_CELL_TRANSCEIVER, /* inputs[0] = A side, outputs[0] = B side; gate = direction pin: at its
                          level A drives B, else B drives A */
  LU_CELL_WIRE         /* both ways, always: resistor, jumper, declared link; and a declared pass
                          without direction */
} lu_cell_kind;

typedef enum lu_cell_off { LU_OFF_FLOATS, LU_OFF_LOW, LU_OFF_HIGH } lu_cell_off;
typedef enum lu_phase { LU_PHASE_ALWAYS, LU_PHASE_ROW, LU_PHASE_COLUMN } lu_phase;

/* One function inside a part. Pins are indexes into the part's pins. */
typedef struct lu_cell {
  lu_cell_kind kind;
  bool inverted;
  uint8_t input_count, output_count, select_count, enable_count;
  uint16_t inputs[8], outputs[8], select[4];
  lu_pin_level enables[4];  /* all must hold, else the output is as off says */
  lu_pin_level gate;        /* LATCH, REGISTER, TRANSCEIVER; for others unused */
  bool has_gate;            /* false on a TRANSCEIVER: direction follows the access */
  lu_cell_off off;
  lu_phase phase;           /* declared passes: only in this phase of an access */
} lu_cell;

typedef enum lu_part_kind {
  LU_PART_UNKNOWN, LU_PART_MEMORY, LU_PART_LOGIC, LU_PART_PROCESSOR, LU_PART_PASSIVE, LU_PART_CUSTOM
} lu_part_kind;

typedef struct lu_memory_shape {
  bool is_memory;
  bool rom;              /* cannot be written in circuit */
  bool multiplexed;      /* row and column over the same address pins */
  uint8_t address_pins;  /* pins with role ADDRESS (without A-1) */
  uint8_t row_bits, column_bits; /* multiplexed only */
  uint8_t column_first;  /* address pin index that carries column bit 0 (4416: 1, else 0) */
  uint8_t data_bits;
  uint16_t refresh_rows; /* 0 = none needed or not known */
  float refresh_ms;
} lu_memory_shape;

typedef struct lu_part_type {
  const char *name;      /* canonical: "62256", "74245" */
  const char *summary;   /* "32K x 8 static RAM" */
  const char *source;    /* where the pinout comes from; says so if it rests on one source */
  lu_part_kind kind;
  uint16_t pin_count;
  const lu_part_pin *pins;
  uint16_t cell_count;
  const lu_cell *cells;
  lu_memory_shape memory;
} lu_part_type;

extern const lu_part_type *const lu_part_types[];
extern const size_t lu_part_type_count;

/* The built-in type of exactly that name (ASCII case ignored), or NULL. */
const lu_part_type *lu_part_named(const char *name);

/* The built-in type meant by a value field ("SN74LS245N", "HM62256LP-10", "TMS4164-15NL",
 * "MC68000P8", "TC514256AP"), through maker and family prefixes and package, speed and
 * temperature suffixes; NULL if not surely one: never a guess. */
const lu_part_type *lu_part_recognise(const char *value);

/* Finds a pin by number or by function (any bar notation); -1 if none. */
int lu_part_pin_by_number(const lu_part_type *type, const char *number);
int lu_part_pin_by_function(const lu_part_type *type, const char *function);
/* By function: the same name and bar first ("1Q", "1Q#"), then the same name ("RD" finds RD#), then
 * one of a pin's several names ("A16" finds "A16/S3", "PHI2" finds "PHI2(out)"), then the address or
 * data bit on a shared pin ("A3" or "D3" finds "AD3"). The first such pin. */

/* True if the pin carries an address bit, alone or in turn with something else: ADDRESS pins, the
 * low address on a processor's shared pins ("AD3" of the 8088: 3) and the byte address of "D15/A-1"
 * (-1). *bit is set only then. */
bool lu_pin_address(const lu_part_pin *pin, int *bit);

/* Two names of one function: case, bars and their notation (/CE, CE#, ~{CE}, ~CE, nCE, CE_N, CE*,
 * CE- ) do not matter. "A1" and "A10" differ. */
bool lu_function_same(const char *a, const char *b);

/* Role from a pin's function name alone, for memories that are not built in: A0.., D0.. DQ0.. IO0..
 * (DQ1.. and IO1.. count from 1 if no 0 exists: the caller settles that), DIN DOUT D Q, RAS CAS,
 * WE W R/W WR, OE G, CE CS E S, supplies; in any bar notation. Fills role, index, active_low. */
void lu_role_of_function(const char *function, lu_part_pin *out);

/* A memory type from pins' functions (numbers[count], functions[count]); name is borrowed.
 * Multiplexed when RAS and CAS are there. ERR_VALUE when there is no address or no data pin. */
LU_MUST_USE lu_status lu_memory_from_functions(const char *name, const char *const *numbers,
                                               const char *const *functions, size_t count,
                                               lu_arena *mem, lu_part_type **out, lu_err *err);

/* Types for passive parts of count pins, by reference and value: R, RN (isolated pairs; bussed
 * packs pull up or down and pass nothing), JP, W, L, FB: wires. NULL if ref is no such part. */
LU_MUST_USE lu_status lu_passive_type(const char *ref, const char *value, const char *const *numbers,
                                      size_t count, lu_arena *mem, const lu_part_type **out);

#endif
