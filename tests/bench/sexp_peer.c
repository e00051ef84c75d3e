/* SPDX-License-Identifier: MIT */
/* A general-purpose C library as the peer of the netlist readers: reads FILE as an s-expression, the
 * whole tree, with libsexp (Debian's libsexp-dev); what its user would still have to do is left out.
 * Built when the library is there. */
#include <sexp.h>
#include <stdio.h>
#include <stdlib.h>

int main(int argc, char **argv)
{
  FILE *f = argc == 2 ? fopen(argv[1], "rb") : NULL;
  if (!f || fseek(f, 0, SEEK_END))
    return 2;
  long size = ftell(f);
  char *text = size < 0 ? NULL : malloc((size_t)size + 1);
  if (!text || fseek(f, 0, SEEK_SET) || fread(text, 1, (size_t)size, f) != (size_t)size)
    return 2;
  fclose(f);
  text[size] = 0;
  sexp_t *tree = parse_sexp(text, (size_t)size);
  printf("%s\n", tree ? "a tree" : "none");
  return !tree;
}
