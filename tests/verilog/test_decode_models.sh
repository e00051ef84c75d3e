#!/usr/bin/env bash
# SPDX-License-Identifier: MIT
# slow: a simulation in Verilog for each case
# Faults in electrical models of the boards, decoded by the program: is the true net among the first k?
# LU_CASES=N takes about N cases (18 when it is not set), LU_CASES=all the full set, some 500 (an hour).
set -u
export PYTHONDONTWRITEBYTECODE=1
for tool in python3 iverilog vvp; do
  command -v "$tool" >/dev/null || { echo "skipped: no $tool"; exit 77; }
done
[ -x "${LU_PROGRAM:-}" ] || { echo "skipped: no program at LU_PROGRAM"; exit 77; }
"$LU_PROGRAM" decode --help | grep -q -- --wrote || { echo "skipped: this program's decode takes no --wrote"; exit 77; }
count=${LU_CASES:-18}
[ "$count" = all ] && count=
work=$(mktemp -d) || exit 1
trap 'rm -rf "$work"' EXIT
python3 "$LU_TOP/tests/verilog/cases.py" make "$work" $count &&
  python3 "$LU_TOP/tests/verilog/cases.py" judge "$work"
