/* SPDX-License-Identifier: MIT */
/* Dump forms: examples of the formats' own documents, edge cases, bad samples, both code paths.
 *
 * Lines marked [intel] are reproduced from Intel, Hexadecimal Object File Format Specification,
 * Revision A, 1988, as several vendors' documents repeat them; [motorola] from the MC68000 Family
 * Programmer's Reference Manual, appendix on S-records. Their checksums were recomputed by hand. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>

#include <cmocka.h>

#include "base/io.h"
#include "formats/dumpform.h"
#include "formats/hexrun.h"

#include <dirent.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

typedef lu_status (*reader)(lu_bytes in, bool plain, lu_arena *mem, lu_dump **out, lu_err *err);

static reader reader_of(const char *form)
{
  return !strcmp(form, "ihex")   ? lu_ihex_read
         : !strcmp(form, "srec") ? lu_srec_read
                                 : lu_hextext_read;
}

static lu_bytes bytes_of(const char *text)
{
  return (lu_bytes){(const uint8_t *)text, strlen(text)};
}

/* A dump as one line: "base:hex base:hex ... !note", or the error. */
static void describe(char *to, size_t room, const lu_dump *d, const lu_err *err)
{
  size_t n = 0;
  to[0] = '\0';
  if (!d) {
    snprintf(to, room, "%u:%u %s", err->line, err->column, err->message);
    return;
  }
  for (size_t i = 0; i < d->span_count; i++) {
    n += (size_t)snprintf(to + n, room - n, "%s%llX:", i ? " " : "",
                          (unsigned long long)d->spans[i].base);
    for (uint64_t k = 0; k < d->spans[i].len && n + 3 < room; k++)
      n += (size_t)snprintf(to + n, room - n, "%02X", d->spans[i].at[k]);
  }
}

typedef struct row {
  const char *name, *form, *in, *out;
} row;

#define GAP ":0B0010006164647265737320676170A7\n" /* [intel] "address gap" at 0010 */
#define GAPHEX                                                                                     \
  "61646472657373206761"                                                                           \
  "70"
#define S_HEAD "S00600004844521B\n" /* [motorola] text HDR */

