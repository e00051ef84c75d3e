#!/bin/bash
# SPDX-License-Identifier: MIT
# lineup compare on the demo's boot ROM, held against cmp (POSIX).
set -u
export COLUMNS=2000 # lines as they are, not folded
cd "$LU_TOP" || exit 1
tmp=$(mktemp -d)
trap 'rm -rf "$tmp"' EXIT
failed=0
fail() { echo "FAILED: $*"; failed=1; }
found=docs/demo/found-boot.bin good=docs/demo/tide-rom.bin
board=(--board docs/demo/tide.yaml --block "boot ROM" --expect "$good")

"$LU_PROGRAM" compare --json "${board[@]}" $found $good >"$tmp/cured"; [ $? -eq 0 ] || fail "cured: exit $?"
"$LU_PROGRAM" compare --json "${board[@]}" $good $found >"$tmp/worse"; [ $? -eq 1 ] || fail "worse: exit $?"
"$LU_PROGRAM" compare --json "${board[@]}" $found $found >"$tmp/same"; [ $? -eq 1 ] || fail "same: exit $?"
python3 - "$tmp" "$(cmp -l $found $good | wc -l)" <<'PY' || fail "JSON"
import json, sys
load = lambda n: json.load(open(sys.argv[1] + "/" + n))
cured, worse, same = load("cured"), load("worse"), load("same")
nets = lambda l: [x["net"] for x in l]
assert cured["same"] is False and nets(cured["cleared"]) == ["BA10"] and not cured["remaining"] and not cured["new"]
assert worse["same"] is False and nets(worse["new"]) == ["BA10"] and not worse["remaining"] and not worse["cleared"]
assert same["same"] is True and nets(same["remaining"]) == ["BA10"] and not same["new"] and not same["cleared"]
# one byte of each wrong word is wrong: only the even ROM is
assert cured["words"]["differ"] == int(sys.argv[2]), cured["words"]
assert cured["words"]["against_known"]["cured"] == int(sys.argv[2])
# U2 is the even ROM: all of it is its, bit for bit
a, b = open("docs/demo/found-boot.bin", "rb").read(), open("docs/demo/tide-rom.bin", "rb").read()
bits = sum(bin(x ^ y).count("1") for x, y in zip(a, b))
assert [(c["part"], c["bits_changed"]) for c in cured["words"]["chips"]] == [("U2", bits), ("U3", 0)], cured["words"]["chips"]
PY
# without a board: the differences alone; lengths may differ
head -c 40000 $good >"$tmp/short"
"$LU_PROGRAM" compare --width 16 $good "$tmp/short" >"$tmp/out"; [ $? -eq 1 ] || fail "short: exit $?"
grep -q '12768 words stand only in the first' "$tmp/out" || fail "short: $(cat "$tmp/out")"
"$LU_PROGRAM" compare --width 16 $good $good >"$tmp/out"; [ $? -eq 0 ] || fail "equal: exit $?"
# large files, equal up to their ends: what is passed over in reading is counted all the same (cmp says where)
head -c 3000001 /dev/urandom >"$tmp/big"; cp "$tmp/big" "$tmp/big2"
"$LU_PROGRAM" compare --json "$tmp/big" "$tmp/big2" >"$tmp/same"; [ $? -eq 0 ] || fail "large and equal: exit $?"
printf '\377' | dd of="$tmp/big2" bs=1 seek=2900000 conv=notrunc status=none; printf '\0' | dd of="$tmp/big" bs=1 seek=2900000 conv=notrunc status=none
"$LU_PROGRAM" compare --json "$tmp/big" "$tmp/big2" >"$tmp/last"; [ $? -eq 1 ] || fail "large, one byte: exit $?"
python3 - "$tmp" "$(cmp -l "$tmp/big" "$tmp/big2" | awk '{print $1}')" <<'PY' || fail "large files"
import json, sys
same, last = (json.load(open(sys.argv[1] + "/" + n)) for n in ("same", "last"))
assert same["same"] and same["words"]["compared"] == 3000001 and same["words"]["differ"] == 0, same["words"]
assert last["words"]["compared"] == 3000001 and last["words"]["differ"] == 1 and last["words"]["first_address"] == int(sys.argv[2]) - 1
assert [b["set"] for b in last["words"]["bits"]] == [1] * 8
PY
"$LU_PROGRAM" compare $good "$tmp/none" >"$tmp/out" 2>"$tmp/err"; [ $? -eq 2 ] || fail "missing file: exit $?"

