/* SPDX-License-Identifier: MIT */
#ifndef LU_LINK_TEXTLINK_H
#define LU_LINK_TEXTLINK_H
/* Devices that print memory as text: monitor programs, meters, other people's readers. */
#include "base/text.h"
#include "link/inflow.h"
#include "link/transport.h"

typedef struct lu_text_talk {
  const char *const *sends; /* templates, sent one after the other for each step */
  size_t send_count;        /* 0: only listen */
  const char *prompt;       /* waited for before each send and at the end; NULL: none */
  uint64_t from, count, step; /* count 0: the sends go once; else once for each step of addresses */
  unsigned char_ms, line_ms;  /* pauses after each character and each line sent */
  unsigned first_ms;        /* for the first byte of an answer; 0: 10000 */
  unsigned idle_ms;         /* an answer has ended when nothing came for so long; 0: 1000 */
  bool *silent;             /* may be NULL: set when silence ended it, not the prompt, a stop or a failure */
} lu_text_talk;

/* Writes a template with its addresses put in: {from}, {to} (last address of the step), {count}, each
 * with an optional :WIDTH for leading zeros and :dWIDTH for decimal; \r \n \t \e \\ \{ \xHH. Without
 * \r or \n at the end nothing is added. ERR_USAGE with the place of what is wrong. */
LU_MUST_USE lu_status lu_text_template(const char *template, uint64_t from, uint64_t count, char *out,
                                       size_t room, size_t *len, lu_err *err);

/* Sends all of the talk's templates, paced, once and without listening: for what comes by another protocol. */
LU_MUST_USE lu_status lu_text_send(const lu_transport *t, const lu_text_talk *talk, const lu_hooks *hooks, lu_err *err);

/* Holds the talk and adds what comes in to flow, which stays valid whatever happens.
 * ERR_DEVICE: unplugged, nothing came in time, the prompt never came. */
LU_MUST_USE lu_status lu_text_take(const lu_transport *t, const lu_text_talk *talk,
                                   const lu_hooks *hooks, lu_inflow *flow, lu_err *err);

/* Whether it reads as text: at most one byte in 16 is neither printable nor a blank, line end, bell or escape. */
bool lu_text_printable(lu_bytes in);

/* Leaves only the lines of in that hold memory: drops prompts, echoes and remarks, which would stop a
 * dump form's reader. Writes at most in.len bytes to out; returns how many. */
size_t lu_text_sift(lu_bytes in, char *out);

#endif