static const row rows[] = {
    {"ihex: a record and the end", "ihex", GAP ":00000001FF\n", "10:" GAPHEX},
    {"ihex: two records that follow each other are one span [intel]", "ihex",
     ":10010000214601360121470136007EFE09D2190140\n:100110002146017E17C20001FF5F16002148011928\n",
     "100:214601360121470136007EFE09D219012146017E17C20001FF5F160021480119"},
    {"ihex: three in the wrong order still are one span [intel]", "ihex",
     ":10012000194E79234623965778239EDA3F01B2CAA7\n:100130003F0156702B5E712B722B732146013421C7\n"
     ":100110002146017E17C20001FF5F16002148011928\n",
     "110:"
     "2146017E17C20001FF5F160021480119194E79234623965778239EDA3F01B2CA3F0156702B5E712B722B732146013"
     "421"},
    {"ihex: segment base 1200h is 12000h [intel]", "ihex", ":020000021200EA\n" GAP,
     "12010:" GAPHEX},
    {"ihex: linear base FFFF0000h [intel]", "ihex", ":02000004FFFFFC\n" GAP, "FFFF0010:" GAPHEX},
    {"ihex: linear base 08000000h [intel]", "ihex", ":020000040800F2\n" GAP, "8000010:" GAPHEX},
    {"ihex: start addresses carry no data [intel]", "ihex",
     ":0400000300003800C1\n:04000005000000CD2A\n" GAP, "10:" GAPHEX},
    {"ihex: a 02 cancels a 04", "ihex", ":020000040800F2\n:020000020000FC\n" GAP, "10:" GAPHEX},
    {"ihex: a 04 cancels a 02", "ihex", ":020000021200EA\n:020000040000FA\n" GAP, "10:" GAPHEX},
    {"ihex: in a segment the offset wraps to the segment's start", "ihex",
     ":020000021000EC\n:04FFFE0001020304F5\n", "10000:0304 1FFFE:0102"},
    {"ihex: without a base it wraps as in segment 0", "ihex", ":04FFFE0001020304F5\n",
     "0:0304 FFFE:0102"},
    {"ihex: a linear record runs into the next 64 KiB", "ihex",
     ":020000041000EA\n:04FFFE0001020304F5\n", "1000FFFE:01020304"},
    {"ihex: a linear record wraps at 2^32", "ihex", ":02000004FFFFFC\n:04FFFE0001020304F5\n",
     "0:0304 FFFFFFFE:0102"},
    {"ihex: the offset of a 02 record has no meaning", "ihex", ":02010002E0001B\n" GAP,
     "E0010:" GAPHEX},
    {"ihex: a data record may be empty", "ihex", ":0000000000\n" GAP, "10:" GAPHEX},
    {"ihex: lower case", "ihex", ":0b0010006164647265737320676170a7\n", "10:" GAPHEX},
    {"ihex: CRLF", "ihex", ":0B0010006164647265737320676170A7\r\n:00000001FF\r\n", "10:" GAPHEX},
    {"ihex: CR alone", "ihex", ":0B0010006164647265737320676170A7\r:00000001FF\r", "10:" GAPHEX},
    {"ihex: no line end at the end", "ihex", ":0B0010006164647265737320676170A7", "10:" GAPHEX},
    {"ihex: blank lines and blanks behind records", "ihex",
     "\n \n"
     ":0B0010006164647265737320676170A7 \t\n\n",
     "10:" GAPHEX},
    {"ihex: what stands before the mark is ignored", "ihex", "0001 " GAP, "10:" GAPHEX},
    {"ihex: what follows the end is ignored", "ihex", GAP ":00000001FF\nrest\n", "10:" GAPHEX},
    {"ihex: the same byte twice", "ihex", GAP GAP, "10:" GAPHEX},
    {"ihex: overlap with the same data extends", "ihex", GAP ":03001900617071A2\n",
     "10:" GAPHEX "71"},
    {"srec: the manual's example [motorola]", "srec",
     S_HEAD
     "S1130000285F245F2212226A000424290008237C2A\nS11300100002000800082629001853812341001813\n"
     "S113002041E900084E42234300182342000824A952\nS107003000144ED492\nS5030004F8\nS9030000FC\n",
     "0:285F245F2212226A000424290008237C00020008000826290018538123410018"
     "41E900084E42234300182342000824A900144ED4"},
    {"srec: the same line as S2", "srec", "S214000000285F245F2212226A000424290008237C29\n",
     "0:285F245F2212226A000424290008237C"},
    {"srec: the same line as S3", "srec", "S31500000000285F245F2212226A000424290008237C28\n",
     "0:285F245F2212226A000424290008237C"},
    {"srec: header text and other ends", "srec",
     "S00F000068656C6C6F202020202000003C\nS10D1000736F6D6520646174610074\nS9031122C9\n",
     "1000:736F6D65206461746100"},
    {"srec: S7 and S8 end a file too", "srec",
     "S10D1000736F6D6520646174610074\nS804001122C8\nS10D1000736F6D6520646174610073\n",
     "1000:736F6D65206461746100"},
    {"srec: gaps stay gaps", "srec",
     "S107003000144ED492\nS107004000144ED482\n",
     "30:00144ED4 40:00144ED4"},
    {"srec: CRLF and lower case", "srec", "S107003000144ed492\r\nS9030000fc\r\n", "30:00144ED4"},
    {"srec: no data in a data record", "srec", "S1030000FC\nS107003000144ED492\n", "30:00144ED4"},
    {"text: colon, pairs of bytes, text", "hextext",
     "00000000: 6162 6364 6566 6768  abcdefgh\n00000008: 696a                 ij\n",
     "0:6162636465666768696A"},
    {"text: address, bytes in two halves, bars", "hextext",
     "00000000  61 62 63 64 65 66 67 68  69 6a 6b 6c 6d 6e 6f 70  |abcdefghijklmnop|\n"
     "00000010  71 72                                             |qr|\n00000012\n",
     "0:6162636465666768696A6B6C6D6E6F707172"},
    {"text: address, two blanks, bytes, bars", "hextext",
     "1000  61 62 63 64  |abcd|\n1004  65 66 67 68  |efgh|\n", "1000:6162636465666768"},
    {"text: address and bytes", "hextext", "1000 61 62 63 64\n1004 65 66 67 68\n",
     "1000:6162636465666768"},
    {"text: one line, address and bytes", "hextext", "C000 61 62 63 64\n", "C000:61626364"},
    {"text: address as long as the groups, known by its steps", "hextext",
     "1000 6162 6364\n1004 6566 6768\n", "1000:6162636465666768"},
    {"text: no address, pairs", "hextext", "61 62 63 64\n65 66 67 68\n", "0:6162636465666768"},
    {"text: no address, groups of four bytes", "hextext", "61626364 65666768\n696A6B6C\n",
     "0:6162636465666768696A6B6C"},
    {"text: no address, no blanks", "hextext", "6162636465666768\n696A\n",
     "0:6162636465666768696A"},
    {"text: counting bytes are no addresses", "hextext", "00 01 02 03\n04 05 06 07\n",
     "0:0001020304050607"},
    {"text: addresses with 0x", "hextext", "0x1000: 61 62\n0x1002: 63 64\n", "1000:61626364"},
    {"text: 0x everywhere", "hextext", "0x1000:\t0x61\t0x62\n0x1002:\t0x63\t0x64\n",
     "1000:61626364"},
    {"text: bytes with 0x and commas, no address", "hextext", "0x61, 0x62,\n0x63, 0x64\n",
     "0:61626364"},
    {"text: addresses with $", "hextext", "$C000 61 62 63\n$C003 64\n", "C000:61626364"},
    {"text: addresses with h", "hextext", "1000h 61 62\n1002h 63 64\n", "1000:61626364"},
    {"text: groups of two bytes stand as they do in memory", "hextext", "0000: 1234 5678\n",
     "0:12345678"},
    {"text: groups of four bytes", "hextext", "0000: 12345678 9abcdef0\n", "0:123456789ABCDEF0"},
    {"text: an address that jumps leaves a gap", "hextext", "0000: 12 34\n0010: 56 78\n",
     "0:1234 10:5678"},
    {"text: '*' repeats the line before", "hextext",
     "0000  aa bb  |..|\n*\n0006  cc dd  |..|\n0008\n", "0:AABBAABBAABBCCDD"},
    {"text: remarks and blank lines", "hextext",
     "# reading of U3\n\n; second pass\n0000: 12 34 ; low\n", "0:1234"},
    {"text: a text column that looks like hex", "hextext",
     "0000: 3132 6162  12ab\n0004: 6364 6566  cdef\n", "0:3132616263646566"},
    {"text: a text column that looks like hex, one line", "hextext", "0000: 3132 6162  12ab\n",
     "0:31326162"},
    {"text: a text column that begins with blanks", "hextext",
     "00000000: 2020 6364 6566 6768    cdefgh\n00000008: 6162                 ab\n",
     "0:20206364656667686162"},
    {"text: a dash in the middle", "hextext", "0000: 01 02-03 04\n", "0:01020304"},
    {"text: address wider than 32 bits", "hextext", "0000100000000: 01 02\n", "100000000:0102"},
};

