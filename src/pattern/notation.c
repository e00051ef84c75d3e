/* SPDX-License-Identifier: MIT */
/* March notation in ASCII: "{ any(w0); up(r0,w1); wait 100ms; down(r1,w0) }". */
#include <stdarg.h>
#include <stdio.h>
#include <string.h>

#include "pattern/parse.h"

static bool is_word(char c)
{
  return (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z') || (c >= '0' && c <= '9');
}

/* How many characters from offset on a message shows: a word, or one sign. */
static int shown(const lu_pattern_cursor *cur, size_t offset)
{
  size_t len = 0;
  while (len < 24 && offset + len < cur->end && is_word(cur->text[offset + len]))
    len++;
  return len ? (int)len : 1;
}

static lu_status fail(const lu_pattern_cursor *cur, lu_status status, size_t offset,
                      const char *expected)
{
  if (offset >= cur->end)
    return lu_fail_at(cur->err, status, cur->text, cur->len, offset, "%s; the march ends here",
                      expected);
  unsigned char c = (unsigned char)cur->text[offset];
  if (c < 0x20 || c >= 0x7f)
    return lu_fail_at(cur->err, status, cur->text, cur->len, offset, "%s, found byte 0x%02x",
                      expected, c);
  return lu_fail_at(cur->err, status, cur->text, cur->len, offset, "%s, found '%.*s'", expected,
                    shown(cur, offset), cur->text + offset);
}

static void skip(lu_pattern_cursor *cur)
{
  while (cur->at < cur->end) {
    char c = cur->text[cur->at];
    if (c == '#')
      while (cur->at < cur->end && cur->text[cur->at] != '\n')
        cur->at++;
    else if (c == ' ' || c == '\t' || c == '\r' || c == '\n')
      cur->at++;
    else
      return;
  }
}

static bool take(lu_pattern_cursor *cur, char c)
{
  skip(cur);
  if (cur->at >= cur->end || cur->text[cur->at] != c)
    return false;
  cur->at++;
  return true;
}

static bool take_word(lu_pattern_cursor *cur, const char *word)
{
  skip(cur);
  size_t len = strlen(word);
  if (cur->end - cur->at < len || memcmp(cur->text + cur->at, word, len))
    return false;
  char after = cur->at + len < cur->end ? cur->text[cur->at + len] : ' ';
  if (after >= 'a' && after <= 'z')
    return false;
  cur->at += len;
  return true;
}

static lu_status take_number(lu_pattern_cursor *cur, uint64_t least, uint64_t most,
                             const char *what, uint64_t *out)
{
  skip(cur);
  size_t start = cur->at;
  while (cur->at < cur->end && cur->text[cur->at] >= '0' && cur->text[cur->at] <= '9')
    cur->at++;
  if (start == cur->at)
    return fail(cur, LU_ERR_SYNTAX, start, what);
  if (!lu_text_u64(cur->text + start, cur->at - start, 10, most, out) || *out < least)
    return lu_fail_at(cur->err, LU_ERR_VALUE, cur->text, cur->len, start,
                      "%s from %llu to %llu, found %.*s", what, (unsigned long long)least,
                      (unsigned long long)most, (int)(cur->at - start < 24 ? cur->at - start : 24),
                      cur->text + start);
  return LU_OK;
}

static lu_status read_wait(lu_pattern_cursor *cur, lu_element *element)
{
  element->kind = LU_ELEMENT_WAIT;
  element->wait_us = LU_PATTERN_WAIT_USUAL_US;
  skip(cur);
  if (cur->at >= cur->end || cur->text[cur->at] == ';' || cur->text[cur->at] == '}')
    return LU_OK;
  size_t start = cur->at, digits;
  uint64_t n = 0;
  while (cur->at < cur->end && cur->text[cur->at] >= '0' && cur->text[cur->at] <= '9')
    cur->at++;
  digits = cur->at - start;
  if (!digits)
    return fail(cur, LU_ERR_SYNTAX, start, "expected a delay such as 100ms");
  uint64_t scale = take_word(cur, "us") ? 1 : take_word(cur, "ms") ? 1000
                   : take_word(cur, "s") ? 1000000 : 0;
  if (!scale)
    return fail(cur, LU_ERR_SYNTAX, cur->at, "expected us, ms or s after the delay");
  if (!lu_text_u64(cur->text + start, digits, 10, LU_PATTERN_WAIT_MOST_US / scale, &n) || !n)
    return lu_fail_at(cur->err, LU_ERR_VALUE, cur->text, cur->len, start, "expected a delay from 1us to 600s, found %.*s",
                      (int)(cur->at - start < 40 ? cur->at - start : 40), cur->text + start);
  element->wait_us = n * scale;
  return LU_OK;
}

static lu_status add_op(lu_pattern_cursor *cur, lu_pattern *pattern, lu_pattern_op op)
{
  if (pattern->op_count == LU_PATTERN_OPS_MOST)
    return lu_fail_at(cur->err, LU_ERR_LIMIT, cur->text, cur->len, op.offset,
                      "more than %d operations", LU_PATTERN_OPS_MOST);
  pattern->ops[pattern->op_count++] = op;
  return LU_OK;
}

static lu_status read_plain_op(lu_pattern_cursor *cur, lu_pattern *pattern)
{
  size_t start = cur->at;
  lu_pattern_op op = {.repeat = 1, .offset = (uint32_t)start};
  if (take(cur, 'r'))
    op.kind = LU_OP_READ;
  else if (take(cur, 'w'))
    op.kind = LU_OP_WRITE;
  else
    return fail(cur, LU_ERR_SYNTAX, start, "expected an operation: r0, r1, w0, w1 or rest(...)");
  char c = cur->at < cur->end ? cur->text[cur->at] : ' ';
  if (c != '0' && c != '1')
    return fail(cur, LU_ERR_SYNTAX, cur->at,
                "expected 0 (the background) or 1 (its complement)");
  op.value = (uint8_t)(c - '0');
  cur->at++;
  if (take(cur, '*')) {
    uint64_t n;
    lu_status status = take_number(cur, 1, LU_PATTERN_REPEAT_MOST, "expected a repeat count", &n);
    if (status)
      return status;
    op.repeat = (uint32_t)n;
  }
  return add_op(cur, pattern, op);
}

/* rest(...): its operations follow it in the list and are counted in `nested`. */
static lu_status read_rest(lu_pattern_cursor *cur, lu_pattern *pattern, size_t start)
{
  lu_pattern_op op = {.kind = LU_OP_REST, .repeat = 1, .offset = (uint32_t)start};
  size_t mine = pattern->op_count;
  lu_status status = add_op(cur, pattern, op);
  if (status)
    return status;
  if (!take(cur, '('))
    return fail(cur, LU_ERR_SYNTAX, cur->at, "expected '(' after rest");
  do {
    skip(cur);
    if ((status = read_plain_op(cur, pattern)))
      return status;
  } while (take(cur, ','));
  if (!take(cur, ')'))
    return fail(cur, LU_ERR_SYNTAX, cur->at, "expected ',' or ')'");
  pattern->ops[mine].nested = (uint16_t)(pattern->op_count - mine - 1);
  return LU_OK;
}

static lu_status read_ops(lu_pattern_cursor *cur, lu_pattern *pattern, lu_element *element)
{
  if (!take(cur, '('))
    return fail(cur, LU_ERR_SYNTAX, cur->at, "expected '(' and the element's operations");
  element->first_op = (uint32_t)pattern->op_count;
  if (take(cur, ')'))
    return lu_fail_at(cur->err, LU_ERR_VALUE, cur->text, cur->len, element->offset,
                      "an element without operations");
  do {
    skip(cur);
    size_t start = cur->at;
    lu_status status = take_word(cur, "rest") ? read_rest(cur, pattern, start)
                                              : read_plain_op(cur, pattern);
    if (status)
      return status;
  } while (take(cur, ','));
  if (!take(cur, ')'))
    return fail(cur, LU_ERR_SYNTAX, cur->at, "expected ',' or ')'");
  element->op_count = (uint32_t)pattern->op_count - element->first_op;
  return LU_OK;
}

static lu_status read_element(lu_pattern_cursor *cur, lu_pattern *pattern)
{
  skip(cur);
  lu_element *element = &pattern->elements[pattern->element_count];
  *element = (lu_element){.offset = (uint32_t)cur->at};
  if (pattern->element_count == LU_PATTERN_ELEMENTS_MOST)
    return lu_fail_at(cur->err, LU_ERR_LIMIT, cur->text, cur->len, cur->at,
                      "more than %d elements", LU_PATTERN_ELEMENTS_MOST);
  pattern->element_count++;
  if (take_word(cur, "wait"))
    return read_wait(cur, element);
  if (take_word(cur, "at")) {
    uint64_t at;
    lu_status status = take_number(cur, 0, LU_PATTERN_AT_MOST, "expected a word number", &at);
    if (status)
      return status;
    element->kind = LU_ELEMENT_AT;
    element->at = (uint32_t)at;
    return read_ops(cur, pattern, element);
  }
  if (take_word(cur, "up"))
    element->direction = LU_UP;
  else if (take_word(cur, "down"))
    element->direction = LU_DOWN;
  else if (take_word(cur, "any"))
    element->direction = LU_ANY;
  else
    return fail(cur, LU_ERR_SYNTAX, cur->at, "expected up, down, any, at or wait");
  if (take_word(cur, "powers"))
    element->kind = LU_ELEMENT_POWERS;
  return read_ops(cur, pattern, element);
}

lu_status lu_pattern_read_march(lu_pattern_cursor *cur, lu_pattern *pattern)
{
  pattern->elements = LU_NEW(cur->mem, lu_element, LU_PATTERN_ELEMENTS_MOST + 1);
  pattern->ops = LU_NEW(cur->mem, lu_pattern_op, LU_PATTERN_OPS_MOST);
  if (!pattern->elements || !pattern->ops)
    return lu_fail(cur->err, LU_ERR_NOMEM, 0, 0, "no room for a pattern");
  if (!take(cur, '{'))
    return fail(cur, LU_ERR_SYNTAX, cur->at, "expected '{' and march elements");
  for (;;) {
    lu_status status = read_element(cur, pattern);
    if (status)
      return status;
    bool more = take(cur, ';');
    if (take(cur, '}'))
      break;
    if (!more)
      return fail(cur, LU_ERR_SYNTAX, cur->at, "expected ';' or '}'");
  }
  skip(cur);
  if (cur->at < cur->end)
    return fail(cur, LU_ERR_SYNTAX, cur->at, "expected nothing after '}'");
  return LU_OK;
}

/* ---- writing it again ---- */

typedef struct text {
  char *at;
  size_t len, room;
} text;

static void put(text *t, const char *format, ...) __attribute__((format(printf, 2, 3)));
static void put(text *t, const char *format, ...)
{
  va_list ap;
  va_start(ap, format);
  int n = vsnprintf(t->at + t->len, t->room - t->len, format, ap);
  va_end(ap);
  if (n > 0)
    t->len = t->len + (size_t)n < t->room ? t->len + (size_t)n : t->room - 1;
}

static void put_wait(text *t, uint64_t us)
{
  if (us % 1000000 == 0)
    put(t, "wait %llus", (unsigned long long)us / 1000000);
  else if (us % 1000 == 0)
    put(t, "wait %llums", (unsigned long long)us / 1000);
  else
    put(t, "wait %lluus", (unsigned long long)us);
}

static void put_ops(text *t, const lu_pattern_op *ops, size_t count)
{
  put(t, "(");
  for (size_t i = 0; i < count; i++) {
    if (i)
      put(t, ",");
    if (ops[i].kind == LU_OP_REST) {
      put(t, "rest");
      put_ops(t, ops + i + 1, ops[i].nested); /* one level only: rest does not nest */
      i += ops[i].nested;
      continue;
    }
    put(t, "%c%u", ops[i].kind == LU_OP_READ ? 'r' : 'w', ops[i].value);
    if (ops[i].repeat > 1)
      put(t, "*%u", (unsigned)ops[i].repeat);
  }
  put(t, ")");
}

const char *lu_pattern_write_march(const lu_pattern *pattern, lu_arena *mem)
{
  static const char *const directions[] = {"up", "down", "any"};
  text t = {.room = 64 + 32 * pattern->element_count + 12 * pattern->op_count};
  t.at = lu_arena_take(mem, t.room);
  if (!t.at)
    return NULL;
  put(&t, "{");
  for (size_t e = 0; e < pattern->element_count; e++) {
    const lu_element *element = &pattern->elements[e];
    put(&t, e ? "; " : " ");
    if (element->kind == LU_ELEMENT_WAIT) {
      put_wait(&t, element->wait_us);
      continue;
    }
    if (element->kind == LU_ELEMENT_AT)
      put(&t, "at %u ", (unsigned)element->at);
    else
      put(&t, "%s", directions[element->direction]);
    if (element->kind == LU_ELEMENT_POWERS)
      put(&t, " powers ");
    put_ops(&t, pattern->ops + element->first_op, element->op_count);
  }
  put(&t, " }");
  return t.at;
}

/* ---- reads against writes ---- */

/* A sample of words on which a contradiction must show: low ones, powers, all that `at` names. */
typedef struct sample {
  size_t count;
  uint32_t word[LU_PATTERN_ELEMENTS_MOST + 16];
  int8_t holds[LU_PATTERN_ELEMENTS_MOST + 16]; /* -1: never written */
} sample;

static void add_word(sample *s, uint32_t word)
{
  size_t i = s->count;
  for (size_t k = 0; k < s->count; k++)
    if (s->word[k] == word)
      return;
  for (; i && s->word[i - 1] > word; i--)
    s->word[i] = s->word[i - 1];
  s->word[i] = word;
  s->holds[s->count++] = -1;
}

static bool takes_part(const lu_element *element, uint32_t word)
{
  if (element->kind == LU_ELEMENT_AT)
    return word == element->at;
  return element->kind == LU_ELEMENT_ALL || !(word & (word - 1));
}

static lu_status touch(const lu_pattern_cursor *cur, const lu_pattern *pattern, size_t e, size_t o,
                       sample *s, size_t k)
{
  const lu_pattern_op *op = &pattern->ops[o];
  if (op->kind == LU_OP_WRITE) {
    s->holds[k] = (int8_t)op->value;
  } else if (op->kind == LU_OP_READ && s->holds[k] != op->value) {
    size_t place = o - pattern->elements[e].first_op + 1;
    if (s->holds[k] < 0)
      return lu_fail_at(cur->err, LU_ERR_VALUE, cur->text, cur->len, op->offset,
                        "element %zu, operation %zu expects %u where nothing was written (word %u)",
                        e + 1, place, op->value, s->word[k]);
    return lu_fail_at(cur->err, LU_ERR_VALUE, cur->text, cur->len, op->offset,
                      "element %zu, operation %zu expects %u where %d was written (word %u)", e + 1,
                      place, op->value, s->holds[k], s->word[k]);
  }
  return LU_OK;
}

static lu_status touch_rest(const lu_pattern_cursor *cur, const lu_pattern *pattern, size_t e,
                            size_t o, sample *s, size_t home)
{
  for (size_t k = 0; k < s->count; k++)
    for (size_t n = 1; k != home && n <= pattern->ops[o].nested; n++) {
      if (!takes_part(&pattern->elements[e], s->word[k]))
        continue;
      lu_status status = touch(cur, pattern, e, o + n, s, k);
      if (status)
        return status;
    }
  return LU_OK;
}

static lu_status walk_element(const lu_pattern_cursor *cur, const lu_pattern *pattern, size_t e,
                              bool down, sample *s)
{
  const lu_element *element = &pattern->elements[e];
  for (size_t i = 0; i < s->count; i++) {
    size_t k = down ? s->count - 1 - i : i;
    if (!takes_part(element, s->word[k]))
      continue;
    for (size_t n = 0; n < element->op_count; n++) {
      size_t o = element->first_op + n;
      bool rest = pattern->ops[o].kind == LU_OP_REST;
      lu_status status = rest ? touch_rest(cur, pattern, e, o, s, k)
                              : touch(cur, pattern, e, o, s, k);
      if (status)
        return status;
      if (rest)
        n += pattern->ops[o].nested;
    }
  }
  return LU_OK;
}

lu_status lu_pattern_check_reads(const lu_pattern_cursor *cur, const lu_pattern *pattern)
{
  for (int any_down = 0; any_down < 2; any_down++) {
    sample s = {0};
    for (uint32_t w = 0; w <= 8; w++)
      add_word(&s, w);
    for (size_t e = 0; e < pattern->element_count; e++)
      if (pattern->elements[e].kind == LU_ELEMENT_AT)
        add_word(&s, pattern->elements[e].at);
    for (size_t e = 0; e < pattern->element_count; e++) {
      const lu_element *element = &pattern->elements[e];
      bool down = element->direction == LU_DOWN || (element->direction == LU_ANY && any_down);
      lu_status status = walk_element(cur, pattern, e, down, &s);
      if (status)
        return status;
    }
  }
  return LU_OK;
}
