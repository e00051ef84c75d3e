#!/bin/bash
# SPDX-License-Identifier: MIT
# lineup reading and probe on the demo board: the broken contact of U8.21 is found, what cannot be is refused.
set -u
export COLUMNS=2000 # lines as they are, not folded
cd "$LU_TOP" || exit 1
tmp=$(mktemp -d)
trap 'rm -rf "$tmp"' EXIT
job=$tmp/tide.job
failed=0
fail() { echo "FAILED: $*"; failed=1; }
code() { local want=$1; shift; "$@" >"$tmp/out" 2>"$tmp/err"; local got=$?; [ $got -eq "$want" ] || fail "exit $got, expected $want: $* : $(cat "$tmp/out" "$tmp/err")"; }
refused() { local entries; entries=$("$LU_PROGRAM" job history "$job" | wc -l); code 2 "$LU_PROGRAM" reading "$job" "${@:2}"
  grep -q "$1" "$tmp/err" || fail "expected '$1' in: $(cat "$tmp/err")"
  [ "$("$LU_PROGRAM" job history "$job" | wc -l)" -eq "$entries" ] || fail "the job was changed by: ${*:2}"; }

"$LU_PROGRAM" job new --board docs/demo/tide.yaml "$job" >/dev/null || exit 1
code 0 "$LU_PROGRAM" probe "$job"
grep -q 'Nothing was decoded' "$tmp/out" || fail "empty job: $(cat "$tmp/out")"
code 0 "$LU_PROGRAM" probe --part U8 "$job"
grep -q 'U8.21:leg *U16.12 ' "$tmp/out" || fail "plan of U8"

code 1 "$LU_PROGRAM" decode --job "$job" --block "record RAM" --wrote address docs/demo/found-record.bin
code 1 "$LU_PROGRAM" probe --json --only continuity "$job"
python3 - "$tmp/out" <<'PY' || fail "probe --json"
import json, sys
p = json.load(open(sys.argv[1]))
assert p["next"] is None or (p["next"]["kind"] == "continuity" and p["next"]["expect"] in ("open", "joined") and p["next"]["gain_bits"] > 0)
assert p["suspects"][0]["net"] == "DRA3" and p["suspects"][0]["pins"]
PY
refused "nearest is U8" U88.21 U16.12 open
refused "no pin" U8.99 U16.12 open
refused "no socket" U8.21 U16.12:pad open
refused "expected open, joined or ohms" U8.21 U16.12 maybe
refused "both tips" U8.21 U8.21:leg open
refused "told of one point" U8.21 U16.12 high
code 0 "$LU_PROGRAM" reading "$job" U8.21:pad U16.12 0.4
grep -q 'not the contact' "$tmp/out" || fail "pad to pad: $(cat "$tmp/out")"
code 0 "$LU_PROGRAM" reading "$job" U8.20 U16.12 joined
grep -q '? .*bridge' "$tmp/out" || fail "strangers joined: $(cat "$tmp/out")"
last=$("$LU_PROGRAM" job history --kind reading "$job" | tail -1 | awk '{print $1}')
code 0 "$LU_PROGRAM" reading --undo "$last" "$job"
code 2 "$LU_PROGRAM" reading --undo "$last" "$job"
code 0 "$LU_PROGRAM" reading "$job" U8.21:leg U16.12 4.7k
grep -q ': open (4700 ohms)' "$tmp/out" || fail "ohms: $(cat "$tmp/out")"
code 1 "$LU_PROGRAM" probe --json "$job"
python3 - "$tmp/out" <<'PY' || fail "located"
import json, sys
p = json.load(open(sys.argv[1]))
assert p["located"]["net"] == "DRA3" and sorted(p["located"]["between"]) == ["U8.21:leg", "U8.21:pad"], p["located"]
assert p["located"]["probability"] >= 0.95 and p["questions"] == []
PY
code 1 "$LU_PROGRAM" probe --sheet 3 --cost turn=0 --cost via=3 "$job"
code 2 "$LU_PROGRAM" probe --cost turm=0 "$job"
code 2 "$LU_PROGRAM" probe --only smell "$job"
printf 'j\nj\nq\n' | "$LU_PROGRAM" probe --ask "$job" >/dev/null; [ $? -eq 1 ] || fail "--ask"
# --ask takes ohms in the bands that are given
job2=$tmp/ask.job
"$LU_PROGRAM" job new --board docs/demo/tide.yaml "$job2" >/dev/null
"$LU_PROGRAM" decode --job "$job2" --block "boot ROM" --expect docs/demo/tide-rom.bin docs/demo/found-boot.bin >/dev/null
printf '7\nq\n' | "$LU_PROGRAM" probe --ask --only continuity --good 10 "$job2" >"$tmp/out"
"$LU_PROGRAM" job history --kind reading "$job2" | grep -q ': joined' || fail "--ask --good 10, 7 ohms: $(cat "$tmp/out")"
code 2 "$LU_PROGRAM" probe --ask --good 10 --doubtful 5 "$job2"
code 0 "$LU_PROGRAM" job check "$job"
exit $failed
