/* SPDX-License-Identifier: MIT */
#ifndef LU_CLI_BOARDVIEW_H
#define LU_CLI_BOARDVIEW_H
/* What lineup board tells of a board that was loaded: text and JSON. */
#include "cli/session.h"

#include <jansson.h>

/* One block as far as it holds. */
typedef struct lu_block_view {
  uint32_t block;
  lu_network *network;    /* NULL: problem says why */
  const char *problem;
  struct lu_lines *lines;
} lu_block_view;

/* Networks and lines of all blocks, or of the one named (NULL: all). ERR_MISSING, ERR_NOMEM. */
LU_MUST_USE lu_status lu_view_blocks(lu_session *s, const char *name, lu_block_view **out, size_t *count);

/* False: something does not hold. */
bool lu_view_check_text(lu_session *s, const lu_block_view *v, size_t count);
json_t *lu_view_check_json(lu_session *s, const lu_block_view *v, size_t count, bool *holds);
void lu_view_lines_text(lu_session *s, const lu_block_view *v, size_t count);
json_t *lu_view_lines_json(lu_session *s, const lu_block_view *v, size_t count);
void lu_view_pins_text(lu_session *s, uint32_t part);
json_t *lu_view_pins_json(lu_session *s, uint32_t part);

/* Text of files on a terminal: control characters become '?'. */
void lu_put_clean(FILE *out, const char *text);
/* A JSON string; text that is not UTF-8 becomes "?". NULL: null. */
json_t *lu_json_text(const char *text);
const char *lu_role_name(lu_pin_role role);

#endif
