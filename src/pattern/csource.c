/* SPDX-License-Identifier: MIT */
#include "pattern/csource.h"

#include <stdarg.h>
#include <stdio.h>
#include <string.h>

#include "pattern/prbs.h"

typedef struct writer {
  const lu_pattern *pattern;
  const lu_memory *block;
  const lu_c_options *options;
  lu_arena *mem;
  char *text;
  size_t len, room;
  bool refused;         /* mem had no more */
  unsigned indent;
  uint64_t mask;        /* of the value that is accessed at once: a word, or a byte lane */
  unsigned address_bits;
  const lu_prbs *prbs;  /* of the background being written, or NULL */
} writer;

static void put(writer *w, const char *format, ...) __attribute__((format(printf, 2, 3)));
static void put(writer *w, const char *format, ...)
{
  char line[4096];
  va_list ap;
  va_start(ap, format);
  int n = vsnprintf(line, sizeof line, format, ap);
  va_end(ap);
  if (n < 0 || w->refused)
    return;
  if ((size_t)n >= sizeof line)
    n = (int)sizeof line - 1;
  size_t need = w->len + 2 * w->indent + (size_t)n + 2;
  if (need > w->room) {
    size_t room = need * 2 + 4096;
    char *more = lu_arena_take(w->mem, room);
    if (!more) {
      w->refused = true;
      return;
    }
    if (w->len)
      memcpy(more, w->text, w->len);
    w->text = more;
    w->room = room;
  }
  if (n)
    for (unsigned i = 0; i < w->indent; i++)
      memcpy(w->text + w->len + 2 * (size_t)i, "  ", 2);
  w->len += n ? 2 * (size_t)w->indent : 0;
  memcpy(w->text + w->len, line, (size_t)n);
  w->len += (size_t)n;
  w->text[w->len++] = '\n';
  w->text[w->len] = '\0';
}

static uint64_t ones(unsigned bits)
{
  return bits >= 64 ? ~UINT64_C(0) : (UINT64_C(1) << bits) - 1;
}

/* ---- expressions ---- */

/* Appends the terms that move bits of k, from bit *from on, to the places of mask. */
static void deposit_terms(char *text, size_t len, uint64_t mask, unsigned *from)
{
  while (mask) {
    unsigned to = (unsigned)__builtin_ctzll(mask), run = 0;
    while (mask >> (to + run) & 1)
      run++;
    size_t at = strlen(text);
    snprintf(text + at, len - at, "%s(k >> %u & 0x%llxu) << %u", at ? " | " : "", *from,
             (unsigned long long)ones(run), to);
    *from += run;
    mask &= ~(ones(run) << to);
  }
}

static void place_expression(const writer *w, lu_order order, char *text, size_t len)
{
  uint64_t all = ones(w->address_bits);
  uint64_t upper = w->address_bits > 1 ? all & ~ones(w->address_bits / 2) : all & ~UINT64_C(1);
  uint64_t rows = w->block->row_mask ? w->block->row_mask & all : upper;
  unsigned from = 0;
  text[0] = '\0';
  switch (order) {
  case LU_ORDER_LINEAR:
    break;
  case LU_ORDER_ROWS:
    deposit_terms(text, len, rows, &from);
    deposit_terms(text, len, all & ~rows, &from);
    break;
  case LU_ORDER_COLUMNS:
    deposit_terms(text, len, all & ~rows, &from);
    deposit_terms(text, len, rows, &from);
    break;
  case LU_ORDER_LINES:
    snprintf(text, len, "(k & 1u) << line | (k >> 1 & ((UINT32_C(1) << line) - 1u)) | "
                        "(k >> 1 >> line << line << 1)");
    break;
  case LU_ORDER_TURNS: {
    unsigned top = w->address_bits ? w->address_bits - 1 : 0;
    unsigned long long rest = ones(top);
    snprintf(text, len, "(k >> %u & 1u) << (line >> 1) | ((line & 1u ? ~k : k) & 0x%llxu & ((UINT32_C(1) << (line >> 1)) - 1u)) | "
                        "(((line & 1u ? ~k : k) & 0x%llxu) >> (line >> 1) << (line >> 1) << 1)", top, rest, rest);
    break;
  }
  case LU_ORDER_COMPLEMENT:
    snprintf(text, len, "k & 1u ? 0x%llxu - (k >> 1) : k >> 1", (unsigned long long)all);
    break;
  }
  if (!text[0])
    snprintf(text, len, "k");
}

/* ---- operations ---- */

