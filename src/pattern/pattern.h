/* SPDX-License-Identifier: MIT */
#ifndef LU_PATTERN_PATTERN_H
#define LU_PATTERN_PATTERN_H
/* Test patterns: a text file in march notation, and what it makes of a block of memory.
 *
 * The grammar, and the specification of expansion, is docs/patterns.md. Notation: A. J. van de
 * Goor, Testing Semiconductor Memories, Wiley 1991, in ASCII words. */
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "base/arena.h"
#include "base/err.h"
#include "base/text.h"
#include "pattern/contents.h"
#include "pattern/vectors.h"

enum {
  LU_PATTERN_BYTES_MOST = 65536, /* of a pattern file */
  LU_PATTERN_ELEMENTS_MOST = 64,
  LU_PATTERN_OPS_MOST = 512,     /* in all elements together */
  LU_PATTERN_REPEAT_MOST = 65535,
  LU_PATTERN_AT_MOST = 1023,     /* highest word number of `at` */
  LU_PATTERN_LISTS_MOST = 16     /* backgrounds, orders */
};
#define LU_PATTERN_WAIT_MOST_US UINT64_C(600000000)
#define LU_PATTERN_WAIT_USUAL_US UINT64_C(100000)

typedef enum lu_op_kind { LU_OP_READ, LU_OP_WRITE, LU_OP_WAIT, LU_OP_REST } lu_op_kind;

/* One operation of an element. 0 stands for the background, 1 for its complement. */
typedef struct lu_pattern_op {
  lu_op_kind kind;             /* READ, WRITE or REST: the ops that follow, on all other words */
  uint8_t value;               /* 0, 1 */
  uint16_t nested;             /* REST: how many of the ops that follow belong to it */
  uint32_t repeat;             /* done so many times in a row, at least 1 */
  uint32_t offset;             /* byte in the file, for messages */
} lu_pattern_op;

typedef enum lu_direction { LU_UP, LU_DOWN, LU_ANY } lu_direction;
typedef enum lu_element_kind { LU_ELEMENT_ALL, LU_ELEMENT_POWERS, LU_ELEMENT_AT, LU_ELEMENT_WAIT }
  lu_element_kind;

typedef struct lu_element {
  lu_element_kind kind;
  lu_direction direction;
  uint32_t at;                 /* AT: word number */
  uint64_t wait_us;            /* WAIT */
  uint32_t first_op, op_count; /* into ops; op_count counts nested ones too */
  uint32_t offset;             /* byte in the file */
} lu_element;

typedef enum lu_order {
  LU_ORDER_LINEAR,     /* by word number */
  LU_ORDER_ROWS,       /* the row changes fastest */
  LU_ORDER_COLUMNS,    /* the column changes fastest */
  LU_ORDER_LINES,      /* one pass for each address line, that line changing fastest */
  LU_ORDER_COMPLEMENT, /* a word, then the one at the complemented address */
  LU_ORDER_TURNS       /* two passes for each address line, that line changing slowest: the others
                          counting up, then down */
} lu_order;

/* What 0 means: a word that is the same everywhere (from a vector set) or named contents. */
typedef struct lu_background {
  const lu_contents *contents; /* NULL: vectors */
  lu_vectors vectors;
} lu_background;

typedef struct lu_pattern {
  const char *name;    /* "march-c-minus": lower-case letters, digits, hyphens */
  const char *title;   /* "March C-" */
  const char *source;  /* where the sequence is from, with its mark */
  const char *about;   /* what it finds, or NULL */
  size_t background_count, order_count;
  lu_background backgrounds[LU_PATTERN_LISTS_MOST];
  lu_order orders[LU_PATTERN_LISTS_MOST];
  bool by_lanes;       /* every byte lane of the word alone, in turn */
  size_t element_count, op_count;
  lu_element *elements;
  lu_pattern_op *ops;
  const char *march;   /* the notation in one line, comments left out */
} lu_pattern;

