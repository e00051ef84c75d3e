/* SPDX-License-Identifier: MIT */
/* Runs one generated test (TEST, included below) against a simulated memory and compares it with
 * the operations that the program lists.
 *
 * harness OPS: on a good memory the test must do exactly the operations of the file and fail none;
 * on each faulty memory it must count as many failing reads as replaying the file does. */
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { WORDS = 128, LIST_MOST = 400000 };
enum fault { GOOD, ADDRESS_OPEN, DATA_STUCK, DATA_BRIDGED, CELL_STUCK, DEAD_SELECT, FAULTS };

typedef struct op {
  char kind;
  uint64_t address, value;
} op;

static op list[LIST_MOST];
static size_t list_count, at, strayed;
static enum fault fault;
static uint64_t cells[WORDS];
static uint64_t base;

static uint64_t line_value(uint64_t v)
{
  if (fault == DATA_STUCK)
    return v | 2;
  if (fault == DATA_BRIDGED) {
    uint64_t both = v & v >> 1 & 1;
    return (v & ~UINT64_C(3)) | both | both << 1;
  }
  return v;
}

static size_t line_address(uint64_t address)
{
  size_t word = (size_t)(address - base) / STEP;
  return fault == ADDRESS_OPEN ? (word | 4) % WORDS : word % WORDS;
}

static uint64_t mem_read(uint64_t address)
{
  if (fault == DEAD_SELECT)
    return line_value(MASK);
  uint64_t v = cells[line_address(address)];
  if (fault == CELL_STUCK && line_address(address) == 5)
    v &= ~UINT64_C(1);
  return line_value(v);
}

static void mem_write(uint64_t address, uint64_t value)
{
  if (fault != DEAD_SELECT)
    cells[line_address(address)] = line_value(value);
}

static void expect(char kind, uint64_t address, uint64_t value)
{
  if (at >= list_count || list[at].kind != kind || list[at].address != address ||
      (kind != 'r' && list[at].value != value))
    strayed++;
  at++;
}

static uint64_t test_read(uint64_t address)
{
  expect('r', address, 0);
  return mem_read(address);
}

static void test_write(uint64_t address, uint64_t value)
{
  expect('w', address, value);
  mem_write(address, value);
}

#define LU_READ(address) test_read(address)
#define LU_WRITE(address, value) test_write((address), (value))
#define LU_WAIT_US(us) expect('d', 0, (us))
#include TEST

static size_t replay(void)
{
  size_t failures = 0;
  for (size_t i = 0; i < list_count; i++)
    if (list[i].kind == 'w')
      mem_write(list[i].address, list[i].value);
    else if (list[i].kind == 'r')
      failures += (mem_read(list[i].address) & MASK) != list[i].value;
  return failures;
}

static void clear(enum fault f)
{
  fault = f;
  at = 0;
  for (size_t i = 0; i < WORDS; i++)
    cells[i] = 0x5a5a5a5a5a5a5a5a & MASK;
}

static int load(const char *path)
{
  char line[128];
  unsigned long long address, value;
  FILE *f = fopen(path, "r");
  if (!f)
    return 0;
  while (fgets(line, sizeof line, f) && list_count < LIST_MOST) {
    op *o = &list[list_count];
    if (sscanf(line, "wait %lluus", &value) == 1)
      *o = (op){'d', 0, value};
    else if (sscanf(line, "%c 0x%llx 0x%llx", &o->kind, &address, &value) == 3 && *line != '#')
      *o = (op){*line, address, value};
    else
      continue;
    const char *mask = strstr(line, "mask");
    unsigned lane = 0;
    if (mask) /* byte lanes: the test works on bytes, low lane first */
      for (unsigned long long m = strtoull(mask + 4, NULL, 16); !(m & 1); m >>= 8)
        lane++;
    o->address += lane;
    o->value >>= 8 * lane;
    list_count++;
  }
  fclose(f);
  return list_count > 0;
}

int main(int argc, char **argv)
{
  if (argc < 2 || !load(argv[1]))
    return 2;
  base = (uint64_t)LU_BASE;
  for (enum fault f = GOOD; f < FAULTS; f++) {
    strayed = 0;
    clear(f);
    size_t expected = replay();
    clear(f);
    size_t got = lu_test();
    if (got != expected || strayed || at != list_count || (f == GOOD && got)) {
      printf("fault %d: %zu failures, replay has %zu; %zu operations astray, %zu of %zu\n", f, got,
             expected, strayed, at, list_count);
      return 1;
    }
    printf("%zu ", got);
  }
  puts("");
  return 0;
}
