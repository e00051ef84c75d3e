#!/usr/bin/env bash
# SPDX-License-Identifier: MIT
# slow: over a hundred simulations in Verilog
# The boards' files are what their script writes, and the Verilog models of the boards do what a hand
# expects of a few faults (cases.py check).  Needs python3 and iverilog.
set -u
export PYTHONDONTWRITEBYTECODE=1
for tool in python3 iverilog vvp; do
  command -v "$tool" >/dev/null || { echo "skipped: no $tool"; exit 77; }
done
python3 "$LU_TOP/tests/boards/make_boards.py" --check "$LU_TOP" || exit 1
image=$(mktemp) || exit 1
trap 'rm -f "$image"' EXIT
python3 "$LU_TOP/docs/demo/make_rom.py" "$image" || exit 1
cmp "$image" "$LU_TOP/docs/demo/tide-rom.bin" || exit 1
python3 "$LU_TOP/tests/verilog/cases.py" check
