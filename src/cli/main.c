/* SPDX-License-Identifier: MIT */
#include "cli/cmd.h"

int main(int argc, char **argv)
{
  return lu_main(argc, argv, stdout, stderr);
}