/* Reads one pattern file. *out and its texts live in mem; set only on LU_OK.
 * ERR_SYNTAX, ERR_VALUE (also: a read that expects what was never written), ERR_LIMIT, ERR_MISSING
 * (unknown background), each with line and column; ERR_NOMEM. O(in.len). */
LU_MUST_USE lu_status lu_pattern_read(lu_bytes in, lu_arena *mem, lu_pattern **out, lu_err *err);

/* Operations on one word of an `all` element's pass, summed: the literature's k in kn. False when
 * the pattern has parts that do not grow with n, or grow with its square. */
bool lu_pattern_length(const lu_pattern *pattern, uint64_t *per_word, uint64_t *wait_us);

/* ---- expansion ---- */

/* The memory that a pattern runs over. */
typedef struct lu_memory {
  uint64_t base_word; /* word address of word 0 */
  uint64_t words;     /* 1 or more */
  unsigned width;     /* 1..64 data bits */
  unsigned bytes;     /* a word takes in memory: 1, 2, 4, 8 */
  uint64_t row_mask;  /* address bits (of the word number) that are the row; 0: the upper half */
} lu_memory;

typedef struct lu_operation {
  lu_op_kind kind;    /* READ, WRITE or WAIT */
  uint16_t element;   /* number in the pattern, from 0 */
  uint16_t op;        /* number in ops, from 0 */
  uint32_t pass;
  uint64_t word;      /* word number in the block; WAIT: 0 */
  uint64_t value;     /* to write, or expected; WAIT: microseconds */
  uint64_t mask;      /* data bits that take part */
} lu_operation;

/* Takes a batch of operations, in order; false stops the expansion. */
typedef bool (*lu_take_ops)(void *user, const lu_operation *ops, size_t count);

/* Passes: orders x lanes x backgrounds, each of which runs all elements. */
uint32_t lu_pattern_passes(const lu_pattern *pattern, const lu_memory *block);
/* The pass in words, "order rows, background checkerboard"; lives in mem, NULL if refused. */
const char *lu_pattern_pass_text(const lu_pattern *pattern, const lu_memory *block, uint32_t pass,
                                 lu_arena *mem);
/* The value of 0 at a word in a pass, and the bits that take part. */
uint64_t lu_pattern_zero(const lu_pattern *pattern, const lu_memory *block, uint32_t pass,
                         uint64_t word, uint64_t *mask);
/* The order of a pass; *line (may be NULL) = its number among the order's own passes. */
lu_order lu_pattern_pass_order(const lu_pattern *pattern, const lu_memory *block, uint32_t pass, unsigned *line);
/* Operations in all passes; UINT64_MAX when there are more. *wait_us may be NULL. */
uint64_t lu_pattern_operations(const lu_pattern *pattern, const lu_memory *block, uint64_t *wait_us);

/* Streams all passes, no list in memory. any: how `any` elements run. False when take stopped.
 * O(operations). The block must hold every word that `at` names (lu_pattern_fits). */
bool lu_pattern_expand(const lu_pattern *pattern, const lu_memory *block, lu_direction any,
                       lu_take_ops take, void *user);
/* One element of one pass. direction takes the place of the element's own unless it is LU_ANY. */
bool lu_pattern_expand_element(const lu_pattern *pattern, const lu_memory *block, uint32_t pass,
                               size_t element, lu_direction direction, lu_take_ops take,
                               void *user);
/* Refuses a block that is too small or of an impossible shape. */
LU_MUST_USE lu_status lu_pattern_fits(const lu_pattern *pattern, const lu_memory *block,
                                      lu_err *err);
/* What the pass leaves in words [first, first + count), as lu_contents_fill writes it; words that
 * the pass never writes become 0. Memory speed but for patterns that write single words. */
void lu_pattern_image(const lu_pattern *pattern, const lu_memory *block, uint32_t pass,
                      uint64_t first, size_t count, void *words);

#endif