enum { UNROLLED_MOST = 64 }; /* loops of more turns stay loops (GCC: 16, clang: by size) */

static void put_access(writer *w, size_t o, bool nested)
{
  const lu_pattern_op *op = &w->pattern->ops[o];
  const char *a = nested ? "b" : "a", *index = nested ? "j" : "i", *z = nested ? "y" : "z";
  char value[48];
  snprintf(value, sizeof value, op->value ? "(lu_word)(%s ^ 0x%llxu)" : "%s", z,
           (unsigned long long)w->mask);
  if (op->repeat > 1) {
    put(w, "for (r = 0; r < %uu; r++) {", (unsigned)op->repeat);
    w->indent++;
  }
  if (op->kind == LU_OP_WRITE) {
    put(w, "LU_WRITE(%s, %s);", a, value);
  } else {
    put(w, "g = (lu_word)(LU_READ(%s) & 0x%llxu);", a, (unsigned long long)w->mask);
    if (op->value) /* (g != ~z) would draw warnings about promoted complements */
      put(w, "if ((lu_word)(g ^ %s) != 0x%llxu)", z, (unsigned long long)w->mask);
    else
      put(w, "if (g != %s)", z);
    put(w, "  LU_FAIL(%u, %s, %s, g);", (unsigned)o, index, value);
  }
  if (op->repeat > 1) {
    w->indent--;
    put(w, "}");
  }
}

/* few: so few words that the compiler may know the very address. Elsewhere hiding it would cost a register. */
static void put_address(writer *w, const char *address, const char *index, bool few)
{
  if (w->pattern->by_lanes)
    put(w, "%s = LU_BASE + (lu_address)%s * %uu + lane_at;", address, index, w->block->bytes);
  else
    put(w, "%s = LU_BASE + (lu_address)%s * %uu;", address, index, w->block->bytes);
  if (few)
    put(w, "LU_HIDE(%s);", address);
}

static void put_loop(writer *w, const char *k, const char *tries, bool down)
{
  if (down)
    put(w, "for (%s = %s; %s-- > 0;) {", k, tries, k);
  else
    put(w, "for (%s = 0; %s < %s; %s++) {", k, k, tries, k);
  w->indent++;
}

static const char *set_expression(const lu_element *e, const char *place)
{
  return e->kind == LU_ELEMENT_POWERS ? "k ? UINT32_C(1) << (k - 1u) : 0u" : place;
}

static void put_rest(writer *w, const lu_element *e, size_t o, const char *place,
                     const char *tries)
{
  put(w, "h = k;");
  put_loop(w, "k", tries, false);
  put(w, "j = %s;", set_expression(e, place));
  put(w, "if (j == i || j >= 0x%llxu)", (unsigned long long)w->block->words);
  put(w, "  continue;");
  put_address(w, "b", "j", true);
  put(w, "y = (lu_word)LU_ZERO(j);");
  for (size_t n = 1; n <= w->pattern->ops[o].nested; n++)
    put_access(w, o + n, true);
  w->indent--;
  put(w, "}");
  put(w, "k = h;");
}

static void put_ops(writer *w, const lu_element *e, const char *place, const char *tries)
{
  for (size_t n = 0; n < e->op_count; n++) {
    size_t o = e->first_op + n;
    if (w->pattern->ops[o].kind == LU_OP_REST) {
      put_rest(w, e, o, place, tries);
      n += w->pattern->ops[o].nested;
    } else {
      put_access(w, o, false);
    }
  }
}

/* ---- pseudo-random values, one register stepped both ways ---- */

static void put_prbs_value(writer *w, bool down)
{
  const lu_prbs *p = w->prbs;
  unsigned width = w->block->width;
  put(w, "z = 0;");
  put(w, "for (r = 0; r < %uu; r++) {", width);
  w->indent++;
  if (down)
    put(w, "s = (s << 1 | ((s >> %u ^ s >> %u) & 1u)) & 0x%llxu;", p->n - 1, p->n - p->m - 1,
        (unsigned long long)ones(p->n));
  char bit[64] = "s & 1u";
  if (p->limit)
    snprintf(bit, sizeof bit, "(s & 1u) | !(s >> 1 & 0x%llxu)", (unsigned long long)ones(p->limit));
  if (down)
    put(w, "z = (lu_word)(z << 1 | (lu_word)(%s));", bit);
  else
    put(w, "z = (lu_word)(z | (lu_word)((lu_word)(%s) << r));", bit);
  if (!down)
    put(w, "s = s >> 1 | ((s ^ s >> %u) & 1u) << %u;", p->n - p->m, p->n - 1);
  w->indent--;
  put(w, "}");
}

