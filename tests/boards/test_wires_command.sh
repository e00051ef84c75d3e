#!/bin/bash
# SPDX-License-Identifier: MIT
# lineup wires: from words, from a job, drawn, and what bad input gets. LU_GOLDEN=write makes the golden files anew.
set -u
dir=$(mktemp -d)
trap 'rm -rf "$dir"' EXIT
cd "$LU_TOP" || exit 1
L=$LU_PROGRAM
bad=0
fail() { echo "FAILED: $*"; bad=1; }
golden() { # file, command line
  local file=tests/boards/golden/$1
  shift
  "$L" wires "$@" >"$dir/out" 2>"$dir/err" || fail "wires $*: exit $?: $(cat "$dir/err")"
  if [ "${LU_GOLDEN:-}" = write ]; then cp "$dir/out" "$file"; fi
  diff -u "$file" "$dir/out" || fail "wires $*: not as in $file"
}
says() { # wanted exit status, text in standard error, command line
  local status=$1 text=$2
  shift 2
  "$L" wires "$@" >"$dir/out" 2>"$dir/err"
  local got=$?
  [ $got = "$status" ] || fail "wires $*: exit $got, expected $status"
  grep -qF -- "$text" "$dir/err" || fail "wires $*: '$(cat "$dir/err")' lacks '$text'"
  [ ! -s "$dir/out" ] || fail "wires $*: something stands on standard output"
}
tide=docs/demo/tide.yaml

golden wires-dra3.txt --board $tide --net DRA3 --cut U8.21
golden wires-several.txt --board $tide --cut U19.4,U28.4 --cut U8.21 --cut U12.2
golden wires-no-layout.txt --board tests/boards/log8.yaml --cut U2.10
golden wires-dra3.json --board $tide --cut U8.21 --json

export COLUMNS=2000 # from here on lines as they are, not folded
# from a job: the open lines of the likeliest explanation
"$L" job new "$dir/bench.job" --board $tide >/dev/null || fail "job new"
says 2 "the job has no result yet" "$dir/bench.job"
"$L" decode --job "$dir/bench.job" --block "record RAM" --wrote address docs/demo/found-record.bin >/dev/null
[ $? = 1 ] || fail "decode --job"
"$L" wires "$dir/bench.job" --svg "$dir/w.svg" >"$dir/out" 2>"$dir/err" || fail "wires JOB: $(cat "$dir/err")"
grep -q 'DRA3: U8.21 (MA3) at 150.0, 84.2 mm to U16.12 (A3) at 182.6, 64.8 mm, 37.9 mm straight, solder side' "$dir/out" ||
  fail "wires JOB: $(cat "$dir/out")"

if command -v python3 >/dev/null; then
  "$L" wires "$dir/bench.job" --json | python3 -c '
import json,math,sys
w=json.load(sys.stdin)["wires"]
assert len(w)==1 and w[0]["net"]=="DRA3" and w[0]["side"]=="solder"
a,b=w[0]["from"],w[0]["to"]
assert {a["pin"],b["pin"]}=={"U8.21","U16.12"}
assert abs(math.hypot(a["x_mm"]-b["x_mm"],a["y_mm"]-b["y_mm"])-w[0]["length_mm"])<1e-5' || fail "wires JOB --json"
  # the drawing is XML; seen from the solder side what lies on the right is on the left
  "$L" wires --board $tide --cut U8.21 --svg "$dir/c.svg" --view component >/dev/null || fail "--view component"
  python3 - "$dir/w.svg" "$dir/c.svg" <<'PY' || fail "the drawing is not mirrored"
import sys, xml.etree.ElementTree as tree
def x_of(path, ref):
    return [float(t.get('x')) for t in tree.parse(path).iter('{http://www.w3.org/2000/svg}text') if t.text == ref][0]
solder, component = sys.argv[1:]
assert x_of(solder, 'U1') > x_of(solder, 'U5') and x_of(component, 'U1') < x_of(component, 'U5')
width = float(tree.parse(solder).getroot().get('viewBox').split()[2])
assert abs(x_of(solder, 'U1') + x_of(component, 'U1') - width) < 0.2
PY
fi

# nothing is cut
"$L" decode --job "$dir/bench.job" --block "work RAM" --wrote address docs/demo/found-work.bin >/dev/null
"$L" wires "$dir/bench.job" | grep -q 'nothing to wire' || fail "a clean result needs no wires"

# bad input
says 2 "expected a job, or --board" --json
says 2 "--cut and --net go with --board" "$dir/bench.job" --cut U8.21
says 2 "say which pins are cut off" --board $tide
says 2 "no pin 'U8.99'" --board $tide --cut U8.99
says 2 "is on no net" --board tests/boards/buoy8.yaml --cut U1.3
says 2 "no net 'DRA33' on this board; the nearest is 'DRA3'" --board $tide --net DRA33 --cut U8.21
says 2 "--net DRA4: say which of its pins are cut off" --board $tide --net DRA3 --net DRA4 --cut U8.21
says 2 "U8.22 is on net DRA4, which no --net names" --board $tide --net DRA3 --cut U8.21,U8.22
says 2 "all pins of net X1 are cut off" --board $tide --cut U6.1,Y1.1,Y1.2
says 2 "--view expects solder or component" --board $tide --cut U8.21 --view top
says 2 "the board has no layout" --board tests/boards/log8.yaml --cut U2.10 --svg "$dir/x.svg"
[ ! -e "$dir/x.svg" ] || fail "a drawing was left behind"
says 2 "there is no job here" "$dir/none.job"
exit $bad
