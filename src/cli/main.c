/* SPDX-License-Identifier: MIT */
#include "cli/cmd.h"

#include <signal.h>

int main(int argc, char **argv)
{
  signal(SIGXFSZ, SIG_IGN); /* a file that may not grow is an error of write, with a message, and no half file is left */
  return lu_main(argc, argv, stdout, stderr);
}