static void put_prbs_start(writer *w, bool down)
{
  lu_prbs_run run;
  uint64_t bits, at = down ? w->block->words % lu_prbs_period(w->prbs) * w->block->width : 0;
  lu_prbs_start(&run, w->prbs, at);
  lu_prbs_take(&run, false, &bits, 1);
  put(w, "s = 0x%llxu;", (unsigned long long)(bits & ones(w->prbs->n)));
}

/* ---- elements, passes ---- */

static void put_element(writer *w, size_t number, lu_order order, const char *place)
{
  const lu_element *e = &w->pattern->elements[number];
  bool down = e->direction == LU_DOWN;
  char tries[32];
  put(w, "/* element %zu */", number + 1);
  if (e->kind == LU_ELEMENT_WAIT) {
    put(w, "LU_WAIT_US(%llu);", (unsigned long long)e->wait_us);
    return;
  }
  if (e->kind == LU_ELEMENT_AT) {
    put(w, "i = %uu;", (unsigned)e->at);
    put_address(w, "a", "i", true);
    put(w, "z = (lu_word)LU_ZERO(i);");
    put_ops(w, e, place, "1u");
    return;
  }
  bool straight = order == LU_ORDER_LINEAR || e->kind == LU_ELEMENT_POWERS;
  uint64_t count = e->kind == LU_ELEMENT_POWERS ? w->address_bits + 1
                   : straight ? w->block->words : UINT64_C(1) << w->address_bits;
  snprintf(tries, sizeof tries, "0x%llxu", (unsigned long long)count);
  if (w->prbs)
    put_prbs_start(w, down);
  put_loop(w, "k", tries, down);
  put(w, "i = %s;", set_expression(e, place));
  if (!straight && w->block->words != count) {
    put(w, "if (i >= 0x%llxu)", (unsigned long long)w->block->words);
    put(w, "  continue;");
  }
  put_address(w, "a", "i", e->kind == LU_ELEMENT_POWERS || count <= UNROLLED_MOST);
  if (w->prbs)
    put_prbs_value(w, down);
  else
    put(w, "z = (lu_word)LU_ZERO(i);");
  put_ops(w, e, place, tries);
  w->indent--;
  put(w, "}");
}

static void put_elements(writer *w, lu_order order)
{
  char place[1024];
  place_expression(w, order, place, sizeof place);
  if (order == LU_ORDER_LINES)
    put_loop(w, "line", w->address_bits > 1 ? "LU_LINES" : "1u", false);
  if (order == LU_ORDER_TURNS)
    put_loop(w, "line", w->address_bits ? "2u * LU_LINES" : "1u", false);
  for (size_t e = 0; e < w->pattern->element_count; e++)
    put_element(w, e, order, place);
  if (order == LU_ORDER_LINES || order == LU_ORDER_TURNS) {
    w->indent--;
    put(w, "}");
  }
}

/* One background: LU_ZERO(i) is what 0 means at word i; vectors run in a loop. */
static void put_background(writer *w, const lu_background *background, lu_order order)
{
  unsigned vectors = background->contents ? 1 : lu_vectors_count(background->vectors,
                                                                 w->block->width);
  char value[2048] = "";
  w->prbs = background->contents ? lu_contents_sequence(background->contents) : NULL;
  if (background->contents && !w->prbs)
    lu_contents_expression(background->contents, w->block->width, value, sizeof value);
  for (unsigned v = 0; !background->contents && v < vectors; v++) {
    size_t at = strlen(value);
    unsigned long long word = lu_vectors_word(background->vectors, w->block->width, v);
    if (v + 1 < vectors)
      snprintf(value + at, sizeof value - at, "vector == %uu ? 0x%llxu : ", v, word);
    else
      snprintf(value + at, sizeof value - at, "0x%llxu", word);
  }
  const char *lane = w->pattern->by_lanes ? " >> 8u * lane" : "";
  put(w, "#undef LU_ZERO");
  put(w, "#define LU_ZERO(index) (lu_zero(index)%s & 0x%llxu)", lane, (unsigned long long)w->mask);
  put(w, "#undef lu_zero");
  /* the expression speaks of i; in a nested loop the index is j */
  const char *at = value;
  char named[2304] = "";
  for (size_t n = 0; *at && n + 12 < sizeof named; at++) {
    bool index = *at == 'i' && !(at > value && ((at[-1] >= 'a' && at[-1] <= 'z') || at[-1] == '_')) &&
                 !(at[1] >= 'a' && at[1] <= 'z');
    n += (size_t)snprintf(named + n, sizeof named - n, index ? "(index)" : "%c", *at);
  }
  put(w, "#define lu_zero(index) ((lu_value)(%s))", named[0] ? named : "0");
  if (vectors > 1)
    put_loop(w, "vector", lu_arena_printf(w->mem, "%uu", vectors), false);
  put_elements(w, order);
  if (vectors > 1) {
    w->indent--;
    put(w, "}");
  }
}

