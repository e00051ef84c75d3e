#!/usr/bin/env bash
# SPDX-License-Identifier: MIT
# slow: a simulation in Verilog for each case
# Faults in electrical models of the boards, captured at the processor: does the capture alone name the net?
# LU_CASES=N takes about N of the 79 cases (18 when it is not set), LU_CASES=all all (some minutes). Prints the table; none may be missed.
set -u
export PYTHONDONTWRITEBYTECODE=1
for tool in python3 iverilog vvp; do
  command -v "$tool" >/dev/null || { echo "skipped: no $tool"; exit 77; }
done
[ -x "${LU_PROGRAM:-}" ] || { echo "skipped: no program at LU_PROGRAM"; exit 77; }
count=${LU_CASES:-18}
[ "$count" = all ] && count=
exec python3 "$LU_TOP/tests/verilog/capcases.py" $count
