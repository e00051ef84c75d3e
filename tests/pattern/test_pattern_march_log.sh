#!/usr/bin/env bash
# SPDX-License-Identifier: MIT
# slow: runs two dozen march tests over 32768 words in Python
# Failing reads of march tests, told to decode as a test prints them: line faults from cell faults, the kind of cell
# fault, the cell that disturbs another. The memory and the faults are march_bench.py's, which shares no code with the
# program; syndromes of cell faults under March C- as in the literature's tables (A. J. van de Goor 1991, from memory).
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
# holds FILE CONDITION ...: of the JSON o; f is the first explanation's faults, nets the names that are likely
holds() {
  python3 - "$@" <<'P'
import json, sys
o = json.load(open(sys.argv[1]))
f = o['explanations'][0]['faults'] if o['explanations'] else []
nets = [s['net'] or s.get('part') for s in o['suspects'] if s['probability'] > 0.1 * o['suspects'][0]['probability']]
for c in sys.argv[2:]:
    if not eval(c):
        sys.exit('%s: nets %s, faults %s' % (c, nets, f))
P
}
decode() { "$L" decode --board "$board" --log log --json "$@" >out.json; }

# lines: word, bench's fault, net
while read -r net how fault; do
  bench 32768 8 0x8000 $fault name=march-c-minus $how >log
  decode
  [ $? = 1 ] || wrong "$fault: exit status"
  holds out.json "'$net' in nets" "all(x['kind'] != 'cell' for x in f)" || wrong "$fault, $how"
done <<'F'
/A4 columns address-stuck 4 1
/BA9 first=600 address-stuck 9 0
/D5 columns data-stuck 5 0
/MD2 first=300 data-stuck 2 1
/BA6 columns address-and 6 3
F
# bridged data lines show under the word's backgrounds only
bench 32768 8 0x8000 data-and 5 6 name=march-c-minus >log
decode --pattern march-c-minus; holds out.json "o['verdict'] == 'clean'" || wrong "nothing failed"
bench 32768 8 0x8000 data-and 5 6 words name=word-march >log
decode; holds out.json "'/D5' in nets and '/D6' in nets and f[0]['kind'] == 'bridge'" || wrong "bridged data lines"
# two faults, one of which hides what the other does in its column
bench 32768 8 0x8000 data-stuck 5 0 + address-and 3 7 name=march-c-minus first=400 >log
decode; holds out.json "'/D5' in nets and '/A3' in nets and len(f) == 2" || wrong "two faults"
# a cell besides a line
bench 32768 8 0x8000 data-stuck 5 0 + cell 0x123 2 1 name=march-c-minus >log
decode; holds out.json "'/D5' in nets and 'U3' in nets and any(x.get('model') == 'SAF' for x in f)" || wrong "a line and a cell"

# cells: kind of fault, side of the aggressor
cell() { # text in models, condition, bench's fault
  local text=$1 condition=$2
  shift 2
  bench 32768 8 0x8000 "$@" >log
  decode || [ $? = 1 ] || wrong "$*: exit status"
  holds out.json "'U3' == nets[0] and len(nets) == 1" "len(f) == 1 and f[0]['kind'] == 'cell'" "'$text' in f[0]['models']" "$condition" || wrong "$*"
}
cell 'SAF <1/0/->' "f[0]['column'] == 0x1234 and f[0]['model'] == 'SAF'" cell 0x1234 3 0 name=march-c-minus
cell 'SAF <0/1/->' True cell 0x7fff 7 1 name=march-c-minus
cell 'TF <1w0/1/->' "f[0]['model'] == 'TF'" slow 0x40 2 0 name=march-c-minus
cell 'CFid' "f[0].get('aggressor') in (None, 'below')" coupled 0x40 2 0x21 0 up name=march-c-minus
# March SS reads twice and so tells <up; 0> from below: DRDF and the like are out
C='{ any(w0); up(r0,r0,w0,r0,w1); up(r1,r1,w1,r1,w0); down(r0,r0,w0,r0,w1); down(r1,r1,w1,r1,w0); any(r0) }'
cell 'CF' "f[0].get('aggressor') in (None, 'below')" coupled 0x40 2 0x21 0 up name=march-ss
C='{ any(w0); up(r0,w1); up(r1,w0); down(r0,w1); down(r1,w0); any(r0) }'

# where the aggressor is: every turn of the address lines
bench 256 8 0 coupled 0x40 2 0x21 0 up turns name=aggressor >log
"$L" decode --width 8 --log log --json >out.json
holds out.json "f[0]['aggressor'] == '0x21' and f[0]['model'] == 'CFid' and '<up; 0>' in f[0]['models']" || wrong "aggressor below"
bench 200 8 0 coupled 0x31 5 0x95 1 down turns name=aggressor >log
"$L" decode --width 8 --log log --json >out.json
holds out.json "f[0]['aggressor'] == '0x95' and '<down; 1>' in f[0]['models']" || wrong "aggressor above"

# the pattern's name: by title, by a line of its own; operations as the C source counts them
bench 32768 8 0x8000 slow 0x40 2 0 counted >log
decode --pattern 'march c-'; holds out.json "f[0]['model'] == 'TF'" || wrong "--pattern by title"
{ echo 'pattern: March C-'; cat log; } >log2; mv log2 log
decode; holds out.json "f[0]['model'] == 'TF'" || wrong "a line that names the pattern"
# two patterns in one log
bench 32768 8 0x8000 cell 0x99 1 1 name=march-c-minus | grep -v '^#' >log
C='{ any(w0); up(r0,w1); down(r1,w0); any(r0) }'
bench 32768 8 0x8000 cell 0x99 1 1 name=march-x | grep -v '^#' >>log
echo '# finished' >>log
decode; holds out.json "f[0]['model'] == 'SAF' and len(o['symptoms']) == 2" || wrong "two patterns"

# bad input: message, exit status 2
says() {
  local text=$1
  shift
  "$L" decode --board "$board" --log log "$@" >/dev/null 2>err
  [ $? = 2 ] || wrong "$*: exit status"
  grep -qF -- "$text" err || wrong "$*: '$(cat err)' lacks '$text'"
}
bench 32768 8 0x8000 cell 0x99 1 1 name=march-c-minus >log
says 'the nearest is "march-c-minus"' --pattern march-c-minu
sed 's/element 2/element 9/; s/expected 00/expected 55/' log >log2; mv log2 log
says 'march-c-minus does not' --pattern march-c-minus
printf '8000 55 54\n' >log
says 'lines that say which read failed' --pattern march-c-minus
exit $status