static void put_passes(writer *w)
{
  for (size_t o = 0; o < w->pattern->order_count; o++) {
    if (w->pattern->by_lanes) {
      put_loop(w, "lane", lu_arena_printf(w->mem, "%uu", (w->block->width + 7) / 8), false);
      put(w, w->options->big_endian ? "lane_at = %uu - lane;" : "lane_at = lane + %uu;",
          w->options->big_endian ? w->block->bytes - 1 : 0);
    }
    for (size_t b = 0; b < w->pattern->background_count; b++)
      put_background(w, &w->pattern->backgrounds[b], w->pattern->orders[o]);
    if (w->pattern->by_lanes) {
      w->indent--;
      put(w, "}");
    }
  }
}

/* ---- the file around it ---- */

static bool has_kind(const lu_pattern *p, lu_element_kind kind)
{
  for (size_t i = 0; i < p->element_count; i++)
    if (p->elements[i].kind == kind)
      return true;
  return false;
}

/* Words from a pattern file must not end the comment that they stand in. */
static const char *harmless(writer *w, const char *text)
{
  char *copy = lu_arena_text(w->mem, text, strlen(text));
  w->refused |= !copy;
  for (char *p = copy; p && *p; p++)
    if (*p == '/' && p > copy && p[-1] == '*')
      *p = '|';
  return copy ? copy : "";
}

static void put_head(writer *w)
{
  const lu_pattern *p = w->pattern;
  unsigned bits = p->by_lanes ? 8 : 8 * w->block->bytes;
  put(w, "/* %.200s, made by lineup pattern expand %s --c", harmless(w, p->title), p->name);
  put(w, " *");
  put(w, " * %.900s", p->march);
  put(w, " *");
  put(w, " * Source of the sequence: %.800s", harmless(w, p->source));
  put(w, " * Block: %llu words of %u bits from byte address 0x%llx.",
      (unsigned long long)w->block->words, w->block->width,
      (unsigned long long)w->options->base);
  put(w, " *");
  put(w, " * Returns the number of reads that failed. Nothing is called and nothing is kept in memory");
  put(w, " * that the compiler can keep in registers: build with optimisation, look at the listing, and");
  put(w, " * run from ROM with interrupts and refresh as the machine needs them. Define before this text");
  put(w, " * what the machine needs otherwise: LU_TEST, LU_BASE, LU_READ, LU_WRITE, LU_FAIL, LU_WAIT_US,");
  put(w, " * LU_HIDE. */");
  put(w, "#include <stdint.h>");
  put(w, "typedef uint%u_t lu_word; /* what is accessed at once */", bits);
  put(w, "typedef uint%u_t lu_value; /* a whole word */", 8 * w->block->bytes);
  put(w, "typedef uintptr_t lu_address;");
  put(w, "#ifndef LU_TEST");
  put(w, "#define LU_TEST lu_test");
  put(w, "#endif");
  put(w, "#ifndef LU_BASE");
  put(w, "#define LU_BASE ((lu_address)0x%llxu)", (unsigned long long)w->options->base);
  put(w, "#endif");
  /* Memory at address 0 is real here, but to a compiler a pointer that it knows to be 0 points to nothing: GCC makes a
     trap of it. */
  put(w, "#ifndef LU_HIDE /* what the value is, is none of the optimiser's business: address 0 is as good as any */");
  put(w, "#ifdef __GNUC__");
  put(w, "#define LU_HIDE(address) __asm__(\"\" : \"+r\"(address))");
  put(w, "#else");
  put(w, "#define LU_HIDE(address) (void)0");
  put(w, "#endif");
  put(w, "#endif");
  put(w, "#ifndef LU_READ");
  put(w, "#define LU_READ(address) (*(volatile lu_word *)(address))");
  put(w, "#endif");
  put(w, "#ifndef LU_WRITE");
  put(w, "#define LU_WRITE(address, value) (*(volatile lu_word *)(address) = (value))");
  put(w, "#endif");
  put(w, "#ifndef LU_FAIL /* operation (from 0, in the order of the march), word, expected, got */");
  put(w, "#define LU_FAIL(operation, word, expected, got) failures++");
  put(w, "#endif");
  if (has_kind(p, LU_ELEMENT_WAIT)) {
    put(w, "#ifndef LU_WAIT_US");
    put(w, "#error \"this test has delays: define LU_WAIT_US(microseconds) for the machine\"");
    put(w, "#endif");
  }
}

