#!/bin/bash
# SPDX-License-Identifier: MIT
# slow: decodes some forty dumps
# The test to run next gives the bits that it promised.
set -u
command -v python3 >/dev/null || { echo "skipped: python3 is missing"; exit 77; }
exec python3 "$LU_TOP/tests/pattern/adaptive.py" "$LU_PROGRAM" "$LU_TOP" 3
