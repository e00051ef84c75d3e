#!/bin/bash
# SPDX-License-Identifier: MIT
# lineup pattern: what people type, what scripts get, what bad input gets.
set -u
dir=$(mktemp -d)
trap 'rm -rf "$dir"' EXIT
L=$LU_PROGRAM
bad=0
fail() { echo "FAILED: $*"; bad=1; }
says() { # wanted exit status, text in standard error, command line
  local status=$1 text=$2
  shift 2
  "$L" pattern "$@" >"$dir/out" 2>"$dir/err"
  local got=$?
  [ $got = "$status" ] || fail "pattern $*: exit $got, expected $status"
  grep -qF -- "$text" "$dir/err" || fail "pattern $*: '$(cat "$dir/err")' lacks '$text'"
}

# names that scripts may rely on
for name in walking-ones walking-zeros address address-inverse checkerboard; do
  "$L" pattern show "$name" >/dev/null || fail "show $name"
done
[ "$("$L" pattern list | wc -l)" -ge 60 ] || fail "list is short"
"$L" pattern show march-ud --rate 1000 --size 1k | grep -q '13n + wait' || fail "length of march-ud"
"$L" pattern show march-c-minus --size 64k --rate 20000 | grep -q '655360 operations, about 32.8 s' || fail "time of march-c-minus"

# JSON that a general tool reads
if command -v python3 >/dev/null; then
  "$L" pattern list --json | python3 -c 'import json,sys; d=json.load(sys.stdin); assert len(d)>=60 and all(p["source"] for p in d)' || fail "list --json"
  "$L" pattern check march-c-minus mats-plus --json | python3 -c '
import json,sys
d=json.load(sys.stdin)
m={x["model"]:x for x in d["models"]}
assert len(m)==44 and m["CFid"]["detected"]==[8,3] and m["CFid"]["together"]==8 and len(m["WDF"]["missed"])==2' || fail "check --json"
  "$L" pattern check march-c-minus --syndrome 00010 --json | python3 -c '
import json,sys
d=json.load(sys.stdin)
assert {"model":"CFid","fault":"<up; 0>, aggressor below"} in d["faults"]' || fail "syndrome --json"
fi

# images: the values are counted out by a shell loop
"$L" pattern expand walking-ones --size 32 --width 16 --byte-order big --image "$dir/i" || fail "image"
[ "$(od -An -v -tx1 "$dir/i" | tr -d ' \n')" = "$(for i in $(seq 0 15); do printf '%04x' $((1 << i)); done)" ] || fail "image of walking-ones"
"$L" pattern expand address --size 256 --image "$dir/i" && [ "$(echo $(od -An -v -tu1 "$dir/i"))" = "$(echo $(seq 0 255))" ] || fail "image of address"
"$L" pattern expand checkerboard --size 4 --image "$dir/i" --pass 1 && [ "$(od -An -tx1 "$dir/i")" = " aa 55 aa 55" ] || fail "image of checkerboard"

# large ones are made in parts: counting goes on, and so does the recursion of PRBS23 (ITU-T O.150: x^23 + x^18 + 1)
if command -v python3 >/dev/null; then
  "$L" pattern expand address --size 1400000 --width 16 --image "$dir/i" && python3 -c '
import sys
d=open(sys.argv[1],"rb").read()
assert len(d)==1400000 and all(int.from_bytes(d[2*i:2*i+2],"little")==i&0xffff for i in range(700000))' "$dir/i" || fail "a large image"
  "$L" pattern expand prbs23 --size 700000 --pass 1 --image "$dir/i" && python3 -c '
import sys
d=open(sys.argv[1],"rb").read()
for at in (262144, 524288):
    b=[d[k]>>i&1 for k in range(at-16,at+16) for i in range(8)]
    assert len(d)==700000 and len({x^b[n-18]^b[n-23] for n,x in enumerate(b) if n>=23})==1, at' "$dir/i" || fail "a large image of PRBS23"
fi

