#!/usr/bin/env bash
# SPDX-License-Identifier: MIT
# slow: decodes two dozen dumps
# What commands print with --json, held against docs/schema by python3-jsonschema; and that the check sees a
# wrong one.
set -u
export LC_ALL=C PYTHONWARNINGS=ignore PYTHONDONTWRITEBYTECODE=1
python=
for p in python3 /usr/bin/python3; do
  "$p" -c 'import jsonschema; jsonschema.Draft202012Validator' 2>/dev/null && { python=$p; break; }
done
[ -n "$python" ] || { echo "skipped: no python3 with jsonschema (Debian: python3-jsonschema)"; exit 77; }
L=${LU_PROGRAM:?}
cd "${LU_TOP:?}" || exit 2
dir=$(mktemp -d) || exit 2
trap 'rm -rf "$dir"' EXIT
failed=0
validate() { "$python" tests/json/validate.py docs/schema "$@"; }
validate || failed=1
# fits SCHEMA ARGUMENT...: the command's JSON fits; status 0 and 1 are answers
fits() {
  local schema=$1
  shift
  "$L" "$@" --json >"$dir/out" 2>"$dir/err"
  local status=$?
  [ $status -le 1 ] || { echo "FAILED: lineup $*: status $status: $(head -n 3 "$dir/err")"; failed=1; return; }
  validate "$schema" <"$dir/out" || { echo "FAILED: lineup $* --json"; failed=1; }
}
demo=(--board docs/demo/tide.yaml)
boot=("${demo[@]}" --block 'boot ROM' --expect docs/demo/tide-rom.bin)
work=("${demo[@]}" --block 'work RAM' --wrote address)
fits decode decode "${boot[@]}" docs/demo/found-boot.bin
fits decode decode "${boot[@]}" docs/demo/tide-rom.bin
fits decode decode "${demo[@]}" --run docs/demo/as-found.yaml
fits decode decode --width 16 --byte-order big --wrote address docs/demo/found-record.bin
# every kind of fault that simulate knows, through decode
for fault in 'stuck MD3 low' 'bridge MD3 MD4 and' 'swap MD3 MD4 U5' 'dead U5 outputs' 'dead U4 writes'; do
  "$L" simulate "${work[@]}" --fault "$fault" -o "$dir/dump" 2>"$dir/err" || { echo "FAILED: simulate $fault: $(cat "$dir/err")"; failed=1; continue; }
  fits decode decode "${work[@]}" "$dir/dump"
done
record=("${demo[@]}" --block 'record RAM' --wrote prbs23)
for fault in 'cell U16 3 9 low' 'row U20 5 high' 'column U31 7 low'; do
  "$L" simulate "${record[@]}" --fault "$fault" -o "$dir/dump" 2>"$dir/err" || { echo "FAILED: simulate $fault: $(cat "$dir/err")"; failed=1; continue; }
  fits decode decode "${record[@]}" "$dir/dump"
done
fits compare compare "${boot[@]}" docs/demo/found-boot.bin docs/demo/tide-rom.bin
fits compare compare --width 16 --byte-order big docs/demo/found-boot.bin docs/demo/tide-rom.bin
fits wires wires "${demo[@]}" --net DRA3 --cut U8.21
fits board-check board check docs/demo/tide.yaml
fits board-show board show docs/demo/tide.yaml
fits board-pins board pins docs/demo/tide.yaml U2
fits board-guess board guess tests/boards/log8.net
fits pattern-list pattern list
fits pattern-show pattern show march-x
fits pattern-check pattern check march-x walking-ones
fits watch watch docs/demo/work.vcd
fits watch watch docs/demo/work.vcd --signals docs/demo/work-bus.yaml --check
job=$dir/tide.job
if "$L" job new "${demo[@]}" "$job" >"$dir/out" 2>"$dir/err"; then
  fits decode decode --job "$job" --run docs/demo/as-found.yaml
  fits probe probe "$job"
  fits wires wires "$job"
  fits job-show job show "$job"
  fits job-history job history "$job"
else
  echo "left out: jobs ($(cat "$dir/err"))"
fi
echo '{"lineup": "0.1.0", "verdict": "maybe"}' | validate decode >/dev/null && { echo "FAILED: a wrong object fits"; failed=1; }
exit $failed
