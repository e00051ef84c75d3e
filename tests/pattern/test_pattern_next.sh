#!/bin/bash
# SPDX-License-Identifier: MIT
# The cheapest next pattern, run on a memory of the test's own, splits what decode left open.
set -u
export PYTHONDONTWRITEBYTECODE=1
command -v python3 >/dev/null || { echo "skipped: python3 is missing"; exit 77; }
exec python3 "$LU_TOP/tests/pattern/next_pattern.py" "$LU_PROGRAM" "$LU_TOP"
