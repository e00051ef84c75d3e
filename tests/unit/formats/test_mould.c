/* SPDX-License-Identifier: MIT */
/* Lists that are written like the one before are read in one step (formats/mould.h). It must never be
 * seen: nodes and port references in many styles, mixed, give the pins that were put in, and a
 * complaint names the same place as ever. The expected side is the list of what was put in. */
#include "formats/netform.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <cmocka.h>

enum { NETS = 120, PINS = 9, MOST = 1 << 20 };

typedef struct pin {
  char ref[64], number[64], function[64];
} pin;

static pin want[NETS][PINS];
static char text[MOST];
static size_t len;

static unsigned chance(unsigned *state, unsigned below)
{
  *state = *state * 1103515245u + 12345u;
  return (*state >> 16) % below;
}

__attribute__((format(printf, 1, 2))) static void put(const char *format, ...)
{
  va_list ap;
  va_start(ap, format);
  len += (size_t)vsnprintf(text + len, MOST - len, format, ap);
  va_end(ap);
  assert_true(len < MOST);
}

static lu_netlist *read_text(lu_arena *mem, lu_err *err, lu_status expected)
{
  lu_netlist *n = NULL;
  /* a block of exactly this size: a look past the end is seen */
  uint8_t *exact = malloc(len);
  assert_non_null(exact);
  memcpy(exact, text, len);
  lu_status st = lu_netform_read((lu_bytes){exact, len}, mem, &n, err);
  free(exact);
  if (st != expected)
    fail_msg("%u:%u: %s", err->line, err->column, err->message);
  return n;
}

static void compare(const lu_netlist *n)
{
  assert_int_equal(n->net_count, NETS);
  for (size_t i = 0; i < NETS; i++) {
    assert_int_equal(n->nets[i].pin_count, PINS);
    for (size_t k = 0; k < PINS; k++) {
      const lu_net_pin *p = &n->pins[n->nets[i].first_pin + k];
      assert_string_equal(n->parts[p->part].ref, want[i][k].ref);
      assert_string_equal(p->number, want[i][k].number);
      assert_string_equal(p->function ? p->function : "", want[i][k].function);
    }
  }
}

/* Names short, of the length of a vector's step, and longer than a step. */
static void name(char *to, const char *head, unsigned number, unsigned kind)
{
  static const char *const tails[] = {"", "_0123456789abc", "_0123456789abcdef0123456789abcdef012"};
  snprintf(to, 64, "%s%u%s", head, number, tails[kind % 3]);
}

/* ---- KiCad ---- */

static const char *const between[] = {" ", "\n\t\t\t\t", "\r\n      ", ""};

static void kicad_node(pin *p, unsigned style, const char *gap)
{
  switch (style) {
  case 0:
  case 1:
    put("%s(node%s(ref \"%s\")%s(pin \"%s\")%s(pinfunction \"%s\")%s(pintype \"input\"))",
        style ? "\n      " : gap, gap, p->ref, gap, p->number, gap, p->function, gap);
    break;
  case 2: /* bare atoms */
    put("%s(node (ref %s) (pin %s) (pinfunction %s))", gap, p->ref, p->number, p->function);
    break;
  case 3: /* no name, and what an empty one means */
    put("%s(node (ref \"%s\") (pin \"%s\")%s)", gap, p->ref, p->number,
        p->number[0] & 1 ? "" : " (pinfunction \"\")");
    p->function[0] = 0;
    break;
  case 4: /* another order, and lists that say nothing to us, with brackets in strings */
    put("%s(node (pintype \"a)b(\") (pin \"%s\") (x (y \"z\") w) (ref \"%s\") (pinfunction \"%s\"))",
        gap, p->number, p->ref, p->function);
    break;
  case 5: /* the later of two counts */
    put("%s(node (ref \"R0\") (pin \"%s\") (ref \"%s\") (pinfunction \"%s\"))", gap, p->number, p->ref,
        p->function);
    break;
  case 6: /* escapes */
    put("%s(node (ref \"%s\") (pin \"%s\") (pinfunction \"%s\\\"\\\\\"))", gap, p->ref, p->number,
        p->function);
    strncat(p->function, "\"\\", 3);
    break;
  default: /* an escaped reference */
    put("%s(node (ref \"\\%s\") (pin \"%s\") (pinfunction \"%s\"))", gap, p->ref, p->number,
        p->function);
  }
}

static void test_kicad(void **state)
{
  (void)state;
  for (unsigned seed = 1; seed <= 20; seed++) {
    unsigned dice = seed;
    len = 0;
    put("(export (version \"E\")\n  (nets\n");
    for (unsigned i = 0; i < NETS; i++) {
      put("    (net (code \"%u\") (name \"N%u\")", i + 1, i);
      for (unsigned k = 0; k < PINS; k++) {
        pin *p = &want[i][k];
        unsigned style = seed > 10 && k ? chance(&dice, 2) : chance(&dice, 8);
        name(p->ref, "U", chance(&dice, 50), chance(&dice, 3));
        name(p->number, "", i * PINS + k, chance(&dice, 3));
        name(p->function, "D", chance(&dice, 20), chance(&dice, 3));
        kicad_node(p, style, between[seed > 10 ? seed % 3 : chance(&dice, 4)]);
      }
      put(")\n");
    }
    put("  )\n)\n");
    lu_arena mem = {0};
    lu_err err = {0};
    lu_netlist *n = read_text(&mem, &err, LU_OK);
    compare(n);
    lu_arena_free(&mem);
  }
}

