#!/usr/bin/env bash
# SPDX-License-Identifier: MIT
# slow: runs a dozen march tests over 32768 words in Python
# Failing reads of march tests together with other readings of the same fault state: --run. The memory that the marches
# run over is march_bench.py's, which shares no code with the program.
set -u
export PYTHONDONTWRITEBYTECODE=1
command -v python3 >/dev/null || { echo "skipped: no python3"; exit 77; }
L=${LU_PROGRAM:?}
board=$LU_TOP/tests/boards/log8.yaml
dir=$(mktemp -d) || exit 1
trap 'rm -rf "$dir"' EXIT
cd "$dir" || exit 1
status=0
wrong() { echo "$*"; status=1; }
C='{ any(w0); up(r0,w1); up(r1,w0); down(r0,w1); down(r1,w0); any(r0) }'
bench() { python3 "$LU_TOP/tests/pattern/march_bench.py" "$C" "$@"; }
# holds CONDITION ...: of out.json as o; f is the first explanation's faults, nets the names that are likely
holds() {
  python3 - "$@" <<'P'
import json, sys
o = json.load(open('out.json'))
f = o['explanations'][0]['faults'] if o['explanations'] else []
nets = [s['net'] or s.get('part') for s in o['suspects'] if s['probability'] > 0.1 * o['suspects'][0]['probability']]
for c in sys.argv[1:]:
    if not eval(c):
        sys.exit('%s: nets %s, faults %s' % (c, nets, f))
P
}
python3 -c 'import random; random.seed(5); open("rom.bin", "wb").write(bytes(random.randrange(256) for _ in range(32768)))'
rom() { # FAULT ...: the ROM with these
  local faults=()
  for f; do faults+=(-f "$f"); done
  "$L" simulate -b "$board" --block 'program ROM' -e rom.bin "${faults[@]}" -o dump.bin || wrong "simulate $*"
}
ram() { bench 32768 8 0x8000 "$@" name=march-c-minus >log; }
run() { # one line for each reading
  { echo runs:; printf '  - {%s}\n' "$@"; } >run.yaml
  "$L" decode -b "$board" --run run.yaml --json >out.json 2>err
}
ROM='block: program ROM, expect: rom.bin, dump: dump.bin'
RAM='block: log RAM, log: log'

# the march alone leaves /A4 and /BA4; a ROM that reads right says that it is the RAM's own pin, one that does not the rest
ram address-stuck 4 1
"$L" decode -b "$board" --log log --json >out.json
holds "'/A4' in nets and '/BA4' in nets" || wrong "a march alone"
rom
run "$ROM" "$RAM"
[ $? = 1 ] || wrong "exit status: $(cat err)"
holds "nets == ['/BA4']" "f[0]['cut_off'] == ['U3.6']" "o['explanations'][0]['explained'] == 1" || wrong "a ROM that reads right"
rom 'open /A4 U4.11 high'
run "$ROM" "$RAM"
holds "'/A4' in nets" "f[0]['kind'] == 'open' and f[0]['cut_off'] == ['U4.11']" || wrong "a ROM that reads wrong, too"
rom 'open /BA4 U2.6,U3.6 high'
run "$RAM" "$ROM"
holds "'/A4' in nets and all(x['kind'] == 'open' for x in f)" || wrong "the order of readings"

# two faults: each reading shows one of them, or one reading both
rom 'stuck /ROMCS# high'
ram data-stuck 5 0
run "$ROM" "$RAM"
holds "len(f) == 2" "'/ROMCS#' in nets" "'/D5' in nets or '/MD5' in nets" || wrong "one fault in each"
rom 'open /BA9 U2.24 low'
ram data-stuck 5 0
run "$ROM" "$RAM"
holds "any(x['kind'] == 'open' and x['cut_off'] == ['U2.24'] for x in f)" "len(f) == 2" || wrong "one fault in each, the ROM's own pin"

