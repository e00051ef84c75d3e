#!/bin/bash
# SPDX-License-Identifier: MIT
# lineup board: what people read (golden files), what scripts get, what bad input gets.
# LU_GOLDEN=write makes the golden files anew; read the difference before committing it.
set -u
dir=$(mktemp -d)
trap 'rm -rf "$dir"' EXIT
cd "$LU_TOP" || exit 1
L=$LU_PROGRAM
bad=0
fail() { echo "FAILED: $*"; bad=1; }
golden() { # file, wanted exit status, command line
  local file=tests/boards/golden/$1 status=$2
  shift 2
  "$L" board "$@" >"$dir/out" 2>"$dir/err"
  local got=$?
  [ $got = "$status" ] || fail "board $*: exit $got, expected $status: $(cat "$dir/err")"
  if [ "${LU_GOLDEN:-}" = write ]; then cp "$dir/out" "$file"; fi
  diff -u "$file" "$dir/out" || fail "board $*: not as in $file"
}
says() { # wanted exit status, text in standard error, command line
  local status=$1 text=$2
  shift 2
  "$L" board "$@" >"$dir/out" 2>"$dir/err"
  local got=$?
  [ $got = "$status" ] || fail "board $*: exit $got, expected $status"
  grep -qF -- "$text" "$dir/err" || fail "board $*: '$(cat "$dir/err")' lacks '$text'"
  [ ! -s "$dir/out" ] || fail "board $*: something stands on standard output"
}

golden check-tide.txt 0 check docs/demo/tide.yaml
golden check-buoy8.txt 0 check tests/boards/buoy8.yaml
golden show-tide-work.txt 0 show docs/demo/tide.yaml --block "work RAM"
golden show-buoy8-log.txt 0 show tests/boards/buoy8.yaml --block "log RAM"
golden pins-tide-u8.txt 0 pins docs/demo/tide.yaml U8 --mark 21
golden pins-tide-u2-solder.txt 0 pins docs/demo/tide.yaml U2 --mark A9 --view solder
golden guess-log8.txt 0 guess tests/boards/log8.net
golden guess-tide.txt 0 guess docs/demo/tide.net --layout docs/demo/tide.d356

# a first board file holds as it is, and finds what the finished board file says
"$L" board guess tests/boards/log8.net -o "$dir/log8.yaml" || fail "guess -o"
"$L" board check "$dir/log8.yaml" >/dev/null || fail "the guessed log8 does not hold"
cp docs/demo/tide.net docs/demo/tide.d356 "$dir"
"$L" board guess "$dir/tide.net" --layout "$dir/tide.d356" -o "$dir/tide.yaml" || fail "guess of tide"
grep -q '^netlist: tide.net$' "$dir/tide.yaml" || fail "the netlist's path is not meant from the board file"
"$L" board check "$dir/tide.yaml" >/dev/null || fail "the guessed tide does not hold"
# dynamic RAM behind multiplexers, from a plain net list with values from the board file's own text
python3 - tests/boards/buoy8.yaml "$dir/buoy8.csv" <<'PY' 2>/dev/null || echo "python3 is missing: buoy8 is not guessed"
import re, sys
text = open(sys.argv[1]).read()
values = dict(re.findall(r'^  (U\d+): \{type: "(\w+)"\}', text, re.M))
nets = text[text.index('nets:'):text.index('sockets:')]
with open(sys.argv[2], 'w') as out:
    out.write('net,ref,pin,value\n')
    for name, pins in re.findall(r'^  "?([^":\n]+)"?: \[([^\]]*)\]', nets, re.M):
        for pin in re.findall(r'(\w+)\.(\w+)', pins):
            out.write('%s,%s,%s,%s\n' % (name, pin[0], pin[1], values.get(pin[0], '')))
PY
if [ -s "$dir/buoy8.csv" ]; then
  "$L" board guess "$dir/buoy8.csv" -o "$dir/buoy8.yaml" 2>"$dir/err" || fail "guess of buoy8: $(cat "$dir/err")"
  grep -q 'base: 0xE000' "$dir/buoy8.yaml" || fail "buoy8: the ROM's base was not found"
  grep -q 'chips: \[U9, U10, U11, U12, U13, U14, U15, U16\]' "$dir/buoy8.yaml" || fail "buoy8: the RAM was not found"
fi