static void check_row(void **state)
{
  const row *r = *state;
  for (int plain = 0; plain < 2; plain++) {
    lu_arena mem = {0};
    lu_dump *d = NULL;
    lu_err err = {0};
    char got[512];
    lu_status s = reader_of(r->form)(bytes_of(r->in), plain, &mem, &d, &err);
    assert_int_equal(s == LU_OK, d != NULL);
    describe(got, sizeof got, d, &err);
    assert_string_equal(got, r->out);
    assert_string_equal(lu_dumpform_guess(bytes_of(r->in))->name, r->form);
    lu_arena_free(&mem);
  }
}

static void table_is_whole(void **state)
{
  (void)state;
  for (size_t i = 0; i < lu_dumpform_count; i++) {
    const lu_dumpform *f = lu_dumpforms[i];
    assert_true(f->name && f->summary && f->ending && f->read && f->write);
    assert_ptr_equal(lu_dumpform_named(f->name), f);
    lu_dump *d = NULL;
    lu_arena mem = {0};
    lu_err err = {0};
    assert_int_equal(f->read((lu_bytes){(const uint8_t *)"", 0}, &mem, &d, &err), LU_ERR_SYNTAX);
    assert_non_null(strstr(err.message, "empty file"));
    assert_null(d);
    lu_arena_free(&mem);
  }
  assert_null(lu_dumpform_named("no such form"));
}