static lu_status check(const lu_pattern *p, const lu_memory *block, const lu_c_options *options,
                       lu_err *err)
{
  if (block->words > (UINT64_C(1) << 31) ||
      options->base > UINT64_MAX - block->words * block->bytes)
    return lu_fail(err, LU_ERR_VALUE, 0, 0, "C source is made for blocks of at most 2^31 words");
  if (p->by_lanes && block->width % 8)
    return lu_fail(err, LU_ERR_VALUE, 0, 0, "byte lanes in C need whole bytes, not %u bits",
                   block->width);
  bool straight = !has_kind(p, LU_ELEMENT_AT) && !has_kind(p, LU_ELEMENT_POWERS) && !p->by_lanes;
  for (size_t i = 0; i < p->order_count; i++)
    straight &= p->orders[i] == LU_ORDER_LINEAR;
  for (size_t i = 0; i < p->op_count; i++)
    straight &= p->ops[i].kind != LU_OP_REST;
  for (size_t i = 0; i < p->background_count; i++)
    if (p->backgrounds[i].contents && lu_contents_sequence(p->backgrounds[i].contents) && !straight)
      return lu_fail(err, LU_ERR_VALUE, 0, 0,
                     "background %s in C goes straight up and down only: linear order, whole words, "
                     "no at, powers or rest", p->backgrounds[i].contents->name);
  return LU_OK;
}

static void put_function(writer *w)
{
  const lu_pattern *p = w->pattern;
  bool rest = false, repeat = false, prbs = false, vectors = false, lines = false;
  for (size_t i = 0; i < p->op_count; i++) {
    rest |= p->ops[i].kind == LU_OP_REST;
    repeat |= p->ops[i].repeat > 1;
  }
  for (size_t i = 0; i < p->background_count; i++) {
    const lu_background *b = &p->backgrounds[i];
    prbs |= b->contents && lu_contents_sequence(b->contents);
    vectors |= !b->contents && lu_vectors_count(b->vectors, w->block->width) > 1;
  }
  for (size_t i = 0; i < p->order_count; i++)
    lines |= p->orders[i] == LU_ORDER_LINES || p->orders[i] == LU_ORDER_TURNS;
  if (lines)
    put(w, "#define LU_LINES %uu", w->address_bits);
  put(w, "%s", "");
  put(w, "uint32_t LU_TEST(void);");
  put(w, "uint32_t LU_TEST(void)");
  put(w, "{");
  w->indent++;
  put(w, "uint32_t failures = 0, i, k = 0;");
  put(w, "lu_address a;");
  put(w, "lu_word z, g = 0;");
  if (rest) {
    put(w, "uint32_t j, h;");
    put(w, "lu_address b;");
    put(w, "lu_word y;");
  }
  if (repeat || prbs)
    put(w, "uint32_t r;");
  if (prbs)
    put(w, "uint32_t s;");
  if (vectors)
    put(w, "uint32_t vector;");
  if (lines)
    put(w, "uint32_t line;");
  if (p->by_lanes)
    put(w, "uint32_t lane, lane_at;");
  put_passes(w);
  put(w, "(void)g;");
  put(w, "(void)k;");
  put(w, "return failures;");
  w->indent--;
  put(w, "}");
}

lu_status lu_pattern_c_source(const lu_pattern *pattern, const lu_memory *block,
                              const lu_c_options *options, lu_arena *mem, const char **out,
                              lu_err *err)
{
  lu_status status = lu_pattern_fits(pattern, block, err);
  if (status == LU_OK)
    status = check(pattern, block, options, err);
  if (status)
    return status;
  writer w = {.pattern = pattern, .block = block, .options = options, .mem = mem};
  w.mask = pattern->by_lanes ? 0xff : ones(block->width);
  while (w.address_bits < 63 && UINT64_C(1) << w.address_bits < block->words)
    w.address_bits++;
  put_head(&w);
  put_function(&w);
  if (w.refused)
    return lu_fail(err, LU_ERR_NOMEM, 0, 0, "no room for C source");
  *out = w.text;
  return LU_OK;
}
