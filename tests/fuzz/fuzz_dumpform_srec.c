/* SPDX-License-Identifier: MIT */
#define FORM "srec"
#define READ lu_srec_read
#include "dumpform.h"
