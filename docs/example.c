/* SPDX-License-Identifier: MIT */
/* liblineup from a program of one's own: a dump of a block of a board, what should be in it, who is to
 * blame.
 *
 *   cc example.c $(pkg-config --cflags --libs lineup) -o example
 *   ./example tide.yaml "boot ROM" tide-rom.bin found-boot.bin
 *
 * Exit status: 0 nothing wrong, 1 faults, 2 bad input, 3 the system. Names come from the board's files, so
 * they are cleaned before a terminal sees them. */
#include <lineup.h>

#include <stdio.h>

static void put(const char *text)
{
  for (; text && *text; text++)
    putchar((unsigned char)*text < 0x20 || *text == 0x7f ? '?' : *text);
}

static void show(const lineup_result *r)
{
  put(r->reason);
  printf("\n");
  for (size_t i = 0; i < r->suspect_count; i++) {
    const lineup_suspect *s = r->suspects[i];
    printf("%3.0f %%  ", 100 * s->probability);
    put(s->net ? s->net : s->part);
    for (size_t k = 0; k < s->pin_count; k++) {
      printf(k ? ", " : " at ");
      put(s->pins[k]->pin);
    }
    printf("\n       ");
    put(s->why);
    printf("\n");
  }
}

int main(int argc, char **argv)
{
  if (argc != 5) {
    fprintf(stderr, "usage: example BOARD BLOCK CONTENTS DUMP\n");
    return 2;
  }
  lineup *l = lineup_new();
  lineup_result *r = NULL;
  const char *dumps[] = {argv[4]};
  lineup_request q = {.size = sizeof q, .dumps = dumps, .dump_count = 1, .block = argv[2], .expect = argv[3]};
  if (!l)
    return 3;
  int status = lineup_board(l, argv[1]);
  if (!status)
    status = lineup_decode(l, &q, &r);
  if (status) {
    fprintf(stderr, "%s\n", lineup_error(l));
  } else {
    show(r);
    status = r->verdict != LINEUP_CLEAN;
  }
  lineup_result_free(r);
  lineup_free(l);
  return status;
}
