/* SPDX-License-Identifier: MIT */
#include "formats/capform.h"

#include <string.h>

#define LU_CAPFORM(id) extern const lu_capform lu_capform_##id;
#include "formats/capforms.def"
#undef LU_CAPFORM
#define LU_CAPFORM(id) &lu_capform_##id,
const lu_capform *const lu_capforms[] = {
#include "formats/capforms.def"
};
#undef LU_CAPFORM
const size_t lu_capform_count = sizeof lu_capforms / sizeof *lu_capforms;

const lu_capform *lu_capform_named(const char *name)
{
  for (size_t i = 0; i < lu_capform_count; i++)
    if (lu_text_same(lu_capforms[i]->name, name))
      return lu_capforms[i];
  return NULL;
}

const lu_capform *lu_capform_guess(lu_bytes in)
{
  const lu_capform *best = NULL;
  int most = 0;
  for (size_t i = 0; i < lu_capform_count; i++) {
    int sure = lu_capforms[i]->recognise(in);
    if (sure > most) {
      most = sure;
      best = lu_capforms[i];
    }
  }
  return best;
}

static lu_status unknown_form(lu_bytes piece, lu_err *err)
{
  if (!piece.len)
    return lu_fail(err, LU_ERR_SYNTAX, 1, 1, "the capture is empty");
  return lu_fail_at(err, LU_ERR_SYNTAX, (const char *)piece.at, piece.len < 160 ? piece.len : 160, 0,
                    "expected a value change dump ($...) or a CSV header, found neither");
}

/* Enough to tell the form: something that is not blank, and the end of its line. */
static bool head_is_enough(const lu_capreader *r)
{
  size_t i = 0;
  while (i < r->head_len && strchr(" \t\r\n\v\f", r->head[i]) && r->head[i])
    i++;
  if (r->head_len == sizeof r->head)
    return true;
  return i < r->head_len && memchr(r->head + i, '\n', r->head_len - i);
}

static lu_status start(lu_capreader *r, lu_err *err)
{
  lu_bytes head = {r->head, r->head_len};
  if (!r->form)
    r->form = lu_capform_guess(head);
  if (!r->form)
    return unknown_form(head, err);
  r->state = r->form->open(r->mem, &r->options, r->sink, &r->notes);
  if (!r->state)
    return lu_fail(err, LU_ERR_NOMEM, 0, 0, "no room for the capture's reader");
  return r->form->feed(r->state, head, err);
}

lu_status lu_capreader_feed(lu_capreader *r, lu_bytes piece, lu_err *err)
{
  if (!r->state) {
    size_t n = sizeof r->head - r->head_len;
    if (n > piece.len)
      n = piece.len;
    if (n)
      memcpy(r->head + r->head_len, piece.at, n);
    r->head_len += n;
    piece.at += n;
    piece.len -= n;
    if (!head_is_enough(r))
      return LU_OK;
    lu_status s = start(r, err);
    if (s != LU_OK)
      return s;
  }
  return piece.len ? r->form->feed(r->state, piece, err) : LU_OK;
}

lu_status lu_capreader_end(lu_capreader *r, lu_err *err)
{
  lu_status s = r->state ? LU_OK : start(r, err);
  return s == LU_OK ? r->form->end(r->state, err) : s;
}