# one's own files, which win over the built-in ones
mkdir "$dir/mine"
printf 'name: tide\nsource: harbour office\nmarch: { up(w1); down(r1) }\n' >"$dir/mine/tide.pattern"
printf 'name: address\nsource: harbour office\nmarch: { up(w1); down(r1) }\n' >"$dir/mine/address.pattern"
"$L" pattern show "$dir/mine/tide.pattern" | grep -q 2n || fail "a pattern by path"
LINEUP_PATTERNS=$dir/none:$dir/mine "$L" pattern show tide | grep -q 'harbour office' || fail "a pattern by folder"
LINEUP_PATTERNS=$dir/mine "$L" pattern show address | grep -q 'harbour office' || fail "own pattern first"
mkdir -p "$dir/home/.local/share/lineup/patterns" "$dir/data/lineup/patterns"
sed 's/harbour office/home/' "$dir/mine/tide.pattern" >"$dir/home/.local/share/lineup/patterns/tide.pattern"
sed 's/harbour office/data/' "$dir/mine/tide.pattern" >"$dir/data/lineup/patterns/tide.pattern"
(unset XDG_DATA_HOME; HOME=$dir/home "$L" pattern show tide | grep -q ' home$') || fail "a pattern in one's home"
HOME=$dir/home XDG_DATA_HOME=$dir/data "$L" pattern show tide | grep -q ' data$' || fail "a pattern in XDG_DATA_HOME"
HOME=$dir/home XDG_DATA_HOME=$dir/data LINEUP_PATTERNS=$dir/mine "$L" pattern show tide | grep -q 'harbour office' || fail "LINEUP_PATTERNS first"
HOME=$dir/home XDG_DATA_HOME=$dir/data "$L" pattern list | grep -q '^tide .*own file' || fail "one's own in the list"
[ "$(LINEUP_PATTERNS=$dir/mine "$L" pattern expand tide --size 2 | tr '\n' ';')" = "# pass 1: linear order, background 0x00;# element 1;w 0x0 0xff;w 0x1 0xff;# element 2;r 0x1 0xff;r 0x0 0xff;" ] || fail "operations of tide"

# what a run printed, put together
printf '# op word expected got\n3 0x12 0xff 0xf7\n7 0x12 0xff 0xf7\n' >"$dir/f"
"$L" pattern check march-c-minus --size 256 --failures "$dir/f" >"$dir/out"; [ $? = 1 ] || fail "exit status of failures"
grep -q '^bit 3 fails reads 01010 at word 0x12$' "$dir/out" && grep -q 'SAF <1/0/->' "$dir/out" || fail "one bad cell"
for w in $(seq 0 255); do echo "3 $w 0xff 0xfe"; done >"$dir/f"
"$L" pattern check march-c-minus --size 256 --failures "$dir/f" | grep -q 'a line or a whole chip' || fail "one bad line"
: >"$dir/f"; "$L" pattern check march-c-minus --failures "$dir/f" || fail "no failures"
echo '3 1 0x' >"$dir/f"; says 2 "f:1:5: expected four numbers" check march-c-minus --failures "$dir/f"
echo '2 1 0 1' >"$dir/f"; says 2 "not a read" check march-c-minus --failures "$dir/f"
echo '1 300 0 1' >"$dir/f"; says 2 "outside the block" check march-c-minus --size 256 --failures "$dir/f"

# bad input: one message, with line, column and a caret
printf 'name: tide\nsource: x\nmarch: { up(w1); down(r0) }\n' >"$dir/mine/wrong.pattern"
says 2 "wrong.pattern:3:23: element 2, operation 1 expects 0 where 1 was written" show "$dir/mine/wrong.pattern"
grep -q '^ *^$' "$dir/err" || fail "no caret"
LINEUP_PATTERNS=$dir/mine "$L" pattern list >/dev/null 2>&1; [ $? = 2 ] || fail "list passes over a broken file"
rm "$dir/mine/wrong.pattern"
says 2 'the nearest is "march-c-minus"' show march-c-minu
says 2 "nearest is 'show'" shwo x
says 2 "expects the name of one pattern" show
says 2 "expects the names of patterns" check
says 2 "takes no names" list x
says 2 "5 reads of march-c-minus" check march-c-minus --syndrome 01
says 2 "do not fit" expand address --width 12 --bytes 1
says 2 "1, 2, 4 or 8" expand address --bytes 3
says 2 "multiples" expand address --width 16 --size 3
says 2 "expects 1 to 1" expand address --image "$dir/no" --pass 2
says 2 "big or little" expand address --byte-order middle
says 2 "uses word 1" expand data-counting --size 1
says 2 "none.pattern: cannot open" show "$dir/none.pattern"
says 3 "" expand address --size 16 --image "$dir/none/i"
[ ! -e "$dir/no" ] || fail "a file was left by a refused call"
exit $bad