# a netlist and a layout that differ, and a line that is cut
sed 's/^317A10              U1    -38 /317A11              U1    -38 /' docs/demo/tide.d356 >"$dir/tide.d356"
sed 's/A10: 12, //; s/      - {from: A10, to: MA0, phase: column}//' docs/demo/tide.yaml >"$dir/cut.yaml"
"$L" board check "$dir/cut.yaml" >"$dir/out" 2>"$dir/err"
[ $? = 1 ] || fail "what does not hold must give 1: $(cat "$dir/out" "$dir/err")"
grep -q 'address bit 9 (A10): the trail ends at net A10 (at U8.12)' "$dir/out" || fail "the net where the trail ends: $(grep -A2 record "$dir/out")"
grep -q '1 difference between netlist and layout' "$dir/out" || fail "the difference is counted"
grep -q 'U1.38\|U1-38\|U1 38\|pin 38' "$dir/out" || fail "the difference is listed: $(tail -3 "$dir/out")"
"$L" decode --board "$dir/cut.yaml" --block "work RAM" --wrote address docs/demo/found-work.bin >"$dir/out" 2>&1
[ "$(grep -c 'difference' "$dir/out")" = 1 ] || fail "decode says in one line that drawings differ: $(grep -c difference "$dir/out")"

# JSON that a general tool reads
if command -v python3 >/dev/null; then
  "$L" board check docs/demo/tide.yaml --json | python3 -c '
import json,sys
d=json.load(sys.stdin)
assert d["holds"] and len(d["blocks"])==3 and d["sockets"]==["U1","U2","U3","U8"] and not d["differences"]' || fail "check --json"
  "$L" board check "$dir/cut.yaml" --json | python3 -c '
import json,sys
d=json.load(sys.stdin)
lost=[b["lost"] for b in d["blocks"] if b["name"]=="record RAM"][0]
assert not d["holds"] and {"kind":"address","bit":9,"ends_at":"A10"} in lost and len(d["differences"])==1' || fail "check --json of what does not hold"
  "$L" board show docs/demo/tide.yaml --json | python3 -c '
import json,sys
d=json.load(sys.stdin)
record=[b for b in d["blocks"] if b["name"]=="record RAM"][0]
address=[l for l in record["lines"] if l["kind"]=="address"]
assert len(address)==18 and sum(l["phase"]=="row" for l in address)==9
dra3=[l for l in address if l["hops"][-1]["net"]=="DRA3"]
assert sorted((l["bit"],l["phase"]) for l in dra3)==[(3,"row"),(12,"column")]
assert all(len(l["ends"])==16 and l["hops"][0]["from"].startswith("U1.") for l in address)
data=[l for l in record["lines"] if l["kind"]=="data"]
assert {l["bit"] for l in data}==set(range(16)) and all(h["part"] in ("U10","U11","RN1","RN2") for l in data for h in l["hops"] if "part" in h)
assert {c["kind"] for c in record["controls"]}=={"RAS","CAS","write"}' || fail "show --json"
  "$L" board pins docs/demo/tide.yaml U8 --json | python3 -c '
import json,sys
d=json.load(sys.stdin)
p=[p for p in d["pins"] if p["number"]=="21"][0]
assert d["socketed"] and p["net"]=="DRA3" and p["function"]=="MA3" and abs(p["x_mm"]-149.997)<20' || fail "pins --json"
  "$L" board guess docs/demo/tide.net --json | python3 -c '
import json,sys
d=json.load(sys.stdin)
assert d["vantages"]==1 and d["blocks"]==2 and any("U8" in a for a in d["assumed"]) and "vantages:" in d["board_file"]' || fail "guess --json"
  "$L" board pins docs/demo/tide.yaml U8 --svg "$dir/u8.svg" --mark 21 >/dev/null && python3 -c '
import sys, xml.dom.minidom
xml.dom.minidom.parse(sys.argv[1])' "$dir/u8.svg" || fail "pins --svg"
fi

# bad input
says 2 "expected check, show, pins or guess, found 'chekc'" chekc docs/demo/tide.yaml
says 2 "expected a file" check
says 2 "one operand too many" check docs/demo/tide.yaml docs/demo/tide.yaml
says 2 "No such file" check "$dir/none.yaml"
says 2 "the nearest is 'U8'" pins docs/demo/tide.yaml U88
says 2 "U8 has no pin '99'" pins docs/demo/tide.yaml U8 --mark 99
says 2 "--view expects above or solder" pins docs/demo/tide.yaml U8 --view left
says 2 "--body expects dip" pins docs/demo/tide.yaml U8 --body box
says 2 "--body pga: no pin of U8 has a place there" pins docs/demo/tide.yaml U8 --body pga
says 2 "the board has no block 'wrk RAM'; the nearest is 'work RAM'" show docs/demo/tide.yaml --block "wrk RAM"
says 2 "no processor and no memory is known" guess tests/boards/quay16.csv
head -c 3000 docs/demo/tide.net >"$dir/short.net"
says 2 "short.net:" guess "$dir/short.net"
printf 'title: x\nvantages:\n  cpu: {at: U1, address: [A1-A3], data: [D0]}\n' >"$dir/nopart.yaml"
says 2 "nopart.yaml:3:" check "$dir/nopart.yaml"
exit $bad