# two results of a job, from the job's own files
job=$tmp/a.job
cp docs/demo/*.yaml docs/demo/*.net docs/demo/*.d356 "$tmp/"
cp $found "$tmp/dump.bin"; cp $good "$tmp/good.bin"
(
  cd "$tmp" || exit 1
  "$LU_PROGRAM" job new --board tide.yaml a.job
  "$LU_PROGRAM" decode --job a.job --block "boot ROM" --expect good.bin dump.bin
  cp good.bin dump.bin
  "$LU_PROGRAM" decode --job a.job --block "boot ROM" --expect good.bin dump.bin
  rm ./*.bin ./*.yaml
) >/dev/null
"$LU_PROGRAM" compare --json "$job#4" "$job#6" >"$tmp/j"; [ $? -eq 0 ] || fail "results of a job: exit $?"
python3 - "$tmp/j" "$(cmp -l $found $good | wc -l)" <<'PY' || fail "results of a job"
import json, sys
j = json.load(open(sys.argv[1]))
assert [x["net"] for x in j["cleared"]] == ["BA10"] and not j["new"] and not j["remaining"] and j["same"] is False
assert j["words"]["differ"] == int(sys.argv[2]) and not j["notes"], j
PY
# a repair between two results marks the new suspects that it touched; a result before it no longer counts
(
  cd "$tmp" || exit 1
  "$LU_PROGRAM" repair a.job "contact U2.24 bent back" >repair.txt
  cp "$LU_TOP/$found" dump.bin && cp "$LU_TOP/$good" good.bin
  "$LU_PROGRAM" probe a.job >stale.txt
  "$LU_PROGRAM" decode --job a.job --block "boot ROM" --expect good.bin dump.bin
  "$LU_PROGRAM" probe --json a.job >again.json
) >/dev/null
grep -q 'read it again' "$tmp/stale.txt" || fail "a repair does not make the result stale: $(cat "$tmp/stale.txt")"
"$LU_PROGRAM" compare --json "$job#6" "$job#9" >"$tmp/j"; [ $? -eq 1 ] || fail "after a bad repair: exit $?"
python3 - "$tmp/j" "$tmp/again.json" <<'PY' || fail "after a bad repair"
import json, sys
j, p = json.load(open(sys.argv[1])), json.load(open(sys.argv[2]))
assert [(x["net"], x.get("worked_on")) for x in j["new"]] == [("BA10", True)], j["new"]
assert p["suspects"][0]["net"] == "BA10" and p["results"] == 1
PY
"$LU_PROGRAM" repair "$job" "wire U8.20 to U16.12" | grep -q 'different nets' || fail "a wire between two nets is not asked about"
"$LU_PROGRAM" repair "$job" "wire U88.20 to U16.12" >/dev/null 2>&1; [ $? -eq 2 ] || fail "a slip in a pin's name: exit $?"
"$LU_PROGRAM" compare "$job#1" "$job#6" >/dev/null 2>"$tmp/err"; [ $? -eq 2 ] || fail "an entry that is no result: exit $?"
"$LU_PROGRAM" compare "$job#4" dump.bin >/dev/null 2>"$tmp/err"; [ $? -eq 2 ] || fail "an entry and a file: exit $?"
grep -q 'decode --job the file first' "$tmp/err" || fail "an entry and a file: $(cat "$tmp/err")"
"$LU_PROGRAM" compare --json "$job#4" "$job#6" >"$tmp/j4"; "$LU_PROGRAM" compare --json "$job#3" "$job#5" >"$tmp/j3"
cmp -s "$tmp/j3" "$tmp/j4" || fail "a dump is not compared as its result is"

# repairs are held against what is read next; a wire on the wrong pin is named
sim() { "$LU_PROGRAM" simulate -b docs/demo/tide.yaml --block "boot ROM" -e $good "${@:2}" -o "$tmp/$1"; }
sim swapped.bin -f 'swap BA10 BA9 U2'
sim joined.bin -f 'bridge BA10 BA9'
j2=$tmp/b.job
"$LU_PROGRAM" job new --board docs/demo/tide.yaml "$j2" >/dev/null
read_in() { "$LU_PROGRAM" decode --job "$j2" --block "boot ROM" --expect $good "$1" >"$tmp/out"; }
nine=$("$LU_PROGRAM" board pins docs/demo/tide.yaml U2 | awk '/BA9/ {print $1; exit}')
read_in $found                                                                      # 3, 4
"$LU_PROGRAM" repair "$j2" "wire from U2.24 to U2.$nine" | grep -q 'different nets' || fail "a wire between two nets" # 5
read_in "$tmp/joined.bin"                                                           # 6, 7
grep -q 'Repair 5 .* should cure BA10: it did not' "$tmp/out" || fail "a repair that joined two nets: $(tail -3 "$tmp/out")"
"$LU_PROGRAM" repair "$j2" "that wire off; legs U2.24 and U2.$nine lifted and wired" >/dev/null # 8
read_in "$tmp/swapped.bin"                                                          # 9, 10
"$LU_PROGRAM" repair "$j2" "the wires at U2.24 and U2.$nine resoldered" >"$tmp/says" # 11
grep -q 'should cure BA10' "$tmp/says" || fail "no prediction: $(cat "$tmp/says")"
read_in "$tmp/swapped.bin"                                                          # 12, 13
"$LU_PROGRAM" repair "$j2" "now they are exchanged: U2.24 and U2.$nine" >/dev/null  # 14
read_in $good                                                                       # 15, 16
grep -q 'Repair 14 .* should cure BA10: it did\.' "$tmp/out" || fail "a repair that worked: $(tail -3 "$tmp/out")"
"$LU_PROGRAM" job history --json "$j2" >"$tmp/h"
"$LU_PROGRAM" compare --json "$j2#4" "$j2#7" >"$tmp/bridged"
"$LU_PROGRAM" compare --json "$j2#13" "$j2#16" >"$tmp/back"
"$LU_PROGRAM" compare --json "$j2#4" "$j2#10" >"$tmp/crossed"
"$LU_PROGRAM" compare "$j2#4" "$j2#10" | grep -q 'BA9 .*worked on in between: BA[0-9]* and BA[0-9]* are exchanged at U2' || fail "an exchange is not named in words"
python3 - "$tmp" <<'PY' || fail "repairs and what came of them"
import json, sys
load = lambda n: json.load(open(sys.argv[1] + "/" + n))
h = {e["id"]: e for e in load("h")["history"]}
held = lambda i: [(r["repair"], sorted(r["cured"]), sorted(r["not_cured"])) for r in h[i]["body"].get("repairs", [])]
both = ["BA10", "BA9"]
assert sorted(h[11]["body"]["should_cure"]) == both, h[11]
assert held(13) == [(11, [], both)] and held(16) == [(14, both, [])] and held(4) == [], (held(13), held(16))
crossed = {x["net"]: x for x in load("crossed")["new"]}["BA9"]
assert crossed["worked_on"] and crossed["wrong_pin"]["kind"] == "swap" and sorted(crossed["wrong_pin"]["nets"]) == both, crossed
bridged = {x["net"]: x for x in load("bridged")["new"]}["BA9"]
assert bridged["worked_on"] and bridged["wrong_pin"]["kind"] == "bridge" and sorted(bridged["wrong_pin"]["nets"]) == both, bridged
assert sorted(x["net"] for x in load("back")["cleared"]) == both and not load("back")["new"]
PY

# captures: of two files, and of a job that keeps their map
"$LU_PROGRAM" compare --json --board docs/demo/tide.yaml --block "work RAM" --signals docs/demo/work-bus.yaml docs/demo/work.vcd docs/demo/work.vcd >"$tmp/j"; [ $? -eq 0 ] || fail "two captures: exit $?"
grep -q '"same": true' "$tmp/j" || fail "two captures"
cp docs/demo/work.vcd "$tmp/bus.vcd"; cp docs/demo/work-bus.yaml "$tmp/map.yaml"
"$LU_PROGRAM" decode --job "$j2" --block "work RAM" --signals "$tmp/map.yaml" "$tmp/bus.vcd" >/dev/null       # 17, 18
"$LU_PROGRAM" decode --job "$j2" --block "work RAM" --wrote address docs/demo/found-work.bin >/dev/null        # 19, 20
rm "$tmp/map.yaml" "$tmp/bus.vcd"
"$LU_PROGRAM" compare --json "$j2#18" "$j2#20" >"$tmp/j" || fail "a capture and a dump: exit $?"
python3 -c 'import json, sys; j = json.load(open(sys.argv[1])); w = j["words"]; assert (w["compared"], w["only_after"]) == (48, 32720) and len(j["notes"]) == 1 and not w["before"]["dead_address_bits"], j' "$tmp/j" || fail "a capture and a dump"
# results of a run: block by block
printf 'runs:\n  - {block: boot ROM, expect: %s, dump: %s}\n  - {block: work RAM, wrote: address, dump: %s}\n' "$PWD/$good" "$PWD/$good" "$PWD/docs/demo/found-work.bin" >"$tmp/run.yaml"
"$LU_PROGRAM" decode --job "$j2" --run "$tmp/run.yaml" >/dev/null                                      # 21, 22
"$LU_PROGRAM" compare --json "$j2#20" "$j2#22" >"$tmp/j"
python3 -c 'import json, sys; j = json.load(open(sys.argv[1])); b, = j["blocks"]; assert b["block"] == "work RAM" and b["words"]["differ"] == 0 and not j["same"] and len(j["notes"]) == 1, j' "$tmp/j" || fail "block by block"
exit $failed
