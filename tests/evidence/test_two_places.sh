#!/usr/bin/env bash
# SPDX-License-Identifier: MIT
# A capture that sees lines on both sides of a buffer, and at a leg behind it, names the hop at which they differ. The
# boards are models in Verilog with a fault in them; the models share no code with the program (tests/verilog/board2v.py).
set -u
export PYTHONDONTWRITEBYTECODE=1
for tool in python3 iverilog vvp; do
  command -v "$tool" >/dev/null || { echo "skipped: no $tool"; exit 77; }
done
lineup=${LU_PROGRAM:?}
dir=$(mktemp -d) || exit 1
trap 'rm -rf "$dir"' EXIT
cd "$dir" || exit 1
status=0
wrong() { echo "$*"; cat out.json; status=1; }
board=$LU_TOP/tests/boards/log8.yaml
capture() { python3 "$LU_TOP/tests/verilog/cap_board.py" "$board" "$1" "$2" cap "${@:3}" || exit 1; }
decode() { "$lineup" decode -b "$board" --block "$1" --signals cap.yaml cap.vcd --json "${@:2}" > out.json; }
# hop NET HOP: the net is the first suspect and the hop stands beside it; apart N: of how many pairs differ.
hop() {
  python3 - "$1" "$2" <<'P' || wrong "$1, $2"
import json, sys
o = json.load(open('out.json'))
s = o['suspects'][0]
sys.exit(0 if o['verdict'] == 'faulty' and s['net'] == sys.argv[1] and sys.argv[2] in s['where'] and s['probability'] > 0.5 else 1)
P
}
apart() { grep -q "lines seen at more than one place: $1 pairs of places compared, $2 differ" out.json || wrong "not $1 pairs, $2 differ"; }

# Undamaged: 15 address and 8 data lines by the nets' names, two of them at a leg too.
capture 'log RAM' '[]' U3.4 U6.8
decode 'log RAM' || wrong "undamaged: status $?"
apart 25 0

# Behind the address buffer U4: the RAM's leg is cut off.
capture 'log RAM' '[{"kind": "open", "net": "/BA6", "cut_off": ["U3.4"], "level": "low"}]' U3.4 U6.8
decode 'log RAM'
[ $? = 1 ] || wrong "U3.4: exit status"
hop /BA6 'net /BA6 from U4.5 to U3.4'
apart 25 1
# The words alone cannot tell that from the buffer's input: the nets' names are all that is seen.
sed -i '/U3.4/d' cap.yaml
decode 'log RAM'
apart 24 0

# Before the transceiver U6: its leg towards the processor is cut off.
capture 'log RAM' '[{"kind": "open", "net": "/D6", "cut_off": ["U6.8"], "level": "high"}]' U3.4 U6.8
decode 'log RAM'
hop /D6 'net /D6 from U1.10 to U6.8'

# A ROM behind the same buffer; the buffer's own output held: between its input and its output.
capture 'program ROM' '[{"kind": "stuck", "net": "/BA2", "level": "high"}]' U4.14
decode 'program ROM' --expect cap.bin
python3 - <<'P' || wrong "U4"
import json, sys
o = json.load(open('out.json'))
two = {s['net'] for s in o['suspects'][:2]}
sys.exit(0 if '/BA2' in two and any('through U4' in (s['where'] or '') for s in o['suspects'][:2]) else 1)
P
exit $status
