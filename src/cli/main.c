/* SPDX-License-Identifier: MIT */
#include "cli/cmd.h"

#include <signal.h>

int main(int argc, char **argv)
{
  static char messages[BUFSIZ];
  setvbuf(stderr, messages, _IOLBF, sizeof messages); /* a line in one piece, not a write for each character */
  signal(SIGXFSZ, SIG_IGN); /* a file that may not grow is an error of write, with a message, and no half file is left */
  int code = lu_main(argc, argv, stdout, stderr);
  fflush(stderr);
  return code;
}