static void tells_forms_apart(void **state)
{
  (void)state;
  static const struct {
    const char *text, *form;
  } cases[] = {{":10010000", "ihex"},
               {":1001000021460136XX", "ihex"},
               {"S113000", "srec"},
               {"S1", "raw"},
               {"S11300XX", "srec"},
               {"hello, world\n", "raw"},
               {"12 34", "hextext"},
               {"1234: 56", "hextext"},
               {"", "raw"},
               {"{\"a\": 1}\n", "raw"},
               {"$date today $end\n", "raw"},
               {"\x7f"
                "ELF",
                "raw"}};
  for (size_t i = 0; i < sizeof cases / sizeof *cases; i++)
    assert_string_equal(lu_dumpform_guess(bytes_of(cases[i].text))->name, cases[i].form);
  static const uint8_t binary[] = {'1', '2', ' ', 0, '3', '4'};
  assert_string_equal(lu_dumpform_guess((lu_bytes){binary, sizeof binary})->name, "raw");
}

static void remarks_what_it_accepted(void **state)
{
  (void)state;
  static const struct {
    const char *form, *text, *note;
  } cases[] = {{"ihex", GAP, "no end record"},
               {"ihex", GAP ":00000001FF\n\nrest\n", "line 4: what follows"},
               {"ihex", ":02010002E0001B\n" GAP ":00000001FF\n", "line 1: the offset 0100"},
               {"srec", "S107003000144ED492\n", "no end record"},
               {"srec", "S107003000144ED492\nS9030000FC\n:\n", "line 3: what follows"},
               {"ihex", GAP ":00000001FF\n", NULL}};
  for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
    lu_arena mem = {0};
    lu_dump *d = NULL;
    assert_int_equal(reader_of(cases[i].form)(bytes_of(cases[i].text), false, &mem, &d, NULL),
                     LU_OK);
    assert_int_equal(d->note_count, cases[i].note ? 1 : 0);
    if (cases[i].note)
      assert_non_null(strstr(d->notes[0], cases[i].note));
    lu_arena_free(&mem);
  }
}

/* ---- bad samples ---- */

static void check_bad(const char *folder, const char *name)
{
  char path[1024], want[512] = "", got[512];
  snprintf(path, sizeof path, "%s/%.*s.err", folder, (int)(strrchr(name, '.') - name), name);
  FILE *f = fopen(path, "r");
  assert_non_null(f);
  assert_non_null(fgets(want, sizeof want, f));
  fclose(f);
  want[strcspn(want, "\n")] = '\0';
  snprintf(path, sizeof path, "%s/%s", folder, name);
  lu_file file;
  assert_int_equal(lu_file_open(path, 0, &file, NULL), LU_OK);
  const lu_dumpform *form = lu_dumpform_guess(file.bytes);
  for (int plain = 0; plain < 2; plain++) {
    lu_arena mem = {0};
    lu_dump *d = NULL;
    lu_err err = {0};
    lu_status s = reader_of(form->name)(file.bytes, plain, &mem, &d, &err);
    assert_int_equal(err.status, s);
    assert_null(d);
    snprintf(got, sizeof got, "%s %u:%u %s",
             s == LU_ERR_SYNTAX  ? "syntax"
             : s == LU_ERR_LIMIT ? "limit"
                                 : "?",
             err.line, err.column, err.message);
    assert_string_equal(got, want);
    lu_arena_free(&mem);
  }
  lu_file_close(&file);
}

static void reports_bad_samples(void **state)
{
  (void)state;
  const char *folder = LU_TOP "/tests/data/dumps";
  DIR *d = opendir(folder);
  assert_non_null(d);
  int count = 0;
  for (struct dirent *e; (e = readdir(d));) {
    if (strncmp(e->d_name, "bad-", 4) || strstr(e->d_name, ".err"))
      continue;
    check_bad(folder, e->d_name);
    count++;
  }
  closedir(d);
  assert_true(count >= 27);
}

