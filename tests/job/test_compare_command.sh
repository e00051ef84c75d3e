#!/bin/bash
# SPDX-License-Identifier: MIT
# lineup compare on the demo's boot ROM, held against cmp (POSIX).
set -u
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
PY
# without a board: the differences alone; lengths may differ
head -c 40000 $good >"$tmp/short"
"$LU_PROGRAM" compare --width 16 $good "$tmp/short" >"$tmp/out"; [ $? -eq 1 ] || fail "short: exit $?"
grep -q '12768 words stand only in the first' "$tmp/out" || fail "short: $(cat "$tmp/out")"
"$LU_PROGRAM" compare --width 16 $good $good >"$tmp/out"; [ $? -eq 0 ] || fail "equal: exit $?"
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
"$LU_PROGRAM" compare "$job#3" "$job#6" >/dev/null 2>"$tmp/err"; [ $? -eq 2 ] || fail "an entry that is no result: exit $?"
exit $failed
