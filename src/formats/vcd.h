/* SPDX-License-Identifier: MIT */
#ifndef LU_FORMATS_VCD_H
#define LU_FORMATS_VCD_H
/* Private to the value change dump reader (vcd.c: body, vcd_head.c: declarations).
 * Source: IEEE Std 1364-2001, clause 18 (four-state form). */
#include "formats/capstate.h"

/* Longest word: a value of LU_CAP_WIDTH_MOST digits with its letter, and room for its end. */
enum { LU_VCD_WORD_MOST = LU_CAP_WIDTH_MOST + 64, LU_VCD_ARGS_MOST = 4096, LU_VCD_DEPTH_MOST = 256 };

typedef enum lu_vcd_in {
  LU_VCD_HEAD,  /* between declarations */
  LU_VCD_TEXT,  /* $date, $version, $comment: skipped to $end */
  LU_VCD_ARGS,  /* $timescale, $scope, $upscope, $var, $enddefinitions: words collected to $end */
  LU_VCD_BODY,
  LU_VCD_CODE   /* a value was read, its identifier code comes next */
} lu_vcd_in;

/* What a code stands for; slot, shift and mask serve values of up to 64 bits. */
typedef struct lu_vcd_entry {
  uint64_t mask;     /* the signal's bits in its slot; 0 = not for the fast way */
  uint32_t slot;
  uint8_t shift;
  uint8_t width;     /* 1..64 */
} lu_vcd_entry;

/* The same for signals of one bit whose code has one character, what most changes of a capture are, by code. The
 * level now is (level before & keep) | set[bit of the new level]. */
typedef struct lu_vcd_quick {
  uint64_t keep[256];      /* UINT64_MAX: there is no such signal */
  uint64_t set[2][256];
  uint32_t slot[256];
} lu_vcd_quick;

typedef struct lu_vcd_long {
  uint64_t hash;
  const char *code;
  uint32_t entry;
} lu_vcd_long;

typedef struct lu_vcd {
  lu_capstate s;
  lu_vcd_in in, text_back; /* where LU_VCD_TEXT returns to */
  bool in_dump;            /* inside $dumpvars .. $dumpon until their $end */
  bool has_timescale;
  uint32_t dump_line;      /* of that command */

  /* Entry 0 is "not declared"; entry i + 1 belongs to the i-th different code. */
  lu_vcd_entry *entries;
  uint32_t *entry_signal;
  size_t entry_count, entry_room, entry_signal_room;
  lu_vcd_quick quick;      /* made when the head is complete */
  uint32_t one[256], *two, *three; /* by code of 1, 2, 3 characters (two: c1 << 8 | c2) */
  lu_vcd_long *longs;      /* open addressing, longer codes */
  size_t long_count, long_room;
  uint32_t widest;

  char *scope;             /* joined by '.', ended by NUL */
  size_t scope_len, scope_room, depth, scope_at[LU_VCD_DEPTH_MOST];

  char command[24];        /* the one whose words are being collected */
  uint32_t command_line, command_column;
  size_t args_len, arg_count, arg_at[16];
  char args[LU_VCD_ARGS_MOST];

  char *held;              /* the value that waits for its code, [held_len] */
  size_t held_len;

  char *carry;             /* the unfinished word at the end of the last piece */
  size_t carry_len;

  /* The bytes being looked at, and where they stand in the input. */
  const char *buf;
  size_t buf_len;
  uint32_t line, column;   /* of buf[0] */
} lu_vcd;

/* Error at a place within buf. */
lu_status lu_vcd_fail(const lu_vcd *r, lu_err *err, lu_status status, const char *at,
                      const char *format, ...) __attribute__((format(printf, 5, 6)));
void lu_vcd_place(const lu_vcd *r, const char *at, uint32_t *line, uint32_t *column);

/* Entry of a code, 0 when it is not declared. */
uint32_t lu_vcd_find(const lu_vcd *r, const char *code, size_t len);

/* One word of the head; len >= 1. */
lu_status lu_vcd_head_word(lu_vcd *r, const char *word, size_t len, lu_err *err);
lu_status lu_vcd_args_word(lu_vcd *r, const char *word, size_t len, lu_err *err);
bool lu_vcd_is(const char *word, size_t len, const char *text);

/* Ends of $-words glued to what stands before them ("10:05:41$end"). */
static inline bool lu_vcd_ends(const char *word, size_t len)
{
  return len >= 4 && word[len - 4] == '$' && word[len - 3] == 'e' && word[len - 2] == 'n' &&
         word[len - 1] == 'd';
}

#endif
