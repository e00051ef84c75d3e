#!/usr/bin/env bash
# SPDX-License-Identifier: MIT
# Faults put in by `lineup simulate`, told to decode as the log that a memory test would print: is the net among
# the suspects that are as likely as the first? Then what bad logs get.
set -u
export PYTHONDONTWRITEBYTECODE=1
command -v python3 >/dev/null || { echo "skipped: no python3"; exit 77; }
lineup=${LU_PROGRAM:?}
board=$LU_TOP/tests/boards/log8.yaml
dir=$(mktemp -d) || exit 1
trap 'rm -rf "$dir"' EXIT
cd "$dir" || exit 1
status=0
wrong() { echo "$*"; status=1; }

# log DUMP GOOD FORM MOST: what a test of the RAM at 0x8000 prints.
log() {
  python3 - "$@" <<'P'
import sys
dump, good = (open(name, 'rb').read() for name in sys.argv[1:3])
bad = [i for i in range(len(dump)) if dump[i] != good[i]]
most = int(sys.argv[4]) or len(bad)
print('RAM check of the tide recorder, 25.11.2026 08:00:00')
for k, i in enumerate(bad[:most]):
    if sys.argv[3] == 'words':
        print('FAIL #%d got $%02X, should be $%02X at $%04X' % (k, dump[i], good[i], 0x8000 + i))
    else:
        print('%04x  %02x %02x  %02x' % (0x8000 + i, good[i], dump[i], dump[i] ^ good[i]))
print('check complete' if most == len(bad) else 'stopped')
P
}
# first FILE NET ...: the net stands among the suspects within a tenth of the first one's probability.
first() {
  python3 - "$@" <<'P'
import json, sys
o = json.load(open(sys.argv[1]))
best = [s['net'] for s in o['suspects'] if s['probability'] > 0.1 * o['suspects'][0]['probability']]
sys.exit(0 if o['verdict'] == 'faulty' and sys.argv[2] in best else 'not %s: %s' % (sys.argv[2], best))
P
}
"$lineup" simulate -b "$board" --block 'log RAM' -w address-inverse -o good.bin || exit 1
while read -r net fault; do
  "$lineup" simulate -b "$board" --block 'log RAM' -w address-inverse -f "$fault" -o found.bin || exit 1
  for how in 'words 0' 'columns 300'; do
    log found.bin good.bin $how > test.log
    "$lineup" decode -b "$board" --log test.log --json > out.json
    [ $? = 1 ] || wrong "$fault, $how: exit status"
    first out.json "$net" || wrong "$fault, $how"
    grep -q 'A log of failures proves less than a dump' out.json || wrong "$fault: nothing said of the evidence"
  done
done <<'F'
/MD3 stuck /MD3 low
/MD5 stuck /MD5 high
/BA2 stuck /BA2 high
/BA6 stuck /BA6 low
F

# Contents that are no pattern: only the listed words count.
head -c 32768 /dev/urandom > random.bin
"$lineup" simulate -b "$board" --block 'log RAM' -w random.bin -f 'stuck /MD3 low' -o found.bin || exit 1
log found.bin random.bin words 0 > test.log
"$lineup" decode -b "$board" --log test.log --json > out.json; [ $? = 1 ] || wrong "random: exit status"
grep -q 'no named pattern fits' out.json || wrong "random: nothing said of the contents"
first out.json /MD3 || wrong "random contents"
"$lineup" decode -b "$board" --log test.log --wrote random.bin --json > out.json; [ $? = 1 ] || wrong "random, written: exit status"
grep -q '"words": *32768' out.json || wrong "random, written: not all words count"
first out.json /MD3 || wrong "random contents, written"

# Without a board, and in a run file.
"$lineup" decode --log test.log --json > out.json; [ $? = 1 ] || wrong "no board: exit status"
first out.json D3 || wrong "no board"
printf 'runs:\n  - {block: log RAM, wrote: random.bin, log: test.log}\n' > run.yaml
"$lineup" decode -b "$board" --run run.yaml --json > out.json; [ $? = 1 ] || wrong "run: exit status"
first out.json /MD3 || wrong "run"

# Nothing wrong.
printf 'tested 8000-ffff\ntest complete, 0 errors\n' > clean.log
"$lineup" decode -b "$board" --log clean.log --wrote address > out.txt || { wrong "clean: exit status"; cat out.txt; }

# Lines that are no failures are counted and the first three shown.
{ cat test.log; printf 'bank 7\n1 2\n3 4\n5 6\n7 8\n'; } > odd.log
"$lineup" decode -b "$board" --log odd.log > out.txt
grep -q 'odd.log:[0-9]*: not read: 1 2' out.txt && grep -q '4 lines' out.txt || { wrong "lines not read"; cat out.txt; }

refused() {
  local want=$1
  shift
  "$lineup" "$@" > out.txt 2> err.txt
  [ $? = 2 ] || wrong "$*: not refused"
  grep -q "$want" err.txt || { wrong "$*:"; cat err.txt; }
  [ -s out.txt ] && wrong "$*: wrote something"
}
echo 'all quiet' > none.log
echo '12345678 55 AA' > far.log
refused 'none.log:1' decode -b "$board" --log none.log
refused 'far.log' decode -b "$board" --log far.log
refused 'far.log' decode -b "$board" --block 'log RAM' --log far.log
refused 'clean.log.*--expect' decode -b "$board" --log clean.log
refused 'not both' decode -b "$board" --log test.log found.bin
refused 'leave out found.bin' decode -b "$board" --run run.yaml found.bin
refused 'leave out --log' decode -b "$board" --run run.yaml --log test.log
refused 'nothere.log' decode -b "$board" --log nothere.log
refused 'none of the log' decode -b "$board" --log test.log --wrote solid-0
printf 'runs:\n  - {block: log RAM, dump: found.bin, log: test.log}\n' > run.yaml
refused 'run.yaml:2.*both' decode -b "$board" --run run.yaml
exit $status
