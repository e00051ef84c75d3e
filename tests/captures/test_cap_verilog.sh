#!/bin/bash
# SPDX-License-Identifier: MIT
# A Verilog test bench writes a capture (by Icarus Verilog's own VCD writer) and, from its own knowledge,
# the table of cycles: ours must be equal. The same through FST and back with the waveform tools.
command -v iverilog >/dev/null || { echo "skipped: no iverilog"; exit 77; }
dir=$(mktemp -d) || exit 1
trap 'rm -rf "$dir"' EXIT
cd "$dir" || exit 1
iverilog -g2005 -o bus "$LU_TOP/tests/verilog/cap_bus.v" || exit 1
vvp -n bus +vcd=bus.vcd +static=static.csv +dynamic=dynamic.csv +cycles=400 >/dev/null || exit 1
cat > static.yaml <<'Y'
address: cap_bus.a
data: cap_bus.d
clock: clk
wait: {pin: wait_n, active: low}
strobes:
  read: {pin: rd_n, active: low}
  write: {pin: wr_n, active: low}
lanes:
  D0-D7: {pin: lds_n, active: low}
  D8-D15: {pin: uds_n, active: low}
Y
cat > dynamic.yaml <<'Y'
address: {row: ma, column: ma}
data: {in: din, out: dout}
dram: {ras: {pin: ras_n}, cas: {pin: cas_n}, write: {pin: we_n}}
Y
# Times in one spelling: 12.0 and 12 are the same.
plain() { sed -E 's/(^|,)([0-9]+)\.0,/\1\2,/g; s/(^|,)([0-9]+)\.0,/\1\2,/g' "$1"; }
status=0
check() {
  for which in static dynamic; do
    "$LU_PROGRAM" watch "$1" --signals $which.yaml --cycles --csv > got.csv || { echo "$1 $which: status $?"; status=1; }
    plain $which.csv > want.csv
    plain got.csv > have.csv
    [ "$(wc -l < want.csv)" -ge 400 ] || { echo "$which: the bench wrote too little"; status=1; }
    cmp -s want.csv have.csv || { echo "$1: $which cycles differ"; diff want.csv have.csv | head -10; status=1; }
  done
}
check bus.vcd
"$LU_PROGRAM" watch bus.vcd --signals static.yaml --check > check.txt || { cat check.txt; status=1; }
grep -Eq 'memory: [1-9][0-9]+ of .* 0 differ' check.txt || { cat check.txt; status=1; }
if command -v vcd2fst >/dev/null && command -v fst2vcd >/dev/null; then
  vcd2fst bus.vcd bus.fst >/dev/null 2>&1 && fst2vcd bus.fst > again.vcd 2>/dev/null || exit 1
  check again.vcd
else
  echo "not checked: round trip through FST (no vcd2fst)"
fi
exit $status
