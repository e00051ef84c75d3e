/* SPDX-License-Identifier: MIT */
#ifndef LU_REPORT_HTML_H
#define LU_REPORT_HTML_H
/* One board's report as a single HTML file: no network, no font, no picture from elsewhere; works with scripts off
 * and on paper. All texts come from outside and are escaped here; drawings come as SVG that escapes by itself. */
#include "base/arena.h"
#include "base/err.h"
#include "data/finding.h"
#include "report/failmap.h"

/* A net of the page: its number is the position in lu_page.nets + 1; 0 = none. */
typedef struct lu_page_bit {
  const char *name;          /* data bit as the board calls it */
  unsigned net;              /* at the vantage */
  const char *chips;         /* pins of the chips that hold it: "U4.11 (D0), U16.14 (Q)"; or NULL */
} lu_page_bit;

/* A memory chip's own rows and columns. */
typedef struct lu_page_chip_map {
  const char *ref, *type;    /* type may be NULL */
  const lu_fail_map *map;
  const unsigned char *png;
  size_t png_len;
} lu_page_chip_map;

typedef struct lu_page_reading {
  const char *title;         /* of the block */
  const lu_fail_map *map;    /* NULL: nothing is known of the contents, no passes to compare */
  unsigned address_scale;    /* bytes a word */
  bool known;                /* wrong against known contents; else: differs between passes */
  const unsigned char *png;  /* of map, or NULL */
  size_t png_len;
  size_t bit_count;
  const lu_page_bit *bits;
  size_t chip_count, chips_left_out; /* chips with wrong bits: drawn, and not drawn */
  const lu_page_chip_map *chips;
} lu_page_reading;

/* A step of a line, in the order of the way. */
typedef struct lu_page_step {
  const char *text;          /* a pin, or "[U10 74245]" */
  unsigned net;              /* not 0: a net; text is its name */
  double suspicion;          /* of the net, 0 = none */
} lu_page_step;

typedef struct lu_page_line {
  const char *name;          /* "A4, row" */
  const char *block;
  const char *broken;        /* where it is broken, by the first explanation; or NULL */
  bool suspect;
  size_t step_count;
  const lu_page_step *steps;
} lu_page_line;

typedef struct lu_page_task {
  const char *what, *boxes[4]; /* boxes to tick; NULL ends them */
  const char *unit;            /* of the number to fill in, or NULL */
  const char *reason;          /* or NULL */
} lu_page_task;

typedef struct lu_page_event {
  uint64_t id;
  const char *at, *kind, *text;
  bool withdrawn;
} lu_page_event;

typedef struct lu_page_picture {
  const char *title;
  const char *svg;             /* ended by NUL; trusted: written by our own drawing */
} lu_page_picture;

/* A window of a capture around the read that decides. */
typedef struct lu_page_wave {
  const char *block, *source; /* source: the capture's name */
  const char *svg;           /* as of a picture */
  const char *when, *address, *got, *expected; /* of the deciding read */
  const char *bits;          /* data bits that are wrong in it, as the board calls them */
  const char *lines;         /* what is drawn */
  const char *net;           /* the suspect that they are of; NULL: none of its lines is in the capture, the wrong bits are drawn */
} lu_page_wave;

/* A repair wire. */
typedef struct lu_page_wire {
  unsigned net;
  const char *from, *to;     /* ends: pin or via, place */
  double length_mm;          /* straight; 0: not known */
  const char *side;          /* or NULL */
  const char *note;          /* crossing, damage; or NULL */
} lu_page_wire;

/* One block as it was found and as it is now. */
typedef struct lu_page_change {
  const char *block, *before, *after; /* before, after: which entry, when */
  bool known;                /* figures against known contents are there */
  uint64_t words, changed, wrong_before, wrong_after, cured, spoilt;
} lu_page_change;

/* A run of lineup verify. */
typedef struct lu_page_check {
  uint64_t id;
  const char *at, *block, *verdict; /* "pass", "fail", ... */
  const char *figures;       /* words, reads, errors, rounds, time */
  const char *patterns;      /* or NULL */
  const char *proves, *left; /* what it proves, what it does not; NULL where it did not pass */
  bool before_repair;        /* something was repaired since */
} lu_page_check;

typedef struct lu_page_guess {
  const char *text;
  double probability;
} lu_page_guess;

typedef struct lu_page {
  const char *source;          /* job or dumps, as named */
  const lu_finding *finding;
  bool owner;                  /* the short page */
  bool has_job;
  const char *stale;           /* why the verdict may be out of date, or NULL */
  size_t net_count, reading_count, line_count, task_count, event_count, picture_count, guess_count;
  size_t side_count;           /* of the pictures, the first: the board's sides; the others are chips */
  size_t wire_count, wire_note_count, change_count, check_count, wave_count;
  const char **nets;
  const lu_page_reading *readings;
  const lu_page_line *lines;
  const lu_page_task *tasks;
  const lu_page_event *events; /* the job's history, oldest first */
  const lu_page_picture *pictures;
  const lu_page_wave *waves;
  const lu_page_wire *wires;
  const char **wire_notes;
  const lu_page_change *changes;
  const char *cleared, *remaining, *fresh; /* suspects between as found and now, listed; NULL: none */
  const lu_page_check *checks; /* newest first */
  const lu_page_guess *guesses; /* with readings taken: what is left, most probable first */
} lu_page;

/* False when the stream fails. */
bool lu_report_html(FILE *out, const lu_page *p);

/* Text between tags and in quoted attributes: markup escaped, control characters and what is not UTF-8 replaced. */
void lu_html_text(FILE *out, const char *text);
/* The same of at most that many characters; for names in drawings (SVG is XML: the same escapes hold there). */
void lu_html_text_most(FILE *out, const char *text, size_t most);

#endif
