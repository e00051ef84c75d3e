#!/bin/bash
# SPDX-License-Identifier: MIT
# slow: simulates many faults or decodes many dumps
# lineup pattern check --board, choose and next: what people type, what scripts get, bad input.
set -u
export COLUMNS=2000 # lines as they are, not folded
dir=$(mktemp -d)
trap 'rm -rf "$dir"' EXIT
L=$LU_PROGRAM
board=$LU_TOP/docs/demo/tide.yaml
on=(--board "$board" --block "record RAM")
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

"$L" pattern check "${on[@]}" march-c-minus data-counting --missed >"$dir/out" || fail "check --board"
grep -q '^march-c-minus  *[0-9]*/[0-9]* ' "$dir/out" || fail "no row for a pattern"
grep -q '^all together' "$dir/out" || fail "no row for the set"
grep -q '^missed: A1 and A2 exchanged at ' "$dir/out" || fail "swapped address lines are not among the missed"
grep -q '^Lines swapped .* never show in write-then-read.*(all patterns)' "$dir/out" || fail "no sentence on swaps"
grep -q '^Bridged data lines pass solid backgrounds.*(march-c-minus)' "$dir/out" || fail "no sentence on solid backgrounds"
grep -q '^missed.*: D0 and D[0-9]* joined' "$dir/out" && fail "bridged data lines pass the counting vectors"

printf 'name: back\nsource: this test\nbackgrounds: vectors walking-ones\nmarch: { at 0 (w0,r0) }\n' >"$dir/back.pattern"
"$L" pattern check "${on[@]}" "$dir/back.pattern" | grep -q 'passes on a bus that holds its value.*(back)' ||
  fail "no sentence on a bus that holds its value"
"$L" pattern check "${on[@]}" --undriven high march-c-minus >/dev/null || fail "--undriven"

"$L" pattern choose "${on[@]}" >"$dir/out" || fail "choose"
grep -q '^Detects all that any pattern detects: ' "$dir/out" || fail "no set that detects all"
grep -q '^+ ' "$dir/out" || fail "no second pattern"
"$L" pattern choose "${on[@]}" mats-plus march-c-minus word-march data-counting | grep -q march-sr && fail "choose from outside the list"

"$L" simulate "${on[@]}" --wrote solid-0 --fault 'stuck MD3 high' -o "$dir/dump" 2>/dev/null ||
  "$L" simulate "${on[@]}" --wrote address --fault 'stuck MD3 high' -o "$dir/dump" || fail "simulate"
"$L" pattern next "${on[@]}" --wrote address --result "$dir/dump" >"$dir/out" || fail "next"
grep -q 'explanations are left' "$dir/out" || fail "next does not say what is left"

if command -v python3 >/dev/null; then
  "$L" pattern check "${on[@]}" march-c-minus word-march --json --missed >"$dir/j" || fail "check --json"
  python3 -c '
import json,sys
d=json.load(open(sys.argv[1]))
assert len(d["patterns"])==2 and d["notes"] and d["missed"]
for p in d["patterns"]+[d["together"]]:
  for k in p["kinds"].values():
    assert k["faults"]==sum(k[x] for x in ("detected","by_chance","missed","no_effect","not_judged"))
  assert p["groups"]<=p["effects"] and p["alone"]<=p["groups"]
assert d["together"]["groups"]>=max(p["groups"] for p in d["patterns"])' "$dir/j" || fail "JSON of check"
  "$L" pattern choose "${on[@]}" mats-plus march-c-minus word-march --json | python3 -c '
import json,sys
d=json.load(sys.stdin)
assert d["detects_all"]["set"]==["word-march"] and d["tells_apart"]["groups"]>=d["detects_all"]["groups"]' || fail "JSON of choose"
  "$L" pattern next "${on[@]}" --wrote address --result "$dir/dump" --json | python3 -c '
import json,sys
d=json.load(sys.stdin)
assert d["explanations"]>0 and all(0<=n["gain_bits"]<=d["doubt_bits"]+1e-9 for n in d["next"])' || fail "JSON of next"
fi

says 2 "expects --board" choose
says 2 "expects --board" next
says 2 "expects --result" next "${on[@]}" --wrote address
says 2 "either --expect or --wrote" next "${on[@]}" --result "$dir/dump"
says 2 "none.yaml" choose --board "$dir/none.yaml"
says 2 "no RAM" choose --board "$board" --block "no RAM"
says 2 "cannot be written" check --board "$board" --block "boot ROM" march-c-minus
says 2 "march-c-minus" check "${on[@]}" march-c-minu
says 2 "expects the names of patterns" check "${on[@]}"
says 2 "sideways" check "${on[@]}" --undriven sideways march-c-minus
exit $bad