# cells: what kind they are, beside words that are right, and beside a line
rom
ram cell 0x1234 3 0
run "$ROM" "$RAM"
holds "nets == ['U3']" "f[0]['model'] == 'SAF' and f[0]['column'] == 0x1234" || wrong "a cell"
cp dump.bin good.bin
# a dump of the RAM that shows the cell as well: it is the same one
"$L" simulate -b "$board" --block 'log RAM' -w address -f 'cell U3 0 0x1234 3 low' -o ram.bin || wrong "simulate a cell"
run "$RAM" 'block: log RAM, wrote: address-inverse, dump: inverse.bin' 2>/dev/null
[ $? = 2 ] || wrong "a dump that is not there"
run "$RAM" 'block: log RAM, wrote: address, dump: ram.bin'
holds "nets == ['U3'] and len(f) == 1 and f[0]['model'] == 'SAF'" || wrong "a cell in words and reads"
rom 'stuck /D5 low'
ram data-stuck 5 0 + cell 0x123 2 1
run "$ROM" "$RAM"
holds "'/D5' in nets and 'U3' in nets" "any(x.get('model') == 'SAF' for x in f)" || wrong "a line and a cell"

# two logs of one block: the second, of another pattern, says more of the cell
rom
ram coupled 0x40 2 0x21 0 up
cp log log1
C='{ any(w0); up(r0,r0,w0,r0,w1); up(r1,r1,w1,r1,w0); down(r0,r0,w0,r0,w1); down(r1,r1,w1,r1,w0); any(r0) }'
bench 32768 8 0x8000 coupled 0x40 2 0x21 0 up name=march-ss >log2
C='{ any(w0); up(r0,w1); up(r1,w0); down(r0,w1); down(r1,w0); any(r0) }'
run 'block: log RAM, log: log1'
holds "len(f) == 1 and f[0]['model'] != 'CFid' or 'CFid' in f[0]['models']" || wrong "a coupled cell, one log"
run 'block: log RAM, log: log1' 'block: log RAM, log: log2' "$ROM"
holds "len(f) == 1 and f[0]['kind'] == 'cell' and f[0]['models'].startswith('CF')" "f[0].get('aggressor') in (None, 'below')" \
  "len(o['symptoms']) == 2" "all(s['text'].startswith('log RAM: ') for s in o['symptoms'])" || wrong "two logs"

# a march that found nothing refutes what would have shown there
printf 'pattern: march-c-minus\n# finished: 0 errors\n' >log
rom 'open /A4 U4.11 high'
"$L" decode -b "$board" --block 'program ROM' -e rom.bin dump.bin --json >out.json
holds "'/A4' in nets and '/BA4' in nets" || wrong "a ROM alone"
run "$ROM" "$RAM, pattern: March C-"
holds "nets == ['/BA4']" "f[0]['cut_off'] == ['U2.6']" || wrong "a march without failures"
rom
run "$ROM" "$RAM, pattern: march-c-minus"
[ $? = 0 ] || wrong "nothing wrong: exit status"
holds "o['verdict'] == 'clean'" || wrong "nothing wrong"

# operations as the C source counts them need the pattern's name
bench 32768 8 0x8000 slow 0x40 2 0 counted >log
run "$ROM" "$RAM, pattern: march-c-minus"
holds "f[0]['model'] == 'TF'" || wrong "operations counted over the march"

# three line faults: what is not worked out from reads is judged by words, and said
rom 'stuck /A3 low' 'stuck /A9 high' 'stuck /D1 low'
ram data-stuck 1 0 + address-stuck 3 0 + address-stuck 9 1
run "$ROM" "$RAM"
[ $? = 1 ] || wrong "three faults: exit status"
holds "any('only the words were judged' in n for n in o['notes']) or len(f) == 3" "'/D1' in nets" || wrong "three faults"

# bad input
printf 'runs:\n  - {block: program ROM, expect: rom.bin, dump: dump.bin,\n     pattern: march-c-minus}\n' >run.yaml
"$L" decode -b "$board" --run run.yaml >/dev/null 2>err
[ $? = 2 ] && grep -q 'run.yaml:2:5: .*pattern belongs to a log' err || wrong "pattern without log: $(cat err)"
run "$RAM, pattern: march-c-minu"
[ $? = 2 ] && grep -q 'march-c-minus' err || wrong "unknown pattern: $(cat err)"
exit $status
