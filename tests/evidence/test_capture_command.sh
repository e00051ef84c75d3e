#!/usr/bin/env bash
# SPDX-License-Identifier: MIT
# A board in Verilog with a fault in it is captured by the simulator; the capture alone must give the net among the
# suspects that are as likely as the first. The models share no code with the program (tests/verilog/board2v.py).
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
wrong() { echo "$*"; status=1; }
capture() { python3 "$LU_TOP/tests/verilog/cap_board.py" "$LU_TOP/tests/boards/$1.yaml" "$2" "$3" cap ${4-} || exit 1; }
decode() {
  "$lineup" decode -b "$LU_TOP/tests/boards/$1.yaml" --block "$2" --signals cap.yaml cap.vcd --json "${@:3}" > out.json
}
# first NET: it stands among the suspects within a tenth of the first one's probability.
first() {
  python3 - "$1" <<'P'
import json, sys
o = json.load(open('out.json'))
best = [s['net'] for s in o['suspects'] if s['probability'] > 0.1 * o['suspects'][0]['probability']]
sys.exit(0 if o['verdict'] == 'faulty' and sys.argv[1] in best else 'not %s: %s' % (sys.argv[1], best))
P
}

for board in 'log8:log RAM' 'buoy8:log RAM'; do
  capture "${board%%:*}" "${board#*:}" '[]'
  decode "${board%%:*}" "${board#*:}" || { wrong "$board, undamaged: status $?"; cat out.json; }
done
while IFS='|' read -r board block net fault; do
  capture "$board" "$block" "[$fault]"
  if [[ $block == *ROM ]]; then decode "$board" "$block" --expect cap.bin; else decode "$board" "$block"; fi
  [ $? = 1 ] || wrong "$board, $fault: exit status"
  first "$net" || wrong "$board, $fault"
done <<'F'
log8|log RAM|/MD3|{"kind": "stuck", "net": "/MD3", "level": "low"}
log8|log RAM|/D6|{"kind": "open", "net": "/D6", "cut_off": ["U6.8"], "level": "high"}
log8|log RAM|/BA6|{"kind": "open", "net": "/BA6", "cut_off": ["U3.4"], "level": "low"}
log8|log RAM|/BA2|{"kind": "stuck", "net": "/BA2", "level": "high"}
log8|program ROM|/BA6|{"kind": "open", "net": "/BA6", "cut_off": ["U2.4"], "level": "low"}
buoy8|log RAM|Q5|{"kind": "stuck", "net": "Q5", "level": "high"}
F

# A line held where the capture was taken makes no word read wrong: it must be said that it never moved.
capture log8 'log RAM' '[{"kind": "stuck", "net": "/A2", "level": "high"}]'
decode log8 'log RAM'
grep -q '"verdict": *"unknown"' out.json && grep -q '/A2 high; measure' out.json || { wrong "a line held"; cat out.json; }

# A block that no cycle meets: the line that stands at the other level is named, as a question.
"$lineup" decode -b "$LU_TOP/tests/boards/log8.yaml" --block 'program ROM' --signals cap.yaml cap.vcd --json > out.json
[ $? = 1 ] && grep -q '"verdict": *"unknown"' out.json && grep -q 'none of [0-9]* cycles is of .program ROM.*A15 high' out.json ||
  { wrong "no cycle of the block"; cat out.json; }

# A memory test in the capture is recognised: then a data line held where the capture was taken is told from a program that
# never used the other level, and reads alone can be judged when the filling came before the capture.
capture log8 'log RAM' '[{"kind": "stuck", "net": "/D3", "level": "low"}]' address
decode log8 'log RAM'
first /D3 && grep -q "is the test 'address'" out.json || { wrong "address, /D3 held"; cat out.json; }
capture log8 'log RAM' '[]' walking-ones
decode log8 'log RAM' || wrong "walking-ones, undamaged: status $?"
grep -q "what was written is the test 'walking-ones', in 186 of 186 words" out.json || { wrong "walking-ones"; cat out.json; }
capture log8 'log RAM' '[{"kind": "open", "net": "/D6", "cut_off": ["U6.8"], "level": "low"}]' walking-ones
grep -v '"/WR#"' cap.yaml > reads.yaml && mv reads.yaml cap.yaml
decode log8 'log RAM'
first /D6 && grep -q "what was read is the test 'walking-ones'" out.json || { wrong "walking-ones, reads alone"; cat out.json; }

# Reads right after writes tell of data lines; the result says what they do not tell.
capture log8 'log RAM' '[{"kind": "stuck", "net": "/MD3", "level": "low"}]' turns
decode log8 'log RAM'
first /MD3 || wrong "turns"

# The same capture by a run file; as a ROM without contents; what is refused.
printf 'runs:\n  - {block: log RAM, dump: cap.vcd, signals: cap.yaml}\n' > run.yaml
"$lineup" decode -b "$LU_TOP/tests/boards/log8.yaml" --run run.yaml --json > out.json
first /MD3 || wrong "run"
refused() {
  local want=$1
  shift
  "$lineup" "$@" > out.txt 2> err.txt
  [ $? = 2 ] || wrong "$*: not refused"
  grep -q "$want" err.txt || { wrong "$*:"; cat err.txt; }
  [ -s out.txt ] && wrong "$*: wrote something"
}
board=$LU_TOP/tests/boards/log8.yaml
refused 'needs --board' decode cap.vcd
grep -v '"/D7"' cap.yaml > fewer.yaml
refused 'expected a signal' decode -b "$board" --block 'log RAM' --signals fewer.yaml cap.vcd
refused 'expected a signal' decode -b "$board" --block 'log RAM' cap.vcd
refused 'run file' decode -b "$board" --block 'log RAM' --signals cap.yaml cap.vcd cap.vcd
exit $status