/* ---- made text ---- */

typedef struct text {
  char *at;
  size_t len, room;
} text;

static bool put_text(void *to, const void *at, size_t len)
{
  text *t = to;
  if (t->len + len > t->room) {
    t->room = (t->len + len) * 2;
    t->at = realloc(t->at, t->room);
  }
  memcpy(t->at + t->len, at, len);
  t->len += len;
  return true;
}

static uint64_t next_random(uint64_t *s)
{
  uint64_t x = (*s += 0x9E3779B97F4A7C15u);
  x = (x ^ (x >> 30)) * 0xBF58476D1CE4E5B9u;
  x = (x ^ (x >> 27)) * 0x94D049BB133111EBu;
  return x ^ (x >> 31);
}

/* Reads exactly len bytes of text (on the heap, so that an over-read is seen) both ways and
 * compares. */
static void both_ways_agree(const char *form, const char *at, size_t len, lu_dump *expect)
{
  uint8_t *copy = malloc(len ? len : 1);
  memcpy(copy, at, len);
  lu_arena mem[2] = {{0}, {0}};
  lu_dump *d[2] = {NULL, NULL};
  lu_err err[2] = {{0}, {0}};
  for (int plain = 0; plain < 2; plain++) {
    lu_status s =
        reader_of(form)((lu_bytes){copy, len}, plain, &mem[plain], &d[plain], &err[plain]);
    assert_int_equal(s == LU_OK, d[plain] != NULL);
    assert_int_equal(s, err[plain].status);
  }
  assert_int_equal(err[0].status, err[1].status);
  assert_int_equal(err[0].line, err[1].line);
  assert_int_equal(err[0].column, err[1].column);
  assert_string_equal(err[0].message, err[1].message);
  for (int plain = 0; d[0] && plain < 2; plain++) {
    const lu_dump *x = d[plain], *y = expect ? expect : d[0];
    assert_int_equal(x->span_count, y->span_count);
    for (size_t i = 0; i < x->span_count; i++) {
      assert_true(x->spans[i].base == y->spans[i].base && x->spans[i].len == y->spans[i].len);
      assert_memory_equal(x->spans[i].at, y->spans[i].at, x->spans[i].len);
    }
  }
  if (expect)
    assert_non_null(d[0]);
  lu_arena_free(&mem[0]);
  lu_arena_free(&mem[1]);
  free(copy);
}

static uint8_t content[5000];
static lu_span parts[3] = {
    {0x1000, 3000, content}, {0x1FFF0, 1000, content + 3000}, {0x2FFFD, 901, content + 4000}};
static lu_dump whole = {.has_addresses = true, .span_count = 3, .spans = parts};
static lu_dump bare = {.span_count = 1, .spans = parts};

static void fill_content(void)
{
  uint64_t s = 7;
  for (size_t i = 0; i < sizeof content; i++)
    content[i] = (uint8_t)(i % 97 < 40 ? next_random(&s) : 0x20 + i % 90);
}

/* Text in a layout that the table's writers do not make. */
static void write_layout(const char *address, const char *byte, unsigned per_line, const char *gap,
                         bool bars, bool crlf, text *t)
{
  for (size_t p = 0; p < whole.span_count; p++)
    for (size_t i = 0; i < parts[p].len; i += per_line) {
      char line[512];
      size_t n = (size_t)snprintf(line, sizeof line, address, (unsigned)(parts[p].base + i));
      for (unsigned k = 0; k < per_line; k++) {
        if (k == per_line / 2)
          n += (size_t)snprintf(line + n, sizeof line - n, "%s", gap);
        if (i + k < parts[p].len)
          n += (size_t)snprintf(line + n, sizeof line - n, byte, parts[p].at[i + k]);
        else if (bars)
          n += (size_t)snprintf(line + n, sizeof line - n, "   ");
      }
      if (bars) {
        n += (size_t)snprintf(line + n, sizeof line - n, "  |");
        for (unsigned k = 0; k < per_line && i + k < parts[p].len; k++)
          line[n++] = parts[p].at[i + k] >= 0x20 && parts[p].at[i + k] < 0x7F
                          ? (char)parts[p].at[i + k]
                          : '.';
        line[n++] = '|';
      }
      n += (size_t)snprintf(line + n, sizeof line - n, crlf ? "\r\n" : "\n");
      put_text(t, line, n);
    }
}