/* The second place of a pin on two nets, in a node that is read in one step. */
static void test_kicad_place(void **state)
{
  (void)state;
  len = 0;
  put("(export (version \"E\")\n  (nets\n");
  for (unsigned i = 0; i < 50; i++)
    put("    (net (code \"%u\") (name \"N%u\")\n      (node (ref \"U%u\") (pin \"1\") (pintype "
        "\"input\"))\n      (node (ref \"U%u\") (pin \"2\") (pintype \"input\")))\n",
        i + 1, i, i, i == 40 ? 7 : i);
  put("  )\n)\n");
  lu_arena mem = {0};
  lu_err err = {0};
  (void)read_text(&mem, &err, LU_ERR_VALUE);
  assert_int_equal(err.line, 2 + 40 * 3 + 3);
  assert_int_equal(err.column, 8);
  assert_non_null(strstr(err.message, "U7.2"));
  lu_arena_free(&mem);
}

/* ---- EDIF ---- */

static void edif_ref(const pin *p, unsigned style, const char *gap)
{
  static const char *const forms[] = {
      "%s(portRef &%s%s(instanceRef %s))",
      "%s(PORTREF %s%s(InstanceRef %s))",
      "%s(portRef (name &%s (display x \"y)\"))%s(instanceRef %s))",
      "%s(portRef %s%s(instanceRef (name %s (display x))))",
      "%s(portRef (member %s 0)%s(instanceRef &%s))",
      "%s(portRef %s%s( instanceRef %s ) )",
  };
  const char *form = forms[style % 6];
  char ref[64], number[64];
  for (size_t i = 0; i < sizeof ref; i++) { /* case does not count */
    ref[i] = style & 8 && p->ref[i] == 'U' ? 'u' : p->ref[i];
    number[i] = style & 16 && p->number[i] == 'P' ? 'p' : p->number[i];
  }
#pragma GCC diagnostic push
#pragma GCC diagnostic ignored "-Wformat-nonliteral"
  len += (size_t)snprintf(text + len, MOST - len, form, gap, number, gap, ref);
#pragma GCC diagnostic pop
  assert_true(len < MOST);
}

static void edif_head(bool late)
{
  len = 0;
  put("(edif t (edifVersion 2 0 0) (edifLevel 0) (keywordMap (keywordLevel 0))\n (external p "
      "(edifLevel 0) (technology)\n  (cell C (view v (viewType NETLIST) (interface\n");
  for (unsigned k = 0; k < NETS; k++)
    put("   (port P%u)\n", k);
  put("   ))))\n (library w (edifLevel 0) (technology)\n  (cell top (view v (viewType NETLIST) "
      "(interface) (contents\n");
  for (unsigned k = 0; !late && k < PINS; k++)
    put("   (instance U%u_0123456789abcdef (viewRef v (cellRef C (libraryRef p))))\n", k);
}

static void test_edif(void **state)
{
  (void)state;
  for (unsigned seed = 1; seed <= 20; seed++) {
    unsigned dice = seed;
    bool late = seed % 5 == 0; /* instances behind the nets that name them */
    edif_head(late);
    for (unsigned i = 0; i < NETS; i++) {
      put("   (net N%u (joined", i);
      for (unsigned k = 0; k < PINS; k++) {
        pin *p = &want[i][k];
        snprintf(p->ref, sizeof p->ref, "U%u_0123456789abcdef", k);
        snprintf(p->number, sizeof p->number, "P%u", i);
        snprintf(p->function, sizeof p->function, "P%u", i);
        edif_ref(p, seed > 10 ? seed % 2 + chance(&dice, 2) * 8 : chance(&dice, 32),
                 between[seed > 10 ? seed % 3 : chance(&dice, 3)]);
      }
      put("))\n");
    }
    for (unsigned k = 0; late && k < PINS; k++)
      put("   (instance U%u_0123456789abcdef (viewRef v (cellRef C (libraryRef p))))\n", k);
    put("   )))) (design d (cellRef top (libraryRef w))))\n");
    lu_arena mem = {0};
    lu_err err = {0};
    lu_netlist *n = read_text(&mem, &err, LU_OK);
    compare(n);
    lu_arena_free(&mem);
  }
}

/* A port that is not there, in a reference that is read in one step. */
static void test_edif_place(void **state)
{
  (void)state;
  edif_head(false);
  for (unsigned i = 0; i < 40; i++)
    put("   (net N%u (joined\n     (portRef P%u (instanceRef U0_0123456789abcdef))))\n", i,
        i == 30 ? 999 : i);
  put("   )))) (design d (cellRef top (libraryRef w))))\n");
  lu_arena mem = {0};
  lu_err err = {0};
  (void)read_text(&mem, &err, LU_ERR_MISSING);
  assert_int_equal(err.line, 3 + NETS + 3 + PINS + 30 * 2 + 2);
  assert_int_equal(err.column, 7);
  assert_non_null(strstr(err.message, "p999"));
  lu_arena_free(&mem);
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(test_kicad),
      cmocka_unit_test(test_kicad_place),
      cmocka_unit_test(test_edif),
      cmocka_unit_test(test_edif_place),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
