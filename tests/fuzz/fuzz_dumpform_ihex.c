/* SPDX-License-Identifier: MIT */
#define FORM "ihex"
#define READ lu_ihex_read
#include "dumpform.h"