static void reads_what_it_writes(void **state)
{
  (void)state;
  static const char *const forms[] = {"ihex", "srec", "hextext"};
  for (size_t i = 0; i < 3; i++) {
    text t = {0};
    assert_true(lu_dumpform_named(forms[i])->write(&whole, (lu_sink){put_text, &t}));
    assert_string_equal(lu_dumpform_guess((lu_bytes){(uint8_t *)t.at, t.len})->name, forms[i]);
    both_ways_agree(forms[i], t.at, t.len, &whole);
    free(t.at);
  }
  text t = {0};
  assert_true(lu_dumpform_named("hextext")->write(&bare, (lu_sink){put_text, &t}));
  lu_span from_0 = {0, parts[0].len, content};
  lu_dump expect = {.span_count = 1, .spans = &from_0};
  both_ways_agree("hextext", t.at, t.len, &expect);
  free(t.at);
  text raw = {0};
  assert_true(lu_dumpform_named("raw")->write(&whole, (lu_sink){put_text, &raw}));
  assert_int_equal(raw.len, 0x2FFFD + 901 - 0x1000);
  assert_memory_equal(raw.at, content, 3000);
  assert_int_equal((uint8_t)raw.at[3000], 0xFF);
  assert_memory_equal(raw.at + 0x1FFF0 - 0x1000, content + 3000, 1000);
  free(raw.at);
}

static void reads_other_layouts(void **state)
{
  (void)state;
  static const char *const addresses[] = {"%05x", "%08X ", "0x%x:", "$%06X  ", "%06xh", "%x:"};
  static const char *const bytes[] = {" %02x", " %02X"};
  static const unsigned rows_of[] = {1, 4, 8, 16, 20, 32, 33};
  for (size_t a = 0; a < 6; a++)
    for (size_t r = 0; r < 7; r++)
      for (unsigned k = 0; k < 8; k++) {
        bool bars = k & 1;
        text t = {0};
        write_layout(addresses[a], bytes[r & 1], rows_of[r], k & 2 && rows_of[r] > 1 ? " " : "",
                     bars, k & 4, &t);
        both_ways_agree("hextext", t.at, t.len, &whole);
        free(t.at);
      }
}

/* One changed, lost or added character anywhere: no crash, and both ways say the same. */
static void both_ways_agree_on_damage(void **state)
{
  (void)state;
  static const char *const forms[] = {"ihex", "srec", "hextext", "hextext"};
  static const char strange[] = "0aF:S \r\n\tgx*|,-$h\x80\xff\x1a#";
  uint64_t seed = 11;
  for (size_t i = 0; i < 4; i++) {
    text t = {0};
    lu_span few[2] = {{0x1000, 900, content}, {0x2000, 600, content + 900}};
    lu_dump d = {.has_addresses = true, .span_count = 2, .spans = few};
    if (i == 3)
      write_layout("%06x ", " %02x", 16, " ", true, false, &t), t.len = t.len > 6000 ? 6000 : t.len;
    else
      assert_true(lu_dumpform_named(forms[i])->write(&d, (lu_sink){put_text, &t}));
    for (int k = 0; k < 400; k++) {
      uint64_t r = next_random(&seed);
      size_t at = (size_t)(r >> 16) % t.len;
      char kept = t.at[at];
      char c = strange[r % (sizeof strange - 1)];
      if (r >> 8 & 1) {
        t.at[at] = c;
        both_ways_agree(forms[i], t.at, t.len, NULL);
        t.at[at] = kept;
        continue;
      }
      char *lost = malloc(t.len);
      memcpy(lost, t.at, at);
      memcpy(lost + at, t.at + at + 1, t.len - at - 1);
      both_ways_agree(forms[i], lost, t.len - 1, NULL);
      free(lost);
    }
    free(t.at);
  }
}

