#!/usr/bin/env bash
# SPDX-License-Identifier: MIT
# slow: decodes two dozen dumps
# What commands print with --json, held against docs/schema by python3-jsonschema and by ajv (from npm), as far as they are
# here; that the checks see a wrong one; that every command's --json has been tried.
set -u
export LC_ALL=C PYTHONWARNINGS=ignore PYTHONDONTWRITEBYTECODE=1
python=
for p in python3 /usr/bin/python3; do
  "$p" -c 'import jsonschema; jsonschema.Draft202012Validator' 2>/dev/null && { python=$p; break; }
done
. "${LU_TOP:?}/tests/report/npm.sh"
ajv=yes why=
why=$(lu_npm ajv@8.20.0) || ajv=
[ -n "$python$ajv" ] || { echo "skipped: no python3 with jsonschema (Debian: python3-jsonschema), and $why"; exit 77; }
[ -n "$python" ] || echo "left out: python3-jsonschema is not here"
[ -n "$ajv" ] || echo "left out: ajv ($why)"
L=${LU_PROGRAM:?}
cd "${LU_TOP:?}" || exit 2
dir=$(mktemp -d) || exit 2
trap 'rm -rf "$dir"' EXIT
failed=0
mkdir "$dir/outputs"
count=0
# fits SCHEMA ARGUMENT...: the command's JSON fits; status 0 and 1 are answers
fits() {
  local schema=$1
  shift
  "$L" "$@" --json >"$dir/out" 2>"$dir/err"
  local status=$?
  [ $status -le 1 ] || { echo "FAILED: lineup $*: status $status: $(head -n 3 "$dir/err")"; failed=1; return; }
  count=$((count + 1))
  printf '%s\n' "$*" >>"$dir/tried"
  cp "$dir/out" "$dir/outputs/$count.$schema.json"
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
fits pattern-syndrome pattern check march-c-minus --syndrome 01010
fits pattern-coverage pattern check "${demo[@]}" --block 'work RAM' march-c-minus --missed
fits pattern-choose pattern choose "${demo[@]}" --block 'work RAM'
fits pattern-next pattern next "${demo[@]}" --block 'record RAM' --wrote address --result docs/demo/found-record.bin
printf '1 7 0x00 0xff\n' >"$dir/reads"
fits pattern-failures pattern check march-c-minus --size 256 --failures "$dir/reads"
fits take take --list
fits watch watch docs/demo/work.vcd
fits watch watch docs/demo/work.vcd --signals docs/demo/work-bus.yaml --check
job=$dir/tide.job
if "$L" job new "${demo[@]}" "$job" >"$dir/out" 2>"$dir/err"; then
  fits decode decode --job "$job" --run docs/demo/as-found.yaml
  fits probe probe "$job"
  fits wires wires "$job"
  fits job-show job show "$job"
  fits job-history job history "$job"
  fits entry reading "$job" U8.21 U16.12 open
  fits entry reading "$job" U8.20 U16.12 joined
  fits entry reading "$job" U8.21 corroded
  fits entry reading "$job" --undo 7
  fits probe probe "$job" --sheet 3
  fits entry repair "$job" 'contact U8.21 cleaned'
  fits entry job note "$job" "$(printf 'crust \377 \033[31m')"
  fits job-done job new "${demo[@]}" "$dir/other.job"
  fits job-done job check "$job"
  fits job-done job export "$job" "$dir/folder"
  fits job-done job import "$dir/folder" "$dir/back.job"
  fits job-history job history "$job"
  fits compare compare "$job" "$job"
else
  echo "left out: jobs ($(cat "$dir/err"))"
fi
# Every command that takes --json was tried; verify needs a device, and its object is made by tests/link.
for command in $("$L" papers commands); do
  "$L" "$command" --help | grep -q -e ' --json' || continue
  grep -q "^$command " "$dir/tried" || [ "$command" = verify ] || { echo "FAILED: no output of $command --json"; failed=1; }
done
echo '{"lineup": "0.1.0", "verdict": "maybe"}' >"$dir/outputs/wrong.decode.json"
if [ -n "$python" ]; then "$python" tests/json/validate.py docs/schema "$dir/outputs" || failed=1; fi
if [ -n "$ajv" ]; then node tests/json/ajv.mjs "${LU_NPM:-$LU_BUILD/npm}/node_modules" docs/schema "$dir/outputs" || failed=1; fi
exit $failed
