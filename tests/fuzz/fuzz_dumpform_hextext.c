/* SPDX-License-Identifier: MIT */
#define FORM "hextext"
#define READ lu_hextext_read
#include "dumpform.h"