static void takes_every_prefix(void **state)
{
  (void)state;
  static const char *const forms[] = {"ihex", "srec", "hextext"};
  for (size_t i = 0; i < 3; i++) {
    text t = {0};
    lu_span few[2] = {{0x1000, 200, content}, {0x2000, 61, content + 900}};
    lu_dump d = {.has_addresses = true, .span_count = 2, .spans = few};
    assert_true(lu_dumpform_named(forms[i])->write(&d, (lu_sink){put_text, &t}));
    for (size_t len = 0; len <= t.len; len++)
      both_ways_agree(forms[i], t.at, len, NULL);
    free(t.at);
  }
}

static void reports_each_refused_request(void **state)
{
  (void)state;
  static const char *const texts[] = {GAP GAP ":03001900617071A2\n",
                                      GAP ":02001900617113\n",
                                      "S107003000144ED492\nS107004000144ED482\n",
                                      "0000  aa bb  |..|\n*\n0006  cc dd  |..|\n0002  aa bb |..|\n",
                                      "raw\x01"};
  for (size_t i = 0; i < sizeof texts / sizeof *texts; i++)
    for (size_t n = 1;; n++) {
      assert_true(n < 30);
      lu_arena mem = {.fail_from = n};
      lu_dump *d = NULL;
      lu_err err = {0};
      lu_status s = lu_dumpform_guess(bytes_of(texts[i]))->read(bytes_of(texts[i]), &mem, &d, &err);
      assert_int_equal(s, err.status);
      assert_int_equal(s == LU_OK, d != NULL);
      lu_arena_free(&mem);
      if (s != LU_ERR_NOMEM)
        break;
    }
}

static bool refuse(void *to, const void *at, size_t len)
{
  (void)at;
  size_t *left = to;
  if (len > *left)
    return false;
  *left -= len;
  return true;
}

static void writers_stop_at_a_full_sink(void **state)
{
  (void)state;
  for (size_t i = 0; i < lu_dumpform_count; i++)
    for (size_t room = 0; room < 10000; room += 4000) {
      size_t left = room;
      assert_false(lu_dumpforms[i]->write(&whole, (lu_sink){refuse, &left}));
    }
}

static void writers_refuse_what_the_form_cannot_hold(void **state)
{
  (void)state;
  lu_span far[2] = {{0, 2, content}, {(uint64_t)1 << 33, 2, content}};
  lu_dump d = {.has_addresses = true, .span_count = 2, .spans = far};
  size_t room = SIZE_MAX;
  assert_false(lu_dumpform_named("ihex")->write(&d, (lu_sink){refuse, &room}));
  assert_false(lu_dumpform_named("srec")->write(&d, (lu_sink){refuse, &room}));
  assert_false(lu_dumpform_named("raw")->write(&d, (lu_sink){refuse, &room}));
  text t = {0};
  assert_true(lu_dumpform_named("hextext")->write(&d, (lu_sink){put_text, &t}));
  both_ways_agree("hextext", t.at, t.len, &d);
  free(t.at);
}

int main(void)
{
  enum { ROWS = sizeof rows / sizeof *rows };
  static const struct CMUnitTest others[] = {
      cmocka_unit_test(table_is_whole),
      cmocka_unit_test(tells_forms_apart),
      cmocka_unit_test(remarks_what_it_accepted),
      cmocka_unit_test(reports_bad_samples),
      cmocka_unit_test(reads_what_it_writes),
      cmocka_unit_test(reads_other_layouts),
      cmocka_unit_test(both_ways_agree_on_damage),
      cmocka_unit_test(takes_every_prefix),
      cmocka_unit_test(reports_each_refused_request),
      cmocka_unit_test(writers_stop_at_a_full_sink),
      cmocka_unit_test(writers_refuse_what_the_form_cannot_hold),
  };
  struct CMUnitTest tests[ROWS];
  fill_content();
  for (size_t i = 0; i < ROWS; i++)
    tests[i] = (struct CMUnitTest){
        .name = rows[i].name, .test_func = check_row, .initial_state = (void *)&rows[i]};
  int bad = cmocka_run_group_tests_name("rows", tests, NULL, NULL);
  return bad + cmocka_run_group_tests_name("dump forms", others, NULL, NULL);
}
