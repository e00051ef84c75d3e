/* SPDX-License-Identifier: MIT */
#ifndef LINEUP_H
#define LINEUP_H
/* liblineup: decode memory dumps of a failing board from a program of your own.
 *
 *   lineup *l = lineup_new();
 *   lineup_request q = {.size = sizeof q, .block = "boot ROM", .expect = "rom.bin"};
 *   const char *dumps[] = {"dump.bin"};
 *   q.dumps = dumps;
 *   q.dump_count = 1;
 *   lineup_result *r;
 *   if (lineup_board(l, "board.yaml") || lineup_decode(l, &q, &r))
 *     fprintf(stderr, "%s\n", lineup_error(l));
 *   ...
 *   lineup_result_free(r);
 *   lineup_free(l);
 *
 * What a board file, a dump and contents are is told in docs/board-file.md and docs/formats-dumps.md;
 * what the words of a result mean, in docs/json.md: a result holds what `lineup decode --json` prints.
 *
 * The library never ends the process and prints nothing. Functions that can fail return a status; the
 * message is at lineup_error. Texts that are handed in are copied where they are needed for longer than
 * the call, but for the data of lineup_give. Texts that are handed out end with NUL, are UTF-8 as far as the
 * files were, and may hold whatever a netlist holds: clean them before they reach a terminal.
 * A handle, and the results made with it, belong to one thread at a time; different handles share nothing that
 * changes. From C++ as well.
 *
 * The names here begin with lineup_, so that nothing else of the library is visible. Structs grow at their
 * end only; that is why a request states its size and lists hold pointers. */
#include <stddef.h>
#include <stdint.h>

#if defined(__GNUC__)
#define LINEUP_API __attribute__((visibility("default")))
#else
#define LINEUP_API
#endif

#ifdef __cplusplus
extern "C" {
#endif

typedef enum lineup_status {
  LINEUP_OK = 0,
  LINEUP_BAD_INPUT = 2, /* a file, a text or the request is wrong; the message says where */
  LINEUP_SYSTEM = 3     /* a file cannot be read, or memory is refused */
} lineup_status;

typedef enum lineup_verdict { LINEUP_CLEAN, LINEUP_FAULTY, LINEUP_UNKNOWN } lineup_verdict;

typedef struct lineup lineup; /* a board, and files in memory */

LINEUP_API const char *lineup_version(void); /* "0.1.0" */

/* NULL: no memory. */
LINEUP_API lineup *lineup_new(void);
/* With everything but results. NULL is allowed. */
LINEUP_API void lineup_free(lineup *l);

/* One line on the last call that failed, "file:line:column: what was expected and what stood there", valid
 * until the next call; "" if the last call did not fail. */
LINEUP_API const char *lineup_error(const lineup *l);

/* data[len] stands for a file of that name wherever one is meant from now on: a board file, the netlist that it names,
 * a dump, contents, a run file. Borrowed until lineup_free. A second one of the same name replaces the first. */
LINEUP_API lineup_status lineup_give(lineup *l, const char *name, const void *data, size_t len);

/* The board file at path, with the netlists that it names, becomes the handle's board. Without a board, dumps are
 * judged in terms of address and data bits. */
LINEUP_API lineup_status lineup_board(lineup *l, const char *path);

/* One reading. Fields left zero take their default. */
typedef struct lineup_request {
  size_t size;            /* sizeof(lineup_request) */
  size_t dump_count;
  const char *const *dumps; /* files: passes of one reading; or "U3=file", each a chip read out of circuit; at most 256 */
  const char *block;      /* NULL: the only one, or the only one of the first dump's size */
  const char *vantage;    /* NULL: the block's own; "chip:U3": a chip out of circuit */
  const char *expect;     /* contents that are in there: a file or a pattern's name; NULL: not known */
  const char *wrote;      /* or contents written upwards through the same lines before reading */
  const char *at;         /* byte address of a raw dump's first byte, as text: "0x8000"; NULL: the block's start */
  const char *log;        /* instead of dumps: what a memory test printed, a file */
  const char *signals;    /* for a capture: what its signals mean, a YAML file */
  unsigned width;         /* without a board: data bits, 1..64; 0: 8 */
  int big_endian;         /* without a board */
} lineup_request;

typedef struct lineup_pin {
  const char *pin;        /* "U16.12" */
  const char *function;   /* "A3", or NULL */
} lineup_pin;

typedef struct lineup_suspect {
  const char *net;        /* NULL: a part alone */
  const char *part;       /* of a part alone, else NULL */
  double probability;     /* that it is to blame, 0..1 */
  unsigned group;         /* suspects of one group: no dump of this kind tells them apart */
  size_t pin_count;
  const lineup_pin *const *pins;
  const char *why;        /* what speaks for it, a sentence; or NULL */
  const char *settle;     /* what to measure to be sure, or NULL */
} lineup_suspect;

typedef struct lineup_fault {
  const char *kind;       /* "open", "stuck", "bridge", "swap", "dead", "cell", "row", "column" */
  const char *text;       /* the fault as half a sentence */
  const char *net, *other_net; /* other_net: of bridge and swap. NULL where there is none */
  const char *part;       /* of dead, cell, row, column; of swap, where. Or NULL */
  const char *level;      /* of open and stuck: "low", "high", "keep"; or NULL */
  size_t cut_count;
  const char *const *cut_off; /* of open: pins */
} lineup_fault;

typedef struct lineup_explanation {
  double probability;
  double explained;       /* share of what differs from a healthy board's reading, 0..1 */
  size_t fault_count;
  const lineup_fault *const *faults;
} lineup_explanation;

typedef struct lineup_symptom {
  const char *kind, *text;
} lineup_symptom;

typedef struct lineup_result {
  lineup_verdict verdict;
  const char *reason;     /* why, a sentence */
  uint64_t words;         /* that were read */
  unsigned width, passes;
  uint64_t unsteady_bits; /* bits that differ between passes */
  size_t suspect_count, explanation_count, symptom_count, note_count;
  const lineup_suspect *const *suspects;         /* most probable first */
  const lineup_explanation *const *explanations; /* most probable first */
  const lineup_symptom *const *symptoms;
  const char *const *notes;                      /* remarks on the board and the files */
  int singles_done, pairs_done; /* every single fault, every pair was tried */
  const char *next;       /* what to measure first, or NULL */
} lineup_result;

/* *out is set only on LINEUP_OK and stays valid after lineup_free. Cost: that of `lineup decode`. */
LINEUP_API lineup_status lineup_decode(lineup *l, const lineup_request *q, lineup_result **out);
/* Several readings of one fault state, explained together: a run file (docs/evidence.md). Needs a board. */
LINEUP_API lineup_status lineup_decode_run(lineup *l, const char *run_file, lineup_result **out);
/* NULL is allowed. */
LINEUP_API void lineup_result_free(lineup_result *r);

#ifdef __cplusplus
}
#endif
#endif
